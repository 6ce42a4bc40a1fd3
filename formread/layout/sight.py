"""From what the network saw and what is printed to proposals for a layout."""

from dataclasses import replace

import numpy as np

from formread.layout.boxes import KINDS, Seen
from formread.layout.grid import Edges, Grid
from formread.layout.header import find_customer, find_serial
from formread.layout.heading import Said, headings_apart, read_heading
from formread.layout.ink import Ink
from formread.layout.printed import pieces
from formread.layout.record import Column, ColumnRole, Layout, Rectangle, Row, TotalBox
from formread.layout.roles import ColumnSeen, assign
from formread.layout.scale import Read, Scale
from formread.layout.totals import find_totals
from formread.layout.vocabulary import is_heading

_PROPOSALS = 3
_WORTH = 0.02  # a less probable proposal is not worth reading a whole sheet for
_HEADING_REACH = 4.0  # row pitches over the first row where its heading may stand
_HEADING_USUAL = 1.3  # row pitches that a heading is high if the network saw none
_HEADED = 0.3  # of a column's width, and of a row's height, that a heading takes at least
_ACROSS = 4  # pixels of print on either side of a column's edge that it runs through
_WRITTEN = 0.15  # darkness of print and writing
_ROLES: tuple[ColumnRole, ...] = (
    "code", "description", "quantity", "unit_price", "line_total", "size", "page", "other",
)  # fmt: skip


def layouts_seen(seen: Seen, grid: Grid, content: Ink, read: Read, working: float) -> list[Layout]:
    """Propose layouts for a grid, most probable first.

    Parameters
    ----------
    content
        (H, W) darkness of print and writing of the working image, without the rules.
    working
        Pixels of the sheet per pixel of the working image.
    """
    scale = Scale(grid, seen, working)
    if not grid.storeyed:
        grid = _parted_by_headings(grid, seen, content, read, scale)
    headings = [
        read_heading(content, read, scale.in_working(_heading_of(grid, k, seen)))
        for k in range(len(grid.columns))
    ]
    if not grid.storeyed:
        grid, headings = _without_parts(grid, headings, seen, content, read, scale)
    width = max(grid.sides[1] - grid.sides[0], 1.0)
    columns = [
        ColumnSeen(
            match, (c.right - c.left) / width, c.pence is not None, dict(zip(_ROLES, c.kinds, strict=True))
        )
        for c, (_, match) in zip(grid.columns, headings, strict=True)
    ]
    counted = " ".join(
        text
        for (text, _), column in zip(headings, grid.columns, strict=True)
        if int(np.argmax(column.kinds)) == _ROLES.index("quantity")
    )
    totals, trust = find_totals(seen, grid, content, read, scale, counted)
    serial, serial_text = find_serial(seen, grid, content, read, scale)
    customer = find_customer(seen)
    assigned = assign(columns, _PROPOSALS)
    bare = boxes_seen(grid, scale)
    summed = {total.box for total in totals}
    layout = replace(
        bare,
        columns=tuple(
            replace(column, heading=text) for column, (text, _) in zip(bare.columns, headings, strict=True)
        ),
        totals=totals,
        serial=serial,
        serial_text=serial_text,
        customer=customer,
        trust=replace(trust, column_roles=tuple(assigned)),
        spare=tuple(total.box for total in bare.totals if total.box not in summed),
    )
    return [
        replace(layout.with_columns(roles), probability=probability)
        for k, (roles, probability) in enumerate(assigned)
        if not k or probability >= _WORTH
    ]


def boxes_seen(grid: Grid, scale: Scale) -> Layout:
    """Return a grid's boxes in pixels of the sheet: what they are for is not said, every one is ``other``."""
    top = grid.rows[0][0]
    return Layout(
        tuple(
            Column("other", round(scale.sheet(c.left, top)[0]), round(scale.sheet(c.right, top)[0]))
            for c in grid.columns
        ),
        tuple(
            Row(n, tuple(("other", scale.box(edges, pence)) for edges, pence in line))
            for n, line in enumerate(grid.boxes, 1)
        ),
        tuple(TotalBox("other", scale.box(total.box, total.pence)) for total in grid.totals),
    )


