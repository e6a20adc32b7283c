"""Each sheet of a workbook into its records, in the order in which they name one another."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.db.models import Q

from readiness.actions.changes import Changed
from readiness.actions.hoses import sizes_of
from readiness.actions.intake import BATCH, Intake, Key, Wanted
from readiness.actions.lines import HOSE, NOZZLE_OF, nominal_in
from readiness.engineering.percentages import percent_text
from readiness.engineering.units import from_si, to_si
from readiness.models import (
    Appliance,
    Assignment,
    Concentrate,
    Duty,
    FoamLine,
    Fuel,
    HoseLeg,
    HoseSize,
    LineSource,
    LineTest,
    Listing,
    Lot,
    Sample,
    Setup,
    SetupLine,
    Station,
    Unit,
    Vehicle,
)
from readiness.models.hoses import SECTION_M
from readiness.workbooks.rows import Price, Rate, Row, quoted
from readiness.workbooks.rules import folded

STATES = {"in service": "in", "reserve": "reserve", "out of service": "out"}
LEGS = {  # fact: column
    "supply_legs": "supply_hose",
    "legs": "hose",
    "wye_legs": "wye_hose",
    **{name: name.replace("legs", "hose") for name in NOZZLE_OF},
}
BRANCHES = tuple(LEGS[name] for name in NOZZLE_OF)
Laid = tuple[str, int, int | None, float, float]  # where in the line, branch, its nozzle, length [m], size [in]
REGION_RULES = {"cargo deck": "deck", "storage tank": "tank"}
DUTY_KINDS = {"spill": "spill", "class a": "class-a", "airport": "airport"}


def know_everything(intake: Intake) -> None:
    """Load what the department has, in a number of queries that does not grow with it."""
    mine = {"department": intake.department}
    intake.know("stations", Station.objects.filter(**mine), lambda r: (folded(r.name),))
    intake.know("vehicles", Vehicle.objects.filter(**mine), lambda r: (folded(r.shop_no),))
    intake.know("units", Unit.objects.filter(**mine), lambda r: (folded(r.designation),))
    intake.know("concentrates", Concentrate.objects.filter(**mine), lambda r: (folded(r.name),))
    lots = Lot.objects.filter(**mine).select_related("concentrate")
    intake.know("lots", lots, lambda r: (r.concentrate_id, folded(r.batch)))
    listings = Listing.objects.filter(concentrate__department=intake.department)
    intake.know("listings", listings, lambda r: (r.concentrate_id, r.fuel_id, r.fuel_group, r.use))
    intake.know("appliances", Appliance.objects.filter(**mine), lambda r: (*_owner_ids(r), folded(r.name)))
    intake.know("hoses", HoseSize.objects.filter(**mine), lambda r: (r.diameter_in,))
    intake.know("lines", FoamLine.objects.filter(**mine), lambda r: (*_owner_ids(r), folded(r.name)))
    intake.know("setups", Setup.objects.filter(**mine), lambda r: (*_owner_ids(r), folded(r.name)))
    intake.know("design_spills", Duty.objects.filter(**mine), lambda r: (r.unit_id, folded(r.name)))
    intake.know("samples", Sample.objects.filter(**mine), lambda r: (r.lot_id, r.container_id, r.taken_on))
    tests = LineTest.objects.filter(**mine)
    intake.know("line_tests", tests, lambda r: (r.line_id, r.concentrate_id, r.tested_on, r.set_pct))
    fuels = list(Fuel.objects.filter(Q(department__isnull=True) | Q(**mine), retired_on__isnull=True))
    intake.know("fuels", fuels, lambda r: (folded(r.name),))
    by_un: dict[str, list[Fuel]] = {}
    for fuel in fuels:
        by_un.setdefault(folded(fuel.un), []).append(fuel)
    intake.known["fuels by un"] = {(un,): found for un, found in by_un.items() if un}


def _owner_ids(record: Any) -> tuple[int | None, int | None]:
    return record.unit_id, record.vehicle_id


def take_stations(intake: Intake) -> None:
    """Stations by name."""
    wanted = [
        Wanted(row, (folded(row["name"]),), {"department": intake.department, "name": row["name"]})
        for row in intake.rows["stations"]
        if row.sound("name")
    ]
    intake.keep("stations", Station, wanted)


def take_vehicles(intake: Intake) -> None:
    """Vehicles by shop number; a tow vehicle may stand further down, so tows are tied once all are there."""
    wanted = []
    for row in intake.rows["vehicles"]:
        station = intake.find("stations", row, "station")
        if station is None or not row.sound("shop_no", "kind"):
            continue
        values = {
            "department": intake.department,
            "shop_no": row["shop_no"],
            "kind": row["kind"],
            "station": station,
            "water_l": _litres(row["water"]) or 0.0,
            "pump_lpm": row["pump"],
            "foam_feed_lpm": row["foam_feed"],
            "dry_chemical_kg": row["dry_chemical"] or 0.0,
            "needs_tow": bool(row["needs_tow"]),
            "state": STATES[row["state"] or "in service"],
            "out_since": row["out_since"],
        }
        wanted.append(Wanted(row, (folded(row["shop_no"]),), values))
    intake.keep("vehicles", Vehicle, wanted)
    _tie_tows(intake)


def _tie_tows(intake: Intake) -> None:
    tied, changes = [], []
    for row in intake.rows["vehicles"]:
        tow = intake.find("vehicles", row, "tow")
        vehicle = intake.known["vehicles"].get((folded(row["shop_no"]),))
        if vehicle is None or not intake.whole(row) or vehicle.tow_id == (tow.pk if tow else None):
            continue
        changes.append(Changed("workbook", vehicle, {"tow": vehicle.tow_id}, {"tow": tow.pk if tow else None}))
        vehicle.tow = tow
        tied.append(vehicle)
    Vehicle.objects.bulk_update(tied, ["tow"], batch_size=BATCH)
    intake.record(changes)


def _litres(ml: int | None) -> float | None:
    return None if ml is None else ml / 1000


def take_units(intake: Intake) -> None:
    """Units by designation, and which vehicle each runs on."""
    wanted = []
    for row in intake.rows["units"]:
        station = intake.find("stations", row, "station")
        if station is None or not row.sound("designation"):
            continue
        values = {
            "department": intake.department,
            "designation": row["designation"],
            "station": station,
            "state": STATES[row["state"] or "in service"],
            "lines_staffed": row["lines_staffed"],
            "no_duty_by": row["no_duty_by"] or "",
            "no_duty_review_on": row["no_duty_review_on"],
        }
        wanted.append(Wanted(row, (folded(row["designation"]),), values))
    intake.keep("units", Unit, wanted)
    _assign(intake)


def _assign(intake: Intake) -> None:
    current = Assignment.objects.filter(department=intake.department, to_at__isnull=True)
    by_unit = dict(current.values_list("unit", "vehicle"))
    by_vehicle = {vehicle: unit for unit, vehicle in by_unit.items()}
    intake.running = by_unit
    new = []
    for row in intake.rows["units"]:
        vehicle = intake.find("vehicles", row, "runs_on")
        unit = intake.known["units"].get((folded(row["designation"]),))
        if vehicle is None or unit is None or by_unit.get(unit.pk) == vehicle.pk:
            continue
        if unit.pk in by_unit:
            intake.fault(row, "runs_on", quoted(row["runs_on"]), f"{unit} runs on another vehicle: change it over")
        elif vehicle.pk in by_vehicle:
            intake.fault(row, "runs_on", quoted(row["runs_on"]), "another unit runs on it; one vehicle, one unit")
        else:
            by_unit[unit.pk], by_vehicle[vehicle.pk] = vehicle.pk, unit.pk
            new.append(Assignment(department=intake.department, unit=unit, vehicle=vehicle, from_at=intake.now))
    Assignment.objects.bulk_create(new, batch_size=BATCH)


def take_concentrates(intake: Intake) -> None:
    """Concentrates by name."""
    wanted = [
        Wanted(
            row,
            (folded(row["name"]),),
            {
                "department": intake.department,
                "name": row["name"],
                "kind": row["kind"],
                "pfas": row["pfas"],
                "pfas_evidence": row["pfas_evidence"],
                "lowest_use_c": row["lowest_use"],
                "store_low_c": row["store_low"],
                "store_high_c": row["store_high"],
                "shear_thinning": bool(row["shear_thinning"]),
                "density_kg_l": _float(row["density"]),
                "life_months": row["life_months"],
            },
        )
        for row in intake.rows["concentrates"]
        if row.sound("name", "kind", "pfas")
    ]
    intake.keep("concentrates", Concentrate, wanted)


def _float(value: Any) -> float | None:
    return None if value is None else float(value)


def find_fuel(intake: Intake, row: Row, column: str) -> Fuel | None:
    """A fuel by its name, or by a UN number that only one fuel has."""
    name = row[column]
    if not name or not row.sound(column):
        return None
    found: Fuel | None = intake.known["fuels"].get((folded(name),))
    if found:
        return found
    by_un: list[Fuel] = intake.known["fuels by un"].get((_number(name),), [])
    if len(by_un) == 1:
        return by_un[0]
    if by_un:
        names = ", ".join(fuel.name for fuel in by_un)
        intake.fault(row, column, quoted(name), f"several fuels have this number; write one of {names}")
    else:
        intake.fault(row, column, quoted(name), "no fuel has this name or UN number; see the list of fuels")
    return None


def _number(name: str) -> str:
    """A UN number as the list of fuels writes it: a placard has the four figures only."""
    plain = folded(name).replace(" ", "")
    return f"un{plain}" if plain.isdecimal() else plain


def _rate(rate: Rate | None) -> dict[str, Any]:
    return {"rate": rate.value if rate else None, "rate_unit": rate.unit if rate else ""}


def take_listings(intake: Intake) -> None:
    """Listings by concentrate, fuel or group, and use; the rate keeps the unit it was published in."""
    wanted = []
    for row in intake.rows["listings"]:
        concentrate = intake.find("concentrates", row, "concentrate")
        fuel = find_fuel(intake, row, "fuel")
        if concentrate is None or (row["fuel"] and fuel is None) or not row.sound("use", "percent", "fuel_group"):
            continue
        key: Key = (concentrate.pk, fuel.pk if fuel else None, row["fuel_group"], row["use"])
        values = {
            "concentrate": concentrate,
            "fuel": fuel,
            "fuel_group": row["fuel_group"],
            "use": row["use"],
            "pct": row["percent"],
            "pct_high": row["percent_high"],
            **_rate(row["rate"]),
            "minutes": _float(row["minutes"]),
            "aspirating": bool(row["aspirating"]),
            "expansion": _float(row["expansion"]),
            "quarter_min": _float(row["quarter"]),
            "source": row["source"],
            "edition": row["edition"],
        }
        wanted.append(Wanted(row, key, values))
    intake.keep("listings", Listing, wanted)


def take_lots(intake: Intake) -> None:
    """Lots by concentrate and batch."""
    wanted = []
    for row in intake.rows["lots"]:
        concentrate = intake.find("concentrates", row, "concentrate")
        if concentrate is None or not row.sound("batch"):
            continue
        values = {
            "department": intake.department,
            "concentrate": concentrate,
            "batch": row["batch"],
            **_dated(row["made_on"], "made_on", "made_precision"),
            **_dated(row["makers_date"], "makers_date", "date_precision"),
            "price_minor_per_l": _price(row["price"]),
            "currency": row["currency"],
            "recalled_on": row["recalled_on"],
            "recall_reference": row["recall_reference"],
        }
        wanted.append(Wanted(row, (concentrate.pk, folded(row["batch"])), values))
    intake.keep("lots", Lot, wanted)


def _dated(read: Any, day: str, precision: str) -> dict[str, Any]:
    return {day: read.day if read else None, precision: read.precision if read else "day"}


def _price(price: Price | None) -> int | None:
    return None if price is None else round(float(price.amount) * 100 / to_si(1, price.per))


def find_owner(intake: Intake, row: Row) -> tuple[Unit | None, Vehicle | None]:
    """The unit or vehicle that an appliance, a line or a setup belongs to; of two that are named, neither."""
    unit, vehicle = intake.find("units", row, "unit"), intake.find("vehicles", row, "vehicle")
    return (None, None) if unit and vehicle else (unit, vehicle)


def take_appliances(intake: Intake) -> None:
    """Appliances by owner and name."""
    wanted = []
    for row in intake.rows["appliances"]:
        unit, vehicle = find_owner(intake, row)
        if (unit is None and vehicle is None) or not row.sound("name", "kind"):
            continue
        values = {
            "department": intake.department,
            "unit": unit,
            "vehicle": vehicle,
            "name": row["name"],
            "kind": row["kind"],
            "rated_flow_lpm": row["rated_flow"],
            "rating_basis": row["rating_basis"] or "solution at any setting",
            "rated_pressure_kpa": row["rated_pressure"],
            "bore_m": row["bore"],
            "discharge": row["discharge"],
            "holds_pressure": bool(row["holds_pressure"]),
            "least_flow_lpm": row["least_flow"],
            "greatest_intake_kpa": row["greatest_intake"],
            "rings_lpm": list(row["rings"]),
            "settings_pct": list(row["settings"]),
            "foam_feed_lpm": row["foam_feed"],
            "plate_back_pressure_kpa": row["plate_back_pressure"],
            "plate_lift_m": row["plate_lift"],
            "accepts_thick": row["accepts_thick"] is not False,
            "aspirating": bool(row["aspirating"]),
            "state": STATES[row["state"] or "in service"],
        }
        wanted.append(Wanted(row, (_pk(unit), _pk(vehicle), folded(row["name"])), values))
    intake.keep("appliances", Appliance, wanted)


def _pk(record: Any) -> int | None:
    return record.pk if record else None


def _find_of_rig(intake: Intake, sheet: str, row: Row, column: str, owners: Any) -> Any:
    """A thing by its name on the same unit or vehicle, or on the vehicle or unit that goes with it."""
    name = row[column]
    if not name or not row.sound(column):
        return None
    unit, vehicle = owners
    running = intake.running
    partner = running.get(unit.pk) if unit else next((u for u, v in running.items() if v == vehicle.pk), None)
    same, other = ((unit.pk, None), (None, partner)) if unit else ((None, vehicle.pk), (partner, None))
    for owner in (same, other):
        found = intake.known[sheet].get((*owner, folded(name)))
        if found:
            return found
    rig = row["unit"] or row["vehicle"]
    intake.unknown(sheet, row, column, name, f"{rig} has nothing of this name; name a thing of the same rig")
    return None


def take_hoses(intake: Intake) -> None:
    """Sizes of hose; before the lines, which are laid of them."""
    wanted = []
    for row in intake.rows["hoses"]:
        if not row.sound("size", "coefficient") or row["size"] is None:
            continue
        size = Decimal(row["size"]).quantize(Decimal("0.01"))
        known = intake.known["hoses"].get((size,))
        if known is not None and known.retired_on:
            intake.fault(
                row, "size", f"{size.normalize():f} in", f"it was retired on {known.retired_on}: bring it back"
            )
        _measured_whole(intake, row)
        values = {
            "department": intake.department,
            "diameter_in": size,
            "coefficient": _float(row["coefficient"]),
            "section_m": row["section"] or SECTION_M,
            "loss_kpa": row["loss"],
            "loss_flow_lpm": row["loss_flow"],
            "loss_length_m": row["loss_length"],
            "measured_on": row["measured_on"],
            "source": row["source"],
        }
        wanted.append(Wanted(row, (size,), values))
    intake.keep("hoses", HoseSize, wanted)


def _measured_whole(intake: Intake, row: Row) -> None:
    """A measured loss is a pressure, at a flow, over a length; or none of them."""
    parts = ("loss", "loss_flow", "loss_length")
    stated = [name for name in parts if row[name] is not None]
    for name in parts:
        if stated and row.sound(name) and row[name] is None:
            intake.fault(row, name, "nothing", "a measured loss is a pressure, at a flow, over a length; or none")
    if row["measured_on"] and not stated:
        intake.fault(row, "measured_on", str(row["measured_on"]), "state what was measured, or empty this cell")


def take_lines(intake: Intake) -> None:
    """Foam lines by owner and name, with their hose."""
    wanted, legs, sizes = [], {}, sizes_of(intake.department)
    for row in intake.rows["lines"]:
        owners = find_owner(intake, row)
        if owners == (None, None):
            continue
        proportioner = _find_of_rig(intake, "appliances", row, "proportioner", owners)
        nozzle = _find_of_rig(intake, "appliances", row, "nozzle", owners)
        if proportioner is None:
            continue
        key = (_pk(owners[0]), _pk(owners[1]), folded(row["name"]))
        present = _present(intake, row, intake.known["lines"].get(key))
        wanted.append(Wanted(row, key, _line_values(intake, row, owners, proportioner, nozzle) | present))
        _flow_known(intake, row, proportioner, nozzle)
        _laid_out(intake, row)
        if intake.whole(row):
            tips = {name: _find_of_rig(intake, "appliances", row, column, owners) for name, column in NOZZLE_OF.items()}
            legs[key] = _nominal_legs(intake, row, sizes, tips)
    intake.keep("lines", FoamLine, wanted)
    _keep_legs(intake, {intake.known["lines"][key]: hose for key, hose in legs.items() if key in intake.known["lines"]})


def _flow_known(intake: Intake, row: Row, proportioner: Appliance, nozzle: Appliance | None) -> None:
    """A line that states no flow, with parts that state none, could not be judged."""
    rated = (proportioner.rated_flow_lpm, nozzle.rated_flow_lpm if nozzle else None)
    if row.sound("flow") and row["flow"] is None and all(flow is None for flow in rated):
        intake.fault(row, "flow", "nothing", "neither nozzle nor proportioner has a rated flow: state what it flows")


def _laid_out(intake: Intake, row: Row) -> None:
    """One of inlet and pump pressure, the pump's with supply hose, and a wye with its hose."""
    if not row.sound("pump_pressure", "inlet_pressure", "supply_hose", "wye_lines", "wye_hose"):
        return
    pump, lines = row["pump_pressure"], row["wye_lines"] or 1
    if pump is not None and row["inlet_pressure"] is not None:
        read = f"{from_si(pump, 'psi'):.4g} psi"
        intake.fault(row, "pump_pressure", read, "state the inlet or the pump pressure; the other follows")
    if row["supply_hose"] and pump is None:
        right = "with supply hose the pump's pressure is stated, and not the inlet's"
        intake.fault(row, "pump_pressure", "nothing", right)
    if lines > 1 and not row["wye_hose"]:
        right = f"state the hose of each of the {lines:g} lines behind the wye"
        intake.fault(row, "wye_hose", "nothing", right)
    if row["wye_hose"] and lines < 2:
        intake.fault(row, "wye_lines", "nothing", "state how many like lines the wye splits it into")
    branches = [column for column in BRANCHES if row.sound(column) and row[column]]
    if len(branches) == 1:
        intake.fault(row, branches[0], "one branch", "a wye has two or more; state the others, or like lines")
    if branches and (lines > 1 or row["wye_hose"]):
        intake.fault(row, branches[0], "branches", "state like lines behind the wye or branches, not both")


