"""Every way that rows may have been written, weighed: many rows at once, as arrays."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from formread.arithmetic.evidence import LARGEST_AMOUNT, breadths
from formread.arithmetic.pen import chances, unknowns
from formread.arithmetic.priors import Priors

MOST_WAYS: Final = 400
"""Ways of reading one row that are weighed, the most probable ones; only an unreadable row has more."""

LEAST_WAY: Final = 1e-9
"""Ways of reading a row that could at best have this share of it are passed over."""

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
BLANK: Final = -1
"""An empty box, among whole numbers; no amount and no quantity is negative."""


@dataclass(frozen=True, slots=True, eq=False)
class Ways:
    """Every way that a row may have been written, ditto marks resolved: arrays of shape (N,).

    Attributes
    ----------
    quantity, unit_price, line_total
        What is written; :data:`BLANK` for an empty box.
    right
        What the row comes to.
    summed
        What a customer who trusts the row takes into the sum.
    weight
        How probable the way is, up to one factor for the row.
    coherent
        How many times more probable the row's numbers are as quantity, price and line total than as any numbers.
    """

    quantity: Ints
    unit_price: Ints
    line_total: Ints
    right: Ints
    summed: Ints
    weight: Floats
    coherent: float = 1.0

    @property
    def empty(self) -> NDArray[np.bool_]:
        """Where nothing that counts is written."""
        found: NDArray[np.bool_] = (self.quantity < 0) & (self.unit_price < 0) & (self.line_total < 0)
        return found

    @property
    def product_wrong(self) -> NDArray[np.bool_]:
        """Where a line total is written and is not what the row comes to."""
        found: NDArray[np.bool_] = (self.line_total >= 0) & (self.line_total != self.right)
        return found


def no_way() -> Ways:
    """The one way of a row of which nothing that was read fits: it says nothing."""
    blank, nothing = np.array([BLANK]), np.array([0])
    return Ways(blank, blank, blank, nothing, nothing, np.ones(1))


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """One row's combinations of readings, before its three numbers are held against each other; shape (N,).

    Attributes
    ----------
    quantity, unit_price, line_total
        As in :class:`Ways`.
    product
        What quantity and price come to, offers reckoned in; :data:`BLANK` where the row does not say.
    weight
        What the readings, and the price list, say of the combination.
    counted
        Whether the design has a quantity column; without one the line total alone says how many.
    """

    quantity: Ints
    unit_price: Ints
    line_total: Ints
    product: Ints
    weight: Floats
    counted: bool


def line_probability(written: Ints, quantity: Ints, price: Ints, product: Ints, priors: Priors) -> Floats:
    """Probability that a customer writes `written` for `quantity` (blank is one) at `price`; all (N,).

    `product` is what that comes to. Where an offer makes it less than quantity times price, the customer may
    have overlooked the offer.
    """
    count = np.where(quantity < 0, 1, quantity)
    plain = count * price
    right = product
    wrong = np.where(count == 1, priors.line_copied_wrong, priors.product_wrong)
    shares = priors.line_slips
    several = count > 1
    whole = sum(shares.values())
    scale = wrong / np.where(several, whole, whole - shares["times"] - shares["unmultiplied"])
    slips = shares["unknown"] * unknowns(written, right)
    for kind, (at, p) in chances(written, right).items():
        slips[at] += shares[kind] * p
    off_by_one = (written == plain - price) | (written == plain + price)
    slips += np.where(several & off_by_one, shares["times"] / 2, 0.0)
    slips += np.where(several & (written == price), shares["unmultiplied"], 0.0)
    found: Floats = np.where(written == right, 1 - wrong, scale * slips)
    bargain = right < plain
    if bargain.any():
        overlooked = np.where(bargain, priors.offer_overlooked, 0.0)
        found = (1 - overlooked) * found + overlooked * (written == plain)
    return found


def weigh(rows: Sequence[Read], priors: Priors) -> list[Ways]:
    """What each combination comes to, and what its three numbers say of each other, for many rows at once."""
    if not rows:
        return []
    q, p, t, product, weight = (
        np.concatenate([getattr(row, name) for row in rows])
        for name in ("quantity", "unit_price", "line_total", "product", "weight")
    )
    sizes = np.array([row.weight.size for row in rows])
    read = [float(row.weight.sum()) for row in rows]
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    right = np.where(product >= 0, product, np.maximum(t, 0))
    checked = (p >= 0) & (t >= 0)
    if not all(row.counted for row in rows):
        # No quantity column: the line total alone says how many, so it cannot be wrong.
        alone = ~np.repeat([row.counted for row in rows], sizes)
        right = np.where(checked & alone, t, right)
        checked &= ~alone
    holds = checked & (t == right)
    weight = np.where(checked, weight / breadths(t), weight)
    # A product that does not come out costs at least what the customer's slip costs, of whichever kind.
    slipped = max(priors.product_wrong, priors.line_copied_wrong, priors.offer_overlooked)
    least = np.where(holds, (1 - slipped) * weight, np.where(checked, 0.0, weight))
    most = np.where(checked & ~holds, slipped * weight, weight)
    worth = most >= LEAST_WAY * np.repeat(np.maximum.reduceat(least, starts), sizes)
    worth &= right <= LARGEST_AMOUNT
    at = np.nonzero(checked & worth)[0]
    weight[at] *= line_probability(t[at], q[at], p[at], right[at], priors)
    summed = np.where(t >= 0, t, right)
    weight[~worth] = 0.0
    made = []
    for start, end, whole in zip(starts.tolist(), np.cumsum(sizes).tolist(), read, strict=True):
        kept = start + np.nonzero(weight[start:end])[0]
        if kept.size > MOST_WAYS:
            kept = np.sort(kept[np.argsort(-weight[kept], kind="stable")[:MOST_WAYS]])
        made.append(
            Ways(
                *(q[kept], p[kept], t[kept], right[kept], summed[kept], weight[kept]),
                float(weight[kept].sum()) / max(whole, 1e-300),
            )
            if kept.size
            else no_way()
        )
    return made
