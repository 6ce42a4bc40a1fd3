"""The rest of the evening at the desk: lists come in, doors are placed, cash is reckoned, all from one set of records."""

import csv
import io
from importlib import resources
from pathlib import Path

import openpyxl
import pytest
from playwright.sync_api import Browser, Page, expect

from formread.pile.kept import CUSTOMER, Piles
from formread.pile.store import Store
from formread.round.streets import Question
from formread.web.brought import Brought
from formread.web.evening import Evenings
from tests.web.conftest import KeptPile
from tests.web.drawn import fill, slip
from tests.web.test_accessible import violations

WALK = b"Street,Side,Way\nHasp Lane,,odd up even down\nBobbin Terrace,,\n"
PEOPLE = [
    ("Edie Thistlewick", "66 Bobbin Terrace"),
    ("J. Hobbleton", "37 Hasp Lane"),
    ("Miss Fennimoor", "Rose Cottage, Hasp Lane"),
]


def _pence(text: str) -> int:
    return round(float(text.replace("£", "")) * 100)


def _bring(page: Page, name: str, text: str | bytes) -> None:
    data = text if isinstance(text, bytes) else text.encode()
    page.locator("input[type=file]").set_input_files({"name": name, "mimeType": "text/csv", "buffer": data})


def test_the_order_is_added_up_and_ticked_off_at_the_desk(page: Page, pile: KeptPile) -> None:
    page.goto(pile.address)
    page.get_by_role("link", name="Goods and round").click()
    expect(page.get_by_role("heading", name="What to order")).to_be_visible()
    cells = page.locator(".printed tbody tr")
    products = [cells.nth(at).locator("td").all_inner_texts() for at in range(cells.count())]
    wanted = {row[0]: int(row[2]) for row in products if row[0] != "–"}
    worth = {row[0]: _pence(row[3]) for row in products if row[0] != "–"}
    assert wanted

    # A price list with one other price; nonsense is refused with its row.
    dear = next(iter(wanted))
    prices = {code: worth[code] / wanted[code] / 100 + (0.5 if code == dear else 0) for code in wanted}
    _bring(page, "prices.csv", "code,price\nA-1,cheap\n")
    expect(page.get_by_role("alert")).to_contain_text("row 2")
    page.get_by_role("link", name="Go back").click()
    listed = "\n".join(["code,price", *(f"{code},{price:.2f}" for code, price in prices.items())])
    _bring(page, "prices.csv", listed)
    expect(page.locator(".problems").first).to_contain_text("your price list says otherwise")
    expect(page.locator(".found").first).to_contain_text(dear)

    # A delivery note on which one piece is missing.
    page.get_by_role("link", name="Delivery", exact=True).click()
    note = "\n".join(["code,sent", *(f"{code},{n - (code == dear)}" for code, n in wanted.items())])
    _bring(page, "note.csv", note)
    expect(page.locator(".printed").first).to_contain_text("1 short")
    expect(page.get_by_role("heading", name="Who waits")).to_be_visible()
    page.get_by_role("button", name="Serve first").first.click()
    expect(page.get_by_role("heading", name="Served first")).to_be_visible()
    page.get_by_role("link", name="Packing").click()
    expect(page.locator(".bag").filter(has_text="to come")).to_have_count(1)


