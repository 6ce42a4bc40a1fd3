"""How customers pay at the door: one table that a seller can change, and what it means at each drop."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from formread.errors import ListError
from formread.goods.table import RowProblems, read_rows, understand
from formread.goods.written import parse_amount
from formread.money import currency, format_money
from formread.round.coins import Cash

EXACT_SHARE = 0.30
ROUND_SHARES = (0.10, 0.20, 0.15, 0.15)
OTHERWISE_SHARE = 0.10
"""Shares of customers who pay exactly, who round up to the next whole coin, small, middle and large note, and
who pay otherwise than in cash: our own guess, no source; the seller's own experience belongs in its place."""

HEADINGS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        column: frozenset(words.split())
        for column, words in {
            "pays": "pays pay payment customer customers customerpays customerspay how behaviour",
            "share": "share shares percent percentage probability outof100 chance",
        }.items()
    }
)
_OTHERWISE = frozenset({"notcash", "otherwise", "notincash", "transfer", "card", "later", "banktransfer"})
_WHOLE_TOLERANCE = 0.005  # shares typed with two decimals may miss one hundred by half a percent


@dataclass(frozen=True, slots=True)
class Behaviour:
    """One way in which customers pay.

    Attributes
    ----------
    up_to
        The amount is rounded up to a multiple of this many minor units; 0 pays exactly, None not in cash.
    share
        Probability of this way at any one door.
    """

    up_to: int | None
    share: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """What may happen at one door: which pieces come in, what change goes out, and how probable that is."""

    paid: tuple[tuple[int, int], ...]
    change: int
    probability: float


def usual_behaviours(cash: Cash) -> tuple[Behaviour, ...]:
    """Return the table that holds where the seller brings none."""
    rounded = zip(cash.round_sums, ROUND_SHARES, strict=True)
    return (
        Behaviour(0, EXACT_SHARE),
        *(Behaviour(up_to, share) for up_to, share in rounded),
        Behaviour(None, OTHERWISE_SHARE),
    )


def behaviour_words(behaviour: Behaviour, cash: Cash) -> str:
    """Say a way of paying in words."""
    if behaviour.up_to is None:
        return "not in cash"
    if behaviour.up_to == 0:
        return "exactly"
    return f"rounded up to the next {format_money(behaviour.up_to, currency(cash.currency))}"


def read_behaviours(path: Path, cash: Cash) -> tuple[Behaviour, ...]:
    """Read the seller's own table: a column "pays" (exactly, 5.00, not cash) and a column "share".

    Shares are percentages or parts of one.

    Raises
    ------
    ListError
        When a row makes no sense or the shares don't add up to the whole.
    """
    table = understand(path.name, read_rows(path), HEADINGS, ("pays", "share"))
    problems = RowProblems(path.name)
    found: list[Behaviour] = []
    for row in table.rows:
        try:
            up_to = _up_to(table.cell(row, "pays"), cash)
            share = float(table.cell(row, "share").rstrip("% ").replace(",", "."))
        except ValueError as error:
            problems.add(row.number, str(error))
            continue
        if not 0 <= share <= 100:
            problems.add(row.number, f"the share {share:g} is not between 0 and 100")
        found.append(Behaviour(up_to, share))
    problems.raise_if_any()
    whole = sum(behaviour.share for behaviour in found)
    for total in (100.0, 1.0):
        if abs(whole - total) <= _WHOLE_TOLERANCE * total:
            return tuple(Behaviour(behaviour.up_to, behaviour.share / whole) for behaviour in found)
    raise ListError(f"{path.name}: the shares add up to {whole:g}. Make them add up to 100.")


def _up_to(text: str, cash: Cash) -> int | None:
    plain = "".join(text.casefold().split())
    if plain.startswith("exact"):
        return 0
    if plain in _OTHERWISE:
        return None
    amount = parse_amount(plain.removeprefix("next").removeprefix("upto"), currency(cash.currency))
    if amount <= 0 or amount % cash.coins[0]:
        raise ValueError(f"nobody can round up to {text!r}")
    return amount


def from_full_purse(amount: int, cash: Cash) -> dict[int, int]:
    """Pay an amount from a full purse, with nothing larger than the usual big note.

    Largest first, which in every coin system of :data:`formread.round.coins.CASH` is also the fewest pieces.
    """
    pieces: dict[int, int] = {}
    for value in cash.values:
        if value <= cash.big_note and amount >= value:
            pieces[value], amount = divmod(amount, value)
    return pieces


def outcomes(due: int, behaviours: Sequence[Behaviour], cash: Cash) -> tuple[Outcome, ...]:
    """List what may happen at a door where `due` minor units are to be paid.

    Parameters
    ----------
    due
        What the coins of the currency can pay (:meth:`Cash.payable`). Negative: the seller gives it back.

    Returns
    -------
    tuple of Outcome
        All different, with probabilities that sum to one. Nobody hands over anything where nothing is due.
    """
    if due <= 0:
        return (Outcome((), -due, 1.0),)
    found: dict[tuple[tuple[tuple[int, int], ...], int], float] = {}
    for behaviour in behaviours:
        if behaviour.up_to is None:
            key: tuple[tuple[tuple[int, int], ...], int] = ((), 0)
        else:
            handed = due if behaviour.up_to == 0 else -(-due // behaviour.up_to) * behaviour.up_to
            key = (tuple(from_full_purse(handed, cash).items()), handed - due)
        found[key] = found.get(key, 0.0) + behaviour.share
    return tuple(Outcome(paid, change, share) for (paid, change), share in found.items() if share > 0)
