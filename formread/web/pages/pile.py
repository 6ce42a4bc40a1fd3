"""One pile: what needs a person first, the counts, the photos on their way, and taking an answer back."""

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from formread.pile.kept import HAND, box_ref
from formread.web.desk import desk_of, go, page, pile_of
from formread.web.words import box_title, count, matches, needing_first, shown

SHOWN = ("all", "unsure", "wrong", "agrees")


def show(request: Request) -> Response:
    """Every slip as a card."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    slips = desk.piles.slips(pile.id)
    which = request.query_params.get("show", "all")
    search = request.query_params.get("search", "")[:80]
    listed = needing_first(slips)
    if which == "unsure":
        listed = [kept for kept in listed if kept.slip.verdict == "unsure"]
    elif which in SHOWN[1:]:
        listed = [kept for kept in listed if kept.slip.verdict == which]
    listed = [kept for kept in listed if matches(kept, search, unit)]
    photos = desk.piles.store.photos(pile.id)
    return page(
        request,
        "pile.html",
        pile=pile,
        unit=unit,
        counts=count(slips),
        slips=listed,
        which=which,
        search=search,
        waiting=[photo for photo in photos if photo.state == "waiting"],
        reading=desk.reader.reading,
        done=sum(photo.state != "waiting" for photo in photos),
        photos=len(photos),
        problems=[
            {"photo": photo, "page": problem.page, "message": problem.message}
            for photo, problem in desk.piles.problems(pile.id)
        ],
        undoable=desk.piles.store.last_answer(pile.id) is not None,
        said=request.query_params.get("said", "")[:200],
    )


def revision(request: Request) -> Response:
    """How far the pile is, for the page to know when to fetch itself anew."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    waiting = sum(photo.state == "waiting" for photo in desk.piles.store.photos(pile.id))
    return JSONResponse({"revision": pile.revision, "waiting": waiting, "reading": len(desk.reader.reading)})


def undo(request: Request) -> Response:
    """Take the newest answer back and show its slip."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    undone = desk.piles.undo(pile.id)
    if undone is None:
        return go(f"/pile/{pile.id}", said="There is nothing to take back.")
    kept, answer = undone
    desk.reader.refresh(pile.id)
    ref = box_ref(answer.box)
    what = "what you said about the whole slip" if answer.box == HAND else f"the {answer.box} you typed"
    if ref is not None:
        what = f"{shown(answer.value, ref.role, unit)} for {box_title(ref)}"
    if request.query_params.get("back") == "settle" and kept.open:
        return go(f"/pile/{pile.id}/settle", slip=kept.id, said=f"Took back {what}.")
    return go(f"/slip/{kept.id}", said=f"Took back {what}.")


ROUTES = [
    Route("/pile/{number:int}", show),
    Route("/pile/{number:int}/revision", revision),
    Route("/pile/{number:int}/undo", undo, methods=["POST"]),
]
