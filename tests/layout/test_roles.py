"""Which boxes of the totals belong to the sum, and what they are, by labels, looks and whether anything is written."""

import pytest

from formread.layout.record import TotalRole
from formread.layout.roles import TotalSeen, assign_totals, totals_among
from formread.layout.vocabulary import NOTHING, LabelRole, Match, match_total
from tests.measure.wording import printed

LOOKS: tuple[TotalRole, ...] = ("goods", "delivery", "discount", "deposit", "other", "total")


def box(says: LabelRole | None, looks: TotalRole, *, written: bool = True, seen: float = 0.99) -> TotalSeen:
    """A box whose label says one thing ("nothing that adds up" for None) and which surely looks like another."""
    label = NOTHING if says is None else Match(0.98, {says: 1.0}, says)
    return TotalSeen(label, {role: 0.95 if role == looks else 0.01 for role in LOOKS}, True, seen, written)


def roles(boxes: list[TotalSeen]) -> tuple[TotalRole, ...]:
    among = totals_among(boxes)
    return assign_totals([one for one, its in zip(boxes, among, strict=True) if its], 1)[0][0]


def test_each_box_is_what_its_label_says() -> None:
    block = [box("goods", "goods"), box("delivery", "delivery"), box("total", "total")]
    assert roles(block) == ("goods", "delivery", "total")


def test_a_stub_that_says_it_all_again_does_not_count() -> None:
    block = [box("goods", "goods"), box("deposit", "deposit"), box("total", "total")]
    stub = [
        box("goods", "goods", written=False),
        box("deposit", "deposit", written=False),
        box("total", "total", written=False),
    ]
    assert totals_among([*block, *stub]) == [True] * 3 + [False] * 3


def test_a_box_that_looks_like_another_total_and_is_labelled_as_none_is_left_out() -> None:
    assert totals_among([box("total", "total"), box(None, "total", written=False)]) == [True, False]


def test_a_block_has_a_total_if_anything_in_it_may_be_one() -> None:
    block = [box("goods", "goods"), TotalSeen(NOTHING, dict.fromkeys(LOOKS, 1 / 6))]
    assert roles(block) == ("goods", "total")


@pytest.mark.parametrize(
    ("labels", "told"),
    [
        (("Total", "Post", "Enclosed"), ("goods", "delivery", "total")),
        (("Total", "Paid down", "Left to pay at pick-up"), ("goods", "deposit", "total")),
        (("Total", "Carriage", "Remitted"), ("goods", "delivery", "total")),
        (("Delivery", "Total"), ("delivery", "total")),
    ],
)
def test_a_total_over_the_sum_to_pay_is_that_of_the_goods(
    labels: tuple[str, ...], told: tuple[TotalRole, ...]
) -> None:
    alike = dict.fromkeys(LOOKS, 1 / 6)
    assert roles([TotalSeen(match_total([printed(label)]), alike, True) for label in labels]) == told


def test_no_boxes_have_no_roles() -> None:
    assert totals_among([]) == []
    assert assign_totals([], 3)[0][0] == ()
