"""Rows that no rule divides from side to side: lines to write on, tinted bands, or the writing alone.

The lines over and under a table's body are found like any other; how many rows lie between them is told by
whatever repeats there. Every kind of evidence is a quality between 0 and 1 for each number of rows.
"""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from formread.layout.ink import Ink
from formread.layout.table import ALIKE, Level, Page, Table, between, overlap, wide_levels, with_dividers
from formread.sheet.record import Image

Numbers = npt.NDArray[np.float64]

PITCH_LEAST, PITCH_MOST = 20.0, 150.0  # pixels from row to row on a sheet of 1500
_FEWEST = 2  # rows
_EDGE = 6.0  # pixels; what lies so near the body's own lines is no line to write on
_REACHES = 5.0  # pixels; lines that reach both sides of the body so nearly are the rules of its rows
_ON_EDGE = 0.1  # rows; lines from side to side that lie so near the rows' edges are their rules
_EXACT = 3.0  # pixels by which such a line may miss its place among lines to write on
_GUIDES = 0.65  # share of the rows that show their line to write on; writing hides the others
_BRIDGE = 13  # pixels; wider than the gaps of any dotted or dashed line
_PARTS = 16  # a part is narrower than any column of money
_WEAKEST = 20  # percentile of a part's darkness that counts: the gap between two boxes may be lighter
_FAINTEST_LINE = 0.03  # summed over the parts: one part with a pale line
_LINE = 0.45  # share of the darkest lines' darkness that a line has at least
_OFF = 0.07  # rows by which a line may miss its place
_CAP = 0.3  # darker than this counts no more
_ACROSS = 256  # columns of the unrolled body
_SIDE = 0.02  # share of the body's width left off at its sides
_PAPER = 75  # percentile of a row's pixels that is paper
_TINT = 0.012  # difference of the bands' shade, as a share of the paper's
_ALTERNATES = 0.5  # share of the shade's variance that alternate bands explain
_BLANK = 0.12  # share of a written band's darkness that its boundaries may have
_WRITTEN = 0.25  # share of the mean band's darkness from which a band counts as written
_WRITING = 0.4  # how far rows told by the writing alone are trusted beside ruled ones
_MOST = 4  # bodies looked at further


@dataclass(frozen=True, slots=True)
class RowCount:
    """How many rows a body has, how surely (0 to 1), and where in its row each line to write on lies (0 to 1)."""

    rows: int
    quality: float
    offset: float = 0.0


def _counts(height: float) -> range:
    return range(max(_FEWEST, int(np.ceil(height / PITCH_MOST))), int(height / PITCH_LEAST) + 1)


def lines_seen(ink: Ink, above: Level, below: Level) -> Numbers:
    """Return, for each pixel down a body, how much of a line to write on is seen there.

    A line of dots or dashes darkens nearly the whole width of its box once its gaps are bridged; writing, however
    dark, never does. The width is looked at in `_PARTS` parts, for some pads draw lines in some columns only.

    Parameters
    ----------
    ink
        (H, W) darkness, its gaps bridged (see :func:`bridged`).
    """
    body = np.minimum(_unrolled(ink, above, below), _CAP)
    parts = body.reshape(len(body), _PARTS, -1)
    weakest = np.percentile(parts, _WEAKEST, axis=2)
    weakest -= np.median(weakest, axis=0, keepdims=True)
    return np.asarray(np.clip(weakest, 0, None).sum(axis=1), np.float64)


def bridged(ink: Ink) -> Ink:
    """Return the darkness with the gaps of dotted and dashed level lines filled."""
    return np.asarray(cv2.dilate(ink, np.ones((1, _BRIDGE), np.uint8)), np.float32)


