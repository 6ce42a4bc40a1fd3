"""A second camera, with none of the first one's code: another table, another bend, a phone's own retouching."""

from collections.abc import Callable

import cv2
import numpy as np
import numpy.typing as npt

from sample_scans.camera import Shot
from sample_scans.slips import RGB, FlatSlip

Array = npt.NDArray[np.float64]
Image32 = npt.NDArray[np.float32]


def _blobs(shape: tuple[int, int], size: float, rng: np.random.Generator) -> Image32:
    small = (max(3, int(shape[0] / size)), max(3, int(shape[1] / size)))
    field = rng.random(small).astype(np.float32)
    return np.asarray(cv2.resize(field, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC), np.float32)


def background(shape: tuple[int, int], rng: np.random.Generator) -> Image32:
    """What slips get laid on: tiles, newspaper, a ruled writing pad, boards, a bed cover, a metal tray."""
    rows, columns = shape
    kind = int(rng.integers(6))
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    base = rng.uniform(60, 215, 3).astype(np.float32)
    image = np.empty((rows, columns, 3), np.float32)
    image[:] = base
    if kind == 0:  # tiles and grout
        step = float(rng.uniform(250, 600))
        grout = ((x % step) < 9) | ((y % step) < 9)
        image *= (0.9 + 0.15 * _blobs(shape, step, rng))[..., None]
        image[grout] = rng.uniform(90, 170)
    elif kind == 1:  # newspaper: columns of short dark lines
        image[:] = (222, 219, 208)
        words = (_blobs(shape, 14, rng) > 0.45) & ((y % 26) < 12) & ((x % 480) > 30)
        image[words] = 90
    elif kind == 2:  # a ruled writing pad
        image[:] = (240, 240, 232)
        image[(y % 66) < 3] = (150, 175, 215)
        image[np.abs(x - 0.15 * columns) < 3] = (220, 120, 120)
    elif kind == 3:  # boards
        step = float(rng.uniform(300, 700))
        grain = np.sin(0.05 * (x + 40 * _blobs((rows, columns), 500, rng)) + 6 * _blobs(shape, 260, rng))
        image *= (0.9 + 0.07 * grain + 0.1 * _blobs(shape, 30, rng))[..., None]
        image[(x % step) < 7] *= 0.45
    elif kind == 4:  # quilt: diamonds
        step = float(rng.uniform(180, 420))
        diamonds = (np.abs(((x + y) % step) - step / 2) < 8) | (np.abs(((x - y) % step) - step / 2) < 8)
        image *= (0.85 + 0.3 * _blobs(shape, 7, rng))[..., None]
        image[diamonds] *= 0.6
    else:  # brushed metal or plain board
        image *= (0.95 + 0.1 * _blobs((rows, 8), 3, rng)[:, :1])[..., None]
    return image


