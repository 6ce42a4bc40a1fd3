"""Pages that are no order slip: bare paper, print without boxes, handwriting. The network must see nothing in them."""

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image as Pictures
from PIL import ImageDraw, ImageFont

from models.forms import Drawn, Fonts, camera

_WORDS = (
    *(
        "the",
        "and",
        "of",
        "to",
        "a",
        "in",
        "with",
        "you",
        "our",
        "for",
        "your",
        "on",
        "at",
        "from",
        "please",
        "we",
    ),
    *(
        "be",
        "is",
        "this",
        "all",
        "by",
        "or",
        "it",
        "as",
        "order",
        "will",
        "are",
        "each",
        "goods",
        "van",
        "street",
    ),
    *(
        "thank",
        "garden",
        "morning",
        "delivery",
        "week",
        "before",
        "after",
        "evening",
        "name",
        "list",
        "winter",
    ),
)

Image = npt.NDArray[np.uint8]


def draw_page(rng: np.random.Generator, fonts: Fonts) -> Drawn:
    """Draw a page without any box to write in, as its flattened photo looks."""
    long = int(rng.integers(960, 1089))
    short = round(long * float(rng.uniform(0.4, 0.8)))
    high, wide = (long, short) if rng.random() < 0.65 else (short, long)
    paper = np.clip(rng.normal((244, 240, 232), (10, 12, 22)), 120, 255)
    image = np.full((high, wide, 3), paper, np.uint8)
    what = rng.random()
    if what > 0.2:
        image = _written(image, fonts, rng, by_hand=what > 0.6)
    return Drawn(camera.develop(image, rng), ())


def _written(image: Image, fonts: Fonts, rng: np.random.Generator, *, by_hand: bool) -> Image:
    high, wide = image.shape[:2]
    picture = Pictures.fromarray(image)
    pen = ImageDraw.Draw(picture)
    faces = fonts.hand if by_hand else fonts.plain
    size = int(rng.integers(22, 50) if by_hand else rng.integers(9, 26))
    face = ImageFont.truetype(faces[int(rng.integers(len(faces)))].path, size)
    ink = tuple(int(v) for v in rng.integers(0, 110, 3))
    left = int(rng.uniform(0.04, 0.15) * wide)
    y = int(rng.uniform(0.02, 0.3) * high)
    step = size * float(rng.uniform(1.1, 2.2))
    ruled = by_hand and rng.random() < 0.5
    while y < high * float(rng.uniform(0.6, 1.2)) - size:
        if ruled:
            pen.line((0, y + size, wide, y + size), (170, 180, 200))
        if rng.random() < 0.9:
            count = int(rng.integers(1, 16))
            words = [
                str(rng.choice(_WORDS)) if rng.random() < 0.9 else str(int(rng.integers(999)))
                for _ in range(count)
            ]
            pen.text((left, y), " ".join(words), ink, face)
        y += int(step)
    turned = cv2.warpAffine(
        np.asarray(picture), cv2.getRotationMatrix2D((wide / 2, high / 2), float(rng.normal(0, 0.4)), 1.0),
        (wide, high), borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(turned, np.uint8)
