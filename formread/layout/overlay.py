"""Draw a layout on its sheet, for people and for chasing faults."""

import cv2
import numpy as np

from formread.layout.record import Box, Layout, Rectangle
from formread.sheet.record import Image

_COLOURS = {
    "code": (150, 90, 200),
    "description": (120, 120, 120),
    "quantity": (20, 150, 60),
    "unit_price": (30, 110, 220),
    "line_total": (210, 60, 40),
    "size": (0, 150, 150),
    "page": (150, 130, 0),
    "other": (90, 90, 90),
}
_TOTAL = (220, 0, 130)
_AROUND = (200, 140, 0)


def draw_layout(image: Image, layout: Layout) -> Image:
    """Return a copy of the sheet's (H, W, 3) uint8 RGB image with every box drawn in its role's colour."""
    out = image.copy()
    line = max(1, round(max(image.shape) / 900))
    size = max(image.shape) / 2600

    def outline(rectangle: Rectangle, colour: tuple[int, int, int]) -> None:
        corner = (rectangle.right - 1, rectangle.bottom - 1)
        cv2.rectangle(out, (rectangle.left, rectangle.top), corner, colour, line)

    def box(place: Box, colour: tuple[int, int, int]) -> None:
        outline(place.rectangle, colour)
        if place.pence is not None:
            outline(place.pence, colour)

    def say(text: str, x: int, y: int, colour: tuple[int, int, int]) -> None:
        cv2.putText(
            out, text, (max(x, 0), max(y, 12)), cv2.FONT_HERSHEY_SIMPLEX, size, colour, line, cv2.LINE_AA
        )

    for row in layout.rows:
        for role, place in row.boxes:
            box(place, _COLOURS[role])
    if layout.rows:
        for role, place in layout.rows[0].boxes:
            say(role, place.rectangle.left, place.rectangle.top - 3 * line, _COLOURS[role])
    for total in layout.totals:
        box(total.box, _TOTAL)
        say(total.role, total.box.rectangle.left, total.box.rectangle.bottom - 3 * line, _TOTAL)
    for rectangle, name in ((layout.serial, f"no. {layout.serial_text}"), (layout.customer, "customer")):
        if rectangle is not None:
            outline(rectangle, _AROUND)
            say(name, rectangle.left, rectangle.top - 3 * line, _AROUND)
    return np.asarray(out, np.uint8)
