"""Draw photos of filled-in slips of pads that formread's authors had not seen, with their truth.

    python -m tests.measure.fresh SET FOLDER --photos N [--first K] [--pads FOLDER] [--pile PAD ...]
                                  [--mnist FOLDER --writers FILE.npz]

Then `python -m formread check FOLDER --json R` and `python -m tests.measure.compare R FOLDER/truth.json` measure
the whole path, and `python -m tests.measure.layout --photos FOLDER` the layouts alone.

SET is ``tune``, to develop on (its digits are of MNIST's training part), or ``blind``, ``sealed``, ``vault``, ``cellar``
or ``attic``, for measuring only (digits of MNIST's test part); all but ``blind`` are opened once each, at the end of a
session.
Photo k is the same whatever else is drawn. ``--pads`` keeps the rendered pads. With ``--pile`` each of the pads named
(``all``: every one) gets a folder of its own in FOLDER, with N photos of its slips alone: piles as sellers have them.
Without ``--mnist`` the hands are the sifted ones in ``sample_scans``; with it, all of MNIST's writers.
Kinds of photo (``capture``): ``scan``, ``easy`` and ``hard`` of the camera in ``sample_scans``, ``phone`` of
another one (`fresh_forms.snap`) that shares no code with it.
"""

import argparse
from pathlib import Path
from typing import Any
from zlib import crc32

import cv2
import numpy as np

from sample_scans.camera import TABLES, Capture, Shot, scan, shoot
from sample_scans.draw import save_jpeg, write_truth
from sample_scans.hands import Family, Mnist, Writers, make_hand
from sample_scans.orders import MISTAKES, random_habits
from sample_scans.photos import Photo, better_wide, lay_out, photo_size, random_conditions
from sample_scans.slips import FlatSlip
from tests.measure.fresh_forms.fill import Places, fill, wanted_by
from tests.measure.fresh_forms.render import SETS, rendered
from tests.measure.fresh_forms.snap import snap

FAMILY: dict[str, Family] = {
    "tune": "tune",
    "blind": "test",
    "sealed": "test",
    "vault": "test",
    "cellar": "test",
    "attic": "test",
}
SEED = {"tune": 51, "blind": 52, "sealed": 54, "vault": 56, "cellar": 57, "attic": 58}
"""53 is the seed of how photos are stored."""
Pads = dict[str, tuple[Any, Places]]


def _slip(name: str, pads: Pads, writers: Writers, family: Family, rng: np.random.Generator) -> FlatSlip:
    picture, places = pads[name]
    blank = rng.random() < 0.03
    digits = writers.digits(writers.ids[int(rng.integers(len(writers)))])
    hand = None if blank else make_hand(digits, family, rng)
    mistake = MISTAKES[int(rng.integers(len(MISTAKES)))] if rng.random() < 1 / 6 else None
    return fill(name, picture, places, hand, random_habits(rng), mistake, bool(rng.random() < 0.35), rng)


def take(number: int, pad_set: str, pads: Pads, writers: Writers) -> tuple[Shot, list[FlatSlip], str]:
    """Take photo `number` of a set; the pads come in turn, so that each is seen equally often."""
    names = sorted(pads)
    own = (
        [crc32(names[0].encode())] if len(names) == 1 else []
    )  # piles of single pads differ in more than the pad
    rng = np.random.default_rng([number, SEED[pad_set], *own])
    capture = str(rng.choice(["scan", "easy", "hard", "phone"], p=[0.12, 0.25, 0.18, 0.45]))
    first = number % len(names)
    count = 1 if capture in ("scan", "phone") else int(rng.choice([1, 2, 3], p=[0.7, 0.2, 0.1]))
    chosen = [names[first]] + [names[int(rng.integers(len(names)))] for _ in range(count - 1)]
    slips = [_slip(name, pads, writers, FAMILY[pad_set], rng) for name in chosen]
    quarter = int(rng.choice([0, 1, 2, 3], p=[0.6, 0.15, 0.1, 0.15]))
    if capture == "scan":
        return scan(slips[0], float(np.radians(rng.normal(0, 1.5))), rng), slips, capture
    if capture == "phone":
        return snap(slips[0], quarter, rng), slips, capture
    known: Capture = "hard" if capture == "hard" else "easy"
    turns = [quarter * np.pi / 2 for _ in slips]
    wide = better_wide(slips, turns)
    laid = lay_out(slips, known, wide, turns, rng)
    conditions = random_conditions(known, count, rng)
    table = TABLES[int(rng.integers(len(TABLES)))]
    return shoot(photo_size(slips, wide, rng), laid, table, conditions, rng), slips, capture


def draw(pad_set: str, folder: Path, numbers: range, pads: Pads, mnist: Mnist | None) -> None:
    """Draw these photos and their truth into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    writers = Writers(FAMILY[pad_set], mnist)
    entries: list[dict[str, Any]] = []
    photos = []
    for number in numbers:
        shot, slips, capture = take(number, pad_set, pads, writers)
        name = f"PAD_{number:04d}.jpg"
        rng = np.random.default_rng([number, 53])
        save_jpeg(shot.image, folder / name, int(rng.integers(70, 94)), 1)
        for entry, slip in zip(Photo(shot, tuple(slips), "easy").truth(name), slips, strict=True):
            roles = list(wanted_by(pads[slip.design.name][1]).roles)
            if "unit_price" not in roles:  # a price that is not on the slip is no truth about it
                entry["lines"] = [line | {"unit_price": None} for line in entry["lines"]]
            entries.append(entry | {"capture": capture, "columns": roles})
        photos.append(name)
    write_truth(entries, photos, folder / "truth.json", f"Invented slips on fresh pads, set {pad_set}.")


def main() -> None:
    """Draw."""
    parser = argparse.ArgumentParser(description="Draw photos of filled-in slips of fresh pads.")
    parser.add_argument("pad_set", metavar="SET", choices=SETS)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--photos", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="number of the first photo")
    parser.add_argument("--pile", nargs="+", metavar="PAD", help="a folder of photos for each of these pads")
    parser.add_argument("--pads", type=Path, help="where rendered pads are kept (default: FOLDER-pads)")
    parser.add_argument("--mnist", type=Path, help="folder of the MNIST idx files: all writers, unsifted")
    parser.add_argument("--writers", type=Path, help="npz with the writer of each MNIST picture")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    mnist = None
    if options.mnist:
        mnist = Mnist(options.mnist, options.writers or options.mnist / "mnist_writers.npz")
    pads = rendered(options.pad_set, options.pads or options.folder.with_name(f"{options.folder.name}-pads"))
    numbers = range(options.first, options.first + options.photos)
    if not options.pile:
        draw(options.pad_set, options.folder, numbers, pads, mnist)
    for name in pads if options.pile == ["all"] else options.pile or ():
        draw(options.pad_set, options.folder / name, numbers, {name: pads[name]}, mnist)


if __name__ == "__main__":
    main()
