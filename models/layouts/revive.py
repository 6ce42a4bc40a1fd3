"""From the box finder that ships back to a checkpoint: ``python -m models.layouts.revive OUT --fonts F --mnist M``.

Training leaves its checkpoints with whoever ran it; the weights that ship are all that a later session has. The norms
that were folded into the convolutions are settled on forms drawn for it (see ``models.revive``).
"""

import argparse
from pathlib import Path

import cv2
import numpy as np
import torch

from models.forms import Digits, Fonts, draw_form
from models.layouts.export import WEIGHTS
from models.layouts.network import BoxFinder, Shipped
from models.revive import revive_maps

_SIDES = (1088, 800)
_SEED = 9


def _sheet(rng: np.random.Generator, fonts: Fonts, digits: Digits) -> torch.Tensor:
    image = cv2.resize(draw_form(rng, fonts, digits).image, _SIDES[::-1], interpolation=cv2.INTER_AREA)
    return torch.from_numpy(np.asarray(image)).permute(2, 0, 1)[None].float()


def main() -> None:
    """Read the command line and write ``boxes.pt`` as training would have left it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("out", type=Path)
    parser.add_argument("--fonts", type=Path, required=True)
    parser.add_argument("--mnist", type=Path, required=True)
    parser.add_argument("--writers", type=Path)
    parser.add_argument(
        "--source", type=Path, default=WEIGHTS, help="the ONNX file, if not the one that ships"
    )
    parser.add_argument("--forms", type=int, default=32)
    given = parser.parse_args()
    rng = np.random.default_rng(_SEED)
    fonts, digits = Fonts.load(given.fonts), Digits.load(given.mnist, given.writers)
    sheets = [_sheet(rng, fonts, digits) for _ in range(given.forms)]
    finder = BoxFinder()
    revive_maps(given.source, finder, Shipped(finder), sheets, given.out / "boxes.pt")


if __name__ == "__main__":
    main()
