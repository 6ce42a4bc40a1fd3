"""Totals by their labels: wherever on the slip the words stand, the box beside or under them.

Pads put their totals under the table, beside it, above it, side by side in one bar, or in a block with a ruling of
its own. What they share is the wording: a label that order pads print, and next to it a box to write in.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from formread.layout.ink import Ink
from formread.layout.printed import Piece, pieces
from formread.layout.record import Rectangle, TotalRole
from formread.layout.rules import Rule
from formread.layout.table import Level, Page, Table, straight
from formread.layout.totals import TotalPlace
from formread.layout.vocabulary import Match, match_total
from formread.ocr import PrintedText

Read = Callable[[Sequence[Piece]], list[PrintedText]]

KNOWN = 0.6
"""Print is a label of the totals from this probability on."""
_MOST = 26  # pieces of print read: each costs the recogniser some milliseconds
_TALLEST = 1.1  # row pitches; what is taller is a title or somebody's writing
_FLATTEST = 0.9  # widths over heights of the shortest label
_LEGIBLE, _LETTERS = 0.7, 3  # print that was read with so much trust and holds so many letters is a word
_CENTRED = 0.25  # of a cell's width by which a heading may stand off its middle
_TALLER = 1.5  # heights of a line of print; a shorter upright in it is the stem of a letter
_TOUCH = 7.0  # pixels by which a rule may end short of the corner that it makes
_UNDER = 0.75  # row pitches under a label, in its own cell, that are a box to write in
_LEAST_WIDE, _LEAST_TALL = 1.3, 0.55  # row pitches; nobody can write an amount into less
_MOST_TALL = 3.2  # row pitches
_ALIKE = 0.3  # of the label's band: how far the box's lines may lie from the label's own
_ROOM = 2.0  # row pitches right of a label, in its own cell, that are room to write in
_PENCE = (0.55, 0.85)  # where, in a box, a divider of pounds and pence may stand
_LONG = (
    2.0  # row pitches; a longer upright is a rule whatever it ends at, a shorter one may be a digit's stem
)
_REACH = 0.12  # of a box's width that its upper or lower rule may be short of a side
_SPAN = 0.7  # of a box's height that the upright beside it is seen on
_NEAR = 1.6  # row pitches between a label's middle and its box's upper or lower rule
_WITHIN = 0.85  # of a box's area that lies in another, for it to be a part of that
_FREE = 5.0  # row pitches that a box without a right side is wide


@dataclass(frozen=True, slots=True)
class Label:
    """Print that names a total."""

    piece: Piece
    match: Match[TotalRole]
    text: str


@dataclass(frozen=True, slots=True)
class Prints:
    """What is printed around the order rows: labels of totals, and other words, beside which nothing is written."""

    labels: tuple[Label, ...]
    words: tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class _Cell:
    """The rules around a point; a side without one is None."""

    above: Level | None
    below: Level | None
    left: Rule | None
    right: Rule | None


def find_labels(content: Ink, page: Page, table: Table, first: int, end: int, read: Read) -> Prints:
    """Read the print around the order rows.

    Parameters
    ----------
    first, end
        Indices of the levels over the first row and under the last.
    """
    x = (table.left.middle + table.right.middle) / 2
    top, bottom = table.levels[first].at(x), table.levels[end].at(x)
    right = table.right.middle
    places = [Rectangle(2, round(bottom) + 1, page.width - 2, page.height - 2)]
    if page.width - right > 2.5 * table.pitch:
        places.append(Rectangle(round(right) + 3, round(top), page.width - 2, round(bottom)))
    found = [piece for place in places for piece in _lines(content, page, place)]
    found = [
        p for p in found if p.height <= _TALLEST * table.pitch and p.right - p.left >= _FLATTEST * p.height
    ]
    found = found[:_MOST]
    labels, words = [], []
    for piece, text in zip(found, read(found), strict=True):
        match = match_total([text])
        if match.known >= KNOWN and match.word:
            labels.append(Label(piece, match, text.text.strip()))
        elif text.confidence > _LEGIBLE and sum(c.isalpha() for c in text.text) >= _LETTERS:
            words.append(piece)
    return Prints(tuple(labels), tuple(words))


def _lines(content: Ink, page: Page, place: Rectangle) -> list[Piece]:
    """Return the pieces of print in a place, cut where an upright rule parts them."""
    result = []
    for piece in pieces(content, place):
        y = piece.middle[1]
        cuts = [
            round(float(u.middle))
            for u in page.uprights
            if u.start - _TOUCH < y < u.end + _TOUCH
            and piece.left + 4 < u.middle < piece.right - 4
            and u.length > _TALLER * piece.height
            and _framed(page, u)
        ]
        if not cuts or piece.right - piece.left < 30:
            result.append(piece)
            continue
        edges = [piece.left, *sorted(cuts), piece.right]
        for a, b in pairwise(edges):
            inner = Rectangle(a + 3, piece.top - 2, b - 3, piece.bottom + 2)
            if inner.right - inner.left > 8:
                result += pieces(content, inner)
    return result


def _framed(page: Page, upright: Rule) -> bool:
    """Say whether an upright begins and ends at level rules, as the side of a box does and no letter's stem."""
    heights = [
        v.at(upright.middle) for v in page.levels if v.left - _TOUCH <= upright.middle <= v.right + _TOUCH
    ]
    return all(any(abs(end - y) <= _TOUCH for y in heights) for end in (upright.start, upright.end))


