"""The sheet: one slip, cut out of its photo and flattened."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Image = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """One slip, flat and upright.

    Attributes
    ----------
    image
        (H, W, 3) uint8 RGB, the slip's own top at the top.
    outline
        (4, 2) corners (x, y) in pixels of the upright photo, clockwise from the slip's own top left.
    to_photo
        Maps (N, 2) points (x, y) of ``image`` to points of the upright photo, curl included.
    doubt
        What in the photo makes this slip hard to read, and what to do, in the seller's words; None as a rule.
    whole
        Where this may be but a part of a slip, parted from the rest along a coloured panel: gives the slip as one sheet,
        None where that is none. The same object for both parts.
    """

    image: Image
    outline: Points
    to_photo: Callable[[Points], Points]
    doubt: str | None = None
    whole: "Callable[[], Sheet | None] | None" = None


@dataclass(frozen=True, slots=True)
class SheetSearch:
    """What was found in one photo: the sheets in reading order, or why there is none.

    Falsy when there is none; ``reason`` then tells the seller what to do ("too dark ...: photograph it again
    nearer to a lamp"). ``notes`` holds remarks worth passing on beside slips that were found.
    """

    sheets: tuple[Sheet, ...]
    reason: str | None = None
    notes: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.sheets)
