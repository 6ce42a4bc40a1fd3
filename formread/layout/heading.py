"""The heading row: which band it is, which columns it names, where pounds and pence share a heading."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from formread.layout.ink import Ink
from formread.layout.printed import Piece, pieces
from formread.layout.record import ColumnRole, Rectangle
from formread.layout.rules import Rule
from formread.layout.table import Level, Page, Table, straight
from formread.layout.vocabulary import Match, match_heading
from formread.ocr import PrintedText

Read = Callable[[Sequence[Piece]], list[PrintedText]]

_BANDS = 4  # bands of an even run that may be lines for an address above the heading
_REACH = 2.3  # row pitches that a heading without a line above it may be high
_FULL = 0.75  # a divider seen on this share of the heading band divides headings too
_KNOWN = 0.5  # print is taken for a heading from this probability on
_ENOUGH = 1.6  # headings recognised, summed as probabilities, at which the search for a better band stops
_PENCE_WIDTH = 1.15  # widths of the pounds box that a pence box may have at most
_PENCE_SHARE = 0.36  # share of the table that a pair of pounds and pence takes at most
_MONEY = ("£", "p", "pence", "£ p", "£p", "pp", "pounds", "pounds pence", "£ : p", "£. p", "£ pence", "£ pp")
_PENCE_WORDS = ("p", "pence", "pp")


@dataclass(frozen=True, slots=True)
class Group:
    """The lines of print over one column, read and matched."""

    left: float
    right: float
    text: str
    match: Match[ColumnRole]


@dataclass(frozen=True, slots=True)
class HeadedColumn:
    """One column between two boundaries with what its heading may mean; ``pence`` divides it if split."""

    left: Rule
    right: Rule
    text: str
    match: Match[ColumnRole]
    pence: Rule | None = None


@dataclass(frozen=True, slots=True)
class Heading:
    """The heading row found for a table.

    Attributes
    ----------
    first
        Index of the level under the heading: the first row's upper line.
    known
        Sum of the probabilities that each heading is one of the words that order pads print.
    """

    first: int
    columns: tuple[HeadedColumn, ...]
    known: float
    top: float
    bottom: float
    groups: tuple[Group, ...] = field(default=())


_NOTHING: Match[ColumnRole] = Match(0.0, {}, "")


def _band(page: Page, table: Table, first: int) -> tuple[float, float]:
    """Return top and bottom of the band over level `first`, at the middle of the table."""
    x = (table.left.middle + table.right.middle) / 2
    level = table.levels[first]
    bottom = level.upper(x)
    if first > 0:
        return table.levels[first - 1].lower(x), bottom
    reach = bottom - _REACH * table.pitch
    above = [
        other.lower(x)
        for other in page.levels
        if other.place < level.place - 0.35 * table.pitch
        and min(other.right, level.right) - max(other.left, level.left) > 0.6 * level.width
    ]
    starts = [d.start for d in (*table.dividers, table.left, table.right) if d.seen.size > 1]
    starts = [start for start in starts if reach - table.pitch < start < bottom - 0.35 * table.pitch]
    top = max([reach, *above])
    if len(starts) >= 2:
        top = max(top, float(np.median(starts)))
    return max(top, 0.0), bottom


def _groups(content: Ink, read: Read, left: float, right: float, top: float, bottom: float) -> list[Group]:
    """Read the print in a cell and gather its lines into one group for each column that stands in it."""
    place = Rectangle(round(left) + 4, round(top) + 2, round(right) - 3, round(bottom) - 1)
    found = pieces(content, place)
    texts = read(found)
    kept = [(piece, text) for piece, text in zip(found, texts, strict=True) if text.text.strip()]
    kept.sort(key=lambda item: item[0].left)
    clusters: list[list[tuple[Piece, PrintedText]]] = []
    for item in kept:
        if clusters and item[0].left < max(p.right for p, _ in clusters[-1]) + 2:
            clusters[-1].append(item)
        else:
            clusters.append([item])
    return [_group(cluster) for cluster in clusters]


def _group(cluster: Sequence[tuple[Piece, PrintedText]]) -> Group:
    lines = sorted(cluster, key=lambda item: (item[0].middle[1], item[0].left))
    match = match_heading([text for _, text in lines])
    left, right = min(p.left for p, _ in lines), max(p.right for p, _ in lines)
    return Group(left, right, " ".join(text.text.strip() for _, text in lines), match)


def _merged(groups: Sequence[Group]) -> Group:
    named = [g for g in groups if g.match.word not in _MONEY and g.match.known >= _KNOWN]
    best = max(named or groups, key=lambda g: g.match.known)
    return Group(groups[0].left, groups[-1].right, " ".join(g.text for g in groups), best.match)


def _valley(content: Ink, a: Group, b: Group, top: float, bottom: float) -> float:
    """Return where, between two headings, the least is written in the rows below."""
    low, high = (a.left + a.right) / 2, (b.left + b.right) / 2
    x = np.arange(round(low), max(round(high), round(low) + 1))
    rows = content[round(top) : max(round(bottom), round(top) + 1), x[0] : x[-1] + 1]
    dark = np.convolve((rows > 0.15).mean(axis=0), np.ones(9) / 9, mode="same")
    middle = (a.right + b.left) / 2
    gap = max(b.left - a.right, 8.0)
    off = np.abs(x - middle) / gap
    inside = np.where((x < a.right) | (x > b.left), 1.0, 0.0)
    cost = dark / max(float(dark.max()), 0.02) + 0.5 * off**2 + inside
    return float(x[int(np.argmin(cost))])


def _columns(content: Ink, page: Page, table: Table, first: int, read: Read) -> Heading:
    top, bottom = _band(page, table, first)
    below = table.levels[-1].at((table.left.middle + table.right.middle) / 2)
    shares = [d.presence(top + 2, bottom - 2) for d in table.dividers]
    told = any(share >= _FULL for share in shares)
    full = [d for d, share in zip(table.dividers, shares, strict=True) if share >= _FULL or not told]
    bounds = [table.left, *full, table.right]
    height = (top + bottom) / 2
    columns: list[HeadedColumn] = []
    groups_all: list[Group] = []
    width = table.right.middle - table.left.middle
    for left, right in zip(bounds[:-1], bounds[1:], strict=True):
        x0, x1 = (float(side.at(np.array([height]))[0]) for side in (left, right))
        groups = _groups(content, read, x0, x1, top, bottom)
        groups_all += groups
        inner = [d for d in table.dividers if left.middle < d.middle < right.middle]
        columns += _cell(content, table, left, right, groups, inner, bottom, below, width)
    columns = _paired(columns, width)
    known = sum(column.match.known for column in columns if column.match.known >= 0.3)
    return Heading(first, tuple(columns), known, top, bottom, tuple(groups_all))


def _cell(
    content: Ink,
    table: Table,
    left: Rule,
    right: Rule,
    groups: list[Group],
    inner: list[Rule],
    bottom: float,
    below: float,
    width: float,
) -> list[HeadedColumn]:
    """Turn one cell of the heading row into its columns."""
    if inner:
        return _divided(left, right, groups, inner, width)
    named = [g for g in groups if g.match.known >= _KNOWN and g.match.word not in _MONEY]
    if len(named) < 2:
        heading = _merged(groups) if groups else Group(0, 0, "", _NOTHING)
        return [HeadedColumn(left, right, heading.text, heading.match)]
    # No rule divides these headings: the white between them and between what is written below does.
    if not table.dividers:
        named = [g for g in groups if g.match.known >= 0.3 or _like_print(g, named)]
    top = bottom + 0.1 * table.pitch
    edges = [left]
    for a, b in zip(named[:-1], named[1:], strict=True):
        x = _valley(content, a, b, top, below)
        edges.append(straight((bottom, below), (x, x)))
    edges.append(right)
    return [
        HeadedColumn(edges[k], edges[k + 1], group.text, group.match) for k, group in enumerate(named)
    ]


def _like_print(group: Group, named: Sequence[Group]) -> bool:
    return 3 <= len(group.text) <= 24 and group.left > named[0].left


def _divided(
    left: Rule, right: Rule, groups: list[Group], inner: list[Rule], width: float
) -> list[HeadedColumn]:
    """Columns that share one heading cell: pounds and pence, or columns whose heading has no divider."""
    heading = _merged(groups) if groups else Group(0, 0, "", _NOTHING)
    span = right.middle - left.middle
    if len(inner) == 1:
        pounds, pence = inner[0].middle - left.middle, right.middle - inner[0].middle
        if pence <= _PENCE_WIDTH * pounds and span <= _PENCE_SHARE * width:
            return [HeadedColumn(left, right, heading.text, heading.match, inner[0])]
    edges = [left, *inner, right]
    result = []
    for a, b in zip(edges[:-1], edges[1:], strict=True):
        here = [g for g in groups if a.middle <= (g.left + g.right) / 2 < b.middle]
        part = _merged(here) if here else Group(0, 0, "", _NOTHING)
        result.append(HeadedColumn(a, b, part.text, part.match))
    return result


def _paired(columns: list[HeadedColumn], width: float) -> list[HeadedColumn]:
    """Join a column headed "p" to the one headed "£" on its left."""
    result: list[HeadedColumn] = []
    for column in columns:
        text = column.text.strip().lower().strip(".")
        before = result[-1] if result else None
        if before is not None and before.pence is None and text in _PENCE_WORDS:
            pounds = column.left.middle - before.left.middle
            pence = column.right.middle - column.left.middle
            if pence <= _PENCE_WIDTH * pounds and pounds + pence <= _PENCE_SHARE * width:
                result[-1] = HeadedColumn(before.left, column.right, before.text, before.match, column.left)
                continue
        result.append(column)
    return result


def find_heading(content: Ink, page: Page, table: Table, read: Read) -> Heading:
    """Find the heading row of a table: the band whose print best matches what order pads print.

    Parameters
    ----------
    content
        (H, W) darkness with the rules erased.
    read
        Reads pieces of print.
    """
    best: Heading | None = None
    for first in range(min(_BANDS, len(table.levels) - 1)):
        found = _columns(content, page, table, first, read)
        if best is None or found.known > best.known + 0.5:
            best = found
        if best.known >= max(_ENOUGH, 0.6 * len(best.columns)):
            break
    assert best is not None
    return best


def level_span(levels: Sequence[Level]) -> tuple[float, float]:
    """Return the places of the first and the last level."""
    return levels[0].place, levels[-1].place
