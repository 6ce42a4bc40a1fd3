"""Flatten a sheet: perspective from its corners, bow from its sides, what is left from its printed rules."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet import edge
from formread.sheet.record import Image, Points
from formread.sheet.rules import Rule

_COARSE = 16  # pixels between the places where the map is worked out; between them it is a straight blend
_FOCAL = (0.55, 2.2)  # of the photo's long side: lenses of phones, wide to double
_USUAL_FOCAL = 0.8  # a phone's main camera (26 mm equivalent: 26 / 36 of the long side), a little cropped
_FIELD_ALONG, _FIELD_ACROSS = 4, 2  # degrees of the field along the rules and across them
_STIFF = 2e-3  # ridge weight: bends that few rules ask for stay small
_KNOTS_ALONG, _KNOTS_ACROSS = 13, 11  # of what the polynomials leave: creases and dents lie anywhere
_KINK = 0.02  # weight of a knot that stands off the line between its neighbours
_ROUNDS = 6  # of letting go of what does not fit
_LONG = 0.45  # of the sheet: so long is no writing that passed for a rule
_LOOSE = 1e-3  # of a knot that stands off at all
_SIDE_WEIGHT = 0.15  # the paper's own edges hold the field where no rule runs, but print decides
_MOST_BEND = 0.05  # of the sheet: a field that asks for more has followed something that is no rule


def true_ratio(quad: Points, width: float, height: float) -> float:
    """Return width over height of the rectangle that a camera sees as ``quad``.

    Parameters
    ----------
    quad
        (4, 2) corners in photo pixels, clockwise from the rectangle's top left.
    width, height
        Of the photo in pixels; its middle is taken to be the camera's axis.

    References
    ----------
    Z. Zhang and L.-W. He, "Whiteboard scanning and image enhancement", Digital Signal Processing 17 (2007),
    equations 11 to 21. Where the view is too straight to tell the focal length, a phone's usual one is taken.
    """
    long = max(width, height)
    points = (quad - np.array([width, height]) / 2) / long
    m = np.column_stack([points, np.ones(4)])[[0, 1, 3, 2]]
    k2 = np.dot(np.cross(m[0], m[3]), m[2]) / np.dot(np.cross(m[1], m[3]), m[2])
    k3 = np.dot(np.cross(m[0], m[3]), m[1]) / np.dot(np.cross(m[2], m[3]), m[1])
    n2, n3 = k2 * m[1] - m[0], k3 * m[2] - m[0]
    focal = _USUAL_FOCAL
    depth = n2[2] * n3[2]
    if abs(depth) > 1e-3:
        squared = -(n2[0] * n3[0] + n2[1] * n3[1]) / depth
        if _FOCAL[0] ** 2 < squared < _FOCAL[1] ** 2:
            focal = float(np.sqrt(squared))
    lens = np.array([1 / focal, 1 / focal, 1.0])
    return float(np.linalg.norm(n2 * lens) / max(float(np.linalg.norm(n3 * lens)), 1e-9))


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """How far, in pixels, the rules of one direction lie off their level, over the whole sheet.

    ``smooth`` (i, j) are coefficients of the Legendre polynomials along the rules and across them, over -1 to 1:
    paper that curls. ``local`` (n, m), evenly from edge to edge and straight between, is what they leave: paper
    that was creased across the rules, or dented.
    """

    smooth: Points
    local: Points

    def at(self, along: Points, across: Points) -> Points:
        """Return (N,) offsets at shares 0 to 1 of the way along the rules and across them."""
        smooth = np.polynomial.legendre.legval2d(2 * along - 1, 2 * across - 1, self.smooth)
        places, shares = _corners_around(along, across)
        return np.asarray(smooth + (self.local.ravel()[places] * shares).sum(axis=1), np.float64)

    def times(self, factor: float) -> "Field":
        """Return the same field on a sheet ``factor`` times as large across the rules."""
        return Field(self.smooth * factor, self.local * factor)

    def plus(self, other: "Field") -> "Field":
        """Return both bends together."""
        return Field(self.smooth + other.smooth, self.local + other.local)

    def most(self) -> float:
        """Return the most, in pixels, that it can bend."""
        return float(np.abs(self.smooth).sum() + np.abs(self.local).max())


def _none() -> Field:
    return Field(np.zeros((_FIELD_ALONG + 1, _FIELD_ACROSS + 1)), np.zeros((_KNOTS_ALONG, _KNOTS_ACROSS)))


def _corners_around(along: Points, across: Points) -> tuple[npt.NDArray[np.int64], Points]:
    """Return for each place the (N, 4) knots around it, counted row by row, and the share of each."""
    a, c = along * (_KNOTS_ALONG - 1), across * (_KNOTS_ACROSS - 1)
    i = np.clip(np.floor(a).astype(np.int64), 0, _KNOTS_ALONG - 2)
    j = np.clip(np.floor(c).astype(np.int64), 0, _KNOTS_ACROSS - 2)
    u, v = a - i, c - j
    first = i * _KNOTS_ACROSS + j
    places = np.stack([first, first + 1, first + _KNOTS_ACROSS, first + _KNOTS_ACROSS + 1], axis=1)
    shares = np.stack([(1 - u) * (1 - v), (1 - u) * v, u * (1 - v), u * v], axis=1)
    return places, np.asarray(shares, np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Flat:
    """The map from a flat rectangle, ``width`` by ``height`` pixels, to the photo.

    ``plane`` takes the rectangle to the photo by perspective; before it, ``sides`` (top, right, bottom, left:
    offsets in pixels, evenly over 0 to 1) bows or folds it as the paper's edges run, and ``field_x``, ``field_y`` bend it
    as the printed rules run, those down and those across. ``turns`` quarter turns clockwise bring the slip's own
    top to the top.
    """

    width: int
    height: int
    plane: Points
    sides: tuple[Points, Points, Points, Points]
    field_x: Field
    field_y: Field
    turns: int = 0

    @property
    def size(self) -> tuple[int, int]:
        """Return width and height of the upright sheet."""
        return (self.height, self.width) if self.turns % 2 else (self.width, self.height)

    def to_photo(self, points: Points) -> Points:
        """Map (N, 2) points (x, y) of the upright sheet to the photo."""
        flat = self._turned_back(np.asarray(points, np.float64))
        scale = np.array([self.width - 1, self.height - 1], np.float64)
        x, y = (flat / scale).T
        bent = flat + np.stack([self.field_x.at(y, x), self.field_y.at(x, y)], axis=1)
        u, v = bent[:, 0] / scale[0], bent[:, 1] / scale[1]
        top, right, bottom, left = (
            edge.between(curve, np.clip(at, -0.02, 1.02))
            for at, curve in zip((u, v, u, v), self.sides, strict=True)
        )
        bowed = bent + np.stack([(1 - u) * left + u * right, (1 - v) * top + v * bottom], axis=1)
        return np.asarray(cv2.perspectiveTransform(bowed[None], self.plane)[0], np.float64)

    def _turned_back(self, points: Points) -> Points:
        x, y = points[:, 0], points[:, 1]
        right, bottom = self.width - 1, self.height - 1
        match self.turns % 4:
            case 1:
                x, y = y, bottom - x
            case 2:
                x, y = right - x, bottom - y
            case 3:
                x, y = right - y, x
        return np.stack([x, y], axis=1)

    def resized(self, factor: float) -> "Flat":
        """Return the same map for a rectangle ``factor`` times as large."""
        width, height = max(2, round(self.width * factor)), max(2, round(self.height * factor))
        x, y = (width - 1) / (self.width - 1), (height - 1) / (self.height - 1)
        top, right, bottom, left = self.sides
        return replace(
            self,
            width=width,
            height=height,
            plane=self.plane @ np.diag([1 / x, 1 / y, 1.0]),
            sides=(top * y, right * x, bottom * y, left * x),
            field_x=self.field_x.times(x),
            field_y=self.field_y.times(y),
        )

    def corners(self) -> Points:
        """Return the (4, 2) corners of the upright sheet in its own pixels, clockwise from the top left."""
        width, height = self.size
        return np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float64)


def from_sides(sides: tuple[edge.Side, edge.Side, edge.Side, edge.Side], photo: Image, long: int) -> Flat:
    """Return the map of a sheet whose edges are known, its long side ``long`` pixels."""
    outline = np.array([side.start for side in sides])
    ratio = float(np.clip(true_ratio(outline, photo.shape[1], photo.shape[0]), 0.2, 5.0))
    width, height = (long, round(long / ratio)) if ratio >= 1 else (round(long * ratio), long)
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float32)
    plane = cv2.getPerspectiveTransform(corners, outline.astype(np.float32)).astype(np.float64)
    back = np.linalg.inv(plane)
    curves = []
    for i, side in enumerate(sides):
        points = cv2.perspectiveTransform(side.points(np.linspace(0, 1, 33))[None], back)[0]
        along, off = (
            (points[:, 0] / (width - 1), points[:, 1])
            if i % 2 == 0
            else (
                points[:, 1] / (height - 1),
                points[:, 0],
            )
        )
        off = off - (height - 1 if i == 2 else width - 1 if i == 1 else 0)
        curves.append(_pinned(along, off))
    return Flat(
        width,
        height,
        plane,
        (curves[0], curves[1], curves[2], curves[3]),
        _none(),
        _none(),
    )


def _pinned(along: Points, off: Points) -> Points:
    """Return a curve over 0 to 1, kept as an edge's is, that is zero at both ends, where the corners are."""
    evenly = np.linspace(0, 1, len(along))
    order = np.argsort(along)  # the bottom's and the left side's run backwards
    curve = np.interp(evenly, along[order], off[order])
    return np.asarray(curve - (1 - evenly) * curve[0] - evenly * curve[-1], np.float64)


