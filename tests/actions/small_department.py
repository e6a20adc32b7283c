"""A small department as the text rows of a workbook, and what tests need to send it in.

Invented. One engine with pails and a tank of two lots, one trailer with its tow vehicle. Row 2 is the first row of
each sheet, as in the file.
"""

from __future__ import annotations

import io
from copy import deepcopy

from django.apps import apps
from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from readiness.actions.imports import Imported, import_workbook
from readiness.actions.permissions import OWNER, Acting
from readiness.models import Department, Fuel
from readiness.workbooks.rows import Fault
from readiness.workbooks.sheets import BY_KEY
from readiness.workbooks.template import write_rows
from tests.cast import CLOCK

Rows = dict[str, list[dict[str, str]]]
AR = "Demo AR-AFFF 3x6"

_ROWS: Rows = {
    "stations": [{"name": "Quayside"}, {"name": "Millrace"}],
    "vehicles": [
        {
            "shop_no": "201",
            "kind": "engine",
            "station": "Quayside",
            "water": "750 gal",
            "pump": "1500 gpm",
            "state": "in service",
        },
        {
            "shop_no": "231",
            "kind": "trailer",
            "station": "Millrace",
            "needs_tow": "yes",
            "tow": "244",
            "state": "in service",
        },
        {
            "shop_no": "244",
            "kind": "utility",
            "station": "Millrace",
            "state": "out of service",
            "out_since": "2026-06-12",
        },
    ],
    "units": [{"designation": "Engine 1", "station": "Quayside", "state": "in service", "runs_on": "201"}],
    "concentrates": [
        {"name": AR, "kind": "AR-AFFF", "pfas": "yes", "lowest_use": "35 F", "density": "1.03", "life_months": "240"},
        {"name": "Demo Class A", "kind": "Class A", "pfas": "no"},
    ],
    "listings": [
        {
            "concentrate": AR,
            "fuel": "UN1090",
            "use": "spill",
            "percent": "6",
            "rate": "0.20 gpm/ft2",
            "minutes": "15",
            "source": "demo listing, invented",
        }
    ],
    "lots": [
        {
            "concentrate": AR,
            "batch": "A-1",
            "made_on": "2024-03",
            "makers_date": "2034",
            "price": "27.50",
            "currency": "USD",
        },
        {"concentrate": AR, "batch": "A-2", "makers_date": "2033-05-01"},
        {"concentrate": "Demo Class A", "batch": "C-1"},
    ],
    "containers": [
        {
            "code": "P-1",
            "kind": "pail",
            "capacity": "5 gal",
            "unit": "Engine 1",
            "compartment": "L3",
            "concentrate": AR,
            "lot": "A-1",
            "contents": "5 gal",
            "sealed": "yes",
        },
        {
            "code": "P-2",
            "kind": "pail",
            "capacity": "5 gal",
            "unit": "Engine 1",
            "compartment": "L3",
            "concentrate": AR,
            "lot": "A-1",
            "contents": "3 gal",
            "opened_on": "2026-06-01",
        },
        {
            "code": "T-1",
            "kind": "fixed tank",
            "capacity": "20 gal",
            "unreachable": "1 gal",
            "vehicle": "201",
            "concentrate": AR,
            "lot": "A-1",
            "contents": "16 gal",
        },
        {
            "code": "J-1",
            "kind": "jug",
            "capacity": "19 L",
            "station": "Millrace",
            "concentrate": "Demo Class A",
            "lot": "C-1",
            "contents": "10 L",
            "place_low": "40 F",
        },
    ],
    "other_lots": [{"container": "T-1", "concentrate": AR, "lot": "A-2", "contents": "4 gal"}],
    "appliances": [
        {
            "name": "95 eductor",
            "kind": "in-line eductor",
            "unit": "Engine 1",
            "rated_flow": "95 gpm",
            "settings": "3x6",
            "state": "in service",
        },
        {"name": "95 nozzle", "kind": "fog nozzle", "unit": "Engine 1", "rated_flow": "95 gpm", "state": "in service"},
    ],
    "hoses": [{"size": "1.75", "coefficient": "15.5", "source": "invented"}],
    "lines": [
        {
            "name": "Crosslay 1",
            "unit": "Engine 1",
            "proportioner": "95 eductor",
            "nozzle": "95 nozzle",
            "flow": "95 gpm",
            "nozzle_pressure": "100 psi",
            "inlet_pressure": "200 psi",
            "hose": "150 ft of 1.75 in",
            "parked": "6",
            "present": "3",
            "pails": "yes",
            "sources": "T-1",
        }
    ],
    "setups": [{"name": "one line", "unit": "Engine 1", "lines": "Crosslay 1"}],
    "design_spills": [
        {
            "name": "acetone spill",
            "unit": "Engine 1",
            "kind": "spill",
            "fuel": "acetone",
            "area": "10 x 20 ft",
            "use": "spill",
            "minutes": "15",
            "supply": "hydrant",
            "source": "invented pre-plan",
        }
    ],
    "samples": [
        {"concentrate": AR, "lot": "A-1", "taken_on": "2026-02-10", "passed": "yes", "report": "R-1"},
        {"container": "T-1", "taken_on": "2026-03-10", "passed": "no"},
    ],
    "line_tests": [
        {
            "line": "Crosslay 1",
            "unit": "Engine 1",
            "concentrate": AR,
            "on": "2026-03-01",
            "set": "6",
            "measured": "6.2",
            "passed": "yes",
        }
    ],
}


