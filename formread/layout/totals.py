"""The totals: boxes to write in, found by the labels that are printed beside, over or in them.

Pads put their totals under the table, beside it, in its last rows, side by side in one bar, in boxes or on lines. What
they share is the wording: a label that order pads print, and next to it a place to write. So every piece of print
around the order rows is given the place it most likely speaks of; the labels among the print tell which places are
totals; and places that stand in one column or one bar tell about one another where a side is missing.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from formread.layout.cells import find_cells
from formread.layout.ink import Ink
from formread.layout.printed import SPLIT, WORDS, Piece, pieces, place_of_step
from formread.layout.record import Rectangle
from formread.layout.rules import Rule
from formread.layout.table import Page, Table
from formread.layout.vocabulary import NOTHING, LabelRole, Match, match_total
from formread.ocr import PrintedText, first_characters

Read = Callable[[Sequence[Piece]], list[PrintedText]]

KNOWN = 0.6
"""Print is a label of the totals from this probability on."""
_NUMBER = re.compile(r"(?<=[^\W\d_][^\W\d_])[\s:.]*£?\s*\d[\d\s.,/-]*$")
_LETTER = 0.5  # heights; the width of a letter
_IN_ROWS, _SURE = 5, 0.7  # rows at the table's end that may be totals; trust in a label that says so
_MOST = 36  # pieces of print read: each costs the recogniser some milliseconds
_TALLEST = 1.1  # row pitches; what is taller is a title or somebody's writing
_FLATTEST = 0.8  # widths over heights of the shortest label
_LEGIBLE, _LETTERS = 0.7, 3  # print that was read with so much trust and holds so many letters is a word
_LISTED = 0.9  # trust in a label that nothing printed stands beside
_MOSTLY = 0.75  # share of letters in a word; of a number, some digits read like letters
_ROOMY = 2.5  # row pitches beside the table in which a block of totals has room
_MIXED = 0.6  # row pitches; taller than print, so writing is in it
_CLEAR = 2  # pixels of white between print and the column of money
_LOST = 1.5  # heights of the gap that one erased letter leaves between two words
_ONE_TYPE = 1.4  # heights by which labels of one block differ: bold ones and those with a tail
_NO_LETTER = 1.5  # row pitches; no letter of a label is so tall
_LEVEL, _UNLIKE = (
    0.6,
    1.7,
)  # words of one line: share of the lower one's height in common, and how unlike in height
_OWN = 3  # pixels by which print may overlap the edge of its neighbour
_LEAST_WIDE, _LEAST_TALL = 1.0, 0.5  # row pitches; nobody can write an amount into less
_MOST_TALL = 3.2  # row pitches
_ROOM = 1.6  # row pitches right of a label, in its own box, that are room to write in
_UNDER = 0.6  # row pitches under a label, in its own box, that are room to write in
_NEXT = 0.4  # row pitches between two boxes that stand side by side
_LINE = 0.9  # row pitches under a label's middle where a line to write on may be
_OVER = 1.3  # row pitches above a line to write on where the rule that ends its place may be
_SPAN = 0.7  # of a place's height on which its side is seen
_SAME = 8.0  # pixels by which the sides of places in one column or one bar may differ
_BAR = 0.6  # share of their height that boxes in one bar have in common: strokes of a pen may cut one short
_STACK = 2.6  # row pitches from one total to the next in a column
_PENCE = (0.4, 0.87)  # where, in a place, the divider of pounds and pence may stand
_INNER = 4  # pixels inside a place that its own rules' rests may darken
_OUTSIDE, _NEXT_DIGIT = (
    2.5,
    0.25,
)  # row pitches: how far a number may begin before its place; gap between its digits
_WRITTEN, _WRITTEN_LEAST = 0.4, 0.1  # of the darkest writing in a place; darkness: paler is grain
_FREE_REACH = 0.5  # of the table's width: how far left of the money column a label without a box may end
_FALL = 2.5  # row pitches between the rows, or one total, and the next one without a box
_UNLABELLED = 6  # boxes under the money column that are totals though no label was read

Kind = Literal["box", "line", "rest", "free"]
"""How a place is bounded: by rules on all sides; by a line to write on; by its label; by nothing printed."""
_TRUST: dict[Kind, int] = {"box": 3, "rest": 2, "line": 2, "free": 1}


@dataclass(frozen=True, slots=True, eq=False)
class Printed:
    """A piece of print and what it may mean."""

    piece: Piece
    text: PrintedText
    match: Match[LabelRole]

    @property
    def known(self) -> bool:
        """Whether it is a label of the totals."""
        return self.match.known >= KNOWN and bool(self.match.word)


@dataclass(frozen=True, slots=True)
class Money:
    """The column of the line totals: its sides and its divider of pounds and pence."""

    left: float
    right: float
    pence: float | None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is printed around the order rows, in pixels of the working image.

    Attributes
    ----------
    cells
        Boxes that rules close on all sides.
    lines
        Level rules.
    prints
        Labels and other words, from the top.
    bottom
        Where the order rows end.
    content
        (H, W) darkness of print and writing, without the rules.
    """

    page: Page
    table: Table
    money: Money
    cells: tuple[Rectangle, ...]
    lines: tuple[Rule, ...]
    prints: tuple[Printed, ...]
    bottom: float
    content: Ink


