"""Containers of a workbook: new ones come into the book with what is in them; known ones are never overwritten."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any, NamedTuple
from uuid import UUID, uuid5

from readiness.actions.drafts import Draft, Line, MarkAs, Move
from readiness.actions.intake import BATCH, Intake, Wanted
from readiness.actions.intake_sheets import find_lot
from readiness.engineering.wording import volume_text
from readiness.models import Container, MovementLine, Place, Relocation
from readiness.models.movements import Account, Mark, MovementKind
from readiness.workbooks.rows import Row, quoted
from readiness.workbooks.rules import folded

OPENINGS = UUID("5b1f3f1e-8f1a-4f0e-9c65-2f5a4f0d7c11")  # the name space of the ids of openings
REASON = "taken in from a workbook"


class Opening(NamedTuple):
    """What a row says of a container: where it is and what is in it, by lot."""

    row: Row
    container: Container
    place: Place
    lots: dict[int, int]


def opening_id(container: Container) -> UUID:
    """The id under which a container comes into the book by a workbook: the same however often it is read."""
    return uuid5(OPENINGS, f"{container.department_id} {container.code}")


def take_containers(intake: Intake) -> None:
    """Make new containers and draft their openings; compare known ones with the book."""
    mine = Container.objects.filter(department=intake.department).select_related("concentrate")
    intake.know("containers", mine, lambda r: (folded(r.code),))
    before = set(intake.known["containers"])
    rows = [row for row in intake.rows["containers"] if row.sound("code", "kind", "capacity", "contents")]
    owners = {id(row): owner for row in rows if (owner := _owner(intake, row))}
    intake.keep("containers", Container, [_wanted(intake, row) for row in rows if id(row) in owners])
    places = _places(intake, rows, owners)
    lots = _lots(intake, rows)
    openings = [
        Opening(row, intake.known["containers"][folded(row["code"]),], places[id(row)], lots[folded(row["code"])])
        for row in rows
        if id(row) in places
    ]
    new = [opening for opening in openings if (folded(opening.container.code),) not in before]
    intake.drafts += [_draft(intake, opening) for opening in new]
    _compare(intake, [opening for opening in openings if (folded(opening.container.code),) in before])


def _wanted(intake: Intake, row: Row) -> Wanted:
    values = {
        "department": intake.department,
        "code": row["code"],
        "kind": row["kind"],
        "capacity_ml": row["capacity"],
        "unreachable_ml": row["unreachable"] or 0,
        "resolution_ml": row["gauge_resolution"] or 0,
    }
    return Wanted(row, (folded(row["code"]),), values)


def _owner(intake: Intake, row: Row) -> dict[str, Any] | None:
    found = {
        "station": intake.find("stations", row, "station"),
        "unit": intake.find("units", row, "unit"),
        "vehicle": intake.find("vehicles", row, "vehicle"),
    }
    return {name: record for name, record in found.items() if record} or None


def _places(intake: Intake, rows: Iterable[Row], owners: dict[int, dict[str, Any]]) -> dict[int, Place]:
    """The place of each row by its identity, made where the department has none like it."""
    known = {_place_key(place): place for place in Place.objects.filter(department=intake.department)}
    new: list[Place] = []
    found: dict[int, Place] = {}
    colder: set[int] = set()
    for row in rows:
        owner = owners.get(id(row))
        if owner is None:
            continue
        wanted = Place(department=intake.department, compartment=row["compartment"], **owner)
        place = known.setdefault(_place_key(wanted), wanted)
        if place is wanted:
            new.append(place)
        low = row["place_low"]
        if low is not None and (place.expected_low_c is None or low < place.expected_low_c):
            # Of several statements about one place the coldest counts, whichever row it stands in.
            place.expected_low_c = low
            if place is not wanted and place.pk:
                colder.add(id(place))
        found[id(row)] = place
    Place.objects.bulk_create(new, batch_size=BATCH)
    altered = [place for place in known.values() if id(place) in colder]
    Place.objects.bulk_update(altered, ["expected_low_c"], batch_size=BATCH)
    return found


def _place_key(place: Place) -> tuple[Any, ...]:
    return place.station_id, place.unit_id, place.vehicle_id, folded(place.compartment)


def _lots(intake: Intake, rows: Iterable[Row]) -> dict[str, dict[int, int]]:
    """What each container holds by lot, from its own row and from the sheet of other lots."""
    held: dict[str, dict[int, int]] = defaultdict(dict)
    for row in rows:
        lot = find_lot(intake, row)
        if lot and row["contents"]:
            held[folded(row["code"])][lot.pk] = row["contents"]
    for row in intake.rows["other_lots"]:
        container = intake.find("containers", row, "container")
        lot = find_lot(intake, row)
        if container and lot and row.sound("contents"):
            of = held[folded(container.code)]
            of[lot.pk] = of.get(lot.pk, 0) + row["contents"]
    return held


def _draft(intake: Intake, opening: Opening) -> Draft:
    container, row = opening.container, opening.row
    into = [Line(container.pk, lot, ml) for lot, ml in opening.lots.items()]
    marks = [MarkAs(container.pk, Mark.SEALED, "yes")] if row["sealed"] else []
    if row["opened_on"]:
        marks.append(MarkAs(container.pk, Mark.OPENED_ON, row["opened_on"].isoformat()))
    if row["condition"]:
        marks.append(MarkAs(container.pk, Mark(row["condition"]), "yes"))
    draft = Draft(
        opening_id(container),
        MovementKind.RECEIVED,
        intake.now,
        lines=tuple(each for line in into for each in (Line(Account.SUPPLIER, line.lot, -line.ml), line)),
        moves=(Move(container.pk, None, opening.place.pk),),
        marks=tuple(marks),
        reason=REASON,
        override=row["condition"] == "mixed",
    )
    intake.opening[draft.id] = row
    return draft


def _compare(intake: Intake, openings: list[Opening]) -> None:
    """A known container's volume and place are the book's: what differs from it, and is no old news, is a fault."""
    if not openings:
        return
    ids = [opening_id(opening.container) for opening in openings]
    first_ml: dict[int, int] = defaultdict(int)
    first_place: dict[int, int] = {}
    for start in range(0, len(ids), BATCH):
        part = ids[start : start + BATCH]
        lines = MovementLine.objects.filter(movement__in=part, container__isnull=False)
        for container, ml in lines.values_list("container", "ml"):
            first_ml[container] += ml
        moves = Relocation.objects.filter(movement__in=part, to_place__isnull=False)
        first_place.update(moves.values_list("container", "to_place"))
    for opening in openings:
        row, known = opening.row, opening.container
        stated = sum(opening.lots.values())
        if row["contents"] is not None and stated not in (known.contents_ml, first_ml[known.pk]):
            units = intake.department.units
            right = (
                f"{known} is in the book with {volume_text(known.contents_ml, units)}: "
                "enter what happened to it, or take inventory of it"
            )
            intake.fault(row, "contents", volume_text(stated, units), right)
        if opening.place.pk not in (known.place_id, first_place.get(known.pk)):
            intake.fault(row, "code", quoted(opening.place), f"{known} is elsewhere by the book: enter the move")
