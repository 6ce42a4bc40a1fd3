"""Sheets of one pad lie on each other by their print, whatever is written on them; sheets of two pads do not."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formread.layout.bend import bend_through
from formread.layout.match import SAME, Match, matched, print_of
from formread.sheet.record import Image, Points
from tests.layout.drawings import CLASSIC, Plan, carbon, draw

OTHER = replace(CLASSIC, columns=CLASSIC.columns[1:4], rows=17, row_height=30, totals=CLASSIC.totals[:1])


def laid(one: Plan, other: Image) -> Match | None:
    return matched(print_of(draw(one).sheet.image), print_of(other))


def aslant(image: Image) -> tuple[Image, Points]:
    """A sheet as poor flattening leaves it: too low, and a corner out of place. Also where its corners went."""
    height, width = image.shape[:2]
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    places = corners * (1.0, 0.88)
    places[2] -= (14, 11)
    matrix = cv2.getPerspectiveTransform(corners, places.astype(np.float32))
    size = (width, round(0.88 * height))
    warped = cv2.warpPerspective(image, matrix, size, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(warped, np.uint8), np.asarray(places, np.float64)


@pytest.mark.parametrize("again", [replace(CLASSIC, seed=5), carbon(replace(CLASSIC, seed=7, wave=3.0))])
def test_another_slip_of_the_pad_lies_where_it_was_moved_to(again: Plan) -> None:
    image = draw(again).sheet.image
    moved, corners = aslant(image)
    match = laid(CLASSIC, moved)
    assert match is not None
    assert match.likeness > SAME
    height, width = image.shape[:2]
    inner = np.array([[0.1, 0.2], [0.9, 0.2], [0.9, 0.9], [0.1, 0.9], [0.5, 0.5]]) * (width, height)
    matrix = cv2.getPerspectiveTransform(
        np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32), corners.astype(np.float32)
    )
    truth = cv2.perspectiveTransform(inner[None], matrix)[0]
    assert np.abs(match(inner) - truth).max() < 6  # of 1200 pixels: a millimetre on A5


def test_a_slip_of_another_pad_is_not_taken_for_one_of_this() -> None:
    match = laid(CLASSIC, draw(OTHER).sheet.image)
    assert match is None or match.likeness < SAME


def test_a_sheet_without_any_print_matches_nothing() -> None:
    assert laid(CLASSIC, np.full((1200, 900, 3), 250, np.uint8)) is None


@given(st.floats(-4, 4), st.floats(-4, 4), st.floats(-4, 4), st.integers(0, 99))
def test_a_bend_is_found_though_a_few_measurements_are_far_off(
    a: float, b: float, c: float, seed: int
) -> None:
    places = np.stack(np.meshgrid(np.linspace(0, 300, 9), np.linspace(0, 500, 9)), axis=-1).reshape(-1, 2)
    truth = a + b * places[:, 0] / 300 + c * (places[:, 1] / 500) ** 2
    off = truth.copy()
    wrong = np.random.default_rng(seed).choice(len(off), 6, replace=False)
    off[wrong] += 9
    bend = bend_through(places, off, np.ones(len(off)), (300, 500), 1.0)
    assert np.abs(bend(places) - truth).max() < 1.0
    x, y = np.array([0.0, 120.0, 300.0]), np.array([50.0, 499.0])
    crossings = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    assert np.allclose(bend.over(x, y).ravel(), bend(crossings))
