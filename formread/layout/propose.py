"""Propose what the boxes of a sheet mean: rules, then print, then roles, then the totals and the rest."""

import re
from collections.abc import Sequence
from itertools import groupby

import cv2
import numpy as np

from formread.layout.body import find_bodies
from formread.layout.heading import HeadedColumn, Heading, find_heading
from formread.layout.ink import Ink, ink_of
from formread.layout.printed import Piece, crops, pieces
from formread.layout.record import (
    Box,
    Column,
    ColumnRole,
    Layout,
    LayoutSearch,
    Rectangle,
    Row,
    TotalBox,
    TotalRole,
)
from formread.layout.roles import assign, assign_totals
from formread.layout.rules import Rule, Rules, erase, find_rules
from formread.layout.table import Level, Page, Table, band_presence, find_tables, page_of
from formread.layout.totals import Money, TotalPlace, find_totals, rows_before_totals
from formread.layout.vocabulary import is_customer_label
from formread.ocr import PrintedText, read_lines
from formread.sheet.record import Image, Sheet

_WORKING = 1500  # pixels of the longer side that all pixel figures of this room are meant for
_LEAST = 200  # pixels; nothing can be read on a smaller sheet
_PROPOSALS = 3
_WORTH = 0.02  # a less probable proposal is not worth reading a whole sheet for
_PER_HEADING = 3.0  # rows that one recognised heading outweighs when two tables compete
_SURE = 2.0  # headings recognised at which no second table is looked at
_MOST_HEADER = 16  # pieces of print read over the table
_LONG = 330  # pixels; a shorter upright is erased only where it is the side of a box: it may be print
_WIDE = 170  # pixels; the same for a level rule
_MEETS = 9.0  # pixels
_PLAINLY_NOT, _PLAINLY = 0.1, 0.9  # share of a band's height on which a divider is seen there
_LONGEST = 11.0  # heights; longer print over the table is a title or an address
_SERIAL = re.compile(
    r"^(?:(?:slip|order|form|sheet|ser(?:ial)?|book|pad)?\s*(?:n[o0°º][.:°]?|#|nr[.:]?|number|№)?)\s*[.:]?\s*([A-Z]{0,2}[\s-]?\d{3,7})$",
    re.I,
)

NO_TABLE = (
    "No table of order lines was found on this slip. Photograph it flat and from straight above, so that the "
    "printed lines show; a slip without any lines can't be read yet."
)
TOO_SMALL = "The slip is too small in the photo to read its boxes. Photograph it from nearer."


def propose_layouts(sheet: Sheet) -> LayoutSearch:
    """Propose what the boxes of a sheet mean, most probable proposal first.

    Parameters
    ----------
    sheet
        One slip, flat and upright.

    Returns
    -------
    LayoutSearch
        Up to three layouts whose rectangles are in pixels of ``sheet.image``; falsy, with a reason in the
        seller's words, when no table is found.
    """
    height, width = sheet.image.shape[:2]
    if max(height, width) < _LEAST:
        return LayoutSearch((), TOO_SMALL)
    scale = max(height, width) / _WORKING
    size = (max(1, round(width / scale)), max(1, round(height / scale)))
    method = cv2.INTER_AREA if scale > 1 else cv2.INTER_CUBIC
    working = np.asarray(cv2.resize(sheet.image, size, interpolation=method), np.uint8)
    ink = ink_of(working)
    rules = find_rules(ink)
    page = page_of(rules, *size)
    content = _content(ink, rules)
    reader = _Reader(sheet.image, scale)
    chosen = _choose(ink, content, page, working, reader)
    if chosen is None:
        return LayoutSearch((), NO_TABLE)
    table, heading = chosen
    return LayoutSearch(_layouts(ink, content, page, table, heading, reader, scale))


def _aspect(piece: Piece) -> float:
    return piece.length / piece.height


class _Reader:
    """Reads pieces of print from the sheet's own pixels, each only once."""

    def __init__(self, image: Image, scale: float) -> None:
        self._image = image
        self._scale = scale
        self._known: dict[Piece, PrintedText] = {}

    def __call__(self, found: Sequence[Piece]) -> list[PrintedText]:
        new = [piece for piece in dict.fromkeys(found) if piece not in self._known]
        new.sort(key=_aspect)
        # The recogniser pads a batch to its widest crop: like goes with like.
        for _, group in groupby(new, key=lambda piece: int(np.log2(max(_aspect(piece), 1.5)) * 2)):
            batch = list(group)
            texts = read_lines(crops(self._image, batch, self._scale))
            self._known.update(zip(batch, texts, strict=True))
        return [self._known[piece] for piece in found]


def _content(ink: Ink, rules: Rules) -> Ink:
    """Return the darkness without the rules: print and writing."""
    level = tuple(rule for rule in rules.horizontal if rule.length > _WIDE or _meets(rule, rules.vertical))
    flat = erase(ink, level)
    upright = tuple(rule for rule in rules.vertical if rule.length > _LONG or _meets(rule, rules.horizontal))
    return np.ascontiguousarray(erase(np.ascontiguousarray(flat.T), upright).T)


