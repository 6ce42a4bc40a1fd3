"""The pile as a whole."""

import pytest

from formread.arithmetic import BoxRef, Confirmed, Tabled
from formread.arithmetic.record import LineReadings, SlipReadings, TotalReading
from formread.layout.record import Layout
from formread.pile.record import ReadSlip
from formread.pile.run import Known, judge_pile
from formread.pile.slip import printed_percent
from formread.record import Reading


def _read(written: int, probability: float) -> ReadSlip:
    line = LineReadings(1, Confirmed(2, "quantity"), Confirmed(499), Confirmed(998))
    readings = SlipReadings((line,), (TotalReading("total", Confirmed(written)),))
    layout = Layout((), (), (), probability=probability)
    return ReadSlip("a.jpg", 1, ((0.0, 0.0),) * 4, layout, readings, b"")


@pytest.mark.parametrize(("written", "verdict"), [(998, "agrees"), (1098, "wrong")])
def test_a_sure_layout_lets_the_sums_speak(written: int, verdict: str) -> None:
    assert judge_pile([_read(written, 0.9)], [], "GBP").report.slips[0].verdict == verdict


@pytest.mark.parametrize("written", [998, 1098])
def test_a_doubtful_layout_neither_accuses_nor_clears(written: int) -> None:
    slip = judge_pile([_read(written, 0.2)], [], "GBP").report.slips[0]
    assert slip.verdict == "unsure"
    assert "columns" in slip.reason


def _priced(photo: str, price: Reading, total: int | None) -> ReadSlip:
    line = LineReadings(1, Confirmed(1, "quantity"), price, None, Confirmed("104-238", "code"))
    readings = SlipReadings((line,), (TotalReading("total", Confirmed(total)),))
    return ReadSlip(photo, 1, ((0.0, 0.0),) * 4, Layout((), (), ()), readings, b"")


def test_other_slips_testify_for_a_price_unless_they_are_told_not_to() -> None:
    """A price that is read as 4.99 or 4.49 alike, and two other slips that have 4.99 for the same code."""
    either = Tabled("amount", {449: 0.49, 499: 0.48}, floor=1e-6)
    slips = [_priced("a.jpg", either, None), *(_priced(name, Confirmed(499), 499) for name in ("b", "c"))]
    heard = judge_pile(slips, [], "GBP").report.slips[0]
    assert heard.computed_total == 499
    assert "as other slips of the pile have it" in heard.reason
    alone = judge_pile(slips, [], "GBP", Known(pile_speaks=False)).report.slips[0]
    assert alone.computed_total == 449


def test_a_price_list_finds_a_code_however_it_is_spaced() -> None:
    either = Tabled("amount", {449: 0.49, 499: 0.48}, floor=1e-6)
    known = Known(prices={"104238": 499}, descriptions={"104238": "Dibber"})
    slip = judge_pile([_priced("a.jpg", either, 449)], [], "GBP", known).report.slips[0]
    assert (slip.computed_total, slip.lines[0].description) == (499, "Dibber")


def test_what_a_person_confirms_on_one_slip_settles_that_slip() -> None:
    either = Tabled("amount", {449: 0.49, 499: 0.48}, floor=1e-6)
    slips = [_priced("a.jpg", either, 499)]
    assert judge_pile(slips, [], "GBP").report.slips[0].verdict != "wrong"
    confirmed = {0: {BoxRef("unit_price", 1): 449}}
    settled = judge_pile(slips, [], "GBP", confirmed=confirmed).report.slips[0]
    assert (settled.verdict, settled.computed_total) == ("wrong", 449)


@pytest.mark.parametrize(
    ("label", "percent"),
    [
        ("Less 10% discount", 1000),
        ("discount 7,5 %", 750),
        ("5 per cent off", 500),
        ("Discount", None),
        ("Less discount %", None),
        ("0 %", None),
    ],
)
def test_a_percentage_is_taken_from_the_print_beside_its_box(label: str, percent: int | None) -> None:
    assert printed_percent(label) == percent
