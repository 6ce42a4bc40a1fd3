"""Print that stands in every box of a column: a pound sign, a point, a dotted line to write on.

In one box, a printed sign may pass for a written one. Down a column it can't: the form prints it in every row, and
nobody writes the same ink in the same place in every row.
"""

from collections.abc import Sequence
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

Crop = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

_FEWEST: Final = 5  # rows that a column must have for its print to be told
_HEIGHT: Final = 40  # pixels that the boxes are brought to
_WIDEST: Final = 400
_DARK: Final = 0.12  # of the paper: ink or print
_SHARE: Final = 0.8  # of the rows that print is seen in, at least
_BLANK: Final = 0.3  # of the rows that must be blank but for that print, and so many at least
_FEWEST_BARE: Final = 3
_SAME: Final = 0.85  # of a shape that two boxes must share to hold the same print
_EVERYWHERE: Final = 0.9  # of all rows that have that shape, written or not
_JITTER: Final = 3  # pixels by which print may stand off from row to row
_LEFT: Final = 0.004  # of a box's area; less ink than this beside the print is no writing
_RIM: Final = 0.1  # of a box's height where rules end and neighbours reach in


def blank_but_for_print(column: Sequence[Crop]) -> list[bool]:
    """Say which boxes of a column hold what the form prints in all of them, and nothing else.

    Parameters
    ----------
    column
        (H, W, 3) uint8 RGB crops, the boxes of one column from the top.

    Returns
    -------
    list of bool
        False for every box where the form prints nothing: then the reader can tell by itself.
    """
    usable = [crop for crop in column if min(crop.shape[:2]) >= 8]
    if len(usable) < max(_FEWEST, len(column)):
        return [False] * len(column)
    width = int(np.clip(np.median([c.shape[1] * _HEIGHT / c.shape[0] for c in column]), 16, _WIDEST))
    dark = np.stack([_dark(crop, width) for crop in column])
    near = np.stack([_grown(mask, _JITTER) for mask in dark])
    printed = near.mean(axis=0) >= _SHARE
    if not (printed & dark.any(axis=0)).any():
        return [False] * len(column)
    bare = [float((mask & ~_grown(printed, _JITTER)).mean()) < _LEFT for mask in dark]
    if sum(bare) < max(_FEWEST_BARE, _BLANK * len(bare)):
        # Where nearly all rows are written in, what they share may be the middle of everybody's figures.
        return [False] * len(column)
    core = dark[np.asarray(bare)].mean(axis=0) >= _SHARE / 2
    if np.mean([_covered(mask, core) >= _SAME for mask in dark]) < _EVERYWHERE:
        return [False] * len(column)  # the same price three times over is no print: other rows don't have it
    reach = _grown(core, _JITTER)
    return [one and _alike(mask, core, reach) for one, mask in zip(bare, dark, strict=True)]


def _alike(mask: Mask, core: Mask, reach: Mask) -> bool:
    """Say whether a box holds the very shape that most boxes hold: a printed sign is the same in every row."""
    if not mask.any() or not core.any():
        return False
    inside = float((mask & reach).sum()) / float(mask.sum())
    return min(inside, _covered(mask, core)) >= _SAME


def _covered(mask: Mask, core: Mask) -> float:
    """Return the share of a shape that a box has ink or print on."""
    return float((core & _grown(mask, _JITTER)).sum()) / max(float(core.sum()), 1.0)


def _dark(crop: Crop, width: int) -> Mask:
    grey = cv2.min(cv2.min(crop[..., 0], crop[..., 1]), crop[..., 2])
    small = cv2.resize(grey, (width, _HEIGHT), interpolation=cv2.INTER_AREA)
    paper = cv2.blur(cv2.dilate(small, np.ones((9, 9), np.uint8)), (21, 21)).astype(np.float32)
    mask = np.asarray(1.0 - small.astype(np.float32) / np.maximum(paper, 8.0) > _DARK)
    rim = round(_RIM * _HEIGHT)
    mask[:rim] = mask[-rim:] = False
    mask[:, :2] = mask[:, -2:] = False
    return mask


def _grown(mask: Mask, by: int) -> Mask:
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((by, by), np.uint8)) > 0)