def snap(slip: FlatSlip, quarter: int, rng: np.random.Generator) -> Shot:
    """Take one photo of one slip."""
    width, height = slip.design.width, slip.design.height
    long, short = (4032, 3024) if rng.random() < 0.15 else (2560, 1920)
    seen = (height, width) if quarter % 2 else (width, height)
    columns, rows = (long, short) if seen[0] > seen[1] else (short, long)
    zoom = float(rng.uniform(0.66, 0.86)) * min(columns / seen[0], rows / seen[1])
    angle = quarter * np.pi / 2 + float(rng.normal(0, 0.06))
    half = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 2
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    lean = float(rng.uniform(0.0, 0.09)) * min(columns, rows)
    where = zoom * half @ turn.T + np.array([columns, rows]) / 2 + rng.uniform(-lean, lean, (4, 2))
    where = where + rng.uniform(-0.02, 0.02, 2) * (columns, rows)
    matrix = cv2.getPerspectiveTransform(
        (half + np.array([width, height]) / 2).astype(np.float32), where.astype(np.float32)
    )
    barrel = float(rng.uniform(-0.03, 0.045))
    waves = [
        (float(rng.uniform(-1.2, 1.2)), float(rng.uniform(0.5, 1.4)) * np.pi / side, float(rng.uniform(0, 6)))
        for side in (height, width)
    ]
    centre, radius = np.array([columns, rows]) / 2, np.hypot(columns, rows) / 2

    def straight(pixels: Array) -> Array:
        off = (pixels - centre) / radius
        return np.asarray(centre + radius * off * (1 + barrel * (off**2).sum(axis=-1, keepdims=True)))

    def flat(points: Array) -> Array:
        (ax, fx, px), (ay, fy, py) = waves
        moved = np.stack(
            [ax * np.sin(fx * points[..., 1] + px), ay * np.sin(fy * points[..., 0] + py)], axis=-1
        )
        return np.asarray(points + moved)

    def undo(step: Callable[[Array], Array], wanted: Array) -> Array:
        guess = wanted.copy()
        for _ in range(25):
            guess = guess + wanted - step(guess)
        return guess

    def to_photo(points: Array) -> Array:
        plane = undo(flat, np.asarray(points, np.float64))
        ideal = cv2.perspectiveTransform(plane.reshape(1, -1, 2), matrix.astype(np.float64))
        return undo(straight, np.asarray(ideal, np.float64).reshape(plane.shape))

    y, x = np.mgrid[0:rows:8, 0:columns:8].astype(np.float64)
    pixels = straight(np.stack([x + 0.5, y + 0.5], axis=-1))
    back = np.linalg.inv(matrix)
    plane = cv2.perspectiveTransform(pixels.reshape(1, -1, 2), back)
    source = flat(np.asarray(plane, np.float64).reshape(pixels.shape))
    full = cv2.resize(source.astype(np.float32), None, fx=8, fy=8, interpolation=cv2.INTER_LINEAR)
    # An enlarged picture's first sample lies half a step in; shift by the lost part.
    moved = cv2.warpAffine(
        full,
        np.array([[1, 0, -3.5], [0, 1, -3.5]], np.float32),
        (columns, rows),
        borderMode=cv2.BORDER_REPLICATE,
    )
    shift = np.asarray(moved, np.float32)
    sheet = _at_scale(slip, zoom)
    per = sheet.shape[1] / width
    at = shift * np.float32(per) - np.float32(0.5)
    drawn = cv2.remap(sheet, at[..., 0], at[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    paper = np.asarray(drawn, np.float32)
    edge = np.minimum.reduce([shift[..., 0], shift[..., 1], width - shift[..., 0], height - shift[..., 1]])
    cover = np.clip(edge * zoom + 0.5, 0, 1).astype(np.float32)
    (ax, fx, px), (ay, fy, py) = waves
    slope = 0.03 * ax * np.cos(fx * shift[..., 1] + px) + 0.03 * ay * np.cos(fy * shift[..., 0] + py)
    paper *= (1 + slope)[..., None]
    image = background((rows, columns), rng)
    fall = cv2.GaussianBlur(np.roll(cover, (int(0.8 * zoom), int(0.6 * zoom)), (0, 1)), (0, 0), zoom)
    image *= (1 - 0.35 * fall)[..., None]
    image += (paper - image) * cover[..., None]
    outline = to_photo(np.array([[0, 0], [width, 0], [width, height], [0, height]], float))
    return Shot(retouch(image, rng), (outline,), (to_photo,))


def _at_scale(slip: FlatSlip, zoom: float) -> RGB:
    """Shrink the slip's picture to the photo's scale first, as a lens would, without jaggies."""
    if zoom > 0.9 * slip.scale:
        return slip.image
    size = round(slip.design.width * zoom * 1.1), round(slip.design.height * zoom * 1.1)
    return np.asarray(cv2.resize(slip.image, size, interpolation=cv2.INTER_AREA), np.uint8)


def retouch(image: Image32, rng: np.random.Generator) -> RGB:
    """Lamp, lens, and what a phone does to a picture before it stores it."""
    rows, columns = image.shape[:2]
    y, x = np.mgrid[0 : rows // 16 + 1, 0 : columns // 16 + 1].astype(np.float32)
    y, x = y * 16 / rows, x * 16 / columns
    lamp = np.exp(-((x - rng.uniform(0, 1)) ** 2 + (y - rng.uniform(0, 1)) ** 2) / rng.uniform(0.5, 3))
    light = rng.uniform(0.5, 0.75) + rng.uniform(0.2, 0.45) * lamp
    if rng.random() < 0.2:  # a blind's stripes
        light *= 1 - 0.18 * (np.sin(rng.uniform(12, 30) * (x * rng.uniform(0.2, 1) + y)) > 0.2)
        light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 1.5)
    if rng.random() < 0.25:  # a hand's shadow from one side
        side = x if rng.random() < 0.5 else y
        light *= 1 - rng.uniform(0.2, 0.4) / (1 + np.exp((side - rng.uniform(0.2, 0.6)) * 25))
    light = cv2.resize(np.asarray(light, np.float32), (columns, rows), interpolation=cv2.INTER_LINEAR)
    tint = np.array([1 + rng.normal(0, 0.04), 1.0, 1 + rng.normal(-0.02, 0.06)], np.float32)
    image = image * light[..., None] * tint
    if rng.random() < 0.15:  # glare of a lamp on the paper
        at = rng.uniform(0.2, 0.8, 2)
        spot = np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / rng.uniform(0.004, 0.02))
        image += 70 * cv2.resize(spot, (columns, rows))[..., None]
    image = np.asarray(cv2.GaussianBlur(image, (0, 0), float(rng.uniform(0.5, 1.2))), np.float32)
    image += rng.normal(0, rng.uniform(1, 5), image.shape[:2]).astype(np.float32)[..., None]
    picture = np.asarray(np.clip(image, 0, 255), np.uint8)
    if rng.random() < 0.4:  # noise taken away, and fine pencil with it
        picture = np.asarray(cv2.bilateralFilter(picture, 5, 18, 3), np.uint8)
    if rng.random() < 0.6:  # sharpened, with pale halos
        soft = cv2.GaussianBlur(picture, (0, 0), 1.6)
        amount = float(rng.uniform(0.4, 1.1))
        picture = np.asarray(cv2.addWeighted(picture, 1 + amount, soft, -amount, 0), np.uint8)
    tone = 255 * np.linspace(0, 1, 256) ** rng.uniform(0.75, 1.15)
    picture = np.asarray(cv2.LUT(picture, tone.astype(np.uint8)), np.uint8)
    if rng.random() < 0.3:  # sent as a message: stored twice
        stored = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 80))])[1]
        picture = np.asarray(cv2.imdecode(stored, cv2.IMREAD_COLOR), np.uint8)
    return picture
