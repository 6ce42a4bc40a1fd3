"""The table of an order form: its columns, headings, rules and rows, and what a customer writes into them."""

from dataclasses import dataclass, field

from numpy.random import Generator

from models.forms import wording
from models.forms.faces import Face
from models.forms.paper import Canvas, Colour, Rect, Rule, Style, cased, fitted
from models.forms.writing import Writer, amount, code

_WIDTHS = {
    "code": (14, 34), "description": (32, 90), "quantity": (8, 18), "unit_price": (13, 24), "line_total": (15, 28),
    "size": (8, 16), "page": (7, 13), "other": (8, 19), "row": (5, 9),
}  # fmt: skip
"""Millimetres, least and most, of a column; common practice, no source."""
_PARTS = (("£", "p"),) * 6 + (("£", "pence"), ("Pounds", "Pence"), ("£", "pp"), ("£.", "p."), ("£s", "p"))
_OPTIONAL = ("other", "row", "size", "page", "code", "description", "unit_price")
_CODES = ("dddd", "ddddd", "dddddd", "ddd", "dd-dd", "ddd-ddd", "d/ddd", "dd.ddd", "ddddddd", "ddd dd")
_LETTERED = ("Adddd", "Tddd", "KB dd", "ddddB", "Wd-dd", "Mddd")


@dataclass
class Column:
    """One column: its kind (``row`` for printed row numbers), where it stands, what is printed in it."""

    kind: str
    share: float
    left: float = 0.0
    right: float = 0.0
    divider: float | None = None
    """x of the line between pounds and pence."""
    comb: int = 0
    """Digit places of a comb, or 0."""
    shaded: bool = False
    guide: str = ""
    """Printed in each cell: a pound sign, a decimal point."""
    heading: str = ""
    floor: tuple[float, float] = (0.0, 1.0)
    """From where to where in a row its cells stand, of the row's height: rows may have two storeys."""

    @property
    def place(self) -> str:
        """The kind of its cells."""
        return "decoy" if self.kind == "row" else self.kind

    @property
    def money(self) -> bool:
        return self.kind in ("unit_price", "line_total")


@dataclass
class Spec:
    """The look of a table, drawn once for a pad."""

    columns: list[Column]
    mode: str
    frame: Rule | None
    row: Rule
    column: Rule
    pence: Rule
    rounded: float
    heading: str
    """``plain``, ``reversed``, ``shaded``, ``line`` or ``none``."""
    lines: int
    split: str
    """How a heading stands over pounds and pence: ``over``, ``parted`` or ``alone``."""
    face: Face
    capital: float
    centred: bool
    band: Colour | None
    shade: Colour
    gap: float
    cell: Colour
    printed: frozenset[str] = frozenset()
    """Kinds of columns whose contents are printed."""
    start: int = 1
    """The first row that is shaded, where every other one is."""
    upright: bool = False
    """Headings of narrow columns run upwards."""
    head: float = 0.0
    """Height of the heading, pixels."""
    heavy: Rule | None = None
    """The rule before columns of money, where it differs from the others."""
    labelled: bool = False
    """Instead of a heading, each cell says in small print what it is for; below its line, if it has but a line."""
    parts: tuple[str, str] = ("£", "p")
    """What stands over pounds and over pence."""
    filled: str = ""
    """Separate boxes that are filled: ``cells`` tinted on the paper, or light ones on a tinted ``panel``."""
    white: bool = False
    """The body is tinted and its rules are left blank."""
    sections: bool = False
    """Bands with a word on them part the rows of a printed list."""
    boxed: bool = False
    """The line totals stand in a heavy frame."""
    dotted: bool = False
    """Pounds and pence have boxes of their own with a printed point between."""
    group: tuple[int, int, str] | None = None
    """A heading over several columns: the first, the last, its words."""
    storeyed: bool = False
    """Rows have two storeys."""
    apart: float = 0.0
    """Of a row's height, left free between such rows."""


@dataclass
class Grid:
    """A table as it was drawn."""

    spec: Spec
    rect: Rect
    top: float
    """Where the body begins."""
    pitch: float
    rows: int
    xs: list[float] = field(default_factory=list)

    @property
    def last(self) -> Column:
        """The column of line totals."""
        return next(c for c in self.spec.columns if c.kind == "line_total")


@dataclass
class Line:
    """What is written in one row, pence for money; None for an empty box."""

    quantity: int
    price: int | None
    total: int | None
    code: str
    goods: str
    struck: bool = False


