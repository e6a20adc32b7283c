"""Containers of a workbook: new ones come into the book with what is in them; known ones are never overwritten."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from itertools import groupby
from typing import Any, NamedTuple
from uuid import UUID, uuid5

from readiness.actions.drafts import Draft, Line, MarkAs, Move
from readiness.actions.intake import BATCH, Intake, Wanted
from readiness.actions.intake_sheets import find_lot
from readiness.engineering.units import tolerance_ml
from readiness.engineering.wording import volume_text
from readiness.models import Container, Holding, Marking, MovementLine, Place, Relocation
from readiness.models.movements import Account, Mark, MovementKind
from readiness.reports.recounts import mark_of
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
    return uuid5(OPENINGS, f"{container.department_id} {folded(container.code)}")


def take_containers(intake: Intake) -> None:
    """Make new containers and draft their openings; compare known ones with the book."""
    mine = Container.objects.filter(department=intake.department).select_related("concentrate")
    intake.know("containers", mine, lambda r: (folded(r.code),))
    before = set(intake.known["containers"])
    rows = intake.rows["containers"]
    owners = {id(row): owner for row in rows if (owner := _owner(intake, row))}
    _refuse_shrunk(intake, rows)
    intake.keep("containers", Container, [_wanted(intake, row) for row in rows if id(row) in owners])
    lots = _lots(intake, rows)
    whole = [row for row in rows if id(row) in owners and intake.whole(row)]
    places = _places(intake, whole, owners)
    openings = [
        Opening(row, intake.known["containers"][folded(row["code"]),], places[id(row)], lots[folded(row["code"])])
        for row in whole
    ]
    new = [opening for opening in openings if (folded(opening.row["code"]),) not in before]
    intake.drafts += [_draft(intake, opening) for opening in new]
    _compare(intake, [opening for opening in openings if (folded(opening.row["code"]),) in before])


def _refuse_shrunk(intake: Intake, rows: Iterable[Row]) -> None:
    """A known container cannot be smaller than what the book has had in it."""
    shrunk = {
        known.pk: (row, known)
        for row in rows
        if (known := intake.known["containers"].get((folded(row["code"]),)))
        and (row["capacity"] or known.capacity_ml) < known.capacity_ml
    }
    units = intake.department.units
    for container, most_ml in _most_held(shrunk).items():
        row, known = shrunk[container]
        if row["capacity"] < most_ml:
            right = f"{known} has held {volume_text(most_ml, units)} by the book; a capacity is not below that"
            intake.fault(row, "capacity", volume_text(row["capacity"], units), right)


def _most_held(containers: Iterable[int]) -> dict[int, int]:
    held: dict[int, int] = defaultdict(int)
    most: dict[int, int] = defaultdict(int)
    lines = MovementLine.objects.filter(container__in=list(containers)).order_by("id")
    for (_, container), same in groupby(lines.values_list("movement", "container", "ml"), key=lambda line: line[:2]):
        held[container] += sum(ml for *_, ml in same)
        most[container] = max(most[container], held[container])
    return most


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


_OWNERS = ("station", "unit", "vehicle")


def _owner(intake: Intake, row: Row) -> dict[str, Any] | None:
    found = {name: intake.find(f"{name}s", row, name) for name in _OWNERS if row.values[name]}
    return {name: record for name, record in found.items() if record} or None


def _places(intake: Intake, rows: Iterable[Row], owners: dict[int, dict[str, Any]]) -> dict[int, Place]:
    """The place of each row by its identity, made where the department has none like it."""
    own = Place.objects.filter(department=intake.department, transfer=None, partner=None, pallet=None)
    known = {_place_key(place): place for place in own}
    new: list[Place] = []
    found: dict[int, Place] = {}
    colder: set[int] = set()
    for row in rows:
        owner, compartment = owners[id(row)], row["compartment"]
        key = (*(each and each.pk for each in map(owner.get, _OWNERS)), folded(compartment))
        place = known.get(key)
        if place is None:
            place = known[key] = Place(department=intake.department, compartment=compartment, **owner)
            new.append(place)
        low = row["place_low"]
        if low is not None and (place.expected_low_c is None or low < place.expected_low_c):
            # Of several statements about one place the coldest counts, whichever row it stands in.
            place.expected_low_c = low
            if place.pk:
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
        elif row["contents"] and not row["lot"] and intake.whole(row):
            right = "contents need a lot; where nobody knows it, make a lot named unknown"
            intake.fault(row, "lot", "nothing", right)
    here = {folded(row["code"]) for row in rows}
    for row in intake.rows["other_lots"]:
        container = intake.find("containers", row, "container")
        lot = find_lot(intake, row)
        if container and folded(container.code) not in here:
            intake.fault(row, "container", quoted(row["container"]), "state it on the sheet Containers too")
        if container and lot and row["contents"]:
            of = held[folded(container.code)]
            of[lot.pk] = of.get(lot.pk, 0) + row["contents"]
    return held


def _stated_marks(row: Row) -> dict[Mark, str]:
    """What a row says of a container's marks; an empty cell says nothing."""
    said = {}
    if row["sealed"] is not None:
        said[Mark.SEALED] = "yes" if row["sealed"] else "no"
    if row["opened_on"]:
        said[Mark.OPENED_ON] = row["opened_on"].isoformat()
    if row["condition"]:
        said[Mark(row["condition"])] = "yes"
    return said


