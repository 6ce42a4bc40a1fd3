"""What a price list, or the other slips of the pile, say of the products that codes name."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, Protocol

from formread.arithmetic.record import LineReadings, SlipReadings
from formread.codes import normalise_code
from formread.record import Reading, Value

Source = Literal["list", "pile"]

PILE_LINES: Final = 1.6
"""Lines of other slips, weighed by how surely they were read, that must price a code alike: two at least."""
PILE_SHARE: Final = 2 / 3
"""Share of those lines that must agree."""
PILE_READ: Final = 0.8
"""A line testifies only if its code and price were read this surely."""
LIKELY: Final = 1e-4
"""Codes less probable than this are not looked up."""


class Offer(Protocol):
    """So many pieces together for so much; pieces beyond a multiple cost the unit price each."""

    @property
    def pieces(self) -> int:
        """How many pieces; two or more."""

    @property
    def amount(self) -> int:
        """What they cost together, in minor units."""


@dataclass(frozen=True, slots=True)
class Listed:
    """What is known of one product: the price of a piece, offers on several, and who says so."""

    price: int
    offers: tuple[Offer, ...] = ()
    source: Source = "list"

    def cost(self, count: int, price: int) -> int | None:
        """What `count` pieces come to at `price` each where an offer makes them cheaper; None where none does."""
        plain = count * price
        best = plain
        for offer in self.offers:
            times, rest = divmod(count, offer.pieces)
            best = min(best, times * offer.amount + rest * price)
        return best if best < plain else None


def known_products(
    prices: Mapping[str, int] | None,
    offers: Mapping[str, Sequence[Offer]] | None,
    pile: Mapping[str, int] | None,
) -> dict[str, Listed]:
    """Put together what is known, by normalised code; the price list goes before the pile."""
    known = {normalise_code(code): Listed(price, (), "pile") for code, price in (pile or {}).items()}
    bargains = {normalise_code(code): tuple(some) for code, some in (offers or {}).items()}
    for code, price in (prices or {}).items():
        plain = normalise_code(code)
        known[plain] = Listed(price, bargains.get(plain, ()), "list")
    return known


def listed(readings: LineReadings, known: Mapping[str, Listed]) -> tuple[tuple[Listed, float], ...]:
    """What the row's code says of its product: (what is known, probability), most probable first."""
    if not known or readings.code is None:
        return ()
    found: dict[str, float] = {}
    for value, probability in readings.code.values:
        if isinstance(value, str) and probability >= LIKELY:
            code = normalise_code(value)
            if code in known:
                found[code] = found.get(code, 0.0) + probability
    return tuple((known[code], p) for code, p in sorted(found.items(), key=lambda item: (-item[1], item[0])))


class PilePrices:
    """Prices to which the slips of a pile testify for one another."""

    def __init__(self, slips: Sequence[SlipReadings]) -> None:
        self._said: dict[str, dict[int, float]] = {}
        for slip in slips:
            for code, price, weight in _testimonies(slip):
                prices = self._said.setdefault(code, {})
                prices[price] = prices.get(price, 0.0) + weight

    def for_slip(self, slip: SlipReadings) -> dict[str, int]:
        """Prices by normalised code that the other slips of the pile give for the codes on this one.

        `slip` is one of the pile: it never testifies for itself.
        """
        own: dict[str, dict[int, float]] = {}
        for code, price, weight in _testimonies(slip):
            prices = own.setdefault(code, {})
            prices[price] = prices.get(price, 0.0) + weight
        learned = {}
        for code in _codes(slip):
            others = {
                price: weight - own.get(code, {}).get(price, 0.0)
                for price, weight in self._said.get(code, {}).items()
            }
            if not others:
                continue
            price, weight = max(others.items(), key=lambda item: (item[1], -item[0]))
            if weight >= PILE_LINES and weight >= PILE_SHARE * sum(others.values()):
                learned[code] = price
        return learned


def _codes(slip: SlipReadings) -> Iterable[str]:
    codes = {
        normalise_code(value)
        for line in slip.lines
        if line.code is not None
        for value, probability in line.code.values
        if isinstance(value, str) and probability >= LIKELY
    }
    return sorted(codes)


def _testimonies(slip: SlipReadings) -> Iterable[tuple[str, int, float]]:
    for line in slip.lines:
        if line.code is None or line.unit_price is None or line.struck_out > 0.5:
            continue
        code, price = _top(line.code), _top(line.unit_price)
        sure = code[1] * price[1]
        if isinstance(code[0], str) and isinstance(price[0], int) and sure > PILE_READ:
            yield normalise_code(code[0]), price[0], sure


def _top(reading: Reading) -> tuple[Value, float]:
    return reading.values[0] if reading.values else (None, 0.0)
