"""One writer's habits: what the settled boxes of a slip say of its doubtful ones.

A slip is written in one hand. Where its sums show that what was read as a 7 is this writer's 1, other 7s of
the slip are the more likely to be 1s; where every 7 held, the less. Digits alone are compared, number for
number of the same length; no picture is needed. A box never testifies for itself.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from formread.arithmetic.asking import spreads
from formread.arithmetic.evidence import Box
from formread.arithmetic.weighing import Weighed

Digits = Counter[tuple[str, str]]

MISTAKEN: Final = 0.002
"""How often a digit that is read as one digit is another given one, over all hands. Assumption: a reader that
gets one digit in fifty wrong, evenly over the nine others."""
STEADY: Final = 20.0
"""What is known of all hands weighs as much as so many digits of this one. Assumption."""
LEAST: Final = 1e-4
"""Values less probable than this testify for nothing."""


@dataclass(frozen=True, slots=True)
class Hand:
    """How often each digit read on a slip was which digit, expected over all explanations, and by box."""

    every: Digits
    by_box: Mapping[int, Digits]

    def factor(self, number: int, box: Box) -> float:
        """How much more probable this hand makes `number` in a box, what the box itself says left aside."""
        read = str(box.top)
        written = str(number)
        if len(read) != len(written):
            return 1.0
        own = self.by_box.get(id(box), Digits())
        found = 1.0
        for one, other in zip(read, written, strict=True):
            usual = 1 - 9 * MISTAKEN if one == other else MISTAKEN
            seen = self.every[one, other] - own[one, other]
            of_all = sum(self.every[one, d] - own[one, d] for d in "0123456789")
            found *= (seen + STEADY * usual) / (of_all + STEADY) / usual
        return found


def hand_of(weighed: Weighed) -> Hand:
    """Read a writer's habits off a weighed slip."""
    every: Digits = Counter()
    by_box: dict[int, Digits] = {}
    for box, spread in _boxes(weighed):
        own: Digits = Counter()
        read = str(box.top)
        whole = sum(spread.values())
        for value, weight in spread.items():
            share = weight / whole if whole > 0 else 0.0
            if share >= LEAST and len(str(value)) == len(read):
                for one, other in zip(read, str(value), strict=True):
                    own[one, other] += share  # type: ignore[assignment]
        every.update(own)
        by_box[id(box)] = own
    return Hand(every, by_box)


def _boxes(weighed: Weighed) -> Iterator[tuple[Box, dict[int, float]]]:
    for ref, spread in spreads(weighed):
        box = weighed.box(ref)
        if box is not None and isinstance(box.top, int):
            yield box, {value: float(weights[0]) for value, weights in spread.items() if value >= 0}


def sharpen(weighed: Weighed) -> None:
    """Weigh a slip anew with its writer's habits as evidence."""
    hand = hand_of(weighed)
    for box in weighed.boxes():
        if box.fact or not isinstance(box.top, int):
            continue
        for value, weight in box.weights.items():
            if isinstance(value, int):
                box.weights[value] = weight * hand.factor(value, box)
    weighed.again()
