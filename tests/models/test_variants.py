"""Variants of the pads stay pads: their truth lies on the paper, and a seed says what they are."""

from pathlib import Path

import numpy as np
import pytest

from models.layouts.pads import pad_names
from models.layouts.variants import faults, variants, varied
from tests.measure.fresh_forms.render import HERE, render
from tests.programs import need_program

PAD = HERE / "tune" / "ludlam.html"


def test_a_seed_gives_the_same_variant_twice_and_another_seed_another() -> None:
    chromium = need_program("chromium", "chromium-browser")
    (once, places), (again, same), (other, _) = (
        render(PAD, chromium, 100, varied(PAD, seed, [])) for seed in (5, 5, 6)
    )
    assert np.array_equal(once, again)
    assert places == same
    assert once.shape != other.shape or not np.array_equal(once, other)


def test_a_pad_whose_rules_are_one_drawing_has_no_variants() -> None:
    """Its boxes would move and the drawing stay where it is."""
    chromium = need_program("chromium", "chromium-browser")
    names = [name for name, *_ in variants(HERE / "tune" / "bunwarrow.html", [1, 2], [], chromium)]
    assert names == ["bunwarrow"]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_boxes_of_a_variant_lie_on_its_paper_and_hold_what_an_order_needs(seed: int) -> None:
    picture, places = render(PAD, need_program("chromium", "chromium-browser"), 100, varied(PAD, seed, []))
    assert places["scale"] == pytest.approx(100 / 25.4)
    high, wide = picture.shape[:2]
    for box in places["boxes"]:
        left, top, right, bottom = box["rect"]
        assert 0 <= left < right <= wide
        assert 0 <= top < bottom <= high
    rows = {box["row"] for box in places["boxes"] if box["role"] == "line_total"}
    assert rows == set(range(1, len(rows) + 1))
    for role in ("quantity", "unit_price"):
        assert {box["row"] for box in places["boxes"] if box["role"] == role} == rows
    assert [box["role"] for box in places["boxes"]].count("total") == 1


def test_the_pad_itself_is_left_as_it_is() -> None:
    chromium = need_program("chromium", "chromium-browser")
    plain, places = render(PAD, chromium, 100)
    same, measured = render(PAD, chromium, 100, varied(PAD, 0, []))
    assert np.array_equal(plain, same)
    assert measured == places | {"faults": 0}


def test_boxes_too_small_to_write_in_and_boxes_upon_each_other_are_faults() -> None:
    def box(role: str, *rect: float) -> dict[str, object]:
        return {"role": role, "row": 1, "rect": list(rect)}

    fine = [box("quantity", 0, 0, 100, 60), box("unit_price", 100, 0, 200, 60)]
    assert not faults({"scale": 10.0, "boxes": fine})
    assert len(faults({"scale": 10.0, "boxes": [*fine, box("line_total", 150, 0, 250, 60)]})) == 1
    assert len(faults({"scale": 10.0, "boxes": [*fine, box("line_total", 200, 0, 240, 60)]})) == 1
    assert len(faults({"scale": 10.0, "boxes": [*fine, box("line_total", 200, 0, 260, 30)]})) == 1


def test_a_pad_that_is_kept_to_measure_on_keeps_its_variants_out_of_training(tmp_path: Path) -> None:
    for name in ("oak", "oak-v1", "oak-v12", "elm", "elm-v1"):
        (tmp_path / f"{name}.json").touch()
    assert pad_names(tmp_path, ["oak"]) == ["elm", "elm-v1"]
