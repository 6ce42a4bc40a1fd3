"""The spreadsheet: wrong totals, orders, lines and problems, with formulas that follow a correction.

What was read is typed in as numbers; what follows from it is a formula. Change a quantity on the
sheet *Lines* and the line, the order and the wrong total change with it, in any program that opens .xlsx
files. The results are stored beside the formulas too, so that a phone that only shows them shows the right
numbers.

Rows are tied by the number in their first column and not by where they stand: a sheet may be sorted.

Amounts are numbers in major units with the currency's number of decimals by ISO 4217; every formula rounds to
them, so that 0.1 + 0.2 is 0.3. The same report gives the same bytes.
"""

from io import BytesIO
from typing import Final

from xlsxwriter import Workbook

from formread.export.findings import Finding, all_findings, loser, to_look_at
from formread.export.workbook import Cell, Column, Formula, Look, Table, letter_of, new_workbook, shown
from formread.money import Currency, currency, format_money
from formread.slips import ChargeKind, Line, Report, Slip

ROWS_READY: Final = 500
"""Rows below the last line in which the list "yes, no" is offered too, for lines that are added by hand."""

_WRONG: Final = (
    Column("number", "No.", "number", 5),
    Column("slip", "Slip", "code", 9),
    Column("customer", "Customer", "words", 18),
    Column("written", "Customer's total", "sum", 12),
    Column("right", "Right total", "sum", 12),
    Column("difference", "Difference", "difference", 12),
    Column("loser", "Who loses", "answer", 11),
    Column("verdict", "formread says", "text", 10),
    Column("now", "Now", "answer", 10),
    Column("reason", "Why", "words", 42),
    Column("ask", "Look at", "words", 15),
    Column("place", "Photo", "words", 19),
)

ORDERS: Final = (
    Column("number", "No.", "number", 5),
    Column("slip", "Slip", "code", 9),
    Column("customer", "Customer", "words", 20),
    Column("goods", "Goods", "sum", 12),
    Column("delivery", "Delivery", "money", 10),
    Column("discount", "Discount", "money", 10),
    Column("deposit", "Deposit", "money", 10),
    Column("other", "Other", "money", 10),
    Column("right", "Right total", "sum", 12),
    Column("written", "Customer's total", "money", 12),
    Column("difference", "Difference", "difference", 12),
    Column("verdict", "formread says", "text", 10),
    Column("now", "Now", "answer", 10),
    Column("place", "Photo", "words", 22),
)

LINES: Final = (
    Column("number", "No.", "number", 5),
    Column("slip", "Slip", "code", 9),
    Column("row", "Row", "number", 6),
    Column("code", "Code", "code", 13),
    Column("description", "Description", "words", 32),
    Column("quantity", "Quantity", "number", 10),
    Column("price", "Unit price", "money", 12),
    Column("written", "Written line total", "money", 13),
    Column("counts", "Counts", "text", 9),
    Column("right", "Right line total", "sum", 13),
    Column("difference", "Difference", "difference", 12),
)

