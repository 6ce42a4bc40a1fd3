"""How far a layout can be trusted: what the network saw that is in none of its boxes, and edges that nobody saw."""

from itertools import pairwise
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.boxes import COLUMNS, TOTALS, Seen
from formread.layout.grid import Edges, Grid
from formread.layout.record import Trust

_SEEN: Final = 0.5  # probability from which on a place is inside a box
_GROWN: Final = 2.0  # places by which boxes are grown: the network sees their sides, too
_EDGE: Final = 2.0  # places on either side of an edge between two rows in which it is looked for
_INSET: Final = 3.0  # places at the sides of a column that are left out
_LOOKED_AT, _DOWN = 40, 5  # places looked at along a stretch, and stretches
_NO_DIP: Final = 0.6  # of the cores above and below: with more between them no edge was seen

Mask = npt.NDArray[np.bool_]


def trust_of(seen: Seen, grid: Grid) -> Trust:
    """Say what is odd about a grid; nothing of the totals' roles, which others know."""
    rows = sorted(set(grid.rows))
    stray_rows, stray_totals = _strays(seen, grid)
    return Trust(0.0, stray_rows, stray_totals, _unparted(seen, grid, rows), _beyond(seen, grid, rows))


def seen_in(seen: Seen, box: Edges, grid: Grid) -> float:
    """Return the mean probability that the places of a box are of a box of the totals."""
    mask = _filled(seen, grid, [box])
    return float(seen.kinds[TOTALS].sum(axis=0)[mask].mean()) if mask.any() else 0.0


def _strays(seen: Seen, grid: Grid) -> tuple[float, float]:
    boxes = [half for line in grid.boxes for pair in line for half in pair if half is not None]
    boxes += [half for total in grid.totals for half in (total.box, total.pence) if half is not None]
    taken = _filled(seen, grid, [box.grown(_GROWN) for box in boxes])
    row = float(np.median([bottom - top for top, bottom in grid.rows])) * (grid.sides[1] - grid.sides[0])
    rows = (seen.kinds[COLUMNS].sum(axis=0) > _SEEN) & ~taken
    totals = (seen.kinds[TOTALS].sum(axis=0) > _SEEN) & ~taken
    usual = float(np.median([t.box.width * t.box.height for t in grid.totals])) if grid.totals else row / 6
    return float(rows.sum()) / max(row, 1.0), _largest(totals) / max(usual, 1.0)


def _largest(mask: Mask) -> float:
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    return float(stats[1:count, cv2.CC_STAT_AREA].max()) if count > 1 else 0.0


def _filled(seen: Seen, grid: Grid, boxes: list[Edges]) -> Mask:
    mask = np.zeros(seen.core.shape, np.uint8)
    for box in boxes:
        sides = (
            (box.left, box.top),
            (box.right, box.top),
            (box.right, box.bottom),
            (box.left, box.bottom),
        )
        corners = np.round([grid.point(u, v) for u, v in sides]).astype(np.int32)
        cv2.fillConvexPoly(mask, corners, 1)
    return mask > 0


def _unparted(seen: Seen, grid: Grid, rows: list[tuple[float, float]]) -> float:
    missing = 0
    if grid.storeyed:  # between such rows no edge runs through
        return 0.0
    for (top, bottom), (below, end) in pairwise(rows):
        shares = []
        for column in grid.columns:
            a, b = column.left + _INSET, column.right - _INSET
            if b <= a:
                continue
            edge = min(
                _mean(seen.core, grid, (a, b), (bottom + below) / 2 + away)
                for away in np.linspace(-_EDGE, _EDGE, _DOWN)
            )
            inside = max(
                _mean(seen.core, grid, (a, b), (y + z) / 2) for y, z in ((top, bottom), (below, end))
            )
            shares.append(edge / max(inside, 0.05))
        missing += bool(shares) and float(np.median(shares)) > _NO_DIP
    return missing / max(len(rows) - 1, 1)


def _beyond(seen: Seen, grid: Grid, rows: list[tuple[float, float]]) -> float:
    height, pitch = float(np.median([bottom - top for top, bottom in rows])), grid.pitch
    table = np.asarray(seen.kinds[COLUMNS].sum(axis=0), np.float32)
    sides = grid.sides[0] + _INSET, grid.sides[1] - _INSET
    return max(
        float(
            np.mean(
                [_mean(table, grid, sides, top + share * height) for share in np.linspace(0.25, 0.75, _DOWN)]
            )
        )
        for top in (rows[0][0] - pitch, rows[-1][0] + pitch)
    )


def _mean(values: npt.NDArray[np.float32], grid: Grid, sides: tuple[float, float], v: float) -> float:
    """Return the mean of a map along a level stretch of the straightened grid; nought where that is off the map."""
    height, width = values.shape
    ends = np.array([grid.point(side, v) for side in sides])
    x, y = np.linspace(ends[0], ends[1], _LOOKED_AT).round().astype(np.intp).T
    inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    return float(np.where(inside, values[y.clip(0, height - 1), x.clip(0, width - 1)], 0.0).mean())
