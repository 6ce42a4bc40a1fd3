"""Time the desk with ninety slips, as a browser sees it: opening the pile, and each answer given by keyboard.

    python -m tests.measure.desk [--slips N]

The slips are drawn (invented, family ``tune``) and their readings are tables made from their truth, one slip in
three with a total that the reader takes for another: no reading of photos is in the figures. What is written is
typed key by key; an answer's time runs from its last key press to the frame in which the next question shows.
A second pile of the same slips is settled by choosing: Space offers the readings, a digit takes one.
The peer in the same run is the plainest page that the desk has, opened the same way.
"""

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from formread.money import CURRENCIES
from formread.pile.kept import box_ref
from formread.pile.record import ReadSlip
from formread.web.pages.settle import reading_of
from formread.web.words import shown
from tests.programs import need_program
from tests.web.drawn import fill, slip

TRIES = 10
_WATCH = """() => {
    window.times = [];
    let last = 0;
    document.addEventListener("submit", () => { window.sent = true; }, true);
    document.addEventListener("keydown", () => { last = performance.now(); }, true);
    new MutationObserver((changes) => {
        if (changes.some((change) => [...change.addedNodes].some((node) => node.id === "main")))
            requestAnimationFrame(() => { window.sent = false; window.times.push(performance.now() - last); });
    }).observe(document.body, {childList: true});
}"""


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--slips", type=int, default=90)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        slips = [slip(seed, doubtful=seed % 3 == 0) for seed in range(options.slips)]
        fill(Path(folder) / "desk", slips, copies=2)
        command = [sys.executable, "-m", "tests.web.run_desk", str(Path(folder) / "desk")]
        with (
            subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as desk,
            sync_playwright() as playwright,
        ):
            assert desk.stderr is not None
            address = desk.stderr.readline().split()[5].rstrip("/")
            path = need_program("chromium", "chromium-browser", "google-chrome")
            browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            page.set_default_timeout(10_000)
            try:
                _opening(page, address, len(slips))
                _settling(page, address, slips)
                _choosing(page, f"{address}/pile/2", slips)
            finally:
                browser.close()
                desk.terminate()


def _opening(page: Page, address: str, slips: int) -> None:
    def opened(path: str, ready: str) -> list[float]:
        took = []
        for _ in range(TRIES):
            page.goto("about:blank")
            start = time.perf_counter()
            page.goto(address + path, wait_until="commit")
            page.wait_for_selector(ready)
            took.append(time.perf_counter() - start)
        return sorted(took)

    for name, path, ready in (
        (f"pile of {slips} slips, until Enter settles", "/pile/1", "[data-enter]:focus"),
        ("the plainest page", "/people", "h1"),
    ):
        took = opened(path, ready)
        print(
            f"{name:<45}{statistics.median(took):>8.2f} s median{took[-2]:>8.2f} s second slowest of {TRIES}"
        )


def _settling(page: Page, address: str, slips: Sequence[ReadSlip]) -> None:
    presses: Counter[str] = Counter()
    asked: Counter[str] = Counter()
    page.goto(f"{address}/pile/1/settle")
    page.evaluate(_WATCH)
    count = 0
    while page.locator("input#value").count():
        at = page.locator(".where a").first.get_attribute("href") or ""
        key = page.locator("input[name=box]").first.input_value()
        ref = box_ref(key)
        reading = None if ref is None else reading_of(slips[int(at.rpartition("/")[2]) - 1], ref)
        assert ref is not None
        assert reading is not None
        text = shown(reading.values[-1][0], ref.role, CURRENCIES["GBP"])
        keys = ["e"] if text == "empty" else list(text.replace(".", ""))
        for one in keys:
            page.keyboard.press(one)
        # What agrees with the reader goes on by itself; anything else needs Enter.
        page.wait_for_timeout(150)
        if page.evaluate("times.length") == count and page.evaluate("!window.sent"):
            keys.append("Enter")
            page.keyboard.press("Enter")
        page.wait_for_function(f"times.length > {count}")
        count += 1
        presses[at] += len(keys)
        asked[at] += 1
    times = sorted(page.evaluate("times"))
    tens = [sorted(times[i : i + TRIES]) for i in range(0, len(times) - TRIES + 1, TRIES)]
    print(f"{count} answers for {len(presses)} unsure slips of {len(slips)}")
    print(f"an answer shows after {statistics.median(times):.0f} ms median, slowest {times[-2:]} ms")
    print(f"second slowest of ten answers, worst ten: {max(ten[-2] for ten in tens):.0f} ms" if tens else "")
    print("key presses an answer:", dict(sorted(Counter(presses[at] // asked[at] for at in presses).items())))
    print("key presses a slip:", dict(sorted(Counter(presses.values()).items())))


def _choosing(page: Page, address: str, slips: Sequence[ReadSlip]) -> None:
    presses: Counter[str] = Counter()
    page.goto(f"{address}/settle")
    while page.locator("input#value").count():
        at = page.locator(".where a").first.get_attribute("href") or ""
        key = page.locator("input[name=box]").first.input_value()
        ref = box_ref(key)
        reading = (
            None if ref is None else reading_of(slips[(int(at.rpartition("/")[2]) - 1) % len(slips)], ref)
        )
        assert ref is not None
        assert reading is not None
        text = shown(reading.values[-1][0], ref.role, CURRENCIES["GBP"])
        page.keyboard.press("Space")
        chosen = page.locator(".choices button").filter(has_text=text).first
        page.keyboard.press(chosen.get_attribute("data-key") or "1")
        page.wait_for_selector(".choices [data-key='1']", state="detached")
        presses[at] += 2
    left = page.locator(".left strong").inner_text() if page.locator(".left strong").count() else "0"
    print(f"left over: {left} without a total, asked as a whole, one key press each (Enter)")
    print("key presses a slip, by choosing:", dict(sorted(Counter(presses.values()).items())))


if __name__ == "__main__":
    main()
