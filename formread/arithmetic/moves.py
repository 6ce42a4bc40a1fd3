"""What rows and the goods box may add to the sum, as moves of the chain; :mod:`formread.arithmetic.charges` has the charges."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.astray import Block, written_given_astray
from formread.arithmetic.evidence import Box, breadth
from formread.arithmetic.pen import all_chances, unknowns
from formread.arithmetic.priors import Priors, TotalSlip
from formread.arithmetic.rows import Context, MadeWays, Row
from formread.arithmetic.ways import BLANK, Ways

LEAST_MOVE: Final = 1e-8
"""Moves below this share of their stage are dropped. What they could bring is far below the least
probability that any verdict turns on."""

WAYS_IN: Final = 6
COUNTED, LEFT_OUT, TWICE, STRUCK, STRUCK_COUNTED, STRUCK_UNSEEN = range(WAYS_IN)
"""How a row entered the customer's sum. Only the first, the fourth and the last are right; the last is crossed out and
does not look so, which counts as found wrongly."""
CROSSED_OUT: Final = (STRUCK, STRUCK_COUNTED, STRUCK_UNSEEN)

FAR_OFF: Final = 0.3
"""How much rarer slips of no known kind are by which a total comes to be off by more than half of itself: people know
about what they have ordered for. Assumption."""


@dataclass(frozen=True, slots=True)
class SlipShares:
    """How often the sum as a whole is wrong, and by which kind, on this slip.

    Attributes
    ----------
    wrong
        Probability that the sum is slipped in.
    shares
        Share of each kind among those, over the kinds that this slip makes possible; sums to one.
    rows
        Expected number of rows that count.
    struck
        Probability that a row is crossed out, the likeliest one.
    """

    wrong: float
    shares: dict[TotalSlip, float]
    rows: float
    struck: float

    def of(self, kind: TotalSlip) -> float:
        """Probability that the sum is slipped in this way."""
        return self.wrong * self.shares.get(kind, 0.0)


def slip_shares(filled: float, struck: float, charged: float, priors: Priors) -> SlipShares:
    """Fit the table of kinds to what this slip has: no charge can be forgotten where none is written.

    Parameters
    ----------
    filled, struck
        :attr:`SlipShares.rows` and :attr:`SlipShares.struck`.
    charged
        Expected number of charges that are written.
    """
    shares = dict(priors.total_slips)
    shares["forgot_charge"] *= min(charged, 1.0)
    shares["charge_sign"] *= min(charged, 1.0)
    shares["struck_counted"] *= struck
    shares["left_out"] *= min(filled / 2, 1.0)
    shares["twice"] *= min(filled / 2, 1.0)
    scale = sum(shares.values())
    return SlipShares(
        priors.sum_wrong(filled + charged),
        {kind: share / scale for kind, share in shares.items()},
        filled,
        struck,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Entries:
    """Every way that a row may have been written and have entered the sum, under one context.

    Attributes
    ----------
    moves
        What the chain sees of them: ways that lead to one state are one move.
    ways
        How the row may have been written, (W,).
    way, counted, move
        (M,) per entry: which way, how it entered the sum, and which move it is part of.
    share
        (M,) its part of that move.
    """

    moves: chain.Moves
    ways: Ways
    way: chain.Ints
    counted: chain.Ints
    move: chain.Ints
    share: chain.Floats


Stage = dict[Hashable, Entries]
"""The entries of one row, by what ditto marks in it repeat."""


def row_stage(
    rows: Sequence[Row],
    place: int,
    contexts: Sequence[Hashable],
    made: MadeWays,
    plain: dict[int, Entries],
    sums: SlipShares,
) -> Stage:
    """Every way that a row may have been written and have entered the sum.

    What a ditto mark in the row below would repeat is carried on, field by field, where there may be one.
    `plain` has the entries of the rows that hang on no other.
    """
    if place in plain:
        return dict.fromkeys(contexts, plain[place])
    row = rows[place]
    repeats = (False, False, False) if place + 1 == len(rows) else rows[place + 1].repeats
    stage: Stage = {}
    for context in contexts:
        above: Context | None = context if isinstance(context, tuple) else None
        # Without a ditto mark the context changes nothing but what is carried on.
        ways = made.of(place, above)
        targets = _contexts(ways, above, repeats)
        stage[context] = _entries([ways], [row], [targets], sums)[0]
    # One factor for all contexts: how well the row fits each of them tells them apart.
    most = max(float(some.moves.weights.sum()) + some.moves.dropped for some in stage.values())
    return {context: _scaled(some, 1 / most) for context, some in stage.items()}


def plain_entries(rows: Sequence[Row], made: MadeWays, sums: SlipShares) -> dict[int, Entries]:
    """The entries of all rows that repeat nothing from above and are repeated by no row below, at once."""
    alone = [
        place
        for place, row in enumerate(rows)
        if not any(row.repeats) and (place + 1 == len(rows) or not any(rows[place + 1].repeats))
    ]
    ways = [made.of(place, None) for place in alone]
    found = _entries(ways, [rows[place] for place in alone], [None] * len(alone), sums)
    return {
        place: _scaled(some, 1 / max(float(some.moves.weights.sum()) + some.moves.dropped, 1e-300))
        for place, some in zip(alone, found, strict=True)
    }


def _scaled(entries: Entries, factor: float) -> Entries:
    moves = entries.moves
    scaled = replace(moves, weights=moves.weights * factor, dropped=moves.dropped * factor)
    return replace(entries, moves=scaled)


def _contexts(
    ways: Ways, above: Context | None, repeats: tuple[bool, bool, bool]
) -> list[Context | None] | None:
    if not any(repeats):
        return None
    shown: Context
    found: list[Context | None] = []
    columns = zip(ways.quantity.tolist(), ways.unit_price.tolist(), ways.line_total.tolist(), strict=True)
    for values in columns:
        shown = (_shown(values[0]), _shown(values[1]), _shown(values[2]))
        if shown == (None, None, None) and above is not None:
            shown = above
        found.append(
            (
                shown[0] if repeats[0] else None,
                shown[1] if repeats[1] else None,
                shown[2] if repeats[2] else None,
            )
        )
    return found


def _shown(number: int) -> int | None:
    return None if number == BLANK else number


_SPENT: Final = np.array([0, 1, 1, 0, 1, 0], dtype=np.int64)
"""By how a row entered the sum: whether that spends the one slip that the sum may have."""


def _entries(
    made: Sequence[Ways],
    rows: Sequence[Row],
    contexts: Sequence[list[Context | None] | None],
    sums: SlipShares,
) -> list[Entries]:
    """The entries of several rows at once; what each way carries on (None: nothing) is in `contexts`."""
    if not made:
        return []
    sizes = np.array([ways.weight.size for ways in made])
    which = np.repeat(np.arange(len(made)), sizes)
    empty = np.concatenate([ways.empty for ways in made])
    right, summed, weighs = (
        np.concatenate([getattr(ways, name) for ways in made]) for name in ("right", "summed", "weight")
    )
    gone_share = np.where(empty, 0.0, np.array([row.struck for row in rows])[which])
    stands, gone = weighs * (1 - gone_share), weighs * gone_share
    slips = np.where(empty, 0.0, stands) / max(sums.rows, 1.0)
    nothing = np.zeros_like(summed)
    weight = np.concatenate(
        [
            stands,
            slips * sums.of("left_out"),
            slips * sums.of("twice"),
            gone,
            # The share holds for a slip that has such a row at all; here it is asked of one that is crossed out.
            gone * sums.of("struck_counted") / max(sums.struck, LEAST_MOVE),
            np.where(empty, 0.0, stands) * np.array([row.unseen for row in rows])[which],
        ]
    )
    base = np.concatenate([summed, nothing, 2 * summed, nothing, summed, nothing])
    drift = np.concatenate([summed - right, -right, 2 * summed - right, nothing, summed, nothing])
    counted = np.repeat(np.arange(WAYS_IN), summed.size)
    row = np.tile(which, WAYS_IN)
    whole = np.bincount(row, weight, len(made))
    kept = np.nonzero(weight > LEAST_MOVE * whole[row])[0]
    steps = chain.step(base[kept], drift[kept], _SPENT[counted[kept]], counted[kept] == STRUCK_UNSEEN)
    number: dict[Context | None, int] = {None: 0}
    target = np.zeros(kept.size, dtype=np.int64)
    if any(some is not None for some in contexts):
        every = [c for some, size in zip(contexts, sizes, strict=True) for c in some or [None] * size]
        numbers = np.array([number.setdefault(context, len(number)) for context in every], dtype=np.int64)
        target = np.tile(numbers, WAYS_IN)[kept]
    targets = list(number)
    order = np.lexsort((steps, target, row[kept]))
    steps, target, kept = steps[order], target[order], kept[order]
    row = row[kept]
    new = np.ones(kept.size, dtype=bool)
    new[1:] = (steps[1:] != steps[:-1]) | (target[1:] != target[:-1]) | (row[1:] != row[:-1])
    move = np.cumsum(new) - 1
    totals = np.bincount(move, weight[kept]).astype(np.float64)
    share = weight[kept] / totals[move]
    way = kept % summed.size - np.concatenate([[0], np.cumsum(sizes)[:-1]])[row]
    counted = counted[kept]
    first = np.searchsorted(row, np.arange(len(made) + 1)).tolist()
    found = []
    for i, ways in enumerate(made):
        part = slice(first[i], first[i + 1])
        moves = slice(int(move[first[i]]), int(move[first[i + 1] - 1]) + 1)
        led = target[part][new[part]]
        found.append(
            Entries(
                moves=chain.Moves(
                    steps[part][new[part]],
                    totals[moves],
                    None if contexts[i] is None else [targets[t] for t in led.tolist()],
                    max(float(whole[i]) - float(totals[moves].sum()), 0.0),
                ),
                ways=ways,
                way=way[part],
                counted=counted[part],
                move=move[part] - moves.start,
                share=share[part],
            )
        )
    return found


def goods_stage(
    box: Box, states: chain.Ints, sums: SlipShares, doubt: float, block: Block
) -> tuple[chain.Moves, tuple[int | None, ...]]:
    """The goods box: what is written there, right or not, is what the customer goes on with.

    Parameters
    ----------
    doubt
        How probably boxes were found wrongly: then the goods' own box, and not the rows, says what the goods come to.
    block
        What else was found: the box may be the total's.

    Returns
    -------
    moves
        Steps and weights of shape (K, N): they depend on what was summed so far.
    meaning
        The value written, per move.
    """
    base = chain.base_of(states)
    steps: list[chain.Ints] = []
    weights: list[chain.Floats] = []
    meaning: list[int | None] = []
    numbers = [value for value in box.weights if isinstance(value, int)]
    distinct, inverse = chain.distinct(base)
    written = np.array(numbers, dtype=np.int64)
    # Before the charges, they are missing from what the total would be: with their signs turned.
    turned = replace(block, charges=tuple(-charge for charge in block.charges), goods=False)
    given = written_given_sums(written, distinct, sums)[inverse]
    lost = doubt * written_given_astray(written, distinct, turned)[inverse]
    lost[chain.slipped(states)] = 0.0
    for value, weight in box.weights.items():
        if not isinstance(value, int):
            steps.append(np.zeros_like(states))
            weights.append(np.full(states.shape, weight))
            meaning.append(None)
            continue
        fits = given[:, numbers.index(value)]
        apart = value - base
        wrong = np.where(apart == 0, 0, 1)
        steps.append(chain.step(apart, apart, wrong))
        weights.append(fits * (weight / breadth(value)))
        meaning.append(value)
        if doubt:
            steps.append(
                chain.step(apart, -chain.drift_of(states), np.zeros_like(states), np.ones_like(states))
            )
            weights.append(lost[:, numbers.index(value)] * (weight / breadth(value)))
            meaning.append(value)
    stacked = np.stack(weights)
    most = max(float(stacked.sum(axis=0).max()), 1e-300)
    return chain.Moves(np.stack(steps), stacked / most), tuple(meaning)


def written_given_sums(written: chain.Ints, sums_made: chain.Ints, sums: SlipShares) -> chain.Floats:
    """Probability that a customer who has summed to each of `sums_made` (N,) writes each of `written` (K,).

    Returns
    -------
    (N, K) array
    """
    every, each = np.tile(written, sums_made.size), np.repeat(sums_made, written.size)
    fits = (
        sums.of("unknown") * np.where(2 * np.abs(every - each) > each, FAR_OFF, 1.0) * unknowns(every, each)
    )
    for kind, (at, p) in all_chances(written, sums_made).items():
        fits[at] += sums.of(kind) * p
    fits[each == every] = 1 - sums.wrong
    return fits.reshape(sums_made.size, written.size)