def _nominal_legs(
    intake: Intake, row: Row, sizes: tuple[float, ...], tips: Mapping[str, Appliance | None]
) -> list[Laid]:
    """Hose by its nominal size, the one the table of friction knows: 45 mm is 1¾ in."""
    legs: list[Laid] = []
    for name, (part, branch) in HOSE.items():
        for leg in row[LEGS[name]] or ():
            size = nominal_in(leg.diameter_in, sizes)
            if size not in sizes:
                known = ", ".join(f"{each:g}" for each in sizes)
                read = f"a hose of {leg.diameter_in:.2f} in"
                intake.fault(row, LEGS[name], read, f"friction is known for {known} in")
            legs.append((str(part), branch, _pk(tips.get(name)), leg.length_m, round(size, 2)))
    return legs


def _line_values(intake: Intake, row: Row, owners: Any, proportioner: Any, nozzle: Any) -> dict[str, Any]:
    return {
        "department": intake.department,
        "unit": owners[0],
        "vehicle": owners[1],
        "name": row["name"],
        "proportioner": proportioner,
        "nozzle": nozzle,
        "flow_lpm": row["flow"],
        "nozzle_kpa": row["nozzle_pressure"],
        "inlet_kpa": row["inlet_pressure"],
        "pump_kpa": row["pump_pressure"],
        "intake_kpa": row["intake_pressure"],
        "wye_lines": row["wye_lines"] or 1,
        "appliance_loss_kpa": row["appliance_loss"] or 0.0,
        "height_m": row["height"] or 0.0,
        "lift_m": row["lift"] or 0.0,
        "wind_loss_pct": row["wind_loss"] or 0,
        "tube_original": row["tube_original"] is not False,
        "parked_pct": row["parked"],
        "pails": bool(row["pails"]),
    }


