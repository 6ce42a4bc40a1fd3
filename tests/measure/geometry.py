"""Print how well slips are found and flattened, on photos with their truth.

    python -m tests.measure.geometry FOLDER [--photos N]

FOLDER holds photos and ``truth.json`` as ``python -m sample_scans.draw`` writes them. Outlines are compared by
the Jaccard index as in SmartDoc 2015 (Burie et al., ICDAR 2015: best published mean 0.972); what skew is left, by
the mean, the share within 0.1 degrees and the worst, in the manner of DISEC'13 (Papandreou et al., ICDAR 2013),
taken over rows of boxes. Box corners ought to lie on straight rows and columns: their distance from their own
row's and column's line is given in mm, the sheet's long side taken as 210 mm. Shares carry Wilson's 95 % interval.
"""

import argparse
import json
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from formread.photo import read_photo
from formread.sheet import quad as quads
from formread.sheet.record import Points, Sheet
from formread.sheet.search import find_sheets

_LONG_SIDE_MM = 210.0
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
            f"within 0.1: {share(int((skew <= 0.1).sum()), len(skew))}, worst {skew.max():.2f}"
        )
        print(f"{'':14s} corners within 0.7 mm: {share(int((off <= 0.7).sum()), len(off))}")


def main() -> None:
    """Measure a folder and print the table."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    arguments.add_argument("folder", type=Path)
    arguments.add_argument("--photos", type=int, default=None)
    asked = arguments.parse_args()
    cv2.setNumThreads(1)
    truth = json.loads((asked.folder / "truth.json").read_text())
    by_page: dict[tuple[str, int], list[dict[str, Any]]] = defaultdict(list)
    for slip in truth["slips"]:
        by_page[slip["photo"], slip["page"]].append(slip)
    groups: dict[str, Tally] = defaultdict(Tally)
    invented = pages = pages_inventing = 0
    seconds: list[float] = []
    for name in truth["photos"][: asked.photos]:
        for photo in read_photo(asked.folder / name):
            start = time.perf_counter()
            sheets = list(find_sheets(photo.image).sheets)
            seconds.append(time.perf_counter() - start)
            pairs = match(by_page[name, photo.page], sheets)
            extra = len(sheets) - sum(sheet is not None for _, sheet, _ in pairs)
            pages += 1
            invented += extra
            pages_inventing += extra > 0
            for slip, sheet, index in pairs:
                for group in ("all", slip["capture"], slip["copy"]):
                    tally = groups[group]
                    tally.slips += 1
                    if sheet is None:
                        continue
                    tally.jaccard.append(index)
                    first = np.array(slip["outline"][0]) - 0.5
                    tally.upright += int(np.hypot(*(sheet.outline - first).T).argmin() == 0)
                    skew, off = straightness(sheet, slip["boxes"])
                    tally.skew += skew
                    tally.corners += off
    for group, tally in groups.items():
        show(group, tally)
    print(f"invented: {invented} sheets, on {share(pages_inventing, pages)} of the pages")
    print(
        f"seconds a page: median {np.median(seconds):.2f}, mean {np.mean(seconds):.2f}, worst {max(seconds):.2f}"
    )


if __name__ == "__main__":
    main()
