"""What is printed for the evening, as PDF: packing list, bag labels, round sheet, notes to customers, float.

A4, in black, for a home printer. The same records give the same bytes.
"""

import importlib.util
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    KeepTogether,
    PageBreak,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from formread.goods.delivery import Ticked
from formread.goods.packing import Note, PackedBag
from formread.goods.plan import Goods
from formread.money import Currency, currency, format_money
from formread.round.drops import Drop
from formread.round.evening import Evening
from formread.round.float import Float
from formread.round.payments import behaviour_words

_MARGIN: Final = 12 * mm
_INK: Final = colors.black
_FAINT: Final = colors.Color(0.42, 0.42, 0.42)
_RULE: Final = colors.Color(0.6, 0.6, 0.6)
_TINT: Final = colors.Color(0.93, 0.93, 0.93)
_LABELS_ACROSS, _LABELS_DOWN = 2, 4
_BOX: Final = 4.6 * mm


def packing_list(goods: Goods, drops: Sequence[Drop] = ()) -> bytes:
    """Print what goes into each bag, in the order of the round where there is one; large print, tick boxes."""
    of_slip = {slip: drop for drop in drops for slip in drop.slips}
    bags = sorted(goods.packed, key=lambda bag: (_number(of_slip.get(bag.bill.slip)), bag.bill.slip))
    ticked = {one.key: one for one in goods.ticked}
    unit = currency(goods.report.currency)
    story: list[Any] = [_words("Packing list", 17, bold=True), Spacer(1, 3 * mm)]
    for bag in bags:
        story += [_packing_block(bag, of_slip.get(bag.bill.slip), ticked, unit), Spacer(1, 6 * mm)]
    if not bags:
        story.append(_words("There is nothing to pack.", 11))
    return _document(story, "Packing list")


def _number(drop: Drop | None) -> int:
    return drop.number if drop else 0


def _packing_block(bag: PackedBag, drop: Drop | None, ticked: dict[str, Ticked], unit: Currency) -> Any:
    bill = bag.bill
    where = f"{drop.number}. {drop.who}" if drop else f"Slip {bill.name}"
    holder = (
        f"{bag.bags} x {bag.bag.name}" if bag.bag else f"{bag.bags} bag" if bag.bags else "nothing to pack"
    )
    head = [
        [
            _words(where, 14, bold=True),
            _words(holder, 11, align="right"),
            _words(f"due {format_money(bill.due, unit)}", 14, bold=True, align="right"),
        ]
    ]
    width = A4[0] - 2 * _MARGIN
    top = Table(head, colWidths=[0.52 * width, 0.22 * width, 0.26 * width])
    top.setStyle(
        TableStyle([("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("LINEBELOW", (0, 0), (-1, -1), 1.2, _INK)])
    )
    under = f"{drop.where} - slip {bill.name}" if drop and drop.where else f"slip {bill.name}" if drop else ""
    rows: list[list[Any]] = []
    for line in bill.lines:
        if not line.packed and not line.short:
            continue
        what = line.description or line.code or "?"
        one = ticked[line.product]
        if one.came_as and line.packed:
            what += f" (came as {', '.join(one.came_as)})"
        boxes = f"box {', '.join(one.boxes)}" if one.boxes else ""
        short = f"{line.short} to come" if line.short else ""
        rows.append(
            [
                _ticks(line.packed),
                _words(str(line.packed), 14, bold=True, align="right"),
                _words(what, 12.5),
                _words(line.code or "", 11),
                _words(boxes, 10, faint=True),
                _words(short, 10.5, bold=True),
            ]
        )
    if bag.unread:
        rows_of = "row" if len(bag.unread) == 1 else "rows"
        what = f"By the slip itself: {rows_of} {', '.join(map(str, bag.unread))}"
        rows.append([_ticks(1), "", _words(what, 12.5), "", "", ""])
    if not rows:
        rows.append([Spacer(_BOX, _BOX), "", _words("Nothing came for this slip.", 12), "", "", ""])
    body = Table(rows, colWidths=[s * width for s in (0.06, 0.07, 0.42, 0.17, 0.13, 0.15)])
    body.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, _RULE),
                ("TOPPADDING", (0, 0), (-1, -1), 2.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
            ]
        )
    )
    parts: list[Any] = [top]
    if under:
        parts += [Spacer(1, 1.2 * mm), _words(under, 10, faint=True)]
    parts.append(body)
    # A very long slip may not fit on a page; then it must be allowed to break.
    return KeepTogether(parts)