@dataclass(frozen=True, slots=True)
class TotalPlace:
    """One place of the totals: where to write, its half for the pence, and its label."""

    box: Rectangle
    pence: Rectangle | None
    match: Match[LabelRole]
    label: str


@dataclass(frozen=True, slots=True)
class _Slot:
    """A place with the print that speaks of it."""

    box: Rectangle
    kind: Kind
    prints: tuple[Printed, ...]
    match: Match[LabelRole]


def find_totals(
    ink: Ink, content: Ink, page: Page, table: Table, rows: tuple[int, int], money: Money, read: Read
) -> list[TotalPlace]:
    """Find the places of the totals, in the order in which people read them.

    Parameters
    ----------
    ink, content
        (H, W) darkness, with and without the rules.
    rows
        Indices of the levels over the first row and under the last.
    money
        The column of the line totals.
    """
    return place_totals(look_around(ink, content, page, table, rows, money, read))


def rows_before_totals(content: Ink, table: Table, first: int, end: int, read: Read) -> int:
    """Return the index of the level under the last order row: rows with a total's label printed in them are none."""
    for k in range(end - 1, max(first, end - 1 - _IN_ROWS), -1):
        x = (table.left.middle + table.right.middle) / 2
        above, below = table.levels[k], table.levels[k + 1]
        band = Rectangle(
            round(table.left.middle) + 3,
            round(above.lower(x)) + 2,
            round(table.right.middle) - 3,
            round(below.upper(x)) - 2,
        )
        found = pieces(content, band)
        labels = [match_total([text]) for text in read(found)]
        if not any(label.known >= _SURE for label in labels):
            return k + 1
    return end


def look_around(
    ink: Ink, content: Ink, page: Page, table: Table, rows: tuple[int, int], money: Money, read: Read
) -> Surroundings:
    """Find boxes, lines and print around the order rows; the parameters are those of :func:`find_totals`."""
    x = (table.left.middle + table.right.middle) / 2
    top, bottom = table.levels[rows[0]].at(x), table.levels[rows[1]].at(x)
    left, right = table.left.middle, table.right.middle
    places = [Rectangle(2, round(bottom) + 1, page.width - 2, page.height - 2)]
    if page.width - right > _ROOMY * table.pitch:
        places.append(Rectangle(round(right) + 3, 2, page.width - 2, round(bottom) + 1))
    if left > _ROOMY * table.pitch:
        places.append(Rectangle(2, round(top), round(left) - 3, round(bottom) + 1))

    def outside(cell: Rectangle) -> bool:
        mx, my = (cell.left + cell.right) / 2, (cell.top + cell.bottom) / 2
        return any(p.left <= mx < p.right and p.top <= my < p.bottom for p in places)

    cells = [cell for cell in find_cells(ink, page, places) if outside(cell)]
    found: list[Piece] = []
    rest = _without_sides(content, page, table.pitch)
    for cell in cells:
        if cell.bottom - cell.top >= 0.4 * table.pitch:
            found += _print_in(content, cell, table.pitch)
    outer = rest.copy()
    for cell in cells:
        outer[max(cell.top - 4, 0) : cell.bottom + 4, max(cell.left - 4, 0) : cell.right + 4] = 0
    for place in places:
        found += _print_in(outer, place, table.pitch, money.left)
    found = [
        p for p in found if p.height <= _TALLEST * table.pitch and p.right - p.left >= _FLATTEST * p.height
    ]
    found.sort(key=lambda p: (p.top, p.left))
    found = found[:_MOST]
    prints = []
    for whole, said in zip(found, read(found), strict=True):
        piece, text = _before_number(whole, said)
        match = match_total([text])
        letters = sum(c.isalpha() for c in text.text)
        word = text.confidence > _LEGIBLE and letters >= max(
            _LETTERS, _MOSTLY * len(text.text.replace(" ", ""))
        )
        if match.known >= KNOWN or word:
            prints.append(Printed(piece, text, match))
    lines = tuple(rule for level in page.levels for rule in level.rules)
    return Surroundings(page, table, money, tuple(cells), lines, tuple(prints), bottom, rest)


