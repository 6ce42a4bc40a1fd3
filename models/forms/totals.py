"""The totals of an order form: which boxes there are, where they stand, how they are labelled and filled in."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.random import Generator

from models.forms import wording
from models.forms.faces import Face
from models.forms.paper import Canvas, Rect, Rule, Style, cased, fitted
from models.forms.table import Grid, Line, money, wrapped
from models.forms.writing import Writer

_WRITTEN = {"goods": 0.8, "delivery": 0.75, "discount": 0.5, "deposit": 0.5, "other_total": 0.6, "total": 0.9}
_COUNTS = (
    "Number of items",
    "Total items",
    "No. of items",
    "Items",
    "Total quantity",
    "Items in all",
    "Total pieces",
)


@dataclass
class Entry:
    """One totals box: its kind, its label, what is written in it (pence; None where nothing is)."""

    kind: str
    label: str
    pence: int | None = None
    count: int | None = None


@dataclass
class Look:
    """The look of a totals block."""

    box: str
    """``box``, ``rows`` (boxes that share their rules), ``line`` (a line to write on), ``panel`` (a filled box)."""
    frame: Rule
    pence: Rule
    label: str
    """``left``, ``above``, ``inside`` or ``under``."""
    side: str
    """Labels set at the ``r``ight or ``l``eft of their room."""
    sign: str
    dot: bool
    divider: float | None
    face: Face
    strong: Face
    capital: float
    step: float
    gap: float
    rounded: float
    loud: str
    """How the total stands out: ``thick``, ``shaded``, ``tall``, ``reversed`` or not at all."""
    framed: bool
    """The labels stand in cells of their own."""
    parted: bool = False
    """Pounds and pence have boxes of their own with a printed point between."""
    leader: bool = False
    """Dots lead from label to box."""


def draw_entries(rng: Generator, style: Style, look_short: bool = False) -> list[Entry]:
    """Draw which totals boxes a form has, top to bottom."""
    if rng.random() < 0.02:
        return []
    if rng.random() < 0.22:
        kinds = ["total"]
    else:
        middle = [k for k, p in (("delivery", 0.6), ("discount", 0.3), ("deposit", 0.3)) if rng.random() < p]
        if rng.random() < 0.25:
            middle.reverse()
        kinds = (["goods"] if rng.random() < 0.72 else []) + middle + ["total"]
    if rng.random() < 0.13:
        kinds.insert(int(rng.integers(0, len(kinds) + 1)), "other_total")
    if rng.random() < 0.03:
        kinds.insert(1, kinds[0] if kinds[0] not in ("total", "goods") else "delivery")
    words = wording.SHORT_LABELS if look_short else wording.LABELS
    entries, used = [], set()
    signs = rng.random() < 0.07
    for k in kinds[:6]:
        for _ in range(6):
            label = wording.pick(rng, words[k] if rng.random() < 0.85 else wording.SHORT_LABELS[k])
            if label not in used:
                break
        used.add(label)
        if signs:
            label = {"delivery": "+ ", "discount": "− ", "deposit": "− ", "total": "= "}.get(
                k, ""
            ) + label.lstrip("+-− ")
        entries.append(Entry(k, cased(rng, style, label)))
    return entries


def fill_entries(rng: Generator, entries: list[Entry], lines: list[Line | None]) -> None:
    """Draw what the customer writes into the totals: sums, whether right or wrong."""
    goods = sum(line.total or 0 for line in lines if line is not None and not line.struck)
    if not goods and rng.random() < 0.8:
        return
    total = goods
    eager = rng.random() < 0.9
    for e in entries:
        if e.kind == "goods":
            value = goods
        elif e.kind == "delivery":
            value = int(rng.choice([150, 195, 250, 295, 350, 395, 99, 500, 0]))
            total += value
        elif e.kind in ("discount", "deposit"):
            value = int(rng.integers(1, 40)) * 25
            total -= value
        elif e.kind == "total":
            value = abs(total)
        else:
            value = int(rng.integers(1, 60))
        if not eager or rng.random() > _WRITTEN[e.kind]:
            continue
        if e.kind == "other_total" and "vat" not in e.label.lower():
            e.count = value
        else:
            e.pence = value if e.kind != "other_total" else value * 17


def draw_look(rng: Generator, style: Style, pitch: float, mode: str) -> Look:
    """Draw the look of a totals block beside a table whose rows are `pitch` pixels high."""
    label = str(rng.choice(["left", "above", "inside", "under"], p={
        "bar": [0.25, 0.4, 0.25, 0.1], "continuation": [0.97, 0.0, 0.03, 0.0], "aligned": [0.85, 0.03, 0.1, 0.02],
    }.get(mode, [0.6, 0.2, 0.15, 0.05])))  # fmt: skip
    step = max(pitch * float(rng.uniform(0.8, 1.35)), 5.0 * style.mm, 16.0)
    capital = style.capital * float(rng.uniform(0.75, 1.25))
    if label != "left":
        step = max(step, capital * 1.6 + 5.5 * style.mm)
    box = (
        "line"
        if mode == "line"
        else str(rng.choice(["box", "rows", "line", "panel"], p=[0.45, 0.35, 0.08, 0.12]))
    )
    if mode == "continuation" and rng.random() < 0.5:  # simply the table's next rows
        box, step = "rows", max(pitch, 14.0)
    return Look(
        leader=bool(rng.random() < 0.1), parted=bool(rng.random() < 0.25),
        box=box, frame=style.rule(rng, "column"), pence=style.rule(rng, "pence"), label=label,
        side="r" if rng.random() < 0.6 else "l",
        sign=str(rng.choice(["", "£", "£ "], p=[0.62, 0.28, 0.1])), dot=bool(rng.random() < 0.1),
        divider=float(rng.uniform(0.52, 0.68)) if rng.random() < 0.25 and label == "left" else None,
        face=style.plain if rng.random() < 0.5 else style.bold, strong=style.bold, capital=capital, step=step,
        gap=0.0 if box == "rows" else float(rng.uniform(0.3, 2.0)) * style.mm,
        rounded=float(rng.uniform(0.8, 5.0)) * style.mm if rng.random() < 0.2 else 0.0,
        loud=str(rng.choice(["", "thick", "shaded", "tall", "reversed"], p=[0.4, 0.2, 0.17, 0.13, 0.1])),
        framed=bool(rng.random() < 0.35),
    )  # fmt: skip


def height(entries: list[Entry], look: Look) -> float:
    """Return how high the boxes stand one below the other."""
    extra = 0.5 * look.step if look.loud == "tall" else 0.0
    return len(entries) * (look.step + look.gap) + extra


def continuation(
    canvas: Canvas,
    style: Style,
    grid: Grid,
    look: Look,
    entries: list[Entry],
    writer: Writer,
    rng: Generator,
    top: float,
) -> Rect:
    """Draw the totals as further rows under the last column; return what they cover, labels included."""
    last, spec = grid.last, grid.spec
    at = next(i for i, c in enumerate(spec.columns) if c is last)
    starts = [x for x in grid.xs[: at + 1] if last.left - x > look.capital * 6]
    left = starts[int(rng.integers(len(starts)))] if starts and rng.random() < 0.7 else grid.rect.left
    if not starts:
        left = grid.rect.left
    divider = last.divider if last.divider is not None and rng.random() < 0.8 else None
    if spec.mode in ("grid", "rows", "columns") and rng.random() < 0.4:
        _extend(canvas, grid, look, len(entries), top, left if rng.random() < 0.5 else grid.rect.left, rng)
    y = top
    for i, e in enumerate(entries):
        tall = look.step * (1.5 if look.loud == "tall" and i == len(entries) - 1 else 1.0)
        box = Rect(last.left, y, last.right, y + tall)
        room = Rect(left, y, last.left, y + tall)
        counted = next(
            (c for c in spec.columns[:at] if c.kind == "quantity" and c.left > left + look.capital * 7), None
        )
        if (
            e.kind == "other_total"
            and e.label.lower() in {w.lower() for w in _COUNTS}
            and counted is not None
        ):
            box, room = Rect(counted.left, y, counted.right, y + tall), Rect(left, y, counted.left, y + tall)
            _draw(canvas, style, look, e, box, room, None, writer, rng, loud=False)
        else:
            _draw(
                canvas,
                style,
                look,
                e,
                box,
                room,
                divider,
                writer,
                rng,
                loud=e.kind == "total" and len(entries) > 1,
            )
        y += tall + (look.gap if look.box != "rows" else 0.0)
    return Rect(left, top, last.right, y)


def _extend(canvas: Canvas, grid: Grid, look: Look, n: int, top: float, left: float, rng: Generator) -> None:
    """Draw the table's own frame and rules on around the rows of the totals."""
    spec = grid.spec
    gap = look.gap if look.box != "rows" else 0.0
    tall = 1.5 if look.loud == "tall" else 1.0
    bottom = top + (n - 1) * (look.step + gap) + tall * look.step
    frame = spec.frame or spec.column
    if rng.random() < 0.2:
        canvas.fill(Rect(left, top, grid.last.left, bottom), spec.shade)
    canvas.box(Rect(left, top, grid.last.right, bottom), frame)
    if not gap:
        for k in range(1, n):
            canvas.line((left, top + k * look.step), (grid.last.left, top + k * look.step), spec.row)
    if spec.mode == "grid" and left == grid.rect.left and rng.random() < 0.25:
        for c in spec.columns[1:]:  # the columns run on beside the labels
            if c.right < left + 0.35 * (grid.last.left - left):
                canvas.line((c.right, top), (c.right, bottom), spec.column)


