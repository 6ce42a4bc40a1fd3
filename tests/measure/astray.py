"""How layouts go astray on photos, whether what they say of themselves tells, and whom the judge then blames.

    python -m tests.measure.astray FOLDER... [--keep FILE.pkl] [--looks FILE.json] [--list]

FOLDER holds photos and their truth.json, and is judged as one pile (``fresh --pile`` draws such piles). Every slip is
read; then each box that was found is given what is truly written at its place. A slip is *astray* where these are not
the boxes that the customer summed. ``--keep`` keeps what was read: with a FILE that is there, no photo is read again.
``--looks`` writes how the layouts looked, for ``judging`` and ``misfound``. Intervals are Wilson's, 95 %.

| failure | means |
| --- | --- |
| no total | no box found holds the written total: such a slip is unsure, and accuses nobody |
| total elsewhere | another box is taken for the total |
| total cut | the total's box is not found whole, or pounds and pence are parted otherwise, and it is misread |
| rows | an order row that counts was not found |
| excess | something else is taken for an order row |
| columns | a quantity, price or line total stands in a box that is taken for something else, or is cut |
| charge | a charge that is written has no box |
| role | a box of the totals is taken for another kind |
"""

import argparse
import json
import pickle
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

import cv2
import numpy as np

from formread.arithmetic.record import Judgement, LineReadings
from formread.layout import propose_layouts
from formread.layout.record import Box, Layout, Rectangle
from formread.photo import read_photo
from formread.pile.leaning import odd
from formread.pile.pool import pool_layouts
from formread.pile.record import ReadSlip
from formread.pile.roles import settle_roles
from formread.pile.run import Known, judge_pile
from formread.pile.slip import read_sheet
from formread.record import Reading
from formread.sheet.record import Points
from formread.sheet.search import find_sheets
from tests.measure.compare import Record, Share, overlap

LEAST_OVERLAP: Final = 0.5
"""Share of the smaller of two outlines, or boxes, in which they are the same one."""
WHOLE: Final = 0.75
"""Share of a box that shows what is written in it."""
NUMBERS: Final = ("quantity", "unit_price", "line_total")
FAILURES: Final = ("no total", "total elsewhere", "total cut", "rows", "excess", "columns", "charge", "role")
SIGNS: Final = {"delivery": 1, "other": 1, "discount": -1, "deposit": -1}
TRUE_ROLE: Final = {"other total": "other", "other": "count"}
"""``other`` among the totals of the truth is a number of pieces."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One slip as read, with its truth, and where its boxes lie in the photo."""

    truth: Record
    read: ReadSlip
    places: dict[Rectangle, Points]
    """Corners in the photo of every rectangle of the layout."""


def _rectangles(layout: Layout) -> Iterator[Rectangle]:
    boxes = [box for row in layout.rows for _, box in row.boxes] + [total.box for total in layout.totals]
    for box in boxes:
        yield box.rectangle
        if box.pence is not None:
            yield box.pence


