"""The pile as a whole."""

import pytest

from formread.arithmetic import Confirmed
from formread.arithmetic.record import LineReadings, SlipReadings, TotalReading
from formread.layout.record import Layout
from formread.pile.record import ReadSlip
from formread.pile.run import judge_pile


def _read(written: int, probability: float) -> ReadSlip:
    line = LineReadings(1, Confirmed(2, "quantity"), Confirmed(499), Confirmed(998))
    readings = SlipReadings((line,), (TotalReading("total", Confirmed(written)),))
    layout = Layout((), (), (), probability=probability)
    return ReadSlip("a.jpg", 1, ((0.0, 0.0),) * 4, layout, readings, b"")


@pytest.mark.parametrize(("written", "verdict"), [(998, "agrees"), (1098, "wrong")])
def test_a_sure_layout_lets_the_sums_speak(written: int, verdict: str) -> None:
    assert judge_pile([_read(written, 0.9)], [], "GBP").report.slips[0].verdict == verdict


@pytest.mark.parametrize("written", [998, 1098])
def test_a_doubtful_layout_neither_accuses_nor_clears(written: int) -> None:
    slip = judge_pile([_read(written, 0.2)], [], "GBP").report.slips[0]
    assert slip.verdict == "unsure"
    assert "columns" in slip.reason
