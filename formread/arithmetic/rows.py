"""One row of a slip: every way it may have been written, what it then comes to, and what was summed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from heapq import nlargest
from typing import Final, Literal

from formread.arithmetic.evidence import LARGEST_AMOUNT, LARGEST_QUANTITY, Box, breadth
from formread.arithmetic.pen import PEN_SLIPS, chance, unknown
from formread.arithmetic.priors import LineSlip, Priors
from formread.arithmetic.record import LineReadings
from formread.record import DITTO, Value

Counted = Literal["counted", "left_out", "twice", "struck", "struck_counted"]
"""How a row entered the customer's sum. Only the first and the fourth are right."""

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
LEAST_WAY: Final = 1e-11
"""Ways of reading a row that are less probable than this, before what they say of each other, are passed
over: two boxes misread in unforeseen ways at once."""
MOST_WAYS: Final = 400
"""Ways of reading one row that are weighed, the most probable ones; only an unreadable row has more."""
LIKELY: Final = 1e-4
"""Readings below this are not worth deriving further questions from."""

Context = tuple[int | None, int | None, int | None]
"""What ditto marks in the next row repeat: quantity, unit price, line total."""


@dataclass(frozen=True, slots=True)
class Written:
    """One way a row may have been written, ditto marks resolved."""

    quantity: int | None
    unit_price: int | None
    line_total: int | None
    right: int
    """What it comes to."""
    summed: int
    """What a customer who trusts the row takes into the sum."""
    weight: float

    @property
    def empty(self) -> bool:
        """Whether nothing that counts is written."""
        return self.quantity is None and self.unit_price is None and self.line_total is None


@dataclass(frozen=True, slots=True)
class Way:
    """One way a row may have been written and have entered the sum: the meaning of a share of a move."""

    written: Written
    counted: Counted
    share: float


