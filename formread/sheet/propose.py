"""Outlines that might be sheets, found from a small copy of the photo. Cheap and generous: evidence decides."""

from itertools import combinations

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet import quad as quads
from formread.sheet.record import Image, Points

SCALE_SIDE = 1024  # long side of the copy on which outlines are judged
_REGION_SIDE = 512  # long side for growing regions: a twelfth of a photo is still 130 pixels long here
_STROKE = 0.011  # of the long side: writing, rules and print are thinner and are painted over with paper
_SMALLEST = 0.01  # of the photo's area: of twelve slips in a photo each is larger
_FILLED = 0.72  # share of its quad that a region must fill; a neighbour's overlap or a hand takes the rest
_SLOPES = (
    1.2,
    1.8,
    2.6,
    3.8,
    5.5,
    8.0,
    12.0,
    18.0,
)  # Lab units a pixel: from white on white to black on white
_TONES = 14.0  # Lab units between two levels of lightness
_TINTS = 6.0  # Lab units between two levels of colour
_CUTS = (5, 17)  # pixels: bridges narrower than this, between slips that touch, are cut
_JOINED = 0.85  # share of their common quad that two parts of one slip fill
_SAME = 0.93  # Jaccard index above which two proposals are one


def without_writing(photo: Image) -> tuple[npt.NDArray[np.float32], float]:
    """Return a small Lab copy of the photo with thin dark strokes filled in, and its scale.

    Returns
    -------
    (h, w, 3) float32
        CIE L*, a*, b* (L* 0 to 100).
    scale
        Pixels of the copy per pixel of the photo.
    """
    height, width = photo.shape[:2]
    scale = min(1.0, SCALE_SIDE / max(height, width))
    small = photo
    if scale < 1:
        small = np.asarray(
            cv2.resize(
                photo,
                (max(1, round(width * scale)), max(1, round(height * scale))),
                interpolation=cv2.INTER_AREA,
            ),
            np.uint8,
        )
    reach = max(3, round(_STROKE * max(small.shape[:2]))) | 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    closed = cv2.morphologyEx(cv2.medianBlur(small, 3), cv2.MORPH_CLOSE, kernel)
    lab = cv2.cvtColor(closed.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return np.asarray(lab, np.float32), scale


def slope(lab: npt.NDArray[np.float32], blur: float) -> npt.NDArray[np.float32]:
    """Return (h, w) float32, the steepest change of any Lab channel, in Lab units per pixel."""
    smooth = cv2.GaussianBlur(lab, (0, 0), blur)
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    return np.asarray(np.sqrt((across**2 + down**2).sum(axis=2)), np.float32)


def propose(lab: npt.NDArray[np.float32]) -> list[Points]:
    """Return quads that might be sheets, in pixels of ``lab`` (what ``without_writing`` gave).

    Notes
    -----
    Regions are grown at many levels of three kinds: where nothing changes faster than a given slope (paper is
    smooth whatever lies around it), where it is lighter than a given tone, and where it is more, or less, of a
    given tint than a level (carbon copies are pink, yellow or blue). Each region's outline suggests quads.
    """
    height, width = lab.shape[:2]
    shrink = min(1.0, _REGION_SIDE / max(height, width))
    small = np.asarray(cv2.resize(lab, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.float32)
    whole = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float64)
    found = [whole]
    for mask in _levels(small):
        for quad in _quads_of_regions(mask):
            scaled = (quad + 0.5) / shrink - 0.5
            if not any(quads.jaccard(scaled, other) > _SAME for other in found):
                found.append(scaled)
    return found


def joined(parts: list[Points], known: list[Points]) -> list[Points]:
    """Return quads around pairs of outlines that lie side by side: a printed band parts a slip in two."""
    found: list[Points] = []
    for one, other in combinations(parts, 2):
        together = quads.area(one) + quads.area(other)
        points = np.concatenate([one, other])
        hull = cv2.contourArea(cv2.convexHull(points.astype(np.float32)))
        if together < _JOINED * hull or quads.overlap(one, other) > 0.05 * together:
            continue
        found += [
            quad
            for quad in quads.around(points)
            if together > _JOINED * quads.area(quad)
            and not any(quads.jaccard(quad, old) > _SAME for old in known + found)
        ]
    return found


def _levels(lab: npt.NDArray[np.float32]) -> list[npt.NDArray[np.uint8]]:
    masks = []
    steep = slope(lab, 1.0)
    masks += [steep < level for level in _SLOPES]
    smooth = cv2.GaussianBlur(lab, (0, 0), 1.5)
    for channel, step in ((0, _TONES), (1, _TINTS), (2, _TINTS)):
        values = smooth[..., channel]
        low, high = np.percentile(values, (2, 98))
        for level in np.arange(low + step / 2, high, step):
            masks.append(values > level)
            if channel:
                masks.append(values < level)
    return [mask.astype(np.uint8) for mask in masks]


def _quads_of_regions(mask: npt.NDArray[np.uint8]) -> list[Points]:
    smallest = _SMALLEST * mask.size
    found = []
    for cut in _CUTS:
        opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((cut, cut), np.uint8))
        # A slip lies in a hole of the table's region: outlines inside outlines count too.
        contours, levels = cv2.findContours(opened, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
        for contour, (_, _, _, parent) in zip(contours, levels[0] if len(contours) else (), strict=True):
            filled = cv2.contourArea(contour)
            if parent >= 0 or filled < smallest:
                continue
            points = contour[:, 0].astype(np.float64)
            found += [quad for quad in quads.around(points) if filled > _FILLED * quads.area(quad)]
    return found
