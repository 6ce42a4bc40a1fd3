"""Boxes that printed rules close on all four sides, wherever on a sheet they stand.

The rules are drawn onto an empty page, and what they cut off is looked at: a piece of the page that fills its
rectangle is a box. Sides that are too short for a rule of their own (an isolated box on a large sheet) are looked for
between level rules, in the ink.
"""

from collections.abc import Sequence
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.ink import Ink
from formread.layout.record import Rectangle
from formread.layout.rules import Rule
from formread.layout.table import Page

Numbers = npt.NDArray[np.float64]
Mask = npt.NDArray[np.uint8]

_LEAST_WIDE, _LEAST_TALL = 18, 14  # pixels of a sheet of 1500; nobody can write into less
_FULL = 0.86  # share of its rectangle that a box fills: corners may be cut, a piece of the margin is no box
_BEYOND = 6  # pixels by which a rule may end short of the corner that it makes
_WORN = 24  # pixels; a longer gap in a rule is no wear
_FREE = 150  # pixels; a shorter upright is a side only where it ends at level rules: it may be a digit's stem
_TOUCH = 8.0  # pixels between a rule's end and the rule that it meets
_SHORTEST, _LONGEST = 15.0, 120.0  # pixels; heights of bands in which short sides are looked for
_SIDE = 0.9  # share of the band's height on which a short side is dark
_DARK = 0.4  # of the level rules' darkness
_THIN = 7  # pixels; a thicker thing is no rule
_IN_LINE = 5.0  # pixels by which sides of boxes in one column may miss each other


def find_cells(ink: Ink, page: Page, around: Sequence[Rectangle]) -> list[Rectangle]:
    """Find the boxes that rules close on all four sides.

    Parameters
    ----------
    ink
        (H, W) darkness.
    page
        The rules of the sheet.
    around
        Where to look, in pixels of `ink`.

    Returns
    -------
    list of Rectangle
        The white inside each box, from the top and from the left.
    """
    level = [rule for at in page.levels for rule in at.rules]
    upright = [rule for rule in page.uprights if rule.length > _FREE or _meets(rule, level)]
    walls = np.zeros(ink.shape, np.uint8)
    for rule in level:
        _draw(walls, rule)
    across = np.ascontiguousarray(walls.T)
    for rule in upright:
        _draw(across, rule)
    walls = np.ascontiguousarray(across.T)
    for place in around:
        for x, y0, y1 in _short_sides(ink, level, upright, place):
            walls[max(round(y0) - 2, 0) : round(y1) + 3, max(round(x) - 1, 0) : round(x) + 2] = 1
    found = []
    for place in around:
        found += _closed(walls, place)
    found.sort(key=lambda cell: (cell.top + cell.bottom, cell.left))
    return found


def _x(rule: Rule, y: float) -> float:
    return float(rule.at(np.array([y]))[0])


def _meets(upright: Rule, level: Sequence[Rule]) -> bool:
    """Say whether an upright begins and ends at level rules, as the side of a box does and no digit's stem."""
    x = upright.middle
    heights = [_x(rule, x) for rule in level if rule.start - _TOUCH <= x <= rule.end + _TOUCH]
    return all(any(abs(end - y) <= _TOUCH for y in heights) for end in (upright.start, upright.end))


def _draw(walls: Mask, rule: Rule) -> None:
    """Draw a level rule where it is seen, and where writing hides it or it is worn."""
    height, width = walls.shape
    x = np.arange(max(int(rule.start) - _BEYOND, 0), min(int(np.ceil(rule.end)) + _BEYOND, width))
    if not len(x):
        return
    at = np.clip(x - rule.first, 0, max(len(rule.seen) - 1, 0))
    there = (rule.seen | ~rule.told)[at].astype(np.uint8)
    inside = (x >= rule.start) & (x < rule.end)
    there[~inside] = 1
    there = cv2.morphologyEx(there[None, :], cv2.MORPH_CLOSE, np.ones((1, _WORN), np.uint8))[0]
    x = x[there > 0]
    y = np.rint(rule.at(x.astype(np.float64))).astype(int)
    half = max(1, round(rule.thickness / 2))
    for shift in range(-half, half + 1):
        walls[np.clip(y + shift, 0, height - 1), x] = 1


