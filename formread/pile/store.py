"""The store: piles, their photos and lists, what was read on them and what a person has said, safe against a
pulled plug.

One SQLite file in write-ahead mode holds everything but the pictures, which lie in a folder for each pile beside
it under names of our own making. A method returns once what it wrote is on the disk. What is deleted is
overwritten in the file and removed from the folder.
"""

import hashlib
import json
import os
import secrets
import shutil
import sqlite3
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, Final, Literal

from formread.errors import OutputError

PhotoState = Literal["waiting", "read", "failed"]

KEEP_DAYS: Final = 60
"""How long a closed pile is kept unless the seller says otherwise: a delivery, its questions and the next one."""

_VERSION: Final = 2
_SCHEMA: Final = """
CREATE TABLE piles (
    id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, day TEXT NOT NULL, currency TEXT NOT NULL,
    folder TEXT NOT NULL, closed TEXT, revision INTEGER NOT NULL DEFAULT 0);
CREATE TABLE photos (
    id INTEGER PRIMARY KEY AUTOINCREMENT, pile INTEGER NOT NULL REFERENCES piles(id) ON DELETE CASCADE,
    name TEXT NOT NULL, file TEXT NOT NULL, digest TEXT NOT NULL, state TEXT NOT NULL, problems BLOB,
    place INTEGER NOT NULL);
CREATE TABLE slips (
    id INTEGER PRIMARY KEY AUTOINCREMENT, photo INTEGER NOT NULL REFERENCES photos(id) ON DELETE CASCADE,
    pile INTEGER NOT NULL REFERENCES piles(id) ON DELETE CASCADE, place INTEGER NOT NULL,
    read BLOB NOT NULL, learned TEXT NOT NULL DEFAULT '{}', outcome BLOB NOT NULL, picture TEXT NOT NULL);
CREATE TABLE answers (
    id INTEGER PRIMARY KEY AUTOINCREMENT, slip INTEGER NOT NULL REFERENCES slips(id) ON DELETE CASCADE,
    pile INTEGER NOT NULL, box TEXT NOT NULL, value TEXT NOT NULL, at TEXT NOT NULL);
CREATE TABLE people (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, address TEXT NOT NULL, seen TEXT NOT NULL,
    UNIQUE (name, address));
CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE INDEX photos_of_pile ON photos (pile);
CREATE INDEX slips_of_pile ON slips (pile);
CREATE INDEX answers_of_slip ON answers (slip);
"""
_LISTS: Final = """
CREATE TABLE lists (
    id INTEGER PRIMARY KEY AUTOINCREMENT, pile INTEGER NOT NULL REFERENCES piles(id) ON DELETE CASCADE,
    kind TEXT NOT NULL, name TEXT NOT NULL, content TEXT NOT NULL, file TEXT);
CREATE TABLE said (
    pile INTEGER NOT NULL REFERENCES piles(id) ON DELETE CASCADE, name TEXT NOT NULL, value TEXT NOT NULL,
    PRIMARY KEY (pile, name));
CREATE INDEX lists_of_pile ON lists (pile)
"""
"""What came with the second version: the seller's lists, and what was said about the evening of a pile."""


@dataclass(frozen=True, slots=True)
class PileRow:
    """One pile. ``day`` is its delivery's date, ``closed`` the day it was closed on, ``revision`` counts changes."""

    id: int
    name: str
    day: date
    currency: str
    closed: date | None
    revision: int


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """One photo: its name as the seller knows it, how far it is, and the encoded problems it had."""

    id: int
    pile: int
    name: str
    state: PhotoState
    problems: bytes | None


@dataclass(frozen=True, slots=True)
class SlipRow:
    """One slip without its readings: what the pile testified for its codes, and the encoded outcome."""

    id: int
    pile: int
    photo: int
    learned: Mapping[str, int]
    outcome: bytes


