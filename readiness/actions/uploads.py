"""A workbook sent through a page: tried first, then taken in; the fuels of this version are loaded beside it."""

from __future__ import annotations

from django.db import transaction

from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.imports import Imported, import_workbook
from readiness.actions.permissions import Acting, require
from readiness.actions.reference import load_fuels
from readiness.models import Department


def take_in(
    department: Department, data: bytes, *, acting: Acting, dry_run: bool, clock: Clock = SYSTEM_CLOCK
) -> Imported:
    """Take in a workbook, or with `dry_run` only say what would happen: then the database is left as it is.

    Raises NotAWorkbook (a sentence) for a file that is none, NotAllowed for who may not.
    """
    require(acting, department, "workbook")
    with transaction.atomic():
        load_fuels(clock.now())
        imported = import_workbook(department, data, acting=acting, clock=clock, dry_run=dry_run)
        transaction.set_rollback(dry_run)
    return imported
