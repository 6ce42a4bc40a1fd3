"""Printed delivery notes of invented suppliers: four layouts, photographed like the slips; and their truth.

A note is printed in the fonts of its family, on A4, with one to three boxes. Lengths are millimetres.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from sample_scans.camera import TABLES, Bend, Conditions, Laid, Shot, Table, scan, shoot
from sample_scans.forms import FONTS, Colour, Design, Plate
from sample_scans.hands import Family
from sample_scans.orders import COLOURS, PRODUCTS, make_code
from sample_scans.slips import FlatSlip

Layout = Literal["grid", "level", "open", "boxes"]
"""All rules; level rules only; no rules at all; a heading for each box and dotted level rules."""

LAYOUTS: tuple[Layout, ...] = ("grid", "level", "open", "boxes")

WIDTH, HEIGHT = 210.0, 297.0
MARGIN = 14.0
TOP = 62.0
BOTTOM = HEIGHT - 24.0

SUPPLIERS: dict[Family, tuple[str, ...]] = {
    "tune": ("Marrowfold Wholesale", "The Wickhollow Warehouse"),
    "test": ("Hinterwell Supply House", "Brackenhythe Depot", "Orrery & Sons, Packers"),
}
HEADINGS: dict[Family, dict[str, tuple[str, ...]]] = {
    "tune": {
        "code": ("Code", "Item no."),
        "description": ("Description", "Item"),
        "ordered": ("Ordered", "Qty ordered"),
        "quantity": ("Delivered", "Qty", "Quantity"),
        "box": ("Box",),
        "price": ("Price",),
    },
    "test": {
        "code": ("Product code", "Article no.", "Cat. no.", "Order code"),
        "description": ("Details", "Product", "Goods", "Article"),
        "ordered": ("Qty ordered", "Ordered"),
        "quantity": ("Sent", "Delivered", "Qty sent", "Pieces", "Qty supplied"),
        "box": ("Carton", "Box no.", "Case"),
        "price": ("Unit price", "Price each"),
    },
}
INKS: tuple[Colour, ...] = ((25, 25, 28), (40, 40, 90), (70, 70, 74))


@dataclass(frozen=True, slots=True)
class NoteLine:
    """One printed line: what was sent, in which box; ``instead_of`` is the code it replaces."""

    code: str
    description: str
    quantity: int
    box: str
    ordered: int
    price: int
    instead_of: str | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Note:
    """One printed note, page by page."""

    name: str
    layout: Layout
    pages: tuple[FlatSlip, ...]
    lines: tuple[tuple[NoteLine, ...], ...]

    def truth(self, photo: str, page: int) -> dict[str, Any]:
        """Return one page's part of a truth file."""
        return {
            "photo": photo,
            "layout": self.layout,
            "lines": [
                {
                    "code": line.code,
                    "description": line.description,
                    "quantity": line.quantity,
                    "box": line.box,
                    "instead_of": line.instead_of,
                }
                for line in self.lines[page]
            ],
        }


