"""Plain CSV: any RFC 4180 reader gets back what the report says, and no spreadsheet program runs it."""

import csv
import io
import re
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from formread.export.csv_files import csv_files
from formread.money import currency
from formread.slips import Line, Problem, Report, Slip
from tests.export.pile import CORNERS, PILE
from tests.strategies import reports, words

# RFC 4180 (October 2005), section 2: records end with CRLF; a field is bare, or in quotes with quotes doubled.
_FIELD = r'(?:"(?:[^"]|"")*"|[^",\r\n]*)'
RFC_4180 = re.compile(rf"(?:{_FIELD}(?:,{_FIELD})*\r\n)+")


def table(data: bytes) -> list[dict[str, str]]:
    """Read a file with Python's own reader, strictly, by the names in its heading row."""
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))


def as_read(text: str) -> str:
    """Undo the guard, as the module says: one apostrophe comes off the front."""
    return text.removeprefix("'")


def shown(text: str | None) -> str:
    return text or ""


def minor(text: str, report: Report) -> int | None:
    return None if text == "" else int(Decimal(text).scaleb(currency(report.currency).digits))


def test_the_hand_made_pile_is_written_as_it_should_be() -> None:
    files = csv_files(PILE)
    assert list(files) == ["wrong_totals.csv", "orders.csv", "lines.csv", "problems.csv"]
    assert files["wrong_totals.csv"].decode("utf-8-sig").split("\r\n")[:2] == [
        "No.,Slip,Customer,Customer's total,Right total,Difference,Who loses,formread says,Why,Look at,Photo",
        '3,0043,"\'=HYPERLINK(""x"")",16.00,26.00,-10.00,you,wrong,'
        "Ten pounds too little: a carry is missing in the sum of the lines.,,IMG_0003.jpg",
    ]
    assert files["orders.csv"].decode("utf-8-sig").split("\r\n")[1] == (
        "1,0041,Marlow Tench,15.75,1.50,,,,17.25,17.25,0.00,agrees,IMG_0001.jpg"
    )
    assert files["lines.csv"].decode("utf-8-sig").split("\r\n")[3:6] == [
        "2,0042,1,230-11,Rosemary oil,4,3.95,16.80,yes,15.80,1.00",
        "2,0042,2,007-02,Bath salts,,,6.00,yes,6.00,0.00",
        "2,0042,3,007-03,Hand cream,1,4.99,4.99,no,,",
    ]
    assert files["problems.csv"].decode("utf-8-sig") == (
        'Photo,Page,"What happened, and what to do"\r\n'
        "IMG_0005.jpg,,The photo is cut off in the middle. Copy it again.\r\n"
    )


@given(reports())
@settings(max_examples=50, deadline=None)
def test_every_value_comes_back(report: Report) -> None:
    files = csv_files(report)
    orders = table(files["orders.csv"])
    assert [as_read(row["Slip"]) for row in orders] == [shown(slip.slip_number) for slip in report.slips]
    assert [as_read(row["Customer"]) for row in orders] == [shown(slip.customer) for slip in report.slips]
    assert [row["formread says"] for row in orders] == [slip.verdict for slip in report.slips]
    for row, slip in zip(orders, report.slips, strict=True):
        assert minor(row["Customer's total"], report) == slip.written_total
        assert minor(row["Right total"], report) == slip.computed_total
        assert minor(row["Difference"], report) == slip.difference
        parts = [
            minor(row[name], report) or 0 for name in ("Goods", "Delivery", "Discount", "Deposit", "Other")
        ]
        assert sum(parts) == slip.computed_total
    read = [
        Line(
            row=int(row["Row"]),
            code=as_read(row["Code"]),
            description=as_read(row["Description"]),
            quantity=int(row["Quantity"]) if row["Quantity"] else None,
            unit_price=minor(row["Unit price"], report),
            line_total=minor(row["Written line total"], report),
            struck_out=row["Counts"] == "no",
        )
        for row in table(files["lines.csv"])
    ]
    assert read == [
        Line(
            line.row,
            shown(line.code),
            shown(line.description),
            line.quantity,
            line.unit_price,
            line.line_total,
            line.struck_out,
        )
        for slip in report.slips
        for line in slip.lines
    ]
    assert [
        (as_read(row["Photo"]), row["Page"], as_read(row["What happened, and what to do"]))
        for row in table(files["problems.csv"])
    ] == [
        (each.photo, shown(None if each.page is None else str(each.page)), each.message)
        for each in report.problems
    ]
    doubted = [slip for slip in report.slips if slip.verdict != "agrees"]
    wrong = table(files["wrong_totals.csv"])
    assert sorted(as_read(row["Why"]) for row in wrong) == sorted(slip.reason for slip in doubted)


@given(reports())
@settings(max_examples=50, deadline=None)
def test_files_follow_the_standard_and_begin_with_the_mark(report: Report) -> None:
    for data in csv_files(report).values():
        assert data.startswith(b"\xef\xbb\xbf")
        assert RFC_4180.fullmatch(data.decode("utf-8-sig"))


@given(words())
@settings(max_examples=50, deadline=None)
def test_no_text_begins_like_a_formula(text: str) -> None:
    slip = Slip(
        text, 1, CORNERS, (Line(1, text, text),), (), 1, 0, 1, "wrong", 0.9, text, text, text, ask=text
    )
    for data in csv_files(Report("GBP", (slip,), (Problem(text, None, text),))).values():
        for row in table(data):
            for value in row.values():
                # Source of the signs: OWASP, "CSV Injection" (from memory). Amounts here are not negative.
                assert not value.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_amounts_have_the_currencys_digits() -> None:
    """ISO 4217: JPY 0, GBP 2, BHD 3 digits (from memory)."""
    slip = Slip("a.jpg", 1, CORNERS, (), (), 1725, 0, 1725, "wrong", 0.9, "")
    written = {
        code: table(csv_files(Report(code, (slip,), ()))["orders.csv"])[0]["Customer's total"]
        for code in ("JPY", "GBP", "BHD")
    }
    assert written == {"JPY": "1725", "GBP": "17.25", "BHD": "1.725"}


def test_a_file_name_that_is_no_text_is_written_all_the_same() -> None:
    data = csv_files(Report("GBP", (), (Problem("IMG\udcff.jpg", None, "Empty."),)))["problems.csv"]
    assert table(data)[0]["Photo"] == "IMG\ufffd.jpg"


@given(st.data())
@settings(max_examples=5, deadline=None)
def test_the_same_report_gives_the_same_bytes(data: st.DataObject) -> None:
    report = data.draw(reports())
    assert csv_files(report) == csv_files(report)
