"""The judge on hand-worked slips: 2 x 4.99, one at 3.50, 3 x 2.99, together 22.45."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.arithmetic import Confirmed, Tabled, judge
from formread.arithmetic.record import Judgement, LineReadings, SlipReadings, TotalKind, TotalReading
from formread.record import Kind, Value

Row = tuple[Value, Value, Value]
ROWS: list[Row] = [(2, 499, 998), (None, 350, 350), (3, 299, 897)]
RIGHT = 2245


def _box(kind: Kind, value: Value) -> Tabled:
    return Tabled(kind, {value: 0.995}, floor=1e-6)


def _slip(rows: list[Row], **totals: Value) -> SlipReadings:
    lines = tuple(
        LineReadings(row, _box("quantity", q), _box("amount", p), _box("amount", t))
        for row, (q, p, t) in enumerate(rows, start=1)
    )
    kinds: list[tuple[TotalKind, Value]] = list(totals.items())  # type: ignore[arg-type]
    return SlipReadings(lines, tuple(TotalReading(kind, _box("amount", value)) for kind, value in kinds))


def _judged(rows: list[Row], **totals: Value) -> Judgement:
    return judge(_slip(rows, **totals))


def test_a_right_sum_agrees() -> None:
    judged = _judged(ROWS, total=RIGHT)
    assert (judged.verdict, judged.computed_total, judged.difference) == ("agrees", RIGHT, 0)


@pytest.mark.parametrize(
    ("written", "kind"),
    [(2345, "carry"), (2254, "swap"), (1895, "left_out"), (2595, "twice"), (2246, "digit")],
)
def test_each_slip_of_the_pen_is_called_wrong_and_by_its_name(written: int, kind: str) -> None:
    judged = _judged(ROWS, total=written)
    assert (judged.verdict, judged.slip_kind, judged.difference) == ("wrong", kind, written - RIGHT)


def test_a_wrong_product_is_shown_in_its_row() -> None:
    judged = _judged([ROWS[0], ROWS[1], (3, 299, 879)], total=2227)
    assert judged.verdict == "wrong"
    assert (judged.computed_total, judged.difference) == (RIGHT, -18)
    assert "8.97, not 8.79" in judged.reason


def test_charges_count_with_their_sign() -> None:
    assert _judged(ROWS, delivery=250, total=RIGHT + 250).verdict == "agrees"
    assert _judged(ROWS, discount=250, total=RIGHT - 250).verdict == "agrees"
    assert _judged(ROWS, delivery=250, total=RIGHT).slip_kind == "forgot_charge"
    assert _judged(ROWS, discount=250, total=RIGHT + 250).slip_kind == "charge_sign"


def test_no_total_gives_the_right_one_and_no_verdict() -> None:
    judged = _judged(ROWS, total=None)
    assert (judged.verdict, judged.written_total, judged.computed_total) == ("unsure", None, RIGHT)


def test_a_misread_price_is_not_blamed_on_the_customer() -> None:
    """The truth is the reader's second candidate, eleven times less probable; the sums settle it."""
    slip = _slip(ROWS, total=RIGHT)
    misread = Tabled("amount", {999: 0.9, 499: 0.08}, floor=1e-6)
    lines = (LineReadings(1, slip.lines[0].quantity, misread, slip.lines[0].line_total), *slip.lines[1:])
    judged = judge(SlipReadings(lines, slip.totals))
    assert judged.verdict == "agrees"
    assert judged.lines[0].unit_price == 499


def test_a_slip_on_which_hardly_a_line_holds_is_not_called_wrong() -> None:
    assert _judged([(4, 1320, 2000), (1, 350, 5000)], total=7000).verdict == "unsure"


@given(
    rows=st.lists(st.tuples(st.integers(1, 9), st.integers(1, 5000)), min_size=1, max_size=5),
    off=st.integers(-500, 500),
)
def test_confirmed_boxes_are_facts(rows: list[tuple[int, int]], off: int) -> None:
    """With every box confirmed, exact integer arithmetic decides and nothing else."""
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
    assert judged.probability_wrong == pytest.approx(1.0 if off else 0.0, abs=1e-4)
