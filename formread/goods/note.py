"""Delivery notes: read from CSV, a spreadsheet, a PDF with text, or a photo or scan of a printed page.

Whatever the source, it becomes rows of cells under headings we know, and those become delivered lines. What
was read from a picture is checked against itself (the note's own total, check digits, the columns ordered,
sent and to follow) and against the codes that were ordered; what remains in doubt is marked for a person.
"""

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from formread.codes import normalise_code
from formread.errors import ListError, PhotoError
from formread.goods.delivery import DeliveredLine, DeliveryNote
from formread.goods.page import Grid, Piece, lay_out
from formread.goods.table import Row, RowProblems, read_rows, understand
from formread.goods.written import (
    carries_gs1_number,
    one_digit_off,
    parse_amount,
    parse_count,
)
from formread.money import Currency, currency

if TYPE_CHECKING:
    from formread.sheet.record import Image

HEADINGS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        column: frozenset(words.split())
        for column, words in {
            "code": "code codes itemcode productcode ordercode articlecode article articleno articlenumber artno "
            "ref refno reference itemno itemnumber catno cataloguenumber catalognumber cataloguecode catalogueno "
            "productno productnumber productref partno partnumber stockcode stockno sku gtin ean barcode codeno",
            "quantity": "delivered delivery qtydelivered quantitydelivered delivd sent qtysent quantitysent "
            "supplied qtysupplied quantitysupplied shipped qtyshipped despatched dispatched qtydespatched "
            "qtydispatched quantitydespatched packed pieces pcs units qty quantity quant noof number howmany "
            "received enclosed",
            "description": "description desc item items product products productname itemname name title details "
            "goods itemdescription productdescription nameofitem contents",
            "ordered": "ordered qtyordered quantityordered orderqty orderedqty orderquantity yourorder required",
            "to_follow": "tofollow outstanding backorder backordered qtytofollow due owed stilltocome short "
            "outofstock balance",
            "box": "box boxno boxnumber carton cartonno case caseno parcel parcelno package",
            "instead_of": "insteadof replaces substitutefor substitutes replacementfor inplaceof substitute",
            "price": "price unitprice priceeach each cost unitcost",
            "amount": "amount total linetotal value totalprice totalcost",
        }.items()
    }
)
"""Our columns and the headings they may carry: common practice, no source."""

_OTHERWISE: Final[Mapping[str, str]] = MappingProxyType(
    {"article": "description", "ref": "description"}
    | dict.fromkeys(
        ["qty", "quantity", "quant", "pieces", "pcs", "units", "number", "noof", "howmany"], "ordered"
    )
)
"""Headings with two meanings, and the second of them: beside "Delivered", "Qty" is what was ordered."""

_SURE = 0.80  # least probability among a code's or quantity's signs below which a person should look
_DIGITS = "0123456789"
_CODE_SIGNS = _DIGITS + "ABCDEFGHIJKLMNOPQRSTUVWXYZ-/."
_GS1_LEAST, _GS1_SHARE = 3, 0.7  # codes of a note, so many of which hold their check digit, are GTINs
_BOX_LINE = re.compile(
    r"(?:box|carton|case|parcel)(?:\s*(?:no\.?|number))?\s*:?\s*#?\s*([0-9]{1,3}|[A-Z])\b"
    r"(?:\s*(?:of|/)\s*\d+)?.*",
    re.I,
)
_INSTEAD = re.compile(
    r"(?:.*\b(?:replac\w*|substitut\w*|instead)\b(?:\s+(?:for|of|item|code))*)"
    r"[\s:]*([0-9A-Z][0-9A-Z./ -]*\d[0-9A-Z]*)\W*",
    re.I,
)
_TOTAL = re.compile(r"\btotals?\b|\bpieces in all\b|\bnumber of items\b", re.I)
_UNCLEAR_QUANTITY = re.compile(r"the quantity \d+ is not clear")
_SAME_SHAPE = 0.7  # share of a note's codes that have one form, for another form to be odd
_LONGEST_CODE = 24
_LEAST_COUNTS = (
    0.3  # share of the rows under the headings that hold a number; remarks and box lines hold none
)
_TURNS = (0, 1, 3, 2)  # quarter turns; a page on its side is commoner than one upside down


@dataclass(frozen=True, slots=True)
class NoteFile:
    """What one file of a delivery note holds, before anything is made of it: rows of a list, or pages of print."""

    name: str
    rows: tuple[Row, ...] = ()
    pages: tuple[tuple[Piece, ...], ...] | None = None


