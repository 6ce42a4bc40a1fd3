"""Sheets of one pad, told by their print and laid on each other by it.

Flattening brings every sheet near its true shape; what is left is found by sliding one sheet's darkness over the
other's till they agree best (Evangelidis & Psarakis 2008), from coarse, where rows can't be taken for their
neighbours, to fine. Then the rules and lines of print of both are held against each other stretch by stretch: along
a rule, writing counts for little. Where stretches lie a little off tells how the paper bends; how far they agree in
the end tells whether the sheets are of one pad, for another pad's rules lie elsewhere, if it only has a row more.
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.bend import Bend, Numbers, bend_through, flat
from formread.layout.ink import Ink, ink_of
from formread.sheet.record import Image, Points

Matrix = npt.NDArray[np.float64]

LONG: Final = 768
"""Pixels of the longer side at which print is compared: rules are still parted from each other."""
SAME: Final = 0.45
"""Likeness from which on two sheets may be of one pad. All of 114 pairs of photographed slips of 24 pads for development
reached it, of 60 pairs of slips of two of these pads none had more than 0.21. Forms of one printer that differ in a row
or a column may have more: what boxes they have must tell them apart (:func:`formread.layout.together.explained`)."""
CLEAR: Final = 0.65
"""Likeness from which on they lie well on each other."""
_CAP = 0.3  # darkness; more counts no more, or pens would outweigh pale rules
_PROPORTION_OFF = (
    0.35  # logarithm; flattening may miss the proportion of the sides of a slip seen aslant by so much
)
_LEVELS = ((128, 1.0, 30), (256, 1.5, 30), (LONG, 2.0, 12))  # long side, blur in pixels, steps at most
_ENOUGH = 1e-4  # gain of a step that is worth another
_HOPELESS = 0.4  # correlation at any level with less of which the sheets above had nothing in common
_STRIPS, _STRETCHES = 4, 6  # across a rule's direction, and along the profile
_REACH = 3  # pixels by which a stretch may lie off in the end
_BENT = 8  # pixels by which paper may bend; less than half of the lowest row
_OFF = 1.5  # pixels off the rest by which a stretch is heard half
_SLOW = 8.0  # pixels; what changes more slowly is shade
_PRINTED = 0.006  # standard deviation of a profile that crosses print


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """How one sheet lies on another.

    Attributes
    ----------
    matrix
        (3, 3) leads from places of the first sheet's :class:`Print`, bent, to pixels of the second sheet.
    bends
        By how many places the first sheet's print is bent, in x and in y.
    shrink
        Places of the first sheet's print for a pixel of the sheet, in x and in y.
    likeness
        The median correlation of both sheets' darkness over all stretches that cross print.
    """

    matrix: Matrix
    bends: tuple[Bend, Bend]
    shrink: tuple[float, float]
    likeness: float

    def __call__(self, points: Points) -> Points:
        """Lead (N, 2) points (x, y) in pixels of the first sheet to pixels of the second."""
        places = np.asarray(points, np.float64) * self.shrink
        places = places + np.column_stack([bend(places) for bend in self.bends])
        led = np.column_stack([places, np.ones(len(places))]) @ self.matrix.T
        return np.asarray(led[:, :2] / led[:, 2:], np.float64)

    def over(self, x: Numbers, y: Numbers) -> tuple[Numbers, Numbers]:
        """Lead the crossings of columns `x` and rows `y` of the first sheet; x and y, (rows, columns) each."""
        across, down = x * self.shrink[0], y * self.shrink[1]
        u = across[None, :] + self.bends[0].over(across, down)
        v = down[:, None] + self.bends[1].over(across, down)
        led = [one[0] * u + one[1] * v + one[2] for one in self.matrix]
        return led[0] / led[2], led[1] / led[2]


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
    unbent = _warped(ink, matrix, (flat((width, height)),) * 2)
    bends = _bend(one.ink, unbent, turned=True), _bend(one.ink, unbent, turned=False)
    laid = _warped(ink, matrix, bends)
    alike = [
        found.likeness for turned in (False, True) for found in _stretches(one.ink, laid, _REACH, turned)
    ]
    if not alike:
        return None
    to_other = np.diag([other.size[0] / width, other.size[1] / height, 1.0]) @ matrix
    shrink = (width / one.size[0], height / one.size[1])
    return Match(to_other, bends, shrink, float(np.median(alike)))


def _warped(ink: Ink, matrix: Matrix, bends: tuple[Bend, Bend]) -> Ink:
    """Return darkness as it lies on the first sheet."""
    height, width = ink.shape
    columns, rows = np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64)
    x, y = Match(matrix, bends, (1.0, 1.0), 0.0).over(columns, rows)
    return np.asarray(
        cv2.remap(ink, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR), np.float32
    )


def _bend(one: Ink, laid: Ink, *, turned: bool) -> Bend:
    """Return by how much the first sheet's print has to be bent to lie on the second's, down or (`turned`) across."""
    height, width = one.shape
    found = _stretches(one, laid, _BENT, turned)
    if not found:
        return flat((width, height))
    places = np.array([stretch.place for stretch in found])
    off = np.array([stretch.off for stretch in found])
    sure = np.array([max(stretch.likeness, 0.0) ** 2 for stretch in found])
    return bend_through(places, off, sure, (width, height), _OFF)


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


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Part of a strip of both sheets: its middle (x, y), how far it lies off, and how well both agree there."""

    place: tuple[float, float]
    off: float
    likeness: float


def _stretches(one: Ink, other: Ink, reach: int, turned: bool) -> list[_Stretch]:
    """Hold the darkness down some strips of two sheets against each other, where there is print; `turned`: across."""
    if turned:
        one, other = one.T, other.T
    height, width = one.shape
    high, wide = height // _STRETCHES, width // _STRIPS
    found = []
    for left in range(0, width - wide + 1, wide):
        a, b = (_profile(ink[:, left : left + wide]) for ink in (one, other))
        for top in range(reach, height - high - reach + 1, high // 2):
            sought = a[top : top + high]
            seen = b[top - reach : top + high + reach]
            if max(float(sought.std()), float(seen.std())) < _PRINTED:
                continue
            alike = cv2.matchTemplate(seen, sought, cv2.TM_CCOEFF_NORMED)[:, 0]
            best = int(np.argmax(alike))
            place = (left + wide / 2, top + high / 2)
            found.append(_Stretch(place[::-1] if turned else place, float(best - reach), float(alike[best])))
    return found


def _profile(strip: Ink) -> Ink:
    """Return the mean darkness down a strip as a column, (h, 1), its shade taken off."""
    mean = np.asarray(strip.mean(axis=1), np.float32)[:, None]
    return np.asarray(mean - cv2.GaussianBlur(mean, (0, 0), _SLOW), np.float32)