def _without_sides(content: Ink, page: Page, pitch: float) -> Ink:
    """Return a copy without what of the uprights is too long for letters, whatever it ends at."""
    rest = content.copy()
    for upright in page.uprights:
        whole = upright.seen if upright.unbroken is None else upright.unbroken
        y = upright.first + long_runs(whole, round(_NO_LETTER * pitch))
        y = y[(y >= upright.start - 2) & (y <= upright.end + 2) & (y >= 0) & (y < content.shape[0])]
        x = np.rint(upright.at(y.astype(np.float64))).astype(int)
        half = 3 + round(upright.thickness / 2)
        for shift in range(-half, half + 1):
            rest[y, np.clip(x + shift, 0, content.shape[1] - 1)] = 0
    return rest


def long_runs(mask: npt.NDArray[np.bool_], least: int) -> npt.NDArray[np.intp]:
    """Return the indices of the true values in stretches of `least` and more."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    spans = [np.arange(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]
    return np.concatenate([np.zeros(0, np.intp), *spans])


def _print_in(content: Ink, place: Rectangle, pitch: float, column: float | None = None) -> list[Piece]:
    """Return the lines of print in a place; where tall writing follows close upon print, each for itself.

    `column` is where writing begins, if no rule says so: print that ends before it is cut off there.
    """
    result = []
    found = _mended(pieces(content, place))
    if column is not None and place.left < column < place.right:
        before = replace(place, right=round(column) - _CLEAR)
        ended = [p for p in _mended(pieces(content, before)) if p.right < before.right - _CLEAR]
        found = ended + [p for p in found if not any(_meet(p, other) for other in ended)]
    for piece in found:
        if piece.height <= _MIXED * pitch:
            result.append(piece)
            continue
        lines: list[Piece] = []
        inner = Rectangle(piece.left, piece.top, piece.right, piece.bottom)
        for word in sorted(pieces(content, inner, WORDS), key=lambda p: p.left):
            k = next((k for k, line in enumerate(lines) if _one_line(line, word)), None)
            if k is None:
                lines.append(word)
            else:
                a = lines[k]
                top, bottom = min(a.top, word.top), max(a.bottom, word.bottom)
                lines[k] = Piece(a.left, top, max(a.right, word.right), bottom)
        result += lines
    return result


def _mended(found: Sequence[Piece]) -> list[Piece]:
    """Join words of one line where a letter between them was erased with a rule that it stood on."""
    lines: list[Piece] = []
    for word in sorted(found, key=lambda p: p.left):
        for k, line in enumerate(lines):
            low, high = sorted((line.height, word.height))
            common = min(line.bottom, word.bottom) - max(line.top, word.top)
            if (
                0 <= word.left - line.right <= _LOST * low
                and common >= low / _ONE_TYPE >= high / _ONE_TYPE**2
            ):
                top, bottom = min(line.top, word.top), max(line.bottom, word.bottom)
                lines[k] = Piece(line.left, top, word.right, bottom)
                break
        else:
            lines.append(word)
    return lines


def _meet(a: Piece, b: Piece) -> bool:
    return (
        min(a.right, b.right) > max(a.left, b.left)
        and min(a.bottom, b.bottom) - max(a.top, b.top) > b.height / 2
    )


def _before_number(piece: Piece, read: PrintedText) -> tuple[Piece, PrintedText]:
    """Return the words of a piece without the number written right after them: "Balance due 12.40"."""
    number = _NUMBER.search(read.text)
    if number is None:
        return piece, read
    words, steps = first_characters(read, number.start())
    end = round(place_of_step(piece, steps) + _LETTER * piece.height)
    return replace(piece, right=min(max(end, piece.left + 4), piece.right)), words


def _one_line(line: Piece, word: Piece) -> bool:
    low, high = sorted((line.height, word.height))
    common = min(line.bottom, word.bottom) - max(line.top, word.top)
    gap = word.left - line.right
    alike = gap <= WORDS * low or (gap <= SPLIT * high and high <= _UNLIKE * low)
    return alike and common >= _LEVEL * low


def _abut(a: Rectangle, b: Rectangle) -> bool:
    """Say whether a box stands right of another in one bar, with nothing but a rule between."""
    common = min(a.bottom, b.bottom) - max(a.top, b.top)
    return 0 <= b.left - a.right <= _SAME and common >= _BAR * max(a.bottom - a.top, b.bottom - b.top)


def _joined(a: Rectangle, b: Rectangle) -> Rectangle:
    return Rectangle(min(a.left, b.left), min(a.top, b.top), max(a.right, b.right), max(a.bottom, b.bottom))


def place_totals(around: Surroundings) -> list[TotalPlace]:
    """Return the places that the labels speak of, and those that stand in one block with them."""
    slots = _told(around)
    known = _completed(around, [slot for slot in slots if slot.match.known >= KNOWN])
    if not known:  # no label was read, or none that speaks of any place
        return _halved(around, _unlabelled(around))
    others = [slot for slot in slots if slot.match.known < KNOWN and slot.kind in ("box", "line")]
    chosen = _with_kin(around, known, others)
    chosen = [slot for slot in chosen if not slot.match.roles.get("count", 0.0) > 0.5]
    return _halved(around, [_with_its_writing(around, slot) for slot in _in_order(chosen)])


def _told(around: Surroundings) -> list[_Slot]:
    """Return the place that each piece of print speaks of; print that speaks of one place is one label."""
    by_box: dict[Rectangle, tuple[Kind, list[Printed]]] = {}
    options = {printed: _slots(around, printed) for printed in around.prints}
    for printed, own in options.items():
        others = [box for other, found in options.items() if other is not printed for box, _ in found]
        # Of several lines, that one is meant which the other labels have, too; the rest are strokes of a pen.
        told = max(own, key=lambda option: any(_in_column(option[0], box) for box in others), default=None)
        if told is not None:
            by_box.setdefault(told[0], (told[1], []))[1].append(printed)
    return _whole_lines(around, [_slot_of(box, kind, prints) for box, (kind, prints) in by_box.items()])


def _whole_lines(around: Surroundings, slots: Sequence[_Slot]) -> list[_Slot]:
    """Let lines to write on that begin or end together do both: faint ends are lost, a digit's stem is no side."""
    result = []
    for slot in slots:
        left, right = slot.box.left, slot.box.right
        for other in slots:
            near = abs(other.box.top - slot.box.top) <= _STACK * around.table.pitch
            if not near or other.kind not in ("box", "line"):
                continue
            if (
                abs(other.box.right - slot.box.right) <= _SAME
                and slot.prints[-1].piece.right < other.box.left
            ):
                left = min(left, other.box.left)
            if abs(other.box.left - slot.box.left) <= _SAME:
                right = max(right, other.box.right)
        box = replace(slot.box, left=left, right=right)
        taken = any(_in(p.piece, box) and not _in(p.piece, slot.box) for p in around.prints)
        result.append(replace(slot, box=box) if slot.kind == "line" and not taken else slot)
    return result


