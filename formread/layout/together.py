"""What several sheets of one pad show together: one grid from all their looks, and one slip's boxes on another.

Writing hides other boxes on every slip, and every photo is poor elsewhere. Laid on each other, what the network saw on
one sheet fills in what it missed on the next.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.bend import bend_through
from formread.layout.boxes import Map, Seen
from formread.layout.cells import common
from formread.layout.design import ACROSS_OFF, ROW_OFF
from formread.layout.match import Match
from formread.layout.record import Box, Layout, Rectangle, Row
from formread.sheet.record import Points

_NEAR: Final = 0.008
"""Share of the sheet's longer side (1.7 mm on A5) by which an edge may lie off where another slip has it."""
_LINE: Final = 4  # edges in a row or column that tell how it tilts
_BESIDE: Final = 0.5  # share of the shorter of two sides that lie beside each other


def seen_together(first: Seen, others: Sequence[tuple[Seen, Match]]) -> Seen:
    """Return the mean of several looks, as the first sheet lies.

    Parameters
    ----------
    others
        What was seen on the other sheets, and how each lies on the first.
    """
    height, width = first.core.shape
    kinds, core, pence = first.kinds.copy(), first.core.copy(), first.pence.copy()
    weight = np.ones((height, width), np.float32)
    pixels = [
        (np.arange(count) + 0.5) * scale - 0.5
        for count, scale in zip((width, height), first.scale, strict=True)
    ]
    for seen, match in others:
        x, y = (
            np.asarray((led + 0.5) / scale - 0.5, np.float32)
            for led, scale in zip(match.over(*pixels), seen.scale, strict=True)
        )

        def laid(one: Map, x: Map = x, y: Map = y) -> Map:
            return np.asarray(cv2.remap(one, x, y, cv2.INTER_LINEAR), np.float32)

        weight += laid(np.ones_like(seen.core))
        kinds += np.stack([laid(one) for one in seen.kinds])
        core += laid(seen.core)
        pence += laid(seen.pence)
    return Seen(kinds / weight, core / weight, pence / weight, first.scale)


def brought(layout: Layout, match: Match, own: Layout, long: int) -> Layout:
    """Return the boxes of a slip as they lie on another slip of the pad.

    Where a box's edges were seen on the other slip, too, its columns and rows are moved onto them.

    Parameters
    ----------
    layout, match
        The slip's boxes, and how the other slip's sheet lies on its own.
    own
        The other slip's own layout: its number and its customer stay, and its edges are heard.
    long
        Pixels of the other sheet's longer side.
    """

    top = layout.rows[0].boxes[0][1].rectangle.top
    sides = match(np.array([(x, top) for column in layout.columns for x in (column.left, column.right)]))[
        :, 0
    ]
    moved = replace(
        layout,
        columns=tuple(
            replace(column, left=round(left), right=round(right))
            for column, left, right in zip(layout.columns, sides[::2], sides[1::2], strict=True)
        ),
        serial=own.serial,
        serial_text=own.serial_text,
        customer=own.customer,
    )
    moved = _through(moved, match)
    seen = list(rectangles(own))
    return _settled(_drifted(moved, seen, long), seen, _NEAR * long)


def _through(layout: Layout, lead: Callable[[Points], Points]) -> Layout:
    """Return a layout with its boxes led elsewhere."""

    def led(place: Rectangle) -> Rectangle:
        """Return the upright rectangle through the middles of the sides."""
        x, y = (place.left + place.right) / 2, (place.top + place.bottom) / 2
        sides = lead(np.array([(place.left, y), (place.right, y), (x, place.top), (x, place.bottom)]))
        return _rectangle(sides[0, 0], sides[2, 1], sides[1, 0], sides[3, 1])

    def box_led(box: Box) -> Box:
        return Box(led(box.rectangle), None if box.pence is None else led(box.pence))

    rows = tuple(
        replace(row, boxes=tuple((role, box_led(box)) for role, box in row.boxes)) for row in layout.rows
    )
    totals = tuple(replace(total, box=box_led(total.box)) for total in layout.totals)
    return replace(layout, rows=rows, totals=totals, spare=tuple(map(box_led, layout.spare)))


def _drifted(layout: Layout, seen: Sequence[Rectangle], long: int) -> Layout:
    """Move all boxes as those move of which edges were seen near them."""
    near, size = _NEAR * long, (long, long)
    bends = []
    offs = [(place, _off(place, seen, near)) for place in rectangles(layout)]
    for axis in (0, 1):
        known = [
            (_side(place, side), off[side])
            for place, off in offs
            for side in (axis, axis + 2)
            if off[side] is not None
        ]
        if not known:
            return layout
        places, off = np.array([at for at, _ in known]), np.array([by for _, by in known], np.float64)
        bends.append(bend_through(places, off, np.ones(len(off)), size, near / 4))
    return _through(layout, lambda points: points + np.column_stack([bend(points) for bend in bends]))


