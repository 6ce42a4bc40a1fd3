"""Running the desk: one door on this computer, and one on the home network when a phone is invited."""

import asyncio
import contextlib
import logging
import signal
import socket
import sys
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Final

import platformdirs
import uvicorn
from starlette.types import ASGIApp

from formread.errors import OutputError, UsageError
from formread.money import currency
from formread.pile.kept import Piles
from formread.pile.run import default_jobs
from formread.pile.store import Store
from formread.web.app import make_app
from formread.web.brought import Brought
from formread.web.desk import Desk
from formread.web.evening import Evenings
from formread.web.guard import Guard
from formread.web.pairing import Pairing, home_address
from formread.web.work import Reader

PORT: Final = 8417
"""The desk's own port; free for anybody by IANA's register (from memory)."""
_WAIT: Final = 2  # seconds for answers under way when the desk closes


def default_folder() -> Path:
    """Where piles are kept unless told otherwise: the user's own data folder."""
    return Path(platformdirs.user_data_dir("formread", appauthor=False))


def serve(
    folder: Path,
    port: int,
    code: str,
    *,
    browser: bool,
    home: Callable[[], str | None] = home_address,
) -> None:
    """Open the desk and keep it open until it is stopped.

    Parameters
    ----------
    folder
        Where the piles are kept.
    port
        Of this computer's own door; 0 takes any free one.
    code
        ISO 4217 code of new piles.
    browser
        Whether to show the page in the user's browser.
    home
        Gives this computer's address on the home network.

    Raises
    ------
    OutputError
        When the folder can't be used, or the port is taken.
    UsageError
        For a currency that formread does not know.
    """
    unit = currency(code)
    listener = _listen("127.0.0.1", port)
    store = Store(folder)
    try:
        asyncio.run(_run(store, listener, unit.code, browser, home))
    finally:
        store.close()
        listener.close()


def _listen(host: str, port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if sys.platform != "win32":
        # On Windows this option would let another program listen at the same place.
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen()
    except OSError as error:
        listener.close()
        raise OutputError(
            f"The desk can't use port {port} ({error.strerror}). It may be open already: look for its page in "
            "your browser. Or give another port with --port."
        ) from error
    return listener


async def _run(
    store: Store, listener: socket.socket, code: str, browser: bool, home: Callable[[], str | None]
) -> None:
    brought = Brought(store)
    piles = Piles(store, brought.known)
    # One core is left for the pages.
    reader = Reader(piles, max(1, default_jobs() - 1))
    pairing = Pairing()
    door = _HomeDoor(pairing, home)
    app = make_app(Desk(piles, Evenings(piles, brought), reader, pairing, door, code))
    door.app = app
    port = listener.getsockname()[1]
    hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
    server = _Server(Guard(app, lambda: hosts))
    address = f"http://127.0.0.1:{port}/"
    print(f"The desk is open at {address}  (Ctrl+C closes it)", file=sys.stderr, flush=True)
    working = asyncio.create_task(reader.run())
    if browser:
        asyncio.get_running_loop().call_later(0.3, _show, address)
    with _signals(server.stop):
        await server.serve([listener])
    await door.close()
    working.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await working


def _show(address: str) -> None:
    with contextlib.suppress(webbrowser.Error):
        webbrowser.open(address)


class _Server(uvicorn.Server):
    """A server that leaves signals to the desk."""

    def __init__(self, app: ASGIApp) -> None:
        super().__init__(
            uvicorn.Config(
                app,
                lifespan="off",
                log_level=logging.WARNING,
                access_log=False,
                server_header=False,
                timeout_graceful_shutdown=_WAIT,
                proxy_headers=False,
            )
        )

    @contextlib.contextmanager
    def capture_signals(self):  # type: ignore[no-untyped-def]
        yield

    def stop(self) -> None:
        """Stop once the answers under way are given."""
        self.should_exit = True


@contextlib.contextmanager
def _signals(stop: Callable[[], None]):  # type: ignore[no-untyped-def]
    loop = asyncio.get_running_loop()
    before = {}
    for number in (signal.SIGINT, signal.SIGTERM):
        before[number] = signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _HomeDoor:
    """The phone's door on the home network."""

    def __init__(self, pairing: Pairing, home: Callable[[], str | None]) -> None:
        self.app: ASGIApp | None = None
        self._home = home
        self._pairing = pairing
        self._server: _Server | None = None
        self._serving: asyncio.Task[None] | None = None
        self._address: str | None = None

    @property
    def address(self) -> str | None:
        return self._address

    async def open(self) -> str:
        if self._address is not None:
            return self._address
        host = self._home()
        if host is None or self.app is None:
            raise UsageError(
                "This computer is on no network. Connect it to the same home network as the phone, then invite it."
            )
        # The home network's address alone, not every address: the door faces where it was asked to.
        listener = _listen(host, 0)
        self._address = f"{host}:{listener.getsockname()[1]}"
        known = {self._address}
        self._server = _Server(Guard(self.app, lambda: known, self._pairing))
        self._serving = asyncio.create_task(self._server.serve([listener]))
        return self._address

    async def close(self) -> None:
        self._pairing.end()
        self._address = None
        if self._server is not None and self._serving is not None:
            self._server.stop()
            await self._serving
        self._server = self._serving = None
