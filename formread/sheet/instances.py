"""From the finder's maps to one outline per slip: cores parted, grown to their rims, four sides fitted."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet import edge
from formread.sheet import quad as quads
from formread.sheet.finder import Map, Seen
from formread.sheet.record import Points

_CORE = 0.5  # a place is core from this probability on
_SLIP = 0.5
_GROWTH = (
    12  # places of the map that a core may grow to its rim: it begins some three inside it, more when worn
)
_WEAR = (1, 2, 3, 5, 7)  # places worn off a core to part slips that touch
_POOR_FIT = 0.06  # of region and outline together: a lone slip differs less from its four sides
_SMALLEST = 0.006  # of the map's area: of twelve slips in a photo each is larger
_REACH = 0.05  # of the longer side: how far a fitted side may lie from the region's own simplified outline
_MARGIN = 4  # places of bare surroundings added, so that sides along the photo's border can be followed
_BORDER = 1.0  # places: a side this near to the photo's border is cut by it
_NEAR_BORDER = 2.5  # places: of a side that the photo cuts for a part, what is nearer follows the border
_MOST_FREE, _LEAST_FREE = 0.88, 0.25  # of such a side: less border may be a corner's, less edge shows no way
_CUT_PLACES = 65
_MOST_MISFIT = 0.4  # a neighbour on top of a slip takes less of it
_SEAM = (
    0.4  # mean along a line across a region: of one slip no line came above 0.13, between two 0.9 is usual
)
_SEAM_ENDS = 0.12  # of a side: a seam nearer to its corner would leave a strip that is no slip
_SEAM_LEAN = 0.2  # of a side: how far a seam's two ends may be from facing each other
_SEAM_STARTS, _SEAM_PLACES = 48, 64  # lines tried from each side, places looked at along each
_GAPE = 6.0  # places to either side of a seam that two slips may leave bare
_RIM_REACH = np.asarray(
    cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7)), np.uint8
)  # from a core to its rim
_TINTED = 2.2  # hundredths: of one slip no line came above 1, between papers of two colours 7 to 24 are usual
_LEAST_TINTED = 0.5  # at the rims: less is no change at all
_TINT_PLACES = 24
_NEAR_SEAM = (6.0, 9.0)  # pixels of the copy from the line: beyond the blur of the step itself
_BEYOND_BANDS = 0.09  # of the slip: printed bands are no higher
_RIM_WAY = np.array([0.012, 0.018, 0.025])  # of the line: margins that print leaves free
_SHADE_TINTS = 0.5  # of a change of brightness: what a camera's tone curve makes of it in colour
_BLACK = 0.02  # of white: darker pixels have no colour to speak of

Mask = npt.NDArray[np.bool_]
Sides = tuple[edge.Side, edge.Side, edge.Side, edge.Side]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """One slip: its four sides in places of the finder's maps, and how sure the finder is of it (0 to 1).

    ``whole`` are the sides of what it was parted from where that made one good slip, too, the same object for both
    parts: a slip with a coloured panel looks much like two papers side by side.
    """

    sides: Sides
    sure: float
    whole: Sides | None = None


def outlines(seen: Seen, paper: Map) -> list[Outline]:
    """Return the outline of each slip.

    Parameters
    ----------
    paper
        (H, W, 3) float32 Lab copy of the photo, writing painted over: where papers of two colours meet, two slips do.
    """
    slip = seen.slip > _SLIP
    core = ((seen.core > _CORE) & slip).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(core, connectivity=4)
    cores = [labels == i for i in range(1, count) if stats[i, cv2.CC_STAT_AREA] >= _SMALLEST * core.size]
    marks = _marks(seen, paper)
    return [
        Outline(fit.sides, float(seen.slip[fit.region].mean()), None if whole is None else whole.sides)
        for lone in _parted(cores, slip)
        for fit, whole in _cut_along_seams(lone, marks)
    ]


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """A slip's region, its sides, and how far the two differ (0 to 1)."""

    region: Mask
    sides: Sides
    misfit: float


