"""A column of codes is told by what is written in it, where no heading names it; and nothing else is taken for one."""

import numpy as np

from formread.layout import propose_layouts
from formread.layout.record import Layout
from formread.pile.codes import with_codes
from formread.sheet.record import Image, Sheet
from sample_scans.slips import flat_slip

CODED, UNCODED = 12, 6
"""Slips of designs for development: five codes are written on the one; the other has goods and sizes."""


def _slip(seed: int) -> tuple[Image, Layout]:
    """A drawn slip and its layout."""
    image, truth = flat_slip(seed, "tune")
    height, width = image.shape[:2]
    outline = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
    layout = propose_layouts(Sheet(image, outline, np.asarray)).layouts[0]
    assert [column.role for column in layout.columns] == truth["columns"]
    return image, layout


def _unnamed(layout: Layout) -> Layout:
    """The layout with its codes taken for something else."""
    return layout.with_columns(["other" if c.role == "code" else c.role for c in layout.columns])


def test_codes_that_no_heading_names_are_found_by_what_is_written() -> None:
    """And the rows say so, too."""
    image, layout = _slip(CODED)
    assert with_codes(image, _unnamed(layout)) == layout


def test_a_slip_without_codes_is_given_none() -> None:
    """Goods, pages and sizes are no codes."""
    image, layout = _slip(UNCODED)
    assert with_codes(image, layout) is layout


def test_a_named_column_is_left_alone() -> None:
    """What a heading says is not asked again."""
    image, layout = _slip(CODED)
    assert with_codes(image, layout) is layout
