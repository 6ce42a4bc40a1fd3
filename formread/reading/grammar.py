"""What people write in a box of each kind, what it means, and how rarely they write it so.

One table per kind is the source of everything: a *form* is a shape of writing (``ndd.dd``), the weight that
writing of that shape gets beside what the network thinks of it, and what it means. From the table come the
automaton that steers the search, the meaning of a text, and all ways of writing a value.

In a form, ``n`` is a digit 1-9, ``d`` a digit 0-9; every other character stands for itself. Whatever a form
means is all its digits read as one number, times a scale: ``4.99`` is 499 x 1, ``5/-`` is 5 x 100, and ``499``
in a box for an amount is either, the point lost or no pence at all.

The weights and shares are common practice, no source: what sellers' slips show, in steps of a factor of
about three. They are priors for the rare cases; nothing was fitted to any test.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from formread.reading.automaton import (
    ALPHABET,
    SYMBOL,
    Chain,
    Graph,
    Tables,
    from_strings,
    parted,
    tables,
    unroll,
)
from formread.record import DITTO, Value

NumberKind = Literal["amount", "quantity", "code", "number", "pounds", "pence"]
NUMBER_KINDS: Final[tuple[NumberKind, ...]] = ("amount", "quantity", "code", "number", "pounds", "pence")

STRUCK: Final = "~"
"""The text of writing that is struck out as a whole."""

COLUMN: Final[Mapping[str, int]] = {character: k + 1 for character, k in SYMBOL.items()}
"""The lattice's column of each symbol; column 0 is the CTC blank."""

_USUAL, _OFTEN, _LESS, _RARE, _ODD = 1.0, 0.5, 0.2, 0.05, 0.01

_DIGITS = "0123456789"
_SEPARATORS = ".,-/:"
_CODE_SEPARATORS = "-./"
_AT_THE_END = ".,:"  # after a number these belong to the sentence, not to the number
# A separator in a code is a matter of taste, but each one more is a little less usual.
_CODE_SEPARATOR_WEIGHT = 0.5


@dataclass(frozen=True, slots=True)
class Form:
    """One shape of writing.

    Attributes
    ----------
    shape
        The shape, in the letters of this module's docstring.
    weight
        How much writing of this shape counts beside the network's own opinion of it.
    scales
        (scale, share): what the digits are multiplied by, and how often this scale is meant. Shares sum to
        one. No scales: the writing means "nothing", as an empty box does.
    """

    shape: str
    weight: float
    scales: tuple[tuple[int, float], ...] = ()


def _whole_parts() -> Iterator[tuple[str, float]]:
    yield from (("0", _USUAL), ("n", _USUAL), ("nd", _USUAL), ("ndd", _USUAL), ("nddd", _OFTEN))
    yield from (("ndddd", _LESS), ("0n", _RARE), ("n,ddd", _LESS), ("nd,ddd", _LESS))


_PENCE_ONE: Final = ((1, 1.0),)
_PENCE_TEN: Final = ((10, 1.0),)
_POUNDS: Final = ((100, 1.0),)
_POINTS: Final = {".": _USUAL, ",": _OFTEN, "-": _OFTEN, ":": _LESS, "/": _LESS, "--": _RARE, ".-": _RARE}
_NO_PENCE: Final = {
    "": _USUAL,
    "-": _OFTEN,
    ".-": _OFTEN,
    "/-": _OFTEN,
    ",-": _OFTEN,
    ":-": _LESS,
    ".--": _LESS,
    "--": _LESS,
    "/": _RARE,
    ".": _RARE,
    ",": _RARE,
}
_AFTER_PENCE: Final = {"": _USUAL, "-": _RARE, "p": _RARE, ".": _RARE, "/": _ODD}
# Digits alone: the point not written or not seen, or no pence meant. The longer, the likelier the former.
_BARE: Final = (
    Form("0", _USUAL, _PENCE_ONE),
    Form("00", _RARE, _PENCE_ONE),
    Form("000", _RARE, _PENCE_ONE),
    Form("0nd", _RARE, _PENCE_ONE),
    Form("n", _USUAL, ((100, 0.97), (1, 0.03))),
    Form("nd", _USUAL, ((100, 0.9), (1, 0.1))),
    Form("ndd", _LESS, ((1, 0.85), (100, 0.15))),
    Form("nddd", _LESS, ((1, 0.93), (100, 0.07))),
    Form("ndddd", _RARE, ((1, 0.98), (100, 0.02))),
    Form("nddddd", _RARE, _PENCE_ONE),
)
# A point alone is a printed one in an empty box, as often as a speck. Ditto marks are rarer than the 11 that
# they look like.
_NOTHING: Final = (
    Form("", _USUAL),
    Form("-", _USUAL),
    Form("--", _LESS),
    Form("/", _LESS),
    Form(".", _USUAL),
    Form("~", _USUAL),
    Form(DITTO, _OFTEN),
)


