"""Change from a full purse and from a poor one, against counting every way."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.errors import UsageError
from formread.money import CURRENCIES
from formread.round.coins import CASH, cash_of, fewest_coins, largest_first, make_change, withdrawal, worth

PRE_DECIMAL = (1, 3, 6, 12, 24, 30)
"""Pence of the British coins before 1971 from the penny to the half-crown (Royal Mint; Wikipedia "£sd")."""


def greedy(amount: int, values: tuple[int, ...]) -> int:
    """Pieces that taking the largest coin first needs: the textbook algorithm, not the product's."""
    pieces = 0
    for value in sorted(values, reverse=True):
        pieces += amount // value
        amount %= value
    return pieces


def count(given_pieces: dict[int, int] | None) -> int:
    assert given_pieces is not None
    return sum(given_pieces.values())


def test_forty_eight_old_pence_take_two_florins_where_greedy_takes_three_coins() -> None:
    """The standard counterexample (Wikipedia, "Change-making problem": pre-decimal British coinage)."""
    assert greedy(48, PRE_DECIMAL) == 3
    assert fewest_coins(48, PRE_DECIMAL) == {24: 2}


def test_six_in_a_one_three_four_system_takes_two_coins() -> None:
    """The other worked example of the same article: greedy takes 4 + 1 + 1, the best is 3 + 3."""
    assert greedy(6, (1, 3, 4)) == 3
    assert fewest_coins(6, (1, 3, 4)) == {3: 2}


@pytest.mark.parametrize("code", sorted(CASH))
def test_every_currency_in_use_is_canonical(code: str) -> None:
    """Kozen and Zaks, "Optimal bounds for the change-making problem" (1994), theorem 2.2.

    If greedy fails anywhere, it fails at an amount below the sum of the two largest coins. UK coins are the
    usual example of a canonical system; the others were expected to be so too. We divide by the smallest coin
    and take the coins up to the largest that keeps the table small; each larger note is a multiple of it.
    """
    values = tuple(sorted(cash_of(code).values))
    values = tuple(value // values[0] for value in values)
    small = tuple(value for value in values if value <= 1000)
    fewest = [0]
    for amount in range(1, sum(small[-2:])):
        fewest.append(1 + min(fewest[amount - value] for value in small if value <= amount))
        assert fewest[amount] == greedy(amount, small), amount
    for amount in (1, 48, 99, small[-1] - 1):
        assert count(fewest_coins(amount, small)) == fewest[amount]


def test_one_fifty_and_three_twenties_pay_sixty_only_without_the_fifty() -> None:
    purse = {50: 1, 20: 3}
    assert make_change(60, purse) == {20: 3}
    assert largest_first(60, purse) == {20: 3}
    assert make_change(70, purse) == {50: 1, 20: 1}
    assert make_change(30, purse) is None
    assert largest_first(30, purse) is None


purses = st.dictionaries(st.sampled_from([1, 2, 3, 5, 10, 20, 50]), st.integers(0, 4), max_size=5)


@given(purses, st.integers(0, 130))
def test_change_from_any_purse_agrees_with_trying_every_handful(purse: dict[int, int], amount: int) -> None:
    values = sorted(purse, reverse=True)
    handfuls = [
        handful
        for handful in product(*(range(purse[value] + 1) for value in values))
        if sum(n * value for n, value in zip(handful, values, strict=True)) == amount
    ]
    best = make_change(amount, purse)
    person = largest_first(amount, purse)
    if not handfuls:
        assert best is None
        assert person is None
        return
    assert best is not None
    assert person is not None
    fewest = min(sum(handful) for handful in handfuls)
    assert sum(best.values()) == fewest
    assert tuple(best.get(value, 0) for value in values) == max(h for h in handfuls if sum(h) == fewest)
    assert tuple(person.get(value, 0) for value in values) == max(handfuls)
    assert worth(best) == worth(person) == amount


def test_coins_are_known_for_every_currency_that_formread_knows() -> None:
    assert set(CASH) == set(CURRENCIES)
    for cash in CASH.values():
        assert cash.coins == tuple(sorted(set(cash.coins)))
        assert cash.notes == tuple(sorted(set(cash.notes)))
        assert cash.big_note in cash.values
        assert set(cash.bags) <= set(cash.coins)
        assert all(fewest_coins(value, cash.values) is not None for value in cash.round_sums)
    with pytest.raises(UsageError, match="XAU"):
        cash_of("XAU")


def test_amounts_that_no_coin_can_pay_are_rounded_to_those_that_can() -> None:
    """Australian cash rounding (ACCC): 1 and 2 down to 0, 3 and 4 up to 5, 6 and 7 down to 5, 8 and 9 up."""
    australian = cash_of("AUD")
    assert [australian.payable(100 + cents) - 100 for cents in range(10)] == [0, 0, 0, 5, 5, 5, 5, 5, 10, 10]
    assert [cash_of("GBP").payable(amount) for amount in (0, 1, -3, 1299)] == [0, 1, -3, 1299]


def test_coins_are_fetched_in_full_bags_and_notes_singly() -> None:
    """UK bank bags, common practice: £20 of £1 coins, £10 of 20p, £5 of 10p."""
    fetched = withdrawal({1000: 2, 100: 21, 20: 50, 10: 3}, cash_of("GBP"), at_home={10: 3, 100: 1})
    assert [(one.value, one.needed, one.pieces, one.bags, one.spare) for one in fetched] == [
        (1000, 2, 2, 0, 0),
        (100, 20, 20, 1, 0),
        (20, 50, 50, 1, 0),
    ]
    assert withdrawal({7: 0}, cash_of("GBP")) == ()
