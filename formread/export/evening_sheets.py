"""The evening's sheets in the workbook of the orders: products, delivery check, packing, bills, round, float, cash.

Formulas run from sheet to sheet: a quantity corrected on *Lines* or a delivered number on *Delivery check*
moves what is short, what is packed, what is due, and what the purse should hold at the end. Rows are tied by
the numbers in them and not by where they stand, so a sheet may be sorted.
"""

from collections.abc import Mapping
from io import BytesIO
from typing import Final

from xlsxwriter import Workbook

from formread.export.spreadsheet import LINES, ORDERS, add_order_sheets, comes_to
from formread.export.workbook import Cell, Column, Formula, Look, Table, letter_of, new_workbook, shown
from formread.goods.delivery import Bill, Packed
from formread.goods.plan import Goods
from formread.money import currency
from formread.round.coins import Cash
from formread.round.drops import Drop
from formread.round.evening import Evening

PRODUCTS: Final = (
    Column("key", "Product", "number", 8),
    Column("code", "Code", "code", 13),
    Column("description", "Description", "words", 32),
    Column("quantity", "To order", "count", 9),
    Column("amount", "Worth", "sum", 12),
    Column("behind", "Slips behind it", "words", 44),
)
CHECK: Final = (
    Column("key", "Product", "number", 8),
    Column("code", "Code", "code", 13),
    Column("description", "Description", "words", 30),
    Column("ordered", "Ordered", "count", 9),
    Column("delivered", "Delivered", "number", 10),
    Column("short", "Short", "count", 8),
    Column("over", "Over", "count", 8),
    Column("boxes", "Boxes", "text", 10),
    Column("remarks", "Look at", "words", 46),
)
PACKING: Final = (
    Column("number", "No.", "number", 5),
    Column("drop", "Drop", "number", 7),
    Column("name", "Slip", "words", 14),
    Column("row", "Row", "number", 6),
    Column("turn", "Served", "number", 8),
    Column("key", "Product", "number", 8),
    Column("description", "Description", "words", 28),
    Column("quantity", "Ordered", "count", 9),
    Column("packed", "In the bag", "count", 9),
    Column("short", "To come", "count", 8),
    Column("amount", "Amount", "sum", 11),
    Column("now", "Amount now", "sum", 11),
    Column("later", "Amount later", "sum", 11),
)
BILLS: Final = (
    Column("number", "No.", "number", 5),
    Column("name", "Slip", "words", 16),
    Column("drop", "Drop", "number", 7),
    Column("total", "Right total", "sum", 12),
    Column("later", "Still to come", "sum", 12),
    Column("due", "Due now", "sum", 12),
)
ROUND: Final = (
    Column("drop", "Drop", "number", 6),
    Column("who", "Name", "words", 22),
    Column("where", "Address", "words", 28),
    Column("bags", "Bags", "number", 6),
    Column("due", "Due", "sum", 11),
    Column("handed", "Next note", "sum", 11),
    Column("change", "Change", "sum", 10),
    Column("cash", "Paid in cash", "money", 11),
    Column("otherwise", "Paid otherwise", "money", 11),
    Column("owes", "Still owes", "difference", 11),
    Column("remarks", "Remarks", "words", 26),
)
FLOAT: Final = (
    Column("value", "Coin or note", "money", 12),
    Column("usual", "For 99 rounds in 100", "number", 12),
    Column("usual_worth", "Worth", "sum", 11),
    Column("twenties", "If all hand over the big note", "number", 15),
    Column("twenties_worth", "Worth", "sum", 11),
    Column("home", "At home", "number", 9),
    Column("missing", "To fetch", "count", 9),
    Column("bag", "In a bag", "number", 9),
    Column("bags", "Bags", "count", 7),
)
CASH: Final = (
    Column("value", "Coin or note", "money", 12),
    Column("out", "Taken along", "number", 11),
    Column("out_worth", "Worth", "sum", 12),
    Column("counted", "Counted", "number", 10),
    Column("counted_worth", "Worth", "sum", 12),
)