def _parted_by_headings(grid: Grid, seen: Seen, content: Ink, read: Read, scale: Scale) -> Grid:
    """Cut columns over which two headings stand side by side: what is ruled or coloured alike may still be two."""
    for place in reversed(range(len(grid.columns))):
        cell = scale.in_working(_heading_of(grid, place, seen))
        cuts = headings_apart(content, read, cell)
        if cuts:
            rows = scale.in_working(
                Edges(grid.columns[place].left, grid.rows[0][0], grid.columns[place].right, grid.rows[-1][1])
            )
            # To first order: the heading is level with the first row.
            per = (grid.columns[place].right - grid.columns[place].left) / max(cell.right - cell.left, 1)
            at = [grid.columns[place].left + (_valley(content, rows, *cut) - cell.left) * per for cut in cuts]
            grid = grid.parted(place, at)
    return grid


def _valley(content: Ink, rows: Rectangle, low: float, high: float) -> float:
    """Return where, between the middles of two headings, the least is written in the rows below."""
    x = np.arange(round(low), max(round(high), round(low) + 1))
    part = content[rows.top : rows.bottom, x[0] : x[-1] + 1]
    if part.shape[1] < len(x) or not part.size:
        return (low + high) / 2
    dark = np.convolve((part > _WRITTEN).mean(axis=0), np.ones(9) / 9, mode="same")
    least = np.flatnonzero(dark <= dark.min() + 0.002)
    return float(x[least].mean())


def _without_parts(
    grid: Grid, headings: list[Said], seen: Seen, content: Ink, read: Read, scale: Scale
) -> tuple[Grid, list[Said]]:
    """Join columns that are parts of one: a stretch of writing under the same heading, or cells of a comb."""
    for place in reversed(range(1, len(grid.columns))):
        a, b = grid.columns[place - 1 : place + 1]
        if a.pence or b.pence:
            continue
        alike = int(np.argmax(a.kinds)) == int(np.argmax(b.kinds))
        if not b.open_left and not alike:
            continue
        one = grid.joined(place)
        cell = scale.in_working(_heading_of(one, place - 1, seen))
        whole = read_heading(content, read, cell)
        edge = scale.in_working(Edges(a.left, grid.rows[0][0], b.left, grid.rows[0][1])).right
        across = any(p.left < edge - _ACROSS and p.right > edge + _ACROSS for p in pieces(content, cell))
        bare = not headings[place - 1][0] or not headings[place][0]
        if (b.open_left and (across or bare)) or (
            alike and is_heading(f"{headings[place - 1][0]} {headings[place][0]}")
        ):
            grid = one
            headings = [*headings[: place - 1], whole, *headings[place + 1 :]]
    return grid, headings


def _heading_of(grid: Grid, place: int, seen: Seen) -> Edges:
    """Return where a column's heading stands: what the network saw over its first box, or the usual height."""
    column, pitch = grid.columns[place], grid.pitch
    box = grid.boxes[0][place][0]
    first = box.top if grid.storeyed else grid.rows[0][0]
    kinds = seen.kinds[KINDS.index("heading")]
    x, y = grid.point((column.left + column.right) / 2, first)
    half = max((column.right - column.left) / 2 - 2, 1)
    low = max(int(y - _HEADING_REACH * pitch), 0)
    part = kinds[low : max(int(y) + 1, low + 1), max(int(x - half), 0) : int(x + half) + 1] > 0.5
    on = np.flatnonzero(part.mean(axis=1) > _HEADED) if part.size else np.zeros(0, int)
    top = first - _HEADING_USUAL * (box.height if grid.storeyed else pitch)
    bottom = first
    if len(on) >= _HEADED * (box.height if grid.storeyed else pitch):
        start = end = int(on[-1])
        while start - 1 in on:
            start -= 1
        top = first - (y - (low + start)) - 1
        if grid.storeyed:  # another storey's boxes may stand between
            bottom = min(first - (y - (low + end)) + 2, first)
    return Edges(column.left, max(top, 0.0), column.right, max(bottom, 1.0))
