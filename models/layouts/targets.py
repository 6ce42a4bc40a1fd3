"""What the network should say of a drawn form: maps of half the picture's size."""

from collections.abc import Sequence
from typing import Final, Protocol

import cv2
import numpy as np
import numpy.typing as npt

KINDS: Final = (
    *("nothing", "code", "description", "quantity", "unit_price", "line_total", "size", "page", "other"),
    *("goods", "delivery", "discount", "deposit", "other_total", "total"),
    *("heading", "label", "serial", "customer", "decoy"),
)
"""The order of the maps: ``formread.layout.boxes.KINDS``, written out again because the machine that trains need not have
what formread needs; a test holds the two together."""
BOXES: Final = frozenset(KINDS[1:15])
"""Kinds that are boxes to write in."""
_BEHIND: Final = ("decoy", "customer", "heading", "label", "serial")
"""Painted first, in this order: what overlaps them goes over them."""
SHRINK: Final = 3.0
"""Pixels of the picture between a box's edge and its core."""
_SHRINK_SHARE: Final = 0.2
"""Of the shorter side at most."""
_FINE: Final = 4  # bits after the point in OpenCV's polygons

Bytes = npt.NDArray[np.uint8]


class Placed(Protocol):
    """A drawn box (``models.forms.Place``)."""

    @property
    def kind(self) -> str:
        """One of ``KINDS``."""

    @property
    def corners(self) -> npt.NDArray[np.float32]:
        """(4, 2) from the top left, clockwise."""

    @property
    def pence(self) -> bool:
        """Whether it is the half for the pence."""


def shrunk(corners: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return a box's core: (4, 2) corners drawn in by ``SHRINK`` pixels, less in a small box."""
    wide = float(np.linalg.norm(corners[1] - corners[0]) + np.linalg.norm(corners[2] - corners[3])) / 2
    high = float(np.linalg.norm(corners[3] - corners[0]) + np.linalg.norm(corners[2] - corners[1])) / 2
    step = min(SHRINK, _SHRINK_SHARE * min(wide, high))
    across = (corners[[1, 0, 3, 2]] - corners) / max(wide, 1e-3)
    down = (corners[[3, 2, 1, 0]] - corners) / max(high, 1e-3)
    return np.asarray(corners + step * (across + down), np.float32)


def _fill(image: Bytes, corners: npt.NDArray[np.float32], value: int) -> None:
    # Corners lie between pixels (pixel k spans k to k + 1), OpenCV's points in the middle of them.
    points = np.rint((corners / 2 - 0.5) * (1 << _FINE)).astype(np.int32)
    cv2.fillConvexPoly(image, points, value, cv2.LINE_8, _FINE)


NO_BOX: Final = 254
"""In place of a kind: no box to write in, but nobody says what else."""


def maps(places: Sequence[Placed], height: int, width: int, *, all_named: bool = True) -> Bytes:
    """Return (3, height / 2, width / 2) uint8: number of the kind, core (0 or 1), pence (0 or 1).

    `all_named`: print and decoys are among `places`, too; where they are not, what is no box is ``NO_BOX``.
    """
    result = np.zeros((3, height // 2, width // 2), np.uint8)
    if not all_named:
        result[0] = NO_BOX
    order = sorted(places, key=lambda p: _BEHIND.index(p.kind) if p.kind in _BEHIND else len(_BEHIND))
    for place in order:
        _fill(result[0], place.corners, KINDS.index(place.kind))
        if place.kind in BOXES:
            _fill(result[2], place.corners, int(place.pence))
    for place in order:
        if place.kind in BOXES:
            _fill(result[1], shrunk(place.corners), 1)
    return result
