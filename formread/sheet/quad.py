"""Four-sided outlines: plain plane geometry, no pixels.

A quad is a (4, 2) float64 array of corners (x, y), clockwise as seen in the image (y points down).
"""

from itertools import combinations

import cv2
import numpy as np

from formread.sheet.record import Points

_HULL_TOLERANCE = 0.012  # share of the outline's length; below it a bend is pixel noise, not a corner
_MOST_EDGES = 9  # more edges than this are a blob, not a sheet with a bent or missing corner
_SHARPEST = np.deg2rad(40)  # corners of a sheet seen even very steeply stay above this


def area(quad: Points) -> float:
    """Return the area of a polygon in square pixels; negative when it runs anticlockwise."""
    x, y = quad[:, 0], quad[:, 1]
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


def clockwise(quad: Points) -> Points:
    """Return the same quad running clockwise, beginning at the corner nearest to the image's top left."""
    centre = quad.mean(axis=0)
    angles = np.arctan2(quad[:, 1] - centre[1], quad[:, 0] - centre[0])
    ordered = quad[np.argsort(angles, kind="stable")]
    return np.roll(ordered, -int(np.argmin(ordered.sum(axis=1))), axis=0)


def corner_angles(quad: Points) -> Points:
    """Return the four inner angles in radians."""
    before = np.roll(quad, 1, axis=0) - quad
    after = np.roll(quad, -1, axis=0) - quad
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.abs(np.arctan2(cross, (before * after).sum(axis=1))))


def is_sheet_like(quad: Points) -> bool:
    """Tell whether a quad can be a rectangle seen by a camera: convex, no needle corners."""
    edges = np.roll(quad, -1, axis=0) - quad
    after = np.roll(edges, -1, axis=0)
    turn = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    return bool(np.all(turn > 0) and corner_angles(quad).min() > _SHARPEST)


def overlap(one: Points, other: Points) -> float:
    """Return the area that two convex quads share, in square pixels."""
    shared, _ = cv2.intersectConvexConvex(one.astype(np.float32), other.astype(np.float32))
    return float(shared)


def jaccard(one: Points, other: Points) -> float:
    """Return intersection over union of two convex quads, the measure of SmartDoc 2015 [1]_.

    References
    ----------
    .. [1] J.-C. Burie et al., "ICDAR2015 competition on smartphone document capture and OCR (SmartDoc)",
       ICDAR 2015.
    """
    shared = overlap(one, other)
    union = abs(area(one)) + abs(area(other)) - shared
    return shared / union if union > 0 else 0.0


def meet(p: Points, u: Points, q: Points, v: Points) -> Points | None:
    """Return where the line through ``p`` along ``u`` meets that through ``q`` along ``v``, if anywhere."""
    cross = u[0] * v[1] - u[1] * v[0]
    if abs(cross) < 1e-9 * max(float(np.hypot(*u) * np.hypot(*v)), 1e-12):
        return None
    step = ((q[0] - p[0]) * v[1] - (q[1] - p[1]) * v[0]) / cross
    return np.asarray(p + step * u, np.float64)


def around(contour: Points) -> list[Points]:
    """Return the quads that a region's outline suggests, likeliest first.

    Parameters
    ----------
    contour
        (N, 2) outline of a connected region.

    Notes
    -----
    A sheet's region may lack a corner (cut, folded, under a thumb), so besides the four-cornered
    simplification the smallest quad is tried whose sides run along four edges of the convex hull.
    """
    hull = cv2.convexHull(contour.astype(np.float32))
    length = cv2.arcLength(hull, True)
    found: list[Points] = []
    for tolerance in (0.02, 0.05):
        simple = cv2.approxPolyDP(hull, tolerance * length, True)[:, 0].astype(np.float64)
        if len(simple) == 4:
            found.append(clockwise(simple))
            break
    polygon = cv2.approxPolyDP(hull, _HULL_TOLERANCE * length, True)[:, 0].astype(np.float64)
    if 4 < len(polygon) <= _MOST_EDGES:
        smallest = _smallest_around(polygon)
        if smallest is not None:
            found.append(smallest)
    return [quad for quad in found if is_sheet_like(quad)]


def _smallest_around(polygon: Points) -> Points | None:
    """Return the smallest quad along four edges of a convex polygon that holds the polygon."""
    edges = np.roll(polygon, -1, axis=0) - polygon
    best, smallest = None, np.inf
    for chosen in combinations(range(len(polygon)), 4):
        corners = []
        for one, other in zip(chosen, chosen[1:] + chosen[:1], strict=True):
            corner = meet(polygon[one], edges[one], polygon[other], edges[other])
            if corner is None:
                break
            corners.append(corner)
        if len(corners) < 4:
            continue
        quad = clockwise(np.array(corners))
        size = area(quad)
        if size < smallest and is_sheet_like(quad) and _holds(quad, polygon):
            best, smallest = quad, size
    return best


def _holds(quad: Points, points: Points) -> bool:
    reach = np.sqrt(area(quad))
    for corner, edge in zip(quad, np.roll(quad, -1, axis=0) - quad, strict=True):
        side = edge[0] * (points[:, 1] - corner[1]) - edge[1] * (points[:, 0] - corner[0])
        if (side < -0.01 * reach * np.hypot(*edge)).any():
            return False
    return True