def test_the_round_is_walked_and_cashed_up_at_the_desk(page: Page, pile: KeptPile) -> None:
    # Names come from a list; the walk is kept, and answers go into it.
    page.goto(f"{pile.address}/round")
    numbers = [one.replace("slip ", "") for one in page.locator(".printed td a").all_inner_texts()]
    people = "\n".join(
        [
            "slip,name,address",
            *(f'{n},{who},"{where}"' for n, (who, where) in zip(numbers, PEOPLE, strict=False)),
        ]
    )
    _bring(page, "customers.csv", people)
    expect(page.locator(".printed").first).to_contain_text("Edie Thistlewick")
    page.get_by_role("link", name="Bring your own list").click()
    _bring(page, "walk.csv", WALK)
    expect(page.locator(".legs li")).to_have_count(2)
    page.get_by_role("button", name="Bobbin Terrace earlier").press("Enter")
    expect(page.locator(".legs h2").first).to_contain_text("Bobbin Terrace")
    page.get_by_role("link", name="Back to the round").click()
    expect(page.locator(".printed td a").first).to_have_text("Edie Thistlewick")
    page.get_by_label("After number").fill("12")
    page.get_by_label("After number").press("Enter")
    expect(page.locator(".said").first).to_contain_text("Kept in your walk")
    assert page.get_by_label("After number").count() == 0

    # The float, and the purse to the penny: the first door owes, the others pay.
    page.get_by_role("link", name="Float").click()
    expect(page.get_by_role("heading", name="to be safe")).to_be_visible()
    page.get_by_role("link", name="Cash").click()
    doors = page.locator(".doors li")
    due = [_pence(doors.nth(at).locator(".money").inner_text()) for at in range(doors.count())]
    page.get_by_label("Remarks at drop 1").fill("not in")
    for at in range(1, len(due)):
        page.get_by_role("button", name=f"Drop {at + 1} paid").click()
    page.get_by_label("Float taken along").fill("50")
    page.get_by_label("Pieces of £0.01 in the purse").fill(str(5000 + sum(due[1:]) - 2))
    page.get_by_role("button", name="Keep and reckon").click()
    stands = page.locator(".sum dl")
    expect(stands).to_contain_text("missing from it")
    assert _pence(stands.locator("div").last.locator("dd").inner_text()) == 2
    expect(page.locator(".owes")).to_have_count(1)

    with page.expect_download() as waiting:
        page.get_by_role("link", name="Spreadsheet").click()
    book = openpyxl.load_workbook(io.BytesIO(Path(waiting.value.path()).read_bytes()), data_only=True)
    assert {"Products", "Delivery check", "Packing", "Bills", "Round", "Float", "Cash"} <= set(
        book.sheetnames
    )
    cash = {row[0].value: row[2].value for row in book["Cash"].iter_rows()}
    assert round(100 * cash["Due at all doors"]) == sum(due)
    assert round(100 * cash["Still owed"]) == due[0]
    assert round(100 * cash["Difference"]) == -2

    # The printed lists come as files.
    page.goto(f"{pile.address}/out")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Print Round sheet").click()
    assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("width", [360])
def test_the_page_for_the_door_ticks_off_on_a_phone_and_remembers(
    browser: Browser, pile: KeptPile, tmp_path: Path, width: int
) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 740}, has_touch=True, is_mobile=True, accept_downloads=True
    )
    context.set_default_timeout(20_000)
    failures: list[str] = []
    page = context.new_page()
    page.on("pageerror", lambda error: failures.append(str(error)))
    page.goto(f"{pile.address}/out")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save At the door").click()
    saved = tmp_path / "door.html"
    saved.write_bytes(Path(waiting.value.path()).read_bytes())

    # On the way there is no network: the page is a file on the phone.
    context.set_offline(True)
    page.goto(saved.as_uri())
    doors = page.locator("section")
    due = [_pence(doors.nth(at).locator("h2 span").last.inner_text()) for at in range(doors.count())]
    assert len(due) == 4
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    doors.nth(0).get_by_role("button", name="paid in cash").tap()
    doors.nth(1).get_by_role("button", name="paid otherwise").tap()
    doors.nth(2).get_by_role("button", name="not in").tap()
    doors.nth(3).get_by_role("button", name="partly").tap()
    expect(doors.nth(3).get_by_label("cash, change taken off")).to_be_focused()
    page.keyboard.type("5.50")
    doors.nth(3).get_by_label("remarks").tap()
    page.keyboard.type("the rest on Friday")
    axe = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    page.evaluate(axe)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert not violations(page)
    expect(page.locator("#sum")).to_contain_text(f"cash {(due[0] + 550) / 100:.2f}")
    page.reload()
    expect(doors.nth(0).get_by_role("button", name="paid in cash")).to_have_attribute("aria-pressed", "true")
    expect(doors.nth(3).get_by_label("remarks")).to_have_value("the rest on Friday")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save as a list").tap()
    listed = Path(waiting.value.path()).read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(listed)))
    assert [_pence(row["cash"]) for row in rows] == [due[0], 0, 0, 550]
    assert [_pence(row["otherwise"]) for row in rows] == [0, due[1], 0, 0]
    assert [row["remarks"] for row in rows] == ["", "", "not in", "the rest on Friday"]

    # At home the desk takes the list over.
    context.set_offline(False)
    page.goto(f"{pile.address}/cash")
    _bring(page, "takings.csv", listed)
    expect(page.locator(".said")).to_contain_text("Took 4 doors")
    owed = sum(due) - due[0] - due[1] - 550
    expect(page.locator(".sum dl")).to_contain_text(f"£{owed / 100:.2f}")
    context.close()
    assert not failures


