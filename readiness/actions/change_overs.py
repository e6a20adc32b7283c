"""Change-over: a unit goes on another vehicle. Duty, crew and loose gear move; tanks stay with their vehicle.

Loose gear and pails are counted blind at each end: off the old vehicle, and aboard the new one. What differs from the
book is raised as a deficiency of the unit; the book itself is changed by an entry, not by a count.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import CLOCK_SKEW, SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon
from readiness.actions.permissions import Acting, require
from readiness.actions.raised_deficiencies import raise_deficiency
from readiness.models import Assignment, ChangeOverCount, Department, Unit, Vehicle
from readiness.models.change_overs import End
from readiness.models.raised_deficiencies import Effect
from readiness.reports.change_overs import book_of, things_of

_MOST_WORDS = 140  # of a deficiency; the change-over's own page has every count
Counts = Mapping[tuple[str, str], int | None]  # (end, key of the thing): how many were counted


def change_over(
    department: Department,
    *,
    unit: Unit,
    vehicle: Vehicle,
    acting: Acting,
    at: datetime | None = None,
    counts: Counts | None = None,
    besides: str = "",
    clock: Clock = SYSTEM_CLOCK,
) -> Assignment:
    """Put a unit on a vehicle from `at` on. Raises Refused when another unit runs on it, or it runs on it already.

    Containers whose place is the unit go along by themselves, since their place is the unit; those whose place is the
    vehicle stay with it, as does what is wrong with it. `besides`: what was found on either that nobody expected.
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
        kept = _keep_counts(new, acting, now, counts or {})
        told: dict[str, Any] = {"vehicle": vehicle.pk}
        if kept:
            told["counted"] = {f"{row.end}: {row.thing}": row.counted for row in kept}
        record_changes(department, acting, now, [Changed("change over", unit, left, told)])
        _raise_differences(new, kept, besides, acting, clock)
        judge_soon(department, [unit.pk], because="change-over", clock=clock)
    return new


def _keep_counts(run: Assignment, acting: Acting, now: datetime, counts: Counts) -> list[ChangeOverCount]:
    """Each thing that goes along, at each end, with what the book says of it at this moment."""
    book = book_of(run.unit, run.vehicle)
    rows = [
        ChangeOverCount(
            department=run.department,
            assignment=run,
            end=str(end),
            thing=thing.name,
            book=book.get((str(end), thing.key), 0),
            counted=counts.get((str(end), thing.key)),
            by=acting.user,
            at=now,
        )
        for thing in things_of(run.unit)
        for end in End
    ]
    return ChangeOverCount.objects.bulk_create(rows)


def _raise_differences(
    run: Assignment, kept: list[ChangeOverCount], besides: str, acting: Acting, clock: Clock
) -> None:
    """One deficiency for all that was not as the book has it; none where all agrees."""
    off = [row for row in kept if row.counted is not None and row.counted != row.book]
    found = [f"{row.counted} of {row.book} {row.thing} {row.end}" for row in off]
    said = "; ".join([*found, *([f"besides: {besides.strip()}"] if besides.strip() else [])])
    if said:
        effect = Effect.UNVERIFIED if off else Effect.NOTE
        words = f"change-over: {said}"
        words = words if len(words) <= _MOST_WORDS else f"{words[: _MOST_WORDS - 1]}…"
        raise_deficiency(run.department, subject=run.unit, words=words, effect=effect, acting=acting, clock=clock)


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
