"""The round: drops in walking order, the kept walk, the float, and cashing up."""

from dataclasses import replace

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from formread.errors import ListError, UsageError
from formread.goods.table import read_text_rows
from formread.money import Currency
from formread.pile.store import PileRow
from formread.round.addresses import street_key
from formread.round.cashing import takings_from
from formread.round.coins import Cash, cash_of
from formread.round.drops import Drop
from formread.round.evening import Evening
from formread.round.payments import Behaviour, behaviour_words
from formread.round.streets import Leg, StreetList, answered, streets_of
from formread.web.desk import Desk, desk_of, go, page, pile_of
from formread.web.evening import pieces_of
from formread.web.pages.photos import clean_name, file_bytes
from formread.web.words import amount_or_none, signed_amount

SIDES = {"both": "both sides", "odd": "odd side", "even": "even side"}
WAYS = {
    "across": "up, house after house",
    "down": "down, house after house",
    "odd first": "odd side up, even side down",
    "even first": "even side up, odd side down",
}
_MOST_PIECES = 100_000
_LONGEST = 80


def show(request: Request) -> Response:
    """Every drop in walking order, and what has to be asked about the walk."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    evening = desk.evenings.evening(pile)
    store = desk.piles.store
    walk = desk.evenings.brought.streets()
    slips = desk.piles.slips(pile.id)
    return page(
        request,
        "round.html",
        pile=pile,
        unit=unit,
        step="round",
        evening=evening,
        walk=walk,
        streets=list(dict.fromkeys(leg.street for leg in walk.legs)) if walk else [],
        asked=[drop for drop in evening.plan.drops if drop.question],
        nameless=sum(not drop.where for drop in evening.plan.drops),
        ids=[kept.id for kept in slips],
        lists=store.lists(pile.id, "customers"),
        shortest=bool(store.said(pile.id).get("shortest")),
        located=bool(desk.evenings.brought.customers(pile.id).coordinates),
        said=request.query_params.get("said", "")[:300],
    )


async def answer(request: Request) -> Response:
    """Put the answer to a question about an address into the kept walk."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    async with request.form() as form:
        number, said = str(form.get("drop", "")), str(form.get("answer", "")).strip()[:_LONGEST]
    drop = next((drop for drop in desk.evenings.evening(pile).plan.drops if str(drop.number) == number), None)
    walk = desk.evenings.brought.streets()
    if drop is None or drop.question is None or drop.address is None or walk is None:
        raise UsageError("This was answered already. Go back and look again.")
    try:
        desk.evenings.brought.keep_streets(answered(walk, drop.address, drop.question, said))
    except ValueError as error:
        raise UsageError(f"{str(error)[0].upper()}{str(error)[1:]}.") from error
    return go(f"/pile/{pile.id}/round", said=f"Kept in your walk: {drop.address.street}.")


def keep_walk(request: Request) -> Response:
    """Keep the walk that was made up from the addresses, to be changed from then on."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    drops = desk.evenings.evening(pile).plan.drops
    desk.evenings.brought.keep_streets(streets_of([drop.address for drop in drops if drop.address]))
    return go("/streets", pile=pile.id)


async def shortest(request: Request) -> Response:
    """Propose the shortest walk from the coordinates, or walk the seller's own order."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    async with request.form() as form:
        wanted = form.get("shortest") == "yes"
    desk.piles.store.say(pile.id, "shortest", wanted or None)
    return go(f"/pile/{pile.id}/round")


def streets(request: Request) -> Response:
    """The kept walk, street after street."""
    desk = desk_of(request)
    walk = desk.evenings.brought.streets()
    number = request.query_params.get("pile", "")
    back = (
        desk.piles.store.pile(int(number))
        if number.isascii() and number.isdecimal() and len(number) < 10
        else None
    )
    return page(
        request,
        "streets.html",
        legs=list(walk.legs) if walk else [],
        sides=SIDES,
        ways=WAYS,
        back=back,
        said=request.query_params.get("said", "")[:200],
    )