def _draft(intake: Intake, opening: Opening) -> Draft:
    container, row = opening.container, opening.row
    into = [Line(container.pk, lot, ml) for lot, ml in opening.lots.items()]
    draft = Draft(
        opening_id(container),
        MovementKind.RECEIVED,
        intake.now,
        lines=tuple(each for line in into for each in (Line(Account.SUPPLIER, line.lot, -line.ml), line)),
        moves=(Move(container.pk, None, opening.place.pk),),
        marks=tuple(MarkAs(container.pk, mark, new) for mark, new in _stated_marks(row).items()),
        reason=row.remark or REASON,
        override=row["condition"] == "mixed",
    )
    intake.opening[draft.id] = row
    return draft


# -- a container that the book has already ---------------------------------------------------------------------------


class Told(NamedTuple):
    """What is told of some containers, each by its number: lots, place and marks."""

    lots: dict[int, dict[int, int]]
    place: dict[int, int | None]
    marks: dict[int, dict[Mark, str]]


def _compare(intake: Intake, openings: list[Opening]) -> None:
    """Volume, place and marks of a known container are the book's: what differs from it is a fault.

    What its opening said is old news and no fault, so that a workbook may come again after things have happened.
    """
    if not openings:
        return
    book, first = _by_the_book(openings), _at_first(openings)
    for opening in openings:
        pk = opening.container.pk
        if opening.row["contents"] is not None and not _near(opening.lots, book.lots[pk], first.lots[pk]):
            _tell_contents(intake, opening, book.lots[pk])
        if opening.place.pk not in (book.place[pk], first.place.get(pk)):
            right = f"{opening.container} is elsewhere by the book: enter the move"
            intake.fault(opening.row, "code", quoted(opening.place), right)
        _compare_marks(intake, opening, book.marks[pk], first.marks[pk])


def _by_the_book(openings: list[Opening]) -> Told:
    known = {opening.container.pk: opening.container for opening in openings}
    lots: dict[int, dict[int, int]] = defaultdict(dict)
    rows = Holding.objects.filter(container__department=openings[0].container.department_id)
    for container, lot, ml in rows.values_list("container", "lot", "ml"):
        lots[container][lot] = ml
    places = {pk: row.place_id for pk, row in known.items()}
    return Told(lots, places, {pk: {mark: mark_of(row, mark) for mark in Mark} for pk, row in known.items()})


def _at_first(openings: list[Opening]) -> Told:
    ids = [opening_id(opening.container) for opening in openings]
    told = Told(defaultdict(dict), {}, defaultdict(dict))
    for start in range(0, len(ids), BATCH):
        opened = {"movement__in": ids[start : start + BATCH]}
        lines = MovementLine.objects.filter(**opened, container__isnull=False)
        for container, lot, ml in lines.values_list("container", "lot", "ml"):
            told.lots[container][lot] = ml
        told.place.update(Relocation.objects.filter(**opened).values_list("container", "to_place"))
        for container, mark, new in Marking.objects.filter(**opened).values_list("container", "mark", "new"):
            told.marks[container][Mark(mark)] = new
    return told


def _near(stated: dict[int, int], *told: dict[int, int]) -> bool:
    """Whether the lots are those of either, each within what rounding to millilitres costs."""
    return any(
        stated.keys() == lots.keys() and all(abs(ml - lots[lot]) <= tolerance_ml(1) for lot, ml in stated.items())
        for lots in told
    )


def _tell_contents(intake: Intake, opening: Opening, book: dict[int, int]) -> None:
    names = {lot.pk: lot.batch for lot in intake.known["lots"].values()}
    said, has = (_contents_text(intake, names, lots) for lots in (opening.lots, book))
    right = f"{opening.container} is in the book with {has}: enter what happened to it, or take inventory of it"
    intake.fault(opening.row, "contents", said, right)


def _contents_text(intake: Intake, names: dict[int, str], lots: dict[int, int]) -> str:
    volumes = [(volume_text(ml, intake.department.units), names[lot]) for lot, ml in lots.items()]
    return " and ".join(f"{volume} of lot {name}" for volume, name in volumes) or "nothing in it"


def _compare_marks(intake: Intake, opening: Opening, book: dict[Mark, str], first: dict[Mark, str]) -> None:
    for mark, said in _stated_marks(opening.row).items():
        start = "" if mark is Mark.OPENED_ON else "no"
        if said in (book[mark], first.get(mark, start)):
            continue
        column = mark.value if mark in (Mark.SEALED, Mark.OPENED_ON) else "condition"
        right = f"the book has {book[mark] or 'nothing'} for {opening.container}: enter what happened to it"
        intake.fault(opening.row, column, quoted(opening.row[column]), right)
