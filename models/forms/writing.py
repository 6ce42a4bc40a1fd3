"""The customer's hand: numbers in MNIST digits, words in handwriting faces, ticks, scribbles and signatures."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.random import Generator

from models.forms.faces import Digits, Face, Fonts, Hand, Mask, slanted
from models.forms.paper import Canvas, Rect


@dataclass
class Writer:
    """One person with one pen, filling in one slip."""

    hand: Hand
    face: Face
    words: float
    """Height of a capital, pixels."""
    tall: float
    """Height of a digit, pixels."""
    slant: float
    squeeze: float
    gap: float
    pen: int
    """Thickness of simple strokes, pixels."""
    money: str
    """How an amount is written: ``.`` ``-`` ``/`` ``:`` ``,`` ``·`` or a blank between pounds and pence."""
    pounds: bool
    align: str
    careless: float
    """How far from its place the writing falls, in row heights."""
    name: str = "pen"
    """The pen of the canvas that is written with."""

    def number(
        self, canvas: Canvas, text: str, rect: Rect, rng: Generator, align: str = "", size: float = 1.0
    ) -> None:
        """Write digits and signs into a box, squeezed a little where they are too wide."""
        if not text:
            return
        tall = min(self.tall * size, 0.98 * rect.height)
        pieces = [self._piece(c, tall, rng) for c in text]
        gap = self.gap * tall
        wide = sum(w for _, w in pieces) + gap * (len(pieces) - 1)
        room = rect.width * float(rng.uniform(0.86, 1.08))
        if wide > room:
            factor = max(0.45, room / wide)
            tall *= max(factor, 0.72)
            pieces = [self._piece(c, tall, rng, factor / max(factor, 0.72)) for c in text]
            gap = self.gap * tall * factor
            wide = sum(w for _, w in pieces) + gap * (len(pieces) - 1)
        spare = max(0.0, rect.width - wide)
        align = align or self.align
        x = rect.left + {"l": 0.12, "m": 0.5, "r": 0.88}[align] * spare + float(rng.normal(0, 0.05)) * spare
        if wide > rect.width:
            x = rect.left - (wide - rect.width) * float(rng.uniform(0, 0.8))
        foot = rect.bottom - (rect.height - tall) * float(np.clip(rng.normal(0.42, 0.22), -0.15, 1.0))
        foot += float(rng.normal(0, self.careless)) * rect.height
        drift = float(rng.normal(0, 0.03))
        mask = canvas.pen(self.name)
        for piece, advance in pieces:
            self._put(mask, piece, x, foot + float(rng.normal(0, 0.03)) * tall, tall)
            x += advance + gap
            foot += drift * advance

    def _piece(
        self, sign: str, tall: float, rng: Generator, squeeze: float = 1.0
    ) -> tuple[Mask | str, float]:
        """Return a digit's ink, or the name of a sign, and how far the pen moves on."""
        if sign.isdigit():
            height = tall * float(rng.uniform(0.88, 1.08))
            ink = slanted(self.hand.digit(int(sign), rng), height, self.slant, self.squeeze * squeeze)
            return ink, max(0.2 * tall, ink.shape[1] - 3 - abs(self.slant) * height * 0.6)
        return sign, {
            ".": 0.22, ",": 0.22, ":": 0.25, "·": 0.25, "-": 0.5, "/": 0.45, " ": 0.4, "=": 0.6, "£": 0.7, "p": 0.5, "x": 0.5,
        }.get(sign, 0.4) * tall * squeeze  # fmt: skip

    def _put(self, mask: Mask, piece: "Mask | str", x: float, foot: float, tall: float) -> None:
        if isinstance(piece, str):
            for stroke in _strokes(piece, tall):
                _stroke(mask, stroke + np.array([x, foot], np.float32), self.pen)
            return
        _most(mask, piece, round(x - 1), round(foot) - piece.shape[0] + 1)

    def write(
        self, canvas: Canvas, text: str, rect: Rect, rng: Generator, align: str = "l", size: float = 1.0
    ) -> None:
        """Write words into a box; long ones are written smaller, or run over."""
        if not text:
            return
        capital = min(self.words * size, rect.height * 0.8)
        ink, base = self.face.set(text, max(4.5, capital))
        if ink.shape[1] > rect.width * float(rng.uniform(0.9, 1.15)):
            capital *= max(0.6, rect.width / ink.shape[1])
            ink, base = self.face.set(text, max(4.5, capital))
        room = rect.width * 1.2
        if ink.shape[1] > room:  # what does not fit is left off
            keep = max(2, int(len(text) * room / ink.shape[1]))
            ink, base = self.face.set(text[:keep].strip(), max(4.5, capital))
        spare = max(0.0, rect.width - ink.shape[1])
        x = rect.left + 2 + {"l": float(rng.uniform(0, 0.15)), "m": 0.5, "r": 0.9}[align] * spare
        foot = rect.bottom - rect.height * float(np.clip(rng.normal(0.27, 0.08), 0.05, 0.5))
        foot += float(rng.normal(0, self.careless)) * rect.height
        turn = float(rng.normal(0, 0.012))
        if abs(turn) * ink.shape[1] > 1:
            ink = cv2.copyMakeBorder(ink, 3, 3, 0, 0, cv2.BORDER_CONSTANT, value=0)
            base += 3
            ink = cv2.warpAffine(
                ink, np.array([[1, 0, 0], [turn, 1, 0]], np.float32), (ink.shape[1], ink.shape[0])
            )
        if self.pen > 2 and capital > 13:
            ink = cv2.dilate(ink, np.ones((2, 2), np.uint8))
        _most(canvas.pen(self.name), ink, round(x), round(foot) - base)

    def tick(self, canvas: Canvas, x: float, y: float, size: float, rng: Generator) -> None:
        """Tick or cross at (x, y)."""
        if rng.random() < 0.7:
            points = np.array([[-0.5, 0.0], [-0.15, 0.45], [0.7, -0.7]]) * size
            _stroke(canvas.pen(self.name), points + rng.normal(0, 0.08 * size, (3, 2)) + [x, y], self.pen)
        else:
            for s in (1, -1):
                points = np.array([[-0.5, -0.5 * s], [0.5, 0.5 * s]]) * size
                _stroke(canvas.pen(self.name), points + rng.normal(0, 0.08 * size, (2, 2)) + [x, y], self.pen)

    def strike(self, canvas: Canvas, rect: Rect, rng: Generator) -> None:
        """Cross something out with one or two strokes."""
        for _ in range(int(rng.integers(1, 3))):
            y = rect.top + rect.height * float(rng.uniform(0.35, 0.65))
            x = np.linspace(rect.left, rect.right, 8) + rng.normal(0, 2, 8)
            ys = y + np.cumsum(rng.normal(0, 0.02 * rect.height, 8))
            _stroke(canvas.pen(self.name), np.stack([x, ys], 1), self.pen)

    def scribble(self, canvas: Canvas, rect: Rect, rng: Generator) -> None:
        """Scribble something out, or sign with a flourish."""
        n = int(rng.integers(6, 16))
        x = np.linspace(rect.left, rect.right, n) + rng.normal(0, rect.width / n, n)
        y = rect.middle[1] + rng.uniform(-0.4, 0.4, n) * rect.height
        t = np.linspace(0, n - 1, n * 5)
        kernel = np.ones(5) / 5
        points = np.stack([np.convolve(np.interp(t, np.arange(n), v), kernel, "valid") for v in (x, y)], 1)
        _stroke(canvas.pen(self.name), points, self.pen)

    def stress(self, canvas: Canvas, rect: Rect, rng: Generator) -> None:
        """Underline what stands in a box twice, or ring it."""
        if rng.random() < 0.6:
            y = rect.bottom - 0.12 * rect.height
            for off in (0.0, 0.12):
                xs = np.array([rect.left + 0.15 * rect.width, rect.right - 0.1 * rect.width]) + rng.normal(
                    0, 2, 2
                )
                ys = y + off * rect.height + rng.normal(0, 1, 2)
                _stroke(canvas.pen(self.name), np.stack([xs, ys], 1), self.pen)
            return
        turn = np.linspace(0, 2 * np.pi + 0.5, 30)
        x, y = rect.middle
        xs = x + 0.5 * rect.width * np.cos(turn) * (1 + 0.02 * turn)
        ys = y + 0.6 * rect.height * np.sin(turn) * (1 + 0.02 * turn)
        _stroke(canvas.pen(self.name), np.stack([xs, ys], 1), self.pen)

    def ditto(self, canvas: Canvas, rect: Rect, rng: Generator) -> None:
        """Write ditto marks."""
        x, y = (
            rect.left + rect.width * float(rng.uniform(0.2, 0.6)),
            rect.top + rect.height * float(rng.uniform(0.3, 0.6)),
        )
        for off in (0.0, 0.28):
            a = np.array([[x + off * self.tall, y], [x + (off - 0.05) * self.tall, y + 0.32 * self.tall]])
            _stroke(canvas.pen(self.name), a, self.pen)


