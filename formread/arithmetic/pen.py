"""Slips of the pen: from which right number each kind of slip leads to the number that is written.

The kinds leave marks that bookkeepers have used for a century to find them: a transposition of two
neighbouring digits differs by a multiple of 9, over one digit between them by a multiple of 99; a decimal
slide of one place by a multiple of 9, of two by 99 (R. B. Kester, "Accounting Theory and Practice", volume 1,
on locating errors in the trial balance).
"""

from collections.abc import Callable
from math import log
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from formread.arithmetic.evidence import LARGEST_AMOUNT, breadth, breadths, lengths, one_digit_apart

PenSlip = Literal["carry", "swap", "digit", "slide"]
PEN_SLIPS: Final[tuple[PenSlip, ...]] = ("carry", "swap", "digit", "slide")

CARRY_OF_ONE: Final = 0.85
"""Of the carries that go wrong, those by one; the rest are by two. Assumption."""
SWAP_OF_NEIGHBOURS: Final = 0.85
"""Of the swaps, those of two neighbouring digits; the rest have one digit between them. Assumption."""
SLIDE_OF_ONE: Final = 0.97
"""Of the decimal slides, those by one place; the rest are by two. Assumption."""
UNKNOWN_NEAR: Final = 0.95
"""Of the slips of no known kind, those whose size is spread evenly on a scale of magnitudes about the right
sum; the rest are any number at all. Assumption."""
MAGNITUDES: Final = log(LARGEST_AMOUNT) + 0.5772156649
"""The sum of 1/n over all differences, which makes the near slips a distribution."""


def unknown(written: int, right: int, near_share: float = UNKNOWN_NEAR) -> float:
    """Probability that a slip of no known kind turns `right` into `written`; `near_share` of such slips are near."""
    near = 0.5 / (abs(written - right) * MAGNITUDES) if written != right else 0.0
    return near_share * near + (1 - near_share) * breadth(written)


def unknowns(
    written: NDArray[np.int64], rights: NDArray[np.int64], near_share: float = UNKNOWN_NEAR
) -> NDArray[np.float64]:
    """:func:`unknown` for many pairs at once, both of shape (N,); `near_share` of them are near."""
    apart = np.abs(rights - written).astype(np.float64)
    near = np.where(apart > 0, 0.5 / (np.maximum(apart, 1.0) * MAGNITUDES), 0.0)
    return near_share * near + (1 - near_share) * breadths(written)


Places = tuple[NDArray[np.int64], NDArray[np.float64]]
_CARRIES: Final = np.array([units * 10**column for column in range(1, 9) for units in (1, 2)])
_PLACES: Final = 10 ** np.arange(8, dtype=np.int64)[:, None]


