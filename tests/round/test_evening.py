"""Every penny, from the slips to the purse at the end of the round."""

import dataclasses
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from formread.errors import ListError
from formread.goods.delivery import DeliveredLine, DeliveryNote
from formread.goods.order import add_up
from formread.goods.plan import Goods, plan_goods
from formread.round.addresses import parse_address
from formread.round.cashing import Taking, cash_up, everybody_paid, read_count, read_takings
from formread.round.coins import cash_of
from formread.round.customers import Customers, read_customers
from formread.round.drops import next_note, plan_round
from formread.slips import Report
from tests import strategies
from tests.goods.test_delivery import PILE, note

GBP = cash_of("GBP")


def assert_no_penny_is_lost(goods: Goods, float_in: int) -> None:
    """Goods on slips = packed + short; due = cash expected; float + cash expected = cash in hand at the end."""
    cash = cash_of(goods.report.currency)
    pieces = sum(one.quantity for one in goods.order.wanted)
    assert pieces == sum(line.packed + line.short for bill in goods.bills for line in bill.lines)
    assert sum(one.amount for one in goods.order.wanted) == sum(
        line.packed_amount + line.short_amount for bill in goods.bills for line in bill.lines
    )
    right = sum(account.total for account in goods.order.accounts)
    assert right == sum(slip.computed_total for slip in goods.report.slips)
    assert right == sum(bill.due + bill.short_amount for bill in goods.bills)
    plan = plan_round(goods.report, goods.packed, cash, Customers({}, {}))
    assert sorted(slip for drop in plan.drops for slip in drop.slips) == [bill.slip for bill in goods.bills]
    # Where small coins are gone, each door is rounded to what can be paid; elsewhere nothing changes.
    by_slip = {bill.slip: bill.due for bill in goods.bills}
    for drop in plan.drops:
        assert drop.due == cash.payable(sum(by_slip[slip] for slip in drop.slips))
        assert drop.handed - drop.change == drop.due or drop.change == -drop.due >= 0
    up = cash_up(plan.drops, everybody_paid(plan.drops), float_in)
    assert up.due == up.cash == sum(plan.dues)
    assert up.owed == 0
    assert up.expected == float_in + sum(plan.dues)
    assert up.difference is None


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=40)
@given(strategies.reports(most_slips=4), st.data())
def test_no_penny_is_lost_on_any_pile(report: Report, data: st.DataObject) -> None:
    order = add_up(report)
    lines = tuple(
        DeliveredLine(product.key, product.description, data.draw(st.integers(0, product.quantity + 1)))
        for product in order.products
    )
    came = data.draw(st.none() | st.just(DeliveryNote("drawn", lines)))
    assert_no_penny_is_lost(plan_goods(report, note=came), data.draw(st.integers(0, 20_000)))


@given(
    st.lists(st.tuples(st.integers(-500, 9_999), st.integers(0, 9_999), st.integers(0, 9_999)), max_size=6),
    st.integers(0, 9_999),
    st.dictionaries(st.sampled_from(GBP.values), st.integers(0, 30)),
)
def test_what_was_taken_and_what_is_owed_make_what_was_due(
    doors: list[tuple[int, int, int]], float_in: int, counted: dict[int, int]
) -> None:
    drops = plan_round(PILE, plan_goods(PILE).packed, GBP, Customers({}, {})).drops
    made = [dataclasses.replace(drops[0], number=at, due=due) for at, (due, _, _) in enumerate(doors, 1)]
    takings = [Taking(at, cash, otherwise) for at, (_, cash, otherwise) in enumerate(doors, 1)]
    up = cash_up(made, takings, float_in, counted)
    assert up.cash + up.otherwise + up.owed == up.due
    assert up.counted_worth == up.expected + (up.difference or 0)
    assert sum(door.owes for door in up.owing) == up.owed


def customers(folder: Path, text: str) -> Customers:
    path = folder / "customers.csv"
    path.write_text(text)
    return read_customers([path])


