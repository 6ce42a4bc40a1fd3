"""The judge on hand-worked slips: 2 x 4.99, one at 3.50, 3 x 2.99, together 22.45."""

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formread.arithmetic import Confirmed, Tabled, judge
from formread.arithmetic.astray import Leans
from formread.arithmetic.reasons import Found, put_in_words
from formread.arithmetic.record import (
    BoxRef,
    JudgedLine,
    Judgement,
    LineReadings,
    SlipReadings,
    TotalKind,
    TotalReading,
)
from formread.money import CURRENCIES
from formread.record import DITTO, Kind, Value

Row = tuple[Value, Value, Value]
ROWS: list[Row] = [(2, 499, 998), (None, 350, 350), (3, 299, 897)]
RIGHT = 2245


def _box(kind: Kind, value: Value) -> Tabled:
    return Tabled(kind, {value: 0.995}, floor=1e-6)


def a_slip(rows: list[Row], **totals: Value) -> SlipReadings:
    lines = tuple(
        LineReadings(row, _box("quantity", q), _box("amount", p), _box("amount", t))
        for row, (q, p, t) in enumerate(rows, start=1)
    )
    kinds: list[tuple[TotalKind, Value]] = list(totals.items())  # type: ignore[arg-type]
    return SlipReadings(lines, tuple(TotalReading(kind, _box("amount", value)) for kind, value in kinds))


TRUSTED = 0.005
"""How rarely slips are astray on a pad whose other sums hold."""
READ: Leans = {"role": 0.2}
"""What a layout says whose labels are read."""


def judged_slip(rows: list[Row], **totals: Value) -> Judgement:
    return judge(a_slip(rows, **totals), doubt=TRUSTED, leans=READ)


def test_a_right_sum_agrees() -> None:
    judged = judged_slip(ROWS, total=RIGHT)
    assert (judged.verdict, judged.computed_total, judged.difference) == ("agrees", RIGHT, 0)


@pytest.mark.parametrize(
    ("written", "kind"),
    [(2345, "carry"), (2254, "swap"), (1895, "left_out"), (2595, "twice"), (2246, "digit")],
)
def test_each_slip_of_the_pen_is_called_wrong_and_by_its_name(written: int, kind: str) -> None:
    judged = judged_slip(ROWS, total=written)
    assert (judged.verdict, judged.slip_kind, judged.difference) == ("wrong", kind, written - RIGHT)


def test_a_box_that_no_candidate_fits_stops_no_slip() -> None:
    """The reader may know next to nothing of a box; the row is then weighed all the same."""
    slip = a_slip(ROWS, total=RIGHT)
    unread = Tabled("amount", {140927: 2e-12, 99: 1e-12}, floor=1e-15)
    line = LineReadings(1, _box("quantity", 2), _box("amount", 499), unread)
    judged = judge(replace(slip, lines=(line, *slip.lines[1:])))
    assert judged.verdict != "wrong"


@pytest.mark.parametrize("read", [2200, 245])
def test_a_total_that_reads_as_if_its_box_were_cut_out_wrongly_is_blamed_on_nobody(read: int) -> None:
    slip = a_slip(ROWS, total=read)
    sure = Tabled("amount", {read: 1 - 1e-9}, floor=1e-12)
    judged = judge(replace(slip, totals=(TotalReading("total", sure),)))
    assert judged.verdict == "unsure"
    assert judged.ask is not None
    assert judged.ask.role == "total"


def test_a_wrong_product_is_shown_in_its_row() -> None:
    judged = judged_slip([ROWS[0], ROWS[1], (3, 299, 879)], total=2227)
    assert judged.verdict == "wrong"
    assert (judged.computed_total, judged.difference) == (RIGHT, -18)
    assert "8.97, not 8.79" in judged.reason


@pytest.mark.parametrize(("line", "right"), [(299, 897), (598, 897), (1196, 897), (987, 897), (8970, 897)])
def test_each_kind_of_wrong_product_is_called_wrong_in_its_row(line: int, right: int) -> None:
    """3 x 2.99 is 8.97: the price copied, one too few, one too many, two digits swapped, the point slid."""
    judged = judged_slip([ROWS[0], ROWS[1], (3, 299, line)], total=RIGHT + line - right)
    assert (judged.verdict, judged.slip_kind, judged.computed_total) == ("wrong", "product", RIGHT)
    assert judged.lines[2].line_total == line
    assert judged.lines[2].right_total == right
    assert judged.lines[2].probability_wrong > 0.9