def _ticks(pieces: int) -> Any:
    """An empty box to tick, or none where nothing goes into the bag."""
    if not pieces:
        return Spacer(_BOX, _BOX)
    box = Table([[""]], colWidths=[_BOX], rowHeights=[_BOX])
    box.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 1.0, _INK)]))
    return box


def bag_labels(evening: Evening) -> bytes:
    """Print a label for each bag, eight to a page: drop number, name, address, amount due."""
    unit = currency(evening.goods.report.currency)
    width = (A4[0] - 2 * _MARGIN) / _LABELS_ACROSS
    height = (A4[1] - 2 * _MARGIN - 14 * mm) / _LABELS_DOWN  # less the footer and the frame's own padding
    labels = []
    for drop in evening.plan.drops:
        for bag in range(1, drop.bags + 1):
            of = f"bag {bag} of {drop.bags}" if drop.bags > 1 else ""
            due = format_money(drop.due, unit)
            inner = Table(
                [
                    [_words(str(drop.number), 38, bold=True), _words(of, 11, align="right")],
                    [_words(drop.who, 16, bold=True), ""],
                    [_words(drop.where or ", ".join(drop.names), 12), ""],
                    [_words(f"due {due}" if bag == 1 else "see bag 1", 17, bold=True, align="right"), ""],
                ],
                colWidths=[0.6 * (width - 16 * mm), 0.4 * (width - 16 * mm)],
                rowHeights=[17 * mm, 9 * mm, 14 * mm, None],
            )
            inner.setStyle(
                TableStyle(
                    [("SPAN", (0, row), (1, row)) for row in (1, 2, 3)]
                    + [("VALIGN", (0, 0), (-1, -1), "MIDDLE")]
                )
            )
            labels.append(inner)
    if not labels:
        return _document([_words("There are no bags.", 11)], "Bag labels")
    story: list[Any] = []
    per_page = _LABELS_ACROSS * _LABELS_DOWN
    for start in range(0, len(labels), per_page):
        page: list[Any] = labels[start : start + per_page]
        page += [""] * (-len(page) % _LABELS_ACROSS)
        rows = [page[at : at + _LABELS_ACROSS] for at in range(0, len(page), _LABELS_ACROSS)]
        grid = Table(rows, colWidths=[width] * _LABELS_ACROSS, rowHeights=[height] * len(rows))
        grid.setStyle(
            TableStyle(
                [
                    ("INNERGRID", (0, 0), (-1, -1), 0.4, _RULE),
                    ("BOX", (0, 0), (-1, -1), 0.4, _RULE),
                    ("LEFTPADDING", (0, 0), (-1, -1), 8 * mm),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 8 * mm),
                    ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ]
            )
        )
        story += [grid, PageBreak()]
    return _document(story[:-1], "Bag labels")


