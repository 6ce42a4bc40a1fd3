"""From a training checkpoint to the ONNX file that the package ships: ``python -m models.export CHECKPOINT``."""

import sys
import warnings
from pathlib import Path

import torch

from models.network import SEEDLING, Network, Shipped

WEIGHTS = Path(__file__).parent.parent / "formread" / "reading" / "weights" / "reader.onnx"


def export(network: Network, target: Path) -> None:
    """Write `network` as ONNX with free batch size and width."""
    shipped = Shipped(network.float().cpu().eval())
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore"
        )  # the tracer warns about the recurrent layer's batch size, which is free
        torch.onnx.export(
            shipped,
            (torch.zeros(2, 1, 40, 128),),
            str(target),
            dynamo=False,
            opset_version=17,
            input_names=["ink"],
            output_names=["log_probability"],
            dynamic_axes={"ink": {0: "box", 3: "column"}, "log_probability": {0: "box", 1: "step"}},
        )


if __name__ == "__main__":
    state = torch.load(sys.argv[1], map_location="cpu", weights_only=True)
    reader = Network(SEEDLING)
    reader.load_state_dict(state["reader"])
    WEIGHTS.parent.mkdir(exist_ok=True)
    export(reader, WEIGHTS)
    print(f"{WEIGHTS.name}: {WEIGHTS.stat().st_size / 1e6:.2f} MB")
