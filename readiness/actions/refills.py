"""Refilling a rig: guarded, so that the wrong foam is refused before it is poured; and saying that none is at hand."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction

from readiness.actions import movements
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Move, Refused
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry
from readiness.actions.permissions import Acting, require
from readiness.actions.places import place_at
from readiness.actions.raised_deficiencies import raise_deficiency
from readiness.models import Concentrate, Container, Department, RaisedDeficiency, Unit
from readiness.models.movements import MovementKind
from readiness.models.raised_deficiencies import Effect, RaisedKind
from readiness.reports.refills import Guarded, guard_pour, guard_stow


def refill(
    entry: Entry, *, source: Container, target: Container, ml: int | None = None, override: bool = False
) -> Posted:
    """Pour what the guard says yes to. Raises Refused with every reason of a no that is not overridden.

    An officer overrides with a reason; where two concentrates meet, the target is then mixed and out of the count until
    it is emptied, flushed and inspected.
    """
    require(entry.acting, entry.department, "override" if override else "pour")
    day = calendar_day_of(entry.department, entry.at)
    guarded = guard_pour(source, target, ml, day, entry.department.units)
    _refuse(guarded, override)
    return movements.pour(entry, source=source, target=target, ml=guarded.ml, override=override and not guarded.yes)


def stow(entry: Entry, *, containers: Sequence[Container], unit: Unit, override: bool = False) -> Posted:
    """Take pails from a store aboard a unit, where its others stand."""
    require(entry.acting, entry.department, "override" if override else "pour")
    if unit.department_id != entry.department.pk:
        raise Refused(f"There is no such unit in {entry.department}.")
    if override and not entry.reason.strip():
        raise Refused("No reason was read: an officer who overrides says why.")
    day = calendar_day_of(entry.department, entry.at)
    for container in containers:
        _refuse(guard_stow(container, unit, day), override)
    with transaction.atomic():
        place = place_at(entry, unit, _compartment(unit))
        draft = entry.draft(MovementKind.MOVED)
        moves = tuple(Move(each.pk, each.place_id, place.pk) for each in containers)
        return entry.post(draft._replace(moves=moves))


def _refuse(guarded: Guarded, override: bool) -> None:
    left = [each for each in guarded.reasons if not (override and each.overridable)]
    if left:
        raise Refused(" ".join(each.sentence for each in left))


def _compartment(unit: Unit) -> str:
    """Where the unit's loose containers stand."""
    known = Container.objects.filter(place__unit=unit, retired_on__isnull=True).order_by("-pk")
    return known.values_list("place__compartment", flat=True).first() or ""


def in_service_short(
    department: Department,
    *,
    subject: Unit | Container,
    concentrate: Concentrate | None,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> tuple[RaisedDeficiency, bool]:
    """Nothing right is at hand: a note for the logistics officer to order it, once while it is open.

    Returns it, and whether it had been raised before. The unit is limited by it; how short it is judging works out.
    """
    require(acting, department, "raise a deficiency")
    if concentrate is not None and concentrate.department_id != department.pk:
        raise Refused(f"There is no such concentrate in {department}.")
    words = f"in service short of {concentrate or 'foam concentrate'}, order raised"
    side = "unit" if isinstance(subject, Unit) else "container"
    known = RaisedDeficiency.objects.filter(department=department, closed_at__isnull=True, kind=RaisedKind.ORDER)
    with transaction.atomic():
        row = known.filter(words=words[:140], **{side: subject}).first()
        if row is not None:
            return row, True
        effect, kind = Effect.LIMITED, RaisedKind.ORDER
        made = raise_deficiency(
            department, subject=subject, words=words, effect=effect, kind=kind, acting=acting, clock=clock
        )
        return made, False
