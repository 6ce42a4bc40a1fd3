"""LibreOffice as the outside judge of spreadsheets."""

import subprocess
from collections.abc import Callable, Sequence
from io import BytesIO
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from tests.programs import need_program

Recalculate = Callable[[Sequence[bytes]], list[Workbook]]

# Formulas are computed afresh on loading, whatever results are stored (LibreOffice help, "Formula", section
# "Recalculation on File Load": 0 is "Always recalculate").
ALWAYS_RECALCULATE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>
"""


@pytest.fixture(scope="session")
def recalculate(tmp_path_factory: pytest.TempPathFactory) -> Recalculate:
    """Open workbooks in LibreOffice, compute every formula afresh and give back the results."""
    office = need_program("soffice", "libreoffice")
    profile = tmp_path_factory.mktemp("office")
    (profile / "user").mkdir()
    (profile / "user" / "registrymodifications.xcu").write_text(ALWAYS_RECALCULATE, encoding="utf-8")

    def run(files: Sequence[bytes]) -> list[Workbook]:
        folder = tmp_path_factory.mktemp("books")
        names = []
        for place, data in enumerate(files):
            names.append(str(folder / f"book{place}.xlsx"))
            Path(names[-1]).write_bytes(data)
        out = folder / "out"
        command = [office, f"-env:UserInstallation={profile.as_uri()}", "--headless"]
        command += ["--convert-to", "xlsx", "--outdir", str(out), *names]
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        return [
            load_workbook(BytesIO((out / Path(name).name).read_bytes()), data_only=True) for name in names
        ]

    return run
