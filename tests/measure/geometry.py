"""Print how well slips are found and flattened, on photos with their truth.

    python -m tests.measure.geometry FOLDER... [--first N] [--photos N] [--keep FILE.json]
    python -m tests.measure.geometry --kept FILE.json...

Each FOLDER holds photos and ``truth.json`` as ``python -m sample_scans.draw`` writes them. A long measurement is run
in parts: ``--keep`` stores what one part saw, ``--kept`` prints the table over several parts. Outlines are compared by
the Jaccard index as in SmartDoc 2015 (Burie et al., ICDAR 2015: best published mean 0.972); what skew is left, by
the mean, the share within 0.1 degrees and the worst, in the manner of DISEC'13 (Papandreou et al., ICDAR 2013),
taken over rows of boxes. Box corners ought to lie on straight rows and columns: their distance from their own
row's and column's line is given in mm, the sheet's long side taken as 210 mm. Shares carry Wilson's 95 % interval.
"""

import argparse
import json
import time
from collections import defaultdict
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from formread.photo import read_photo
from formread.sheet import quad as quads
from formread.sheet.record import Points, Sheet
from formread.sheet.search import find_sheets

_LONG_SIDE_MM = 210.0
_POOR = 0.95  # Jaccard index below which a slip is named, to be looked at
_SAME = 0.5  # Jaccard index from which a sheet counts as that slip


@dataclass
class Tally:
    """What was seen of one group of slips."""

    slips: int = 0
    jaccard: list[float] = field(default_factory=list)
    upright: int = 0
    skew: list[float] = field(default_factory=list)
    corners: list[float] = field(default_factory=list)