def _amounts() -> Iterator[Form]:
    yield from _NOTHING
    yield from (
        Form("£", _LESS),
        Form("£-", _LESS),
        Form("£.", _OFTEN),
        Form("-.-", _RARE),
        Form(".-", _RARE),
    )
    for before, how in {"": _USUAL, "£": _USUAL, "-": _RARE, "-£": _ODD}.items():
        for whole, likely in _whole_parts():
            for point, separator in _POINTS.items():
                for after, tail in _AFTER_PENCE.items():
                    weight = how * likely * separator * tail
                    yield Form(f"{before}{whole}{point}dd{after}", weight, _PENCE_ONE)
                yield Form(f"{before}{whole}{point}d", how * likely * separator * _RARE, _PENCE_TEN)
            for after, tail in _NO_PENCE.items():
                if after or "," in whole:
                    yield Form(f"{before}{whole}{after}", how * likely * tail, _POUNDS)
        for point in ".-,:":
            for after, tail in _AFTER_PENCE.items():
                if (before, point) not in (("", "-"), ("-", "-")):  # those read -99 as minus 99
                    yield Form(f"{before}{point}dd{after}", how * _OFTEN * _POINTS[point] * tail, _PENCE_ONE)
        for bare in _BARE:
            # After a pound sign nobody means pence by one or two digits.
            pounds_only = "£" in before and bare.shape in ("n", "nd")
            yield Form(before + bare.shape, how * bare.weight, _POUNDS if pounds_only else bare.scales)
        yield from (Form(f"{before}{pence}p", how * w, _PENCE_ONE) for pence, w in _PENCE_SIGN.items())


_PENCE_SIGN: Final = {"n": _OFTEN, "nd": _USUAL, "ndd": _LESS, "0": _RARE}


def _quantities() -> Iterator[Form]:
    yield from _NOTHING
    numbers = {"n": _USUAL, "nd": _USUAL, "ndd": _OFTEN, "0": _OFTEN, "0n": _RARE, "nddd": _ODD}
    tails = {"": _USUAL, "x": _OFTEN, "-": _LESS, "/": _LESS, ".": _RARE, ",": _RARE, "/-": _RARE}
    for before, how in {"": _USUAL, "x": _OFTEN, "-": _RARE}.items():
        for number, likely in numbers.items():
            for after, tail in tails.items():
                weight = how * likely * (tail if not before else tail * _LESS if after else tail)
                yield Form(before + number + after, weight, _PENCE_ONE)


def _pounds() -> Iterator[Form]:
    yield from _NOTHING
    yield from (Form("£", _USUAL), Form("£-", _LESS))
    tails = {
        "": _USUAL,
        ".": _OFTEN,
        "-": _OFTEN,
        ",": _LESS,
        "/": _LESS,
        ":": _LESS,
        ".-": _RARE,
        "/-": _RARE,
    }
    for before, how in {"": _USUAL, "£": _USUAL}.items():
        for whole, likely in _whole_parts():
            for after, tail in tails.items():
                yield Form(f"{before}{whole}{after}", how * likely * tail, _PENCE_ONE)
        yield Form(f"{before}00", how * _RARE, _PENCE_ONE)


