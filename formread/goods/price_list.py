"""The price list: read from a file, or learned from the pile itself.

Columns are found by their headings: code and price are needed; description, old price, offer, size and place
are used where they are. Everything that can't be true is named with its row, all at once.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from formread.codes import normalise_code
from formread.errors import ListError
from formread.goods.table import Row, RowProblems, Table, read_rows, understand
from formread.goods.written import carries_gs1_number, parse_amount
from formread.money import Currency, currency, format_money
from formread.slips import Report

if TYPE_CHECKING:
    from formread.goods.delivery import DeliveryNote

HEADINGS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        column: frozenset(words.split())
        for column, words in {
            "code": "code codes itemcode productcode ordercode articlecode article articleno "
            "articlenumber artno ref refno reference itemno itemnumber no number catno cataloguenumber "
            "catalognumber cataloguecode productno productnumber productref sku gtin ean barcode",
            "description": "description desc item items product products productname itemname name title "
            "details goods itemdescription productdescription",
            "price": "price prices unitprice priceeach each pricenow currentprice newprice sellingprice "
            "retailprice retail saleprice pricegbp priceperunit rrp",
            "old_price": "oldprice was pricewas previousprice lastprice formerprice formerly before",
            "offer": "offer offers offerprice specialoffer specialprice special promotion deal now",
            "size": "size bagsize bagspace bag bulk volume space",
            "place": "place box boxplace position packingorder shelf",
        }.items()
    }
)
"""Our columns and the headings they may carry: common practice, no source."""

_NUMBER = r"(\d+|one|two|three|four|five|six)"
_SO_MANY_FOR = re.compile(rf"(?:any |buy )?{_NUMBER} for (?:the price of )?(.+)")
_SOME_FREE = re.compile(rf"buy {_NUMBER},? (?:and )?get (?:another )?{_NUMBER}(?: extra)? (?:for )?free")
_NUMBER_WORDS = {word: n for n, word in enumerate(["one", "two", "three", "four", "five", "six"], 1)}

_LEARNED_SLIPS = 2  # one slip alone can't testify for its own price
_GS1_SHARE = 0.8  # a list most of whose codes hold their check digit is a list of GTINs
_GS1_LEAST = 5  # fewer codes may hold a check digit by chance (one in ten does)
_SECTION_WORDS = 3


@dataclass(frozen=True, slots=True)
class Offer:
    """So many pieces together for so much: ``Offer(3, 1000)`` is "3 for 10.00".

    Pieces beyond a multiple of `pieces` cost the product's price each.
    """

    pieces: int
    amount: int


@dataclass(frozen=True, slots=True)
class Product:
    """One product of the price list.

    Attributes
    ----------
    code
        As the list writes it, zeros kept.
    price
        Minor units for one piece, the offer price while there is one.
    full_price
        Minor units for one piece without the offer; equal to `price` where there is no offer.
    old_price
        Minor units that it used to cost, where the list says so.
    offer
        An offer that is no single price, as the list words it ("3 for 10.00").
    together
        What that offer means, where its words are understood; else None, and it is only shown.
    size
        How much room one piece takes in a bag, in the list's own unit, or None.
    place
        Where it lies in the boxes, as the list writes it, or ``""``.
    row
        Its row in the list; for a learned product its place among the learned ones.
    """

    code: str
    description: str | None
    price: int
    full_price: int
    old_price: int | None = None
    offer: str | None = None
    together: Offer | None = None
    size: float | None = None
    place: str = ""
    row: int = 0

    def cost(self, pieces: int) -> int:
        """Return what so many pieces cost, in minor units, with the offer where it makes them cheaper."""
        plain = pieces * self.price
        if self.together is None:
            return plain
        times, rest = divmod(pieces, self.together.pieces)
        return min(plain, times * self.together.amount + rest * self.price)


@dataclass(frozen=True, slots=True)
class PriceList:
    """Products by their normalised code, in the order of the list.

    Attributes
    ----------
    learned
        The prices come from the slips themselves, not from a list that the seller brought.
    remarks
        What the seller should know but what stops nothing.
    """

    name: str
    currency: str
    products: Mapping[str, Product]
    learned: bool = False
    remarks: tuple[str, ...] = ()
    _order: Mapping[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_order", {code: place for place, code in enumerate(self.products)})

    @property
    def prices(self) -> Mapping[str, int]:
        """What one piece costs now, in minor units, by normalised code."""
        return {code: product.price for code, product in self.products.items()}

    @property
    def offers(self) -> Mapping[str, tuple[Offer, ...]]:
        """The offers on several pieces together, by normalised code; products without one are left out."""
        return {code: (product.together,) for code, product in self.products.items() if product.together}

    @property
    def descriptions(self) -> Mapping[str, str]:
        """What each product is called, by normalised code; products without a description are left out."""
        return {code: product.description for code, product in self.products.items() if product.description}

    def find(self, code: str | None) -> Product | None:
        """Look a product up by its code, however it is spaced; None for none."""
        return self.products.get(normalise_code(code)) if code else None

    def position(self, code: str) -> int:
        """Return the place of a product in the list, from 0; past the end for an unknown one."""
        return self._order.get(normalise_code(code), len(self._order))


def read_price_list(path: Path, currency_code: str = "GBP") -> PriceList:
    """Read a price list from a CSV file or an XLSX workbook.

    Parameters
    ----------
    path
        The file.
    currency_code
        ISO 4217 code of the currency its prices are in.

    Raises
    ------
    ListError
        When the file is no list, has no columns for code and price, or holds rows that can't be true; the
        message names every such row.
    """
    return price_list_from(path.name, read_rows(path), currency_code)


def price_list_from(name: str, rows: Sequence[Row], currency_code: str = "GBP") -> PriceList:
    """Understand the rows of a price list; see :func:`read_price_list`."""
    unit = currency(currency_code)
    table = understand(name, rows, HEADINGS, ("code", "price"))
    problems = RowProblems(name)
    remarks: list[str] = []
    products: dict[str, Product] = {}
    for row in table.rows:
        if _is_section(row):
            continue
        product = _product(table, row, unit, problems)
        if product is None:
            continue
        key = normalise_code(product.code)
        earlier = products.get(key)
        if earlier is None:
            products[key] = product
        elif (earlier.price, earlier.full_price) != (product.price, product.full_price):
            problems.add(
                row.number,
                f"the code {product.code} stands in row {earlier.row} too, with another price "
                f"({format_money(earlier.price, unit)} there, {format_money(product.price, unit)} here)",
            )
        else:
            remarks.append(f"row {row.number}: the code {product.code} stands in row {earlier.row} already")
    problems.raise_if_any()
    if not products:
        raise ListError(f"{name} has headings but no products under them. Check that it is the right file.")
    remarks += _check_digit_remarks(products)
    return PriceList(name, unit.code, MappingProxyType(products), remarks=tuple(remarks))


def _is_section(row: Row) -> bool:
    """Say whether a row is a heading or a footnote inside the list: one cell of words."""
    filled = [cell for cell in row.cells if cell.strip()]
    return len(filled) == 1 and (
        not any(character.isdigit() for character in filled[0]) or len(filled[0].split()) >= _SECTION_WORDS
    )


def _product(table: Table, row: Row, unit: Currency, problems: RowProblems) -> Product | None:
    code = table.cell(row, "code")
    trouble = _code_trouble(code)
    if trouble:
        problems.add(row.number, trouble)
        return None
    try:
        full_price = _price(table.cell(row, "price"), unit, "price")
        old_text = table.cell(row, "old_price")
        old_price = _price(old_text, unit, "old price") if old_text else None
        offer_price, offer = _offer(table.cell(row, "offer"), full_price, unit)
        size = _size(table.cell(row, "size"))
    except ValueError as error:
        problems.add(row.number, str(error))
        return None
    return Product(
        code=code,
        description=table.cell(row, "description") or None,
        price=full_price if offer_price is None else offer_price,
        full_price=full_price,
        old_price=old_price,
        offer=offer,
        together=_together(offer, full_price, unit) if offer else None,
        size=size,
        place=table.cell(row, "place"),
        row=row.number,
    )


def _code_trouble(code: str) -> str | None:
    """Say what is wrong with a code, or None."""
    if not normalise_code(code):
        return "there is no code" if not code else f"{code!r} is not a code"
    if re.fullmatch(r"\d(?:[.,]\d+)?E\+?\d+", code.upper()):
        return (
            f"the spreadsheet has turned the code into {code}; format the column as text and enter it again"
        )
    if re.match(r"\d{4}-\d{2}-\d{2} \d{2}:\d{2}", code):
        return "the spreadsheet has turned the code into a date; format the column as text and enter it again"
    return None


def _price(text: str, unit: Currency, what: str) -> int:
    if not text:
        raise ValueError(f"there is no {what}")
    amount = parse_amount(text, unit)
    if amount == 0:
        raise ValueError(f"the {what} is nothing")
    return amount


def _offer(text: str, full_price: int, unit: Currency) -> tuple[int | None, str | None]:
    """Read the offer column: a price (which then holds), or an offer in words, or nothing."""
    if not text or text.casefold() in ("no", "none", "-"):
        return None, None
    try:
        price = parse_amount(text, unit)
    except ValueError:
        if re.fullmatch(r"[^A-Za-z]*", text):  # figures alone were meant to be an amount
            raise
        return None, text
    if price == 0:
        raise ValueError("the offer price is nothing")
    if price > full_price:
        raise ValueError(f"the offer price {text} is more than the price {format_money(full_price, unit)}")
    return price, None


def _together(words: str, price: int, unit: Currency) -> Offer | None:
    """Understand an offer on several pieces: "3 for 10.00", "3 for 2", "buy 2 get 1 free".

    A bare whole number after "for" is a number of pieces to pay ("3 for 2") where that many pieces are fewer
    and the sum it would be as money is less than one piece costs; otherwise it is an amount.
    """
    plain = " ".join(words.casefold().split()).rstrip(".!")
    free = _SOME_FREE.fullmatch(plain)
    if free:
        paid, given = (_pieces_of(part) for part in free.groups())
        return Offer(paid + given, paid * price) if paid and given else None
    found = _SO_MANY_FOR.fullmatch(plain)
    if not found:
        return None
    pieces, rest = _pieces_of(found[1]), found[2]
    if pieces < 2:
        return None
    paid = _pieces_of(rest)
    if 0 < paid < pieces and ("price of" in plain or paid * unit.unit < price):
        return Offer(pieces, paid * price)
    try:
        amount = parse_amount(rest, unit)
    except ValueError:
        return None
    # More than the pieces cost one by one is no offer: the words mean something else.
    return Offer(pieces, amount) if 0 < amount <= pieces * price else None


def _pieces_of(text: str) -> int:
    """Read a small number in figures or in words; 0 where it is none."""
    return _NUMBER_WORDS.get(text, int(text) if text.isdecimal() and len(text) < 4 else 0)


_SIZE_WORDS = MappingProxyType({"s": 1.0, "small": 1.0, "m": 2.0, "medium": 2.0, "l": 4.0, "large": 4.0})
"""Sizes in words, in small pieces: our own rule of thumb; a list with numbers uses its own unit."""


def _size(text: str) -> float | None:
    if not text:
        return None
    word = _SIZE_WORDS.get(text.casefold())
    if word is not None:
        return word
    try:
        size = float(text.replace(",", "."))
    except ValueError:
        size = -1.0
    if not 0 < size < 1e6:
        raise ValueError(f"the size {text!r} is neither a number nor small, medium or large")
    return size


def _check_digit_remarks(products: Mapping[str, Product]) -> list[str]:
    """Name codes whose check digit fails in a list whose codes otherwise hold theirs."""
    lengths = Counter(len(code) for code in products if code.isascii() and code.isdigit())
    remarks = []
    for length in (8, 12, 13, 14):
        codes = [code for code in products if len(code) == length and code.isdigit()]
        good = sum(carries_gs1_number(code) for code in codes)
        if lengths[length] < _GS1_LEAST or good < _GS1_SHARE * len(codes):
            continue
        remarks += [
            f"row {products[code].row}: the check digit of {products[code].code} does not hold; "
            "a digit may be mistyped"
            for code in codes
            if not carries_gs1_number(code)
        ]
    return remarks


def learn_prices(report: Report, note: "DeliveryNote | None" = None) -> PriceList:
    """Learn prices from the pile: what at least two slips, and more than half of them, write for a code.

    Where the slips don't tell, a delivery note that names one price for the code does.

    Returns
    -------
    PriceList
        Marked as learned; in the order in which the codes first appear. A code on which the slips don't agree
        is left out.
    """
    written: dict[str, Counter[int]] = defaultdict(Counter)
    words: dict[str, Counter[str]] = defaultdict(Counter)
    spelt: dict[str, str] = {}
    for slip in report.slips:
        once: set[tuple[str, int]] = set()
        for line in slip.lines:
            key = normalise_code(line.code or "")
            if line.struck_out or not key:
                continue
            spelt.setdefault(key, line.code or key)
            if line.description:
                words[key][line.description] += 1
            if line.unit_price:
                once.add((key, line.unit_price))
        for key, price in once:
            written[key][price] += 1
    products: dict[str, Product] = {}
    for key, code in spelt.items():
        if not written[key]:
            continue
        price, slips = min(written[key].items(), key=lambda item: (-item[1], item[0]))
        if slips < _LEARNED_SLIPS or 2 * slips <= sum(written[key].values()):
            continue
        description = min(words[key].items(), key=lambda item: (-item[1], item[0]))[0] if words[key] else None
        products[key] = Product(code, description, price, price, row=len(products) + 1)
    for said in note.lines if note else ():
        key = normalise_code(said.code)
        told = {other.price for other in note.lines if normalise_code(other.code) == key} if note else set()
        if key and said.price and key not in products and len(told) == 1:
            products[key] = Product(
                said.code, said.description, said.price, said.price, row=len(products) + 1
            )
    return PriceList("learned from the slips", report.currency, MappingProxyType(products), learned=True)
