"""Rows of two storeys, and orders on cards: boxes that come again at one distance, but not all on one level.

On some pads the description stands above the quantity and the price, or each line of the order is a card with its boxes
upon one another. What makes such a row is that all its boxes come again with every row, each at its own place in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from formread.layout.boxes import COLUMNS, KINDS
from formread.layout.cells import Whole, common
from formread.layout.grid import Edges, GridColumn
from formread.layout.record import Box, Row

_ANCHORS = ("line_total", "unit_price", "quantity", "code")
_SAME = 6.0  # places by which the sides of boxes in one column differ
_FEWEST = 3  # rows
_SHARE = 0.6  # of the rows, in which a column's boxes are seen
_MOST = 1.15  # boxes a row that a column has, about
_EVEN = 0.2  # of the pitch by which a box may miss its place in a row
_APART = 0.2  # of the lower of two boxes that may lie beside the other, where they are on two storeys
_TOLD = 0.34  # of the columns whose boxes are seen in a row, for it to be one

Halves = tuple[Edges, Edges | None]


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """The order's lines: columns, rows and boxes as in :class:`formread.layout.grid.Grid`."""

    columns: tuple[GridColumn, ...]
    rows: tuple[tuple[float, float], ...]
    boxes: tuple[tuple[Halves, ...], ...]
    storeyed: bool = False


@dataclass(eq=False)
class _Track:
    """Boxes of one kind under one another; ``offset``: how far below the row's anchor they begin."""

    kind: str
    wholes: list[Whole]
    offset: float = 0.0

    @property
    def tops(self) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
        return np.array([whole.edges.top for whole in self.wholes])

    def middle(self, name: str) -> float:
        """Return the median of one of its boxes' edges."""
        return float(np.median([getattr(whole.edges, name) for whole in self.wholes]))

    @property
    def span(self) -> tuple[float, float]:
        """From where to where its boxes stand in a row, from the anchor's top."""
        return self.offset, self.offset + self.middle("height")


def storeyed(wholes: Sequence[Whole]) -> Lines | None:
    """Return rows of several storeys, or None where all boxes of a row stand on one level."""
    tracks = _tracks(wholes)
    anchor = next(
        (
            max(own, key=lambda track: len(track.wholes))
            for kind in _ANCHORS
            if (own := [track for track in tracks if track.kind == kind and len(track.wholes) >= _FEWEST])
        ),
        None,
    )
    if anchor is None:
        return None
    pitch = _pitch(anchor)
    if pitch is None:
        return None
    members = [track for track in tracks if _belongs(track, anchor, pitch)]
    if not any(common(a.span, b.span) < _APART for a in members for b in members):
        return None
    panels = _panels(members, anchor)
    return None if panels is None else _put_together(panels, anchor, pitch)


def _tracks(wholes: Sequence[Whole]) -> list[_Track]:
    tracks: list[_Track] = []
    for whole in sorted(wholes, key=lambda w: w.edges.top):
        kind = KINDS[COLUMNS][int(np.argmax(whole.cell.kinds[COLUMNS]))]
        own = next(
            (
                track
                for track in tracks
                if track.kind == kind
                and abs(track.middle("left") - whole.edges.left) <= _SAME
                and abs(track.middle("right") - whole.edges.right) <= _SAME
            ),
            None,
        )
        if own is None:
            tracks.append(_Track(kind, [whole]))
        else:
            own.wholes.append(whole)
    return tracks


def _pitch(anchor: _Track) -> float | None:
    """Return how far the anchors are apart; None where they are not even."""
    steps = np.diff(anchor.tops)
    pitch = float(np.median(steps))
    whole = np.maximum(np.round(steps / pitch), 1)
    return pitch if (np.abs(steps / whole - pitch) <= _EVEN * pitch).all() else None


def _belongs(track: _Track, anchor: _Track, pitch: float) -> bool:
    """Say whether a track's boxes come with the anchors, one a row; settle where in the row they stand."""
    rows = (anchor.tops[-1] - anchor.tops[0]) / pitch + 1
    if not max(_FEWEST, _SHARE * rows) <= len(track.wholes) <= _MOST * rows + 0.5:
        return False
    turns = np.exp(2j * np.pi * (track.tops - anchor.tops[0]) / pitch)
    turn = complex(turns.mean())
    phase = float(np.angle(turn)) / (2 * np.pi) * pitch
    off = np.abs(np.angle(turns / max(abs(turn), 1e-9) * np.exp(-1j * np.angle(turn)))) / (2 * np.pi)
    if (off > _EVEN).mean() > 1 - _SHARE:
        return False
    # The phase leaves open whether the box stands above its anchor or below: the first and the last row tell.
    above, below = (phase - pitch, phase) if phase > 0 else (phase, phase + pitch)
    height = track.middle("height")
    if common((phase, phase + height), (0.0, anchor.middle("height"))) >= _APART:
        track.offset = phase
        return True
    under = track.tops[-1] > anchor.tops[-1] + _EVEN * pitch
    over = track.tops[0] < anchor.tops[0] - _EVEN * pitch
    if over == under:  # the nearer one
        gap_above = -(above + height)
        gap_below = below - anchor.middle("height")
        under = gap_below < gap_above
    track.offset = below if under else above
    return True


