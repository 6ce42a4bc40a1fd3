"""Who may ask the desk for something: requests as an attacker would make them, without a browser in between."""

import asyncio
import re
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import httpx
import pytest

from formread.pile.kept import Piles
from formread.pile.store import Store
from formread.web.app import make_app
from formread.web.brought import Brought
from formread.web.desk import Desk
from formread.web.evening import Evenings
from formread.web.guard import LARGEST_FORM, LARGEST_REQUEST, Guard
from formread.web.pages.photos import clean_name
from formread.web.pairing import COOKIE, MOST_TRIES, VALID_SECONDS, Pairing
from formread.web.work import Reader

Result = TypeVar("Result")
HERE, HOME = "127.0.0.1:8417", "192.168.1.20:50000"


def _run(work: Coroutine[Any, Any, Result]) -> Result:
    """Run in a thread of its own: the browser of other tests keeps an event loop running in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


class _NoDoor:
    address: str | None = None

    async def open(self) -> str:
        return HOME

    async def close(self) -> None:
        return


@dataclass
class Doors:
    """The desk without a network: its own door and the phone's."""

    piles: Piles
    pairing: Pairing
    own: Guard
    home: Guard

    def ask(
        self, method: str, path: str, *, phone: bool = False, host: str | None = None, **more: Any
    ) -> httpx.Response:
        """Ask for a page, by default as the desk's own page would."""
        host = host or (HOME if phone else HERE)
        headers = {"host": host, "origin": f"http://{host}", **more.pop("headers", {})}
        headers = {name: value for name, value in headers.items() if value is not None}

        async def asking() -> httpx.Response:
            transport = httpx.ASGITransport(self.home if phone else self.own)
            async with httpx.AsyncClient(transport=transport, base_url=f"http://{host}") as client:
                return await client.request(method, path, headers=headers, **more)

        return _run(asking())


@pytest.fixture
def doors(tmp_path: Path) -> Iterator[Doors]:
    store = Store(tmp_path / "desk")
    store.add_pile("Spring delivery", date(2026, 5, 14), "GBP")
    piles, pairing = Piles(store), Pairing()

    async def made() -> Desk:
        return Desk(piles, Evenings(piles, Brought(piles.store)), Reader(piles, 1), pairing, _NoDoor(), "GBP")

    app = make_app(_run(made()))
    yield Doors(piles, pairing, Guard(app, lambda: {HERE}), Guard(app, lambda: {HOME}, pairing))
    store.close()


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8417", "127.0.0.1", "127.0.0.1:80", HOME])
def test_the_desk_answers_under_its_own_name_only(doors: Doors, host: str) -> None:
    """DNS rebinding: another site's name is pointed at this computer (OWASP Web Security Testing Guide)."""
    assert doors.ask("GET", "/", host=host).status_code == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": None},
        {"origin": "null"},
        {"origin": "http://evil.example"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": f"https://{HERE}"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none"},
    ],
)
def test_another_sites_page_changes_nothing(doors: Doors, headers: dict[str, str | None]) -> None:
    """OWASP Cross-Site Request Forgery Prevention: verifying the origin, Fetch Metadata."""
    answer = doors.ask("POST", "/pile/1/delete", data={"sure": "yes"}, headers=headers)
    assert answer.status_code == 403
    assert doors.piles.store.pile(1) is not None
    assert doors.ask("POST", "/pile/1/delete", data={"sure": "yes"}).status_code == 303
    assert doors.piles.store.pile(1) is None


