"""Photos in: sent from the page or the phone, taken again, or taken out."""

import unicodedata

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from formread.errors import UsageError
from formread.web.desk import desk_of, go, on_phone, page, photo_of, pile_of
from formread.web.guard import LARGEST_FILE, MOST_FILES, MOST_PHOTOS

_LONGEST_NAME = 100


async def add(request: Request) -> Response:
    """Keep the photos that were sent; they are read in the background."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    there = len(desk.piles.store.photos(pile.id))
    new = same = 0
    async with request.form(max_files=MOST_FILES, max_fields=10) as form:
        files = [file for file in form.getlist("photos") if isinstance(file, UploadFile) and file.filename]
        if there + len(files) > MOST_PHOTOS:
            raise UsageError(f"A pile holds {MOST_PHOTOS} photos. Start another pile for the rest.")
        for file in files:
            data = await file_bytes(file)
            name = clean_name(file.filename or "")
            kept = await run_in_threadpool(desk.piles.store.add_photo, pile.id, name, data)
            new, same = new + (kept is not None), same + (kept is None)
            desk.reader.wake()
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"new": new, "same": same})
    said = f"{same} of the photos were here already." if same else ""
    return go(f"/pile/{pile.id}/camera" if on_phone(request) else f"/pile/{pile.id}", said=said)


async def replace(request: Request) -> Response:
    """Put a retake in the place of a photo."""
    desk = desk_of(request)
    photo = photo_of(request)
    async with request.form(max_files=1, max_fields=10) as form:
        file = form.get("photos")
        if not isinstance(file, UploadFile) or not file.filename:
            raise UsageError("Choose the new photo first.")
        data = await file_bytes(file)
    await run_in_threadpool(desk.piles.store.replace_photo, photo.id, data)
    desk.piles.forget()
    desk.reader.refresh(photo.pile)
    return go(f"/pile/{photo.pile}")


def delete(request: Request) -> Response:
    """Take a photo and its slips out of the pile for good."""
    desk = desk_of(request)
    photo = photo_of(request)
    desk.piles.store.delete_photo(photo.id)
    desk.piles.forget()
    desk.reader.refresh(photo.pile)
    return go(f"/pile/{photo.pile}")


def camera(request: Request) -> Response:
    """The phone's page: take photos, see what becomes of them."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    photos = desk.piles.store.photos(pile.id)
    problems = {photo.id: problem.message for photo, problem in desk.piles.problems(pile.id)}
    slips = desk.piles.slips(pile.id)
    return page(
        request,
        "camera.html",
        pile=pile,
        unit=unit,
        photos=[
            (photo, [kept for kept in slips if kept.photo == photo.id], problems.get(photo.id, ""))
            for photo in reversed(photos)
        ],
        said=request.query_params.get("said", "")[:200],
    )


async def file_bytes(file: UploadFile) -> bytes:
    """What was sent, up to the largest file that is taken."""
    data = await file.read(LARGEST_FILE + 1)
    if len(data) > LARGEST_FILE:
        raise UsageError(
            f"{clean_name(file.filename or '')} is larger than {LARGEST_FILE // 2**20} MB. Save it smaller."
        )
    return data


def clean_name(name: str) -> str:
    """What a photo is called on the pages: a name from outside, without its folders, never used as a path."""
    last = name.replace("\\", "/").rstrip("/").rpartition("/")[2]
    shown = "".join(sign for sign in last if not unicodedata.category(sign).startswith("C"))
    shown = " ".join(shown.split())
    if len(shown) > _LONGEST_NAME:
        shown = f"{shown[: _LONGEST_NAME - 20]}…{shown[-19:]}"
    return shown or "photo"


ROUTES = [
    Route("/pile/{number:int}/photos", add, methods=["POST"]),
    Route("/pile/{number:int}/camera", camera),
    Route("/photo/{number:int}/replace", replace, methods=["POST"]),
    Route("/photo/{number:int}/delete", delete, methods=["POST"]),
]
