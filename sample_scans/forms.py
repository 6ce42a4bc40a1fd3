"""Printed order slips: what a design is, drawing designs at random, and printing one.

Lengths are millimetres, measured from the slip's top left corner, x to the right and y downwards.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from sample_scans.hands import HERE, Family

FloatImage = npt.NDArray[np.float32]
Colour = tuple[int, int, int]
Rule = Literal["none", "solid", "dotted", "dashed", "double"]
Prefill = Literal["none", "pound", "point", "pound and point", "dots"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its role, the print above it, its share of the width, and whether pence stand apart."""

    role: str
    heading: str
    share: float
    split: bool = False


@dataclass(frozen=True, slots=True)
class Total:
    """One row of the totals block: its role and the print beside it."""

    role: str
    label: str


@dataclass(frozen=True, slots=True)
class Design:
    """One printed slip."""

    name: str
    width: float
    height: float
    columns: tuple[Column, ...]
    totals: tuple[Total, ...]
    rows: int
    firm: str
    title: str
    small_print: str
    thanks: str
    head_font: str
    body_font: str
    main: Colour
    accent: Colour
    margin: float = 6.0
    header: float = 30.0
    heading_height: float = 6.0
    row_height: float = 7.0
    table_left: float = 0.0
    customer: Literal["left", "right", "beside"] = "left"
    customer_style: Literal["lines", "box", "dots"] = "lines"
    customer_labels: tuple[str, str] = ("Name", "Address")
    serial_label: str = "No."
    serial_place: Literal["top right", "top left", "bottom", "none"] = "top right"
    serial_colour: Colour = (190, 30, 40)
    outer: Rule = "solid"
    between_rows: Rule = "solid"
    between_columns: Rule = "solid"
    under_heading: Rule = "solid"
    totals_frame: Rule = "solid"
    rule_width: float = 0.25
    frame_width: float = 0.4
    rule_accent: bool = False
    pitch: float = 1.0
    heading_fill: Literal["none", "tint", "solid"] = "none"
    stripes: bool = False
    prefill: Prefill = "none"
    heading_size: float = 2.4
    upper: bool = False
    row_numbers: bool = False
    code_style: str = "six"

    @property
    def split(self) -> bool:
        """Whether pounds and pence have a box each."""
        return any(column.split for column in self.columns)


@dataclass(frozen=True, slots=True)
class Cell:
    """A place to write in, in millimetres: inside its rules. ``split`` is the x between pounds and pence."""

    role: str
    row: int | None
    left: float
    top: float
    right: float
    bottom: float
    split: float | None = None


