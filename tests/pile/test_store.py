"""What is kept stays, what is deleted is gone, and the same readings give the same answers after a reload."""

import sqlite3
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formread.arithmetic import Confirmed, Tabled
from formread.arithmetic.record import BoxRef, LineReadings, SlipReadings, TotalReading
from formread.errors import OutputError
from formread.layout.record import Layout
from formread.pile.codec import decode, encode
from formread.pile.kept import HAND, Piles, box_key, box_ref
from formread.pile.record import ReadPhoto, ReadSlip
from formread.pile.run import judge_pile, judge_slip
from formread.pile.store import KEEP_DAYS, Store
from formread.reading import read_boxes
from formread.record import Value
from tests.pile.test_roles import charged_slip

SECRET = "Odile Pym, 4 Hasp Lane"
JPEG = b"\xff\xd8 the invented picture of one slip \xff\xd9"


def _slip(total: Tabled | Confirmed) -> ReadSlip:
    line = LineReadings(
        1, Tabled("quantity", {2: 0.99}, 1e-6), Tabled("amount", {499: 0.99}, 1e-6), Confirmed(998)
    )
    readings = SlipReadings((line,), (TotalReading("total", total),))
    return ReadSlip("a.jpg", 1, ((0.0, 0.0),) * 4, Layout((), (), ()), readings, JPEG)


def _keep(store: Store, pile: int, *slips: ReadSlip) -> list[int]:
    piles = Piles(store)
    at = store.add_photo(pile, "a.jpg", repr(slips).encode() + bytes(len(store.photos(pile))))
    assert at is not None
    photo, path = store.photo(at), store.photo_path(at)
    assert photo is not None
    assert path is not None
    assert piles.keep_read(photo, path, ReadPhoto(slips, ()))
    return [row.id for row in store.slips(pile) if row.photo == at]


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "desk")


def test_a_reading_answers_alike_after_a_reload() -> None:
    rng = np.random.default_rng(3)
    box = np.full((40, 120, 3), 250, np.uint8)
    box[8:32, 30:34] = box[8:32, 60:64] = box[8:12, 60:80] = 20
    noisy = np.clip(box + rng.normal(0, 4, box.shape), 0, 255).astype(np.uint8)
    for kind in ("amount", "quantity", "code", "number"):
        for reading in read_boxes([box, noisy], kind):
            again = decode(encode(reading), type(reading))
            assert again == reading
            values: tuple[Value, ...] = (None, 17, 170, "17", 100, 11)
            assert [again.probability_of(v) for v in values] == [reading.probability_of(v) for v in values]


@settings(max_examples=60)
@given(
    st.dictionaries(st.one_of(st.none(), st.integers(0, 10**6)), st.floats(0, 1), max_size=5), st.floats(0, 1)
)
def test_records_come_back_as_they_were(table: dict[Value, float], floor: float) -> None:
    slip = _slip(Tabled("amount", table, floor))
    assert decode(encode(slip), ReadSlip) == slip
    assert encode(decode(encode(slip), ReadSlip)) == encode(slip)


@settings(max_examples=100)
@given(st.binary(max_size=60))
def test_bytes_of_another_kind_are_refused_not_run(data: bytes) -> None:
    with pytest.raises(ValueError, match="not a kept"):
        decode(data, ReadSlip)


@pytest.mark.parametrize("ref", [BoxRef("unit_price", 3), BoxRef("total"), BoxRef("delivery", nth=1)])
def test_a_box_keeps_its_name(ref: BoxRef) -> None:
    assert box_ref(box_key(ref)) == ref


@pytest.mark.parametrize("key", ["", "3", "3.colour", "x.total", "total.x", "-1.total", "3.", "٣.total"])
def test_a_name_of_no_box_is_none(key: str) -> None:
    assert box_ref(key) is None


