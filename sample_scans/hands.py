"""Hands: the digits of one real writer, with the habits we invent for them.

Digits come from MNIST by writer (its writers as told by QMNIST); signs are strokes of our own (:mod:`pen`);
words stand in handwriting fonts.
"""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np

from sample_scans.pen import SIGNS, Glyph, Points, extent, trace

Family = Literal["tune", "test"]

HERE = Path(__file__).parent
GLYPHS = HERE / "glyphs.npz"
WRITER_PART = {"tune": "train", "test": "test"}
"""Designs to tune on carry hands of MNIST's training part, designs to test on hands of its test part."""

WORD_FONTS: dict[str, tuple[str, ...]] = {
    "tune": ("indie-flower", "shadows-into-light", "nothing-you-could-do"),
    "test": ("kalam", "gochi-hand", "over-the-rainbow", "nanum-pen-script", "covered-by-your-grace"),
}


@dataclass(frozen=True, eq=False)
class Digits:
    """The digits of one writer: for each of 0 to 9 the ways it was written."""

    writer: int
    shapes: tuple[tuple[Glyph, ...], ...]


@dataclass(frozen=True, eq=False)
class Hand:
    """One writer with pen and habits.

    Lengths in millimetres; ``gap`` and ``wander`` in digit heights; ``slant`` is dx per dy.
    """

    digits: Digits
    height: float
    pen: float
    slant: float
    gap: float
    wander: float
    rise: float
    align: float
    signs: dict[str, Glyph]
    word_font: str


@dataclass(frozen=True)
class Mnist:
    """Where the whole of MNIST lies: the folder of its idx files, the npz with the writer of each picture.

    ``owners`` holds the arrays ``train`` and ``test``, taken from the QMNIST labels.
    """

    folder: Path
    owners: Path


class Writers:
    """The writers whose digits may be drawn.

    Parameters
    ----------
    family
        ``tune`` takes hands of MNIST's training part, ``test`` of its test part.
    mnist
        The whole data set. None: the hands kept in ``glyphs.npz``.
    """

    def __init__(self, family: Family, mnist: Mnist | None = None) -> None:
        self._part = WRITER_PART[family]
        self._mnist = mnist
        if mnist is None:
            self._ids = sorted(_kept_hands(self._part))
        else:
            self._ids = sorted(mnist_writers(mnist, self._part))

    def __len__(self) -> int:
        return len(self._ids)

    @property
    def ids(self) -> tuple[int, ...]:
        """The writers' numbers as QMNIST gives them."""
        return tuple(self._ids)

    def digits(self, writer: int) -> Digits:
        """The digits of one writer."""
        if self._mnist is None:
            return _kept_hands(self._part)[writer]
        return traced_hand(self._mnist, self._part, writer)


@lru_cache(maxsize=2)
def _kept_hands(part: str) -> dict[int, Digits]:
    """Load the hands of one part from ``glyphs.npz``."""
    with np.load(GLYPHS) as kept:
        points = kept["points"].astype(np.float64) / kept["scale"]
        strokes = [*kept["stroke_start"].tolist(), len(points)]
        glyphs = [*kept["glyph_start"].tolist(), len(strokes) - 1]
        labels, writers = kept["label"].tolist(), kept["writer"].tolist()
        parts = kept["part"].tolist()
    hands: dict[int, list[list[Glyph]]] = {}
    for index, (label, writer, owner) in enumerate(zip(labels, writers, parts, strict=True)):
        if owner == part:
            shape = [points[strokes[s] : strokes[s + 1]] for s in range(glyphs[index], glyphs[index + 1])]
            hands.setdefault(writer, [[] for _ in range(10)])[label].append(shape)
    return {w: Digits(w, tuple(tuple(s) for s in shapes)) for w, shapes in hands.items()}


@lru_cache(maxsize=2)
def _idx(path: Path) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """Read an idx file of bytes (the format stands on the MNIST page: magic, sizes, data)."""
    data = path.read_bytes()
    sizes = [int.from_bytes(data[4 + 4 * i : 8 + 4 * i], "big") for i in range(data[3])]
    return np.frombuffer(data, np.uint8, offset=4 + 4 * data[3]).reshape(sizes)


