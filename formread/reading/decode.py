"""From lattices to strings: the forward algorithm and the prefix beam search, under a grammar.

Probabilities are plain, not logarithms: a lattice that gives a string less than 1e-300 may as well call it
impossible, and plain products are several times faster.

References
----------
.. [1] Graves, Fernandez, Gomez, Schmidhuber, "Connectionist temporal classification", ICML 2006.
.. [2] Hannun, Maas, Jurafsky, Ng, "First-pass large vocabulary continuous speech recognition using
       bi-directional recurrent DNNs", 2014 (prefix beam search).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from formread.reading.automaton import ALPHABET, Chain, Tables

Floats = npt.NDArray[np.float64]

_NONE = len(ALPHABET)  # "no symbol yet"
_HASH_BASE = np.uint64(6364136223846793005)  # Knuth's MMIX multiplier: odd, well mixed


def mass(lattice: Floats, chain: Chain) -> float:
    """Return the weighted probability of all strings of a chain: the forward algorithm [1]_.

    Parameters
    ----------
    lattice
        (T, C) probabilities.
    chain
        An unrolled automaton (:func:`formread.reading.automaton.unroll`).

    Returns
    -------
    float
        Sum over the strings of weight times CTC probability.
    """
    seen = lattice[:, chain.column]
    at = chain.start
    step = chain.step
    for frame in seen:
        at = at @ step
        at *= frame
    return float(at @ chain.final)


def total_mass(lattices: Floats, tables: Tables) -> Floats:
    """Return, per lattice, the weighted probability of everything the grammar accepts.

    Parameters
    ----------
    lattices
        (B, T, 1 + S) probabilities.
    tables
        A deterministic automaton.
    """
    boxes, frames, _ = lattices.shape
    states = tables.matrices.shape[1]
    blank = np.zeros((boxes, states))
    blank[:, 0] = 1.0
    symbol = np.zeros((len(ALPHABET), boxes, states))
    for t in range(frames):
        here = blank + symbol.sum(axis=0)
        symbol += np.matmul(here[None] - symbol, tables.matrices)
        symbol *= lattices[:, t, 1:].T[:, :, None]
        blank = here * lattices[:, t, :1]
    return np.asarray((blank + symbol.sum(axis=0)) @ tables.final[:states])


@dataclass(frozen=True, slots=True)
class Found:
    """One string of the search: the text and its weighted probability (a lower bound: the beam is finite)."""

    text: str
    mass: float


def search(lattices: Floats, tables: Tables, width: int) -> list[list[Found]]:
    """Find the likeliest strings that the grammar accepts: a prefix beam search [2]_ over many boxes at once.

    Parameters
    ----------
    lattices
        (B, T, 1 + S) probabilities.
    tables
        A deterministic automaton.
    width
        Prefixes kept per box and frame.

    Returns
    -------
    list of list of Found
        Per lattice, at most `width` strings, the likeliest first.
    """
    boxes, frames, columns = lattices.shape
    symbols = columns - 1
    rows = np.arange(boxes)[:, None]
    ends_blank = np.zeros((boxes, width))
    ends_blank[:, 0] = 1.0
    ends_symbol = np.zeros((boxes, width))
    state = np.zeros((boxes, width), np.int64)
    last = np.full((boxes, width), _NONE, np.int64)
    own = np.zeros((boxes, width), np.uint64)
    own[:, 1:] = np.arange(1, width, dtype=np.uint64)  # places not in use must not look alike
    parent = np.full((boxes, width), np.iinfo(np.uint64).max, np.uint64)
    length = np.zeros((boxes, width), np.int64)
    texts = np.zeros((boxes, width, frames), np.int8)
    # A last column of zeros for "no symbol yet".
    seen = np.concatenate([lattices[:, :, 1:], np.zeros((boxes, frames, 1))], axis=2)

    for t in range(frames):
        here = ends_blank + ends_symbol
        grown = tables.weight[state] * here[:, :, None]
        # A symbol after itself is a new one only across a blank.
        np.put_along_axis(
            grown,
            np.minimum(last, symbols - 1)[:, :, None],
            _after_itself(tables, state, last, ends_blank, here),
            axis=2,
        )
        grown *= seen[:, t, None, :symbols]
        stay_blank = here * lattices[:, t, :1]
        stay_symbol = ends_symbol * seen[rows, t, last]

        # A prefix that grows into one already kept adds to it.
        same = own[:, None, :] == parent[:, :, None]
        if same.any():
            box, child, source = np.nonzero(same)
            grown_by = last[box, child]
            stay_symbol[box, child] += grown[box, source, grown_by]
            grown[box, source, grown_by] = 0.0

        everything = np.concatenate([stay_blank + stay_symbol, grown.reshape(boxes, -1)], axis=1)
        kept = np.argpartition(everything, everything.shape[1] - width, axis=1)[:, -width:]
        stays = kept < width
        source = np.where(stays, kept, (kept - width) // symbols)
        added = np.where(stays, 0, (kept - width) % symbols)
        ends_blank = np.where(stays, stay_blank[rows, source], 0.0)
        ends_symbol = np.where(stays, stay_symbol[rows, source], everything[rows, kept])
        old, old_length = own[rows, source], length[rows, source]
        parent = np.where(stays, parent[rows, source], old)
        own = np.where(stays, old, (old + added.astype(np.uint64) + np.uint64(1)) * _HASH_BASE)
        state = np.where(stays, state[rows, source], tables.target[state[rows, source], added])
        last = np.where(stays, last[rows, source], added)
        texts = texts[rows, source]
        box, place = np.nonzero(~stays)
        texts[box, place, old_length[box, place]] = added[box, place]
        length = old_length + ~stays

    weighed = (ends_blank + ends_symbol) * tables.final[state]
    order = np.argsort(-weighed, axis=1, kind="stable")
    return [
        [
            Found("".join(ALPHABET[k] for k in texts[b, i, : length[b, i]]), float(weighed[b, i]))
            for i in order[b]
            if weighed[b, i] > 0.0
        ]
        for b in range(boxes)
    ]


def _after_itself(
    tables: Tables,
    state: npt.NDArray[np.int64],
    last: npt.NDArray[np.int64],
    ends_blank: Floats,
    here: Floats,
) -> Floats:
    """Return (B, K, 1): what may grow by the last symbol again; all of it where there is no symbol yet."""
    symbol = np.minimum(last, len(ALPHABET) - 1)
    free = np.where(last == _NONE, here, ends_blank)
    return np.asarray((tables.weight[state, symbol] * free)[:, :, None])