def evening_spreadsheet(evening: Evening) -> bytes:
    """Write the finished workbook: the orders' sheets and the evening's, as the bytes of an .xlsx file."""
    buffer = BytesIO()
    book = new_workbook(buffer, "The evening")
    add_order_sheets(book, evening.goods.report)
    add_goods_sheets(
        book, evening.goods, {slip: drop.number for drop in evening.plan.drops for slip in drop.slips}
    )
    add_round_sheets(book, evening)
    book.close()
    return buffer.getvalue()


def goods_spreadsheet(goods: Goods) -> bytes:
    """Write the workbook of the orders with products, delivery check, packing and bills."""
    buffer = BytesIO()
    book = new_workbook(buffer, "Goods")
    add_order_sheets(book, goods.report)
    add_goods_sheets(book, goods, {})
    book.close()
    return buffer.getvalue()


def _whole(sheet: str, columns: tuple[Column, ...], key: str) -> str:
    letter = letter_of(columns, key)
    return f"'{sheet}'!${letter}:${letter}"


def add_goods_sheets(book: Workbook, goods: Goods, drops: Mapping[int, int]) -> None:
    """Add Products, Delivery check, Packing and Bills; `drops` gives a slip's drop by its place."""
    look = Look(book, currency(goods.report.currency))
    _add_products(look, goods)
    _add_check(look, goods)
    _add_packing(look, goods, drops)
    _add_bills(look, goods, drops)


def _add_products(look: Look, goods: Goods) -> None:
    table = Table(look, "Products", PRODUCTS)
    quantity, amount, key = (_whole("Packing", PACKING, name) for name in ("quantity", "amount", "key"))
    numbers = _numbers(goods)
    for product in goods.order.products:
        this = f"{table.letter('key')}{table.row}"
        behind = ", ".join(f"{goods.order.names[one.slip]}: {one.quantity}" for one in product.behind)
        table.add(
            {
                "key": numbers[product.key],
                "code": product.code,
                "description": product.description,
                "quantity": Formula(_sum_of(quantity, key, this), product.quantity),
                "amount": Formula(
                    f"=ROUND({_sum_of(amount, key, this)[1:]},{look.unit.digits})",
                    shown(look.major(product.amount)),
                ),
                "behind": behind,
            }
        )
    table.finish()
    for unclear in goods.order.unclear:
        table.sheet.write_string(table.next + 1, 0, f"Not ordered: {unclear.message}", look.note)
        table.next += 1


def _numbers(goods: Goods) -> dict[str, int]:
    """Number the products: SUMIFS takes codes like ``007``, ``>5`` or ``a*`` for numbers and patterns."""
    return {one.key: number for number, one in enumerate(goods.ticked, 1)}


def _sum_of(amounts: str, keys: str, this: str) -> str:
    return f"=SUMIFS({amounts},{keys},{this})"


def _add_check(look: Look, goods: Goods) -> None:
    table = Table(look, "Delivery check", CHECK)
    ordered, key = _whole("Packing", PACKING, "quantity"), _whole("Packing", PACKING, "key")
    numbers = _numbers(goods)
    for one in goods.ticked:
        row = table.row
        at = {column.key: f"{column_letter}{row}" for column, column_letter in _lettered(CHECK)}
        remarks = [*one.doubtful]
        if one.came_as:
            remarks.append(f"came as {', '.join(one.came_as)}")
        if one.instead_of:
            remarks.append(f"sent instead of {one.instead_of}")
        if one.perhaps:
            remarks.append(one.perhaps)
        if not one.ordered:
            remarks.insert(0, "not ordered")
        table.add(
            {
                "key": numbers[one.key],
                "code": one.code,
                "description": one.description,
                "ordered": Formula(_sum_of(ordered, key, at["key"]), one.ordered),
                "delivered": one.delivered,
                "short": Formula(f"=MAX({at['ordered']}-{at['delivered']},0)", one.short),
                "over": Formula(f"=MAX({at['delivered']}-{at['ordered']},0)", one.over),
                "boxes": ", ".join(one.boxes),
                "remarks": "; ".join(remarks),
            }
        )
    table.mark("short", "{short}>0", look.wrong)
    table.mark("over", "{over}>0", look.unsure)
    table.finish()


def _lettered(columns: tuple[Column, ...]) -> list[tuple[Column, str]]:
    return [(column, letter_of(columns, column.key)) for column in columns]


