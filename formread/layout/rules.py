"""Ruled lines: solid, dotted, dashed, thin, pale or slightly wavy, followed piece by piece.

A rule is a thin ridge of darkness that goes on: the sheet is cut into narrow strips across the rule's
direction, the ridges of each strip are found after averaging along the rule, and ridges of neighbouring
strips are linked into chains. Averaging along the rule makes dots and dashes look solid and lifts a pale rule
out of the paper's grain; linking follows curl and waves that no straight line fits; and a letter's stroke
is too short to become a chain.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import minimum_filter1d

from formread.layout.ink import Ink

Numbers = npt.NDArray[np.float64]

_STEP = 8  # pixels from strip to strip along the rule
_STRIPS = 5  # strips averaged together: 40 px hold several dots of any dotted rule
_CAP = 0.30  # darker than this counts no more: one pen stroke must not outweigh a pale rule
_NEAR, _FAR = 3, 10  # where the paper beside a rule is looked for, in pixels from its middle
_FAINTEST = 0.012  # the weakest ridge worth following; paper grain averaged over a strip is about 0.003
_SHARE = 0.45  # a ridge must be this share of the darkness there: print and writing darken both sides too
_DRIFT = 2.2  # pixels a rule may move from one strip to the next: more than any curl that flattening leaves
_GAP = 7  # strips a rule may vanish for, under handwriting or worn print
_SHORTEST = 48  # pixels; shorter ridges are letters
_JOIN_GAP = 110  # pixels between two pieces of one rule, where a word crosses it
_JOIN_OFF = 2.5  # pixels by which the pieces may miss each other
_ERASE = 3  # pixels on either side of a rule's middle that are its own
_ROUGH = 1.2  # pixels, root mean square, that ridges stray from the smooth path of one rule
_COVER = 0.70  # a rule is seen on this share of its length; chance alignments of writing on a half
_DENSE = 0.55  # and in this share of its strips
_LONG = 330  # pixels; chance makes no rule so long
_CROWDED = 0.8  # a short rule with this share of its darkness right beside it is a line of print
_TOLD = 0.35  # share of a window free of writing from which a rule can be judged there
_THICK = 5.5  # pixels; what is thicker is a solid bar or a line of small print
_SOLID = 0.9  # share of a bar's length that is dark; print leaves gaps
_HALF, _DARK = 0.5, 0.75  # a place of a rule is dark that is half as dark as its darkest quarter
_SMOOTH = 110.0  # pixels; the reach of the local straight-line fit that gives a rule its sub-pixel path


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One ruled line. ``along`` runs in its direction, ``across`` is its place there, both in pixels.

    Attributes
    ----------
    along, across
        (N,) knots of the path, ``along`` rising.
    start, end
        Where the line begins and ends.
    cover
        Share of its length on which it is seen.
    thickness
        Pixels across its body.
    solid
        Share of its length that is dark: 1 for a drawn line, about 0.6 for dashes and for the letters of a line of print.
    """

    along: Numbers
    across: Numbers
    start: float
    end: float
    cover: float
    thickness: float
    solid: float = 1.0

    @property
    def length(self) -> float:
        """Pixels from start to end."""
        return self.end - self.start

    @property
    def middle(self) -> float:
        """Its place across, halfway along."""
        return float(self.at(np.array([(self.start + self.end) / 2]))[0])

    def at(self, along: Numbers) -> Numbers:
        """Return the place across at the places `along`; straight on beyond the ends."""
        inside = np.interp(along, self.along, self.across)
        slope = self.slope
        before = np.minimum(along - self.along[0], 0.0)
        after = np.maximum(along - self.along[-1], 0.0)
        return np.asarray(inside + slope * (before + after), np.float64)

    @property
    def slope(self) -> float:
        """Pixels across per pixel along, over the whole length."""
        run = self.along[-1] - self.along[0]
        return float((self.across[-1] - self.across[0]) / run) if run > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Rules:
    """The ruled lines of a sheet."""

    horizontal: tuple[Rule, ...]
    vertical: tuple[Rule, ...]


