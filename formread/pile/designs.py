"""Slip designs on disk: one small readable file each, to be kept and passed on."""

import json
from pathlib import Path
from typing import Any, get_args

from formread.errors import ListError, OutputError
from formread.layout.design import DesignColumn, SlipDesign
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
        "totals": list(design.totals),
    }
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(body, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"The slip design can't be written to {str(path)!r} ({error.strerror}). Choose another file."
        ) from error


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
    totals: tuple[TotalRole, ...] = tuple(body["totals"])
    known = all(c.role in get_args(ColumnRole) for c in columns)
    known = known and all(role in get_args(TotalRole) for role in totals)
    rows, proportion = int(body["rows"]), float(body["proportion"])
    if body["formread"] != _KIND or not known or not columns or rows < 1 or not proportion > 0:
        raise ValueError("not a slip design")
    return SlipDesign(str(body["name"]), columns, rows, proportion, totals)


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
