"""Whose name stands in the customer's block, of the names that are known."""

from collections.abc import Sequence

from formread.layout.ink import ink_of
from formread.layout.printed import crops, pieces
from formread.layout.record import Rectangle
from formread.reading import read_boxes
from formread.sheet.record import Image

_MOST_PIECES = 12  # a block holds a name, two or three lines of address, and their printed labels
_LEAST = 0.05


def likely_people(image: Image, block: Rectangle, names: Sequence[str]) -> list[str]:
    """Find the names that the handwriting looks like.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB sheet.
    block
        Where name and address are written, in pixels of the sheet.
    names
        The names that are known.

    Returns
    -------
    list of str
        The likeliest first; empty where none is likely. Candidates for a person to choose from, no more.
    """
    part = image[max(block.top, 0) : block.bottom, max(block.left, 0) : block.right]
    if not names or min(part.shape[:2]) < 8:
        return []
    found = pieces(ink_of(part), Rectangle(0, 0, part.shape[1], part.shape[0]))[:_MOST_PIECES]
    best = dict.fromkeys(names, 0.0)
    for reading in read_boxes(crops(part, found, 1.0), "text", list(best)):
        for candidate in reading.candidates:
            if candidate.text in best:
                best[candidate.text] = max(best[candidate.text], candidate.probability)
    likely = [name for name, probability in best.items() if probability >= _LEAST]
    return sorted(likely, key=lambda name: -best[name])
