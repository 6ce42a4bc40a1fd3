"""The seller's own walking order: streets in turn, and how each is walked. A list that is kept.

Columns: *street*; *side* (odd, even or both); *way* (up, down, "odd up, even down", "even up, odd down", or
empty for house after house across the street); *houses* ("Rose Cottage after 12; The Forge first"). A street
may stand in two rows, one for each side, with other streets between them.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final

from rapidfuzz import fuzz

from formread.goods.table import RowProblems, read_rows, understand
from formread.round.addresses import Address, plain, street_key

HEADINGS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        column: frozenset(words.split())
        for column, words in {
            "street": "street streets road roads streetname roadname lane",
            "side": "side sides numbers houseside",
            "way": "way direction walk walked order",
            "houses": "houses housenames names named",
            "town": "town village place city",
        }.items()
    }
)
_LIKE = 88.0  # of 100: two signs of a street's name may be wrong
_SIDES = MappingProxyType(
    {"": "both", "both": "both", "all": "both", "odd": "odd", "odds": "odd", "even": "even", "evens": "even"}
)
_WAYS = MappingProxyType(
    {
        "": "across",
        "across": "across",
        "crossing": "across",
        "up": "across",
        "down": "down",
        "odd up even down": "odd first",
        "up odd down even": "odd first",
        "odd then even": "odd first",
        "odd first": "odd first",
        "up and down": "odd first",
        "up one side and down the other": "odd first",
        "even up odd down": "even first",
        "up even down odd": "even first",
        "even then odd": "even first",
        "even first": "even first",
    }
)
_NAMED = re.compile(r"(.+?)\s+(?:after\s+(\d{1,4})\s?([a-z])?|(first))", re.I)

Place = tuple[int, int, float, float, tuple[int, str]]
"""Sorts addresses: leg, side, house, the named house after it, flat."""


@dataclass(frozen=True, slots=True)
class Leg:
    """One street, or one side of it, as it is walked.

    ``houses`` holds named houses: (name reduced to plain words, number after which it stands, suffix).
    """

    street: str
    side: str = "both"
    way: str = "across"
    houses: tuple[tuple[str, int, str], ...] = ()
    town: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """Where an address stands in the walk, and what the seller should be asked about it (or None)."""

    place: Place
    question: str | None = None


@dataclass(frozen=True, slots=True)
class StreetList:
    """The walk: legs in turn."""

    name: str
    legs: tuple[Leg, ...]

    def place(self, address: Address) -> Placed:
        """Say where an address comes in the walk. An unknown street comes last, and is asked about."""
        key = street_key(address.street)
        legs = [at for at, leg in enumerate(self.legs) if street_key(leg.street) == key]
        question = None
        if not legs and key:
            like = [(fuzz.ratio(key, street_key(leg.street)), -at) for at, leg in enumerate(self.legs)]
            best = max(like, default=(0.0, 0))
            if best[0] >= _LIKE:
                taken = self.legs[-best[1]]
                legs = [at for at, leg in enumerate(self.legs) if leg.street == taken.street]
                question = f"{address.street} is not in {self.name}; it was taken for {taken.street}"
        if len(legs) > 1 and address.town:
            same = [
                at
                for at in legs
                if not self.legs[at].town or plain(self.legs[at].town) in plain(address.town)
            ]
            legs = same or legs
        if not legs:
            where = f"{address.street} is not in {self.name}" if key else "no street is known"
            return Placed(
                (len(self.legs), 0, *_in_street(address, "across")[1:], _flat(address)),
                f"{where}; it comes last. Say where it belongs",
            )
        for at in legs:
            named = _named(address, self.legs[at])
            if named is not None:
                return Placed((at, *named, _flat(address)), question)
        if address.number is None:
            return Placed(
                (legs[-1], 2, 0.0, 0.0, _flat(address)),
                f"{address.house or 'a house without a number'} has no place in {address.street}; "
                "it comes at its end. Say after which number it stands",
            )
        for at in legs:
            if self.legs[at].side in ("both", _parity(address.number)):
                return Placed((at, *_in_street(address, self.legs[at].way), _flat(address)), question)
        return Placed(
            (legs[-1], 2, *_in_street(address, "across")[1:], _flat(address)),
            f"{address.door} is on a side of {address.street} that the walk leaves out; it comes at its end",
        )


def _parity(number: int) -> str:
    return "odd" if number % 2 else "even"


def _in_street(address: Address, way: str) -> tuple[int, float, float]:
    """Order a numbered house in its street: (side, house, 0)."""
    number = address.number or 0
    house = number + (ord(address.suffix) - 96) / 100 if address.suffix else float(number)
    if way == "down":
        return 0, -house, 0.0
    if way in ("odd first", "even first"):
        first = _parity(number) == way.split(maxsplit=1)[0]
        return (0, house, 0.0) if first else (1, -house, 0.0)
    return 0, house, 0.0


def _named(address: Address, leg: Leg) -> tuple[int, float, float] | None:
    for at, (name, number, suffix) in enumerate(leg.houses, 1):
        if name == plain(address.house) and name:
            if leg.side not in ("both", _parity(number)) and number:
                continue
            if not number:
                return 0, float("-inf"), float(at)
            side, house, _ = _in_street(Address("", number=number, suffix=suffix), leg.way)
            return side, house, float(at)
    return None


def _flat(address: Address) -> tuple[int, str]:
    found = re.match(r"(\d*)(.*)", address.flat.casefold())
    return (int(found[1] or 0), found[2]) if found else (0, "")


def read_streets(path: Path) -> StreetList:
    """Read the walking order from a CSV file or an XLSX workbook.

    Raises
    ------
    ListError
        When it is no such list, or a row makes no sense.
    """
    table = understand(path.name, read_rows(path), HEADINGS, ("street",))
    problems = RowProblems(path.name)
    legs: list[Leg] = []
    for row in table.rows:
        street = table.cell(row, "street")
        side = _SIDES.get(plain(table.cell(row, "side")))
        way = _WAYS.get(plain(table.cell(row, "way")))
        if not street:
            problems.add(row.number, "there is no street")
        elif side is None:
            problems.add(row.number, f"the side {table.cell(row, 'side')!r} is not odd, even or both")
        elif way is None:
            problems.add(
                row.number,
                f"the way {table.cell(row, 'way')!r} is not known; write up, down, odd up even down, "
                "even up odd down, or leave it empty",
            )
        elif side != "both" and way in ("odd first", "even first"):
            problems.add(row.number, f"the row holds the {side} side only, but its way walks both")
        else:
            try:
                houses = _houses(table.cell(row, "houses"))
            except ValueError as error:
                problems.add(row.number, str(error))
                continue
            legs.append(Leg(street, side, way, houses, table.cell(row, "town")))
    problems.raise_if_any()
    return StreetList(path.name, tuple(legs))


def _houses(text: str) -> tuple[tuple[str, int, str], ...]:
    found = []
    for part in (part.strip() for part in re.split(r"[;\n]", text)):
        if not part:
            continue
        named = _NAMED.fullmatch(part)
        if not named:
            raise ValueError(
                f"{part!r} does not say where the house stands; write e.g. Rose Cottage after 12"
            )
        found.append((plain(named[1]), int(named[2] or 0), (named[3] or "").casefold()))
    return tuple(found)


def streets_of(addresses: Sequence[Address]) -> StreetList:
    """Propose a walk where the seller brings no list: streets as they first appear, up one side, down the other."""
    legs: dict[str, Leg] = {}
    for address in addresses:
        if address.street:
            legs.setdefault(street_key(address.street), Leg(address.street, way="odd first"))
    return StreetList("the order of the slips", tuple(legs.values()))
