"""Strings composed from single characters of one hand, and whole numbers as they were written.

Lengths are in digit heights, y upwards, the writing line at 0. Spacing, heights and the wander of the line
follow what was measured on the training writers of the UNIPEN whole numbers: gaps between the nearest points
of two digits have a median of 0.38 with a spread of 0.19 between hands and 0.2 within one; neighbouring
digits differ in height by a factor of 0.69 to 1.43 (5 to 95 %) and in their feet by 0.14 (standard
deviation).
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
from numpy.random import Generator

Stroke = npt.NDArray[np.float32]
_BINS = 24  # bands of 0.1 from -0.7 upwards in which the nearest points of two neighbours are sought
_FEEBLE = '.,-1:"'  # signs that clutter would hide: they keep their distance


@dataclass(slots=True)
class Writing:
    """Strokes and what they say."""

    strokes: list[Stroke]
    label: str
    printed: list[Stroke] = field(default_factory=list)
    """Signs of the label that the form prints and nobody wrote: a decimal point."""
    source: str = ""
    """Where the ink is from: ``u`` UNIPEN characters, ``m`` MNIST, ``n`` parts of whole numbers, ``f`` fonts,
    ``w`` a whole number as it was written; empty where there is none."""
    crossed: bool = False
    """Whether the stroke that crosses out a whole row runs through the box."""


@dataclass(slots=True)
class _Glyph:
    strokes: list[Stroke]
    pen: bool  # the strokes are in the order in which the pen drew them


class Hands:
    """All the ink of one split, by hand and sign."""

    def __init__(self, archive: Path, split: str, barred: frozenset[str] = frozenset()) -> None:
        with np.load(archive) as z:
            data = {k: z[k] for k in z.files}
        self.hands: dict[str, dict[str, list[_Glyph]]] = {}
        points, stroke, item = (
            data["glyph_points"] / np.float32(1000),
            data["glyph_stroke"],
            data["glyph_item"],
        )
        for i in np.flatnonzero(data["glyph_split"] == split).tolist():
            strokes = [points[stroke[s] : stroke[s + 1]] for s in range(item[i], item[i + 1])]
            hand, sign = str(data["glyph_hand"][i]), str(data["glyph_label"][i])
            self.hands.setdefault(hand, {}).setdefault(sign, []).append(_Glyph(strokes, hand[0] == "u"))
        if split != "train":  # fonts lend the signs that nobody wrote
            for i in np.flatnonzero(np.char.startswith(data["glyph_hand"], "f")).tolist():
                strokes = [points[stroke[s] : stroke[s + 1]] for s in range(item[i], item[i + 1])]
                hand, sign = str(data["glyph_hand"][i]), str(data["glyph_label"][i])
                if sign in '£"p':
                    self.hands.setdefault(hand, {}).setdefault(sign, []).append(_Glyph(strokes, False))
        self.whole: list[tuple[list[Stroke], str, list[int]]] = []
        self._take_whole(data, split, barred)
        self.barred = barred
        full = [h for h, g in self.hands.items() if sum(s.isdigit() for s in g) >= 8 and h[0] in "umn"]
        self.by_kind = {k: [h for h in full if h[0] == k] for k in "umn"}
        self.by_kind["f"] = [h for h in self.hands if h[0] == "f"]
        self.any: dict[str, list[_Glyph]] = {}
        for name, glyphs in self.hands.items():
            for sign, several in glyphs.items():
                if name[0] != "f" or sign == "£":
                    self.any.setdefault(sign, []).extend(several)

    def _take_whole(
        self, data: dict[str, npt.NDArray[np.generic]], split: str, barred: frozenset[str]
    ) -> None:
        points = data["whole_points"] / np.float32(1000)
        stroke, item, owner = data["whole_stroke"], data["whole_item"], data["whole_owner"]
        start = data["whole_owner_item"]
        for i in np.flatnonzero(data["whole_split"] == split).tolist():
            strokes = [points[stroke[s] : stroke[s + 1]] for s in range(item[i], item[i + 1])]
            label, own = str(data["whole_label"][i]), owner[start[i] : start[i + 1]].tolist()
            if own or label not in barred:
                self.whole.append((strokes, label, own))
            for k, sign in enumerate(label if own else ""):
                if sign in "0123456789./-":
                    part = [s for s, o in zip(strokes, own, strict=True) if o == k]
                    left = min(float(s[:, 0].min()) for s in part)
                    moved = [s - np.array([left, 0], np.float32) for s in part]
                    hand = str(data["whole_hand"][i])
                    self.hands.setdefault(hand, {}).setdefault(sign, []).append(_Glyph(moved, True))


def _dense(stroke: Stroke) -> Stroke:
    """Return a stroke with points no further apart than the bands in which neighbours are kept apart.

    A bare 1 has three points: without this its neighbours would not notice most of it.
    """
    if len(stroke) < 2:
        return stroke
    steps = np.hypot(*np.diff(stroke, axis=0).T)
    if float(steps.max()) <= 0.08:
        return stroke
    along = np.r_[0, np.cumsum(steps)]
    at = np.union1d(along, np.linspace(0, along[-1], int(along[-1] / 0.06) + 2))
    return np.stack([np.interp(at, along, stroke[:, k]) for k in (0, 1)], 1).astype(np.float32)


def _bins(y: Stroke) -> npt.NDArray[np.int64]:
    return np.asarray(np.clip((y + 0.7) * 10, 0, _BINS - 1), np.int64)


def _edge(points: Stroke, right: bool) -> npt.NDArray[np.float32]:
    """Return the outermost x in each band and the bands beside it; infinite where there is no ink."""
    edge = np.full(_BINS + 2, -np.inf, np.float32)
    np.maximum.at(edge, _bins(points[:, 1]) + 1, points[:, 0] if right else -points[:, 0])
    wide = np.maximum(np.maximum(edge[:-2], edge[1:-1]), edge[2:])
    return wide if right else -wide


def _pound(rng: Generator) -> list[Stroke]:
    """Return a pound sign as drawn by hand: a hooked stem that runs into the foot, and one or two bars."""
    j = rng.normal(0, 0.035, (12, 2)).astype(np.float32)
    stem = np.array(
        [(0.62, 0.82), (0.55, 0.97), (0.4, 1.0), (0.28, 0.88), (0.26, 0.65), (0.3, 0.4), (0.26, 0.15),
         (0.1, 0.02), (0.02, 0.1), (0.16, 0.13), (0.4, 0.0), (0.66, 0.06)], np.float32
    ) + j  # fmt: skip
    if rng.random() < 0.35:
        stem = np.delete(stem, [7, 8], axis=0)  # no loop in the foot
    at = np.linspace(0, len(stem) - 1, 30)
    k = np.arange(len(stem))
    smooth = np.stack([np.interp(at, k, stem[:, a]) for a in (0, 1)], 1)
    smooth = np.apply_along_axis(
        lambda v: np.convolve(np.pad(v, 1, "edge"), [0.25, 0.5, 0.25], "valid"), 0, smooth
    )
    height = rng.uniform(0.4, 0.55)
    strokes = [smooth.astype(np.float32)]
    for bar in range(1 + (rng.random() < 0.25)):
        y = height + 0.13 * bar
        strokes.append(
            np.array(
                [(rng.uniform(0.0, 0.12), y), (rng.uniform(0.5, 0.68), y + rng.normal(0, 0.04))], np.float32
            )
        )
    return strokes


def _one(rng: Generator) -> list[Stroke]:
    """Return a 1: a bare slanted line, or one with a hook and perhaps a foot."""
    height, lean = rng.uniform(0.6, 1.12), rng.normal(0.12, 0.15)
    top = np.array([lean, height])
    bend = np.array([lean / 2 + rng.normal(0, 0.03), height / 2])
    strokes = [np.stack([top, bend, np.zeros(2)])]
    pick = rng.random()
    if pick < 0.3:
        hook = top + np.array([-rng.uniform(0.08, 0.4), -rng.uniform(0.08, 0.35)])
        strokes = [np.stack([hook, top, bend, np.zeros(2)])]
        if rng.random() < 0.35:
            half = rng.uniform(0.12, 0.3)
            strokes.append(np.array([(-half, rng.normal(0, 0.02)), (half, rng.normal(0, 0.03))]))
    left = min(float(s[:, 0].min()) for s in strokes)
    return [(s - np.array([left, 0])).astype(np.float32) for s in strokes]


def _hooked_one(style: npt.NDArray[np.float64], rng: Generator) -> list[Stroke]:
    """Return a 1 with a long hook, as much of Europe writes it: straight, bowed, or dipping into the stem.

    `style`, six numbers between 0 and 1, is the hand's; the rest is chance.
    """
    look = np.clip(style + rng.normal(0, 0.06, 6), 0, 1)
    top = np.array([0.4 * look[1] - 0.12, 0.75 + 0.4 * look[0]])
    reach = 0.14 + 0.38 * look[2]
    drop = 0.04 + 0.4 * reach + 0.36 * look[3]  # a level hook would make it a 7
    start = top + np.array([-reach, -drop])
    bend = top / 2 + np.array([rng.normal(0.02, 0.03), 0])
    if style[4] < 0.4:
        hook = [start, top]
    elif style[4] < 0.7:
        hook = [start, start + np.array([0.45 * reach, 0.5 * drop + rng.uniform(0.03, 0.1)]), top]
    else:
        dip = top * (1 - rng.uniform(0.12, 0.3))
        hook = [start, start + np.array([0.3 * reach, 0.45 * drop + rng.uniform(0.0, 0.08)]), dip, top]
    corners = np.stack([*hook, bend, np.zeros(2)])
    at = np.linspace(0, len(corners) - 1, 24)
    line = np.stack([np.interp(at, np.arange(len(corners)), corners[:, k]) for k in (0, 1)], 1)
    line[1:-1] = 0.25 * line[:-2] + 0.5 * line[1:-1] + 0.25 * line[2:]
    strokes = [line]
    if style[5] > 0.7:
        left, right = rng.uniform(0.1, 0.34, 2)
        strokes.append(np.array([(-left, rng.normal(0, 0.03)), (right, rng.normal(0, 0.03))]))
    begin = min(float(s[:, 0].min()) for s in strokes)
    return [(s - np.array([begin, 0])).astype(np.float32) for s in strokes]


def _slash(style: npt.NDArray[np.float64], rng: Generator) -> list[Stroke]:
    """Return a slash: mostly taller than a digit, leaning more than a 1, straight or a little bowed.

    `style`, three numbers between 0 and 1, is the hand's; the rest is chance.
    """
    look = np.clip(style + rng.normal(0, 0.08, 3), 0, 1)
    foot, head = 0.08 - 0.4 * look[0], 0.85 + 0.45 * look[1]
    lean = 0.14 + 0.55 * look[2]
    bow = rng.normal(0, 0.03)
    t = np.linspace(0, 1, 10)
    x = lean * t + bow * np.sin(np.pi * t)
    return [np.stack([x - x.min(), foot + (head - foot) * t], 1).astype(np.float32)]


def _habits(strokes: list[Stroke], sign: str, slashed: bool, crossed: bool) -> list[Stroke]:
    """Add the slash of a hand that slashes its zeros, the bar of one that crosses its sevens."""
    every = np.concatenate(strokes)
    low, high = every.min(0), every.max(0)
    if sign == "0" and slashed:
        over = 0.12 * (high - low)
        return [*strokes, np.stack([low - over, high + over]).astype(np.float32)]
    if sign == "7" and crossed:
        y = low[1] + 0.48 * (high[1] - low[1])
        near = every[np.abs(every[:, 1] - y) < 0.12]
        if len(near):
            x = float(near[:, 0].mean())
            return [*strokes, np.array([(x - 0.24, y - 0.02), (x + 0.24, y + 0.03)], np.float32)]
    return strokes


def _vary(strokes: list[Stroke], pen: bool, bend: float, rng: Generator) -> list[Stroke]:
    """Return a glyph as its writer might have drawn it another time.

    Its plane is bent by a smooth field; where the strokes are the pen's own, their ends also come short or run
    on, so that noughts, fours and nines open and close.
    """
    fx, fy = rng.uniform(1.5, 5.0, 2).astype(np.float32)
    phase = rng.uniform(0, 6.28, 4).astype(np.float32)
    ax, ay = (bend * rng.uniform(0.3, 1.0, 2)).astype(np.float32)
    varied = []
    for stroke in strokes:
        drawn = _ended(stroke, rng) if pen and len(stroke) > 6 and rng.random() < 0.5 else stroke
        x, y = drawn[:, 0], drawn[:, 1]
        dx = ax * np.sin(fx * y + phase[0]) + 0.6 * ax * np.sin(fy * x + phase[1])
        dy = ay * np.sin(fy * x + phase[2]) + 0.6 * ay * np.sin(fx * y + phase[3])
        varied.append(np.stack([x + dx, y + dy], 1).astype(np.float32))
    return varied


def _ended(stroke: Stroke, rng: Generator) -> Stroke:
    """Cut up to a twelfth off either end of a stroke, or run on by as much as a tenth of a digit's height."""
    most = len(stroke) // 12
    kept = stroke[int(rng.integers(0, most + 1)) : len(stroke) - int(rng.integers(0, most + 1))]
    parts = [kept]
    for first in (True, False):
        tip, before = (kept[0], kept[2]) if first else (kept[-1], kept[-3])
        length = float(np.hypot(*(tip - before)))
        if length > 1e-3 and rng.random() < 0.3:
            on = (tip + (tip - before) / length * rng.uniform(0.02, 0.1))[None].astype(np.float32)
            parts = [on, *parts] if first else [*parts, on]
    return np.concatenate(parts)


