"""The spreadsheet: wrong totals, orders, lines and problems, with formulas that follow a correction.

What was read is typed in as numbers; what follows from it is a formula. Change a quantity on the
sheet *Lines* and the line, the order and the wrong total change with it, in any program that opens .xlsx
files. The results are stored beside the formulas too, so that a phone that only shows them shows the right
numbers.

Rows are tied by the number in their first column and not by where they stand: a sheet may be sorted.

Amounts are numbers in major units with the currency's number of decimals by ISO 4217; every formula rounds to
them, so that 0.1 + 0.2 is 0.3. The same report gives the same bytes.
"""

import datetime
import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Final, Literal

from xlsxwriter import Workbook
from xlsxwriter.utility import xl_col_to_name

from formread.export.findings import Finding, all_findings, loser, to_look_at
from formread.money import Currency, currency, format_money
from formread.slips import ChargeKind, Line, Report, Slip

FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""A spreadsheet program may take text that begins like this for a formula (the last four are the wide forms
of the first four). Source: OWASP, "CSV Injection" (from memory)."""

LONGEST_CELL: Final = 32_767
"""Signs in one cell; programs refuse the file beyond it (Microsoft, "Excel specifications and limits")."""

ROWS_READY: Final = 500
"""Rows below the last line in which the list "yes, no" is offered too, for lines that are added by hand."""

LINE_HEIGHT: Final = 13.5
"""Points that a line of text takes, with a little air."""

WORDS_FIT: Final = 1.1
"""Letters of running text to a digit of column width: about 1.3 in Arial, less for indent and wide words."""

MOST_LINES: Final = 20
"""A row is never higher than this; programs stop at 409 points."""

_CREATED: Final = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
"""One date for all files: the hour of writing must not change the bytes."""

_NOT_IN_XML: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")

_INK: Final = "#1F2A33"
_HEADING: Final = "#DDE5EA"
_CALCULATED: Final = "#F3F6F8"
_RULE: Final = "#8D9AA3"
_THIN: Final = "#DDE3E7"
_WRONG_INK, _WRONG_PAPER = "#8C1D18", "#FBE6E3"
_UNSURE_INK, _UNSURE_PAPER = "#6B4A00", "#FFF1CC"
_FAINT: Final = "#7A868E"

Kind = Literal["number", "text", "code", "words", "money", "sum", "difference", "answer"]
"""What a column holds: counting numbers, one word, codes, text that may wrap, amounts, calculated amounts,
calculated differences and calculated words."""

_TO_THE_RIGHT: Final = ("number", "money", "sum", "difference")


@dataclass(frozen=True, slots=True)
class _Column:
    key: str
    title: str
    kind: Kind
    width: float


_WRONG: Final = (
    _Column("number", "No.", "number", 5),
    _Column("slip", "Slip", "code", 9),
    _Column("customer", "Customer", "words", 18),
    _Column("written", "Customer's total", "sum", 12),
    _Column("right", "Right total", "sum", 12),
    _Column("difference", "Difference", "difference", 12),
    _Column("loser", "Who loses", "answer", 11),
    _Column("verdict", "formread says", "text", 10),
    _Column("now", "Now", "answer", 10),
    _Column("reason", "Why", "words", 42),
    _Column("ask", "Look at", "words", 15),
    _Column("place", "Photo", "words", 19),
)

_ORDERS: Final = (
    _Column("number", "No.", "number", 5),
    _Column("slip", "Slip", "code", 9),
    _Column("customer", "Customer", "words", 20),
    _Column("goods", "Goods", "sum", 12),
    _Column("delivery", "Delivery", "money", 10),
    _Column("discount", "Discount", "money", 10),
    _Column("deposit", "Deposit", "money", 10),
    _Column("other", "Other", "money", 10),
    _Column("right", "Right total", "sum", 12),
    _Column("written", "Customer's total", "money", 12),
    _Column("difference", "Difference", "difference", 12),
    _Column("verdict", "formread says", "text", 10),
    _Column("now", "Now", "answer", 10),
    _Column("place", "Photo", "words", 22),
)

_LINES: Final = (
    _Column("number", "No.", "number", 5),
    _Column("slip", "Slip", "code", 9),
    _Column("row", "Row", "number", 6),
    _Column("code", "Code", "code", 13),
    _Column("description", "Description", "words", 32),
    _Column("quantity", "Quantity", "number", 10),
    _Column("price", "Unit price", "money", 12),
    _Column("written", "Written line total", "money", 13),
    _Column("counts", "Counts", "text", 9),
    _Column("right", "Right line total", "sum", 13),
    _Column("difference", "Difference", "difference", 12),
)

_PROBLEMS: Final = (
    _Column("photo", "Photo", "words", 34),
    _Column("page", "Page", "number", 7),
    _Column("message", "What happened, and what to do", "words", 86),
)

_CHARGES: Final[tuple[ChargeKind, ...]] = ("delivery", "discount", "deposit", "other")


def spreadsheet(report: Report) -> bytes:
    """Write the workbook of a report as the bytes of an .xlsx file.

    Raises
    ------
    UsageError
        When the report's currency is not known.
    """
    buffer = BytesIO()
    book = Workbook(buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "Order slips", "created": _CREATED, "comments": "Made by formread"})
    add_order_sheets(book, report)
    book.close()
    return buffer.getvalue()


def add_order_sheets(book: Workbook, report: Report) -> None:
    """Add the four sheets of the main job to `book`: Wrong totals, Orders, Lines and Problems."""
    look = _Look(book, currency(report.currency))
    _add_wrong_totals(look, report)
    _add_orders(look, report)
    _add_lines(look, report)
    _add_problems(look, report)


class _Look:
    """The formats of one workbook: made once each, the same on every sheet."""

    def __init__(self, book: Workbook, unit: Currency) -> None:
        self.book = book
        self.unit = unit
        self._made: dict[tuple[Kind, bool, bool], Any] = {}
        self.title = self._format(bold=True, font_size=16)
        self.note = self._format(font_color=_FAINT)
        heading = {"bold": True, "bg_color": _HEADING, "text_wrap": True, "valign": "vcenter", "bottom": 1}
        self.heading = self._format(**heading, align="left", indent=1)
        self.heading_right = self._format(**heading, align="right")
        self.wrong = book.add_format({"bold": True, "font_color": _WRONG_INK, "bg_color": _WRONG_PAPER})
        self.unsure = book.add_format({"bold": True, "font_color": _UNSURE_INK, "bg_color": _UNSURE_PAPER})
        self.struck = book.add_format({"font_color": _FAINT, "font_strikeout": True})

    def _format(self, **properties: object) -> Any:
        # Arial is on every machine or has a twin of the same widths there, so columns keep their fit.
        return self.book.add_format({"font_name": "Arial", "font_size": 10, "font_color": _INK, **properties})

    def of(self, kind: Kind, *, quoted: bool = False, closing: bool = False) -> Any:
        """The format of a cell.

        `quoted` sets the mark by which programs keep text that looks like a formula; `closing` draws the
        line that ends a group of rows.
        """
        if (kind, quoted, closing) not in self._made:
            cell: dict[str, object] = {
                "valign": "top",
                "bottom": 1,
                "bottom_color": _RULE if closing else _THIN,
            }
            if kind in _TO_THE_RIGHT:
                cell["num_format"] = self._number_format(kind)
            elif kind != "answer":
                cell["num_format"] = "@"
            if kind not in _TO_THE_RIGHT:
                cell |= {"align": "left", "indent": 1}
            if kind == "words":
                cell["text_wrap"] = True
            if kind in {"sum", "difference", "answer"}:
                cell["bg_color"] = _CALCULATED
            if quoted:
                cell["quote_prefix"] = True
            self._made[kind, quoted, closing] = self._format(**cell)
        return self._made[kind, quoted, closing]

    def _number_format(self, kind: Kind) -> str:
        """The currency's format: ``[$£]#,##0.00;...`` for GBP, ``[$BHD] #,##0.000;...`` for BHD."""
        if kind == "number":
            return "0"
        sign = f"[${self.unit.symbol}]" if self.unit.symbol else f"[${self.unit.code}] "
        digits = "#,##0" + (f".{'0' * self.unit.digits}" if self.unit.digits else "")
        if kind == "difference":
            return f'+{sign}{digits};-{sign}{digits};"\u2013"'
        return f"{sign}{digits};-{sign}{digits}"

    def major(self, amount: int | None) -> float | None:
        """Minor units as the number in the cell; one division, so it is the float nearest to the amount."""
        return None if amount is None else amount / self.unit.unit


