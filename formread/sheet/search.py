"""Find every slip in a photo and flatten it. The one door of this room: ``find_sheets``."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet import edge, flatten, light, propose, upright
from formread.sheet import quad as quads
from formread.sheet import rules as printed
from formread.sheet.record import Image, Points, Sheet, SheetSearch

_LOOK_SIDE = 720  # long side at which a proposal is looked at for rules
_TRIAL_SIDE = 1400  # long side of the first flattening: print of 2 mm is legible on a long slip
_SHEET_SIDES = (1100, 2000)  # long side of the sheets that come out: as in the photo, within these
_FEWEST_RULES = 3  # of one direction: fewer are a book's edges, a phone, a plain sheet
_EVEN_PAPER = 0.02  # of black, the median over a sheet: cloth, wood and carpet, cut out as one, are darker
_MARK, _MOST_MARKED = 0.12, 0.3  # of black; share of a sheet that print and writing may darken so much
_REACH = 0.035  # of a proposal's longer side: how far off its edges may be
_FINE_REACH = 0.006  # of the same, once they are found on the small copy
_BORDER = 4  # pixels of the small copy: a side this near to the photo's border is cut by it
_CUT_SUPPORT = 0.75  # what a side counts for that the photo cuts off: nothing speaks for it, or against
_ALL_CUT_SUPPORT = 0.4  # the same where all four are: a scan that is one slip, but any slip inside goes first
_CLEAR_STEP = 4.0  # Lab units: a step from table to paper that is beyond doubt
_LEAST_VALUE = 0.93  # three clear sides and a fair part of the fourth
_SHARED = 0.3  # of the smaller: slips may overlap, but not by more
_GOOD_EDGES = 0.9  # what each of several must have, all four sides nearly unbroken
_PART = (0.15, 0.75)  # of the larger outline's area: what one of several slips in it takes
_COVERED = 0.55  # of the larger outline, by two of them
_RING, _NEXT, _GAP = (
    14,
    3,
    101,
)  # pixels of the small copy: width of the table looked at, what is left out, most between
_ONE_COLOUR = (9.0, 4.0, 4.0)  # Lab units, standard deviation: light may fall off, the tint may not change
_MOST_PARTS = 26  # twelve slips, each in two parts, and a few
_SAME_OUTLINE = 0.93  # Jaccard index
_LEAST_GAP = 40  # pixels: fewer say nothing about the table
_LIKE_TABLE = 12.0  # Lab units between the gap and the table around
_LIKER_TABLE = 0.35  # of the step from paper to table: a narrow gap is blurred with the paper beside it
_LARGER_IS_BETTER = 0.06  # value that a doubling of the area is worth: the table inside a slip has edges too

_TOO_SMALL = 500  # pixels of the photo's long side
_TOO_DARK = 28.0  # L*, of the brighter parts
_TOO_BLURRED = 0.8  # RGB steps per pixel, of the steepest thousandth

Sides = tuple[edge.Side, edge.Side, edge.Side, edge.Side]


@dataclass(frozen=True, slots=True, eq=False)
class _Candidate:
    """A proposal on the small copy: its edges, how clear they are (0 to 1), all that speaks for it."""

    sides: Sides
    clear: float
    value: float

    @property
    def outline(self) -> Points:
        return np.array([side.start for side in self.sides])


def find_sheets(photo: Image) -> SheetSearch:
    """Find and flatten every slip in a photo.

    Parameters
    ----------
    photo
        (H, W, 3) uint8 RGB.

    Returns
    -------
    SheetSearch
        Sheets in reading order (rows of the photo from the top, each from the left); falsy, with a reason for
        the seller, when there is none.
    """
    height, width = photo.shape[:2]
    if max(height, width) < _TOO_SMALL or min(height, width) < _TOO_SMALL // 4:
        reason = f"The photo is too small to read ({width} x {height} pixels). {_SMALL_ADVICE}"
        return SheetSearch((), reason)
    lab, scale = propose.without_writing(photo)
    pyramid = _pyramid(photo)
    found = [_candidate(lab, quad) for quad in propose.propose(lab)]
    clear = sorted((one for one in found if one.clear > _GOOD_EDGES), key=lambda one: -one.value)
    parts = [one.outline for one in _different(clear)]
    found += [_candidate(lab, quad) for quad in propose.joined(parts, [one.outline for one in found])]
    chosen = _choose(lab, found, lambda outline: _is_form(pyramid, outline / scale))
    sheets = [_flattened(photo, candidate.sides, scale) for candidate in chosen]
    if not sheets:
        return SheetSearch((), _why_none(photo, lab))
    return SheetSearch(tuple(_in_reading_order(sheets)))


_SMALL_ADVICE = "Send the photo in its full size, or photograph the slip from nearer."


def _pyramid(photo: Image) -> list[Image]:
    """Return the photo and halved copies of it, so that no look at a part samples it too thinly."""
    levels = [photo]
    while max(levels[-1].shape) > _LOOK_SIDE:
        height, width = levels[-1].shape[:2]
        half = (max(1, width // 2), max(1, height // 2))
        levels.append(np.asarray(cv2.resize(levels[-1], half, interpolation=cv2.INTER_AREA), np.uint8))
    return levels


def _look(pyramid: list[Image], quad: Points) -> npt.NDArray[np.float32]:
    """Return the ink map of a proposal, roughly flattened."""
    lengths = [float(np.hypot(*(quad[(i + 1) % 4] - quad[i]))) for i in range(4)]
    wide, tall = max(lengths[0], lengths[2]), max(lengths[1], lengths[3])
    shrink = _LOOK_SIDE / max(wide, tall)
    width, height = max(32, round(wide * shrink)), max(32, round(tall * shrink))
    level = int(np.clip(np.floor(np.log2(1 / shrink) + 0.3), 0, len(pyramid) - 1))
    image = pyramid[level]
    factor = np.array([image.shape[1] / pyramid[0].shape[1], image.shape[0] / pyramid[0].shape[0]])
    flat = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float32)
    matrix = cv2.getPerspectiveTransform((quad * factor).astype(np.float32), flat)
    seen = np.asarray(cv2.warpPerspective(image, matrix, (width, height), flags=cv2.INTER_LINEAR), np.uint8)
    return light.ink(seen, light.paper_tone(seen))


def _is_form(pyramid: list[Image], quad: Points) -> bool:
    """Tell whether an outline holds mostly bare, even paper, and printed rules on it."""
    ink = _look(pyramid, quad)
    if float(np.median(ink)) > _EVEN_PAPER or float((ink > _MARK).mean()) > _MOST_MARKED:
        return False
    return max(len(printed.across(ink)), len(printed.down(ink))) >= _FEWEST_RULES


def _candidate(lab: npt.NDArray[np.float32], quad: Points) -> _Candidate:
    """Follow a proposal's edges on the small copy and weigh it."""
    size = max(float(np.hypot(*(quad[i] - quad[i - 1]))) for i in range(4))
    sides = edge.straight(quad)
    cut = [_is_cut(lab, side) for side in sides]
    if not all(cut):
        followed = edge.follow(lab, sides, _REACH * size)
        kept = [sides[i] if cut[i] else followed[i] for i in range(4)]
        sides = edge.to_corners((kept[0], kept[1], kept[2], kept[3]))
    unseen = _ALL_CUT_SUPPORT if all(cut) else _CUT_SUPPORT
    speak = [
        unseen if is_cut else side.support * min(1.0, side.contrast / _CLEAR_STEP)
        for side, is_cut in zip(sides, cut, strict=True)
    ]
    outline = np.array([side.start for side in sides])
    if not quads.is_sheet_like(outline):
        return _Candidate(sides, 0.0, 0.0)
    share = quads.area(outline) / (lab.shape[0] * lab.shape[1])
    clear = 0.6 * float(np.mean(speak)) + 0.4 * min(speak)
    value = clear + _LARGER_IS_BETTER * (8 + float(np.log2(max(share, 1e-6))))
    return _Candidate(sides, clear, value)


