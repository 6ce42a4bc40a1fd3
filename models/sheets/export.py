"""From the finder's checkpoint to the ONNX file that ships: ``python -m models.sheets.export CHECKPOINT``."""

import sys
from pathlib import Path

import torch

from models.sheets.network import Finder, Shipped
from models.shipping import write_maps

WEIGHTS = Path(__file__).parents[2] / "formread" / "sheet" / "weights" / "finder.onnx"

if __name__ == "__main__":
    finder = Finder()
    finder.load_state_dict(torch.load(sys.argv[1], map_location="cpu", weights_only=True))
    write_maps(Shipped(finder), WEIGHTS, "photo", "labels")
