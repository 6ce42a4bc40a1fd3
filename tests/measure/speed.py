"""How many processor seconds one photo takes, stage by stage, beside decoding the same file.

    python -m tests.measure.speed PHOTO... [--runs N]

Each photo is read `runs` times in one process after a warm-up; the medians are printed, in seconds and as
multiples of the time that OpenCV takes to decode the same file (machines differ, ratios less so).
"""

import argparse
import statistics
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np

from formread.arithmetic import judge
from formread.layout import propose_layouts
from formread.photo import read_photo
from formread.pile.slip import read_sheet
from formread.sheet.search import find_sheets

STAGES = ("decode alone", "open", "find and flatten", "layout", "read boxes", "judge")

T = TypeVar("T")


def _timed(spent: dict[str, float], stage: str, work: Callable[[], T]) -> T:
    start = time.process_time()
    result = work()
    spent[stage] += time.process_time() - start
    return result


def time_photo(path: Path) -> tuple[dict[str, float], int, float]:
    """Read one photo once; return seconds by stage, the number of slips and the megapixels."""
    spent = dict.fromkeys(STAGES, 0.0)
    data = np.frombuffer(path.read_bytes(), np.uint8)
    _timed(spent, "decode alone", lambda: cv2.imdecode(data, cv2.IMREAD_COLOR))
    slips, pixels = 0, 0.0
    for photo in _timed(spent, "open", lambda: list(read_photo(path))):
        pixels += photo.image.shape[0] * photo.image.shape[1] / 1e6
        image = photo.image
        for sheet in _timed(spent, "find and flatten", lambda image=image: find_sheets(image)).sheets:  # type: ignore[misc]
            slips += 1
            layouts = _timed(spent, "layout", lambda sheet=sheet: propose_layouts(sheet)).layouts  # type: ignore[misc]
            if not layouts:
                continue
            readings = _timed(
                spent,
                "read boxes",
                lambda sheet=sheet, layouts=layouts: read_sheet(sheet.image, layouts[0]),  # type: ignore[misc]
            )
            _timed(spent, "judge", lambda readings=readings: judge(readings))  # type: ignore[misc]
    return spent, slips, pixels


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", nargs="+", type=Path)
    parser.add_argument("--runs", type=int, default=5)
    options = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    print(
        f"{'photo':<22}{'MP':>6}{'slips':>6}" + "".join(f"{stage:>18}" for stage in STAGES) + f"{'total':>9}"
    )
    for path in options.photos:
        _, slips, pixels = time_photo(path)
        runs = [time_photo(path)[0] for _ in range(options.runs)]
        medians = {stage: statistics.median(run[stage] for run in runs) for stage in STAGES}
        total = statistics.median(sum(run[s] for s in STAGES[1:]) for run in runs)
        decode = medians[STAGES[0]]
        cells = "".join(f"{medians[s]:>9.3f} s {medians[s] / decode:>5.1f}x" for s in STAGES)
        print(f"{path.name:<22}{pixels:>6.1f}{slips:>6}{cells}{total:>7.2f} s")


if __name__ == "__main__":
    main()
