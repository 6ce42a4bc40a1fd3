"""The slip's printed number: on maps drawn here, with print that says what the test has it say."""

from collections.abc import Sequence

import numpy as np
import pytest

from formread.layout import header
from formread.layout.boxes import KINDS
from formread.layout.printed import Piece
from formread.layout.scale import Scale
from formread.layout.table import find_grid
from formread.ocr import PrintedText
from tests.layout.test_grid import seen, table
from tests.layout.test_vocabulary import printed

NUMBER, OTHER = (150, 10, 200, 20), (20, 10, 70, 20)
"""Places of the map, left, top, right, bottom; a place is four pixels wide."""


def number(
    monkeypatch: pytest.MonkeyPatch,
    said: dict[tuple[int, int, int, int], tuple[str, float]],
    *,
    like_print: bool = True,
) -> str | None:
    """The number found where these words stand, each seen so surely as a slip's number."""
    maps = seen(table())
    content = np.zeros((800, 960), np.float32)
    for (left, top, right, bottom), (_, sure) in said.items():
        maps.kinds[KINDS.index("serial"), top:bottom, left:right] = sure
        content[4 * top + 4 : 4 * bottom - 4, 4 * left + 4 : 4 * right - 4] = 1
    grid = find_grid(maps)
    assert grid is not None

    def read(pieces: Sequence[Piece]) -> list[PrintedText]:
        texts = []
        for piece in pieces:
            x, y = (piece.left + piece.right) / 8, (piece.top + piece.bottom) / 8
            text = next((w for (a, b, c, d), (w, _) in said.items() if a <= x <= c and b <= y <= d), "")
            texts.append(printed(text))
        return texts

    monkeypatch.setattr(header, "is_print", lambda *_: like_print)
    return header.find_serial(maps, grid, content, read, Scale(grid, maps, 1.0))[1]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("No 48213", "48213"),
        ("ACCOUNT 85277", "85277"),
        ("AB 4821", "AB4821"),
        ("Spring Fair 2011", None),
        ("No. 2011", "2011"),
        ("Order form", None),
    ],
)
def test_a_slips_number_is_told_from_the_words_beside_it(
    monkeypatch: pytest.MonkeyPatch, text: str, told: str | None
) -> None:
    """Letters are part of it only where they stand for themselves; a year in a title is none."""
    assert number(monkeypatch, {NUMBER: (text, 0.8)}) == told


def test_of_two_numbers_the_one_that_looks_like_a_slips_number_is_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """The other is somebody's telephone."""
    assert number(monkeypatch, {OTHER: ("Tel 555019", 0.55), NUMBER: ("73114", 0.9)}) == "73114"


def test_a_number_that_hardly_looks_like_one_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Print that is read as a number may be half a date."""
    assert number(monkeypatch, {NUMBER: ("126", 0.42)}) is None


@pytest.mark.parametrize(
    ("text", "told"), [("48213", "48213"), ("Slip 48213", "48213"), ("10 Fold Lane 48213", None)]
)
def test_what_may_be_written_is_a_slips_number_sooner_where_nothing_else_stands_with_it(
    monkeypatch: pytest.MonkeyPatch, text: str, told: str | None
) -> None:
    """A numbering stamp prints too unevenly to be told from a pen; an address holds numbers, too."""
    assert number(monkeypatch, {NUMBER: (text, 0.75)}, like_print=False) == told
    assert number(monkeypatch, {NUMBER: (text, 0.6)}, like_print=False) is None