def _present(intake: Intake, row: Row, known: FoamLine | None) -> dict[str, Any]:
    """The setting as last seen. Of a known line it is never overwritten: the file may be older than what was seen."""
    if known is None or known.present_pct is None:
        return {"present_pct": row["present"], "present_seen_at": intake.now if row["present"] else None}
    if row["present"] not in (None, known.present_pct):
        right = f"{known} was last seen at {percent_text(known.present_pct)}: enter a check, or empty this cell"
        intake.fault(row, "present", percent_text(row["present"]), right)
    return {}


def _keep_legs(intake: Intake, stated: dict[FoamLine, list[Laid]]) -> None:
    """The hose of a line is stated as a whole: where it differs, the old legs go and the new ones come."""
    kept: dict[int, list[Laid]] = defaultdict(list)
    rows = HoseLeg.objects.filter(line__department=intake.department).order_by("line", "n")
    columns = ("line", "part", "branch", "nozzle", "length_m", "diameter_in")
    for line, part, branch, nozzle, length, diameter in rows.values_list(*columns):
        kept[line].append((part, branch, nozzle, length, float(diameter)))
    changed = {line: legs for line, legs in stated.items() if kept[line.pk] != legs}
    HoseLeg.objects.filter(line__in=[line for line in changed if kept[line.pk]]).delete()
    HoseLeg.objects.bulk_create(
        (
            HoseLeg(line=line, n=n, part=part, branch=branch, nozzle_id=nozzle, length_m=length, diameter_in=diameter)
            for line, legs in changed.items()
            for n, (part, branch, nozzle, length, diameter) in enumerate(legs, 1)
        ),
        batch_size=BATCH,
    )
    was = {line: [list(leg) for leg in kept[line.pk]] for line in changed if kept[line.pk]}
    intake.record(Changed("workbook", line, {"hose": was[line]}, {"hose": changed[line]}) for line in was)


