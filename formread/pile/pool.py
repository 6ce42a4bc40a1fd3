"""Slips of one pad agree: on its boxes and what its headings say, how far they are right, how its codes are written."""

from collections.abc import Sequence
from dataclasses import replace

from formread.arithmetic.astray import DOUBT, Witness, doubts, lean
from formread.layout.design import pooled
from formread.layout.record import Layout
from formread.pile.grids import one_grid
from formread.pile.leaning import leans_of
from formread.pile.record import ReadSlip
from formread.pile.roles import kept_sheet, pads
from formread.pile.slip import read_sheet
from formread.reading.alike import codes_alike


def pool_doubts(layouts: Sequence[Layout], misfits: Sequence[float]) -> list[float]:
    """How probably each slip's boxes were found wrongly, by its layout's looks and the sums of the pile's other slips.

    Parameters
    ----------
    misfits
        :attr:`formread.arithmetic.record.Judgement.misfit` of each slip.
    """
    found = [DOUBT] * len(layouts)
    every = pads(layouts)
    said = [
        [Witness(misfits[place], lean(leans_of(layouts[place]))) for place in members] for members in every
    ]
    for pad, members in enumerate(every):
        others = [*said[:pad], *said[pad + 1 :]]
        for place, doubt in zip(members, doubts(said[pad], others), strict=True):
            found[place] = doubt
    return found


def pool_codes(read: Sequence[ReadSlip]) -> list[ReadSlip]:
    """Return the slips with their codes read as codes of one catalogue: a pad's slips order from the same one."""
    lines = [list(slip.readings.lines) for slip in read]
    for members in pads([slip.layout for slip in read]):
        codes = [
            (place, row, line.code)
            for place in members
            for row, line in enumerate(lines[place])
            if line.code is not None
        ]
        for (place, row, _), code in zip(codes, codes_alike([own for _, _, own in codes]), strict=True):
            lines[place][row] = replace(lines[place][row], code=code)
    return [
        replace(slip, readings=replace(slip.readings, lines=tuple(own)))
        for slip, own in zip(read, lines, strict=True)
    ]


def pool_layouts(read: Sequence[ReadSlip]) -> list[ReadSlip]:
    """Return the slips with the boxes, and what they are, that the slips of their pad agree on.

    A slip whose layout changes is read again from its kept sheet: the reader must know what each box holds.
    """
    # In an order of their own: whichever photo came first, the same slips agree on the same.
    order = sorted(range(len(read)), key=lambda place: read[place].sheet_jpeg)
    slips = [read[place] for place in order]
    layouts = pooled(one_grid(slips, pooled([slip.layout for slip in slips])))
    result = list(read)
    for place, slip, layout in zip(order, slips, layouts, strict=True):
        image = None if layout is slip.layout else kept_sheet(slip)
        if image is not None:
            result[place] = replace(slip, layout=layout, readings=read_sheet(image, layout))
    return result
