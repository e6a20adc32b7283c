"""Recall of a lot: one entry that reaches every container which holds or held any of it."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting, require
from readiness.models import Department, Lot


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
