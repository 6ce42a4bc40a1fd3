"""What several sheets of one pad show together: one grid from all their looks, and one slip's boxes on another.

Writing hides other boxes on every slip, and every photo is poor elsewhere. Laid on each other, what the network saw on
one sheet fills in what it missed on the next.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Final

import cv2
import numpy as np

from formread.layout.boxes import Map, Seen
from formread.layout.grid import Edges
from formread.layout.match import Matrix
from formread.layout.record import Box, Layout, Rectangle, Row

_NEAR: Final = 0.008
"""Share of the sheet's longer side (1.7 mm on A5) by which an edge may lie off where another slip has it."""
_ACROSS_OFF: Final = (
    0.025  # of the table's width by which the same edge may lie elsewhere on another slip of the pad
)
_ROW_OFF: Final = 0.4  # of a row's height, likewise
_BESIDE: Final = 0.5  # share of the shorter of two sides that lie beside each other


def seen_together(looks: Sequence[tuple[Seen, Matrix]]) -> Seen:
    """Return the mean of several looks, as the first sheet lies.

    Parameters
    ----------
    looks
        What was seen on each sheet, and the (3, 3) matrix that leads from pixels of the first sheet to its own.
    """
    first = looks[0][0]
    height, width = first.core.shape
    weight = np.zeros((height, width), np.float32)
    kinds, core, pence = np.zeros_like(first.kinds), np.zeros_like(weight), np.zeros_like(weight)
    for seen, matrix in looks:
        leads = np.linalg.inv(_pixels(seen)) @ matrix @ _pixels(first)

        def laid(one: Map, leads: Matrix = leads) -> Map:
            flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
            return np.asarray(cv2.warpPerspective(one, leads, (width, height), flags=flags), np.float32)

        weight += laid(np.ones_like(seen.core))
        kinds += np.stack([laid(one) for one in seen.kinds])
        core += laid(seen.core)
        pence += laid(seen.pence)
    weight = np.maximum(weight, 1e-3)
    return Seen(kinds / weight, core / weight, pence / weight, first.scale)


def _pixels(seen: Seen) -> Matrix:
    """Lead from places of the map to pixels of the sheet."""
    sx, sy = seen.scale
    return np.array([[sx, 0.0, sx / 2 - 0.5], [0.0, sy, sy / 2 - 0.5], [0.0, 0.0, 1.0]])


def brought(layout: Layout, matrix: Matrix, own: Layout, long: int) -> Layout:
    """Return the boxes of a slip as they lie on another slip of the pad.

    Where a box's edges were seen on the other slip, too, its columns and rows are moved onto them.

    Parameters
    ----------
    layout, matrix
        The slip's boxes, and the (3, 3) matrix that leads from its pixels to the other's.
    own
        The other slip's own layout: its number and its customer stay, and its edges are heard.
    long
        Pixels of the other sheet's longer side.
    """
    moved = replace(
        layout,
        columns=tuple(
            replace(column, left=round(left), right=round(right))
            for column in layout.columns
            for (left, _), (right, _) in [
                _led(matrix, [(column.left, _top(layout)), (column.right, _top(layout))])
            ]
        ),
        rows=tuple(
            replace(
                row,
                boxes=tuple((role, _through(box, lambda r: _as_led(r, matrix))) for role, box in row.boxes),
            )
            for row in layout.rows
        ),
        totals=tuple(
            replace(total, box=_through(total.box, lambda r: _as_led(r, matrix))) for total in layout.totals
        ),
        serial=own.serial,
        serial_text=own.serial_text,
        customer=own.customer,
    )
    return _settled(moved, list(rectangles(own)), _NEAR * long)


def rectangles(layout: Layout) -> Iterable[Rectangle]:
    """Return every place to write in, halves apart."""
    for box in _boxes(layout):
        yield from _halves(box)


def _top(layout: Layout) -> float:
    return layout.rows[0].boxes[0][1].rectangle.top