@dataclass(slots=True)
class LineModel:
    """How line totals follow from quantity and price, errors included."""

    priors: Priors
    _known: dict[tuple[int, int | None, int], float] = field(default_factory=dict)

    def probability(self, written: int, quantity: int | None, price: int) -> float:
        """Probability that a customer writes `written` for `quantity` (None is one) times `price`."""
        key = (written, quantity, price)
        if key not in self._known:
            self._known[key] = sum(p for _, p in self.kinds(written, quantity, price))
        return self._known[key]

    def kinds(self, written: int, quantity: int | None, price: int) -> list[tuple[LineSlip | None, float]]:
        """The same by kind of slip; None is no slip."""
        count = 1 if quantity is None else quantity
        right = count * price
        wrong = self.priors.line_copied_wrong if count == 1 else self.priors.product_wrong
        if written == right:
            return [(None, 1 - wrong)]
        shares = self.priors.line_slips
        barred = ("times", "unmultiplied") if count <= 1 else ()
        scale = wrong / sum(share for kind, share in shares.items() if kind not in barred)
        found: list[tuple[LineSlip | None, float]] = [
            (kind, scale * shares[kind] * p) for kind in PEN_SLIPS if (p := chance(kind, written, right))
        ]
        if count > 1 and written in ((count - 1) * price, (count + 1) * price):
            found.append(("times", scale * shares["times"] / 2))
        if count > 1 and written == price:
            found.append(("unmultiplied", scale * shares["unmultiplied"]))
        found.append(("unknown", scale * shares["unknown"] * unknown(written, right)))
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

    def __post_init__(self) -> None:
        self.quantity = Box(self.readings.quantity, LARGEST_QUANTITY)
        self.unit_price = Box(self.readings.unit_price)
        self.line_total = Box(self.readings.line_total)
        self._forget_lone_dittos()

    def _forget_lone_dittos(self) -> None:
        """Take ditto marks for specks where nothing but them is in the row, unless the whole row is dittos."""
        boxes = (self.quantity, self.unit_price, self.line_total)
        if any(box.best(1, NUMBER_SEEN) for box in boxes):
            return
        if all(box.weights.get(DITTO, 0.0) > 0.5 for box in boxes):
            return
        for box in boxes:
            if box.dittoed:
                box.weights[None] = box.weights.get(None, 0.0) + box.weights.pop(DITTO)

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

    def written(self, above: Context | None, lines: LineModel) -> list[Written]:
        """Every way the row may have been written, with its weight, given what ditto marks repeat."""
        ways: list[Written] = []
        for quantity, by_quantity in self.quantity.weights.items():
            if (q := _resolved(quantity, above, 0)) is _NOTHING:
                continue
            for price, by_price in self.unit_price.weights.items():
                raw = by_quantity * by_price
                if raw < LEAST_WAY or (p := _resolved(price, above, 1)) is _NOTHING:
                    continue
                root = raw * (1.0 if p is None else self._price_speaks(p))
                for total, by_total in self.line_total.weights.items():
                    if raw * by_total < LEAST_WAY or (t := _resolved(total, above, 2)) is _NOTHING:
                        continue
                    ways.extend(self._one(q, p, t, root * by_total, lines))
        return ways if len(ways) <= MOST_WAYS else nlargest(MOST_WAYS, ways, key=lambda way: way.weight)

    def _one(
        self, q: int | None, p: int | None, t: int | None, weight: float, lines: LineModel
    ) -> list[Written]:
        if p is None:
            if t is not None:
                bare = q is None and self.readings.unit_price is not None
                return [Written(q, p, t, t, t, weight * (lines.priors.partial if bare else 1.0))]
            return self._unpriced(q, weight, lines.priors)
        if self.readings.quantity is None and t is not None:
            # No quantity column: the line total alone says how many, so it cannot be wrong.
            return [Written(q, p, t, t, t, weight)]
        right = (1 if q is None else q) * p
        if right > LARGEST_AMOUNT:
            return []
        if t is None:
            bare = q is None and self.readings.line_total is not None
            return [Written(q, p, t, right, right, weight * (lines.priors.partial if bare else 1.0))]
        speaks = lines.probability(t, q, p) / breadth(t)
        return [Written(q, p, t, right, t, weight * speaks)]

    def _unpriced(self, q: int | None, weight: float, priors: Priors) -> list[Written]:
        if q is None:
            return [Written(q, None, None, 0, 0, weight)]
        weight *= priors.partial
        ways = [Written(q, None, None, q * price, q * price, weight * p) for price, p in self.prices]
        rest = 1 - sum(p for _, p in self.prices)
        return [*ways, Written(q, None, None, 0, 0, weight * rest)] if rest > 0 else ways

    def _price_speaks(self, price: int) -> float:
        """How much more probable the price list makes this price than it was."""
        known = sum(p for _, p in self.prices)
        if not known:
            return 1.0
        spread = breadth(price)
        speaks = 1 - known
        for listed, p in self.prices:
            agrees = 1.0 if listed == price else 0.0
            speaks += p * (_FOLLOWED * agrees + (1 - _FOLLOWED) * unknown(price, listed)) / spread
        return speaks


_FOLLOWED: Final = 0.9
_NOTHING: Final = -1
"""A ditto mark with nothing above it to repeat; no amount is negative."""


def _resolved(value: Value, above: Context | None, place: int) -> int | None:
    if value == DITTO:
        return _NOTHING if above is None or above[place] is None else above[place]
    return value if isinstance(value, int) else None


def known_prices(readings: LineReadings, prices: Mapping[str, int] | None) -> tuple[tuple[int, float], ...]:
    """What the row's code says of its price: (price, probability), most probable first."""
    if not prices or readings.code is None:
        return ()
    found: dict[int, float] = {}
    for value, probability in readings.code.values:
        if isinstance(value, str) and value in prices and probability >= LIKELY:
            found[prices[value]] = found.get(prices[value], 0.0) + probability
    return tuple(sorted(found.items(), key=lambda item: (-item[1], item[0])))
