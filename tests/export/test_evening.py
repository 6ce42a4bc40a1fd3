"""The finished workbook recalculates to the records, and what is printed says what is due."""

import re
from io import BytesIO
from typing import Any

import pypdfium2
import pytest
from openpyxl import Workbook, load_workbook

from formread.errors import FormreadError
from formread.export.door_page import door_page
from formread.export.evening_files import evening_files
from formread.export.evening_sheets import evening_spreadsheet
from formread.goods.delivery import DeliveredLine, DeliveryNote
from formread.goods.order import add_up
from formread.goods.plan import plan_goods
from formread.goods.price_list import read_price_list
from formread.money import currency, format_money
from formread.round.cashing import everybody_paid
from formread.round.customers import read_customers
from formread.round.drops import plan_round
from formread.round.evening import Evening, plan_evening
from formread.round.payments import Behaviour
from formread.round.streets import read_streets
from formread.slips import Report
from tests.evening_pile import EVENING, sample_report
from tests.export.conftest import Recalculate

EXACT = (Behaviour(0, 0.5), Behaviour(500, 0.5))
"""Few ways to pay keep the float's search short; the float itself is tested in tests/round."""


def planned(*, takings: bool = False) -> Evening:
    report = sample_report()
    prices = read_price_list(EVENING / "price_list.csv")
    order = add_up(report, prices)
    lines = [
        DeliveredLine(
            product.key, product.description, max(product.quantity - (at % 5 == 0), 0), str(at % 3 + 1)
        )
        for at, product in enumerate(order.products)
    ]
    goods = plan_goods(report, prices, DeliveryNote("note", tuple(lines)))
    customers = read_customers([EVENING / "customers.csv"])
    streets = read_streets(EVENING / "streets.csv")
    evening = plan_evening(goods, customers, streets, EXACT)
    if not takings:
        return evening
    counted = dict(evening.float_usual.pieces)
    taken = sum(drop.due for drop in evening.plan.drops)
    for value in evening.cash.values:
        counted[value] = counted.get(value, 0) + taken // value
        taken %= value
    return plan_evening(
        goods, customers, streets, EXACT, takings=everybody_paid(evening.plan.drops), counted=counted
    )


@pytest.fixture(scope="module", name="evening")
def evening_fixture() -> Evening:
    return planned(takings=True)


def rows(book: Workbook, name: str, top: int = 1) -> list[dict[str, Any]]:
    sheet = book[name]
    titles = [cell.value for cell in sheet[top]]
    found = [
        dict(zip(titles, (cell.value for cell in row), strict=True))
        for row in sheet.iter_rows(min_row=top + 1)
    ]
    return [row for row in found if isinstance(row[titles[0]], int | float)]


def pence(value: Any) -> int:
    return round((value or 0) * 100)


def assert_every_penny(book: Workbook, evening: Evening) -> None:
    """The sheets' numbers are the records', and they lead from the slips to the purse."""
    goods = evening.goods
    products, packing, bills, drops = (rows(book, name) for name in ("Products", "Packing", "Bills", "Round"))
    assert [(row["To order"], pence(row["Worth"])) for row in products] == [
        (product.quantity, product.amount) for product in goods.order.products
    ]
    packed = {(row["No."] - 1, row["Row"]): row for row in packing}
    for bill in goods.bills:
        for line in bill.lines:
            row = packed[line.slip, line.row]
            assert (row["Ordered"], row["In the bag"], row["To come"]) == (
                line.quantity,
                line.packed,
                line.short,
            )
            assert (pence(row["Amount"]), pence(row["Amount now"])) == (line.amount, line.packed_amount)
    assert {row["No."] - 1: pence(row["Due now"]) for row in bills} == {b.slip: b.due for b in goods.bills}
    check = rows(book, "Delivery check")
    assert [(row["Short"], row["Over"]) for row in check] == [(one.short, one.over) for one in goods.ticked]
    assert [(pence(row["Due"]), pence(row["Next note"]), pence(row["Change"])) for row in drops] == [
        (drop.due, drop.handed, drop.change) for drop in evening.plan.drops
    ]
    # Goods on slips = goods packed + goods short; what is due is what the bills come to.
    assert sum(pence(r["Amount"]) for r in packing) == sum(
        pence(r["Amount now"]) + pence(r["Amount later"]) for r in packing
    )
    assert sum(pence(r["Due"]) for r in drops) == sum(pence(r["Due now"]) for r in bills)
    cells = [(row[0].value, row[2].value) for row in book["Cash"].iter_rows()]
    words = {str(name): pence(value) for name, value in cells if isinstance(value, int | float)}
    up = evening.cash_up
    assert words["Due at all doors"] == up.due == sum(bill.due for bill in goods.bills)
    assert words["Float taken along"] == up.float_in == evening.float_usual.value
    assert (
        words["Should be in the purse"] == up.expected == words["Float taken along"] + words["Taken in cash"]
    )
    assert words["Still owed"] == up.owed == 0
    assert words["Counted"] == up.counted_worth == up.expected
    assert words["Difference"] == up.difference == 0


