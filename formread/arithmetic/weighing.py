"""Every combination of one slip's readings, weighed: what the customer summed, what it truly comes to."""

from collections.abc import Hashable, Mapping
from typing import Final

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.evidence import Box, breadth
from formread.arithmetic.listed import Listed, listed
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
from formread.arithmetic.priors import Priors
from formread.arithmetic.record import BoxRef, SlipReadings
from formread.arithmetic.rows import MadeWays, Row
from formread.record import Reading
from formread.slips import ChargeKind

KEEP: Final = 1e-8
"""Running totals below this share of all are dropped. What they could still have brought is summed into
``Chain.lost``, and stays far below the least probability (0.1 %) that a verdict turns on."""
SURELY_EMPTY: Final = 1e-7
"""A row that holds something with less than this probability is passed over."""
ASKED_SUMS: Final = 6
"""Most probable sums that the total's box is asked about."""
ASKED_DIFFERENCES: Final = 2
"""Most probable written totals whose difference from the sum each row is asked about."""
HOLDS: Final = 1e-4
"""A sum that holds this surely on what was asked so far needs no further questions: whatever else could be
asked would only offer other ways for it to hold."""
CHARGE_SIGNS: Final = {"delivery": 1, "other": 1, "discount": -1, "deposit": -1}


class Weighed:
    """One slip with every combination of its readings weighed."""

    def __init__(self, slip: SlipReadings, known: Mapping[str, Listed], priors: Priors) -> None:
        self.priors = priors
        rows = [Row(line, listed(line, known)) for line in slip.lines]
        self.rows = [row for row in rows if row.filled + row.struck > SURELY_EMPTY and _written(row)]
        boxes = [(BoxRef(t.kind, nth=_nth(slip, place)), t.reading) for place, t in enumerate(slip.totals)]
        self.charges = [
            ChargeBox(ref, CHARGE_SIGNS[ref.role], Box(reading))
            for ref, reading in boxes
            if ref.role in CHARGE_SIGNS
        ]
        self.kinds: list[ChargeKind] = [charge.ref.role for charge in self.charges]  # type: ignore[misc]
        self.goods = next((Box(reading) for ref, reading in boxes if ref.role == "goods"), None)
        self.total_nth, total = _last_written([reading for ref, reading in boxes if ref.role == "total"])
        self.total = Box(total)
        for row in self.rows:
            row.ask()
        self._ways = MadeWays(self.rows, priors)
        self._weigh()
        for _ in range(2):
            if self.probability_wrong() < HOLDS or not self._ask_across():
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
        self._ways.prepare()
        for place in range(len(self.rows)):
            contexts: list[Hashable] = list(self.chain.layers[-1])
            stage = row_stage(self.rows, place, contexts, self._ways, self.sums)
            self.stages.append(stage)
            self.chain.advance({context: some.moves for context, some in stage.items()})
        self.goods_meaning: tuple[int | None, ...] = ()
        if self.goods is not None:
            self._ask_goods()
            moves, self.goods_meaning = goods_stage(self.goods, self.chain.last.states, self.sums)
            self.chain.advance({None: moves})
        charged = sum(1 - charge.box.weights.get(None, 0.0) for charge in self.charges)
        self.charge_stages: list[ChargeStage] = []
        for charge in self.charges:
            made = charge_stage(charge, charged, self.sums)
            self.charge_stages.append(made)
            self.chain.advance({None: made.moves})
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
        distinct, inverse = np.unique(self.base, return_inverse=True)
        spite = np.where(self.spent | (self.base == self.right), 0.0, self.priors.total_in_spite)
        for k, written in enumerate(self.written):
            fits = written_given_sum(written, distinct, self.sums)[inverse]
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


def _written(row: Row) -> bool:
    return any(
        box.reading is not None and box.weights.get(None, 0.0) < 1 - SURELY_EMPTY
        for box in (row.quantity, row.unit_price, row.line_total)
    )


def _nth(slip: SlipReadings, place: int) -> int:
    return sum(total.kind == slip.totals[place].kind for total in slip.totals[:place])


def _last_written(totals: list[Reading]) -> tuple[int, Reading | None]:
    """The total's reading; of several boxes (a design that repeats it) the last that is written."""
    for nth in range(len(totals) - 1, -1, -1):
        if totals[nth].probability_of(None) < 0.5:
            return nth, totals[nth]
    return (0, None) if not totals else (len(totals) - 1, totals[-1])
