"""The finder: a small network that tells, for every place of a photo, whether a slip lies there.

It sees the whole photo at once, 512 pixels long, and answers with three maps: *slip*, *outline* (the rim of
every slip, also where two touch) and *core* (what of a slip lies well inside its rim, so that slips that touch
have cores apart). Where exactly the edges run is found afterwards, in the photo itself. The weights come from
``models/sheets``, where their scenes are drawn too.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from formread.networks import open_network
from formread.sheet.record import Image

LONG_SIDE: Final = 512
"""Pixels of the photo's longer side as the network sees it."""

_WEIGHTS = Path(__file__).with_name("weights") / "finder.onnx"
_STEP = 32  # the network halves the photo five times

Map = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What the network saw: (h, w) float32 maps, 0 to 1, and how many photo pixels one place of them spans.

    Place (x, y) of a map is the photo's ``(x + 0.5) * scale - 0.5``; ``scale`` is (in x, in y).
    """

    slip: Map
    outline: Map
    core: Map
    scale: tuple[float, float]


def look(copy: Image, shape: tuple[int, ...]) -> Seen:
    """Look at a photo.

    Parameters
    ----------
    copy
        (h, w, 3) uint8 RGB, the photo or a smaller copy, ``LONG_SIDE`` long or longer.
    shape
        (H, W, ...) of the photo itself, to whose pixels ``scale`` refers.

    Raises
    ------
    FormreadError
        The network's file is missing or damaged.
    """
    height, width = shape[:2]
    shrink = LONG_SIDE / max(height, width)
    # Sides that are no multiple of 32 are stretched a little: paper stays paper.
    w, h = (max(_STEP, round(side * shrink / _STEP) * _STEP) for side in (width, height))
    small = cv2.resize(copy, (w, h), interpolation=cv2.INTER_AREA)
    network = open_network(_WEIGHTS, "The finder of slips")
    maps = network(np.ascontiguousarray(small.transpose(2, 0, 1)[None], np.float32))[0]
    return Seen(maps[0], maps[1], maps[2], (width / maps.shape[2], height / maps.shape[1]))
