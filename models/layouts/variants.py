"""Other designs of the tune pads, drawn by seed, for the box finder to be trained on.

    python -m models.layouts.variants FOLDER --fonts FONTS --each 5

FOLDER gets NAME.png and NAME.json of every pad of ``tests/measure/fresh_forms/tune`` as it is, and NAME-v1, NAME-v2
and so on with other rows, faces, colours, rules, column widths and order, wording and margins (``vary.js``). The
browser varies a pad before it measures it, so the truth is exact. Pictures have 64 colours, to travel. What is in FOLDER
already is kept.
"""

import argparse
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from multiprocessing.pool import ThreadPool
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from numpy.random import Generator
from PIL import Image, ImageFont

from models.forms.wording import HEADINGS, LABELS, SHORT_LABELS
from tests.measure.fresh_forms.render import HERE, pads, render

_SCRIPT = Path(__file__).with_name("vary.js")
_DPI = 150
_LEAST_LONG = 1240
"""Pixels of the longer side; a small pad is rendered finer than `_DPI` to have them."""
_LEAST_HIGH, _LEAST_WIDE = 3.5, 5.0
"""Millimetres: a lower or narrower box is no box to write in."""
_OVERLAP = 0.6
"""Millimetres that neighbours may share, for rules have a width."""
_TRIES = 4
_COLOURS = 64
_DRAWN = "<main data-drawn"
_SAMPLE = "Quantity Description of goods Price each Total £12.50"
_FACE = re.compile(r"@font-face\{font-family:(\w+);(?:font-weight:(\d+);)?src:url\(([^)]+)\)\}")
_LOUD = ("lobster", "playball", "limelight", "abril", "cinzel", "vt323", "righteous", "bebas")
"""Faces for titles only."""

Picture = npt.NDArray[np.uint8]
Places = dict[str, Any]


@dataclass(frozen=True)
class _Print:
    """The plain and the bold file of a family (the same where it has one)."""

    plain: Path
    bold: Path


def families(folder: Path) -> list[_Print]:
    """Return the families of print in `folder`, by name; those for titles are left out."""
    found = []
    for plain in sorted(folder.glob("*-400.*")):
        if not plain.name.startswith(_LOUD):
            bold = plain.with_name(plain.name.replace("-400", "-700"))
            found.append(_Print(plain, bold if bold.exists() else plain))
    return found


def _width(face: Path) -> float:
    return float(ImageFont.truetype(str(face), 100).getlength(_SAMPLE))


def _faces(rng: Generator, known: list[_Print], base: Path) -> str:
    """Return rules that set some families of the stylesheet `base` in other faces of about their width."""
    chosen: dict[str, _Print | None] = {}
    rules = []
    for family, weight, url in _FACE.findall(base.read_text(encoding="utf-8")):
        if family not in chosen:
            chosen[family] = known[int(rng.integers(len(known)))] if known and rng.random() < 0.75 else None
        other = chosen[family]
        size = float(rng.uniform(0.9, 1.06))
        old = base.parent / url
        face = old if other is None else other.bold if int(weight or 400) >= 600 else other.plain
        if face != old:
            size *= min(1.1, _width(old) / _width(face))
        rules.append(
            f"@font-face{{font-family:{family};font-weight:{weight or 400};"
            f"src:url({face.resolve().as_uri()});size-adjust:{100 * size:.1f}%}}"
        )
    return "\n".join(rules)


def _words() -> dict[str, list[str]]:
    words = {role: list(several) for role, several in HEADINGS.items()}
    for role, several in LABELS.items():
        words[role] = [*several, *SHORT_LABELS.get(role, ())]
    return words | {"items": words["other_total"]}


def varied(pad: Path, seed: int, known: list[_Print]) -> str:
    """Return the page of `pad` that varies itself by `seed`; 0 leaves it as it is.

    `known` holds the faces that may replace those of the pads' stylesheet.
    """
    text = pad.read_text(encoding="utf-8")
    style = _faces(np.random.default_rng(seed), known, HERE / "base.css") if seed else ""
    told = json.dumps({"seed": seed, "words": _words()}).replace("<", "\\u003c")
    script = _SCRIPT.read_text(encoding="utf-8")
    before = f"<style>{style}</style><script>const VARY={told};</script><script>{script}</script>"
    at = text.index('<script src="../pad.js">')
    return text[:at] + before + text[at:]


