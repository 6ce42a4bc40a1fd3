"""Pen strokes from bitmaps: the skeleton of a written glyph, walked from end to end."""

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d
from skimage.morphology import skeletonize

_SPUR = 3  # skeleton branches shorter than this many pixels with a loose end are whiskers, not strokes
_SMOOTH = 1.5  # pixels; takes the staircase out of a walked skeleton without rounding a corner away


def _neighbours(pixel: tuple[int, int], alive: set[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the skeleton pixels beside `pixel`; a diagonal one only where no straight step leads there."""
    y, x = pixel
    straight = [q for q in ((y - 1, x), (y + 1, x), (y, x - 1), (y, x + 1)) if q in alive]
    diagonal = [
        (y + dy, x + dx)
        for dy in (-1, 1)
        for dx in (-1, 1)
        if (y + dy, x + dx) in alive and (y + dy, x) not in alive and (y, x + dx) not in alive
    ]
    return straight + diagonal


def trace(ink: npt.NDArray[np.bool_]) -> list[npt.NDArray[np.float32]]:
    """Return the strokes of a glyph, ``(N, 2)`` arrays of x, y in pixels, y downwards.

    Parameters
    ----------
    ink
        ``(H, W)``, True where there is ink.
    """
    skeleton = skeletonize(ink)
    alive = {(int(y), int(x)) for y, x in zip(*np.nonzero(skeleton), strict=True)}
    if not alive:
        return []
    links = {p: _neighbours(p, alive) for p in alive}
    nodes = [p for p, q in links.items() if len(q) != 2]
    used: set[tuple[tuple[int, int], tuple[int, int]]] = set()
    paths: list[list[tuple[int, int]]] = []

    def walk(start: tuple[int, int], step: tuple[int, int]) -> list[tuple[int, int]]:
        path = [start, step]
        used.add((start, step))
        used.add((step, start))
        while len(links[path[-1]]) == 2 and path[-1] != start:
            following = next((q for q in links[path[-1]] if q != path[-2]), None)
            if following is None or (path[-1], following) in used:
                break
            used.add((path[-1], following))
            used.add((following, path[-1]))
            path.append(following)
        return path

    for node in nodes:
        if not links[node]:
            paths.append([node])
        for step in links[node]:
            if (node, step) not in used:
                paths.append(walk(node, step))
    touched = {p for path in paths for p in path}
    for p in sorted(alive - touched):  # closed loops have no node to start from
        if p not in touched:
            path = walk(p, links[p][0])
            touched.update(path)
            paths.append(path)
    strokes = []
    for path in paths:
        loose = (len(links[path[0]]) == 1) + (len(links[path[-1]]) == 1)
        if len(paths) > 1 and loose == 1 and len(path) <= _SPUR:
            continue
        points = np.array(path, np.float32)[:, ::-1]
        if len(points) > 4:
            smooth = gaussian_filter1d(points, _SMOOTH, axis=0, mode="nearest")
            smooth[0], smooth[-1] = points[0], points[-1]
            points = smooth[np.unique(np.r_[0 : len(points) : 2, len(points) - 1])]
        strokes.append(points.astype(np.float32))
    return strokes
