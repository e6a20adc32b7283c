"""Labels: a code for a thing, given once and never changed; printed again as often as it is lost."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Iterator, Sequence
from datetime import datetime
from typing import Final

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting, require
from readiness.engineering.label_codes import ALPHABET, BODY, completed, shown_code
from readiness.models import Container, Department, FoamLine, Label, Unit, Vehicle

Thing = Container | FoamLine | Vehicle | Unit
KINDS: Final[dict[type[Thing], str]] = {Container: "container", FoamLine: "line", Vehicle: "vehicle", Unit: "unit"}
MOST: Final = 1000  # labels at once: more paper than a printer's tray holds
_BATCH: Final = 500


def print_labels(
    department: Department, *, things: Sequence[Thing], acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> list[Label]:
    """The labels in force of things, in their order, stamped as printed now; what has none is given one for good.

    Raises NotAllowed, and Refused where a thing is another department's, or where there are none or too many.
    """
    require(acting, department, "label")
    if not 0 < len(things) <= MOST:
        raise Refused(f"{len(things)} things were chosen: from 1 to {MOST} labels are printed at once.")
    if any(thing.department_id != department.pk for thing in things):
        raise Refused(f"A thing was chosen that is not {department}’s: choose from the list.")
    with transaction.atomic():
        Department.objects.select_for_update(no_key=True).get(pk=department.pk)  # two who print give no thing two codes
        known = _in_force(department, things)
        new = [thing for thing in things if _key(thing) not in known]
        known.update(_given(department, list(dict.fromkeys(new)), acting, clock.now()))
        labels = [known[_key(thing)] for thing in things]
        _stamp(labels, clock.now())
    return labels


def withdraw_label(
    department: Department, *, label: Label, reason: str, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> Label:
    """Take a code out of use, as one that was stuck on the wrong thing. The next print gives the thing a new one.

    Raises NotAllowed, and Refused without a reason or where it is withdrawn already.
    """
    require(acting, department, "label")
    why = " ".join(reason.split())
    if not why:
        raise Refused("No reason was read: say why the label is withdrawn.")
    with transaction.atomic():
        row = Label.objects.select_for_update().get(pk=label.pk, department=department)
        if row.withdrawn_at is not None:
            raise Refused(f"The label {shown_code(row.code)} is withdrawn already: {row.reason}")
        row.withdrawn_at, row.withdrawn_by, row.reason = clock.now(), acting.user, why[:200]
        row.save(update_fields=["withdrawn_at", "withdrawn_by", "reason"])
        told = Changed("withdraw label", row, {"reason": ""}, {"reason": row.reason})
        record_changes(department, acting, clock.now(), [told])
    return row


def _key(thing: Thing) -> tuple[str, int]:
    return KINDS[type(thing)], thing.pk


def _in_force(department: Department, things: Collection[Thing]) -> dict[tuple[str, int], Label]:
    """The labels that the things have already, in a number of queries that does not grow with them but for batches."""
    found: dict[tuple[str, int], Label] = {}
    for model, kind in KINDS.items():
        ids = sorted({thing.pk for thing in things if isinstance(thing, model)})
        for start in range(0, len(ids), _BATCH):
            asked = {f"{kind}__in": ids[start : start + _BATCH]}
            rows = Label.objects.filter(department=department, withdrawn_at__isnull=True, **asked)
            found.update({(kind, getattr(row, f"{kind}_id")): row for row in rows})
    return found


def _given(
    department: Department, things: Sequence[Thing], acting: Acting, now: datetime
) -> dict[tuple[str, int], Label]:
    rows = [
        Label(department=department, code=code, made_at=now, made_by=acting.user, **{KINDS[type(thing)]: thing})
        for thing, code in zip(things, _fresh(len(things)), strict=True)
    ]
    made = Label.objects.bulk_create(rows, batch_size=_BATCH)
    told = [Changed("give label", row, None, {"code": row.code, kind: pk}) for row in made for kind, pk in [_of(row)]]
    record_changes(department, acting, now, told)
    return {_of(row): row for row in made}


def _of(row: Label) -> tuple[str, int]:
    return next((kind, getattr(row, f"{kind}_id")) for kind in KINDS.values() if getattr(row, f"{kind}_id"))


def _stamp(labels: Sequence[Label], now: datetime) -> None:
    ids = sorted({label.pk for label in labels})
    for start in range(0, len(ids), _BATCH):
        Label.objects.filter(pk__in=ids[start : start + _BATCH]).update(printed_at=now)
    for label in labels:
        label.printed_at = now


def _fresh(count: int) -> set[str]:
    """So many codes that nothing has or ever had."""
    found: set[str] = set()
    while len(found) < count:
        drawn = set(_drawn(count - len(found)))
        found |= drawn - set(Label.objects.filter(code__in=drawn).values_list("code", flat=True))
    return found


def _drawn(count: int) -> Iterator[str]:
    """Codes by chance, so that nobody guesses the next one and neighbors on a shelf are not alike."""
    left = min(count, _BATCH)
    while left:
        code = completed("".join(secrets.choice(ALPHABET) for _ in range(BODY)))
        if code:
            left -= 1
            yield code
