"""A written box as a phone's camera gives it: pen or carbon, paper, print, light, blur, noise, JPEG."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from numpy.random import Generator

from models import compose, texts
from models.compose import Hands, Stroke, Writing

Mask = npt.NDArray[np.uint8]
Plane = npt.NDArray[np.float32]

_PEN_INKS = ((20, 20, 25), (25, 30, 110), (40, 40, 45), (15, 35, 90), (90, 90, 95), (110, 20, 25))
_PEN_SHARES = (0.3, 0.3, 0.14, 0.12, 0.11, 0.03)
_CARBON_INKS = ((70, 75, 120), (60, 60, 70), (85, 70, 120), (45, 60, 130), (95, 95, 105))
_CARBON_PAPERS = ((246, 200, 210), (250, 238, 170), (195, 215, 240), (205, 235, 205), (250, 222, 190))
_PRINT_INKS = ((120, 120, 125), (40, 40, 45), (60, 90, 170), (190, 70, 70), (70, 140, 90), (150, 110, 70))
_MOST_WIDE = 500
_SLIGHT = frozenset('1.,-:/"~')  # signs of which a cut through their edge would leave nothing to know them by
# What the product's cut adds above and below a box, and takes off at its sides, of the box's height; the same numbers
# as in formread.pile.slip, which training does not import: it wants half the package.
MARGIN, INSET = 0.10, 0.05
_FRAMED = 0.5  # share of boxes with print that show the rules of all their sides
_LEAST_DIGIT = 15.0  # pixels: much below this a person can no longer tell a 3 from a 5 in a soft copy


@dataclass(slots=True)
class Box:
    """One training picture: ``(H, W, 3)`` uint8 RGB, and what is written in it."""

    crop: Mask
    label: str
    style: str
    made: int = 0
    """What went into it, a bit each, in the order of :data:`MADE`."""


MADE = ("u", "m", "n", "f", "w", "carbon", "print", "neighbour", "frame")
"""Sources of ink (``Writing.source``) and rendering effects that an ablation can leave out."""


class Grain:
    """Noise drawn once and cut from at random: fresh noise for each picture would cost more than the rest."""

    def __init__(self, rng: Generator, size: int = 1024) -> None:
        self.size = size
        self.fine = rng.normal(0, 1, (size, size)).astype(np.float32)
        self.sensor = rng.normal(0, 1, (size, size, 3)).astype(np.float32)
        self.smooth = []
        for sigma in (1.2, 3.0, 9.0, 40.0):
            plane = cv2.GaussianBlur(rng.normal(0, 1, (size, size)).astype(np.float32), (0, 0), sigma)
            self.smooth.append(((plane - plane.mean()) / plane.std()).astype(np.float32))

    def cut(self, plane: Plane, height: int, width: int, rng: Generator) -> Plane:
        """Return a random piece of `plane`."""
        y, x = int(rng.integers(0, self.size - height)), int(rng.integers(0, self.size - width))
        return plane[y : y + height, x : x + width]


def _draw(canvas: Mask, strokes: list[Stroke], thickness: int) -> None:
    """Draw strokes given in pixels of the canvas."""
    for s in strokes:
        if len(s) == 1 or float(np.ptp(s, axis=0).max()) < 0.5:
            x, y = s[0]
            cv2.circle(
                canvas, (round(x * 16), round(y * 16)), max(8, thickness * 10), 255, -1, cv2.LINE_AA, 4
            )
        else:
            cv2.polylines(canvas, [np.round(s * 16).astype(np.int32)], False, 255, thickness, cv2.LINE_AA, 4)


@dataclass(slots=True)
class _Frame:
    """Where the writing stands: canvas pixels = origin + (x, -y) * unit."""

    height: int
    width: int
    over: int
    unit: float
    origin: Plane
    low: Plane
    high: Plane

    def place(self, strokes: list[Stroke]) -> list[Stroke]:
        flip = np.array([self.unit, -self.unit], np.float32)
        return [s * flip + self.origin for s in strokes]


def _frame(writing: Writing, rng: Generator) -> _Frame:
    """Choose the box around a writing: too tight, too loose, the writing anywhere in it."""
    drawn = [*writing.strokes, *writing.printed]
    if drawn:
        every = np.concatenate(drawn)
        low, high = every.min(0), every.max(0)
    else:
        low, high = np.zeros(2, np.float32), np.array([rng.uniform(0.3, 6), 1.0], np.float32)
    tall = max(float(high[1] - low[1]), 1.0)  # a lone dash lies in a box meant for digits
    slack = tall - float(high[1] - low[1])
    height = float(np.exp(rng.uniform(np.log(26), np.log(118))))
    fill = rng.uniform(0.36, 0.75) if rng.random() < 0.6 else rng.uniform(0.75, 0.98)
    digit = height * fill / tall
    if digit < _LEAST_DIGIT:
        height *= _LEAST_DIGIT / digit
        digit = _LEAST_DIGIT
    height = min(height, 150.0)
    wide = float(high[0] - low[0]) * digit
    pick = rng.random()
    if pick < 0.12 and drawn and not set(writing.label[:1] + writing.label[-1:]) & _SLIGHT:
        left, right = (
            rng.uniform(-0.07, 0.12, 2) * digit
        )  # as wide as its box: the cut takes the outermost ink
    elif pick < 0.55:
        left, right = rng.uniform(0.1, 0.6, 2) * digit
    else:
        free = rng.uniform(0.2, 4.5) * digit
        share = rng.random() if rng.random() < 0.6 else float(rng.choice([0.08, 0.9]))
        left, right = free * share + 0.14 * digit, free * (1 - share) + 0.14 * digit
    spare = max(0.0, 0.7 * height - (wide + left + right)) / 2  # no box is a slit
    left, right = left + spare, right + spare
    width = wide + left + right
    if width > _MOST_WIDE:
        shrink = _MOST_WIDE / width
        width, height, digit, left, wide = (v * shrink for v in (width, height, digit, left, wide))
    over = 3 if digit < 22 else 2 if digit < 50 else 1
    over = max(1, min(over, 1000 // round(width)))  # the grain is cut from a plane of this size
    free_y = height - tall * digit
    top = free_y * rng.beta(1.6, 1.6) if free_y > 0 else free_y / 2
    if rng.random() < 0.08:
        top += rng.choice([-1, 1]) * rng.uniform(0.04, 0.12) * digit
    top += slack * digit * rng.uniform(0.2, 0.8)
    origin = np.array([left - low[0] * digit, top + high[1] * digit], np.float32) * over
    return _Frame(round(height), round(width), over, digit * over, origin, low, high)


def _neighbour(canvas: Mask, frame: _Frame, hands: Hands, thickness: int, rng: Generator) -> None:
    """Let ink of the boxes around reach in, where it leaves the writing alone."""
    h, w = canvas.shape
    unit = frame.unit
    top_clear = frame.origin[1] - frame.high[1] * unit
    bottom_clear = h - (frame.origin[1] - frame.low[1] * unit)
    left_clear = frame.origin[0] + frame.low[0] * unit
    right_clear = w - (frame.origin[0] + frame.high[0] * unit)
    for side, clear in (
        ("top", top_clear),
        ("bottom", bottom_clear),
        ("left", left_clear),
        ("right", right_clear),
    ):
        if rng.random() > 0.3 or clear < 0.3 * unit:
            continue
        # from the side only a sliver: more would pass for a digit of this box
        most = 0.28 if side in {"top", "bottom"} else 0.12
        reach = min(rng.uniform(0.04, most) * unit, clear - 0.2 * unit)
        other = compose.write(hands, "0123456789"[int(rng.integers(10))] * int(rng.integers(1, 3)), rng)
        every = np.concatenate(other.strokes)
        low, high = every.min(0), every.max(0)
        flip = np.array([unit, -unit], np.float32)
        if side == "top":
            at = np.array([rng.uniform(0, w) - low[0] * unit, reach + low[1] * unit])
        elif side == "bottom":
            at = np.array([rng.uniform(0, w) - low[0] * unit, h - reach + high[1] * unit])
        elif side == "left":
            at = np.array([reach - high[0] * unit, h * rng.uniform(0.5, 0.95)])
        else:
            at = np.array([w - reach - low[0] * unit, h * rng.uniform(0.5, 0.95)])
        _draw(canvas, [s * flip + at.astype(np.float32) for s in other.strokes], thickness)


def _cross(canvas: Mask, frame: _Frame, thickness: int, rng: Generator) -> None:
    """Draw the stroke with which a whole row is crossed out: it comes in at one side and goes out at the other."""
    h, w = canvas.shape
    middle = (
        frame.origin[1] - (frame.low[1] + frame.high[1]) / 2 * frame.unit + rng.normal(0, 0.08) * frame.unit
    )
    x = np.linspace(-0.05 * w, 1.05 * w, 12)
    for line in range(1 + (rng.random() < 0.2)):
        y = middle + line * rng.uniform(0.15, 0.35) * frame.unit + (x - w / 2) * rng.normal(0, 0.03)
        y = y + frame.unit * rng.uniform(0, 0.05) * np.sin(
            x / frame.unit * rng.uniform(0.5, 2) + rng.uniform(0, 6.3)
        )
        _draw(canvas, [np.stack([x, np.clip(y, 0.05 * h, 0.95 * h)], 1).astype(np.float32)], thickness)


def _dotted(
    mask: Mask, at: float, *, level: bool, over: int, thick: int, tilt: float, rng: Generator
) -> None:
    """Draw a printed line of dots or dashes across or down the whole box."""
    length = mask.shape[1] if level else mask.shape[0]
    step = max(3.0, over * rng.uniform(2.5, 7))
    dash = 0.0 if rng.random() < 0.6 else step * rng.uniform(0.35, 0.65)
    start = rng.uniform(0, step)
    for along in np.arange(start, length, step):
        ends = [(along, at + tilt * along), (along + dash, at + tilt * (along + dash))]
        if not level:
            ends = [(y, x) for x, y in ends]
        a, b = [(round(x), round(y)) for x, y in ends]
        if dash:
            cv2.line(mask, a, b, 255, thick, cv2.LINE_AA)
        else:
            cv2.circle(mask, a, max(1, round(thick * 0.7)), 255, -1, cv2.LINE_AA)


def _rim(mask: Mask, frame: _Frame, *, thick: int, tilt: float, rng: Generator) -> None:
    """Draw the rules round a box where the product's cut leaves them.

    The cut takes in a tenth of the box's height above and below and leaves a twentieth off at the sides, give or
    take what the finder of boxes is off; of a box with round corners the corners are left at the sides.
    """
    h, w = mask.shape
    inner = h / (1 + 2 * MARGIN)
    top, bottom = MARGIN * inner + rng.normal(0, 0.03, 2) * inner
    left, right = -INSET * inner + rng.normal(0, 0.035, 2) * inner
    bottom, right = h - bottom, w - right
    pick = rng.random()
    if pick < 0.25:  # rows parted by lines of dots or dashes
        for y in (top, bottom):
            _dotted(mask, y, level=True, over=frame.over, thick=thick, tilt=tilt, rng=rng)
        return
    radius = rng.uniform(0.08, 0.5) * (bottom - top) if pick < 0.6 else 0.0
    outline = _rounded(left, top, right, bottom, min(radius, (right - left) / 2))
    outline[:, 1] += tilt * outline[:, 0]
    points = [np.round(outline * 16).astype(np.int32)]
    if rng.random() < (0.35 if radius else 0.12):  # the paper between the boxes has a tint of its own
        mask[:] = int(rng.integers(12, 70))
        cv2.fillPoly(mask, points, 0, cv2.LINE_AA, 4)
    cv2.polylines(mask, points, True, 255, thick, cv2.LINE_AA, 4)


def _rounded(left: float, top: float, right: float, bottom: float, radius: float) -> Plane:
    """Return the outline of a box with round corners, ``(N, 2)``."""
    turn = np.linspace(0, np.pi / 2, 9)
    corners = [(right, top, -np.pi / 2), (right, bottom, 0.0), (left, bottom, np.pi / 2), (left, top, np.pi)]
    points = []
    for x, y, begin in corners:
        inside = np.array([x + (radius if x == left else -radius), y + (radius if y == top else -radius)])
        points.append(inside + radius * np.stack([np.cos(begin + turn), np.sin(begin + turn)], 1))
    return np.concatenate(points).astype(np.float32)


def _stray_rules(mask: Mask, frame: _Frame, *, thick: int, tilt: float, rng: Generator) -> None:
    """Draw rules at some of the crop's sides, each by itself."""
    h, w = mask.shape
    margin = 0.12
    for side in range(4):
        if rng.random() > 0.3:
            continue
        inside = rng.uniform(-0.02, margin if side < 2 else 0.02)
        if rng.random() < 0.3:
            end = (inside if side in {0, 2} else 1 - inside) * (h if side < 2 else w)
            _dotted(mask, end, level=side < 2, over=frame.over, thick=thick, tilt=tilt, rng=rng)
        elif side < 2:
            y = (inside if side == 0 else 1 - inside) * h
            cv2.line(mask, (0, round(y)), (w, round(y + tilt * w)), 255, thick, cv2.LINE_AA)
        else:
            x = inside * min(h, w) if side == 2 else w - inside * min(h, w)
            cv2.line(mask, (round(x), 0), (round(x + tilt * h), h), 255, thick, cv2.LINE_AA)