def _is_cut(lab: npt.NDArray[np.float32], side: edge.Side) -> bool:
    height, width = lab.shape[:2]
    ends = np.array([side.start, side.end])
    for axis, last in ((0, width - 1), (1, height - 1)):
        if (ends[:, axis] < _BORDER).all() or (ends[:, axis] > last - _BORDER).all():
            return True
    return False


def _choose(
    lab: npt.NDArray[np.float32], found: list[_Candidate], is_form: Callable[[Points], bool]
) -> list[_Candidate]:
    """Keep the best form of every group of proposals that lie on one another."""
    chosen: list[_Candidate] = []
    parts = _different([one for one in found if one.clear > _GOOD_EDGES])
    for candidate in sorted(found, key=lambda one: -one.value):
        outline = candidate.outline
        if candidate.value < _LEAST_VALUE:
            continue
        smaller = [min(quads.area(outline), quads.area(other.outline)) for other in chosen]
        shared = [quads.overlap(outline, other.outline) for other in chosen]
        apart = all(part < _SHARED * whole for part, whole in zip(shared, smaller, strict=True))
        if apart and is_form(outline) and not _is_several(lab, candidate, parts):
            chosen.append(candidate)
    if not chosen and _is_bare(lab) and is_form(found[0].outline):
        return [found[0]]  # the whole picture: a scan that is nothing but the slip
    return chosen