def _slot_of(box: Rectangle, kind: Kind, prints: Sequence[Printed]) -> _Slot:
    nearest = max(prints, key=lambda p: p.piece.right).piece
    lines = sorted(
        (p for p in prints if p.piece.right > nearest.left), key=lambda p: (p.piece.top, p.piece.left)
    )
    match = match_total([p.text for p in lines]) if len(lines) > 1 else lines[0].match
    return _Slot(box, kind, tuple(lines), match)


def _slots(around: Surroundings, printed: Printed) -> list[tuple[Rectangle, Kind]]:
    """Return the places that a piece of print may speak of, the likeliest first."""
    own = _own(around, printed.piece)
    beside = _beside(around, printed, own)
    if beside is not None:
        return [(beside, "box")]
    if own is not None:
        told = _under(around, printed, own) or _rest(around, printed, own)
        return [told] if told is not None else []
    lines = _on_lines(around, printed)
    if lines:
        return [(line, "line") for line in lines]
    below = _below(around, printed)
    return [] if below is None else [(below, "box")]


def _own(around: Surroundings, piece: Piece) -> Rectangle | None:
    x, y = piece.middle
    return next((c for c in around.cells if c.left <= x < c.right and c.top <= y < c.bottom), None)


def _writable(around: Surroundings, cell: Rectangle) -> bool:
    pitch = around.table.pitch
    high = cell.bottom - cell.top
    return (
        cell.right - cell.left >= _LEAST_WIDE * pitch
        and _LEAST_TALL * pitch <= high <= _MOST_TALL * pitch
        and not any(_in(p.piece, cell) for p in around.prints)
    )


def _in(piece: Piece, cell: Rectangle) -> bool:
    x, y = piece.middle
    return cell.left <= x < cell.right and cell.top <= y < cell.bottom


