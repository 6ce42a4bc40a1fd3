"""Into which bag each slip's goods go, and what to tell the customer."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from formread.goods.delivery import Bill, Packed, Ticked
from formread.goods.price_list import PriceList
from formread.money import Currency, format_money


@dataclass(frozen=True, slots=True)
class Bag:
    """One kind of bag: its name and how much it holds, in the sizes of the price list."""

    name: str
    holds: float


BAGS: Final = (Bag("small bag", 4.0), Bag("medium bag", 10.0), Bag("large bag", 24.0))
"""Small pieces that go into a bag, by the sizes of ``price_list``: our own rule of thumb, no source."""


@dataclass(frozen=True, slots=True)
class PackedBag:
    """What one slip gets.

    Attributes
    ----------
    bill
        Its lines in the order in which they lie in the boxes.
    room
        What its pieces take together, where the price list gives the size of every one of them; else None.
    bag
        The kind of bag, or None where the room is not known or nothing is packed.
    bags
        How many of them; 1 where the room is not known, 0 where nothing is packed.
    unread
        Rows whose goods are named on the slip alone: pack them by the slip itself.
    """

    bill: Bill
    room: float | None
    bag: Bag | None
    bags: int
    unread: tuple[int, ...] = ()


def pack(
    bills: Sequence[Bill],
    price_list: PriceList | None = None,
    kinds: Sequence[Bag] = BAGS,
    unread: Callable[[int], tuple[int, ...]] = lambda _: (),
) -> tuple[PackedBag, ...]:
    """Choose a bag for each bill: the smallest that holds all, or several of the largest.

    Parameters
    ----------
    unread
        Gives the rows of a slip whose goods are named on the slip alone (:meth:`Order.unclear_rows`).
    """
    ordered = sorted(kinds, key=lambda bag: bag.holds)
    return tuple(_pack(bill, price_list, ordered, unread(bill.slip)) for bill in bills)


def _pack(
    bill: Bill, price_list: PriceList | None, kinds: Sequence[Bag], unread: tuple[int, ...]
) -> PackedBag:
    packed = [line for line in bill.lines if line.packed]
    if unread:
        return PackedBag(bill, None, None, 1, unread)
    if not packed:
        return PackedBag(bill, None, None, 0)
    sizes = [_size(line, price_list) for line in packed]
    if any(size is None for size in sizes):
        return PackedBag(bill, None, None, 1)
    room = sum(size for size in sizes if size is not None)
    for bag in kinds:
        if room <= bag.holds:
            return PackedBag(bill, room, bag, 1)
    return PackedBag(bill, room, kinds[-1], -int(-room // kinds[-1].holds))


def _size(line: Packed, price_list: PriceList | None) -> float | None:
    product = price_list.find(line.code) if price_list else None
    return None if product is None or product.size is None else product.size * line.packed


@dataclass(frozen=True, slots=True)
class Note:
    """What a customer is told: why the amount is not the slip's total. ``lines`` are sentences."""

    slip: int
    name: str
    lines: tuple[str, ...]


def notes_to_customers(
    bills: Sequence[Bill], ticked: Sequence[Ticked], written: dict[int, int | None], unit: Currency
) -> tuple[Note, ...]:
    """Write a note for every customer who gets less than was ordered, or whose own total was another.

    Parameters
    ----------
    bills
        What each slip gets and owes.
    ticked
        The delivery check; it names what came instead.
    written
        Each slip's own total by its place in the report, None where there is none.
    """
    instead = {one.instead_of: one for one in ticked if one.instead_of}
    notes = []
    for bill in bills:
        lines = []
        total, own = bill.account.total, written.get(bill.slip)
        if own is not None and own != total:
            lines.append(
                f"Your total was {format_money(own, unit)}; your order comes to {format_money(total, unit)}."
            )
        for line in bill.lines:
            if not line.short:
                continue
            what = line.description or line.code or "one thing"
            code = f" ({line.code})" if line.code and line.description else ""
            lines.append(
                f"{what}{code}: {line.short} of {line.quantity} still to come; "
                f"{format_money(line.short_amount, unit)} to pay then."
            )
            other = instead.get(line.product)
            if other is not None:
                lines.append(
                    f"Instead of it the supplier sent {other.description or other.code}; ask me if you would like it."
                )
        if bill.waits:
            lines.append("Nothing of this order has come yet: there is nothing to pay now.")
        elif lines:
            lines.append(f"To pay now: {format_money(bill.due, unit)}.")
        if lines:
            notes.append(Note(bill.slip, bill.name, tuple(lines)))
    return tuple(notes)
