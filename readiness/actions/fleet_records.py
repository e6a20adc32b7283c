"""Units, vehicles and appliances as the chief keeps them. Which unit runs on which vehicle changes by change-over."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from datetime import date
from typing import Any, Final, NamedTuple

from django.db.models import Q, QuerySet

from readiness.actions.changes import Changed, record_changes
from readiness.actions.judging import units_at
from readiness.actions.keeping import Desk, Fault, Noun, one_line, several, taken
from readiness.engineering.kits import DIAL, on_dial
from readiness.engineering.percentages import percent_text
from readiness.models import Appliance, Assignment, Container, FoamLine, Station, Unit, Vehicle
from readiness.models.fleet import ApplianceKind, RatingBasis, ServiceState

Owner = Unit | Vehicle
K = ApplianceKind
PROPORTIONERS: Final = frozenset(
    {
        K.IN_LINE_EDUCTOR,
        K.BY_PASS_EDUCTOR,
        K.AROUND_THE_PUMP,
        K.BALANCED_PRESSURE,
        K.DIRECT_INJECTION,
        K.PORTABLE_KIT,
        K.SELF_EDUCTING_NOZZLE,
        K.BATCH_MIX,
    }
)
NOZZLES: Final = frozenset({K.NOZZLE, K.SMOOTH_BORE_TIP, K.FOG_NOZZLE, K.ASPIRATING_TUBE, K.MONITOR})
EDUCTORS: Final = frozenset({K.IN_LINE_EDUCTOR, K.BY_PASS_EDUCTOR, K.PORTABLE_KIT})


def owner_columns(owner: Owner) -> dict[str, Any]:
    """A unit or a vehicle as the two columns that say whose a thing is."""
    return {
        "unit": owner if isinstance(owner, Unit) else None,
        "vehicle": owner if isinstance(owner, Vehicle) else None,
    }


def owner_of(row: Any) -> Owner:
    """The unit or the vehicle that a thing belongs to."""
    owner: Owner = row.unit or row.vehicle
    return owner


def on_rig_of(owner: Owner, prefix: str = "") -> Q:
    """What belongs to the owner, to the vehicle that the unit runs on, or to the unit that runs on the vehicle."""
    running = Assignment.objects.filter(to_at__isnull=True)
    if isinstance(owner, Unit):
        return Q(**{f"{prefix}unit": owner}) | Q(
            **{f"{prefix}vehicle__in": running.filter(unit=owner).values("vehicle")}
        )
    return Q(**{f"{prefix}vehicle": owner}) | Q(**{f"{prefix}unit__in": running.filter(vehicle=owner).values("unit")})


def _out(state: str, since: date | None, today: date) -> date | None:
    """Out of service since when: today where nobody says, and not at all where it is in service."""
    return (since or today) if state == ServiceState.OUT else None


def _carried(rows: QuerySet[Container, Container], what: object) -> Iterator[str]:
    codes = list(rows.filter(retired_on__isnull=True).values_list("code", flat=True))
    if codes:
        yield f"Containers on {what}: {several(codes)}. Move them first."


# -- units -------------------------------------------------------------------------------------------------------------


class UnitFacts(NamedTuple):
    """What is kept of a unit. runs_on is stated once; later it changes by change-over, with an inventory."""

    designation: str
    station: Station
    state: str = ServiceState.IN
    lines_staffed: int | None = None
    no_duty_by: str = ""
    no_duty_review_on: date | None = None
    runs_on: Vehicle | None = None


class Units(Noun[Unit, UnitFacts]):
    """The units by their designation."""

    name = "unit"
    model, facts = Unit, UnitFacts

    def tidy(self, desk: Desk, facts: UnitFacts, row: Unit | None) -> UnitFacts:
        """Names on one line."""
        return facts._replace(designation=one_line(facts.designation), no_duty_by=one_line(facts.no_duty_by))

    def faults(self, desk: Desk, facts: UnitFacts, row: Unit | None) -> Iterator[Fault]:
        """A designation once, a decision with its name and its day, one vehicle for one unit."""
        yield from taken(self.of(desk.department), row, "designation", facts.designation)
        yield from _station(facts.station)
        if facts.lines_staffed is not None and not 1 <= facts.lines_staffed <= 20:
            yield Fault("lines_staffed", f"“{facts.lines_staffed}” was read: from 1 to 20 lines belong here.")
        yield from self._no_duty(desk, facts, row)
        yield from self._vehicle(facts, row)

    def _no_duty(self, desk: Desk, facts: UnitFacts, row: Unit | None) -> Iterator[Fault]:
        by, review = facts.no_duty_by, facts.no_duty_review_on
        if by and review is None:
            yield Fault("no_duty_review_on", "Nothing was read: a decision for no foam duty has a day of review.")
        if review and not by:
            yield Fault("no_duty_by", "Nothing was read: say whose decision it is that it has no foam duty.")
        is_new = row is None or row.no_duty_review_on != review
        if review and is_new and review <= desk.today:
            yield Fault("no_duty_review_on", f"“{review}” was read: a day after today ({desk.today}) belongs here.")

    def _vehicle(self, facts: UnitFacts, row: Unit | None) -> Iterator[Fault]:
        now, wanted = _running_on(row) if row else None, facts.runs_on
        if now is not None and now != wanted:
            yield Fault("runs_on", f"{row} runs on {now}: it goes on another vehicle by a change-over.")
        elif wanted is not None and now is None:
            yield from _free(wanted)

    def in_the_way(self, row: Unit) -> Iterator[str]:
        """Stock aboard."""
        yield from _carried(Container.objects.filter(place__unit=row), row)
        yield from _on_the_way(row)

    def missing(self, row: Unit) -> Iterator[str]:
        """A station that was closed since."""
        yield from (fault.sentence for fault in _station(row.station))

    def touched(self, row: Unit) -> Collection[int]:
        """Itself."""
        return {row.pk}

    def read(self, row: Unit) -> UnitFacts:
        """With the vehicle that it runs on."""
        columns = {name: getattr(row, name) for name in self.names() if name != "runs_on"}
        return UnitFacts(**columns, runs_on=_running_on(row))

    def columns(self, facts: UnitFacts) -> dict[str, Any]:
        """All but the vehicle."""
        return {name: value for name, value in facts._asdict().items() if name != "runs_on"}

    def members(self, facts: UnitFacts) -> dict[str, Any]:
        """The vehicle stands in the table of assignments."""
        return {"runs_on": facts.runs_on}

    def put_members(self, desk: Desk, row: Unit, old: UnitFacts | None, facts: UnitFacts) -> None:
        """Its first vehicle."""
        if facts.runs_on is not None and (old is None or old.runs_on is None):
            Assignment.objects.create(department=desk.department, unit=row, vehicle=facts.runs_on, from_at=desk.now)

    def before_retiring(self, desk: Desk, row: Unit) -> None:
        """It leaves its vehicle."""
        running = Assignment.objects.filter(unit=row, to_at__isnull=True).first()
        if running is not None:
            running.to_at = max(desk.now, running.from_at)
            running.save(update_fields=["to_at"])
            left = Changed("leave vehicle", row, {"vehicle": running.vehicle_id}, {"vehicle": None})
            record_changes(desk.department, desk.acting, desk.now, [left])


def _running_on(unit: Unit) -> Vehicle | None:
    running = Assignment.objects.filter(unit=unit, to_at__isnull=True).select_related("vehicle").first()
    return running.vehicle if running else None


def _free(vehicle: Vehicle) -> Iterator[Fault]:
    if vehicle.retired_on:
        yield Fault("runs_on", f"“{vehicle}” was read, which was retired on {vehicle.retired_on}: choose another.")
    runs = Assignment.objects.filter(vehicle=vehicle, to_at__isnull=True).select_related("unit").first()
    if runs is not None:
        right = f"choose another vehicle, or change {runs.unit} over first"
        yield Fault("runs_on", f"“{vehicle}” was read, and {runs.unit} runs on it: {right}.")


def _station(station: Station) -> Iterator[Fault]:
    if station.closed_on:
        yield Fault(
            "station", f"“{station}” was read, which was closed on {station.closed_on}: choose another station."
        )


# -- vehicles ----------------------------------------------------------------------------------------------------------


class VehicleFacts(NamedTuple):
    """What is kept of a vehicle [L, L/min, kg]."""

    shop_no: str
    kind: str
    station: Station
    water_l: float = 0.0
    pump_lpm: float | None = None
    foam_feed_lpm: float | None = None
    dry_chemical_kg: float = 0.0
    needs_tow: bool = False
    tow: Vehicle | None = None
    tow_driver_ready: bool = True
    state: str = ServiceState.IN
    out_since: date | None = None


class Vehicles(Noun[Vehicle, VehicleFacts]):
    """The vehicles by their shop number."""

    name = "vehicle"
    model, facts = Vehicle, VehicleFacts

    def tidy(self, desk: Desk, facts: VehicleFacts, row: Vehicle | None) -> VehicleFacts:
        """Out of service since today where no day is stated; in service since no day at all."""
        out_since = _out(facts.state, facts.out_since, desk.today)
        water_l, dry_kg = facts.water_l or 0.0, facts.dry_chemical_kg or 0.0
        shop_no = one_line(facts.shop_no)
        return facts._replace(shop_no=shop_no, water_l=water_l, dry_chemical_kg=dry_kg, out_since=out_since)

    def faults(self, desk: Desk, facts: VehicleFacts, row: Vehicle | None) -> Iterator[Fault]:
        """A shop number once, a tow that can tow, a day that is not to come."""
        yield from taken(self.of(desk.department), row, "shop_no", facts.shop_no)
        yield from _station(facts.station)
        if facts.tow is not None:
            yield from _tow(facts.tow, facts, row)
        if facts.out_since and facts.out_since > desk.today:
            yield Fault(
                "out_since", f"“{facts.out_since}” was read: today ({desk.today}) or a day before belongs here."
            )
        if row is not None and facts.needs_tow:
            towed = list(row.tows.filter(retired_on__isnull=True))
            if towed:
                yield Fault("needs_tow", f"It tows {several(towed)}: what needs a tow cannot tow.")

    def in_the_way(self, row: Vehicle) -> Iterator[str]:
        """A unit that runs on it, tanks that hold something, a trailer that would stand still."""
        runs = Assignment.objects.filter(vehicle=row, to_at__isnull=True).select_related("unit").first()
        if runs is not None:
            yield f"{runs.unit} runs on {row}: change {runs.unit} over to another vehicle first."
        yield from _carried(Container.objects.filter(place__vehicle=row), row)
        yield from _on_the_way(row)
        towed = list(row.tows.filter(retired_on__isnull=True))
        if towed:
            yield f"{row} tows {several(towed)}: name another tow vehicle first."

    def missing(self, row: Vehicle) -> Iterator[str]:
        """A station that was closed since."""
        yield from (fault.sentence for fault in _station(row.station))

    def touched(self, row: Vehicle) -> Collection[int]:
        """The unit that runs on it, and those on trailers that it tows."""
        return units_at((None, pk) for pk in (row.pk, *row.tows.values_list("id", flat=True)))


def _on_the_way(row: Unit | Vehicle) -> Iterator[str]:
    sent = list(row.transfers_to.filter(places__containers__isnull=False).distinct())
    if sent:
        yield f"What is on its way to {row}: {several(sent)}. Receive it or bring it back first."


def _tow(tow: Vehicle, facts: VehicleFacts, row: Vehicle | None) -> Iterator[Fault]:
    if not facts.needs_tow:
        yield Fault(
            "tow", f"“{tow}” was read: only what needs a tow has a tow vehicle; tick Needs a tow, or empty this."
        )
    elif row is not None and tow.pk == row.pk:
        yield Fault("tow", f"“{tow}” was read: a vehicle does not tow itself; choose another.")
    elif tow.needs_tow:
        yield Fault("tow", f"“{tow}” was read, which needs a tow itself: choose a vehicle with an engine.")
    elif tow.retired_on:
        yield Fault("tow", f"“{tow}” was read, which was retired on {tow.retired_on}: choose another.")


# -- appliances --------------------------------------------------------------------------------------------------------


class ApplianceFacts(NamedTuple):
    """What is kept of an appliance [L/min, kPa, m]; settings in hundredths of a point, rising."""

    owner: Owner
    name: str
    kind: str
    rated_flow_lpm: float | None = None
    rating_basis: str = RatingBasis.SOLUTION
    settings_pct: tuple[int, ...] = ()
    rated_pressure_kpa: float | None = None
    bore_m: float | None = None
    discharge: float | None = None
    holds_pressure: bool = False
    rings_lpm: tuple[float, ...] = ()
    foam_feed_lpm: float | None = None
    plate_back_pressure_kpa: float | None = None
    plate_lift_m: float | None = None
    least_flow_lpm: float | None = None
    greatest_intake_kpa: float | None = None
    accepts_thick: bool = True
    aspirating: bool = False
    state: str = ServiceState.IN


class Appliances(Noun[Appliance, ApplianceFacts]):
    """Proportioners, nozzles, tubes, monitors and pumps. One that is no longer used is out of service."""

    name = "appliance"
    retired = ""
    model, facts = Appliance, ApplianceFacts

    def tidy(self, desk: Desk, facts: ApplianceFacts, row: Appliance | None) -> ApplianceFacts:
        """Names on one line, lists rising."""
        rings, settings = tuple(sorted(set(facts.rings_lpm))), tuple(sorted(set(facts.settings_pct)))
        return facts._replace(name=one_line(facts.name), rings_lpm=rings, settings_pct=settings)

    def faults(self, desk: Desk, facts: ApplianceFacts, row: Appliance | None) -> Iterator[Fault]:
        """A name once on its rig, settings where it is a proportioner, and nothing that its lines rest on."""
        same = self.of(desk.department).filter(**owner_columns(facts.owner))
        yield from taken(same, row, "name", facts.name, str(facts.owner))
        settings = facts.settings_pct
        if facts.kind in PROPORTIONERS and not settings:
            yield Fault("settings_pct", "Nothing was read: a proportioner states every percentage it offers, as 3, 6.")
        if facts.kind not in PROPORTIONERS and settings:
            read = ", ".join(percent_text(pct) for pct in settings)
            yield Fault("settings_pct", f"“{read}” was read: only a proportioner has settings; leave this empty.")
        if facts.kind == K.PORTABLE_KIT:
            off = [percent_text(pct) for pct in settings if not on_dial(pct)]
            yield from (Fault("settings_pct", f"“{each}” was read: {DIAL}.") for each in off)
        yield from _opening(facts)
        if row is not None:
            yield from _in_use(facts, row)

    def touched(self, row: Appliance) -> Collection[int]:
        """The rigs whose lines it is part of, and its own."""
        lines = lines_with(row).values_list("unit", "vehicle")
        return units_at([(row.unit_id, row.vehicle_id), *lines])

    def read(self, row: Appliance) -> ApplianceFacts:
        """Lists as tuples, the owner as one."""
        given = {name: getattr(row, name) for name in self.names() if name != "owner"}
        lists = {"settings_pct": tuple(row.settings_pct), "rings_lpm": tuple(row.rings_lpm or ())}
        return ApplianceFacts(**{**given, **lists}, owner=owner_of(row))

    def columns(self, facts: ApplianceFacts) -> dict[str, Any]:
        """The owner as two columns, tuples as lists."""
        rest = {name: value for name, value in facts._asdict().items() if name != "owner"}
        lists = {"settings_pct": list(facts.settings_pct), "rings_lpm": list(facts.rings_lpm)}
        return {**owner_columns(facts.owner), **rest, **lists}


def _opening(facts: ApplianceFacts) -> Iterator[Fault]:
    """What only a nozzle, or only one kind of proportioner, states; and numbers that are above nothing."""
    discharges = facts.kind in NOZZLES or facts.kind == K.SELF_EDUCTING_NOZZLE
    if facts.bore_m is not None and not discharges:
        yield Fault("bore_m", f"A bore was read, which no {facts.kind} has: leave this empty.")
    if facts.holds_pressure and not discharges:
        yield Fault("holds_pressure", f"It was ticked, and no {facts.kind} is a nozzle: leave it unticked.")
    if facts.discharge is not None and facts.bore_m is None:
        yield Fault("discharge", f"“{facts.discharge:g}” was read, and no bore: state the bore, or leave this empty.")
    elif facts.discharge is not None and not 0 < facts.discharge <= 1:
        yield Fault("discharge", f"“{facts.discharge:g}” was read: the coefficient is above 0 and at most 1.")
    if facts.least_flow_lpm is not None and facts.kind not in PROPORTIONERS - EDUCTORS:
        yield Fault("least_flow_lpm", f"A flow was read, and no {facts.kind} has a least flow: leave this empty.")
    if facts.greatest_intake_kpa is not None and facts.kind != K.AROUND_THE_PUMP:
        yield Fault("greatest_intake_kpa", "A pressure was read: only around the pump the intake has a limit.")
    for name in ("rated_pressure_kpa", "bore_m"):
        if getattr(facts, name) == 0:
            yield Fault(name, "“0” was read: it is more than 0; leave it empty where it is not known.")


def lines_with(appliance: Appliance) -> QuerySet[FoamLine, FoamLine]:
    """The lines in use that have the appliance as their proportioner or nozzle."""
    part = Q(proportioner=appliance) | Q(nozzle=appliance) | Q(pk__in=appliance.branches_ended.values("line"))
    return FoamLine.objects.filter(part, retired_on__isnull=True)


def _in_use(facts: ApplianceFacts, row: Appliance) -> Iterator[Fault]:
    """What the lines that the appliance is part of rest on."""
    lines = list(lines_with(row).select_related("nozzle", "proportioner", "unit", "vehicle"))
    if lines and facts.owner != owner_of(row):
        yield Fault("owner", f"It is part of {_of_rigs(lines)}: give the line another one first.")
    mixing = [line for line in lines if line.proportioner_id == row.pk]
    if facts.kind not in PROPORTIONERS and mixing:
        yield Fault("kind", f"It is the proportioner of {_of_rigs(mixing)}: a {facts.kind} makes no foam solution.")
    if facts.kind not in NOZZLES and any(line.nozzle_id == row.pk for line in lines):
        yield Fault("kind", f"It is the nozzle of {_of_rigs(lines)}: a {facts.kind} is none.")
    for line in mixing:
        if facts.settings_pct and line.parked_pct is not None and line.parked_pct not in facts.settings_pct:
            parked = percent_text(line.parked_pct)
            yield Fault(
                "settings_pct", f"{line} is parked at {parked}, which is not among them: park it elsewhere first."
            )
    if facts.rated_flow_lpm is None:
        silent = [line for line in lines if line.flow_lpm is None and _rated_without(line, row) is None]
        if silent:
            yield Fault(
                "rated_flow_lpm",
                f"Nothing was read, and {_of_rigs(silent)} states no flow of its own: state the line’s first.",
            )


def _rated_without(line: FoamLine, row: Appliance) -> float | None:
    parts = [part for part in (line.nozzle, line.proportioner) if part is not None and part.pk != row.pk]
    return next((part.rated_flow_lpm for part in parts if part.rated_flow_lpm is not None), None)


def _of_rigs(lines: Iterable[FoamLine]) -> str:
    return several(f"{line} of {owner_of(line)}" for line in lines)


UNITS = Units()
VEHICLES = Vehicles()
APPLIANCES = Appliances()
