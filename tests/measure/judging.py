"""Whose mistake is it? The judge on simulated slips, beside the bare flag and the hard "make it add up".

    python -m tests.measure.judging [--confusions FILE.json] [--slips 20000] [--mix NAME] [--minutes M]
        [--no-hand] [--alone] [--looks FILE.json]

FILE.json is what ``record_confusions`` wrote: readings of the shipped reader in hands of test writers, whose
mistakes are carried over to the numbers of the simulated slips. Without it a stated middling reader answers
(``simulated_slips.Middling``). The boxes of these slips are found rightly, and the judge does not know: with
``--looks`` each layout looks as sound ones did on photos of pads that no weights had seen (``astray --looks``), all of
a pile as those of one pad; without it nothing is known of the layouts.
One slip in ten is totalled wrongly, in five mixtures of mistakes that are
not the judge's own table; forty slips make a pile and share a catalogue. Wilson's 95 % intervals (Wilson, JASA
1927); Brier scores (Brier, 1950).
"""

import argparse
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import log
from pathlib import Path
from typing import Final, get_args

import numpy as np

from formread.arithmetic import Facts, PilePrices, judge
from formread.arithmetic.astray import DOUBT, EVEN, Leans, Witness, doubts, lean, touched
from formread.arithmetic.costs import STANDARD_COSTS
from formread.arithmetic.record import BoxRef, Judgement, LineReadings, SlipReadings
from formread.record import DITTO, Reading, Value
from tests.measure.looks import NO_LOOKS, Looks
from tests.measure.reading import wilson
from tests.measure.simulated_slips import (
    Known,
    Middling,
    Mix,
    Recorded,
    Simulated,
    read_slip,
    simulate,
    start_pile,
)

