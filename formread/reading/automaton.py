"""Small weighted automata over the number alphabet: the shape in which a grammar meets a lattice.

An automaton gives every string a weight: the sum, over the paths that spell it, of the product of the arcs'
weights times the weight of the state reached. Strings it does not accept weigh zero. (Mohri, "Weighted
automata algorithms", in Handbook of Weighted Automata, 2009.)
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

ALPHABET: tuple[str, ...] = tuple('0123456789.,-/:£px"~')
"""What can be written in a box of numbers; ``~`` stands for writing that is struck out as a whole."""

SYMBOL: Mapping[str, int] = {character: k for k, character in enumerate(ALPHABET)}

_Arc = tuple[str, float, int]
_DIGITS_OF_WEIGHT = 12  # futures whose weights agree to this many digits are the same future


@dataclass(frozen=True, slots=True)
class Graph:
    """A weighted automaton with one start state, 0.

    Attributes
    ----------
    arcs
        Per state: (symbol, weight, state reached). Symbols are single characters.
    final
        Per state: the weight of stopping there, 0 for not at all.
    """

    arcs: tuple[tuple[_Arc, ...], ...]
    final: tuple[float, ...]

    def weight(self, text: str) -> float:
        """Return the weight of `text`, 0 if the automaton does not accept it."""
        at = {0: 1.0}
        for character in text:
            reached: dict[int, float] = {}
            for state, weight in at.items():
                for symbol, arc_weight, target in self.arcs[state]:
                    if symbol == character:
                        reached[target] = reached.get(target, 0.0) + weight * arc_weight
            at = reached
        return sum(weight * self.final[state] for state, weight in at.items())


def from_strings(strings: Iterable[tuple[str, float]]) -> Graph:
    """Build the smallest graph that gives each string its weight; a string named twice gets the sum.

    The strings are laid out as a tree; then, leaves first, states with the same future are merged. A state's
    future is first scaled to a largest weight of one and the scale moved to the arc that leads to it, so
    that ``4.99`` and ``£4.99`` share their tails although they weigh differently.
    """
    children: list[dict[str, int]] = [{}]
    stops = [0.0]
    for text, weight in strings:
        state = 0
        for character in text:
            if character not in children[state]:
                children[state][character] = len(children)
                children.append({})
                stops.append(0.0)
            state = children[state][character]
        stops[state] += weight

    merged: dict[tuple[object, ...], int] = {}
    arcs: list[tuple[_Arc, ...]] = []
    final: list[float] = []

    def fold(state: int) -> tuple[int, float]:
        own: list[_Arc] = []
        for character, child in sorted(children[state].items()):
            target, scale = fold(child)
            own.append((character, scale, target))
        scale = max([stops[state], *(weight for _, weight, _ in own)], default=0.0) or 1.0
        scaled = tuple((character, weight / scale, target) for character, weight, target in own)
        stop = stops[state] / scale
        rounded = (
            (character, round(weight, _DIGITS_OF_WEIGHT), target) for character, weight, target in scaled
        )
        key = (round(stop, _DIGITS_OF_WEIGHT), *rounded)
        if key not in merged:
            merged[key] = len(arcs)
            arcs.append(scaled)
            final.append(stop)
        return merged[key], scale

    root, scale = fold(0)
    # The root comes out last; the caller's start is state 0, so number the states backwards.
    last = len(arcs) - 1
    renumbered = [tuple((c, w, last - t) for c, w, t in own) for own in reversed(arcs)]
    stops_out = list(reversed(final))
    if root != last:
        raise AssertionError("the start state is always the last to be folded")
    renumbered[0] = tuple((c, w * scale, t) for c, w, t in renumbered[0])
    stops_out[0] *= scale
    return Graph(tuple(renumbered), tuple(stops_out))


@dataclass(frozen=True, slots=True)
class Tables:
    """A deterministic graph over :data:`ALPHABET` as arrays; Q states, S symbols.

    Attributes
    ----------
    target
        (Q + 1, S) state reached; Q, the last row, is the dead end.
    weight
        (Q + 1, S) weight of the arc, 0 into the dead end.
    matrices
        (S, Q, Q): ``matrices[s, q, r]`` is the weight of going from q to r by s.
    final
        (Q + 1,) weight of stopping.
    """

    target: npt.NDArray[np.int64]
    weight: npt.NDArray[np.float64]
    matrices: npt.NDArray[np.float64]
    final: npt.NDArray[np.float64]


def tables(graph: Graph) -> Tables:
    """Lay a graph out as arrays.

    Raises
    ------
    ValueError
        If two arcs of one state carry the same symbol.
    """
    states, symbols = len(graph.arcs), len(ALPHABET)
    target = np.full((states + 1, symbols), states, np.int64)
    weight = np.zeros((states + 1, symbols))
    matrices = np.zeros((symbols, states, states))
    for state, own in enumerate(graph.arcs):
        for character, arc_weight, reached in own:
            symbol = SYMBOL[character]
            if target[state, symbol] != states:
                raise ValueError(f"two arcs from state {state} carry {character!r}")
            target[state, symbol] = reached
            weight[state, symbol] = arc_weight
            matrices[symbol, state, reached] = arc_weight
    return Tables(target, weight, matrices, np.array([*graph.final, 0.0]))


@dataclass(frozen=True, slots=True)
class Chain:
    """A graph unrolled for the forward algorithm of CTC; R rows, one per place that a path can be in.

    The rows are the states just after a blank and the states just after each symbol that leads to them.

    Attributes
    ----------
    step
        (R, R): ``step[i, j]`` is the weight of being in row j after one more frame, given row i, before the
        frame's own probability. Entries between two symbol rows suppose different symbols.
    column
        (R,) the column of the lattice that a frame must show to be in that row.
    start
        (R,) one for the row in which a path begins.
    final
        (R,) weight of stopping.
    between
        (R, R) True where the entry stands between two different symbol rows: :func:`parted` drops it if both
        carry the same symbol, for CTC needs a blank between equal symbols.
    """

    step: npt.NDArray[np.float64]
    column: npt.NDArray[np.int64]
    start: npt.NDArray[np.float64]
    final: npt.NDArray[np.float64]
    between: npt.NDArray[np.bool_]


def unroll(graph: Graph, column_of: Mapping[str, int]) -> Chain:
    """Unroll a graph for the forward algorithm.

    Parameters
    ----------
    graph
        The automaton.
    column_of
        The lattice's column of each symbol; a negative number for a digit that is not known yet, to be
        filled in later.
    """
    states = len(graph.arcs)
    rows: dict[tuple[int, str], int] = {}
    for own in graph.arcs:
        for character, _, target in own:
            rows.setdefault((target, character), states + len(rows))
    size = states + len(rows)
    step = np.zeros((size, size))
    between = np.zeros((size, size), bool)
    column = np.zeros(size, np.int64)
    final = np.zeros(size)
    final[:states] = graph.final
    arriving: list[list[int]] = [[state] for state in range(states)]
    for (state, character), row in rows.items():
        arriving[state].append(row)
        column[row] = column_of[character]
        final[row] = graph.final[state]
        step[row, row] = 1.0
    for state in range(states):
        step[arriving[state], state] = 1.0
    for state, own in enumerate(graph.arcs):
        for character, weight, target in own:
            row = rows[target, character]
            for origin in arriving[state]:
                if origin != row:
                    step[origin, row] += weight
                    between[origin, row] = origin >= states
    start = np.zeros(size)
    start[0] = 1.0
    return parted(Chain(step, column, start, final, between))


def parted(chain: Chain) -> Chain:
    """Return the chain without steps from a symbol straight to the same symbol, where its columns tell."""
    touching = chain.between & (chain.column[:, None] == chain.column[None, :])
    if not touching.any():
        return chain
    return replace(chain, step=np.where(touching, 0.0, chain.step))