@dataclass(frozen=True, slots=True)
class _Cell:
    """One cell as text, and the least probability among its signs (1 where it was not read from a picture)."""

    text: str = ""
    least: float = 1.0


@dataclass(frozen=True, slots=True)
class _NoteRow:
    """One row of a note: where it stands, and its cells by our columns."""

    where: str
    cells: Mapping[str, _Cell]

    def of(self, column: str) -> _Cell:
        return self.cells.get(column, _Cell())

    @property
    def words(self) -> str:
        return " ".join(cell.text for cell in self.cells.values() if cell.text)


def read_delivery_note(
    paths: Iterable[Path], known: Collection[str] = (), currency_code: str = "GBP"
) -> DeliveryNote:
    """Read delivery notes; several files, or pages of one, add up.

    Parameters
    ----------
    paths
        CSV files, XLSX workbooks, PDFs, photos or scans.
    known
        Codes that were ordered: where a sign was read doubtfully, they help to choose, and the line is marked.
    currency_code
        ISO 4217 code of the prices on it, if any.

    Raises
    ------
    ListError
        When a file is no delivery note, or holds rows that can't be true.
    """
    return understand_note([look_at(path) for path in paths], known, currency_code)


def understand_note(
    files: Iterable[NoteFile], known: Collection[str] = (), currency_code: str = "GBP"
) -> DeliveryNote:
    """Make a delivery note of what :func:`look_at` found; see :func:`read_delivery_note`."""
    spelt, unit = {normalise_code(code): code for code in known}, currency(currency_code)
    lines: list[DeliveredLine] = []  # since the last total: one note may be photographed page by page
    done: list[DeliveredLine] = []
    remarks: list[str] = []
    names: list[str] = []
    for file in files:
        found, total, said = _understood(file, spelt, unit)
        lines += found
        remarks += said
        names.append(file.name)
        if total is not None:
            checked, said = _against_total(lines, total, file.name)
            done, lines = done + checked, []
            remarks += said
    return DeliveryNote(", ".join(names), tuple(done + lines), tuple(remarks))


def look_at(path: Path) -> NoteFile:
    """Read one file; the slow part where it is a photo.

    Raises
    ------
    ListError
        When it can't be read.
    """
    try:
        with path.open("rb") as file:
            start = file.read(1024)
    except OSError as error:
        raise ListError(
            f"{path.name} can't be opened ({error.strerror or 'unreadable'}). Check its name and place."
        ) from error
    if b"%PDF-" in start:
        pages = _pdf_pieces(path)
        if pages is not None:
            return NoteFile(path.name, pages=tuple(map(tuple, pages)))
    if b"%PDF-" in start or _is_picture(path, start):
        return NoteFile(path.name, pages=tuple(map(tuple, _photographed(path))))
    return NoteFile(path.name, read_rows(path))


def _understood(
    file: NoteFile, known: Mapping[str, str], unit: Currency
) -> tuple[list[DeliveredLine], int | None, list[str]]:
    if file.pages is not None:
        return _from_pages(file.name, file.pages, known, unit)
    return _from_table(file.name, file.rows, known, unit)


def _is_picture(path: Path, start: bytes) -> bool:
    from formread.photo import SUFFIXES

    return path.suffix.casefold() in SUFFIXES or start[:3] == b"\xff\xd8\xff" or start[:4] == b"\x89PNG"


def _from_table(
    name: str, listed: Sequence[Row], known: Mapping[str, str], unit: Currency
) -> tuple[list[DeliveredLine], int | None, list[str]]:
    """Read a CSV file or a workbook: its figures are certain, so nonsense is refused with its row."""
    table = understand(name, listed, HEADINGS, ("quantity",), _OTHERWISE)
    if not {"code", "description"} & set(table.columns):
        raise ListError(
            f"{name}: no column is headed 'code' or 'description'. Put a row of headings above the list."
        )
    problems = RowProblems(name)
    rows = [
        _NoteRow(
            f"{name}, row {row.number}",
            {column: _Cell(table.cell(row, column)) for column in table.columns},
        )
        for row in table.rows
    ]
    for row, note_row in zip(table.rows, rows, strict=True):
        _check_row(row, note_row, problems)
    problems.raise_if_any()
    return *_lines(rows, known, unit), []


