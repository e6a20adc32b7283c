"""The demo's morning checks: every unit this morning but Engine 7, which was last checked eleven days ago."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid5

from django.db.models import Q

from readiness.actions.checks import CheckDraft, Read, record_check
from readiness.actions.clock import Clock, shift_change
from readiness.actions.intake_containers import OPENINGS
from readiness.actions.permissions import Acting
from readiness.engineering.quantities import parse_quantity
from readiness.models import Assignment, Container, Department, FoamLine, Unit, User
from readiness.models.checks import Answer
from readiness.models.movements import Identity
from readiness.reports.check_sheets import sheet_for

DAYS_AGO = {"Engine 7": 11}
STICK_GAL = {"T-206A": "18.5"}  # a gallon and a half less than its gauge shows: it evaporated, or leaks


def check_everything(department: Department, crew: User, clock: Clock) -> None:
    """One complete check of each unit, at the shift change of its day."""
    vehicles = dict(Assignment.objects.filter(department=department, to_at__isnull=True).values_list("unit", "vehicle"))
    for unit in Unit.objects.filter(department=department):
        record_check(
            department,
            _draft(department, unit, vehicles.get(unit.pk)),
            acting=Acting(crew, Identity.PASSWORD),
            clock=clock,
        )


def _draft(department: Department, unit: Unit, vehicle: int | None) -> CheckDraft:
    assert department.demo_d0 is not None
    day = department.demo_d0 - timedelta(days=DAYS_AGO.get(unit.designation, 0))
    here = Q(place__unit=unit) | Q(place__vehicle=vehicle)
    containers = Container.objects.filter(here, department=department).order_by("code")
    lines = FoamLine.objects.filter(Q(unit=unit) | Q(vehicle=vehicle), department=department).order_by("id")
    gear = [Read(Answer.GOOD, item=each.name) for each in sheet_for(unit).gear]
    readings = [*map(_container, containers), *map(_line, lines), *gear]
    at = shift_change(department, day)
    return CheckDraft(
        id=uuid5(OPENINGS, f"check {department.pk} {unit.pk} {day}"),
        unit=unit.pk,
        readings=tuple(readings),
        started_at=at - timedelta(minutes=2),
        finished_at=at,
    )


def _container(row: Container) -> Read:
    if row.sealed:
        return Read(Answer.GOOD, container=row.pk, sealed=True)
    stick = STICK_GAL.get(row.code)
    stick_ml = parse_quantity(stick, dimension="volume", default_unit="gal").ml if stick else None
    return Read(Answer.GOOD, container=row.pk, sealed=False, ml=row.contents_ml, stick_ml=stick_ml)


def _line(row: FoamLine) -> Read:
    return Read(Answer.GOOD, line=row.pk, setting_pct=row.present_pct, flushed=True)
