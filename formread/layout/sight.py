"""From what the network saw and what is printed to proposals for a layout."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from formread.layout.boxes import KINDS, Seen
from formread.layout.grid import Edges, Grid, GridColumn, GridTotal
from formread.layout.heading import Said, headings_apart, read_heading
from formread.layout.ink import Ink
from formread.layout.printed import Piece, is_print, pieces
from formread.layout.record import Box, Column, ColumnRole, Layout, Rectangle, Row, TotalBox, TotalRole, Trust
from formread.layout.roles import ColumnSeen, TotalSeen, assign, assign_totals, totals_among
from formread.layout.trust import seen_in, trust_of
from formread.layout.vocabulary import NOTHING, LabelRole, Match, is_heading, match_total
from formread.ocr import PrintedText

Read = Callable[[Sequence[Piece]], list[PrintedText]]

_PROPOSALS = 3
_TOTALS_PROPOSED = 6  # the sums of a slip or a pile choose among them
_WORTH = 0.02  # a less probable proposal is not worth reading a whole sheet for
_HEADING_REACH = 4.0  # row pitches over the first row where its heading may stand
_HEADING_USUAL = 1.3  # row pitches that a heading is high if the network saw none
_HEADED = 0.3  # of a column's width, and of a row's height, that a heading takes at least
_ACROSS = 4  # pixels of print on either side of a column's edge that it runs through
_WRITTEN = 0.15  # darkness of print and writing
_LABEL = 0.4  # probability from which on a place is a label
_LABEL_AROUND, _SERIAL_AROUND = 3, 4  # pixels at the sides of print: the network sees to about two
_LABEL_LEAST = 12  # places; smaller specks are none
_LABEL_REACH = 0.55  # of the sheet's width: how far left of its box a label may end
_LABEL_OVER = 1.3  # heights of a box over which its label may stand
_MOST_LABELS = 30  # pieces of print read
_CAPTION, _CAPTION_HEIGHT = 0.3, 0.4  # of a box's height: how near its rim, and how high, a caption in it is
_ROLES: tuple[ColumnRole, ...] = (
    "code", "description", "quantity", "unit_price", "line_total", "size", "page", "other",
)  # fmt: skip
_TOTAL_ROLES: tuple[TotalRole, ...] = ("goods", "delivery", "discount", "deposit", "other", "total")
_SERIAL = 0.4  # probability from which on a place is the slip's number
_SERIAL_LEAST = 20  # places
_SERIAL_SURE = (
    0.86  # over the whole of a number: so surely the network takes no date or telephone number for one
)
_CUSTOMER, _CUSTOMER_LEAST = (
    0.5,
    0.004,
)  # probability of a place; share of the sheet that the block takes at least
_MOST_HEADER = 16  # pieces of print read over the table
_NUMBER = re.compile(r"(?:^|[^\d])([A-Z]{0,2}[\s-]?\d{3,7})$")
_NUMBERED = re.compile(
    r"^(?:(?:slip|order|form|sheet|ser(?:ial)?|book|pad)?\s*(?:n[o0°º][.:°]?|#|nr[.:]?|number|№)?)\s*[.:]?\s*"
    r"([A-Z]{0,2}[\s-]?\d{3,7})$",
    re.IGNORECASE,
)
"""Print that is a slip's number by its wording alone."""
_LABEL_KNOWN = 0.6  # a label is one of the listed words from this probability on
_COUNT_LOOKS = 0.1  # less than that and the network is sure of an amount, whatever the label says
_COUNT = 0.5  # probability from which on a box is for a number of things, not for money


