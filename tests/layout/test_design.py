"""A slip design is what the slips of one pad share: learned from one, recognised on the next, agreed on by all."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from formread.cli import main
from formread.errors import ListError
from formread.layout.design import fits, learn, named, pooled, recognised, told
from formread.layout.record import Box, Column, ColumnRole, Layout, Rectangle, Row, TotalBox, TotalRole
from formread.pile.designs import SUFFIX, read_design, read_designs, write_design

ROLES: tuple[ColumnRole, ...] = ("quantity", "description", "unit_price", "line_total")
EDGES = (0, 90, 500, 640, 800)


def slip(
    roles: tuple[ColumnRole, ...] = ROLES,
    *,
    rows: int = 6,
    shift: int = 0,
    scale: float = 1.0,
    probability: float = 0.9,
    split: bool = False,
    totals: tuple[TotalRole, ...] = ("delivery", "total"),
) -> Layout:
    """Return a made-up layout, moved and scaled as another photo of the same pad would have it."""

    def at(x: float) -> int:
        return round(scale * x) + shift

    def box(k: int, top: float) -> Box:
        left, right = EDGES[k], EDGES[k + 1]
        if split and k == 3:
            middle = (left + right) // 2
            return Box(
                Rectangle(at(left), at(top), at(middle), at(top + 40)),
                Rectangle(at(middle), at(top), at(right), at(top + 40)),
            )
        return Box(Rectangle(at(left), at(top), at(right), at(top + 40)))

    columns = tuple(Column(role, at(EDGES[k]), at(EDGES[k + 1]), role) for k, role in enumerate(roles))
    lines = tuple(Row(n + 1, tuple((r, box(k, 40 * n)) for k, r in enumerate(roles))) for n in range(rows))
    boxes = tuple(TotalBox(role, box(3, 40 * (rows + k))) for k, role in enumerate(totals))
    return Layout(columns, lines, boxes, probability=probability)


def test_another_slip_of_the_pad_is_recognised_whatever_its_size_and_place() -> None:
    design = learn("pad", slip())
    assert fits(design, slip(shift=37, scale=1.31))


@pytest.mark.parametrize("other", [slip(rows=7), slip(split=True), slip(ROLES[:3])])
def test_another_form_is_not_taken_for_the_pad(other: Layout) -> None:
    assert not fits(learn("pad", slip()), other)


def test_a_recognised_slip_has_the_roles_that_the_design_gives() -> None:
    taught = learn("pad", slip(("code", "description", "unit_price", "line_total")))
    layout = recognised([taught], slip(shift=5))
    assert [column.role for column in layout.columns] == ["code", "description", "unit_price", "line_total"]
    assert [role for role, _ in layout.rows[2].boxes] == ["code", "description", "unit_price", "line_total"]
    assert [box for _, box in layout.rows[2].boxes] == [box for _, box in slip(shift=5).rows[2].boxes]


def test_a_slip_of_no_known_design_stays_as_it_was() -> None:
    layout = slip(rows=9)
    assert recognised([learn("pad", slip())], layout) is layout


def test_slips_of_one_pad_agree_against_a_single_misread_heading() -> None:
    odd = slip(("page", "description", "unit_price", "line_total"), probability=0.4)
    result = pooled([slip(), odd, slip(shift=9), slip(scale=1.2)])
    assert [column.role for column in result[1].columns] == list(ROLES)
    assert 0.6 < result[1].probability < 1


def test_one_slip_against_another_of_its_pad_changes_neither() -> None:
    pair = [slip(), slip(("code", "description", "unit_price", "line_total"))]
    assert pooled(pair) == pair


def test_slips_that_guess_alike_are_no_surer_together_than_the_surest_of_them() -> None:
    """Four slips on which no heading was read: the odd one takes over what the three guess, as a guess."""
    odd = slip(("code", "description", "quantity", "line_total"), probability=0.38)
    result = pooled([slip(probability=0.34), odd, slip(probability=0.36), slip(probability=0.34)])
    assert [column.role for column in result[1].columns] == list(ROLES)
    assert result[1].probability < 0.36
    assert pooled([slip(), odd, slip(), slip()])[1].probability > 0.7


def test_slips_of_another_pad_have_no_vote() -> None:
    other = slip(("code", "description", "unit_price", "line_total"), rows=9)
    result = pooled([slip(), slip(), other, slip()])
    assert result[2] is other


def test_totals_are_named_only_where_as_many_were_found() -> None:
    design = learn("pad", slip())
    short = named(design, slip(totals=("goods",)))
    assert [total.role for total in short.totals] == ["goods"]


@pytest.mark.parametrize("split", [False, True])
def test_a_kept_design_reads_back_as_it_was(tmp_path: Path, split: bool) -> None:
    layout = slip(split=split)
    spare = Box(Rectangle(500, 300, 620, 330))
    layout = replace(layout, spare=(spare,), serial=Rectangle(700, -90, 780, -60), serial_text="0412")
    design = learn("Küchen-Pad 3", layout, tuple("0123456789abcdef" * 10 for _ in range(16)))
    write_design(design, tmp_path / f"pad{SUFFIX}")
    assert read_design(tmp_path / f"pad{SUFFIX}") == design
    assert read_designs(tmp_path) == [design]


def test_a_design_that_was_kept_before_the_totals_had_places_names_slips_by_their_rows(
    tmp_path: Path,
) -> None:
    design = learn("pad", slip(("code", "description", "unit_price", "line_total")))
    write_design(design, tmp_path / f"pad{SUFFIX}")
    body = json.loads((tmp_path / f"pad{SUFFIX}").read_text(encoding="utf-8"))
    body["totals"] = [total["role"] for total in body["totals"]]
    old = {name: body[name] for name in ("formread", "name", "rows", "proportion", "columns", "totals")}
    (tmp_path / f"pad{SUFFIX}").write_text(json.dumps(old), encoding="utf-8")
    (read,) = read_designs(tmp_path)
    assert told(read, slip()) is None
    named = recognised([read], slip(totals=("other", "total")))
    assert [column.role for column in named.columns] == ["code", "description", "unit_price", "line_total"]
    assert [total.role for total in named.totals] == ["delivery", "total"]


def seen(layout: Layout) -> Layout:
    """The same boxes as they are seen, before anything is known of them."""
    bare = layout.with_columns(["other"] * len(layout.columns))
    return replace(bare, totals=tuple(TotalBox("other", total.box) for total in layout.totals))


def test_boxes_in_their_places_have_the_names_and_the_print_of_the_design() -> None:
    layout = slip()
    layout = replace(layout, totals=tuple(replace(total, label="Sum") for total in layout.totals))
    named = told(learn("pad", layout), seen(slip(shift=37, scale=1.31)))
    assert named is not None
    assert [(c.role, c.heading) for c in named.columns] == [(role, role) for role in ROLES]
    assert [(t.role, t.label) for t in named.totals] == [("delivery", "Sum"), ("total", "Sum")]
    assert [t.box for t in named.totals] == [t.box for t in slip(shift=37, scale=1.31).totals]


@pytest.mark.parametrize("totals", [("total",), ("goods", "delivery", "total")])
def test_other_boxes_under_the_same_rows_are_not_the_designs(totals: tuple[TotalRole, ...]) -> None:
    assert told(learn("pad", slip()), seen(slip(totals=totals))) is None


def test_a_box_that_is_for_no_sum_on_other_slips_is_for_none_here() -> None:
    delivery, total = slip().totals
    design = learn("pad", replace(slip(), totals=(total,), spare=(delivery.box,)))
    named = told(design, seen(slip()))
    assert named is not None
    assert [t.role for t in named.totals] == ["total"]
    assert named.spare == (delivery.box,)


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"formread": "slip design"}', "\x00"])
def test_what_is_no_design_is_said_so_in_plain_words(tmp_path: Path, text: str) -> None:
    path = tmp_path / f"x{SUFFIX}"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ListError, match="not a slip design"):
        read_designs(tmp_path)


def test_a_strange_role_in_a_design_is_refused(tmp_path: Path) -> None:
    design = learn("pad", slip())
    strange = replace(design, columns=(replace(design.columns[0], role="colour"), *design.columns[1:]))  # type: ignore[arg-type]
    write_design(strange, tmp_path / f"x{SUFFIX}")
    with pytest.raises(ListError, match="not a slip design"):
        read_designs(tmp_path)


def test_a_design_is_taught_from_a_photo_and_its_columns_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = Path(__file__).parents[2] / "sample_scans" / "scan_01.jpg"
    assert main(["design", str(photo), "--out", str(tmp_path), "--name", "my pad"]) == 0
    told = capsys.readouterr().out
    assert "line_total" in told
    design = read_design(tmp_path / f"my_pad{SUFFIX}")
    wanted = ["other"] * len(design.columns)
    wanted[-1] = "line_total"
    assert (
        main(["design", str(photo), "--out", str(tmp_path), "--name", "b", "--columns", ",".join(wanted)])
        == 0
    )
    assert [column.role for column in read_design(tmp_path / f"b{SUFFIX}").columns] == wanted


def test_a_column_that_does_not_exist_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = Path(__file__).parents[2] / "sample_scans" / "scan_01.jpg"
    assert main(["design", str(photo), "--out", str(tmp_path), "--columns", "weight"]) == 2
    assert "no kind of column" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
