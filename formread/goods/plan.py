"""Everything the pile means in goods, in one record: for the command line and the desk alike."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from formread.goods.delivery import (
    Bill,
    DeliveredLine,
    DeliveryNote,
    Ticked,
    everything_came,
    share_out,
    slips_first,
    tick_off,
)
from formread.goods.findings import Finding, check_prices
from formread.goods.order import Order, add_up
from formread.goods.packing import BAGS, Bag, Note, PackedBag, notes_to_customers, pack
from formread.goods.price_list import PriceList, learn_prices
from formread.money import currency
from formread.slips import Report


@dataclass(frozen=True, slots=True)
class Goods:
    """The pile as goods.

    Attributes
    ----------
    report
        The slips.
    price_list
        The seller's, or None.
    findings
        What the price list (or, without one, the prices learned from the pile) has against the slips.
    note
        What came; without a delivery note everything is taken to have come, and ``note_given`` is False.
    ticked, bills, packed, notes
        The delivery check, what each slip gets and owes, its bags, and what its customer is told.
    sequence
        Places of the slips in the order in which they were served.
    """

    report: Report
    price_list: PriceList | None
    findings: tuple[Finding, ...]
    order: Order
    note: DeliveryNote
    note_given: bool
    ticked: tuple[Ticked, ...]
    sequence: tuple[int, ...]
    bills: tuple[Bill, ...]
    packed: tuple[PackedBag, ...]
    notes: tuple[Note, ...]


def plan_goods(
    report: Report,
    price_list: PriceList | None = None,
    note: DeliveryNote | None = None,
    first: Sequence[str] = (),
    *,
    accept_substitutes: bool = False,
    bags: Sequence[Bag] = BAGS,
) -> Goods:
    """Add the pile up, tick the delivery off, share out what is short, pack and bill.

    Parameters
    ----------
    first
        Names of slips that are served before all others when something is short.
    accept_substitutes
        Give what the note names as a substitute to those who ordered what it replaces, at the price on their
        slips. Otherwise substitutes are shown, and nobody gets or pays them.
    bags
        The kinds of bags there are.

    Raises
    ------
    UsageError
        When `first` names no slip of the pile.
    """
    order = add_up(report, price_list)
    came = note if note is not None else everything_came(order)
    if accept_substitutes:
        came = replace(came, lines=tuple(map(_accepted, came.lines)))
    ticked = tick_off(order, came)
    sequence = slips_first(order, first)
    bills = share_out(order, ticked, sequence, price_list)
    written = {place: slip.written_total for place, slip in enumerate(report.slips)}
    return Goods(
        report=report,
        price_list=price_list,
        findings=check_prices(report, price_list or learn_prices(report, came)),
        order=order,
        note=came,
        note_given=note is not None,
        ticked=ticked,
        sequence=sequence,
        bills=bills,
        packed=pack(bills, price_list, bags, order.unclear_rows),
        notes=notes_to_customers(bills, ticked, written, currency(report.currency)),
    )


def _accepted(line: DeliveredLine) -> DeliveredLine:
    if not line.instead_of:
        return line
    return replace(line, code=line.instead_of, instead_of=None, came_as=line.description or line.code)