def draw_columns(rng: Generator, room: float) -> list[Column]:
    """Draw the columns of a table `room` millimetres wide."""
    kinds: list[str] = []
    both = rng.random()
    codes = both < 0.72
    words = rng.random() < 0.78 or not codes
    core = (["code"] if codes else []) + (["description"] if words else [])
    if len(core) == 2 and rng.random() < 0.2:
        core.reverse()
    if rng.random() < 0.24:
        core.insert(0 if rng.random() < 0.6 else len(core), "page")
    roomy = 1.5 if room > 120 else 1.0
    for kind, share in (("size", 0.2), ("other", 0.2)):
        if rng.random() < share * roomy:
            core.append(kind)
            if rng.random() < 0.2 * roomy:
                core.append("other")
    quantity = ["quantity"] if rng.random() < 0.94 else []
    price = ["unit_price"] if rng.random() < 0.86 else []
    order = rng.random()
    if order < 0.55:
        kinds = core + quantity + price
    elif order < 0.82:
        kinds = quantity + core + price
    elif order < 0.92:
        kinds = core + price + quantity
    else:
        at = int(rng.integers(0, len(core) + 1))
        kinds = core[:at] + quantity + core[at:] + price
    kinds.append("line_total")
    if rng.random() < 0.07:
        kinds.append("other")
    if rng.random() < 0.16:
        kinds.insert(0, "row")
    columns = [Column(k, float(rng.uniform(*_WIDTHS[k]))) for k in kinds]
    over = sum(c.share for c in columns) - room
    for c in columns:  # words give way first, then everything a little
        if c.kind == "description" and over > 0:
            c.share = max(float(rng.uniform(24, 36)), c.share - over)
    while sum(c.share for c in columns) > 1.22 * room and len(columns) > 3:
        kind = next(
            (k for k in _OPTIONAL if any(c.kind == k for c in columns) and (k != "description" or codes)),
            None,
        )
        if kind is None:
            break
        if kind == "code" and not words:
            break
        columns.remove(next(c for c in reversed(columns) if c.kind == kind))
    wide = sum(c.share for c in columns)
    if wide < room:
        stretch = room / wide
        for c in columns:  # what is left over goes to words first
            if c.kind == "description":
                c.share += 0.7 * (room - wide)
            elif c.kind in ("row", "page"):
                c.share *= min(stretch, 1.15)
    return columns


def draw_spec(rng: Generator, style: Style, room: float) -> Spec:
    """Draw the look of a table `room` pixels wide."""
    columns = draw_columns(rng, room / style.mm)
    mode = str(rng.choice(
        ["grid", "rows", "cols", "boxes", "bands", "underlines", "columns", "none", "strips"],
        p=[0.43, 0.11, 0.07, 0.1, 0.08, 0.07, 0.06, 0.04, 0.04],
    ))  # fmt: skip
    numbered = any(c.kind == "row" for c in columns)
    if (
        mode in ("none", "underlines") and not numbered and rng.random() < 0.3
    ):  # hardly anything else tells its rows
        columns.insert(0, Column("row", float(rng.uniform(*_WIDTHS["row"]))))
    parted = rng.random()
    combs = rng.random() < 0.16
    guides = rng.random()
    operators = rng.random() < 0.06
    for c in columns:
        if c.money:
            if parted < 0.42 and (c.kind == "line_total" or parted < 0.36):
                c.divider = float(rng.uniform(0.52, 0.68))
            elif guides < 0.1:
                c.guide = "£"
            elif guides < 0.2:
                c.guide = "."
            elif guides < 0.23:
                c.guide = "£."
        if operators and c.kind in ("unit_price", "line_total") and not c.guide:
            c.guide = ("@", "×", "x")[int(rng.integers(3))] if c.kind == "unit_price" else "="
        if combs and c.kind == "code":
            c.comb = int(rng.integers(4, 8))
        elif combs and c.kind in ("quantity", "page") and rng.random() < 0.35:
            c.comb = 2
        c.shaded = (mode == "columns" and c.money) or (
            rng.random() < 0.06 and mode in ("grid", "rows", "cols")
        )
    if mode == "columns":
        odd = int(rng.integers(2))
        for i, c in enumerate(columns):
            c.shaded = i % 2 == odd
    heading = str(
        rng.choice(["plain", "reversed", "shaded", "line", "none"], p=[0.35, 0.23, 0.2, 0.14, 0.08])
    )
    frame = (
        style.rule(rng, "frame")
        if rng.random() < {"rows": 0.4, "none": 0.1, "underlines": 0.1, "strips": 0.1}.get(mode, 0.8)
        else None
    )
    band = (
        style.mix(float(rng.uniform(0.06, 0.22)), style.second)
        if mode == "bands" or rng.random() < 0.07
        else None
    )
    tint = style.mix(float(rng.uniform(0.04, 0.16)), style.second)
    cell, filled, white = style.paper, "", False
    if mode == "boxes" and rng.random() < 0.6:  # light cells on a tinted panel, or tinted cells on the paper
        filled = "panel" if rng.random() < 0.6 else "cells"
        cell = tint if filled == "cells" else style.paper if rng.random() < 0.5 else (250, 250, 250)
    elif (
        mode in ("grid", "rows", "strips") and rng.random() < 0.1
    ):  # a tinted table whose rules are left blank
        white = True
    printed: frozenset[str] = frozenset()
    if (
        rng.random() < 0.14
    ):  # a list of goods, its prices printed: only how many and what it comes to is written
        prices = {"unit_price", "size", "page"} if rng.random() < 0.6 else set()
        printed = frozenset({"code", "description"} | prices)
        if not any(c.kind == "description" for c in columns):
            printed = frozenset()
        for c in columns:
            if c.kind == "unit_price" and "unit_price" in printed:
                c.divider, c.guide = None, ""
    for c in columns:
        if c.kind in printed:
            c.comb = 0
    spec = Spec(
        columns=columns, mode=mode, frame=frame, row=style.rule(rng, "row"), column=style.rule(rng, "column"),
        pence=style.rule(rng, "pence"),
        rounded=float(rng.uniform(1, 4)) * style.mm if rng.random() < 0.16 else 0.0,
        heading=heading, lines=1 if rng.random() < 0.55 else 2,
        split=str(rng.choice(["over", "parted", "alone", "signs"], p=[0.38, 0.34, 0.18, 0.1])),
        face=style.bold if rng.random() < 0.5 else style.plain,
        capital=style.capital * float(rng.uniform(0.75, 1.15)), centred=bool(rng.random() < 0.62), band=band, shade=tint,
        gap=float(rng.uniform(0.5, 1.6)) * style.mm, cell=cell, printed=printed, upright=bool(rng.random() < 0.12),
        heavy=style.rule(rng, "frame") if rng.random() < 0.12 else None,
        labelled=heading == "none" and mode in ("grid", "boxes", "strips", "underlines") and rng.random() < 0.6,
        start=int(rng.integers(2)), dotted=bool(rng.random() < 0.4), boxed=bool(rng.random() < 0.06),
        sections=bool(printed) and rng.random() < 0.35, parts=_PARTS[int(rng.integers(len(_PARTS)))],
    )  # fmt: skip
    spec.filled, spec.white = filled, white
    if white:
        for rule in (spec.row, spec.column, spec.pence):
            rule.colour, rule.thick = style.paper, rule.thick * float(rng.uniform(1.2, 2.5))
        spec.shade = style.mix(float(rng.uniform(0.1, 0.25)), style.second)
        spec.frame = spec.frame if rng.random() < 0.4 else None
    if mode == "bands":
        spec.row = Rule("solid", spec.row.thick, band or style.paper)
    _name(rng, style, spec, room)
    if rng.random() < 0.08 and heading != "none":
        _group(rng, style, spec)
    return spec


