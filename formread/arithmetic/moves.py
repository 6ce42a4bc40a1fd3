"""What each part of a slip may add to the sum: rows, the goods box, charges, as moves of the chain."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.evidence import Box, breadth
from formread.arithmetic.pen import chances, unknowns
from formread.arithmetic.priors import Priors, TotalSlip
from formread.arithmetic.record import BoxRef
from formread.arithmetic.rows import Context, MadeWays, Row
from formread.arithmetic.terms import Due
from formread.arithmetic.ways import BLANK, Ways

LEAST_MOVE: Final = 1e-8
"""Moves below this share of their stage are dropped. What they could bring is far below the least
probability that any verdict turns on."""

COUNTED, LEFT_OUT, TWICE, STRUCK, STRUCK_COUNTED = range(5)
"""How a row entered the customer's sum. Only the first and the fourth are right."""

Charged = Literal["counted", "forgotten", "wrong_sign", "not_due"]
"""How a charge entered the sum; ``not_due``: as it is written, which is not what it should be."""

PERCENT_READ: Final = 0.97
"""How often a percentage was printed beside the box as it was read there, and holds for this slip. Assumption."""
WRITTEN: Final = 0.5
"""How often a charge's box is filled in, as the reader expects it before it looks: about half the time."""


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
    """

    wrong: float
    shares: dict[TotalSlip, float]
    rows: float

    def of(self, kind: TotalSlip) -> float:
        """Probability that the sum is slipped in this way."""
        return self.wrong * self.shares.get(kind, 0.0)


def slip_shares(rows: Sequence[Row], charges: Sequence["ChargeBox"], priors: Priors) -> SlipShares:
    """Fit the table of kinds to what this slip has: no charge can be forgotten where none is written."""
    filled = sum(row.filled for row in rows)
    charged = sum(1 - charge.box.weights.get(None, 0.0) for charge in charges)
    struck = max((row.struck for row in rows), default=0.0)
    shares = dict(priors.total_slips)
    shares["forgot_charge"] *= min(charged, 1.0)
    shares["charge_sign"] *= min(charged, 1.0)
    shares["struck_counted"] *= struck
    shares["left_out"] *= min(filled / 2, 1.0)
    shares["twice"] *= min(filled / 2, 1.0)
    scale = sum(shares.values())
    return SlipShares(
        priors.sum_wrong(filled + charged), {kind: share / scale for kind, share in shares.items()}, filled
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
    rows: Sequence[Row], place: int, contexts: Sequence[Hashable], made: MadeWays, sums: SlipShares
) -> Stage:
    """Every way that a row may have been written and have entered the sum.

    What a ditto mark in the row below would repeat is carried on, field by field, where there may be one.
    """
    row = rows[place]
    below = rows[place + 1] if place + 1 < len(rows) else None
    repeats = (False, False, False) if below is None else below.repeats
    stage: Stage = {}
    for context in contexts:
        above: Context | None = context if isinstance(context, tuple) else None
        # Without a ditto mark the context changes nothing but what is carried on.
        ways = made.of(place, above)
        stage[context] = _entries(row, ways, sums, _contexts(ways, above, repeats))
    # One factor for all contexts: how well the row fits each of them tells them apart.
    most = max(float(some.moves.weights.sum()) + some.moves.dropped for some in stage.values())
    return {context: _scaled(some, 1 / most) for context, some in stage.items()}


def _scaled(entries: Entries, factor: float) -> Entries:
    moves = entries.moves
    scaled = replace(moves, weights=moves.weights * factor, dropped=moves.dropped * factor)
    return replace(entries, moves=scaled)


def _contexts(ways: Ways, above: Context | None, repeats: tuple[bool, bool, bool]) -> list[Context | None]:
    if not any(repeats):
        return [None] * ways.weight.size
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


def _entries(row: Row, ways: Ways, sums: SlipShares, contexts: list[Context | None]) -> Entries:
    per_row = 1 / max(sums.rows, 1.0)
    empty, right, summed = ways.empty, ways.right, ways.summed
    stands = ways.weight * np.where(empty, 1.0, 1 - row.struck)
    gone = ways.weight * np.where(empty, 0.0, row.struck)
    slips = np.where(empty, 0.0, stands) * per_row
    nothing = np.zeros_like(summed)
    weight = np.concatenate(
        [
            stands,
            slips * sums.of("left_out"),
            slips * sums.of("twice"),
            gone,
            gone * sums.of("struck_counted"),
        ]
    )
    base = np.concatenate([summed, nothing, 2 * summed, nothing, summed])
    drift = np.concatenate([summed - right, -right, 2 * summed - right, nothing, summed])
    count = summed.size
    counted = np.repeat(np.arange(5), count)
    spent = np.isin(counted, (LEFT_OUT, TWICE, STRUCK_COUNTED)).astype(np.int64)
    way = np.tile(np.arange(count), 5)
    whole = float(weight.sum())
    kept = np.nonzero(weight > LEAST_MOVE * whole)[0]
    steps = chain.step(base[kept], drift[kept], spent[kept])
    targets = list(dict.fromkeys(contexts))
    number = {target: i for i, target in enumerate(targets)}
    target = np.array([number[context] for context in contexts], dtype=np.int64)[way[kept]]
    order = np.lexsort((steps, target))
    steps, target, kept = steps[order], target[order], kept[order]
    new = np.ones(kept.size, dtype=bool)
    new[1:] = (steps[1:] != steps[:-1]) | (target[1:] != target[:-1])
    move = np.cumsum(new) - 1
    totals = np.bincount(move, weight[kept]).astype(np.float64)
    return Entries(
        moves=chain.Moves(
            steps[new],
            totals,
            [targets[t] for t in target[new].tolist()],
            max(whole - float(totals.sum()), 0.0),
        ),
        ways=ways,
        way=way[kept],
        counted=counted[kept],
        move=move,
        share=weight[kept] / totals[move],
    )


@dataclass(slots=True)
class ChargeBox:
    """A charge while its slip is weighed.

    Attributes
    ----------
    sign
        +1 for delivery, -1 for a discount or a deposit.
    due, trust
        What it should be where something says so, and how surely that holds.
    """

    ref: BoxRef
    sign: int
    box: Box
    due: Due | None = None
    trust: float = 1.0

    def ask_due(self, so_far: chain.Ints) -> None:
        """Ask the box about what the charge should be, for the sums `so_far` (N,) before it."""
        if self.due is not None:
            for amount in sorted(set(self.due(so_far).tolist())):
                self.box.ask(amount)


@dataclass(frozen=True, slots=True)
class ChargeStage:
    """The chain's moves for one charge, and what each stands for: (amount written, how it was counted)."""

    moves: chain.Moves
    meaning: tuple[tuple[int | None, Charged], ...]


