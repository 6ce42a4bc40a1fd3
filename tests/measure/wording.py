"""How often wording alone tells the role of a column or a total, on pads of designers that no reading has learned from.

    python -m models.wording.train FOLDER
    python -m tests.measure.wording FOLDER [--designers OQR] [--before OLD_VOCABULARY.py]
    python -m tests.measure.wording --designers OQR

Without FOLDER the weights that ship are measured: an honest figure only for designers whose pads they have not learned.
FOLDER holds a reading for each designer that has learned from all others (the listed words, like all code, were written
by people who saw some of these pads). Print is taken to be read without a fault (``misread`` rows: with one or two letters
wrong or a space lost). A text counts once for each designer that prints it. ``loss`` is the mean of the negative logarithm
of the probability of the true role (what is not known shared among all roles, as the product does);
``told`` is the share of other texts on the pads that pass for a label (known from 0.6 on).
"""

import argparse
import importlib.util
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any
from unittest import mock

import numpy as np

from formread.layout import vocabulary
from formread.layout.wording import NOTHING, load
from formread.ocr import PrintedText, alphabet
from models.wording.corpus import KINDS, Example, misread, of_pads
from tests.measure.compare import Share

_SURE = 0.97
_LABEL = 0.6
_ROLES = {"heading": 8, "label": 7}
_NEWEST = "OQR"
_SEED = 3

Match = Callable[[Sequence[PrintedText]], Any]


def printed(text: str) -> PrintedText:
    """Return `text` with scores as the recogniser gives them for it: each letter, then a blank."""
    characters = alphabet()
    known = [letter for letter in text if letter in characters]
    scores = np.full((2 * len(known) + 1, len(characters) + 1), (1 - _SURE) / len(characters), np.float32)
    scores[0::2, 0] = _SURE
    for k, letter in enumerate(known):
        scores[2 * k + 1, characters.index(letter) + 1] = _SURE
    return PrintedText("".join(known), _SURE, scores)


@dataclass(frozen=True, slots=True)
class Told:
    """What a reading said of one text: the likeliest role, the true one's probability, that it is a label at all."""

    example: Example
    role: str
    probability: float
    known: float


def _matchers(module: ModuleType) -> dict[str, Match]:
    return {"heading": module.match_heading, "label": module.match_total}


def _told(match: Match, kind: str, example: Example) -> Told:
    said = match([printed(line) for line in example.text.split("\n")])
    likeliest = max(said.roles, key=lambda role: said.roles[role], default="")
    probability = said.known * said.roles.get(example.role, 0.0) + (1 - said.known) / _ROLES[kind]
    return Told(example, likeliest, probability, said.known)


def judged(
    kind: str, examples: Sequence[Example], module: ModuleType, readings: Path | None
) -> Iterator[Told]:
    """Say what `module` reads, with the reading that has not learned from the text's designer."""
    for example in examples:
        if readings is None:
            yield _told(_matchers(module)[kind], kind, example)
            continue
        reading = load(readings / f"{example.designer}.npz", kind)
        with mock.patch.object(module, "wording", lambda _, reading=reading: reading):
            yield _told(_matchers(module)[kind], kind, example)


def _row(name: str, told: Sequence[Told]) -> str:
    share = Share(sum(one.role == one.example.role for one in told), len(told))
    loss = -sum(math.log(one.probability) for one in told) / max(len(told), 1)
    return f"| {name} | {share} | {loss:.3f} |"


def _table(kind: str, told: Sequence[Told]) -> list[str]:
    words = vocabulary.listed(kind)
    right = [one for one in told if one.example.role != NOTHING]
    groups = {
        "all": right,
        "not listed": [one for one in right if one.example.text.lower().replace("\n", " ") not in words],
        "newest designers": [one for one in right if one.example.designer in _NEWEST],
    }
    rows = [_row(name, group) for name, group in groups.items()]
    others = [one for one in told if one.example.role == NOTHING]
    if others:
        rows.append(
            f"| other texts told as one | {Share(sum(o.known >= _LABEL for o in others), len(others))} | |"
        )
    return rows


def main() -> None:
    """Print a table for headings and one for labels."""
    parser = argparse.ArgumentParser(description="Measure the reading of wording by designer.")
    parser.add_argument("readings", type=Path, nargs="?")
    parser.add_argument("--designers", help="letters of the designers to measure; all, if not given")
    parser.add_argument("--before", type=Path, help="an earlier vocabulary.py to compare with")
    parser.add_argument("--list", action="store_true", help="name what was wrong")
    given = parser.parse_args()
    compared: list[tuple[str, ModuleType, Path | None]] = [("now", vocabulary, given.readings)]
    if given.before:
        spec = importlib.util.spec_from_file_location("before", given.before)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        compared.insert(0, ("before", module, None))
    for kind in KINDS:
        examples = [e for e in of_pads(kind) if not given.designers or e.designer in given.designers]
        rng = np.random.default_rng(_SEED)
        wrong = [
            Example("\n".join(misread(rng, line) for line in e.text.split("\n")), e.role, 1.0, e.designer)
            for e in examples
            if e.role != NOTHING
        ]
        for name, module, readings in compared:
            told = list(judged(kind, examples, module, readings))
            print(f"\n{kind}s, {name}\n| | right | loss |\n| --- | --- | --- |")
            print("\n".join(_table(kind, told)))
            print(_row("misread", list(judged(kind, wrong, module, readings))), flush=True)
            if given.list and name == "now":
                for one in told:
                    passed = (
                        one.known >= _LABEL if one.example.role == NOTHING else one.role != one.example.role
                    )
                    if passed:
                        print(
                            f"  {one.example.text!r}: {one.example.role}, told {one.role} ({one.known:.2f})"
                        )


if __name__ == "__main__":
    main()
