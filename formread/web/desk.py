"""What every page shares: the piles, the reader in the background, the phone's door, and how pages are made."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast
from urllib.parse import urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from formread.money import Currency, currency, format_money, format_plain
from formread.pile.kept import KeptSlip, Piles
from formread.pile.store import PhotoRow, PileRow
from formread.web import words
from formread.web.evening import Evenings
from formread.web.pairing import Pairing
from formread.web.phone_door import PhoneDoor
from formread.web.work import Reader

SWAP = "X-Address"
"""Asked by the desk's script: give the next page at once, and its address under this name."""


@dataclass
class Desk:
    """The open desk.

    Attributes
    ----------
    door
        Opens and closes the phone's door.
    currency
        The currency of new piles.
    """

    piles: Piles
    evenings: Evenings
    reader: Reader
    pairing: Pairing
    door: PhoneDoor
    currency: str
    environment: Environment = field(init=False)

    def __post_init__(self) -> None:
        self.environment = Environment(
            loader=PackageLoader("formread.web"),
            autoescape=select_autoescape(default=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )
        self.environment.globals.update(
            loss=words.loss, slip_name=words.slip_name, money=format_money, plain=format_plain
        )


def desk_of(request: Request) -> Desk:
    """The desk behind a request."""
    return cast(Desk, request.app.state.desk)


def on_phone(request: Request) -> bool:
    """Whether the request came through the phone's door."""
    return bool(request.scope.get("formread.phone"))


def page(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """Make a page from its template."""
    made = desk_of(request).environment.get_template(template)
    text = made.render(request=request, phone=on_phone(request), path=request.url.path, **values)
    return HTMLResponse(text, status)


def address(path: str, **query: object) -> str:
    """A page's address with what is said there."""
    told = {name: value for name, value in query.items() if value not in (None, "", ())}
    return f"{path}?{urlencode(told)}" if told else path


def go(path: str, **query: object) -> Response:
    """Send the browser to another page after something was done."""
    return RedirectResponse(address(path, **query), 303)


def pile_of(request: Request) -> tuple[PileRow, Currency]:
    """The pile that the address names, and its currency; answers 404 where there is none."""
    pile = desk_of(request).piles.store.pile(_number(request.path_params))
    if pile is None:
        raise HTTPException(404, "There is no such pile. It may have been deleted.")
    return pile, currency(pile.currency)


def slip_of(request: Request) -> tuple[PileRow, Currency, KeptSlip]:
    """The slip that the address names, with its pile; answers 404 where there is none."""
    desk = desk_of(request)
    row = desk.piles.store.slip(_number(request.path_params))
    kept = None if row is None else desk.piles.slip(row.id)
    pile = None if row is None else desk.piles.store.pile(row.pile)
    if kept is None or pile is None:
        raise HTTPException(404, "There is no such slip. Its photo may have been deleted or taken again.")
    return pile, currency(pile.currency), kept


def photo_of(request: Request) -> PhotoRow:
    """The photo that the address names; answers 404 where there is none."""
    photo = desk_of(request).piles.store.photo(_number(request.path_params))
    if photo is None:
        raise HTTPException(404, "There is no such photo. It may have been deleted.")
    return photo


def _number(parameters: Mapping[str, Any]) -> int:
    return min(int(parameters["number"]), 2**62)


STATIC = Path(__file__).parent / "static"
