"""How these customers err: the table of rates, re-estimated from slips that were settled.

Rates are posterior means with the standing table as prior (beta for how often, Dirichlet for which kind), so
that a handful of slips moves little and a season's slips speak for themselves. Give it all the slips of an
evening once the doubtful ones are settled: rates taken from the slips that a person looked at alone would make
every customer a bad calculator.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, TypeVar, get_args

from formread.arithmetic.pen import PEN_SLIPS, chance, unknown
from formread.arithmetic.priors import STANDARD, LineSlip, Priors, TotalSlip
from formread.arithmetic.record import JudgedLine, Judgement

RATE_WEIGHT: Final = 500.0
"""The standing rates weigh as much as so many sums, or line totals, that were seen. Assumption."""
KIND_WEIGHT: Final = 30.0
"""The standing shares of the kinds weigh as much as so many wrong ones that were seen. Assumption."""
FURTHEST: Final = 4.0
"""No rate is moved by more than this factor: beyond it something else is amiss than how people add."""

Kind = TypeVar("Kind", bound=str)


@dataclass(slots=True)
class Tally:
    """What settled slips showed; shares of a slip count where more than one kind may have been at work.

    Attributes
    ----------
    sums, expected
        Sums seen, and how many of them the standing table would have had wrong.
    products, singles
        Line totals seen, for several pieces and for one.
    total_slips, line_slips
        Wrong ones by kind. A copied total of one piece counts among the singles alone.
    """

    sums: float = 0.0
    expected: float = 0.0
    products: float = 0.0
    singles: float = 0.0
    singles_wrong: float = 0.0
    total_slips: dict[TotalSlip, float] = field(default_factory=dict)
    line_slips: dict[LineSlip, float] = field(default_factory=dict)


def tally(judgements: Sequence[Judgement], priors: Priors = STANDARD) -> Tally:
    """Count how often and how customers erred on slips that are settled; the unsure ones are left out."""
    seen = Tally()
    for judged in judgements:
        if judged.verdict == "unsure" or judged.written_total is None:
            continue
        lines = [line for line in judged.lines if not line.struck_out]
        wrong_lines = [line for line in lines if _count_line(seen, line, priors)]
        seen.sums += 1
        seen.expected += priors.sum_wrong(len(lines) + len(judged.charges))
        _count_sum(seen, judged, wrong_lines)
    return seen


def _count_line(seen: Tally, line: JudgedLine, priors: Priors) -> bool:
    """Count one line; say whether its total is wrong."""
    if line.unit_price is None or line.line_total is None:
        return False
    wrong = line.line_total != line.right_total
    if line.quantity in (None, 1):
        seen.singles += 1
        seen.singles_wrong += wrong
        return wrong
    seen.products += 1
    if wrong:
        for kind, share in _line_kinds(line, priors).items():
            seen.line_slips[kind] = seen.line_slips.get(kind, 0.0) + share
    return wrong


def _line_kinds(line: JudgedLine, priors: Priors) -> dict[LineSlip, float]:
    """Which kinds of slip may have led from the right line total to the written one, and how probably."""
    written, right, price = line.line_total or 0, line.right_total, line.unit_price or 0
    found: dict[LineSlip, float] = {"unknown": priors.line_slips["unknown"] * unknown(written, right)}
    for kind in PEN_SLIPS:
        found[kind] = priors.line_slips[kind] * chance(kind, written, right)
    found["times"] = priors.line_slips["times"] / 2 * (abs(written - right) == price)
    found["unmultiplied"] = priors.line_slips["unmultiplied"] * (written == price)
    whole = sum(found.values())
    return {kind: share / whole for kind, share in found.items()}


_TOTAL_KINDS: Final[tuple[TotalSlip, ...]] = get_args(TotalSlip)


def _count_sum(seen: Tally, judged: Judgement, wrong_lines: Sequence[JudgedLine]) -> None:
    """Count the sum itself: what the lines and charges, right or wrong as they are written, do not explain."""
    off = sum((line.line_total or 0) - line.right_total for line in wrong_lines)
    off += sum(charge.amount - charge.due for charge in judged.charges if charge.due is not None)
    if judged.difference in (0, off):
        return
    kind: TotalSlip = "unknown"
    for name in _TOTAL_KINDS:
        if name == judged.slip_kind:
            kind = name
    seen.total_slips[kind] = seen.total_slips.get(kind, 0.0) + 1


def relearn(seen: Tally, priors: Priors = STANDARD) -> Priors:
    """The table of rates as those slips leave it; with none seen it stays as it is."""
    sums_wrong = sum(seen.total_slips.values())
    factor = _factor(sums_wrong, seen.expected)
    products_wrong = sum(seen.line_slips.values())
    return replace(
        priors,
        addition_wrong=priors.addition_wrong * factor,
        total_copied_wrong=priors.total_copied_wrong * factor,
        product_wrong=priors.product_wrong * _factor(products_wrong, seen.products * priors.product_wrong),
        line_copied_wrong=priors.line_copied_wrong
        * _factor(seen.singles_wrong, seen.singles * priors.line_copied_wrong),
        total_slips=_shares(priors.total_slips, seen.total_slips),
        line_slips=_shares(priors.line_slips, seen.line_slips),
    )


def _factor(wrong: float, expected: float) -> float:
    """By what a rate is to be multiplied, `expected` wrong ones having been expected: a gamma posterior's mean."""
    weight = RATE_WEIGHT * STANDARD.product_wrong
    return min(max((weight + wrong) / (weight + expected), 1 / FURTHEST), FURTHEST)


def _shares(table: Mapping[Kind, float], seen: Mapping[Kind, float]) -> dict[Kind, float]:
    whole = sum(table.values())
    count = KIND_WEIGHT + sum(seen.values())
    return {
        kind: (KIND_WEIGHT * share / whole + seen.get(kind, 0.0)) / count for kind, share in table.items()
    }