def _meets(upright: Rule, level: Sequence[Rule]) -> bool:
    """Say whether an upright begins and ends at level rules, as the side of a box does."""
    x = upright.middle
    heights = [_x(rule, x) for rule in level if rule.start - _MEETS <= x <= rule.end + _MEETS]
    return all(any(abs(end - y) <= _MEETS for y in heights) for end in (upright.start, upright.end))


def _choose(
    ink: Ink, content: Ink, page: Page, image: Image, reader: _Reader
) -> tuple[Table, Heading] | None:
    """Choose the order table among the candidates: the one with a heading row and the most rows."""
    best: tuple[float, Table, Heading] | None = None
    tables = find_tables(page) + find_bodies(page, ink, content, image)
    for table in sorted(tables, key=lambda t: -t.score):
        if best is not None and best[2].known >= _SURE and not _within(best[1], table):
            continue
        heading = find_heading(content, page, table, reader)
        score = table.score + _PER_HEADING * heading.known
        if best is None or score > best[0]:
            best = (score, table, heading)
    if best is None or (best[2].known < 0.5 and len(best[1].dividers) < 2):
        return None
    return best[1], best[2]


def _within(inner: Table, outer: Table) -> bool:
    """Say whether a table's lines may be guide lines of another, which begins above and ends below them."""
    return (
        outer.levels[0].place < inner.levels[0].place - 0.2 * inner.pitch
        and outer.levels[-1].place > inner.levels[-1].place + 0.1 * inner.pitch
        and len(outer.levels) >= len(inner.levels)
    )


def _x(rule: Rule, y: float) -> float:
    return float(rule.at(np.array([y]))[0])


def _rectangle(above: Level, below: Level, left: Rule, right: Rule, scale: float) -> Rectangle:
    """Return the largest upright rectangle inside four boundaries, in pixels of the sheet."""
    rough = (above.at(left.middle) + below.at(left.middle)) / 2
    x0, x1 = _x(left, rough), _x(right, rough)
    inset = 2.0
    xs = (x0 + inset, (x0 + x1) / 2, x1 - inset)
    top = max(above.lower(x) for x in xs)
    bottom = min(below.upper(x) for x in xs)
    ys = (top, (top + bottom) / 2, bottom)
    start = max(_x(left, y) for y in ys) + left.thickness / 2
    end = min(_x(right, y) for y in ys) - right.thickness / 2
    # A pixel's middle stands half a pixel from its edge, at the working scale and at the sheet's.
    box = [int(np.floor((value + 0.5) * scale + 0.5)) for value in (start, top, end, bottom)]
    return Rectangle(box[0], box[1], max(box[2], box[0] + 1), max(box[3], box[1] + 1))


def _box(above: Level, below: Level, left: Rule, right: Rule, pence: Rule | None, scale: float) -> Box:
    if pence is None:
        return Box(_rectangle(above, below, left, right, scale))
    return Box(_rectangle(above, below, left, pence, scale), _rectangle(above, below, pence, right, scale))


def _rows_end(table: Table, heading: Heading) -> int:
    """Return the index of the level under the last row: last bands that lack most dividers are totals."""
    end = len(table.levels) - 1
    if len(table.dividers) < 2:
        return end
    while end - heading.first > 1:
        shares = [band_presence(d, table.levels[end - 1], table.levels[end]) for d in table.dividers]
        seen = [not share < 0.5 for share in shares]
        if np.mean(seen) >= 0.6 and not _gap(shares):
            break
        end -= 1
    return end


def _gap(shares: Sequence[float]) -> bool:
    """Say whether a band plainly lacks a divider while it plainly has others: two cells are one, for a label."""
    return min(shares) < _PLAINLY_NOT and max(shares) > _PLAINLY


def _layouts(
    ink: Ink, content: Ink, page: Page, table: Table, heading: Heading, reader: _Reader, scale: float
) -> tuple[Layout, ...]:
    end = rows_before_totals(content, table, heading.first, _rows_end(table, heading), reader)
    assignments = assign(heading.columns, _PROPOSALS)
    assignments = [a for k, a in enumerate(assignments) if k == 0 or a[1] >= _WORTH]
    serial, serial_text, customer = _header(content, page, table, heading, end, reader, scale)
    likeliest = assignments[0][0]
    k = likeliest.index("line_total") if "line_total" in likeliest else len(likeliest) - 1
    places = find_totals(ink, content, page, table, (heading.first, end), _money(heading.columns[k]), reader)
    kinds = assign_totals([place.match for place in places])
    totals = tuple(_total(role, place, scale) for role, place in zip(kinds, places, strict=True))
    layouts = []
    for roles, probability in assignments:
        layouts.append(
            Layout(
                _columns(heading, table, roles, scale),
                _rows(heading, table, roles, end, scale),
                totals,
                serial,
                serial_text,
                customer,
                probability,
            )
        )
    return tuple(layouts)


