"""One slip: its picture beside its lines, every number open to correction."""

import io
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from formread.arithmetic import BoxRef
from formread.errors import UsageError
from formread.layout.record import Rectangle
from formread.money import Currency
from formread.pile.kept import HAND, NUMBER, KeptSlip, Piles, box_key, box_ref, facts_of, place_of
from formread.pile.record import ReadSlip
from formread.slips import Line
from formread.web.desk import desk_of, go, page, slip_of
from formread.web.pages.settle import reading_of
from formread.web.words import FIELDS, box_title, needing_first, shown, typed, typed_money

_AROUND = 0.9  # heights of a box shown above and below it: enough to see where it stands
_BESIDE = 1.2
_CLOSE = 0.35
_QUALITY = 90
_TALL = 260  # pixels that a box's picture is enlarged to at least


@dataclass(frozen=True, slots=True)
class Cell:
    """One number of the ledger: what the reader or a person says, and where it stands."""

    key: str
    role: str
    title: str
    text: str
    said: bool
    place: Rectangle | None


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """One line: what is written, and what it comes to."""

    row: int
    struck_out: bool
    cells: tuple[Cell, ...]
    description: str | None
    right: int | None
    fault: bool


def show(request: Request) -> Response:
    """The slip with its ledger."""
    desk = desk_of(request)
    pile, unit, kept = slip_of(request)
    read = desk.piles.reading(kept.id)
    if read is None:
        raise HTTPException(404, "There is no such slip. Its photo may have been deleted or taken again.")
    order = [one.id for one in needing_first(desk.piles.slips(pile.id))]
    at = order.index(kept.id) if kept.id in order else 0
    editing = request.query_params.get("edit", "")
    ref = box_ref(editing)
    width, height = _size(desk.piles, kept.id)
    lines, empty = ledger(desk.piles, kept, read, unit)
    totals = total_cells(desk.piles, kept, read, unit)
    cells = [cell for line in (*lines, *empty) for cell in line.cells] + totals
    return page(
        request,
        "slip.html",
        pile=pile,
        unit=unit,
        kept=kept,
        slip=kept.slip,
        lines=lines,
        empty=empty,
        totals=totals,
        boxes=[cell for cell in cells if cell.place is not None],
        roles=[role for role in ("code", "quantity", "unit_price", "line_total") if _has(read, role)],
        fields=FIELDS,
        width=width,
        height=height,
        editing=editing,
        edit_title=box_title(ref) if ref else "",
        edit_place=place_of(read.layout, ref) if ref else None,
        before=order[at - 1] if at > 0 else None,
        after=order[at + 1] if at + 1 < len(order) else None,
        at=at + 1,
        of=len(order),
        said=request.query_params.get("said", "")[:200],
        undoable=desk.piles.store.last_answer(pile.id) is not None,
        customer_place=read.layout.customer,
        people=desk.piles.store.people(),
        serial_place=read.layout.serial,
    )


def ledger(
    piles: Piles, kept: KeptSlip, read: ReadSlip, unit: Currency
) -> tuple[list[LedgerLine], list[LedgerLine]]:
    """The lines with something on them, and the empty rows."""
    facts = facts_of(piles.store.answers_of(kept.id))
    written = {line.row: line for line in kept.slip.lines}
    right = dict(kept.slip.right_line_totals)
    full: list[LedgerLine] = []
    empty: list[LedgerLine] = []
    for readings in read.readings.lines:
        line = written.get(readings.row)
        cells = []
        for role in ("code", "quantity", "unit_price", "line_total"):
            ref = BoxRef(role, readings.row)
            if reading_of(read, ref) is None:
                continue
            value = None if line is None else getattr(line, role)
            text = "" if value is None else shown(value, role, unit)
            cells.append(_cell(ref, role, text, ref in facts, read))
        comes = right.get(readings.row)
        (empty if line is None else full).append(
            LedgerLine(
                readings.row,
                line is not None and line.struck_out,
                tuple(cells),
                None if line is None else line.description,
                comes,
                _fault(line, comes),
            )
        )
    return full, empty


def _fault(line: Line | None, right: int | None) -> bool:
    return line is not None and None not in (line.line_total, right) and line.line_total != right


def total_cells(piles: Piles, kept: KeptSlip, read: ReadSlip, unit: Currency) -> list[Cell]:
    """The boxes of the totals block in the order in which they stand."""
    facts = facts_of(piles.store.answers_of(kept.id))
    met: dict[str, int] = {}
    cells = []
    for total in read.readings.totals:
        nth = met.get(total.kind, 0)
        met[total.kind] = nth + 1
        ref = BoxRef(total.kind, nth=nth)
        value = facts.get(ref, total.reading.values[0][0] if total.reading.values else None)
        if total.kind == "total" and nth == 0:
            value = kept.slip.written_total
        text = "" if value is None else shown(value, total.kind, unit)
        cells.append(_cell(ref, total.kind, text, ref in facts, read))
    return cells


