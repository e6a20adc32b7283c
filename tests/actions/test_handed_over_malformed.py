"""Malformed files sent as a handed-over sheet: each is refused with its sentence, and no table has a row more."""

from __future__ import annotations

from typing import Any

import pytest
from django.apps import apps

from readiness.actions.handed_over import send_sheet
from readiness.actions.permissions import OWNER
from readiness.workbooks.guard import NotAWorkbook
from tests.cast import CLOCK, DepartmentFactory
from tests.workbooks.handed_over.malformed import FILES

pytestmark = pytest.mark.django_db
REFUSED = [name for name in FILES if not name.startswith("ok:")]


def rows_of_every_table() -> dict[str, int]:
    return {model._meta.label: model._default_manager.count() for model in apps.get_models()}


def test_no_malformed_file_leaves_anything_behind():
    department: Any = DepartmentFactory()
    before = rows_of_every_table()
    taken = []
    for name in REFUSED:
        try:
            send_sheet(department, FILES[name](), name=f"{name}.xlsx", acting=OWNER, clock=CLOCK)
        except NotAWorkbook:
            continue
        taken.append(name)
    assert taken == []
    assert len(REFUSED) >= 150
    assert rows_of_every_table() == before