def round_sheet(evening: Evening) -> bytes:
    """Print the round, landscape: what each door owes, the next note and its change, space to write."""
    unit = currency(evening.goods.report.currency)
    width = landscape(A4)[0] - 2 * _MARGIN
    heads = (
        "Drop",
        "Name",
        "Address",
        "Bags",
        "Due",
        "Next note",
        "Change",
        "Paid in cash",
        "Otherwise",
        "Remarks",
    )
    shares = (0.05, 0.16, 0.2, 0.045, 0.075, 0.075, 0.075, 0.09, 0.09, 0.14)
    right = {0, 3, 4, 5, 6}
    rows: list[list[Any]] = [
        [
            _words(head, 9, bold=True, align="right" if at in right else "left")
            for at, head in enumerate(heads)
        ]
    ]
    for drop in evening.plan.drops:
        rows.append(
            [
                _words(str(drop.number), 13, bold=True, align="right"),
                _words(drop.who, 11),
                _words(drop.where, 11),
                _words(str(drop.bags), 11, align="right"),
                _words(format_money(drop.due, unit), 12, bold=True, align="right"),
                _words(format_money(drop.handed, unit) if drop.due > 0 else "", 10, align="right"),
                _words(format_money(drop.change, unit), 10, align="right"),
                "",
                "",
                _words(drop.question.text if drop.question else "", 7.5, faint=True),
            ]
        )
    rows.append(
        [
            "",
            _words("All doors", 11, bold=True),
            "",
            _words(str(sum(drop.bags for drop in evening.plan.drops)), 11, align="right"),
            _words(format_money(sum(evening.plan.dues), unit), 12, bold=True, align="right"),
            *[""] * 5,
        ]
    )
    table = Table(rows, colWidths=[share * width for share in shares], repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("BACKGROUND", (0, 0), (-1, 0), _TINT),
                ("GRID", (0, 1), (-1, -2), 0.4, _RULE),
                ("LINEABOVE", (0, -1), (-1, -1), 1.2, _INK),
                ("LINEBELOW", (0, 0), (-1, 0), 1.2, _INK),
                ("TOPPADDING", (0, 1), (-1, -1), 5),
                ("BOTTOMPADDING", (0, 1), (-1, -1), 5),
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    story: list[Any] = [_words("Round", 17, bold=True), Spacer(1, 2 * mm)]
    if evening.plan.walk:
        walk = evening.plan.walk
        story += [
            _words(
                f"A proposed walk, {walk.length / 1000:.1f} km as the crow flies and back to the first door; "
                f"your own order: {walk.own_length / 1000:.1f} km.",
                9.5,
                faint=True,
            ),
            Spacer(1, 2 * mm),
        ]
    return _document([*story, table], "Round", wide=True)


def customer_notes(notes: Sequence[Note], who: dict[int, str]) -> bytes:
    """Print a note for each customer who is owed an explanation; `who` names the customer of a slip."""
    story: list[Any] = []
    for note in notes:
        lines = [_words(who.get(note.slip, f"Slip {note.name}"), 15, bold=True), Spacer(1, 2 * mm)]
        lines += [_words(f"About your order on slip {note.name}:", 11.5), Spacer(1, 1.5 * mm)]
        for line in note.lines:
            lines += [_words(line, 11.5, bold=line.startswith("To pay now")), Spacer(1, 1.5 * mm)]
        lines += [_words("Please ask me if anything is not clear.", 10, faint=True)]
        frame = Table([[lines]], colWidths=[A4[0] - 2 * _MARGIN])
        frame.setStyle(
            TableStyle(
                [
                    ("BOX", (0, 0), (-1, -1), 0.6, _RULE),
                    *(
                        (f"{side}PADDING", (0, 0), (-1, -1), 6 * mm)
                        for side in ("TOP", "BOTTOM", "LEFT", "RIGHT")
                    ),
                ]
            )
        )
        story += [frame, Spacer(1, 7 * mm)]
    if not notes:
        story.append(_words("There is nothing to tell any customer.", 11))
    return _document(story, "Notes to customers")


def float_sheet(evening: Evening) -> bytes:
    """Print both floats coin by coin, what to fetch, how customers are taken to pay, and a place to count."""
    unit = currency(evening.goods.report.currency)
    usual, twenties = evening.float_usual, evening.float_twenties
    how = (
        "every way for the round to go was counted"
        if usual.counted_out
        else f"{usual.rounds:,} simulated rounds; at least {100 * usual.success_low:.1f} % with 95 % confidence"
    )
    big = format_money(evening.cash.big_note, unit)
    story: list[Any] = [_words("Float", 17, bold=True), Spacer(1, 3 * mm)]
    story += [
        _words(
            f"{format_money(usual.value, unit)}: enough at every door in {100 * usual.success:.1f} % of rounds",
            13,
            bold=True,
        ),
        _words(
            f"({how}; smaller than {format_money(usual.least_possible, unit)} none can be).", 10, faint=True
        ),
        Spacer(1, 2 * mm),
        _words(
            f"{format_money(twenties.value, unit)}: never fails if every customer hands over {big} notes",
            13,
            bold=True,
        ),
        Spacer(1, 4 * mm),
    ]
    heads = (
        "Coin or note",
        "In 99 of 100",
        "Worth",
        f"All hand over {big}",
        "Worth",
        "Counted at the end",
        "Worth",
    )
    rows: list[list[Any]] = [[_words(head, 9, bold=True, align="right") for head in heads]]
    for value in evening.cash.values:
        rows.append(
            [
                _words(format_money(value, unit), 11, bold=True, align="right"),
                *_pieces(usual, value, unit),
                *_pieces(twenties, value, unit),
                "",
                "",
            ]
        )
    rows.append(
        [
            _words("Together", 11, bold=True, align="right"),
            "",
            _words(format_money(usual.value, unit), 11, bold=True, align="right"),
            "",
            _words(format_money(twenties.value, unit), 11, bold=True, align="right"),
            "",
            "",
        ]
    )
    width = A4[0] - 2 * _MARGIN
    table = Table(rows, colWidths=[width / 7] * 7)
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 1), (-1, -2), 0.4, _RULE),
                ("BACKGROUND", (0, 0), (-1, 0), _TINT),
                ("LINEABOVE", (0, -1), (-1, -1), 1.2, _INK),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ]
        )
    )
    story += [table, Spacer(1, 5 * mm), _words("To fetch from the bank", 12, bold=True)]
    for one in evening.fetch:
        name = format_money(one.value, unit)
        bags = f" ({one.bags} full bag{'s' if one.bags > 1 else ''})" if one.bags else ""
        spare = f", {one.spare} to spare" if one.spare else ""
        story.append(_words(f"{name}: {one.pieces} pieces{bags}{spare}", 10.5))
    if not evening.fetch:
        story.append(_words("Nothing.", 10.5))
    story += [Spacer(1, 4 * mm), _words("How customers are taken to pay", 12, bold=True)]
    for way in evening.behaviours:
        story.append(_words(f"{100 * way.share:.0f} % {behaviour_words(way, evening.cash)}", 10.5))
    return _document(story, "Float")


