"""Roles of the columns and of the totals, each assigned together: print, widths, order.

One heading may be unreadable or mean two things ("No." is a quantity on one pad and a code on the next).
All columns are therefore given their roles at once: the most probable assignments under a small model of how
order pads are laid out, found by a beam over the columns from left to right.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from formread.layout.record import ColumnRole, TotalRole
from formread.layout.vocabulary import LabelRole, Match

_ROLES: tuple[ColumnRole, ...] = (
    "code",
    "description",
    "quantity",
    "unit_price",
    "line_total",
    "size",
    "page",
    "other",
)

_READ = ("code", "quantity", "unit_price", "line_total")  # what the sums stand on

# Usual width of a column (share of the table) and the spread of its logarithm. Common practice, no source.
_WIDTH: dict[ColumnRole, tuple[float, float]] = {
    "code": (0.14, 0.45),
    "description": (0.40, 0.45),
    "quantity": (0.09, 0.40),
    "unit_price": (0.15, 0.40),
    "line_total": (0.16, 0.40),
    "size": (0.11, 0.45),
    "page": (0.08, 0.40),
    "other": (0.12, 0.70),
}
_PRIOR: dict[ColumnRole, float] = {"size": -1.0, "page": -1.0, "other": -1.2, "code": -0.2}
_MISSING: dict[ColumnRole, float] = {
    "quantity": -2.0,
    "unit_price": -1.6,
    "line_total": -3.0,
    "description": -1.0,
}
_NOT_LAST = -1.2  # nats: the line total is all but always the last column
_ODD_ORDER = -1.2  # price before quantity, description before code
_WRONG_ORDER = -1.6  # total before price
_BEAM = 300
_SPLIT_ELSEWHERE = -5.0  # pounds and pence boxes under anything but money

# How probable a role is at a place among the totals, its label unread. Common practice, no source.
_LAST_TOTAL: dict[TotalRole, float] = {
    "total": 0.93,
    "deposit": 0.02,
    "discount": 0.01,
    "delivery": 0.02,
    "goods": 0.01,
    "other": 0.01,
}
_FIRST_TOTAL: dict[TotalRole, float] = {
    "goods": 0.6,
    "delivery": 0.2,
    "discount": 0.07,
    "deposit": 0.05,
    "other": 0.03,
    "total": 0.05,
}
_INNER_TOTAL: dict[TotalRole, float] = {
    "delivery": 0.4,
    "discount": 0.2,
    "deposit": 0.2,
    "goods": 0.08,
    "total": 0.06,
    "other": 0.06,
}
_ADDS: Mapping[TotalRole, int] = {
    "delivery": 1,
    "other": 1,
    "discount": -1,
    "deposit": -1,
    "goods": 0,
    "total": 2,
}
"""Which roles do the same to a sum."""
_NO_BOX = 0.03  # share of the boxes seen as totals that are none, about
_COPY = 0.5  # a label that says again what one before it says speaks as much of a copy as of another box
_BLANK_TOTAL = -1.5  # nats: few leave the total out, and a stub's copy is mostly empty
_NO_TOTAL = -3.0  # nats: a block of totals without the total is all but none
_TRADITION = 0.3  # what the place says still counts where the label is read
_LOOKS_TRUST = 0.9  # the rest is shared among all roles: the network may be wrong about a whole column
_HEADING_TRUST = 0.985
_SHAPE_WEIGHT = 0.35  # the network has seen shape and order, too
_LABEL_TRUST = 0.97


@dataclass(frozen=True, slots=True)
class ColumnSeen:
    """One column: what its heading may mean, its share of the table's width, and what its boxes look like."""

    heading: Match[ColumnRole]
    width: float
    parted: bool
    looks: Mapping[ColumnRole, float]


@dataclass(frozen=True, slots=True)
class TotalSeen:
    """One box of the totals: what its label may mean, what it looks like, and how surely it is one.

    ``labelled``: something is printed beside it; ``written``: something is written in it.
    """

    label: Match[LabelRole]
    looks: Mapping[TotalRole, float]
    labelled: bool = False
    seen: float = 1.0
    written: bool = True


def _order_score(roles: tuple[ColumnRole, ...]) -> float:
    place = {role: k for k, role in enumerate(roles) if role != "other"}
    score = sum(cost for role, cost in _MISSING.items() if role not in place)
    if "line_total" in place and place["line_total"] != len(roles) - 1:
        score += _NOT_LAST
    for before, after, cost in (
        ("unit_price", "line_total", _WRONG_ORDER),
        ("quantity", "unit_price", _ODD_ORDER),
        ("quantity", "line_total", _WRONG_ORDER),
        ("code", "description", _ODD_ORDER),
        ("code", "unit_price", _ODD_ORDER),
        ("description", "line_total", _WRONG_ORDER),
    ):
        if before in place and after in place and place[before] > place[after]:
            score += cost
    return score


def _ranked(
    whole: list[tuple[float, tuple[ColumnRole, ...]]], best: int
) -> list[tuple[tuple[ColumnRole, ...], float]]:
    """Return the best assignments with their shares; those that read alike are one."""
    whole.sort(key=lambda item: (-item[0], item[1]))
    top = whole[0][0]
    total = sum(math.exp(score - top) for score, _ in whole)
    likeliest: dict[tuple[str, ...], tuple[ColumnRole, ...]] = {}
    shares: dict[tuple[str, ...], float] = {}
    for score, roles in whole:
        alike = tuple(role if role in _READ else "" for role in roles)
        likeliest.setdefault(alike, roles)
        shares[alike] = shares.get(alike, 0.0) + math.exp(score - top) / total
    ranked = sorted(shares.items(), key=lambda item: (-item[1], item[0]))
    return [(likeliest[alike], share) for alike, share in ranked[:best]]


