"""Draw the pictures of the desk's pages that stand in docs/desk.md, from the sample photos (invented slips).

    python -m tests.web.take_pictures [--folder docs/desk]

Reads some of ``sample_scans``, opens the desk and photographs every page at phone and laptop size.
"""

import argparse
import io
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import cast

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from formread.pile.gather import PhotoFile
from formread.pile.kept import CUSTOMER, Piles
from formread.pile.photo import read_photo_file
from formread.pile.store import Store
from formread.web.brought import Brought, ListKind
from formread.web.evening import Evenings
from tests.programs import need_program

ROOT = Path(__file__).parents[2]
PHOTOS = (
    *("IMG_0403.jpg", "IMG_0409.jpg", "IMG_0413.jpg", "IMG_0414.jpg"),
    *("IMG_0422.jpg", "IMG_0430.jpg", "scan_01.jpg", "scan_03.jpg"),
)
SIZES = {"laptop": (1440, 900, 0.6), "phone": (360, 740, 1.0)}
"""Width and height of the window, and how much of that the picture keeps: small files, still legible."""
COLOURS = 200  # fewer, and amber turns brown
PAGES = {
    "piles": "/",
    "pile": "/pile/1",
    "settle": "/pile/1/settle",
    "slip": "/slip/1",
    "notes": "/pile/1/notes",
    "out": "/pile/1/out",
    "names": "/pile/1/names",
    "camera": "/pile/1/camera",
    "phone": "/phone",
    "wrong": "/pile/1/wrong",
    "settings": "/pile/1/settings",
    "people": "/people",
    "order": "/pile/1/order",
    "delivery": "/pile/1/delivery",
    "packing": "/pile/1/packing",
    "round": "/pile/1/round",
    "walk": "/streets?pile=1",
    "float": "/pile/1/float",
    "cash": "/pile/1/cash",
}
EVENING = ROOT / "sample_evening"


def main(arguments: Sequence[str] | None = None) -> None:
    """Draw them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=ROOT / "docs" / "desk")
    options = parser.parse_args(arguments)
    options.folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as kept:
        _fill(Path(kept) / "desk")
        command = [sys.executable, "-m", "tests.web.run_desk", str(Path(kept) / "desk")]
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, cwd=ROOT) as desk:
            assert desk.stderr is not None
            address = desk.stderr.readline().split()[5].rstrip("/")
            with sync_playwright() as playwright:
                path = need_program("chromium", "chromium-browser", "google-chrome")
                browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
                for scheme in ("light", "dark"):
                    _take(browser, address, scheme, options.folder)
                browser.close()
            desk.terminate()


def _fill(folder: Path) -> None:
    store = Store(folder)
    brought = Brought(store)
    piles = Piles(store, brought.known)
    pile = store.add_pile("Spring delivery", date(2026, 5, 14), "GBP")
    store.add_pile("Winter delivery", date(2026, 1, 20), "GBP")
    for name in PHOTOS:
        file = ROOT / "sample_scans" / name
        at = store.add_photo(pile, name, file.read_bytes())
        photo = None if at is None else store.photo(at)
        path = None if at is None else store.photo_path(at)
        assert photo is not None
        assert path is not None
        piles.keep_read(photo, path, read_photo_file(PhotoFile(file, name)))
    piles.refresh(pile)
    piles.answer(1, CUSTOMER, {"name": "J. Hobbleton", "address": "37 Hasp Lane, Little Haspen"})
    store.remember("J. Hobbleton", "37 Hasp Lane, Little Haspen")
    _bring(Evenings(piles, brought), pile)
    store.close()


def _bring(evenings: Evenings, pile: int) -> None:
    """Bring the sample lists, and a delivery note on which every seventh product is one piece short."""
    brought = evenings.brought
    for kind, name in (("prices", "price_list.csv"), ("customers", "customers.csv")):
        brought.add(pile, cast(ListKind, kind), name, (EVENING / name).read_bytes(), "GBP")
    brought.take_up_streets("streets.csv", (EVENING / "streets.csv").read_bytes())
    evenings.piles.refresh(pile, every=True)
    row = evenings.piles.store.pile(pile)
    assert row is not None
    products = [product for product in evenings.goods(row).order.products if product.code]
    lines = [
        f"{one.code},{one.description or ''},{one.quantity - (at % 7 == 3)}"
        for at, one in enumerate(products)
    ]
    brought.add(
        pile, "note", "delivery_note.csv", "\n".join(["code,description,sent", *lines]).encode(), "GBP"
    )


def _take(browser: Browser, address: str, scheme: str, folder: Path) -> None:
    for size, (width, height, share) in SIZES.items():
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,  # type: ignore[arg-type]
        )
        page = context.new_page()
        for name, path in PAGES.items():
            # Both schemes of the page that is looked at longest; of the others the light one.
            if scheme == "dark" and name not in {"pile", "settle", "slip"}:
                continue
            page.goto(address + path)
            page.wait_for_load_state("networkidle")
            shot = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
            shot = shot.resize(
                (round(shot.width * share), round(shot.height * share)), Image.Resampling.LANCZOS
            )
            shot.quantize(COLOURS, dither=Image.Dither.NONE).save(
                folder / f"{name}-{size}-{scheme}.png", optimize=True
            )
        context.close()


if __name__ == "__main__":
    main()