def _printed(frame: _Frame, rng: Generator) -> tuple[Mask | None, bool]:
    """Return the form's own print in and around the box, rules, dotted lines, combs; and whether it frames the box."""
    if rng.random() < 0.25:
        return None, False
    h, w = frame.height * frame.over, frame.width * frame.over
    mask = np.zeros((h, w), np.uint8)
    thick = max(1, round(frame.over * rng.uniform(0.6, 2.0)))
    tilt = rng.normal(0, 0.008)
    framed = rng.random() < _FRAMED
    if framed:
        _rim(mask, frame, thick=thick, tilt=tilt, rng=rng)
    else:
        _stray_rules(mask, frame, thick=thick, tilt=tilt, rng=rng)
    pick = rng.random()
    if pick < 0.16:  # a line to write on, solid or dotted
        y = frame.origin[1] + rng.uniform(0.02, 0.2) * frame.unit
        if rng.random() < 0.5:
            _dotted(mask, y, level=True, over=frame.over, thick=thick, tilt=tilt, rng=rng)
        else:
            cv2.line(mask, (0, round(y)), (w, round(y + tilt * w)), 255, thick, cv2.LINE_AA)
    elif pick < 0.19:  # a comb: short strokes between the digits, from the foot of the box
        high = rng.uniform(0.1, 0.35) * h if rng.random() < 0.7 else h
        for x in np.arange(rng.uniform(0, 0.9), w / frame.unit, rng.uniform(0.7, 1.3)) * frame.unit:
            cv2.line(mask, (round(x), round(h - high)), (round(x), h), 255, thick, cv2.LINE_AA)
    elif pick < 0.26:  # the row's rule or the pounds-and-pence rule, through the writing
        if rng.random() < 0.4:
            y = h * rng.uniform(0.15, 0.85)
            cv2.line(mask, (0, round(y)), (w, round(y + tilt * w)), 255, thick, cv2.LINE_AA)
        else:
            x = w * rng.uniform(0.2, 0.9)
            if rng.random() < 0.4:
                _dotted(mask, x, level=False, over=frame.over, thick=thick, tilt=tilt, rng=rng)
            else:
                cv2.line(mask, (round(x), 0), (round(x + tilt * h), h), 255, thick, cv2.LINE_AA)
    return mask, framed