def place_totals(page: Page, table: Table, prints: Prints) -> list[TotalPlace]:
    """Return the box that belongs to each label, where there is one; two labels never share a box."""
    blocks: list[TotalPlace] = []
    for label in prints.labels:
        place = _under(page, table, label, prints) or _beside(page, table, label, prints)
        if place is not None and not any(_same(place, other) for other in blocks):
            blocks.append(place)
    return blocks


def _cell(page: Page, x: float, y: float) -> _Cell:
    """Return the nearest rules around a point that pass it."""
    over = [v for v in page.levels if v.left - _TOUCH <= x <= v.right + _TOUCH and v.at(x) < y]
    under = [v for v in page.levels if v.left - _TOUCH <= x <= v.right + _TOUCH and v.at(x) >= y]
    above = max(over, key=lambda v: v.at(x), default=None)
    below = min(under, key=lambda v: v.at(x), default=None)
    beside = [u for u in page.uprights if u.start - _TOUCH <= y <= u.end + _TOUCH]
    left = max((u for u in beside if u.middle <= x), key=lambda u: u.middle, default=None)
    right = min((u for u in beside if u.middle > x), key=lambda u: u.middle, default=None)
    return _Cell(above, below, left, right)


def _spans(upright: Rule, top: float, bottom: float) -> bool:
    """Say whether an upright runs beside most of a band, and not just past a corner of it."""
    common = min(upright.end, bottom) - max(upright.start, top)
    return common >= _SPAN * (bottom - top)


def _beside(page: Page, table: Table, label: Label, prints: Prints) -> TotalPlace | None:
    """Return the box right of a label: the next cell of its band, or the rest of its own."""
    piece = label.piece
    y, pitch = piece.middle[1], table.pitch
    others = [o.piece for o in prints.labels if o is not label] + list(prints.words)
    following = [o.left for o in others if o.top < y < o.bottom and o.left >= piece.right - 2]
    stop = min(following, default=page.width)
    uprights = sorted(
        (
            u
            for u in page.uprights
            if piece.right - 3 < u.middle <= stop + 4
            and u.start - _TOUCH <= y <= u.end + _TOUCH
            and (u.length > _LONG * pitch or _framed(page, u))
        ),
        key=lambda u: u.middle,
    )
    tries: list[tuple[float, Rule | None]] = [(piece.right + 3.0, uprights[0] if uprights else None)]
    tries += [(u.middle, after) for u, after in zip(uprights, [*uprights[1:], None], strict=False)]
    boxes = [
        box
        for start, side in tries[:4]
        if (box := _box(page, table, label, start, side, stop, uprights)) is not None
    ]
    if not boxes:
        return None
    own = boxes[0]
    in_own = own.left.middle <= piece.right + 3.5
    if in_own and len(boxes) > 1:
        # A cell of its own for the amount is the rule; the rest of the label's cell only where it is large, and
        # no cell with sides follows.
        following_box = boxes[1]
        room = own.right.middle - own.left.middle
        closed = any(abs(following_box.right.middle - u.middle) < 1 for u in uprights)
        if closed and room < 2.5 * (following_box.right.middle - following_box.left.middle):
            return following_box
    if in_own and own.right.middle - own.left.middle < _ROOM * pitch:
        return boxes[1] if len(boxes) > 1 else None
    return own


