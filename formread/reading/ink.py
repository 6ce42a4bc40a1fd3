"""Ink apart from print, where the network must not be left alone with it.

Two small looks at a box, neither of which knows anything of digits: most boxes of a slip are empty, and where there
is nothing but paper nobody need be asked; and where the network is in doubt whether a box is empty, it is asked
whether anything is there at all.
"""

from typing import Any, Final

import cv2
import numpy as np
import numpy.typing as npt

Crop = npt.NDArray[np.uint8]

# A stroke is darker than the paper around it by this many times the paper's own grain at least, and by this
# many grey levels; creases and what shows through stay under one or the other.
_TIMES_GRAIN: Final = 6.0
_LEVELS: Final = 14.0
# The outermost share of a crop is left out of account: ruled lines end there.
_RIM: Final = 0.12
# Paper: nowhere within these rims (shares of the height) is anything darker than this share below the paper around
# it, seen at this height. The faintest of 9,200 written boxes, by calibration hands and on drawn slips of the pads
# for development, has 0.19; of the empty ones seven in eight stay below.
_PAPER: Final = 0.06
_PAPER_HEIGHT: Final = 48
_PAPER_RIMS: Final = (0.16, 0.06)


def is_blank(crop: Crop) -> bool:
    """Say whether there is nothing in a box but paper, its rims left out of account.

    Parameters
    ----------
    crop
        (H, W, 3) uint8 RGB, at least 8 pixels each way.
    """
    height, width = crop.shape[:2]
    if height > _PAPER_HEIGHT:
        width = max(8, round(width * _PAPER_HEIGHT / height))
        height = _PAPER_HEIGHT
        crop = np.asarray(cv2.resize(crop, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    grey = cv2.blur(cv2.min(cv2.min(crop[..., 0], crop[..., 1]), crop[..., 2]), (2, 2))
    quarter = cv2.resize(grey, (max(3, width // 4), max(3, height // 4)), interpolation=cv2.INTER_AREA)
    light = cv2.blur(cv2.dilate(quarter, np.ones((3, 3), np.uint8)), (5, 5))
    paper = cv2.resize(light, (width, height), interpolation=cv2.INTER_LINEAR)
    top, side = (max(2, round(share * height)) for share in _PAPER_RIMS)
    inner = np.s_[top : height - top, side : width - side]
    below, around = cv2.subtract(paper, grey)[inner], paper[inner]
    return not below.size or float((below / np.maximum(around, 16)).max()) < _PAPER


def _dark(crop: Crop) -> npt.NDArray[np.uint8]:
    """Return 1 where a crop is darker than its paper, else 0, (H, W)."""
    grey = cv2.min(cv2.min(crop[..., 0], crop[..., 1]), crop[..., 2])  # ink is dark in one channel at least
    reach = max(3, len(grey) // 2) | 1
    paper = cv2.blur(
        cv2.dilate(grey, np.ones((3, 3), np.uint8)), (reach, reach), borderType=cv2.BORDER_REFLECT
    )
    below = cv2.subtract(paper, grey)
    level = _median(below)
    grain = 1.4826 * _median(np.abs(below.astype(np.int16) - round(level)))  # the normal law's factor
    return np.asarray(below > level + max(_TIMES_GRAIN * grain, _LEVELS), np.uint8)


def _median(levels: npt.NDArray[Any]) -> float:
    """Return the median of (H, W) bytes, by counting."""
    return float(np.searchsorted(np.cumsum(np.bincount(levels.ravel(), minlength=256)), levels.size / 2))


def ink_share(crop: Crop) -> float:
    """Return the share of a box's inner pixels that are darker than its paper, ruled lines left out.

    Parameters
    ----------
    crop
        (H, W, 3) uint8 RGB.

    Returns
    -------
    float
        Between 0 and 1; 0 for a box with no pixels. One small dot in a box of usual size is about 0.001.
    """
    height, width = crop.shape[:2]
    rim = int(min(height, width) * _RIM)
    dark = _dark(crop).astype(bool)[rim : height - rim, rim : width - rim]
    if not dark.size:
        return 0.0
    # Rows and columns that are dark nearly throughout are rules.
    dark[dark.mean(axis=1) > 0.8] = False
    dark[:, dark.mean(axis=0) > 0.8] = False
    return float(dark.mean())
