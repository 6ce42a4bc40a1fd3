"""What each part of a slip may add to the sum: rows, the goods box, charges, as moves of the chain."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.evidence import Box, breadth
from formread.arithmetic.pen import origins, unknown_from
from formread.arithmetic.priors import Priors, TotalSlip
from formread.arithmetic.rows import Context, LineModel, Row, Way, Written

LEAST_MOVE: Final = 1e-10
"""Moves below this share of their stage are dropped. What they could bring is far below the least
probability that any verdict turns on."""

Charged = Literal["counted", "forgotten", "wrong_sign"]


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


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of the chain and, for each context above it, what its moves stand for."""

    moves: dict[Hashable, chain.Moves]
    ways: dict[Hashable, tuple[tuple[Way, ...], ...]]


def row_stage(
    row: Row, contexts: Sequence[Hashable], below: Row | None, lines: LineModel, sums: SlipShares
) -> Stage:
    """Every way that a row may have been written and have entered the sum.

    What a ditto mark in the row `below` would repeat is carried on, field by field, where there may be one.
    """
    repeats = (False, False, False) if below is None else below.repeats
    per_row = 1 / max(sums.rows, 1.0)
    left_out, twice = sums.of("left_out") * per_row, sums.of("twice") * per_row
    counted_struck = sums.of("struck_counted")
    moves: dict[Hashable, chain.Moves] = {}
    ways: dict[Hashable, tuple[tuple[Way, ...], ...]] = {}
    for context in contexts:
        above: Context | None = context if isinstance(context, tuple) else None
        found: dict[tuple[int, int, int, Hashable], list[Way]] = {}
        for written in row.written(above, lines):
            following = _context(written, above, repeats)
            for base, drift, slip, way in _entries(written, row.struck, left_out, twice, counted_struck):
                found.setdefault((base, drift, slip, following), []).append(way)
        moves[context], ways[context] = _pack(found)
    return Stage(moves, ways)


def _context(written: Written, above: Context | None, repeats: tuple[bool, bool, bool]) -> Context | None:
    if not any(repeats):
        return None
    shown = (written.quantity, written.unit_price, written.line_total)
    if written.empty:
        shown = above or (None, None, None)
    return (
        shown[0] if repeats[0] else None,
        shown[1] if repeats[1] else None,
        shown[2] if repeats[2] else None,
    )


def _entries(
    written: Written, struck: float, left_out: float, twice: float, counted_struck: float
) -> list[tuple[int, int, int, Way]]:
    w, right, summed = written.weight, written.right, written.summed
    if written.empty:
        return [(0, 0, 0, Way(written, "counted", w))]
    stands, gone = w * (1 - struck), w * struck
    return [
        (summed, summed - right, 0, Way(written, "counted", stands)),
        (0, -right, 1, Way(written, "left_out", stands * left_out)),
        (2 * summed, 2 * summed - right, 1, Way(written, "twice", stands * twice)),
        (0, 0, 0, Way(written, "struck", gone)),
        (summed, summed, 1, Way(written, "struck_counted", gone * counted_struck)),
    ]


def _pack(
    found: dict[tuple[int, int, int, Hashable], list[Way]],
) -> tuple[chain.Moves, tuple[tuple[Way, ...], ...]]:
    totals = {key: sum(way.share for way in some) for key, some in found.items()}
    whole = sum(totals.values())
    if whole <= 0:
        # Nothing that was read fits here (a ditto mark under nothing): the row says nothing.
        nothing = Written(None, None, None, 0, 0, 1.0)
        found, totals, whole = (
            {(0, 0, 0, None): [Way(nothing, "counted", 1.0)]},
            {(0, 0, 0, None): 1.0},
            1.0,
        )
    kept = [key for key in found if totals[key] > LEAST_MOVE * whole]
    steps = chain.step(
        np.array([key[0] for key in kept], dtype=np.int64),
        np.array([key[1] for key in kept], dtype=np.int64),
        np.array([key[2] for key in kept], dtype=np.int64),
    )
    weights = np.array([totals[key] / whole for key in kept])
    following = [key[3] for key in kept]
    return chain.Moves(steps, weights, following), tuple(tuple(found[key]) for key in kept)


@dataclass(slots=True)
class ChargeBox:
    """A charge while its slip is weighed: ``sign`` is +1 for delivery, -1 for a discount or a deposit."""

    place: int
    sign: int
    box: Box


@dataclass(frozen=True, slots=True)
class ChargeStage:
    """The chain's moves for one charge, and what each stands for: (amount written, how it was counted)."""

    moves: chain.Moves
    meaning: tuple[tuple[int | None, Charged], ...]


def charge_stage(charge: ChargeBox, charges: float, sums: SlipShares) -> ChargeStage:
    """Every way that a charge may have been written and have entered the sum."""
    per_charge = 1 / max(charges, 1.0)
    rows: list[tuple[int, int, int, float, tuple[int | None, Charged]]] = []
    for value, weight in charge.box.weights.items():
        amount = value if isinstance(value, int) else None
        added = charge.sign * (amount or 0)
        rows.append((added, 0, 0, weight, (amount, "counted")))
        if added:
            forgotten = weight * sums.of("forgot_charge") * per_charge
            turned = weight * sums.of("charge_sign") * per_charge
            rows.append((0, -added, 1, forgotten, (amount, "forgotten")))
            rows.append((-added, -2 * added, 1, turned, (amount, "wrong_sign")))
    whole = sum(row[3] for row in rows)
    steps = chain.step(*(np.array([row[i] for row in rows], dtype=np.int64) for i in range(3)))
    weights = np.array([row[3] / whole for row in rows])
    return ChargeStage(chain.Moves(steps, weights), tuple(row[4] for row in rows))


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
    return chain.Moves(np.stack(steps, axis=1), stacked / max(float(stacked.max()), 1e-300)), tuple(meaning)


def written_given_sum(written: int, sums_made: chain.Ints, sums: SlipShares) -> chain.Floats:
    """Probability that a customer who has summed to each of `sums_made` (N,) writes `written`."""
    fits = sums.of("unknown") * unknown_from(written, sums_made)
    fits[sums_made == written] = 1 - sums.wrong
    known: dict[int, float] = {}
    for right, kind, p in origins(written):
        known[right] = known.get(right, 0.0) + sums.of(kind) * p
    if known:
        rights = np.array(sorted(known), dtype=np.int64)
        extra = np.array([known[right] for right in rights.tolist()])
        at = np.minimum(np.searchsorted(rights, sums_made), rights.size - 1)
        fits += np.where(rights[at] == sums_made, extra[at], 0.0)
    return fits
