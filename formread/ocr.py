"""Printed text, read by the general recogniser that the package ``rapidocr`` ships (PP-OCRv6 small, ONNX).

The one module that knows this outside model. It reads one line of print per crop; it has no idea of slips.
"""

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from formread.networks import Network, open_network

_WEIGHTS = "models/PP-OCR*_rec_*.onnx"  # in the package
_HEIGHT = 48  # the recogniser's input height, fixed by its training
_MIN_WIDTH = 48
_MAX_WIDTH = 1600
_BATCH = 16
_BLANK = 0


@dataclass(frozen=True, slots=True)
class PrintedText:
    """One line of print: the text and the mean probability of its characters (0 for no text).

    ``scores`` is the (T, C) array of CTC probabilities, column 0 the blank, column k the character
    ``alphabet()[k - 1]``: what is needed to ask how probable a given word is.
    """

    text: str
    confidence: float
    scores: npt.NDArray[np.float32]


@cache
def _recogniser() -> tuple[Network, tuple[str, ...]]:
    # find_spec rather than an import: rapidocr's own start-up pulls in its whole detector chain.
    spec = importlib.util.find_spec("rapidocr")
    found = sorted(Path(spec.origin).parent.glob(_WEIGHTS)) if spec and spec.origin else []
    network = open_network(
        found[-1] if found else None,
        "The reader of printed headings",
        "Install it again with: pip install --force-reinstall rapidocr",
    )
    return network, (*network.note("character").splitlines(), " ")


def alphabet() -> tuple[str, ...]:
    """Return the recogniser's characters; column ``k`` of a score array is character ``k - 1``."""
    return _recogniser()[1]


def _prepare(crop: npt.NDArray[np.uint8]) -> npt.NDArray[np.float32]:
    height, width = crop.shape[:2]
    new_width = int(np.clip(round(width * _HEIGHT / max(height, 1)), 8, _MAX_WIDTH))
    interpolation = cv2.INTER_AREA if height > _HEIGHT else cv2.INTER_CUBIC
    resized = cv2.resize(crop, (new_width, _HEIGHT), interpolation=interpolation)
    return np.asarray(resized[..., ::-1].transpose(2, 0, 1), np.float32) / 127.5 - 1.0


def _decode(scores: npt.NDArray[np.float32], characters: Sequence[str]) -> PrintedText:
    best = scores.argmax(axis=1)
    keep = (best != _BLANK) & np.concatenate([[True], best[1:] != best[:-1]])
    text = "".join(characters[k - 1] for k in best[keep])
    confidence = float(scores[np.arange(len(best)), best][keep].mean()) if keep.any() else 0.0
    return PrintedText(text, confidence, scores)


def read_lines(crops: Sequence[npt.NDArray[np.uint8]]) -> list[PrintedText]:
    """Read one line of print in each crop.

    Parameters
    ----------
    crops
        (H, W, 3) uint8 RGB arrays, each holding one upright line of text.

    Returns
    -------
    list of PrintedText
        In the order of the crops.

    Notes
    -----
    Crops of like width share a batch, padded on the right with mid grey; the padding depends on the crops
    given together and on nothing else, so the same call always gives the same answer.
    """
    if not crops:
        return []
    network, characters = _recogniser()
    prepared = [_prepare(crop) for crop in crops]
    order = sorted(range(len(crops)), key=lambda i: prepared[i].shape[2])
    found: dict[int, PrintedText] = {}
    for start in range(0, len(order), _BATCH):
        members = order[start : start + _BATCH]
        width = max(_MIN_WIDTH, *(prepared[i].shape[2] for i in members))
        batch = np.zeros((len(members), 3, _HEIGHT, width), np.float32)
        for slot, i in enumerate(members):
            batch[slot, :, :, : prepared[i].shape[2]] = prepared[i]
        scores = network(batch)
        for slot, i in enumerate(members):
            found[i] = _decode(scores[slot], characters)
    return [found[i] for i in range(len(crops))]


def among(read: PrintedText, allowed: str) -> tuple[str, float]:
    """Decode once more with some characters only: digits where only a number can stand.

    Parameters
    ----------
    read
        What :func:`read_lines` gave.
    allowed
        The characters that may occur; spaces are dropped.

    Returns
    -------
    text, least
        The most probable text over these characters, and the smallest probability among them (1 for no text).
        It is not scaled up: where the recogniser saw another sign, it says so.
    """
    columns = [_BLANK, *(at for at, sign in enumerate(alphabet(), 1) if sign in allowed)]
    signs = [""] + [alphabet()[at - 1] for at in columns[1:]]
    scores = read.scores[:, columns]
    best = scores.argmax(axis=1)
    # Where nothing allowed is likely, some sign outside was seen: not a blank, but nothing to write down.
    keep = (best != 0) & np.concatenate([[True], best[1:] != best[:-1]])
    runs = np.maximum.reduceat(
        scores.max(axis=1), np.flatnonzero(np.concatenate([[True], np.diff(best) != 0]))
    )
    kept_runs = best[np.flatnonzero(np.concatenate([[True], np.diff(best) != 0]))] != 0
    text = "".join(signs[k] for k in best[keep])
    return text, float(runs[kept_runs].min()) if kept_runs.any() else 1.0
