"""How paper bends: a smooth surface through what was measured here and there, most of it right."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from formread.sheet.record import Points

Numbers = npt.NDArray[np.float64]

_DEGREE: Final = 3
_POWERS: Final = [(a, b) for a in range(_DEGREE + 1) for b in range(_DEGREE + 1 - a)]
_STIFF: Final = 0.3  # measurements that speak for paper that does not bend
_ROUNDS: Final = 6  # the weights of outliers have settled by then


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """By how much each place of a sheet lies off in one direction: a polynomial over the sheet's size (width, height)."""

    factors: Numbers
    size: tuple[int, int]

    def __call__(self, places: Points) -> Numbers:
        """Return how far (N, 2) places (x, y) lie off, (N,)."""
        return np.asarray(_terms(places, self.size) @ self.factors, np.float64)

    def over(self, x: Numbers, y: Numbers) -> Numbers:
        """Return the same where columns `x` and rows `y` cross, (rows, columns)."""
        square = np.zeros((_DEGREE + 1, _DEGREE + 1))
        square[tuple(zip(*_POWERS, strict=True))] = self.factors
        across, down = (
            np.vander(places / length * 2 - 1, _DEGREE + 1, increasing=True)
            for places, length in zip((x, y), self.size, strict=True)
        )
        return np.asarray(down @ square.T @ across.T, np.float64)


def flat(size: tuple[int, int]) -> Bend:
    """Return no bend at all."""
    return Bend(np.zeros(len(_POWERS)), size)


def bend_through(places: Points, off: Numbers, sure: Numbers, size: tuple[int, int], half: float) -> Bend:
    """Return the surface through measurements.

    Parameters
    ----------
    places, off, sure
        (N, 2) where, (N,) how far off, and (N,) how much each measurement counts.
    half
        How far off the surface a measurement counts half: a rule may have been taken for its neighbour.
    """
    terms = _terms(places, size)
    factors: Numbers = np.zeros(len(_POWERS))
    heard = sure
    for _ in range(_ROUNDS):
        weighed = terms * heard[:, None]
        factors = np.asarray(
            np.linalg.solve(terms.T @ weighed + _STIFF * np.eye(len(_POWERS)), weighed.T @ off), np.float64
        )
        heard = sure / (1 + ((off - terms @ factors) / half) ** 2)
    return Bend(factors, size)


def _terms(places: Points, size: tuple[int, int]) -> Numbers:
    x, y = (np.asarray(places, np.float64) / np.array(size) * 2 - 1).T
    return np.stack([x**a * y**b for a, b in _POWERS], axis=1)
