"""Random order forms, drawn coarsely: what a slip looks like from as far as the finder sees it.

Nothing here is taken from the designs of ``sample_scans``: columns, rules, bands, colours and wording are drawn
at random, far wider than any real pad, so that the finder learns paper with a form on it and not a pad.
"""

from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

Image = npt.NDArray[np.uint8]
Generator = np.random.Generator

_FONTS = (
    cv2.FONT_HERSHEY_SIMPLEX,
    cv2.FONT_HERSHEY_DUPLEX,
    cv2.FONT_HERSHEY_COMPLEX,
    cv2.FONT_HERSHEY_TRIPLEX,
    cv2.FONT_HERSHEY_PLAIN,
)
_LETTERS = np.array(list("ABCDEFGHIJKLMNOPRSTUVWabcdefghiklmnoprstuvw   "))
PAPERS = (
    (250, 250, 248),
    (252, 248, 236),
    (250, 205, 212),
    (250, 240, 170),
    (190, 215, 245),
    (205, 236, 205),
)
_BLOCKS = 0.3  # share of forms in landscape with two tables side by side
_PANELLED = 0.1  # share of forms with a panel of solid colour along one side
_SHARES = (0.42, 0.14, 0.12, 0.12, 0.12, 0.08)
_INKS = (
    (40, 40, 45),
    (30, 50, 120),
    (150, 40, 45),
    (40, 100, 60),
    (90, 90, 95),
    (110, 70, 40),
    (90, 40, 110),
)


def paper_colour(rng: Generator) -> npt.NDArray[np.float64]:
    """Return an RGB paper: white, cream or the tint of a carbon copy."""
    paper = np.array(PAPERS[int(rng.choice(len(PAPERS), p=_SHARES))], float)
    return np.clip(paper + rng.normal(0, 5, 3) - rng.uniform(0, 14), 120, 255)


def _words(rng: Generator, most: int) -> str:
    return "".join(rng.choice(_LETTERS, int(rng.integers(3, max(4, most)))))


def _write(
    image: Image, x: float, y: float, size: float, colour: tuple[int, ...], rng: Generator, most: int = 18
) -> None:
    scale = size / 30
    thick = max(1, round(scale * float(rng.uniform(0.8, 3))))
    font = _FONTS[int(rng.integers(len(_FONTS)))]
    cv2.putText(image, _words(rng, most), (int(x), int(y)), font, scale, colour, thick, cv2.LINE_AA)


def _scrawl(
    image: Image, x: float, y: float, width: float, height: float, colour: tuple[int, ...], rng: Generator
) -> None:
    """A squiggle that fills a box as a number or a word does."""
    n = max(4, int(width / max(height, 1) * 4))
    xs = np.linspace(0, width, n) + rng.normal(0, 0.15 * height, n)
    ys = rng.uniform(0.1, 0.95, n) * height
    points = np.stack([x + xs, y + ys], 1).astype(np.int32)
    thick = 1 if height < 14 else int(rng.integers(1, 3))
    for start in range(0, n - 2, 3):
        cv2.polylines(
            image, [points[start : start + int(rng.integers(2, 5))]], False, colour, thick, cv2.LINE_AA
        )


def _line(
    image: Image,
    start: tuple[float, float],
    end: tuple[float, float],
    colour: tuple[int, ...],
    thick: int,
    dots: int,
) -> None:
    a, b = np.array(start), np.array(end)
    if not dots:
        cv2.line(image, a.astype(int).tolist(), b.astype(int).tolist(), colour, thick, cv2.LINE_AA)
        return
    length = float(np.hypot(*(b - a)))
    for t in np.arange(0, length, dots):
        p = a + (b - a) * t / max(length, 1)
        q = a + (b - a) * min(t + dots / 2.5, length) / max(length, 1)
        cv2.line(image, p.astype(int).tolist(), q.astype(int).tolist(), colour, thick, cv2.LINE_AA)


def _mix(ink: npt.NDArray[np.float64], paper: npt.NDArray[np.float64], share: float) -> tuple[int, ...]:
    return tuple(int(v) for v in np.clip(paper + (ink - paper) * share, 0, 255))