def _kind(rng: Generator) -> str:
    return str(rng.choice(["u", "m", "n", "f"], p=[0.46, 0.36, 0.14, 0.04]))


def _spacing(rng: Generator) -> tuple[float, float]:
    pick = rng.random()
    if pick < 0.14:
        return float(rng.uniform(-0.08, 0.08)), 0.06  # digits that touch
    if pick < 0.20:
        return float(rng.uniform(0.6, 1.1)), 0.2
    return float(np.clip(rng.normal(0.34, 0.17), 0.03, 0.9)), float(rng.uniform(0.04, 0.22))


def write(hands: Hands, text: str, rng: Generator, kind: str | None = None) -> Writing:
    """Compose `text` in one hand; a space in it is a gap, and no part of the label."""
    gaps = [k - text[:k].count(" ") for k, sign in enumerate(text) if sign == " "]
    text = text.replace(" ", "")
    kind = kind or _kind(rng)
    owners = hands.by_kind[kind] or hands.by_kind["m"] or hands.by_kind["u"]
    hand = hands.hands[owners[int(rng.integers(len(owners)))]]
    gap, gap_spread = _spacing(rng)
    size_spread = rng.uniform(0.02, 0.13)
    foot_spread = rng.uniform(0.0, 0.10)
    slashed, crossed = rng.random() < 0.05, rng.random() < 0.10
    ones = rng.random()
    plain_ones, hooked_ones = ones < 0.14, ones > 0.87
    hook, slanted, own_slash = rng.random(6), rng.random(3), rng.random() < 0.5
    crossed = crossed or (hooked_ones and rng.random() < 0.6)  # who hooks ones mostly bars sevens
    joined = kind in "un" and rng.random() < 0.22
    faithful = rng.random() < 0.5  # this hand repeats its shapes
    lifted = rng.random() < 0.12  # the point floats at half height
    tied = rng.random() < 0.12  # this hand runs its noughts together at the top
    printed: list[Stroke] = []
    form = "." in text and rng.random() < 0.07  # the form prints the point, and the digits keep off it
    turn = rng.normal(0, 0.03)
    bend = rng.uniform(0.0, 0.05)  # how unlike itself this hand is from one digit to the next
    chosen: dict[str, _Glyph] = {}
    strokes: list[Stroke] = []
    right_edge: npt.NDArray[np.float32] | None = None
    right = 0.0
    pen_end: Stroke | None = None
    for position, sign in enumerate(text):
        if sign == "£" and rng.random() < 0.75:
            glyph = _Glyph(_pound(rng), False)
        elif sign == "1" and plain_ones:
            glyph = _Glyph(_one(rng), True)
        elif sign == "1" and hooked_ones:
            glyph = _Glyph(_hooked_one(hook, rng), True)
        elif sign == "/" and own_slash:
            glyph = _Glyph(_slash(slanted, rng), True)
        elif faithful and sign in chosen:
            glyph = chosen[sign]
        else:
            several = hand.get(sign) or hands.any[sign]
            glyph = several[int(rng.integers(len(several)))]
            chosen[sign] = glyph
        shape = _vary(glyph.strokes, glyph.pen, bend, rng) if sign not in ".,-:" else glyph.strokes
        drawn = [_dense(stroke) for stroke in _habits(shape, sign, slashed, crossed)]
        ends = np.cumsum([len(s) for s in drawn])
        points = np.concatenate(drawn)
        size = float(np.exp(rng.normal(0, size_spread)))
        angle = turn + rng.normal(0, 0.035)
        shear = rng.normal(0, 0.05)
        wide = size * float(np.exp(rng.normal(0, 0.07)))
        matrix = np.array([(wide, shear * size - angle), (angle, size)], np.float32)
        points = points @ matrix.T
        foot = rng.normal(0, foot_spread) if sign.isdigit() else rng.normal(0, 0.03)
        if sign == "0" and kind in "mu" and rng.random() < 0.4:
            points *= np.float32(rng.uniform(0.7, 0.95))  # zeros are written smaller than the rest
            foot += rng.uniform(0, 0.12)
        if sign == "." and lifted:
            foot += rng.uniform(0.2, 0.5)
        points[:, 1] += np.float32(foot)
        left_edge = _edge(points, right=False)
        if position:
            want = gap + rng.normal(0, gap_spread)
            if sign in "-/x:£" or text[position - 1] in "-/x:£":
                want += rng.uniform(0.0, 0.25)
            feeble = sign in _FEEBLE or text[position - 1] in _FEEBLE
            tiny = sign in ".,-" or text[position - 1] in ".,-"
            want = max(want, 0.24 if tiny else 0.15 if feeble else -0.03)
            if form and "." in (sign, text[position - 1]):
                want += rng.uniform(0.0, 0.9)
            if position in gaps:
                want += rng.uniform(0.35, 1.3)
            low_x = float(points[:, 0].min())
            assert right_edge is not None
            touch = float(np.max(right_edge - left_edge))  # shift at which the nearest points meet
            shift = touch + want if np.isfinite(touch) else right - low_x + max(want, 0.08)
            width = float(np.ptp(points[:, 0]))
            limit = right - low_x - (0.05 if feeble else 0.22 * max(0.15, min(width, 0.7)))
            if not np.isfinite(touch) or shift < limit:
                shift = max(shift, limit)
            points[:, 0] += np.float32(shift)
            left_edge = left_edge + np.float32(shift)
        new = np.split(points, ends[:-1])
        if (
            joined
            and position
            and pen_end is not None
            and sign.isdigit()
            and glyph.pen
            and rng.random() < 0.6
        ):
            begin = new[0][0]
            reach = begin - pen_end
            if 0.02 < reach[0] < 1.1 and abs(reach[1]) < 1.0 and (abs(reach[1]) < 0.55 or rng.random() < 0.3):
                middle = (begin + pen_end) / 2 + np.array([0, -rng.uniform(0.0, 0.15)], np.float32)
                t = np.linspace(0, 1, 8, dtype=np.float32)[:, None]
                strokes.append((1 - t) ** 2 * pen_end + 2 * t * (1 - t) * middle + t**2 * begin)
        if tied and sign == "0" and position and text[position - 1] == "0":
            tops = [min(strokes[-1].tolist(), key=lambda p: -p[1]), min(points.tolist(), key=lambda p: -p[1])]
            sag = np.array([0, rng.uniform(-0.12, 0.08)], np.float32)
            middle = np.mean(tops, axis=0) + sag
            strokes.append(_dense(np.array([tops[0], middle, tops[1]], np.float32)))
        pen_end = new[len(glyph.strokes) - 1][-1] if glyph.pen and sign.isdigit() else None
        (printed if form and sign == "." else strokes).extend(new)
        edge = _edge(points, right=True)
        right_edge = edge if right_edge is None else np.maximum(right_edge, edge)
        right = max(right, float(points[:, 0].max()))
    return Writing(strokes, text, printed, kind)


