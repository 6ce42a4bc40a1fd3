"""Find the one page in a photo and flatten it: printed paper with rules on it or without any.

Slips are found by ``search``, which asks for printed rules because many may lie in one photo; a page that was
photographed for itself needs none, but is large.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from formread.sheet import edge, flatten, light, propose, upright
from formread.sheet import quad as quads
from formread.sheet import rules as printed
from formread.sheet.record import Image, Points, Sheet

_REACH = 0.03  # of a proposal's longer side: how far off its edges may be on the small copy
_FINE_REACH = 0.006
_SMALLEST = 0.15  # of the photo's area
_LARGER = 0.1  # what a doubling of the area is worth beside clear edges (0 to 1)
_CLEAR_STEP = 4.0  # Lab units: a step from table to paper that is beyond doubt
_LEAST = 0.55  # mean support of the four edges; below it the whole photo is the page
_EVEN_PAPER = 0.03  # of black, the median over a page
_TRIAL_SIDE = 1400
_SIDES = (1600, 3200)  # long side of the page that comes out: as in the photo, within these


@dataclass(frozen=True, slots=True, eq=False)
class _Outline:
    sides: tuple[edge.Side, edge.Side, edge.Side, edge.Side]
    clear: float
    value: float


def find_page(photo: Image) -> Sheet:
    """Find the page that fills most of a photo or scan, and flatten it.

    Parameters
    ----------
    photo
        (H, W, 3) uint8 RGB.

    Returns
    -------
    Sheet
        Upright, evenly lit, its long side 1600 to 3200 pixels. Where no edges are seen, the whole photo.
    """
    lab, scale = propose.without_writing(photo)
    whole = lab.shape[0] * lab.shape[1]
    found = [
        _followed(lab, quad, whole) for quad in propose.propose(lab) if quads.area(quad) > _SMALLEST * whole
    ]
    for one in sorted(found, key=lambda one: -one.value):
        if one.clear < _LEAST:
            continue
        sheet = _flattened(photo, _fine(photo, one.sides, scale))
        if _is_paper(sheet.image):
            return sheet
    height, width = photo.shape[:2]
    frame = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float64)
    return _flattened(photo, edge.straight(frame))


def _is_paper(image: Image) -> bool:
    return float(np.median(light.ink(image, light.paper_tone(image)))) < _EVEN_PAPER


def _followed(lab: npt.NDArray[np.float32], quad: Points, whole: float) -> _Outline:
    size = max(float(np.hypot(*(quad[i] - quad[i - 1]))) for i in range(4))
    sides = edge.to_corners(edge.follow(lab, edge.straight(quad), _REACH * size))
    outline = np.array([side.start for side in sides])
    if not quads.is_sheet_like(outline):
        return _Outline(sides, 0.0, 0.0)
    speak = [side.support * min(1.0, side.contrast / _CLEAR_STEP) for side in sides]
    clear = 0.6 * float(np.mean(speak)) + 0.4 * min(speak)
    return _Outline(sides, clear, clear + _LARGER * float(np.log2(max(quads.area(outline) / whole, 1e-3))))


def _fine(
    photo: Image, sides: tuple[edge.Side, edge.Side, edge.Side, edge.Side], scale: float
) -> tuple[edge.Side, edge.Side, edge.Side, edge.Side]:
    """Follow the edges again in the photo itself."""
    large = [
        edge.Side(
            (s.start + 0.5) / scale - 0.5, (s.end + 0.5) / scale - 0.5, s.curve / scale, s.support, s.contrast
        )
        for s in sides
    ]
    rough = (large[0], large[1], large[2], large[3])
    size = max(float(np.hypot(*(side.end - side.start))) for side in rough)
    followed = edge.follow(photo, rough, _FINE_REACH * size + 1 / scale)
    kept = [fine if fine.support > 0.5 else side for fine, side in zip(followed, rough, strict=True)]
    return edge.to_corners((kept[0], kept[1], kept[2], kept[3]))


def _flattened(photo: Image, sides: tuple[edge.Side, edge.Side, edge.Side, edge.Side]) -> Sheet:
    flat = flatten.from_sides(sides, photo, _TRIAL_SIDE)
    for _ in range(2):
        trial = flatten.render(photo, flat)
        tone = light.paper_tone(trial)
        ink = light.ink(trial, tone)
        across, down = printed.across(ink), printed.down(ink)
        flat = flatten.straightened(flat, across, down)
    turns = upright.quarter_turns(light.evened(trial, tone), ink, across, down)
    outline = np.array([side.start for side in sides])
    size = max(float(np.hypot(*(side.end - side.start))) for side in sides)
    long = float(np.clip(size, *_SIDES))
    final = flatten.turned(flat.resized(long / _TRIAL_SIDE), turns)
    image = flatten.render(photo, final)
    even = light.evened(image, light.paper_tone(image))
    return Sheet(even, np.roll(outline, turns, axis=0), final.to_photo)
