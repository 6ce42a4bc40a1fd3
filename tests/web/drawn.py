"""Slips for the desk's tests: drawn (invented, family ``tune``), their readings made from their truth, no network.

Readings of a drawn slip are tables: each box has what is written with 0.998; a doubtful one has a wrong value
first and what is written second.
"""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import cv2
import numpy as np

from formread.arithmetic import Tabled
from formread.arithmetic.record import LineReadings, SlipReadings, TotalReading
from formread.layout.record import Box, Layout, Rectangle, Row, TotalBox
from formread.pile.kept import Piles
from formread.pile.record import ReadPhoto, ReadSlip
from formread.pile.store import Store
from formread.record import Kind, Value
from formread.slips import Problem
from sample_scans.slips import flat_slip

SCALE = 6.0  # pixels per millimetre: small, so that drawing is quick
TOTALS = ("goods", "delivery", "discount", "deposit", "other", "total")
COLUMNS: dict[str, Kind] = {
    "code": "code",
    "quantity": "quantity",
    "unit_price": "amount",
    "line_total": "amount",
}


def slip(seed: int, *, doubtful: bool = False, doubt: int = 1) -> ReadSlip:
    """A drawn slip as read; with `doubtful`, the reader takes its total for `doubt` pounds less, and is not sure."""
    image, truth = flat_slip(seed, "tune", scale=SCALE)
    boxes = [box for box in truth["boxes"] if box["role"] in COLUMNS]
    rows = sorted({box["row"] for box in boxes if box["row"] is not None})
    lines, placed = [], []
    for number in rows:
        mine = {box["role"]: box for box in boxes if box["row"] == number}
        struck = any(box["struck_out"] for box in mine.values())
        quantity, price, line_total, code = (
            _sure(mine[role]["value"], kind) if role in mine else None
            for role, kind in (*list(COLUMNS.items())[1:], ("code", COLUMNS["code"]))
        )
        struck_out = 0.999 if struck else 0.0001
        lines.append(LineReadings(number, quantity, price, line_total, code, struck_out))
        placed.append(Row(number, tuple((role, Box(_around(box["quad"]))) for role, box in mine.items())))
    totals, places = [], []
    for box in truth["boxes"]:
        if box["role"] in TOTALS and box["row"] is None:
            reading = _sure(box["value"], "amount")
            if doubtful and box["role"] == "total" and isinstance(box["value"], int):
                other = abs(box["value"] - 100 * doubt)
                reading = Tabled("amount", {box["value"]: 0.06, other: 0.93}, 1e-7)
            totals.append(TotalReading(box["role"], reading))
            places.append(TotalBox(box["role"], Box(_around(box["quad"]))))
    customer = next((box for box in truth["boxes"] if box["role"] == "customer"), None)
    layout = Layout(
        (),
        tuple(placed),
        tuple(places),
        serial_text=truth["slip_number"],
        customer=None if customer is None else _around(customer["quad"]),
    )
    _, jpeg = cv2.imencode(".jpg", image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
    return ReadSlip(
        "", 1, ((0.0, 0.0),) * 4, layout, SlipReadings(tuple(lines), tuple(totals)), jpeg.tobytes()
    )


def _sure(value: Value, kind: Kind) -> Tabled:
    return Tabled(kind, {value: 0.998}, 1e-7)


def _around(quad: list[list[float]]) -> Rectangle:
    left, top = np.min(quad, axis=0)
    right, bottom = np.max(quad, axis=0)
    return Rectangle(int(left), int(top), int(right), int(bottom))


def fill(folder: Path, slips: Sequence[ReadSlip], *, copies: int = 1, problem: bool = False) -> None:
    """Make a store with `copies` piles, numbered from 1, of these slips, one photo each."""
    store = Store(folder)
    piles = Piles(store)
    for _ in range(copies):
        pile = store.add_pile("Spring delivery", date(2026, 5, 14), "GBP")
        for number, one in enumerate(slips, 1):
            keep(piles, pile, f"IMG_{number:04d}.jpg", ReadPhoto((one,), ()), number)
        if problem:
            failed = Problem(
                "", None, "The photo is damaged or cut off. Copy it again, or take the photo again."
            )
            keep(piles, pile, "IMG_9999.jpg", ReadPhoto((), (failed,)), 0)
        piles.refresh(pile)
    store.close()


def keep(piles: Piles, pile: int, name: str, read: ReadPhoto, number: int) -> None:
    """Keep a photo as read; `number` makes its bytes its own."""
    photo = piles.store.add_photo(pile, name, f"the file {number}".encode())
    row = None if photo is None else piles.store.photo(photo)
    path = None if photo is None else piles.store.photo_path(photo)
    assert row is not None
    assert path is not None
    assert piles.keep_read(row, path, read)
