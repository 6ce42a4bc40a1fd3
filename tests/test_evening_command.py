"""One command from the slips, a price list, a photographed delivery note and a street list to the whole evening."""

import io
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from openpyxl import load_workbook

from formread.cli import main
from formread.export.result import to_json
from formread.slips import Report
from tests.evening_pile import EVENING, sample_report


def test_one_command_makes_the_whole_evening(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result, out = tmp_path / "result.json", tmp_path / "evening"
    result.write_text(to_json(sample_report()), encoding="utf-8")
    command = ["round", str(result), "--prices", str(EVENING / "price_list.csv")]
    # Three of the note's pages as lists and one as its photograph: each photograph takes some seconds to read.
    truth = json.loads((EVENING / "truth.json").read_text(encoding="utf-8"))["pages"]
    for at, page in enumerate(truth[:-1]):
        listed = tmp_path / f"page_{at}.csv"
        lines = [
            f"{e['code']},{e['description']},{e['quantity']},{e['instead_of'] or ''}" for e in page["lines"]
        ]
        listed.write_text("\n".join(["code,description,sent,instead of", *lines]), encoding="utf-8")
        command += ["--note", str(listed)]
    command += ["--note", str(EVENING / truth[-1]["photo"])]
    command += ["--customers", str(EVENING / "customers.csv"), "--streets", str(EVENING / "streets.csv")]
    assert main([*command, "--out", str(out)]) == 0
    assert {path.name for path in out.iterdir()} == {
        "evening.xlsx", "packing_list.pdf", "bag_labels.pdf", "round_sheet.pdf", "float.pdf", "notes.pdf",
        "at_the_door.html",
    }  # fmt: skip
    book = load_workbook(out / "evening.xlsx", data_only=True)

    def column(sheet: str, title: str) -> list[float]:
        titles = [cell.value for cell in book[sheet][1]]
        at = titles.index(title)
        return [
            row[at].value or 0 for row in book[sheet].iter_rows(min_row=2) if isinstance(row[0].value, int)
        ]

    def pence(values: list[float]) -> int:
        return sum(round(100 * value) for value in values)

    right = sum(slip.computed_total for slip in sample_report().slips)
    assert pence(column("Bills", "Right total")) == right
    assert pence(column("Bills", "Due now")) + pence(column("Bills", "Still to come")) == right
    assert pence(column("Round", "Due")) == pence(column("Bills", "Due now"))
    assert sum(column("Packing", "Ordered")) == sum(column("Packing", "In the bag")) + sum(
        column("Packing", "To come")
    )
    # The note's truth: four pieces short, one product replaced, one piece too many, three that nobody ordered.
    sent = sum(line["quantity"] for page in truth for line in page["lines"])
    assert sum(column("Delivery check", "Delivered")) == sent
    said = capsys.readouterr()
    # Amounts due = cash expected; float + cash expected = cash in hand at the end.
    told = re.search(r"in cash: due £(\S+), cash £(\S+), .*purse £(\S+)", said.out)
    floated = re.search(r"Float for .*: £(\S+)", said.out)
    assert told
    assert floated
    due, taken, purse = (pence([float(amount)]) for amount in told.groups())
    assert due == taken == pence(column("Round", "Due"))
    assert purse == pence([float(floated[1])]) + taken
    assert "own total" not in said.err


def test_goods_alone_says_what_to_order_and_what_is_short(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    result, note = tmp_path / "result.json", tmp_path / "note.csv"
    result.write_text(to_json(sample_report()), encoding="utf-8")
    note.write_text("code,sent\n112548,1\n")
    assert main(["goods", str(result), "--note", str(note), "--out", str(tmp_path / "out")]) == 0
    assert "still to come" in capsys.readouterr().out
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "goods.xlsx",
        "packing_list.pdf",
        "notes.pdf",
    }


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--first", "nobody"], "no slip 'nobody'"),
        (["--note", "nowhere.csv"], "nowhere.csv can't be opened"),
        (["--prices", "nowhere.csv"], "nowhere.csv can't be opened"),
    ],
)
def test_what_is_not_there_is_said_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], words: str
) -> None:
    result = tmp_path / "result.json"
    result.write_text(to_json(sample_report()), encoding="utf-8")
    assert main(["goods", str(result), *more]) == 2
    assert words in capsys.readouterr().err


def test_new_streets_are_asked_about_and_the_answers_kept_in_the_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    slips = tuple(
        replace(slip, customer=who, address=where)
        for slip, (who, where) in zip(
            sample_report().slips, [("A", "5 Sorrel Close"), ("B", "3 Hasp Lane")], strict=False
        )
    )
    result, streets = tmp_path / "result.json", tmp_path / "streets.csv"
    result.write_text(to_json(Report("GBP", slips, ())), encoding="utf-8")
    streets.write_text("Street,Side\nHasp Lane,\n")
    command = ["round", str(result), "--streets", str(streets), "--ask"]
    monkeypatch.setattr("sys.stdin", io.StringIO("Nowhere\nfirst\n"))
    assert main(command) == 0
    said = capsys.readouterr()
    assert "no street of the walk" in said.err
    assert said.out.index("Sorrel Close") < said.out.index("Hasp Lane")
    assert streets.read_text().splitlines()[1].startswith("Sorrel Close")
    assert (tmp_path / "streets-before.csv").read_text() == "Street,Side\nHasp Lane,\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(command) == 0
    assert "Say where" not in capsys.readouterr().err
    # What is left unanswered is asked again, and the list stays as it is.
    streets.write_text("Street,Side\nHasp Lane,\n")
    assert main(command) == 0
    assert streets.read_text() == "Street,Side\nHasp Lane,\n"
