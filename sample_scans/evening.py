"""The sample evening: what the seller of the sample slips has besides them. Everything is invented.

``python -m sample_scans.evening FOLDER`` writes a price list, a list of customers with made-up coordinates, a
list of streets in walking order, and the delivery note, photographed page by page, with its truth.
"""

import argparse
import csv
import io
import json
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from sample_scans.hands import HERE
from sample_scans.notes import NoteLine, draw_note, photograph
from sample_scans.orders import STREETS

SEED = 20977
SCALE = 10.5
QUALITY = 72
SIZES = ("small", "medium", "large")

Slips = Sequence[dict[str, Any]]


def _counted(slips: Slips) -> list[dict[str, Any]]:
    return [line for slip in slips for line in slip["lines"] if not line["struck_out"]]


def price_rows(slips: Slips, rng: np.random.Generator) -> list[list[str]]:
    """List every coded product at the price that most slips write, in the order of the codes."""
    prices: dict[str, Counter[int]] = defaultdict(Counter)
    words: dict[str, Counter[str]] = defaultdict(Counter)
    for line in _counted(slips):
        if line["code"] and line["unit_price"]:
            prices[line["code"]][line["unit_price"]] += 1
            words[line["code"]][line["description"] or ""] += 1
    rows = [["Code", "Description", "Price", "Was", "Offer", "Size"]]
    for code in sorted(prices):
        price = prices[code].most_common(1)[0][0]
        was = f"{(price + 30) / 100:.2f}" if rng.random() < 0.15 else ""
        size = SIZES[int(rng.choice(3, p=[0.6, 0.3, 0.1]))]
        rows.append([code, words[code].most_common(1)[0][0], f"{price / 100:.2f}", was, "", size])
    return rows


def customer_rows(slips: Slips, rng: np.random.Generator) -> list[list[str]]:
    """Say whose slip is whose, and where they live; streets lie side by side on an invented hillside."""
    rows = [["Slip", "Name", "Address", "Latitude", "Longitude"]]
    for slip in slips:
        if not slip["lines"]:
            continue
        name, _, address = slip["customer"].partition(", ")
        number, _, street = address.partition(" ")
        at = STREETS.index(street.split(", ")[0])
        north = 54.4321 + 0.0011 * at
        east = -2.3456 + 0.00012 * int(number) + float(rng.normal(0, 0.00005))
        rows.append([slip["slip_number"] or slip["photo"], name, address, f"{north:.5f}", f"{east:.5f}"])
    return rows


def street_rows() -> list[list[str]]:
    """Walk the streets, some up one side and down the other, one in two rows."""
    rows = [["Street", "Side", "Way", "Houses"]]
    for at, street in enumerate(STREETS):
        if at == 2:
            rows.append([street, "odd", "up", ""])
        else:
            rows.append([street, "", ("odd up even down", "", "down", "even up odd down")[at % 4], ""])
    rows.append([STREETS[2], "even", "down", ""])
    return rows


def note_lines(slips: Slips) -> list[NoteLine]:
    """What the supplier sends: four products short, one replaced, one too many, one that nobody ordered."""
    quantity: Counter[str] = Counter()
    words: dict[str, str] = {}
    coded: set[str] = set()
    for line in _counted(slips):
        key = line["code"] or line["description"]  # some pads have no column for codes
        quantity[key] += 1 if line["quantity"] is None else line["quantity"]
        words.setdefault(key, line["description"] or "")
        if line["code"]:
            coded.add(key)
    codes = sorted(quantity, key=lambda key: (key not in coded, key))
    lines = [
        NoteLine(
            code if code in coded else "",
            words[code],
            quantity[code],
            str(1 + 3 * at // len(codes)),
            quantity[code],
            0,
        )
        for at, code in enumerate(codes)
    ]
    for at in (7, 29, 44, 61):
        lines[at] = replace(lines[at], quantity=lines[at].quantity - 1)
    lines[15] = replace(lines[15], quantity=0)
    box = lines[16].box
    lines.insert(16, NoteLine("700-118", "Willow basket", 1, box, 0, 0, instead_of=lines[15].code))
    lines[51] = replace(lines[51], quantity=lines[51].quantity + 1)
    return [*lines, NoteLine("700-245", "Copper snips", 2, lines[-1].box, 0, 0)]


def _csv(rows: Sequence[Sequence[str]]) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def draw_evening(out: Path) -> None:
    """Write everything into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    slips = json.loads((HERE / "truth.json").read_text(encoding="utf-8"))["slips"]
    rng = np.random.default_rng(SEED)
    (out / "price_list.csv").write_text(_csv(price_rows(slips, rng)), encoding="utf-8")
    (out / "customers.csv").write_text(_csv(customer_rows(slips, rng)), encoding="utf-8")
    (out / "streets.csv").write_text(_csv(street_rows()), encoding="utf-8")
    note = draw_note("level", note_lines(slips), "test", rng, SCALE, "delivery_note")
    truth = []
    for page, flat in enumerate(note.pages):
        name = f"delivery_note_{page + 1}.jpg"
        shot = photograph(flat, rng, hard=False, size=(2550, 3400), table="dark wood")
        Image.fromarray(shot.image).save(out / name, "JPEG", quality=QUALITY)
        truth.append(note.truth(name, page))
    body = {"about": "An invented delivery note, drawn.", "pages": truth}
    (out / "truth.json").write_text(json.dumps(body, separators=(",", ":")) + "\n", encoding="utf-8")


def main(arguments: list[str] | None = None) -> None:
    """Read the command line and draw."""
    parser = argparse.ArgumentParser(
        prog="python -m sample_scans.evening", description="Draw the sample evening."
    )
    parser.add_argument("out", type=Path, help="folder to write into")
    cv2.setNumThreads(1)
    draw_evening(parser.parse_args(arguments).out)


if __name__ == "__main__":
    main()
