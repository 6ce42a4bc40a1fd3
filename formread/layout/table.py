"""From what the network saw to rows, columns and totals: boxes are gathered into one even grid.

Each box that the network saw stands for itself; the boxes of one column share their sides and those of one row
their upper and lower edges. What writing hides in one box its neighbours tell, so the table is put together from
what most of them say: a box that was not seen is where its row and its column cross.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.boxes import COLUMNS, CORE_MARGIN, TOTALS, Map, Seen
from formread.layout.cells import (
    CORE_FULL,
    HALF_GAP,
    LEAST_SIDE,
    LOWEST_STEP,
    NEAR,
    Cell,
    Whole,
    beside,
    common,
    cost_of_change,
    find_cells,
    is_divided,
    likeliest,
    stretches_of,
    wholes_of,
)
from formread.layout.grid import Edges, Grid, GridColumn, GridTotal
from formread.layout.storeys import Lines, storeyed

_SAME = 5.0  # places by which sides of boxes in one column, or edges in one row, differ
_SAME_SHARE = 0.4  # and of a row's height
_LOW, _HIGH = 0.6, 1.6  # times the usual height that boxes of rows are high
_FULL = 0.75  # quantile of the rows' boxes' widths together that stands for a whole row
_ROW_SHARE = 0.34  # of a whole row, in which a row's boxes are seen
_OVERLAP = 0.35  # of the lower of two rows, that makes them rivals
_LOOK_BACK = 12  # groups that boxes sorted from the top may still belong to
_EVEN = 0.22  # of the pitch by which a gap between rows may miss whole rows
_MOST_MISSING = 3  # rows in one gap that may be filled in
_COVERED = 0.65  # of a row's places that are seen as the table's, for the row to be one
_BORDER = 2  # places at a row's edges that its neighbours show in
_LEAST_COVERED = 0.25  # likewise, where rows above and below leave room for just one
_UNEVEN = 0.3  # share of the usual height by which rows between lines may differ
# Shares of a full core: less parts two rows, at whichever level it parts the most of them evenly.
_DIPS = (0.5, 0.65, 0.8, 0.88)
_LINE = 2.0  # places between two rows, about
_FAINT_DIP = 0.015  # of a full core, that a line between rows parts at least
_HIT = 0.16  # of the pitch by which a dip may miss the line of even rows
_LINES_SEEN, _DIPS_TOLD = 0.85, 0.85  # share of the lines that dips mark, and of the dips that lines explain
_MOST_ROWS = 60
_HALF_SEEN = 0.5  # share of the rows in which a column's boxes need to be seen
_CHANGE = 25.0  # nats that a change of kind costs inside a box: some places of plain evidence on either side
_NARROWEST = 5  # places; nobody writes into a narrower column
_WRITABLE = 24  # places of each part of a run of one kind
_EDGE = 4  # places at the ends of a run where its cores end anyway
_UNPARTED = 0.6  # of the cores beside it: with more between two columns nothing is ruled there
_PARTED = 0.3  # of a full core: less parts two boxes
_LOWEST_TOTAL, _NARROWEST_TOTAL = 0.5, 1.2  # row heights
_ON = 0.3  # share of a box that lies on another, if it is none of its own
_FEWEST_IN_PANEL = 2  # columns
_IN_PANEL = 0.5  # mean probability of its places from which on a line is one of a panel's
_ALIKE_IN_PANELS = 1.25  # times as wide one column may be in one panel as in another
_EQUAL, _TELLING = (
    1.08,
    4,
)  # times as wide, for so many columns in a panel to be the same by their widths alone
_VARIED = 1.5  # times as wide as the narrowest the widest of them is then at least
_HALF_WIDTH = 0.8  # of the box for the pounds, at most
_HALF_ALIKE = (
    0.6  # share of what two parts of the totals look like that is the same, if they are pounds and pence
)

_Line = tuple[tuple[float, float], tuple[tuple[Edges, Edges | None], ...]]
"""Where a row of the table begins and ends, and its boxes."""


def find_grid(seen: Seen) -> Grid | None:
    """Put the boxes together; None where no row of a table is seen."""
    cells, slope, lean, centre = find_cells(seen)
    straight = _straightened(seen, slope, lean, centre)
    inner = [cell for cell in cells if cell.column >= cell.total]
    rows = _rows(inner, straight)
    if not rows:
        return None
    columns, looks = _columns(straight, rows)
    if not columns:
        return None
    ways = (
        _even_rows(straight, rows, columns),
        _between_lines(straight, rows, columns),
        _extended(straight, rows, columns),
    )
    told = max(ways, key=len)
    if not _apart(told):
        told = max((way for way in ways if _apart(way) and len(way) >= len(rows)), key=len, default=told)
    if len(told) > len(rows) or (len(told) == len(rows) and _apart(told) and not _apart(rows)):
        columns, looks = _columns(straight, told)
        rows = told
    if not columns:
        return None
    wholes = wholes_of(inner)
    found = storeyed(wholes)
    if found is None:
        boxes = _boxes(wholes, rows, columns)
        panels = _panels(columns)
        each = len(columns) // panels
        lines = [
            line
            for k in range(panels)
            for line in _as_far_as_seen(
                straight,
                [(row, its[k * each : (k + 1) * each]) for row, its in zip(rows, boxes, strict=True)],
                panels,
            )
        ]
        found = Lines(
            tuple(_looking_as(columns[k::each]) for k in range(each)),
            tuple(row for row, _ in lines),
            tuple(line for _, line in lines),
        )
    totals = _totals(
        [cell for cell in cells if cell.column < cell.total],
        float(np.median([box.height for line in found.boxes for box, _ in line])),
        halves=any(column.pence is not None for column in found.columns),
    )
    return Grid(
        found.columns, found.rows, found.boxes, tuple(totals), slope, lean, centre, looks, found.storeyed
    )


def _straightened(seen: Seen, slope: float, lean: float, centre: tuple[float, float]) -> Seen:
    """Return the maps with slope and lean taken out: place (u, v) shows what :meth:`Grid.point` leads to."""
    matrix = np.array([[1.0, lean, -lean * centre[1]], [slope, 1.0, -slope * centre[0]]], np.float64)
    height, width = seen.core.shape
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP

    def straight(one: Map) -> Map:
        return np.asarray(
            cv2.warpAffine(one, matrix, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE),
            np.float32,
        )

    kinds = np.stack([straight(one) for one in seen.kinds])
    return Seen(kinds, straight(seen.core), straight(seen.pence), seen.scale)


def _looking_as(columns: Sequence[GridColumn]) -> GridColumn:
    """Return the first of the same column in all panels, with what it looks like in all of them."""
    return replace(columns[0], kinds=np.mean([column.kinds for column in columns], axis=0))


def _panels(columns: Sequence[GridColumn]) -> int:
    """Return how often the same columns come again from left to right: the rows go on in the next panel.

    Columns that look alike may differ a little in width; so many that are equally wide are the same ones whatever
    they look like.
    """
    looks = [int(np.argmax(column.kinds)) for column in columns]
    for panels in (2, 3):
        each, rest = divmod(len(columns), panels)
        if rest or each < _FEWEST_IN_PANEL:
            continue
        parts = [columns[k * each : (k + 1) * each] for k in range(panels)]
        widths = [[c.right - c.left for c in part] for part in parts]
        alike = all(looks[k] == looks[k % each] for k in range(len(looks)))
        widths_of = list(zip(*widths, strict=True))
        uneven = max(max(w) / min(w) for w in widths_of)
        told = each >= _TELLING and max(w[0] for w in widths_of) > _VARIED * min(w[0] for w in widths_of)
        if uneven <= (_ALIKE_IN_PANELS if alike else _EQUAL if told else 0.0):
            return panels
    return 1


def _as_far_as_seen(straight: Seen, lines: Sequence[_Line], panels: int) -> Sequence[_Line]:
    """Return the lines of a panel without those at its foot that are none there: another panel has more."""
    if panels == 1:
        return lines
    table = straight.kinds[COLUMNS].sum(axis=0)
    end = len(lines)
    while end > 1:
        shares = [
            float(
                table[round(b.top) : max(round(b.bottom), 1), round(b.left) : max(round(b.right), 1)].mean()
            )
            for b, _ in lines[end - 1][1]
        ]
        if np.mean(shares) >= _IN_PANEL:
            break
        end -= 1
    return lines[:end]


def _parted_in_halves(wholes: Sequence[Whole]) -> list[Whole]:
    """Join boxes of the totals that touch, a wide one and a narrow one that look alike: pounds and pence.

    For forms whose columns of money are parted so, too: elsewhere they are two boxes.
    """
    result = sorted(wholes, key=lambda whole: whole.edges.left)
    for whole in list(result):
        half = next(
            (
                other
                for other in result
                if whole in result
                and whole.pence is None
                and other.pence is None
                and beside(whole.edges, other.edges)
                and other.edges.width < _HALF_WIDTH * whole.edges.width
                and _alike(whole.cell, other.cell) > _HALF_ALIKE
            ),
            None,
        )
        if half is not None:
            result.remove(half)
            result[result.index(whole)] = Whole(whole.cell, half.cell)
    return result


def _alike(a: Cell, b: Cell) -> float:
    """Share of what two boxes of the totals look like that is the same."""
    looks = [cell.kinds[TOTALS] / max(float(cell.kinds[TOTALS].sum()), 1e-9) for cell in (a, b)]
    return float(np.minimum(*looks).sum())


def _rows(cells: Sequence[Cell], seen: Seen) -> list[tuple[float, float]]:
    """Return upper and lower edge of each row: where boxes across enough of the table begin and end alike."""
    if not cells:
        return []
    weights = np.array([cell.edges.width for cell in cells])
    heights = np.array([cell.edges.height for cell in cells])
    order = np.argsort(heights)
    usual = float(heights[order][np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)])
    fit = [
        (cell.edges.top, cell.edges.bottom, cell.edges.width)
        for cell in cells
        if _LOW * usual <= cell.edges.height <= _HIGH * usual
    ]
    groups = _gathered(fit, min(_SAME, _SAME_SHARE * usual))
    most = float(np.quantile([sum(m[2] for m in group) for group in groups], _FULL))
    kept: list[list[tuple[float, float, float]]] = []
    for group in sorted(groups, key=lambda g: (-sum(m[2] for m in g), g[0])):
        if sum(m[2] for m in group) < _ROW_SHARE * most:
            continue
        if all(common(_middle(group), _middle(other)) < _OVERLAP for other in kept):
            kept.append(group)
    rows = sorted(_middle(group) for group in kept)
    across = slice(
        max(round(min(cell.edges.left for cell in cells)), 0),
        max(round(max(cell.edges.right for cell in cells)), 1),
    )
    table = seen.kinds[COLUMNS, :, across].sum(axis=0).mean(axis=1)
    return _filled(rows, table)


def _apart(rows: Sequence[tuple[float, float]]) -> bool:
    """Say whether no row runs far into the next: where two were seen as one, what is filled in beside it does."""
    return all(common(row, following) < _OVERLAP for row, following in pairwise(rows))


def _gathered(
    stretches: Sequence[tuple[float, float, float]], near: float
) -> list[list[tuple[float, float, float]]]:
    """Gather stretches (start, end, weight) that begin and end alike."""
    groups: list[list[tuple[float, float, float]]] = []
    for one in sorted(stretches):
        best, least = None, near
        for group in groups[-_LOOK_BACK:]:
            start, end = _middle(group)
            away = max(abs(start - one[0]), abs(end - one[1]))
            if away < least:
                best, least = group, away
        if best is None:
            groups.append([one])
        else:
            best.append(one)
    return groups


def _middle(stretches: Sequence[tuple[float, float, float]]) -> tuple[float, float]:
    return float(np.median([s[0] for s in stretches])), float(np.median([s[1] for s in stretches]))


def _filled(rows: list[tuple[float, float]], table: npt.NDArray[np.floating]) -> list[tuple[float, float]]:
    """Fill whole rows in where even rows leave room for just so many, and bands with a word on them don't stand there.

    `table`: how much of each line of places is seen as the table's.
    """
    if len(rows) < 3:
        return rows
    pitch = float(np.median(np.diff([top for top, _ in rows])))
    filled = rows[:1]
    for row in rows[1:]:
        gap = row[0] - filled[-1][0]
        missing = round(gap / pitch) - 1
        if 1 <= missing <= _MOST_MISSING and abs(gap - (missing + 1) * pitch) <= _EVEN * pitch * (
            missing + 1
        ):
            before = filled[-1]
            for k in range(1, missing + 1):
                step = gap * k / (missing + 1)
                top, bottom = before[0] + step, before[1] + step
                inner = table[max(round(top) + _BORDER, 0) : max(round(bottom) - _BORDER, 1)]
                if inner.size and float(inner.mean()) > _LEAST_COVERED:
                    filled.append((top, bottom))
        filled.append(row)
    return filled


def _between_lines(
    seen: Seen, rows: Sequence[tuple[float, float]], columns: Sequence[GridColumn]
) -> list[tuple[float, float]]:
    """Return the rows as the one column tells them whose cores are parted most evenly from the table's top to its end.

    Guide lines are often drawn in some columns only; in the others the boxes of all rows run together.
    """
    left, right = max(round(columns[0].left), 0), max(round(columns[-1].right), 1)
    start, end = _table(seen, rows, left, right)
    best: list[tuple[float, float]] = []
    if end - start < _NARROWEST:
        return best
    # Each column by itself, then all together: faint dips show better in the mean.
    for a, b in [(round(c.left) + _EDGE, round(c.right) - _EDGE) for c in columns] + [(left, right)]:
        if b - a < _NARROWEST:
            continue
        core = seen.core[start:end, a:b].mean(axis=1)
        for level in _DIPS:
            inside = core > level * float(core.max())
            found = [(start + float(t), start + float(u)) for t, u in stretches_of(inside)]
            heights = np.array([u - t for t, u in found])
            usual = float(np.median(heights)) if found else 0.0
            even = np.abs(heights - usual) <= _UNEVEN * usual
            if even.all() and usual >= LEAST_SIDE and len(found) > len(best):
                best = [(t - CORE_MARGIN - 0.5, u + CORE_MARGIN - 0.5) for t, u in found]
    return best


def _table(seen: Seen, rows: Sequence[tuple[float, float]], left: int, right: int) -> tuple[int, int]:
    """Return where the table that holds the first row begins and ends."""
    table = seen.kinds[COLUMNS, :, left:right].sum(axis=0).mean(axis=1) > _COVERED
    start = end = round((rows[0][0] + rows[0][1]) / 2)
    if not 0 <= start < len(table):
        return 0, 0
    while start > 0 and table[start - 1]:
        start -= 1
    while end < len(table) and table[end]:
        end += 1
    return start, end


def _even_rows(
    seen: Seen, rows: Sequence[tuple[float, float]], columns: Sequence[GridColumn]
) -> list[tuple[float, float]]:
    """Return as many even rows between the table's top and end as faint dips of its cores tell of; none if they don't."""
    left, right = max(round(columns[0].left), 0), max(round(columns[-1].right), 1)
    start, end = _table(seen, rows, left, right)
    if end - start < _NARROWEST:
        return []
    core = seen.core[start:end, left:right].mean(axis=1)
    at, depth = _dips(core / max(float(core.max()), 1e-6))
    best: list[tuple[float, float]] = []
    most = 0.0
    for count in range(2, min(_MOST_ROWS, (end - start) // LOWEST_STEP) + 1):
        pitch = (end - start) / count
        off = np.abs(at / pitch - np.round(at / pitch))
        hit = (off <= _HIT) & (np.round(at / pitch) > 0) & (np.round(at / pitch) < count)
        lines = len(set(np.round(at[hit] / pitch).astype(int).tolist())) / (count - 1)
        told = float(depth[hit].sum() / max(float(depth.sum()), 1e-9))
        if lines >= _LINES_SEEN and told >= _DIPS_TOLD and lines * told > most:
            most = lines * told
            edges = start + pitch * np.arange(count + 1)
            best = [(float(a) + _LINE / 2, float(b) - _LINE / 2) for a, b in pairwise(edges)]
    return best


def _dips(core: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return where a profile dips, not at its ends, and how deep below what is highest on either side till the next."""
    inner = np.flatnonzero((core[1:-1] <= core[:-2]) & (core[1:-1] < core[2:])) + 1
    bounds = [0, *((inner[:-1] + inner[1:]) // 2).tolist(), len(core)] if len(inner) else []
    depths = np.array(
        [
            min(core[a : x + 1].max(), core[x:b].max()) - core[x]
            for x, (a, b) in zip(inner, pairwise(bounds), strict=True)
        ]
    )
    deep = depths > _FAINT_DIP if len(inner) else np.zeros(0, bool)
    return inner[deep].astype(float), depths[deep] if len(inner) else np.zeros(0)


def _extended(
    seen: Seen, rows: list[tuple[float, float]], columns: Sequence[GridColumn]
) -> list[tuple[float, float]]:
    """Let even rows go on up and down as far as the table does: faint lines part no boxes."""
    tops = [top for top, _ in rows]
    height = float(np.median([bottom - top for top, bottom in rows]))
    pitch = float(np.median(np.diff(tops))) if len(rows) > 1 else height + _LINE
    left, right = max(round(columns[0].left), 0), max(round(columns[-1].right), 1)
    table = seen.kinds[COLUMNS, :, left:right].sum(axis=0).mean(axis=1)

    def covered(top: float) -> bool:
        a, b = round(top + 1), round(top + height - 1)
        return a >= 0 and b < len(table) and float(table[a:b].mean()) > _COVERED

    result = list(rows)
    while covered(result[-1][0] + pitch) and len(result) < _MOST_ROWS:
        result.append((result[-1][0] + pitch, result[-1][0] + pitch + height))
    while covered(result[0][0] - pitch) and len(result) < _MOST_ROWS:
        result.insert(0, (result[0][0] - pitch, result[0][0] - pitch + height))
    return result


def _columns(
    seen: Seen, rows: Sequence[tuple[float, float]]
) -> tuple[list[GridColumn], npt.NDArray[np.float64]]:
    """Part the table into columns, and return what the kinds are along it.

    The most probable sequence of kinds from left to right, all rows taken together (Viterbi 1967).

    A change of kind costs less where cores end, so that edges stand where boxes do; where nothing is ruled between
    two columns, they part where their kinds do.
    """
    bands = [(round(top) + 1, max(round(bottom), round(top) + 2)) for top, bottom in rows]
    height = seen.core.shape[0]
    bands = [(max(a, 0), min(b, height)) for a, b in bands if b > 0 and a < height]
    kinds = np.mean([seen.kinds[:, a:b].mean(axis=1) for a, b in bands], axis=0)
    core = np.mean([seen.core[a:b].mean(axis=0) for a, b in bands], axis=0)
    pence = np.mean([seen.pence[a:b].mean(axis=0) for a, b in bands], axis=0)
    own = kinds[COLUMNS]
    # Writing hides boxes of some rows, nothing shows boxes where there are none: half of the rows are enough.
    outside = np.maximum(1.0 - own.sum(axis=0) / _HALF_SEEN, 0.0)
    # States: outside; each kind; each kind's half for the pence, which begins only where its pounds end.
    n = own.shape[0]
    chances = np.concatenate([outside[None], own * (1 - pence), own * pence])
    after = np.concatenate([np.full(n + 1, -1), np.arange(1, n + 1)])
    path = likeliest(chances, cost_of_change(core, _CHANGE), after)
    return _runs(path, kinds, core, n), own


def _runs(
    path: npt.NDArray[np.intp], kinds: npt.NDArray[np.float64], core: npt.NDArray[np.float64], n: int
) -> list[GridColumn]:
    """Turn the states along the table into columns; where cores part a run of one kind it is several columns."""
    edges = np.flatnonzero(np.diff(path)) + 1
    result: list[GridColumn] = []
    for start, end in zip([0, *edges], [*edges, len(path)], strict=True):
        state = int(path[start])
        if state == 0 or end - start < _NARROWEST:
            continue
        if state > n and result and abs(result[-1].right - start) <= HALF_GAP:
            divider = _dip(core, start) if is_divided(core, start) else None
            result[-1] = replace(result[-1], pence=divider, right=float(end))
            continue
        cuts = [start, *_parted(core, start, end), end]
        for a, b in pairwise(cuts):
            looks = kinds[COLUMNS, a:b].mean(axis=1)
            near = core[max(a - NEAR, 0) : a + NEAR + 1]
            unparted = (
                bool(result) and result[-1].right == a and float(near.min()) > _UNPARTED * float(near.max())
            )
            result.append(
                GridColumn(float(a), float(b), None, looks / max(float(looks.sum()), 1e-9), unparted)
            )
    return [
        replace(column, left=_outer(core, column.left, -1), right=_outer(core, column.right, 1))
        for column in result
    ]


def _dip(core: npt.NDArray[np.float64], x: int) -> float:
    """Return where the cores have the least near a change of kind."""
    low, high = max(x - NEAR, 0), min(x + NEAR + 1, len(core))
    part = core[low:high]
    least = float(part.min())
    if least > CORE_FULL * 0.8:
        return float(x)
    return float(np.mean(low + np.flatnonzero(part <= least + 0.02))) + 0.5


def _outer(core: npt.NDArray[np.float64], x: float, way: int) -> float:
    """Return a column's side near `x`: a margin beyond where its cores end, or `x` where none end."""
    low, high = max(int(x) - NEAR, 0), min(int(x) + NEAR + 1, len(core))
    part = core[low:high]
    level = 0.5 * float(part.max())
    if float(part.min()) > level or level < 0.25 * CORE_FULL:
        return x
    dip = low + int(np.argmin(part))
    own = np.flatnonzero(part > level) + low
    own = own[own > dip] if way < 0 else own[own < dip]
    if not len(own):
        return x
    return float(own[0]) - CORE_MARGIN if way < 0 else float(own[-1]) + 1 + CORE_MARGIN


def _parted(core: npt.NDArray[np.float64], start: int, end: int) -> list[int]:
    """Return where cores part one run of a kind into several boxes; narrow cells are a comb, one box for its digits."""
    low = core[start:end] < _PARTED * CORE_FULL
    cuts = [start + (a + b) // 2 for a, b in stretches_of(low)]
    cuts = [cut for cut in cuts if start + _EDGE < cut < end - _EDGE]
    narrow = any(b - a < _WRITABLE for a, b in pairwise([start, *cuts, end]))
    return [] if narrow else cuts


def _boxes(
    wholes: Sequence[Whole], rows: Sequence[tuple[float, float]], columns: Sequence[GridColumn]
) -> tuple[tuple[tuple[Edges, Edges | None], ...], ...]:
    """Return the box of every row and column, as it was seen where that fits the grid."""
    result = []
    for top, bottom in rows:
        line: list[tuple[Edges, Edges | None]] = []
        for column in columns:
            grid = Edges(column.left, top, column.right, bottom)
            own = next((w for w in wholes if _same(w.edges, grid)), None)
            edges = grid if own is None else own.edges
            if column.pence is None:
                line.append((edges, None))
                continue
            divider = column.pence
            if own is not None and own.pence is not None:
                divider = (own.cell.edges.right + own.pence.edges.left) / 2
            line.append((replace(edges, right=divider - 0.5), replace(edges, left=divider + 0.5)))
        result.append(tuple(line))
    return tuple(result)


def _same(a: Edges, b: Edges) -> bool:
    return (
        abs(a.left - b.left) <= _SAME
        and abs(a.right - b.right) <= _SAME
        and abs(a.top - b.top) <= _SAME / 2
        and abs(a.bottom - b.bottom) <= _SAME / 2
    )


def _totals(cells: Sequence[Cell], high: float, *, halves: bool) -> list[GridTotal]:
    """Return the boxes of the totals in the order in which people read them.

    `high` is the usual height of a row: what is much lower or narrower nobody writes an amount into. `halves`: the
    table has columns with a half for the pence.
    """
    result: list[GridTotal] = []
    whole_boxes = wholes_of(cells)
    wholes = [
        w
        for w in (_parted_in_halves(whole_boxes) if halves else whole_boxes)
        if w.edges.height >= _LOWEST_TOTAL * high and w.edges.width >= _NARROWEST_TOTAL * high
    ]
    for whole in sorted(wholes, key=lambda w: -w.edges.width * w.edges.height):
        if any(_on(whole.edges, other) for other in result):
            continue  # a speck of another kind in a box
        parts = [whole.cell] if whole.pence is None else [whole.cell, whole.pence]
        kinds = np.mean([part.kinds[TOTALS] for part in parts], axis=0)
        result.append(
            GridTotal(
                whole.cell.edges,
                None if whole.pence is None else whole.pence.edges,
                kinds / max(float(kinds.sum()), 1e-9),
                float(kinds.sum()),
            )
        )
    return _reading_order(result)


def _on(small: Edges, large: GridTotal) -> bool:
    """Say whether a box lies for a good part on another."""
    right = large.box.right if large.pence is None else large.pence.right
    wide = min(small.right, right) - max(small.left, large.box.left)
    high = min(small.bottom, large.box.bottom) - max(small.top, large.box.top)
    return wide > 0 and high > 0 and wide * high > _ON * small.width * small.height


def _reading_order(totals: list[GridTotal]) -> list[GridTotal]:
    """Sort from the top, boxes of one bar from the left."""
    rest = sorted(totals, key=lambda t: (t.box.top + t.box.bottom, t.box.left))
    result: list[GridTotal] = []
    while rest:
        first = rest[0]
        bar = [t for t in rest if common((t.box.top, t.box.bottom), (first.box.top, first.box.bottom)) > 0.5]
        result += sorted(bar, key=lambda t: t.box.left)
        rest = [t for t in rest if t not in bar]
    return result
