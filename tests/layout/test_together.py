"""One slip's boxes on another: they lie where they were seen there, and where none was seen, with the rest."""

from dataclasses import replace

import numpy as np
import pytest

from formread.layout.bend import flat
from formread.layout.boxes import KINDS, Seen
from formread.layout.match import Match, matched, print_of
from formread.layout.record import Layout, Rectangle
from formread.layout.together import agree, brought, explained, rectangles, seen_together
from tests.layout.drawings import CLASSIC, Plan, draw
from tests.layout.test_design import slip

LONG = 1000


def as_it_is(dx: float = 0.0, dy: float = 0.0) -> Match:
    """Two sheets that lie on each other but for a shift."""
    matrix = np.array([[1, 0, dx], [0, 1, dy], [0, 0, 1]], np.float64)
    return Match(matrix, (flat((LONG, LONG)), flat((LONG, LONG))), (1.0, 1.0), 1.0)


def places(layout: Layout) -> list[Rectangle]:
    return list(rectangles(layout))


def test_a_row_that_was_missed_comes_from_another_slip_and_lies_on_the_slips_own_edges() -> None:
    own = slip(shift=40)
    missed = replace(own, rows=own.rows[:-1], serial_text="0412")
    whole = brought(slip(), as_it_is(36, 43), missed, LONG)
    assert places(whole) == places(own)
    assert whole.serial_text == "0412"


def test_boxes_follow_edges_that_drift_away_from_where_they_were_expected() -> None:
    stretched = slip(scale=1.012)  # the right-hand edge lies further off than edges are looked for
    missed = replace(stretched, rows=stretched.rows[:4], totals=())
    whole = brought(slip(), as_it_is(), missed, LONG)
    pairs = zip(places(whole), places(stretched), strict=True)
    assert max(abs(a.right - b.right) + abs(a.bottom - b.bottom) for a, b in pairs) <= 6


@pytest.mark.parametrize("astray", [slip(rows=4), slip(totals=("total",)), replace(slip(), totals=())])
def test_what_was_found_on_a_slip_that_missed_boxes_is_explained_by_its_pad(astray: Layout) -> None:
    assert not agree(slip(), astray)
    assert explained(astray, slip(), LONG) > 0.8


def test_a_form_with_another_row_in_the_same_room_is_not_explained() -> None:
    here, there = (draw(replace(CLASSIC, rows=rows, row_height=460 // rows)) for rows in (10, 11))
    match = matched(print_of(here.sheet.image), print_of(there.sheet.image))
    own = of_plan(there.plan)
    assert match is None or explained(own, brought(of_plan(here.plan), match, own, 1200), 1200) < 0.6


@pytest.mark.parametrize("other", [slip(rows=7), slip(split=True), slip(totals=("total",))])
def test_slips_agree_only_if_all_their_boxes_do(other: Layout) -> None:
    assert agree(slip(), slip(shift=11, scale=1.3))
    assert not agree(slip(), other)


def test_what_one_look_missed_another_fills_in() -> None:
    def looked(sees: slice) -> Seen:
        kinds = np.zeros((len(KINDS), 40, 40), np.float32)
        kinds[0] = 1
        kinds[0, sees], kinds[1, sees] = 0, 1
        return Seen(kinds, kinds[1].copy(), np.zeros((40, 40), np.float32), (2.0, 2.0))

    seen = seen_together(looked(slice(0, 10)), [(looked(slice(0, 20)), as_it_is())] * 2)
    assert seen.kinds[1, 15].mean() > 0.6
    assert seen.kinds.sum(axis=0) == pytest.approx(1.0, abs=1e-5)


def of_plan(plan: Plan) -> Layout:
    """The layout that is truly drawn."""
    drawing = draw(plan)
    return layout_of(
        [[box for box, _ in row.values()] for row in drawing.rows], [box for _, box, _ in drawing.totals]
    )


def layout_of(rows: list[list[Rectangle]], totals: list[Rectangle]) -> Layout:
    whole = slip(rows=len(rows))
    columns = [replace(whole.columns[0], left=box.left, right=box.right) for box in rows[0]]
    lines = [
        replace(
            whole.rows[0],
            number=n,
            boxes=tuple(("other", replace(whole.totals[0].box, rectangle=box)) for box in row),
        )
        for n, row in enumerate(rows, 1)
    ]
    boxes = [replace(whole.totals[0], box=replace(whole.totals[0].box, rectangle=box)) for box in totals]
    return replace(whole, columns=tuple(columns), rows=tuple(lines), totals=tuple(boxes))
