"""The door: pictures of boxes in, readings out."""

from collections.abc import Callable, Sequence
from typing import get_args

import numpy as np
import numpy.typing as npt

from formread.reading.automaton import ALPHABET, from_strings, unroll
from formread.reading.calibrate import Calibration, calibration
from formread.reading.decode import Found, mass, search, total_mass
from formread.reading.grammar import (
    COLUMN,
    STRUCK,
    NumberKind,
    code_digits,
    grammar,
    meanings,
    value_chain,
)
from formread.reading.ink import ink_share, is_blank
from formread.reading.lattice import Lattice, pack, shorten, stack, temper
from formread.reading.readings import NumberReading, sorted_answers
from formread.reading.text import read_text
from formread.record import DITTO, Kind, Reading, Value

Crop = npt.NDArray[np.uint8]
Scores = npt.NDArray[np.float32]
Recognise = Callable[[Sequence[Crop]], list[Scores]]

_LEAST_SIDE = 8  # pixels; nothing legible fits into less
# How often writing may be too faint to be told from paper: of 9,200 written boxes none was, so at most this many
# (95 %, Clopper and Pearson 1934).
_TOO_FAINT = 3.3e-4
_BATCH = 32  # boxes decoded together
_BEAM = (
    10  # prefixes kept: sixteen change no value on 1,300 boxes by calibration hands, and take twice the time
)
_MOST_CANDIDATES = 8
_LEAST = 1e-9  # candidates less probable than this are not worth listing
# Values at least this probable by the search are asked exactly, over all ways of writing them.
_WORTH_ASKING = 1e-3
# A reading at sight that is less probable than this, beside all that the grammar accepts and a little for what
# it does not, has the large network look again. On calibration hands that is one written amount in five, and
# all but one in twenty of those that the small network reads wrongly.
_SURE_AT_SIGHT, _ODD_AT_SIGHT = 0.95, 0.01
# Where the network is between these, it is in doubt whether the box is empty, and the ink is looked at.
_DOUBT = (0.002, 0.98)
_NO_INK = 0.0002
_TINY = 1e-300
_INK_TELLS = 20.0  # a box without ink is empty about this many times as often as faint writing


def read_boxes(crops: Sequence[Crop], kind: Kind, choices: Sequence[str] | None = None) -> list[Reading]:
    """Read boxes of one kind.

    Parameters
    ----------
    crops
        (H, W, 3) uint8 RGB arrays, one upright box each, of any size.
    kind
        ``"amount"``, ``"quantity"``, ``"code"``, ``"number"`` (digits with ``. , - / :`` between),
        ``"text"``, or ``"pounds"`` and ``"pence"`` for the halves of a split amount column
        (:func:`formread.reading.join_pounds_pence` puts those together).
    choices
        For text: the entries of the list that the answer comes from.

    Returns
    -------
    list of Reading
        In the order of the crops.

    Raises
    ------
    ValueError
        For a kind that does not exist, or a crop that is not (H, W, 3) uint8.
    """
    if kind not in get_args(Kind):
        raise ValueError(f"there is no kind of box called {kind!r}")
    for crop in crops:
        if crop.ndim != 3 or crop.shape[2] != 3 or crop.dtype != np.uint8:
            raise ValueError(f"a crop is (H, W, 3) uint8, not {crop.shape} {crop.dtype}")
    if not crops:
        return []
    if kind == "text":
        return list(read_text(crops, choices))
    return list(read_scores(look(crops, kind), crops, kind, calibration(kind)))


def look(crops: Sequence[Crop], kind: NumberKind) -> list[Scores]:
    """Return what the networks say of boxes.

    The small network looks at every box, the large one again at those that leave it in doubt.
    """
    from formread.reading.recogniser import alone, blended, recognise

    scores = _seen(crops, recognise)
    asked = in_doubt(scores, kind)
    seconds = dict(zip(asked, recognise([crops[i] for i in asked], "teacher"), strict=True))
    return [blended(first, seconds[i]) if i in seconds else alone(first) for i, first in enumerate(scores)]


def read_numbers(
    crops: Sequence[Crop], kind: NumberKind, recognise: Recognise, how: Calibration
) -> list[NumberReading]:
    """Read boxes of numbers with a given recogniser and calibration; else as :func:`read_boxes`."""
    return read_scores(_seen(crops, recognise), crops, kind, how)


def _seen(crops: Sequence[Crop], recognise: Recognise) -> list[Scores]:
    # A speck of a crop is an empty box, and so is bare paper: no recogniser need know of them.
    seen = [i for i, crop in enumerate(crops) if min(crop.shape[:2]) >= _LEAST_SIDE and not is_blank(crop)]
    found = dict(zip(seen, recognise([crops[i] for i in seen]), strict=True))
    signs = len(ALPHABET)
    nothing = np.log(np.array([[1 - _TOO_FAINT, *[_TOO_FAINT / signs] * signs]], np.float32))
    return [found.get(i, nothing) for i in range(len(crops))]


