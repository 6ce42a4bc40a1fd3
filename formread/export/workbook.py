"""The look of a workbook, and one table on one sheet: what every sheet of ours shares."""

import datetime
import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Final, Literal

from xlsxwriter import Workbook
from xlsxwriter.utility import xl_col_to_name

from formread.money import Currency

FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""A spreadsheet program may take text that begins like this for a formula (the last four are the wide forms
of the first four). Source: OWASP, "CSV Injection" (from memory)."""

LONGEST_CELL: Final = 32_767
"""Signs in one cell; programs refuse the file beyond it (Microsoft, "Excel specifications and limits")."""

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

Kind = Literal["number", "text", "code", "words", "money", "sum", "count", "difference", "answer"]
"""What a column holds: counting numbers, one word, codes, text that may wrap, amounts, calculated amounts,
calculated numbers, calculated differences and calculated words."""

_TO_THE_RIGHT: Final = ("number", "money", "sum", "count", "difference")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet: our key, its heading, what it holds, its width in digits."""

    key: str
    title: str
    kind: Kind
    width: float


class Look:
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
            if kind in {"sum", "count", "difference", "answer"}:
                cell["bg_color"] = _CALCULATED
            if quoted:
                cell["quote_prefix"] = True
            self._made[kind, quoted, closing] = self._format(**cell)
        return self._made[kind, quoted, closing]

    def _number_format(self, kind: Kind) -> str:
        """The currency's format: ``[$£]#,##0.00;...`` for GBP, ``[$BHD] #,##0.000;...`` for BHD."""
        if kind in {"number", "count"}:
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
class Formula:
    """A formula and its result, as it stands before anybody changes anything."""

    text: str
    result: float | str


Cell = str | float | Formula | None


class Table:
    """One sheet being filled: headings at `top` (row from 0), a row of cells for each record below."""

    def __init__(self, look: Look, name: str, columns: Sequence[Column], top: int = 0) -> None:
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
        """Return the letter of a column."""
        return letter_of(self.columns, key)

    def add(self, cells: Mapping[str, Cell], *, closing: bool = False) -> None:
        """Fill the next row; `closing` draws the line that ends a group."""
        deep = 1
        for place, column in enumerate(self.columns):
            cell = cells[column.key]
            self._write(place, column.kind, cell, closing)
            if column.kind == "words" and isinstance(cell, str):
                deep = max(deep, len(textwrap.wrap(cell, int(column.width * WORDS_FIT))))
        # Programs set the height of wrapped rows only when they feel like it, and not for print.
        self.sheet.set_row(self.next, LINE_HEIGHT * min(deep, MOST_LINES) + 2)
        self.next += 1

    def _write(self, place: int, kind: Kind, cell: Cell, closing: bool) -> None:
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
        elif isinstance(cell, Formula):
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
        """Offer filters over what was filled."""
        self.sheet.autofilter(self.top, 0, max(self.next - 1, self.top), len(self.columns) - 1)


def letter_of(columns: Sequence[Column], key: str) -> str:
    """Return the letter of the column with this key."""
    return str(xl_col_to_name([column.key for column in columns].index(key)))


def shown(value: float | None) -> float | str:
    """The stored result of a formula that gives an empty text where there is no number."""
    return "" if value is None else value


def new_workbook(buffer: BytesIO, title: str) -> Workbook:
    """Begin a workbook that is written into `buffer` when it is closed."""
    book = Workbook(buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": title, "created": _CREATED, "comments": "Made by formread"})
    return book