def _add_packing(look: Look, goods: Goods, drops: Mapping[int, int]) -> None:
    table = Table(look, "Packing", PACKING)
    turns = {slip: turn for turn, slip in enumerate(goods.sequence)}
    lines = [(bill, line) for bill in goods.bills for line in bill.lines]
    served = sorted(lines, key=lambda entry: (turns[entry[0].slip], entry[1].row))
    turn_of = {(line.slip, line.row): turn for turn, (_, line) in enumerate(served, 1)}
    in_bags = sorted(goods.bills, key=lambda bill: (drops.get(bill.slip, 0), bill.slip))
    for bill in in_bags:
        for place, line in enumerate(bill.lines, 1):
            table.add(
                _packing_row(table, goods, bill, line, turn_of[line.slip, line.row], drops.get(bill.slip)),
                closing=place == len(bill.lines),
            )
    table.mark("short", "{short}>0", look.wrong)
    table.finish()


def _packing_row(
    table: Table, goods: Goods, bill: Bill, line: Packed, turn: int, drop: int | None
) -> dict[str, Cell]:
    look, row = table.look, table.row
    at = {column.key: f"{letter}{row}" for column, letter in _lettered(PACKING)}
    digits = look.unit.digits
    written = next(one for one in goods.report.slips[line.slip].lines if one.row == line.row)

    def from_lines(key: str) -> str:
        value, number, place = (_whole("Lines", LINES, name) for name in (key, "number", "row"))
        return f"=SUMIFS({value},{number},{at['number']},{place},{at['row']})"

    delivered = _sum_of(
        _whole("Delivery check", CHECK, "delivered"), _whole("Delivery check", CHECK, "key"), at["key"]
    )
    quantities, keys, turns = (_whole("Packing", PACKING, name) for name in ("quantity", "key", "turn"))
    before = f'SUMIFS({quantities},{keys},{at["key"]},{turns},"<"&{at["turn"]})'
    # What the judge believes may differ from what the boxes as read come to; then its number stands, typed in.
    live = written.quantity is not None and comes_to(written) == line.amount
    return {
        "number": line.slip + 1,
        "drop": drop,
        "name": bill.name,
        "row": line.row,
        "turn": turn,
        "key": _numbers(goods)[line.product],
        "description": line.description or line.code,
        "quantity": Formula(from_lines("quantity"), line.quantity) if live else line.quantity,
        "packed": Formula(
            f"=MIN({at['quantity']},MAX(0,{delivered[1:]}-{before}))",
            line.packed,
        ),
        "short": Formula(f"={at['quantity']}-{at['packed']}", line.short),
        "amount": Formula(from_lines("right"), shown(look.major(line.amount)))
        if live
        else look.major(line.amount),
        "now": Formula(
            f"=IF({at['quantity']}=0,0,ROUND({at['amount']}*{at['packed']}/{at['quantity']},{digits}))",
            shown(look.major(line.packed_amount)),
        ),
        "later": Formula(
            f"=ROUND({at['amount']}-{at['now']},{digits})", shown(look.major(line.short_amount))
        ),
    }


def _add_bills(look: Look, goods: Goods, drops: Mapping[int, int]) -> None:
    table = Table(look, "Bills", BILLS)
    digits = look.unit.digits
    later, number, bag, short = (
        _whole("Packing", PACKING, key) for key in ("later", "number", "packed", "short")
    )
    for bill in goods.bills:
        row = table.row
        at = {column.key: f"{letter}{row}" for column, letter in _lettered(BILLS)}
        slip = goods.report.slips[bill.slip]
        live = sum(map(comes_to, slip.lines)) + sum(charge.amount for charge in slip.charges)
        right, numbers = _whole("Orders", ORDERS, "right"), _whole("Orders", ORDERS, "number")
        total: Cell = look.major(bill.account.total)
        if live == bill.account.total:
            total = Formula(
                f"=SUMIFS({right},{numbers},{at['number']})", shown(look.major(bill.account.total))
            )
        table.add(
            {
                "number": bill.slip + 1,
                "name": bill.name,
                "drop": drops.get(bill.slip),
                "total": total,
                "later": Formula(
                    f"=IF(AND(SUMIFS({bag},{number},{at['number']})=0,SUMIFS({short},{number},{at['number']})>0),"
                    f"{at['total']},ROUND(SUMIFS({later},{number},{at['number']}),{digits}))",
                    shown(look.major(bill.short_amount)),
                ),
                "due": Formula(f"=ROUND({at['total']}-{at['later']},{digits})", shown(look.major(bill.due))),
            }
        )
    table.finish()