def _following(around: Surroundings, printed: Printed) -> list[Printed]:
    """Return the print right of a piece in its line, from the left."""
    _, y = printed.piece.middle
    found = [
        p
        for p in around.prints
        if p is not printed
        and p.piece.left >= printed.piece.right - _OWN
        and p.piece.top < y < p.piece.bottom
    ]
    return sorted(found, key=lambda p: p.piece.left)


def _beside(around: Surroundings, printed: Printed, own: Rectangle | None) -> Rectangle | None:
    """Return the next box right of a label, if it is free to write in and nothing is printed between."""
    piece = printed.piece
    _, y = piece.middle
    start = own.right if own is not None else piece.right
    nexts = [c for c in around.cells if c.left >= start - _OWN and c.top - _OWN <= y <= c.bottom + _OWN]
    if not nexts:
        return None
    cell = min(nexts, key=lambda c: c.left)
    if own is not None and cell.left - own.right > _NEXT * around.table.pitch:
        return None
    if any(p.piece.middle[0] < cell.left for p in _following(around, printed)):
        return None
    box = _run(around, cell)
    return box if _writable(around, box) else None


def _run(around: Surroundings, first: Rectangle, end: float | None = None) -> Rectangle:
    """Return a box with those right of it that nothing is printed in: halves of it, or parts that a stem cut off."""
    box = first
    while True:
        after = next((c for c in around.cells if _abut(box, c)), None)
        if after is None or any(_in(p.piece, after) for p in around.prints):
            return box
        if (end is not None and after.right > end + _SAME) or _parts(around, box, after):
            return box
        box = _joined(box, after)


def _parts(around: Surroundings, box: Rectangle, after: Rectangle) -> bool:
    """Say whether the money column begins between two boxes: the first is for something else."""
    wide = box.right - box.left >= _LEAST_WIDE * around.table.pitch
    return wide and abs(after.left - around.money.left) <= _SAME


def _whole_boxes(around: Surroundings) -> list[Rectangle]:
    """Return the boxes to write in, their parts joined."""
    boxes: list[Rectangle] = []
    for cell in around.cells:
        if any(_part(cell, box) for box in boxes) or any(_in(p.piece, cell) for p in around.prints):
            continue
        boxes.append(_run(around, cell))
    return [box for box in boxes if _writable(around, box)]


def _under(around: Surroundings, printed: Printed, own: Rectangle) -> tuple[Rectangle, Kind] | None:
    """Return the box under a heading, or the room under a label at the head of its own box."""
    piece, pitch = printed.piece, around.table.pitch
    whole = _run(around, own)
    room = Rectangle(own.left, piece.bottom + 2, whole.right, own.bottom)
    at_head = piece.bottom - own.top < 0.5 * (own.bottom - own.top)
    if at_head and room.bottom - room.top >= _UNDER * pitch and _writable(around, room):
        return room, "box"
    for cell in around.cells:
        if abs(cell.left - own.left) <= _SAME and 0 <= cell.top - own.bottom <= _SAME:
            box = _run(around, cell, own.right)
            if _in_column(box, own) and _writable(around, box):
                return box, "box"
    return None


def _rest(around: Surroundings, printed: Printed, own: Rectangle) -> tuple[Rectangle, Kind] | None:
    """Return the room right of a label in its own box, up to the next print."""
    piece = printed.piece
    following = [p.piece.left for p in _following(around, printed) if _in(p.piece, own)]
    end = min([own.right, *(left - 4 for left in following)])
    box = Rectangle(piece.right + 3, own.top, end, own.bottom)
    wide = box.right - box.left >= _ROOM * around.table.pitch
    return (box, "rest") if wide and _writable(around, box) else None


def _at(rule: Rule, x: float) -> float:
    return float(rule.at(np.array([x]))[0])


def _on_lines(around: Surroundings, printed: Printed) -> list[Rectangle]:
    """Return the places over lines to write on that begin, or go on, right of a label, the highest first."""
    piece, pitch = printed.piece, around.table.pitch
    _, y = piece.middle
    stop = min((p.piece.left - 4 for p in _following(around, printed)), default=around.page.width)
    found = []
    for rule in around.lines:
        start, end = max(rule.start, piece.right + 3.0), min(rule.end, stop)
        if rule.start > piece.middle[0]:
            start = rule.start  # writing that touches its label makes the label look longer than it is
        floor = _at(rule, (start + end) / 2)
        if end - start < _ROOM * pitch or not y - _OWN <= floor <= y + _LINE * pitch:
            continue
        start, end = _between_sides(around, start, end, floor)
        ceiling = _ceiling(around, start, end, floor)
        box = Rectangle(round(start), round(ceiling), round(end), round(floor - rule.thickness / 2))
        if _writable(around, box):
            found.append(box)
    return sorted(found, key=lambda box: box.bottom)