def _check_row(row: Row, note_row: _NoteRow, problems: RowProblems) -> None:
    quantity, code = note_row.of("quantity").text, note_row.of("code").text
    if not code and not note_row.of("description").text:
        return
    if _is_aside(note_row):
        return
    if not quantity:
        if code:
            problems.add(row.number, f"no quantity for {code}; write 0 for what did not come")
        return
    try:
        parse_count(quantity)
    except ValueError as error:
        problems.add(row.number, str(error))


def _is_aside(row: _NoteRow) -> bool:
    """Say whether a row is a heading, a total or a remark, and no delivered line."""
    words = row.words
    filled = [cell for cell in row.cells.values() if cell.text]
    if len(filled) == 1 and (_BOX_LINE.fullmatch(words) or _INSTEAD.fullmatch(words)):
        return True
    return bool(_TOTAL.search(words)) and not re.search(r"\d", row.of("code").text)


def _from_pages(
    name: str, pages: Sequence[Sequence[Piece]], known: Mapping[str, str], unit: Currency
) -> tuple[list[DeliveredLine], int | None, list[str]]:
    rows: list[_NoteRow] = []
    columns: tuple[str, ...] | None = None
    remarks = []
    for number, pieces in enumerate(pages, 1):
        grid = _grid(pieces)
        if grid is None:
            remarks.append(
                f"{name}, page {number}: no headings for code and quantity were found on it, so nothing was "
                "taken from it. Photograph the whole page, flat and sharp, or type the note as a CSV list."
            )
            continue
        columns = grid.columns
        rows += _grid_rows(name, number, grid)
    if columns is None:
        raise ListError(remarks[0] if remarks else f"{name} has no pages.")
    lines, total = _lines(rows, known, unit)
    return lines, total, remarks


def _grid(pieces: Sequence[Piece]) -> Grid | None:
    """Lay a page out under headings for a quantity and for what it counts; None where it has none."""
    return lay_out(pieces, HEADINGS, ("quantity", "code"), _OTHERWISE) or lay_out(
        pieces, HEADINGS, ("quantity", "description"), _OTHERWISE
    )


def _grid_rows(name: str, page: int, grid: Grid) -> list[_NoteRow]:
    rows = []
    for above in grid.above:
        if _BOX_LINE.fullmatch(above):
            rows.append(_NoteRow(f"{name}, page {page}", {"box": _Cell(above)}))
    for number, pieces in enumerate(grid.rows, 1):
        cells: dict[str, _Cell] = {}
        for at, (column, piece) in enumerate(zip(grid.columns, pieces, strict=True)):
            if piece is not None:
                cells[column or f"other {at}"] = _Cell(piece.text, piece.least)
        rows.append(_NoteRow(f"{name}, page {page}, line {number}", cells))
    return rows


def _lines(
    rows: Sequence[_NoteRow], known: Mapping[str, str], unit: Currency
) -> tuple[list[DeliveredLine], int | None]:
    """Turn rows into delivered lines, and check them against one another."""
    lines: list[DeliveredLine] = []
    box = ""
    total: int | None = None
    gs1, shape = _codes_are_gs1(rows), _usual_shape(rows)
    for row in rows:
        words = row.words
        filled = [cell for cell in row.cells.values() if cell.text]
        section = _BOX_LINE.fullmatch(words) if len(filled) <= 2 else None
        if section and not re.fullmatch(r"\d+", row.of("quantity").text):
            box = section[1]
            continue
        replaced = _INSTEAD.fullmatch(words)
        if replaced and lines and not _count(row.of("quantity").text):
            lines[-1] = replace(lines[-1], instead_of=replaced[1].strip())
            continue
        if _is_aside(row):
            total = _count(row.of("quantity").text) or total
            continue
        line = _line(row, box, known, gs1, shape, unit)
        if line is not None:
            lines.append(line)
    return lines, total


def _count(text: str) -> int | None:
    try:
        return parse_count(text)
    except ValueError:
        return None


def _shape(code: str) -> str:
    """Reduce a code to its form: ``104-238`` and ``9-117`` are both ``0-0``."""
    return re.sub(r"[A-Za-z]+", "A", re.sub(r"\d+", "0", code.strip()))


def _usual_shape(rows: Sequence[_NoteRow]) -> str:
    """Return the form that most codes of the note share, or "" where they differ as a rule."""
    shapes = [_shape(row.of("code").text) for row in rows if re.search(r"\d", row.of("code").text)]
    best = max(set(shapes), key=lambda shape: (shapes.count(shape), shape), default="")
    return best if len(shapes) > 3 and shapes.count(best) >= _SAME_SHAPE * len(shapes) else ""


