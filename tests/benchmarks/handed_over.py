"""How long a handed-over sheet takes to be opened, laid out, understood and settled, beside openpyxl's own read of it.

    .venv/bin/python -m tests.benchmarks.handed_over --rows 10000 --json handed_over.json

1. The sheet has the rows of nine stations: tanks, pails, drums; four lots in ten dated in a style of their own; every
   seventh row with a note that changes its meaning, every tenth with something missing.
2. The floor is ``load_workbook(read_only=True)`` and every value looked at and let go.
3. Work and floor take turns in forked children (harness.py); reading the file is in neither.

Run it alone, on an idle machine. The aim is that mapping and importing together take at most three times the floor;
what is measured here is the mapping.
"""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence
from datetime import date, datetime, time
from functools import cache, partial
from pathlib import Path

from openpyxl import Workbook, load_workbook

from readiness.workbooks.handed_over.layouts import guess, guess_layout
from readiness.workbooks.handed_over.opening import open_sheets
from readiness.workbooks.handed_over.records import Understood
from readiness.workbooks.handed_over.settling import settle
from readiness.workbooks.handed_over.understanding import understand
from tests.benchmarks.harness import Pair, Step, compare, machine, table, write_json

AIM = 3.0
TODAY = date(2026, 6, 15)
HEADINGS = (
    "Station",
    "Where",
    "Product",
    "Type",
    "%",
    "Cont.",
    "Qty",
    "Size (gal)",
    "Lot #",
    "Mfg",
    "Good thru",
    "Notes",
)
_MADE = (
    "5/9/2022",
    datetime.combine(date(2022, 5, 9), time()),
    44690,
    "9-May-22",
    "2022-05-09",
)  # one day in five styles
_NOTES = ("sealed", "1 opened 2/14/26 about half", "two swollen", "chief says keep", "no label", "topped up 2 gal")
_KINDS = (("Larkite 3x6", "AR-AFFF", "3/6"), ("Larkite 3", "AFFF", 3), ("Vernal A", "Class A", "0.1-1"))


def main(arguments: Sequence[str]) -> None:
    """Measure and print the table; the shares that the steps take are in the JSON's row names."""
    options = _options(arguments)
    data = sheet_of(options.rows)
    floor = Step(partial(_values, data), int)
    works = {
        "open": partial(_opened, data),
        "open, lay out, understand": partial(_understood, data),
        "open, lay out, understand, settle": partial(_settled, data),
    }
    pairs = [Pair(name, options.rows, Step(work, int), "openpyxl, values", floor) for name, work in works.items()]
    compared = [compare(pair, options.repeats) for pair in pairs]
    title = f"{machine()}; a sheet of {len(data):,} bytes; median of {options.repeats}; aim: at most {AIM:.1f}"
    print(title)
    print(table(compared))
    if options.json:
        write_json(options.json, title, compared)


def _options(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Measure the reading of a handed-over sheet beside its floor.")
    parser.add_argument("--rows", type=int, default=10_000, help="rows of stock in the sheet")
    parser.add_argument("--repeats", type=int, default=5, help="runs of each, of which the median is shown")
    parser.add_argument("--json", type=Path, help="write every run to this file")
    return parser.parse_args(arguments)


def row_of(number: int) -> tuple[object, ...]:
    """One row of stock; what is in it follows from its number alone."""
    product, kind, percent = _KINDS[number % len(_KINDS)]
    lot = number % 400
    where = (f"Engine {number % 40} L{number % 4}", "store room", f"Ladder {number % 9}")[number % 3]
    made = _MADE[lot % len(_MADE)] if number % 10 else None
    note = _NOTES[number // 7 % len(_NOTES)] if number % 7 == 0 else None
    return (
        f"Sta {number % 9 + 1}", where, product, kind, percent, "pail", number % 12 + 1, 5, f"LK-{lot:04}", made,
        f"{lot % 12 + 1}/2032", note,
    )  # fmt: skip


@cache
def sheet_of(rows: int) -> bytes:
    """The workbook."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet("foam on hand")
    sheet.append(["Foam on hand, all stations"])
    sheet.append(HEADINGS)
    for number in range(rows):
        sheet.append(row_of(number))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _values(data: bytes, _: object) -> int:
    book = load_workbook(io.BytesIO(data), read_only=True)
    found = sum(1 for sheet in book.worksheets for values in sheet.iter_rows(values_only=True) if any(values))
    book.close()
    return found - 2  # the title and the headings


def _opened(data: bytes, _: object) -> int:
    return len(open_sheets(data, name="stock.xlsx").sheets[0].rows) - 2


def _understanding(data: bytes) -> tuple[Understood, ...]:
    opened = open_sheets(data, name="stock.xlsx")
    sheet = opened.sheet(guess(opened, units="us").layout.sheet)
    layout = guess_layout(sheet, units="us").layout
    return understand(sheet, layout, units="us", today=TODAY)


def _understood(data: bytes, _: object) -> int:
    return sum(row.fate == "stock" for row in _understanding(data))


def _settled(data: bytes, _: object) -> int:
    """Rows that come in once every proposal is taken; the rest are settled too, and wait."""
    rows = settle(_understanding(data), {}, units="us", today=TODAY, take_proposals=True)
    return sum(row.fate == "stock" for row in rows)


if __name__ == "__main__":
    main(sys.argv[1:])
