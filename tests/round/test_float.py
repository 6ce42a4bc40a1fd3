"""The float against brute force on small rounds, and its promises on larger ones."""

from fractions import Fraction
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formread.errors import ListError
from formread.round.coins import Cash, cash_of, worth
from formread.round.float import float_for_twenties, smallest_float, wilson_low
from formread.round.payments import (
    Behaviour,
    from_full_purse,
    outcomes,
    read_behaviours,
    usual_behaviours,
)

GBP = cash_of("GBP")
SMALL = Cash("GBP", (50, 100, 200), (500,), (100, 200, 500, 500), 500)
"""A few coins of the real system, so that brute force can try every float."""


def give(purse: tuple[int, ...], amount: int, values: tuple[int, ...]) -> tuple[int, ...] | None:
    """Take the lexicographically largest handful that makes the amount, by trying all of them."""
    handfuls = product(*(range(number, -1, -1) for number in purse))
    return next((h for h in handfuls if sum(n * v for n, v in zip(h, values, strict=True)) == amount), None)


def chance(
    start: tuple[int, ...], doors: list[list[tuple[dict[int, int], int, Fraction]]], values: tuple[int, ...]
) -> Fraction:
    """Probability that change can be given at every door: recursion over every way, in exact fractions."""
    if not doors:
        return Fraction(1)
    total = Fraction(0)
    for paid, change, share in doors[0]:
        purse = tuple(n + paid.get(v, 0) for n, v in zip(start, values, strict=True))
        given = give(purse, change, values)
        if given is not None:
            left = tuple(n - g for n, g in zip(purse, given, strict=True))
            total += share * chance(left, doors[1:], values)
    return total


