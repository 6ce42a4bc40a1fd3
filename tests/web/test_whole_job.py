"""The job in a real browser: a pile is settled by keyboard, corrected, taken away, lost and found again."""

import io
import json
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pypdfium2
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.web.conftest import ROOT, KeptPile, RunningDesk

SAMPLE = ROOT / "sample_scans"
READ_BY = 120_000  # milliseconds; a slow machine reads a photo in seconds, the first one loads the reader


def test_unsure_slips_are_settled_from_the_keyboard_in_a_few_key_presses_each(
    page: Page, pile: KeptPile
) -> None:
    page.goto(pile.address)
    expect(page.get_by_role("link", name="Settle the 2 unsure")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_label("What is written for the total?")).to_be_focused()
    shown = page.locator("main").inner_text()
    assert "164.82" not in shown
    assert "64.96" not in shown
    totals = {"Slip 32680": "6496"}
    other = "16482"
    first = page.locator(".where a").first.inner_text()
    # What agrees with the reader needs no Enter.
    for key in totals.get(first, other):
        page.keyboard.press(key)
    expect(page.locator(".said")).to_contain_text("agrees.")
    expect(page.locator(".left")).to_contain_text("1 left")
    for key in other if first in totals else "6496":
        page.keyboard.press(key)
    expect(page.get_by_role("heading", name="Nothing left to settle")).to_be_visible()
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(r"show=wrong"))
    expect(page.locator(".card")).to_have_count(1)


def test_another_value_than_the_readers_is_compared_before_it_counts(page: Page, pile: KeptPile) -> None:
    page.goto(f"{pile.address}/settle")
    field = page.get_by_label("What is written for the total?")
    field.press_sequentially("777")
    expect(page.locator("output")).to_have_text("£7.77")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading")).to_contain_text("Look again")
    expect(page.get_by_role("button", name="7.77")).to_be_focused()
    page.keyboard.press("Escape")
    expect(field).to_be_focused()
    field.press_sequentially("777")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="7.77")).to_be_focused()
    page.keyboard.press("1")
    expect(page.locator(".said")).to_contain_text("7.77")
    page.keyboard.press("u")
    expect(page.locator(".said")).to_contain_text("Took back 7.77 for the total")
    expect(page.locator(".left")).to_contain_text("2 left")


def test_whoever_cannot_type_it_may_choose_and_put_off(page: Page, pile: KeptPile) -> None:
    page.goto(f"{pile.address}/settle")
    page.get_by_label("What is written").press(" ")
    choices = page.locator(".choices button")
    expect(choices.first).to_be_focused()
    assert choices.count() == 2
    page.keyboard.press("1")
    expect(page.locator(".left")).to_contain_text("left")
    page.goto(f"{pile.address}/settle")
    page.get_by_label("What is written").press("s")
    expect(page.get_by_role("heading")).to_contain_text("put off")


def test_a_correction_is_judged_at_once_and_undone(page: Page, pile: KeptPile) -> None:
    page.goto(f"{pile.address}?show=wrong")
    page.locator(".card h2 a").click()
    expect(page.locator(".verdict")).to_contain_text("£97.00")
    page.get_by_role("link", name=re.compile("^the total: 97.00")).click()
    page.get_by_role("textbox", name="the total").fill("82.00")
    page.keyboard.press("Enter")
    expect(page.locator("h1 .mark")).to_have_text("agrees")
    expect(page.get_by_role("link", name=re.compile("^the total: 82.00, said by you"))).to_be_visible()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("h1 .mark")).to_have_text("wrong")
    expect(page.locator(".said")).to_contain_text("Took back 82.00")


def test_picture_and_ledger_light_up_together(page: Page, pile: KeptPile) -> None:
    page.goto(pile.slip(1))
    page.locator("#cell-total\\.0").hover()
    expect(page.locator("svg a.lit")).to_have_count(1)
    page.locator("#cell-total\\.0").focus()
    expect(page.locator("svg a.lit")).to_have_attribute("data-box", "total.0")


def test_files_to_take_away_open_and_hold_what_the_page_says(page: Page, pile: KeptPile) -> None:
    page.goto(f"{pile.address}/out")

    def fetched(name: str) -> bytes:
        with page.expect_download() as waiting:
            page.get_by_role("link", name=name, exact=True).click()
        return Path(waiting.value.path()).read_bytes()

    book = openpyxl.load_workbook(io.BytesIO(fetched("Spreadsheet")), data_only=True)
    assert book["Orders"].max_row == 1 + 4
    wrong = [row[3].value for row in book["Wrong totals"].iter_rows(min_row=7, max_row=7)]
    assert wrong == [97.00]
    result = json.loads(fetched("JSON"))
    assert [each["verdict"] for each in result["slips"]] == ["wrong", "unsure", "unsure", "agrees"]
    assert [each["photo"] for each in result["problems"]] == ["IMG_9999.jpg"]
    with zipfile.ZipFile(io.BytesIO(fetched("CSV"))) as tables:
        assert sorted(tables.namelist()) == ["lines.csv", "orders.csv", "problems.csv", "wrong_totals.csv"]
    with zipfile.ZipFile(io.BytesIO(fetched("Pictures"))) as pictures:
        assert len(pictures.namelist()) == 4


