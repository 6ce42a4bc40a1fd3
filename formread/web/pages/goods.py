"""Goods: the price list and the order, the delivery note ticked off, who gets what, the packing list."""

from typing import cast, get_args

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from formread.errors import UsageError
from formread.goods.plan import Goods
from formread.web.brought import ListKind
from formread.web.desk import desk_of, go, page, pile_of
from formread.web.pages.photos import clean_name, file_bytes
from formread.web.words import amount_or_none

_PAGE_OF = {"prices": "order", "note": "delivery", "customers": "round"}
_MOST_AT_ONCE = 20
_LONGEST_CODE = 40
_MOST_PIECES = 99_999


def order(request: Request) -> Response:
    """What to order, and what the price list has against the slips."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    goods = desk.evenings.goods(pile)
    return page(
        request,
        "order.html",
        pile=pile,
        unit=unit,
        step="order",
        goods=goods,
        lists=desk.piles.store.lists(pile.id, "prices"),
        ids=[kept.id for kept in desk.piles.slips(pile.id)],
        terms=desk.piles.store.said(pile.id).get("terms", {}),
        unsure=[account for account in goods.order.accounts if account.unsure],
        said=request.query_params.get("said", "")[:200],
    )


async def bring(request: Request) -> Response:
    """Take lists that were sent: prices, pages of a delivery note, customers."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    async with request.form(max_files=_MOST_AT_ONCE, max_fields=10) as form:
        kind = str(form.get("kind", ""))
        if kind not in get_args(ListKind):
            raise UsageError("Choose on its page what kind of list this is.")
        files = [file for file in form.getlist("files") if isinstance(file, UploadFile) and file.filename]
        if not files:
            raise UsageError("Choose the file first.")
        for file in files:
            data, name = await file_bytes(file), clean_name(file.filename or "")
            await run_in_threadpool(
                desk.evenings.brought.add, pile.id, cast(ListKind, kind), name, data, pile.currency
            )
    if kind == "prices":
        desk.reader.refresh(pile.id, every=True)
    return go(f"/pile/{pile.id}/{_PAGE_OF[kind]}")


def remove(request: Request) -> Response:
    """Take a list out for good."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    at = min(int(request.path_params["at"]), 2**62)
    for kind, name in _PAGE_OF.items():
        if any(row.id == at for row in desk.piles.store.lists(pile.id, kind)):
            desk.piles.store.delete_list(pile.id, at)
            if kind == "prices":
                desk.reader.refresh(pile.id, every=True)
            return go(f"/pile/{pile.id}/{name}")
    return go(f"/pile/{pile.id}/order")


def picture(request: Request) -> Response:
    """A page of the delivery note, as it was photographed."""
    pile, _ = pile_of(request)
    path = desk_of(request).piles.store.list_path(pile.id, min(int(request.path_params["at"]), 2**62))
    if path is None or not path.is_file():
        raise HTTPException(404, "There is no such picture.")
    with path.open("rb") as file:
        start = file.read(4)
    kind = {b"\xff\xd8\xff": "image/jpeg", b"\x89PN": "image/png", b"%PD": "application/pdf"}.get(start[:3])
    if kind is None:
        return FileResponse(path, media_type="application/octet-stream", filename="page")
    return FileResponse(path, media_type=kind)


async def terms(request: Request) -> Response:
    """Keep what the seller asks for delivery; the slips are held against it."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    async with request.form() as form:
        said = {
            name: amount_or_none(str(form.get(name, "")), unit, words)
            for name, words in (("delivery", "delivery"), ("free_from", "the sum from which it is free"))
        }
    desk.piles.store.say(
        pile.id, "terms", said if any(value is not None for value in said.values()) else None
    )
    desk.reader.refresh(pile.id, every=True)
    return go(f"/pile/{pile.id}/order", said="Kept. The slips are judged by it now.")