def straightened(flat: Flat, across: list[Rule], down: list[Rule]) -> Flat:
    """Bend the map so that the printed rules run straight along x and y.

    Parameters
    ----------
    flat
        The map under which the rules were found, not yet turned.
    across, down
        The rules, in pixels of ``flat``; those of ``down`` with x and y exchanged.

    Notes
    -----
    Along x each rule ought to keep its height, whatever that height is: the field's coefficients and one
    unknown height per rule are found together by least squares, held small by a ridge.
    """
    return replace(
        flat,
        field_x=flat.field_x.plus(_field(down, flat.height, flat.width)),
        field_y=flat.field_y.plus(_field(across, flat.width, flat.height)),
    )


def change(before: Flat, after: Flat) -> float:
    """Return the most, in pixels, by which the fields of two maps of one sheet can differ."""
    return max(
        after.field_x.plus(before.field_x.times(-1)).most(),
        after.field_y.plus(before.field_y.times(-1)).most(),
    )


def _field(rules: list[Rule], length: int, height: int) -> Field:
    """Return how far, at each place, rules lie below their own level."""
    if len(rules) < 2:
        return _none()
    share = np.linspace(0, length - 1, 15)
    edges = [Rule(share, np.full(15, level)) for level in (0.0, height - 1.0)]
    rows, wanted, weights, firm = [], [], [], []
    for index, rule in enumerate(rules + edges):
        level, span = float(np.mean(rule.y)), float(np.ptp(rule.x)) / length
        is_edge = index >= len(rules)
        block = _terms(rule.x / (length - 1), np.full(len(rule.x), level / (height - 1)))
        # A rule's own unknown height drops out when each rule is measured from its mean.
        rows.append(block - block.mean(axis=0))
        wanted.append(rule.y - level)
        weights.append(np.full(len(rule.x), (_SIDE_WEIGHT if is_edge else 1.0) * span / np.sqrt(len(rule.x))))
        firm.append(np.full(len(rule.x), span >= _LONG and not is_edge))
    matrix, target, fair = np.concatenate(rows), np.concatenate(wanted), np.concatenate(weights)
    # Long rules go where the paper goes, however far; the edge of a neighbour or a line of writing is let go.
    yielding = np.where(np.concatenate(firm), 0.25, 1.0)
    stiff = _stiffness(len(rules))
    hold = fair
    for _ in range(_ROUNDS):
        scaled = matrix * hold[:, None]
        solution = np.linalg.solve(scaled.T @ scaled + stiff, scaled.T @ (target * hold))
        off = np.abs(target - matrix @ solution)
        limit = max(1.0, 3 * float(np.median(off)))
        hold = fair * np.minimum(1.0, limit / np.maximum(off, 1e-9)) ** yielding
    smooth = np.zeros((_FIELD_ALONG + 1, _FIELD_ACROSS + 1))
    smooth[1:] = solution[: smooth[1:].size].reshape(smooth[1:].shape)
    field = Field(smooth, solution[smooth[1:].size :].reshape(_KNOTS_ALONG, _KNOTS_ACROSS))
    return field if field.most() < _MOST_BEND * 2 * height else _none()


