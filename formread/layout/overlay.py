"""Draw a layout on its sheet: every box in the colour of its role, named, for people and for chasing faults."""

import cv2
import numpy as np

from formread.layout.record import Box, Layout, Rectangle
from formread.sheet.record import Image

Colour = tuple[int, int, int]

_COLUMNS: dict[str, tuple[str, Colour]] = {
    "code": ("code", (150, 90, 200)),
    "description": ("description", (110, 110, 110)),
    "quantity": ("quantity", (20, 140, 60)),
    "unit_price": ("price each", (30, 110, 220)),
    "line_total": ("line total", (200, 60, 40)),
    "size": ("size", (0, 140, 140)),
    "page": ("page", (140, 120, 0)),
    "other": ("not read", (110, 110, 110)),
}
_TOTALS: dict[str, str] = {
    "goods": "goods total",
    "delivery": "delivery",
    "discount": "discount",
    "deposit": "deposit",
    "other": "other charge",
    "total": "total",
}
_TOTAL: Colour = (205, 0, 120)
_AROUND: Colour = (180, 120, 0)
_PAPER: Colour = (255, 255, 255)
_LINES = 900  # pixels of the longer side for one of a line's thickness
_LETTERS = 95  # letters' heights on the longer side
_FADED = 0.75  # how far the paper behind a name hides what is under it


def draw_layout(image: Image, layout: Layout) -> Image:
    """Return a copy of the sheet's (H, W, 3) uint8 RGB image with every box drawn and its role said.

    The names stand over the columns and over the boxes of the totals, so that they hide no writing.
    """
    pen = _Pen(image)
    named: set[int] = set()
    for row in layout.rows:
        for place, (role, box) in enumerate(row.boxes):
            name, colour = _COLUMNS[role]
            pen.box(box, colour)
            if place not in named:
                named.add(place)
                pen.name(name, box.rectangle, colour)
    for total in layout.totals:
        pen.box(total.box, _TOTAL)
        own = total.box.rectangle
        over = any(_stands_on(t.box.rectangle, own) for t in layout.totals)
        pen.name(_TOTALS[total.role], own, _TOTAL, before=over)
    for rectangle, name in ((layout.serial, f"no. {layout.serial_text}"), (layout.customer, "customer")):
        if rectangle is not None:
            pen.outline(rectangle, _AROUND)
            pen.name(name, rectangle, _AROUND)
    return pen.image


def _stands_on(upper: Rectangle, lower: Rectangle) -> bool:
    """Say whether a box ends right over another, so that nothing can be written between without hiding its ink."""
    beside = upper.right <= lower.left or lower.right <= upper.left
    return not beside and upper.top < lower.top and lower.top - upper.bottom < (lower.bottom - lower.top) / 2


class _Pen:
    def __init__(self, image: Image) -> None:
        self.image = np.array(image, np.uint8)
        self._line = max(1, round(max(image.shape) / _LINES))
        self._letter = max(9, round(max(image.shape) / _LETTERS))
        self._face = cv2.FontFace("sans")

    def outline(self, rectangle: Rectangle, colour: Colour) -> None:
        corner = (rectangle.right - 1, rectangle.bottom - 1)
        cv2.rectangle(self.image, (rectangle.left, rectangle.top), corner, colour, self._line)

    def box(self, place: Box, colour: Colour) -> None:
        for rectangle in (place.rectangle, place.pence):
            if rectangle is not None:
                self.outline(rectangle, colour)

    def name(self, text: str, rectangle: Rectangle, colour: Colour, *, before: bool = False) -> None:
        """Write on faded paper, just above a box's upper left corner, or before its lower one."""
        size = (self.image.shape[1], self.image.shape[0])
        left, base = max(rectangle.left, 0), max(rectangle.top - 2 * self._line, self._letter + 2)
        if before:
            wide = cv2.getTextSize(size, text, (0, base), self._face, self._letter, 600)[2]
            left, base = max(rectangle.left - wide - 4 * self._line, 0), rectangle.bottom - 2 * self._line
        x, y, wide, high = cv2.getTextSize(size, text, (left + 2, base), self._face, self._letter, 600)
        part = self.image[max(y - 2, 0) : y + high + 2, max(x - 2, 0) : x + wide + 2]
        part[:] = np.rint(part * (1 - _FADED) + np.array(_PAPER) * _FADED).astype(np.uint8)
        cv2.putText(self.image, text, (left + 2, base), colour, self._face, self._letter, weight=600)