def rows_by_guides(seen: Numbers) -> RowCount | None:
    """Count the rows by the lines to write on: one in every row, all at one place in it.

    Parameters
    ----------
    seen
        What :func:`lines_seen` gives for the body.
    """
    high = len(seen)
    inside = seen[int(_EDGE) : high - int(_EDGE)]
    if len(inside) < 3:
        return None
    peak = np.flatnonzero((inside[1:-1] >= inside[:-2]) & (inside[1:-1] > inside[2:])) + 1
    peak = peak[inside[peak] > _FAINTEST_LINE]
    if len(peak) < _FEWEST:
        return None
    # As dark as any line, or a good part of it where writing covers some of its width.
    strength = inside[peak]
    peak = peak[strength > _LINE * np.sort(strength)[-min(len(peak), 3)]]
    weight = np.minimum(inside[peak], np.median(inside[peak]))
    share = (peak + int(_EDGE) + 0.5) / high
    best: RowCount | None = None
    for rows in _counts(float(high)):
        phase = np.exp(2j * np.pi * rows * share)
        mean = complex((weight * phase).sum() / weight.sum())
        near = np.abs(np.angle(phase * np.conj(mean))) < 2 * np.pi * max(_OFF, 2.5 * rows / high)
        offset = float(np.angle(mean) / (2 * np.pi)) % 1.0
        slots = {int(np.floor(rows * s - offset + 0.5)) for s in share[near]}
        last = int(min(offset, 1 - offset) * high / rows < _EDGE)
        recall = min(1.0, len(slots) / max(rows - last, 1))
        precision = float(weight[near].sum() / weight.sum())
        if recall >= _GUIDES and precision >= _GUIDES:
            quality = recall * precision
            if best is None or quality > best.quality:
                best = RowCount(rows, quality, offset)
    return best


def _unrolled(picture: Ink | Image, above: Level, below: Level) -> npt.NDArray[np.float32]:
    """Return the body as a rectangle: (pixels high, `_ACROSS`[, channels]) float32."""
    left, right = max(above.left, below.left), min(above.right, below.right)
    side = _SIDE * (right - left)
    x = np.linspace(left + side, right - side, _ACROSS)
    top = np.array([above.lower(v) for v in x[::16]])
    bottom = np.array([below.upper(v) for v in x[::16]])
    high = max(round(float((bottom - top).mean())), 2)
    share = (np.arange(high) + 0.5) / high
    y0, y1 = np.interp(x, x[::16], top), np.interp(x, x[::16], bottom)
    rows = y0[None, :] + share[:, None] * (y1 - y0)[None, :]
    across = np.broadcast_to(x[None, :], rows.shape)
    out = cv2.remap(picture, across.astype(np.float32), rows.astype(np.float32), cv2.INTER_LINEAR)
    return np.asarray(out, np.float32)


def rows_by_tint(image: Image, above: Level, below: Level) -> RowCount | None:
    """Count the rows by the shade that every other one has."""
    body = _unrolled(image, above, below)
    high = len(body)
    paper = np.percentile(body, _PAPER, axis=1)  # (high, 3)
    place = (np.arange(high) + 0.5) / high
    trend = np.stack([np.ones(high), place, place**2], 1)
    best: RowCount | None = None
    for rows in _counts(float(high)):
        phase = rows * place
        sign = np.where(np.floor(phase) % 2 == 0, 1.0, -1.0)
        keep = np.abs(phase - np.round(phase)) * high / rows > 2.0  # the edges themselves are blurred
        keep &= (place * high > 3) & ((1 - place) * high > 3)
        if keep.sum() < 4 * rows:
            continue
        system = np.column_stack([trend[keep], sign[keep]])
        plain = trend[keep]
        for channel in range(3):
            shade = paper[keep, channel]
            fit, *_ = np.linalg.lstsq(system, shade, rcond=None)
            flat, *_ = np.linalg.lstsq(plain, shade, rcond=None)
            left_over = float(((shade - system @ fit) ** 2).sum())
            total = float(((shade - plain @ flat) ** 2).sum())
            explained = 1 - left_over / max(total, 1e-9)
            if 2 * abs(fit[-1]) < _TINT * float(shade.mean()) or explained < _ALTERNATES:
                continue
            if best is None or explained > best.quality:
                best = RowCount(rows, explained)
    return best


