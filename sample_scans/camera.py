"""From flat slips to photographs: slips bent and laid on a table, the camera, the light, the file.

World coordinates are millimetres on the table: x right, y towards the bottom of the photo, z away from the
camera (so that height above the table is -z). Photo coordinates are pixels of the upright photo.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
import numpy.typing as npt

from sample_scans.forms import Design
from sample_scans.slips import RGB, FlatSlip

Floats = npt.NDArray[np.float64]
Image32 = npt.NDArray[np.float32]
Capture = Literal["scan", "easy", "hard"]
Table = Literal["wood", "dark wood", "check", "carpet", "dark", "white", "stone", "cloth"]

TABLES: tuple[Table, ...] = ("wood", "dark wood", "check", "carpet", "dark", "white", "stone", "cloth")

MAP_STEP = 6
"""The bent slip is traced back exactly at every sixth pixel and evenly between; that is close enough."""
TILE_SCALE = 4.0
"""Pixels per millimetre of the table's pattern."""
TILE = 1800
"""Side of the table's pattern in pixels; it is mirrored beyond that."""


@dataclass(frozen=True, slots=True)
class Bend:
    """How a slip's paper is bent: about straight lines, as paper bends, so that no length on it changes.

    Attributes
    ----------
    direction
        Angle of the direction along which the paper rises and falls, radians.
    curl
        Change of slope from the slip's middle to its edge, radians.
    lift
        Slope at the middle, radians.
    fold
        Half the change of slope at a crease, radians; ``crease`` is its place, -1 to 1 across the slip.
    """

    direction: float = 0.0
    curl: float = 0.0
    wave: float = 0.0
    fold: float = 0.0
    crease: float = 0.0


@dataclass(frozen=True, eq=False, slots=True)
class Laid:
    """A slip lying on the table: where its middle is (mm), how far it is turned (radians), how it is bent."""

    slip: FlatSlip
    x: float
    y: float
    angle: float
    bend: Bend


@dataclass(frozen=True, slots=True)
class Conditions:
    """Light, lens and file of one photo."""

    tilt: float
    tilt_direction: float
    blur: float
    motion: float
    noise: float
    gain: tuple[float, float, float]
    gradient: float
    gradient_direction: float
    vignette: float
    shadow: float
    focal: float
    fill: float


class _Paper:
    """One slip's surface: flat millimetres to the table's space."""

    def __init__(self, laid: Laid) -> None:
        self._laid = laid
        bend = laid.bend
        width, height = laid.slip.design.width, laid.slip.design.height
        c, s = np.cos(bend.direction), np.sin(bend.direction)
        reach = 0.5 * (abs(c) * width + abs(s) * height)
        self._t = np.linspace(-1.8 * reach, 1.8 * reach, 1441)
        inside = np.clip(self._t / reach, -1, 1)
        slope = bend.curl * inside + bend.wave * np.sin(2.6 * inside + bend.crease)
        slope = slope + bend.fold * np.tanh((inside - bend.crease) * reach / 1.2)
        self._slope = slope
        step = self._t[1] - self._t[0]
        along = np.concatenate([[0.0], np.cumsum(0.5 * (np.cos(slope[1:]) + np.cos(slope[:-1]))) * step])
        rise = np.concatenate([[0.0], np.cumsum(0.5 * (np.sin(slope[1:]) + np.sin(slope[:-1]))) * step])
        middle = len(self._t) // 2
        self._along = along - along[middle]
        on_paper = np.abs(self._t) <= reach
        self._rise = rise - rise[on_paper].min()

    def slope(self, u: Floats, v: Floats) -> Floats:
        """Slope of the paper along its bend."""
        return np.asarray(np.interp(self._across(u, v), self._t, self._slope))

    def height(self, u: Floats, v: Floats) -> Floats:
        """Height above the table in millimetres."""
        return np.asarray(np.interp(self._across(u, v), self._t, self._rise))

    def _across(self, u: Floats, v: Floats) -> Floats:
        d = self._laid.bend.direction
        return np.asarray(u * np.cos(d) + v * np.sin(d))

    def world(self, u: Floats, v: Floats) -> Floats:
        """Points (..., 3) in the table's space of points (u, v) mm from the slip's middle."""
        d = self._laid.bend.direction
        c, s = np.cos(d), np.sin(d)
        t, w = u * c + v * s, v * c - u * s
        bent = np.interp(t, self._t, self._along)
        x, y = bent * c - w * s, bent * s + w * c
        c, s = np.cos(self._laid.angle), np.sin(self._laid.angle)
        z = -0.3 - np.interp(t, self._t, self._rise)
        return np.stack([self._laid.x + x * c - y * s, self._laid.y + x * s + y * c, z], axis=-1)


