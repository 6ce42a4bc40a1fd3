"""Every combination of one slip's readings, weighed: what the customer summed, what it truly comes to."""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.astray import (
    DOUBT,
    EVEN,
    STRUCK_UNSEEN,
    WRONG_TOO,
    Block,
    Leans,
    columns_astray,
    written_given_astray,
)
from formread.arithmetic.charges import (
    PERCENT_OF_BLANK,
    PERCENT_READ,
    ChargeBox,
    ChargeStage,
    before,
    charge_stage,
    rules_of,
)
from formread.arithmetic.evidence import Box, breadth, breadths
from formread.arithmetic.listed import Listed, listed
from formread.arithmetic.moves import (
    SlipShares,
    Stage,
    goods_stage,
    plain_entries,
    row_stage,
    slip_shares,
    written_given_sums,
)
from formread.arithmetic.priors import Priors
from formread.arithmetic.record import BoxRef, SlipReadings, TotalReading
from formread.arithmetic.rows import MadeWays, Row
from formread.arithmetic.terms import FREE_FROM, NO_TERMS, PERCENT_OF, Terms, percents_of
from formread.record import Reading

KEEP: Final = 1e-8
"""Running totals below this share of all are dropped. What they could still have brought is summed into
``Chain.lost``, and stays far below the least probability (0.1 %) that a verdict turns on."""
LEAST_SUM: Final = 1e-5
"""Sums that are less probable than this beside the likeliest explain no total of a slip that is astray: what is then
read is spread so widely that any sum explains it about as well."""
SURELY_EMPTY: Final = 1e-7
"""A row that holds something with less than this probability is passed over."""
ASKED_SUMS: Final = 6
"""Most probable sums that the total's box is asked about."""
ASKED_DIFFERENCES: Final = 2
"""Most probable written totals whose difference from the sum each row is asked about."""
HOLDS: Final = 5e-4
"""A sum that holds this surely on what was asked so far needs no further questions: whatever else could be
asked would only offer other ways for it to hold."""
CHARGE_SIGNS: Final = {"brought": 1, "delivery": 1, "other": 1, "discount": -1, "deposit": -1}
MOST_CARRIED: Final = 40
"""Totals of other slips that the box of a sum brought forward is asked about."""


