"""A printed page as pieces of text with their places, laid out as rows and columns.

Pure geometry: it is the same for a photographed page and for the text of a PDF.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from types import MappingProxyType

from rapidfuzz import fuzz

from formread.goods.table import plain_heading, told_apart

_SAME_LINE = 0.6  # of a text's height: pieces of one line lie no further apart in height
_LIKE_HEADING = 84.0  # of 100: a heading with one sign misread in six is still that heading
_SHORT_HEADING = 4  # signs; shorter headings must be read exactly
_SECOND_COLUMN = 3.0  # text heights; what two pieces in one column cost beside lying that far off


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of print: its text, its box (x to the right, y downwards, any unit), the least probability
    among its signs (1 where the text is certain), and a handle to what it was read from.
    """

    text: str
    left: float
    top: float
    right: float
    bottom: float
    least: float = 1.0
    source: int = -1

    @property
    def height(self) -> float:
        """From top to bottom."""
        return self.bottom - self.top

    @property
    def middle(self) -> float:
        """Its middle's height on the page."""
        return (self.top + self.bottom) / 2


@dataclass(frozen=True, slots=True)
class Grid:
    """A page as a table.

    Attributes
    ----------
    columns
        What each column means (our own names), "" for one whose heading says nothing to us.
    rows
        The rows under the headings: for each column its pieces, joined into one, or None.
    above
        The lines above the headings, from the top.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[Piece | None, ...], ...]
    above: tuple[str, ...]


def lines_of(pieces: Sequence[Piece]) -> list[list[Piece]]:
    """Group pieces into lines of text, from the top; each from the left.

    A line is followed from piece to piece, so that it may climb a little over the width of the page.
    """
    height = median(piece.height for piece in pieces) if pieces else 1.0
    lines: list[list[Piece]] = []
    for piece in sorted(pieces, key=lambda piece: piece.left):
        near = [
            (abs(line[-1].middle - piece.middle), at)
            for at, line in enumerate(lines)
            if abs(line[-1].middle - piece.middle) < _SAME_LINE * height
            and line[-1].right <= piece.left + height
        ]
        if near:
            lines[min(near)[1]].append(piece)
        else:
            lines.append([piece])
    return sorted(lines, key=lambda line: sum(piece.middle for piece in line) / len(line))


def meaning_of(text: str, headings: Mapping[str, Collection[str]]) -> str:
    """Say which of our columns a heading stands for, "" for none; one sign in six may be misread."""
    plain = plain_heading(text)
    for column, known in headings.items():
        if plain in known:
            return column
    if len(plain) <= _SHORT_HEADING:
        return ""
    best = max(
        ((fuzz.ratio(plain, word), column) for column, known in headings.items() for word in known),
        default=(0.0, ""),
    )
    return best[1] if best[0] >= _LIKE_HEADING else ""


def lay_out(
    pieces: Sequence[Piece],
    headings: Mapping[str, Collection[str]],
    needed: Collection[str],
    otherwise: Mapping[str, str] = MappingProxyType({}),
) -> Grid | None:
    """Find the line of headings and sort what stands under it into columns.

    Returns
    -------
    Grid or None
        None where no line (or two lines together) names the needed columns.
    """
    lines = lines_of(pieces)
    best: tuple[int, int, int, list[tuple[str, Piece]]] | None = None
    for at in range(len(lines)):
        for depth in (1, 2):
            if at + depth > len(lines):
                continue
            heads = _heads([piece for part in lines[at : at + depth] for piece in part], headings, otherwise)
            named = [name for name, _ in heads if name]
            if not all(column in named for column in needed):
                continue
            if best is None or len(named) > best[0]:
                best = (len(named), at, depth, heads)
    if best is None:
        return None
    _, at, depth, heads = best
    heads.sort(key=lambda head: head[1].left)
    body = lines[at + depth :]
    places = [piece for _, piece in heads]
    rows = [_in_columns(line, places) for line in body]
    # Headings often stand otherwise over their column than the figures under them do; the body decides.
    places = _learned(places, rows)
    rows = [_in_columns(line, places) for line in body]
    return Grid(
        tuple(name for name, _ in heads),
        tuple(tuple(_joined(cell) for cell in row) for row in rows),
        tuple(" ".join(piece.text for piece in line) for line in lines[:at]),
    )


def _heads(
    pieces: Sequence[Piece], headings: Mapping[str, Collection[str]], otherwise: Mapping[str, str]
) -> list[tuple[str, Piece]]:
    """Join pieces that stand above one another and say what each column means."""
    groups: list[list[Piece]] = []
    for piece in sorted(pieces, key=lambda piece: piece.top):
        for group in groups:
            if any(min(piece.right, one.right) > max(piece.left, one.left) for one in group):
                group.append(piece)
                break
        else:
            groups.append([piece])
    joined = [piece for piece in map(_joined, groups) if piece is not None]
    meant = [meaning_of(piece.text, headings) for piece in joined]
    told = told_apart(meant, [plain_heading(piece.text) for piece in joined], otherwise)
    # Of two headings that still say the same, the first counts and the other column is only looked past.
    return [
        ("" if name in told[:at] else name, piece)
        for at, (name, piece) in enumerate(zip(told, joined, strict=True))
    ]


def _joined(pieces: Sequence[Piece]) -> Piece | None:
    if not pieces:
        return None
    if len(pieces) == 1:
        return pieces[0]
    return Piece(
        " ".join(piece.text for piece in pieces),
        min(piece.left for piece in pieces),
        min(piece.top for piece in pieces),
        max(piece.right for piece in pieces),
        max(piece.bottom for piece in pieces),
        min(piece.least for piece in pieces),
    )


def _off(piece: Piece, place: Piece) -> float:
    """How far a piece stands from a column, by whichever edge fits best."""
    return min(
        abs(piece.left - place.left),
        abs(piece.right - place.right),
        abs(piece.left + piece.right - place.left - place.right) / 2,
    )


def _in_columns(line: Sequence[Piece], places: Sequence[Piece]) -> list[list[Piece]]:
    """Assign the pieces of a line to columns from left to right, at the least distance in all."""
    height = median(piece.height for piece in [*line, *places])
    # cost[c]: the least cost of the pieces so far with the last in column c, and the columns chosen.
    cost: dict[int, tuple[float, tuple[int, ...]]] = {-1: (0.0, ())}
    for piece in line:
        following: dict[int, tuple[float, tuple[int, ...]]] = {}
        for column, place in enumerate(places):
            off = _off(piece, place)
            options = [
                (spent + off + (_SECOND_COLUMN * height if last == column else 0.0), (*chosen, column))
                for last, (spent, chosen) in cost.items()
                if last <= column
            ]
            following[column] = min(options)
        cost = following
    _, chosen = min(cost.values())
    row: list[list[Piece]] = [[] for _ in places]
    for piece, column in zip(line, chosen, strict=True):
        row[column].append(piece)
    return row


def _learned(places: Sequence[Piece], rows: Sequence[Sequence[Sequence[Piece]]]) -> list[Piece]:
    """Move each column's edges to where most of its pieces begin and end."""
    learned = []
    for column, place in enumerate(places):
        found = [row[column][0] for row in rows if len(row[column]) == 1]
        if len(found) < 3:
            learned.append(place)
            continue
        learned.append(
            replace(place, left=median(piece.left for piece in found), right=median(p.right for p in found))
        )
    return learned