def _between_sides(around: Surroundings, start: float, end: float, floor: float) -> tuple[float, float]:
    """Return where, between two places on a line, the uprights that stand on it leave room."""
    low = floor - around.table.pitch
    sides = sorted(
        u.middle
        for u in around.page.uprights
        if start - _SAME < u.middle < end + _SAME
        and min(u.end, floor) - max(u.start, low) >= _SPAN * (floor - low)
    )
    if not sides:
        return start, end
    if len(sides) == 1:
        near_end = end - sides[0] < sides[0] - start
        return (start, sides[0] - 2) if near_end else (sides[0] + 2, end)
    return sides[0] + 2, sides[1] - 2


def _ceiling(around: Surroundings, start: float, end: float, floor: float) -> float:
    """Return the height of the next rule over a line to write on, or that of a row."""
    x, pitch = (start + end) / 2, around.table.pitch
    over = [
        _at(rule, x) + rule.thickness / 2
        for rule in around.lines
        if min(rule.end, end) - max(rule.start, start) > 0.8 * (end - start)
        and _LEAST_TALL * pitch <= floor - _at(rule, x) <= _OVER * pitch
    ]
    return max(over, default=floor - pitch)


def _below(around: Surroundings, printed: Printed) -> Rectangle | None:
    """Return the box close under a label that stands in no box itself."""
    piece = printed.piece
    x, _ = piece.middle
    close = [
        c
        for c in around.cells
        if c.left <= x < c.right and -_OWN <= c.top - piece.bottom <= 0.8 * around.table.pitch
    ]
    box = min(close, key=lambda c: c.top, default=None)
    if box is not None:
        box = _run(around, box)
    return box if box is not None and _writable(around, box) else None


def _in_column(a: Rectangle, b: Rectangle) -> bool:
    return abs(a.left - b.left) <= _SAME and abs(a.right - b.right) <= _SAME


def _kin(a: Rectangle, b: Rectangle, pitch: float) -> bool:
    """Say whether two places belong to one block: one over the other, or side by side in one bar."""
    gap = max(a.top, b.top) - min(a.bottom, b.bottom)
    if _in_column(a, b):
        return gap <= (_STACK - 1) * pitch
    return abs(a.top - b.top) <= _SAME and abs(a.bottom - b.bottom) <= _SAME


def _clash(a: Rectangle, b: Rectangle) -> bool:
    wide = min(a.right, b.right) - max(a.left, b.left)
    tall = min(a.bottom, b.bottom) - max(a.top, b.top)
    if wide <= 0 or tall <= 0:
        return False
    smaller = min((r.right - r.left) * (r.bottom - r.top) for r in (a, b))
    return wide * tall > 0.25 * smaller


def _completed(around: Surroundings, known: list[_Slot]) -> list[_Slot]:
    """Give labels without a place one, after the others' or under the money column."""
    known = _aligned(known)
    for k, slot in enumerate(known):
        if slot.kind == "rest":
            # Strokes of a pen may hide the box that the labels over and under this one have beside them.
            box = _like_others(around, slot.prints[0], [o for o in known if o.kind == "box"])
            known[k] = slot if box is None else replace(slot, box=box)
    used = {id(p) for slot in known for p in slot.prints}
    for printed in around.prints:
        if id(printed) in used or not printed.known:
            continue
        box = _like_others(around, printed, known)
        if box is None and printed.match.known >= _LISTED:
            box = _free(around, printed, known)
        if box is not None and not any(_clash(box, slot.box) for slot in known):
            known.append(_slot_of(box, "free", [printed]))
    kept: list[_Slot] = []
    for slot in sorted(known, key=lambda s: (-_TRUST[s.kind], -s.match.known)):
        if not any(_clash(slot.box, other.box) for other in kept):
            kept.append(slot)
    return kept


def _aligned(slots: list[_Slot]) -> list[_Slot]:
    """Bring sides that nothing printed bounds to where the boxes over and under have theirs."""
    result = []
    for slot in slots:
        others = [o for o in slots if o is not slot and _TRUST[o.kind] > _TRUST[slot.kind]]
        over = [
            o.box
            for o in others
            if min(o.box.right, slot.box.right) - max(o.box.left, slot.box.left)
            > 0.6 * (o.box.right - o.box.left)
            or abs(o.box.left - slot.box.left) <= _SAME
        ]
        if slot.kind != "box" and over:
            near = min(over, key=lambda b: abs(b.top - slot.box.top))
            result.append(replace(slot, box=replace(slot.box, left=near.left, right=near.right)))
        else:
            result.append(slot)
    return result


