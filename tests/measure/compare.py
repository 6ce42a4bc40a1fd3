"""How much of the truth a result file holds: slips, numbers and verdicts, each with its sample size.

    python -m tests.measure.compare RESULT.json TRUTH.json [--list]

Both files are in the result file's shape; the truth may carry `copy` and `capture` for each slip, and the
figures are then given for each of their values too. Slips are matched within a page of a photo by the overlap
of their outlines, rows by their number and by what stands in them. `--list` names each mismatch.

What counts: every number that the truth holds, also on slips and in rows that were not found at all (those
are not exact). Numbers in struck-out rows are counted apart. Intervals are Wilson's, 95 %; they take the
numbers as independent, which those of one slip (one hand, one photo) are not quite, so the true ones are
somewhat wider.
"""

import argparse
import json
import math
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import cv2
import numpy as np
from scipy.optimize import linear_sum_assignment

LEAST_OVERLAP: Final = 0.5
"""Intersection over union from which an outline is that slip's: two slips side by side stay far below it."""

FIELDS: Final = ("code", "quantity", "unit_price", "line_total")

SAME_ROW, SAME_VALUE, IN_ORDER = 3.0, 2.0, 0.1
"""Weights of the alignment of rows: one value equal by chance doesn't outweigh the row's number, two do."""

Z_95: Final = 1.959964

NOT_FOUND: Final = "not found"
"""Stands for every value of a row or slip that was not found; the row or slip itself is the mismatch."""

Record = dict[str, Any]


class CompareError(Exception):
    """A file can't be compared: its text is a sentence for a person."""


@dataclass(frozen=True, slots=True)
class Share:
    """`hits` of `n`."""

    hits: int
    n: int

    def interval(self) -> tuple[float, float]:
        """Wilson's score interval, 95 % (Wilson 1927, J. Am. Stat. Assoc. 22, 209-212); (0, 1) for n = 0."""
        if self.n == 0:
            return 0.0, 1.0
        share, extra = self.hits / self.n, Z_95**2 / self.n
        middle = (share + extra / 2) / (1 + extra)
        half = Z_95 / (1 + extra) * math.sqrt(share * (1 - share) / self.n + extra / (4 * self.n))
        return max(0.0, middle - half), min(1.0, middle + half)

    def __str__(self) -> str:
        if self.n == 0:
            return "   0/0"
        low, high = self.interval()
        counts = f"{self.hits:4d}/{self.n}"
        return f"{counts:<10} {100 * self.hits / self.n:5.1f} %   ({100 * low:.1f} to {100 * high:.1f})"


@dataclass(frozen=True, slots=True)
class Mismatch:
    """One thing that the result has otherwise than the truth."""

    photo: str
    page: int
    slip: str
    row: int | None
    what: str
    truth: object
    read: object

    def __str__(self) -> str:
        place = f"{self.photo} page {self.page}, slip {self.slip}"
        row = "" if self.row is None else f", row {self.row}"
        return f"{place}{row}, {self.what}: truth {self.truth!r}, read {self.read!r}"


@dataclass(slots=True)
class Figures:
    """The counts of one group of slips, by name of the measure."""

    shares: dict[str, Share] = field(default_factory=dict)
    mismatches: list[Mismatch] = field(default_factory=list)

    def count(self, name: str, hit: bool) -> None:
        """Count one more case of a measure."""
        old = self.shares.get(name, Share(0, 0))
        self.shares[name] = Share(old.hits + hit, old.n + 1)


def load(path: Path) -> list[Record]:
    """Read the slips of a result or truth file.

    Raises
    ------
    CompareError
        When the file can't be read, is not JSON, or lacks what a comparison needs.
    """
    try:
        whole: Any = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise CompareError(f"{path} can't be read: {error.strerror}. Give another file.") from error
    except (ValueError, RecursionError) as error:
        raise CompareError(f"{path} is not a result file: it is not JSON ({error}).") from error
    slips = whole.get("slips") if isinstance(whole, dict) else None
    if not isinstance(slips, list):
        raise CompareError(f"{path} is not a result file: it has no list of slips.")
    for number, slip in enumerate(slips, 1):
        if not _usable(slip):
            raise CompareError(
                f"{path} can't be compared: slip {number} needs a photo, an outline of at least three finite "
                "corners, lines with row numbers, charges with kind and amount, and a verdict."
            )
    return slips


