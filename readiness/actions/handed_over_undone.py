"""A handed-over sheet that was taken in wrongly is taken back out of the book as a whole, by corrections.

Each container's entry is undone by a further one that names it and gives the reason; the containers are retired, and
the report stays with that reason. What was made for the sheet (stations, units, concentrates, lots) stays: it may be in
use elsewhere. Afterwards the same file may be sent again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db import transaction

from readiness.actions import ledger
from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Draft, Line, MarkAs, Move, Refused, new_id
from readiness.actions.intake import BATCH
from readiness.actions.intake_containers import opening_id
from readiness.actions.judging import judge_all_soon
from readiness.actions.permissions import Acting, require
from readiness.models import Container, Department, HandedOver, Marking, MovementLine, Relocation
from readiness.models.handed_over import SheetState
from readiness.models.movements import Account, Mark, MovementKind

_PARTS = (MovementLine, Relocation, Marking)


def undo_sheet(
    department: Department, handed_over: HandedOver, *, reason: str, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> int:
    """Take its containers back out of the book; how many they were. Raises Refused where one was touched since."""
    require(acting, department, "workbook")
    why = " ".join(reason.split())
    if not why:
        raise Refused("No reason was read: say what was wrong with the sheet or with how it was taken in.")
    with transaction.atomic():
        rows = HandedOver.objects.select_for_update().defer("file")
        done = rows.get(department=department, pk=handed_over.pk)
        if done.state != SheetState.TAKEN:
            raise Refused("Only a sheet that was taken in, and was not taken back out since, can be taken back out.")
        containers = _containers(done)
        openings = {opening_id(each): each for each in containers}
        _refuse_touched(containers, openings)
        drafts = _reversals(list(openings), why, clock)
        ledger.post_many(department, drafts, acting=acting, clock=clock, judge=False)
        _retire(department, containers, clock)
        done.state = SheetState.UNDONE
        done.notes = [*done.notes, f"Taken back out on {clock.now():%Y-%m-%d}: {why}"]
        done.save(update_fields=["state", "notes"])
        old, new = {"containers": len(containers)}, {"reason": why}
        record_changes(department, acting, clock.now(), [Changed("take a sheet back out", done, old, new)])
        judge_all_soon(department, because="sheet taken back out", clock=clock)
    return len(containers)


def _containers(done: HandedOver) -> list[Container]:
    codes = [code for codes in done.rows.values_list("codes", flat=True) for code in codes]
    found: list[Container] = []
    for start in range(0, len(codes), BATCH):
        found += Container.objects.filter(department=done.department_id, code__in=codes[start : start + BATCH])
    return found


def _refuse_touched(containers: Sequence[Container], openings: dict[UUID, Container]) -> None:
    """What was moved, drawn from, marked or corrected since has a history of its own."""
    touched: set[int] = set()
    for start in range(0, len(containers), BATCH):
        ids = [each.pk for each in containers[start : start + BATCH]]
        for part in _PARTS:
            named = part._default_manager.filter(container__in=ids).values_list("container", "movement")
            touched.update(container for container, movement in named if movement not in openings)
    codes = sorted(each.code for each in containers if each.pk in touched or each.retired_on)
    if codes:
        more = f" and {len(codes) - 5} more" if len(codes) > 5 else ""
        raise Refused(
            f"{', '.join(codes[:5])}{more}: entered on since the sheet was taken in. Correct those entries, or correct "
            "what is wrong container by container."
        )


def _reversals(ids: Sequence[UUID], why: str, clock: Clock) -> list[Draft]:
    parts: dict[UUID, dict[str, list[Any]]] = defaultdict(lambda: {"lines": [], "moves": [], "marks": []})
    for start in range(0, len(ids), BATCH):
        of = {"movement__in": ids[start : start + BATCH]}
        for line in MovementLine.objects.filter(**of):
            where = line.container_id or Account(line.account)
            parts[line.movement_id]["lines"].append(Line(where, line.lot_id, -line.ml))
        for move in Relocation.objects.filter(**of):
            parts[move.movement_id]["moves"].append(Move(move.container_id, move.to_place_id, move.from_place_id))
        for mark in Marking.objects.filter(**of):
            parts[mark.movement_id]["marks"].append(MarkAs(mark.container_id, Mark(mark.mark), mark.old))
    return [
        Draft(
            new_id(),
            MovementKind.CORRECTED,
            clock.now(),
            lines=tuple(of["lines"]),
            moves=tuple(of["moves"]),
            marks=tuple(of["marks"]),
            reason=why,
            corrects=opening,
        )
        for opening, of in parts.items()
    ]


def _retire(department: Department, containers: Sequence[Container], clock: Clock) -> None:
    today = calendar_day_of(department, clock.now())
    for start in range(0, len(containers), BATCH):
        ids = [each.pk for each in containers[start : start + BATCH]]
        Container.objects.filter(pk__in=ids).update(retired_on=today)
