"""Fill a rendered pad in by hand: an invented order, somebody's digits, pen or carbon copy, paper."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from sample_scans.forms import Design, typeface
from sample_scans.hands import Hand, place, width_of, write
from sample_scans.orders import Entry, Habits, Order, Wanted, make_order, money_text
from sample_scans.pen import Mask, Points, ink
from sample_scans.slips import RGB, Box, FlatSlip

Floats = npt.NDArray[np.float32]
Places = dict[str, Any]
Record = dict[str, Any]
Rect = Sequence[float]

MONEY = ("unit_price", "line_total", "goods", "delivery", "discount", "deposit", "total")
TOTALS = ("goods", "delivery", "discount", "deposit", "total")
PAPERS = (
    (254, 254, 252),
    (247, 244, 235),
    (228, 240, 224),
    (252, 226, 160),
    (250, 214, 222),
    (206, 224, 240),
    (236, 226, 200),
    (226, 226, 222),
)
PENS = ((20, 36, 130), (18, 18, 22), (60, 40, 120), (84, 84, 88), (10, 80, 110), (150, 30, 40))
CARBONS = ((70, 66, 150), (40, 44, 62), (60, 80, 150), (96, 84, 130))
LEAST_CORRECTED = 20.0
"""Millimetres: in a narrower box there is no room to cross a number out and write another."""
LEAST_DIGIT = 2.0
"""Millimetres: below this height a person would not write a digit but start another line."""


def wanted_by(places: Places) -> Wanted:
    """What a pad leaves room for. How money is written is settled box by box, so nothing is split here."""
    rows = {box["row"] for box in places["boxes"] if box["row"]}
    roles = tuple(dict.fromkeys(box["role"] for box in places["boxes"] if box["row"]))
    found = {box["role"] for box in places["boxes"] if not box["row"]}
    percents = [box.get("percent") for box in places["boxes"] if box["role"] == "discount"]
    return Wanted(
        roles=roles,
        rows=len(rows),
        totals=tuple(role for role in TOTALS if role in found),
        split=False,
        printed_pound=False,
        printed_point=False,
        code_style=places["code"],
        percent=next((percent for percent in percents if percent), None),
    )


def _in_box(entry: Entry, box: Record, habits: Habits, wanted: Wanted, mm: float) -> Entry:
    """Write the amount as this box asks for it."""
    if entry.role not in MONEY or entry.text == '"':
        return entry
    if box["rect"][2] - box["rect"][0] < LEAST_CORRECTED * mm:
        entry = replace(entry, corrected_from=None)
    if box["pence"] or box["point"] or box["pound"]:
        here = replace(
            wanted,
            split=bool(box["pence"]),
            printed_point=bool(box["point"]),
            printed_pound=bool(box["pound"]),
        )
        plain = replace(habits, small="0.") if box["pound"] else habits
        corrected = entry.corrected_from if box["pound"] else None
        return replace(
            entry,
            text=money_text(int(entry.value), plain, here),
            corrected_from=corrected and corrected.strip("£p"),
        )
    return entry


class Writing:
    """One hand writing on one pad; lengths in pixels of the pad's picture."""

    def __init__(self, shape: tuple[int, int], scale: float, hand: Hand, rng: np.random.Generator) -> None:
        self.mask: Mask = np.zeros(shape, np.uint8)
        self._mm, self._hand, self._rng = scale, hand, rng

    def number(self, text: str, rect: Rect, align: float) -> tuple[float, float, float]:
        """Write digits and signs into a place; return left end, right end and height."""
        left, top, right, bottom = rect
        strokes = write(self._hand, text, self._rng)
        side = min(0.6 * self._mm, 0.08 * (right - left))
        room = right - left - 2 * side
        height = min(self._hand.height * self._mm, 0.8 * (bottom - top)) * float(self._rng.normal(1, 0.04))
        wide = max(width_of(strokes), 0.2)
        squeeze = 1.0
        if wide * height > room:
            height = max(min(height, room / wide), LEAST_DIGIT * self._mm)
            squeeze = min(1.0, room / (wide * height))
        spare = max(room - wide * height * squeeze, 0.0)
        x = left + side + spare * float(np.clip(align + self._rng.normal(0, 0.08), 0, 1))
        floor = bottom - max(0.1 * (bottom - top), 0.4 * (bottom - top - height)) * float(
            self._rng.uniform(0.5, 1.2)
        )
        ink(
            self.mask,
            place(strokes, x, floor, height, squeeze),
            self._hand.pen * self._mm,
            self._rng,
        )
        return x, x + wide * height * squeeze, height

    def line(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Draw a freehand line."""
        along = np.linspace(0, 1, 9)
        points: Points = np.array(start) + np.outer(along, np.subtract(end, start))
        points = points + self._rng.normal(0, 0.12 * self._mm, points.shape)
        ink(self.mask, [points], self._hand.pen * self._mm, self._rng)

    def words(self, text: str, rect: Rect) -> None:
        """Write words from the left of a place."""
        left, top, right, bottom = rect
        room = right - left - 1.2 * self._mm
        size = min(4.4 * self._mm, 0.66 * (bottom - top))
        name = f"{self._hand.word_font}-400"
        while text and typeface(name, int(size)).getlength(text) * 0.6 > room and " " in text:
            text = text.rsplit(" ", 1)[0]
        size *= max(0.5, min(1.0, room / max(typeface(name, int(size)).getlength(text), 1.0)))
        face = typeface(name, max(int(size), 10))
        x0, y0, x1, y1 = face.getbbox(text, anchor="ls")
        stamp = Image.new("L", (int(x1 - x0) + 12, int(y1 - y0) + 12), 0)
        ImageDraw.Draw(stamp).text((6 - x0, 6 - y0), text, 255, face, "ls")
        tilted = np.asarray(stamp.rotate(float(self._rng.normal(0, 0.8)), Image.Resampling.BICUBIC))
        thick = max(1, round(0.12 * self._hand.pen * self._mm))
        drawn = cv2.dilate(tilted, np.ones((thick, thick), np.uint8))
        x = int(left + 0.8 * self._mm)
        y = int(bottom - 0.24 * (bottom - top) + y0) - 6
        self._stamp(np.asarray(drawn, np.uint8), x, y)

    def _stamp(self, drawn: Mask, x: int, y: int) -> None:
        top, left = max(y, 0), max(x, 0)
        part = self.mask[top : y + drawn.shape[0], left : x + drawn.shape[1]]
        np.maximum(part, drawn[top - y :, left - x :][: part.shape[0], : part.shape[1]], out=part)


def _write_entry(writing: Writing, entry: Entry, box: Record, hand: Hand) -> None:
    left, top, right, bottom = box["rect"]
    if box["pound"]:
        left = box["pound"][2]
    if box["cells"] and entry.role == "code":
        for character, cell in zip(entry.text, box["cells"], strict=False):
            writing.number(character, cell, 0.5)
        return
    align = {"quantity": 0.5, "code": 0.15, "page": 0.5}.get(entry.role, hand.align)
    if "|" in entry.text:
        pounds, _, pence = entry.text.partition("|")
        joint, after = (
            (box["pence"][0], box["pence"][0]) if box["pence"] else (box["point"][0], box["point"][2])
        )
        if pounds:
            writing.number(pounds, (left, top, joint, bottom), max(align, 0.6))
        writing.number(pence, (after, top, right, bottom), 0.3)
    elif entry.role in ("description", "other", "size") and entry.text != '"':
        writing.words(str(entry.text), (left, top, right, bottom))
    elif entry.corrected_from is not None:
        half = left + 0.45 * (right - left)
        x0, x1, height = writing.number(entry.corrected_from, (left, top, half, bottom), 0.0)
        middle = bottom - 0.2 * (bottom - top) - 0.45 * height
        writing.line((x0 - 4, middle + 5), (x1 + 4, middle - 5))
        writing.number(entry.text, (x1 + 3, top, right, bottom), 0.2)
    else:
        writing.number(entry.text, (left, top, right, bottom), 0.5 if entry.text == '"' else align)


def _write_customer(
    writing: Writing, order: Order, fields: Sequence[Record], rng: np.random.Generator
) -> None:
    towns = any(field["what"] == "town" for field in fields)
    address = order.address[0] if towns else ", ".join(order.address)
    digits = "".join(str(d) for d in rng.integers(0, 10, 9))
    texts = {
        "name": order.name,
        "address": address,
        "town": order.address[-1],
        "postcode": f"QB{digits[0]} {digits[1]}WH",
    }
    for field in fields:
        what = field["what"]
        if rng.random() < (0.04 if what == "name" else 0.2):
            continue
        if what in texts:
            writing.words(texts[what], field["rect"])
        elif what == "date":
            writing.number(f"{rng.integers(1, 29)}/{rng.integers(1, 13)}/26", field["rect"], 0.1)
        elif what == "phone":
            writing.number(f"0{digits[:4]} {digits[4:]}", field["rect"], 0.1)


def fill(
    name: str,
    picture: RGB,
    places: Places,
    hand: Hand | None,
    habits: Habits,
    mistake: str | None,
    carbon: bool,
    rng: np.random.Generator,
) -> FlatSlip:
    """Fill one pad in; without a hand it stays blank."""
    scale, boxes = float(places["scale"]), places["boxes"]
    height, width = picture.shape[:2]
    wanted = wanted_by(places)
    order = make_order(wanted, rng, habits, mistake) if hand else None
    serial = f"{int(rng.integers(100, 99999)):05d}"
    printed = _number(picture, boxes, serial, scale, rng)
    written: dict[tuple[str, int | None], Entry] = {}
    mask: Mask = np.zeros((height, width), np.uint8)
    if order is not None and hand is not None:
        writing = Writing((height, width), scale, hand, rng)
        entries = {(entry.role, entry.row): entry for entry in order.entries}
        for box in boxes:
            key = box["role"], box["row"]
            if key in entries:
                written[key] = _in_box(entries[key], box, habits, wanted, scale)
                _write_entry(writing, written[key], box, hand)
            elif box["role"] == "items" and rng.random() < 0.7:
                count = sum(line.quantity or 1 for line in order.lines if not line.struck_out)
                written[key] = Entry("items", None, str(count), count)
                _write_entry(writing, written[key], box, hand)
        _write_customer(writing, order, places["fields"], rng)
        for line in order.lines:
            if line.struck_out:
                row = [box["rect"] for box in boxes if box["row"] == line.row]
                y = 0.5 * (row[0][1] + row[0][3])
                shake = rng.normal(0, round(0.42 * scale), 2)
                inset = round(1.27 * scale)
                writing.line(
                    (min(r[0] for r in row) + inset, y + float(shake[0])),
                    (max(r[2] for r in row) - inset, y + float(shake[1])),
                )
        mask = writing.mask
    image = on_paper(printed, mask, carbon, scale, rng)
    true = [_box(box, written.get((box["role"], box["row"])), serial) for box in boxes]
    if places["fields"]:
        true.append(_customer(places["fields"], order))
    has_serial = any(box["role"] == "serial" for box in boxes)
    return FlatSlip(
        image,
        design_of(name, width / scale, height / scale),
        order,
        "carbon" if carbon else "top",
        hand.digits.writer if hand else None,
        serial if has_serial else "",
        tuple(true),
        scale,
    )


def design_of(name: str, width: float, height: float) -> Design:
    """The paper's size and name: all that the camera asks of a design."""
    black = (0, 0, 0)
    return Design(name, width, height, (), (), 0, "", "", "", "", "", "", black, black)


def _number(picture: RGB, boxes: Sequence[Record], serial: str, mm: float, rng: np.random.Generator) -> RGB:
    """Print the slip's number where the pad has a place for one."""
    for box in boxes:
        if box["role"] == "serial":
            left, top, _, bottom = box["rect"]
            inset = round(0.68 * mm)
            face = typeface("archivo-narrow-700", int(0.95 * (bottom - top)))
            sheet = Image.fromarray(picture)
            colour = ((176, 26, 30), (30, 30, 30))[int(rng.integers(2))]
            ImageDraw.Draw(sheet).text((left + inset, bottom - inset), serial, colour, face, "ls")
            picture = np.asarray(sheet, np.uint8)
    return picture


def _corners(rect: Rect) -> npt.NDArray[np.float64]:
    left, top, right, bottom = rect
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float64)


