"""Boxes with writing in them, and what it says: the material on which reading is measured and calibrated.

Two makers, neither of which shares code with the one that training uses: single boxes drawn here, and boxes
cut out of drawn order slips (``sample_scans``). The hands are real: digits of UNIPEN writers (Guyon et al.,
ICPR 1994) and of MNIST writers (LeCun, Cortes, Burges 1998), the latter traced to pen lines; signs are the
sample scans' own. Whole numbers are UNIPEN's, as they were written.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final, Literal

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.record import Rectangle
from formread.pile.slip import cut
from formread.reading.grammar import STRUCK, NumberKind
from formread.record import DITTO, Value
from models.legible import Legible
from sample_scans.forms import random_design
from sample_scans.hands import Digits, Hand, Mnist, make_hand, mnist_writers, traced_hand, write
from sample_scans.orders import Wanted, money_text, random_habits
from sample_scans.pen import Glyph, extent, ink
from sample_scans.slips import any_slip

Image = npt.NDArray[np.uint8]
Style = Literal["pen", "carbon"]
Part = Literal["calibration", "test"]
STYLES: Final[tuple[Style, ...]] = ("pen", "carbon")

_WRITERS = Path(__file__).parents[2] / "models" / "writers.json"
_PAPERS: Final = {
    "pen": ((252, 251, 247), (246, 244, 236), (255, 255, 255), (238, 240, 242)),
    "carbon": ((248, 206, 210), (250, 240, 178), (196, 214, 240), (214, 236, 208), (246, 244, 238)),
}
_INKS: Final = {
    "pen": ((24, 36, 110), (18, 18, 24), (30, 60, 160), (60, 60, 66), (120, 20, 30)),
    "carbon": ((60, 52, 130), (46, 66, 130), (56, 54, 70)),
}
_PRINT: Final = ((40, 40, 44), (60, 90, 150), (150, 60, 70), (110, 130, 115))
_OWN_SIZE = (0.85, 1.15)
_WIDEST = 1.6  # width of a digit in its heights
_TEST_HANDS = 120  # MNIST test writers used; there are more, but tracing takes time


@dataclass(frozen=True, slots=True, eq=False)
class Written:
    """One box: its picture, what it is read as, what stands in it, what that means, how it was written.

    ``text`` is None where only the value is known (boxes of drawn slips with two halves); the value of
    struck-out writing is ``STRUCK``. ``slip`` numbers the drawn slip that it was cut from.
    """

    crop: Image
    kind: NumberKind
    text: str | None
    value: Value
    style: Style
    writer: str
    slip: int | None = None


@dataclass(frozen=True, slots=True)
class Sources:
    """Where the data lie: the folder with the UNIPEN files and MNIST's writers, and MNIST's idx files."""

    shared: Path
    mnist: Path

    def idx(self) -> Mnist:
        """MNIST as the sample scans want it."""
        return Mnist(self.mnist, self.shared / "mnist_writers.npz")


@cache
def split() -> dict[str, dict[str, list[int]]]:
    """Return the writers of each part, as training recorded them."""
    found: dict[str, dict[str, list[int]]] = json.loads(_WRITERS.read_text("utf-8"))
    return found


def _unipen_items(file: Path, writers: Sequence[int]) -> Iterator[tuple[int, str, Glyph]]:
    """Yield (writer, label, strokes) in UNIPEN's own units, y turned downwards."""
    with np.load(file) as data:
        points, strokes, items = data["points"], data["stroke_start"], data["item_start"]
        labels, owners = data["label"], data["writer"]
    for i in np.flatnonzero(np.isin(owners, list(writers))).tolist():
        glyph = [
            points[strokes[s] : strokes[s + 1]] * np.array([1.0, -1.0]) for s in range(items[i], items[i + 1])
        ]
        yield int(owners[i]), str(labels[i]), [stroke for stroke in glyph if len(stroke)]


def _sized(glyph: Glyph, height: float) -> Glyph:
    """Scale to digit heights, the lowest point on the line, the leftmost at 0."""
    every = np.vstack(glyph)
    origin = np.array([every[:, 0].min(), every[:, 1].max()])
    return [(stroke - origin) / height for stroke in glyph]