def _like_others(around: Surroundings, printed: Printed, known: Sequence[_Slot]) -> Rectangle | None:
    """Return the place beside a label that has the sides of the places over and under it."""
    pitch = around.table.pitch
    _, y = printed.piece.middle
    column = [
        slot.box
        for slot in known
        if slot.kind != "free"
        and slot.box.left >= printed.piece.right - pitch
        and slot.prints[0].piece.middle[0] < slot.box.left
        and abs((slot.box.top + slot.box.bottom) / 2 - y) <= 2 * _STACK * pitch
        and (
            abs(slot.prints[0].piece.left - printed.piece.left) <= pitch
            or abs(slot.prints[0].piece.right - printed.piece.right) <= pitch
        )
    ]
    if not column:
        return None
    near = min(column, key=lambda b: abs((b.top + b.bottom) / 2 - y))
    half = (near.bottom - near.top) / 2
    top, bottom = y - half, y + half
    for box in column:
        if box.bottom > top and box.bottom < y:
            top = box.bottom + 2
        if box.top < bottom and box.top > y:
            bottom = box.top - 2
    return Rectangle(near.left, round(top), near.right, round(bottom))


def _free(around: Surroundings, printed: Printed, known: Sequence[_Slot]) -> Rectangle | None:
    """Return the place under the money column beside a label that nothing bounds."""
    table, money, piece = around.table, around.money, printed.piece
    pitch = table.pitch
    _, y = piece.middle
    floor = max([around.bottom, *(s.box.bottom for s in known if s.box.bottom < y)])
    reach = money.left - _FREE_REACH * (table.right.middle - table.left.middle)
    end = money.right
    if not (piece.top < floor + _FALL * pitch and reach < piece.right < money.right - _LEAST_WIDE * pitch):
        return None
    start = max(money.left, piece.right + 3)
    if any(start < p.piece.middle[0] < end for p in _following(around, printed)):
        return None
    x = (start + end) / 2
    crossing = [r for r in around.lines if r.start < x < r.end]
    over = [_at(r, x) for r in crossing if y - 1.3 * pitch < _at(r, x) < y - 4]
    under = [_at(r, x) for r in crossing if y + 4 < _at(r, x) < y + 1.3 * pitch]
    top, bottom = max(over, default=y - pitch / 2), min(under, default=y + pitch / 2)
    return Rectangle(round(start) + 2, round(top) + 2, round(end) - 2, round(bottom) - 2)


def _with_kin(around: Surroundings, known: list[_Slot], others: Sequence[_Slot]) -> list[_Slot]:
    """Add the places of one block with the known ones: what is printed beside them is no word that is listed."""
    pitch = around.table.pitch
    bare = [
        _Slot(cell, "box", (), NOTHING)
        for cell in _whole_boxes(around)
        if cell.bottom < max(s.box.bottom for s in known) and not any(cell == o.box for o in others)
    ]
    chosen = list(known)
    grown = True
    while grown:
        grown = False
        for slot in (*others, *bare):
            if any(_clash(slot.box, c.box) for c in chosen):
                continue
            stacked = [c for c in chosen if _kin(slot.box, c.box, pitch) and _alike(slot, c, pitch)]
            if not slot.prints:
                # A box without a word stands over a labelled one and touches it.
                stacked = [
                    c
                    for c in stacked
                    if 0 <= c.box.top - slot.box.bottom <= _SAME and c.box.left - slot.box.left < _SAME
                ]
            if stacked:
                chosen.append(slot)
                grown = True
    return chosen


def _alike(a: _Slot, b: _Slot, pitch: float) -> bool:
    """Say whether the print of two slots may be labels of one block: as tall, and in line; writing is neither."""
    if not a.prints or not b.prints:
        return True
    one, other = a.prints[0].piece, b.prints[0].piece
    in_line = (
        min(abs(one.left - other.left), abs(one.right - other.right), abs(one.top - other.top)) <= pitch / 2
    )
    return in_line and max(one.height, other.height) <= _ONE_TYPE * min(one.height, other.height)