_PROBLEMS: Final = (
    Column("photo", "Photo", "words", 34),
    Column("page", "Page", "number", 7),
    Column("message", "What happened, and what to do", "words", 86),
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
    book = new_workbook(buffer, "Order slips")
    add_order_sheets(book, report)
    book.close()
    return buffer.getvalue()


def add_order_sheets(book: Workbook, report: Report) -> None:
    """Add the four sheets of the main job to `book`: Wrong totals, Orders, Lines and Problems."""
    look = Look(book, currency(report.currency))
    _add_wrong_totals(look, report)
    _add_orders(look, report)
    _add_lines(look, report)
    _add_problems(look, report)


def _add_wrong_totals(look: Look, report: Report) -> None:
    table = Table(look, "Wrong totals", _WRONG, top=5)
    sheet = table.sheet
    findings = to_look_at(report, "wrong") + to_look_at(report, "unsure")
    verdicts = [slip.verdict for slip in report.slips]
    now = f"Orders!${letter_of(ORDERS, 'now')}:${letter_of(ORDERS, 'now')}"
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


def _wrong_row(table: Table, finding: Finding) -> dict[str, Cell]:
    slip, row = finding.slip, table.row
    sums = _Sums(slip)
    major = table.look.major
    difference = f"{table.letter('difference')}{row}"

    def from_orders(key: str) -> str:
        letter = letter_of(ORDERS, key)
        return f"INDEX(Orders!${letter}:${letter},MATCH($A{row},Orders!$A:$A,0))"

    written = from_orders("written")
    return {
        "number": finding.number,
        "slip": slip.slip_number,
        "customer": slip.customer,
        # An empty cell that a formula fetches would show as zero, which is a number nobody wrote.
        "written": Formula(f'=IF({written}="","",{written})', shown(major(slip.written_total))),
        "right": Formula(f"={from_orders('right')}", shown(major(sums.right))),
        "difference": Formula(f"={from_orders('difference')}", shown(major(sums.difference))),
        "loser": Formula(
            f'=IF({difference}="","",IF({difference}>0,"customer",IF({difference}<0,"you","")))',
            loser(sums.difference),
        ),
        "verdict": slip.verdict,
        "now": Formula(f"={from_orders('now')}", _now(sums)),
        "reason": _reason(sums, table.look.unit),
        "ask": slip.ask,
        "place": finding.place,
    }


def _add_orders(look: Look, report: Report) -> None:
    table = Table(look, "Orders", ORDERS)
    for finding in all_findings(report):
        table.add(_order_row(table, finding))
    table.mark("difference", '{now}="differs"', look.wrong)
    table.mark("verdict", '{verdict}="wrong"', look.wrong)
    table.mark("verdict", '{verdict}="unsure"', look.unsure)
    table.finish()


def _order_row(table: Table, finding: Finding) -> dict[str, Cell]:
    slip, row, look = finding.slip, table.row, table.look
    sums = _Sums(slip)
    digits = look.unit.digits
    at = {column.key: f"{table.letter(column.key)}{row}" for column in ORDERS}
    line_sum, line_number = (
        f"Lines!${letter_of(LINES, key)}:${letter_of(LINES, key)}" for key in ("right", "number")
    )
    charges: dict[str, Cell] = {}
    for kind in _CHARGES:
        amounts = [charge.amount for charge in slip.charges if charge.kind == kind]
        charges[kind] = look.major(sum(amounts)) if amounts else None
    return {
        "number": finding.number,
        "slip": slip.slip_number,
        "customer": slip.customer,
        "goods": Formula(
            f"=ROUND(SUMIFS({line_sum},{line_number},$A{row}),{digits})", shown(look.major(sums.goods))
        ),
        **charges,
        "right": Formula(
            f"=ROUND({at['goods']}+SUM({at['delivery']}:{at['other']}),{digits})",
            shown(look.major(sums.right)),
        ),
        "written": look.major(slip.written_total),
        "difference": Formula(
            f'=IF({at["written"]}="","",ROUND({at["written"]}-{at["right"]},{digits}))',
            shown(look.major(sums.difference)),
        ),
        "verdict": slip.verdict,
        "now": Formula(
            f'=IF({at["difference"]}="","no total",IF({at["difference"]}=0,"agrees","differs"))', _now(sums)
        ),
        "place": finding.place,
    }


def _add_lines(look: Look, report: Report) -> None:
    table = Table(look, "Lines", LINES)
    for finding in all_findings(report):
        lines = finding.slip.lines
        for place, line in enumerate(lines, 1):
            table.add(_line_row(table, finding, line), closing=place == len(lines))
    table.mark(None, '{counts}="no"', look.struck)
    table.mark("difference", 'AND({difference}<>"",{difference}<>0)', look.wrong)
    counts = [column.key for column in LINES].index("counts")
    table.sheet.data_validation(
        1, counts, table.next + ROWS_READY, counts, {"validate": "list", "source": ["yes", "no"]}
    )
    table.finish()


def _line_row(table: Table, finding: Finding, line: Line) -> dict[str, Cell]:
    row, look = table.row, table.look
    at = {column.key: f"{table.letter(column.key)}{row}" for column in LINES}
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
        "right": Formula(
            f'=IF({at["counts"]}="no",0,IF({at["price"]}="",N({at["written"]}),'
            f'ROUND(IF({at["quantity"]}="",1,{at["quantity"]})*{at["price"]},{digits})))',
            shown(look.major(right)),
        ),
        "difference": Formula(
            f'=IF(OR({at["counts"]}="no",{at["written"]}=""),"",'
            f"ROUND({at['written']}-{at['right']},{digits}))",
            shown(look.major((line.line_total or 0) - right if counted else None)),
        ),
    }


def _add_problems(look: Look, report: Report) -> None:
    table = Table(look, "Problems", _PROBLEMS)
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
