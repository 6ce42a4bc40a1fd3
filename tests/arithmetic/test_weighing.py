"""Sums over all combinations: the same as writing out every combination, and bounded where any are dropped."""

from fractions import Fraction
from math import prod

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from formread.arithmetic import Tabled, chain, moves, rows, ways, weighing
from formread.arithmetic.priors import STANDARD
from formread.arithmetic.record import LineReadings, SlipReadings, TotalKind, TotalReading
from formread.arithmetic.terms import Terms
from formread.arithmetic.weighing import Weighed
from formread.record import DITTO, Kind, Reading, Value
from tests.arithmetic.enumeration import enumerated

MOST_COMBINATIONS = 20_000
"""Readings of a slip's boxes, each with each, that are written out one by one in reasonable time."""


@st.composite
def readings(draw: st.DrawFn, kind: Kind, likely: int) -> Reading:
    """A box whose truth is likely to be one number, with one or two others and perhaps nothing or a ditto."""
    most = 30 if kind == "quantity" else 3000
    others: list[Value] = draw(st.lists(st.integers(1, most), max_size=1))
    if draw(st.booleans()):
        others.append(draw(st.sampled_from((None, DITTO))))
    table: dict[Value, float] = {likely: draw(st.floats(0.3, 0.95))}
    for other in others:
        table.setdefault(other, (1 - table[likely]) / (len(others) + 1))
    return Tabled(kind, table, floor=draw(st.sampled_from((0.0, 1e-5))))


@st.composite
def small_slips(draw: st.DrawFn) -> SlipReadings:
    lines = []
    total = 0
    for number in range(1, draw(st.integers(1, 2)) + 1):
        count, price = draw(st.integers(1, 4)), draw(st.integers(1, 2000))
        total += count * price
        lines.append(
            LineReadings(
                number,
                draw(readings("quantity", count)),
                draw(readings("amount", price)),
                draw(st.one_of(st.none(), readings("amount", count * price))),
                struck_out=draw(st.sampled_from((0.0, 0.02, 0.9))),
            )
        )
    totals: list[TotalReading] = []
    kinds: tuple[TotalKind, ...] = draw(
        st.sampled_from(
            (
                (), ("goods",), ("delivery",), ("discount",), ("other",), ("delivery", "discount"),
                ("deposit", "discount"), ("brought", "discount"), ("other", "delivery"), ("deposit", "delivery"),
                ("discount", "delivery"),
            )
        )
    )  # fmt: skip
    for kind in kinds:
        amount = total if kind == "goods" else 150
        percent = draw(st.sampled_from((None, 1000))) if kind == "discount" else None
        if percent and draw(st.booleans()):
            amount = max((total + 5) // 10, 1)
        total += {"goods": 0, "discount": -amount, "deposit": -amount}.get(kind, amount)
        totals.append(TotalReading(kind, draw(readings("amount", amount)), percent))
    total += draw(st.sampled_from((0, 0, 100, -9, 7)))
    totals.append(TotalReading("total", draw(readings("amount", max(total, 1)))))
    return SlipReadings(tuple(lines), tuple(totals))


def _weighed(slip: SlipReadings, keep: float, groups: int = chain.MOST_GROUPS) -> Weighed:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "MOST_GROUPS", groups)
        patch.setattr(weighing, "KEEP", keep)
        patch.setattr(weighing, "LEAST_SUM", 0.0)
        patch.setattr(moves, "LEAST_MOVE", keep)
        patch.setattr(rows, "LEAST_READ", 0.0)
        patch.setattr(ways, "LEAST_WAY", 0.0)
        patch.setattr(ways, "MOST_WAYS", 10**6)
        return Weighed(slip, {}, STANDARD, Terms(150, 4000))


@settings(max_examples=25, deadline=None)
@given(slip=small_slips(), keep=st.sampled_from((1e-8, 1e-5, 1e-3)), groups=st.sampled_from((500, 3)))
def test_the_sums_equal_every_combination_written_out(slip: SlipReadings, keep: float, groups: int) -> None:
    """To 1e-9 where nothing is dropped; within the stated bound where running totals are."""
    weighed = _weighed(slip, 0.0)
    assume(prod(len(values) for values in _considered(weighed)) < MOST_COMBINATIONS)
    wrong, rights = enumerated(weighed)
    assert weighed.probability_wrong() == pytest.approx(wrong, abs=1e-9)
    values, inverse = np.unique(weighed.right, return_inverse=True)
    masses = np.bincount(inverse, weighed.weights.sum(axis=1)) / weighed.whole
    for value, mass in zip(values.tolist(), masses.tolist(), strict=True):
        assert mass == pytest.approx(rights.get(value, 0.0), abs=1e-9)
    pruned = _weighed(slip, keep, groups)
    if _considered(pruned) == _considered(weighed):
        assert abs(pruned.probability_wrong() - wrong) <= pruned.error_bound + 1e-9


def _considered(weighed: Weighed) -> list[set[Value]]:
    boxes = [weighed.total, *(charge.box for charge in weighed.charges)]
    boxes += [box for row in weighed.rows for box in (row.quantity, row.unit_price, row.line_total)]
    boxes += [weighed.goods] if weighed.goods is not None else []
    return [set(box.weights) for box in boxes]


@given(
    items=st.lists(st.tuples(st.integers(1, 9), st.integers(1, 5000)), min_size=1, max_size=6),
    discount=st.integers(0, 300),
)
@settings(max_examples=20, deadline=None)
def test_whole_pence_agree_with_exact_fractions_of_a_pound(
    items: list[tuple[int, int]], discount: int
) -> None:
    """Checked against the standard library's Fraction, in pounds."""

    def sure(kind: Kind, value: Value) -> Tabled:
        return Tabled(kind, {value: 1.0})

    pounds = sum((q * Fraction(p, 100) for q, p in items), Fraction(0)) - Fraction(discount, 100)
    if pounds <= 0:
        return
    lines = tuple(
        LineReadings(i, sure("quantity", q), sure("amount", p), sure("amount", q * p))
        for i, (q, p) in enumerate(items, start=1)
    )
    totals = (
        TotalReading("discount", sure("amount", discount or None)),
        TotalReading("total", sure("amount", int(pounds * 100))),
    )
    weighed = Weighed(SlipReadings(lines, totals), {}, STANDARD)
    best = int((weighed.mass * weighed.endings()).argmax())
    assert Fraction(int(weighed.right[best]), 100) == pounds
    assert weighed.probability_wrong() < 0.001
