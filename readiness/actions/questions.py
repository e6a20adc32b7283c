"""A company officer answers a question that a check gave."""

from __future__ import annotations

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting, require
from readiness.models import Answered, Check, Container, Department


def answer_question(
    department: Department,
    *,
    check: Check,
    words: str,
    acting: Acting,
    container: Container | None = None,
    clock: Clock = SYSTEM_CLOCK,
) -> Answered:
    """Keep what was found out, once. Raises Refused without words."""
    require(acting, department, "close a deficiency")
    said = " ".join(words.split())
    if not said:
        raise Refused("No words were read: say what was found out.")
    if check.department_id != department.pk or (container is not None and container.department_id != department.pk):
        raise Refused(f"There is no such check in {department}.")
    with transaction.atomic():
        known = Answered.objects.filter(check_of=check, container=container).first()
        if known is not None:
            return known
        facts = {"words": said[:300], "at": clock.now(), "by": acting.user}
        made = Answered.objects.create(department=department, check_of=check, container=container, **facts)
        record_changes(department, acting, clock.now(), [Changed("answer question", made, None, {"words": made.words})])
    return made
