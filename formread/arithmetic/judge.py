"""The judge: weighs "the reader is off" against "the customer slipped", exactly, over all combinations."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.costs import STANDARD_COSTS, Costs
from formread.arithmetic.evidence import Box, Confirmed, breadth
from formread.arithmetic.moves import (
    ChargeBox,
    ChargeStage,
    SlipShares,
    Stage,
    charge_stage,
    goods_stage,
    row_stage,
    slip_shares,
    written_given_sum,
)
from formread.arithmetic.pen import PEN_SLIPS, chance, unknown
from formread.arithmetic.priors import STANDARD, Priors
from formread.arithmetic.reasons import Found, put_in_words, question
from formread.arithmetic.record import (
    BoxRef,
    JudgedCharge,
    JudgedLine,
    Judgement,
    LineReadings,
    SlipReadings,
    TotalReading,
)
from formread.arithmetic.rows import LineModel, Row, Way, known_prices
from formread.money import CURRENCIES, Currency
from formread.record import Reading, Value
from formread.slips import ChargeKind

KEEP: Final = 1e-10
"""Running totals below this share of all are dropped. What they could still have brought is summed into
``Chain.lost``; a property test compares with every combination written out."""
SURELY_EMPTY: Final = 1e-7
"""A row that holds something with less than this probability is passed over."""
ASKED_SUMS: Final = 6
"""Most probable sums that the total's box is asked about."""
ASKED_DIFFERENCES: Final = 2
"""Most probable written totals whose difference from the sum each row is asked about."""
CERTAIN: Final = 0.999
"""A box read this surely is not worth a person's look."""
ASKED_BOXES: Final = 5
ASKED_VALUES: Final = 2
"""How many boxes, and values of each, are tried when looking for the box that would settle a slip."""

_CHARGE_SIGNS: Final = {"delivery": 1, "other": 1, "discount": -1, "deposit": -1}


def judge(
    slip: SlipReadings,
    *,
    prices: Mapping[str, int] | None = None,
    pile: Mapping[str, int] | None = None,
    priors: Priors = STANDARD,
    costs: Costs = STANDARD_COSTS,
    unit: Currency = CURRENCIES["GBP"],
) -> Judgement:
    """Judge one slip.

    Parameters
    ----------
    slip
        The readings of its boxes.
    prices
        The price list: minor units by product code.
    pile
        Prices that other slips of the pile testify for, by product code (see :func:`pile_prices`); the
        price list goes before them. None or empty: neither is used.
    priors, costs
        How customers err, and what each mistake of the judge costs.
    unit
        The currency in which reasons are worded.

    Returns
    -------
    Judgement
    """
    known = {**(pile or {}), **(prices or {})}
    weighed = _Weighed(slip, known, priors)
    judgement = _answer(weighed, costs, unit)
    if judgement.verdict != "unsure" or judgement.written_total is None:
        return judgement
    ask = _box_to_ask(slip, weighed, known, priors, costs)
    return judgement if ask is None else _with_question(judgement, ask)


def pile_prices(slips: Sequence[SlipReadings]) -> dict[str, int]:
    """Prices that the pile itself testifies for: a code that three lines or more price alike.

    Three, so that a line never testifies for itself alone; two thirds of the lines must agree.
    """
    seen: dict[str, dict[int, float]] = {}
    for slip in slips:
        for line in slip.lines:
            if line.code is None or line.unit_price is None:
                continue
            code, price = _top(line.code), _top(line.unit_price)
            if isinstance(code[0], str) and isinstance(price[0], int) and code[1] * price[1] > 0.8:
                at = seen.setdefault(code[0], {})
                at[price[0]] = at.get(price[0], 0.0) + code[1] * price[1]
    learned = {}
    for code_text, weights in seen.items():
        price_value, weight = max(weights.items(), key=lambda item: (item[1], -item[0]))
        if weight > 2.4 and weight >= 2 / 3 * sum(weights.values()):
            learned[code_text] = price_value
    return learned


def _likeliest_first(item: tuple[Value, float]) -> tuple[float, str]:
    return -item[1], str(item[0])


def _top(reading: Reading) -> tuple[Value, float]:
    return reading.values[0] if reading.values else (None, 0.0)