def add_round_sheets(book: Workbook, evening: Evening) -> None:
    """Add Round, Float and Cash."""
    look = Look(book, currency(evening.goods.report.currency))
    _add_round(look, evening)
    _add_float(look, evening)
    _add_cash(look, evening)


def _add_round(look: Look, evening: Evening) -> None:
    table = Table(look, "Round", ROUND)
    takings = (
        {door.drop.number: door.taking for door in evening.cash_up.doors} if evening.takings_known else {}
    )
    for drop in evening.plan.drops:
        row = table.row
        at = {column.key: f"{letter}{row}" for column, letter in _lettered(ROUND)}
        taking = takings.get(drop.number)
        due = f"SUMIFS({_whole('Bills', BILLS, 'due')},{_whole('Bills', BILLS, 'drop')},{at['drop']})"
        paid = (taking.cash + taking.otherwise) if taking else 0
        table.add(
            {
                "drop": drop.number,
                "who": drop.who,
                "where": drop.where,
                "bags": drop.bags,
                "due": Formula(_payable(due, evening.cash, look), shown(look.major(drop.due))),
                "handed": Formula(_next_note(at["due"], evening.cash, look), shown(look.major(drop.handed))),
                "change": Formula(
                    f"=ROUND(IF({at['due']}>0,{at['handed']}-{at['due']},-{at['due']}),{look.unit.digits})",
                    shown(look.major(drop.change)),
                ),
                "cash": look.major(taking.cash) if taking else None,
                "otherwise": look.major(taking.otherwise) if taking else None,
                "owes": Formula(
                    f"=ROUND({at['due']}-{at['cash']}-{at['otherwise']},{look.unit.digits})",
                    shown(look.major(drop.due - paid)),
                ),
                "remarks": _remarks(drop, taking.remarks if taking else ""),
            }
        )
    table.finish()


def _remarks(drop: Drop, said: str) -> str:
    asked = drop.question.text if drop.question else ""
    return "; ".join(part for part in (said, asked) if part)


def _payable(due: str, cash: Cash, look: Look) -> str:
    step = cash.coins[0] / look.unit.unit
    return f"=ROUND(ROUND({due}/{step!r},6),0)*{step!r}"


def _next_note(due: str, cash: Cash, look: Look) -> str:
    """The rule of ``round.drops.next_note`` as a formula."""
    big = cash.big_note / look.unit.unit
    rest = f"ROUND({due}-INT(ROUND({due}/{big!r},9))*{big!r},{look.unit.digits})"
    notes = sorted({value for value in cash.round_sums if value in cash.notes and value < cash.big_note})
    choice = repr(big)
    for value in reversed(notes):
        note = value / look.unit.unit
        choice = f"IF({rest}<={note!r},{note!r},{choice})"
    return f"=IF({due}<=0,0,INT(ROUND({due}/{big!r},9))*{big!r}+IF({rest}=0,0,{choice}))"