def test_two_slips_of_one_door_are_one_drop_and_two_names_are_two(tmp_path: Path) -> None:
    who = customers(
        tmp_path,
        'slip,name,address\n0001,Ms Roe,"5 Hasp Lane, Quincebury"\n0002,Ms Roe,"5 HASP LN, Quincebury"\n'
        '0003,Mr Pym,"5 Hasp Lane, Quincebury"\n',
    )
    plan = plan_round(PILE, plan_goods(PILE).packed, GBP, who)
    assert [(drop.who, drop.slips, drop.due, drop.bags) for drop in plan.drops] == [
        ("Ms Roe", (0, 1), 3 * 499 + 1250 + 2 * 499, 2),
        ("Mr Pym", (2,), 499, 1),
    ]


def test_a_slip_whose_customer_nobody_knows_comes_last_and_is_asked_about(tmp_path: Path) -> None:
    who = customers(tmp_path, "slip,name,address\n0002,Ms Roe,5 Hasp Lane\n")
    plan = plan_round(PILE, plan_goods(PILE).packed, GBP, who)
    assert plan.drops[0].names == ("0002",)
    assert all(drop.question and "whose is slip" in drop.question.text for drop in plan.drops[1:])


def test_the_shortest_walk_is_taken_when_asked_for_and_never_longer(tmp_path: Path) -> None:
    who = customers(
        tmp_path,
        "slip,name,address,lat,long\n0001,A,1 Hasp Lane,54.00,-2.00\n0002,B,2 Hasp Lane,54.02,-2.00\n"
        "0003,C,3 Hasp Lane,54.01,-2.00\n",
    )
    packed = plan_goods(PILE).packed
    plan = plan_round(PILE, packed, GBP, who, shortest=True)
    assert plan.walk is not None
    assert plan.walk.length <= plan.walk.own_length
    assert sorted(drop.who for drop in plan.drops) == ["A", "B", "C"]
    assert plan_round(PILE, packed, GBP, who).walk is None


@pytest.mark.parametrize(
    ("due", "handed"),
    [
        (0, 0),
        (-250, 0),
        (499, 500),
        (500, 500),
        (501, 1000),
        (1260, 2000),
        (2000, 2000),
        (2340, 2500),
        (4501, 5000),
    ],
)
def test_the_next_note_up_is_what_a_person_without_coins_hands_over(due: int, handed: int) -> None:
    """Worked by hand with notes of 5, 10 and 20 (common practice, no source)."""
    assert next_note(due, GBP) == handed


def test_takings_and_counted_coins_are_read_and_nonsense_is_named(tmp_path: Path) -> None:
    plan = plan_round(
        PILE,
        plan_goods(PILE, note=note(("104-238", "", 6, ""), ("104-239", "", 1, ""))).packed,
        GBP,
        Customers({}, {}),
    )
    path = tmp_path / "takings.csv"
    path.write_text("drop,cash,otherwise,remarks\n1,27.47,,\n2,,9.98,card\n")
    takings = read_takings(path, plan.drops, "GBP")
    up = cash_up(plan.drops, takings, 2000, {2000: 2, 500: 1, 200: 1, 20: 2, 5: 1, 2: 1})
    assert (up.cash, up.otherwise, up.owed) == (2747, 998, 499)
    assert [door.drop.number for door in up.owing] == [3]
    assert (up.expected, up.counted_worth, up.difference) == (4747, 4747, 0)
    path.write_text("drop,cash\n1,2747\n1,27.47\n9,1.00\n2,much\n")
    with pytest.raises(ListError) as caught:
        read_takings(path, plan.drops, "GBP")
    for words in (
        "row 2",
        "has the point moved",
        "row 3",
        "already",
        "row 4",
        "no drop 9",
        "row 5",
        "'much'",
    ):
        assert words in str(caught.value)
    count = tmp_path / "count.csv"
    count.write_text("coin,pieces\n50p,3\n2.00,1\n3.00,2\n")
    with pytest.raises(ListError, match=r"row 4: GBP has no coin or note of £3\.00"):
        read_count(count, GBP)


def test_an_address_that_is_written_on_the_slip_is_used_where_no_list_names_it() -> None:
    slip = dataclasses.replace(PILE.slips[0], customer="Ms Roe, 5 Hasp Lane, Quincebury")
    found = Customers({}, {}).address_of(slip, "0001")
    assert found == parse_address("5 Hasp Lane, Quincebury", "Ms Roe")
