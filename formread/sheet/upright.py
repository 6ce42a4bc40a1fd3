"""Which of four ways a slip lay: by its print, read both ways round, and by how its rules run."""

import re

import cv2
import numpy as np
import numpy.typing as npt

from formread import ocr
from formread.sheet.record import Image
from formread.sheet.rules import Rule

_INK = 0.10  # of black: print and dark rules
_FAINT_INK = 0.6  # of the strongest print: where all is fainter, as on carbon copies
_GRAIN = 1.0  # pixels: of a camera's noise, smoothed away, or it joins letters, lines and rules into one
_OVER_GRAIN = 4.0  # so many times what is left of it
_SPARSE = 4  # one pixel in so many, each way, says how dark paper and print are
_LONG_STROKE = 41  # pixels: longer straight strokes are rules
_WORD_GAP = 13  # pixels between letters and words of one line
_TEXT_HEIGHT = (8, 46)  # pixels
_TEXT_SHAPE = 1.8  # width over height of a strip that holds more than a letter or two
_LONGEST = 6.5  # widths over height: a word or two say which way is up, and cost less than a sentence
_WORDY = (
    3.0  # width over height of a strip that speaks for the way it lies: upright columns of digits stay below
)
_STRIPS = 2  # read first in each direction; more only when they leave a doubt
_MOST_STRIPS = 16
_SURE = 2.0  # one way must score this many times the next
_ENOUGH = 6.0  # and this much: some six letters read with certainty
_PLAIN = 12.0  # letters that read so plainly one way make it needless to try the slip on its side
_SHORTEST_WORD = 3  # letters: print upside down or on its side reads as one or two here and there
_MORE_LINES = (
    2.0  # so many times more of the strips' length one way than the other: the writing runs that way
)

_DIGIT, _DIGIT_DOUBT = 0.5, 12  # upside down, digits read as digits or letters too, but less surely

_NUMBER = re.compile(rf"[0-9]{{{_SHORTEST_WORD},}}")
_WORD = re.compile(rf"[A-Za-z]{{{_SHORTEST_WORD},}}")


def quarter_turns(image: Image, ink: npt.NDArray[np.float32], across: list[Rule], down: list[Rule]) -> int:
    """Return how many quarter turns clockwise bring the slip's own top to the top, 0 to 3.

    Parameters
    ----------
    image
        (H, W, 3) uint8 RGB, flattened, evenly lit, its long side near 1400.
    ink
        (H, W) float32, 0 to 1.
    across, down
        The rules that run along x and along y.

    Notes
    -----
    Lines of print and writing are long the way they run; that and the rules, of which slips have more along the
    writing, only order the trials: print that reads clearly decides.
    """
    beside = np.ascontiguousarray(np.rot90(image, -1)), np.ascontiguousarray(np.rot90(ink, -1))
    ways = [_strips(image, ink), _strips(*beside)]
    lengths = [_length(strips) for strips in ways]
    likely = 0 if (lengths[0], len(across)) >= (lengths[1], len(down)) else 1
    clear = lengths[likely] >= _MORE_LINES * lengths[1 - likely]
    scores = dict.fromkeys(range(4), 0.0)
    for way in (likely, 1 - likely):
        strips = ways[way]
        for start in range(0, min(len(strips), _MOST_STRIPS), _STRIPS):
            some = strips[start : start + _STRIPS]
            scores[way] += _legibility(some)
            scores[way + 2] += _legibility([np.ascontiguousarray(strip[::-1, ::-1]) for strip in some])
            if _decided(scores[way], scores[way + 2]):
                break
        sure = clear or max(scores[way], scores[way + 2]) >= _PLAIN
        if sure and _decided(scores[way], scores[way + 2]):
            break
    best = max(scores, key=lambda turns: (scores[turns], turns == likely))
    return best if scores[best] > 0 else likely


def _length(strips: list[Image]) -> float:
    """Return the length of all strips together, in their heights, that are long enough to be lines."""
    shapes = [strip.shape[1] / strip.shape[0] for strip in strips]
    return float(sum(shape for shape in shapes if shape >= _WORDY))


def _decided(one: float, other: float) -> bool:
    return max(one, other) >= _ENOUGH and max(one, other) >= _SURE * min(one, other)


def _strips(image: Image, ink: npt.NDArray[np.float32]) -> list[Image]:
    """Cut out what looks like single lines of text, the longest first."""
    calm = cv2.GaussianBlur(ink, (0, 0), _GRAIN)
    some = calm[::_SPARSE, ::_SPARSE]
    paper = float(np.median(some))
    grain = _OVER_GRAIN * 1.4826 * float(np.median(np.abs(some - paper)))
    strongest = float(np.percentile(some, 99)) - paper
    dark = calm > paper + max(min(_INK, _FAINT_INK * strongest), grain)
    marks = dark.astype(np.uint8)
    for kernel in (np.ones((1, _LONG_STROKE), np.uint8), np.ones((_LONG_STROKE, 1), np.uint8)):
        rules = cv2.morphologyEx(dark.astype(np.uint8), cv2.MORPH_OPEN, kernel)
        marks[np.asarray(cv2.dilate(rules, np.ones((3, 3), np.uint8))) > 0] = 0
    joined = cv2.morphologyEx(marks, cv2.MORPH_CLOSE, np.ones((1, _WORD_GAP), np.uint8))
    _, _, boxes, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    low, high = _TEXT_HEIGHT
    found = []
    for x, y, width, height, size in boxes[1:]:
        if low <= height <= high and width >= _TEXT_SHAPE * height and size > 0.25 * width * height:
            pad = max(2, height // 5)
            strip = image[max(0, y - pad) : y + height + pad, max(0, x - pad) : x + width + pad]
            found.append((-int(width), int(y), int(x), strip[:, : int(_LONGEST * strip.shape[0])]))
    found.sort(key=lambda entry: entry[:3])
    return [np.ascontiguousarray(strip) for *_, strip in found]


def _legibility(strips: list[Image]) -> float:
    """Return about how many letters were read with certainty; print upside down gives few."""
    total = 0.0
    for read in ocr.read_lines(strips):
        letters = sum(len(word) for word in _WORD.findall(read.text))
        digits = sum(len(number) for number in _NUMBER.findall(read.text))
        strange = sum(not letter.isascii() for letter in read.text)
        total += max(0, letters - 2 * strange) * read.confidence**4
        total += _DIGIT * max(0, digits - 2 * strange) * read.confidence**_DIGIT_DOUBT
    return total