def _codes_are_gs1(rows: Sequence[_NoteRow]) -> bool:
    codes = [normalise_code(row.of("code").text) for row in rows]
    long = [code for code in codes if code.isdigit() and len(code) in (8, 12, 13, 14)]
    good = sum(map(carries_gs1_number, long))
    return good >= _GS1_LEAST and good >= _GS1_SHARE * len(long)


def _line(
    row: _NoteRow, box: str, known: Mapping[str, str], gs1: bool, shape: str, unit: Currency
) -> DeliveredLine | None:
    code, quantity, description = row.of("code"), row.of("quantity"), row.of("description").text or None
    looks_like_code = bool(re.search(r"\d", code.text)) and len(code.text) <= _LONGEST_CODE
    if "code" in row.cells and not looks_like_code and not quantity.text:
        return None  # running text under the table
    if not code.text and not (description and quantity.text):
        return None
    doubts = []
    text = code.text.strip()
    key = normalise_code(text)
    # A bit of a rule beside the code is read as one sign more, a stroke between two numbers as a 1.
    shorter = {
        key[:at] + key[at + 1 :] for at in range(len(key)) if key[at] == "1" or at in (0, len(key) - 1)
    }
    stray = [known[part] for part in sorted(shorter) if key not in known and part in known]
    if len(stray) == 1 and len(key) > 3:
        doubts.append(f"the code was read as {text}; {stray[0]} was ordered and is taken to be meant")
        text, key = stray[0], normalise_code(stray[0])
    elif shape and _shape(text) != shape and key not in known:
        doubts.append(f"the code {text} is not written like the others")
    elif code.least < _SURE and key not in known:
        near = [spelt for other, spelt in known.items() if one_digit_off(key, other)]
        if len(near) == 1:
            doubts.append(f"the code was read as {text}; {near[0]} was ordered and is taken to be meant")
            text, key = near[0], normalise_code(near[0])
        else:
            doubts.append(f"the code {text} is not clear")
    elif code.least < _SURE / 2:
        doubts.append(f"the code {text} is not clear")
    if gs1 and key and not carries_gs1_number(key):
        doubts.append(f"the check digit of {text} does not hold")
    number = _count(quantity.text)
    if number is None:
        number = 0
        shown = f"{quantity.text!r} is not a number" if quantity.text else "there is no quantity"
        doubts.append(f"{shown}; nothing is counted as delivered")
    elif quantity.least < _SURE:
        doubts.append(f"the quantity {number} is not clear")
    ordered, follows = _count(row.of("ordered").text), _count(row.of("to_follow").text)
    if ordered is not None and follows is not None and number + follows != ordered:
        doubts.append(f"{number} sent and {follows} to follow are not the {ordered} ordered")
    instead = row.of("instead_of").text or _replaced_in(row.of("description").text)
    printed_box = row.of("box").text
    found = _BOX_LINE.fullmatch(printed_box)
    return DeliveredLine(
        code=text,
        description=description,
        quantity=number,
        box=(found[1] if found else printed_box) or box,
        instead_of=instead or None,
        where=row.where,
        doubtful="; ".join(doubts) or None,
        price=_price(row.of("price").text, unit),
    )


def _price(text: str, unit: Currency) -> int | None:
    try:
        return parse_amount(text, unit) or None
    except ValueError:
        return None


def _replaced_in(description: str) -> str | None:
    found = _INSTEAD.fullmatch(description)
    return found[1].strip() if found else None


def _against_total(
    lines: list[DeliveredLine], total: int | None, name: str
) -> tuple[list[DeliveredLine], list[str]]:
    """Use the note's own number of pieces: one that agrees clears quantities, one that does not says so."""
    if total is None or not lines:
        return lines, []
    counted = sum(line.quantity for line in lines)
    if counted == total:
        return [_cleared(line) for line in lines], []
    missing = total - counted
    lines = [
        replace(
            line,
            doubtful="; ".join(
                filter(None, [line.doubtful, f"the total would fit {line.quantity + missing}"])
            ),
        )
        if one_digit_off(str(line.quantity), str(line.quantity + missing))
        else line
        for line in lines
    ]
    return lines, [f"{name}: the lines come to {counted} pieces, but the note's own total says {total}."]


def _cleared(line: DeliveredLine) -> DeliveredLine:
    """Take the doubt about a quantity back; doubts about the code, and a missing quantity, stay."""
    doubts = [doubt for doubt in (line.doubtful or "").split("; ") if not _UNCLEAR_QUANTITY.fullmatch(doubt)]
    return replace(line, doubtful="; ".join(doubts) or None)