def test_a_row_crossed_out_and_counted_is_named() -> None:
    slip = a_slip(ROWS, total=RIGHT)
    lines = (slip.lines[0], replace(slip.lines[1], struck_out=0.99999), slip.lines[2])
    judged = judge(SlipReadings(lines, slip.totals))
    assert (judged.verdict, judged.slip_kind, judged.computed_total) == (
        "wrong",
        "struck_counted",
        RIGHT - 350,
    )
    assert judged.lines[1].struck_out


def test_ditto_marks_repeat_the_row_above() -> None:
    rows: list[Row] = [(2, 499, 998), (3, DITTO, 1497)]
    judged = judged_slip(rows, total=2495)
    assert (judged.verdict, judged.lines[1].unit_price) == ("agrees", 499)
    assert judged_slip(rows, total=2595).verdict == "wrong"


def test_a_row_below_tells_which_price_a_ditto_mark_repeats() -> None:
    """4.99 or 9.99, alike; the row below repeats the price by a ditto mark, and its product says 9.99."""
    slip = a_slip([(1, 499, None), (3, DITTO, 2997)], total=None)
    either = Tabled("amount", {499: 0.48, 999: 0.48}, floor=1e-6)
    lines = (replace(slip.lines[0], unit_price=either), slip.lines[1])
    assert judge(SlipReadings(lines, slip.totals)).lines[0].unit_price == 999


def test_an_offered_price_from_the_price_list_settles_a_doubtful_box() -> None:
    slip = a_slip(ROWS, total=RIGHT)
    doubtful = Tabled("amount", {350: 0.5, 850: 0.5}, floor=1e-6)
    code = Tabled("code", {"104-238": 0.97})
    lines = (
        slip.lines[0],
        replace(slip.lines[1], unit_price=doubtful, line_total=None, code=code),
        slip.lines[2],
    )
    known = SlipReadings(lines, (TotalReading("total", _box("amount", RIGHT + 500)),))
    assert judge(known, prices={"104-238": 350}).computed_total == RIGHT
    assert judge(known, prices={"104-238": 850}).computed_total == RIGHT + 500


def test_an_unsure_slip_asks_for_the_box_that_settles_it() -> None:
    """Everything is sure but one price, which its row has no product to check by: that box is asked for."""
    slip = a_slip([(2, 499, 998), (1, 350, None)], total=1848)
    doubtful = Tabled("amount", {350: 0.97, 850: 0.02}, floor=1e-6)
    read = SlipReadings((slip.lines[0], replace(slip.lines[1], unit_price=doubtful)), slip.totals)
    judged = judge(read)
    assert (judged.verdict, judged.ask) == ("unsure", BoxRef("unit_price", 2))
    assert "unit price in row 2" in judged.reason
    for price, verdict in ((350, "wrong"), (850, "agrees")):
        settled = (read.lines[0], replace(read.lines[1], unit_price=Confirmed(price)))
        assert judge(SlipReadings(settled, read.totals), doubt=TRUSTED).verdict == verdict


def test_a_row_that_may_be_crossed_out_is_asked_about_as_such() -> None:
    """With row 2 the total holds, without it it does not: nothing but whether the row stands can settle that."""
    slip = a_slip(ROWS, total=RIGHT)
    lines = (slip.lines[0], replace(slip.lines[1], struck_out=0.98), slip.lines[2])
    judged = judge(SlipReadings(lines, slip.totals))
    assert (judged.verdict, judged.ask) == ("unsure", BoxRef("struck_out", 2))
    assert "whether row 2 is crossed out" in judged.reason
    told = {
        answer: judge(SlipReadings(lines, slip.totals), facts={BoxRef("struck_out", 2): answer})
        for answer in (0, 1)
    }
    assert (told[0].verdict, told[0].computed_total) == ("agrees", RIGHT)
    assert (told[1].verdict, told[1].computed_total) == ("wrong", RIGHT - 350)