SEED: Final = 41
WRONG: Final = 0.10
PILE: Final = 40
"""Slips in a pile."""
_KNOWN: Final[dict[Known, str]] = {
    "list": "with a price list",
    "codes": "with codes, the pile as evidence",
    "nothing": "without codes",
}
_SIGNS: Final = {"brought": 1, "delivery": 1, "other": 1, "discount": -1, "deposit": -1}
_BEST: Final = 5
_SUMS: Final = 400
_BINS: Final = (0.0, 1e-4, 1e-3, 0.005, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.97, 0.99, 0.999, 0.9999, 1.0)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One slip and what each of the three said; ``computed`` and ``after`` are right totals found."""

    slip: Simulated
    mix: Mix
    judged: Judgement
    after: int
    settled: str
    flag: bool
    flag_total: int
    forced: bool
    forced_total: int
    seconds: float


def _top(reading: Reading | None) -> Value:
    return reading.values[0][0] if reading is not None and reading.values else None


def _number(value: Value) -> int:
    return value if isinstance(value, int) else 0


def bare_flag(slip: SlipReadings) -> tuple[bool, int]:
    """Say whether the most probable readings do not add up, line by line and in the total, and to what they do."""
    goods, above, off = 0, 0, False
    for line in slip.lines:
        quantity, price, total = (_top(r) for r in (line.quantity, line.unit_price, line.line_total))
        price = above if price == DITTO else price
        if line.struck_out > 0.5 or (price is None and total is None):
            continue
        right = (1 if quantity is None else _number(quantity)) * _number(price)
        above = _number(price)
        off = off or (isinstance(total, int) and price is not None and total != right)
        goods += right if price is not None else _number(total)
    written = None
    due = goods
    for box in slip.totals:
        value = _top(box.reading)
        due += _SIGNS.get(box.kind, 0) * _number(value)
        off = off or (box.kind == "goods" and isinstance(value, int) and value != goods)
        written = value if box.kind == "total" else written
    return off or written != due, due


def _logs(reading: Reading | None) -> list[tuple[Value, float]]:
    if reading is None:
        return [(None, 0.0)]
    return [(value, log(max(p, 1e-12))) for value, p in reading.values[:_BEST]]


def _line_sums(line: LineReadings, above: int) -> tuple[dict[int, float], int]:
    if line.struck_out > 0.5:
        return {0: 0.0}, above
    found: dict[int, float] = {}
    for quantity, by_quantity in _logs(line.quantity):
        for read, by_price in _logs(line.unit_price):
            price = above if read == DITTO else read
            for total, by_total in _logs(line.line_total):
                right = (1 if quantity is None else _number(quantity)) * _number(price)
                if isinstance(total, int) and price is not None and total != right:
                    continue
                comes = right if price is not None else _number(total)
                found[comes] = max(found.get(comes, -1e9), by_quantity + by_price + by_total)
    top = _top(line.unit_price)
    return found, _number(top) if isinstance(top, int) else above


def forced(slip: SlipReadings) -> tuple[bool, int]:
    """Make it add up: of all ways of reading the boxes that hold, the likeliest.

    Returns
    -------
    found
        Whether any combination of the five best readings of each box adds up.
    total
        The total of the likeliest.
    """
    sums: dict[int, float] = {0: 0.0}
    above = 0
    for line in slip.lines:
        options, above = _line_sums(line, above)
        sums = _added(sums, options)
    for box in slip.totals:
        options = {}
        for value, p in _logs(box.reading):
            amount = _number(value)
            if box.kind == "goods":
                continue
            if box.kind == "total":
                options[amount] = max(options.get(amount, -1e9), p)
            else:
                added = _SIGNS[box.kind] * amount
                options[added] = max(options.get(added, -1e9), p)
        if box.kind == "goods":
            listed = dict(_logs(box.reading))
            sums = {s: p + listed[s] for s, p in sums.items() if s in listed} if None not in listed else sums
        elif box.kind == "total":
            sums = {s: p + options[s] for s, p in sums.items() if s in options}
        else:
            sums = _added(sums, options)
    if not sums:
        return False, 0
    return True, max(sums.items(), key=lambda item: (item[1], -item[0]))[0]


def _added(sums: dict[int, float], options: dict[int, float]) -> dict[int, float]:
    """Every sum with every option; of those that come to the same the likeliest, of all the likeliest few."""
    made = np.add.outer(np.array(list(sums)), np.array(list(options))).ravel()
    logs = np.add.outer(np.array(list(sums.values())), np.array(list(options.values()))).ravel()
    order = np.lexsort((-logs, made))
    made, logs = made[order], logs[order]
    first = np.ones(made.size, dtype=bool)
    first[1:] = made[1:] != made[:-1]
    made, logs = made[first], logs[first]
    if made.size > _SUMS:
        kept = np.argpartition(-logs, _SUMS)[:_SUMS]
        made, logs = made[kept], logs[kept]
    return dict(zip(made.tolist(), logs.tolist(), strict=True))


def look(slip: Simulated, ask: BoxRef) -> Facts:
    """A person looks at the one box that was asked for and says what is written there."""
    if ask.row is None:
        return {ask: next(value for kind, value in slip.totals if kind == ask.role)}
    row = slip.rows[ask.row - 1]
    written: dict[str, Value] = {
        "quantity": row.quantity, "unit_price": row.unit_price, "line_total": row.line_total,
        "struck_out": int(row.struck),
    }  # fmt: skip
    return {ask: written[ask.role]}


@dataclass(frozen=True, slots=True)
class Asked:
    """The judge with all that is known beside one slip."""

    slip: Simulated
    prices: Mapping[str, int]
    pile: Mapping[str, int]
    hand: bool
    leans: Leans = field(default_factory=lambda: EVEN)

    def judge(self, readings: SlipReadings, facts: Facts | None = None, doubt: float = DOUBT) -> Judgement:
        """Judge its readings."""
        return judge(
            readings,
            facts=facts or {},
            prices=self.prices,
            offers={row.code: [row.offer] for row in self.slip.rows if row.offer},
            pile=self.pile,
            terms=self.slip.terms,
            carried=self.slip.carried,
            doubt=doubt,
            leans=self.leans,
            hand=self.hand,
        )


def judged_pile(
    numbers: range,
    mixes: Sequence[Mix],
    reader: Recorded | Middling,
    *,
    hand: bool = True,
    alone: bool = False,
    looks: Looks = NO_LOOKS,
) -> Iterator[Outcome]:
    """Simulate, read and judge the slips of one pile; `alone`: none testifies for another's prices, or layout."""
    pile = start_pile(np.random.default_rng([SEED, numbers.start, len(mixes)]))
    prices = dict(zip(pile.codes, pile.prices, strict=True)) if pile.known == "list" else {}
    read: list[tuple[Simulated, Mix, SlipReadings]] = []
    for number in numbers:
        rng = np.random.default_rng([SEED, number])
        mix = mixes[number % len(mixes)]
        slip = simulate(rng, pile, wrong=bool(rng.random() < WRONG), mix=mix)
        read.append((slip, mix, read_slip(slip, reader, rng)))
    evidence = PilePrices([readings for _, _, readings in read])
    asked = []
    rng = np.random.default_rng([SEED, numbers.start, 79])
    pad = looks.pad(rng)
    for slip, mix, readings in read:
        told = {} if alone or prices else evidence.for_slip(readings)
        start = time.process_time()
        ask = Asked(slip, prices, told, hand, pad[int(rng.integers(len(pad)))])
        judged = ask.judge(readings)
        asked.append((ask, mix, readings, judged, time.process_time() - start))
    said = [Witness(judged.misfit, lean(ask.leans)) for ask, _, _, judged, _ in asked]
    trusted = [doubts([one])[0] for one in said] if alone else doubts(said)
    for some, doubt in zip(asked, trusted, strict=True):
        yield judged_one(*some, doubt)


