"""Choose the hands that the project keeps, trace their digits and write ``glyphs.npz``.

``python -m sample_scans.keep_glyphs MNIST_FOLDER WRITERS_NPZ`` - needed only to choose other hands.

Only digits that stay legible after tracing are kept: drawn again with a pen they must look to their nearest
neighbours among MNIST's training pictures like what they are, and their loops are closed. The kept hands are
therefore neater than MNIST as a whole; sets drawn from the whole of MNIST are not sifted.
"""

import sys
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from sample_scans.hands import GLYPHS, Digits, Mnist, mnist_writers, traced_hand
from sample_scans.pen import DIGIT_PIXELS, Glyph, extent, ink

KEPT = {"test": 58, "train": 40}
"""Hands kept from each part: one for every slip among the samples, and enough to develop with."""
SHAPES = 4
"""Ways of writing each digit that are kept."""
SCALE = 100.0
"""Points are kept as whole hundredths of a digit's height, in one byte each."""
NEIGHBOURS = 7
HOLES = {0: 1, 6: 1, 8: 2, 9: 1}
"""Loops that must be closed for a person to be sure of the digit, drawn small and a little blurred."""
SMALLEST_HOLE = 60
LEAST_SHARE = 0.7
"""A hand is kept when the best shape of each of its digits has this share of like neighbours."""


def picture_of(glyph: Glyph) -> npt.NDArray[np.float32]:
    """Draw a traced digit again, (784,) float32 of length 1, as MNIST would have it."""
    left, right = extent(glyph)
    mask = np.zeros((112, 112), np.uint8)
    shift = np.array([56 - 2 * DIGIT_PIXELS * (left + right), 16 + 4 * DIGIT_PIXELS])
    ink(mask, [s * 4 * DIGIT_PIXELS + shift for s in glyph], 9.0, np.random.default_rng(0))
    small = cv2.resize(mask, (28, 28), interpolation=cv2.INTER_AREA).astype(np.float32).ravel()
    return np.asarray(small / max(float(np.linalg.norm(small)), 1e-6), np.float32)


def legible(glyphs: list[Glyph], labels: list[int], mnist: Mnist) -> list[float]:
    """Share of each digit's nearest training pictures that show the same digit; 0 if its loops are open."""
    pictures = np.frombuffer((mnist.folder / "train-images-idx3-ubyte").read_bytes(), np.uint8, offset=16)
    known = np.frombuffer((mnist.folder / "train-labels-idx1-ubyte").read_bytes(), np.uint8, offset=8)
    train = pictures.reshape(-1, 784).astype(np.float32)
    train /= np.linalg.norm(train, axis=1, keepdims=True)
    shares = []
    for start in range(0, len(glyphs), 500):
        block = np.stack([picture_of(g) for g in glyphs[start : start + 500]])
        near = np.argpartition(-(block @ train.T), NEIGHBOURS, axis=1)[:, :NEIGHBOURS]
        right = known[near] == np.array(labels[start : start + 500])[:, None]
        shares += right.mean(axis=1).tolist()
    closed = [holes(glyph) >= HOLES.get(label, 0) for glyph, label in zip(glyphs, labels, strict=True)]
    return [share if shut else 0.0 for share, shut in zip(shares, closed, strict=True)]


def holes(glyph: Glyph) -> int:
    """Count the enclosed white spots of a digit drawn with a pen."""
    left, _ = extent(glyph)
    mask = np.zeros((160, 200), np.uint8)
    ink(mask, [s * 110 + (30 - 110 * left, 135) for s in glyph], 13.0, np.random.default_rng(0))
    count, _, sizes, _ = cv2.connectedComponentsWithStats((mask < 128).astype(np.uint8), connectivity=4)
    return int((sizes[1:count, cv2.CC_STAT_AREA] > SMALLEST_HOLE).sum()) - 1


def _worst(hand: Digits, flat: list[tuple[Digits, int, Glyph]], share: list[float]) -> float:
    """The least legible digit of a hand, by its best shape."""
    best = [0.0] * 10
    for (owner, digit, _), value in zip(flat, share, strict=True):
        if owner is hand:
            best[digit] = max(best[digit], value)
    return min(best)


def main() -> None:
    """Trace, sift and write."""
    mnist = Mnist(Path(sys.argv[1]), Path(sys.argv[2]))
    points: list[npt.NDArray[np.int8]] = []
    strokes: list[int] = []
    glyphs: list[int] = []
    labels: list[int] = []
    writers: list[int] = []
    parts: list[str] = []
    at = 0
    for part, count in KEPT.items():
        order = sorted(mnist_writers(mnist, part).items(), key=lambda i: (-min(map(len, i[1])), i[0]))
        hands = [traced_hand(mnist, part, writer) for writer, _ in order[: 4 * count]]
        flat = [(h, d, g) for h in hands for d, shapes in enumerate(h.shapes) for g in shapes]
        share = legible([g for _, _, g in flat], [d for _, d, _ in flat], mnist)
        hands = [hand for hand in hands if _worst(hand, flat, share) > LEAST_SHARE][:count]
        print(part, len(hands), "hands kept")
        for hand in hands:
            for digit in range(10):
                own = [(s, g) for (h, d, g), s in zip(flat, share, strict=True) if h is hand and d == digit]
                best = sorted(own, key=lambda pair: -pair[0])
                kept = [g for s, g in best if s > 0.99][:SHAPES] or [best[0][1]]
                for shape in kept:
                    glyphs.append(len(strokes))
                    labels.append(digit)
                    writers.append(hand.writer)
                    parts.append(part)
                    for stroke in shape:
                        strokes.append(at)
                        points.append(np.clip(np.round(stroke * SCALE), -128, 127).astype(np.int8))
                        at += len(stroke)
    np.savez_compressed(
        GLYPHS,
        points=np.vstack(points),
        scale=np.float64(SCALE),
        stroke_start=np.array(strokes, np.int32),
        glyph_start=np.array(glyphs, np.int32),
        label=np.array(labels, np.uint8),
        writer=np.array(writers, np.int32),
        part=np.array(parts),
    )


if __name__ == "__main__":
    main()