def rows_by_writing(content: Ink, above: Level, below: Level) -> RowCount | None:
    """Count the rows by the white between written lines: the most rows whose boundaries stay blank."""
    body = _unrolled(content, above, below)
    high = len(body)
    dark = np.convolve((body > 0.15).mean(axis=1), np.ones(3) / 3, mode="same")
    if float(dark.mean()) < 1e-3:
        return None
    best: RowCount | None = None
    for rows in _counts(float(high)):
        edges = np.round(np.arange(rows + 1) * high / rows).astype(int)
        bands = np.array([dark[a:b].mean() for a, b in pairwise(edges)])
        written = np.flatnonzero(bands > _WRITTEN * bands.max())
        if written[-1] + 1 < 2 or len(written) < 0.8 * (written[-1] + 1):
            continue
        inner = edges[1 : written[-1] + 1]
        at = np.array([dark[max(e - 2, 0) : e + 3].mean() for e in inner])
        blank = float(at.mean() / max(bands[written].mean(), 1e-6))
        if blank <= _BLANK and (best is None or rows > best.rows):
            best = RowCount(rows, 1 - blank)
    return best


def _full_rules(page: Page, above: Level, below: Level) -> Numbers:
    """Return where rules between two levels reach from side to side, as shares of the way down."""
    height = below.place - above.place
    return np.array(
        [
            (level.place - above.place) / height
            for level in page.levels
            if above.place + _EDGE < level.place < below.place - _EDGE
            and abs(level.left - above.left) < _REACHES
            and abs(level.right - above.right) < _REACHES
        ]
    )


def _are_rows(full: Numbers) -> bool:
    """Say whether full rules part a body into even rows, so that no lines to write on need be looked for."""
    if len(full) < 2:
        return False
    counts = range(len(full) + 1, len(full) + 3)
    return any(np.abs(rows * full - np.round(rows * full)).max() < _ON_EDGE for rows in counts)


def _fit(count: RowCount, full: Numbers, height: float) -> bool:
    """Say whether full rules in a body may be its lines to write on: all at their place in the row, to the pixel.

    Rules of the rows themselves, taken together with the heading's line over them or the totals' under them, fit a
    count of rows only roughly.
    """
    astray = count.rows * full - count.offset
    return bool(np.abs(astray - np.round(astray)).max() * height / count.rows <= _EXACT)


def find_bodies(page: Page, ink: Ink, content: Ink, image: Image) -> list[Table]:
    """Return candidates for the order table whose rows no full rule divides, best first.

    Parameters
    ----------
    ink, content
        (H, W) darkness, with and without the rules.
    image
        (H, W, 3) uint8 RGB, the same pixels.
    """
    wide = wide_levels(page)
    dark = bridged(ink)
    found: list[tuple[float, Level, Level, RowCount]] = []
    for i, above in enumerate(wide):
        for below in wide[i + 1 :]:
            height = below.place - above.place
            if height < _FEWEST * PITCH_LEAST or overlap(above, below) < ALIKE:
                continue
            full = _full_rules(page, above, below)
            if _are_rows(full):
                continue
            count = rows_by_guides(lines_seen(dark, above, below))
            if count is not None and len(full):
                at_edge = min(count.offset, 1 - count.offset) < _ON_EDGE
                if at_edge or not _fit(count, full, height):
                    continue
            if count is None and not len(full):
                count = rows_by_tint(image, above, below)
            if count is None and not len(full):
                count = rows_by_writing(content, above, below)
                count = None if count is None else RowCount(count.rows, _WRITING * count.quality)
            if count is not None:
                score = count.quality * count.rows * (0.5 + above.width / page.width)
                found.append((score, above, below, count))
    found.sort(key=lambda item: -item[0])
    tables: list[Table] = []
    for score, above, below, count in found[:_MOST]:
        inner = [between(above, below, k / count.rows, page) for k in range(1, count.rows)]
        pitch = (below.place - above.place) / count.rows
        tables.append(with_dividers(page, [above, *inner, below], pitch, score))
    return tables
