"""What a box testifies: the reader's probabilities, tempered, asked once for each value.

A reading is a posterior under the reader's own broad expectation of numbers. Where another box implies a
value (quantity times price implies the line total), Bayes' rule divides that expectation out again:
``reading(value) / breadth(value)`` is how much more the pixels speak for this value than for any other.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from formread.record import DITTO, Candidate, Kind, Reading, Value

MISREAD_UNFORESEEN: Final = 2.5e-4
"""How often a box is misread in a way that the reader's own probabilities do not foresee.

Readers are over-sure in their tails: a network says 1e-12 where one box in ten thousand is wrong. Of 5,650 written
boxes of drawn slips in hands that it was not trained on, two were wrong that it held for right but for 3e-6. Without
this floor a tail probability would be taken at its word and a customer blamed for it. It is small beside the
rate at which customers err (a few per cent a slip), so it hides none of their slips.
"""
MISREAD_ONE_DIGIT: Final = 0.6
"""Of those misreadings, the share that differ from the best reading in one digit."""
CONFUSED: Final[dict[str, float]] = {
    "12": 0.17, "49": 0.16, "17": 0.14, "29": 0.08, "16": 0.07, "35": 0.06, "27": 0.05, "56": 0.04, "58": 0.03,
    "06": 0.03, "15": 0.02, "23": 0.02, "89": 0.02, "38": 0.01,
}  # fmt: skip
"""Which digits are taken for each other, shares of all one-digit misreadings: what the reader held for possible in 2,413
boxes of the calibration's hands. The other pairs share the rest evenly."""
MISREAD_CUT: Final = 0.3
"""Of those misreadings, the share whose box was cut out wrongly (:func:`cut_to`); the rest are anything.

Assumption: on photographs far more boxes are cut so than are misread so, but most of them can be seen to be."""
MISREAD_BLANK: Final = 0.05
"""Of those misreadings, how many confuse an empty box with a written one."""

MOST_CANDIDATES: Final = 8
"""Candidates looked at per box; values that other boxes imply are asked beside them."""
LEAST_CANDIDATE: Final = 1e-9
"""Candidates below this are nothing but noise of the reader's arithmetic."""
LEAST_DITTO: Final = 0.02
"""A ditto mark read less surely than this is a speck: every ditto mark makes the rows hang together, and a
chance of one in every empty box would make them all hang together for nothing."""
LARGEST_AMOUNT: Final = 10**7
"""Minor units of the largest amount that one box or one line of an order slip may hold (100,000.00)."""
LARGEST_QUANTITY: Final = 9999


@lru_cache(maxsize=1 << 14)
def breadth(amount: int) -> float:
    """How probable an amount is before anything is known: each number of digits alike, each digit alike.

    Sums to one over 1 .. 9,999,999 minor units; zero counts as a one-digit number.
    """
    digits = len(str(abs(amount)))
    return 1.0 / (7 * (10 if digits == 1 else 9 * 10 ** (digits - 1)))


