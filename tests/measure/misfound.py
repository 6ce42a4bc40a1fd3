"""Whom does the judge blame when it was the layout that failed? Simulated slips whose boxes were found wrongly.

    python -m tests.measure.misfound [--confusions FILE.json] [--slips 4000] [--rate 0.05] [--pads]
        [--looks FILE.json]

The slips and readings are those of ``judging``; to each right slip one failure of the layout is done: a charge's box
is not found, the total's box is cut short, two slips are taken for one, and so on (``FAILURES``). The rest of its pile
testifies as it does in the product, a share ``--rate`` of it having failed in one of these ways too; with ``--pads``
every slip of the pile fails in the same way, as where a pad's print misleads. With ``--looks`` (``astray --looks``)
layouts look as they did on photos: sound ones as sound ones, failed ones as those that failed so, and where none was
seen to, as sound ones. The table says of each failure how many
right slips are called wrong, which is blaming a customer for our mistake, and how many pass and are left unsure.
"""

import argparse
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final, get_args

import numpy as np

from formread.arithmetic import PilePrices
from formread.arithmetic.astray import Leans, Witness, doubts, lean
from formread.arithmetic.evidence import Tabled
from formread.arithmetic.record import LineReadings, SlipReadings, TotalKind, TotalReading
from tests.measure.judging import PILE, SEED, WRONG, Asked
from tests.measure.looks import NO_LOOKS, Looks
from tests.measure.reading import wilson
from tests.measure.simulated_slips import (
    Middling,
    Mix,
    Recorded,
    Simulated,
    read_slip,
    simulate,
    start_pile,
)

Reader = Recorded | Middling
Change = Callable[[Simulated, SlipReadings, Reader, np.random.Generator], SlipReadings | None]
"""Does one failure to a slip's readings; None where this slip has no room for it."""
_SIGNED: Final = ("delivery", "discount", "deposit")


def _charged(slip: Simulated) -> list[int]:
    return [k for k, (kind, value) in enumerate(slip.totals) if kind in _SIGNED and value]


def _pick(places: Sequence[int], rng: np.random.Generator) -> int | None:
    return places[int(rng.integers(len(places)))] if places else None