@dataclass(frozen=True, slots=True)
class _Scale:
    """From places of the map to pixels of the sheet and of the working image."""

    grid: Grid
    seen: Seen
    working: float

    def sheet(self, u: float, v: float) -> tuple[float, float]:
        x, y = self.grid.point(u, v)
        return (x + 0.5) * self.seen.scale[0], (y + 0.5) * self.seen.scale[1]

    def rectangle(self, box: Edges) -> Rectangle:
        """The upright rectangle through the middles of a box's sides, in pixels of the sheet."""
        mu, mv = (box.left + box.right) / 2, (box.top + box.bottom) / 2
        left, right = self.sheet(box.left, mv)[0], self.sheet(box.right, mv)[0]
        top, bottom = self.sheet(mu, box.top)[1], self.sheet(mu, box.bottom)[1]
        x0, y0 = max(round(left), 0), max(round(top), 0)
        return Rectangle(x0, y0, max(round(right), x0 + 1), max(round(bottom), y0 + 1))

    def of_part(self, part: tuple[int, int, int, int], around: int) -> Rectangle:
        """A stretch of the map (left, top, width, height) in the working image, with some pixels around it."""
        left, top, wide, high = part
        sx, sy = (s / self.working for s in self.seen.scale)
        return Rectangle(
            max(round(left * sx) - around, 0),
            max(round(top * sy) - 3, 0),
            round((left + wide) * sx) + around,
            round((top + high) * sy) + 3,
        )

    def in_working(self, box: Edges) -> Rectangle:
        r = self.rectangle(box)
        return Rectangle(*(round(v / self.working) for v in (r.left, r.top, r.right, r.bottom)))


def layouts_seen(seen: Seen, grid: Grid, content: Ink, read: Read, working: float) -> list[Layout]:
    """Propose layouts for a grid, most probable first.

    Parameters
    ----------
    content
        (H, W) darkness of print and writing of the working image, without the rules.
    working
        Pixels of the sheet per pixel of the working image.
    """
    scale = _Scale(grid, seen, working)
    grid = _parted_by_headings(grid, seen, content, read, scale)
    headings = [
        read_heading(content, read, scale.in_working(_heading_of(grid, c, seen))) for c in grid.columns
    ]
    grid, headings = _without_parts(grid, headings, seen, content, read, scale)
    width = max(grid.columns[-1].right - grid.columns[0].left, 1.0)
    columns = [
        ColumnSeen(
            match, (c.right - c.left) / width, c.pence is not None, dict(zip(_ROLES, c.kinds, strict=True))
        )
        for c, (_, match) in zip(grid.columns, headings, strict=True)
    ]
    totals, trust = _totals(seen, grid, content, read, scale)
    serial, serial_text = _serial(seen, grid, content, read, scale)
    customer = _customer(seen)
    assigned = assign(columns, _PROPOSALS)
    trust = replace(trust, column_roles=tuple(assigned))
    result = []
    for k, (roles, probability) in enumerate(assigned):
        if k and probability < _WORTH:
            continue
        result.append(
            Layout(
                tuple(
                    _column(role, c, text, grid, scale)
                    for role, c, (text, _) in zip(roles, grid.columns, headings, strict=True)
                ),
                tuple(
                    Row(
                        n,
                        tuple(
                            (role, _box(edges, pence, scale))
                            for role, (edges, pence) in zip(roles, line, strict=True)
                        ),
                    )
                    for n, line in enumerate(grid.boxes, 1)
                ),
                totals,
                serial,
                serial_text,
                customer,
                probability,
                trust,
            )
        )
    return result


def _box(edges: Edges, pence: Edges | None, scale: _Scale) -> Box:
    return Box(scale.rectangle(edges), None if pence is None else scale.rectangle(pence))


def _column(role: ColumnRole, column: GridColumn, text: str, grid: Grid, scale: _Scale) -> Column:
    top = grid.rows[0][0]
    return Column(
        role, round(scale.sheet(column.left, top)[0]), round(scale.sheet(column.right, top)[0]), text
    )


def _pitch(grid: Grid) -> float:
    tops = [top for top, _ in grid.rows]
    return float(np.median(np.diff(tops))) if len(tops) > 1 else grid.rows[0][1] - grid.rows[0][0]


def _parted_by_headings(grid: Grid, seen: Seen, content: Ink, read: Read, scale: _Scale) -> Grid:
    """Cut columns over which two headings stand side by side: what is ruled or coloured alike may still be two."""
    for place in reversed(range(len(grid.columns))):
        cell = scale.in_working(_heading_of(grid, grid.columns[place], seen))
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
    grid: Grid, headings: list[Said], seen: Seen, content: Ink, read: Read, scale: _Scale
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
        cell = scale.in_working(_heading_of(one, one.columns[place - 1], seen))
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


