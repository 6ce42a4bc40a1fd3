"""The layout: what each box of a sheet means."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

ColumnRole = Literal["code", "description", "quantity", "unit_price", "line_total", "size", "page", "other"]
TotalRole = Literal["goods", "delivery", "discount", "deposit", "other", "total"]
"""``goods`` is the sum of the lines before charges; ``total`` is what the customer is to pay."""


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A box in pixels of the sheet: ``left <= x < right``, ``top <= y < bottom``, inside the ruled lines."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        """Pixels from side to side, one at least."""
        return max(self.right - self.left, 1)

    @property
    def height(self) -> int:
        """Pixels from top to bottom, one at least."""
        return max(self.bottom - self.top, 1)


@dataclass(frozen=True, slots=True)
class Box:
    """A place to write in. ``pence`` is the right-hand half where pounds and pence have a box each."""

    rectangle: Rectangle
    pence: Rectangle | None = None

    @property
    def whole(self) -> Rectangle:
        """Both halves together."""
        if self.pence is None:
            return self.rectangle
        return replace(self.rectangle, right=self.pence.right)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table. ``heading`` is the print above it as read, ``""`` if none was readable."""

    role: ColumnRole
    left: int
    right: int
    heading: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the table, counted from 1, with a box for every column that the design has."""

    number: int
    boxes: tuple[tuple[ColumnRole, Box], ...]

    def box(self, role: ColumnRole) -> Box | None:
        """Return this row's first box of that role, or None where the design has no such column."""
        return next((box for name, box in self.boxes if name == role), None)


@dataclass(frozen=True, slots=True)
class TotalBox:
    """One box of the totals block with what it means and the print beside it as read."""

    role: TotalRole
    box: Box
    label: str = ""


@dataclass(frozen=True, slots=True)
class Trust:
    """How far a layout can be trusted, by its own looks: what is odd about it, and what else its boxes may be.

    Attributes
    ----------
    totals
        How probable the roles of the totals' boxes are among all that would make another sum; 0 without a total.
    stray_rows
        What was seen as boxes of the table and is in none, in rows' worth.
    stray_totals
        The largest place seen as a box of the totals that is in none, in boxes' worth.
    unparted
        Share of the edges between rows that were not seen.
    beyond
        How much a further row over or under the table looks like one: mean probability of its places.
    seen
        Mean probability that the places in the total's box are of a box of the totals.
    column_roles, total_roles
        What the columns, and the boxes of the totals, may be, with probabilities, most probable first.
    """

    totals: float = 1.0
    stray_rows: float = 0.0
    stray_totals: float = 0.0
    unparted: float = 0.0
    beyond: float = 0.0
    seen: float = 1.0
    column_roles: tuple[tuple[tuple[ColumnRole, ...], float], ...] = ()
    total_roles: tuple[tuple[tuple[TotalRole, ...], float], ...] = ()


@dataclass(frozen=True, slots=True)
class Layout:
    """One proposal for what the boxes of a sheet mean.

    Attributes
    ----------
    serial
        The printed slip number: the box around it and its text as read.
    customer
        The block in which name and address are written.
    probability
        How probable this proposal is among those made for the sheet, on print and geometry alone.
    trust
        How far its boxes can be trusted to be what is there.
    spare
        What was seen like boxes of the totals and is for no sum: a number of pieces, initials.
    known
        Whether a known design named its boxes; else the print on the slip did.
    """

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    totals: tuple[TotalBox, ...]
    serial: Rectangle | None = None
    serial_text: str | None = None
    customer: Rectangle | None = None
    probability: float = 1.0
    trust: Trust = Trust()
    spare: tuple[Box, ...] = ()
    known: bool = False

    @property
    def table(self) -> Rectangle:
        """The outline of its rows.

        Raises
        ------
        ValueError
            It has no rows.
        """
        boxes = [box.whole for row in self.rows for _, box in row.boxes]
        return Rectangle(
            min(box.left for box in boxes),
            min(box.top for box in boxes),
            max(box.right for box in boxes),
            max(box.bottom for box in boxes),
        )

    def with_columns(self, roles: Sequence[ColumnRole]) -> "Layout":
        """Return the layout with its columns named otherwise, and their boxes with them.

        Raises
        ------
        ValueError
            There are not as many roles as columns.
        """
        columns = tuple(replace(column, role=role) for column, role in zip(self.columns, roles, strict=True))
        rows = tuple(
            replace(row, boxes=tuple((role, box) for role, (_, box) in zip(roles, row.boxes, strict=True)))
            for row in self.rows
        )
        return replace(self, columns=columns, rows=rows)


@dataclass(frozen=True, slots=True)
class LayoutSearch:
    """The proposals for one sheet, most probable first, or why there is none (falsy then)."""

    layouts: tuple[Layout, ...]
    reason: str | None = None

    def __bool__(self) -> bool:
        return bool(self.layouts)
