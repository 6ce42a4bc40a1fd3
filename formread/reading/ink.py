"""A separate look for ink: is there anything at all in a box that is darker than its paper?

Only asked where the network is in doubt whether a box is empty. It knows nothing of digits.
"""

import numpy as np
import numpy.typing as npt

# A stroke is darker than the paper around it by this many times the paper's own grain at least, and by this
# many grey levels; print that shows through and creases stay under one or the other.
_TIMES_GRAIN = 6.0
_LEVELS = 18.0
# Ink that touches the rim of the crop over most of its length is a ruled line.
_RIM = 0.12


def ink_share(crop: npt.NDArray[np.uint8]) -> float:
    """Return the share of a box's inner pixels that are ink.

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
    top, left = int(height * _RIM), int(min(height, width) * _RIM)
    inner = crop[top : height - top, left : width - left]
    if not inner.size:
        return 0.0
    grey = inner.min(axis=2).astype(np.float64)  # ink of any colour is dark in one channel at least
    paper = np.median(grey)
    grain = 1.4826 * np.median(np.abs(grey - paper))  # the normal law's factor from the median deviation
    dark = grey < paper - max(_TIMES_GRAIN * grain, _LEVELS)
    # Rows and columns that are dark nearly throughout are rules.
    rows, columns = dark.mean(axis=1) > 0.8, dark.mean(axis=0) > 0.8
    dark[rows] = False
    dark[:, columns] = False
    return float(dark.mean())
