"""Codes, amounts and counts as lists write them. Pure text and whole numbers."""

import re
from typing import Final

from rapidfuzz import fuzz

from formread.money import Currency

SAME_WORDS: Final = 85.0
"""Of 100: descriptions as customers shorten them are at least so like that of their own product."""

_SIGNS = "£€$¥₩₹R"
_GS1_LENGTHS = (8, 12, 13, 14)


def parse_amount(text: str, unit: Currency) -> int:
    """Read an amount from a list: ``4.99``, ``£4.99``, ``4,99``, ``1,299.00``, ``1.299,00``, ``99p``.

    Parameters
    ----------
    text
        One cell.
    unit
        The currency; its digits decide whether ``1,299`` is a decimal or a thousands comma.

    Returns
    -------
    int
        Minor units, not negative.

    Raises
    ------
    ValueError
        With a sentence part that says what is wrong, to stand after "row 7: ".
    """
    shown = text.strip()
    plain = re.sub(r"\s|['’]", "", shown).upper()
    plain = plain.replace(unit.code, "").strip(_SIGNS)
    if plain.startswith("-") or (plain.startswith("(") and plain.endswith(")")):
        raise ValueError(f"the amount {shown!r} is negative")
    pence = re.fullmatch(r"(\d+)[P¢C]", plain)
    if pence and unit.digits:
        return int(pence.group(1))
    if not re.fullmatch(r"\d[\d.,]*|[.,]\d+", plain):
        raise ValueError(f"{shown!r} is not an amount of money")
    whole, part = _split_decimals(plain, unit)
    if whole is None:
        raise ValueError(f"{shown!r} is not an amount of money")
    if unit.digits and len(part) == 3 > unit.digits:
        raise ValueError(f"{shown!r} has more decimals than {unit.code} has, unless it means thousands")
    if len(part.rstrip("0")) > unit.digits:
        raise ValueError(f"{shown!r} has more decimals than {unit.code} has")
    return int(whole or "0") * unit.unit + int((part + "0" * unit.digits)[: unit.digits] or "0")


def _split_decimals(plain: str, unit: Currency) -> tuple[str | None, str]:
    """Split digits with points and commas into whole and decimal digits; (None, "") for nonsense."""
    marks = re.findall(r"[.,]", plain)
    if not marks:
        return plain, ""
    last = max(plain.rfind("."), plain.rfind(","))
    head, tail = plain[:last], plain[last + 1 :]
    # One point and three digits is not taken for thousands: "4.999" is more often a slip of the keyboard.
    grouped = re.fullmatch(r"\d{1,3}(?:([.,])\d{3})(?:\1\d{3})*", plain)
    if grouped and (len(marks) > 1 or (marks == [","] and unit.digits != 3) or not unit.digits):
        return re.sub(r"[.,]", "", plain), ""
    other = "," if plain[last] == "." else "."
    if plain[last] in head or not re.fullmatch(rf"\d*|\d{{1,3}}(?:\{other}\d{{3}})+", head):
        return None, ""
    return head.replace(other, ""), tail


def parse_count(text: str) -> int:
    """Read a number of pieces: ``3``, ``3.0``, ``3 x``, ``x3``, ``3 pcs``.

    Raises
    ------
    ValueError
        With a sentence part that says what is wrong.
    """
    shown = text.strip()
    plain = re.sub(r"\s", "", shown).casefold()
    found = re.fullmatch(r"[x×]?(\d{1,6})(?:[.,]0+)?(?:x|×|pcs?|off|ea|each)?", plain)
    if not found:
        raise ValueError(f"{shown!r} is not a number of pieces")
    return int(found.group(1))


def round_half_up(numerator: int, denominator: int) -> int:
    """Divide whole numbers and round to the nearest, halves away from zero.

    This is IEEE 754-2019 "roundTiesToAway" and Python's ``decimal.ROUND_HALF_UP``, the way amounts of money
    are rounded at school and on invoices, where Python's own ``round`` goes to the even neighbour.
    """
    if denominator <= 0:
        raise ValueError("the denominator must be positive")
    size = (2 * abs(numerator) + denominator) // (2 * denominator)
    return -size if numerator < 0 else size


def gs1_check_digit(digits: str) -> int:
    """Compute the check digit that follows `digits` in a GTIN-8, -12, -13 or -14.

    GS1 General Specifications, section 7.9: from the right, weights 3, 1, 3, 1 ...; the check digit brings
    the sum up to a multiple of ten.
    """
    weighted = sum(int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(reversed(digits)))
    return -weighted % 10


def carries_gs1_number(code: str) -> bool:
    """Say whether a normalised code is a GTIN by its length and a check digit that holds."""
    return (
        len(code) in _GS1_LENGTHS
        and code.isascii()
        and code.isdigit()
        and gs1_check_digit(code[:-1]) == int(code[-1])
    )


def one_digit_off(one: str, other: str) -> bool:
    """Say whether two texts of one length differ in exactly one character."""
    return len(one) == len(other) and sum(a != b for a, b in zip(one, other, strict=True)) == 1


def neighbours_swapped(one: str, other: str) -> bool:
    """Say whether two texts differ by one swap of neighbouring characters."""
    if len(one) != len(other) or one == other:
        return False
    differ = [at for at, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    return (
        len(differ) == 2
        and differ[1] == differ[0] + 1
        and one[differ[0]] == other[differ[1]]
        and one[differ[1]] == other[differ[0]]
    )


def likeness(one: str, other: str | None) -> float:
    """Say how much two descriptions have the same words, from 0 to 100, whatever their order and case.

    The token set ratio of RapidFuzz: words that only one of the two has count for little, since customers
    shorten ("lilac soap" for "Lilac hand soap 250 ml").
    """
    return float(fuzz.token_set_ratio(_words(one), _words(other))) if other else 0.0


def _words(text: str) -> str:
    return " ".join(re.findall(r"\w+", text.casefold()))
