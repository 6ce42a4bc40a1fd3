"""What a charge should be: the seller's terms of delivery, and discounts in percent."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Due = Callable[[Ints], Ints]
"""What a charge should be, in minor units and without its sign, for what the slip comes to before it; (N,)."""


@dataclass(frozen=True, slots=True)
class Terms:
    """The seller's terms of delivery. They bind slips that have a box for it; others leave it to the doorstep.

    Attributes
    ----------
    delivery
        Minor units that delivery costs; None where the seller has not said.
    free_from
        Minor units from which on delivery is free: what the slip comes to in the boxes above the delivery
        charge, a discount that stands there taken off (common practice, no source).
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
