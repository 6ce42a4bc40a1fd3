import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.programs import need_program
from tests.web.drawn import fill, slip

ROOT = Path(__file__).parents[2]


@dataclass
class RunningDesk:
    """A desk in a process of its own."""

    folder: Path
    address: str
    process: subprocess.Popen[str]

    def kill(self) -> None:
        """Pull the plug."""
        self.process.kill()
        self.process.wait()


@pytest.fixture(scope="session")
def open_desk() -> Iterator[Callable[[Path], RunningDesk]]:
    """Open a desk on a folder; all are closed in the end."""
    opened: list[RunningDesk] = []

    def start(folder: Path) -> RunningDesk:
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.web.run_desk", str(folder)],
            cwd=ROOT,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert process.stderr is not None
        said = process.stderr.readline()
        assert "http://" in said, said + process.stderr.read()
        desk = RunningDesk(folder, said.split()[5].rstrip("/"), process)
        opened.append(desk)
        return desk

    yield start
    for desk in opened:
        desk.process.terminate()
    for desk in opened:
        desk.process.wait(10)
        assert desk.process.stderr is not None
        desk.process.stderr.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium."""
    path = need_program("chromium", "chromium-browser", "google-chrome")
    with sync_playwright() as playwright:
        # Chromium's own sandbox needs rights that a container seldom has; only our own pages are shown.
        opened = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page on a laptop, in which no script may fail."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)
    context.set_default_timeout(20_000)
    opened = context.new_page()
    failures: list[str] = []
    opened.on("pageerror", lambda error: failures.append(str(error)))
    yield opened
    context.close()
    assert not failures


@dataclass(frozen=True)
class KeptPile:
    """One of several like piles of an open desk."""

    desk: RunningDesk
    number: int
    slips: int

    @property
    def address(self) -> str:
        return f"{self.desk.address}/pile/{self.number}"

    def slip(self, place: int) -> str:
        """The page of the pile's slip at that place, from 1."""
        return f"{self.desk.address}/slip/{(self.number - 1) * self.slips + place}"


COPIES = 24


@pytest.fixture(scope="session")
def _piles(
    tmp_path_factory: pytest.TempPathFactory, open_desk: Callable[[Path], RunningDesk]
) -> Iterator[KeptPile]:
    """Like piles: a wrong slip (15.00 too much), two whose total is doubtful, one that agrees, a failed photo."""
    folder = tmp_path_factory.mktemp("kept") / "desk"
    slips = [slip(38), slip(0, doubtful=True), slip(3, doubtful=True), slip(6)]
    fill(folder, slips, copies=COPIES, problem=True)
    desk = open_desk(folder)
    return (KeptPile(desk, number, len(slips)) for number in range(1, COPIES + 1))


@pytest.fixture
def pile(_piles: Iterator[KeptPile]) -> KeptPile:
    """A pile that no other test has touched."""
    return next(_piles)
