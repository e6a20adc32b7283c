"""A sheet as somebody kept it for years, written for the tests: every name in it is invented, every trap is common.

A merged title, a remark that says the unit, percentages as 3/6, a tank and a compartment in one column, a short form of
a unit, two lots in a cell, liters in a column of gallons, a number kept as text, days as figures, words and the
spreadsheet's day numbers, an unknown lot, a remark that changes what the row means, a station left blank under the one
above, a unit without foam, a row of totals with a formula, a comment on a cell, and a second sheet that is no stock.
"""

from __future__ import annotations

import io
from datetime import date
from functools import cache
from typing import Any

from openpyxl import Workbook
from openpyxl.comments import Comment

NAME = "foam on hand.xlsx"
SHEET = "FOAM ON HAND"
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
MADE, GOOD = date(2022, 5, 9), date(2032, 5, 9)
AR = ("Larkite 3x6", "AR-AFFF", "3/6")
PLAIN = ("Larkite 3", "AFFF", 3)
ROWS: tuple[tuple[Any, ...], ...] = (  # from row 5 on
    ("Sta 1", "Engine 1 tank B", *AR, "tank", 1, 30, "LK-2219", MADE, GOOD, None),
    ("Sta 1", "E1 L3 compartment", *AR, "pail", 2, 5, "LK-2219", "5/9/2022", "5/9/2032", "sealed"),
    ("Sta 1", "Reserve Engine 9 tank", *PLAIN, "tank", 1, 40, "??", None, None, "nobody knows what is in it"),
    ("Sta 1", "store room", *AR, "pails", 14, 5, "LK-2219", MADE, GOOD, None),
    ("Sta 2", "Ladder 2", *AR, "pail", 3, "5", "LK-1807", "30-Jul-18", "30-Jul-28", "1 opened 2/14/26 about half"),
    ("Sta 2", "Foam Tender 2", *AR, "cell", 1, 500, "LK-2310 + LK-2219", None, "10/2033", "topped up 60 gal at refit"),
    ("Sta 3", "Hazmat 3", *AR, "pail", 10, "19 L", "LK-1807", 43311, 46964, "two swollen"),
    (None, "training shed", *PLAIN, "pail", 8, 5, "old", "unk", "expired", "for live burns"),
    ("Sta 4", "Tanker 4", None, None, None, None, None, None, None, None, None, "no foam"),
    ("TOTAL", None, None, None, None, None, "=SUM(G5:G13)", None, None, None, None, None),
)  # fmt: skip
FILLED = (1, 2, 4, *range(5, 15))  # the rows in which anything stands
CONTAINERS = 1 + 2 + 1 + 14 + 3 + 1 + 10 + 8


@cache
def sheet_bytes(rows: tuple[tuple[Any, ...], ...] = ROWS) -> bytes:
    """The sheet as a workbook file; the same bytes again, although the library writes the time into them."""
    book = Workbook()
    sheet = book.active
    sheet.title = SHEET
    sheet["A1"] = "Mossgate Fire District - foam on hand (all stations)"
    sheet.merge_cells("A1:K1")
    sheet["A2"] = "updated 3/11/26 - gallons unless noted"
    for column, heading in enumerate(HEADINGS, 1):
        sheet.cell(4, column).value = heading
    for number, row in enumerate(rows, 5):
        for column, value in enumerate(row, 1):
            if value is not None:
                sheet.cell(number, column).value = value
    if len(rows) > 2:
        sheet["I7"].comment = Comment("check with shop", "somebody")
    other = book.create_sheet("Rigs & nozzles")
    other.append(["Unit", "Sta", "Water (gal)", "Eductor"])
    other.append(["Engine 1", 1, 750, "95 gpm"])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def plain_rows(many: int) -> tuple[tuple[Any, ...], ...]:
    """So many rows in which nothing is doubtful but names and labels: a pail each in ten store rooms."""
    return tuple(
        (f"Station {1 + n % 5}", f"store room {1 + n % 10}", *AR, "pail", 1, 5, f"LK-{n % 40:04}", MADE, GOOD, "sealed")
        for n in range(many)
    )
