"""A row that one stroke of the pen runs through is seen as crossed out; what the form prints is not."""

import cv2
import numpy as np

from formread.reading.strike import Strip, crossed


def row(line: tuple[int, int] | None = None, *, writing: bool = True, thickness: int = 2) -> Strip:
    strip = np.full((60, 700, 3), 240, np.uint8)
    if writing:
        for x, text in ((20, "2"), (150, "104"), (330, "4.99"), (560, "9.98")):
            cv2.putText(strip, text, (x, 46), cv2.FONT_HERSHEY_SIMPLEX, 1.2, (40, 40, 90), 3, cv2.LINE_AA)
    if line:
        cv2.line(strip, (10, line[0]), (690, line[1]), (40, 40, 90), thickness, cv2.LINE_AA)
    return np.asarray(strip, np.uint8)


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


def test_strips_too_small_to_tell_are_left_alone() -> None:
    assert crossed([np.zeros((3, 500, 3), np.uint8), np.zeros((50, 60, 3), np.uint8)]) == [False, False]
    assert crossed([]) == []
