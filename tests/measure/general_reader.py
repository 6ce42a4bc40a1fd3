"""The general recogniser of print, limited to the number alphabet.

A peer in the measurements: what the product would read without a network of its own.
"""

from collections.abc import Sequence
from functools import cache

import numpy as np
import numpy.typing as npt

from formread import ocr
from formread.reading.automaton import ALPHABET

# Other characters that mean the same mark.
_ALIASES = {
    "x": "xX×",
    "p": "pP",
    '"': '"″”“〃',
    "-": "-–—−",
    ",": ",，、",
    ".": ".·",
    ":": ":：",
    "£": "£￡",
}
_LEAST = 1e-9


@cache
def _columns() -> tuple[npt.NDArray[np.int64], ...]:
    place = {character: k + 1 for k, character in enumerate(ocr.alphabet())}
    return tuple(
        np.array([place[c] for c in _ALIASES.get(symbol, symbol) if c in place], np.int64)
        for symbol in ALPHABET
    )


def recognise_general(crops: Sequence[npt.NDArray[np.uint8]]) -> list[npt.NDArray[np.float32]]:
    """Return (T, 1 + S) natural-log probabilities per crop, column 0 the blank, each frame summing to one.

    Parameters
    ----------
    crops
        (H, W, 3) uint8 RGB arrays.
    """
    columns = _columns()
    found = []
    for line in ocr.read_lines(crops):
        kept = np.stack(
            [line.scores[:, 0], *(line.scores[:, own].sum(axis=1) for own in columns)], axis=1
        ).astype(np.float64)
        kept = np.maximum(kept, _LEAST)
        found.append(np.log(kept / kept.sum(axis=1, keepdims=True)).astype(np.float32))
    return found
