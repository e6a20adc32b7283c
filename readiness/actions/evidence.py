"""Laboratory samples, proportioning tests and flushes: what a status rests on besides checks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon, units_at
from readiness.actions.lots import units_with_lot
from readiness.actions.permissions import Acting, require
from readiness.engineering.foam_tests import Drained
from readiness.engineering.proof_sheets import foam_sheet, prove, verdict
from readiness.engineering.sample_limits import passes, weigh_kept
from readiness.models import Concentrate, Container, Department, FoamLine, FoamTest, LineTest, Lot, Sample
from readiness.reports.line_tests import airport_of
from readiness.reports.samples import limits_of

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
    measured: Mapping[str, float] | None = None,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> Sample:
    """Record a sample of a lot or of one container; `passed` None while the answer is awaited.

    measured: values of the report. The laboratory's answer goes first; without one a value outside its limits fails the
    sample, and values within them leave it awaited.
    """
    require(acting, department, "sample")
    if (lot is None) == (container is None):
        raise Refused("A sample is of a lot or of one container: name one of them.")
    if (lot or container).department_id != department.pk:  # type: ignore[union-attr] # one of them is given
        raise Refused(f"There is no such lot or container in {department}.")
    _not_ahead(department, taken_on, clock, "was taken")
    values = _with_declared(lot, container, measured)
    passed = _weighed(department, passed, values)
    with transaction.atomic():
        sample = Sample.objects.create(
            department=department,
            lot=lot,
            container=container,
            taken_on=taken_on,
            passed=passed,
            good_through=good_through,
            report=report.strip(),
            measured=values,
        )
        new = {"of": str(lot or container), "taken_on": taken_on.isoformat(), "passed": passed}
        record_changes(department, acting, clock.now(), [Changed("record sample", sample, None, new)])
        judge_soon(department, _sampled_units(lot, container), because="sample", clock=clock)
    return sample


def _with_declared(
    lot: Lot | None, container: Container | None, measured: Mapping[str, float] | None
) -> dict[str, float]:
    """The values, with the density that the concentrate's own record declares where the report names none."""
    values = dict(measured or {})
    concentrate = lot.concentrate if lot else container.concentrate if container else None
    if values and concentrate is not None and concentrate.density_kg_l:
        values.setdefault("declared_density", concentrate.density_kg_l)
    return values


def _weighed(department: Department, passed: bool | None, measured: Mapping[str, float] | None) -> bool | None:
    try:
        return passes(passed, weigh_kept(measured or {}, limits_of(department)))
    except ValueError as wrong:
        raise Refused(str(wrong)) from wrong


def record_sample_result(
    department: Department,
    *,
    sample: Sample,
    passed: bool,
    report: str,
    measured: Mapping[str, float] | None = None,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> Sample:
    """The laboratory's answer to a sample that was waiting for it, with its values where it gives some."""
    require(acting, department, "sample")
    with transaction.atomic():
        row = Sample.objects.select_for_update().get(pk=sample.pk, department=department)
        if row.passed is not None:
            raise Refused("This sample has its answer already: record a new sample.")
        row.measured = _with_declared(row.lot, row.container, {**row.measured, **(measured or {})})
        row.passed, row.report = _weighed(department, passed, row.measured), report.strip() or row.report
        row.save(update_fields=["passed", "report", "measured"])
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
    evidence: Mapping[str, Any] | None = None,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> LineTest:
    """Record a proportioning test: what a line made of a concentrate at a setting [1/100 point].

    evidence: mixes and readings it was worked from, kept with it; see `record_worked_test`.
    """
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
            evidence=dict(evidence or {}),
        )
        new = {"line": str(line), "set_pct": set_pct, "measured_pct": measured_pct, "passed": passed}
        record_changes(department, acting, clock.now(), [Changed("record line test", test, None, new)])
        judge_soon(department, units_at([(line.unit_id, line.vehicle_id)]), because="proportioning test", clock=clock)
    return test


WAYS = {"mixes": "known mixes", "draw": "draw test", "meters": "flow meters"}