@dataclass(frozen=True, slots=True)
class NewSlip:
    """A slip to be kept: encoded reading and outcome, its flattened picture and a small one, both JPEG."""

    read: bytes
    outcome: bytes
    picture: bytes
    thumbnail: bytes


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person said about one box of a slip; ``value`` is plain JSON data."""

    id: int
    slip: int
    box: str
    value: Any


@dataclass(frozen=True, slots=True)
class ListRow:
    """A list that the seller brought: prices, a delivery note, customers; ``content`` is what was read in it."""

    id: int
    pile: int
    kind: str
    name: str
    content: str


@dataclass(frozen=True, slots=True)
class Person:
    """A customer who was named before."""

    id: int
    name: str
    address: str


class Store:
    """The piles in one folder; safe to use from several threads.

    Parameters
    ----------
    folder
        Made if it is not there, readable by its owner only.

    Raises
    ------
    OutputError
        When the folder can't be used.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.RLock()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            folder.chmod(0o700)
            self._held = _hold(folder / "desk.lock")
            self._db = sqlite3.connect(folder / "piles.sqlite", check_same_thread=False, isolation_level=None)
            self._db.execute("PRAGMA journal_mode = WAL")
        except (OSError, sqlite3.Error) as error:
            raise OutputError(
                f"The desk can't keep its piles in {str(folder)!r} ({error}). Make room, or give another folder."
            ) from error
        # FULL: a commit is on the disk when it returns, also when the plug is pulled then.
        self._db.execute("PRAGMA synchronous = FULL")
        self._db.execute("PRAGMA foreign_keys = ON")
        self._db.execute("PRAGMA secure_delete = ON")
        self._migrate()
        self._sweep()

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._db.close()
            self._held.close()

    # Piles

    def add_pile(self, name: str, day: date, currency: str) -> int:
        """Start a pile and return its number."""
        folder = secrets.token_hex(8)
        (self.folder / folder).mkdir(mode=0o700)
        with self._writing() as db:
            at = db.execute(
                "INSERT INTO piles (name, day, currency, folder) VALUES (?, ?, ?, ?)",
                (name, day.isoformat(), currency, folder),
            ).lastrowid
        assert at is not None
        return at

    def piles(self) -> list[PileRow]:
        """Every pile, the latest delivery first."""
        return [_pile(row) for row in self._all("SELECT * FROM piles ORDER BY day DESC, id DESC")]

    def pile(self, pile: int) -> PileRow | None:
        """One pile, or None if there is none of that number."""
        row = self._one("SELECT * FROM piles WHERE id = ?", pile)
        return None if row is None else _pile(row)

    def change_pile(self, pile: int, name: str, day: date) -> None:
        """Give a pile another name and date."""
        with self._writing(pile) as db:
            db.execute("UPDATE piles SET name = ?, day = ? WHERE id = ?", (name, day.isoformat(), pile))

    def close_pile(self, pile: int, day: date | None) -> None:
        """Close a pile on that day (its time of keeping begins), or open it again."""
        with self._writing(pile) as db:
            db.execute("UPDATE piles SET closed = ? WHERE id = ?", (day and day.isoformat(), pile))

    def delete_pile(self, pile: int) -> None:
        """Delete a pile for good: its rows are overwritten, its pictures removed."""
        folder = self._folder_of(pile)
        with self._writing() as db:
            db.execute("DELETE FROM answers WHERE pile = ?", (pile,))
            db.execute("DELETE FROM piles WHERE id = ?", (pile,))
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)
        self._wipe()

    def overdue(self, today: date) -> list[int]:
        """The piles whose time of keeping is over."""
        last = today - timedelta(days=self.keep_days)
        rows = self._all("SELECT id FROM piles WHERE closed IS NOT NULL AND closed <= ?", last.isoformat())
        return [row["id"] for row in rows]

    # Photos

    def add_photo(self, pile: int, name: str, data: bytes) -> int | None:
        """Keep a photo that is to be read; None when this pile has the very same file already.

        Raises
        ------
        OutputError
            When the disk is full or can't be written.
        """
        digest = hashlib.sha256(data).hexdigest()
        if self._one("SELECT id FROM photos WHERE pile = ? AND digest = ?", pile, digest):
            return None
        file = self._keep(pile, data)
        with self._writing(pile) as db:
            at = db.execute(
                "INSERT INTO photos (pile, name, file, digest, state, place) VALUES (?, ?, ?, ?, 'waiting', "
                "(SELECT COALESCE(MAX(place), 0) + 1 FROM photos WHERE pile = ?))",
                (pile, self._free_name(pile, name), file, digest, pile),
            ).lastrowid
        assert at is not None
        return at

    def replace_photo(self, photo: int, data: bytes) -> None:
        """Put a retake in the place of a photo: the slips of the old one go, the new one is to be read."""
        row = self._one("SELECT * FROM photos WHERE id = ?", photo)
        if row is None:
            return
        gone = [row["file"], *self._pictures(photo)]
        file = self._keep(row["pile"], data)
        with self._writing(row["pile"]) as db:
            db.execute("DELETE FROM slips WHERE photo = ?", (photo,))
            db.execute(
                "UPDATE photos SET file = ?, digest = ?, state = 'waiting', problems = NULL WHERE id = ?",
                (file, hashlib.sha256(data).hexdigest(), photo),
            )
        self._remove(row["pile"], gone)
        self._wipe()

    def delete_photo(self, photo: int) -> None:
        """Delete a photo and its slips for good."""
        row = self._one("SELECT * FROM photos WHERE id = ?", photo)
        if row is None:
            return
        gone = [row["file"], *self._pictures(photo)]
        with self._writing(row["pile"]) as db:
            db.execute("DELETE FROM photos WHERE id = ?", (photo,))
        self._remove(row["pile"], gone)
        self._wipe()

    def photos(self, pile: int) -> list[PhotoRow]:
        """The photos of a pile in the order in which they came."""
        return [_photo(row) for row in self._all("SELECT * FROM photos WHERE pile = ? ORDER BY place", pile)]

    def photo(self, photo: int) -> PhotoRow | None:
        """One photo."""
        row = self._one("SELECT * FROM photos WHERE id = ?", photo)
        return None if row is None else _photo(row)

    def photo_path(self, photo: int) -> Path | None:
        """Where a photo's file lies."""
        row = self._one("SELECT pile, file FROM photos WHERE id = ?", photo)
        folder = None if row is None else self._folder_of(row["pile"])
        return None if row is None or folder is None else folder / row["file"]

    def waiting(self) -> list[PhotoRow]:
        """The photos that are to be read, of all piles, in the order in which they came."""
        return [_photo(row) for row in self._all("SELECT * FROM photos WHERE state = 'waiting' ORDER BY id")]

    def keep_read(
        self, photo: int, path: Path, slips: list[NewSlip], problems: bytes | None
    ) -> list[int] | None:
        """Keep what a photo gave, all or nothing; None when the photo is gone or is another by now.

        Parameters
        ----------
        path
            The file that was read: while it was, the photo may have been deleted or taken again.
        """
        if self.photo_path(photo) != path:
            return None
        row = self.photo(photo)
        if row is None:
            return None
        names = [self._keep(row.pile, slip.picture) for slip in slips]
        for name, slip in zip(names, slips, strict=True):
            self._keep(row.pile, slip.thumbnail, f"{name}.small")
        kept: list[int] = []
        with self._writing(row.pile) as db:
            if self.photo_path(photo) != path:
                return None
            for place, (slip, name) in enumerate(zip(slips, names, strict=True)):
                at = db.execute(
                    "INSERT INTO slips (photo, pile, place, read, outcome, picture) VALUES (?, ?, ?, ?, ?, ?)",
                    (photo, row.pile, place, slip.read, slip.outcome, name),
                ).lastrowid
                assert at is not None
                kept.append(at)
            state = "read" if slips or problems is None else "failed"
            db.execute("UPDATE photos SET state = ?, problems = ? WHERE id = ?", (state, problems, photo))
        return kept

    # Slips

    def slips(self, pile: int) -> list[SlipRow]:
        """The slips of a pile in the order of their photos."""
        rows = self._all(
            "SELECT s.id, s.pile, s.photo, s.learned, s.outcome FROM slips s JOIN photos p ON p.id = s.photo "
            "WHERE s.pile = ? ORDER BY p.place, s.place",
            pile,
        )
        return [_slip(row) for row in rows]

    def slip(self, slip: int) -> SlipRow | None:
        """One slip."""
        row = self._one("SELECT id, pile, photo, learned, outcome FROM slips WHERE id = ?", slip)
        return None if row is None else _slip(row)

    def reading(self, slip: int) -> bytes | None:
        """The encoded reading of a slip."""
        row = self._one("SELECT read FROM slips WHERE id = ?", slip)
        return None if row is None else row["read"]

    def keep_reading(self, slip: int, pile: int, read: bytes) -> None:
        """Keep a slip's reading in the place of the one before."""
        with self._writing(pile) as db:
            db.execute("UPDATE slips SET read = ? WHERE id = ?", (read, slip))

    def picture_path(self, slip: int, *, small: bool) -> Path | None:
        """Where a slip's flattened picture lies, or its small copy."""
        row = self._one("SELECT pile, picture FROM slips WHERE id = ?", slip)
        folder = None if row is None else self._folder_of(row["pile"])
        if row is None or folder is None:
            return None
        return folder / (f"{row['picture']}.small" if small else row["picture"])

    def keep_outcome(self, slip: SlipRow, learned: Mapping[str, int], outcome: bytes) -> None:
        """Keep a slip's new outcome, and the prices that led to it."""
        with self._writing(slip.pile) as db:
            db.execute(
                "UPDATE slips SET learned = ?, outcome = ? WHERE id = ?",
                (json.dumps(dict(learned)), outcome, slip.id),
            )

    # Answers

    def answer(self, slip: SlipRow, box: str, value: object, outcome: bytes) -> None:
        """Keep what a person said about a box, and what follows for the slip, together."""
        with self._writing(slip.pile) as db:
            db.execute(
                "INSERT INTO answers (slip, pile, box, value, at) VALUES (?, ?, ?, ?, ?)",
                (slip.id, slip.pile, box, json.dumps(value), datetime.now(UTC).isoformat(timespec="seconds")),
            )
            db.execute("UPDATE slips SET outcome = ? WHERE id = ?", (outcome, slip.id))

    def take_back(self, answer: Answer, slip: SlipRow, outcome: bytes) -> None:
        """Take an answer back, and keep what follows for the slip, together."""
        with self._writing(slip.pile) as db:
            db.execute("DELETE FROM answers WHERE id = ?", (answer.id,))
            db.execute("UPDATE slips SET outcome = ? WHERE id = ?", (outcome, slip.id))

    def answers(self, pile: int) -> dict[int, list[Answer]]:
        """What a person said, by slip, the oldest first."""
        found: dict[int, list[Answer]] = {}
        for row in self._all("SELECT * FROM answers WHERE pile = ? ORDER BY id", pile):
            found.setdefault(row["slip"], []).append(_answer(row))
        return found

    def answers_of(self, slip: int) -> list[Answer]:
        """What a person said about one slip, the oldest first."""
        return [_answer(row) for row in self._all("SELECT * FROM answers WHERE slip = ? ORDER BY id", slip)]

    def last_answer(self, pile: int) -> Answer | None:
        """The newest answer in a pile."""
        row = self._one("SELECT * FROM answers WHERE pile = ? ORDER BY id DESC LIMIT 1", pile)
        return None if row is None else _answer(row)

    # The evening: lists, and what was said

    def add_list(self, pile: int, kind: str, name: str, content: str, data: bytes | None = None) -> int:
        """Keep a list, and (where it is a picture, to be looked at again) its file.

        Raises
        ------
        OutputError
            When the disk is full or can't be written.
        """
        file = None if data is None else self._keep(pile, data)
        with self._writing(pile) as db:
            at = db.execute(
                "INSERT INTO lists (pile, kind, name, content, file) VALUES (?, ?, ?, ?, ?)",
                (pile, kind, name, content, file),
            ).lastrowid
        assert at is not None
        return at

    def lists(self, pile: int, kind: str) -> list[ListRow]:
        """The lists of one kind, in the order in which they came."""
        rows = self._all(
            "SELECT id, pile, kind, name, content FROM lists WHERE pile = ? AND kind = ? ORDER BY id",
            pile,
            kind,
        )
        return [ListRow(**dict(row)) for row in rows]

    def list_path(self, pile: int, at: int) -> Path | None:
        """Where the picture of a list lies, if it is one."""
        row = self._one("SELECT file FROM lists WHERE id = ? AND pile = ?", at, pile)
        folder = self._folder_of(pile)
        return None if row is None or row["file"] is None or folder is None else folder / row["file"]

    def delete_list(self, pile: int, at: int) -> None:
        """Delete a list for good."""
        path = self.list_path(pile, at)
        with self._writing(pile) as db:
            db.execute("DELETE FROM lists WHERE id = ? AND pile = ?", (at, pile))
        if path is not None:
            path.unlink(missing_ok=True)
        self._wipe()

    def say(self, pile: int, name: str, value: object) -> None:
        """Keep what was said about the evening of a pile, as plain JSON data, under a name; None takes it back."""
        with self._writing(pile) as db:
            if value is None:
                db.execute("DELETE FROM said WHERE pile = ? AND name = ?", (pile, name))
            else:
                db.execute("INSERT OR REPLACE INTO said VALUES (?, ?, ?)", (pile, name, json.dumps(value)))

    def said(self, pile: int) -> dict[str, Any]:
        """What was said about the evening of a pile, by name."""
        rows = self._all("SELECT name, value FROM said WHERE pile = ?", pile)
        return {row["name"]: json.loads(row["value"]) for row in rows}

    # People and settings

    def remember(self, name: str, address: str) -> None:
        """Remember a customer for the next pile."""
        with self._writing() as db:
            db.execute(
                "INSERT INTO people (name, address, seen) VALUES (?, ?, ?) "
                "ON CONFLICT (name, address) DO UPDATE SET seen = excluded.seen",
                (name, address, datetime.now(UTC).date().isoformat()),
            )

    def people(self) -> list[Person]:
        """The customers who were named before, by name."""
        rows = self._all("SELECT id, name, address FROM people ORDER BY name COLLATE NOCASE, address")
        return [Person(row["id"], row["name"], row["address"]) for row in rows]

    def forget(self, person: int) -> None:
        """Forget a customer for good."""
        with self._writing() as db:
            db.execute("DELETE FROM people WHERE id = ?", (person,))
        self._wipe()

    @property
    def keep_days(self) -> int:
        """How many days a closed pile is kept."""
        row = self._one("SELECT value FROM settings WHERE name = 'keep_days'")
        return KEEP_DAYS if row is None else int(row["value"])

    @keep_days.setter
    def keep_days(self, days: int) -> None:
        with self._writing() as db:
            db.execute("INSERT OR REPLACE INTO settings VALUES ('keep_days', ?)", (str(days),))

    @property
    def streets(self) -> str:
        """The seller's walk as CSV text, the same for every pile; "" while there is none."""
        row = self._one("SELECT value FROM settings WHERE name = 'streets'")
        return "" if row is None else str(row["value"])

    @streets.setter
    def streets(self, text: str) -> None:
        with self._writing() as db:
            db.execute("INSERT OR REPLACE INTO settings VALUES ('streets', ?)", (text,))

    # The file and the folder

    def _migrate(self) -> None:
        version = self._db.execute("PRAGMA user_version").fetchone()[0]
        if version > _VERSION:
            raise OutputError("These piles were kept by a newer formread. Update formread and try again.")
        self._db.row_factory = sqlite3.Row
        for step, schema in enumerate((_SCHEMA, _LISTS), 1):
            if version < step:
                with self._writing() as db:
                    for statement in schema.split(";"):
                        db.execute(statement)
                    db.execute(f"PRAGMA user_version = {step}")

    @contextmanager
    def _writing(self, pile: int | None = None) -> Iterator[sqlite3.Connection]:
        """One transaction; that of a pile makes a new revision of it."""
        with self._lock:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                if pile is not None:
                    self._db.execute("UPDATE piles SET revision = revision + 1 WHERE id = ?", (pile,))
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")

    def _all(self, query: str, *values: object) -> list[sqlite3.Row]:
        with self._lock:
            return self._db.execute(query, values).fetchall()

    def _one(self, query: str, *values: object) -> Any:
        with self._lock:
            return self._db.execute(query, values).fetchone()

    def _wipe(self) -> None:
        """Leave nothing of what was deleted in the file or its log."""
        with self._lock:
            self._db.execute("VACUUM")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def _folder_of(self, pile: int) -> Path | None:
        row = self._one("SELECT folder FROM piles WHERE id = ?", pile)
        return None if row is None else self.folder / row["folder"]

    def _pictures(self, photo: int) -> list[str]:
        rows = self._all("SELECT picture FROM slips WHERE photo = ?", photo)
        return [name for row in rows for name in (row["picture"], f"{row['picture']}.small")]

    def _free_name(self, pile: int, name: str) -> str:
        taken = {row["name"] for row in self._all("SELECT name FROM photos WHERE pile = ?", pile)}
        stem, dot, suffix = name.rpartition(".")
        if not dot:
            stem, suffix = name, ""
        number, free = 2, name
        while free in taken:
            free = f"{stem} ({number}){dot}{suffix}"
            number += 1
        return free

    def _keep(self, pile: int, data: bytes, name: str | None = None) -> str:
        """Write a picture under a name of our own, on the disk before this returns."""
        folder = self._folder_of(pile)
        if folder is None:
            raise OutputError("This pile was deleted. Open another one.")
        name = name or secrets.token_hex(12)
        try:
            with open(folder / name, "xb", opener=lambda path, flags: os.open(path, flags, 0o600)) as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            if hasattr(os, "O_DIRECTORY"):
                handle = os.open(folder, os.O_RDONLY)
                try:
                    os.fsync(handle)
                finally:
                    os.close(handle)
        except OSError as error:
            (folder / name).unlink(missing_ok=True)
            raise OutputError(
                f"The photo can't be kept ({error.strerror}). Make room on the disk and send it again."
            ) from error
        return name

    def _remove(self, pile: int, names: list[str]) -> None:
        folder = self._folder_of(pile)
        if folder is not None:
            for name in names:
                (folder / name).unlink(missing_ok=True)

    def _sweep(self) -> None:
        """Remove pictures that a pulled plug left without a row, and folders of deleted piles."""
        kept = {row["folder"]: row["id"] for row in self._all("SELECT id, folder FROM piles")}
        for folder in self.folder.iterdir():
            if not folder.is_dir():
                continue
            if folder.name not in kept:
                if len(folder.name) == 16 and all(sign in "0123456789abcdef" for sign in folder.name):
                    shutil.rmtree(folder, ignore_errors=True)
                continue
            pile = kept[folder.name]
            named = {row["file"] for row in self._all("SELECT file FROM photos WHERE pile = ?", pile)}
            named |= {row["file"] for row in self._all("SELECT file FROM lists WHERE pile = ?", pile)}
            for row in self._all("SELECT picture FROM slips WHERE pile = ?", pile):
                named |= {row["picture"], f"{row['picture']}.small"}
            for file in folder.iterdir():
                if file.name not in named:
                    file.unlink(missing_ok=True)


