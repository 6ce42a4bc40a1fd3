"""The faces of print and of handwriting, and the digits of one hand: what draws the ink of a form."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from numpy.random import Generator
from PIL import ImageFont

Mask = npt.NDArray[np.uint8]

_BOLD = ("-700", "-800", "-900", "bold", "black")
_TALL = 28  # pixels of an MNIST image
_BUCKETS = 600  # fonts kept open at once; one form uses about forty
_DISPLAY = ("lobster", "playball", "limelight", "abril", "cinzel", "vt323", "righteous")


@lru_cache(maxsize=_BUCKETS)
def _font(path: str, size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(path, size, layout_engine=ImageFont.Layout.BASIC)


@lru_cache(maxsize=4096)
def _set(path: str, size: int, text: str) -> tuple[Mask, int]:
    """Return the ink of `text`, (h, w) uint8 cut to the ink, and where its writing line lies below its top."""
    mask, offset = _font(path, size).getmask2(text, mode="L", anchor="ls")
    wide, tall = mask.size
    if wide == 0 or tall == 0:
        return np.zeros((1, 1), np.uint8), 0
    return np.array(mask, np.uint8).reshape(tall, wide), -int(offset[1])


@lru_cache(maxsize=_BUCKETS)
def _capital(path: str) -> float:
    """Return the height of a capital as a share of the size."""
    box = _font(path, 100).getbbox("H", anchor="ls")
    return max(0.2, (box[3] - box[1]) / 100)


@dataclass(frozen=True)
class Face:
    """One font file; sizes are given as the height of its capitals in pixels."""

    path: str

    def size(self, capital: float) -> int:
        """Return the font size whose capitals are `capital` pixels high."""
        return max(5, round(capital / _capital(self.path)))

    def width(self, text: str, capital: float) -> float:
        """Return how wide `text` is, in pixels."""
        return float(_font(self.path, self.size(capital)).getlength(text))

    def set(self, text: str, capital: float) -> tuple[Mask, int]:
        """Return the ink of `text` and its writing line, in rows below the top of the ink."""
        return _set(self.path, self.size(capital), text)

    @property
    def display(self) -> bool:
        """Whether the face is for titles only."""
        return any(name in self.path for name in _DISPLAY)


def _faces(folder: Path) -> list[Face]:
    return [Face(str(p)) for p in sorted(folder.iterdir()) if p.suffix in (".ttf", ".otf", ".woff2")]


class Fonts:
    """Faces of print and of handwriting, one folder of .ttf, .otf or .woff2 files each.

    Raises:
        FileNotFoundError: a folder holds no face.
    """

    def __init__(self, printed: Path, hand: Path) -> None:
        every = _faces(printed)
        self.hand = _faces(hand)
        if not every or not self.hand:
            raise FileNotFoundError(f"no faces in {printed} or {hand}: see models/forms/fetch_fonts.py")
        bold = [f for f in every if any(word in Path(f.path).stem.lower() for word in _BOLD)]
        self.titles = every
        self.plain = [f for f in every if f not in bold and not f.display] or every
        self.bold = [f for f in bold if not f.display] or self.plain

    @classmethod
    def load(cls, folder: Path) -> "Fonts":
        """Load what ``models.forms.fetch_fonts`` wrote into `folder`."""
        return cls(folder / "print", folder / "hand")

    def family(self, rng: Generator) -> tuple[Face, Face]:
        """Return the plain and the bold face of one family (the same twice where it has but one)."""
        plain = self.plain[int(rng.integers(len(self.plain)))]
        twin = Face(plain.path.replace("-400", "-700"))
        return plain, twin if twin in self.bold else plain


@dataclass(frozen=True)
class Hand:
    """The digits of one writer: for each digit, images (20, w) uint8 cut to the ink's width."""

    digits: tuple[tuple[Mask, ...], ...]

    def digit(self, value: int, rng: Generator) -> Mask:
        """Return one writing of `value`."""
        choices = self.digits[value]
        return choices[int(rng.integers(len(choices)))]


class Digits:
    """Single handwritten digits by writer, from MNIST *training* images.

    `images` (N, 28, 28) uint8, `labels` (N,), `writers` (N,) or None: then the images are taken to stand in the
    order of their writers, a hundred and twenty to a hand, which is about what MNIST has.
    """

    def __init__(
        self,
        images: npt.NDArray[np.uint8],
        labels: npt.NDArray[np.uint8],
        writers: npt.NDArray[np.integer] | None = None,
    ) -> None:
        self._images, self._labels = images, labels
        ids = np.arange(len(labels)) // 120 if writers is None else np.asarray(writers)
        order = np.argsort(ids, kind="stable")
        edges = np.flatnonzero(np.r_[True, np.diff(ids[order]) != 0])
        groups = np.split(order, edges[1:])
        self._groups = [g for g in groups if len(set(labels[g].tolist())) >= 8] or groups
        self._any = [np.flatnonzero(labels == d) for d in range(10)]

    @classmethod
    def load(cls, folder: Path, writers: Path | None = None) -> "Digits":
        """Load ``train-images-idx3-ubyte`` and ``train-labels-idx1-ubyte``, and ``train`` of the npz `writers`."""
        images = np.fromfile(folder / "train-images-idx3-ubyte", np.uint8)[16:].reshape(-1, _TALL, _TALL)
        labels = np.fromfile(folder / "train-labels-idx1-ubyte", np.uint8)[8:]
        ids = None
        if writers is not None and writers.exists():
            with np.load(writers) as z:
                ids = z["train"]
        return cls(images, labels, ids)

    def hand(self, rng: Generator) -> Hand:
        """Return the digits of one writer, up to four of each; what the writer lacks comes from anybody."""
        group = self._groups[int(rng.integers(len(self._groups)))]
        thin = float(rng.uniform(0.0, 110.0))  # pens differ: the images are all of one broad pencil
        digits = []
        for d in range(10):
            own = group[self._labels[group] == d][:4]
            if not len(own):
                own = self._any[d][rng.integers(len(self._any[d]), size=2)]
            digits.append(tuple(_cut(self._images[i], thin) for i in own))
        return Hand(tuple(digits))


def _cut(image: Mask, thin: float) -> Mask:
    """Cut a digit to its ink, its pen thinned."""
    ink = np.clip((image.astype(np.float32) - thin) * (255.0 / (255.0 - thin)) * 1.15, 0, 255).astype(
        np.uint8
    )
    rows, columns = np.flatnonzero(ink.max(1) > 60), np.flatnonzero(ink.max(0) > 60)
    if not len(rows) or not len(columns):
        return image[4:24, 8:20].copy()
    return ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]


def slanted(ink: Mask, tall: float, slant: float, squeeze: float) -> Mask:
    """Return a digit `tall` pixels high, leaning by `slant` (x per y), its width scaled by `squeeze`."""
    h, w = ink.shape
    scale = tall / h
    wide = w * scale * squeeze
    lean = abs(slant) * tall
    out = (max(2, int(np.ceil(wide + lean)) + 2), max(2, int(np.ceil(tall)) + 2))
    shift = lean if slant > 0 else 0.0
    matrix = np.array([[scale * squeeze, -slant * scale, 1 + shift], [0, scale, 1]], np.float32)
    flags = cv2.INTER_LINEAR
    if scale < 0.7:  # finer than half the source: average first, or the pen falls apart
        ink = cv2.resize(ink, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        matrix[:, :2] *= 2
    return cv2.warpAffine(ink, matrix, out, flags=flags)
