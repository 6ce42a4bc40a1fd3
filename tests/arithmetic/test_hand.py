"""One writer's habits sharpen that writer's other boxes."""

from dataclasses import replace

import pytest

from formread.arithmetic import Tabled, judge
from formread.arithmetic.hand import hand_of
from formread.arithmetic.priors import STANDARD
from formread.arithmetic.record import SlipReadings
from formread.arithmetic.weighing import Weighed
from formread.record import Value
from tests.arithmetic.test_judge import Row, a_slip

PLAIN: list[Row] = [(1, 250, 250), (2, 325, 650), (1, 899, 899)]


def _with_sevens_that_are_ones() -> SlipReadings:
    """Three line totals read with a 7 where the products say 1; and 1.50 alone in its row, read as 7.50."""
    slip = a_slip([(2, 105, 210), (3, 72, 216), (1, 315, 315), (1, 150, None)], total=891)
    misread: dict[int, dict[Value, float]] = {
        1: {270: 0.6, 210: 0.39},
        2: {276: 0.6, 216: 0.39},
        3: {375: 0.6, 315: 0.39},
    }
    lines = [
        replace(line, line_total=Tabled("amount", misread[line.row], floor=1e-6))
        if line.row in misread
        else replace(line, unit_price=Tabled("amount", {750: 0.9, 150: 0.0001}, floor=1e-6))
        for line in slip.lines
    ]
    return SlipReadings(tuple(lines), slip.totals)


def test_a_hand_whose_ones_look_like_sevens_is_told_by_its_settled_boxes() -> None:
    weighed = Weighed(_with_sevens_that_are_ones(), {}, STANDARD)
    hand, box = hand_of(weighed), weighed.rows[3].unit_price
    assert hand.factor(150, box) > 10
    assert hand.factor(950, box) < 1
    assert hand.factor(15, box) == 1.0


def test_a_box_does_not_testify_for_itself() -> None:
    weighed = Weighed(a_slip(PLAIN, total=1799), {}, STANDARD)
    hand, box = hand_of(weighed), weighed.rows[2].unit_price
    alone = Weighed(a_slip([PLAIN[2]], total=899), {}, STANDARD)
    once = hand_of(alone).by_box[id(alone.rows[0].unit_price)]
    assert (
        hand.by_box[id(box)]["8", "8"]
        == pytest.approx(once["8", "8"], abs=1e-6)
        == pytest.approx(1, abs=1e-3)
    )
    assert hand.every["8", "8"] - hand.by_box[id(box)]["8", "8"] == pytest.approx(1, abs=1e-3)


def test_habits_speak_only_where_there_is_doubt_and_can_be_switched_off() -> None:
    doubtful = _with_sevens_that_are_ones()
    heard, alone = judge(doubtful), judge(doubtful, hand=False)
    assert heard.probability_wrong < alone.probability_wrong
    sure = a_slip(PLAIN, total=1799)
    assert judge(sure) == judge(sure, hand=False)
