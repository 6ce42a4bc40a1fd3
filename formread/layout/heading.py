"""What is printed over a column, and what it may mean."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from formread.layout.ink import Ink
from formread.layout.printed import Piece, pieces, tall_pieces
from formread.layout.record import ColumnRole, Rectangle
from formread.layout.vocabulary import Match, match_heading
from formread.ocr import PrintedText

Read = Callable[[Sequence[Piece]], list[PrintedText]]
Said = tuple[str, Match[ColumnRole]]

_INSET = 3  # pixels of the working image between a heading and the sides of its cell
_WORD_WIDER = 1.3  # times as wide as its tallest letter a word of level print is at least
_LINE_GAP = 0.8  # heights between the lines of a heading that runs up the page
_KNOWN = 0.5  # print is taken for a heading from this probability on
_MONEY = frozenset(
    ("£", "p", "pence", "£ p", "£p", "pp", "pounds", "pounds pence", "£ : p", "£. p", "£ pence", "£ pp")
)
"""Signs that stand under a heading proper, over the halves for pounds and pence."""
_SURE = 0.9  # trust in a heading that parts a column, and in its meaning
_APART = 0.8  # heights between two headings side by side
_NOTHING: Match[ColumnRole] = Match(0.0, {}, "")


def read_heading(content: Ink, read: Read, place: Rectangle) -> Said:
    """Read what is printed over one column and say what it may mean.

    Parameters
    ----------
    content
        (H, W) darkness of print, without the rules.
    read
        Reads pieces of print.
    place
        The cell of the heading, in pixels of `content`.
    """
    cell = Rectangle(place.left + _INSET, place.top + 1, place.right - _INSET, place.bottom - 1)
    found = pieces(content, cell)
    level = _level(read(found))
    upright = _turned(content, read, cell, found)
    return max((level, upright), key=lambda said: said[1].known)


def headings_apart(content: Ink, read: Read, place: Rectangle) -> list[tuple[float, float]]:
    """Return between which middles of headings that stand side by side in one cell the cell should be cut.

    Only words that are surely headings, and of different columns, count; a heading of two words is one.
    """
    cell = Rectangle(place.left + _INSET, place.top + 1, place.right - _INSET, place.bottom - 1)
    found = sorted(pieces(content, cell), key=lambda piece: piece.left)
    told: list[tuple[Piece, str]] = []
    for piece, text in zip(found, read(found), strict=True):
        match = match_heading([text])
        if match.known < _SURE or match.word in _MONEY:
            continue
        role = max(match.roles, key=lambda name: match.roles[name])
        if match.roles[role] < _SURE:
            continue
        if told and told[-1][1] == role:
            told[-1] = (replace(told[-1][0], right=max(told[-1][0].right, piece.right)), role)
        else:
            told.append((piece, role))
    apart = [(a, b) for (a, _), (b, _) in pairwise(told)]
    if any(b.left - a.right < _APART * min(a.height, b.height) for a, b in apart):
        return []
    return [(a.middle[0], b.middle[0]) for a, b in apart]


def _level(texts: Sequence[PrintedText]) -> Said:
    """Say what lines of level print mean together; the signs of pounds and pence only where nothing else is said."""
    lines = [text for text in texts if text.text.strip()]
    if not lines:
        return "", _NOTHING
    named = [text for text in lines if text.text.strip().lower().strip(".") not in _MONEY]
    return " ".join(text.text.strip() for text in lines), match_heading(named or lines)


def _turned(content: Ink, read: Read, place: Rectangle, level: Sequence[Piece]) -> Said:
    """Read a heading that runs up the page, or down it.

    Parameters
    ----------
    level
        The pieces of level print: a tall letter of theirs is no heading.
    """
    tall = [t for t in tall_pieces(content, place) if not any(_letter_of(t, word) for word in level)]
    lines: list[list[Piece]] = []
    for piece in tall:
        if lines and piece.left < lines[-1][-1].right + _LINE_GAP * piece.height:
            lines[-1].append(piece)
        else:
            lines.append([piece])
    best: Said = ("", _NOTHING)
    for up in lines:
        for way in (up, [replace(p, turns=3) for p in reversed(up)]):
            texts = read(way)
            match = match_heading(texts)
            if match.known >= _KNOWN and match.known > best[1].known:
                best = " ".join(text.text.strip() for text in texts), match
    return best


def _letter_of(tall: Piece, word: Piece) -> bool:
    beside = (
        word.left < tall.right
        and word.right > tall.left
        and word.top < tall.bottom
        and word.bottom > tall.top
    )
    return beside and word.right - word.left > _WORD_WIDER * tall.height
