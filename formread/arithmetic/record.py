"""What the judge is given, and what it answers. Pure numbers and text; whole minor units."""

from dataclasses import dataclass
from typing import Literal

from formread.record import Reading
from formread.slips import ChargeKind, Verdict

TotalKind = Literal["goods", "brought", "delivery", "discount", "deposit", "other", "total"]
"""``brought`` is a sum brought forward from another slip of the same customer: it is added like a line."""
BoxRole = Literal[
    "code", "quantity", "unit_price", "line_total", "struck_out",
    "goods", "brought", "delivery", "discount", "deposit", "other", "total",
]  # fmt: skip
"""What a box is for. ``struck_out`` is no box but the question whether a row is crossed out: 1 or 0."""


@dataclass(frozen=True, slots=True)
class LineReadings:
    """The readings of one row. ``None`` means that the design has no such column.

    ``struck_out`` is the probability that the row as a whole is crossed out and does not count.
    """

    row: int
    quantity: Reading | None
    unit_price: Reading | None
    line_total: Reading | None
    code: Reading | None = None
    struck_out: float = 0.0


@dataclass(frozen=True, slots=True)
class TotalReading:
    """The reading of one box of the totals block, as written (a discount is written without a sign).

    ``percent`` is what is printed beside a discount's box, in hundredths of one per cent ("less 10 %" is 1000).
    """

    kind: TotalKind
    reading: Reading
    percent: int | None = None


@dataclass(frozen=True, slots=True)
class SlipReadings:
    """Everything read on one slip that arithmetic can weigh."""

    lines: tuple[LineReadings, ...]
    totals: tuple[TotalReading, ...]


@dataclass(frozen=True, slots=True)
class BoxRef:
    """Names one box of a slip.

    Attributes
    ----------
    role
        What it is for.
    row
        The row, as :class:`LineReadings` numbers them; None in the totals block.
    nth
        Which of several boxes of that role in the totals block, from 0; rows have one of each.
    """

    role: BoxRole
    row: int | None = None
    nth: int = 0


@dataclass(frozen=True, slots=True)
class JudgedLine:
    """One row as most probably written, and what it should come to.

    ``quantity``, ``unit_price`` and ``line_total`` are what the customer wrote, a ditto mark resolved to the
    value it repeats; ``right_total`` is quantity times price (a blank quantity counts as one), or the written
    line total where there is no price. ``probability_wrong`` is that of the written line total.
    """

    row: int
    quantity: int | None
    unit_price: int | None
    line_total: int | None
    struck_out: bool
    right_total: int
    probability: float
    probability_wrong: float


@dataclass(frozen=True, slots=True)
class JudgedCharge:
    """One charge as written: delivery positive, discount and deposit negative.

    ``due`` is what it should be where terms or a percentage say so, with the same sign; else None. A sum
    brought forward is of the kind ``other``.
    """

    kind: ChargeKind
    amount: int
    due: int | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """The judge's answer for one slip.

    Attributes
    ----------
    verdict
        ``agrees``, ``wrong`` or ``unsure`` by expected cost.
    probability_wrong
        Probability that the written total is not what the slip comes to.
    computed_total, computed_probability
        The most probable right total and its probability.
    slip_kind
        The kind of human slip, or None when none has a posterior of one half.
    reason
        Why, in plain words.
    at_stake
        Expected minor units lost by somebody if nothing is done.
    misfit
        How many times more probable the readings are if the boxes were found wrongly than if they were not: what
        the slip testifies for the others of its pad.
    doubt
        How probable that was taken to be before the sums were looked at.
    asks
        For ``unsure``: the boxes that a person's look would help with, the one that settles most first.
    """

    verdict: Verdict
    probability_wrong: float
    lines: tuple[JudgedLine, ...]
    charges: tuple[JudgedCharge, ...]
    written_total: int | None
    computed_total: int
    computed_probability: float
    difference: int | None
    slip_kind: str | None
    reason: str
    at_stake: int
    asks: tuple[BoxRef, ...] = ()
    misfit: float = 1.0
    doubt: float = 0.0

    @property
    def ask(self) -> BoxRef | None:
        """The one box that would settle most; None where no look would help."""
        return self.asks[0] if self.asks else None
