"""Out: the spreadsheet and the other files, the notes for the customers, the printed list of wrong totals."""

import io
import re
import zipfile
from collections.abc import Callable
from dataclasses import replace

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from formread.export.csv_files import csv_files
from formread.export.evening_files import EVENING_FILES
from formread.export.findings import all_findings, money_at_stake, to_look_at
from formread.export.result import to_json
from formread.export.spreadsheet import spreadsheet
from formread.money import currency
from formread.pile.kept import Piles
from formread.pile.picture import draw_slip, picture_name
from formread.pile.store import PileRow
from formread.web.desk import desk_of, page, pile_of
from formread.web.words import count

_EARLIEST = (1980, 1, 1, 0, 0, 0)  # of a ZIP file; the same pile gives the same bytes


def show(request: Request) -> Response:
    """What can be taken away."""
    pile, unit = pile_of(request)
    counts = count(desk_of(request).piles.slips(pile.id))
    return page(request, "out.html", pile=pile, unit=unit, counts=counts)


def _sheet(piles: Piles, pile: int) -> bytes:
    return spreadsheet(piles.report(pile))


def _result(piles: Piles, pile: int) -> bytes:
    return to_json(piles.report(pile)).encode("utf-8")


def _tables(piles: Piles, pile: int) -> bytes:
    return _zip(csv_files(piles.report(pile)))


def _pictures(piles: Piles, pile: int) -> bytes:
    drawn = {}
    report = piles.report(pile)
    for place, kept in enumerate(piles.slips(pile), 1):
        read, path = piles.reading(kept.id), piles.store.picture_path(kept.id, small=False)
        if read is not None and path is not None:
            whole = replace(read, sheet_jpeg=path.read_bytes())
            drawn[picture_name(kept.slip, place)] = draw_slip(whole, kept.slip, currency(report.currency))
    return _zip(drawn)


def _zip(files: dict[str, bytes]) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name, _EARLIEST), data, zipfile.ZIP_DEFLATED)
    return made.getvalue()


_FILES: dict[str, tuple[Callable[[Piles, int], bytes], str]] = {
    "orders.xlsx": (_sheet, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    "tables.zip": (_tables, "application/zip"),
    "result.json": (_result, "application/json"),
    "pictures.zip": (_pictures, "application/zip"),
}


_KINDS = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "pdf": "application/pdf",
    "html": "text/html",
}


async def download(request: Request) -> Response:
    """One file to take away."""
    pile, _ = pile_of(request)
    name, desk = request.path_params["name"], desk_of(request)
    if name in EVENING_FILES:
        evening = await run_in_threadpool(desk.evenings.evening, pile)
        data, kind = await run_in_threadpool(EVENING_FILES[name], evening), _KINDS[name.rpartition(".")[2]]
    elif name in _FILES:
        make, kind = _FILES[name]
        data = await run_in_threadpool(make, desk.piles, pile.id)
    else:
        raise HTTPException(404, "There is no such file.")
    headers = {"Content-Disposition": f'attachment; filename="{_file_name(pile, name)}"'}
    return Response(data, media_type=kind, headers=headers)


def _file_name(pile: PileRow, name: str) -> str:
    stem = re.sub(r"[^A-Za-z0-9]+", "-", pile.name).strip("-").lower()[:40]
    return f"{stem or 'pile'}-{pile.day.isoformat()}-{name}"


def notes(request: Request) -> Response:
    """Notes for the customers, several to a page."""
    pile, unit = pile_of(request)
    whom = request.query_params.get("whom", "wrong")
    one = request.query_params.get("slip", "")
    slips = desk_of(request).piles.slips(pile.id)
    if one:
        chosen = [kept for kept in slips if str(kept.id) == one]
    elif whom == "all":
        chosen = [kept for kept in slips if kept.slip.lines and not kept.open]
    else:
        chosen = [kept for kept in slips if kept.slip.verdict == "wrong"]
    return page(
        request,
        "notes.html",
        pile=pile,
        unit=unit,
        slips=chosen,
        whom=whom,
        one=one,
        picture=request.query_params.get("picture") == "yes",
    )


def wrong(request: Request) -> Response:
    """The list of wrong totals, to print."""
    pile, unit = pile_of(request)
    report = desk_of(request).piles.report(pile.id)
    return page(
        request,
        "wrong.html",
        pile=pile,
        unit=unit,
        wrong=to_look_at(report, "wrong"),
        unsure=to_look_at(report, "unsure"),
        total=len(all_findings(report)),
        at_stake=money_at_stake(report),
        problems=report.problems,
    )


ROUTES = [
    Route("/pile/{number:int}/out", show),
    Route("/pile/{number:int}/out/{name}", download),
    Route("/pile/{number:int}/notes", notes),
    Route("/pile/{number:int}/wrong", wrong),
]