def test_notes_print_with_the_right_total_and_the_slips_picture(page: Page, pile: KeptPile) -> None:
    page.goto(f"{pile.address}/notes?picture=yes")
    expect(page.locator(".note img")).to_have_count(1)
    document = pypdfium2.PdfDocument(page.pdf(format="A4"))
    text = document[0].get_textpage().get_text_bounded()
    assert "82.00" in text
    assert "£15.00 less" in text
    assert "The desk" not in text
    document.close()


def test_a_name_typed_once_is_offered_again(page: Page, pile: KeptPile) -> None:
    page.goto(f"{pile.address}/names")
    page.get_by_label("Name").fill("Odile Pym")
    page.get_by_label("Address").fill("4 Hasp Lane")
    page.keyboard.press("Enter")
    expect(page.locator(".left")).to_contain_text("3 without a name")
    expect(page.locator("datalist option")).to_have_attribute("value", "Odile Pym")
    page.goto(f"{pile.address}?search=odile")
    expect(page.locator(".card")).to_have_count(1)


def test_a_deleted_pile_is_gone(page: Page, pile: KeptPile) -> None:
    before = sum(path.is_dir() for path in pile.desk.folder.iterdir())
    page.goto(f"{pile.address}/settings")
    page.get_by_label(re.compile("Delete this pile")).check()
    page.get_by_role("button", name="Delete").click()
    expect(page.get_by_role("heading", name="Your piles")).to_be_visible()
    assert sum(path.is_dir() for path in pile.desk.folder.iterdir()) == before - 1
    assert page.goto(pile.address).status == 404  # type: ignore[union-attr]


def test_photos_are_dropped_read_and_survive_a_pulled_plug_and_a_phone_sends_more(
    page: Page, browser: Browser, tmp_path: Path, open_desk: Callable[[Path], RunningDesk]
) -> None:
    desk = open_desk(tmp_path / "desk")
    page.goto(desk.address)
    page.get_by_label("Name").fill("Autumn delivery")
    page.get_by_role("button", name="Start").click()
    expect(page.get_by_role("heading", name="Autumn delivery")).to_be_visible()
    # One photo and one file that is none, dropped as a browser hands them on.
    files = [("scan_02.jpg", (SAMPLE / "scan_02.jpg").read_bytes()), ("broken.jpg", b"not a photo")]
    page.evaluate(
        """async (files) => {
            const type = "image/jpeg", moved = new DataTransfer();
            for (const [name, bytes] of files) moved.items.add(new File([new Uint8Array(bytes)], name, {type}));
            const given = {bubbles: true, cancelable: true, dataTransfer: moved};
            document.querySelector(".send").dispatchEvent(new DragEvent("drop", given));
        }""",
        [[name, list(data)] for name, data in files],
    )
    # Being read, or read already where the machine is quick: the page has said that it has them.
    expect(page.locator(".work, .card, .problems").first).to_be_visible()
    desk.kill()
    expect(page.get_by_role("alert")).to_contain_text("does not answer")

    desk = open_desk(tmp_path / "desk")
    page.goto(f"{desk.address}/pile/1")
    expect(page.locator(".card, .work").first).to_be_visible()
    expect(page.locator(".card")).to_have_count(1, timeout=READ_BY)
    expect(page.locator(".problems")).to_contain_text("broken.jpg", timeout=READ_BY)
    expect(page.locator(".problems")).to_contain_text("not a photo or scan that can be opened")

    # A phone comes in by its link, sends a photo, and sees what becomes of it.
    page.goto(f"{desk.address}/phone")
    page.get_by_role("button", name="Show the code").click()
    page.get_by_text("Or open this address").click()
    link = page.locator("#link").inner_text()
    assert page.locator(".qr svg").count() == 1
    phone = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True)
    hand = phone.new_page()
    hand.goto(link)
    hand.get_by_role("button", name="Use this phone").tap()
    expect(hand.get_by_text("Take a photo")).to_be_visible()
    assert "pair" not in hand.url
    hand.locator("input[capture]").set_input_files(SAMPLE / "scan_03.jpg")
    expect(hand.locator(".sent")).to_contain_text("scan_03.jpg")
    expect(hand.locator(".sent .mark")).to_have_count(2, timeout=READ_BY)
    assert hand.goto(f"{hand.url.partition('/pile')[0]}/pile/1/settings") is not None
    hand.goto(link.partition("/pair")[0] + "/pile/1")
    expect(hand.locator(".card")).to_have_count(2)
    phone.close()

    # The code works once.
    second = browser.new_context()
    stranger = second.new_page()
    stranger.goto(link)
    stranger.get_by_role("button", name="Use this phone").click()
    expect(stranger.get_by_role("alert")).to_contain_text("used already")
    second.close()

    # A retake takes the place of the photo that failed.
    page.goto(f"{desk.address}/pile/1")
    page.get_by_label("Choose the retake of broken.jpg").set_input_files(SAMPLE / "scan_02.jpg")
    expect(page.locator(".card")).to_have_count(3, timeout=READ_BY)
    expect(page.locator(".problems")).to_have_count(0)


@pytest.mark.parametrize("path", ["/pile/7777", "/slip/7777", "/nothing"])
def test_an_address_of_nothing_says_so(page: Page, pile: KeptPile, path: str) -> None:
    page.goto(f"{pile.desk.address}{path}")
    expect(page.get_by_role("heading", name="That did not work")).to_be_visible()
