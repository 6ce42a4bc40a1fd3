"""Slips as the rest of the evening knows them: no photos, no pixels, no doubts but the verdict's.

These records are the result file (``formread check --json``) in memory; the file's keys are their fields.
"""

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["agrees", "wrong", "unsure"]
ChargeKind = Literal["delivery", "discount", "deposit", "other"]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an order slip, as the customer wrote it.

    Amounts are whole minor units (pence). ``None`` means that the box is empty or that the design has no
    such column. ``row`` counts the rows of the printed table from 1.
    """

    row: int
    code: str | None = None
    description: str | None = None
    quantity: int | None = None
    unit_price: int | None = None
    line_total: int | None = None
    struck_out: bool = False


@dataclass(frozen=True, slots=True)
class Charge:
    """What is added to the goods: delivery is positive, a discount or a deposit already paid is negative."""

    kind: ChargeKind
    amount: int


@dataclass(frozen=True, slots=True)
class Slip:
    """One order slip and the verdict on its total.

    Attributes
    ----------
    photo, page
        The file's name relative to the path given, and its page from 1.
    outline
        Four corners (x, y) in pixels of the upright photo, clockwise from the slip's own top left.
    written_total, computed_total, difference
        Minor units; ``difference = written_total - computed_total``. Positive: the customer would pay too
        much. Negative: the seller would lose it.
    probability_wrong
        Probability that the written total is not what the lines come to.
    reason
        Why, in plain words.
    customer, address
        Who ordered, and where it goes, where somebody has said so.
    right_line_totals
        What each counted line comes to, by row; a row whose written line total differs is where to look.
    suspect_rows
        Rows whose own written line total is thought wrong.
    ask
        For an unsure slip, the one box that a person should look at first ("row 3, unit price"), else None.
    at_stake
        Expected minor units that somebody loses if nothing is done.
    """

    photo: str
    page: int
    outline: tuple[tuple[float, float], ...]
    lines: tuple[Line, ...]
    charges: tuple[Charge, ...]
    written_total: int | None
    computed_total: int
    difference: int | None
    verdict: Verdict
    probability_wrong: float
    reason: str
    slip_number: str | None = None
    customer: str | None = None
    address: str | None = None
    right_line_totals: tuple[tuple[int, int], ...] = ()
    suspect_rows: tuple[int, ...] = ()
    ask: str | None = None
    at_stake: int = 0


@dataclass(frozen=True, slots=True)
class Problem:
    """A photo, or a page of it, that gave no slip, and why, in words a seller understands."""

    photo: str
    page: int | None
    message: str


@dataclass(frozen=True, slots=True)
class Report:
    """Everything one run found: the result file in memory."""

    currency: str
    slips: tuple[Slip, ...]
    problems: tuple[Problem, ...]
