"""The commands for the rest of the evening: ``formread goods`` and ``formread round``.

Both take a result file (``formread check --json``) or the photos themselves, and write everything into one
folder. Results go to standard output, what a person should look at to standard error.
"""

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from formread.errors import ListError, UsageError
from formread.goods.plan import Goods, plan_goods
from formread.money import Currency, currency, format_money
from formread.round.evening import Evening
from formread.slips import Report

if TYPE_CHECKING:
    from formread.pile import Known
    from formread.round.coins import Cash
    from formread.round.customers import Customers
    from formread.round.drops import Drop
    from formread.round.streets import StreetList


def add_goods(parser: argparse.ArgumentParser) -> None:
    """Describe ``formread goods``."""
    _goods_options(parser)
    parser.set_defaults(run=_goods)


def add_round(parser: argparse.ArgumentParser) -> None:
    """Describe ``formread round``."""
    _goods_options(parser)
    parser.add_argument(
        "--customers", type=Path, action="append", default=[], metavar="FILE",
        help="who ordered on which slip: slip, name, address; also latitude, longitude",
    )  # fmt: skip
    parser.add_argument(
        "--streets", type=Path, metavar="FILE", help="the walking order: street, side, way, houses"
    )
    parser.add_argument(
        "--ask",
        action="store_true",
        help="ask where new streets and houses belong, and write the answers into the street list",
    )
    parser.add_argument(
        "--shortest", action="store_true", help="propose the shortest walk from the customers' coordinates"
    )
    parser.add_argument("--payments", type=Path, metavar="FILE", help="how customers pay: pays, share")
    parser.add_argument(
        "--at-home", type=Path, metavar="FILE", help="coins and notes that you have: value, pieces"
    )
    parser.add_argument(
        "--takings", type=Path, metavar="FILE", help="after the round: drop, cash, otherwise, remarks"
    )
    parser.add_argument(
        "--counted", type=Path, metavar="FILE", help="after the round, the purse counted: value, pieces"
    )
    parser.add_argument("--float", dest="float_in", metavar="AMOUNT", help="the float that was taken along")
    parser.set_defaults(run=_round)


def _goods_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "paths", nargs="+", type=Path, metavar="PATH", help="a result file of formread check, or photos"
    )
    parser.add_argument(
        "--prices",
        type=Path,
        metavar="FILE",
        help="a price list: code, description, price, offer, size, place",
    )
    parser.add_argument(
        "--note", type=Path, action="append", default=[], metavar="FILE",
        help="a delivery note: CSV, spreadsheet, PDF, photo or scan; may be given several times",
    )  # fmt: skip
    parser.add_argument(
        "--first",
        action="append",
        default=[],
        metavar="SLIP",
        help="serve this slip first when something is short",
    )
    parser.add_argument(
        "--accept-substitutes", action="store_true", help="hand out what the note names as a substitute"
    )
    parser.add_argument("--delivery", metavar="AMOUNT", help="what you ask for delivery (for photos)")
    parser.add_argument(
        "--delivery-free-from", metavar="AMOUNT", help="the sum from which on delivery is free (for photos)"
    )
    parser.add_argument("--currency", default="GBP", metavar="CODE", help="of photos (default: GBP)")
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="write the workbook and what is printed here"
    )


def _report(options: argparse.Namespace) -> Report:
    """Read the result file, or check the photos."""
    if len(options.paths) == 1 and options.paths[0].suffix.casefold() == ".json":
        from formread.export.result import from_json

        try:
            text = options.paths[0].read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise ListError(
                f"{options.paths[0].name} can't be read as a result file. Check its name and place."
            ) from error
        return from_json(text)
    from formread.pile import check, default_jobs, gather

    unit = currency(options.currency)
    known = known_beside(options, unit)
    return check(gather(options.paths), currency=unit.code, known=known, jobs=default_jobs()).report


def known_beside(options: argparse.Namespace, unit: Currency) -> "Known":
    """What the options say beside the slips: the price list, and what is asked for delivery."""
    from formread.arithmetic import Terms
    from formread.goods.price_list import read_price_list
    from formread.pile import Known

    terms = Terms(
        _amount(options.delivery, "--delivery", unit),
        _amount(options.delivery_free_from, "--delivery-free-from", unit),
    )
    if options.prices is None:
        return Known(terms=terms)
    prices = read_price_list(options.prices, unit.code)
    return Known(prices.prices, prices.offers, prices.descriptions, terms)


def _amount(text: str | None, option: str, unit: Currency) -> int | None:
    from formread.goods.written import parse_amount

    if text is None:
        return None
    try:
        return parse_amount(text, unit)
    except ValueError as error:
        raise UsageError(f"{option}: {error}. Write an amount such as 2.50.") from error


