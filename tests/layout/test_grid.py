"""What the network saw becomes rows, columns and totals: on maps drawn here, with a known answer."""

import numpy as np
import pytest

from formread.layout.boxes import CORE_MARGIN, KINDS, Seen
from formread.layout.grid import Edges, Grid
from formread.layout.table import find_grid

Where = tuple[str, float, float, float, float, bool]
"""Kind, left, top, right, bottom, whether for pence."""

ROLES = ("quantity", "description", "unit_price", "line_total")
SIDES = ((10, 40), (42, 150), (152, 190), (192, 230))
TOP, PITCH, HIGH = 60, 14, 12


def table(rows: int = 6, skip: frozenset[tuple[int, int]] = frozenset(), parted: bool = False) -> list[Where]:
    """Boxes of an even table; `skip` leaves boxes out (row, column)."""
    places: list[Where] = []
    for r in range(rows):
        top, bottom = TOP + r * PITCH, TOP + r * PITCH + HIGH
        for c, (role, (left, right)) in enumerate(zip(ROLES, SIDES, strict=True)):
            if (r, c) in skip:
                continue
            if parted and role == "line_total":
                places.append((role, left, top, left + 24, bottom, False))
                places.append((role, left + 25, top, right, bottom, True))
            else:
                places.append((role, left, top, right, bottom, False))
    return places


def seen(places: list[Where], slope: float = 0.0, lean: float = 0.0) -> Seen:
    """Draw maps of 240 by 200 places, sheared about their middle."""
    height, width = 200, 240
    kinds = np.zeros((len(KINDS), height, width), np.float32)
    kinds[0] = 1
    core = np.zeros((height, width), np.float32)
    pence = np.zeros((height, width), np.float32)
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    # To first order the inverse of the shear that Grid.point does.
    u, v = x - lean * (y - height / 2), y - slope * (x - width / 2)
    for kind, left, top, right, bottom, half in places:
        inside = (u > left) & (u < right) & (v > top) & (v < bottom)
        kinds[:, inside] = 0
        kinds[KINDS.index(kind), inside] = 1
        m = CORE_MARGIN
        core[(u > left + m) & (u < right - m) & (v > top + m) & (v < bottom - m)] = 1
        if half:
            pence[inside] = 1
    return Seen(kinds, core, pence, (4.0, 4.0))


def found(places: list[Where], slope: float = 0.0, lean: float = 0.0) -> Grid:
    """Find the grid; there must be one."""
    grid = find_grid(seen(places, slope, lean))
    assert grid is not None
    return grid


def kinds_of(grid: Grid) -> list[str]:
    """The likeliest kind of each column."""
    return [KINDS[1 + int(np.argmax(column.kinds))] for column in grid.columns]


def near(box: Edges, left: float, top: float, right: float, bottom: float) -> bool:
    """Within a place and a half of where it should be."""
    pairs = ((box.left, left), (box.top, top), (box.right, right), (box.bottom, bottom))
    return all(abs(a - b) <= 1.5 for a, b in pairs)


@pytest.mark.parametrize(("slope", "lean"), [(0, 0), (0.012, -0.01), (-0.012, 0.006)])
def test_every_box_of_an_even_table_is_where_it_was_drawn(slope: float, lean: float) -> None:
    """Also where the sheet lies a little askew."""
    grid = found(table(), slope, lean)
    assert kinds_of(grid) == list(ROLES)
    assert len(grid.rows) == 6
    for r, line in enumerate(grid.boxes):
        for (box, pence), (left, right) in zip(line, SIDES, strict=True):
            assert pence is None
            assert near(box, left, TOP + r * PITCH, right, TOP + r * PITCH + HIGH)


def test_boxes_hidden_by_writing_are_where_their_row_and_column_cross() -> None:
    """A third of the boxes is not seen; the table is whole."""
    skip = frozenset({(0, 0), (1, 2), (2, 3), (3, 1), (4, 0), (5, 3), (5, 2), (2, 0)})
    grid = found(table(skip=skip))
    assert (len(grid.rows), kinds_of(grid)) == (6, list(ROLES))
    assert near(grid.boxes[2][3][0], *(SIDES[3][0], TOP + 2 * PITCH, SIDES[3][1], TOP + 2 * PITCH + HIGH))


@pytest.mark.parametrize(("covered", "rows"), [(0.3, 6), (0.05, 5)])
def test_a_row_of_which_no_box_is_seen_is_filled_in_where_the_table_goes_on(
    covered: float, rows: int
) -> None:
    """Row 3 is missing; a band that looks nothing like the table is the heading of a group of rows."""
    maps = seen(table(skip=frozenset((3, c) for c in range(4))))
    band = slice(TOP + 3 * PITCH, TOP + 3 * PITCH + HIGH)
    maps.kinds[0, band, 10:230] = 1 - covered
    maps.kinds[KINDS.index("description"), band, 10:230] = covered
    grid = find_grid(maps)
    assert grid is not None
    assert len(grid.rows) == rows


