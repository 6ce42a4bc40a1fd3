"""The spreadsheet's numbers are the report's, and stay right when somebody corrects a reading."""

import dataclasses
import zipfile
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from xlsxwriter import Workbook as NewWorkbook

from formread.export.spreadsheet import add_order_sheets, spreadsheet
from formread.export.workbook import FORMULA_STARTS
from formread.money import currency
from formread.slips import Line, Problem, Report, Slip
from tests.export.conftest import Recalculate
from tests.export.pile import CORNERS, PILE
from tests.strategies import reports, right_line_total

Row = dict[str, Any]

TOPS = {"Wrong totals": 6, "Orders": 1, "Lines": 1, "Problems": 1}
"""The row of the headings on each sheet."""


def opened(data: bytes, *, results: bool) -> Workbook:
    return load_workbook(BytesIO(data), data_only=results)


def table(book: Workbook, name: str) -> list[Row]:
    """The rows below the headings that have a number, or a photo, in their first cell."""
    sheet = book[name]
    top = TOPS[name]
    titles = [cell.value for cell in sheet[top]]
    rows = [
        dict(zip(titles, (cell.value for cell in row), strict=True))
        for row in sheet.iter_rows(min_row=top + 1)
    ]
    return [row for row in rows if len([value for value in row.values() if value is not None]) > 1]


def minor(value: Any, digits: int) -> int | None:
    """The amount in a cell in minor units; the cell must hold it exactly, up to a float's last digits."""
    if value in (None, ""):
        return None
    assert not isinstance(value, str)
    amount = Decimal(repr(value)).scaleb(digits)
    whole = int(amount.to_integral_value())
    assert abs(amount - whole) < Decimal("0.0001")
    return whole


def assert_numbers_are(book: Workbook, report: Report) -> None:
    """Every number of the report stands in its cell, and every verdict on the numbers follows from them."""
    digits = currency(report.currency).digits
    orders = {row["No."]: row for row in table(book, "Orders")}
    assert sorted(orders) == list(range(1, len(report.slips) + 1))
    for number, slip in enumerate(report.slips, 1):
        row = orders[number]
        assert minor(row["Right total"], digits) == slip.computed_total
        assert minor(row["Customer's total"], digits) == slip.written_total
        assert minor(row["Difference"], digits) == slip.difference
        counted = [line for line in slip.lines if not line.struck_out]
        assert minor(row["Goods"], digits) == sum(right_line_total(line) or 0 for line in counted)
        for kind in ("delivery", "discount", "deposit", "other"):
            amounts = [charge.amount for charge in slip.charges if charge.kind == kind]
            assert (minor(row[kind.title()], digits) or 0) == sum(amounts)
        expected = "no total" if slip.difference is None else "differs" if slip.difference else "agrees"
        assert row["Now"] == expected
    lines = table(book, "Lines")
    flat = [(number, line) for number, slip in enumerate(report.slips, 1) for line in slip.lines]
    assert [(row["No."], row["Row"]) for row in lines] == [(number, line.row) for number, line in flat]
    for row, (_, line) in zip(lines, flat, strict=True):
        right = right_line_total(line) or 0
        assert minor(row["Right line total"], digits) == right
        differs = line.line_total is not None and not line.struck_out
        assert minor(row["Difference"], digits) == ((line.line_total or 0) - right if differs else None)
    wrong = table(book, "Wrong totals")
    assert sorted(row["No."] for row in wrong) == [
        number for number, slip in enumerate(report.slips, 1) if slip.verdict != "agrees"
    ]
    for row in wrong:
        slip = report.slips[row["No."] - 1]
        assert minor(row["Right total"], digits) == slip.computed_total
        assert minor(row["Customer's total"], digits) == slip.written_total
        assert minor(row["Difference"], digits) == slip.difference
        side = slip.difference or 0
        assert (row["Who loses"] or "") == ("customer" if side > 0 else "you" if side < 0 else "")
        assert row["Now"] == orders[row["No."]]["Now"]


@settings(max_examples=25)
@given(reports())
def test_the_stored_results_are_the_reports_numbers(report: Report) -> None:
    assert_numbers_are(opened(spreadsheet(report), results=True), report)


