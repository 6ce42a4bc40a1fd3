"""The ink that training strings are composed of: ``python -m models.sources SOURCES MNIST FONTS OUT.npz``.

Three kinds of hands are brought to one form, pen strokes in units of the hand's digit height, y upwards,
the writing line at 0:

* UNIPEN characters, as the pen moved;
* MNIST images, their skeletons walked, by writer;
* handwriting fonts, their skeletons walked.

Whole numbers written in one go (UNIPEN) keep their own geometry; where the strokes fall apart into as many
groups as there are characters, each stroke is told which character it belongs to, so that parts of a number
can stand for themselves.

Writers are split here, once, into training, calibration and test; ``writers.json`` lists them.
"""

import json
import sys
from collections.abc import Iterator, Set
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from models.legible import Legible
from models.trace import trace

Stroke = npt.NDArray[np.float32]
"""``(N, 2)``: x to the right, y upwards, in digit heights."""

SEED = 2
SIGNS = '0123456789.,-/:px"'
NUMBER_TEST, NUMBER_CALIBRATION = 12, 4
CHARACTER_TEST, CHARACTER_CALIBRATION = 20, 16
MNIST_CALIBRATION = 40


@dataclass(slots=True)
class Store:
    """Glyphs or whole numbers, flat: one entry of `label`, `hand`, `split` per item."""

    strokes: list[list[Stroke]] = field(default_factory=list)
    label: list[str] = field(default_factory=list)
    hand: list[str] = field(default_factory=list)
    split: list[str] = field(default_factory=list)
    owner: list[list[int]] = field(default_factory=list)
    """For whole numbers: the character that each stroke belongs to, or nothing where that is not clear."""

    def add(self, strokes: list[Stroke], label: str, hand: str, split: str, owner: list[int]) -> None:
        """Take in one item."""
        self.strokes.append(strokes)
        self.label.append(label)
        self.hand.append(hand)
        self.split.append(split)
        self.owner.append(owner)

    def arrays(self, prefix: str) -> dict[str, npt.NDArray[np.generic]]:
        """Return flat arrays for ``np.savez``."""
        flat = [s for item in self.strokes for s in item]
        points = np.concatenate(flat) if flat else np.zeros((0, 2), np.float32)
        return {
            f"{prefix}_points": np.clip(np.round(points * 1000), -32767, 32767).astype(np.int16),
            f"{prefix}_stroke": np.cumsum([0, *(len(s) for s in flat)]).astype(np.int32),
            f"{prefix}_item": np.cumsum([0, *(len(i) for i in self.strokes)]).astype(np.int32),
            f"{prefix}_label": np.array(self.label),
            f"{prefix}_hand": np.array(self.hand),
            f"{prefix}_split": np.array(self.split),
            f"{prefix}_owner": np.array([o for item in self.owner for o in item], np.int8),
            f"{prefix}_owner_item": np.cumsum([0, *(len(o) for o in self.owner)]).astype(np.int32),
        }


LOOKED_AT = {
    "numbers": {0, 3, 6, 7, 9, 15, 16, 17, 24, 25, 30, 36},
    "characters": {7, 20, 22, 24, 29, 31, 44, 47, 54, 59, 70, 81, 103, 117, 121, 125, 131, 148, 170, 190},
}
"""Test writers of the first split (seed 1). Their errors were looked at before the composer was changed, so
they can test nothing any more: they belong to training for good."""


def split_of(
    writers: list[int], test: int, calibration: int, known: Set[int] = frozenset()
) -> dict[int, str]:
    """Return the split of each writer, drawn with :data:`SEED`: `test` of them, `calibration`, the rest.

    Writers in `known` are never drawn for anything but training.
    """
    order = np.random.default_rng(SEED).permutation(sorted(set(writers) - known)).tolist() + sorted(
        set(writers) & known
    )
    return {
        int(w): "test" if k < test else "calibration" if k < test + calibration else "train"
        for k, w in enumerate(order)
    }


def _items(archive: Path) -> Iterator[tuple[list[Stroke], str, int]]:
    with np.load(archive) as z:
        points, starts, items = z["points"].astype(np.float32), z["stroke_start"], z["item_start"]
        labels, writers = z["label"], z["writer"]
    ends = np.r_[starts[1:], len(points)] if len(starts) and starts[-1] != len(points) else starts[1:]
    for i, label in enumerate(labels):
        strokes = [points[starts[s] : ends[s]] for s in range(items[i], items[i + 1])]
        yield [s for s in strokes if len(s)], str(label), int(writers[i])


def _resample(stroke: Stroke, step: float) -> Stroke:
    """Thin a stroke to points about `step` apart, both ends kept."""
    if len(stroke) < 3:
        return stroke
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(stroke, axis=0).T))]
    if along[-1] < step:
        return stroke[[0, -1]]
    at = np.linspace(0, along[-1], max(2, round(float(along[-1]) / step) + 1))
    return np.stack([np.interp(at, along, stroke[:, k]) for k in (0, 1)], 1).astype(np.float32)


def _span(strokes: list[Stroke]) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    every = np.concatenate(strokes)
    return every.min(0), every.max(0)