@dataclass(eq=False)
class Plate:
    """The printing plates of one slip: coverage (0 to 1) of each colour of ink, and where to write."""

    width: float
    height: float
    scale: float
    inks: dict[Colour, FloatImage] = field(default_factory=dict)
    cells: list[Cell] = field(default_factory=list)
    serial: str = ""

    def _plate(self, colour: Colour) -> FloatImage:
        if colour not in self.inks:
            shape = (round(self.height * self.scale), round(self.width * self.scale))
            self.inks[colour] = np.zeros(shape, np.float32)
        return self.inks[colour]

    def fill(
        self, left: float, top: float, right: float, bottom: float, colour: Colour, tone: float = 1.0
    ) -> None:
        """Print a rectangle; its edges may fall between pixels."""
        plate = self._plate(colour)
        rows = _coverage(top * self.scale, bottom * self.scale, plate.shape[0])
        columns = _coverage(left * self.scale, right * self.scale, plate.shape[1])
        y, x = np.nonzero(rows)[0], np.nonzero(columns)[0]
        if len(y) and len(x):
            part = plate[y[0] : y[-1] + 1, x[0] : x[-1] + 1]
            np.maximum(part, tone * np.outer(rows[y], columns[x]), out=part)

    def dot(self, x: float, y: float, size: float, colour: Colour) -> None:
        """Print a round dot."""
        plate = self._plate(colour)
        cx, cy, r = x * self.scale, y * self.scale, 0.5 * size * self.scale
        x0, x1 = max(int(cx - r - 1), 0), min(int(cx + r + 2), plate.shape[1])
        y0, y1 = max(int(cy - r - 1), 0), min(int(cy + r + 2), plate.shape[0])
        if x0 < x1 and y0 < y1:
            gy, gx = np.mgrid[y0:y1, x0:x1]
            cover = np.clip(r + 0.5 - np.hypot(gx + 0.5 - cx, gy + 0.5 - cy), 0, 1).astype(np.float32)
            np.maximum(plate[y0:y1, x0:x1], cover, out=plate[y0:y1, x0:x1])

    def rule(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        style: Rule,
        width: float,
        colour: Colour,
        pitch: float = 1.0,
    ) -> None:
        """Print a straight rule, level or upright."""
        if style == "none":
            return
        (x0, y0), (x1, y1) = start, end
        level = abs(x1 - x0) >= abs(y1 - y0)
        length = (x1 - x0) if level else (y1 - y0)
        half = width / 2

        def piece(a: float, b: float, shift: float) -> None:
            if level:
                self.fill(x0 + a, y0 + shift - half, x0 + b, y0 + shift + half, colour)
            else:
                self.fill(x0 + shift - half, y0 + a, x0 + shift + half, y0 + b, colour)

        if style == "solid":
            piece(-half, length + half, 0.0)
        elif style == "double":
            piece(-half, length + half, -1.3 * width)
            piece(-half, length + half, 1.3 * width)
        elif style == "dashed":
            for a in np.arange(0, length, 2 * pitch).tolist():
                piece(a, min(a + 1.2 * pitch, length), 0.0)
        else:
            for a in np.arange(0, length, pitch).tolist():
                self.dot(x0 + (a if level else 0), y0 + (0 if level else a), max(width, 0.3), colour)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        font: str,
        size: float,
        colour: Colour,
        anchor: str = "ls",
        widest: float | None = None,
    ) -> tuple[float, float, float, float]:
        """Print words with capitals `size` high; return their box (left, top, right, bottom).

        Words wider than `widest` are set smaller, to no less than half the size.
        """
        points = size * self.scale / 0.7
        face = typeface(font, max(round(points), 4))
        if widest is not None and face.getlength(words) > widest * self.scale:
            points *= max(0.5, widest * self.scale / face.getlength(words))
            face = typeface(font, max(int(points), 4))
        box = face.getbbox(words, anchor=anchor)
        left, top = int(np.floor(x * self.scale + box[0])) - 1, int(np.floor(y * self.scale + box[1])) - 1
        width, height = int(box[2] - box[0]) + 4, int(box[3] - box[1]) + 4
        stamp = Image.new("L", (width, height), 0)
        ImageDraw.Draw(stamp).text((x * self.scale - left, y * self.scale - top), words, 255, face, anchor)
        self._paste(np.asarray(stamp, np.float32) / np.float32(255), left, top, colour)
        return (
            x + box[0] / self.scale,
            y + box[1] / self.scale,
            x + box[2] / self.scale,
            y + box[3] / self.scale,
        )

    def _paste(self, stamp: FloatImage, left: int, top: int, colour: Colour) -> None:
        plate = self._plate(colour)
        x0, y0 = max(left, 0), max(top, 0)
        x1, y1 = min(left + stamp.shape[1], plate.shape[1]), min(top + stamp.shape[0], plate.shape[0])
        if x0 < x1 and y0 < y1:
            part = plate[y0:y1, x0:x1]
            np.maximum(part, stamp[y0 - top : y1 - top, x0 - left : x1 - left], out=part)


def _coverage(start: float, end: float, size: int) -> FloatImage:
    """How much of each of `size` pixels lies between start and end."""
    pixel = np.arange(size, dtype=np.float32)
    return np.asarray(np.clip(np.minimum(pixel + 1, end) - np.maximum(pixel, start), 0, 1), np.float32)


@lru_cache(maxsize=256)
def typeface(name: str, size: int) -> ImageFont.FreeTypeFont:
    """Open one of the kept fonts, ``"lato-700"`` or ``"kalam-400"``, at a size in pixels."""
    family, weight = name.rsplit("-", 1)
    return ImageFont.truetype(str(HERE / "fonts" / f"{family}-latin-{weight}-normal.woff2"), size)


