"""Proportioning tests and foam tests of a department: what a list and a record show, in a fixed number of queries."""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

from readiness.engineering import records as r
from readiness.engineering.foam_tests import Drained, expansion_class
from readiness.engineering.proof_sheets import Proof, foam_sheet, prove
from readiness.engineering.proportioning import Airport, band
from readiness.engineering.sheets import Sheet
from readiness.models import Department, FoamTest, LineTest, Policy

VEHICLE = "vehicle"


class TestRow(NamedTuple):
    """One proportioning test. ``now``: in date, overdue, superseded by a newer one, or before a conversion."""

    id: int
    line: str
    rig: str
    concentrate: str
    tested_on: date
    set_pct: int
    measured_pct: int | None
    least_pct: int
    greatest_pct: int
    outcome: str
    good_through: date
    now: str
    method: str
    certificate: str


class FoamTestRow(NamedTuple):
    """One test of finished foam."""

    id: int
    line: str
    rig: str
    concentrate: str
    tested_on: date
    expansion: float
    expansion_class: str
    quarter_min: float | None
    against: str  # what is declared
    report: str


def line_tests(department: Department, day: date) -> list[TestRow]:
    """Every proportioning test, the newest first."""
    policy = _policy(department)
    rows = LineTest.objects.filter(department=department)
    known = rows.select_related("line__unit", "line__vehicle", "concentrate").order_by("-tested_on", "-id")
    seen: set[tuple[int, int, int]] = set()
    found = []
    for test in known:
        key = (test.line_id, test.concentrate_id, test.set_pct)
        found.append(_row(test, day, policy, newest=key not in seen))
        seen.add(key)
    return found


def _row(test: LineTest, day: date, policy: r.Policy, *, newest: bool) -> TestRow:
    least, greatest = band(test.set_pct, vehicle=test.band == VEHICLE and policy.vehicle_bands)
    through = test.good_through or test.tested_on + timedelta(days=policy.test_interval_d)
    return TestRow(
        id=test.pk,
        line=test.line.name,
        rig=str(test.line.unit or test.line.vehicle),
        concentrate=test.concentrate.name,
        tested_on=test.tested_on,
        set_pct=test.set_pct,
        measured_pct=test.measured_pct,
        least_pct=least,
        greatest_pct=greatest,
        outcome=_outcome(test, least, greatest),
        good_through=through,
        now=_now(test, through, day, newest),
        method=test.method,
        certificate=test.certificate,
    )


def _outcome(test: LineTest, least: int, greatest: int) -> str:
    measured = test.measured_pct
    if measured is not None and measured < least:
        return "lean"
    if measured is not None and measured > greatest:
        return "rich"
    return "passed" if test.passed else "failed"


def _now(test: LineTest, through: date, day: date, newest: bool) -> str:
    if not newest:
        return "an older one"
    if test.line.converted_on and test.tested_on < test.line.converted_on:
        return "before a conversion: retest"
    return "overdue" if through < day else "in date"


def proof_of(test: LineTest) -> Proof | None:
    """The working of a test that was made from readings; None where only its result was entered."""
    if not test.evidence:
        return None
    return prove(test.evidence, test.set_pct, vehicle=airport_of(test.department, test.band))


def airport_of(department: Department, band_name: str) -> Airport:
    """By whose band a test is weighed: an airport vehicle's as the department has it, or the standard's."""
    return _policy(department).vehicle_bands if band_name == VEHICLE else False


_RULES = ("test_interval_d", "vehicle_3_least", "vehicle_3_most", "vehicle_6_least", "vehicle_6_most")


def _policy(department: Department) -> r.Policy:
    """The rules that tests are weighed by."""
    row = Policy.objects.filter(department=department).values(*_RULES).first()
    return r.Policy(**(row or {}))


def foam_tests(department: Department) -> list[FoamTestRow]:
    """Every test of finished foam, the newest first."""
    rows = FoamTest.objects.filter(department=department)
    return [_foam_row(test) for test in rows.select_related("line__unit", "line__vehicle", "concentrate")]


def _foam_row(test: FoamTest) -> FoamTestRow:
    return FoamTestRow(
        id=test.pk,
        line=test.line.name,
        rig=str(test.line.unit or test.line.vehicle),
        concentrate=test.concentrate.name,
        tested_on=test.tested_on,
        expansion=test.expansion,
        expansion_class=expansion_class(test.expansion),
        quarter_min=test.quarter_min,
        against=_against(test),
        report=test.report,
    )


def _against(test: FoamTest) -> str:
    """Whether it is what is declared; empty where nothing is."""
    sheet = foam_sheet_of(test)
    below = [note for note in sheet.notes if note.startswith(("Below", "Sooner"))]
    if below:
        return "below"
    return "as declared" if test.declared_expansion or test.declared_quarter_min else ""


def drained_of(test: FoamTest) -> list[Drained]:
    """Its drainage readings."""
    return [Drained(float(minutes), float(ml)) for minutes, ml in test.drained]


def foam_sheet_of(test: FoamTest) -> Sheet:
    """Its working."""
    return foam_sheet(test.foam_ml, test.foam_g, drained_of(test), test.declared_expansion, test.declared_quarter_min)