def take_sources(intake: Intake) -> None:
    """Which containers feed which line; after containers, since it names them."""
    stated = {}
    for row in intake.rows["lines"]:
        found = [container for name in row["sources"] or () if (container := _source(intake, row, name))]
        line = _known_of(intake, "lines", row, row["name"])
        if line and intake.whole(row) and "sources" in row.spots:
            stated[line] = found
    _keep_members(intake, LineSource, "line", "container", stated)


def _source(intake: Intake, row: Row, name: str) -> Any:
    container = intake.known["containers"].get((folded(name),))
    if container is None:
        intake.unknown("containers", row, "sources", name, "no container has this code")
    return container


def _keep_members(intake: Intake, model: type[Any], owner: str, member: str, stated: dict[Any, list[Any]]) -> None:
    """Members are stated as a whole: what is no longer named goes, what is new comes, the rest stays."""
    kept: dict[int, set[int]] = defaultdict(set)
    rows = model.objects.filter(**{f"{owner}__department": intake.department}).values_list(owner, member)
    for of, each in rows:
        kept[of].add(each)
    new: list[Any] = []
    changes = []
    for record, members in stated.items():
        before, after = kept[record.pk], {each.pk for each in members}
        new += [model(**{owner: record, member: each}) for each in members if each.pk not in before]
        if before and before != after:
            changes.append(Changed("workbook", record, {f"{member}s": sorted(before)}, {f"{member}s": sorted(after)}))
        if before - after:
            model.objects.filter(**{owner: record, f"{member}__in": before - after}).delete()
    model.objects.bulk_create(new, batch_size=BATCH)
    intake.record(changes)