def small() -> Rows:
    """The rows, to be changed at will."""
    return deepcopy(_ROWS)


def pail(code: str, **values: str) -> dict[str, str]:
    """A sealed pail of lot A-1 on Engine 1."""
    return {**_ROWS["containers"][0], "code": code, **values}


def make_fuels() -> None:
    """Four fuels, two of them with one number."""
    for un, name, group in (
        ("UN1090", "acetone", "polar"),
        ("UN1170", "ethanol", "polar"),
        ("UN1203", "gasoline without oxygenate", "hydrocarbon"),
        ("UN1203", "gasoline, E10", "blend"),
    ):
        Fuel.objects.create(un=un, name=name, group=group, source="UN 49 CFR 172.101 (2019)")


def send(department: Department, rows: Rows, acting: Acting = OWNER, **options: object) -> Imported:
    """The rows as a workbook file, through the import."""
    units = "us" if department.units == "us" else "metric"
    return import_workbook(department, write_rows(rows, units), acting=acting, clock=CLOCK, **options)


def taken_in(department: Department, rows: Rows, acting: Acting = OWNER) -> Imported:
    """The rows through the import, which must not find a fault in them."""
    imported = send(department, rows, acting)
    assert [fault.sentence for fault in imported.faults] == []
    assert imported.saved
    return imported


def at(sheet: str, number: int, column: str) -> tuple[str, int, str]:
    """Where a fault must stand: the sheet's title, the row, and the letter of the column."""
    keys = [each.key for each in BY_KEY[sheet].columns]
    return BY_KEY[sheet].title, number, get_column_letter(keys.index(column) + 1)


def where(fault: Fault) -> tuple[str, int, str]:
    """Where a fault stands."""
    return fault.sheet, fault.row, fault.column


def every_row() -> dict[str, list[dict[str, object]]]:
    """Every row of every table, to be compared with what is there later."""
    models = apps.get_app_config("readiness").get_models(include_auto_created=True)
    return {model.__name__: list(model.objects.order_by("pk").values()) for model in models}


def saved_again(data: bytes) -> bytes:
    """The same workbook as another program would save it: other bytes, the same cells."""
    out = io.BytesIO()
    book = load_workbook(io.BytesIO(data))
    book.properties.creator = "another program"
    book.save(out)
    return out.getvalue()