def _unlabelled(around: Surroundings) -> list[_Slot]:
    """Return the boxes right under the money column, for a block whose print can't be read."""
    money = around.money
    width = money.right - money.left
    found = [
        cell
        for cell in _whole_boxes(around)
        if min(cell.right, money.right) - max(cell.left, money.left) > 0.7 * width
        and cell.right - cell.left < 1.6 * width
    ]
    found.sort(key=lambda cell: cell.top)
    chain: list[Rectangle] = []
    for cell in found:
        floor = chain[-1].bottom if chain else around.bottom
        if cell.top - floor > 1.5 * around.table.pitch or len(chain) == _UNLABELLED:
            break
        chain.append(cell)
    return [_Slot(cell, "box", (), NOTHING) for cell in chain]


def _in_order(slots: Sequence[_Slot]) -> list[_Slot]:
    """Sort places as people read them: line by line."""
    rest = sorted(slots, key=lambda s: s.box.top + s.box.bottom)
    result: list[_Slot] = []
    while rest:
        first = rest[0].box
        middle = (first.top + first.bottom) / 2
        line = [s for s in rest if s.box.top < middle < s.box.bottom]
        result += sorted(line, key=lambda s: s.box.left)
        rest = [s for s in rest if s not in line]
    return result


def _with_its_writing(around: Surroundings, slot: _Slot) -> _Slot:
    """Let a place begin where the writing in it does: no leading digit may be left outside.

    A place that another box stands right before is left alone; so is print.
    """
    box, pitch = slot.box, around.table.pitch
    if any(_abut(cell, box) for cell in around.cells):
        return slot
    band = around.content[box.top + _INNER : box.bottom - _INNER]
    prints = [p.piece for p in around.prints if p.piece.top < box.bottom and p.piece.bottom > box.top]
    stop = max([box.left - _OUTSIDE * pitch, 0.0, *(p.right + 2.0 for p in prints if p.right < box.right)])
    if band.size == 0 or stop >= box.left:
        return slot
    inside = band[:, box.left : box.right]
    dark = band > max(_WRITTEN * float(np.quantile(inside, 0.995)), _WRITTEN_LEAST)
    written = dark.sum(axis=0) >= 2
    left, reach = box.left, round(_NEXT_DIGIT * pitch)
    while True:
        near = np.flatnonzero(written[max(left - reach, round(stop)) : left])
        if not len(near):
            break
        left = max(left - reach, round(stop)) + int(near[0])
    crossing = bool(written[box.left : box.left + reach].any())
    return replace(slot, box=replace(box, left=max(left - 3, 0))) if left < box.left and crossing else slot


def _halved(around: Surroundings, slots: Sequence[_Slot]) -> list[TotalPlace]:
    """Tell dividers of pounds and pence from stems of digits.

    A divider is believed where the money column, or every other place, has its own.
    """
    pence = around.money.pence
    inner = [
        [c.left - 2.0 for c in around.cells if _part(c, slot.box) and c.left - slot.box.left > _SAME]
        for slot in slots
    ]
    places = []
    for slot, own in zip(slots, inner, strict=True):
        label = " ".join(p.text.text.strip() for p in slot.prints)
        told = [
            x
            for x in own
            if (pence is not None and abs(pence - x) <= 2 * _SAME)
            or (len(slots) > 1 and all(any(abs(x - other) <= _SAME for other in others) for others in inner))
        ]
        places.append(TotalPlace(*_parted(around, told, slot.box), slot.match, label))
    return places


def _part(cell: Rectangle, box: Rectangle) -> bool:
    """Say whether a box is a part of a larger one."""
    inside = box.left <= cell.left and cell.right <= box.right
    return inside and box.top <= (cell.top + cell.bottom) / 2 < box.bottom


def _parted(
    around: Surroundings, dividers: Sequence[float], box: Rectangle
) -> tuple[Rectangle, Rectangle | None]:
    """Part a place at its divider, or where the money column's goes on through it.

    A place that ends at the money column's divider is the half for the pounds: the half for the pence, which
    may be open on the right, goes on to the column's side.
    """
    found, pence = list(dividers), around.money.pence
    if pence is not None and abs(box.right - pence) <= 2 * _SAME:
        return box, Rectangle(box.right + 4, box.top, round(around.money.right) - 3, box.bottom)
    if not found and pence is not None:
        y = (box.top + box.bottom) / 2
        found = [
            x
            for upright in around.page.uprights
            if abs((x := _at(upright, y)) - pence) <= 2 * _SAME
            and min(upright.end, box.bottom) - max(upright.start, box.top) >= _SPAN * (box.bottom - box.top)
        ]
    found = [x for x in found if _PENCE[0] <= (x - box.left) / (box.right - box.left) <= _PENCE[1]]
    if not found:
        return box, None
    return replace(box, right=round(found[-1]) - 2), replace(box, left=round(found[-1]) + 2)
