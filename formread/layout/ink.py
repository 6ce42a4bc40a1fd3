"""How much darker than the paper each pixel is, whatever the colour of paper, print and light."""

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet.record import Image

Ink = npt.NDArray[np.float32]

_SHRINK = 4  # the paper's own shade changes slowly: a quarter of the size is plenty and saves the time
_REACH = 11  # at that size; wider than a pen stroke or printed letter, narrower than a row's tint


def ink_of(image: Image) -> Ink:
    """Return the darkness of each pixel relative to the paper around it.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB.

    Returns
    -------
    (H, W) float32
        0 for bare paper, 1 for black. Coloured ink counts by the channel that it darkens most, tempered by
        its lightness, so that pale blue or red rules show while colour noise stays low.
    """
    height, width = image.shape[:2]
    small = cv2.resize(image, (max(1, width // _SHRINK), max(1, height // _SHRINK)), interpolation=cv2.INTER_AREA)
    kernel = np.ones((_REACH, _REACH), np.uint8)
    paper = cv2.morphologyEx(small, cv2.MORPH_CLOSE, kernel)
    paper = cv2.blur(paper, (_REACH, _REACH))
    paper = cv2.resize(paper, (width, height), interpolation=cv2.INTER_LINEAR)
    ratio = cv2.divide(image, cv2.max(paper, 1), scale=250.0)  # saturates at 255: paper is about 250
    red, green, blue = cv2.split(ratio)
    darkest = cv2.min(cv2.min(red, green), blue)
    grey = cv2.cvtColor(ratio, cv2.COLOR_RGB2GRAY)
    mean = cv2.addWeighted(darkest, 0.5, grey, 0.5, 0.0)
    return np.asarray(np.clip((250.0 - mean.astype(np.float32)) / 250.0, 0.0, 1.0), np.float32)
