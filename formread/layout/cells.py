"""From what the network saw to single boxes: cores parted, edges straightened, pounds joined to their pence."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.boxes import COLUMNS, CORE_MARGIN, TOTALS, Seen
from formread.layout.grid import Edges

_CORE = 0.5  # probability from which on a place is inside a box
_LEAST_AREA = 12  # places; smaller specks are none
LEAST_SIDE: Final = 3.0
"""Places of a core's shorter side."""
_MAY_BE_BOX = 0.3  # a place that is seen as a box so much may be inside one
_BOX = 0.5  # a core is a box if its places are seen as boxes at least so much
_CORELESS = 0.2  # share of a total's places that are its core, with less it has none
_PENCE = 0.5
_SURE = 0.9  # trust in what the network says of one place
CORE_FULL: Final = 0.75
"""Share of a row's height that a core takes, about."""
_GAP_COST = 0.1  # share of that between two boxes
_STEP_COST = 6.0  # nats that it costs between two boxes of the totals: what they are is less plain
# Between two boxes of the totals the core is less than this over such a share of their width.
_DIP, _DIP_ACROSS = 0.88, 0.9
LOWEST_STEP: Final = 7
"""Places; nobody writes into a lower box."""
NEAR: Final = 5
"""Places around a change of kind in which the edge of boxes is looked for."""
HALF_GAP: Final = 5.0
"""Places between the box for the pounds and that for the pence."""
_HALF_DIP = (
    0.93  # of the core beside it: with more nothing parts pounds from pence but what is printed or written
)
_HALF_COMMON = 0.6  # share of their height that both have in common
_LONG_ENOUGH, _HIGH_ENOUGH = 24, 12  # places of an edge that tells how the sheet lies
_MOST_TILT = 0.025  # a degree and a half
_RAGGED = 0.6  # places that a straight edge misses its line by on average
_TRIMMED = 0.25  # of a side's length at each end, where corners are rounded off


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """One box that the network saw: its edges, the probabilities of its kinds, and of being for pence."""

    edges: Edges
    kinds: npt.NDArray[np.float64]
    pence: float

    @property
    def column(self) -> float:
        """Probability that it belongs to the table."""
        return float(self.kinds[COLUMNS].sum())

    @property
    def total(self) -> float:
        """Probability that it belongs to the totals."""
        return float(self.kinds[TOTALS].sum())


def find_cells(seen: Seen) -> tuple[list[Cell], float, float, tuple[float, float]]:
    """Find every box that the network saw.

    Returns
    -------
    cells, slope, lean, centre
        See :class:`Grid`.
    """
    height, width = seen.core.shape
    centre = (width / 2, height / 2)
    box = 1.0 - seen.kinds[0] - seen.kinds[15:].sum(axis=0)
    inside = (seen.core > _CORE) & (box > _MAY_BE_BOX)
    of_table = seen.kinds[COLUMNS].sum(axis=0) >= seen.kinds[TOTALS].sum(axis=0)
    # Where nothing is ruled, cores of the last row and of the total below run together: one kind at a time.
    ladders = _pieces(inside & ~of_table)
    parts = _pieces(inside & of_table) + [step for ladder in ladders for step in _steps(seen, *ladder)]
    slope, lean = _skew(parts)
    # A total on nothing but dots has no core, and stands for itself.
    totals = _pieces(seen.kinds[TOTALS].sum(axis=0) > _BOX)
    parts += [
        (left, top, mask)
        for left, top, mask in totals
        if (inside[top : top + mask.shape[0], left : left + mask.shape[1]] & mask).sum()
        < _CORELESS * mask.sum()
    ]
    cells = []
    for left, top, mask in parts:
        for start, end in _halves(seen, left, top, mask):
            part = mask[:, start:end]
            if part.sum() < _LEAST_AREA:
                continue
            edges = _edges(left + start, top, part, slope, lean, centre)
            if edges is None:
                continue
            where = (slice(top, top + part.shape[0]), slice(left + start, left + end))
            kinds = np.array([float(m[where][part].mean()) for m in seen.kinds])
            if kinds[COLUMNS].sum() + kinds[TOTALS].sum() < _BOX:
                continue
            cells.append(Cell(edges.grown(CORE_MARGIN), kinds, float(seen.pence[where][part].mean())))
    return cells, slope, lean, centre


