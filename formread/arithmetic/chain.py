"""Exact sums over every combination of readings: running totals as sparse distributions, forward and back.

A slip is a chain of stages (rows, goods box, charges). Each stage moves a state by one of a few moves, each
with its weight. A state is (base, drift, slipped): what the customer has summed so far, by how much that is
more than the truth, and whether the sum itself has been slipped in; beside it stands what a stage further on
needs to know: what a ditto mark in the next row would repeat, or what was added for charges that another one's sum
may leave out. Many combinations meet in one state, which is what makes the sum over all of them
cheap. States below a share of the whole are dropped; what was dropped is kept count of, so that the answer
comes with a bound on its error.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A state is packed into one integer so that equal states are found by sorting: bits 0-29 the base, 30-59 the
# drift, both about an offset, bit 60 the slip, bit 62 whether boxes were found wrongly. Fifty lines of the largest
# amount stay inside.
_OFFSET: Final = 1 << 29
_DRIFT: Final = 1 << 30
_SLIPPED: Final = 1 << 60
_ASTRAY: Final = 1 << 62
_BARRED: Final = np.int64(2 * _SLIPPED - 2 * _ASTRAY)
START: Final = _OFFSET + _OFFSET * _DRIFT
"""The state before the first row: nothing summed, no drift, no slip."""


def step(base: Ints, drift: Ints, slipped: Ints, astray: NDArray[np.bool_] | Ints | None = None) -> Ints:
    """Pack what a move adds to a state; `astray` says whether boxes were found wrongly."""
    steps = base + drift * _DRIFT + slipped * _SLIPPED
    return steps if astray is None else steps + astray * _ASTRAY


def distinct(numbers: Ints) -> tuple[Ints, Ints]:
    """The different ones among `numbers` (N,), ascending, and the place of each number's own among them, (N,).

    What NumPy's ``unique`` gives, in half its time on the short arrays that slips make.
    """
    order = numbers.argsort(kind="stable")
    ordered = numbers[order]
    first = np.ones(ordered.size, dtype=np.bool_)
    np.not_equal(ordered[1:], ordered[:-1], out=first[1:])
    where = np.empty(order.size, dtype=np.int64)
    where[order] = first.cumsum() - 1
    return ordered[first], where


def base_of(states: Ints) -> Ints:
    """What the customer has summed, in minor units."""
    return (states & (_DRIFT - 1)) - _OFFSET


def drift_of(states: Ints) -> Ints:
    """By how much that is more than the truth, in minor units."""
    return ((states >> 30) & (_DRIFT - 1)) - _OFFSET


def slipped(states: Ints) -> NDArray[np.bool_]:
    """Whether the one slip that the sum may have is spent."""
    found: NDArray[np.bool_] = (states & _SLIPPED) > 0
    return found


def astray(states: Ints) -> NDArray[np.bool_]:
    """Whether a box before the total was found wrongly."""
    return states >= _ASTRAY


@dataclass(frozen=True, slots=True)
class Moves:
    """What one stage may do: shape (K,) each, or (K, N) where that depends on which of the N states it starts from.

    No state's weights sum to more than one, ``dropped`` with them. ``following`` says, per move, what is carried on;
    None where nothing is. ``dropped`` is the weight of the moves that were left out because they are all but
    impossible.
    """

    steps: Ints
    weights: Floats
    following: Sequence[Hashable] | None = None
    dropped: float = 0.0


@dataclass(slots=True)
class Group:
    """The states of one layer that share what is carried on."""

    states: Ints
    mass: Floats


@dataclass(frozen=True, slots=True)
class Link:
    """How the states of one group went over into those of the next layer, by some of the stage's moves.

    ``where`` (K, N) indexes the target's states; -1 where the way was dropped or barred.
    """

    source: Hashable
    target: Hashable
    moves: Ints
    weights: Floats
    where: Ints

    def ahead(self, onward: Floats) -> Floats:
        """What lies ahead of each move from each state (K, N); `onward` (M + 1,) ends with nought, for no way."""
        found: Floats = onward.take(self.where)
        found *= self.weights if self.weights.ndim == 2 else self.weights[:, None]
        return found


Ahead = list[list[Floats]]
"""For each stage and link: the sum over all ways on, by move and state, shape (K, N)."""

MOST_STATES: Final = 5000
"""States kept in a layer, the most probable ones. Only a slip on which hardly a box can be read has more, and
its answer is "unsure" with or without the rest; what is dropped counts as lost."""

MOST_GROUPS: Final = 500
"""Groups kept in a layer, likewise: only where several boxes can hardly be read that a later one hangs on are there more."""

Layer = dict[Hashable, Group]
NO_CONTEXT: Final = None


@dataclass(slots=True)
class Chain:
    """The forward pass, kept for the passes back.

    Attributes
    ----------
    keep
        States below this share of their layer are dropped.
    lost
        Bound on the weight that dropped states could have had at the end, on the scale of :attr:`last`.
    """

    keep: float
    layers: list[Layer] = field(
        default_factory=lambda: [{NO_CONTEXT: Group(np.array([START], dtype=np.int64), np.ones(1))}]
    )
    links: list[list[Link]] = field(default_factory=list)
    lost: float = 0.0

    @property
    def last(self) -> Group:
        """The states after all stages so far."""
        return self.layers[-1][NO_CONTEXT]

    def advance(self, moves: dict[Hashable, Moves]) -> None:
        """Go one stage on.

        Parameters
        ----------
        moves
            The stage's moves, for every context of the layer. As no state's weights sum to more than one,
            what was dropped earlier cannot grow.
        """
        layer = self.layers[-1]
        threshold = self.keep * sum(float(group.mass.sum()) for group in layer.values())
        arrivals: dict[Hashable, list[_Arrival]] = {}
        for context, group in layer.items():
            offered = moves[context]
            self.lost += float(group.mass.sum()) * offered.dropped
            for target, chosen in _by_target(offered):
                arrival = _arrive(context, group, chosen, offered, threshold)
                self.lost += arrival.lost
                arrivals.setdefault(target, []).append(arrival)
        self._forget(arrivals)
        following: Layer = {}
        links: list[Link] = []
        for target, some in arrivals.items():
            self._merge(target, some, following, links)
        self.layers.append(following)
        self.links.append(links)

    def _forget(self, arrivals: dict[Hashable, list["_Arrival"]]) -> None:
        """Drop what leads to the least probable groups where there are too many."""
        if len(arrivals) <= MOST_GROUPS:
            return
        mass = {target: sum(float(one.mass.sum()) for one in some) for target, some in arrivals.items()}
        for target in sorted(arrivals, key=lambda target: -mass[target])[MOST_GROUPS:]:
            self.lost += mass[target]
            del arrivals[target]

    def _merge(
        self, target: Hashable, arrivals: list["_Arrival"], following: Layer, links: list[Link]
    ) -> None:
        reached = np.concatenate([arrival.states for arrival in arrivals])
        if not reached.size:
            return
        mass = np.concatenate([arrival.mass for arrival in arrivals])
        states, inverse = distinct(reached)
        sums = np.bincount(inverse, mass, states.size).astype(np.float64)
        if states.size > MOST_STATES:
            chosen = np.sort(np.argpartition(-sums, MOST_STATES)[:MOST_STATES])
            place = np.full(states.size, -1, dtype=np.int64)
            place[chosen] = np.arange(chosen.size)
            self.lost += float(sums[place < 0].sum())
            states, sums, inverse = states[chosen], sums[chosen], place[inverse]
        following[target] = Group(states, sums)
        start = 0
        for arrival in arrivals:
            where = np.full(arrival.shape, -1, dtype=np.int64)
            where.ravel()[arrival.kept] = inverse[start : start + arrival.kept.size]
            start += arrival.kept.size
            links.append(Link(arrival.source, target, arrival.moves, arrival.weights, where))

    def back(self, final: Floats) -> Ahead:
        """For every stage and move: the sum over all ways on, `final` (N,) being the ends."""
        onward: dict[Hashable, Floats] = {NO_CONTEXT: np.append(final, 0.0)}
        found: Ahead = []
        for layer, links in zip(reversed(self.layers[:-1]), reversed(self.links), strict=True):
            here = {context: np.zeros(group.states.size + 1) for context, group in layer.items()}
            found.append([link.ahead(onward[link.target]) for link in links])
            for link, ahead in zip(links, found[-1], strict=True):
                here[link.source][:-1] += ahead.sum(axis=0)
            onward = here
        found.reverse()
        return found

    def shares(self, stage: int, ahead: Ahead) -> dict[Hashable, dict[int, float]]:
        """Weight of every way that takes each move of a stage, by context and move."""
        found: dict[Hashable, dict[int, float]] = {}
        for link, onward in zip(self.links[stage], ahead[stage], strict=True):
            weight = onward @ self.layers[stage][link.source].mass
            per_move = found.setdefault(link.source, {})
            for move, share in zip(link.moves.tolist(), weight.tolist(), strict=True):
                per_move[move] = per_move.get(move, 0.0) + share
        return found

    def best_way(self, final: Floats) -> list[tuple[Hashable, int]]:
        """The single most probable way to the ends: for each stage (context, move)."""
        best: list[dict[Hashable, Floats]] = [{NO_CONTEXT: np.append(final, 0.0)}]
        for layer, links in zip(reversed(self.layers[:-1]), reversed(self.links), strict=True):
            here = {context: np.zeros(group.states.size + 1) for context, group in layer.items()}
            for link in links:
                to = here[link.source][:-1]
                np.maximum(to, link.ahead(best[-1][link.target]).max(axis=0), out=to)
            best.append(here)
        best.reverse()
        way: list[tuple[Hashable, int]] = []
        context: Hashable = NO_CONTEXT
        place = 0
        for stage, links in enumerate(self.links):
            value, move, target, following = -1.0, 0, context, 0
            for link in links:
                if link.source != context:
                    continue
                weights = link.weights[:, place] if link.weights.ndim == 2 else link.weights
                ahead = best[stage + 1][link.target][link.where[:, place]] * weights
                k = int(ahead.argmax())
                if ahead[k] > value:
                    value, move, target = float(ahead[k]), int(link.moves[k]), link.target
                    following = int(link.where[k, place])
            way.append((context, move))
            context, place = target, following
        return way


@dataclass(frozen=True, slots=True)
class _Arrival:
    """Where a group's states get to by some moves: ``kept`` of (K, N), flattened; their states and mass."""

    source: Hashable
    moves: Ints
    weights: Floats
    shape: tuple[int, ...]
    kept: Ints
    states: Ints
    mass: Floats
    lost: float