def _terms(along: Points, across: Points) -> Points:
    """Return (N, k): what each unknown of a field adds at each place, those of ``smooth`` first."""
    legendre = np.polynomial.legendre.legvander2d(
        2 * along - 1, 2 * across - 1, (_FIELD_ALONG, _FIELD_ACROSS)
    )[:, _FIELD_ACROSS + 1 :]  # what does not change along the rules moves none off its level
    local = np.zeros((len(along), _KNOTS_ALONG * _KNOTS_ACROSS))
    places, shares = _corners_around(along, across)
    np.put_along_axis(local, places, shares, axis=1)
    return np.concatenate([legendre, local], axis=1)


def _stiffness(rules: int) -> Points:
    """Return the (k, k) weights that hold a field's unknowns small, and its knots on lines with each other."""
    degrees = [float(i * i + j) for i in range(1, _FIELD_ALONG + 1) for j in range(_FIELD_ACROSS + 1)]
    eye_along, eye_across = np.eye(_KNOTS_ALONG), np.eye(_KNOTS_ACROSS)
    kinks = np.concatenate(
        [
            np.kron(np.diff(eye_along, 2, axis=0), eye_across),
            np.kron(eye_along, np.diff(eye_across, 2, axis=0)),
        ]
    )
    size = len(degrees)
    stiff = np.zeros((size + kinks.shape[1],) * 2)
    stiff[:size, :size] = _STIFF * rules * np.diag(degrees)
    stiff[size:, size:] = _KINK * kinks.T @ kinks + _LOOSE * np.eye(kinks.shape[1])
    return stiff