def _planned(options: argparse.Namespace) -> Goods:
    report = _report(options)
    prices = note = None
    if options.prices:
        from formread.goods.price_list import read_price_list

        prices = read_price_list(options.prices, report.currency)
    if options.note:
        from formread.goods.note import read_delivery_note
        from formread.goods.order import add_up

        known = [product.code for product in add_up(report, prices).products if product.code]
        note = read_delivery_note(options.note, known, report.currency)
    return plan_goods(report, prices, note, options.first, accept_substitutes=options.accept_substitutes)


def _goods(options: argparse.Namespace) -> int:
    goods = _planned(options)
    _say(goods)
    sys.stdout.write(goods_listing(goods))
    if options.out:
        from formread.export.evening_sheets import goods_spreadsheet
        from formread.export.files import write_folder
        from formread.export.print_out import customer_notes, packing_list

        write_folder(
            options.out,
            {
                "goods.xlsx": goods_spreadsheet(goods),
                "packing_list.pdf": packing_list(goods),
                "notes.pdf": customer_notes(goods.notes, {}),
            },
        )
        print(f"Written into {options.out}: goods.xlsx, packing_list.pdf, notes.pdf", file=sys.stderr)
    return 0


def _round(options: argparse.Namespace) -> int:
    from formread.round.cashing import read_count, read_takings
    from formread.round.coins import cash_of
    from formread.round.customers import NOBODY, read_customers
    from formread.round.drops import plan_round
    from formread.round.evening import plan_evening
    from formread.round.payments import read_behaviours
    from formread.round.streets import read_streets

    goods = _planned(options)
    cash = cash_of(goods.report.currency)
    unit = currency(cash.currency)
    customers = read_customers(options.customers) if options.customers else NOBODY
    streets = None
    if options.streets and (options.streets.exists() or not options.ask):
        streets = read_streets(options.streets)
    if options.ask:
        streets = _asked(options, goods, cash, customers, streets)
    takings = None
    if options.takings:
        drops = plan_round(
            goods.report, goods.packed, cash, customers, streets, shortest=options.shortest
        ).drops
        takings = read_takings(options.takings, drops, cash.currency)
    float_in = _amount(options.float_in, "--float", unit)
    evening = plan_evening(
        goods,
        customers,
        streets,
        read_behaviours(options.payments, cash) if options.payments else None,
        read_count(options.at_home, cash) if options.at_home else None,
        takings,
        read_count(options.counted, cash) if options.counted else None,
        float_in,
        shortest=options.shortest,
    )
    _say(goods)
    _ask(evening)
    sys.stdout.write(round_listing(evening))
    if options.out:
        from formread.export.evening_files import evening_files
        from formread.export.files import write_folder

        files = evening_files(evening)
        write_folder(options.out, files)
        print(f"Written into {options.out}: {', '.join(files)}", file=sys.stderr)
    return 0


def _asked(
    options: argparse.Namespace,
    goods: Goods,
    cash: "Cash",
    customers: "Customers",
    streets: "StreetList | None",
) -> "StreetList":
    """Ask where the doors belong that the walk does not place, and write what was answered into the list."""
    from formread.export.files import write_file
    from formread.round.drops import plan_round
    from formread.round.streets import answered, streets_csv, streets_of

    if not options.streets or options.streets.suffix.casefold() in {".xlsx", ".xlsm"}:
        raise UsageError("--ask writes the answers into your street list: give --streets FILE.csv with it.")

    def doors() -> "Sequence[Drop]":
        return plan_round(goods.report, goods.packed, cash, customers, streets).drops

    new = streets is None
    streets = streets or streets_of([drop.address for drop in doors() if drop.address])
    kept, left = streets, set[str]()
    while True:
        asked = next(
            (
                drop
                for drop in doors()
                if drop.address and drop.question and drop.question.kind != "who" and drop.where not in left
            ),
            None,
        )
        if asked is None or asked.address is None or asked.question is None:
            break
        how = {"house": "after number (or first)", "spelling": "yes, or the street it comes after"}
        said = f"{asked.question.text}. {how.get(asked.question.kind, 'it comes after (or first)')}, Enter leaves it: "
        print(said, end="", file=sys.stderr, flush=True)
        answer = sys.stdin.readline().strip()
        if not answer:
            left.add(asked.where)
            continue
        try:
            streets = answered(streets, asked.address, asked.question, answer)
        except ValueError as error:
            print(f"{error}.", file=sys.stderr)
    if new or streets != kept:
        if options.streets.exists():
            before = options.streets.with_name(f"{options.streets.stem}-before{options.streets.suffix}")
            write_file(before, options.streets.read_bytes())
            print(f"The list as it was is kept as {before.name}.", file=sys.stderr)
        write_file(options.streets, streets_csv(streets).encode("utf-8"))
    return streets