def _is_bare(lab: npt.NDArray[np.float32]) -> bool:
    """Tell whether the whole picture, its writing painted over, is paper of one colour."""
    return bool((lab.reshape(-1, 3).std(axis=0) < _ONE_COLOUR).all())


def _mask(image: object) -> npt.NDArray[np.bool_]:
    return np.asarray(image, np.uint8) > 0


def _different(found: list[_Candidate]) -> list[_Candidate]:
    """Leave out candidates whose outline another has too, and all beyond the most that are worth comparing."""
    kept: list[_Candidate] = []
    for candidate in sorted(found, key=lambda one: -one.value):
        if len(kept) < _MOST_PARTS and not any(
            quads.jaccard(candidate.outline, other.outline) > _SAME_OUTLINE for other in kept
        ):
            kept.append(candidate)
    return kept


def _is_several(lab: npt.NDArray[np.float32], candidate: _Candidate, found: list[_Candidate]) -> bool:
    """Tell whether two good proposals side by side explain a larger one: slips that lie close, seen as one.

    A printed band across a slip parts it just as well; but through the gap between two slips the table shows.
    """
    whole = quads.area(candidate.outline)
    inside = [
        other
        for other in found
        if _PART[0] * whole < quads.area(other.outline) < _PART[1] * whole
        and quads.overlap(other.outline, candidate.outline) > 0.9 * quads.area(other.outline)
    ]
    for one, other in combinations(inside, 2):
        covered = quads.area(one.outline) + quads.area(other.outline)
        apart = quads.overlap(one.outline, other.outline) < 0.05 * quads.area(one.outline)
        if covered > _COVERED * whole and apart and _table_shows_between(lab, candidate, one, other):
            return True
    return False


