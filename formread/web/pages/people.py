"""Who ordered: the customer's block is shown, the name typed once and offered again with the next pile."""

import cv2
import numpy as np
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from formread.errors import UsageError
from formread.pile.kept import CUSTOMER, Piles
from formread.pile.names import likely_people
from formread.pile.store import Person
from formread.web.desk import desk_of, go, page, pile_of, slip_of

MOST_OFFERED = 3
_LONGEST = 120


def names(request: Request) -> Response:
    """Ask for the name on the next slip that has none."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    skipped = {part for part in request.query_params.get("skip", "").split(",") if part.isdecimal()}
    slips = desk.piles.slips(pile.id)
    nameless = [kept for kept in slips if not kept.slip.customer and kept.slip.lines]
    kept = next((kept for kept in nameless if str(kept.id) not in skipped), None)
    if kept is None:
        return page(request, "named.html", pile=pile, unit=unit, nameless=len(nameless))
    read = desk.piles.reading(kept.id)
    return page(
        request,
        "names.html",
        pile=pile,
        unit=unit,
        kept=kept,
        place=read.layout.customer if read else None,
        left=len(nameless),
        skip=",".join(sorted(skipped)),
        people=desk.piles.store.people(),
    )


def candidates(request: Request) -> Response:
    """The names that the handwriting looks like: asked for by the page once it shows, for reading takes a while."""
    desk = desk_of(request)
    _, _, kept = slip_of(request)
    found = offered(desk.piles, kept.id, desk.piles.store.people())
    back, skip = request.query_params.get("back", ""), request.query_params.get("skip", "")[:2000]
    return page(request, "offered.html", kept=kept, offered=found, back=back, skip=skip)


def offered(piles: Piles, slip: int, known: list[Person]) -> list[Person]:
    """The remembered customers whose name the handwriting looks like most, the likeliest first."""
    read = piles.reading(slip)
    path = piles.store.picture_path(slip, small=False)
    if not known or read is None or read.layout.customer is None or path is None:
        return []
    image = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)
    if image is None:
        return []
    found = likely_people(
        np.asarray(image[..., ::-1], np.uint8), read.layout.customer, [p.name for p in known]
    )
    by_name = {person.name: person for person in known}
    return [by_name[name] for name in found[:MOST_OFFERED]]


async def name(request: Request) -> Response:
    """Keep a customer's name and address for this slip, and for the next pile."""
    desk = desk_of(request)
    pile, _, kept = slip_of(request)
    async with request.form() as form:
        given = " ".join(str(form.get("name", "")).split())[:_LONGEST]
        address = " ".join(str(form.get("address", "")).split())[:_LONGEST]
        chosen, back = str(form.get("person", "")), str(form.get("back", ""))
        skip = str(form.get("skip", ""))[:2000]
    for person in desk.piles.store.people():
        if str(person.id) == chosen:
            given, address = person.name, person.address
        elif given == person.name and not address:
            address = person.address
    if not given:
        raise UsageError("Type the name first.")
    desk.piles.answer(kept.id, CUSTOMER, {"name": given, "address": address})
    desk.piles.store.remember(given, address)
    return go(f"/pile/{pile.id}/names", skip=skip) if back == "names" else go(f"/slip/{kept.id}")


def remembered(request: Request) -> Response:
    """The customers who are remembered."""
    return page(request, "people.html", people=desk_of(request).piles.store.people())


def forget(request: Request) -> Response:
    """Forget a customer for good."""
    desk_of(request).piles.store.forget(min(int(request.path_params["number"]), 2**62))
    return go("/people")


ROUTES = [
    Route("/pile/{number:int}/names", names),
    Route("/slip/{number:int}/name", name, methods=["POST"]),
    Route("/slip/{number:int}/candidates", candidates),
    Route("/people", remembered),
    Route("/people/{number:int}/forget", forget, methods=["POST"]),
]
