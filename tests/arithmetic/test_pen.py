"""Slips of the pen leave the marks that bookkeepers look for, and their probabilities are distributions.

R. B. Kester, "Accounting Theory and Practice", volume 1, on locating errors in the trial balance: a
difference divisible by 9 points to a transposition or a slide. (From memory; the rules themselves are
arithmetic and are checked as such.)
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.arithmetic.pen import PEN_SLIPS, PenSlip, chance, chances, unknown, unknowns
from formread.arithmetic.priors import (
    ADDITION_WRONG,
    HAND_SUMMED_FORMS_WRONG,
    LINE_SLIPS,
    STANDARD,
    TOTAL_SLIPS,
)
from tests.arithmetic.enumeration import breadth, pen
from tests.arithmetic.enumeration import unknown as plainly_unknown

numbers = st.integers(1, 999_999)


@given(right=numbers)
def test_a_transposition_differs_by_a_multiple_of_9_and_over_a_digit_by_99(right: int) -> None:
    for written in pen("swap", right):
        assert chance("swap", written, right) > 0
        assert (written - right) % 9 == 0
        one, two = str(written), str(right)
        places = [i for i in range(len(one)) if one[i] != two[i]]
        if places[1] - places[0] == 2:
            assert (written - right) % 99 == 0


@given(right=numbers)
def test_a_slide_differs_by_nine_times_the_smaller_number_or_by_99_times(right: int) -> None:
    for written in pen("slide", right):
        smaller = min(written, right)
        assert abs(written - right) in (9 * smaller, 99 * smaller)
        assert chance("slide", written, right) > 0


@pytest.mark.parametrize(
    ("kind", "written", "right"),
    [
        ("swap", 450, 540),
        ("swap", 14_97, 14_79),
        ("slide", 12_00, 120_00),
        ("carry", 23_45, 22_45),
        ("digit", 498, 493),
    ],
)
def test_known_examples_are_known(kind: PenSlip, written: int, right: int) -> None:
    assert chance(kind, written, right) > 0


@pytest.mark.parametrize("kind", PEN_SLIPS)
@given(right=numbers)
def test_a_slip_leads_where_it_leads_when_made_forwards(kind: PenSlip, right: int) -> None:
    """`chance` looks back from what is written; here every slip is made, and nothing else may have a chance."""
    made = pen(kind, right)
    assert sum(made.values()) <= 1 + 1e-12
    for written, p in made.items():
        assert chance(kind, written, right) == pytest.approx(p, rel=1e-12)
    for other in (right + 1, right + 11, right * 2, max(right - 10, 1), right // 10 or 1):
        assert chance(kind, other, right) == pytest.approx(made.get(other, 0.0), rel=1e-12)


@given(pairs=st.lists(st.tuples(numbers, numbers), min_size=1, max_size=30), right=numbers)
def test_many_at_once_are_the_same_as_one_by_one(pairs: list[tuple[int, int]], right: int) -> None:
    pairs += [(written, right) for kind in PEN_SLIPS for written in pen(kind, right) if written < 10**7]
    written, rights = np.array(pairs).T
    for kind, (at, p) in chances(written, rights).items():
        found = np.zeros(len(pairs))
        found[at] = p
        assert found.tolist() == pytest.approx([chance(kind, w, r) for w, r in pairs])
    assert unknowns(written, rights).tolist() == pytest.approx([plainly_unknown(w, r) for w, r in pairs])
    assert unknown(*pairs[0]) == pytest.approx(plainly_unknown(*pairs[0]))


def test_an_amount_before_anything_is_known_is_a_distribution() -> None:
    every = sum(breadth(10 ** (n - 1)) * 9 * 10 ** (n - 1) for n in range(2, 8)) + 10 * breadth(0)
    assert every == pytest.approx(1.0)


def test_the_believed_rates_stay_inside_the_published_ones() -> None:
    """Trumbull 1952 (in Panko's review): adding two five-digit numbers goes wrong 0.7 % of the time. Goddard et
    al. 2004 and Allard et al. 1995 (from memory): 5 to 16 % of forms summed by hand are wrong."""
    assert STANDARD.addition_wrong == ADDITION_WRONG.value == 0.007
    low, high, _ = HAND_SUMMED_FORMS_WRONG
    lines_right = (1 - STANDARD.product_wrong) ** 4 * (1 - STANDARD.line_copied_wrong) ** 4
    assert low <= 1 - (1 - STANDARD.sum_wrong(8)) * lines_right <= high
    for table in (TOTAL_SLIPS, LINE_SLIPS):
        assert sum(rate.value for rate in table.values()) == pytest.approx(1.0)
        assert all(rate.source for rate in table.values())