def _box(
    page: Page,
    table: Table,
    label: Label,
    start: float,
    side: Rule | None,
    stop: float,
    uprights: Sequence[Rule],
) -> TotalPlace | None:
    """Return the box that begins at `start` in the label's band and ends at an upright, or None if it is none."""
    pitch, y = table.pitch, label.piece.middle[1]
    end = side.middle if side is not None else min(stop - 4, start + _FREE * pitch, page.width - 4)
    if end - start < _LEAST_WIDE * pitch:
        return None
    x = (start + end) / 2
    short = _REACH * (end - start)
    lines = [v for v in page.levels if v.left < start + short and v.right > end - short]
    over = [v for v in lines if y - _NEAR * pitch < v.at(x) < y]
    under = [v for v in lines if y <= v.at(x) < y + _NEAR * pitch]
    top = max(over, key=lambda v: v.at(x), default=None)
    bottom = min(under, key=lambda v: v.at(x), default=None)
    if top is None and bottom is None and side is None:
        return None
    above = top or _level(page, (start, end), (bottom.at(x) - pitch) if bottom else y - 0.5 * pitch)
    below = bottom or _level(page, (start, end), (top.at(x) + pitch) if top else y + 0.5 * pitch)
    height = below.at(x) - above.at(x)
    if not _LEAST_TALL * pitch <= height <= _MOST_TALL * pitch:
        return None
    band = (above.at(x), below.at(x))
    if side is not None and not _spans(side, *band):
        return None
    left = next((u for u in uprights if abs(u.middle - start) < 1), None) or straight(band, (start, start))
    right = side or straight(band, (end, end))
    pence, right = _halved(table, left, right, uprights, band)
    return TotalPlace(above, below, left, right, pence, label.match, label.text)


def _halved(
    table: Table, left: Rule, right: Rule, uprights: Sequence[Rule], band: tuple[float, float]
) -> tuple[Rule | None, Rule]:
    """Return the divider of pounds and pence and the box's right side, where the next cell is the pence's."""
    after = next((u for u in uprights if u.middle > right.middle + 4 and _spans(u, *band)), None)
    if after is None:
        return None, right
    share = (right.middle - left.middle) / (after.middle - left.middle)
    at_side = abs(after.middle - table.right.middle) < 0.6 * table.pitch
    return (right, after) if _PENCE[0] <= share <= _PENCE[1] and at_side else (None, right)


