"""Everything that goes out: the list of wrong totals, the result file, the spreadsheet and plain CSV.

Files are written whole or not at all; what can't be written raises :class:`formread.errors.OutputError` with a
sentence that says what to do.
"""

from pathlib import Path

from formread.export.csv_files import csv_files
from formread.export.files import write_file, write_folder
from formread.export.listing import listing as wrong_totals
from formread.export.listing import problems_list
from formread.export.result import to_json
from formread.export.spreadsheet import spreadsheet
from formread.slips import Report

__all__ = ["problems_list", "write_csv", "write_result", "write_spreadsheet", "wrong_totals"]


def write_result(report: Report, path: Path) -> None:
    """Write the result file (JSON, UTF-8).

    Raises
    ------
    OutputError
        When it can't be written.
    """
    write_file(path, to_json(report).encode("utf-8"))


def write_spreadsheet(report: Report, path: Path) -> None:
    """Write the orders as an .xlsx workbook that recalculates.

    Raises
    ------
    OutputError
        When it can't be written.
    """
    write_file(path, spreadsheet(report))


def write_csv(report: Report, folder: Path) -> None:
    """Write wrong_totals.csv, orders.csv, lines.csv and problems.csv into `folder`, made if its parent is there.

    Raises
    ------
    OutputError
        When they can't be written; an earlier set then stays as it was.
    """
    write_folder(folder, csv_files(report))
