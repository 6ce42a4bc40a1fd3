"""One slip on its paper: print, handwriting or its carbon copy, as a flat picture with its truth."""

from dataclasses import dataclass, field
from typing import Any, Literal

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from sample_scans.forms import Cell, Design, Plate, point_x, print_form, random_design, typeface
from sample_scans.hands import Digits, Family, Hand, Mnist, Writers, make_hand, place, width_of, write
from sample_scans.orders import MISTAKES, Entry, Habits, Order, Wanted, make_order, random_habits
from sample_scans.pen import Mask, Points, ink

RGB = npt.NDArray[np.uint8]
Copy = Literal["top", "carbon"]
Quad = npt.NDArray[np.float64]

SCAN_SCALE = 300 / 25.4
"""Pixels per millimetre of a 300 dpi scanner."""

TOP_PAPERS = ((252, 251, 247), (250, 248, 240), (253, 247, 232), (246, 247, 250))
CARBON_PAPERS = ((250, 205, 212), (252, 238, 165), (196, 222, 242), (247, 216, 226), (248, 232, 190))
PENS = ((28, 44, 120), (20, 24, 34), (40, 60, 150), (70, 72, 78), (22, 30, 80))
"""Blue, black, bright blue, pencil grey and blue-black ink."""
PENCIL = (70, 72, 78)
WORD_BROADENING = 0.14
"""Handwriting fonts draw thinner lines than pens do; they are thickened by this share of the pen's width."""
CARBONS = ((62, 50, 140), (45, 60, 130), (50, 50, 70), (90, 60, 140))


@dataclass(frozen=True, slots=True)
class Box:
    """One box of a slip: what it means, what stands in it, and where (corners in pixels, clockwise)."""

    role: str
    row: int | None
    text: str
    value: int | str | None
    struck_out: bool
    corrected_from: str | None
    quad: Quad
    pence_quad: Quad | None


@dataclass(frozen=True, eq=False, slots=True)
class FlatSlip:
    """A slip drawn flat: (H, W, 3) uint8 RGB whose edges are the paper's, and all that is true of it."""

    image: RGB
    design: Design
    order: Order | None
    copy: Copy
    writer: int | None
    serial: str
    boxes: tuple[Box, ...]
    scale: float

    def truth(self) -> dict[str, Any]:
        """Return the slip's part of ``truth.json``, its places in pixels of :attr:`image`."""
        height, width = self.image.shape[:2]
        corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
        return slip_truth(self, corners, self.boxes)


def _listed(quad: Quad) -> list[list[float]]:
    return [[round(float(x), 2), round(float(y), 2)] for x, y in quad]


def slip_truth(slip: FlatSlip, outline: Quad, boxes: tuple[Box, ...]) -> dict[str, Any]:
    """Describe a slip as the result file does, with the keys that only the truth has."""
    order = slip.order
    lines = (
        []
        if order is None
        else [
            {
                "row": line.row,
                "code": line.code,
                "description": line.description,
                "quantity": line.quantity,
                "unit_price": line.unit_price,
                "line_total": line.line_total,
                "struck_out": line.struck_out,
            }
            for line in order.lines
        ]
    )
    written = order.written_total if order else None
    computed = order.computed_total if order else 0
    difference = None if written is None else written - computed
    return {
        "outline": _listed(outline),
        "slip_number": slip.serial or None,
        "customer": None if order is None else ", ".join((order.name, *order.address)),
        "lines": lines,
        "charges": [] if order is None else [{"kind": k, "amount": a} for k, a in order.charges],
        "written_total": written,
        "computed_total": computed,
        "difference": difference,
        "verdict": "unsure" if difference is None else "agrees" if difference == 0 else "wrong",
        "design": slip.design.name,
        "copy": slip.copy,
        "writer": slip.writer,
        "mistake": order.mistake if order else None,
        "columns": [column.role for column in slip.design.columns],
        "boxes": [
            {
                "role": box.role,
                "row": box.row,
                "text": box.text,
                "value": box.value,
                "struck_out": box.struck_out,
            }
            | ({} if box.corrected_from is None else {"corrected_from": box.corrected_from})
            | {"quad": _listed(box.quad)}
            | ({} if box.pence_quad is None else {"pence_quad": _listed(box.pence_quad)})
            for box in boxes
        ],
    }


def wanted_by(design: Design) -> Wanted:
    """What a design leaves room for."""
    return Wanted(
        roles=tuple(column.role for column in design.columns),
        rows=design.rows,
        totals=tuple(total.role for total in design.totals),
        split=design.split,
        printed_pound="pound" in design.prefill,
        printed_point="point" in design.prefill,
        code_style=design.code_style,
    )