def test_rows_go_on_where_faint_lines_part_no_boxes() -> None:
    """The last two rows are seen as the table's, but no box in them."""
    places = table()
    maps = seen(places)
    maps.core[TOP + 4 * PITCH - 1 :] = 0
    grid = find_grid(maps)
    assert grid is not None
    assert len(grid.rows) == 6
    assert near(grid.boxes[5][0][0], SIDES[0][0], TOP + 5 * PITCH, SIDES[0][1], TOP + 5 * PITCH + HIGH)


def test_lines_in_one_column_tell_the_rows_of_all() -> None:
    """In all other columns the boxes of six rows run together."""
    places: list[Where] = [
        (role, left, TOP, right, TOP + 5 * PITCH + HIGH, False)
        for role, (left, right) in zip(ROLES[:3], SIDES[:3], strict=True)
    ]
    grid = found([*places, *(place for place in table() if place[0] == "line_total")])
    assert (len(grid.rows), kinds_of(grid)) == (6, list(ROLES))
    assert near(grid.boxes[3][0][0], SIDES[0][0], TOP + 3 * PITCH, SIDES[0][1], TOP + 3 * PITCH + HIGH)


def test_rows_that_only_faint_dips_part_are_even() -> None:
    """Written rows are parted, the empty ones below hardly: what is left of their lines stands at even distances."""
    places: list[Where] = [
        (role, left, TOP, right, TOP + 8 * PITCH, False)
        for role, (left, right) in zip(ROLES, SIDES, strict=True)
    ]
    maps = seen(places)
    for line in range(1, 8):
        y = TOP + line * PITCH
        maps.core[y - 1 : y + 1] *= 0.05 if line <= 3 else 0.95
    grid = find_grid(maps)
    assert grid is not None
    assert len(grid.rows) == 8
    assert near(grid.boxes[6][0][0], SIDES[0][0], TOP + 6 * PITCH, SIDES[0][1], TOP + 7 * PITCH)


def bare(rows: int = 6) -> Seen:
    """A table of which nothing is ruled: cores of a column run together and are but a little less between rows."""
    bottom = TOP + rows * PITCH
    maps = seen(
        [(role, left, TOP, right, bottom, False) for role, (left, right) in zip(ROLES, SIDES, strict=True)]
    )
    for r in range(1, rows):
        y = TOP + r * PITCH
        maps.core[y - 1 : y + 1] *= 0.7
    return maps


def test_rows_are_told_where_nothing_is_ruled() -> None:
    """By where the cores are less, and the total below the last row is no part of it."""
    maps = bare()
    left, right = SIDES[-1]
    bottom = TOP + 6 * PITCH
    maps.kinds[:, bottom : bottom + HIGH, left:right] = 0
    maps.kinds[KINDS.index("total"), bottom : bottom + HIGH, left:right] = 1
    maps.core[bottom - 1 : bottom + HIGH - 1, left + 1 : right - 1] = 1
    grid = find_grid(maps)
    assert grid is not None
    assert kinds_of(grid) == list(ROLES)
    tops = [top for top, _ in grid.rows]
    assert tops == pytest.approx([TOP + r * PITCH for r in range(6)], abs=2)
    assert len(grid.totals) == 1
    assert near(grid.totals[0].box, left, bottom, right, bottom + HIGH)


def test_a_total_that_stands_on_dots_alone_is_one() -> None:
    """The network sees what it is, and no inside of a box."""
    maps = seen([*table(), ("total", 150, 160, 200, 170, False)])
    maps.core[155:175] = 0
    grid = find_grid(maps)
    assert grid is not None
    assert len(grid.totals) == 1
    assert grid.totals[0].box.left == pytest.approx(150, abs=2)


def test_totals_on_each_other_are_parted_by_what_they_are_or_by_a_dip() -> None:
    """Whichever of the two is seen."""
    names = ("goods", "delivery", "total")
    left, right = 150, 200
    changing = seen(
        [
            *table(rows=3),
            *(
                (name, left, 110 + k * PITCH, right, 110 + (k + 1) * PITCH, False)
                for k, name in enumerate(names)
            ),
        ]
    )
    changing.core[111 : 110 + 3 * PITCH - 1, left + 1 : right - 1] = 1
    alike = seen([*table(rows=3), ("delivery", left, 110, right, 110 + 3 * PITCH, False)])
    for k in (1, 2):
        alike.core[110 + k * PITCH - 1 : 110 + k * PITCH + 1] *= 0.6
    for maps in (changing, alike):
        grid = find_grid(maps)
        assert grid is not None
        assert len(grid.totals) == 3
        for k, total in enumerate(grid.totals):
            assert near(total.box, left, 110 + k * PITCH, right, 110 + (k + 1) * PITCH)