def _known_of(intake: Intake, sheet: str, row: Row, name: str) -> Any:
    unit = intake.known["units"].get((folded(row["unit"]),)) if row["unit"] else None
    vehicle = intake.known["vehicles"].get((folded(row["vehicle"]),)) if row["vehicle"] else None
    return intake.known[sheet].get((_pk(unit), _pk(vehicle), folded(name)))


def take_setups(intake: Intake) -> None:
    """Setups by owner and name, and the lines that run together in each."""
    wanted = []
    members: dict[Key, list[Any]] = {}
    for row in intake.rows["setups"]:
        owners = find_owner(intake, row)
        if owners == (None, None) or not row["lines"]:
            continue
        key = (_pk(owners[0]), _pk(owners[1]), folded(row["name"]))
        values = {"department": intake.department, "unit": owners[0], "vehicle": owners[1], "name": row["name"]}
        wanted.append(Wanted(row, key, values))
        members[key] = [found for name in row["lines"] if (found := _line_named(intake, row, name, owners))]
    intake.keep("setups", Setup, wanted)
    known = intake.known["setups"]
    _keep_members(
        intake, SetupLine, "setup", "line", {known[key]: found for key, found in members.items() if key in known}
    )


def _line_named(intake: Intake, row: Row, name: str, owners: Any) -> Any:
    found = intake.known["lines"].get((_pk(owners[0]), _pk(owners[1]), folded(name)))
    if found is None:
        intake.unknown("lines", row, "lines", name, f"{row['unit'] or row['vehicle']} has no line of this name")
    return found