def _most(mask: Mask, ink: Mask, x: int, y: int) -> None:
    """Lay ink on a pen's mask where it is darker."""
    h, w = mask.shape
    left, top = max(0, -x), max(0, -y)
    right, bottom = min(ink.shape[1], w - x), min(ink.shape[0], h - y)
    if left < right and top < bottom:
        region = mask[y + top : y + bottom, x + left : x + right]
        np.maximum(region, ink[top:bottom, left:right], out=region)


def _stroke(mask: Mask, points: "np.typing.NDArray[np.floating]", pen: int) -> None:
    cv2.polylines(mask, [np.round(points * 16).astype(np.int32)], False, 255, pen, cv2.LINE_AA, 4)


def _strokes(sign: str, tall: float) -> list["np.typing.NDArray[np.float32]"]:
    """Return a sign's strokes in pixels, x from the pen's place, y downwards from the writing line."""
    shapes: dict[str, list[list[tuple[float, float]]]] = {
        ".": [[(0.08, -0.04), (0.1, -0.02)]],
        ",": [[(0.12, -0.05), (0.06, 0.12)]],
        ":": [[(0.1, -0.55), (0.11, -0.53)], [(0.1, -0.1), (0.11, -0.08)]],
        "·": [[(0.1, -0.45), (0.12, -0.43)]],
        "-": [[(0.05, -0.42), (0.42, -0.45)]],
        "/": [[(0.36, -0.95), (0.05, 0.1)]],
        "=": [[(0.05, -0.55), (0.5, -0.57)], [(0.05, -0.3), (0.5, -0.32)]],
        "x": [[(0.05, -0.5), (0.4, -0.05)], [(0.4, -0.5), (0.05, -0.05)]],
        "p": [[(0.08, -0.45), (0.08, 0.3)], [(0.08, -0.4), (0.3, -0.45), (0.36, -0.25), (0.25, -0.05), (0.08, -0.1)]],
        "£": [
            [(0.6, -0.8), (0.5, -1.0), (0.3, -0.95), (0.25, -0.7), (0.3, -0.4), (0.22, -0.1), (0.05, 0.0), (0.6, -0.02)],
            [(0.08, -0.48), (0.5, -0.5)],
        ],
    }  # fmt: skip
    return [np.array(s, np.float32) * tall for s in shapes.get(sign, [])]


