"""From the finder's checkpoint to the ONNX file that ships: ``python -m models.sheets.export CHECKPOINT``."""

import sys
import warnings
from pathlib import Path

import numpy as np
import onnx
import torch

from models.sheets.network import Finder, Shipped

WEIGHTS = Path(__file__).parents[2] / "formread" / "sheet" / "weights" / "finder.onnx"

_LARGE = 256  # values; smaller arrays are sizes and biases


def export(finder: Finder, target: Path) -> None:
    """Write the finder as ONNX with free height and width (multiples of 32)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            Shipped(finder.float().cpu().eval()),
            (torch.zeros(1, 3, 512, 384),),
            str(target),
            dynamo=False,
            opset_version=17,
            input_names=["photo"],
            output_names=["labels"],
            dynamic_axes={"photo": {2: "height", 3: "width"}, "labels": {2: "rows", 3: "columns"}},
        )
    halve(target)


def halve(path: Path) -> None:
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


if __name__ == "__main__":
    state = torch.load(sys.argv[1], map_location="cpu", weights_only=True)
    finder = Finder()
    finder.load_state_dict({k: v.float() if v.dtype.is_floating_point else v for k, v in state.items()})
    WEIGHTS.parent.mkdir(exist_ok=True)
    export(finder, WEIGHTS)
    print(f"{WEIGHTS.name}: {WEIGHTS.stat().st_size / 1e6:.2f} MB")
