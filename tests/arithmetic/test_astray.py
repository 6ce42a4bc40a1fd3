"""Slips whose boxes were found wrongly: no customer is blamed for them, and a pad's own sums say how rare they are."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.arithmetic import Tabled, judge
from formread.arithmetic.astray import (
    DOUBT,
    FAILURES,
    SPREAD,
    Block,
    Leans,
    Witness,
    columns_astray,
    doubts,
    lean,
    written_given_astray,
)
from formread.arithmetic.record import BoxRef, LineReadings, SlipReadings, TotalKind, TotalReading
from formread.record import Kind, Value
from tests.arithmetic.test_judge import RIGHT, ROWS, TRUSTED, Row

SURELY_STANDS = 1e-8
"""Probability that a row is crossed out which shows no stroke at all."""


def _box(kind: Kind, value: Value) -> Tabled:
    return Tabled(kind, {value: 1 - 1e-6}, floor=1e-13)


def a_slip(rows: list[Row], **totals: Value) -> SlipReadings:
    """A slip on which every box is read as surely as a reader ever is."""
    lines = tuple(
        LineReadings(row, _box("quantity", q), _box("amount", p), _box("amount", t), struck_out=SURELY_STANDS)
        for row, (q, p, t) in enumerate(rows, start=1)
    )
    kinds: list[tuple[TotalKind, Value]] = list(totals.items())  # type: ignore[arg-type]
    return SlipReadings(lines, tuple(TotalReading(kind, _box("amount", value)) for kind, value in kinds))


@pytest.mark.parametrize(
    ("read", "what"),
    [
        (RIGHT + 295, "a delivery charge of 2.95 whose box was not found"),
        (RIGHT + 1340, "a row of 13.40 that was not found"),
        (RIGHT // 10, "the last digit outside the box"),
        (4711, "another box taken for the total"),
    ],
)
def test_a_difference_that_a_box_found_wrongly_explains_as_well_accuses_nobody(read: int, what: str) -> None:
    judged = judge(a_slip(ROWS, total=read))
    assert judged.verdict == "unsure", what
    assert judged.ask is not None


def test_a_row_that_does_not_look_crossed_out_was_left_out() -> None:
    """Strokes through rows are seen; should one look crossed out by halves, nobody is accused of leaving it out."""
    slip = a_slip(ROWS, total=RIGHT - 897)
    assert judge(slip).slip_kind == "left_out"
    half = replace(slip, lines=(*slip.lines[:2], replace(slip.lines[2], struck_out=0.02)))
    assert judge(half).verdict != "wrong"


def test_what_was_found_in_the_wrong_place_is_said_in_the_sellers_words() -> None:
    judged = judge(a_slip(ROWS, total=RIGHT + 1340))
    assert "a charge may have been missed, or the total read from the wrong box" in judged.reason
    assert judged.ask == BoxRef("total")


def test_a_person_who_has_looked_at_the_total_settles_it() -> None:
    slip = a_slip(ROWS, total=RIGHT + 1340)
    assert judge(slip, facts={BoxRef("total"): RIGHT + 1340}).verdict == "wrong"
    assert judge(slip, facts={BoxRef("total"): RIGHT}).verdict == "agrees"


def test_a_goods_total_that_holds_shows_that_every_row_was_found() -> None:
    """The same difference, nothing else known: with the goods' own box beside it the rows are not to blame for it."""
    bare = judge(a_slip(ROWS, total=RIGHT + 1347), doubt=0.03)
    held = judge(a_slip(ROWS, goods=RIGHT, total=RIGHT + 1347), doubt=0.03)
    assert held.probability_wrong > bare.probability_wrong + 0.15


def test_rows_that_do_not_come_to_the_goods_total_are_ours_before_they_are_the_customers() -> None:
    """A row was not found: the goods' box, the charge and the total go together, the rows do not come to them."""
    slip = a_slip(ROWS[:2], goods=RIGHT, delivery=250, total=RIGHT + 250)
    judged = judge(slip)
    assert judged.verdict == "unsure"
    assert judged.probability_wrong < 0.5


