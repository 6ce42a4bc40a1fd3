"""The result file carries a report whole, and says plainly what is wrong with a file that is none."""

import json
from typing import Any

import pytest
from hypothesis import given, settings

from formread.errors import ListError
from formread.export.result import from_json, to_json
from formread.slips import Report
from tests.export.pile import PILE
from tests.strategies import reports

# The keys of the design's "Fixed: the result file".
TOP_KEYS = ["formread", "currency", "minor_unit_digits", "slips", "problems"]
SLIP_KEYS = [
    "photo",
    "page",
    "outline",
    "slip_number",
    "customer",
    "lines",
    "charges",
    "written_total",
    "computed_total",
    "difference",
    "verdict",
    "probability_wrong",
    "reason",
]
LINE_KEYS = ["row", "code", "description", "quantity", "unit_price", "line_total", "struck_out"]


@given(reports())
def test_a_report_comes_back_as_it_went_out(report: Report) -> None:
    text = to_json(report)
    assert from_json(text) == report
    assert to_json(from_json(text)) == text
    text.encode("utf-8")


def test_the_file_has_the_fixed_keys_in_their_order() -> None:
    whole = json.loads(to_json(PILE))
    assert list(whole) == TOP_KEYS
    assert [key for key in whole["slips"][0] if key in SLIP_KEYS] == SLIP_KEYS
    assert list(whole["slips"][0]["lines"][0]) == LINE_KEYS
    assert whole["slips"][1]["lines"][0] == {
        "row": 1,
        "code": "230-11",
        "description": "Rosemary oil",
        "quantity": 4,
        "unit_price": 395,
        "line_total": 1680,
        "struck_out": False,
    }
    assert whole["slips"][0]["charges"] == [{"kind": "delivery", "amount": 150}]
    assert whole["problems"] == [
        {
            "photo": "IMG_0005.jpg",
            "page": None,
            "message": "The photo is cut off in the middle. Copy it again.",
        }
    ]


def test_a_file_name_that_is_not_valid_text_survives() -> None:
    report = Report("GBP", (), (type(PILE.problems[0])("caf\udce9.jpg", None, "£"),))
    text = to_json(report)
    assert "£" in text
    assert from_json(text.encode("utf-8").decode("utf-8")) == report


def changed(**changes: Any) -> str:
    whole = json.loads(to_json(PILE))
    whole["slips"][1].update(changes)
    return json.dumps(whole)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not JSON"),
        ("[" * 100_000, "not JSON"),
        ("[]", "must be a record"),
        ("{}", "has no 'currency'"),
        ('{"currency": "XQQ"}', "does not know the currency"),
        ('{"currency": "JPY", "minor_unit_digits": 2}', "ISO 4217 gives it 0"),
        (changed(written_total=22.8), "'written_total' of item 2 of 'slips'"),
        (changed(written_total=True), "whole number"),
        (changed(difference=-100), "written total less the computed total"),
        (changed(verdict="fine"), "one of agrees, wrong, unsure"),
        (changed(probability_wrong=1.5), "between 0 and 1"),
        (changed(outline=[[1, 2, 3]]), "two numbers, x and y"),
        (changed(outline=[[1, float("nan")]]), "finite"),
        (changed(outline=[[1, 10**400]]), "finite"),
        (changed(lines={}), "must be a list"),
    ],
)
def test_a_bad_file_is_named_with_the_place_and_what_is_wrong_there(text: str, said: str) -> None:
    with pytest.raises(ListError, match=said):
        from_json(text)


def test_keys_of_later_versions_are_passed_over_and_missing_extras_have_defaults() -> None:
    whole = json.loads(to_json(PILE))
    for slip in whole["slips"]:
        slip["colour"] = "pink"
        for key in ("right_line_totals", "suspect_rows", "ask", "at_stake"):
            del slip[key]
    report = from_json(json.dumps(whole))
    assert report.slips[1].computed_total == 2180
    assert report.slips[1].at_stake == 0
    assert report.slips[1].right_line_totals == ()


@settings(max_examples=20)
@given(reports())
def test_the_same_report_gives_the_same_bytes(report: Report) -> None:
    assert to_json(report) == to_json(report)
