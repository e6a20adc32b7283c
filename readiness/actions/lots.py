"""Recall of a lot: one entry that reaches every container which holds or held any of it."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon, units_at
from readiness.actions.permissions import Acting, require
from readiness.models import Department, Holding, Lot


def recall(
    department: Department,
    *,
    lot: Lot,
    recalled_on: date,
    reference: str,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> None:
    """Mark a lot recalled; reports.recalls says what it reached. Raises Refused when it was recalled before."""
    require(acting, department, "recall")
    with transaction.atomic():
        locked = Lot.objects.select_for_update().get(pk=lot.pk, department=department)
        if locked.recalled_on:
            raise Refused(f"{locked} was recalled on {locked.recalled_on} already ({locked.recall_reference}).")
        if not reference.strip():
            raise Refused("No reference was read: a recall names the maker's notice.")
        locked.recalled_on, locked.recall_reference = recalled_on, reference.strip()
        locked.save(update_fields=["recalled_on", "recall_reference"])
        new = {"recalled_on": recalled_on.isoformat(), "recall_reference": locked.recall_reference}
        changed = Changed("recall", locked, {"recalled_on": None, "recall_reference": ""}, new)
        record_changes(department, acting, clock.now(), [changed])
        judge_soon(department, units_with_lot(locked), because="recall", clock=clock)


def withdraw_recall(
    department: Department, *, lot: Lot, reason: str, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """Take a recall back, with the reason: the lot counts again wherever nothing else stands against it."""
    require(acting, department, "recall")
    if not reason.strip():
        raise Refused("No reason was read: a recall that is withdrawn says why.")
    with transaction.atomic():
        locked = Lot.objects.select_for_update().get(pk=lot.pk, department=department)
        if not locked.recalled_on:
            raise Refused(f"{locked} is not recalled.")
        old = {"recalled_on": locked.recalled_on.isoformat(), "recall_reference": locked.recall_reference}
        locked.recalled_on, locked.recall_reference = None, ""
        locked.save(update_fields=["recalled_on", "recall_reference"])
        new = {"recalled_on": None, "recall_reference": "", "reason": reason.strip()}
        record_changes(department, acting, clock.now(), [Changed("withdraw recall", locked, old, new)])
        judge_soon(department, units_with_lot(locked), because="recall withdrawn", clock=clock)


def units_with_lot(lot: Lot) -> set[int]:
    """The units that carry any of the lot tonight."""
    holding = Holding.objects.filter(lot=lot, container__place__isnull=False)
    return units_at(holding.values_list("container__place__unit", "container__place__vehicle"))