@dataclass(slots=True)
class Print:
    """What forms print in their boxes, as masks."""

    pounds: list[Mask]
    words: list[Mask]


def forms_print() -> Print:
    """Return what forms print in their boxes."""
    return Print(printed_pounds(), printed_words())


def _caption(mask: Mask, frame: _Frame, words: list[Mask], empty: bool, rng: Generator) -> None:
    """Put a small printed word above, below or left of the writing, or anywhere in an empty box.

    The cut may go through it, but the word keeps off the writing.
    """
    h, w = mask.shape
    unit, word = frame.unit, words[int(rng.integers(len(words)))]
    top, bottom = frame.origin[1] - frame.high[1] * unit, frame.origin[1] - frame.low[1] * unit
    left = frame.origin[0] + frame.low[0] * unit
    side = str(rng.choice(["above", "below", "left"]))
    free = h if empty else {"above": top, "below": h - bottom, "left": h}[side]
    tall = round(min(h * (rng.uniform(0.14, 0.75) if empty else rng.uniform(0.12, 0.4)), 0.9 * free))
    wide = round(word.shape[1] * tall / word.shape[0])
    most = w if empty or side != "left" else left - 0.15 * unit
    if tall < 5 or wide > 1.15 * most:
        return
    x = round(rng.uniform(-0.15 * wide, max(1.0, most - 0.85 * wide)))
    if side == "left" and not empty:
        x = min(x, round(most) - wide)
    y = {"above": 0.0, "below": h - free, "left": 0.0}[side] if not empty else 0.0
    y = round(y + rng.uniform(0, max(0.0, free - tall)))
    small = cv2.resize(word, (wide, tall), interpolation=cv2.INTER_AREA)[:, max(0, -x) :]
    x = max(0, x)
    part = mask[y : y + tall, x : x + small.shape[1]]
    part[:] = np.maximum(part, small[: part.shape[0], : part.shape[1]])


