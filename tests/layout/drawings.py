"""Drawn slips with a known answer, for tests of the layout. All wording and numbers are invented."""

from dataclasses import dataclass, field, replace
from itertools import pairwise

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from formread.layout.record import ColumnRole, Rectangle, TotalRole
from formread.sheet.record import Image as Pixels
from formread.sheet.record import Points, Sheet


@dataclass(frozen=True)
class Field:
    """One column to draw: its role, its printed heading (lines apart by a newline), its relative width."""

    role: ColumnRole
    heading: str
    width: float
    split: bool = False
    """Pounds and pence have a box each."""
    comb: int = 0
    """Cells of a comb that the box is parted into, a digit each."""
    turned: bool = False
    """The heading runs up the page."""


@dataclass(frozen=True)
class Plan:
    """What to draw. Sizes are in pixels of the drawing."""

    columns: tuple[Field, ...] = (
        Field("code", "Cat. No.", 1.4),
        Field("description", "Description", 3.4),
        Field("quantity", "Qty", 0.8),
        Field("unit_price", "Price", 1.2),
        Field("line_total", "Total", 1.3),
    )
    totals: tuple[tuple[TotalRole, str], ...] = (
        ("goods", "Goods total"),
        ("delivery", "Delivery"),
        ("total", "Total to pay"),
    )
    rows: int = 10
    size: tuple[int, int] = (900, 1200)
    row_height: int = 46
    heading_height: int = 44
    horizontal: str = "solid"
    vertical: str = "solid"
    between_rows: str | None = None
    """Rules between rows, where they differ from the other level ones."""
    guides: str = "none"
    """Lines to write on inside each box."""
    thickness: int = 2
    double_gap: int = 5
    ink: tuple[int, int, int] = (70, 70, 80)
    print_ink: tuple[int, int, int] = (30, 30, 40)
    pen: tuple[int, int, int] = (40, 50, 120)
    paper: tuple[int, int, int] = (250, 250, 246)
    tint: int = 0
    totals_outline: bool = True
    label_row: str | None = None
    """Words in a further row under the others, whose first two cells are one."""
    filled_heading: tuple[int, int, int] | None = None
    """Ground of a heading band with white print on it."""
    frame: bool = True
    turn: float = 0.0
    wave: float = 0.0
    blur: float = 0.0
    noise: float = 2.0
    writing: bool = True
    seed: int = 0


@dataclass(frozen=True)
class Drawing:
    """The drawn slip and the truth: boxes by row and role, boxes of the totals block, dividing edges."""

    sheet: Sheet
    rows: list[dict[ColumnRole, tuple[Rectangle, Rectangle | None]]]
    totals: list[tuple[TotalRole, Rectangle, Rectangle | None]]
    serial: Rectangle | None = None
    plan: Plan = field(default_factory=Plan)


def sheet_of(image: Pixels) -> Sheet:
    height, width = image.shape[:2]
    outline = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)

    def same(points: Points) -> Points:
        return points

    return Sheet(image, outline, same)


def _font(size: float) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size)
    assert isinstance(font, ImageFont.FreeTypeFont)
    return font