def _parted(cores: list[Mask], slip: Mask) -> list[_Fit]:
    """Fit sides to each core's region; what no four sides fit may be several slips that touch."""
    found = []
    for core, region in zip(cores, _regions(cores, slip), strict=True):
        whole = _fit(region)
        if whole is None or whole.misfit > _POOR_FIT:
            parts = _split(core, region)
            worst = max((part.misfit for part in parts), default=1.0)
            if len(parts) > 1 and (whole is None or worst < whole.misfit):
                found += parts
                continue
        if whole is not None and whole.misfit < _MOST_MISFIT:
            found.append(whole)
    return found


def _split(core: Mask, region: Mask) -> list[_Fit]:
    """Wear the core down until it falls apart, and fit each part; empty where it does not."""
    smallest = _SMALLEST * core.size
    for worn in _WEAR:
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * worn + 1, 2 * worn + 1))
        thin = cv2.erode(core.astype(np.uint8), disc, borderType=cv2.BORDER_CONSTANT, borderValue=0)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(thin, connectivity=4)
        parts = [labels == i for i in range(1, count) if stats[i, cv2.CC_STAT_AREA] >= 0.3 * smallest]
        if len(parts) > 1:
            fits = [_fit(part) for part in _regions(parts, region)]
            if all(fit is not None and fit.misfit < _MOST_MISFIT for fit in fits):
                return [fit for fit in fits if fit is not None]
    return []


def _cut_along_seams(fit: _Fit, marks: "_Marks") -> list[tuple[_Fit, _Fit | None]]:
    """Part slips that lie edge to edge: four sides fit them together as well as they fit one slip.

    With each part comes what two parts alone were together.
    """
    line = _seam(fit.sides, marks)
    if line is None:
        return [(fit, None)]
    start, end = line
    y, x = np.mgrid[: fit.region.shape[0], : fit.region.shape[1]]
    along = end - start
    beside = ((x - start[0]) * along[1] - (y - start[1]) * along[0]) / np.hypot(*along)
    parts = []
    for half in (beside > 0, beside <= 0):
        # Where the seam gapes the line runs through bare table: from each core a slip reaches so far and no further.
        reached = cv2.dilate((half & marks.core).astype(np.uint8), _RIM_REACH) > 0
        region = fit.region & half & (reached | (np.abs(beside) > _GAPE))
        part = _fit(region) if region.sum() >= _SMALLEST * region.size else None
        if part is None or part.misfit > _MOST_MISFIT:
            return [(fit, None)]
        parts.append(part)
    smaller = [_cut_along_seams(part, marks) for part in parts]
    if all(len(found) == 1 for found in smaller):
        return [(part, fit) for part in parts]
    return [one for found in smaller for one in found]


@dataclass(frozen=True, slots=True, eq=False)
class _Marks:
    """Where a seam may show.

    ``rim`` (h, w) float32, 0 to 1, and ``core`` (h, w) bool by the finder. ``tint`` (H, W, 3) float32, the
    paper's colour in a copy of the photo as hundredths of the natural logarithm: green, red over green, blue
    over green, of which shade changes the first alone. ``scale``: pixels of ``tint`` that one place of the
    finder's maps spans, in x and y.
    """

    rim: Map
    core: Mask
    tint: Map
    scale: Points


def _marks(seen: Seen, paper: Map) -> _Marks:
    # A seam shows as rim inside a region, or as a place that is no core; half a place off it still counts.
    rim = cv2.dilate(np.maximum(seen.outline, 1 - seen.core), np.ones((3, 3), np.uint8))
    logs = 100 * np.log(np.maximum(cv2.blur(cv2.cvtColor(paper, cv2.COLOR_LAB2RGB), (5, 5)), _BLACK))
    red, green, blue = cv2.split(logs)
    tint = cv2.merge([green, red - green, blue - green])
    rows, columns = seen.slip.shape
    scale = np.array([paper.shape[1] / columns, paper.shape[0] / rows])
    return _Marks(np.asarray(rim, np.float32), seen.core > _CORE, np.asarray(tint, np.float32), scale)


