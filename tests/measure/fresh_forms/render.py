"""Render the pads to pictures with the place of every box, by headless Chromium.

    python -m tests.measure.fresh_forms.render SET FOLDER

SET is ``tune``, ``blind``, ``sealed``, ``vault``, ``cellar`` or ``attic``. FOLDER gets NAME.png (300 dpi, the paper's
edges are the picture's) and NAME.json: ``scale`` (pixels per millimetre), ``code`` (how codes are written), ``fields``
(lines for name and address) and ``boxes``, each with ``role``, ``row`` (from 1, null outside the table) and, in pixels
as left, top, right, bottom, ``rect`` (the whole box, pounds and pence), ``pence`` (the pence's part, where a rule
parts them), ``pound`` and ``point`` (where those are printed in the box) and ``cells`` (of a box that is parted for
single digits).
"""

import argparse
import html
import json
import re
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

HERE = Path(__file__).parent
SETS = ("tune", "blind", "sealed", "vault", "cellar", "attic")
DPI = 300
CSS_DPI = 96
"""A CSS pixel is a 96th of an inch."""
WINDOW = (1200, 1200)
"""CSS pixels; an A4 sheet fits, lengthwise or across."""

Rect = list[float]


def pads(pad_set: str) -> list[Path]:
    """The pads of one set, by name."""
    return sorted((HERE / pad_set).glob("*.html"))


def render(
    pad: Path, chromium: str = "chromium", dpi: float = DPI, page: str | None = None
) -> tuple[npt.NDArray[np.uint8], dict[str, Any]]:
    """Render one pad.

    Parameters
    ----------
    pad, chromium
        The pad's file, and the browser's name or path.
    dpi
        Pixels to the inch.
    page
        The page to show in place of what stands in the file `pad`; what it refers to is looked for beside `pad`.

    Returns
    -------
    picture, places
        (H, W, 3) uint8 RGB and what the module's docstring lists.

    Raises
    ------
    RuntimeError
        When the browser gives no picture or a box sticks out of the paper.
    """
    factor = dpi / CSS_DPI
    with tempfile.TemporaryDirectory() as folder:
        shown = pad
        if page is not None:
            shown = Path(folder) / pad.name
            base = f'<base href="{pad.as_uri()}">'
            shown.write_text(
                re.sub("<meta charset[^>]*>", lambda m: m[0] + base, page, count=1), encoding="utf-8"
            )
        shot = Path(folder) / "pad.png"
        done = subprocess.run(
            [
                chromium, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
                "--allow-file-access-from-files", f"--user-data-dir={folder}/profile",
                f"--window-size={WINDOW[0]},{WINDOW[1]}", f"--force-device-scale-factor={factor}",
                "--virtual-time-budget=4000", f"--screenshot={shot}", "--dump-dom", shown.as_uri(),
            ],
            capture_output=True, text=True, timeout=90, check=False,
        )  # fmt: skip
        picture = cv2.imread(str(shot)) if shot.exists() else None
    found = re.search(r'<script type="application/json" id="places">(.*?)</script>', done.stdout, re.S)
    if picture is None or found is None:
        raise RuntimeError(f"{pad} was not rendered: {done.stderr[-300:]}")
    places = json.loads(html.unescape(found[1]))
    _, _, width, height = places.pop("main")
    size = round(width * factor), round(height * factor)
    for field in places["fields"]:
        field["rect"] = _pixels(field["rect"], factor)
    for box in places["boxes"]:
        for key in ("rect", "pence", "pound", "point"):
            box[key] = _pixels(box[key], factor)
        box["cells"] = [_pixels(cell, factor) for cell in box["cells"]]
        if box["pence"]:
            box["rect"] = [*box["rect"][:2], *box["pence"][2:]]
        if not (
            0 <= box["rect"][0] < box["rect"][2] <= size[0]
            and 0 <= box["rect"][1] < box["rect"][3] <= size[1]
        ):
            raise RuntimeError(f"{pad}: the box {box['role']} of row {box['row']} is not on the paper")
    picture = cv2.cvtColor(picture[: size[1], : size[0]], cv2.COLOR_BGR2RGB)
    return np.asarray(picture, np.uint8), {"scale": dpi / 25.4, **places}


def _pixels(rect: Rect | None, factor: float) -> Rect | None:
    return None if rect is None else [round(factor * place, 2) for place in rect]


def rendered(pad_set: str, folder: Path) -> dict[str, tuple[npt.NDArray[np.uint8], dict[str, Any]]]:
    """The pads of one set from `folder`, rendered now where they are not there yet."""
    folder.mkdir(parents=True, exist_ok=True)
    all_pads = {}
    for pad in pads(pad_set):
        picture_file, places_file = folder / f"{pad.stem}.png", folder / f"{pad.stem}.json"
        if not places_file.exists():
            picture, places = render(pad)
            cv2.imwrite(str(picture_file), cv2.cvtColor(picture, cv2.COLOR_RGB2BGR))
            places_file.write_text(json.dumps(places), encoding="utf-8")
        stored = cv2.imread(str(picture_file))
        if stored is None:
            raise RuntimeError(f"{picture_file} can't be read. Delete {places_file} and start again.")
        picture = np.asarray(cv2.cvtColor(stored, cv2.COLOR_BGR2RGB), np.uint8)
        all_pads[pad.stem] = picture, json.loads(places_file.read_text(encoding="utf-8"))
    return all_pads


def main() -> None:
    """Render one set."""
    parser = argparse.ArgumentParser(description="Render order pads with the place of every box.")
    parser.add_argument("pad_set", metavar="SET", choices=SETS)
    parser.add_argument("folder", type=Path)
    options = parser.parse_args()
    for name, (picture, places) in rendered(options.pad_set, options.folder).items():
        height, width = picture.shape[:2]
        print(f"{name}: {width} x {height} pixels, {len(places['boxes'])} boxes")


if __name__ == "__main__":
    main()
