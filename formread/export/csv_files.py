"""The orders as plain CSV, for programs that take nothing else.

The files follow RFC 4180: a heading row, commas, lines ended by CR LF, quotes where a field holds a comma, a
quote or a line break. They are UTF-8 with a byte order mark, without which spreadsheet programs take the bytes
for another alphabet and show names and currency signs wrong. Amounts are plain decimals with the currency's
ISO 4217 digits and no sign of the currency (``12.98``); a box with nothing in it is an empty field.

A spreadsheet program may run text that begins with a formula sign. Such text gets an apostrophe before it, and
so does text that begins with an apostrophe: to have the text as it was read, take one apostrophe off the front
of any text that begins with one.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Final

from formread.export.findings import all_findings, loser, to_look_at
from formread.export.workbook import FORMULA_STARTS
from formread.money import Currency, currency, format_plain
from formread.slips import ChargeKind, Report, Slip

_CHARGES: Final[tuple[ChargeKind, ...]] = ("delivery", "discount", "deposit", "other")

_WRONG: Final = (
    "No.",
    "Slip",
    "Customer",
    "Customer's total",
    "Right total",
    "Difference",
    "Who loses",
    "formread says",
    "Why",
    "Look at",
    "Photo",
)
_ORDERS: Final = (
    "No.",
    "Slip",
    "Customer",
    "Goods",
    "Delivery",
    "Discount",
    "Deposit",
    "Other",
    "Right total",
    "Customer's total",
    "Difference",
    "formread says",
    "Photo",
)
_LINES: Final = (
    "No.",
    "Slip",
    "Row",
    "Code",
    "Description",
    "Quantity",
    "Unit price",
    "Written line total",
    "Counts",
    "Right line total",
    "Difference",
)
_PROBLEMS: Final = ("Photo", "Page", "What happened, and what to do")

_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


def csv_files(report: Report) -> dict[str, bytes]:
    """Write a report as four CSV files: wrong_totals.csv, orders.csv, lines.csv and problems.csv.

    ``No.`` is the slip's place in the report, from 1, and ties the first three together. wrong_totals.csv has
    the wrong slips, then the unsure ones, worst first. The right totals are the report's own: on an unsure
    slip the lines as read need not come to them.

    Returns
    -------
    dict
        The bytes of each file by its name. The same report gives the same bytes.

    Raises
    ------
    UsageError
        When the report's currency is not known.
    """
    unit = currency(report.currency)
    return {
        "wrong_totals.csv": _file(_WRONG, _wrong_rows(report, unit)),
        "orders.csv": _file(_ORDERS, _order_rows(report, unit)),
        "lines.csv": _file(_LINES, _line_rows(report, unit)),
        "problems.csv": _file(
            _PROBLEMS,
            ([_text(each.photo), _number(each.page), _text(each.message)] for each in report.problems),
        ),
    }


def _file(headings: Sequence[str], rows: Iterable[list[str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8-sig")


def _wrong_rows(report: Report, unit: Currency) -> Iterable[list[str]]:
    for finding in to_look_at(report, "wrong") + to_look_at(report, "unsure"):
        slip = finding.slip
        yield [
            _number(finding.number),
            _text(slip.slip_number),
            _text(slip.customer),
            _money(slip.written_total, unit),
            _money(slip.computed_total, unit),
            _money(slip.difference, unit),
            loser(slip.difference),
            slip.verdict,
            _text(slip.reason),
            _text(slip.ask),
            _text(finding.place),
        ]


def _order_rows(report: Report, unit: Currency) -> Iterable[list[str]]:
    for finding in all_findings(report):
        slip = finding.slip
        yield [
            _number(finding.number),
            _text(slip.slip_number),
            _text(slip.customer),
            _money(sum(total for _, total in slip.right_line_totals), unit),
            *(_money(_charged(slip, kind), unit) for kind in _CHARGES),
            _money(slip.computed_total, unit),
            _money(slip.written_total, unit),
            _money(slip.difference, unit),
            slip.verdict,
            _text(finding.place),
        ]


def _line_rows(report: Report, unit: Currency) -> Iterable[list[str]]:
    for finding in all_findings(report):
        right_totals = dict(finding.slip.right_line_totals)
        for line in finding.slip.lines:
            right = None if line.struck_out else right_totals.get(line.row)
            known = right is not None and line.line_total is not None
            yield [
                _number(finding.number),
                _text(finding.slip.slip_number),
                _number(line.row),
                _text(line.code),
                _text(line.description),
                _number(line.quantity),
                _money(line.unit_price, unit),
                _money(line.line_total, unit),
                "no" if line.struck_out else "yes",
                _money(right, unit),
                _money((line.line_total or 0) - (right or 0) if known else None, unit),
            ]


def _charged(slip: Slip, kind: ChargeKind) -> int | None:
    amounts = [charge.amount for charge in slip.charges if charge.kind == kind]
    return sum(amounts) if amounts else None


def _money(amount: int | None, unit: Currency) -> str:
    return "" if amount is None else format_plain(amount, unit)


def _number(number: int | None) -> str:
    return "" if number is None else str(number)


def _text(text: str | None) -> str:
    """Text that no spreadsheet program runs; what UTF-8 can't carry becomes the sign for that."""
    text = _LONE_SURROGATE.sub("\ufffd", text or "")
    return f"'{text}" if text.startswith((*FORMULA_STARTS, "'")) else text