@dataclass(frozen=True, slots=True)
class Ending:
    """One way for a slip to end: what was summed, what it truly comes to, what is written, and its weight."""

    summed: int
    right: int
    slipped: bool
    written: int
    weight: float


class _Weighed:
    """One slip with every combination of its readings weighed."""

    def __init__(self, slip: SlipReadings, prices: Mapping[str, int], priors: Priors) -> None:
        self.priors = priors
        self.lines = LineModel(priors)
        rows = [Row(line, known_prices(line, prices)) for line in slip.lines]
        self.rows = [row for row in rows if row.filled + row.struck > SURELY_EMPTY and _written(row)]
        charges = [(place, total) for place, total in enumerate(slip.totals) if total.kind in _CHARGE_SIGNS]
        self.charges = [ChargeBox(place, _CHARGE_SIGNS[t.kind], Box(t.reading)) for place, t in charges]
        self.kinds: list[ChargeKind] = [t.kind for _, t in charges]  # type: ignore[misc]
        self.goods = next((Box(t.reading) for t in slip.totals if t.kind == "goods"), None)
        self.total = Box(_merged([t for t in slip.totals if t.kind == "total"]))
        for row in self.rows:
            row.ask()
        self._weigh()
        for _ in range(2):
            if not self._ask_across():
                break
            self._weigh()

    @property
    def blank(self) -> bool:
        """Whether the slip has no line at all."""
        return not any(row.filled > 0.5 or row.struck > 0.5 for row in self.rows)

    def _weigh(self) -> None:
        self.sums: SlipShares = slip_shares(self.rows, self.charges, self.priors)
        self.chain = chain.Chain(KEEP)
        self.stages: list[Stage] = []
        for place, row in enumerate(self.rows):
            below = self.rows[place + 1] if place + 1 < len(self.rows) else None
            contexts: list[Hashable] = list(self.chain.layers[-1])
            stage = row_stage(row, contexts, below, self.lines, self.sums)
            self.stages.append(stage)
            self.chain.advance(stage.moves, 1.0)
        self.goods_meaning: tuple[int | None, ...] = ()
        if self.goods is not None:
            self._ask_goods()
            moves, self.goods_meaning = goods_stage(self.goods, self.chain.last.states, self.sums)
            self.chain.advance({None: moves}, 1.0)
        charged = sum(1 - charge.box.weights.get(None, 0.0) for charge in self.charges)
        self.charge_stages: list[ChargeStage] = []
        for charge in self.charges:
            made = charge_stage(charge, charged, self.sums)
            self.charge_stages.append(made)
            self.chain.advance({None: made.moves}, 1.0)
        group = self.chain.last
        self.base = chain.base_of(group.states)
        self.right = self.base - chain.drift_of(group.states)
        self.spent = chain.slipped(group.states)
        self.mass = group.mass
        for sum_made in self._likely_sums():
            self.total.ask(sum_made)
        self._end()

    def _ask_goods(self) -> None:
        group = self.chain.last
        order = np.argsort(-group.mass, kind="stable")[:ASKED_SUMS]
        assert self.goods is not None
        for value in chain.base_of(group.states)[order].tolist():
            self.goods.ask(value)

    def _likely_sums(self) -> list[int]:
        values, inverse = np.unique(np.concatenate([self.base, self.right]), return_inverse=True)
        weights = np.bincount(inverse, np.concatenate([self.mass, self.mass]), values.size)
        order = np.argsort(-weights, kind="stable")[:ASKED_SUMS]
        return [int(value) for value in values[order]]

    def _end(self) -> None:
        """Weigh every written total against every sum."""
        self.written = [v for v in self.total.weights if isinstance(v, int)]
        self.fits = np.zeros((self.base.size, len(self.written)))
        spite = np.where(self.spent | (self.base == self.right), 0.0, self.priors.total_in_spite)
        for k, written in enumerate(self.written):
            fits = written_given_sum(written, self.base, self.sums)
            # One slip in the sum is enough: a customer who left out a row added the others rightly.
            fits = np.where(self.spent, self.base == written, fits)
            fits = (1 - spite) * fits + spite * (self.right == written)
            speaks = self.total.weights[written] / breadth(written)
            self.fits[:, k] = fits * speaks
        self.weights = self.mass[:, None] * self.fits
        self.whole = float(self.weights.sum())

    def _ask_across(self) -> bool:
        """Ask each row about what would make the sum hold; say whether there was anything to ask."""
        differences: set[int] = set()
        order = np.argsort(-self.mass, kind="stable")[:1].tolist()
        for written in self.total.best(ASKED_DIFFERENCES, 1e-4):
            for state in order:
                differences.add(written - int(self.base[state]))
        differences.discard(0)
        before = self._considered()
        for difference in sorted(differences):
            for row in self.rows:
                row.ask_about(difference)
            for charge in self.charges:
                for value in charge.box.best(2, 1e-4) or [0]:
                    charge.box.ask(value + charge.sign * difference)
        return self._considered() != before

    def _considered(self) -> int:
        boxes = [box for row in self.rows for box in (row.quantity, row.unit_price, row.line_total)]
        boxes += [charge.box for charge in self.charges]
        return sum(len(box.weights) for box in boxes)

    @property
    def no_total(self) -> float:
        """Probability that no total is written."""
        empty = self.total.weights.get(None, 0.0)
        return empty / sum(self.total.weights.values())

    def probability_wrong(self) -> float:
        """Probability that the written total is not what the slip comes to."""
        if self.whole <= 0:
            return 1.0
        holds = self.right[:, None] == np.array(self.written)[None, :]
        return float(np.clip(1 - self.weights[holds].sum() / self.whole, 0.0, 1.0))

    @property
    def totalled(self) -> bool:
        """Whether a written total was weighed in."""
        return bool(self.written) and self.whole > 0 and self.no_total < 0.5

    def endings(self) -> chain.Floats:
        """How well each end state (N,) explains what is written in the total, summed over its readings."""
        return self.fits.sum(axis=1) if self.totalled else np.ones_like(self.mass)


