"""Right grids and right roles, on flat drawn slips and on whole photos, each share with its interval.

    python -m tests.measure.layout --flat test --seeds 0 100     slips drawn flat, no camera
    python -m tests.measure.layout --photos FOLDER               photos with a truth.json beside them
    python -m tests.measure.layout --pile FOLDER                 both, as the slips of a pile settle them together
    python -m tests.measure.layout --second FOLDER               what a pad's later slips cost and how right they are

A grid is right when the numbers of rows, of columns and of totals boxes are the truth's, pounds and pence are
split where they are in truth, and no corner of any box is further than GRID_OFF from its place. Roles are
right when every column and every totals box has its true role. "Columns that are read" leaves out those for colours,
initials or the office, which are never read and of which pads' authors do not agree that they are columns. Slips that
were not found count as wrong.
`--pile` and `--second` take a pile, or a folder of piles. `--second` reads each pile twice, with the designs that its first
photos teach and the full way: seconds of this process that a layout takes, the look at the sheet included, and what
differs. `--list` names each miss, or each difference. Intervals are Wilson's, 95 %.
"""

import argparse
import json
import statistics
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any, Final

import cv2
import numpy as np

from formread.layout import propose_layouts
from formread.layout.design import SlipDesign
from formread.layout.record import Box, Layout, LayoutSearch, Rectangle
from formread.photo import read_photo
from formread.pile.codes import with_codes
from formread.pile.learned import FIRST, designs_of, taught_by
from formread.pile.photo import laid_out, read_slip
from formread.pile.pool import pool_codes, pool_layouts
from formread.pile.record import ReadSlip
from formread.pile.roles import settle_roles
from formread.record import Reading
from formread.sheet.record import Points, Sheet
from formread.sheet.search import find_sheets
from sample_scans.slips import SCAN_SCALE, flat_slip
from tests.measure.compare import Share

GRID_OFF: Final = 2.0
"""Millimetres: a box this far out still holds its writing; unruled columns have no sharper truth."""
CORNER_OFF: Final = 0.7
"""Millimetres, the aim for corners."""
LONG_SIDE: Final = 210.0
"""Millimetres: A5 and a third of A4 are so long; a smaller slip is measured more strictly."""
LEAST_OVERLAP: Final = 0.5
READ: Final = ("quantity", "unit_price", "line_total", "code")
TRUE_ROLE: Final = {"other total": "other"}

Record = dict[str, Any]
Place = Callable[[Points], Points]


@dataclass(frozen=True, slots=True)
class Result:
    """One slip: which groups it belongs to, and what was right."""

    name: str
    groups: tuple[str, ...]
    grid: bool
    roles: bool
    read: bool
    """The roles without the columns that nobody reads: colours, initials, what the office fills in."""
    among: bool
    serial: bool
    corners: tuple[float, ...]
    why: str


def _corners(box: Rectangle) -> Points:
    left, top, right, bottom = box.left, box.top, box.right, box.bottom
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float64)


def _off(box: Box, true: Record, place: Place, unit: float) -> float:
    """Return how far the worst corner of a box is out, in millimetres; infinite if its halves are wrong."""
    half = true.get("pence_quad")
    if (box.pence is None) != (half is None):
        return float("inf")
    whole, pence = box.rectangle, box.pence
    if pence is not None:
        whole = Rectangle(whole.left, whole.top, pence.right, pence.bottom)
    worst = float(np.linalg.norm(place(_corners(whole)) - np.array(true["quad"]), axis=1).max())
    if pence is not None and half is not None:
        worst = max(worst, float(np.linalg.norm(place(_corners(pence)) - np.array(half), axis=1).max()))
    return worst / unit


def _true_role(box: Record) -> str:
    return str(TRUE_ROLE.get(box["role"], box["role"]))


