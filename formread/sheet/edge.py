"""Follow a sheet's four sides in the photo to a fraction of a pixel, straight or bowed."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet import quad as quads
from formread.sheet.record import Points

Pixels = npt.NDArray[np.uint8] | npt.NDArray[np.float32]

_SAMPLES = 64  # places along a side
_MARGIN = 0.03  # share of a side left out at each end, where the neighbouring side's edge begins
_WINDOW = 0.006  # of the sheet's longer side: how far paper and table are averaged on each side of an edge
_SMALLEST_WINDOW = 3.0
_STRAIGHT, _BOWED = 1, 3  # degrees of the curve a side may follow
_WORTH_BENDING = 0.6  # the bowed curve must leave at most this share of the straight one's misfit
_WORTH_FOLDING = 0.6  # the same of a fold, against the better of the two
_FITS_WELL = 0.1  # windows left on average: a fold could not fit much better
_FOLDS = np.linspace(
    0.14, 0.86, 19
)  # where along a side a fold is looked for: nearer a corner, it is the corner's
_STEEPEST_FOLD = (
    0.2  # change of slope in the middle, less towards the ends: more is a corner bent over or covered
)
_NEARBY = 6  # places to either side that show the paper at one place
_KNOTS = 33  # places, evenly from corner to corner, at which a side's curve is kept
_NEAR = 1.5  # window shares within which a place agrees with the curve
_ROUNDS = 8
_CLEAR_LAB = 15.0  # a step of this many Lab units is an edge beyond doubt; more makes it no truer
_CLEAR_RGB = 40.0  # the same in RGB units
_EVENLY = np.linspace(0, 1, _KNOTS)
_WHOLE = 0.85  # of a side, in the photo: what goes on unseen may be guessed at
_FEWEST = 8  # places with any edge at all, for a curve to mean something


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side, from corner ``start`` to corner ``end``.

    Attributes
    ----------
    curve
        (33,) offset outward-to-inward, in photo pixels, at shares evenly from 0 to 1 of the way from ``start``
        to ``end``; straight between them and beyond, so that a fold may lie anywhere.
    support
        Share of the places along the side at which an edge was found on the curve.
    contrast
        Median step from table to paper there, in the units of the image.
    """

    start: Points
    end: Points
    curve: Points
    support: float
    contrast: float

    def points(self, share: Points) -> Points:
        """Return (N, 2) points of the photo at shares 0 to 1 of the way."""
        along = self.end - self.start
        inward = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-9)
        offset = between(self.curve, share)
        return np.asarray(self.start + share[:, None] * along + offset[:, None] * inward, np.float64)


def between(values: Points, share: Points) -> Points:
    """Return values kept at places evenly from 0 to 1 at other places, straight between and beyond them."""
    place = share * (len(values) - 1)
    before = np.clip(np.floor(place).astype(int), 0, len(values) - 2)
    return np.asarray(values[before] + (place - before) * (values[before + 1] - values[before]), np.float64)


def straight(quad: Points) -> tuple[Side, Side, Side, Side]:
    """Return a quad's four sides as straight lines that nothing has confirmed yet."""
    top, right, bottom, left = (
        Side(quad[i], quad[(i + 1) % 4], np.zeros(_KNOTS), 0.0, 0.0) for i in range(4)
    )
    return top, right, bottom, left


def follow(
    photo: Pixels, sides: tuple[Side, Side, Side, Side], reach: float
) -> tuple[Side, Side, Side, Side]:
    """Find the four edges near the sides given.

    Parameters
    ----------
    photo
        (H, W, 3) uint8 RGB or float32 Lab.
    sides
        Clockwise, each from corner to corner.
    reach
        How far, in pixels, an edge may lie from the side given.
    """
    size = max(float(np.hypot(*(side.end - side.start))) for side in sides)
    window = max(_SMALLEST_WINDOW, _WINDOW * size)
    top, right, bottom, left = (_follow_side(photo, side, reach, window) for side in sides)
    return top, right, bottom, left