@dataclass(frozen=True, slots=True)
class _Formula:
    """A formula and its result, as it stands before anybody changes anything."""

    text: str
    result: float | str


_Cell = str | float | _Formula | None


class _Table:
    """One sheet being filled: headings at `top` (row from 0), a row of cells for each record below."""

    def __init__(self, look: _Look, name: str, columns: Sequence[_Column], top: int = 0) -> None:
        self.look = look
        self.columns = columns
        self.top = top
        self.next = top + 1
        self.sheet = look.book.add_worksheet(name)
        for place, column in enumerate(columns):
            to_right = column.kind in _TO_THE_RIGHT
            self.sheet.set_column(place, place, column.width)
            self.sheet.write_string(
                top, place, column.title, look.heading_right if to_right else look.heading
            )
        self.sheet.set_row(top, 30)
        self.sheet.freeze_panes(top + 1, 2)
        self.sheet.hide_gridlines(2)
        self.sheet.set_landscape()
        self.sheet.set_paper(9)  # A4
        self.sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.7)
        self.sheet.fit_to_pages(1, 0)
        self.sheet.repeat_rows(top)
        self.sheet.set_footer("&L&8&A&C&8formread&R&8Page &P of &N")

    @property
    def row(self) -> int:
        """The row to be filled next, as formulas count: from 1."""
        return self.next + 1

    def letter(self, key: str) -> str:
        return _letter(self.columns, key)

    def add(self, cells: Mapping[str, _Cell], *, closing: bool = False) -> None:
        deep = 1
        for place, column in enumerate(self.columns):
            cell = cells[column.key]
            self._write(place, column.kind, cell, closing)
            if column.kind == "words" and isinstance(cell, str):
                deep = max(deep, len(textwrap.wrap(cell, int(column.width * WORDS_FIT))))
        # Programs set the height of wrapped rows only when they feel like it, and not for print.
        self.sheet.set_row(self.next, LINE_HEIGHT * min(deep, MOST_LINES) + 2)
        self.next += 1

    def _write(self, place: int, kind: Kind, cell: _Cell, closing: bool) -> None:
        if isinstance(cell, str):
            # XML turns every way of ending a line into a line feed; doing it here keeps the text as read.
            text = cell.replace("\r\n", "\n").replace("\r", "\n")
            text = _NOT_IN_XML.sub("\ufffd", text)[:LONGEST_CELL]
            quoted = text.startswith(FORMULA_STARTS)
            form = self.look.of(kind, quoted=quoted, closing=closing)
            self.sheet.write_string(self.next, place, text, form)
            return
        plain = self.look.of(kind, closing=closing)
        if cell is None:
            self.sheet.write_blank(self.next, place, None, plain)
        elif isinstance(cell, _Formula):
            self.sheet.write_formula(self.next, place, cell.text, plain, cell.result)
        else:
            self.sheet.write_number(self.next, place, cell, plain)

    def mark(self, key: str | None, condition: str, form: Any) -> None:
        """Give the cells of a column (or of whole rows) a look wherever `condition` holds in their row.

        In `condition`, ``{key}`` is that column's cell in the row.
        """
        first, last = self.top + 1, max(self.next - 1, self.top + 1)
        cells = {column.key: f"${self.letter(column.key)}{first + 1}" for column in self.columns}
        left, right = 0, len(self.columns) - 1
        if key is not None:
            left = right = [column.key for column in self.columns].index(key)
        options = {"type": "formula", "criteria": condition.format(**cells), "format": form}
        self.sheet.conditional_format(first, left, last, right, options)

    def finish(self) -> None:
        self.sheet.autofilter(self.top, 0, max(self.next - 1, self.top), len(self.columns) - 1)


