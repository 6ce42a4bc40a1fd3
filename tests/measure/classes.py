"""Where slips are lost on the way from photo to verdict: one class for each slip, the first thing that failed.

    python -m tests.measure.classes FOLDER RESULT.json [FOLDER RESULT.json ...] [--list]

FOLDER holds photos and their truth.json, RESULT is what ``formread check FOLDER --json`` gave. The layouts are
found again here. `--list` names each slip with its design and class; leave it out for slips that are for
measuring only. Intervals are Wilson's, 95 %.

| class | means |
| --- | --- |
| not found | no slip was read from its place |
| wrong grid | rows, columns, totals boxes or a corner more than 2 mm out (as in `tests.measure.layout`) |
| wrong role | a column or totals box taken for another |
| misread | a number that counts (quantity, price, line total, charge, total) is not as written |
| judged wrong | all of these read rightly, and the verdict is not the true one |
| right | the true verdict |

An early failure need not cost the verdict, so the last column counts the slips of a class whose verdict was true.
"""

import argparse
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2

from tests.measure.compare import Record, Share, compare, load, match_slips
from tests.measure.layout import Result, photo_results

CLASSES = ("not found", "wrong grid", "wrong role", "misread", "judged wrong", "right")
NUMBERS = ("quantity", "unit_price", "line_total", "charge", "written_total", "row", "struck_out")


def classify(truth: Record, read: Record | None, layout: Result) -> str:
    """The first thing that failed on a slip."""
    if read is None:
        return "not found"
    if not layout.grid:
        return "wrong grid"
    if not layout.roles:
        return "wrong role"
    if any(mismatch.what in NUMBERS for mismatch in compare([(truth, read)]).mismatches):
        return "misread"
    return "right" if read["verdict"] == truth["verdict"] else "judged wrong"


def classes(folder: Path, result: Path) -> Iterator[tuple[Record, Record | None, Result, str]]:
    """Each true slip of a folder with what was read of it, how its layout was found, and its class."""
    truths = load(folder / "truth.json")
    truths.sort(key=lambda slip: (slip["photo"], slip["page"] or 1))
    pairs, _ = match_slips(load(result), truths)
    for (truth, read), layout in zip(pairs, photo_results(folder), strict=True):
        yield truth, read, layout, classify(truth, read, layout)


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the classes."""
    parser = argparse.ArgumentParser(description="Where slips are lost on the way from photo to verdict.")
    parser.add_argument("paths", type=Path, nargs="+", metavar="FOLDER RESULT.json")
    parser.add_argument("--list", action="store_true", help="name each slip and its class")
    options = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    counts: Counter[str] = Counter()
    true: Counter[str] = Counter()
    designs: dict[str, Counter[str]] = {}
    for folder, result in zip(options.paths[::2], options.paths[1::2], strict=True):
        for truth, read, layout, name in classes(folder, result):
            counts[name] += 1
            true[name] += read is not None and read["verdict"] == truth["verdict"]
            designs.setdefault(str(truth["design"]), Counter())[name] += 1
            if options.list and name != "right":
                said = None if read is None else read["verdict"]
                print(f"{folder.name} {layout.name}: {name}; {truth['verdict']} -> {said}; {layout.why}")
    if options.list:
        print(json.dumps(designs, indent=None).replace("}, ", "},\n "))
    total = counts.total()
    for name in CLASSES:
        print(f"{name:<13} {Share(counts[name], total)}   verdict true {true[name]}")


if __name__ == "__main__":
    main()
