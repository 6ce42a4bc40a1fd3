"""A slip photographed twice counts once; two customers' slips never do."""

import cv2
import numpy as np
import pytest

from formread.arithmetic import Confirmed
from formread.arithmetic.record import LineReadings, SlipReadings, TotalReading
from formread.layout.record import Box, Layout, Rectangle, Row
from formread.pile import run
from formread.pile.record import ReadPhoto, ReadSlip
from formread.pile.twice import repeated


def _read(photo: str, number: str | None, price: int = 499, lines: int = 2) -> ReadSlip:
    rows = tuple(
        LineReadings(row, Confirmed(2, "quantity"), Confirmed(price), Confirmed(2 * price))
        for row in range(1, lines + 1)
    )
    total = TotalReading("total", Confirmed(2 * price * lines))
    return ReadSlip(
        photo, 1, ((0.0, 0.0),) * 4, Layout((), (), (), serial_text=number), SlipReadings(rows, (total,)), b""
    )


def test_a_slip_with_the_same_number_and_values_in_another_photo_is_the_same_slip() -> None:
    slips = [_read("a.jpg", "0412"), _read("b.jpg", "0413"), _read("c.jpg", "0412"), _read("d.jpg", "0412")]
    assert repeated(slips) == {2: 0, 3: 0}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (_read("a.jpg", "0412"), _read("b.jpg", "0413")),  # the same order by another customer
        (_read("a.jpg", None), _read("b.jpg", None)),  # a pad without numbers
        (_read("a.jpg", "0412"), _read("b.jpg", "0412", price=375)),  # another pad with the same number
        (_read("a.jpg", "0412"), _read("a.jpg", "0412")),  # side by side in one photo
        (_read("a.jpg", "7"), _read("b.jpg", "7")),  # no serial number, or half of one
    ],
)
def test_slips_that_may_be_two_customers_stay_two(one: ReadSlip, other: ReadSlip) -> None:
    assert repeated([one, other]) == {}


def _written(photo: str, hand: int, seen: int, number: str | None = None) -> ReadSlip:
    """Return a slip of six lines on a pad without numbers: the strokes of a hand, in the light of a photo."""
    strokes, light = np.random.default_rng(hand), np.random.default_rng(seen)
    sheet = np.full((400, 300), 235, np.uint8)
    rows = []
    for row in range(6):
        top = 20 + 60 * row
        for left in (20, 160):
            corners = strokes.integers((left + 15, top + 10), (left + 95, top + 40), (5, 2))
            cv2.polylines(sheet, [corners.astype(np.int32)], False, (40,), 3, cv2.LINE_AA)
        quantity, total = (Box(Rectangle(left, top, left + 110, top + 50)) for left in (20, 160))
        rows.append(Row(row + 1, (("quantity", quantity), ("line_total", total))))
    shifted = np.roll(sheet, light.integers(-2, 3, 2), (0, 1))
    seen_sheet = cv2.GaussianBlur(shifted, (0, 0), 0.6 + light.random()) * (0.7 + 0.3 * light.random())
    jpeg = cv2.imencode(".jpg", np.repeat(seen_sheet.astype(np.uint8)[..., None], 3, axis=2))[1].tobytes()
    lines = tuple(
        LineReadings(row.number, Confirmed(2, "quantity"), Confirmed(499), Confirmed(998)) for row in rows
    )
    layout = Layout((), tuple(rows), (), serial_text=number)
    return ReadSlip(photo, 1, ((0.0, 0.0),) * 4, layout, SlipReadings(lines, ()), jpeg)


def test_a_slip_without_a_number_is_known_again_by_its_strokes() -> None:
    slips = [_written("a.jpg", 1, 10), _written("b.jpg", 2, 11), _written("c.jpg", 1, 12)]
    assert repeated(slips) == {2: 0}


def test_a_misread_number_does_not_make_two_of_one_slip() -> None:
    assert repeated([_written("a.jpg", 1, 10, "0412"), _written("b.jpg", 1, 11, "0472")]) == {1: 0}


@pytest.mark.parametrize("hand", range(2, 12))
def test_the_same_order_in_another_hand_is_another_slip(hand: int) -> None:
    assert repeated([_written("a.jpg", 1, 10), _written("b.jpg", hand, 11)]) == {}


def test_the_list_has_the_slip_once_and_says_where_else_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    photos = [ReadPhoto((_read(name, "0412"),), ()) for name in ("a.jpg", "b.jpg")]
    monkeypatch.setattr(run, "read_photos", lambda *_: iter(photos))
    monkeypatch.setattr(run, "pool_layouts", list)  # these slips have no table whose roles to pool
    pile = run.check([])
    (slip,) = pile.report.slips
    assert (slip.photo, len(pile.read), len(pile.judgements)) == ("a.jpg", 1, 1)
    assert "in b.jpg too; it counts once" in slip.reason