def _written(row: Row) -> bool:
    return any(
        box.reading is not None and box.weights.get(None, 0.0) < 1 - SURELY_EMPTY
        for box in (row.quantity, row.unit_price, row.line_total)
    )


def _merged(totals: list[TotalReading]) -> Reading | None:
    """The total's reading; of several boxes (a design that repeats it) the last that is written."""
    for total in reversed(totals):
        if total.reading.probability_of(None) < 0.5:
            return total.reading
    return totals[-1].reading if totals else None


def _answer(weighed: _Weighed, costs: Costs, unit: Currency) -> Judgement:
    ends = weighed.endings()
    computed, computed_probability = _most_probable(weighed.right, weighed.mass * ends)
    column: int | None = None
    written: int | None = None
    if weighed.totalled:
        per_written = weighed.weights.sum(axis=0)
        column = int(per_written.argmax())
        written = weighed.written[column]
    # The readings shown are the single most probable way to the most probable ending.
    fits = ends if column is None else weighed.fits[:, column]
    final = np.where(weighed.right == computed, fits, 0.0)
    if not final.any():
        final = fits
    lines, found, charges = _way(weighed, final, ends)
    wrong = weighed.probability_wrong() if weighed.totalled else 0.0
    difference = None if written is None else written - computed
    verdict = "unsure" if written is None or weighed.blank else costs.verdict(wrong)
    if verdict == "agrees" and difference:
        # The values shown contradict the verdict only where neither is sure.
        verdict = "unsure"
    if verdict == "wrong" and not difference:
        verdict = "unsure"
    if verdict == "wrong" and _hardly_a_line_holds(lines):
        verdict = "unsure"
    stake = _at_stake(weighed) if weighed.totalled else 0
    found = replace(found, blank=weighed.blank, total_slip=_total_slip(weighed, column))
    kind, reason = put_in_words(verdict, written, computed, found, unit)
    return Judgement(
        verdict=verdict,
        probability_wrong=wrong,
        lines=lines,
        charges=charges,
        written_total=written,
        computed_total=computed,
        computed_probability=computed_probability,
        difference=difference,
        slip_kind=kind,
        reason=reason,
        at_stake=stake,
    )


def _hardly_a_line_holds(lines: Sequence[JudgedLine]) -> bool:
    """Whether half of the lines, and two at least, are wrong in themselves.

    Customers err in a line or two. Where most lines fail, the boxes were taken for what they are not (a slip
    badly flattened, a column mistaken), and no customer is to blame for that.
    """
    full = [line for line in lines if line.unit_price and line.line_total is not None and not line.struck_out]
    failed = sum(line.line_total != line.right_total for line in full)
    return failed >= 2 and 2 * failed >= len(full)


