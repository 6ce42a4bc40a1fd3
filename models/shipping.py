"""What the exports share: a trained network becomes an ONNX file."""

import warnings
from pathlib import Path

import numpy as np
import onnx
import torch
from torch import nn

_LARGE = 256  # values; smaller arrays are sizes and biases


def write(shipped: nn.Module, example: torch.Tensor, target: Path, axes: dict[str, dict[int, str]]) -> None:
    """Write `shipped` as ONNX.

    `axes` names the input and then the answer; of each, the axes whose length is free.
    """
    given, answer = axes
    with warnings.catch_warnings():
        # The tracer warns about the recurrent layer's batch size, which is free.
        warnings.simplefilter("ignore")
        torch.onnx.export(
            shipped.eval(),
            (example,),
            str(target),
            dynamo=False,
            opset_version=17,
            input_names=[given],
            output_names=[answer],
            dynamic_axes=axes,
        )


def write_maps(shipped: nn.Module, target: Path, given: str, answer: str) -> None:
    """Write a network of pictures with free height and width (multiples of 32), its weights in half precision."""
    axes = {given: {2: "height", 3: "width"}, answer: {2: "rows", 3: "columns"}}
    target.parent.mkdir(exist_ok=True)
    write(shipped, torch.zeros(1, 3, 512, 384), target, axes)
    _halve(target)
    print(f"{target.name}: {target.stat().st_size / 1e6:.2f} MB")


def _halve(path: Path) -> None:
    """Store the weights in half precision; they are cast back when the file is opened."""
    model = onnx.load(str(path))
    casts = []
    for tensor in list(model.graph.initializer):
        values = onnx.numpy_helper.to_array(tensor)
        if values.dtype == np.float32 and values.size > _LARGE:
            short = onnx.numpy_helper.from_array(values.astype(np.float16), tensor.name + ".half")
            model.graph.initializer.remove(tensor)
            model.graph.initializer.append(short)
            casts.append(
                onnx.helper.make_node("Cast", [short.name], [tensor.name], to=onnx.TensorProto.FLOAT)
            )
    for node in reversed(casts):
        model.graph.node.insert(0, node)
    onnx.save(model, str(path))