def charge_stage(
    charge: ChargeBox, charges: float, states: chain.Ints, sums: SlipShares, priors: Priors
) -> ChargeStage:
    """Every way that a charge may have been written and have entered the sum, for the states (N,) before it."""
    per_charge = 1 / max(charges, 1.0)
    forgotten, turned = sums.of("forgot_charge") * per_charge, sums.of("charge_sign") * per_charge
    steps: list[chain.Ints] = []
    weights: list[chain.Floats] = []
    meaning: list[tuple[int | None, Charged]] = []

    def move(
        base: int, drift: chain.Ints | int, slip: int, weight: chain.Floats | float, means: Charged
    ) -> None:
        one = chain.step(
            np.full_like(states, base), drift + np.zeros_like(states), np.full_like(states, slip)
        )
        steps.append(one)
        weights.append(weight + np.zeros(states.shape))
        meaning.append((amount, means))

    due = None
    if charge.due is not None:
        due = charge.due(chain.base_of(states) - chain.drift_of(states))
    for value, weight in charge.box.weights.items():
        amount = value if isinstance(value, int) else None
        added = charge.sign * (amount or 0)
        fits: chain.Floats | float = weight
        if due is not None:
            fits = weight * charge.trust * _charge_written(amount, due, priors)
            alike = due == (amount or 0)
            move(added, added - charge.sign * due, 1, np.where(alike, 0.0, fits), "not_due")
            fits = np.where(alike, fits, 0.0) + (1 - charge.trust) * weight
        # Where a charge is untrusted, what is written is what counts, due or not.
        move(added, 0, 0, fits, "counted")
        if added:
            move(0, -added, 1, fits * forgotten, "forgotten")
            move(-added, -2 * added, 1, fits * turned, "wrong_sign")
    stacked = np.stack(weights, axis=1)
    most = max(float(stacked.sum(axis=1).max()), 1e-300)
    return ChargeStage(chain.Moves(np.stack(steps, axis=1), stacked / most), tuple(meaning))


def _charge_written(amount: int | None, due: chain.Ints, priors: Priors) -> chain.Floats:
    """How much more probable the charge makes what is written in its box than it was; `due` is (N,)."""
    omitted, wrong = priors.charge_omitted, priors.charge_wrong
    nothing = due == 0
    if not amount:
        share = WRITTEN if amount is None else WRITTEN * breadth(0)
        zero = 0.5 if amount is not None else 1.0
        return np.where(nothing, zero * (1 - wrong), omitted if amount is None else 0.0) / share
    column = np.full_like(due, amount)
    written = np.where(
        due == amount,
        1 - wrong - omitted,
        np.where(nothing, wrong * breadth(amount), wrong * unknowns(column, due)),
    )
    found: chain.Floats = written / (WRITTEN * breadth(amount))
    return found


def goods_stage(box: Box, states: chain.Ints, sums: SlipShares) -> tuple[chain.Moves, tuple[int | None, ...]]:
    """The goods box: what is written there, right or not, is what the customer goes on with.

    Returns
    -------
    moves
        Steps and weights of shape (N, K): they depend on what was summed so far.
    meaning
        The value written, per move.
    """
    base = chain.base_of(states)
    steps: list[chain.Ints] = []
    weights: list[chain.Floats] = []
    meaning: list[int | None] = []
    for value, weight in box.weights.items():
        if not isinstance(value, int):
            steps.append(np.zeros_like(states))
            weights.append(np.full(states.shape, weight))
            meaning.append(None)
            continue
        fits = written_given_sum(value, base, sums)
        apart = value - base
        wrong = np.where(apart == 0, 0, 1)
        steps.append(chain.step(apart, apart, wrong))
        weights.append(fits * (weight / breadth(value)))
        meaning.append(value)
    stacked = np.stack(weights, axis=1)
    most = max(float(stacked.sum(axis=1).max()), 1e-300)
    return chain.Moves(np.stack(steps, axis=1), stacked / most), tuple(meaning)


def written_given_sum(written: int, sums_made: chain.Ints, sums: SlipShares) -> chain.Floats:
    """Probability that a customer who has summed to each of `sums_made` (N,) writes `written`."""
    column = np.full_like(sums_made, written)
    fits = sums.of("unknown") * unknowns(column, sums_made)
    for kind, (at, p) in chances(column, sums_made).items():
        fits[at] += sums.of(kind) * p
    fits[sums_made == written] = 1 - sums.wrong
    return fits
