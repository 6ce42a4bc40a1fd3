"""Pen strokes: real digits turned into lines, signs of our own, and the marks a pen leaves.

A *glyph* is a list of strokes; a stroke is an (N, 2) float array of points (x, y). The unit is the height of
a digit: the writing line is y = 0 and the top of a digit is y = -1 (y runs downwards, as in pictures).
"""

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]
Glyph = list[Points]
Mask = npt.NDArray[np.uint8]

TRACE_ZOOM = 6
"""The 28-pixel pictures are enlarged this many times before thinning, so that the thinned line is smooth."""
SHORTEST_SPUR = 9
"""A dead end of the thinned line shorter than this (enlarged pixels) is an artefact of thinning, not ink."""
DIGIT_PIXELS = 20.0
"""MNIST digits are scaled to fit a box of 20 pixels (LeCun, Cortes, Burges 1998)."""


def trace(picture: npt.NDArray[np.uint8]) -> Glyph:
    """Turn one (28, 28) MNIST picture (ink bright) into strokes along the middle of its ink.

    Returns an empty list for a picture in which no line is left.
    """
    from skimage.morphology import skeletonize

    side = picture.shape[0] * TRACE_ZOOM
    big = cv2.resize(picture, (side, side), interpolation=cv2.INTER_CUBIC)
    big = cv2.GaussianBlur(big, (0, 0), 0.25 * TRACE_ZOOM)
    ink = big > 125
    if not ink.any():
        return []
    thin: npt.NDArray[np.bool_] = skeletonize(ink)  # type: ignore[no-untyped-call]
    paths = _walk(thin)
    bottom = np.nonzero(picture.max(axis=1) > 60)[0][-1] + 1
    left = np.nonzero(picture.max(axis=0) > 60)[0][0]
    glyph = []
    for path in paths:
        points = _smooth(path.astype(np.float64), 3.0)[:: TRACE_ZOOM // 2]
        points = np.vstack([points, path[-1:]]) if len(path) > 1 else points
        unit = points / TRACE_ZOOM
        glyph.append(np.column_stack([unit[:, 0] - left, unit[:, 1] - bottom]) / DIGIT_PIXELS)
    return glyph


def _walk(skeleton: npt.NDArray[np.bool_]) -> list[npt.NDArray[np.int64]]:
    """Follow a one-pixel-wide line from node to node; every branch becomes one path of (x, y)."""
    pixels = {(int(x), int(y)) for y, x in np.argwhere(skeleton)}

    def around(pixel: tuple[int, int]) -> list[tuple[int, int]]:
        x, y = pixel
        straight = [p for p in ((x + 1, y), (x - 1, y), (x, y + 1), (x, y - 1)) if p in pixels]
        corner = [
            (x + dx, y + dy)
            for dx in (-1, 1)
            for dy in (-1, 1)
            if (x + dx, y + dy) in pixels and (x + dx, y) not in pixels and (x, y + dy) not in pixels
        ]
        return straight + corner

    degree = {pixel: len(around(pixel)) for pixel in pixels}
    nodes = [p for p in sorted(pixels) if degree[p] != 2]
    seen: set[frozenset[tuple[int, int]]] = set()
    paths = []

    def follow(start: tuple[int, int], step: tuple[int, int]) -> None:
        path = [start, step]
        seen.add(frozenset((start, step)))
        while degree[path[-1]] == 2 and path[-1] != start:
            ahead = [p for p in around(path[-1]) if frozenset((path[-1], p)) not in seen]
            if not ahead:
                break
            seen.add(frozenset((path[-1], ahead[0])))
            path.append(ahead[0])
        ends = sorted((degree[path[0]], degree[path[-1]]))
        if not (ends[0] == 1 and ends[1] > 2 and len(path) < SHORTEST_SPUR):
            paths.append(np.array(path))

    for node in nodes:
        for step in around(node):
            if frozenset((node, step)) not in seen:
                follow(node, step)
    for pixel in sorted(pixels):
        if degree[pixel] == 2:
            for step in around(pixel):
                if frozenset((pixel, step)) not in seen:
                    follow(pixel, step)
    return paths


def _smooth(points: Points, sigma: float) -> Points:
    """Smooth a path along itself, its two ends held; a closed path stays closed."""
    if len(points) < 5:
        return points
    reach = int(3 * sigma)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    weights /= weights.sum()
    if np.array_equal(points[0], points[-1]):
        padded = np.vstack([points[-reach - 1 : -1], points, points[1 : reach + 1]])
        if len(padded) != len(points) + 2 * reach:
            return points
    else:
        head = 2 * points[0] - points[1 : reach + 1][::-1]
        tail = 2 * points[-1] - points[-reach - 1 : -1][::-1]
        head = np.vstack([np.repeat(head[:1], reach - len(head), axis=0), head])
        tail = np.vstack([tail, np.repeat(tail[-1:], reach - len(tail), axis=0)])
        padded = np.vstack([head, points, tail])
    return np.column_stack([np.convolve(padded[:, i], weights, mode="valid") for i in (0, 1)])


def _curve(*points: tuple[float, float]) -> Points:
    """Round a polygon's corners (Chaikin 1974, two passes, ends kept)."""
    line = np.array(points, dtype=np.float64)
    for _ in range(2):
        near = 0.75 * line[:-1] + 0.25 * line[1:]
        far = 0.25 * line[:-1] + 0.75 * line[1:]
        inner = np.empty((2 * len(near), 2))
        inner[0::2], inner[1::2] = near, far
        line = np.vstack([line[:1], inner, line[-1:]])
    return line


SIGNS: dict[str, list[Glyph]] = {
    ".": [
        [_curve((0.0, -0.03), (0.05, 0.0))],
        [_curve((0.0, -0.06), (0.05, -0.03), (0.01, 0.0))],
        [_curve((0.0, -0.08), (0.05, 0.01))],
    ],
    ",": [
        [_curve((0.07, -0.07), (0.08, 0.03), (0.0, 0.17))],
        [_curve((0.06, -0.05), (0.0, 0.14))],
    ],
    "-": [
        [_curve((0.0, -0.42), (0.3, -0.44))],
        [_curve((0.0, -0.38), (0.18, -0.45), (0.36, -0.42))],
        [_curve((0.0, -0.48), (0.24, -0.43))],
    ],
    "/": [
        [_curve((0.3, -1.05), (0.0, 0.08))],
        [_curve((0.24, -0.95), (0.16, -0.4), (0.0, 0.12))],
    ],
    "£": [
        [
            _curve(
                (0.52, -0.8),
                (0.46, -1.0),
                (0.22, -1.0),
                (0.2, -0.65),
                (0.27, -0.3),
                (0.16, -0.02),
                (0.0, -0.03),
                (0.1, -0.14),
                (0.3, -0.02),
                (0.58, -0.08),
            ),
            _curve((0.04, -0.5), (0.42, -0.52)),
        ],
        [
            _curve((0.56, -0.84), (0.42, -1.08), (0.24, -0.88), (0.26, -0.4), (0.18, -0.04), (0.02, 0.0)),
            _curve((0.02, 0.0), (0.3, -0.08), (0.56, 0.02)),
            _curve((0.06, -0.42), (0.46, -0.46)),
        ],
        [
            _curve((0.5, -0.9), (0.3, -1.02), (0.2, -0.8), (0.22, -0.1), (0.06, 0.0), (0.5, -0.02)),
            _curve((0.06, -0.58), (0.4, -0.6)),
            _curve((0.05, -0.4), (0.41, -0.42)),
        ],
    ],
    "p": [
        [
            _curve((0.03, -0.55), (0.0, 0.35)),
            _curve((0.02, -0.38), (0.16, -0.6), (0.36, -0.48), (0.3, -0.1), (0.12, -0.02), (0.02, -0.12)),
        ],
        [
            _curve(
                (0.0, -0.5),
                (0.05, -0.2),
                (0.0, 0.32),
                (0.03, -0.3),
                (0.2, -0.58),
                (0.36, -0.36),
                (0.24, -0.04),
                (0.04, -0.08),
            ),
        ],
    ],
    "x": [
        [_curve((0.0, -0.5), (0.36, 0.0)), _curve((0.36, -0.52), (0.02, 0.0))],
        [_curve((0.0, -0.44), (0.16, -0.3), (0.3, -0.02)), _curve((0.34, -0.46), (0.0, 0.02))],
    ],
    '"': [
        [_curve((0.06, -0.7), (0.0, -0.42)), _curve((0.24, -0.7), (0.18, -0.42))],
        [_curve((0.0, -0.62), (0.06, -0.36)), _curve((0.2, -0.64), (0.24, -0.38))],
    ],
}
"""Our own strokes for the signs that people write between digits: several styles each."""


def extent(glyph: Glyph) -> tuple[float, float]:
    """Return the least and greatest x of a glyph."""
    xs = np.concatenate([stroke[:, 0] for stroke in glyph])
    return float(xs.min()), float(xs.max())


def ink(
    mask: Mask, strokes: Sequence[Points], width: float, rng: np.random.Generator, pressure: float = 0.12
) -> None:
    """Draw strokes into `mask` (coverage, 0 to 255) with a round pen.

    Parameters
    ----------
    strokes
        Points in pixels of `mask`.
    width
        Diameter of the pen's line in pixels.
    pressure
        How much the line's width swells and thins along a stroke, as a share of `width`.
    """
    for stroke in strokes:
        points = _resample(stroke, max(0.35 * width, 0.8))
        count = len(points)
        swell = np.interp(
            np.linspace(0, 1, count), np.linspace(0, 1, 5), 1 + pressure * rng.uniform(-1, 1, 5)
        )
        taper = np.minimum(1.0, 0.8 + np.arange(count) * 0.1)
        radii = 0.5 * width * swell * np.minimum(taper, taper[::-1])
        shifted = np.round(points * 16).astype(int)
        sizes = np.maximum(np.round((radii - 0.35) * 16).astype(int), 4)
        for (x, y), radius in zip(shifted.tolist(), sizes.tolist(), strict=True):
            cv2.circle(mask, (x, y), radius, (255,), -1, cv2.LINE_AA, 4)


def _resample(points: Points, step: float) -> Points:
    """Points at even distances of about `step` along a path."""
    lengths = np.hypot(*np.diff(points, axis=0).T) if len(points) > 1 else np.zeros(0)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    count = max(2, int(along[-1] / step) + 1)
    places = np.linspace(0.0, along[-1], count)
    return np.column_stack([np.interp(places, along, points[:, i]) for i in (0, 1)])
