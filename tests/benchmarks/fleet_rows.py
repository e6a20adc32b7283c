"""A fleet of any size as rows: a unit has 8 containers, 2 lines and 1.5 design spills, as a prototype was timed with.

The same numbers always give the same rows. A tenth of the units is nearly empty, some stock runs out within the coming
two years, some tests are lean, some checks are old: a night over a fleet where all is well would prove little. Rows are
written as rows; the ledger has a benchmark of its own.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import islice
from typing import Any

from readiness import models as m

DAY = date(2026, 6, 15)
SIX = datetime(2026, 6, 15, 6, tzinfo=UTC)  # the shift change of that day
PAIL_ML = 18_927
TANK_ML = 189_271
CONTAINERS, LINES = 8, 2
LOTS_A_UNIT = 1 / 5
AT_ONCE = 5_000  # units written together: what is in memory does not grow with the fleet
FT2, GPM, PSI = 0.09290304, 3.785411784, 6.894757293168361

# concentrate, fuel, percentage in hundredths of a point, gpm a square foot
LISTED = ((0, 0, 300, "0.10"), (0, 1, 300, "0.10"), (0, 2, 600, "0.20"), (1, 0, 300, "0.10"), (1, 1, 300, "0.10"))


def write_fleet(units: int, *, name: str = "Quay County") -> m.Department:
    """A department with so many units and all they carry."""
    department = m.Department.objects.create(name=name, slug=f"fleet-{uuid.uuid4().hex[:12]}", day_starts_at="06:00")
    m.Policy.objects.create(department=department)
    made = _Maker(department, units)
    for start in range(0, units, AT_ONCE):
        made.write(range(start, min(start + AT_ONCE, units)))
    return department


class _Maker:
    """The catalogue once, then units by the thousand."""

    def __init__(self, department: m.Department, units: int) -> None:
        self.department = department
        self.stations = _written(
            m.Station(department=department, name=f"Station {n}") for n in range(max(1, units // 10))
        )
        fuels = (("gasoline", "hydrocarbon", None), ("diesel", "hydrocarbon", None), ("ethanol", "polar", None))
        self.fuels = _written(
            m.Fuel(department=department, name=name, group=group, oxygenate_pct=share, source="invented")
            for name, group, share in fuels
        )
        self.concentrates = _written(
            m.Concentrate(department=department, name=name, kind=kind, pfas="yes")
            for name, kind in (("AR-AFFF 3x6", "AR-AFFF"), ("AFFF 3", "AFFF"))
        )
        _written(self._listings())
        self.lots = _written(self._lot(n) for n in range(max(4, int(units * LOTS_A_UNIT))))
        _written(self._samples())

    def _listings(self) -> Iterator[m.Listing]:
        for concentrate, fuel, pct, rate in LISTED:
            yield m.Listing(
                concentrate=self.concentrates[concentrate],
                fuel=self.fuels[fuel],
                use="spill",
                pct=pct,
                rate=rate,
                rate_unit="gpm_ft2",
                minutes=15,
                source="invented",
            )

    def _lot(self, n: int) -> m.Lot:
        """Three in four of the first concentrate; from a few days past their date to ten years before it."""
        which = self.concentrates[1 if n % 4 == 3 else 0]
        good_through = DAY + timedelta(days=n * 37 % 3_700 - 40)
        return m.Lot(department=self.department, concentrate=which, batch=f"B{n}", makers_date=good_through)

    def _samples(self) -> Iterator[m.Sample]:
        for n, lot in enumerate(self.lots):
            if n % 3 == 0:
                taken_on = DAY - timedelta(days=n * 13 % 400)
                yield m.Sample(department=self.department, lot=lot, taken_on=taken_on, passed=n % 300 != 0)

    # -- units ------------------------------------------------------------------------------------------------------

    def write(self, numbers: Sequence[int]) -> None:
        """Some units, table by table."""
        department, home = self.department, self.stations
        owned = {"department": department}
        vehicles = _written(
            m.Vehicle(**owned, shop_no=f"{n}", kind="engine", station=home[n % len(home)], water_l=2_839.1)
            for n in numbers
        )
        units = _written(
            m.Unit(**owned, designation=f"Engine {n}", station=home[n % len(home)], judge_due=False) for n in numbers
        )
        pairs = list(zip(numbers, units, vehicles, strict=True))
        began = SIX - timedelta(days=400)
        _written(m.Assignment(**owned, unit=unit, vehicle=vehicle, from_at=began) for _, unit, vehicle in pairs)
        _written(self._check(*each) for each in pairs)
        on_unit = _written(m.Place(**owned, unit=unit, compartment="L3") for unit in units)
        on_vehicle = _written(m.Place(**owned, vehicle=vehicle) for vehicle in vehicles)
        containers = self._containers(numbers, on_unit, on_vehicle)
        self._lines(pairs, containers)
        _written(duty for n, unit, _ in pairs for duty in self._duties(n, unit))

    def _check(self, n: int, unit: m.Unit, vehicle: m.Vehicle) -> m.Check:
        at = SIX - timedelta(hours=30 if n % 20 == 7 else 3)
        values = {"finished_at": at, "recorded_at": at, "complete": True, "identity": "pin", "body_sha256": "0" * 64}
        return m.Check(id=uuid.uuid4(), department=self.department, unit=unit, vehicle=vehicle, **values)

    def _containers(
        self, numbers: Sequence[int], on_unit: Sequence[m.Place], on_vehicle: Sequence[m.Place]
    ) -> list[m.Container]:
        """A fixed tank and seven pails a unit; a tank in five holds two lots, a unit in ten is without most pails."""
        rows, held = [], []
        for n, unit, vehicle in zip(numbers, on_unit, on_vehicle, strict=True):
            for each in range(CONTAINERS):
                tank = each == 0
                lot = self.lots[(n * 3 + each // 3) % len(self.lots)]
                ml = 140_000 if tank else PAIL_ML
                parts = [(lot, ml)] if n % 10 or each < 2 else []
                other = self._alike(lot)
                if tank and n % 5 == 0 and other is not lot:
                    parts.append((other, 20_000))
                rows.append(self._container(n, each, lot, vehicle if tank else unit, sum(ml for _, ml in parts)))
                held.append(parts)
        _written(rows)
        _written(
            m.Holding(container=container, lot=lot, ml=ml)
            for container, parts in zip(rows, held, strict=True)
            for lot, ml in parts
        )
        return rows

    def _alike(self, lot: m.Lot) -> m.Lot:
        """Another lot of the same concentrate."""
        return self.lots[0] if lot.concentrate_id == self.concentrates[0].pk else lot

    def _container(self, n: int, each: int, lot: m.Lot, place: m.Place, ml: int) -> m.Container:
        tank = each == 0
        reading = ml - 4_000 if tank and n % 4 == 0 else None
        return m.Container(
            department=self.department,
            code=f"{n}-{each}",
            kind="fixed tank" if tank else "pail",
            capacity_ml=TANK_ML if tank else PAIL_ML,
            unreachable_ml=1_893 if tank else 0,
            resolution_ml=1_893 if tank else 0,
            reading_ml=reading,
            reading_at=SIX - timedelta(hours=3) if reading is not None else None,
            contents_ml=ml,
            concentrate_id=lot.concentrate_id,
            place=place,
            sealed=not tank and (n + each) % 9 != 0,
            opened_on=DAY - timedelta(days=n % 300) if not tank and (n + each) % 9 == 0 else None,
        )

    def _lines(self, pairs: Sequence[tuple[int, m.Unit, m.Vehicle]], containers: Sequence[m.Container]) -> None:
        """An injection line from the tank and an in-line eductor by tube, the eductor with its lay."""
        appliances: list[list[m.Appliance]] = [self._appliances(*each) for each in pairs]
        _written(appliance for four in appliances for appliance in four)
        lines = [self._pair_of_lines(*each, four) for each, four in zip(pairs, appliances, strict=True)]
        _written(line for two in lines for line in two)
        _written(m.HoseLeg(line=two[1], n=1, length_m=45.72, diameter_in="1.75") for two in lines)
        tanks = islice(containers, 0, None, CONTAINERS)
        _written(m.LineSource(line=two[0], container=tank) for two, tank in zip(lines, tanks, strict=True))
        _written(test for (n, _, _), two in zip(pairs, lines, strict=True) for test in self._tests(n, two))

    def _appliances(self, n: int, unit: m.Unit, vehicle: m.Vehicle) -> list[m.Appliance]:
        fixed: dict[str, Any] = {"department": self.department, "vehicle": vehicle}
        loose: dict[str, Any] = {"department": self.department, "unit": unit}
        settings = [300, 600]
        eductor = {"kind": "in-line eductor", "rated_flow_lpm": 60 * GPM, "settings_pct": settings}
        return [
            m.Appliance(**fixed, name="injection", kind="direct injection", settings_pct=settings, foam_feed_lpm=38.0),
            m.Appliance(**fixed, name="fog", kind="fog nozzle", rated_flow_lpm=60 * GPM),
            m.Appliance(**loose, name="eductor", **eductor),
            m.Appliance(**loose, name="tube nozzle", kind="fog nozzle", rated_flow_lpm=60 * GPM, aspirating=n % 2 == 0),
        ]

    def _pair_of_lines(
        self, n: int, unit: m.Unit, vehicle: m.Vehicle, four: Sequence[m.Appliance]
    ) -> tuple[m.FoamLine, m.FoamLine]:
        settings = {"parked_pct": 300, "present_pct": 600 if n % 25 == 3 else 300}
        lay = {"inlet_kpa": 200 * PSI, "nozzle_kpa": 100 * PSI}
        owned = {"department": self.department}
        return (
            m.FoamLine(**owned, vehicle=vehicle, name="crosslay", proportioner=four[0], nozzle=four[1], **settings),
            m.FoamLine(**owned, unit=unit, name="eductor", proportioner=four[2], nozzle=four[3], pails=True, **lay),
        )

    def _tests(self, n: int, lines: Sequence[m.FoamLine]) -> Iterator[m.LineTest]:
        for which, line in enumerate(lines):
            tested_on = DAY - timedelta(days=(n * 11 + which * 90) % 380)
            measured = 290 if n % 30 == 11 else 300 + n % 4 * 20
            for concentrate in self.concentrates:
                values = {"set_pct": 300, "measured_pct": measured, "tested_on": tested_on, "passed": True}
                yield m.LineTest(department=self.department, line=line, concentrate=concentrate, **values)

    def _duties(self, n: int, unit: m.Unit) -> Iterator[m.Duty]:
        for each in range(1 + n % 2):
            yield m.Duty(
                department=self.department,
                unit=unit,
                name=f"spill {each}",
                kind="spill",
                fuel=self.fuels[2 if n % 16 == 5 else each],
                area_m2=(200, 300, 400)[n % 3] * FT2,
                use="spill",
                supply="hydrant",
                source="invented",
            )


def _written(rows: Iterator[Any] | Sequence[Any]) -> list[Any]:
    """Insert rows of one table and give them back with their ids."""
    made = list(rows)
    if made:
        type(made[0]).objects.bulk_create(made, batch_size=2_000)
    return made