def _pence() -> Iterator[Form]:
    yield from _NOTHING
    yield from (Form("p", _LESS), Form("-p", _RARE))
    for before, how in {"": _USUAL, ".": _OFTEN, "-": _LESS, ",": _LESS, ":": _LESS, "/": _RARE}.items():
        for after, tail in {"": _USUAL, "p": _OFTEN, "-": _RARE, ".": _RARE}.items():
            yield Form(f"{before}dd{after}", how * tail, _PENCE_ONE)
            # One digit alone: 5 for 05, or for 50 by someone who writes 4.5.
            yield Form(f"{before}d{after}", how * tail * _LESS, ((1, 0.7), (10, 0.3)))


_FORMS: Final[Mapping[str, Callable[[], Iterator[Form]]]] = {
    "amount": _amounts,
    "quantity": _quantities,
    "pounds": _pounds,
    "pence": _pence,
}


@cache
def forms(kind: NumberKind) -> tuple[Form, ...]:
    """Return the table of a kind; empty for codes and numbers, whose length is free."""
    if kind not in _FORMS:
        return ()
    found = tuple(_FORMS[kind]())
    assert len({form.shape for form in found}) == len(found), "a shape stands in the table once"
    return found


@cache
def graph(kind: NumberKind) -> Graph:
    """Return the automaton of everything that is written in a box of this kind."""
    if kind == "code":
        return _code_graph()
    if kind == "number":
        return _number_graph()
    return _in_symbols(from_strings((form.shape, form.weight) for form in forms(kind)))


@cache
def grammar(kind: NumberKind) -> Tables:
    """Return the automaton of a kind as arrays."""
    return tables(graph(kind))


def _in_symbols(shapes: Graph) -> Graph:
    """Replace the digit letters of a graph of shapes by the digits they stand for."""
    digits = {"n": _DIGITS[1:], "d": _DIGITS}
    return Graph(
        tuple(
            tuple((digit, w, t) for letter, w, t in own for digit in digits.get(letter, letter))
            for own in shapes.arcs
        ),
        shapes.final,
    )


def _code_graph() -> Graph:
    """Digits with single separators between: 0 start, 1 after a digit, 2 after a separator, 3 a whole mark."""
    digits = tuple((digit, 1.0, 1) for digit in _DIGITS)
    separators = tuple((mark, _CODE_SEPARATOR_WEIGHT, 2) for mark in _CODE_SEPARATORS)
    marks = ((STRUCK, _USUAL, 3), (DITTO, _USUAL, 3), ("-", _OFTEN, 3), ("/", _LESS, 3))
    return Graph(((*digits, *marks), (*digits, *separators), digits, ()), (_USUAL, _USUAL, 0.0, _USUAL))


def _number_graph() -> Graph:
    """Digits with separators between, one separator before or after at a price; states as for codes.

    State 4 is after a trailing separator that may also turn out to stand between, so 2 and 4 are one:
    stopping there has its price.
    """
    digits = tuple((digit, 1.0, 1) for digit in _DIGITS)
    separators = tuple((mark, 1.0, 2) for mark in _SEPARATORS)
    marks = ((STRUCK, _USUAL, 3), (DITTO, _USUAL, 3))
    return Graph(((*digits, *marks, *separators), (*digits, *separators), digits, ()), (1.0, 1.0, _LESS, 1.0))


# --- from text to value -------------------------------------------------------------------------------------

_NONDIGIT = re.compile(r"[^0-9]")


@cache
def _form_of(kind: NumberKind) -> Mapping[str, Form]:
    return {form.shape: form for form in forms(kind)}


def _shapes_of(text: str) -> Iterator[str]:
    """Yield the shapes that a text may have: its first digit after the start is ``0`` or ``n``, or a ``d``."""
    if "d" in text or "n" in text:  # another reader's letters: here they would pass for digits
        return
    plain = re.sub(r"[0-9]", "d", text)
    first = re.search(r"[0-9]", text)
    yield plain
    if first:
        at = first.start()
        lead = "0" if text[at] == "0" else "n"
        yield plain[:at] + lead + plain[at + 1 :]
        # 05.00 and 099: a nought, then a digit that is not.
        if lead == "0" and text[at + 1 : at + 2].isdigit():
            second = "0" if text[at + 1] == "0" else "n"
            yield plain[:at] + "0" + second + plain[at + 2 :]
            yield plain[:at] + "00" + plain[at + 2 :].replace("d", "0")