def in_doubt(scores: Sequence[Scores], kind: NumberKind) -> list[int]:
    """Return which boxes are worth a second look: where the likeliest reading at sight is less than sure.

    Parameters
    ----------
    scores
        (T, 1 + S) natural-log probabilities of each box; those of no length are passed over.
    """
    asked = []
    members = sorted((i for i, own in enumerate(scores) if len(own)), key=lambda i: len(scores[i]))
    lattices = {i: shorten(np.exp(scores[i].astype(np.float64))) for i in members}
    for begin in range(0, len(members), _BATCH):
        batch = members[begin : begin + _BATCH]
        totals = total_mass(stack([lattices[i] for i in batch]), grammar(kind))
        for i, total in zip(batch, totals.tolist(), strict=True):
            if _at_sight(lattices[i], kind) < _SURE_AT_SIGHT * (total + _ODD_AT_SIGHT * (1.0 - total)):
                asked.append(i)
    return asked


def _at_sight(lattice: npt.NDArray[np.float64], kind: NumberKind) -> float:
    """Return the weighted probability of the value that the best path spells; 0 if it spells none."""
    best = lattice.argmax(axis=1)
    text = "".join(ALPHABET[k - 1] for k in best[np.r_[True, best[1:] != best[:-1]]] if k)
    if text == STRUCK:
        return mass(lattice, _STRUCK_CHAIN)
    found = meanings(text, kind)
    chain = value_chain(found[0][0], kind) if found else None
    return 0.0 if chain is None else mass(lattice, chain)


def read_scores(
    scores: Sequence[Scores], crops: Sequence[Crop], kind: NumberKind, how: Calibration
) -> list[NumberReading]:
    """Decode what a recogniser said of boxes: (T, 1 + S) natural-log probabilities each.

    `crops` are the same boxes' pictures, for the look for ink where emptiness is in doubt.
    """
    packed = [pack(shorten(temper(own, how.temperature))) for own in scores]
    # Boxes of like length share a batch: a short lattice costs as much as its batch's longest.
    order = sorted(range(len(scores)), key=lambda i: len(packed[i].probabilities))
    readings: dict[int, NumberReading] = {}
    tables = grammar(kind)
    for begin in range(0, len(order), _BATCH):
        members = order[begin : begin + _BATCH]
        lattices = stack([packed[i].probabilities for i in members])
        totals = total_mass(lattices, tables)
        found = search(lattices, tables, _BEAM)
        for i, total, strings in zip(members, totals, found, strict=True):
            probabilities = packed[i].probabilities
            empty = float(np.prod(probabilities[:, 0]))
            odds = _ink_odds(crops[i], empty / max(float(total), _TINY))
            answers = _answers(probabilities, strings, kind)
            nothing = next((m for value, (_, m) in answers.items() if value is None), 0.0)
            inside = float(total) + (odds - 1.0) * nothing
            outside = how.outside * max(1.0 - float(total), 0.0)
            struck = mass(probabilities, _STRUCK_CHAIN) if total > 0 else 0.0
            whole = inside + outside
            readings[i] = _reading(kind, packed[i], answers, struck, outside, whole, odds, how)
    return [readings[i] for i in range(len(scores))]


_STRUCK_CHAIN = unroll(from_strings([(STRUCK, 1.0)]), COLUMN)


def _ink_odds(crop: Crop, empty: float) -> float:
    """Return what the odds of the empty box are multiplied by: 1 unless the network doubts and no ink is seen.

    Ink that is seen says nothing: it may be print.
    """
    if not _DOUBT[0] < empty < _DOUBT[1]:
        return 1.0
    return _INK_TELLS if ink_share(crop) < _NO_INK else 1.0


def _answers(
    lattice: npt.NDArray[np.float64], strings: Sequence[Found], kind: NumberKind
) -> dict[Value, tuple[str, float]]:
    """Merge the strings that mean the same value: value to (likeliest text, mass)."""
    merged: dict[Value, tuple[str, float, float]] = {}
    shown: dict[str, str] = {}
    for string in strings:
        for meant, share in meanings(string.text, kind):
            value = meant
            if kind == "code" and isinstance(meant, str) and meant != DITTO:
                value = shown.setdefault(code_digits(meant), meant)
            text, best, sum_so_far = merged.get(value, (string.text, 0.0, 0.0))
            own = string.mass * share
            merged[value] = (string.text if own > best else text, max(own, best), sum_so_far + own)
    least = _WORTH_ASKING * sum(own for _, _, own in merged.values())
    answers: dict[Value, tuple[str, float]] = {}
    for value, (text, _, own) in merged.items():
        chain = value_chain(value, kind) if own > least else None
        answers[value] = (text, own if chain is None else max(own, mass(lattice, chain)))
    return answers


def _reading(
    kind: NumberKind,
    lattice: Lattice,
    answers: dict[Value, tuple[str, float]],
    struck: float,
    outside: float,
    whole: float,
    ink_odds: float,
    how: Calibration,
) -> NumberReading:
    whole = max(whole, _TINY)
    raw = [
        (value, text, own * (ink_odds if value is None else 1.0) / whole)
        for value, (text, own) in answers.items()
    ]
    best = max([struck / whole, outside / whole, *(own for _, _, own in raw)])
    corrected = how.corrected(best)
    others = (1.0 - corrected) / (1.0 - best) if best < 1.0 else 0.0

    def correct(probability: float) -> float:
        return corrected if probability == best else probability * others

    candidates, values = sorted_answers(
        [(value, text, correct(own)) for value, text, own in raw if own >= _LEAST]
    )
    return NumberReading(
        kind=kind,
        candidates=candidates[:_MOST_CANDIDATES],
        values=values[:_MOST_CANDIDATES],
        struck_out=correct(struck / whole),
        unreadable=correct(outside / whole),
        lattice=lattice,
        whole=whole,
        others=others,
        ink_odds=ink_odds,
    )
