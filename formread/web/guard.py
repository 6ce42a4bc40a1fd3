"""Who may ask the desk for something, how much they may send, and what a browser may do with the answer.

The desk answers requests that name it by its own address only (a strange ``Host`` is another site's name pointed
at this computer), and changes something only when its own page asks (``Origin``, Fetch Metadata: OWASP
Cross-Site Request Forgery Prevention Cheat Sheet; W3C Fetch Metadata). A phone needs a session besides.
"""

from collections.abc import Callable
from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from formread.web.pairing import COOKIE, Pairing

LARGEST_FILE: Final = 60 * 2**20
"""Bytes of one photo; the largest phones' raw photos stay below."""
LARGEST_REQUEST: Final = 600 * 2**20
LARGEST_FORM: Final = 64 * 2**10
TOO_MUCH: Final = "That is more than the desk takes at once. Send fewer photos at a time."
MOST_FILES: Final = 300
"""Photos sent at once."""
MOST_PHOTOS: Final = 2000
"""Photos in one pile."""

_HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # with less, browsers hide the Origin of our own pages too
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
_OPEN_TO_STRANGERS: Final = ("/pair", "/static/")
_COMPUTER_ONLY: Final = ("/phone", "/settings", "/people", "/piles")
_COMPUTER_ONLY_ENDS: Final = ("/delete", "/keep", "/close", "/reopen", "/rename", "/replace")


class Guard:
    """Wraps the desk's application for one door: the computer's own, or the phone's.

    Parameters
    ----------
    hosts
        Gives the values of ``Host`` under which this door is known just now.
    pairing
        For the phone's door; None for the computer's own.
    """

    def __init__(self, app: ASGIApp, hosts: Callable[[], set[str]], pairing: Pairing | None = None) -> None:
        self.app = app
        self.hosts = hosts
        self.pairing = pairing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse, one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        scope["formread.phone"] = self.pairing is not None
        refusal = self._refusal(Request(scope))
        if refusal is not None:
            await refusal(scope, receive, _with_headers(scope, send))
            return
        limited = _Limited(receive, _limit(scope))
        await self.app(scope, limited, _with_headers(scope, send))

    def _refusal(self, request: Request) -> Response | None:
        if request.headers.get("host", "") not in self.hosts():
            return PlainTextResponse(
                "The desk does not answer under this name. Open the address that formread printed.", 421
            )
        if request.method not in {"GET", "HEAD", "POST"}:
            return PlainTextResponse("The desk does not know how to do that.", 405)
        if request.method == "POST" and not _own_page(request):
            return PlainTextResponse("Only the desk's own pages may change something.", 403)
        length = request.headers.get("content-length", "0")
        if not (length.isascii() and length.isdecimal()) or int(length) > _limit(request.scope):
            return PlainTextResponse(TOO_MUCH, 413)
        return None if self.pairing is None else self._stranger(request, self.pairing)

    def _stranger(self, request: Request, pairing: Pairing) -> Response | None:
        path = request.url.path
        if path.startswith(_OPEN_TO_STRANGERS):
            return None
        if not pairing.knows(request.cookies.get(COOKIE, "")):
            return RedirectResponse("/pair", 303) if request.method == "GET" else PlainTextResponse("", 403)
        if path.startswith(_COMPUTER_ONLY) or path.endswith(_COMPUTER_ONLY_ENDS):
            return PlainTextResponse("That is done on the computer, not on the phone.", 403)
        return None


def _own_page(request: Request) -> bool:
    """Whether a page of this very door asks: by ``Origin``, which every browser sends with a POST."""
    origin = request.headers.get("origin")
    site = request.headers.get("sec-fetch-site")
    if site is not None and site != "same-origin":
        return False
    return origin == f"{request.url.scheme}://{request.headers['host']}"


def _limit(scope: Scope) -> int:
    if scope["path"].endswith(("/photos", "/replace", "/lists")):
        return LARGEST_REQUEST
    return LARGEST_FORM


class _Limited:
    """Counts what is received: a request without a length is no way round the limit."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive = receive
        self._left = limit

    async def __call__(self) -> Message:
        message = await self._receive()
        self._left -= len(message.get("body", b""))
        if self._left < 0:
            raise HTTPException(413, TOO_MUCH)
        return message


def _with_headers(scope: Scope, send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
            if not scope["path"].startswith("/static/") and "cache-control" not in headers:
                headers["Cache-Control"] = "no-store"
        await send(message)

    return sending