def record_worked_test(
    department: Department,
    *,
    line: FoamLine,
    concentrate: Concentrate,
    tested_on: date,
    set_pct: int,
    evidence: Mapping[str, Any],
    good_through: date | None = None,
    band: str = "standard",
    certificate: str = "",
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> LineTest:
    """Record a test from its readings: what they make of it is its result. Refused where they prove nothing."""
    require(acting, department, "line test")
    vehicle = airport_of(department, band)
    try:
        proof = prove(evidence, set_pct, vehicle=vehicle)
    except ValueError as wrong:
        raise Refused(str(wrong)) from wrong
    if proof.sheet.refused:
        raise Refused(proof.sheet.refused)
    if proof.said == "too near to tell":
        raise Refused(verdict(proof.said, set_pct, vehicle=vehicle))
    return record_line_test(
        department,
        line=line,
        concentrate=concentrate,
        tested_on=tested_on,
        set_pct=set_pct,
        measured_pct=round(proof.measured),
        passed=proof.said == "passed",
        good_through=good_through,
        band=band,
        method=WAYS[evidence["way"]],
        certificate=certificate,
        evidence=evidence,
        acting=acting,
        clock=clock,
    )


def record_foam_test(
    department: Department,
    *,
    line: FoamLine,
    concentrate: Concentrate,
    tested_on: date,
    foam_ml: float,
    foam_g: float,
    drained: list[tuple[float, float]],
    declared_expansion: float | None = None,
    declared_quarter_min: float | None = None,
    report: str = "",
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> FoamTest:
    """Record a cylinder of finished foam: expansion and quarter-drainage follow from its readings."""
    require(acting, department, "line test")
    _not_ahead(department, tested_on, clock, "was made")
    if line.department_id != department.pk or concentrate.department_id != department.pk:
        raise Refused(f"There is no such line or concentrate in {department}.")
    try:
        sheet = foam_sheet(foam_ml, foam_g, [Drained(*each) for each in drained])
    except ValueError as wrong:
        raise Refused(str(wrong)) from wrong
    known = {each.key: each.value for each in sheet.figures}
    with transaction.atomic():
        test = FoamTest.objects.create(
            department=department,
            line=line,
            concentrate=concentrate,
            tested_on=tested_on,
            foam_ml=foam_ml,
            foam_g=foam_g,
            drained=[list(each) for each in drained],
            expansion=known["expansion"],
            quarter_min=known.get("quarter_minutes"),
            watched_min=drained[-1][0] if drained else None,
            declared_expansion=declared_expansion,
            declared_quarter_min=declared_quarter_min,
            report=report.strip(),
        )
        new = {"line": str(line), "expansion": test.expansion, "quarter_min": test.quarter_min}
        record_changes(department, acting, clock.now(), [Changed("record foam test", test, None, new)])
        judge_soon(department, units_at([(line.unit_id, line.vehicle_id)]), because="foam test", clock=clock)
    return test


def record_use_of_line(
    department: Department, *, line: FoamLine, at: datetime, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """A line drew foam: until its flush is logged it is limited."""
    _set_unflushed(department, line, at, acting, clock, "use line")


def record_flush_of_line(
    department: Department,
    *,
    line: FoamLine,
    acting: Acting,
    found: Mapping[str, Any] | None = None,
    clock: Clock = SYSTEM_CLOCK,
) -> None:
    """Clear water ran through the line until it was clear. found: for how long, and how its strainer was."""
    _set_unflushed(department, line, None, acting, clock, "flush line", found)


def _set_unflushed(
    department: Department,
    line: FoamLine,
    at: datetime | None,
    acting: Acting,
    clock: Clock,
    action: str,
    found: Mapping[str, Any] | None = None,
) -> None:
    require(acting, department, "flush")
    with transaction.atomic():
        row = FoamLine.objects.select_for_update().get(pk=line.pk, department=department)
        old = row.unflushed_since
        row.unflushed_since = at
        row.save(update_fields=["unflushed_since"])
        new = {"unflushed_since": _text(at), **(found or {})}
        changed = Changed(action, row, {"unflushed_since": _text(old)}, new)
        record_changes(department, acting, clock.now(), [changed])
        judge_soon(department, units_at([(row.unit_id, row.vehicle_id)]), because=action, clock=clock)


def _text(at: datetime | None) -> str | None:
    return at.isoformat() if at else None


def _not_ahead(department: Department, day: date, clock: Clock, what: str) -> None:
    today = calendar_day_of(department, clock.now())
    if day > today:
        raise Refused(f"{day} was read, which lies in the future (today is {today}): enter the day on which it {what}.")
