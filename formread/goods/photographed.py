"""A photographed or scanned page of print, as pieces of text: the one picture that this room reads.

The page is flattened by ``sheet``; lines and white space part the print into pieces, and the general
recogniser reads each. Tesseract, tried on the same pages, read two codes in three on photographs.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from formread import ocr
from formread.goods.page import Piece
from formread.sheet import light
from formread.sheet.record import Image
from formread.sheet.search import find_page

_INK = 0.22  # of black; print on paper that is evenly lit
_FAINT = 0.45  # of the darkest print of the page: where all is fainter
_LONG = 3.2  # text heights; longer straight strokes are rules
_STEP = 2.2  # text heights; no letter has a straight stroke so long
_LETTER = (8, 90)  # pixels; heights that print of a page may have
_WORD_GAP = 0.85  # text heights between the words of one piece; columns stand further apart
_DIGITS = "0123456789"
_REPEATED = 3
_TWO_ANSWERS = 0.5  # what is left of certainty where the two readings of a figure differ
_MARGIN = 0.3  # text heights; what the recogniser likes around a piece
_SHORTEST = 1.4  # text heights; a single figure is given white paper beside it to be this wide


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """One page read: its pieces, and what the recogniser saw of each (by ``Piece.source``)."""

    pieces: tuple[Piece, ...]
    reads: tuple[ocr.PrintedText, ...]


def flat_page(photo: Image) -> Image:
    """Find the page in a photo, (H, W, 3) uint8 RGB, and flatten it."""
    return find_page(photo).image


def read_page(image: Image) -> Page:
    """Read all print of a page.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB, flat and upright (:func:`flat_page`).
    """
    boxes, height = _boxes(image)
    reads = ocr.read_lines([_crop(image, box, height) for box in boxes])
    found = [
        Piece(read.text.strip(), *box, _least(read), at)
        for at, (read, box) in enumerate(zip(reads, boxes, strict=True))
        if read.text.strip()
    ]
    return Page(_looked_at_again(image, boxes, height, found), tuple(reads))


def _looked_at_again(
    image: Image, boxes: list[tuple[int, int, int, int]], height: float, found: list[Piece]
) -> tuple[Piece, ...]:
    """Read lone figures once more, each set three times in a row.

    The recogniser was made for lines of print: a 7 that stands alone is a 1 to it, three in a row are not.
    """
    lone = [at for at, piece in enumerate(found) if len(piece.text) == 1]
    rows = [
        np.concatenate([_crop(image, boxes[found[at].source], height)] * _REPEATED, axis=1) for at in lone
    ]
    pieces = list(found)
    for at, read in zip(lone, ocr.read_lines(rows), strict=True):
        text, least = ocr.among(read, _DIGITS)
        piece = found[at]
        if not text or set(text) != {text[0]}:
            continue
        if text[0] == piece.text:
            pieces[at] = replace(piece, least=max(piece.least, least))
        elif piece.text in _DIGITS or len(text) == _REPEATED:
            pieces[at] = replace(piece, text=text[0], least=min(least, _TWO_ANSWERS))
    return tuple(pieces)


def _least(read: ocr.PrintedText) -> float:
    best = read.scores.argmax(axis=1)
    starts = np.flatnonzero(np.concatenate([[True], np.diff(best) != 0]))
    peaks = np.maximum.reduceat(read.scores.max(axis=1), starts)[best[starts] != 0]
    return float(peaks.min()) if len(peaks) else 0.0


def _boxes(image: Image) -> tuple[list[tuple[int, int, int, int]], float]:
    """Find the pieces of print: (left, top, right, bottom) of each, and the height of most print."""
    ink = light.ink(image, light.paper_tone(image))
    dark = (ink > min(_INK, _FAINT * float(np.percentile(ink, 99.5)))).astype(np.uint8)
    height = _text_height(dark)
    marks = dark * ~_rules(dark, height)
    gap = max(3, round(_WORD_GAP * height)) | 1
    joined = cv2.morphologyEx(marks, cv2.MORPH_CLOSE, np.ones((3, gap), np.uint8))
    _, _, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    found = []
    for left, top, width, tall, size in stats[1:]:
        if not 0.45 * height <= tall <= 3.2 * height or width < 0.12 * height or size < 0.04 * height**2:
            continue
        found.append((int(left), int(top), int(left + width), int(top + tall)))
    return found, height


def _rules(dark: npt.NDArray[np.uint8], height: float) -> npt.NDArray[np.bool_]:
    """Find the rules: straight strokes a little longer than letters, that join to something long.

    A rule that slants by a degree is seen as steps, each much shorter than the whole.
    """
    step, long = round(_STEP * height) | 1, _LONG * height
    found = np.zeros(dark.shape, np.bool_)
    # Thickened across before it is opened along: a thin rule that slants stays in one piece.
    for across, along, side in (((3, 1), (1, step), 2), ((1, 3), (step, 1), 3)):
        thick = cv2.dilate(dark, np.ones(across, np.uint8))
        strokes = cv2.dilate(
            cv2.morphologyEx(thick, cv2.MORPH_OPEN, np.ones(along, np.uint8)), np.ones((3, 3), np.uint8)
        )
        _, labels, stats, _ = cv2.connectedComponentsWithStats(strokes, connectivity=8)
        keep = stats[:, side] >= long
        keep[0] = False
        found |= keep[labels]
    return found


def _text_height(dark: npt.NDArray[np.uint8]) -> float:
    """Return the height of most letters of the page."""
    _, _, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    width, tall = stats[1:, 2], stats[1:, 3]
    letters = tall[(tall >= _LETTER[0]) & (tall <= _LETTER[1]) & (width <= 1.6 * tall) & (tall <= 8 * width)]
    if not len(letters):
        return 24.0
    # Grain of a table or a shadow gives many specks: each letter counts by its height.
    ordered = np.sort(letters)
    return float(ordered[np.searchsorted(np.cumsum(ordered), ordered.sum() / 2)])


def _crop(image: Image, box: tuple[int, int, int, int], height: float) -> Image:
    """Cut a piece out with some paper around it."""
    left, top, right, bottom = box
    margin = round(_MARGIN * height)
    middle, tall = (top + bottom) / 2, max(bottom - top, height)
    top, bottom = round(middle - tall / 2) - margin, round(middle + tall / 2) + margin
    part = image[max(0, top) : bottom, max(0, left - margin) : right + margin]
    short = round(_SHORTEST * height) - part.shape[1]
    if short > 0:
        paper = np.median(
            part.reshape(-1, 3)[part.reshape(-1, 3).sum(axis=1) >= np.median(part.sum(axis=2))], axis=0
        )
        side = np.broadcast_to(paper.astype(np.uint8), (part.shape[0], short // 2 + 1, 3))
        part = np.concatenate([side, part, side], axis=1)
    return np.ascontiguousarray(part)