async def change_streets(request: Request) -> Response:
    """Move, change, add or take out a street, or bring a whole list."""
    desk = desk_of(request)
    brought = desk.evenings.brought
    async with request.form(max_files=1, max_fields=10) as form:
        back = str(form.get("pile", ""))[:9]
        file = form.get("files")
        if isinstance(file, UploadFile):
            if not file.filename:
                raise UsageError("Choose the file first.")
            brought.take_up_streets(clean_name(file.filename), await file_bytes(file))
        else:
            walk = brought.streets() or StreetList("your walk", ())
            brought.keep_streets(_changed(walk, form))
    return go("/streets", pile=back)


def _changed(walk: StreetList, form: FormData) -> StreetList:
    legs, act = list(walk.legs), str(form.get("act", ""))
    street = " ".join(str(form.get("street", "")).split())[:_LONGEST]
    side, way = str(form.get("side", "both")), str(form.get("way", "across"))
    if side not in SIDES or way not in WAYS:
        raise UsageError("Choose a side and a way from the list.")
    if side != "both" and way in {"odd first", "even first"}:
        raise UsageError("One side alone is walked up or down. Choose the way again.")
    if act == "add":
        if not street_key(street):
            raise UsageError("Type the street first.")
        return replace(walk, legs=(*legs, Leg(street, side, way)))
    at = str(form.get("at", ""))
    # A list that changed meanwhile in another window: the street that was meant must still stand there.
    if not (at.isascii() and at.isdecimal() and int(at[:6]) < len(legs) and legs[int(at)].street == street):
        raise UsageError("The walk was changed meanwhile. Go back and look again.")
    place = int(at)
    match act:
        case "up" if place > 0:
            legs[place - 1], legs[place] = legs[place], legs[place - 1]
        case "down" if place + 1 < len(legs):
            legs[place + 1], legs[place] = legs[place], legs[place + 1]
        case "out":
            del legs[place]
        case "keep":
            legs[place] = replace(legs[place], side=side, way=way)
    return replace(walk, legs=tuple(legs))


def money_along(request: Request) -> Response:
    """The float: which coins and notes to take along, and what to fetch."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    evening = desk.evenings.evening(pile)
    said = desk.piles.store.said(pile.id)
    return page(
        request,
        "float.html",
        pile=pile,
        unit=unit,
        step="float",
        evening=evening,
        ways=[(_key(way), behaviour_words(way, evening.cash), way.share) for way in evening.behaviours],
        at_home=pieces_of(said.get("at_home")),
        own="payments" in said,
    )


def _key(way: Behaviour) -> str:
    return "otherwise" if way.up_to is None else str(way.up_to)


async def pay(request: Request) -> Response:
    """Keep how customers pay, or go back to the usual table."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    ways = desk.evenings.evening(pile).behaviours
    async with request.form() as form:
        if form.get("usual") == "yes":
            desk.piles.store.say(pile.id, "payments", None)
            return go(f"/pile/{pile.id}/float")
        shares = []
        for way in ways:
            text = str(form.get(_key(way), "")).strip().rstrip("%").replace(",", ".")
            try:
                share = float(text or "0")
            except ValueError:
                share = -1.0
            if not 0 <= share <= 100:
                raise UsageError("Give each share as a number from 0 to 100.")
            shares.append(share)
    whole = sum(shares)
    if abs(whole - 100) > 0.5:
        raise UsageError(f"The shares add up to {whole:g}. Make them add up to 100.")
    kept = [[way.up_to, share / whole] for way, share in zip(ways, shares, strict=True)]
    desk.piles.store.say(pile.id, "payments", kept)
    return go(f"/pile/{pile.id}/float")


async def at_home(request: Request) -> Response:
    """Keep the coins and notes that need not be fetched."""
    desk = desk_of(request)
    pile, _ = pile_of(request)
    async with request.form() as form:
        counted = _counted(form, cash_of(pile.currency))
    desk.piles.store.say(pile.id, "at_home", counted or None)
    return go(f"/pile/{pile.id}/float")