def test_columns_that_are_not_what_they_are_taken_for_accuse_nobody() -> None:
    """Line totals cut one row too low from the second row on: each row by itself looks wrongly multiplied."""
    rows: list[Row] = [(2, 499, 998), (3, 350, None), (4, 299, 1050), (1, 1299, 1196), (None, None, 1299)]
    right = 998 + 1050 + 1196 + 1299
    assert judge(a_slip(rows, total=right), doubt=TRUSTED).verdict == "unsure"


def test_a_number_in_a_box_of_an_unknown_label_may_be_nothing_to_pay() -> None:
    """Added, the total agrees; left aside (tax that is included, a number of pieces) it is hardly wrong."""
    assert judge(a_slip(ROWS, other=374, total=RIGHT + 374), doubt=TRUSTED).verdict == "agrees"
    left_aside = judge(a_slip(ROWS, other=374, total=RIGHT), doubt=TRUSTED)
    forgotten = judge(a_slip(ROWS, delivery=374, total=RIGHT), doubt=TRUSTED)
    assert left_aside.probability_wrong < 0.02 * forgotten.probability_wrong
    assert (left_aside.verdict, left_aside.computed_total) == ("unsure", RIGHT)


def test_the_slips_of_a_pad_testify_for_each_other_and_none_for_itself() -> None:
    alone = doubts([Witness(50.0)])
    assert alone == pytest.approx([DOUBT])
    held, failed, off = [Witness(1e-5)] * 20, [Witness(100.0)] * 5, Witness(100.0)
    assert max(doubts([*held, off])) == doubts([*held, off])[0]
    assert doubts([*held, off])[-1] < doubts(held[:3])[0] < DOUBT < doubts(failed)[0]
    assert doubts([]) == []


def test_pads_that_hold_tell_what_pads_the_pile_has() -> None:
    holding, failing = [[Witness(1e-5)] * 5] * 10, [[Witness(100.0)] * 5] * 10
    assert doubts([Witness(1.0)], holding)[0] < DOUBT / 2
    assert doubts([Witness(1.0)], failing)[0] > 2 * DOUBT


def test_a_layout_that_looks_as_those_do_that_fail_is_trusted_less_and_in_that_failure() -> None:
    sure, unsure = doubts([Witness(1.0, 0.2), Witness(1.0, 5.0)])
    assert sure < DOUBT < unsure
    odd = Witness(1.0, 5.0)
    assert doubts([odd, *[Witness(1e-5, 5.0)] * 8])[0] < doubts([odd, *[Witness(1e-5, 0.2)] * 8])[0]
    leans: Leans = {"charge": 20.0}
    assert lean(leans) == pytest.approx(1 + 19 * FAILURES["charge"].value)
    shares = Block(leans=leans).shares()
    assert sum(shares.values()) == pytest.approx(1.0)
    assert shares["charge"] > 5 * FAILURES["charge"].value


def test_the_rates_are_a_distribution() -> None:
    assert sum(rate.value for rate in FAILURES.values()) == pytest.approx(1.0)
    assert sum(share for _, share in SPREAD) == pytest.approx(1.0)


@given(
    made=st.integers(1, 40_000),
    charges=st.lists(st.integers(-900, 900), max_size=2),
    goods=st.booleans(),
    added=st.booleans(),
    taken=st.booleans(),
)
def test_what_is_read_in_the_total_of_a_slip_astray_is_at_most_one(
    made: int, charges: list[int], goods: bool, added: bool, taken: bool
) -> None:
    block = Block(tuple(charges), goods=goods, added=added, taken=taken)
    every = np.arange(0, 260_000)
    given_sum = written_given_astray(every, np.array([made]), block)[0]
    assert (given_sum >= 0).all()
    assert given_sum.sum() <= 1 + 1e-9


def test_rows_that_multiply_hold_their_columns() -> None:
    assert columns_astray([]) == 0.0
    assert columns_astray([1e4, 1e4]) < 1e-4
    assert columns_astray([1e4, 0.05, 0.05]) > 1


def test_a_slip_that_agrees_fits_no_failure_and_one_that_is_off_does() -> None:
    slip = a_slip(ROWS, total=RIGHT)
    assert judge(slip).misfit < 1e-3
    assert judge(a_slip(ROWS, total=4711)).misfit > 10
