"""The lattice: what the network saw in one box, frame by frame, kept small.

A lattice is a (T, 1 + S) array of natural-log probabilities, column 0 the CTC blank and column k symbol k - 1.
"""

import zlib
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from formread.reading.automaton import ALPHABET

COLUMNS = 1 + len(ALPHABET)

# A frame this sure of the blank says almost nothing. Runs of such frames are one frame: the chance that two
# symbols hide in one run is of second order (QUIET times the run's length, squared: under 1e-4).
QUIET = 2e-4

# Half precision is exact to 0.1 % of a log probability, thus to 1 % of a probability of 1e-5 in one frame;
# what is less probable than e^-16 in a frame is as good as impossible, but never quite.
FLOOR = -16.0


@dataclass(frozen=True)
class Lattice:
    """One box's lattice, packed: half-precision log probabilities, deflated.

    Most boxes of a slip are empty and most frames of the others are quiet, so a reading takes some hundred
    bytes in the store.
    """

    packed: bytes

    @cached_property
    def probabilities(self) -> npt.NDArray[np.float64]:
        """(T, 1 + S) probabilities per frame."""
        flat = np.frombuffer(zlib.decompress(self.packed), np.float16)
        return np.exp(flat.reshape(-1, COLUMNS).astype(np.float64))

    def __getstate__(self) -> tuple[bytes]:
        return (self.packed,)

    def __setstate__(self, state: tuple[bytes]) -> None:
        object.__setattr__(self, "packed", state[0])


def temper(scores: npt.NDArray[np.float32], temperature: float) -> npt.NDArray[np.float64]:
    """Return (T, C) probabilities with every frame's log odds divided by `temperature` (1 leaves them).

    Guo, Pleiss, Sun, Weinberger, "On calibration of modern neural networks", ICML 2017; here per frame.
    """
    logits = scores.astype(np.float64) / temperature
    logits -= logits.max(axis=1, keepdims=True)
    odds = np.exp(logits)
    return np.asarray(odds / odds.sum(axis=1, keepdims=True))


def shorten(probabilities: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the lattice with each run of quiet frames made one; (T, C) in, (T', C) out, T' at least 1."""
    if not len(probabilities):
        frame = np.zeros((1, probabilities.shape[1]))
        frame[0, 0] = 1.0
        return frame
    quiet = probabilities[:, 0] > 1.0 - QUIET
    begins = np.ones(len(quiet), bool)
    begins[1:] = ~(quiet[1:] & quiet[:-1])
    out = np.add.reduceat(probabilities, np.flatnonzero(begins), axis=0)
    ends_quiet = quiet[begins]
    out[ends_quiet, 0] = 1.0 - out[ends_quiet, 1:].sum(axis=1)
    return np.asarray(out)


def pack(probabilities: npt.NDArray[np.float64]) -> Lattice:
    """Pack (T, 1 + S) probabilities."""
    logs = np.log(np.maximum(probabilities, np.exp(FLOOR))).astype(np.float16)
    return Lattice(zlib.compress(logs.tobytes(), 1))


def stack(lattices: list[npt.NDArray[np.float64]]) -> npt.NDArray[np.float64]:
    """Put lattices of any length into one (B, T, C) array; what is too short ends in frames of pure blank."""
    frames = max(len(lattice) for lattice in lattices)
    out = np.zeros((len(lattices), frames, lattices[0].shape[1]))
    out[:, :, 0] = 1.0
    for slot, lattice in enumerate(lattices):
        out[slot, : len(lattice)] = lattice
    return out
