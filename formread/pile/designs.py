"""Slip designs on disk: one small readable file each, to be kept and passed on."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, get_args

from formread.errors import ListError, OutputError
from formread.layout.design import DesignColumn, DesignTotal, Shares, SlipDesign
from formread.layout.heading_print import LINES, PLACES, HeadingPrint
from formread.layout.record import ColumnRole, TotalRole

SUFFIX = ".slip.json"
_KIND = "slip design"


def write_design(design: SlipDesign, path: Path) -> None:
    """Write one design.

    Raises
    ------
    OutputError
        When the file can't be written.
    """
    columns = [
        {"role": c.role, "heading": c.heading, "left": c.left, "right": c.right}
        | ({} if c.pence is None else {"pence": c.pence})
        for c in design.columns
    ]
    body = {
        "formread": _KIND,
        "name": design.name,
        "rows": design.rows,
        "proportion": design.proportion,
        "columns": columns,
        "totals": [_plain(total) for total in design.totals],
        "spare": [list(place) for place in design.spare],
        "number": None if design.number is None else list(design.number),
        "print": None if design.heading is None else list(design.heading),
    }
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(body, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"The slip design can't be written to {str(path)!r} ({error.strerror}). Choose another file."
        ) from error


def _plain(total: DesignTotal) -> dict[str, Any]:
    left, top, right, bottom = total.place or (None,) * 4
    body = {
        "role": total.role,
        "label": total.label,
        "left": left,
        "top": top,
        "right": right,
        "bottom": bottom,
    }
    return body | ({} if total.pence is None else {"pence": total.pence})


def read_design(path: Path) -> SlipDesign:
    """Read one design.

    Raises
    ------
    ListError
        When the file is no slip design.
    """
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
        return _design(body)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise ListError(
            f"{str(path)!r} is not a slip design. Teach it again with: formread design PHOTO --out {path.name}"
        ) from error


def _design(body: dict[str, Any]) -> SlipDesign:
    columns = tuple(
        DesignColumn(
            c["role"],
            str(c.get("heading", "")),
            float(c["left"]),
            float(c["right"]),
            None if c.get("pence") is None else float(c["pence"]),
        )
        for c in body["columns"]
    )
    totals = tuple(map(_total, body["totals"]))
    known = all(c.role in get_args(ColumnRole) for c in columns)
    known = known and all(total.role in get_args(TotalRole) for total in totals)
    rows, proportion = int(body["rows"]), float(body["proportion"])
    if body["formread"] != _KIND or not known or not columns or rows < 1 or not proportion > 0:
        raise ValueError("not a slip design")
    return SlipDesign(
        str(body["name"]),
        columns,
        rows,
        proportion,
        totals,
        tuple(map(_place, body.get("spare", ()))),
        None if body.get("number") is None else _place(body["number"]),
        _heading(body.get("print")),
    )


def _total(body: dict[str, Any] | TotalRole) -> DesignTotal:
    """Read one box of the totals; until places were kept it was its role alone."""
    if isinstance(body, str):
        return DesignTotal(body)
    place = (
        None if body["left"] is None else _place([body[side] for side in ("left", "top", "right", "bottom")])
    )
    pence = body.get("pence")
    return DesignTotal(body["role"], str(body["label"]), place, None if pence is None else float(pence))


def _place(sides: Sequence[float]) -> Shares:
    left, top, right, bottom = map(float, sides)
    return left, top, right, bottom


def _heading(lines: Sequence[str] | None) -> HeadingPrint | None:
    if lines is None:
        return None
    heading = tuple(map(str, lines))
    if len(heading) != LINES or any(len(line) != PLACES or int(line, 16) < 0 for line in heading):
        raise ValueError("no print over columns")
    return heading


def read_designs(folder: Path) -> list[SlipDesign]:
    """Read every design in a folder, by file name.

    Raises
    ------
    ListError
        When there is no such folder, or a design in it can't be used.
    """
    if not folder.is_dir():
        raise ListError(f"There is no folder {str(folder)!r}. Give the folder that holds your slip designs.")
    return [read_design(path) for path in sorted(folder.glob(f"*{SUFFIX}"))]