def _group(rng: Generator, style: Style, spec: Spec) -> None:
    """Set one heading over two or three neighbouring columns."""
    kinds = [c.kind for c in spec.columns]
    if kinds[-2:] == ["unit_price", "line_total"] and rng.random() < 0.5:
        first, last = len(kinds) - 2, len(kinds) - 1
        words = wording.pick(rng, ("Price", "Cost", "Money", "Prices in £", "Amount", "£ Sterling"))
        spec.columns[first].heading = cased(
            rng, style, wording.pick(rng, ("Each", "of one", "per item", "Unit", "One"))
        )
        spec.columns[last].heading = cased(
            rng, style, wording.pick(rng, ("Total", "in all", "of all", "Sum", "Line"))
        )
    elif (
        len(kinds) > 3
        and kinds[0] in ("code", "page", "description")
        and kinds[1] in ("code", "page", "description", "size")
    ):
        first, last = 0, 1
        words = wording.pick(
            rng, ("From the catalogue", "Catalogue", "Goods", "Article", "What you'd like", "Product")
        )
    else:
        return
    if any(c.divider is not None for c in spec.columns[first : last + 1]):
        spec.split = "over"
    spec.group = first, last, cased(rng, style, words)


def _name(rng: Generator, style: Style, spec: Spec, room: float) -> None:
    """Give every column a heading of its own that can be printed legibly in its width."""
    used: set[str] = set()
    whole = sum(c.share for c in spec.columns)
    for c in spec.columns:
        wide = c.share / whole * room - 4
        for k in range(14):
            c.heading = wording.pick(rng, wording.HEADINGS[c.kind])
            if c.kind == "line_total" and c.divider is None and c.heading == "£ p":
                continue
            least = 0.8 if k < 8 else 0.6
            legible = wrapped(c.heading, spec.face, spec.capital, wide, spec.lines)[1] > least * spec.capital
            if c.heading.lower() not in used and (legible or (spec.upright and k > 3)):
                break
        used.add(c.heading.lower())
        c.heading = cased(rng, style, c.heading)


def place_columns(spec: Spec, left: float, right: float) -> list[float]:
    """Set the columns between `left` and `right`; return their edges."""
    whole = sum(c.share for c in spec.columns)
    if spec.storeyed:
        _place_storeys(spec, left, right, whole)
        return sorted({left, right, *(c.left for c in spec.columns)})
    x, xs = left, [left]
    for c in spec.columns:
        c.left = x
        x += c.share / whole * (right - left)
        c.right = x
        xs.append(x)
    return xs


def _place_storeys(spec: Spec, left: float, right: float, whole: float) -> None:
    """Set the columns of each storey between `left` and `right`, the tall ones at their ends beside both.

    `whole` is what all columns' shares come to.
    """
    tall = [c for c in spec.columns if c.floor == (0.0, 1.0)]
    end = right
    for c in reversed([c for c in tall if c.kind != "row"]):
        c.right = end
        end -= 1.15 * c.share / whole * (right - left)
        c.left = end
    start = left
    for c in tall:
        if c.kind == "row":
            c.left = start
            start += c.share / whole * (right - left)
            c.right = start
    for floor in {c.floor for c in spec.columns} - {(0.0, 1.0)}:
        own = [c for c in spec.columns if c.floor == floor]
        wide = sum(c.share for c in own)
        x = start
        for c in own:
            c.left = x
            x += c.share / wide * (end - start)
            c.right = x


