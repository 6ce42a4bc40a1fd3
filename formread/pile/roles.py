"""What the boxes of a pad are, told by what adds up: where the first guess does not hold and another does, take that.

Print and looks say what a box is for, and are sometimes wrong: a label in a corner nobody looks in, two columns of
money without a heading. Numbers don't lie by accident: where one way of naming the boxes makes quantity times price
the line total, row by row, and the total what they come to, on slip after slip, and the other way does not, it is
settled.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from math import log
from typing import Final, TypeVar

import cv2
import numpy as np

from formread.arithmetic import judge
from formread.arithmetic.record import SlipReadings, TotalReading
from formread.layout.design import SlipDesign, fits, learn
from formread.layout.record import ColumnRole, Layout, TotalRole
from formread.pile.record import ReadSlip
from formread.pile.slip import read_sheet, total_kind
from formread.record import Reading
from formread.sheet.record import Image

HOLDS: Final = 200.0
"""How many times more probable it is that one thing more adds up with the boxes named one way, and not with them named
another, if the first is right: four slips in five add up when they are understood, and hardly one in two hundred that
isn't does so by chance or by a customer's mistake. Assumption."""
LIKELY_WRONG: Final = 0.05
"""A sum that is wrong with at least this probability does not count as one that holds."""
SETTLED: Final = 9.0
"""Odds from which on another way of naming the boxes is taken."""
UNTHOUGHT: Final = 1e-3
"""A way of naming that one slip of a pad did not think of is this probable there. Assumption."""
FAILS: Final = 5.0
"""How many times oftener the rows of a slip do not multiply if its columns are not what they are taken for. Assumption."""
FEWEST: Final = 2
"""Rows of several pieces with a price and a line total, from which on they say something of the columns."""
MOST_HEARD: Final = 40
"""Times that one kind of evidence is counted; the odds are beyond all doubt long before."""
TRIED: Final = 4
"""Slips of a pad that are read again to try other columns."""

Roles = TypeVar("Roles", bound=tuple[str, ...])
Named = tuple[Roles, float]


def settle_roles(read: Sequence[ReadSlip]) -> list[ReadSlip]:
    """Return the slips with their boxes named as their pads' sums say; each slip's place is kept."""
    result = list(read)
    for members in pads([slip.layout for slip in read]):
        for place, slip in zip(members, _settled([read[place] for place in members]), strict=True):
            result[place] = slip
    return result


def pads(layouts: Sequence[Layout]) -> list[list[int]]:
    """Return the places of the slips of each pad; slips without a table are of none."""
    found: list[tuple[SlipDesign, list[int]]] = []
    for place, layout in enumerate(layouts):
        if not (layout.rows and layout.columns):
            continue
        members = next((members for design, members in found if fits(design, layout)), None)
        if members is None:
            found.append((learn("", layout), [place]))
        else:
            members.append(place)
    return [members for _, members in found]


def _settled(slips: Sequence[ReadSlip]) -> list[ReadSlip]:
    """Settle the slips of one pad: what the boxes of the totals are, and, where few rows multiply, what the columns are."""
    slips = _with_totals(slips)
    said = [_multiplies(slip) for slip in slips]
    holding = sum(_holds(slip) > 0 for slip in slips)
    if any(map(_filled, slips)) and said.count(True) <= said.count(False) and 2 * holding < len(slips):
        slips = _with_columns(slips)
        said = [_multiplies(slip) for slip in slips]
    against = _speaks(HOLDS, -said.count(True)) * _speaks(FAILS, said.count(False))
    return [_with_probability(slip, against) for slip in slips]


def _with_columns(slips: list[ReadSlip]) -> list[ReadSlip]:
    """Name the columns as the sums of the pad's first slips say, if they say anything."""
    first = tuple(column.role for column in slips[0].layout.columns)
    tried = slips[:TRIED]
    holding = sum(map(_holds, tried))
    best, odds = tried, SETTLED
    chosen: tuple[ColumnRole, ...] | None = None
    for roles, prior in _ways([slip.layout.trust.column_roles for slip in slips], first):
        if prior * _speaks(HOLDS, len(tried)) <= odds:
            continue
        again = _with_totals([_named(slip, roles) for slip in tried])
        found = prior * _speaks(HOLDS, sum(map(_holds, again)) - holding)
        if found > odds:
            best, odds, chosen = again, found, roles
    if chosen is None:
        return slips
    return [*best, *_with_totals([_named(slip, chosen) for slip in slips[TRIED:]])]


def _with_probability(slip: ReadSlip, against: float) -> ReadSlip:
    """Say anew how probable the columns are, after how far the rows of the pad's slips multiply."""
    roles = tuple(column.role for column in slip.layout.columns)
    before = max(slip.layout.probability, dict(slip.layout.trust.column_roles).get(roles, UNTHOUGHT))
    odds = against * (1 - before) / before
    return replace(slip, layout=replace(slip.layout, probability=1 / (1 + odds)))