def print_form(design: Design, scale: float, serial: str) -> Plate:
    """Print one slip of a design at `scale` pixels per millimetre, with this serial number."""
    plate = Plate(design.width, design.height, scale, serial=serial)
    left = design.margin + design.table_left
    right = design.width - design.margin
    _print_header(plate, design, serial)
    top = design.margin + design.header
    bottom = _print_table(plate, design, left, right, top)
    _print_totals(plate, design, left, right, bottom)
    foot = design.height - design.margin * 0.5
    if design.small_print:
        plate.text(
            design.margin,
            foot,
            design.small_print,
            f"{design.body_font}-400",
            1.25,
            design.main,
            widest=design.width - 2 * design.margin,
        )
    if design.thanks:
        plate.text(
            design.margin + 1,
            foot - 4.5,
            design.thanks,
            f"{design.head_font}-700",
            2.2,
            design.accent,
            widest=0.42 * design.width,
        )
    return plate


def _print_header(plate: Plate, design: Design, serial: str) -> None:
    margin, width = design.margin, design.width
    bold, plain = f"{design.head_font}-700", f"{design.body_font}-400"
    serial_width = 26.0
    at_left = design.serial_place == "top left"
    name_left = margin + (serial_width if at_left else 0)
    room = width - 2 * margin - (serial_width if design.serial_place.startswith("top") else 0)
    plate.text(name_left, margin + 5, design.firm, bold, 3.6, design.accent, widest=room)
    plate.text(name_left, margin + 9.5, design.title, plain, 2.0, design.main, widest=room)
    if design.serial_place != "none":
        spot = {
            "top right": (width - margin, margin + 5, "rs"),
            "top left": (margin, margin + 5, "ls"),
            "bottom": (width - margin, design.height - margin * 0.5 - 3.2, "rs"),
        }[design.serial_place]
        box = plate.text(
            spot[0], spot[1], serial, f"{design.head_font}-400", 3.2, design.serial_colour, spot[2]
        )
        plate.cells.append(Cell("serial", None, *box))
        if design.serial_label:
            if spot[2] == "rs":
                plate.text(box[0] - 1.5, spot[1], design.serial_label, plain, 2.0, design.main, "rs")
            else:
                plate.text(margin, spot[1] + 3.5, design.serial_label, plain, 1.6, design.main)
    _print_customer(plate, design)


def _print_customer(plate: Plate, design: Design) -> None:
    """The block for name and address: under the title, or in a column of its own beside the table."""
    plain = f"{design.body_font}-400"
    if design.customer == "beside":
        left, right = design.margin, design.margin + design.table_left - 4
        top, bottom = design.margin + design.header, design.margin + design.header + 26
    else:
        half = (design.width - 2 * design.margin) * (0.62 if design.width < 160 else 0.48)
        left = design.margin if design.customer == "left" else design.width - design.margin - half
        right = left + half
        top, bottom = design.margin + 11.5, design.margin + design.header - 2
    pitch = (bottom - top) / 3
    if design.customer_style == "box":
        for a, b in (
            ((left, top), (right, top)),
            ((left, bottom), (right, bottom)),
            ((left, top), (left, bottom)),
            ((right, top), (right, bottom)),
        ):
            plate.rule(a, b, "solid", design.rule_width, design.main)
    else:
        style: Rule = "dotted" if design.customer_style == "dots" else "solid"
        for i in (1, 2, 3):
            start = left + (13 if i < 3 else 0)
            plate.rule((start, top + i * pitch), (right, top + i * pitch), style, 0.18, design.main, 0.9)
    for i, label in enumerate(design.customer_labels):
        plate.text(left + 0.8, top + (i + 1) * pitch - 1.0, label, plain, 1.7, design.main, widest=12)
    plate.cells.append(Cell("customer", None, left, top, right, bottom))


def _print_table(plate: Plate, design: Design, left: float, right: float, top: float) -> float:
    """Headings, rules and the boxes of the rows; returns the table's bottom."""
    edges = _column_edges(design, left, right)
    body = top + design.heading_height
    bottom = body + design.rows * design.row_height
    colour = design.accent if design.rule_accent else design.main
    _print_headings(plate, design, edges, top)
    for row in range(1, design.rows):
        y = body + row * design.row_height
        plate.rule((left, y), (right, y), design.between_rows, design.rule_width, colour, design.pitch)
    for edge in edges[1:-1]:
        plate.rule(
            (edge, top), (edge, bottom), design.between_columns, design.rule_width, colour, design.pitch
        )
    plate.rule((left, body), (right, body), design.under_heading, design.frame_width, colour, design.pitch)
    level = design.outer if design.outer != "none" else design.between_rows
    for y in (top, bottom):
        plate.rule((left, y), (right, y), level, design.frame_width, colour, design.pitch)
    for x in (left, right):
        plate.rule((x, top), (x, bottom), design.outer, design.frame_width, colour, design.pitch)
    for row in range(design.rows):
        _print_row(plate, design, edges, row, body)
    return bottom