def _usable(slip: object) -> bool:
    if not isinstance(slip, dict):
        return False
    lines, charges = slip.get("lines"), slip.get("charges", [])
    if not isinstance(lines, list) or not isinstance(charges, list):
        return False
    try:
        outline = np.asarray(slip.get("outline"), dtype=np.float64)
    except (TypeError, ValueError):
        return False
    return (
        isinstance(slip.get("photo"), str)
        and isinstance(slip.get("page", 1), int)
        and slip.get("verdict") in {"agrees", "wrong", "unsure"}
        and outline.ndim == 2
        and outline.shape[0] >= 3
        and outline.shape[1] == 2
        and bool(np.isfinite(outline).all())
        and all(isinstance(line, dict) and isinstance(line.get("row"), int) for line in lines)
        and all(
            isinstance(charge, dict)
            and isinstance(charge.get("kind"), str)
            and isinstance(charge.get("amount"), int)
            for charge in charges
        )
    )


def overlap(one: Sequence[Sequence[float]], other: Sequence[Sequence[float]]) -> float:
    """Intersection over union of two outlines, each taken as its convex hull; 0 where one has no area."""
    hulls = [cv2.convexHull(np.asarray(outline, dtype=np.float32)) for outline in (one, other)]
    one_area, other_area = (float(cv2.contourArea(hull)) for hull in hulls)
    if min(one_area, other_area) <= 0:
        return 0.0
    common = float(cv2.intersectConvexConvex(hulls[0], hulls[1])[0])
    return common / (one_area + other_area - common)


def match_slips(
    results: Sequence[Record], truths: Sequence[Record]
) -> tuple[list[tuple[Record, Record | None]], list[Record]]:
    """Pair each true slip with the one read from its place (or None), and give the slips that match none.

    Within a page the pairing has the largest sum of overlaps (Hungarian method); pairs below
    `LEAST_OVERLAP` don't count.
    """
    found: dict[int, Record] = {}
    taken: set[int] = set()
    for page in sorted({_page(slip) for slip in truths}):
        here = [place for place, slip in enumerate(truths) if _page(slip) == page]
        there = [place for place, slip in enumerate(results) if _page(slip) == page]
        if not there:
            continue
        overlaps = np.array(
            [[overlap(truths[i]["outline"], results[j]["outline"]) for j in there] for i in here]
        )
        overlaps[overlaps < LEAST_OVERLAP] = 0.0
        for i, j in zip(*linear_sum_assignment(-overlaps), strict=True):
            if overlaps[i, j] > 0:
                found[here[i]] = results[there[j]]
                taken.add(there[j])
    pairs = [(slip, found.get(place)) for place, slip in enumerate(truths)]
    return pairs, [slip for place, slip in enumerate(results) if place not in taken]


def _page(slip: Record) -> tuple[str, int]:
    return slip["photo"], slip.get("page", 1)


def align_rows(
    truth: Sequence[Record], read: Sequence[Record]
) -> tuple[list[tuple[Record, Record | None]], list[Record]]:
    """Pair rows in order, by number and values; give the rows read that pair with none too."""
    truth, read = (sorted(rows, key=lambda row: row["row"]) for rows in (truth, read))
    best = np.zeros((len(truth) + 1, len(read) + 1))
    for i in range(len(truth) - 1, -1, -1):
        for j in range(len(read) - 1, -1, -1):
            paired = best[i + 1, j + 1] + _likeness(truth[i], read[j])
            best[i, j] = max(paired, best[i + 1, j], best[i, j + 1])
    pairs: list[tuple[Record, Record | None]] = []
    extra: list[Record] = []
    i = j = 0
    while i < len(truth) or j < len(read):
        if j == len(read) or (i < len(truth) and best[i, j] == best[i + 1, j]):
            pairs.append((truth[i], None))
            i += 1
        elif i == len(truth) or best[i, j] == best[i, j + 1]:
            extra.append(read[j])
            j += 1
        else:
            pairs.append((truth[i], read[j]))
            i, j = i + 1, j + 1
    return pairs, extra


