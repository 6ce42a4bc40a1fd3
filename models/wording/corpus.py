"""Texts with their roles to learn from: what pads print, what lists of words hold, and wordings made up by pattern."""

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

from numpy.random import Generator

from formread.layout.vocabulary import listed
from formread.layout.wording import NOTHING
from models.forms.wording import (
    DATED,
    FIELDS,
    HEADINGS,
    LABELS,
    OFFICE,
    PAYMENTS,
    SHORT_LABELS,
    TITLES,
    blurb,
    firm,
    goods,
    person,
    street,
)

HERE = Path(__file__).parent
KINDS = ("heading", "label")
_LINE = 0.5
"""What the n wordings of one line of phrases.txt weigh together is n to this power; a text of a pad weighs one."""
_WORD = 0.5
"""What a listed word weighs."""
_OTHERS, _OTHER, _MERE = 60, 0.5, 8.0
"""How many of each kind of other text, and what each weighs; mere letters more, for all that is unknown looks like them."""
_FORMS = {"other_total": "count", "row": None}
"""Roles of models.forms.wording under the names that they have here; a role of None is none."""


@dataclass(frozen=True, slots=True)
class Example:
    """A text, what it speaks of, how much it weighs, and by which designer it is ("" for none)."""

    text: str
    role: str
    weight: float
    designer: str = ""


def pads() -> dict[str, Any]:
    """Return what ``gather.py`` wrote."""
    told: dict[str, Any] = json.loads((HERE / "labels.json").read_text(encoding="utf-8"))
    return told


def of_pads(kind: str) -> list[Example]:
    """Return the texts of all pads; what a designer prints again counts less each time."""
    counts: Counter[tuple[str, str, str]] = Counter()
    for pad in pads().values():
        for text, role in pad[f"{kind}s"]:
            counts[text, role, pad["designer"]] += 1
        for text in pad["nothing"]:
            counts[text, NOTHING, pad["designer"]] += 1
    return [Example(text, role, n**0.5, designer) for (text, role, designer), n in counts.items()]


def _spelled(line: str) -> list[str]:
    parts = re.split(r"\[([^\]]*)\]", line)
    choices = [part.split("|") if k % 2 else [part] for k, part in enumerate(parts)]
    return [" ".join("".join(one).split()) for one in product(*choices)]


def of_phrases(kind: str) -> Iterator[Example]:
    """Give the wordings of ``phrases.txt``."""
    asked, role = "", ""
    for line in (HERE / "phrases.txt").read_text(encoding="utf-8").splitlines():
        if line.startswith("=="):
            _, asked, role = line.split()
        elif line and not line.startswith("#") and asked == kind:
            wordings = _spelled(line)
            for text in wordings:
                yield Example(text, role, len(wordings) ** (_LINE - 1))


def of_lists(kind: str) -> Iterator[Example]:
    """Give the words that the product's vocabulary and the drawing of forms list."""
    for word, roles in listed(kind).items():
        for role, share in roles.items():
            yield Example(word, role, _WORD * share)
    drawn: list[Mapping[str, tuple[str, ...]]] = [HEADINGS] if kind == "heading" else [LABELS, SHORT_LABELS]
    for words in drawn:
        for name, several in words.items():
            role = _FORMS.get(name, name)
            if role is not None:
                for word in dict.fromkeys(several):
                    yield Example(word, role, _WORD)
    for several in (FIELDS, DATED, TITLES, OFFICE, PAYMENTS):
        for word in dict.fromkeys(several):
            if word:
                yield Example(word, NOTHING, _WORD)


def of_others(rng: Generator) -> Iterator[Example]:
    """Give names, streets, goods, numbers and mere letters, which speak of no role."""
    for _ in range(_OTHERS):
        for text in (firm(rng), person(rng), street(rng), goods(rng), blurb(rng)):
            yield Example(text, NOTHING, _OTHER)
        letters = rng.choice(list("abcdefghijklmnopqrstuvwxyz "), int(rng.integers(2, 12)))
        yield Example("".join(letters), NOTHING, _MERE)
        digits = "".join(rng.choice(list("0123456789-. "), int(rng.integers(1, 9))))
        yield Example(digits, NOTHING, _OTHER)


_LIKE = {
    "i": "l1j", "l": "i1t", "o": "0ae", "e": "co", "c": "eo", "a": "oe", "u": "vn", "v": "uy", "n": "ru", "m": "n", "r": "n",
    "t": "lf", "f": "t", "h": "bn", "b": "h", "g": "qy", "q": "g", "s": "5", "y": "vg", "d": "cl", "k": "h", "w": "v", "p": "o",
}  # fmt: skip


def misread(rng: Generator, text: str) -> str:
    """Return `text` as a reader of print may give it: a letter for one like it, one lost, a space lost."""
    letters = list(text.lower())
    for _ in range(int(rng.integers(1, 3))):
        if len(letters) < 3:
            break
        k = int(rng.integers(len(letters)))
        chance = rng.random()
        if letters[k] == " " or chance < 0.2:
            spaces = [j for j, c in enumerate(letters) if c == " "]
            if spaces:
                letters.pop(int(rng.choice(spaces)))
        elif chance < 0.35:
            letters.pop(k)
        else:
            like = _LIKE.get(letters[k])
            if like:
                letters[k] = like[int(rng.integers(len(like)))]
    return "".join(letters)
