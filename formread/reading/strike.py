"""Rows that are crossed out by one stroke: a line of the pen through all of a row's boxes.

Box by box such a line can't be told from a printed rule that runs through the writing. Along a whole row it can:
the form prints its rules in every row, and nobody crosses every row out. Where a row's boxes stand on several storeys,
one stroke through one of them crosses out the row.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

Strip = npt.NDArray[np.uint8]

_LEAST_HEIGHT: Final = 12  # pixels: nothing is told of lower strips
_LEAST_LENGTH: Final = 4  # heights: nor of shorter ones, where a digit's level stroke is as long as a line
_HEIGHT: Final = 48  # pixels that a row's strip is brought to
_SAMPLES: Final = 240  # places along a row
_MIDDLE: Final = (0.22, 0.80)  # of the row's height: where a stroke that crosses it out may run
_REACH: Final = 1.5  # pixels by which a hand's line may waver from a straight one
_STEP: Final = 2.0  # pixels between the lines tried
_DARK: Final = 0.10  # of the paper: ink
_RIM: Final = 0.02  # of a row's length left out at each end
_SHARE: Final = 0.55  # of the row's length that a stroke covers at least
_SHARE_OF_BOX: Final = (
    0.9  # of a box's length, where it stands by itself: a word struck through or a dash is shorter
)
_COVER: Final = 0.93  # of that stretch that is inked
_THIN: Final = 0.5  # of that stretch that has paper above and below: where it crosses a digit's upright stroke it has not
_THICK: Final = 13  # pixels that a line of the pen is thinner than, seen from above
_FORM: Final = 0.3  # share of the rows with such a line from which on it is the form's own


@dataclass(frozen=True, slots=True, eq=False)
class Storey:
    """Boxes of one row that stand side by side.

    Attributes
    ----------
    strip
        (H, W, 3) uint8 RGB, from the first box to the last, between their rules.
    boxes
        How many they are.
    """

    strip: Strip
    boxes: int


def crossed(rows: Sequence[Sequence[Storey]]) -> list[bool]:
    """Say which rows of a table one long stroke runs through, on whichever storey.

    Parameters
    ----------
    rows
        The storeys of each row, from the top; most rows have one.

    Returns
    -------
    list of bool
        A line that many rows hold on the same storey crosses none of them out: the form prints it.
    """
    found = [[_has_stroke(storey) for storey in row] for row in rows]
    by_storey = zip_longest(*found, fillvalue=False)
    printed = [sum(level) > max(1.0, _FORM * len(rows)) for level in by_storey]
    return [any(stroke and not own for stroke, own in zip(row, printed, strict=False)) for row in found]


def _has_stroke(storey: Storey) -> bool:
    strip = storey.strip
    if strip.shape[0] < _LEAST_HEIGHT or strip.shape[1] < _LEAST_LENGTH * strip.shape[0]:
        return False
    width = max(_SAMPLES, round(strip.shape[1] * _HEIGHT / strip.shape[0]))
    grey = cv2.min(cv2.min(strip[..., 0], strip[..., 1]), strip[..., 2])
    small = cv2.resize(grey, (width, _HEIGHT), interpolation=cv2.INTER_AREA)
    paper = cv2.blur(cv2.dilate(small, np.ones((15, 15), np.uint8)), (31, 31)).astype(np.float32)
    ink = (1.0 - small.astype(np.float32) / np.maximum(paper, 8.0) > _DARK).astype(np.uint8)
    # An upright stroke of a digit is dark at every height: only what is thin from above counts as a line. And the edge of
    # a shadow is dark on one side for good: most of a line must have paper above and below it.
    wide = cv2.dilate(ink, np.ones((round(2 * _REACH), 1), np.uint8))
    between = cv2.morphologyEx(small, cv2.MORPH_CLOSE, np.ones((_THICK, 1), np.uint8)).astype(np.float32)
    thin = (1.0 - small.astype(np.float32) / np.maximum(between, 8.0) > _DARK).astype(np.uint8)
    thin_wide = cv2.dilate(thin, np.ones((round(2 * _REACH), 1), np.uint8))
    columns = np.linspace(_RIM * width, (1 - _RIM) * width - 1, _SAMPLES).astype(np.intp)
    low, high = _MIDDLE[0] * _HEIGHT, _MIDDLE[1] * _HEIGHT
    ends = np.arange(low, high, _STEP)
    share = np.linspace(0, 1, _SAMPLES)
    first, last = np.meshgrid(ends, ends, indexing="ij")
    lines = np.rint(first.ravel()[:, None] * (1 - share) + last.ravel()[:, None] * share).astype(np.intp)
    window = round((_SHARE if storey.boxes > 1 else _SHARE_OF_BOX) * _SAMPLES)
    inked, lined = (
        _shares(dark[:, columns][lines, np.arange(_SAMPLES)], window) for dark in (wide, thin_wide)
    )
    return bool(((inked >= _COVER) & (lined >= _THIN)).any())


def _shares(hit: npt.NDArray[np.uint8], window: int) -> npt.NDArray[np.float64]:
    """Share of every stretch of `window` places that is hit, by line (N, places)."""
    total = np.cumsum(np.concatenate([np.zeros((len(hit), 1), np.int64), hit], axis=1), axis=1)
    found: npt.NDArray[np.float64] = (total[:, window:] - total[:, :-window]) / window
    return found