def _with_totals(slips: Sequence[ReadSlip]) -> list[ReadSlip]:
    """Name the boxes of the totals as the sums of slips with as many such boxes say, and how surely."""
    result = list(slips)
    for count in sorted({len(slip.layout.totals) for slip in slips} - {0}):
        some = [place for place, slip in enumerate(slips) if len(slip.layout.totals) == count]
        own = {place: tuple(total.role for total in slips[place].layout.totals) for place in some}
        first = Counter(own.values()).most_common(1)[0][0]
        odds = _odds([slips[place] for place in some], first)
        best = max(odds, key=lambda roles: odds[roles])
        for place in some:
            settled = odds[best] >= SETTLED * odds.get(own[place], UNTHOUGHT)
            chosen = best if settled else own[place]
            named = _totals_named(slips[place], chosen)
            trust = replace(named.layout.trust, totals=odds.get(chosen, UNTHOUGHT) / sum(odds.values()))
            result[place] = replace(named, layout=replace(named.layout, trust=trust))
    return result


def _odds(slips: Sequence[ReadSlip], first: tuple[TotalRole, ...]) -> dict[tuple[TotalRole, ...], float]:
    """Return the odds of every way of naming the boxes of the totals against the first, by what the slips come to."""
    priors = dict(_ways([slip.layout.trust.total_roles for slip in slips], first))
    likely = {first: 1.0, **{roles: prior for roles, prior in priors.items() if prior >= UNTHOUGHT}}
    held = {roles: sum(_holds(_totals_named(slip, roles)) for slip in slips) for roles in likely}
    return {roles: prior * _speaks(HOLDS, held[roles] - held[first]) for roles, prior in likely.items()}


def _speaks(much: float, times: int) -> float:
    """Return what evidence says that is found so many times more; beyond :data:`MOST_HEARD` it says nothing new."""
    return float(much ** min(max(times, -MOST_HEARD), MOST_HEARD))


def _ways(own: Sequence[Sequence[Named[Roles]]], first: Roles) -> list[Named[Roles]]:
    """Return every other way that one of the slips thought of, with its odds against the first."""
    every = {roles for some in own for roles, _ in some if len(roles) == len(first)} - {first}
    logs = {
        roles: sum(log(max(dict(some).get(roles, 0.0), UNTHOUGHT)) for some in own) / max(len(own), 1)
        for roles in {*every, first}
    }
    return [(roles, float(np.exp(logs[roles] - logs[first]))) for roles in sorted(every)]


def _holds(slip: ReadSlip) -> int:
    """Count what adds up: the rows and charges to the total, and the rows, as they are read, to a number for the goods."""
    goods = [_number(box.reading) for box in slip.readings.totals if box.kind == "goods"]
    rows = sum(
        _number(line.line_total) or (_number(line.quantity) or 1) * _number(line.unit_price)
        for line in slip.readings.lines
        if line.struck_out < 0.5
    )
    judged = judge(slip.readings, hand=False)
    holds = judged.difference == 0 and judged.probability_wrong < LIKELY_WRONG
    return holds + (rows > 0 and rows in goods)


def _filled(slip: ReadSlip) -> bool:
    """Say whether any number is read in a row."""
    boxes = [box for line in slip.readings.lines for box in (line.quantity, line.unit_price, line.line_total)]
    return any(map(_number, boxes))


def _multiplies(slip: ReadSlip) -> bool | None:
    """Say whether most rows are quantity times price: then the columns are what they are taken for. None: too few rows."""
    rows = [
        tuple(_number(r) for r in (line.quantity, line.unit_price, line.line_total))
        for line in slip.readings.lines
    ]
    # One piece costs its price whichever column is which.
    full = [(count, price, total) for count, price, total in rows if count > 1 and price and total]
    if len(full) < FEWEST:
        return None
    return 2 * sum(count * price == total for count, price, total in full) > len(full)


def _number(reading: Reading | None) -> int:
    value = reading.values[0][0] if reading is not None and reading.values else None
    return value if isinstance(value, int) else 0


def _totals_named(slip: ReadSlip, roles: tuple[TotalRole, ...]) -> ReadSlip:
    totals = tuple(replace(total, role=role) for total, role in zip(slip.layout.totals, roles, strict=True))
    readings = tuple(
        TotalReading(total_kind(total), old.reading, old.percent)
        for total, old in zip(totals, slip.readings.totals, strict=True)
    )
    return replace(
        slip,
        layout=replace(slip.layout, totals=totals),
        readings=SlipReadings(slip.readings.lines, readings),
    )


def _named(slip: ReadSlip, roles: tuple[ColumnRole, ...]) -> ReadSlip:
    """Read a slip again with its columns named otherwise, from its kept sheet: the reader must know what a box holds."""
    sheet = kept_sheet(slip)
    if sheet is None:
        return slip
    layout = slip.layout.with_columns(roles)
    return replace(slip, layout=layout, readings=read_sheet(sheet, layout))


def kept_sheet(slip: ReadSlip) -> Image | None:
    """Return a slip's flattened picture, (H, W, 3) uint8 RGB; None where there is none, or it can't be opened."""
    if not slip.sheet_jpeg:
        return None
    sheet = cv2.imdecode(np.frombuffer(slip.sheet_jpeg, np.uint8), cv2.IMREAD_COLOR)
    return None if sheet is None else np.ascontiguousarray(np.asarray(sheet, np.uint8)[..., ::-1])
