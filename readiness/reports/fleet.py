"""Rigs as the judge wants them, read in a number of queries that does not grow with the fleet.

Rows come by values_list and are joined by dictionaries of ids; no model instance is made. A row that cannot be read
puts its unit into `broken` with the reason, and the rest is read.
"""

from __future__ import annotations

import gc
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from typing import Any, Final, NamedTuple, cast
from zoneinfo import ZoneInfo

from django.db.models import (
    Case,
    Count,
    F,
    Field,
    FilteredRelation,
    Model,
    OuterRef,
    Q,
    QuerySet,
    RowRange,
    Subquery,
    Value,
    When,
    Window,
)
from django.db.models.functions import Cast, Coalesce, RowNumber

from readiness import models as m
from readiness.engineering import records as r
from readiness.engineering.dates import last_day
from readiness.models.checks import Answer
from readiness.models.policy import RULES
from readiness.reports.check_sheets import ASPIRATING, read_ml
from readiness.reports.folds import Folded
from readiness.reports.inspections import Schedule
from readiness.reports.lays import (
    EDUCTORS,
    LEG_COLUMNS,
    LayRow,
    LegRow,
    PartRow,
    Table,
    TipRow,
    branches_of,
    coefficient,
    flow_of,
    hose_of,
    kind_of,
    lay_of,
    leg_of,
    tip_of,
)
from readiness.reports.since_read import SINCE, Since, since_read, since_read_then

KINDS: Mapping[str, Any] = {
    "AFFF": "afff",
    "AR-AFFF": "ar_afff",
    "FFFP": "fffp",
    "AR-FFFP": "ar_fffp",
    "FP": "fp",
    "P": "p",
    "F3": "f3",
    "AR-F3": "ar_f3",
    "Class A": "class_a",
    "high-expansion": "high_expansion",
    "wetting agent": "wetting",
    "training": "training",
}
USES: Mapping[str, Any] = {
    "": "spill",
    "spill": "spill",
    "in depth": "depth",
    "gentle": "gentle",
    "direct": "direct",
    "class a": "class_a",
}
CONTAINER_KINDS: Mapping[str, Any] = {
    "pail": "pail",
    "jug": "pail",
    "drum": "drum",
    "tote": "tote",
    "fixed tank": "tank",
    "kit reservoir": "kit",
}
BASES: Mapping[str, Any] = {"solution at any setting": "any", "solution at 6 %": "six", "water": "water"}
SUPPLIES: Mapping[str, Any] = {
    "": "none",
    "none": "none",
    "hydrant": "hydrant",
    "drafting": "draft",
    "tenders": "tenders",
}
BY_ROWS = 5000
_VEHICLE = (
    *("", "shop_no", "water_l", "pump_lpm", "foam_feed_lpm", "needs_tow", "tow", "tow__state"),
    *("tow_driver_ready", "state", "dry_chemical_kg"),
)
_HOSE = ("diameter_in", "section_m", "coefficient", "loss_kpa", "loss_flow_lpm", "loss_length_m")
_KINDS_BACK = {"tank": "fixed tank", "kit": "kit reservoir"}


class Fleet(NamedTuple):
    """Rigs with the policy of their department; `broken` has the units that could not be read, and why."""

    rigs: tuple[r.Rig, ...]
    policies: Mapping[int, r.Policy]
    department_of: Mapping[int, int]
    broken: tuple[tuple[int, str], ...]


class Scope(NamedTuple):
    """Which units are read: all of some departments, or a few units by id."""

    departments: Collection[int] | None
    units: Collection[int] | None

    def of(self, rows: QuerySet[Any, Any]) -> QuerySet[Any, Any]:
        """The rows of the scope's departments."""
        return rows if self.departments is None else rows.filter(department__in=self.departments)


def load_rigs(
    *,
    day: date,
    departments: Collection[int] | None = None,
    units: Collection[int] | None = None,
    past: Folded | None = None,
) -> Fleet:
    """Read rigs for judging as of a day (acceptances that run on that day count).

    With `past` the stock, its places and marks are those of the folded ledger, and only evidence of that time counts;
    what has no history (duties, lines, settings, policy) is as it is now.
    """
    scope = Scope(departments, units)
    with collector_off():
        reader = _Reader(scope, day, past)
        rigs: list[r.Rig] = []
        broken: list[tuple[int, str]] = []
        for unit in reader.units:
            try:
                rigs.append(reader.rig(unit))
            except (ValueError, TypeError, KeyError, AttributeError) as wrong:
                broken.append((unit[0], f"{type(wrong).__name__}: {wrong}"))
        return Fleet(tuple(rigs), reader.policies, {unit[0]: unit[1] for unit in reader.units}, tuple(broken))