def head_height(spec: Spec, style: Style, pitch: float, rng: Generator) -> float:
    """Return the height of the heading row, pixels."""
    if spec.heading == "none":
        return 0.0
    tall = spec.capital * (2.2 if spec.lines == 1 else 3.9) * float(rng.uniform(0.9, 1.25))
    if spec.upright:
        tall = max(tall, spec.capital * 7)
    if any(c.divider for c in spec.columns) and spec.split == "parted":
        tall += spec.capital * 1.9
    if spec.group is not None:
        tall += spec.capital * 1.8
    if spec.storeyed:
        tall *= 1.9
    return max(tall, float(rng.uniform(0.5, 0.9)) * pitch)


def draw_table(
    canvas: Canvas, style: Style, spec: Spec, rect: Rect, rows: int, lines: list[Line | None], writer: Writer, rng: Generator,
    first: int = 1,
) -> Grid:  # fmt: skip
    """Draw a table of `rows` rows that fills `rect`, with its heading, its places and its writing."""
    xs = place_columns(spec, rect.left, rect.right)
    top = rect.top + spec.head
    pitch = (rect.bottom - top) / rows
    grid = Grid(spec, rect, top, pitch, rows, xs)
    _shades(canvas, style, grid)
    colour = _headings(canvas, style, grid, rng) if spec.head else style.ink
    _rules(canvas, style, grid)
    _over(canvas, style, grid, colour)
    bands = _bands(rows, rng) if spec.sections else set()
    row = first - 1
    for k in range(rows):
        if k in bands:
            _section(canvas, style, grid, k, rng)
            continue
        line = lines[row - first + 1] if row - first + 1 < len(lines) else None
        row += 1
        for c in spec.columns:
            _cell(canvas, style, grid, c, k, row, line, writer, rng)
        if line is not None and line.struck:
            y = top + k * pitch
            right = spec.columns[-1].right
            writer.strike(
                canvas,
                Rect(rect.left + 3, y, right - float(rng.uniform(0, 0.15)) * rect.width, y + pitch),
                rng,
            )
    return grid


def _bands(rows: int, rng: Generator) -> set[int]:
    """Return which rows of a printed list are bands between its parts; three rows at least are left."""
    if rows < 6:
        return set()
    return {0, *(int(k) for k in rng.integers(3, rows - 1, int(rng.integers(1, 3))))}


def _section(canvas: Canvas, style: Style, grid: Grid, k: int, rng: Generator) -> None:
    """Print a band with a word on it across the table."""
    rect = grid.rect
    band = Rect(rect.left, grid.top + k * grid.pitch, rect.right, grid.top + (k + 1) * grid.pitch)
    loud = rng.random() < 0.3
    canvas.fill(band.inset(1), style.mix(0.75 if loud else 0.15, style.second))
    words = cased(rng, style, wording.pick(rng, wording.SECTIONS))
    size = fitted(words, style.bold, min(style.capital, band.height * 0.5), band.width)
    colour = style.paper if loud else style.mix(1.0)
    canvas.text(band.left + 5, (band.top + band.bottom + size) / 2, words, style.bold, size, colour)


def _shades(canvas: Canvas, style: Style, grid: Grid) -> None:
    spec, rect = grid.spec, grid.rect
    if spec.white:
        canvas.fill(Rect(rect.left, grid.top, rect.right, rect.bottom), spec.shade)
    if spec.filled == "panel":
        canvas.panel(
            Rect(rect.left - spec.gap, rect.top - spec.gap, rect.right + spec.gap, rect.bottom + spec.gap),
            spec.shade,
        )
    if spec.band is not None and spec.mode in ("bands", "grid", "rows"):
        for k in range(spec.start, grid.rows, 2):
            y = grid.top + k * grid.pitch
            canvas.fill(Rect(rect.left, y, rect.right, y + grid.pitch), spec.band)
    for c in spec.columns:
        if c.shaded and spec.mode != "boxes":
            canvas.fill(Rect(c.left, grid.top, c.right, rect.bottom), spec.shade)


