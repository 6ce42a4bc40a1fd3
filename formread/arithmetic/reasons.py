"""The judge's reasons, in a seller's words: short, calm, with the numbers."""

from dataclasses import dataclass

from formread.arithmetic.listed import Source
from formread.arithmetic.record import BoxRef, JudgedLine
from formread.money import Currency, format_plain
from formread.slips import Verdict

NAMED: float = 0.5
"""A kind of slip is named only from this posterior on."""

ASTRAY: float = 0.2
"""From this probability on that boxes were found wrongly, that is what is said of an unsure slip."""

HAND_TOLD = "How this hand writes its other figures decided it."

_CHARGE_WORDS = {
    "brought": "the sum brought forward",
    "delivery": "the delivery charge",
    "discount": "the discount",
    "deposit": "the deposit",
    "other": "the extra charge",
}
_FIELD_WORDS = {
    "code": "the code",
    "quantity": "the quantity",
    "unit_price": "the unit price",
    "line_total": "the line total",
    "goods": "the goods total",
    **_CHARGE_WORDS,
    "total": "the total",
}


@dataclass(frozen=True, slots=True)
class ChargeSlip:
    """How a charge was dealt with wrongly.

    ``slip`` is ``"forgotten"`` (written, not added), ``"wrong_sign"`` or ``"not_due"`` (not the amount that it
    should be); ``share`` its posterior probability; ``written`` and ``due`` in minor units, without a sign.
    """

    charge: str
    slip: str
    share: float
    written: int
    due: int


@dataclass(frozen=True, slots=True)
class Found:
    """What was found that can be put in words; every share is a posterior probability.

    Attributes
    ----------
    left_out, twice, struck_counted
        (row, share): the row was left out of the sum, taken twice, or counted although it is crossed out.
    goods
        The goods total as written, None where there is none.
    astray
        Probability that the boxes were found wrongly.
    total_slip
        (kind, the sum it was made from, share): a slip in adding up or writing down the total.
    """

    lines: tuple[JudgedLine, ...]
    left_out: tuple[tuple[int, float], ...]
    twice: tuple[tuple[int, float], ...]
    struck_counted: tuple[tuple[int, float], ...]
    charge_slips: tuple[ChargeSlip, ...]
    goods: int | None = None
    total_slip: tuple[str, int, float] | None = None
    blank: bool = False
    astray: float = 0.0


def put_in_words(
    verdict: Verdict, written: int | None, computed: int, found: Found, unit: Currency
) -> tuple[str | None, str]:
    """Name the kind of slip, if one is likely enough, and say why.

    Returns
    -------
    kind
        A short name such as ``"carry"`` or ``"left_out"``, or None.
    reason
        One or two sentences.
    """
    if found.blank:
        return None, "The slip is blank."
    if written is None:
        return None, f"No total is written. The lines come to {format_plain(computed, unit)}."
    lines = _line_sentences(found.lines, unit)
    if verdict == "agrees":
        if lines:
            return None, f"The total holds, but look at the lines: {'; '.join(lines)}."
        return None, "The lines come to the written total."
    if verdict == "unsure":
        return None, _doubt(written, computed, found.astray, unit)
    kind, sentence = _kind(written, found, unit)
    parts = [part for part in ("; ".join(lines), sentence) if part]
    if not parts:
        parts = ["no usual slip of the pen explains the difference"]
    text = ". ".join(part[0].upper() + part[1:] for part in parts)
    if kind is None and lines:
        kind = "product"
    return kind, f"{text}."


def _doubt(written: int, computed: int, astray: float, unit: Currency) -> str:
    one, other = format_plain(written, unit), format_plain(computed, unit)
    if written == computed:
        return f"It seems to come to the written {one}, but a box is hard to read."
    if astray >= ASTRAY:
        return (
            f"The total reads {one}, the lines and charges that were found come to {other}: a row or a charge may "
            "have been missed, or the total read from the wrong box."
        )
    return f"Written {one}, the lines seem to come to {other}; a misreading would explain it as well."


def price_taken(row: int, price: int, source: Source, unit: Currency) -> str:
    """Say that a price is taken for what a list or the other slips say it is."""
    who = "as the price list has it" if source == "list" else "as other slips of the pile have it"
    return f"The price in row {row} is taken as {format_plain(price, unit)}, {who}."


def brought_taken(amount: int, unit: Currency) -> str:
    """Say that a sum brought forward is taken for the total of another slip."""
    return f"The sum brought forward is taken as {format_plain(amount, unit)}, the total of another slip."


def question(ask: BoxRef) -> str:
    """Say which box a person should look at."""
    if ask.role == "struck_out":
        return f"Look whether row {ask.row} is crossed out."
    where = _FIELD_WORDS[ask.role]
    return f"Look at {where} in row {ask.row}." if ask.row is not None else f"Look at {where}."


def _line_sentences(lines: tuple[JudgedLine, ...], unit: Currency) -> list[str]:
    return [
        f"row {line.row}: {1 if line.quantity is None else line.quantity} \N{MULTIPLICATION SIGN} "
        f"{format_plain(line.unit_price, unit)} is {format_plain(line.right_total, unit)}, "
        f"not {format_plain(line.line_total, unit)}"
        for line in lines
        if line.probability_wrong >= NAMED
        and not line.struck_out
        and line.unit_price is not None
        and line.line_total is not None
        and line.line_total != line.right_total
    ]


def _kind(written: int, found: Found, unit: Currency) -> tuple[str | None, str]:
    options: list[tuple[float, str, str]] = []
    for row, share in found.left_out:
        options.append((share, "left_out", f"row {row} was left out of the sum"))
    for row, share in found.twice:
        options.append((share, "twice", f"row {row} was counted twice"))
    for row, share in found.struck_counted:
        options.append((share, "struck_counted", f"row {row} is crossed out but was counted"))
    for slip in found.charge_slips:
        options.append((slip.share, *_charge_sentence(slip, unit)))
    if found.total_slip is not None:
        kind, made, share = found.total_slip
        if kind != "unknown":
            options.append((share, kind, _pen_sentence(kind, written, made, unit)))
    if not options:
        return None, ""
    share, kind, sentence = max(options)
    return (kind, sentence) if share >= NAMED else (None, "")


def _charge_sentence(found: ChargeSlip, unit: Currency) -> tuple[str, str]:
    words = _CHARGE_WORDS[found.charge]
    if found.slip == "forgotten":
        return "forgot_charge", f"{words} was forgotten"
    if found.slip == "wrong_sign":
        turned = "added instead of taken off" if found.charge in ("discount", "deposit") else "taken off"
        return "charge_sign", f"{words} was {turned}"
    written, due = format_plain(found.written, unit), format_plain(found.due, unit)
    if not found.due:
        return "charge_amount", f"{words} of {written} is not due"
    if not found.written:
        return "charge_amount", f"{words} of {due} was left out"
    return "charge_amount", f"{words} is {due}, not {written}"


def _pen_sentence(kind: str, written: int, made: int, unit: Currency) -> str:
    one, other = format_plain(written, unit), format_plain(made, unit)
    match kind:
        case "carry":
            apart = abs(written - made)
            many = "two" if str(apart)[0] == "2" else "one"
            way = "too many" if written > made else "too few"
            return f"{many} {way} carried: {one} instead of {other}"
        case "swap":
            return f"two digits swapped: {one} instead of {other}"
        case "slide":
            return f"the decimal point has slid: {one} instead of {other}"
        case _:
            return f"one digit is off: {one} instead of {other}"