def turned(flat: Flat, turns: int) -> Flat:
    """Return the same map with the slip's own top brought to the top by quarter turns clockwise."""
    return replace(flat, turns=(flat.turns + turns) % 4)


def render(levels: Sequence[Image], flat: Flat) -> Image:
    """Return the photo as the upright flat sheet, (H, W, 3) uint8.

    Parameters
    ----------
    levels
        The photo and, if there are any, copies of it, each half as large as the one before.
    """
    width, height = flat.size
    outline = flat.to_photo(flat.corners())
    finest = max(float(np.hypot(*(outline[i] - outline[i - 1]))) for i in range(4)) / max(width, height)
    level = int(np.clip(np.floor(np.log2(max(finest, 1.0))), 0, len(levels) - 1))
    places = _Places(flat, np.array(levels[level].shape[1::-1]) / np.array(levels[0].shape[1::-1]))
    if (
        finest / 2**level > 1.3
    ):  # more photo than sheet: take twice as many samples and average, or thin rules break up
        large = _render_at(levels[level], places, width * 2, height * 2)
        return np.asarray(cv2.resize(large, (width, height), interpolation=cv2.INTER_AREA))
    return _render_at(levels[level], places, width, height)


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """A map into a copy of the photo, (in x, in y) ``factor`` times as large."""

    flat: Flat
    factor: Points

    def __call__(self, points: Points) -> Points:
        return np.asarray((self.flat.to_photo(points) + 0.5) * self.factor - 0.5, np.float64)


def _render_at(photo: Image, to_photo: _Places, width: int, height: int) -> Image:
    """Sample the sheet at ``width`` by ``height`` places, whatever its own size."""
    own_width, own_height = to_photo.flat.size
    columns, rows = -(-width // _COARSE) + 2, -(-height // _COARSE) + 2
    # One place in the middle of each square of 16 pixels, and one more square all round: cv2.resize blends
    # between such middles exactly, which remap and warpAffine, with their weights of 1/32, would not.
    x = ((np.arange(columns) - 0.5) * _COARSE) / width * own_width - 0.5
    y = ((np.arange(rows) - 0.5) * _COARSE) / height * own_height - 0.5
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    places = to_photo(grid).reshape(rows, columns, 2).astype(np.float32)
    # The coordinates apart from the start: parting them at full size would take longer than all the rest.
    across, down = (
        cv2.resize(np.ascontiguousarray(part), None, fx=_COARSE, fy=_COARSE, interpolation=cv2.INTER_LINEAR)[
            _COARSE : _COARSE + height, _COARSE : _COARSE + width
        ]
        for part in (places[..., 0], places[..., 1])
    )
    return np.asarray(
        cv2.remap(photo, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.uint8
    )
