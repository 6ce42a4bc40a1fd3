"""What a slip is known by: its printed number, and the block for name and address."""

import re
from collections.abc import Sequence

import numpy as np

from formread.layout.boxes import KINDS, Seen
from formread.layout.content import content_at
from formread.layout.grid import Edges, Grid
from formread.layout.ink import Ink
from formread.layout.printed import Piece, is_print, pieces
from formread.layout.record import Rectangle
from formread.layout.scale import Read, Scale, parts_of

_SERIAL = 0.4  # probability from which on a place is the slip's number
_SERIAL_AROUND = 4  # pixels at the sides of print: the network sees to about two
_SERIAL_LEAST = 20  # places
_RULES_AROUND = 90  # pixels at its sides that tell a rule from a stroke
_STRAYS = 1.0  # heights of a number by which it may lie off its usual place
_SERIAL_SURE = 0.86  # over the whole of a number: so surely the network takes nothing else for one
_SERIAL_LIKELY = 0.7  # likewise, where nothing stands there but a number, or "No." before it
_SERIAL_SEEN = 0.5  # likewise, where it is plainly print: dates and telephone numbers stay below
_MOST_SERIALS = 4  # stretches that may be it
_CUSTOMER, _CUSTOMER_LEAST = (
    0.5,
    0.004,
)  # probability of a place; share of the sheet that the block takes at least
_MOST_HEADER = 16  # pieces of print read over the table
_NUMBER = re.compile(r"(?:^|[^\dA-Za-z])([A-Z]{0,2}[\s-]?\d{3,7})$")
_YEAR = re.compile(r"[A-Za-z] (?:19|20)\d\d$")
_NUMBERED = re.compile(
    r"^(?:(?:slip|order|form|sheet|ser(?:ial)?|book|pad)?\s*(?:n[o0°º][.:°]?|#|nr[.:]?|number|№)?)\s*[.:]?\s*"
    r"([A-Z]{0,2}[\s-]?\d{3,7})$",
    re.IGNORECASE,
)
"""Print that is a slip's number by its wording alone."""


def find_serial(
    seen: Seen, grid: Grid, content: Ink, read: Read, scale: Scale
) -> tuple[Rectangle | None, str | None]:
    """Find the printed slip number: where the network saw one, or by its wording."""
    parts = [scale.of_part(part, _SERIAL_AROUND) for part in _serials(seen)]
    place, number = _among([piece for part in parts for piece in pieces(content, part)], content, read, scale)
    if place is not None:
        return place, number
    return _by_wording(_in_header(grid, content, scale), content, read, scale)


def find_serial_near(
    ink: Ink, read: Read, scale: Scale, usual: Rectangle | None
) -> tuple[Rectangle | None, str | None]:
    """Find the printed slip number where the network saw one, or in its usual place; nothing else is looked at.

    Parameters
    ----------
    ink
        (H, W) darkness of the working image, with its rules.
    usual
        Where other slips of the pad have it, in pixels of the sheet.
    """
    parts = _serials(scale.seen)
    content = content_at(ink, [scale.of_part(part, _RULES_AROUND) for part in parts])
    places = [scale.of_part(part, _SERIAL_AROUND) for part in parts]
    place, number = _among([p for around in places for p in pieces(content, around)], content, read, scale)
    if place is not None or usual is None:
        return place, number
    there = Rectangle(
        *(round(side / scale.working) for side in (usual.left, usual.top, usual.right, usual.bottom))
    )
    content = content_at(ink, [_grown(there, _RULES_AROUND)])
    return _by_wording(pieces(content, _grown(there, round(_STRAYS * there.height))), content, read, scale)


def _grown(place: Rectangle, by: int) -> Rectangle:
    return Rectangle(max(place.left - by, 0), max(place.top - by, 0), place.right + by, place.bottom + by)


def _serials(seen: Seen) -> list[tuple[int, int, int, int]]:
    return parts_of(seen, "serial", _SERIAL, _SERIAL_LEAST)[:_MOST_SERIALS]


def _among(
    found: Sequence[Piece], content: Ink, read: Read, scale: Scale
) -> tuple[Rectangle | None, str | None]:
    """Return the slip's number among print in which the network saw one, the surest first."""
    likely = sorted(
        zip((_as_serial(scale.seen, piece, scale) for piece in found), found, read(found), strict=True),
        key=lambda one: -one[0],
    )
    for sure, piece, text in likely:
        words = text.text.strip()
        said = _NUMBER.search(words)
        plain = _NUMBERED.match(words) is not None
        if said is None or (_YEAR.search(words) and not plain):
            continue
        if sure > (_SERIAL_LIKELY if plain else _SERIAL_SURE) or (
            sure > _SERIAL_SEEN and is_print(content, piece, len(said.group(1)))
        ):
            return _of_piece(piece, scale), said.group(1).replace(" ", "")
    return None, None


def _in_header(grid: Grid, content: Ink, scale: Scale) -> list[Piece]:
    """Return the print over the table, and in the lower right corner, that may be a number by its shape."""
    high, wide = content.shape
    first = scale.in_working(Edges(0, 0, 1, grid.rows[0][0])).bottom
    above = [p for p in pieces(content, Rectangle(2, 2, wide - 2, first)) if _like_number(p)]
    corner = Rectangle(wide // 2, round(0.85 * high), wide - 2, high - 2)
    below = [p for p in pieces(content, corner) if _like_number(p)]
    return [*above[:_MOST_HEADER], *below[-4:]]


def _by_wording(
    found: Sequence[Piece], content: Ink, read: Read, scale: Scale
) -> tuple[Rectangle | None, str | None]:
    """Return the slip's number among print, told by its wording alone."""
    for piece, text in zip(found, read(found), strict=True):
        said = _NUMBERED.match(text.text.strip())
        if said is None or not is_print(content, piece, len(said.group(1))):
            continue
        number = said.group(1).replace(" ", "")
        if len(number) >= 4 or len(text.text.strip()) > len(said.group(1)):
            return _of_piece(piece, scale), number
    return None, None


def _as_serial(seen: Seen, piece: Piece, scale: Scale) -> float:
    """Return how surely the network sees a slip's number in a piece of print."""
    sx, sy = (s / scale.working for s in seen.scale)
    rows = slice(int(piece.top / sy), int(piece.bottom / sy) + 1)
    return float(
        seen.kinds[KINDS.index("serial")][rows, int(piece.left / sx) : int(piece.right / sx) + 1].mean()
    )


def _like_number(piece: Piece) -> bool:
    return 1.2 < piece.length / piece.height < 11


def _of_piece(piece: Piece, scale: Scale) -> Rectangle:
    return Rectangle(
        int(piece.left * scale.working),
        int(piece.top * scale.working),
        int(np.ceil(piece.right * scale.working)),
        int(np.ceil(piece.bottom * scale.working)),
    )


def find_customer(seen: Seen) -> Rectangle | None:
    """Return the block for name and address, in pixels of the sheet."""
    found = parts_of(seen, "customer", _CUSTOMER, _CUSTOMER_LEAST * seen.core.size)
    if not found:
        return None
    left, top, wide, high = found[0]
    sx, sy = seen.scale
    return Rectangle(round(left * sx), round(top * sy), round((left + wide) * sx), round((top + high) * sy))
