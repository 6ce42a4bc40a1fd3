"""The command line. Messages for people go to standard error, results to standard output."""

import argparse
import shutil
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from formread import __version__
from formread.errors import FormreadError
from formread.slips import Report

if TYPE_CHECKING:
    from formread.money import Currency
    from formread.pile import Known

AGREES, DOUBTS, USAGE, UNREAD = 0, 1, 2, 3
"""Exit status of ``check``: every slip agrees; one is wrong or unsure; wrong usage; a photo was not read."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    parser = _parser()
    options = parser.parse_args(arguments)
    try:
        status: int = options.run(options)
    except FormreadError as error:
        print(f"formread: {error}", file=sys.stderr)
        return error.exit_status
    except BrokenPipeError:
        # The reader of our output (head, less) went away: nothing to tell anybody.
        sys.stderr.close()
        return DOUBTS
    except KeyboardInterrupt:
        print("\nformread: stopped before the pile was finished.", file=sys.stderr)
        return 130
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="formread",
        description="Checks the sums on handwritten order slips from photos of the pile.",
        epilog="A reading is no proof: look at the slip before you tell a customer. "
        "Nothing leaves this computer.",
    )
    parser.add_argument("--version", action="version", version=f"formread {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add_check(commands.add_parser("check", help="photos of slips → the list of wrong totals"))
    _add_desk(commands.add_parser("desk", help="the page in the browser, for the whole job"))
    from formread.cli_design import add_design
    from formread.cli_evening import add_goods, add_round

    add_goods(commands.add_parser("goods", help="order totals, delivery note, shorts, packing"))
    add_round(commands.add_parser("round", help="order of drops, amounts due, float, cashing up"))
    add_design(commands.add_parser("design", help="teach a slip design from a blank or filled slip"))
    return parser


def _add_check(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="a photo, a PDF or a folder")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write everything found as a result file")
    parser.add_argument(
        "--spreadsheet", type=Path, metavar="FILE.xlsx", help="write the orders as a spreadsheet"
    )
    parser.add_argument("--csv", type=Path, metavar="FOLDER", help="write the same as plain CSV files")
    parser.add_argument(
        "--pictures", type=Path, metavar="FOLDER", help="write each slip flattened, with what was read on it"
    )
    parser.add_argument(
        "--prices", type=Path, metavar="FILE.csv", help="a price list: code, description, price"
    )
    parser.add_argument(
        "--designs", type=Path, metavar="FOLDER", help="slip designs that you taught (formread design)"
    )
    parser.add_argument(
        "--delivery", metavar="AMOUNT", help="what you ask for delivery; slips are held against it"
    )
    parser.add_argument(
        "--delivery-free-from", metavar="AMOUNT", help="the sum from which on delivery is free"
    )
    parser.add_argument(
        "--each-alone",
        action="store_true",
        help="judge each slip by itself: no other slip of the pile speaks for its prices",
    )
    parser.add_argument(
        "--no-habits",
        action="store_true",
        help="judge each box by itself: how the same hand writes its other figures does not speak",
    )
    parser.add_argument("--currency", default="GBP", metavar="CODE", help="ISO 4217 code (default: GBP)")
    parser.add_argument(
        "--jobs", type=_positive, metavar="N", help="processes to use (default: one per core)"
    )
    parser.set_defaults(run=_check)


def _add_desk(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--folder", type=Path, metavar="FOLDER", help="where piles are kept (default: your own data folder)"
    )
    parser.add_argument("--port", type=_port, default=None, metavar="N", help="port on this computer")
    parser.add_argument("--currency", default="GBP", metavar="CODE", help="ISO 4217 code of new piles (GBP)")
    parser.add_argument("--no-browser", action="store_true", help="do not open the browser")
    parser.set_defaults(run=_desk)


def _desk(options: argparse.Namespace) -> int:
    from formread.web.serve import PORT, default_folder, serve

    port = PORT if options.port is None else options.port
    folder = (options.folder or default_folder()).absolute()
    serve(folder, port, options.currency, browser=not options.no_browser)
    return AGREES


def _port(text: str) -> int:
    try:
        number = int(text)
    except ValueError:
        number = -1
    if not 0 <= number <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port: a whole number up to 65535")
    return number


def _positive(text: str) -> int:
    try:
        number = int(text)
    except ValueError:
        number = 0
    if number < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of at least 1")
    return number


def _check(options: argparse.Namespace) -> int:
    from formread.export import problems_list, write_csv, write_result, write_spreadsheet, wrong_totals
    from formread.money import currency
    from formread.pile import check, default_jobs, gather, write_pictures
    from formread.pile.designs import read_designs

    unit = currency(options.currency)
    known = _known(options, unit)
    designs = read_designs(options.designs) if options.designs else []
    files = gather(options.paths)
    from tqdm import tqdm

    with tqdm(total=len(files), unit="photo", disable=not sys.stderr.isatty(), leave=False) as bar:
        pile = check(
            files,
            currency=unit.code,
            known=known,
            designs=designs,
            jobs=options.jobs or default_jobs(),
            progress=lambda _: bar.update(),
        )
    report = pile.report
    if options.json:
        write_result(report, options.json)
    if options.spreadsheet:
        write_spreadsheet(report, options.spreadsheet)
    if options.csv:
        write_csv(report, options.csv)
    if options.pictures:
        write_pictures(pile, options.pictures)
    width = shutil.get_terminal_size((100, 24)).columns
    sys.stderr.write(problems_list(report, width, sys.stderr.encoding or "ascii"))
    sys.stdout.write(wrong_totals(report, width, sys.stdout.encoding or "ascii"))
    return _status(report)


def _known(options: argparse.Namespace, unit: "Currency") -> "Known":
    from formread.cli_evening import known_beside

    known = known_beside(options, unit)
    return replace(known, pile_speaks=not options.each_alone, hand_speaks=not options.no_habits)


def _status(report: Report) -> int:
    if report.problems:
        return UNREAD
    if any(slip.verdict != "agrees" for slip in report.slips):
        return DOUBTS
    return AGREES
