"""The totals block: the boxes under the table, or its last rows, with the print beside them."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from formread.layout.ink import Ink
from formread.layout.printed import Piece, pieces
from formread.layout.record import Rectangle, TotalRole
from formread.layout.rules import Rule
from formread.layout.table import Level, Page, Table, band_presence, straight
from formread.layout.vocabulary import Match, match_total
from formread.ocr import PrintedText

Read = Callable[[Sequence[Piece]], list[PrintedText]]

_KNOWN = 0.5
_LOWEST_BAND = 0.5  # row pitches; a lower band between two levels is a gap between boxes
_HIGHEST_BAND = 2.4
_DEEPEST = 12.0  # row pitches under the table that a totals block may reach
_LABEL_REACH = 0.62  # of the table's width: how far left of its box a label may begin
_FALL = 2.5  # row pitches between one total and the next without a box
_NEAR = 0.22  # of the table's width: how far left of its place a label without a box may end
_MOST_LABELS = 14
_INSET = 5.0  # pixels; a line that stops so far short of both sides of a box is printed inside it
_PRESENT = 0.6
_SIDE_OFF = 0.10  # of the column's width: how far short of its sides a box's line may stop
_SIDE_SCALE = 8.0  # pixels; what a line's ends may miss the sides by
_UNEVEN = 0.25  # share of their height by which boxes of one block may differ
_MOST_LINES = 16
_ASTRAY = 10.0  # pixels by which a box's side may differ from those of the other boxes
_SIDE = 0.8  # share of a box's height on which its own left side is seen


@dataclass(frozen=True, slots=True)
class TotalPlace:
    """One box of the totals block: its four sides, the divider of pounds and pence, and its label."""

    above: Level
    below: Level
    left: Rule
    right: Rule
    pence: Rule | None
    match: Match[TotalRole]
    label: str


@dataclass(frozen=True, slots=True)
class _Label:
    piece: Piece
    match: Match[TotalRole]
    text: str


def find_totals(
    content: Ink, page: Page, table: Table, rows_end: int, money: tuple[Rule, Rule, Rule | None], read: Read
) -> list[TotalPlace]:
    """Find the totals block.

    Parameters
    ----------
    rows_end
        Index of the level under the last row.
    money
        The sides of the line totals' column and its divider of pounds and pence.
    """
    last = table.levels[rows_end]
    left, right, _ = money
    bands = _bands(page, table, rows_end, money)
    labels = _labels(content, page, table, last, money, read)
    places: list[TotalPlace] = []
    for above, below in bands:
        if not _boxed(page, above, below, left, right, last):
            continue
        places.append(_place(page, above, below, money, labels))
    places = _aligned(places)
    for label in labels:
        floor = max([last.at(left.middle), *(p.below.at(left.middle) for p in places)])
        near = label.piece.top < floor + _FALL * table.pitch and label.piece.right > left.middle - _NEAR * (
            table.right.middle - table.left.middle
        )
        if label.match.known >= _KNOWN and near and not any(_beside(label, place) for place in places):
            free = _free_place(page, table, label, money, last)
            if not any(_clash(free, place) for place in places):
                places.append(free)
    places.sort(key=lambda place: place.above.place + place.below.place)
    return _sensible(places)


def _x(rule: Rule, y: float) -> float:
    return float(rule.at(np.array([y]))[0])


def _bands(
    page: Page, table: Table, rows_end: int, money: tuple[Rule, Rule, Rule | None]
) -> list[tuple[Level, Level]]:
    """Return the pairs of neighbouring levels under the table that cross the line totals' column."""
    last = table.levels[rows_end]
    left, right, _ = money
    x0, x1 = left.middle, right.middle
    found = [last]
    for level in page.levels:
        common = min(level.right, x1) - max(level.left, x0)
        deep = level.place - last.place
        if not 0.3 * table.pitch < deep <= _DEEPEST * table.pitch or common <= 0.6 * (x1 - x0):
            continue
        if not _inside_box(page, level, x0, x1) and _reaches(level, x0, x1):
            found.append(level)
    found = _even(found, table.pitch, x0, x1)
    pairs = []
    for above, below in pairwise(found):
        height = below.place - above.place
        if _LOWEST_BAND * table.pitch <= height <= _HIGHEST_BAND * table.pitch:
            pairs.append((above, below))
        elif height > _HIGHEST_BAND * table.pitch:
            # A line to write on, some way down: its box is as high as a row.
            pairs.append((_shifted(below, -table.pitch), below))
    return pairs