def test_an_answer_is_judged_at_once_kept_and_taken_back(store: Store) -> None:
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")
    (slip,) = _keep(store, pile, _slip(Tabled("amount", {1098: 0.95, 998: 0.04}, 1e-7)))
    piles = Piles(store)
    before = piles.slip(slip)
    assert before is not None
    assert before.slip.verdict == "unsure"
    answered = piles.answer(slip, "total.0", 998)
    assert answered is not None
    assert answered.slip.verdict == "agrees"
    store.close()

    again = Piles(Store(store.folder))
    assert again.slip(slip) == answered
    undone = again.undo(pile)
    assert undone is not None
    assert undone[0] == before
    assert again.undo(pile) is None
    again.store.close()


def test_the_seller_decides(store: Store) -> None:
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")
    (slip,) = _keep(store, pile, _slip(Tabled("amount", {1098: 0.95, 998: 0.04}, 1e-7)))
    piles = Piles(store)
    said = piles.answer(slip, HAND, {"right_total": 900})
    assert said is not None
    assert (said.slip.verdict, said.slip.computed_total) == ("wrong", 900)
    assert said.slip.difference == (said.slip.written_total or 0) - 900
    with pytest.raises(ValueError, match="row"):
        piles.answer(slip, "9.unit_price", 499)
    assert len(store.answers_of(slip)) == 1
    store.close()


def test_the_pile_judges_as_a_run_over_all_photos_does(store: Store) -> None:
    """Three slips testify for a price that the fourth slip's reader can't tell."""
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")

    def priced(price: Tabled | Confirmed) -> ReadSlip:
        code = Tabled("code", {"104-238": 0.99}, 1e-9)
        line = LineReadings(1, Confirmed(2, "quantity"), price, Tabled("amount", {None: 0.99}, 1e-6), code)
        readings = SlipReadings((line,), (TotalReading("total", Confirmed(998)),))
        return ReadSlip("a.jpg", 1, ((0.0, 0.0),) * 4, Layout((), (), ()), readings, JPEG)

    slips = [priced(Tabled("amount", {499: 0.98}, 1e-6)) for _ in range(5)]
    slips.append(priced(Tabled("amount", {499: 0.5, 490: 0.49}, 1e-6)))
    piles = Piles(store)
    for one in slips:
        _keep(store, pile, one)
    piles.refresh(pile)
    whole = judge_pile(slips, [], "GBP").report.slips
    assert [kept.slip.verdict for kept in piles.slips(pile)] == [slip.verdict for slip in whole]
    assert [kept.slip.probability_wrong for kept in piles.slips(pile)] == [s.probability_wrong for s in whole]
    alone, _ = judge_slip(slips[-1], {}, {})
    assert alone.probability_wrong > whole[-1].probability_wrong
    store.close()


def test_the_slips_of_a_kept_pile_name_each_others_boxes(store: Store) -> None:
    """Three slips add up if the charge is a delivery, against what one label said; what a person answered stays."""
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")
    slips = [charged_slip(charge, 2048 + charge, 500.0) for charge in (150, 250, 300, 350)]
    ids = [at for one in slips for at in _keep(store, pile, replace(one, sheet_jpeg=JPEG))]
    piles = Piles(store)
    piles.answer(ids[-1], "1.quantity", 2)
    assert piles.refresh(pile)
    kept = [[charge.kind for charge in slip.slip.charges] for slip in piles.slips(pile)]
    assert kept == [["delivery"], ["delivery"], ["delivery"], ["discount"]]
    assert not piles.refresh(pile)
    store.close()


def test_deleting_leaves_nothing_behind(store: Store) -> None:
    pile = store.add_pile(SECRET, date(2026, 5, 14), "GBP")
    (slip,) = _keep(store, pile, _slip(Confirmed(998)))
    piles = Piles(store)
    piles.answer(slip, "customer", {"name": SECRET, "address": SECRET})
    store.remember(SECRET, SECRET)
    assert SECRET.encode() in b"".join(
        path.read_bytes() for path in store.folder.rglob("*") if path.is_file()
    )
    store.delete_pile(pile)
    store.forget(store.people()[0].id)
    left = [path for path in store.folder.rglob("*") if path.is_file()]
    assert all(SECRET.encode() not in path.read_bytes() and JPEG not in path.read_bytes() for path in left)
    assert {path.name for path in left} <= {
        "piles.sqlite",
        "piles.sqlite-wal",
        "piles.sqlite-shm",
        "desk.lock",
        "desk.lock-journal",
    }
    store.close()