def read_folder(folder: Path) -> Iterator[Seen]:
    """Read every slip that has a truth."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    by_page: dict[tuple[str, int], list[Record]] = defaultdict(list)
    for slip in truth["slips"]:
        by_page[slip["photo"], slip["page"] or 1].append(slip)
    for (photo, page), slips in sorted(by_page.items()):
        image = list(read_photo(folder / photo))[page - 1].image
        sheets = find_sheets(image).sheets
        for slip in slips:
            best = max(sheets, key=lambda s: overlap(s.outline.tolist(), slip["outline"]), default=None)
            if best is None or overlap(best.outline.tolist(), slip["outline"]) < LEAST_OVERLAP:
                continue
            proposals = propose_layouts(best)
            if not proposals:
                continue
            layout = proposals.layouts[0]
            _, data = cv2.imencode(".jpg", best.image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
            outline = tuple((float(x), float(y)) for x, y in best.outline)
            read = ReadSlip(photo, page, outline, layout, read_sheet(best.image, layout), data.tobytes())
            places = {r: best.to_photo(_corners(r)) for r in _rectangles(layout)}
            yield Seen(slip, read, places)


def _corners(box: Rectangle) -> Points:
    left, top, right, bottom = box.left, box.top, box.right, box.bottom
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float64)


@dataclass(frozen=True, slots=True)
class Content:
    """What is truly written where a box was found: a role and row of the truth, and how much of that box it shows."""

    role: str
    row: int | None
    value: int | None
    whole: bool
    parted: bool
    """Whether pounds and pence are parted as they are in truth."""


def _area(corners: Points) -> float:
    return float(cv2.contourArea(corners.astype(np.float32)))


def _common(one: Points, other: Points) -> float:
    found, _ = cv2.intersectConvexConvex(one.astype(np.float32), other.astype(np.float32))
    return float(found)


def content(box: Box, seen: Seen) -> Content | None:
    """Say what is written in a box, by its place; None where nobody was to write."""
    corners = seen.places[box.rectangle]
    if box.pence is not None:
        right = seen.places[box.pence]
        corners = np.array([corners[0], right[1], right[2], corners[3]])
    quads = [np.array(true["quad"]) for true in seen.truth["boxes"]]
    shares = [_common(corners, quad) for quad in quads]
    best = int(np.argmax(shares))
    if shares[best] < LEAST_OVERLAP * min(_area(quads[best]), _area(corners)):
        return None
    true = seen.truth["boxes"][best]
    row = true["row"]
    value = true["value"]
    if row and true["role"] in NUMBERS:
        line: Record = next((line for line in seen.truth["lines"] if line["row"] == row), {})
        value = None if line.get("struck_out") else line.get(true["role"])
    if not isinstance(value, int):
        value = None
    whole = shares[best] >= WHOLE * _area(quads[best]) and shares[best] >= LEAST_OVERLAP * _area(corners)
    return Content(true["role"], row, value, whole, (box.pence is None) == (true.get("pence_quad") is None))


def failures(seen: Seen) -> list[str]:
    """Say how the boxes that were found go astray, in the order of :data:`FAILURES`."""
    found = {*_row_failures(seen), *_total_failures(seen)}
    return [kind for kind in FAILURES if kind in found]


def _row_failures(seen: Seen) -> Iterator[str]:
    lines = {line["row"]: line for line in seen.truth["lines"] if not line["struck_out"]}
    times: Counter[int] = Counter()
    for row, read in zip(seen.read.layout.rows, seen.read.readings.lines, strict=True):
        held = {role: content(box, seen) for role, box in row.boxes if role in NUMBERS}
        shown = Counter(c.row for c in held.values() if c is not None and c.row in lines)
        if not shown:
            if any(c is not None and c.value is not None for c in held.values()):
                yield "excess"
            continue
        number = int(shown.most_common(1)[0][0] or 0)
        times[number] += 1
        for role, found in held.items():
            if not _shows(found, role, number, read, lines[number]):
                yield "columns"
        if lines[number]["unit_price"] is not None and "unit_price" not in held:
            yield "columns"
    if any(times[number] == 0 and _numbers(line) for number, line in lines.items()):
        yield "rows"
    if any(count > 1 for count in times.values()):
        yield "excess"


def _numbers(line: Record) -> bool:
    return any(line[role] for role in NUMBERS)


def _shows(found: Content | None, role: str, row: int, read: LineReadings, line: Record) -> bool:
    """Say whether a box shows what is written in that column of that row; parted otherwise, it may be read rightly."""
    if line[role] is None and (found is None or found.value is None):
        return True
    if found is None or found.role != role or found.row != row or not found.whole:
        return False
    return found.parted or bool(_top(getattr(read, role)) == line[role])


def _total_failures(seen: Seen) -> Iterator[str]:
    true = [box for box in seen.truth["boxes"] if not box["row"]]
    shown: set[str] = set()
    for total, read in zip(seen.read.layout.totals, seen.read.readings.totals, strict=True):
        found = content(total.box, seen)
        role = None if found is None else TRUE_ROLE.get(found.role, found.role)
        value, top = (None if found is None else found.value), _top(read.reading)
        shown.add(str(role))
        if value is None and top is None:
            continue
        if total.role == "total" and role != "total":
            yield "total elsewhere"
        elif total.role == "total" and found is not None:
            if not (found.whole and found.parted) and top != value:
                yield "total cut"
        elif SIGNS.get(str(role), role) != SIGNS.get(total.role, total.role):
            yield "role"
    named = {total.role for total in seen.read.layout.totals}
    if seen.truth["written_total"] is not None and "total" not in named:
        yield "no total"
    for box in true:
        role = TRUE_ROLE.get(box["role"], box["role"])
        if role in SIGNS and box["value"] and role not in shown:
            yield "charge"


def _top(reading: Reading | None) -> object:
    return reading.values[0][0] if reading is not None and reading.values else None


def piles(folders: Sequence[Path], kept: Path | None) -> list[list[Seen]]:
    """Read each folder, or take what an earlier call kept."""
    if kept is not None and kept.exists():
        stored = pickle.loads(kept.read_bytes())
        return [[Seen(*parts) for parts in pile] for pile in stored]
    found: list[list[Seen]] = []
    for folder in folders:
        found.append(list(read_folder(folder)))
        print(f"{folder.name}: {len(found[-1])} slips read", flush=True)
        if kept is not None:
            kept.write_bytes(pickle.dumps([[(s.truth, s.read, s.places) for s in pile] for pile in found]))
    return found


def verdicts(name: str, pairs: Sequence[tuple[Seen, Judgement]], *, named: bool) -> None:
    """Print what the judge said of right and of wrong sums."""
    print(f"\n{name}")
    for true in ("agrees", "wrong"):
        said = Counter(judged.verdict for seen, judged in pairs if seen.truth["verdict"] == true)
        shares = "; ".join(
            f"{what} {Share(said[what], said.total())}" for what in ("agrees", "wrong", "unsure")
        )
        print(f"  {'right' if true == 'agrees' else 'wrong'} sums: {shares}")
    for seen, judged in pairs if named else ():
        if judged.verdict != seen.truth["verdict"]:
            print(
                f"    {seen.truth['photo']} {seen.truth['design']}: {seen.truth['verdict']} -> {judged.verdict} "
                f"{judged.probability_wrong:.4f}, {', '.join(failures(seen)) or 'sound'}; doubt {judged.doubt:.4f}, "
                f"misfit {judged.misfit:.3g}, {odd(seen.read.layout.trust)} odd signs: {judged.reason}"
            )


def judged(
    every: Sequence[Sequence[Seen]], named: Callable[[Sequence[ReadSlip]], list[ReadSlip]], known: Known
) -> Iterator[tuple[Seen, Judgement]]:
    """Judge every pile, its boxes named by `named`."""
    for pile in every:
        result = judge_pile(named([seen.read for seen in pile]), [], "GBP", known)
        yield from zip(pile, result.judgements, strict=True)


def report(every: Sequence[Sequence[Seen]], *, named: bool) -> None:
    """Print the tables."""
    some = [seen for pile in every for seen in pile if seen.truth["lines"]]
    failed = [failures(seen) for seen in some]
    print(f"{len(some)} slips of {len({seen.truth['design'] for seen in some})} pads")
    print(f"{'found rightly':<18}{Share(sum(not f for f in failed), len(some))}")
    for kind in FAILURES:
        print(f"{kind:<18}{Share(sum(kind in f for f in failed), len(some))}")
    total = [bool(f) for f in failed if "no total" not in f]
    print(f"{'astray, of those with a total':<30}{Share(sum(total), len(total))}")
    signs = [min(odd(seen.read.layout.trust), 2) for seen in some]
    for count, words in enumerate(("no odd sign", "one", "two and more")):
        sound = Share(sum(k == count and not f for k, f in zip(signs, failed, strict=True)), failed.count([]))
        astray = Share(
            sum(k == count and bool(f) for k, f in zip(signs, failed, strict=True)),
            len(failed) - failed.count([]),
        )
        print(f"{words:<14} of sound {sound}   of astray {astray}")
    verdicts("each slip alone", list(judged([[s] for p in every for s in p], list, Known())), named=False)
    verdicts(
        "each slip alone, roles settled by its sums",
        list(judged([[s] for p in every for s in p], settle_roles, Known())),
        named=False,
    )
    whole = list(judged(every, lambda read: settle_roles(pool_layouts(read)), Known()))
    verdicts("each folder a pile", whole, named=named)


def looks(every: Sequence[Sequence[Seen]]) -> dict[str, Any]:
    """How the layouts looked: sound ones with their boxes named as the judge is given them, failed ones as they were."""
    slips = []
    for pile in every:
        settled = settle_roles(pool_layouts([seen.read for seen in pile]))
        for seen, read in zip(pile, settled, strict=True):
            if not seen.truth["lines"]:
                continue
            if failures(seen):
                slips.append(_look(seen))
            if not failures(replace(seen, read=read)):
                slips.append(_look(replace(seen, read=read)))
    count = sum(bool(seen.truth["lines"]) for pile in every for seen in pile)
    return {"about": f"{count} slips of {len({slip['pad'] for slip in slips})} pads", "slips": slips}


def _look(seen: Seen) -> dict[str, Any]:
    layout = seen.read.layout
    trust = {name: value for name, value in asdict(layout.trust).items() if not isinstance(value, tuple)}
    return {
        "pad": seen.truth["design"],
        "failures": failures(seen),
        "probability": layout.probability,
        "trust": trust,
    }


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description="How layouts go astray on photos.")
    parser.add_argument("folders", type=Path, nargs="*")
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--looks", type=Path)
    parser.add_argument(
        "--list", action="store_true", help="name each slip whose verdict is not the true one"
    )
    options = parser.parse_args()
    cv2.setNumThreads(1)
    every = piles(options.folders, options.keep)
    if options.looks is not None:
        options.looks.write_text(json.dumps(looks(every)), encoding="utf-8")
    report(every, named=options.list)


if __name__ == "__main__":
    main()