def test_facts_by_box_are_the_same_as_readings_that_were_confirmed_and_leave_the_readings_alone() -> None:
    slip = a_slip(ROWS, delivery=250, total=RIGHT)
    before = slip.lines[1]
    facts: dict[BoxRef, Value] = {BoxRef("unit_price", 2): 360, BoxRef("line_total", 2): 360}
    known = (
        slip.lines[0],
        replace(before, unit_price=Confirmed(360), line_total=Confirmed(360)),
        slip.lines[2],
    )
    assert judge(slip, facts=facts) == judge(SlipReadings(known, slip.totals))
    assert slip.lines[1] is before
    assert judge(slip, facts={BoxRef("delivery"): None}).verdict == "agrees"
    crossed = judge(slip, facts={BoxRef("struck_out", 2): 1, BoxRef("delivery"): None})
    assert (crossed.computed_total, crossed.lines[1].struck_out) == (RIGHT - 350, True)


@pytest.mark.parametrize(
    ("ref", "value"),
    [
        (BoxRef("unit_price", 9), 1),
        (BoxRef("discount"), 1),
        (BoxRef("delivery", nth=1), 1),
        (BoxRef("delivery", 1), 1),
        (BoxRef("code", 1), 7),
        (BoxRef("line_total", 1), -5),
        (BoxRef("struck_out", 1), 2),
    ],
)
def test_a_fact_about_a_box_that_is_not_there_or_cannot_hold_it_is_refused(ref: BoxRef, value: Value) -> None:
    with pytest.raises(ValueError, match=r"slip has no|cannot hold|rows have no"):
        judge(a_slip(ROWS, delivery=250, total=RIGHT), facts={ref: value})


def test_boxes_are_asked_for_in_the_order_in_which_they_settle_and_each_once() -> None:
    """A doubtful price without a product beside it tells most; a box that changes nothing is not asked for first."""
    slip = a_slip([(2, 499, 998), (1, 350, None)], total=1848)
    doubtful = Tabled("amount", {350: 0.97, 850: 0.02}, floor=1e-6)
    judged = judge(SlipReadings((slip.lines[0], replace(slip.lines[1], unit_price=doubtful)), slip.totals))
    assert judged.asks[0] == judged.ask == BoxRef("unit_price", 2)
    assert len(set(judged.asks)) == len(judged.asks)
    assert judge(slip, facts=dict.fromkeys([BoxRef("total")], 1348)).asks == ()


def _three(count: int, price: int) -> tuple[tuple[Kind, int], ...]:
    return ("quantity", count), ("amount", price), ("amount", count * price)


def _doubtful(kind: Kind, value: int, other: int, sure: float) -> Tabled:
    return Tabled(kind, {other: (1 - sure) / 2, value: sure}, floor=1e-6)


@st.composite
def doubtful_slips(draw: st.DrawFn) -> SlipReadings:
    lines, total = [], 0
    for number in range(1, draw(st.integers(1, 5)) + 1):
        count, price = draw(st.integers(1, 5)), draw(st.integers(1, 5000))
        total += count * price
        quantity, unit_price, line_total = (
            _doubtful(kind, value, draw(st.integers(1, 9000)), draw(st.floats(0.5, 0.999)))
            for kind, value in _three(count, price)
        )
        lines.append(LineReadings(number, quantity, unit_price, line_total))
    total = max(total + draw(st.sampled_from((0, 0, 100, -90, 33))), 1)
    return SlipReadings(tuple(lines), (TotalReading("total", _box("amount", total)),))


@settings(max_examples=40, deadline=None)
@given(slip=doubtful_slips())
def test_probabilities_are_probabilities_and_no_kind_is_named_without_a_verdict(slip: SlipReadings) -> None:
    judged = judge(slip)
    every = [judged.probability_wrong, judged.computed_probability]
    every += [p for line in judged.lines for p in (line.probability, line.probability_wrong)]
    assert all(0 <= p <= 1 for p in every)
    assert judged.slip_kind is None or judged.verdict == "wrong"
    assert judged.written_total is None or judged.difference == judged.written_total - judged.computed_total