def _box(box: Record, entry: Entry | None, serial: str) -> Box:
    text, value = ("", None) if entry is None else (entry.text, entry.value)
    if box["role"] == "serial":
        text, value = serial, serial
    return Box(
        "other" if box["role"] == "items" else box["role"],
        box["row"],
        text,
        value,
        entry is not None and entry.struck_out,
        entry.corrected_from if entry else None,
        _corners(box["rect"]),
        _corners(box["pence"]) if box["pence"] else None,
    )


def _customer(fields: Sequence[Record], order: Order | None) -> Box:
    rects = np.array([field["rect"] for field in fields])
    whole = (*rects[:, :2].min(axis=0).tolist(), *rects[:, 2:].max(axis=0).tolist())
    text = "" if order is None else ", ".join((order.name, *order.address))
    return Box("customer", None, text, text or None, False, None, _corners(whole), None)


def _clouds(shape: tuple[int, int], size: float, rng: np.random.Generator) -> Floats:
    """Smooth noise between about -1 and 1 with features of `size` pixels."""
    small = (max(3, int(shape[0] / size) + 2), max(3, int(shape[1] / size) + 2))
    field = rng.uniform(-1, 1, small).astype(np.float32)
    return np.asarray(cv2.resize(field, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)


def on_paper(printed: RGB, mask: Mask, carbon: bool, scale: float, rng: np.random.Generator) -> RGB:
    """Print and writing as they sit on paper: inks darken what lies below them."""
    shape = mask.shape
    papers = PAPERS[2:] if carbon else PAPERS[:3]
    paper = np.array(papers[int(rng.integers(len(papers)))], np.float32)
    press = float(rng.uniform(0.75, 1.0))
    sheet = 1 - press * (1 - np.asarray(printed, np.float32) / 255)
    sheet = np.asarray(cv2.GaussianBlur(sheet, (0, 0), 0.04 * scale), np.float64)
    image = paper * sheet * (1 + 0.006 * _clouds(shape, 3, rng) + 0.008 * _clouds(shape, 90, rng))[..., None]
    cover = np.asarray(mask, np.float32) / np.float32(255)
    if carbon:
        colour = np.array(CARBONS[int(rng.integers(len(CARBONS)))], np.float32) / 255
        cover = np.asarray(
            cv2.GaussianBlur(cover, (0, 0), float(rng.uniform(0.07, 0.13)) * scale), np.float32
        )
        patch = 1 + 0.3 * _clouds(shape, 5 * scale, rng) + 0.25 * _clouds(shape, 0.25 * scale, rng)
        cover = np.clip(float(rng.uniform(0.65, 1.05)) * cover * patch, 0, 0.92)
        cover = cover + 0.05 * np.clip(_clouds(shape, 12 * scale, rng), 0, 1) ** 2
    else:
        colour = np.array(PENS[int(rng.integers(len(PENS)))], np.float32) / 255
        cover = np.asarray(cv2.GaussianBlur(cover, (0, 0), 0.03 * scale), np.float32)
        cover = cover * (0.92 + 0.08 * _clouds(shape, 2.5, rng))
    image = image * (1 - cover[..., None] * (1 - colour))
    return np.asarray(np.clip(image, 0, 255), np.uint8)
