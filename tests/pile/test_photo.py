"""Which sheets of a photo are slips: parts that a coloured panel parted are one slip again."""

from collections.abc import Callable, Sequence
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from formread.layout.design import SlipDesign
from formread.layout.record import Layout, LayoutSearch
from formread.pile import photo
from formread.sheet.record import Sheet

SHAPES = {"table": 1, "panel": 2, "slip": 3, "other slip": 4, "both": 5}
"""What is on a sheet, told by how many rows of pixels its picture has."""
LINES = {"table": (9, 0), "panel": (2, 3), "slip": (9, 3), "other slip": (6, 1), "both": (9, 4)}
"""Lines, and boxes for sums."""


def sheet(name: str, whole: Callable[[], Sheet | None] | None = None) -> Sheet:
    """A sheet with so much on it."""
    return Sheet(np.zeros((SHAPES[name], 1, 3), np.uint8), np.zeros((4, 2)), np.asarray, None, whole)


def proposed(of: Sheet, _: Sequence[SlipDesign]) -> LayoutSearch:
    """What would be proposed for it."""
    name = next(name for name, high in SHAPES.items() if high == of.image.shape[0])
    rows, totals = LINES[name]
    return LayoutSearch((cast(Layout, SimpleNamespace(rows=range(rows), totals=range(totals))),))


@pytest.mark.parametrize(
    ("parts", "whole", "kept"),
    [
        (("table", "panel"), "slip", ["slip"]),
        (("panel", "table"), "slip", ["slip"]),
        (("slip", "other slip"), "both", ["slip", "other slip"]),
        (("table", "other slip"), "both", ["table", "other slip"]),
        (("table", "panel"), None, ["table", "panel"]),
        (("table", "panel"), "panel", ["table", "panel"]),
    ],
)
def test_parts_without_lines_or_sums_of_their_own_are_one_slip(
    monkeypatch: pytest.MonkeyPatch, parts: tuple[str, str], whole: str | None, kept: list[str]
) -> None:
    """Two orders side by side stay two, and nothing is put together that then is no order."""
    monkeypatch.setattr(photo, "propose_layouts", proposed)

    def together() -> Sheet | None:
        return None if whole is None else sheet(whole)

    found = photo.laid_out([sheet("slip"), *(sheet(part, together) for part in parts)])
    assert [of.image.shape[0] for of, _ in found] == [SHAPES[name] for name in ("slip", *kept)]
