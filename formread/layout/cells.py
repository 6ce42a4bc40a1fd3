"""Boxes that printed rules close on all four sides, wherever on a sheet they stand.

The rules are drawn onto an empty page, and what they cut off is looked at: a piece of the page that fills its
rectangle is a box. Sides that are too short for a rule of their own (an isolated box on a large sheet) are looked for
between level rules, in the ink.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.ink import Ink
from formread.layout.record import Rectangle
from formread.layout.rules import Rule
from formread.layout.table import Page

Mask = npt.NDArray[np.uint8]

_LEAST_WIDE, _LEAST_TALL = (
    5,
    14,
)  # pixels of a sheet of 1500; slivers left of a stem count, for who joins them again
_FULL = 0.86  # share of its rectangle that a box fills: corners may be cut, a piece of the margin is no box
_BEYOND = 6  # pixels by which a rule may end short of the corner that it makes
_WORN = 24  # pixels; a longer gap in a rule is no wear
_TOUCH = 8.0  # pixels between a rule's end and the rule that it meets
_WHOLE = 0.75  # share of a side without gaps: points and stems below one another leave some
_PRESENT = 0.75  # share of its length on which a side is seen
_END, _REACHES = 6.0, 0.6  # pixels at either end of a side on which, for the most part, it is seen
_SHORTEST, _LONGEST = 15.0, 120.0  # pixels; heights of bands in which short sides are looked for
_SIDE = 0.9  # share of the band's height on which a short side is dark
_DARK = 0.4  # of the level rules' darkness
_FAINTEST = 0.03  # darkness below which there is only the paper's grain
_THIN = 9  # pixels; a thicker thing is no rule
_IN_LINE = 5.0  # pixels by which sides of boxes in one column may miss each other


@dataclass(frozen=True, slots=True)
class _Side:
    """An upright from level rule to level rule: its place at its middle, its ends, and how far it leans."""

    x: float
    top: float
    bottom: float
    lean: float


def find_cells(ink: Ink, page: Page, around: Sequence[Rectangle]) -> list[Rectangle]:
    """Find the boxes that rules close on all four sides.

    Parameters
    ----------
    ink
        (H, W) darkness.
    page
        The rules of the sheet.
    around
        Where sides too short to be rules are looked for, in pixels of `ink`.

    Returns
    -------
    list of Rectangle
        The white inside each box, from the top and from the left.
    """
    level = [rule for at in page.levels for rule in at.rules]
    walls = np.zeros(ink.shape, np.uint8)
    for rule in level:
        _draw(walls, rule)
    sides = [side for rule in page.uprights for side in _sides(rule, level)]
    for place in around:
        sides += _short_sides(ink, level, sides, place)
    for side in sides:
        half = side.lean * (side.bottom - side.top) / 2
        ends = [
            (round(side.x - half), round(side.top) - 2),
            (round(side.x + half), round(side.bottom) + 2),
        ]
        cv2.line(walls, ends[0], ends[1], (1,), 3)
    found = _closed(walls)
    found.sort(key=lambda cell: (cell.top + cell.bottom, cell.left))
    return found


def _x(rule: Rule, y: float) -> float:
    return float(rule.at(np.array([y]))[0])


def _draw(walls: Mask, rule: Rule) -> None:
    """Draw a level rule where it is seen, and where writing hides it or it is worn."""
    height, width = walls.shape
    x = np.arange(max(int(rule.start) - _BEYOND, 0), min(int(np.ceil(rule.end)) + _BEYOND, width))
    if not len(x):
        return
    at = np.clip(x - rule.first, 0, max(len(rule.seen) - 1, 0))
    there = (rule.seen | ~rule.told)[at].astype(np.uint8)
    there[(x < rule.start) | (x >= rule.end)] = 1
    closed = cv2.morphologyEx(there[None, :], cv2.MORPH_CLOSE, np.ones((1, _WORN), np.uint8))[0]
    x = x[closed > 0]
    y = np.rint(rule.at(x.astype(np.float64))).astype(int)
    half = max(1, round(rule.thickness / 2))
    for shift in range(-half, half + 1):
        walls[np.clip(y + shift, 0, height - 1), x] = 1


def _sides(upright: Rule, level: Sequence[Rule]) -> list[_Side]:
    """Return the parts of an upright that run from level rule to level rule.

    Stems of letters and digits that stand below one another make an upright, too, but they miss the rules.
    """
    x = upright.middle
    heights = sorted(
        (_x(rule, x), rule.thickness / 2) for rule in level if rule.start - _TOUCH <= x <= rule.end + _TOUCH
    )
    found = []
    for (above, over), (below, under) in pairwise(heights):
        top, bottom = above + over + 1, below - under - 1
        if bottom - top < _END or top < upright.start - _TOUCH or bottom > upright.end + _TOUCH:
            continue
        ends = (upright.presence(top, top + _END), upright.presence(bottom - _END, bottom))
        whole = upright.wholeness(top, bottom) >= _WHOLE and not upright.presence(top, bottom) < _PRESENT
        if whole and not any(end < _REACHES for end in ends):
            found.append(_Side(_x(upright, (above + below) / 2), above, below, upright.slope))
    return found


def _short_sides(ink: Ink, level: Sequence[Rule], sides: Sequence[_Side], place: Rectangle) -> list[_Side]:
    """Find sides between level rules that no upright rule was found for.

    A stem of a digit may reach from rule to rule, too; but a side stands at the end of a rule, or in line with the
    sides of other boxes.
    """
    rules = [r for r in level if place.top - _TOUCH <= r.middle <= place.bottom + _TOUCH]
    rules = [r for r in rules if r.end > place.left and r.start < place.right]
    found: list[tuple[_Side, bool]] = []
    for above in rules:
        for below in rules:
            low = max(above.start - _BEYOND, below.start - _BEYOND, place.left)
            high = min(above.end + _BEYOND, below.end + _BEYOND, place.right)
            if high - low < _LEAST_WIDE or not _SHORTEST <= below.middle - above.middle <= _LONGEST:
                continue
            for x in _dark_columns(ink, above, below, low, high):
                top, bottom = _x(above, x), _x(below, x)
                if any(r.start < x < r.end and top + 6 < _x(r, x) < bottom - 6 for r in rules):
                    continue
                corner = any(abs(end - x) <= _TOUCH for r in (above, below) for end in (r.start, r.end))
                found.append((_Side(x, top, bottom, 0.0), corner))
    result = []
    for side, corner in found:
        near = [s for s in sides if abs(s.x - side.x) <= _IN_LINE]
        if any(abs(s.top - side.top) < 4 and abs(s.bottom - side.bottom) < 4 for s in near):
            continue
        near += [s for s, _ in found if abs(s.x - side.x) <= _IN_LINE and abs(s.top - side.top) > 4]
        if corner or near:
            result.append(side)
    return result


def _dark_columns(ink: Ink, above: Rule, below: Rule, low: float, high: float) -> list[float]:
    """Return the places between two level rules where something dark and thin reaches from one to the other."""
    height, width = ink.shape
    x = np.arange(max(int(low), 0), min(int(high) + 1, width))
    top = above.at(x.astype(np.float64)) + above.thickness / 2 + 2
    bottom = below.at(x.astype(np.float64)) - below.thickness / 2 - 2
    steps = int(np.median(bottom - top))
    if len(x) < _THIN or steps < _END:
        return []
    share = (np.arange(steps) + 0.5) / steps
    rows = np.rint(top[None, :] + share[:, None] * (bottom - top)[None, :]).astype(int)
    part = ink[np.clip(rows, 0, height - 1), x[None, :]].astype(np.float32)
    wide = np.asarray(cv2.dilate(part, np.ones((1, 3), np.uint8)))  # the side may lean by a pixel
    floor = max(_DARK * min(above.strength, below.strength, 0.5), _FAINTEST)
    dark = (wide > floor).mean(axis=0) >= _SIDE
    steps_at = np.flatnonzero(np.diff(np.concatenate([[0], dark.astype(np.int8), [0]])))
    return [
        float(x[a] + x[b - 1]) / 2
        for a, b in zip(steps_at[::2].tolist(), steps_at[1::2].tolist(), strict=True)
        if b - a <= _THIN
    ]


def _closed(walls: Mask) -> list[Rectangle]:
    """Return the pieces of white, cut off on all sides, that fill their rectangles.

    Strokes in a box that the rules' finder took for rules do no harm: what counts is the outline.
    """
    height, width = walls.shape
    white = (walls == 0).astype(np.uint8)
    outlines, tree = cv2.findContours(white, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    found = []
    for outline, (*_, parent) in zip(outlines, tree[0] if tree is not None else [], strict=True):
        if parent >= 0:
            continue  # a hole: rules or strokes within
        left, top, wide, high = cv2.boundingRect(outline)
        at_edge = left == 0 or top == 0 or left + wide >= width or top + high >= height
        if at_edge or wide < _LEAST_WIDE or high < _LEAST_TALL:
            continue
        if cv2.contourArea(outline) >= _FULL * (wide - 1) * (high - 1):
            found.append(Rectangle(left, top, left + wide, top + high))
    return found
