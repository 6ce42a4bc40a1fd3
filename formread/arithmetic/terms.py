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


_USUAL: Final = frozenset({250, 500, 750, 1000, 1250, 1500, 2000, 2500})
"""Discounts that are printed, in hundredths of one per cent (common practice, no source)."""
_UNUSUAL: Final = 0.03
"""How often another one is printed, for one of those. Assumption."""
_HALF_LOST: Final = 0.2
"""How often the ½ of "2½ %" is passed over where print is read. Assumption, after one pad of which it always was."""
_DIGIT_LOST: Final = 0.003
"""How often one digit is. Assumption."""


def percents_printed(read: int) -> tuple[tuple[int, float], ...]:
    """What percentage may be printed where one was read, with probabilities, the likeliest first.

    Print is read sign by sign, and a small one is passed over: who takes 2½ % off where "2 %" was read has made no
    mistake.

    Parameters
    ----------
    read
        Hundredths of one per cent; so are those returned.
    """
    whole, part = divmod(read, 100)
    shares = {read: 1.0}
    if not part:
        shares[read + 50] = _HALF_LOST
    for percent in sorted(_USUAL):
        digits = str(percent // 100)
        shorter = {digits[:place] + digits[place + 1 :] for place in range(len(digits))}
        if percent % 100 == part and str(whole) in shorter:
            shares[percent] = _DIGIT_LOST
    shares = {percent: share * (1.0 if percent in _USUAL else _UNUSUAL) for percent, share in shares.items()}
    every = sum(shares.values())
    return tuple(
        (percent, share / every)
        for percent, share in sorted(shares.items(), key=lambda one: (-one[1], one[0]))
    )