def _judge(
    search: LayoutSearch, slip: Record, place: Place, unit: float, name: str, groups: tuple[str, ...]
) -> Result:
    if not search:
        return Result(name, groups, False, False, False, False, False, (), "no table")
    layout = search.layouts[0]
    table, totals = _truth(slip)
    why, corners = _grid(layout, table, totals, place, unit)
    grid = not why
    roles = _told(layout, slip, unread=True)
    serial = layout.serial_text == slip["slip_number"]
    if not roles:
        why.append(f"roles {[c.role for c in layout.columns]}, {[t.role for t in layout.totals]}")
    among = any(_told(proposal, slip, unread=True) for proposal in search.layouts)
    return Result(
        name, groups, grid, roles, _told(layout, slip, unread=False), among, serial, corners, "; ".join(why)
    )


def _truth(slip: Record) -> tuple[list[list[Record]], list[Record]]:
    """Return the true boxes of the table, row by row, and those of the totals."""
    rows: dict[int, list[Record]] = defaultdict(list)
    totals = []
    for box in slip["boxes"]:
        if box["row"]:
            rows[box["row"]].append(box)
        elif box["role"] not in ("serial", "customer", "other"):  # "other" here: a count of pieces, no money
            totals.append(box)
    return [rows[k] for k in sorted(rows)], totals


def _told(layout: Layout, slip: Record, *, unread: bool) -> bool:
    """Say whether every role is right; `unread`: also which columns are there that nobody reads."""
    table, totals = _truth(slip)
    columns = [column.role for column in layout.columns if unread or column.role != "other"]
    true_columns = [str(box["role"]) for box in table[0] if unread or box["role"] != "other"]
    return columns == true_columns and [total.role for total in layout.totals] == [
        _true_role(box) for box in totals
    ]


def _grid(
    layout: Layout, table: Sequence[Sequence[Record]], totals: Sequence[Record], place: Place, unit: float
) -> tuple[list[str], tuple[float, ...]]:
    """Say what is wrong with a grid, and how far the worst corner of each of its boxes is out, in millimetres."""
    why = []
    pairs: list[tuple[Box, Record]] = []
    if len(table) != len(layout.rows):
        why.append(f"{len(layout.rows)} rows for {len(table)}")
    elif len(layout.columns) != len(table[0]):
        why.append(f"{len(layout.columns)} columns for {len(table[0])}")
    else:
        for row, true_row in zip(layout.rows, table, strict=True):
            pairs += [(box, true) for (_, box), true in zip(row.boxes, true_row, strict=True)]
    if len(totals) != len(layout.totals):
        why.append(f"{len(layout.totals)} totals for {len(totals)}")
    else:
        pairs += [(total.box, box) for total, box in zip(layout.totals, totals, strict=True)]
    corners = tuple(_off(box, box_there, place, unit) for box, box_there in pairs)
    if any(off > GRID_OFF for off in corners):
        why.append(f"a corner {max(corners):.1f} mm out")
    return why, corners


def flat_results(family: str, seeds: Sequence[int]) -> Iterator[Result]:
    """Measure on slips drawn flat."""
    for seed in seeds:
        image, slip = flat_slip(seed, "tune" if family == "tune" else "test")
        height, width = image.shape[:2]
        outline = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
        search = propose_layouts(Sheet(image, outline, np.asarray))
        groups = (f"flat, {family}", slip["copy"])
        yield _judge(search, slip, np.asarray, SCAN_SCALE, f"{family} {seed}", groups)


def _overlap(a: Points, b: Points) -> float:
    """Return intersection over union of two convex outlines."""
    first, second = (q.astype(np.float32) for q in (a, b))
    common, _ = cv2.intersectConvexConvex(first, second)
    union = cv2.contourArea(first) + cv2.contourArea(second) - common
    return float(common / union) if union > 0 else 0.0