def _rules(canvas: Canvas, style: Style, grid: Grid) -> None:
    spec, rect = grid.spec, grid.rect
    if spec.mode == "boxes":
        return
    ys = [grid.top + k * grid.pitch for k in range(grid.rows + 1)]
    if spec.storeyed:
        _storeys(canvas, style, grid, ys)
        return
    if spec.mode == "strips":
        _strips(canvas, style, grid)
    if spec.mode in ("grid", "rows", "columns"):
        for y in ys[1:-1] if spec.frame else ys:
            canvas.line((rect.left, y), (rect.right, y), spec.row)
    if spec.mode in ("grid", "cols"):
        start = rect.top if spec.heading in ("plain", "shaded") or spec.head == 0 else grid.top
        for c in spec.columns[1:]:
            rule = spec.heavy if spec.heavy is not None and c.money else spec.column
            canvas.line((c.left, start), (c.left, rect.bottom), rule)
    if spec.mode == "underlines":
        gap = spec.gap
        for y in ys[1:]:
            foot = y - 2 - _below(grid)
            for c in spec.columns:
                canvas.line((c.left + gap, foot), (c.right - gap, foot), spec.row)
    elif spec.mode not in ("none", "strips"):
        for c in spec.columns:
            if c.divider is not None:
                x = _divider(c)
                canvas.line((x, grid.top), (x, rect.bottom), spec.pence)
    if spec.head and spec.heading in ("plain", "shaded", "line"):
        canvas.line((rect.left, grid.top), (rect.right, grid.top), spec.frame or spec.column)
    if spec.boxed and spec.mode not in ("none", "strips"):
        heavy = Rule("solid", max(2.0, 0.6 * style.mm), style.mix(1.0, style.second))
        canvas.box(Rect(grid.last.left, grid.top, grid.last.right, rect.bottom), heavy)
    if spec.frame is not None:
        canvas.box(rect, spec.frame, spec.rounded)


def _storeys(canvas: Canvas, style: Style, grid: Grid, ys: list[float]) -> None:
    """Rule rows of two storeys: each cell by itself, and more between rows than within them."""
    spec, rect = grid.spec, grid.rect
    if spec.mode == "underlines":
        for k in range(grid.rows):
            for c in spec.columns:
                cell = _place_of(grid, c, k)
                foot = cell.bottom - 2 - _below(grid)
                canvas.line((cell.left + spec.gap, foot), (cell.right - spec.gap, foot), spec.row)
    else:
        for k in range(grid.rows):
            for c in spec.columns:
                cell = _place_of(grid, c, k)
                canvas.box(cell, spec.row)
                if c.divider is not None:
                    canvas.line((_divider(c), cell.top), (_divider(c), cell.bottom), spec.pence)
    if spec.heavy is not None:
        for y in ys[1:-1]:
            canvas.line((rect.left, y), (rect.right, y), spec.heavy)
    if spec.frame is not None and not spec.apart:
        canvas.box(rect, spec.frame)


def _place_of(grid: Grid, c: Column, k: int) -> Rect:
    """Return where a column's cell of a row stands, all of its share of the row."""
    room = (1 - grid.spec.apart) * grid.pitch
    y = grid.top + k * grid.pitch + grid.spec.apart / 2 * grid.pitch
    return Rect(c.left, y + c.floor[0] * room, c.right, y + c.floor[1] * room)


def _below(grid: Grid) -> float:
    """Return how much of a row's height captions below its line take."""
    if not grid.spec.labelled or grid.spec.mode != "underlines":
        return 0.0
    return (0.13 if grid.spec.storeyed else 0.26) * grid.pitch


def _strips(canvas: Canvas, style: Style, grid: Grid) -> None:
    """Draw each row as a strip of its own, parted into its cells."""
    spec, rect = grid.spec, grid.rect
    for k in range(grid.rows):
        y = grid.top + k * grid.pitch
        strip = Rect(rect.left, y + spec.gap / 2, rect.right, y + grid.pitch - spec.gap / 2)
        radius = min(spec.rounded, strip.height / 2)
        if spec.white or spec.dotted:
            canvas.panel(strip, spec.shade, radius)
        else:
            canvas.box(strip, spec.row, radius)
        for c in spec.columns:
            if c is not spec.columns[0]:
                canvas.line((c.left, strip.top), (c.left, strip.bottom), spec.column)
            if c.divider is not None:
                canvas.line((_divider(c), strip.top), (_divider(c), strip.bottom), spec.pence)


def _divider(c: Column) -> float:
    assert c.divider is not None
    return c.left + c.divider * (c.right - c.left)


