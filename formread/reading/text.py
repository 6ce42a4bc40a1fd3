"""Words: matched to a list where there is one, else as the general recogniser read them.

Free reading of handwriting by a general recogniser is poor, but the same recogniser can say well which of a
list's entries it is looking at: each is scored by its CTC likelihood (Graves et al., ICML 2006). Case,
accents, spaces and punctuation do not count.
"""

import unicodedata
from collections.abc import Sequence
from functools import cache

import numpy as np
import numpy.typing as npt

from formread import ocr
from formread.reading.readings import TextReading, sorted_answers

Floats = npt.NDArray[np.float64]

_MOST_CANDIDATES = 8
_LEAST_SIDE = 8  # pixels; nothing legible fits into less
_LEAST = 1e-9
# What the recogniser holds impossible may still be written: handwriting is not what it was trained on.
_FLOOR = 1e-4
# The recogniser's frames are not independent, so likelihood ratios are far too sure of themselves.
_TEMPERATURE = 2.0
# An entry of the list must explain the box nearly as well as free reading does: this much worse per
# character (natural log) and it is as probable that something else is written.
_WORSE_PER_CHARACTER = 2.0


def fold(text: str) -> str:
    """Return what counts in a text: lower-case letters and digits without accents."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    return "".join(c for c in plain if c.isalnum())


@cache
def _columns() -> tuple[dict[str, npt.NDArray[np.int64]], npt.NDArray[np.int64]]:
    """Return the recogniser's columns of each folded character, and those that say nothing."""
    columns: dict[str, list[int]] = {}
    silent = [0]
    for k, character in enumerate(ocr.alphabet()):
        folded = fold(character)
        if folded:
            columns.setdefault(folded[0], []).append(k + 1)
        else:
            silent.append(k + 1)
    return {c: np.array(own, np.int64) for c, own in columns.items()}, np.array(silent, np.int64)


def likelihoods(scores: npt.NDArray[np.float32], texts: Sequence[str]) -> Floats:
    """Return the natural-log CTC likelihood of each folded text.

    Parameters
    ----------
    scores
        (T, C) probabilities of the general recogniser.
    texts
        N folded texts (:func:`fold`).

    Returns
    -------
    (N,) array
        Log likelihoods; empty texts give that of a box without writing.
    """
    columns, silent = _columns()
    letters = sorted(set("".join(texts)))
    place = {letter: k + 1 for k, letter in enumerate(letters)}
    none = np.zeros(0, np.int64)
    seen = np.stack(
        [
            scores[:, silent].sum(axis=1),
            *(scores[:, columns.get(letter, none)].sum(axis=1) for letter in letters),
        ],
        axis=1,
    ).astype(np.float64)
    seen = np.maximum(seen, _FLOOR)
    longest = max(len(text) for text in texts)
    labels = np.zeros((len(texts), 2 * longest + 1), np.int64)
    for i, text in enumerate(texts):
        labels[i, 1 : 2 * len(text) : 2] = [place[letter] for letter in text]
    jump = np.zeros(labels.shape)
    jump[:, 3::2] = labels[:, 3::2] != labels[:, 1:-2:2]
    jump[:, 1] = 1.0
    at = np.zeros((len(texts), labels.shape[1] + 2))  # two columns of nought in front, for the steps back
    at[:, 2] = 1.0
    scale = np.zeros(len(texts))
    for t, frame in enumerate(seen):
        moved = at[:, 2:] + at[:, 1:-1]
        if t > 0:
            moved = moved + jump * at[:, :-2]
        moved = moved * frame[labels]
        largest = np.maximum(moved.max(axis=1), 1e-300)
        at[:, 2:] = moved / largest[:, None]
        scale += np.log(largest)
    ends = 2 * np.array([len(text) for text in texts])
    rows = np.arange(len(texts))
    last = at[rows, 2 + ends] + np.where(ends > 0, at[rows, 1 + ends], 0.0)
    return np.asarray(scale + np.log(np.maximum(last, 1e-300)))


def _matched(line: ocr.PrintedText, choices: Sequence[str]) -> TextReading:
    free = fold(line.text)
    folded = [fold(choice) for choice in choices]
    logs = likelihoods(line.scores, [*folded, free, ""])
    something_else = logs[-2] - _WORSE_PER_CHARACTER * len(free) if free else -np.inf
    evidence = np.append(logs[:-2], [something_else, logs[-1]]) / _TEMPERATURE
    odds = np.exp(evidence - evidence.max())
    shares = odds / odds.sum()
    found: list[tuple[str | None, str, float]] = [
        (choice, choice, float(share))
        for choice, text, share in zip(choices, folded, shares, strict=False)
        if share >= _LEAST and text
    ]
    if shares[-1] >= _LEAST:
        found.append((None, "", float(shares[-1])))
    candidates, values = sorted_answers(found)
    return TextReading(
        candidates=candidates[:_MOST_CANDIDATES],
        values=values[:_MOST_CANDIDATES],
        unreadable=float(shares[-2]),
        free=line.text,
        from_list=True,
    )


def _unmatched(line: ocr.PrintedText) -> TextReading:
    silent = _columns()[1]
    empty = float(np.prod(line.scores[:, silent].sum(axis=1).clip(0.0, 1.0)))
    found: list[tuple[str | None, str, float]] = [(None, "", empty)]
    if line.text.strip():
        found.append((line.text, line.text, min(line.confidence, 1.0 - empty)))
    candidates, values = sorted_answers(found)
    return TextReading(
        candidates=candidates,
        values=values,
        unreadable=max(0.0, 1.0 - sum(c.probability for c in candidates)),
        free=line.text,
        from_list=False,
    )


def read_text(crops: Sequence[npt.NDArray[np.uint8]], choices: Sequence[str] | None) -> list[TextReading]:
    """Read words.

    Parameters
    ----------
    crops
        (H, W, 3) uint8 RGB arrays, one line each.
    choices
        The entries that the answers come from; None or no entries to take the text as read.

    Returns
    -------
    list of TextReading
        In the order of the crops. ``unreadable`` is the probability that there is writing that is no entry
        of the list, or that was misread.
    """
    seen = [i for i, crop in enumerate(crops) if min(crop.shape[:2]) >= _LEAST_SIDE]
    lines = dict(zip(seen, ocr.read_lines([crops[i] for i in seen]), strict=True))
    nothing = ocr.PrintedText("", 0.0, np.ones((1, 1 + len(ocr.alphabet())), np.float32) * 0)
    nothing.scores[0, 0] = 1.0
    read = [lines.get(i, nothing) for i in range(len(crops))]
    distinct = list(dict.fromkeys(choices or ()))
    return [_matched(line, distinct) if distinct else _unmatched(line) for line in read]