def photo_results(folder: Path) -> Iterator[Result]:
    """Measure on photos: find the sheets, lay each out, compare in pixels of the photo."""
    for (photo, page), slips in sorted(_by_page(folder).items()):
        image = list(read_photo(folder / photo))[page - 1].image
        laid = laid_out(find_sheets(image).sheets)
        for slip in slips:
            name, groups = _named(slip)
            best = _shown(slip, [sheet for sheet, _ in laid])
            if best is None:
                yield Result(name, groups, False, False, False, False, False, (), "slip not found")
                continue
            search = next(search for sheet, search in laid if sheet is best)
            yield _judge(search, slip, best.to_photo, _unit(slip), name, groups)


def _by_page(folder: Path) -> dict[tuple[str, int], list[Record]]:
    """Return the true slips of each page of each photo."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    by_page: dict[tuple[str, int], list[Record]] = defaultdict(list)
    for slip in truth["slips"]:
        by_page[slip["photo"], slip["page"] or 1].append(slip)
    return by_page


def _named(slip: Record) -> tuple[str, tuple[str, ...]]:
    name = f"{slip['photo']} page {slip['page'] or 1} {slip['design']}"
    return name, (slip.get("capture", "photo"), slip["copy"])


def _shown(slip: Record, sheets: Sequence[Sheet]) -> Sheet | None:
    """Return the sheet that shows a slip."""
    outline = np.array(slip["outline"], np.float64)
    best = max(sheets, key=lambda sheet: _overlap(sheet.outline, outline), default=None)
    return best if best is not None and _overlap(best.outline, outline) >= LEAST_OVERLAP else None


def _unit(slip: Record) -> float:
    """Return how many pixels of the photo a millimetre is."""
    outline = np.array(slip["outline"], np.float64)
    sides = np.linalg.norm(outline - np.roll(outline, -1, axis=0), axis=1)
    return float(max(sides[0] + sides[2], sides[1] + sides[3])) / 2 / LONG_SIDE


def pile_results(folder: Path) -> Iterator[tuple[Result, Result]]:
    """Measure on the photos of one pile: each slip by itself, and after the pile's slips have agreed."""
    by_page = _by_page(folder)
    found: list[tuple[Record, Sheet | None, int]] = []
    alone: list[ReadSlip] = []
    for (photo, page), slips in sorted(by_page.items()):
        read: dict[int, tuple[Sheet, int]] = {}
        laid = laid_out(find_sheets(list(read_photo(folder / photo))[page - 1].image).sheets)
        for sheet, proposals in laid:
            if proposals:
                read[id(sheet)] = sheet, len(alone)
                layout = with_codes(sheet.image, proposals.layouts[0])
                alone.append(read_slip(photo, page, sheet, layout))
        for slip in slips:
            best = _shown(slip, [sheet for sheet, _ in laid])
            found.append((slip, *(read.get(id(best), (None, -1)) if best is not None else (None, -1))))
    pooled = pool_codes(settle_roles(pool_layouts(alone)))
    for slip, shown, place in found:
        name, groups = _named(slip)
        if shown is None:
            missed = Result(name, groups, False, False, False, False, False, (), "not found, or no table")
            yield missed, missed
            continue
        unit = _unit(slip)
        first, then = (
            _judge(LayoutSearch((read[place].layout,)), slip, shown.to_photo, unit, name, groups)
            for read in (alone, pooled)
        )
        yield first, then


def pile_report(results: Sequence[tuple[Result, Result]], *, names: bool) -> str:
    """Return the table for people: by themselves, and in the pile."""
    lines = [
        f"{first.name}: {first.why or 'right'} -> {then.why or 'right'}"
        for first, then in results
        if names and (first.why or then.why)
    ]
    for name, own in (
        ("alone", [first for first, _ in results]),
        ("in the pile", [then for _, then in results]),
    ):
        corners = [off for result in own for off in result.corners]
        lines += [
            _line(f"{name}: right grid", sum(r.grid for r in own), len(own)),
            _line(f"{name}: every role right", sum(r.roles for r in own), len(own)),
            _line(f"{name}: of columns that are read", sum(r.read for r in own), len(own)),
            _line(
                f"{name}: boxes within {CORNER_OFF} mm", sum(o <= CORNER_OFF for o in corners), len(corners)
            ),
        ]
    return "\n".join(lines)