def _say(goods: Goods) -> None:
    """Say what a person should look at before the goods go out."""
    said = [f"price: slip {one.name}, row {one.row}: {one.message}" for one in goods.findings]
    said += [f"delivery note: {remark}" for remark in goods.note.remarks]
    said += [f"delivery note: {doubt}" for one in goods.ticked for doubt in one.doubtful]
    said += [
        f"delivery note: {one.code or one.description}: {one.perhaps}" for one in goods.ticked if one.perhaps
    ]
    said += [f"order: {one.message}" for one in goods.order.unclear]
    said += [
        f"order: slip {later} looks like slip {earlier} once more" for later, earlier in goods.order.repeated
    ]
    unsure = [account.name for account in goods.order.accounts if account.unsure]
    if unsure:
        said.append(f"sums: {len(unsure)} slips are unsure and are taken as read: {', '.join(unsure)}")
    for line in said:
        print(f"Look at {line}", file=sys.stderr)


def _ask(evening: Evening) -> None:
    for drop in evening.plan.drops:
        if drop.question:
            print(f"Round, drop {drop.number} ({drop.who}): {drop.question.text}.", file=sys.stderr)


def goods_listing(goods: Goods) -> str:
    """Write the order totals and the delivery check as plain text."""
    unit = currency(goods.report.currency)
    rows = [("code", "description", "ordered", "came", "short", "over")]
    for one in goods.ticked:
        came = str(one.delivered) if goods.note_given else ""
        rows.append(
            (
                one.code or "",
                one.description or "",
                str(one.ordered),
                came,
                str(one.short or ""),
                str(one.over or ""),
            )
        )
    due = sum(bill.due for bill in goods.bills)
    later = sum(bill.short_amount for bill in goods.bills)
    pieces = sum(product.quantity for product in goods.order.products)
    last = f"{pieces} pieces of {len(goods.order.products)} products; due now {format_money(due, unit)}"
    if later:
        last += f", still to come {format_money(later, unit)}"
    return f"{_aligned(rows, (2, 3, 4, 5))}\n{last}.\n"


def round_listing(evening: Evening) -> str:
    """Write the drops, both floats and the cashing up as plain text."""
    unit = currency(evening.goods.report.currency)
    rows = [("drop", "name", "address", "bags", "due", "change")]
    for drop in evening.plan.drops:
        rows.append(
            (
                str(drop.number),
                drop.who,
                drop.where,
                str(drop.bags),
                format_money(drop.due, unit),
                format_money(drop.change, unit),
            )
        )
    usual, twenties, up = evening.float_usual, evening.float_twenties, evening.cash_up
    lines = [_aligned(rows, (0, 3, 4, 5)), ""]
    lines.append(f"Float for {100 * usual.success:.1f} % of rounds: {format_money(usual.value, unit)}")
    lines.append(f"  {_handful(usual.pieces, unit)}")
    big = format_money(evening.cash.big_note, unit)
    lines.append(f"Float if everybody hands over {big} notes: {format_money(twenties.value, unit)}")
    lines.append(f"  {_handful(twenties.pieces, unit)}")
    if evening.plan.walk:
        walk = evening.plan.walk
        lines.append(
            f"Proposed walk: {walk.length / 1000:.1f} km as the crow flies; "
            f"your own order: {walk.own_length / 1000:.1f} km"
        )
    what = "Taken" if evening.takings_known else "If every door pays in cash"
    lines.append(
        f"{what}: due {format_money(up.due, unit)}, cash {format_money(up.cash, unit)}, otherwise "
        f"{format_money(up.otherwise, unit)}, owed {format_money(up.owed, unit)}; in the purse "
        f"{format_money(up.expected, unit)}"
    )
    if up.difference is not None:
        lines.append(
            f"Counted {format_money(up.counted_worth or 0, unit)}: difference {format_money(up.difference, unit)}"
        )
    lines += [
        f"  drop {door.drop.number} ({door.drop.who}) owes {format_money(door.owes, unit)}"
        for door in up.owing
    ]
    return "\n".join(lines) + "\n"


def _handful(pieces: Mapping[int, int], unit: Currency) -> str:
    return (
        ", ".join(f"{number} x {format_money(value, unit)}" for value, number in pieces.items()) or "nothing"
    )


def _aligned(rows: Sequence[Sequence[str]], right: Sequence[int]) -> str:
    plain = [
        [" ".join("".join(s if s.isprintable() else " " for s in cell).split()) for cell in row]
        for row in rows
    ]
    widths = [max(len(row[at]) for row in plain) for at in range(len(plain[0]))]
    return "\n".join(
        "  ".join(
            cell.rjust(width) if at in right else cell.ljust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in plain
    )
