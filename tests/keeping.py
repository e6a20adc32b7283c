"""What tests of reference records share: a desk to keep them at, what was kept, and who is to be judged again."""

from __future__ import annotations

from typing import Any

import pytest

from readiness.actions.keeping import Desk, NotKept, Noun
from readiness.models import Change, Role, Unit
from tests.cast import CLOCK, Cast


def desk(cast: Cast, role: Role = Role.CHIEF) -> Desk:
    """The cast's person of that role, at six o'clock."""
    return Desk(cast.department, cast.acting(role), CLOCK)


def all_judged() -> None:
    """As after a night: nobody is due."""
    Unit.objects.update(judge_due=False)


def due() -> set[str]:
    """The units that are to be judged again."""
    return set(Unit.objects.filter(judge_due=True).values_list("designation", flat=True))


def last_change() -> tuple[str, Any, Any]:
    """The latest row of the table of changes: what, old, new."""
    row = Change.objects.latest("id")
    return row.action, row.old, row.new


def faults(noun: Noun[Any, Any], cast: Cast, facts: Any, row: Any = None) -> dict[str, str]:
    """The sentences by fact with which facts are refused; nothing may have been written."""
    before = Change.objects.count(), noun.model._default_manager.count()
    with pytest.raises(NotKept) as refused:
        noun.save(desk(cast), facts, row)
    assert (Change.objects.count(), noun.model._default_manager.count()) == before, "a refusal writes nothing"
    return {fault.fact: fault.sentence for fault in refused.value.faults}