@dataclass(frozen=True, slots=True)
class Later:
    """One slip of a pile: what its layout cost and gave with the pile's designs, and the full way."""

    first: bool
    """Read before any design was learned."""
    known: bool
    seconds: tuple[float, float]
    """With designs, and the full way; the same where there are none."""
    alone: tuple[Result, Result]
    pooled: tuple[Result, Result]
    boxes: tuple[int, int]
    """Boxes whose best reading differs in the end, and boxes that both ways read."""


def second_results(folder: Path) -> Iterator[Later]:
    """Measure on the photos of one pile: each slip with the designs that photos before it taught, and the full way."""
    by_page = sorted(_by_page(folder).items())
    found: list[tuple[Record, Sheet, bool, bool, tuple[float, float], int]] = []
    both: tuple[list[ReadSlip], list[ReadSlip]] = [], []
    learned: tuple[SlipDesign, ...] = ()
    for number, ((photo, page), slips) in enumerate(by_page):
        if number and number == taught_by(number):
            learned = designs_of(both[0])
        sheets = find_sheets(list(read_photo(folder / photo))[page - 1].image).sheets
        for slip in slips:
            sheet = _shown(slip, sheets)
            if sheet is None:
                continue
            full, slow = _timed(sheet, ())
            search, fast = _timed(sheet, learned) if learned else (full, slow)
            if not full or not search:
                continue
            known = search.layouts[0].known
            found.append((slip, sheet, number < FIRST, known, (fast, slow), len(both[0])))
            for read, (best, *_) in zip(both, (search.layouts, full.layouts), strict=True):
                layout = best if best.known else with_codes(sheet.image, best)
                read.append(read_slip(photo, page, sheet, layout))
    pooled = [pool_codes(settle_roles(pool_layouts(read))) for read in both]
    for slip, sheet, first, known, seconds, place in found:

        def judged(
            read: Sequence[ReadSlip], slip: Record = slip, sheet: Sheet = sheet, at: int = place
        ) -> Result:
            name, groups = _named(slip)
            return _judge(LayoutSearch((read[at].layout,)), slip, sheet.to_photo, _unit(slip), name, groups)

        alone, then = ((judged(now), judged(full)) for now, full in (both, pooled))
        yield Later(first, known, seconds, alone, then, _read_otherwise(pooled[0][place], pooled[1][place]))


def _timed(sheet: Sheet, designs: Sequence[SlipDesign]) -> tuple[LayoutSearch, float]:
    start = time.process_time()
    search = propose_layouts(sheet, designs)
    return search, time.process_time() - start


def _read_otherwise(one: ReadSlip, other: ReadSlip) -> tuple[int, int]:
    """Count boxes that are read otherwise, or are there for one alone, and all boxes."""
    first, second = (
        {
            **{(line.row, kind): getattr(line, kind) for line in slip.readings.lines for kind in READ},
            **{(0, f"{total.kind} {k}"): total.reading for k, total in enumerate(slip.readings.totals)},
        }
        for slip in (one, other)
    )
    every = first.keys() | second.keys()
    return sum(_best(first.get(box)) != _best(second.get(box)) for box in every), len(every)


def _best(reading: Reading | None) -> object:
    return None if reading is None or not reading.values else reading.values[0][0]