def stack(
    canvas: Canvas,
    style: Style,
    look: Look,
    entries: list[Entry],
    rect: Rect,
    share: float,
    writer: Writer,
    rng: Generator,
) -> None:
    """Draw the boxes one below the other in `rect`, each `share` of its width, its label to the left of it."""
    step = min(look.step, (rect.height - look.gap * len(entries)) / max(1, len(entries)))
    y = rect.top
    for e in entries:
        left = rect.left + (1 - share) * rect.width if look.label == "left" else rect.left
        box, room = Rect(left, y, rect.right, y + step), Rect(rect.left, y, left, y + step)
        _draw(
            canvas,
            style,
            look,
            e,
            box,
            room,
            look.divider,
            writer,
            rng,
            loud=e.kind == "total" and len(entries) > 1,
        )
        y += step + look.gap


def bar(
    canvas: Canvas, style: Style, look: Look, entries: list[Entry], rect: Rect, writer: Writer, rng: Generator
) -> None:
    """Draw the boxes side by side in `rect`."""
    shares = rng.uniform(0.8, 1.3, len(entries))
    xs = rect.left + np.r_[0, np.cumsum(shares)] / shares.sum() * rect.width
    for e, (a, b) in zip(entries, pairwise(xs.tolist()), strict=True):
        right = b - (look.gap if b < rect.right - 1 else 0)
        left = a + (right - a) * 0.42 if look.label == "left" else a
        box, room = Rect(left, rect.top, right, rect.bottom), Rect(a, rect.top, left, rect.bottom)
        _draw(
            canvas,
            style,
            look,
            e,
            box,
            room,
            look.divider,
            writer,
            rng,
            loud=e.kind == "total" and len(entries) > 1,
        )


