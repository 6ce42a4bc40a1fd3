"""Find every slip in a photo and flatten it. The one door of this room: ``find_sheets``."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from formread.sheet import edge, finder, flatten, instances, light, quality, upright
from formread.sheet import quad as quads
from formread.sheet import rules as printed
from formread.sheet.instances import Sides
from formread.sheet.record import Image, Points, Sheet, SheetSearch

_COPY_SIDE = 1024  # long side of the copy on which edges are first followed
_STROKE = (
    0.011  # of the copy's long side: writing, rules and print are thinner and are painted over with paper
)
_LOOK_SIDE = 720  # long side at which a proposal is looked at for rules
_TRIAL_SIDE = 1400  # long side of the first flattening: print of 2 mm is legible on a long slip
_SHEET_SIDES = (1100, 2000)  # long side of the sheets that come out: as in the photo, within these
_PAGE_SIDES = (1600, 3200)  # the same for a page of print, whose letters are smaller than writing
_SMALLEST_PAGE = 0.15  # of the photo's area: a page that was photographed for itself fills most of it
_FEWEST_RULES = 3  # of one direction: fewer are a book's edges, a phone, a plain sheet
_SURE = 0.9  # mean of the finder's map over a slip whose print alone, without rules, makes it a form
_MARK, _LEAST_MARKED = (
    0.12,
    0.01,
)  # of black; share of a sheet that print darkens so much: plain paper stays below
_LOOKS = 3  # at a slip's rules: each straightens what the one before left bent
_STRAIGHT = 4.0  # pixels of the first flattening: less bent rules are straight after one look more
_REACH = 2.0  # places of the finder's map: how far off its sides may be
_FINE_REACH = 0.006  # of the longer side: how far off an edge may be once it was followed on the copy
_SEEN_EDGE = 0.45  # support from which an edge in the photo is believed rather than the finder's

_TOO_SMALL = 500  # pixels of the photo's long side
_TOO_DARK = 28.0  # L*, of the brighter parts
_TOO_BLURRED = 0.75  # of the steepness left: not even the table shows an edge


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
        return SheetSearch((), f"The photo is too small to read ({width} x {height} pixels). {_SMALL_ADVICE}")
    pyramid = _pyramid(photo)
    sheets: list[Sheet] = []
    unread: list[str] = []
    for sides, sure, whole in _seen(photo, pyramid):
        if sides is None or not _is_form(pyramid, np.array([side.start for side in sides]), sure):
            continue
        sheet, hindrance = _legible(pyramid, sides)
        if sheet is not None:
            sheets.append(replace(sheet, whole=whole))
        elif hindrance is not None and hindrance not in unread:
            unread.append(hindrance)
    if not sheets:
        return SheetSearch((), unread[0] if unread else _why_none(pyramid))
    return SheetSearch(tuple(_in_reading_order(sheets)), notes=tuple(unread))


def _legible(pyramid: list[Image], sides: Sides) -> tuple[Sheet | None, str | None]:
    """Flatten a slip, and say what hinders reading it; no sheet where nobody could."""
    straight = _straight(pyramid, sides)
    hindered = quality.hindrance(straight.trial, straight.tone, _size(sides))
    message = None if hindered is None else hindered.message
    if hindered is not None and hindered.hopeless:
        return None, message
    return _flattened(pyramid, sides, straight, message), message


def find_page(photo: Image) -> Sheet:
    """Find the one page that fills most of a photo or scan, and flatten it; it needs no printed rules.

    Parameters
    ----------
    photo
        (H, W, 3) uint8 RGB.

    Returns
    -------
    Sheet
        Upright, evenly lit, its long side 1600 to 3200 pixels. Where no edges are seen, the whole photo.
    """
    height, width = photo.shape[:2]
    pyramid = _pyramid(photo)
    found = [sides for sides, *_ in _seen(photo, pyramid)]
    areas = [
        (quads.area(np.array([side.start for side in sides])), at) for at, sides in enumerate(found) if sides
    ]
    most, at = max(areas, default=(0.0, -1))
    sides = found[at] if at >= 0 else None
    if sides is None or most < _SMALLEST_PAGE * height * width:
        last = np.array([width - 1, height - 1], np.float64)
        sides = edge.straight(np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * last)
    return _flattened(pyramid, sides, _straight(pyramid, sides), bounds=_PAGE_SIDES)


Whole = Callable[[], Sheet | None]


def _seen(photo: Image, pyramid: list[Image]) -> Iterator[tuple[Sides | None, float, Whole | None]]:
    """Yield the sides of each sheet that the finder sees, followed in the photo, how sure it is, and what it is part of."""
    copy, scale = _without_writing(pyramid)
    seen = finder.look(pyramid[min(1, len(pyramid) - 1)], photo.shape)

    def whole_of(rough: Sides) -> Whole:
        @cache
        def whole() -> Sheet | None:
            sides = _followed(photo, copy, scale, seen, rough)
            return None if sides is None else _legible(pyramid, sides)[0]

        return whole

    wholes: list[tuple[Sides, Whole]] = []
    for outline in instances.outlines(seen, copy):
        whole = None
        if outline.whole is not None:
            whole = next((known for sides, known in wholes if sides is outline.whole), None)
            if whole is None:
                whole = whole_of(outline.whole)
                wholes.append((outline.whole, whole))
        yield _followed(photo, copy, scale, seen, outline.sides), outline.sure, whole


def _without_writing(pyramid: list[Image]) -> tuple[npt.NDArray[np.float32], float]:
    """Return a small (h, w, 3) float32 Lab copy with thin dark strokes filled in, and its scale."""
    height, width = pyramid[0].shape[:2]
    scale = min(1.0, _COPY_SIDE / max(height, width))
    source = next(level for level in reversed(pyramid) if max(level.shape) >= scale * max(height, width) - 1)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = np.asarray(cv2.resize(source, size, interpolation=cv2.INTER_AREA), np.uint8)
    reach = max(3, round(_STROKE * max(size))) | 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    closed = cv2.morphologyEx(cv2.medianBlur(small, 3), cv2.MORPH_CLOSE, kernel)
    lab = cv2.cvtColor(closed.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return np.asarray(lab, np.float32), scale


def _followed(
    photo: Image, copy: npt.NDArray[np.float32], scale: float, seen: finder.Seen, rough: Sides
) -> Sides | None:
    """Follow a slip's edges near where the finder saw them, on the copy, then in the photo itself."""
    rows, columns = seen.slip.shape
    cut = [instances.is_cut(side, columns, rows) for side in rough]
    place = float(np.mean(seen.scale))
    rough = _four(
        side if is_cut else instances.beyond_border(side, columns, rows)
        for side, is_cut in zip(rough, cut, strict=True)
    )
    sides = _mapped(edge.to_corners(rough), np.array(seen.scale))
    last = np.array(photo.shape[1::-1]) - 1.0
    sides = _onto_border(sides, cut, last)
    for image, factor, reach in (
        (copy, scale, _REACH * place * scale),
        (photo, 1.0, _FINE_REACH * _size(sides) + 1 / scale),
    ):
        near = _mapped(sides, np.array([factor, factor]))
        found = _mapped(_four(edge.follow(image, near, reach)), np.array([1 / factor, 1 / factor]))
        kept = [
            one if is_cut or other.support < _SEEN_EDGE else other
            for one, other, is_cut in zip(sides, found, cut, strict=True)
        ]
        sides = edge.to_corners(_four(kept))
    outline = np.array([side.start for side in sides])
    return sides if quads.is_sheet_like(outline) else None