def _led(matrix: Matrix, points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    found = np.column_stack([np.array(points, np.float64), np.ones(len(points))]) @ matrix.T
    return [(float(x / w), float(y / w)) for x, y, w in found]


def _as_led(place: Rectangle, matrix: Matrix) -> Rectangle:
    """Lead the middles of a rectangle's sides, and return the upright rectangle through them."""
    x, y = (place.left + place.right) / 2, (place.top + place.bottom) / 2
    (left, _), (right, _), (_, top), (_, bottom) = _led(
        matrix, [(place.left, y), (place.right, y), (x, place.top), (x, place.bottom)]
    )
    return _rectangle(left, top, right, bottom)


def _rectangle(left: float, top: float, right: float, bottom: float) -> Rectangle:
    x, y = max(round(left), 0), max(round(top), 0)
    return Rectangle(x, y, max(round(right), x + 1), max(round(bottom), y + 1))


def _through(box: Box, change: Callable[[Rectangle], Rectangle]) -> Box:
    return Box(change(box.rectangle), None if box.pence is None else change(box.pence))


def _settled(layout: Layout, seen: Sequence[Rectangle], near: float) -> Layout:
    """Move rows and columns onto edges that were seen near them; those of which none was seen go with the rest."""
    off = {place: _off(place, seen, near) for place in rectangles(layout)}
    x = _heard([side for left, _, right, _ in off.values() for side in (left, right)], 0.0)
    y = _heard([side for _, top, _, bottom in off.values() for side in (top, bottom)], 0.0)

    def moved(place: Rectangle, beside: Sequence[Rectangle], under: Sequence[Rectangle]) -> Rectangle:
        return _rectangle(
            place.left + _heard([off[other][0] for other in under], x),
            place.top + _heard([off[other][1] for other in beside], y),
            place.right + _heard([off[other][2] for other in under], x),
            place.bottom + _heard([off[other][3] for other in beside], y),
        )

    def box_moved(box: Box, row: Sequence[Box], column: Sequence[Box]) -> Box:
        beside = [place for other in row for place in _halves(other)]
        return Box(
            moved(box.rectangle, beside, [other.rectangle for other in column]),
            None
            if box.pence is None
            else moved(box.pence, beside, [other.pence for other in column if other.pence is not None]),
        )

    lines = [[box for _, box in row.boxes] for row in layout.rows]
    columns = list(zip(*lines, strict=True))
    return replace(
        layout,
        rows=tuple(
            Row(
                row.number,
                tuple(
                    (role, box_moved(box, line, column))
                    for (role, box), column in zip(row.boxes, columns, strict=True)
                ),
            )
            for row, line in zip(layout.rows, lines, strict=True)
        ),
        totals=tuple(
            replace(total, box=box_moved(total.box, [total.box], [total.box])) for total in layout.totals
        ),
    )


def _halves(box: Box) -> list[Rectangle]:
    return [box.rectangle] if box.pence is None else [box.rectangle, box.pence]


def _off(place: Rectangle, seen: Sequence[Rectangle], near: float) -> tuple[float | None, ...]:
    """Return by how much the left, upper, right and lower edge lie off one that was seen; None where none is near."""
    beside = [p for p in seen if _common((p.top, p.bottom), (place.top, place.bottom)) > _BESIDE]
    over = [p for p in seen if _common((p.left, p.right), (place.left, place.right)) > _BESIDE]
    return (
        _nearest(place.left, [p.left for p in beside], near),
        _nearest(place.top, [p.top for p in over], near),
        _nearest(place.right, [p.right for p in beside], near),
        _nearest(place.bottom, [p.bottom for p in over], near),
    )


def _nearest(edge: float, seen: Sequence[float], near: float) -> float | None:
    off = min((other - edge for other in seen), key=abs, default=near + 1)
    return off if abs(off) <= near else None


def _heard(offs: Sequence[float | None], otherwise: float) -> float:
    known = [off for off in offs if off is not None]
    return float(np.median(known)) if known else otherwise


def _common(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Share of the shorter of two stretches that lies in the other."""
    return (min(a[1], b[1]) - max(a[0], b[0])) / max(min(a[1] - a[0], b[1] - b[0]), 1e-6)


def agree(one: Layout, other: Layout) -> bool:
    """Say whether two slips have the same boxes, the totals' too, by their places in the table alone.

    How high the table is for its width does not count: on a slip seen aslant flattening may miss it by a quarter.
    """
    if (len(one.rows), len(one.columns), len(one.totals)) != (
        len(other.rows),
        len(other.columns),
        len(other.totals),
    ):
        return False
    pairs = list(zip(_boxes(one), _boxes(other), strict=True))
    if any((a.pence is None) != (b.pence is None) for a, b in pairs):
        return False
    down = _ROW_OFF / len(one.rows)
    return all(
        abs(p.left - q.left) <= _ACROSS_OFF
        and abs(p.right - q.right) <= _ACROSS_OFF
        and abs(p.top - q.top) <= down
        and abs(p.bottom - q.bottom) <= down
        for p, q in zip(_in_table(one), _in_table(other), strict=True)
    )


def _boxes(layout: Layout) -> list[Box]:
    return [box for row in layout.rows for _, box in row.boxes] + [total.box for total in layout.totals]


def _in_table(layout: Layout) -> list[Edges]:
    """Return every place to write in, in widths and heights of the table."""
    of_rows = [place for row in layout.rows for _, box in row.boxes for place in _halves(box)]
    left, top = min(p.left for p in of_rows), min(p.top for p in of_rows)
    width = max(max(p.right for p in of_rows) - left, 1)
    height = max(max(p.bottom for p in of_rows) - top, 1)
    return [
        Edges(
            (p.left - left) / width,
            (p.top - top) / height,
            (p.right - left) / width,
            (p.bottom - top) / height,
        )
        for p in rectangles(layout)
    ]


def explained(own: Layout, brought: Layout, long: int) -> float:
    """Return the share of a slip's own boxes all of whose edges are edges of the boxes that were brought to it.

    Boxes that were missed, invented, run together or cut in two leave the most of the others where they are; a form
    with other rows has hardly one where this has it.
    """
    there = list(rectangles(brought))
    offs = [_off(place, there, _NEAR * long) for place in rectangles(own)]
    return sum(None not in off for off in offs) / max(len(offs), 1)
