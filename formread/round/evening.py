"""The whole round in one record: drops, both floats, what to fetch, cashing up. Pure, for every front."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from formread.goods.plan import Goods
from formread.round.cashing import CashUp, Taking, cash_up, everybody_paid
from formread.round.coins import Cash, Withdrawal, cash_of, withdrawal
from formread.round.customers import NOBODY, Customers
from formread.round.drops import RoundPlan, plan_round
from formread.round.float import Float, float_for_twenties, smallest_float
from formread.round.payments import Behaviour, usual_behaviours
from formread.round.streets import StreetList


@dataclass(frozen=True, slots=True)
class Evening:
    """The round.

    Attributes
    ----------
    goods
        What the bags hold and what is due.
    plan
        Drops in walking order.
    behaviours
        How customers are taken to pay.
    float_usual, float_twenties
        The float for 99 of 100 rounds, and the one that never fails if everybody hands over the big note.
    fetch
        What to withdraw for `float_usual`, with what is at home taken off.
    cash_up
        Cashing up: with the takings where they are known, else as if every door paid in cash what is due.
    takings_known
        Whether the takings are real ones.
    """

    goods: Goods
    cash: Cash
    plan: RoundPlan
    behaviours: tuple[Behaviour, ...]
    float_usual: Float
    float_twenties: Float
    fetch: tuple[Withdrawal, ...]
    cash_up: CashUp
    takings_known: bool


def plan_evening(
    goods: Goods,
    customers: Customers = NOBODY,
    streets: StreetList | None = None,
    behaviours: Sequence[Behaviour] | None = None,
    at_home: Mapping[int, int] | None = None,
    takings: Sequence[Taking] | None = None,
    counted: Mapping[int, int] | None = None,
    float_in: int | None = None,
    *,
    shortest: bool = False,
) -> Evening:
    """Plan the round, and cash it up.

    Parameters
    ----------
    goods
        The pile as goods.
    customers, streets
        Who lives where; the walking order. See :func:`formread.round.drops.plan_round`.
    behaviours
        How customers pay; None takes the usual table.
    at_home
        Coins and notes that need not be fetched.
    takings, counted, float_in
        After the round: what was taken at each door, what was counted in the purse, and what the float was in
        minor units (None: the float proposed).
    shortest
        Propose the shortest walk from coordinates.

    Raises
    ------
    UsageError
        When the coins of the pile's currency are not known.
    """
    cash = cash_of(goods.report.currency)
    plan = plan_round(goods.report, goods.packed, cash, customers, streets, shortest=shortest)
    ways = tuple(behaviours or usual_behaviours(cash))
    usual = smallest_float(plan.dues, ways, cash)
    return Evening(
        goods=goods,
        cash=cash,
        plan=plan,
        behaviours=ways,
        float_usual=usual,
        float_twenties=float_for_twenties(plan.dues, cash),
        fetch=withdrawal(usual.pieces, cash, at_home),
        cash_up=cash_up(
            plan.drops,
            everybody_paid(plan.drops) if takings is None else takings,
            usual.value if float_in is None else float_in,
            counted,
        ),
        takings_known=takings is not None,
    )
