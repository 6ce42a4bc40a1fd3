"""What each charge may add to the sum, as moves of the chain: delivery, discounts, deposits, sums brought forward."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.evidence import Box, breadth
from formread.arithmetic.moves import LEAST_MOVE, SlipShares
from formread.arithmetic.pen import unknowns
from formread.arithmetic.priors import Priors
from formread.arithmetic.record import BoxRef
from formread.arithmetic.terms import Due, SumMeant

Charged = Literal["counted", "forgotten", "wrong_sign", "not_due", "no_charge"]
"""How a charge entered the sum; ``not_due``: as it is written, which is not what it should be; ``no_charge``: not at
all and rightly so, for what stands in the box is nothing to pay."""

PERCENT_READ: Final = 0.995
"""How often a percentage was printed beside the box as it was read there, and holds for this slip. Assumption."""
PERCENT_OF_BLANK: Final = 0.01
"""How often it holds where the customer wrote no discount: "members take off 10 %" is not for everybody, and few forget
what is theirs. Assumption."""
OTHER_IS_CHARGE: Final = 0.5
"""How often a number in the totals whose label is none of the usual charges is one all the same: it may be tax that
is included, a number of pieces or a page's total. Assumption."""
WRITTEN: Final = 0.5
"""How often a charge's box is filled in, as the reader expects it before it looks: about half the time."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One way to say what a charge should be on this slip.

    Attributes
    ----------
    share
        How often this one is meant.
    due
        What is due for the sum that it goes by.
    without
        Places, among the slip's charges, of the boxes before it whose amounts are not in that sum.
    """

    share: float
    due: Due
    without: tuple[int, ...] = ()


@dataclass(slots=True)
class ChargeBox:
    """A charge while its slip is weighed.

    Attributes
    ----------
    sign
        +1 for delivery, -1 for a discount or a deposit.
    rules
        What it should be, where something says so: the shares sum to one, the first is the one that is named.
    trust, trust_if_blank
        How surely any of them holds: where something is written, and where not.
    """

    ref: BoxRef
    sign: int
    box: Box
    rules: tuple[Rule, ...] = ()
    trust: float = 1.0
    trust_if_blank: float = 1.0

    def trusted(self, amount: int | None) -> float:
        """How probably the charge is due where `amount` is written."""
        return self.trust_if_blank if amount is None else self.trust


def rules_of(
    dues: Sequence[tuple[float, Due]], sums: Sequence[SumMeant], above: Sequence[ChargeBox]
) -> tuple[Rule, ...]:
    """What a charge should be by each of `dues` (share, due); sums that the boxes `above` it do not tell apart are one.

    A discount in percent is in all of them: where one percentage follows another, it is of what that one leaves
    (common practice, no source).
    """
    shares: dict[tuple[int, ...], float] = {}
    for meant in sums:
        without = tuple(
            place
            for place, earlier in enumerate(above)
            if earlier.ref.role not in meant.counts and not (earlier.ref.role == "discount" and earlier.rules)
        )
        shares[without] = shares.get(without, 0.0) + meant.share
    return tuple(
        Rule(often * share, due, without) for often, due in dues for without, share in shares.items()
    )


Entered = tuple[tuple[int, int], ...]
"""What was added for each of some boxes, and what should have been: minor units with their sign. A charge below may go
by a sum without them, so the chain carries it on from box to box, as it does what a ditto mark repeats."""


def carried_on(charges: Sequence[ChargeBox], place: int) -> tuple[int, ...]:
    """Places of the boxes, that at `place` the last of them, which a charge below may leave out of its sum."""
    left_out = {box for charge in charges[place + 1 :] for rule in charge.rules for box in rule.without}
    return tuple(sorted(box for box in left_out if box <= place))


@dataclass(frozen=True, slots=True, eq=False)
class Before:
    """The sums before one charge, over all states of the chain there.

    Attributes
    ----------
    contexts, sizes
        What is carried on, and how many states have it; one after the other.
    places
        Which boxes that is about.
    states
        Of the chain, (N,).
    summed, right
        What the customer has come to before the charge, and what it truly is; (N,).
    entered
        What of that is for each of the boxes, (N, boxes, 2): what was added, what should have been.
    """

    contexts: tuple[Hashable, ...]
    sizes: tuple[int, ...]
    places: tuple[int, ...]
    states: chain.Ints
    summed: chain.Ints
    right: chain.Ints
    entered: chain.Ints

    def of(self, rule: Rule) -> tuple[chain.Ints, chain.Ints]:
        """The sum that a charge goes by, as the customer has it and as it truly is; (N,) each."""
        at = [self.places.index(box) for box in rule.without]
        if not at:
            return self.summed, self.right
        less = self.entered[:, at].sum(axis=1)
        return self.summed - less[:, 0], self.right - less[:, 1]

    def dues(self, charge: ChargeBox) -> list[tuple[float, chain.Ints, chain.Ints]]:
        """By each rule: (share, what the customer means to write, what is due)."""
        # A customer who has summed wrongly takes the percentage of the wrong sum: that is no second slip.
        by = [(rule, *self.of(rule)) for rule in charge.rules]
        return [(rule.share, rule.due(summed), rule.due(right)) for rule, summed, right in by]