class _Camera:
    """A pinhole camera that looks at the table."""

    def __init__(self, size: tuple[int, int], conditions: Conditions) -> None:
        self.width, self.height = size
        self._focal = conditions.focal * max(size)
        turn, tilt = conditions.tilt_direction, conditions.tilt
        axis = np.array([np.cos(turn), np.sin(turn), 0.0]) * tilt
        self._rotation = np.asarray(cv2.Rodrigues(axis)[0], np.float64)
        self._distance = 400.0
        self._origin = np.zeros(3)
        self._shift = np.array([self.width / 2, self.height / 2])

    def project(self, points: Floats) -> Floats:
        """Photo pixels (..., 2) of points (..., 3) in millimetres."""
        seen = (points - self._origin) @ self._rotation.T
        depth = seen[..., 2:] + self._distance
        return np.asarray(self._focal * seen[..., :2] / depth + self._shift)

    def frame(self, points: Floats, fill: float, offset: tuple[float, float]) -> None:
        """Move so that `points` fill this share of the photo, their middle `offset` (shares) off."""
        self._origin = np.array([*points.reshape(-1, 3).mean(axis=0)[:2], 0.0])
        for _ in range(8):
            seen = self.project(points).reshape(-1, 2)
            span = seen.max(axis=0) - seen.min(axis=0)
            ratio = max(span[0] / self.width, span[1] / self.height) / fill
            self._distance *= ratio
        seen = self.project(points).reshape(-1, 2)
        middle = 0.5 * (seen.max(axis=0) + seen.min(axis=0))
        room = np.array([self.width, self.height]) - (seen.max(axis=0) - seen.min(axis=0))
        self._shift = (
            self._shift + np.array([self.width, self.height]) / 2 - middle + 0.45 * room * np.array(offset)
        )

    def table_points(self, xy: Floats) -> Floats:
        """Points (..., 2) of the table, in millimetres, that photo pixels (..., 2) show."""
        ray = np.concatenate([(xy - self._shift) / self._focal, np.ones((*xy.shape[:-1], 1))], axis=-1)
        away = ray @ self._rotation
        start = self._origin - self._distance * self._rotation[2]
        depth = -start[2] / away[..., 2:]
        return np.asarray((start + depth * away)[..., :2])


def _spread(coarse: Floats, rows: int, columns: int) -> Image32:
    """Fill in between points that lie MAP_STEP pixels apart."""
    y, x = np.arange(rows) / MAP_STEP, np.arange(columns) / MAP_STEP
    iy, ix = np.minimum(y.astype(int), coarse.shape[0] - 2), np.minimum(x.astype(int), coarse.shape[1] - 2)
    fy, fx = (y - iy).astype(np.float32)[:, None], (x - ix).astype(np.float32)[None, :]
    small = coarse.astype(np.float32)
    across = small[:, ix] * (1 - fx) + small[:, ix + 1] * fx
    return np.asarray(across[iy] * (1 - fy) + across[iy + 1] * fy, np.float32)