def cash_up(request: Request) -> Response:
    """What was taken at each door against what was due; the purse counted."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    evening = desk.evenings.evening(pile)
    return page(
        request,
        "cash.html",
        pile=pile,
        unit=unit,
        step="cash",
        evening=evening,
        up=evening.cash_up,
        counted=evening.cash_up.counted or {},
        ids=[kept.id for kept in desk.piles.slips(pile.id)],
        said=request.query_params.get("said", "")[:200],
    )


async def take(request: Request) -> Response:
    """Keep the takings, the float that was taken along, and the purse as it was counted."""
    desk = desk_of(request)
    pile, unit = pile_of(request)
    evening = desk.evenings.evening(pile)
    store = desk.piles.store
    async with request.form(max_files=1, max_fields=8000) as form:
        file = form.get("files")
        if isinstance(file, UploadFile):
            if not file.filename:
                raise UsageError("Choose the file first.")
            return _from_list(desk, pile, evening, clean_name(file.filename), await file_bytes(file))
        float_in = amount_or_none(str(form.get("float_in", "")), unit, "the float")
        takings = _takings(desk, pile, evening, form, unit)
        counted = _counted(form, evening.cash)
        was_counted = any(str(form.get(f"piece.{value}", "")).strip() for value in evening.cash.values)
    store.say(pile.id, "float_in", None if float_in == evening.float_usual.value else float_in)
    store.say(pile.id, "takings", takings or None)
    store.say(pile.id, "counted", counted if was_counted else None)
    return go(f"/pile/{pile.id}/cash", said="Kept.")


def _takings(
    desk: Desk, pile: PileRow, evening: Evening, form: FormData, unit: Currency
) -> dict[str, tuple[int, int, str]]:
    slips = desk.piles.slips(pile.id)
    found = {}
    for drop in evening.plan.drops:
        key = str(slips[drop.slips[0]].id)
        texts = [str(form.get(f"{what}.{key}", "")).strip() for what in ("cash", "otherwise", "remarks")]
        if not any(texts):
            continue
        what = f"drop {drop.number}"
        found[key] = (
            signed_amount(texts[0], unit, what) or 0,
            signed_amount(texts[1], unit, what) or 0,
            " ".join(texts[2].split())[:_LONGEST],
        )
    return found


def _from_list(desk: Desk, pile: PileRow, evening: Evening, name: str, data: bytes) -> Response:
    """Take over the list that the page at the door saved."""
    takings = takings_from(name, read_text_rows(name, data), evening.plan.drops, pile.currency)
    slips = desk.piles.slips(pile.id)
    by_number: dict[int, Drop] = {drop.number: drop for drop in evening.plan.drops}
    kept = {
        str(slips[by_number[one.drop].slips[0]].id): (one.cash, one.otherwise, one.remarks[:_LONGEST])
        for one in takings
    }
    if not kept:
        raise ListError(f"{name} has no doors in it.")
    desk.piles.store.say(pile.id, "takings", kept)
    return go(f"/pile/{pile.id}/cash", said=f"Took {len(kept)} doors from {name}.")


def _counted(form: FormData, cash: Cash) -> dict[str, int]:
    counted = {}
    for value in cash.values:
        text = str(form.get(f"piece.{value}", "")).strip()
        if not text:
            continue
        if not (text.isascii() and text.isdecimal() and int(text[:9]) < _MOST_PIECES):
            raise UsageError("Count coins and notes in whole numbers.")
        counted[str(value)] = int(text)
    return counted


ROUTES = [
    Route("/pile/{number:int}/round", show),
    Route("/pile/{number:int}/round/answer", answer, methods=["POST"]),
    Route("/pile/{number:int}/round/walk", keep_walk, methods=["POST"]),
    Route("/pile/{number:int}/round/shortest", shortest, methods=["POST"]),
    Route("/streets", streets),
    Route("/streets/lists", change_streets, methods=["POST"]),
    Route("/pile/{number:int}/float", money_along),
    Route("/pile/{number:int}/float/payments", pay, methods=["POST"]),
    Route("/pile/{number:int}/float/home", at_home, methods=["POST"]),
    Route("/pile/{number:int}/cash", cash_up),
    Route("/pile/{number:int}/cash/lists", take, methods=["POST"]),
]
