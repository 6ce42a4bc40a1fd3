"""One row of a slip: every way it may have been written, what it then comes to, and what was summed."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from formread.arithmetic.evidence import LARGEST_QUANTITY, Box, breadth
from formread.arithmetic.listed import Listed
from formread.arithmetic.pen import unknown
from formread.arithmetic.priors import Priors
from formread.arithmetic.record import LineReadings
from formread.arithmetic.ways import BLANK, Floats, Ints, Read, Ways, no_way, weigh
from formread.record import DITTO, Value

STRUCK_UNFORESEEN: Final = 1e-6
"""How often a row is taken for struck out, or not, in a way its own probability does not foresee. Smaller
than for a number: a line through a whole row is hard to miss, and a floor as high as for numbers would
excuse every row that a customer left out."""
SETTLED: Final = 0.9
"""A row whose best readings multiply to its line total with this probability needs no further questions."""
ASKED_QUANTITIES: Final = 3
ASKED_AMOUNTS: Final = 4
NUMBER_SEEN: Final = 0.05
"""A row in which no number is at least this probable holds nothing for a ditto mark to stand beside."""
LONE_DITTO: Final = 0.02
"""How often what looks like a ditto mark, alone in its row, is one: a speck is commoner. An assumption; not so
small that a sum which needs the mark would be called wrong."""
LEAST_READ: Final = 1e-10
"""Ways of reading a row that are less probable than this, before what they say of each other, are passed
over: two boxes misread in unforeseen ways at once."""
PRICE_NEAR: Final = 0.7
"""Of the prices that are not the list's, those of about its size. Assumption."""
LIKELY: Final = 1e-4
"""Readings below this are not worth deriving further questions from."""

Context = tuple[int | None, int | None, int | None]
"""What ditto marks in the next row repeat: quantity, unit price, line total."""
Key = tuple[Context | None, int]


