"""The piles: start one, rename, close, delete for good; how long they are kept."""

from datetime import date, timedelta

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from formread.errors import UsageError
from formread.web.desk import desk_of, go, page, pile_of
from formread.web.words import count

_LONGEST_NAME = 80
_LONGEST_KEEPING = 3650


def show(request: Request) -> Response:
    """The page that the desk opens with."""
    desk = desk_of(request)
    piles = [(pile, count(desk.piles.slips(pile.id))) for pile in desk.piles.store.piles()]
    keep = desk.piles.store.keep_days
    return page(
        request, "piles.html", piles=piles, today=date.today(), keep_days=keep, keep=timedelta(days=keep)
    )


async def start(request: Request) -> Response:
    """Start a pile."""
    desk = desk_of(request)
    async with request.form() as form:
        day = _day(str(form.get("day", "")))
        name = _name(str(form.get("name", ""))) or f"Delivery of {day.day} {day:%B}"
    return go(f"/pile/{desk.piles.store.add_pile(name, day, desk.currency)}")


def settings(request: Request) -> Response:
    """Name, date, closing and deleting of one pile."""
    pile, _ = pile_of(request)
    store = desk_of(request).piles.store
    photos = len(store.photos(pile.id))
    gone = None if pile.closed is None else pile.closed + timedelta(days=store.keep_days)
    return page(request, "pile_settings.html", pile=pile, photos=photos, gone=gone, keep_days=store.keep_days)


async def rename(request: Request) -> Response:
    """Give a pile another name and date."""
    pile, _ = pile_of(request)
    async with request.form() as form:
        name, day = _name(str(form.get("name", ""))) or pile.name, _day(str(form.get("day", "")))
    desk_of(request).piles.store.change_pile(pile.id, name, day)
    return go(f"/pile/{pile.id}")


def close(request: Request) -> Response:
    """Close a pile: its time of keeping begins."""
    pile, _ = pile_of(request)
    desk_of(request).piles.store.close_pile(pile.id, date.today())
    return go("/")


def reopen(request: Request) -> Response:
    """Open a closed pile again."""
    pile, _ = pile_of(request)
    desk_of(request).piles.store.close_pile(pile.id, None)
    return go(f"/pile/{pile.id}")


async def delete(request: Request) -> Response:
    """Delete a pile for good, once the box that says so is ticked."""
    pile, _ = pile_of(request)
    async with request.form() as form:
        sure = form.get("sure") == "yes"
    if not sure:
        raise UsageError("Tick the box first: a deleted pile can't be brought back.")
    desk = desk_of(request)
    desk.piles.store.delete_pile(pile.id)
    desk.piles.forget()
    return go("/")


async def keep(request: Request) -> Response:
    """Set how long closed piles are kept."""
    async with request.form() as form:
        days = str(form.get("days", ""))
    if not (days.isascii() and days.isdecimal() and 1 <= int(days[:6]) <= _LONGEST_KEEPING):
        raise UsageError(f"Give the days as a whole number from 1 to {_LONGEST_KEEPING}.")
    desk = desk_of(request)
    desk.piles.store.keep_days = int(days)
    desk.reader.wake()
    return go("/")


def _name(text: str) -> str:
    return " ".join(text.split())[:_LONGEST_NAME]


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise UsageError("Give the day of the delivery as year-month-day, for example 2026-05-14.") from None


ROUTES = [
    Route("/", show),
    Route("/piles", start, methods=["POST"]),
    Route("/settings/keep", keep, methods=["POST"]),
    Route("/pile/{number:int}/settings", settings),
    Route("/pile/{number:int}/rename", rename, methods=["POST"]),
    Route("/pile/{number:int}/close", close, methods=["POST"]),
    Route("/pile/{number:int}/reopen", reopen, methods=["POST"]),
    Route("/pile/{number:int}/delete", delete, methods=["POST"]),
]
