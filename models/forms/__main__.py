"""Draw a sheet of forms with their places marked, and say how long a form takes."""

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from models.forms import Digits, Drawn, Fonts, draw_form

_COLOURS = {
    "code": (0, 150, 0), "description": (130, 130, 130), "quantity": (230, 120, 0), "unit_price": (0, 120, 230),
    "line_total": (220, 0, 0), "size": (0, 140, 140), "page": (140, 120, 0), "other": (160, 0, 200),
    "goods": (255, 60, 160), "delivery": (120, 60, 255), "discount": (0, 190, 120), "deposit": (150, 90, 40),
    "other_total": (90, 90, 0), "total": (255, 0, 0), "heading": (0, 200, 255), "label": (255, 180, 0),
    "serial": (0, 90, 0), "customer": (60, 60, 200), "decoy": (0, 0, 0),
}  # fmt: skip
_SHORT = {
    "unit_price": "price",
    "line_total": "sum",
    "description": "desc",
    "quantity": "qty",
    "other_total": "count",
}


def marked(drawn: Drawn) -> npt.NDArray[np.uint8]:
    """Return the picture with every place outlined and named; pence are outlined thinly and tinted."""
    image = drawn.image.copy()
    for place in drawn.boxes:
        colour = _COLOURS[place.kind]
        points = np.round(place.corners).astype(np.int32)
        if place.pence:
            shade = image.copy()
            cv2.fillPoly(shade, [points], colour)
            image = cv2.addWeighted(image, 0.75, shade, 0.25, 0)
        cv2.polylines(image, [points], True, colour, 2, cv2.LINE_AA)
        if (place.row or 1) == 1 and place.kind not in ("label", "heading"):
            x, y = points[0].tolist()
            name = _SHORT.get(place.kind, place.kind)
            cv2.putText(image, name, (x + 2, y + 11), cv2.FONT_HERSHEY_SIMPLEX, 0.42, colour, 1, cv2.LINE_AA)
    return np.asarray(image, np.uint8)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fonts", type=Path, help="folder that models.forms.fetch_fonts wrote")
    parser.add_argument("mnist", type=Path, help="folder of the MNIST idx files")
    parser.add_argument("out", type=Path)
    parser.add_argument("--writers", type=Path, default=None)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--forms", type=int, default=12)
    parser.add_argument("--across", type=int, default=4)
    parser.add_argument("--tile", type=int, default=700, help="pixels of a form's longer side on the sheet")
    parser.add_argument("--plain", action="store_true", help="leave the places out")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    fonts, digits = Fonts.load(options.fonts), Digits.load(options.mnist, options.writers)
    draw_form(np.random.default_rng(0), fonts, digits)
    tiles, spent = [], 0.0
    for k in range(options.forms):
        start = time.process_time()
        drawn = draw_form(np.random.default_rng([options.seed, k]), fonts, digits)
        spent += time.process_time() - start
        image = drawn.image if options.plain else marked(drawn)
        h, w = image.shape[:2]
        scale = options.tile / max(h, w)
        tile = np.full((options.tile, options.tile, 3), 80, np.uint8)
        small = cv2.resize(image, (round(w * scale), round(h * scale)), interpolation=cv2.INTER_AREA)
        tile[: small.shape[0], : small.shape[1]] = small
        tiles.append(tile)
    print(f"{1000 * spent / options.forms:.1f} ms of one core a form")
    tiles += [np.zeros_like(tiles[0])] * (-len(tiles) % options.across)
    rows = [np.concatenate(tiles[i : i + options.across], 1) for i in range(0, len(tiles), options.across)]
    cv2.imwrite(str(options.out), cv2.cvtColor(np.concatenate(rows), cv2.COLOR_RGB2BGR))


if __name__ == "__main__":
    main()
