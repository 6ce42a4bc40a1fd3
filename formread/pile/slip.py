"""From a flattened sheet and a layout to the readings of its boxes."""

import re
from collections.abc import Iterable, Sequence

import numpy as np

from formread.arithmetic.record import LineReadings, SlipReadings, TotalKind, TotalReading
from formread.layout.record import Box, Layout, Rectangle, TotalBox
from formread.layout.storeys import side_by_side
from formread.reading import join_pounds_pence, read_boxes
from formread.reading.prefill import blank_but_for_print
from formread.reading.strike import Storey, crossed
from formread.record import Kind, Reading
from formread.sheet.record import Image

MARGIN = 0.10
"""Share of a box's height that is added above and below it: handwriting overshoots the rules it stands on.
At the sides it is taken off (`INSET`): there the rest of a rule would be read as a 1."""
INSET = 0.05

_STRUCK_ROW_PRIOR = 0.01  # share of written rows that are crossed out; an assumption, no source
_STRUCK_BOX_PRIOR = 0.02  # share of struck-out boxes in the reader's calibration
_STROKE_TELLS = 120.0
"""How much oftener a crossed-out row holds one long stroke than another row: 12 of 14 against 4 of 557, counted on
drawn slips of the pads for development (``tests/measure/fresh_forms``)."""
_LEAST = 1e-4  # one box's word is never taken as more certain than this

_KINDS: dict[str, Kind] = {
    "code": "code",
    "quantity": "quantity",
    "unit_price": "amount",
    "line_total": "amount",
}


def cut(image: Image, rectangle: Rectangle) -> Image:
    """Cut one box out of a sheet, with a margin above and below and the rules at its sides left off.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB sheet.
    rectangle
        The box inside its ruled lines, in pixels of the sheet.

    Returns
    -------
    (h, w, 3) uint8 array
        Never empty: a box outside the sheet gives one pixel of its nearest edge.
    """
    height, width = image.shape[:2]
    margin = round(MARGIN * (rectangle.bottom - rectangle.top))
    inset = round(INSET * (rectangle.bottom - rectangle.top))
    top = int(np.clip(rectangle.top - margin, 0, height - 1))
    left = int(np.clip(rectangle.left + inset, 0, width - 1))
    bottom = int(np.clip(rectangle.bottom + margin, top + 1, height))
    right = int(np.clip(rectangle.right - inset, left + 1, width))
    return np.ascontiguousarray(image[top:bottom, left:right])


class _Queue:
    """Collects boxes of all kinds so that the reader sees each kind in one batch."""

    def __init__(self, image: Image) -> None:
        self._image = image
        self._asked: dict[Kind, list[Rectangle]] = {}
        self._blank: set[Rectangle] = set()
        self._read: dict[tuple[Kind, Rectangle], Reading] = {}

    def ask(self, box: Box, kind: Kind) -> None:
        for part, rectangle in _parts(box, kind):
            self._asked.setdefault(part, []).append(rectangle)

    def ask_column(self, boxes: Sequence[Box], kind: Kind) -> None:
        """Ask for the boxes of one column, from the top; what the form prints in all of them is left out."""
        for box in boxes:
            self.ask(box, kind)
        for halves in zip(*(_parts(box, kind) for box in boxes), strict=False):
            rectangles = [rectangle for _, rectangle in halves]
            told = blank_but_for_print([cut(self._image, r) for r in rectangles])
            self._blank.update(r for r, blank in zip(rectangles, told, strict=True) if blank)

    def _crop(self, rectangle: Rectangle) -> Image:
        crop = cut(self._image, rectangle)
        if rectangle not in self._blank:
            return crop
        return np.broadcast_to(np.median(crop, axis=(0, 1)).astype(np.uint8), crop.shape).copy()

    def read(self) -> None:
        for kind, rectangles in self._asked.items():
            readings = read_boxes([self._crop(r) for r in rectangles], kind)
            self._read.update(zip(((kind, r) for r in rectangles), readings, strict=True))

    def answer(self, box: Box, kind: Kind) -> Reading:
        parts = [self._read[part] for part in _parts(box, kind)]
        return parts[0] if len(parts) == 1 else join_pounds_pence(parts[0], parts[1])


def _parts(box: Box, kind: Kind) -> list[tuple[Kind, Rectangle]]:
    if box.pence is None or kind != "amount":
        return [(kind, box.rectangle)]
    return [("pounds", box.rectangle), ("pence", box.pence)]


