"""The generated fleet in the database, so that what the loader makes of rows can be judged beside the records.

Test only: containers and what they hold are written as rows and not by the ledger, which would take minutes. One
department a policy. What is fixed stands on the vehicle (tanks, injection lines), what is loose on the unit (pails,
eductor lines), so that both ways to a rig are read.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import UTC, datetime, time, timedelta

from readiness import models as m
from readiness.engineering import records as r
from readiness.engineering.hydraulics import COEFFICIENTS
from tests.engineering.county import ACETONE, DIESEL, ETHANOL, GASOLINE, GASOLINE_E10, JET_A
from tests.engineering.generated import CONCENTRATES, DAY, MOMENT

FUELS = (GASOLINE_E10, GASOLINE, DIESEL, ETHANOL, ACETONE, JET_A)
KIND_WORDS = {"afff": "AFFF", "ar_afff": "AR-AFFF", "ar_f3": "AR-F3", "fp": "FP", "class_a": "Class A"}
SIZES = {coefficient: size for size, coefficient in COEFFICIENTS.items()}
SUPPLY_WORDS = {"draft": "drafting"}
FIXED = ("tank", "kit")


def storable(rig):
    """The rig as a database can say it; its ids stay.

    1. What the unit carries comes before what the vehicle carries: the loader's order.
    2. Lines on one proportioner offer and feed the same: it is the proportioner's.
    3. Water aboard is never unknown, and a tankful is what is aboard.
    """
    shared = {}
    lines = sorted(rig.lines, key=lambda line: line.rated_lpm is None)
    for line in lines:
        if line.proportioner_id:
            shared.setdefault(line.proportioner_id, (line.offered, line.max_feed_lpm))
    lines = [_as_shared(line, shared) for line in lines]
    place = {line.id: n for n, line in enumerate(lines)}
    water_l = rig.vehicle.water_l or 0.0
    return rig._replace(
        containers=tuple(sorted(rig.containers, key=lambda each: each.kind in FIXED)),
        lines=tuple(lines),
        setups=tuple(tuple(sorted(setup, key=place.__getitem__)) for setup in rig.setups),
        vehicle=rig.vehicle._replace(water_l=water_l),
        duties=tuple(d._replace(water_l=water_l) if isinstance(d, r.ClassADuty) else d for d in rig.duties),
    )


def storable_policy(policy):
    """The policy as a database can say it: a department that sets no limit to opened pails sets a hundred years."""
    return policy._replace(opened_limit_d=policy.opened_limit_d or 36_500)


def _as_shared(line, shared):
    if not line.proportioner_id:
        return line
    offered, feed_lpm = shared[line.proportioner_id]
    return line._replace(offered=offered, max_feed_lpm=feed_lpm)


def store(rigs: Iterable[r.Rig], policy: r.Policy, *, department: m.Department) -> dict[int, int]:
    """Write rigs into a department that has nothing yet; returns the unit's id by the generated one."""
    rules = {**storable_policy(policy)._asdict(), "region_packs": sorted(policy.region_packs)}
    m.Policy.objects.create(department=department, **rules)
    writer = _Writer(department)
    for rig in rigs:
        writer.add(storable(rig))
    writer.save()
    return {number: unit.pk for number, unit in writer.units.items()}