def before(charges: Sequence[ChargeBox], place: int, layer: chain.Layer) -> Before:
    """The sums before the charge at `place`, `layer` being what the chain has come to there."""
    places = carried_on(charges, place - 1)
    sizes = tuple(group.states.size for group in layer.values())
    carried = [context if isinstance(context, tuple) else () for context in layer]
    entered = np.array(carried, dtype=np.int64).reshape(len(layer), len(places), 2)
    states = np.concatenate([group.states for group in layer.values()])
    summed = chain.base_of(states)
    return Before(
        tuple(layer), sizes, places, states, summed, summed - chain.drift_of(states),
        np.repeat(entered, sizes, axis=0),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class ChargeStage:
    """The chain's moves for one charge by what is carried on, and what each stands for: (amount written, how it was counted)."""

    moves: dict[Hashable, chain.Moves]
    meaning: tuple[tuple[int | None, Charged], ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """One way that a charge may have entered the sum; what hangs on the state is (N,).

    ``adds`` and ``owing`` are what was added for it and what should have been; ``spent``: whether that spends the one
    slip that the sum may have.
    """

    amount: int | None
    charged: Charged
    adds: int
    owing: chain.Ints | int
    spent: int
    weight: chain.Floats | float


def charge_stage(
    charges: Sequence[ChargeBox],
    place: int,
    sums_before: Before,
    charged: float,
    sums: SlipShares,
    priors: Priors,
) -> ChargeStage:
    """Every way that the charge at `place` may have been written and have entered the sum.

    Parameters
    ----------
    charged
        Expected number of charges that are written.
    """
    charge = charges[place]
    ways = _ways(charge, sums_before.dues(charge), charged, sums, priors)
    onward = carried_on(charges, place)
    if place in onward:
        ways = [part for way in ways for part in _by_owing(way)]
    meaning = tuple((way.amount, way.charged) for way in ways)
    following: dict[Hashable, list[Hashable] | None] = dict.fromkeys(sums_before.contexts)
    for context in sums_before.contexts if onward else ():
        known = dict(zip(sums_before.places, context if isinstance(context, tuple) else (), strict=True))
        following[context] = [
            tuple({**known, place: (way.adds, way.owing)}[box] for box in onward) for way in ways
        ]
    if not charge.rules:
        weights = np.array([way.weight for way in ways], dtype=np.float64)
        steps = _steps(ways, 0)
        return ChargeStage(
            {context: chain.Moves(steps, weights / weights.sum(), led) for context, led in following.items()},
            meaning,
        )
    steps = _steps(ways, np.zeros_like(sums_before.states))
    weights = np.stack([way.weight + np.zeros(sums_before.states.shape) for way in ways])
    weights /= max(float(weights.sum(axis=0).max()), 1e-300)
    ends = np.cumsum(sums_before.sizes).tolist()
    moves = {
        context: chain.Moves(steps[:, end - size : end], weights[:, end - size : end], led)
        for (context, led), size, end in zip(following.items(), sums_before.sizes, ends, strict=True)
    }
    return ChargeStage(moves, meaning)


def _ways(
    charge: ChargeBox,
    dues: Sequence[tuple[float, chain.Ints, chain.Ints]],
    charged: float,
    sums: SlipShares,
    priors: Priors,
) -> list[_Way]:
    # The share holds for a slip that has a charge at all; here it is asked of one that is written.
    per_charge = 1 / max(charged, LEAST_MOVE)
    forgotten, turned = sums.of("forgot_charge") * per_charge, sums.of("charge_sign") * per_charge
    ways: list[_Way] = []
    for value, weight in charge.box.weights.items():
        amount = value if isinstance(value, int) else None
        added = charge.sign * (amount or 0)
        counts: list[tuple[chain.Ints | int, chain.Floats | float]] = [(added, weight)]
        if dues:
            trust = charge.trusted(amount)
            # What one of the rules says is right by that one, and no slip by another.
            fitting = np.any([meant == (amount or 0) for _, meant, _ in dues], axis=0)
            counts = [
                (
                    charge.sign * due,
                    np.where(
                        meant == (amount or 0),
                        share * weight * trust * _charge_written(amount, meant, priors),
                        0.0,
                    ),
                )
                for share, meant, due in dues
            ]
            _, meant, due = dues[0]
            slipped = np.where(fitting, 0.0, weight * trust * _charge_written(amount, meant, priors))
            ways.append(_Way(amount, "not_due", added, charge.sign * due, 1, slipped))
            # Where the charge is not trusted, what is written is what counts, due or not.
            counts.append((added, (1 - trust) * weight))
        if charge.ref.role == "other" and added:
            ways.append(_Way(amount, "no_charge", 0, 0, 0, (1 - OTHER_IS_CHARGE) * weight))
            counts = [(added, OTHER_IS_CHARGE * weight)]
        for owing, share in counts:
            ways.append(_Way(amount, "counted", added, owing, 0, share))
            if added:
                ways.append(_Way(amount, "forgotten", 0, owing, 1, share * forgotten))
                ways.append(_Way(amount, "wrong_sign", -added, owing, 1, share * turned))
    return ways


def _by_owing(way: _Way) -> list[_Way]:
    """Part a way by what should have been added; that hangs on the state only where delivery is free from some sum on."""
    if isinstance(way.owing, int):
        return [way]
    return [
        _Way(
            way.amount, way.charged, way.adds, owing, way.spent, np.where(way.owing == owing, way.weight, 0.0)
        )
        for owing in np.unique(way.owing).tolist()
    ]


def _steps(ways: Sequence[_Way], nothing: chain.Ints | int) -> chain.Ints:
    """Pack what the ways add to a state: (K,), or (K, N) where `nothing` is (N,) noughts."""
    return np.stack(
        [
            chain.step(
                *(
                    np.asarray(part + nothing, dtype=np.int64)
                    for part in (way.adds, way.adds - way.owing, way.spent)
                )
            )
            for way in ways
        ]
    )


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