def _pieces(found: Float, value: int, unit: Currency) -> list[Any]:
    pieces = found.pieces.get(value, 0)
    if not pieces:
        return ["", ""]
    return [
        _words(str(pieces), 11, align="right"),
        _words(format_money(value * pieces, unit), 10, align="right"),
    ]


def _words(
    text: str, size: float, *, bold: bool = False, faint: bool = False, align: str = "left"
) -> Paragraph:
    style = ParagraphStyle(
        "words",
        fontName=_font(text, bold=bold),
        fontSize=size,
        leading=1.2 * size,
        textColor=_FAINT if faint else _INK,
        alignment={"left": 0, "right": 2}[align],
        splitLongWords=True,
    )
    return Paragraph(escape("".join(sign if sign.isprintable() else " " for sign in text)), style)


def _font(text: str, *, bold: bool) -> str:
    """Helvetica, which every PDF reader has; for letters that it lacks, one that is put into the file."""
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        return _wide_fonts()[bold]
    return "Helvetica-Bold" if bold else "Helvetica"


@cache
def _wide_fonts() -> tuple[str, str]:
    """Register DejaVu Sans, which matplotlib (needed by the routing library) carries."""
    spec = importlib.util.find_spec("matplotlib")
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" if spec and spec.origin else Path()
    names = []
    for name, fallback in (("DejaVuSans", "Helvetica"), ("DejaVuSans-Bold", "Helvetica-Bold")):
        path = folder / f"{name}.ttf"
        if path.is_file():
            pdfmetrics.registerFont(TTFont(name, str(path)))
            names.append(name)
        else:
            names.append(fallback)
    return names[0], names[1]


def _document(story: Iterable[Any], title: str, *, wide: bool = False) -> bytes:
    buffer = BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=landscape(A4) if wide else A4,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + 4 * mm,
        title=title,
        author="formread",
        invariant=1,  # no dates: the same records give the same bytes
    )

    footer: Callable[[Any, Any], None] = _footer(title)
    document.build(list(story), onFirstPage=footer, onLaterPages=footer)
    return buffer.getvalue()


def _footer(title: str) -> Callable[[Any, Any], None]:
    def draw(canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont("Helvetica", 8)
        canvas.setFillColor(_FAINT)
        canvas.drawString(_MARGIN, _MARGIN - 2 * mm, title)
        canvas.drawRightString(document.pagesize[0] - _MARGIN, _MARGIN - 2 * mm, f"page {document.page}")
        canvas.restoreState()

    return draw
