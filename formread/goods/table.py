"""Lists that the seller brings, as rows of text: CSV in the ways programs write it, and XLSX workbooks.

One edge for every list (prices, delivery note, streets, addresses, takings), so that each is as forgiving
about its outer form and names its rows in the same way: as the spreadsheet program numbers them.
"""

import csv
import re
import zipfile
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

from formread.errors import ListError

_HEADING_ROWS = 20  # a letterhead above the table is common; a table that starts lower is not a list
_DELIMITERS = (",", ";", "\t", "|")
_ENCODINGS = ("utf-8-sig", "cp1252")
_MAX_BYTES = 20_000_000  # a price list is some kilobytes; more is another kind of file
_BYTE_ORDER_MARKS = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a list: its number as a spreadsheet program shows it (from 1) and its cells as text."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A list with its headings understood.

    Attributes
    ----------
    name
        The file's name, for messages.
    columns
        Our name of a column to its place in the row, from 0.
    rows
        The rows under the headings; empty ones are left out.
    """

    name: str
    columns: Mapping[str, int]
    rows: tuple[Row, ...]

    def cell(self, row: Row, column: str) -> str:
        """Return one cell's text without outer spaces; ``""`` where the row or the list has none."""
        place = self.columns.get(column)
        if place is None or place >= len(row.cells):
            return ""
        return row.cells[place].strip()


def plain_heading(text: str) -> str:
    """Reduce a heading to lower-case letters and digits: ``"Price (£)"`` and ``"price"`` are one."""
    return re.sub(r"[^a-z0-9]+", "", re.sub(r"\(.*?\)", "", text.casefold()))


def read_rows(path: Path) -> tuple[Row, ...]:
    """Read a CSV file or the first filled sheet of an XLSX workbook.

    Returns
    -------
    tuple of Row
        Every row that is not empty, with its number.

    Raises
    ------
    ListError
        When the file is missing, is no such file, or holds nothing.
    """
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise ListError(f"{path.name} is far too big for a list. Check that it is the right file.")
        content = path.read_bytes()
    except OSError as error:
        raise ListError(
            f"{path.name} can't be opened ({error.strerror or 'unreadable'}). Check its name and place."
        ) from error
    if content[:4] == b"PK\x03\x04":
        rows = _workbook_rows(path)
    elif content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise ListError(f"{path.name} is an old .xls workbook. Save it as .xlsx or .csv and try again.")
    else:
        rows = _csv_rows(path.name, content)
    filled = tuple(row for row in rows if any(cell.strip() for cell in row.cells))
    if not filled:
        raise ListError(f"{path.name} is empty. Check that it is the right file.")
    return filled


def read_text_rows(name: str, content: bytes) -> tuple[Row, ...]:
    """Read CSV text that is at hand; see :func:`read_rows`."""
    filled = tuple(row for row in _csv_rows(name, content) if any(cell.strip() for cell in row.cells))
    if not filled:
        raise ListError(f"{name} is empty. Check that it is the right file.")
    return filled


def _decode(name: str, content: bytes) -> str:
    if content[:2] in _BYTE_ORDER_MARKS:
        encodings: tuple[str, ...] = ("utf-16",)
    elif b"\x00" in content:
        encodings = ()
    else:
        encodings = _ENCODINGS
    for encoding in encodings:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise ListError(f"{name} is neither CSV text nor an .xlsx workbook. Save the list as one of these.")


def _csv_rows(name: str, content: bytes) -> list[Row]:
    lines = _decode(name, content).replace("\r\n", "\n").replace("\r", "\n")
    hint = re.match(r"sep=(.)\n", lines)  # the line with which spreadsheet programs name the separator
    start = 0
    if hint:
        delimiter = hint.group(1)
        lines = lines[hint.end() :]
        start = 1
    else:
        delimiter = _delimiter(lines)
    try:
        records = list(csv.reader(lines.splitlines(keepends=True), delimiter=delimiter, strict=False))
    except csv.Error as error:
        raise ListError(
            f"{name} can't be read as CSV ({error}). Save it again from the spreadsheet."
        ) from error
    return [Row(number, tuple(record)) for number, record in enumerate(records, start + 1)]


def _delimiter(lines: str) -> str:
    """Choose the separator that splits most of the first rows, and splits them into most cells.

    The csv module's own sniffer takes letters for separators on short lists, so we count instead; cells in
    quotes are respected by letting the reader itself do the splitting.
    """
    sample = lines.splitlines(keepends=True)[:50]

    def splits(delimiter: str) -> tuple[int, int]:
        try:
            widths = [len(record) for record in csv.reader(sample, delimiter=delimiter)]
        except csv.Error:
            return (0, 0)
        return (sum(width > 1 for width in widths), sum(widths))

    return max(_DELIMITERS, key=splits)


def _workbook_rows(path: Path) -> list[Row]:
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = openpyxl.load_workbook(path, data_only=True)
    except (InvalidFileException, KeyError, ValueError, OSError, zipfile.BadZipFile) as error:
        raise ListError(f"{path.name} is no workbook that can be read. Save it again as .xlsx.") from error
    for sheet in book.worksheets:
        rows = [
            Row(number, tuple(_cell_text(cell) for cell in cells))
            for number, cells in enumerate(sheet.iter_rows(), 1)
        ]
        if any(any(row.cells) for row in rows):
            return rows
    return []


