"""Slip designs: what is the same on every slip of one pad, learned from one slip and recognised on the next.

A design is recognised by its geometry: how many rows and columns, where the columns' edges lie as shares of the
table's width, where pounds are parted from pence, roughly how high the table is for its width, and where the boxes of
the totals lie. Where it knows what is printed over the columns, too, a slip of it is named without any print being read.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from formread.layout.heading_print import ALIKE, HeadingPrint, likeness
from formread.layout.record import ColumnRole, Layout, Rectangle, TotalBox, TotalRole, Trust

_EDGE_OFF = 0.015  # of the table's width; flattening leaves less, two pads of one printer differ more
# Share by which the table's height for its width may differ. Where a slip was seen aslant flattening may miss it by a
# fifth: with 0.05, 138 slips of 24 pads fell into 52 groups, with 0.2 and more into 32, and no two pads into one.
_PROPORTION_OFF = 0.25
KNOWN: Final = 0.99
"""How sure a recognised design makes the roles."""
ACROSS_OFF: Final = 0.025
"""Share of the table's width by which the same edge may lie elsewhere on another slip of the pad."""
ROW_OFF: Final = 0.4
"""Share of a row's height, likewise."""
_TAUGHT = Trust(totals=KNOWN)
_POOLED = 2  # slips of one design at least, for their headings to be read together
_MAJORITY = 0.6  # share of the votes, weighed by how sure each slip is

Shares = tuple[float, float, float, float]
"""Left, top, right and bottom, in widths and heights of the table from its upper left corner."""


Roles = tuple[tuple[ColumnRole, ...], tuple[TotalRole, ...]]
"""What the columns are, and what the boxes of the totals are."""


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
class DesignTotal:
    """One box of the totals: its role, the print beside it, and its place.

    ``place`` is None in designs that were taught before places were kept; ``pence`` is where pounds end and pence begin,
    None where they share a box.
    """

    role: TotalRole
    label: str = ""
    place: Shares | None = None
    pence: float | None = None


@dataclass(frozen=True, slots=True)
class SlipDesign:
    """One printed form.

    Attributes
    ----------
    proportion
        The height of its rows together over the table's width.
    spare
        Boxes that look like those of the totals and are for no sum.
    number
        Where the slip's number is printed; None where none was found.
    heading
        What is printed over the columns, as it looks; None where nobody looked.
    probability, trust
        How sure the roles are, and what else they may be. Where a person has said what they are nothing else is thought of.
    """

    name: str
    columns: tuple[DesignColumn, ...]
    rows: int
    proportion: float
    totals: tuple[DesignTotal, ...]
    spare: tuple[Shares, ...] = ()
    number: Shares | None = None
    heading: HeadingPrint | None = None
    probability: float = KNOWN
    trust: Trust = _TAUGHT


def learn(name: str, layout: Layout, heading: HeadingPrint | None = None) -> SlipDesign:
    """Return the design of a slip whose layout is known, `heading` as printed over its columns."""
    first = layout.rows[0].boxes
    start = min(box.rectangle.left for _, box in first)
    width = max(max(box.whole.right for _, box in first) - start, 1)
    table = layout.table
    columns = []
    for column, (_, box) in zip(layout.columns, first, strict=True):
        pence = None if box.pence is None else round((box.pence.left - start) / width, 4)
        edges = round((box.rectangle.left - start) / width, 4), round((box.whole.right - start) / width, 4)
        columns.append(DesignColumn(column.role, column.heading, *edges, pence))
    return SlipDesign(
        name,
        tuple(columns),
        len(layout.rows),
        round(table.height / width, 4),
        tuple(_total(total, table) for total in layout.totals),
        tuple(_shares(box.whole, table) for box in layout.spare),
        None if layout.serial is None else _shares(layout.serial, table),
        heading,
    )


def _total(total: TotalBox, table: Rectangle) -> DesignTotal:
    half = total.box.pence
    pence = None if half is None else round((half.left - table.left) / table.width, 4)
    return DesignTotal(total.role, total.label, _shares(total.box.whole, table), pence)


def _shares(place: Rectangle, table: Rectangle) -> Shares:
    return (
        round((place.left - table.left) / table.width, 4),
        round((place.top - table.top) / table.height, 4),
        round((place.right - table.left) / table.width, 4),
        round((place.bottom - table.top) / table.height, 4),
    )


def in_pixels(place: Shares, table: Rectangle) -> Rectangle:
    """Return where a place of a design is on a sheet with such a table."""
    return Rectangle(
        round(table.left + place[0] * table.width),
        round(table.top + place[1] * table.height),
        round(table.left + place[2] * table.width),
        round(table.top + place[3] * table.height),
    )


