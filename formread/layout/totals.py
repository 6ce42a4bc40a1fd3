"""The boxes of the totals, named by their labels and their looks."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import SequenceMatcher

from formread.layout.boxes import Seen
from formread.layout.grid import Edges, Grid, GridTotal
from formread.layout.ink import Ink
from formread.layout.printed import Piece, pieces
from formread.layout.record import Rectangle, TotalBox, TotalRole, Trust
from formread.layout.roles import TotalSeen, assign_totals, totals_among
from formread.layout.scale import Read, Scale, parts_of
from formread.layout.trust import seen_in, trust_of
from formread.layout.vocabulary import NOTHING, LabelRole, Match, match_total
from formread.ocr import PrintedText

_TOTALS_PROPOSED = 6  # the sums of a slip or a pile choose among them
_LABEL = 0.4  # probability from which on a place is a label
_LABEL_AROUND = 3  # pixels at the sides of print: the network sees to about two
_LABEL_LEAST = 12  # places; smaller specks are none
_LABEL_REACH = 0.55  # of the sheet's width: how far left of its box a label may end
_LABEL_OVER = 1.3  # heights of a box over which its label may stand
_LABEL_AFTER = 1.5  # heights of a box right of it where its label may begin
_WORD = 3  # heights by which a label's words may go on beyond what the network saw
_BLOCKS = 3  # heights between two blocks of print that are read one after the other
_LARGER = 1.3  # times as high, print is another block's where there is some room between
_BESIDE = 0.6  # of a box's height: two boxes so near each other stand for two sums of one line
_PLAIN_COUNT = 0.8  # probability from which on a box is for a number of things whatever stands before it
_LONG_WORD = 4  # letters; a shorter word tells nothing
_SAME_WORD = 0.8  # likeness of two words that are one, misread
_RIM = 4  # pixels at the side of a box that are its frame
_MOST_LABELS = 30  # pieces of print read
_CAPTION, _CAPTION_HEIGHT = 0.3, 0.4  # of a box's height: how near its rim, and how high, a caption in it is
_TOTAL_ROLES: tuple[TotalRole, ...] = ("goods", "delivery", "discount", "deposit", "other", "total")
_PARTS: tuple[LabelRole, ...] = ("goods", "delivery", "discount", "deposit")
_MONEY = (
    0.8  # probability from which on a label speaks of one of these, and its box is for no number of things
)
_LABEL_KNOWN = 0.6  # a label is one of the listed words from this probability on
_COUNT_LOOKS = 0.1  # less than that and the network is sure of an amount, whatever the label says
_COUNT = 0.5  # probability from which on a box is for a number of things, not for money


def find_totals(
    seen: Seen, grid: Grid, content: Ink, read: Read, scale: Scale, counted: str = ""
) -> tuple[tuple[TotalBox, ...], Trust]:
    """Name the boxes of the totals by their labels and their looks, and say how far the layout can be trusted.

    `counted` is what stands over the quantities: a box for "Balls" under a column of them is for how many there are.
    """
    trust = trust_of(seen, grid)
    if not grid.totals:
        return (), trust
    places = [scale.in_working(whole_of(total)) for total in grid.totals]
    own: list[list[Piece]] = [[] for _ in places]
    for piece in _labels(seen, content, scale):  # each line by itself: labels of one ladder stand close
        k = _spoken_of(piece, places, content.shape[1])
        if k is not None:
            own[k].append(piece)
    # What stands right of a box speaks of it only where nothing else does: it may be of what lies beyond.
    own = [
        [piece for piece in group if piece.left < place.right] or group
        for group, place in zip(own, places, strict=True)
    ]
    blocks: list[list[list[Piece]]] = []
    for group, place in zip(own, places, strict=True):
        found = _whole_lines(group, content, place)
        if not found:  # a caption in the box itself; writing is none of the words of labels
            found = [[piece for piece in pieces(content, place) if _caption(piece, place)]]
        blocks.append(found)
    asked = [piece for found in blocks for block in found for piece in block][:_MOST_LABELS]
    known = dict(zip(asked, read(asked), strict=True))
    kept: list[tuple[GridTotal, str, Match[LabelRole], Rectangle]] = []
    for k, (total, place) in enumerate(zip(grid.totals, places, strict=True)):
        said, match = _meaning(blocks[k], place, known)
        looks = float(total.kinds[_TOTAL_ROLES.index("other")])
        if match.known * match.roles.get("count", 0.0) > _COUNT and looks > _COUNT_LOOKS:
            continue
        if match.known < _LABEL_KNOWN and _names(said, counted):
            continue
        if looks > _COUNT and match.known < _LABEL_KNOWN:
            continue  # a count, points, tax included: nothing that adds to the sum
        money = match.known * sum(match.roles.get(role, 0.0) for role in _PARTS)
        if looks > _PLAIN_COUNT and money < _MONEY and match.known * match.roles.get("other", 0.0) < _COUNT:
            continue  # "in all" before two boxes, for how many and for how much
        if looks > _COUNT_LOOKS and _is_first_of_two(k, places, own):
            continue
        kept.append((total, " ".join(text.text.strip() for text in said), match, place))
    boxes = [
        TotalSeen(
            match,
            dict(zip(_TOTAL_ROLES, total.kinds, strict=True)),
            bool(label),
            total.seen,
            _written(content, place),
        )
        for total, label, match, place in kept
    ]
    among = totals_among(boxes)
    kept = [one for one, its in zip(kept, among, strict=True) if its]
    assigned = assign_totals([box for box, its in zip(boxes, among, strict=True) if its], _TOTALS_PROPOSED)
    roles, probability = assigned[0]
    trust = replace(trust, total_roles=tuple(assigned))
    chosen = next((total for role, (total, *_) in zip(roles, kept, strict=True) if role == "total"), None)
    if chosen is not None:
        trust = replace(trust, totals=probability, seen=seen_in(seen, whole_of(chosen), grid))
    return tuple(
        TotalBox(role, scale.box(total.box, total.pence), label)
        for role, (total, label, *_) in zip(roles, kept, strict=True)
    ), trust


def _meaning(
    blocks: Sequence[Sequence[Piece]], box: Rectangle, known: Mapping[Piece, PrintedText]
) -> tuple[list[PrintedText], Match[LabelRole]]:
    """Return what is printed for a box, and what it means: the block next to the box tells, if it is known."""
    texts = [
        (min(abs(piece.right - box.left) for piece in block), text)
        for block in blocks
        if (text := [known[p] for p in block if p in known and known[p].text.strip()])
    ]
    said = [line for _, text in texts for line in text]
    if not said:
        return [], NOTHING
    if len(texts) > 1:
        match = match_total(min(texts, key=lambda one: one[0])[1])
        if match.known >= _LABEL_KNOWN:
            return said, match
    return said, match_total(said)


def _names(said: Sequence[PrintedText], counted: str) -> bool:
    """Say whether a label names what the quantities count."""
    thing = _letters(counted)
    words = [_letters(word) for text in said for word in text.text.split()]
    return len(thing) >= _LONG_WORD and any(
        SequenceMatcher(None, thing, word).ratio() > _SAME_WORD for word in words if len(word) >= _LONG_WORD
    )


def _letters(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter.isalpha())


def _is_first_of_two(k: int, places: Sequence[Rectangle], own: Sequence[Sequence[Piece]]) -> bool:
    """Say whether another box follows right after one that has a label, and has none itself."""
    box = places[k]
    high = box.bottom - box.top
    return bool(own[k]) and any(
        not label
        and 0 <= other.left - box.right + _RIM <= _BESIDE * high
        and 2 * (min(other.bottom, box.bottom) - max(other.top, box.top)) > high
        for other, label in zip(places, own, strict=True)
    )


def _labels(seen: Seen, content: Ink, scale: Scale) -> list[Piece]:
    """Return the print that the network saw as labels of the totals, line by line, from the top."""
    parts = sorted(parts_of(seen, "label", _LABEL, _LABEL_LEAST), key=lambda part: (part[1], part[0]))
    return [piece for part in parts for piece in pieces(content, scale.of_part(part, _LABEL_AROUND))]


def _whole_lines(group: Sequence[Piece], content: Ink, box: Rectangle) -> list[list[Piece]]:
    """Return a label in blocks from the left, line by line, each as far as its words go on beyond what the network saw."""
    whole: list[Piece] = []
    for line in _in_lines(group):
        reach = _WORD * max(piece.bottom - piece.top for piece in line)
        right = max(piece.right for piece in line)
        beside = box.left - _RIM if right <= box.left + _RIM else content.shape[1]
        area = Rectangle(
            max(round(min(piece.left for piece in line) - reach), 0),
            max(min(piece.top for piece in line) - 2, 0),
            min(round(right + reach), beside),
            max(piece.bottom for piece in line) + 2,
        )
        found = [
            one
            for one in pieces(content, area)
            if any(_level(one, piece) and one.left < piece.right and piece.left < one.right for piece in line)
        ]
        ground = any(one.top <= area.top and one.bottom >= area.bottom for one in found)
        whole += line if ground or not found else found  # around white print all is dark
    blocks: list[list[Piece]] = []
    for piece in sorted(dict.fromkeys(whole), key=lambda piece: piece.left):
        gap = piece.left - max(one.right for one in blocks[-1]) if blocks else 0
        sizes = sorted((piece.height, blocks[-1][-1].height)) if blocks else [1, 1]
        if blocks and gap < (1 if sizes[1] > _LARGER * sizes[0] else _BLOCKS) * piece.height:
            blocks[-1].append(piece)
        else:
            blocks.append([piece])
    return [[piece for line in _in_lines(block) for piece in line] for block in blocks]


def _in_lines(found: Sequence[Piece]) -> list[list[Piece]]:
    """Return pieces in lines from the top, each from left to right."""
    lines: list[list[Piece]] = []
    for piece in sorted(found, key=lambda piece: piece.top + piece.bottom):
        if lines and _level(lines[-1][0], piece):
            lines[-1].append(piece)
        else:
            lines.append([piece])
    return [sorted(line, key=lambda piece: piece.left) for line in lines]


def _level(one: Piece, other: Piece) -> bool:
    """Say whether two pieces stand in one line."""
    shared = min(one.bottom, other.bottom) - max(one.top, other.top)
    return 2 * shared > min(one.bottom - one.top, other.bottom - other.top)


def _written(content: Ink, place: Rectangle) -> bool:
    """Say whether anything stands in a box but a caption."""
    return any(
        piece.height >= _CAPTION_HEIGHT * (place.bottom - place.top) for piece in pieces(content, place)
    )


def _caption(piece: Piece, box: Rectangle) -> bool:
    """Say whether print in a box is small and at its rim, as a caption is."""
    high = box.bottom - box.top
    at_rim = piece.top < box.top + _CAPTION * high or piece.bottom > box.bottom - _CAPTION * high
    return piece.height < _CAPTION_HEIGHT * high and at_rim


def whole_of(total: GridTotal) -> Edges:
    """Return a box of the totals, both halves together."""
    if total.pence is None:
        return total.box
    return Edges(total.box.left, total.box.top, total.pence.right, total.box.bottom)


def _spoken_of(label: Piece, places: Sequence[Rectangle], width: int) -> int | None:
    """Return which box a label speaks of: the next one right of it in its line, else one under it or left of it."""
    x, y = (label.left + label.right) / 2, (label.top + label.bottom) / 2
    best, near = None, float("inf")
    for k, box in enumerate(places):
        high = box.bottom - box.top
        # What starts under a box is over the next one: they may stand close.
        below = 0.25 * high if label.left < box.left - _RIM else 0.0
        if box.top - 0.25 * high <= y <= box.bottom + below and x < box.right:
            away = max(box.left - label.right, 0.0)
            if away > _LABEL_REACH * width:
                continue
        elif box.left - 0.2 * high <= x <= box.right + 0.2 * high and 0 <= box.top - y <= _LABEL_OVER * high:
            away = 0.5 * width + box.top - y
        elif box.top <= y <= box.bottom and 0 <= label.left - box.right <= _LABEL_AFTER * high:
            away = width + label.left - box.right
        else:
            continue
        if away < near:
            best, near = k, away
    return best