def _reaches(level: Level, x0: float, x1: float) -> bool:
    """Say whether a line reaches both sides of the money column, or runs well beyond: a pen's stroke does neither."""
    near = _SIDE_OFF * (x1 - x0)
    return (level.left < x0 + near) and (level.right > x1 - near)


def _even(found: list[Level], pitch: float, x0: float, x1: float) -> list[Level]:
    """Drop the lines that break up an even row of boxes: strokes of a pen across a whole box.

    Of all ways to take some of the lines from the first on, the one is kept whose boxes are most alike in height
    and whose lines end most nearly at the column's sides.
    """
    if len(found) < 3 or len(found) > _MOST_LINES:
        return found
    place = [level.place for level in found]
    fit = [math.exp(-(abs(level.left - x0) + abs(level.right - x1)) / _SIDE_SCALE) for level in found]
    best: tuple[float, list[int]] = (-1.0, [])
    steps = {round(b - a, 1) for k, a in enumerate(place) for b in place[k + 1 :]}
    for step in sorted(steps):
        if not _LOWEST_BAND * pitch <= step <= _HIGHEST_BAND * pitch:
            continue
        usual = 1 - 0.3 * abs(math.log(step / pitch))
        ways: list[tuple[float, list[int]]] = [(0.0, [0])]
        for k in range(1, len(found)):
            options = []
            for j in range(k):
                height = place[k] - place[j]
                if height < _LOWEST_BAND * pitch:
                    continue
                even = max(0.0, 1 - abs(height - step) / (_UNEVEN * step))
                options.append((ways[j][0] + usual * even + 0.2 + 0.2 * fit[k], [*ways[j][1], k]))
            ways.append(max(options, default=(-1.0, [0]), key=lambda way: way[0]))
        best = max(best, max(ways, key=lambda way: way[0]), key=lambda way: way[0])
    return [found[k] for k in best[1]] if best[1] else found


def _inside_box(page: Page, level: Level, x0: float, x1: float) -> bool:
    """Say whether a line is a dotted help to write on, inside a box, rather than the box's own line."""
    width = x1 - x0
    y = level.at((x0 + x1) / 2)
    crossing = [u for u in page.uprights if u.start < y - 8 and u.end > y + 8]
    lefts = [_x(u, y) for u in crossing if abs(_x(u, y) - x0) < 0.3 * width]
    rights = [_x(u, y) for u in crossing if abs(_x(u, y) - x1) < 0.3 * width]
    if not lefts or not rights or level.width > 1.4 * width:
        return False
    return level.left > max(lefts) + _INSET and level.right < min(rights) - _INSET


def _shifted(level: Level, by: float) -> Level:
    ends = (level.left, level.right)
    rule = straight(ends, (level.at(ends[0]) + by, level.at(ends[1]) + by))
    return Level(level.place + by, (rule,), *ends)


def _uprights(page: Page, above: Level, below: Level, low: float, high: float) -> list[Rule]:
    return [
        upright
        for upright in page.uprights
        if low <= upright.middle <= high and not band_presence(upright, above, below) < _PRESENT
    ]


def _boxed(page: Page, above: Level, below: Level, left: Rule, right: Rule, last: Level) -> bool:
    """Say whether a band is a box to write in: lines over and under it of like width, or sides."""
    width = right.middle - left.middle
    sides = _uprights(page, above, below, left.middle - 0.6 * width, right.middle + 0.2 * width)
    if len(sides) >= 2:
        return True
    short = below.width < 0.8 * last.width
    return short and below.left > last.left + 0.1 * last.width


