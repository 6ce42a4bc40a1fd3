"""How well photographed delivery notes are read: codes and quantities exact, and what is marked doubtful.

``python -m tests.measure.delivery_notes --notes 32 [--family test] [--tesseract]``

Data: notes drawn by ``sample_scans.notes`` (everything invented): four layouts in turn (all rules, level rules, no
rules, boxes with dotted rules), half of them hard (10 to 25 degrees, shadow, blur), on eight kinds of table, as
12-megapixel JPEG files. The family ``test`` shares no font and no heading list with ``tune``, on which the reader
was made. Intervals are Wilson's at 95 %. A line that is missed counts as wrong in both.
"""

import argparse
import tempfile
import time
from difflib import SequenceMatcher
from pathlib import Path

import cv2
import numpy as np
from PIL import Image as Pictures

from formread.codes import normalise_code
from formread.errors import ListError
from formread.goods import note as notes
from formread.goods.delivery import DeliveredLine
from formread.money import currency
from formread.photo import read_photo
from formread.sheet.record import Image
from formread.sheet.search import find_page
from sample_scans.hands import Family
from sample_scans.notes import LAYOUTS, NoteLine, photograph, random_note


def wilson(good: int, of: int) -> str:
    """Share with its 95 % interval (Wilson, JASA 22, 1927)."""
    if not of:
        return "-"
    z2, p = 1.96**2, good / of
    centre = (p + z2 / (2 * of)) / (1 + z2 / of)
    half = 1.96 * ((p * (1 - p) / of + z2 / (4 * of**2)) ** 0.5) / (1 + z2 / of)
    return f"{100 * p:6.2f} % [{100 * (centre - half):.2f}, {100 * (centre + half):.2f}] ({good}/{of})"


def paired(
    truth: tuple[NoteLine, ...], found: list[DeliveredLine]
) -> list[tuple[NoteLine, DeliveredLine | None]]:
    """Put each true line beside the one read for it, in order."""
    told = [line.description.casefold() for line in truth]
    read = [(line.description or "").casefold() for line in found]
    pairs: list[tuple[NoteLine, DeliveredLine | None]] = [(line, None) for line in truth]
    if len(found) == len(truth):
        return list(zip(truth, found, strict=True))
    for a, b, size in SequenceMatcher(None, told, read, autojunk=False).get_matching_blocks():
        for step in range(size):
            pairs[a + step] = (truth[a + step], found[b + step])
    return pairs


def tesseract_codes(image: Image, truth: tuple[NoteLine, ...]) -> int:
    """How many true codes Tesseract finds as words of their own on the same flattened page."""
    import pytesseract

    words = {normalise_code(word) for word in pytesseract.image_to_string(image, config="--psm 6").split()}
    return sum(normalise_code(line.code) in words for line in truth)


def main() -> None:
    """Draw, photograph, read, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--notes", type=int, default=32)
    parser.add_argument("--family", choices=("tune", "test"), default="test")
    parser.add_argument("--seed", type=int, default=500)
    parser.add_argument("--tesseract", action="store_true", help="read the codes with Tesseract too")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    family: Family = "tune" if given.family == "tune" else "test"
    total: dict[str, list[int]] = {layout: [0] * 7 for layout in (*LAYOUTS, "all")}
    seconds, pages = 0.0, 0
    for number in range(given.notes):
        layout = LAYOUTS[number % len(LAYOUTS)]
        drawn = random_note(given.seed + number, family, layout)
        rng = np.random.default_rng([given.seed, number, 5])
        for page, (flat, truth) in enumerate(zip(drawn.pages, drawn.lines, strict=True)):
            shot = photograph(flat, rng, hard=number // len(LAYOUTS) % 2 == 1)
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / f"{drawn.name}-{page + 1}.jpg"
                Pictures.fromarray(shot.image).save(path, quality=85)
                begin = time.process_time()
                pieces = notes._photographed(path)
                seconds += time.process_time() - begin
                known = {normalise_code(line.code): line.code for line in truth}
                lines: list[list[DeliveredLine]] = []
                for codes in ({}, known):
                    try:
                        lines.append(notes._from_pages(path.name, pieces, codes, currency("GBP"))[0])
                    except ListError:
                        lines.append([])
                seen = 0
                if given.tesseract:
                    seen = tesseract_codes(find_page(next(iter(read_photo(path))).image).image, truth)
            pages += 1
            counts = [len(truth), 0, 0, 0, 0, 0, seen]
            for (line, bare), (_, helped) in zip(
                paired(truth, lines[0]), paired(truth, lines[1]), strict=True
            ):
                counts[1] += bare is not None and bare.code == line.code
                right = helped is not None and helped.code == line.code
                exact = helped is not None and helped.quantity == line.quantity
                counts[2] += right
                counts[3] += exact
                marked = helped is None or helped.doubtful is not None
                counts[4] += marked
                counts[5] += not (right and exact) and not marked
                if not (right and exact):
                    print(f"  {drawn.name}: {line.code} {line.quantity} read as {helped}", flush=True)
            for key in (layout, "all"):
                total[key] = [a + b for a, b in zip(total[key], counts, strict=True)]
        print(f"{drawn.name}: {total['all'][:6]}", flush=True)
    print(
        f"\nfamily {family}, {given.notes} notes, {pages} pages, {seconds / max(pages, 1):.1f} s CPU a page"
    )
    for name, (of, bare_codes, right_codes, exact_ones, marks, silent, found) in total.items():
        print(f"\n{name}: {of} lines")
        print(f"  codes exact, nothing known      {wilson(bare_codes, of)}")
        print(f"  codes exact, order's codes known{wilson(right_codes, of)}")
        print(f"  quantities exact                {wilson(exact_ones, of)}")
        print(f"  marked doubtful (or missing)    {wilson(marks, of)}")
        print(f"  wrong and not marked            {wilson(silent, of)}")
        if given.tesseract:
            print(f"  codes found by Tesseract        {wilson(found, of)}")


if __name__ == "__main__":
    main()