def draw_writer(rng: Generator, fonts: Fonts, digits: Digits, mm: float, row: float) -> Writer:
    """Draw the person for a slip whose rows are `row` pixels high."""
    tall = float(np.clip(row * rng.uniform(0.42, 0.85), 2.4 * mm, 6.5 * mm))
    tall = max(tall, 9.0)
    return Writer(
        hand=digits.hand(rng),
        face=fonts.hand[int(rng.integers(len(fonts.hand)))],
        words=max(7.0, tall * float(rng.uniform(0.6, 0.95))),
        tall=tall,
        slant=float(np.clip(rng.normal(0.08, 0.16), -0.3, 0.5)),
        squeeze=float(rng.uniform(0.75, 1.1)),
        gap=float(rng.uniform(0.0, 0.2)),
        pen=int(np.clip(round(mm * rng.uniform(0.28, 0.6)), 1, 4)),
        money=str(rng.choice(list(".-/:,· "), p=[0.6, 0.12, 0.03, 0.04, 0.05, 0.06, 0.1])),
        pounds=bool(rng.random() < 0.15),
        align=str(rng.choice(["l", "m", "r"], p=[0.2, 0.45, 0.35])),
        careless=float(rng.choice([0.02, 0.06, 0.14], p=[0.5, 0.35, 0.15])),
    )


def amount(pence: int, writer: Writer, rng: Generator) -> str:
    """Return how a person writes an amount into one box."""
    sign = "£" if writer.pounds else ""
    if pence < 100 and rng.random() < 0.4:
        return f"{pence}p" if rng.random() < 0.7 else f".{pence:02d}"
    if pence % 100 == 0 and rng.random() < 0.3:
        return f"{sign}{pence // 100}{'-' if rng.random() < 0.4 else ''}"
    return f"{sign}{pence // 100}{writer.money}{pence % 100:02d}"


def code(rng: Generator, form: str) -> str:
    """Return an article's code after a pattern: ``d`` a digit, anything else itself."""
    return "".join(str(int(rng.integers(10))) if c == "d" else c for c in form)