def _most_probable(values: chain.Ints, weights: chain.Floats) -> tuple[int, float]:
    distinct, inverse = np.unique(values, return_inverse=True)
    per_value = np.bincount(inverse, weights, distinct.size)
    best = int(per_value.argmax())
    return int(distinct[best]), float(per_value[best] / max(per_value.sum(), 1e-300))


def _at_stake(weighed: _Weighed) -> int:
    apart = np.abs(np.array(weighed.written)[None, :] - weighed.right[:, None])
    return round(float((weighed.weights * apart).sum() / max(weighed.whole, 1e-300)))


def _way(
    weighed: _Weighed, final: chain.Floats, ends: chain.Floats
) -> tuple[tuple[JudgedLine, ...], Found, tuple[JudgedCharge, ...]]:
    """Follow the most probable way, and say of each row how probable that is."""
    steps = weighed.chain.best_way(final)
    onward = weighed.chain.back(ends)
    whole = max(float((weighed.mass * ends).sum()), 1e-300)
    lines: list[JudgedLine] = []
    left_out: list[tuple[int, float]] = []
    twice: list[tuple[int, float]] = []
    struck_counted: list[tuple[int, float]] = []
    for place, row in enumerate(weighed.rows):
        stage = weighed.stages[place]
        context, move = steps[place]
        way = max(stage.ways[context][move], key=lambda one: one.share)
        posterior = _posterior(weighed, place, onward, whole)
        number = row.readings.row
        for slips, counted in ((left_out, "left_out"), (twice, "twice"), (struck_counted, "struck_counted")):
            share = sum(p for other, p in posterior if other.counted == counted)
            if share > 0.01:
                slips.append((number, share))
        if way.written.empty:
            continue
        same = sum(p for other, p in posterior if other.written == way.written)
        wrong = sum(
            p
            for other, p in posterior
            if other.written.line_total is not None and other.written.line_total != other.written.right
        )
        lines.append(
            JudgedLine(
                row=number,
                quantity=way.written.quantity,
                unit_price=way.written.unit_price,
                line_total=way.written.line_total,
                struck_out=way.counted in ("struck", "struck_counted"),
                right_total=way.written.right,
                probability=min(1.0, same),
                probability_wrong=min(1.0, wrong),
            )
        )
    after_rows = len(weighed.rows) + (weighed.goods is not None)
    charges: list[JudgedCharge] = []
    charge_slips: list[tuple[str, str, float]] = []
    for place, (charge, kind) in enumerate(zip(weighed.charges, weighed.kinds, strict=True)):
        meaning = weighed.charge_stages[place].meaning
        shares = weighed.chain.shares(after_rows + place, onward).get(None, {})
        _, move = steps[after_rows + place]
        amount = meaning[move][0]
        if amount:
            charges.append(JudgedCharge(kind, charge.sign * amount))
        for slip in ("forgotten", "wrong_sign"):
            share = sum(p for k, p in shares.items() if meaning[k][1] == slip) / whole
            if share > 0.01:
                charge_slips.append((kind, slip, share))
    goods_value: int | None = None
    if weighed.goods is not None:
        _, move = steps[len(weighed.rows)]
        goods_value = weighed.goods_meaning[move]
    found = Found(
        lines=tuple(lines),
        left_out=tuple(left_out),
        twice=tuple(twice),
        struck_counted=tuple(struck_counted),
        charge_slips=tuple(charge_slips),
        goods=goods_value,
    )
    return tuple(lines), found, tuple(charges)


def _posterior(
    weighed: _Weighed, place: int, onward: list[dict[Hashable, chain.Floats]], whole: float
) -> list[tuple[Way, float]]:
    """Every way that a row may have been written, with its posterior."""
    found: list[tuple[Way, float]] = []
    stage = weighed.stages[place]
    for context, shares in weighed.chain.shares(place, onward).items():
        for move, share in shares.items():
            ways = stage.ways[context][move]
            total = sum(way.share for way in ways)
            found += [(way, share / whole * way.share / total) for way in ways if total > 0]
    return found