class _Writer:
    """Collects rows by table and writes each table at once; rows point at one another until then."""

    def __init__(self, department):
        self.department = department
        self.station = m.Station.objects.create(department=department, name="Quayside")
        self.fuels = {each.id: self._fuel(each) for each in FUELS}
        self.concentrates = {each.id: self._concentrate(each) for each in set_of(CONCENTRATES)}
        self.units = {}
        self.rows = []

    def save(self):
        """Table by table: what others point at first."""
        for model in _ORDER:
            model.objects.bulk_create([row for row in self.rows if type(row) is model], batch_size=500)

    def _made(self, model, **values):
        if any(field.name == "department" for field in model._meta.fields):
            values["department"] = self.department
        self.rows.append(model(**values))
        return self.rows[-1]

    # -- the catalogue, written at once ----------------------------------------------------------------------------

    def _fuel(self, fuel):
        names = ("un", "name", "group", "flash_c")
        values = {name: getattr(fuel, name) for name in names}
        return m.Fuel.objects.create(department=self.department, oxygenate_pct=fuel.oxygenate, source="test", **values)

    def _concentrate(self, each):
        made = m.Concentrate.objects.create(
            department=self.department,
            name=each.name,
            kind=KIND_WORDS[each.kind],
            pfas=each.pfas,
            lowest_use_c=each.lowest_use_c,
            shear_thinning=each.shear_thinning,
        )
        for (fuel, use), listing in each.listings.items():
            if fuel in self.fuels:
                self._listing(made, self.fuels[fuel], {"depth": "in depth"}.get(use, use), listing)
        return made

    def _listing(self, concentrate, fuel, use, listing):
        m.Listing.objects.create(
            concentrate=concentrate,
            fuel=fuel,
            use=use,
            pct=listing.pct,
            rate=str(listing.rate.value),
            rate_unit=listing.rate.unit,
            minutes=listing.minutes,
            aspirating=listing.aspirating,
            source=listing.source,
        )

    # -- a rig ------------------------------------------------------------------------------------------------------

    def add(self, rig):
        """One unit on its vehicle with all it carries."""
        vehicle = self._vehicle(rig)
        unit = self._made(
            m.Unit, designation=rig.name, station=self.station, state=rig.state, lines_staffed=rig.lines_staffed
        )
        self.units[rig.unit_id] = unit
        self._made(m.Assignment, unit=unit, vehicle=vehicle, from_at=MOMENT.at - timedelta(days=900))
        self._check(rig, unit, vehicle)
        owners = {"unit": unit}, {"vehicle": vehicle}
        containers = self._containers(rig, owners)
        lines = self._lines(rig, owners, containers)
        self._setups(rig, unit, lines)
        for duty in rig.duties:
            self._made(m.Duty, unit=unit, name=duty.name, source="test", **self._duty(duty))

    def _vehicle(self, rig):
        held_kg = max((duty.other_agent_kg for duty in rig.duties if isinstance(duty, r.AirportDuty)), default=0)
        water_l, pump_lpm, shop_no = rig.vehicle.water_l, rig.vehicle.pump_lpm, rig.vehicle.name
        values = {"water_l": water_l, "pump_lpm": pump_lpm, "dry_chemical_kg": held_kg}
        return self._made(m.Vehicle, shop_no=shop_no, kind="engine", station=self.station, **values)

    def _check(self, rig, unit, vehicle):
        at = rig.checked_at
        values = {"unit": unit, "vehicle": vehicle, "finished_at": at, "recorded_at": at, "body_sha256": "0" * 64}
        self._made(m.Check, id=uuid.uuid4(), identity="pin", complete=True, **values)

    # -- stock ------------------------------------------------------------------------------------------------------

    def _containers(self, rig, owners):
        lots, places, made = {}, {}, {}
        for each in rig.containers:
            owner = owners[each.kind in FIXED]
            key = (*owner, each.place_low_c)
            if key not in places:
                compartment = f"low {each.place_low_c}"
                places[key] = self._made(m.Place, compartment=compartment, expected_low_c=each.place_low_c, **owner)
            made[each.id] = self._container(rig, each, places[key], lots)
        return made

    def _container(self, rig, each, place, lots):
        read_at = datetime.combine(each.reading_on, time(5), UTC) if each.reading_on else None
        marks = {name: getattr(each, name) for name in ("mixed", "quarantined", "diluted", "sealed", "opened_on")}
        sizes = {name: getattr(each, name) for name in ("unreachable_ml", "resolution_ml", "reading_ml")}
        container = self._made(
            m.Container,
            code=f"{rig.unit_id}-{each.code}",
            kind="fixed tank" if each.kind == "tank" else each.kind,
            capacity_ml=max(each.book_ml, each.reading_ml or 0, each.unreachable_ml),
            contents_ml=each.book_ml,
            concentrate=self.concentrates[each.parts[0].lot.concentrate.id],
            place=place,
            reading_at=read_at,
            **marks,
            **sizes,
        )
        for part in each.parts:
            if part.lot.id not in lots:
                lots[part.lot.id] = self._lot(rig, part.lot)
            self._made(m.Holding, container=container, lot=lots[part.lot.id], ml=part.ml)
        self._sample(each.sample, container=container)
        return container

    def _lot(self, rig, lot):
        made = self._made(
            m.Lot,
            concentrate=self.concentrates[lot.concentrate.id],
            batch=f"{rig.unit_id}-{lot.batch}",
            makers_date=lot.makers_date,
            recalled_on=DAY - timedelta(days=1) if lot.recalled else None,
        )
        self._sample(lot.sample, lot=made)
        return made

    def _sample(self, sample, **of):
        """The sample that counts, an older one that says the contrary, and a later one that is still awaited."""
        if sample is None:
            return
        older, later = sample.taken_on - timedelta(days=30), DAY
        self._made(m.Sample, taken_on=older, passed=not sample.passed, **of)
        self._made(m.Sample, taken_on=sample.taken_on, passed=sample.passed, good_through=sample.good_through, **of)
        self._made(m.Sample, taken_on=later, passed=None, **of)

    # -- lines ------------------------------------------------------------------------------------------------------

    def _lines(self, rig, owners, containers):
        proportioners, made = {}, {}
        for line in rig.lines:
            owner = owners[line.rated_lpm is None]
            key = line.proportioner_id or -line.id
            if key not in proportioners:
                proportioners[key] = self._proportioner(line, owner)
            made[line.id] = self._line(line, owner, proportioners[key])
            for source in line.sources:
                if source in containers:
                    self._made(m.LineSource, line=made[line.id], container=containers[source])
        return made

    def _proportioner(self, line, owner):
        return self._made(
            m.Appliance,
            name=f"proportioner of {line.name}",
            kind="balanced pressure" if line.rated_lpm is None else "in-line eductor",
            rated_flow_lpm=line.rated_lpm,
            settings_pct=sorted(line.offered),
            foam_feed_lpm=line.max_feed_lpm,
            accepts_thick=line.thick_ok,
            plate_back_pressure_kpa=line.lay.plate_back_pressure_kpa if line.lay else None,
            **owner,
        )

    def _line(self, line, owner, proportioner):
        rings, name = list(line.rings_lpm), f"nozzle of {line.name}"
        nozzle = self._made(
            m.Appliance, name=name, kind="fog nozzle", aspirating=line.aspirating, rings_lpm=rings, **owner
        )
        lay = {"inlet_kpa": line.lay.inlet_kpa, "nozzle_kpa": line.lay.nozzle_kpa} if line.lay else {}
        made = self._made(
            m.FoamLine,
            name=line.name,
            proportioner=proportioner,
            nozzle=nozzle,
            flow_lpm=line.flow_lpm,
            parked_pct=line.parked,
            present_pct=line.present,
            pails=line.pails,
            unflushed_since=None if line.flushed else MOMENT.at - timedelta(days=1),
            **lay,
            **owner,
        )
        for n, leg in enumerate(line.lay.hose if line.lay else (), 1):
            self._made(m.HoseLeg, line=made, n=n, length_m=leg.length_m, diameter_in=SIZES[leg.coefficient])
        for test in line.tests:
            self._test(made, test, test.on - timedelta(days=90), 9_000, False)  # superseded: must not be read
            self._test(made, test, test.on, test.measured, test.passed)
        return made

    def _test(self, line, test, on, measured, passed):
        values = {"set_pct": test.setting, "measured_pct": measured, "tested_on": on, "passed": passed}
        concentrate = self.concentrates[test.concentrate_id]
        self._made(m.LineTest, line=line, concentrate=concentrate, good_through=test.good_through, **values)

    def _setups(self, rig, unit, lines):
        for n, setup in enumerate(rig.setups):
            made = self._made(m.Setup, unit=unit, name=f"setup {n}")
            for line in setup:
                self._made(m.SetupLine, setup=made, line=lines[line])

    def _duty(self, duty):
        if isinstance(duty, r.ClassADuty):
            return {"kind": "class-a", "tankfuls": duty.tankfuls, "setting_pct": duty.setting}
        fuel = self.fuels[duty.fuel.id]
        if isinstance(duty, r.AirportDuty):
            need_kg = duty.other_agent_needed_kg
            return {"kind": "airport", "fuel": fuel, "required_water_l": duty.water_l, "other_agent_kg": need_kg}
        supply = SUPPLY_WORDS.get(duty.supply.kind, duty.supply.kind)
        water = {"supply": supply, "supply_lpm": duty.supply.flow_lpm}
        return {"kind": "spill", "fuel": fuel, "area_m2": duty.area_m2, "use": duty.use, **water}


def set_of(concentrates):
    """Each concentrate once."""
    return list({each.id: each for each in concentrates}.values())


_ORDER = (
    m.Vehicle,
    m.Unit,
    m.Assignment,
    m.Check,
    m.Place,
    m.Lot,
    m.Container,
    m.Holding,
    m.Sample,
    m.Appliance,
    m.FoamLine,
    m.HoseLeg,
    m.LineSource,
    m.LineTest,
    m.Setup,
    m.SetupLine,
    m.Duty,
)
