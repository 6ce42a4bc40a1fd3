"""The result file: everything a run found, as JSON, for other programs and for later.

The keys are fixed in the design; amounts are whole minor units. The same report gives the same bytes: keys
keep their order, corners are kept to a tenth of a pixel and probabilities to a millionth, so that the last
bit of a calculation does not tell two machines apart.
"""

import json
import math
import re
from collections.abc import Callable
from typing import Final, TypeVar, cast, get_args

from formread import __version__
from formread.errors import ListError, UsageError
from formread.money import currency
from formread.slips import Charge, ChargeKind, Line, Problem, Report, Slip, Verdict

OUTLINE_DECIMALS: Final = 1
"""A tenth of a pixel is finer than any corner is found."""

PROBABILITY_DECIMALS: Final = 6
"""One in a million: beyond any pile of slips."""

LINE_WIDTH: Final = 160
"""A whole line of an order slip, as a record, fits on one line of the file."""

_LONE_SURROGATE = re.compile("[\ud800-\udfff]")

T = TypeVar("T")


def to_json(report: Report) -> str:
    """Write a report as the text of a result file, with a newline at its end.

    Raises
    ------
    UsageError
        When the report's currency is not known.
    """
    money = currency(report.currency)
    text = _laid_out(
        {
            "formread": __version__,
            "currency": money.code,
            "minor_unit_digits": money.digits,
            "slips": [_slip_record(slip) for slip in report.slips],
            "problems": [
                {"photo": problem.photo, "page": problem.page, "message": problem.message}
                for problem in report.problems
            ],
        }
    )
    # A file name that is not valid text carries lone surrogates; UTF-8 has no bytes for them, JSON escapes.
    return _LONE_SURROGATE.sub(lambda match: f"\\u{ord(match[0]):04x}", text) + "\n"


def _laid_out(value: object, margin: str = "") -> str:
    """JSON that a person can read too: what fits on one line stays on one line."""
    flat = json.dumps(value, ensure_ascii=False, allow_nan=False)
    if not isinstance(value, dict | list) or len(margin) + len(flat) <= LINE_WIDTH:
        return flat
    deeper = f"{margin} "
    if isinstance(value, dict):
        parts = [
            f"{json.dumps(key, ensure_ascii=False)}: {_laid_out(item, deeper)}" for key, item in value.items()
        ]
        opening, closing = "{", "}"
    else:
        parts = [_laid_out(item, deeper) for item in value]
        opening, closing = "[", "]"
    lines = f",\n{deeper}".join(parts)
    return f"{opening}\n{deeper}{lines}\n{margin}{closing}"


def _slip_record(slip: Slip) -> dict[str, object]:
    return {
        "photo": slip.photo,
        "page": slip.page,
        "outline": [[_rounded(value, OUTLINE_DECIMALS) for value in corner] for corner in slip.outline],
        "slip_number": slip.slip_number,
        "customer": slip.customer,
        "address": slip.address,
        "lines": [
            {
                "row": line.row,
                "code": line.code,
                "description": line.description,
                "quantity": line.quantity,
                "unit_price": line.unit_price,
                "line_total": line.line_total,
                "struck_out": line.struck_out,
            }
            for line in slip.lines
        ],
        "charges": [{"kind": charge.kind, "amount": charge.amount} for charge in slip.charges],
        "written_total": slip.written_total,
        "computed_total": slip.computed_total,
        "difference": slip.difference,
        "verdict": slip.verdict,
        "probability_wrong": _rounded(slip.probability_wrong, PROBABILITY_DECIMALS),
        "reason": slip.reason,
        "right_line_totals": [list(pair) for pair in slip.right_line_totals],
        "suspect_rows": list(slip.suspect_rows),
        "ask": slip.ask,
        "at_stake": slip.at_stake,
    }


def _rounded(value: float, decimals: int) -> float:
    """Round; a minus sign before a zero, which means nothing here, goes."""
    return round(float(value), decimals) + 0.0


def from_json(text: str) -> Report:
    """Read the text of a result file; keys that formread does not know are passed over.

    Raises
    ------
    ListError
        When the text is not JSON, or not a result file: the message names the place and what is wrong there.
    """
    try:
        whole: object = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ListError(
            f"This is not a result file: it is not JSON ({error}). Make one with formread check --json FILE."
        ) from error
    root = _Place("the result file", whole)
    code = root.take("currency").text()
    try:
        money = currency(code)
    except UsageError as error:
        raise ListError(f"The result file can't be used: {error}") from error
    digits = root.take("minor_unit_digits").number()
    if digits != money.digits:
        raise ListError(
            f"The result file can't be used: it gives {money.code} {digits} digits after the point, "
            f"but ISO 4217 gives it {money.digits}. Make the file again."
        )
    return Report(
        currency=money.code,
        slips=tuple(root.take("slips").each(_slip)),
        problems=tuple(root.take("problems").each(_problem)),
    )