def _side(place: Rectangle, side: int) -> tuple[float, float]:
    """Return the middle of the left, upper, right or lower side."""
    x, y = (place.left + place.right) / 2, (place.top + place.bottom) / 2
    return ((place.left, y), (x, place.top), (place.right, y), (x, place.bottom))[side]


def rectangles(layout: Layout) -> Iterable[Rectangle]:
    """Return every place to write in, halves apart."""
    for box in _boxes(layout):
        yield from _halves(box)


def _rectangle(left: float, top: float, right: float, bottom: float) -> Rectangle:
    x, y = max(round(left), 0), max(round(top), 0)
    return Rectangle(x, y, max(round(right), x + 1), max(round(bottom), y + 1))


def _settled(layout: Layout, seen: Sequence[Rectangle], near: float) -> Layout:
    """Move rows and columns onto edges that were seen near them; those of which none was seen go with the rest."""
    off = {place: _off(place, seen, near) for place in rectangles(layout)}
    x = _middle([side for left, _, right, _ in off.values() for side in (left, right)])
    y = _middle([side for _, top, _, bottom in off.values() for side in (top, bottom)])

    def moved(place: Rectangle, beside: Sequence[Rectangle], under: Sequence[Rectangle]) -> Rectangle:
        across = [((other.left + other.right) / 2, off[other]) for other in beside]
        down = [((other.top + other.bottom) / 2, off[other]) for other in under]
        u, v = (place.left + place.right) / 2, (place.top + place.bottom) / 2
        return _rectangle(
            place.left + _heard([(at, its[0]) for at, its in down], v, x),
            place.top + _heard([(at, its[1]) for at, its in across], u, y),
            place.right + _heard([(at, its[2]) for at, its in down], v, x),
            place.bottom + _heard([(at, its[3]) for at, its in across], u, y),
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
    beside = [p for p in seen if common((p.top, p.bottom), (place.top, place.bottom)) > _BESIDE]
    over = [p for p in seen if common((p.left, p.right), (place.left, place.right)) > _BESIDE]
    return (
        _nearest(place.left, [p.left for p in beside], near),
        _nearest(place.top, [p.top for p in over], near),
        _nearest(place.right, [p.right for p in beside], near),
        _nearest(place.bottom, [p.bottom for p in over], near),
    )


def _nearest(edge: float, seen: Sequence[float], near: float) -> float | None:
    off = min((other - edge for other in seen), key=abs, default=near + 1)
    return off if abs(off) <= near else None


def _middle(offs: Sequence[float | None]) -> float:
    known = [off for off in offs if off is not None]
    return float(np.median(known)) if known else 0.0


def _heard(offs: Sequence[tuple[float, float | None]], at: float, otherwise: float) -> float:
    """Return how far an edge lies off at a place, by what was seen of it along a straight line (Sen 1968)."""
    known = [(place, off) for place, off in offs if off is not None]
    if not known:
        return otherwise
    places, found = np.array(known).T
    tilt = 0.0
    if len(known) >= _LINE:
        first, second = np.triu_indices(len(known), 1)
        apart = places[second] - places[first]
        tilts = ((found[second] - found[first])[apart != 0]) / apart[apart != 0]
        tilt = float(np.median(tilts)) if len(tilts) else 0.0
    return float(np.median(found - tilt * places)) + tilt * at


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
    off = np.abs(in_table(one) - in_table(other)).max(axis=0)
    return bool((off <= np.array([ACROSS_OFF, ROW_OFF / len(one.rows)] * 2)).all())


def _boxes(layout: Layout) -> list[Box]:
    return [box for row in layout.rows for _, box in row.boxes] + [total.box for total in layout.totals]


def in_table(layout: Layout) -> npt.NDArray[np.float64]:
    """Return left, top, right and bottom of every place to write in, (N, 4), in widths and heights of the table."""
    places = np.array([(p.left, p.top, p.right, p.bottom) for p in rectangles(layout)], np.float64)
    table = layout.table
    start = np.array([table.left, table.top] * 2)
    return np.asarray((places - start) / np.array([table.width, table.height] * 2), np.float64)


def off_the_rest(layouts: Sequence[Layout]) -> list[float]:
    """Return how far each of several slips that agree has its boxes from where most have them, in sizes of the table."""
    places = np.array([in_table(layout) for layout in layouts])
    return [float(off) for off in np.abs(places - np.median(places, axis=0)).mean(axis=(1, 2))]


def explained(own: Layout, brought: Layout, long: int) -> float:
    """Return the share of a slip's own boxes all of whose edges are edges of the boxes that were brought to it.

    Boxes that were missed, invented, run together or cut in two leave the most of the others where they are; a form
    with other rows has hardly one where this has it.
    """
    there = list(rectangles(brought))
    offs = [_off(place, there, _NEAR * long) for place in rectangles(own)]
    return sum(None not in off for off in offs) / max(len(offs), 1)
