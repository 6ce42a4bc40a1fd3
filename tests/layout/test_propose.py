"""Drawn slips of every kind of rule are understood: rows, columns, roles, totals, number."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from formread.layout import propose_layouts
from formread.layout.overlay import draw_layout
from formread.layout.record import Box, Layout, Rectangle
from formread.sheet.record import Image
from tests.layout.drawings import CLASSIC, Drawing, Field, Plan, carbon, draw, sheet_of

NEAR = 13  # pixels: the writing's room inside a rule, plus a double rule

SPLIT = (
    Field("quantity", "Qty", 0.9),
    Field("description", "Item", 3.2),
    Field("unit_price", "Price", 1.6, split=True),
    Field("line_total", "Amount", 1.8, split=True),
)
PLANS = {
    "solid": CLASSIC,
    "dotted": replace(CLASSIC, horizontal="dotted", vertical="dotted"),
    "dashed": replace(CLASSIC, horizontal="dashed", vertical="dashed"),
    "double": replace(CLASSIC, horizontal="double"),
    "double uprights": replace(CLASSIC, vertical="double"),
    "wide double uprights": replace(CLASSIC, vertical="double", double_gap=10),
    "one pixel thin": replace(CLASSIC, thickness=1, ink=(120, 130, 140)),
    "pale blue": replace(CLASSIC, ink=(150, 190, 235)),
    "pink carbon": carbon(CLASSIC),
    "tinted rows": replace(CLASSIC, tint=22),
    "dotted lines to write on": replace(CLASSIC, between_rows="none", guides="dotted"),
    "solid lines to write on": replace(CLASSIC, between_rows="none", guides="solid"),
    "rows told by tints": replace(CLASSIC, between_rows="none", tint=14),
    "turned a little": replace(CLASSIC, turn=0.45),
    "curled a little": replace(CLASSIC, wave=3.0),
    "turned, dotted carbon": carbon(replace(CLASSIC, horizontal="dotted", vertical="dotted", turn=-0.4)),
    "not written on": replace(CLASSIC, writing=False),
    "pounds and pence": replace(CLASSIC, columns=SPLIT),
    "three rows": replace(CLASSIC, rows=3),
}


def found(drawing: Drawing) -> Layout:
    search = propose_layouts(drawing.sheet)
    assert search, search.reason
    return search.layouts[0]


def near(ours: Rectangle, truth: Rectangle, off: float = NEAR) -> bool:
    pairs = (
        (ours.left, truth.left),
        (ours.top, truth.top),
        (ours.right, truth.right),
        (ours.bottom, truth.bottom),
    )
    return all(abs(a - b) <= off for a, b in pairs)


def assert_box(box: Box, truth: tuple[Rectangle, Rectangle | None], off: float = NEAR) -> None:
    assert near(box.rectangle, truth[0], off)
    assert (box.pence is None) == (truth[1] is None)
    if box.pence is not None and truth[1] is not None:
        assert near(box.pence, truth[1], off)


@pytest.mark.parametrize("name", PLANS)
def test_the_grid_and_every_role_are_found(name: str) -> None:
    drawing = draw(PLANS[name])
    layout = found(drawing)
    assert [column.role for column in layout.columns] == [column.role for column in drawing.plan.columns]
    assert len(layout.rows) == drawing.plan.rows
    for number, (row, truth) in enumerate(zip(layout.rows, drawing.rows, strict=True), 1):
        assert row.number == number
        for role, box in row.boxes:
            assert_box(box, truth[role])
    assert [total.role for total in layout.totals] == [role for role, _, _ in drawing.totals]
    for total, (_, pounds, pence) in zip(layout.totals, drawing.totals, strict=True):
        assert_box(total.box, (pounds, pence))
    assert layout.serial_text == "0412"


@pytest.mark.parametrize("horizontal", ["solid", "dotted"])
def test_columns_that_only_headings_tell_apart_are_found(horizontal: str) -> None:
    drawing = draw(replace(CLASSIC, horizontal=horizontal, vertical="none", frame=False))
    layout = found(drawing)
    assert [column.role for column in layout.columns] == [column.role for column in drawing.plan.columns]
    assert len(layout.rows) == drawing.plan.rows
    for row, truth in zip(layout.rows, drawing.rows, strict=True):
        for role, box in row.boxes:
            # No rule says where a column ends: anywhere between what is written.
            assert near(box.rectangle, truth[role][0], 34)


def test_a_comb_of_cells_for_the_digits_is_one_box() -> None:
    code, *others = CLASSIC.columns
    drawing = draw(
        replace(CLASSIC, columns=(replace(code, heading="Article   Number", width=2.2, comb=6), *others))
    )
    layout = found(drawing)
    assert [column.role for column in layout.columns] == [column.role for column in CLASSIC.columns]
    for row, truth in zip(layout.rows, drawing.rows, strict=True):
        assert_box(row.boxes[0][1], truth["code"])


def test_headings_that_run_up_the_page_are_read() -> None:
    columns = (
        Field("code", "Product code", 1.4, turned=True),
        Field("description", "Item", 3.4),
        Field("quantity", "How many", 0.9, turned=True),
        Field("unit_price", "Price each", 1.2, turned=True),
        Field("line_total", "Amount", 1.3, turned=True),
    )
    drawing = draw(replace(CLASSIC, columns=columns, heading_height=140, rows=9))
    layout = found(drawing)
    assert [column.role for column in layout.columns] == [column.role for column in columns]
    assert len(layout.rows) == drawing.plan.rows
    for row, truth in zip(layout.rows, drawing.rows, strict=True):
        for role, box in row.boxes:
            assert near(box.rectangle, truth[role][0], 22)


def test_a_band_that_lacks_a_divider_of_the_rows_is_no_row() -> None:
    layout = found(draw(replace(CLASSIC, label_row="Number of pies")))
    assert len(layout.rows) == CLASSIC.rows


def test_a_lower_heading_band_and_a_bar_for_totals_do_not_shift_the_rows() -> None:
    drawing = draw(replace(CLASSIC, heading_height=36, rows=14, row_height=50, label_row="Goods", totals=()))
    layout = found(drawing)
    assert len(layout.rows) == drawing.plan.rows
    for row, truth in zip(layout.rows, drawing.rows, strict=True):
        for role, box in row.boxes:
            assert_box(box, truth[role])


@pytest.mark.parametrize("ground", [(150, 40, 40), (60, 30, 10), (200, 90, 80)])
def test_white_headings_on_a_solid_band_are_read(ground: tuple[int, int, int]) -> None:
    drawing = draw(replace(CLASSIC, filled_heading=ground, heading_height=64))
    layout = found(drawing)
    assert [column.role for column in layout.columns] == [column.role for column in CLASSIC.columns]
    assert len(layout.rows) == CLASSIC.rows


def test_totals_without_an_outline_are_found_by_their_labels() -> None:
    drawing = draw(replace(CLASSIC, totals_outline=False))
    layout = found(drawing)
    assert [total.role for total in layout.totals] == ["goods", "delivery", "total"]
    for total, (_, truth, _) in zip(layout.totals, drawing.totals, strict=True):
        assert near(total.box.rectangle, truth, 14)


def test_a_lone_total_is_the_total() -> None:
    layout = found(draw(replace(CLASSIC, totals=(("total", "Total"),))))
    assert [total.role for total in layout.totals] == ["total"]


@pytest.mark.parametrize(
    ("totals", "roles"),
    [
        (
            (("goods", "Sub-total"), ("discount", "Less discount"), ("total", "Amount due")),
            ["goods", "discount", "total"],
        ),
        (
            (("goods", "Goods"), ("deposit", "Deposit paid"), ("total", "Balance")),
            ["goods", "deposit", "total"],
        ),
        ((("delivery", "P & P"), ("total", "TOTAL")), ["delivery", "total"]),
    ],
)
def test_charges_are_told_by_their_labels(totals: tuple, roles: list[str]) -> None:  # type: ignore[type-arg]
    layout = found(draw(replace(CLASSIC, totals=totals)))
    assert [total.role for total in layout.totals] == roles


@pytest.mark.parametrize(
    "label",
    [
        "Less Club Discount, 5% on orders over thirty pounds",
        "Less 10% Guild discount\n(members of two seasons or more)",
    ],
)
def test_a_condition_beside_a_percentage_is_read_with_it(label: str) -> None:
    """A long line of small print is broken as a dashed rule is; what is taken for a rule nobody reads."""
    layout = found(
        draw(
            replace(
                CLASSIC,
                totals=(("goods", "Goods"), ("discount", label), ("total", "Amount due")),
                size=(900, 1200),
            )
        )
    )
    assert [total.label for total in layout.totals if total.role == "discount"] == [label.replace("\n", " ")]


def test_headings_decide_over_the_usual_order() -> None:
    columns = (
        Field("description", "Item", 3.0),
        Field("unit_price", "Price each", 1.2),
        Field("quantity", "How many", 1.2),
        Field("line_total", "Cost", 1.2),
    )
    layout = found(draw(replace(CLASSIC, columns=columns)))
    assert [column.role for column in layout.columns] == [
        "description",
        "unit_price",
        "quantity",
        "line_total",
    ]


def test_doubt_about_a_column_that_nobody_reads_is_no_doubt_about_the_slip() -> None:
    columns = tuple(replace(c, heading="Zyx") if c.role == "description" else c for c in CLASSIC.columns)
    layout = found(draw(replace(CLASSIC, columns=columns)))
    assert layout.probability > 0.9


def test_probabilities_fall_and_do_not_exceed_one() -> None:
    search = propose_layouts(draw(CLASSIC).sheet)
    shares = [layout.probability for layout in search.layouts]
    assert shares == sorted(shares, reverse=True)
    assert 0 < sum(shares) <= 1 + 1e-9


def test_the_same_sheet_gives_the_same_layout() -> None:
    sheet = draw(PLANS["turned, dotted carbon"]).sheet
    assert propose_layouts(sheet) == propose_layouts(sheet)


@pytest.mark.parametrize("scale", [0.85, 1.5])
def test_size_does_not_matter(scale: float) -> None:
    drawing = draw(CLASSIC)
    image = cv2.resize(drawing.sheet.image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    layout = found(replace(drawing, sheet=sheet_of(np.asarray(image, np.uint8))))
    assert [column.role for column in layout.columns] == [column.role for column in CLASSIC.columns]
    for row, truth in zip(layout.rows, drawing.rows, strict=True):
        for role, box in row.boxes:
            t = truth[role][0]
            scaled = Rectangle(*(round(v * scale) for v in (t.left, t.top, t.right, t.bottom)))
            assert near(box.rectangle, scaled, NEAR * max(scale, 1))


def test_the_customer_block_is_where_name_and_address_are_written() -> None:
    customer = found(draw(CLASSIC)).customer
    assert customer is not None
    assert customer.top < 110
    assert 200 < customer.bottom < 250


@pytest.mark.parametrize(
    "image", [np.full((1200, 900, 3), 250, np.uint8), np.full((60, 80, 3), 250, np.uint8)]
)
def test_no_table_is_a_reason_for_the_seller_not_an_error(image: Image) -> None:
    search = propose_layouts(sheet_of(image))
    assert not search
    assert search.reason is not None
    assert "Photograph it" in search.reason


def test_a_page_of_writing_is_no_table() -> None:
    plan = Plan(rows=0, totals=(), columns=(), horizontal="none", vertical="none", frame=False)
    image = np.full((1200, 900, 3), 250, np.uint8)
    random = np.random.default_rng(3)
    for y in range(60, 1100, 70):
        x = 60
        while x < 800:
            points = np.add(random.uniform(0, 30, (6, 2)), [x, y]).astype(np.int32)
            cv2.polylines(image, [points], False, plan.pen, 3, cv2.LINE_AA)
            x += int(random.integers(26, 70))
    assert not propose_layouts(sheet_of(image))


def test_the_overlay_marks_every_box_and_leaves_the_sheet_alone() -> None:
    drawing = draw(CLASSIC)
    before = drawing.sheet.image.copy()
    layout = found(drawing)
    picture = draw_layout(drawing.sheet.image, layout)
    assert np.array_equal(drawing.sheet.image, before)
    for row in layout.rows:
        for _, box in row.boxes:
            edge = picture[box.rectangle.top, box.rectangle.left : box.rectangle.right]
            old = before[box.rectangle.top, box.rectangle.left : box.rectangle.right]
            assert (edge != old).any()