def to_corners(sides: tuple[Side, Side, Side, Side]) -> tuple[Side, Side, Side, Side]:
    """Return the same edges, each from corner to corner."""
    ends = corners(sides)
    top, right, bottom, left = (_between(side, ends[i], ends[(i + 1) % 4]) for i, side in enumerate(sides))
    return top, right, bottom, left


def _between(side: Side, start: Points, end: Points) -> Side:
    """Express a side's curve over the chord between two points on (or near) it."""
    first, last = _share(side, start), _share(side, end)
    points = side.points(np.linspace(first, last, 4 * _KNOTS))
    along = end - start
    length = max(float(np.hypot(*along)), 1e-9)
    share = (points - start) @ along / length**2
    offset = (points - start) @ np.array([-along[1], along[0]]) / length
    return Side(start, end, np.interp(_EVENLY, share, offset), side.support, side.contrast)


def corners(sides: tuple[Side, Side, Side, Side]) -> Points:
    """Return the (4, 2) corners in which neighbouring sides meet."""
    found = []
    for i in range(4):
        before, after = sides[i - 1], sides[i]
        s, t = 1.0, 0.0
        corner = after.start
        for _ in range(4):
            p, q = before.points(np.array([s - 0.02, s])), after.points(np.array([t, t + 0.02]))
            meeting = quads.meet(p[1], p[1] - p[0], q[0], q[1] - q[0])
            if meeting is None:
                break
            corner = meeting
            # Beyond their ends the curves are not to be trusted: near the corner they run on straight.
            s = float(np.clip(_share(before, corner), 0.9, 1.0))
            t = float(np.clip(_share(after, corner), 0.0, 0.1))
        found.append(corner)
    return np.array(found)


def _share(side: Side, point: Points) -> float:
    along = side.end - side.start
    return float((point - side.start) @ along / max(float(along @ along), 1e-9))