def _column_edges(design: Design, left: float, right: float) -> list[float]:
    """Where the columns begin and end, one number more than there are columns."""
    shares = np.array([column.share for column in design.columns])
    edges: list[float] = (
        left + (right - left) * np.concatenate([[0], np.cumsum(shares) / shares.sum()])
    ).tolist()
    return edges


def _print_headings(plate: Plate, design: Design, edges: Sequence[float], top: float) -> None:
    """The tinted strips and the words above the columns."""
    left, right, body = edges[0], edges[-1], top + design.heading_height
    colour = (255, 255, 255) if design.heading_fill == "solid" else design.main
    if design.heading_fill != "none":
        plate.fill(left, top, right, body, design.accent, 0.22 if design.heading_fill == "tint" else 1.0)
    if design.stripes:
        for row in range(1, design.rows, 2):
            y = body + row * design.row_height
            plate.fill(left, y, right, y + design.row_height, design.accent, 0.1)
    font = f"{design.body_font}-700"
    for column, a, b in zip(design.columns, edges[:-1], edges[1:], strict=True):
        heading = column.heading.upper() if design.upper else column.heading
        if column.split and "|" in heading:
            above, _, units = heading.partition("|")
            _split_heading(plate, design, above, units, a, b, top, colour)
        else:
            middle = top + 0.5 * design.heading_height
            plate.text((a + b) / 2, middle, heading, font, design.heading_size, colour, "mm", b - a - 1.2)


def _print_row(plate: Plate, design: Design, edges: Sequence[float], row: int, body: float) -> None:
    """One row's boxes, with what is printed inside them."""
    y0, y1 = body + row * design.row_height, body + (row + 1) * design.row_height
    colour = design.accent if design.rule_accent else design.main
    style: Rule = "solid" if design.between_columns in ("none", "double") else design.between_columns
    for column, a, b in zip(design.columns, edges[:-1], edges[1:], strict=True):
        cell = Cell(column.role, row + 1, a, y0, b, y1, a + 0.6 * (b - a) if column.split else None)
        if cell.split is not None:
            middle = cell.split
            plate.rule((middle, y0), (middle, y1), style, 0.7 * design.rule_width, colour, design.pitch)
        _prefill(plate, design, cell)
        plate.cells.append(cell)
    if design.row_numbers:
        font = f"{design.body_font}-400"
        plate.text(edges[0] - 0.8, (y0 + y1) / 2, str(row + 1), font, 1.5, design.main, "rm")


def _split_heading(
    plate: Plate,
    design: Design,
    above: str,
    units: str,
    left: float,
    right: float,
    top: float,
    colour: Colour,
) -> None:
    """A heading over pounds and pence, with their signs under it."""
    pounds, _, pence = units.partition("|")
    split = left + 0.6 * (right - left)
    size = design.heading_size
    if above:
        plate.text(
            (left + right) / 2,
            top + 0.3 * design.heading_height,
            above,
            f"{design.body_font}-700",
            0.85 * size,
            colour,
            "mm",
            widest=right - left - 1,
        )
        y = top + 0.76 * design.heading_height
        size *= 0.75
    else:
        y = top + 0.5 * design.heading_height
    plate.text((left + split) / 2, y, pounds, f"{design.body_font}-700", size, colour, "mm")
    plate.text((split + right) / 2, y, pence, f"{design.body_font}-700", size, colour, "mm")


def _prefill(plate: Plate, design: Design, cell: Cell) -> None:
    """What some pads print inside the boxes for money."""
    if cell.role not in (
        "unit_price",
        "line_total",
        "goods",
        "delivery",
        "discount",
        "deposit",
        "total",
    ):
        return
    base = cell.bottom - 0.22 * (cell.bottom - cell.top)
    plain = f"{design.body_font}-400"
    if design.prefill in ("pound", "pound and point"):
        plate.text(cell.left + 0.8, base, "£", plain, 2.3, design.main)
    if design.prefill in ("point", "pound and point") and cell.split is None:
        plate.dot(point_x(cell), base - 0.2, 0.55, design.main)
    if design.prefill == "dots":
        plate.rule(
            (cell.left + 1.2, base + 0.5), (cell.right - 1.0, base + 0.5), "dotted", 0.25, design.main, 1.1
        )


