"""How customers err: every rate the judge believes before it has seen a slip, each with its source.

Two published figures bound the table. Adding two five-digit numbers goes wrong 0.7 % of the time (Trumbull
1952, in Panko's review "Human Error in Simple but Nontrivial Cognitive Actions", table 1); forms summed by
hand are wrong 5-16 % of the time (Goddard et al. 2004 and Allard et al. 1995, from memory). The shares of
the kinds of slip are assumptions: no published table of kinds for order slips is known to us. They are kept
broad, so that a customer who errs in another mixture is still found (``tests/measure/judging.py`` simulates
several mixtures).
"""

from dataclasses import dataclass, field
from typing import Final, Literal

TotalSlip = Literal[
    "carry", "swap", "digit", "slide", "left_out", "twice", "forgot_charge", "charge_sign", "struck_counted",
    "unknown",
]  # fmt: skip
"""How a total goes wrong. ``left_out`` to ``struck_counted`` change what is summed, the others the sum."""

LineSlip = Literal["carry", "swap", "digit", "slide", "times", "unmultiplied", "unknown"]
"""How one product goes wrong: ``times`` is one too many or too few, ``unmultiplied`` the price copied."""


@dataclass(frozen=True, slots=True)
class Rate:
    """One believed number and where it comes from."""

    value: float
    source: str


ADDITION_WRONG: Final = Rate(
    0.007, "Trumbull 1952: five-digit addition, 0.7 % wrong (Panko's review, table 1)"
)
TOTAL_COPIED_WRONG: Final = Rate(
    0.010, "Kirwan 1994: 1 % in a routine action when care is required (Panko's review, table 1)"
)
PRODUCT_WRONG: Final = Rate(
    0.010, "Swain and Guttman 1983: 1 % in simple arithmetic with or without a calculator (Panko's review)"
)
LINE_COPIED_WRONG: Final = Rate(
    0.005, "Baddeley and Longman 1973: 0.5 % in entering a code (Panko's review); taken for a product by one"
)
HAND_SUMMED_FORMS_WRONG: Final = (
    0.05,
    0.16,
    "Goddard et al. 2004, Allard et al. 1995: 5-16 % of forms summed by hand (from memory)",
)

TOTAL_SLIPS: Final[dict[TotalSlip, Rate]] = {
    "carry": Rate(0.26, "assumption: the commonest slip in column addition"),
    "swap": Rate(0.10, "assumption"),
    "digit": Rate(0.11, "assumption: one column added or copied wrongly"),
    "slide": Rate(0.02, "assumption"),
    "left_out": Rate(0.12, "assumption"),
    "twice": Rate(0.05, "assumption"),
    "forgot_charge": Rate(0.06, "assumption; only where a charge is written"),
    "charge_sign": Rate(0.04, "assumption: a discount added, a delivery charge taken off"),
    "struck_counted": Rate(0.16, "assumption: crossed out after adding up; only where a row is struck out"),
    "unknown": Rate(0.08, "assumption: nothing above explains it"),
}

LINE_SLIPS: Final[dict[LineSlip, Rate]] = {
    "carry": Rate(0.25, "assumption"),
    "swap": Rate(0.15, "assumption"),
    "digit": Rate(0.20, "assumption"),
    "slide": Rate(0.03, "assumption"),
    "times": Rate(0.15, "assumption: 4 x 3.50 worked as 3 x 3.50 or 5 x 3.50"),
    "unmultiplied": Rate(0.07, "assumption: the price copied where the quantity is not one"),
    "unknown": Rate(0.15, "assumption"),
}

TOTAL_IN_SPITE: Final = Rate(
    0.15, "assumption: the line or goods total is wrong and the total right, worked out elsewhere and copied"
)
PARTIAL: Final = Rate(0.02, "assumption: a written row holds one number alone")
PRICE_FOLLOWED: Final = Rate(
    0.90, "assumption: the price is the price list's; others use an old one, or round"
)
PILE_FOLLOWED: Final = Rate(0.85, "assumption: the price is the one that other slips of the pile give")
OFFER_OVERLOOKED: Final = Rate(
    0.15, "assumption: an offer on several pieces applies and is not reckoned with"
)
CHARGE_OMITTED: Final = Rate(0.05, "assumption: a charge that is due is not written down")
CHARGE_WRONG: Final = Rate(0.03, "assumption: another amount is written than is due")
BROUGHT_FROM_PILE: Final = Rate(
    0.80, "assumption: the slip that a sum was brought forward from is in the pile"
)


def _values(table: dict[TotalSlip, Rate]) -> dict[TotalSlip, float]:
    return {kind: rate.value for kind, rate in table.items()}


def _line_values(table: dict[LineSlip, Rate]) -> dict[LineSlip, float]:
    return {kind: rate.value for kind, rate in table.items()}


@dataclass(frozen=True, slots=True)
class Priors:
    """The table above as plain numbers, replaceable as a whole.

    Attributes
    ----------
    addition_wrong, total_copied_wrong
        A total of n terms is wrong with ``1 - (1 - addition_wrong)**(n - 1) * (1 - total_copied_wrong)``.
    product_wrong, line_copied_wrong
        A line total is wrong with the first, or with the second where the quantity is one.
    total_slips, line_slips
        Shares of the kinds, given that there is a slip. They need not sum to one; they are scaled.
    total_in_spite, partial, price_followed, pile_followed, offer_overlooked, charge_omitted, charge_wrong,
    brought_from_pile
        How often each is so; the table says what.
    """

    addition_wrong: float = ADDITION_WRONG.value
    total_copied_wrong: float = TOTAL_COPIED_WRONG.value
    product_wrong: float = PRODUCT_WRONG.value
    line_copied_wrong: float = LINE_COPIED_WRONG.value
    total_slips: dict[TotalSlip, float] = field(default_factory=lambda: _values(TOTAL_SLIPS))
    line_slips: dict[LineSlip, float] = field(default_factory=lambda: _line_values(LINE_SLIPS))
    total_in_spite: float = TOTAL_IN_SPITE.value
    partial: float = PARTIAL.value
    price_followed: float = PRICE_FOLLOWED.value
    pile_followed: float = PILE_FOLLOWED.value
    offer_overlooked: float = OFFER_OVERLOOKED.value
    charge_omitted: float = CHARGE_OMITTED.value
    charge_wrong: float = CHARGE_WRONG.value
    brought_from_pile: float = BROUGHT_FROM_PILE.value

    def sum_wrong(self, terms: float) -> float:
        """How often a total of `terms` terms is wrong by itself, its lines being what they are."""
        return 1.0 - float((1 - self.addition_wrong) ** max(terms - 1, 0.0)) * (1 - self.total_copied_wrong)


STANDARD: Final = Priors()
"""The table as it stands."""
