"""Which one box, once a person has looked at it, would settle an unsure slip best."""

from collections import defaultdict
from collections.abc import Hashable, Iterator

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.costs import Costs
from formread.arithmetic.moves import Entries
from formread.arithmetic.record import BoxRef, Field
from formread.arithmetic.weighing import Weighed

Onward = list[dict[Hashable, chain.Floats]]
Spread = dict[int, chain.Floats]
"""By what may be written in a box: its weight in all, and its weight where the total is wrong; shape (2,)."""


def row_posterior(weighed: Weighed, place: int, onward: Onward) -> list[tuple[Entries, chain.Floats]]:
    """Weight of every entry of a row, summed over all ways to the ends that `onward` was made for."""
    found: list[tuple[Entries, chain.Floats]] = []
    for context, shares in weighed.chain.shares(place, onward).items():
        entries = weighed.stages[place][context]
        per_move = np.zeros(entries.moves.weights.size)
        per_move[list(shares)] = list(shares.values())
        found.append((entries, per_move[entries.move] * entries.share))
    return found


def box_to_ask(weighed: Weighed, costs: Costs) -> BoxRef | None:
    """The one box whose value, once a person has confirmed it, leaves the least expected cost.

    What each value would do to the probability that the total is wrong is read off the same sums over all
    combinations, so every box and every value is weighed. Of boxes that help alike the first is asked for.
    """
    best: tuple[float, BoxRef] | None = None
    for ref, spread in _spreads(weighed):
        weights = np.array(list(spread.values()))
        whole = float(weights[:, 0].sum())
        if len(spread) < 2 or whole <= 0:
            continue
        expected = sum(
            of_all / whole * costs.least(min(wrong / of_all, 1.0))
            for of_all, wrong in weights.tolist()
            if of_all > 0
        )
        if best is None or expected < best[0] - 1e-9:
            best = (expected, ref)
    return None if best is None else best[1]


def _spreads(weighed: Weighed) -> Iterator[tuple[BoxRef, Spread]]:
    """For every box with more than one reading left: what may be written in it."""
    holds = weighed.right[:, None] == np.array(weighed.written)[None, :]
    ends = (weighed.fits.sum(axis=1), np.where(holds, 0.0, weighed.fits).sum(axis=1))
    onward = [weighed.chain.back(end) for end in ends]
    columns = np.stack(
        [weighed.weights.sum(axis=0), np.where(holds, 0.0, weighed.weights).sum(axis=0)], axis=1
    )
    if weighed.total_place is not None:
        spread = dict(zip(weighed.written, columns, strict=True))
        yield BoxRef("total", place=weighed.total_place), spread
    for place, row in enumerate(weighed.rows):
        posteriors = [row_posterior(weighed, place, ahead) for ahead in onward]
        fields: tuple[Field, ...] = ("unit_price", "line_total", "quantity")
        for field in fields:
            yield BoxRef(field, row.readings.row), _row_spread(posteriors, field)
    after = len(weighed.rows)
    if weighed.goods is not None and weighed.goods_place is not None:
        yield (
            BoxRef("goods", place=weighed.goods_place),
            _spread(weighed, after, onward, weighed.goods_meaning),
        )
    after += weighed.goods is not None
    for place, charge in enumerate(weighed.charges):
        meaning = tuple(amount for amount, _ in weighed.charge_stages[place].meaning)
        yield BoxRef("charge", place=charge.place), _spread(weighed, after + place, onward, meaning)


def _row_spread(posteriors: list[list[tuple[Entries, chain.Floats]]], field: Field) -> Spread:
    spread: Spread = defaultdict(lambda: np.zeros(2))
    for which, posterior in enumerate(posteriors):
        for entries, p in posterior:
            values = getattr(entries.ways, field)
            distinct, inverse = np.unique(values, return_inverse=True)
            sums = np.bincount(inverse[entries.way], p, distinct.size)
            for value, weight in zip(distinct.tolist(), sums.tolist(), strict=True):
                spread[value][which] += weight
    return spread


def _spread(weighed: Weighed, stage: int, onward: list[Onward], meaning: tuple[int | None, ...]) -> Spread:
    spread: Spread = defaultdict(lambda: np.zeros(2))
    for which, ahead in enumerate(onward):
        for move, share in weighed.chain.shares(stage, ahead).get(None, {}).items():
            value = meaning[move]
            spread[-1 if value is None else value][which] += share
    return spread
