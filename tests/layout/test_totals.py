"""Totals are found by their labels: beside them, over them, in them; in boxes, on lines, with nothing printed at all.

The little pages are drawn by hand: rules as the rules' finder gives them, print as the recogniser reads it. All
wording and numbers are invented.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
import pytest

from formread.layout.cells import find_cells
from formread.layout.ink import Ink
from formread.layout.printed import Piece
from formread.layout.record import Rectangle
from formread.layout.roles import assign_totals
from formread.layout.rules import Rule
from formread.layout.table import Level, Page, Table, straight
from formread.layout.totals import Money, Printed, Surroundings, TotalPlace, place_totals
from formread.layout.vocabulary import NOTHING, LabelRole, Match
from formread.ocr import PrintedText

NEAR = 6  # pixels: the rules' own thickness, and what is left white beside them


def rule(start: float, end: float, place: float) -> Rule:
    """A printed rule: straight, and seen all along."""
    seen = np.ones(int(end - start), bool)
    line = straight((start, end), (place, place))
    return replace(line, first=int(start), seen=seen, told=seen, strength=0.3, thickness=2.0)


def level(left: float, right: float, y: float) -> Level:
    return Level(y, (rule(left, right, y),), left, right)


def page(levels: Sequence[Level], uprights: Sequence[Rule]) -> Page:
    return Page(tuple(levels), tuple(uprights), 0.0, 0.0, 1000, 1500)


TABLE = Table(
    tuple(level(50, 600, 200 + 50 * k) for k in range(9)),
    (),
    rule(200, 600, 50),
    rule(200, 600, 600),
    50.0,
    1.0,
)
MONEY = Money(480, 600, None)
SPLIT = Money(480, 600, 556)


def label(words: str, left: int, top: int, role: LabelRole | None) -> Printed:
    piece = Piece(left, top, left + 9 * len(words), top + 16)
    match = NOTHING if role is None else Match(0.98, {role: 1.0}, words)
    return Printed(piece, PrintedText(words, 0.98, np.full((2, 2), 0.5, np.float32)), match)


def ink_of(drawn: Page) -> Ink:
    ink = np.zeros((drawn.height, drawn.width), np.float32)
    for line in (r for at in drawn.levels for r in at.rules):
        cv2.line(ink, (int(line.start), int(line.middle)), (int(line.end), int(line.middle)), (0.5,), 2)
    for line in drawn.uprights:
        cv2.line(ink, (int(line.middle), int(line.start)), (int(line.middle), int(line.end)), (0.5,), 2)
    return ink


def places(
    levels: Sequence[Level],
    uprights: Sequence[Rule],
    prints: Sequence[Printed],
    money: Money = MONEY,
    written: Sequence[tuple[int, int, int, int]] = (),
) -> list[TotalPlace]:
    drawn = page([*TABLE.levels, *levels], uprights)
    cells = [c for c in find_cells(ink_of(drawn), drawn, []) if c.top > 600 or c.left > 600]
    lines = tuple(r for at in drawn.levels for r in at.rules)
    content = np.zeros((drawn.height, drawn.width), np.float32)
    for left, top, right, bottom in written:
        cv2.rectangle(content, (left, top), (right, bottom), (0.7,), 3)
    return place_totals(Surroundings(drawn, TABLE, money, tuple(cells), lines, tuple(prints), 600.0, content))


def assert_at(place: TotalPlace, label_: str, edges: tuple[int, int, int, int]) -> None:
    assert place.label == label_
    box = place.box
    found = np.array([box.left, box.top, box.right, box.bottom])
    assert np.abs(found - edges).max() <= NEAR, found


def test_boxes_in_a_block_belong_to_the_labels_left_of_them() -> None:
    lines = [level(480, 600, y) for y in (650, 700, 750)]
    sides = [rule(650, 750, x) for x in (480, 600)]
    prints = [label("Delivery", 380, 668, "delivery"), label("To pay", 400, 718, "total")]
    found = places(lines, sides, prints)
    assert_at(found[0], "Delivery", (480, 650, 600, 700))
    assert_at(found[1], "To pay", (480, 700, 600, 750))


def test_a_block_beside_the_table_has_its_own_columns() -> None:
    block = [level(650, 950, y) for y in (300, 350, 400)]
    sides = [rule(300, 400, x) for x in (650, 820, 950)]
    prints = [label("Goods", 660, 318, "goods"), label("Total", 660, 368, "total")]
    found = places(block, sides, prints)
    assert_at(found[0], "Goods", (820, 300, 950, 350))
    assert_at(found[1], "Total", (820, 350, 950, 400))


def test_totals_side_by_side_have_their_boxes_under_their_words() -> None:
    bar = [level(50, 600, y) for y in (700, 730, 790)]
    sides = [rule(700, 790, x) for x in (50, 230, 410, 600)]
    prints = [
        label("Goods", 110, 706, "goods"),
        label("Delivery", 280, 706, "delivery"),
        label("Total", 470, 706, "total"),
    ]
    found = places(bar, sides, prints)
    assert_at(found[0], "Goods", (50, 730, 230, 790))
    assert_at(found[1], "Delivery", (230, 730, 410, 790))
    assert_at(found[2], "Total", (410, 730, 600, 790))


def test_words_at_the_head_of_a_tall_box_leave_the_rest_of_it_to_write_in() -> None:
    bar = [level(50, 600, y) for y in (700, 800)]
    sides = [rule(700, 800, x) for x in (50, 325, 600)]
    prints = [label("Delivery", 120, 706, "delivery"), label("Total", 420, 706, "total")]
    found = places(bar, sides, prints)
    assert_at(found[0], "Delivery", (50, 724, 325, 800))
    assert_at(found[1], "Total", (325, 724, 600, 800))


def test_one_bar_without_boxes_is_shared_by_its_labels() -> None:
    bar = [level(50, 600, y) for y in (700, 750)]
    sides = [rule(700, 750, x) for x in (50, 600)]
    prints = [label("Delivery", 60, 718, "delivery"), label("Total", 330, 718, "total")]
    found = places(bar, sides, prints)
    assert_at(found[0], "Delivery", (135, 700, 326, 750))
    assert_at(found[1], "Total", (378, 700, 600, 750))


def test_labels_may_stand_beside_lines_to_write_on() -> None:
    lines = [level(450, 600, 680), level(450, 600, 735)]
    prints = [label("Carriage", 300, 655, "delivery"), label("In all", 300, 710, "total")]
    found = places(lines, [], prints)
    assert_at(found[0], "Carriage", (450, 630, 600, 680))
    assert_at(found[1], "In all", (450, 682, 600, 735))


def test_a_stroke_of_a_pen_over_a_line_to_write_on_is_not_taken_for_it() -> None:
    lines = [level(450, 600, 680), level(450, 600, 735), level(460, 545, 715)]
    prints = [label("Carriage", 300, 655, "delivery"), label("In all", 300, 705, "total")]
    found = places(lines, [], prints)
    assert_at(found[1], "In all", (450, 682, 600, 735))


def test_labels_with_nothing_printed_beside_them_have_their_place_under_the_money_column() -> None:
    prints = [label("Delivery", 380, 630, "delivery"), label("Total", 400, 680, "total")]
    found = places([], [], prints)
    assert_at(found[0], "Delivery", (480, 600, 600, 663))
    assert_at(found[1], "Total", (480, 662, 600, 713))


def test_a_box_whose_word_is_not_known_counts_where_it_stands_in_one_block_with_known_ones() -> None:
    lines = [level(480, 600, y) for y in (650, 700, 750)]
    sides = [rule(650, 750, x) for x in (480, 600)]
    found = places(lines, sides, [label("Candles", 380, 668, None), label("To pay", 400, 718, "total")])
    assert [place.label for place in found] == ["Candles", "To pay"]
    assert assign_totals([place.match for place in found]) == ("goods", "total")


def test_a_label_that_speaks_of_no_place_leaves_the_boxes_under_the_money_column() -> None:
    prints = [label("Total", 60, 1400, "total")]
    assert places([], [], prints) == []
    lines = [level(480, 600, y) for y in (650, 700)]
    sides = [rule(600, 700, x) for x in (480, 600)]
    assert len(places(lines, sides, prints)) == 2


def test_a_number_of_pieces_is_no_money() -> None:
    lines = [level(480, 600, y) for y in (650, 700, 750)]
    sides = [rule(650, 750, x) for x in (480, 600)]
    prints = [label("Number of pies", 340, 668, "count"), label("To pay", 400, 718, "total")]
    assert [place.label for place in places(lines, sides, prints)] == ["To pay"]


def test_pounds_and_pence_are_parted_where_the_money_column_parts_them() -> None:
    lines = [level(480, 600, y) for y in (650, 700)]
    sides = [rule(650, 700, x) for x in (480, 556, 600)]
    found = places(lines, sides, [label("Total", 400, 668, "total")], SPLIT)
    assert found[0].pence is not None
    assert abs(found[0].box.right - 556) <= NEAR
    assert abs(found[0].pence.right - 600) <= NEAR


def test_a_pence_half_that_is_open_on_the_right_belongs_to_its_pounds() -> None:
    lines = [level(480, 600, y) for y in (650, 700)]
    sides = [rule(650, 700, x) for x in (480, 556)]
    found = places(lines, sides, [label("Total", 400, 668, "total")], SPLIT)
    assert found[0].pence is not None
    assert abs(found[0].box.right - 556) <= NEAR
    assert abs(found[0].pence.right - 600) <= NEAR


def test_stems_that_stand_in_line_in_some_boxes_of_a_block_part_none() -> None:
    lines = [level(480, 600, y) for y in (650, 700, 750, 800)]
    sides = [rule(650, 800, 480), rule(650, 800, 600), rule(650, 700, 575), rule(750, 800, 575)]
    said: tuple[tuple[str, LabelRole], ...] = (
        ("Goods", "goods"),
        ("Postage", "delivery"),
        ("Total", "total"),
    )
    prints = [label(words, 400, 668 + 50 * k, role) for k, (words, role) in enumerate(said)]
    assert [place.pence for place in places(lines, sides, prints)] == [None, None, None]


@pytest.mark.parametrize("stem", [510, 545, 575])
def test_a_digits_stem_from_rule_to_rule_parts_no_box(stem: int) -> None:
    lines = [level(480, 600, y) for y in (650, 700)]
    sides = [rule(650, 700, x) for x in (480, stem, 600)]
    found = places(lines, sides, [label("Total", 400, 668, "total")])
    assert_at(found[0], "Total", (480, 650, 600, 700))
    assert found[0].pence is None


def test_without_a_single_label_the_boxes_under_the_money_column_are_the_totals() -> None:
    lines = [level(480, 600, y) for y in (650, 700)]
    sides = [rule(600, 700, x) for x in (480, 600)]
    found = places(lines, sides, [])
    assert len(found) == 2
    assert assign_totals([place.match for place in found]) == ("goods", "total")


def test_a_number_that_begins_before_its_line_is_not_cut() -> None:
    lines = [level(450, 600, 680), level(450, 600, 735)]
    prints = [label("Carriage", 300, 655, "delivery"), label("In all", 300, 710, "total")]
    digits = [(425, 695, 440, 725), (447, 695, 462, 725), (470, 695, 485, 725)]
    found = places(lines, [], prints, written=digits)
    assert_at(found[0], "Carriage", (450, 630, 600, 680))
    assert_at(found[1], "In all", (421, 682, 600, 735))


def test_words_alone_give_no_totals() -> None:
    assert places([], [], [label("Many thanks", 300, 1300, None)]) == []


def test_sides_too_short_to_be_rules_still_close_a_box() -> None:
    drawn = page([level(300, 430, 650), level(300, 430, 690)], [])
    ink = ink_of(page(drawn.levels, [rule(650, 690, 301), rule(650, 690, 429)]))
    around = Rectangle(0, 600, 1000, 1500)
    assert [
        abs(c.left - 301) <= NEAR and abs(c.right - 429) <= NEAR for c in find_cells(ink, drawn, [around])
    ] == [True]
    assert find_cells(ink_of(drawn), drawn, [around]) == []
