"""Printed rules: find them in a nearly flat picture, and follow how each runs.

All functions take an ink map: (h, w) float32, 0 for bare paper to 1 for black, as ``light.ink`` makes it.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet.record import Points

Ink = npt.NDArray[np.float32]

_BLOCKS = 28  # places along a rule; between two a rule of a curled slip moves little
_THICKEST = 9  # pixels at a long side near 1000: a rule is thinner, a line of print is not
_FAINTEST = 0.012  # of black, averaged over a block: dotted rules of a carbon copy lie just above
_DARK_ENOUGH = (
    0.15  # of black: what is darker counts no more, or a few strokes of writing would pass for a rule
)
_OVER_NOISE = 4.0
_STEEPEST = (
    0.11  # how far a rule may climb per pixel: what perspective and curl leave after a first flattening
)
_LONGEST_GAP = 3  # blocks that writing or wear may hide
_SHORTEST = 0.3  # of the width: a rule; shorter ones are boxes and underlines
_STRAIGHTNESS = 1.0  # pixels from its own cubic, root mean square: print and writing wander more


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One printed rule that runs roughly along x: (n,) places ``x`` and its height ``y`` there, in pixels."""

    x: Points
    y: Points

    @property
    def length(self) -> float:
        """Return the distance along x that it spans, in pixels."""
        return float(self.x[-1] - self.x[0])


def across(ink: Ink) -> list[Rule]:
    """Return the rules that run roughly from left to right, from top to bottom."""
    height, width = ink.shape
    profile = cv2.resize(np.minimum(ink, _DARK_ENOUGH), (_BLOCKS, height), interpolation=cv2.INTER_AREA)
    kernel = np.ones((_THICKEST, 1), np.uint8)
    narrow = profile - cv2.morphologyEx(profile, cv2.MORPH_OPEN, kernel)
    noise = 1.4826 * np.median(np.abs(narrow - np.median(narrow)))
    threshold = max(_FAINTEST, _OVER_NOISE * float(noise))
    peaks = _peaks(narrow, threshold)
    step = width / _BLOCKS
    found = []
    for chain in _chains(peaks, _STEEPEST * step):
        x = (np.array([block for block, _ in chain]) + 0.5) * step - 0.5
        rule = _smooth(x, np.array([y for _, y in chain]))
        if rule is not None and rule.length + step >= _SHORTEST * width:
            found.append(rule)
    return sorted(found, key=lambda rule: float(np.median(rule.y)))


def down(ink: Ink) -> list[Rule]:
    """Return the rules that run from top to bottom, from left to right, with x and y exchanged."""
    return across(np.ascontiguousarray(ink.T))


def _peaks(narrow: Ink, threshold: float) -> list[list[tuple[float, float]]]:
    """Return per block the (y, strength) of each local maximum, y by parabola."""
    inner = narrow[1:-1]
    top = (inner >= threshold) & (inner > narrow[:-2]) & (inner >= narrow[2:])
    found: list[list[tuple[float, float]]] = [[] for _ in range(narrow.shape[1])]
    rows, columns = np.nonzero(top)
    before, at, after = narrow[rows, columns], narrow[rows + 1, columns], narrow[rows + 2, columns]
    shift = 0.5 * (before - after) / np.minimum(before - 2 * at + after, -1e-9)
    for row, column, move, strength in zip(rows, columns, shift, at, strict=True):
        found[column].append((row + 1 + float(move), float(strength)))
    return found


def _chains(peaks: list[list[tuple[float, float]]], reach: float) -> list[list[tuple[int, float]]]:
    """Link peaks of neighbouring blocks into runs; each peak continues the run that points at it best."""
    open_runs: list[list[tuple[int, float]]] = []
    closed: list[list[tuple[int, float]]] = []
    for block, column in enumerate(peaks):
        heights = np.array([y for y, _ in column])
        pairs: list[tuple[float, int, int]] = []
        if open_runs and column:
            young = np.array([len(run) <= 3 for run in open_runs])
            gap = np.array([block - run[-1][0] for run in open_runs])
            guess = np.array([run[-1][1] + _slope(run) * (block - run[-1][0]) for run in open_runs])
            allowed = np.where(young, reach * gap, 0.4 * reach + 1.0)
            off = np.abs(heights - guess[:, None])
            favour = 0.02 * np.array([len(run) for run in open_runs])
            indices, places = np.nonzero(off <= allowed[:, None])
            cost = off[indices, places] - favour[indices]
            pairs = sorted(zip(cost.tolist(), indices.tolist(), places.tolist(), strict=True))
        taken_runs: set[int] = set()
        taken: set[int] = set()
        for _, index, place in pairs:
            if index not in taken_runs and place not in taken:
                taken_runs.add(index)
                taken.add(place)
                open_runs[index].append((block, column[place][0]))
        still: list[list[tuple[int, float]]] = []
        for run in open_runs:
            (still if block - run[-1][0] < _LONGEST_GAP else closed).append(run)
        open_runs = still + [[(block, y)] for place, (y, _) in enumerate(column) if place not in taken]
    least = _SHORTEST * len(peaks) - 1
    return [run for run in closed + open_runs if len(run) >= 5 and run[-1][0] - run[0][0] >= least]


def _slope(run: list[tuple[int, float]]) -> float:
    """Return how a run climbs per block; a short one does not tell."""
    return (run[-1][1] - run[-3][1]) / (run[-1][0] - run[-3][0]) if len(run) > 3 else 0.0


def _smooth(x: Points, y: Points) -> Rule | None:
    """Keep the places that lie on one smooth curve; None where too few do."""
    keep = np.ones(len(x), bool)
    for _ in range(3):
        if keep.sum() < 5:
            return None
        degree = 3 if keep.sum() >= 10 else 2 if keep.sum() >= 7 else 1
        centre, spread = x.mean(), max(float(np.ptp(x)), 1.0)
        curve = np.polynomial.polynomial.polyfit((x[keep] - centre) / spread, y[keep], degree)
        off = np.abs(y - np.polynomial.polynomial.polyval((x - centre) / spread, curve))
        keep = off < max(1.2, 2.5 * float(np.median(off[keep])))
    if keep.sum() < max(5, 0.7 * len(x)) or np.sqrt(np.mean(off[keep] ** 2)) > _STRAIGHTNESS:
        return None
    return Rule(x[keep], y[keep])