def _hold(path: Path) -> sqlite3.Connection:
    """Hold the folder for this process alone; the system lets go of it when the process ends, however it does."""
    held = sqlite3.connect(path, timeout=0.2, check_same_thread=False, isolation_level=None)
    try:
        held.execute("PRAGMA locking_mode = EXCLUSIVE")
        held.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        held.close()
        if "locked" not in str(error):
            raise
        raise OutputError(
            "The desk is open already. Look for its page in your browser, or close it where it was started."
        ) from error
    return held


def _pile(row: sqlite3.Row) -> PileRow:
    closed = row["closed"]
    return PileRow(
        id=row["id"],
        name=row["name"],
        day=date.fromisoformat(row["day"]),
        currency=row["currency"],
        closed=closed and date.fromisoformat(closed),
        revision=row["revision"],
    )


def _photo(row: sqlite3.Row) -> PhotoRow:
    return PhotoRow(row["id"], row["pile"], row["name"], row["state"], row["problems"])


def _slip(row: sqlite3.Row) -> SlipRow:
    return SlipRow(row["id"], row["pile"], row["photo"], json.loads(row["learned"]), row["outcome"])


def _answer(row: sqlite3.Row) -> Answer:
    return Answer(row["id"], row["slip"], row["box"], json.loads(row["value"]))
