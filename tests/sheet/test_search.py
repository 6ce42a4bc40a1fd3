"""Slips drawn into photos are found, flattened and turned upright; photos without one say why."""

from collections.abc import Callable
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from formread.sheet import light, upright
from formread.sheet import quad as quads
from formread.sheet import rules as printed
from formread.sheet.record import SheetSearch
from formread.sheet.search import find_sheets
from tests.sheet.scenes import Laid, box, draw_slip, lay, table

WHITE, PINK, YELLOW, BLUE = (248, 247, 242), (250, 205, 210), (250, 240, 170), (190, 215, 245)
SIZE = (1500, 1125)


@cache
def scene(kind: str, paper: tuple[int, int, int], degrees: float, curl: float) -> tuple[SheetSearch, Laid]:
    photo = table(kind, *SIZE)
    laid = lay(photo, draw_slip(paper=paper), box(750, 560, 560, 792, degrees, 0.05), curl)
    return find_sheets(photo), laid


def to_sheet(search: SheetSearch, points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Invert ``to_photo`` of the only sheet by iteration from the perspective of its corners."""
    (sheet,) = search.sheets
    height, width = sheet.image.shape[:2]
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float32)
    back = cv2.getPerspectiveTransform(sheet.to_photo(corners.astype(np.float64)).astype(np.float32), corners)

    def rough(places: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.asarray(cv2.perspectiveTransform(places[None], back)[0], np.float64)

    found = rough(points)
    for _ in range(30):
        found = found + rough(points) - rough(sheet.to_photo(found))
    return found


@pytest.mark.parametrize("kind", ["wood", "cloth", "carpet", "white", "dark"])
@pytest.mark.parametrize("paper", [WHITE, YELLOW])
def test_a_slip_is_found_to_a_pixel_on_every_table(kind: str, paper: tuple[int, int, int]) -> None:
    search, laid = scene(kind, paper, 12.0, 0.0)
    (sheet,) = search.sheets
    assert_allclose(sheet.outline, laid.outline, atol=1.5)
    assert quads.jaccard(sheet.outline, laid.outline) > 0.99


@pytest.mark.parametrize("degrees", [3, 93, 183, 273])
@pytest.mark.parametrize("paper", [WHITE, PINK])
def test_a_slip_comes_upright_whichever_way_it_lay(degrees: float, paper: tuple[int, int, int]) -> None:
    search, laid = scene("wood", paper, degrees, 0.0)
    (sheet,) = search.sheets
    assert_allclose(sheet.outline, laid.outline, atol=2)
    assert sheet.image.shape[0] > sheet.image.shape[1]


@pytest.mark.parametrize("turns", range(4))
def test_grain_of_a_dim_photo_does_not_hide_which_way_is_up(turns: int) -> None:
    grain = np.random.default_rng(3).normal(0, 8, (1400, 990, 3))
    dim = np.clip(draw_slip(990, 1400) * 0.5 + grain + 0.5, 0, 255).astype(np.uint8)
    lying = np.ascontiguousarray(np.rot90(dim, turns))
    tone = light.paper_tone(lying)
    ink = light.ink(lying, tone)
    found = upright.quarter_turns(light.evened(lying, tone), ink, printed.across(ink), printed.down(ink))
    assert found == turns


def test_the_corners_of_the_sheet_map_to_its_outline() -> None:
    search, _ = scene("carpet", BLUE, 12.0, 0.0)
    (sheet,) = search.sheets
    height, width = sheet.image.shape[:2]
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float64)
    assert_allclose(sheet.to_photo(corners), sheet.outline, atol=3)


@pytest.mark.parametrize("curl", [0.0, 0.02, -0.02])
def test_rules_of_a_curled_slip_come_out_straight(curl: float) -> None:
    """Residual skew, in the manner of DISEC'13: the angle that is left, here over parts of every rule."""
    search, laid = scene("wood", WHITE, 8.0, curl)
    (sheet,) = search.sheets
    x = np.linspace(0.08, 0.92, 9)
    for y in np.linspace(0.2, 0.85, 7):
        rule = to_sheet(search, laid.place(np.stack([x, np.full(9, y)], axis=1)))
        assert np.ptp(rule[:, 1]) < 0.004 * sheet.image.shape[0]
        slope = np.polyfit(rule[:, 0], rule[:, 1], 1)[0]
        assert abs(np.rad2deg(np.arctan(slope))) < 0.1


@pytest.mark.parametrize("fold", [0.03, -0.03])
def test_rules_of_a_folded_slip_come_out_straight(fold: float) -> None:
    photo = table("wood", *SIZE)
    laid = lay(photo, draw_slip(), box(750, 560, 560, 792, 8), fold=fold)
    search = find_sheets(photo)
    (sheet,) = search.sheets
    assert_allclose(sheet.outline, laid.outline, atol=2.5)
    x = np.linspace(0.08, 0.92, 9)
    for y in np.linspace(0.2, 0.85, 7):
        rule = to_sheet(search, laid.place(np.stack([x, np.full(9, y)], axis=1)))
        assert np.ptp(rule[:, 1]) < 0.004 * sheet.image.shape[0]


@pytest.mark.parametrize("degrees", [14, -10, 104])
def test_where_the_photo_cuts_a_corner_off_the_edges_go_on_beyond_it(degrees: float) -> None:
    """The photo's border is no edge of the paper: followed as one, it bends all rules near it."""
    photo = table("wood", *SIZE)
    outline = box(750, 560, 560, 792, degrees)
    first, second = np.sort(outline[:, 1])[:2]
    outline[:, 1] -= first + 0.6 * (second - first)  # more than half of the side is not in the photo
    laid = lay(photo, draw_slip(), outline)
    search = find_sheets(photo)
    (sheet,) = search.sheets
    assert_allclose(sheet.outline, laid.outline, atol=4)
    x = np.linspace(0.08, 0.92, 9)
    for y in np.linspace(0.2, 0.85, 7):
        rule = to_sheet(search, laid.place(np.stack([x, np.full(9, y)], axis=1)))
        assert abs(np.rad2deg(np.arctan(np.polyfit(rule[:, 0], rule[:, 1], 1)[0]))) < 0.2


def test_points_go_to_the_photo_and_back() -> None:
    search, laid = scene("wood", WHITE, 8.0, 0.02)
    (sheet,) = search.sheets
    points = laid.place(np.random.default_rng(1).uniform(0.05, 0.95, (50, 2)))
    assert_allclose(sheet.to_photo(to_sheet(search, points)), points, atol=1e-3)


def test_a_flattened_a6_slip_has_the_ratio_of_iso_216() -> None:
    """ISO 216: 105 by 148 mm, within 1.5 mm a side, which is 2.4 % of the ratio."""
    photo = table("wood", *SIZE)
    lay(photo, draw_slip(840, 1184), box(750, 560, 560, 789.3, 10))
    (sheet,) = find_sheets(photo).sheets
    height, width = sheet.image.shape[:2]
    assert width / height == pytest.approx(105 / 148, rel=0.024)


def test_two_slips_come_in_reading_order() -> None:
    photo = table("wood", *SIZE)
    right = lay(photo, draw_slip(paper=PINK), box(1110, 540, 520, 735, 5))
    left = lay(photo, draw_slip(), box(400, 580, 520, 735, 176))
    search = find_sheets(photo)
    assert len(search.sheets) == 2
    for sheet, laid in zip(search.sheets, (left, right), strict=True):
        assert quads.jaccard(sheet.outline, laid.outline) > 0.98
        assert_allclose(sheet.outline[0], laid.outline[0], atol=6)


@pytest.mark.parametrize("kind", ["wood", "dark"])
@pytest.mark.parametrize("papers", [(PINK, WHITE), (WHITE, YELLOW), (BLUE, PINK)])
def test_slips_of_one_size_that_touch_in_a_column_are_two(
    kind: str, papers: tuple[tuple[int, int, int], tuple[int, int, int]]
) -> None:
    photo = table(kind, *SIZE)
    laid = [
        lay(photo, draw_slip(1188, 840, paper), box(750, y, 740, 523), shadow=0.0)
        for y, paper in zip((292, 815), papers, strict=True)
    ]
    search = find_sheets(photo)
    assert len(search.sheets) == 2
    for sheet, own in zip(search.sheets, laid, strict=True):
        assert quads.jaccard(sheet.outline, own.outline) > 0.96


@pytest.mark.parametrize("paper", [WHITE, PINK, BLUE])
def test_a_slip_with_a_broad_coloured_band_is_one(paper: tuple[int, int, int]) -> None:
    slip = draw_slip(paper=paper)
    slip[int(0.45 * 1188) : int(0.5 * 1188), 30:810] = (60, 90, 170)
    photo = table("wood", *SIZE)
    laid = lay(photo, slip, box(750, 560, 560, 792, 5))
    (sheet,) = find_sheets(photo).sheets
    assert quads.jaccard(sheet.outline, laid.outline) > 0.98


def test_a_scan_that_is_all_slip_is_one_sheet() -> None:
    search = find_sheets(draw_slip())
    (sheet,) = search.sheets
    assert quads.jaccard(sheet.outline, np.array([[0, 0], [839, 0], [839, 1187], [0, 1187]], float)) > 0.98


@pytest.mark.parametrize("kind", ["wood", "cloth", "carpet", "white"])
def test_a_table_without_a_slip_gives_none_and_a_reason(kind: str) -> None:
    search = find_sheets(table(kind, *SIZE))
    assert not search
    assert search.reason is not None
    assert "No order slip" in search.reason


def test_a_plain_sheet_of_paper_is_no_slip() -> None:
    photo = table("wood", *SIZE)
    lay(photo, np.full((1188, 840, 3), 247, np.uint8), box(750, 560, 560, 792, 8))
    assert not find_sheets(photo)


@pytest.mark.parametrize(
    ("photo", "words"),
    [
        (np.full((1100, 1500, 3), 6, np.uint8), "too dark"),
        (np.full((1100, 1500, 3), 128, np.uint8), "too blurred"),
        (np.full((200, 300, 3), 128, np.uint8), "too small"),
    ],
)
def test_a_photo_that_can_not_be_used_says_what_to_do(photo: npt.NDArray[np.uint8], words: str) -> None:
    search = find_sheets(photo)
    assert not search
    assert words in str(search.reason)


def _moved(photo: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    return np.asarray(cv2.blur(photo, (41, 1)), np.uint8)


def _dim(photo: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    return (photo * 0.03).astype(np.uint8)


def _out_of_focus(photo: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    return np.asarray(cv2.GaussianBlur(photo, (0, 0), 8), np.uint8)


@pytest.mark.parametrize(
    ("spoilt", "words", "advice"),
    [
        (_moved, "too blurred", "still"),
        (_out_of_focus, "too blurred", "focus"),
        (_dim, "too dark", "lamp"),
    ],
)
def test_a_slip_that_nobody_could_read_is_not_read(
    spoilt: Callable[[npt.NDArray[np.uint8]], npt.NDArray[np.uint8]], words: str, advice: str
) -> None:
    photo = table("wood", *SIZE)
    lay(photo, draw_slip(), box(750, 560, 560, 792, 8))
    search = find_sheets(spoilt(photo))
    assert not search
    assert words in str(search.reason)
    assert advice in str(search.reason)


def test_a_small_slip_beside_a_large_one_is_named_and_the_large_one_read() -> None:
    photo = table("wood", *SIZE)
    large = lay(photo, draw_slip(), box(480, 560, 640, 905, 4))
    lay(photo, draw_slip(paper=PINK), box(1150, 560, 280, 396, 3))
    search = find_sheets(photo)
    (sheet,) = search.sheets
    assert quads.jaccard(sheet.outline, large.outline) > 0.98
    assert sheet.doubt is None
    (note,) = search.notes
    assert "too small" in note
    assert "nearer" in note


def test_the_photo_is_never_altered() -> None:
    photo = table("wood", *SIZE)
    lay(photo, draw_slip(), box(750, 560, 560, 792, 8))
    before = photo.copy()
    find_sheets(photo)
    assert_array_equal(photo, before)


def test_the_same_photo_gives_the_same_sheet_to_the_byte() -> None:
    photo = table("wood", *SIZE)
    lay(photo, draw_slip(), box(750, 560, 560, 792, 8))
    (first,), (second,) = find_sheets(photo).sheets, find_sheets(photo).sheets
    assert_array_equal(first.image, second.image)
    assert_array_equal(first.outline, second.outline)


def test_shadow_is_evened_out_and_the_paper_keeps_its_colour() -> None:
    photo = table("wood", *SIZE)
    lay(photo, draw_slip(paper=PINK), box(750, 560, 560, 792, 0))
    shade = np.clip(np.linspace(1.0, 0.5, SIZE[0]), 0, 1)[None, :, None]
    (sheet,) = find_sheets((photo * shade).astype(np.uint8)).sheets
    height, width = sheet.image.shape[:2]
    margins = [
        np.median(sheet.image[int(0.3 * height) : int(0.7 * height), x : x + 15].reshape(-1, 3), axis=0)
        for x in (width // 40, width - width // 40 - 15)
    ]
    assert_allclose(margins[0], margins[1], atol=14)
    assert margins[0][0] > margins[0][1] + 20


def test_a_solid_printed_band_is_no_shadow() -> None:
    slip = draw_slip()
    band = (slice(int(0.2 * 1188), int(0.25 * 1188)), slice(50, 790))
    slip[band] = (170, 60, 50)
    photo = table("wood", *SIZE)
    lay(photo, slip, box(750, 560, 560, 792, 0))
    (sheet,) = find_sheets(photo).sheets
    height, width = sheet.image.shape[:2]
    inside = sheet.image[int(0.215 * height) : int(0.235 * height), int(0.1 * width) : int(0.9 * width)]
    assert_allclose(inside.mean(axis=(0, 1)), (170, 60, 50), atol=12)
    under = sheet.image[int(0.255 * height) : int(0.26 * height), int(0.37 * width) : int(0.39 * width)]
    assert under.min() > 225
