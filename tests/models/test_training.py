"""The training code keeps writers apart, every composed label visible, and its pictures reader-like."""

import itertools
import json
from pathlib import Path

import numpy as np
import pytest

from formread.pile.slip import INSET, MARGIN
from models import camera, compose, sources, texts, trace
from models.compose import Writing

MODELS = Path(camera.__file__).parent


def _glyphs(hand: str) -> dict[str, list[compose._Glyph]]:
    line = np.array([(0.0, 0.0), (0.3, 1.0)], np.float32)
    box = np.array([(0, 0), (0.5, 0), (0.5, 1), (0, 1), (0, 0)], np.float32)
    small = np.array([(0.0, 0.0), (0.05, 0.05)], np.float32)
    shapes = (
        dict.fromkeys("0123456789px£", box) | dict.fromkeys(".,-:", small) | {"/": line, '"': line, "1": line}
    )
    return {s: [compose._Glyph([v], hand[0] == "u")] for s, v in shapes.items()}


@pytest.fixture
def hands(tmp_path: Path) -> compose.Hands:
    """One hand that draws boxes for digits: enough to compose with, and nobody's ink."""
    glyphs, whole = sources.Store(), sources.Store()
    for name in ("u1", "m1", "n1", "fX"):
        for sign, several in _glyphs(name).items():
            glyphs.add(several[0].strokes, sign, name, "train", [])
    line = np.array([(0.0, 0.0), (0.1, 1.0)], np.float32)
    whole.add([line, line + 1], "12", "n1", "train", [0, 1])
    whole.add([line, line + 1], "34", "n2", "test", [0, 1])
    np.savez(tmp_path / "ink.npz", **glyphs.arrays("glyph"), **whole.arrays("whole"))  # type: ignore[arg-type]
    return compose.Hands(tmp_path / "ink.npz", "train", frozenset({"34"}))


def test_no_writer_is_in_two_splits() -> None:
    listing = json.loads((MODELS / "writers.json").read_text(encoding="utf-8"))
    for collection in ("unipen_numbers", "unipen_characters"):
        parts = [set(listing[collection][s]) for s in ("test", "calibration", "train")]
        assert len(set.union(*parts)) == sum(len(p) for p in parts)
    assert len(listing["unipen_numbers"]["test"]) >= 37 // 3


def test_the_split_is_the_seeds_and_nothing_elses() -> None:
    listing = json.loads((MODELS / "writers.json").read_text(encoding="utf-8"))
    known = frozenset(sources.LOOKED_AT["numbers"])
    split = sources.split_of(list(range(37)) * 3, sources.NUMBER_TEST, sources.NUMBER_CALIBRATION, known)
    assert sorted(w for w, s in split.items() if s == "test") == listing["unipen_numbers"]["test"]


def test_writers_whose_errors_were_looked_at_test_nothing_any_more() -> None:
    listing = json.loads((MODELS / "writers.json").read_text(encoding="utf-8"))
    for collection, known in sources.LOOKED_AT.items():
        assert known
        assert not known & set(listing[f"unipen_{collection}"]["test"])


def test_a_bare_one_is_drawn_densely_enough_for_its_neighbours_to_keep_off() -> None:
    one = compose._dense(np.array([(0.1, 1.0), (0.05, 0.5), (0.0, 0.0)], np.float32))
    assert float(np.hypot(*np.diff(one, axis=0).T).max()) < 0.1
    assert np.allclose(one[[0, -1]], [(0.1, 1.0), (0.0, 0.0)])


def test_a_point_that_the_form_prints_is_read_but_is_nobodys_writing(hands: compose.Hands) -> None:
    rng = np.random.default_rng(1)
    written = [compose.write(hands, "4.99", rng) for _ in range(300)]
    printed = [w for w in written if w.printed]
    assert printed
    assert all(len(w.strokes) == 3 + (w.label != "4.99") for w in printed if w.source == "m")


def test_whole_numbers_of_test_writers_do_not_reach_training(hands: compose.Hands) -> None:
    assert [label for _, label, _ in hands.whole] == ["12"]
    rng = np.random.default_rng(0)
    said = {w.label for w in (compose.whole(hands, rng) for _ in range(200)) if w is not None}
    assert said <= {"1", "2", "12"}


def test_the_same_seed_gives_the_same_picture(hands: compose.Hands) -> None:
    grain = camera.Grain(np.random.default_rng(0), 1024)
    pictures = []
    for _ in range(2):
        rng = np.random.default_rng(5)
        pictures.append(camera.scene(hands, grain, camera.forms_print(), rng))
    assert pictures[0].label == pictures[1].label
    assert np.array_equal(pictures[0].crop, pictures[1].crop)


def test_an_empty_writing_leaves_a_picture_of_paper(hands: compose.Hands) -> None:
    grain = camera.Grain(np.random.default_rng(0), 1024)
    rng = np.random.default_rng(8)
    box = camera.photograph(Writing([], ""), hands, grain, camera.forms_print(), "carbon", rng)
    assert box.label == ""
    assert box.crop.shape[2] == 3


