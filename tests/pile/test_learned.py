"""Designs that slips of a pile agree on, and how the rest of the pile is read with them."""

import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import cv2
import pytest

from formread.arithmetic.record import SlipReadings
from formread.layout import propose_layouts
from formread.layout.design import SlipDesign, learn
from formread.layout.record import Layout, TotalBox
from formread.pile import learned, run
from formread.pile.gather import PhotoFile
from formread.pile.kept import Piles
from formread.pile.learned import AGREEING, FIRST, designs_of
from formread.pile.record import ReadPhoto, ReadSlip
from formread.pile.run import read_photos
from formread.pile.store import Store
from tests.layout.drawings import CLASSIC, Plan, draw


@pytest.fixture(autouse=True)
def _settled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Roles stay as they are: how sums settle them has tests of its own."""
    monkeypatch.setattr(learned, "settle_roles", list)


@cache
def slip(plan: Plan = CLASSIC) -> ReadSlip:
    """A drawn slip as it was found, with nothing read on it."""
    sheet = draw(plan).sheet
    _, data = cv2.imencode(".jpg", sheet.image[..., ::-1])
    layout = propose_layouts(sheet).layouts[0]
    return ReadSlip("a.jpg", 1, ((0.0, 0.0),) * 4, layout, SlipReadings((), ()), data.tobytes())


def laid_out(change: Callable[[Layout], Layout]) -> ReadSlip:
    return replace(slip(), layout=change(slip().layout))


def test_what_three_sound_slips_agree_on_is_a_design() -> None:
    assert designs_of([slip()] * (AGREEING - 1)) == ()
    (design,) = designs_of([slip()] * AGREEING)
    assert [c.role for c in design.columns] == [c.role for c in CLASSIC.columns]
    assert [(t.role, t.label) for t in design.totals] == list(CLASSIC.totals)
    assert design.probability <= 0.99
    assert dict(design.trust.column_roles) == pytest.approx(dict(slip().layout.trust.column_roles))


def with_doubt(layout: Layout) -> Layout:
    return replace(layout, probability=0.7)


def with_a_stray_box(layout: Layout) -> Layout:
    return replace(layout, trust=replace(layout.trust, stray_totals=1.0))


def with_doubtful_totals(layout: Layout) -> Layout:
    return replace(layout, trust=replace(layout.trust, totals=0.6))


@pytest.mark.parametrize("change", [with_doubt, with_a_stray_box, with_doubtful_totals])
def test_a_doubtful_slip_teaches_nothing(change: Callable[[Layout], Layout]) -> None:
    assert designs_of([slip(), slip(), laid_out(change)]) == ()


def without_goods(layout: Layout) -> Layout:
    goods, *totals = layout.totals
    return replace(layout, totals=tuple(totals), spare=(goods.box,))


def with_discount(layout: Layout) -> Layout:
    def renamed(total: TotalBox) -> TotalBox:
        return replace(total, role="discount") if total.role == "delivery" else total

    return replace(layout, totals=tuple(map(renamed, layout.totals)))


@pytest.mark.parametrize("change", [without_goods, with_discount])
def test_a_pad_whose_slips_do_not_agree_is_not_learned(change: Callable[[Layout], Layout]) -> None:
    other = laid_out(change)
    assert designs_of([slip()] * 3 + [other] * 3) == ()
    (design,) = designs_of([slip()] * 9 + [other])
    assert [total.role for total in design.totals] == [role for role, _ in CLASSIC.totals]


def named_by_a_design(layout: Layout) -> Layout:
    return replace(layout, known=True)


def test_slips_that_a_design_named_do_not_bear_it_out() -> None:
    """They speak for its boxes, but three must have been read for what these mean."""
    followers = [laid_out(named_by_a_design)] * 9
    assert designs_of([slip(), slip(), *followers]) == ()
    assert designs_of([slip()] * 3 + [laid_out(without_goods)] * 2) == ()
    assert designs_of([slip()] * 3 + [laid_out(without_goods)] * 2 + followers) == designs_of([slip()] * 3)


def test_slips_of_other_pads_neither_hinder_nor_help() -> None:
    other = slip(replace(CLASSIC, rows=7))
    assert designs_of([other, slip(), other, slip(), slip()]) == designs_of([slip()] * 3)


PHOTOS = [PhotoFile(Path(f"{k}.jpg"), f"{k}.jpg") for k in range(4 * FIRST + 1)]


def read_with(
    monkeypatch: pytest.MonkeyPatch, jobs: int, wait: Callable[[int], float]
) -> list[tuple[str, int]]:
    """Read a pile in threads; what was found in a photo is how many slips its design was learned from."""

    def read_photo(
        file: PhotoFile, designs: Sequence[SlipDesign] = (), learned: Sequence[SlipDesign] = ()
    ) -> ReadPhoto:
        time.sleep(wait(int(file.path.stem)))
        found = int(learned[0].name) if learned else 0
        return ReadPhoto((replace(slip(), photo=f"{file.name} {found}"),), ())

    def learn_from(slips: Sequence[ReadSlip]) -> tuple[SlipDesign, ...]:
        return (learn(str(len(slips)), slips[0].layout),)

    monkeypatch.setattr(run, "read_photo_file", read_photo)
    monkeypatch.setattr(run, "designs_of", learn_from)
    monkeypatch.setattr(run, "_pool", ThreadPoolExecutor)
    said = [result.slips[0].photo.split() for result in read_photos(PHOTOS, jobs)]
    return [(name, int(found)) for name, found in said]


def test_photos_are_read_with_what_those_before_them_taught_whichever_process_is_done_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    alone = read_with(monkeypatch, 1, lambda _: 0.0)
    assert [name for name, _ in alone] == [file.name for file in PHOTOS]
    batches = [0] * FIRST + [FIRST] * FIRST + [2 * FIRST] * (2 * FIRST) + [4 * FIRST]
    assert [found for _, found in alone] == batches
    assert read_with(monkeypatch, 3, lambda k: 0.02 * (k % 3)) == alone
    assert read_with(monkeypatch, 4, lambda k: 0.02 * (-k % 4)) == alone


def test_at_the_desk_photos_wait_for_those_that_teach_their_designs(tmp_path: Path) -> None:
    """Whichever is read sooner, and whether the desk was closed meanwhile."""
    store = Store(tmp_path / "desk")
    pile = store.add_pile("Tuesday", date(2026, 11, 3), "GBP")
    ids = [store.add_photo(pile, f"{k}.jpg", bytes([k])) for k in range(FIRST + 1)]
    photos = [photo for at in ids if at is not None and (photo := store.photo(at)) is not None]
    piles = Piles(store)
    assert [piles.can_be_read(photo) for photo in photos] == [True] * FIRST + [False]
    for photo in reversed(photos[:FIRST]):
        path = store.photo_path(photo.id)
        assert path is not None
        assert not piles.can_be_read(photos[-1])
        piles.keep_read(photo, path, ReadPhoto((slip(),), ()))
    store.close()
    piles = Piles(Store(store.folder))
    assert piles.can_be_read(photos[-1])
    assert piles.learned(photos[-1]) == designs_of([slip()] * FIRST)
    assert piles.learned(photos[0]) == ()