def _seam(sides: Sides, marks: _Marks) -> tuple[Points, Points] | None:
    """Return the ends of the line from side to opposite side along which a seam shows most, if it does."""
    most, best = 1.0, None
    share = np.linspace(_SEAM_ENDS, 1 - _SEAM_ENDS, _SEAM_STARTS)
    from_, to = np.nonzero(np.abs(share[:, None] - share) < _SEAM_LEAN)
    for one, other in ((0, 2), (1, 3)):
        start, end = sides[one].points(share)[from_], sides[other].points(1 - share)[to]
        beside = sides[one - 1], sides[other - 1]
        depth = float(np.mean([np.hypot(*((side.end - side.start) * marks.scale)) for side in beside]))
        shown = _rim_along(start, end, marks.rim) / _SEAM + _change_across(start, end, depth, marks) / _TINTED
        if shown.max() > most:
            most, chosen = float(shown.max()), int(shown.argmax())
            best = start[chosen], end[chosen]
    return best


def _between(start: Points, end: Points, way: Points) -> Points:
    return start[:, None] * (1 - way[:, None]) + end[:, None] * way[:, None]


def _sampled(image: Map, places: Points) -> Map:
    x, y = places.astype(np.float32).transpose(2, 0, 1)
    return np.asarray(cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _rim_along(start: Points, end: Points, rim: Map) -> Points:
    """Return the mean of the finder's rim along each of (n,) lines."""
    way = np.linspace(_SEAM_ENDS / 2, 1 - _SEAM_ENDS / 2, _SEAM_PLACES)
    return np.asarray(_sampled(rim, _between(start, end, way)).mean(axis=1), np.float64)


def _change_across(start: Points, end: Points, depth: float, marks: _Marks) -> Points:
    """Return by how much the paper's tint changes across each of (n,) lines, in hundredths.

    The change must be there all along the line, up to both rims, where no print reaches, and be no less
    further off: across a printed band the same paper goes on. What shade may have done is taken off.
    """
    begin, stop = (start + 0.5) * marks.scale - 0.5, (end + 0.5) * marks.scale - 0.5

    def step(lines: npt.NDArray[np.int64], way: Points, *offsets: float) -> Map:
        along = stop[lines] - begin[lines]
        across = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
        places = _between(begin[lines], stop[lines], way)
        one, other = (
            sum(_sampled(marks.tint, places + sign * off * across[:, None]) for off in offsets)
            for sign in (1, -1)
        )
        return np.asarray((one - other) / len(offsets), np.float32)

    change = np.zeros(len(start))
    every = np.arange(len(start))
    rims = np.stack([step(every, way, *_NEAR_SEAM).mean(axis=1) for way in (_RIM_WAY, 1 - _RIM_WAY)], axis=1)
    # Most lines end here: one paper from rim to rim.
    kept = every[np.linalg.norm(rims[..., 1:], axis=2).min(axis=1) > _LEAST_TINTED]
    if len(kept) == 0:
        return change
    way = np.linspace(0.04, 0.96, _TINT_PLACES)
    near, far = (
        step(kept, way, *_NEAR_SEAM),
        step(kept, way, max(2.0 * _NEAR_SEAM[-1], _BEYOND_BANDS * depth)),
    )
    usual = np.median(near, axis=1)
    size = np.maximum(np.linalg.norm(usual[:, 1:], axis=1), 1e-6)
    towards = (usual[:, 1:] / size[:, None])[:, None]
    least = np.minimum(
        np.percentile((near[..., 1:] * towards).sum(axis=2), 10, axis=1),
        (rims[kept][..., 1:] * towards).sum(axis=2).min(axis=1),
    )
    goes_on = np.percentile((far[..., 1:] * towards).sum(axis=2), 25, axis=1)
    least = np.where(goes_on >= 0.5 * size, np.minimum(least, 1.3 * goes_on), 0.0)
    change[kept] = np.maximum(least - _SHADE_TINTS * np.abs(usual[:, 0]), 0.0)
    return change


def _regions(cores: list[Mask], slip: Mask) -> list[Mask]:
    """Give each place near a core to the core that reaches it first."""
    if not cores:
        return []
    seeds = np.zeros(slip.shape, np.uint8)
    for number, core in enumerate(cores, 1):
        seeds[core] = number
    cross = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8)
    for _ in range(_GROWTH):
        wide = cv2.dilate(seeds, cross)
        free = (seeds == 0) & slip
        seeds[free] = wide[free]
    return [seeds == number for number in range(1, len(cores) + 1)]


