"""From the box finder's checkpoint to the ONNX file that ships: ``python -m models.layouts.export CHECKPOINT``."""

import sys
from pathlib import Path

import torch

from models.layouts.network import BoxFinder, Shipped
from models.shipping import write_maps

WEIGHTS = Path(__file__).parents[2] / "formread" / "layout" / "weights" / "boxes.onnx"

if __name__ == "__main__":
    finder = BoxFinder()
    finder.load_state_dict(torch.load(sys.argv[1], map_location="cpu", weights_only=True))
    write_maps(Shipped(finder), WEIGHTS, "sheet", "maps")
