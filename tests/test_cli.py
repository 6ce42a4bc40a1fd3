"""The command line, on a sample photo and on what is no photo."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from formread.cli import main

SAMPLES = Path(__file__).parent.parent / "sample_scans"


def test_one_bad_photo_never_stops_the_pile(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pile = tmp_path / "pile"
    pile.mkdir()
    shutil.copy(SAMPLES / "scan_02.jpg", pile / "good.jpg")
    (pile / "cut_short.jpg").write_bytes((SAMPLES / "scan_02.jpg").read_bytes()[:20_000])
    (pile / "empty.jpg").write_bytes(b"")
    (pile / "letter.jpg").write_text("not a photo")
    result = tmp_path / "result.json"

    status = main(
        ["check", str(pile), "--json", str(result), "--jobs", "1", "--pictures", str(tmp_path / "p")]
    )

    report = json.loads(result.read_text("utf-8"))
    assert status == 3
    assert [slip["photo"] for slip in report["slips"]] == ["good.jpg"]
    assert {problem["photo"] for problem in report["problems"]} == {
        "cut_short.jpg",
        "empty.jpg",
        "letter.jpg",
    }
    assert all("Traceback" not in problem["message"] for problem in report["problems"])
    assert [path.suffix for path in (tmp_path / "p").iterdir()] == [".jpg"]
    assert "1 slip" in capsys.readouterr().out.splitlines()[-1]


def test_a_photo_that_may_not_be_opened_is_a_problem_in_plain_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    locked = tmp_path / "locked.jpg"
    shutil.copy(SAMPLES / "scan_02.jpg", locked)
    opened = Path.open

    def refuse(path: Path, *more: Any, **named: Any) -> Any:
        # Whoever runs the tests may be allowed everything, so a mode without rights would show nothing.
        if path.name == "locked.jpg":
            raise PermissionError(13, "Permission denied")
        return opened(path, *more, **named)

    monkeypatch.setattr(Path, "open", refuse)
    assert main(["check", str(locked), "--jobs", "1"]) == 3
    said = capsys.readouterr().err
    assert "locked.jpg" in said
    assert "may not be opened by you" in said
    assert "Traceback" not in said


def test_a_sample_slip_of_a_test_writer_is_read_to_the_penny(tmp_path: Path) -> None:
    # Real digits of MNIST's test part (LeCun, Cortes, Burges 1998), drawn as a slip and scanned.
    result = tmp_path / "result.json"
    main(["check", str(SAMPLES / "scan_02.jpg"), "--json", str(result), "--jobs", "1"])
    read = json.loads(result.read_text("utf-8"))["slips"][0]
    truths = json.loads((SAMPLES / "truth.json").read_text("utf-8"))["slips"]
    truth = next(slip for slip in truths if slip["photo"] == "scan_02.jpg")
    assert read["written_total"] == truth["written_total"]
    assert read["computed_total"] == truth["computed_total"]
    assert read["verdict"] == truth["verdict"]


def test_a_path_that_is_not_there_is_wrong_usage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path / "nowhere.jpg")]) == 2
    assert "nowhere.jpg" in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--delivery", "--delivery-free-from"])
def test_an_amount_that_is_none_is_refused_in_plain_words(
    option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(SAMPLES / "scan_02.jpg"), option, "lots"]) == 2
    said = capsys.readouterr().err
    assert option in said
    assert "such as 2.50" in said
