"""What one photo gave, before the pile as a whole is judged."""

from dataclasses import dataclass

from formread.arithmetic.record import Judgement, SlipReadings
from formread.layout.record import Layout
from formread.slips import Problem, Slip


@dataclass(frozen=True, slots=True)
class ReadSlip:
    """One slip as read: everything that the judge and the pictures need, and no photo.

    Attributes
    ----------
    outline
        Four corners (x, y) in pixels of the upright photo, clockwise from the slip's own top left.
    sheet_jpeg
        The flattened slip as a JPEG file: what pictures are drawn on.
    """

    photo: str
    page: int
    outline: tuple[tuple[float, float], ...]
    layout: Layout
    readings: SlipReadings
    sheet_jpeg: bytes


@dataclass(frozen=True, slots=True)
class ReadPhoto:
    """What one photo (all its pages) gave."""

    slips: tuple[ReadSlip, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """Where a slip of a kept pile stands: what the judge says, and what a person has added to it.

    Attributes
    ----------
    slip
        The slip as it goes out.
    judgement
        The judge's answer on the readings and on what was confirmed.
    seen
        A person has said what to make of this slip: nothing is left to ask.
    """

    slip: Slip
    judgement: Judgement
    seen: bool = False