def judged_one(
    asked: Asked, mix: Mix, readings: SlipReadings, judged: Judgement, seconds: float, doubt: float
) -> Outcome:
    """Judge one slip again, now that it is known how far its pile can be trusted."""
    slip = asked.slip
    if touched(judged, doubt):
        judged = asked.judge(readings, doubt=doubt)
    after, settled = judged.computed_total, judged.verdict
    if judged.verdict == "unsure" and judged.ask is not None:
        again = asked.judge(readings, look(slip, judged.ask), doubt)
        after, settled = again.computed_total, again.verdict
    holds, total = forced(readings)
    return Outcome(slip, mix, judged, after, settled, *bare_flag(readings), not holds, total, seconds)


def table(name: str, some: Sequence[Outcome]) -> None:
    """Print the figures that were asked for, for the three judges."""
    wrong = [o for o in some if o.slip.wrong]
    right = [o for o in some if not o.slip.wrong]
    print(f"\n{name}: {len(some)} slips, {len(wrong)} wrong")

    def row(what: str, among: Sequence[Outcome], *tests: Callable[[Outcome], bool]) -> None:
        shares = (wilson(sum(map(test, among)), len(among)) for test in tests)
        print(f"  {what:<44}" + "".join(f"{share:<26}" for share in shares))

    print(f"  {'per cent [95 % interval]':<44}{'judge':<26}{'bare flag':<26}make it add up")
    row(
        "wrong sums passed as agreeing",
        wrong,
        lambda o: o.judged.verdict == "agrees",
        lambda o: not o.flag,
        lambda o: not o.forced,
    )
    row(
        "wrong sums called wrong",
        wrong,
        lambda o: o.judged.verdict == "wrong",
        lambda o: o.flag,
        lambda o: o.forced,
    )
    row("wrong sums left unsure", wrong, lambda o: o.judged.verdict == "unsure")
    row(
        "right sums called wrong (false alarms)",
        right,
        lambda o: o.judged.verdict == "wrong",
        lambda o: o.flag,
        lambda o: o.forced,
    )
    row("unsure, of all", some, lambda o: o.judged.verdict == "unsure")
    row(
        "computed total exact, nobody having looked",
        some,
        lambda o: o.judged.computed_total == o.slip.right,
        lambda o: o.flag_total == o.slip.right,
        lambda o: not o.forced and o.forced_total == o.slip.right,
    )
    row("  after the one asked-for box", some, lambda o: o.after == o.slip.right)
    row("written total read right", some, lambda o: o.judged.written_total == o.slip.written)
    unsure = [o for o in some if o.judged.verdict == "unsure"]
    row("unsure slips settled by the one box", unsure, lambda o: o.settled != "unsure")
    row(
        "  of these, settled wrongly",
        [o for o in unsure if o.settled != "unsure"],
        lambda o: (o.settled == "wrong") != o.slip.wrong,
    )


def named_kinds(some: Sequence[Outcome]) -> None:
    """Print how often the named kind of slip is the one that was made."""
    called = [o for o in some if o.slip.wrong and o.judged.verdict == "wrong"]
    named = [o for o in called if o.judged.slip_kind is not None and o.slip.mistake != "two"]
    right = [o for o in named if o.judged.slip_kind == _name(o.slip)]
    print(f"\nkind named, of wrong sums called wrong: {wilson(len(named), len(called))} %")
    print(f"named kind right: {wilson(len(right), len(named))} %")
    confused = Counter((_name(o.slip), o.judged.slip_kind) for o in named if o not in right)
    print("most often mistaken:", ", ".join(f"{a} for {b} {n}" for (a, b), n in confused.most_common(6)))
    missed = Counter(o.slip.mistake for o in some if o.slip.wrong and o.judged.verdict == "unsure")
    print("left unsure most often:", ", ".join(f"{k} {n}" for k, n in missed.most_common(6)))


def _name(slip: Simulated) -> str | None:
    kind = slip.mistake
    return (
        "product"
        if kind is not None and (kind.startswith("line_") or kind in ("times", "unmultiplied", "offer"))
        else kind
    )


