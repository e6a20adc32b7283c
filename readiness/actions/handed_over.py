"""A handed-over sheet: sent, laid out, its doubts answered, tried, and taken in whole; or compared with the book.

1. The file is kept in the draft, so that who leaves the page finds everything again; nothing of it is in the book.
2. Choosing a layout remembers it for the department: the next sheet with these headings is read the same way.
3. Answers are kept as they are given. Trying makes every row inside a transaction, looks at what it does to units, and
   undoes it. Taking in does the same and keeps it, with a row of the report for every filled row of the sheet.
4. While a draft is tried or taken in it is at work, so that a second tap does nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from typing import Any, Final

from django.db import transaction
from openpyxl.utils import get_column_letter

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused, digest
from readiness.actions.foresight import foresee
from readiness.actions.imports import Imported, take_reading, units_of
from readiness.actions.inserting import insert_rows
from readiness.actions.permissions import Acting, require
from readiness.actions.progress import Told, nobody, telling
from readiness.actions.sheet_rows import TheirSheet, reading_of
from readiness.engineering.deficiencies import sentence
from readiness.models import Department, HandedOver, HandedOverRow, SheetLayout
from readiness.models.handed_over import SheetState
from readiness.reports.fleet import collector_off
from readiness.reports.foreseen import UnitChange
from readiness.reports.handed_over import COMPARE, NEW, RowShown, Worked, opened, opened_file, rows_shown, worked
from readiness.reports.sheet_differences import Difference, differences, told_by_row
from readiness.workbooks.guard import NotAWorkbook
from readiness.workbooks.handed_over.layouts import faults_of, fingerprint, from_json, to_json
from readiness.workbooks.handed_over.records import Layout, Meaning, Opened, SheetRows
from readiness.workbooks.rows import Fault, Reading, Spot

Tell = Callable[[str], object]

MOST_FAULTS_KEPT: Final = 500
MOST_DRAFTS: Final = 20  # files are kept in the drafts, so a department has so many at a time
_LONGEST_ANSWER: Final = 200
TRYING, TAKING, COMPARING = "trying", "taking in", "comparing"


class KnownAlready(Refused):
    """The file was taken in before; `handed_over` is its report."""

    def __init__(self, handed_over: HandedOver) -> None:
        day = f"{handed_over.ended_at:%Y-%m-%d}" if handed_over.ended_at else ""
        super().__init__(f"This file was taken in on {day}: nothing is posted again. Here is its report.")
        self.handed_over = handed_over


def send_sheet(
    department: Department,
    data: bytes,
    *,
    name: str,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
    another: bool = False,
) -> HandedOver:
    """Keep a file as a draft; the same file again is the same draft.

    another: it is another sheet of a file that was taken in before. Raises NotAWorkbook (a sentence), KnownAlready with
    the report of the file, Refused, or NotAllowed.
    """
    require(acting, department, "workbook")
    sha256, kept_name = hashlib.sha256(data).hexdigest(), name[-200:] or "sheet"
    opened_file(sha256, kept_name, lambda: data)
    mine = HandedOver.objects.filter(department=department)
    with transaction.atomic():
        Department.objects.select_for_update().get(pk=department.pk)
        same = mine.filter(file_sha256=sha256)
        taken = same.filter(state=SheetState.TAKEN).defer("file").first()
        if taken is not None and not another:
            raise KnownAlready(taken)
        draft = same.filter(state__in=[SheetState.DRAFT, SheetState.WORKING]).first()
        if draft is not None:
            return draft
        if mine.filter(ended_at__isnull=True).count() >= MOST_DRAFTS:
            raise Refused(f"{MOST_DRAFTS} sheets are begun and not finished: take one in, or discard one, first.")
        return HandedOver.objects.create(
            department=department,
            name=kept_name,
            file=data,
            file_sha256=sha256,
            sent_by=acting.user,
            sent_at=clock.now(),
        )


def remembered_layout(department: Department, sheet: SheetRows, header_row: int) -> Layout | None:
    """The layout that was chosen last for a sheet with these headings."""
    known = SheetLayout.objects.filter(department=department, fingerprint=fingerprint(sheet, header_row)).first()
    if known is None:
        return None
    return from_json(known.layout)._replace(sheet=sheet.title, header_row=header_row)


@collector_off()
def choose_layout(
    department: Department, handed_over: HandedOver, layout: Layout, *, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """Say how the sheet is to be read, and remember it. Raises Refused with what is wrong with it."""
    require(acting, department, "workbook")
    draft = _draft(department, handed_over)
    book = opened(draft)
    sheet = book.sheet(layout.sheet)
    wrong = faults_of(layout, sheet)
    if wrong:
        raise Refused(" ".join(wrong))
    taken = HandedOver.objects.filter(department=department, file_sha256=draft.file_sha256, state=SheetState.TAKEN)
    if any(each["sheet"] == sheet.title for each in taken.values_list("layout", flat=True)):
        raise Refused(f"The sheet “{sheet.title}” of this file was taken in before: choose another of its sheets.")
    mark = fingerprint(sheet, layout.header_row)
    with transaction.atomic():
        kept = {"layout": to_json(layout), "chosen_by": acting.user, "chosen_at": clock.now()}
        SheetLayout.objects.update_or_create(department=department, fingerprint=mark, defaults=kept)
        draft.fingerprint, draft.layout, draft.tried = mark, to_json(layout), {}
        draft.rows_sha256 = digest([[row.number, [cell and cell.text for cell in row.cells]] for row in sheet.rows])
        draft.notes = beside(book, sheet)
        draft.save(update_fields=["fingerprint", "layout", "tried", "rows_sha256", "notes"])


def beside(book: Opened, sheet: SheetRows) -> list[str]:
    """What the file holds beside the rows of this sheet: nothing of it is dropped in silence."""
    others = [each for each in book.sheets if each.title != sheet.title and each.rows]
    left = [
        f"The sheet “{each.title}” ({len(each.rows):,} filled {'row' if len(each.rows) == 1 else 'rows'}) is not read: "
        "hand it over by itself if it is stock."
        for each in others
    ]
    return [*sheet.notes, *left]


def answer_questions(
    department: Department, handed_over: HandedOver, answers: Mapping[str, str], *, acting: Acting
) -> None:
    """Keep answers, by the group of their question; an empty one takes the answer away."""
    require(acting, department, "workbook")
    with transaction.atomic():
        draft = _draft(department, handed_over, lock=True)
        kept = {**draft.answers, **{group: " ".join(said.split()) for group, said in answers.items()}}
        long = next((said for said in kept.values() if len(said) > _LONGEST_ANSWER), "")
        if long:
            raise Refused(f"“{long[:60]}…” was read: an answer has at most {_LONGEST_ANSWER} characters.")
        draft.answers = {group: said for group, said in kept.items() if said}
        draft.tried = {}
        draft.save(update_fields=["answers", "tried"])


def discard_sheet(department: Department, handed_over: HandedOver, *, acting: Acting) -> None:
    """Throw a draft away: nothing of it was in the book."""
    require(acting, department, "workbook")
    with transaction.atomic():
        _draft(department, handed_over, lock=True).delete()


# -- at work ----------------------------------------------------------------------------------------------------------


def begin_work(
    department: Department, handed_over: HandedOver, what: str, *, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """Put a draft to work. Raises Refused where it is at work already, or where something has to be answered first."""
    require(acting, department, "workbook")
    work = worked(_draft(department, handed_over), department, calendar_day_of(department, clock.now()))
    _refuse_unready(work, what)
    with transaction.atomic():
        draft = _draft(department, handed_over, lock=True)
        draft.state = SheetState.WORKING
        draft.working = {"what": what, "since": clock.now().isoformat(), "step": "Beginning"}
        draft.save(update_fields=["state", "working"])


def do_work(department: Department, handed_over: HandedOver, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> None:
    """Do what the draft was put to work for. Whatever breaks it off is told in the draft, and nothing is kept."""
    require(acting, department, "workbook")
    draft = _at_work(department, handed_over)
    work = {TRYING: try_sheet, TAKING: take_sheet, COMPARING: compare_sheet}[draft.working["what"]]
    try:
        with collector_off(), telling(progress_name(draft)) as told:
            work(department, draft, acting=acting, clock=clock, tell=partial(_tell, draft), told=told)
    except (Refused, NotAWorkbook) as refused:
        _stop(draft, str(refused))
    except Exception:
        _stop(draft, "The work broke off by a fault of the program; nothing of it was kept.")
        raise


def progress_name(handed_over: HandedOver) -> str:
    """What the progress of its work is told under."""
    return f"sheet-{handed_over.pk}"


def give_up_work(department: Department, handed_over: HandedOver, *, acting: Acting) -> None:
    """Make it a draft again after a server was stopped in the middle: what it was doing was never kept."""
    require(acting, department, "workbook")
    _stop(HandedOver.objects.get(department=department, pk=handed_over.pk), "The work was given up; nothing was kept.")


def _tell(draft: HandedOver, step: str) -> None:
    draft.working = {**draft.working, "step": step}
    HandedOver.objects.filter(pk=draft.pk, state=SheetState.WORKING).update(working=draft.working)


def _stop(draft: HandedOver, why: str) -> None:
    at_work = HandedOver.objects.filter(pk=draft.pk, state=SheetState.WORKING)
    at_work.update(state=SheetState.DRAFT, working={"failed": why})


def try_sheet(
    department: Department,
    handed_over: HandedOver,
    *,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
    tell: Tell = str,
    told: Told = nobody,
) -> None:
    """Make every row, look at what that does, and undo it; what was seen is kept in the draft."""
    require(acting, department, "workbook")
    draft = _at_work(department, handed_over)
    today = calendar_day_of(department, clock.now())
    work = worked(draft, department, today, tell=tell)
    tell(f"Trying {work.containers:,} containers; nothing of this is kept")
    reading = _reading(department, draft, work, today)
    seen: list[Imported] = []

    def act() -> tuple[()]:
        seen.append(take_reading(department, reading, acting=acting, clock=clock, told=told))
        return ()

    foreseen = foresee(department, act, clock=clock)
    units = [] if seen[0].faults else [_unit_kept(each, department.units) for each in foreseen.units if each.changed]
    _keep_trial(draft, seen[0], units, clock)


def take_sheet(
    department: Department,
    handed_over: HandedOver,
    *,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
    tell: Tell = str,
    told: Told = nobody,
) -> Imported:
    """Take the sheet in, whole or not at all; afterwards its report stands in place of the draft."""
    require(acting, department, "workbook")
    draft = _at_work(department, handed_over)
    today = calendar_day_of(department, clock.now())
    work = worked(draft, department, today, tell=tell)
    tell(f"Entering {work.containers:,} containers into the book")
    reading, shown = _reading(department, draft, work, today), rows_shown(work, department.units)
    with transaction.atomic():  # others wait from here on: whatever can be worked out was worked out before
        imported = take_reading(department, reading, acting=acting, clock=clock, told=told)
        if imported.saved:
            told("rows written into the report", 0, len(shown))
            _keep_report(department, draft, shown, SheetState.TAKEN, acting, clock)
    if not imported.saved:
        _keep_trial(draft, imported, [], clock)
    return imported


def compare_sheet(
    department: Department,
    handed_over: HandedOver,
    *,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
    tell: Tell = str,
    told: Told = nobody,
) -> tuple[Difference, ...]:
    """Keep how the sheet differs from the book, row by row. Nothing is posted."""
    require(acting, department, "workbook")
    draft = _at_work(department, handed_over)
    work = worked(draft, department, calendar_day_of(department, clock.now()), tell=tell)
    _refuse_unready(work, COMPARING)
    tell("Comparing with the book")
    found = differences(department, work.matched)
    by_row = told_by_row(found, department.units)
    rows = [
        row._replace(became=" ".join([row.became, *by_row.get(row.number, [])]), codes=())
        for row in rows_shown(work, department.units)
    ]
    with transaction.atomic():
        draft.tried = {"differences": [each.kept() for each in found]}
        _keep_report(department, draft, rows, SheetState.COMPARED, acting, clock)
    return found


def _reading(department: Department, draft: HandedOver, work: Worked, today: date) -> Reading:
    _refuse_unready(work, TAKING)  # a name may have changed in the department since the questions were answered
    return reading_of(work.matched, their_sheet(draft, work), units=units_of(department), today=today)


def _refuse_unready(work: Worked, what: str) -> None:
    if not work.ready:
        many = len(work.open)
        raise Refused(f"{many} {'question has' if many == 1 else 'questions have'} to be answered first.")
    if work.purpose != (COMPARE if what == COMPARING else NEW):
        raise Refused("The sheet was said to be compared with the book, not taken in: change that answer first.")


def their_sheet(draft: HandedOver, work: Worked) -> TheirSheet:
    """Where in their sheet each meaning stands."""
    spots: dict[Meaning, Spot] = {}
    headings = next((row for row in work.sheet.rows if row.number == work.layout.header_row), None)
    for column, meaning in enumerate(work.layout.meanings):
        cell = headings.cell(column) if headings else None
        spots.setdefault(meaning, Spot(get_column_letter(column + 1), cell.text if cell else ""))
    return TheirSheet(work.sheet.title, draft.name, spots)


_REPORT_ROW = ("handed_over_id", "number", "fate", "said", "became", "left", "codes", "ml")


def _keep_report(
    department: Department,
    draft: HandedOver,
    rows: list[RowShown],
    state: SheetState,
    acting: Acting,
    clock: Clock,
) -> None:
    kept = [(draft.pk, row.number, row.fate, row.said, row.became, row.left, list(row.codes), row.ml) for row in rows]
    insert_rows(HandedOverRow, _REPORT_ROW, kept)
    draft.state, draft.working, draft.file = state, {}, b""
    draft.ended_by, draft.ended_at = acting.user, clock.now()
    draft.containers = sum(len(row.codes) for row in rows)
    draft.save()
    new = {"name": draft.name, "rows": len(rows), "containers": draft.containers}
    verb = "take in a sheet" if state is SheetState.TAKEN else "compare a sheet"
    record_changes(department, acting, clock.now(), [Changed(verb, draft, None, new)])


# -- what is kept of a trial ------------------------------------------------------------------------------------------


def _keep_trial(draft: HandedOver, imported: Imported, units: list[dict[str, Any]], clock: Clock) -> None:
    draft.tried = {"of": _state_of(draft), "at": clock.now().isoformat(), **_imported_kept(imported), "units": units}
    draft.state, draft.working = SheetState.DRAFT, {}
    draft.save(update_fields=["tried", "state", "working"])


def tried_now(handed_over: HandedOver) -> dict[str, Any]:
    """What the last trial said, empty where answers or layout changed since."""
    tried: dict[str, Any] = handed_over.tried
    return tried if tried.get("of") == _state_of(handed_over) else {}


def _state_of(draft: HandedOver) -> str:
    return digest([draft.layout, draft.answers])


def _imported_kept(imported: Imported) -> dict[str, Any]:
    return {
        "faults": [list(fault) for fault in imported.faults[:MOST_FAULTS_KEPT]],
        "fault_count": len(imported.faults),
        "counts": {sheet: dict(counts) for sheet, counts in imported.counts.items()},
        "movements": imported.movements,
        "again": imported.again,
    }


def faults_kept(tried: Mapping[str, Any]) -> list[Fault]:
    """The faults of a trial."""
    return [Fault(*each) for each in tried.get("faults", [])]


def _unit_kept(unit: UnitChange, units: str) -> dict[str, Any]:
    return {
        "unit": unit.unit,
        "before": unit.before,
        "after": unit.after,
        "appear": [sentence(each, "us" if units == "us" else "metric") for each in unit.appear],
        "vanish": [sentence(each, "us" if units == "us" else "metric") for each in unit.vanish],
    }


def _draft(department: Department, handed_over: HandedOver, *, lock: bool = False) -> HandedOver:
    """The department's draft as it stands now. Raises DoesNotExist for another's, Refused where it is none."""
    rows = HandedOver.objects.select_for_update() if lock else HandedOver.objects.all()
    draft = rows.defer("file").get(department=department, pk=handed_over.pk)
    if draft.state == SheetState.WORKING:
        raise Refused("The sheet is at work already: wait until that is done.")
    if draft.state != SheetState.DRAFT:
        raise Refused("The sheet was finished before: its report is kept, and nothing in it is changed any more.")
    return draft


def _at_work(department: Department, handed_over: HandedOver) -> HandedOver:
    draft = HandedOver.objects.defer("file").get(department=department, pk=handed_over.pk)
    if draft.state != SheetState.WORKING:
        raise Refused("The sheet is not at work: begin anew.")
    return draft
