"""Whether the water lasts as long as the duty asks."""

from readiness.engineering.deficiencies import found
from readiness.engineering.demand import meets_flow, minutes_of_water
from readiness.engineering.records import Deficiency, Spill, Vehicle


def dry_at_min(vehicle: Vehicle | None, spill: Spill, water_lpm: float) -> float | None:
    """The minute at which water runs dry [min]; None where nothing is known to end it, or nothing is known aboard.

    Own water alone where no supply is named; else the tank makes up what the named supply lacks. water_lpm: water in
    the solution [L/min].
    """
    tank = vehicle.water_l if vehicle is not None else None
    if water_lpm <= 0:
        return None
    if spill.supply.kind == "none":
        return None if tank is None else minutes_of_water(tank, water_lpm)
    given = spill.supply.flow_lpm
    if given is None or meets_flow(given, water_lpm):
        return None
    return minutes_of_water(tank or 0.0, water_lpm - given)


def water_faults(vehicle: Vehicle | None, spill: Spill, water_lpm: float, minutes: float) -> list[Deficiency]:
    """No named supply where the tank does not last the time [min], or a named one that gives too little."""
    none_named = spill.supply.kind == "none"
    if not none_named and spill.supply.flow_lpm is None:
        return []
    dry = dry_at_min(vehicle, spill, water_lpm)
    if (dry is None and not none_named) or (dry is not None and meets_flow(dry, minutes)):
        return []
    code = "no_named_water" if none_named else "water_short"
    return [found(code, ("duty", spill.id), spill.name, "time", dry, minutes)]
