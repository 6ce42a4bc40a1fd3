"""Photos at random: which slips, how they lie, on what, in what light; and their truth."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sample_scans.camera import (
    SKINS,
    TABLES,
    Bend,
    Capture,
    Conditions,
    Laid,
    Shot,
    Table,
    Thumb,
    scan,
    shoot,
)
from sample_scans.forms import Design, random_design
from sample_scans.hands import Family, Mnist, Writers
from sample_scans.slips import Box, FlatSlip, any_slip, slip_truth

GAP = 7.0
"""Millimetres left between slips that are laid side by side."""
OVERLAPPING = 0.25
"""Share of hard photos whose slips lie so close that some overlap by a few millimetres."""
CUT_OFF = 0.08
"""Share of hard photos whose frame cuts a little off."""
HELD = 0.12
"""Share of hard photos in which a thumb holds a slip down; it covers the margin, not the boxes."""
CROWDED = (-5.0, 1.5)
"""Millimetres between neighbours in a crowded photo; below nothing they overlap."""
PHOTO_SCALE = 9.5
"""Pixels per millimetre at which slips are drawn that a camera will look at."""


@dataclass(frozen=True, eq=False, slots=True)
class Photo:
    """One upright photo with its slips, lowest first, and how it was taken."""

    shot: Shot
    slips: tuple[FlatSlip, ...]
    capture: Capture

    def truth(self, name: str, page: int = 1) -> list[dict[str, Any]]:
        """The slips' entries of ``truth.json``."""
        entries = []
        for slip, outline, to_photo in zip(self.slips, self.shot.outlines, self.shot.to_photo, strict=True):
            boxes = tuple(
                Box(
                    box.role,
                    box.row,
                    box.text,
                    box.value,
                    box.struck_out,
                    box.corrected_from,
                    to_photo(box.quad / slip.scale),
                    None if box.pence_quad is None else to_photo(box.pence_quad / slip.scale),
                )
                for box in slip.boxes
            )
            entries.append(
                {"photo": name, "page": page} | slip_truth(slip, outline, boxes) | {"capture": self.capture}
            )
        return entries


def random_conditions(capture: Capture, slips: int, rng: np.random.Generator) -> Conditions:
    """Draw light, lens and hand for an easy or a hard photo."""
    hard = capture == "hard"
    warm = float(rng.normal(0, 0.05 if hard else 0.025))
    bright = float(rng.uniform(0.8, 1.0) if hard else rng.uniform(0.88, 1.02))
    return Conditions(
        tilt=float(np.radians(rng.uniform(10, 28) if hard else rng.uniform(0, 11))),
        tilt_direction=float(rng.uniform(0, 2 * np.pi)),
        blur=float(rng.uniform(0.7, 1.25) if hard else rng.uniform(0.4, 0.8)) * (0.8 if slips > 1 else 1.0),
        motion=float(rng.uniform(0, 1.6)) if hard and slips == 1 else 0.0,
        noise=float(rng.uniform(3, 7) if hard else rng.uniform(1.2, 3)),
        gain=(bright * (1 + warm), bright, bright * (1 - 1.3 * warm)),
        gradient=float(rng.uniform(0.2, 0.42) if hard else rng.uniform(0.02, 0.2)),
        gradient_direction=float(rng.uniform(0, 2 * np.pi)),
        vignette=float(rng.uniform(0.05, 0.3)),
        shadow=float(rng.uniform(0.22, 0.4)) if rng.random() < (0.6 if hard else 0.12) else 0.0,
        focal=float(rng.uniform(0.7, 0.95)),
        fill=float(rng.uniform(0.72, 0.94) if slips == 1 else rng.uniform(0.88, 0.97)),
    )


def random_bend(capture: Capture, rng: np.random.Generator) -> Bend:
    """Draw how one slip is bent."""
    hard = capture == "hard"
    most = 0.2 if hard else 0.07
    direction = float(rng.choice([0.0, np.pi / 2]) + rng.normal(0, 0.25))
    fold = float(rng.uniform(-0.16, 0.16)) if rng.random() < (0.3 if hard else 0.08) else 0.0
    return Bend(
        direction=direction,
        curl=float(rng.uniform(-most, most)),
        wave=float(rng.uniform(-most, most)) * 0.5,
        fold=fold,
        crease=float(rng.uniform(-0.4, 0.4)),
    )


