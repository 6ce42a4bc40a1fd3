"""The committed samples: which photos there are, what is on them, and how each was taken.

Everything is fixed here: 54 slips on 37 photos, one slip in six wrong, every way of going wrong once.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from sample_scans.camera import Capture, Table, scan, shoot
from sample_scans.designs import DESIGNS
from sample_scans.hands import Writers, make_hand
from sample_scans.orders import MISTAKES, Habits, make_order
from sample_scans.photos import Photo, better_wide, lay_out, random_conditions
from sample_scans.slips import Copy, FlatSlip, draw_slip, wanted_by

SEED = 20412
SCAN_SCALE = 200 / 25.4
"""The scans among the samples are 200 dpi, to keep the files small."""
LARGE_SCALE = 13.0
"""Pixels per millimetre at which the slips on 12-megapixel photos are drawn."""


@dataclass(frozen=True, slots=True)
class Plan:
    """One photo: its file, its slips' designs, how it is taken.

    ``quarter`` is the quarter turns (clockwise) by which each slip lies turned in the upright photo;
    ``orientation`` is the EXIF value stored, None for no tag.
    """

    file: str
    designs: tuple[str, ...]
    capture: Capture
    table: Table = "wood"
    quarter: tuple[int, ...] = (0,)
    orientation: int | None = 1
    large: bool = False
    page: int = 1


def _one(
    file: str, design: str, capture: Capture, table: Table, quarter: int, orientation: int | None
) -> Plan:
    return Plan(file, (design,), capture, table, (quarter,), orientation)


PLANS: tuple[Plan, ...] = (
    Plan("scan_01.jpg", ("wickets",), "scan"),
    Plan("scan_02.jpg", ("jars",), "scan", orientation=None),
    Plan("scan_03.jpg", ("fells",), "scan", orientation=None),
    Plan("scan_04.jpg", ("dibber",), "scan", quarter=(2,), orientation=None),
    Plan("scan_05.png", ("bean",), "scan"),
    Plan("scan_06.tif", ("penny",), "scan"),
    Plan("scan_07.pdf", ("sorrel",), "scan", page=1),
    Plan("scan_07.pdf", ("wools",), "scan", page=2),
    _one("IMG_0401.jpg", "wickets", "easy", "wood", 0, 1),
    _one("IMG_0402.jpg", "bean", "easy", "check", 0, 6),
    _one("IMG_0403.jpg", "jars", "easy", "dark", 0, 3),
    _one("IMG_0404.jpg", "wools", "easy", "carpet", 1, None),
    _one("IMG_0405.jpg", "dibber", "easy", "white", 0, 8),
    _one("IMG_0406.jpg", "fells", "easy", "stone", 2, 1),
    _one("IMG_0407.jpg", "penny", "easy", "cloth", 0, 2),
    _one("IMG_0408.jpg", "sorrel", "easy", "dark wood", 3, None),
    Plan("IMG_0409.jpg", ("wickets",), "easy", "dark", (0,), 6, large=True),
    _one("IMG_0410.jpg", "dibber", "easy", "check", 2, None),
    _one("IMG_0411.jpg", "wools", "hard", "wood", 0, 5),
    _one("IMG_0412.jpg", "sorrel", "hard", "white", 0, 1),
    _one("IMG_0413.jpg", "bean", "hard", "carpet", 1, 7),
    _one("IMG_0414.jpg", "fells", "hard", "check", 0, 4),
    _one("IMG_0415.jpg", "wickets", "hard", "cloth", 3, 1),
    _one("IMG_0416.jpg", "jars", "hard", "stone", 0, 0),
    Plan("IMG_0417.jpg", ("penny",), "hard", "dark wood", (2,), 6, large=True),
    _one("IMG_0418.jpg", "dibber", "hard", "wood", 0, None),
    Plan("IMG_0419.jpg", ("wickets", "wickets"), "easy", "dark wood", (0, 0), 1),
    Plan("IMG_0420.jpg", ("jars", "jars"), "easy", "wood", (0, 0), 8),
    Plan("IMG_0421.jpg", ("bean", "penny"), "easy", "white", (0, 1), None),
    Plan("IMG_0422.jpg", ("dibber", "dibber"), "hard", "check", (0, 2), 6),
    Plan("IMG_0423.jpg", ("wools", "sorrel"), "easy", "cloth", (1, 1), 1),
    Plan("IMG_0424.jpg", ("penny", "penny"), "hard", "carpet", (0, 0), 3),
    Plan("IMG_0425.jpg", ("fells", "bean"), "easy", "dark", (0, 3), None),
    Plan("IMG_0426.jpg", ("dibber", "dibber", "bean"), "easy", "stone", (0, 0, 0), 6),
    Plan("IMG_0427.jpg", ("jars", "jars", "penny"), "hard", "wood", (0, 2, 0), 1),
    Plan("IMG_0428.jpg", ("bean", "bean", "bean", "bean"), "easy", "check", (0, 0, 2, 0), 1),
    Plan("IMG_0429.jpg", ("penny", "bean", "dibber", "penny"), "easy", "carpet", (0, 1, 0, 2), 8),
    Plan("IMG_0430.jpg", (), "easy", "check", (), 1),
)

WRONG_SLIPS = {4: "carry", 10: "product", 16: "swap", 21: "left_out", 27: "decimal", 32: "digit", 38: "twice"}
"""Slips (by their place in the set, from 0) whose customers went wrong, and how; the two ways that need a
charge or a discount stand on the designs that have one."""
WRONG_CHARGES = {0: "charge_forgotten", 28: "discount_added"}
BLANK_SLIPS = (36, 52)
HABITS: dict[int, Habits] = {
    1: Habits(whole="-", first_price="whole pounds"),
    2: Habits(small=".", first_price="pence"),
    5: Habits(joint="-", small="p", first_price="pence"),
    7: Habits(correct=1, blank_ones=True),
    8: Habits(pound_sign=True),
    9: Habits(whole="", pound_sign=True, first_price="whole pounds"),
    11: Habits(joint="-", whole="-", first_price="whole pounds"),
    12: Habits(strike=True),
    13: Habits(ditto=True),
    14: Habits(no_total=True),
    15: Habits(blank_totals=True),
    17: Habits(small="p", first_price="pence"),
    19: Habits(correct=1),
    22: Habits(small=".", whole="-", first_price="pence"),
    24: Habits(times_sign="x after"),
    25: Habits(strike=True, joint="-"),
    30: Habits(blank_ones=True, pound_sign=True),
    33: Habits(ditto=True, correct=1),
    35: Habits(blank_totals=True, small="p", first_price="pence"),
    40: Habits(joint="-"),
    42: Habits(correct=2),
    44: Habits(no_total=True, small=".", first_price="pence"),
    46: Habits(strike=True, ditto=True),
    48: Habits(times_sign="x before", pound_sign=True),
    50: Habits(whole="", small=".", first_price="whole pounds"),
}
"""Customers with ways of their own, by the slip's place; the others write 4.99 and 0.99."""
FILLED = (5, 3, 4, 7, 6, 2, 8, 4, 5, 6, 3, 10, 4, 7, 5)
"""Rows filled in, in turn."""