def _seen_score(column: ColumnSeen, role: ColumnRole) -> float:
    looks = _LOOKS_TRUST * column.looks.get(role, 0.0) + (1 - _LOOKS_TRUST) / len(_ROLES)
    known = _HEADING_TRUST * column.heading.known
    told = known * column.heading.roles.get(role, 0.0) + (1 - known) / len(_ROLES)
    usual, spread = _WIDTH[role]
    shape = -0.5 * (math.log(max(column.width, 0.01) / usual) / spread) ** 2 + _PRIOR.get(role, 0.0)
    if column.parted and role not in ("unit_price", "line_total"):
        shape += _SPLIT_ELSEWHERE
    return math.log(looks) + math.log(told) + _SHAPE_WEIGHT * shape


def assign(columns: Sequence[ColumnSeen], best: int) -> list[tuple[tuple[ColumnRole, ...], float]]:
    """Return the `best` most probable assignments of roles to columns, most probable first."""
    beam: list[tuple[float, tuple[ColumnRole, ...]]] = [(0.0, ())]
    for column in columns:
        scores = {role: _seen_score(column, role) for role in _ROLES}
        grown = [
            (score + scores[role], (*roles, role))
            for score, roles in beam
            for role in _ROLES
            if role == "other" or role not in roles
        ]
        grown.sort(key=lambda item: (-item[0], item[1]))
        beam = grown[:_BEAM]
    whole = [(score + _SHAPE_WEIGHT * _order_score(roles), roles) for score, roles in beam]
    return _ranked(whole, best)


def totals_among(boxes: Sequence[TotalSeen]) -> list[bool]:
    """Say which boxes have to do with the sum, in reading order; initials or a copy on a stub have not."""
    roles, _ = _assigned(boxes, 1, strangers=True)[0]
    return [role is not None for role in roles]


def assign_totals(totals: Sequence[TotalSeen], best: int) -> list[tuple[tuple[TotalRole, ...], float]]:
    """Return the `best` most probable roles of the boxes of the totals, in reading order, most probable first.

    At most one of each but ``other``. Roles that do the same to a sum are one: which box is the total, and what is
    taken off, is what matters.
    """
    found = _assigned(totals, best, strangers=False)
    return [(tuple(role for role in roles if role is not None), share) for roles, share in found]


def _assigned(
    totals: Sequence[TotalSeen], best: int, *, strangers: bool
) -> list[tuple[tuple[TotalRole | None, ...], float]]:
    """Assign roles; with `strangers` a box may have none."""
    beam: list[tuple[float, tuple[TotalRole | None, ...]]] = [(0.0, ())]
    for k, total in enumerate(totals):
        priors = _LAST_TOTAL if k == len(totals) - 1 else _FIRST_TOTAL if k == 0 else _INNER_TOTAL
        scores = {role: _total_score(total, role, prior, len(priors)) for role, prior in priors.items()}
        grown: list[tuple[float, tuple[TotalRole | None, ...]]] = []
        for score, given in beam:
            grown += [
                (score + own, (*given, role))
                for role, own in scores.items()
                if role == "other" or role not in given
            ]
            if strangers and (any(given) or total.label.known < _COPY):
                grown.append((score + _no_box_score(total, given), (*given, None)))
        grown.sort(key=lambda item: (-item[0], tuple(map(str, item[1]))))
        beam = grown[:_BEAM]
    beam = [(score if "total" in given else score + _NO_TOTAL, given) for score, given in beam]
    beam.sort(key=lambda item: (-item[0], tuple(map(str, item[1]))))
    likeliest: dict[tuple[int | None, ...], tuple[TotalRole | None, ...]] = {}
    shares: dict[tuple[int | None, ...], float] = {}
    for score, given in beam:
        alike = tuple(None if role is None else _ADDS[role] for role in given)
        likeliest.setdefault(alike, given)
        shares[alike] = shares.get(alike, 0.0) + math.exp(score - beam[0][0])
    whole = sum(shares.values())
    # The likeliest roles stay the first, whatever others come to together.
    return [(given, shares[alike] / whole) for alike, given in list(likeliest.items())[:best]]


def _total_score(total: TotalSeen, role: TotalRole, prior: float, roles: int) -> float:
    known = _LABEL_TRUST * total.label.known
    told = known * total.label.roles.get(role, 0.0) + (1 - known) / roles
    looks = _LOOKS_TRUST * total.looks.get(role, 0.0) + (1 - _LOOKS_TRUST) / roles
    left_empty = _BLANK_TOTAL if role == "total" and not total.written else 0.0
    return math.log(told) + math.log(looks) + _TRADITION * math.log(prior) + left_empty


def _no_box_score(total: TotalSeen, given: Sequence[TotalRole | None]) -> float:
    """Score a box as none: its label speaks of nothing that adds up, or of what a box before it is for."""
    told = 1 / len(_ADDS)
    if total.labelled:
        spoken = max(total.label.roles, key=lambda role: total.label.roles[role], default=None)
        copied = total.label.known > _COPY and spoken in given
        told = _COPY if copied else 1 - _LABEL_TRUST * total.label.known
    return math.log(told) + math.log(max(_NO_BOX, 1 - total.seen))
