"""All that a form carries besides its table and totals: names, blurbs, small print, and boxes of other uses."""

import cv2
import numpy as np
from numpy.random import Generator

from models.forms import wording
from models.forms.paper import Canvas, Rect, Rule, Style, cased, fitted
from models.forms.table import wrapped
from models.forms.writing import Writer

BLOCKS = {
    "title": 3.0, "customer": 3.0, "serial": 0.9, "dated": 0.8, "blurb": 0.9, "terms": 1.2, "logo": 0.9, "advert": 0.8,
    "office": 1.5, "payment": 1.2, "chart": 1.8, "calendar": 1.8, "bands": 1.3, "barcode": 0.9, "member": 0.9,
    "days": 0.8, "sign": 0.8, "stamps": 1.1, "friends": 1.3, "list": 1.8,
}  # fmt: skip
"""What a block weighs when room is shared out."""
DECOYS = (
    "office",
    "payment",
    "chart",
    "calendar",
    "bands",
    "member",
    "days",
    "stamps",
    "friends",
    "barcode",
    "list",
)


def fill(
    canvas: Canvas, style: Style, rect: Rect, blocks: list[str], writer: Writer, rng: Generator, filled: bool
) -> None:
    """Share `rect` out among `blocks` and draw them; a block whose part is too small is left out."""
    if not blocks or rect.width < 6 * style.mm or rect.height < 3 * style.mm:
        return
    if len(blocks) == 1:
        part = rect.inset(0.8 * style.mm, 0.6 * style.mm)
        _DRAW[blocks[0]](canvas, style, part, writer, rng, filled)
        return
    cut = int(rng.integers(1, len(blocks)))
    first, rest = blocks[:cut], blocks[cut:]
    weight = sum(BLOCKS[b] for b in first)
    share = weight / (weight + sum(BLOCKS[b] for b in rest))
    share = float(np.clip(share + rng.normal(0, 0.06), 0.2, 0.8))
    if rect.width > rect.height * float(rng.uniform(1.6, 3.6)):
        x = rect.left + share * rect.width
        parts = Rect(rect.left, rect.top, x, rect.bottom), Rect(x, rect.top, rect.right, rect.bottom)
    else:
        y = rect.top + share * rect.height
        parts = Rect(rect.left, rect.top, rect.right, y), Rect(rect.left, y, rect.right, rect.bottom)
    for part, names in zip(parts, (first, rest), strict=True):
        fill(canvas, style, part, names, writer, rng, filled)


_NOTES = (
    "please ring bell",
    "thank you",
    "back Tues",
    "leave next door",
    "cash in env.",
    "2 more pls",
    "no rush",
    "see over",
)


def notes(canvas: Canvas, rect: Rect, writer: Writer, rng: Generator) -> None:
    """Scribble a message or a sum into free room: writing that belongs to no box."""
    if rect.width < 60 or rect.height < 20:
        return
    tall = min(rect.height, 1.8 * writer.tall)
    y = rect.top + float(rng.uniform(0, 1)) * (rect.height - tall)
    part = Rect(rect.left + float(rng.uniform(0, 0.4)) * rect.width, y, rect.right, y + tall)
    if rng.random() < 0.6:
        writer.write(canvas, wording.pick(rng, _NOTES), part, rng, size=1.1)
    else:
        a, b = rng.integers(1, 60, 2)
        writer.number(
            canvas, f"{a}.{b:02d}" if rng.random() < 0.6 else f"{a}x{b}={a * b}", part, rng, "l", 0.9
        )


def _lines(style: Style, rect: Rect, share: float = 1.0, least: float = 5.0) -> float:
    return float(np.clip(style.capital * share, least, max(least, rect.height * 0.5)))