def _total_slip(weighed: _Weighed, column: int | None) -> tuple[str, int, float] | None:
    """The likeliest slip in adding up, as (kind, the sum it was made from, posterior), if there is one."""
    if column is None:
        return None
    written = weighed.written[column]
    found: dict[tuple[str, int], float] = {}
    speaks = weighed.total.weights[written] / breadth(written)
    for made, spent, mass in zip(
        weighed.base.tolist(), weighed.spent.tolist(), weighed.mass.tolist(), strict=True
    ):
        if spent or made == written:
            continue
        scale = mass * speaks
        for kind in PEN_SLIPS:
            if p := chance(kind, written, made):
                found[kind, made] = found.get((kind, made), 0.0) + scale * weighed.sums.of(kind) * p
        rest = scale * weighed.sums.of("unknown") * unknown(written, made)
        found["unknown", made] = found.get(("unknown", made), 0.0) + rest
    if not found:
        return None
    (name, made), weight = max(found.items(), key=lambda item: (item[1], item[0]))
    return name, made, weight / max(weighed.whole, 1e-300)


def _with_question(judgement: Judgement, ask: BoxRef) -> Judgement:
    return replace(judgement, ask=ask, reason=f"{judgement.reason} {question(ask)}")


def _box_to_ask(
    slip: SlipReadings, weighed: _Weighed, prices: Mapping[str, int], priors: Priors, costs: Costs
) -> BoxRef | None:
    """The one box whose value, once a person has confirmed it, saves most."""
    best: tuple[float, BoxRef] | None = None
    for ref, box in _doubtful(slip, weighed):
        spread = sorted(box.weights.items(), key=_likeliest_first)[:ASKED_VALUES]
        whole = sum(weight for _, weight in spread)
        expected = 0.0
        for value, weight in spread:
            settled = _Weighed(_confirmed(slip, ref, value), prices, priors)
            expected += weight / whole * costs.least(settled.probability_wrong())
        if best is None or expected < best[0] - 1e-9:
            best = (expected, ref)
    return None if best is None else best[1]


def _doubtful(slip: SlipReadings, weighed: _Weighed) -> list[tuple[BoxRef, Box]]:
    found: list[tuple[float, BoxRef, Box]] = []

    def consider(ref: BoxRef, box: Box) -> None:
        if box.fact or not box.weights:
            return
        sure = max(box.weights.values()) / sum(box.weights.values())
        if sure < CERTAIN:
            found.append((sure, ref, box))

    for row in weighed.rows:
        consider(BoxRef("quantity", row.readings.row), row.quantity)
        consider(BoxRef("unit_price", row.readings.row), row.unit_price)
        consider(BoxRef("line_total", row.readings.row), row.line_total)
    for charge in weighed.charges:
        consider(BoxRef("charge", place=charge.place), charge.box)
    for place, total in enumerate(slip.totals):
        if total.kind == "total":
            consider(BoxRef("total", place=place), weighed.total)
        if total.kind == "goods" and weighed.goods is not None:
            consider(BoxRef("goods", place=place), weighed.goods)
    if not found:
        # Every box is read surely and still the sum is in doubt: the total itself is the one to look at.
        return [
            (BoxRef("total", place=i), weighed.total) for i, t in enumerate(slip.totals) if t.kind == "total"
        ]
    found.sort(key=lambda item: item[0])
    return [(ref, box) for _, ref, box in found[:ASKED_BOXES]]


def _confirmed(slip: SlipReadings, ref: BoxRef, value: Value) -> SlipReadings:
    """The same slip with one box confirmed."""
    if ref.row is None:
        totals = tuple(
            replace(total, reading=Confirmed(value)) if place == ref.place else total
            for place, total in enumerate(slip.totals)
        )
        return replace(slip, totals=totals)
    return replace(slip, lines=tuple(_line(line, ref, value) for line in slip.lines))


def _line(line: LineReadings, ref: BoxRef, value: Value) -> LineReadings:
    if line.row != ref.row:
        return line
    match ref.field:
        case "quantity":
            return replace(line, quantity=Confirmed(value, "quantity"))
        case "unit_price":
            return replace(line, unit_price=Confirmed(value))
        case _:
            return replace(line, line_total=Confirmed(value))
