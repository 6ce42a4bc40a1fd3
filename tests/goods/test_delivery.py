"""The pile added up, ticked off, shared out and billed: no piece and no penny is lost on the way."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.errors import UsageError
from formread.goods.delivery import (
    DeliveredLine,
    DeliveryNote,
    everything_came,
    share_out,
    slips_first,
    tick_off,
)
from formread.goods.order import add_up
from formread.slips import Line, Report, Slip
from tests import strategies


def slip(number: str, *lines: Line) -> Slip:
    total = sum((line.quantity or 1) * (line.unit_price or 0) for line in lines if not line.struck_out)
    return Slip(
        photo=f"{number}.jpg",
        page=1,
        outline=(),
        lines=lines,
        charges=(),
        written_total=total,
        computed_total=total,
        difference=0,
        verdict="agrees",
        probability_wrong=0.0,
        reason="",
        slip_number=number,
    )


SOAP = Line(1, "104-238", "Lilac soap", 3, 499, 1497)
BRUSH = Line(2, "104-239", "Beech brush", 1, 1250, 1250)
PILE = Report(
    "GBP",
    (
        slip("0001", SOAP, BRUSH),
        slip("0002", replace(SOAP, code="104238", quantity=2)),
        slip("0003", replace(SOAP, quantity=None), replace(BRUSH, struck_out=True)),
    ),
    (),
)


def note(*lines: tuple[str, str, int, str]) -> DeliveryNote:
    return DeliveryNote("note", tuple(DeliveredLine(code, words, n, box) for code, words, n, box in lines))


def test_products_are_added_up_with_the_slips_behind_them() -> None:
    order = add_up(PILE)
    soap, brush = order.products
    assert (soap.code, soap.quantity, soap.amount) == ("104-238", 6, 6 * 499)
    assert [(one.slip, one.quantity) for one in soap.behind] == [(0, 3), (1, 2), (2, 1)]
    assert (brush.quantity, [one.slip for one in brush.behind]) == (1, [0])


def test_a_slip_photographed_twice_is_pointed_out() -> None:
    twice = replace(PILE.slips[0], photo="again.jpg")
    assert add_up(replace(PILE, slips=(*PILE.slips, twice))).repeated == (
        ("0001 (again.jpg)", "0001 (0001.jpg)"),
    )
    assert add_up(PILE).repeated == ()


def test_short_over_not_ordered_and_parts_in_several_boxes_are_told_apart() -> None:
    order = add_up(PILE)
    soap, brush, bowl = tick_off(
        order,
        note(
            ("104-238", "Lilac soap", 2, "1"),
            ("104 238", "Lilac soap", 2, "3"),
            ("104-239", "Beech brush", 2, "2"),
            ("117-001", "Enamel bowl", 1, "2"),
        ),
    )
    assert (soap.ordered, soap.delivered, soap.short, soap.over, soap.boxes) == (6, 4, 2, 0, ("1", "3"))
    assert (brush.short, brush.over) == (0, 1)
    assert (bowl.ordered, bowl.delivered, bowl.over, bowl.perhaps) == (0, 1, 1, None)


def test_a_substitute_is_named_by_the_note_or_asked_about() -> None:
    order = add_up(PILE)
    by_note = DeliveredLine("300-1", "Oak brush", 1, instead_of="104-239")
    ticked = tick_off(order, DeliveryNote("note", (by_note,)))
    assert ticked[-1].instead_of == "104239"
    ticked = tick_off(order, note(("104-233", "Something", 2, "")))
    assert ticked[-1].perhaps is not None
    assert "104-238" in ticked[-1].perhaps
    ticked = tick_off(order, note(("555", "Lilac soap, large", 2, "")))
    assert ticked[-1].perhaps is not None
    assert "substitute" in ticked[-1].perhaps


def test_a_line_without_a_code_meets_what_was_ordered_without_one() -> None:
    pile = Report("GBP", (slip("1", SOAP), slip("2", replace(SOAP, code=None, quantity=1))), ())
    ticked = tick_off(add_up(pile), note(("104-238", "Lilac soap", 3, ""), ("", "Lilac soap", 1, "")))
    assert [(one.code, one.ordered, one.delivered) for one in ticked] == [("104-238", 3, 3), (None, 1, 1)]


def test_what_is_short_goes_to_the_slips_in_order_and_the_amounts_due_follow() -> None:
    order = add_up(PILE)
    ticked = tick_off(order, note(("104-238", "", 4, ""), ("104-239", "", 1, "")))
    bills = share_out(order, ticked, slips_first(order))
    assert [[(line.packed, line.short) for line in bill.lines] for bill in bills] == [
        [(3, 0), (1, 0)],
        [(1, 1)],
        [(0, 1)],
    ]
    assert [bill.due for bill in bills] == [1497 + 1250, 499, 0]
    bills = share_out(order, ticked, slips_first(order, ["0003", "0002"]))
    assert [bill.due for bill in bills] == [499 + 1250, 998, 499]


def test_a_slip_that_is_not_there_can_not_be_served_first() -> None:
    with pytest.raises(UsageError, match="no slip '0009'"):
        slips_first(add_up(PILE), ["0009"])


def test_a_line_whose_price_is_unknown_owes_its_share_rounded_half_up() -> None:
    three = slip("1", Line(1, "7", None, 3, None, 100))
    three = replace(three, computed_total=100)
    order = add_up(Report("GBP", (three,), ()))
    (bill,) = share_out(order, tick_off(order, note(("7", "", 2, ""))), slips_first(order))
    assert bill.lines[0].packed_amount == 67
    assert bill.due == 67


@given(strategies.reports(most_slips=4), st.data())
def test_no_piece_and_no_penny_is_lost_between_slips_and_bags(report: Report, data: st.DataObject) -> None:
    order = add_up(report)
    lines = [
        DeliveredLine(product.key, product.description, data.draw(st.integers(0, 2 * product.quantity)))
        for product in order.products
    ]
    lines.append(DeliveredLine("ZZZ-not-ordered", "Something else", data.draw(st.integers(0, 3))))
    ticked = tick_off(order, DeliveryNote("drawn", tuple(lines)))
    sequence = data.draw(st.permutations([account.slip for account in order.accounts]))
    bills = share_out(order, ticked, sequence)

    assert sum(product.quantity for product in order.products) == sum(
        line.packed + line.short for bill in bills for line in bill.lines
    )
    for one in ticked:
        packed = sum(line.packed for bill in bills for line in bill.lines if line.product == one.key)
        assert packed == min(one.ordered, one.delivered)
        assert one.delivered + one.short == one.ordered + one.over
    assert sum(slip.computed_total for slip in report.slips) == sum(
        bill.due + bill.short_amount for bill in bills
    )
    for bill in bills:
        account = bill.account
        assert account.goods + account.charges + account.other == account.total
        assert account.goods == sum(line.packed_amount + line.short_amount for line in bill.lines)
        assert all(0 <= line.packed <= line.quantity for line in bill.lines)


@given(strategies.reports(most_slips=4))
def test_nothing_is_short_when_everything_came(report: Report) -> None:
    order = add_up(report)
    ticked = tick_off(order, everything_came(order))
    assert all(one.short == 0 and one.over == 0 for one in ticked)
    bills = share_out(order, ticked, slips_first(order))
    assert [bill.due for bill in bills] == [account.total for account in order.accounts]


@given(strategies.reports(most_slips=4))
def test_every_counted_line_is_ordered_or_asked_about(report: Report) -> None:
    order = add_up(report)
    ordered = [(one.slip, one.row) for one in order.wanted]
    asked = [(one.slip, one.row) for one in order.unclear]
    counted = [
        (place, line.row)
        for place, one in enumerate(report.slips)
        for line in one.lines
        if not line.struck_out
    ]
    assert sorted(ordered + asked) == counted
