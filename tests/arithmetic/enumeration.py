"""The judge's model written out once more, as slowly and plainly as it can be said.

Every combination of readings and of mistakes is listed by itself and weighed; nothing is summed on the way,
nothing is dropped. Slips of the pen are made forwards, from the right number to all numbers that each slip
may lead to. Only the probabilities of what is written in each box are taken from the judge.
"""

from collections import defaultdict
from collections.abc import Iterator
from functools import cache, lru_cache
from math import log

import numpy as np

from formread.arithmetic.priors import Priors
from formread.arithmetic.weighing import Weighed
from formread.record import DITTO, Value

Weights = dict[Value, float]
LARGEST = 10**7


def breadth(amount: int) -> float:
    digits = len(str(amount))
    return 1 / 7 / (10 if digits == 1 else 9 * 10.0 ** (digits - 1))


def unknown(written: int, right: int, near: float = 0.95) -> float:
    if written == right:
        return (1 - near) * breadth(written)
    size = 0.5 / (abs(written - right) * (log(LARGEST) + 0.5772156649))
    return near * size + (1 - near) * breadth(written)


@cache
def pen(kind: str, right: int) -> dict[int, float]:
    """Where a slip of the pen leads from a right number."""
    found: dict[int, float] = defaultdict(float)
    digits = str(right)
    if right <= 0:
        return {}
    if kind == "carry":
        columns = max(len(digits) - 1, 1)
        for column in range(1, columns + 1):
            for sign in (1, -1):
                found[right + sign * 10**column] += 0.85 / columns / 2
                found[right + sign * 2 * 10**column] += 0.15 / columns / 2
    if kind == "swap":
        for reach, share in ((1, 0.85), (2, 0.15)):
            places = [
                i
                for i in range(len(digits) - reach)
                if digits[i] != digits[i + reach] and not (i == 0 and digits[reach] == "0")
            ]
            for i in places:
                swapped = list(digits)
                swapped[i], swapped[i + reach] = swapped[i + reach], swapped[i]
                found[int("".join(swapped))] += share / len(places)
    if kind == "digit":
        numbers = [
            digits[:i] + new + digits[i + 1 :]
            for i in range(len(digits))
            for new in "0123456789"
            if new != digits[i] and not (i == 0 and new == "0")
        ]
        for number in numbers:
            found[int(number)] += 1 / (9 * len(digits) - 1)
    if kind == "slide":
        for by, share in ((1, 0.97), (2, 0.03)):
            found[right * 10**by] += share / 2
            if right % 10**by == 0:
                found[right // 10**by] += share / 2
    return {number: p for number, p in found.items() if number > 0 and number != right}


def slip_of_sum(written: int, right: int, shares: dict[str, float]) -> float:
    """The same for a sum: by no known kind seldom off by more than half."""
    rare = 0.3 if abs(written - right) > right / 2 else 1.0
    return slip_of_pen(written, right, {**shares, "unknown": rare * shares["unknown"]})


def slip_of_pen(written: int, right: int, shares: dict[str, float]) -> float:
    """Probability of `written` by slips of the pen and slips of no known kind."""
    known = sum(
        shares[kind] * pen(kind, right).get(written, 0.0) for kind in ("carry", "swap", "digit", "slide")
    )
    return known + shares["unknown"] * unknown(written, right)


def line(written: int, quantity: int | None, price: int, priors: Priors) -> float:
    count = 1 if quantity is None else quantity
    right = count * price
    wrong = priors.line_copied_wrong if count == 1 else priors.product_wrong
    if written == right:
        return 1 - wrong
    shares: dict[str, float] = {str(kind): share for kind, share in priors.line_slips.items()}
    if count <= 1:
        shares["times"] = shares["unmultiplied"] = 0.0
    p = slip_of_pen(written, right, shares)
    p += shares["times"] / 2 * (written in (right + price, right - price))
    p += shares["unmultiplied"] * (written == price)
    return wrong * p / sum(shares.values())


def ways(
    weighed: Weighed, place: int, above: tuple[Value, ...], *, together: bool = True
) -> Iterator[tuple[tuple[Value, ...], int, int, float]]:
    """(written, right, summed, weight) of one row; not `together`: as if its numbers had nothing to do with each other."""
    row, priors = weighed.rows[place], weighed.priors

    def read(box: Weights, field: int) -> Iterator[tuple[Value, float]]:
        for value, p in box.items():
            if value != DITTO:
                yield value, p
            elif above[field] is not None:
                yield above[field], p

    for q, by_q in read(row.quantity.weights, 0):
        for p, by_p in read(row.unit_price.weights, 1):
            for t, by_t in read(row.line_total.weights, 2):
                assert not isinstance(q, str)
                assert not isinstance(p, str)
                assert not isinstance(t, str)
                weight = by_q * by_p * by_t
                alone = [q, p, t].count(None) == 2
                if alone and (
                    q is not None or None not in (row.readings.unit_price, row.readings.line_total)
                ):
                    weight *= priors.partial  # a blank quantity means one, so a price may stand by itself
                if p is None:
                    yield (q, p, t), t or 0, t or 0, weight
                    continue
                right = (1 if q is None else q) * p
                if t is None or not together:
                    yield (q, p, t), right, right, weight
                    continue
                yield (q, p, t), right, t, weight * line(t, q, p, priors) / breadth(t)


def endings(weighed: Weighed) -> Iterator[tuple[int, int, bool, bool, float]]:
    """(summed, right, whether the sum is slipped in, whether rows are astray, weight) of every combination before the total."""
    shares, wrong, rows, charged = slips(weighed)
    most_struck = max((row.struck for row in weighed.rows), default=1.0)

    def after_rows(
        place: int, above: tuple[Value, ...], summed: int, right: int, spent: bool, lost: bool, weight: float
    ) -> Iterator[tuple[int, int, bool, bool, float]]:
        if place == len(weighed.rows):
            yield summed, right, spent, lost, weight
            return
        struck, unseen = weighed.rows[place].struck, weighed.rows[place].unseen
        for written, comes, taken, p in ways(weighed, place, above):
            empty = written == (None, None, None)
            below = above if empty else written
            options = [(0, 0, False, False, 1.0)]
            if not empty:
                left_out, twice = (wrong * shares[kind] / max(rows, 1.0) for kind in ("left_out", "twice"))
                options = [
                    (taken, comes, False, False, 1 - struck),
                    (0, comes, True, False, (1 - struck) * left_out),
                    (2 * taken, comes, True, False, (1 - struck) * twice),
                    (0, 0, False, False, struck),
                    (taken, 0, True, False, struck * wrong * shares["struck_counted"] / most_struck),
                    (0, 0, False, True, (1 - struck) * unseen),
                ]
            for adds, truly, slip, missed, q in options:
                if not (spent and slip) and not (lost and missed):
                    yield from after_rows(
                        place + 1, below, summed + adds, right + truly, spent or slip, lost or missed, weight * p * q,
                    )  # fmt: skip

    for summed, right, spent, lost, weight in after_rows(0, (None, None, None), 0, 0, False, False, 1.0):
        for made, slipped, early, p in after_goods(weighed, summed, spent, shares, wrong):
            if early and lost:
                continue
            truly = made if early else right
            for ending in after_charges(
                weighed, (), made, truly, slipped, weight * p, shares, wrong, charged
            ):
                yield (*ending[:3], early or lost, ending[3])


def after_goods(
    weighed: Weighed, summed: int, spent: bool, shares: dict[str, float], wrong: float
) -> Iterator[tuple[int, bool, bool, float]]:
    if weighed.goods is None:
        yield summed, spent, False, 1.0
        return
    charges = tuple(-c.sign * c.box.top for c in weighed.charges if isinstance(c.box.top, int))
    for value, p in weighed.goods.weights.items():
        if not isinstance(value, int):
            yield summed, spent, False, p
        elif value == summed:
            yield value, spent, False, p / breadth(value) * (1 - wrong)
        elif not spent:
            yield value, True, False, p / breadth(value) * wrong * slip_of_sum(value, summed, shares)
        if isinstance(value, int) and not spent:
            lost = weighed.doubt * given_astray(value, summed, charges, False, *seen(weighed))
            yield value, False, True, p / breadth(value) * lost


SUMS: dict[str, tuple[tuple[float, tuple[str, ...]], ...]] = {
    "discount": (
        (0.5, ("delivery", "other", "discount", "deposit")),
        (0.1, ("brought", "delivery", "other", "discount", "deposit")),
        (0.3, ("deposit",)),
        (0.1, ()),
    ),
    "delivery": ((0.6, ("delivery", "other", "deposit")), (0.3, ("deposit",)), (0.1, ())),
}
"""What may be left out of the sum that a charge goes by, and how often; the first one is named where none fits."""


def after_charges(
    weighed: Weighed,
    before: tuple[tuple[str, int, int], ...],
    summed: int,
    right: int,
    spent: bool,
    weight: float,
    shares: dict[str, float],
    wrong: float,
    charged: float,
) -> Iterator[tuple[int, int, bool, float]]:
    """`before`: the charges so far, as (kind, what was added, what should have been)."""
    if len(before) == len(weighed.charges):
        yield summed, right, spent, weight
        return
    charge = weighed.charges[len(before)]
    role = charge.ref.role
    for value, p in charge.box.weights.items():
        written = value if isinstance(value, int) else 0
        added = charge.sign * written
        # (what it should add, whether the amount itself is a slip, probability)
        meanings = [(added, False, 1.0)]
        if charge.rules:
            trust = charge.trusted(value if isinstance(value, int) else None)
            by = []
            for share, left_out in SUMS[role]:
                aside = [(adds, owing) for kind, adds, owing in before if kind in left_out]
                sums = (summed - sum(a for a, _ in aside), right - sum(o for _, o in aside))
                meant, owed = (int(charge.rules[0].due(np.array([made]))[0]) for made in sums)
                q = trust * written_charge(None if value == DITTO else value, meant, weighed.priors)  # type: ignore[arg-type]
                by.append((share, meant, charge.sign * owed, q))
            meanings = [(owed, False, share * q) for share, meant, owed, q in by if written == meant]
            if not meanings:
                meanings = [(by[0][2], True, by[0][3])]
            meanings.append((added, False, 1 - trust))
        if role == "other" and added:
            yield from after_charges(
                weighed, (*before, (role, 0, 0)), summed, right, spent, weight * p * 0.5, shares, wrong, charged
            )  # fmt: skip
            meanings = [(added, False, 0.5)]
        for owing, not_due, q in meanings:
            options = [(added, not_due, 1.0)]
            if added and not not_due:
                options.append((0, True, wrong * shares["forgot_charge"] / max(charged, 1e-8)))
                options.append((-added, True, wrong * shares["charge_sign"] / max(charged, 1e-8)))
            for adds, slip, r in options:
                if not (spent and slip):
                    yield from after_charges(
                        weighed, (*before, (role, adds, owing)), summed + adds, right + owing, spent or slip,
                        weight * p * q * r, shares, wrong, charged,
                    )  # fmt: skip


def written_charge(value: int | None, due: int, priors: Priors) -> float:
    """How much more probable a charge that should be `due` makes what is written than the reader held it to be."""
    if value is None:
        return (1 - priors.charge_wrong if due == 0 else priors.charge_omitted) / 0.5
    before = 0.5 * breadth(value)
    if value == 0:
        return 0.5 * (1 - priors.charge_wrong) / before if due == 0 else 0.0
    if value == due:
        return (1 - priors.charge_wrong - priors.charge_omitted) / before
    return priors.charge_wrong * (breadth(value) if due == 0 else unknown(value, due)) / before


def slips(weighed: Weighed) -> tuple[dict[str, float], float, float, float]:
    """Shares of the kinds on this slip, how often the sum is wrong, rows and charges expected."""
    filled, struck = 0.0, 0.0
    for row in weighed.rows:
        blank = 1.0
        for box in (row.quantity, row.unit_price, row.line_total):
            blank *= box.weights.get(None, 0.0) / sum(box.weights.values())
        filled += (1 - blank) * (1 - row.struck)
        struck = max(struck, row.struck)
    charged = sum(1 - charge.box.weights.get(None, 0.0) for charge in weighed.charges)
    shares: dict[str, float] = {str(kind): share for kind, share in weighed.priors.total_slips.items()}
    for kind in ("forgot_charge", "charge_sign"):
        shares[kind] *= min(charged, 1)
    shares["struck_counted"] *= struck
    for kind in ("left_out", "twice"):
        shares[kind] *= min(filled / 2, 1)
    whole = sum(shares.values())
    priors = weighed.priors
    terms = filled + charged
    right = (1 - priors.addition_wrong) ** max(terms - 1, 0) * (1 - priors.total_copied_wrong)
    return {kind: share / whole for kind, share in shares.items()}, 1 - right, filled, charged


def seen(weighed: Weighed) -> tuple[bool, bool]:
    return any(c.sign > 0 for c in weighed.charges), any(c.sign < 0 for c in weighed.charges)


def round_amount(amount: int) -> float:
    if not 0 < amount <= 1000:
        return 0.0
    rare = 0.2 if amount < 100 else 1.0
    steps = ((50, 0.6), (5, 0.3), (1, 0.1))
    return rare * sum(share * step / 1000 for step, share in steps if amount % step == 0)


@lru_cache(maxsize=1 << 16)
def given_astray(
    written: int, summed: int, charges: tuple[int, ...], goods: bool, plus: bool, minus: bool
) -> float:
    """Probability of `written` where the boxes that were found come to `summed`, some having been found wrongly."""
    found = 0.05 * unknown(written, summed, 0.5)
    if written <= 0:
        return found
    missed, many = (0.003, 0.0015) if goods else (0.06, 0.03)
    role = 0.55
    apart = abs(written - summed)
    if 50 <= apart <= 50_000:
        found += (missed if written > summed else many) / apart / log(50_000.5 / 49.5)
    charge, deduction = 0.05 * (0.3 if plus else 1), 0.03 * (0.3 if minus else 1)
    found += charge * round_amount(written - summed) + deduction * 0.7 * round_amount(summed - written)
    for percent in (5, 10, 15, 20, 25):
        share = (summed * percent + 50) // 100
        found += deduction * 0.3 / 5 * (share > 0 and written == summed - share)
    charges = tuple(charge for charge in charges if charge)
    for amount in charges:
        found += role / 2 / len(charges) * ((written == summed - amount) + (written == summed - 2 * amount))
    first_off = summed % int(10 ** (len(str(max(summed, 1))) - 1))
    pounds = summed // 100
    found += 0.06 / 2 * (first_off == written != summed)
    for cut in (pounds * 100, summed * 100, summed // 10, pounds, summed * 10):
        found += 0.06 / 2 / 5 * (cut == written != summed)
    return float(found)


def columns_astray(weighed: Weighed) -> float:
    """How much more probable the rows are if their numbers have, from some row on, nothing to do with each other."""
    none: tuple[Value, ...] = (None, None, None)
    checked = [
        place
        for place, row in enumerate(weighed.rows)
        if isinstance(row.unit_price.top, int) and isinstance(row.line_total.top, int)
        if DITTO not in {*row.quantity.weights, *row.unit_price.weights, *row.line_total.weights}
    ]
    found = 0.0
    for first in checked:
        apart = 1.0
        for place in checked[checked.index(first) :]:
            together = sum(weight for *_, weight in ways(weighed, place, none))
            loose = sum(weight for *_, weight in ways(weighed, place, none, together=False))
            apart *= loose / together
        found += apart / len(checked)
    return 0.17 * found


def enumerated(weighed: Weighed) -> tuple[float, dict[int, float]]:
    """Probability that the total is wrong, and the distribution of the right total."""
    shares, wrong, _, _ = slips(weighed)
    charges = tuple(c.sign * c.box.top for c in weighed.charges if isinstance(c.box.top, int))
    goods = weighed.goods is not None and isinstance(weighed.goods.top, int)
    columns = columns_astray(weighed)
    whole = off = 0.0
    rights: dict[int, float] = defaultdict(float)

    def lost_to(written: int, summed: int) -> float:
        return given_astray(written, summed, charges, goods, *seen(weighed))

    for summed, right, spent, early, weight in endings(weighed):
        for written, p in weighed.total.weights.items():
            if not isinstance(written, int):
                continue
            if spent:
                fits = float(summed == written)
            elif summed == written:
                fits = 1 - wrong
            else:
                fits = wrong * slip_of_sum(written, summed, shares)
            if not spent and summed != right:
                spite = weighed.priors.total_in_spite
                fits = (1 - spite) * fits + spite * (written == right)
            lost = weight * p / breadth(written) * fits
            if early:
                whole, off = whole + lost, off + 0.08 * lost
                continue
            mass = lost * (1 - weighed.doubt)
            lost = 0.0 if spent else lost_to(written, summed) + columns / 2 * breadth(written)
            lost = weighed.doubt * weight * p / breadth(written) * (lost + columns / 2 * fits)
            whole += mass + lost
            off += mass * (written != right) + lost * 0.08
            rights[right] += mass
    return off / whole, {right: mass / whole for right, mass in rights.items()}