def meanings(text: str, kind: NumberKind) -> tuple[tuple[Value, float], ...]:
    """Return what a text means in a box of this kind: (value, share), the likeliest first.

    Values are pence for amounts and pence, pounds for pounds, whole numbers for quantities, text for the
    rest; None stands for nothing. The shares sum to one; a text that nobody writes there, and writing that
    is struck out, mean nothing at all: ``()``.
    """
    if kind in ("code", "number"):
        if graph(kind).weight(text) == 0.0 or text == STRUCK:
            return ()
        if kind == "code" and text in ("", "-", "/"):
            return ((None, 1.0),)
        return (((text.rstrip(_AT_THE_END) if kind == "number" else text) or None, 1.0),)
    table = _form_of(kind)
    for shape in _shapes_of(text):
        form = table.get(shape)
        if form is None:
            continue
        if not form.scales:
            return () if text == STRUCK else ((DITTO if text == DITTO else None, 1.0),)
        number = int(_NONDIGIT.sub("", text))
        shares: dict[Value, float] = {}
        for scale, share in form.scales:
            shares[number * scale] = shares.get(number * scale, 0.0) + share
        return tuple(sorted(shares.items(), key=lambda item: -item[1]))
    return ()


def parse(text: str, kind: NumberKind) -> Value:
    """Return the likeliest meaning of a text.

    Raises
    ------
    ValueError
        If nobody writes that in a box of this kind.
    """
    found = meanings(text, kind)
    if not found:
        raise ValueError(f"{text!r} is not {kind}")
    return found[0][0]


# --- from value to text -------------------------------------------------------------------------------------

# Digits that are not known yet, by place, in the graph of all ways of writing a number of that many digits.
_PLACES = "ABCDEFGHIJKL"


@lru_cache(maxsize=256)
def _ways(kind: NumberKind, length: int, tens: int) -> tuple[tuple[str, float], ...]:
    """Return the ways of writing a number of `length` digits that ends in `tens` noughts (two at most).

    The digits stand as letters of ``_PLACES``; length 0 is the number 0.
    """
    found: dict[str, float] = {}
    for form in forms(kind):
        slots = sum(form.shape.count(letter) for letter in "nd0")
        for scale, share in form.scales:
            cut = len(str(scale)) - 1
            if length and cut > tens:
                continue
            shown = _PLACES[: max(length - cut, 0)]
            if len(shown) > slots:
                continue
            written = iter(shown.rjust(slots, "0"))
            text = ""
            for letter in form.shape:
                digit = next(written) if letter in "nd0" else letter
                if (letter == "n" and digit == "0") or (letter == "0" and digit != "0"):
                    break
                text += digit
            else:
                found[text] = found.get(text, 0.0) + form.weight * share
    return tuple(found.items())


def _digits_of(value: int) -> tuple[str, int, int]:
    digits = str(value) if value else ""
    trailing = len(digits) - len(digits.rstrip("0"))
    return digits, len(digits), min(trailing, 2)


def _whole_marks(value: Value, kind: NumberKind) -> tuple[tuple[str, float], ...]:
    if kind == "number":
        marks = {"": (None, _USUAL), DITTO: (DITTO, _USUAL)} | dict.fromkeys(_AT_THE_END, (None, _LESS))
        return tuple((text, weight) for text, (meant, weight) in marks.items() if meant == value)
    if kind == "code":
        own = {"": (None, _USUAL), "-": (None, _OFTEN), "/": (None, _LESS), DITTO: (DITTO, _USUAL)}
        return tuple((text, weight) for text, (meant, weight) in own.items() if meant == value)
    return tuple(
        (form.shape, form.weight)
        for form in forms(kind)
        if not form.scales
        and form.shape != STRUCK
        and (value == DITTO if form.shape == DITTO else value is None)
    )


