"""Photos of slips for training the finder: forms laid on tables, as small as the finder sees them, with labels.

This is another camera than that of ``sample_scans``, with which the finder is measured: no background, light or
lens is shared between training and measurement.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from models.sheets.forms import draw_form
from models.sheets.tables import SKINS, Plane, noise, table, thing

Generator = np.random.Generator
Image = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]

LONG, SHORT = 512, 384
PAD = 4
"""Flat slips of one pad that come together."""
_CORE = (
    5.0  # pixels from a slip's outline: what lies further in is its core, and parts it from its neighbours
)
_BAG: list[Image] = []  # forms drawn lately: each is laid into some scenes before a new one takes its place
_BAG_SIZE = 150
_EDGE = 1.6  # pixels: how thick the outline is drawn


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A small photo and its labels.

    ``image`` (H, W, 3) uint8 RGB; ``labels`` (H / 2, W / 2, 3) uint8, 0 to 255: slip, outline, core.
    """

    image: Image
    labels: Image


def _place(
    count: int, h: int, w: int, shapes: Sequence[float], rng: Generator
) -> list[tuple[float, float, float, float, float]]:
    """Return x, y, width, height, angle (radians) of each slip; ``shapes`` are widths over heights."""
    placed = []
    columns = int(np.ceil(np.sqrt(count * w / h) * float(rng.uniform(0.7, 1.4)))) if count > 1 else 1
    columns = int(np.clip(columns, 1, count)) if count else 1
    rows = -(-count // columns) if count else 1
    cell = (w / columns, h / rows)
    quarter = float(rng.integers(4)) * np.pi / 2
    common = rng.random() < 0.6
    loose = rng.random() < 0.5
    fill = float(rng.uniform(0.72, 1.03)) if rng.random() < 0.85 else float(rng.uniform(0.35, 0.8))
    for i in range(count):
        turn = quarter if common else float(rng.integers(4)) * np.pi / 2
        angle = (
            turn + float(rng.normal(0, 0.12 if loose else 0.04))
            if rng.random() < 0.85
            else float(rng.uniform(0, 2 * np.pi))
        )
        c, s = abs(np.cos(angle)), abs(np.sin(angle))
        ratio = shapes[i]
        high = (
            min(cell[0] / (ratio * c + s), cell[1] / (ratio * s + c)) * fill * float(rng.uniform(0.85, 1.0))
        )
        room = (cell[0] - high * (ratio * c + s), cell[1] - high * (ratio * s + c))
        x = (
            (i % columns + 0.5) * cell[0]
            + 0.5 * float(rng.uniform(-1, 1)) * abs(room[0])
            + float(rng.normal(0, 4 if loose else 1))
        )
        y = (
            (i // columns + 0.5) * cell[1]
            + 0.5 * float(rng.uniform(-1, 1)) * abs(room[1])
            + float(rng.normal(0, 4 if loose else 1))
        )
        placed.append((x, y, ratio * high, high, angle))
    if count > 1 and rng.random() < 0.35:  # pushed together until some touch or overlap
        squeeze = float(rng.uniform(0.8, 0.97))
        axis = int(rng.integers(3))
        placed = [
            (
                w / 2 + (x - w / 2) * (squeeze if axis != 1 else 1.0),
                h / 2 + (y - h / 2) * (squeeze if axis != 0 else 1.0),
                a, b, t,
            )
            for x, y, a, b, t in placed
        ]  # fmt: skip
    return placed


def _crowd(
    count: int, h: int, w: int, shapes: Sequence[float], rng: Generator
) -> list[tuple[float, float, float, float, float]]:
    """Return x, y, width, height, angle of slips that lie edge to edge in a column, a row or a block.

    They are of one height, as slips of a pad are; neighbours overlap a little, touch, or leave a crack.
    """
    quarter = float(rng.integers(4)) * np.pi / 2
    same, upside = rng.random() < 0.8, rng.random(count) < 0.5
    columns = (
        int(rng.choice([1, count]))
        if count < 4
        else int(rng.choice([1, 2, 2, 2] if count == 4 else [2, 2, 3]))
    )
    rows = -(-count // columns)
    ratio = float(np.median(shapes))
    beside = abs(np.sin(quarter)) > 0.5  # the slips lie on their sides
    cell = (1.0, ratio) if beside else (ratio, 1.0)
    size = min(w / (columns * cell[0]), h / (rows * cell[1])) * float(rng.uniform(0.7, 1.02))
    gap = float(rng.uniform(-0.035, 0.008)) * size
    lean = float(rng.choice([0.0, 0.01, 0.03, 0.08], p=[0.3, 0.3, 0.3, 0.1]))
    slide = float(rng.choice([0.002, 0.012, 0.05])) * size
    steps = (cell[0] * size + gap, cell[1] * size + gap)
    room = (w - columns * steps[0], h - rows * steps[1])
    corner = [0.5 * space + 0.5 * float(rng.uniform(-1, 1)) * abs(space) for space in room]
    along = (slide, 0.15 * slide) if rows > columns else (0.15 * slide, slide)
    return [
        (
            corner[0] + (i % columns + 0.5) * steps[0] + float(rng.normal(0, along[0])),
            corner[1] + (i // columns + 0.5) * steps[1] + float(rng.normal(0, along[1])),
            shapes[i] * size,
            size,
            quarter + (0.0 if same or not upside[i] else np.pi) + float(rng.normal(0, lean)),
        )
        for i in range(count)
    ]


def _lay(
    image: Plane,
    ids: npt.NDArray[np.uint8],
    number: int,
    form: Image,
    at: tuple[float, float, float, float, float],
    tilt: Points,
    hard: float,
    rng: Generator,
) -> None:
    """Lay one slip into the picture and its number into the map of slips, in place."""
    h, w = image.shape[:2]
    x, y, width, height, angle = at
    c, s = np.cos(angle), np.sin(angle)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2 * (width, height) @ np.array(
        [[c, s], [-s, c]]
    ) + (x, y)
    corners = cv2.perspectiveTransform(corners[None], tilt)[0]
    corners = corners + rng.normal(0, 0.006 * width * hard, (4, 2))
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    back = cv2.getPerspectiveTransform(corners.astype(np.float32), unit)
    pad = 14 + 0.06 * max(width, height)
    x0, y0 = np.maximum(np.floor(corners.min(0) - pad), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(corners.max(0) + pad), (w, h)).astype(int)
    if x1 - x0 < 4 or y1 - y0 < 4:
        return
    yy, xx = np.mgrid[y0:y1, x0:x1].astype(np.float64)
    uv = cv2.perspectiveTransform(np.stack([xx, yy], -1).reshape(1, -1, 2), back.astype(np.float64))[0]
    u, v = uv[:, 0].reshape(xx.shape), uv[:, 1].reshape(xx.shape)
    bow = rng.normal(0, 0.012, 4) * hard * (rng.random(4) < 0.6)
    skewed = rng.uniform(-1, 1, 4)
    along_u, along_v = 4 * u * (1 - u), 4 * v * (1 - v)
    du = along_v * (bow[0] * (1 - u) + bow[1] * u) * (1 + skewed[0] * (v - 0.5))
    dv = along_u * (bow[2] * (1 - v) + bow[3] * v) * (1 + skewed[1] * (u - 0.5))
    u, v = u + du, v + dv
    size = np.sqrt(width * height)
    shrink = min(1.0, 1.25 * size / np.sqrt(form.shape[0] * form.shape[1]))
    small = cv2.resize(form, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    flat = cv2.remap(
        small, (u * small.shape[1] - 0.5).astype(np.float32), (v * small.shape[0] - 0.5).astype(np.float32),
        cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float32)  # fmt: skip
    inside = np.minimum(np.minimum(u, 1 - u) * width, np.minimum(v, 1 - v) * height)
    if rng.random() < 0.08:  # a corner cut, torn or folded away
        a, b = (u if rng.random() < 0.5 else 1 - u) * width, (v if rng.random() < 0.5 else 1 - v) * height
        inside = np.minimum(
            inside,
            (a + b * float(rng.uniform(0.5, 2))) / 1.5 - float(rng.uniform(0.02, 0.15)) * min(width, height),
        )
    if rng.random() < 0.15:  # an uneven, torn or perforated edge
        inside = inside + float(rng.uniform(0.2, 1.0)) * noise(inside.shape, (3, 3), rng)
    cover = np.clip(inside + 0.5, 0, 1).astype(np.float32)[..., None]
    shade = 1 + float(rng.normal(0, 0.05)) * (u - 0.5) + float(rng.normal(0, 0.05)) * (v - 0.5)
    shade = shade + hard * (
        float(rng.normal(0, 0.05)) * np.sin(float(rng.uniform(1, 5)) * u + float(rng.uniform(0, 6)))
    )
    if rng.random() < 0.2:  # a fold
        place = float(rng.choice([0.5, rng.uniform(0.2, 0.8)]))
        shade = shade * (
            1 + float(rng.normal(0, 0.06)) * np.tanh(((u if rng.random() < 0.5 else v) - place) * 60)
        )
    flat *= shade.astype(np.float32)[..., None]
    below = image[y0:y1, x0:x1]
    reach = float(rng.uniform(0.3, 5))
    move = rng.normal(0, 1.0 + 0.5 * reach, 2).round().astype(int)
    dark = cv2.GaussianBlur(np.roll(cover[..., 0], tuple(move), (0, 1)), (0, 0), reach)[..., None]
    below *= 1 - float(rng.uniform(0.0, 0.45)) * dark
    below += (flat - below) * cover
    ids[y0:y1, x0:x1][cover[..., 0] > 0.5] = number


def _thumb(image: Plane, ids: npt.NDArray[np.uint8], rng: Generator) -> None:
    """A thumb or fingers on a slip's edge; the slip goes on beneath, and its label too."""
    rim = cv2.morphologyEx((ids > 0).astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    ys, xs = np.nonzero(rim)
    if not len(ys):
        return
    i = int(rng.integers(len(ys)))
    out = np.array([xs[i] - xs.mean(), ys[i] - ys.mean()])
    out = out / max(float(np.hypot(*out)), 1.0)
    if rng.random() < 0.3:  # an arm across a neighbour
        way = float(rng.uniform(0, 2 * np.pi))
        out = np.array([np.cos(way), np.sin(way)])
    thick = float(rng.uniform(12, 40))
    tip = np.array([xs[i], ys[i]]) - out * float(rng.uniform(-0.2, 0.8)) * thick
    skin = np.array(SKINS[int(rng.integers(len(SKINS)))], np.float32) * float(rng.uniform(0.75, 1.05))
    mask = np.zeros(ids.shape, np.float32)
    for _ in range(int(rng.choice([1, 1, 1, 2, 3]))):
        end = tip + out * 600 + rng.normal(0, 60, 2)
        cv2.line(mask, tip.astype(int).tolist(), end.astype(int).tolist(), (1.0,), int(thick))
        tip = tip + np.array([-out[1], out[0]]) * thick * 1.2
    soft = cv2.GaussianBlur(mask, (0, 0), 4)[..., None]
    image *= 1 - 0.3 * np.roll(soft, (3, 3), (0, 1))
    light = 0.75 + 0.3 * cv2.GaussianBlur(mask, (0, 0), thick / 4)[..., None]
    image += (skin * light - image) * cv2.GaussianBlur(mask, (0, 0), 0.8)[..., None]


def _light(image: Plane, hard: float, rng: Generator) -> Image:
    h, w = image.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = x / w - 0.5, y / h - 0.5
    way = float(rng.uniform(0, 2 * np.pi))
    light = (
        1
        + hard * float(rng.uniform(0, 0.5)) * (x * np.cos(way) + y * np.sin(way))
        - float(rng.uniform(0, 0.5)) * (x * x + y * y)
    )
    for _ in range(int(rng.choice([0, 1, 2], p=[0.5, 0.35, 0.15]))):
        mask = np.zeros((h, w), np.float32)
        if rng.random() < 0.5:
            n = int(rng.integers(3, 8))
            middle, far = rng.uniform(-0.2, 1.2, 2) * (w, h), rng.uniform(30, 320)
            turn = np.sort(rng.uniform(0, 2 * np.pi, n))
            points = middle + far * rng.uniform(0.5, 1.2, (n, 1)) * np.stack([np.cos(turn), np.sin(turn)], 1)
            cv2.fillPoly(mask, [points.astype(np.int32)], (1.0,))
        else:
            a, b = rng.uniform(-0.2, 1.2, 2) * (w, h), rng.uniform(-0.2, 1.2, 2) * (w, h)
            cv2.line(mask, a.astype(int).tolist(), b.astype(int).tolist(), (1.0,), int(rng.uniform(20, 220)))
        light = light * (
            1
            - float(rng.uniform(0.1, 0.55))
            * cv2.GaussianBlur(mask, (0, 0), float(rng.choice([1, 4, 12, 30])))
        )
    if rng.random() < 0.05:  # glare of a lamp
        light = light + float(rng.uniform(0.2, 0.8)) * np.exp(
            -(
                ((x - rng.uniform(-0.5, 0.5)) ** 2 + (y - rng.uniform(-0.5, 0.5)) ** 2)
                / float(rng.uniform(0.002, 0.05))
            )
        )
    exposure = float(
        rng.choice(
            [rng.uniform(0.75, 1.08), rng.uniform(0.25, 0.75), rng.uniform(1.05, 1.3)], p=[0.75, 0.17, 0.08]
        )
    )
    gain = exposure * (1 + rng.normal(0, 0.07, 3) * (1 if rng.random() < 0.8 else 2))
    image = image * light[..., None] * gain.astype(np.float32)
    if rng.random() < 0.5:
        image = cv2.GaussianBlur(image, (0, 0), float(rng.uniform(0.3, 1.3)))
    image = image + float(rng.uniform(0, 5)) * rng.standard_normal(image.shape, dtype=np.float32)
    out = np.clip(image + 0.5, 0, 255).astype(np.uint8)
    if rng.random() < 0.05:
        out[:] = cv2.cvtColor(out, cv2.COLOR_RGB2GRAY)[..., None]
    if rng.random() < 0.3:
        data = cv2.imencode(".jpg", out, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(55, 95))])[1]
        out = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
    return out


def labels_of(ids: npt.NDArray[np.uint8]) -> Image:
    """Return (H / 2, W / 2, 3) uint8 labels of a map of slips (0: none)."""
    rim = np.zeros(ids.shape, np.uint8)
    rim[:, 1:] |= ids[:, 1:] != ids[:, :-1]
    rim[1:] |= ids[1:] != ids[:-1]
    far = cv2.distanceTransform(1 - rim, cv2.DIST_L2, 3)
    slip = (ids > 0).astype(np.float32)
    full = np.stack([slip, np.exp(-0.5 * (np.minimum(far, 20) / _EDGE) ** 2), slip * (far > _CORE)], -1)
    half = cv2.resize(full, (ids.shape[1] // 2, ids.shape[0] // 2), interpolation=cv2.INTER_AREA)
    return (half * 255 + 0.5).astype(np.uint8)


def draw_scene(rng: Generator, flats: Sequence[Image] = ()) -> Scene:
    """Draw one photo, ``SHORT`` wide and ``LONG`` high.

    Parameters
    ----------
    flats
        Flat slips drawn elsewhere, used for some of those in the picture; ``PAD`` after ``PAD`` of one pad.
    """
    h, w = LONG, SHORT
    hard = float(rng.choice([0.3, 1.0, 1.6], p=[0.4, 0.4, 0.2]))
    kind = rng.choice(["scan", "one", "few", "many", "crowd", "none"], p=[0.07, 0.34, 0.24, 0.09, 0.21, 0.05])
    count = {
        "scan": 1,
        "one": 1,
        "few": int(rng.integers(2, 5)),
        "many": int(rng.integers(5, 13)),
        "crowd": int(rng.choice([2, 3, 4, 6, 8], p=[0.35, 0.17, 0.22, 0.18, 0.08])),
        "none": 0,
    }[str(kind)]
    if len(_BAG) >= _BAG_SIZE:
        _BAG.pop(int(rng.integers(len(_BAG))))
    _BAG.append(draw_form(rng))
    pad = _BAG[int(rng.integers(len(_BAG)))] if rng.random() < 0.4 else None
    forms: list[Image] = []
    if kind == "crowd" and rng.random() < 0.8:  # of one pad: of one paper, as a rule, and one print
        pads = [list(flats[i : i + PAD]) for i in range(0, len(flats), PAD)]
        own = (
            pads[int(rng.integers(len(pads)))]
            if pads and rng.random() < 0.5
            else [_BAG[int(rng.integers(len(_BAG)))]]
        )
        forms = [own[int(rng.integers(len(own)))] for _ in range(count)]
    while len(forms) < count:
        if flats and rng.random() < 0.35:
            forms.append(flats[int(rng.integers(len(flats)))])
        else:
            forms.append(
                pad if pad is not None and rng.random() < 0.7 else _BAG[int(rng.integers(len(_BAG)))]
            )
    image = table(h, w, rng)
    ids = np.zeros((h, w), np.uint8)
    tilt = np.eye(3)
    if kind == "scan":
        if rng.random() < 0.8:
            image[:] = float(
                rng.choice([rng.uniform(205, 255), rng.uniform(0, 60)], p=[0.8, 0.2])
            ) + rng.normal(0, 2, 3)
        fill = float(rng.choice([rng.uniform(0.8, 0.99), rng.uniform(1.0, 1.06)], p=[0.7, 0.3]))
        ratio = forms[0].shape[1] / forms[0].shape[0]
        if (ratio > 1) != (w > h):
            forms[0], ratio = np.ascontiguousarray(np.rot90(forms[0])), 1 / ratio
        stretch = float(rng.uniform(0.9, 1.1)) * w / h / ratio if rng.random() < 0.7 else 1.0
        high = min(w / (ratio * stretch), h) * fill
        room = 0.5 * max(0.0, 1 - fill)
        at = (
            w * (0.5 + float(rng.uniform(-room, room))),
            h * (0.5 + float(rng.uniform(-room, room))),
            ratio * stretch * high,
            high,
            float(rng.normal(0, 0.02)) + np.pi * float(rng.integers(2)),
        )
        _lay(image, ids, 1, forms[0], at, tilt, 0.0, rng)
        return Scene(_light(image, 0.15, rng), labels_of(ids))
    lean = rng.normal(0, 0.00035, 2) * hard
    tilt[2, :2] = lean
    tilt[2, 2] = 1 - lean @ (w / 2, h / 2)
    for _ in range(int(rng.choice([0, 1, 2, 5], p=[0.5, 0.25, 0.15, 0.1]))):
        thing(image, rng)
    place = _crowd if kind == "crowd" else _place
    placed = place(count, h, w, [f.shape[1] / f.shape[0] for f in forms], rng)
    for i in rng.permutation(count):
        _lay(image, ids, int(i) + 1, forms[i], placed[i], tilt, hard, rng)
    if count and rng.random() < 0.12:
        _thumb(image, ids, rng)
    if rng.random() < 0.05:  # a pen lies on a slip; the slip goes on beneath
        x, y = rng.uniform(0, w), rng.uniform(0, h)
        pen = cv2.boxPoints(
            (
                (float(x), float(y)),
                (float(rng.uniform(60, 180)), float(rng.uniform(4, 9))),
                float(rng.uniform(0, 180)),
            )
        )
        cv2.fillConvexPoly(image, pen.astype(np.int32), rng.uniform(0, 255, 3).tolist(), cv2.LINE_AA)
    # A slip of which too little shows is nobody's to read.
    for number in range(1, count + 1):
        seen = int((ids == number).sum())
        _, _, width, height, _ = placed[number - 1]
        if seen < 0.45 * width * height:
            ids[ids == number] = 0
    return Scene(_light(image, hard, rng), labels_of(ids))
