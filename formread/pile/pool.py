"""Slips of one pad agree: on what its headings say, how far its boxes are found rightly, how its codes are written."""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from formread.arithmetic.astray import DOUBT, doubts
from formread.layout.design import SlipDesign, fits, learn, pooled
from formread.layout.record import Layout
from formread.pile.record import ReadSlip
from formread.pile.slip import read_sheet
from formread.reading.alike import codes_alike

SURE = 0.85
"""A layout less probable than this is itself in doubt. Of 57 slips of pads for development three were below it, and
the totals of two of these were not found; of the others, those of one."""


def pool_doubts(layouts: Sequence[Layout], misfits: Sequence[float]) -> list[float]:
    """How probably each slip's boxes were found wrongly, by what the sums of the pile's other slips say.

    Parameters
    ----------
    misfits
        :attr:`formread.arithmetic.record.Judgement.misfit` of each slip.
    """
    pads = _pads(layouts)
    found = [DOUBT] * len(layouts)
    said = [[misfits[place] for place in members] for members in pads]
    for pad, members in enumerate(pads):
        others = [*said[:pad], *said[pad + 1 :]]
        for place, doubt in zip(members, doubts(said[pad], others), strict=True):
            own = 1 - layouts[place].probability
            found[place] = max(doubt, own) if own > 1 - SURE else doubt
    return found


def _pads(layouts: Sequence[Layout]) -> list[list[int]]:
    """Return the places of the slips of each pad; slips on which no table was found belong to none."""
    pads: list[tuple[SlipDesign, list[int]]] = []
    for place, layout in enumerate(layouts):
        if not (layout.rows and layout.columns):
            continue
        members = next((found for design, found in pads if fits(design, layout)), None)
        if members is not None:
            members.append(place)
        else:
            pads.append((learn("", layout), [place]))
    return [members for _, members in pads]


def pool_codes(read: Sequence[ReadSlip]) -> list[ReadSlip]:
    """Return the slips with their codes read as codes of one catalogue: a pad's slips order from the same one."""
    lines = [list(slip.readings.lines) for slip in read]
    for members in _pads([slip.layout for slip in read]):
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


def pool_roles(read: Sequence[ReadSlip]) -> list[ReadSlip]:
    """Return the slips with the roles that the slips of their design agree on.

    A slip whose roles change is read again from its kept sheet: the reader must know what each box holds.
    """
    result = []
    for slip, layout in zip(read, pooled([slip.layout for slip in read]), strict=True):
        if layout is slip.layout:
            result.append(slip)
            continue
        sheet = cv2.imdecode(np.frombuffer(slip.sheet_jpeg, np.uint8), cv2.IMREAD_COLOR)
        if sheet is None:
            result.append(slip)
            continue
        image = np.ascontiguousarray(np.asarray(sheet, np.uint8)[..., ::-1])
        result.append(replace(slip, layout=layout, readings=read_sheet(image, layout)))
    return result