def _charge_missed(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    place = _pick(_charged(slip), rng)
    if place is None:
        return None
    return replace(read, totals=tuple(t for k, t in enumerate(read.totals) if k != place))


def _as_kind(turned: dict[str, TotalKind]) -> Change:
    """A charge's box is taken for another kind of charge."""

    def change(
        slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
    ) -> SlipReadings | None:
        place = _pick([k for k in _charged(slip) if slip.totals[k][0] in turned], rng)
        if place is None:
            return None
        totals = list(read.totals)
        totals[place] = TotalReading(turned[totals[place].kind], totals[place].reading)
        return replace(read, totals=tuple(totals))

    return change


def _goods(slip: Simulated) -> int:
    return sum(row.right for row in slip.rows if not row.struck)


def _goods_for_total(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    """The goods' box is taken for the total, the total's own is not found; its charges are."""
    if not _charged(slip):
        return None
    charges = [t for t in read.totals if t.kind not in ("goods", "total")]
    total = TotalReading("total", reader.read("amount", _goods(slip), rng))
    return replace(read, totals=(*charges, total))


def _goods_and_total_swapped(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    if not _charged(slip):
        return None
    charges = [t for t in read.totals if t.kind not in ("goods", "total")]
    whole = next(t.reading for t in read.totals if t.kind == "total")
    goods = reader.read("amount", _goods(slip), rng)
    return replace(read, totals=(TotalReading("goods", whole), *charges, TotalReading("total", goods)))


def _other_for_charge(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    """A number in the totals block that is no charge (pieces, a page's number, tax included) is taken for one."""
    pieces = sum(row.count for row in slip.rows)
    number = (pieces, int(rng.integers(1, 100)), slip.right // 6)[int(rng.integers(3))] or 7
    if rng.random() < 0.5:
        number *= 100
    return replace(read, totals=(TotalReading("other", reader.read("amount", number, rng)), *read.totals))


def _row_missed(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    place = _pick([k for k, row in enumerate(slip.rows) if not row.empty and not row.struck], rng)
    if place is None:
        return None
    return replace(read, lines=tuple(line for k, line in enumerate(read.lines) if k != place))


def _total_as(cut: Callable[[int], int]) -> Change:
    """The total's box is cut out wrongly: another number is seen in it."""

    def change(
        slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
    ) -> SlipReadings | None:
        seen = cut(slip.written)
        if seen in (0, slip.written):
            return None
        totals = [
            replace(t, reading=reader.read("amount", seen, rng)) if t.kind == "total" else t
            for t in read.totals
        ]
        return replace(read, totals=tuple(totals))

    return change


def _column_for_price(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    """The column of page numbers is taken for the prices."""
    lines = [
        line
        if row.empty
        else replace(line, unit_price=reader.read("amount", int(rng.integers(3, 90)) * 100, rng))
        for row, line in zip(slip.rows, read.lines, strict=True)
    ]
    return replace(read, lines=tuple(lines))


def _price_for_total(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    """The columns of price and line total are taken for each other."""
    lines = [replace(line, unit_price=line.line_total, line_total=line.unit_price) for line in read.lines]
    return replace(read, lines=tuple(lines))


def _price_alone(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    """The columns of quantity and line total are not found: prices alone are left, and the total."""
    if not any(row.count > 1 for row in slip.rows if not row.empty):
        return None
    return replace(read, lines=tuple(replace(line, quantity=None, line_total=None) for line in read.lines))


def _rows_shifted(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    """From some row on the line totals are cut one row too low."""
    filled = sum(not row.empty for row in slip.rows)
    if filled < 3:
        return None
    first = int(rng.integers(0, filled - 1))
    empty = Tabled("amount", {None: 0.999})
    above = [empty, *(line.line_total for line in read.lines)]
    lines = [
        line if k < first else replace(line, line_total=empty if k == first else above[k])
        for k, line in enumerate(read.lines)
    ]
    return replace(read, lines=tuple(lines))


def _struck_unseen(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    """A row is crossed out, and looks as if it stood: its number joins what the customer never summed."""
    standing = [k for k, row in enumerate(slip.rows) if not row.empty]
    donor = slip.rows[standing[int(rng.integers(len(standing)))]]
    price = max(donor.price + int(rng.integers(-50, 300)), 5)
    number = max(line.row for line in read.lines) + 1
    extra = LineReadings(
        number,
        reader.read("quantity", donor.count, rng),
        reader.read("amount", price, rng),
        reader.read("amount", donor.count * price, rng),
        None,
        float(np.median([line.struck_out for line in read.lines])),
    )
    return replace(read, lines=(*read.lines, extra))


def _two_for_one(
    slip: Simulated, read: SlipReadings, reader: Reader, rng: np.random.Generator
) -> SlipReadings | None:
    """The rows of another slip are taken for rows of this one, its total is not."""
    other = simulate(rng, start_pile(rng), wrong=False, mix="even")
    more = read_slip(other, reader, rng)
    first = max(line.row for line in read.lines) + 1
    lines = [replace(line, row=first + k, code=None) for k, line in enumerate(more.lines)]
    return replace(read, lines=(*read.lines, *lines))


FAILURES: Final[dict[str, Change]] = {
    "a charge's box missed": _charge_missed,
    "a charge taken for a deduction": _as_kind({"delivery": "discount"}),
    "a deduction taken for a charge": _as_kind({"discount": "delivery", "deposit": "other"}),
    "the goods taken for the total": _goods_for_total,
    "goods and total swapped": _goods_and_total_swapped,
    "some number taken for a charge": _other_for_charge,
    "a row missed": _row_missed,
    "the total's first digit cut off": _total_as(lambda n: n % 10 ** (len(str(n)) - 1)),
    "the total's pence cut off": _total_as(lambda n: n // 100 * 100),
    "pounds and pence of the total run on": _total_as(lambda n: n * 100),
    "the total's last digit cut off": _total_as(lambda n: n // 10),
    "another number taken for the total": _total_as(lambda n: 1000 + (n * 7919) % 90_000),
    "page numbers taken for prices": _column_for_price,
    "prices and line totals swapped": _price_for_total,
    "quantities and line totals not found": _price_alone,
    "line totals one row too low": _rows_shifted,
    "a crossed-out row not seen to be": _struck_unseen,
    "two slips taken for one": _two_for_one,
}

_SEEN_AS: Final[dict[str, tuple[str, ...]]] = {
    "a charge's box missed": ("charge",),
    "a charge taken for a deduction": ("role",),
    "a deduction taken for a charge": ("role",),
    "the goods taken for the total": ("total elsewhere", "role"),
    "goods and total swapped": ("total elsewhere", "role"),
    "some number taken for a charge": ("role",),
    "a row missed": ("rows",),
    "the total's first digit cut off": ("total cut",),
    "the total's pence cut off": ("total cut",),
    "pounds and pence of the total run on": ("total cut",),
    "the total's last digit cut off": ("total cut",),
    "another number taken for the total": ("total elsewhere",),
    "page numbers taken for prices": ("columns",),
    "prices and line totals swapped": ("columns",),
    "quantities and line totals not found": ("columns",),
    "line totals one row too low": ("columns",),
    "a crossed-out row not seen to be": (),
    "two slips taken for one": ("excess",),
}
"""By what name ``tests.measure.astray`` knows each failure."""


def _look(name: str, looks: Looks, pad: Sequence[Leans], rng: np.random.Generator) -> Leans:
    """How a layout looks that failed so."""
    seen = [leans for kind in _SEEN_AS[name] for leans in looks.failed.get(kind, ())] or pad
    return seen[int(rng.integers(len(seen)))]


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description="Measure whom the judge blames for the layout's failures.")
    parser.add_argument("--confusions", type=Path)
    parser.add_argument("--slips", type=int, default=4000)
    parser.add_argument("--rate", type=float, default=0.05, help="how many slips of each pile failed besides")
    parser.add_argument("--pads", action="store_true", help="every slip of a pile fails alike")
    parser.add_argument("--minutes", type=float, default=float("inf"))
    parser.add_argument("--looks", type=Path)
    asked = parser.parse_args()
    reader: Reader = Middling() if asked.confusions is None else Recorded.load(asked.confusions)
    looks = NO_LOOKS if asked.looks is None else Looks.load(asked.looks)
    said: dict[str, Counter[str]] = {name: Counter() for name in FAILURES}
    clean: dict[bool, Counter[str]] = {False: Counter(), True: Counter()}
    ends = time.monotonic() + 60 * asked.minutes
    for start in range(0, asked.slips, PILE):
        if time.monotonic() > ends:
            break
        _pile(start, reader, asked.rate, said, clean, looks, pads=asked.pads)
    print(f"layouts: {looks.about}")
    print(f"readings: {reader.about}; seed {SEED}; {100 * asked.rate:.0f} % of each pile failed besides")
    if asked.pads:
        print("every slip of a pile fails alike")
    else:
        for wrong, name in ((False, "right"), (True, "wrong")):
            _row(f"{name} sums, boxes found rightly", clean[wrong])
    for name, counts in said.items():
        _row(name, counts)
    _row("every failure", sum(said.values(), Counter()))


def _row(name: str, counts: Counter[str]) -> None:
    whole = counts.total()
    words = (("wrong", "called wrong"), ("agrees", "agrees"), ("unsure", "unsure"))
    shares = "".join(f"{label} {wilson(counts[verdict], whole):<20}" for verdict, label in words)
    print(f"{name:<40} {whole:5d}  {shares}", flush=True)


def _pile(
    start: int,
    reader: Reader,
    rate: float,
    said: dict[str, Counter[str]],
    clean: dict[bool, Counter[str]],
    looks: Looks,
    *,
    pads: bool,
) -> None:
    """Judge one pile, and each right slip of it once more with a failure done to it."""
    mixes = get_args(Mix)
    pile = start_pile(np.random.default_rng([SEED, start, 77]))
    prices = dict(zip(pile.codes, pile.prices, strict=True)) if pile.known == "list" else {}
    rng = np.random.default_rng([SEED, start, 78])
    names = list(FAILURES)
    common = names[start // PILE % len(names)]
    pad = looks.pad(rng)
    slips: list[Simulated] = []
    whole: list[SlipReadings] = []
    failed: list[bool] = []
    read: list[SlipReadings] = []
    leans: list[Leans] = []
    for number in range(start, start + PILE):
        slip = simulate(rng, pile, wrong=bool(rng.random() < WRONG), mix=mixes[number % len(mixes)])
        readings = read_slip(slip, reader, rng)
        slips.append(slip)
        whole.append(readings)
        name = common if pads else names[int(rng.integers(len(names)))] if rng.random() < rate else None
        changed = FAILURES[name](slip, readings, reader, rng) if name is not None else None
        failed.append(changed is not None)
        read.append(readings if changed is None else changed)
        sound = pad[int(rng.integers(len(pad)))]
        leans.append(sound if name is None or changed is None else _look(name, looks, pad, rng))
    evidence = PilePrices(read)
    asks = [
        Asked(slip, prices, {} if prices else evidence.for_slip(r), True, own)
        for slip, r, own in zip(slips, read, leans, strict=True)
    ]
    misfits = [ask.judge(readings).misfit for ask, readings in zip(asks, read, strict=True)]
    said_by = [Witness(misfit, lean(own)) for misfit, own in zip(misfits, leans, strict=True)]
    doubt = doubts(said_by)
    for place, (slip, ask) in enumerate(zip(slips, asks, strict=True)):
        if not pads and not failed[place]:
            clean[slip.wrong][ask.judge(read[place], doubt=doubt[place]).verdict] += 1
        if slip.wrong:
            continue
        name = common if pads else names[(start + place * 7 + start // PILE) % len(names)]
        changed = FAILURES[name](slip, whole[place], reader, rng)
        if changed is None:
            continue
        own = _look(name, looks, pad, rng)
        # Its own sums never speak of how far it is trusted: only its looks and the other slips.
        others = [*said_by[:place], Witness(1.0, lean(own)), *said_by[place + 1 :]]
        failing = replace(ask, leans=own)
        said[name][failing.judge(changed, doubt=doubts(others)[place]).verdict] += 1


if __name__ == "__main__":
    main()
