"""The records that reading hands on; each implements :class:`formread.record.Reading`.

They are what the store keeps, so they are small and hold no picture.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from formread.reading.decode import mass
from formread.reading.grammar import NumberKind, code_digits, value_chain
from formread.reading.lattice import Lattice
from formread.record import DITTO, Candidate, Kind, Value


def same_value(one: Value, other: Value, kind: Kind) -> bool:
    """Say whether two values of a kind are the same: codes are told apart by their digits alone."""
    if kind == "code" and isinstance(one, str) and isinstance(other, str) and DITTO not in (one, other):
        return code_digits(one) == code_digits(other)
    return one == other


@dataclass(frozen=True)
class NumberReading:
    """A box of digits and marks, read by the network of numbers.

    Attributes
    ----------
    kind, candidates, values, struck_out, unreadable
        See :class:`formread.record.Reading`.
    lattice
        What the network saw.
    whole
        What the probabilities of the lattice are divided by: all that may be written in such a box.
    others
        The factor by which every value but the best was corrected.
    ink_odds
        The factor by which a separate look for ink multiplied the odds of the empty box.
    """

    kind: NumberKind
    candidates: tuple[Candidate, ...]
    values: tuple[tuple[Value, float], ...]
    struck_out: float
    unreadable: float
    lattice: Lattice
    whole: float
    others: float
    ink_odds: float = 1.0
    _asked: dict[Value, float] = field(default_factory=dict, compare=False, repr=False)

    def probability_of(self, value: Value) -> float:
        """Return the probability that `value` is written, in whatever way people write it."""
        known = self._asked.get(value)
        if known is None:
            known = self._ask(value)
            self._asked[value] = known
        return known

    def _ask(self, value: Value) -> float:
        for listed, probability in self.values:
            if same_value(listed, value, self.kind):
                return probability
        chain = value_chain(value, self.kind)
        if chain is None:
            return 0.0
        odds = self.ink_odds if value is None else 1.0
        return mass(self.lattice.probabilities, chain) * odds / self.whole * self.others

    def __getstate__(self) -> dict[str, Any]:
        return {name: kept for name, kept in self.__dict__.items() if name != "_asked"}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state, _asked={})


@dataclass(frozen=True)
class TextReading:
    """A box of words.

    Attributes
    ----------
    candidates, values, struck_out, unreadable
        See :class:`formread.record.Reading`.
    free
        The text as read without any list; it may be wrong in every other letter.
    from_list
        True where the candidates come from a list; False where the one candidate is the text as read.
    """

    candidates: tuple[Candidate, ...]
    values: tuple[tuple[Value, float], ...]
    unreadable: float
    free: str
    from_list: bool
    struck_out: float = 0.0
    kind: Kind = "text"

    def probability_of(self, value: Value) -> float:
        """Return the probability of an entry of the list; 0 for what is neither listed nor read."""
        return next((probability for listed, probability in self.values if listed == value), 0.0)


@dataclass(frozen=True)
class SplitReading:
    """An amount in two boxes, pounds and pence.

    Attributes
    ----------
    candidates, values, struck_out, unreadable
        See :class:`formread.record.Reading`.
    pounds, pence
        The readings of the halves.
    """

    candidates: tuple[Candidate, ...]
    values: tuple[tuple[Value, float], ...]
    struck_out: float
    unreadable: float
    pounds: NumberReading
    pence: NumberReading
    kind: Kind = "amount"

    def probability_of(self, value: Value) -> float:
        """Return the probability that the halves together say `value`, in pence."""
        return probability_of_halves(self.pounds, self.pence, value)


def probability_of_halves(pounds: NumberReading, pence: NumberReading, value: Value) -> float:
    """Return the probability that two halves together say `value`.

    A half with nothing in it counts as nought where the other half has a number; a ditto mark in one half
    counts for both where the other is empty or a ditto mark too. Nobody writes a ditto mark beside a number:
    what looks like one there is mostly an 11, and of the other numbers only what they were read as is left.
    """
    left, right = pounds.probability_of, pence.probability_of
    likely = 1.0 - clash_of_halves(pounds, pence)
    if value is None:
        return left(None) * right(None) / likely
    if value == DITTO:
        return (left(DITTO) * (right(DITTO) + right(None)) + left(None) * right(DITTO)) / likely
    if not isinstance(value, int) or value < 0:
        return 0.0
    whole, part = divmod(value, PENCE_IN_A_POUND)
    both = left(whole) * right(part)
    if whole == LIKE_DITTO:
        both += DITTO_IS_NUMBER * left(DITTO) * right(part)
    if part == LIKE_DITTO:
        both += DITTO_IS_NUMBER * left(whole) * right(DITTO)
    if part == 0:
        both += left(whole) * right(None)
    if whole == 0:
        both += left(None) * right(part)
    return both / likely


def clash_of_halves(pounds: NumberReading, pence: NumberReading) -> float:
    """Return how probable a ditto mark in one half and a number in the other would be: what of that is ruled out."""
    ditto = [half.probability_of(DITTO) for half in (pounds, pence)]
    number = [
        max(1.0 - own - half.probability_of(None) - half.struck_out - half.unreadable, 0.0)
        for own, half in zip(ditto, (pounds, pence), strict=True)
    ]
    clash = ditto[0] * number[1] + number[0] * ditto[1]
    return min((1.0 - DITTO_IS_NUMBER) * clash, _MOST_CLASH)


PENCE_IN_A_POUND = 100
LIKE_DITTO = 11
"""The number whose figures are two upright strokes, as a ditto mark is."""
DITTO_IS_NUMBER = 0.5
"""How often what is read as a ditto mark beside a number is that 11; else it is whatever the network held for less
probable. Assumption. The network, once it has seen a ditto mark, says next to nothing of the numbers it might be: a
1 may come before the 11, and without this it would be taken for sure."""
_MOST_CLASH = 0.999  # beyond this the halves say nothing that anybody writes


def sorted_answers(
    found: Sequence[tuple[Value, str, float]],
) -> tuple[tuple[Candidate, ...], tuple[tuple[Value, float], ...]]:
    """Sort (value, text, probability) into candidates and values, the most probable first."""
    order = sorted(range(len(found)), key=lambda i: -found[i][2])
    candidates = tuple(Candidate(found[i][1], found[i][2]) for i in order)
    values = tuple((found[i][0], found[i][2]) for i in order)
    return candidates, values
