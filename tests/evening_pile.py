"""The sample pile as a report, taken from its truth: what a check without a misreading would have found."""

import json
from functools import cache
from pathlib import Path

from formread.slips import Charge, Line, Report, Slip

ROOT = Path(__file__).parents[1]
EVENING = ROOT / "sample_evening"


@cache
def sample_report() -> Report:
    """Every sample slip as written, with its right total."""
    truth = json.loads((ROOT / "sample_scans" / "truth.json").read_text(encoding="utf-8"))
    return Report(truth["currency"], tuple(map(_slip, truth["slips"])), ())


def _slip(slip: dict[str, object]) -> Slip:
    keys = ("row", "code", "description", "quantity", "unit_price", "line_total", "struck_out")
    lines, charges = slip["lines"], slip["charges"]
    assert isinstance(lines, list)
    assert isinstance(charges, list)
    return Slip(
        photo=str(slip["photo"]),
        page=int(str(slip["page"])),
        outline=(),
        lines=tuple(Line(**{key: line[key] for key in keys}) for line in lines),
        charges=tuple(Charge(charge["kind"], charge["amount"]) for charge in charges),
        written_total=slip["written_total"],  # type: ignore[arg-type]
        computed_total=int(str(slip["computed_total"])),
        difference=slip["difference"],  # type: ignore[arg-type]
        verdict=slip["verdict"],  # type: ignore[arg-type]
        probability_wrong=0.0,
        reason="",
        slip_number=slip["slip_number"],  # type: ignore[arg-type]
        customer=None,
    )