def _digits(numbers: NDArray[np.int64]) -> NDArray[np.int16]:
    """The digits of each number (N,), units first: shape (8, N)."""
    return (numbers // _PLACES % 10).astype(np.int16)


def chances(written: NDArray[np.int64], rights: NDArray[np.int64]) -> dict[PenSlip, Places]:
    """:func:`chance` for many pairs at once, both of shape (N,), by kind.

    Returns
    -------
    dict
        (places, probabilities), both (M,): only where a kind is possible at all, which is rare and quickly
        seen, is it worked out; everywhere else it is nought.
    """
    apart = np.abs(written - rights)
    alike = np.nonzero((lengths(written) == lengths(rights)) & (apart > 0))[0]
    count = (_digits(written[alike]) != _digits(rights[alike])).sum(axis=0)
    return _worked_out(written, rights, apart, alike[count == 1], alike[count == 2])


def all_chances(written: NDArray[np.int64], rights: NDArray[np.int64]) -> dict[PenSlip, Places]:
    """:func:`chances` of every one of `written` (K,) for every one of `rights` (N,), as pairs of shape (N * K,).

    The same, but that the digits are taken apart once for each number and not once for each pair.
    """
    every = np.tile(written, rights.size)
    each = np.repeat(rights, written.size)
    differ = np.zeros((rights.size, written.size), dtype=np.int8)
    for one, two in zip(_digits(rights), _digits(written), strict=True):
        differ += one[:, None] != two[None, :]
    count = differ.ravel()
    alike = np.nonzero(
        (lengths(rights)[:, None] == lengths(written)[None, :]).ravel() & (count > 0) & (count < 3)
    )[0]
    kinds = count[alike]
    return _worked_out(every, each, np.abs(every - each), alike[kinds == 1], alike[kinds == 2])


def _worked_out(
    written: NDArray[np.int64],
    rights: NDArray[np.int64],
    apart: NDArray[np.int64],
    one_digit: NDArray[np.int64],
    two_digits: NDArray[np.int64],
) -> dict[PenSlip, Places]:
    tens = np.nonzero((apart > 0) & (apart % 10 == 0))[0]
    which = np.searchsorted(_CARRIES, apart[tens]).clip(max=_CARRIES.size - 1)
    is_carry = _CARRIES[which] == apart[tens]
    # A slide makes one number ten or a hundred times the other: the difference is nine or ninety-nine times it.
    nines = np.nonzero((apart > 0) & (apart % 9 == 0))[0]
    smaller = np.minimum(written[nines], rights[nines])
    by_one, by_two = apart[nines] == 9 * smaller, apart[nines] == 99 * smaller
    swapped = two_digits[apart[two_digits] % 9 == 0]
    squares = [(_digits(numbers[swapped]) ** 2).sum(axis=0) for numbers in (written, rights)]
    swapped = swapped[squares[0] == squares[1]]
    pairs = zip(written[swapped].tolist(), rights[swapped].tolist(), strict=True)
    found: dict[PenSlip, Places] = {
        "carry": (tens[is_carry], _carries(which[is_carry], rights[tens[is_carry]])),
        "swap": (swapped, np.array([_swap(one, two) for one, two in pairs])),
        "digit": (one_digit, 1 / (9.0 * lengths(rights[one_digit]) - 1)),
        "slide": (
            nines[by_one | by_two],
            np.where(by_one, SLIDE_OF_ONE / 2, (1 - SLIDE_OF_ONE) / 2)[by_one | by_two],
        ),
    }
    return {
        kind: (at, np.where((written[at] > 0) & (rights[at] > 0), p, 0.0)) for kind, (at, p) in found.items()
    }


def _carries(which: NDArray[np.int64], rights: NDArray[np.int64]) -> NDArray[np.float64]:
    """Probability of each difference ``_CARRIES[which]`` in sums that come to `rights`; both (N,)."""
    columns = np.maximum(lengths(rights) - 1, 1)
    share = np.where(which % 2 == 0, CARRY_OF_ONE, 1 - CARRY_OF_ONE) / (2 * columns)
    return np.where(which // 2 < columns, share, 0.0)


def chance(kind: PenSlip, written: int, right: int) -> float:
    """Probability that a slip of this kind turns `right` into `written`; both above zero.

    Over all `written` the probabilities of a kind sum to one, or less where the slip is impossible (no two
    different digits to swap, no zero at the end to lose in a slide).
    """
    if written <= 0 or right <= 0 or written == right:
        return 0.0
    return _CHANCE[kind](written, right)


def _carry(written: int, right: int) -> float:
    columns = max(len(str(right)) - 1, 1)
    apart = abs(written - right)
    for column in range(1, columns + 1):
        if apart == 10**column:
            return CARRY_OF_ONE / (2 * columns)
        if apart == 2 * 10**column:
            return (1 - CARRY_OF_ONE) / (2 * columns)
    return 0.0


def _swap(written: int, right: int) -> float:
    one, two = str(written), str(right)
    if len(one) != len(two):
        return 0.0
    places = [i for i, (a, b) in enumerate(zip(one, two, strict=True)) if a != b]
    if len(places) != 2 or one[places[0]] != two[places[1]] or one[places[1]] != two[places[0]]:
        return 0.0
    reach = places[1] - places[0]
    if reach > 2:
        return 0.0
    pairs = sum(
        two[i] != two[i + reach] and not (i == 0 and two[i + reach] == "0") for i in range(len(two) - reach)
    )
    return (SWAP_OF_NEIGHBOURS if reach == 1 else 1 - SWAP_OF_NEIGHBOURS) / pairs


def _digit(written: int, right: int) -> float:
    return 1 / (9 * len(str(right)) - 1) if one_digit_apart(written, right) else 0.0


def _slide(written: int, right: int) -> float:
    for places, share in ((1, SLIDE_OF_ONE), (2, 1 - SLIDE_OF_ONE)):
        if written == right * 10**places or right == written * 10**places:
            return share / 2
    return 0.0


_CHANCE: Final[dict[PenSlip, Callable[[int, int], float]]] = {
    "carry": _carry,
    "swap": _swap,
    "digit": _digit,
    "slide": _slide,
}
