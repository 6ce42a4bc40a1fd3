"""Each slip flattened, with what was found and read drawn beside it: the evidence, to be looked at.

The slip's own picture stays as it is but for thin outlines of the boxes and the names of what they were taken for.
What was read stands in the margin, level with its row, so that the eye compares without the one hiding the other.
"""

import textwrap
from itertools import pairwise
from pathlib import Path, PurePosixPath

import cv2
import numpy as np

from formread.errors import OutputError
from formread.layout.overlay import draw_layout
from formread.layout.record import Box, Rectangle
from formread.money import Currency, currency, format_money, format_plain
from formread.pile.record import ReadSlip
from formread.pile.run import Pile
from formread.sheet.record import Image
from formread.slips import Line, Slip

Colour = tuple[int, int, int]

_INK: Colour = (32, 38, 46)
_QUIET: Colour = (112, 120, 130)
_MARKS: dict[str, Colour] = {"wrong": (176, 0, 60), "unsure": (150, 90, 0), "agrees": (0, 104, 87)}
_QUALITY = 88
_MARGIN_EMS = 24  # width of the margin: "12 x 104.99 = 1259.88, written 1259.98" fits
_ROW_EMS = 4  # and so much more where each line says which row it is of
_LINE = 1.2  # ems from one text in the margin to the next at least
_HEAD_EMS = 7  # height of the head: the verdict and two lines of reason
_NARROWEST_CHARACTER = 0.55  # mean width of the built-in face's characters, in ems


def picture_name(slip: Slip, number: int) -> str:
    """Name the picture of the report's slip `number`: sortable, traceable, safe on any file system."""
    stem = "".join(c if c.isalnum() or c in "-_" else "_" for c in str(PurePosixPath(slip.photo)))
    return f"{number:03d}-{slip.verdict}-{stem}.jpg"


def write_pictures(pile: Pile, folder: Path) -> None:
    """Write a picture of every slip of the pile.

    Raises
    ------
    OutputError
        When the folder can't be made or written to.
    """
    unit = currency(pile.report.currency)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number, (read, slip) in enumerate(zip(pile.read, pile.report.slips, strict=True), start=1):
            (folder / picture_name(slip, number)).write_bytes(draw_slip(read, slip, unit))
    except OSError as error:
        raise OutputError(
            f"The pictures can't be written to {str(folder)!r} ({error.strerror}). Choose another folder."
        ) from error


