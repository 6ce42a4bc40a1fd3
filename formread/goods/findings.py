"""What the price list has to say about the slips, apart from the arithmetic, with the money it moves.

A slip may add up perfectly on last year's prices. A finding is a question for a person, never a correction.
"""

from dataclasses import dataclass
from typing import Literal

from formread.codes import normalise_code
from formread.goods.names import slip_names
from formread.goods.price_list import PriceList, Product
from formread.goods.written import SAME_WORDS, likeness, neighbours_swapped, one_digit_off
from formread.money import Currency, currency, format_money
from formread.slips import Line, Report

FindingKind = Literal[
    "unknown code",
    "old price",
    "price before the offer",
    "offer left out",
    "neighbour's price",
    "similar code's price",
    "one digit off",
    "digits swapped",
    "point moved",
    "other price",
    "description and code disagree",
]

_NEIGHBOURS = 1  # the line above and the line below in the list: where an eye slips to
_OTHER_WORDS = 55.0  # of 100: descriptions of two different products score below this as a rule


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of a slip that the price list contradicts.

    Attributes
    ----------
    slip
        Place of the slip in the report, from 0.
    name
        What the slip is called.
    row
        Row of the printed table, from 1.
    code
        As the customer wrote it.
    written, listed
        Minor units for one piece; None where there is nothing to compare.
    money
        Minor units that this line moves: positive, the customer would pay too much by the list; negative, the
        seller would lose it. None where the list does not say.
    message
        A sentence for a person.
    """

    slip: int
    name: str
    row: int
    kind: FindingKind
    code: str
    written: int | None
    listed: int | None
    money: int | None
    message: str


def check_prices(report: Report, price_list: PriceList) -> tuple[Finding, ...]:
    """Check every counted line that has a code against the price list.

    Returns
    -------
    tuple of Finding
        In the order of slips and rows; empty when the list has nothing to say against the slips.
    """
    unit = currency(price_list.currency)
    found: list[Finding] = []
    for place, (slip, name) in enumerate(zip(report.slips, slip_names(report), strict=True)):
        for line in slip.lines:
            if line.struck_out or not line.code or not normalise_code(line.code):
                continue
            product = price_list.find(line.code)
            if product is None:
                found.append(_unknown(place, name, line, price_list, unit))
                continue
            disagreement = _words_disagree(place, name, line, product, price_list)
            if disagreement:
                found.append(disagreement)
            if _takes_the_offer(line, product):
                continue
            if line.unit_price is not None and line.unit_price != product.price:
                found.append(_other_price(place, name, line, product, price_list))
            elif product.cost(_pieces(line)) != _pieces(line) * product.price:
                found.append(_offer_left_out(place, name, line, product, unit))
    return tuple(found)


def _pieces(line: Line) -> int:
    return 1 if line.quantity is None else line.quantity  # a blank quantity counts as one, as for the judge


def _takes_the_offer(line: Line, product: Product) -> bool:
    """Say whether the line total is the price of the pieces together, by an offer of the list."""
    return product.together is not None and line.line_total == product.cost(_pieces(line))


def _offer_left_out(place: int, name: str, line: Line, product: Product, unit: Currency) -> Finding:
    pieces = _pieces(line)
    together = product.cost(pieces)
    money = pieces * product.price - together
    return Finding(
        place,
        name,
        line.row,
        "offer left out",
        line.code or "",
        line.unit_price,
        product.price,
        money,
        f"{_described(product)} is on offer ({product.offer}): {pieces} cost {format_money(together, unit)}, "
        f"written without it. {format_money(money, unit)}: the customer would pay too much.",
    )


def similar_products(code: str, price_list: PriceList) -> tuple[Product, ...]:
    """Find the products whose code is one digit off, or has two neighbouring digits swapped."""
    key = normalise_code(code)
    return tuple(
        product
        for other, product in price_list.products.items()
        if one_digit_off(key, other) or neighbours_swapped(key, other)
    )


def _described(product: Product) -> str:
    return f"{product.code} ({product.description})" if product.description else product.code


def _unknown(place: int, name: str, line: Line, price_list: PriceList, unit: Currency) -> Finding:
    code = line.code or ""
    near = similar_products(code, price_list)
    if line.unit_price is not None and any(product.price == line.unit_price for product in near):
        near = tuple(product for product in near if product.price == line.unit_price)
    if line.description and not near:
        near = tuple(
            product
            for product in price_list.products.values()
            if likeness(line.description, product.description) >= SAME_WORDS
        )
    message = f"the code {code} is not in {price_list.name}"
    listed = near[0].price if len(near) == 1 else None
    if near:
        shown = " or ".join(_described(product) for product in near[:3])
        message += f"; perhaps {shown}"
        if listed is not None and listed != line.unit_price:
            message += f" at {format_money(listed, unit)}"
    money = None
    if listed is not None and line.unit_price is not None:
        money = _pieces(line) * (line.unit_price - listed)
    return Finding(
        place,
        name,
        line.row,
        "unknown code",
        code,
        line.unit_price,
        listed,
        money,
        message + ". Ask the customer.",
    )


def _words_disagree(
    place: int, name: str, line: Line, product: Product, price_list: PriceList
) -> Finding | None:
    """Say so when the words on a line belong to another product than its code."""
    if not line.description or not product.description:
        return None
    if likeness(line.description, product.description) >= _OTHER_WORDS:
        return None
    others = [
        (likeness(line.description, other.description), other)
        for other in price_list.products.values()
        if other is not product
    ]
    best = max(others, key=lambda pair: pair[0], default=None)
    if best is None or best[0] < SAME_WORDS:
        return None
    money = _pieces(line) * (line.unit_price - best[1].price) if line.unit_price is not None else None
    return Finding(
        place,
        name,
        line.row,
        "description and code disagree",
        line.code or "",
        line.unit_price,
        best[1].price,
        money,
        f"the code {line.code} is {product.description}, but the words say {line.description}, which is "
        f"{best[1].code}. Ask the customer which one is meant.",
    )


def _other_price(place: int, name: str, line: Line, product: Product, price_list: PriceList) -> Finding:
    unit = currency(price_list.currency)
    written = line.unit_price or 0
    kind, why = _explain(written, product, price_list)
    money = _pieces(line) * (written - product.price)
    source = "the slips agree on" if price_list.learned else "the list says"
    direction = "the customer would pay too much" if money > 0 else "you would lose it"
    moved = f" {format_money(abs(money), unit)}: {direction}." if money else ""
    return Finding(
        place,
        name,
        line.row,
        kind,
        line.code or "",
        written,
        product.price,
        money,
        f"{_described(product)} is written at {format_money(written, unit)}, {source} "
        f"{format_money(product.price, unit)}; {why}.{moved}",
    )


def _explain(written: int, product: Product, price_list: PriceList) -> tuple[FindingKind, str]:
    """Name the likeliest way to the written price: the causes that need least from chance come first."""
    if written == product.old_price:
        return "old price", "that was the old price"
    if written == product.full_price:
        return "price before the offer", "that is the price without the offer"
    place = price_list.position(product.code)
    products = list(price_list.products.values())
    for other in products[max(place - _NEIGHBOURS, 0) : place + _NEIGHBOURS + 1]:
        if other is not product and written in (other.price, other.full_price):
            return "neighbour's price", f"that is the price of {_described(other)}, next to it in the list"
    for other in similar_products(product.code, price_list):
        if written == other.price:
            return "similar code's price", f"that is the price of {_described(other)}, whose code looks alike"
    one, right = str(written), str(product.price)
    if one_digit_off(one, right):
        return "one digit off", "one digit is off"
    if neighbours_swapped(one, right):
        return "digits swapped", "two digits are swapped"
    if written and one.rstrip("0") == right.rstrip("0"):
        return "point moved", "the point has moved"
    return "other price", "no usual slip explains it"