def test_a_closed_pile_is_kept_for_its_time(store: Store) -> None:
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")
    closed = date(2026, 6, 1)
    assert store.overdue(closed + timedelta(days=1000)) == []
    store.close_pile(pile, closed)
    assert store.overdue(closed + timedelta(days=KEEP_DAYS - 1)) == []
    assert store.overdue(closed + timedelta(days=KEEP_DAYS)) == [pile]
    store.keep_days = KEEP_DAYS + 30
    assert store.overdue(closed + timedelta(days=KEEP_DAYS)) == []
    store.close()


def test_two_desks_do_not_share_a_folder(store: Store) -> None:
    with pytest.raises(OutputError, match="open already"):
        Store(store.folder)
    store.close()
    Store(store.folder).close()


def test_the_same_photo_is_kept_once_and_a_retake_takes_its_place(store: Store) -> None:
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")
    first = store.add_photo(pile, "a.jpg", b"one")
    assert first is not None
    assert store.add_photo(pile, "b.jpg", b"one") is None
    second = store.add_photo(pile, "a.jpg", b"two")
    assert second is not None
    assert [photo.name for photo in store.photos(pile)] == ["a.jpg", "a (2).jpg"]
    old = store.photo_path(first)
    store.replace_photo(first, b"three")
    new = store.photo_path(first)
    assert old is not None
    assert new is not None
    assert not old.exists()
    assert new.read_bytes() == b"three"
    # What was read on the old file meanwhile does not count.
    row = store.photo(first)
    assert row is not None
    assert not Piles(store).keep_read(row, old, ReadPhoto((_slip(Confirmed(998)),), ()))
    store.close()


def test_pictures_without_a_row_are_swept_up(store: Store) -> None:
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")
    photo = store.add_photo(pile, "a.jpg", b"one")
    assert photo is not None
    kept = store.photo_path(photo)
    assert kept is not None
    lost = kept.with_name("0" * 24)
    lost.write_bytes(b"half a photo")
    store.close()
    Store(store.folder).close()
    assert kept.exists()
    assert not lost.exists()


def test_lists_and_what_was_said_stay_until_they_are_deleted(store: Store) -> None:
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")
    at = store.add_list(pile, "note", "note.jpg", "{}", JPEG)
    store.say(pile, "float_in", 5000)
    store.streets = "Street\nHasp Lane\n"
    folder = store.folder
    store.close()
    again = Store(folder)
    assert [row.name for row in again.lists(pile, "note")] == ["note.jpg"]
    path = again.list_path(pile, at)
    assert path is not None
    assert path.read_bytes() == JPEG
    assert again.said(pile) == {"float_in": 5000}
    assert again.streets.endswith("Hasp Lane\n")
    again.say(pile, "float_in", None)
    assert again.said(pile) == {}
    again.delete_list(pile, at)
    assert again.lists(pile, "note") == []
    assert not path.exists()
    again.add_list(pile, "prices", "list.csv", "{}")
    again.delete_pile(pile)
    assert again.lists(pile, "prices") == []
    again.close()


def test_piles_that_an_earlier_formread_kept_are_taken_over(tmp_path: Path) -> None:
    store = Store(tmp_path / "desk")
    pile = store.add_pile("Spring", date(2026, 5, 14), "GBP")
    store.close()
    with sqlite3.connect(tmp_path / "desk" / "piles.sqlite") as db:
        db.executescript("DROP TABLE lists; DROP TABLE said; PRAGMA user_version = 1")
    db.close()
    again = Store(tmp_path / "desk")
    assert [row.name for row in again.piles()] == ["Spring"]
    again.say(pile, "shortest", True)
    assert again.said(pile) == {"shortest": True}
    again.close()
