"""How much darker than the paper each pixel is, whatever the colour of paper, print and light."""

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet.record import Image

Ink = npt.NDArray[np.float32]

_SHRINK = 4  # the paper's own shade changes slowly: a quarter of the size is plenty and saves the time
_REACH = 11  # at that size; wider than a pen stroke or printed letter, narrower than a row's tint


_FILL_SHRINK = 4
_FILL_PAPER = 61  # at that size; wider than any printed band is high
_FILL_DARK = 0.16  # how much darker than the paper a filled band is at least: pale carbon copies reach 0.2
_FILL_HEIGHT = (16, 110)  # pixels
_FILL_WIDTH = 0.35  # of the sheet's width
_FILL_ROW = 0.5  # share of each of its rows that is dark, white letters taken off
_FILL_COLUMN = 0.3  # share of a column, some paper over and under the band included, that is filled
_EDGE = 0.6  # darkness of the line drawn along a band's edges


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
    small = cv2.resize(
        image, (max(1, width // _SHRINK), max(1, height // _SHRINK)), interpolation=cv2.INTER_AREA
    )
    kernel = np.ones((_REACH, _REACH), np.uint8)
    paper = cv2.morphologyEx(small, cv2.MORPH_CLOSE, kernel)
    paper = cv2.blur(paper, (_REACH, _REACH))
    paper = cv2.resize(paper, (width, height), interpolation=cv2.INTER_LINEAR)
    ratio = cv2.divide(image, np.maximum(paper, 1), scale=250.0)  # saturates at 255: paper is about 250
    red, green, blue = cv2.split(ratio)
    darkest = cv2.min(cv2.min(red, green), blue)
    grey = cv2.cvtColor(ratio, cv2.COLOR_RGB2GRAY)
    mean = cv2.addWeighted(darkest, 0.5, grey, 0.5, 0.0)
    ink = np.asarray(np.clip((250.0 - mean.astype(np.float32)) / 250.0, 0.0, 1.0), np.float32)
    return _unfilled(image, ink)


def _unfilled(image: Image, ink: Ink) -> Ink:
    """Turn bands with white print on a dark ground into dark print on white, between two lines."""
    height, width = ink.shape
    grey = np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), np.uint8)
    size = (max(1, width // _FILL_SHRINK), max(1, height // _FILL_SHRINK))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    paper = cv2.blur(
        cv2.dilate(cv2.medianBlur(small, 3), np.ones((_FILL_PAPER, _FILL_PAPER), np.uint8)), (31, 31)
    )
    dark = (small < (1 - _FILL_DARK) * paper.astype(np.float32)).astype(np.uint8)
    raw, shape = dark, (_FILL_HEIGHT[0] // _FILL_SHRINK, 12)
    # Away with rules and pens; then fill the letters inside a band; then away with all that is no band.
    opened = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    closed = cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8))
    bands = cv2.morphologyEx(closed, cv2.MORPH_OPEN, np.ones(shape, np.uint8))
    count, _, stats, _ = cv2.connectedComponentsWithStats(bands)
    for k in range(1, count):
        left, top, wide, high = (int(v) for v in stats[k][:4])
        if wide < _FILL_WIDTH * size[0]:
            continue
        # Thick writing just under a band clings to it; its rows are far from full.
        full = (raw[top : top + high, left : left + wide].mean(axis=1) > _FILL_ROW).astype(np.int8)
        steps = np.diff(np.concatenate([[0], full, [0]]))
        starts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
        if not len(starts):
            continue
        longest = int(np.argmax(ends - starts))
        first, last = top + int(starts[longest]), top + int(ends[longest])
        if _FILL_HEIGHT[0] <= (last - first) * _FILL_SHRINK <= _FILL_HEIGHT[1]:
            ink = _turned(grey, ink, tuple(_FILL_SHRINK * v for v in (left, first, left + wide, last)))
    return ink


def _turned(grey: npt.NDArray[np.uint8], ink: Ink, box: tuple[int, ...]) -> Ink:
    """Turn one filled band, if its print is lighter than its ground."""
    height, width = ink.shape
    left, right = max(box[0] - 2, 0), min(box[2] + 2, width)
    top, bottom = max(box[1] - 12, 0), min(box[3] + 12, height)
    part = grey[top:bottom, left:right].astype(np.float32)
    inside = part[14:-14, 6:-6]
    if inside.size == 0:
        return ink
    ground = float(np.median(inside))
    outside = float(np.quantile(part, 0.97))
    if (
        outside - ground < 20
        or (inside > ground + 0.4 * (outside - ground)).mean()
        < 2 * (inside < ground - 0.4 * (outside - ground)).mean()
    ):
        return ink
    level = (ground + outside) / 2
    smooth = cv2.blur(part, (25, 1))
    result = ink.copy()
    light = np.clip((part - ground) / max(outside - ground, 1.0), 0, 1)
    filled = smooth < level
    reach = min(26, part.shape[0] // 2)
    start = filled[:reach].argmax(axis=0)
    end = part.shape[0] - filled[::-1][:reach].argmax(axis=0)
    rows = np.arange(part.shape[0])[:, None]
    within = filled.mean(axis=0) > _FILL_COLUMN  # paper just beside the band stays paper
    body = (rows >= start[None, :]) & (rows < end[None, :]) & within
    block = result[top:bottom, left:right]
    block[body] = light[body]
    for edge in (start, end - 1):
        line = (np.abs(rows - edge[None, :]) <= 1) & within
        block[line] = _EDGE
    return result
