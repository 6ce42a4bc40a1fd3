"""The fresh pads and the second camera tell the truth about where things are."""

import re

import cv2
import numpy as np
import pytest

from sample_scans.hands import Writers, make_hand
from sample_scans.orders import Habits
from sample_scans.photos import Photo
from sample_scans.slips import FlatSlip
from tests.measure.classes import classify
from tests.measure.fresh_forms.fill import design_of, fill
from tests.measure.fresh_forms.render import HERE, SETS, pads, render
from tests.measure.fresh_forms.snap import snap
from tests.measure.layout import Result
from tests.programs import need_program


def test_every_pad_has_a_row_with_quantity_and_line_total_and_a_box_for_the_total() -> None:
    """A price stands in each row of a pad, or in none: some have the line's total alone."""
    assert all(pads(pad_set) for pad_set in SETS), "no set is empty"
    for pad in [pad for pad_set in SETS for pad in pads(pad_set)]:
        text = pad.read_text(encoding="utf-8")
        marked = {
            role: len(re.findall(rf'(?<!\[)data-role="?{role}\b', text))  # a style may speak of them, too
            for role in ("quantity", "unit_price", "line_total", "total")
        }
        assert marked.pop("total") == 1, pad.name
        if not marked["unit_price"]:
            del marked["unit_price"]
        assert len(set(marked.values())) == 1, f"{pad.name}: a row, or each row written out"
        assert min(marked.values()) >= 1, pad.name


def test_a_pad_is_rendered_at_300_dpi_with_its_boxes_where_they_are_printed() -> None:
    picture, places = render(HERE / "tune" / "ludlam.html", need_program("chromium", "chromium-browser"))
    assert picture.shape == (2480, 1748, 3)  # A5 at 300 dpi
    rows = {box["row"] for box in places["boxes"] if box["role"] == "quantity"}
    assert rows == set(range(1, 21))
    for box in places["boxes"]:
        left, top, right, bottom = (round(place) for place in box["rect"])
        inside = picture[top + 6 : bottom - 6, left + 6 : right - 6]
        assert inside.min() > 200, "a box is empty paper"
        frame = picture[top - 4 : bottom + 4, left - 4 : right + 4]
        assert frame.min() < 180, "and stands between rules"


@pytest.mark.parametrize("seed", range(2))
def test_the_second_camera_says_where_each_point_of_the_slip_is_seen(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sheet = np.full((840, 600, 3), 250, np.uint8)  # 84 x 60 mm, 10 pixels to a millimetre
    spots = np.array([[10.0, 12.0], [50.0, 20.0], [30.0, 42.0], [15.0, 70.0], [52.0, 75.0]])
    for x, y in spots:
        cv2.circle(sheet, (round(10 * x), round(10 * y)), 12, (0, 0, 0), -1)
    slip = FlatSlip(sheet, design_of("spots", 60.0, 84.0), None, "top", None, "", (), 10.0)
    shot = snap(slip, int(rng.integers(4)), rng)
    grey = cv2.cvtColor(shot.image, cv2.COLOR_RGB2GRAY).astype(np.float64)
    for x, y in shot.to_photo[0](spots):
        left, top = round(x) - 45, round(y) - 45
        around = grey[top : top + 90, left : left + 90]
        dark = np.clip(np.median(around) * 0.6 - around, 0, None)
        rows, columns = np.mgrid[0:90, 0:90] + 0.5
        seen = np.array([(dark * columns).sum(), (dark * rows).sum()]) / dark.sum() + (left, top)
        assert np.hypot(*(seen - (x, y))) < 2.0


def test_what_a_filled_in_slip_says_is_what_its_order_says() -> None:
    picture, places = render(HERE / "tune" / "hobnail.html", need_program("chromium", "chromium-browser"))
    rng = np.random.default_rng(5)
    writers = Writers("tune")
    hand = make_hand(writers.digits(writers.ids[0]), "tune", rng)
    slip = fill("hobnail", picture, places, hand, Habits(), None, False, rng)
    assert slip.order is not None
    total = next(box for box in slip.boxes if box.role == "total")
    assert total.text.replace("|", "") == str(slip.order.written_total)
    assert total.pence_quad is not None
    left, top = total.quad[0].astype(int)
    right, bottom = total.quad[2].astype(int)
    # Ink darkens the box: it is empty on the printed pad.
    assert slip.image[top + 8 : bottom - 8, left + 8 : right - 8].min() < 150


def test_the_first_failure_names_the_class() -> None:
    def layout(grid: bool, roles: bool) -> Result:
        return Result("", (), grid, roles, roles, roles, True, (), "")

    square = [[0, 0], [1, 0], [1, 1], [0, 1]]
    line = {"row": 1, "quantity": 2, "unit_price": 150, "line_total": 300, "struck_out": False}
    truth = {"photo": "a.jpg", "page": 1, "outline": square, "lines": [line], "charges": []}
    truth |= {"written_total": 300, "computed_total": 300, "verdict": "agrees"}
    assert classify(truth, None, layout(False, False)) == "not found"
    assert classify(truth, truth, layout(False, False)) == "wrong grid"
    assert classify(truth, truth, layout(True, False)) == "wrong role"
    wrong_line = truth | {"lines": [line | {"quantity": 7}]}
    assert classify(truth, wrong_line, layout(True, True)) == "misread"
    assert classify(truth, truth | {"verdict": "wrong"}, layout(True, True)) == "judged wrong"
    assert classify(truth, truth, layout(True, True)) == "right"


def test_truth_of_a_photo_carries_the_pads_name() -> None:
    sheet = np.full((420, 300, 3), 250, np.uint8)
    slip = FlatSlip(sheet, design_of("plain", 60.0, 84.0), None, "top", None, "", (), 5.0)
    shot = snap(slip, 0, np.random.default_rng(1))
    (entry,) = Photo(shot, (slip,), "easy").truth("PAD_0001.jpg")
    assert entry["design"] == "plain"
    assert entry["verdict"] == "unsure", "a blank slip has no total"
