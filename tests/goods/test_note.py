"""Delivery notes as lists, as PDFs with text, and as photographs."""

import json
from io import BytesIO
from pathlib import Path

import numpy as np
import numpy.typing as npt
import openpyxl
import pytest
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from formread.errors import ListError
from formread.goods import photographed
from formread.goods.note import _upright, read_delivery_note
from formread.goods.page import Piece, lay_out
from formread.goods.photographed import Page
from formread.goods.table import plain_heading
from tests.evening_pile import EVENING

ROWS = (("104-238", "Lilac soap", "4"), ("104-239", "Beech brush", "12"), ("117-001", "Enamel bowl", "0"))
CSV = "Code,Description,Qty,Delivered,Box\n" + "".join(f"{c},{d},9,{q},2\n" for c, d, q in ROWS)


def read(path: Path) -> list[tuple[str, str | None, int]]:
    return [(line.code, line.description, line.quantity) for line in read_delivery_note([path]).lines]


EXPECTED = [(code, words, int(quantity)) for code, words, quantity in ROWS]


def test_a_list_a_workbook_and_a_pdf_with_text_say_the_same(tmp_path: Path) -> None:
    text = tmp_path / "note.csv"
    text.write_text(CSV)
    assert read(text) == EXPECTED
    book = openpyxl.Workbook()
    for row in (("Code", "Goods", "Sent"), *ROWS):
        book.active.append(row)
    book.save(tmp_path / "note.xlsx")
    assert read(tmp_path / "note.xlsx") == EXPECTED
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=A4)
    for at, (code, words, quantity) in enumerate((("Item no.", "Article", "Delivered"), *ROWS)):
        y = 700 - 16 * at
        canvas.drawString(60, y, code)
        canvas.drawString(160, y, words)
        canvas.drawRightString(420, y, quantity)
    canvas.save()
    (tmp_path / "note.pdf").write_bytes(buffer.getvalue())
    assert read(tmp_path / "note.pdf") == EXPECTED


def test_boxes_substitutes_and_totals_between_the_lines_are_understood(tmp_path: Path) -> None:
    path = tmp_path / "note.csv"
    path.write_text(
        "code,description,sent\nBox 1,,\n104-238,Lilac soap,4\nBox No. 2 of 2,,\n104-239,Oak brush,1\n"
        "replaces 104-240,,\n,Total pieces,5\n"
    )
    note = read_delivery_note([path])
    assert [(line.code, line.box, line.instead_of) for line in note.lines] == [
        ("104-238", "1", None),
        ("104-239", "2", "104-240"),
    ]
    assert note.remarks == ()
    path.write_text("code,description,sent\n104-238,Lilac soap,4\n,Total pieces,6\n")
    assert "come to 4 pieces, but the note's own total says 6" in read_delivery_note([path]).remarks[0]


def test_several_notes_add_up_and_a_total_may_stand_on_the_last_page(tmp_path: Path) -> None:
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    one.write_text("code,sent\n1,4\n2,5\n")
    two.write_text("code,description,sent\n3,Soap,6\n,Total,15\n")
    note = read_delivery_note([one, two])
    assert (sum(line.quantity for line in note.lines), note.remarks) == (15, ())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("code,sent\n104,many\n", r"row 2: 'many' is not a number of pieces"),
        ("code,sent\n104,\n", "no quantity for 104"),
        ("name,price\nsoap,4\n", "no column is headed 'quantity'"),
        ("sent,price\n4,5\n", "'code' or 'description'"),
    ],
)
def test_nonsense_in_a_list_is_named_with_its_row(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "note.csv"
    path.write_text(text)
    with pytest.raises(ListError, match=words):
        read_delivery_note([path])


def test_a_picture_without_a_table_is_refused_with_what_to_do(tmp_path: Path) -> None:
    from PIL import Image

    path = tmp_path / "blank.png"
    Image.new("RGB", (900, 1200), (250, 250, 248)).save(path)
    with pytest.raises(ListError, match="no headings for code and quantity"):
        read_delivery_note([path])


def test_the_sample_note_is_read_from_its_photograph_and_what_is_unclear_is_marked() -> None:
    """One of the committed photographs; the measurement over many is tests/measure/delivery_notes.py."""
    truth = json.loads((EVENING / "truth.json").read_text(encoding="utf-8"))["pages"][3]
    note = read_delivery_note([EVENING / truth["photo"]])
    assert len(note.lines) == len(truth["lines"])
    for line, true in zip(note.lines, truth["lines"], strict=True):
        exact = (line.code, line.quantity) == (true["code"], true["quantity"])
        assert exact or line.doubtful


def test_a_heading_of_two_meanings_takes_the_one_that_is_free() -> None:
    headings = {
        "code": {"code", "article"},
        "quantity": {"sent", "qty"},
        "description": set[str](),
        "ordered": set[str](),
    }

    def piece(text: str, left: float, line: int) -> Piece:
        return Piece(text, left, 20.0 * line, left + 8 * len(text), 20.0 * line + 10)

    lines = [["Code", "Article", "Qty", "Sent"], ["104", "Soap", "3", "2"]]
    pieces = [piece(text, 100.0 * at, row) for row, line in enumerate(lines) for at, text in enumerate(line)]
    grid = lay_out(pieces, headings, ("code", "quantity"), {"article": "description", "qty": "ordered"})
    assert grid is not None
    assert grid.columns == ("code", "description", "ordered", "quantity")
    assert [piece.text if piece else "" for piece in grid.rows[0]] == lines[1]
    assert plain_heading("Qty. (pcs)") == "qty"


def test_a_stroke_between_two_numbers_that_was_read_as_a_one_is_taken_for_what_was_ordered(
    tmp_path: Path,
) -> None:
    path = tmp_path / "note.csv"
    path.write_text("code,description,sent\n49142,Watering rose,1\n47/44,Trug,2\n")
    note = read_delivery_note([path], ["49/42", "47/44"])
    assert [line.code for line in note.lines] == ["49/42", "47/44"]
    assert note.lines[0].doubtful is not None
    assert "was read as 49142" in note.lines[0].doubtful
    assert note.lines[1].doubtful is None


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_a_page_on_its_side_is_turned_until_its_headings_show(
    monkeypatch: pytest.MonkeyPatch, quarter_turns: int
) -> None:
    """The recogniser is stood in for: it reads the headings when the page is the right way up, noise otherwise."""
    upright = np.zeros((60, 40, 3), np.uint8)
    upright[0, 0] = 255

    def read_page(image: npt.NDArray[np.uint8]) -> Page:
        if image.shape != upright.shape or not image[0, 0].all():
            return Page((Piece("Quantity", 0, 0, 60, 20), Piece("o|", 0, 30, 60, 50)), ())
        heads = (Piece("Code", 0, 0, 60, 20), Piece("Sent", 100, 0, 160, 20))
        return Page((*heads, Piece("104-238", 0, 30, 60, 50), Piece("4", 140, 30, 160, 50)), ())

    monkeypatch.setattr(photographed, "flat_page", lambda photo: photo)
    monkeypatch.setattr(photographed, "read_page", read_page)
    pieces = _upright(np.rot90(upright, quarter_turns))
    assert [piece.text for piece in pieces] == ["Code", "Sent", "104-238", "4"]
