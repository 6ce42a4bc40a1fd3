"""Print is told from writing by how evenly it stands."""

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from formread.layout.ink import Ink
from formread.layout.printed import Piece, is_print, pieces
from formread.layout.record import Rectangle


def drawn(text: str, wander: float) -> tuple[Ink, Piece]:
    """Draw digits 28 pixels high, each moved up or down and resized by chance, and find them."""
    rng = np.random.default_rng(5)
    canvas = Image.new("L", (40 + 34 * len(text), 90), 0)
    for k, sign in enumerate(text):
        size = 40 * (1 + rng.normal(0, wander))
        font = ImageFont.load_default(size)
        ImageDraw.Draw(canvas).text(
            (20 + 34 * k, 62 + 28 * rng.normal(0, wander)), sign, fill=255, font=font, anchor="ls"
        )
    content = np.asarray(np.asarray(canvas) / 255, np.float32)
    (piece,) = pieces(content, Rectangle(0, 0, content.shape[1], content.shape[0]), split=3.0)
    return content, piece


@pytest.mark.parametrize("text", ["04127", "No 5512", "88301"])
def test_digits_that_stand_level_are_print(text: str) -> None:
    assert is_print(*drawn(text, 0.0), signs=4)


@pytest.mark.parametrize("text", ["812126", "0049613", "17912"])
def test_digits_that_wander_are_writing(text: str) -> None:
    assert not is_print(*drawn(text, 0.08), signs=4)
