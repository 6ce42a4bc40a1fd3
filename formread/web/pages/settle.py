"""Settling doubts: one box at a time, shown large, asked without the reader's guess, compared only then.

People who are shown a value tend to agree with it; those who type what they see and are told of differences
make the fewest mistakes (Barchard, Freeman, Ochoa, Stephens, "Comparing the accuracy and speed of four
data-checking methods", Behavior Research Methods 52, 2020).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from formread.arithmetic import BoxRef
from formread.errors import UsageError
from formread.money import Currency
from formread.pile.kept import HAND, KeptSlip, Piles, box_key, box_ref, facts_of, place_of
from formread.pile.record import ReadSlip
from formread.pile.store import PileRow
from formread.record import DITTO, Reading, Value
from formread.web.desk import SWAP, address, desk_of, go, page, pile_of, slip_of
from formread.web.words import (
    MONEY_ROLES,
    PLAUSIBLE,
    box_title,
    count,
    needing_first,
    shown,
    typed,
    typed_money,
)

MOST_CHOICES = 6
"""Readings offered to somebody who asks for a choice."""


@dataclass(frozen=True, slots=True)
class Step:
    """What to ask next: a box of a slip, or (``ref`` None) the slip as a whole."""

    kept: KeptSlip
    read: ReadSlip
    ref: BoxRef | None


def next_step(
    piles: Piles, pile: int, skipped: frozenset[int] = frozenset(), first: int | None = None
) -> Step | None:
    """Find what to ask next in a pile; None when nothing is left.

    Parameters
    ----------
    skipped
        Slips that the person has put off.
    first
        The slip that comes first, if it still waits.
    """
    waiting = [kept for kept in needing_first(piles.slips(pile)) if kept.open]
    order = [kept for kept in waiting if kept.id == first and kept.id not in skipped]
    order += [kept for kept in waiting if kept.id not in skipped]
    for kept in order:
        read = piles.reading(kept.id)
        if read is not None:
            return Step(kept, read, _box(piles, kept, read))
    return None


def _box(piles: Piles, kept: KeptSlip, read: ReadSlip) -> BoxRef | None:
    known = facts_of(piles.store.answers_of(kept.id))
    for ref in kept.outcome.judgement.asks:
        if ref not in known and place_of(read.layout, ref) is not None:
            return ref
    return None


def reading_of(read: ReadSlip, ref: BoxRef) -> Reading | None:
    """What was read in a box; None where the design has no such box."""
    if ref.row is None:
        readings = [total.reading for total in read.readings.totals if total.kind == ref.role]
        return readings[ref.nth] if ref.nth < len(readings) else None
    line = next((line for line in read.readings.lines if line.row == ref.row), None)
    if line is None:
        return None
    match ref.role:
        case "code":
            return line.code
        case "quantity":
            return line.quantity
        case "unit_price":
            return line.unit_price
        case "line_total":
            return line.line_total
        case _:
            return None


def choices_of(reading: Reading, role: str, unit: Currency) -> list[tuple[str, str]]:
    """The likeliest readings as (what to send, what to show), in an order that does not tell the likeliest."""
    likely = [value for value, probability in reading.values[:MOST_CHOICES] if probability >= 1e-4]
    likely.sort(
        key=lambda value: (
            isinstance(value, str),
            str(value or "") if isinstance(value, str) else value or -1,
        )
    )
    return [(_sent(value, role, unit), shown(value, role, unit)) for value in likely]


def _sent(value: Value, role: str, unit: Currency) -> str:
    if value is None:
        return "-"
    return "d" if value == DITTO else shown(value, role, unit)


def show(request: Request) -> Response:
    """Ask the next question."""
    pile, unit = pile_of(request)
    return ask(request, pile, unit, request.query_params)


def ask(request: Request, pile: PileRow, unit: Currency, query: Mapping[str, str]) -> Response:
    """Ask the next question of a pile; `query` says what came of the answer before it."""
    desk = desk_of(request)
    skipped = frozenset(_numbers(query.get("skip", "")))
    first = next(iter(_numbers(query.get("slip", ""))), None)
    step = next_step(desk.piles, pile.id, skipped, first)
    slips = desk.piles.slips(pile.id)
    done = next((kept for kept in slips if str(kept.id) == query.get("done", "")), None)
    values: dict[str, Any] = {
        "pile": pile,
        "unit": unit,
        "counts": count(slips),
        "skip": sorted(skipped),
        "done": done,
        "heard": query.get("heard", "")[:60],
        "said": query.get("said", "")[:200],
        "undoable": desk.piles.store.last_answer(pile.id) is not None,
        "compare": None,
        "error": "",
        "text": "",
    }
    if step is None:
        return page(request, "settled.html", **values)
    if step.ref is None:
        return page(request, "settle_slip.html", kept=step.kept, read=step.read, **values)
    reading = reading_of(step.read, step.ref)
    place = place_of(step.read.layout, step.ref)
    return page(
        request,
        "settle.html",
        kept=step.kept,
        read=step.read,
        ref=step.ref,
        key=box_key(step.ref),
        place=place,
        title=box_title(step.ref),
        money_box=step.ref.role in MONEY_ROLES,
        likely=[sent for sent, _ in choices_of(reading, step.ref.role, unit)] if reading else [],
        choices=choices_of(reading, step.ref.role, unit) if reading and query.get("choices") else [],
        **values,
    )


async def answer(request: Request) -> Response:
    """Take an answer; where it is not what was read, ask once more, both values side by side."""
    desk = desk_of(request)
    pile, unit, kept = slip_of(request)
    async with request.form() as form:
        box, text = str(form.get("box", "")), str(form.get("value", ""))[:60]
        sure, skip = form.get("sure") == "yes", str(form.get("skip", ""))[:2000]
    skip = ",".join(str(number) for number in _numbers(skip))
    back = f"/pile/{pile.id}/settle"
    if box == HAND:
        _answer(desk.piles, kept.id, HAND, _by_hand(text, unit))
        desk.reader.refresh(pile.id)
        return go(back, done=kept.id, skip=skip)
    ref = box_ref(box)
    read = desk.piles.reading(kept.id)
    reading = None if ref is None or read is None else reading_of(read, ref)
    asked_for = ref is not None and read is not None and place_of(read.layout, ref) is not None
    if ref is None or (reading is None and not (asked_for and ref.role == "struck_out")):
        raise UsageError("This slip has no such box. Go back and try again.")
    if not text.strip():
        return go(back, slip=kept.id, skip=skip)
    try:
        value = typed(text, ref.role, unit)
    except UsageError as error:
        return go(back, slip=kept.id, skip=skip, said=str(error))
    if reading is not None and not sure and reading.probability_of(value) < PLAUSIBLE:
        seen = reading.values[0][0] if reading.values else None
        return page(
            request,
            "compare.html",
            pile=pile,
            unit=unit,
            kept=kept,
            key=box,
            title=box_title(ref),
            place=None if read is None else place_of(read.layout, ref),
            skip=skip,
            mine=shown(value, ref.role, unit),
            mine_sent=_sent(value, ref.role, unit),
            theirs=shown(seen, ref.role, unit),
            theirs_sent=_sent(seen, ref.role, unit),
        )
    _answer(desk.piles, kept.id, box, value)
    desk.reader.refresh(pile.id)
    told = {"slip": kept.id, "done": kept.id, "heard": shown(value, ref.role, unit), "skip": skip}
    if SWAP not in request.headers:
        return go(back, **told)
    # The desk's own script takes the next question at once, without being sent to fetch it.
    following = ask(request, pile, unit, {name: str(each) for name, each in told.items()})
    following.headers[SWAP] = address(back, **told)
    return following


def _answer(piles: Piles, slip: int, box: str, value: Any) -> None:
    try:
        piles.answer(slip, box, value)
    except ValueError as error:
        raise UsageError("That can't stand in this box. Go back and type it again.") from error


def _by_hand(text: str, unit: Currency) -> dict[str, Any]:
    if text in {"agrees", "seen"}:
        return {"verdict": text}
    return {"right_total": typed_money(text, unit)}


def _numbers(text: str) -> list[int]:
    return [int(part) for part in text.split(",") if part.isascii() and part.isdecimal() and len(part) < 16]


ROUTES = [
    Route("/pile/{number:int}/settle", show),
    Route("/slip/{number:int}/settle", answer, methods=["POST"]),
]
