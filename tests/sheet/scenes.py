"""Photos drawn for these tests: ruled slips of known outline laid on a table. All wording is invented."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Pixels = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]

HEADINGS = ("CODE", "DESCRIPTION", "QTY", "PRICE", "TOTAL")
COLUMNS = (0.06, 0.2, 0.56, 0.66, 0.8, 0.94)


def draw_slip(
    width: int = 840, height: int = 1188, paper: tuple[int, int, int] = (248, 247, 242), rows: int = 12
) -> Pixels:
    """Return a blank slip, upright: a title, a ruled table with headings, a totals block."""
    image = np.full((height, width, 3), paper, np.uint8)
    ink = (60, 60, 80)
    size = width / 840
    thick = max(1, round(2 * size))

    def write(text: str, x: float, y: float, scale: float) -> None:
        where = (int(x * width), int(y * height))
        cv2.putText(image, text, where, cv2.FONT_HERSHEY_DUPLEX, scale * size, ink, thick, cv2.LINE_AA)

    write("LARKHILL SEED ORDER", 0.06, 0.07, 1.3)
    write("Name and address", 0.06, 0.12, 0.7)
    write("Please pay on collection", 0.06, 0.97, 0.7)
    top, bottom = int(0.2 * height), int(0.85 * height)
    for y in np.linspace(top, bottom, rows + 2).round().astype(int):
        cv2.line(image, (int(COLUMNS[0] * width), y), (int(COLUMNS[-1] * width), y), ink, thick)
    for x in COLUMNS:
        cv2.line(image, (int(x * width), top), (int(x * width), bottom), ink, thick)
    for text, x in zip(HEADINGS, COLUMNS, strict=False):
        write(text, x + 0.01, 0.235, 0.62)
    cv2.rectangle(
        image,
        (int(COLUMNS[-2] * width), bottom),
        (int(COLUMNS[-1] * width), bottom + int(0.055 * height)),
        ink,
        thick,
    )
    write("TOTAL DUE", 0.6, 0.89, 0.65)
    return image


@dataclass(frozen=True)
class Laid:
    """One slip in a scene: its corners in the photo, clockwise from its own top left, and the true map.

    ``place`` takes (N, 2) points of the slip, as shares of its width and height, to the photo.
    """

    outline: Points
    place: Callable[[Points], Points]


def table(kind: str, width: int, height: int, seed: int = 0) -> Pixels:
    """Return a background: ``wood``, ``cloth``, ``carpet``, ``white`` or ``dark``."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    noise = random.normal(0, 1, (height // 4 + 1, width // 4 + 1)).astype(np.float32)
    soft = cv2.resize(noise, (width, height), interpolation=cv2.INTER_CUBIC)
    if kind == "wood":
        grain = np.sin(y / 23 + 3 * np.sin(x / 700) + 0.7 * soft) + 0.5 * np.sin(y / 5 + 0.5 * soft)
        colour = np.stack([150 + 14 * grain, 105 + 11 * grain, 66 + 8 * grain], -1)
    elif kind == "cloth":
        checks = ((x // 60).astype(int) + (y // 60).astype(int)) % 2
        colour = np.where(checks[..., None] > 0, (205.0, 60.0, 70.0), (235.0, 232.0, 225.0))
        colour = colour + 4 * soft[..., None]
    elif kind == "carpet":
        colour = np.stack([95 + 16 * soft, 98 + 16 * soft, 110 + 16 * soft], -1)
    elif kind == "white":
        colour = np.full((height, width, 3), 225.0) + 1.0 * soft[..., None]
    else:
        colour = np.full((height, width, 3), 45.0) + 2.0 * soft[..., None]
    return np.asarray(np.clip(colour, 0, 255), np.uint8)


def sag(x: Points, curl: float, fold: float) -> Points:
    """Return how far down a slip's horizontals lie at shares ``x`` of its width: bowed, and creased in the middle."""
    return np.asarray(curl * 4 * x * (1 - x) + fold * (1 - np.abs(2 * x - 1)), np.float64)


def bend(points: Points, curl: float, fold: float = 0.0) -> Points:
    """Bow and crease a slip's horizontals downward by shares of its height in the middle; its sides stay straight."""
    x, y = points[:, 0], points[:, 1]
    return np.stack([x, y + sag(x, curl, fold)], axis=1)


def lay(
    photo: Pixels, slip: Pixels, outline: Points, curl: float = 0.0, shadow: float = 0.25, fold: float = 0.0
) -> Laid:
    """Put a slip into a photo, in place.

    Parameters
    ----------
    outline
        (4, 2) where the slip's corners go, clockwise from its own top left.
    curl
        How far the middle is bowed down, as a share of the slip's height.
    fold
        The same of a crease through the middle.
    """
    height, width = slip.shape[:2]
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    matrix = cv2.getPerspectiveTransform(unit, outline.astype(np.float32))
    inverse = np.linalg.inv(matrix)

    def place(points: Points) -> Points:
        bent = bend(np.asarray(points, np.float64), curl, fold)
        return np.asarray(cv2.perspectiveTransform(bent[None], matrix)[0], np.float64)

    rows, columns = photo.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float64)
    grid = cv2.perspectiveTransform(np.stack([x, y], -1).reshape(1, -1, 2), inverse)[0]
    u = grid[:, 0].reshape(rows, columns)
    v = grid[:, 1].reshape(rows, columns) - sag(u, curl, fold)
    drawn = cv2.remap(
        slip,
        (u * width - 0.5).astype(np.float32),
        (v * height - 0.5).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    inside = ((u >= 0) & (u <= 1) & (v >= 0) & (v <= 1)).astype(np.float32)
    cover = cv2.GaussianBlur(inside, (0, 0), 0.8)[..., None]
    dark = cv2.GaussianBlur(np.roll(inside, (4, 3), (0, 1)), (0, 0), 5)[..., None]
    below = photo * (1 - shadow * dark)
    photo[:] = np.clip(below * (1 - cover) + drawn * cover, 0, 255).astype(np.uint8)
    return Laid(place(unit.astype(np.float64)), place)


def box(x: float, y: float, width: float, height: float, degrees: float = 0.0, lean: float = 0.0) -> Points:
    """Return an outline centred on (x, y), turned clockwise; ``lean`` narrows its own top, as from below."""
    corners = np.array([[-1 + lean, -1], [1 - lean, -1], [1, 1], [-1, 1]], np.float64) / 2
    corners *= (width, height)
    turn = np.deg2rad(degrees)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return np.asarray(corners @ matrix.T + (x, y), np.float64)
