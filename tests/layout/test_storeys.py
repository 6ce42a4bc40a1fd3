"""Rows of two storeys and orders on cards: on maps drawn here, with a known answer."""

import pytest

from formread.layout.record import Box, Rectangle, Row
from formread.layout.storeys import side_by_side
from tests.layout.test_grid import Where, found, kinds_of, near, table

PITCH, ROWS = 26, 6
Boxes = tuple[tuple[str, float, float, float, float], ...]
"""Kind, left, right, and from where to where in a row."""

ABOVE: Boxes = (
    ("description", 10, 230, 0, 11),
    ("code", 10, 60, 13, 23),
    ("quantity", 62, 90, 13, 23),
    ("unit_price", 92, 150, 13, 23),
    ("line_total", 152, 230, 13, 23),
)
BELOW: Boxes = (
    ("code", 10, 60, 0, 11),
    ("quantity", 62, 90, 0, 11),
    ("unit_price", 92, 150, 0, 11),
    ("line_total", 152, 230, 0, 11),
    ("description", 10, 230, 13, 23),
)
TALL: Boxes = (
    ("code", 10, 60, 0, 11),
    ("quantity", 62, 130, 0, 11),
    ("unit_price", 132, 180, 0, 23),
    ("line_total", 182, 230, 0, 23),
    ("description", 10, 130, 13, 23),
)
CARDS: Boxes = tuple(
    (kind, left + shift, right + shift, top, bottom)
    for shift in (0, 112)
    for kind, left, right, top, bottom in (
        ("code", 10, 40, 0, 11),
        ("description", 42, 118, 0, 11),
        ("quantity", 10, 40, 13, 23),
        ("unit_price", 42, 78, 13, 23),
        ("line_total", 80, 118, 13, 23),
    )
)


def drawn(boxes: Boxes, rows: int = ROWS, skip: frozenset[tuple[int, int]] = frozenset()) -> list[Where]:
    """Draw rows of these boxes; `skip` leaves boxes out (row, box)."""
    return [
        (kind, left, 20 + r * PITCH + top, right, 20 + r * PITCH + bottom, False)
        for r in range(rows)
        for k, (kind, left, right, top, bottom) in enumerate(boxes)
        if (r, k) not in skip
    ]


@pytest.mark.parametrize("boxes", [ABOVE, BELOW, TALL])
@pytest.mark.parametrize("skip", [frozenset(), frozenset({(1, 0), (1, 4), (3, 2), (5, 1)})])
def test_a_row_of_two_storeys_is_one_row(boxes: Boxes, skip: frozenset[tuple[int, int]]) -> None:
    """Whichever storey the description is on; boxes that writing hides are where the other rows have them."""
    grid = found(drawn(boxes, skip=skip))
    assert grid.storeyed
    assert sorted(kinds_of(grid)) == sorted(kind for kind, *_ in boxes)
    assert len(grid.rows) == ROWS
    for r, line in enumerate(grid.boxes):
        for kind, (box, _) in zip(kinds_of(grid), line, strict=True):
            left, right, top, bottom = next(rest for own, *rest in boxes if own == kind)
            assert near(box, left, 20 + r * PITCH + top, right, 20 + r * PITCH + bottom), (r, kind)


def test_cards_side_by_side_are_lines_of_one_order() -> None:
    """They are read from the left, then from the top."""
    grid = found(drawn(CARDS))
    assert kinds_of(grid) == ["code", "description", "quantity", "unit_price", "line_total"]
    assert len(grid.rows) == 2 * ROWS
    assert near(grid.boxes[0][0][0], 10, 20, 40, 31)
    assert near(grid.boxes[1][0][0], 122, 20, 152, 31)
    assert near(grid.boxes[2][4][0], 80, 20 + PITCH + 13, 118, 20 + PITCH + 23)


@pytest.mark.parametrize("skip", [frozenset(), frozenset({(1, 3), (3, 3), (2, 0)})])
def test_boxes_on_one_level_are_no_storeys(skip: frozenset[tuple[int, int]]) -> None:
    """Also where some of a column's were not seen."""
    assert not found(table(skip=skip)).storeyed


@pytest.mark.parametrize(
    ("boxes", "storeys"),
    [
        (ABOVE, [["description"], ["code", "quantity", "unit_price", "line_total"]]),
        (BELOW, [["code", "quantity", "unit_price", "line_total"], ["description"]]),
        (
            TALL,
            [["code", "quantity", "unit_price", "line_total"], ["unit_price", "line_total", "description"]],
        ),
        (CARDS[:5], [["code", "description"], ["quantity", "unit_price", "line_total"]]),
        (ABOVE[1:], [["code", "quantity", "unit_price", "line_total"]]),
    ],
)
def test_a_rows_boxes_stand_side_by_side_on_each_storey(boxes: Boxes, storeys: list[list[str]]) -> None:
    """A box that is as high as the row stands on both."""
    named = {
        Box(Rectangle(int(left), int(top), int(right), int(bottom))): kind
        for kind, left, right, top, bottom in boxes
    }
    row = Row(1, tuple(("other", box) for box in named))
    assert [[named[box] for box in storey] for storey in side_by_side(row)] == storeys