def read_sheet(image: Image, layout: Layout) -> SlipReadings:
    """Read every box that arithmetic can weigh.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB sheet.
    layout
        What its boxes mean.
    """
    queue = _Queue(image)
    columns: dict[tuple[str, int], list[Box]] = {}
    for row in layout.rows:
        for place, (role, box) in enumerate(row.boxes):
            if role in _KINDS:
                columns.setdefault((role, place), []).append(box)
    for (name, _), own in columns.items():
        queue.ask_column(own, _KINDS[name])
    for total in layout.totals:
        queue.ask(total.box, "amount")
    queue.read()

    def of(row_boxes: dict[str, Box], role: str) -> Reading | None:
        box = row_boxes.get(role)
        return None if box is None else queue.answer(box, _KINDS[role])

    lines = []
    stroke = crossed([[_storey(image, boxes) for boxes in side_by_side(row)] for row in layout.rows])
    for row, through in zip(layout.rows, stroke, strict=True):
        boxes: dict[str, Box] = {}
        for role, box in row.boxes:
            boxes.setdefault(role, box)
        readings = {role: of(boxes, role) for role in _KINDS}
        lines.append(
            LineReadings(
                row=row.number,
                quantity=readings["quantity"],
                unit_price=readings["unit_price"],
                line_total=readings["line_total"],
                code=readings["code"],
                struck_out=struck_out((r for r in readings.values() if r is not None), through=through),
            )
        )
    totals = tuple(
        TotalReading(total_kind(t), queue.answer(t.box, "amount"), printed_percent(t.label))
        for t in layout.totals
    )
    return SlipReadings(tuple(lines), totals)


_BROUGHT = re.compile(r"\b(b\W{0,2}f(wd)?|brought\W+(forward|fwd|over)|carried\W+from)\b", re.IGNORECASE)
_PERCENT = re.compile(r"(\d{1,2})(?:[.,](\d{1,2})|\s?([¼½¾]))?\s*(?:%|per\s?cent)", re.IGNORECASE)
_PARTS = {"¼": 25, "½": 50, "¾": 75}
_NUMBER = re.compile(r"\d+")
_PLACE_IN_LIST = re.compile(r"^\W{0,2}\d{1,2}[.):]?\s(?!%)")
_MOST_PERCENT = 50  # a higher one is misread ("7½ %" as 72 %): nobody gives half away

_AT_TIMES = re.compile(
    r"\b(if|over|above|from|when|where|or more|more than|at least|up to|exceeding|under|below|between|minimum|min|"
    r"only|except|unless)\b",
    re.IGNORECASE,
)


def total_kind(total: TotalBox) -> TotalKind:
    """Say what the judge takes a box of the totals for."""
    return "brought" if total.role == "other" and _BROUGHT.search(total.label) else total.role


def printed_percent(label: str) -> int | None:
    """Return the percentage printed beside a box ("less 10 %", "discount 7½ %") in hundredths of one, or None.

    None also where it is not for every order ("5 % off orders over £30"): nobody knows whether it holds for this one.
    Any further number ("5 % (£30+)", "5 % or 10 %") speaks of such a condition, even if its words were not read.
    """
    found = _PERCENT.search(label)
    if found is None or _AT_TIMES.search(label):
        return None
    rest = _PLACE_IN_LIST.sub("", label[: found.start()]) + label[found.end() :]
    percent = int(found[1]) * 100 + (_PARTS[found[3]] if found[3] else int((found[2] or "").ljust(2, "0")))
    return percent if 0 < percent <= 100 * _MOST_PERCENT and not _NUMBER.search(rest) else None


def _storey(image: Image, boxes: Sequence[Box]) -> Storey:
    """Cut boxes that stand side by side out of a sheet, from the first to the last, between their rules."""
    places = [part for box in boxes for part in (box.rectangle, box.pence) if part is not None]
    height, width = image.shape[:2]
    top, left = max(p.top for p in places), max(min(p.left for p in places), 0)
    bottom, right = min(p.bottom for p in places), max(p.right for p in places)
    top = int(np.clip(top, 0, height - 1))
    strip = image[top : max(min(bottom, height), top + 1), left : max(min(right, width), left + 1)]
    return Storey(strip, len(boxes))


def struck_out(readings: Iterable[Reading], *, through: bool = False) -> float:
    """Probability that a row is crossed out, from what its boxes say (naive Bayes over the written boxes).

    Where one stroke goes `through` the whole row, boxes that do not look crossed out say nothing against it: in a
    single box such a stroke passes for a rule.
    """
    odds = np.log(_STRUCK_ROW_PRIOR / (1 - _STRUCK_ROW_PRIOR)) + (np.log(_STROKE_TELLS) if through else 0.0)
    base = np.log(_STRUCK_BOX_PRIOR / (1 - _STRUCK_BOX_PRIOR))
    written = 0
    for reading in readings:
        if reading.probability_of(None) > 0.5:
            continue
        written += 1
        share = float(np.clip(reading.struck_out, _LEAST, 1 - _LEAST))
        said = np.log(share / (1 - share)) - base
        odds += max(said, 0.0) if through else said
    return float(1 / (1 + np.exp(-odds))) if written else 0.0