def _cell_text(cell: Any) -> str:
    """Write a cell as it is shown: a number formatted ``000000`` keeps its zeros, 12.0 is ``12``."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    text = format(round(Decimal(str(value)), 6).normalize(), "f")
    zeros = re.fullmatch(r'(?:0|\\?-|"[^"]*"|\\? )+', str(cell.number_format))
    if zeros and text.isdigit():
        return _with_zeros(text, str(cell.number_format))
    return text


def _with_zeros(digits: str, number_format: str) -> str:
    """Fill a format of zeros: ``104238`` in ``000-000`` is ``104-238``, ``42`` in ``0000`` is ``0042``."""
    places = re.findall(r'"([^"]*)"|\\?([- ])|(0)', number_format)
    wanted = sum(bool(zero) for *_, zero in places)
    padded = digits.rjust(wanted, "0")
    if wanted <= 1:
        return digits
    spare = len(padded) - wanted  # more digits than places all stand at the first place
    shown: list[str] = []
    taken = 0
    for quoted, literal, zero in places:
        if zero:
            width = 1 + (spare if taken == 0 else 0)
            shown.append(padded[taken : taken + width])
            taken += width
        else:
            shown.append(quoted or literal)
    return "".join(shown)


def told_apart(meant: Sequence[str], plain: Sequence[str], otherwise: Mapping[str, str]) -> list[str]:
    """Give a heading its other meaning where its first one is claimed by a clearer heading.

    Parameters
    ----------
    meant
        What each heading means ("" for nothing).
    plain
        The headings, reduced by :func:`plain_heading`.
    otherwise
        Headings with two meanings, and the second of them: beside "Code", "Article" is the description.
    """
    told = list(meant)
    for at, heading in enumerate(plain):
        if heading in otherwise and told.count(told[at]) > 1 and otherwise[heading] not in told:
            told[at] = otherwise[heading]
    return told


def understand(
    name: str,
    rows: Sequence[Row],
    headings: Mapping[str, Collection[str]],
    needed: Collection[str],
    otherwise: Mapping[str, str] = MappingProxyType({}),
) -> Table:
    """Find the row of headings and what each column means.

    Parameters
    ----------
    name
        The file's name, for messages.
    rows
        What :func:`read_rows` gave.
    headings
        Our name of a column to the headings it may carry, reduced by :func:`plain_heading`.
    needed
        The columns without which the list makes no sense.
    otherwise
        Headings with two meanings (:func:`told_apart`).

    Raises
    ------
    ListError
        When no row among the first twenty names the needed columns, or when a heading occurs twice.
    """
    meaning = {known: column for column, knowns in headings.items() for known in knowns}
    best: tuple[int, dict[str, int]] = (0, {})
    for place, row in enumerate(rows[:_HEADING_ROWS]):
        columns: dict[str, int] = {}
        twice: str | None = None
        plain = [plain_heading(cell) for cell in row.cells]
        meant = told_apart([meaning.get(heading, "") for heading in plain], plain, otherwise)
        for at, (cell, column) in enumerate(zip(row.cells, meant, strict=True)):
            if not column:
                continue
            if column in columns:
                twice = cell.strip()
            columns.setdefault(column, at)
        if all(column in columns for column in needed):
            if twice is not None:
                raise ListError(
                    f"{name}, row {row.number}: the heading {twice!r} says the same as an earlier column. "
                    "Rename or remove one of the two."
                )
            return Table(name, columns, tuple(rows[place + 1 :]))
        if len(columns) > len(best[1]):
            best = (row.number, columns)
    missing = [column.replace("_", " ") for column in needed if column not in best[1]]
    seen = f" Row {best[0]} looks like the headings." if best[1] else ""
    raise ListError(
        f"{name}: no column is headed {' or '.join(repr(word) for word in missing)}.{seen} "
        f"Put a row of headings above the list: {', '.join(word.replace('_', ' ') for word in headings)}."
    )


class RowProblems:
    """Collects what is wrong with a list, row by row, so that a seller mends it in one go."""

    _SHOWN = 10  # more would scroll the first ones away

    def __init__(self, name: str) -> None:
        """Start with nothing wrong.

        Parameters
        ----------
        name
            The file's name, for the message.
        """
        self._name = name
        self._found: list[tuple[int, str]] = []

    def add(self, row: int, message: str) -> None:
        """Note one thing that is wrong in a row."""
        self._found.append((row, message))

    def raise_if_any(self) -> None:
        """Raise a :class:`ListError` that names each row, or do nothing if all is well."""
        if not self._found:
            return
        found = sorted(self._found)
        lines = [f"  row {row}: {message}" for row, message in found[: self._SHOWN]]
        if len(found) > self._SHOWN:
            lines.append(f"  and {len(found) - self._SHOWN} more")
        count = "1 thing needs" if len(found) == 1 else f"{len(found)} things need"
        raise ListError("\n".join([f"{self._name}: {count} mending:", *lines]))
