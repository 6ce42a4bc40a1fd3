"""Drawn forms: the truth lies in the picture, cells do not overlap, and the same dice give the same form."""

from collections import Counter
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
import pytest

from models.forms import Digits, Drawn, Fonts, Place, draw_form, drawing
from models.forms.camera import Warp
from models.forms.paper import Rect

FACES = Path(__file__).parents[1] / "measure" / "fresh_forms" / "fonts"
"""Any faces do here: what is trained on is fetched by ``models.forms.fetch_fonts`` and is no part of the project."""

CELLS = {"code", "description", "quantity", "unit_price", "line_total", "size", "page", "other"}
TOTALS = {"goods", "delivery", "discount", "deposit", "other_total", "total"}
FURTHER = {"heading", "label", "serial", "customer", "decoy"}


def _stand_in() -> Digits:
    """Digits in a drawn face: enough to fill forms in, and nobody's ink."""
    images = np.zeros((240, 28, 28), np.uint8)
    labels = (np.arange(240) % 10).astype(np.uint8)
    for image, label in zip(images, labels, strict=True):
        cv2.putText(image, str(label), (5, 23), cv2.FONT_HERSHEY_SIMPLEX, 0.8, 255, 2, cv2.LINE_AA)
    return Digits(images, labels)


@pytest.fixture(scope="module")
def tools() -> tuple[Fonts, Digits]:
    return Fonts(FACES, FACES), _stand_in()


@pytest.fixture(scope="module")
def forms(tools: tuple[Fonts, Digits]) -> list[Drawn]:
    return [draw_form(np.random.default_rng([3, k]), *tools) for k in range(120)]


def _upright(place: Place) -> tuple[float, float, float, float]:
    """The rectangle around a place: forms are turned by less than a degree, so it is hardly larger."""
    (left, top), (right, bottom) = place.corners.min(0), place.corners.max(0)
    return float(left), float(top), float(right), float(bottom)


def test_rows_of_two_storeys_have_a_box_on_each(
    tools: tuple[Fonts, Digits], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On most forms with room for them; each row has them in the same places."""
    monkeypatch.setattr(drawing, "_STOREYED", 1.0)
    two = 0
    for k in range(20):
        form = draw_form(np.random.default_rng([5, k]), *tools)
        first = [_upright(place) for place in form.boxes if place.row == 1 and place.kind in CELLS]
        two += any(a[3] <= b[1] + 3 for a in first for b in first)
    assert two >= 8


def test_the_picture_is_a_slip_of_the_size_asked_for(forms: list[Drawn]) -> None:
    for form in forms:
        assert form.image.dtype == np.uint8
        assert form.image.shape[2] == 3
        assert 960 <= max(form.image.shape[:2]) <= 1088


def test_every_place_lies_in_the_picture_and_has_a_size(forms: list[Drawn]) -> None:
    for form in forms:
        h, w = form.image.shape[:2]
        for place in form.boxes:
            left, top, right, bottom = _upright(place)
            assert place.corners.dtype == np.float32
            assert 0 <= left < right - 2 <= w
            assert 0 <= top < bottom - 2 <= h


def test_places_of_different_kinds_do_not_overlap(forms: list[Drawn]) -> None:
    for form in forms:
        for a, b in combinations(form.boxes, 2):
            la, ta, ra, ba = _upright(a)
            lb, tb, rb, bb = _upright(b)
            across, down = min(ra, rb) - max(la, lb), min(ba, bb) - max(ta, tb)
            # A turn of 0.7 degrees makes neighbours' upright rectangles reach into each other by so many pixels.
            slack = 6 + 0.013 * max(ra - la, rb - lb, ba - ta, bb - tb)
            assert across <= slack or down <= slack, (a.kind, b.kind)


def test_corners_go_round_from_the_top_left(forms: list[Drawn]) -> None:
    for form in forms:
        for place in form.boxes:
            tl, tr, br, bl = place.corners
            assert tl[0] < tr[0]
            assert bl[0] < br[0]
            assert tl[1] < bl[1]
            assert tr[1] < br[1]


def test_every_kind_occurs_and_no_other(forms: list[Drawn]) -> None:
    seen = Counter(kind for form in forms for kind in {p.kind for p in form.boxes})
    assert set(seen) == CELLS | TOTALS | FURTHER
    assert min(seen.values()) >= 3


def test_cells_have_rows_from_one_and_nothing_else_has(forms: list[Drawn]) -> None:
    for form in forms:
        rows = {p.row for p in form.boxes if p.kind == "line_total"}
        assert rows == set(range(1, len(rows) + 1))
        assert 3 <= len(rows) <= 40
        for place in form.boxes:
            assert (place.row is not None) == (place.kind in CELLS)


def test_pence_stand_to_the_right_of_their_pounds(forms: list[Drawn]) -> None:
    parted = 0
    for form in forms:
        for pence in (p for p in form.boxes if p.pence):
            x, y = pence.corners[0]
            beside = [
                p for p in form.boxes
                if p.kind == pence.kind and p.row == pence.row and not p.pence and abs(p.corners[1] - (x, y)).max() < 14
            ]  # fmt: skip
            assert len(beside) == 1
            parted += 1
    assert parted


def test_places_are_carried_to_where_the_picture_shows_them() -> None:
    rng = np.random.default_rng(5)
    page = Rect(50, 50, 750, 1050)
    spots = np.stack(np.meshgrid(np.arange(100, 720, 120), np.arange(90, 1020, 130)), -1).reshape(-1, 2) + 0.5
    for _ in range(20):
        warp = Warp(page, (1000, 700), rng)
        image = np.zeros((1100, 800, 3), np.uint8)
        for x, y in spots:
            cv2.circle(image, (int(x), int(y)), 5, (255, 255, 255), -1)
        seen = warp.render(image)[:, :, 0] / 255.0
        for x, y in warp.forward(spots):
            left, top = int(x) - 12, int(y) - 12
            part = seen[top : top + 25, left : left + 25]
            ys, xs = np.mgrid[top : top + 25, left : left + 25] + 0.5
            assert abs((part * xs).sum() / part.sum() - x) < 0.3
            assert abs((part * ys).sum() / part.sum() - y) < 0.3


def test_the_same_dice_give_the_same_form(tools: tuple[Fonts, Digits]) -> None:
    first, second = (draw_form(np.random.default_rng(8), *tools) for _ in range(2))
    assert np.array_equal(first.image, second.image)
    assert [p.kind for p in first.boxes] == [p.kind for p in second.boxes]
    assert all(np.array_equal(a.corners, b.corners) for a, b in zip(first.boxes, second.boxes, strict=True))


def test_without_faces_it_says_where_they_come_from(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="fetch_fonts"):
        Fonts(tmp_path, tmp_path)