_READABLE = frozenset("0123456789.,-/:x")


def whole(hands: Hands, rng: Generator) -> Writing | None:
    """Return a number written in one go by one of this split's writers, or a part of one, if it may be used."""
    strokes, label, owner = hands.whole[int(rng.integers(len(hands.whole)))]
    first, last = 0, len(label)
    if owner:
        runs = [k for k, s in enumerate(label) if s not in _READABLE]
        if runs or label in hands.barred or rng.random() < 0.5:
            first = int(rng.integers(0, len(label)))
            last = int(rng.integers(first + 1, len(label) + 1))
    said = label[first:last]
    if not set(said) <= _READABLE or said in hands.barred:
        return None
    if not (said[0].isdigit() and said[-1].isdigit()):
        return (
            None  # a stroke at the end of a part may be a slash or a 1: only what stood beside it would tell
        )
    if owner:
        strokes = [s for s, o in zip(strokes, owner, strict=True) if first <= o < last]
    wide = np.float32(np.exp(rng.normal(0, 0.12)))
    shear = np.float32(rng.normal(0, 0.1))
    strokes = [np.stack([s[:, 0] * wide + shear * s[:, 1], s[:, 1]], 1).astype(np.float32) for s in strokes]
    # Few people wrote these: bent, they are less easily known by heart.
    return Writing(_vary(strokes, False, rng.uniform(0.0, 0.05), rng), said, source="w")


