"""What stands where on a sheet, as a small network sees it: boxes to write in, headings, labels, decoys.

The network sees the whole sheet, 1024 pixels long, and says for every place of a map of half that size which kind
of box lies there (``KINDS``), whether the place is well inside its box (*core*: boxes that touch have cores apart)
and whether it is the half of a box for the pence. What the boxes are together, rows, columns and totals, is worked
out afterwards (``table.py``). The weights come from ``models/layouts``, where forms are drawn to train it.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from formread.networks import open_network
from formread.sheet.record import Image

LONG_SIDE: Final = 1024
"""Pixels of the sheet's longer side as the network sees it."""
KINDS: Final = (
    "nothing",
    "code",
    "description",
    "quantity",
    "unit_price",
    "line_total",
    "size",
    "page",
    "other",
    "goods",
    "delivery",
    "discount",
    "deposit",
    "other_total",
    "total",
    "heading",
    "label",
    "serial",
    "customer",
    "decoy",
)
"""The order of the maps: columns of the table, boxes of the totals, and print. Fixed by the network's training."""
COLUMNS: Final = slice(1, 9)
TOTALS: Final = slice(9, 15)
CORE_MARGIN: Final = 1.0
"""Places of the map by which a core is smaller than its box on each side."""

_WEIGHTS = Path(__file__).with_name("weights") / "boxes.onnx"
_STEP = 32  # the network halves the sheet five times

Map = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What the network saw.

    Attributes
    ----------
    kinds
        (20, h, w) probabilities of ``KINDS``; they sum to one at each place.
    core, pence
        (h, w) probabilities.
    scale
        Pixels of the sheet that one place spans, in x and in y: place (x, y) is the sheet's
        ``(x + 0.5) * scale - 0.5``.
    """

    kinds: Map
    core: Map
    pence: Map
    scale: tuple[float, float]


def look(image: Image) -> Seen:
    """Look at a sheet.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB, one slip, flat and upright.

    Raises
    ------
    FormreadError
        The network's file is missing or damaged.
    """
    height, width = image.shape[:2]
    shrink = LONG_SIDE / max(height, width)
    w, h = (max(_STEP, round(side * shrink)) for side in (width, height))
    small = cv2.resize(image, (w, h), interpolation=cv2.INTER_AREA if shrink < 1 else cv2.INTER_CUBIC)
    right, bottom = -w % _STEP, -h % _STEP
    padded = cv2.copyMakeBorder(small, 0, bottom, 0, right, cv2.BORDER_REPLICATE)
    network = open_network(_WEIGHTS, "The finder of boxes")
    maps = network(np.ascontiguousarray(padded.transpose(2, 0, 1)[None], np.float32))[0]
    maps = maps[:, : (h + 1) // 2, : (w + 1) // 2]
    return Seen(maps[: len(KINDS)], maps[-2], maps[-1], (2 * width / w, 2 * height / h))