def spellings(value: Value, kind: NumberKind) -> tuple[tuple[str, float], ...]:
    """Return the ways of writing a value in a box of this kind: (text, weight).

    The weight is the form's own, times the share in which that text means this value. For codes the ways
    differ in their separators, one of them at most; a code is its digits.
    """
    if value is None or value == DITTO:
        return _whole_marks(value, kind)
    if kind == "number":
        text = str(value)
        if text == STRUCK or text != text.rstrip(_AT_THE_END):
            return ()
        ways = ((way, graph(kind).weight(way)) for way in (text, *(text + mark for mark in _AT_THE_END)))
        return tuple((way, weight) for way, weight in ways if weight)
    if kind == "code":
        digits = code_digits(str(value))
        texts = [digits] + [
            digits[:at] + mark + digits[at:] for at in range(1, len(digits)) for mark in _CODE_SEPARATORS
        ]
        return tuple((text, graph(kind).weight(text)) for text in texts if digits)
    if not isinstance(value, int) or value < 0:
        return ()
    digits, length, tens = _digits_of(value)
    known = str.maketrans(dict(zip(_PLACES, digits, strict=False)))
    merged: dict[str, float] = {}
    for text, weight in _ways(kind, length, tens):
        merged[text.translate(known)] = merged.get(text.translate(known), 0.0) + weight
    return tuple(merged.items())


def code_digits(text: str) -> str:
    """Return the digits of a code: separators do not tell codes apart."""
    return _NONDIGIT.sub("", text)


# --- from value to the forward algorithm --------------------------------------------------------------------


@lru_cache(maxsize=512)
def _way_chain(kind: NumberKind, length: int, tens: int) -> Chain:
    columns = {**COLUMN, **{letter: -1 - place for place, letter in enumerate(_PLACES)}}
    return unroll(from_strings(_ways(kind, length, tens)), columns)


@lru_cache(maxsize=64)
def _code_chain(length: int) -> Chain:
    """All ways of writing a code of so many digits, a separator or none between any two."""
    arcs: list[tuple[tuple[str, float, int], ...]] = []
    final: list[float] = []
    for place in range(length):
        after = 2 * place + 2  # states: 2 * place before digit `place`, one more after a separator
        digit = (_PLACES_OF_CODE[place], 1.0, after)
        marks = tuple((mark, _CODE_SEPARATOR_WEIGHT, 2 * place + 1) for mark in _CODE_SEPARATORS)
        arcs += [(digit, *marks) if place else (digit,), (digit,)]
        final += [0.0, 0.0]
    arcs.append(())
    final.append(1.0)
    columns = {**COLUMN, **{letter: -1 - place for place, letter in enumerate(_PLACES_OF_CODE)}}
    return unroll(Graph(tuple(arcs), tuple(final)), columns)


_PLACES_OF_CODE = "".join(chr(ord("A") + place) for place in range(26))


@lru_cache(maxsize=4096)
def value_chain(value: Value, kind: NumberKind) -> Chain | None:
    """Return all ways of writing a value, unrolled for the forward algorithm; None if nobody writes it."""
    if value is None or value == DITTO or kind == "number":
        ways = spellings(value, kind)
        return unroll(from_strings(ways), COLUMN) if ways else None
    if kind == "code":
        digits = code_digits(str(value))
        if not 0 < len(digits) <= len(_PLACES_OF_CODE):
            return None
        return _fill(_code_chain(len(digits)), digits)
    if not isinstance(value, int) or value < 0:
        return None
    digits, length, tens = _digits_of(value)
    if length > len(_PLACES) or not _ways(kind, length, tens):
        return None
    return _fill(_way_chain(kind, length, tens), digits)


def _fill(chain: Chain, digits: str) -> Chain:
    """Put digits into the places of a chain, and mind the equal ones that now stand side by side."""
    places: npt.NDArray[np.int64] = np.array([COLUMN[digit] for digit in reversed(digits)] or [0], np.int64)
    # Place 0 has column -1: the last of the reversed digits.
    column = np.where(chain.column < 0, places[np.minimum(chain.column, -1)], chain.column)
    return parted(replace(chain, column=column))


assert len(ALPHABET) == len(COLUMN), "each symbol has a column of its own"
