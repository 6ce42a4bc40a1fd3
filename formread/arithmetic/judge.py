"""The judge: weighs "the reader is off" against "the customer slipped", exactly, over all combinations."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from formread.arithmetic import chain
from formread.arithmetic.asking import boxes_to_ask, row_posterior
from formread.arithmetic.astray import DOUBT, EVEN, Leans
from formread.arithmetic.charges import ChargeBox
from formread.arithmetic.costs import STANDARD_COSTS, Costs
from formread.arithmetic.evidence import breadth
from formread.arithmetic.facts import NO_FACTS, Facts, confirm
from formread.arithmetic.hand import sharpen
from formread.arithmetic.listed import Offer, known_products
from formread.arithmetic.moves import CROSSED_OUT, LEFT_OUT, STRUCK_COUNTED, TWICE, WAYS_IN, Entries
from formread.arithmetic.pen import chances, unknowns
from formread.arithmetic.priors import STANDARD, Priors, TotalSlip
from formread.arithmetic.reasons import (
    HAND_TOLD,
    NAMED,
    ChargeSlip,
    Found,
    brought_taken,
    price_taken,
    put_in_words,
    question,
)
from formread.arithmetic.record import JudgedCharge, JudgedLine, Judgement, SlipReadings
from formread.arithmetic.terms import NO_TERMS, Terms
from formread.arithmetic.ways import BLANK
from formread.arithmetic.weighing import Weighed
from formread.money import CURRENCIES, Currency
from formread.record import DITTO
from formread.slips import ChargeKind

CHARGE_KINDS: Final[dict[str, ChargeKind]] = {
    "brought": "other", "delivery": "delivery", "discount": "discount", "deposit": "deposit", "other": "other",
}  # fmt: skip
HAND_ACCUSES: Final = 0.9
"""A total that is not called wrong without the writer's habits is so with them from this probability on."""
UNLIKELY: Final = 0.01
"""A slip in adding up with a smaller posterior is not spoken of."""


def judge(
    slip: SlipReadings,
    *,
    facts: Facts = NO_FACTS,
    prices: Mapping[str, int] | None = None,
    offers: Mapping[str, Sequence[Offer]] | None = None,
    pile: Mapping[str, int] | None = None,
    terms: Terms = NO_TERMS,
    carried: Sequence[int] = (),
    doubt: float = DOUBT,
    leans: Leans = EVEN,
    hand: bool = True,
    priors: Priors = STANDARD,
    costs: Costs = STANDARD_COSTS,
    unit: Currency = CURRENCIES["GBP"],
) -> Judgement:
    """Judge one slip.

    Parameters
    ----------
    slip
        The readings of its boxes.
    facts
        What a person has confirmed, by box (see :func:`confirm`).
    prices, offers
        The price list, by product code however it is spaced: minor units a piece, and offers on several pieces.
    pile
        Prices that other slips of the pile testify for, by product code (see :class:`PilePrices`); the
        price list goes before them. None or empty: neither is used.
    terms
        What the seller asks for delivery.
    carried
        Totals written on the other slips of the pile, minor units: where a sum brought forward may be from.
    doubt
        How probably the boxes were found wrongly, before the sums are looked at (:mod:`formread.arithmetic.astray`).
    leans
        In which way they then were, as the layout looks.
    hand
        Whether the writer's habits, as the settled boxes of the slip show them, speak for the doubtful ones.
    priors, costs
        How customers err, and what each mistake of the judge costs.
    unit
        The currency in which reasons are worded.

    Raises
    ------
    ValueError
        For a fact about a box that the slip does not have.
    """
    weighed = Weighed(
        confirm(slip, facts), known_products(prices, offers, pile), priors, terms, carried, doubt, leans
    )
    judgement = _answer(weighed, costs, unit, doubt)
    if hand and judgement.verdict == "unsure" and judgement.written_total is not None:
        sharpen(weighed)
        judgement = _by_hand(judgement, _answer(weighed, costs, unit, doubt))
    if judgement.verdict != "unsure" or judgement.written_total is None:
        return judgement
    asks = boxes_to_ask(weighed, costs)
    if not asks:
        return judgement
    return replace(judgement, asks=asks, reason=f"{judgement.reason} {question(asks[0])}")


def _by_hand(before: Judgement, judgement: Judgement) -> Judgement:
    """Say so where the writer's habits settled what was doubtful without them.

    They are read off the same boxes that they are to settle, so on them alone nobody is accused.
    """
    if judgement.verdict == "unsure":
        return judgement
    if judgement.verdict == "wrong" and judgement.probability_wrong < HAND_ACCUSES:
        return before
    return replace(judgement, reason=f"{judgement.reason} {HAND_TOLD}")