@lru_cache(maxsize=4)
def mnist_writers(mnist: Mnist, part: str) -> dict[int, tuple[tuple[int, ...], ...]]:
    """For every writer who wrote all ten digits: the pictures' numbers, by digit."""
    stem = "train" if part == "train" else "t10k"
    labels = _idx(mnist.folder / f"{stem}-labels-idx1-ubyte")
    with np.load(mnist.owners) as owners:
        writers = owners[part]
    found = {}
    for writer in np.unique(writers).tolist():
        own = np.nonzero(writers == writer)[0]
        by_digit = tuple(tuple(own[labels[own] == d].tolist()) for d in range(10))
        if all(by_digit):
            found[writer] = by_digit
    return found


@lru_cache(maxsize=64)
def traced_hand(mnist: Mnist, part: str, writer: int) -> Digits:
    """Trace a writer's digits from the idx files, at most eight of each."""
    stem = "train" if part == "train" else "t10k"
    pictures = _idx(mnist.folder / f"{stem}-images-idx3-ubyte")
    shapes = []
    for numbers in mnist_writers(mnist, part)[writer]:
        traced = [trace(pictures[n]) for n in numbers[:8]]
        shapes.append(tuple(glyph for glyph in traced if glyph))
    return Digits(writer, tuple(shapes))


def make_hand(digits: Digits, family: Family, rng: np.random.Generator) -> Hand:
    """Give a writer a pen and habits."""
    return Hand(
        digits=digits,
        height=float(rng.uniform(3.2, 5.4)),
        pen=float(rng.uniform(0.38, 0.65)),
        slant=float(rng.normal(0.04, 0.08)),
        gap=float(rng.uniform(0.1, 0.26)),
        wander=float(rng.uniform(0.01, 0.05)),
        rise=float(rng.normal(0.0, 0.02)),
        align=float(rng.uniform(0.05, 0.95)),
        signs={sign: styles[int(rng.integers(len(styles)))] for sign, styles in SIGNS.items()},
        word_font=str(rng.choice(WORD_FONTS[family])),
    )


def write(hand: Hand, text: str, rng: np.random.Generator) -> Glyph:
    """Write `text` (digits and signs) as strokes in digit heights, its left end at x = 0.

    Raises
    ------
    KeyError
        For a character that hands do not write.
    """
    strokes: Glyph = []
    pen_x = 0.0
    for place, character in enumerate(text):
        if character == " ":
            pen_x += 0.3
            continue
        if character.isdigit():
            shapes = hand.digits.shapes[int(character)]
            glyph = shapes[int(rng.integers(len(shapes)))]
        else:
            glyph = hand.signs[character]
        glyph = _vary(glyph, hand, rng)
        left, right = extent(glyph)
        gap = 0.0 if place == 0 else max(0.03, hand.gap + float(rng.normal(0, 0.04)))
        if character in "-x" or (place and text[place - 1] in "-x"):
            gap += 0.08
        if character == "." or (place and text[place - 1] == "."):
            gap += 0.08
        if character == "1" or (place and text[place - 1] == "1"):
            gap += 0.06
        shift = pen_x + gap - left
        drop = pen_x * hand.rise + float(rng.normal(0, hand.wander))
        strokes += [stroke + np.array([shift, drop]) for stroke in glyph]
        pen_x = shift + right
    return strokes


def _vary(glyph: Glyph, hand: Hand, rng: np.random.Generator) -> Glyph:
    """No two digits of a hand are quite alike: a little size, slant and tremor."""
    size = float(rng.normal(1.0, 0.045))
    wide = size * float(rng.normal(1.0, 0.05))
    lean = hand.slant + float(rng.normal(0, 0.03))
    varied = []
    for stroke in glyph:
        x = stroke[:, 0] * wide - lean * stroke[:, 1]
        y = stroke[:, 1] * size
        varied.append(np.column_stack([x, y]))
    return varied


def width_of(strokes: Glyph) -> float:
    """Width of written strokes, in digit heights."""
    left, right = extent(strokes)
    return right - left


def place(strokes: Glyph, x: float, y: float, height: float, squeeze: float) -> list[Points]:
    """Put strokes with their left end at (x, y on the writing line), digits `height` high."""
    return [np.column_stack([s[:, 0] * squeeze, s[:, 1]]) * height + (x, y) for s in strokes]
