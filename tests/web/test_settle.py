"""Questions that are not about what stands in a box."""

from dataclasses import replace

from formread.arithmetic import BoxRef
from formread.pile.record import ReadPhoto, ReadSlip
from tests.web.drawn import keep, slip
from tests.web.test_guard import Doors, doors

__all__ = ["doors"]


def _with_a_row_that_may_be_crossed_out(read: ReadSlip) -> ReadSlip:
    lines = read.readings.lines
    changed = (replace(lines[0], struck_out=0.98), *lines[1:])
    return replace(read, readings=replace(read.readings, lines=changed))


def test_whether_a_row_is_crossed_out_is_asked_answered_and_judged(doors: Doors) -> None:
    piles = doors.piles
    keep(piles, 1, "IMG_0001.jpg", ReadPhoto((_with_a_row_that_may_be_crossed_out(slip(3)),), ()), 1)
    piles.refresh(1)
    kept = piles.slips(1)[0]
    assert kept.outcome.judgement.ask == BoxRef("struck_out", 1)
    assert "Is row 1 crossed out?" in doors.ask("GET", "/pile/1/settle").text
    said = doors.ask("POST", f"/slip/{kept.id}/settle", data={"box": "1.struck_out", "value": "0"})
    assert said.status_code == 303
    assert piles.slips(1)[0].slip.verdict == "agrees"