def _table_shows_between(
    lab: npt.NDArray[np.float32], whole: _Candidate, one: _Candidate, other: _Candidate
) -> bool:
    def filled(outline: Points) -> npt.NDArray[np.uint8]:
        blank = np.zeros(lab.shape[:2], np.uint8)
        return np.asarray(cv2.fillConvexPoly(blank, outline.round().astype(np.int32), 1), np.uint8)

    around = np.ones((2 * _RING + 1, 2 * _RING + 1), np.uint8)
    inner = filled(whole.outline)
    parts = filled(one.outline) | filled(other.outline)
    close = np.ones((_NEXT, _NEXT), np.uint8)
    gap = _mask(cv2.erode(inner, close)) & ~_mask(cv2.dilate(parts, close))
    # Between the parts only: near both of them, so that a bowed rim of the larger outline does not count.
    reach = np.ones((_GAP, _GAP), np.uint8)
    gap &= _mask(cv2.dilate(filled(one.outline), reach)) & _mask(cv2.dilate(filled(other.outline), reach))
    ring = _mask(cv2.dilate(inner, around)) & ~_mask(cv2.dilate(inner, close))
    if gap.sum() < _LEAST_GAP or ring.sum() < _LEAST_GAP:
        return False
    between, beyond, paper = (np.median(lab[mask], axis=0) for mask in (gap, ring, _mask(parts)))
    unlike = float(np.linalg.norm(between - beyond))
    return unlike < max(_LIKE_TABLE, _LIKER_TABLE * float(np.linalg.norm(paper - beyond)))


def _flattened(photo: Image, sides: Sides, scale: float) -> Sheet:
    """Follow the edges in the photo itself, flatten, straighten by the rules, turn upright."""
    large = tuple(
        edge.Side(
            (s.start + 0.5) / scale - 0.5, (s.end + 0.5) / scale - 0.5, s.curve / scale, s.support, s.contrast
        )
        for s in sides
    )
    sides = (large[0], large[1], large[2], large[3])
    size = max(float(np.hypot(*(side.end - side.start))) for side in sides)
    followed = edge.follow(photo, sides, _FINE_REACH * size + 1 / scale)
    kept = [fine if fine.support > 0.5 else rough for fine, rough in zip(followed, sides, strict=True)]
    sides = edge.to_corners((kept[0], kept[1], kept[2], kept[3]))
    flat = flatten.from_sides(sides, photo, _TRIAL_SIDE)
    for _ in range(2):
        trial = flatten.render(photo, flat)
        tone = light.paper_tone(trial)
        ink = light.ink(trial, tone)
        across, down = printed.across(ink), printed.down(ink)
        flat = flatten.straightened(flat, across, down)
    turns = upright.quarter_turns(light.evened(trial, tone), ink, across, down)
    outline = np.array([side.start for side in sides])
    long = float(np.clip(size, *_SHEET_SIDES))
    final = flatten.turned(flat.resized(long / _TRIAL_SIDE), turns)
    image = flatten.render(photo, final)
    return Sheet(
        light.evened(image, light.paper_tone(image)), np.roll(outline, turns, axis=0), final.to_photo
    )


def _in_reading_order(sheets: list[Sheet]) -> list[Sheet]:
    """Sort by rows of the photo: a slip belongs to a row when its middle lies within the row's first slip."""
    left = sorted(sheets, key=lambda sheet: float(sheet.outline[:, 1].mean()))
    ordered: list[Sheet] = []
    while left:
        floor = float(np.sort(left[0].outline[:, 1])[-2:].mean())
        row = [sheet for sheet in left if float(sheet.outline[:, 1].mean()) < floor]
        left = [sheet for sheet in left if sheet not in row]
        ordered += sorted(row, key=lambda sheet: float(sheet.outline[:, 0].mean()))
    return ordered


def _why_none(photo: Image, lab: npt.NDArray[np.float32]) -> str:
    if float(np.percentile(lab[..., 0], 95)) < _TOO_DARK:
        return "The photo is too dark to read. Photograph the slip again nearer to a window or a lamp."
    grey = cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY)
    steep = np.abs(cv2.Sobel(grey, cv2.CV_32F, 1, 0, scale=1 / 8)) + np.abs(
        cv2.Sobel(grey, cv2.CV_32F, 0, 1, scale=1 / 8)
    )
    if float(np.percentile(steep[::4, ::4], 99.9)) < _TOO_BLURRED:
        return (
            "The photo is too blurred to read. Hold the phone still, tap on the slip to focus, and try again."
        )
    return (
        "No order slip was found in this photo. If there is one, photograph it flat, whole, "
        "and on a background of another colour."
    )
