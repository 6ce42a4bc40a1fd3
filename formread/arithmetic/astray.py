"""When the boxes themselves were found wrongly: what a slip then reads like, and how far a pile's slips are trusted.

A total that is not what the lines come to need not be a customer's slip, nor a misread digit. The total's box may be
cut out wrongly, another box may be taken for it, a charge or a row may not have been found. Such a slip is *astray*:
its numbers are not those that the customer summed, and no difference between them accuses anybody. Nothing on the
slip alone shows it but the difference itself, so it stands beside the customer's slips of the pen as one more
explanation, with its own rate and its own, broad, distribution of what is then in the total.

How often a layout goes astray is a matter of the pad: most pads are found right on every slip, some on hardly any.
So the slips of a pad testify for one another (:func:`doubts`): where their sums hold, the boxes are where they belong.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import log
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from formread.arithmetic.evidence import lengths
from formread.arithmetic.pen import unknowns
from formread.arithmetic.priors import Rate
from formread.arithmetic.record import Judgement

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

Failure = Literal["row", "excess", "charge", "deduction", "role", "cut", "columns", "any"]

FAILURES: Final[dict[Failure, Rate]] = {
    "row": Rate(0.06, "assumption: order rows were not found, or a column of theirs was not"),
    "excess": Rate(0.03, "assumption: rows of another slip, or of the totals, are taken for order rows"),
    "charge": Rate(0.05, "assumption: a charge's box was not found"),
    "deduction": Rate(0.03, "assumption: a discount's or a deposit's box was not found"),
    "role": Rate(
        0.55, "15 of 18 such slips, of three pads: a box of the totals is taken for another of them"
    ),
    "cut": Rate(0.06, "1 of 18 such slips: the total's box is cut out too small or too large"),
    "columns": Rate(
        0.17, "2 of 18 such slips: what stands in the columns is not what it is taken for, from some row on"
    ),
    "any": Rate(0.05, "assumption: another box is taken for the total, or something written over it"),
}
"""How slips go astray, given that they do; the shares sum to one. Of 295 slips of 36 pads that no weights had seen six had no
total found, which accuses nobody, and 18 others were astray (``tests/measure/astray.py``)."""

STRUCK_UNSEEN: Final = Rate(
    1e-4,
    "all of 164 crossed-out rows on photos of slips for development were seen (rule of succession: 1 in 166 is not); "
    "one row in a hundred is one: assumption",
)
"""How probably a row that is written in is crossed out and does not look so."""
ANY_NEAR: Final = 0.5
"""Of the numbers that are taken for the total and have nothing to do with it, those of about its size. Assumption."""

LEAST_ROW: Final = 50
MOST_ROW: Final = 50_000
"""Minor units of the rows that were not found, or are too many, spread evenly on a scale of magnitudes. Assumption."""
MOST_CHARGE: Final = 1_000
"""Minor units of the largest charge that is usual. Assumption."""
CHARGE_STEPS: Final = ((50, 0.6), (5, 0.3), (1, 0.1))
"""Charges are round: shares of those that are whole multiples of so many minor units. Assumption."""
USUAL_CHARGE: Final = 100
SMALL_CHARGE: Final = 0.2
"""How much rarer charges of less than so many minor units are than others. Assumption."""
FIRST_DIGIT_CUT: Final = 0.5
"""Of the totals cut out wrongly, those that lost their first digit; the others lost pence, or the point. Assumption."""
PERCENTS: Final = (5, 10, 15, 20, 25)
PERCENT_TAKEN: Final = 0.3
"""Of the deductions that were not found, those of a usual percentage. Assumption."""

GOODS_MISSED: Final = 0.05
"""How much rarer rows are missed, or too many, where the goods' own box confirms what they come to. Assumption."""
SECOND_MISSED: Final = 0.3
"""How much rarer a charge's box is missed where one of its kind was found: few pads have two. Assumption."""
_TOLD_BY_GOODS: Final[tuple[Failure, ...]] = ("row", "excess")

