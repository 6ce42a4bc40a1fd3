"""Record how the reader reads boxes whose truth is known: the confusions that the judge is measured on.

    python -m tests.measure.record_confusions SHARED_DATA MNIST_IDX OUT.json [--slips 400] [--family test]
        [--boxes FILE]

SHARED_DATA holds the UNIPEN files and ``mnist_writers.npz``, MNIST_IDX the idx files. The boxes are those of
drawn slips, pounds and pence of a split column joined as the product joins them: of the family ``test``, in
hands of writers that neither training nor calibration saw (see ``written_boxes``), to measure on; or of the
family ``tune``, in hands of the calibration's writers, to develop on. Only numbers are kept, no picture; with
``--boxes`` the drawn boxes are kept in FILE, a pickle outside the project, and are read again from there by the
next call, in a tenth of the time.

The file is a JSON object ``{"about": text, "boxes": [...]}``. Of each box it holds

``kind``
    ``"amount"`` or ``"quantity"``.
``writer``
    Whose hand it is.
``truth``
    The value written: minor units, a whole number, ``null`` for an empty box, ``"\\""`` for a ditto mark.
``values``
    The reader's answers, best first: ``[[value, probability], ...]``.
``truth_p``, ``blank_p``, ``ditto_p``
    ``probability_of`` the truth, of an empty box and of a ditto mark.
``near``, ``far``
    ``probability_of`` numbers that are not written there and not in the list: some that differ from the
    truth in one digit, and some drawn at random.
"""

import argparse
import json
import pickle
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Literal, get_args

import numpy as np

from formread.reading import join_pounds_pence, read_boxes
from formread.record import DITTO, Reading, Value
from tests.measure.written_boxes import Part, Sources, Written, hands_of, slip_boxes

Family = Literal["tune", "test"]
_PARTS: Final[dict[Family, Part]] = {"tune": "calibration", "test": "test"}
SEED = 23
_BATCH = 256
_PROBES = 4
_EMPTY_KEPT = 8  # of the empty boxes, one in so many: most boxes of a slip are empty


def pairs(boxes: Iterator[Written], rng: np.random.Generator) -> Iterator[tuple[Value, tuple[Written, ...]]]:
    """Put halves together, leave out what the judge never sees as a number, thin out the empty boxes."""
    for box in boxes:
        parts: tuple[Written, ...] = (box,)
        value = box.value
        if box.kind == "pounds":
            parts = (box, next(boxes))
            value = _joined(parts[0].value, parts[1].value)
        if box.kind not in ("amount", "quantity", "pounds") or not (
            value is None or value == DITTO or isinstance(value, int)
        ):
            continue
        if value is None and rng.integers(_EMPTY_KEPT):
            continue
        yield value, parts


def _joined(pounds: Value, pence: Value) -> Value:
    if not isinstance(pounds, int) and not isinstance(pence, int):
        return None
    return (pounds if isinstance(pounds, int) else 0) * 100 + (pence if isinstance(pence, int) else 0)


def entry(kind: str, writer: str, value: Value, reading: Reading, rng: np.random.Generator) -> dict[str, Any]:
    """Write down one reading."""
    listed = {v for v, _ in reading.values} | {value}
    near: list[float] = []
    if isinstance(value, int):
        digits = str(value)
        for _ in range(_PROBES):
            place = int(rng.integers(len(digits)))
            other = int(digits[:place] + str(int(rng.integers(place == 0, 10))) + digits[place + 1 :])
            if other not in listed:
                near.append(float(reading.probability_of(other)))
    most = 30 if kind == "quantity" else 10_000
    randoms = [int(v) for v in rng.integers(1, most, _PROBES) if int(v) not in listed]
    return {
        "kind": kind,
        "writer": writer,
        "truth": value,
        "values": [[v, float(f"{p:.4g}")] for v, p in reading.values],
        "truth_p": float(f"{reading.probability_of(value):.4g}"),
        "blank_p": float(f"{reading.probability_of(None):.4g}"),
        "ditto_p": float(f"{reading.probability_of(DITTO):.4g}"),
        "near": [float(f"{p:.3g}") for p in near],
        "far": [float(f"{reading.probability_of(v):.3g}") for v in randoms],
    }


Drawn = list[tuple[Value, tuple[Written, ...]]]


def drawn(sources: Sources, family: Family, slips: int, kept: Path | None) -> Drawn:
    """Draw the boxes, or take those that an earlier call kept: drawing takes far longer than reading."""
    if kept is not None and kept.exists():
        found: Drawn = pickle.loads(kept.read_bytes())
        return found
    rng = np.random.default_rng(SEED)
    found = list(pairs(slip_boxes(hands_of(sources, _PARTS[family]), family, slips, rng), rng))
    if kept is not None:
        kept.write_bytes(pickle.dumps(found))
    return found


def record(boxes: Drawn) -> list[dict[str, Any]]:
    """Read boxes and write the readings down."""
    rng = np.random.default_rng(SEED)
    found: list[dict[str, Any]] = []
    for start in range(0, len(boxes), _BATCH):
        batch = boxes[start : start + _BATCH]
        read: dict[tuple[int, int], Reading] = {}
        for kind in sorted({part.kind for _, parts in batch for part in parts}):
            places = [(i, j) for i, (_, ps) in enumerate(batch) for j, p in enumerate(ps) if p.kind == kind]
            readings = read_boxes([batch[i][1][j].crop for i, j in places], kind)
            read.update(zip(places, readings, strict=True))
        for i, (value, parts) in enumerate(batch):
            whole = read[i, 0] if len(parts) == 1 else join_pounds_pence(read[i, 0], read[i, 1])
            asked = "quantity" if parts[0].kind == "quantity" else "amount"
            found.append(entry(asked, parts[0].writer, value, whole, rng))
        print(f"{len(found)} of {len(boxes)} boxes", flush=True)
    return found


def main() -> None:
    """Record."""
    parser = argparse.ArgumentParser(description="Record the reader's confusions.")
    parser.add_argument("shared", type=Path)
    parser.add_argument("mnist", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--slips", type=int, default=400)
    parser.add_argument("--family", choices=get_args(Family), default="test")
    parser.add_argument("--boxes", type=Path, metavar="FILE")
    asked = parser.parse_args()
    boxes = record(drawn(Sources(asked.shared, asked.mnist), asked.family, asked.slips, asked.boxes))
    for kind in ("amount", "quantity"):
        some = [b for b in boxes if b["kind"] == kind and b["truth"] is not None]
        first = sum(b["values"][0][0] == b["truth"] for b in some if b["values"])
        five = sum(b["truth"] in [v for v, _ in b["values"][:5]] for b in some)
        print(f"{kind}: {len(some)} written boxes, right at once {first}, in the best five {five}")
    about = f"{asked.slips} drawn slips, family {asked.family}, {_PARTS[asked.family]} writers, seed {SEED}"
    asked.out.write_text(json.dumps({"about": about, "boxes": boxes}, separators=(",", ":")), "utf-8")


if __name__ == "__main__":
    main()
