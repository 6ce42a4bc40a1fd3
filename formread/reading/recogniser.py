"""The readers of handwritten number strings: two CTC networks, run by onnxruntime.

They answer with log-probabilities per step; what strings they stand for, and how probable, is decided by the
rest of this room. The small network reads every box; the large one takes four times as long and is kept for
boxes that leave the small one in doubt. The small one was taught to put every sign on the same step as the large
one of that time, so their answers may be blended step by step, the large one's counting for most. The weights
come from ``models/`` in the repository; their card says what they can read.

References
----------
Graves, Fernández, Gomez, Schmidhuber, "Connectionist temporal classification", ICML 2006.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from formread.networks import open_network
from formread.reading.prepare import HEIGHT, prepare

ALPHABET: Final[tuple[str, ...]] = tuple('0123456789.,-/:£px"~')
"""What the columns after the blank stand for; ``~`` says that all the writing in the box is struck out."""

STRIDE: Final = 4
"""Columns of a prepared box to one step of the answer."""

Network = Literal["reader", "teacher"]
"""The small network and the large one."""

_WEIGHTS = Path(__file__).with_name("weights")
_STEP = 32  # widths are padded up to a multiple of this, so that a box is read alike in any company
_BATCH = 32
# Tried on calibration hands: of 5,959 written boxes 193, 165, 156 and 154 are wrong at 0.5, 0.7, 0.85 and 1, and the
# truth is likeliest at 0.85. The two do not put their signs on quite the same steps.
_WEIGHT_OF_SECOND = np.float32(0.85)
# The temperature that suits the small network over the one that suits the large, on calibration hands.
_WARMTH_OF_FIRST = np.float32(0.7)


def padded_width(width: int) -> int:
    """Return the width to which a prepared box of `width` columns is padded with paper."""
    return -(-(width + STRIDE) // _STEP) * _STEP


def recognise(
    crops: Sequence[npt.NDArray[np.uint8]], network: Network = "reader"
) -> list[npt.NDArray[np.float32]]:
    """Return the CTC log-probabilities for each crop, order kept.

    Parameters
    ----------
    crops
        ``(H, W, 3)`` uint8 RGB arrays, one box each.
    network
        Which of the two answers.

    Returns
    -------
    One ``(T, 1 + len(ALPHABET))`` float32 array per crop: natural logarithms, each row sums to one as
    probabilities. Column 0 is the CTC blank, column k is ``ALPHABET[k - 1]``.

    Raises
    ------
    FormreadError
        The network's file is missing or damaged.
    """
    scores_of = open_network(_WEIGHTS / f"{network}.onnx", "The reader of handwritten numbers")
    prepared = [prepare(crop) for crop in crops]
    buckets: dict[int, list[int]] = {}
    for index, image in enumerate(prepared):
        buckets.setdefault(padded_width(image.shape[1]), []).append(index)
    answers: list[npt.NDArray[np.float32]] = [np.empty((0, 0), np.float32)] * len(prepared)
    for width, members in sorted(buckets.items()):
        for start in range(0, len(members), _BATCH):
            part = members[start : start + _BATCH]
            batch = np.zeros((len(part), 1, HEIGHT, width), np.float32)
            for row, index in enumerate(part):
                batch[row, 0, :, : prepared[index].shape[1]] = prepared[index]
            for index, scores in zip(part, scores_of(batch), strict=True):
                answers[index] = scores
    return answers


def alone(first: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return what the small network says of a box, as sure of itself as the large one is.

    It learned from soft answers on pictures that were bent once more, and is less sure than it is right.

    Parameters
    ----------
    first
        ``(T, C)`` natural-log probabilities by the small network.
    """
    odds = first / _WARMTH_OF_FIRST
    return np.asarray(odds - np.logaddexp.reduce(odds, axis=1, keepdims=True), np.float32)


def blended(first: npt.NDArray[np.float32], second: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return what the two networks say of one box together, each step's log-probabilities averaged by weight.

    Parameters
    ----------
    first, second
        ``(T, C)`` natural-log probabilities by the small network and by the large one.
    """
    mean = (1 - _WEIGHT_OF_SECOND) * alone(first) + _WEIGHT_OF_SECOND * second
    return np.asarray(mean - np.logaddexp.reduce(mean, axis=1, keepdims=True), np.float32)