def _heading_of(grid: Grid, column: GridColumn, seen: Seen) -> Edges:
    """Return where a column's heading stands: what the network saw over the first row, or the usual height."""
    pitch = _pitch(grid)
    first = grid.rows[0][0]
    kinds = seen.kinds[KINDS.index("heading")]
    x, y = grid.point((column.left + column.right) / 2, first)
    half = max((column.right - column.left) / 2 - 2, 1)
    low = max(int(y - _HEADING_REACH * pitch), 0)
    part = kinds[low : max(int(y) + 1, low + 1), max(int(x - half), 0) : int(x + half) + 1] > 0.5
    on = np.flatnonzero(part.mean(axis=1) > _HEADED) if part.size else np.zeros(0, int)
    top = first - _HEADING_USUAL * pitch
    if len(on) >= _HEADED * pitch:
        start = int(on[-1])
        while start - 1 in on:
            start -= 1
        top = first - (y - (low + start)) - 1
    return Edges(column.left, max(top, 0.0), column.right, first)


def _labels(seen: Seen, content: Ink, scale: _Scale) -> list[Piece]:
    """Return the print that the network saw as labels of the totals, line by line, from the top."""
    parts = sorted(_parts(seen, "label", _LABEL, _LABEL_LEAST), key=lambda part: (part[1], part[0]))
    return [piece for part in parts for piece in pieces(content, scale.of_part(part, _LABEL_AROUND))]


def _totals(
    seen: Seen, grid: Grid, content: Ink, read: Read, scale: _Scale
) -> tuple[tuple[TotalBox, ...], Trust]:
    """Name the boxes of the totals by their labels and their looks, and say how far the layout can be trusted."""
    trust = trust_of(seen, grid)
    if not grid.totals:
        return (), trust
    places = [scale.in_working(_whole(total)) for total in grid.totals]
    own: list[list[Piece]] = [[] for _ in places]
    for piece in _labels(seen, content, scale):  # each line by itself: labels of one ladder stand close
        k = _spoken_of(piece, places, content.shape[1])
        if k is not None:
            own[k].append(piece)
    for k, place in enumerate(places):
        if not own[k]:  # a caption in the box itself; writing is none of the words of labels
            own[k] = [piece for piece in pieces(content, place) if _caption(piece, place)]
    asked = [piece for group in own for piece in group][:_MOST_LABELS]
    known = dict(zip(asked, read(asked), strict=True))
    kept: list[tuple[GridTotal, str, Match[LabelRole], Rectangle]] = []
    for total, group, place in zip(grid.totals, own, places, strict=True):
        said = [known[piece] for piece in group if piece in known]
        said = [text for text in said if text.text.strip()]
        match = match_total(said) if said else NOTHING
        looks = float(total.kinds[_TOTAL_ROLES.index("other")])
        if match.known * match.roles.get("count", 0.0) > _COUNT and looks > _COUNT_LOOKS:
            continue
        if looks > _COUNT and match.known < _LABEL_KNOWN:
            continue  # a count, points, tax included: nothing that adds to the sum
        kept.append((total, " ".join(text.text.strip() for text in said), match, place))
    boxes = [
        TotalSeen(
            match,
            dict(zip(_TOTAL_ROLES, total.kinds, strict=True)),
            bool(label),
            total.seen,
            _written(content, place),
        )
        for total, label, match, place in kept
    ]
    among = totals_among(boxes)
    kept = [one for one, its in zip(kept, among, strict=True) if its]
    assigned = assign_totals([box for box, its in zip(boxes, among, strict=True) if its], _TOTALS_PROPOSED)
    roles, probability = assigned[0]
    trust = replace(trust, total_roles=tuple(assigned))
    chosen = next((total for role, (total, *_) in zip(roles, kept, strict=True) if role == "total"), None)
    if chosen is not None:
        trust = replace(trust, totals=probability, seen=seen_in(seen, _whole(chosen), grid))
    return tuple(
        TotalBox(role, _box(total.box, total.pence, scale), label)
        for role, (total, label, *_) in zip(roles, kept, strict=True)
    ), trust


def _written(content: Ink, place: Rectangle) -> bool:
    """Say whether anything stands in a box but a caption."""
    return any(
        piece.height >= _CAPTION_HEIGHT * (place.bottom - place.top) for piece in pieces(content, place)
    )


def _caption(piece: Piece, box: Rectangle) -> bool:
    """Say whether print in a box is small and at its rim, as a caption is."""
    high = box.bottom - box.top
    at_rim = piece.top < box.top + _CAPTION * high or piece.bottom > box.bottom - _CAPTION * high
    return piece.height < _CAPTION_HEIGHT * high and at_rim