def faults(places: Places) -> list[str]:
    """Return what is wrong with the boxes of a pad: too small to write in, or one upon another."""
    mm = float(places["scale"])
    boxes = [box for box in places["boxes"] if box["role"] != "serial"]
    found = []
    for box in boxes:
        left, top, right, bottom = box["rect"]
        if bottom - top < _LEAST_HIGH * mm or right - left < _LEAST_WIDE * mm:
            found.append(f"{box['role']} of row {box['row']} is small")
    rects = np.array([box["rect"] for box in boxes])
    low = np.maximum(rects[:, None, :2], rects[None, :, :2])
    high = np.minimum(rects[:, None, 2:], rects[None, :, 2:])
    over = np.triu(((high - low) > _OVERLAP * mm).all(-1), 1)
    return found + [f"{boxes[i]['role']} lies on {boxes[j]['role']}" for i, j in np.argwhere(over)]


def _drawn(pad: Path, seed: int, known: list[_Print], dpi: float, chromium: str) -> tuple[Picture, Places]:
    return render(pad, chromium, dpi, varied(pad, seed, known))


def variants(
    pad: Path, numbers: Sequence[int], known: list[_Print], chromium: str = "chromium"
) -> Iterable[tuple[str, Picture, Places]]:
    """Give the name, the (H, W, 3) uint8 RGB picture and the places of `pad` and of the variants `numbers`.

    A variant with worse faults than the pad itself is dropped, and another seed tried. A pad whose rules are one drawing
    (``data-drawn``) has no variants: its boxes would move and the drawing stay.
    """
    dpi: float = _DPI
    picture, places = _drawn(pad, 0, known, dpi, chromium)
    if max(picture.shape) < _LEAST_LONG:
        dpi *= _LEAST_LONG / max(picture.shape)
        picture, places = _drawn(pad, 0, known, dpi, chromium)
    yield pad.stem, picture, places
    if _DRAWN in pad.read_text(encoding="utf-8"):
        return
    own, small = places["faults"], len(faults(places))
    name = int.from_bytes(pad.stem.encode()[:6], "big")
    for number in numbers:
        for attempt in range(_TRIES):
            seed = int(np.random.default_rng([name, number, attempt]).integers(1, 2**32))
            try:
                picture, places = _drawn(pad, seed, known, dpi, chromium)
            except RuntimeError:  # a box is off the paper
                continue
            if places["faults"] <= own and len(faults(places)) <= small:
                yield f"{pad.stem}-v{number}", picture, places
                break


def _save(folder: Path, name: str, picture: Picture, places: Places) -> None:
    few = Image.fromarray(picture).quantize(_COLOURS, dither=Image.Dither.NONE)
    few.save(folder / f"{name}.png", optimize=True)
    (folder / f"{name}.json").write_text(json.dumps(places), encoding="utf-8")


def main() -> None:
    """Render the pads and their variants."""
    parser = argparse.ArgumentParser(description="Render the tune pads and other designs of them.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--fonts", type=Path, required=True, help="what models.forms.fetch_fonts wrote")
    parser.add_argument("--each", type=int, default=5, help="variants of each pad")
    parser.add_argument("--only", nargs="*", help="names of pads")
    parser.add_argument("--browsers", type=int, default=2, help="browsers at a time")
    parser.add_argument("--chromium", default="chromium")
    given = parser.parse_args()
    known = families(given.fonts / "print")
    given.folder.mkdir(parents=True, exist_ok=True)

    def one(pad: Path) -> str:
        there = {path.stem for path in given.folder.glob(f"{pad.stem}*.json")}
        missing = [n for n in range(1, given.each + 1) if f"{pad.stem}-v{n}" not in there]
        if missing or pad.stem not in there:
            for name, picture, places in variants(pad, missing, known, given.chromium):
                _save(given.folder, name, picture, places)
                there.add(name)
        return f"{pad.stem}: {len(there) - 1} variants"

    chosen = [pad for pad in pads("tune") if not given.only or pad.stem in given.only]
    with ThreadPool(given.browsers) as pool:
        for line in pool.imap(one, chosen):
            print(line, flush=True)


if __name__ == "__main__":
    main()
