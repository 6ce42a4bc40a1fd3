"""A slip of a known pad is named by the pad's design: its print is not read again, and no other pad is taken for it."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import pytest

from formread.layout import propose, propose_layouts
from formread.layout.design import SlipDesign, learn
from formread.layout.heading_print import ALIKE, heading_print, likeness
from formread.layout.record import Layout
from formread.ocr import PrintedText, read_lines
from formread.sheet.record import Image
from tests.layout.drawings import CLASSIC, Plan, draw

NEXT = replace(CLASSIC, seed=5, turn=0.2)
"""Another slip of the pad, filled in by somebody else, not quite straight in the photo."""


@cache
def full(plan: Plan) -> Layout:
    """What is read on a slip whose pad is not known."""
    return propose_layouts(draw(plan).sheet).layouts[0]


@cache
def design_of(plan: Plan) -> SlipDesign:
    """What one slip teaches."""
    layout = full(plan)
    return learn("pad", layout, heading_print(draw(plan).sheet.image, layout))


def names(layout: Layout) -> tuple[object, ...]:
    return (
        [(column.role, column.heading) for column in layout.columns],
        [(total.role, total.label) for total in layout.totals],
        [row.boxes for row in layout.rows],
        [total.box for total in layout.totals],
        layout.serial_text,
    )


def test_a_later_slip_is_named_as_when_all_is_read_and_only_its_number_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    read: list[str] = []

    def counted(crops: Sequence[Image]) -> list[PrintedText]:
        texts = read_lines(crops)
        read.extend(text.text for text in texts)
        return texts

    whole, design = full(NEXT), design_of(CLASSIC)
    monkeypatch.setattr(propose, "read_lines", counted)
    search = propose_layouts(draw(NEXT).sheet, [design])
    assert search.layouts[0].known
    assert names(search.layouts[0]) == names(whole)
    assert [text for text in read if "0412" not in text] == []
    assert len(read) <= 2


def test_its_boxes_are_trusted_by_their_own_looks() -> None:
    known = propose_layouts(draw(NEXT).sheet, [design_of(CLASSIC)]).layouts[0].trust
    own = full(NEXT).trust
    looks = ("stray_rows", "stray_totals", "unparted", "beyond", "seen")
    assert [getattr(known, name) for name in looks] == [getattr(own, name) for name in looks]


OTHERS = {
    "other headings": replace(
        NEXT,
        columns=tuple(
            replace(column, heading=heading)
            for column, heading in zip(
                CLASSIC.columns, ("Page", "Flower", "Ref.", "Amount", "Pence"), strict=True
            )
        ),
    ),
    "a row more": replace(NEXT, rows=11),
    "a total more": replace(NEXT, totals=(*CLASSIC.totals[:2], ("discount", "Less"), CLASSIC.totals[2])),
    "a total less": replace(NEXT, totals=CLASSIC.totals[1:]),
    "pence parted off": replace(
        NEXT, columns=(*CLASSIC.columns[:-1], replace(CLASSIC.columns[-1], split=True))
    ),
}


@pytest.mark.parametrize("other", OTHERS)
def test_another_pad_is_not_taken_for_it(other: str) -> None:
    search = propose_layouts(draw(OTHERS[other]).sheet, [design_of(CLASSIC)])
    assert not search.layouts[0].known
    assert search.layouts[0] == full(OTHERS[other])


def test_two_pads_that_look_alike_and_mean_other_things_are_told_by_their_print() -> None:
    twin = replace(
        design_of(CLASSIC),
        columns=tuple(replace(column, role="other") for column in design_of(CLASSIC).columns),
    )
    assert not propose_layouts(draw(NEXT).sheet, [design_of(CLASSIC), twin]).layouts[0].known


def test_a_design_that_was_taught_without_places_or_print_leaves_the_print_to_be_read() -> None:
    design = design_of(CLASSIC)
    old = replace(design, totals=tuple(replace(total, place=None) for total in design.totals))
    search = propose_layouts(draw(NEXT).sheet, [old, replace(design, heading=None)])
    assert search.layouts[0] == full(NEXT)


@pytest.mark.parametrize("seed", [5, 6])
def test_print_over_columns_is_alike_on_slips_of_one_pad_and_unlike_other_words(seed: int) -> None:
    def printed(plan: Plan) -> tuple[str, ...]:
        heading = heading_print(draw(plan).sheet.image, full(CLASSIC))
        assert heading is not None
        return heading

    first, columns = printed(CLASSIC), [(c.left, c.right) for c in design_of(CLASSIC).columns]
    assert likeness(first, printed(replace(CLASSIC, seed=seed, blur=1.0)), columns) > ALIKE
    assert likeness(first, printed(OTHERS["other headings"]), columns) < ALIKE