def _answer(weighed: Weighed, costs: Costs, unit: Currency, doubt: float) -> Judgement:
    ends = weighed.endings()
    computed, computed_probability = _most_probable(weighed.right, weighed.mass * ends)
    column: int | None = None
    written: int | None = None
    if weighed.totalled:
        per_written = (weighed.weights + weighed.astray).sum(axis=0)
        column = int(per_written.argmax())
        written = weighed.written[column]
    # The readings shown are the single most probable way to the most probable ending.
    fits = ends if column is None else weighed.fits[:, column]
    final = np.where(weighed.right == computed, fits, 0.0)
    if not final.any():
        final = fits
    wrong = weighed.probability_wrong() if weighed.totalled else 0.0
    difference = None if written is None else written - computed
    verdict = "unsure" if written is None or weighed.blank else costs.verdict(wrong)
    accused = verdict == "wrong"  # only then is a slip of the customer's spoken of
    lines, found, charges = _way(weighed, final, ends, accused=accused)
    if verdict == "agrees" and difference:
        # The values shown contradict the verdict only where neither is sure.
        verdict = "unsure"
    if verdict == "wrong" and not difference:
        verdict = "unsure"
    if verdict == "wrong" and _lines_fail(lines):
        verdict = "unsure"
    stake = _at_stake(weighed) if weighed.totalled else 0
    found = replace(
        found,
        blank=weighed.blank,
        total_slip=_total_slip(weighed, column) if accused else None,
        astray=weighed.probability_astray if weighed.totalled else 0.0,
    )
    kind, reason = put_in_words(verdict, written, computed, found, unit)
    if not weighed.blank:
        reason = " ".join([reason, *_heard(weighed, lines, charges, unit)])
    return Judgement(
        verdict=verdict,
        probability_wrong=wrong,
        lines=lines,
        charges=charges,
        written_total=written,
        computed_total=computed,
        computed_probability=computed_probability,
        difference=difference,
        slip_kind=kind,
        reason=reason,
        at_stake=stake,
        misfit=_misfit(weighed),
        doubt=doubt,
    )


def _heard(
    weighed: Weighed, lines: Sequence[JudgedLine], charges: Sequence[JudgedCharge], unit: Currency
) -> list[str]:
    """Say where something beside the slip itself decided what a box is taken for."""
    told = []
    rows = {row.readings.row: row for row in weighed.rows}
    for line in lines:
        row = rows[line.row]
        if line.unit_price is None or row.unit_price.top in (line.unit_price, DITTO):
            continue
        for known, p in row.listed:
            if known.price == line.unit_price and p >= NAMED:
                told.append(price_taken(line.row, line.unit_price, known.source, unit))
    for charge in weighed.charges:
        top = charge.box.top
        if charge.ref.role == "brought" and weighed.carried:
            told += [
                brought_taken(judged.amount, unit)
                for judged in charges
                if judged.kind == "other" and judged.amount != top and judged.amount in weighed.carried
            ]
    return told


def _lines_fail(lines: Sequence[JudgedLine]) -> bool:
    """Whether two lines are wrong in themselves.

    Customers err in a line. Where more fail, the boxes were taken for what they are not (a slip badly flattened, a
    column mistaken) far more often than somebody multiplied wrongly twice, and no customer is to blame for that.
    """
    full = [line for line in lines if line.unit_price and line.line_total is not None and not line.struck_out]
    failed = sum(line.line_total != line.right_total for line in full)
    return failed >= 2


def _most_probable(values: chain.Ints, weights: chain.Floats) -> tuple[int, float]:
    distinct, inverse = chain.distinct(values)
    per_value = np.bincount(inverse, weights, distinct.size)
    best = int(per_value.argmax())
    return int(distinct[best]), float(per_value[best] / max(per_value.sum(), 1e-300))


def _misfit(weighed: Weighed) -> float:
    """What the slip testifies for its pad; a person who has looked at the total found the boxes where they belong."""
    if not weighed.totalled:
        return 1.0
    return 0.0 if weighed.total.fact else weighed.misfit


def _at_stake(weighed: Weighed) -> int:
    apart = np.abs(np.array(weighed.written)[None, :] - weighed.right[:, None])
    return round(float((weighed.weights * apart).sum() / max(weighed.whole, 1e-300)))


