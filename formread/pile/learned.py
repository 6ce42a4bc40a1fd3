"""Designs that the first slips of a pile agree on: the slips that follow are named by them, and cost less.

What is learned so must not be wrong on one slip and then on all: several sound slips must agree on every box and on
every role. It stays a guess among others, for in the end all slips of the pad settle their roles together
(``pool.py``), and each is trusted by its own looks.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeVar

from formread.layout.design import ACROSS_OFF, KNOWN, SlipDesign, fits, headed_alike, learn, roles_of
from formread.layout.heading_print import heading_print
from formread.layout.record import Layout, Trust
from formread.layout.together import agree, off_the_rest
from formread.pile.leaning import odd
from formread.pile.record import ReadSlip
from formread.pile.roles import kept_sheet, settle_roles

FIRST: Final = 9
"""Photos of a pile that are read before any design is learned: with fewer, a single poor one in three hinders it."""
AGREEING: Final = 3
"""Slips of a pad, their print read, that make its design."""
SURE: Final = 0.9
"""How probable the roles of a sound slip are, of its columns and of its totals, at least."""
MAJORITY: Final = 0.75
"""Share of the sound slips of a pad that must agree on its totals and on what is what: where a box of the totals is taken
for one on half of the slips, each must be looked at by itself."""

Roles = TypeVar("Roles", bound=tuple[str, ...])
Ways = tuple[tuple[Roles, float], ...]


@dataclass(frozen=True, slots=True)
class _Shown:
    """What one slip shows of its pad."""

    layout: Layout
    design: SlipDesign


def taught_by(place: int) -> int:
    """Return how many photos of a pile, from the first, teach the designs that the photo at a place is read with.

    Learned is after :data:`FIRST` photos, and each time that as many again were read: what is found in a photo depends
    on those before it alone, not on which was read sooner.
    """
    count = FIRST
    while 2 * count <= place:
        count *= 2
    return count if place >= FIRST else 0


def designs_of(read: Sequence[ReadSlip]) -> tuple[SlipDesign, ...]:
    """Return the designs of the pads on which enough slips agree.

    Parameters
    ----------
    read
        The slips read so far with their kept sheets, in the order of the pile.
    """
    shown = [one for slip in settle_roles(read) if (one := _shown(slip)) is not None]
    found = []
    for pad in _gathered(shown, _of_one_pad):
        form = max(_gathered(pad, _of_one_form), key=len)
        # Slips that were named by a design say where its boxes are, and nothing new of what they are.
        read_themselves = [one for one in form if not one.layout.known]
        if len(read_themselves) >= AGREEING and len(form) >= MAJORITY * len(pad):
            found.append(_together(read_themselves))
    return tuple(found)


def _gathered(shown: Sequence[_Shown], alike: Callable[[_Shown, _Shown], bool]) -> list[list[_Shown]]:
    """Gather slips that are like the first of their group."""
    groups: list[list[_Shown]] = []
    for one in shown:
        group = next((group for group in groups if alike(group[0], one)), None)
        if group is None:
            groups.append([one])
        else:
            group.append(one)
    return groups


def _of_one_pad(one: _Shown, other: _Shown) -> bool:
    """Say whether two slips have the same rows and the same print over them, whatever their totals."""
    return fits(one.design, other.layout, ACROSS_OFF) and headed_alike(one.design, other.design.heading)


def _of_one_form(one: _Shown, other: _Shown) -> bool:
    return agree(one.layout, other.layout) and roles_of(one.layout) == roles_of(other.layout)


def _shown(slip: ReadSlip) -> _Shown | None:
    """Return what a slip shows of its pad; None where anything about it is doubtful."""
    layout, image = slip.layout, kept_sheet(slip)
    if image is None or not layout.rows or odd(layout.trust):
        return None
    if min(layout.probability, layout.trust.totals) < SURE:
        return None
    return _Shown(layout, learn("", layout, heading_print(image, layout)))


def _together(form: Sequence[_Shown]) -> SlipDesign:
    """Return the design of the middlemost of several slips, with the print that most of them read."""
    layouts, designs = [one.layout for one in form], [one.design for one in form]
    off = off_the_rest(layouts)
    model = designs[off.index(min(off))]
    columns = tuple(
        replace(column, heading=_commonest([own.columns[k].heading for own in designs]))
        for k, column in enumerate(model.columns)
    )
    totals = tuple(
        replace(total, label=_commonest([own.totals[k].label for own in designs]))
        for k, total in enumerate(model.totals)
    )
    return replace(
        model,
        columns=columns,
        totals=totals,
        spare=tuple(dict.fromkeys(place for own in designs for place in own.spare)),
        number=next((own.number for own in [model, *designs] if own.number is not None), None),
        probability=_mean([layout.probability for layout in layouts]),
        trust=Trust(
            totals=_mean([layout.trust.totals for layout in layouts]),
            column_roles=_ways([layout.trust.column_roles for layout in layouts]),
            total_roles=_ways([layout.trust.total_roles for layout in layouts]),
        ),
    )


def _commonest(texts: Sequence[str]) -> str:
    return Counter(texts).most_common(1)[0][0]


def _mean(probabilities: Sequence[float]) -> float:
    """Return how sure several slips are together, and never surer than of a design that was taught."""
    return min(sum(probabilities) / len(probabilities), KNOWN)


def _ways(own: Sequence[Ways[Roles]]) -> Ways[Roles]:
    """Return every way of naming the boxes that a slip thought of, with its mean probability, most probable first."""
    shares: Counter[Roles] = Counter()
    for ways in own:
        for roles, probability in ways:
            shares[roles] += probability / len(own)  # type: ignore[assignment]
    return tuple(sorted(shares.items(), key=lambda way: (-way[1], way[0])))