def _grid(left: int, top: int, rows: int, columns: int) -> Floats:
    """The coarse points' pixels, (N, M, 2)."""
    ys = top + MAP_STEP * np.arange(rows // MAP_STEP + 2, dtype=float)
    xs = left + MAP_STEP * np.arange(columns // MAP_STEP + 2, dtype=float)
    return np.stack(np.meshgrid(xs, ys), axis=-1)


def _find_on_paper(
    paper: _Paper, camera: _Camera, pixels: Floats, width: float, height: float
) -> tuple[Floats, Floats]:
    """Which point (u, v) of the slip each photo pixel shows (Newton's method from a homography)."""
    u0 = np.array([-width, width, width, -width]) / 2
    v0 = np.array([-height, -height, height, height]) / 2
    corners = camera.project(paper.world(u0, v0))
    back = cv2.getPerspectiveTransform(
        corners.astype(np.float32), np.stack([u0, v0], axis=-1).astype(np.float32)
    )
    guess = cv2.perspectiveTransform(pixels.reshape(1, -1, 2), back.astype(np.float64)).reshape(-1, 2)
    u: Floats = np.clip(guess[:, 0], -width, width)
    v: Floats = np.clip(guess[:, 1], -height, height)
    wanted = pixels.reshape(-1, 2)
    small = 0.05
    for _ in range(9):
        here = camera.project(paper.world(u, v))
        du = (camera.project(paper.world(u + small, v)) - here) / small
        dv = (camera.project(paper.world(u, v + small)) - here) / small
        off = wanted - here
        det = du[:, 0] * dv[:, 1] - du[:, 1] * dv[:, 0]
        det = np.where(np.abs(det) < 1e-6, 1e-6, det)
        step_u = (off[:, 0] * dv[:, 1] - off[:, 1] * dv[:, 0]) / det
        step_v = (du[:, 0] * off[:, 1] - du[:, 1] * off[:, 0]) / det
        u = u + np.clip(step_u, -20, 20)
        v = v + np.clip(step_v, -20, 20)
    return u.reshape(pixels.shape[:-1]), v.reshape(pixels.shape[:-1])


def _noise(shape: tuple[int, int], size: tuple[float, float], rng: np.random.Generator) -> Image32:
    """Smooth noise with features about `size` (height, width) pixels."""
    small = (max(2, int(shape[0] / size[0]) + 2), max(2, int(shape[1] / size[1]) + 2))
    return np.asarray(
        cv2.resize(
            rng.standard_normal(small, dtype=np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC
        ),
        np.float32,
    )


def table_tile(kind: Table, rng: np.random.Generator) -> Image32:
    """Draw the pattern of a table, (TILE, TILE, 3) float32, 0 to 255."""
    shape = (TILE, TILE)
    if kind in ("wood", "dark wood"):
        return _wood(kind, rng)
    if kind in ("check", "cloth"):
        return _cloth(kind, rng)
    if kind == "carpet":
        base = np.array(
            [(120, 60, 55), (70, 85, 110), (125, 110, 85), (80, 95, 70)][int(rng.integers(4))], np.float32
        )
        pile = (
            16 * _noise(shape, (4, 4), rng)
            + 9 * _noise(shape, (9, 7), rng)
            + 8 * _noise(shape, (60, 60), rng)
        )
        fleck = (_noise(shape, (6, 6), rng) > 1.9).astype(np.float32) * 40
        soft = cv2.GaussianBlur(fleck, (0, 0), 1.2).astype(np.float32)
        return np.asarray(base + pile[..., None] + soft[..., None], np.float32)
    if kind == "stone":
        base = np.array([(150, 148, 142), (95, 96, 100), (178, 168, 150)][int(rng.integers(3))], np.float32)
        fleck = 14 * _noise(shape, (5, 5), rng) + 8 * _noise(shape, (16, 14), rng)
        dark = (_noise(shape, (7, 7), rng) > 1.6).astype(np.float32) * -45
        light = (_noise(shape, (8, 8), rng) > 1.7).astype(np.float32) * 40
        return base + (fleck + cv2.GaussianBlur(dark + light, (0, 0), 1.0))[..., None]
    base = np.array((48, 50, 56) if kind == "dark" else (228, 227, 223), np.float32)
    if kind == "dark":
        base = base + rng.uniform(-18, 18, 3).astype(np.float32)
    return base + (2.0 * _noise(shape, (3, 3), rng) + 2.5 * _noise(shape, (150, 200), rng))[..., None]


def _wood(kind: Table, rng: np.random.Generator) -> Image32:
    shape = (TILE, TILE)
    base = np.array((178, 132, 86) if kind == "wood" else (96, 62, 40), np.float32)
    base = base * rng.uniform(0.85, 1.12)
    plank = int(rng.uniform(90, 150) * TILE_SCALE)
    flow = np.zeros(shape, np.float32)
    tone = np.zeros(shape, np.float32)
    for top in range(0, TILE, plank):
        rows = min(plank, TILE - top)
        part = (rows, TILE)
        bend = 26 * _noise(part, (150, 600), rng)
        y = np.arange(rows, dtype=np.float32)[:, None] + bend
        ring = np.sin(y * float(rng.uniform(0.12, 0.25)) + 3 * _noise(part, (120, 900), rng))
        fine = _noise(part, (2.5, 130), rng) + 0.7 * _noise(part, (5, 300), rng)
        flow[top : top + rows] = 0.09 * ring + 0.07 * fine
        tone[top : top + rows] = float(rng.normal(0, 0.06))
        tone[top : top + 4] = -0.45
    shade = (1 + flow + tone)[..., None]
    return np.asarray(base * shade * np.array([1.0, 0.99, 0.97], np.float32), np.float32)


def _cloth(kind: Table, rng: np.random.Generator) -> Image32:
    at = np.arange(TILE)
    colour = np.array(
        [(190, 60, 60), (60, 95, 160), (70, 130, 90), (205, 160, 60)][int(rng.integers(4))], np.float32
    )
    light = np.array((238, 234, 226), np.float32)
    if kind == "check":
        period = int(rng.uniform(18, 42) * TILE_SCALE)
        stripe = ((at % period) < period / 2).astype(np.float32)
        mix = 0.5 * (stripe[:, None] + stripe[None, :])
    else:
        period = int(rng.uniform(26, 60) * TILE_SCALE)
        y, x = np.mgrid[0:TILE, 0:TILE].astype(np.float32)
        cy, cx = (y % period) - period / 2, (x % period) - period / 2
        ring = np.hypot(cx, cy)
        petals = period * (0.24 + 0.09 * np.cos(5 * np.arctan2(cy, cx)))
        mix = np.clip((petals - ring) / 3, 0, 1) * 0.9
    weave = 0.035 * np.sin(at * 1.3)[:, None] * np.sin(at * 1.3)[None, :] + 0.02 * _noise(
        (TILE, TILE), (3, 3), rng
    )
    fold = 0.05 * _noise((TILE, TILE), (500, 700), rng)
    return np.asarray((light + (colour - light) * mix[..., None]) * (1 + weave + fold)[..., None], np.float32)


@dataclass(frozen=True, eq=False, slots=True)
class Shot:
    """One upright photo and where its slips are: outlines (4, 2), maps from slip millimetres to pixels."""

    image: RGB
    outlines: tuple[Floats, ...]
    to_photo: tuple[Callable[[Floats], Floats], ...]


SKINS = ((224, 178, 152), (198, 144, 112), (150, 100, 72), (104, 68, 50))
ARM = 220.0
THUMB_WIDTH = 19.0
"""Millimetres; ``ARM`` is how far thumb and arm go on outside the slip."""


@dataclass(frozen=True, slots=True)
class Thumb:
    """A thumb that holds the uppermost slip down.

    ``edge`` counts the slip's edges from its top clockwise, ``along`` is 0 to 1 on that edge, ``reach`` how
    far the thumb comes in, millimetres.
    """

    edge: int
    along: float
    reach: float
    skin: tuple[int, int, int]


def shoot(
    size: tuple[int, int],
    laid: Sequence[Laid],
    table: Table,
    conditions: Conditions,
    rng: np.random.Generator,
    thumb: Thumb | None = None,
) -> Shot:
    """Photograph slips on a table.

    Parameters
    ----------
    size
        Width and height of the upright photo in pixels.
    laid
        The slips, the lowest first; may be empty.
    """
    width, height = size
    camera = _Camera(size, conditions)
    papers = [_Paper(one) for one in laid]
    if laid:
        around = [
            paper.world(
                *(
                    np.array([[-1, 1, 1, -1], [-1, -1, 1, 1]])
                    * 0.5
                    * np.array([[p.slip.design.width], [p.slip.design.height]])
                )
            )
            for paper, p in zip(papers, laid, strict=True)
        ]
        camera.frame(
            np.stack(around), conditions.fill, (float(rng.uniform(-1, 1)), float(rng.uniform(-1, 1)))
        )
    image = _photograph_table(camera, table, width, height, rng)
    outlines, maps = [], []
    light_turn = float(rng.uniform(0, 2 * np.pi))
    for one, paper in zip(laid, papers, strict=True):
        outline, to_photo = _photograph_slip(image, camera, one, paper, light_turn)
        outlines.append(outline)
        maps.append(to_photo)
    if thumb is not None and laid:
        _photograph_thumb(image, maps[-1], laid[-1].slip.design, thumb)
    return Shot(_develop(image, conditions, rng), tuple(outlines), tuple(maps))


def _photograph_thumb(
    image: Image32, to_photo: Callable[[Floats], Floats], design: Design, thumb: Thumb
) -> None:
    """Draw a thumb over a slip's edge, its nail towards the slip's middle."""
    w, h, a = design.width, design.height, thumb.along
    start = np.array([(a * w, 0.0), (w, a * h), (a * w, h), (0.0, a * h)][thumb.edge])
    inward = np.array([(0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0)][thumb.edge])
    ways = np.array([thumb.reach - THUMB_WIDTH / 2, -ARM, thumb.reach])
    tip, root, end = to_photo(start + ways[:, None] * inward)
    radius = float(np.linalg.norm(end - tip))
    towards = (tip - root) / np.linalg.norm(tip - root)
    shade = _stroke(image, tip + radius * 0.25, root + radius * 0.25, 2 * radius, 0.3 * radius)
    image *= (1 - 0.35 * shade)[..., None]
    skin = np.array(thumb.skin, np.float32)
    light = 0.72 + 0.3 * _stroke(image, tip, root, radius, 0.4 * radius)
    body = _stroke(image, tip, root, 2 * radius, 1.5)
    image += (skin * light[..., None] - image) * body[..., None]
    nail = _stroke(image, tip + 0.1 * radius * towards, tip + 0.35 * radius * towards, 1.1 * radius, 2.0)
    image += (np.minimum(skin * 1.12 + 8, 250) - image) * 0.8 * nail[..., None]


def _stroke(image: Image32, start: Floats, end: Floats, width: float, soft: float) -> Image32:
    """A thick line with round ends and soft edges, 0 to 1, as large as the photo."""
    mask = np.zeros(image.shape[:2], np.uint8)
    (x0, y0), (x1, y1) = np.round(start).astype(int).tolist(), np.round(end).astype(int).tolist()
    cv2.line(mask, (x0, y0), (x1, y1), (255,), max(1, int(width)))
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), soft), np.float32) / np.float32(255)


