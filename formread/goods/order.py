"""The pile added up by product: what to order from the supplier, and which slips stand behind each figure."""

from collections import defaultdict
from dataclasses import dataclass

from formread.codes import normalise_code
from formread.goods.names import slip_names
from formread.goods.price_list import PriceList
from formread.goods.written import SAME_WORDS, likeness
from formread.slips import Line, Report, Slip


@dataclass(frozen=True, slots=True)
class Wanted:
    """One counted line of a slip, as an order for goods.

    Attributes
    ----------
    slip
        Place of the slip in the report, from 0.
    row
        Row of the printed table, from 1.
    product
        The key under which products are added up: the normalised code, or the words where there is no code.
    quantity
        Pieces, at least 1. A blank quantity counts as one, as for the judge.
    amount
        Minor units that the line comes to.
    """

    slip: int
    row: int
    product: str
    quantity: int
    amount: int


@dataclass(frozen=True, slots=True)
class ProductTotal:
    """One product added up over the pile. ``behind`` holds the lines that make the figure, in slip order."""

    key: str
    code: str | None
    description: str | None
    quantity: int
    amount: int
    behind: tuple[Wanted, ...]


@dataclass(frozen=True, slots=True)
class Account:
    """What one slip comes to.

    ``goods`` is the sum of its lines that can be ordered, ``charges`` what is added (negative: taken off),
    ``other`` whatever else stands between them and the right total (0 on nearly every slip), so that
    ``goods + charges + other == total`` always.
    """

    slip: int
    name: str
    goods: int
    charges: int
    other: int
    total: int
    unsure: bool


@dataclass(frozen=True, slots=True)
class Unclear:
    """A line that can't be ordered as it stands, and why."""

    slip: int
    row: int
    message: str


@dataclass(frozen=True, slots=True)
class Order:
    """The pile as an order.

    Attributes
    ----------
    products
        In the order of the price list, unknown ones after it by code.
    accounts
        One per slip with something on it, in the order of the report; blank slips are left out.
    unclear
        Lines with neither code nor words, or with none of a product: not ordered, shown to the seller.
    repeated
        Names of slips that look like a second photo of an earlier one: (the later one, the earlier one).
    """

    currency: str
    names: tuple[str, ...]
    products: tuple[ProductTotal, ...]
    accounts: tuple[Account, ...]
    unclear: tuple[Unclear, ...]
    repeated: tuple[tuple[str, str], ...]

    @property
    def wanted(self) -> tuple[Wanted, ...]:
        """Every line that is ordered, by slip and row."""
        return tuple(
            sorted(
                (one for product in self.products for one in product.behind),
                key=lambda one: (one.slip, one.row),
            )
        )

    def unclear_rows(self, slip: int) -> tuple[int, ...]:
        """Rows of a slip that name no product: what they are is on the slip alone."""
        return tuple(one.row for one in self.unclear if one.slip == slip)


def line_amount(slip: Slip, line: Line) -> int:
    """Return the minor units that a counted line comes to: what the judge says, else quantity times price."""
    for row, total in slip.right_line_totals:
        if row == line.row:
            return total
    if line.unit_price is None:
        return line.line_total or 0
    return line.unit_price * (1 if line.quantity is None else line.quantity)


def product_key(line: Line, price_list: PriceList | None = None) -> str | None:
    """Return the key under which a line's product is added up, or None for a line that names nothing.

    The code counts. Without one the words do: where exactly one product of the price list has these words and
    no other price than the line, they stand for its code.
    """
    code = normalise_code(line.code or "")
    if code:
        return code
    words = " ".join((line.description or "").casefold().split())
    if not words:
        return None
    fitting = [
        key
        for key, product in (price_list.products if price_list else {}).items()
        if likeness(words, product.description) >= SAME_WORDS and line.unit_price in (None, product.price)
    ]
    return fitting[0] if len(fitting) == 1 else f"words: {words}"


def add_up(report: Report, price_list: PriceList | None = None) -> Order:
    """Add the pile up by product.

    Parameters
    ----------
    report
        The slips.
    price_list
        Gives products their proper code and description, and the order in which they are listed.

    Returns
    -------
    Order
        Every counted line is in ``products`` or in ``unclear``, none in both.
    """
    behind: dict[str, list[Wanted]] = defaultdict(list)
    spelt: dict[str, Line] = {}
    words: dict[str, str] = {}
    accounts: list[Account] = []
    unclear: list[Unclear] = []
    names = slip_names(report)
    for place, slip in enumerate(report.slips):
        counted = [line for line in slip.lines if not line.struck_out]
        goods = 0
        for line in counted:
            amount = line_amount(slip, line)
            key = product_key(line, price_list)
            quantity = 1 if line.quantity is None else line.quantity
            if key is None or quantity < 1:
                trouble = "names no product" if key is None else "orders none of it"
                unclear.append(Unclear(place, line.row, f"slip {names[place]}, row {line.row}: {trouble}"))
                continue
            goods += amount
            spelt.setdefault(key, line)
            if line.description:
                words.setdefault(key, line.description)
            behind[key].append(Wanted(place, line.row, key, quantity, amount))
        if counted or slip.charges or slip.computed_total or slip.written_total:
            charges = sum(charge.amount for charge in slip.charges)
            accounts.append(
                Account(
                    slip=place,
                    name=names[place],
                    goods=goods,
                    charges=charges,
                    other=slip.computed_total - goods - charges,
                    total=slip.computed_total,
                    unsure=slip.verdict == "unsure",
                )
            )
    products = []
    for key, lines in behind.items():
        listed = price_list.products.get(key) if price_list else None
        products.append(
            ProductTotal(
                key=key,
                code=listed.code if listed else spelt[key].code,
                description=(listed.description if listed else None) or words.get(key),
                quantity=sum(one.quantity for one in lines),
                amount=sum(one.amount for one in lines),
                behind=tuple(lines),
            )
        )
    place_in_list = price_list.position if price_list else (lambda _code: 0)
    products.sort(key=lambda product: (place_in_list(product.key), product.key))
    return Order(
        report.currency, names, tuple(products), tuple(accounts), tuple(unclear), _repeated(report, names)
    )


def _repeated(report: Report, names: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Name slips that say the same as an earlier one: the same number and lines, or three equal lines.

    Two customers may well order the same two things; three equal lines with all their amounts are one slip
    photographed twice far more often.
    """
    seen: dict[object, str] = {}
    pairs = []
    for slip, name in zip(report.slips, names, strict=True):
        written = tuple((line.code, line.quantity, line.unit_price, line.line_total) for line in slip.lines)
        if not written or (slip.slip_number is None and len(written) < 3):
            continue
        same = (slip.slip_number, slip.customer, written)
        if same in seen:
            pairs.append((name, seen[same]))
        seen.setdefault(same, name)
    return tuple(pairs)
