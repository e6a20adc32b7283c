"""Inspection rules, and inspections as people make them."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import date, datetime
from typing import NamedTuple

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import CLOCK_SKEW, SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon, units_at
from readiness.actions.keeping import EVERY_UNIT, Desk, Fault, Noun, one_line, taken
from readiness.actions.permissions import Acting, require, role_in
from readiness.actions.raised_deficiencies import Subject, raise_deficiency
from readiness.models import Container, Department, FoamLine, Inspection, InspectionRule, Station, User
from readiness.models.raised_deficiencies import Effect
from readiness.reports.inspections import side_of


class RuleFacts(NamedTuple):
    """What is kept of a rule."""

    name: str
    of: str
    rhythm: str
    station: Station | None = None
    weekday: int | None = None
    what: str = ""
    clause: str = ""
    owner: User | None = None
    since_on: date | None = None


class InspectionRules(Noun[InspectionRule, RuleFacts]):
    """What falls due how often."""

    name = "inspection rule"
    model, facts = InspectionRule, RuleFacts

    def tidy(self, desk: Desk, facts: RuleFacts, row: InspectionRule | None) -> RuleFacts:
        """The name on one line; a rule begins when it is made, and a drill night is of a weekly one."""
        since = row.since_on if row else desk.today
        weekday = facts.weekday if facts.rhythm == "week" else None
        return facts._replace(name=one_line(facts.name), since_on=since, weekday=weekday)

    def faults(self, desk: Desk, facts: RuleFacts, row: InspectionRule | None) -> Iterator[Fault]:
        """A name once, and somebody of the department."""
        yield from taken(self.of(desk.department), row, "name", facts.name)
        if facts.owner is not None and role_in(facts.owner, desk.department) is None:
            yield Fault("owner", f"{facts.owner} is no member of {desk.department}: choose somebody who is.")

    def touched(self, row: InspectionRule) -> Collection[int] | None:
        """Whatever is of its kind."""
        return EVERY_UNIT


INSPECTION_RULES = InspectionRules()


def log_inspection(
    department: Department,
    *,
    rule: InspectionRule,
    thing: Subject,
    passed: bool,
    words: str,
    acting: Acting,
    done_at: datetime | None = None,
    clock: Clock = SYSTEM_CLOCK,
) -> Inspection:
    """An inspection was made. One that found a fault is made as well, and the fault is raised as a deficiency.

    Raises Refused for a thing of another kind, a fault without words, and a time to come.
    """
    require(acting, department, "check")
    now = clock.now()
    at = done_at or now
    _check(department, rule, thing, passed, words, at, now)
    with transaction.atomic():
        side = side_of(rule.of)
        facts = {"passed": passed, "words": words.strip()[:200]}
        made = Inspection.objects.create(
            department=department, rule=rule, done_at=at, by=acting.user, **{side: thing}, **facts
        )
        record_changes(department, acting, now, [Changed("log inspection", made, None, {**facts, side: thing.pk})])
        _judge(department, thing, clock)
    return made


def raise_what_was_found(
    department: Department, *, inspection: Inspection, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """The fault of an inspection as a deficiency of its own: nobody has said yet what it does."""
    require(acting, department, "raise a deficiency")
    if inspection.department_id != department.pk:
        raise Refused(f"There is no such inspection in {department}.")
    thing = inspection.unit or inspection.vehicle or inspection.line or inspection.container
    if inspection.passed or thing is None:
        raise Refused("The inspection found nothing wrong: there is nothing to raise.")
    words = f"{inspection.rule}: {inspection.words}"
    raise_deficiency(department, subject=thing, words=words, effect=Effect.UNVERIFIED, acting=acting, clock=clock)


def _check(
    department: Department,
    rule: InspectionRule,
    thing: Subject,
    passed: bool,
    words: str,
    at: datetime,
    now: datetime,
) -> None:
    if rule.department_id != department.pk or thing.department_id != department.pk:
        raise Refused(f"There is no such rule or thing in {department}.")
    kind = thing.kind if isinstance(thing, Container) else "line" if isinstance(thing, FoamLine) else _kind(thing)
    if kind != rule.of:
        raise Refused(f"{thing} is a {kind}; “{rule}” is for every {rule.of}.")
    if not passed and not words.strip():
        raise Refused("A fault was marked and no words were read: say what is wrong.")
    if at > now + CLOCK_SKEW:
        raise Refused(f"{at:%Y-%m-%d %H:%M} UTC was read, which lies in the future: enter when it was made.")


def _kind(thing: Subject) -> str:
    return thing._meta.model_name or ""


def _judge(department: Department, thing: Subject, clock: Clock) -> None:
    of = thing.place if isinstance(thing, Container) else thing
    unit = thing.pk if _kind(thing) == "unit" else getattr(of, "unit_id", None)
    vehicle = thing.pk if _kind(thing) == "vehicle" else getattr(of, "vehicle_id", None)
    judge_soon(department, units_at([(unit, vehicle)]), because="inspection", clock=clock)