def point_x(cell: Cell) -> float:
    """Where a printed decimal point stands in a box."""
    return cell.left + 0.62 * (cell.right - cell.left)


def _print_totals(plate: Plate, design: Design, left: float, right: float, top: float) -> None:
    """The totals block: under the table's last column of money, its labels to the left."""
    money = next(i for i, column in enumerate(design.columns) if column.role == "line_total")
    edges = _column_edges(design, left, right)
    a, b = edges[money], edges[money + 1]
    label_width = 26.0
    colour = design.accent if design.rule_accent else design.main
    height = max(design.row_height, 6.0)
    labels_left = a - label_width >= design.margin
    frame = design.totals_frame
    for i, total in enumerate(design.totals):
        y0, y1 = top + i * height, top + (i + 1) * height
        last = i == len(design.totals) - 1
        cell = Cell(total.role, None, a, y0, b, y1, a + 0.6 * (b - a) if design.split else None)
        label = total.label.upper() if design.upper else total.label
        weight = "700" if last else "400"
        where, anchor = (a - 1.2, "rm") if labels_left else (b + 1.2, "lm")
        plate.text(
            where,
            (y0 + y1) / 2,
            label,
            f"{design.body_font}-{weight}",
            2.2,
            design.main,
            anchor,
            widest=label_width - 2,
        )
        thick = design.frame_width if last else design.rule_width
        plate.rule((a, y1), (b, y1), frame if frame != "none" else "solid", thick, colour, design.pitch)
        if frame != "none":
            plate.rule((a, y0), (a, y1), frame, design.rule_width, colour, design.pitch)
            plate.rule((b, y0), (b, y1), frame, design.rule_width, colour, design.pitch)
        if cell.split is not None:
            plate.rule((cell.split, y0), (cell.split, y1), "solid", 0.7 * design.rule_width, colour)
        _prefill(plate, design, cell)
        plate.cells.append(cell)


FONTS: dict[str, tuple[str, ...]] = {
    "tune": ("lato", "arvo", "archivo-narrow"),
    "test": ("open-sans", "libre-baskerville", "oswald", "josefin-sans"),
}

WORDING: dict[str, dict[str, tuple[str, ...]]] = {
    "tune": {
        "quantity": ("Qty", "Quantity", "No. req'd", "Number"),
        "unit_price": ("Price", "Unit price", "Price each", "Item price"),
        "line_total": ("Total", "Amount", "Line total", "Total £"),
        "code": ("Code", "Item no.", "Code no.", "Ref."),
        "description": ("Description", "Item", "Goods"),
        "size": ("Size",),
        "page": ("Page", "Page no."),
        "other": ("Colour",),
        "goods": ("Goods total", "Sub total", "Total goods"),
        "delivery": ("Delivery", "Postage", "Delivery charge"),
        "discount": ("Discount", "Less discount"),
        "deposit": ("Deposit", "Deposit paid"),
        "total": ("Total", "Total due", "Amount due"),
    },
    "test": {
        "quantity": ("No.", "How many", "QTY.", "Qty req.", "How many?"),
        "unit_price": ("Each", "Price £", "Cost each", "Unit cost", "@"),
        "line_total": ("Cost", "Total price", "Total cost", "Value", "£ p", "Amount £"),
        "code": ("Cat. No.", "Cat no", "Item code", "Catalogue number", "Order code"),
        "description": ("Details", "Name of item", "Product", "Article", "Item description"),
        "size": ("Size/Wt", "Size"),
        "page": ("Pg", "Page", "Cat. page"),
        "other": ("Shade", "Col.", "Colour"),
        "goods": ("Sub-total", "Total of goods", "Goods", "Total cost of goods"),
        "delivery": ("Carriage", "P & P", "Post & packing", "Delivery", "Carriage & packing"),
        "discount": ("Less: discount", "Voucher", "Discount (if any)"),
        "deposit": ("Less deposit", "Already paid", "Paid on account"),
        "total": ("To pay", "Balance due", "Total to pay", "TOTAL £", "Amount to pay", "Grand total"),
    },
}
"""What designs print; neither list is the other's (a few short words are in both, as on real pads)."""