def _letter(columns: Sequence[_Column], key: str) -> str:
    return str(xl_col_to_name([column.key for column in columns].index(key)))


def _add_wrong_totals(look: _Look, report: Report) -> None:
    table = _Table(look, "Wrong totals", _WRONG, top=5)
    sheet = table.sheet
    findings = to_look_at(report, "wrong") + to_look_at(report, "unsure")
    verdicts = [slip.verdict for slip in report.slips]
    now = f"Orders!${_letter(_ORDERS, 'now')}:${_letter(_ORDERS, 'now')}"
    answers = [_now(slip) for slip in map(_Sums, report.slips)]
    sheet.write_string(0, 0, "Wrong totals", look.title)
    sheet.write_string(
        1,
        0,
        f"formread found {len(verdicts)} slips: {verdicts.count('agrees')} agree, "
        f"{verdicts.count('wrong')} wrong, {verdicts.count('unsure')} unsure. "
        f"Photos that could not be used: {len(report.problems)}.",
        look.note,
    )
    sheet.write_formula(
        2,
        0,
        f'="As the sheets stand now: "&COUNTIF({now},"agrees")&" agree, "&COUNTIF({now},"differs")&'
        f'" differ, "&COUNTIF({now},"no total")&" without a total."',
        look.note,
        f"As the sheets stand now: {answers.count('agrees')} agree, {answers.count('differs')} differ, "
        f"{answers.count('no total')} without a total.",
    )
    sheet.write_string(
        3,
        0,
        "Correct a number on the sheets Orders or Lines and everything follows. "
        "Tinted columns are calculated.",
        look.note,
    )
    for finding in findings:
        table.add(_wrong_row(table, finding))
    table.mark("difference", '{now}="differs"', look.wrong)
    table.mark("verdict", '{verdict}="wrong"', look.wrong)
    table.mark("verdict", '{verdict}="unsure"', look.unsure)
    table.finish()
    if not findings:
        sheet.write_string(table.next, 0, "Every total agrees." if verdicts else "No slips.", look.note)


