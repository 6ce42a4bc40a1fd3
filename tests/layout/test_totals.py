"""Which label speaks of which box of the totals: on maps drawn here, with print that says what the test has it say."""

from collections.abc import Sequence

import numpy as np
import pytest

from formread.layout.printed import Piece
from formread.layout.record import TotalBox
from formread.layout.scale import Scale
from formread.layout.table import find_grid
from formread.layout.totals import find_totals
from formread.ocr import PrintedText
from tests.layout.test_grid import Where, seen, table
from tests.layout.test_vocabulary import printed

PIXELS = 4.0
"""Of the sheet, and of the working image, to a place of the map."""


def named(
    boxes: Sequence[Where], labels: dict[tuple[float, float, float, float], str], counted: str = ""
) -> tuple[TotalBox, ...]:
    """The totals of an even table with `boxes` under it, beside which `labels` are printed."""
    places = [*table(), *boxes, *(("label", *where, False) for where in labels)]
    maps = seen(places)
    grid = find_grid(maps)
    assert grid is not None
    content = np.zeros((800, 960), np.float32)
    for left, top, right, bottom in labels:
        rows, columns = (
            slice(int(PIXELS * (a + 1)), int(PIXELS * (b - 1))) for a, b in ((top, bottom), (left, right))
        )
        content[rows, columns] = 1

    def read(pieces: Sequence[Piece]) -> list[PrintedText]:
        found = []
        for piece in pieces:
            x, y = (piece.left + piece.right) / 2 / PIXELS, (piece.top + piece.bottom) / 2 / PIXELS
            text = next((said for (a, b, c, d), said in labels.items() if a <= x <= c and b <= y <= d), "")
            found.append(printed(text))
        return found

    totals, _ = find_totals(maps, grid, content, read, Scale(grid, maps, 1.0), counted)
    return totals


def roles(
    boxes: Sequence[Where], labels: dict[tuple[float, float, float, float], str], counted: str = ""
) -> list[str]:
    """What these totals are."""
    return [total.role for total in named(boxes, labels, counted)]


def test_labels_right_of_their_boxes_are_read() -> None:
    """A ladder at the left edge has its labels on the right; what the boxes look like would say otherwise."""
    boxes: list[Where] = [
        ("goods", 10, 150, 60, 162, False),
        ("delivery", 10, 164, 60, 176, False),
        ("total", 10, 178, 60, 190, False),
    ]
    labels = {
        (64.0, 151.0, 120.0, 161.0): "for the goods",
        (64.0, 165.0, 130.0, 175.0): "less deposit paid",
        (64.0, 179.0, 120.0, 189.0): "balance due",
    }
    assert roles(boxes, labels) == ["goods", "deposit", "total"]


def test_in_one_line_a_label_speaks_of_the_box_after_it() -> None:
    """It stands right of another box, too."""
    boxes: list[Where] = [
        ("goods", 50, 160, 90, 172, False),
        ("delivery", 130, 160, 160, 172, False),
        ("total", 200, 160, 235, 172, False),
    ]
    labels = {
        (10.0, 161.0, 47.0, 171.0): "goods",
        (95.0, 161.0, 127.0, 171.0): "less deposit",
        (164.0, 161.0, 197.0, 171.0): "to pay",
    }
    assert roles(boxes, labels) == ["goods", "deposit", "total"]


def test_a_box_for_what_the_quantities_count_is_no_sum() -> None:
    """Whatever it looks like; under another heading it may be one."""
    boxes: list[Where] = [("delivery", 60, 160, 90, 172, False), ("total", 160, 160, 220, 172, False)]
    labels = {(20.0, 161.0, 57.0, 171.0): "Bobbins", (110.0, 161.0, 157.0, 171.0): "To pay"}
    assert roles(boxes, labels, "Bobbins") == ["total"]
    assert len(roles(boxes, labels, "Quantity")) == 2


@pytest.mark.parametrize("looks", ["other_total", "goods"])
def test_one_label_before_two_boxes_means_the_second(looks: str) -> None:
    """The first says how many, the second how much, where the first does not look like an amount alone."""
    boxes: list[Where] = [(looks, 100, 160, 130, 172, False), ("total", 131, 160, 190, 172, False)]
    found = roles(boxes, {(20.0, 161.0, 97.0, 171.0): "Grand total"})
    assert (found == ["total"]) == (looks == "other_total")


def test_what_is_labelled_as_goods_is_no_count_whatever_it_looks_like() -> None:
    """Three charges beside it, so that it is none for want of another."""
    boxes: list[Where] = [
        ("other_total", 10, 160, 40, 172, False),
        ("delivery", 60, 160, 90, 172, False),
        ("total", 160, 160, 220, 172, False),
    ]
    for label, expected in (
        ("goods total", ["goods", "delivery", "total"]),
        ("in all", ["delivery", "total"]),
    ):
        labels = {
            (10.0, 153.0, 40.0, 159.0): label,
            (60.0, 153.0, 90.0, 159.0): "carriage",
            (160.0, 153.0, 200.0, 159.0): "to pay",
        }
        assert roles(boxes, labels) == expected


def test_a_caption_between_two_boxes_speaks_of_the_one_under_it() -> None:
    """Boxes that stand close under each other, each with its caption over it."""
    boxes: list[Where] = [
        ("delivery", 60, 148, 120, 162, False),
        ("discount", 60, 167, 120, 181, False),
        ("total", 60, 186, 120, 198, False),
    ]
    labels = {
        (62.0, 143.0, 100.0, 147.0): "goods total",
        (62.0, 162.0, 100.0, 166.0): "carriage",
        (62.0, 181.0, 100.0, 185.0): "to pay",
    }
    assert roles(boxes, labels) == ["goods", "delivery", "total"]


def test_what_lies_right_of_a_labelled_box_is_no_part_of_its_label() -> None:
    """Other fields stand beside the sums, and a number in them would be taken for a percentage."""
    boxes: list[Where] = [("discount", 60, 150, 90, 162, False), ("total", 60, 164, 90, 176, False)]
    labels = {
        (20.0, 151.0, 57.0, 161.0): "less discount",
        (93.0, 151.0, 140.0, 161.0): "10 % on account",
        (20.0, 165.0, 57.0, 175.0): "to pay",
    }
    assert [total.label for total in named(boxes, labels)] == ["less discount", "to pay"]
