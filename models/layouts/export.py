"""From the box finder's checkpoint to the ONNX file that ships: ``python -m models.layouts.export CHECKPOINT...``.

Of several checkpoints that set out from one the mean ships.
"""

import sys
from pathlib import Path

import torch

from models.layouts.network import BoxFinder, Shipped
from models.shipping import write_maps

WEIGHTS = Path(__file__).parents[2] / "formread" / "layout" / "weights" / "boxes.onnx"


def mean(checkpoints: list[dict[str, torch.Tensor]]) -> dict[str, torch.Tensor]:
    """Return the mean of networks of one shape; what is counted and not learned is the first's."""
    return {
        name: torch.stack([each[name].float() for each in checkpoints]).mean(0)
        if value.dtype.is_floating_point
        else value
        for name, value in checkpoints[0].items()
    }


if __name__ == "__main__":
    finder = BoxFinder()
    finder.load_state_dict(
        mean([torch.load(path, map_location="cpu", weights_only=True) for path in sys.argv[1:]])
    )
    write_maps(Shipped(finder), WEIGHTS, "sheet", "maps")