def test_pounds_and_pence_are_two_halves_of_one_box() -> None:
    """The divider stands where it was drawn."""
    grid = found(table(parted=True))
    assert kinds_of(grid) == list(ROLES)
    for line in grid.boxes:
        box, pence = line[3]
        assert pence is not None
        assert abs(box.right - (SIDES[3][0] + 24)) <= 1.5
        assert abs(pence.right - SIDES[3][1]) <= 1.5


def test_a_printed_point_parts_no_box_in_two() -> None:
    """The network takes the right of a column for pence, and nothing shows in its cores: a cut would go through figures."""
    maps = seen(table())
    maps.pence[:, SIDES[3][0] + 24 : SIDES[3][1]] = 1
    grid = find_grid(maps)
    assert grid is not None
    assert kinds_of(grid) == list(ROLES)
    assert [pence for line in grid.boxes for _, pence in line] == [None] * 24
    assert near(grid.boxes[0][3][0], SIDES[3][0], TOP, SIDES[3][1], TOP + HIGH)


def test_parts_that_touch_and_look_alike_are_pounds_and_pence_on_a_form_that_parts_them() -> None:
    """The network saw two boxes, and no half for the pence; where the table has no halves they are two."""
    strip: list[Where] = [
        ("goods", 20, 160, 60, 174, False), ("goods", 61, 160, 80, 174, False),
        ("total", 120, 160, 160, 174, False), ("total", 161, 160, 180, 174, False),
    ]  # fmt: skip
    halves = found([*table(parted=True), *strip]).totals
    assert [total.pence is not None for total in halves] == [True, True]
    assert near(halves[0].box, 20, 160, 60, 174)
    assert [total.pence for total in found([*table(), *strip]).totals] == [None] * 4


def test_totals_are_no_rows_and_come_in_reading_order() -> None:
    """Boxes under the money column, and one bar of two."""
    totals: list[Where] = [
        ("total", 192, 166, 230, 180, False),
        ("goods", 192, 148, 230, 162, False),
        ("delivery", 100, 149, 140, 162, False),
    ]
    grid = found([*table(), *totals])
    assert len(grid.rows) == 6
    names = [KINDS[9 + int(np.argmax(total.kinds))] for total in grid.totals]
    assert names == ["delivery", "goods", "total"]


def test_a_second_small_table_does_not_join_the_order_rows() -> None:
    """Decoys are no boxes."""
    decoys: list[Where] = [("decoy", 10 + 20 * k, 150, 28 + 20 * k, 162, False) for k in range(4)]
    assert len(found([*table(), *decoys]).rows) == 6


def test_rows_go_on_in_a_second_panel() -> None:
    """Two panels of two columns and four rows are one table of eight rows."""
    places: list[Where] = [
        (role, left + 110 * k, TOP + r * PITCH, right + 110 * k, TOP + r * PITCH + HIGH, False)
        for k in range(2)
        for r in range(4)
        for role, left, right in (("quantity", 10, 40), ("line_total", 42, 100))
    ]
    grid = found(places)
    assert (kinds_of(grid), len(grid.boxes)) == (["quantity", "line_total"], 8)
    assert near(grid.boxes[4][1][0], 152, TOP, 210, TOP + HIGH)


def test_a_second_panel_may_have_fewer_rows() -> None:
    """What stands under it is no line of the order, though the first panel has one at that height."""
    places: list[Where] = [
        (role, left + 110 * k, TOP + r * PITCH, right + 110 * k, TOP + r * PITCH + HIGH, False)
        for k, rows in enumerate((6, 4))
        for r in range(rows)
        for role, left, right in (("quantity", 10, 40), ("line_total", 42, 100))
    ]
    total: Where = ("total", 160, TOP + 5 * PITCH, 210, TOP + 5 * PITCH + HIGH, False)
    grid = found([*places, total])
    assert (kinds_of(grid), len(grid.boxes), len(grid.totals)) == (["quantity", "line_total"], 10, 1)


def panels(sides: tuple[tuple[float, float], ...], looks: tuple[str, ...]) -> Grid:
    """Two panels with such columns, the first with the kinds `looks` has first."""
    kinds = (looks[: len(sides)], looks[len(sides) :])
    return found(
        [
            (kind, left + 115 * k, TOP + r * PITCH, right + 115 * k, TOP + r * PITCH + HIGH, False)
            for k in range(2)
            for r in range(4)
            for kind, (left, right) in zip(kinds[k], sides, strict=True)
        ]
    )


def test_columns_as_wide_as_those_before_are_the_same_ones_whatever_they_look_like() -> None:
    """The second panel of an order looks like the office's columns; even columns tell nothing."""
    looks = (*ROLES, "size", "other", "page", "size")
    varied = panels(((5, 20), (22, 60), (62, 82), (84, 110)), looks)
    assert (len(varied.columns), len(varied.boxes)) == (4, 8)
    even = panels(((5, 29), (31, 55), (57, 81), (83, 107)), looks)
    assert (len(even.columns), len(even.boxes)) == (8, 4)


def test_bare_paper_has_no_grid() -> None:
    """Nothing seen, nothing found."""
    assert find_grid(seen([])) is None