class _Place:
    """One value of the file, and the words for where it stands."""

    def __init__(self, where: str, value: object) -> None:
        self.where = where
        self.value = value

    def wrong(self, wanted: str) -> ListError:
        shown = json.dumps(self.value)
        shown = shown if len(shown) <= 40 else f"{shown[:37]}..."
        return ListError(
            f"The result file can't be used: {self.where} must be {wanted}, but is {shown}. "
            "Make the file again."
        )

    def take(self, key: str) -> "_Place":
        if not isinstance(self.value, dict):
            raise self.wrong("a record of keys and values")
        if key not in self.value:
            raise ListError(
                f"The result file can't be used: {self.where} has no {key!r}. "
                "Make the file again with formread check --json FILE."
            )
        return _Place(f"{key!r} of {self.where}", self.value[key])

    def offered(self, key: str, default: object) -> "_Place":
        if isinstance(self.value, dict) and key not in self.value:
            return _Place(f"{key!r} of {self.where}", default)
        return self.take(key)

    def each(self, read: Callable[["_Place"], T]) -> list[T]:
        if not isinstance(self.value, list):
            raise self.wrong("a list")
        return [
            read(_Place(f"item {place} of {self.where}", value)) for place, value in enumerate(self.value, 1)
        ]

    def text(self) -> str:
        if not isinstance(self.value, str):
            raise self.wrong("text")
        return self.value

    def number(self) -> int:
        # True and False are whole numbers to Python, but nobody's amount.
        if isinstance(self.value, bool) or not isinstance(self.value, int):
            raise self.wrong("a whole number")
        return self.value

    def real(self) -> float:
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise self.wrong("a number")
        try:
            value = float(self.value)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            raise self.wrong("a finite number")
        return value

    def flag(self) -> bool:
        if not isinstance(self.value, bool):
            raise self.wrong("true or false")
        return self.value

    def or_none(self, read: Callable[["_Place"], T]) -> T | None:
        return None if self.value is None else read(self)

    def one_of(self, words: tuple[str, ...]) -> str:
        if self.value not in words:
            raise self.wrong(f"one of {', '.join(words)}")
        return self.value


def _slip(place: _Place) -> Slip:
    written = place.take("written_total").or_none(_Place.number)
    computed = place.take("computed_total").number()
    difference = place.take("difference")
    if difference.or_none(_Place.number) != (None if written is None else written - computed):
        raise difference.wrong("the written total less the computed total")
    probability = place.take("probability_wrong")
    if not 0 <= probability.real() <= 1:
        raise probability.wrong("between 0 and 1")
    return Slip(
        photo=place.take("photo").text(),
        page=place.take("page").number(),
        outline=tuple(place.take("outline").each(_corner)),
        slip_number=place.take("slip_number").or_none(_Place.text),
        customer=place.take("customer").or_none(_Place.text),
        address=place.offered("address", None).or_none(_Place.text),
        lines=tuple(place.take("lines").each(_line)),
        charges=tuple(place.take("charges").each(_charge)),
        written_total=written,
        computed_total=computed,
        difference=difference.or_none(_Place.number),
        verdict=cast("Verdict", place.take("verdict").one_of(get_args(Verdict))),
        probability_wrong=probability.real(),
        reason=place.take("reason").text(),
        right_line_totals=tuple(place.offered("right_line_totals", []).each(_pair)),
        suspect_rows=tuple(place.offered("suspect_rows", []).each(_Place.number)),
        ask=place.offered("ask", None).or_none(_Place.text),
        at_stake=place.offered("at_stake", 0).number(),
    )


def _corner(place: _Place) -> tuple[float, float]:
    values = place.each(_Place.real)
    if len(values) != 2:
        raise place.wrong("two numbers, x and y")
    return values[0], values[1]


def _pair(place: _Place) -> tuple[int, int]:
    values = place.each(_Place.number)
    if len(values) != 2:
        raise place.wrong("two whole numbers, the row and its right total")
    return values[0], values[1]


def _line(place: _Place) -> Line:
    return Line(
        row=place.take("row").number(),
        code=place.take("code").or_none(_Place.text),
        description=place.take("description").or_none(_Place.text),
        quantity=place.take("quantity").or_none(_Place.number),
        unit_price=place.take("unit_price").or_none(_Place.number),
        line_total=place.take("line_total").or_none(_Place.number),
        struck_out=place.take("struck_out").flag(),
    )


def _charge(place: _Place) -> Charge:
    return Charge(
        kind=cast("ChargeKind", place.take("kind").one_of(get_args(ChargeKind))),
        amount=place.take("amount").number(),
    )


def _problem(place: _Place) -> Problem:
    return Problem(
        photo=place.take("photo").text(),
        page=place.take("page").or_none(_Place.number),
        message=place.take("message").text(),
    )