SPREAD: Final[tuple[tuple[float, float], ...]] = (
    (0.001, 0.50), (0.005, 0.20), (0.02, 0.12), (0.1, 0.07), (0.4, 0.05), (0.9, 0.06),
)  # fmt: skip
"""How often slips of one pad go astray: (rate, share of the pads). Of 36 pads that no weights had seen (295 slips) the
boxes of 29 were found rightly on every slip, those of four on all but one, those of three on hardly any; the rest is
assumption."""
HELD: Final = 0.1
"""A slip with less misfit adds up."""
LOOKS_ALIKE: Final = 0.8
"""A lean of at least this share of another speaks of the same oddness."""
PADS_KNOWN: Final = 4.0
"""What is known of all pads weighs as much as so many pads of one pile. Assumption."""
DOUBT: Final = sum(rate * share for rate, share in SPREAD)
"""How probably a slip of which nothing else is known is astray."""
LEAST_DOUBT: Final = 1e-4
"""Slips that are astray with less probability are settled by what else is known of them."""
WRONG_TOO: Final = 0.08
"""How often the total of a slip that is astray is wrong all the same: as of any other, near enough."""


Leans = Mapping[Failure, float]
"""By failure: how many times more probable it is that the layout looks as it does if it went astray in that way than if
it did not (:mod:`formread.pile.leaning`). One, which says nothing, for those that are not named."""
EVEN: Final[Leans] = MappingProxyType({})


def lean(leans: Leans) -> float:
    """How many times more probable a layout's looks are if it went astray, in whatever way, than if it did not."""
    return sum(rate.value * leans.get(kind, 1.0) for kind, rate in FAILURES.items())


@dataclass(frozen=True, slots=True)
class Block:
    """What was found in the totals block, and how the layout as a whole looks.

    Attributes
    ----------
    charges
        What each charge that is written adds, minor units with their sign.
    goods
        Whether the sum of the rows is written in a box of its own, and is what the rows come to.
    added, taken
        Whether there is a box for a charge, and one for a discount or a deposit, written in or not.
    leans
        What the layout's looks say of each failure.
    """

    charges: tuple[int, ...] = ()
    goods: bool = False
    added: bool = False
    taken: bool = False
    leans: Leans = field(default_factory=lambda: EVEN)

    def shares(self) -> dict[Failure, float]:
        """How slips with such a block go astray."""
        whole = lean(self.leans)
        share = {kind: rate.value * self.leans.get(kind, 1.0) / whole for kind, rate in FAILURES.items()}
        for kind in _TOLD_BY_GOODS if self.goods else ():
            share[kind] *= GOODS_MISSED
        share["charge"] *= SECOND_MISSED if self.added else 1.0
        share["deduction"] *= SECOND_MISSED if self.taken else 1.0
        return share