def brute_force(dues: list[int], shares: list[Fraction], target: Fraction) -> int:
    """Least value of a float that does it: every handful in order of value."""
    values = SMALL.values
    doors = []
    for due in dues:
        door = []
        for up_to, share in zip((0, 100, 500), shares, strict=True):
            handed = due if up_to == 0 else -(-due // up_to) * up_to
            paid, rest = {}, handed
            for value in values:
                paid[value], rest = divmod(rest, value)
            door.append((paid, handed - due, share))
        doors.append(door)
    for amount in range(0, 5000, 50):
        for handful in product(*(range(amount // value + 1) for value in values)):
            if sum(n * v for n, v in zip(handful, values, strict=True)) == amount and (
                chance(handful, doors, values) >= target
            ):
                return amount
    raise AssertionError("no float found")


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(1, 24).map(lambda n: 50 * n), min_size=1, max_size=3),
    st.sampled_from([(1, 1, 2), (8, 1, 1), (0, 0, 1), (30, 1, 1)]),
    st.sampled_from([Fraction(99, 100), Fraction(9, 10), Fraction(1, 2)]),
)
def test_the_smallest_float_of_a_small_round_is_that_of_brute_force(
    dues: list[int], parts: tuple[int, int, int], target: Fraction
) -> None:
    shares = [Fraction(part, sum(parts)) for part in parts]
    behaviours = [
        Behaviour(up_to, float(share)) for up_to, share in zip((0, 100, 500), shares, strict=True) if share
    ]
    found = smallest_float(dues, behaviours, SMALL, target=float(target))
    assert found.counted_out
    assert found.smallest
    assert found.value == found.least_possible == brute_force(dues, shares, target)
    assert found.success >= float(target) - 1e-9


def test_one_door_that_takes_a_twenty_needs_exactly_its_change() -> None:
    found = smallest_float([1260], [Behaviour(2000, 1.0)], GBP)
    assert found.value == 740
    assert found.smallest
    assert dict(found.pieces) == {500: 1, 200: 1, 20: 2}


def test_money_taken_at_one_door_is_change_at_the_next() -> None:
    """By hand: the first pays 5.00 with a note, the second hands over 20.00 for 15.00 and gets it back."""
    found = smallest_float([500, 1500], [Behaviour(500, 0.0), Behaviour(2000, 1.0)], GBP)
    assert found.value == 1500 + 500
    found = smallest_float([500, 1500], [Behaviour(0, 1.0)], GBP)
    assert found.value == 0
    first_exact = smallest_float([1000, 1000], [Behaviour(0, 0.5), Behaviour(2000, 0.5)], GBP, target=0.75)
    # Exact then 20: the 10 taken is the change. 20 then exact, exact twice: one 10 is enough, none is not.
    assert first_exact.value == 1000
    assert first_exact.success == pytest.approx(0.75)


def test_change_that_is_owed_without_a_payment_is_in_the_float() -> None:
    found = smallest_float([-250], usual_behaviours(GBP), GBP)
    assert (found.value, found.success) == (250, 1.0)


def test_a_round_without_doors_needs_no_float() -> None:
    assert smallest_float([], usual_behaviours(GBP), GBP).value == 0
    assert float_for_twenties([], GBP).value == 0


@given(st.lists(st.integers(0, 9_999), max_size=12))
def test_the_float_for_twenties_pays_every_door_to_the_penny_and_not_a_penny_more(dues: list[int]) -> None:
    """Played at the doors: what is left at the end is nothing but twenties."""
    found = float_for_twenties(dues, GBP)
    purse = {value: found.pieces.get(value, 0) for value in GBP.values}
    for due in dues:
        notes = -(-due // 2000)
        change = notes * 2000 - due
        for value in GBP.values:  # largest first is enough here: the coins were put together that way
            number = min(purse[value], change // value)
            purse[value] -= number
            change -= number * value
        assert change == 0
    assert worth(purse) == 0
    assert found.value == sum(-due % 2000 for due in dues)


def test_the_same_round_gets_the_same_float_and_its_promise_holds_on_fresh_rounds() -> None:
    dues = [199 + 137 * (door * door % 23) for door in range(24)]
    found = smallest_float(dues, usual_behaviours(GBP), GBP)
    assert found == smallest_float(dues, usual_behaviours(GBP), GBP)
    assert not found.counted_out
    assert found.success_low >= 0.99
    assert found.least_possible <= found.value <= float_for_twenties(dues, GBP).value


def test_the_wilson_bound_is_that_of_the_published_formula() -> None:
    """Newcombe, Statistics in Medicine 17 (1998), table I, method 3: 81 of 263 gives 0.2553 to 0.3662.

    That interval is two-sided at 95 %; ours is one-sided, so we compare through scipy's own computation.
    """
    from scipy.stats import binomtest

    for good, rounds in ((81, 263), (990, 1000), (19_850, 20_000), (20_000, 20_000)):
        interval = binomtest(good, rounds).proportion_ci(confidence_level=0.90, method="wilson")
        assert wilson_low(good / rounds, rounds) == pytest.approx(interval.low, abs=1e-4)


@given(st.integers(-3000, 20_000))
def test_whatever_is_handed_over_less_the_change_is_what_is_due(due: int) -> None:
    found = outcomes(due, usual_behaviours(GBP), GBP)
    assert sum(one.probability for one in found) == pytest.approx(1.0)
    for one in found:
        handed = worth(dict(one.paid))
        assert handed - one.change == due or (handed == one.change == 0)
        assert all(value <= GBP.big_note for value, _ in one.paid)


@given(st.integers(0, 100_000))
def test_a_full_purse_pays_any_amount(amount: int) -> None:
    assert worth(from_full_purse(amount, GBP)) == amount


def test_a_seller_can_change_how_customers_pay(tmp_path: Path) -> None:
    path = tmp_path / "ways.csv"
    path.write_text("Customer pays,Share\nexactly,40%\nnext 5.00,25\n20,30\nnot cash,5\n")
    assert read_behaviours(path, GBP) == (
        Behaviour(0, 0.4),
        Behaviour(500, 0.25),
        Behaviour(2000, 0.3),
        Behaviour(None, 0.05),
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("pays,share\nexactly,60\n5,30\n", "add up to 90"),
        ("pays,share\nsometimes,100\n", r"row 2: 'sometimes'"),
        ("pays,share\nexactly,much\n", r"row 2: .*much"),
        ("pays,share\nexactly,-100\n", "row 2: the share -100"),
    ],
)
def test_a_table_of_payments_that_makes_no_sense_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "ways.csv"
    path.write_text(text)
    with pytest.raises(ListError, match=words):
        read_behaviours(path, GBP)
