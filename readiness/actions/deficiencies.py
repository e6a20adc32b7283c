"""Who sees to a deficiency, and by when."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting, require, role_in
from readiness.models import Deficiency, Department, User
from readiness.reports.deficiencies import RAISED


def assign_deficiency(
    department: Department,
    *,
    deficiency: Deficiency,
    owner: User | None,
    due_on: date | None,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> Deficiency:
    """Name who sees to an open deficiency and by when; None takes the name or the day away.

    Raises NotAllowed for a role that may not, and Refused for one that is closed, for a stranger and for a past day.
    """
    require(acting, department, "assign")
    with transaction.atomic():
        row = Deficiency.objects.select_for_update().get(pk=deficiency.pk, department=department)
        _check(department, row, owner, due_on, calendar_day_of(department, clock.now()))
        old = _told(row)
        row.owner, row.due_on = owner, due_on
        if _told(row) != old:
            row.save(update_fields=["owner", "due_on"])
            record_changes(department, acting, clock.now(), [Changed("assign deficiency", row, old, _told(row))])
    return row


def _check(department: Department, row: Deficiency, owner: User | None, due_on: date | None, today: date) -> None:
    if row.subject_kind == RAISED:
        raise Refused("It was raised by hand: name who sees to it on its own page.")
    if row.closed_on:
        raise Refused(f"This deficiency was cured on {row.closed_on}: there is nothing left to see to.")
    if owner is not None and role_in(owner, department) is None:
        raise Refused(f"{owner} is no member of {department}: name somebody who is.")
    if due_on is not None and due_on < today and due_on != row.due_on:
        raise Refused(f"{due_on} was read, which is past (today is {today}): name today or a day to come.")


def _told(row: Deficiency) -> dict[str, Any]:
    return {"owner": row.owner_id, "due_on": row.due_on.isoformat() if row.due_on else None}
