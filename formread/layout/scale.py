"""From places of the map that the network saw to pixels, and the stretches of one kind on it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from formread.layout.boxes import KINDS, Seen
from formread.layout.grid import Edges, Grid
from formread.layout.printed import Piece
from formread.layout.record import Box, Rectangle
from formread.ocr import PrintedText

Read = Callable[[Sequence[Piece]], list[PrintedText]]
"""Reads pieces of print."""


@dataclass(frozen=True, slots=True)
class Scale:
    """From places of the map to pixels of the sheet and of the working image."""

    grid: Grid
    seen: Seen
    working: float

    def sheet(self, u: float, v: float) -> tuple[float, float]:
        """Place (u, v) of the grid in pixels of the sheet."""
        x, y = self.grid.point(u, v)
        return (x + 0.5) * self.seen.scale[0], (y + 0.5) * self.seen.scale[1]

    def rectangle(self, box: Edges) -> Rectangle:
        """The upright rectangle through the middles of a box's sides, in pixels of the sheet."""
        mu, mv = (box.left + box.right) / 2, (box.top + box.bottom) / 2
        left, right = self.sheet(box.left, mv)[0], self.sheet(box.right, mv)[0]
        top, bottom = self.sheet(mu, box.top)[1], self.sheet(mu, box.bottom)[1]
        x0, y0 = max(round(left), 0), max(round(top), 0)
        return Rectangle(x0, y0, max(round(right), x0 + 1), max(round(bottom), y0 + 1))

    def of_part(self, part: tuple[int, int, int, int], around: int) -> Rectangle:
        """A stretch of the map (left, top, width, height) in the working image, with some pixels around it."""
        left, top, wide, high = part
        sx, sy = (s / self.working for s in self.seen.scale)
        return Rectangle(
            max(round(left * sx) - around, 0),
            max(round(top * sy) - 3, 0),
            round((left + wide) * sx) + around,
            round((top + high) * sy) + 3,
        )

    def in_working(self, box: Edges) -> Rectangle:
        """The same rectangle in pixels of the working image, which print is looked for in."""
        r = self.rectangle(box)
        return Rectangle(*(round(v / self.working) for v in (r.left, r.top, r.right, r.bottom)))

    def box(self, edges: Edges, pence: Edges | None) -> Box:
        """A box with its half for the pence, in pixels of the sheet."""
        return Box(self.rectangle(edges), None if pence is None else self.rectangle(pence))


def parts_of(seen: Seen, kind: str, least: float, area: float) -> list[tuple[int, int, int, int]]:
    """Return left, top, width and height of every stretch of one kind, the largest first."""
    mask = (seen.kinds[KINDS.index(kind)] > least).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask)
    found = [(int(s[4]), (int(s[0]), int(s[1]), int(s[2]), int(s[3]))) for s in stats[1:count]]
    return [part for size, part in sorted(found, key=lambda item: (-item[0], item[1])) if size >= area]