@pytest.fixture(name="evenings")
def evenings_fixture(tmp_path: Path) -> Evenings:
    fill(tmp_path / "desk", [slip(38), slip(0, doubtful=True), slip(6)], copies=2)
    store = Store(tmp_path / "desk")
    brought = Brought(store)
    return Evenings(Piles(store, brought.known), brought)


def test_a_price_list_at_the_desk_is_evidence_for_the_slips(evenings: Evenings) -> None:
    piles, store = evenings.piles, evenings.piles.store
    unsure = next(kept for kept in piles.slips(1) if kept.open)
    line = unsure.slip.lines[0]
    before = unsure.outcome.judgement
    assert line.code
    evenings.brought.add(1, "prices", "list.csv", f"code,price\n{line.code},99.99\n".encode(), "GBP")
    piles.refresh(1, every=True)
    after = piles.slip(unsure.id)
    assert after is not None
    assert after.outcome.judgement != before
    assert piles.slips(2)[1].outcome.judgement == before  # the other pile has no list
    assert evenings.brought.known(1).prices
    assert not evenings.brought.known(2).prices
    store.close()


def test_settled_slips_of_other_piles_re_estimate_how_customers_err(evenings: Evenings) -> None:
    piles = evenings.piles
    usual = evenings.brought.known(2).priors
    kept = next(kept for kept in piles.slips(1) if kept.open)
    piles.answer(kept.id, "hand", {"verdict": "seen"})
    settled = evenings.brought.known(2).priors
    assert settled != usual
    assert (
        evenings.brought.known(1).priors == usual
    )  # pile 2 still has a doubt, and no pile speaks for itself


def test_takings_stay_with_their_door_when_the_walk_changes(evenings: Evenings) -> None:
    piles, store = evenings.piles, evenings.piles.store
    for kept, (who, where) in zip(piles.slips(1), PEOPLE, strict=True):
        piles.answer(kept.id, CUSTOMER, {"name": who, "address": where})
    evenings.brought.take_up_streets("walk.csv", WALK)
    row = store.pile(1)
    assert row is not None
    drop = next(d for d in evenings.evening(row).plan.drops if d.who == "Edie Thistlewick")
    assert drop.number == 3
    store.say(1, "takings", {str(piles.slips(1)[drop.slips[0]].id): (drop.due, 0, "")})
    evenings.brought.take_up_streets("walk.csv", b"Street\nBobbin Terrace\nHasp Lane\n")
    up = evenings.evening(row).cash_up
    paid = next(door for door in up.doors if door.drop.who == "Edie Thistlewick")
    assert (paid.drop.number, paid.owes) == (1, 0)
    assert up.cash == drop.due
    asked = [d.question for d in evenings.evening(row).plan.drops if d.question]
    assert [question.kind for question in asked if isinstance(question, Question)] == ["house"]


def test_what_a_person_reads_on_the_delivery_note_counts(evenings: Evenings) -> None:
    store = evenings.piles.store
    row = store.pile(1)
    assert row is not None
    product = next(p for p in evenings.goods(row).order.products if p.code)
    evenings.brought.add(1, "note", "note.csv", f"code,sent\n{product.code},0\n".encode(), "GBP")
    assert next(t for t in evenings.goods(row).ticked if t.key == product.key).short == product.quantity
    where = evenings.goods(row).note.lines[0].where
    store.say(1, "lines", {where: [product.code, product.quantity]})
    assert next(t for t in evenings.goods(row).ticked if t.key == product.key).short == 0


def test_delivery_terms_at_the_desk_are_what_slips_are_held_against(evenings: Evenings) -> None:
    evenings.piles.store.say(1, "terms", {"delivery": 250, "free_from": None})
    assert evenings.brought.known(1).terms.delivery == 250
    assert evenings.brought.known(2).terms.delivery is None