def _headings(canvas: Canvas, style: Style, grid: Grid, rng: Generator) -> Colour:
    spec, rect = grid.spec, grid.rect
    colour = style.mix(1.0)
    band = Rect(rect.left, rect.top, rect.right, grid.top)
    gap = spec.gap if spec.mode == "boxes" and rng.random() < 0.6 else 0.0
    fill: Colour | None = None
    if spec.heading == "reversed":
        fill = style.mix(float(rng.uniform(0.7, 1.0)), style.second)
        colour = style.paper if rng.random() < 0.7 else (252, 252, 252)
    elif spec.heading == "shaded":
        fill = style.mix(float(rng.uniform(0.08, 0.3)), style.second)
    if fill is not None and not gap:
        if spec.rounded:
            canvas.panel(Rect(band.left, band.top, band.right, band.bottom), fill, spec.rounded)
            canvas.fill(Rect(band.left, band.top + spec.rounded, band.right, band.bottom), fill)
        else:
            canvas.fill(band, fill)
    split = spec.heading == "reversed" and rng.random() < 0.5
    strip = spec.capital * 1.8
    for i, c in enumerate(spec.columns):
        under = spec.group is not None and spec.group[0] <= i <= spec.group[1]
        cell = Rect(c.left + gap / 2, band.top + strip * under, c.right - gap / 2, band.bottom - gap / 2)
        if spec.storeyed:
            low, high = (band.top + share * band.height for share in c.floor)
            cell = Rect(cell.left, low, cell.right, high)
        if gap and fill is not None:
            canvas.panel(cell, fill, spec.rounded)
        elif gap and spec.heading == "plain":
            canvas.box(cell, spec.row, spec.rounded)
        if split and c is not spec.columns[0]:
            canvas.line(
                (c.left, band.top),
                (c.left, band.bottom),
                Rule("solid", max(1.0, spec.column.thick), style.paper),
            )
        if c.divider is None or spec.split == "over" or (spec.split == "alone" and c.kind == "unit_price"):
            heading(canvas, spec, cell, c.heading, colour, rng)
            canvas.place("heading", cell)
            continue
        x = _divider(c)
        small = fitted("£", spec.face, spec.capital * 0.9, (c.right - x) * 0.8)
        y = cell.bottom - spec.capital * 0.5
        if spec.split == "alone":
            y = (cell.top + cell.bottom + small) / 2
            if not gap and spec.heading != "reversed":
                canvas.line((x, cell.top), (x, cell.bottom), spec.pence)
            upper = cell.top
        elif spec.split == "parted":
            upper = cell.bottom - spec.capital * 1.9
            heading(canvas, spec, Rect(cell.left, cell.top, cell.right, upper), c.heading, colour, rng)
            canvas.place("heading", Rect(cell.left, cell.top, cell.right, upper))
            if not gap:
                rule = Rule(
                    spec.pence.look,
                    spec.pence.thick,
                    colour if spec.heading == "reversed" else spec.pence.colour,
                )
                canvas.line((x, upper), (x, cell.bottom), rule)
                if rng.random() < 0.7:
                    canvas.line((cell.left, upper), (cell.right, upper), rule)
        else:
            upper = cell.bottom - spec.capital * 1.7
            heading(canvas, spec, Rect(cell.left, cell.top, cell.right, upper), c.heading, colour, rng)
            canvas.place("heading", Rect(cell.left, cell.top, cell.right, upper))
        for words, a, b in zip(spec.parts, (cell.left, x), (x, cell.right), strict=True):
            name = words if canvas.currency == "£" or words[0] != "p" else "c"
            canvas.text(
                (a + b) / 2, y, name, spec.face, fitted(name, spec.face, small, b - a - 2), colour, "m"
            )
        canvas.place("heading", Rect(cell.left, upper, x, cell.bottom))
        canvas.place("heading", Rect(x, upper, cell.right, cell.bottom))
    return colour


def _over(canvas: Canvas, style: Style, grid: Grid, colour: Colour) -> None:
    """Print the heading over several columns; the rules between them were drawn through it, so wipe it first."""
    spec, rect = grid.spec, grid.rect
    if spec.group is None:
        return
    first, last, words = spec.group
    left, right = spec.columns[first].left, spec.columns[last].right
    cell = Rect(left, rect.top, right, rect.top + spec.capital * 1.8)
    middle = canvas.image[round(cell.top + 3), round(left + 6)].tolist()
    canvas.fill(cell.inset(3, 2), (middle[0], middle[1], middle[2]))
    size = fitted(words, spec.face, spec.capital, cell.width - 4)
    canvas.text(cell.middle[0], (cell.top + cell.bottom + size) / 2, words, spec.face, size, colour, "m")
    rule = (
        spec.column if spec.heading != "reversed" else Rule("solid", max(1.0, spec.column.thick), style.paper)
    )
    canvas.line((left, cell.bottom), (right, cell.bottom), rule)
    canvas.place("heading", cell)


def heading(canvas: Canvas, spec: Spec, cell: Rect, words: str, colour: Colour, rng: Generator) -> None:
    """Print a heading into its cell: in one line, in two or three, smaller, or running upwards."""
    room = cell.width - 3
    if spec.upright and cell.width < spec.capital * 3.2 and len(words) > 3:
        capital = fitted(words, spec.face, min(spec.capital, cell.width * 0.6), cell.height - 4)
        canvas.text(*cell.middle, words, spec.face, capital, colour, turn=1)
        return
    parts, capital = wrapped(
        words, spec.face, spec.capital, room, max(1, int((cell.height - 2) / (spec.capital * 1.45)))
    )
    step = capital * 1.5
    y = (cell.top + cell.bottom + capital - step * (len(parts) - 1)) / 2
    for part in parts:
        if spec.centred:
            canvas.text(cell.middle[0], y, part, spec.face, capital, colour, "m")
        else:
            canvas.text(cell.left + 3, y, part, spec.face, capital, colour)
        y += step


