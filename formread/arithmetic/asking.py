"""Which box, once a person has looked at it, would settle an unsure slip best: the value of information."""

from collections import defaultdict
from collections.abc import Iterator
from typing import Final, Literal

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.costs import Costs
from formread.arithmetic.moves import CROSSED_OUT, Entries
from formread.arithmetic.record import BoxRef
from formread.arithmetic.weighing import Weighed

SURE: Final = 1e-5
"""A box whose value is this sure is not asked for."""
MOST_ASKED: Final = 8
"""Boxes named for one slip: who has looked at so many has looked at the slip."""

Spread = dict[int, chain.Floats]
"""By what may be written in a box: its weight in all, and its weight where the total is wrong; shape (2,)."""


def row_posterior(weighed: Weighed, place: int, onward: chain.Ahead) -> list[tuple[Entries, chain.Floats]]:
    """Weight of every entry of a row, summed over all ways to the ends that `onward` was made for."""
    found: list[tuple[Entries, chain.Floats]] = []
    for context, shares in weighed.chain.shares(place, onward).items():
        entries = weighed.stages[place][context]
        per_move = np.zeros(entries.moves.weights.size)
        per_move[list(shares)] = list(shares.values())
        found.append((entries, per_move[entries.move] * entries.share))
    return found


def boxes_to_ask(weighed: Weighed, costs: Costs) -> tuple[BoxRef, ...]:
    """The boxes that are worth a look, that one first whose value leaves the least expected cost.

    What each value would do to the probability that the total is wrong is read off the same sums over all
    combinations, so every box and every value is weighed. Of boxes that save alike, that one goes first which
    leaves less doubt (Shannon's entropy of "wrong", given its value); boxes that are sure are left out.
    """
    found: list[tuple[float, float, int, BoxRef]] = []
    for place, (ref, spread) in enumerate(spreads(weighed)):
        weights = np.array(list(spread.values()))
        whole = float(weights[:, 0].sum())
        sure = len(spread) < 2 or weights[:, 0].max() > (1 - SURE) * whole
        if whole <= 0 or (sure and not (ref.role == "total" and weighed.probability_astray > SURE)):
            continue
        at = weights[:, 0] > 0
        shares, wrong = weights[at, 0] / whole, np.minimum(weights[at, 1] / weights[at, 0], 1.0)
        cost = sum(p * costs.least(w) for p, w in zip(shares.tolist(), wrong.tolist(), strict=True))
        found.append((round(cost, 3), round(float(shares @ _entropy(wrong)), 6), place, ref))
    return tuple(ref for _, _, _, ref in sorted(found)[:MOST_ASKED])


def _entropy(p: chain.Floats) -> chain.Floats:
    """Shannon's entropy of a yes or no, in bits; (N,) probabilities."""
    inside = np.clip(p, 1e-12, 1 - 1e-12)
    bits: chain.Floats = -inside * np.log2(inside) - (1 - inside) * np.log2(1 - inside)
    return bits


_FIELDS: Final[tuple[Literal["unit_price", "line_total", "quantity"], ...]] = (
    "unit_price",
    "line_total",
    "quantity",
)


def spreads(weighed: Weighed) -> Iterator[tuple[BoxRef, Spread]]:
    """For every box of the slip: what may be written in it; -1 is an empty box. And of every row, whether it is struck out."""
    holds = weighed.right[:, None] == np.array(weighed.written)[None, :]
    # A look at any box but the total leaves it open whether the boxes were found rightly.
    ends = (weighed.explained, weighed.explained_wrong)
    onward = [weighed.chain.back(end) for end in ends]
    columns = np.stack(
        [weighed.weights.sum(axis=0), np.where(holds, 0.0, weighed.weights).sum(axis=0)], axis=1
    )
    spread = dict(zip(weighed.written, columns, strict=True))
    yield BoxRef("total", nth=weighed.total_nth), spread
    for place, row in enumerate(weighed.rows):
        posteriors = [row_posterior(weighed, place, ahead) for ahead in onward]
        for field in _FIELDS:
            yield BoxRef(field, row.readings.row), _row_spread(posteriors, field)
        yield BoxRef("struck_out", row.readings.row), _struck_spread(posteriors)
    after = len(weighed.rows)
    if weighed.goods is not None:
        yield BoxRef("goods"), _spread(weighed, after, onward, weighed.goods_meaning)
    after += weighed.goods is not None
    for place, charge in enumerate(weighed.charges):
        meaning = tuple(amount for amount, _ in weighed.charge_stages[place].meaning)
        yield charge.ref, _spread(weighed, after + place, onward, meaning)


def _row_spread(posteriors: list[list[tuple[Entries, chain.Floats]]], field: str) -> Spread:
    spread: Spread = defaultdict(lambda: np.zeros(2))
    for which, posterior in enumerate(posteriors):
        for entries, p in posterior:
            values = getattr(entries.ways, field)
            distinct, inverse = chain.distinct(values)
            sums = np.bincount(inverse[entries.way], p, distinct.size)
            for value, weight in zip(distinct.tolist(), sums.tolist(), strict=True):
                spread[value][which] += weight
    return spread


def _spread(
    weighed: Weighed, stage: int, onward: list[chain.Ahead], meaning: tuple[int | None, ...]
) -> Spread:
    spread: Spread = defaultdict(lambda: np.zeros(2))
    for which, ahead in enumerate(onward):
        for shares in weighed.chain.shares(stage, ahead).values():
            for move, share in shares.items():
                value = meaning[move]
                spread[-1 if value is None else value][which] += share
    return spread


def _struck_spread(posteriors: list[list[tuple[Entries, chain.Floats]]]) -> Spread:
    """Whether a row is crossed out, 1 or 0."""
    spread: Spread = {0: np.zeros(2), 1: np.zeros(2)}
    for which, posterior in enumerate(posteriors):
        for entries, p in posterior:
            struck = np.isin(entries.counted, CROSSED_OUT)
            spread[0][which] += p[~struck].sum()
            spread[1][which] += p[struck].sum()
    return spread