def _draw(
    canvas: Canvas, style: Style, look: Look, e: Entry, box: Rect, room: Rect, divider: float | None, writer: Writer,
    rng: Generator, *, loud: bool,
) -> None:  # fmt: skip
    """Draw one box with its label, note its places, write what the customer writes."""
    face = look.strong if loud or look.loud == "reversed" else look.face
    colour, capital = style.mix(1.0), look.capital
    if look.label == "left":
        capital = min(capital, box.height * 0.5)
        lines = max(1, int(box.height / (capital * 1.5)))
        if wrapped(e.label, face, capital, room.width - 6, lines)[1] < 0.7 * capital:
            e.label = cased(rng, style, wording.pick(rng, wording.SHORT_LABELS[e.kind]))
        if loud and look.loud == "reversed" and room.width > 4:
            canvas.fill(room, style.mix(0.9))
            colour = style.paper
        elif look.framed and room.width > 4 and look.box == "rows":
            canvas.box(room, look.frame)
        parts, capital = wrapped(e.label, face, capital, room.width - 6, lines)
        foot = (box.top + box.bottom + capital - 1.4 * capital * (len(parts) - 1)) / 2
        inks = []
        for part in parts:
            x = room.right - 4 if look.side == "r" else room.left + 3
            inks.append(canvas.text(x, foot, part, face, capital, colour, "r" if look.side == "r" else "l"))
            foot += 1.4 * capital
        _label(canvas, inks, box)
        if look.leader and look.side == "l" and len(inks) == 1 and room.right - inks[0].right > 14:
            dots = Rule("dotted", max(0.9, 0.3 * style.mm), style.mix(0.9))
            canvas.line((inks[0].right + 3, inks[0].bottom - 1), (room.right - 3, inks[0].bottom - 1), dots)
    elif look.label in ("above", "under"):
        if face.width(e.label, min(capital, box.height * 0.28)) > 1.4 * box.width:
            e.label = cased(rng, style, wording.pick(rng, wording.SHORT_LABELS[e.kind]))
        capital = fitted(e.label, face, min(capital, box.height * 0.28), box.width)
        strip = capital * 1.6
        foot = box.top + capital * 1.15 if look.label == "above" else box.bottom - capital * 0.3
        centred = look.side == "r"
        x = box.middle[0] if centred else box.left + 2
        above = look.label == "above"
        tab = Rect(
            box.left,
            box.top if above else box.bottom - strip,
            box.right,
            box.top + strip if above else box.bottom,
        )
        if loud and look.loud == "reversed":
            canvas.fill(tab, style.mix(0.9))
            colour = style.paper
        elif look.framed:
            canvas.box(tab, look.frame)
        inks = [canvas.text(x, foot, e.label, face, capital, colour, "m" if centred else "l")]
        box = (
            Rect(box.left, box.top + strip, box.right, box.bottom)
            if look.label == "above"
            else Rect(box.left, box.top, box.right, box.bottom - strip)
        )
        _label(canvas, inks, box)
    counts = e.kind == "other_total" and "vat" not in e.label.lower()
    x = None if divider is None or counts else box.left + divider * box.width
    halves: tuple[Rect, ...] = (box,)
    if x is not None:
        apart = 0.6 * style.mm if look.parted and look.box in ("box", "panel") else 0.0
        halves = (
            Rect(box.left, box.top, x - apart, box.bottom),
            Rect(x + apart, box.top, box.right, box.bottom),
        )
        if apart:
            for half in halves:
                _frame(canvas, style, look, half, loud)
            canvas.text(x, box.bottom - 0.3 * box.height, ".", face, look.capital, style.mix(1.0), "m")
        else:
            _frame(canvas, style, look, box, loud)
            canvas.line((x, box.top), (x, box.bottom), look.pence)
    else:
        _frame(canvas, style, look, box, loud)
    writing = box
    if look.label == "inside":
        capital = fitted(e.label, face, min(capital, box.height * 0.3), box.width - 6)
        canvas.text(box.left + 3, box.top + capital * 1.4, e.label, face, capital, colour)
        writing = Rect(box.left, box.top + capital * 1.5, box.right, box.bottom)
    if x is None and not counts:
        size = min(look.capital, writing.height * 0.5)
        foot = (writing.top + writing.bottom + size) / 2
        if look.sign:
            ink = canvas.text(writing.left + 3, foot, "£", face, size, style.mix(0.9))
            writing = Rect(min(ink.right + 1, writing.right - 20), writing.top, writing.right, writing.bottom)
        if look.dot:
            canvas.text(box.left + 0.64 * box.width, foot, ".", face, size * 1.2, style.mix(1.0))
    for k, half in enumerate(halves):
        canvas.place(e.kind, half, pence=k == 1)
    if e.count is not None:
        writer.number(canvas, str(e.count), writing.inset(3, 1), rng)
    elif e.pence is not None:
        money(canvas, writing, x, e.pence, writer, rng)
        if e.kind == "total" and rng.random() < 0.07:
            writer.stress(canvas, box, rng)