def _pieces(inside: npt.NDArray[np.bool_]) -> list[tuple[int, int, npt.NDArray[np.bool_]]]:
    """Return left, top and places of everything that hangs together, specks left out."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(inside.astype(np.uint8), connectivity=4)
    result = []
    for k in range(1, count):
        left, top, wide, high, area = (int(v) for v in stats[k])
        if area >= _LEAST_AREA and min(wide, high) >= LEAST_SIDE:
            result.append((left, top, labels[top : top + high, left : left + wide] == k))
    return result


def _steps(
    seen: Seen, left: int, top: int, mask: npt.NDArray[np.bool_]
) -> list[tuple[int, int, npt.NDArray[np.bool_]]]:
    """Part boxes of totals that stand on each other with hardly anything between: at a dip across, or another kind."""
    high, wide = mask.shape
    where = (slice(None), slice(top, top + high), slice(left, left + wide))
    weight = np.maximum(mask.sum(axis=1), 1)
    kinds = (seen.kinds[TOTALS][where] * mask).sum(axis=2) / weight
    core = (seen.core[where[1:]] * mask).sum(axis=1) / weight
    path = likeliest(kinds, cost_of_change(core, _STEP_COST))
    inside = np.where(mask, seen.core[where[1:]], 1.0)
    dips = (inside < _DIP).sum(axis=1) > _DIP_ACROSS * weight
    lines = [(a + b) // 2 for a, b in stretches_of(dips) if a > 0 and b < high]
    changes = [
        int(y)
        for y in np.flatnonzero(np.diff(path)) + 1
        if all(abs(y - line) >= LOWEST_STEP for line in lines)
    ]
    cuts = [0, *sorted([*lines, *changes]), high]
    if len(cuts) == 2 or min(b - a for a, b in pairwise(cuts)) < LOWEST_STEP:
        return [(left, top, mask)]
    result = []
    for a, b in pairwise(cuts):
        # A margin on either side, as between cores that are parted.
        part = mask[a + (a > 0) : b - (b < high)]
        result.append((left, top + a + (a > 0), part))
    return result


def _halves(seen: Seen, left: int, top: int, mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Part a core where pounds end and pence begin, if the divider was too faint to part it."""
    high, wide = mask.shape
    part = seen.pence[top : top + high, left : left + wide]
    weight = mask.sum(axis=0)
    share = (part * mask).sum(axis=0) / np.maximum(weight, 1)
    on = share > _PENCE
    if on.all() or not on.any() or wide < 12:
        return [(0, wide)]
    # One step from pounds to pence: the place that fits best.
    right = np.concatenate([np.cumsum((2 * share - 1)[::-1])[::-1], [0.0]])
    before = np.concatenate([[0.0], np.cumsum(1 - 2 * share)])
    cut = int(np.argmax(right + before))
    core = (seen.core[top : top + high, left : left + wide] * mask).sum(axis=0) / np.maximum(weight, 1)
    if not is_divided(core, cut):
        return [(0, wide)]
    if min(cut, wide - cut) < 5 or (share[:cut] > _PENCE).mean() > 0.2 or (share[cut:] > _PENCE).mean() < 0.8:
        return [(0, wide)]
    return [(0, cut - 1), (cut + 1, wide)]


def is_divided(core: npt.NDArray[np.float64], x: int) -> bool:
    """Say whether cores have less near `x` than around it: a rule, however faint, parts pounds from pence there."""
    near = core[max(x - NEAR, 0) : x + NEAR + 1]
    return float(near.min()) < _HALF_DIP * float(near.max())


def _skew(parts: Sequence[tuple[int, int, npt.NDArray[np.bool_]]]) -> tuple[float, float]:
    """Return the slope of the boxes' upper edges and the lean of their sides, the median over the boxes."""
    slopes: list[float] = []
    leans: list[float] = []
    across: list[float] = []
    down: list[float] = []
    for _, _, mask in parts:
        high, wide = mask.shape
        if wide >= _LONG_ENOUGH:
            x = np.arange(round(_TRIMMED * wide / 2), wide - round(_TRIMMED * wide / 2))
            slope = _tilt(x, mask[:, x].argmax(axis=0))
            if slope is not None:
                slopes.append(slope)
                across.append(wide)
        if high >= _HIGH_ENOUGH:
            y = np.arange(round(_TRIMMED * high / 2), high - round(_TRIMMED * high / 2))
            lean = _tilt(y, mask[y].argmax(axis=1))
            if lean is not None:
                leans.append(lean)
                down.append(high)
    return _median(slopes, across), _median(leans, down)


def _tilt(along: npt.NDArray[np.intp], edge: npt.NDArray[np.intp]) -> float | None:
    """Return how an edge tilts; None where it is ragged or tilts more than a flattened slip can."""
    tilt, start = np.polyfit(along, edge, 1)
    ragged = float(np.abs(tilt * along + start - edge).mean())
    return float(tilt) if abs(tilt) <= _MOST_TILT and ragged <= _RAGGED else None


def _median(values: Sequence[float], weights: Sequence[float]) -> float:
    if not values:
        return 0.0
    order = np.argsort(values)
    sums = np.cumsum(np.array(weights)[order])
    return float(np.array(values)[order][np.searchsorted(sums, sums[-1] / 2)])


