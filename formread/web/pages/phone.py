"""Inviting the phone: a code to point its camera at, and the phone's side of the handshake."""

import segno
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from formread.errors import UsageError
from formread.web.desk import desk_of, go, on_phone, page
from formread.web.pairing import COOKIE, VALID_SECONDS


def show(request: Request) -> Response:
    """Whether phones are invited."""
    desk = desk_of(request)
    return page(
        request, "phone.html", address=desk.door.address, phones=desk.pairing.phones, link="", code=""
    )


async def invite(request: Request) -> Response:
    """Open the phone's door and show the code. The secret stands on this one page only."""
    desk = desk_of(request)
    address = await desk.door.open()
    # After the #, so that no browser sends it along, and no history of requests holds it.
    link = f"http://{address}/pair#{desk.pairing.invite()}"
    drawn = segno.make(link, error="m", micro=False).svg_inline(
        scale=6,
        border=4,
        dark="#000",
        light="#fff",
        title="Code for the phone",
        svgclass="code",
        lineclass=None,
    )
    return page(
        request,
        "phone.html",
        address=address,
        phones=desk.pairing.phones,
        link=link,
        code=Markup(drawn),
        minutes=VALID_SECONDS // 60,
    )


async def stop(request: Request) -> Response:
    """Close the phone's door."""
    await desk_of(request).door.close()
    return go("/phone")


def pair(request: Request) -> Response:
    """The phone's first page; its script sends the secret from the address on."""
    return page(request, "pair.html", refused=False)


async def accept(request: Request) -> Response:
    """Take the phone in if its secret is right."""
    desk = desk_of(request)
    if not on_phone(request):
        raise UsageError(
            "This page is for the phone. Point the phone's camera at the code on the desk's page."
        )
    async with request.form() as form:
        secret = str(form.get("secret", ""))
    session = desk.pairing.accept(secret)
    if session is None:
        return page(request, "pair.html", 403, refused=True)
    piles = [pile for pile in desk.piles.store.piles() if pile.closed is None]
    response = go(f"/pile/{piles[0].id}/camera" if len(piles) == 1 else "/")
    response.set_cookie(COOKIE, session, httponly=True, samesite="strict", path="/")
    return response


ROUTES = [
    Route("/phone", show),
    Route("/phone/invite", invite, methods=["POST"]),
    Route("/phone/stop", stop, methods=["POST"]),
    Route("/pair", pair),
    Route("/pair", accept, methods=["POST"]),
]