def load_products(department: int) -> tuple[dict[int, r.Concentrate], dict[int, r.Fuel], r.Policy]:
    """A department's concentrates with listings, the fuels it may name, and its policy: for a sum without a rig."""
    scope = Scope([department], None)
    policies, _, _ = _policies(scope)
    return concentrates_in(scope), _fuels(scope), policies.get(department, r.Policy())


@contextmanager
def collector_off() -> Iterator[None]:
    """Tens of thousands of tuples are made and none is a cycle: the collector would look at them in vain."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _rows(rows: QuerySet[Any, Any], *columns: str, by: str = "id") -> Iterator[tuple[Any, ...]]:
    """The columns, in the order of the ids: the same database always gives the same rig."""
    return rows.order_by(by).values_list(*columns).iterator(chunk_size=BY_ROWS)


def _latest(rows: QuerySet[Any, Any], of: Iterable[str], by: str) -> QuerySet[Any, Any]:
    """The latest row of each subject."""
    order = [F(by).desc(), F("id").desc()]
    turn = Window(RowNumber(), partition_by=[F(each) for each in of], order_by=order)
    latest: QuerySet[Any, Any] = rows.annotate(turn=turn).filter(turn=1)
    return latest


def _speaking(rows: QuerySet[Any, Any]) -> QuerySet[Any, Any]:
    """The foam tests that still say something of a line with a concentrate.

    The last of all; and of those that read drainage the last that measured a quarter's, with all since.
    """

    def newer(counted: str) -> Window:
        order = [F("tested_on").desc(), F("id").desc()]
        of = [F("line"), F("concentrate")]
        return Window(Count(counted), partition_by=of, order_by=order, frame=RowRange(None, -1))

    answered = Case(When(watched_min__isnull=True, then=newer("id")), default=newer("quarter_min"))
    speaking: QuerySet[Any, Any] = rows.annotate(answered=answered).filter(answered=0)
    return speaking


def _last_declared(column: str) -> Coalesce:
    """What a foam test's paper declares, else the last one of its line and concentrate before it that does."""
    same = m.FoamTest.objects.filter(line=OuterRef("line"), concentrate=OuterRef("concentrate"))
    earlier = Q(tested_on__lt=OuterRef("tested_on")) | Q(tested_on=OuterRef("tested_on"), id__lt=OuterRef("id"))
    stated = same.filter(earlier, **{f"{column}__isnull": False}).order_by("-tested_on", "-id")
    return Coalesce(F(column), Subquery(stated.values(column)[:1]))


# What only a proportioning test has, and what only a foam test has, read side by side in one query.
_PROOF: Final = ("set_pct", "measured_pct", "passed", "good_through", "band")
_DECLARED: Final = ("declared_expansion", "declared_quarter_min")
_FOAM: Final = ("expansion", "quarter_min", "watched_min", *_DECLARED)


def _without(model: type[Model], columns: Iterable[str]) -> dict[str, Cast]:
    """The columns of another model as nothing; each by its own field, since Django takes like ones for one."""
    return {name: Cast(Value(None), cast("Field[Any, Any]", model._meta.get_field(name))) for name in columns}