def draw_slip(read: ReadSlip, slip: Slip, unit: Currency) -> bytes:
    """Draw one slip with its readings in the margin and its verdict on top.

    Returns
    -------
    bytes
        A JPEG file.
    """
    sheet = cv2.imdecode(np.frombuffer(read.sheet_jpeg, np.uint8), cv2.IMREAD_COLOR)
    if sheet is None:
        raise ValueError("the kept picture of the slip is no JPEG file")
    rows = {row.number: [box for _, box in row.boxes] for row in read.layout.rows}
    abreast = _abreast([boxes[0].rectangle for boxes in rows.values() if boxes])
    drawn = draw_layout(np.asarray(sheet[..., ::-1], np.uint8), read.layout)
    page = _Page(drawn, _MARGIN_EMS + _ROW_EMS * abreast)
    mark = _MARKS[slip.verdict]
    page.head(slip.verdict.upper(), slip.reason, mark)
    right = dict(slip.right_line_totals)
    for line in slip.lines:
        boxes = rows.get(line.row, [])
        if not boxes:
            continue
        suspect = line.row in slip.suspect_rows
        if suspect:
            for box in boxes:
                page.outline(box, mark, 3)
        colour = mark if suspect else _QUIET if line.struck_out else _INK
        text = _line_text(line, right.get(line.row), unit)
        page.beside(boxes[0], f"row {line.row}: {text}" if abreast else text, colour)
    for total in read.layout.totals:
        if total.role == "total" and slip.verdict != "agrees":
            page.outline(total.box, mark, 3)
    page.foot(_total_texts(slip, unit), mark)
    _, data = cv2.imencode(".jpg", page.canvas[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return data.tobytes()


def _abreast(firsts: list[Rectangle]) -> bool:
    """Say whether rows stand side by side, so that their level does not tell which of them is meant."""
    firsts = sorted(firsts, key=lambda place: place.top)
    return any(2 * below.top < place.top + place.bottom for place, below in pairwise(firsts))


class _Page:
    """A sheet with a head above it and a margin to its right, so many ems wide."""

    def __init__(self, sheet: Image, margin: int) -> None:
        self.height, self.width = sheet.shape[:2]
        self.em = max(14, round(self.height / 55))
        self.top = _HEAD_EMS * self.em
        self.canvas = np.full((self.height + self.top, self.width + margin * self.em, 3), 255, np.uint8)
        self.canvas[self.top :, : self.width] = sheet
        self._face = cv2.FontFace("sans")
        self._taken: list[float] = []

    def _write(
        self, text: str, at: tuple[float, float], colour: Colour, *, ems: float = 1.0, weight: int = 400
    ) -> None:
        place = (round(at[0]), round(at[1]))
        cv2.putText(self.canvas, text, place, colour, self._face, round(ems * self.em), weight=weight)

    def head(self, verdict: str, reason: str, mark: Colour) -> None:
        self._write(verdict, (self.em, 2 * self.em), mark, ems=1.5, weight=700)
        columns = int((self.canvas.shape[1] - 2 * self.em) / (_NARROWEST_CHARACTER * self.em))
        for place, part in enumerate(textwrap.wrap(reason, columns, max_lines=2, placeholder=" ...")):
            self._write(part, (self.em, (3.9 + 1.5 * place) * self.em), _INK)

    def beside(self, box: Box, text: str, colour: Colour) -> None:
        middle = self.top + (box.rectangle.top + box.rectangle.bottom) / 2
        while any(abs(middle - taken) < _LINE * self.em for taken in self._taken):
            middle += 0.1 * self.em
        self._taken.append(middle)
        self._write(text, (self.width + self.em, middle + 0.35 * self.em), colour)

    def foot(self, texts: list[str], mark: Colour) -> None:
        first = self.canvas.shape[0] - (1.5 * len(texts) + 0.5) * self.em
        for place, text in enumerate(texts):
            colour = mark if place == 2 else _INK
            at = (self.width + self.em, first + 1.5 * (place + 1) * self.em)
            self._write(text, at, colour, ems=1.1, weight=600)

    def outline(self, box: Box, colour: Colour, width: int) -> None:
        for rectangle in (box.rectangle, box.pence):
            if rectangle is not None:
                first = (rectangle.left, rectangle.top + self.top)
                last = (rectangle.right - 1, rectangle.bottom - 1 + self.top)
                cv2.rectangle(self.canvas, first, last, colour, width)


def _line_text(line: Line, right: int | None, unit: Currency) -> str:
    if line.struck_out:
        return "crossed out"
    quantity = 1 if line.quantity is None else line.quantity
    text = (
        f"{quantity} \N{MULTIPLICATION SIGN} {format_plain(line.unit_price, unit)}"
        if line.unit_price is not None
        else "no price"
    )
    if right is None:
        return text
    text += f" = {format_plain(right, unit)}"
    if line.line_total is not None and line.line_total != right:
        text += f", written {format_plain(line.line_total, unit)}"
    return text


def _total_texts(slip: Slip, unit: Currency) -> list[str]:
    written = "none" if slip.written_total is None else format_money(slip.written_total, unit)
    texts = [f"total written {written}", f"comes to {format_money(slip.computed_total, unit)}"]
    if slip.difference:
        texts.append(f"difference {'+' if slip.difference > 0 else ''}{format_money(slip.difference, unit)}")
    return texts
