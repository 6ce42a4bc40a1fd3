"""A drawn slip as it looks once photographed and flattened: ink on paper, what is left of curl, light, blur, noise."""

from collections.abc import Sequence
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt
from numpy.random import Generator

from models.forms.paper import Canvas, Colour, Image, Rect

Points = npt.NDArray[np.float32]

_STEP = 16  # pixels between the places where the map is reckoned; between them it is straight
_POOL = 1400  # pixels of the noise that pictures are cut from
PENS: tuple[Colour, ...] = (
    (22, 22, 28),
    (28, 36, 120),
    (20, 44, 150),
    (40, 40, 48),
    (60, 60, 66),
    (130, 24, 34),
    (24, 90, 50),
)
_PEN_SHARES = (0.27, 0.27, 0.15, 0.12, 0.1, 0.05, 0.04)
CARBONS: tuple[Colour, ...] = (
    (70, 72, 125),
    (60, 60, 72),
    (86, 70, 126),
    (45, 62, 135),
    (95, 95, 108),
    (120, 60, 110),
)


@cache
def _noise() -> tuple[Image, Image, npt.NDArray[np.float32]]:
    """Return sensor noise, coarser colour noise (uint8 around 128) and the gaps of carbon (float in 0..1)."""
    rng = np.random.default_rng(11)
    fine = rng.normal(0, 1, (_POOL, _POOL, 3)).astype(np.float32)
    coarse = cv2.GaussianBlur(fine, (0, 0), 1.3)
    coarse /= coarse.std()
    gaps = cv2.GaussianBlur(rng.normal(0, 1, (_POOL, _POOL)).astype(np.float32), (0, 0), 1.6)
    gaps /= gaps.std()
    return (
        np.clip(fine * 32 + 128, 0, 255).astype(np.uint8),
        np.clip(coarse * 32 + 128, 0, 255).astype(np.uint8),
        np.clip(0.5 + 0.5 * gaps, 0, 1),
    )


def _piece(pool: npt.NDArray[np.generic], h: int, w: int, rng: Generator) -> npt.NDArray[np.generic]:
    y, x = int(rng.integers(0, _POOL - h)), int(rng.integers(0, _POOL - w))
    return pool[y : y + h, x : x + w]


def worn(canvas: Canvas, paper: Colour, rng: Generator) -> None:
    """Let the print be worn or badly inked: paper shows through it in specks."""
    left, top, right, bottom = (round(v) for v in canvas.page)
    page = canvas.image[top:bottom, left:right]
    gaps = _piece(_noise()[2], *page.shape[:2], rng)
    cover = np.clip((gaps - 0.35) * 255 * float(rng.uniform(0.3, 1.1)), 0, 215).astype(np.uint8)
    blank = np.empty_like(page)
    cv2.rectangle(blank, (0, 0), (page.shape[1], page.shape[0]), paper, -1)
    mask = cv2.merge([cover] * 3)
    page[...] = cv2.add(
        cv2.multiply(page, 255 - mask, scale=1 / 255), cv2.multiply(blank, mask, scale=1 / 255)
    )


def ink(canvas: Canvas, rng: Generator) -> None:
    """Lay the pens on the paper, each as ballpoint, pencil or the carbon of one."""
    h, w = canvas.image.shape[:2]
    carbon = rng.random() < 0.25
    for name in sorted(canvas.pens):
        mask = canvas.pens[name]
        top, bottom = _extent(mask)
        if top >= bottom:
            continue
        mask = mask[top:bottom]
        if carbon and name == "pen":
            colour = CARBONS[int(rng.integers(len(CARBONS)))]
            strength = float(rng.uniform(0.35, 0.9))
            mask = cv2.GaussianBlur(mask, (0, 0), float(rng.uniform(0.5, 1.2)))
            gap = float(rng.uniform(0.1, 0.9))
            worn = 1 - gap * _piece(_noise()[2], *mask.shape, rng)
            mask = cv2.multiply(mask, (worn * 255).astype(np.uint8), scale=strength * 1.25 / 255)
        else:
            colour = PENS[int(rng.choice(len(PENS), p=_PEN_SHARES))]
            strength = float(rng.uniform(0.55, 1.0))
            if rng.random() < 0.15:  # pencil
                colour = (70, 70, 76)
                grain = 1 - 0.6 * _piece(_noise()[2], *mask.shape, rng)
                mask = cv2.multiply(mask, (grain * 255).astype(np.uint8), scale=1 / 255)
            mask = cv2.convertScaleAbs(mask, alpha=strength)
        table = np.stack([255 - np.arange(256) * (1 - c / 255) for c in colour], 1)
        lut = np.clip(np.round(table), 0, 255).astype(np.uint8)[None]
        through = cv2.LUT(cv2.merge([mask, mask, mask]), lut)
        canvas.image[top:bottom] = cv2.multiply(canvas.image[top:bottom], through, scale=1 / 255)


def _extent(mask: Image) -> tuple[int, int]:
    rows = np.flatnonzero(mask.max(1))
    return (int(rows[0]), int(rows[-1]) + 1) if len(rows) else (0, 0)


