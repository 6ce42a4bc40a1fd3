"""What a person has confirmed: facts that take the place of readings."""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Final

from formread.arithmetic.evidence import Confirmed
from formread.arithmetic.record import BoxRef, LineReadings, SlipReadings
from formread.record import DITTO, Kind, Value

Facts = Mapping[BoxRef, Value]
"""What stands in each box that a person has looked at: minor units for amounts, a whole number for quantities,
text for codes, ``None`` for an empty box, :data:`~formread.record.DITTO` for a ditto mark."""

NO_FACTS: Final[Facts] = MappingProxyType({})

_KINDS: Final[dict[str, Kind]] = {"code": "code", "quantity": "quantity"}


def confirm(slip: SlipReadings, facts: Facts) -> SlipReadings:
    """Put facts in the place of readings.

    Parameters
    ----------
    slip
        The readings; they are not changed.
    facts
        By box. A box that a row lacks (a design without such a column) may be given all the same: whatever
        stands there, the person saw it.

    Raises
    ------
    ValueError
        For a row or a box of the totals block that the slip does not have, or a value that no such box holds.
    """
    lines = {line.row: line for line in slip.lines}
    totals = list(slip.totals)
    for ref, value in facts.items():
        _check(ref, value)
        if ref.row is None:
            places = [place for place, total in enumerate(totals) if total.kind == ref.role]
            if ref.nth not in range(len(places)):
                raise ValueError(f"the slip has no {ref.role} box number {ref.nth}")
            place = places[ref.nth]
            totals[place] = replace(totals[place], reading=Confirmed(value))
        elif ref.row in lines:
            lines[ref.row] = _confirmed_line(lines[ref.row], ref, value)
        else:
            raise ValueError(f"the slip has no row {ref.row}")
    return SlipReadings(tuple(lines.values()), tuple(totals))


def _confirmed_line(line: LineReadings, ref: BoxRef, value: Value) -> LineReadings:
    if ref.role == "struck_out":
        return replace(line, struck_out=float(bool(value)))
    fact = Confirmed(value, _KINDS.get(ref.role, "amount"))
    match ref.role:
        case "code":
            return replace(line, code=fact)
        case "quantity":
            return replace(line, quantity=fact)
        case "unit_price":
            return replace(line, unit_price=fact)
        case "line_total":
            return replace(line, line_total=fact)
        case _:
            raise ValueError(f"rows have no {ref.role} box")


def _check(ref: BoxRef, value: Value) -> None:
    if ref.role == "code":
        fits = value is None or isinstance(value, str)
    elif ref.role == "struck_out":
        fits = value in (0, 1)
    else:
        fits = value is None or value == DITTO or (isinstance(value, int) and value >= 0)
    if not fits:
        raise ValueError(f"a {ref.role} box cannot hold {value!r}")
