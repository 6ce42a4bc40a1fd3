"""The seller's own walking order: streets in turn, and how each is walked. A list that is kept.

Columns: *street*; *side* (odd, even or both); *way* (up, down, "odd up, even down", "even up, odd down", or
empty for house after house across the street); *houses* ("Rose Cottage after 12; The Forge first"); *also*
(other spellings of the street). A street may stand in two rows, one for each side, with other streets between.

An address that the list does not place is asked about, and the answer goes into the list (:func:`answered`), so
that nobody is asked twice.
"""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final, Literal

from rapidfuzz import fuzz

from formread.goods.table import Row, RowProblems, read_rows, understand
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
            "also": "also alsowritten spellings otherspellings spelt",
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

QuestionKind = Literal["who", "street", "spelling", "house", "side", "coordinates"]


@dataclass(frozen=True, slots=True)
class Question:
    """What the seller should be asked about a door.

    Attributes
    ----------
    kind
        ``who``: nobody has said whose slip it is, or the address names no street. ``street``: the street is not in
        the walk. ``spelling``: it was taken for another spelling of `like`. ``house``: a house with a name has no
        place in its street. ``side``: the walk leaves this side of the street out. ``coordinates``: they are
        missing.
    text
        The question in words.
    like
        The street of the walk that an unknown one was taken for.
    """

    kind: QuestionKind
    text: str
    like: str = ""


@dataclass(frozen=True, slots=True)
class Leg:
    """One street, or one side of it, as it is walked.

    ``houses`` holds named houses: (name, number after which it stands, suffix); 0 for the first in the street.
    ``also`` holds other spellings of the street.
    """

    street: str
    side: str = "both"
    way: str = "across"
    houses: tuple[tuple[str, int, str], ...] = ()
    town: str = ""
    also: tuple[str, ...] = ()

    def called(self, key: str) -> bool:
        """Whether a street's name, reduced by :func:`street_key`, is one of this leg's."""
        return key in {street_key(name) for name in (self.street, *self.also)}


@dataclass(frozen=True, slots=True)
class Placed:
    """Where an address stands in the walk, and what the seller should be asked about it (or None)."""

    place: Place
    question: Question | None = None