def _short_sides(
    ink: Ink, level: Sequence[Rule], upright: Sequence[Rule], place: Rectangle
) -> list[tuple[float, float, float]]:
    """Find sides between level rules that no upright rule was found for: (x, top, bottom).

    A stem of a digit may reach from rule to rule, too; but a side stands at the end of a rule, or in line with the
    sides of other boxes.
    """
    rules = [r for r in level if place.top - 8 <= r.middle <= place.bottom + 8]
    rules = [r for r in rules if r.end > place.left and r.start < place.right]
    found: list[tuple[float, float, float, bool]] = []
    for above in rules:
        for below in rules:
            low, high = max(above.start, below.start) - _BEYOND, min(above.end, below.end) + _BEYOND
            low, high = max(low, place.left), min(high, place.right)
            gap = below.middle - above.middle
            if high - low < _LEAST_WIDE or not _SHORTEST <= gap <= _LONGEST:
                continue
            for x in _dark_columns(ink, above, below, low, high):
                y0, y1 = _x(above, x), _x(below, x)
                between = [r for r in rules if r.start < x < r.end and y0 + 6 < _x(r, x) < y1 - 6]
                if between or not _SHORTEST <= y1 - y0 <= _LONGEST:
                    continue
                ends = [e for r in (above, below) for e in (r.start, r.end)]
                corner = any(abs(e - x) <= _TOUCH for e in ends)
                found.append((x, y0, y1, corner))
    sides = [(u.middle, u.start, u.end) for u in upright]
    result = []
    for x, y0, y1, corner in found:
        if any(abs(x - s) <= _IN_LINE and a - 4 <= y0 and b + 4 >= y1 for s, a, b in sides):
            continue
        in_line = any(abs(x - s) <= _IN_LINE for s, _, _ in sides) or any(
            abs(x - o[0]) <= _IN_LINE and abs(y0 - o[1]) > 4 for o in found
        )
        if corner or in_line:
            result.append((x, y0, y1))
    return result


def _dark_columns(ink: Ink, above: Rule, below: Rule, low: float, high: float) -> list[float]:
    """Return the places between two level rules where something dark and thin reaches from one to the other."""
    height, width = ink.shape
    x = np.arange(max(int(low), 1), min(int(high) + 1, width - 1))
    if len(x) < 3:
        return []
    top = above.at(x.astype(np.float64)) + above.thickness / 2 + 2
    bottom = below.at(x.astype(np.float64)) - below.thickness / 2 - 2
    steps = int(np.median(bottom - top))
    if steps < 6:
        return []
    share = (np.arange(steps) + 0.5) / steps
    rows = np.clip(
        np.rint(top[None, :] + share[:, None] * (bottom - top)[None, :]).astype(int), 0, height - 1
    )
    part = ink[rows, x[None, :]].astype(np.float32)
    wide = cv2.dilate(part, np.ones((1, 3), np.uint8))  # the side may lean by a pixel
    floor = _DARK * min(min(above.strength, below.strength), 0.5)
    dark = np.asarray((wide > max(floor, 0.03)).mean(axis=0)) >= _SIDE
    # Paper on both sides of it, on most of its height: neither a filled place nor writing.
    columns = []
    for a, b in _runs(dark):
        if b - a > _THIN + 2:
            continue
        columns.append((x[a] + x[b - 1]) / 2)
    return columns


def _runs(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    steps = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(steps == 1).tolist(), np.flatnonzero(steps == -1).tolist(), strict=True))


def _closed(walls: Mask, place: Rectangle) -> list[Rectangle]:
    """Return the pieces of white, cut off on all sides, that fill their rectangles."""
    part = walls[max(place.top, 0) : place.bottom, max(place.left, 0) : place.right]
    height, width = part.shape
    if min(height, width) < _LEAST_TALL:
        return []
    count, _, stats, _ = cv2.connectedComponentsWithStats((part == 0).astype(np.uint8), connectivity=4)
    found = []
    for k in range(1, count):
        left, top, wide, high, area = (int(v) for v in stats[k])
        open_ = left == 0 or top == 0 or left + wide >= width or top + high >= height
        if open_ or wide < _LEAST_WIDE or high < _LEAST_TALL or area < _FULL * wide * high:
            continue
        x, y = max(place.left, 0) + left, max(place.top, 0) + top
        found.append(Rectangle(x, y, x + wide, y + high))
    return found