def written_given_astray(written: Ints, sums: Ints, block: Block) -> Floats:
    """Probability of reading each of `written` (K,) in the total where the boxes that were found come to `sums` (N,).

    Returns
    -------
    (N, K) array
        For each sum at most one over all that may be read. Columns are weighed by how their rows multiply: they are
        not in it.
    """
    share = block.shares()
    column, made = written[None, :], sums[:, None]
    apart = column - made
    up, down = np.maximum(apart, 0), np.maximum(-apart, 0)
    found = share["row"] * _spread(up, LEAST_ROW, MOST_ROW)
    found += share["excess"] * _spread(down, LEAST_ROW, MOST_ROW)
    found += share["charge"] * _round(up)
    found += share["deduction"] * (1 - PERCENT_TAKEN) * _round(down)
    for percent in PERCENTS:
        found += share["deduction"] * PERCENT_TAKEN / len(PERCENTS) * _is(down, (made * percent + 50) // 100)
    taken = [amount for amount in block.charges if amount]
    for amount in taken:
        for times in (1, 2):
            found += share["role"] / (2 * len(taken)) * _is(column, made - times * amount)
    power = 10 ** (lengths(np.maximum(sums, 1))[:, None] - 1)
    cuts = (
        (made % power, FIRST_DIGIT_CUT),
        *(
            (cut, (1 - FIRST_DIGIT_CUT) / 5)
            for cut in (made // 100 * 100, made * 100, made // 10, made // 100, made * 10)
        ),
    )
    for cut, often in cuts:
        found += share["cut"] * often * _is(column, np.where(cut == made, 0, cut))
    # Nought is no sum of anything.
    found[:, written <= 0] = 0.0
    every, each = np.tile(written, sums.size), np.repeat(sums, written.size)
    found += share["any"] * unknowns(every, each, ANY_NEAR).reshape(found.shape)
    return found


def columns_astray(fits: Sequence[float]) -> float:
    """How many times more probable the rows are if their columns are astray from some row on, than if they are not.

    Parameters
    ----------
    fits
        For every row, from the top: how many times more probable its three numbers are as quantity, price and line
        total than as numbers that have nothing to do with each other.
    """
    if not fits:
        return 0.0
    onward = np.cumsum(-np.log(np.maximum(fits, 1e-300))[::-1])
    return float(np.exp(np.minimum(onward, 300.0)).mean())


def _is(numbers: Ints, asked: Ints) -> Floats:
    found: Floats = ((numbers == asked) & (asked > 0)).astype(np.float64)
    return found


def _spread(amounts: Ints, least: int, most: int) -> Floats:
    """Evenly on a scale of magnitudes between two bounds."""
    inside = (amounts >= least) & (amounts <= most)
    magnitudes = log((most + 0.5) / (least - 0.5))
    found: Floats = np.where(inside, 1 / (np.maximum(amounts, 1) * magnitudes), 0.0)
    return found


def _round(amounts: Ints) -> Floats:
    """Probability of each amount as a charge."""
    found = np.zeros(amounts.shape)
    for step, share in CHARGE_STEPS:
        fits = (amounts > 0) & (amounts <= MOST_CHARGE) & (amounts % step == 0)
        found += np.where(fits, share * step / MOST_CHARGE, 0.0)
    found[amounts < USUAL_CHARGE] *= SMALL_CHARGE
    return found


def touched(judged: Judgement, doubt: float) -> bool:
    """Say whether another `doubt` may change an answer: one that agrees fits no failure, whatever its rate."""
    return judged.verdict != "agrees" or doubt * judged.misfit > LEAST_DOUBT


@dataclass(frozen=True, slots=True)
class Witness:
    """What one slip says of whether its boxes were found rightly.

    Attributes
    ----------
    misfit
        How many times more probable its readings are if it is astray than if it is not
        (:attr:`formread.arithmetic.record.Judgement.misfit`). One says nothing.
    lean
        How many times more probable it is that its layout looks as it does (:mod:`formread.pile.trust`) if it is
        astray than if it is not.
    """

    misfit: float
    lean: float = 1.0


def doubts(slips: Sequence[Witness], others: Sequence[Sequence[Witness]] = ()) -> list[float]:
    """How probably each slip of a pad is astray before its own sums are looked at, by what other slips' sums say.

    Parameters
    ----------
    slips
        Of every slip of the pad.
    others
        The same of the other pads of the pile. They tell what pads this pile has: :data:`SPREAD` weighs as much as
        :data:`PADS_KNOWN` of them.

    Returns
    -------
    list of float
        Posterior means of the rate, each slip's own misfit left out, and each slip's own lean weighed in.
    """
    shares = PADS_KNOWN * _SHARES
    for pad in others:
        shares = shares + _posterior(_SHARES, _said(pad).sum(axis=0))
    said = _said(slips)
    weights = _posterior(shares, said.sum(axis=0)[None, :] - said)
    rates = weights @ _RATES
    leans = np.array(_usual_here(slips))
    found: list[float] = (leans * rates / (leans * rates + 1 - rates)).tolist()
    return found


def _usual_here(slips: Sequence[Witness]) -> list[float]:
    """Every slip's lean, less so the more slips of the pad look as odd and add up: then it is how this pad looks."""
    held = [slip.lean for slip in slips if slip.misfit < HELD]
    found = []
    for slip in slips:
        alike = sum(other >= LOOKS_ALIKE * slip.lean for other in held) - (slip.misfit < HELD)
        found.append(1 + (slip.lean - 1) / (1 + alike) if slip.lean > 1 else slip.lean)
    return found


_RATES: Final = np.array([rate for rate, _ in SPREAD])
_SHARES: Final = np.array([share for _, share in SPREAD])


def _said(slips: Sequence[Witness]) -> Floats:
    """Logarithm of what every slip says of every rate of :data:`SPREAD`, shape (slips, rates)."""
    leans = _usual_here(slips)
    column = np.array([s.misfit * own for s, own in zip(slips, leans, strict=True)], dtype=np.float64)[
        :, None
    ]
    said: Floats = np.log(1 - _RATES[None, :] + _RATES[None, :] * column)
    return said


def _posterior(shares: Floats, said: Floats) -> Floats:
    logs = np.log(shares) + said
    weights: Floats = np.exp(logs - logs.max(axis=-1, keepdims=True))
    weights /= weights.sum(axis=-1, keepdims=True)
    return weights
