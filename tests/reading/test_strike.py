"""A row that one stroke of the pen runs through is seen as crossed out; what the form prints is not."""

import cv2
import numpy as np
import pytest

from formread.reading.strike import Storey, Strip, crossed


def strip(line: tuple[int, int] | None = None, *, writing: bool = True, thickness: int = 2) -> Strip:
    drawn = np.full((60, 700, 3), 240, np.uint8)
    if writing:
        for x, text in ((20, "2"), (150, "104"), (330, "4.99"), (560, "9.98")):
            cv2.putText(drawn, text, (x, 46), cv2.FONT_HERSHEY_SIMPLEX, 1.2, (40, 40, 90), 3, cv2.LINE_AA)
    if line:
        cv2.line(drawn, (10, line[0]), (690, line[1]), (40, 40, 90), thickness, cv2.LINE_AA)
    return np.asarray(drawn, np.uint8)


def row(line: tuple[int, int] | None = None, *, writing: bool = True) -> list[Storey]:
    """A row whose boxes all stand side by side."""
    return [Storey(strip(line, writing=writing), 4)]


def two(upper: tuple[int, int] | None = None, lower: tuple[int, int] | None = None) -> list[Storey]:
    """A row of two storeys, the upper one a single long box."""
    return [Storey(strip(upper), 1), Storey(strip(lower), 4)]


def test_a_stroke_through_a_row_is_seen_level_or_slanting() -> None:
    plain = [row() for _ in range(6)]
    assert crossed([row((30, 34)), *plain]) == [True] + [False] * 6
    assert crossed([*plain, row((22, 42))]) == [False] * 6 + [True]


def test_writing_alone_and_blank_rows_are_no_stroke() -> None:
    assert not any(crossed([row(), row(writing=False), row(), row(writing=False)]))


def test_a_line_that_most_rows_hold_is_the_forms_own() -> None:
    assert not any(crossed([row((30, 30), writing=k < 3) for k in range(8)]))


def test_a_rule_at_the_foot_of_a_row_is_no_stroke() -> None:
    assert not any(crossed([row((56, 56)), row(), row(), row()]))


def test_the_edge_of_a_shadow_is_no_stroke() -> None:
    """Light falls on the upper part of a row; below it the paper is darker all the way down."""
    lit = strip()
    lit[:16] = 255
    shade = np.clip(np.linspace(1.15, 0.85, 14), 0, 1.1)[:, None, None]
    lit[16:30] = np.clip(lit[16:30] * shade, 0, 255).astype(np.uint8)
    lit[30:] = (lit[30:] * 0.85).astype(np.uint8)
    assert not any(crossed([[Storey(lit, 4)], row(), row()]))


def test_strips_too_small_to_tell_are_left_alone() -> None:
    small = (np.zeros((3, 500, 3), np.uint8), np.zeros((50, 60, 3), np.uint8))
    assert crossed([[Storey(pixels, 2)] for pixels in small]) == [False, False]
    assert crossed([]) == []


@pytest.mark.parametrize("stroke", [two((30, 34)), two(None, (24, 40))])
def test_a_stroke_through_one_storey_crosses_the_row_out(stroke: list[Storey]) -> None:
    assert crossed([two(), stroke, two(), two()]) == [False, True, False, False]


def test_what_the_form_prints_on_one_storey_hides_no_stroke_through_the_other() -> None:
    printed = [two((30, 30)) for _ in range(5)]
    assert not any(crossed(printed))
    assert crossed([*printed, two((30, 30), (28, 33))]) == [False] * 5 + [True]


def test_a_word_struck_through_in_a_box_by_itself_crosses_out_no_row() -> None:
    """As long as the writing, not as the box; through several boxes so long a stroke would tell."""
    word = strip()
    cv2.line(word, (10, 30), (450, 32), (40, 40, 90), 2, cv2.LINE_AA)
    others = [[Storey(strip(), 1)] for _ in range(3)]
    assert crossed([[Storey(word, 1)], *others]) == [False] * 4
    assert crossed([[Storey(word, 4)], *others]) == [True, False, False, False]
