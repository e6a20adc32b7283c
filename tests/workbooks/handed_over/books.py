"""Sheets as somebody kept them, short and invented, for the tests of the reading room."""

import io
from datetime import date, datetime, time

from openpyxl import Workbook

from readiness.workbooks.handed_over.layouts import guess_layout
from readiness.workbooks.handed_over.opening import open_sheets
from readiness.workbooks.handed_over.settling import settle
from readiness.workbooks.handed_over.understanding import understand

TODAY = date(2026, 6, 15)
HEADINGS = (
    "Station", "Where", "Product", "Type", "%", "Cont.", "Qty", "Size (gal)", "Lot #", "Mfg", "Good thru", "Notes",
)  # fmt: skip
AR = ("Larkite 3x6", "AR-AFFF", "3/6")
PLAIN = ("Sta 1", "store room", *AR, "pail", 4, 5, "LK-2219", "2022-05-09", "2032-05-09", None)


def row(**changed):
    """The plain row with some cells changed: ``row(Qty=14, Notes="sealed")``; a heading with its first word."""
    words = {heading.split()[0].strip(".#"): at for at, heading in enumerate(HEADINGS)}
    cells = list(PLAIN)
    for name, value in changed.items():
        cells[words["%" if name == "Percent" else name]] = value
    return tuple(cells)


def stored(year, month, day):
    """A date as a workbook stores it."""
    return datetime.combine(date(year, month, day), time())


def book_of(*rows, headings=HEADINGS, above=()):
    """A workbook of these rows, headings above them, and lines above those."""
    book = Workbook()
    sheet = book.active
    sheet.title = "stock"
    for each in (*((line,) for line in above), headings, *rows):
        sheet.append(list(each))
    return book


def saved(book):
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def opened(*rows, **how):
    """The one sheet, opened."""
    return open_sheets(saved(book_of(*rows, **how)), name="stock.xlsx").sheets[0]


def csv_of(text, name="stock.csv"):
    """A CSV file, opened."""
    return open_sheets(text if isinstance(text, bytes) else text.encode(), name=name)


def read(*rows, units="us", layout=None, **how):
    """Every row understood by the guessed layout."""
    sheet = opened(*rows, **how)
    layout = layout or guess_layout(sheet, units=units).layout
    return understand(sheet, layout, units=units, today=TODAY)


def stock_of(understood):
    """The rows of stock."""
    return [each for each in understood if each.fate == "stock"]


def one(**changed):
    """The plain row with some cells changed, understood alone."""
    return read(row(**changed))[-1]


def settled(understood, answers=None, *, units="us", take=False):
    """All rows with these answers."""
    return settle(understood, answers or {}, units=units, today=TODAY, take_proposals=take)


def codes(understood):
    """The codes of a row's doubts."""
    return [doubt.code for doubt in understood.doubts]