def _place(
    page: Page,
    above: Level,
    below: Level,
    money: tuple[Rule, Rule, Rule | None],
    labels: list[_Label],
) -> TotalPlace:
    left, right, pence = money
    width = right.middle - left.middle
    top, bottom = above.at(left.middle), below.at(left.middle)
    near_right = _uprights(page, above, below, right.middle - 0.25 * width, right.middle + 0.25 * width)
    r = min(near_right, key=lambda u: abs(u.middle - right.middle)) if near_right else right
    near_left = _uprights(page, above, below, left.middle - 0.4 * width, left.middle + 0.3 * width)
    near_left = [
        u for u in near_left if _spans(u, above, below) and not band_presence(u, above, below) < _SIDE
    ]
    l = min(near_left, key=lambda u: abs(u.middle - left.middle)) if near_left else left  # noqa: E741
    beside = [
        label for label in labels if top < label.piece.middle[1] < bottom and label.match.known >= _KNOWN
    ]
    beside = [
        label
        for label in beside
        if label.piece.middle[0] < l.middle + 0.45 * width or label.piece.left > r.middle - 4
    ]
    best = max(beside, key=lambda label: label.match.known, default=None)
    if (
        best is not None
        and l.middle < best.piece.right < r.middle - 0.3 * width
        and best.piece.left > l.middle - 4
    ):
        # The label stands inside the box: writing begins after it.
        l = straight((top, bottom), (best.piece.right + 3.0,) * 2)  # noqa: E741
    half = pence
    if pence is not None:
        inner = _uprights(page, above, below, l.middle + 0.3 * width, r.middle - 0.12 * width)
        half = min(inner, key=lambda u: abs(u.middle - pence.middle)) if inner else pence
    match: Match[TotalRole] = best.match if best else Match(0.0, {}, "")
    return TotalPlace(above, below, l, r, half, match, best.text if best else "")