def _likeness(one: Record, other: Record) -> float:
    equal = sum(one.get(name) is not None and one.get(name) == other.get(name) for name in FIELDS)
    return float(IN_ORDER + SAME_ROW * (one["row"] == other["row"]) + SAME_VALUE * equal)


def compare(pairs: Iterable[tuple[Record, Record | None]], invented: Sequence[Record] = ()) -> Figures:
    """Count everything over these pairs of true and read slips."""
    figures = Figures()
    for truth, read in pairs:
        figures.count("slips found", read is not None)
        if read is None:
            figures.mismatches.append(_mismatch(truth, None, "slip", "there", NOT_FOUND))
        _compare_rows(figures, truth, read)
        _compare_totals(figures, truth, read)
        _compare_verdict(figures, truth, read)
    for slip in invented:
        figures.mismatches.append(_mismatch(slip, None, "slip", "no such slip", "invented"))
    return figures


def _mismatch(slip: Record, row: int | None, what: str, truth: object, read: object) -> Mismatch:
    number = slip.get("slip_number")
    return Mismatch(slip["photo"], slip.get("page", 1), str(number or "-"), row, what, truth, read)


def _compare_value(
    figures: Figures, slip: Record, row: int | None, what: str, values: tuple[object, object]
) -> None:
    truth, read = values
    if truth is not None:
        figures.count(what, truth == read)
    elif read is not NOT_FOUND:
        figures.count("empty boxes left empty", read is None)
    if truth != read and read is not NOT_FOUND:
        figures.mismatches.append(_mismatch(slip, row, what, truth, read))


def _compare_rows(figures: Figures, truth: Record, read: Record | None) -> None:
    pairs, extra = align_rows(truth["lines"], read["lines"] if read else [])
    for line, found in pairs:
        struck = bool(line.get("struck_out"))
        name = "struck-out rows seen as such" if struck else "other rows not called struck out"
        if found is None and read is not None:
            figures.mismatches.append(_mismatch(truth, line["row"], "row", "there", NOT_FOUND))
        elif found is not None:
            seen = bool(found.get("struck_out"))
            if seen != struck:
                figures.mismatches.append(_mismatch(truth, line["row"], "struck_out", struck, seen))
        # A struck-out row that was not read at all is left out of the sum, as it should be.
        figures.count(name, bool(found.get("struck_out")) == struck if found else struck)
        for key in FIELDS:
            value, got = line.get(key), found.get(key) if found else NOT_FOUND
            if struck:
                if value is not None:
                    figures.count("numbers in struck-out rows", value == got)
            else:
                _compare_value(figures, truth, line["row"], key, (value, got))
    for line in extra:
        figures.count("rows read that are there", hit=False)
        figures.mismatches.append(_mismatch(truth, line["row"], "row", "no such row", "invented"))
    for _, found in pairs:
        if found is not None:
            figures.count("rows read that are there", hit=True)


def _compare_totals(figures: Figures, truth: Record, read: Record | None) -> None:
    kinds = {charge["kind"] for slip in (truth, read or {}) for charge in slip.get("charges", [])}
    for kind in sorted(kinds):
        _compare_value(figures, truth, None, "charge", (_charge(truth, kind), _charge(read, kind)))
    written = truth.get("written_total"), read.get("written_total") if read else NOT_FOUND
    _compare_value(figures, truth, None, "written_total", written)
    if truth["lines"]:
        right = truth.get("computed_total")
        got = read.get("computed_total") if read else None
        figures.count("right total worked out", right == got)
        if read and right != got:
            figures.mismatches.append(_mismatch(truth, None, "computed_total", right, got))


def _charge(slip: Record | None, kind: str) -> int | str | None:
    if slip is None:
        return NOT_FOUND
    amounts = [charge["amount"] for charge in slip.get("charges", []) if charge["kind"] == kind]
    return sum(amounts) if amounts else None


