"""The float: which coins and notes to take along, so that change can be given at every door.

Money taken along the round is change for later doors. Two answers:

- :func:`float_for_twenties`: the smallest float that never fails if every customer hands over the big note.
  Exact, by counting.
- :func:`smallest_float`: the smallest float found that can give change at every door in 99 of 100 rounds,
  when customers pay as a table of probabilities says. Rounds with few ways to go are counted out and, where
  that can be done, every smaller float is tried: then the answer is exact. Longer ones are simulated with a
  fixed seed, and the answer says how far it may be off.

At a door, change is given as people give it: the largest piece first, as long as the rest still comes out.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache as remember
from functools import cached_property
from types import MappingProxyType
from typing import Final

import numpy as np
import numpy.typing as npt

from formread.round.coins import Cash, fewest_coins, largest_first, worth
from formread.round.payments import Behaviour, Outcome, outcomes

TARGET: Final = 0.99
"""Share of rounds in which change can be given at every door."""

SEED: Final = 60
"""Fixed, so that the same round gets the same float."""

_SEARCH_ROUNDS = 1000  # rounds on which candidates are compared; few, because hundreds of floats are tried
_SEARCH_MARGIN = 0.002  # a float is fitted to the rounds of the search and does worse on fresh ones
_PROOF_ROUNDS = 20_000  # fresh rounds on which the answer is measured: standard error 0.0007 at 99 %
_ENUMERATED = 4096  # so many ways for a round to go are counted out rather than sampled
_EXHAUSTIVE = 4_000_000  # float-rounds that trying every smaller float may cost (some seconds)
_SIGMAS = 1.645  # one-sided 95 %
_MOST_REPAIRS = 40

Counts = npt.NDArray[np.int32]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Float:
    """A float and what is known about it.

    Attributes
    ----------
    pieces
        Value to number of coins or notes, largest first.
    success
        Share of rounds in which change can be given at every door.
    success_low
        One-sided 95 % lower confidence bound of `success`; equal to it where the ways were counted out.
    rounds
        Simulated rounds behind `success`, or the number of ways where they were counted out.
    counted_out
        Every way for the round to go was counted, with its probability: nothing is left to chance.
    least_possible
        Minor units that no float can do without (for simulated rounds at 95 % confidence).
    smallest
        No float of less value does it. Otherwise: none was found, and no single coin can be left out.
    """

    pieces: Mapping[int, int]
    success: float
    success_low: float
    rounds: int
    counted_out: bool
    least_possible: int
    smallest: bool

    @property
    def value(self) -> int:
        """Minor units that the float is worth."""
        return worth(self.pieces)


def float_for_twenties(dues: Sequence[int], cash: Cash) -> Float:
    """Return the smallest float that never fails if every customer hands over the big note (a 20 for GBP).

    Parameters
    ----------
    dues
        Minor units due at each door, in round order; negative ones are given back.
    cash
        The currency's coins and notes.

    Notes
    -----
    A customer hands over as few big notes as cover the amount, so the change is less than one big note and
    none of the notes taken can help to give it. The float must hold the change of every door, to the penny;
    coins for each door by themselves, as few as can be, add up to exactly that.
    """
    pieces: dict[int, int] = {}
    notes = 0
    least = 0
    for due in map(cash.payable, dues):
        change = -due % cash.big_note if due >= 0 else -due
        notes += max(-(-due // cash.big_note), 0)
        if change >= cash.big_note:  # given back: notes taken so far help
            used = min(change // cash.big_note, notes)
            notes -= used
            change -= used * cash.big_note
        least += change
        for value, number in _coins_for(change, cash.values).items():
            pieces[value] = pieces.get(value, 0) + number
    return Float(MappingProxyType(dict(sorted(pieces.items(), reverse=True))), 1.0, 1.0, 1, True, least, True)


@remember
def _coins_for(amount: int, values: tuple[int, ...]) -> Mapping[int, int]:
    found = fewest_coins(amount, values)
    if found is None:
        raise ValueError(f"{amount} can't be paid with {values}")
    return MappingProxyType(found)


class Round:
    """One round as arrays: what may come in and go out at each door.

    Purses are (K, R) int32 arrays: pieces of the K values (largest first) in each of R rounds played at once.
    """

    def __init__(self, dues: Sequence[int], behaviours: Sequence[Behaviour], cash: Cash) -> None:
        """Work out what may happen at each door.

        Parameters
        ----------
        dues
            Minor units due at each door, in round order; negative ones are given back.
        behaviours
            How customers pay.
        cash
            The currency's coins and notes.
        """
        self.values = cash.values
        self.doors: tuple[tuple[Outcome, ...], ...] = tuple(
            outcomes(cash.payable(due), behaviours, cash) for due in dues
        )
        place = {value: at for at, value in enumerate(self.values)}
        self._change = [np.array([one.change for one in door], np.int32) for door in self.doors]
        self._paid = []
        for door in self.doors:
            paid = np.zeros((len(self.values), len(door)), np.int32)
            for at, one in enumerate(door):
                for value, number in one.paid:
                    paid[place[value], at] = number
            self._paid.append(paid)
        # The change of a purse that has enough of everything; most purses have.
        self._easily = [_largest_first_of_plenty(change, self.values) for change in self._change]
        self.largest_change = max((int(change.max()) for change in self._change), default=0)

    @property
    def ways(self) -> int:
        """In how many ways the round may go."""
        return math.prod(len(door) for door in self.doors)

    def every_way(self) -> tuple[npt.NDArray[np.int8], npt.NDArray[np.float64]]:
        """Return all ways, (doors, ways) int8 outcome numbers, and their probabilities (ways,)."""
        if not self.doors:
            return np.zeros((0, 1), np.int8), np.ones(1)
        grids = np.meshgrid(*(np.arange(len(door), dtype=np.int8) for door in self.doors), indexing="ij")
        ways = np.stack([grid.ravel() for grid in grids])
        weight = np.ones(ways.shape[1])
        for door, taken in zip(self.doors, ways, strict=True):
            weight *= np.array([one.probability for one in door])[taken]
        return ways, weight

    def sample(self, rounds: int, seed: Sequence[int]) -> npt.NDArray[np.int8]:
        """Draw rounds: (doors, rounds) int8 outcome numbers."""
        drawn = np.random.default_rng(seed).random((len(self.doors), rounds))
        ways = np.zeros(drawn.shape, np.int8)
        for at, door in enumerate(self.doors):
            edges = np.cumsum([one.probability for one in door])[:-1]
            ways[at] = np.searchsorted(edges, drawn[at], side="right")
        return ways

    def play(self, purses: Counts, ways: npt.NDArray[np.int8]) -> Flags:
        """Play rounds and say in which of them change could be given at every door.

        Parameters
        ----------
        purses
            (K, R) pieces at the start; left as they are.
        ways
            (doors, R) outcome numbers.
        """
        purse = purses.copy()
        alive = np.ones(purse.shape[1], np.bool_)
        for change, paid, easily, taken in zip(self._change, self._paid, self._easily, ways, strict=True):
            purse += (paid - easily)[:, taken]
            lacking = np.flatnonzero((purse.min(axis=0) < 0) & alive)
            if lacking.size:
                some = purse[:, lacking] + easily[:, taken[lacking]]
                still = np.ones(lacking.size, np.bool_)
                self._give(some, change[taken[lacking]], still)
                purse[:, lacking] = some
                alive[lacking] = still
        return alive

    def _give(self, purse: Counts, rest: npt.NDArray[np.int32], alive: Flags) -> None:
        """Take change out of every purse, in place; a round that can't give it is no longer alive."""
        wanted = rest.copy()
        given = []
        highest = int(rest.max(initial=0))
        for at, value in enumerate(self.values):
            if value > highest:
                continue
            number = np.minimum(rest // value, purse[at])
            rest -= number * value
            purse[at] -= number
            given.append((at, number))
        stuck = np.flatnonzero(rest)
        if not stuck.size:
            return
        for at, number in given:
            purse[at, stuck] += number[stuck]
        for column in stuck:
            found = self._exactly(tuple(purse[:, column].tolist()), int(wanted[column]))
            if found is None:
                alive[column] = False
            else:
                purse[:, column] -= found

    def _exactly(self, held: tuple[int, ...], amount: int) -> Counts | None:
        if _short_of_small(self.values, held, amount):
            return None
        given = largest_first(amount, dict(zip(self.values, held, strict=True)))
        if given is None:
            return None
        return np.array([given.get(value, 0) for value in self.values], np.int32)

    def flows(self, ways: npt.NDArray[np.int8]) -> Iterator[tuple[Counts, npt.NDArray[np.int32]]]:
        """Yield, door by door, the pieces that come in, (K, R), and the change that goes out, (R,)."""
        for change, paid, taken in zip(self._change, self._paid, ways, strict=True):
            yield paid[:, taken], change[taken]


def _largest_first_of_plenty(change: npt.NDArray[np.int32], values: Sequence[int]) -> Counts:
    """Return the pieces, (K, N), that make N amounts largest first, from a purse that has enough of each."""
    rest, pieces = change.copy(), []
    for value in values:
        number, rest = np.divmod(rest, value)
        pieces.append(number)
    return np.array(pieces, np.int32)


def _short_of_small(values: Sequence[int], held: Sequence[int], amount: int) -> bool:
    """Say whether the small coins are worth too little: what no larger coin can pay must come from them.

    Holds at every value that divides all larger ones; quick, and true for most purses that can't give change.
    """
    small = sum(value * number for value, number in zip(values, held, strict=True) if value <= amount)
    if small < amount:
        return True
    step = 0
    for at, value in enumerate(values):
        step = math.gcd(step, value)
        smaller = sum(v * n for v, n in zip(values[at + 1 :], held[at + 1 :], strict=True))
        if smaller < amount % step:
            return True
    return False


def _needs(play: Round, ways: npt.NDArray[np.int8]) -> tuple[Counts, npt.NDArray[np.int64]]:
    """Return what each round needs: pieces for the fewest-pieces change, (K, R), and least value, (R,).

    With these pieces the round goes well: the largest-first way is then the one with the fewest pieces. The
    bound: at a value D that divides all larger ones, change modulo D can only come from pieces smaller than
    D, so the float must hold what those that came in do not cover.
    """
    values = play.values
    columns = ways.shape[1]
    held = np.zeros((len(values), columns), np.int32)
    needed = np.zeros_like(held)
    steps = [math.gcd(*values[: at + 1]) for at in range(len(values))]
    lacking = np.zeros((len(values), columns), np.int64)
    bound = np.zeros(columns, np.int64)
    total_lacking = np.zeros(columns, np.int64)
    worths = np.array(values, np.int64)[:, None]
    for paid, change in play.flows(ways):
        held += paid
        rest = change.copy()
        for at, value in enumerate(values):
            number = rest // value
            rest -= number * value
            held[at] -= number
        np.minimum(needed, held, out=needed)
        # came[at]: what came in pieces from this value down, smaller ones included.
        came = np.cumsum((paid * worths)[::-1], axis=0)[::-1]
        total_lacking += change - came[0]
        np.maximum(bound, total_lacking, out=bound)
        for at, step in enumerate(steps):
            lacking[at] += change % step
            if at + 1 < len(values):
                lacking[at] -= came[at + 1]
            np.maximum(bound, lacking[at], out=bound)
    return -needed, bound


def smallest_float(
    dues: Sequence[int],
    behaviours: Sequence[Behaviour],
    cash: Cash,
    target: float = TARGET,
    seed: int = SEED,
) -> Float:
    """Find the smallest float that can give change at every door in a share `target` of rounds.

    Parameters
    ----------
    dues
        Minor units due at each door, in round order; negative ones are given back.
    behaviours
        How customers pay (:func:`formread.round.payments.usual_behaviours`).
    cash
        The currency's coins and notes.
    target
        Share of rounds, below one.
    seed
        Of the simulated rounds.

    Returns
    -------
    Float
        Least in value, then in pieces as far as the search sees.

    Notes
    -----
    The search starts from the pieces that let enough rounds go well when change is always the fewest pieces,
    leaves pieces out from the largest down, and swaps pieces for smaller ones, as long as enough rounds still
    go well. A simulated answer is then measured on fresh rounds and topped up until the lower confidence
    bound reaches the target.
    """
    play = Round(dues, behaviours, cash)
    counted_out = play.ways <= _ENUMERATED
    if counted_out:
        ways, weights = play.every_way()
        wanted = target
    else:
        ways = play.sample(_SEARCH_ROUNDS, (seed, 0))
        weights = np.full(_SEARCH_ROUNDS, 1 / _SEARCH_ROUNDS)
        wanted = min(target + _SEARCH_MARGIN, 1.0)
    search = _Search(play, ways, weights, wanted)
    pieces = search.descend(search.start())
    if counted_out:
        least = search.least_possible(target)
        smallest, pieces = search.try_smaller(pieces, least)
        success = float(search.success(pieces[None, :])[0])
        found = _as_pieces(play.values, pieces)
        return Float(found, success, success, play.ways, True, worth(found) if smallest else least, smallest)
    return _measured(play, search, pieces, target, seed)


def _measured(play: Round, search: "_Search", pieces: Counts, target: float, seed: int) -> Float:
    """Measure a float on fresh rounds, and top it up while its lower bound misses the target."""
    for attempt in range(1, _MOST_REPAIRS):
        ways = play.sample(_PROOF_ROUNDS, (seed, attempt))
        success = float(play.play(np.repeat(pieces[:, None], _PROOF_ROUNDS, axis=1), ways).mean())
        low = wilson_low(success, _PROOF_ROUNDS)
        if low >= target:
            break
        pieces = search.top_up(pieces, attempt)
    _, bound = _needs(play, ways)
    # The order statistic that lies below the true quantile with 95 % confidence.
    rank = math.floor(target * _PROOF_ROUNDS - _SIGMAS * math.sqrt(_PROOF_ROUNDS * target * (1 - target)))
    least = int(np.sort(bound)[max(rank - 1, 0)])
    found = _as_pieces(play.values, pieces)
    return Float(found, success, low, _PROOF_ROUNDS, False, least, worth(found) <= least)


def _as_pieces(values: Sequence[int], pieces: Counts) -> Mapping[int, int]:
    return MappingProxyType({value: int(n) for value, n in zip(values, pieces, strict=True) if n})


def wilson_low(share: float, rounds: int) -> float:
    """Return the one-sided 95 % lower confidence bound of a share (Wilson, JASA 22, 1927)."""
    z2 = _SIGMAS**2
    centre = share + z2 / (2 * rounds)
    spread = _SIGMAS * math.sqrt(share * (1 - share) / rounds + z2 / (4 * rounds**2))
    return (centre - spread) / (1 + z2 / rounds)


class _Search:
    """Compares floats on one set of rounds. A float is a (K,) int32 array of pieces, largest value first."""

    def __init__(
        self, play: Round, ways: npt.NDArray[np.int8], weights: npt.NDArray[np.float64], wanted: float
    ) -> None:
        self._play = play
        self._ways = ways
        self._weights = weights
        self._wanted = wanted - 1e-12  # sums of probabilities miss their true value by rounding

    @cached_property
    def _needs(self) -> tuple[Counts, npt.NDArray[np.int64]]:
        return _needs(self._play, self._ways)

    def success(self, floats: Counts) -> npt.NDArray[np.float64]:
        """Return the share of rounds that go well with each of F floats, (F, K) to (F,)."""
        rounds = self._ways.shape[1]
        purses = np.repeat(floats.T, rounds, axis=1).astype(np.int32)
        alive = self._play.play(purses, np.tile(self._ways, (1, len(floats))))
        return np.asarray(alive.reshape(len(floats), rounds) @ self._weights)

    def _enough(self, floats: Counts) -> Flags:
        return np.asarray(self.success(floats) >= self._wanted)

    def start(self) -> Counts:
        """Return a float that does it: the needs of just enough rounds, those that need most left out."""
        worths = np.array(self._play.values, np.int64)
        needed, _ = self._needs
        cost = needed.T @ worths
        order = np.argsort(cost, kind="stable")
        reached = np.searchsorted(np.cumsum(self._weights[order]), self._wanted)
        return np.asarray(needed[:, order[: reached + 1]].max(axis=1), np.int32)

    def descend(self, pieces: Counts) -> Counts:
        """Leave pieces out and swap them for smaller ones while enough rounds still go well."""
        values = self._play.values
        for at in range(len(values)):
            pieces = self._leave_out(pieces, at)
        while True:
            candidates = []
            for at, value in enumerate(values):
                if not pieces[at]:
                    continue
                bare = pieces.copy()
                bare[at] -= 1
                candidates.append(bare)
                for smaller in range(at + 1, min(at + 3, len(values))):
                    for number in range(1, -(-value // values[smaller])):
                        swapped = bare.copy()
                        swapped[smaller] += number
                        candidates.append(swapped)
            if not candidates:
                return pieces
            offered = np.stack(candidates)
            good = self._enough(offered)
            if not good.any():
                return pieces
            cost = offered @ np.array(values, np.int64)
            cost[~good] = np.iinfo(np.int64).max
            pieces = offered[int(cost.argmin())]

    def _leave_out(self, pieces: Counts, at: int) -> Counts:
        """Leave out as many pieces of one value as can be spared, by halving."""
        low, high = 0, int(pieces[at])  # low pieces can surely be spared, more than high never
        while low < high:
            middle = (low + high + 1) // 2
            trial = pieces.copy()
            trial[at] -= middle
            if self._enough(trial[None, :])[0]:
                low = middle
            else:
                high = middle - 1
        left = pieces.copy()
        left[at] -= low
        return left

    def top_up(self, pieces: Counts, attempt: int) -> Counts:
        """Add the piece that helps most for its value, judged on rounds of its own."""
        ways = self._play.sample(4 * _SEARCH_ROUNDS, (SEED, 1000 + attempt))
        weights = np.full(ways.shape[1], 1 / ways.shape[1])
        search = _Search(self._play, ways, weights, self._wanted)
        usable = [at for at, value in enumerate(self._play.values) if value <= self._play.largest_change]
        offered = np.repeat(pieces[None, :], len(usable) + 1, axis=0)
        for row, at in enumerate(usable, 1):
            offered[row, at] += 1
        success = search.success(offered)
        worths = np.array([self._play.values[at] for at in usable])
        gain = (success[1:] - success[0]) / worths
        return np.asarray(offered[1 + int(gain.argmax())], np.int32)

    def least_possible(self, target: float) -> int:
        """Return the value that no float can go below, when the ways are counted out."""
        _, bound = self._needs
        order = np.argsort(bound, kind="stable")
        reached = np.searchsorted(np.cumsum(self._weights[order]), target - 1e-12)
        return int(bound[order[min(int(reached), len(order) - 1)]])

    def try_smaller(self, pieces: Counts, least: int) -> tuple[bool, Counts]:
        """Try every float of less value, cheapest first; return whether that could be done, and the best."""
        values = self._play.values
        worths = np.array(values, np.int64)
        best = int(pieces @ worths)
        usable = [value for value in values if value <= self._play.largest_change]
        most = _EXHAUSTIVE // self._ways.shape[1]
        if best <= least:
            return True, pieces
        smaller = _handfuls(usable, least, best - 1, most)
        if smaller is None:
            return False, pieces
        place = [values.index(value) for value in usable]
        ordered = sorted(smaller, key=lambda handful: (_value(usable, handful), sum(handful)))
        batch = max(1, 200_000 // self._ways.shape[1])
        for first in range(0, len(ordered), batch):
            floats = np.zeros((len(ordered[first : first + batch]), len(values)), np.int32)
            floats[:, place] = np.array(ordered[first : first + batch], np.int32)
            good = np.flatnonzero(self._enough(floats))
            if good.size:
                return True, floats[good[0]]
        return True, pieces


def _value(values: Sequence[int], handful: Sequence[int]) -> int:
    return sum(value * number for value, number in zip(values, handful, strict=True))


def _handfuls(values: Sequence[int], least: int, most: int, limit: int) -> list[tuple[int, ...]] | None:
    """List every handful worth between `least` and `most`, or None where there are more than `limit`."""
    found: list[tuple[int, ...]] = []
    # Count first: the list itself may be astronomically long.
    ways = [1] + [0] * most
    for value in values:
        for amount in range(value, most + 1):
            ways[amount] += ways[amount - value]
    if sum(ways[least:]) > limit:
        return None

    def extend(at: int, taken: tuple[int, ...], amount: int) -> None:
        if at == len(values):
            if amount >= least:
                found.append(taken)
            return
        for number in range((most - amount) // values[at] + 1):
            extend(at + 1, (*taken, number), amount + number * values[at])

    extend(0, (), 0)
    return found
