"""What came, ticked off against what was ordered; what is short, shared out; what each slip then owes."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from formread.codes import normalise_code
from formread.errors import UsageError
from formread.goods.order import Account, Order, ProductTotal, Wanted
from formread.goods.price_list import PriceList
from formread.goods.written import (
    SAME_WORDS,
    likeness,
    neighbours_swapped,
    one_digit_off,
    round_half_up,
)


@dataclass(frozen=True, slots=True)
class DeliveredLine:
    """One line of a delivery note.

    Attributes
    ----------
    code
        As printed, zeros kept; ``""`` where the line has none.
    quantity
        Pieces delivered; 0 for a line that only announces something.
    box
        The number of the box it lies in, as printed, or ``""``.
    instead_of
        The code that this line replaces, where the note says so, else None.
    where
        Where to look: "note.csv, row 7" or "note.jpg, page 1, line 7".
    doubtful
        Why a person should look at this line, or None; only what was read from a picture is ever doubtful.
    price
        Minor units for one piece, where the note says so.
    came_as
        What an accepted substitute is in truth, else None.
    """

    code: str
    description: str | None
    quantity: int
    box: str = ""
    instead_of: str | None = None
    where: str = ""
    doubtful: str | None = None
    price: int | None = None
    came_as: str | None = None


@dataclass(frozen=True, slots=True)
class DeliveryNote:
    """What came, in the order in which the notes list it."""

    name: str
    lines: tuple[DeliveredLine, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Ticked:
    """One product ticked off.

    ``short = max(ordered - delivered, 0)`` and ``over = max(delivered - ordered, 0)``; a product with nothing
    ordered is *not ordered*. ``boxes`` are the boxes it lies in, ``instead_of`` the key of the product that
    it replaces by the note's own word, and ``perhaps`` a question where the code looks like a misreading or
    the words like a substitute. ``came_as`` names accepted substitutes among what was delivered.
    """

    key: str
    code: str | None
    description: str | None
    ordered: int
    delivered: int
    boxes: tuple[str, ...] = ()
    instead_of: str | None = None
    perhaps: str | None = None
    doubtful: tuple[str, ...] = ()
    came_as: tuple[str, ...] = ()

    @property
    def short(self) -> int:
        """Pieces ordered but not delivered."""
        return max(self.ordered - self.delivered, 0)

    @property
    def over(self) -> int:
        """Pieces delivered but not ordered."""
        return max(self.delivered - self.ordered, 0)


@dataclass(frozen=True, slots=True)
class Packed:
    """One line of a slip as it goes into the bag.

    ``quantity == packed + short`` and ``amount == packed_amount + short_amount`` always.
    """

    slip: int
    row: int
    product: str
    code: str | None
    description: str | None
    quantity: int
    packed: int
    amount: int
    packed_amount: int

    @property
    def short(self) -> int:
        """Pieces still to come."""
        return self.quantity - self.packed

    @property
    def short_amount(self) -> int:
        """Minor units not due yet, because the pieces are still to come."""
        return self.amount - self.packed_amount


@dataclass(frozen=True, slots=True)
class Bill:
    """What one slip owes when its goods are handed over: ``due == total - short_amount``, in minor units.

    A slip of which nothing came is not visited for its delivery charge alone: its whole total waits.
    """

    account: Account
    lines: tuple[Packed, ...]

    @property
    def slip(self) -> int:
        """Place of the slip in the report, from 0."""
        return self.account.slip

    @property
    def name(self) -> str:
        """What the slip is called."""
        return self.account.name

    @property
    def waits(self) -> bool:
        """Whether goods were ordered and nothing of them came."""
        return any(line.short for line in self.lines) and not any(line.packed for line in self.lines)

    @property
    def short_amount(self) -> int:
        """Minor units still to come: the goods', and the charges' too where everything waits."""
        return self.account.total if self.waits else sum(line.short_amount for line in self.lines)

    @property
    def due(self) -> int:
        """Minor units to collect at the door; negative: to give back."""
        return self.account.total - self.short_amount


def everything_came(order: Order) -> DeliveryNote:
    """Return the delivery note of a delivery without a fault: each product as ordered."""
    return DeliveryNote(
        "as ordered",
        tuple(
            DeliveredLine(product.key, product.description, product.quantity, where="as ordered")
            for product in order.products
        ),
    )


def delivered_key(line: DeliveredLine, products: Mapping[str, ProductTotal]) -> str:
    """Return the key under which a delivered line meets the order: its code, else its words."""
    code = normalise_code(line.code)
    if code and (code in products or line.code not in products):
        return code
    if line.code in products:  # a product without a code goes by its words
        return line.code
    words = " ".join((line.description or "").casefold().split())
    if f"words: {words}" in products:  # ordered by the same words, perhaps beside a product with a code
        return f"words: {words}"
    best = max(products.values(), key=lambda product: likeness(words, product.description), default=None)
    if best is not None and likeness(words, best.description) >= SAME_WORDS:
        return best.key
    return f"words: {words}"


def tick_off(order: Order, note: DeliveryNote) -> tuple[Ticked, ...]:
    """Tick a delivery note off against the order.

    Returns
    -------
    tuple of Ticked
        Every product ordered, in the order's order, then what was not ordered in the note's. Parts of one
        product in several boxes or on several pages are added together.
    """
    ordered = {product.key: product for product in order.products}
    quantity: dict[str, int] = defaultdict(int)
    lines: dict[str, list[DeliveredLine]] = defaultdict(list)
    for line in note.lines:
        key = delivered_key(line, ordered)
        quantity[key] += line.quantity
        lines[key].append(line)
    ticked = [
        _ticked(product.key, product, quantity[product.key], lines[product.key]) for product in order.products
    ]
    short = [one for one in ticked if one.short]
    for key, found in lines.items():
        if key not in ordered and quantity[key]:
            extra = _ticked(key, None, quantity[key], found)
            ticked.append(extra if extra.instead_of else _with_question(extra, short))
    return tuple(ticked)


def _ticked(key: str, product: ProductTotal | None, delivered: int, lines: Sequence[DeliveredLine]) -> Ticked:
    boxes = dict.fromkeys(line.box for line in lines if line.box)
    replaced = [line.instead_of for line in lines if line.instead_of]
    first = lines[0] if lines else None
    return Ticked(
        key=key,
        code=product.code if product else (first.code or None if first else None),
        description=product.description if product else (first.description if first else None),
        ordered=product.quantity if product else 0,
        delivered=delivered,
        boxes=tuple(boxes),
        instead_of=normalise_code(replaced[0]) if replaced and not product else None,
        doubtful=tuple(f"{line.where}: {line.doubtful}" for line in lines if line.doubtful),
        came_as=tuple(dict.fromkeys(line.came_as for line in lines if line.came_as)),
    )


def _with_question(extra: Ticked, short: Sequence[Ticked]) -> Ticked:
    """Ask about a product that nobody ordered when it may stand for one that is short."""
    question = None
    for one in short:
        alike = one_digit_off(extra.key, one.key) or neighbours_swapped(extra.key, one.key)
        if alike and extra.delivered <= one.short:
            question = (
                f"the code looks like {one.code}, of which {one.short} are short: is it the same thing?"
            )
            break
        if extra.description and likeness(extra.description, one.description) >= SAME_WORDS:
            question = (
                f"the words are like those of {one.code or one.description}, which is short: a substitute?"
            )
            break
    return replace(extra, perhaps=question)


def slips_first(order: Order, first: Sequence[str] = ()) -> tuple[int, ...]:
    """Return the slips in the order in which they are served when something is short.

    The rule: slips in the order of the pile, each served in full as long as there is anything left; the slips
    named in `first` are served before all others, in the order named.

    Raises
    ------
    UsageError
        When a name is no slip of the pile.
    """
    by_name = {account.name: account.slip for account in order.accounts}
    chosen = []
    for name in first:
        if name not in by_name:
            raise UsageError(f"There is no slip {name!r} in this pile. The slips are: {', '.join(by_name)}.")
        chosen.append(by_name[name])
    return tuple(dict.fromkeys([*chosen, *by_name.values()]))


def share_out(
    order: Order, ticked: Sequence[Ticked], sequence: Sequence[int], price_list: PriceList | None = None
) -> tuple[Bill, ...]:
    """Share what came out among the slips, and bill each slip for what it gets.

    Parameters
    ----------
    order, ticked
        What was wanted and what came.
    sequence
        Places of the slips in the order in which they are served (:func:`slips_first`).
    price_list
        Gives the lines their place in the boxes.

    Returns
    -------
    tuple of Bill
        One per account, in the order's order. A line that gets k of q pieces owes k/q of its amount, rounded
        half up; charges and discounts stand as they are on the slip.
    """
    left = {one.key: min(one.delivered, one.ordered) for one in ticked}
    products = {product.key: product for product in order.products}
    rank = {slip: place for place, slip in enumerate(sequence)}
    packed: dict[int, list[Packed]] = defaultdict(list)
    for one in sorted(order.wanted, key=lambda one: (rank[one.slip], one.row)):
        pieces = min(one.quantity, left.get(one.product, 0))
        left[one.product] = left.get(one.product, 0) - pieces
        packed[one.slip].append(_packed(one, pieces, products[one.product]))
    bills = []
    for account in order.accounts:
        lines = packed[account.slip]
        if price_list:
            lines.sort(key=lambda line: (price_list.position(line.product), line.row))
        bills.append(Bill(account, tuple(lines)))
    return tuple(bills)


def _packed(one: Wanted, pieces: int, product: ProductTotal) -> Packed:
    return Packed(
        slip=one.slip,
        row=one.row,
        product=one.product,
        code=product.code,
        description=product.description,
        quantity=one.quantity,
        packed=pieces,
        amount=one.amount,
        packed_amount=round_half_up(one.amount * pieces, one.quantity),
    )