def _label(canvas: Canvas, inks: list[Rect], box: Rect) -> None:
    left, top = min(i.left for i in inks), min(i.top for i in inks)
    right, bottom = max(i.right for i in inks), max(i.bottom for i in inks)
    if right > box.left and left < box.right:  # above or under its box: not into it
        top, bottom = (top, min(bottom, box.top)) if top < box.top else (max(top, box.bottom), bottom)
        if left < box.left and bottom <= top:  # beside it, a hair too wide
            top, bottom, right = min(i.top for i in inks), max(i.bottom for i in inks), box.left
    if right > left and bottom > top:
        canvas.place("label", Rect(left, top, right, bottom))


def _frame(canvas: Canvas, style: Style, look: Look, box: Rect, loud: bool) -> None:
    rule = look.frame
    if loud and look.loud == "thick":
        rule = Rule("solid", max(2.0, 2.2 * rule.thick), rule.colour)
    if loud and look.loud == "shaded":
        canvas.panel(box, style.mix(0.12, style.second), look.rounded)
    if look.box == "panel":
        white = min(style.paper) < 225
        canvas.panel(box, (251, 251, 250) if white else style.mix(0.09, style.second), look.rounded)
    elif look.box == "line":
        canvas.line((box.left + 2, box.bottom - 2), (box.right, box.bottom - 2), rule)
        return
    if look.box != "panel" or look.loud:
        canvas.box(box, rule, look.rounded)
