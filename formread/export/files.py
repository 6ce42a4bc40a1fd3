"""Files written whole or not at all, and what to say when that fails.

A file is written beside its place under a name of its own and then moved over it, so that a full disk or a
closed lid never leaves half a spreadsheet where a whole one was.
"""

import errno
import os
import secrets
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from formread.errors import OutputError

_NO_FOLDER = "there is a file where a folder is needed. Give another name."
_NOT_ALLOWED = "writing there is not allowed. Give a folder of your own."
_FULL = "the disk is full. Make room and try again."
_OPEN = "it is open in another program. Close it there and try again."
_NAME = "the name is too long or has signs that this disk does not allow. Give a plainer name."

_CAUSES = {
    errno.EISDIR: "it is a folder. Give the name of a file in it.",
    errno.EEXIST: _NO_FOLDER,
    errno.ENOTDIR: _NO_FOLDER,
    errno.EACCES: _NOT_ALLOWED,
    errno.EPERM: _NOT_ALLOWED,
    errno.EROFS: "the disk can only be read. Give a folder of your own.",
    errno.ENOSPC: _FULL,
    errno.EDQUOT: _FULL,
    errno.EBUSY: _OPEN,
    errno.ENAMETOOLONG: _NAME,
    errno.EINVAL: _NAME,
    errno.EILSEQ: _NAME,
}


def write_file(path: Path, data: bytes) -> None:
    """Write `data` to `path`, replacing what was there only once everything is on the disk.

    A link is followed, and a device or a pipe (``/dev/stdout``) is written to directly.

    Raises
    ------
    OutputError
        When the folder is missing, writing is not allowed, the file is open elsewhere, the disk is full.
    """
    try:
        _write(path.resolve(), data)
    except OSError as error:
        raise OutputError(_explain(path, error)) from error


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write several files into `folder`, which is made if its own parent is there.

    All are put on the disk before the first takes its place, so a full disk leaves the old set complete.

    Raises
    ------
    OutputError
        As for :func:`write_file`.
    """
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError(_explain(folder, error)) from error
    waiting: list[tuple[Path, Path]] = []
    path = folder
    try:
        for name, data in files.items():
            path = folder / name
            waiting.append((_beside(path, data), path))
        for temporary, path in waiting:
            temporary.replace(path)
    except OSError as error:
        raise OutputError(_explain(path, error)) from error
    finally:
        for temporary, _ in waiting:
            temporary.unlink(missing_ok=True)


def _write(path: Path, data: bytes) -> None:
    if path.exists() and not path.is_file() and not path.is_dir():
        path.write_bytes(data)
        return
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    temporary = _beside(path, data)
    try:
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def _beside(path: Path, data: bytes) -> Path:
    """Write `data` beside `path` under a name of its own; nothing is left behind when that fails."""
    temporary = path.with_name(f".{path.name[:80]}.{secrets.token_hex(4)}.part")
    try:
        # Opened by name, not by tempfile: the file then gets the permissions that the person's files get.
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise
    return temporary


def _explain(path: Path, error: OSError) -> str:
    """Say what happened to `path`, and what to do next."""
    return f"{path} could not be written: {_cause(path, error)}"


def _cause(path: Path, error: OSError) -> str:
    number = error.errno
    if number in {errno.EACCES, errno.EPERM} and os.name == "nt":
        return "it is open in another program, or the folder is protected. Close it there and try again."
    if number == errno.ENOENT:
        return f"the folder {path.parent} does not exist. Make it first, or give another place."
    return _CAUSES.get(number or 0, f"{error.strerror or error}. Give another place and try again.")
