"""Who ordered on which slip, where the slips themselves were not read: a list that the seller keeps.

Columns: *slip* (its number or photo), *name*, *address*, and where known *latitude* and *longitude*. A row
without a slip only says where an address lies.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final

from formread.goods.table import Row, RowProblems, read_rows, understand
from formread.round.addresses import Address, parse_address
from formread.slips import Slip

HEADINGS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        column: frozenset(words.split())
        for column, words in {
            "slip": "slip slipno slipnumber orderno ordernumber photo",
            "name": "name customer customername who",
            "address": "address where door house",
            "latitude": "latitude lat",
            "longitude": "longitude long lon lng",
        }.items()
    }
)


@dataclass(frozen=True, slots=True)
class Customers:
    """Addresses by slip number or photo (in lower case), and coordinates by door (``Address.key``)."""

    by_slip: Mapping[str, Address]
    coordinates: Mapping[tuple[str, str, str, str, str], tuple[float, float]]

    def address_of(self, slip: Slip, name: str) -> Address | None:
        """Return where a slip's goods go: the list's word first, then what is written on the slip."""
        for key in (name, slip.slip_number, slip.photo):
            if key and key.casefold() in self.by_slip:
                return self.by_slip[key.casefold()]
        if slip.address:
            return parse_address(slip.address, slip.customer or "")
        return parse_address(slip.customer) if slip.customer else None


NOBODY: Final = Customers(MappingProxyType({}), MappingProxyType({}))
"""No list."""


def read_customers(paths: Sequence[Path]) -> Customers:
    """Read lists of customers; several add up.

    Raises
    ------
    ListError
        When a file is no such list, or a row makes no sense.
    """
    return customers_from([(path.name, read_rows(path)) for path in paths])


def customers_from(lists: Iterable[tuple[str, Sequence[Row]]]) -> Customers:
    """Understand the rows of lists of customers, each with its name; see :func:`read_customers`."""
    by_slip: dict[str, Address] = {}
    coordinates: dict[tuple[str, str, str, str, str], tuple[float, float]] = {}
    for name, rows in lists:
        table = understand(name, rows, HEADINGS, ("address",))
        problems = RowProblems(name)
        for row in table.rows:
            address = parse_address(table.cell(row, "address"), table.cell(row, "name"))
            slip = table.cell(row, "slip").casefold()
            if slip and by_slip.get(slip, address) != address:
                problems.add(row.number, f"slip {slip} stands in the list already, with another address")
            if slip:
                by_slip[slip] = address
            north, east = table.cell(row, "latitude"), table.cell(row, "longitude")
            if not north and not east:
                continue
            try:
                place = float(north.replace(",", ".")), float(east.replace(",", "."))
            except ValueError:
                problems.add(
                    row.number, f"{north!r}, {east!r} are no coordinates in degrees (53.4808, -2.2426)"
                )
                continue
            if not (-90 <= place[0] <= 90 and -180 <= place[1] <= 180):
                problems.add(row.number, f"{north}, {east} is no place on earth: latitude comes first")
            coordinates[address.key] = place
        problems.raise_if_any()
    return Customers(MappingProxyType(by_slip), MappingProxyType(coordinates))