def _tall(glyph: Glyph) -> float:
    return max(float(np.ptp(np.vstack(glyph)[:, 1])), 1.0)


def _well_formed(glyph: Glyph) -> bool:
    """Say whether strokes can be one digit: some items carry stray points far away."""
    return float(np.ptp(np.vstack(glyph)[:, 0])) < _WIDEST * _tall(glyph)


def unipen_digits(sources: Sources, part: Part) -> dict[str, Digits]:
    """Return the UNIPEN writers of a part who wrote all ten digits."""
    ids = split()["unipen_characters"][part]
    own: dict[int, dict[str, list[Glyph]]] = {}
    for writer, label, glyph in _unipen_items(sources.shared / "unipen_characters.npz", ids):
        if label.isdigit() and glyph and _well_formed(glyph):
            own.setdefault(writer, {}).setdefault(label, []).append(glyph)
    hands = {}
    for writer, digits in own.items():
        if len(digits) == 10:
            heights = [_tall(glyph) for several in digits.values() for glyph in several]
            usual = float(np.median(heights))
            # Sessions of one writer differ in scale by more than any hand does: a digit keeps a little of
            # its own size only.
            shapes = tuple(
                tuple(
                    _sized(glyph, _tall(glyph) / float(np.clip(_tall(glyph) / usual, *_OWN_SIZE)))
                    for glyph in digits[str(d)]
                )
                for d in range(10)
            )
            hands[f"unipen-{writer}"] = Digits(writer, shapes)
    return hands


def mnist_digits(sources: Sources, part: Part) -> dict[str, Digits]:
    """Return MNIST writers of a part: kept-back writers of its training part, or writers of its test part."""
    mnist = sources.idx()
    if part == "calibration":
        ids: list[int] = split()["mnist_train_calibration"]  # type: ignore[assignment]
        known = mnist_writers(mnist, "train")
        return {f"mnist-{w}": traced_hand(mnist, "train", w) for w in ids if w in known}
    ids = sorted(mnist_writers(mnist, "test"))[:_TEST_HANDS]
    hands = {f"mnist-{w}": traced_hand(mnist, "test", w) for w in ids}
    return {name: hand for name, hand in hands.items() if all(hand.shapes)}


def whole_numbers(sources: Sources, part: Part) -> list[tuple[str, str, Glyph]]:
    """Return (writer, label, strokes in heights of the whole) of UNIPEN's whole numbers, our signs only."""
    found = []
    ids = split()["unipen_numbers"][part]
    for writer, label, glyph in _unipen_items(sources.shared / "unipen_numbers.npz", ids):
        if glyph and set(label) <= set("0123456789.,-/:") and any(c.isdigit() for c in label):
            # A comma or full stop at the end belongs to the sentence that the number stood in.
            number = label.rstrip(".,")
            found.append(
                (f"unipen-{writer}", number, _sized(glyph, float(np.ptp(np.vstack(glyph)[:, 1])) or 1))
            )
    return found


class _Sieve:
    """Drops what is not legible from hands, and counts."""

    def __init__(self, sources: Sources) -> None:
        self._legible = Legible(sources.mnist)
        self.dropped = self.seen = 0

    def keep(self, hands: dict[str, Digits]) -> dict[str, Digits]:
        """Return the hands without what is not legible; hands that lose all of one digit go."""
        kept = {}
        for name, hand in hands.items():
            shapes = tuple(self._of_one(shapes, digit) for digit, shapes in enumerate(hand.shapes))
            if all(shapes):
                kept[name] = Digits(hand.writer, shapes)
        return kept

    def _of_one(self, shapes: tuple[Glyph, ...], digit: int) -> tuple[Glyph, ...]:
        likely = self._legible.tell(shapes, [digit] * len(shapes))
        self.seen += len(shapes)
        self.dropped += int((~likely).sum())
        return tuple(glyph for glyph, fine in zip(shapes, likely, strict=True) if fine)


# --- single boxes -------------------------------------------------------------------------------------------


