"""What a layout says against itself: places seen as boxes that are in none, edges that were not seen."""

from dataclasses import replace

from formread.layout.trust import seen_in, trust_of
from tests.layout.test_grid import PITCH, TOP, found, seen, table

TOTAL = ("total", 192.0, 170.0, 230.0, 182.0, False)


def test_a_table_that_is_found_whole_has_nothing_odd() -> None:
    trust = trust_of(seen([*table(), TOTAL], 0.01), found([*table(), TOTAL], 0.01))
    assert (trust.unparted, trust.stray_totals) == (0.0, 0.0)
    assert max(trust.stray_rows, trust.beyond) < 0.03


def test_a_row_that_is_seen_and_was_left_out_is_told() -> None:
    """The grid is that of five rows, the sheet shows six."""
    trust = trust_of(seen([*table(6), TOTAL]), found([*table(5), TOTAL]))
    assert trust.stray_rows > 0.6
    assert trust.beyond > 0.6


def test_a_box_of_the_totals_that_was_left_out_is_told() -> None:
    more = ("delivery", 192.0, 150.0, 230.0, 162.0, False)
    trust = trust_of(seen([*table(), TOTAL, more]), found([*table(), TOTAL]))
    assert trust.stray_totals > 0.6


def test_edges_between_rows_that_nobody_saw_are_told() -> None:
    """Two rows run together in all columns, and are taken for two all the same."""
    grid = found([*table(4), TOTAL])
    joined = [
        (kind, left, top, right, bottom + PITCH if top == TOP else bottom, half)
        for kind, left, top, right, bottom, half in table(4)
        if top != TOP + PITCH
    ]
    assert trust_of(seen([*joined, TOTAL]), grid).unparted == 1 / 3


def test_a_total_where_no_box_is_seen_is_told() -> None:
    grid = found([*table(), TOTAL])
    shown = seen([*table(), TOTAL])
    box = grid.totals[0].box
    assert seen_in(shown, box, grid) > 0.75, "what is beside the box by half a place is not it"
    assert seen_in(shown, replace(box, left=box.left - 100, right=box.right - 100), grid) < 0.1
