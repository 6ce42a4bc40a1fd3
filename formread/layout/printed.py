"""Print on a sheet: where its lines stand, and the crops that the recogniser reads."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from formread.layout.ink import Ink
from formread.layout.record import Rectangle
from formread.sheet.record import Image

_RELATIVE = 0.38  # ink this dark beside the darkest of the place is a letter, the rest is grain and blur
_FAINTEST = 0.045  # but nothing paler than this
_LOWEST, _TALLEST = 7, 60  # pixels; the height of a line of print
SPLIT = 1.1  # heights; a wider gap separates two pieces of print
_DEPTH = 3  # rounds of cutting; print on a slip needs two
_TALL = 2.0  # heights; print that runs up the page is at least so long
_TALL_SIGN = 0.75  # of the tallest: digits, not points
_EVEN = 0.04  # heights by which their heads and feet wander in print; in writing 0.06 and more
_MARGIN = 0.22  # heights; what the recogniser likes around a line


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of print: a rectangle tight around a line, in pixels of the working image.

    ``turns`` is how many quarter turns clockwise make it upright: 1 for print that runs up the page, 3 for print
    that runs down.
    """

    left: int
    top: int
    right: int
    bottom: int
    turns: int = 0

    @property
    def height(self) -> int:
        """Pixels across the line: how high its letters are."""
        return self.right - self.left if self.turns else self.bottom - self.top

    @property
    def length(self) -> int:
        """Pixels along the line."""
        return self.bottom - self.top if self.turns else self.right - self.left

    @property
    def middle(self) -> tuple[float, float]:
        """Its centre (x, y)."""
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2


def _runs(mask: npt.NDArray[np.bool_], gap: int) -> list[tuple[int, int]]:
    """Return the stretches of true values, joined over gaps of up to `gap`."""
    on = np.flatnonzero(mask)
    if not len(on):
        return []
    breaks = np.flatnonzero(np.diff(on) > gap + 1)
    starts = np.concatenate([[on[0]], on[breaks + 1]])
    ends = np.concatenate([on[breaks], [on[-1]]]) + 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def pieces(content: Ink, place: Rectangle, split: float = SPLIT) -> list[Piece]:
    """Find the pieces of print or writing inside `place`, top to bottom, left to right.

    Parameters
    ----------
    content
        (H, W) darkness with the rules erased.
    split
        Heights of a line; a gap wider than this separates two pieces.
    """
    top, left = max(place.top, 0), max(place.left, 0)
    part = content[top : place.bottom, left : place.right]
    if part.size == 0 or min(part.shape) < 4:
        return []
    dark = _dark(part)
    found = [
        Piece(left + x0, top + y0, left + x1, top + y1)
        for x0, y0, x1, y1 in _cut(dark, 0, 0, split, _DEPTH)
        if _LOWEST <= y1 - y0 <= _TALLEST and x1 - x0 >= 4
    ]
    found.sort(key=lambda piece: (piece.top + piece.bottom, piece.left))
    return found


def is_print(content: Ink, piece: Piece, signs: int) -> bool:
    """Say whether the last `signs` signs of a piece are print, not writing: apart, as high as each other, and level."""
    part = content[piece.top : piece.bottom, piece.left : piece.right]
    dark = _dark(part)
    ends = []
    for start, end in _runs(np.asarray(dark.any(axis=0)), 0):
        rows = np.flatnonzero(dark[:, start:end].any(axis=1))
        ends.append((rows[0], rows[-1] + 1))
    if len(ends) < signs:
        return False
    tops, bottoms = np.array(ends[-signs:], float).T
    tall = bottoms - tops >= _TALL_SIGN * (bottoms - tops).max()
    height = float(np.median((bottoms - tops)[tall]))
    return float(tops[tall].std() + bottoms[tall].std()) < _EVEN * height


def _dark(part: Ink) -> npt.NDArray[np.bool_]:
    return np.asarray(part > max(_FAINTEST, _RELATIVE * float(np.quantile(part, 0.995))))


def tall_pieces(content: Ink, place: Rectangle) -> list[Piece]:
    """Find the print that runs up the page inside `place`, left to right."""
    top, left = max(place.top, 0), max(place.left, 0)
    part = content[top : place.bottom, left : place.right]
    if part.size == 0 or min(part.shape) < 4:
        return []
    turned = np.ascontiguousarray(np.rot90(part, -1))
    high = part.shape[0]
    found = [
        Piece(left + p.top, top + high - p.right, left + p.bottom, top + high - p.left, 1)
        for p in pieces(turned, Rectangle(0, 0, turned.shape[1], turned.shape[0]))
        if p.length >= _TALL * p.height
    ]
    return sorted(found, key=lambda piece: piece.left)


def _cut(
    dark: npt.NDArray[np.bool_], x: int, y: int, split: float, depth: int
) -> list[tuple[int, int, int, int]]:
    """Cut along white gaps, across and down in turn (the X-Y cut of Nagy, Seth, Viswanathan 1992)."""
    parts = []
    tall = [b - a for a, b in _runs(dark.sum(axis=1) >= 1, 1)]
    gap = round(split * min(max([h for h in tall if h >= _LOWEST], default=20), 24))
    for x0, x1 in _runs(np.asarray(dark.any(axis=0)), gap):
        column = dark[:, x0:x1]
        for y0, y1 in _runs(column.sum(axis=1) >= 1, 1):
            parts.append((x0, y0, x1, y1))
    if len(parts) <= 1 or depth == 0:
        return [(x + x0, y + y0, x + x1, y + y1) for x0, y0, x1, y1 in parts]
    result = []
    for x0, y0, x1, y1 in parts:
        result += _cut(dark[y0:y1, x0:x1], x + x0, y + y0, split, depth - 1)
    return result


def crops(image: Image, found: Sequence[Piece], scale: float) -> list[Image]:
    """Cut the pieces out of the sheet's own image; `scale` is its size over that of the working image."""
    height, width = image.shape[:2]
    result = []
    for piece in found:
        margin = max(2.0, _MARGIN * piece.height)
        across, along = (1.5 * margin, margin) if not piece.turns else (margin, 1.5 * margin)
        top = max(0, int((piece.top - along) * scale))
        bottom = min(height, int(np.ceil((piece.bottom + along) * scale)))
        left = max(0, int((piece.left - across) * scale))
        right = min(width, int(np.ceil((piece.right + across) * scale)))
        result.append(np.ascontiguousarray(np.rot90(image[top:bottom, left:right], -piece.turns)))
    return result
