"""Filled slips of the pads that formread is developed on, photographed anew each time they are seen.

Drawn forms vary without end but were all drawn by one program; these were designed one by one: the ``tune`` designs
of ``sample_scans``, and the ``tune`` pads that a browser rendered (``tests.measure.fresh_forms``) with their variants
(``models.layouts.variants``). Their truth names boxes only, so the rest of the picture counts as "no box", whatever
it is.
"""

import json
import re
from collections.abc import Collection
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from models.forms import Drawn, Place, camera
from models.forms.paper import Rect

_LONG = 1180  # pixels: a little finer than the network sees
_RIM = 40
_KINDS = {"other total": "other_total", "items": "other_total"}
_NOT = ("serial", "customer")
VARIANT = re.compile(r"-v\d+$")
"""What ``models.layouts.variants`` adds to the name of a pad."""

Image = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Flat:
    """A filled slip, flat, and its boxes."""

    image: Image
    boxes: tuple[Place, ...]


def _flat(image: Image, boxes: list[dict[str, object]], money_split: bool = True) -> Flat:
    shrink = _LONG / max(image.shape[:2])
    small = cv2.resize(image, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    places = []
    for box in boxes:
        role = str(box["role"])
        row = box.get("row")
        kind = _KINDS.get(role, role if row or role != "other" else "other_total")
        if role in _NOT:
            continue
        quad = np.array(box["quad"], np.float32) * shrink
        half = box.get("pence_quad")
        number = int(row) if isinstance(row, int) else None
        if half is not None and money_split:
            pence = np.array(half, np.float32) * shrink
            places.append(Place(kind, pence, number, True))
            quad = np.array([quad[0], pence[0], pence[3], quad[3]], np.float32)
        places.append(Place(kind, quad, number, False))
    return Flat(np.asarray(small, np.uint8), tuple(places))


def _own(seed: int) -> Flat:
    from sample_scans.slips import flat_slip

    image, truth = flat_slip(seed, "tune")
    return _flat(image, truth["boxes"])


def _pad(job: tuple[int, str, Path]) -> Flat:
    from sample_scans.hands import Writers, make_hand
    from sample_scans.orders import random_habits
    from tests.measure.fresh_forms.fill import fill

    seed, name, folder = job
    rng = np.random.default_rng([seed, 77])
    stored = cv2.imread(str(folder / f"{name}.png"))
    if stored is None:
        raise FileNotFoundError(f"{folder / name}.png: render the pads first")
    picture = np.asarray(cv2.cvtColor(stored, cv2.COLOR_BGR2RGB), np.uint8)
    places = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    writers = Writers("tune", None)
    digits = writers.digits(writers.ids[int(rng.integers(len(writers)))])
    hand = None if rng.random() < 0.08 else make_hand(digits, "tune", rng)
    slip = fill(name, picture, places, hand, random_habits(rng), None, bool(rng.random() < 0.35), rng)
    return _flat(slip.image, slip.truth()["boxes"])


def pad_names(folder: Path, without: Collection[str]) -> list[str]:
    """Name the rendered pads in `folder` and their variants; none of a pad that `without` lists."""
    return sorted(p.stem for p in folder.glob("*.json") if VARIANT.sub("", p.stem) not in without)


def flats(
    own: int, each: int, folder: Path | None, names: list[str], workers: int, part: int = 0
) -> list[Flat]:
    """Draw `own` slips of the sample designs and `each` of every pad in `folder` that `names` lists.

    `part`: others are drawn for each part of a larger whole.
    """
    with get_context("fork").Pool(workers, cv2.setNumThreads, (1,)) as pool:
        found = pool.map(_own, range(5000 + part * own, 5000 + (part + 1) * own), chunksize=2)
        if folder is not None:
            jobs = [(k, name, folder) for k, name in enumerate(names * each, part * each * len(names))]
            found += pool.map(_pad, jobs, chunksize=2)
    return found


def photographed(flat: Flat, rng: np.random.Generator) -> Drawn:
    """Photograph a slip as :func:`models.forms.draw_form` does its own."""
    high, wide = flat.image.shape[:2]
    rim = int(rng.integers(0, 256, 1)[0])
    colour = tuple(int(v) for v in np.clip(rim + rng.integers(-30, 31, 3), 0, 255))
    canvas = cv2.copyMakeBorder(flat.image, _RIM, _RIM, _RIM, _RIM, cv2.BORDER_CONSTANT, value=colour)
    long = int(rng.integers(960, 1089))
    size = (round(high * long / max(high, wide)), round(wide * long / max(high, wide)))
    warp = camera.Warp(Rect(_RIM, _RIM, _RIM + wide, _RIM + high), size, rng)
    image = warp.render(np.asarray(canvas, np.uint8))
    if rng.random() < 0.04:
        camera.finger(image, rng)
    image = camera.develop(image, rng)
    limit = np.array([size[1], size[0]], np.float32)
    boxes = []
    for place in flat.boxes:
        corners = np.clip(warp.forward(place.corners + _RIM), 0, limit)
        if np.ptp(corners, axis=0).min() >= 4:
            boxes.append(Place(place.kind, corners, place.row, place.pence))
    return Drawn(image, tuple(boxes))
