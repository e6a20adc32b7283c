"""Tells a container's life."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError

from readiness.engineering.wording import volume_text
from readiness.management.departments import department_named
from readiness.management.words import moment
from readiness.models import Container
from readiness.reports.histories import Event, history


class Command(BaseCommand):
    """`history CODE`: what happened to a container, as of now or any past moment."""

    help = "Tell what happened to a container, as of now or any past moment."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The label code, and the two times."""
        parser.add_argument("code")
        parser.add_argument("--department", default="", help="its name, where there are several")
        parser.add_argument("--as-of", type=moment, help="what had happened by then: 2026-06-15T06:00")
        parser.add_argument("--known-at", type=moment, help="as far as it was recorded by then")

    def handle(self, *_: Any, **options: Any) -> None:
        """Print it, oldest entry first."""
        department = department_named(options["department"])
        container = Container.objects.filter(department=department, code__iexact=options["code"]).first()
        if container is None:
            raise CommandError(f"{options['code']!r} was read; no container of {department} has that label code.")
        zone = ZoneInfo(department.time_zone)
        told = history(container, as_of=_aware(options["as_of"], zone), known_at=_aware(options["known_at"], zone))
        for event in told.events:
            self.stdout.write(_line(event, zone, department.units))
        state = ", ".join(f"{mark}: {value}" for mark, value in told.marks.items())
        when = f" as of {told.as_of:%Y-%m-%d %H:%M}" if told.as_of else ""
        lots = ", ".join(f"{volume_text(ml, department.units)} of {lot}" for lot, ml in told.lots_ml.items())
        self.stdout.write(f"{told.code}{when}: {volume_text(told.contents_ml, department.units)} ({lots or 'empty'})")
        self.stdout.write(f"  {told.place}; {state or 'no marks'}")


def _aware(at: datetime | None, zone: ZoneInfo) -> datetime | None:
    return at.replace(tzinfo=zone) if at and at.tzinfo is None else at


def _line(event: Event, zone: ZoneInfo, units: str) -> str:
    notes = [event.reason] if event.reason else []
    if event.late:
        notes.append(f"entered late, {event.recorded_at.astimezone(zone):%Y-%m-%d %H:%M}")
    if event.corrected_by:
        notes.append("corrected later")
    said = f" [{'; '.join(notes)}]" if notes else ""
    return (
        f"{event.happened_at.astimezone(zone):%Y-%m-%d %H:%M}  {event.kind} by {event.by}: "
        f"{'; '.join(event.words)} → {volume_text(event.contents_ml, units)}{said}"
    )
