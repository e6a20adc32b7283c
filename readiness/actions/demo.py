"""The demo: an invented county, through the same door as any department's workbook."""

from __future__ import annotations

from datetime import date, time, timedelta
from pathlib import Path
from typing import NamedTuple

from django.conf import settings
from django.db import connection, transaction

from readiness.actions.clock import Clock, day_of
from readiness.actions.demo_checks import check_everything
from readiness.actions.demo_planning import plan_everything
from readiness.actions.demo_traps import set_traps
from readiness.actions.departments import make_department
from readiness.actions.imports import Imported, import_workbook
from readiness.actions.keeping import Desk
from readiness.actions.permissions import OWNER
from readiness.actions.reference import load_fuels
from readiness.models import Department, Membership, Role, Station, User
from readiness.workbooks.demo_rows import demo_rows
from readiness.workbooks.template import write_rows

NAME = "Port Ansley Fire Department"
PASSWORD = "foam-blanket-demo"  # noqa: S105 - printed for everybody who starts the demo
TIME_ZONE = "America/Chicago"
DEMO_FOLDER = Path(settings.FIXTURES_DIR) / "demo"

PEOPLE = (  # sign-in, name, role, station; all invented
    ("crew", "Wren", "Tallow", "WT", Role.CREW, "Quayside"),
    ("officer", "Jory", "Pellam", "JP", Role.OFFICER, "Quayside"),
    ("logistics", "Odile", "Marsh", "OM", Role.LOGISTICS, "Quayside"),
    ("instructor", "Bram", "Sedley", "BS", Role.INSTRUCTOR, "Hollin Ridge"),
    ("chief", "Tamsin", "Orrell", "TO", Role.CHIEF, ""),
    ("observer", "Nils", "Averill", "NA", Role.OBSERVER, ""),
)


DEPARTMENTS = Department._meta.db_table
OWN_DATABASE = "Give the demo a database of its own: DATABASE_URL=sqlite:///demo.sqlite3"


class NotTheDemo(Exception):
    """The database holds something that is not the demo; the text says what to do."""


class Loaded(NamedTuple):
    """The demo department, and whether it had been there before."""

    department: Department
    again: bool
    imported: Imported | None


def load_demo(clock: Clock, folder: Path | None = None) -> Loaded:
    """Load the demo with D0 = today, once. Raises NotTheDemo when the database holds another department."""
    only_the_demo()
    found = Department.objects.filter(name=NAME).first()
    if found:
        return Loaded(found, again=True, imported=None)
    with transaction.atomic():
        load_fuels(clock.now())
        department = make_department(NAME, time_zone=TIME_ZONE, day_starts_at=time(6, 0), clock=clock)
        department.demo_d0 = day_of(department, clock.now())
        department.save(update_fields=["demo_d0"])
        imported = import_workbook(department, demo_workbook(department.demo_d0, folder), acting=OWNER, clock=clock)
        if imported.faults:
            raise RuntimeError("\n".join(fault.sentence for fault in imported.faults))
        plan_everything(Desk(department, OWNER, clock), folder or DEMO_FOLDER)
        people = _people(department)
        check_everything(department, people[Role.CREW], clock)
        set_traps(Desk(department, OWNER, clock), people)
    return Loaded(department, again=False, imported=imported)


def only_the_demo() -> None:
    """Raise NotTheDemo when the database holds anything else. It only looks, and works before any migration."""
    tables = set(connection.introspection.table_names())
    if tables and DEPARTMENTS not in tables:
        raise NotTheDemo(f"This database holds tables of another program, so the demo stays out of it. {OWN_DATABASE}")
    if tables and Department.objects.filter(demo_d0__isnull=True).exists():
        raise NotTheDemo(f"This database holds a department of your own, so the demo stays out of it. {OWN_DATABASE}")


def demo_workbook(d0: date, folder: Path | None = None) -> bytes:
    """The county as a workbook file, its dates counted from D0."""
    return write_rows(demo_rows(folder or DEMO_FOLDER, d0), "us")


def _people(department: Department) -> dict[Role, User]:
    stations = {station.name: station for station in Station.objects.filter(department=department)}
    since = (department.demo_d0 or date.min) - timedelta(days=400)
    made: dict[Role, User] = {}
    for name, first, last, initials, role, station in PEOPLE:
        user = User(username=name, first_name=first, last_name=last, initials=initials)
        user.set_password(PASSWORD)
        user.save()
        Membership.objects.create(
            user=user, department=department, role=role, station=stations.get(station), from_on=since
        )
        made[role] = user
    return made
