"""Bags, substitutes and what customers are told."""

from pathlib import Path

from formread.goods.delivery import DeliveredLine, DeliveryNote
from formread.goods.packing import BAGS
from formread.goods.plan import plan_goods
from formread.goods.price_list import learn_prices, read_price_list
from tests.goods.test_delivery import PILE, note


def prices(folder: Path, sizes: tuple[str, str]) -> Path:
    path = folder / "prices.csv"
    path.write_text(
        f"code,description,price,size\n104-239,Beech brush,12.50,{sizes[1]}\n104-238,Lilac soap,4.99,{sizes[0]}\n"
    )
    return path


def test_the_smallest_bag_that_holds_everything_is_chosen_and_lines_lie_as_in_the_boxes(
    tmp_path: Path,
) -> None:
    goods = plan_goods(PILE, read_price_list(prices(tmp_path, ("small", "medium"))))
    first, second, third = goods.packed
    assert [line.code for line in first.bill.lines] == ["104-239", "104-238"]
    assert (first.room, first.bag, first.bags) == (3 + 2, BAGS[1], 1)
    assert (second.room, second.bag) == (2, BAGS[0])
    assert (third.room, third.bag, third.bags) == (1, BAGS[0], 1)
    goods = plan_goods(PILE, read_price_list(prices(tmp_path, ("20", "1"))))
    assert (goods.packed[0].bag, goods.packed[0].bags) == (BAGS[2], 3)  # 61 of room, 24 to a bag


def test_without_sizes_a_bag_is_a_bag(tmp_path: Path) -> None:
    assert [(bag.bag, bag.bags) for bag in plan_goods(PILE).packed] == [(None, 1)] * 3


def test_customers_are_told_what_is_still_to_come_and_what_to_pay() -> None:
    goods = plan_goods(PILE, note=note(("104-238", "", 4, ""), ("104-239", "", 1, "")))
    assert [one.name for one in goods.notes] == ["0002", "0003"]
    assert goods.notes[0].lines == (
        "Lilac soap (104-238): 1 of 2 still to come; £4.99 to pay then.",
        "To pay now: £4.99.",
    )
    assert goods.notes[1].lines[-1] == "Nothing of this order has come yet: there is nothing to pay now."


def test_a_substitute_is_handed_out_only_when_the_seller_accepts_it() -> None:
    came = DeliveryNote(
        "note",
        (
            DeliveredLine("104-238", "Lilac soap", 6),
            DeliveredLine("300-1", "Oak brush", 1, instead_of="104-239"),
        ),
    )
    kept = plan_goods(PILE, note=came)
    assert [bill.due for bill in kept.bills] == [3 * 499, 2 * 499, 499]
    assert "Oak brush" in " ".join(kept.notes[0].lines)
    accepted = plan_goods(PILE, note=came, accept_substitutes=True)
    assert [bill.due for bill in accepted.bills] == [3 * 499 + 1250, 2 * 499, 499]
    assert accepted.ticked[1].came_as == ("Oak brush",)


def test_prices_are_learned_from_the_delivery_note_where_the_slips_say_nothing() -> None:
    came = DeliveryNote("note", (DeliveredLine("104-239", "Brush", 1, price=1300), DeliveredLine("9", "", 1)))
    learned = learn_prices(PILE, came)
    assert learned.learned
    assert learned.prices == {"104238": 499, "104239": 1300}
