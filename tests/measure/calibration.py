"""Fit the calibration of the reader of numbers, on writers that neither training nor any test saw.

    python -m tests.measure.calibration SHARED_DATA MNIST_IDX [--single 900] [--slips 150] [--write]

SHARED_DATA holds the UNIPEN files and ``mnist_writers.npz``, MNIST_IDX the idx files. Per kind, the
temperature is the one under which the truth is likeliest (log loss of ``probability_of`` the true value);
then the line on the best reading's log odds is fitted by logistic regression (Platt 1999). Every box counts
by its kind of source alike: boxes drawn singly and boxes of drawn slips.
"""

import argparse
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from formread.reading.boxes import Crop, Scores, look, read_scores
from formread.reading.calibrate import Calibration
from formread.reading.grammar import NUMBER_KINDS, STRUCK, NumberKind
from formread.reading.readings import NumberReading, same_value
from formread.record import DITTO
from tests.measure.written_boxes import (
    STYLES,
    Sources,
    Written,
    composed,
    empty,
    hands_of,
    real_numbers,
    slip_boxes,
    struck,
    whole_numbers,
)

SEED = 70
# None sharper: a kind with hardly an error to learn from would take the sharpest there is.
TEMPERATURES = (0.8, 0.9, 1.0, 1.15, 1.3, 1.5, 1.75)
TARGET = Path(__file__).parents[2] / "formread" / "reading" / "weights" / "calibration.json"
_LEAST = 1e-6  # probability below which a miss costs no more
_TIMES = 8  # pictures of each real whole number


def material(sources: Sources, single: int, slips: int) -> list[Written]:
    """Draw the boxes to fit on: so many of each kind and style by themselves, and those of so many slips."""
    rng = np.random.default_rng(SEED)
    hands = hands_of(sources, "calibration")
    numbers = whole_numbers(sources, "calibration")
    boxes: list[Written] = []
    kinds: tuple[NumberKind, ...] = ("amount", "quantity", "code")
    for style in STYLES:
        for kind in kinds:
            boxes += composed(hands, kind, single, style, rng)
            boxes += empty(kind, single // 10, style, rng)
        boxes += struck(hands, single // 10, style, rng)
        boxes += real_numbers(numbers, style, _TIMES, rng)
    blank = 0
    for box in slip_boxes(hands, "tune", slips, rng):
        blank += box.value is None
        if box.value is not None or blank % 4 == 0:  # most boxes of a slip are empty; a quarter will do
            boxes.append(box)
    return boxes


def truth_probability(reading: NumberReading, box: Written) -> float:
    """Return how probable the reading holds the truth."""
    return reading.struck_out if box.value == STRUCK else reading.probability_of(box.value)


def best(reading: NumberReading) -> tuple[float, object]:
    """Return the best answer of a reading: (probability, value)."""
    value, probability = reading.values[0] if reading.values else (None, 0.0)
    return max(
        (probability, 2, value),
        (reading.struck_out, 1, STRUCK),
        (reading.unreadable, 0, "?"),
        key=lambda a: a[:2],
    )[::2]


def is_right(value: object, box: Written) -> bool:
    """Say whether a best answer is the truth."""
    return same_value(value, box.value, box.kind)  # type: ignore[arg-type]


def fit(
    kind: NumberKind, boxes: Sequence[Written], scores: Sequence[Scores], crops: Sequence[Crop]
) -> Calibration:
    """Fit one kind, from what :func:`formread.reading.boxes.look` says of its boxes."""

    def loss(how: Calibration) -> float:
        readings = read_scores(scores, crops, kind, how)
        return -float(
            np.mean(
                [math.log(max(truth_probability(r, b), _LEAST)) for r, b in zip(readings, boxes, strict=True)]
            )
        )

    plain = Calibration()
    warmth = min(TEMPERATURES, key=lambda t: loss(replace(plain, temperature=t)))
    how = replace(plain, temperature=warmth)
    answers = [best(reading) for reading in read_scores(scores, crops, kind, how)]
    p = np.clip([probability for probability, _ in answers], 1e-6, 1 - 1e-6)
    odds = np.log(p / (1 - p))
    right = np.array([is_right(value, box) for (_, value), box in zip(answers, boxes, strict=True)], float)

    def platt(line: npt.NDArray[np.float64]) -> float:
        z = line[0] * odds + line[1]
        # A pull towards "no correction", worth four boxes: some kinds have hardly an error to learn from.
        return float(np.sum(np.logaddexp(0, z) - right * z) + 2 * (line[0] - 1) ** 2 + 0.5 * line[1] ** 2)

    line = minimize(platt, np.array([1.0, 0.0]), method="Nelder-Mead").x
    done = replace(how, slope=round(float(line[0]), 4), offset=round(float(line[1]), 4))
    print(
        f"{kind:9s} n {len(boxes):5d}  right {right.mean():.4f}  temperature {warmth}  "
        f"slope {done.slope}  offset {done.offset}  log loss {loss(plain):.4f} -> {loss(done):.4f}",
        flush=True,
    )
    return done


def _is_written_code(box: Written) -> bool:
    return box.kind == "code" and box.text not in (None, "", STRUCK, DITTO)


def main(arguments: Sequence[str] | None = None) -> None:
    """Fit all kinds, print them, and store them if asked to."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("shared", type=Path)
    parser.add_argument("mnist", type=Path)
    parser.add_argument("--single", type=int, default=900, help="boxes of each kind and style")
    parser.add_argument("--slips", type=int, default=150, help="drawn slips whose boxes are fitted on too")
    parser.add_argument("--write", action="store_true", help=f"store the result in {TARGET.name}")
    asked = parser.parse_args(arguments)
    boxes = material(Sources(asked.shared, asked.mnist), asked.single, asked.slips)
    fitted = {}
    for kind in NUMBER_KINDS:
        own = [box for box in boxes if box.kind == kind]
        if kind == "number":  # four writers' numbers are too few: codes by all hands are numbers too
            own += [replace(box, kind=kind, value=box.text) for box in boxes if _is_written_code(box)]
        crops = [box.crop for box in own]
        fitted[kind] = fit(kind, own, look(crops, kind), crops)
    if asked.write:
        TARGET.write_text(
            json.dumps({kind: asdict(how) for kind, how in fitted.items()}, indent=1) + "\n", "utf-8"
        )


if __name__ == "__main__":
    main()
