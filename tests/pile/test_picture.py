"""What is written beside a slip's picture: level with its row, no line upon another."""

import cv2
import numpy as np
import pytest

from formread.arithmetic import SlipReadings
from formread.layout.record import Box, Column, ColumnRole, Layout, Rectangle, Row
from formread.money import currency
from formread.pile import picture
from formread.pile.record import ReadSlip
from formread.slips import Line, Slip

ROLES: tuple[ColumnRole, ...] = ("quantity", "unit_price", "line_total")
Written = list[tuple[str, float]]


def margin(monkeypatch: pytest.MonkeyPatch, lefts: tuple[int, ...]) -> Written:
    """The texts in the margin with their heights, for two rows of cards that begin at `lefts`."""
    rows: list[Row] = []
    for level in (100, 200):
        for left in lefts:
            boxes = tuple(
                (role, Box(Rectangle(left + 80 * k, level, left + 80 * k + 75, level + 40)))
                for k, role in enumerate(ROLES)
            )
            rows.append(Row(len(rows) + 1, boxes))
    columns = tuple(
        Column(role, lefts[0] + 80 * k, lefts[0] + 80 * k + 75, "") for k, role in enumerate(ROLES)
    )
    layout = Layout(columns, tuple(rows), (), None, None, None, 1.0)
    _, jpeg = cv2.imencode(".jpg", np.full((600, 600, 3), 255, np.uint8))
    outline = ((0.0, 0.0), (599.0, 0.0), (599.0, 599.0), (0.0, 599.0))
    read = ReadSlip("a.jpg", 1, outline, layout, SlipReadings((), ()), jpeg.tobytes())
    lines = tuple(Line(row.number, None, None, 2, 150, 300, struck_out=False) for row in rows)
    slip = Slip(
        "a.jpg", 1, outline, lines, (), 300 * len(rows), 300 * len(rows), 0, "agrees", 0.0, "",
        right_line_totals=tuple((row.number, 300) for row in rows),
    )  # fmt: skip
    written: Written = []
    put = cv2.putText

    def noted(canvas: object, text: str, place: tuple[int, int], *rest: object, **more: object) -> object:
        if place[0] > 600 and "=" in text:
            written.append((text, place[1]))
        return put(canvas, text, place, *rest, **more)  # type: ignore[call-overload]

    monkeypatch.setattr(cv2, "putText", noted)
    picture.draw_slip(read, slip, currency("GBP"))
    return written


def test_lines_stand_level_with_their_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows under one another need no number."""
    (first, y), (second, z) = margin(monkeypatch, (20,))
    assert first == second == "2 \N{MULTIPLICATION SIGN} 1.50 = 3.00"
    assert z - y == 100


def test_rows_side_by_side_are_numbered_and_not_written_on_each_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two cards stand on one level."""
    written = margin(monkeypatch, (20, 320))
    assert [text.split(":")[0] for text, _ in written] == ["row 1", "row 2", "row 3", "row 4"]
    assert min(np.diff([y for _, y in written])) >= 14