def _wrong_row(table: _Table, finding: Finding) -> dict[str, _Cell]:
    slip, row = finding.slip, table.row
    sums = _Sums(slip)
    major = table.look.major
    difference = f"{table.letter('difference')}{row}"

    def from_orders(key: str) -> str:
        letter = _letter(_ORDERS, key)
        return f"INDEX(Orders!${letter}:${letter},MATCH($A{row},Orders!$A:$A,0))"

    written = from_orders("written")
    return {
        "number": finding.number,
        "slip": slip.slip_number,
        "customer": slip.customer,
        # An empty cell that a formula fetches would show as zero, which is a number nobody wrote.
        "written": _Formula(f'=IF({written}="","",{written})', _shown(major(slip.written_total))),
        "right": _Formula(f"={from_orders('right')}", _shown(major(sums.right))),
        "difference": _Formula(f"={from_orders('difference')}", _shown(major(sums.difference))),
        "loser": _Formula(
            f'=IF({difference}="","",IF({difference}>0,"customer",IF({difference}<0,"you","")))',
            loser(sums.difference),
        ),
        "verdict": slip.verdict,
        "now": _Formula(f"={from_orders('now')}", _now(sums)),
        "reason": _reason(sums, table.look.unit),
        "ask": slip.ask,
        "place": finding.place,
    }


def _add_orders(look: _Look, report: Report) -> None:
    table = _Table(look, "Orders", _ORDERS)
    for finding in all_findings(report):
        table.add(_order_row(table, finding))
    table.mark("difference", '{now}="differs"', look.wrong)
    table.mark("verdict", '{verdict}="wrong"', look.wrong)
    table.mark("verdict", '{verdict}="unsure"', look.unsure)
    table.finish()


def _order_row(table: _Table, finding: Finding) -> dict[str, _Cell]:
    slip, row, look = finding.slip, table.row, table.look
    sums = _Sums(slip)
    digits = look.unit.digits
    at = {column.key: f"{table.letter(column.key)}{row}" for column in _ORDERS}
    line_sum, line_number = (
        f"Lines!${_letter(_LINES, key)}:${_letter(_LINES, key)}" for key in ("right", "number")
    )
    charges: dict[str, _Cell] = {}
    for kind in _CHARGES:
        amounts = [charge.amount for charge in slip.charges if charge.kind == kind]
        charges[kind] = look.major(sum(amounts)) if amounts else None
    return {
        "number": finding.number,
        "slip": slip.slip_number,
        "customer": slip.customer,
        "goods": _Formula(
            f"=ROUND(SUMIFS({line_sum},{line_number},$A{row}),{digits})", _shown(look.major(sums.goods))
        ),
        **charges,
        "right": _Formula(
            f"=ROUND({at['goods']}+SUM({at['delivery']}:{at['other']}),{digits})",
            _shown(look.major(sums.right)),
        ),
        "written": look.major(slip.written_total),
        "difference": _Formula(
            f'=IF({at["written"]}="","",ROUND({at["written"]}-{at["right"]},{digits}))',
            _shown(look.major(sums.difference)),
        ),
        "verdict": slip.verdict,
        "now": _Formula(
            f'=IF({at["difference"]}="","no total",IF({at["difference"]}=0,"agrees","differs"))', _now(sums)
        ),
        "place": finding.place,
    }


