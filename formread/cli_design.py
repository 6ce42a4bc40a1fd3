"""The command ``formread design``: teach a slip design from a blank or filled slip."""

import argparse
import sys
from pathlib import Path
from typing import cast, get_args

from formread.errors import PhotoError, UsageError
from formread.layout.design import SlipDesign
from formread.layout.record import ColumnRole


def add_design(parser: argparse.ArgumentParser) -> None:
    """Add the command's options to its parser."""
    parser.add_argument(
        "photo", type=Path, metavar="PHOTO", help="a photo or scan of one slip, blank or filled"
    )
    parser.add_argument(
        "--out", type=Path, required=True, metavar="FOLDER", help="where your slip designs are kept"
    )
    parser.add_argument("--name", metavar="NAME", help="what to call it (default: the photo's name)")
    parser.add_argument(
        "--columns",
        metavar="ROLE,ROLE,...",
        help="what the columns are, from the left, where the headings were misunderstood: "
        + ", ".join(get_args(ColumnRole)),
    )
    parser.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    from formread.layout.design import learn
    from formread.layout.heading_print import heading_print
    from formread.photo import read_photo
    from formread.pile.designs import SUFFIX, write_design
    from formread.pile.photo import laid_out
    from formread.sheet.search import find_sheets

    if not options.photo.is_file():
        raise UsageError(f"There is no file {str(options.photo)!r}. Check the name and try again.")
    page = next(iter(read_photo(options.photo)))
    sheets = find_sheets(page.image)
    found = [(sheet, search) for sheet, search in laid_out(sheets.sheets) if search]
    if len(found) != 1:
        said = "no slip with a table" if not found else f"{len(found)} slips"
        raise PhotoError(
            f"There is {said} in this photo. Photograph one slip alone, flat, from straight above."
        )
    name = options.name or options.photo.stem
    sheet, layout = found[0][0], found[0][1].layouts[0]
    design = learn(name, layout, heading_print(sheet.image, layout))
    if options.columns:
        design = _renamed(design, options.columns)
    file = "".join(c if c.isalnum() or c in "-_" else "_" for c in name) + SUFFIX
    write_design(design, options.out / file)
    sys.stdout.write(
        _told(design)
        + f"\nKept as {options.out / file}. Use it with: formread check --designs {options.out}\n"
    )
    return 0


def _renamed(design: SlipDesign, wanted: str) -> SlipDesign:
    """Give the columns the roles that a person named."""
    from dataclasses import replace

    roles = [role.strip() for role in wanted.split(",")]
    strange = [role for role in roles if role not in get_args(ColumnRole)]
    if strange:
        raise UsageError(
            f"{strange[0]!r} is no kind of column. Choose from: {', '.join(get_args(ColumnRole))}."
        )
    if len(roles) != len(design.columns):
        raise UsageError(f"This slip has {len(design.columns)} columns, {len(roles)} were named.")
    columns = tuple(
        replace(column, role=cast(ColumnRole, role))
        for column, role in zip(design.columns, roles, strict=True)
    )
    return replace(design, columns=columns)


def _told(design: SlipDesign) -> str:
    columns = [f"{column.role} ({column.heading or 'no heading read'})" for column in design.columns]
    totals = ", ".join(total.role for total in design.totals) or "none"
    return f"{design.rows} rows; columns: {', '.join(columns)}; totals: {totals}."
