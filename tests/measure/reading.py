"""How well handwritten boxes are read, beside two peers on the same crops.

    python -m tests.measure.reading SHARED_DATA MNIST_IDX [--count 2000] [--slips 120] [--peers 2000]
        [--pictures FILE.png]

SHARED_DATA holds the UNIPEN files and ``mnist_writers.npz``; MNIST_IDX the idx files. All hands are of
writers that neither training nor calibration saw; the boxes are drawn by ``written_boxes``, which shares no
code with training. Wilson's 95 % intervals (Wilson, JASA 1927); Clopper-Pearson's upper 95 % bounds
(Biometrika 1934) where errors are rare. A reading is right if its value is: ``4.99`` and ``£4-99`` are one
amount. Peers: the general recogniser of the package rapidocr, as shipped, limited to our alphabet, and under
our grammar; Tesseract with our alphabet as its white list, on the first boxes of each row only.
"""

import argparse
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytesseract
from scipy.stats import beta

from formread import ocr
from formread.reading import read_boxes
from formread.reading.alike import codes_alike
from formread.reading.automaton import ALPHABET
from formread.reading.boxes import read_numbers
from formread.reading.calibrate import Calibration
from formread.reading.grammar import STRUCK, NumberKind, meanings
from formread.reading.readings import NumberReading, same_value
from formread.record import Reading, Value
from tests.measure.calibration import best, is_right, truth_probability
from tests.measure.general_reader import recognise_general
from tests.measure.written_boxes import (
    STYLES,
    Image,
    Sources,
    Written,
    composed,
    empty,
    hands_of,
    lone,
    real_numbers,
    slip_boxes,
    struck,
    whole_numbers,
)

SEED = 11
KINDS: tuple[NumberKind, ...] = ("amount", "quantity", "code")
_TESSERACT = 100  # boxes of each row that Tesseract reads: it takes a tenth of a second for each
_TIMES = 8  # pictures of each real whole number
_BINS = 15
_SURE = 0.99
_BATCH = 32


def wilson(right: int, total: int) -> str:
    """Return a share with Wilson's 95 % interval, in per cent."""
    if not total:
        return "-"
    z, p = 1.96, right / total
    middle = (p + z * z / (2 * total)) / (1 + z * z / total)
    half = z / (1 + z * z / total) * float(np.sqrt(p * (1 - p) / total + z * z / (4 * total * total)))
    return f"{100 * p:6.2f} ({100 * (middle - half):.1f}-{100 * (middle + half):.1f})"


def upper_bound(errors: int, total: int) -> float:
    """Return Clopper and Pearson's upper 95 % bound on an error rate."""
    return 1.0 if errors >= total else float(beta.ppf(0.95, errors + 1, total - errors))


def read(boxes: Sequence[Written]) -> list[NumberReading]:
    """Read boxes of any kinds with the product."""
    found: dict[int, NumberReading] = {}
    for kind in {box.kind for box in boxes}:
        members = [i for i, box in enumerate(boxes) if box.kind == kind]
        for i, reading in zip(members, read_boxes([boxes[i].crop for i in members], kind), strict=True):
            assert isinstance(reading, NumberReading)
            found[i] = reading
    return [found[i] for i in range(len(boxes))]


# --- peers --------------------------------------------------------------------------------------------------

_LIKE = str.maketrans(
    {"×": "x", "X": "x", "P": "p", "—": "-", "–": "-", "，": ",", "：": ":", "”": '"', "“": '"'}
)


def _value(text: str, kind: NumberKind) -> Value | tuple[str]:
    found = meanings(text, kind)
    return found[0][0] if found else (text,)


def _as_shipped(boxes: Sequence[Written]) -> list[Value | tuple[str]]:
    lines = ocr.read_lines([box.crop for box in boxes])
    return [
        _value("".join(line.text.split()).translate(_LIKE), box.kind)
        for line, box in zip(lines, boxes, strict=True)
    ]


def _limited(boxes: Sequence[Written]) -> list[Value | tuple[str]]:
    answers = []
    for scores, box in zip(recognise_general([box.crop for box in boxes]), boxes, strict=True):
        path = scores.argmax(axis=1)
        kept = path[np.r_[True, path[1:] != path[:-1]]]
        answers.append(_value("".join(ALPHABET[k - 1] for k in kept if k), box.kind))
    return answers


def _under_grammar(boxes: Sequence[Written]) -> list[Value | tuple[str]]:
    found: dict[int, Value | tuple[str]] = {}
    for kind in {box.kind for box in boxes}:
        members = [i for i, box in enumerate(boxes) if box.kind == kind]
        crops = [boxes[i].crop for i in members]
        for i, reading in zip(
            members, read_numbers(crops, kind, recognise_general, Calibration()), strict=True
        ):
            found[i] = reading.values[0][0] if reading.values else ("?",)
    return [found[i] for i in range(len(boxes))]


