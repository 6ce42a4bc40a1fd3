"""The heading row: which band it is, which columns it names, where pounds and pence share a heading."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from formread.layout.ink import Ink
from formread.layout.printed import LETTERS, WORDS, Piece, pieces, place_of_step, tall_pieces
from formread.layout.record import ColumnRole, Rectangle
from formread.layout.rules import Rule
from formread.layout.table import Page, Table, straight
from formread.layout.vocabulary import Match, is_heading, match_heading, split_headings
from formread.ocr import PrintedText

Read = Callable[[Sequence[Piece]], list[PrintedText]]

_BANDS = 4  # bands of an even run that may be lines for an address above the heading
_REACH = 2.3  # row pitches that a heading without a line above it may be high
_GUESSES = (1.1, 1.6)  # row pitches: usual heights of a heading row without a line above it
_WORD_WIDER = 1.3  # times as wide as its tallest letter a word of level print is at least
_LINE_GAP = 0.8  # heights between the lines of a heading that runs up the page
_TALLEST = 6.0  # row pitches that such headings reach up
_FEWEST_TALL = 2  # of them at least
_WIDELY_SET = 2.2  # heights of a line; no wider gap parts the words of one heading
_COMB = 3  # cells side by side that are alike make a comb: one box, a cell for each digit
_COMB_ALIKE = 0.15  # share of their width by which cells of a comb may differ
_COMB_WIDEST = 1.1  # row pitches
_COMB_PALE = 0.65  # of the darkness of the uprights at its sides
_FULL = 0.75  # a divider seen on this share of the heading band divides headings too
_ACROSS = 7.0  # pixels of print on either side of a divider that it runs through
_CENTRED = 7.0  # pixels per heading by which centred headings may miss the edges that they imply
_MAY_BE_MONEY = 0.15  # probability that a heading stands over money, for it to have pounds and pence under it
_KNOWN = 0.5  # print is taken for a heading from this probability on
_ENOUGH = 1.6  # headings recognised, summed as probabilities, at which the search for a better band stops
_PENCE_WIDTH = 1.15  # widths of the pounds box that a pence box may have at most
_PENCE_SHARE = 0.36  # share of the table that a pair of pounds and pence takes at most
_MONEY = ("£", "p", "pence", "£ p", "£p", "pp", "pounds", "pounds pence", "£ : p", "£. p", "£ pence", "£ pp")
_MONEY_ROLES: tuple[ColumnRole, ...] = ("unit_price", "line_total")
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


def _bands(page: Page, table: Table, first: int) -> list[tuple[float, float]]:
    """Return top and bottom of the band over level `first`, at the middle of the table.

    Where no line tells how high the heading row is, there are several guesses, the lowest first.
    """
    x = (table.left.middle + table.right.middle) / 2
    level = table.levels[first]
    bottom = level.upper(x)
    if first > 0:
        return [(table.levels[first - 1].lower(x), bottom)]
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
    top = max(top, 0.0)
    guesses = [bottom - share * table.pitch for share in _GUESSES]
    return [(guess, bottom) for guess in guesses if guess > top + 0.15 * table.pitch] + [(top, bottom)]


def _groups(content: Ink, read: Read, left: float, right: float, top: float, bottom: float) -> list[Group]:
    """Read the print in a cell and gather its lines into one group for each column that stands in it."""
    place = Rectangle(round(left) + 4, round(top) + 2, round(right) - 3, round(bottom) - 1)
    found = pieces(content, place)
    texts = read(found)
    kept = [(piece, text) for piece, text in zip(found, texts, strict=True) if text.text.strip()]
    kept.sort(key=lambda item: item[0].left)
    clusters: list[list[tuple[Piece, PrintedText]]] = []
    for item in kept:
        if clusters and (
            item[0].left < max(p.right for p, _ in clusters[-1]) + 2 or _of_one(clusters[-1], item)
        ):
            clusters[-1].append(item)
        else:
            clusters.append([item])
    groups: list[Group] = []
    for cluster in clusters:
        whole = _group(cluster)
        parts = _torn(cluster[0]) if len(cluster) == 1 and whole.match.known < 0.9 else []
        groups += parts or [whole]
    turned = _turned(content, read, place, found)
    if turned:
        groups = [g for g in groups if not any(g.left < t.right and g.right > t.left for t in turned)]
    return sorted([*groups, *turned], key=lambda group: group.left)


def _turned(content: Ink, read: Read, place: Rectangle, level: Sequence[Piece]) -> list[Group]:
    """Read the headings that run up the page, or down it; print that is no heading is left out.

    Parameters
    ----------
    level
        The pieces of level print: a tall letter of theirs is no heading.
    """
    tall = [t for t in tall_pieces(content, place) if not any(_letter_of(t, word) for word in level)]
    lines: list[list[Piece]] = []
    for piece in tall:
        if lines and piece.left < lines[-1][-1].right + _LINE_GAP * piece.height:
            lines[-1].append(piece)
        else:
            lines.append([piece])
    result = []
    for up in lines:
        ways = [_turned_group(way, read(way)) for way in (up, [replace(p, turns=3) for p in reversed(up)])]
        best = max(ways, key=lambda group: group.match.known)
        if best.match.known >= _KNOWN:
            result.append(best)
    return result


def _letter_of(tall: Piece, word: Piece) -> bool:
    beside = (
        word.left < tall.right
        and word.right > tall.left
        and word.top < tall.bottom
        and word.bottom > tall.top
    )
    return beside and word.right - word.left > _WORD_WIDER * tall.height


def _turned_group(found: Sequence[Piece], texts: Sequence[PrintedText]) -> Group:
    left, right = min(p.left for p in found), max(p.right for p in found)
    return Group(left, right, " ".join(text.text.strip() for text in texts), match_heading(texts))


def _of_one(cluster: Sequence[tuple[Piece, PrintedText]], item: tuple[Piece, PrintedText]) -> bool:
    """Say whether a piece of print goes on with a heading of two words, "ARTICLE  NUMBER" widely set."""
    before, text = cluster[-1]
    gap = item[0].left - before.right
    common = min(before.bottom, item[0].bottom) - max(before.top, item[0].top)
    near = gap < _WIDELY_SET * before.height and common > 0.5 * before.height
    return len(cluster) == 1 and near and is_heading(f"{text.text} {item[1].text}")


def _torn(item: tuple[Piece, PrintedText]) -> list[Group]:
    """Cut a line of print that runs through several headings."""
    piece, read = item
    best = read.scores.argmax(axis=1)
    steps = [t for t in range(len(best)) if best[t] and (t == 0 or best[t] != best[t - 1])]
    if len(steps) != len(read.text):
        return []
    result = []
    for start, end in split_headings(read.text):
        first = place_of_step(piece, steps[start] - 0.5)
        last = place_of_step(piece, steps[end - 1] + 0.5)
        low, high = max(0, steps[start] - 1), min(len(best), steps[end - 1] + 2)
        part = PrintedText(read.text[start:end], read.confidence, read.scores[low:high])
        result.append(Group(first, last, part.text, match_heading([part])))
    return result


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


def _crossed(print_: Sequence[Piece], divider: Rule, top: float, bottom: float) -> bool:
    """Say whether print of the heading row runs across a divider that stops below it."""
    x = float(divider.at(np.array([(top + bottom) / 2]))[0])
    return any(piece.left < x - _ACROSS and piece.right > x + _ACROSS for piece in print_)


def _columns(content: Ink, table: Table, first: int, band: tuple[float, float], read: Read) -> Heading:
    top, bottom = band
    below = table.levels[-1].at((table.left.middle + table.right.middle) / 2)
    shares = [d.presence(top + 2, bottom - 2) for d in table.dividers]
    told = any(share >= _FULL for share in shares)
    table = _uncombed(table, shares)
    shares = [d.presence(top + 2, bottom - 2) for d in table.dividers]
    y0, y1 = round(top) + 2, round(bottom) - 1
    whole = Rectangle(round(table.left.middle) + 2, y0, round(table.right.middle) - 2, y1)
    words = pieces(content, whole, LETTERS if told else WORDS)
    full = [
        divider
        for divider, share in zip(table.dividers, shares, strict=True)
        if (share >= _FULL or not told) and not _crossed(words, divider, top, bottom)
    ]
    if full and not told and _only_pence(content, read, table, len(full), top, bottom):
        full = []
    bounds = [table.left, *full, table.right]
    height = (top + bottom) / 2
    columns: list[HeadedColumn] = []
    groups_all: list[Group] = []
    width = table.right.middle - table.left.middle
    for left, right in pairwise(bounds):
        x0, x1 = (float(side.at(np.array([height]))[0]) for side in (left, right))
        groups = _groups(content, read, x0, x1, top, bottom)
        groups_all += groups
        inner = [d for d in table.dividers if left.middle < d.middle < right.middle]
        columns += _cell(content, table, left, right, groups, inner, bottom, below, width, told)
    columns = _paired(columns, width)
    known = sum(column.match.known for column in columns if column.match.known >= 0.3)
    return Heading(first, tuple(columns), known, top, bottom, tuple(groups_all))


def _uncombed(table: Table, shares: Sequence[float]) -> Table:
    """Take out the dividers of combs: cells of like width, a digit wide, that no heading of their own tells apart.

    Parameters
    ----------
    shares
        On what share of the heading band each divider is seen.
    """
    sides = [table.left, *table.dividers, table.right]
    reach = [1.0, *shares, 1.0]
    gaps = np.diff([side.middle for side in sides])
    taken: set[int] = set()
    start = 0
    while start < len(gaps):
        end = start + 1
        while end < len(gaps) and np.ptp(gaps[start : end + 1]) <= _COMB_ALIKE * gaps[start : end + 1].mean():
            end += 1
        inner = range(start + 1, end)
        comb = end - start >= _COMB and gaps[start:end].mean() <= _COMB_WIDEST * table.pitch
        dark = [sides[k].strength for k in (start, end) if sides[k].seen.size > 1]
        pale = bool(dark) and all(sides[k].strength < _COMB_PALE * min(dark) for k in inner)
        ends_reach = all(not reach[k] < _FULL for k in (start, end))
        if comb and (pale or (ends_reach and all(reach[k] < _FULL for k in inner))):
            taken.update(inner)
        start = end
    if not taken:
        return table
    kept = tuple(d for k, d in enumerate(table.dividers, 1) if k not in taken)
    return replace(table, dividers=kept)


def _only_pence(content: Ink, read: Read, table: Table, dividers: int, top: float, bottom: float) -> bool:
    """Say whether the only dividers part pounds from pence: there are far more headings than dividers."""
    groups = _groups(content, read, table.left.middle, table.right.middle, top, bottom)
    named = [g for g in groups if g.match.known >= _KNOWN and g.match.word not in _MONEY]
    money = [g for g in named if any(g.match.roles.get(role, 0) > _MAY_BE_MONEY for role in _MONEY_ROLES)]
    return len(named) >= dividers + 2 and len(money) >= dividers


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
    told: bool,
) -> list[HeadedColumn]:
    """Turn one cell of the heading row into its columns."""
    named = [g for g in groups if g.match.known >= _KNOWN and g.match.word not in _MONEY]
    if len(named) < 2 or (inner and len({g.match.word for g in named}) < 2):
        if inner:
            return _divided(left, right, groups, inner, width, told)
        heading = _merged(groups) if groups else Group(0, 0, "", _NOTHING)
        return [HeadedColumn(left, right, heading.text, heading.match)]
    # No rule divides these headings: the white between them and between what is written below does.
    full_width = right.middle - left.middle > 0.8 * width
    if full_width:
        named = [g for g in groups if g in named or _like_print(g, named)]
    edges = _edges(content, table, left, right, named, bottom, below)
    result = []
    for k, group in enumerate(named):
        a, b = edges[k], edges[k + 1]
        here = [d for d in inner if a.middle + 6 < d.middle < b.middle - 6]
        pence = here[0] if len(here) == 1 and _is_pence(a, here[0], b, width) else None
        result.append(HeadedColumn(a, b, group.text, group.match, pence))
    return result


def _is_pence(left: Rule, divider: Rule, right: Rule, width: float) -> bool:
    pounds, pence = divider.middle - left.middle, right.middle - divider.middle
    return pence <= _PENCE_WIDTH * pounds and pounds + pence <= _PENCE_SHARE * width


def _edges(
    content: Ink, table: Table, left: Rule, right: Rule, named: Sequence[Group], bottom: float, below: float
) -> list[Rule]:
    """Return the boundaries of columns that only their headings tell apart."""
    y = (bottom + below) / 2
    ends = tuple(float(side.at(np.array([y]))[0]) for side in (left, right))
    places = _centred(ends[0], ends[1], named)
    if places is None:
        top = bottom + 0.1 * table.pitch
        places = [_valley(content, a, b, top, below) for a, b in pairwise(named)]
    return [left, *(straight((bottom, below), (x, x)) for x in places), right]


def _centred(left: float, right: float, named: Sequence[Group]) -> list[float] | None:
    """Return the edges that centred headings imply, or None if the headings are not centred.

    Every heading stands midway between two edges; with both ends known there is one equation more than
    edges, and its miss tells whether the headings are centred at all.
    """
    centre = np.array([(g.left + g.right) / 2 for g in named])
    n = len(named)
    system = np.zeros((n, n - 1))
    known = 2 * centre
    known[0] -= left
    known[-1] -= right
    for k in range(n):
        if k > 0:
            system[k, k - 1] = 1
        if k < n - 1:
            system[k, k] = 1
    solution, *_ = np.linalg.lstsq(system, known, rcond=None)
    miss = float(np.abs(system @ solution - known).max()) / 2
    bounds = [left, *solution.tolist(), right]
    fits = all(bounds[k] - 3 < g.left and g.right < bounds[k + 1] + 3 for k, g in enumerate(named))
    return solution.tolist() if miss <= _CENTRED and fits else None


def _like_print(group: Group, named: Sequence[Group]) -> bool:
    return 3 <= len(group.text) <= 24 and group.left > named[0].left


def _divided(
    left: Rule, right: Rule, groups: list[Group], inner: list[Rule], width: float, told: bool
) -> list[HeadedColumn]:
    """Columns that share one heading cell: pounds and pence, or columns whose heading has no divider."""
    heading = _merged(groups) if groups else Group(0, 0, "", _NOTHING)
    money = heading.match.known < _KNOWN or any(
        heading.match.roles.get(role, 0) > _MAY_BE_MONEY for role in _MONEY_ROLES
    )
    pence = [divider for divider in inner if _is_pence(left, divider, right, width)]
    if len(pence) == 1 and money and (told or len(inner) == 1):
        return [HeadedColumn(left, right, heading.text, heading.match, pence[0])]
    if told:
        # The heading row is divided, but not here: digits that stand below one another.
        return [HeadedColumn(left, right, heading.text, heading.match)]
    edges = [left, *inner, right]
    result = []
    for a, b in pairwise(edges):
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
        split = before is not None and before.pence is None and text in _PENCE_WORDS
        if before is not None and split and _is_pence(before.left, column.left, column.right, width):
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
        bands = _bands(page, table, first)
        for band in [*_tall_bands(content, page, table, bands[0]), *bands] if first == 0 else bands:
            found = _columns(content, table, first, band, read)
            if best is None or found.known > best.known + 0.5:
                best = found
            if best.known >= max(_ENOUGH, 0.6 * len(best.columns)):
                return best
    assert best is not None
    return best


def _tall_bands(
    content: Ink, page: Page, table: Table, usual: tuple[float, float]
) -> list[tuple[float, float]]:
    """Return the band over a table that headings running up the page stand in, where they do."""
    x = (table.left.middle + table.right.middle) / 2
    bottom = usual[1]
    reach = bottom - _TALLEST * table.pitch
    above = [v.lower(x) for v in page.levels if reach < v.at(x) < usual[0] and v.left < x < v.right]
    top = max([reach, 0.0, *above])
    place = Rectangle(round(table.left.middle), round(top), round(table.right.middle), round(bottom))
    tall = [p for p in tall_pieces(content, place) if p.bottom > bottom - table.pitch and p.top < usual[0]]
    return [(min(p.top for p in tall) - 3.0, bottom)] if len(tall) >= _FEWEST_TALL else []