def sway(writing: Writing, rng: Generator) -> Writing:
    """Slant, stretch and bend a whole writing gently, as a hurried or a cramped hand does."""
    slant = np.float32(np.clip(rng.normal(0.08, 0.16 if rng.random() < 0.8 else 0.34), -0.6, 0.8))
    stretch = np.float32(np.exp(rng.normal(-0.05, 0.17)))
    rise = np.float32(rng.normal(0, 0.03))
    fx, fy = rng.uniform(0.8, 3.0, 2).astype(np.float32)
    px, py, qx, qy = rng.uniform(0, 6.28, 4).astype(np.float32)
    ax, ay = rng.uniform(0, 0.035, 2).astype(np.float32)

    def bent(s: Stroke) -> Stroke:
        x = s[:, 0] * stretch + slant * s[:, 1]
        y = s[:, 1] + rise * s[:, 0]
        dx = ax * np.sin(fx * s[:, 0] + px) * np.sin(fy * s[:, 1] + py)
        dy = ay * np.sin(fy * s[:, 0] + qx) + ay * np.sin(fx * s[:, 1] + qy) * 0.7
        return np.stack([x + dx, y + dy], 1).astype(np.float32)

    strokes = [bent(s) for s in writing.strokes]
    return Writing(strokes, writing.label, [bent(s) for s in writing.printed], writing.source)


