"""The evening of a kept pile: its goods and its round, from the slips as they stand and what the seller brought."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any, Final, TypeVar

from formread.goods.delivery import DeliveryNote
from formread.goods.names import slip_names
from formread.goods.order import add_up
from formread.goods.plan import Goods, plan_goods
from formread.pile.kept import KeptSlip, Piles
from formread.pile.store import PileRow
from formread.round.cashing import Taking
from formread.round.coins import cash_of
from formread.round.drops import Drop, plan_round
from formread.round.evening import Evening, plan_evening
from formread.round.payments import Behaviour
from formread.web.brought import Brought

_REMEMBERED: Final = 6
T = TypeVar("T", Goods, Evening)


class Evenings:
    """Goods and rounds of piles; what was worked out is remembered until something changes."""

    def __init__(self, piles: Piles, brought: Brought) -> None:
        self.piles = piles
        self.brought = brought
        self._lock = threading.RLock()
        self._made: OrderedDict[tuple[object, ...], Any] = OrderedDict()

    def slips(self, pile: int) -> list[KeptSlip]:
        """The slips of a pile, each at the place that the report has it."""
        return self.piles.slips(pile)

    def goods(self, pile: PileRow) -> Goods:
        """The pile as goods."""
        return self._remembered("goods", pile, self._goods)

    def evening(self, pile: PileRow) -> Evening:
        """The round of a pile.

        Raises
        ------
        UsageError
            When the coins of the pile's currency are not known.
        """
        return self._remembered("evening", pile, self._evening)

    def _remembered(self, what: str, pile: PileRow, make: Callable[[PileRow], T]) -> T:
        store = self.piles.store
        with self._lock:
            now = store.pile(pile.id) or pile
            key = (what, now.id, now.revision, store.streets)
            if key not in self._made:
                self._made[key] = make(now)
                while len(self._made) > _REMEMBERED:
                    self._made.popitem(last=False)
            self._made.move_to_end(key)
            made: T = self._made[key]
            return made

    def _goods(self, pile: PileRow) -> Goods:
        said = self.piles.store.said(pile.id)
        report = self.piles.report(pile.id)
        prices = self.brought.prices(pile.id, pile.currency)
        order = add_up(report, prices)
        codes = [product.code for product in order.products if product.code]
        note = self.brought.note(pile.id, codes, pile.currency)
        if note is not None:
            note = _looked_at_by_a_person(note, said.get("lines", {}))
        names = dict(zip((kept.id for kept in self.slips(pile.id)), slip_names(report), strict=True))
        on_a_slip = {account.name for account in order.accounts}
        first = [names[at] for at in said.get("first", []) if names.get(at) in on_a_slip]
        return plan_goods(report, prices, note, first, accept_substitutes=bool(said.get("substitutes")))

    def _evening(self, pile: PileRow) -> Evening:
        said = self.piles.store.said(pile.id)
        goods = self.goods(pile)
        customers, streets = self.brought.customers(pile.id), self.brought.streets()
        shortest = bool(said.get("shortest"))
        takings = None
        if "takings" in said:
            cash = cash_of(pile.currency)
            plan = plan_round(goods.report, goods.packed, cash, customers, streets, shortest=shortest)
            takings = [
                taking
                for drop in plan.drops
                if (taking := self._taking(pile.id, drop, said["takings"])) is not None
            ]
        ways = [Behaviour(up_to, share) for up_to, share in said.get("payments", [])]
        return plan_evening(
            goods,
            customers,
            streets,
            ways or None,
            pieces_of(said.get("at_home")),
            takings,
            pieces_of(said["counted"]) if "counted" in said else None,
            said.get("float_in"),
            shortest=shortest,
        )

    def _taking(self, pile: int, drop: Drop, takings: Mapping[str, Any]) -> Taking | None:
        """What was taken at a door: takings are kept by slip, so that they stay when the order of drops changes."""
        slips = self.slips(pile)
        found = [takings[key] for place in drop.slips if (key := str(slips[place].id)) in takings]
        if not found:
            return None
        remarks = "; ".join(one[2] for one in found if one[2])
        return Taking(drop.number, sum(one[0] for one in found), sum(one[1] for one in found), remarks)


def pieces_of(said: Mapping[str, int] | None) -> Mapping[int, int]:
    """Coins and notes as they are kept: value to number of pieces."""
    return MappingProxyType({int(value): number for value, number in (said or {}).items()})


def _looked_at_by_a_person(note: DeliveryNote, lines: Mapping[str, Any]) -> DeliveryNote:
    """Put what a person read on the note in the place of what formread read there."""
    mended = []
    for line in note.lines:
        if line.where in lines:
            code, quantity = lines[line.where]
            mended.append(replace(line, code=code, quantity=quantity, doubtful=None))
        else:
            mended.append(line)
    return replace(note, lines=tuple(mended))
