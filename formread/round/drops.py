"""The round: drops in walking order, what each owes, which note is likely handed over and what it takes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from formread.goods.packing import PackedBag
from formread.round.addresses import Address
from formread.round.coins import Cash
from formread.round.customers import Customers
from formread.round.streets import Question, StreetList, streets_of
from formread.round.walk import distances, length_of, shortest_round
from formread.slips import Report


@dataclass(frozen=True, slots=True)
class Drop:
    """One door.

    Attributes
    ----------
    number
        Place in the round, from 1.
    slips
        Places of its slips in the report: several slips of one door are one drop.
    names
        What those slips are called.
    address
        None where nobody has said whose slip it is.
    due
        Minor units to collect; negative: to give back.
    handed, change
        The next note (or notes) up, and the change that it takes; 0 where nothing is due.
    bags
        Bags to hand over.
    question
        What the seller should be asked about this door, or None.
    """

    number: int
    slips: tuple[int, ...]
    names: tuple[str, ...]
    address: Address | None
    due: int
    handed: int
    change: int
    bags: int
    question: Question | None = None

    @property
    def who(self) -> str:
        """The customer's name, or the slip's where there is none."""
        return (self.address.name if self.address else "") or f"slip {', '.join(self.names)}"

    @property
    def where(self) -> str:
        """The address on one line, or ""."""
        return self.address.door if self.address else ""


@dataclass(frozen=True, slots=True)
class Walk:
    """A proposed shortest walk: its length and that of the seller's own order, in metres as the crow flies."""

    length: int
    own_length: int


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """Drops in order. ``walk`` is there when the order was proposed from coordinates."""

    drops: tuple[Drop, ...]
    walk: Walk | None = None

    @property
    def dues(self) -> tuple[int, ...]:
        """Minor units due at each door, in round order."""
        return tuple(drop.due for drop in self.drops)


def next_note(due: int, cash: Cash) -> int:
    """Return what a customer without coins hands over: big notes, and the next single note for the rest."""
    if due <= 0:
        return 0
    full, rest = divmod(due, cash.big_note)
    if not rest:
        return due
    notes = [value for value in cash.round_sums if value in cash.notes and value <= cash.big_note]
    return full * cash.big_note + min(
        (value for value in (*notes, cash.big_note) if value >= rest), default=cash.big_note
    )


def plan_round(
    report: Report,
    packed: Sequence[PackedBag],
    cash: Cash,
    customers: Customers,
    streets: StreetList | None = None,
    *,
    shortest: bool = False,
) -> RoundPlan:
    """Put the drops in walking order.

    Parameters
    ----------
    report, packed
        The slips, and what each gets and owes.
    cash
        The currency's coins and notes.
    customers
        Who lives where.
    streets
        The seller's walking order; None walks the streets as they first appear.
    shortest
        Propose the shortest walk from the coordinates in `customers` instead; doors without coordinates
        come after the others.
    """
    doors = _doors(report, packed, cash, customers)
    walk_order = streets or streets_of([door.address for door in doors if door.address])
    placed = []
    for at, door in enumerate(doors):
        if door.address is None:
            question = Question("who", f"whose is slip {', '.join(door.names)}? It comes last")
            placed.append(
                ((len(walk_order.legs) + 1, 0, 0.0, 0.0, (0, "")), at, replace(door, question=question))
            )
            continue
        found = walk_order.place(door.address)
        placed.append((found.place, at, replace(door, question=found.question)))
    ordered = [door for *_, door in sorted(placed, key=lambda entry: entry[:2])]
    walk = None
    if shortest:
        ordered, walk = _proposed(ordered, customers.coordinates)
    return RoundPlan(tuple(replace(door, number=at) for at, door in enumerate(ordered, 1)), walk)


def _doors(report: Report, packed: Sequence[PackedBag], cash: Cash, customers: Customers) -> list[Drop]:
    doors: dict[object, list[tuple[PackedBag, Address | None]]] = {}
    for bag in packed:
        slip = report.slips[bag.bill.slip]
        address = customers.address_of(slip, bag.bill.name)
        alone: object = ("slip", bag.bill.slip)
        # Two names behind one door without a flat are two customers: each gets a drop.
        key = (address.key, address.name.casefold()) if address and address.street else alone
        doors.setdefault(key, []).append((bag, address))
    drops = []
    for members in doors.values():
        due = cash.payable(sum(bag.bill.due for bag, _ in members))
        handed = next_note(due, cash)
        drops.append(
            Drop(
                number=0,
                slips=tuple(bag.bill.slip for bag, _ in members),
                names=tuple(bag.bill.name for bag, _ in members),
                address=members[0][1],
                due=due,
                handed=handed,
                change=handed - due if due > 0 else -due,
                bags=sum(bag.bags for bag, _ in members),
            )
        )
    return drops


def _proposed(
    doors: list[Drop], coordinates: Mapping[tuple[str, str, str, str, str], tuple[float, float]]
) -> tuple[list[Drop], Walk | None]:
    """Order the doors whose coordinates are known by the shortest walk from the first of them and back."""
    known = [door for door in doors if door.address and door.address.key in coordinates]
    others = [door for door in doors if door not in known]
    if len(known) < 2:
        return doors, None
    places = [coordinates[door.address.key] for door in known if door.address]
    matrix = distances(places)
    order, length = shortest_round(matrix)
    own = length_of(range(1, len(known)), matrix)
    missing = Question("coordinates", "its coordinates are not known; it comes after the others")
    asked = [replace(door, question=door.question or missing) for door in others]
    return [known[0], *(known[at] for at in order), *asked], Walk(length, own)