def _follow_side(photo: Pixels, side: Side, reach: float, window: float) -> Side:
    """Cut a band of the photo along the side, find the edge at each place, fit one smooth curve."""
    along = side.end - side.start
    length = max(float(np.hypot(*along)), 1e-9)
    inward = np.array([-along[1], along[0]]) / length
    share = np.linspace(_MARGIN, 1 - _MARGIN, _SAMPLES)
    step = max(1.0, window / 6)
    offsets = np.arange(-reach - window, reach + window + step, step)
    # Three neighbouring lines of sight are averaged at each place: noise and weave fall, the edge stays.
    spread = np.array([-1.0, 0.0, 1.0]) / 3 * min((share[1] - share[0]) * length, 3 * window)
    place = side.points(share)
    where = (
        place[None, :, None]
        + offsets[:, None, None, None] * inward
        + spread[None, None, :, None] * (along / length)
    )
    band = _sample(photo, where.reshape(-1, 2)).reshape(len(offsets), _SAMPLES, 3, 3).mean(axis=2)
    outside = ((where[:, :, 1] < 0) | (where[:, :, 1] > np.array(photo.shape[1::-1]) - 1)).any(axis=2)
    clear = _CLEAR_RGB if photo.dtype == np.uint8 else _CLEAR_LAB
    strength, contrast = _steps(band, max(2, round(window / step)), clear)
    strength[outside] = 0
    found, good = _peaks(strength, contrast, offsets, reach, max(1, round(window / step / 2)))
    step_there = contrast[np.clip(np.searchsorted(offsets, found), 0, len(offsets) - 1), np.arange(_SAMPLES)]
    base = between(side.curve, share)
    seen = ~outside[len(offsets) // 2]
    return _fit(side, share, base + found - step / 2, good, step_there, window, seen)


def _sample(photo: Pixels, points: Points) -> npt.NDArray[np.float32]:
    x = points[:, 0].astype(np.float32)[None]
    y = points[:, 1].astype(np.float32)[None]
    # OpenCV's remap takes at most 32767 columns.
    parts = [
        cv2.remap(
            photo, x[:, i : i + 30000], y[:, i : i + 30000], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        for i in range(0, x.shape[1], 30000)
    ]
    return np.asarray(np.concatenate(parts, axis=1)[0], np.float32)


def _steps(band: npt.NDArray[np.float32], wide: int, clear: float) -> tuple[Points, Points]:
    """Return how strongly each place of the band looks like the edge of paper, and its contrast.

    The mean colour over ``wide`` places further in is compared with that further out; what lies further in
    must be like this side's paper, or a stripe of the tablecloth would do as well; so a step counts for no more
    than ``clear`` however strong it is.
    """
    total = np.cumsum(np.concatenate([np.zeros_like(band[:1]), band]), axis=0)
    mean = (total[wide:] - total[:-wide]) / wide
    rows, columns = band.shape[:2]
    contrast = np.zeros((rows, columns))
    strength = np.zeros((rows, columns))
    outer, inner = mean[: -wide or None], mean[wide:]
    middle = np.arange(len(outer)) + wide
    difference = np.linalg.norm(inner - outer, axis=2)
    # Shadows and folds change the light along a side: its paper is what lies inside nearby.
    deep = np.median(band[-max(wide, rows // 5) :], axis=0)
    wider = np.pad(deep, ((_NEARBY, _NEARBY), (0, 0)), mode="edge")
    nearby = np.lib.stride_tricks.sliding_window_view(wider, 2 * _NEARBY + 1, axis=0)
    unlike = np.linalg.norm(inner - np.median(nearby, axis=2), axis=2)
    contrast[middle] = difference
    strength[middle] = np.maximum(0.0, np.minimum(difference, clear) - unlike)
    return strength, contrast


def _peaks(
    strength: Points, contrast: Points, offsets: Points, reach: float, near: int
) -> tuple[Points, npt.NDArray[np.bool_]]:
    """Return per column the offset of the likeliest edge, and whether there is any.

    ``strength`` says which edge; the steepest contrast within ``near`` places of it says where, by parabola.
    """
    likely = np.exp(-0.5 * (offsets / max(0.75 * reach, 1e-9)) ** 2)
    weighted = strength * likely[:, None]
    rows = weighted.argmax(axis=0)
    columns = np.arange(strength.shape[1])
    local = np.where(np.abs(np.arange(len(offsets))[:, None] - rows) <= near, contrast, -1.0)
    best = np.clip(local.argmax(axis=0), 1, len(offsets) - 2)
    before, at, after = (contrast[best + d, columns] for d in (-1, 0, 1))
    bend = before - 2 * at + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.where(bend < -1e-9, bend, 1.0), 0.0)
    step = offsets[1] - offsets[0]
    return offsets[best] + np.clip(shift, -0.5, 0.5) * step, weighted[rows, columns] > 0


def _fit(
    side: Side,
    share: Points,
    found: Points,
    good: npt.NDArray[np.bool_],
    contrast: Points,
    window: float,
    seen: npt.NDArray[np.bool_],
) -> Side:
    """Fit the offsets found with a straight line, or a bowed or folded curve where that is clearly better.

    Where the photo does not show the whole side (``seen``), only a line goes on beyond it as the paper may.
    """
    if good.sum() < _FEWEST:
        return Side(side.start, side.end, side.curve, 0.0, 0.0)
    near = _NEAR * window
    weight = np.sqrt(np.minimum(contrast, np.percentile(contrast[good], 75))) * good
    plain = _powers(_STRAIGHT), _powers(_BOWED)
    starts = (_through_two(share, found, weight, near), _through_three(share, found, weight, near))
    line, bow = (
        _robust(basis, share, found, weight, near, start) for basis, start in zip(plain, starts, strict=True)
    )
    whole = float(seen.mean()) > _WHOLE
    best = bow if whole and bow.cost < _WORTH_BENDING * line.cost else line
    if whole and best.cost > _FITS_WELL * window * float(weight.sum()):
        size = float(np.hypot(*(side.end - side.start)))
        folded = [(at, _robust(_folded(at), share, found, weight, near, starts[1])) for at in _FOLDS]
        best = min(
            (fit for at, fit in folded if _is_fold(fit, at, size) and fit.cost < _WORTH_FOLDING * best.cost),
            key=lambda fit: fit.cost,
            default=best,
        )
    there = (best.misfit < near) & good
    support = float(there[seen].mean()) if seen.any() else 0.0
    step = float(np.median(contrast[there])) if there.any() else 0.0
    return Side(side.start, side.end, best.basis(_EVENLY) @ best.curve, support, step)


Basis = Callable[[Points], Points]


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """A curve fitted to a side: its basis, (N,) shares to (N, k), and coefficients; what it leaves, and its cost."""

    basis: Basis
    curve: Points
    misfit: Points
    cost: float


def _powers(degree: int) -> Basis:
    return lambda share: share[:, None] ** np.arange(degree + 1)


def _folded(at: float) -> Basis:
    return lambda share: np.stack([np.ones_like(share), share, share**2, np.maximum(share - at, 0)], axis=1)


def _is_fold(fit: _Curve, at: float, size: float) -> bool:
    return abs(float(fit.curve[-1])) < _STEEPEST_FOLD * size * 4 * at * (1 - at)


def _robust(basis: Basis, share: Points, found: Points, weight: Points, near: float, start: Points) -> _Curve:
    """Fit a curve from a polynomial to start with, letting go of places that lie off it (Tukey's biweight)."""
    terms = basis(share)
    fitted = np.polynomial.polynomial.polyval(share, start)
    curve = np.linalg.lstsq(terms, fitted, rcond=None)[0]
    for tolerance in np.geomspace(3 * near, near, _ROUNDS):
        hold = weight * np.clip(1 - ((found - fitted) / tolerance) ** 2, 0, None)
        if (hold > 0).sum() < terms.shape[1] + 2:
            break
        held = terms * hold[:, None]
        ridge = 1e-9 * float((held * held).sum()) * np.eye(terms.shape[1])
        curve = np.linalg.solve(held.T @ held + ridge, held.T @ (found * hold))
        fitted = terms @ curve
    misfit = np.minimum(np.abs(found - fitted), near)
    return _Curve(basis, np.asarray(curve, np.float64), misfit, float((weight * misfit).sum()))


def _through_two(share: Points, found: Points, weight: Points, near: float) -> Points:
    """Return the line through two places, a third apart or more, that most places agree with."""
    third = len(share) // 3
    a, b = np.meshgrid(np.arange(0, third, 2), np.arange(len(share) - third, len(share), 2), indexing="ij")
    return _most_agreed(np.stack([a.ravel(), b.ravel()], axis=1), share, found, weight, near)


def _through_three(share: Points, found: Points, weight: Points, near: float) -> Points:
    """Return the parabola through three places, spread out, that most places agree with."""
    third = len(share) // 3
    a, b, c = np.meshgrid(
        np.arange(0, third, 3),
        np.arange(third, 2 * third, 3),
        np.arange(2 * third, len(share), 3),
        indexing="ij",
    )
    return _most_agreed(np.stack([a.ravel(), b.ravel(), c.ravel()], axis=1), share, found, weight, near)


def _most_agreed(
    chosen: npt.NDArray[np.int64], share: Points, found: Points, weight: Points, near: float
) -> Points:
    """Try the polynomial through each set of places; every set is tried, so no chance is involved."""
    powers = np.arange(chosen.shape[1])
    curves = np.linalg.solve(share[chosen][..., None] ** powers, found[chosen][..., None])[..., 0]
    off = np.abs(found - curves @ (share[:, None] ** powers).T) / (2 * near)
    votes = (weight * np.clip(1 - off**2, 0, None)).sum(axis=1)
    return np.asarray(curves[int(votes.argmax())])