def take_duties(intake: Intake) -> None:
    """Design spills and the other duties, by unit and name."""
    wanted = []
    for row in intake.rows["design_spills"]:
        unit = intake.find("units", row, "unit")
        fuel = find_fuel(intake, row, "fuel")
        if unit is None or (row["fuel"] and fuel is None):
            continue
        if row["kind"] == "airport" and fuel is None and row.sound("fuel"):
            intake.fault(row, "fuel", "nothing", "an airport duty names the fuel too, jet fuel for instance")
        values = {
            "department": intake.department,
            "unit": unit,
            "name": row["name"],
            "kind": DUTY_KINDS.get(row["kind"], ""),
            "fuel": fuel,
            "area_m2": row["area"],
            "use": row["use"],
            "purpose": row["purpose"] or "fire",
            **_rate(row["rate"]),
            "minutes": _float(row["minutes"]),
            "supply": row["supply"],
            "supply_lpm": row["supply_flow"],
            "tankfuls": _float(row["tankfuls"]),
            "setting_pct": row["setting"],
            "required_water_l": _litres(row["required_water"]),
            "other_agent_kg": row["other_agent"],
            **_cover(row),
            **_region_rule(row),
            "source": row["source"],
        }
        wanted.append(Wanted(row, (unit.pk, folded(row["name"])), values))
    intake.keep("design_spills", Duty, wanted)


