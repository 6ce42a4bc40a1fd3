"""Reading in the background: what the first photos of a pile teach is there before the others are read."""

import asyncio
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import date
from pathlib import Path

import pytest

from formread.arithmetic import Confirmed
from formread.layout.design import SlipDesign
from formread.pile import kept
from formread.pile.gather import PhotoFile
from formread.pile.kept import Piles
from formread.pile.learned import FIRST
from formread.pile.record import ReadPhoto, ReadSlip
from formread.pile.store import Store
from formread.web import work
from formread.web.work import Reader
from tests.pile.test_store import _slip


def test_the_first_photos_teach_all_that_follow_though_the_last_of_them_is_slow(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path / "desk")
    piles = Piles(store)
    pile = store.add_pile("Tuesday", date(2026, 11, 3), "GBP")
    for k in range(FIRST + 3):
        store.add_photo(pile, f"{k}.jpg", bytes([k]))
    given: dict[str, list[str]] = {}

    def read_photo(file: PhotoFile, learned: Sequence[SlipDesign]) -> ReadPhoto:
        given[file.name] = [design.name for design in learned]
        time.sleep(0.2 if file.name == f"{FIRST - 1}.jpg" else 0.0)
        return ReadPhoto((_slip(Confirmed(998)),), ())

    def learn_from(slips: Sequence[ReadSlip]) -> tuple[SlipDesign, ...]:
        return (SlipDesign(f"of {len(slips)}", (), 1, 1.0, ()),) if slips else ()

    monkeypatch.setattr(work, "read_photo_file", read_photo)
    monkeypatch.setattr(kept, "designs_of", learn_from)

    async def until_all_are_read() -> None:
        task = asyncio.create_task(Reader(piles, 3, ThreadPoolExecutor).run())
        while store.waiting():
            await asyncio.sleep(0.02)
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task

    with ThreadPoolExecutor(1) as thread:  # the browser of other tests keeps a loop running in this one
        thread.submit(asyncio.run, asyncio.wait_for(until_all_are_read(), 30)).result()
    assert [given[f"{k}.jpg"] for k in range(FIRST + 3)] == [[]] * FIRST + [[f"of {FIRST}"]] * 3