class Warp:
    """What curl, perspective and a crooked cut are left: from pixels of the picture to those of the canvas."""

    def __init__(self, page: Rect, out: tuple[int, int], rng: Generator) -> None:
        h, w = out
        tight = rng.random() < 0.35
        rims = rng.uniform(-0.006, 0.008, 4) if tight else rng.uniform(-0.012, 0.03, 4)
        if rng.random() < 0.15:
            rims[int(rng.integers(4))] = rng.uniform(-0.03, 0.035)
        left, top = page.left - rims[0] * page.width, page.top - rims[1] * page.height
        right, bottom = page.right + rims[2] * page.width, page.bottom + rims[3] * page.height
        quad = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)
        quad += rng.normal(0, float(rng.choice([0.0006, 0.002])) * max(h, w), (4, 2))
        turn = float(np.clip(rng.normal(0, 0.25), -0.7, 0.7)) * np.pi / 180
        centre = quad.mean(0)
        c, s = np.cos(turn), np.sin(turn)
        quad = (quad - centre) @ np.array([[c, s], [-s, c]]) + centre
        corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
        self._matrix = cv2.getPerspectiveTransform(corners, quad.astype(np.float32))
        self._inverse = np.linalg.inv(self._matrix)
        self._size = (h, w)
        amp = float(rng.choice([0.5, 1.5, 3.0], p=[0.4, 0.4, 0.2]))
        self._waves = [
            (
                rng.uniform(-1, 1, 2) * amp / (k + 1),
                rng.uniform(-1, 1, 2) * np.pi * (k + 0.7),
                float(rng.uniform(0, 6.3)),
            )
            for k in range(3)
        ]

    def _bend(self, points: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
        h, w = self._size
        unit = points / np.array([w, h])
        return sum((np.sin(unit @ f + p)[..., None] * a for a, f, p in self._waves), np.zeros_like(unit))

    @staticmethod
    def _through(
        matrix: npt.NDArray[np.floating], points: npt.NDArray[np.floating]
    ) -> npt.NDArray[np.floating]:
        flat = points @ matrix[:2, :2].T + matrix[:2, 2]
        return flat / (points @ matrix[2, :2] + matrix[2, 2])[..., None]

    def render(self, image: Image) -> Image:
        """Return the picture."""
        h, w = self._size
        ny, nx = -(-h // _STEP) + 2, -(-w // _STEP) + 2
        at = np.stack(np.meshgrid(np.arange(nx), np.arange(ny)), -1) * _STEP - _STEP / 2 - 0.0
        grid = self._through(self._matrix, at) + self._bend(at) - 0.5
        full = cv2.resize(grid.astype(np.float32), (nx * _STEP, ny * _STEP), interpolation=cv2.INTER_LINEAR)
        # A cell's middle lies half a step in, so the map starts one whole step before the picture.
        full = full[_STEP : _STEP + h, _STEP : _STEP + w]
        return cv2.remap(image, full, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)

    def forward(self, points: npt.NDArray[np.floating]) -> Points:
        """Return where points (..., 2) of the canvas lie in the picture."""
        found = self._through(self._inverse, points)
        for _ in range(3):
            found = self._through(self._inverse, points - self._bend(found))
        return found.astype(np.float32)


def crease(canvas: Canvas, rng: Generator) -> None:
    """Fold the paper once or twice: a bright and a dark line beside each other."""
    h, w = canvas.image.shape[:2]
    for _ in range(int(rng.integers(1, 3))):
        wide = int(rng.integers(2, 6))
        profile = np.r_[
            np.linspace(1, rng.uniform(0.82, 0.96), wide), np.linspace(rng.uniform(1.01, 1.08), 1, wide)
        ]
        if rng.random() < 0.5:
            y = int(rng.uniform(0.2, 0.8) * h)
            part = canvas.image[y : y + 2 * wide]
            part[...] = np.clip(part * profile[:, None, None], 0, 255)
        else:
            x = int(rng.uniform(0.2, 0.8) * w)
            strip = canvas.image[:, x : x + 2 * wide]
            strip[...] = np.clip(strip * profile[None, :, None], 0, 255)


def finger(image: Image, rng: Generator) -> None:
    """Hold a corner or an edge with a finger's tip."""
    h, w = image.shape[:2]
    skin = np.array(
        [[224, 172, 140], [198, 140, 108], [150, 100, 72], [104, 68, 50], [236, 190, 164]][
            int(rng.integers(5))
        ]
    )
    size = rng.uniform(0.03, 0.06) * max(h, w)
    x = float(rng.choice([rng.uniform(0, 0.08), rng.uniform(0.92, 1.0)])) * w
    y = float(rng.choice([rng.uniform(0, 0.06), rng.uniform(0.94, 1.0)])) * h
    turn = np.degrees(np.arctan2(h / 2 - y, w / 2 - x))
    axes = (round(size * 1.5), round(size * 0.7))
    shadow = tuple(int(v) for v in skin * 0.6)
    cv2.ellipse(image, (round(x) + 3, round(y) + 3), axes, turn, 0, 360, shadow, -1, cv2.LINE_AA)
    cv2.ellipse(image, (round(x), round(y)), axes, turn, 0, 360, tuple(int(v) for v in skin), -1, cv2.LINE_AA)


def _light(h: int, w: int, rng: Generator) -> npt.NDArray[np.float32]:
    """Return the light on the paper (ny, nx, 3), 1 where it is as bright as can be: slope, shadows, cast."""
    ny, nx = 24, 18
    y, x = np.meshgrid(np.linspace(-1, 1, ny), np.linspace(-1, 1, nx), indexing="ij")
    strength = float(rng.choice([0.03, 0.1, 0.28], p=[0.5, 0.35, 0.15]))
    a, b, c = rng.normal(0, strength, 3)
    field = 1 + a * x / 2 + b * y / 2 + c * (x * x + y * y - 0.6) / 3
    if rng.random() < 0.25:  # the edge of a shadow
        turn, at = rng.uniform(0, 6.3), rng.uniform(-0.7, 0.7)
        edge = np.cos(turn) * x + np.sin(turn) * y - at
        field *= 1 - float(rng.uniform(0.05, 0.4)) / (1 + np.exp(-edge * rng.uniform(4, 30)))
    cast = 1 + rng.normal(0, float(rng.choice([0.01, 0.05], p=[0.65, 0.35])), 3)
    field = field / max(1.0, float(field.max()))
    return np.clip(field[..., None] * cast / max(1.0, float(cast.max())), 0.15, 1).astype(np.float32)


def develop(image: Image, rng: Generator) -> Image:
    """Return the picture as a phone gives it: light, softness, contrast, noise and JPEG."""
    h, w = image.shape[:2]
    light = _light(h, w, rng) * float(1.0 - 0.26 * rng.random() ** 1.6)
    field = cv2.resize(np.clip(light * 255, 0, 255).astype(np.uint8), (w, h), interpolation=cv2.INTER_LINEAR)
    image = cv2.multiply(image, field, scale=1 / 255)
    if rng.random() < 0.05:
        spot = np.zeros((24, 18), np.uint8)
        cv2.ellipse(
            spot,
            (int(rng.integers(18)), int(rng.integers(24))),
            (int(rng.integers(1, 4)), int(rng.integers(1, 5))),
            0,
            0,
            360,
            int(rng.integers(40, 160)),
            -1,
        )
        spot = cv2.resize(cv2.GaussianBlur(spot, (0, 0), 1.2), (w, h), interpolation=cv2.INTER_CUBIC)
        image = cv2.add(image, cv2.merge([spot, spot, spot]))
    soft = rng.random()
    if soft < 0.12:  # a small photo, enlarged
        factor = float(rng.uniform(0.42, 0.8))
        small = cv2.resize(image, (round(w * factor), round(h * factor)), interpolation=cv2.INTER_AREA)
        image = cv2.resize(
            small, (w, h), interpolation=cv2.INTER_CUBIC if rng.random() < 0.5 else cv2.INTER_LINEAR
        )
    elif soft < 0.55:
        image = cv2.GaussianBlur(image, (0, 0), float(rng.uniform(0.35, 1.0)))
    elif soft < 0.65:
        image = cv2.GaussianBlur(image, (0, 0), float(rng.uniform(1.0, 1.9)))
    elif soft < 0.7:
        n = int(rng.integers(3, 7))
        kernel = np.eye(n, dtype=np.float32) if rng.random() < 0.5 else np.zeros((n, n), np.float32)
        kernel[n // 2] += 0 if kernel.any() else 1
        image = cv2.filter2D(image, -1, kernel / kernel.sum())
    gamma, low, high = (
        float(rng.uniform(0.8, 1.25)),
        float(rng.choice([0, rng.uniform(0, 60)])),
        float(rng.uniform(225, 256)),
    )
    ramp = np.clip(low + (high - low) * (np.arange(256) / 255) ** gamma, 0, 255).astype(np.uint8)
    image = cv2.LUT(image, ramp)
    amount = float(rng.choice([0.02, 0.08, 0.2, 0.4], p=[0.35, 0.4, 0.18, 0.07])) * float(
        rng.uniform(0.6, 1.2)
    )
    grain = _piece(_noise()[int(rng.integers(2))], h, w, rng)
    image = cv2.addWeighted(image, 1.0, np.asarray(grain, np.uint8), amount, -128 * amount)
    if rng.random() < 0.15:
        image = cv2.addWeighted(image, 1.6, cv2.GaussianBlur(image, (0, 0), 1.2), -0.6, 0)
    if rng.random() < 0.75:
        quality = int(rng.choice([rng.integers(25, 60), rng.integers(60, 96)], p=[0.25, 0.75]))
        _, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
        image = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return np.asarray(image, np.uint8)


def corners(rects: Sequence[Rect]) -> npt.NDArray[np.float64]:
    """Return the corners (n, 4, 2) of rectangles: tl, tr, br, bl."""
    r = np.array(rects, float).reshape(-1, 4)
    return np.stack([r[:, [0, 1]], r[:, [2, 1]], r[:, [2, 3]], r[:, [0, 3]]], 1)