def _cell(ref: BoxRef, role: str, text: str, said: bool, read: ReadSlip) -> Cell:
    return Cell(box_key(ref), role, box_title(ref), text, said, place_of(read.layout, ref))


def _has(read: ReadSlip, role: str) -> bool:
    return any(getattr(line, role) is not None for line in read.readings.lines)


async def correct(request: Request) -> Response:
    """Put what a person says in the place of what was read."""
    desk = desk_of(request)
    pile, unit, kept = slip_of(request)
    async with request.form() as form:
        box, text = str(form.get("box", "")), str(form.get("value", ""))[:60]
    ref = box_ref(box)
    value: Any
    if box == HAND:
        value = {"verdict": text} if text in {"agrees", "seen"} else {"right_total": typed_money(text, unit)}
    elif box == NUMBER:
        value = " ".join(text.split())[:30]
    elif ref is not None:
        value = typed(text or "-", ref.role, unit)
    else:
        raise UsageError("This slip has no such box. Go back and try again.")
    try:
        desk.piles.answer(kept.id, box, value)
    except ValueError as error:
        raise UsageError("That can't stand in this box. Go back and type it again.") from error
    desk.reader.refresh(pile.id)
    return go(f"/slip/{kept.id}")


def picture(request: Request) -> Response:
    """The flattened slip."""
    return _file(request, small=False)


def small(request: Request) -> Response:
    """The flattened slip, small."""
    return _file(request, small=True)


def box_picture(request: Request) -> Response:
    """One box, enlarged, with what stands around it."""
    desk = desk_of(request)
    _, _, kept = slip_of(request)
    read = desk.piles.reading(kept.id)
    key = request.path_params["key"]
    ref = box_ref(key)
    place = None
    if read is not None:
        named = {"customer": read.layout.customer, "serial": read.layout.serial}
        place = named.get(key) or (place_of(read.layout, ref) if ref else None)
    path = desk.piles.store.picture_path(kept.id, small=False)
    image = None if path is None else cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)
    if place is None or image is None:
        raise HTTPException(404, "This slip has no such box.")
    high = place.bottom - place.top
    near = key in {"customer", "serial"} or "near" in request.query_params
    around, beside = (_CLOSE / 3, _CLOSE / 3) if near else (_AROUND, _BESIDE)
    top, bottom = max(0, round(place.top - around * high)), round(place.bottom + around * high)
    left, right = max(0, round(place.left - beside * high)), round(place.right + beside * high)
    part = image[top:bottom, left:right]
    if not near:
        # Outside the box the picture is paler, so that the eye finds the box without a line over the ink.
        pale = np.asarray(part * 0.45 + 255 * 0.55, np.uint8)
        y0, x0 = max(place.top - top, 0), max(place.left - left, 0)
        y1, x1 = place.bottom - top, place.right - left
        grow = round(0.12 * high)
        y0, y1 = max(0, y0 - grow), y1 + grow
        pale[y0:y1, x0:x1] = part[y0:y1, x0:x1]
        part = pale
    scale = max(1.0, _TALL / part.shape[0])
    part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    _, data = cv2.imencode(".jpg", part, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return Response(io.BytesIO(data.tobytes()).getvalue(), media_type="image/jpeg", headers=_CACHE)


_CACHE = {"Cache-Control": "private, max-age=3600"}


def _file(request: Request, *, small: bool) -> Response:
    _, _, kept = slip_of(request)
    path = desk_of(request).piles.store.picture_path(kept.id, small=small)
    if path is None or not path.is_file():
        raise HTTPException(404, "The picture of this slip is gone.")
    return FileResponse(path, media_type="image/jpeg", headers=_CACHE)


def _size(piles: Piles, slip: int) -> tuple[int, int]:
    """Width and height of the flattened picture, from its head alone."""
    from PIL import Image

    path = piles.store.picture_path(slip, small=False)
    if path is None or not path.is_file():
        return 1, 1
    with Image.open(path) as image:
        return image.size


ROUTES = [
    Route("/slip/{number:int}", show),
    Route("/slip/{number:int}/correct", correct, methods=["POST"]),
    Route("/slip/{number:int}/picture.jpg", picture),
    Route("/slip/{number:int}/small.jpg", small),
    Route("/slip/{number:int}/box/{key}.jpg", box_picture),
]