def strike(strokes: list[Stroke], rng: Generator) -> list[Stroke]:
    """Return the strokes that cross out a writing."""
    every = np.concatenate(strokes)
    (x0, y0), (x1, y1) = every.min(0), every.max(0)
    wide, tall = max(float(x1 - x0), 0.3), max(float(y1 - y0), 0.5)
    narrow = wide < 1.1
    over = 0.3 if narrow else 0.12
    left, right = x0 - over * rng.uniform(0.6, 1.6), x1 + over * rng.uniform(0.6, 1.6)
    middle = float(y0) + tall * rng.uniform(0.38, 0.62)
    pick = rng.random()

    def line(ya: float, yb: float, wobble: float = 0.02) -> Stroke:
        t = np.linspace(0, 1, 6)
        y = ya + (yb - ya) * t + rng.normal(0, wobble, 6)
        return np.stack([left + (right - left) * t, y], 1).astype(np.float32)

    tilt = rng.normal(0, 0.06)
    if pick < 0.26 and not narrow:
        return [line(middle - tilt, middle + tilt)]
    if pick < 0.48:
        space = rng.uniform(0.15, 0.3)
        return [
            line(middle + space / 2, middle + space / 2 + tilt),
            line(middle - space / 2, middle - space / 2 + tilt),
        ]
    if pick < 0.56 and not narrow:
        return [line(float(y0) - 0.05, float(y1) + 0.05)]
    if pick < 0.68:
        return [line(float(y0) - 0.05, float(y1) + 0.05), line(float(y1) + 0.05, float(y0) - 0.05)]
    turns = int(max(4, rng.integers(4, 8) * max(1.0, wide)))
    t = np.linspace(0, 1, turns)
    low, high = float(y0) + tall * rng.uniform(-0.05, 0.3), float(y1) - tall * rng.uniform(-0.05, 0.3)
    if pick < 0.85:
        y = np.where(np.arange(turns) % 2, low, high) + rng.normal(0, 0.06, turns)
        return [np.stack([left + (right - left) * t, y], 1).astype(np.float32)]
    t = np.linspace(0, 1, turns * 8)
    phase = t * turns * 6.28
    x = left + (right - left) * t + 0.18 * np.cos(phase)
    y = (low + high) / 2 + (high - low) / 2 * np.sin(phase) * (1 + 0.2 * np.sin(7 * t))
    return [np.stack([x, y], 1).astype(np.float32)]
