"""Propose what the boxes of a sheet mean: boxes as the network sees them, then print, then roles.

A slip whose boxes, and the print over whose columns, are those of a known design is named by it: no print but its
number is read there.
"""

from collections.abc import Sequence
from itertools import groupby

import cv2
import numpy as np

from formread.layout.boxes import Seen, look
from formread.layout.content import content_of
from formread.layout.design import SlipDesign
from formread.layout.ink import ink_of
from formread.layout.known import known_layout
from formread.layout.printed import Piece, crops
from formread.layout.record import LayoutSearch
from formread.layout.scale import Scale
from formread.layout.sight import layouts_seen
from formread.layout.table import find_grid
from formread.ocr import PrintedText, read_lines
from formread.sheet.record import Image, Sheet

_WORKING = 1500  # pixels of the longer side that all pixel figures of print are meant for
_LEAST = 200  # pixels; nothing can be read on a smaller sheet

NO_TABLE = (
    "No table of order lines was found on this slip. Photograph it flat and from straight above, so that the "
    "printed lines show; a slip without any lines can't be read yet."
)
TOO_SMALL = "The slip is too small in the photo to read its boxes. Photograph it from nearer."


def propose_layouts(sheet: Sheet, designs: Sequence[SlipDesign] = ()) -> LayoutSearch:
    """Propose what the boxes of a sheet mean, most probable proposal first.

    Parameters
    ----------
    sheet
        One slip, flat and upright.
    designs
        Known designs; the one that is clearly the slip's makes the only proposal.

    Returns
    -------
    LayoutSearch
        Up to three layouts whose rectangles are in pixels of ``sheet.image``; falsy, with a reason in the
        seller's words, when no table is found.
    """
    if max(sheet.image.shape[:2]) < _LEAST:
        return LayoutSearch((), TOO_SMALL)
    return layouts_in(sheet.image, look(sheet.image), designs)


def layouts_in(image: Image, seen: Seen, designs: Sequence[SlipDesign] = ()) -> LayoutSearch:
    """Propose what the boxes of a sheet mean that was looked at.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB, one slip, flat and upright.
    seen
        What was seen on it, or on it and on other slips of the pad.
    designs
        Known designs.
    """
    height, width = image.shape[:2]
    grid = find_grid(seen)
    if grid is None:
        return LayoutSearch((), NO_TABLE)
    scale = max(height, width) / _WORKING
    size = (max(1, round(width / scale)), max(1, round(height / scale)))
    method = cv2.INTER_AREA if scale > 1 else cv2.INTER_CUBIC
    ink = ink_of(np.asarray(cv2.resize(image, size, interpolation=method), np.uint8))
    read, places = _Reader(image, scale), Scale(grid, seen, scale)
    known = known_layout(image, ink, read, places, designs) if designs else None
    if known is not None:
        return LayoutSearch((known,))
    return LayoutSearch(tuple(layouts_seen(seen, grid, content_of(ink, seen, scale), read, scale)))


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
