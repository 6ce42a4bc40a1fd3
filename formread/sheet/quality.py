"""What a photo did to a slip (too small, dark or blurred, a lamp mirrored in it), in words that tell what to do."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet.record import Image

_FINE, _COARSE = (
    1.0,
    3.0,
)  # pixels: a sharp picture loses much of its steepness between them, a blurred one little
_NOTHING = 0.01  # steps of 255 a pixel: no edge at all
_STEEPEST = 99.5  # percentile of steepness that is looked at: the edges of print and writing
_RIM = 0.03  # of a sheet, left out all round: the table may show there

_TOO_BLURRED = (
    0.85  # of the steepness left, at 1400 pixels: no ordinary photo came above 0.55, drawn or retouched
)
_BLURRED = 0.65
_TOO_MOVED, _MOVED = 0.25, 0.4  # of the steepness across the hand's way; no ordinary photo came below 0.6
_TOO_DARK = 12.0  # of 255, the brightest channel of bare paper: fewer steps than handwriting needs
_DARK = 40.0
_TOO_SHORT = 450  # pixels of the slip's long side in the photo: figures are less than ten pixels high
_SHORT = 700
_WHITE, _GREY = 250, 232  # of 255, of the darkest channel of paper: under a mirrored lamp, and beside it
_GLARE = 0.06  # of a sheet: so much of each; a scan has white paper all over

_AGAIN = {
    "small": "Photograph it from nearer, or send the photo in its full size.",
    "dark": "Photograph it again nearer to a window or a lamp.",
    "blurred": "Hold the phone still, tap on the slip to focus, and photograph it again.",
    "glare": "Photograph it again without flash, or turn it away from the lamp.",
}


@dataclass(frozen=True, slots=True)
class Hindrance:
    """What makes a slip hard to read, as a sentence for the seller, and whether nobody could read it so."""

    message: str
    hopeless: bool


def hindrance(trial: Image, tone: npt.NDArray[np.float32], long: float) -> Hindrance | None:
    """Say what in the photo hinders reading a slip, and what to do; None for every ordinary photo.

    Parameters
    ----------
    trial
        (H, W, 3) uint8 RGB, the slip roughly flattened, its long side 1400 pixels.
    tone
        (h, w, 3) float32, its paper's colour, as ``light.paper_tone`` gives it.
    long
        The slip's long side in the photo, pixels.
    """
    if long < _SHORT:
        return _said(f"small ({round(long)} pixels long)", long < _TOO_SHORT, "small")
    bright = float(np.median(tone.reshape(-1, 3), axis=0).max())
    if bright < _DARK:
        return _said("dark", bright < _TOO_DARK, "dark")
    soft, even = sharpness(trial)
    if soft > _BLURRED or even < _MOVED:
        return _said("blurred", soft > _TOO_BLURRED or even < _TOO_MOVED, "blurred")
    darkest = tone.min(axis=2)
    if float((darkest >= _WHITE).mean()) > _GLARE and float((darkest < _GREY).mean()) > _GLARE:
        return Hindrance(f"A lamp or the flash is mirrored on a slip in this photo. {_AGAIN['glare']}", False)
    return None


def _said(what: str, hopeless: bool, fault: str) -> Hindrance:
    how = f"too {what} to read" if hopeless else f"rather {what}"
    return Hindrance(f"A slip in this photo is {how}. {_AGAIN[fault]}", hopeless)


def sharpness(image: Image) -> tuple[float, float]:
    """Return how soft a picture is and how evenly sharp, each 0 to 1.

    Returns
    -------
    soft
        What share of its steepness it keeps when blurred further, in x or in y, the larger: a sharp picture keeps
        little, one that was blurred before keeps most [1]_.
    even
        How steep it is in x against y, the lesser over the greater: little where the hand moved.

    References
    ----------
    .. [1] F. Crete, T. Dolmiere, P. Ladret, M. Nicolas, "The blur effect: perception and estimation with a new
       no-reference perceptual blur metric", SPIE 6492 (2007), cited from memory: a blurred picture changes little
       when blurred again.
    """
    inner = _inner(image)
    grey = np.asarray(cv2.min(cv2.min(inner[..., 0], inner[..., 1]), inner[..., 2]), np.float32)
    fine, coarse = _steepness(grey, _FINE), _steepness(grey, _COARSE)
    soft = max(
        after / before if before > _NOTHING else 1.0 for before, after in zip(fine, coarse, strict=True)
    )
    return soft, min(fine) / max(*fine, _NOTHING)


def _steepness(grey: npt.NDArray[np.float32], blur: float) -> tuple[float, float]:
    """Return how steep the steepest places are, in x and in y, of a picture blurred by so many pixels."""
    soft = cv2.GaussianBlur(grey, (0, 0), blur)
    across, down = cv2.absdiff(soft[:, 1:], soft[:, :-1]), cv2.absdiff(soft[1:], soft[:-1])
    return (
        float(np.percentile(across[::2, ::2], _STEEPEST)),
        float(np.percentile(down[::2, ::2], _STEEPEST)),
    )


def _inner(image: Image) -> Image:
    y, x = (max(1, round(_RIM * side)) for side in image.shape[:2])
    return image[y:-y, x:-x]
