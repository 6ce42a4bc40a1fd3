"""Outlines and maps, against answers that are known and against scikit-image."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from skimage.transform import ProjectiveTransform

from formread.sheet import edge, flatten
from formread.sheet import quad as quads
from formread.sheet.rules import Rule
from tests.sheet.scenes import box

SQUARE = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], np.float64)


def test_jaccard_of_half_overlapping_squares_is_a_third() -> None:
    assert quads.jaccard(SQUARE, SQUARE + np.array([5, 0])) == pytest.approx(1 / 3)


def test_jaccard_is_one_for_the_same_and_zero_for_strangers() -> None:
    assert quads.jaccard(SQUARE, SQUARE) == pytest.approx(1)
    assert quads.jaccard(SQUARE, SQUARE + np.array([50, 0])) == 0


@pytest.mark.parametrize("start", range(4))
def test_clockwise_begins_at_the_top_left_whatever_the_order(start: int) -> None:
    shuffled = np.roll(SQUARE, start, axis=0)
    assert_allclose(quads.clockwise(shuffled), SQUARE)
    assert_allclose(quads.clockwise(shuffled[::-1]), SQUARE)


def test_a_region_without_one_corner_still_suggests_the_whole_sheet() -> None:
    cut = np.array([[0, 0], [70, 0], [100, 30], [100, 140], [0, 140]], np.float64)
    whole = np.array([[0, 0], [100, 0], [100, 140], [0, 140]], np.float64)
    assert max(quads.jaccard(quad, whole) for quad in quads.around(cut)) > 0.99


def test_the_map_agrees_with_scikit_image_on_a_flat_slip() -> None:
    """Against scikit-image's ProjectiveTransform, estimated from the same four corners."""
    outline = box(700, 520, 500, 760, degrees=17, lean=0.1)
    photo = np.zeros((1100, 1400, 3), np.uint8)
    flat = flatten.from_sides(edge.straight(outline), photo, 900)
    ours = ProjectiveTransform.from_estimate(  # type: ignore[no-untyped-call]
        flat.corners(), outline
    )
    points = np.random.default_rng(4).uniform((0, 0), np.array(flat.size) - 1, (200, 2))
    assert_allclose(flat.to_photo(points), ours(points), atol=1e-3)


@pytest.mark.parametrize("turns", range(4))
def test_a_turned_map_starts_at_the_right_corner(turns: int) -> None:
    outline = box(700, 520, 500, 760, degrees=-8)
    photo = np.zeros((1100, 1400, 3), np.uint8)
    flat = flatten.turned(flatten.from_sides(edge.straight(outline), photo, 900), turns)
    assert_allclose(flat.to_photo(flat.corners()), np.roll(outline, turns, axis=0), atol=1e-3)


def test_a_resized_map_reaches_the_same_places() -> None:
    outline = box(700, 520, 500, 760, degrees=5)
    photo = np.zeros((1100, 1400, 3), np.uint8)
    flat = flatten.from_sides(edge.straight(outline), photo, 900)
    large = flat.resized(2)
    points = np.array([[0.0, 0.0], [100.0, 350.0], [400.0, 800.0]])
    scale = (np.array(large.size) - 1) / (np.array(flat.size) - 1)
    assert_allclose(large.to_photo(points * scale), flat.to_photo(points), atol=1e-3)


@pytest.mark.parametrize("tilt", [0.0, 20.0, 35.0])
@pytest.mark.parametrize("focal", [0.8, 1.3])
def test_the_aspect_ratio_of_a_tilted_iso_216_sheet_is_recovered(tilt: float, focal: float) -> None:
    """ISO 216: A6 is 105 by 148 mm, each side within 1.5 mm; seen by a pinhole camera, tilted."""
    width, height = 105.0, 148.0
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2 * (width, height)
    a, b = np.deg2rad(tilt), np.deg2rad(tilt / 2 + (5 if tilt else 0))
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    seen = np.column_stack([corners, np.zeros(4)]) @ (about_x @ about_y).T + (0, 0, 300.0)
    pixels = seen[:, :2] / seen[:, 2:] * focal * 4000 + (2000, 1500)
    # 1.5 mm either way on both sides is 2.4 % of the ratio; a straight view can't tell the lens, and need not.
    assert flatten.true_ratio(pixels, 4000, 3000) == pytest.approx(width / height, rel=0.024)


def test_rules_across_a_slanting_crease_come_out_straight() -> None:
    """Each rule breaks at another place; the paper beyond the crease leans by three degrees, as cameras see it."""
    quad = np.array([[0, 0], [999, 0], [999, 1399], [0, 1399]], np.float64)
    flat = flatten.from_sides(edge.straight(quad), np.zeros((1400, 1000, 3), np.uint8), 1400)
    x, levels = np.linspace(60, 940, 26), np.linspace(250, 1150, 16)

    def seen(level: float) -> Rule:
        return Rule(x, level + 0.06 * np.maximum(0.0, x - 1700 + level))

    for _ in range(3):  # as a slip's rules are looked at
        along = [seen(level) for level in levels]
        back = [
            Rule(x, rule.y - flat.to_photo(np.stack([x, np.full(26, level)], axis=1))[:, 1] + level)
            for rule, level in zip(along, levels, strict=True)
        ]
        flat = flatten.straightened(flat, back, [])
    for rule, level in zip([seen(level) for level in levels], levels, strict=True):
        left = rule.y - flat.to_photo(np.stack([x, np.full(26, level)], axis=1))[:, 1]
        assert abs(np.rad2deg(np.arctan(np.polyfit(x, left, 1)[0]))) < 0.2
