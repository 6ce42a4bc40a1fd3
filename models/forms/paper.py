"""A drawn slip before it is photographed: paper, print and pens, the places on it, and the look of one pad."""

from dataclasses import dataclass, field
from typing import NamedTuple

import cv2
import numpy as np
import numpy.typing as npt
from numpy.random import Generator

from models.forms import wording
from models.forms.faces import Face, Fonts, Mask

Image = npt.NDArray[np.uint8]
Colour = tuple[int, int, int]


class Rect(NamedTuple):
    """A rectangle in pixels of the canvas."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    @property
    def middle(self) -> tuple[float, float]:
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    def inset(self, x: float, y: float | None = None) -> "Rect":
        """Return the rectangle less a rim."""
        y = x if y is None else y
        return Rect(self.left + x, self.top + y, self.right - x, self.bottom - y)


@dataclass(frozen=True)
class Spot:
    """A place on the canvas, upright; see :class:`models.forms.Place`."""

    kind: str
    rect: Rect
    row: int | None = None
    pence: bool = False


PAPERS: tuple[Colour, ...] = (
    (252, 252, 250), (246, 245, 240), (252, 246, 228), (250, 205, 214), (252, 240, 168), (196, 218, 246),
    (206, 236, 206), (250, 222, 190), (226, 214, 240), (232, 232, 230), (240, 228, 200),
    (206, 176, 136),
)  # fmt: skip
_PAPER_SHARES = (0.325, 0.16, 0.1, 0.09, 0.09, 0.06, 0.06, 0.03, 0.03, 0.02, 0.02, 0.015)
_BLACK: tuple[Colour, ...] = ((25, 25, 28), (45, 45, 50), (70, 70, 75))


@dataclass
class Rule:
    """How a line is ruled: its look, its thickness in pixels, its colour."""

    look: str
    thick: float
    colour: Colour


@dataclass
class Style:
    """The look of one pad."""

    paper: Colour
    ink: Colour
    second: Colour
    mm: float
    plain: Face
    bold: Face
    title: Face
    case: str
    capital: float
    """Height of a capital of ordinary print, pixels."""
    fonts: Fonts

    def mix(self, share: float, colour: Colour | None = None) -> Colour:
        """Return ink thinned on the paper; 0 is paper."""
        ink = self.ink if colour is None else colour
        r, g, b = (round(p + (i - p) * share) for p, i in zip(self.paper, ink, strict=True))
        return r, g, b

    def rule(self, rng: Generator, kind: str = "any") -> Rule:
        """Draw the look of a set of lines: ``frame``, ``row``, ``column``, ``pence`` or ``any``."""
        looks = {
            "frame": ("solid", "thick", "double", "hair"),
            "row": ("solid", "hair", "dotted", "dashed", "thick"),
            "column": ("solid", "hair", "thick", "double", "dotted", "dashed"),
            "pence": ("dotted", "hair", "solid", "dashed"),
            "any": ("solid", "hair", "thick", "dotted"),
        }[kind]
        shares = np.array({
            "frame": (0.5, 0.25, 0.1, 0.15), "row": (0.5, 0.25, 0.12, 0.08, 0.05),
            "column": (0.55, 0.22, 0.08, 0.04, 0.06, 0.05), "pence": (0.35, 0.3, 0.2, 0.15), "any": (0.5, 0.2, 0.15, 0.15),
        }[kind])  # fmt: skip
        look = str(rng.choice(looks, p=shares / shares.sum()))
        thick = (
            {"hair": 0.14, "thick": 0.6, "dotted": 0.28}.get(look, 0.22)
            * self.mm
            * float(rng.uniform(0.75, 1.4))
        )
        colour = self.mix(float(rng.uniform(0.35, 1.0)), self.second if rng.random() < 0.2 else self.ink)
        return Rule("solid" if look in ("hair", "thick") else look, max(0.7, thick), colour)


def _colour(rng: Generator) -> Colour:
    """Return a printing ink of any hue, dark enough to be seen."""
    hue, full, light = float(rng.uniform(0, 180)), float(rng.uniform(90, 255)), float(rng.uniform(60, 190))
    pixel = np.array([[[hue, full, light]]], np.uint8)
    r, g, b = cv2.cvtColor(pixel, cv2.COLOR_HSV2RGB)[0, 0].tolist()
    return r, g, b


def draw_style(rng: Generator, fonts: Fonts, mm: float) -> Style:
    """Draw the look of a pad at `mm` pixels a millimetre."""
    paper = np.array(PAPERS[int(rng.choice(len(PAPERS), p=_PAPER_SHARES))], float)
    r, g, b = np.clip(paper + rng.normal(0, 4, 3) - rng.uniform(0, 10), 120, 255).astype(int).tolist()
    ink = _BLACK[int(rng.integers(3))] if rng.random() < 0.5 else _colour(rng)
    second = _colour(rng) if rng.random() < 0.4 else ink
    strength = float(rng.uniform(0.45, 1.0)) if rng.random() < 0.3 else 1.0
    thinned = [
        tuple(round(p + (i - p) * strength) for p, i in zip((r, g, b), tone, strict=True))
        for tone in (ink, second)
    ]
    plain, bold = fonts.family(rng)
    title = fonts.titles[int(rng.integers(len(fonts.titles)))]
    if rng.random() < 0.03:  # a home-made form, lettered by hand and copied
        plain = bold = title = fonts.hand[int(rng.integers(len(fonts.hand)))]
    elif rng.random() < 0.1:
        bold = fonts.bold[int(rng.integers(len(fonts.bold)))]
    return Style(
        paper=(r, g, b), ink=thinned[0], second=thinned[1], mm=mm, plain=plain, bold=bold,
        title=title,
        case=str(rng.choice(["as is", "upper", "lower", "title"], p=[0.55, 0.3, 0.07, 0.08])),
        capital=float(np.clip(mm * rng.uniform(1.6, 3.0), 6.5, 18.0)), fonts=fonts,
    )  # fmt: skip


@dataclass
class Canvas:
    """Paper and print (H, W, 3) uint8 RGB, a mask (H, W) uint8 for each pen, and the places drawn so far."""

    image: Image
    page: Rect
    pens: dict[str, Mask] = field(default_factory=dict)
    spots: list[Spot] = field(default_factory=list)
    slant: float = 0.0
    """How far all print leans, x per y."""
    currency: str = "£"
    """What is printed for pounds."""

    def pen(self, name: str = "pen") -> Mask:
        """Return the mask of a pen."""
        if name not in self.pens:
            self.pens[name] = np.zeros(self.image.shape[:2], np.uint8)
        return self.pens[name]

    def place(self, kind: str, rect: Rect, row: int | None = None, *, pence: bool = False) -> None:
        """Note a place."""
        self.spots.append(Spot(kind, rect, row, pence))

    # -- print ---------------------------------------------------------------------------------------------------

    def _blend(self, x: int, y: int, cover: npt.NDArray[np.float32], colour: Colour) -> None:
        """Lay `colour` over the image at (x, y), `cover` (h, w) in 0..1."""
        h, w = self.image.shape[:2]
        left, top = max(0, -x), max(0, -y)
        right, bottom = min(cover.shape[1], w - x), min(cover.shape[0], h - y)
        if left >= right or top >= bottom:
            return
        region = self.image[y + top : y + bottom, x + left : x + right]
        part = cover[top:bottom, left:right, None]
        region[...] = region + (np.array(colour, np.float32) - region) * part + 0.5

    def fill(self, rect: Rect, colour: Colour) -> None:
        """Fill a rectangle."""
        x0, y0, x1, y1 = (max(0, round(v)) for v in rect)
        self.image[y0:y1, x0:x1] = colour

    def line(self, a: tuple[float, float], b: tuple[float, float], rule: Rule) -> None:
        """Rule an upright or level line."""
        if rule.look == "double":
            gap = max(2.0, 2.2 * rule.thick)
            level = a[1] == b[1]
            for off in (-gap / 2, gap / 2):
                dx, dy = (0.0, off) if level else (off, 0.0)
                self.line(
                    (a[0] + dx, a[1] + dy),
                    (b[0] + dx, b[1] + dy),
                    Rule("solid", rule.thick * 0.7, rule.colour),
                )
            return
        level = a[1] == b[1]
        start, end = sorted((a[0], b[0]) if level else (a[1], b[1]))
        at = a[1] if level else a[0]
        low, n = round(start), max(1, round(end) - round(start))
        top = int(np.floor(at - rule.thick / 2))
        rows = np.arange(top, int(np.ceil(at + rule.thick / 2)) + 1)
        across = np.clip(
            np.minimum(rows + 1, at + rule.thick / 2) - np.maximum(rows, at - rule.thick / 2), 0, 1
        )
        along = np.ones(n, np.float32)
        if rule.look == "dotted":
            pitch = max(3.0, 3.2 * rule.thick)
            along = (np.arange(n) % pitch < 0.45 * pitch).astype(np.float32)
        elif rule.look == "dashed":
            pitch = max(7.0, 12 * rule.thick)
            along = (np.arange(n) % pitch < 0.62 * pitch).astype(np.float32)
        cover = across.astype(np.float32)[:, None] * along[None]
        if level:
            self._blend(low, top, cover, rule.colour)
        else:
            self._blend(top, low, cover.T, rule.colour)

    def box(self, rect: Rect, rule: Rule, rounded: float = 0.0) -> None:
        """Rule a box, its corners rounded by so many pixels."""
        if rounded < 2:
            left, top, right, bottom = rect
            self.line((left, top), (right, top), rule)
            self.line((left, bottom), (right, bottom), rule)
            self.line((left, top), (left, bottom), rule)
            self.line((right, top), (right, bottom), rule)
            return
        points = _round(rect, min(rounded, rect.height / 2, rect.width / 2))
        cv2.polylines(
            self.image,
            [np.round(points * 16).astype(np.int32)],
            True,
            rule.colour,
            max(1, round(rule.thick)),
            cv2.LINE_AA,
            4,
        )

    def panel(self, rect: Rect, colour: Colour, rounded: float = 0.0) -> None:
        """Fill a box, its corners rounded by so many pixels."""
        if rounded < 2:
            self.fill(rect, colour)
            return
        points = _round(rect, min(rounded, rect.height / 2, rect.width / 2))
        cv2.fillPoly(self.image, [np.round(points * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)

    def text(
        self, x: float, y: float, words: str, face: Face, capital: float, colour: Colour,
        anchor: str = "l", turn: int = 0,
    ) -> Rect:  # fmt: skip
        """Print `words`, writing line at `y`, starting (l), centred (m) or ending (r) at `x`; return the ink.

        With `turn` 1 the words run upwards, centred on (x, y).
        """
        ink, base = face.set(words.replace("£", self.currency), capital)
        if self.slant:
            lean = self.slant * ink.shape[0]
            matrix = np.array([[1, -self.slant, lean], [0, 1, 0]], np.float32)
            ink = cv2.warpAffine(ink, matrix, (ink.shape[1] + int(lean) + 1, ink.shape[0]))
        if turn:
            ink = np.rot90(ink, turn)
            left, top = round(x - ink.shape[1] / 2), round(y - ink.shape[0] / 2)
        else:
            left = round(x - {"l": 0.0, "m": 0.5, "r": 1.0}[anchor] * ink.shape[1])
            top = round(y) - base
        self._blend(left, top, ink.astype(np.float32) / 255, colour)
        return Rect(left, top, left + ink.shape[1], top + ink.shape[0])


def _round(rect: Rect, radius: float) -> npt.NDArray[np.float32]:
    turn = np.linspace(0, np.pi / 2, 6)
    corners = (
        (rect.right - radius, rect.top + radius, -np.pi / 2), (rect.right - radius, rect.bottom - radius, 0.0),
        (rect.left + radius, rect.bottom - radius, np.pi / 2), (rect.left + radius, rect.top + radius, np.pi),
    )  # fmt: skip
    arcs = [
        np.stack([x + radius * np.cos(start + turn), y + radius * np.sin(start + turn)], 1)
        for x, y, start in corners
    ]
    return np.concatenate(arcs).astype(np.float32)


def fitted(words: str, face: Face, capital: float, width: float, least: float = 4.6) -> float:
    """Return the greatest height of capitals, at most `capital`, with which `words` are at most `width` wide."""
    wide = face.width(words, capital)
    return capital if wide <= width else max(least, capital * width / max(wide, 1))


def cased(rng: Generator, style: Style, words: str) -> str:
    """Return `words` in the case of the pad."""
    return wording.cased(rng, words, style.case)
