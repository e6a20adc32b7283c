"""Laboratory samples, proportioning tests and flushes: what a status rests on besides checks."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon, units_at
from readiness.actions.lots import units_with_lot
from readiness.actions.permissions import Acting, require
from readiness.models import Concentrate, Container, Department, FoamLine, LineTest, Lot, Sample

MOST_MEASURED_PCT = 5000  # 50 %: far above any setting, below any slipped decimal of one


def record_sample(
    department: Department,
    *,
    lot: Lot | None = None,
    container: Container | None = None,
    taken_on: date,
    passed: bool | None,
    good_through: date | None = None,
    report: str = "",
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> Sample:
    """Record a sample of a lot or of one container; `passed` None while the answer is awaited."""
    require(acting, department, "sample")
    if (lot is None) == (container is None):
        raise Refused("A sample is of a lot or of one container: name one of them.")
    if (lot or container).department_id != department.pk:  # type: ignore[union-attr] # one of them is given
        raise Refused(f"There is no such lot or container in {department}.")
    _not_ahead(department, taken_on, clock, "was taken")
    with transaction.atomic():
        sample = Sample.objects.create(
            department=department,
            lot=lot,
            container=container,
            taken_on=taken_on,
            passed=passed,
            good_through=good_through,
            report=report.strip(),
        )
        new = {"of": str(lot or container), "taken_on": taken_on.isoformat(), "passed": passed}
        record_changes(department, acting, clock.now(), [Changed("record sample", sample, None, new)])
        judge_soon(department, _sampled_units(lot, container), because="sample", clock=clock)
    return sample


def record_sample_result(
    department: Department, *, sample: Sample, passed: bool, report: str, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> Sample:
    """The laboratory's answer to a sample that was waiting for it."""
    require(acting, department, "sample")
    with transaction.atomic():
        row = Sample.objects.select_for_update().get(pk=sample.pk, department=department)
        if row.passed is not None:
            raise Refused("This sample has its answer already: record a new sample.")
        row.passed, row.report = passed, report.strip() or row.report
        row.save(update_fields=["passed", "report"])
        changed = Changed("sample result", row, {"passed": None}, {"passed": passed, "report": row.report})
        record_changes(department, acting, clock.now(), [changed])
        judge_soon(department, _sampled_units(row.lot, row.container), because="sample", clock=clock)
    return row


def _sampled_units(lot: Lot | None, container: Container | None) -> set[int]:
    if lot is not None:
        return units_with_lot(lot)
    place = container.place if container else None
    return units_at([(place.unit_id, place.vehicle_id)]) if place else set()


def record_line_test(
    department: Department,
    *,
    line: FoamLine,
    concentrate: Concentrate,
    tested_on: date,
    set_pct: int,
    measured_pct: int,
    passed: bool,
    good_through: date | None = None,
    band: str = "standard",
    method: str = "",
    certificate: str = "",
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> LineTest:
    """Record a proportioning test: what a line made of a concentrate at a setting [1/100 point]."""
    require(acting, department, "line test")
    _not_ahead(department, tested_on, clock, "was made")
    if not 0 <= measured_pct <= MOST_MEASURED_PCT:
        raise Refused(
            f"{measured_pct / 100:g} % was read as measured: from 0 to {MOST_MEASURED_PCT / 100:g} % is believed here."
        )
    if line.department_id != department.pk or concentrate.department_id != department.pk:
        raise Refused(f"There is no such line or concentrate in {department}.")
    with transaction.atomic():
        test = LineTest.objects.create(
            department=department,
            line=line,
            concentrate=concentrate,
            tested_on=tested_on,
            set_pct=set_pct,
            measured_pct=measured_pct,
            passed=passed,
            good_through=good_through,
            band=band,
            method=method.strip(),
            certificate=certificate.strip(),
        )
        new = {"line": str(line), "set_pct": set_pct, "measured_pct": measured_pct, "passed": passed}
        record_changes(department, acting, clock.now(), [Changed("record line test", test, None, new)])
        judge_soon(department, units_at([(line.unit_id, line.vehicle_id)]), because="proportioning test", clock=clock)
    return test


def record_use_of_line(
    department: Department, *, line: FoamLine, at: datetime, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """A line drew foam: until its flush is logged it is limited."""
    _set_unflushed(department, line, at, acting, clock, "use line")


def record_flush_of_line(
    department: Department, *, line: FoamLine, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """Clear water ran through the line until it was clear."""
    _set_unflushed(department, line, None, acting, clock, "flush line")


def _set_unflushed(
    department: Department, line: FoamLine, at: datetime | None, acting: Acting, clock: Clock, action: str
) -> None:
    require(acting, department, "flush")
    with transaction.atomic():
        row = FoamLine.objects.select_for_update().get(pk=line.pk, department=department)
        old = row.unflushed_since
        row.unflushed_since = at
        row.save(update_fields=["unflushed_since"])
        changed = Changed(action, row, {"unflushed_since": _text(old)}, {"unflushed_since": _text(at)})
        record_changes(department, acting, clock.now(), [changed])
        judge_soon(department, units_at([(row.unit_id, row.vehicle_id)]), because=action, clock=clock)


def _text(at: datetime | None) -> str | None:
    return at.isoformat() if at else None


def _not_ahead(department: Department, day: date, clock: Clock, what: str) -> None:
    today = calendar_day_of(department, clock.now())
    if day > today:
        raise Refused(f"{day} was read, which lies in the future (today is {today}): enter the day on which it {what}.")