def random_lines(rng: np.random.Generator, count: int, style: str) -> list[NoteLine]:
    """Invent what a supplier sends: different products, a few short, a few as substitutes."""
    places = rng.permutation(len(PRODUCTS))
    boxes = int(rng.integers(1, 4))
    lines = []
    for at in range(count):
        name, base = PRODUCTS[int(places[at % len(PRODUCTS)])]
        index = int(places[at % len(PRODUCTS)]) + 60 * (at // len(PRODUCTS))
        ordered = int(rng.choice([1, 2, 3, 4, 6, 8, 10, 12, 20, 24, 36, 48, 100]))
        sent = ordered if rng.random() < 0.8 else int(rng.integers(0, ordered + 1))
        words = name if rng.random() < 0.6 else f"{name}, {rng.choice(COLOURS)}"
        lines.append(NoteLine(_code(index, style), words, sent, str(at * boxes // count + 1), ordered, base))
    return lines


def _code(index: int, style: str) -> str:
    if style == "gtin":
        digits = f"50{(index * 7919 + 35001237) % 10**10:010d}"
        weighted = sum(int(d) * (3 if at % 2 == 0 else 1) for at, d in enumerate(reversed(digits)))
        return f"{digits}{-weighted % 10}"
    if style == "letters":
        return f"{'ABCDEFGHKLMNPRSTUVWX'[index % 20]}{(index * 7919 + 1237) % 90000 + 10000}"
    return make_code(index, index % 60 + 4, style)


def draw_note(
    layout: Layout,
    lines: Sequence[NoteLine],
    family: Family,
    rng: np.random.Generator,
    scale: float,
    name: str = "note",
) -> Note:
    """Print a delivery note, on as many pages as it takes."""
    font = str(rng.choice(FONTS[family]))
    size = float(rng.uniform(2.0, 2.7))
    pitch = size * float(rng.uniform(2.4, 3.2))
    words = {role: str(rng.choice(options)) for role, options in HEADINGS[family].items()}
    supplier = str(rng.choice(SUPPLIERS[family]))
    colour = INKS[int(rng.integers(len(INKS)))]
    number = f"{int(rng.integers(10000, 99999))}"
    with_price = bool(rng.random() < 0.4)
    quantity_first = bool(rng.random() < 0.3)
    columns = ["code", "description", "ordered", "quantity"]
    if quantity_first:
        columns = ["quantity", "code", "description"]
    if layout != "boxes" and lines[-1].box != "1":
        columns.append("box")
    if with_price:
        columns.append("price")
    fit = int((BOTTOM - TOP) / pitch) - (6 if layout == "boxes" else 2)
    parts = [tuple(lines[at : at + fit]) for at in range(0, len(lines), fit)]
    pages = []
    for page, part in enumerate(parts):
        plate = Plate(WIDTH, HEIGHT, scale)
        bold, plain = f"{font}-700", f"{font}-400"
        plate.text(MARGIN, MARGIN + 8, supplier, bold, 4.6, colour)
        plate.text(MARGIN, MARGIN + 15, "Unit 4, Old Ropewalk, Pottlesham", plain, 2.0, colour)
        plate.text(WIDTH - MARGIN, MARGIN + 8, "DELIVERY NOTE", bold, 3.6, colour, "rs")
        plate.text(WIDTH - MARGIN, MARGIN + 15, f"No. {number}", plain, 2.4, colour, "rs")
        plate.text(WIDTH - MARGIN, MARGIN + 21, f"Page {page + 1} of {len(parts)}", plain, 2.0, colour, "rs")
        plate.text(
            MARGIN, MARGIN + 27, "Deliver to: M. Tansleigh, 4 Hasp Lane, Quincebury", plain, 2.3, colour
        )
        last = page == len(parts) - 1
        total = sum(line.quantity for line in lines) if last else None
        _table(plate, layout, part, columns, words, font, size, pitch, colour, total)
        plate.text(
            MARGIN, HEIGHT - 10, "Please tell us of any shortage within three days.", plain, 1.9, colour
        )
        pages.append(_on_paper(plate, rng, scale, f"{name}-{page + 1}"))
    return Note(name, layout, tuple(pages), tuple(parts))


_SHARES = {"code": 0.19, "description": 0.37, "ordered": 0.12, "quantity": 0.12, "box": 0.09, "price": 0.11}
_RIGHT = ("ordered", "quantity", "price")


def _table(
    plate: Plate,
    layout: Layout,
    lines: Sequence[NoteLine],
    columns: Sequence[str],
    words: dict[str, str],
    font: str,
    size: float,
    pitch: float,
    colour: Colour,
    total: int | None,
) -> None:
    left, right = MARGIN, WIDTH - MARGIN
    shares = np.array([_SHARES[role] for role in columns])
    edges = (left + np.concatenate([[0.0], np.cumsum(shares / shares.sum())]) * (right - left)).tolist()
    y = TOP
    style = {"grid": "solid", "level": "solid", "open": "none", "boxes": "dotted"}[layout]

    def rule_at(height: float, heavy: bool = False) -> None:
        if layout == "open":
            return
        kind: Any = "solid" if heavy else style
        plate.rule((left, height), (right, height), kind, 0.4 if heavy else 0.2, colour)

    def row(cells: dict[str, str], weight: str) -> None:
        nonlocal y
        y += pitch
        for at, role in enumerate(columns):
            room = edges[at + 1] - edges[at] - 2.4
            if role in _RIGHT:
                spot, anchor = edges[at + 1] - 1.5, "rs"
            else:
                spot, anchor = edges[at] + 1.5, "ls"
            base = y - 0.5 * (pitch - size)
            if cells.get(role):
                plate.text(spot, base, cells[role], f"{font}-{weight}", size, colour, anchor, room)

    rule_at(y, heavy=True)
    row({role: words[role] for role in columns}, "700")
    rule_at(y, heavy=True)
    box = ""
    for line in lines:
        if layout == "boxes" and line.box != box:
            y += pitch
            plate.text(
                left + 1.5, y - 0.5 * (pitch - size), f"Box {line.box}", f"{font}-700", 1.15 * size, colour
            )
            rule_at(y)
        box = line.box
        row(
            {
                "code": line.code,
                "description": line.description,
                "ordered": str(line.ordered),
                "quantity": str(line.quantity),
                "box": line.box,
                "price": f"{line.price / 100:.2f}",
            },
            "400",
        )
        rule_at(y)
        if line.instead_of:
            y += pitch
            words_of = f"replaces {line.instead_of}"
            plate.text(left + 8, y - 0.5 * (pitch - size), words_of, f"{font}-400", size, colour)
            rule_at(y)
    rule_at(y, heavy=True)
    if layout == "grid":
        for edge in edges:
            plate.rule((edge, TOP), (edge, y), "solid", 0.2, colour)
    if total is not None:
        y += pitch
        at = list(columns).index("quantity")
        base = y - 0.5 * (pitch - size)
        plate.text(edges[at + 1] - 1.5, base, str(total), f"{font}-700", size, colour, "rs")
        where = edges[at] - 3 if at else edges[at + 1] + 2
        plate.text(where, base, "Total pieces", f"{font}-700", size, colour, "rs" if at else "ls")


def _on_paper(plate: Plate, rng: np.random.Generator, scale: float, name: str) -> FlatSlip:
    """Bring the plates onto white copy paper."""
    paper = np.array([(250, 250, 248), (246, 246, 242), (252, 251, 250)][int(rng.integers(3))], np.float32)
    rows, columns = round(HEIGHT * scale), round(WIDTH * scale)
    image = np.broadcast_to(paper, (rows, columns, 3)).copy()
    for colour, cover in plate.inks.items():
        image += (np.array(colour, np.float32) - image) * cover[..., None] * float(rng.uniform(0.86, 0.98))
    image += 1.2 * rng.standard_normal((rows, columns, 1), dtype=np.float32)
    design = Design(name, WIDTH, HEIGHT, (), (), 0, "", "", "", "", "", "", (0, 0, 0), (0, 0, 0))
    picture = np.clip(image + 0.5, 0, 255).astype(np.uint8)
    return FlatSlip(picture, design, None, "top", None, "", (), scale)


def photograph(
    page: FlatSlip,
    rng: np.random.Generator,
    hard: bool,
    size: tuple[int, int] = (3000, 4000),
    table: Table | None = None,
) -> Shot:
    """Photograph a page lying on some table at an angle of up to 12 (easy) or 10 to 25 degrees (hard)."""
    most = 0.11 if hard else 0.05
    bend = Bend(
        direction=float(rng.choice([0.0, np.pi / 2]) + rng.normal(0, 0.12)),
        curl=float(rng.uniform(-most, most)),
        wave=float(rng.uniform(-most, most)) * 0.4,
        fold=float(rng.uniform(-0.1, 0.1)) if rng.random() < (0.5 if hard else 0.25) else 0.0,
        crease=float(rng.uniform(-0.35, 0.35)),
    )
    bright, warm = float(rng.uniform(0.82, 1.0)), float(rng.normal(0, 0.03))
    conditions = Conditions(
        tilt=float(np.radians(rng.uniform(10, 25) if hard else rng.uniform(2, 12))),
        tilt_direction=float(rng.uniform(0, 2 * np.pi)),
        blur=float(rng.uniform(0.7, 1.2) if hard else rng.uniform(0.5, 0.9)),
        motion=0.0,
        noise=float(rng.uniform(2.5, 5) if hard else rng.uniform(1.2, 3)),
        gain=(bright * (1 + warm), bright, bright * (1 - 1.3 * warm)),
        gradient=float(rng.uniform(0.1, 0.35) if hard else rng.uniform(0.02, 0.2)),
        gradient_direction=float(rng.uniform(0, 2 * np.pi)),
        vignette=float(rng.uniform(0.05, 0.25)),
        shadow=float(rng.uniform(0.2, 0.35)) if rng.random() < (0.5 if hard else 0.15) else 0.0,
        focal=float(rng.uniform(0.72, 0.95)),
        fill=float(rng.uniform(0.8, 0.95)),
    )
    under: Table = table or TABLES[int(rng.integers(len(TABLES)))]
    turn = float(rng.normal(0, 0.08 if hard else 0.03))
    return shoot(size, [Laid(page, 0.0, 0.0, turn, bend)], under, conditions, rng)


def random_note(seed: int, family: Family, layout: Layout, scale: float = 11.5) -> Note:
    """Draw one note at random."""
    rng = np.random.default_rng([seed, {"tune": 61, "test": 62}[family], LAYOUTS.index(layout)])
    style = str(rng.choice(["six", "dashed", "slashed", "four", "gtin", "letters"]))
    lines = random_lines(rng, int(rng.integers(8, 26)), style)
    return draw_note(layout, lines, family, rng, scale, f"{family}-{layout}-{seed}")


def scanned(page: FlatSlip, rng: np.random.Generator) -> Shot:
    """Scan a page at its own scale, a little askew."""
    return scan(page, float(np.radians(rng.normal(0, 0.8))), rng)