@dataclass(eq=False)
class _Desk:
    """Writing on one slip: the pen's mask and the hand that holds it."""

    plate: Plate
    hand: Hand
    rng: np.random.Generator
    mask: Mask = field(init=False)

    def __post_init__(self) -> None:
        self.mask = np.zeros(
            (round(self.plate.height * self.plate.scale), round(self.plate.width * self.plate.scale)),
            np.uint8,
        )

    def number(
        self, text: str, left: float, right: float, top: float, bottom: float, align: float
    ) -> tuple[float, float, float]:
        """Write digits and signs between left and right; return left end, right end and height, mm."""
        strokes = write(self.hand, text, self.rng)
        height = min(self.hand.height, 0.74 * (bottom - top)) * float(self.rng.normal(1.0, 0.03))
        wide = width_of(strokes)
        room = max(right - left - 1.2, 2.0)
        squeeze = 1.0
        if wide * height > room:
            height *= max(0.62, room / (wide * height))
            squeeze = min(1.0, max(0.7, room / (wide * height)))
            height *= min(1.0, room / (wide * height * squeeze))
        spare = max(room - wide * height * squeeze, 0.0)
        x = left + 0.6 + spare * float(np.clip(align + self.rng.normal(0, 0.07), 0, 1))
        y = bottom - (0.18 + self.rng.normal(0, 0.035)) * (bottom - top)
        scale = self.plate.scale
        ink(
            self.mask,
            [s * scale for s in place(strokes, x, y, height, squeeze)],
            self.hand.pen * scale,
            self.rng,
        )
        return x, x + wide * height * squeeze, height

    def line(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Draw a freehand line."""
        count = 7
        along = np.linspace(0, 1, count)
        wobble = self.rng.normal(0, 0.16, (count, 2))
        points: Points = np.array(start) + np.outer(along, np.subtract(end, start)) + wobble
        ink(self.mask, [points * self.plate.scale], self.hand.pen * self.plate.scale, self.rng)

    def words(self, text: str, left: float, right: float, base: float, size: float) -> None:
        """Write words from `left` on the writing line `base`; letters shrink to fit."""
        scale = self.plate.scale
        name = f"{self.hand.word_font}-400"
        points = size * scale / 0.62
        wide = typeface(name, int(points)).getlength(text)
        room = (right - left) * scale
        if wide > room:
            points *= max(room / wide, 0.45)
        face = typeface(name, max(int(points), 8))
        box = face.getbbox(text, anchor="ls")
        pad = 6
        stamp = Image.new("L", (int(box[2] - box[0]) + 2 * pad, int(box[3] - box[1]) + 2 * pad), 0)
        ImageDraw.Draw(stamp).text((pad - box[0], pad - box[1]), text, 255, face, "ls")
        tilt = float(self.rng.normal(0, 0.7))
        turned = np.asarray(stamp.rotate(tilt, Image.Resampling.BICUBIC, expand=True))
        turned = _broaden(turned, WORD_BROADENING * self.hand.pen * scale)
        x0 = int(left * scale + box[0]) - pad
        y0 = int(base * scale + box[1]) - pad - (turned.shape[0] - stamp.height) // 2
        x1, y1 = max(x0, 0), max(y0, 0)
        part = self.mask[y1 : y0 + turned.shape[0], x1 : x0 + turned.shape[1]]
        np.maximum(
            part, turned[y1 - y0 : y1 - y0 + part.shape[0], x1 - x0 : x1 - x0 + part.shape[1]], out=part
        )


def _broaden(mask: Mask, by: float) -> Mask:
    """Thicken a font's thin lines to about the pen's."""
    size = max(1, round(by))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size + 1, size + 1))
    return np.asarray(cv2.dilate(mask, kernel), np.uint8)


def _write_entry(desk: _Desk, design: Design, cell: Cell, entry: Entry) -> None:
    align = {"quantity": 0.5, "code": 0.2}.get(entry.role, desk.hand.align)
    left, right = cell.left, cell.right
    if "pound" in design.prefill and entry.role not in ("quantity", "code", "page", "size"):
        left += 2.6
    if entry.corrected_from is not None:
        left = _write_correction(desk, cell, entry, left)
        align = 0.0
    if "|" in entry.text:
        pounds, _, pence = entry.text.partition("|")
        joint = cell.split if cell.split is not None else point_x(cell)
        gap = 0.0 if cell.split is not None else 0.5
        if pounds:
            desk.number(pounds, left, joint - gap, cell.top, cell.bottom, min(max(align, 0.5), 0.75))
        desk.number(pence, joint + gap, right, cell.top, cell.bottom, 0.3)
        return
    if entry.role in ("description", "other", "size") and entry.text != '"':
        size = min(2.9, 0.42 * (cell.bottom - cell.top))
        base = cell.bottom - 0.26 * (cell.bottom - cell.top) + float(desk.rng.normal(0, 0.15))
        desk.words(entry.text, left + 0.9, right - 0.6, base, size)
        return
    desk.number(entry.text, left, right, cell.top, cell.bottom, 0.5 if entry.text == '"' else align)


def _write_correction(desk: _Desk, cell: Cell, entry: Entry, left: float) -> float:
    """Write what stood there first, cross it out; returns where there is room again."""
    first = (entry.corrected_from or "").replace("|", "")
    room = cell.right - left
    x0, x1, height = desk.number(first, left, left + 0.46 * room, cell.top, cell.bottom, 0.0)
    middle = cell.bottom - 0.14 * (cell.bottom - cell.top) - 0.45 * height
    desk.line((x0 - 0.6, middle + 0.4), (x1 + 0.5, middle - 0.5))
    if desk.rng.random() < 0.6:
        desk.line((x0 - 0.4, middle - 0.6), (x1 + 0.5, middle + 0.6))
    return x1 + 0.4


def draw_slip(
    design: Design, order: Order | None, hand: Hand | None, copy: Copy, rng: np.random.Generator, scale: float
) -> FlatSlip:
    """Print a slip, write the order on it and give it its paper.

    Parameters
    ----------
    order, hand
        Both None for a blank slip.
    scale
        Pixels per millimetre.
    """
    serial = f"{int(rng.integers(100, 99999)):0{int(rng.integers(4, 6))}d}"
    plate = print_form(design, scale, serial)
    mask = np.zeros((round(design.height * scale), round(design.width * scale)), np.uint8)
    written: dict[tuple[str, int | None], Entry] = {}
    if order is not None and hand is not None:
        desk = _Desk(plate, hand, rng)
        written = {(entry.role, entry.row): entry for entry in order.entries}
        for cell in plate.cells:
            entry = written.get((cell.role, cell.row))
            if entry is not None:
                _write_entry(desk, design, cell, entry)
        _write_customer(desk, plate, order)
        _strike_rows(desk, plate, order)
        mask = desk.mask
    image = _on_paper(plate, mask, copy, rng)
    boxes = tuple(_box(cell, written.get((cell.role, cell.row)), scale, plate, order) for cell in plate.cells)
    has_serial = any(cell.role == "serial" for cell in plate.cells)
    return FlatSlip(
        image,
        design,
        order,
        copy,
        hand.digits.writer if hand else None,
        serial if has_serial else "",
        boxes,
        scale,
    )


def _write_customer(desk: _Desk, plate: Plate, order: Order) -> None:
    block = next(cell for cell in plate.cells if cell.role == "customer")
    pitch = (block.bottom - block.top) / 3
    for i, line in enumerate((order.name, *order.address)):
        base = block.top + (i + 1) * pitch - 0.9
        desk.words(line, block.left + (14 if i < 2 else 2), block.right - 0.5, base, min(2.9, 0.5 * pitch))


def _strike_rows(desk: _Desk, plate: Plate, order: Order) -> None:
    """Cross out the rows that no longer count, through everything from the first box to the last."""
    for line in order.lines:
        if line.struck_out:
            row = [cell for cell in plate.cells if cell.row == line.row]
            y = 0.52 * row[0].top + 0.48 * row[0].bottom
            start = (min(cell.left for cell in row) + 1.2, y + float(desk.rng.normal(0, 0.5)))
            end = (max(cell.right for cell in row) - 1.2, y + float(desk.rng.normal(0, 0.5)))
            desk.line(start, end)


def _box(cell: Cell, entry: Entry | None, scale: float, plate: Plate, order: Order | None) -> Box:
    def quad(left: float, right: float) -> Quad:
        return scale * np.array(
            [[left, cell.top], [right, cell.top], [right, cell.bottom], [left, cell.bottom]]
        )

    text, value = ("", None) if entry is None else (entry.text, entry.value)
    if cell.role == "serial":
        text, value = plate.serial, plate.serial
    if cell.role == "customer" and order is not None:
        text = value = ", ".join((order.name, *order.address))
    return Box(
        cell.role,
        cell.row,
        text,
        value,
        entry is not None and entry.struck_out,
        entry.corrected_from if entry else None,
        quad(cell.left, cell.right),
        None if cell.split is None else quad(cell.split, cell.right),
    )


def _noise(shape: tuple[int, int], size: float, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Smooth noise, mean 0 and deviation 1, with features about `size` pixels wide."""
    small = (max(2, int(shape[0] / size) + 2), max(2, int(shape[1] / size) + 2))
    field_ = rng.standard_normal(small, dtype=np.float32)
    big = cv2.resize(field_, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(big, np.float32)


def _on_paper(plate: Plate, mask: Mask, copy: Copy, rng: np.random.Generator) -> RGB:
    """Put print and writing on paper."""
    shape = mask.shape
    scale = plate.scale
    papers = TOP_PAPERS if copy == "top" else CARBON_PAPERS
    paper = np.array(papers[int(rng.integers(len(papers)))], np.float32)
    fibre = (
        1.1 * _noise(shape, 2.0, rng)
        + 1.0 * _noise(shape, 0.4 * scale, rng)
        + 1.2 * _noise(shape, 12 * scale, rng)
    )
    image = paper + fibre[..., None]
    strength = float(rng.uniform(0.8, 1.0))
    for colour, cover in plate.inks.items():
        soft = cv2.GaussianBlur(cover, (0, 0), 0.035 * scale)
        solid = np.clip(strength * soft * (1 + 0.04 * _noise(shape, 1.5, rng)), 0, 1)[..., None]
        image = image * (1 - solid) + (np.array(colour, np.float32) * 0.95 + 6) * solid
    if mask.any():
        image = _top_ink(image, mask, scale, rng) if copy == "top" else _carbon_ink(image, mask, scale, rng)
    return np.asarray(np.clip(image, 0, 255), np.uint8)


def _top_ink(
    image: npt.NDArray[np.float32], mask: Mask, scale: float, rng: np.random.Generator
) -> npt.NDArray[np.float32]:
    """Ball-point, fibre pen or pencil, straight on the paper."""
    colour = PENS[int(rng.integers(len(PENS)))]
    cover = cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), 0.03 * scale)
    if colour == PENCIL:
        grain = 0.72 + 0.2 * _noise(mask.shape, 1.6, rng) + 0.1 * _noise(mask.shape, 3 * scale, rng)
    else:
        grain = 0.93 + 0.05 * _noise(mask.shape, 2.2, rng) + 0.05 * _noise(mask.shape, 2 * scale, rng)
    solid = np.clip(cover * np.clip(grain, 0.25, 1), 0, 1)[..., None]
    mixed: npt.NDArray[np.float32] = image * (1 - solid) + np.array(colour, np.float32) * solid
    return mixed