def lay_out(
    slips: Sequence[FlatSlip],
    capture: Capture,
    wide: bool,
    turns: Sequence[float],
    rng: np.random.Generator,
    gap: float = GAP,
) -> list[Laid]:
    """Lay slips side by side, `gap` mm apart, each turned by about its own quarter turns (radians)."""
    tilt = 0.12 if capture == "hard" else 0.05
    angles = [turn + float(rng.normal(0, tilt)) for turn in turns]
    if not slips:
        return []
    places = _best_shelves(_boxes_around(slips, angles), wide, gap)[1]
    laid = []
    for slip, angle, (x, y) in zip(slips, angles, places, strict=True):
        jitter = rng.normal(0, 2.0, 2)
        laid.append(Laid(slip, x + float(jitter[0]), y + float(jitter[1]), angle, random_bend(capture, rng)))
    return laid


def better_wide(slips: Sequence[FlatSlip], turns: Sequence[float]) -> bool:
    """Whether these slips fill a photo better that is wider than high."""
    if not slips:
        return True
    sizes = _boxes_around(slips, turns)
    return _best_shelves(sizes, True, GAP)[0] <= _best_shelves(sizes, False, GAP)[0]


def _boxes_around(slips: Sequence[FlatSlip], angles: Sequence[float]) -> list[tuple[float, float]]:
    """Width and height on the table of each slip as it lies turned."""
    sizes = []
    for slip, angle in zip(slips, angles, strict=True):
        w, h = slip.design.width, slip.design.height
        c, s = abs(float(np.cos(angle))), abs(float(np.sin(angle)))
        sizes.append((w * c + h * s, w * s + h * c))
    return sizes


def _best_shelves(
    sizes: Sequence[tuple[float, float]], wide: bool, gap: float
) -> tuple[float, tuple[tuple[float, float], ...]]:
    """Try every number of columns; returns how large the photo must be, and the boxes' middles."""
    shape = (4, 3) if wide else (3, 4)
    tried = [_shelves(sizes, columns, gap) for columns in range(1, len(sizes) + 1)]
    need = [max(w / shape[0], h / shape[1]) for w, h, _ in tried]
    best = int(np.argmin(need))
    return need[best], tried[best][2]


def _shelves(
    sizes: Sequence[tuple[float, float]], columns: int, gap: float
) -> tuple[float, float, tuple[tuple[float, float], ...]]:
    """Put boxes in rows of `columns`; returns the whole's width and height and the boxes' middles."""
    places: list[tuple[float, float]] = []
    top = widest = 0.0
    for start in range(0, len(sizes), columns):
        row = sizes[start : start + columns]
        x = 0.0
        tall = max(h for _, h in row)
        for w, _ in row:
            places.append((x + w / 2, top + tall / 2))
            x += w + gap
        widest = max(widest, x - gap)
        top += tall + gap
    return widest, top - gap, tuple(places)


def photo_size(slips: Sequence[FlatSlip], wide: bool, rng: np.random.Generator) -> tuple[int, int]:
    """Choose a photo's size: enough pixels for what is on it, as a phone set to "medium" gives."""
    area = sum(s.design.width * s.design.height for s in slips) or 20000.0
    side = int(np.clip(np.sqrt(area) * 1.5 * rng.uniform(8.0, 10.0), 2000, 3700)) // 8 * 8
    short = int(side * 0.75) // 8 * 8
    return (side, short) if wide else (short, side)