def cut_to(written: int, read: int) -> bool:
    """Say whether `written` reads as `read` where its box is cut out wrongly.

    The half for the pence lies outside (206.36 reads as 206.00), the divider of pounds and pence is seen where
    there is none (141.38 reads as 14138.00), or the first digit lies outside (141.38 reads as 41.38).
    """
    if written < 100 or written == read:
        return False
    return read in (written // 100 * 100, written * 100, written % 10 ** (len(str(written)) - 1))


@lru_cache(maxsize=1 << 12)
def pieces(count: int) -> float:
    """How much more often a line is for so many pieces than for the average number of as many digits.

    How often so many are wanted falls off as one over their number (Zipf's law, after G. K. Zipf, "Human Behavior
    and the Principle of Least Effort", 1949; that it fits order slips is an assumption).
    """
    if count <= 0:
        return RARE_COUNT
    low = 10 ** (len(str(count)) - 1)
    return float(count**-FALL / _mean_fall(low))


@cache
def _mean_fall(low: int) -> float:
    return float((np.arange(low, 10 * low, dtype=np.float64) ** -FALL).mean())


FALL: Final = 1.0
"""Exponent of the law in :func:`pieces`."""
RARE_COUNT: Final = 0.1
"""A quantity of nought is written now and then."""

_POWERS: Final = 10 ** np.arange(1, 8, dtype=np.int64)


def lengths(amounts: NDArray[np.int64]) -> NDArray[np.int64]:
    """How many digits each amount (N,) has; zero has one."""
    return np.searchsorted(_POWERS, amounts, side="right") + 1


def breadths(amounts: NDArray[np.int64]) -> NDArray[np.float64]:
    """:func:`breadth` of many amounts at once, shape (N,)."""
    digits = lengths(amounts)
    return 1.0 / (7 * np.where(digits == 1, 10.0, 9.0 * 10.0 ** (digits - 1)))


@lru_cache(maxsize=1 << 14)
def one_digit_apart(first: int, second: int) -> bool:
    """Whether two numbers, equally long, differ in exactly one digit."""
    one, two = str(first), str(second)
    return len(one) == len(two) and sum(a != b for a, b in zip(one, two, strict=True)) == 1


@dataclass(frozen=True, slots=True)
class Tabled:
    """A reading given as a table: for tests, for stored slips and for readings learned from elsewhere.

    Attributes
    ----------
    kind
        What the box holds.
    table
        Probability by value; ``None`` for empty.
    floor
        The probability answered for every value that is not in the table.
    """

    kind: Kind
    table: Mapping[Value, float]
    floor: float = 0.0
    struck_out: float = 0.0
    unreadable: float = 0.0

    @property
    def values(self) -> tuple[tuple[Value, float], ...]:
        """The table, most probable first; ties keep their order."""
        return tuple(sorted(self.table.items(), key=lambda item: -item[1]))

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """The table as candidates; amounts are shown in minor units."""
        return tuple(Candidate("" if value is None else str(value), p) for value, p in self.values)

    def probability_of(self, value: Value) -> float:
        """The table's probability, or the floor."""
        return self.table.get(value, self.floor)


@dataclass(frozen=True, slots=True)
class Confirmed:
    """A value that a person has confirmed: a fact, not a reading. ``None`` confirms an empty box."""

    value: Value
    kind: Kind = "amount"

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """The one value."""
        return (Candidate("" if self.value is None else str(self.value), 1.0),)

    @property
    def values(self) -> tuple[tuple[Value, float], ...]:
        """The one value."""
        return ((self.value, 1.0),)

    @property
    def struck_out(self) -> float:
        """A confirmed value stands."""
        return 0.0

    @property
    def unreadable(self) -> float:
        """A confirmed value was read."""
        return 0.0

    def probability_of(self, value: Value) -> float:
        """One for the confirmed value, zero for every other."""
        return 1.0 if value == self.value else 0.0


@dataclass(slots=True)
class Box:
    """One box while a slip is weighed: tempered probabilities of the values considered so far.

    A box that the design does not have is a box that is surely empty.
    """

    reading: Reading | None
    largest: int = LARGEST_AMOUNT
    weights: dict[Value, float] = field(default_factory=dict)
    top: Value = None
    fact: bool = False
    counts: bool = False
    _scale: float = 1.0

    def __post_init__(self) -> None:
        if self.reading is None:
            self.fact = True
            self.weights = {None: 1.0}
            return
        self.fact = isinstance(self.reading, Confirmed)
        self.counts = self.reading.kind == "quantity"
        listed = [
            (v, p)
            for v, p in self.reading.values
            if (
                0 <= v <= self.largest
                if isinstance(v, int)
                else v is None or (v == DITTO and p >= LEAST_DITTO)
            )
        ]
        listed.sort(key=_less_probable)
        self.top = listed[0][0] if listed else None
        for value, probability in listed[:MOST_CANDIDATES]:
            if probability >= LEAST_CANDIDATE or value == self.top:
                self.weights[value] = self._tempered(value, probability)
        if None not in self.weights:
            self.ask(None)
        if self.counts and not self.fact:
            self._scale = 1 / max(sum(self.weights.values()), 1e-300)
            self.weights = {value: weight * self._scale for value, weight in self.weights.items()}
        if not self.weights:
            # Nothing was read at all: the box says nothing, and an empty box is the harmless way to say so.
            self.weights = {None: 1.0}

    def ask(self, value: Value) -> None:
        """Ask the reader about a value that another box implies; a box of fact answers only for its fact."""
        if value in self.weights or self.reading is None or not self._possible(value):
            return
        weight = self._tempered(value, float(self.reading.probability_of(value)))
        if weight > 0:
            self.weights[value] = weight

    def best(self, count: int, least: float) -> list[int]:
        """The most probable written numbers, at most `count`, none less probable than `least`."""
        numbers = [(v, w) for v, w in self.weights.items() if isinstance(v, int) and w >= least]
        numbers.sort(key=lambda item: (-item[1], item[0]))
        return [v for v, _ in numbers[:count]]

    @property
    def dittoed(self) -> bool:
        """Whether a ditto mark is among the values considered."""
        return DITTO in self.weights

    def _possible(self, value: Value) -> bool:
        if isinstance(value, int):
            return 0 <= value <= self.largest
        return value is None or value == DITTO

    def _tempered(self, value: Value, probability: float) -> float:
        if self.fact:
            return probability
        if isinstance(value, int):
            unforeseen = _misread(value, self.top if isinstance(self.top, int) else -1, self.counts)
        else:
            unforeseen = 0.0 if value == DITTO else MISREAD_BLANK
        tempered = (1 - MISREAD_UNFORESEEN) * probability + MISREAD_UNFORESEEN * unforeseen
        if not self.counts:
            return tempered
        return self._scale * tempered * (pieces(value) if isinstance(value, int) else 1.0)


def _less_probable(listed: tuple[Value, float]) -> float:
    return -listed[1]


def _taken_for(value: int, read: int) -> float:
    """How often the one digit in which two numbers differ is taken for the other, if it is taken for another one."""
    one, other = next((a, b) for a, b in zip(str(value), str(read), strict=True) if a != b)
    return _pair(one, other) / sum(_pair(one, digit) for digit in "0123456789" if digit != one)


def _pair(one: str, other: str) -> float:
    return CONFUSED.get("".join(sorted((one, other))), (1 - sum(CONFUSED.values())) / (45 - len(CONFUSED)))


@lru_cache(maxsize=1 << 16)
def _misread(value: int, top: int, counts: bool) -> float:
    """How probable a number is where the reader was wrong in a way it did not foresee; `top` is its best, -1 for none."""
    likely = (1 - MISREAD_ONE_DIGIT - MISREAD_CUT) * breadth(value)
    if top >= 0 and one_digit_apart(value, top):
        likely += MISREAD_ONE_DIGIT * _taken_for(value, top) / len(str(value))
    if top >= 0 and not counts and cut_to(value, top):
        likely += MISREAD_CUT / 3
    return likely