def _way(
    weighed: Weighed, final: chain.Floats, ends: chain.Floats, *, accused: bool
) -> tuple[tuple[JudgedLine, ...], Found, tuple[JudgedCharge, ...]]:
    """Follow the most probable way, and say of each row how probable that is; `accused`: also how its sum may be wrong."""
    steps = weighed.chain.best_way(final)
    onward = weighed.chain.back(ends)
    whole = max(float((weighed.mass * ends).sum()), 1e-300)
    lines: list[JudgedLine] = []
    slips: dict[int, list[tuple[int, float]]] = {LEFT_OUT: [], TWICE: [], STRUCK_COUNTED: []}
    for place, row in enumerate(weighed.rows):
        context, move = steps[place]
        number = row.readings.row
        posterior = row_posterior(weighed, place, onward)
        entered = np.zeros(WAYS_IN)
        for entries, p in posterior if accused else ():
            entered += np.bincount(entries.counted, p, WAYS_IN)
        for counted, found in slips.items():
            share = float(entered[counted]) / whole
            if share > UNLIKELY:
                found.append((number, share))
        line = _line(number, weighed.stages[place][context], move, posterior, whole)
        if line is not None:
            lines.append(line)
    after_rows = len(weighed.rows) + (weighed.goods is not None)
    charges: list[JudgedCharge] = []
    charge_slips: list[ChargeSlip] = []
    so_far = sum(line.right_total for line in lines if not line.struck_out)
    counts: list[int] = []
    for place, charge in enumerate(weighed.charges):
        meaning = weighed.charge_stages[place].meaning
        ahead = weighed.chain.shares(after_rows + place, onward).values() if accused else ()
        _, move = steps[after_rows + place]
        written, counted_as = meaning[move]
        amount = 0 if counted_as == "no_charge" else charge.sign * (written or 0)
        dues = _dues(charge, so_far, counts)
        # An amount that counts goes by the rule that it fits best; what is due instead of another is the one named.
        due = _nearest(dues, amount) if counted_as == "counted" else next(iter(dues), None)
        counts.append(amount if due is None or counted_as == "counted" else due)
        so_far += counts[-1]
        if amount:
            charges.append(JudgedCharge(CHARGE_KINDS[charge.ref.role], amount, due))
        for slip in ("forgotten", "wrong_sign", "not_due"):
            share = sum(p for shares in ahead for k, p in shares.items() if meaning[k][1] == slip) / whole
            if share > UNLIKELY:
                named = abs(dues[0]) if dues else 0
                charge_slips.append(ChargeSlip(charge.ref.role, slip, share, abs(amount), named))
    goods_value: int | None = None
    if weighed.goods is not None:
        _, move = steps[len(weighed.rows)]
        goods_value = weighed.goods_meaning[move]
    return (
        tuple(lines),
        Found(
            lines=tuple(lines),
            left_out=tuple(slips[LEFT_OUT]),
            twice=tuple(slips[TWICE]),
            struck_counted=tuple(slips[STRUCK_COUNTED]),
            charge_slips=tuple(charge_slips),
            goods=goods_value,
        ),
        tuple(charges),
    )


def _dues(charge: ChargeBox, so_far: int, counts: Sequence[int]) -> list[int]:
    """What a charge should be, with its sign, by each rule; empty where nothing says so.

    `so_far` is what the slip comes to before it, `counts` what of that is for each of the charges before it.
    """
    sums = [so_far - sum(counts[place] for place in rule.without) for rule in charge.rules]
    dues = (rule.due(np.array([made])) for rule, made in zip(charge.rules, sums, strict=True))
    return [charge.sign * int(due[0]) for due in dues]


def _nearest(dues: Sequence[int], amount: int) -> int | None:
    return min(dues, key=lambda due: abs(due - amount), default=None)


def _line(
    number: int,
    entries: Entries,
    move: int,
    posterior: Sequence[tuple[Entries, chain.Floats]],
    whole: float,
) -> JudgedLine | None:
    """One row as the most probable way has it; None where nothing is written."""
    at = np.nonzero(entries.move == move)[0]
    chosen = int(at[entries.share[at].argmax()])
    ways, way = entries.ways, int(entries.way[chosen])
    if ways.empty[way]:
        return None
    quantity, price, total = (
        int(numbers[way]) for numbers in (ways.quantity, ways.unit_price, ways.line_total)
    )
    same = wrong = 0.0
    for other, p in posterior:
        some = other.ways
        alike = (some.quantity == quantity) & (some.unit_price == price) & (some.line_total == total)
        alike &= some.right == ways.right[way]
        same += float(p[alike[other.way]].sum())
        wrong += float(p[some.product_wrong[other.way]].sum())
    return JudgedLine(
        row=number,
        quantity=_shown(quantity),
        unit_price=_shown(price),
        line_total=_shown(total),
        struck_out=int(entries.counted[chosen]) in CROSSED_OUT,
        right_total=int(ways.right[way]),
        probability=min(1.0, same / whole),
        probability_wrong=min(1.0, wrong / whole),
    )


def _shown(number: int) -> int | None:
    return None if number == BLANK else number


def _total_slip(weighed: Weighed, column: int | None) -> tuple[str, int, float] | None:
    """The likeliest slip in adding up, as (kind, the sum it was made from, posterior), if there is one."""
    if column is None:
        return None
    written = weighed.written[column]
    made, inverse = chain.distinct(weighed.base)
    mass = np.bincount(inverse, np.where(weighed.spent, 0.0, weighed.mass), made.size)
    mass[made == written] = 0.0
    if not mass.any():
        return None
    asked = np.full_like(made, written)
    speaks = weighed.total.weights[written] / breadth(written)
    found: list[tuple[float, str, int]] = []
    every = np.arange(made.size)
    kinds: list[tuple[TotalSlip, tuple[chain.Ints, chain.Floats]]] = list(chances(asked, made).items())
    for name, (at, p) in [*kinds, ("unknown", (every, unknowns(asked, made)))]:
        shares = mass[at] * p
        if shares.any():
            best = int(shares.argmax())
            share = float(shares[best]) * speaks * weighed.sums.of(name)
            found.append((share, name, int(made[at[best]])))
    weight, kind, start = max(found)
    return kind, start, weight / max(weighed.whole, 1e-300)
