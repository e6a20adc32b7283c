"""The demo department's rows, from text files in which every date is counted in days from D0."""

import csv
import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Final

from readiness.workbooks.sheets import SHEETS

_DAY: Final = re.compile(r"D0([+-][0-9]+)?")


def demo_rows(directory: Path, d0: date) -> dict[str, list[dict[str, str]]]:
    """The rows of every ``<sheet key>.csv`` in the directory, for ``template.write_rows``.

    A cell that reads D0, D0-125 or D0+107 becomes that day, written 2026-02-10; all else stays as it stands. A sheet
    without a file has no rows. Raises ``KeyError`` for a column that the sheet does not have.
    """
    rows: dict[str, list[dict[str, str]]] = {}
    for sheet in SHEETS:
        path = directory / f"{sheet.key}.csv"
        rows[sheet.key] = list(rows_of(path, {column.key for column in sheet.columns}, d0)) if path.exists() else []
    return rows


def rows_of(path: Path, keys: set[str], d0: date) -> Iterator[dict[str, str]]:
    """The rows of one file, its days resolved. Raises ``KeyError`` for a column that is not among ``keys``."""
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, strict=True):
            unknown = set(row) - keys
            if unknown:
                raise KeyError(f"{path.name}: {', '.join(sorted(map(str, unknown)))} is no column of this sheet")
            yield {key: _resolved(text, d0) for key, text in row.items()}


def _resolved(text: str, d0: date) -> str:
    found = _DAY.fullmatch(text)
    return (d0 + timedelta(days=int(found[1] or 0))).isoformat() if found else text
