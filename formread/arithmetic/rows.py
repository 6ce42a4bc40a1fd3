"""One row of a slip: every way it may have been written, what it then comes to, and what was summed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from formread.arithmetic.evidence import LARGEST_AMOUNT, LARGEST_QUANTITY, Box, breadth, breadths
from formread.arithmetic.pen import chances, unknown, unknowns
from formread.arithmetic.priors import Priors
from formread.arithmetic.record import LineReadings
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
LEAST_WAY: Final = 1e-10
"""Ways of reading a row that are less probable than this, before what they say of each other, are passed
over: two boxes misread in unforeseen ways at once."""
MOST_WAYS: Final = 400
"""Ways of reading one row that are weighed, the most probable ones; only an unreadable row has more."""
LIKELY: Final = 1e-4
"""Readings below this are not worth deriving further questions from."""

Context = tuple[int | None, int | None, int | None]
"""What ditto marks in the next row repeat: quantity, unit price, line total."""


Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
BLANK: Final = -1
"""An empty box, among whole numbers; no amount and no quantity is negative."""


@dataclass(frozen=True, slots=True, eq=False)
class Ways:
    """Every way that a row may have been written, ditto marks resolved: arrays of shape (N,).

    Attributes
    ----------
    quantity, unit_price, line_total
        What is written; :data:`BLANK` for an empty box.
    right
        What the row comes to.
    summed
        What a customer who trusts the row takes into the sum.
    weight
        How probable the way is, up to one factor for the row.
    """

    quantity: Ints
    unit_price: Ints
    line_total: Ints
    right: Ints
    summed: Ints
    weight: Floats

    @property
    def empty(self) -> NDArray[np.bool_]:
        """Where nothing that counts is written."""
        found: NDArray[np.bool_] = (self.quantity < 0) & (self.unit_price < 0) & (self.line_total < 0)
        return found

    @property
    def product_wrong(self) -> NDArray[np.bool_]:
        """Where a line total is written and is not what the row comes to."""
        found: NDArray[np.bool_] = (self.line_total >= 0) & (self.line_total != self.right)
        return found


def no_way() -> Ways:
    """The one way of a row of which nothing that was read fits: it says nothing."""
    blank, nothing = np.array([BLANK]), np.array([0])
    return Ways(blank, blank, blank, nothing, nothing, np.ones(1))


def line_probability(written: Ints, quantity: Ints, price: Ints, priors: Priors) -> Floats:
    """Probability that a customer writes `written` for `quantity` (blank is one) times `price`; all (N,)."""
    count = np.where(quantity < 0, 1, quantity)
    right = count * price
    wrong = np.where(count == 1, priors.line_copied_wrong, priors.product_wrong)
    shares = priors.line_slips
    several = count > 1
    whole = sum(shares.values())
    scale = wrong / np.where(several, whole, whole - shares["times"] - shares["unmultiplied"])
    slips = shares["unknown"] * unknowns(written, right)
    for kind, (at, p) in chances(written, right).items():
        slips[at] += shares[kind] * p
    off_by_one = (written == right - price) | (written == right + price)
    slips += np.where(several & off_by_one, shares["times"] / 2, 0.0)
    slips += np.where(several & (written == price), shares["unmultiplied"], 0.0)
    found: Floats = np.where(written == right, 1 - wrong, scale * slips)
    return found


@dataclass(slots=True)
class Row:
    """One row while its slip is weighed."""

    readings: LineReadings
    prices: tuple[tuple[int, float], ...] = ()
    """What the row's code says of the price: (price, probability), the rest unknown."""
    quantity: Box = field(init=False)
    unit_price: Box = field(init=False)
    line_total: Box = field(init=False)
    _made: dict[tuple[Context | None, int], Ways] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.quantity = Box(self.readings.quantity, LARGEST_QUANTITY)
        self.unit_price = Box(self.readings.unit_price)
        self.line_total = Box(self.readings.line_total)
        self._forget_lone_dittos()

    def _forget_lone_dittos(self) -> None:
        """Take ditto marks for likely specks where nothing else is in the row, unless the whole row is dittos."""
        boxes = (self.quantity, self.unit_price, self.line_total)
        if any(box.best(1, NUMBER_SEEN) for box in boxes):
            return
        if all(box.weights.get(DITTO, 0.0) > 0.5 for box in boxes):
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
        for price, _ in self.prices:
            self.unit_price.ask(price)
        if self.readings.unit_price is None or self.readings.line_total is None or self._settled():
            return
        counts = self._counts()
        prices = self.unit_price.best(ASKED_AMOUNTS, LIKELY)
        totals = self.line_total.best(ASKED_AMOUNTS, LIKELY)
        for count in counts:
            for price in prices:
                self.line_total.ask(count * price)
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

    def ways(self, above: Context | None, priors: Priors) -> Ways:
        """Every way the row may have been written, with its weight, given what ditto marks repeat."""
        boxes = (self.quantity, self.unit_price, self.line_total)
        key = (above if any(self.repeats) else None, sum(len(box.weights) for box in boxes))
        if key not in self._made:
            self._made[key] = self._make(boxes, above, priors)
        return self._made[key]

    def _make(self, boxes: tuple[Box, Box, Box], above: Context | None, priors: Priors) -> Ways:
        (qs, by_q), (ps, by_p), (ts, by_t) = (_resolved(box, above, place) for place, box in enumerate(boxes))
        raw = by_q[:, None, None] * by_p[None, :, None] * by_t[None, None, :]
        i, j, k = np.nonzero(raw >= LEAST_WAY)
        if not i.size:
            return no_way()
        speaks = np.array([1.0 if price < 0 else self._price_speaks(price, priors) for price in ps.tolist()])
        made = self._weighed(qs[i], ps[j], ts[k], raw[i, j, k] * speaks[j], priors)
        if not made.weight.any():
            return no_way()
        if made.weight.size <= MOST_WAYS:
            return made
        kept = np.sort(np.argsort(-made.weight, kind="stable")[:MOST_WAYS])
        return _chosen(made, kept)

    def _weighed(self, q: Ints, p: Ints, t: Ints, weight: Floats, priors: Priors) -> Ways:
        """What each way comes to, and what its three numbers say of each other."""
        lone_price = (q < 0) & (p >= 0) & (t < 0) & (self.readings.line_total is not None)
        lone_total = (q < 0) & (p < 0) & (t >= 0) & (self.readings.unit_price is not None)
        lone_quantity = (q >= 0) & (p < 0) & (t < 0)
        weight = np.where(lone_price | lone_total | lone_quantity, weight * priors.partial, weight)
        product = np.where(q < 0, 1, q) * p
        right = np.where(p >= 0, product, np.maximum(t, 0))
        checked = (p >= 0) & (t >= 0)
        if self.readings.quantity is None:
            # No quantity column: the line total alone says how many, so it cannot be wrong.
            right = np.where(checked, t, right)
            checked = np.zeros_like(checked)
        at = np.nonzero(checked)[0]
        weight[at] *= line_probability(t[at], q[at], p[at], priors) / breadths(t[at])
        made = Ways(q, p, t, right, np.where(t >= 0, t, right), weight)
        if self.prices and lone_quantity.any():
            made = self._priced(made, np.nonzero(lone_quantity)[0])
        return _chosen(made, np.nonzero(made.right <= LARGEST_AMOUNT)[0])

    def _priced(self, made: Ways, lone: Ints) -> Ways:
        """Let a quantity that stands alone come to what the price list says."""
        parts = [made]
        for price, p in self.prices:
            comes = made.quantity[lone] * price
            some = _chosen(made, lone)
            parts.append(Ways(some.quantity, some.unit_price, some.line_total, comes, comes, some.weight * p))
        made.weight[lone] *= max(1 - sum(p for _, p in self.prices), 0.0)
        return Ways(*(np.concatenate([getattr(part, name) for part in parts]) for name in _WAY_FIELDS))

    def _price_speaks(self, price: int, priors: Priors) -> float:
        """How much more probable the price list makes this price than it was."""
        known = sum(p for _, p in self.prices)
        if not known:
            return 1.0
        spread = breadth(price)
        speaks = 1 - known
        for listed, p in self.prices:
            agrees = 1.0 if listed == price else 0.0
            followed = priors.price_followed
            speaks += p * (followed * agrees + (1 - followed) * unknown(price, listed)) / spread
        return speaks


_WAY_FIELDS: Final = ("quantity", "unit_price", "line_total", "right", "summed", "weight")


def _chosen(ways: Ways, at: Ints) -> Ways:
    return Ways(*(getattr(ways, name)[at] for name in _WAY_FIELDS))


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


def known_prices(readings: LineReadings, prices: Mapping[str, int] | None) -> tuple[tuple[int, float], ...]:
    """What the row's code says of its price: (price, probability), most probable first."""
    if not prices or readings.code is None:
        return ()
    found: dict[int, float] = {}
    for value, probability in readings.code.values:
        if isinstance(value, str) and value in prices and probability >= LIKELY:
            found[prices[value]] = found.get(prices[value], 0.0) + probability
    return tuple(sorted(found.items(), key=lambda item: (-item[1], item[0])))