def _carbon_ink(
    image: npt.NDArray[np.float32], mask: Mask, scale: float, rng: np.random.Generator
) -> npt.NDArray[np.float32]:
    """What carbon paper leaves below: broad, soft, grainy, faint where the pen was light, smudged."""
    colour = np.array(CARBONS[int(rng.integers(len(CARBONS)))], np.float32)
    cover = cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), float(rng.uniform(0.08, 0.14)) * scale)
    strength = float(rng.uniform(0.5, 0.85))
    pressure = 1 + 0.16 * _noise(mask.shape, 4 * scale, rng) + 0.12 * _noise(mask.shape, 0.9 * scale, rng)
    grain = 1 + 0.32 * _noise(mask.shape, 0.12 * scale, rng)
    solid = np.clip(
        1.25 * cover * strength * np.clip(pressure, 0.45, 1.4) * np.clip(grain, 0.15, 1.5), 0, 0.95
    )
    smudge = np.clip(_noise(mask.shape, 9 * scale, rng) - 1.5, 0, 1) * 0.05
    solid = np.clip(solid + smudge, 0, 1)[..., None]
    mixed: npt.NDArray[np.float32] = image * (1 - solid) + colour * solid
    return mixed


def any_slip(
    design: Design,
    digits: Digits,
    family: Family,
    rng: np.random.Generator,
    scale: float,
    blank: bool = False,
) -> FlatSlip:
    """Fill in a slip of a design as chance has it: one in six is wrong, three in ten are carbon copies."""
    copy: Copy = "carbon" if rng.random() < 0.35 else "top"
    if blank:
        return draw_slip(design, None, None, copy, rng, scale)
    habits: Habits = random_habits(rng)
    mistake = MISTAKES[int(rng.integers(len(MISTAKES)))] if rng.random() < 1 / 6 else None
    order = make_order(wanted_by(design), rng, habits, mistake)
    return draw_slip(design, order, make_hand(digits, family, rng), copy, rng, scale)


def flat_slip(
    seed: int, family: Family, mnist: Mnist | None = None, scale: float = SCAN_SCALE
) -> tuple[RGB, dict[str, Any]]:
    """Draw one filled slip of a random design, flat, without any camera.

    Returns
    -------
    image, truth
        (H, W, 3) uint8 RGB whose edges are the paper's edges, and the slip's truth with every place in
        pixels of that image (see README.md for its keys).
    """
    rng = np.random.default_rng([seed, {"tune": 11, "test": 12}[family]])
    writers = Writers(family, mnist)
    digits = writers.digits(writers.ids[int(rng.integers(len(writers)))])
    slip = any_slip(random_design(seed, family), digits, family, rng, scale)
    return slip.image, slip.truth()