def _cover(row: Row) -> dict[str, Any]:
    """How vapor is kept down; what a cell does not say stays unknown, and the duty is unverified for it."""
    return {
        "hold_min": _float(row["hold"]),
        "interval_min": _float(row["interval"]),
        "blanket_depth_m": row["blanket_depth"],
        "blanket_expansion": _float(row["blanket_expansion"]),
        "drained_pct": row["drained"],
        "blanket_wind_pct": row["wind"],
    }


def _region_rule(row: Row) -> dict[str, Any]:
    """By which region's rule it is planned, with what the rule asks for."""
    return {
        "rule": REGION_RULES.get(row["rule"], ""),
        "largest_tank_m2": row["largest_tank"],
        "monitor_area_m2": row["monitor_area"],
        "inert_gas": row["inert_gas"],
        "application": row["application"],
        "mobile_means": row["mobile"],
        "category": row["category"],
    }


def find_lot(intake: Intake, row: Row, column: str = "lot") -> Lot | None:
    """A lot by its concentrate and batch, or by a batch that only one concentrate has."""
    batch = row[column]
    if not batch or not row.sound(column, "concentrate"):
        return None
    if row["concentrate"]:
        concentrate = intake.find("concentrates", row, "concentrate")
        if concentrate is None:
            return None
        found: Lot | None = intake.known["lots"].get((concentrate.pk, folded(batch)))
        if found is None:
            intake.unknown("lots", row, column, batch, f"{concentrate} has no lot of this number on the sheet Lots")
        return found
    several = _lots_by_batch(intake).get((folded(batch),), [])
    if len(several) > 1:
        intake.fault(row, column, quoted(batch), "several concentrates have a lot of this number; name the concentrate")
    elif not several:
        intake.unknown("lots", row, column, batch, "no lot has this number")
    return several[0] if len(several) == 1 else None


