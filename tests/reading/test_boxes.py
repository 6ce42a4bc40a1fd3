"""The door: pictures of boxes in, readings out."""

import pickle

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from sklearn.datasets import load_digits

from formread.reading import join_pounds_pence, read_boxes
from formread.reading.boxes import in_doubt
from formread.reading.grammar import COLUMN, NumberKind
from formread.reading.ink import is_blank
from formread.reading.lattice import pack
from formread.reading.readings import NumberReading
from formread.record import DITTO, Candidate, Kind, Reading, Value
from sample_scans.hands import Writers, make_hand, place, width_of, write

Crop = npt.NDArray[np.uint8]
KINDS: tuple[Kind, ...] = ("amount", "quantity", "code", "number", "text", "pounds", "pence")
NUMERIC: tuple[Kind, ...] = ("amount", "quantity", "code", "number", "pounds", "pence")


def written(text: str, seed: int = 0, height: int = 44) -> Crop:
    """A box in one of the hands that come with the sample scans."""
    rng = np.random.default_rng(seed)
    writers = Writers("test")
    hand = make_hand(writers.digits(writers.ids[seed % len(writers)]), "test", rng)
    strokes = write(hand, text, rng)
    size = height * 0.62
    crop = np.full((height, int(width_of(strokes) * size) + 30, 3), (252, 250, 244), np.uint8)
    for stroke in place(strokes, 14, height * 0.8, size, 1.0):
        cv2.polylines(crop, [np.round(stroke * 16).astype(np.int32)], False, (45, 40, 110), 2, cv2.LINE_AA, 4)
    return np.asarray(cv2.GaussianBlur(crop, (0, 0), 0.6), np.uint8)


def blank(height: int = 44, width: int = 120) -> Crop:
    return np.full((height, width, 3), 245, np.uint8)


@pytest.mark.parametrize("kind", KINDS)
def test_no_boxes_give_no_readings(kind: Kind) -> None:
    assert read_boxes([], kind) == []


@pytest.mark.parametrize("kind", KINDS)
def test_an_empty_box_is_read_as_empty(kind: Kind) -> None:
    (reading,) = read_boxes([blank()], kind)
    assert reading.candidates[0].text == ""
    assert reading.values[0][0] is None
    assert reading.probability_of(None) == reading.candidates[0].probability


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("shape", [(0, 0), (1, 1), (0, 40), (3, 500), (900, 9), (9, 900), (1400, 2600)])
def test_boxes_of_odd_shapes_never_crash(kind: Kind, shape: tuple[int, int]) -> None:
    noise = np.random.default_rng(1).integers(0, 256, (*shape, 3)).astype(np.uint8)
    for crop in (noise, np.zeros((*shape, 3), np.uint8)):
        (reading,) = read_boxes([crop], kind)
        assert 0.0 <= sum(candidate.probability for candidate in reading.candidates) <= 1.0 + 1e-9


def test_order_is_kept_and_company_does_not_matter() -> None:
    texts = ["4.99", "12.50", "", "7", "103.75", "£5.00", "99p", "0.85"]
    crops = [written(text, seed) if text else blank() for seed, text in enumerate(texts)]
    together = read_boxes(crops, "amount")
    assert [reading.values[0][0] for reading in together] == [499, 1250, None, 700, 10_375, 500, 99, 85]
    for crop, reading in zip(crops, together, strict=True):
        (alone,) = read_boxes([crop], "amount")
        assert [c.text for c in alone.candidates[:2]] == [c.text for c in reading.candidates[:2]]
        assert alone.candidates[0].probability == pytest.approx(reading.candidates[0].probability, abs=2e-3)


def said(*frames: dict[str, float]) -> npt.NDArray[np.float32]:
    """What a network might say: for each frame the probabilities of its signs, the blank gets the rest."""
    scores = np.full((len(frames), 1 + len(COLUMN)), 1e-6)
    for row, frame in zip(scores, frames, strict=True):
        for sign, share in frame.items():
            row[COLUMN[sign]] = share
        row[0] = max(1.0 - sum(frame.values()), 1e-6)
    return np.asarray(np.log(scores / scores.sum(axis=1, keepdims=True)), np.float32)


def test_only_doubt_is_worth_a_second_look() -> None:
    twelve = said({}, {"1": 0.999}, {}, {"2": 0.999}, {})
    one_or_seven = said({}, {"1": 0.7, "7": 0.3}, {})
    a_point_too_much = said({}, {"1": 0.999}, {".": 0.5}, {"2": 0.999})
    no_such_thing = said({}, {"£": 0.999}, {"p": 0.999}, {"£": 0.999})
    nothing, unseen = said({}, {}), said()
    scores = [twelve, one_or_seven, unseen, nothing, no_such_thing]
    assert sorted(in_doubt(scores, "quantity")) == [1, 4]
    assert in_doubt([a_point_too_much], "amount") == [0]
    assert in_doubt([a_point_too_much], "code") == []  # a code means the same with and without


def test_the_same_boxes_give_the_same_readings() -> None:
    crops = [written("18.40", 3), written("6.25", 4)]
    assert read_boxes(crops, "amount") == read_boxes(crops, "amount")


