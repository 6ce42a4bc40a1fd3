"""From a box cut out of a photo to what the recogniser looks at: ink dark on nothing, one height, one contrast.

The training code composes camera-like crops and sends them through this very function, so the reader never
meets a picture that was prepared in another way.
"""

import cv2
import numpy as np
import numpy.typing as npt

HEIGHT = 40
"""Rows of a prepared box."""

MAX_WIDTH = 512
"""Columns of a prepared box at most; a longer one is squeezed to this width."""

_WORK_HEIGHT = 96  # taller crops are shrunk first: a written digit needs no more, and time goes with area
_LEAST_BAND = 0.4  # share of the crop's height that is always kept: a lone dash must stay a small thing
_MARGIN = 0.12  # of the band's height, added around the ink that was found
_SURE_INK = 0.35  # of the contrast scale: a row or column with less than this nowhere has no writing
_FLOOR = 0.14  # contrast below which a box is not stretched further: blank paper must stay blank
_RULE_RUN = 0.85  # a straight run over this share of the width is a printed rule, not part of a digit
_QUANTILE = 0.985  # where the ink's darkness is read off
_EVERY, _ENOUGH = 3, 1000  # every third pixel tells quantiles well enough where there are more than this many


def _reflected(crop: npt.NDArray[np.uint8]) -> npt.NDArray[np.float32]:
    """Return how much light comes back from each pixel beside the paper around it, negated: ``(H, W, 3)``.

    Paper is near -1, ink above it, up to 0.
    """
    height, width = crop.shape[:2]
    small = cv2.resize(crop, (max(4, width // 4), max(4, height // 4)), interpolation=cv2.INTER_AREA)
    # The brightest neighbour at quarter size is paper even beside a thick stroke; blurred, it is the light.
    reach = max(3, (small.shape[0] // 2) | 1)
    paper = cv2.dilate(small, np.ones((reach, reach), np.uint8))
    paper = np.maximum(cv2.blur(paper, (reach, reach)), 8)
    paper = cv2.resize(paper, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.divide(crop, paper, scale=-1.0, dtype=cv2.CV_32F), np.float32)


def _sample(plane: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return enough of a plane's values to read quantiles off."""
    flat = plane.ravel()
    return flat[::_EVERY] if flat.size > _EVERY * _ENOUGH else flat


def _ink(crop: npt.NDArray[np.uint8]) -> npt.NDArray[np.float32]:
    """Return the darkness along the colour of this box's own ink, stretched so that the ink is near 1."""
    back = _reflected(crop)
    grey = np.asarray(cv2.transform(back, np.full((1, 3), 1 / 3, np.float32)), np.float32)
    seen = _sample(grey)
    count = max(4, int(seen.size * (1.0 - _QUANTILE)))
    darkest = float(np.partition(seen, seen.size - count)[-count])
    ink = 1.0 + np.array(cv2.mean(back, (grey >= darkest).astype(np.uint8))[:3])
    # A matched filter: the channels count by how dark the ink is in them, so tint and coloured rules fade.
    colour = np.maximum(ink, 0.02).astype(np.float32)
    plain = np.asarray(cv2.transform(back, (colour / colour.sum())[None]), np.float32)
    seen = _sample(plain)
    middle = seen.size // 2
    ordered = np.partition(seen, (middle, seen.size - count))
    # Paper grain lies around the median, not around zero.
    level, peak = float(ordered[middle]), float(ordered[seen.size - count])
    return np.asarray(np.clip((plain - level) / np.float32(max(peak - level, _FLOOR)), 0.0, 1.0), np.float32)


def _band(present: npt.NDArray[np.bool_], least: int) -> tuple[int, int]:
    """Return the half-open range that holds every True, widened by the margin and to at least `least`."""
    size = len(present)
    where = np.flatnonzero(present)
    if where.size == 0:
        return 0, size
    low, high = int(where[0]), int(where[-1]) + 1
    margin = max(2, round((high - low) * _MARGIN))
    low, high = low - margin, high + margin
    if high - low < least:
        low -= (least - (high - low)) // 2
        high = low + least
    if low < 0:
        low, high = 0, min(size, high - low)
    if high > size:
        low, high = max(0, low - (high - size)), size
    return low, high


def _trim(ink: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Cut away rows and columns where nothing can be writing; never through anything that might be."""
    height, width = ink.shape
    sure = (cv2.blur(ink, (3, 3)) > _SURE_INK).astype(np.uint8)
    run = round(width * _RULE_RUN)
    rows_of = sure
    if run > height:  # narrower than tall: the bar of a 7 or a 5 would pass for a rule
        rule = cv2.morphologyEx(sure, cv2.MORPH_OPEN, np.ones((1, run), np.uint8))
        without = np.where(cv2.dilate(rule, np.ones((3, 1), np.uint8)) > 0, 0, sure).astype(np.uint8)
        if without.any():
            rows_of = without
    top, bottom = _band(np.any(rows_of > 0, axis=1), max(8, round(height * _LEAST_BAND)))
    left, right = _band(np.any(sure[top:bottom] > 0, axis=0), min(width, bottom - top))
    return ink[top:bottom, left:right]


def prepare(crop: npt.NDArray[np.uint8]) -> npt.NDArray[np.float32]:
    """Return what the recogniser sees of one box.

    Parameters
    ----------
    crop
        ``(H, W, 3)`` uint8, RGB: one box cut out of a flattened sheet, at least 4 pixels each way.

    Returns
    -------
    ``(HEIGHT, W')`` float32 between 0 (paper) and 1 (ink), ``W'`` at most :data:`MAX_WIDTH`. The paper's
    tint and uneven light are divided out, the contrast is stretched to the ink's own, and rows and columns
    without any writing are cut away as far as :data:`_LEAST_BAND` allows.
    """
    height, width = crop.shape[:2]
    if height > _WORK_HEIGHT:
        width = max(4, round(width * _WORK_HEIGHT / height))
        height = _WORK_HEIGHT
        crop = np.asarray(cv2.resize(crop, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    ink = _trim(_ink(np.ascontiguousarray(crop)))
    wide = min(MAX_WIDTH, max(8, round(ink.shape[1] * HEIGHT / ink.shape[0])))
    way = cv2.INTER_AREA if ink.shape[0] >= HEIGHT else cv2.INTER_LINEAR
    return np.ascontiguousarray(cv2.resize(ink, (wide, HEIGHT), interpolation=way), np.float32)