def _pdf_pieces(path: Path) -> list[list[Piece]] | None:
    """Return the text of a PDF's pages as pieces, or None where it has no text to speak of."""
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(path)
    except pypdfium2.PdfiumError as error:
        raise ListError(
            f"{path.name} is damaged or locked with a password. Save or print it as a new PDF."
        ) from error
    try:
        pages = [_page_pieces(document[index]) for index in range(len(document))]
    finally:
        document.close()
    return pages if sum(len(pieces) for pieces in pages) > 5 else None


def _page_pieces(page: object) -> list[Piece]:
    """Return a page's words, joined into pieces where they stand close."""
    height = page.get_height()  # type: ignore[attr-defined]
    text = page.get_textpage()  # type: ignore[attr-defined]
    signs = []
    for index in range(text.count_chars()):
        sign = text.get_text_range(index, 1)
        if sign.strip():
            left, bottom, right, top = text.get_charbox(index, loose=True)
            signs.append(Piece(sign, left, height - top, right, height - bottom))
    pieces: list[Piece] = []
    for sign in signs:
        last = pieces[-1] if pieces else None
        if (
            last
            and abs(sign.middle - last.middle) < 0.3 * sign.height
            and -0.5 < (gap := (sign.left - last.right) / sign.height) < 0.75
        ):
            joint = " " if gap > 0.12 else ""
            pieces[-1] = Piece(
                last.text + joint + sign.text,
                last.left,
                min(last.top, sign.top),
                sign.right,
                max(last.bottom, sign.bottom),
            )
        else:
            pieces.append(sign)
    return pieces


def _photographed(path: Path) -> list[list[Piece]]:
    from formread.photo import read_photo

    try:
        return [_upright(photo.image) for photo in read_photo(path)]
    except PhotoError as error:
        raise ListError(f"{path.name}: {error}") from error


def _upright(photo: "Image") -> list[Piece]:
    """Read a page; one without headings may lie on its side, and is turned until they show."""
    from formread.goods.photographed import flat_page, read_page

    image = flat_page(photo)
    first: list[Piece] | None = None
    for turn in _TURNS:
        page = read_page(np.ascontiguousarray(np.rot90(image, turn)))
        pieces = _sharpened(page.pieces, page.reads)
        grid = _grid(pieces)
        # Print on its side may show a heading by chance, but not a column of figures under it.
        if grid is not None and _counts(grid) >= _LEAST_COUNTS * len(grid.rows):
            return pieces
        first = first or pieces
    return first or []


def _counts(grid: Grid) -> int:
    at = grid.columns.index("quantity")
    return sum(_count(cell.text) is not None for row in grid.rows if (cell := row[at]) is not None)


def _sharpened(pieces: Sequence[Piece], reads: Sequence[object]) -> list[Piece]:
    """Read codes and quantities once more with the signs that can stand there only."""
    from formread.ocr import PrintedText, among

    grid = lay_out(pieces, HEADINGS, ("quantity", "code"), _OTHERWISE)
    if grid is None:
        return list(pieces)
    better: dict[int, Piece] = {}
    at = {column: place for place, column in enumerate(grid.columns) if column}
    codes = [row[at["code"]] for row in grid.rows]
    plain = [piece.text for piece in codes if piece is not None and re.search(r"\d", piece.text)]
    only_digits = bool(plain) and sum(not re.search(r"[A-Za-z]", text) for text in plain) > 0.7 * len(plain)
    code_signs = _DIGITS + "-/." if only_digits else _CODE_SIGNS
    for row in grid.rows:
        amount = row[at["quantity"]]
        if amount is None or not re.search(r"\d", amount.text):
            continue  # a heading or a remark between the lines
        for column in ("code", "quantity", "ordered", "to_follow", "box"):
            piece = row[at[column]] if column in at else None
            if piece is None or piece.source < 0:
                continue
            read = reads[piece.source]
            assert isinstance(read, PrintedText)
            if column == "code" and not re.search(r"\d", piece.text):
                continue
            if column != "code" and (len(piece.text) > 4 or (len(piece.text) == 1 and piece.text.isdigit())):
                continue  # lone figures were looked at twice already
            text, least = among(read, code_signs if column == "code" else _DIGITS)
            if text:
                better[piece.source] = replace(piece, text=text, least=least)
    return [better.get(piece.source, piece) for piece in pieces]
