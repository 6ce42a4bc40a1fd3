"""Codes of one column together: a catalogue writes all its codes after one pattern.

In one box a slash may pass for a 1 and a dash for a slip of the pen. Down a column they can't: where every code has
a stroke before its last two digits, it is no digit. Each pattern that catalogues use is a hypothesis; what the boxes
say of it is weighed, and each code is read again under what the *other* boxes say. Nothing is known here of any
catalogue: a pattern is only digits, counted, and a separator.

The network's probabilities hold what its training texts held (``models/texts.py``), so a pattern counts by how much
commoner it is in the column than it was there. That is Bayes' rule with another prior: Saerens, Latinne,
Decaestecker, "Adjusting the outputs of a classifier to new a priori probabilities", Neural Computation 14, 2002.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt

from formread.reading.readings import NumberReading, sorted_answers
from formread.record import DITTO, Reading, Value

_FEWEST: Final = 2  # written codes in a column: one tells nothing of others
_WRITTEN: Final = 0.5  # probability of standing there from which on a code is evidence
# Shares of patterns in the texts that the network learned from, counted on 200,000 of them, and of any other.
_TAUGHT: Final[Mapping[str, float]] = {
    "d": 0.12, "dd": 0.06, "ddd": 0.03, "dddd": 0.02, "ddddd": 0.02, "dddddd": 0.11, "ddddddd": 0.012,
    "dddddddd": 0.012, "ddd-ddd": 0.045, "dd-dd": 0.011, "d-dd": 0.012, "d.dd": 0.086, "dd.dd": 0.073,
}  # fmt: skip
_TAUGHT_ELSE: Final = 0.004
# How often a catalogue writes so: common practice, no source.
_PLAIN, _ANY_LENGTH, _FREE = 0.5, 0.05, 0.15
_PARTED: Final[Mapping[str, float]] = {"-": 0.13, "/": 0.12, ".": 0.05}
_LENGTHS, _PARTS = range(3, 9), range(1, 6)
_PAGES: Final = (0.35, 0.5, 0.15)  # of one, two and three digits, before the separator
_STRAY: Final = 0.1  # share of codes that follow no pattern, as somebody writes them or misremembers them
_MOST: Final = 50.0  # by which a pattern may speak for a code


@dataclass(frozen=True, slots=True)
class _Style:
    """A way in which a catalogue writes its codes: how common it is, and the share of each pattern."""

    prior: float
    shares: Mapping[str, float]

    def favours(self, pattern: str) -> float:
        """How much commoner a pattern is in this style than in what the network learned from."""
        share = self.shares.get(pattern, 0.0)
        # Who leaves the separator out writes the same code.
        if not share and pattern.isalpha():
            share = _STRAY * max(
                (s for p, s in self.shares.items() if p.count("d") == len(pattern)), default=0.0
            )
        odds = share / _TAUGHT.get(pattern, _TAUGHT_ELSE)
        return min((1 - _STRAY) * odds + _STRAY, _MOST)


@cache
def _styles() -> tuple[_Style, ...]:
    return tuple(_all_styles())


def _all_styles() -> Iterator[_Style]:
    for length in _LENGTHS:
        yield _Style(_PLAIN / len(_LENGTHS), {"d" * length: 1.0})
    yield _Style(_ANY_LENGTH, {"d" * length: 1 / len(_LENGTHS) for length in _LENGTHS})
    for mark, prior in _PARTED.items():
        for last in _PARTS:
            after = mark + "d" * last
            # Half the catalogues have so many digits before it, the others a page.
            for first in _PARTS:
                yield _Style(0.5 * prior / len(_PARTS) ** 2, {"d" * first + after: 1.0})
            pages = {"d" * (k + 1) + after: share for k, share in enumerate(_PAGES)}
            yield _Style(0.5 * prior / len(_PARTS), pages)


def codes_alike(column: Sequence[Reading]) -> list[Reading]:
    """Return the readings of one column of codes, each weighed by what the others say of their pattern.

    Parameters
    ----------
    column
        What :func:`formread.reading.read_boxes` said of the boxes of a column, as kind ``"code"``; other readings
        go through as they are.

    Returns
    -------
    list of Reading
        In the same order. How probable it is that a box is empty, or struck out, or holds a ditto mark stays.
    """
    told = [_told(reading) for reading in column]
    evidence = [i for i, own in enumerate(told) if own is not None]
    if len(evidence) < _FEWEST:
        return list(column)
    logs = np.log([style.prior for style in _styles()] + [_FREE])
    each = {i: np.log(_likelihoods(told[i] or {})) for i in evidence}
    logs = logs + np.sum(list(each.values()), axis=0)
    read: list[Reading] = []
    for i, reading in enumerate(column):
        if not isinstance(reading, NumberReading) or reading.kind != "code":
            read.append(reading)
            continue
        others = logs - each[i] if i in each else logs
        weights = np.exp(others - others.max())
        read.append(_weighed(reading, weights / weights.sum()))
    return read


def _is_code(value: Value) -> bool:
    return isinstance(value, str) and value != DITTO


def _told(reading: Reading) -> dict[str, float] | None:
    """Return the share of each pattern among the codes that a box may hold; None where it may well hold none."""
    if not isinstance(reading, NumberReading) or reading.kind != "code":
        return None
    shares: dict[str, float] = {}
    for candidate, (value, probability) in zip(reading.candidates, reading.values, strict=True):
        if _is_code(value):
            pattern = _pattern(candidate.text)
            shares[pattern] = shares.get(pattern, 0.0) + probability
    total = sum(shares.values())
    if total < _WRITTEN:
        return None
    return {pattern: share / total for pattern, share in shares.items()}


def _pattern(text: str) -> str:
    return re.sub("[0-9]", "d", text)


def _favours(pattern: str) -> npt.NDArray[np.float64]:
    """Return how much each style speaks for a pattern; the last, no style at all, for none."""
    return np.array([style.favours(pattern) for style in _styles()] + [1.0])


def _likelihoods(shares: Mapping[str, float]) -> npt.NDArray[np.float64]:
    return np.asarray(sum(share * _favours(pattern) for pattern, share in shares.items()), np.float64)


def _weighed(reading: NumberReading, weights: npt.NDArray[np.float64]) -> NumberReading:
    """Return a reading under what is known of the column's style; what is no code keeps its probability."""
    rows = zip(reading.candidates, reading.values, strict=True)
    found = [(value, candidate.text, probability) for candidate, (value, probability) in rows]
    codes = [_is_code(value) for value, _, _ in found]
    before = sum(p for (_, _, p), code in zip(found, codes, strict=True) if code)
    raised = [
        (v, text, p * float(weights @ _favours(_pattern(text))) if code else p)
        for (v, text, p), code in zip(found, codes, strict=True)
    ]
    after = sum(p for (_, _, p), code in zip(raised, codes, strict=True) if code)
    if after <= 0.0:
        return reading
    again = [
        (v, text, p * before / after if code else p) for (v, text, p), code in zip(raised, codes, strict=True)
    ]
    candidates, values = sorted_answers(again)
    return replace(reading, candidates=candidates, values=values, _asked={})