@dataclass(frozen=True, slots=True)
class StreetList:
    """The walk: legs in turn."""

    name: str
    legs: tuple[Leg, ...]

    def place(self, address: Address) -> Placed:
        """Say where an address comes in the walk. An unknown street comes last, and is asked about."""
        key = street_key(address.street)
        legs = [at for at, leg in enumerate(self.legs) if key and leg.called(key)]
        question = None
        if not legs and key:
            like = [(fuzz.ratio(key, street_key(leg.street)), -at) for at, leg in enumerate(self.legs)]
            best = max(like, default=(0.0, 0))
            if best[0] >= _LIKE:
                taken = self.legs[-best[1]]
                legs = [at for at, leg in enumerate(self.legs) if leg.street == taken.street]
                question = Question(
                    "spelling",
                    f"{address.street} is not in {self.name}; it was taken for {taken.street}",
                    taken.street,
                )
        if len(legs) > 1 and address.town:
            same = [
                at
                for at in legs
                if not self.legs[at].town or plain(self.legs[at].town) in plain(address.town)
            ]
            legs = same or legs
        if not legs:
            said = (
                Question(
                    "street", f"{address.street} is not in {self.name}; it comes last. Say where it belongs"
                )
                if key
                else Question("who", "no street is known; it comes last. Say where it belongs")
            )
            return Placed((len(self.legs), 0, *_in_street(address, "across")[1:], _flat(address)), said)
        for at in legs:
            named = _named(address, self.legs[at])
            if named is not None:
                return Placed((at, *named, _flat(address)), question)
        if address.number is None:
            return Placed(
                (legs[-1], 2, 0.0, 0.0, _flat(address)),
                Question(
                    "house" if address.house else "who",
                    f"{address.house or 'a house without a number'} has no place in {address.street}; "
                    "it comes at its end. Say after which number it stands",
                ),
            )
        for at in legs:
            if self.legs[at].side in ("both", _parity(address.number)):
                return Placed((at, *_in_street(address, self.legs[at].way), _flat(address)), question)
        return Placed(
            (legs[-1], 2, *_in_street(address, "across")[1:], _flat(address)),
            Question(
                "side",
                f"{address.door} is on a side of {address.street} that the walk leaves out; it comes at its end",
            ),
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
        if plain(name) == plain(address.house) and plain(name):
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
    return streets_from(path.name, read_rows(path))


def streets_from(name: str, rows: Sequence[Row]) -> StreetList:
    """Understand the rows of a walking order; see :func:`read_streets`."""
    table = understand(name, rows, HEADINGS, ("street",))
    problems = RowProblems(name)
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
            also = tuple(part.strip() for part in table.cell(row, "also").split(";") if part.strip())
            legs.append(Leg(street, side, way, houses, table.cell(row, "town"), also))
    problems.raise_if_any()
    return StreetList(name, tuple(legs))


_WRITTEN = MappingProxyType(
    {"across": "", "down": "down", "odd first": "odd up even down", "even first": "even up odd down"}
)


def streets_csv(streets: StreetList) -> str:
    """Write a walking order as the CSV text that :func:`read_streets` reads."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(("Street", "Side", "Way", "Houses", "Town", "Also written"))
    for leg in streets.legs:
        houses = "; ".join(
            f"{name} after {number}{suffix}" if number else f"{name} first"
            for name, number, suffix in leg.houses
        )
        side = "" if leg.side == "both" else leg.side
        rows.writerow((leg.street, side, _WRITTEN[leg.way], houses, leg.town, "; ".join(leg.also)))
    return text.getvalue()


def answered(streets: StreetList, address: Address, question: Question, answer: str) -> StreetList:
    """Put the seller's answer to a question into the walking order.

    Parameters
    ----------
    address, question
        The door, and what :meth:`StreetList.place` asks about it.
    answer
        For a house with a name: the number after which it stands, or "first". For a spelling: "yes". Else the
        street of the walk after which this one comes, or "first".

    Raises
    ------
    ValueError
        With a sentence part that says what is wrong with the answer.
    """
    said = answer.strip().rstrip(".")
    key = street_key(address.street)
    if question.kind == "house":
        found = re.fullmatch(r"(?:after\s+)?(\d{1,4})\s?([a-z])?", said, re.I)
        if not found and plain(said) != "first":
            raise ValueError(f"{answer!r} is no house number; write e.g. 12, or first")
        house = (
            (address.house, int(found[1]), (found[2] or "").casefold()) if found else (address.house, 0, "")
        )
        fitting = [at for at, leg in enumerate(streets.legs) if leg.called(key) and _holds(leg, house[1])]
        if not fitting:
            raise ValueError(f"the walk leaves that side of {address.street} out")
        leg = streets.legs[fitting[0]]
        return _with(streets, fitting[0], replace(leg, houses=(*leg.houses, house)))
    if question.kind == "spelling" and plain(said) in {"y", "yes", plain(question.like)}:
        legs = tuple(
            replace(leg, also=(*leg.also, address.street)) if leg.street == question.like else leg
            for leg in streets.legs
        )
        return replace(streets, legs=legs)
    side = _parity(address.number) if question.kind == "side" and address.number is not None else "both"
    new = Leg(address.street, side, "across" if side != "both" else "odd first")
    if plain(said) == "first":
        return replace(streets, legs=(new, *streets.legs))
    after = street_key(re.sub(r"^after\s+", "", said, flags=re.I))
    places = [at for at, leg in enumerate(streets.legs) if leg.called(after)]
    if not places:
        raise ValueError(f"{said!r} is no street of the walk; write the one after which it comes, or first")
    return replace(streets, legs=(*streets.legs[: places[-1] + 1], new, *streets.legs[places[-1] + 1 :]))


def _holds(leg: Leg, number: int) -> bool:
    return not number or leg.side in ("both", _parity(number))


def _with(streets: StreetList, at: int, leg: Leg) -> StreetList:
    return replace(streets, legs=(*streets.legs[:at], leg, *streets.legs[at + 1 :]))


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
        found.append((named[1].strip(), int(named[2] or 0), (named[3] or "").casefold()))
    return tuple(found)


def streets_of(addresses: Sequence[Address]) -> StreetList:
    """Propose a walk where the seller brings no list: streets as they first appear, up one side, down the other."""
    legs: dict[str, Leg] = {}
    for address in addresses:
        if address.street:
            legs.setdefault(street_key(address.street), Leg(address.street, way="odd first"))
    return StreetList("the order of the slips", tuple(legs.values()))