def fits(design: SlipDesign, layout: Layout, off: float = _EDGE_OFF) -> bool:
    """Say whether a layout is a slip of this design, by the geometry of its rows alone.

    `off` is by how much of the table's width the same edge may lie elsewhere.
    """
    if len(layout.rows) != design.rows or len(layout.columns) != len(design.columns):
        return False
    other = learn("", layout)
    if abs(other.proportion / design.proportion - 1) > _PROPORTION_OFF:
        return False
    return all(
        abs(a.left - b.left) <= off and abs(a.right - b.right) <= off and _parted_alike(a.pence, b.pence, off)
        for a, b in zip(design.columns, other.columns, strict=True)
    )


def _parted_alike(one: float | None, other: float | None, off: float) -> bool:
    return (one is None) == (other is None) and abs((one or 0.0) - (other or 0.0)) <= off


def headed_alike(design: SlipDesign, heading: HeadingPrint | None) -> bool:
    """Say whether the print over the columns of a slip is a design's, in every column; not where nobody looked."""
    if design.heading is None or heading is None:
        return False
    return likeness(design.heading, heading, [(c.left, c.right) for c in design.columns]) >= ALIKE


def told(design: SlipDesign, layout: Layout) -> Layout | None:
    """Return a layout with everything that the design says of its boxes; None where they are not clearly the design's.

    Parameters
    ----------
    layout
        Boxes as they were seen, the totals' with what looks like them and is for no sum.
    """
    if not fits(design, layout, ACROSS_OFF):
        return None
    seen = [_total(total, layout.table) for total in layout.totals]
    totals, left = [], dict(enumerate(seen))
    for total in design.totals:
        here = [
            k
            for k, one in left.items()
            if _lies_at(one, total.place, design) and _parted_alike(total.pence, one.pence, ACROSS_OFF)
        ]
        if len(here) != 1:
            return None
        del left[here[0]]
        totals.append(TotalBox(total.role, layout.totals[here[0]].box, total.label))
    if not all(any(_lies_at(one, place, design) for place in design.spare) for one in left.values()):
        return None
    columns = tuple(
        replace(column, heading=known.heading)
        for column, known in zip(layout.columns, design.columns, strict=True)
    )
    named = replace(layout, columns=columns).with_columns([column.role for column in design.columns])
    return replace(
        named,
        totals=tuple(totals),
        spare=tuple(layout.totals[k].box for k in left),
        probability=design.probability,
        trust=design.trust,
        known=True,
    )


def _lies_at(total: DesignTotal, place: Shares | None, design: SlipDesign) -> bool:
    """Say whether a box of the totals is where a design has one; not where the design keeps no places."""
    if total.place is None or place is None:
        return False
    off = (ACROSS_OFF, ROW_OFF / design.rows) * 2
    return all(abs(a - b) <= most for a, b, most in zip(total.place, place, off, strict=True))


def roles_of(layout: Layout) -> Roles:
    """Return what the columns are, and what the boxes of the totals are."""
    return tuple(column.role for column in layout.columns), tuple(total.role for total in layout.totals)


def named(design: SlipDesign, layout: Layout, probability: float = KNOWN) -> Layout:
    """Return the layout with the roles that the design gives its boxes.

    The totals' roles are taken over only where as many totals were found as the design has.
    """
    roles = tuple(column.role for column in design.columns), tuple(total.role for total in design.totals)
    return _renamed(layout, roles, probability)


def _renamed(layout: Layout, roles: Roles, probability: float) -> Layout:
    layout, totals = layout.with_columns(roles[0]), layout.totals
    if len(totals) == len(roles[1]):
        totals = tuple(replace(total, role=role) for total, role in zip(totals, roles[1], strict=True))
    return replace(layout, totals=totals, probability=probability)


def recognised(designs: Sequence[SlipDesign], layout: Layout) -> Layout:
    """Return the layout as the first design that fits it has it, or unchanged."""
    design = next((design for design in designs if fits(design, layout)), None)
    if design is None:
        return layout
    # A person has said what the boxes are: nothing else is thought of.
    trust = replace(layout.trust, column_roles=())
    if len(layout.totals) == len(design.totals):
        trust = replace(trust, totals=KNOWN, total_roles=())
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
        votes: dict[Roles, float] = {}
        own = {k: roles_of(layouts[k]) for k in members}
        for k in members:
            votes[own[k]] = votes.get(own[k], 0.0) + layouts[k].probability
        best = max(votes, key=lambda roles: votes[roles])
        share = votes[best] / max(sum(votes.values()), 1e-9)
        if share < _MAJORITY:
            continue
        # Slips that guess alike stay guesses: nothing was read on them that one alone would not show.
        surest = max(layouts[k].probability for k in members if own[k] == best)
        for k in members:
            if own[k] != best:
                result[k] = _renamed(layouts[k], best, share * surest)
    return result