def _seat(strokes: list[Stroke], sign: str, unit: float) -> list[Stroke] | None:
    """Scale one UNIPEN character by its writer's digit height and set it on the line; None if implausible."""
    scaled = [_resample(s / unit, 0.04) for s in strokes]
    low, high = _span(scaled)
    height, width = (high - low)[1], (high - low)[0]
    if sign.isdigit():
        if not 0.35 < height < 2.5 or width > 2.5 * height:
            return None
        scaled = [s / np.clip(height, 0.8, 1.25) * np.clip(height, 0.8, 1.25) ** 0.5 for s in scaled]
        low, high = _span(scaled)
        shift = -low[1]
    elif sign == "p":
        scaled = [s / max(height, 1e-3) * np.clip(height, 0.7, 1.2) for s in scaled]
        low, high = _span(scaled)
        shift = 0.55 - high[1] + 0.05
    else:
        limits = {
            ".": (0.0, 0.2), ",": (0.08, 0.45), "-": (0.0, 0.3), "/": (0.7, 1.8), ":": (0.2, 0.8),
            "x": (0.3, 0.9), '"': (0.1, 0.5),
        }[sign]  # fmt: skip
        wide = {".": 0.25, ",": 0.35, "-": 0.9, "/": 1.2, ":": 0.4, "x": 1.0, '"': 0.6}[sign]
        if not limits[0] <= height <= limits[1] * 1.5 or width > wide or (sign == "-" and width < 0.12):
            return None
        middle = {".": 0.03, ",": -0.02, "-": 0.45, "/": 0.45, ":": 0.35, "x": 0.33, '"': 0.9}[sign]
        shift = middle - (low[1] + high[1]) / 2
    left = low[0]
    return [(s + np.array([-left, shift], np.float32)).astype(np.float32) for s in scaled]


def characters(archive: Path, store: Store, legible: Legible) -> dict[int, str]:
    """Add the UNIPEN characters; return the split of their writers."""
    everything = list(_items(archive))
    heights: dict[int, list[float]] = {}
    for strokes, label, writer in everything:
        if strokes and (label.isdigit() or label in "AEFHKLT"):
            low, high = _span(strokes)
            heights.setdefault(writer, []).append(float(high[1] - low[1]))
    split = split_of(
        [w for _, _, w in everything],
        CHARACTER_TEST,
        CHARACTER_CALIBRATION,
        frozenset(LOOKED_AT["characters"]),
    )
    found = []
    for strokes, label, writer in everything:
        if strokes and label in SIGNS and writer in heights:
            seated = _seat(strokes, label, float(np.median(heights[writer])))
            if seated is not None:
                found.append((seated, label, writer))
    # A wrong label teaches the reader to doubt itself: what no person would take for its digit stays out.
    digits = [(strokes, int(label)) for strokes, label, _ in found if label.isdigit()]
    fine = iter(legible.tell([_downwards(s) for s, _ in digits], [d for _, d in digits]))
    dropped = 0
    for strokes, label, writer in found:
        if label.isdigit() and not next(fine):
            dropped += 1
            continue
        store.add(strokes, label, f"u{writer}", split[writer], [])
    print(f"{dropped} of {len(digits)} UNIPEN digits are not legible and left out")
    return split


def _downwards(strokes: list[Stroke]) -> list[Stroke]:
    return [s * np.array([1, -1], np.float32) for s in strokes]


def mnist(folder: Path, writers: Path, store: Store) -> dict[str, list[int]]:
    """Add the MNIST digits, skeletons walked; return the writers held out of the training part."""
    held: dict[str, list[int]] = {}
    with np.load(writers) as z:
        by = {"train": z["train"], "test": z["test"]}
    for part, stem in (("train", "train"), ("test", "t10k")):
        images = np.fromfile(folder / f"{stem}-images-idx3-ubyte", np.uint8)[16:].reshape(-1, 28, 28)
        labels = np.fromfile(folder / f"{stem}-labels-idx1-ubyte", np.uint8)[8:]
        ids = by[part].tolist()
        split = split_of(ids, 0, MNIST_CALIBRATION) if part == "train" else dict.fromkeys(set(ids), "test")
        held[part] = sorted(w for w, s in split.items() if s != "train")
        for image, label, writer in zip(images, labels, ids, strict=True):
            big = cv2.resize(image, None, fx=2.5, fy=2.5, interpolation=cv2.INTER_CUBIC)
            strokes = trace(big > 110)
            if not strokes:
                continue
            low, high = _span(strokes)
            height = max(float(high[1] - low[1]), 15.0)
            flip = [
                np.stack([s[:, 0] - low[0], high[1] - s[:, 1]], 1).astype(np.float32) / height
                for s in strokes
            ]
            store.add(flip, str(label), f"m{part}{writer}", split[writer], [])
    return held