@pytest.mark.parametrize("seed", range(8))
def test_the_stroke_through_a_row_leaves_the_box_on_both_sides(seed: int) -> None:
    rng = np.random.default_rng(seed)
    frame = camera._frame(Writing([np.array([(0.0, 0.0), (1.0, 1.0)], np.float32)], "1"), rng)
    canvas = np.zeros((frame.height * frame.over, frame.width * frame.over), np.uint8)
    camera._cross(canvas, frame, 3, rng)
    assert canvas[:, 0].any()
    assert canvas[:, -1].any()


def test_texts_use_only_signs_that_the_reader_knows() -> None:
    from formread.reading.recogniser import ALPHABET

    rng = np.random.default_rng(0)
    assert all(set(texts.text(rng)) <= set(ALPHABET) - {"~"} | {" "} for _ in range(3000))


def test_a_space_in_a_text_is_a_gap_and_no_sign(hands: compose.Hands) -> None:
    rng = np.random.default_rng(9)
    wide, plain = (
        [_widest_gap(compose.write(hands, text, rng, "m")) for _ in range(60)] for text in ("82 82", "8282")
    )
    assert compose.write(hands, "82 82", rng).label == "8282"
    assert np.median(wide) > np.median(plain) + 0.35


def _widest_gap(writing: Writing) -> float:
    spans = sorted(
        (float(s[:, 0].min()), float(s[:, 0].max())) for s in writing.strokes if np.ptp(s[:, 1]) > 0.5
    )
    return max(after[0] - before[1] for before, after in itertools.pairwise(spans))


@pytest.mark.parametrize("seed", range(8))
def test_a_slash_leans_to_the_right_and_is_about_as_tall_as_a_digit_or_taller(seed: int) -> None:
    rng = np.random.default_rng(seed)
    (stroke,) = compose._slash(rng.random(3), rng)
    low, high = stroke[stroke[:, 1].argmin()], stroke[stroke[:, 1].argmax()]
    assert high[0] > low[0]
    assert 0.7 < high[1] - low[1] < 1.8


def test_rules_round_a_box_lie_where_the_products_cut_leaves_them() -> None:
    """What is drawn at the box's own height, with the margin that the product adds, is the box."""
    assert (camera.MARGIN, camera.INSET) == (MARGIN, INSET)
    rng = np.random.default_rng(2)
    places = []
    for _ in range(200):
        frame = camera._frame(Writing([np.array([(0.0, 0.0), (1.0, 1.0)], np.float32)], "7"), rng)
        mask = np.zeros((frame.height * frame.over, frame.width * frame.over), np.uint8)
        camera._rim(mask, frame, thick=1, tilt=0.0, rng=rng)
        rows = np.flatnonzero((mask > 100).any(axis=1))  # not the tint of the paper around the box
        places += [(rows[0] / len(mask), rows[-1] / len(mask))]
    top, bottom = np.median(places, axis=0)
    assert top == pytest.approx(MARGIN / (1 + 2 * MARGIN), abs=0.02)
    assert bottom == pytest.approx(1 - MARGIN / (1 + 2 * MARGIN), abs=0.02)


@pytest.mark.parametrize("seed", range(12))
def test_a_hooked_one_stands_on_the_line_and_its_hook_falls_to_the_left(seed: int) -> None:
    rng = np.random.default_rng(seed)
    stem = compose._hooked_one(rng.random(6), rng)[0]
    highest = stem[stem[:, 1].argmax()]
    assert abs(float(stem[-1, 1])) < 1e-6
    assert float(stem[0, 0]) < float(highest[0])
    assert float(stem[0, 1]) < float(highest[1])  # a level one would be a 7


def test_a_glyph_drawn_another_time_is_alike_but_not_the_same() -> None:
    t = np.linspace(0, 6, 60, dtype=np.float32)
    nought = [np.stack([0.3 * np.cos(t), 0.5 + 0.5 * np.sin(t)], 1).astype(np.float32)]
    rng = np.random.default_rng(4)
    drawn = [compose._vary(nought, True, 0.04, rng) for _ in range(40)]
    assert all(len(strokes) == 1 for strokes in drawn)
    spans = np.array([np.ptp(strokes[0], axis=0) for strokes in drawn])
    assert np.all(np.abs(spans - (0.6, 1.0)) < 0.2)
    assert len({strokes[0].tobytes() for strokes in drawn}) == 40


def test_some_writing_is_as_wide_as_its_box_but_never_a_lone_stroke() -> None:
    rng = np.random.default_rng(6)
    wide = Writing([np.array([(0.0, 0.0), (0.0, 1.0), (1.5, 1.0), (1.5, 0.0)], np.float32)], "82")
    lone = Writing([np.array([(0.0, 0.0), (0.1, 1.0)], np.float32)], "1")

    def margin(writing: Writing) -> float:
        frame = camera._frame(writing, rng)
        return float(frame.origin[0] + frame.low[0] * frame.unit) / frame.unit

    assert min(margin(wide) for _ in range(300)) < 0.0
    assert min(margin(lone) for _ in range(300)) > 0.09


def test_a_walked_skeleton_follows_the_line_it_came_from() -> None:
    ink = np.zeros((60, 60), bool)
    ink[10:50, 28:33] = True
    strokes = trace.trace(ink)
    assert len(strokes) == 1
    assert np.abs(strokes[0][:, 0] - 30).max() <= 2.5
    assert float(np.ptp(strokes[0][:, 1])) > 30