@settings(
    max_examples=2,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.large_base_example, HealthCheck.data_too_large],
)
@given(st.lists(reports(most_slips=2), min_size=4, max_size=6))
def test_libreoffice_computes_the_reports_numbers(recalculate: Recalculate, piles: list[Report]) -> None:
    piles = [PILE, *piles]
    for book, report in zip(recalculate([spreadsheet(report) for report in piles]), piles, strict=True):
        assert_numbers_are(book, report)


def test_libreoffice_really_computes(recalculate: Recalculate) -> None:
    """The outside judge is worth nothing when it only repeats the results stored in the file."""
    buffer = BytesIO()
    book = NewWorkbook(buffer, {"in_memory": True})
    book.add_worksheet().write_formula(0, 0, "=6*7", None, 41)
    book.close()
    (computed,) = recalculate([buffer.getvalue()])
    assert computed.active["A1"].value == 42


def test_a_correction_goes_through_to_the_wrong_totals(recalculate: Recalculate) -> None:
    book = opened(spreadsheet(PILE), results=False)
    lines = book["Lines"]
    titles = [cell.value for cell in lines[1]]

    def cell(number: int, row: int, title: str) -> Any:
        for cells in lines.iter_rows(min_row=2):
            if (cells[0].value, cells[2].value) == (number, row):
                return cells[titles.index(title)]
        raise AssertionError

    cell(2, 1, "Unit price").value = 4.20  # 4 x 4.20 = 16.80, as written: slip 2 agrees now
    cell(3, 1, "Quantity").value = 3  # 3 x 7.20 = 21.60 and 24.80, less 6.00: 40.40 against 16.00
    cell(1, 2, "Counts").value = "no"  # slip 1 comes to 9.00 + 1.50 = 10.50 against 17.25
    saved = BytesIO()
    book.save(saved)
    (computed,) = recalculate([saved.getvalue()])

    orders = {row["No."]: row for row in table(computed, "Orders")}
    assert [(row["Right total"], row["Difference"], row["Now"]) for row in orders.values()] == [
        (10.5, 6.75, "differs"),
        (22.8, 0, "agrees"),
        (40.4, -24.4, "differs"),
        (5.5, None, "no total"),
        (8.15, 0.6, "differs"),
    ]
    wrong = {row["No."]: row for row in table(computed, "Wrong totals")}
    assert (wrong[2]["Difference"], wrong[2]["Now"], wrong[2]["Who loses"]) == (0, "agrees", None)
    assert (wrong[3]["Right total"], wrong[3]["Difference"], wrong[3]["Who loses"]) == (40.4, -24.4, "you")
    assert computed["Wrong totals"]["A3"].value == (
        "As the sheets stand now: 1 agree, 3 differ, 1 without a total."
    )


def test_sorting_a_sheet_loses_no_tie(recalculate: Recalculate) -> None:
    book = opened(spreadsheet(PILE), results=False)
    orders = book["Orders"]
    first, last = 2, orders.max_row
    # A program that sorts moves each row's own cells and shifts the row numbers in its formulas.
    rows = [[cell.value for cell in row] for row in orders.iter_rows(min_row=first, max_row=last)]
    for place, (row, values) in enumerate(zip(range(last, first - 1, -1), rows, strict=True)):
        for column, value in enumerate(values, 1):
            old = str(first + place)
            moved = value.replace(f"A{old}", f"A{row}") if isinstance(value, str) else value
            if isinstance(moved, str) and moved.startswith("="):
                for letter in "DEFGHIJKLM":
                    moved = moved.replace(f"{letter}{old}", f"{letter}{row}")
            orders.cell(row, column).value = moved
    saved = BytesIO()
    book.save(saved)
    (computed,) = recalculate([saved.getvalue()])
    assert_numbers_are(computed, PILE)


