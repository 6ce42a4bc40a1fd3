"""One whole form: the page planned, drawn, filled in and photographed."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt
from numpy.random import Generator

from models.forms import camera, extras, storeys, table, totals, wording
from models.forms.faces import Digits, Fonts
from models.forms.paper import Canvas, Rect, Rule, Style, draw_style, fitted
from models.forms.writing import Writer, draw_writer

_RIM = 0.05  # of the longer side: table drawn around the paper, for the cut to reach into
_LEAST = 4.0  # pixels: of what is cut off the picture to less than this, nothing is left to be seen
_SIZES = (
    (105, 148, 0.2), (148, 210, 0.26), (99, 210, 0.14), (210, 297, 0.1), (105, 297, 0.05), (125, 176, 0.1),
    (140, 216, 0.07), (90, 190, 0.08),
)  # fmt: skip
"""Papers in millimetres and how often each is drawn: A6, A5, a third of A4, A4, ... (common practice, no source)."""


_STOREYED = 0.1  # share of forms whose rows have two storeys, if there is room
_STRIPS = (
    "Please send me:", "Your order", "I would like to order", "Please supply", "Goods ordered", "ORDER", "Order details",
    "Write your order here", "List your goods below", "Please deliver the following", "Section A: goods",
)  # fmt: skip


@dataclass(frozen=True)
class Place:
    """Something on a drawn form, in pixels of the final picture.

    `kind` is a column's (``code``, ``description``, ``quantity``, ``unit_price``, ``line_total``, ``size``, ``page``,
    ``other``), a totals box's (``goods``, ``delivery``, ``discount``, ``deposit``, ``other_total``, ``total``),
    ``heading``, ``label``, ``serial``, ``customer`` or ``decoy``. `corners` (4, 2) float32: tl, tr, br, bl, x then y.
    `row` counts body rows from 1. Where a rule parts pounds from pence there are two places, the right one `pence`.
    A label printed inside its totals box is no place of its own.
    """

    kind: str
    corners: npt.NDArray[np.float32]
    row: int | None
    pence: bool


@dataclass(frozen=True)
class Drawn:
    """A picture (H, W, 3) uint8 RGB of a flattened slip, and what is where on it."""

    image: npt.NDArray[np.uint8]
    boxes: tuple[Place, ...]


def draw_form(rng: Generator, fonts: Fonts, digits: Digits) -> Drawn:
    """Draw an order form that nobody has ever printed, filled in by nobody, as its flattened photo looks."""
    long = int(rng.integers(960, 1089))
    sizes = np.array([s[2] for s in _SIZES])
    wide, tall, _ = _SIZES[int(rng.choice(len(_SIZES), p=sizes / sizes.sum()))]
    wide, tall = wide * float(rng.uniform(0.9, 1.1)), tall * float(rng.uniform(0.92, 1.08))
    if rng.random() < (0.35 if tall / wide < 1.8 else 0.2):
        wide, tall = tall, wide
    mm = long / max(wide, tall)
    w, h = wide * mm, tall * mm
    rim = round(_RIM * long)
    style = draw_style(rng, fonts, mm)
    canvas = _sheet(rng, style, round(w), round(h), rim)
    page = canvas.page
    if rng.random() < 0.06:
        canvas.slant = float(rng.uniform(0.12, 0.25))
    if rng.random() < 0.07:
        canvas.currency = "€" if rng.random() < 0.5 else "$"
    _Plan(canvas, style, fonts, digits, rng).draw()
    _wear(canvas, style, rng)
    if rng.random() < 0.03:
        _stamp(canvas, style, rng)
    if rng.random() < 0.015:
        _stain(canvas, rng)
    if rng.random() < 0.07:
        camera.worn(canvas, style.paper, rng)
    camera.ink(canvas, rng)
    if rng.random() < 0.12:
        camera.crease(canvas, rng)
    size = (round(h), round(w))
    warp = camera.Warp(page, size, rng)
    image = warp.render(canvas.image)
    if rng.random() < 0.04:
        camera.finger(image, rng)
    image = camera.develop(image, rng)
    found = warp.forward(camera.corners([s.rect for s in canvas.spots])) if canvas.spots else []
    limit = np.array([size[1], size[0]], np.float32)
    boxes = []
    for spot, place in zip(canvas.spots, found, strict=True):
        seen = np.clip(place, 0, limit)
        if np.ptp(seen, axis=0).min() >= _LEAST:
            boxes.append(Place(spot.kind, seen, spot.row, spot.pence))
    return Drawn(image, tuple(boxes))


def _sheet(rng: Generator, style: Style, w: int, h: int, rim: int) -> Canvas:
    """Lay a sheet of paper on a table."""
    desk = np.array(
        [
            (96, 70, 50),
            (60, 60, 64),
            (30, 30, 34),
            (150, 120, 90),
            (190, 188, 184),
            (70, 84, 110),
            (120, 40, 40),
            (225, 222, 215),
        ][int(rng.integers(8))]
    )
    desk = np.clip(desk + rng.normal(0, 14, 3), 0, 255)
    image = np.empty((h + 2 * rim, w + 2 * rim, 3), np.uint8)
    cv2.rectangle(image, (0, 0), (w + 2 * rim, h + 2 * rim), desk.tolist(), -1)
    cv2.rectangle(image, (rim + 1, rim + 2), (rim + w + 2, rim + h + 3), (desk * 0.55).tolist(), -1)
    cv2.rectangle(image, (rim, rim), (rim + w - 1, rim + h - 1), style.paper, -1)
    return Canvas(image, Rect(rim, rim, rim + w, rim + h))


def _wear(canvas: Canvas, style: Style, rng: Generator) -> None:
    """Punch, staple or perforate the paper."""
    page, dark = canvas.page, (60, 55, 52)
    if rng.random() < 0.08:
        r = 2.8 * style.mm
        for at in (0.35, 0.65):
            if rng.random() < 0.5:
                centre = (round(page.left + 9 * style.mm), round(page.top + at * page.height))
            else:
                centre = (round(page.left + at * page.width), round(page.top + 8 * style.mm))
            cv2.circle(canvas.image, centre, round(r), dark, -1, cv2.LINE_AA)
    if rng.random() < 0.06:
        x, y = (
            page.left + rng.uniform(0.03, 0.2) * page.width,
            page.top + rng.uniform(0.01, 0.03) * page.height,
        )
        cv2.line(
            canvas.image,
            (round(x), round(y)),
            (round(x + 11 * style.mm), round(y + 2)),
            (150, 150, 155),
            2,
            cv2.LINE_AA,
        )
    if rng.random() < 0.1:
        y = page.top + 2.0 * style.mm
        canvas.line((page.left, y), (page.right, y), Rule("dashed", 0.9, style.mix(0.5)))


_STAMPS = ("PAID", "RECEIVED", "DELIVERED", "COPY", "CHECKED", "12 MAR", "URGENT", "ENTERED")


def _stamp(canvas: Canvas, style: Style, rng: Generator) -> None:
    """Put a rubber stamp on the slip, crooked and over whatever is there."""
    words = str(rng.choice(_STAMPS))
    ink, _ = style.bold.set(words, float(rng.uniform(3, 6)) * style.mm)
    ink = cv2.copyMakeBorder(ink, 8, 8, 10, 10, cv2.BORDER_CONSTANT, value=0)
    cv2.rectangle(ink, (2, 2), (ink.shape[1] - 3, ink.shape[0] - 3), 255, 2)
    h, w = canvas.image.shape[:2]
    turn = cv2.getRotationMatrix2D((ink.shape[1] / 2, ink.shape[0] / 2), float(rng.normal(0, 12)), 1.0)
    turn[0, 2] += rng.uniform(0.1, 0.9) * w - ink.shape[1] / 2
    turn[1, 2] += rng.uniform(0.1, 0.95) * h - ink.shape[0] / 2
    cv2.warpAffine(ink, turn, (w, h), dst=canvas.pen("stamp"))


def _stain(canvas: Canvas, rng: Generator) -> None:
    """Set a wet cup on the slip."""
    h, w = canvas.image.shape[:2]
    size = float(rng.uniform(0.06, 0.16)) * max(h, w)
    ring = np.zeros((h, w), np.uint8)
    centre = (round(float(rng.uniform(0, 1)) * w), round(float(rng.uniform(0, 1)) * h))
    cv2.circle(ring, centre, round(size), int(rng.integers(25, 80)), int(rng.integers(3, 12)), cv2.LINE_AA)
    if rng.random() < 0.5:
        cv2.circle(ring, centre, round(size), int(rng.integers(8, 25)), -1, cv2.LINE_AA)
    ring = cv2.GaussianBlur(ring, (0, 0), 2.0)
    through = 255 - cv2.merge([ring // 3, ring // 2, ring])
    cv2.multiply(canvas.image, through, dst=canvas.image, scale=1 / 255)


class _Plan:
    """Where everything stands on one page."""

    def __init__(self, canvas: Canvas, style: Style, fonts: Fonts, digits: Digits, rng: Generator) -> None:
        self.canvas, self.style, self.rng = canvas, style, rng
        self.fonts, self.digits = fonts, digits
        page, mm = canvas.page, style.mm
        m = float(rng.uniform(2.0, 8.0)) * mm
        left = m + (6 * mm if rng.random() < 0.06 else 0)
        top = m * float(rng.uniform(0.7, 1.3))
        self.inner = Rect(page.left + left, page.top + top, page.right - m, page.bottom - top)
        self.blocks = self._blocks()

    def _blocks(self) -> dict[str, list[str]]:
        """Draw what the form carries, for the header, for the footer."""
        rng = self.rng
        head = ["title"] if rng.random() < 0.92 else []
        foot: list[str] = []
        for name, share, lower in (
            ("customer", 0.78, 0.2), ("serial", 0.6, 0.15), ("dated", 0.45, 0.2), ("logo", 0.3, 0.1), ("blurb", 0.5, 0.5),
            ("terms", 0.3, 0.9), ("advert", 0.15, 0.5), ("sign", 0.22, 0.9),
        ):  # fmt: skip
            if rng.random() < share:
                (foot if rng.random() < lower else head).append(name)
        for _ in range(int(rng.choice([0, 1, 2, 3], p=[0.4, 0.33, 0.19, 0.08]))):
            name = extras.DECOYS[int(rng.integers(len(extras.DECOYS)))]
            (foot if rng.random() < 0.62 else head).append(name)
        rng.shuffle(head)
        if "title" in head and rng.random() < 0.75:
            head.remove("title")
            head.insert(0, "title")
        rng.shuffle(foot)
        return {"head": head, "foot": foot}

    def draw(self) -> None:
        """Plan and draw the page."""
        rng, style, inner, mm = self.rng, self.style, self.inner, self.style.mm
        head, foot = self.blocks["head"], self.blocks["foot"]
        if rng.random() < 0.1:
            self._ornament()
        if rng.random() < 0.05:
            self.inner = inner = self._spine()
        tear = inner.height > 110 * mm and rng.random() < 0.1
        if tear:
            cut = inner.bottom - float(rng.uniform(14, 24)) * mm
            torn = Rect(inner.left, cut, inner.right, inner.bottom)
            inner = Rect(inner.left, inner.top, inner.right, cut - 2 * mm)
        side: Rect | None = None
        if inner.width > 115 * mm and rng.random() < 0.32:
            share = float(rng.uniform(0.2, 0.36))
            if rng.random() < 0.5:
                side = Rect(inner.left, inner.top, inner.left + share * inner.width - 2 * mm, inner.bottom)
                inner = Rect(inner.left + share * inner.width, inner.top, inner.right, inner.bottom)
            else:
                side = Rect(inner.right - share * inner.width + 2 * mm, inner.top, inner.right, inner.bottom)
                inner = Rect(inner.left, inner.top, inner.right - share * inner.width, inner.bottom)
        mode = str(
            rng.choice(
                ["continuation", "aligned", "beside", "bar", "line", "elsewhere"],
                p=[0.42, 0.2, 0.12, 0.1, 0.08, 0.08],
            )
        )
        if mode == "beside" and (side is None and inner.width < 90 * mm):
            mode = "aligned"
        entries = totals.draw_entries(rng, style, inner.width < 75 * mm and rng.random() < 0.5)
        moved: list[str] = []
        if side is not None:
            keep = [b for b in head if b == "title" and rng.random() < 0.5]
            moved, head = [b for b in head if b not in keep], keep
        self.foot_blocks = foot
        high = self._head_share(head, inner)
        low = inner.height * float(rng.uniform(0.05, 0.2)) if foot else 0.0
        need = (26 + (6.5 * len(entries) if mode not in ("beside", "bar") else 8)) * mm
        if high + low > inner.height - need:
            spared = max(0.25, (inner.height - need) / (high + low))
            high, low = high * spared, low * spared
            if high < 12 * mm:
                head = [b for b in head if b not in extras.DECOYS]
        body = Rect(inner.left, inner.top + high, inner.right, inner.bottom - low)
        if rng.random() < 0.08 and head and foot:  # the head of the form below the table
            body = Rect(inner.left, inner.top + low, inner.right, inner.bottom - high)
            areas = (
                Rect(inner.left, inner.top, inner.right, body.top),
                Rect(inner.left, body.bottom, inner.right, inner.bottom),
            )
            head, foot = foot, head
        else:
            areas = (
                Rect(inner.left, inner.top, inner.right, body.top),
                Rect(inner.left, body.bottom, inner.right, inner.bottom),
            )
        gap = float(rng.uniform(0.8, 2.5)) * mm
        body = Rect(
            body.left, body.top + (gap if head else 0), body.right, body.bottom - (gap if foot else 0)
        )
        filled = self._body(body, mode, entries, side)
        writer = self.writer
        extras.fill(self.canvas, style, areas[0], head, writer, rng, filled)
        if self.left_over is not None and foot and rng.random() < 0.8:
            cut = int(rng.integers(1, len(foot) + 1))
            extras.fill(self.canvas, style, self.left_over, foot[:cut], writer, rng, filled)
            foot = foot[cut:]
        extras.fill(self.canvas, style, areas[1], foot, writer, rng, filled)
        if side is not None and self.side_free is not None:
            moved = moved or ["blurb"]
            extras.fill(self.canvas, style, self.side_free, moved, writer, rng, filled)
        if filled and rng.random() < 0.12:
            free = [
                r for r in (areas[1] if not foot else None, self.spare, None if foot else self.left_over) if r
            ]
            if free:
                extras.notes(self.canvas, free[int(rng.integers(len(free)))], writer, rng)
        if tear:
            extras.tear_off(self.canvas, style, torn, writer, rng, filled)

    def _head_share(self, head: list[str], inner: Rect) -> float:
        if not head:
            return 0.0
        rng, mm = self.rng, self.style.mm
        need = (
            9.0
            + 7.0 * (len(head) > 2)
            + 10.0 * ("customer" in head)
            + 6.0 * any(b in extras.DECOYS for b in head)
        )
        return float(np.clip(need * mm * rng.uniform(0.7, 1.5), 0.06 * inner.height, 0.42 * inner.height))

    def _spine(self) -> Rect:
        """Print a band down one side, words running up it; return what is left."""
        rng, style, canvas, inner = self.rng, self.style, self.canvas, self.inner
        wide = float(rng.uniform(6, 11)) * style.mm
        right = rng.random() < 0.3
        band = (
            Rect(inner.right - wide, inner.top, inner.right, inner.bottom)
            if right
            else Rect(*inner[:2], inner.left + wide, inner.bottom)
        )
        words = wording.firm(rng).upper() if rng.random() < 0.6 else wording.pick(rng, wording.TITLES).upper()
        colour = style.mix(1.0, style.second)
        if rng.random() < 0.7:
            canvas.fill(band, colour)
            colour = style.paper
        size = fitted(words, style.title, wide * 0.5, inner.height * 0.8)
        canvas.text(*band.middle, words, style.title, size, colour, turn=1)
        gap = 2 * style.mm
        return inner._replace(right=band.left - gap) if right else inner._replace(left=band.right + gap)

    def _ornament(self) -> None:
        rng, canvas, style = self.rng, self.canvas, self.style
        kind = rng.random()
        page = canvas.page
        if kind < 0.5:
            canvas.box(
                page.inset(float(rng.uniform(1, 2)) * style.mm),
                style.rule(rng, "frame"),
                float(rng.choice([0, 3])) * style.mm,
            )
        elif kind < 0.62:
            ink = style.mix(float(rng.uniform(0.05, 0.12)), style.second)
            x, y = page.middle
            for _ in range(int(rng.integers(1, 12))):
                at = (round(x + rng.normal(0, 0.2) * page.width), round(y + rng.normal(0, 0.2) * page.height))
                cv2.circle(
                    canvas.image, at, round(float(rng.uniform(0.02, 0.15)) * page.width), ink, -1, cv2.LINE_AA
                )
        elif kind < 0.78:
            words = str(rng.choice(["ORDER", "COPY", "SAMPLE", "2", "A"]))
            size = 0.25 * min(page.width, page.height)
            canvas.text(
                *page.middle,
                words,
                style.title,
                min(size, 0.8 * page.width / len(words)),
                style.mix(0.07),
                "m",
            )
        else:
            ink = style.mix(float(rng.uniform(0.1, 0.9)), style.second)
            canvas.fill(Rect(page.left, page.top, page.right, page.top + 2.2 * style.mm), ink)

    def _body(self, body: Rect, mode: str, entries: list[totals.Entry], side: Rect | None) -> bool:
        """Draw table and totals in `body`; return whether the slip is filled in."""
        rng, style, mm = self.rng, self.style, self.style.mm
        canvas = self.canvas
        self.left_over: Rect | None = None
        self.spare: Rect | None = None
        self.side_free = side
        pitch = max(float(rng.uniform(4.8, 11.0)) * mm, 17.0)
        panel: Rect | None = None
        area = body
        look = totals.draw_look(rng, style, pitch, mode)
        high = totals.height(entries, look)
        if mode == "beside":
            if side is not None and rng.random() < 0.7:
                tall = min(high, side.height * 0.6)
                if rng.random() < 0.7:
                    panel = Rect(side.left, side.bottom - tall, side.right, side.bottom)
                    self.side_free = Rect(side.left, side.top, side.right, panel.top - 3 * mm)
                else:
                    panel = Rect(side.left, side.top, side.right, side.top + tall)
                    self.side_free = Rect(side.left, panel.bottom + 3 * mm, side.right, side.bottom)
            elif body.width > 85 * mm:
                share = float(rng.uniform(0.26, 0.38))
                right = rng.random() < 0.75
                x = body.right - share * body.width if right else body.left + share * body.width
                strip = (
                    Rect(x + 2 * mm, body.top, body.right, body.bottom)
                    if right
                    else Rect(body.left, body.top, x - 2 * mm, body.bottom)
                )
                area = (
                    Rect(body.left, body.top, x, body.bottom)
                    if right
                    else Rect(x, body.top, body.right, body.bottom)
                )
                tall = min(high, strip.height)
                at = float(rng.choice([0.0, 1.0, rng.uniform()], p=[0.2, 0.5, 0.3])) * (strip.height - tall)
                panel = Rect(strip.left, strip.top + at, strip.right, strip.top + at + tall)
                self.left_over = (
                    Rect(strip.left, strip.top, strip.right, panel.top - 2 * mm)
                    if at > 0.5 * (strip.height - tall)
                    else Rect(strip.left, panel.bottom + 2 * mm, strip.right, strip.bottom)
                )
            else:
                mode = "aligned"
        elif mode == "elsewhere":
            tall = min(high, body.height * 0.3)
            wide = min(body.width, float(rng.uniform(45, 80)) * mm)
            left = body.left if rng.random() < 0.5 else body.right - wide
            if rng.random() < 0.5:
                panel = Rect(left, body.top, left + wide, body.top + tall)
                area = Rect(body.left, panel.bottom + 2.5 * mm, body.right, body.bottom)
            else:
                panel = Rect(left, body.bottom - tall, left + wide, body.bottom)
                area = Rect(body.left, body.top, body.right, panel.top - 2.5 * mm)
            other = (
                Rect(body.left, panel.top, panel.left - 3 * mm, panel.bottom)
                if left > body.left
                else Rect(panel.right + 3 * mm, panel.top, body.right, panel.bottom)
            )
            self.left_over = other
        if rng.random() < 0.12 and area.width > 70 * mm:
            share = float(rng.uniform(0.72, 0.95))
            at = float(rng.choice([0.0, 0.5, 1.0])) * (1 - share) * area.width
            area = Rect(area.left + at, area.top, area.left + at + share * area.width, area.bottom)
        area = self._strip(area)
        double = area.width > 150 * mm and rng.random() < 0.22
        middle = float(rng.choice([0.0, 2.0, 5.0])) * mm
        spec = table.draw_spec(rng, style, (area.width - middle) / 2 if double else area.width)
        least = lowest = max(4.6 * mm, 15.0)
        if rng.random() < _STOREYED and area.height > 80 * mm and storeys.part(rng, spec):
            pitch, least = 1.8 * max(pitch, 1.1 * least), 1.8 * least
        spec.head = table.head_height(spec, style, pitch, rng)
        below = self._below(mode, entries, look)
        while (
            area.height - spec.head - below < 3 * least
        ):  # too much for the paper: less heading, lower, fewer boxes
            if spec.head > 3 * spec.capital and spec.lines > 1:
                spec.lines, spec.upright, spec.group = 1, False, None
                spec.head = table.head_height(spec, style, 0.0, rng)
            elif panel is None and look.step > 1.05 * lowest:
                look.step, look.gap, look.loud = (
                    lowest,
                    min(look.gap, 0.4 * mm),
                    look.loud.replace("tall", ""),
                )
                if look.label != "left":
                    look.label = "left"
            elif panel is None and len(entries) > 1:
                del entries[len(entries) - 2]
            else:
                break
            below = self._below(mode, entries, look)
        room = area.height - spec.head - below
        rows = int(np.clip(room // pitch, 3, 20))
        if rows * pitch > room:
            pitch = max(room / rows, 12.0)
        elif room > rows * pitch and rng.random() < 0.8:
            pitch = min(room / rows, 12 * mm)
        bottom = area.top + spec.head + rows * pitch
        lines = table.draw_lines(rng, rows, spec)
        filled = any(line is not None for line in lines)
        if spec.mode == "none":
            rows = max(3, min(rows, len(lines)))
            bottom = area.top + spec.head + rows * pitch
        self.writer = writer = draw_writer(rng, self.fonts, self.digits, mm, pitch)
        if bottom < area.top + 0.6 * (area.height - below) and mode not in ("beside", "elsewhere"):
            self.spare = Rect(area.left, bottom + below + 3 * mm, area.right, area.bottom)
        if rng.random() < 0.06:
            canvas.fill(
                Rect(area.left, area.top, area.right, bottom).inset(-1.5 * mm),
                (252, 252, 251) if min(style.paper) < 225 else style.mix(0.08, style.second),
            )
        if double:  # two tables side by side, the second going on where the first ends
            half = (area.width - middle) / 2
            first = Rect(area.left, area.top, area.left + half, bottom)
            table.draw_table(canvas, style, spec, first, rows, lines[:rows], writer, rng)
            further = table.draw_lines(rng, rows, spec) if len(lines) >= rows else []
            lines = lines + further
            whole = Rect(area.right - half, area.top, area.right, bottom)
            grid = table.draw_table(canvas, style, spec, whole, rows, further, writer, rng, rows + 1)
        else:
            whole = Rect(area.left, area.top, area.right, bottom)
            grid = table.draw_table(canvas, style, spec, whole, rows, lines, writer, rng)
        if filled and rng.random() < 0.06:
            self._check(grid, lines)
        if filled or rng.random() < 0.05:
            totals.fill_entries(rng, entries, lines)
        if not entries:
            return filled
        self._totals(mode, look, grid, entries, panel, area, bottom, writer)
        return filled

    def _check(self, grid: table.Grid, lines: list[table.Line | None]) -> None:
        """Tick off the rows in another pen, as whoever packs the goods does."""
        rng, office = self.rng, replace(self.writer, name="office", pen=max(1, self.writer.pen - 1))
        column = grid.spec.columns[int(rng.integers(len(grid.spec.columns)))]
        x = grid.rect.right + 2 * self.style.mm if rng.random() < 0.5 else column.right - 2 * self.style.mm
        for k in range(min(len(lines), grid.rows)):
            if lines[k] is not None and rng.random() < 0.85:
                y = grid.top + (k + float(rng.uniform(0.3, 0.7))) * grid.pitch
                office.tick(
                    self.canvas, x + float(rng.normal(0, 1)) * self.style.mm, y, 0.3 * grid.pitch, rng
                )

    def _below(self, mode: str, entries: list[totals.Entry], look: totals.Look) -> float:
        """Return how much room the totals need below the table."""
        if not entries or mode in ("beside", "elsewhere"):
            return 0.0
        if mode == "bar":
            return look.step + 2.5 * self.style.mm
        return totals.height(entries, look) + (look.gap if mode == "continuation" else 3 * self.style.mm)

    def _strip(self, area: Rect) -> Rect:
        """Print a band over the table now and then; return what is left."""
        rng, style, canvas = self.rng, self.style, self.canvas
        if rng.random() > 0.09 or area.height < 50 * style.mm:
            return area
        tall = style.capital * float(rng.uniform(1.8, 2.4))
        band = Rect(area.left, area.top, area.right, area.top + tall)
        words = str(rng.choice(_STRIPS))
        colour = style.mix(1.0)
        look = rng.random()
        if look < 0.35:
            canvas.fill(band, style.mix(0.85, style.second))
            colour = style.paper
        elif look < 0.7:
            canvas.box(band, style.rule(rng, "column"))
        size = fitted(words, style.bold, style.capital, band.width - 6)
        if rng.random() < 0.6:
            canvas.text(
                band.middle[0], (band.top + band.bottom + size) / 2, words, style.bold, size, colour, "m"
            )
        else:
            canvas.text(band.left + 4, (band.top + band.bottom + size) / 2, words, style.bold, size, colour)
        return Rect(
            area.left, band.bottom + float(rng.choice([0.0, 0.8])) * style.mm, area.right, area.bottom
        )

    def _totals(
        self, mode: str, look: totals.Look, grid: table.Grid, entries: list[totals.Entry], panel: Rect | None, area: Rect,
        bottom: float, writer: Writer,
    ) -> None:  # fmt: skip
        rng, style, canvas, mm = self.rng, self.style, self.canvas, self.style.mm
        if panel is not None:
            totals.stack(canvas, style, look, entries, panel, float(rng.uniform(0.42, 0.6)), writer, rng)
            return
        gap = (
            0.0 if mode == "continuation" and grid.spec.mode != "boxes" else float(rng.uniform(0.6, 2.5)) * mm
        )
        top = bottom + gap
        end = max(area.bottom, top + 10 * mm)
        if mode == "continuation":
            covered = totals.continuation(canvas, style, grid, look, entries, writer, rng, top)
        elif mode == "bar" or (
            mode == "line" and look.label == "left" and len(entries) < 4 and rng.random() < 0.4
        ):
            left = area.left if rng.random() < 0.6 else area.left + float(rng.uniform(0.05, 0.5)) * area.width
            covered = Rect(left, top, area.right, min(end, top + look.step))
            totals.bar(canvas, style, look, entries, covered, writer, rng)
        else:
            last = grid.last
            wide = max(last.right - last.left, 17 * mm) * float(rng.uniform(1.0, 1.35))
            share = float(rng.uniform(0.36, 0.6)) if look.label == "left" else 1.0
            whole = min(wide / share, area.width)
            right = area.right if rng.random() < 0.85 else area.left + whole
            covered = Rect(right - whole, top, right, top + totals.height(entries, look))
            totals.stack(
                canvas,
                style,
                look,
                entries,
                covered,
                share if whole < area.width else wide / whole,
                writer,
                rng,
            )
        left = Rect(area.left, top + 1.5 * mm, covered.left - 3 * mm, max(covered.bottom, top + 8 * mm))
        if mode != "bar" and left.width > 22 * mm:
            self.left_over = left