def _add_float(look: Look, evening: Evening) -> None:
    table = Table(look, "Float", FLOAT, top=3)
    usual, twenties = evening.float_usual, evening.float_twenties
    share = f"{100 * usual.success:.1f} % of rounds"
    how = (
        "every way for the round to go was counted"
        if usual.counted_out
        else f"{usual.rounds:,} simulated rounds, at least {100 * usual.success_low:.1f} % with 95 % confidence"
    )
    table.sheet.write_string(0, 0, "Float", look.title)
    table.sheet.write_string(1, 0, f"Change can be given at every door in {share} ({how}).", look.note)
    fetched = {one.value: one for one in evening.fetch}
    for value in evening.cash.values:
        if not usual.pieces.get(value) and not twenties.pieces.get(value):
            continue
        row = table.row
        at = {column.key: f"{letter}{row}" for column, letter in _lettered(FLOAT)}
        pieces, others = usual.pieces.get(value, 0), twenties.pieces.get(value, 0)
        missing = fetched[value].needed if value in fetched else 0
        bag = evening.cash.bags.get(value, 0)
        table.add(
            {
                "value": look.major(value),
                "usual": pieces,
                "usual_worth": Formula(
                    _times(at["value"], at["usual"], look), shown(look.major(value * pieces))
                ),
                "twenties": others,
                "twenties_worth": Formula(
                    _times(at["value"], at["twenties"], look), shown(look.major(value * others))
                ),
                "home": pieces - missing,
                "missing": Formula(f"=MAX({at['usual']}-{at['home']},0)", missing),
                "bag": bag or None,
                "bags": Formula(
                    f'=IF({at["bag"]}="","",ROUNDUP({at["missing"]}/{at["bag"]},0))',
                    -(-missing // bag) if bag else "",
                ),
            }
        )
    _total_row(table, {"usual_worth": usual.value, "twenties_worth": twenties.value})


def _times(value: str, pieces: str, look: Look) -> str:
    return f"=ROUND({value}*{pieces},{look.unit.digits})"


def _total_row(table: Table, sums: Mapping[str, int]) -> None:
    """Write the sums of columns under a table."""
    look = table.look
    first, last = table.top + 2, table.next
    table.sheet.write_string(table.next, 0, "Total", look.heading)
    for key, amount in sums.items():
        place = [column.key for column in table.columns].index(key)
        letter = table.letter(key)
        formula = f"=ROUND(SUM({letter}{first}:{letter}{max(last, first)}),{look.unit.digits})"
        table.sheet.write_formula(
            table.next, place, formula, look.of("sum", closing=True), shown(look.major(amount))
        )
    table.next += 1


def _add_cash(look: Look, evening: Evening) -> None:
    table = Table(look, "Cash", CASH, top=2)
    up = evening.cash_up
    counted = up.counted or {}
    table.sheet.write_string(0, 0, "Cashing up", look.title)
    for value in evening.cash.values:
        at = {column.key: f"{letter}{table.row}" for column, letter in _lettered(CASH)}
        pieces = evening.float_usual.pieces.get(value, 0)
        found = counted.get(value) if up.counted is not None else None
        table.add(
            {
                "value": look.major(value),
                "out": pieces,
                "out_worth": Formula(_times(at["value"], at["out"], look), shown(look.major(value * pieces))),
                "counted": found,
                "counted_worth": Formula(
                    _times(at["value"], at["counted"], look), shown(look.major(value * (found or 0)))
                ),
            }
        )
    counted_total = up.counted_worth or 0
    _total_row(table, {"out_worth": evening.float_usual.value, "counted_worth": counted_total})
    taken = up.cash if evening.takings_known else 0
    out, held = table.letter("out_worth"), table.letter("counted_worth")
    total = table.next
    due, cash, otherwise = (_whole("Round", ROUND, key) for key in ("due", "cash", "otherwise"))
    otherwise_taken = up.otherwise if evening.takings_known else 0
    expected = up.float_in + taken
    # Another float than the one proposed has no pieces here: its worth stands as it was given.
    proposed = up.float_in == evening.float_usual.value
    float_taken = f"={out}{total}" if proposed else f"={look.major(up.float_in)!r}"
    rows = (
        ("Due at all doors", f"=SUM({due})", up.due),
        ("Float taken along", float_taken, up.float_in),
        ("Taken in cash", f"=SUM({cash})", taken),
        ("Paid otherwise", f"=SUM({otherwise})", otherwise_taken),
        ("Still owed", f"=C{total + 2}-C{total + 4}-C{total + 5}", up.due - taken - otherwise_taken),
        ("Should be in the purse", f"=C{total + 3}+C{total + 4}", expected),
        ("Counted", f"={held}{total}", counted_total),
        (
            "Difference",
            f'=IF(COUNT(D4:D{total - 1})=0,"",C{total + 8}-C{total + 7})',
            None if up.counted is None else counted_total - expected,
        ),
    )
    for place, (words, formula, amount) in enumerate(rows):
        table.sheet.write_string(total + 1 + place, 0, words, look.note)
        wrapped = formula if formula.startswith("=IF") else f"=ROUND({formula[1:]},{look.unit.digits})"
        kind = look.of("difference" if words == "Difference" else "sum")
        table.sheet.write_formula(total + 1 + place, 2, wrapped, kind, shown(look.major(amount)))
