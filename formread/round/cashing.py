"""Cashing up: what was taken against what was due, the float in and out, the difference to the penny."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final

from formread.errors import ListError
from formread.goods.table import Row, RowProblems, read_rows, understand
from formread.goods.written import parse_amount, parse_count
from formread.money import Currency, currency, format_money
from formread.round.coins import Cash, worth
from formread.round.drops import Drop

HEADINGS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        column: frozenset(words.split())
        for column, words in {
            "drop": "drop dropno dropnumber no number",
            "cash": "cash paidcash cashtaken incash takencash paidincash",
            "otherwise": "otherwise paidotherwise card transfer banktransfer notcash paidbytransfer",
            "remarks": "remarks remark note notes state",
        }.items()
    }
)
COUNT_HEADINGS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        "value": frozenset(["value", "coin", "note", "coinornote", "denomination", "piece"]),
        "pieces": frozenset(["pieces", "number", "count", "counted", "howmany", "no"]),
    }
)


@dataclass(frozen=True, slots=True)
class Taking:
    """What was taken at one door, in minor units: cash less the change given, and paid otherwise."""

    drop: int
    cash: int = 0
    otherwise: int = 0
    remarks: str = ""


@dataclass(frozen=True, slots=True)
class Settled:
    """One door after the round. ``owes == due - cash - otherwise``; negative: too much was taken."""

    drop: Drop
    taking: Taking

    @property
    def owes(self) -> int:
        """Minor units still to come from this door."""
        return self.drop.due - self.taking.cash - self.taking.otherwise


@dataclass(frozen=True, slots=True)
class CashUp:
    """The evening's end.

    ``expected == float_in + cash taken``; ``difference == counted - expected`` (positive: too much in the
    purse), None where nothing was counted.
    """

    doors: tuple[Settled, ...]
    float_in: int
    counted: Mapping[int, int] | None

    @property
    def due(self) -> int:
        """Minor units due at all doors."""
        return sum(door.drop.due for door in self.doors)

    @property
    def cash(self) -> int:
        """Minor units taken in cash, change given already taken off."""
        return sum(door.taking.cash for door in self.doors)

    @property
    def otherwise(self) -> int:
        """Minor units paid otherwise."""
        return sum(door.taking.otherwise for door in self.doors)

    @property
    def owed(self) -> int:
        """Minor units still owed, by all doors together."""
        return sum(door.owes for door in self.doors)

    @property
    def expected(self) -> int:
        """Minor units that ought to be in the purse."""
        return self.float_in + self.cash

    @property
    def counted_worth(self) -> int | None:
        """Minor units that were counted, None where nothing was."""
        return None if self.counted is None else worth(self.counted)

    @property
    def difference(self) -> int | None:
        """Minor units in the purse beyond what ought to be there."""
        return None if self.counted is None else worth(self.counted) - self.expected

    @property
    def owing(self) -> tuple[Settled, ...]:
        """The doors where the amount taken is not the amount due."""
        return tuple(door for door in self.doors if door.owes)


def everybody_paid(drops: Sequence[Drop]) -> tuple[Taking, ...]:
    """Return the takings of a round in which every door pays in cash what is due."""
    return tuple(Taking(drop.number, drop.due) for drop in drops)


def cash_up(
    drops: Sequence[Drop],
    takings: Sequence[Taking],
    float_in: int,
    counted: Mapping[int, int] | None = None,
) -> CashUp:
    """Set what was taken against what was due; a door without a taking has paid nothing."""
    by_drop = {taking.drop: taking for taking in takings}
    doors = tuple(Settled(drop, by_drop.get(drop.number, Taking(drop.number))) for drop in drops)
    return CashUp(doors, float_in, None if counted is None else MappingProxyType(dict(counted)))


def read_takings(path: Path, drops: Sequence[Drop], currency_code: str) -> tuple[Taking, ...]:
    """Read what was taken: columns drop, cash, otherwise, remarks (as the door page writes them).

    Raises
    ------
    ListError
        When it is no such list, or a row makes no sense.
    """
    return takings_from(path.name, read_rows(path), drops, currency_code)


def takings_from(
    name: str, rows: Sequence[Row], drops: Sequence[Drop], currency_code: str
) -> tuple[Taking, ...]:
    """Understand the rows of a list of takings; see :func:`read_takings`."""
    unit = currency(currency_code)
    table = understand(name, rows, HEADINGS, ("drop",))
    if not {"cash", "otherwise"} & set(table.columns):
        raise ListError(f"{name}: no column is headed 'cash' or 'otherwise', so nothing was taken.")
    problems = RowProblems(name)
    due = {drop.number: drop.due for drop in drops}
    found: dict[int, Taking] = {}
    for row in table.rows:
        try:
            number = parse_count(table.cell(row, "drop"))
            amounts = [_amount(table.cell(row, column), unit) for column in ("cash", "otherwise")]
        except ValueError as error:
            problems.add(row.number, str(error))
            continue
        if number not in due:
            problems.add(row.number, f"there is no drop {number} in this round")
        elif number in found:
            problems.add(row.number, f"drop {number} stands in the list already")
        else:
            found[number] = Taking(number, amounts[0], amounts[1], table.cell(row, "remarks"))
            if sum(amounts) > due[number] > 0 and sum(amounts) > 10 * due[number]:
                problems.add(
                    row.number,
                    f"{format_money(sum(amounts), unit)} were taken where {format_money(due[number], unit)} "
                    "are due; has the point moved?",
                )
    problems.raise_if_any()
    return tuple(found.values())


def _amount(text: str, unit: Currency) -> int:
    if not text:
        return 0
    if text.startswith("-"):
        return -parse_amount(text[1:], unit)
    return parse_amount(text, unit)


def read_count(path: Path, cash: Cash) -> Mapping[int, int]:
    """Read counted coins and notes: columns value ("2.00", "50p") and pieces.

    Raises
    ------
    ListError
        When it is no such list, or names a coin that the currency does not have.
    """
    unit = currency(cash.currency)
    table = understand(path.name, read_rows(path), COUNT_HEADINGS, ("value", "pieces"))
    problems = RowProblems(path.name)
    counted: dict[int, int] = {}
    for row in table.rows:
        try:
            value = parse_amount(table.cell(row, "value"), unit)
            pieces = parse_count(table.cell(row, "pieces") or "0")
        except ValueError as error:
            problems.add(row.number, str(error))
            continue
        if value not in cash.values:
            problems.add(row.number, f"{cash.currency} has no coin or note of {format_money(value, unit)}")
        counted[value] = counted.get(value, 0) + pieces
    problems.raise_if_any()
    return counted