def _panels(members: list[_Track], anchor: _Track) -> list[list[_Track]] | None:
    """Sort the tracks into cards side by side, from the left; each in the order in which it is filled in."""
    anchors = sorted((t for t in members if t.kind == anchor.kind), key=lambda t: t.middle("left"))
    level = [t for t in anchors if common(t.span, anchor.span) > 1 - _APART]
    if len(level) < 2:
        return [_in_order(members)]
    shifts = [t.middle("left") - level[0].middle("left") for t in level]
    panels: list[list[_Track]] = [[] for _ in level]
    first = min(t.middle("left") for t in members)
    for track in members:
        fitting = [k for k, shift in enumerate(shifts) if track.middle("left") - shift >= first - _SAME]
        panels[fitting[-1]].append(track)
    panels = [_in_order(panel) for panel in panels]
    same = all([t.kind for t in panel] == [t.kind for t in panels[0]] for panel in panels)
    return panels if same else None


def _in_order(panel: list[_Track]) -> list[_Track]:
    storeys: list[list[_Track]] = []
    for track in sorted(panel, key=lambda t: t.offset):
        if storeys and any(common(track.span, other.span) >= _APART for other in storeys[-1]):
            storeys[-1].append(track)
        else:
            storeys.append([track])
    return [track for storey in storeys for track in sorted(storey, key=lambda t: t.middle("left"))]


def _put_together(panels: list[list[_Track]], anchor: _Track, pitch: float) -> Lines | None:
    every = [track for panel in panels for track in panel]
    seen: dict[int, list[tuple[_Track, Whole]]] = {}
    for track in every:
        for whole in track.wholes:
            row = round((whole.edges.top - track.offset - anchor.tops[0]) / pitch)
            seen.setdefault(row, []).append((track, whole))
    told = [row for row, found in seen.items() if len(found) >= _TOLD * len(every)]
    if len(told) < _FEWEST:
        return None
    low = min(track.span[0] for track in every)
    high = max(track.span[1] for track in every)
    rows: list[tuple[float, float]] = []
    boxes: list[tuple[Halves, ...]] = []
    for row in range(min(told), max(told) + 1):
        usual = anchor.tops[0] + row * pitch
        found = seen.get(row, [])
        if found:
            usual = float(np.median([whole.edges.top - track.offset for track, whole in found]))
        for panel in panels:
            rows.append((usual + low, usual + high))
            boxes.append(tuple(_box(track, usual, [w for t, w in found if t is track]) for track in panel))
    columns = tuple(_column(track) for track in panels[0])
    return Lines(columns, tuple(rows), tuple(boxes), storeyed=True)


def _column(track: _Track) -> GridColumn:
    kinds = np.mean([whole.cell.kinds[COLUMNS] for whole in track.wholes], axis=0)
    return GridColumn(
        track.middle("left"), track.middle("right"), _divider(track), kinds / max(float(kinds.sum()), 1e-9)
    )


def _divider(track: _Track) -> float | None:
    parted = [
        (whole.cell.edges.right + whole.pence.edges.left) / 2
        for whole in track.wholes
        if whole.pence is not None
    ]
    return float(np.median(parted)) if len(parted) > len(track.wholes) / 2 else None


def _box(track: _Track, row: float, own: Sequence[Whole]) -> Halves:
    """Return a row's box, as it was seen or where the others of its track stand."""
    top, bottom = (row + end for end in track.span)
    edges = own[0].edges if own else Edges(track.middle("left"), top, track.middle("right"), bottom)
    divider = _divider(track)
    if divider is None:
        return edges, None
    return replace(edges, right=divider - 0.5), replace(edges, left=divider + 0.5)


def side_by_side(row: Row) -> list[tuple[Box, ...]]:
    """Return the boxes of a row by storey, from the top; a box that reaches over several stands on each of them."""
    spans = {box: (float(box.rectangle.top), float(box.rectangle.bottom)) for _, box in row.boxes}
    levels: list[tuple[float, float]] = []
    for span in sorted(spans.values(), key=lambda span: span[1] - span[0]):
        if not any(common(span, level) >= _APART for level in levels):
            levels.append(span)
    return [
        tuple(box for box, span in spans.items() if common(span, level) >= _APART) for level in sorted(levels)
    ]