@dataclass(slots=True)
class Row:
    """One row while its slip is weighed."""

    readings: LineReadings
    listed: tuple[tuple[Listed, float], ...] = ()
    """What the row's code says of the product: (what is known, probability), the rest unknown."""
    unseen: float = 0.0
    """How probably the row is crossed out without looking so (:mod:`formread.arithmetic.astray`)."""
    quantity: Box = field(init=False)
    unit_price: Box = field(init=False)
    line_total: Box = field(init=False)

    def __post_init__(self) -> None:
        if self.readings.struck_out in (0.0, 1.0):
            self.unseen = 0.0  # somebody has looked
        self.quantity = Box(self.readings.quantity, LARGEST_QUANTITY)
        self.unit_price = Box(self.readings.unit_price)
        self.line_total = Box(self.readings.line_total)
        self._forget_lone_dittos()

    def _forget_lone_dittos(self) -> None:
        """Take ditto marks for likely specks where nothing else is in the row, unless the row is all dittos, or has a code."""
        boxes = (self.quantity, self.unit_price, self.line_total)
        if any(box.best(1, NUMBER_SEEN) for box in boxes):
            return
        if all(box.weights.get(DITTO, 0.0) > 0.5 for box in boxes):
            return
        code = self.readings.code
        if code is not None and code.probability_of(None) < 0.5:
            return
        for box in boxes:
            if box.dittoed:
                ditto = box.weights[DITTO]
                box.weights[DITTO] = LONE_DITTO * ditto
                box.weights[None] = box.weights.get(None, 0.0) + (1 - LONE_DITTO) * ditto

    @property
    def struck(self) -> float:
        """Probability that the row does not count, kept off certainty."""
        return min(max(self.readings.struck_out, STRUCK_UNFORESEEN), 1 - STRUCK_UNFORESEEN)

    @property
    def filled(self) -> float:
        """Probability, by its boxes alone, that anything is written in the row that counts."""
        blank = 1.0
        for box in (self.quantity, self.unit_price, self.line_total):
            blank *= box.weights.get(None, 0.0) / sum(box.weights.values())
        return (1 - blank) * (1 - self.struck)

    @property
    def repeats(self) -> tuple[bool, bool, bool]:
        """Where in the row a ditto mark may stand: quantity, unit price, line total."""
        return self.quantity.dittoed, self.unit_price.dittoed, self.line_total.dittoed

    def ask(self) -> None:
        """Ask each box about what the others imply, unless the best readings settle the row."""
        for known, _ in self.listed:
            self.unit_price.ask(known.price)
        if self.readings.unit_price is None or self.readings.line_total is None or self._settled():
            return
        counts = self._counts()
        prices = self.unit_price.best(ASKED_AMOUNTS, LIKELY)
        totals = self.line_total.best(ASKED_AMOUNTS, LIKELY)
        for count in counts:
            for price in prices:
                self.line_total.ask(count * price)
                for known, _ in self.listed:
                    bargain = known.cost(count, price)
                    if bargain is not None:
                        self.line_total.ask(bargain)
            for total in totals:
                if count and total % count == 0:
                    self.unit_price.ask(total // count)
        for price in prices:
            for total in totals:
                if price and total % price == 0:
                    self.quantity.ask(total // price)

    def ask_about(self, difference: int) -> None:
        """Ask each box about the value that would change what the row comes to by `difference`."""
        counts = self._counts()
        prices = self.unit_price.best(ASKED_AMOUNTS, LIKELY)
        totals = self.line_total.best(ASKED_AMOUNTS, LIKELY)
        wanted = {total + difference for total in totals[:2]}
        wanted |= {count * price + difference for count in counts[:2] for price in prices[:2]}
        for total in sorted(wanted):
            if total < 0:
                continue
            self.line_total.ask(total)
            for count in counts:
                if count and total % count == 0:
                    self.unit_price.ask(total // count)
            for price in prices:
                if price and total % price == 0:
                    self.quantity.ask(total // price)

    def _counts(self) -> list[int]:
        counts = self.quantity.best(ASKED_QUANTITIES, LIKELY)
        if self.quantity.weights.get(None, 0.0) >= LIKELY and 1 not in counts:
            counts.append(1)
        return counts

    def _settled(self) -> bool:
        quantity, price, total = self.quantity.top, self.unit_price.top, self.line_total.top
        if not isinstance(price, int) or not isinstance(total, int) or quantity == DITTO:
            return False
        count = 1 if quantity is None else quantity
        sure = (
            self.quantity.weights[quantity] * self.unit_price.weights[price] * self.line_total.weights[total]
        )
        return isinstance(count, int) and count * price == total and sure >= SETTLED

    def key(self, above: Context | None) -> Key:
        """What the ways of the row depend on: what its ditto marks repeat, and the values considered so far."""
        boxes = (self.quantity, self.unit_price, self.line_total)
        return (above if any(self.repeats) else None, sum(len(box.weights) for box in boxes))

    def read(self, above: Context | None, priors: Priors) -> Read | None:
        """Every combination of readings worth weighing, given what ditto marks repeat; None where none fits."""
        boxes = (self.quantity, self.unit_price, self.line_total)
        (qs, by_q), (ps, by_p), (ts, by_t) = (_resolved(box, above, place) for place, box in enumerate(boxes))
        raw = by_q[:, None, None] * by_p[None, :, None] * by_t[None, None, :]
        i, j, k = np.nonzero(raw >= LEAST_READ)
        if not i.size:
            return None
        q, p, t, weight = qs[i], ps[j], ts[k], raw[i, j, k]
        lone = (q < 0) & (t < 0) & (p >= 0) if self.readings.line_total is not None else np.zeros(1, np.bool_)
        if self.readings.unit_price is not None:
            lone = lone | ((q < 0) & (p < 0) & (t >= 0))
        lone_quantity = (q >= 0) & (p < 0) & (t < 0)
        weight = np.where(lone | lone_quantity, weight * priors.partial, weight)
        product = np.where(p >= 0, np.where(q < 0, 1, q) * p, BLANK)
        read = Read(q, p, t, product, weight, self.readings.quantity is not None)
        return self._with_list(read, lone_quantity, priors) if self.listed else read

    def _with_list(self, read: Read, lone: NDArray[np.bool_], priors: Priors) -> Read:
        """Let the price list speak: for the price, for a quantity that stands alone, for offers."""
        prices, inverse = np.unique(read.unit_price, return_inverse=True)
        speaks = [1.0 if price < 0 else self._price_speaks(price, priors) for price in prices.tolist()]
        weight = read.weight * np.array(speaks)[inverse]
        parts: list[tuple[Ints, Ints, Floats]] = []
        unlisted = np.ones(weight.size)
        count = np.where(read.quantity < 0, 1, read.quantity)
        for known, p in self.listed:
            at, products = _listed_costs(known, read, lone, count)
            parts.append((at, products, weight[at] * p))
            unlisted[at] -= p
        every = np.arange(weight.size)
        parts.append((every, read.product, weight * np.maximum(unlisted, 0.0)))
        at = np.concatenate([part[0] for part in parts])
        return Read(
            read.quantity[at],
            read.unit_price[at],
            read.line_total[at],
            np.concatenate([part[1] for part in parts]),
            np.concatenate([part[2] for part in parts]),
            read.counted,
        )

    def _price_speaks(self, price: int, priors: Priors) -> float:
        """How much more probable what is listed makes this price than it was."""
        spread = breadth(price)
        speaks = 1 - sum(p for _, p in self.listed)
        for known, p in self.listed:
            followed = priors.price_followed if known.source == "list" else priors.pile_followed
            agrees = 1.0 if known.price == price else 0.0
            speaks += (
                p * (followed * agrees + (1 - followed) * unknown(price, known.price, PRICE_NEAR)) / spread
            )
        return speaks


def _listed_costs(known: Listed, read: Read, lone: NDArray[np.bool_], count: Ints) -> tuple[Ints, Ints]:
    """Where the list says what a row comes to, and what: (places, minor units)."""
    at = np.nonzero(lone)[0]
    products = known.price * count[at]
    if not known.offers:
        return at, products
    priced = np.nonzero(~lone & (read.unit_price >= 0))[0]
    costs = [
        known.cost(n, price)
        for n, price in zip(count[priced].tolist(), read.unit_price[priced].tolist(), strict=True)
    ]
    cheaper = np.array([cost is not None for cost in costs], dtype=np.bool_)
    bargains = np.array([cost for cost in costs if cost is not None], dtype=np.int64)
    return np.concatenate([at, priced[cheaper]]), np.concatenate([products, bargains])


class MadeWays:
    """The ways of all rows, weighed together and kept as long as nothing they depend on changes."""

    def __init__(self, rows: Sequence[Row], priors: Priors) -> None:
        self._rows = rows
        self._priors = priors
        self._made: dict[tuple[int, Key], Ways] = {}

    def prepare(self) -> None:
        """Weigh at once all rows that hang on no other."""
        self._make([(place, None) for place, row in enumerate(self._rows) if not any(row.repeats)])

    def of(self, place: int, above: Context | None) -> Ways:
        """The ways of one row, given what ditto marks in it repeat."""
        key = (place, self._rows[place].key(above))
        if key not in self._made:
            self._make([(place, above)])
        return self._made[key]

    def _make(self, wanted: Sequence[tuple[int, Context | None]]) -> None:
        keys: list[tuple[int, Key]] = []
        read: list[Read] = []
        for place, above in wanted:
            key = (place, self._rows[place].key(above))
            if key in self._made:
                continue
            found = self._rows[place].read(above, self._priors)
            if found is None:
                self._made[key] = no_way()
            else:
                keys.append(key)
                read.append(found)
        self._made.update(zip(keys, weigh(read, self._priors), strict=True))


def _resolved(box: Box, above: Context | None, place: int) -> tuple[Ints, Floats]:
    """The values of a box, a ditto mark put in figures; one with nothing above it to repeat is left out."""
    values: list[int] = []
    weights: list[float] = []
    for value, weight in box.weights.items():
        meant: Value = value
        if value == DITTO:
            meant = None if above is None else above[place]
            if meant is None:
                continue
        values.append(meant if isinstance(meant, int) else BLANK)
        weights.append(weight)
    return np.array(values, dtype=np.int64), np.array(weights)