def delivery(request: Request) -> Response:
    """What came against what was ordered; who waits for what is short."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    goods = desk.evenings.goods(pile)
    store = desk.piles.store
    off = [one for one in goods.ticked if one.short or one.over or one.doubtful or one.came_as or one.perhaps]
    said = store.said(pile.id)
    return page(
        request,
        "delivery.html",
        pile=pile,
        unit=unit,
        step="delivery",
        goods=goods,
        lists=[(row, store.list_path(pile.id, row.id) is not None) for row in store.lists(pile.id, "note")],
        off=off,
        even=[one for one in goods.ticked if one not in off],
        doubtful=[line for line in goods.note.lines if line.doubtful],
        waiting=_waiting(goods),
        ids=[kept.id for kept in desk.piles.slips(pile.id)],
        first=set(said.get("first", [])),
        substitutes=bool(said.get("substitutes")),
        replaced=any(line.instead_of or line.came_as for line in goods.note.lines),
    )


def _waiting(goods: Goods) -> list[tuple[int, str, list[str], int]]:
    """Slips that don't get all: (place, name, what is to come, minor units that wait)."""
    found = []
    for bill in sorted(goods.bills, key=lambda bill: goods.sequence.index(bill.slip)):
        short = [
            f"{line.short} of {line.quantity} {line.description or line.code or 'pieces'}"
            for line in bill.lines
            if line.short
        ]
        if short:
            found.append((bill.slip, bill.name, short, bill.short_amount))
    return found


async def mend_line(request: Request) -> Response:
    """Put what a person reads on the delivery note in the place of what formread read."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    async with request.form() as form:
        where, code = str(form.get("where", ""))[:300], str(form.get("code", "")).strip()[:_LONGEST_CODE]
        pieces = str(form.get("quantity", "")).strip()
    if not (pieces.isascii() and pieces.isdecimal() and int(pieces[:9]) <= _MOST_PIECES):
        raise UsageError("Type the quantity in digits, for example 3, or 0 for what did not come.")
    if where not in {line.where for line in desk.evenings.goods(pile).note.lines}:
        raise UsageError("The delivery note has no such line any more. Go back and look again.")
    lines = desk.piles.store.said(pile.id).get("lines", {})
    desk.piles.store.say(pile.id, "lines", {**lines, where: [code, int(pieces)]})
    return go(f"/pile/{pile.id}/delivery")


async def serve_first(request: Request) -> Response:
    """Serve a slip before all others, or no longer."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    async with request.form() as form:
        slip = str(form.get("slip", ""))
    known = {str(kept.id) for kept in desk.piles.slips(pile.id)}
    first = [at for at in desk.piles.store.said(pile.id).get("first", []) if str(at) in known]
    if slip in known:
        first = [at for at in first if str(at) != slip] if int(slip) in first else [*first, int(slip)]
    desk.piles.store.say(pile.id, "first", first)
    return go(f"/pile/{pile.id}/delivery")


async def substitutes(request: Request) -> Response:
    """Hand out what the note names as a substitute, or not."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    async with request.form() as form:
        accept = form.get("accept") == "yes"
    desk.piles.store.say(pile.id, "substitutes", accept or None)
    return go(f"/pile/{pile.id}/delivery")


def packing(request: Request) -> Response:
    """What goes into each bag, in the order of the round where it is known."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    evening = desk.evenings.evening(pile)
    drop_of = {slip: drop for drop in evening.plan.drops for slip in drop.slips}
    bags = sorted(evening.goods.packed, key=lambda bag: (drop_of[bag.bill.slip].number, bag.bill.slip))
    boxes = {one.key: ", ".join(one.boxes) for one in evening.goods.ticked}
    return page(
        request,
        "packing.html",
        pile=pile,
        unit=unit,
        step="packing",
        bags=bags,
        drop_of=drop_of,
        boxes=boxes,
        ids=[kept.id for kept in desk.piles.slips(pile.id)],
    )


ROUTES = [
    Route("/pile/{number:int}/order", order),
    Route("/pile/{number:int}/lists", bring, methods=["POST"]),
    Route("/pile/{number:int}/lists/{at:int}/delete", remove, methods=["POST"]),
    Route("/pile/{number:int}/lists/{at:int}/picture", picture),
    Route("/pile/{number:int}/terms", terms, methods=["POST"]),
    Route("/pile/{number:int}/delivery", delivery),
    Route("/pile/{number:int}/delivery/line", mend_line, methods=["POST"]),
    Route("/pile/{number:int}/delivery/first", serve_first, methods=["POST"]),
    Route("/pile/{number:int}/delivery/substitutes", substitutes, methods=["POST"]),
    Route("/pile/{number:int}/packing", packing),
]
