"""Workbooks for the tests, made with the library's writer or, where that is too polite, by hand as zip and XML."""

import io
import zipfile
from datetime import date

from openpyxl import Workbook

from readiness.workbooks.reading import read_workbook
from readiness.workbooks.sheets import BY_KEY

TODAY = date(2026, 6, 15)

# One good row of each sheet: what is required, as a person would type it.
GOOD = {
    "stations": {"name": "Quayside"},
    "vehicles": {"shop_no": "201", "kind": "engine", "station": "Quayside", "state": "in service"},
    "units": {"designation": "Engine 1", "station": "Quayside", "state": "in service", "runs_on": "201"},
    "concentrates": {"name": "Demo AR-AFFF 3x6", "kind": "AR-AFFF", "pfas": "yes"},
    "listings": {
        "concentrate": "Demo AR-AFFF 3x6",
        "fuel": "ethanol",
        "use": "spill",
        "percent": 6,
        "rate": "0.2 gpm/ft2",  # its unit beside it: the same in a metric workbook
        "minutes": 15,
        "source": "demo",
    },
    "lots": {"concentrate": "Demo AR-AFFF 3x6", "batch": "A-1"},
    "containers": {
        "code": "P-1",
        "kind": "pail",
        "capacity": 5,
        "unit": "Engine 1",
        "concentrate": "Demo AR-AFFF 3x6",
        "lot": "A-1",
        "contents": 5,
        "sealed": "yes",
    },
    "other_lots": {"container": "P-1", "concentrate": "Demo AR-AFFF 3x6", "lot": "A-2", "contents": 1},
    "appliances": {"name": "eductor", "kind": "in-line eductor", "unit": "Engine 1", "state": "in service"},
    "hoses": {"size": 1.75, "coefficient": 15.5, "source": "table"},
    "lines": {"name": "Crosslay 1", "unit": "Engine 1", "proportioner": "eductor"},
    "setups": {"name": "one line", "unit": "Engine 1", "lines": "Crosslay 1"},
    "design_spills": {
        "name": "gasoline spill",
        "unit": "Engine 1",
        "kind": "spill",
        "fuel": "gasoline, E10",
        "area": "30 x 30 ft",
        "use": "spill",
        "source": "pre-plan",
    },
    "samples": {"concentrate": "Demo AR-AFFF 3x6", "lot": "A-1", "taken_on": "2026-02-10"},
    "line_tests": {
        "line": "Crosslay 1",
        "unit": "Engine 1",
        "concentrate": "Demo AR-AFFF 3x6",
        "on": "2026-03-01",
        "set": 3,
    },
}


def book_of(tables, units="us", formats=()):
    """A workbook file of sheet key → rows of key → native cell value; headings as the template writes them.

    formats: (sheet key, row number, column key, number format) for cells that are shown in a certain way.
    """
    book = Workbook()
    book.remove(book.active)
    for key, rows in tables.items():
        sheet = BY_KEY[key]
        worksheet = book.create_sheet(sheet.title)
        worksheet.append([column.heading(units) for column in sheet.columns])
        for row in rows:
            unknown = set(row) - {column.key for column in sheet.columns}
            assert not unknown, unknown
            worksheet.append([row.get(column.key) for column in sheet.columns])
    for key, number, column_key, number_format in formats:
        index = [column.key for column in BY_KEY[key].columns].index(column_key) + 1
        book[BY_KEY[key].title].cell(number, index).number_format = number_format
    return saved(book)


def saved(book):
    """The file's bytes."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def read(tables, units="us", formats=()):
    """What the reader makes of these rows."""
    return read_workbook(book_of(tables, units, formats), units=units, today=TODAY)


def read_one(sheet_key, units="us", number_format="", **cells):
    """The reading of one good row with some cells changed; ``number_format`` is put on the changed ones."""
    row = GOOD[sheet_key] | cells
    formats = [(sheet_key, 2, key, number_format) for key in cells] if number_format else ()
    return read({sheet_key: [row]}, units, formats)


def value(sheet_key, key, cell, **others):
    """The typed value of one cell, which must be read without a fault."""
    reading = read_one(sheet_key, **{key: cell}, **others)
    assert [fault.sentence for fault in reading.faults] == []
    return reading.rows[sheet_key][0][key]


def only_fault(reading):
    """The one fault of a reading."""
    assert len(reading.faults) == 1, [fault.sentence for fault in reading.faults]
    return reading.faults[0]


def refused(sheet_key, key, cell, **others):
    """The sentence about one bad cell, which must be the only fault and stand at that cell."""
    fault = only_fault(read_one(sheet_key, **{key: cell}, **others))
    column = BY_KEY[sheet_key].column(key)
    assert (fault.sheet, fault.row) == (BY_KEY[sheet_key].title, 2)
    assert fault.heading == column.heading("us").rstrip(" *")
    assert fault.read
    assert fault.right
    return fault.sentence


_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Override PartName="/xl/workbook.xml" ContentType='
    '"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/worksheets/sheet1.xml" ContentType='
    '"application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>'
)
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def raw_parts(sheet_xml, title="Containers"):
    """The parts of the smallest workbook, written by hand: name → bytes."""
    package = "http://schemas.openxmlformats.org/package/2006/relationships"
    return {
        "[Content_Types].xml": _TYPES.encode(),
        "_rels/.rels": (
            f'<Relationships xmlns="{package}"><Relationship Id="rId1" Type="{_OFFICE}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>'
        ).encode(),
        "xl/workbook.xml": (
            f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets><sheet name="{title}" sheetId="1" r:id="rId1"/>'
            "</sheets></workbook>"
        ).encode(),
        "xl/_rels/workbook.xml.rels": (
            f'<Relationships xmlns="{package}"><Relationship Id="rId1" Type="{_OFFICE}/worksheet" '
            'Target="worksheets/sheet1.xml"/></Relationships>'
        ).encode(),
        "xl/worksheets/sheet1.xml": sheet_xml,
    }


def sheet_xml(rows_xml, dimension="A1:P2"):
    """One worksheet part around hand-written rows."""
    head = f'<worksheet xmlns="{_MAIN}"><dimension ref="{dimension}"/><sheetData>'
    return head.encode() + rows_xml + b"</sheetData></worksheet>"


def row_xml(number, *cells):
    """A hand-written row of words and numbers."""
    parts = [
        f"<c><v>{cell}</v></c>" if isinstance(cell, (int, float)) else f'<c t="inlineStr"><is><t>{cell}</t></is></c>'
        for cell in cells
    ]
    return f'<row r="{number}">{"".join(parts)}</row>'.encode()


def zipped(parts):
    """The parts as a file."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()