@pytest.mark.parametrize("kind", NUMERIC)
def test_probabilities_are_sorted_and_sum_to_one_at_most(kind: Kind) -> None:
    crops = [
        written(text, seed) for seed, text in enumerate(["4.99", "12", "x3", "104-238", "-", "99", DITTO])
    ]
    for reading in read_boxes(crops, kind):
        shares = [candidate.probability for candidate in reading.candidates]
        assert shares == sorted(shares, reverse=True)
        assert sum(shares) + reading.struck_out + reading.unreadable <= 1.0 + 1e-6
        assert [share for _, share in reading.values] == shares
        assert len({value for value, _ in reading.values}) == len(shares)


def test_all_values_asked_together_stay_under_one() -> None:
    (reading,) = read_boxes([written("4.99", 2)], "amount")
    asked = sum(reading.probability_of(pence) for pence in range(20_000)) + reading.probability_of(None)
    assert asked + reading.struck_out + reading.unreadable <= 1.0 + 2e-3
    assert asked > 0.9


@pytest.mark.parametrize("kind", NUMERIC)
def test_asking_for_a_candidate_gives_its_probability(kind: Kind) -> None:
    for reading in read_boxes([written("12", 5), written("4.99", 6)], kind):
        for value, probability in reading.values:
            assert reading.probability_of(value) == probability


def test_a_value_off_the_list_has_a_probability_below_the_best() -> None:
    (reading,) = read_boxes([written("4.99", 2)], "amount")
    assert reading.values[0][0] == 499
    assert 0.0 < reading.probability_of(399) < 0.01
    assert reading.probability_of(123_456) < 1e-6
    assert reading.probability_of(-4) == 0.0


def test_a_code_is_asked_with_or_without_its_separators() -> None:
    (reading,) = read_boxes([written("104-238", 7)], "code")
    assert reading.probability_of("104238") == reading.probability_of("104-238")
    assert reading.probability_of("104238") > 0.5


def test_a_reading_survives_the_store_and_is_small() -> None:
    readings = read_boxes([written("103.75", 1), blank()], "amount")
    for reading in readings:
        reading.probability_of(5)  # what was asked is not stored
        stored = pickle.dumps(reading)
        assert len(stored) < 2500
        again: Reading = pickle.loads(stored)
        assert again == reading
        assert again.probability_of(10_371) == reading.probability_of(10_371)


@pytest.mark.parametrize(
    ("pounds", "pence", "value"),
    [("4", "99", 499), ("5", "-", 500), ("5", "00", 500), ("", "99", 99), ("5", "", 500), ("12", "05", 1205)],
)
def test_the_halves_of_a_split_column_make_one_amount(pounds: str, pence: str, value: int) -> None:
    left = read_boxes([written(pounds, 11) if pounds else blank()], "pounds")[0]
    right = read_boxes([written(pence, 11) if pence else blank()], "pence")[0]
    joined = join_pounds_pence(left, right)
    assert joined.kind == "amount"
    assert joined.values[0][0] == value
    assert joined.probability_of(value) == joined.candidates[0].probability > 0.5
    assert sum(share for _, share in joined.values) <= 1.0 + 1e-9


def test_two_empty_halves_are_nothing() -> None:
    joined = join_pounds_pence(read_boxes([blank()], "pounds")[0], read_boxes([blank()], "pence")[0])
    assert joined.values[0][0] is None
    assert joined.candidates[0].text == ""


def half(kind: NumberKind, *values: tuple[Value, float]) -> NumberReading:
    """One half of a split amount, read as these values and as next to nothing else."""
    candidates = tuple(Candidate(str(value), share) for value, share in values)
    nothing = pack(np.full((1, 1 + len(COLUMN)), 1e-6))
    return NumberReading(kind, candidates, values, 0.0, 0.0, nothing, 1.0, 1.0)


def test_eleven_beside_the_other_half_is_no_ditto_mark() -> None:
    """As probable as each other by themselves; nobody writes a ditto mark beside a number."""
    joined = join_pounds_pence(half("pounds", (11, 0.45), (DITTO, 0.45)), half("pence", (75, 0.99)))
    assert joined.values[0][0] == 1175
    # The 11 and half of what looks like a ditto mark, of the 0.775 that is not ruled out.
    assert joined.probability_of(1175) == pytest.approx((0.45 + 0.225) / 0.775, abs=0.02)
    assert joined.probability_of(DITTO) < 0.01


@pytest.mark.parametrize(
    ("pounds", "pence", "value", "other"),
    [
        (((DITTO, 0.99), (1, 0.004)), ((85, 0.98),), 1185, 185),
        (((3, 0.98),), ((DITTO, 0.99), (1, 0.004)), 311, 301),
    ],
)
def test_two_strokes_beside_a_number_are_eleven_however_sure_the_ditto_mark_looks(
    pounds: tuple[tuple[Value, float], ...], pence: tuple[tuple[Value, float], ...], value: int, other: int
) -> None:
    """What the network holds for less probable than the ditto mark says next to nothing: 1 before 11, say."""
    joined = join_pounds_pence(half("pounds", *pounds), half("pence", *pence))
    assert joined.values[0][0] == value
    assert "11" in joined.candidates[0].text
    assert joined.probability_of(value) > 0.9
    assert joined.probability_of(other) < 0.02