VERDICTS: Final = {
    "wrong": (
        ("wrong: caught", "wrong"),
        ("wrong: passed as agreeing", "agrees"),
        ("wrong: unsure", "unsure"),
        ("wrong: slip not found", None),
    ),
    "agrees": (
        ("right: agrees", "agrees"),
        ("right: called wrong (false alarm)", "wrong"),
        ("right: unsure", "unsure"),
        ("right: slip not found", None),
    ),
    "unsure": (
        ("no total or blank: unsure", "unsure"),
        ("no total or blank: called wrong", "wrong"),
        ("no total or blank: agrees", "agrees"),
        ("no total or blank: slip not found", None),
    ),
}
"""For each true verdict, the measures and the answer that each counts."""


def _compare_verdict(figures: Figures, truth: Record, read: Record | None) -> None:
    answer = read["verdict"] if read else None
    for name, counted in VERDICTS[truth["verdict"]]:
        figures.count(name, answer == counted)
    if read and answer != truth["verdict"]:
        figures.mismatches.append(_mismatch(truth, None, "verdict", truth["verdict"], answer))


NUMBERS: Final = ("code", "quantity", "unit_price", "line_total", "charge", "written_total")

MEASURES: Final = (
    "slips found",
    *NUMBERS,
    "all numbers",
    "empty boxes left empty",
    "numbers in struck-out rows",
    "struck-out rows seen as such",
    "other rows not called struck out",
    "rows read that are there",
    "right total worked out",
    *(name for rows in VERDICTS.values() for name, _ in rows),
)


def table(figures: Figures) -> str:
    """One line a measure: hits, n, share and interval."""
    shares = dict(figures.shares)
    numbers = [shares[name] for name in NUMBERS if name in shares]
    shares["all numbers"] = Share(sum(s.hits for s in numbers), sum(s.n for s in numbers))
    width = max(map(len, MEASURES))
    return "".join(f"  {name:<{width}}  {shares.get(name, Share(0, 0))}\n" for name in MEASURES)


def summary(results: Sequence[Record], truths: Sequence[Record]) -> str:
    """The tables: for all slips, then for each `copy` and `capture` that the truth names."""
    pairs, invented = match_slips(results, truths)
    missed = sum(read is None for _, read in pairs)
    text = (
        f"{len(truths)} slips in the truth: {len(truths) - missed} found, {missed} missed; "
        f"{len(invented)} invented.\n\nAll (hits/n, share, Wilson 95 %)\n{table(compare(pairs))}"
    )
    for key in ("copy", "capture"):
        for value in sorted({str(slip[key]) for slip in truths if key in slip}):
            group = [pair for pair in pairs if str(pair[0].get(key)) == value]
            text += f"\n{key} {value}: {len(group)} slips\n{table(compare(group))}"
    return text


def mismatches(results: Sequence[Record], truths: Sequence[Record]) -> str:
    """Each mismatch on a line, with its place."""
    found = compare(*match_slips(results, truths)).mismatches
    return f"{len(found)} mismatches\n" + "".join(f"  {mismatch}\n" for mismatch in found)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the comparison; 2 with a sentence on standard error where a file can't be used."""
    parser = argparse.ArgumentParser(prog="compare", description="Compare a result file with the truth.")
    parser.add_argument("result", type=Path)
    parser.add_argument("truth", type=Path)
    parser.add_argument("--list", action="store_true", help="name each mismatch")
    options = parser.parse_args(arguments)
    try:
        results, truths = load(options.result), load(options.truth)
        if results and not {slip["photo"] for slip in results} & {slip["photo"] for slip in truths}:
            raise CompareError(
                f"{options.result} and {options.truth} name no photo in common. "
                "Check the folder that the truth describes."
            )
    except CompareError as error:
        print(f"compare: {error}", file=sys.stderr)
        return 2
    sys.stdout.write(summary(results, truths))
    if options.list:
        sys.stdout.write("\n" + mismatches(results, truths))
    return 0


if __name__ == "__main__":
    sys.exit(main())
