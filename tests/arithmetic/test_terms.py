"""Charges that should be so much: terms of delivery, discounts in percent, sums brought forward, offers."""

from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.arithmetic import Confirmed, Judgement, SlipReadings, Tabled, Terms, judge
from formread.arithmetic.record import LineReadings, TotalKind, TotalReading
from formread.arithmetic.terms import percent_of
from formread.record import Kind, Value


@dataclass(frozen=True)
class Several:
    """An offer: so many pieces for so much."""

    pieces: int
    amount: int


def _box(kind: Kind, value: Value) -> Tabled:
    return Tabled(kind, {value: 0.995}, floor=1e-6)


def _slip(rows: list[tuple[int, int, int]], totals: list[tuple[TotalKind, int | None]]) -> SlipReadings:
    lines = tuple(
        LineReadings(
            row, _box("quantity", q), _box("amount", p), _box("amount", t), Tabled("code", {"104-238": 0.998})
        )
        for row, (q, p, t) in enumerate(rows, start=1)
    )
    return SlipReadings(lines, tuple(TotalReading(kind, _box("amount", v)) for kind, v in totals))


@given(so_far=st.integers(0, 10**7), percent=st.integers(0, 10_000))
def test_per_cents_are_rounded_half_up(so_far: int, percent: int) -> None:
    """Checked against the standard library's Decimal. A half goes up: Council Regulation (EC) No 1103/97, article
    5 (from memory)."""
    exact = Decimal(so_far) * percent / 10_000
    assert int(percent_of(percent)(np.array([so_far]))[0]) == exact.quantize(Decimal(1), ROUND_HALF_UP)


def _discounted(discount: int | None, total: int, percent: int | None) -> Judgement:
    slip = _slip([(1, 1995, 1995), (2, 500, 1000)], [("discount", discount), ("total", total)])
    percented = replace(slip.totals[0], percent=percent)
    return judge(SlipReadings(slip.lines, (percented, slip.totals[1])))


def test_a_printed_percentage_tells_what_the_discount_should_be() -> None:
    """10 % of 29.95 is 2.995, rounded 3.00."""
    ten = 1000
    assert _discounted(300, 2695, ten).verdict == "agrees"
    wrong = _discounted(200, 2795, ten)
    assert (wrong.verdict, wrong.computed_total, wrong.slip_kind) == ("wrong", 2695, "charge_amount")
    assert "3.00, not 2.00" in wrong.reason
    assert _discounted(200, 2795, None).verdict == "agrees"


def test_a_discount_left_out_is_nobodys_mistake() -> None:
    """ "Members take off 10 %": who writes nothing is no member, or gives it away."""
    assert _discounted(None, 2995, 1000).verdict == "agrees"


@pytest.mark.parametrize(
    ("delivery", "total", "free_from", "verdict", "computed"),
    [
        (250, 3245, None, "agrees", 3245),
        (None, 2995, None, "wrong", 3245),
        (None, 2995, 2995, "agrees", 2995),
        (250, 3245, 2995, "wrong", 2995),
        (None, 2995, 2996, "wrong", 3245),
        (150, 3145, 5000, "wrong", 3245),
    ],
)
def test_delivery_is_held_against_the_sellers_terms(
    delivery: int | None, total: int, free_from: int | None, verdict: str, computed: int
) -> None:
    slip = _slip([(1, 1995, 1995), (2, 500, 1000)], [("delivery", delivery), ("total", total)])
    judged = judge(slip, terms=Terms(250, free_from))
    assert (judged.verdict, judged.computed_total) == (verdict, computed)
    assert (judged.slip_kind == "charge_amount") == (verdict == "wrong")
    assert judge(slip).verdict == "agrees"


def test_an_offer_of_the_price_list_makes_several_pieces_cheaper() -> None:
    """2 for 8.00 at 4.99 a piece: 5 pieces are 8.00 + 8.00 + 4.99 = 20.99."""
    offers = {"104238": [Several(2, 800)]}
    paid = _slip([(5, 499, 2099)], [("total", 2099)])
    assert judge(paid, prices={"104238": 499}, offers=offers).verdict == "agrees"
    overlooked = judge(_slip([(5, 499, 2495)], [("total", 2495)]), prices={"104238": 499}, offers=offers)
    assert (overlooked.verdict, overlooked.computed_total) == ("wrong", 2099)
    assert "20.99, not 24.95" in overlooked.reason
    assert (
        judge(_slip([(1, 499, 499)], [("total", 499)]), prices={"104238": 499}, offers=offers).verdict
        == "agrees"
    )


def test_a_sum_brought_forward_counts_and_other_slips_testify_for_it() -> None:
    slip = _slip([(2, 499, 998)], [("brought", 4320), ("total", 5318)])
    assert judge(slip).verdict == "agrees"
    doubtful = TotalReading("brought", Tabled("amount", {4920: 0.6, 4320: 0.39}, floor=1e-6))
    read = SlipReadings(slip.lines, (doubtful, TotalReading("total", _box("amount", None))))
    assert judge(read).computed_total == 998 + 4920
    heard = judge(read, carried=[1250, 4320, 3105])
    assert heard.computed_total == 5318
    assert "total of another slip" in heard.reason
    assert heard.charges[0].amount == 4320


def test_a_fact_goes_before_terms_and_pile() -> None:
    """A person has seen that no delivery is written: the terms still say that it is due."""
    slip = _slip([(1, 1995, 1995)], [("delivery", 250), ("total", 1995)])
    known = SlipReadings(slip.lines, (TotalReading("delivery", Confirmed(None)), slip.totals[1]))
    judged = judge(known, terms=Terms(250))
    assert (judged.verdict, judged.computed_total, judged.charges) == ("wrong", 2245, ())