def _photograph_table(
    camera: _Camera, table: Table, width: int, height: int, rng: np.random.Generator
) -> Image32:
    tile = table_tile(table, rng)
    spin = float(rng.uniform(0, 2 * np.pi))
    where = camera.table_points(_grid(0, 0, height, width)) * TILE_SCALE
    c, s = np.cos(spin), np.sin(spin)
    x, y = where[..., 0] * c - where[..., 1] * s + TILE / 2, where[..., 0] * s + where[..., 1] * c + TILE / 2
    return np.asarray(
        cv2.remap(
            tile,
            _spread(x, height, width),
            _spread(y, height, width),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REFLECT,
        ),
        np.float32,
    )


def _photograph_slip(
    image: Image32, camera: _Camera, one: Laid, paper: _Paper, light_turn: float
) -> tuple[Floats, Callable[[Floats], Floats]]:
    """Draw one slip into the photo, with its shadow on what lies below."""
    slip = one.slip
    w, h = slip.design.width, slip.design.height
    rim = np.linspace(-0.5, 0.5, 40)
    edge_u = np.concatenate([rim, np.full(40, 0.5), rim, np.full(40, -0.5)]) * w
    edge_v = np.concatenate([np.full(40, -0.5), rim, np.full(40, 0.5), rim]) * h
    seen = camera.project(paper.world(edge_u, edge_v))
    pad = 40
    left, top = np.maximum(np.floor(seen.min(axis=0)).astype(int) - pad, 0)
    right = min(int(seen[:, 0].max()) + pad, image.shape[1])
    bottom = min(int(seen[:, 1].max()) + pad, image.shape[0])
    rows, columns = bottom - top, right - left
    u, v = _find_on_paper(paper, camera, _grid(int(left), int(top), rows, columns), w, h)
    slope, height = paper.slope(u, v), paper.height(u, v)
    fine_u, fine_v = _spread(u, rows, columns), _spread(v, rows, columns)
    spread = float(np.sqrt(cv2.contourArea(seen.astype(np.float32)[[0, 39, 79, 80]]) / (w * h))) or 1.0
    inside = np.minimum(w / 2 - np.abs(fine_u), h / 2 - np.abs(fine_v))
    cover = np.clip(inside * spread + 0.5, 0, 1).astype(np.float32)
    picture, scale = slip.image, slip.scale
    if spread < 0.85 * scale:
        scale_to = spread * 1.1
        size = (max(1, round(w * scale_to)), max(1, round(h * scale_to)))
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    sx, sy = picture.shape[1] / w, picture.shape[0] / h
    flat = cv2.remap(
        picture,
        (fine_u + np.float32(w / 2)) * np.float32(sx) - 0.5,
        (fine_v + np.float32(h / 2)) * np.float32(sy) - 0.5,
        cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float32)  # fmt: skip
    across = one.bend.direction + one.angle - light_turn
    shade = 1 + 0.55 * np.cos(across) * np.sin(slope) - 0.25 * np.sin(slope) ** 2
    flat *= _spread(shade, rows, columns)[..., None]
    below = image[top:bottom, left:right]
    lift = 1.5 + 0.25 * float(np.clip(height, 0, 40).mean())
    dx, dy = (lift * spread * 0.45 * np.array([np.cos(light_turn), np.sin(light_turn)])).tolist()
    moved = cv2.warpAffine(cover, np.array([[1, 0, dx], [0, 1, dy]], np.float32), (columns, rows))
    dark = cv2.GaussianBlur(moved, (0, 0), max(1.0, 0.5 * lift * spread))
    below *= (1 - 0.42 * dark)[..., None]
    below += (flat - below) * cover[..., None]

    def to_photo(points: Floats) -> Floats:
        # The camera counts from the middle of the first pixel, the truth from its corner.
        return camera.project(paper.world(points[..., 0] - w / 2, points[..., 1] - h / 2)) + 0.5

    return to_photo(np.array([[0, 0], [w, 0], [w, h], [0, h]], float)), to_photo