def _edges(
    left: int, top: int, mask: npt.NDArray[np.bool_], slope: float, lean: float, centre: tuple[float, float]
) -> Edges | None:
    """Return the straightened edges of a core: the middle of where its lines of places begin and end."""
    rows = np.flatnonzero(mask.any(axis=1))
    columns = np.flatnonzero(mask.any(axis=0))
    if not len(rows) or not len(columns):
        return None
    wide, high = mask.shape[1], mask.shape[0]
    starts, ends = mask[rows].argmax(axis=1), wide - mask[rows][:, ::-1].argmax(axis=1)
    tops, bottoms = mask[:, columns].argmax(axis=0), high - mask[:, columns][::-1].argmax(axis=0)
    away = lean * (rows + top - centre[1])
    low = slope * (columns + left - centre[0])
    edges = Edges(
        float(np.median(left + starts - away)) - 0.5,
        float(np.median(top + tops - low)) - 0.5,
        float(np.median(left + ends - away)) - 0.5,
        float(np.median(top + bottoms - low)) - 0.5,
    )
    return edges if edges.width >= LEAST_SIDE and edges.height >= LEAST_SIDE else None


@dataclass(frozen=True, slots=True, eq=False)
class Whole:
    """A box with its half for the pence, if one was seen right of it; ``edges`` are of both."""

    cell: Cell
    pence: Cell | None

    @property
    def edges(self) -> Edges:
        """The whole box."""
        if self.pence is None:
            return self.cell.edges
        return replace(self.cell.edges, right=self.pence.edges.right)


def wholes_of(cells: Sequence[Cell]) -> list[Whole]:
    """Join each box for pence to the box for pounds on its left."""
    pounds = [cell for cell in cells if cell.pence <= _PENCE]
    result: dict[int, Cell | None] = dict.fromkeys(range(len(pounds)))
    lone: list[Cell] = []
    for half in (cell for cell in cells if cell.pence > _PENCE):
        near = [k for k, cell in enumerate(pounds) if beside(cell.edges, half.edges) and result[k] is None]
        if near:
            result[min(near, key=lambda k: abs(half.edges.left - pounds[k].edges.right))] = half
        else:
            lone.append(half)
    return [Whole(pounds[k], half) for k, half in result.items()] + [Whole(cell, None) for cell in lone]


def beside(pounds: Edges, half: Edges) -> bool:
    """Say whether a box stands where the half for the pence of another would."""
    return (
        abs(half.left - pounds.right) <= HALF_GAP
        and common((half.top, half.bottom), (pounds.top, pounds.bottom)) > _HALF_COMMON
    )


def stretches_of(on: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return where true values begin and end, (N,) bool."""
    steps = np.flatnonzero(np.diff(on.astype(np.int8), prepend=0, append=0))
    return [(int(a), int(b)) for a, b in zip(steps[::2], steps[1::2], strict=True)]


def cost_of_change(core: npt.NDArray[np.float64], most: float) -> npt.NDArray[np.float64]:
    """Nats that a change of kind costs at each place: `most` inside a box, little where cores end."""
    return most * (_GAP_COST + (1 - _GAP_COST) * np.minimum(1.0, core / CORE_FULL))


def likeliest(
    chances: npt.NDArray[np.float64],
    cost: npt.NDArray[np.float64],
    after: npt.NDArray[np.intp] | None = None,
) -> npt.NDArray[np.intp]:
    """Return the likeliest state at each place (Viterbi 1967).

    Parameters
    ----------
    chances
        (states, places) probabilities.
    cost
        (places,) nats that a change of state just before the place costs.
    after
        (states,) the one state that each may follow; -1: any.
    """
    states, places = chances.shape
    score = np.log(_SURE * chances + (1 - _SURE) / states)
    bound = np.zeros(0, np.intp) if after is None else np.flatnonzero(after >= 0)
    before = bound if after is None else after[bound]
    best = score[:, 0].copy()
    came = np.zeros((places, states), np.intp)
    for x in range(1, places):
        away = int(np.argmax(best))
        move = np.full(states, best[away] - cost[x])
        source = np.full(states, away)
        move[bound], source[bound] = best[before] - cost[x], before
        stay = best >= move
        came[x] = np.where(stay, np.arange(states), source)
        best = np.where(stay, best, move) + score[:, x]
    path = np.zeros(places, np.intp)
    path[-1] = int(np.argmax(best))
    for x in range(places - 1, 0, -1):
        path[x - 1] = came[x][path[x]]
    return path


def common(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Share of the shorter of two stretches that lies in the other."""
    return (min(a[1], b[1]) - max(a[0], b[0])) / max(min(a[1] - a[0], b[1] - b[0]), 1e-6)
