"""The code that draws: same seed, same drawing; the two families stay apart; paper bends as paper does."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps
from sklearn.datasets import load_digits
from sklearn.neighbors import KNeighborsClassifier

from sample_scans.camera import Bend, Laid, _Camera, _find_on_paper, _Paper
from sample_scans.designs import DESIGNS
from sample_scans.draw import STORED_AS, draw_set, save_jpeg
from sample_scans.forms import COLOURS, FIRMS, FONTS, WORDING, random_design
from sample_scans.hands import WORD_FONTS, Digits, Family, Writers, make_hand, width_of, write
from sample_scans.keep_glyphs import picture_of
from sample_scans.orders import MISTAKES, Habits, make_order
from sample_scans.photos import crowded_photo, random_conditions
from sample_scans.samples import make_slip
from sample_scans.slips import flat_slip, wanted_by


def test_the_same_seed_draws_the_same_slip_and_another_seed_another() -> None:
    first, told = flat_slip(5, "tune", scale=6.0)
    again, told_again = flat_slip(5, "tune", scale=6.0)
    other, _ = flat_slip(6, "tune", scale=6.0)
    assert np.array_equal(first, again)
    assert told == told_again
    assert first.shape != other.shape or not np.array_equal(first, other)


def test_the_same_seed_draws_the_same_photos_byte_for_byte(tmp_path: Path) -> None:
    for folder in ("a", "b"):
        draw_set("tune", 1, 3, tmp_path / folder, None)
    for name in ("IMG_0000.jpg", "truth.json"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_slips_of_a_crowded_photo_lie_edge_to_edge() -> None:
    photo = crowded_photo(1, "tune", None)
    assert len(photo.slips) >= 2
    outlines = [outline.astype(np.float32) for outline in photo.shot.outlines]
    for place, outline in enumerate(outlines):
        side = float(np.hypot(*(outline[1] - outline[0])))
        gaps = [
            -cv2.pointPolygonTest(other, (float(x), float(y)), True)
            for number, other in enumerate(outlines)
            if number != place
            for x, y in outline
        ]
        assert min(gaps) < 0.1 * side


def test_the_families_share_no_font_firm_rule_colour_or_writer() -> None:
    assert not set(FONTS["tune"]) & set(FONTS["test"])
    assert not set(WORD_FONTS["tune"]) & set(WORD_FONTS["test"])
    assert not {firm for firm, _ in FIRMS["tune"]} & {firm for firm, _ in FIRMS["test"]}
    assert not set(COLOURS["tune"]) & set(COLOURS["test"])
    assert not set(Writers("tune").ids) & set(Writers("test").ids)
    for role in ("quantity", "unit_price", "line_total", "code"):
        assert not set(WORDING["tune"][role]) & set(WORDING["test"][role])


@pytest.mark.parametrize("family", ["tune", "test"])
def test_random_designs_keep_everything_on_the_paper_and_differ(family: Family) -> None:
    designs = [random_design(seed, family) for seed in range(60)]
    assert len({tuple(column.role for column in d.columns) for d in designs}) >= 6
    assert len({(d.outer, d.between_rows, d.between_columns) for d in designs}) >= 4
    assert len({(d.width, d.height) for d in designs}) == 6
    for d in designs:
        table = d.margin + d.header + d.heading_height + d.rows * d.row_height
        assert table + len(d.totals) * max(d.row_height, 6.0) <= d.height
        assert {"quantity", "unit_price", "line_total"} <= {column.role for column in d.columns}
        assert d.totals[-1].role == "total"


def test_the_samples_slips_have_paper_sizes_of_iso_216_or_a_third_of_it() -> None:
    """ISO 216: A4 210 x 297, A5 148 x 210, A6 105 x 148 mm; a third of A4 is 210 x 99."""
    sizes = {tuple(sorted((d.width, d.height))) for d in DESIGNS.values()}
    assert sizes == {(148, 210), (105, 148), (99, 210)}


@pytest.mark.parametrize("mistake", [None, *MISTAKES])
def test_an_order_is_wrong_exactly_when_a_mistake_was_asked_for(mistake: str | None) -> None:
    wanted = wanted_by(DESIGNS["fells"])
    for seed in range(40):
        order = make_order(wanted, np.random.default_rng(seed), Habits(), mistake)
        assert order.written_total is not None
        assert (order.written_total != order.computed_total) == (mistake is not None)
        assert (order.mistake is None) == (mistake is None)
        assert order.written_total > 0


def test_kept_digits_look_like_their_labels_to_a_reader_trained_on_other_people() -> None:
    """Outside check: the UCI digits that scikit-learn ships (Alpaydin, Kaynak 1998), by nearest neighbours.

    Those are 8 x 8 pixels, upright, and of another country's hands, so agreement is far from perfect (0.74
    seen); swapped or garbled labels would fall to a tenth.
    """
    known = load_digits()
    judge = KNeighborsClassifier(3).fit(known.data / 16.0, known.target)
    for family in ("tune", "test"):
        writers = Writers("tune" if family == "tune" else "test")
        seen, labels = [], []
        for writer in writers.ids:
            for label, shapes in enumerate(writers.digits(writer).shapes):
                picture = picture_of(shapes[0]).reshape(28, 28)[3:25, 3:25]
                ys, xs = np.nonzero(picture > 0.02)
                ink = picture[ys.min() : ys.max() + 1, xs.min() : xs.max() + 1]
                side = max(ink.shape)
                square = np.zeros((side, side), np.float32)
                top, left = (side - ink.shape[0]) // 2, (side - ink.shape[1]) // 2
                square[top : top + ink.shape[0], left : left + ink.shape[1]] = ink
                small = cv2.resize(square, (8, 8), interpolation=cv2.INTER_AREA)
                seen.append(small.ravel() / max(float(small.max()), 1e-6))
                labels.append(label)
        right = float((judge.predict(np.stack(seen)) == np.array(labels)).mean())
        assert right > 0.65, f"{family}: {right:.3f}"


def test_writing_holds_every_character_in_order_from_left_to_right() -> None:
    square = [np.array([[0.0, -1.0], [0.5, -1.0], [0.5, 0.0], [0.0, 0.0]])]
    digits = Digits(0, tuple((square,) for _ in range(10)))
    rng = np.random.default_rng(1)
    hand = make_hand(digits, "tune", rng)
    one, four = write(hand, "8", rng), write(hand, "8888", rng)
    assert len(four) == 4
    assert width_of(four) > 3.5 * width_of(one)
    starts = [float(stroke[:, 0].min()) for stroke in four]
    assert starts == sorted(starts)


def test_paper_bends_without_stretching() -> None:
    """A sheet bends about straight lines: lengths measured along it stay (developable surface)."""
    slip = make_slip(0, "bean", 4.0)
    for bend in (Bend(), Bend(0.3, 0.2, 0.1), Bend(1.6, -0.1, 0.0, 0.15, 0.2)):
        paper = _Paper(Laid(slip, 0.0, 0.0, 0.4, bend))
        u, v = np.linspace(-40, 40, 2001), np.linspace(-30, 20, 2001)
        length = float(np.linalg.norm(np.diff(paper.world(u, v), axis=0), axis=1).sum())
        assert length == pytest.approx(np.hypot(80, 50), rel=2e-4)


def test_each_pixel_is_traced_back_to_the_point_of_the_slip_that_it_shows() -> None:
    slip = make_slip(0, "bean", 4.0)
    rng = np.random.default_rng(4)
    camera = _Camera((1200, 900), random_conditions("hard", 1, rng))
    paper = _Paper(Laid(slip, 10.0, -5.0, 0.6, Bend(0.2, 0.15, 0.1, 0.1, 0.1)))
    u, v = np.meshgrid(np.linspace(-50, 50, 9), np.linspace(-70, 70, 9))
    camera.frame(paper.world(u, v), 0.8, (0.0, 0.0))
    pixels = camera.project(paper.world(u, v))
    found_u, found_v = _find_on_paper(paper, camera, pixels, 105.0, 148.0)
    assert np.abs(found_u - u).max() < 0.01
    assert np.abs(found_v - v).max() < 0.01


@pytest.mark.parametrize("orientation", [*STORED_AS, None])
def test_pillow_turns_every_stored_photo_upright_again(orientation: int | None, tmp_path: Path) -> None:
    """Outside check: Pillow's ``exif_transpose`` undoes the turn, for EXIF orientations 0 to 8 and none."""
    picture = np.zeros((40, 64, 3), np.uint8)
    picture[:20, :32, 0] = 250
    picture[20:, :32, 1] = 250
    save_jpeg(picture, tmp_path / "p.jpg", 95, orientation)
    with Image.open(tmp_path / "p.jpg") as stored:
        upright = np.asarray(ImageOps.exif_transpose(stored).convert("RGB"))
    assert upright.shape == picture.shape
    assert np.abs(upright.astype(int) - picture).mean() < 12
