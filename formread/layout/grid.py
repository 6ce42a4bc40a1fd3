"""The order table and the totals of a sheet, in places of the map that the network saw: records and their geometry."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Edges:
    """A box in places of the map, after the sheet's slope and lean were taken out."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Places from side to side."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Places from top to bottom."""
        return self.bottom - self.top

    def grown(self, by: float) -> "Edges":
        """Return the box with its sides moved out."""
        return Edges(self.left - by, self.top - by, self.right + by, self.bottom + by)


@dataclass(frozen=True, slots=True, eq=False)
class GridColumn:
    """One column: its sides, where the pence begin if they are parted off, and what its boxes look like.

    ``kinds`` are the probabilities of ``KINDS[COLUMNS]``, the mean over its boxes; ``open_left``: nothing parts it
    from the column before but what is written.
    """

    left: float
    right: float
    pence: float | None
    kinds: npt.NDArray[np.float64]
    open_left: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class GridTotal:
    """One box of the totals; ``kinds`` are the probabilities of ``KINDS[TOTALS]``, ``seen`` that it is of the totals."""

    box: Edges
    pence: Edges | None
    kinds: npt.NDArray[np.float64]
    seen: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """The order table and the totals of a sheet.

    Attributes
    ----------
    boxes
        For every row from the top and every column from the left: the box, and its half for the pence. Where the
        same columns come again further right, their rows follow those of the panel before.
    slope, lean, centre
        How the map's places were straightened: down by ``slope`` per place right, right by ``lean`` per place down,
        about ``centre``.
    looks
        (8, w) probabilities of ``KINDS[COLUMNS]`` along the straightened map, the mean over the rows.
    storeyed
        Whether a row's boxes stand on several levels: columns are then those of the upper storey, then of the next.
    """

    columns: tuple[GridColumn, ...]
    rows: tuple[tuple[float, float], ...]
    boxes: tuple[tuple[tuple[Edges, Edges | None], ...], ...]
    totals: tuple[GridTotal, ...]
    slope: float
    lean: float
    centre: tuple[float, float]
    looks: npt.NDArray[np.float64]
    storeyed: bool = False

    @property
    def sides(self) -> tuple[float, float]:
        """Where the first of its columns begins and the last ends."""
        return min(column.left for column in self.columns), max(column.right for column in self.columns)

    @property
    def pitch(self) -> float:
        """From one row to the next, about; a single row's height."""
        tops = sorted({top for top, _ in self.rows})
        return float(np.median(np.diff(tops))) if len(tops) > 1 else self.rows[0][1] - self.rows[0][0]

    def parted(self, place: int, at: Sequence[float]) -> "Grid":
        """Return the grid with one column cut at `at`, straightened places from the left."""
        column = self.columns[place]
        sides = [column.left, *at, column.right]
        new = []
        for left, right in pairwise(sides):
            looks = self.looks[:, max(round(left), 0) : max(round(right), 1)].mean(axis=1)
            pence = column.pence if column.pence is not None and left < column.pence < right else None
            new.append(GridColumn(left, right, pence, looks / max(float(looks.sum()), 1e-9)))
        boxes = tuple(
            (
                *line[:place],
                *(_cut_box(line[place], left, right) for left, right in pairwise(sides)),
                *line[place + 1 :],
            )
            for line in self.boxes
        )
        columns = (*self.columns[:place], *new, *self.columns[place + 1 :])
        return replace(self, columns=columns, boxes=boxes)

    def joined(self, place: int) -> "Grid":
        """Return the grid with one column joined to the one before it."""
        a, b = self.columns[place - 1 : place + 1]
        shares = np.array([a.right - a.left, b.right - b.left])
        kinds = (shares[0] * a.kinds + shares[1] * b.kinds) / max(float(shares.sum()), 1e-9)
        column = GridColumn(a.left, b.right, a.pence, kinds, a.open_left)
        boxes = tuple(
            (
                *line[: place - 1],
                (_spanned(line[place - 1], line[place]), None),
                *line[place + 1 :],
            )
            for line in self.boxes
        )
        columns = (*self.columns[: place - 1], column, *self.columns[place + 1 :])
        return replace(self, columns=columns, boxes=boxes)

    def point(self, u: float, v: float) -> tuple[float, float]:
        """Return the place of the map at straightened coordinates."""
        return _bent(u, v, self.slope, self.lean, self.centre)


def _spanned(a: tuple[Edges, Edges | None], b: tuple[Edges, Edges | None]) -> Edges:
    return Edges(a[0].left, min(a[0].top, b[0].top), _end(b), max(a[0].bottom, b[0].bottom))


def _end(halves: tuple[Edges, Edges | None]) -> float:
    return halves[0].right if halves[1] is None else halves[1].right


def _cut_box(halves: tuple[Edges, Edges | None], left: float, right: float) -> tuple[Edges, Edges | None]:
    box, pence = halves
    end = _end(halves)
    if pence is not None and left < pence.left < right:
        return replace(box, left=max(box.left, left)), replace(pence, right=min(pence.right, right))
    return Edges(max(box.left, left), box.top, min(end, right), box.bottom), None


def _bent(u: float, v: float, slope: float, lean: float, centre: tuple[float, float]) -> tuple[float, float]:
    x, y = u - centre[0], v - centre[1]
    return u + lean * y, v + slope * x