def _whole(total: GridTotal) -> Edges:
    if total.pence is None:
        return total.box
    return Edges(total.box.left, total.box.top, total.pence.right, total.box.bottom)


def _spoken_of(label: Piece, places: Sequence[Rectangle], width: int) -> int | None:
    """Return which box a label speaks of: the next one right of it in its line, else the one under it."""
    x, y = (label.left + label.right) / 2, (label.top + label.bottom) / 2
    best, near = None, float("inf")
    for k, box in enumerate(places):
        high = box.bottom - box.top
        if box.top - 0.25 * high <= y <= box.bottom + 0.25 * high and x < box.right:
            away = max(box.left - label.right, 0.0)
            if away > _LABEL_REACH * width:
                continue
        elif box.left - 0.2 * high <= x <= box.right + 0.2 * high and 0 <= box.top - y <= _LABEL_OVER * high:
            away = 0.5 * width + box.top - y
        else:
            continue
        if away < near:
            best, near = k, away
    return best


def _parts(seen: Seen, kind: str, least: float, area: float) -> list[tuple[int, int, int, int]]:
    """Return left, top, width and height of every stretch of one kind, the largest first."""
    mask = (seen.kinds[KINDS.index(kind)] > least).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask)
    found = [(int(s[4]), (int(s[0]), int(s[1]), int(s[2]), int(s[3]))) for s in stats[1:count]]
    return [part for size, part in sorted(found, key=lambda item: (-item[0], item[1])) if size >= area]


def _serial(
    seen: Seen, grid: Grid, content: Ink, read: Read, scale: _Scale
) -> tuple[Rectangle | None, str | None]:
    """Find the printed slip number: where the network saw one, or by its wording."""
    for part in _parts(seen, "serial", _SERIAL, _SERIAL_LEAST)[:2]:
        place = scale.of_part(part, _SERIAL_AROUND)
        found = pieces(content, place)
        for piece, text in zip(found, read(found), strict=True):
            said = _NUMBER.search(text.text.strip())
            if said and (_as_serial(seen, piece, scale) > _SERIAL_SURE or is_print(content, piece)):
                return _of_piece(piece, scale), said.group(1).replace(" ", "")
    first = scale.in_working(Edges(0, 0, 1, grid.rows[0][0])).bottom
    above = [p for p in pieces(content, Rectangle(2, 2, content.shape[1] - 2, first)) if _like_number(p)]
    below = [
        p
        for p in pieces(
            content,
            Rectangle(
                content.shape[1] // 2,
                round(0.85 * content.shape[0]),
                content.shape[1] - 2,
                content.shape[0] - 2,
            ),
        )
        if _like_number(p)
    ]
    found = [*above[:_MOST_HEADER], *below[-4:]]
    for piece, text in zip(found, read(found), strict=True):
        said = _NUMBERED.match(text.text.strip())
        if said is None or not is_print(content, piece):
            continue
        number = said.group(1).replace(" ", "")
        if len(number) >= 4 or len(text.text.strip()) > len(said.group(1)):
            return _of_piece(piece, scale), number
    return None, None


def _as_serial(seen: Seen, piece: Piece, scale: _Scale) -> float:
    """Return how surely the network sees a slip's number in a piece of print."""
    sx, sy = (s / scale.working for s in seen.scale)
    rows = slice(int(piece.top / sy), int(piece.bottom / sy) + 1)
    return float(
        seen.kinds[KINDS.index("serial")][rows, int(piece.left / sx) : int(piece.right / sx) + 1].mean()
    )


def _like_number(piece: Piece) -> bool:
    return 1.2 < piece.length / piece.height < 11


def _of_piece(piece: Piece, scale: _Scale) -> Rectangle:
    return Rectangle(
        int(piece.left * scale.working),
        int(piece.top * scale.working),
        int(np.ceil(piece.right * scale.working)),
        int(np.ceil(piece.bottom * scale.working)),
    )


def _customer(seen: Seen) -> Rectangle | None:
    """Return the block for name and address, in pixels of the sheet."""
    found = _parts(seen, "customer", _CUSTOMER, _CUSTOMER_LEAST * seen.core.size)
    if not found:
        return None
    left, top, wide, high = found[0]
    sx, sy = seen.scale
    return Rectangle(round(left * sx), round(top * sy), round((left + wide) * sx), round((top + high) * sy))
