"""What a charge should be: the seller's terms of delivery, and discounts in percent."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from formread.arithmetic.record import TotalKind

Ints = NDArray[np.int64]
Due = Callable[[Ints], Ints]
"""What a charge should be, in minor units and without its sign, for what the slip comes to before it; (N,)."""


@dataclass(frozen=True, slots=True)
class SumMeant:
    """Which sum a charge goes by, where other charges stand between it and the goods.

    Attributes
    ----------
    share
        How often this one is meant.
    counts
        What of those other charges is in it; the goods always are.
    """

    share: float
    counts: frozenset[TotalKind]


_CHARGED: Final[frozenset[TotalKind]] = frozenset({"brought", "delivery", "other", "discount"})

PERCENT_OF: Final = (
    SumMeant(0.5, frozenset({"brought"})),
    SumMeant(0.1, frozenset()),
    SumMeant(0.3, _CHARGED),
    SumMeant(0.1, _CHARGED | {"deposit"}),
)
"""What a percentage is of. Usually of the goods, a sum brought forward standing for lines on another slip: nobody means to
give a tenth of the postage away. Or the slip before had its own discount, and it is of this slip's goods; or of all
that is charged above it, as the boxes stand; or even of what is left once a deposit is taken off. All of it common
practice, no source; the shares are assumptions. Whoever goes by any of them is right, and the first is what is named
to others."""

FREE_FROM: Final = (
    SumMeant(0.6, frozenset({"brought", "discount"})),
    SumMeant(0.3, _CHARGED),
    SumMeant(0.1, _CHARGED | {"deposit"}),
)
"""What must come to the sum from which delivery is free: the goods less their discount; with other charges that stand
above; or with a deposit taken off, though nobody should lose free delivery for having paid ahead. As above."""


@dataclass(frozen=True, slots=True)
class Terms:
    """The seller's terms of delivery. They bind slips that have a box for it; others leave it to the doorstep.

    Attributes
    ----------
    delivery
        Minor units that delivery costs; None where the seller has not said.
    free_from
        Minor units from which on delivery is free: what the goods come to, a discount that stands above the
        delivery charge taken off (common practice, no source). Where what else stands there would decide it, either
        is right (:data:`FREE_FROM`).
    """

    delivery: int | None = None
    free_from: int | None = None

    def due(self) -> Due | None:
        """What delivery should be; None where nothing is known."""
        if self.delivery is None:
            return None
        charge, free_from = self.delivery, self.free_from

        def delivery(so_far: Ints) -> Ints:
            if free_from is None:
                return np.full_like(so_far, charge)
            return np.where(so_far >= free_from, 0, charge).astype(np.int64)

        return delivery


NO_TERMS: Final = Terms()


def percent_of(hundredths: int) -> Due:
    """What so many hundredths of one per cent come to, rounded to whole minor units, a half upwards.

    Rounding to the nearest unit with an exact half rounded up is the rule for sums of money in Council
    Regulation (EC) No 1103/97, article 5 (from memory).
    """

    def share(so_far: Ints) -> Ints:
        return (np.maximum(so_far, 0) * hundredths + 5_000) // 10_000

    return share


FRACTION_LOST: Final[dict[int, int]] = {100: 125, 200: 250, 300: 375, 700: 750, 1200: 1250, 1700: 1750}
"""Usual percentages, in hundredths of one, whose fraction is printed so small that what is left of it reads as a whole
number: "2½ %" as "2 %" (common practice, no source)."""
FRACTION_LOST_SHARE: Final = 0.2
"""How often such a whole number has lost its fraction. Of three slips whose pad prints "2½ %" two were read as "2 %"; how
often a plain 2 % is printed is an assumption."""


def percents_of(hundredths: int) -> list[tuple[float, Due]]:
    """What a percentage that reads as `hundredths` of one may come to, by how often it is what is printed."""
    whole = FRACTION_LOST.get(hundredths)
    if whole is None:
        return [(1.0, percent_of(hundredths))]
    return [(1 - FRACTION_LOST_SHARE, percent_of(hundredths)), (FRACTION_LOST_SHARE, percent_of(whole))]
