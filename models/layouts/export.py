"""From the box finder's checkpoint to the ONNX file that ships: ``python -m models.layouts.export CHECKPOINT``."""

import sys
import warnings
from pathlib import Path

import torch

from models.layouts.network import BoxFinder, Shipped
from models.sheets.export import halve

WEIGHTS = Path(__file__).parents[2] / "formread" / "layout" / "weights" / "boxes.onnx"


def export(finder: BoxFinder, target: Path) -> None:
    """Write the network as ONNX with free height and width (multiples of 32)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            Shipped(finder.float().cpu().eval()),
            (torch.zeros(1, 3, 512, 384),),
            str(target),
            dynamo=False,
            opset_version=17,
            input_names=["sheet"],
            output_names=["maps"],
            dynamic_axes={"sheet": {2: "height", 3: "width"}, "maps": {2: "rows", 3: "columns"}},
        )
    halve(target)


if __name__ == "__main__":
    state = torch.load(sys.argv[1], map_location="cpu", weights_only=True)
    finder = BoxFinder()
    finder.load_state_dict({k: v.float() if v.dtype.is_floating_point else v for k, v in state.items()})
    WEIGHTS.parent.mkdir(exist_ok=True)
    export(finder, WEIGHTS)
    print(f"{WEIGHTS.name}: {WEIGHTS.stat().st_size / 1e6:.2f} MB")