class Weighed:
    """One slip with every combination of its readings weighed.

    Attributes
    ----------
    blank
        Whether it has no line at all.
    """

    def __init__(
        self,
        slip: SlipReadings,
        known: Mapping[str, Listed],
        priors: Priors,
        terms: Terms = NO_TERMS,
        carried: Sequence[int] = (),
        doubt: float = DOUBT,
        leans: Leans = EVEN,
    ) -> None:
        self.priors = priors
        self.leans = leans
        self._asking = True
        self.carried = frozenset(carried)
        rows = [Row(line, listed(line, known), STRUCK_UNSEEN.value) for line in slip.lines]
        self.rows = [row for row in rows if row.filled + row.struck > SURELY_EMPTY and _written(row)]
        self.charges: list[ChargeBox] = []
        for place, box in enumerate(slip.totals):
            if box.kind in CHARGE_SIGNS:
                ref = BoxRef(box.kind, nth=_nth(slip, place))
                self.charges.append(_charge(ref, box, terms, self.charges))
        for charge in self.charges:
            if charge.ref.role == "brought":
                _carry(charge.box, carried, priors.brought_from_pile)
        self.goods = next((Box(total.reading) for total in slip.totals if total.kind == "goods"), None)
        self.total_nth, total = _last_written([box.reading for box in slip.totals if box.kind == "total"])
        self.total = Box(total)
        # A person who has looked at the total has seen the slip: what was found on it is what is there.
        self.doubt = 0.0 if self.total.fact else doubt
        for row in self.rows:
            row.ask()
        self._ways = MadeWays(self.rows, priors)
        self._weigh()
        for _ in range(2):
            if self.probability_wrong() < HOLDS or not self._ask_across():
                break
            self._weigh()

    def boxes(self) -> Iterator[Box]:
        """Every box that is weighed."""
        for row in self.rows:
            yield from (row.quantity, row.unit_price, row.line_total)
        yield from (charge.box for charge in self.charges)
        if self.goods is not None:
            yield self.goods
        yield self.total

    def box(self, ref: BoxRef) -> Box | None:
        """The box of that name; None for one that is not weighed."""
        if ref.role == "total":
            return self.total
        if ref.role == "goods":
            return self.goods
        if ref.row is None:
            return next((charge.box for charge in self.charges if charge.ref == ref), None)
        row = next((row for row in self.rows if row.readings.row == ref.row), None)
        if row is None:
            return None
        return {
            "quantity": row.quantity, "unit_price": row.unit_price, "line_total": row.line_total,
        }.get(ref.role)  # fmt: skip

    def again(self) -> None:
        """Weigh anew after the weights of boxes were changed; no box is asked anything more."""
        self._asking = False
        self._ways = MadeWays(self.rows, self.priors)
        self._weigh()

    def _weigh(self) -> None:
        filled = [row.filled for row in self.rows]
        struck = [row.struck for row in self.rows]
        self.blank = not any(p > 0.5 for p in (*filled, *struck))
        charged = sum(1 - charge.box.weights.get(None, 0.0) for charge in self.charges)
        self.sums: SlipShares = slip_shares(sum(filled), max(struck, default=0.0), charged, self.priors)
        self.chain = chain.Chain(KEEP)
        self.stages: list[Stage] = []
        self._ways.prepare()
        plain = plain_entries(self.rows, self._ways, self.sums)
        for place in range(len(self.rows)):
            contexts: list[Hashable] = list(self.chain.layers[-1])
            stage = row_stage(self.rows, place, contexts, self._ways, plain, self.sums)
            self.stages.append(stage)
            self.chain.advance({context: some.moves for context, some in stage.items()})
        self.goods_meaning: tuple[int | None, ...] = ()
        if self.goods is not None:
            if self._asking:
                self._ask_goods()
            moves, self.goods_meaning = goods_stage(
                self.goods, self.chain.last.states, self.sums, self.doubt, self._block()
            )
            self.chain.advance({None: moves})
        self._weigh_charges(charged)
        group = self.chain.last
        self.base = chain.base_of(group.states)
        self.right = self.base - chain.drift_of(group.states)
        self.spent = chain.slipped(group.states)
        self.mass = group.mass
        for sum_made in self._likely_sums() if self._asking else ():
            self.total.ask(sum_made)
        self._end()

    def _weigh_charges(self, charged: float) -> None:
        self.charge_stages: list[ChargeStage] = []
        for place, charge in enumerate(self.charges):
            layer = self.chain.layers[-1]
            sums_before = before(self.charges, place, layer)
            if self._asking and charge.rules:
                likely = _likeliest(np.concatenate([group.mass for group in layer.values()]), ASKED_SUMS)
                dues = sums_before.dues(charge)
                for amount in sorted({int(a) for _, *both in dues for due in both for a in due[likely]}):
                    charge.box.ask(amount)
            made = charge_stage(self.charges, place, sums_before, charged, self.sums, self.priors)
            self.charge_stages.append(made)
            self.chain.advance(made.moves)

    def _ask_goods(self) -> None:
        group = self.chain.last
        order = _likeliest(group.mass, ASKED_SUMS)
        assert self.goods is not None
        for value in chain.base_of(group.states)[order].tolist():
            self.goods.ask(value)

    def _likely_sums(self) -> list[int]:
        values, inverse = chain.distinct(np.concatenate([self.base, self.right]))
        weights = np.bincount(inverse, np.concatenate([self.mass, self.mass]), values.size).astype(np.float64)
        return [int(value) for value in values[_likeliest(weights, ASKED_SUMS)]]

    def _end(self) -> None:
        """Weigh every written total against every sum."""
        self.written = [v for v in self.total.weights if isinstance(v, int)]
        written = np.array(self.written, dtype=np.int64)
        distinct, inverse = chain.distinct(self.base)
        spite = np.where(self.spent | (self.base == self.right), 0.0, self.priors.total_in_spite)[:, None]
        fits = written_given_sums(written, distinct, self.sums)[inverse]
        # One slip in the sum is enough: a customer who left out a row added the others rightly.
        fits = np.where(self.spent[:, None], self.base[:, None] == written, fits)
        fits = (1 - spite) * fits + spite * (self.right[:, None] == written)
        self.speaks = np.array([self.total.weights[value] for value in self.written]) / breadths(written)
        self.fits = fits * self.speaks
        self._go_astray()

    def _go_astray(self) -> None:
        """Weigh every written total against every sum once more, as if the boxes had been found wrongly."""
        written = np.array(self.written, dtype=np.int64)
        likely = self.mass >= LEAST_SUM * self.mass.max(initial=0.0)
        given = np.zeros(self.fits.shape)
        distinct, inverse = chain.distinct(self.base[likely])
        given[likely] = written_given_astray(written, distinct, self._block())[inverse]
        early = chain.astray(self.chain.last.states)
        fits = self.mass[:, None] * self.fits
        sound = np.where(early[:, None], 0.0, fits)
        unspent = np.where(self.spent | early, 0.0, self.mass)[:, None]
        columns = self._block().shares()["columns"] * columns_astray(list(self._coherent()))
        # Line totals may still be summed rightly where the columns beside them are not what they are taken for.
        loose = unspent * (self.speaks * breadths(written))
        astray = unspent * given * self.speaks + columns / 2 * (sound + loose)
        self.weights = (1 - self.doubt) * sound
        self.astray = self.doubt * astray + fits - sound
        before = float(self.astray.sum()) / self.doubt if self.doubt else float(astray.sum())
        self.misfit = before / max(float(sound.sum()), 1e-300)
        self.sound = float(self.weights.sum())
        self.whole = self.sound + float(self.astray.sum())

    def _ask_across(self) -> bool:
        """Ask each row about what would make the sum hold; say whether there was anything to ask."""
        differences: set[int] = set()
        order = _likeliest(self.mass, 1).tolist()
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
        right = self.weights[holds].sum() + (1 - WRONG_TOO) * (self.whole - self.sound)
        return float(np.clip(1 - right / self.whole, 0.0, 1.0))

    def _block(self) -> Block:
        """What was found in the totals block, as it is read."""
        return Block(
            tuple(c.sign * c.box.top for c in self.charges if isinstance(c.box.top, int)),
            goods=self.goods is not None and isinstance(self.goods.top, int),
            added=any(c.sign > 0 for c in self.charges),
            taken=any(c.sign < 0 for c in self.charges),
            leans=self.leans,
        )

    def _coherent(self) -> Iterator[float]:
        """Of every row with a price and a line total, and no ditto mark: how well they go together."""
        for place, row in enumerate(self.rows):
            numbers = isinstance(row.unit_price.top, int) and isinstance(row.line_total.top, int)
            if numbers and not any(row.repeats):
                yield self._ways.of(place, None).coherent

    @property
    def explained(self) -> chain.Floats:
        """How well each end state (N,) explains what is written in the total, boxes found wrongly or not."""
        found: chain.Floats = (self.weights + self.astray).sum(axis=1) / np.maximum(self.mass, 1e-300)
        return found

    @property
    def explained_wrong(self) -> chain.Floats:
        """The same, where the total is wrong."""
        holds = self.right[:, None] == np.array(self.written)[None, :]
        wrong = np.where(holds, 0.0, self.weights).sum(axis=1) + WRONG_TOO * self.astray.sum(axis=1)
        found: chain.Floats = wrong / np.maximum(self.mass, 1e-300)
        return found

    @property
    def probability_astray(self) -> float:
        """Probability that the boxes were found wrongly."""
        return 1 - self.sound / max(self.whole, 1e-300)

    @property
    def error_bound(self) -> float:
        """By how much :meth:`probability_wrong` may be off for what was dropped on the way.

        What was dropped could at most have fitted every reading of the total perfectly.
        """
        most = sum(self.total.weights[written] / breadth(written) for written in self.written)
        return self.chain.lost * most / max(self.whole, 1e-300)

    @property
    def totalled(self) -> bool:
        """Whether a written total was weighed in."""
        return bool(self.written) and self.whole > 0 and self.no_total < 0.5

    def endings(self) -> chain.Floats:
        """How well each end state (N,) explains what is written in the total, summed over its readings."""
        return self.fits.sum(axis=1) if self.totalled else np.ones_like(self.mass)