COLOURS: dict[str, tuple[Colour, ...]] = {
    "tune": ((35, 35, 40), (30, 60, 130), (20, 95, 60), (140, 40, 40)),
    "test": ((20, 22, 30), (60, 50, 120), (0, 90, 110), (170, 60, 20), (90, 90, 95)),
}
FIRMS: dict[str, tuple[tuple[str, str], ...]] = {
    "tune": (
        ("Marrowfold Garden Sundries", "Order form - seeds, twine, jars and wool by catalogue"),
        ("Pottle & Daughters", "Catalogue order"),
        ("The Wickhollow Seed Room", "Please write clearly and press hard"),
    ),
    "test": (
        ("BOBBIN & BEAN", "Your order"),
        ("Haspen Valley Jar Company", "Customer order - top copy to agent, second copy yours"),
        ("Quince Street Wools", "Order slip"),
        ("Old Dibber Seeds", "Local agent's order pad"),
    ),
}
THANKS = ("Thank you!", "Thank you for your order", "With thanks", "Many thanks - see you next month")
SMALL_PRINT = (
    "Goods may be returned within 14 days. Prices as in the current catalogue. Invented firm.",
    "Please leave this slip in the bag with the catalogue, ready for collection on the day printed there.",
    "Cheques payable to your agent. Delivery in about ten days.",
    "",
)
CUSTOMER_LABELS = (("Name", "Address"), ("Customer", "Address"), ("Mr/Mrs/Ms", "House"), ("Name:", "Street:"))