def _money(column: HeadedColumn) -> Money:
    pence = None if column.pence is None else column.pence.middle
    return Money(column.left.middle, column.right.middle, pence)


def _total(role: TotalRole, place: TotalPlace, scale: float) -> TotalBox:
    pence = None if place.pence is None else _enlarged(place.pence, scale)
    return TotalBox(role, Box(_enlarged(place.box, scale), pence), place.label)


def _enlarged(box: Rectangle, scale: float) -> Rectangle:
    return Rectangle(*(round(value * scale) for value in (box.left, box.top, box.right, box.bottom)))


def _columns(heading: Heading, table: Table, roles: Sequence[ColumnRole], scale: float) -> tuple[Column, ...]:
    y = table.levels[heading.first].at(table.left.middle)
    return tuple(
        Column(role, round(_x(c.left, y) * scale), round(_x(c.right, y) * scale), c.text)
        for role, c in zip(roles, heading.columns, strict=True)
    )


def _rows(
    heading: Heading, table: Table, roles: Sequence[ColumnRole], end: int, scale: float
) -> tuple[Row, ...]:
    rows = []
    for number, k in enumerate(range(heading.first, end), 1):
        above, below = table.levels[k], table.levels[k + 1]
        boxes = tuple(
            (role, _box(above, below, c.left, c.right, c.pence, scale))
            for role, c in zip(roles, heading.columns, strict=True)
        )
        rows.append(Row(number, boxes))
    return tuple(rows)


def _scaled(piece: Piece, scale: float) -> Rectangle:
    return Rectangle(
        int(piece.left * scale),
        int(piece.top * scale),
        int(np.ceil(piece.right * scale)),
        int(np.ceil(piece.bottom * scale)),
    )


def _header(
    content: Ink, page: Page, table: Table, heading: Heading, end: int, reader: _Reader, scale: float
) -> tuple[Rectangle | None, str | None, Rectangle | None]:
    """Find the serial number and the customer's block around the table."""
    top = int(heading.top)
    places = [Rectangle(2, 2, page.width - 2, top)]
    if table.left.middle > 0.25 * page.width:
        places.append(Rectangle(2, top, round(table.left.middle) - 6, page.height - 2))
    found = [p for place in places for p in pieces(content, place) if 1.2 < _aspect(p) < _LONGEST]
    found = [p for p in found if p.height < 1.4 * table.pitch][:_MOST_HEADER]
    texts = reader(found)
    serial: tuple[Piece, str] | None = None
    labels = []
    for piece, text in zip(found, texts, strict=True):
        said = _serial(text)
        if said and (serial is None or piece.top < serial[0].top - 10):
            serial = (piece, said)
        if is_customer_label(text):
            labels.append(piece)
    if serial is None:
        serial = _serial_below(content, page, table, end, reader)
    customer = _customer(page, table, labels, scale)
    if serial is None:
        return None, None, customer
    return _scaled(serial[0], scale), serial[1], customer


def _serial(read: PrintedText) -> str | None:
    """Return the number if the print is a slip's number: with "No." before it, or four digits and more."""
    said = _SERIAL.match(read.text.strip())
    if said is None:
        return None
    number = str(said.group(1)).replace(" ", "")
    return number if len(number) >= 4 or len(read.text.strip()) > len(said.group(1)) else None


def _serial_below(
    content: Ink, page: Page, table: Table, end: int, reader: _Reader
) -> tuple[Piece, str] | None:
    bottom = table.levels[end].at(page.width / 2)
    place = Rectangle(
        page.width // 2, max(round(bottom), round(0.85 * page.height)), page.width - 2, page.height - 2
    )
    found = [p for p in pieces(content, place) if p.right - p.left > 1.2 * p.height][-4:]
    for piece, text in zip(found, reader(found), strict=True):
        said = _serial(text)
        if said:
            return piece, said
    return None


def _customer(page: Page, table: Table, labels: Sequence[Piece], scale: float) -> Rectangle | None:
    """Return the block that the labels begin: down to its last line, right to where its lines end."""
    if not labels:
        return None
    first, last = min(p.top for p in labels), max(p.bottom for p in labels)
    left, right = min(p.left for p in labels), max(p.right for p in labels)
    step = max(table.pitch, (last - first) / max(len(labels) - 1, 1))
    own = {id(level) for level in table.levels}
    lines = [
        level
        for level in page.levels
        if id(level) not in own
        and first - 0.5 * step < level.at(level.left) < last + 1.4 * step
        and left - 0.1 * page.width < level.left < right + 0.3 * page.width
        and level.width > 0.12 * page.width
    ]
    side = table.left.middle if table.left.middle > right else page.width - 2.0
    end = max((level.right for level in lines), default=min(side, left + 0.55 * page.width))
    bottom = max([level.at(level.left) for level in lines] + [float(last)])
    start = min([level.left for level in lines] + [float(left)])
    return Rectangle(
        int(start * scale), int((first - 4) * scale), int(min(end, side) * scale), int(bottom * scale)
    )