def _four(sides: Iterable[edge.Side]) -> Sides:
    top, right, bottom, left = sides
    return top, right, bottom, left


def _mapped(sides: Sides, factor: Points) -> Sides:
    """Return the sides in an image whose pixels are ``1 / factor`` as large, in x and in y."""
    by = float(np.sqrt(factor[0] * factor[1]))
    return _four(
        edge.Side(
            (s.start + 0.5) * factor - 0.5, (s.end + 0.5) * factor - 0.5, s.curve * by, s.support, s.contrast
        )
        for s in sides
    )


def _size(sides: Sides) -> float:
    return max(float(np.hypot(*(side.end - side.start))) for side in sides)


def _onto_border(sides: Sides, cut: list[bool], last: Points) -> Sides:
    """Move sides that the photo cuts onto its border; all else stays."""
    if not any(cut):
        return sides
    moved = []
    for side, is_cut in zip(sides, cut, strict=True):
        if not is_cut:
            moved.append(side)
            continue
        ends = np.array([side.start, side.end])
        gaps = [*ends.mean(axis=0), *(last - ends.mean(axis=0))]
        border = int(np.argmin(gaps))
        ends[:, border % 2] = 0.0 if border < 2 else last[border % 2]
        moved.append(edge.Side(ends[0], ends[1], np.zeros_like(side.curve), 0.0, 0.0))
    return edge.to_corners(_four(moved))


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