def _add_lines(look: _Look, report: Report) -> None:
    table = _Table(look, "Lines", _LINES)
    for finding in all_findings(report):
        lines = finding.slip.lines
        for place, line in enumerate(lines, 1):
            table.add(_line_row(table, finding, line), closing=place == len(lines))
    table.mark(None, '{counts}="no"', look.struck)
    table.mark("difference", 'AND({difference}<>"",{difference}<>0)', look.wrong)
    counts = [column.key for column in _LINES].index("counts")
    table.sheet.data_validation(
        1, counts, table.next + ROWS_READY, counts, {"validate": "list", "source": ["yes", "no"]}
    )
    table.finish()


def _line_row(table: _Table, finding: Finding, line: Line) -> dict[str, _Cell]:
    row, look = table.row, table.look
    at = {column.key: f"{table.letter(column.key)}{row}" for column in _LINES}
    digits = look.unit.digits
    right = comes_to(line)
    counted = not line.struck_out and line.line_total is not None
    return {
        "number": finding.number,
        "slip": finding.slip.slip_number,
        "row": line.row,
        "code": line.code,
        "description": line.description,
        "quantity": line.quantity,
        "price": look.major(line.unit_price),
        "written": look.major(line.line_total),
        "counts": "no" if line.struck_out else "yes",
        "right": _Formula(
            f'=IF({at["counts"]}="no",0,IF({at["price"]}="",N({at["written"]}),'
            f'ROUND(IF({at["quantity"]}="",1,{at["quantity"]})*{at["price"]},{digits})))',
            _shown(look.major(right)),
        ),
        "difference": _Formula(
            f'=IF(OR({at["counts"]}="no",{at["written"]}=""),"",'
            f"ROUND({at['written']}-{at['right']},{digits}))",
            _shown(look.major((line.line_total or 0) - right if counted else None)),
        ),
    }


def _add_problems(look: _Look, report: Report) -> None:
    table = _Table(look, "Problems", _PROBLEMS)
    for problem in report.problems:
        table.add({"photo": problem.photo, "page": problem.page, "message": problem.message})
    table.finish()
    if not report.problems:
        table.sheet.write_string(table.next, 0, "No problems.", look.note)


def comes_to(line: Line) -> int:
    """What a line comes to by the sheet's formula, in minor units.

    A crossed-out line comes to nothing; without a price the written line total stands; a blank quantity is
    one.
    """
    if line.struck_out:
        return 0
    if line.unit_price is None:
        return line.line_total or 0
    return line.unit_price * (1 if line.quantity is None else line.quantity)


class _Sums:
    """What the formulas make of a slip, in minor units: their results until somebody recalculates."""

    def __init__(self, slip: Slip) -> None:
        self.slip = slip
        self.goods = sum(comes_to(line) for line in slip.lines)
        self.right = self.goods + sum(charge.amount for charge in slip.charges)
        self.difference = None if slip.written_total is None else slip.written_total - self.right


def _now(sums: _Sums) -> str:
    if sums.difference is None:
        return "no total"
    return "differs" if sums.difference else "agrees"


def _reason(sums: _Sums, unit: Currency) -> str:
    """Why; and where formread believes another total than the lines as read come to, that total."""
    if sums.right == sums.slip.computed_total:
        return sums.slip.reason
    believed = format_money(sums.slip.computed_total, unit)
    return (
        f"{sums.slip.reason} By its readings taken together, formread believes {believed} is right.".lstrip()
    )


def _shown(value: float | None) -> float | str:
    """The stored result of a formula that gives an empty text where there is no number."""
    return "" if value is None else value
