"""Coins and notes, and giving change from a purse that does not hold enough of everything.

Largest first ("greedy") fails with a limited purse: 60p from one 50p and three 20p comes out only without the
50p. So change is made by dynamic programming over the coins there are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from formread.errors import UsageError


@dataclass(frozen=True, slots=True)
class Cash:
    """The coins and notes of a currency, in minor units, smallest first.

    Attributes
    ----------
    coins, notes
        What is in ordinary circulation.
    round_sums
        The sums up to which people round when they pay: the coin that counts as one, then the notes in use.
    big_note
        The note that the worst case hands over at every door: what cash machines give out most.
    bags
        Pieces of a coin in one bank bag or roll; empty where we know of no usual one.
    """

    currency: str
    coins: tuple[int, ...]
    notes: tuple[int, ...]
    round_sums: tuple[int, ...]
    big_note: int
    bags: Mapping[int, int] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def values(self) -> tuple[int, ...]:
        """Every coin and note, largest first."""
        return tuple(sorted({*self.coins, *self.notes}, reverse=True))

    def payable(self, amount: int) -> int:
        """Round an amount to what the smallest coin can pay, halves up.

        This is cash rounding where small coins are gone; amounts that coins can pay are left alone, so in
        most currencies nothing changes.
        """
        smallest = self.coins[0]
        size = (abs(amount) + smallest // 2) // smallest * smallest
        return -size if amount < 0 else size


_POUND_BAGS = {1: 100, 2: 50, 5: 100, 10: 50, 20: 50, 50: 20, 100: 20, 200: 10}
_EURO_ROLLS = {1: 50, 2: 50, 5: 50, 10: 40, 20: 40, 50: 40, 100: 25, 200: 25}
_DOLLAR_ROLLS = {1: 50, 5: 40, 10: 50, 25: 40}

CASH: Mapping[str, Cash] = MappingProxyType(
    {
        cash.currency: cash
        for cash in (
            Cash(
                "GBP",
                (1, 2, 5, 10, 20, 50, 100, 200),
                (500, 1000, 2000, 5000),
                (100, 500, 1000, 2000),
                2000,
                MappingProxyType(_POUND_BAGS),
            ),
            Cash(
                "EUR",
                (1, 2, 5, 10, 20, 50, 100, 200),
                (500, 1000, 2000, 5000, 10000, 20000),
                (100, 500, 1000, 2000),
                2000,
                MappingProxyType(_EURO_ROLLS),
            ),
            Cash(
                "USD",
                (1, 5, 10, 25),
                (100, 500, 1000, 2000, 5000, 10000),
                (100, 500, 1000, 2000),
                2000,
                MappingProxyType(_DOLLAR_ROLLS),
            ),
            Cash(
                "AUD", (5, 10, 20, 50, 100, 200), (500, 1000, 2000, 5000, 10000), (100, 500, 1000, 2000), 2000
            ),
            Cash("CAD", (5, 10, 25, 100, 200), (500, 1000, 2000, 5000, 10000), (100, 500, 1000, 2000), 2000),
            Cash("NZD", (10, 20, 50, 100, 200), (500, 1000, 2000, 5000, 10000), (100, 500, 1000, 2000), 2000),
            Cash(
                "CHF",
                (5, 10, 20, 50, 100, 200, 500),
                (1000, 2000, 5000, 10000, 20000),
                (100, 500, 1000, 2000),
                2000,
            ),
            Cash(
                "SEK",
                (100, 200, 500, 1000),
                (2000, 5000, 10000, 20000, 50000),
                (1000, 2000, 5000, 10000),
                20000,
            ),
            Cash(
                "NOK", (100, 500, 1000, 2000), (5000, 10000, 20000, 50000), (1000, 5000, 10000, 20000), 20000
            ),
            Cash(
                "DKK",
                (50, 100, 200, 500, 1000, 2000),
                (5000, 10000, 20000, 50000),
                (1000, 5000, 10000, 20000),
                20000,
            ),
            Cash(
                "PLN",
                (1, 2, 5, 10, 20, 50, 100, 200, 500),
                (1000, 2000, 5000, 10000, 20000, 50000),
                (100, 1000, 2000, 5000),
                5000,
            ),
            Cash(
                "CZK",
                (100, 200, 500, 1000, 2000, 5000),
                (10000, 20000, 50000, 100000, 200000, 500000),
                (1000, 10000, 20000, 50000),
                50000,
            ),
            Cash(
                "ZAR",
                (10, 20, 50, 100, 200, 500),
                (1000, 2000, 5000, 10000, 20000),
                (500, 1000, 2000, 5000),
                10000,
            ),
            Cash(
                "INR",
                (100, 200, 500),
                (1000, 2000, 5000, 10000, 20000, 50000),
                (1000, 5000, 10000, 20000),
                50000,
            ),
            Cash("JPY", (1, 5, 10, 50, 100, 500), (1000, 5000, 10000), (100, 500, 1000, 5000), 10000),
            Cash("KRW", (10, 50, 100, 500), (1000, 5000, 10000, 50000), (1000, 5000, 10000, 50000), 50000),
            Cash("ISK", (1, 5, 10, 50, 100), (500, 1000, 2000, 5000, 10000), (100, 500, 1000, 5000), 5000),
            Cash(
                "BHD",
                (5, 10, 25, 50, 100),
                (500, 1000, 5000, 10000, 20000),
                (500, 1000, 5000, 10000),
                10000,
            ),
            Cash(
                "KWD",
                (5, 10, 20, 50, 100),
                (250, 500, 1000, 5000, 10000, 20000),
                (250, 500, 1000, 5000),
                10000,
            ),
            Cash(
                "TND",
                (10, 20, 50, 100, 200, 500, 1000, 2000),
                (5000, 10000, 20000, 50000),
                (1000, 5000, 10000, 20000),
                20000,
            ),
        )
    }
)
"""Coins and notes in ordinary circulation, from memory; bags and rolls are common practice, no source."""


def cash_of(currency: str) -> Cash:
    """Look the coins and notes of a currency up.

    Raises
    ------
    UsageError
        For a currency whose coins formread does not know.
    """
    found = CASH.get(currency)
    if found is None:
        raise UsageError(f"formread does not know the coins and notes of {currency}. The rest works without.")
    return found


def fewest_coins(amount: int, values: Sequence[int]) -> dict[int, int] | None:
    """Pay an amount with as few pieces as possible from an endless purse.

    Parameters
    ----------
    amount
        Minor units, not negative.
    values
        The coins and notes there are.

    Returns
    -------
    dict or None
        Value to number of pieces, largest first; None where it can't be paid. Among ways with equally few
        pieces, the one with the larger pieces.
    """
    return make_change(amount, {value: amount // value for value in values})


def make_change(amount: int, purse: Mapping[int, int]) -> dict[int, int] | None:
    """Give change with as few pieces as possible from what a purse holds.

    Dynamic programming over the coins, each bounded by its number: exact, in time proportional to the amount
    times the number of different coins.

    Parameters
    ----------
    amount
        Minor units, not negative.
    purse
        Value to number of pieces.

    Returns
    -------
    dict or None
        Value to number of pieces given, largest first; None where the purse can't make it. Among ways with
        equally few pieces, the one with the larger pieces.
    """
    if amount < 0:
        raise ValueError("change is not negative")
    values = sorted(
        (value for value, pieces in purse.items() if pieces > 0 and value <= amount), reverse=True
    )
    never = amount + 1  # more pieces than any way needs
    # least[k][a]: fewest pieces that make a from the coins values[k:]
    least = [[never] * (amount + 1) for _ in range(len(values) + 1)]
    least[-1][0] = 0
    for place in range(len(values) - 1, -1, -1):
        _add_coin(least[place], least[place + 1], values[place], purse[values[place]])
    if least[0][amount] >= never:
        return None
    given: dict[int, int] = {}
    rest = amount
    for place, value in enumerate(values):
        for pieces in range(min(purse[value], rest // value), -1, -1):
            if pieces + least[place + 1][rest - pieces * value] == least[place][rest]:
                break
        if pieces:
            given[value] = pieces
        rest -= pieces * value
    return given


def _add_coin(least: list[int], without: Sequence[int], value: int, pieces: int) -> None:
    """Fill `least` from `without` by allowing up to `pieces` of one more coin.

    Along the sums a, a + value, a + 2 value ... this is the minimum over a sliding window of ``pieces + 1``
    sums, kept in a queue that only ever holds growing minima.
    """
    never = len(least)
    for start in range(min(value, len(least))):
        window: list[tuple[int, int]] = []  # (steps, fewest pieces less steps), growing
        head = 0
        for steps, total in enumerate(range(start, len(least), value)):
            candidate = without[total] - steps
            while len(window) > head and window[-1][1] >= candidate:
                window.pop()
            window.append((steps, candidate))
            if window[head][0] < steps - pieces:
                head += 1
            least[total] = min(window[head][1] + steps, never)


def largest_first(amount: int, purse: Mapping[int, int]) -> dict[int, int] | None:
    """Give change as people do at the door: the largest piece first, as long as the rest still comes out.

    Returns
    -------
    dict or None
        Value to number of pieces given, largest first; None where the purse can't make it.
    """
    values = sorted(
        (value for value, pieces in purse.items() if pieces > 0 and value <= amount), reverse=True
    )
    every = (1 << (amount + 1)) - 1
    reachable = [1]  # bit a of reachable[k]: the k smallest coins can make a
    for value in reversed(values):
        sums, pieces, chunk = reachable[-1], min(purse[value], amount // value), 1
        while pieces:  # 1, 2, 4 ... and the rest: every number of pieces up to the bound is a sum of these
            taken = min(chunk, pieces)
            sums |= (sums << (taken * value)) & every
            pieces -= taken
            chunk *= 2
        reachable.append(sums)
    if not reachable[-1] >> amount & 1:
        return None
    given: dict[int, int] = {}
    rest = amount
    for place, value in enumerate(values):
        smaller = reachable[len(values) - 1 - place]
        pieces = min(purse[value], rest // value)
        while not smaller >> (rest - pieces * value) & 1:
            pieces -= 1
        if pieces:
            given[value] = pieces
        rest -= pieces * value
    return given


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """What to fetch from the bank for one coin or note.

    ``pieces`` are fetched in ``bags`` full bags or rolls (0 for notes and where no bag is usual); ``spare``
    pieces are more than the float needs.
    """

    value: int
    needed: int
    pieces: int
    bags: int

    @property
    def spare(self) -> int:
        """Pieces fetched beyond what the float needs."""
        return self.pieces - self.needed


def withdrawal(
    pieces: Mapping[int, int], cash: Cash, at_home: Mapping[int, int] | None = None
) -> tuple[Withdrawal, ...]:
    """Turn a float into what to fetch from the bank, in full bags of coins and single notes.

    Parameters
    ----------
    pieces
        The float: value to number of pieces.
    cash
        The currency's coins, with what a bag holds.
    at_home
        Pieces that the seller has already.
    """
    home = at_home or {}
    found = []
    for value in sorted(pieces, reverse=True):
        missing = max(pieces[value] - home.get(value, 0), 0)
        if not missing:
            continue
        bag = cash.bags.get(value, 0)
        bags = -(-missing // bag) if bag else 0
        found.append(Withdrawal(value, missing, bags * bag if bag else missing, bags))
    return tuple(found)


def worth(pieces: Mapping[int, int]) -> int:
    """Return the minor units that a handful of coins and notes is worth."""
    return sum(value * number for value, number in pieces.items())
