"""The committed samples: what the README says of them is true, and their truth agrees with itself."""

import json
import re
from collections import Counter
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image, ImageOps

from sample_scans.orders import MISTAKES

FOLDER = Path(__file__).parents[2] / "sample_scans"
TRUTH: dict[str, Any] = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
SLIPS: list[dict[str, Any]] = TRUTH["slips"]
PICTURES = {".jpg", ".png", ".tif", ".pdf"}


def name(slip: dict[str, Any]) -> str:
    return f"{slip['photo']}-{slip['page']}-{slip['slip_number']}"


def test_every_photo_in_the_folder_is_listed_and_every_slip_lies_on_one() -> None:
    files = {path.name for path in FOLDER.iterdir() if path.suffix in PICTURES}
    assert files == set(TRUTH["photos"])
    assert {slip["photo"] for slip in SLIPS} <= files
    assert len(files - {slip["photo"] for slip in SLIPS}) == 1, "one photo has no slip on it"


def test_the_set_is_as_large_and_as_varied_as_promised() -> None:
    assert len(TRUTH["photos"]) >= 32
    assert len(SLIPS) >= 50
    assert len({slip["design"] for slip in SLIPS}) >= 6
    assert len({tuple(slip["columns"]) for slip in SLIPS}) >= 6
    assert {slip["capture"] for slip in SLIPS} == {"scan", "easy", "hard"}
    assert {slip["copy"] for slip in SLIPS} == {"top", "carbon"}
    per_photo = Counter((slip["photo"], slip["page"]) for slip in SLIPS)
    assert set(per_photo.values()) == {1, 2, 3, 4}


def test_the_photos_stay_under_24_megabytes() -> None:
    assert sum((FOLDER / photo).stat().st_size for photo in TRUTH["photos"]) < 24e6


def test_one_slip_in_six_is_wrong_and_every_kind_of_mistake_occurs() -> None:
    wrong = [slip for slip in SLIPS if slip["verdict"] == "wrong"]
    assert len(wrong) * 6 == len(SLIPS)
    assert {slip["mistake"] for slip in wrong} == set(MISTAKES)
    assert all(slip["mistake"] is None for slip in SLIPS if slip["verdict"] != "wrong")


@pytest.mark.parametrize("slip", SLIPS, ids=name)
def test_the_sums_of_the_truth_recompute(slip: dict[str, Any]) -> None:
    goods = 0
    for line in slip["lines"]:
        if not line["struck_out"]:
            goods += (1 if line["quantity"] is None else line["quantity"]) * line["unit_price"]
    assert slip["computed_total"] == goods + sum(charge["amount"] for charge in slip["charges"])
    if slip["written_total"] is None:
        assert slip["difference"] is None
        assert slip["verdict"] == "unsure"
    else:
        assert slip["difference"] == slip["written_total"] - slip["computed_total"]
        assert slip["verdict"] == ("agrees" if slip["difference"] == 0 else "wrong")
    signs = {"delivery": 1, "discount": -1, "deposit": -1}
    assert all(charge["amount"] * signs[charge["kind"]] > 0 for charge in slip["charges"])


@pytest.mark.parametrize("slip", SLIPS, ids=name)
def test_boxes_and_lines_tell_the_same(slip: dict[str, Any]) -> None:
    boxes = {(box["role"], box["row"]): box for box in slip["boxes"]}
    for line in slip["lines"]:
        for role in ("code", "quantity", "unit_price", "line_total"):
            if role in slip["columns"]:
                box = boxes[role, line["row"]]
                assert box["value"] == line[role]
                assert (box["text"] == "") == (line[role] is None)
                assert box["struck_out"] == (line["struck_out"] and line[role] is not None)
    assert boxes["total", None]["value"] == slip["written_total"]
    for charge in slip["charges"]:
        assert boxes[charge["kind"], None]["value"] == abs(charge["amount"])
    rows = {box["row"] for box in slip["boxes"] if box["row"] is not None}
    assert len(rows) * len(slip["columns"]) == sum(box["row"] is not None for box in slip["boxes"])


def test_every_way_of_writing_money_occurs() -> None:
    texts = {box["text"] for slip in SLIPS for box in slip["boxes"] if isinstance(box["value"], int)}

    def occurs(*patterns: str) -> bool:
        return all(any(re.fullmatch(pattern, text) for text in texts) for pattern in patterns)

    assert occurs(
        r"\d+\.\d\d", r"£\d+\.\d\d", r"\d+-\d\d", r"£\d+", r"\d+\.00", r"\d+-", r"\d+\|\d\d", r"\d+\|-", '"'
    )
    boxes = [box for slip in SLIPS for box in slip["boxes"]]
    assert any("corrected_from" in box for box in boxes)
    assert any(line["struck_out"] for slip in SLIPS for line in slip["lines"])
    assert any(line["line_total"] is None for slip in SLIPS for line in slip["lines"])
    assert any(line["quantity"] is None for slip in SLIPS for line in slip["lines"])
    assert any(slip["lines"] and slip["written_total"] is None for slip in SLIPS)
    assert any(not slip["lines"] for slip in SLIPS)
    assert any((line["code"] or "").startswith("0") for slip in SLIPS for line in slip["lines"])


def test_every_exif_orientation_occurs_and_so_do_none_and_zero() -> None:
    found = set()
    for photo in TRUTH["photos"]:
        if photo.endswith(".jpg"):
            with Image.open(FOLDER / photo) as picture:
                found.add(picture.getexif().get(0x0112))
    assert found == {None, 0, 1, 2, 3, 4, 5, 6, 7, 8}


def upright(photo: str, page: int) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Open a picture as Pillow and pdfium do; neither has anything to do with the drawing."""
    if photo.endswith(".pdf"):
        with pypdfium2.PdfDocument(FOLDER / photo) as document:
            return np.asarray(document[page - 1].render(scale=200 / 72).to_pil().convert("RGB"))
    with Image.open(FOLDER / photo) as picture:
        return np.asarray(ImageOps.exif_transpose(picture).convert("RGB"))


@pytest.mark.parametrize(
    "photo", ["IMG_0402.jpg", "IMG_0405.jpg", "IMG_0411.jpg", "IMG_0413.jpg", "scan_07.pdf"]
)
def test_the_written_boxes_of_the_upright_photo_hold_more_ink_than_the_empty_ones(photo: str) -> None:
    """Pillow turns the photo by its EXIF tag; were outline or boxes off, the ink would lie elsewhere."""
    for slip in (s for s in SLIPS if s["photo"] == photo):
        image = upright(photo, slip["page"])
        grey = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
        spread: dict[bool, list[float]] = {True: [], False: []}
        for box in slip["boxes"]:
            if box["role"] in ("quantity", "unit_price", "line_total") and "pence_quad" not in box:
                flat = cv2.getPerspectiveTransform(
                    np.array(box["quad"], np.float32),
                    np.array([[0, 0], [90, 0], [90, 40], [0, 40]], np.float32),
                )
                cell = cv2.warpPerspective(grey, flat, (90, 40))[7:33, 24:84]
                spread[box["text"] != ""].append(float(cell.std()))
        if spread[True] and spread[False]:
            assert np.median(spread[True]) > 2 * np.median(spread[False])


def test_outlines_run_clockwise_and_mostly_inside_their_photos() -> None:
    for slip in SLIPS:
        corners = np.array(slip["outline"])
        x, y = corners.T
        area = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
        assert area > 0, "clockwise with y downwards"
        assert corners.min() > -20
