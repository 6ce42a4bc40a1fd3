"""What the recogniser promises to the rest of the room."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy.special import logsumexp
from skimage.data import page

from formread.reading import recogniser
from formread.reading.prepare import HEIGHT, MAX_WIDTH, prepare
from formread.reading.recogniser import ALPHABET, alone, blended, recognise

cv2 = pytest.importorskip("cv2")


def _box(
    text: str, height: int = 60, width: int = 170, paper: tuple[int, int, int] = (250, 248, 240)
) -> npt.NDArray[np.uint8]:
    """Draw `text` in a plain stroke font: not handwriting, but easy to read."""
    crop = np.full((height, width, 3), paper, np.uint8)
    cv2.putText(crop, text, (14, height - 16), cv2.FONT_HERSHEY_SIMPLEX, 1.0, (40, 40, 110), 2, cv2.LINE_AA)
    return crop


def _said(scores: npt.NDArray[np.float32]) -> str:
    row = scores.argmax(1)
    kept = row[np.r_[True, row[1:] != row[:-1]]]
    return "".join(ALPHABET[k - 1] for k in kept if k)


def test_the_alphabet_is_the_one_agreed() -> None:
    assert "".join(ALPHABET) == '0123456789.,-/:£px"~'


def test_each_step_is_a_distribution_and_order_is_kept() -> None:
    boxes = [_box("12.50"), _box("7", width=60), _box("104-238", width=260)]
    scores = recognise(boxes)
    for s in scores:
        assert s.dtype == np.float32
        assert s.shape[1] == 1 + len(ALPHABET)
        assert np.allclose(logsumexp(s, axis=1), 0, atol=1e-4)
    assert [_said(s) for s in scores] == ["12.50", "7", "104-238"]


def test_a_box_is_read_alike_in_any_company() -> None:
    box = _box("36.75")
    alone = recognise([box])[0]
    among = recognise([_box("1", width=60), _box("99"), box, _box("4567", height=40)])[2]
    assert alone.shape == among.shape
    assert np.allclose(alone, among, atol=1e-3)


def test_both_networks_put_the_signs_of_a_clear_box_on_steps_that_can_be_blended() -> None:
    box = _box("36.75")
    (first,), (second,) = recognise([box]), recognise([box], "teacher")
    assert first.shape == second.shape
    assert _said(first) == _said(second) == _said(blended(first, second)) == "36.75"


def test_a_blend_is_a_distribution_between_the_two() -> None:
    rng = np.random.default_rng(3)
    first, second = (np.log(rng.dirichlet(np.ones(21), 7)).astype(np.float32) for _ in range(2))
    mixed = blended(first, second)
    assert np.allclose(logsumexp(mixed, axis=1), 0, atol=1e-4)
    assert np.allclose(blended(first, alone(first)), alone(first), atol=1e-4)
    assert np.all(alone(first).max(axis=1) >= first.max(axis=1))  # surer, never of another sign
    assert np.array_equal(alone(first).argmax(axis=1), first.argmax(axis=1))


def test_the_weights_of_both_networks_stay_under_ten_megabytes() -> None:
    """The bound is the project's own: what everybody who installs it carries."""
    weights = recogniser._WEIGHTS
    assert sum((weights / f"{name}.onnx").stat().st_size for name in ("reader", "teacher")) < 10e6


def test_blank_paper_reads_as_nothing() -> None:
    rng = np.random.default_rng(0)
    blank = np.clip(rng.normal(225, 3, (60, 180, 3)), 0, 255).astype(np.uint8)
    assert _said(recognise([blank])[0]) == ""


def test_nothing_to_read_gives_nothing() -> None:
    assert recognise([]) == []


@pytest.mark.parametrize("paper", [(246, 190, 205), (250, 236, 150), (190, 212, 240)])
def test_tinted_paper_is_divided_out(paper: tuple[int, int, int]) -> None:
    plain, tinted = prepare(_box("48")), prepare(_box("48", paper=paper))
    assert plain.shape == tinted.shape
    assert float(np.abs(plain - tinted).mean()) < 0.03


def test_prepared_boxes_have_one_height_and_a_bounded_width() -> None:
    for height, width in ((4, 4), (25, 500), (120, 40), (300, 900)):
        ready = prepare(np.full((height, width, 3), 200, np.uint8))
        assert ready.shape[0] == HEIGHT
        assert 1 <= ready.shape[1] <= MAX_WIDTH
        assert ready.dtype == np.float32


def test_small_writing_in_a_tall_box_is_brought_nearer() -> None:
    tall = np.full((150, 200, 3), 250, np.uint8)
    tall[40:100, 20:190] = _box("12.50")[:, :170]
    tall[:, :, :][tall[:, :, 0] == 250] = 250
    assert (prepare(tall) > 0.5).any(axis=1).sum() >= 0.35 * HEIGHT


def test_uneven_light_over_a_real_scan_leaves_paper_light() -> None:
    """The scan is scikit-image's ``page``: print on paper that darkens strongly to one side."""
    scan = np.repeat(np.asarray(page())[60:110, :, None], 3, axis=2)
    ready = prepare(np.ascontiguousarray(scan))
    assert float(np.median(ready)) < 0.1
