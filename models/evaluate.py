"""Measure the small network on hands that training never saw: ``python -m models.evaluate INK.npz [PICTURES]``.

Best path only, no grammar: what the network knows by itself. The grammar and the calibrated probabilities
are measured by ``tests/measure/reading.py``.
"""

import sys
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from numpy.random import Generator

from formread.reading.recogniser import ALPHABET, recognise
from models import texts
from models.camera import Box, Grain, forms_print, photograph
from models.compose import Hands, Writing, strike, sway, write

_COUNT = 2000
_TIMES = 8  # pictures taken of each real whole number
SEED = 20


def best_path(scores: npt.NDArray[np.float32]) -> str:
    """Return the string on the best path through ``(T, C)`` log-probabilities."""
    row = scores.argmax(1)
    kept = row[np.r_[True, row[1:] != row[:-1]]]
    return "".join(ALPHABET[k - 1] for k in kept if k)


def interval(right: int, total: int) -> tuple[float, float]:
    """Return Wilson's 95 % interval for a share (Wilson, JASA 1927)."""
    z, p = 1.96, right / total
    middle = (p + z * z / (2 * total)) / (1 + z * z / total)
    half = z / (1 + z * z / total) * float(np.sqrt(p * (1 - p) / total + z * z / (4 * total * total)))
    return middle - half, middle + half


class Bench:
    """The test hands and what is needed to photograph their writing."""

    def __init__(self, ink: Path, split: str = "test") -> None:
        self.rng: Generator = np.random.default_rng(SEED)
        self.hands = Hands(ink, split)
        self.grain, self.signs = Grain(self.rng), forms_print()
        self.errors: list[tuple[str, Box, str, float]] = []

    def shoot(self, writing: Writing, style: str) -> Box:
        """Photograph one writing."""
        return photograph(writing, self.hands, self.grain, self.signs, style, self.rng)

    def score(self, name: str, boxes: list[Box]) -> None:
        """Print the share of boxes read exactly and keep the errors."""
        scores = [s for k in range(0, len(boxes), 64) for s in recognise([b.crop for b in boxes[k : k + 64]])]
        said = [best_path(s) for s in scores]
        right = sum(a == b.label for a, b in zip(said, boxes, strict=True))
        for text, box, s in zip(said, boxes, scores, strict=True):
            if text != box.label:
                self.errors.append((name, box, text, float(s.max(1).sum())))
        low, high = interval(right, len(boxes))
        print(
            f"{name:44s} n {len(boxes):5d}  exact {right / len(boxes):7.2%}  ({low:.2%} to {high:.2%})",
            flush=True,
        )

    def whole_numbers(self) -> None:
        """Real whole numbers of the test writers, as written, drawn with a pen of our own."""
        readable = set("0123456789.,-/:x")
        for style in ("pen", "carbon"):
            digits: list[Box] = []
            rest: list[Box] = []
            for strokes, label, _ in self.hands.whole:
                if set(label) <= readable:
                    boxes = [self.shoot(Writing(strokes, label), style) for _ in range(_TIMES)]
                    (digits if label.isdigit() else rest).extend(boxes)
            self.score(f"whole numbers, digits only, {style}", digits)
            self.score(f"whole numbers, all kinds, {style}", digits + rest)

    def composed(self) -> None:
        """Strings composed from single characters of the test hands."""
        kinds: list[tuple[str, Callable[[Generator], str]]] = [
            ("amounts", texts.amount),
            ("quantities", texts.quantity),
            ("six-digit codes", lambda rng: "".join(str(int(d)) for d in rng.integers(0, 10, 6))),
        ]
        for name, draw in kinds:
            for style in ("pen", "carbon"):
                boxes = [
                    self.shoot(
                        sway(write(self.hands, draw(self.rng), self.rng, "um"[k % 2]), self.rng), style
                    )
                    for k in range(_COUNT)
                ]
                self.score(f"composed {name}, {style}", boxes)

    def marks(self) -> None:
        """Empty and struck-out boxes, small signs by themselves, isolated MNIST test digits."""
        for style in ("pen", "carbon"):
            self.score(f"empty, {style}", [self.shoot(Writing([], ""), style) for _ in range(_COUNT)])
            struck = []
            for _ in range(_COUNT):
                old = sway(write(self.hands, texts.amount(self.rng), self.rng), self.rng)
                struck.append(self.shoot(Writing([*old.strokes, *strike(old.strokes, self.rng)], "~"), style))
            self.score(f"struck out, {style}", struck)
        for sign in ("1", "-", ".", '"'):
            boxes = [
                self.shoot(sway(write(self.hands, sign, self.rng, "u"), self.rng), "pen") for _ in range(500)
            ]
            self.score(f"a lone {sign}", boxes)
        hands = [g for h, g in sorted(self.hands.hands.items()) if h.startswith("mtest")]
        glyphs = [(s, g) for hand in hands for s, several in sorted(hand.items()) for g in several]
        self.score(
            "isolated MNIST test digits, re-inked, pen",
            [self.shoot(Writing(list(g.strokes), s), "pen") for s, g in glyphs[::4]],
        )


def picture(errors: list[tuple[str, Box, str, float]], target: Path) -> None:
    """Draw the errors of which the reader was surest as one picture."""
    cells = []
    for _, box, said, _ in sorted(errors, key=lambda e: -e[3])[:40]:
        cell = np.full((130, 300, 3), 255, np.uint8)
        scale = min(1.0, 96 / box.crop.shape[0], 296 / box.crop.shape[1])
        small = cv2.resize(box.crop, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        cell[2 : 2 + small.shape[0], 2 : 2 + small.shape[1]] = small
        caption = f"{box.label or '(empty)'} -> {said or '(empty)'}".replace("£", "L")
        cv2.putText(cell, caption, (4, 122), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (200, 0, 0), 1, cv2.LINE_AA)
        cells.append(cell)
    cells += [np.full((130, 300, 3), 255, np.uint8)] * (-len(cells) % 5)
    sheet = np.vstack([np.hstack(cells[k : k + 5]) for k in range(0, len(cells), 5)])
    cv2.imwrite(str(target), cv2.cvtColor(sheet, cv2.COLOR_RGB2BGR))


if __name__ == "__main__":
    bench = Bench(Path(sys.argv[1]))
    bench.whole_numbers()
    kept = len(bench.errors)
    if len(sys.argv) > 2:
        picture(bench.errors, Path(sys.argv[2]) / "whole.png")
    bench.composed()
    bench.marks()
    if len(sys.argv) > 2:
        picture(bench.errors[kept:], Path(sys.argv[2]) / "composed.png")
