"""The layout: what each box of a sheet means."""

from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Box:
    """A place to write in. ``pence`` is the right-hand half where pounds and pence have a box each."""

    rectangle: Rectangle
    pence: Rectangle | None = None


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
    """

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    totals: tuple[TotalBox, ...]
    serial: Rectangle | None = None
    serial_text: str | None = None
    customer: Rectangle | None = None
    probability: float = 1.0


@dataclass(frozen=True, slots=True)
class LayoutSearch:
    """The proposals for one sheet, most probable first, or why there is none (falsy then)."""

    layouts: tuple[Layout, ...]
    reason: str | None = None

    def __bool__(self) -> bool:
        return bool(self.layouts)