class _Reader:
    """Every table read once, by id."""

    def __init__(self, scope: Scope, day: date, past: Folded | None) -> None:
        self.scope = scope
        self.day = day
        self.past = past
        self.policies, self.zones, self.hose_table = _policies(scope)
        self.vehicle_of: dict[int, int] = {}
        self.vehicles: dict[int, r.Vehicle] = {}
        self.dry_chemical_kg: dict[int, float] = {}
        self.units = self._units()
        vehicles, units = set(self.vehicle_of.values()), scope.units
        self.near: Callable[[str], Q] = lambda prefix: (
            Q() if units is None else Q(**{f"{prefix}unit__in": units}) | Q(**{f"{prefix}vehicle__in": vehicles})
        )
        self.places = self._places() if past else {}
        self.read_then = self._read_then(past.at) if past else {}
        self.since_then = self._since_then(past.at) if past else {}
        self.container_samples: dict[int, r.Sample] = {}
        self.parts = self._parts()
        self.containers = self._containers()
        self.tests, self.foam_tests = self._tests()
        tips = (f"nozzle__{name}" for name in TipRow._fields)
        self.legs = _grouped(self._of_lines(m.HoseLeg), "line", *LEG_COLUMNS, *tips)
        self.sources = _grouped(self._of_lines(m.LineSource), "line", "container")
        self.lines = self._lines()
        self.setups = self._setups()
        self.fuels = _fuels(scope)
        self.duties = self._duties()
        self.checks = self._checks()
        self.accepted = self._accepted()
        self.raised = self._raised()
        at = past.at if past else None
        self.schedule = Schedule(scope.departments, self.zones, at)

    # -- units and vehicles -----------------------------------------------------------------------------------------

    def _units(self) -> list[tuple[Any, ...]]:
        """Each unit, and in the same question the vehicle that it runs on."""
        rows = self.scope.of(m.Unit.objects.filter(retired_on__isnull=True))
        if self.scope.units is not None:
            rows = rows.filter(pk__in=self.scope.units)
        own = ("id", "department", "designation", "state", "no_duty_by", "no_duty_review_on", "lines_staffed")
        more = ("station__check_interval_h", "station", "gear_seen")
        runs = [f"run__vehicle{name and '__'}{name}" for name in _VEHICLE]
        found = {row[0]: row for row in _rows(rows.annotate(run=self._runs()), *own, *more, *runs)}
        owned = len(own) + len(more)
        for pk, row in found.items():
            if row[owned] is not None:
                self._vehicle(pk, *row[owned:])
        return [row[:owned] for row in found.values()]

    def _runs(self) -> FilteredRelation:
        """What a unit runs on: now, or at the moment of the past."""
        open_ended = Q(assignments__to_at__isnull=True)
        if self.past is not None:
            at = self.past.at
            open_ended = Q(open_ended | Q(assignments__to_at__gt=at), assignments__from_at__lte=at)
        return FilteredRelation("assignments", condition=open_ended)

    def _vehicle(self, unit: int, pk: int, *values: Any) -> None:
        shop_no, water_l, pump_lpm, feed_lpm, needs_tow, tow, tow_state, driver, state, dry_kg = values
        self.vehicle_of[unit] = pk
        self.dry_chemical_kg[pk] = dry_kg
        self.vehicles[pk] = r.Vehicle(
            id=pk,
            name=f"vehicle {shop_no}",
            water_l=water_l,
            pump_lpm=pump_lpm,
            max_foam_feed_lpm=feed_lpm,
            needs_tow=needs_tow,
            tow_ready=tow is not None and tow_state == "in",
            driver_ready=driver,
            in_service=state != "out",
        )

    def _places(self) -> dict[int, tuple[Any, ...]]:
        rows = self.scope.of(m.Place.objects.all())
        return {pk: tuple(rest) for pk, *rest in _rows(rows, "id", "unit", "vehicle", "expected_low_c")}

    def _read_then(self, at: datetime) -> dict[int, tuple[int | None, datetime, str]]:
        """(volume, when, fault) of each container at the last look that had been made by then.

        As a check keeps it: what was not carried reads nothing, and a whole seal answers for the volume.
        """
        rows = m.Reading.objects.filter(container__isnull=False, check_of__finished_at__lte=at)
        rows = rows.exclude(answer=Answer.NOT_LOOKED)
        if self.scope.departments is not None:
            rows = rows.filter(container__department__in=self.scope.departments)
        rows = _latest(rows, ("container",), "check_of__finished_at")
        found: dict[int, tuple[int | None, datetime, str]] = {}
        columns = ("container", "answer", "ml", "stick_ml", "words", "check_of__finished_at")
        for pk, answer, ml, stick_ml, words, on in _rows(rows, *columns):
            fault = (words or "a fault was seen") if answer == Answer.FAULT else ""
            found[pk] = (0 if answer == Answer.NOT_CARRIED else read_ml(ml, stick_ml), on, fault)
        return found

    def _since_then(self, at: datetime) -> dict[int, Since]:
        return since_read_then({pk: on for pk, (ml, on, _) in self.read_then.items() if ml is not None}, at)

    # -- stock ------------------------------------------------------------------------------------------------------

    def _parts(self) -> dict[int, list[r.Part]]:
        """What the rigs' containers hold, each part with its lot."""
        rows = m.Holding.objects.filter(self.near("container__place__"), container__retired_on__isnull=True)
        rows = rows.exclude(container__place__unit__isnull=True, container__place__vehicle__isnull=True)
        if self.scope.departments is not None:
            rows = rows.filter(container__department__in=self.scope.departments)
        if self.past is None:
            held = list(_rows(rows, "container", "lot", "ml"))
        else:
            held = [(pk, lot, ml) for pk, of in self.past.holdings.items() for lot, ml in of.items()]
        lots = self._lots({lot for _, lot, _ in held} if self.scope.units is not None else None)
        found: dict[int, list[r.Part]] = defaultdict(list)
        for container, lot, ml in held:
            found[container].append(r.Part(lots[lot], ml))
        return found

    def _lots(self, only: Collection[int] | None) -> dict[int, r.Lot]:
        rows = self.scope.of(m.Lot.objects.all())
        if only is not None:
            rows = rows.filter(pk__in=only)
        sampled, self.container_samples = self._samples(only)
        concentrates = concentrates_in(self.scope)
        columns = ("id", "batch", "concentrate", "makers_date", "date_precision", "recalled_on")
        return {
            pk: r.Lot(
                id=pk,
                batch=batch,
                concentrate=concentrates[concentrate],
                makers_date=last_day(makers, precision) if makers else None,
                sample=sampled.get(pk),
                recalled=recalled is not None and recalled <= self.day,
            )
            for pk, batch, concentrate, makers, precision, recalled in _rows(rows, *columns)
        }

    def _samples(self, lots: Collection[int] | None) -> tuple[dict[int, r.Sample], dict[int, r.Sample]]:
        """The latest sample with a result of each lot (of `lots`, or of all) and of each container, in one query."""
        rows = self.scope.of(m.Sample.objects.filter(passed__isnull=False))
        if lots is not None:
            rows = rows.filter(Q(lot__in=lots) | self.near("container__place__"))
        if self.past is not None:
            rows = rows.filter(taken_on__lte=self.day)
        of_lots: dict[int, r.Sample] = {}
        of_containers: dict[int, r.Sample] = {}
        latest = _latest(rows, ("lot", "container"), "taken_on")
        for lot, container, *values in _rows(latest, "lot", "container", "taken_on", "passed", "good_through"):
            found, subject = (of_containers, container) if lot is None else (of_lots, lot)
            found[subject] = r.Sample(*values)
        return of_lots, of_containers

    def _containers(self) -> dict[tuple[str, int], list[r.Container]]:
        rows = self.scope.of(m.Container.objects.all())
        if self.past is None:
            rows = rows.filter(self.near("place__"), retired_on__isnull=True)
            rows = rows.exclude(place__unit__isnull=True, place__vehicle__isnull=True).annotate(**since_read())
        else:
            rows = rows.annotate(**dict.fromkeys(SINCE, Value(0)))
        columns = ("id", "department", "code", "kind", "unreachable_ml", "reading_ml", "reading_at", "resolution_ml")
        marks = ("mixed", "quarantined", "diluted", "sealed", "opened_on", "fault", "fault_on")
        where = ("place__unit", "place__vehicle", "place__expected_low_c")
        found: dict[tuple[str, int], list[r.Container]] = defaultdict(list)
        for row in _rows(rows, *columns, *marks, *SINCE, *where):
            owner, container = self._container(row)
            if owner is not None:
                found[owner].append(container)
        return found

    def _container(self, row: tuple[Any, ...]) -> tuple[tuple[str, int] | None, r.Container]:
        pk, department, code, kind, unreachable, reading, read_at, resolution, *state, unit, vehicle, low_c = row
        mixed, quarantined, diluted, sealed, opened_on, fault, fault_on, *since = state
        if self.past is not None:
            mixed, quarantined, diluted, sealed, opened_on = _marks_then(self.past.marks.get(pk, {}))
            unit, vehicle, low_c = self.places.get(self.past.places.get(pk) or 0, (None, None, None))
            reading, read_at, fault = self.read_then.get(pk, (None, None, ""))
            fault_on = self._day_of(department, read_at)
            since = [*self.since_then.get(pk, Since())]
        moved_ml, found_ml, received_ml = since
        container = r.Container(
            id=pk,
            code=code,
            kind=CONTAINER_KINDS[kind],
            parts=tuple(self.parts.get(pk, ())),
            unreachable_ml=unreachable,
            reading_ml=reading,
            reading_on=self._day_of(department, read_at) if reading is not None else None,
            resolution_ml=resolution,
            mixed=mixed,
            quarantined=quarantined,
            diluted=diluted,
            sealed=sealed,
            opened_on=opened_on,
            place_low_c=low_c,
            sample=self.container_samples.get(pk),
            fault=fault,
            fault_on=fault_on,
            moved_since_ml=moved_ml,
            found_since_ml=found_ml,
            received_since_ml=received_ml,
        )
        if unit is None and vehicle is None:
            return None, container
        return (("unit", unit) if unit is not None else ("vehicle", vehicle)), container

    def _day_of(self, department: int, at: datetime | None) -> date | None:
        return at.astimezone(self.zones[department]).date() if at else None

    # -- lines ------------------------------------------------------------------------------------------------------

    def _of_lines(self, model: type[Model]) -> QuerySet[Any, Any]:
        rows: QuerySet[Any, Any] = model._default_manager.filter(self.near("line__"), line__retired_on__isnull=True)
        if self.scope.departments is not None:
            rows = rows.filter(line__department__in=self.scope.departments)
        return rows

    def _tests(self) -> tuple[dict[int, list[tuple[r.LineTest, bool]]], dict[int, list[r.FoamTest]]]:
        """The latest proportioning test of each line with each concentrate at each setting, since its last conversion.

        And the tests of its finished foam that still speak, with what was last declared, in the same query: a
        conversion does not make a failed one good.
        """
        rows = self._until(m.LineTest).filter(
            Q(line__converted_on__isnull=True) | Q(tested_on__gte=F("line__converted_on"))
        )
        rows = _latest(rows, ("line", "concentrate", "set_pct"), "tested_on").annotate(**_without(m.FoamTest, _FOAM))
        foam = _speaking(self._until(m.FoamTest)).annotate(**_without(m.LineTest, _PROOF))
        foam = foam.annotate(**{f"last_{each}": _last_declared(each) for each in _DECLARED})
        columns = ("id", "line", "concentrate", "tested_on", *_PROOF, *_FOAM)
        carried = (*columns[: -len(_DECLARED)], *(f"last_{each}" for each in _DECLARED))
        every = rows.order_by().values_list(*columns).union(foam.order_by().values_list(*carried), all=True)
        proofs: dict[int, list[tuple[r.LineTest, bool]]] = defaultdict(list)
        foams: dict[int, list[r.FoamTest]] = defaultdict(list)
        for _, line, concentrate, on, *values in every.order_by("id").iterator(chunk_size=BY_ROWS):
            setting, measured, passed, good_through, band, *read = values
            if setting is None:
                foams[line].append(r.FoamTest(concentrate, on, *read))
                continue
            test = r.LineTest(concentrate, setting, setting if measured is None else measured, on, passed, good_through)
            proofs[line].append((test, band == "vehicle"))
        return proofs, foams

    def _until(self, model: type[Model]) -> QuerySet[Any, Any]:
        """Tests of the lines that were made by the day of a past judgment; all of them as of now."""
        rows = self._of_lines(model)
        return rows if self.past is None else rows.filter(tested_on__lte=self.day)

    def _lines(self) -> dict[tuple[str, int], list[tuple[Any, ...]]]:
        rows = self.scope.of(m.FoamLine.objects.filter(self.near(""), retired_on__isnull=True))
        own = ("unit", "vehicle", "department", "id", "name", "pails", "flow_lpm", "parked_pct", "present_pct")
        state = ("wind_loss_pct", "fault", "fault_on", "missing", "missing_on", "unflushed_since")
        columns = [
            *own,
            *state,
            *LayRow._fields,
            *(f"proportioner__{name}" for name in PartRow._fields),
            *(f"nozzle__{name}" for name in TipRow._fields),
        ]
        found: dict[tuple[str, int], list[tuple[Any, ...]]] = defaultdict(list)
        for row in _rows(rows, *columns):
            owner = ("unit", row[0]) if row[0] is not None else ("vehicle", row[1])
            found[owner].append(row[2:])
        return found

    def _line(self, row: tuple[Any, ...]) -> r.Line:
        department, pk, name, pails, stated, parked, present, wind_loss, *state = row
        fault, fault_on, missing, missing_on, unflushed, *rest = state
        lay, part, tip = _parted(rest)
        tests, kind = self.tests.get(pk, []), kind_of(part)
        legs = [leg_of(leg) for leg in self.legs.get(pk, ())]
        flow = flow_of(stated, lay, part, tip, legs)
        return r.Line(
            id=pk,
            name=name,
            sources=tuple(source[0] for source in self.sources.get(pk, ())),
            pails=pails,
            offered=_settings(part.settings_pct),
            flow_lpm=flow,
            proportioner_id=part.id,
            max_feed_lpm=part.foam_feed_lpm,
            thick_ok=part.accepts_thick,
            aspirating=bool(tip.aspirating) and ASPIRATING not in missing,
            parked=parked,
            present=present,
            tests=tuple(test for test, _ in tests),
            rated_lpm=part.rated_flow_lpm if kind in EDUCTORS else None,
            basis=BASES[part.rating_basis],
            rings_lpm=() if any(leg.branch for leg in legs) else tuple(float(ring) for ring in tip.rings_lpm or ()),
            lay=self._lay(legs, department, flow, lay, part, tip),
            wind_loss=wind_loss,
            flushed=unflushed is None,
            vehicle_band=any(vehicle for _, vehicle in tests),
            in_service=part.state != "out" and tip.state != "out" and not _essential(missing),
            fault=fault,
            fault_on=fault_on,
            missing=missing,
            missing_on=missing_on,
            kind=kind,
            least_lpm=part.least_flow_lpm,
            intake_kpa=lay.intake_kpa,
            intake_limit_kpa=part.greatest_intake_kpa or 0.0,
            foam_tests=tuple(self.foam_tests.get(pk, ())),
        )

    def _lay(
        self, legs: list[LegRow], department: int, flow_lpm: float, lay: LayRow, part: PartRow, tip: TipRow
    ) -> r.Lay | None:
        if not legs:
            return None
        hose = hose_of(department, legs, self.hose_table)
        return lay_of(flow_lpm, lay, part, tip, hose, branches_of(lay, tip, legs, hose))

    def _setups(self) -> dict[tuple[str, int], list[tuple[int, ...]]]:
        rows = m.SetupLine.objects.filter(self.near("setup__"), line__retired_on__isnull=True)
        if self.scope.departments is not None:
            rows = rows.filter(setup__department__in=self.scope.departments)
        lines: dict[tuple[str, int], dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
        for unit, vehicle, setup, line in _rows(rows, "setup__unit", "setup__vehicle", "setup", "line"):
            owner = ("unit", unit) if unit is not None else ("vehicle", vehicle)
            lines[owner][setup].append(line)
        return {owner: [tuple(sorted(members)) for _, members in sorted(of.items())] for owner, of in lines.items()}

    # -- duties, checks, acceptances --------------------------------------------------------------------------------

    def _duties(self) -> dict[int, list[tuple[Any, ...]]]:
        rows = self.scope.of(m.Duty.objects.filter(retired_on__isnull=True))
        if self.scope.units is not None:
            rows = rows.filter(unit__in=self.scope.units)
        other = ("kind", "tankfuls", "setting_pct", "required_water_l", "other_agent_kg", "category")
        return _grouped(rows, "unit", *other, *SPILL_COLUMNS)

    def _duty(self, row: tuple[Any, ...], vehicle: r.Vehicle | None, containers: Iterable[r.Container]) -> r.Duty:
        kind, tankfuls, setting, water_l, agent_kg, category, *spill = row
        pk, name, fuel, *_ = spill
        if kind == "class-a":
            aboard_l = (vehicle.water_l if vehicle else None) or 0.0
            return r.ClassADuty(pk, name, tankfuls, aboard_l, setting or _class_a_setting(containers))
        if kind == "airport":
            held_kg = self.dry_chemical_kg.get(vehicle.id, 0.0) if vehicle else 0.0
            return r.AirportDuty(pk, name, self.fuels[fuel], water_l, agent_kg or 0.0, held_kg, category=category)
        return spill_of(spill, self.fuels)

    def _checks(self) -> dict[tuple[int, int | None], datetime]:
        """The last complete check of each unit on each vehicle: a check made on another vehicle proves nothing here."""
        rows = self.scope.of(m.Check.objects.filter(complete=True))
        if self.scope.units is not None:
            rows = rows.filter(unit__in=self.scope.units)
        if self.past is not None:
            rows = rows.filter(finished_at__lte=self.past.at)
        rows = _latest(rows, ("unit", "vehicle"), "finished_at")
        return {(unit, vehicle): at for unit, vehicle, at in _rows(rows, "unit", "vehicle", "finished_at")}

    def _accepted(self) -> dict[int, frozenset[tuple[str, str, int]]]:
        rows = self.scope.of(m.Deficiency.objects.filter(closed_on__isnull=True, accepted_until__gte=self.day))
        if self.scope.units is not None:
            rows = rows.filter(unit__in=self.scope.units)
        found: dict[int, set[tuple[str, str, int]]] = defaultdict(set)
        for unit, code, kind, pk in _rows(rows, "unit", "code", "subject_kind", "subject_id"):
            found[unit].add((code, kind, pk))
        return {unit: frozenset(each) for unit, each in found.items()}

    def _raised(self) -> dict[tuple[str, int], list[r.Raised]]:
        """Deficiencies raised by hand, by the unit or vehicle that they are on."""
        rows = self.scope.of(m.RaisedDeficiency.objects.all())
        if self.past is None:
            rows = rows.filter(closed_at__isnull=True)
        else:
            at = self.past.at
            rows = rows.filter(Q(closed_at__isnull=True) | Q(closed_at__gt=at), raised_at__lte=at)
        ways = ("", "line__", "container__place__")
        if self.scope.units is not None:
            rows = rows.filter(self.near("") | self.near("line__") | self.near("container__place__"))
        names = ("unit__designation", "vehicle__shop_no", "line__name", "container__code")
        owners = [f"{way}{owner}" for owner in ("unit", "vehicle") for way in ways]
        found: dict[tuple[str, int], list[r.Raised]] = defaultdict(list)
        columns = ("id", "department", "words", "effect", "raised_at", *names, *owners)
        for pk, department, words, effect, at_, *rest in _rows(rows, *columns):
            unit, shop_no, line, code, *ids = rest
            name = code or line or unit or f"vehicle {shop_no}"
            on = next((("unit", each) for each in ids[:3] if each), None)
            on = on or next((("vehicle", each) for each in ids[3:] if each), None)
            if on is not None:
                since = at_.astimezone(self.zones[department]).date()
                found[on].append(r.Raised(pk, f"{name}: {words.rstrip('.')}", effect, since))
        return found

    def _inspections(
        self, department: int, station: int, things: Mapping[str, list[tuple[int, str]]]
    ) -> Iterator[r.Inspection]:
        """What the department's rules ask of a rig's things, and when."""
        for rule in self.schedule.rules:
            if rule.department_id != department or rule.station_id not in (None, station):
                continue
            for pk, name in things.get(rule.of, ()):
                due = self.schedule.due(rule, pk)
                if due is not None:
                    shift = rule.rhythm == "shift"
                    yield r.Inspection((f"rule {rule.pk}", pk), f"{rule.name}: {name}", due, shift)

    # -- the whole --------------------------------------------------------------------------------------------------

    def rig(self, unit: tuple[Any, ...]) -> r.Rig:
        """One unit on its vehicle. Raises what the row that cannot be read raises."""
        pk, department, name, state, no_duty_by, review_on, staffed, interval_h, station, gear = unit
        vehicle = self.vehicles.get(self.vehicle_of.get(pk, 0))
        owners = [("unit", pk)] + ([("vehicle", vehicle.id)] if vehicle else [])
        containers = tuple(each for owner in owners for each in self.containers.get(owner, ()))
        checked_at = self.checks.get((pk, vehicle.id if vehicle else None))
        good_until = checked_at + timedelta(hours=interval_h) if checked_at and interval_h else None
        lines = tuple(self._line(row) for owner in owners for row in self.lines.get(owner, ()))
        things = _things(pk, name, vehicle, containers, lines)
        return r.Rig(
            unit_id=pk,
            name=name,
            vehicle=vehicle,
            containers=containers,
            lines=lines,
            duties=tuple(self._duty(row, vehicle, containers) for row in self.duties.get(pk, ())),
            setups=tuple(setup for owner in owners for setup in self.setups.get(owner, ())),
            lines_staffed=staffed,
            checked_at=checked_at,
            check_good_until=good_until,
            state=state,
            no_duty=r.NoDuty(no_duty_by, review_on) if no_duty_by else None,
            accepted=self.accepted.get(pk, frozenset()),
            inspections=tuple(self._inspections(department, station, things)) if self.schedule.rules else (),
            gear=_gear(gear),
            raised=tuple(each for owner in owners for each in self.raised.get(owner, ())),
        )


def _gear(seen: dict[str, dict[str, str]]) -> tuple[r.Gear, ...]:
    """Loose gear as the last look left it."""
    return tuple(
        r.Gear(name, said["answer"] == Answer.NOT_CARRIED, said["words"], date.fromisoformat(said["on"]))
        for name, said in sorted(seen.items())
    )


def _essential(missing: str) -> bool:
    """Whether a line does not run without what is missing; a tube over a nozzle is asked for by the listing alone."""
    return missing not in ("", ASPIRATING)


def _things(
    unit: int,
    name: str,
    vehicle: r.Vehicle | None,
    containers: Iterable[r.Container],
    lines: Iterable[r.Line],
) -> dict[str, list[tuple[int, str]]]:
    """The number and name of everything of a rig that a rule may be for, by its kind."""
    found: dict[str, list[tuple[int, str]]] = defaultdict(list)
    found["unit"].append((unit, name))
    if vehicle is not None:
        found["vehicle"].append((vehicle.id, vehicle.name))
    found["line"] = [(line.id, line.name) for line in lines]
    for each in containers:
        found[_KINDS_BACK.get(each.kind, each.kind)].append((each.id, each.code))
    return found


def _policies(scope: Scope) -> tuple[dict[int, r.Policy], dict[int, ZoneInfo], Table]:
    """The policy and the time zone of each department, and its table of hose: a row for each size of hose."""
    hose = FilteredRelation("department__hose_sizes", condition=Q(department__hose_sizes__retired_on__isnull=True))
    rows = scope.of(m.Policy.objects.annotate(hose=hose))
    names = [name for name in RULES if name in r.Policy._fields]
    policies, zones, table = {}, {}, {}
    own = ("department", "department__time_zone", "region_packs")
    for department, zone, packs, size, section_m, *values in _rows(
        rows, *own, *(f"hose__{name}" for name in _HOSE), *names
    ):
        friction, ruled = values[: len(_HOSE) - 2], values[len(_HOSE) - 2 :]
        if size is not None:
            table[department, float(size)] = (coefficient(*friction), section_m)
        if department not in policies:
            rules = dict(zip(names, ruled, strict=True))
            policies[department] = r.Policy(**rules, region_packs=frozenset(packs))
            zones[department] = ZoneInfo(zone)
    return policies, zones, table


def concentrates_in(scope: Scope) -> dict[int, r.Concentrate]:
    rows = scope.of(m.Concentrate.objects.all())
    listed = m.Listing.objects.filter(retired_on__isnull=True)
    if scope.departments is not None:
        listed = listed.filter(concentrate__department__in=scope.departments)
    listings: dict[int, dict[tuple[int | str, Any], r.Listing]] = defaultdict(dict)
    columns = (
        "concentrate",
        "fuel",
        "fuel_group",
        "use",
        "pct",
        "rate",
        "rate_unit",
        "minutes",
        "aspirating",
        "source",
        "expansion",
        "quarter_min",
    )
    for concentrate, fuel, group, use, pct, rate, unit, minutes, aspirating, source, *foam in _rows(listed, *columns):
        listings[concentrate][group if fuel is None else fuel, USES[use]] = r.Listing(
            pct=pct,
            rate=r.Rate(float(rate), unit) if rate is not None else None,
            minutes=minutes,
            aspirating=aspirating,
            by_group=fuel is None,
            source=source,
            expansion=foam[0],
            quarter_min=foam[1],
        )
    facts = ("id", "name", "kind", "pfas", "lowest_use_c", "shear_thinning", "compatibility_groups__name")
    return {
        pk: r.Concentrate(pk, name, KINDS[kind], pfas, low_c, thick, listings[pk], group or "")
        for pk, name, kind, pfas, low_c, thick, group in _rows(rows, *facts)
    }


def _fuels(scope: Scope) -> dict[int, r.Fuel]:
    rows = m.Fuel.objects.all()
    if scope.departments is not None:
        rows = rows.filter(Q(department__isnull=True) | Q(department__in=scope.departments))
    return {
        pk: r.Fuel(
            pk, name, un, group, oxygenate, flash_c, (note or "foam is not the agent") if group == "not_foam" else ""
        )
        for pk, name, un, group, oxygenate, flash_c, note in _rows(
            rows, "id", "name", "un", "group", "oxygenate_pct", "flash_c", "note"
        )
    }


def _marks_then(marks: Mapping[str, str]) -> tuple[bool, bool, bool, bool, date | None]:
    """Mixed, quarantined, diluted, sealed and the day of opening, as the folded markings have them."""
    yes = {mark for mark, new in marks.items() if new == "yes"}
    opened = marks.get("opened_on")
    opened_on = date.fromisoformat(opened) if opened else None
    return "mixed" in yes, "quarantined" in yes, "diluted" in yes, "sealed" in yes, opened_on


def _grouped(rows: QuerySet[Any, Any], key: str, *columns: str) -> dict[int, list[tuple[Any, ...]]]:
    found: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    for first, *rest in _rows(rows, key, *columns):
        found[first].append(tuple(rest))
    return found


def _settings(read: Any) -> frozenset[int]:
    if not isinstance(read, list) or not all(isinstance(each, int) for each in read):
        raise ValueError(f"settings {read!r} were read; a list of hundredths of a percent is needed")
    return frozenset(read)


def _parted(columns: list[Any]) -> tuple[LayRow, PartRow, TipRow]:
    """The columns of a line's lay, of its proportioner and of its nozzle."""
    lays, parts = len(LayRow._fields), len(PartRow._fields)
    part = PartRow(*columns[lays : lays + parts])
    return LayRow(*columns[:lays]), part, tip_of(part, TipRow(*columns[lays + parts :]))


SPILL_COLUMNS: Final = (  # of a design spill, in the order in which `spill_of` takes them
    *("id", "name", "fuel", "area_m2", "use", "purpose", "rate", "rate_unit", "minutes", "supply", "supply_lpm"),
    *("hold_min", "interval_min", "blanket_depth_m", "blanket_expansion", "drained_pct", "blanket_wind_pct"),
    *("rule", "largest_tank_m2", "monitor_area_m2", "inert_gas", "application", "mobile_means"),
)


def spill_of(row: Sequence[Any], fuels: Mapping[int, r.Fuel]) -> r.Spill:
    """A design spill from its columns."""
    pk, name, fuel, area_m2, use, purpose, rate, rate_unit, minutes, supply, supply_lpm, *plan = row
    cover, rule = plan[: len(r.CoverPlan._fields)], plan[len(r.CoverPlan._fields) :]
    return r.Spill(
        id=pk,
        name=name,
        fuel=fuels[fuel],
        area_m2=area_m2,
        supply=r.Supply(SUPPLIES[supply], supply_lpm),
        use=USES[use],
        duty="fire" if purpose == "fire" else "vapor",
        rate=r.Rate(float(rate), rate_unit) if rate is not None else None,
        minutes=minutes,
        cover=None if purpose == "fire" else r.CoverPlan(*cover),
        rule=_region_rule(*rule) if rule[0] else None,
    )


def _region_rule(
    rule: str,
    tank_m2: float | None,
    monitor_m2: float | None,
    inert_gas: bool | None,
    application: Any,
    mobile: bool | None,
) -> r.DeckRule | r.TankRule | None:
    """By which region's rule a design spill is planned; None for the general ones."""
    if rule == "deck":
        return r.DeckRule(tank_m2, monitor_m2, inert_gas)
    return r.TankRule(application, mobile) if rule == "tank" else None


def _class_a_setting(containers: Iterable[r.Container]) -> int:
    """The percentage that the Class A concentrate aboard is listed for."""
    for container in containers:
        for part in container.parts:
            listing = part.lot.concentrate.listings.get(("class a", "class_a"))
            if listing is not None:
                return listing.pct
    return 0
