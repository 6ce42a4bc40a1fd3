"""Addresses as customers write them: flat, house number or name, street, town. Pure text.

What a part means is told by its form and its place, as people write addresses in lines or between commas:
common practice, no source.
"""

import re
from dataclasses import dataclass
from types import MappingProxyType

_SHORT_WORDS = MappingProxyType(
    {
        "st": "street",
        "str": "street",
        "rd": "road",
        "ln": "lane",
        "la": "lane",
        "ave": "avenue",
        "av": "avenue",
        "ter": "terrace",
        "terr": "terrace",
        "tce": "terrace",
        "cl": "close",
        "ct": "court",
        "cres": "crescent",
        "dr": "drive",
        "gdns": "gardens",
        "gro": "grove",
        "pl": "place",
        "sq": "square",
        "yd": "yard",
        "hl": "hill",
    }
)
_FLAT = re.compile(
    r"(?:flat|apartment|apt|unit|room)\.?\s*(?:no\.?\s*)?([0-9]{1,4}[a-z]?|[a-z])\b[\s,]*(.*)", re.I
)
_NUMBERED = re.compile(
    r"(?:no\.?\s*)?(\d{1,4})(?:\s?([a-z])(?=[\s,]))?(?:\s*/\s*(\d{1,3}[a-z]?))?\s*[,.]?\s+(\D.*)", re.I
)


@dataclass(frozen=True, slots=True)
class Address:
    """Where a customer lives.

    Attributes
    ----------
    name
        Who lives there.
    street
        As written, without the number; "" where none was found.
    number, suffix
        ``12`` and ``"a"`` of 12a; None and "" for a house with a name.
    house
        The house's name, or "".
    flat
        ``"3"`` of Flat 3, or "".
    town
        Whatever follows the street.
    """

    name: str
    street: str = ""
    number: int | None = None
    suffix: str = ""
    house: str = ""
    flat: str = ""
    town: str = ""

    @property
    def door(self) -> str:
        """The address on one line, without the name and the town."""
        flat = f"Flat {self.flat}, " if self.flat else ""
        number = f"{self.number}{self.suffix} " if self.number is not None else ""
        house = f"{self.house}, " if self.house else ""
        return f"{flat}{house}{number}{self.street}".rstrip(", ")

    @property
    def key(self) -> tuple[str, str, str, str, str]:
        """What tells two doors apart, however they are spelt."""
        number = "" if self.number is None else f"{self.number}{self.suffix}"
        return street_key(self.street), number, plain(self.house), self.flat.casefold(), plain(self.town)


def plain(text: str) -> str:
    """Reduce words to lower-case letters and figures, single spaces between."""
    return " ".join(re.findall(r"[^\W_]+", text.casefold().replace("'", "").replace("\u2019", "")))


def street_key(street: str) -> str:
    """Reduce a street's name so that "Hasp Ln." and "HASP LANE" are one; "St" before a name is Saint's."""
    words = plain(street).split()
    return " ".join([*words[:1], *(_SHORT_WORDS.get(word, word) for word in words[1:])])


def parse_address(text: str, name: str = "") -> Address:
    """Read an address.

    Parameters
    ----------
    text
        Lines or parts between commas: "Edie Larkwhistle, Flat 2, 12a Hasp Lane, Quincebury".
    name
        Who lives there; where it is empty, the first part is the name unless it is a numbered house itself.
    """
    parts = [part.strip() for part in re.split(r"[,;\n]+", text) if part.strip()]
    if not name and parts and not _NUMBERED.fullmatch(parts[0]) and not _FLAT.fullmatch(parts[0]):
        name, parts = parts[0], parts[1:]
    flat = house = ""
    for at, part in enumerate(parts):
        found = _FLAT.fullmatch(part)
        if found:
            flat = found[1]
            if not found[2]:
                continue
            part = found[2]  # noqa: PLW2901 - "Flat 2 12 Hasp Lane" in one part
        numbered = _NUMBERED.fullmatch(part)
        after = next((other for other in parts[at + 1 :] if _FLAT.fullmatch(other)), None)
        if numbered and after and not flat:  # "12 Hasp Lane, Flat 2"
            flat = (_FLAT.fullmatch(after) or numbered)[1]
            parts = [other for other in parts if other is not after]
        if numbered:
            return Address(
                name,
                numbered[4].strip(),
                int(numbered[1]),
                (numbered[2] or "").casefold(),
                house,
                flat or (numbered[3] or ""),
                ", ".join(parts[at + 1 :]),
            )
        bare = re.fullmatch(r"(?:no\.?\s*)?(\d{1,4})\s?([a-z])?", part, re.I)
        if bare and at + 1 < len(parts):  # "12, Hasp Lane"
            return Address(
                name,
                parts[at + 1],
                int(bare[1]),
                (bare[2] or "").casefold(),
                house,
                flat,
                ", ".join(parts[at + 2 :]),
            )
        if house:  # "Rose Cottage, Hasp Lane, Quincebury"
            return Address(name, part, None, "", house, flat, ", ".join(parts[at + 1 :]))
        house = part
    if flat and house:
        return Address(name, house, flat=flat)
    return Address(name, house)
