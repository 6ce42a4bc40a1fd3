"""The same slip photographed twice is one slip: told by what it says, and by its printed number or its writing.

Two customers may order the same things on slips of one pad; the number printed on a slip tells them apart, and so do
the strokes: nobody writes the same figures twice alike. A slip counted twice is seen when the goods are packed, an
order that was dropped is not; so in doubt slips stay two.
"""

from collections.abc import Mapping, Sequence
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.record import Box
from formread.pile.record import ReadSlip
from formread.record import Reading

_FEWEST = 3  # values that both slips must share
_ALIKE = 0.7  # share of the values read on either that are equal: a reader may misread a few on a poor photo
_SHORTEST_NUMBER = 3  # signs: a shorter one may be a page number, or half of a number
_FEWEST_SEEN = 5  # boxes whose strokes must be alike, where no number speaks
_SAME_STROKES = 0.88
"""Correlation that three in four boxes must reach. On 8 slips of tune designs, each photographed twice, it was 0.94 and
more; on the same orders written again, by another or by the same hand, 0.78 and less."""
_STROKES_HEIGHT = 32  # pixels to which a box is brought
_STROKES_OFF = 5  # pixels by which two photos' boxes may lie off each other
_RULE = 3  # pixels of the sheet inside a box's edge that may hold a rule
_PLAIN = 4.0  # of 255, standard deviation: less is an empty box

Key = tuple[int, str]
Grey = npt.NDArray[np.float32]


def repeated(read: Sequence[ReadSlip]) -> dict[int, int]:
    """Return which slips are further photos of an earlier one: place of the later → place of the earliest."""
    values = [_values(slip) for slip in read]
    found: dict[int, int] = {}
    for later in range(len(read)):
        for earlier in range(later):
            if earlier not in found and _is_one(read[earlier], read[later], values[earlier], values[later]):
                found[later] = earlier
                break
    return found


def _values(slip: ReadSlip) -> dict[Key, str]:
    """What is most probably written in each box that is not empty."""
    found: dict[Key, str] = {}

    def keep(row: int, name: str, reading: Reading | None) -> None:
        if reading is not None and reading.candidates and reading.candidates[0].text:
            found[row, name] = reading.candidates[0].text

    for line in slip.readings.lines:
        keep(line.row, "quantity", line.quantity)
        keep(line.row, "unit price", line.unit_price)
        keep(line.row, "line total", line.line_total)
        keep(line.row, "code", line.code)
    for place, total in enumerate(slip.readings.totals):
        keep(-1 - place, total.kind, total.reading)
    return found


def _is_one(one: ReadSlip, other: ReadSlip, said: Mapping[Key, str], again: Mapping[Key, str]) -> bool:
    if (one.photo, one.page) == (other.photo, other.page):
        return False  # one photo shows a slip once
    equal = [key for key, text in said.items() if again.get(key) == text]
    if len(equal) < max(_FEWEST, _ALIKE * len(said.keys() | again.keys())):
        return False
    number = one.layout.serial_text or ""
    if len(number) >= _SHORTEST_NUMBER and number == other.layout.serial_text:
        return True
    return _same_strokes(one, other, equal)


def _same_strokes(one: ReadSlip, other: ReadSlip, keys: Sequence[Key]) -> bool:
    """Tell whether two photos show the same pen strokes in the boxes that read the same."""
    if len(keys) < _FEWEST_SEEN or not one.sheet_jpeg or not other.sheet_jpeg:
        return False
    boxes, again = _boxes(one), _boxes(other)
    sheet, sheet_again = _grey(one.sheet_jpeg), _grey(other.sheet_jpeg)
    alike = [
        likeness
        for key in keys
        if key in boxes and key in again
        if (likeness := _likeness(_cut(sheet, boxes[key]), _cut(sheet_again, again[key]))) is not None
    ]
    return len(alike) >= _FEWEST_SEEN and float(np.percentile(alike, 25)) >= _SAME_STROKES


def _boxes(slip: ReadSlip) -> dict[Key, Box]:
    """Where each value of :func:`_values` stands."""
    found: dict[Key, Box] = {}
    for row in slip.layout.rows:
        for role, box in row.boxes:
            found.setdefault((row.number, role.replace("_", " ")), box)
    for place, (total, read) in enumerate(zip(slip.layout.totals, slip.readings.totals, strict=False)):
        found[-1 - place, read.kind] = total.box
    return found


@lru_cache(maxsize=8)
def _grey(jpeg: bytes) -> Grey:
    """Return the darkest channel of a kept sheet, (H, W)."""
    sheet = np.asarray(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR))
    return np.asarray(sheet.min(axis=2), np.float32)


def _cut(sheet: Grey, box: Box) -> Grey:
    place = box.rectangle
    right = place.right if box.pence is None else box.pence.right
    return sheet[max(0, place.top + _RULE) : place.bottom - _RULE, max(0, place.left + _RULE) : right - _RULE]


def _likeness(one: Grey, other: Grey) -> float | None:
    """Return the correlation of two boxes' strokes where they lie on each other best; None for a box without any."""
    if min(*one.shape, *other.shape) < 2 * _RULE:
        return None
    shape = (one.shape[1] / one.shape[0] + other.shape[1] / other.shape[0]) / 2
    size = (max(3 * _STROKES_OFF, round(_STROKES_HEIGHT * shape)), _STROKES_HEIGHT)
    seen, sought = (
        cv2.GaussianBlur(cv2.resize(box, size, interpolation=cv2.INTER_AREA), (0, 0), 1.0)
        for box in (one, other)
    )
    sought = sought[_STROKES_OFF:-_STROKES_OFF, _STROKES_OFF:-_STROKES_OFF]
    if min(float(seen.std()), float(sought.std())) < _PLAIN:
        return None
    return float(cv2.matchTemplate(seen, sought, cv2.TM_CCOEFF_NORMED).max())