def _title(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    loud = rng.random() < 0.2
    ink = style.mix(1.0, style.second if rng.random() < 0.5 else style.ink)
    if loud:
        canvas.panel(rect, ink, float(rng.uniform(0, 3)) * style.mm)
        ink = style.paper
    words = [cased(rng, style, wording.firm(rng))] if rng.random() < 0.8 else []
    if rng.random() < 0.85 or not words:
        words.append(wording.pick(rng, wording.TITLES))
    if rng.random() < 0.4:
        words.append(wording.blurb(rng))
    sizes = [
        style.capital * float(rng.uniform(1.3, 2.8)),
        style.capital * float(rng.uniform(1.0, 1.9)),
        style.capital * 0.75,
    ]
    if len(words) > 1 and rng.random() < 0.25:
        words[0], words[1] = words[1], words[0]
    anchor = str(rng.choice(["l", "m", "r"], p=[0.45, 0.45, 0.1]))
    x = {"l": rect.left + 2, "m": rect.middle[0], "r": rect.right - 2}[anchor]
    y = rect.top
    for k, text in enumerate(words):
        face = (style.title, style.bold, style.plain)[k]
        capital = fitted(text, face, min(sizes[k], rect.height * (0.62, 0.4, 0.2)[k]), rect.width - 4)
        y += capital * 1.35
        if y > rect.bottom + 2:
            break
        canvas.text(x, y, text, face, capital, ink, anchor)
        y += capital * 0.4


def _customer(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital = _lines(style, rect, 0.9)
    pitch = max(capital * 2.1, 5.0 * style.mm * float(rng.uniform(0.9, 1.5)))
    n = int(np.clip(rect.height // pitch, 1, int(rng.integers(2, 7))))
    if rect.height < pitch * 0.8:
        return
    pitch = min(pitch, rect.height / n)
    boxed = rng.random() < 0.25
    look = str(rng.choice(["line", "dotted", "none", "boxes"], p=[0.4, 0.35, 0.1, 0.15]))
    rule = style.rule(rng, "row")
    rule = Rule("dotted" if look == "dotted" else "solid", rule.thick, rule.colour)
    labels = ["Name", "Address"] if rng.random() < 0.7 else []
    while len(labels) < n:
        labels.append(wording.pick(rng, wording.FIELDS))
    bare = rng.random() < 0.1
    right = rect.right if rng.random() < 0.6 else rect.left + rect.width * float(rng.uniform(0.6, 1))
    y, widest, top = rect.top, rect.left, rect.top
    x = rect.left + (0.02 * rect.width + 4 if boxed else 0)
    for k in range(n):
        blank = k > 1 and rng.random() < 0.3
        foot = y + pitch * 0.78
        start = x
        if not blank and not bare:
            label = cased(rng, style, labels[k]) + (":" if rng.random() < 0.4 else "")
            ink = canvas.text(x, foot, label, style.plain, min(capital, pitch * 0.4), style.mix(0.9))
            start = ink.right + 4
        end = right - (4 if boxed else 0)
        if end - start > 12:
            if look in ("line", "dotted"):
                canvas.line((start, foot + 1), (end, foot + 1), rule)
            elif look == "boxes":
                canvas.box(Rect(start, y + 1, end, y + pitch - 1), rule)
            if filled and rng.random() < 0.85:
                text = (
                    wording.person(rng)
                    if k == 0
                    else wording.street(rng)
                    if k < 3
                    else wording.small_word(rng)
                )
                writer.write(canvas, text, Rect(start, y, end, y + pitch), rng, size=1.1)
        widest = max(widest, end)
        y += pitch
    area = Rect(rect.left, top, widest + (3 if boxed else 0), min(y, rect.bottom))
    if boxed:
        canvas.box(area, rule, float(rng.choice([0, 2])) * style.mm)
    canvas.place("customer", area)


def _serial(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    digits = "".join(str(int(d)) for d in rng.integers(0, 10, int(rng.integers(3, 7))))
    word = wording.pick(rng, wording.SERIALS)
    face = style.fonts.plain[int(rng.integers(len(style.fonts.plain)))] if rng.random() < 0.5 else style.bold
    red = (190, 40, 45) if rng.random() < 0.45 else style.ink
    capital = min(style.capital * float(rng.uniform(0.9, 1.9)), rect.height * 0.7)
    wide = (
        face.width(digits, capital)
        + (style.plain.width(word, capital * 0.85) + capital * 0.5 if word else 0)
        + 4
    )
    capital *= min(1.0, 0.95 * rect.width / wide)
    wide *= min(1.0, 0.95 * rect.width / wide)
    if capital < 4.5:
        return
    anchor = rng.random()
    left = (
        rect.right - wide - 3
        if anchor < 0.5
        else rect.left + 3
        if anchor < 0.75
        else rect.middle[0] - wide / 2
    )
    foot = rect.top + min(
        rect.height * 0.9, capital * 1.4 + rng.uniform(0, 0.4) * max(0, rect.height - capital * 1.4)
    )
    x = left
    if word:
        x = canvas.text(left, foot, word, style.plain, capital * 0.85, style.mix(0.9)).right + capital * 0.5
    ink = canvas.text(x, foot, digits, face, capital, red)
    if rng.random() < 0.15:
        canvas.box(Rect(ink.left - 3, ink.top - 3, ink.right + 3, ink.bottom + 3), style.rule(rng, "any"))
    canvas.place("serial", Rect(ink.left - 2, ink.top - 2, ink.right + 2, ink.bottom + 2))


def _dated(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital = _lines(style, rect, 0.85)
    y = rect.top + capital * 1.8
    while y < rect.bottom:
        ink = canvas.text(
            rect.left + 2,
            y,
            cased(rng, style, wording.pick(rng, wording.DATED)),
            style.plain,
            capital,
            style.mix(0.9),
        )
        end = min(rect.right, ink.right + 28 * style.mm)
        if end - ink.right > 14:
            canvas.line((ink.right + 3, y + 1), (end, y + 1), style.rule(rng, "row"))
            if filled and rng.random() < 0.7:
                text = f"{int(rng.integers(1, 31))}{'/' if rng.random() < 0.6 else '-'}{int(rng.integers(1, 13))}"
                writer.number(canvas, text, Rect(ink.right + 4, y - capital * 1.8, end, y + 1), rng, "l")
        if rng.random() < 0.6:
            return
        y += capital * 2.4


def _blurb(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital = _lines(style, rect, float(rng.uniform(0.6, 1.0)))
    face = style.plain if rng.random() < 0.7 else style.bold
    y = rect.top + capital * 1.2
    centred = rng.random() < 0.4
    for _ in range(int(rng.integers(1, 4))):
        parts, size = wrapped(wording.blurb(rng), face, capital, rect.width - 3, 3)
        for part in parts:
            if y > rect.bottom:
                return
            canvas.text(
                rect.middle[0] if centred else rect.left + 2,
                y,
                part,
                face,
                size,
                style.mix(0.9),
                "m" if centred else "l",
            )
            y += capital * 1.5


def _terms(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital = max(4.2, style.capital * float(rng.uniform(0.45, 0.65)))
    words = ". ".join(wording.terms(rng).capitalize() for _ in range(int(rng.integers(2, 7)))).split(" ")
    y, line = rect.top + capital * 1.2, ""
    ink = style.mix(float(rng.uniform(0.6, 0.95)))
    for word in words:
        if line and style.plain.width(f"{line} {word}", capital) > rect.width:
            canvas.text(rect.left, y, line, style.plain, capital, ink)
            y, line = y + capital * 1.65, ""
            if y > rect.bottom:
                return
        line = f"{line} {word}".strip()
    canvas.text(rect.left, y, line, style.plain, capital, ink)


def _logo(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    size = min(rect.width, rect.height, 26 * style.mm) * 0.48
    x, y = rect.middle
    ink = style.mix(float(rng.uniform(0.3, 1)), style.second)
    kind = int(rng.integers(5))
    centre = (round(x), round(y))
    if kind == 0:
        cv2.circle(
            canvas.image, centre, max(2, round(size)), ink, -1 if rng.random() < 0.5 else 2, cv2.LINE_AA
        )
    elif kind == 1:
        for a in np.arange(0, 2 * np.pi, 2 * np.pi / int(rng.integers(5, 9))):
            at = (round(x + 0.55 * size * np.cos(a)), round(y + 0.55 * size * np.sin(a)))
            cv2.circle(
                canvas.image,
                at,
                max(1, round(0.32 * size)),
                ink,
                -1 if rng.random() < 0.7 else 1,
                cv2.LINE_AA,
            )
    elif kind == 2:
        a = np.arange(10) * np.pi / 5 - np.pi / 2
        r = np.where(np.arange(10) % 2, 0.42, 1.0) * size
        points = np.stack([x + r * np.cos(a), y + r * np.sin(a)], 1)
        cv2.fillPoly(canvas.image, [np.round(points * 16).astype(np.int32)], ink, cv2.LINE_AA, 4)
    elif kind == 3:
        cv2.ellipse(
            canvas.image, centre, (round(size), max(2, round(size * 0.6))), 0, 0, 360, ink, 2, cv2.LINE_AA
        )
        initial = wording.firm(rng)[0]
        canvas.text(x, y + size * 0.35, initial, style.title, max(5.0, size * 0.7), ink, "m")
    else:
        for k in range(int(rng.integers(3, 6))):
            w = size * (1 - 0.18 * k)
            cv2.line(
                canvas.image,
                (round(x - w), round(y - size + k * size / 2)),
                (round(x + w), round(y - size + k * size / 2)),
                ink,
                2,
                cv2.LINE_AA,
            )


def _advert(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    part = Rect(
        rect.left,
        rect.top,
        min(rect.right, rect.left + 45 * style.mm),
        min(rect.bottom, rect.top + 22 * style.mm),
    )
    ink = style.mix(float(rng.uniform(0.4, 1.0)), style.second)
    loud = rng.random() < 0.5
    if loud:
        canvas.panel(part, ink, part.height * 0.4)
    else:
        canvas.box(part, style.rule(rng, "any"), float(rng.choice([0, 3])) * style.mm)
    text = wording.pick(rng, wording.ADVERTS)
    capital = fitted(text, style.title, part.height * 0.4, part.width * 0.85)
    canvas.text(
        part.middle[0],
        (part.top + part.bottom + capital) / 2,
        text,
        style.title,
        capital,
        style.paper if loud else ink,
        "m",
    )


def _office(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital = max(5.0, style.capital * 0.75)
    wide = min(rect.width, float(rng.uniform(35, 110)) * style.mm)
    columns = int(np.clip(wide // (13 * style.mm), 2, 7))
    head, pitch = capital * 2.0, max(5.5 * style.mm, capital * 2)
    title = rng.random() < 0.8
    rows = int(np.clip((rect.height - head * (1 + title)) // pitch, 0, int(rng.integers(1, 4))))
    if rows < 1:
        return
    left = rect.left if rng.random() < 0.5 else rect.right - wide
    area = Rect(left, rect.top, left + wide, rect.top + head * (1 + title) + rows * pitch)
    rule = style.rule(rng, "column")
    if rng.random() < 0.3:
        canvas.fill(area, style.mix(0.1, style.second))
    y = rect.top
    if title:
        text = wording.pick(rng, wording.OFFICE_TITLES)
        canvas.text(
            left + 3,
            y + capital * 1.5,
            text,
            style.bold,
            fitted(text, style.bold, capital, wide - 6),
            style.mix(0.9),
        )
        y += head
    names = rng.permutation(np.array(wording.OFFICE))[:columns]
    step = wide / columns
    for i, word in enumerate(names):
        canvas.text(
            left + (i + 0.5) * step,
            y + capital * 1.5,
            str(word),
            style.plain,
            fitted(str(word), style.plain, capital, step - 4),
            style.mix(0.9),
            "m",
        )
        canvas.line((left + i * step, y), (left + i * step, area.bottom), rule)
        for r in range(rows):
            if filled and rng.random() < 0.15:
                cell = Rect(
                    left + i * step, y + head + r * pitch, left + (i + 1) * step, y + head + (r + 1) * pitch
                )
                writer.write(canvas, wording.person(rng)[:2], cell, rng, "m")
    for r in range(rows + 1):
        canvas.line((left, y + head + r * pitch), (area.right, y + head + r * pitch), rule)
    canvas.box(area, rule)
    canvas.place("decoy", area)


def _payment(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital = max(5.0, style.capital * 0.8)
    ways = [str(w) for w in rng.permutation(np.array(wording.PAYMENTS))[: int(rng.integers(2, 6))]]
    side, x, y = capital * 1.5, rect.left, rect.top + capital * 1.6
    right = x
    if rng.random() < 0.7 and rect.height > capital * 4:
        ink = canvas.text(
            x, y, wording.pick(rng, wording.PAYMENT_TITLES), style.bold, capital, style.mix(1.0)
        )
        right, y = ink.right, y + capital * 2.2
    across = rng.random() < 0.6
    rule = style.rule(rng, "any")
    chosen = int(rng.integers(len(ways)))
    drawn = 0
    for k, way in enumerate(ways):
        need = style.plain.width(way, capital) + side + capital
        if x + need > rect.right and x > rect.left:
            x, y = rect.left, y + capital * 2.2
        if y > rect.bottom or x + need > rect.right:
            break
        tick = Rect(x, y - side * 0.85, x + side, y + side * 0.15)
        canvas.box(tick, rule)
        right = max(
            right, canvas.text(x + side + capital * 0.4, y, way, style.plain, capital, style.mix(0.9)).right
        )
        if filled and k == chosen and rng.random() < 0.6:
            writer.tick(canvas, *tick.middle, side * 0.7, rng)
        drawn += 1
        if across:
            x += need + capital
        else:
            y += capital * 2.2
    if drawn:
        canvas.place(
            "decoy",
            Rect(rect.left - 1, rect.top, min(right + 2, rect.right + 1), min(rect.bottom, y + capital)),
        )


def _printed_table(
    canvas: Canvas, style: Style, rect: Rect, cells: list[list[str]], rng: Generator, title: str = ""
) -> None:
    """Draw a small table whose contents are printed."""
    capital = max(4.6, style.capital * 0.7)
    wide = sum(
        max(style.plain.width(row[i], capital) for row in cells) + capital * 1.6 for i in range(len(cells[0]))
    )
    scale = min(1.0, rect.width / wide)
    if scale < 0.75:
        return
    capital *= scale
    pitch = capital * 2.0
    head = pitch if title else 0.0
    rows = int(min(len(cells), (rect.height - head) // pitch))
    if rows < 2:
        return
    wide = min(rect.width, wide * float(rng.uniform(1.0, 1.3)))
    left = rect.left if rng.random() < 0.6 else rect.right - wide
    if title:
        canvas.text(
            left,
            rect.top + capital * 1.4,
            title,
            style.bold,
            fitted(title, style.bold, capital, wide),
            style.mix(0.95),
        )
    y, step, rule = rect.top + head, wide / len(cells[0]), style.rule(rng, "row")
    area = Rect(left, y, left + wide, y + rows * pitch)
    lined = rng.random() < 0.65
    if rng.random() < 0.3:
        canvas.fill(Rect(left, y, left + wide, y + pitch), style.mix(0.2, style.second))
    for r in range(rows):
        for i, text in enumerate(cells[r]):
            face = style.bold if r == 0 else style.plain
            canvas.text(
                left + (i + 0.5) * step, y + (r + 0.72) * pitch, text, face, capital, style.mix(0.9), "m"
            )
        if lined:
            canvas.line((left, y + r * pitch), (left + wide, y + r * pitch), rule)
    if lined:
        for i in range(1, len(cells[0])):
            canvas.line((left + i * step, y), (left + i * step, area.bottom), rule)
        canvas.box(area, rule)
    canvas.place("decoy", Rect(left, rect.top, left + wide, area.bottom))


def _chart(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    n, start = int(rng.integers(3, 7)), int(rng.integers(4, 14))
    names = ["Size", "Chest", "Waist", "cm"] if rng.random() < 0.5 else ["UK", "EU", "US", "cm"]
    wide = int(rng.integers(2, 5))
    cells = [names[:wide]] + [
        [str(start + 2 * k), str(30 + start + 2 * k), str(24 + 2 * k), str(80 + 4 * k)][:wide]
        for k in range(n)
    ]
    if rng.random() < 0.5:
        cells = [list(row) for row in zip(*cells, strict=True)]
    _printed_table(canvas, style, rect, cells, rng, "Size chart" if rng.random() < 0.7 else "")


def _calendar(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    cells = [list("MTWTFSS")]
    day = 1 - int(rng.integers(0, 7))
    while day < 31:
        cells.append([str(d) if 1 <= d <= 31 else "" for d in range(day, day + 7)])
        day += 7
    month = wording.pick(
        rng, ("March", "April", "May", "June", "September", "October", "Collection days", "We call on")
    )
    _printed_table(canvas, style, rect, cells, rng, month)


def _bands(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    step = int(rng.choice([5, 10, 15, 25]))
    if rng.random() < 0.5:
        cells = [["Order", "P&P"]] + [
            [f"up to £{step * (k + 1)}", f"£{2 + k}.{'50' if k % 2 else '95'}"] for k in range(3)
        ]
        title = "Delivery rates"
    else:
        cells = [["Spend", "Points"]] + [[f"£{step * (k + 1)}", str(10 * (k + 1))] for k in range(4)]
        title = "Points table"
    _printed_table(canvas, style, rect, cells, rng, title if rng.random() < 0.7 else "")


def _list(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    cells = [["Item", "Price"] if rng.random() < 0.6 else ["Offers", "£"]]
    for _ in range(int(rng.integers(3, 9))):
        cells.append([wording.goods(rng).capitalize(), f"{int(rng.integers(10, 200)) * 5 / 100:.2f}"])
    _printed_table(canvas, style, rect, cells, rng, "Price list" if rng.random() < 0.5 else "")


def _barcode(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    wide, tall = min(rect.width, 34 * style.mm), min(rect.height * 0.8, 11 * style.mm)
    if wide < 60 or tall < 12:
        return
    left = rect.right - wide
    bars = np.cumsum(rng.integers(1, 4, int(wide)))
    for a, b in zip(bars[::2], bars[1::2], strict=False):
        if b >= wide - 2:
            break
        canvas.fill(Rect(left + a, rect.top, left + b, rect.top + tall), (35, 35, 38))
    canvas.place("decoy", Rect(left, rect.top, left + wide, rect.top + tall))


def _comb(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital = max(5.0, style.capital * 0.8)
    label = wording.pick(
        rng,
        (
            "Membership no.",
            "Club card",
            "Agent no.",
            "Account no.",
            "Card no.",
            "Postcode",
            "Date of birth",
            "Catalogue no. used",
        ),
    )
    n = int(rng.integers(4, 10))
    side = min(5.5 * style.mm, rect.width / n)
    ink = canvas.text(
        rect.left,
        rect.top + capital * 1.3,
        label,
        style.plain,
        fitted(label, style.plain, capital, rect.width),
        style.mix(0.9),
    )
    y, x = rect.top + capital * 1.9, rect.left
    if ink.right + n * side + 5 < rect.right and rng.random() < 0.6:
        y, x = rect.top, ink.right + 5
    if y + side > rect.bottom + 3:
        return
    rule = style.rule(rng, "any")
    gap = float(rng.choice([0.0, 2.0]))
    for k in range(n):
        cell = Rect(x + k * side, y, x + (k + 1) * side - gap, y + side)
        canvas.box(cell, rule)
        if filled and n < 8:
            writer.number(canvas, str(int(rng.integers(10))), cell, rng, "m")
    canvas.place("decoy", Rect(rect.left, rect.top, max(ink.right, x + n * side), max(y + side, ink.bottom)))


def _days(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    words = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat") if rng.random() < 0.6 else ("am", "pm", "Evening")
    capital = max(5.0, style.capital * 0.75)
    step = min(rect.width / len(words), 15 * style.mm)
    tall = min(rect.height, capital * 1.8 + 6 * style.mm)
    if step < capital * 2.6 or tall < capital * 3:
        return
    rule = style.rule(rng, "any")
    for i, word in enumerate(words):
        cell = Rect(
            rect.left + i * step, rect.top + capital * 1.8, rect.left + (i + 1) * step, rect.top + tall
        )
        canvas.text(
            cell.middle[0],
            rect.top + capital * 1.35,
            word,
            style.plain,
            fitted(word, style.plain, capital, step * 0.9),
            style.mix(0.9),
            "m",
        )
        canvas.box(cell, rule)
        if filled and rng.random() < 0.2:
            writer.tick(canvas, *cell.middle, cell.height * 0.35, rng)
    canvas.place("decoy", Rect(rect.left, rect.top, rect.left + len(words) * step, rect.top + tall))


def _sign(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital = max(5.0, style.capital * 0.8)
    tall = min(rect.height, 12 * style.mm)
    label = wording.pick(
        rng, ("Signature", "Signed", "Customer's signature", "Received by", "Sign here", "Signature of agent")
    )
    ink = canvas.text(
        rect.left,
        rect.top + tall * 0.8,
        label,
        style.plain,
        fitted(label, style.plain, capital, rect.width * 0.5),
        style.mix(0.9),
    )
    area = Rect(ink.right + 4, rect.top, min(rect.right, ink.right + 55 * style.mm), rect.top + tall)
    if area.width < 20:
        return
    if rng.random() < 0.3:
        canvas.box(area, style.rule(rng, "any"))
    else:
        canvas.line(
            (area.left, area.top + tall * 0.85), (area.right, area.top + tall * 0.85), style.rule(rng, "row")
        )
    if filled and rng.random() < 0.6:
        writer.scribble(canvas, area.inset(area.width * 0.15, tall * 0.15), rng)


def _stamps(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    n, side = int(rng.integers(4, 9)), 8.5 * style.mm
    columns = int(min(n, rect.width // side))
    rows = int(min(-(-n // max(1, columns)), rect.height // side))
    if columns < 2 or rows < 1:
        return
    rule, rounded = style.rule(rng, "any"), rng.random() < 0.5
    for r in range(rows):
        for i in range(columns):
            cell = Rect(
                rect.left + i * side,
                rect.top + r * side,
                rect.left + (i + 1) * side,
                rect.top + (r + 1) * side,
            ).inset(2)
            canvas.box(cell, rule, side / 2 if rounded else 0.0)
            if rng.random() < 0.5:
                canvas.text(
                    cell.middle[0],
                    cell.middle[1] + 4,
                    str(r * columns + i + 1),
                    style.plain,
                    max(5.0, side * 0.25),
                    style.mix(0.6),
                    "m",
                )
    canvas.place("decoy", Rect(rect.left, rect.top, rect.left + columns * side, rect.top + rows * side))


def _friends(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    capital, pitch = max(5.0, style.capital * 0.75), 7 * style.mm
    words = [
        ("Friend's name", "Telephone"),
        ("Catalogue", "Left", "Collected"),
        ("Visit", "Date", "Time"),
        ("Paid on", "Sum", "Left to pay"),
        ("Week", "Paid", "Initials"),
    ][int(rng.integers(5))]
    head = capital * 2
    rows = int(min(rng.integers(2, 5), (rect.height - head * 2) // pitch))
    wide = min(rect.width, 80 * style.mm)
    if rows < 1 or wide < 60:
        return
    title = wording.pick(
        rng, ("Introduce a friend", "Callers", "Savings club card", "Visits", "Payment record")
    )
    canvas.text(
        rect.left,
        rect.top + capital * 1.4,
        title,
        style.bold,
        fitted(title, style.bold, capital, wide),
        style.mix(0.95),
    )
    y, step, rule = rect.top + head, wide / len(words), style.rule(rng, "column")
    area = Rect(rect.left, y, rect.left + wide, y + head + rows * pitch)
    for i, word in enumerate(words):
        canvas.text(
            area.left + i * step + 3,
            y + capital * 1.4,
            word,
            style.plain,
            fitted(word, style.plain, capital, step - 5),
            style.mix(0.9),
        )
        if i:
            canvas.line((area.left + i * step, y), (area.left + i * step, area.bottom), rule)
    for r in range(rows):
        canvas.line((area.left, y + head + r * pitch), (area.right, y + head + r * pitch), rule)
        if filled and rng.random() < 0.25:
            writer.write(
                canvas,
                wording.person(rng),
                Rect(area.left, y + head + r * pitch, area.left + step, y + head + (r + 1) * pitch),
                rng,
            )
    canvas.box(area, rule)
    canvas.place("decoy", Rect(rect.left, rect.top, area.right, area.bottom))


def tear_off(canvas: Canvas, style: Style, rect: Rect, writer: Writer, rng: Generator, filled: bool) -> None:
    """Draw a slip to tear off along a broken line: a receipt, a reminder."""
    canvas.line(
        (canvas.page.left, rect.top), (canvas.page.right, rect.top), Rule("dashed", 1.2, style.mix(0.8))
    )
    capital = max(5.0, style.capital * 0.85)
    y = rect.top + capital * 2.2
    title = wording.pick(
        rng,
        ("Receipt", "Customer's copy", "Tear off and keep", "Reminder", "Collection card", "Your receipt"),
    )
    canvas.text(rect.left + 2, y, title, style.bold, capital, style.mix(1.0))
    rule = style.rule(rng, "row")
    while (y := y + capital * 2.4) < rect.bottom - 2:
        x = rect.left + 2
        while x < rect.right - 30 * style.mm:
            word = wording.pick(
                rng,
                (
                    "Name",
                    "Received £",
                    "With thanks",
                    "Date",
                    "We call again on",
                    "Order no.",
                    "Amount £",
                    "Agent",
                    "Goods ready on",
                ),
            )
            ink = canvas.text(x, y, word, style.plain, capital, style.mix(0.9))
            end = min(rect.right - 2, ink.right + float(rng.uniform(15, 40)) * style.mm)
            canvas.line((ink.right + 3, y + 1), (end, y + 1), rule)
            x = end + 2 * style.mm
    canvas.place("decoy", Rect(rect.left, rect.top + 2, rect.right, rect.bottom))


_DRAW = {
    "title": _title, "customer": _customer, "serial": _serial, "dated": _dated, "blurb": _blurb, "terms": _terms,
    "logo": _logo, "advert": _advert, "office": _office, "payment": _payment, "chart": _chart, "calendar": _calendar,
    "bands": _bands, "barcode": _barcode, "member": _comb, "days": _days, "sign": _sign, "stamps": _stamps,
    "friends": _friends, "list": _list,
}  # fmt: skip