def fonts(folder: Path, store: Store) -> None:
    """Add handwriting fonts (woff2 files anywhere below `folder`), skeletons walked."""
    import io

    from fontTools.ttLib import TTFont
    from PIL import Image, ImageDraw, ImageFont

    for path in sorted(folder.rglob("*latin-400-normal.woff2")):
        if "-latin-ext-" in path.name:
            continue
        font = TTFont(path)
        font.flavor = None
        known = font.getBestCmap()
        buffer = io.BytesIO()
        font.save(buffer)
        drawn = ImageFont.truetype(io.BytesIO(buffer.getvalue()), 90)
        box = drawn.getbbox("0", anchor="ls")
        unit = float(box[3] - box[1])
        for sign in '0123456789.,-/:£px"×':
            if ord(sign) not in known:
                continue
            canvas = Image.new("L", (260, 300), 0)
            ImageDraw.Draw(canvas).text((80, 180), sign, fill=255, font=drawn, anchor="ls")
            strokes = trace(np.asarray(canvas) > 128)
            if strokes:
                moved = [np.stack([s[:, 0], 180 - s[:, 1]], 1).astype(np.float32) / unit for s in strokes]
                left = min(float(s[:, 0].min()) for s in moved)
                moved = [_resample(s - np.array([left, 0], np.float32), 0.04) for s in moved]
                store.add(moved, "x" if sign == "×" else sign, f"f{path.parts[-4]}", "train", [])


def _owners(strokes: list[Stroke], label: str) -> list[int]:
    """Return which character each stroke belongs to, or nothing where the strokes do not fall apart so."""
    groups: list[list[int]] = []
    spans: list[list[float]] = []
    for i in sorted(range(len(strokes)), key=lambda k: float(strokes[k][:, 0].min())):
        low, high = float(strokes[i][:, 0].min()), float(strokes[i][:, 0].max())
        for group, span in zip(groups, spans, strict=True):
            shared = min(high, span[1]) - max(low, span[0])
            if shared > 0.4 * max(1e-3, min(high - low, span[1] - span[0])):
                group.append(i)
                span[0], span[1] = min(low, span[0]), max(high, span[1])
                break
        else:
            groups.append([i])
            spans.append([low, high])
    if len(groups) != len(label):
        return []
    order = sorted(range(len(groups)), key=lambda g: sum(spans[g]))
    for rank, g in enumerate(order):
        every = np.concatenate([strokes[i] for i in groups[g]])
        height = float(np.ptp(every[:, 1]))
        if (label[rank] in ".,-") != (height < 0.35):
            return []  # a dot as tall as a digit: the groups are off by one somewhere
    owner = [0] * len(strokes)
    for rank, g in enumerate(order):
        for i in groups[g]:
            owner[i] = rank
    return owner


def numbers(archive: Path, store: Store) -> dict[int, str]:
    """Add the UNIPEN whole numbers; return the split of their writers."""
    everything = list(_items(archive))
    split = split_of(
        [w for _, _, w in everything], NUMBER_TEST, NUMBER_CALIBRATION, frozenset(LOOKED_AT["numbers"])
    )
    for strokes, label, writer in everything:
        if not strokes:
            continue
        low, high = _span(strokes)
        tall = [float(np.ptp(s[:, 1])) for s in strokes]
        digit = float(np.quantile([t for t in tall if t > 0.45 * max(tall)], 0.5))
        bottom = float(
            np.median([s[:, 1].min() for s, t in zip(strokes, tall, strict=True) if t > 0.45 * max(tall)])
        )
        unit = max(digit, 1e-3)
        scaled = [
            _resample((s - np.array([low[0], bottom], np.float32)) / unit, 0.04).astype(np.float32)
            for s in strokes
        ]
        owner = _owners(scaled, label)
        store.add(scaled, label, f"n{writer}", split[writer], owner)
    return split


def build(sources: Path, mnist_folder: Path, font_folder: Path, target: Path) -> None:
    """Write the ink as one archive at `target`, and ``writers.json`` beside this module."""
    glyphs, whole = Store(), Store()
    character_split = characters(sources / "unipen_characters.npz", glyphs, Legible(mnist_folder))
    held = mnist(mnist_folder, sources / "mnist_writers.npz", glyphs)
    fonts(font_folder, glyphs)
    number_split = numbers(sources / "unipen_numbers.npz", whole)
    np.savez_compressed(target, **glyphs.arrays("glyph"), **whole.arrays("whole"))  # type: ignore[arg-type]
    listing = {
        "seed": SEED,
        "unipen_numbers": {
            s: sorted(w for w, t in number_split.items() if t == s) for s in ("test", "calibration", "train")
        },
        "unipen_characters": {
            s: sorted(w for w, t in character_split.items() if t == s)
            for s in ("test", "calibration", "train")
        },
        "mnist_train_calibration": held["train"],
        "mnist_test": "every writer of the MNIST test part",
    }
    text = json.dumps(listing, indent=1)
    Path(__file__).with_name("writers.json").write_text(text + "\n", encoding="utf-8")
    known = sum(bool(o) for o in whole.owner)
    print(f"{len(glyphs.label)} glyphs, {len(whole.label)} whole numbers, {known} of them taken apart")


if __name__ == "__main__":
    build(*(Path(a) for a in sys.argv[1:5]))
