"""Totals are found by their labels: side by side under words of their own, and beside the table."""

from dataclasses import replace

import numpy as np

from formread.layout.labelled import Label, Prints, merged, place_totals
from formread.layout.printed import Piece
from formread.layout.rules import Rule
from formread.layout.table import Level, Page, Table, straight
from formread.layout.vocabulary import Match


def rule(start: float, end: float, place: float) -> Rule:
    """A printed rule: straight, but seen."""
    seen = np.ones(int(end - start), bool)
    return replace(straight((start, end), (place, place)), first=int(start), seen=seen, told=seen)


def level(left: float, right: float, y: float) -> Level:
    return Level(y, (rule(left, right, y),), left, right)


def label(word: str, left: int, top: int, right: int) -> Label:
    return Label(Piece(left, top, right, top + 16), Match(0.98, {}, word), word)


def page(levels: list[Level], uprights: list[Rule]) -> Page:
    return Page(tuple(levels), tuple(uprights), 0.0, 0.0, 1000, 1500)


TABLE = Table(
    tuple(level(50, 600, 200 + 50 * k) for k in range(9)),
    (),
    rule(200, 600, 50),
    rule(200, 600, 600),
    50.0,
    1.0,
)


def edges(place: object) -> tuple[float, ...]:
    from formread.layout.labelled import _edges

    return tuple(round(edge) for edge in _edges(place))  # type: ignore[arg-type]


def test_totals_side_by_side_have_their_boxes_under_their_words() -> None:
    bar = [level(50, 600, y) for y in (700, 730, 790)]
    sides = [rule(700, 790, x) for x in (50, 230, 410, 600)]
    prints = Prints(
        (label("goods", 110, 706, 170), label("delivery", 280, 706, 360), label("total", 470, 706, 540)), ()
    )
    found = place_totals(page([*TABLE.levels, *bar], sides), TABLE, prints)
    assert [(place.match.word, edges(place)) for place in found] == [
        ("goods", (50, 730, 230, 790)),
        ("delivery", (230, 730, 410, 790)),
        ("total", (410, 730, 600, 790)),
    ]


def test_a_box_beside_the_table_is_the_one_right_of_its_label() -> None:
    block = [level(650, 950, y) for y in (300, 350, 400)]
    sides = [rule(300, 400, x) for x in (650, 820, 950)]
    prints = Prints((label("goods", 660, 318, 760), label("total", 660, 368, 740)), ())
    found = place_totals(page([*TABLE.levels, *block], sides), TABLE, prints)
    assert [(place.match.word, edges(place)) for place in found] == [
        ("goods", (820, 300, 950, 350)),
        ("total", (820, 350, 950, 400)),
    ]


def test_a_label_without_any_rule_near_it_gives_no_box() -> None:
    prints = Prints((label("total", 300, 1300, 380),), ())
    assert place_totals(page(list(TABLE.levels), []), TABLE, prints) == []


def test_a_box_that_ends_at_a_digits_stem_gives_way_to_the_money_columns_own() -> None:
    lines = [level(450, 600, y) for y in (650, 700)]
    prints = Prints((label("total", 380, 668, 440),), ())
    whole = place_totals(
        page([*TABLE.levels, *lines], [rule(650, 700, 450), rule(650, 700, 600)]), TABLE, prints
    )
    stem = rule(650, 700, 540)
    short = place_totals(
        page([*TABLE.levels, *lines], [rule(650, 700, 450), stem, rule(650, 700, 600)]), TABLE, prints
    )
    assert edges(whole[0]) == (450, 650, 600, 700)
    assert [edges(place) for place in merged(whole, short)] == [(450, 650, 600, 700)]