def random_photo(seed: int, family: Family, mnist: Mnist | None) -> Photo:
    """Draw one photo of a set for measurements: 0 to 4 slips of designs of this family."""
    rng = np.random.default_rng([seed, {"tune": 21, "test": 22}[family]])
    kind = rng.choice(["scan", "easy", "hard"], p=[0.2, 0.45, 0.35])
    capture: Capture = "scan" if kind == "scan" else "easy" if kind == "easy" else "hard"
    count = 1 if capture == "scan" else int(rng.choice([0, 1, 2, 3, 4], p=[0.03, 0.52, 0.2, 0.12, 0.13]))
    scale = 300 / 25.4 if capture == "scan" else PHOTO_SCALE
    writers = Writers(family, mnist)
    pad_seed = int(rng.integers(1 << 30))
    slips = []
    for i in range(count):
        own = pad_seed if rng.random() < 0.5 else int(rng.integers(1 << 30))
        design: Design = random_design(own if i else pad_seed, family)
        digits = writers.digits(writers.ids[int(rng.integers(len(writers)))])
        slips.append(any_slip(design, digits, family, rng, scale, blank=bool(rng.random() < 0.05)))
    if capture == "scan":
        return Photo(scan(slips[0], float(np.radians(rng.normal(0, 1.2))), rng), tuple(slips), capture)
    quarter = int(rng.choice([0, 1, 2, 3], p=[0.55, 0.15, 0.15, 0.15]))
    same = rng.random() < 0.6
    turns = [(quarter if same else int(rng.integers(4))) * np.pi / 2 for _ in slips]
    wide = better_wide(slips, turns) != (rng.random() < 0.1)
    close = capture == "hard" and rng.random() < OVERLAPPING
    laid = lay_out(slips, capture, wide, turns, rng, float(rng.uniform(-5, 1)) if close else GAP)
    table: Table = TABLES[int(rng.integers(len(TABLES)))]
    conditions = random_conditions(capture, count, rng)
    thumb = None
    if capture == "hard" and rng.random() < CUT_OFF:
        conditions = replace(conditions, fill=float(rng.uniform(1.0, 1.05)))
    elif capture == "hard" and slips and rng.random() < HELD:
        reach = slips[-1].design.margin + float(rng.uniform(-1, 1))
        skin = SKINS[int(rng.integers(len(SKINS)))]
        thumb = Thumb(int(rng.integers(4)), float(rng.uniform(0.1, 0.9)), reach, skin)
    shot = shoot(photo_size(slips, wide, rng), laid, table, conditions, rng, thumb)
    return Photo(shot, tuple(slips), capture)


def crowded_photo(seed: int, family: Family, mnist: Mnist | None) -> Photo:
    """Draw one photo of 2 to 6 slips that lie edge to edge in a column, a row or a block, or overlap a little."""
    rng = np.random.default_rng([seed, {"tune": 23, "test": 24}[family]])
    capture: Capture = "hard" if rng.random() < 0.5 else "easy"
    count = int(rng.choice([2, 3, 4, 6], p=[0.5, 0.17, 0.17, 0.16]))
    writers = Writers(family, mnist)
    pad_seed, one_pad = int(rng.integers(1 << 30)), rng.random() < 0.75
    slips = []
    for _ in range(count):
        design = random_design(pad_seed if one_pad else int(rng.integers(1 << 30)), family)
        digits = writers.digits(writers.ids[int(rng.integers(len(writers)))])
        slips.append(any_slip(design, digits, family, rng, PHOTO_SCALE, blank=bool(rng.random() < 0.05)))
    quarter, same = int(rng.choice([0, 1, 2, 3], p=[0.55, 0.15, 0.15, 0.15])), rng.random() < 0.8
    turns = [(quarter if same else int(rng.integers(4))) * np.pi / 2 for _ in slips]
    sizes = _boxes_around(slips, turns)
    gap, lean = float(rng.uniform(*CROWDED)), float(rng.choice([0.0, 0.01, 0.03]))
    columns = int(rng.choice([1, count])) if count < 4 else 2
    width, height, places = _shelves(sizes, columns, gap)
    aside = (0.3, 2.0) if columns == 1 else (2.0, 0.3)  # neighbours slip along each other, hardly apart
    laid = [
        Laid(
            slip,
            x + float(rng.normal(0, aside[1])),
            y + float(rng.normal(0, aside[0])),
            turn + float(rng.normal(0, lean)),
            random_bend(capture if rng.random() < 0.6 else "easy", rng),
        )
        for slip, turn, (x, y) in zip(slips, turns, places, strict=True)
    ]
    table: Table = TABLES[int(rng.integers(len(TABLES)))]
    size = photo_size(slips, width > height, rng)
    shot = shoot(size, laid, table, random_conditions(capture, count, rng), rng, None)
    return Photo(shot, tuple(slips), capture)
