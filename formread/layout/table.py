"""From ruled lines to the order table: its evenly pitched rows and the dividers between its columns."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from formread.layout.rules import Rule, Rules

_SAME_LEVEL = 7.0  # pixels; two rules so near are one double rule
_PITCH_LEAST, _PITCH_MOST = 20.0, 150.0  # pixels from row to row on a sheet of 1500
_PITCH_OFF = 0.10  # share of the pitch by which a printed row may miss it
_WIDE = 0.40  # share of the sheet's width that a table spans at least
ALIKE = 0.92  # share of the shorter of two levels of one table that lies over the longer
_SHARED = 0.6  # and of the longer
_MISSING = 2  # rules in a row that may be worn away
_FEWEST_ROWS = 2
_APART = 0.06  # share of the sheet's width; pieces further apart are two lines (two blocks side by side)
_SEEN = 0.8  # share of a band's height on which a divider is seen there
_DIVIDES = 0.62  # share of the bands in which a divider is seen; writing hides it in the others
_PLAIN = 0.45  # and of the whole height, writing or not
_WHOLE = 0.85  # of a divider's length shows no wide gap; points printed in every row leave wide ones
_AS_DARK = 0.2  # of the other dividers' darkness
_END = 9.0  # pixels next to a rule where a divider that meets it is looked for
_AT_EDGE = 14.0  # pixels between a frame's side and the ends of the rows' rules
_CLOSE = 6.0  # pixels; uprights nearer than this are one rule seen twice
_NARROWEST = 0.3  # row pitches; between uprights nearer than this nobody can write: a double rule


@dataclass(frozen=True, slots=True)
class Level:
    """One horizontal line of a table: one rule, its pieces, or a double rule.

    ``place`` is its height on the page once the skew is taken out.
    """

    place: float
    rules: tuple[Rule, ...]
    left: float
    right: float

    @property
    def width(self) -> float:
        """Pixels from its left end to its right end."""
        return self.right - self.left

    def _nearest(self, x: float) -> list[Rule]:
        away = [max(rule.start - x, x - rule.end, 0.0) for rule in self.rules]
        return [rule for rule, d in zip(self.rules, away, strict=True) if d <= min(away) + 1.0]

    def at(self, x: float) -> float:
        """Return the height of its middle at `x`."""
        values = [float(rule.at(np.array([x]))[0]) for rule in self._nearest(x)]
        return (min(values) + max(values)) / 2

    def upper(self, x: float) -> float:
        """Return where its ink begins at `x`, from above."""
        return min(float(rule.at(np.array([x]))[0]) - rule.thickness / 2 for rule in self._nearest(x))

    def lower(self, x: float) -> float:
        """Return where its ink ends at `x`, from above."""
        return max(float(rule.at(np.array([x]))[0]) + rule.thickness / 2 for rule in self._nearest(x))


@dataclass(frozen=True, slots=True)
class Page:
    """The rules of a sheet with its skew taken out of their places.

    Attributes
    ----------
    levels
        Every horizontal line, from the top.
    uprights
        Every vertical rule, from the left.
    lean
        How far right an upright moves per pixel down.
    """

    levels: tuple[Level, ...]
    uprights: tuple[Rule, ...]
    slope: float
    lean: float
    width: int
    height: int

    def flat(self, x: float, y: float) -> float:
        """Return the place, as levels have it, of a point."""
        return y - self.slope * (x - self.width / 2)

    def place_of(self, upright: Rule) -> float:
        """Return the place across the page of an upright, the lean taken out."""
        return upright.middle - self.lean * ((upright.start + upright.end) / 2 - self.height / 2)


@dataclass(frozen=True, slots=True)
class Table:
    """A candidate for the order table: ``levels`` bound its bands, from the top; ``dividers`` its columns.

    ``dividers`` holds the inner uprights only; ``left`` and ``right`` are its sides.
    """

    levels: tuple[Level, ...]
    dividers: tuple[Rule, ...]
    left: Rule
    right: Rule
    pitch: float
    score: float


def _weighted_slope(rules: tuple[Rule, ...]) -> float:
    long = [rule for rule in rules if rule.length > 150]
    if not long:
        return 0.0
    slopes = np.array([rule.slope for rule in long])
    weights = np.array([rule.length for rule in long])
    order = np.argsort(slopes)
    half = np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)
    return float(slopes[order][min(int(half), len(slopes) - 1)])


def straight(along: tuple[float, float], across: tuple[float, float]) -> Rule:
    """Return a rule that nobody printed: a straight boundary through two points."""
    none = np.zeros(1, bool)
    ends = (np.array(along, np.float64), np.array(across, np.float64))
    return Rule(*ends, along[0], along[1], 0.0, 0.0, 0.0, 0, none, none)


def page_of(rules: Rules, width: int, height: int) -> Page:
    """Sort the rules of a sheet of `width` x `height` pixels into levels and uprights."""
    slope = _weighted_slope(rules.horizontal)
    uprights = tuple(rule for rule in rules.vertical if rule.length > 150)
    lean = _weighted_slope(uprights) if uprights else -slope

    def place(rule: Rule) -> float:
        x = (rule.start + rule.end) / 2
        return rule.middle - slope * (x - width / 2)

    levels: list[Level] = []
    group: list[tuple[float, Rule]] = []

    def close() -> None:
        # Pieces far apart (two blocks side by side) stay two levels.
        remaining = sorted(group, key=lambda item: item[1].start)
        while remaining:
            chain = [remaining.pop(0)]
            reach = chain[0][1].end
            for item in list(remaining):
                if item[1].start <= reach + _APART * width:
                    chain.append(item)
                    remaining.remove(item)
                    reach = max(reach, item[1].end)
            weights = [rule.length for _, rule in chain]
            mean = float(np.average([p for p, _ in chain], weights=weights))
            levels.append(Level(mean, tuple(r for _, r in chain), min(r.start for _, r in chain), reach))

    for item in sorted(((place(rule), rule) for rule in rules.horizontal), key=lambda pair: pair[0]):
        if group and item[0] - group[0][0] > _SAME_LEVEL:
            close()
            group = []
        group.append(item)
    close()
    levels.sort(key=lambda level: (level.place, level.left))
    page = Page(tuple(levels), (), slope, lean, width, height)
    ordered = sorted(rules.vertical, key=page.place_of)
    return Page(page.levels, tuple(ordered), slope, lean, width, height)


def wide_levels(page: Page) -> list[Level]:
    """Return the levels that may bound the rows of a table."""
    return [level for level in page.levels if level.width >= _WIDE * page.width]


def overlap(a: Level, b: Level) -> float:
    """Return how far two levels lie over one another, 0 to 1."""
    # A level may run on into a block beside the table, so the shorter one counts, unless it is far shorter.
    common = max(0.0, min(a.right, b.right) - max(a.left, b.left))
    return common / min(a.width, b.width) if common > _SHARED * max(a.width, b.width) else 0.0


def _run(levels: list[Level], first: int, second: int) -> tuple[list[Level | None], float]:
    """Extend the pitch of two levels downwards; return the levels met (None: missing) and the final pitch."""
    start = levels[first]
    run: list[Level | None] = [start]
    pitch = levels[second].place - start.place
    last, steps, missing = start, 1, 0
    while missing <= _MISSING:
        expected = last.place + pitch * steps
        near = [
            level
            for level in levels
            if abs(level.place - expected) <= _PITCH_OFF * pitch + 1.5 and overlap(level, start) >= ALIKE
        ]
        if near:
            last = min(near, key=lambda level: abs(level.place - expected))
            run.append(last)
            found = [k for k, level in enumerate(run) if level is not None]
            pitch = (last.place - start.place) / (found[-1] - found[0])
            steps, missing = 1, 0
        else:
            run.append(None)
            steps += 1
            missing += 1
    while run[-1] is None:
        run.pop()
    # A lone line some way under the table (small print, the total's) is no row of it.
    absent = [k for k, level in enumerate(run) if level is None]
    if absent and absent[-1] == len(run) - 2:
        run = run[: absent[-1]]
        while run[-1] is None:
            run.pop()
    return run, pitch


def between(above: Level, below: Level, share: float, page: Page) -> Level:
    """Return the boundary that lies `share` of the way from one level to another and bends as they do."""
    left, right = max(above.left, below.left), min(above.right, below.right)
    x = np.linspace(left, right, 9)
    y = np.array([above.at(v) + share * (below.at(v) - above.at(v)) for v in x])
    rule = replace(straight((left, right), (0.0, 0.0)), along=x, across=y)
    return Level(page.flat((left + right) / 2, rule.middle), (rule,), left, right)


def _filled(run: list[Level | None], page: Page) -> list[Level]:
    """Put in the rules that are missing, evenly between their neighbours."""
    known = [k for k, level in enumerate(run) if level is not None]
    result: list[Level] = []
    for a, b in pairwise(known):
        above, below = run[a], run[b]
        assert above is not None
        assert below is not None
        result.append(above)
        result += [between(above, below, k / (b - a), page) for k in range(1, b - a)]
    last = run[known[-1]]
    assert last is not None
    return [*result, last]


def find_tables(page: Page) -> list[Table]:
    """Return the candidates for the order table, best first.

    A table is a run of wide levels at an even pitch; it scores by its number of rows, its width and its
    dividers. Its first bands may be the heading or lines for an address: print decides that later.
    """
    wide = wide_levels(page)
    candidates: list[tuple[float, list[Level | None], float]] = []
    for i in range(len(wide)):
        for j in range(i + 1, len(wide)):
            pitch = wide[j].place - wide[i].place
            if not _PITCH_LEAST <= pitch <= _PITCH_MOST or overlap(wide[i], wide[j]) < ALIKE:
                continue
            run, pitch = _run(wide, i, j)
            met = [level for level in run if level is not None]
            if len(met) < _FEWEST_ROWS + 1:
                continue
            within = [
                level
                for level in wide
                if run[0] is not None
                and run[0].place < level.place < met[-1].place
                and not any(level is other for other in met)
                and overlap(level, met[0]) >= ALIKE
            ]
            absent = len(run) - len(met)
            score = (len(met) - 1 - 0.7 * absent - 0.8 * len(within)) * (
                0.5 + float(np.median([level.width for level in met])) / page.width
            )
            candidates.append((score, run, pitch))
    candidates.sort(key=lambda item: -item[0])
    tables: list[Table] = []
    spans: list[tuple[float, float]] = []
    for score, run, pitch in candidates:
        levels = _filled(run, page)
        low, high = levels[0].place, levels[-1].place
        if any(min(high, b) - max(low, a) > 0.3 * (high - low) for a, b in spans):
            continue
        spans.append((low, high))
        tables.append(with_dividers(page, levels, pitch, score))
        if len(tables) == 3:
            break
    tables.sort(key=lambda table: -table.score)
    return tables


def band_presence(upright: Rule, above: Level, below: Level) -> float:
    """Return the share of the band between two levels on which an upright is seen.

    NaN where writing hides the place. A divider reaches from rule to rule: signs printed in every row (a
    stack of pound signs) and digits that happen to stand below one another do not, so one that misses either
    end of the band counts half.
    """
    x = upright.middle
    top, bottom = above.lower(x) + 2, below.upper(x) - 2
    if bottom <= top:
        return 0.0
    end = min(_END, (bottom - top) / 3)
    share = upright.presence(top, bottom)
    touches = [upright.presence(top, top + end), upright.presence(bottom - end, bottom)]
    return share if all(np.isnan(touch) or touch >= 0.5 for touch in touches) else 0.5 * share


def _plainly(upright: Rule, bands: list[tuple[Level, Level]]) -> float:
    """Return the share of all bands on which an upright is plainly seen, places hidden by writing counted."""
    x = upright.middle
    low, high = bands[0][0].at(x), bands[-1][1].at(x)
    a, b = max(round(low) - upright.first, 0), max(round(high) - upright.first, 1)
    return float(upright.seen[a:b].sum()) / max(high - low, 1.0)


def _doubled(left: Rule, right: Rule) -> Rule:
    """Return the two rules of a double rule as one, as thick as both and the white between them."""
    gap = right.at(left.along) - left.across
    thickness = float(np.median(gap)) + (left.thickness + right.thickness) / 2
    return replace(left, across=left.across + gap / 2, thickness=thickness)


def with_dividers(page: Page, levels: list[Level], pitch: float, score: float) -> Table:
    """Return the table with these rows: the uprights that divide them, and its sides."""
    lefts = float(np.median([level.left for level in levels]))
    rights = float(np.median([level.right for level in levels]))
    bands = list(pairwise(levels))
    found: list[tuple[float, Rule]] = []
    for upright in page.uprights:
        if not lefts - _AT_EDGE <= upright.middle <= rights + _AT_EDGE:
            continue
        presence = np.array([band_presence(upright, a, b) for a, b in bands])
        presence = presence[~np.isnan(presence)]
        if len(presence) < 0.5 * len(bands) or _plainly(upright, bands) < _PLAIN:
            continue
        if (presence >= _SEEN).mean() >= _DIVIDES and presence.mean() >= _DIVIDES:
            found.append((float(presence.mean()), upright))
    usual = float(np.median([upright.strength for _, upright in found])) if found else 0.0
    found = [
        (quality, upright)
        for quality, upright in found
        if upright.wholeness(levels[0].at(upright.middle), levels[-1].at(upright.middle)) >= _WHOLE
        and upright.strength >= _AS_DARK * usual
    ]
    kept: list[tuple[float, Rule]] = []
    for quality, upright in sorted(found, key=lambda item: item[1].middle):
        gap = upright.middle - kept[-1][1].middle if kept else float("inf")
        if gap < _CLOSE:
            if quality > kept[-1][0]:
                kept[-1] = (quality, upright)
        elif gap < _NARROWEST * pitch:
            kept[-1] = (max(quality, kept[-1][0]), _doubled(kept[-1][1], upright))
        else:
            kept.append((quality, upright))
    uprights = [upright for _, upright in kept]
    top, bottom = levels[0].at(lefts), levels[-1].at(lefts)
    middle = (top + bottom) / 2

    def side(x: float) -> Rule:
        near = [u for u in uprights if abs(u.middle - x) <= _AT_EDGE + u.thickness / 2]
        if near:
            return min(near, key=lambda u: abs(u.middle - x))
        return straight((top, bottom), (x - page.lean * (middle - top), x + page.lean * (bottom - middle)))

    left, right = side(lefts), side(rights)
    inner = tuple(
        u for u in uprights if u is not left and u is not right and left.middle < u.middle < right.middle
    )
    bonus = 1.0 + 0.25 * min(len(inner), 4)
    return Table(tuple(levels), inner, left, right, pitch, score * bonus)