def _lots_by_batch(intake: Intake) -> dict[Key, list[Lot]]:
    if "lots by batch" not in intake.known:
        by_batch: dict[Key, Any] = {}
        for lot in intake.known["lots"].values():
            by_batch.setdefault((folded(lot.batch),), []).append(lot)
        intake.known["lots by batch"] = by_batch
    return intake.known["lots by batch"]


def take_samples(intake: Intake) -> None:
    """Samples by what was sampled and when."""
    wanted = []
    for row in intake.rows["samples"]:
        container = intake.find("containers", row, "container")
        lot = find_lot(intake, row)
        if container is None and lot is None:
            continue
        values = {
            "department": intake.department,
            "lot": lot,
            "container": container,
            "taken_on": row["taken_on"],
            "passed": row["passed"],
            "good_through": row["good_through"],
            "report": row["report"],
        }
        wanted.append(Wanted(row, (_pk(lot), _pk(container), row["taken_on"]), values))
    intake.keep("samples", Sample, wanted)


def take_line_tests(intake: Intake) -> None:
    """Proportioning tests by line, concentrate, day and setting."""
    wanted = []
    for row in intake.rows["line_tests"]:
        owners = find_owner(intake, row)
        concentrate = intake.find("concentrates", row, "concentrate")
        line = None if owners == (None, None) else _find_of_rig(intake, "lines", row, "line", owners)
        if row["passed"] is None and row["measured"] is None and intake.whole(row):
            intake.fault(row, "measured", "nothing", "state what was measured, or the tester's answer under Passed")
        if line is None or concentrate is None:
            continue
        values = {
            "department": intake.department,
            "line": line,
            "concentrate": concentrate,
            "tested_on": row["on"],
            "set_pct": row["set"],
            "measured_pct": row["measured"],
            "passed": row["passed"] is not False,
            "good_through": row["good_through"],
            "method": row["method"],
            "band": row["band"] or "standard",
        }
        wanted.append(Wanted(row, (line.pk, concentrate.pk, row["on"], row["set"]), values))
    intake.keep("line_tests", LineTest, wanted)