def _printed_pound(mask: Mask, frame: _Frame, signs: list[Mask], empty: bool, rng: Generator) -> None:
    """Put a printed pound sign left of the writing where there is room, or anywhere in an empty box."""
    room = mask.shape[1] if empty else frame.origin[0] + frame.low[0] * frame.unit
    tall = round(frame.unit * rng.uniform(0.5, 0.9))
    sign = signs[int(rng.integers(len(signs)))]
    wide = round(sign.shape[1] * tall / sign.shape[0])
    if tall < 6 or wide < 3 or room < wide + (0 if empty else 0.3) * frame.unit or tall > mask.shape[0] - 2:
        return
    y = int(np.clip(frame.origin[1] - tall + rng.normal(0, 0.1) * frame.unit, 0, mask.shape[0] - tall))
    x = int(rng.uniform(0, room - wide - (0 if empty else 0.25) * frame.unit))
    mask[y : y + tall, x : x + wide] = np.maximum(
        mask[y : y + tall, x : x + wide], cv2.resize(sign, (wide, tall), interpolation=cv2.INTER_AREA)
    )


def _specks(canvas: Mask, frame: _Frame, rng: Generator) -> None:
    """Dirt: far smaller than a written point."""
    h, w = canvas.shape
    for _ in range(int(rng.integers(1, 5))):
        radius = rng.uniform(0.012, 0.028) * min(frame.unit, h * 0.8)
        at = (round(rng.uniform(0, w) * 16), round(rng.uniform(0, h) * 16))
        cv2.circle(canvas, at, max(4, round(radius * 16)), int(rng.integers(90, 220)), -1, cv2.LINE_AA, 4)


