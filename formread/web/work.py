"""Reading in the background: waiting photos go to processes of their own, what they gave goes to the store.

One thread alone keeps results and refreshes piles, so what the pile testifies is never overtaken.
"""

import asyncio
import multiprocessing
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from datetime import date
from functools import partial
from pathlib import Path
from typing import TypeVar

from formread.pile.kept import Piles
from formread.pile.photo import read_photo_file
from formread.pile.record import ReadPhoto
from formread.pile.store import PhotoRow
from formread.slips import Problem

T = TypeVar("T")

_TRIES = 3  # a neighbour may have broken the pool
_OUT_OF_MEMORY = (
    "Reading this photo used up the computer's memory. Take it again with a smaller picture size, or check the "
    "slip by hand."
)
_HOUR = 3600.0
_BREATH = 0.3  # seconds


class Reader:
    """Reads the photos that wait, as long as the desk is open."""

    def __init__(self, piles: Piles, jobs: int, make_pool: Callable[[int], Executor] | None = None) -> None:
        self._piles = piles
        self._jobs = jobs
        self._make_pool = make_pool or _pool
        self._processes: Executor | None = None
        self._keeper = ThreadPoolExecutor(1, "keeper")
        self._news = asyncio.Event()
        self._stale: dict[int, bool] = {}
        self._reading: dict[int, Path] = {}
        self._tries: dict[int, int] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    @property
    def reading(self) -> set[int]:
        """The numbers of the photos that are being read now."""
        return set(self._reading)

    def wake(self) -> None:
        """Say that photos came in."""
        self._news.set()

    def refresh(self, pile: int, *, every: bool = False) -> None:
        """Say that an answer was given in a pile; with `every`, that what is known beside its slips has changed."""
        self._stale[pile] = every or self._stale.get(pile, False)
        self._news.set()

    async def run(self) -> None:
        """Work until cancelled."""
        try:
            while True:
                self._start()
                if self._stale:
                    # Somebody is answering: what follows for the other slips may wait until the next question shows.
                    await asyncio.sleep(_BREATH)
                stale, self._stale = self._stale, {}
                for pile, every in stale.items():
                    await self._in_keeper(partial(self._piles.refresh, pile, every=every))
                with suppress(TimeoutError):
                    await asyncio.wait_for(self._news.wait(), _HOUR)
                self._news.clear()
                await self._in_keeper(self._tidy)
        finally:
            for task in self._tasks:
                task.cancel()
            if self._processes is not None:
                self._processes.shutdown(wait=False, cancel_futures=True)
            self._keeper.shutdown(wait=True)

    def _start(self) -> None:
        for photo in self._piles.store.waiting():
            if len(self._reading) >= self._jobs:
                break
            file = self._piles.file_of(photo)
            if photo.id in self._reading or file is None or not self._piles.can_be_read(photo):
                continue
            self._reading[photo.id] = file.path
            task = asyncio.create_task(self._read(photo, file.path))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _read(self, photo: PhotoRow, path: Path) -> None:
        try:
            file = self._piles.file_of(photo)
            if file is None:
                return
            if self._processes is None:
                self._processes = self._make_pool(self._jobs)
            pool = self._processes
            learned = await self._in_keeper(self._piles.learned, photo)
            try:
                read = await asyncio.get_running_loop().run_in_executor(
                    pool, partial(read_photo_file, file, learned=learned)
                )
            except BrokenProcessPool:
                if self._processes is pool:
                    self._processes = None
                self._tries[photo.id] = self._tries.get(photo.id, 0) + 1
                if self._tries[photo.id] < _TRIES:
                    return
                read = ReadPhoto((), (Problem(photo.name, None, _OUT_OF_MEMORY),))
            if await self._in_keeper(self._piles.keep_read, photo, path, read):
                self.refresh(photo.pile)
        finally:
            self._reading.pop(photo.id, None)
            self._news.set()

    async def _in_keeper(self, work: Callable[..., T], *given: object) -> T:
        return await asyncio.get_running_loop().run_in_executor(self._keeper, work, *given)

    def _tidy(self) -> None:
        """Delete the piles whose time of keeping is over."""
        for pile in self._piles.store.overdue(date.today()):
            self._piles.store.delete_pile(pile)
            self._piles.forget()


def _pool(jobs: int) -> Executor:
    # spawn: the same on every operating system, and the recogniser's threads do not survive a fork
    return ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn"))
