"""A spreadsheet program without a window. Where there is none the tests fail: nobody would know what was not tried."""

from __future__ import annotations

import csv
import shutil
import subprocess
from collections.abc import Callable
from functools import cached_property
from pathlib import Path

import pytest

PATIENCE_S = 120
# comma, double quotes, UTF-8, from line 1, no column formats, no language, quote only what needs it, detect numbers;
# values as they are and not as shown, no formulas, no blanks cut, every sheet in a file of its own
EVERY_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
Opened = Callable[[Path], "Book"]


class Book:
    """A workbook as the program reads it."""

    def __init__(self, program: str, file: Path, folder: Path) -> None:
        self.program, self.file, self.folder = program, file, folder

    def convert(self, into: str) -> list[Path]:
        """What the program makes of the whole workbook."""
        out = self.folder / into.partition(":")[0]
        own = f"-env:UserInstallation=file://{self.folder / 'profile'}"
        command = [self.program, "--headless", "--norestore", own, "--convert-to", into, "--outdir", str(out)]
        done = subprocess.run(
            [*command, str(self.file)], check=False, text=True, capture_output=True, timeout=PATIENCE_S
        )
        assert done.returncode == 0, done.stdout + done.stderr
        found = sorted(out.iterdir()) if out.exists() else []
        assert found, done.stdout + done.stderr
        return found

    @cached_property
    def sheets(self) -> dict[str, list[list[str]]]:
        """Every sheet's cells as text, with what formulas came to."""
        found = {}
        for path in self.convert(EVERY_SHEET):
            with path.open(encoding="utf-8", newline="") as file:
                found[path.stem.removeprefix(f"{self.file.stem}-")] = list(csv.reader(file))
        return found


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Opened:
    """Opens a workbook file in the spreadsheet program."""
    program = shutil.which("soffice") or shutil.which("libreoffice")
    if program is None:
        pytest.fail("No spreadsheet program is installed; on Debian: sudo apt install libreoffice-calc-nogui")
    return lambda file: Book(program, file, tmp_path_factory.mktemp("spreadsheet"))
