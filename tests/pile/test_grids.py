"""The slips of a pad agree on their boxes: who lost a row gets it back, and nobody gets another pad's."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from itertools import permutations
from pathlib import Path

import cv2
import pytest

from formread.arithmetic.record import SlipReadings
from formread.layout.record import Layout, Trust
from formread.layout.together import agree, rectangles
from formread.pile import grids, kept, pool
from formread.pile.grids import one_grid
from formread.pile.kept import Piles
from formread.pile.pool import pool_layouts
from formread.pile.record import ReadPhoto, ReadSlip
from formread.pile.store import Store
from formread.sheet.record import Image
from tests.layout.drawings import CLASSIC, Plan, carbon, draw
from tests.layout.test_together import of_plan

PAD = [
    replace(CLASSIC, seed=1),
    carbon(replace(CLASSIC, seed=2)),
    replace(CLASSIC, seed=3),
    replace(CLASSIC, seed=4),
]
SISTER = replace(CLASSIC, rows=11, row_height=42)
"""A form of the same printer on the same paper: its rows are lower."""


def read(plan: Plan, layout: Layout | None = None) -> ReadSlip:
    """A slip whose boxes were found as they are, or as given."""
    _, data = cv2.imencode(".jpg", draw(plan).sheet.image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
    return ReadSlip(f"{plan.seed}.jpg", 1, (), layout or of_plan(plan), SlipReadings((), ()), data.tobytes())


def grids_of(slips: Sequence[ReadSlip]) -> list[Layout]:
    return one_grid(slips, [slip.layout for slip in slips])


def without_a_row(layout: Layout) -> Layout:
    return replace(layout, rows=layout.rows[:3] + layout.rows[4:])


def run_together(layout: Layout) -> Layout:
    """Two columns taken for one, and the total's box missed."""
    rows = tuple(
        replace(
            row,
            boxes=(
                *row.boxes[:3],
                (
                    "other",
                    replace(
                        row.boxes[3][1],
                        rectangle=replace(row.boxes[3][1].rectangle, right=row.boxes[4][1].rectangle.right),
                    ),
                ),
            ),
        )
        for row in layout.rows
    )
    columns = (*layout.columns[:3], replace(layout.columns[3], right=layout.columns[4].right))
    return replace(layout, columns=columns, rows=rows, totals=layout.totals[:-1])


@pytest.mark.parametrize("astray", [without_a_row, run_together])
def test_a_slip_whose_boxes_went_astray_has_those_of_its_pad(astray: Callable[[Layout], Layout]) -> None:
    truth = of_plan(PAD[3])
    slips = [*map(read, PAD[:3]), read(PAD[3], astray(truth))]
    *others, settled = grids_of(slips)
    assert agree(settled, truth)
    off = [
        max(abs(a.left - b.left), abs(a.top - b.top), abs(a.right - b.right), abs(a.bottom - b.bottom))
        for a, b in zip(rectangles(settled), rectangles(truth), strict=True)
    ]
    assert max(off) <= 4  # of 1200 pixels: 0.7 mm on A5
    assert all(layout is slip.layout for layout, slip in zip(others, slips, strict=False))


def test_two_pads_of_the_same_proportions_are_not_mixed() -> None:
    slips = [*map(read, PAD[:3]), *(read(replace(SISTER, seed=seed)) for seed in (6, 7))]
    assert all(layout is slip.layout for layout, slip in zip(grids_of(slips), slips, strict=True))


def test_two_slips_that_disagree_have_the_boxes_that_both_show() -> None:
    truth = of_plan(PAD[0])
    slips = [read(PAD[0]), read(PAD[2], without_a_row(of_plan(PAD[2])))]
    assert all(agree(layout, truth) for layout in grids_of(slips))


def test_a_slip_on_its_own_keeps_its_boxes() -> None:
    (slip,) = [read(PAD[0], without_a_row(of_plan(PAD[0])))]
    assert grids_of([slip]) == [slip.layout]


def test_where_all_slips_agree_no_sheet_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    def opened(_: ReadSlip) -> Image:
        raise AssertionError("a sheet was opened")

    monkeypatch.setattr(grids, "kept_sheet", opened)
    slips = [*map(read, PAD)]
    assert all(layout is slip.layout for layout, slip in zip(grids_of(slips), slips, strict=True))


def test_odd_looks_count_for_less() -> None:
    """Two sound slips against three odd ones are looked at, not outvoted."""
    odd = Trust(stray_rows=1.0, stray_totals=1.0, unparted=1.0)
    wrong = [replace(without_a_row(of_plan(plan)), trust=odd) for plan in PAD[:3]]
    slips = [read(plan, layout) for plan, layout in zip(PAD[:3], wrong, strict=True)]
    slips.append(read(PAD[3]))
    assert all(agree(layout, of_plan(CLASSIC)) for layout in grids_of(slips))


def test_it_is_the_same_whichever_photo_came_first(monkeypatch: pytest.MonkeyPatch) -> None:
    again: list[Layout] = []

    def noted(_: Image, layout: Layout) -> SlipReadings:
        again.append(layout)
        return SlipReadings((), ())

    monkeypatch.setattr(pool, "read_sheet", noted)
    slips = [read(PAD[0]), read(PAD[1]), read(PAD[2], without_a_row(of_plan(PAD[2])))]
    results = [{slip.photo: slip.layout for slip in pool_layouts(order)} for order in permutations(slips)]
    assert all(result == results[0] for result in results)
    assert len(again) == len(results)  # the one slip whose boxes changed is read again, and no other


def test_a_sheet_that_cannot_be_opened_changes_nothing() -> None:
    slips = [*map(read, PAD[:3]), read(PAD[3], without_a_row(of_plan(PAD[3])))]
    slips = [replace(slip, sheet_jpeg=b"") for slip in slips]
    assert grids_of(slips) == [slip.layout for slip in slips]
    assert pool_layouts(slips) == slips


def test_a_kept_pile_gives_a_slip_its_pads_boxes_once_all_photos_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept, "settle_roles", list)  # nothing is read on these slips that could add up
    store = Store(tmp_path / "kept")
    pile, piles = store.add_pile("Spring", date(2026, 5, 14), "GBP"), Piles(store)
    astray = read(PAD[3], without_a_row(of_plan(PAD[3])))
    for slip in [*map(read, PAD[:3]), astray]:
        photo = store.add_photo(pile, slip.photo, slip.photo.encode())
        assert photo is not None
        row, path = store.photo(photo), store.photo_path(photo)
        assert row is not None
        assert path is not None
        assert piles.keep_read(row, path, ReadPhoto((slip,), ()))
    piles.refresh(pile)
    settled = [piles.reading(slip.id) for slip in piles.slips(pile)]
    assert all(slip is not None and agree(slip.layout, of_plan(CLASSIC)) for slip in settled)
    assert all(slip is not None and not slip.sheet_jpeg for slip in settled)
    store.close()