def _develop(image: Image32, conditions: Conditions, rng: np.random.Generator) -> RGB:
    """Light, lens and sensor."""
    height, width = image.shape[:2]
    small = (height // 8 + 1, width // 8 + 1)
    y, x = np.mgrid[0 : small[0], 0 : small[1]].astype(np.float32)
    x, y = x / small[1] - 0.5, y / small[0] - 0.5
    c, s = np.cos(conditions.gradient_direction), np.sin(conditions.gradient_direction)
    light = 1 + conditions.gradient * (x * c + y * s) - conditions.vignette * (x * x + y * y) * 2
    light += 0.02 * _noise(small, (small[0] / 2.5, small[1] / 2.5), rng)
    if conditions.shadow:
        light *= 1 - conditions.shadow * _cast_shadow(small, rng)
    light = cv2.resize(light.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    image = image * light[..., None] * np.array(conditions.gain, np.float32)
    if conditions.blur > 0.3:
        image = cv2.GaussianBlur(image, (0, 0), conditions.blur).astype(np.float32)
    if conditions.motion > 1:
        length = int(2 * conditions.motion) | 1
        kernel = np.zeros((length, length), np.float32)
        kernel[length // 2, :] = 1 / length
        turn = cv2.getRotationMatrix2D((length // 2, length // 2), float(rng.uniform(0, 180)), 1.0)
        kernel = cv2.warpAffine(kernel, turn, (length, length)).astype(np.float32)
        image = cv2.filter2D(image, -1, kernel / kernel.sum()).astype(np.float32)
    grain = rng.standard_normal((height, width), dtype=np.float32)
    colour = rng.standard_normal((height // 2 + 1, width // 2 + 1, 3), dtype=np.float32)
    colour = cv2.resize(colour, (width, height), interpolation=cv2.INTER_LINEAR).astype(np.float32)
    noisy = image + conditions.noise * (0.8 * grain[..., None] + 0.5 * colour)
    return np.asarray(np.clip(noisy + 0.5, 0, 255), np.uint8)


def _cast_shadow(shape: tuple[int, int], rng: np.random.Generator) -> Image32:
    """The soft shadow of a head, an arm or the phone, 0 to 1."""
    rows, columns = shape
    canvas = np.zeros(shape, np.float32)
    side = float(rng.uniform(0, 2 * np.pi))
    cx = columns * (0.5 + 0.45 * np.cos(side))
    cy = rows * (0.5 + 0.45 * np.sin(side))
    size = float(rng.uniform(0.22, 0.42)) * max(rows, columns)
    if rng.random() < 0.5:
        cv2.ellipse(
            canvas,
            (int(cx), int(cy)),
            (int(size), int(size * 0.8)),
            float(rng.uniform(0, 180)),
            0,
            360,
            (1.0,),
            -1,
        )
        arm = (int(cx + 2 * size * np.cos(side)), int(cy + 2 * size * np.sin(side)))
        cv2.line(canvas, (int(cx), int(cy)), arm, (1.0,), int(size))
    else:
        box = cv2.boxPoints(((float(cx), float(cy)), (1.1 * size, 2 * size), float(rng.uniform(0, 180))))
        cv2.fillConvexPoly(canvas, box.astype(np.int32), (1.0,))
    return np.asarray(cv2.GaussianBlur(canvas, (0, 0), float(rng.uniform(3, 14))), np.float32)


def scan(slip: FlatSlip, skew: float, rng: np.random.Generator) -> Shot:
    """Lay a slip on a flat-bed scanner, turned by `skew` radians, under its pale lid."""
    scale = slip.scale
    w, h = slip.design.width, slip.design.height
    margin = rng.uniform(4, 16, 4)
    width, height = round((w + margin[0] + margin[2]) * scale), round((h + margin[1] + margin[3]) * scale)
    c, s = np.cos(skew), np.sin(skew)
    middle = np.array([(margin[0] + w / 2) * scale, (margin[1] + h / 2) * scale])
    matrix = np.array([[c, -s, 0], [s, c, 0]], np.float64)
    matrix[:, 2] = middle - matrix[:, :2] @ (np.array([w, h]) * scale / 2)
    lid = np.full((height, width, 3), float(rng.uniform(222, 246)), np.float32)
    lid += 1.0 * _noise((height, width), (2, 2), rng)[..., None]
    shifted = matrix.copy()
    shifted[:, 2] += matrix[:, :2] @ np.array([0.5, 0.5]) - 0.5
    flat = cv2.warpAffine(
        slip.image, shifted, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    cover = cv2.warpAffine(np.full(slip.image.shape[:2], 1.0, np.float32), shifted, (width, height))
    moved = cv2.warpAffine(cover, np.array([[1, 0, 3], [0, 1, 4]], np.float32), (width, height))
    dark = np.clip(cv2.GaussianBlur(moved, (0, 0), 4.0) - cover, 0, 1)
    image = lid * (1 - 0.3 * dark)[..., None]
    image += (flat.astype(np.float32) - image) * cover[..., None]
    image = cv2.GaussianBlur(image, (0, 0), 0.6).astype(np.float32)
    image += 1.6 * rng.standard_normal(image.shape, dtype=np.float32)

    def to_photo(points: Floats) -> Floats:
        return np.asarray((points * scale) @ matrix[:, :2].T + matrix[:, 2])

    outline = to_photo(np.array([[0, 0], [w, 0], [w, h], [0, h]], float))
    return Shot(np.clip(image + 0.5, 0, 255).astype(np.uint8), (outline,), (to_photo,))