def make_slip(place: int, design_name: str, scale: float) -> FlatSlip:
    """Draw the slip at this place in the set."""
    rng = np.random.default_rng([SEED, place])
    design = DESIGNS[design_name]
    copy: Copy = "carbon" if place % 3 == 1 else "top"
    if place in BLANK_SLIPS:
        return draw_slip(design, None, None, copy, rng, scale)
    writers = Writers("test")
    digits = writers.digits(writers.ids[place % len(writers)])
    mistake = WRONG_SLIPS.get(place) or WRONG_CHARGES.get(place)
    habits = HABITS.get(place, Habits())
    if mistake:
        habits = replace(habits, no_total=False, blank_totals=False)
    order = make_order(wanted_by(design), rng, habits, mistake, FILLED[place % len(FILLED)])
    return draw_slip(design, order, make_hand(digits, "test", rng), copy, rng, scale)


def _take(plan: Plan, number: int, first: int) -> Photo:
    """Take one photo; `first` is the place of its first slip in the set."""
    rng = np.random.default_rng([SEED, 7000 + number])
    scale = SCAN_SCALE if plan.capture == "scan" else LARGE_SCALE if plan.large else 9.5
    slips = tuple(make_slip(first + i, name, scale) for i, name in enumerate(plan.designs))
    if plan.capture == "scan":
        skew = float(np.radians(rng.normal(0, 1.0))) + plan.quarter[0] * np.pi / 2
        return Photo(scan(slips[0], skew, rng), slips, plan.capture)
    turns = [quarter * np.pi / 2 for quarter in plan.quarter]
    wide = better_wide(slips, turns)
    laid = lay_out(slips, plan.capture, wide, turns, rng)
    conditions = random_conditions(plan.capture, len(slips), rng)
    long, short = (4000, 3000) if plan.large else (2304, 1728) if len(slips) < 2 else (3072, 2304)
    shot = shoot((long, short) if wide else (short, long), laid, plan.table, conditions, rng)
    return Photo(shot, slips, plan.capture)


def sample_photos() -> Iterator[tuple[Plan, Photo]]:
    """Take all the samples' photos in turn."""
    first = 0
    for number, plan in enumerate(PLANS):
        yield plan, _take(plan, number, first)
        first += len(plan.designs)


def save_pages(pages: list[Image.Image], path: Path) -> None:
    """Store scans as the pages of one PDF."""
    pages[0].save(
        path,
        "PDF",
        resolution=200.0,
        save_all=True,
        append_images=pages[1:],
        quality=80,
        creationDate=None,
        modDate=None,
    )


def sample_entries(plan: Plan, photo: Photo) -> list[dict[str, Any]]:
    """The truth of one of the samples' photos."""
    return photo.truth(plan.file, plan.page)


assert set(WRONG_SLIPS.values()) | set(WRONG_CHARGES.values()) == set(MISTAKES)