def _under(page: Page, table: Table, label: Label, prints: Prints) -> TotalPlace | None:
    """Return the box under a label that stands in the middle over it, as a heading stands over a column."""
    piece = label.piece
    x, y = piece.middle
    own = _cell(page, x, y)
    if own.left is None or own.right is None or own.below is None:
        return None
    width = own.right.middle - own.left.middle
    astray = abs(x - (own.left.middle + own.right.middle) / 2)
    if astray > _CENTRED * (width - (piece.right - piece.left)) or width < _LEAST_WIDE * table.pitch:
        return None
    first: Level
    last: Level | None
    if own.below.at(x) - piece.bottom > _UNDER * table.pitch:
        # The words stand at the head of the very box that is written in.
        first, last = _level(page, (own.left.middle, own.right.middle), piece.bottom + 3.0), own.below
    else:
        first, last = own.below, _cell(page, x, own.below.lower(x) + 6.0).below
    if last is None:
        return None
    height = last.at(x) - first.at(x)
    if not _LEAST_TALL * table.pitch <= height <= _MOST_TALL * table.pitch:
        return None
    band = (first.at(x), last.at(x))
    if not (_spans(own.left, *band) and _spans(own.right, *band)):
        return None
    others = [o.piece for o in prints.labels] + list(prints.words)
    taken = any(band[0] < o.middle[1] < band[1] and abs(o.middle[0] - x) < width / 2 for o in others)
    alone = not any(o is not piece and o.top < y < o.bottom for o in others)  # headings come in rows
    if taken or alone:
        return None
    return TotalPlace(first, last, own.left, own.right, None, label.match, label.text)


def _level(page: Page, ends: tuple[float, float], y: float) -> Level:
    """Return a level line where none is printed, as skew as the page."""
    half = page.slope * (ends[1] - ends[0]) / 2
    rule = straight(ends, (y - half, y + half))
    return Level(page.flat((ends[0] + ends[1]) / 2, y), (rule,), *ends)


def _edges(place: TotalPlace) -> tuple[float, float, float, float]:
    """Return left, top, right and bottom, the sides taken as straight."""
    x = (place.left.middle + place.right.middle) / 2
    return place.left.middle, place.above.at(x), place.right.middle, place.below.at(x)


def _common(first: tuple[float, float, float, float], second: tuple[float, float, float, float]) -> float:
    wide = min(first[2], second[2]) - max(first[0], second[0])
    tall = min(first[3], second[3]) - max(first[1], second[1])
    return max(wide, 0.0) * max(tall, 0.0)


def _area(edges: tuple[float, float, float, float]) -> float:
    return max((edges[2] - edges[0]) * (edges[3] - edges[1]), 1e-9)


def overlap(a: TotalPlace, b: TotalPlace) -> float:
    """Return intersection over union of two boxes."""
    first, second = _edges(a), _edges(b)
    common = _common(first, second)
    return common / (_area(first) + _area(second) - common)


def _inside(inner: TotalPlace, outer: TotalPlace) -> bool:
    first = _edges(inner)
    return _common(first, _edges(outer)) > _WITHIN * _area(first)


def _same(a: TotalPlace, b: TotalPlace) -> bool:
    return overlap(a, b) > 0.3


def merged(under_table: Sequence[TotalPlace], by_label: Sequence[TotalPlace]) -> list[TotalPlace]:
    """Join the boxes found under the money column with those found by their labels.

    Where both speak of one box, that of the label is kept if its own rules say where it ends; boxes under the
    column that no label names stay only where no label was found at all.
    """
    named = bool(by_label)
    sure = [place for place in under_table if place.match.known >= KNOWN]
    # A box that begins where its label ends, for want of a rule, gives way to one that begins at a rule; and so
    # does one that ends short of the money column's own side: at the stem of a digit, most likely.
    kept = [
        place
        for place in by_label
        if not any(
            _one_label(place, other)
            and _ruled(other)
            and (not _ruled(place) or (other.right.seen.size > 1 and _inside(place, other)))
            for other in sure
        )
    ]
    for place in under_table:
        rivals = [other for other in kept if overlap(place, other) > 0.05 or _one_label(place, other)]
        if not rivals and (place.match.known >= KNOWN or not named):
            kept.append(place)
    kept.sort(key=lambda place: (round(place.above.place + place.below.place), place.left.middle))
    return kept


def _ruled(place: TotalPlace) -> bool:
    """Say whether a box begins at a printed rule."""
    return place.left.seen.size > 1


def _one_label(a: TotalPlace, b: TotalPlace) -> bool:
    """Say whether two boxes were found by the same print."""
    return bool(a.label) and a.label == b.label