def draw_form(rng: Generator, long: int = 520) -> Image:
    """Return a (H, W, 3) uint8 RGB form, its long side ``long`` pixels."""
    ratio = float(rng.choice([0.705, 0.47, float(rng.uniform(0.35, 1.0))], p=[0.4, 0.2, 0.4]))
    h, w = (long, int(long * ratio)) if rng.random() < 0.65 else (int(long * ratio), long)
    paper = paper_colour(rng)
    image = np.full((h, w, 3), paper, np.uint8)
    ink = np.array(_INKS[int(rng.integers(len(_INKS)))], float)
    faint = float(rng.uniform(0.25, 1.0))
    colour = _mix(ink, paper, faint)
    second = _mix(np.array(_INKS[int(rng.integers(len(_INKS)))], float), paper, faint)
    pen = _mix(
        np.array(((25, 30, 110), (25, 25, 30), (70, 75, 130), (60, 60, 66))[int(rng.integers(4))], float),
        paper,
        float(rng.uniform(0.35, 1.0)),
    )
    margin = float(rng.uniform(0.015, 0.09)) * w
    text = max(7.0, h * float(rng.uniform(0.014, 0.026)))
    y = float(rng.uniform(0.03, 0.08)) * h
    if rng.random() < 0.15:  # a printed band, sometimes to the very edge
        deep = int(rng.uniform(0.03, 0.16) * h)
        left = 0 if rng.random() < 0.6 else int(margin)
        cv2.rectangle(
            image,
            (left, 0 if left == 0 else int(y)),
            (w - left, deep + (0 if left == 0 else int(y))),
            _mix(ink, paper, float(rng.uniform(0.1, 1))),
            -1,
        )
        y += deep
    if rng.random() < 0.12:
        cv2.rectangle(
            image,
            (int(margin / 2), int(margin / 2)),
            (int(w - margin / 2), int(h - margin / 2)),
            colour,
            int(rng.integers(1, 4)),
        )
    _write(
        image,
        margin + float(rng.choice([0, rng.uniform(0, 0.4)])) * w,
        y + text,
        text * float(rng.uniform(1, 2.4)),
        colour,
        rng,
    )
    if rng.random() < 0.6:
        _write(
            image,
            w - margin - float(rng.uniform(0.1, 0.25)) * w,
            y + text,
            text * float(rng.uniform(0.8, 1.6)),
            second,
            rng,
            7,
        )
    if rng.random() < 0.2:
        cv2.ellipse(
            image,
            (int(rng.uniform(0.1, 0.9) * w), int(y + text)),
            (int(0.05 * w), int(0.03 * h) + 2),
            0,
            0,
            360,
            second,
            -1 if rng.random() < 0.5 else 2,
        )
    y += text * float(rng.uniform(1.5, 3))
    for _ in range(int(rng.integers(0, 5))):
        y += text * 1.6
        _write(image, margin, y, text * 0.8, colour, rng, 9)
        x0 = margin + float(rng.uniform(0.1, 0.25)) * w
        _line(
            image,
            (x0, y),
            (float(rng.uniform(0.5, 1)) * (w - margin), y),
            colour,
            1,
            int(rng.choice([0, 4, 7])),
        )
        if rng.random() < 0.7:
            _scrawl(image, x0 + 4, y - text * 1.1, float(rng.uniform(0.1, 0.35)) * w, text * 1.2, pen, rng)
    y += text * float(rng.uniform(0.8, 2.5))
    bottom = h * float(rng.uniform(0.7, 0.96))
    # Two tables side by side, what is between them as bare as paper between two slips.
    middle = float(rng.uniform(0.4, 0.6)) * w
    gap = float(rng.uniform(0.01, 0.05)) * w
    side_by_side = [(margin, middle - gap), (middle + gap, w - margin)]
    blocks = side_by_side if rng.random() < (_BLOCKS if w > h else 0) else [(margin, w - margin)]
    for left, right in blocks:
        _table(
            image, left, min(y, 0.6 * h), right, bottom, (ink, paper, faint), colour, second, pen, text, rng
        )
    if rng.random() < 0.7:
        _write(image, margin, h - float(rng.uniform(0.01, 0.03)) * h, text * 0.6, colour, rng, 40)
    if rng.random() < 0.1:
        for _ in range(2):
            cv2.circle(
                image,
                (int(rng.uniform(0.1, 0.9) * w), int(0.03 * h)),
                max(3, int(0.012 * h)),
                (70, 60, 55),
                -1,
            )
    if rng.random() < 0.08:  # lines of print, as of conditions
        for row in np.arange(bottom, h, text):
            _write(image, margin, float(row), text * 0.6, colour, rng, 60)
    if rng.random() < _PANELLED:
        _panel(image, (ink, paper), pen, text, rng)
    return image


