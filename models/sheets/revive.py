"""From the finder that ships back to a checkpoint: ``python -m models.sheets.revive OUT``.

Training leaves its checkpoints with whoever ran it; the weights that ship are all that a later session has. The norms
that were folded into the convolutions are settled on scenes drawn for it (see ``models.revive``).
"""

import argparse
from pathlib import Path

import numpy as np
import torch

from models.revive import revive_maps
from models.sheets.export import WEIGHTS
from models.sheets.network import Finder, Shipped
from models.sheets.scenes import draw_scene

_SEED = 11


def main() -> None:
    """Read the command line and write ``finder.pt`` as training would have left it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("out", type=Path)
    parser.add_argument(
        "--source", type=Path, default=WEIGHTS, help="the ONNX file, if not the one that ships"
    )
    parser.add_argument("--scenes", type=int, default=48)
    given = parser.parse_args()
    rng = np.random.default_rng(_SEED)
    scenes = [
        torch.from_numpy(draw_scene(rng).image).permute(2, 0, 1)[None].float() for _ in range(given.scenes)
    ]
    finder = Finder()
    revive_maps(given.source, finder, Shipped(finder), scenes, given.out / "finder.pt")


if __name__ == "__main__":
    main()
