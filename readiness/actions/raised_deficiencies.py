"""Deficiencies by hand: raised, worked on, followed up, closed with proof, opened again."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon, units_at
from readiness.actions.permissions import Acting, require, role_in
from readiness.models import (
    Check,
    Container,
    Department,
    FoamLine,
    Photo,
    RaisedDeficiency,
    Unit,
    User,
    Vehicle,
    WorkEntry,
)
from readiness.models.raised_deficiencies import Effect, RaisedKind

Subject = Unit | Vehicle | FoamLine | Container
_KINDS: dict[type[Subject], str] = {Unit: "unit", Vehicle: "vehicle", FoamLine: "line", Container: "container"}


class FollowUp(NamedTuple):
    """Who sees to a deficiency and by when, what it does, where the thing is and what stands in for it."""

    owner: User | None
    due_on: date | None
    effect: str
    shop_ticket: str = ""
    loaner: str = ""


def raise_deficiency(
    department: Department,
    *,
    subject: Subject,
    words: str,
    effect: Effect,
    acting: Acting,
    kind: RaisedKind = RaisedKind.FAULT,
    photo: Photo | None = None,
    check: Check | None = None,
    clock: Clock = SYSTEM_CLOCK,
) -> RaisedDeficiency:
    """Say that something is wrong; the unit that it is on is judged again. Raises Refused without words."""
    require(acting, department, "raise a deficiency")
    said = " ".join(words.split())
    if not said:
        raise Refused("No words were read: say what is wrong.")
    if any(each is not None and each.department_id != department.pk for each in (subject, photo, check)):
        raise Refused(f"There is no such thing in {department}.")
    with transaction.atomic():
        row = RaisedDeficiency.objects.create(
            department=department,
            **{_KINDS[type(subject)]: subject},
            kind=kind,
            words=said[:140],
            effect=effect,
            check_of=check,
            raised_at=clock.now(),
            raised_by=acting.user,
        )
        told = {"words": row.words, "effect": row.effect, _KINDS[type(subject)]: subject.pk}
        _entered(row, "raised", row.words, photo or (check.photo if check else None), acting, clock)
        record_changes(department, acting, clock.now(), [Changed("raise deficiency", row, None, told)])
        _judge(row, "deficiency raised", clock)
    return row


def log_work(
    department: Department,
    *,
    deficiency: RaisedDeficiency,
    words: str,
    acting: Acting,
    photo: Photo | None = None,
    clock: Clock = SYSTEM_CLOCK,
) -> WorkEntry:
    """Add what somebody saw or did about it."""
    require(acting, department, "raise a deficiency")
    if not words.strip():
        raise Refused("No words were read: say what was seen or done.")
    with transaction.atomic():
        row = _open(department, deficiency)
        return _entered(row, "work", words.strip(), photo, acting, clock)


def follow_up(
    department: Department,
    *,
    deficiency: RaisedDeficiency,
    facts: FollowUp,
    acting: Acting,
    why: str = "",
    clock: Clock = SYSTEM_CLOCK,
) -> RaisedDeficiency:
    """Name who sees to it and by when, the shop's ticket and the loaner; another effect needs a reason.

    Raises NotAllowed, and Refused for a closed one, a stranger, a past day and a milder effect without a reason.
    """
    require(acting, department, "close a deficiency")
    with transaction.atomic():
        row = _open(department, deficiency)
        _check(department, row, facts, why, calendar_day_of(department, clock.now()))
        old, new = _told(row), _stated(facts)
        differing = [name for name in new if new[name] != old[name]]
        if differing:
            for name in differing:
                setattr(row, name, getattr(facts, name))
            row.save(update_fields=differing)
            told = [{name: each[name] for name in differing} for each in (old, new)]
            record_changes(department, acting, clock.now(), [Changed("follow up deficiency", row, *told)])
        if "effect" in differing:
            _entered(row, "changed", f"{Effect(facts.effect).label}. {why.strip()}".strip(), None, acting, clock)
            _judge(row, "effect of a deficiency", clock)
    return row


def _check(department: Department, row: RaisedDeficiency, facts: FollowUp, why: str, today: date) -> None:
    if facts.owner is not None and role_in(facts.owner, department) is None:
        raise Refused(f"{facts.owner} is no member of {department}: name somebody who is.")
    if facts.due_on is not None and facts.due_on < today and facts.due_on != row.due_on:
        raise Refused(f"{facts.due_on} was read, which is past (today is {today}): name today or a day to come.")
    if facts.effect not in Effect.values:
        raise Refused(f"“{facts.effect}” was read: choose what it does to the status from the list.")
    if facts.effect != row.effect and not why.strip():
        raise Refused("Another effect on the status was chosen and no reason was read: say why.")


def close_deficiency(
    department: Department,
    *,
    deficiency: RaisedDeficiency,
    proof: str,
    acting: Acting,
    photo: Photo | None = None,
    clock: Clock = SYSTEM_CLOCK,
) -> RaisedDeficiency:
    """It is cured: what was done and how one knows. The unit is judged again."""
    require(acting, department, "close a deficiency")
    if not proof.strip():
        raise Refused("No proof was read: say what was done and how you know that it works.")
    with transaction.atomic():
        row = _open(department, deficiency)
        _set_closed(row, acting, clock, closed=True)
        _entered(row, "closed", proof.strip(), photo, acting, clock)
        _judge(row, "deficiency closed", clock)
    return row


def reopen_deficiency(
    department: Department, *, deficiency: RaisedDeficiency, why: str, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> RaisedDeficiency:
    """It was closed in error, or is back."""
    require(acting, department, "close a deficiency")
    if not why.strip():
        raise Refused("No reason was read: say why it is open again.")
    with transaction.atomic():
        row = RaisedDeficiency.objects.select_for_update().get(pk=deficiency.pk, department=department)
        if row.closed_at is None:
            raise Refused("This deficiency is open.")
        _set_closed(row, acting, clock, closed=False)
        _entered(row, "reopened", why.strip(), None, acting, clock)
        _judge(row, "deficiency opened again", clock)
    return row


def _open(department: Department, deficiency: RaisedDeficiency) -> RaisedDeficiency:
    row = RaisedDeficiency.objects.select_for_update().get(pk=deficiency.pk, department=department)
    if row.closed_at is not None:
        raise Refused(
            f"This deficiency was closed on {calendar_day_of(department, row.closed_at)}: open it again first."
        )
    return row


def _set_closed(row: RaisedDeficiency, acting: Acting, clock: Clock, *, closed: bool) -> None:
    old = {"closed_at": row.closed_at.isoformat() if row.closed_at else None}
    row.closed_at, row.closed_by = (clock.now(), acting.user) if closed else (None, None)
    row.save(update_fields=["closed_at", "closed_by"])
    new = {"closed_at": row.closed_at.isoformat() if row.closed_at else None}
    action = "close deficiency" if closed else "open deficiency again"
    record_changes(row.department, acting, clock.now(), [Changed(action, row, old, new)])


def _entered(
    row: RaisedDeficiency, what: str, words: str, photo: Photo | None, acting: Acting, clock: Clock
) -> WorkEntry:
    if photo is not None and photo.department_id != row.department_id:
        raise Refused(f"There is no such photo in {row.department}.")
    said = words[:500]
    return WorkEntry.objects.create(deficiency=row, at=clock.now(), by=acting.user, what=what, words=said, photo=photo)


def _told(row: RaisedDeficiency) -> dict[str, Any]:
    return _stated(FollowUp(row.owner, row.due_on, row.effect, row.shop_ticket, row.loaner))


def _stated(facts: FollowUp) -> dict[str, Any]:
    owner = facts.owner.pk if facts.owner else None
    due_on = facts.due_on.isoformat() if facts.due_on else None
    return {**facts._asdict(), "owner": owner, "due_on": due_on}


def _judge(row: RaisedDeficiency, because: str, clock: Clock) -> None:
    place = row.container.place if row.container else None
    of = row.line or place
    near = (of.unit_id, of.vehicle_id) if of else (row.unit_id, row.vehicle_id)
    judge_soon(row.department, units_at([near]), because=because, clock=clock)
