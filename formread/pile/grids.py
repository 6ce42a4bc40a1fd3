"""One grid for the slips of a pad: where their boxes were found differently, all have what most, or all together, show.

Slips whose boxes agree are of one *form*. Where a pile has more than one form, their sheets are held against each
other: either they are of other pads, or of one pad of which some slips went astray.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from formread.layout.boxes import Seen, look
from formread.layout.match import CLEAR, SAME, Match, Print, matched, print_of
from formread.layout.propose import layouts_in
from formread.layout.record import Layout
from formread.layout.together import agree, brought, explained, off_the_rest, seen_together
from formread.pile.leaning import odd
from formread.pile.record import ReadSlip
from formread.pile.roles import kept_sheet
from formread.sheet.record import Image

MAJORITY: Final = 0.6
"""Share of a pad's slips, weighed by how odd their looks are, whose boxes all others have."""
FEWEST: Final = 3
"""Slips that are a majority; fewer are looked at together with the others."""
LOOKED_AT: Final = 6
"""Slips of a pad that are looked at together."""
EXPLAINED: Final = 0.6
"""Share of a slip's own boxes whose edges must be edges of the pad's: else it is of another form."""


@dataclass
class _Slip:
    """One slip of a pile as far as its grid goes; its picture is opened only where it is needed."""

    place: int
    read: ReadSlip
    layout: Layout

    @property
    def image(self) -> Image | None:
        """Its sheet, opened anew each time: ninety of them would fill the memory."""
        return kept_sheet(self.read)

    @cached_property
    def print(self) -> Print | None:
        image = self.image
        return None if image is None else print_of(image)

    @cached_property
    def seen(self) -> Seen | None:
        image = self.image
        return None if image is None else look(image)

    @property
    def weight(self) -> float:
        """How much its boxes count: the less, the odder they look."""
        return 1 / (1 + odd(self.layout.trust))

    def onto(self, other: "_Slip") -> Match | None:
        """How the other's sheet lies on this one's."""
        return None if self.print is None or other.print is None else matched(self.print, other.print)


_Form = list[_Slip]
"""Slips whose boxes agree."""


def one_grid(read: Sequence[ReadSlip], layouts: Sequence[Layout]) -> list[Layout]:
    """Return the layouts with one grid for the slips of each pad; those that stay are the same objects.

    Parameters
    ----------
    read
        The slips; their kept sheets are looked at where grids differ.
    layouts
        The layout of each, with the roles that its pad agrees on.
    """
    result = list(layouts)
    slips = [
        _Slip(place, slip, layout)
        for place, (slip, layout) in enumerate(zip(read, layouts, strict=True))
        if layout.rows and layout.columns
    ]
    for pad in _pads(_forms(slips)):
        for slip, layout in _as_one(pad):
            result[slip.place] = layout
    return result


def _forms(slips: Sequence[_Slip]) -> list[_Form]:
    """Gather slips whose boxes agree, the most and soundest first."""
    found: list[_Form] = []
    for slip in slips:
        form = next((form for form in found if agree(form[0].layout, slip.layout)), None)
        if form is None:
            found.append([slip])
        else:
            form.append(slip)
    return sorted(found, key=_weight, reverse=True)


def _weight(slips: Sequence[_Slip]) -> float:
    return sum(slip.weight for slip in slips)


def _middlemost(form: _Form) -> _Slip:
    """Return the slip whose boxes lie most as on the others of its form: its sheet is the flattest."""
    off = off_the_rest([slip.layout for slip in form])
    return min(zip(form, off, strict=True), key=lambda one: (round(one[1], 4), -one[0].weight))[0]


def _pads(forms: Sequence[_Form]) -> list[list[_Form]]:
    """Bring forms of one pad together, by the print of their sheets."""
    found: list[list[_Form]] = []
    for form in forms:
        pad = next((pad for pad in found if _same_pad(pad[0], form)), None)
        if pad is None:
            found.append([form])
        else:
            pad.append(form)
    return found


def _same_pad(form: _Form, other: _Form) -> bool:
    match = _middlemost(form).onto(_middlemost(other))
    return match is not None and match.likeness >= SAME


def _as_one(pad: Sequence[_Form]) -> Iterator[tuple[_Slip, Layout]]:
    """Yield the slips of a pad that get other boxes than were found on them alone, and those."""
    if len(pad) < 2:
        return
    model = _model(pad)
    if model is None:
        return
    for slip in (slip for form in pad for slip in form):
        if agree(model.layout, slip.layout):
            continue
        match = model.onto(slip)
        if match is None or match.likeness < SAME or slip.print is None:
            continue
        long = max(slip.print.size)
        layout = brought(model.layout, match, slip.layout, long)
        if explained(slip.layout, layout, long) >= EXPLAINED:
            yield slip, layout


def _model(pad: Sequence[_Form]) -> _Slip | None:
    """Return the slip whose boxes all slips of the pad are to have; None where nothing speaks for any."""
    every = [slip for form in pad for slip in form]
    first = _middlemost(pad[0])
    if len(pad[0]) >= FEWEST and _weight(pad[0]) >= MAJORITY * _weight(every):
        return first
    others = sorted((slip for slip in every if slip is not first), key=lambda slip: -slip.weight)
    layout = _together(first, others[: LOOKED_AT - 1])
    if layout is None:
        return None
    form = next((form for form in pad if agree(form[0].layout, layout)), None)
    if form is not None:
        return _middlemost(form)
    return _Slip(first.place, first.read, layout) if len(every) >= FEWEST else None


def _together(first: _Slip, others: Sequence[_Slip]) -> Layout | None:
    """Return the boxes that several slips show together, as they lie on the first; None where no other lies well on it."""
    looks = []
    for other in others:
        match = first.onto(other)
        if match is not None and match.likeness >= CLEAR and other.seen is not None:
            looks.append((other.seen, match))
    image, seen = first.image, first.seen
    if image is None or seen is None or not looks:
        return None
    proposals = layouts_in(image, seen_together(seen, looks))
    return proposals.layouts[0] if proposals else None
