"""From the finder's maps to one outline per slip: cores parted, grown to their rims, four sides fitted."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet import edge
from formread.sheet import quad as quads
from formread.sheet.finder import Seen
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
_BORDER = 2.0  # places: a side this near to the photo's border is cut by it
_MOST_MISFIT = 0.4  # a neighbour on top of a slip takes less of it

Mask = npt.NDArray[np.bool_]
Sides = tuple[edge.Side, edge.Side, edge.Side, edge.Side]


def outlines(seen: Seen) -> list[tuple[Sides, float]]:
    """Return each slip's four sides, in places of the finder's maps, and how sure the finder is (0 to 1)."""
    slip = seen.slip > _SLIP
    core = ((seen.core > _CORE) & slip).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(core, connectivity=4)
    cores = [labels == i for i in range(1, count) if stats[i, cv2.CC_STAT_AREA] >= _SMALLEST * core.size]
    return [(fit.sides, float(seen.slip[fit.region].mean())) for fit in _parted(cores, slip)]


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