def test_a_ditto_mark_beside_an_empty_half_or_another_stays_one() -> None:
    ditto = half("pounds", (DITTO, 0.98))
    for beside in (half("pence", (None, 0.98)), half("pence", (DITTO, 0.98))):
        joined = join_pounds_pence(ditto, beside)
        assert joined.values[0][0] == DITTO
        assert joined.candidates[0].text == DITTO
        assert joined.probability_of(DITTO) > 0.9
        assert joined.probability_of(1111) < 0.02


def test_only_number_boxes_can_be_joined() -> None:
    text, pence = read_boxes([blank()], "text")[0], read_boxes([blank()], "pence")[0]
    with pytest.raises(TypeError, match="pounds and pence"):
        join_pounds_pence(text, pence)


def printed(text: str) -> Crop:
    crop = np.full((52, 30 + 22 * len(text), 3), 250, np.uint8)
    cv2.putText(crop, text, (12, 36), cv2.FONT_HERSHEY_SIMPLEX, 0.9, (30, 30, 60), 2, cv2.LINE_AA)
    return crop


def test_words_come_from_the_list_that_is_given() -> None:
    choices = ["Bath salts", "Gift wrap", "Tea towels", "Wrapping bows", "Tea caddy"]
    for reading in read_boxes([printed("tea-towels"), printed("Gift wrap")], "text", choices):
        assert reading.candidates[0].text in ("Tea towels", "Gift wrap")
        assert reading.probability_of(reading.candidates[0].text) > 0.9
        assert reading.probability_of("Soap") == 0.0
    (reading,) = read_boxes([printed("Marigold Lane")], "text", choices)
    assert reading.unreadable > 0.9


def test_words_without_a_list_are_given_as_read() -> None:
    (reading,) = read_boxes([printed("Marigold Lane")], "text")
    assert reading.candidates[0].text == "Marigold Lane"


def test_a_kind_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="no kind of box"):
        read_boxes([blank()], "colour")  # type: ignore[arg-type]


def test_a_grey_picture_is_refused() -> None:
    with pytest.raises(ValueError, match="uint8"):
        read_boxes([np.zeros((40, 90), np.uint8)], "amount")


def as_box(digits: list[npt.NDArray[np.float64]]) -> Crop:
    """Put 8x8 digits (0 to 16, ink bright) side by side on paper, enlarged five times."""
    row = np.concatenate([digit / 16.0 for digit in digits], axis=1)
    large = cv2.resize(row, None, fx=5, fy=5, interpolation=cv2.INTER_CUBIC).clip(0, 1)
    paper = np.pad(large, 10)
    return np.repeat((245 - 190 * paper).astype(np.uint8)[:, :, None], 3, axis=2)


def test_digits_of_the_uci_set_are_read() -> None:
    """1,797 digits by 13 writers of the UCI optical digits set, test part, as scikit-learn ships them.

    Source: Alpaydin and Kaynak, UCI "Optical Recognition of Handwritten Digits", 1998. Eight pixels high:
    far coarser than any photo, so the bound is low.
    """
    digits = load_digits()
    readings = read_boxes([as_box([image]) for image in digits.images], "quantity")
    right = np.mean([r.values[0][0] == t for r, t in zip(readings, digits.target, strict=True)])
    assert right >= 0.93


def test_numbers_composed_of_uci_digits_are_read() -> None:
    """Strings of three digits of the same set, side by side; same source."""
    digits = load_digits()
    rng = np.random.default_rng(4)
    picks = rng.integers(0, len(digits.images), (200, 3))
    readings = read_boxes([as_box([digits.images[i] for i in own]) for own in picks], "number")
    wanted = ["".join(str(digits.target[i]) for i in own) for own in picks]
    right = np.mean([r.values[0][0] == t for r, t in zip(readings, wanted, strict=True)])
    assert right >= 0.75


def test_the_readings_name_what_they_were_read_as() -> None:
    for kind in NUMERIC:
        (reading,) = read_boxes([written("7", 1)], kind)
        assert isinstance(reading, NumberReading)
        assert reading.kind == kind


def test_bare_paper_is_told_without_the_network_and_the_faintest_writing_is_not() -> None:
    """Ink that takes a tenth of the paper's light, on paper with grain and a shadow: a person sees it."""
    rng = np.random.default_rng(3)
    shade = np.linspace(200, 245, 120)[None, :, None] + rng.normal(0, 3, (44, 120, 3))
    paper = np.asarray(cv2.GaussianBlur(np.clip(shade, 0, 255), (0, 0), 1.0), np.uint8)
    ruled = paper.copy()
    ruled[:3] = ruled[-3:] = 90  # the row's own rules
    assert is_blank(paper)
    assert is_blank(ruled)
    faint = paper.copy()
    cv2.line(faint, (60, 12), (57, 32), (190, 185, 180), 2, cv2.LINE_AA)
    assert not is_blank(faint)