def wrapped(words: str, face: Face, capital: float, room: float, most: int) -> tuple[list[str], float]:
    """Break `words` into at most `most` lines so that they can be printed large; return lines and capitals."""
    best = [words], fitted(words, face, capital, room)
    pieces = words.split(" ")
    if best[1] >= capital or len(pieces) == 1:
        return best
    for n in range(2, min(most, len(pieces)) + 1):
        lines: list[str] = []
        target = len(words) / n
        for piece in pieces:
            if lines and (len(lines[-1]) + len(piece) <= target + 2 or len(lines) == n):
                lines[-1] += " " + piece
            else:
                lines.append(piece)
        size = min(fitted(line, face, capital, room) for line in lines)
        if size > best[1] * 1.05:
            best = lines, size
    return best


def _cell(
    canvas: Canvas, style: Style, grid: Grid, c: Column, k: int, row: int, line: Line | None, writer: Writer,
    rng: Generator,
) -> None:  # fmt: skip
    """Draw one cell: its own box if it has one, what is printed in it, its places, what is written in it."""
    spec = grid.spec
    inset = spec.gap / 2 if spec.mode == "boxes" else 0.0
    deep = spec.gap / 2 if spec.mode in ("boxes", "strips") else 0.0
    _, y, _, foot = _place_of(grid, c, k)
    cell = Rect(c.left + inset, y + deep, c.right - inset, foot - deep - _below(grid))
    x = None if c.divider is None else _divider(c)
    halves: tuple[Rect, Rect] | None = None
    if x is not None:
        apart = spec.gap / 2 if spec.mode == "boxes" and spec.dotted else 0.0
        halves = (
            Rect(cell.left, cell.top, x - apart, cell.bottom),
            Rect(x + apart, cell.top, cell.right, cell.bottom),
        )
    if spec.mode == "boxes":
        radius = min(spec.rounded, cell.height * 0.3)
        parts = halves if halves is not None and spec.dotted else (cell,)
        for part in parts:
            if spec.filled:
                canvas.panel(part, spec.cell, radius)
            else:
                canvas.box(part, spec.row, radius)
        if x is not None and spec.dotted:
            canvas.text(x, cell.bottom - 0.3 * cell.height, ".", spec.face, spec.capital, style.mix(1.0), "m")
        elif x is not None:
            canvas.line((x, cell.top), (x, cell.bottom), spec.pence)
    if halves is None:
        canvas.place(c.place, cell, None if c.kind == "row" else row)
    else:
        canvas.place(c.place, halves[0], row)
        canvas.place(c.place, halves[1], row, pence=True)
    if spec.labelled and c.kind not in ("row", *spec.printed):
        size = fitted(
            c.heading, spec.face, max(4.6, min(0.75 * spec.capital, 0.2 * cell.height)), cell.width - 4
        )
        if spec.mode == "underlines":
            foot = cell.bottom + 1.5 * size
            canvas.text((cell.left + cell.right) / 2, foot, c.heading, spec.face, size, style.mix(0.85), "m")
        else:
            canvas.text(cell.left + 2, cell.top + 1.4 * size, c.heading, spec.face, size, style.mix(0.85))
    if c.comb:
        for i in range(1, c.comb):
            at = cell.left + i * cell.width / c.comb
            canvas.line((at, cell.top), (at, cell.bottom), spec.pence)
    if c.guide:
        capital = min(spec.capital, cell.height * 0.45)
        foot = (cell.top + cell.bottom + capital) / 2
        if c.guide[0] != ".":
            canvas.text(cell.left + 3, foot, c.guide[0], spec.face, capital, style.mix(0.7))
        if "." in c.guide:
            canvas.text(cell.left + 0.62 * cell.width, foot, ".", spec.face, capital, style.mix(0.9))
    if c.kind == "row":
        capital = fitted(str(row), style.plain, min(style.capital, cell.height * 0.5), cell.width * 0.7)
        canvas.text(
            cell.middle[0],
            (cell.top + cell.bottom + capital) / 2,
            str(row),
            style.plain,
            capital,
            style.mix(0.9),
            "m",
        )
        return
    if c.kind in spec.printed:
        _print(canvas, style, grid, c, cell, rng)
        return
    if line is not None:
        _write(canvas, c, cell, x, line, writer, rng)


def _print(canvas: Canvas, style: Style, grid: Grid, c: Column, cell: Rect, rng: Generator) -> None:
    capital = min(style.capital * 0.85, cell.height * 0.42)
    pence = int(rng.integers(5, 240)) * 5
    text = {
        "description": wording.goods(rng).capitalize(),
        "code": code(rng, _CODES[len(grid.spec.columns) % len(_CODES)]),
        "unit_price": f"{'£' if len(grid.spec.columns) % 2 else ''}{pence / 100:.2f}",
        "size": str(int(rng.integers(1, 20)) * 50) + "g",
        "page": str(int(rng.integers(2, 60))),
    }[c.kind]
    capital = fitted(text, style.plain, capital, cell.width - 4)
    foot = (cell.top + cell.bottom + capital) / 2
    if c.kind == "description":
        canvas.text(cell.left + 4, foot, text, style.plain, capital, style.mix(0.95))
    else:
        canvas.text(cell.middle[0], foot, text, style.plain, capital, style.mix(0.95), "m")


