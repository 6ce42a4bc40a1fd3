"""Slip designs: what is the same on every slip of one pad, learned from one slip and recognised on the next.

A design is recognised by its geometry alone: how many rows and columns, where the columns' edges lie as shares of
the table's width, where pounds are parted from pence, and roughly how high the table is for its width.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from formread.layout.record import Box, ColumnRole, Layout, TotalRole

_EDGE_OFF = 0.015  # of the table's width; flattening leaves less, two pads of one printer differ more
# Share by which the table's height for its width may differ. Where a slip was seen aslant flattening may miss it by a
# fifth: with 0.05, 138 slips of 24 pads fell into 52 groups, with 0.2 and more into 32, and no two pads into one.
_PROPORTION_OFF = 0.25
_KNOWN = 0.99  # how sure a recognised design makes the roles
_POOLED = 2  # slips of one design at least, for their headings to be read together
_MAJORITY = 0.6  # share of the votes, weighed by how sure each slip is


@dataclass(frozen=True, slots=True)
class DesignColumn:
    """One column: its role, the print above it, and its edges as shares of the table's width.

    ``pence`` is where pounds end and pence begin, None where they share a box.
    """

    role: ColumnRole
    heading: str
    left: float
    right: float
    pence: float | None = None


@dataclass(frozen=True, slots=True)
class SlipDesign:
    """One printed form. ``proportion`` is the height of its rows together over the table's width."""

    name: str
    columns: tuple[DesignColumn, ...]
    rows: int
    proportion: float
    totals: tuple[TotalRole, ...]


def learn(name: str, layout: Layout) -> SlipDesign:
    """Return the design of a slip whose layout is known."""
    first = layout.rows[0].boxes
    start = min(box.rectangle.left for _, box in first)
    width = max(max(_right(box) for _, box in first) - start, 1)
    height = max(box.rectangle.bottom for row in layout.rows for _, box in row.boxes) - min(
        box.rectangle.top for _, box in first
    )
    columns = []
    for column, (_, box) in zip(layout.columns, first, strict=True):
        pence = None if box.pence is None else round((box.pence.left - start) / width, 4)
        edges = round((box.rectangle.left - start) / width, 4), round((_right(box) - start) / width, 4)
        columns.append(DesignColumn(column.role, column.heading, *edges, pence))
    totals = tuple(total.role for total in layout.totals)
    return SlipDesign(name, tuple(columns), len(layout.rows), round(height / width, 4), totals)


def _right(box: Box) -> int:
    return box.rectangle.right if box.pence is None else box.pence.right


def fits(design: SlipDesign, layout: Layout) -> bool:
    """Say whether a layout is a slip of this design, by geometry alone."""
    if len(layout.rows) != design.rows or len(layout.columns) != len(design.columns):
        return False
    other = learn("", layout)
    if abs(other.proportion / design.proportion - 1) > _PROPORTION_OFF:
        return False
    return all(
        abs(a.left - b.left) <= _EDGE_OFF
        and abs(a.right - b.right) <= _EDGE_OFF
        and (a.pence is None) == (b.pence is None)
        and abs((a.pence or 0.0) - (b.pence or 0.0)) <= _EDGE_OFF
        for a, b in zip(design.columns, other.columns, strict=True)
    )


def named(design: SlipDesign, layout: Layout, probability: float = _KNOWN) -> Layout:
    """Return the layout with the roles that the design gives its boxes.

    The totals' roles are taken over only where as many totals were found as the design has.
    """
    layout = layout.with_columns([column.role for column in design.columns])
    totals = layout.totals
    if len(totals) == len(design.totals):
        totals = tuple(replace(total, role=role) for total, role in zip(totals, design.totals, strict=True))
    return replace(layout, totals=totals, probability=probability)


def recognised(designs: Sequence[SlipDesign], layout: Layout) -> Layout:
    """Return the layout as the first design that fits it has it, or unchanged."""
    design = next((design for design in designs if fits(design, layout)), None)
    if design is None:
        return layout
    # A person has said what the boxes are: nothing else is thought of.
    trust = replace(layout.trust, column_roles=())
    if len(layout.totals) == len(design.totals):
        trust = replace(trust, totals=_KNOWN, total_roles=())
    return replace(named(design, layout), trust=trust)


def pooled(layouts: Sequence[Layout]) -> list[Layout]:
    """Let the slips of one design agree on what their columns and totals are.

    Every slip votes for its own roles with its probability; where one answer has the majority the others take
    it over. A heading that was hidden or unreadable on one slip is so told by the rest of the pad.
    """
    result = list(layouts)
    groups: list[tuple[SlipDesign, list[int]]] = []
    for k, layout in enumerate(layouts):
        if not (layout.rows and layout.columns):
            continue
        members = next((found for design, found in groups if fits(design, layout)), None)
        if members is None:
            groups.append((learn("", layout), [k]))
        else:
            members.append(k)
    for _, members in groups:
        if len(members) < _POOLED:
            continue
        votes: dict[SlipDesign, float] = {}
        own = {k: _roles(layouts[k]) for k in members}
        for k in members:
            votes[own[k]] = votes.get(own[k], 0.0) + layouts[k].probability
        best = max(votes, key=lambda design: votes[design])
        share = votes[best] / max(sum(votes.values()), 1e-9)
        if share < _MAJORITY:
            continue
        for k in members:
            if own[k] != best:
                result[k] = named(best, layouts[k], share)
    return result


def _roles(layout: Layout) -> SlipDesign:
    """Return the layout's roles alone, as a design without geometry: equal roles are equal votes."""
    columns = tuple(DesignColumn(column.role, "", 0.0, 0.0) for column in layout.columns)
    return SlipDesign("", columns, len(layout.rows), 0.0, tuple(total.role for total in layout.totals))