def random_design(seed: int, family: Family) -> Design:
    """Draw a slip design. The two families share no font and no firm, and differ in wording and rules."""
    rng = np.random.default_rng([seed, {"tune": 1, "test": 2}[family]])
    words = WORDING[family]

    def pick(options: Sequence[str]) -> str:
        return options[int(rng.integers(len(options)))]

    shape = int(rng.integers(6))
    width, height = [
        (105.0, 148.0),
        (148.0, 210.0),
        (99.0, 210.0),
        (148.0, 105.0),
        (210.0, 148.0),
        (210.0, 99.0),
    ][shape]
    wide = width > height
    split = bool(rng.random() < (0.3 if width > 100 else 0.2))
    columns = _random_columns(rng, words, width, split)
    totals = _random_totals(rng, words)
    margin = float(rng.uniform(4.5, 9.0))
    beside = wide and width > 200 and rng.random() < 0.5
    header = float(rng.uniform(27, 33)) if not beside else 13.0
    if height < 100 and not beside:
        header = 25.0
    row_height = float(rng.uniform(6.4, 9.0)) if height > 130 else float(rng.uniform(6.0, 7.0))
    total_height = max(row_height, 6.0)
    heading_height = float(rng.uniform(5.0, 8.0)) if not split else float(rng.uniform(7.0, 9.0))
    room = height - 2 * margin - header - heading_height - len(totals) * total_height - 5
    while len(totals) > 2 and room < 4 * row_height:
        totals = totals[1:]
        room += total_height
    rows = int(np.clip(room // row_height, 3, 15))
    other: tuple[Rule, Rule] = ("dotted", "solid") if family == "tune" else ("dashed", "dashed")
    grids: list[tuple[Rule, Rule, Rule]] = [
        ("solid", "solid", "solid"),
        ("solid", other[0], "solid"),
        ("none", "solid", "none"),
        ("solid", "dotted", "dotted"),
        ("double" if family == "test" else "solid", "solid", other[1]),
    ]
    outer, between_rows, between_columns = grids[int(rng.integers(5))]
    firm, title = FIRMS[family][int(rng.integers(len(FIRMS[family])))]
    palette = COLOURS[family]
    main = palette[int(rng.integers(len(palette)))]
    accent = palette[int(rng.integers(len(palette)))]
    prefills: list[Prefill] = ["none", "none", "none", "pound", "pound and point", "point", "dots"]
    prefill = prefills[int(rng.integers(len(prefills)))]
    if split and prefill != "none":
        prefill = "none"
    fills: list[Literal["none", "tint", "solid"]] = ["none", "none", "tint", "solid"]
    sides: list[Literal["left", "right"]] = ["left", "right"]
    customers: list[Literal["lines", "box", "dots"]] = ["lines", "box", "dots"]
    places: list[Literal["top right", "top left", "bottom", "none"]] = [
        "top right",
        "top right",
        "top left",
        "bottom",
        "none",
    ]
    return Design(
        name=f"{family}-{seed}",
        width=width,
        height=height,
        columns=columns,
        totals=totals,
        rows=rows,
        firm=firm,
        title=title,
        small_print=pick(SMALL_PRINT),
        thanks=pick(THANKS) if rng.random() < 0.6 else "",
        head_font=pick(FONTS[family]),
        body_font=pick(FONTS[family]),
        main=main,
        accent=accent,
        margin=margin,
        header=header,
        heading_height=heading_height,
        row_height=row_height,
        table_left=float(rng.uniform(58, 68)) if beside else 0.0,
        customer="beside" if beside else sides[int(rng.integers(2))],
        customer_style=customers[int(rng.integers(3))],
        customer_labels=CUSTOMER_LABELS[int(rng.integers(len(CUSTOMER_LABELS)))],
        serial_label=pick(("No.", "Slip no.", "Order no.", "")),
        serial_place=places[int(rng.integers(5))],
        serial_colour=(190, 30, 40) if rng.random() < 0.6 else main,
        under_heading="solid",
        totals_frame="none" if between_columns == "none" and rng.random() < 0.5 else "solid",
        rule_width=float(rng.uniform(0.14, 0.35)),
        frame_width=float(rng.uniform(0.25, 0.6)),
        rule_accent=bool(rng.random() < 0.5),
        pitch=float(rng.uniform(0.8, 1.3) if family == "tune" else rng.uniform(0.65, 1.1)),
        heading_fill=fills[int(rng.integers(4))],
        stripes=bool(rng.random() < 0.15),
        prefill=prefill,
        heading_size=float(rng.uniform(1.7, 2.5)),
        upper=bool(rng.random() < 0.3),
        row_numbers=bool(rng.random() < 0.1),
        code_style=pick(("six", "six", "dashed", "slashed", "four")),
        outer=outer,
        between_rows=between_rows,
        between_columns=between_columns,
    )


def _random_columns(
    rng: np.random.Generator, words: dict[str, tuple[str, ...]], width: float, split: bool
) -> tuple[Column, ...]:
    """Columns in one of the orders that pads have."""
    narrow = width < 110
    orders = [
        ["code", "description", "quantity", "unit_price", "line_total"],
        ["quantity", "description", "unit_price", "line_total"],
        ["quantity", "code", "description", "unit_price", "line_total"],
        ["page", "code", "description", "quantity", "unit_price", "line_total"],
        ["description", "size", "quantity", "unit_price", "line_total"],
        ["code", "quantity", "unit_price", "line_total"],
        ["description", "unit_price", "quantity", "line_total"],
        ["code", "description", "size", "other", "unit_price", "quantity", "line_total"],
        ["description", "other", "code", "unit_price", "quantity", "line_total"],
    ]
    fit = [o for o in orders if len(o) <= (5 if narrow else 6 if width < 180 else 7)]
    roles = fit[int(rng.integers(len(fit)))]
    least = {
        "code": 17.0,
        "description": 30.0,
        "quantity": 12.0,
        "unit_price": 18.0,
        "line_total": 20.0,
        "size": 13.0,
        "page": 12.0,
        "other": 15.0,
    }
    if split:
        least |= {"unit_price": 22.0, "line_total": 25.0}
    if narrow and len(roles) == 5:
        least |= {"description": 22.0, "code": 16.0, "quantity": 11.0, "unit_price": 16.5, "line_total": 18.0}
    columns = []
    for role in roles:
        options = words[role]
        heading = options[int(rng.integers(len(options)))]
        apart = split and role in ("unit_price", "line_total")
        if apart:
            heading = f"{heading}|£|p"
        share = least[role] * float(rng.uniform(1.0, 1.25))
        columns.append(Column(role, heading, share, apart))
    return tuple(columns)


def _random_totals(rng: np.random.Generator, words: dict[str, tuple[str, ...]]) -> tuple[Total, ...]:
    blocks = [
        ["total"],
        ["total"],
        ["goods", "delivery", "total"],
        ["delivery", "total"],
        ["goods", "discount", "total"],
        ["goods", "delivery", "discount", "total"],
        ["goods", "deposit", "total"],
        ["goods", "discount", "delivery", "deposit", "total"],
    ]
    roles = blocks[int(rng.integers(len(blocks)))]
    return tuple(Total(role, words[role][int(rng.integers(len(words[role])))]) for role in roles)