def _likeliest(weights: chain.Floats, count: int) -> chain.Ints:
    """Places of the largest of `weights` (N,); what differs by rounding alone is alike, whatever the order of the rows."""
    alike = np.round(weights / max(float(weights.max(initial=0.0)), 1e-300), 9)
    found: chain.Ints = np.argsort(-alike, kind="stable")[:count]
    return found


def _written(row: Row) -> bool:
    return any(
        box.reading is not None and box.weights.get(None, 0.0) < 1 - SURELY_EMPTY
        for box in (row.quantity, row.unit_price, row.line_total)
    )


def _charge(ref: BoxRef, total: TotalReading, terms: Terms, above: Sequence[ChargeBox]) -> ChargeBox:
    charge = ChargeBox(ref, CHARGE_SIGNS[ref.role], Box(total.reading))
    if ref.role == "delivery" and (due := terms.due()) is not None:
        charge.rules = rules_of([(1.0, due)], FREE_FROM, above)
    elif ref.role == "discount" and total.percent is not None:
        charge.rules = rules_of(percents_of(total.percent), PERCENT_OF, above)
        charge.trust, charge.trust_if_blank = PERCENT_READ, PERCENT_OF_BLANK
    return charge


def _carry(box: Box, carried: Sequence[int], from_pile: float) -> None:
    """Let the totals of the pile's other slips speak for a sum brought forward."""
    if not carried or box.fact:
        return
    for amount in carried if len(carried) <= MOST_CARRIED else ():
        box.ask(amount)
    for value, weight in box.weights.items():
        if isinstance(value, int):
            share = sum(amount == value for amount in carried) / len(carried)
            box.weights[value] = weight * (1 - from_pile + from_pile * share / breadth(value))


def _nth(slip: SlipReadings, place: int) -> int:
    return sum(total.kind == slip.totals[place].kind for total in slip.totals[:place])


def _last_written(totals: list[Reading]) -> tuple[int, Reading | None]:
    """The total's reading; of several boxes (a design that repeats it) the last that is written."""
    for nth in range(len(totals) - 1, -1, -1):
        if totals[nth].probability_of(None) < 0.5:
            return nth, totals[nth]
    return (0, None) if not totals else (len(totals) - 1, totals[-1])