def _fit(region: Mask) -> _Fit | None:
    """Fit four sides, straight or bowed, to a region's rim."""
    m = _MARGIN
    mask = np.pad(region.astype(np.uint8), m)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    contour = max(contours, key=cv2.contourArea)
    points = contour[:, 0].astype(np.float64)
    proposals = quads.around(points)
    box = quads.clockwise(cv2.boxPoints(cv2.minAreaRect(contour)).astype(np.float64))
    proposals.append(box)
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 1.0)
    picture = np.asarray(np.repeat(100 * soft[..., None], 3, axis=2), np.float32)
    best: Sides | None = None
    least = np.inf
    for quad in proposals:
        if not quads.is_sheet_like(quad):
            continue
        size = max(float(np.hypot(*(quad[i] - quad[i - 1]))) for i in range(4))
        sides = edge.to_corners(edge.follow(picture, edge.straight(quad), max(3.0, _REACH * size)))
        outline = np.array([side.start for side in sides])
        if not quads.is_sheet_like(outline):
            continue
        misfit = _misfit(mask, sides)
        if misfit < least:
            best, least = sides, misfit
    return None if best is None else _Fit(region, moved(best, -float(m)), float(least))


def _misfit(mask: npt.NDArray[np.uint8], sides: Sides) -> float:
    """Return the share of region and outline together that only one of them holds."""
    rim = np.concatenate([side.points(np.linspace(0, 1, 12, endpoint=False)) for side in sides])
    filled = np.zeros_like(mask)
    cv2.fillPoly(filled, [np.rint(rim * 16).astype(np.int32)], (1,), shift=4)
    both = int((filled & mask).sum())
    either = int((filled | mask).sum())
    return 1 - both / max(either, 1)


def moved(sides: Sides, by: float) -> Sides:
    """Return the same sides ``by`` pixels further along x and y."""
    top, right, bottom, left = (
        edge.Side(s.start + by, s.end + by, s.curve, s.support, s.contrast) for s in sides
    )
    return top, right, bottom, left


def is_cut(side: edge.Side, width: int, height: int) -> bool:
    """Tell whether a side runs along the border of a map ``width`` by ``height``: the photo cuts the slip."""
    ends: Points = np.array([side.start, side.end])
    for axis, last in ((0, width - 1), (1, height - 1)):
        if (ends[:, axis] < _BORDER).all() or (ends[:, axis] > last - _BORDER).all():
            return True
    return False


def beyond_border(side: edge.Side, width: int, height: int) -> edge.Side:
    """Return a side that runs along the border of a map for a part only as the rest of it goes on, straight.

    There the photo cuts a corner off, and its border is no edge of the paper's.
    """
    share = np.linspace(0, 1, _CUT_PLACES)
    points = side.points(share)
    gaps = np.minimum(points, np.array([width - 1, height - 1]) - points).min(axis=1)
    free = gaps > _NEAR_BORDER
    free[[0, -1]] &= free[[1, -2]]
    if free.mean() > _MOST_FREE or free.mean() < _LEAST_FREE:
        return side
    along = np.polynomial.polynomial.polyfit(share[free], points[free], 1)
    start, end = along[0], along[0] + along[1]
    return edge.Side(start, end, np.zeros_like(side.curve), side.support, side.contrast)
