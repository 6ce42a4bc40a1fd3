"""What the pages say, and what people type: verdicts, boxes and money in words, and back."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from formread.arithmetic import BoxRef
from formread.arithmetic.costs import STANDARD_COSTS
from formread.errors import UsageError
from formread.export.findings import loser
from formread.goods.written import parse_amount
from formread.money import Currency, format_money, format_plain
from formread.pile.kept import KeptSlip
from formread.record import DITTO, Value
from formread.slips import Slip

FIELDS: Final = {
    "code": "code",
    "quantity": "quantity",
    "unit_price": "unit price",
    "line_total": "line total",
    "struck_out": "crossed out",
    "goods": "goods total",
    "delivery": "delivery charge",
    "discount": "discount",
    "deposit": "deposit",
    "other": "extra charge",
    "total": "total",
}
MONEY_ROLES: Final = frozenset(FIELDS) - {"code", "quantity", "struck_out"}
PLAUSIBLE: Final = 0.02
"""A typed value that the reader thinks at least this probable agrees with it: nothing to compare."""
_LONGEST: Final = 12


def box_title(ref: BoxRef) -> str:
    """Name a box in a sentence: ``the unit price in row 3``, ``the total``."""
    if ref.role == "struck_out":
        return f"row {ref.row}"
    name = FIELDS[ref.role]
    return f"the {name}" if ref.row is None else f"the {name} in row {ref.row}"


def shown(value: Value, role: str, unit: Currency) -> str:
    """Show what stands in a box."""
    if value is None:
        return "empty"
    if value == DITTO:
        return "ditto mark"
    if role == "struck_out":
        return "crossed out" if value else "not crossed out"
    if role in MONEY_ROLES and isinstance(value, int):
        return format_plain(value, unit)
    return str(value)


def typed(text: str, role: str, unit: Currency) -> Value:
    """Understand what a person typed for a box.

    Money is typed as on a till: without a point the last digits are pence (``499`` is 4.99); with a point or a
    comma it is as it stands (``4.9`` is 4.90, ``5.`` is 5.00).

    Raises
    ------
    UsageError
        When it is no such value.
    """
    text = text.strip()
    if text.lower() in {"-", "e", "empty"}:
        return None
    if text in {'"', "d"} and role != "code":
        return DITTO
    if role == "code":
        return text[:40] or None
    if role == "struck_out":
        return int(text in {"1", "yes", "x"})
    if role == "quantity":
        if re.fullmatch(r"\d{1,4}", text, re.ASCII):
            return int(text)
        raise UsageError("Type the quantity in digits, for example 3, or say that the box is empty.")
    return typed_money(text, unit)


def typed_money(text: str, unit: Currency) -> int:
    """Understand an amount typed as on a till; see :func:`typed`."""
    plain = text.strip().replace(unit.symbol or unit.code, "").replace(",", ".").replace(" ", "")
    match = re.fullmatch(r"(\d*)(?:(\.)(\d*))?", plain, re.ASCII)
    if not match or not any(sign.isdigit() for sign in plain) or len(plain) > _LONGEST:
        example = format_plain(499, unit)
        raise UsageError(
            f"Type the amount in digits, for example 499 or {example} for {format_money(499, unit)}."
        )
    whole, point, part = match[1], match[2], match[3] or ""
    if point is None or not unit.digits:
        return int(whole or part)
    if len(part) > unit.digits:
        raise UsageError(
            f"There are {unit.digits} digits after the point, for example {format_plain(499, unit)}."
        )
    return int(whole or "0") * unit.unit + int(part.ljust(unit.digits, "0"))


def amount_or_none(text: str, unit: Currency, what: str) -> int | None:
    """Understand an amount typed as it is written on paper (``12`` is 12.00); None where nothing is typed.

    Raises
    ------
    UsageError
        When it is no amount; `what` says which field is meant.
    """
    if not text.strip():
        return None
    try:
        return parse_amount(text, unit)
    except ValueError as error:
        raise UsageError(
            f"For {what}: {error}. Type an amount such as {format_plain(1250, unit)}."
        ) from error


def signed_amount(text: str, unit: Currency, what: str) -> int | None:
    """Understand an amount that may be given back (``-2.50``); see :func:`amount_or_none`."""
    if text.startswith("-"):
        amount = amount_or_none(text[1:], unit, what)
        return None if amount is None else -amount
    return amount_or_none(text, unit, what)


def loss(slip: Slip, unit: Currency) -> str:
    """Say who loses how much; ``""`` where nobody does."""
    who = loser(slip.difference)
    if not who or slip.difference is None:
        return ""
    amount = format_money(abs(slip.difference), unit)
    return f"you lose {amount}" if who == "you" else f"the customer loses {amount}"


def slip_name(kept: KeptSlip) -> str:
    """Name a slip for a person."""
    return f"Slip {kept.slip.slip_number}" if kept.slip.slip_number else f"Slip in {kept.slip.photo}"


@dataclass(frozen=True, slots=True)
class Counts:
    """What a pile has, and what is left to do."""

    slips: int
    unsure: int
    seen: int
    wrong: int
    agrees: int
    at_stake: int

    @property
    def minutes(self) -> int:
        """Minutes of checking left, rounded up."""
        return math.ceil(self.unsure * STANDARD_COSTS.look_minutes)


def count(slips: Sequence[KeptSlip]) -> Counts:
    """Count a pile."""
    unsure = [kept for kept in slips if kept.open]
    wrong = [kept for kept in slips if kept.slip.verdict == "wrong"]
    seen = [kept for kept in slips if kept.slip.verdict == "unsure" and not kept.open]
    return Counts(
        slips=len(slips),
        unsure=len(unsure),
        seen=len(seen),
        wrong=len(wrong),
        agrees=len(slips) - len(unsure) - len(wrong) - len(seen),
        at_stake=sum(kept.slip.at_stake for kept in (*unsure, *wrong)),
    )


def needing_first(slips: Sequence[KeptSlip]) -> list[KeptSlip]:
    """Order a pile: what waits for a person, most money first; then wrong, most money first; then the rest."""

    def key(kept: KeptSlip) -> tuple[int, int, int]:
        if kept.open:
            return 0, -kept.slip.at_stake if kept.outcome.judgement.asks else 1, 0
        if kept.slip.verdict == "wrong":
            return 1, -abs(kept.slip.difference or 0), 0
        return (2 if kept.slip.verdict == "unsure" else 3), 0, 0

    return sorted(slips, key=key)


def matches(kept: KeptSlip, words: str, unit: Currency) -> bool:
    """Whether a slip fits what was typed into the search box: name, number, amount or photo."""
    slip = kept.slip
    amounts = [slip.written_total, slip.computed_total, slip.difference and abs(slip.difference)]
    texts = [slip.slip_number, slip.customer, slip.address, slip.photo]
    texts += [format_plain(amount, unit) for amount in amounts if amount is not None]
    whole = " ".join(text for text in texts if text).casefold()
    return all(word in whole for word in words.casefold().split())
