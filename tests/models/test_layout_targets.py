"""What the finder of boxes is taught to say of a drawn form."""

import numpy as np

from formread.layout.boxes import CORE_MARGIN, KINDS, Seen
from formread.layout.table import find_grid
from models.forms import Place
from models.layouts import targets
from models.layouts.targets import BOXES, NO_BOX, maps


def place(kind: str, left: float, top: float, right: float, bottom: float, *, pence: bool = False) -> Place:
    """A box with upright sides, in pixels of the picture."""
    corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)
    return Place(kind, corners, 1, pence)


def test_a_table_that_is_taught_is_the_table_that_is_found() -> None:
    """The targets go through the product's own grid: every box comes back to within a pixel and a half."""
    sides = ((40, 100, "quantity"), (100, 300, "description"), (300, 380, "line_total"))
    drawn = [
        place(kind, left, 100 + 30 * row, right, 130 + 30 * row)
        for row in range(6)
        for left, right, kind in sides
    ]
    kind, core, pence = maps(drawn, 320, 448)
    kinds = np.stack([kind == k for k in range(len(KINDS))]).astype(np.float32)
    grid = find_grid(Seen(kinds, core.astype(np.float32), pence.astype(np.float32), (2.0, 2.0)))
    assert grid is not None
    assert len(grid.boxes) == 6
    for row, line in enumerate(grid.boxes):
        for (box, _), (left, right, _) in zip(line, sides, strict=True):
            found = [2 * (side + 0.5) for side in (box.left, box.top, box.right, box.bottom)]
            assert np.abs(np.array(found) - (left, 100 + 30 * row, right, 130 + 30 * row)).max() <= 1.5


def test_cores_of_boxes_that_touch_are_apart() -> None:
    """By about twice the margin that the grid adds again."""
    _, core, _ = maps([place("code", 10, 10, 100, 40), place("size", 100, 10, 200, 40)], 64, 256)
    gap = np.flatnonzero(core[12, 10:90] == 0)
    assert len(gap) >= 2 * CORE_MARGIN


def test_where_only_boxes_are_named_the_rest_is_no_box_and_nothing_more() -> None:
    """Such pictures must not teach that headings and decoys are bare paper."""
    kind, _, _ = maps([place("total", 20, 20, 80, 50)], 64, 128, all_named=False)
    assert set(np.unique(kind).tolist()) == {KINDS.index("total"), NO_BOX}
    assert "heading" not in BOXES


def test_training_and_product_name_the_maps_in_one_order() -> None:
    """They are written down twice, for the machine that trains has no formread."""
    assert targets.KINDS == KINDS