def _arrive(source: Hashable, group: Group, chosen: Ints, moves: Moves, threshold: float) -> _Arrival:
    steps, weights = moves.steps, moves.weights
    if chosen.size < weights.shape[0]:
        steps, weights = steps[chosen], weights[chosen]
    reached = group.states + (steps if steps.ndim == 2 else steps[:, None])
    mass = group.mass * (weights if weights.ndim == 2 else weights[:, None])
    # A second slip in one sum is barred, not dropped; so is a second box found wrongly, which turns the sign.
    mass[(reached & _BARRED) != 0] = 0.0
    kept = np.flatnonzero(mass > threshold)
    states, masses = reached.ravel()[kept], mass.ravel()[kept]
    lost = max(float(mass.sum()) - float(masses.sum()), 0.0)
    return _Arrival(source, chosen, weights, mass.shape, kept, states, masses, lost)


def _by_target(moves: Moves) -> list[tuple[Hashable, Ints]]:
    count = moves.weights.shape[0]
    if moves.following is None:
        return [(NO_CONTEXT, np.arange(count))]
    chosen: dict[Hashable, list[int]] = {}
    for k, target in enumerate(moves.following):
        chosen.setdefault(target, []).append(k)
    return [(target, np.array(ks, dtype=np.int64)) for target, ks in chosen.items()]
