"""The comparison counts what it says it counts, on pairs of result and truth made by hand."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from tests.measure.compare import Record, Share, align_rows, compare, main, match_slips, mismatches, overlap


def box(left: float, top: float = 0) -> list[list[float]]:
    return [[left, top], [left + 100, top], [left + 100, top + 100], [left, top + 100]]


def line(row: int, quantity: int | None, price: int, total: int | None, **more: Any) -> Record:
    values: Record = {
        "row": row,
        "code": None,
        "quantity": quantity,
        "unit_price": price,
        "line_total": total,
    }
    return values | {"struck_out": False} | more


def slip(photo: str, left: float, verdict: str, written: int | None, *lines: Record) -> Record:
    computed = sum(item["line_total"] or 0 for item in lines if not item["struck_out"])
    return {
        "photo": photo,
        "page": 1,
        "outline": box(left),
        "slip_number": f"{left:.0f}",
        "lines": list(lines),
        "charges": [],
        "written_total": written,
        "computed_total": computed,
        "verdict": verdict,
    }


TRUTH = [
    slip("a.jpg", 0, "agrees", 700, line(1, 2, 150, 300), line(2, 4, 100, 400)) | {"copy": "top"},
    slip("a.jpg", 200, "wrong", 500, line(1, 1, 400, 400), line(2, 9, 9, 81, struck_out=True))
    | {"copy": "carbon"},
    slip("b.jpg", 0, "unsure", None) | {"copy": "top"},
    slip("c.jpg", 0, "wrong", 90, line(1, 1, 80, 80)) | {"copy": "top"},
]


def shares(results: list[Record]) -> dict[str, tuple[int, int]]:
    figures = compare(*match_slips(results, TRUTH))
    return {name: (share.hits, share.n) for name, share in figures.shares.items()}


def test_the_truth_compared_with_itself_has_nothing_amiss() -> None:
    got = shares(copy.deepcopy(TRUTH))
    assert got["slips found"] == (4, 4)
    assert got["quantity"] == got["unit_price"] == got["line_total"] == (4, 4)
    assert got["written_total"] == (3, 3)
    assert got["struck-out rows seen as such"] == (1, 1)
    assert got["numbers in struck-out rows"] == (3, 3)
    assert got["right total worked out"] == (3, 3)
    assert got["wrong: caught"] == (2, 2)
    assert got["right: agrees"] == got["no total or blank: unsure"] == (1, 1)
    assert mismatches(copy.deepcopy(TRUTH), TRUTH) == "0 mismatches\n"


def test_each_kind_of_miss_is_counted_where_it_belongs() -> None:
    results = copy.deepcopy(TRUTH[:3])  # the slip on c.jpg is missed
    results[0]["outline"] = box(10)  # 90 of 110: still that slip
    results[0]["lines"][0]["quantity"] = 7
    results[0]["verdict"] = "wrong"
    results[1]["lines"][1]["struck_out"] = False
    results[1]["verdict"] = "agrees"
    results[1]["computed_total"] = 481
    results[2]["written_total"] = 5
    results.append(slip("d.jpg", 0, "agrees", 1))  # there is no such slip
    got = shares(results)
    assert got["slips found"] == (3, 4)
    assert got["quantity"] == (2, 4)  # one misread, one on the missed slip
    assert got["unit_price"] == (3, 4)
    assert got["written_total"] == (2, 3)
    assert got["empty boxes left empty"] == (3, 4)  # three empty codes; a total where none is
    assert got["struck-out rows seen as such"] == (0, 1)
    assert got["right total worked out"] == (1, 3)
    assert got["wrong: passed as agreeing"] == got["wrong: slip not found"] == (1, 2)
    assert got["wrong: caught"] == (0, 2)
    assert got["right: called wrong (false alarm)"] == (1, 1)
    assert got["no total or blank: unsure"] == (1, 1)
    assert mismatches(results, TRUTH).splitlines() == [
        "8 mismatches",
        "  a.jpg page 1, slip 0, row 1, quantity: truth 2, read 7",
        "  a.jpg page 1, slip 0, verdict: truth 'agrees', read 'wrong'",
        "  a.jpg page 1, slip 200, row 2, struck_out: truth True, read False",
        "  a.jpg page 1, slip 200, computed_total: truth 400, read 481",
        "  a.jpg page 1, slip 200, verdict: truth 'wrong', read 'agrees'",
        "  b.jpg page 1, slip 0, written_total: truth None, read 5",
        "  c.jpg page 1, slip 0, slip: truth 'there', read 'not found'",
        "  d.jpg page 1, slip 0, slip: truth 'no such slip', read 'invented'",
    ]


def test_slips_pair_by_the_best_overlap_of_the_page() -> None:
    results = [slip("a.jpg", 190, "wrong", 1), slip("a.jpg", 5, "agrees", 2), slip("c.jpg", 51, "wrong", 3)]
    pairs, invented = match_slips(results, TRUTH)
    assert [read and read["written_total"] for _, read in pairs] == [2, 1, None, None]
    assert [read["photo"] for read in invented] == ["c.jpg"]  # 49 of 151: too little


def test_overlap_is_intersection_over_union() -> None:
    assert overlap(box(0), box(0)) == pytest.approx(1)
    assert overlap(box(0), box(50)) == pytest.approx(50 / 150)
    assert overlap(box(0), box(0)[::-1]) == pytest.approx(1)
    assert overlap(box(0), box(300)) == 0
    assert overlap(box(0), [[0, 0], [1, 1], [2, 2], [3, 3]]) == 0


def test_rows_numbered_from_the_wrong_row_pair_all_the_same() -> None:
    truth = [line(row, row, 100 * row + 9, row * (100 * row + 9)) for row in (1, 2, 3)]
    shifted = [item | {"row": item["row"] + 1} for item in truth]
    pairs, extra = align_rows(truth, shifted)
    assert [(one["row"], other and other["row"]) for one, other in pairs] == [(1, 2), (2, 3), (3, 4)]
    assert extra == []


def test_a_row_that_is_missing_or_too_many_costs_only_itself() -> None:
    truth = [line(row, row, 109, row * 109) for row in (1, 2, 3)]
    pairs, extra = align_rows(truth, [truth[0], truth[2], line(7, 5, 5, 25)])
    assert [other and other["row"] for _, other in pairs] == [1, None, 3]
    assert [row["row"] for row in extra] == [7]


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_intervals_are_those_of_the_paper(hits: int, n: int, low: float, high: float) -> None:
    """Newcombe 1998, Statistics in Medicine 17, 857-872, table I, method 3 (score); from memory."""
    assert Share(hits, n).interval() == pytest.approx((low, high), abs=5e-5)


def test_the_command_prints_groups_and_lists(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    truth = tmp_path / "truth.json"
    truth.write_text(json.dumps({"slips": TRUTH}), encoding="utf-8")
    assert main([str(truth), str(truth), "--list"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("4 slips in the truth: 4 found, 0 missed; 0 invented.\n")
    assert "\ncopy carbon: 1 slips\n" in out
    assert "\ncopy top: 3 slips\n" in out
    assert out.endswith("\n0 mismatches\n")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[1]",
        '{"slips": 3}',
        '{"slips": [null]}',
        '{"slips": [{"photo": "a.jpg", "verdict": "wrong", "outline": [], "lines": []}]}',
        json.dumps({"slips": [TRUTH[0] | {"lines": [{}]}]}),
        json.dumps({"slips": [TRUTH[0] | {"photo": "elsewhere.jpg"}]}),
        "[" * 100_000,
    ],
)
def test_bad_files_end_with_a_sentence(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    truth, bad = tmp_path / "truth.json", tmp_path / "bad.json"
    truth.write_text(json.dumps({"slips": TRUTH}), encoding="utf-8")
    bad.write_text(text, encoding="utf-8")
    assert main([str(bad), str(truth)]) == 2
    assert main([str(tmp_path / "missing.json"), str(truth)]) == 2
    written = capsys.readouterr()
    assert written.out == ""
    assert [message.startswith("compare: ") for message in written.err.splitlines()] == [True, True]