def _panel(
    image: Image,
    inks: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]],
    pen: tuple[int, ...],
    text: float,
    rng: Generator,
) -> None:
    """Lay a panel of solid colour along one side of a form, to the paper's edges, with light words and boxes in it."""
    ink, paper = inks
    height, width = image.shape[:2]
    deep = float(rng.uniform(0.12, 0.45))
    left, top, right, bottom = (
        (0, 0, round(deep * width), height),
        (round((1 - deep) * width), 0, width, height),
        (0, round((1 - deep / 2) * height), width, height),
        (0, 0, width, round(deep / 2 * height)),
    )[int(rng.integers(4))]
    colour = _mix(ink, paper, float(rng.uniform(0.3, 1)))
    cv2.rectangle(image, (left, top), (right, bottom), colour, -1)
    edge = float(rng.uniform(0.03, 0.1)) * (right - left)
    y = top + 2 * text
    while y < bottom - text:
        _write(image, left + edge, y, text * float(rng.uniform(0.7, 1.3)), _mix(ink, paper, 0.05), rng, 10)
        start = left + float(rng.uniform(0.3, 0.6)) * (right - left)
        if rng.random() < 0.4:
            box = (int(start), int(y - text)), (int(right - edge), int(y + text / 2))
            cv2.rectangle(image, *box, _mix(ink, paper, float(rng.uniform(0, 0.15))), -1)
            _scrawl(image, start + 2, y - 0.8 * text, 0.5 * (right - edge - start), text, pen, rng)
        y += text * float(rng.uniform(1.6, 4))


def _table(
    image: Image, left: float, top: float, right: float, bottom: float,
    inks: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], float],
    colour: tuple[int, ...], second: tuple[int, ...], pen: tuple[int, ...], text: float, rng: Generator,
) -> None:  # fmt: skip
    ink, paper, faint = inks
    rows = int(rng.integers(3, 26))
    columns = np.sort(rng.uniform(0.05, 0.95, int(rng.integers(1, 8))))
    xs = np.concatenate([[left], left + columns * (right - left), [right]])
    totals = int(rng.integers(0, 6))
    step = (bottom - top) / (rows + 1.5 + totals)
    rule = int(rng.choice([1, 1, 1, 2, 3]))
    dots = int(rng.choice([0, 0, 0, 3, 5, 8]))
    style = rng.choice(["grid", "across", "down", "none"], p=[0.6, 0.25, 0.07, 0.08])
    ends = top + step * (rows + 1.2)
    band = float(rng.choice([0, rng.uniform(0.05, 0.3), rng.uniform(0.5, 1)], p=[0.45, 0.25, 0.3]))
    if band:
        cv2.rectangle(
            image,
            (int(left), int(top)),
            (int(right), int(top + 1.2 * step)),
            _mix(ink, paper, band * faint),
            -1,
        )
    heads = colour if band < 0.4 else _mix(ink, paper, 0.05)
    if rng.random() < 0.25:
        tint = _mix(ink, paper, float(rng.uniform(0.04, 0.2)))
        for row in range(0, rows, 2):
            cv2.rectangle(
                image,
                (int(left), int(top + step * (row + 1.2))),
                (int(right), int(top + step * (row + 2.2))),
                tint,
                -1,
            )
    if rng.random() < 0.2:
        i = int(rng.integers(len(xs) - 1))
        cv2.rectangle(
            image,
            (int(xs[i]), int(top + 1.2 * step)),
            (int(xs[i + 1]), int(ends)),
            _mix(ink, paper, float(rng.uniform(0.05, 0.3))),
            -1,
        )
    for x0 in xs[:-1]:
        _write(image, x0 + 2, top + 0.85 * step, min(text * 0.8, 0.6 * step), heads, rng, 8)
    if style in ("grid", "across"):
        for row in range(rows + 1):
            _line(
                image, (left, top + step * (row + 1.2)), (right, top + step * (row + 1.2)), colour, rule, dots
            )
        _line(image, (left, top), (right, top), colour, rule, 0)
    if style in ("grid", "down"):
        for x in xs:
            _line(
                image,
                (x, top),
                (x, ends),
                colour if rng.random() < 0.8 else second,
                rule,
                dots if rng.random() < 0.5 else 0,
            )
    written = int(rng.integers(0, rows + 1)) if rng.random() < 0.9 else 0
    for row in range(written):
        for x0, x1 in pairwise(xs):
            if rng.random() < 0.8:
                _scrawl(
                    image,
                    x0 + 3,
                    top + step * (row + 1.3),
                    float(rng.uniform(0.3, 0.85)) * (x1 - x0),
                    step * 0.8,
                    pen,
                    rng,
                )
    x0 = xs[-2] if len(xs) > 2 else left + 0.7 * (right - left)
    for i in range(totals):
        y = ends + step * i
        _write(image, x0 - 0.2 * (right - left), y + 0.8 * step, min(text * 0.9, 0.7 * step), colour, rng, 10)
        cv2.rectangle(image, (int(x0), int(y)), (int(right), int(y + step)), colour, rule)
        if rng.random() < 0.7:
            _scrawl(image, x0 + 3, y + 0.1 * step, 0.7 * (right - x0), step * 0.8, pen, rng)
