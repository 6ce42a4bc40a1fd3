"""Slips of one pad agree on what its headings say; those that differed are read again."""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from formread.layout.design import pooled
from formread.pile.record import ReadSlip
from formread.pile.slip import read_sheet


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
