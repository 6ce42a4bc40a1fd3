"""A column of codes that no heading names: told by what is written in it.

Quantity and money are settled by what adds up (``pile/roles.py``); codes add up to nothing. But nothing else on a slip
is a column of numbers of four digits and more, read without doubt, row by row.
"""

from typing import Final

from formread.layout.record import Box, Layout
from formread.pile.slip import cut
from formread.reading import read_boxes
from formread.reading.alike import codes_alike
from formread.sheet.record import Image

MAY_BE: Final = ("other", "page", "size", "description")
"""What a column of codes is taken for where its heading says nothing or something else."""
TRIED: Final = 6
"""Rows, from the top, that are looked at."""
FEWEST: Final = 2
"""Codes that make a column."""
SURE: Final = 0.8
"""A number read less surely says nothing; words are read as numbers with less."""
SHARE: Final = 0.75
"""Of the written boxes that must be codes."""
DIGITS: Final = 4
"""Pages, sizes and numbers of pieces have fewer; three will do with a dash or a slash among them."""


def with_codes(image: Image, layout: Layout) -> Layout:
    """Return the layout with its column of codes named, where none is and one is written.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB sheet.
    layout
        What its boxes mean.
    """
    if any(column.role == "code" for column in layout.columns):
        return layout
    shares = {
        place: _codes(image, [row.boxes[place][1] for row in layout.rows[:TRIED]])
        for place, column in enumerate(layout.columns)
        if column.role in MAY_BE
    }
    best = max(shares, key=lambda place: shares[place], default=None)
    if best is None or shares[best] < SHARE:
        return layout
    return layout.with_columns(
        ["code" if place == best else column.role for place, column in enumerate(layout.columns)]
    )


def _codes(image: Image, boxes: list[Box]) -> float:
    """Return the share of the written boxes that hold a code; 0 where too few do."""
    written = sure = 0
    # Together: codes have a pattern, which tells a slash from a 1; sizes read as numbers have none.
    for reading in codes_alike(read_boxes([cut(image, box.rectangle) for box in boxes], "code")):
        value, probability = next(iter(reading.values), (None, 0.0))
        if value is None:
            continue
        written += 1
        digits = sum(sign.isdigit() for sign in str(value)) + any(sign in "-/" for sign in str(value))
        sure += probability >= SURE and digits >= DIGITS
    return sure / written if sure >= FEWEST else 0.0