def reliability(some: Sequence[Outcome]) -> None:
    """Print whether probability_wrong means what it says."""
    said = np.array([o.judged.probability_wrong for o in some])
    was = np.array([o.slip.wrong for o in some], dtype=np.float64)
    print("\nprobability_wrong   slips   mean said   share wrong")
    for low, high in pairwise(_BINS):
        at = (said >= low) & ((said < high) | (high == 1.0))
        if at.any():
            print(
                f"{low:8.4f} - {high:6.4f} {at.sum():7d}   {said[at].mean():9.5f}   "
                f"{wilson(int(was[at].sum()), int(at.sum()))} %"
            )
    flag = np.array([o.flag for o in some], dtype=np.float64)
    hard = np.array([o.forced for o in some], dtype=np.float64)
    print(
        f"Brier score: judge {np.mean((said - was) ** 2):.5f}, bare flag {np.mean((flag - was) ** 2):.5f}, "
        f"make it add up {np.mean((hard - was) ** 2):.5f}"
    )


def limits(some: Sequence[Outcome]) -> None:
    """Print what other limits on probability_wrong would give: the price of fewer looks."""
    said = np.array([o.judged.probability_wrong for o in some])
    was = np.array([o.slip.wrong for o in some])
    right, wrong = max(int((~was).sum()), 1), max(int(was.sum()), 1)
    print("\nlimits on probability_wrong alone, other guards left aside; expected: if it means what it says")
    print("agrees below   a passed sum costs   passed, of wrong   expected   unsure right sums, of all")
    for low in (0.0005, 0.001, 0.00125, 0.0025, 0.005, 0.01, 0.02):
        print(
            f"{low:12.5f}   {STANDARD_COSTS.look / low / 100:14.0f}.00   "
            f"{wilson(int((said[was] < low).sum()), wrong):>26} %   {100 * said[said < low].sum() / wrong:6.2f} %   "
            f"{100 * ((said[~was] >= low) & (said[~was] < 0.5)).sum() / len(some):10.1f} %"
        )
    print("wrong above    a false alarm costs   called wrong, of wrong   false alarms, of right")
    for high in (0.4, 0.5, 0.615, 0.7, 0.8, 0.9, 0.97):
        print(
            f"{high:12.3f}   {STANDARD_COSTS.look / (1 - high) / 100:15.2f}   "
            f"{wilson(int((said[was] > high).sum()), wrong):>26} %   {wilson(int((said[~was] > high).sum()), right):>26} %"
        )


def times(some: Sequence[Outcome]) -> None:
    """Print how long a slip takes."""
    every = np.array([o.seconds for o in some]) * 1000
    large = np.array([o.seconds for o in some if sum(not r.empty for r in o.slip.rows) == 14]) * 1000
    print(
        f"\ntime per slip: median {np.median(every):.1f} ms, 95 % under {np.quantile(every, 0.95):.1f} ms; "
        f"14 rows ({large.size} slips): median {np.median(large):.1f} ms, "
        f"95 % under {np.quantile(large, 0.95):.1f} ms"
    )


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description="Measure the judge.")
    parser.add_argument("--confusions", type=Path)
    parser.add_argument("--slips", type=int, default=20_000)
    parser.add_argument("--mix", choices=get_args(Mix))
    parser.add_argument(
        "--minutes", type=float, default=float("inf"), help="stop early and report what was judged"
    )
    parser.add_argument("--no-hand", action="store_true", help="leave the writer's habits out")
    parser.add_argument("--alone", action="store_true", help="let no slip testify for another's prices")
    parser.add_argument("--looks", type=Path, help="how layouts look: what astray --looks wrote")
    asked = parser.parse_args()
    looks = NO_LOOKS if asked.looks is None else Looks.load(asked.looks)
    reader = Middling() if asked.confusions is None else Recorded.load(asked.confusions)
    mixes = [asked.mix] if asked.mix else list(get_args(Mix))
    ends = time.monotonic() + 60 * asked.minutes
    some: list[Outcome] = []
    while len(some) < asked.slips and time.monotonic() < ends:
        numbers = range(len(some), min(len(some) + PILE, asked.slips))
        some += judged_pile(numbers, mixes, reader, hand=not asked.no_hand, alone=asked.alone, looks=looks)
    print(f"readings: {reader.about}; layouts: {looks.about}; seed {SEED}")
    table("all", some)
    for mix in mixes:
        table(f"mixture {mix}", [o for o in some if o.mix == mix])
    for known, words in _KNOWN.items():
        table(words, [o for o in some if o.slip.known == known])
    named_kinds(some)
    reliability(some)
    limits(some)
    times(some)


if __name__ == "__main__":
    main()
