"""Propose what the boxes of a sheet mean: boxes as the network sees them, then print, then roles."""

from collections.abc import Sequence
from itertools import groupby

import cv2
import numpy as np

from formread.layout.boxes import KINDS, Seen, look
from formread.layout.ink import Ink, ink_of
from formread.layout.printed import Piece, crops
from formread.layout.record import LayoutSearch
from formread.layout.rules import Rule, Rules, erase, find_rules
from formread.layout.sight import layouts_seen
from formread.layout.table import find_grid
from formread.ocr import PrintedText, read_lines
from formread.sheet.record import Image, Sheet

_WORKING = 1500  # pixels of the longer side that all pixel figures of print are meant for
_LEAST = 200  # pixels; nothing can be read on a smaller sheet
_LONG = 330  # pixels; a shorter upright is erased only where it is the side of a box: it may be print
_WIDE = 170  # pixels; the same for a level rule
_MEETS = 9.0  # pixels
_BROKEN = 0.8  # a drawn line is dark on more of its length; a line of print and dashes on about 0.6
_SEEN, _AMONG_PRINT = (
    0.4,
    0.5,
)  # probability of a heading or a label, and share of a line of print where they are seen
_PLACES = 48  # looked at along a line

NO_TABLE = (
    "No table of order lines was found on this slip. Photograph it flat and from straight above, so that the "
    "printed lines show; a slip without any lines can't be read yet."
)
TOO_SMALL = "The slip is too small in the photo to read its boxes. Photograph it from nearer."


def propose_layouts(sheet: Sheet) -> LayoutSearch:
    """Propose what the boxes of a sheet mean, most probable proposal first.

    Parameters
    ----------
    sheet
        One slip, flat and upright.

    Returns
    -------
    LayoutSearch
        Up to three layouts whose rectangles are in pixels of ``sheet.image``; falsy, with a reason in the
        seller's words, when no table is found.
    """
    if max(sheet.image.shape[:2]) < _LEAST:
        return LayoutSearch((), TOO_SMALL)
    return layouts_in(sheet.image, look(sheet.image))


def layouts_in(image: Image, seen: Seen) -> LayoutSearch:
    """Propose what the boxes of a sheet mean that was looked at.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB, one slip, flat and upright.
    seen
        What was seen on it, or on it and on other slips of the pad.
    """
    height, width = image.shape[:2]
    grid = find_grid(seen)
    if grid is None:
        return LayoutSearch((), NO_TABLE)
    scale = max(height, width) / _WORKING
    size = (max(1, round(width / scale)), max(1, round(height / scale)))
    method = cv2.INTER_AREA if scale > 1 else cv2.INTER_CUBIC
    ink = ink_of(np.asarray(cv2.resize(image, size, interpolation=method), np.uint8))
    content = _content(ink, find_rules(ink), seen, scale)
    return LayoutSearch(tuple(layouts_seen(seen, grid, content, _Reader(image, scale), scale)))


def _aspect(piece: Piece) -> float:
    return piece.length / piece.height


class _Reader:
    """Reads pieces of print from the sheet's own pixels, each only once."""

    def __init__(self, image: Image, scale: float) -> None:
        self._image = image
        self._scale = scale
        self._known: dict[Piece, PrintedText] = {}

    def __call__(self, found: Sequence[Piece]) -> list[PrintedText]:
        new = [piece for piece in dict.fromkeys(found) if piece not in self._known]
        new.sort(key=_aspect)
        # The recogniser pads a batch to its widest crop: like goes with like.
        for _, group in groupby(new, key=lambda piece: int(np.log2(max(_aspect(piece), 1.5)) * 2)):
            batch = list(group)
            texts = read_lines(crops(self._image, batch, self._scale))
            self._known.update(zip(batch, texts, strict=True))
        return [self._known[piece] for piece in found]


def _content(ink: Ink, rules: Rules, seen: Seen, working: float) -> Ink:
    """Return the darkness without the rules: print and writing."""
    level = tuple(
        rule
        for rule in rules.horizontal
        if (rule.length > _WIDE or _meets(rule, rules.vertical)) and not _of_print(rule, seen, working)
    )
    flat = erase(ink, level)
    upright = tuple(rule for rule in rules.vertical if rule.length > _LONG or _meets(rule, rules.horizontal))
    return np.ascontiguousarray(erase(np.ascontiguousarray(flat.T), upright).T)


def _of_print(rule: Rule, seen: Seen, working: float) -> bool:
    """Say whether a level rule is a line of print: broken as dashes are, and where headings or labels stand."""
    if rule.solid > _BROKEN:
        return False
    x = np.linspace(rule.start, rule.end, _PLACES)
    print_seen = np.maximum(seen.kinds[KINDS.index("label")], seen.kinds[KINDS.index("heading")])
    high, wide = print_seen.shape
    u = np.clip((x * working / seen.scale[0]).astype(int), 0, wide - 1)
    v = np.clip((rule.at(x) * working / seen.scale[1]).astype(int), 0, high - 1)
    return bool((print_seen[v, u] > _SEEN).mean() >= _AMONG_PRINT)


def _meets(upright: Rule, level: Sequence[Rule]) -> bool:
    """Say whether an upright begins and ends at level rules, as the side of a box does."""
    x = upright.middle
    heights = [_x(rule, x) for rule in level if rule.start - _MEETS <= x <= rule.end + _MEETS]
    return all(any(abs(end - y) <= _MEETS for y in heights) for end in (upright.start, upright.end))


def _x(rule: Rule, y: float) -> float:
    return float(rule.at(np.array([y]))[0])