def _warp(frame: _Frame, rng: Generator) -> Plane:
    """Return the perspective from canvas to crop: reduced, a little turned and out of square."""
    h, w, over = frame.height, frame.width, frame.over
    source = np.array([(0, 0), (w * over, 0), (w * over, h * over), (0, h * over)], np.float32)
    angle = rng.normal(0, 0.015)
    centre = np.array([w / 2, h / 2])
    turn = np.array([(np.cos(angle), -np.sin(angle)), (np.sin(angle), np.cos(angle))])
    target = ((source / over - centre) @ turn.T) + centre + rng.normal(0, 0.012 * h, (4, 2))
    return np.asarray(cv2.getPerspectiveTransform(source, target.astype(np.float32)), np.float32)


def photograph(writing: Writing, hands: Hands, grain: Grain, signs: Print, style: str, rng: Generator) -> Box:
    """Draw a writing into a box and take its picture.

    Parameters
    ----------
    writing
        What is written; no strokes for an empty box.
    style
        ``"pen"`` or ``"carbon"``.
    signs
        What forms print in their boxes.
    """
    frame = _frame(writing, rng)
    over = frame.over
    canvas = np.zeros((frame.height * over, frame.width * over), np.uint8)
    carbon = style == "carbon"
    pen = float(np.exp(rng.uniform(np.log(0.05), np.log(0.14))))
    thickness = max(1, round(pen * frame.unit), round(over * 0.9))
    _draw(canvas, frame.place(writing.strokes), thickness)
    if writing.crossed:
        _cross(canvas, frame, thickness, rng)
    made = {writing.source, style} | ({"neighbour"} if (crowded := rng.random() < 0.3) else set())
    if crowded:
        _neighbour(canvas, frame, hands, thickness, rng)
    if rng.random() < 0.1:
        _specks(canvas, frame, rng)
    ink: Plane = canvas.astype(np.float32) * np.float32(1 / 255)
    h, w = ink.shape
    soft = over * (rng.uniform(0.35, 1.0) if carbon else rng.uniform(0.25, 0.7))
    ink = cv2.GaussianBlur(ink, (0, 0), soft)
    pressure = 1 + rng.uniform(0.0, 0.25) * grain.cut(grain.smooth[3], h, w, rng)
    if carbon or rng.random() < 0.3:
        rough = grain.cut(grain.smooth[int(rng.integers(0, 2))], h, w, rng)
        pressure = pressure + rng.uniform(0.05, 0.4 if carbon else 0.22) * rough
        if carbon and rng.random() < 0.5:
            pressure = pressure + rng.uniform(0.1, 0.3) * grain.cut(grain.smooth[2], h, w, rng)
    ink = ink * np.clip(pressure, 0.25, 1.2)
    warp = _warp(frame, rng)
    size = (frame.width, frame.height)
    ink = np.clip(cv2.warpPerspective(ink, warp, size, flags=cv2.INTER_LINEAR), 0, 1)
    h, w = frame.height, frame.width
    if carbon:
        paper = np.array(_CARBON_PAPERS[int(rng.integers(len(_CARBON_PAPERS)))], np.float32)
        colour = np.array(_CARBON_INKS[int(rng.integers(len(_CARBON_INKS)))], np.float32)
        strength = rng.uniform(0.38, 0.85)
    else:
        paper = np.array([255, 254, 250], np.float32) - rng.uniform(0, 1) * np.array([4, 12, 32], np.float32)
        if rng.random() < 0.2:
            paper = np.array(_CARBON_PAPERS[int(rng.integers(len(_CARBON_PAPERS)))], np.float32)
        colour = np.array(_PEN_INKS[int(rng.choice(6, p=_PEN_SHARES))], np.float32)
        strength = rng.uniform(0.7, 1.0) if colour[0] < 80 else rng.uniform(0.6, 0.95)
    paper = np.clip(paper + rng.normal(0, 4, 3), 120, 255).astype(np.float32)
    tone = rng.uniform(0.0, 0.025) * grain.cut(grain.smooth[int(rng.integers(0, 4))], h, w, rng)
    picture = paper * (1 + tone[..., None])
    if rng.random() < 0.08:  # writing of the other side, shining through
        ghost = cv2.GaussianBlur(np.roll(ink[:, ::-1], int(rng.integers(0, max(1, h // 2))), 0), (0, 0), 1.5)
        picture = picture * (1 - rng.uniform(0.01, 0.05) * ghost[..., None])
    printed, framed = _printed(frame, rng)
    made |= {"frame"} if framed else set()
    if writing.printed and printed is None:
        printed = np.zeros((frame.height * over, frame.width * over), np.uint8)
    if printed is not None:
        made.add("print")
        _draw(printed, frame.place(writing.printed), max(1, round(rng.uniform(0.05, 0.1) * frame.unit)))
        empty = not writing.strokes
        if rng.random() < (0.3 if empty else 0.14):
            _printed_pound(printed, frame, signs.pounds, empty, rng)
        if rng.random() < (0.3 if empty else 0.07):
            _caption(printed, frame, signs.words, empty, rng)
        print_ink = np.array(_PRINT_INKS[int(rng.integers(len(_PRINT_INKS)))], np.float32)
        plane = cv2.warpPerspective(printed, warp, size, flags=cv2.INTER_LINEAR).astype(np.float32) / 255
        plane = cv2.GaussianBlur(plane, (0, 0), 0.5)[..., None] * np.float32(rng.uniform(0.2, 0.9))
        picture = picture * (1 - plane * (1 - print_ink / 255))
    picture = picture * (1 - (ink * np.float32(strength))[..., None] * (1 - colour / 255))
    bits = sum(1 << place for place, name in enumerate(MADE) if name in made)
    return Box(_expose(picture, grain, rng), writing.label, style, bits)


def _expose(picture: Plane, grain: Grain, rng: Generator) -> Mask:
    """Light, focus, sensor noise and JPEG."""
    h, w = picture.shape[:2]
    gx, gy = rng.normal(0, 0.12, 2).astype(np.float32)
    fall = (
        1
        + gx * np.linspace(-1, 1, w, dtype=np.float32)[None]
        + gy * np.linspace(-1, 1, h, dtype=np.float32)[:, None]
    )
    bright = float(np.exp(rng.normal(-0.18, 0.22)))
    picture = picture * (fall[..., None] * np.float32(min(bright, 1.1)))
    picture = picture * np.exp(rng.normal(0, 0.05, 3)).astype(np.float32)
    blur = rng.uniform(0, 0.012) * h if rng.random() < 0.6 else 0.0
    if blur > 0.25:
        picture = cv2.GaussianBlur(picture, (0, 0), min(blur, 1.2))
    noise = np.exp(rng.uniform(np.log(0.6), np.log(7.0)))
    y, x = int(rng.integers(0, grain.size - h)), int(rng.integers(0, grain.size - w))
    picture = picture + np.float32(noise) * grain.sensor[y : y + h, x : x + w]
    crop = np.clip(picture, 0, 255).astype(np.uint8)
    if rng.random() < 0.7:
        quality = int(rng.integers(35, 96))
        _, data = cv2.imencode(".jpg", crop, [cv2.IMWRITE_JPEG_QUALITY, quality])
        crop = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return crop


def scene(hands: Hands, grain: Grain, signs: Print, rng: Generator) -> Box:
    """Draw one training picture at random."""
    style = "carbon" if rng.random() < 0.45 else "pen"
    pick = rng.random()
    if pick < 0.09:
        nothing = Writing([], "", crossed=rng.random() < 0.06)
        if rng.random() < 0.1:  # the form's own point in a box that nobody wrote in
            dot = np.array([(rng.uniform(0.5, 3), rng.uniform(0.0, 0.4))], np.float32)
            nothing = Writing([], ".", [dot])
        return photograph(nothing, hands, grain, signs, style, rng)
    writing = None
    if pick > 0.79 and hands.whole:
        writing = compose.whole(hands, rng)
    writing = writing or compose.write(hands, texts.text(rng), rng)
    writing = compose.sway(writing, rng)
    if pick < 0.10 and writing.label not in {"-", "/", ".", '"'}:  # its row is crossed out
        writing = Writing(writing.strokes, "~", writing.printed, writing.source, crossed=True)
    elif pick < 0.13 and writing.label not in {"-", "/", ".", '"'}:
        struck = compose.strike(writing.strokes, rng)
        writing = Writing([*writing.strokes, *struck], "~", writing.printed, writing.source)
    elif pick < 0.16 and writing.label not in {"-", "/", ".", '"'}:
        writing = _corrected(writing, hands, rng)
    elif pick < 0.185 and writing.label not in {"-", ".", '"'}:
        writing.strokes.append(_flourish(writing.strokes, rng))
    return photograph(writing, hands, grain, signs, style, rng)


def _corrected(writing: Writing, hands: Hands, rng: Generator) -> Writing:
    """Cross out another number and write `writing` beside it: what counts is the new one."""
    old = compose.sway(
        compose.write(hands, texts.quantity(rng) if rng.random() < 0.5 else texts.amount(rng), rng), rng
    )
    gone = [*old.strokes, *compose.strike(old.strokes, rng)]
    right = max(float(s[:, 0].max()) for s in gone)
    left = min(float(s[:, 0].min()) for s in writing.strokes)
    move = np.array([right - left + rng.uniform(0.4, 1.0), rng.normal(0, 0.1)], np.float32)
    strokes = [*gone, *(s + move for s in writing.strokes)]
    return Writing(strokes, writing.label, [s + move for s in writing.printed], writing.source)


def _flourish(strokes: list[Stroke], rng: Generator) -> Stroke:
    """Return an underline: a line below the writing that says nothing."""
    every = np.concatenate(strokes)
    low, high = every.min(0), every.max(0)
    t = np.linspace(0, 1, 6)
    y = low[1] - rng.uniform(0.14, 0.3) + rng.normal(0, 0.015, 6)
    return np.stack([low[0] + (high[0] - low[0] + 0.2) * t - 0.1, y], 1).astype(np.float32)


_WORDS = ("Total", "TOTAL", "Total due", "Delivery", "P&P", "Qty", "Price", "each", "No.", "Amount", "Less", "Sub", "Code",
          "Item", "pence", "Paid", "Due", "Goods", "per", "Unit", "(s)", "a", "b", "of", "Cost", "How many", "pack")  # fmt: skip


def printed_words() -> list[Mask]:
    """Return words in print as masks: captions that a form prints in its boxes, or whose ends a cut takes in."""
    faces = (cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_TRIPLEX)
    words = []
    for k, word in enumerate(_WORDS):
        for face in faces:
            (wide, tall), foot = cv2.getTextSize(word, face, 1.4, 2 + k % 3)
            mask = np.zeros((tall + foot + 6, wide + 8), np.uint8)
            cv2.putText(mask, word, (4, tall + 3), face, 1.4, 255, 2 + k % 3, cv2.LINE_AA)
            rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
            words.append(mask[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1])
    return words


def printed_pounds() -> list[Mask]:
    """Return pound signs in print, drawn from their outline with two line widths and two widths."""
    signs = []
    for thick, wide in ((5, 46), (9, 50), (5, 56), (12, 56)):
        mask = np.zeros((100, 64), np.uint8)
        x = wide
        cv2.ellipse(mask, (x - 20, 26), (18, 20), 0, 180, 350, 255, thick, cv2.LINE_AA)
        cv2.line(mask, (x - 38, 26), (x - 36, 70), 255, thick, cv2.LINE_AA)
        cv2.line(mask, (x - 36, 70), (6, 93), 255, thick, cv2.LINE_AA)
        cv2.line(mask, (6, 93), (x + 2, 93), 255, thick, cv2.LINE_AA)
        cv2.line(mask, (6, 52), (x - 10, 52), 255, thick, cv2.LINE_AA)
        signs.append(mask)
    return signs