def test_every_penny_can_be_followed_through_the_workbook(evening: Evening, recalculate: Recalculate) -> None:
    data = evening_spreadsheet(evening)
    assert_every_penny(load_workbook(BytesIO(data), data_only=True), evening)
    assert_every_penny(recalculate([data])[0], evening)


def test_a_delivered_number_that_is_mended_goes_through_to_the_purse(
    evening: Evening, recalculate: Recalculate
) -> None:
    """Let one short piece come after all, on the sheet, and compare with a plan in which it came."""
    goods = evening.goods
    book = load_workbook(BytesIO(evening_spreadsheet(evening)))
    at, one = next((at, one) for at, one in enumerate(goods.ticked) if one.short)
    sheet = book["Delivery check"]
    titles = [cell.value for cell in sheet[1]]
    sheet.cell(2 + at, 1 + titles.index("Delivered")).value = one.ordered
    saved = BytesIO()
    book.save(saved)
    (computed,) = recalculate([saved.getvalue()])
    lines = tuple(
        DeliveredLine(t.key, t.description, t.ordered if t.key == one.key else t.delivered)
        for t in goods.ticked
    )
    came = plan_goods(goods.report, goods.price_list, DeliveryNote("mended", lines))
    assert [pence(row["Due now"]) for row in sorted(rows(computed, "Bills"), key=lambda r: r["No."])] == [
        bill.due for bill in came.bills
    ]
    drops = plan_round(
        goods.report,
        came.packed,
        evening.cash,
        read_customers([EVENING / "customers.csv"]),
        read_streets(EVENING / "streets.csv"),
    ).drops
    assert [pence(row["Due"]) for row in rows(computed, "Round")] == [drop.due for drop in drops]


def text_of(data: bytes) -> str:
    document = pypdfium2.PdfDocument(data)
    text = "\n".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return text


def test_every_printed_list_and_the_door_page_say_what_is_due(evening: Evening) -> None:
    files = evening_files(evening)
    unit = currency("GBP")
    sheet, packing, labels = (
        text_of(files[name]) for name in ("round_sheet.pdf", "packing_list.pdf", "bag_labels.pdf")
    )
    for drop in evening.plan.drops:
        assert format_money(drop.due, unit) in sheet
        assert format_money(drop.due, unit) in packing or len(drop.slips) > 1
        assert drop.who.split()[-1] in sheet
        assert not drop.bags or format_money(drop.due, unit) in labels
        assert f'"due": {drop.due}' in files["at_the_door.html"].decode()
    assert format_money(evening.float_usual.value, unit) in text_of(files["float.pdf"])
    notes = text_of(files["notes.pdf"])
    assert all(f"slip {note.name}" in notes for note in evening.goods.notes)
    assert files == evening_files(evening)  # the same records give the same bytes


def test_the_door_page_runs_no_text_from_a_slip_and_asks_nothing_of_any_network(evening: Evening) -> None:
    page = door_page(evening)
    assert "<script>alert" not in page
    assert not re.search(r"https?://|src=|@import|url\(", page)


def test_another_float_than_the_one_proposed_is_reckoned_with() -> None:
    evening = plan_evening(plan_goods(Report("GBP", (), ())), takings=(), counted={2000: 3}, float_in=5000)
    book = load_workbook(BytesIO(evening_spreadsheet(evening)), data_only=True)
    cells = {row[0].value: row[2].value for row in book["Cash"].iter_rows()}
    assert (cells["Float taken along"], cells["Should be in the purse"], cells["Difference"]) == (50, 50, 10)


def test_an_empty_pile_makes_an_empty_evening() -> None:
    evening = plan_evening(plan_goods(Report("GBP", (), ())))
    assert all(files for files in evening_files(evening).values())
    assert evening.cash_up.due == 0


def test_a_currency_whose_coins_are_unknown_is_refused_in_words() -> None:
    from formread.round.coins import cash_of

    with pytest.raises(FormreadError, match="does not know the coins"):
        cash_of("XTS")
