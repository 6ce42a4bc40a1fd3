"""Which digits a person would take for what their label says: for training, and for what readers are tested on."""

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from sklearn.decomposition import PCA
from sklearn.neighbors import KNeighborsClassifier

Stroke = npt.NDArray[np.floating]

_EVERY, _AXES, _NEIGHBOURS = 2, 40, 12  # of MNIST's training digits: every other, axes kept, neighbours asked


class Legible:
    """Tells legible digits from wrong labels and failed tracings.

    A digit is not legible if none of its nearest neighbours among MNIST's training digits carries its label:
    no reader under test has a say in it.
    """

    def __init__(self, mnist: Path) -> None:
        pictures = np.frombuffer((mnist / "train-images-idx3-ubyte").read_bytes()[16:], np.uint8)
        labels = np.frombuffer((mnist / "train-labels-idx1-ubyte").read_bytes()[8:], np.uint8)
        flat = pictures.reshape(-1, 784)[::_EVERY].astype(np.float32)
        self._axes = PCA(_AXES, random_state=0).fit(flat[::4])
        self._near = KNeighborsClassifier(_NEIGHBOURS).fit(self._axes.transform(flat), labels[::_EVERY])

    def tell(self, glyphs: Sequence[Sequence[Stroke]], digits: Sequence[int]) -> npt.NDArray[np.bool_]:
        """Return for each glyph whether it is legible as its digit.

        Parameters
        ----------
        glyphs
            Strokes as (N, 2) arrays of x and y, y downwards, in any unit.
        """
        if not glyphs:
            return np.zeros(0, bool)
        flat = self._axes.transform(np.stack([_as_mnist(glyph) for glyph in glyphs]))
        shares = self._near.predict_proba(flat)
        return np.asarray(shares[np.arange(len(glyphs)), np.asarray(digits)] > 0, bool)


def _as_mnist(glyph: Sequence[Stroke]) -> npt.NDArray[np.float32]:
    """Draw a digit as MNIST does: 20 pixels for the longer side, its centre of mass in the middle of 28."""
    every = np.vstack(glyph)
    low, size = every.min(axis=0), max(float(np.ptp(every, axis=0).max()), 1e-6)
    mask = np.zeros((112, 112), np.uint8)
    for stroke in glyph:
        points = np.round(((stroke - low) / size * 68 + 20) * 16).astype(np.int32)
        cv2.polylines(mask, [points], False, (255,), 9, cv2.LINE_AA, 4)
    x, y = (float((mask.sum(axis=axis) * np.arange(112)).sum() / max(mask.sum(), 1)) for axis in (0, 1))
    moved = cv2.warpAffine(mask, np.array([[1, 0, 55.5 - x], [0, 1, 55.5 - y]]), (112, 112))
    return np.asarray(cv2.resize(moved, (28, 28), interpolation=cv2.INTER_AREA).ravel(), np.float32)
