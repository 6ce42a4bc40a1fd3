"""Print and writing: the darkness of a sheet without its ruled lines."""

from collections.abc import Sequence

import numpy as np

from formread.layout.boxes import KINDS, Seen
from formread.layout.ink import Ink
from formread.layout.record import Rectangle
from formread.layout.rules import Rule, Rules, erase, find_rules

_LONG = 330  # pixels; a shorter upright is erased only where it is the side of a box: it may be print
_WIDE = 170  # pixels; the same for a level rule
_MEETS = 9.0  # pixels
_BROKEN = 0.8  # a drawn line is dark on more of its length; a line of print and dashes on about 0.6
_SEEN = 0.4  # probability of a heading or a label from which on one is seen
_AMONG_PRINT = 0.35  # share of a line of print where one is: of a long one the network may see the end alone
_PLACES = 48  # looked at along a line
_LEAST = 48  # pixels; on less no rule is followed


def content_of(ink: Ink, seen: Seen, working: float) -> Ink:
    """Return the darkness of a sheet without the rules.

    Parameters
    ----------
    ink
        (H, W) darkness of the working image.
    working
        Pixels of the sheet per pixel of the working image.
    """
    rules = find_rules(ink)
    return _without(ink, rules, [rule for rule in _drawn(rules) if not _of_print(rule, seen, working)])


def content_at(ink: Ink, places: Sequence[Rectangle]) -> Ink:
    """Return the same at some places alone, bare paper elsewhere: looking for rules over a whole sheet is dear."""
    content = np.zeros_like(ink)
    for place in places:
        part = slice(place.top, place.bottom), slice(place.left, place.right)
        near = np.ascontiguousarray(ink[part])
        if min(near.shape) >= _LEAST:
            rules = find_rules(near)
            near = _without(near, rules, _drawn(rules))
        content[part] = near
    return content


def _drawn(rules: Rules) -> list[Rule]:
    """Return the level rules that are too long for print, or the sides of boxes."""
    return [rule for rule in rules.horizontal if rule.length > _WIDE or _meets(rule, rules.vertical)]


def _without(ink: Ink, rules: Rules, level: Sequence[Rule]) -> Ink:
    flat = erase(ink, tuple(level))
    upright = tuple(rule for rule in rules.vertical if rule.length > _LONG or _meets(rule, rules.horizontal))
    return np.ascontiguousarray(erase(np.ascontiguousarray(flat.T), upright).T)


def _of_print(rule: Rule, seen: Seen, working: float) -> bool:
    """Say whether a level rule is a line of print: broken as dashes are, and where headings or labels stand."""
    if rule.solid > _BROKEN:
        return False
    x = np.linspace(rule.start, rule.end, _PLACES)
    print_seen = np.maximum(seen.kinds[KINDS.index("label")], seen.kinds[KINDS.index("heading")])
    high, wide = print_seen.shape
    u = np.clip((x * working / seen.scale[0]).astype(int), 0, wide - 1)
    v = np.clip((rule.at(x) * working / seen.scale[1]).astype(int), 0, high - 1)
    return bool((print_seen[v, u] > _SEEN).mean() >= _AMONG_PRINT)


def _meets(upright: Rule, level: Sequence[Rule]) -> bool:
    """Say whether an upright begins and ends at level rules, as the side of a box does."""
    x = upright.middle
    heights = [_x(rule, x) for rule in level if rule.start - _MEETS <= x <= rule.end + _MEETS]
    return all(any(abs(end - y) <= _MEETS for y in heights) for end in (upright.start, upright.end))


def _x(rule: Rule, y: float) -> float:
    return float(rule.at(np.array([y]))[0])
