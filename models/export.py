"""From trained weights to an ONNX file that the package ships: ``python -m models.export teacher FOLDER INK.npz``.

The convolutions are stored and worked out in eight bits: a third of the time for hardly an error more. Their
scales are read off boxes by calibration hands (Jacob et al., "Quantization and training
of neural networks for efficient integer-arithmetic-only inference", CVPR 2018).
"""

import argparse
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt
import onnx
import torch
from onnxruntime.quantization import (
    CalibrationDataReader,
    QuantFormat,
    QuantType,
    quantize_static,
)
from onnxruntime.quantization.shape_inference import quant_pre_process

from models.network import SIZES, Network, Shipped
from models.shipping import write
from models.train import validation

WEIGHTS = Path(__file__).parent.parent / "formread" / "reading" / "weights"
_BATCH = 32
_FREE_AXES = {"ink": {0: "box", 3: "column"}, "log_probability": {0: "box", 1: "step"}}


class _Boxes(CalibrationDataReader):  # type: ignore[misc]
    """Feeds prepared boxes to whoever reads the scales off."""

    def __init__(self, boxes: Iterator[npt.NDArray[np.float32]]) -> None:
        self._boxes = boxes

    def get_next(self) -> dict[str, npt.NDArray[np.float32]] | None:
        """Return the next batch, or None at the end."""
        batch = next(self._boxes, None)
        return None if batch is None else {"ink": batch}


def _batches(archive: Path, count: int) -> Iterator[npt.NDArray[np.float32]]:
    for packed in validation(archive, count).values():
        for pictures, _, _ in packed.values():
            for k in range(0, len(pictures), _BATCH):
                yield pictures[k : k + _BATCH, None].astype(np.float32) / 255


def quantise(source: Path, archive: Path, target: Path, count: int = 600) -> None:
    """Write the network in `source` in eight bits."""
    with tempfile.TemporaryDirectory() as folder:
        ready, convolutions = Path(folder) / "ready.onnx", Path(folder) / "convolutions.onnx"
        quant_pre_process(str(source), str(ready), skip_symbolic_shape=True)
        quantize_static(
            str(ready),
            str(convolutions),
            _Boxes(_batches(archive, count)),
            quant_format=QuantFormat.QDQ,
            per_channel=True,
            # Seven bits of weight: processors without eight-bit dot products would overflow with eight.
            reduce_range=True,
            activation_type=QuantType.QUInt8,
            weight_type=QuantType.QInt8,
            op_types_to_quantize=["Conv"],
        )
        _shrink(convolutions, target)


def _shrink(source: Path, target: Path) -> None:
    """Store the recurrent layers' weights in eight bits, a scale a row; they are worked with at full precision.

    Working in eight bits would not do here: the scales of what passes through would be worked out over
    whatever boxes share a batch, and a box would be read differently in other company.
    """
    model = onnx.load(source)
    stored = {tensor.name: tensor for tensor in model.graph.initializer}
    recurrent = {name for node in model.graph.node if node.op_type == "LSTM" for name in node.input[1:3]}
    for name in sorted(recurrent & stored.keys()):
        weights = onnx.numpy_helper.to_array(stored[name])  # directions, rows, columns
        scales = np.maximum(np.abs(weights).max(axis=(0, 2)), 1e-8).astype(np.float32) / 127
        bytes_ = np.round(weights / scales[None, :, None]).astype(np.int8)
        stored[name].CopyFrom(onnx.numpy_helper.from_array(bytes_, name + "_bytes"))
        model.graph.initializer.append(onnx.numpy_helper.from_array(scales, name + "_scales"))
        unpack = onnx.helper.make_node(
            "DequantizeLinear", [name + "_bytes", name + "_scales"], [name], axis=1
        )
        model.graph.node.insert(0, unpack)
    onnx.save(model, target)


def main() -> None:
    """Read the command line and write the file."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("network", choices=sorted(SIZES))
    parser.add_argument("folder", type=Path, help="where training left it")
    parser.add_argument("ink", type=Path)
    parser.add_argument("--target", type=Path, default=WEIGHTS, help="the folder to write into")
    asked = parser.parse_args()
    network = Network(SIZES[asked.network])
    checkpoint = asked.folder / f"{asked.network}.pt"
    network.load_state_dict(torch.load(checkpoint, map_location="cpu", weights_only=True))
    target = asked.target / f"{asked.network}.onnx"
    with tempfile.TemporaryDirectory() as folder:
        whole = Path(folder) / "whole.onnx"
        write(Shipped(network), torch.zeros(2, 1, 40, 128), whole, _FREE_AXES)
        quantise(whole, asked.ink, target)
    print(f"{target.name}: {target.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
