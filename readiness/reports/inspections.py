"""What is to be inspected when, by the department's rules, and what is overdue."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date, datetime, time
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import F, Max, QuerySet, Window
from django.db.models.functions import RowNumber

from readiness import models as m
from readiness.engineering.inspections import BY_EVENT, due_on
from readiness.models.movements import Account, Mark

OVERDUE, TODAY, WEEK, LATER, NOT_DUE = "overdue", "due today", "due within a week", "due later", "not due"
CONTAINERS: Final = frozenset({"fixed tank", "kit reservoir", "pail", "drum", "tote"})
_USES: Final = (Account.INCIDENT.value, Account.DRILL.value, Account.FLOW_TEST.value)
_SIDES: Final = ("unit", "vehicle", "line", "container")


def side_of(of: str) -> str:
    """The column that names a thing of this kind."""
    return "container" if of in CONTAINERS else of


class Schedule:
    """The rules of some departments with when each was last kept; read in a number of queries that does not grow."""

    def __init__(
        self, departments: Collection[int] | None, zones: Mapping[int, ZoneInfo], at: datetime | None = None
    ) -> None:
        self.zones, self.at = zones, at
        rules = m.InspectionRule.objects.filter(retired_on__isnull=True).order_by("id")
        self.scope = None if departments is None else list(departments)
        self.rules = list(self._of(rules))
        self.last = self._last() if self.rules else {}
        self.events = self._events({rule.rhythm for rule in self.rules})

    def _of(self, rows: QuerySet[Any, Any]) -> QuerySet[Any, Any]:
        return rows if self.scope is None else rows.filter(department__in=self.scope)

    def _last(self) -> dict[tuple[int, int], datetime]:
        rows = self._of(m.Inspection.objects.all())
        if self.at is not None:
            rows = rows.filter(done_at__lte=self.at)
        turn = Window(
            RowNumber(),
            partition_by=[F("rule"), *(F(side) for side in _SIDES)],
            order_by=[F("done_at").desc(), F("id").desc()],
        )
        found = rows.annotate(turn=turn).filter(turn=1).order_by().values_list("rule", "done_at", *_SIDES)
        return {(rule, next(pk for pk in ids if pk)): at for rule, at, *ids in found}

    def _events(self, rhythms: Collection[str]) -> dict[tuple[str, str, int], datetime]:
        """(rhythm, kind of thing, its number): when it was last used or changed."""
        found: dict[tuple[str, str, int], datetime] = {}
        if "after use" in rhythms:
            found.update((("after use", *thing), at) for thing, at in self._uses())
        if "on change" in rhythms:
            for thing, at in self._changes():
                key = ("on change", *thing)
                found[key] = max(at, found.get(key, at))
        return found

    def _uses(self) -> Iterator[tuple[tuple[str, int], datetime]]:
        """Containers that something was used from, and lines that drew foam."""
        lines = m.MovementLine.objects.filter(movement__lines__account__in=_USES, ml__lt=0, container__isnull=False)
        used = self._until(lines, "movement__happened_at", "movement__department").values("container").order_by()
        for pk, at in used.annotate(last=Max("movement__happened_at")).values_list("container", "last"):
            yield ("container", pk), at
        drew = self._until(m.Change.objects.filter(action="use line"), "at").values("subject_id").order_by()
        for pk, at in drew.annotate(last=Max("at")).values_list("subject_id", "last"):
            yield ("line", int(pk)), at

    def _changes(self) -> Iterator[tuple[tuple[str, int], datetime]]:
        """Containers that took another concentrate, converted lines, and units and vehicles that changed over."""
        marked = m.Marking.objects.filter(mark=Mark.CONCENTRATE.value).exclude(old="")
        other = self._until(marked, "movement__happened_at", "movement__department")
        for pk, at in other.order_by().values_list("container", "movement__happened_at"):
            yield ("container", pk), at
        for pk, department, day in self._of(m.FoamLine.objects.filter(converted_on__isnull=False)).values_list(
            "id", "department", "converted_on"
        ):
            yield ("line", pk), datetime.combine(day, time(), tzinfo=self.zones[department])
        runs = self._until(m.Assignment.objects.all(), "from_at").order_by()
        for unit, vehicle, at in runs.values_list("unit", "vehicle", "from_at"):
            yield from ((("unit", unit), at), (("vehicle", vehicle), at))

    def _until(self, rows: QuerySet[Any, Any], at: str, by: str = "department") -> QuerySet[Any, Any]:
        known = rows if self.scope is None else rows.filter(**{f"{by}__in": self.scope})
        return known if self.at is None else known.filter(**{f"{at}__lte": self.at})

    def due(self, rule: m.InspectionRule, pk: int) -> date | None:
        """When a thing is due by a rule."""
        last, zone = self.last.get((rule.pk, pk)), self.zones[rule.department_id]
        event = self._event(rule, pk, last, zone) if rule.rhythm in BY_EVENT else None
        return due_on(rule.rhythm, last.astimezone(zone).date() if last else None, rule.since_on, rule.weekday, event)

    def _event(self, rule: m.InspectionRule, pk: int, last: datetime | None, zone: ZoneInfo) -> date | None:
        at = self.events.get((rule.rhythm, side_of(rule.of), pk))
        if at is None or (last is not None and last >= at) or at.astimezone(zone).date() < rule.since_on:
            return None
        return at.astimezone(zone).date()


class Due(NamedTuple):
    """One thing and one rule. `on`: the unit that it is on tonight, else where it stands."""

    rule_id: int
    rule: str
    rhythm: str
    clause: str
    what: str
    thing_id: int
    thing: str
    kind: str
    unit_id: int | None
    on: str
    station: str
    who: str
    last_at: datetime | None
    due_on: date | None
    state: str


def inspections_due(department: m.Department, day: date) -> list[Due]:
    """Every thing under every rule, what is overdue longest first."""
    schedule = Schedule([department.pk], {department.pk: ZoneInfo(department.time_zone)})
    owners = m.User.objects.in_bulk([rule.owner_id for rule in schedule.rules if rule.owner_id])
    stations = dict(m.Station.objects.filter(department=department).values_list("id", "name"))
    every = things_inspected(department, {rule.of for rule in schedule.rules})
    found = []
    for rule in schedule.rules:
        who = owners[rule.owner_id] if rule.owner_id else None
        house = stations.get(rule.station_id or 0)
        for thing in every:
            if thing.kind == rule.of and house in (None, thing.station):
                found.append(_due(schedule, rule, thing, who, day))
    return sorted(found, key=lambda each: (each.due_on or date.max, each.station, each.thing))


class Thing(NamedTuple):
    """Something that a rule may be for."""

    pk: int
    kind: str
    name: str
    unit_id: int | None
    on: str
    station: str


def _due(schedule: Schedule, rule: m.InspectionRule, thing: Thing, who: m.User | None, day: date) -> Due:
    due = schedule.due(rule, thing.pk)
    return Due(
        rule_id=rule.pk,
        rule=rule.name,
        rhythm=rule.get_rhythm_display(),
        clause=rule.clause,
        what=rule.what,
        thing_id=thing.pk,
        thing=thing.name,
        kind=thing.kind,
        unit_id=thing.unit_id,
        on=thing.on,
        station=thing.station,
        who=(who.get_full_name() or who.username) if who else "nobody named",
        last_at=schedule.last.get((rule.pk, thing.pk)),
        due_on=due,
        state=_state(due, day),
    )


def _state(due: date | None, day: date) -> str:
    if due is None:
        return NOT_DUE
    days = (due - day).days
    return OVERDUE if days < 0 else TODAY if days == 0 else WEEK if days <= 7 else LATER


def things_inspected(department: m.Department, kinds: Collection[str]) -> list[Thing]:
    """Everything in use of these kinds, with the unit that it is on tonight; in five queries at most."""
    running = m.Assignment.objects.filter(department=department, to_at__isnull=True).select_related("unit__station")
    on = {each.vehicle_id: each.unit for each in running} if kinds else {}
    mine = {"department": department, "retired_on__isnull": True}
    found: list[Thing] = []
    if "unit" in kinds:
        units = m.Unit.objects.filter(**mine).select_related("station")
        found += [_thing(row.pk, "unit", str(row), row, row.station, "") for row in units]
    if "vehicle" in kinds:
        vehicles = m.Vehicle.objects.filter(**mine).select_related("station")
        found += [_thing(row.pk, "vehicle", str(row), on.get(row.pk), row.station, str(row)) for row in vehicles]
    if "line" in kinds:
        lines = m.FoamLine.objects.filter(**mine).select_related("unit__station", "vehicle__station")
        found += [_on_rig(row.pk, "line", row.name, row, on) for row in lines]
    if CONTAINERS & set(kinds):
        rows = m.Container.objects.filter(**mine, place__isnull=False, kind__in=CONTAINERS & set(kinds))
        known = rows.select_related("place__station", "place__unit__station", "place__vehicle__station")
        found += [_on_rig(row.pk, row.kind, row.code, row.place, on) for row in known]
    return found


def _on_rig(pk: int, kind: str, name: str, of: Any, on: Mapping[int, m.Unit]) -> Thing:
    unit = of.unit or on.get(of.vehicle_id or 0)
    house = getattr(of, "station", None) or (of.vehicle.station if of.vehicle else None)
    return _thing(pk, kind, name, unit, house, str(of.vehicle or f"{house} store"))


def _thing(pk: int, kind: str, name: str, unit: m.Unit | None, house: m.Station | None, where: str) -> Thing:
    station = unit.station if unit else house
    return Thing(pk, kind, name, unit.pk if unit else None, str(unit) if unit else where, str(station or ""))
