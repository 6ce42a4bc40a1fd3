"""Choose the hands that the project keeps, trace their digits and write ``glyphs.npz``.

``python -m sample_scans.keep_glyphs MNIST_FOLDER WRITERS_NPZ`` - needed only to choose other hands.
"""

import sys
from pathlib import Path

import numpy as np

from sample_scans.hands import GLYPHS, Digits, Mnist, mnist_writers, traced_hand

KEPT = {"test": 56, "train": 40}
"""Hands kept from each part: one for every slip among the samples, and enough to develop with."""
SHAPES = 4
"""Ways of writing each digit that are kept."""
SCALE = 100.0
"""Points are kept as whole hundredths of a digit's height, in one byte each."""


def main() -> None:
    """Trace and write."""
    mnist = Mnist(Path(sys.argv[1]), Path(sys.argv[2]))
    points, strokes, glyphs = [], [], []
    labels, writers, parts = [], [], []
    at = 0
    for part, count in KEPT.items():
        plenty = sorted(mnist_writers(mnist, part).items(), key=lambda item: (-min(map(len, item[1])), item[0]))
        for writer, _ in plenty[:count]:
            hand: Digits = traced_hand(mnist, part, writer)
            for label, shapes in enumerate(hand.shapes):
                for shape in shapes[:SHAPES]:
                    glyphs.append(len(strokes))
                    labels.append(label)
                    writers.append(writer)
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