@settings(max_examples=25, deadline=None)
@given(slip=doubtful_slips(), seed=st.randoms())
def test_the_order_of_the_rows_changes_nothing_but_what_was_dropped_on_the_way(
    slip: SlipReadings, seed: Random
) -> None:
    lines = list(slip.lines)
    seed.shuffle(lines)
    one, two = judge(slip), judge(SlipReadings(tuple(lines), slip.totals))
    assert two.probability_wrong == pytest.approx(one.probability_wrong, abs=5e-4)


def test_a_kind_is_named_from_one_half_on_and_not_below() -> None:
    """22.55 for 22.45: one carried too many, or one digit off. Only the likelier of two may be named."""

    def kind(share: float) -> str | None:
        line = JudgedLine(1, 1, 2245, 2245, False, 2245, 1.0, 0.0)
        found = Found((line,), (), (), (), (), total_slip=("carry", 2245, share))
        return put_in_words("wrong", 2255, 2245, found, CURRENCIES["GBP"])[0]

    assert kind(0.49) is None
    assert kind(0.51) == "carry"


def test_charges_count_with_their_sign() -> None:
    assert judged_slip(ROWS, delivery=250, total=RIGHT + 250).verdict == "agrees"
    assert judged_slip(ROWS, discount=250, total=RIGHT - 250).verdict == "agrees"
    assert judged_slip(ROWS, delivery=250, total=RIGHT).slip_kind == "forgot_charge"
    assert judged_slip(ROWS, discount=250, total=RIGHT + 250).slip_kind == "charge_sign"
    guessed = judge(a_slip(ROWS, discount=250, total=RIGHT + 250), doubt=TRUSTED)
    assert guessed.verdict == "unsure", "where the label was not read it may be ours"


def test_no_total_gives_the_right_one_and_no_verdict() -> None:
    judged = judged_slip(ROWS, total=None)
    assert (judged.verdict, judged.written_total, judged.computed_total) == ("unsure", None, RIGHT)


def test_a_misread_price_is_not_blamed_on_the_customer() -> None:
    """The truth is the reader's second candidate, eleven times less probable; the sums settle it."""
    slip = a_slip(ROWS, total=RIGHT)
    misread = Tabled("amount", {999: 0.9, 499: 0.08}, floor=1e-6)
    lines = (LineReadings(1, slip.lines[0].quantity, misread, slip.lines[0].line_total), *slip.lines[1:])
    judged = judge(SlipReadings(lines, slip.totals))
    assert judged.verdict != "wrong"
    assert judged.probability_wrong < 0.005
    assert (judged.lines[0].unit_price, judged.computed_total) == (499, RIGHT)
    settled = (replace(lines[0], unit_price=Confirmed(499)), *lines[1:])
    assert judge(SlipReadings(settled, slip.totals)).verdict == "agrees"


def test_a_slip_on_which_hardly_a_line_holds_is_not_called_wrong() -> None:
    assert judged_slip([(4, 1320, 2000), (1, 350, 5000)], total=7000).verdict == "unsure"


@given(
    rows=st.lists(st.tuples(st.integers(1, 9), st.integers(1, 5000)), min_size=1, max_size=5),
    off=st.integers(-500, 500),
)
def test_confirmed_boxes_are_facts(rows: list[tuple[int, int]], off: int) -> None:
    """With every box confirmed, exact integer arithmetic decides.

    Where the total is off by just a line, what is left is the doubt that this line is one of the slip's.
    """
    right = sum(q * p for q, p in rows)
    written = right + off
    if written <= 0:
        return
    lines = tuple(
        LineReadings(i, Confirmed(q, "quantity"), Confirmed(p), Confirmed(q * p))
        for i, (q, p) in enumerate(rows, start=1)
    )
    judged = judge(SlipReadings(lines, (TotalReading("total", Confirmed(written)),)))
    assert judged.verdict == ("wrong" if off else "agrees")
    assert (judged.computed_total, judged.difference) == (right, off)
    assert judged.probability_wrong == pytest.approx(1.0 if off else 0.0, abs=2e-3)