def _noise(shape: tuple[int, int], size: float, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    small = rng.standard_normal((int(shape[0] / size) + 2, int(shape[1] / size) + 2)).astype(np.float32)
    return np.asarray(cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)


def box_of(glyph: Glyph, style: Style, rng: np.random.Generator) -> Image:
    """Draw strokes (digit heights) in a box and photograph it.

    Drawn at twice the size: paper with its grain, printed rules at the rim (and a dotted line to write on,
    in one box of eight), pen or carbon, then light, blur, sensor noise and JPEG.
    """
    digit = float(rng.uniform(17, 34))  # pixels in the finished picture
    height = int(digit * rng.uniform(1.35, 2.2))
    long = extent(glyph)[1] - extent(glyph)[0] if glyph else float(rng.uniform(1, 4))
    width = int(digit * (long + rng.uniform(0.6, 3.0))) + 8
    if glyph:
        tall = -min(float(stroke[:, 1].min()) for stroke in glyph)
        deep = max(float(stroke[:, 1].max()) for stroke in glyph)
        digit = min(digit, 0.94 * height / max(tall + deep, 0.3))
        spare = height - digit * (tall + deep)
        base = digit * tall + spare * rng.uniform(0.15, 0.85)
        left = (width - digit * long) * rng.uniform(0.1, 0.9) - digit * extent(glyph)[0]
        placed = [2 * (stroke * digit + (left, base)) for stroke in glyph]
    else:
        placed = []
    size = (2 * height, 2 * width)
    image = np.ones((*size, 3), np.float32) * np.array(_PAPERS[style][rng.integers(len(_PAPERS[style]))])
    image += (1.5 * _noise(size, 3, rng) + 1.5 * _noise(size, 40, rng))[..., None]
    _print_rules(image, rng)
    mask = np.zeros(size, np.uint8)
    ink(mask, placed, 2 * digit * float(rng.uniform(0.07, 0.13)), rng)
    cover: npt.NDArray[np.float32] = np.asarray(mask, np.float32) / np.float32(255)
    if style == "carbon":
        cover = np.asarray(cv2.GaussianBlur(cover, (0, 0), float(rng.uniform(0.8, 1.8))), np.float32)
        cover *= float(rng.uniform(0.55, 0.9)) * np.clip(1 + 0.3 * _noise(size, 2.5, rng), 0.2, 1.4)
        cover *= np.clip(1 + 0.15 * _noise(size, 30, rng), 0.5, 1.3)
    else:
        cover *= np.clip(0.95 + 0.08 * _noise(size, 3, rng), 0.4, 1)
    colour = np.array(_INKS[style][rng.integers(len(_INKS[style]))], np.float32)
    cover = np.clip(cover, 0, 0.97)[..., None]
    image = image * (1 - cover) + colour * cover
    return _photograph(image, (width, height), rng)


def _print_rules(image: npt.NDArray[np.float32], rng: np.random.Generator) -> None:
    colour = np.array(_PRINT[rng.integers(len(_PRINT))], np.float32)
    height = len(image)
    thick = int(rng.integers(1, 4))
    if rng.random() < 0.5:
        image[int(rng.integers(height - 6, height)) :][:thick] = colour
    if rng.random() < 0.3:
        image[: int(rng.integers(0, 4))] = colour
    if rng.random() < 0.12:
        y = int(height * rng.uniform(0.75, 0.88))
        image[y : y + 2, :: int(rng.integers(6, 10))] = colour
        image[y : y + 2, 1 :: int(rng.integers(6, 10))] = colour


def _photograph(image: npt.NDArray[np.float32], size: tuple[int, int], rng: np.random.Generator) -> Image:
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    begin, end = rng.uniform(0.8, 1.0, 2).tolist()
    light = np.linspace(begin, end, size[0], dtype=np.float32)[None, :, None]
    blurred = cv2.GaussianBlur(np.asarray(small * light, np.float32), (0, 0), float(rng.uniform(0.4, 1.0)))
    small = np.asarray(blurred + rng.normal(0, float(rng.uniform(1, 4)), blurred.shape), np.float32)
    quality = int(rng.integers(62, 94))
    done, data = cv2.imencode(
        ".jpg", np.clip(small, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    assert done
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)


# --- what is written ----------------------------------------------------------------------------------------

_ANY: Final = Wanted(("unit_price",), 10, ("total",), False, False, False, "six")


def amount_text(rng: np.random.Generator) -> tuple[str, int]:
    """Draw an amount as somebody writes it: (text, pence)."""
    pence = int(np.exp(rng.uniform(np.log(35), np.log(15_000))))
    if rng.random() < 0.5:
        pence = max(pence - pence % 100 + int(rng.choice([99, 95, 50, 0, 25, 75])), 25)
    return money_text(pence, random_habits(rng), _ANY), pence


def quantity_text(rng: np.random.Generator) -> tuple[str, int]:
    """Draw a quantity: mostly small, now and then with a cross or a tail."""
    count = int(rng.choice([1, 2, 3, 4, 5, 6, 8, 10, 12, int(rng.integers(7, 150))]))
    frame = str(rng.choice(["{}", "{}", "{}", "{}", "{}", "{}x", "x{}", "{}-"]))
    return frame.format(count), count


def code_text(rng: np.random.Generator) -> tuple[str, str]:
    """Draw a six-digit code, a dash in the middle of one in three."""
    code = "".join(str(d) for d in rng.integers(0, 10, 6))
    text = f"{code[:3]}-{code[3:]}" if rng.random() < 1 / 3 else code
    return text, text


def _hand(digits: Digits, rng: np.random.Generator) -> Hand:
    return make_hand(digits, "test", rng)


def composed(
    hands: dict[str, Digits], kind: NumberKind, count: int, style: Style, rng: np.random.Generator
) -> list[Written]:
    """Draw boxes of a kind, one hand per box."""
    draws: dict[str, Callable[[np.random.Generator], tuple[str, Value]]] = {
        "amount": amount_text,
        "quantity": quantity_text,
        "code": code_text,
    }
    names = sorted(hands)
    boxes = []
    for _ in range(count):
        name = names[int(rng.integers(len(names)))]
        text, value = draws[kind](rng)
        glyph = write(_hand(hands[name], rng), text, rng)
        boxes.append(Written(box_of(glyph, style, rng), kind, text, value, style, name))
    return boxes


def lone(
    hands: dict[str, Digits], text: str, kind: NumberKind, count: int, rng: np.random.Generator
) -> list[Written]:
    """Draw one short text in many hands, pen and carbon by turns."""
    names = sorted(hands)
    boxes = []
    for i in range(count):
        name = names[int(rng.integers(len(names)))]
        glyph = write(_hand(hands[name], rng), text, rng)
        style = STYLES[i % 2]
        value = int(text) if text.isdigit() else None
        boxes.append(Written(box_of(glyph, style, rng), kind, text, value, style, name))
    return boxes


def empty(kind: NumberKind, count: int, style: Style, rng: np.random.Generator) -> list[Written]:
    """Draw boxes without writing."""
    return [Written(box_of([], style, rng), kind, "", None, style, "nobody") for _ in range(count)]


def _strike(glyph: Glyph, rng: np.random.Generator) -> Glyph:
    """Strike writing out: a line, two lines, a cross, or a zigzag, from end to end."""
    left, right = extent(glyph)
    left, right = left - rng.uniform(0, 0.3), right + rng.uniform(0, 0.3)
    top, low = -float(rng.uniform(0.75, 1.0)), -float(rng.uniform(0.0, 0.25))
    middle = (top + low) / 2 + float(rng.normal(0, 0.07))
    way = int(rng.integers(4))
    if way == 3:
        turns = max(5, int((right - left) * rng.uniform(3, 6)))
        x = np.linspace(left, right, turns)
        y = np.where(np.arange(turns) % 2, top, low) + rng.normal(0, 0.06, turns)
        return [np.column_stack([x, y])]
    if way == 2:
        return [np.array([[left, top], [right, low]]), np.array([[left, low], [right, top]])]
    lines = [np.array([[left, middle], [right, middle + float(rng.normal(0, 0.08))]])]
    if way == 1:
        lines.append(lines[0] + (0, float(rng.uniform(0.12, 0.25))))
    return lines


def struck(hands: dict[str, Digits], count: int, style: Style, rng: np.random.Generator) -> list[Written]:
    """Draw amounts of two characters and more that are struck out."""
    names = sorted(hands)
    boxes: list[Written] = []
    while len(boxes) < count:
        name = names[int(rng.integers(len(names)))]
        text, _ = amount_text(rng)
        if len(text) > 2:
            glyph = write(_hand(hands[name], rng), text, rng)
            crop = box_of([*glyph, *_strike(glyph, rng)], style, rng)
            boxes.append(Written(crop, "amount", STRUCK, STRUCK, style, name))
    return boxes


def hands_of(sources: Sources, part: Part) -> dict[str, Digits]:
    """Return all hands of a part, legible digits only; say how many were dropped."""
    sieve = _Sieve(sources)
    hands = sieve.keep(unipen_digits(sources, part) | mnist_digits(sources, part))
    print(f"{part} hands: {len(hands)}; digits not legible, dropped: {sieve.dropped} of {sieve.seen}")
    return hands


def real_numbers(
    numbers: Sequence[tuple[str, str, Glyph]], style: Style, times: int, rng: np.random.Generator
) -> list[Written]:
    """Photograph each whole number several times."""
    return [
        Written(box_of(glyph, style, rng), "number", label, label, style, writer)
        for writer, label, glyph in numbers
        for _ in range(times)
    ]


# --- boxes of drawn slips -----------------------------------------------------------------------------------

_ROLES: Final[dict[str, NumberKind]] = {"quantity": "quantity", "code": "code"}
_HALVES: Final[tuple[NumberKind, ...]] = ("pounds", "pence")
_AMOUNTS: Final = ("unit_price", "line_total", "goods", "delivery", "discount", "deposit", "other", "total")
_PIXELS_PER_MM: Final = (5.0, 9.0)  # of a slip in a phone's photo of one to four slips


def slip_boxes(
    hands: dict[str, Digits], family: Literal["tune", "test"], slips: int, rng: np.random.Generator
) -> Iterator[Written]:
    """Yield every number box of drawn slips, cut as the product cuts them; half amounts as their halves."""
    names = sorted(hands)
    for number in range(slips):
        name = names[int(rng.integers(len(names)))]
        design = random_design(int(rng.integers(1 << 30)), family)
        scale = float(rng.uniform(*_PIXELS_PER_MM))
        slip = any_slip(design, hands[name], family, rng, 2 * scale)
        image = _photograph(
            slip.image.astype(np.float32), (slip.image.shape[1] // 2, slip.image.shape[0] // 2), rng
        )
        style: Style = "carbon" if slip.copy == "carbon" else "pen"
        rows_struck = {line.row for line in slip.order.lines if line.struck_out} if slip.order else set()
        for box in slip.boxes:
            # Crossed-out rows are the judge's affair, corrections have no one text, "other" columns hold words.
            if box.row in rows_struck or box.corrected_from is not None or (box.row and box.role == "other"):
                continue
            kind: NumberKind | None = "amount" if box.role in _AMOUNTS else _ROLES.get(box.role)
            if kind is None:
                continue
            value = STRUCK if box.struck_out else DITTO if box.text == DITTO else box.value
            whole = _rectangle(box.quad / 2, rng)
            if box.pence_quad is None or kind != "amount":
                text = box.text if "|" not in box.text else None
                yield Written(cut(image, whole), kind, text, value, style, name, number)
                continue
            if box.struck_out or (box.text and "|" not in box.text):
                continue
            pence = _rectangle(box.pence_quad / 2, rng)
            pounds = Rectangle(whole.left, whole.top, pence.left, whole.bottom)
            halves = box.text.split("|") if box.text else ["", ""]
            for half, rectangle, half_kind in zip(halves, (pounds, pence), _HALVES, strict=True):
                meant = int(half) if half.isdigit() else None
                yield Written(cut(image, rectangle), half_kind, half, meant, style, name, number)


def _rectangle(quad: npt.NDArray[np.float64], rng: np.random.Generator) -> Rectangle:
    """Return a quad as layout would find it, a pixel or so off."""
    left, top = quad.min(axis=0) + rng.normal(0, 0.8, 2)
    right, bottom = quad.max(axis=0) + rng.normal(0, 0.8, 2)
    return Rectangle(int(left) + 1, int(top) + 1, int(right), int(bottom))
