"""Change-over: a unit goes on another vehicle. Duty, crew and loose gear move; tanks stay with their vehicle."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import CLOCK_SKEW, SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon
from readiness.actions.permissions import Acting, require
from readiness.models import Assignment, Department, Unit, Vehicle


def change_over(
    department: Department,
    *,
    unit: Unit,
    vehicle: Vehicle,
    acting: Acting,
    at: datetime | None = None,
    clock: Clock = SYSTEM_CLOCK,
) -> Assignment:
    """Put a unit on a vehicle from `at` on. Raises Refused when another unit runs on it, or it runs on it already.

    Containers whose place is the unit go along by themselves, since their place is the unit; those whose place is the
    vehicle stay with it.
    """
    require(acting, department, "change over")
    now = clock.now()
    moment = at or now
    if moment > now + CLOCK_SKEW:
        raise Refused(f"{moment:%Y-%m-%d %H:%M} UTC was read, which lies in the future: enter when it happened.")
    with transaction.atomic():
        # Both rows are locked in a fixed order, so that two change-overs wait for each other instead of deadlocking.
        Unit.objects.select_for_update().get(pk=unit.pk, department=department)
        Vehicle.objects.select_for_update().get(pk=vehicle.pk, department=department)
        _free(unit, vehicle)
        old = Assignment.objects.filter(unit=unit, to_at__isnull=True).first()
        if old:
            _not_before(old, moment)
            old.to_at = moment
            old.save(update_fields=["to_at"])
        new = Assignment.objects.create(department=department, unit=unit, vehicle=vehicle, from_at=moment)
        left = {"vehicle": old.vehicle_id} if old else None
        record_changes(department, acting, now, [Changed("change over", unit, left, {"vehicle": vehicle.pk})])
        judge_soon(department, [unit.pk], because="change-over", clock=clock)
    return new


def _free(unit: Unit, vehicle: Vehicle) -> None:
    taken = Assignment.objects.filter(vehicle=vehicle, to_at__isnull=True).select_related("unit").first()
    if taken and taken.unit_id == unit.pk:
        raise Refused(f"{unit} runs on {vehicle} already.")
    if taken:
        raise Refused(f"{taken.unit} runs on {vehicle}: change {taken.unit} over to another vehicle first.")


def _not_before(old: Assignment, moment: datetime) -> None:
    if moment < old.from_at:
        raise Refused(
            f"{moment:%Y-%m-%d %H:%M} UTC was read, but {old.unit} has run on {old.vehicle} only since "
            f"{old.from_at:%Y-%m-%d %H:%M} UTC: enter a later time."
        )
