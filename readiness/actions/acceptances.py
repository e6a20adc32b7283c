"""A named chief accepts a deficiency until a day: it keeps its severity and is counted apart."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, day_of
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon
from readiness.actions.permissions import Acting, require
from readiness.engineering.deficiencies import may_accept
from readiness.models import Deficiency, Department


def accept(
    department: Department,
    *,
    deficiency: Deficiency,
    until: date,
    note: str,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> Deficiency:
    """Accept an open deficiency until a day, with a reason. Raises Refused for one that nobody may accept."""
    require(acting, department, "accept")
    if acting.user is None:
        raise Refused("A deficiency is accepted by a named person: sign in as a chief.")
    if not may_accept(deficiency.code):
        raise Refused(f"{deficiency.words or deficiency.code}: nobody may accept this; it has to be cured.")
    if not note.strip():
        raise Refused("No reason was read: say why it can be accepted.")
    today = day_of(department, clock.now())
    if until < today:
        raise Refused(f"{until} was read, which is past (today is {today}): accept it until a day to come.")
    return _set(department, deficiency, acting, clock, until=until, note=note.strip())


def withdraw(
    department: Department, *, deficiency: Deficiency, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> Deficiency:
    """Take an acceptance back."""
    require(acting, department, "accept")
    return _set(department, deficiency, acting, clock, until=None, note=deficiency.note)


def _set(
    department: Department, deficiency: Deficiency, acting: Acting, clock: Clock, *, until: date | None, note: str
) -> Deficiency:
    with transaction.atomic():
        row = Deficiency.objects.select_for_update().get(pk=deficiency.pk, department=department)
        if row.closed_on:
            raise Refused(f"This deficiency was cured on {row.closed_on}.")
        old = {"accepted_until": row.accepted_until.isoformat() if row.accepted_until else None}
        row.accepted_until, row.note = until, note
        row.accepted_by = acting.user if until else None
        row.save(update_fields=["accepted_until", "accepted_by", "note"])
        new = {"accepted_until": until.isoformat() if until else None, "note": note}
        action = "accept deficiency" if until else "withdraw acceptance"
        record_changes(department, acting, clock.now(), [Changed(action, row, old, new)])
        judge_soon(department, [row.unit_id], because=action, clock=clock)
    return row