def test_sheets_are_ready_to_work_with() -> None:
    book = opened(spreadsheet(PILE), results=False)
    assert book.sheetnames == ["Wrong totals", "Orders", "Lines", "Problems"]
    for sheet in book:
        top = TOPS[sheet.title]
        last = f"{sheet.cell(1, sheet.max_column).column_letter}"
        assert sheet.freeze_panes == f"C{top + 1}"
        assert sheet.auto_filter.ref.startswith(f"A{top}:{last}")
        assert sheet.print_title_rows == f"${top}:${top}"
        assert sheet.page_setup.orientation == "landscape"
        assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)  # 1 is the default
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert all(cell.font.bold for cell in sheet[top])


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        ("GBP", "[$£]#,##0.00;-[$£]#,##0.00"),
        ("JPY", "[$¥]#,##0;-[$¥]#,##0"),
        ("BHD", "[$BHD] #,##0.000;-[$BHD] #,##0.000"),
    ],
)
def test_money_is_a_number_with_the_currencys_decimals(code: str, expected: str) -> None:
    """Decimals by ISO 4217 list one: GBP 2, JPY 0, BHD 3 (from memory)."""
    book = opened(spreadsheet(dataclasses.replace(PILE, currency=code)), results=True)
    cell = book["Lines"]["G2"]
    assert cell.data_type == "n"
    assert cell.number_format == expected
    assert minor(cell.value, currency(code).digits) == 450


def test_codes_and_slip_numbers_keep_their_zeros() -> None:
    book = opened(spreadsheet(PILE), results=True)
    assert [row["Code"] for row in table(book, "Lines")][:2] == ["012-07", "104-31"]
    assert book["Orders"]["B2"].value == "0041"
    assert book["Orders"]["B2"].number_format == "@"


@given(st.sampled_from(FORMULA_STARTS), st.text("=HYPERLINK()1+x", max_size=12))
@settings(max_examples=15, deadline=None)
def test_text_that_looks_like_a_formula_stays_text(start: str, rest: str) -> None:
    text = start + rest
    line = Line(1, text, text, 1, 100, 100)
    slip = Slip(text, 1, CORNERS, (line,), (), 90, 100, -10, "wrong", 0.9, text, text, text, ask=text)
    data = spreadsheet(Report("GBP", (slip,), (Problem(text, 1, text),)))
    book = opened(data, results=False)
    kept = text.replace("\r", "\n")
    found = 0
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell.value, str) and cell.data_type != "f" and cell.value == kept:
                    assert cell.quotePrefix
                    found += 1
                if cell.data_type == "f":
                    assert "HYPERLINK" not in cell.value
    # Wrong totals: slip, customer, why, look at, photo. Orders: slip, customer, photo.
    # Lines: slip, code, description. Problems: photo, message.
    assert found == 5 + 3 + 3 + 2


def test_a_report_whose_best_readings_do_not_add_up_to_its_total_says_so() -> None:
    slip = dataclasses.replace(PILE.slips[4], computed_total=875, difference=0)
    book = opened(spreadsheet(Report("GBP", (slip,), ())), results=True)
    (row,) = table(book, "Wrong totals")
    assert row["Right total"] == 8.15
    assert row["Why"].endswith("formread believes £8.75 is right.")


def test_empty_reports_have_their_headings_and_say_that_nothing_is_wrong() -> None:
    book = opened(spreadsheet(Report("GBP", PILE.slips[:1], ())), results=True)
    assert book["Wrong totals"]["A7"].value == "Every total agrees."
    assert book["Problems"]["A2"].value == "No problems."
    book = opened(spreadsheet(Report("GBP", (), ())), results=True)
    assert book["Wrong totals"]["A7"].value == "No slips."


@settings(max_examples=10)
@given(reports())
def test_the_same_report_gives_the_same_bytes(report: Report) -> None:
    first = spreadsheet(report)
    assert first == spreadsheet(report)
    stamps = {entry.date_time for entry in zipfile.ZipFile(BytesIO(first)).infolist()}
    assert stamps == {(1980, 1, 1, 0, 0, 0)}


def test_other_rooms_can_add_their_sheets_to_the_same_workbook() -> None:
    buffer = BytesIO()
    book = NewWorkbook(buffer, {"in_memory": True})
    add_order_sheets(book, PILE)
    book.add_worksheet("Float")
    book.close()
    assert opened(buffer.getvalue(), results=True).sheetnames[-1] == "Float"
