"""Codes of one column speak for one another's pattern, and for nothing else."""

import itertools

import numpy as np
import pytest

from formread.reading.alike import _FREE, _favours, _pattern, _styles, codes_alike
from formread.reading.automaton import ALPHABET
from formread.reading.lattice import pack
from formread.reading.readings import NumberReading
from formread.record import DITTO, Candidate, Reading, Value


def box(*texts: tuple[str, float]) -> NumberReading:
    found = sorted(texts, key=lambda own: -own[1])
    values: list[tuple[Value, float]] = [(text or None, p) for text, p in found]
    candidates = tuple(Candidate(text, p) for text, p in found)
    nothing = pack(np.full((1, 1 + len(ALPHABET)), 1e-6))
    return NumberReading("code", candidates, tuple(values), 0.0, 0.0, nothing, 1.0, 1.0)


def told(column: list[Reading]) -> list[str]:
    return [reading.candidates[0].text for reading in codes_alike(column)]


def test_strokes_before_the_last_two_digits_of_every_code_are_slashes() -> None:
    pairs = [("12155", "12/55"), ("9164", "9/64"), ("7171", "7/71"), ("10163", "10/63")]
    assert told([box((as_one, 0.6), (as_slash, 0.35)) for as_one, as_slash in pairs]) == [s for _, s in pairs]


def test_a_one_among_codes_without_a_separator_stays_a_one() -> None:
    column = [
        box(("2372", 0.55), ("23/2", 0.4)),
        box(("4851", 0.97)),
        box(("9013", 0.97)),
        box(("6636", 0.97)),
    ]
    assert told([*column]) == ["2372", "4851", "9013", "6636"]
    assert told([box(("23/2", 0.55), ("2312", 0.4)), *column[1:]])[0] == "2312"


def test_a_code_that_the_reader_is_sure_of_stays_although_no_other_is_like_it() -> None:
    column: list[Reading] = [box(("1234567", 0.9995), ("123-456", 1e-7)), *[box(("204-118", 0.98))] * 5]
    assert told(column)[0] == "1234567"


def test_what_is_no_code_keeps_its_probability() -> None:
    doubtful = box(("", 0.5), ("12155", 0.3), ("12/55", 0.1), (DITTO, 0.05))
    read = codes_alike([doubtful, *[box(("10/63", 0.9))] * 4])[0]
    assert read.values[0] == (None, 0.5)
    assert (DITTO, 0.05) in list(read.values)
    assert sum(p for value, p in read.values if value not in (None, DITTO)) == pytest.approx(0.4)


def test_one_code_alone_and_empty_columns_are_left_as_they_are() -> None:
    alone: list[Reading] = [box(("12155", 0.6), ("12/55", 0.35)), box(("", 0.99))]
    assert codes_alike(alone) == alone
    assert codes_alike([]) == []


def test_the_weighing_is_bayes_rule() -> None:
    """Against the sum over all ways in which the catalogue and every box may be: the definition itself."""
    shares = [
        {"12155": 0.6, "12/55": 0.4},
        {"9164": 0.7, "9/64": 0.3},
        {"818": 0.5, "8-18": 0.3, "8/18": 0.2},
    ]
    priors = np.array([style.prior for style in _styles()] + [_FREE])
    joint: dict[str, float] = dict.fromkeys(shares[0], 0.0)
    for texts in itertools.product(*shares):
        likelihood = np.prod(
            [own[text] * _favours(_pattern(text)) for own, text in zip(shares, texts, strict=True)], 0
        )
        joint[texts[0]] += float(priors @ likelihood)
    read = codes_alike([box(*own.items()) for own in shares])[0]
    for candidate in read.candidates:
        assert candidate.probability == pytest.approx(joint[candidate.text] / sum(joint.values()))