def _aligned(places: list[TotalPlace]) -> list[TotalPlace]:
    """Bring a side that strays (a letter of the label, a stroke of a pen) to where the other boxes have theirs."""
    if len(places) < 2:
        return places
    result = []
    lefts = [_x(p.left, p.above.place) for p in places]
    usual = places[int(np.argsort(lefts)[len(lefts) // 2])].left
    for place, left in zip(places, lefts, strict=True):
        stray = left < _x(usual, place.above.place) - _ASTRAY
        result.append(replace(place, left=usual) if stray else place)
    return result


def _spans(upright: Rule, above: Level, below: Level) -> bool:
    x = upright.middle
    return upright.start <= above.at(x) + 6 and upright.end >= below.at(x) - 6


def _labels(
    content: Ink, page: Page, table: Table, last: Level, money: tuple[Rule, Rule, Rule | None], read: Read
) -> list[_Label]:
    """Read the print beside the place where totals stand."""
    left, right, _ = money
    width = right.middle - left.middle
    reach = left.middle - _LABEL_REACH * (table.right.middle - table.left.middle)
    top = last.lower((left.middle + right.middle) / 2)
    bottom = min(page.height - 2.0, top + _DEEPEST * table.pitch)
    rows = (round(top) + 2, round(bottom))
    found = pieces(content, Rectangle(max(0, round(reach)), rows[0], round(left.middle) - 4, rows[1]))
    found += pieces(
        content, Rectangle(round(left.middle) + 3, rows[0], round(left.middle + 0.6 * width), rows[1])
    )
    beyond = Rectangle(round(right.middle) + 3, round(top) + 2, page.width - 3, round(bottom))
    if beyond.right - beyond.left > 40:
        found += pieces(content, beyond)
    found = [p for p in found if p.height <= 1.1 * table.pitch and p.right - p.left >= 0.8 * p.height]
    found.sort(key=lambda p: (p.top, abs(p.right - left.middle)))
    found.sort(key=lambda p: abs(min(p.right, left.middle) - left.middle) > 0.5 * table.pitch)
    found = found[:_MOST_LABELS]
    return [
        _Label(piece, match_total([text]), text.text.strip())
        for piece, text in zip(found, read(found), strict=True)
    ]


def _beside(label: _Label, place: TotalPlace) -> bool:
    y = label.piece.middle[1]
    x = place.left.middle
    return place.above.at(x) - 2 <= y <= place.below.at(x) + 2


def _clash(a: TotalPlace, b: TotalPlace) -> bool:
    x = b.left.middle
    common = min(a.below.at(x), b.below.at(x)) - max(a.above.at(x), b.above.at(x))
    return common > 0.3 * (b.below.at(x) - b.above.at(x))


def _free_place(
    page: Page, table: Table, label: _Label, money: tuple[Rule, Rule, Rule | None], last: Level
) -> TotalPlace:
    """A total without a box: the place beside its label, as high as a row or up to the nearest lines."""
    left, right, pence = money
    _, y = label.piece.middle
    x = (left.middle + right.middle) / 2
    ends = (min(left.middle, label.piece.left), right.middle)
    tilt = page.slope
    half = 0.5 * table.pitch
    crossing = [level for level in (*page.levels, last) if level.left < x < level.right]
    over = [level for level in crossing if y - 1.3 * table.pitch < level.at(x) < y - 4]
    under = [level for level in crossing if y + 4 < level.at(x) < y + 1.3 * table.pitch]

    def free(at: float) -> Level:
        rule = straight(ends, (at + tilt * (ends[0] - x), at + tilt * (ends[1] - x)))
        return Level(page.flat((ends[0] + ends[1]) / 2, rule.middle), (rule,), *ends)

    above = max(over, key=lambda level: level.at(x)) if over else free(y - half)
    below = min(under, key=lambda level: level.at(x)) if under else free(y + half)
    start = left
    if left.middle < label.piece.right < x:
        start = straight((y - half, y + half), (label.piece.right + 3.0,) * 2)
    return TotalPlace(above, below, start, right, pence, label.match, label.text)


def _sensible(places: list[TotalPlace]) -> list[TotalPlace]:
    """Drop unlabelled boxes that follow or stray from the labelled ones."""
    labelled = [k for k, place in enumerate(places) if place.match.known >= _KNOWN]
    if not labelled:
        return places[:6]
    return [place for k, place in enumerate(places) if k <= labelled[-1] and (k >= labelled[0] - 2)]


def total_roles(places: Sequence[TotalPlace]) -> list[tuple[TotalRole, ...]]:
    """Give the boxes their roles together: at most one of each but ``other``, the total last.

    Returns the likeliest assignment, and a second one where two are near.
    """
    roles: list[TotalRole] = ["goods", "delivery", "discount", "deposit", "other", "total"]
    beam: list[tuple[float, tuple[TotalRole, ...]]] = [(0.0, ())]
    for k, place in enumerate(places):
        last = k == len(places) - 1
        grown = []
        for score, given in beam:
            for role in roles:
                if role != "other" and role in given:
                    continue
                told = place.match.roles.get(role, 0.0)
                prior = _prior(role, k, last)
                p = place.match.known * told + (1 - place.match.known) * prior
                grown.append(
                    (score + float(np.log(max(p, 1e-4))) + 0.3 * float(np.log(prior)), (*given, role))
                )
        grown.sort(key=lambda item: (-item[0], item[1]))
        beam = grown[:60]
    near = [given for score, given in beam[:2] if score > beam[0][0] - 2.0]
    return near or [()]


def _prior(role: TotalRole, k: int, last: bool) -> float:
    """How probable a role is at a place in the block, label unread (common practice, no source)."""
    if last:
        return {
            "total": 0.93,
            "deposit": 0.02,
            "discount": 0.01,
            "delivery": 0.02,
            "goods": 0.01,
            "other": 0.01,
        }[role]
    if k == 0:
        return {
            "goods": 0.6,
            "delivery": 0.2,
            "discount": 0.07,
            "deposit": 0.05,
            "other": 0.03,
            "total": 0.05,
        }[role]
    return {"delivery": 0.4, "discount": 0.2, "deposit": 0.2, "goods": 0.08, "total": 0.06, "other": 0.06}[
        role
    ]
