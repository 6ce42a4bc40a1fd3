"""Rates re-estimated from settled slips."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.arithmetic import judge
from formread.arithmetic.learning import FURTHEST, Tally, relearn, tally
from formread.arithmetic.priors import STANDARD, TotalSlip
from formread.arithmetic.record import Judgement
from tests.arithmetic.test_judge import RIGHT, ROWS, a_slip, judged_slip
from tests.measure.judging import Asked, look
from tests.measure.simulated_slips import Middling, Mix, read_slip, simulate, start_pile

totals = st.dictionaries(st.sampled_from(tuple(STANDARD.total_slips)), st.floats(0, 1e4))


def test_nothing_seen_leaves_the_table_as_it_is() -> None:
    learned = relearn(Tally())
    assert learned.addition_wrong == STANDARD.addition_wrong
    assert learned.product_wrong == STANDARD.product_wrong
    assert learned.total_slips == pytest.approx(STANDARD.total_slips)


@given(wrong=totals, sums=st.floats(1, 1e5))
def test_whatever_was_seen_rates_stay_rates_and_shares_sum_to_one(
    wrong: dict[TotalSlip, float], sums: float
) -> None:
    learned = relearn(Tally(sums=sums, expected=0.06 * sums, total_slips=wrong))
    assert sum(learned.total_slips.values()) == pytest.approx(1.0)
    assert STANDARD.addition_wrong / FURTHEST <= learned.addition_wrong <= STANDARD.addition_wrong * FURTHEST


def _season(wrong: int) -> list[Judgement]:
    right, off = judged_slip(ROWS, total=RIGHT), judged_slip(ROWS, total=RIGHT + 100)
    return [right] * (400 - wrong) + [off] * wrong


def test_many_carries_seen_make_carries_more_probable_and_careful_customers_make_all_slips_rarer() -> None:
    careless, careful = (relearn(tally(_season(wrong))) for wrong in (60, 0))
    assert careless.total_slips["carry"] > 0.6 > STANDARD.total_slips["carry"]
    assert careless.addition_wrong > STANDARD.addition_wrong > careful.addition_wrong
    assert careful.product_wrong < STANDARD.product_wrong


def test_a_wrong_product_is_counted_once_as_a_product_and_not_as_a_sum() -> None:
    seen = tally([judged_slip([ROWS[0], ROWS[1], (3, 299, 1196)], total=RIGHT + 299)])
    assert sum(seen.line_slips.values()) == pytest.approx(1.0)
    assert max(seen.line_slips, key=lambda kind: seen.line_slips[kind]) == "times"
    assert not seen.total_slips
    assert (seen.products, seen.singles) == (2, 1)


def test_unsure_slips_are_not_counted() -> None:
    judged = replace(judged_slip(ROWS, total=RIGHT), verdict="unsure")
    assert tally([judged]) == Tally()


def test_the_judge_takes_relearned_rates() -> None:
    """A season of carries: the same slip is called wrong all the same, and by the same name."""
    judged = judge(a_slip(ROWS, total=RIGHT + 100), priors=relearn(tally(_season(60))))
    assert (judged.verdict, judged.slip_kind) == ("wrong", "carry")


def _evening(wrong: float, mix: Mix) -> list[Judgement]:
    """Eighty simulated slips, read by a middling reader, judged, the doubtful ones settled by one look each."""
    settled = []
    for number in range(2):
        pile = replace(start_pile(np.random.default_rng(number)), known="codes")
        for place in range(40):
            rng = np.random.default_rng([number, place])
            slip = simulate(rng, pile, wrong=place < 40 * wrong, mix=mix)
            readings = read_slip(slip, Middling(doubt=0.01), rng)
            asked = Asked(slip, {}, {}, hand=False)
            judged = asked.judge(readings)
            if judged.verdict == "unsure" and judged.ask is not None:
                judged = asked.judge(readings, look(slip, judged.ask))
            settled.append(judged)
    return settled


def test_an_evening_of_settled_slips_tells_how_these_customers_err() -> None:
    """From readings to rates: a quarter of the sums wrong, half of them by a carry; then none wrong at all."""
    careless = relearn(tally(_evening(0.25, "columns")))
    careful = relearn(tally(_evening(0.0, "columns")))
    assert careless.addition_wrong > 1.2 * STANDARD.addition_wrong
    assert careful.addition_wrong < 0.8 * STANDARD.addition_wrong
    kinds = careless.total_slips
    assert max(kinds, key=lambda kind: kinds[kind]) == "carry"
    assert kinds["carry"] > STANDARD.total_slips["carry"]
    assert kinds["left_out"] < STANDARD.total_slips["left_out"]