@dataclass(slots=True)
class _Chain:
    strips: list[int]
    places: list[float]
    heights: list[float]

    def expected(self) -> float:
        recent = self.places[-4:]
        return sum(recent) / len(recent)


def find_rules(ink: Ink) -> Rules:
    """Find the ruled lines of a sheet.

    Parameters
    ----------
    ink
        (H, W) darkness as :func:`formread.layout.ink.ink_of` gives it, of a sheet whose longer side is about
        1500 pixels and whose rules lie within a degree of its edges.
    """
    horizontal = _follow(ink)
    # Dots and dashes of one rule stand below those of the next and would look like upright rules.
    rest = erase(ink, horizontal)
    return Rules(horizontal, _follow(np.ascontiguousarray(rest.T)))


def erase(ink: Ink, horizontal: tuple[Rule, ...]) -> Ink:
    """Return a copy of `ink` without these rules, level ones; what crosses them stays."""
    rest = ink.copy()
    height, width = ink.shape
    for rule in horizontal:
        x = np.arange(max(0, int(rule.start) - 4), min(width, int(rule.end) + 4))
        row = np.clip(np.rint(rule.at(x.astype(np.float64))).astype(int), _ERASE + 1, height - _ERASE - 2)
        keep = np.minimum(ink[row - _ERASE - 1, x], ink[row + _ERASE + 1, x])
        for shift in range(-_ERASE, _ERASE + 1):
            rest[row + shift, x] = np.minimum(rest[row + shift, x], keep)
    return rest


def _ridges(ink: Ink) -> tuple[Ink, Ink]:
    """Return (ridge height, darkness), both (H, strips), for rules that run along the second axis."""
    height, width = ink.shape
    strips = max(1, width // _STEP)
    capped = np.minimum(ink[:, : strips * _STEP], _CAP)
    profile = cv2.resize(capped, (strips, height), interpolation=cv2.INTER_AREA)
    profile = cv2.blur(profile, (_STRIPS, 1), borderType=cv2.BORDER_REFLECT)
    centre = cv2.sepFilter2D(profile, -1, np.ones(1), np.array([0.25, 0.5, 0.25]))
    size = _FAR - _NEAR + 1
    lowest = minimum_filter1d(profile, size, axis=0, mode="nearest")  # centred windows of `size`
    reach = (_NEAR + _FAR) // 2 + size % 2
    padded = np.pad(lowest, ((reach, reach), (0, 0)), mode="edge")
    above, below = padded[:height], padded[2 * reach :]
    return np.asarray(centre - np.maximum(above, below), np.float32), np.asarray(centre, np.float32)


def _peaks(ridge: Ink, dark: Ink) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], Numbers]:
    """Return (strip, row, sub-pixel row) of the ridges, ordered by strip then row."""
    inner = ridge[1:-1]
    top = (inner >= ridge[:-2]) & (inner > ridge[2:]) & (inner > _FAINTEST) & (inner > _SHARE * dark[1:-1])
    strip, row = np.nonzero(top.T)
    row = row + 1
    a, b, c = ridge[row - 1, strip], ridge[row, strip], ridge[row + 1, strip]
    bend = a - 2 * b + c
    offset = np.where(np.abs(bend) > 1e-6, 0.5 * (a - c) / np.where(np.abs(bend) > 1e-6, bend, 1.0), 0.0)
    return strip, row, np.asarray(row + np.clip(offset, -0.5, 0.5), np.float64)


