"""The desk's pages, put together: one module for each topic, each with its own routes."""

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from formread.errors import FormreadError
from formread.web.desk import STATIC, Desk, page
from formread.web.pages import goods, out, people, phone, photos, pile, piles, settle, slip
from formread.web.pages import round as round_pages

_PAGES = (piles, pile, photos, settle, slip, people, goods, round_pages, out, phone)


def make_app(desk: Desk) -> Starlette:
    """Make the application; a :class:`formread.web.guard.Guard` stands before each of its doors."""
    app = Starlette(
        routes=[
            *(route for module in _PAGES for route in module.ROUTES),
            Mount("/static", StaticFiles(directory=STATIC)),
        ],
        exception_handlers={HTTPException: _not_there, FormreadError: _refused, Exception: _stumbled},
    )
    app.state.desk = desk
    return app


async def _not_there(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    said = (
        error.detail if isinstance(error, HTTPException) and " " in error.detail else "There is nothing here."
    )
    return page(request, "sorry.html", status, said=said)


async def _refused(request: Request, error: Exception) -> Response:
    return page(request, "sorry.html", 400, said=str(error))


async def _stumbled(request: Request, error: Exception) -> Response:
    said = (
        f"formread stumbled ({type(error).__name__}). Nothing that the pages said they had is lost: "
        "go back and try again."
    )
    return page(request, "sorry.html", 500, said=said)
