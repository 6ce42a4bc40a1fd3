"""The same slip photographed twice is one slip: told by its printed number and by what it says.

Two customers may order the same things on slips of one pad; only the number printed on a slip tells them apart. So
slips without a number, or with other numbers, stay two: a slip counted twice is seen when the goods are packed, an
order that was dropped is not.
"""

from collections.abc import Mapping, Sequence

from formread.pile.record import ReadSlip
from formread.record import Reading

_FEWEST = 3  # values that both slips must share
_ALIKE = 0.7  # share of the values read on either that are equal: a reader may misread a few on a poor photo
_SHORTEST_NUMBER = 3  # signs: a shorter one may be a page number, or half of a number

Key = tuple[int, str]


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
    number = one.layout.serial_text or ""
    if len(number) < _SHORTEST_NUMBER or number != other.layout.serial_text:
        return False
    equal = sum(again.get(key) == text for key, text in said.items())
    return equal >= _FEWEST and equal >= _ALIKE * len(said.keys() | again.keys())