def _is_form(pyramid: list[Image], quad: Points, sure: float) -> bool:
    """Tell whether an outline holds a form: printed rules, or, where the finder is sure, print at least."""
    ink = _look(pyramid, quad)
    if len(printed.across(ink)) >= _FEWEST_RULES or len(printed.down(ink)) >= _FEWEST_RULES:
        return True
    return sure >= _SURE and float((ink > _MARK).mean()) >= _LEAST_MARKED


@dataclass(frozen=True, slots=True, eq=False)
class _Straight:
    """A slip straightened but not yet turned: the map, the last trial, its paper's colour, and the rules in it."""

    flat: flatten.Flat
    trial: Image
    tone: npt.NDArray[np.float32]
    ink: npt.NDArray[np.float32]
    across: list[printed.Rule]
    down: list[printed.Rule]


def _straight(pyramid: list[Image], sides: Sides) -> _Straight:
    """Flatten by the edges, straighten by the rules."""
    flat = flatten.from_sides(sides, pyramid[0], _TRIAL_SIDE)
    for _ in range(_LOOKS):
        trial = flatten.render(pyramid, flat)
        tone = light.paper_tone(trial)
        ink = light.ink(trial, tone)
        across, down = printed.across(ink), printed.down(ink)
        before = flat
        flat = flatten.straightened(flat, across, down)
        if flatten.change(before, flat) < _STRAIGHT:
            break
    return _Straight(flat, trial, tone, ink, across, down)


def _flattened(
    pyramid: list[Image],
    sides: Sides,
    straight: _Straight,
    doubt: str | None = None,
    bounds: tuple[int, int] = _SHEET_SIDES,
) -> Sheet:
    """Turn upright what was straightened, as large as it should come out."""
    even = light.evened(straight.trial, straight.tone)
    turns = upright.quarter_turns(even, straight.ink, straight.across, straight.down)
    outline = np.roll(np.array([side.start for side in sides]), turns, axis=0)
    long = float(np.clip(_size(sides), *bounds))
    final = flatten.turned(straight.flat.resized(long / _TRIAL_SIDE), turns)
    image = flatten.render(pyramid[:1], final)  # writing as sharp as the photo has it
    return Sheet(light.evened(image, light.paper_tone(image)), outline, final.to_photo, doubt)


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


def _why_none(pyramid: list[Image]) -> str:
    brightness = cv2.cvtColor(pyramid[-1].astype(np.float32) / 255, cv2.COLOR_RGB2LAB)[..., 0]
    if float(np.percentile(brightness, 95)) < _TOO_DARK:
        return "The photo is too dark to read. Photograph the slip again nearer to a window or a lamp."
    large = min(pyramid, key=lambda level: abs(max(level.shape) - _TRIAL_SIDE))
    if quality.sharpness(large)[0] > _TOO_BLURRED:
        return (
            "The photo is too blurred to read. Hold the phone still, tap on the slip to focus, and try again."
        )
    return (
        "No order slip was found in this photo. If there is one, photograph it flat, whole, "
        "and on a background of another colour."
    )
