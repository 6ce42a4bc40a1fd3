"""Charges that should be so much: terms of delivery, discounts in percent, sums brought forward, offers."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from formread.arithmetic import NO_TERMS, Confirmed, Judgement, SlipReadings, Tabled, Terms, judge
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


Charges = list[tuple[TotalKind, int | None]]


def _of(kind: TotalKind, amount: int | None) -> int:
    return -(amount or 0) if kind in ("discount", "deposit") else amount or 0


def _charged(
    charges: Charges,
    rows: Sequence[tuple[int, int, int]] = ((1, 1995, 1995), (2, 500, 1000)),
    *,
    percents: Sequence[int] = (1000,),
    terms: Terms = NO_TERMS,
) -> Judgement:
    """A slip that is read surely, and whose total is what its boxes come to; `percents` stand beside its last charges."""
    total = sum(row[2] for row in rows) + sum(_of(*charge) for charge in charges)
    slip = _slip(list(rows), [*charges, ("total", total)])
    beside = (None,) * (len(charges) - len(percents)) + (*percents, None)
    totals = [replace(box, percent=percent) for box, percent in zip(slip.totals, beside, strict=True)]
    return judge(SlipReadings(slip.lines, tuple(totals)), terms=terms)


TEN_PER_CENT: list[tuple[Charges, tuple[int, ...], int]] = [
    ([], (300,), 2695),
    ([("delivery", 395)], (300, 339), 3090),
    ([("deposit", 500)], (300, 250), 2195),
    ([("other", 120)], (300, 312), 2815),
    ([("discount", 200)], (300, 280), 2495),
    ([("brought", 4320)], (732, 300), 6583),
    ([("delivery", 395), ("deposit", 500)], (300, 339, 289), 2590),
    ([("deposit", 500), ("delivery", 395)], (300, 339, 289), 2590),
    ([("brought", 4320), ("delivery", 395)], (732, 300, 771), 6978),
    ([("delivery", None)], (300,), 2695),
]
"""Of goods for 29.95: what stands between them and the box for the discount, what 10 % may then be, worked by hand, and
what the slip comes to if it is the first of these."""


@pytest.mark.parametrize(("between", "rights", "computed"), TEN_PER_CENT)
def test_ten_per_cent_may_be_of_the_goods_or_of_what_stands_between_as_well(
    between: Charges, rights: tuple[int, ...], computed: int
) -> None:
    for right in rights:
        judged = _charged([*between, ("discount", right)])
        assert (judged.verdict, judged.charges[-1].due) == ("agrees", -right)
    wrong = _charged([*between, ("discount", rights[0] - 70)])
    assert (wrong.verdict, wrong.slip_kind, wrong.computed_total) == ("wrong", "charge_amount", computed)
    assert f"discount is {rights[0] / 100:.2f}, not {rights[0] / 100 - 0.7:.2f}" in wrong.reason


@pytest.mark.parametrize(
    ("discount", "verdict"), [(60, "agrees"), (75, "agrees"), (70, "wrong"), (83, "wrong")]
)
def test_a_fraction_of_the_percentage_may_be_lost_in_the_print(discount: int, verdict: str) -> None:
    """2 % of 29.95 is 0.60, 2½ % is 0.75, both rounded."""
    judged = _charged([("discount", discount)], percents=(200,))
    assert judged.verdict == verdict
    assert judged.charges[0].due == (-discount if verdict == "agrees" else -60)


def test_charges_below_the_discount_are_not_in_its_sum() -> None:
    """10 % of 29.95 is 3.00, of 33.90 it would be 3.39."""
    assert _charged([("discount", 300), ("delivery", 395)], percents=(1000, 0)).verdict == "agrees"
    assert _charged([("discount", 339), ("delivery", 395)], percents=(1000, 0)).verdict == "wrong"


def test_one_percentage_after_another_is_of_what_that_one_leaves() -> None:
    """10 % of 29.95 is 3.00; 10 % of the 26.95 that are left is 2.70, rounded up."""
    assert _charged([("discount", 300), ("discount", 270)], percents=(1000, 1000)).verdict == "agrees"
    assert _charged([("discount", 300), ("discount", 210)], percents=(1000, 1000)).verdict == "wrong"


def test_the_percentage_of_a_wrong_sum_is_no_second_slip_whichever_sum_is_meant() -> None:
    """5.00 twice is written as 11.00: 10 % of 30.95 is 3.10, with delivery in it 3.49. The slip comes to 30.90, or
    with 10 % of 33.90 to 30.51."""
    for discount, right in ((310, 3090), (349, 3051)):
        judged = _charged([("delivery", 395), ("discount", discount)], ((1, 1995, 1995), (2, 500, 1100)))
        assert (judged.verdict, judged.slip_kind, judged.computed_total) == ("wrong", "product", right)


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_nobody_who_takes_the_percentage_of_either_sum_is_called_wrong_and_others_are(
    data: st.DataObject,
) -> None:
    rows = data.draw(st.lists(st.tuples(st.integers(1, 9), st.integers(100, 2500)), min_size=1, max_size=4))
    kinds: list[TotalKind] = data.draw(
        st.lists(st.sampled_from(("delivery", "other", "deposit")), min_size=1, max_size=2, unique=True)
    )
    between: Charges = [(kind, data.draw(st.integers(50, 600))) for kind in kinds]
    percent = data.draw(st.sampled_from((250, 500, 750, 1000, 1500)))
    goods = sum(q * p for q, p in rows)
    so_far = goods + sum(_of(*charge) for charge in between)
    charged = goods + sum(_of(*charge) for charge in between if charge[0] != "deposit")
    assume(so_far > 0)
    rights = {int(percent_of(percent)(np.array([base]))[0]) for base in (goods, so_far, charged)}

    def judged(discount: int) -> Judgement:
        lines = [(q, p, q * p) for q, p in rows]
        return _charged([*between, ("discount", discount)], lines, percents=(percent,))

    for right in rights:
        assert judged(right).probability_wrong < 0.01
    off = data.draw(st.integers(1, 99))
    assume(max(rights) + off < so_far)
    slipped = judged(max(rights) + off)
    assert slipped.verdict == "wrong"
    assert slipped.computed_total == so_far - int(percent_of(percent)(np.array([goods]))[0])


@pytest.mark.parametrize(
    ("above", "delivery", "verdict"),
    [
        ([("deposit", 500)], None, "agrees"),
        ([("deposit", 500)], 250, "agrees"),
        ([("deposit", 500)], 150, "wrong"),
        ([("discount", 200)], 250, "agrees"),
        ([("discount", 200)], None, "wrong"),
        ([("brought", 1000)], 250, "wrong"),
    ],
)
def test_what_was_paid_ahead_loses_nobody_free_delivery(
    above: Charges, delivery: int | None, verdict: str
) -> None:
    """Free from 29.00 on, else 2.50: the goods are 29.95, with the deposit taken off 24.95 are left."""
    judged = _charged([*above, ("delivery", delivery)], percents=(), terms=Terms(250, 2900))
    assert judged.verdict == verdict


@pytest.mark.parametrize("delivery", [None, 250])
def test_where_an_extra_charge_would_make_delivery_free_either_is_right(delivery: int | None) -> None:
    """Free from 30.00 on: the goods are 29.95, with 1.20 for something else 31.15."""
    judged = _charged([("other", 120), ("delivery", delivery)], percents=(), terms=Terms(250, 3000))
    assert judged.verdict == "agrees"


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
