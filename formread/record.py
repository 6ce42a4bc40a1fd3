"""The small record in which reading and arithmetic meet: what may be written in one box, and how surely.

``reading`` makes these from pixels, ``arithmetic`` weighs them without ever seeing one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, Protocol

Kind = Literal["amount", "quantity", "code", "number", "text", "pounds", "pence"]
"""What a box holds. ``pounds`` and ``pence`` are the two halves of a split amount column."""

Value = int | str | None
"""Minor units for amounts, a whole number for quantities, text otherwise; ``None`` for an empty box."""

DITTO: Final = '"'
"""The value and the text of a ditto mark: the same as in the row above."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One way of reading a box.

    Attributes
    ----------
    text
        What is written, as it is written; ``""`` for an empty box.
    probability
        How probable it is that this is what is written, between 0 and 1, calibrated.
    """

    text: str
    probability: float


class Reading(Protocol):
    """What may be written in one box.

    The candidates are sorted, most probable first, and differ in value (two spellings of one amount are one
    candidate, shown in its likelier spelling). They need not sum to one: the rest is spread over values that
    are not listed, and :meth:`probability_of` answers for those.
    """

    @property
    def kind(self) -> Kind:
        """What the box was read as."""

    @property
    def candidates(self) -> Sequence[Candidate]:
        """The best readings first; an empty box has ``""`` among them."""

    @property
    def values(self) -> Sequence[tuple[Value, float]]:
        """The candidates as values, in the same order: (value, probability)."""

    @property
    def struck_out(self) -> float:
        """Probability that the writing in the box is crossed out."""

    @property
    def unreadable(self) -> float:
        """Probability that there is writing here that no value of this kind explains."""

    def probability_of(self, value: Value) -> float:
        """Probability that `value` is what is written, in whatever way people write it.

        Parameters
        ----------
        value
            Minor units for amounts, a number for quantities, text otherwise, ``None`` for an empty box and
            :data:`DITTO` for a ditto mark. It need not be among the candidates.
        """
