"""What a form prints in every box of a column is told from what somebody wrote in one of them."""

import cv2
import numpy as np

from formread.reading.prefill import Crop, blank_but_for_print


def box(text: str = "", *, sign: str = "", at: tuple[int, int] = (50, 38)) -> Crop:
    crop = np.full((50, 180, 3), 238, np.uint8)
    if sign:
        cv2.putText(crop, sign, (8, 35), cv2.FONT_HERSHEY_SIMPLEX, 0.8, (90, 90, 95), 2, cv2.LINE_AA)
    if text:
        cv2.putText(crop, text, at, cv2.FONT_HERSHEY_SIMPLEX, 1.0, (30, 30, 110), 3, cv2.LINE_AA)
    return np.asarray(crop, np.uint8)


def test_a_sign_in_every_row_is_print_and_writing_beside_it_is_not() -> None:
    column = [box("4.99", sign="L"), box("12", sign="L"), *(box(sign="L") for _ in range(6))]
    assert blank_but_for_print(column) == [False, False] + [True] * 6


def test_a_column_without_print_is_left_to_the_reader() -> None:
    assert not any(blank_but_for_print([box("1"), box("7.50"), *(box() for _ in range(6))]))


def test_a_column_that_everybody_wrote_in_holds_no_print() -> None:
    """No two rows begin at the same place: nobody's hand is a printing press."""
    rng = np.random.default_rng(4)
    texts = ("1.25", "2.50", "17.99", "3.00", "9.95", "6.40", "12.00", "4.75")
    places = [(int(x), int(y)) for x, y in zip(rng.integers(15, 80, 8), rng.integers(30, 45, 8), strict=True)]
    assert not any(blank_but_for_print([box(t, at=at) for t, at in zip(texts, places, strict=True)]))


def test_a_single_figure_written_where_others_are_blank_stays() -> None:
    column = [box("1", sign="L"), *(box(sign="L") for _ in range(5))]
    assert blank_but_for_print(column)[0] is False


def test_columns_too_short_or_too_small_to_tell_are_left_alone() -> None:
    assert blank_but_for_print([box(sign="L")] * 3) == [False] * 3
    assert blank_but_for_print([np.zeros((4, 4, 3), np.uint8)] * 8) == [False] * 8
    assert blank_but_for_print([]) == []


def test_one_price_written_three_times_is_no_print() -> None:
    column = [box("1.49"), box("23.70", at=(40, 38)), box("2.99"), box("2.99", at=(51, 38)), box("2.99")]
    assert not any(blank_but_for_print(column))
