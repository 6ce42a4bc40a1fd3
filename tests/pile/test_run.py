"""The pile as a whole."""

from dataclasses import replace

import numpy as np
import pytest

from formread.arithmetic import BoxRef, Confirmed, Tabled, judge
from formread.arithmetic.record import LineReadings, SlipReadings, TotalReading
from formread.layout.record import Box, Column, ColumnRole, Layout, Rectangle, Row
from formread.pile import run
from formread.pile.pool import pool_codes
from formread.pile.record import ReadSlip
from formread.pile.run import Known, judge_pile
from formread.pile.slip import printed_percent
from formread.reading.automaton import ALPHABET
from formread.reading.lattice import pack
from formread.reading.readings import NumberReading
from formread.record import Candidate, Reading


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


def test_a_slip_that_the_judge_stumbles_over_stops_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is left to the seller, and said to be."""

    def judge_or_stumble(slip: SlipReadings, **known: object) -> object:
        if any(line.row == 13 for line in slip.lines):
            raise KeyError(13)
        return judge(slip, **known)  # type: ignore[arg-type]

    monkeypatch.setattr(run, "judge", judge_or_stumble)
    whole = _read(998, 0.9)
    odd = replace(whole, readings=replace(whole.readings, lines=(replace(whole.readings.lines[0], row=13),)))
    first, second = judge_pile([odd, whole], [], "GBP").report.slips
    assert (first.verdict, second.verdict) == ("unsure", "agrees")
    assert "Check it by hand" in first.reason


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
        ("Take off 10 % if over £40", None),
        ("Club discount, 5% on orders over £30", None),
        ("Take off 10% if paid by 12th", None),
        ("Members' discount 10% (£30+)", None),
        ("5% or 10%", None),
        ("Less 7½%", 750),
        ("Less 72%", None),
        ("2. Less 10 %", 1000),
        ("LESS CLUB 5% ...... £", 500),
    ],
)
def test_a_percentage_is_taken_from_the_print_beside_its_box(label: str, percent: int | None) -> None:
    assert printed_percent(label) == percent


def _drawn(pad: float, number: int, total: int, probability: float = 1.0) -> ReadSlip:
    """A slip of a pad whose columns part at `pad` of its width, read as surely as a reader ever is."""
    edge = round(1000 * pad)
    boxes: tuple[tuple[ColumnRole, Box], ...] = (
        ("unit_price", Box(Rectangle(0, 0, edge, 40))),
        ("line_total", Box(Rectangle(edge, 0, 1000, 40))),
    )
    columns = (Column("unit_price", 0, edge), Column("line_total", edge, 1000))
    layout = Layout(columns, (Row(1, boxes), Row(2, boxes)), (), probability=probability)

    def sure(value: int) -> Reading:
        return Tabled("amount", {value: 1 - 1e-6}, floor=1e-13)

    price = 499 + 10 * number
    line = LineReadings(1, Tabled("quantity", {2: 1 - 1e-6}), sure(price), sure(2 * price), struck_out=1e-8)
    readings = SlipReadings((line,), (TotalReading("total", sure(2 * price + total)),))
    return ReadSlip(f"{number}.jpg", 1, ((0.0, 0.0),) * 4, layout, readings, b"")


def test_a_difference_on_a_pad_whose_other_sums_hold_is_the_customers() -> None:
    """One carried too many on a pad that was always found rightly, and on one whose totals are always off by a charge."""
    off = _drawn(0.6, 0, 100)
    holding = [_drawn(0.6, number, 0) for number in range(1, 9)]
    failing = [_drawn(0.6, number, 295) for number in range(1, 9)]
    elsewhere = [_drawn(0.3, number, 295) for number in range(1, 9)]
    assert judge_pile([off, *holding], [], "GBP").report.slips[0].verdict == "wrong"
    assert judge_pile([off, *holding, *elsewhere], [], "GBP").report.slips[0].verdict == "wrong"
    assert {slip.verdict for slip in judge_pile([off, *failing], [], "GBP").report.slips} == {"unsure"}


def test_a_layout_that_is_unsure_of_itself_blames_less() -> None:
    holding = [_drawn(0.6, number, 0) for number in range(1, 9)]
    sure, unsure = (
        judge_pile([_drawn(0.6, 0, 100, probability), *holding], [], "GBP").judgements[0]
        for probability in (0.99, 0.6)
    )
    assert unsure.doubt > 10 * sure.doubt
    assert unsure.probability_wrong < sure.probability_wrong


def _ordering(slip: ReadSlip, *texts: tuple[str, float]) -> ReadSlip:
    """The slip with one code in its first row, read in these ways."""
    candidates = tuple(Candidate(text, probability) for text, probability in texts)
    lattice = pack(np.full((1, 1 + len(ALPHABET)), 1e-6))
    code = NumberReading("code", candidates, texts, 0.0, 0.0, lattice, 1.0, 1.0)
    first, *rest = slip.readings.lines
    return replace(slip, readings=replace(slip.readings, lines=(replace(first, code=code), *rest)))


def test_codes_of_one_pad_are_read_alike_and_those_of_another_pad_for_themselves() -> None:
    slashed = [_ordering(_drawn(0.6, number, 0), ("10/63", 0.9), ("10163", 0.08)) for number in range(1, 6)]
    doubtful = ("9164", 0.6), ("9/64", 0.35)
    here, there = _ordering(_drawn(0.6, 0, 0), *doubtful), _ordering(_drawn(0.3, 0, 0), *doubtful)
    codes = [slip.readings.lines[0].code for slip in pool_codes([here, there, *slashed])]
    assert [code.candidates[0].text for code in codes[:2] if code is not None] == ["9/64", "9164"]
