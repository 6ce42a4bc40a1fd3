"""A slip photographed twice counts once; two customers' slips never do."""

import pytest

from formread.arithmetic import Confirmed
from formread.arithmetic.record import LineReadings, SlipReadings, TotalReading
from formread.layout.record import Layout
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


def test_the_list_has_the_slip_once_and_says_where_else_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    photos = [ReadPhoto((_read(name, "0412"),), ()) for name in ("a.jpg", "b.jpg")]
    monkeypatch.setattr(run, "read_photos", lambda *_: iter(photos))
    monkeypatch.setattr(run, "pool_roles", list)  # these slips have no table whose roles to pool
    pile = run.check([])
    (slip,) = pile.report.slips
    assert (slip.photo, len(pile.read), len(pile.judgements)) == ("a.jpg", 1, 1)
    assert "in b.jpg too; it counts once" in slip.reason