def test_every_answer_forbids_a_browser_what_the_desk_does_not_need(doors: Doors) -> None:
    for path in ("/", "/pile/1", "/nothing", "/static/desk.css"):
        headers = doors.ask("GET", path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
    assert doors.ask("GET", "/").headers["cache-control"] == "no-store"


def test_pages_hold_no_script_or_style_of_their_own(doors: Doors) -> None:
    for path in ("/", "/pile/1", "/phone", "/pile/1/settings"):
        text = doors.ask("GET", path).text
        assert not re.search(r"<script(?! src=\"/static/)|<style|\sstyle=|\son\w+=|https?://", text)


@pytest.mark.parametrize(("path", "limit"), [("/piles", LARGEST_FORM), ("/pile/1/photos", LARGEST_REQUEST)])
def test_more_than_the_limit_is_refused_before_it_is_read(doors: Doors, path: str, limit: int) -> None:
    answer = doors.ask("POST", path, headers={"content-length": str(limit + 1)}, content=b"x")
    assert answer.status_code == 413


def test_a_length_that_was_not_announced_is_counted(doors: Doors) -> None:
    async def endless() -> Any:
        for _ in range(LARGEST_FORM // 1000 + 2):
            yield b"x" * 1000

    form = {"content-type": "application/x-www-form-urlencoded"}
    assert doors.ask("POST", "/piles", content=endless(), headers=form).status_code == 413


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../../etc/passwd", "passwd"),
        ("..\\..\\boot.ini", "boot.ini"),
        ("/", "photo"),
        ("a\x00b\x1b[31m.jpg", "ab[31m.jpg"),
        ("\u202egpj.exe", "gpj.exe"),
        ("x" * 300 + ".jpg", "x" * 80 + "…" + "x" * 15 + ".jpg"),
    ],
)
def test_a_name_from_outside_is_shown_and_never_a_path(doors: Doors, name: str, shown: str) -> None:
    assert clean_name(name) == shown
    before = {path.name for path in doors.piles.store.folder.rglob("*")}
    doors.ask("POST", "/pile/1/photos", files={"photos": (name.replace("\x00", ""), b"no photo")})
    new = {path.name for path in doors.piles.store.folder.rglob("*")} - before
    assert all(re.fullmatch(r"[0-9a-f]{24}|piles\.sqlite-(wal|shm)", each) for each in new)


def test_what_people_and_files_are_called_is_never_markup(doors: Doors) -> None:
    doors.ask("POST", "/pile/1/rename", data={"name": "<img src=x onerror=alert(1)>", "day": "2026-05-14"})
    doors.ask("POST", "/pile/1/photos", files={"photos": ("<script>alert(1)</script>.jpg", b"no photo")})
    text = doors.ask("GET", "/pile/1").text
    assert "<img src=x" not in text
    assert "<script>alert" not in text


def test_a_strange_phone_sees_the_pairing_page_and_nothing_else(doors: Doors) -> None:
    for path in (
        "/",
        "/pile/1",
        "/pile/1/camera",
        "/phone",
        "/slip/1/picture.jpg",
        "/pile/1/out/orders.xlsx",
    ):
        answer = doors.ask("GET", path, phone=True)
        assert (answer.status_code, answer.headers["location"]) == (303, "/pair")
    assert (
        doors.ask("POST", "/pile/1/photos", phone=True, files={"photos": ("a.jpg", b"x")}).status_code == 403
    )
    assert doors.ask("GET", "/pair", phone=True).status_code == 200


def test_a_phone_comes_in_once_by_its_secret_and_may_not_manage_piles(doors: Doors) -> None:
    secret = doors.pairing.invite()
    assert doors.ask("POST", "/pair", phone=True, data={"secret": "guess"}).status_code == 403
    answer = doors.ask("POST", "/pair", phone=True, data={"secret": secret})
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    session = {"cookie": answer.headers["set-cookie"].partition(";")[0]}
    assert doors.ask("GET", "/pile/1", phone=True, headers=session).status_code == 200
    for path in ("/pile/1/delete", "/pile/1/close", "/settings/keep", "/phone/invite", "/piles"):
        assert doors.ask("POST", path, phone=True, headers=session, data={"sure": "yes"}).status_code == 403
    assert doors.ask("POST", "/pair", phone=True, data={"secret": secret}).status_code == 403
    doors.pairing.end()
    assert doors.ask("GET", "/pile/1", phone=True, headers=session).status_code == 303
    assert COOKIE in session["cookie"]


def test_an_invitation_is_withdrawn_after_a_while_and_after_guesses() -> None:
    now = [0.0]
    pairing = Pairing(lambda: now[0])
    secret = pairing.invite()
    now[0] = VALID_SECONDS + 1
    assert pairing.accept(secret) is None
    secret = pairing.invite()
    for _ in range(MOST_TRIES):
        assert pairing.accept("guess") is None
    assert pairing.accept(secret) is None
    assert not pairing.open
    assert not pairing.knows("")
