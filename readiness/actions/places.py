"""Places where a container can stand: made when the first container comes there."""

from __future__ import annotations

from readiness.actions.changes import Changed, record_changes
from readiness.actions.drafts import Refused
from readiness.actions.movements import Entry
from readiness.models import Place, Station, Unit, Vehicle

Owner = Station | Unit | Vehicle


def place_at(entry: Entry, owner: Owner, compartment: str = "") -> Place:
    """The place with this owner and compartment (read without regard to case and spaces), made where there is none.

    In the caller's transaction, which has asked for the permission. Raises Refused for another department's owner.
    """
    if owner.department_id != entry.department.pk:
        raise Refused(f"There is no such station, unit or vehicle in {entry.department}.")
    name = " ".join(compartment.split())
    side = {Station: "station", Unit: "unit", Vehicle: "vehicle"}[type(owner)]
    known = Place.objects.filter(department=entry.department, **{side: owner}, compartment__iexact=name).first()
    if known is not None:
        return known
    made: Place = Place.objects.create(department=entry.department, **{side: owner}, compartment=name)
    record_changes(
        entry.department,
        entry.acting,
        entry.clock.now(),
        [Changed("make place", made, None, {"name": str(made)})],
    )
    return made