def _tesseract(boxes: Sequence[Written]) -> list[Value | tuple[str]]:
    white = "".join(ALPHABET).replace('"', "").replace("~", "")
    options = f"--psm 7 -c tessedit_char_whitelist={white}"
    answers = []
    for box in boxes:
        large = cv2.resize(box.crop, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
        answers.append(_value("".join(pytesseract.image_to_string(large, config=options).split()), box.kind))
    return answers


PEERS: dict[str, Callable[[Sequence[Written]], list[Value | tuple[str]]]] = {
    "general, as shipped": _as_shipped,
    "general, our alphabet": _limited,
    "general, our grammar": _under_grammar,
}


# --- tables -------------------------------------------------------------------------------------------------


class Tables:
    """Reads sets of boxes, prints a row for each, and keeps the readings for the tables that follow."""

    def __init__(self, peers: int) -> None:
        self.peers = peers  # boxes of each row that the peers read, spread over the row
        self.read: list[tuple[str, Written, NumberReading]] = []

    def row(self, name: str, boxes: Sequence[Written]) -> None:
        """Print how many of a set are read right, by us and by the peers."""
        readings = read(boxes)
        self.read += [(name, box, reading) for box, reading in zip(boxes, readings, strict=True)]
        self._shares(name, boxes, readings)
        if self.peers:
            every = max(1, len(boxes) // self.peers)
            some = boxes[::every]
            self._peer("(this reader, the same boxes)", some, [best(r)[1] for r in readings[::every]])
            for peer, ask in PEERS.items():
                self._peer(peer, some, ask(some))
            self._peer("Tesseract, our alphabet", some[:_TESSERACT], _tesseract(some[:_TESSERACT]))

    def together(self, name: str, boxes: Sequence[Written]) -> None:
        """Print how many codes are read right where those of one slip speak for one another."""
        readings: list[Reading] = list(read(boxes))
        for slip in {box.slip for box in boxes}:
            own = [i for i, box in enumerate(boxes) if box.slip == slip]
            for i, reading in zip(own, codes_alike([readings[i] for i in own]), strict=True):
                readings[i] = reading
        self._shares(name, boxes, [r for r in readings if isinstance(r, NumberReading)])

    @staticmethod
    def _shares(name: str, boxes: Sequence[Written], readings: Sequence[NumberReading]) -> None:
        right = sum(is_right(best(r)[1], b) for r, b in zip(readings, boxes, strict=True))
        five = sum(
            any(same_value(value, b.value, b.kind) for value, _ in r.values[:5])
            or (b.value == STRUCK and best(r)[1] == STRUCK)
            for r, b in zip(readings, boxes, strict=True)
        )
        total = len(boxes)
        print(
            f"{name:38s} n {total:5d}  read right {wilson(right, total)}  in five best {wilson(five, total)}",
            flush=True,
        )

    def _peer(self, peer: str, boxes: Sequence[Written], answers: Sequence[object]) -> None:
        right = sum(is_right(a, b) for a, b in zip(answers, boxes, strict=True))
        print(f"    {peer:34s} n {len(boxes):5d}  read right {wilson(right, len(boxes))}", flush=True)

    def calibration(self, title: str, chosen: Callable[[str, Written], bool]) -> None:
        """Print how far probabilities can be trusted, on the sets chosen."""
        kept = [(box, reading) for name, box, reading in self.read if chosen(name, box)]
        answers = [best(reading) for _, reading in kept]
        p = np.array([probability for probability, _ in answers])
        wrong = np.array([not is_right(v, b) for (_, v), (b, _) in zip(answers, kept, strict=True)])
        sure = p >= _SURE
        errors, total = int(wrong[sure].sum()), int(sure.sum())
        order = np.argsort(-p, kind="stable")
        bins = [b for b in np.array_split(order, _BINS) if len(b)]
        ece = sum(len(b) * abs(float(p[b].mean()) - float(1 - wrong[b].mean())) for b in bins) / len(p)
        truth = np.array([truth_probability(r, b) for b, r in kept])
        print(f"{title}: n {len(p)}, right {wilson(int((~wrong).sum()), len(p))}")
        print(
            f"    at {_SURE} and above: {total / len(p):.1%} of boxes, {errors} wrong = "
            f"{errors / max(total, 1):.2%} (upper bound {upper_bound(errors, total):.2%})"
        )
        print(
            f"    expected calibration error {ece:.2%} ({_BINS} bins alike in number); "
            f"mean log loss {-np.log(np.maximum(truth, 1e-6)).mean():.4f}"
        )
        mistakes = np.cumsum(wrong[order])
        counts = np.arange(1, len(p) + 1)
        for rate in (1e-3, 1e-4):
            seen = np.flatnonzero(mistakes <= rate * counts)
            share = (seen[-1] + 1) / len(p) if len(seen) else 0.0
            made = int(mistakes[seen[-1]]) if len(seen) else 0
            bound = upper_bound(made, int(seen[-1]) + 1) if len(seen) else 1.0
            print(
                f"    kept where errors are one in {round(1 / rate)}: {share:.1%} of boxes, {made} wrong "
                f"(upper bound {bound:.3%})"
            )

    def shares(self, title: str, chosen: Callable[[str, Written], bool], answer: object) -> None:
        """Print how often sets get a given answer."""
        kept = [reading for name, box, reading in self.read if chosen(name, box)]
        said = sum(best(reading)[1] == answer for reading in kept)
        print(
            f"{title}: {said} of {len(kept)} = {said / max(len(kept), 1):.3%} "
            f"(upper bound {upper_bound(said, len(kept)):.3%}; of the contrary "
            f"{upper_bound(len(kept) - said, len(kept)):.3%})"
        )

    def picture(self, path: Path, count: int = 40) -> None:
        """Draw the worst errors: the truth least believed in."""
        bad = [
            (truth_probability(r, b), i)
            for i, (_, b, r) in enumerate(self.read)
            if not is_right(best(r)[1], b)
        ]
        cells = []
        for _, i in sorted(bad)[:count]:
            _, box, reading = self.read[i]
            cell = np.full((66, 240, 3), 255, np.uint8)
            wide = min(238, max(1, box.crop.shape[1] * 44 // box.crop.shape[0]))
            cell[:44, :wide] = cv2.resize(box.crop, (wide, 44))
            text = reading.candidates[0].text if reading.candidates else "?"
            note = f"{box.kind[:2]} {box.text} as {text} {best(reading)[0]:.2f}".replace("£", "L")
            cv2.putText(cell, note, (2, 60), cv2.FONT_HERSHEY_SIMPLEX, 0.4, (0, 0, 0), 1, cv2.LINE_AA)
            cells.append(cell)
        cells += [np.full((66, 240, 3), 255, np.uint8)] * (-len(cells) % 5)
        if cells:
            sheet = np.vstack([np.hstack(cells[k : k + 5]) for k in range(0, len(cells), 5)])
            cv2.imwrite(str(path), np.ascontiguousarray(sheet[..., ::-1]))


def speed(boxes: Sequence[Written], on_slips: Sequence[Written]) -> None:
    """Print processor milliseconds a box on one core, in batches of 32, the median of five batches.

    `boxes` are written amounts, `on_slips` amounts as slips have them, empty ones among them.
    """
    cv2.setNumThreads(1)
    batches = [boxes[k : k + _BATCH] for k in range(0, 5 * _BATCH, _BATCH)]
    others = [on_slips[k : k + _BATCH] for k in range(0, 5 * _BATCH, _BATCH)]
    ways: dict[str, tuple[Sequence[Sequence[Written]], Callable[[list[Image]], object]]] = {
        "read_boxes, composed amounts": (batches, lambda crops: read_boxes(crops, "amount")),
        "read_boxes, amounts on slips": (others, lambda crops: read_boxes(crops, "amount")),
        "general recogniser, scores only": (batches, ocr.read_lines),
        "general recogniser, on slips": (others, ocr.read_lines),
    }
    for name, (several, work) in ways.items():
        work([box.crop for box in several[0]])
        spent = []
        for batch in several:
            crops = [box.crop for box in batch]
            start = time.process_time()
            work(crops)
            spent.append((time.process_time() - start) / max(1, len(crops)))
        print(f"{name:38s} {1000 * float(np.median(spent)):6.2f} ms of processor time a box")
    crops = [box.crop for box in boxes[:_BATCH]]
    readings = read_boxes(crops, "amount")
    start = time.perf_counter()
    for reading in readings:
        for pence in range(101, 4000, 53):
            reading.probability_of(pence)
    asked = len(readings) * len(range(101, 4000, 53))
    print(f"{'probability_of a value':38s} {1000 * (time.perf_counter() - start) / asked:6.3f} ms")


def mnist_single(folder: Path) -> None:
    """Print the error on MNIST's test part, each picture doubled in size, as a quantity."""
    pictures = np.frombuffer((folder / "t10k-images-idx3-ubyte").read_bytes()[16:], np.uint8).reshape(
        -1, 28, 28
    )
    labels = np.frombuffer((folder / "t10k-labels-idx1-ubyte").read_bytes()[8:], np.uint8)
    wrong = 0
    for begin in range(0, len(pictures), 1000):
        crops = [_enlarged(picture) for picture in pictures[begin : begin + 1000]]
        readings = read_boxes(crops, "quantity")
        digits = labels[begin : begin + 1000].tolist()
        wrong += sum(r.values[0][0] != d for r, d in zip(readings, digits, strict=True))
    print(
        f"MNIST test part, single digits: error {wrong / len(pictures):.2%} of {len(pictures)} "
        "(published for single small networks trained on MNIST alone: 0.2 to 0.5 %)"
    )


def _enlarged(picture: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    large = cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    return np.repeat((245 - 0.8 * large.astype(np.float32)).astype(np.uint8)[..., None], 3, axis=2)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, and print all tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("shared", type=Path)
    parser.add_argument("mnist", type=Path)
    parser.add_argument("--count", type=int, default=2000, help="boxes of each kind and style")
    parser.add_argument("--slips", type=int, default=120, help="drawn slips whose boxes are read too")
    parser.add_argument("--pictures", type=Path, help="where to draw the 40 worst errors")
    parser.add_argument(
        "--peers", type=int, default=2000, help="boxes of each row that the peers read too; 0 for none"
    )
    asked = parser.parse_args(arguments)
    sources = Sources(asked.shared, asked.mnist)
    rng = np.random.default_rng(SEED)
    hands = hands_of(sources, "test")
    numbers = whole_numbers(sources, "test")
    tables = Tables(asked.peers)
    for style in STYLES:
        real = real_numbers(numbers, style, _TIMES, rng)
        tables.row(f"real numbers, digits only, {style}", [b for b in real if b.text and b.text.isdigit()])
        tables.row(f"real numbers, all kinds, {style}", real)
    for kind in KINDS:
        for style in STYLES:
            tables.row(f"composed {kind}, {style}", composed(hands, kind, asked.count, style, rng))
    tables.peers = 0
    for style in STYLES:
        tables.row(f"struck out, {style}", struck(hands, asked.count // 4, style, rng))
        for kind in KINDS:
            tables.row(f"empty {kind}, {style}", empty(kind, asked.count // 4, style, rng))
    for text, kind in (
        ("1", "quantity"),
        ("7", "quantity"),
        ("-", "amount"),
        (".", "amount"),
        ("1", "pounds"),
    ):
        marks = lone(hands, text, kind, asked.count // 4, rng)
        tables.row(f"a lone {text} as {kind}", marks)
    for text in ("-", "."):
        seen = [r for name, _, r in tables.read if name == f"a lone {text} as amount"]
        kept = sum(r.candidates[0].text != "" for r in seen if r.candidates)
        print(f"    a lone {text} that is not taken for blank paper: {wilson(kept, len(seen))}")
    on_slips = list(slip_boxes(hands, "test", asked.slips, rng))
    for kind in ("amount", "quantity", "code", "pounds", "pence"):
        for style in STYLES:
            own = [b for b in on_slips if b.kind == kind and b.style == style]
            tables.row(f"slips: written {kind}, {style}", [b for b in own if b.value not in (None, STRUCK)])
            tables.row(f"slips: empty {kind}, {style}", [b for b in own if b.value is None])
            if kind == "code":
                written = [b for b in own if b.value not in (None, STRUCK)]
                tables.together(f"slips: written codes together, {style}", written)
    print()
    money = ("amount", "quantity")
    tables.calibration(
        "composed amounts and quantities", lambda n, b: n.startswith("composed") and b.kind in money
    )
    tables.calibration(
        "slips: written amounts and quantities", lambda n, b: "slips: w" in n and b.kind in money
    )
    tables.calibration("slips: all boxes", lambda n, _: n.startswith("slips"))
    tables.calibration("real whole numbers", lambda n, _: "all kinds" in n)
    print()
    tables.shares("empty boxes called empty", lambda _, b: b.text == "", None)
    tables.shares(
        "written boxes called empty",
        lambda n, b: b.value is not None and "lone" not in n and "str" not in n,
        None,
    )
    tables.shares("struck-out boxes found", lambda n, _: n.startswith("struck"), STRUCK)
    tables.shares("other boxes called struck out", lambda n, b: b.value != STRUCK and "lone" not in n, STRUCK)
    print()
    mnist_single(asked.mnist)
    speed(
        [box for name, box, _ in tables.read if name == "composed amount, pen"],
        [box for box in on_slips if box.kind == "amount"],
    )
    if asked.pictures:
        tables.picture(asked.pictures)


if __name__ == "__main__":
    main()
