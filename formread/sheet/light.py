"""Light: what the paper would look like bare, and the ink on it."""

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet.record import Image

_TONE_SIDE = 256  # light and shadow are smooth: a copy this small shows them
_WRITING = 0.03  # of the copy's long side: thicker than writing and print
_BAND = 0.09  # of the copy's long side: a solid printed band is no higher, a cast shadow is
_BAND_DARK = 1.12  # times brighter than a band the paper around it is
_WHITE = 245.0  # where the brightest channel of even paper is put: short of clipping


def paper_tone(image: Image) -> npt.NDArray[np.float32]:
    """Return the colour of the bare paper everywhere.

    Parameters
    ----------
    image
        (H, W, 3) uint8, a flattened slip.

    Returns
    -------
    (h, w, 3) float32
        A small copy, 1 to 255, with writing and print painted over and smoothed.
    """
    height, width = image.shape[:2]
    shrink = min(1.0, _TONE_SIDE / max(height, width))
    size = (max(8, round(width * shrink)), max(8, round(height * shrink)))
    small = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)
    reach = max(3, round(_WRITING * max(size))) | 1
    kernel = np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach)), np.uint8)
    closed = np.asarray(cv2.morphologyEx(small, cv2.MORPH_CLOSE, kernel), np.uint8)
    calm = cv2.medianBlur(_without_bands(small, closed, kernel), 5)
    smooth = cv2.GaussianBlur(calm.astype(np.float32), (0, 0), reach / 2, borderType=cv2.BORDER_REPLICATE)
    return np.maximum(smooth, 1.0)


def _without_bands(small: Image, closed: Image, kernel: Image) -> Image:
    """Paint solid printed bands over with the paper around them: to light they would pass for shade."""
    size = max(3, round(_BAND * max(small.shape))) | 1
    wide = cv2.morphologyEx(small, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_RECT, (size, size)))
    darker = closed.min(axis=2).astype(np.float32) * _BAND_DARK < wide.min(axis=2)
    grown = cv2.dilate(darker.astype(np.uint8), kernel)
    return np.asarray(np.where(grown[..., None] > 0, wide, closed), np.uint8)


def evened(image: Image, tone: npt.NDArray[np.float32]) -> Image:
    """Return the image as if lit evenly: the paper keeps its colour but is equally bright everywhere."""
    common = np.median(tone.reshape(-1, 3), axis=0)
    common = common * (_WHITE / max(float(common.max()), 1.0))
    gain = cv2.resize(common.astype(np.float32) / tone, image.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.multiply(image, gain, dtype=cv2.CV_8U))


def ink(image: Image, tone: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return (H, W) float32, 0 for bare paper to 1 for black, from the channel in which the ink is darkest."""
    common = np.full(3, 255.0, np.float32)
    gain = cv2.resize(common / tone, image.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    even = np.asarray(cv2.multiply(image, gain, dtype=cv2.CV_8U))
    darkest = cv2.min(cv2.min(even[..., 0], even[..., 1]), even[..., 2])
    return np.asarray(1 - darkest.astype(np.float32) / 255)