def _link(strip: npt.NDArray[np.intp], place: Numbers, height: Numbers, strips: int) -> list[_Chain]:
    """Link ridges of neighbouring strips into chains, nearest first."""
    done: list[_Chain] = []
    active: list[_Chain] = []
    bounds = np.searchsorted(strip, np.arange(strips + 1))
    for k in range(strips):
        low, high = int(bounds[k]), int(bounds[k + 1])
        here = place[low:high]
        free = np.ones(len(here), bool)
        if active and len(here):
            expected = np.array([chain.expected() for chain in active])
            away = np.abs(expected[:, None] - here[None, :])
            rows, cols = np.nonzero(away <= _DRIFT)
            taken: set[int] = set()
            for i in np.argsort(away[rows, cols], kind="stable"):
                a, b = int(rows[i]), int(cols[i])
                if a in taken or not free[b]:
                    continue
                taken.add(a)
                free[b] = False
                active[a].strips.append(k)
                active[a].places.append(float(here[b]))
                active[a].heights.append(float(height[low + b]))
        for fresh in np.flatnonzero(free).tolist():
            active.append(_Chain([k], [float(here[fresh])], [float(height[low + fresh])]))
        still: list[_Chain] = []
        for chain in active:
            (still if k - chain.strips[-1] <= _GAP else done).append(chain)
        active = still
    shortest = _SHORTEST // _STEP
    return [chain for chain in done + active if len(chain.strips) >= shortest]


def _smoothed(along: Numbers, across: Numbers, weight: Numbers) -> Numbers:
    """Fit a straight line around each knot (LOESS of Cleveland 1979, one robust pass)."""
    result = across
    robust = weight
    for _ in range(2):
        distance = np.abs(along[:, None] - along[None, :]) / _SMOOTH
        kernel = np.clip(1 - distance**3, 0, None) ** 3 * robust[None, :]
        total = kernel.sum(1)
        mean_x = kernel @ along / total
        mean_y = kernel @ across / total
        centred = along[None, :] - mean_x[:, None]
        variance = (kernel * centred**2).sum(1)
        covariance = (kernel * centred * (across[None, :] - mean_y[:, None])).sum(1)
        slope = np.where(variance > 1e-6, covariance / np.maximum(variance, 1e-6), 0.0)
        result = mean_y + slope * (along - mean_x)
        residual = np.abs(across - result)
        robust = weight / (1 + (residual / 0.7) ** 2)
    return np.asarray(result, np.float64)


def _width_of(body: Ink | Numbers) -> float:
    """Return the width of a profile at half its height, around its middle, in pixels."""
    middle = len(body) // 2
    peak = float(body[middle - 2 : middle + 3].max())
    if peak <= 0:
        return 1.0
    top = middle - 2 + int(np.argmax(body[middle - 2 : middle + 3]))
    share = np.asarray(body, np.float64) / peak
    width = 1.0
    for step in (-1, 1):
        k = top + step
        while 0 <= k < len(body) and share[k] >= 0.5:
            width += 1.0
            k += step
        if 0 <= k < len(body):
            width += max(0.0, 0.5 - (0.5 - float(share[k])) / max(float(share[k - step] - share[k]), 1e-6))
    return width