def _write(
    canvas: Canvas, c: Column, cell: Rect, x: float | None, line: Line, writer: Writer, rng: Generator
) -> None:
    """Write what belongs into a cell."""
    inner = cell.inset(min(3.0, 0.06 * cell.width), 1)
    if c.kind == "description":
        if rng.random() < 0.04:
            writer.ditto(canvas, inner, rng)
        else:
            writer.write(canvas, line.goods, inner, rng)
    elif c.kind == "code":
        _code(canvas, c, inner, line, writer, rng)
    elif c.kind in ("quantity", "page"):
        text = str(line.quantity if c.kind == "quantity" else int(rng.integers(2, 130)))
        if c.comb and len(text) <= c.comb:
            wide = inner.width / c.comb
            for i, d in enumerate(text, c.comb - len(text)):
                part = Rect(inner.left + i * wide, inner.top, inner.left + (i + 1) * wide, inner.bottom)
                writer.number(canvas, d, part, rng, "m")
        else:
            writer.number(canvas, text, inner, rng)
    elif c.kind in ("size", "other"):
        chance = rng.random()
        if chance < 0.45:
            writer.write(canvas, wording.small_word(rng), inner, rng, "m")
        elif chance < 0.55 and c.kind == "other":
            writer.tick(canvas, *inner.middle, 0.5 * writer.tall, rng)
        elif chance < 0.8:
            writer.number(canvas, str(int(rng.integers(1, 45))), inner, rng)
    elif c.kind == "unit_price":
        if line.price is not None and rng.random() < 0.97:
            money(canvas, cell, x, line.price, writer, rng)
    elif line.total is not None and rng.random() < 0.96:
        money(canvas, cell, x, line.total, writer, rng)


def _code(canvas: Canvas, c: Column, inner: Rect, line: Line, writer: Writer, rng: Generator) -> None:
    if not c.comb:
        if line.code[:1].isdigit() and not any(ch.isalpha() for ch in line.code):
            writer.number(canvas, line.code, inner, rng)
        else:
            writer.write(canvas, line.code, inner, rng)
        return
    wide = inner.width / c.comb
    digits = [d for d in line.code if d.isdigit()][: c.comb]
    for i, d in enumerate(digits):
        writer.number(
            canvas,
            d,
            Rect(inner.left + i * wide, inner.top, inner.left + (i + 1) * wide, inner.bottom),
            rng,
            "m",
        )


def money(canvas: Canvas, cell: Rect, x: float | None, pence: int, writer: Writer, rng: Generator) -> None:
    """Write an amount into a box, or its pounds and pence into the two halves of one."""
    if rng.random() < 0.015:  # written over something crossed out
        writer.scribble(canvas, Rect(cell.left, cell.top, cell.left + 0.6 * cell.width, cell.bottom), rng)
    if x is None:
        writer.number(canvas, amount(pence, writer, rng), cell.inset(min(3.0, 0.06 * cell.width), 1), rng)
        return
    pounds = Rect(cell.left + 2, cell.top + 1, x - 1, cell.bottom - 1)
    rest = Rect(x + 1, cell.top + 1, cell.right - 1, cell.bottom - 1)
    if pence >= 100 or rng.random() < 0.5:
        writer.number(canvas, str(pence // 100), pounds, rng, "r" if rng.random() < 0.7 else "m")
    if pence % 100 or rng.random() < 0.8:
        writer.number(canvas, f"{pence % 100:02d}", rest, rng, "m" if rng.random() < 0.6 else "l")
    elif rng.random() < 0.5:
        writer.number(canvas, "-", rest, rng, "m")


def draw_lines(rng: Generator, rows: int, spec: Spec) -> list[Line | None]:
    """Draw what the customer ordered: mostly the first rows, on printed lists any rows."""
    if rng.random() < 0.1 and (spec.head or spec.labelled) and spec.mode != "none":
        return []
    form = str(rng.choice(_CODES if rng.random() < 0.85 else _LETTERED))
    most = min(rows, 14)
    share = rng.random()
    filled = (
        rows
        if share < 0.15
        else int(rng.integers(1, most + 1))
        if share < 0.8
        else int(rng.integers(1, min(4, rows) + 1))
    )
    if spec.mode in ("none", "cols") or not (spec.head or spec.labelled):
        filled = max(filled, int(0.6 * rows))
    lines: list[Line | None] = []
    priced, summed = rng.random() < 0.95, rng.random() < 0.94
    for _ in range(filled):
        quantity = int(rng.integers(1, 4)) if rng.random() < 0.8 else int(rng.integers(1, 40))
        price = int(rng.integers(4, 400)) * 5 if rng.random() < 0.5 else int(rng.integers(0, 25)) * 100 + 99
        line = Line(
            quantity, price, quantity * price, code(rng, form), wording.goods(rng), bool(rng.random() < 0.03)
        )
        if not priced:
            line.price = None
        if not summed:
            line.total = None
        lines.append(line)
    if spec.printed:
        gaps: list[Line | None] = [None] * rows
        for k, line in zip(sorted(rng.choice(rows, filled, replace=False)), lines, strict=True):
            gaps[int(k)] = line
        return gaps
    if rng.random() < 0.06 and len(lines) > 2:
        lines[int(rng.integers(1, len(lines)))] = None
    return lines
