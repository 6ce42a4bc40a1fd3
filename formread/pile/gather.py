"""Which photos are meant: files and folders given by a person, in a stable order."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from formread.errors import UsageError

PHOTO_SUFFIXES = frozenset(
    (".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff", ".webp", ".bmp", ".heic", ".heif", ".pdf")
)
"""What phones and scanners make. Other files in a folder (lists, notes) are passed over."""


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A file to read, and its name in the result: relative to the path that was given."""

    path: Path
    name: str


def gather(paths: Iterable[Path]) -> list[PhotoFile]:
    """List the photos behind `paths`.

    Parameters
    ----------
    paths
        Files, taken whatever their name, and folders, searched with their subfolders for photos and PDFs.

    Returns
    -------
    list of PhotoFile
        In the order given, inside a folder by name; each file once.

    Raises
    ------
    UsageError
        When a path does not exist, or when there is no photo at all.
    """
    found: dict[Path, PhotoFile] = {}
    given = list(paths)
    for path in given:
        if path.is_dir():
            members = sorted(
                (p for p in path.rglob("*") if p.suffix.lower() in PHOTO_SUFFIXES and not _hidden(p, path)),
                key=lambda p: p.relative_to(path).as_posix(),
            )
            for member in members:
                found.setdefault(member.resolve(), PhotoFile(member, member.relative_to(path).as_posix()))
        elif path.exists():
            found.setdefault(path.resolve(), PhotoFile(path, path.name))
        else:
            raise UsageError(f"There is no file or folder {str(path)!r}. Check the name and try again.")
    if not found:
        names = ", ".join(repr(str(p)) for p in given)
        raise UsageError(f"There is no photo in {names}. formread reads JPEG, PNG, HEIC, TIFF, WebP and PDF.")
    return list(found.values())


def _hidden(path: Path, folder: Path) -> bool:
    return any(part.startswith(".") for part in path.relative_to(folder).parts)
