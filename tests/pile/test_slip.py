"""Reading a sheet whose layout is known: a drawn pad with rows of two storeys."""

import cv2
import numpy as np

from formread.arithmetic import SlipReadings
from formread.layout.record import Box, ColumnRole, Layout, Rectangle, Row
from formread.pile.slip import read_sheet
from formread.sheet.record import Image

PITCH, ROWS = 130, 5
STOREYS: tuple[tuple[ColumnRole, int, int, int, int], ...] = (
    ("code", 20, 5, 150, 55),
    ("description", 152, 5, 780, 55),
    ("quantity", 20, 65, 150, 115),
    ("unit_price", 152, 65, 450, 115),
    ("line_total", 452, 65, 780, 115),
)
"""Role, left, top, right, bottom; from the top of the row."""
WRITTEN = (
    ("104", "Twine", "2", "4.99", "9.98"),
    ("238", "Peat", "1", "3.50", "3.50"),
    ("771", "Pots", "3", "2.00", "6.00"),
)


def read(strokes: dict[int, tuple[int, int]]) -> SlipReadings:
    """Draw the pad with three lines, and level `strokes` through them: by row, from where to where below its top."""
    image: Image = np.full((ROWS * PITCH + 20, 800, 3), 240, np.uint8)
    rows = []
    for number in range(1, ROWS + 1):
        top = (number - 1) * PITCH
        boxes = []
        for k, (role, left, up, right, down) in enumerate(STOREYS):
            cv2.rectangle(image, (left, top + up), (right, top + down), (120, 120, 120), 2)
            boxes.append((role, Box(Rectangle(left + 2, top + up + 2, right - 1, top + down - 1))))
            if number <= len(WRITTEN):
                at = (left + 12, top + down - 12)
                cv2.putText(
                    image,
                    WRITTEN[number - 1][k],
                    at,
                    cv2.FONT_HERSHEY_SIMPLEX,
                    1.0,
                    (40, 40, 90),
                    2,
                    cv2.LINE_AA,
                )
        rows.append(Row(number, tuple(boxes)))
        if number in strokes:
            first, last = (top + end for end in strokes[number])
            cv2.line(image, (26, first), (772, last), (40, 40, 90), 3, cv2.LINE_AA)
    return read_sheet(image, Layout((), tuple(rows), ()))


def test_a_row_of_two_storeys_is_crossed_out_by_one_stroke_through_either() -> None:
    assert all(line.struck_out < 0.05 for line in read({}).lines)
    for stroke in ((28, 33), (92, 88)):
        struck = [line.struck_out for line in read({2: stroke}).lines]
        assert struck[1] > 0.5
        assert all(share < 0.05 for share in (struck[0], *struck[2:]))
