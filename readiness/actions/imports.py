"""A department's workbook goes in whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from django.db import transaction

from readiness.actions import intake_sheets as sheets
from readiness.actions import ledger
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused
from readiness.actions.intake import Intake
from readiness.actions.intake_containers import take_containers
from readiness.actions.judging import judge_all_soon
from readiness.actions.permissions import Acting, require
from readiness.actions.progress import Told, nobody
from readiness.models import Department, Submission
from readiness.models.submissions import Outcome
from readiness.workbooks.columns import Units
from readiness.workbooks.reading import read_workbook
from readiness.workbooks.rows import Fault, Reading, quoted
from readiness.workbooks.sheets import SHEETS

STEPS: tuple[Callable[[Intake], None], ...] = (
    sheets.know_everything,
    sheets.take_stations,
    sheets.take_vehicles,
    sheets.take_units,
    sheets.take_concentrates,
    sheets.take_listings,
    sheets.take_lots,
    sheets.take_appliances,
    sheets.take_hoses,
    sheets.take_lines,
    sheets.take_setups,
    sheets.take_duties,
    take_containers,
    sheets.take_sources,
    sheets.take_samples,
    sheets.take_line_tests,
)


class Imported(NamedTuple):
    """What became of a workbook. With any fault nothing was saved."""

    faults: tuple[Fault, ...]
    counts: Mapping[str, Mapping[str, int]]
    movements: int
    skipped_examples: int
    saved: bool
    again: bool


class _Undo(Exception):
    """Leaves the transaction without saving."""


def import_workbook(
    department: Department, data: bytes, *, acting: Acting, clock: Clock = SYSTEM_CLOCK, dry_run: bool = False
) -> Imported:
    """Take in a workbook. Raises NotAWorkbook (a sentence) for a file that is none, NotAllowed for who may not."""
    require(acting, department, "workbook")
    reading = read_workbook(data, units=units_of(department), today=calendar_day_of(department, clock.now()))
    return take_reading(department, reading, acting=acting, clock=clock, dry_run=dry_run)


def take_reading(
    department: Department,
    reading: Reading,
    *,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
    dry_run: bool = False,
    told: Told = nobody,
) -> Imported:
    """Take in rows, whole or not at all, whatever file they were read from. Raises NotAllowed for who may not.

    told: is told how far it is.
    """
    require(acting, department, "workbook")
    intake = Intake(department, reading, acting, clock.now())
    again = False
    try:
        with transaction.atomic():
            again = _known_already(intake)
            if again:
                raise _Undo
            _take(intake, clock, told)
            if intake.faults or dry_run:
                raise _Undo
            _remember(intake)
            judge_all_soon(department, because="workbook", clock=clock)
    except _Undo:
        pass
    return _imported(intake, reading.skipped_examples, again=again, dry_run=dry_run)


def _imported(intake: Intake, skipped_examples: int, *, again: bool, dry_run: bool) -> Imported:
    if again:
        return Imported((), {}, 0, skipped_examples, saved=False, again=True)
    return Imported(
        faults=_in_order(intake.faults),
        counts=intake.counts,
        movements=0 if intake.faults else len(intake.drafts),
        skipped_examples=skipped_examples,
        saved=not (intake.faults or dry_run),
        again=False,
    )


def _in_order(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """Faults as the workbook stands: by sheet, row and column; what concerns a whole file first."""
    order = {sheet.title: number for number, sheet in enumerate(SHEETS)}

    def place(fault: Fault) -> tuple[int, int, int, str]:
        return order.get(fault.sheet, -1), fault.row, len(fault.column), fault.column  # column AA comes after Z

    return tuple(sorted(faults, key=place))


def _known_already(intake: Intake) -> bool:
    """Whether these rows were posted before; the lock makes two who send a workbook at once wait for one another."""
    Department.objects.select_for_update().get(pk=intake.department.pk)
    client_id, body = intake.identity
    found = Submission.objects.filter(department=intake.department, client_id=client_id, body_sha256=body)
    return found.exists()


def units_of(department: Department) -> Units:
    """The units that the department writes."""
    return "us" if department.units == "us" else "metric"


def _take(intake: Intake, clock: Clock, told: Told) -> None:
    rows = sum(len(of_sheet) for of_sheet in intake.rows.values())
    told("rows made into containers and what they need", 0, rows)
    for step in STEPS:
        step(intake)
    if intake.faults:
        return
    try:
        ledger.post_many(
            intake.department,
            intake.drafts,
            acting=intake.acting,
            clock=clock,
            judge=False,
            unborn=intake.unborn,
            told=told,
        )
    except Refused as refused:
        row = intake.opening[refused.draft.id] if refused.draft else next(iter(intake.opening.values()))
        intake.fault(row, "code", quoted(row["code"]), str(refused))


def _remember(intake: Intake) -> None:
    client_id, body = intake.identity
    Submission.objects.create(
        department=intake.department,
        client_id=client_id,
        kind="workbook",
        body={"rows": {key: len(rows) for key, rows in intake.rows.items() if rows}},
        body_sha256=body,
        sent_by=intake.acting.user,
        identity=intake.acting.identity,
        device=intake.acting.device,
        received_at=intake.now,
        outcome=Outcome.POSTED,
    )
