"""Which photos are meant."""

from pathlib import Path

import pytest

from formread.errors import UsageError
from formread.pile import gather


def _touch(folder: Path, *names: str) -> None:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")


def test_a_folder_gives_its_photos_by_name_and_passes_over_the_rest(tmp_path: Path) -> None:
    _touch(tmp_path, "b.jpg", "a.HEIC", "more/c.pdf", "truth.json", "notes.txt", ".hidden/d.jpg", ".e.jpg")
    assert [f.name for f in gather([tmp_path])] == ["a.HEIC", "b.jpg", "more/c.pdf"]


def test_a_file_named_outright_is_tried_whatever_its_ending(tmp_path: Path) -> None:
    _touch(tmp_path, "scan.unknown")
    assert [f.name for f in gather([tmp_path / "scan.unknown"])] == ["scan.unknown"]


def test_a_photo_meant_twice_is_read_once(tmp_path: Path) -> None:
    _touch(tmp_path, "a.jpg")
    assert len(gather([tmp_path, tmp_path / "a.jpg"])) == 1


def test_a_missing_path_is_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"nowhere\.jpg"):
        gather([tmp_path / "nowhere.jpg"])


def test_a_folder_without_photos_says_what_formread_reads(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="JPEG"):
        gather([tmp_path])