class _Pen:
    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.random = np.random.default_rng(plan.seed)
        self.image = Image.new("RGB", plan.size, plan.paper)
        self.draw = ImageDraw.Draw(self.image)

    def line(self, style: str, x0: int, y0: int, x1: int, y1: int) -> None:
        plan = self.plan
        if style == "none":
            return
        on, off = {"solid": (1, 0), "dashed": (9, 6), "dotted": (2, 4), "double": (1, 0)}[style]
        length = max(x1 - x0, y1 - y0)
        dx, dy = int(x1 > x0), int(y1 > y0)
        half = plan.thickness // 2
        starts = [(0, length)] if off == 0 else [(s, min(s + on, length)) for s in range(0, length, on + off)]
        for shift in (0, self.plan.double_gap) if style == "double" else (0,):
            for a, b in starts:
                left, top = x0 + dx * a + dy * shift, y0 + dy * a + dx * shift
                right, bottom = left + dx * (b - a), top + dy * (b - a)
                box = (
                    left - dy * half,
                    top - dx * half,
                    right + dy * (plan.thickness - half - 1),
                    bottom + dx * (plan.thickness - half - 1),
                )
                self.draw.rectangle((box[0], box[1], max(box[2], box[0]), max(box[3], box[1])), fill=plan.ink)

    def text(
        self,
        text: str,
        box: tuple[int, int, int, int],
        size: float,
        anchor: str = "mm",
        ink: tuple[int, int, int] | None = None,
    ) -> None:
        lines = text.split("\n")
        while size > 8 and max(_font(size).getlength(t) for t in lines) > box[2] - box[0] - 6:
            size -= 1
        font = _font(size)
        step = size * 1.12
        for k, part in enumerate(lines):
            y = (box[1] + box[3]) / 2 + (k - (len(lines) - 1) / 2) * step
            x = (box[0] + box[2]) / 2 if anchor == "mm" else box[2] - 6 if anchor == "rm" else box[0] + 6
            self.draw.text((x, y), part, font=font, fill=ink or self.plan.print_ink, anchor=anchor)

    def text_upwards(self, text: str, foot: tuple[int, int], size: float) -> None:
        """Print a line that runs up the page from `foot`, which is under its middle."""
        font = _font(size)
        stamp = Image.new("L", (round(font.getlength(text)) + 4, round(1.4 * size)), 0)
        ImageDraw.Draw(stamp).text((2, stamp.height // 2), text, font=font, fill=255, anchor="lm")
        upright = stamp.rotate(90, expand=True)
        place = (foot[0] - upright.width // 2, foot[1] - upright.height)
        self.image.paste(self.plan.print_ink, place, upright)

    def scribble(self, box: tuple[int, int, int, int], letters: int) -> None:
        """Write wavy loops that cross the rules now and then, as handwriting does."""
        height = box[3] - box[1]
        size = height * self.random.uniform(0.5, 0.95)
        x = box[0] + self.random.uniform(3, 12)
        y = (box[1] + box[3]) / 2 + self.random.normal(0, height * 0.12)
        for _ in range(letters):
            count = int(self.random.integers(4, 8))
            points = self.random.uniform(-0.5, 0.5, (count, 2)) * [size * 0.55, size] + [x + size * 0.3, y]
            t = np.linspace(0, 1, 24)
            path = np.stack(
                [
                    np.polyval(np.polyfit(np.linspace(0, 1, count), points[:, k], min(3, count - 1)), t)
                    for k in (0, 1)
                ],
                1,
            )
            self.draw.line([tuple(p) for p in path], fill=self.plan.pen, width=3, joint="curve")
            x += size * 0.62
            if x > box[2] - size * 0.3:
                break


def draw(plan: Plan) -> Drawing:  # noqa: C901, PLR0912, PLR0915 - one pass over the slip, top to bottom
    """Draw a slip after `plan`."""
    pen = _Pen(plan)
    width = plan.size[0]
    margin = round(width * 0.06)
    left, right = margin, width - margin
    edges = [left]
    total = sum(c.width for c in plan.columns)
    for column in plan.columns:
        edges.append(round(edges[-1] + (right - left) * column.width / total))
    edges[-1] = right
    pen.text("Marrow & Finch Orders", (left, 20, width // 2 + 60, 70), 30, "lm")
    pen.text("No. 0412", (right - 170, 24, right, 66), 26, "rm")
    serial = Rectangle(right - 140, 28, right, 62)
    y = 90
    for label in ("Name", "Address", "Phone"):
        pen.text(label, (left, y, left + 110, y + 40), 20, "lm")
        pen.line("solid" if plan.horizontal == "none" else plan.horizontal, left + 110, y + 36, right, y + 36)
        if plan.writing:
            pen.scribble((left + 120, y, right, y + 38), int(pen.random.integers(6, 16)))
        y += 44
    top = y + 24
    first = top + plan.heading_height
    bottom = first + plan.rows * plan.row_height
    for k in range(plan.rows):
        if plan.tint and k % 2:
            shade = tuple(max(0, v - plan.tint) for v in plan.paper)
            pen.draw.rectangle(
                (left, first + k * plan.row_height, right, first + (k + 1) * plan.row_height), fill=shade
            )
    if plan.frame:
        pen.line(plan.horizontal, left, top, right, top)
    for k in range(plan.rows + 1):
        style = plan.horizontal if k in (0, plan.rows) else plan.between_rows or plan.horizontal
        pen.line(style, left, first + k * plan.row_height, right, first + k * plan.row_height)
    for k in range(plan.rows):
        y = first + k * plan.row_height + round(0.78 * plan.row_height)
        for a, b in pairwise(edges):
            pen.line(plan.guides, a + 7, y, b - 7, y)
    if plan.filled_heading:
        pen.draw.rectangle((left, top, right, first), fill=plan.filled_heading)
    pence_edges: dict[int, int] = {}
    for k, column in enumerate(plan.columns):
        if k or plan.frame:
            pen.line(plan.vertical, edges[k], top, edges[k], bottom)
        ground = plan.filled_heading and (255, 255, 255)
        if column.turned:
            pen.text_upwards(column.heading, ((edges[k] + edges[k + 1]) // 2, first - 6), 22)
        else:
            pen.text(column.heading, (edges[k], top, edges[k + 1], first), 22, ink=ground)
        for cell in range(1, column.comb):
            x = round(edges[k] + (edges[k + 1] - edges[k]) * cell / column.comb)
            pen.line("solid", x, first, x, bottom)
        if column.split:
            pence_edges[k] = round(edges[k] + (edges[k + 1] - edges[k]) * 0.62)
            pen.line(plan.vertical, pence_edges[k], first, pence_edges[k], bottom)
    if plan.frame:
        pen.line(plan.vertical, right, top, right, bottom)

    def halves(k: int, y0: int, y1: int) -> tuple[Rectangle, Rectangle | None]:
        if k in pence_edges:
            return Rectangle(edges[k], y0, pence_edges[k], y1), Rectangle(
                pence_edges[k], y0, edges[k + 1], y1
            )
        return Rectangle(edges[k], y0, edges[k + 1], y1), None

    rows: list[dict[ColumnRole, tuple[Rectangle, Rectangle | None]]] = []
    filled = int(pen.random.integers(2, plan.rows)) if plan.rows > 2 else plan.rows
    for k in range(plan.rows):
        y0 = first + k * plan.row_height
        rows.append({c.role: halves(i, y0, y0 + plan.row_height) for i, c in enumerate(plan.columns)})
        if plan.writing and k < filled:
            for i, column in enumerate(plan.columns):
                letters = {"description": 8, "quantity": 1}.get(column.role, 4)
                pen.scribble((edges[i], y0, edges[i + 1], y0 + plan.row_height), letters)
    if plan.label_row is not None:
        under = bottom + plan.row_height
        pen.text(plan.label_row, (left, bottom, edges[2], under), 22, "rm")
        for k, x in enumerate(edges):
            if k != 1:
                pen.line(plan.vertical, x, bottom, x, under)
        pen.line(plan.horizontal, left, under, right, under)
        bottom = under
    totals: list[tuple[TotalRole, Rectangle, Rectangle | None]] = []
    last = len(plan.columns) - 1
    for k, (role, label) in enumerate(plan.totals):
        y0, y1 = bottom + k * plan.row_height, bottom + (k + 1) * plan.row_height
        pen.text(label, (edges[last] - 240, y0, edges[last], y1), 21, "rm")
        if plan.totals_outline:
            pen.line(plan.horizontal, edges[last], y1, right, y1)
            pen.line("solid" if plan.vertical == "none" else plan.vertical, edges[last], y0, edges[last], y1)
            pen.line("solid" if plan.vertical == "none" else plan.vertical, right, y0, right, y1)
            if last in pence_edges:
                pen.line(plan.vertical, pence_edges[last], y0, pence_edges[last], y1)
        if plan.writing:
            pen.scribble((edges[last], y0, right, y1), 4)
        totals.append((role, *halves(last, y0, y1)))
    return Drawing(sheet_of(_photograph(np.asarray(pen.image), plan)), rows, totals, serial, plan)


def _photograph(image: Pixels, plan: Plan) -> Pixels:
    """Turn and wave the drawing a little, blur it, add noise: what flattening leaves behind."""
    height, width = image.shape[:2]
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    angle = np.deg2rad(plan.turn)
    shift = np.float32(plan.wave) * np.sin(x * np.float32(2 * np.pi / width))
    source_x = x + np.float32(np.tan(angle)) * (y - height / 2)
    source_y = y - np.float32(np.tan(angle)) * (x - width / 2) + shift
    out = cv2.remap(
        image, source_x, source_y.astype(np.float32), cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    if plan.blur:
        out = cv2.GaussianBlur(out, (0, 0), plan.blur)
    noisy = out + np.random.default_rng(plan.seed).normal(0, plan.noise, out.shape)
    return np.asarray(np.clip(noisy, 0, 255), np.uint8)


CARBON = {
    "ink": (205, 150, 160),
    "print_ink": (175, 120, 135),
    "pen": (150, 110, 150),
    "paper": (244, 200, 205),
}
"""Colours of a pink carbon copy."""

CLASSIC = Plan()


def carbon(plan: Plan) -> Plan:
    """Return the pink carbon copy of `plan`: pale print, a soft image."""
    return replace(
        plan,
        ink=CARBON["ink"],
        print_ink=CARBON["print_ink"],
        pen=CARBON["pen"],
        paper=CARBON["paper"],
        blur=1.1,
        noise=3.0,
    )
