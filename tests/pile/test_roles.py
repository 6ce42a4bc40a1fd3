"""What adds up names the boxes of a pad, where print and looks named them otherwise."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from formread.arithmetic import Tabled
from formread.arithmetic.record import LineReadings, SlipReadings, TotalReading
from formread.layout.record import (
    Box,
    Column,
    ColumnRole,
    Layout,
    Rectangle,
    Row,
    TotalBox,
    TotalRole,
    Trust,
)
from formread.pile import roles as settling
from formread.pile.leaning import leans_of
from formread.pile.record import ReadSlip
from formread.pile.roles import pads, settle_roles
from formread.record import Kind, Reading
from formread.sheet.record import Image

GUESS: tuple[TotalRole, ...] = ("goods", "discount", "total")
OTHER: tuple[TotalRole, ...] = ("goods", "delivery", "total")
COLUMNS: tuple[ColumnRole, ...] = ("quantity", "unit_price", "line_total")
TURNED: tuple[ColumnRole, ...] = ("quantity", "line_total", "unit_price")


def _sure(kind: Kind, value: int) -> Reading:
    return Tabled(kind, {value: 1 - 1e-6}, floor=1e-13)


def _lines(columns: tuple[ColumnRole, ...]) -> tuple[LineReadings, ...]:
    """Two pieces at 4.99 and three at 3.50, read as the columns are named."""
    lines = []
    for row, numbers in enumerate(((2, 499, 998), (3, 350, 1050)), 1):
        by = dict(zip(columns, numbers, strict=True))
        lines.append(
            LineReadings(
                row,
                _sure("quantity", by["quantity"]),
                _sure("amount", by["unit_price"]),
                _sure("amount", by["line_total"]),
                struck_out=1e-8,
            )
        )
    return tuple(lines)


def charged_slip(charge: int, total: int, odds: float, columns: tuple[ColumnRole, ...] = COLUMNS) -> ReadSlip:
    """A slip whose charge is taken for a discount, and is `odds` times less probably for delivery."""
    edges = (0, 100, 300, 500)
    boxes = tuple(Box(Rectangle(left, 0, right, 40)) for left, right in pairwise(edges))
    rows = tuple(Row(n, tuple(zip(columns, boxes, strict=True))) for n in (1, 2))
    layout = Layout(
        tuple(
            Column(role, box.rectangle.left, box.rectangle.right)
            for role, box in zip(columns, boxes, strict=True)
        ),
        rows,
        tuple(TotalBox(role, boxes[0]) for role in GUESS),
        trust=Trust(
            odds / (1 + odds),
            column_roles=((COLUMNS, 0.6), (TURNED, 0.4)),
            total_roles=((GUESS, odds / (1 + odds)), (OTHER, 1 / (1 + odds))),
        ),
        probability=0.6,
    )
    totals = tuple(
        TotalReading(kind, _sure("amount", value))
        for kind, value in zip(GUESS, (2048, charge, total), strict=True)
    )
    return ReadSlip("a.jpg", 1, ((0.0, 0.0),) * 4, layout, SlipReadings(_lines(columns), totals), b"")


def _named(slip: ReadSlip) -> tuple[TotalRole, ...]:
    return tuple(total.role for total in slip.layout.totals)


def test_a_box_of_the_totals_is_named_as_it_adds_up() -> None:
    (settled,) = settle_roles([charged_slip(250, 2298, 2.0)])
    assert _named(settled) == OTHER
    assert settled.readings.totals[1].kind == "delivery"
    assert settled.layout.trust.totals > 0.95


def test_what_is_printed_beside_a_box_outweighs_one_sum() -> None:
    """The customer added what the print says is to be taken off: that is a mistake, and stays one."""
    (settled,) = settle_roles([charged_slip(250, 2298, 500.0)])
    assert _named(settled) == GUESS


def test_slips_of_a_pad_outweigh_together_what_one_does_not() -> None:
    slips = [charged_slip(250, 2298, 500.0), charged_slip(300, 2348, 500.0), charged_slip(150, 2198, 500.0)]
    assert {_named(slip) for slip in settle_roles(slips)} == {OTHER}


def test_a_great_pile_of_one_pad_is_settled_like_a_small_one() -> None:
    slips = [charged_slip(5 * n, 2048 + 5 * n, 500.0) for n in range(1, 151)]
    assert {_named(slip) for slip in settle_roles(slips)} == {OTHER}


def test_slips_that_add_up_make_their_roles_sure_and_those_without_charges_do_not() -> None:
    (held,) = settle_roles([charged_slip(250, 1798, 2.0)])
    assert held.layout.trust.totals > 0.99
    assert leans_of(held.layout)["role"] < 0.2
    empty = charged_slip(0, 2048, 2.0)
    blank = replace(empty.readings.totals[1], reading=Tabled("amount", {None: 1 - 1e-6}))
    readings = replace(empty.readings, totals=(empty.readings.totals[0], blank, empty.readings.totals[2]))
    (unsaid,) = settle_roles([replace(empty, readings=readings)])
    assert unsaid.layout.trust.totals == pytest.approx(2 / 3)


def test_rows_that_multiply_make_their_columns_sure() -> None:
    (settled,) = settle_roles([charged_slip(250, 1798, 2.0)])
    assert settled.layout.probability > 0.99


def test_columns_that_never_multiply_are_read_again_as_others(monkeypatch: pytest.MonkeyPatch) -> None:
    def read_again(_: Image, layout: Layout) -> SlipReadings:
        named = tuple(column.role for column in layout.columns)
        assert named == COLUMNS
        return SlipReadings(_lines(named), turned.readings.totals)

    slip = charged_slip(250, 1798, 2.0)
    monkeypatch.setattr(settling, "read_sheet", read_again)
    monkeypatch.setattr(settling, "kept_sheet", lambda _: np.zeros((9, 9, 3), np.uint8))
    turned = replace(slip, layout=slip.layout.with_columns(TURNED))
    turned = replace(turned, readings=replace(slip.readings, lines=_lines(TURNED)))
    (settled,) = settle_roles([turned])
    assert tuple(column.role for column in settled.layout.columns) == COLUMNS
    assert [role for role, _ in settled.layout.rows[0].boxes] == list(COLUMNS)


def test_slips_without_a_table_are_of_no_pad() -> None:
    slip = charged_slip(250, 1798, 2.0)
    assert pads([slip.layout, Layout((), (), ()), slip.layout]) == [[0, 2]]


def test_a_layout_with_odd_looks_leans_to_failure() -> None:
    usual = leans_of(Layout((), (), (), trust=Trust(0.99)))
    odd = leans_of(Layout((), (), (), trust=Trust(0.99, stray_rows=0.8)))
    assert usual["row"] < 1 < odd["row"]
    assert usual["role"] == odd["role"]
