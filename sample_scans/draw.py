"""Draw sets of photos with their truth.

``python -m sample_scans.draw --samples FOLDER`` draws the committed samples again;
``python -m sample_scans.draw --family tune --photos 20 --seed 1 --out FOLDER`` draws a set for measurements.
"""

import argparse
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from sample_scans.hands import Family, Mnist
from sample_scans.photos import Photo, crowded_photo, random_photo
from sample_scans.samples import sample_entries, sample_photos, save_pages
from sample_scans.slips import RGB

STORED_AS = {
    0: None,
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
"""How the upright picture is turned before it is stored under each EXIF orientation (Exif 2.32, tag
0x0112); 0 is no value of the standard, but occurs."""
ORIENTATION_TAG = 0x0112


def save_jpeg(image: RGB, path: Path, quality: int, orientation: int | None) -> None:
    """Store an upright picture as a camera does: turned, with the EXIF tag that says how (None: no tag)."""
    picture = Image.fromarray(image)
    exif = Image.Exif()
    turn = STORED_AS[orientation or 0]
    if turn is not None:
        picture = picture.transpose(turn)
    if orientation is not None:
        exif[ORIENTATION_TAG] = orientation
        picture.save(path, "JPEG", quality=quality, exif=exif)
    else:
        picture.save(path, "JPEG", quality=quality)


def write_truth(entries: list[dict[str, Any]], photos: list[str], path: Path, about: str) -> None:
    """Write ``truth.json``: every photo's name, and every slip's truth."""
    body = {
        "formread": "truth",
        "about": about,
        "currency": "GBP",
        "minor_unit_digits": 2,
        "photos": photos,
        "slips": entries,
        "problems": [],
    }
    path.write_text(json.dumps(body, ensure_ascii=False, separators=(",", ":")) + "\n", encoding="utf-8")


Take = Callable[[int, Family, Mnist | None], Photo]
TAKES: dict[str, Take] = {"random": random_photo, "crowded": crowded_photo}
"""Ways to take a photo: as sellers may, or with slips that lie edge to edge."""


def draw_set(
    family: str, photos: int, seed: int, out: Path, mnist: Mnist | None, take: Take = random_photo
) -> None:
    """Draw a set for measurements into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    entries: list[dict[str, Any]] = []
    names = []
    for number in range(photos):
        photo = take(seed * 100_000 + number, "tune" if family == "tune" else "test", mnist)
        rng = np.random.default_rng([seed, number, 31])
        name = f"IMG_{number:04d}.jpg"
        orientation = None if rng.random() < 0.3 else int(rng.integers(1, 9)) if rng.random() < 0.4 else 1
        save_jpeg(photo.shot.image, out / name, int(rng.integers(74, 93)), orientation)
        entries += photo.truth(name)
        names.append(name)
    write_truth(entries, names, out / "truth.json", f"Invented slips, drawn: family {family}, seed {seed}.")


QUALITY = {"easy": 82, "hard": 77, "scan": 86}
"""JPEG quality of the samples: kept low enough for the repository."""


def draw_samples(out: Path) -> None:
    """Draw the committed samples into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    entries: list[dict[str, Any]] = []
    names: list[str] = []
    pages: list[Image.Image] = []
    for plan, photo in sample_photos():
        path = out / plan.file
        image = photo.shot.image
        if path.suffix == ".pdf":
            pages.append(Image.fromarray(image))
            save_pages(pages, path)
        elif path.suffix == ".png":
            Image.fromarray(image).quantize(128, dither=Image.Dither.NONE).save(path, optimize=True)
        elif path.suffix == ".tif":
            Image.fromarray(image).convert("L").save(path, compression="tiff_lzw", dpi=(200, 200))
        else:
            save_jpeg(image, path, QUALITY[photo.capture], plan.orientation)
        entries += sample_entries(plan, photo)
        if plan.file not in names:
            names.append(plan.file)
    write_truth(entries, names, out / "truth.json", "Invented slips of invented customers and firms, drawn.")


def main(arguments: list[str] | None = None) -> None:
    """Read the command line and draw."""
    parser = argparse.ArgumentParser(
        prog="python -m sample_scans.draw", description=__doc__.splitlines()[0] if __doc__ else ""
    )
    parser.add_argument("--family", choices=["tune", "test"], help="which designs, fonts and hands")
    parser.add_argument("--take", choices=TAKES, default="random", help="crowded: slips lie edge to edge")
    parser.add_argument("--photos", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, help="folder to draw into")
    parser.add_argument("--mnist", type=Path, help="folder of the MNIST idx files: draw from all its writers")
    parser.add_argument(
        "--writers", type=Path, help="npz with the writer of each MNIST picture (default: in --mnist)"
    )
    parser.add_argument(
        "--samples", type=Path, metavar="FOLDER", help="draw the committed samples again, here"
    )
    given = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    if given.samples is not None:
        draw_samples(given.samples)
        return
    if given.out is None or given.family is None:
        parser.error("say --samples FOLDER, or --family and --out")
    mnist = None
    if given.mnist is not None:
        mnist = Mnist(given.mnist, given.writers or given.mnist / "mnist_writers.npz")
    draw_set(given.family, given.photos, given.seed, given.out, mnist, TAKES[given.take])


if __name__ == "__main__":
    main()