def _measured(ink: Ink, along: Numbers, across: Numbers) -> Rule | None:
    """Look along the path, pixel by pixel, for where the rule starts and ends."""
    height, width = ink.shape
    first = max(0, int(along[0]) - 24)
    last = min(width, int(along[-1]) + 25)
    x = np.arange(first, last)
    slope = (across[-1] - across[0]) / max(along[-1] - along[0], 1.0)
    y = np.interp(x, along, across) + slope * (np.minimum(x - along[0], 0) + np.maximum(x - along[-1], 0))
    row = np.clip(np.rint(y).astype(int), 10, height - 11)
    centre = np.maximum(np.maximum(ink[row - 1, x], ink[row, x]), ink[row + 1, x])
    # The paper nearby on either side: near for a thin rule, further for a thick one.
    above = np.minimum(np.minimum(ink[row - 4, x], ink[row - 6, x]), ink[row - 9, x])
    below = np.minimum(np.minimum(ink[row + 4, x], ink[row + 6, x]), ink[row + 9, x])
    beside = np.maximum(above, below)
    seen = np.minimum(centre, _CAP) - beside
    window = np.ones(24)
    rough = np.convolve(seen, window / len(window), mode="same")
    guess = float(np.median(rough[(x >= along[0]) & (x <= along[-1])]))
    # Where writing lies beside the rule nothing can be said: neither that it is there nor that it is not.
    clear = (beside < 0.5 * guess).astype(np.float64)
    weight = np.convolve(clear, window, mode="same")
    smooth = np.convolve(seen * clear, window, mode="same") / np.maximum(weight, 1e-6)
    told = weight >= _TOLD * len(window)
    inside = told & (x >= along[0]) & (x <= along[-1])
    typical = float(np.median(smooth[inside])) if inside.any() else 0.0
    on = np.flatnonzero(told & (smooth > 0.5 * typical))
    if not len(on) or typical < _FAINTEST:
        return None
    spread = ink[row[:, None] + np.arange(-9, 10)[None, :], x[:, None]]
    body = np.median(np.minimum(spread, _CAP), axis=0) if typical > 0.6 * _CAP else spread.mean(axis=0)
    thickness = _width_of(body - body.min())
    far = np.clip(
        row[:, None] + np.concatenate([np.arange(-12, -5), np.arange(6, 13)])[None, :], 0, height - 1
    )
    beyond = np.minimum(ink[far, x[:, None]], _CAP)[on[0] : on[-1] + 1].mean(axis=0)
    if x[on[-1]] - x[on[0]] < _LONG and max(beyond[:7].mean(), beyond[7:].mean()) > _CROWDED * typical:
        return None
    if thickness > _THICK and float((centre[on[0] : on[-1] + 1] > 0.6 * _CAP).mean()) < _SOLID:
        return None
    length = centre[on[0] : on[-1] + 1]
    visible = told & (smooth > 0.35 * typical)
    reach = slice(int(on[0]), int(on[-1]) + 1)
    cover = float(visible[reach].sum() / max(int(told[reach].sum()), 1))
    return Rule(
        along,
        across,
        float(x[on[0]]),
        float(x[on[-1]]) + 1.0,
        cover,
        thickness,
        float((length > _HALF * np.quantile(length, _DARK)).mean()),
    )


def _joined(chains: list[_Chain]) -> list[_Chain]:
    """Join the pieces of a rule that handwriting has broken."""
    chains = sorted(chains, key=lambda c: (c.strips[0], c.places[0]))
    heads = np.array([float(np.median(c.places[:8])) for c in chains])
    firsts = np.array([c.strips[0] for c in chains])
    used = [False] * len(chains)
    result = []
    for i, chain in enumerate(chains):
        if used[i]:
            continue
        used[i] = True
        grown = _Chain(list(chain.strips), list(chain.places), list(chain.heights))
        while True:
            gaps = (firsts - grown.strips[-1]) * _STEP
            off = np.abs(heads - float(np.median(grown.places[-8:])))
            near = np.flatnonzero((gaps > 0) & (gaps <= _JOIN_GAP) & (off <= _JOIN_OFF))
            j = next((int(k) for k in near if not used[k]), None)
            if j is None:
                break
            used[j] = True
            grown.strips += chains[j].strips
            grown.places += chains[j].places
            grown.heights += chains[j].heights
        result.append(grown)
    return result


def _follow(ink: Ink) -> tuple[Rule, ...]:
    """Find the rules that run along the second axis of `ink`."""
    ridge, dark = _ridges(ink)
    strip, row, place = _peaks(ridge, dark)
    height = ridge[row, strip].astype(np.float64)
    rules = []
    for chain in _joined(_link(strip, place, height, ridge.shape[1])):
        along = (np.array(chain.strips, np.float64) + 0.5) * _STEP
        across = np.array(chain.places)
        path = _smoothed(along, across, np.array(chain.heights))
        rough = float(np.sqrt(np.mean((path - across) ** 2)))
        rule = _measured(ink, along, path)
        if rule is None or rough > _ROUGH or rule.length < _SHORTEST or rule.cover < _COVER:
            continue
        if len(along) * _STEP >= _DENSE * rule.length:
            rules.append(rule)
    rules.sort(key=lambda rule: (rule.middle, rule.start))
    return tuple(rules)
