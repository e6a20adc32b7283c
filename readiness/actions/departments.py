"""Departments are made by the installation's owner."""

from __future__ import annotations

from datetime import time
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import transaction
from django.utils.text import slugify

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.hoses import copy_published
from readiness.actions.permissions import OWNER
from readiness.models import Department, Policy


def make_department(
    name: str,
    *,
    time_zone: str = "UTC",
    day_starts_at: time = time(7, 0),
    units: str = "us",
    clock: Clock = SYSTEM_CLOCK,
) -> Department:
    """Make a department with the default policy. Raises Refused with a sentence."""
    slug = slugify(name)[:60]
    if not slug:
        raise Refused(f"{name!r} was read; a department's name has letters in it.")
    if Department.objects.filter(slug=slug).exists():
        raise Refused(f"There is a department named {name} already.")
    try:
        ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError) as unknown:
        raise Refused(f"{time_zone!r} was read; write a time zone such as America/Chicago.") from unknown
    with transaction.atomic():
        made = Department.objects.create(
            name=name, slug=slug, time_zone=time_zone, day_starts_at=day_starts_at, units=units
        )
        Policy.objects.create(department=made)
        copy_published(made)
        record_changes(made, OWNER, clock.now(), [Changed("make department", made, None, {"name": name})])
    return made