def second_report(results: Sequence[Later], *, names: bool) -> str:
    """Return the table for people."""
    first = [one for one in results if one.first]
    later = [one for one in results if not one.first]
    known = [one for one in later if one.known]
    lines = [
        f"{now.name}: {now.why or 'right'}, number {now.serial}; the full way {full.why or 'right'}, number {full.serial}"
        for one in later
        for now, full in (one.alone, one.pooled)
        if names and (now.why, now.serial) != (full.why, full.serial)
    ]
    lines.append(_line("later slips named by a design", len(known), len(later)))
    costs = [
        ("first slips", [one.seconds[0] for one in first]),
        ("later slips", [one.seconds[0] for one in later]),
        ("later slips, the full way", [one.seconds[1] for one in later]),
        ("of them those named by a design", [one.seconds[0] for one in known]),
    ]
    usual = statistics.median(costs[0][1]) if first else 0.0
    for name, seconds in costs:
        if seconds:
            median = statistics.median(seconds)
            share = f"{median / usual:>8.2f} of the first" if usual else ""
            lines.append(f"{name:<38}{median:>8.3f} s a layout, median of {len(seconds)}{share}")
    for way, (place, label) in product(("alone", "in the pile"), enumerate(("with designs", "the full way"))):
        own = [(one.alone if way == "alone" else one.pooled)[place] for one in later]
        lines += [
            _line(f"later slips {way}, {label}: grid", sum(r.grid for r in own), len(own)),
            _line("  every role", sum(r.roles for r in own), len(own)),
            _line("  slip number", sum(r.serial for r in own), len(own)),
        ]
    lines.append(
        _line("boxes read otherwise in the end", *(sum(one.boxes[k] for one in later) for k in (0, 1)))
    )
    return "\n".join(lines)


def _line(name: str, hits: int, n: int) -> str:
    low, high = Share(hits, n).interval()
    return (
        f"{name:<38}{hits:>6} of {n:<6}{hits / n:>8.1%}   {low:.1%} to {high:.1%}"
        if n
        else f"{name:<38} none"
    )


def report(results: Sequence[Result], seconds: float) -> str:
    """Return the table for people."""
    lines = []
    for group in ("all", *sorted({g for r in results for g in r.groups})):
        members = [r for r in results if group == "all" or group in r.groups]
        corners = [off for r in members for off in r.corners]
        lines += [
            f"{group}",
            _line("  right grid", sum(r.grid for r in members), len(members)),
            _line("  every role right", sum(r.roles for r in members), len(members)),
            _line("  right roles, columns that are read", sum(r.read for r in members), len(members)),
            _line("  right roles among the proposals", sum(r.among for r in members), len(members)),
            _line("  slip number right", sum(r.serial for r in members), len(members)),
            _line(f"  boxes within {CORNER_OFF} mm", sum(off <= CORNER_OFF for off in corners), len(corners)),
        ]
    lines.append(f"{seconds / max(len(results), 1):.2f} s a slip, all included")
    return "\n".join(lines)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0] if __doc__ else None)
    parser.add_argument("--flat", choices=("tune", "test"))
    parser.add_argument("--seeds", type=int, nargs=2, default=(0, 100))
    parser.add_argument("--photos", type=Path)
    parser.add_argument("--pile", type=Path)
    parser.add_argument("--second", type=Path)
    parser.add_argument("--list", action="store_true", help="name each miss")
    wanted = parser.parse_args()
    cv2.setNumThreads(1)
    if wanted.pile:
        piles = [truth.parent for truth in sorted(wanted.pile.rglob("truth.json"))]
        pairs = [pair for pile in piles for pair in pile_results(pile)]
        print(pile_report(pairs, names=wanted.list))
        return
    if wanted.second:
        piles = [truth.parent for truth in sorted(wanted.second.rglob("truth.json"))]
        print(second_report([one for pile in piles for one in second_results(pile)], names=wanted.list))
        return
    start = time.perf_counter()
    results: list[Result] = []
    if wanted.flat:
        results += flat_results(wanted.flat, range(*wanted.seeds))
    if wanted.photos:
        results += photo_results(wanted.photos)
    if wanted.list:
        for result in results:
            if result.why:
                print(f"{result.name} ({', '.join(result.groups)}): {result.why}")
    print(report(results, time.perf_counter() - start))


if __name__ == "__main__":
    main()