def wilson(hits: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (E. B. Wilson, JASA 22, 1927)."""
    if of == 0:
        return 0.0, 1.0
    z, share = 1.96, hits / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z * np.sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return float(middle - half), float(middle + half)


def to_sheet(sheet: Sheet, points: Points) -> Points:
    """Invert ``to_photo``: from the perspective of the corners, by iteration."""
    height, width = sheet.image.shape[:2]
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float64)
    ends = sheet.to_photo(corners).astype(np.float32)
    back = cv2.getPerspectiveTransform(ends, corners.astype(np.float32))

    def rough(places: Points) -> Points:
        return np.asarray(cv2.perspectiveTransform(places[None], back)[0], np.float64)

    found = rough(points)
    for _ in range(20):
        found = found + rough(points) - rough(sheet.to_photo(found))
    return found


def straightness(sheet: Sheet, boxes: list[dict[str, Any]]) -> tuple[list[float], list[float]]:
    """Return the skew of each row in degrees, and each corner's distance in mm from its row and column."""
    quads_of = [box for box in boxes if box["row"] is not None]
    if not quads_of:
        return [], []
    points = np.array([box["quad"] for box in quads_of], np.float64).reshape(-1, 2) - 0.5
    flat = to_sheet(sheet, points).reshape(-1, 4, 2)
    mm = _LONG_SIDE_MM / max(sheet.image.shape[:2])
    rows, columns = defaultdict(list), defaultdict(list)
    for box, corners in zip(quads_of, flat, strict=True):
        rows[box["row"]].append(corners)
        columns[box["role"]].append(corners)
    skew: list[float] = []
    off: list[float] = []
    for line in rows.values():
        for pair in ((0, 1), (3, 2)):
            edge = np.array(line)[:, pair].reshape(-1, 2)
            slope = np.polyfit(edge[:, 0], edge[:, 1], 1)[0]
            skew.append(abs(float(np.rad2deg(np.arctan(slope)))))
            off += list(np.abs(edge[:, 1] - np.median(edge[:, 1])) * mm)
    for line in columns.values():
        for pair in ((0, 3), (1, 2)):
            edge = np.array(line)[:, pair].reshape(-1, 2)
            off += list(np.abs(edge[:, 0] - np.median(edge[:, 0])) * mm)
    return skew, off


def match(
    slips: list[dict[str, Any]], sheets: list[Sheet]
) -> list[tuple[dict[str, Any], Sheet | None, float]]:
    """Give each slip the free sheet that covers it best, if one does."""
    free = list(sheets)
    pairs: list[tuple[dict[str, Any], Sheet | None, float]] = []
    for slip in slips:
        outline = quads.clockwise(np.array(slip["outline"], np.float64) - 0.5)
        scores = [quads.jaccard(outline, quads.clockwise(sheet.outline)) for sheet in free]
        best = int(np.argmax(scores)) if scores else -1
        if best >= 0 and scores[best] >= _SAME:
            pairs.append((slip, free.pop(best), scores[best]))
        else:
            pairs.append((slip, None, 0.0))
    return pairs


def share(hits: int, of: int) -> str:
    """Format a share with its interval."""
    low, high = wilson(hits, of)
    return f"{hits}/{of} {100 * hits / max(of, 1):.1f} % [{100 * low:.1f}-{100 * high:.1f}]"


def show(name: str, tally: Tally) -> None:
    """Print one row of the table."""
    print(f"{name:14s} found {share(len(tally.jaccard), tally.slips)}")
    if not tally.jaccard:
        return
    skew, off = np.array(tally.skew), np.array(tally.corners)
    print(f"{'':14s} Jaccard mean {np.mean(tally.jaccard):.4f}, median {np.median(tally.jaccard):.4f}")
    print(f"{'':14s} upright {share(tally.upright, len(tally.jaccard))}")
    if len(skew):
        print(
            f"{'':14s} skew of {len(skew)} row edges: mean {skew.mean():.3f} deg, "
            f"best 80 %: {np.sort(skew)[: max(1, int(0.8 * len(skew)))].mean():.3f}, "
            f"within 0.1: {share(int((skew <= 0.1).sum()), len(skew))}, "
            f"within 0.5: {share(int((skew <= 0.5).sum()), len(skew))}, worst {skew.max():.2f}"
        )
        print(f"{'':14s} corners within 0.7 mm: {share(int((off <= 0.7).sum()), len(off))}")


@dataclass
class Seen:
    """What was seen of some photos: slips by group, and what is counted by page."""

    groups: dict[str, Tally] = field(default_factory=lambda: defaultdict(Tally))
    pages: int = 0
    bare: int = 0
    invented: int = 0
    inventing: int = 0
    seconds: list[float] = field(default_factory=list)


def measure(folder: Path, seen: Seen, part: slice = slice(None)) -> None:
    """Find the slips in a folder's photos, or in some of them, and add what was seen."""
    truth = json.loads((folder / "truth.json").read_text())
    by_page: dict[tuple[str, int], list[dict[str, Any]]] = defaultdict(list)
    for slip in truth["slips"]:
        by_page[slip["photo"], slip["page"]].append(slip)
    for name in truth["photos"][part]:
        for photo in read_photo(folder / name):
            start = time.process_time()
            sheets = list(find_sheets(photo.image).sheets)
            seen.seconds.append(time.process_time() - start)
            slips = by_page[name, photo.page]
            pairs = match(slips, sheets)
            extra = len(sheets) - sum(sheet is not None for _, sheet, _ in pairs)
            seen.pages += 1
            seen.bare += not slips
            seen.invented += extra
            seen.inventing += extra > 0
            for slip, sheet, index in pairs:
                lost = sheet is None or index < _POOR
                if lost or extra:
                    print(f"{folder.name}/{name}: {'missed' if sheet is None else f'Jaccard {index:.3f}'}")
                for group in ("all", slip["capture"], slip["copy"]):
                    _add(seen.groups[group], slip, sheet, index)


def _add(tally: Tally, slip: dict[str, Any], sheet: Sheet | None, index: float) -> None:
    tally.slips += 1
    if sheet is None:
        return
    tally.jaccard.append(index)
    first = np.array(slip["outline"][0]) - 0.5
    tally.upright += int(np.hypot(*(sheet.outline - first).T).argmin() == 0)
    skew, off = straightness(sheet, slip["boxes"])
    tally.skew += skew
    tally.corners += off


def joined(parts: list[Path]) -> Seen:
    """Read parts that were kept, as one."""
    seen = Seen()
    for path in parts:
        part = json.loads(path.read_text())
        for group, tally in part.pop("groups").items():
            whole = seen.groups[group]
            for name, value in tally.items():
                setattr(whole, name, getattr(whole, name) + value)
        for name, value in part.items():
            setattr(seen, name, getattr(seen, name) + value)
    return seen


def main() -> None:
    """Measure folders, or read parts that were kept, and print the table."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    arguments.add_argument("folders", type=Path, nargs="*")
    arguments.add_argument("--keep", type=Path, help="store what was seen here")
    arguments.add_argument("--kept", type=Path, nargs="*", default=[], help="parts to print together")
    arguments.add_argument("--first", type=int, default=0, help="begin at this photo of each folder")
    arguments.add_argument("--photos", type=int, help="take so many of each folder")
    asked = arguments.parse_args()
    last = None if asked.photos is None else asked.first + asked.photos
    cv2.setNumThreads(1)
    seen = joined(asked.kept)
    for folder in asked.folders:
        measure(folder, seen, slice(asked.first, last))
    if asked.keep is not None:
        asked.keep.write_text(json.dumps(asdict(replace(seen, groups=dict(seen.groups)))))
    for group in ("all", "scan", "easy", "hard", "top", "carbon"):
        if group in seen.groups:
            show(group, seen.groups[group])
    print(
        f"invented: {seen.invented} sheets, on {share(seen.inventing, seen.pages)} of the pages; "
        f"{seen.bare} pages hold no slip"
    )
    if seen.seconds:
        spent = np.array(seen.seconds)
        print(
            f"processor seconds a page: median {np.median(spent):.2f}, mean {spent.mean():.2f}, worst {spent.max():.2f}"
        )


if __name__ == "__main__":
    main()
