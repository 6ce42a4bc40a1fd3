"""Sheets of one pad, told by their print and laid on each other by it.

Flattening brings every sheet near its true shape; what is left is found by sliding one sheet's darkness over the
other's till they agree best (Evangelidis & Psarakis 2008), from coarse, where rows can't be taken for their
neighbours, to fine. Then the rules and lines of print of both are held against each other stretch by stretch: along
a rule, writing counts for little, and another pad's rules lie elsewhere, if it only has a row more.
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.ink import Ink, ink_of
from formread.sheet.record import Image

Matrix = npt.NDArray[np.float64]

LONG: Final = 768
"""Pixels of the longer side at which print is compared: rules are still parted from each other."""
SAME: Final = 0.65
"""Likeness from which on two sheets are of one pad: 36 of 39 pairs of photographed slips of eight tune pads had 0.70 and
more (three could not be laid on each other); of flat slips of those pads beside variants of theirs that have other rows,
columns or totals, none had more than 0.56."""
_CAP = 0.3  # darkness; more counts no more, or pens would outweigh pale rules
_PROPORTION_OFF = (
    0.35  # logarithm; flattening may miss the proportion of the sides of a slip seen aslant by so much
)
_LEVELS = ((128, 1.0, 30), (256, 1.5, 30), (LONG, 2.0, 12))  # long side, blur in pixels, steps at most
_ENOUGH = 1e-4  # gain of a step that is worth another
_HOPELESS = 0.15  # correlation that leads nowhere
_STRIPS, _STRETCHES = 4, 6  # across a rule's direction, and along the profile
_REACH = 3  # pixels by which a stretch may lie off: paper bends
_SLOW = 8.0  # pixels; what changes more slowly is shade
_PRINTED = 0.006  # standard deviation of a profile that crosses print


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """How one sheet lies on another.

    Attributes
    ----------
    matrix
        (3, 3) leads from pixels of the first sheet to pixels of the second.
    likeness
        The median correlation of both sheets' darkness over all stretches that cross print.
    """

    matrix: Matrix
    likeness: float


@dataclass(frozen=True, slots=True, eq=False)
class Print:
    """A sheet's darkness, (h, w), :data:`LONG` pixels long, and the sheet's own size in pixels (width, height)."""

    ink: Ink
    size: tuple[int, int]


def print_of(image: Image) -> Print:
    """Return what is dark on a sheet, (H, W, 3) uint8 RGB."""
    height, width = image.shape[:2]
    shrink = LONG / max(height, width)
    size = max(1, round(width * shrink)), max(1, round(height * shrink))
    small = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)
    return Print(np.minimum(ink_of(small), _CAP), (width, height))


def matched(one: Print, other: Print) -> Match | None:
    """Lay a sheet's print on another's; None where they can't be brought together at all."""
    height, width = one.ink.shape
    high, wide = other.ink.shape
    if abs(np.log(height * wide / (width * high))) > _PROPORTION_OFF:
        return None
    ink = np.asarray(cv2.resize(other.ink, (width, height), interpolation=cv2.INTER_AREA), np.float32)
    matrix = np.eye(3)
    for long, blur, steps in _LEVELS:
        found = _laid(one.ink, ink, matrix, long, blur, steps)
        if found is None:
            return None
        matrix = found
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    laid = np.asarray(cv2.warpPerspective(ink, matrix, (width, height), flags=flags), np.float32)
    alike = [*_alike(one.ink, laid), *_alike(one.ink.T, laid.T)]
    if not alike:
        return None
    to_own = np.diag([one.size[0] / width, one.size[1] / height, 1.0])
    to_other = np.diag([other.size[0] / width, other.size[1] / height, 1.0])
    matrix = to_other @ matrix @ np.linalg.inv(to_own)
    return Match(matrix / matrix[2, 2], float(np.median(alike)))


def _laid(one: Ink, other: Ink, start: Matrix, long: int, blur: float, steps: int) -> Matrix | None:
    """Slide prints of one size over each other, at one level; None where they don't agree."""
    height, width = one.shape
    shrink = long / max(height, width)
    size = max(16, round(width * shrink)), max(16, round(height * shrink))
    a, b = (
        cv2.GaussianBlur(cv2.resize(ink, size, interpolation=cv2.INTER_AREA), (0, 0), blur)
        for ink in (one, other)
    )
    scale = np.diag([size[0] / width, size[1] / height, 1.0])
    own = scale @ start @ np.linalg.inv(scale)
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, steps, _ENOUGH)
    try:
        likeness, found = cv2.findTransformECC(
            a,
            b,
            np.asarray(own / own[2, 2], np.float32),
            cv2.MOTION_HOMOGRAPHY,
            criteria,
            np.ones(b.shape, np.uint8),
            5,
        )
    except cv2.error:  # it has no better word for sheets that have nothing in common
        return None
    if likeness < _HOPELESS:
        return None
    matrix = np.linalg.inv(scale) @ np.asarray(found, np.float64) @ scale
    return np.asarray(matrix / matrix[2, 2], np.float64)


def _alike(one: Ink, other: Ink) -> list[float]:
    """Return the correlation of every stretch of the darkness down some strips of two sheets, where there is print."""
    height, width = one.shape
    high, wide = height // _STRETCHES, width // _STRIPS
    found = []
    for left in range(0, width - wide + 1, wide):
        a, b = (_profile(ink[:, left : left + wide]) for ink in (one, other))
        for top in range(_REACH, height - high - _REACH + 1, high // 2):
            sought = a[top : top + high]
            seen = b[top - _REACH : top + high + _REACH]
            if max(float(sought.std()), float(seen.std())) >= _PRINTED:
                found.append(float(cv2.matchTemplate(seen, sought, cv2.TM_CCOEFF_NORMED).max()))
    return found


def _profile(strip: Ink) -> Ink:
    """Return the mean darkness down a strip as a column, (h, 1), its shade taken off."""
    mean = np.asarray(strip.mean(axis=1), np.float32)[:, None]
    return np.asarray(mean - cv2.GaussianBlur(mean, (0, 0), _SLOW), np.float32)
