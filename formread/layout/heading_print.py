"""What is printed over the columns of a table, as it looks: enough to tell one pad from another of the same boxes."""

from collections.abc import Sequence
from typing import Final

import cv2
import numpy as np

from formread.layout.ink import Ink, ink_of
from formread.layout.record import Layout
from formread.sheet.record import Image

HeadingPrint = tuple[str, ...]
"""Lines from the top, a sign for each place: how dark it is, a hexadecimal digit."""

ALIKE: Final = 0.5
"""Likeness from which on the print over two tables is the same. Of 123 photographed slips of 12 pads of ``tune`` 19 in 20
reached it beside their pad's design; of 1,353 pairs of a slip and another pad's design none had more than 0.36."""
LINES, PLACES = 16, 160
"""Lines of a print, and places in each."""
_OVER: Final = 1.5  # heights of a row over the first of them that are looked at
_MOST_OVER: Final = 0.1  # of the table's width, likewise: places are square then
_DETAIL: Final = 4  # pixels for a place: darkness is told at this size
_DARKEST: Final = 0.98  # quantile of the places that is darkest; pale print is as good as black
_FAINTEST: Final = 0.05  # darkness; nothing darker is no print
_SHIFT: Final = (2, 2)  # lines and places by which two prints may lie off each other
_RULE: Final = 2  # places at the sides of a column that its rules are in
_NARROWEST: Final = 4  # places; less of a column tells nothing
_PRINTED: Final = 1.5  # standard deviation of the signs where something is printed


def heading_print(image: Image, layout: Layout) -> HeadingPrint:
    """Return what is printed over the first row of a table.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB sheet.
    layout
        Its boxes; what they mean does not count.
    """
    boxes = [box.whole for _, box in layout.rows[0].boxes]
    left, right = min(box.left for box in boxes), max(box.right for box in boxes)
    bottom = min(box.top for box in boxes)
    # Fewer than rows where panels stand side by side.
    levels = len({row.boxes[0][1].rectangle.top for row in layout.rows})
    over = max(round(min(_OVER * layout.table.height / levels, _MOST_OVER * (right - left))), 1)
    part = image[max(bottom - over, 0) : max(bottom, 1), left : max(right, left + 1)]
    whole = cv2.copyMakeBorder(part, over - part.shape[0], 0, 0, 0, cv2.BORDER_REPLICATE)
    detailed = cv2.resize(whole, (_DETAIL * PLACES, _DETAIL * LINES), interpolation=cv2.INTER_AREA)
    ink = cv2.resize(ink_of(np.asarray(detailed, np.uint8)), (PLACES, LINES), interpolation=cv2.INTER_AREA)
    shares = np.minimum(ink / max(float(np.quantile(ink, _DARKEST)), _FAINTEST), 1.0)
    return tuple("".join(f"{round(15 * float(dark)):x}" for dark in line) for line in shares)


def likeness(one: HeadingPrint, other: HeadingPrint, columns: Sequence[tuple[float, float]]) -> float:
    """Return the correlation of two prints, where they lie best on each other, in the column where it is the least.

    Parameters
    ----------
    columns
        Where each begins and ends, as shares of the width. Those over which nothing is printed do not count.
    """
    down, across = _SHIFT
    found = []
    for left, right in columns:
        start, end = (round(side * PLACES) for side in (left, right))
        start, end = max(start + _RULE, across), min(end - _RULE, PLACES - across)
        if end - start < _NARROWEST:
            continue
        sought = _letters(one[down:-down], start, end)
        seen = _letters(other, start - across, end + across)
        least, most = sorted((float(sought.std()), float(seen.std())))
        if most >= _PRINTED:
            alike = cv2.matchTemplate(seen, sought, cv2.TM_CCOEFF_NORMED)
            found.append(float(alike.max()) if least >= _PRINTED / 2 else 0.0)
    return min(found, default=0.0)


def _letters(lines: HeadingPrint, start: int, end: int) -> Ink:
    """Return a stretch of a print without what is level in it: a rule is the same over every word."""
    signs = np.array([[int(sign, 16) for sign in line[start:end]] for line in lines], np.float32)
    return np.asarray(signs - signs.mean(axis=1, keepdims=True), np.float32)
