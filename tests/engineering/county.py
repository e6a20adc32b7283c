"""The worked county as records: fourteen units of the invented Port Ansley Fire Department.

Every figure of the working is in ``fixtures/worked_examples/county_units.csv``. All dates are days from D0
(15 June 2026), so that the county can be moved to another D0 and must answer the same.
"""

from datetime import UTC, date, datetime, time, timedelta

from readiness.engineering.hydraulics import hose
from readiness.engineering.records import (
    AirportDuty,
    ClassADuty,
    Concentrate,
    Container,
    Fuel,
    Lay,
    Line,
    LineTest,
    Listing,
    Lot,
    Moment,
    NoDuty,
    Part,
    Rate,
    Rig,
    Sample,
    Spill,
    Supply,
    Vehicle,
)
from readiness.engineering.units import to_ml, to_si

D0 = date(2026, 6, 15)

GASOLINE_E10 = Fuel(1, "gasoline E10", "UN1203", "blend", 1000, -43.0)
GASOLINE = Fuel(2, "gasoline", "UN1203", "hydrocarbon", None, -43.0)
DIESEL = Fuel(3, "diesel", "UN1202", "hydrocarbon", None, 55.0)
ETHANOL = Fuel(4, "denatured ethanol", "UN1987", "polar", None, 13.0)
E85 = Fuel(5, "E85", "UN3475", "blend", 8500, -20.0)
ACETONE = Fuel(6, "acetone", "UN1090", "polar", None, -20.0)
JET_A = Fuel(7, "jet A", "UN1863", "hydrocarbon", None, 38.0)

HYDRANT = Supply("hydrant")


def gpm(value):
    return to_si(value, "gpm")


def ft2(value):
    return to_si(value, "ft2")


def psi(value):
    return to_si(value, "psi")


def gal_ml(value):
    return to_ml(value, "gal")


def listed(pct, rate, *, aspirating=False, minutes=15.0):
    return Listing(pct, Rate(rate, "gpm_ft2"), minutes, aspirating, False, "demo listing, invented")


def for_fuels(fuels, listing, use="spill"):
    return {(fuel.id, use): listing for fuel in fuels}


HYDROCARBONS = (GASOLINE_E10, GASOLINE, DIESEL, JET_A)
AFFF = Concentrate(1, "AFFF 3 %", "afff", "yes", None, False, for_fuels((GASOLINE, DIESEL, JET_A), listed(300, 0.10)))
AR_AFFF = Concentrate(
    2,
    "AR-AFFF 3x6",
    "ar_afff",
    "yes",
    None,
    True,
    for_fuels(HYDROCARBONS, listed(300, 0.10)) | for_fuels((ETHANOL, E85, ACETONE), listed(600, 0.20)),
)
AR_F3 = Concentrate(
    3,
    "AR-F3 3x3",
    "ar_f3",
    "no",
    None,
    True,
    for_fuels(HYDROCARBONS, listed(300, 0.16, aspirating=True))
    | for_fuels((ETHANOL,), listed(300, 0.24, aspirating=True)),
)
FP = Concentrate(
    4,
    "FP 3 %",
    "fp",
    "yes",
    None,
    False,
    for_fuels((GASOLINE, DIESEL), listed(300, 0.16)) | for_fuels((GASOLINE,), listed(300, 0.16, minutes=30.0), "depth"),
)
CLASS_A = Concentrate(5, "Class A", "class_a", "no", None, False, {})


class County:
    """The fourteen rigs as they stand at ``d0``; ``checked_on`` is the day of the last morning check."""

    def __init__(self, d0=D0, checked_on=None, reserve_checked_on=None):
        self.d0 = d0
        self.checked_on = checked_on or d0
        self.reserve_checked_on = reserve_checked_on or d0 - timedelta(days=11)  # 4 June 2026

    def at(self, day):
        """The shift change at 06:00. The county's zone does not matter to the arithmetic: UTC."""
        return datetime.combine(day, time(6), UTC)

    def moment(self, days=0):
        day = self.d0 + timedelta(days=days)
        return Moment(self.at(day), day)

    def days(self, count):
        return self.d0 + timedelta(days=count)

    # stock

    def lot(self, number, concentrate, through=2000, sample=None):
        makers = None if through is None else self.days(through)
        return Lot(number, f"B-{number}", concentrate, makers, sample, False)

    def pails(self, first, count, lot, gallons=5):
        return tuple(Container(first + i, f"P{first + i}", "pail", (Part(lot, gal_ml(gallons)),)) for i in range(count))

    def tank(self, number, lot, gallons, heel=0.0):
        sampled = Sample(self.days(-60), True)
        parts = (Part(lot, gal_ml(gallons)),)
        return Container(number, f"T{number}", "tank", parts, gal_ml(heel), sample=sampled)

    def tests(self, concentrate, **measured):
        """Tests 60 days old, by setting: ``at3=310`` is 3.1 % at the 3 % setting."""
        settings = {"at3": 300, "at6": 600}
        return tuple(LineTest(concentrate.id, settings[key], value, self.days(-60)) for key, value in measured.items())

    # lines

    def eductor(self, number, flow, *, tests, lay=None, offered=(300, 600), **more):
        return Line(
            number,
            f"{flow} gpm line",
            (),
            True,
            frozenset(offered),
            gpm(flow),
            rated_lpm=gpm(flow),
            tests=tests,
            lay=lay,
            **more,
        )

    def handline(self, feet, tip_psi=100):
        return Lay(psi(200), psi(tip_psi), (hose("1.75", to_si(feet, "ft")),))

    def rig(self, number, name, *, water=None, vehicle=None, state="in", checked_on=None, **more):
        carried = vehicle or Vehicle(number, name, water_l=None if water is None else to_si(water, "gal"))
        checked = self.at(checked_on or self.checked_on)
        return Rig(number, name, carried, checked_at=checked, state=state, **more)

    def spill(self, number, name, fuel, square_feet, supply=HYDRANT):
        return Spill(number, name, fuel, ft2(square_feet), supply)

    # the units, by their number in the county

    def engine_1(self):
        dated = self.lot(102, AR_AFFF, 107)  # 30 September 2026, unsampled
        line = self.eductor(11, 95, tests=self.tests(AR_AFFF, at3=310, at6=600), lay=self.handline(150))
        stock = self.pails(1001, 7, self.lot(101, AR_AFFF)) + self.pails(1008, 2, dated)
        return self.rig(
            1,
            "Engine 1",
            water=750,
            containers=stock,
            lines=(line,),
            duties=(self.spill(1, "gasoline E10", GASOLINE_E10, 900),),
        )

    def engine_2(self):
        line = Line(
            21,
            "60 gpm line",
            (2001,),
            False,
            frozenset({300, 600}),
            gpm(60),
            max_feed_lpm=gpm(3.0),
            thick_ok=True,
            aspirating=True,
            tests=self.tests(AFFF, at3=300),
        )
        duties = (self.spill(1, "diesel", DIESEL, 500), self.spill(2, "E85", E85, 200))
        stock = (self.tank(2001, self.lot(201, AFFF), 30, 1),)
        return self.rig(2, "Engine 2", water=750, containers=stock, lines=(line,), duties=duties)

    def engine_3(self):
        tests = self.tests(AR_AFFF, at3=300, at6=620)
        line = self.eductor(31, 95, tests=tests, parked=600, present=300)
        stock = self.pails(3001, 18, self.lot(301, AR_AFFF))
        duties = (self.spill(1, "ethanol", ETHANOL, 400),)
        return self.rig(3, "Engine 3", water=750, containers=stock, lines=(line,), duties=duties)

    def engine_4(self, sets=1):
        tests = self.tests(AR_AFFF, at3=300, at6=600)
        lines = tuple(self.eductor(41 + i, 95, tests=tests) for i in range(sets))
        stock = self.pails(4001, 20, self.lot(401, AR_AFFF))
        duties = (self.spill(1, "gasoline", GASOLINE, 1200),)
        setups = (tuple(line.id for line in lines),)
        return self.rig(4, "Engine 4", water=750, containers=stock, lines=lines, duties=duties, setups=setups)

    def engine_5(self, feet=150, tip_psi=100):
        tests = self.tests(AR_AFFF, at3=300, at6=600)
        line = self.eductor(51, 125, tests=tests, lay=self.handline(feet, tip_psi))
        stock = self.pails(5001, 12, self.lot(501, AR_AFFF))
        duties = (self.spill(1, "gasoline", GASOLINE, 1250),)
        return self.rig(5, "Engine 5", water=750, containers=stock, lines=(line,), duties=duties)

    def injected(self, number, flow, rings=(60, 95)):
        return Line(
            number,
            f"injected line {number}",
            (6001, 6002),
            False,
            frozenset({30, 50, 100, 300, 600}),
            gpm(flow),
            proportioner_id=6,
            max_feed_lpm=gpm(5.0),
            tests=self.tests(AR_AFFF, at3=300, at6=600),
            rings_lpm=tuple(gpm(ring) for ring in rings),
        )

    def engine_6(self, lines=None, setups=()):
        stock = (
            self.tank(6001, self.lot(601, CLASS_A), 20),
            self.tank(6002, self.lot(602, AR_AFFF), 40, 1.5),
        )
        duties = (self.spill(1, "gasoline", GASOLINE, 600), self.spill(2, "ethanol", ETHANOL, 300))
        lines = lines or (self.injected(61, 60),)
        return self.rig(6, "Engine 6", water=750, containers=stock, lines=lines, duties=duties, setups=setups)

    def engine_7(self):
        sample = Sample(self.days(-125), True)  # 10 February 2026, good through 10 February 2027
        lot = self.lot(701, AR_AFFF, -441, sample)  # maker's date 31 March 2025
        line = self.eductor(71, 60, tests=self.tests(AR_AFFF, at3=300, at6=600))
        duties = (self.spill(1, "gasoline", GASOLINE, 600),)
        stock, checked = self.pails(7001, 8, lot), self.reserve_checked_on
        return self.rig(7, "Engine 7", water=750, containers=stock, lines=(line,), duties=duties, checked_on=checked)

    def foam_tender_1(self):
        line = Line(
            81,
            "monitor",
            (8001,),
            False,
            frozenset({300}),
            gpm(500),
            aspirating=True,
            tests=self.tests(AR_F3, at3=320),
        )
        stock = (self.tank(8001, self.lot(801, AR_F3), 1000, 25),)
        duties = (self.spill(1, "ethanol", ETHANOL, 2000),)
        return self.rig(8, "Foam Tender 1", water=500, containers=stock, lines=(line,), duties=duties)

    def hazmat_1(self, clean=False):
        lot, class_a = self.lot(901, AR_AFFF), self.lot(902, CLASS_A)
        parts = (Part(lot, gal_ml(16)), Part(class_a, gal_ml(4)))
        mixed = Container(9001, "T9001", "tank", parts, mixed=True, sample=Sample(self.days(-60), True))
        whole = Container(9001, "T9001", "tank", (Part(lot, gal_ml(15)),), sample=Sample(self.days(-60), True))
        tests = self.tests(AR_AFFF, at3=300, at6=600)
        line = self.eductor(91, 60, tests=tests)._replace(sources=(9001,))
        stock = (whole if clean else mixed, *self.pails(9002, 4, lot))
        duties = (self.spill(1, "acetone", ACETONE, 200),)
        return self.rig(9, "Hazmat 1", water=750, containers=stock, lines=(line,), duties=duties)

    def crash_1(self, vehicle_band=True):
        line = Line(
            101,
            "turret",
            (10001,),
            False,
            frozenset({300}),
            gpm(750),
            tests=self.tests(AFFF, at3=290),
            vehicle_band=vehicle_band,
        )
        stock = (self.tank(10001, self.lot(1001, AFFF), 210, 5),)
        dry_chemical_kg = to_si(500, "lb")
        duty = AirportDuty(1, "index B", JET_A, to_si(1500, "gal"), dry_chemical_kg, dry_chemical_kg)
        return self.rig(10, "Crash 1", water=1500, containers=stock, lines=(line,), duties=(duty,))

    def foam_trailer_1(self, tow_ready=False):
        line = Line(111, "monitor", (11001,), False, frozenset({300}), gpm(500), tests=self.tests(FP, at3=300))
        stock = (self.tank(11001, self.lot(1101, FP), 330, 15),)
        vehicle = Vehicle(11, "Foam Trailer 1", needs_tow=True, tow_ready=tow_ready)
        duties = (self.spill(1, "gasoline", GASOLINE, 3000),)
        return self.rig(11, "Foam Trailer 1", vehicle=vehicle, containers=stock, lines=(line,), duties=duties)

    def brush_4(self):
        line = Line(121, "booster line", (12001,), False, frozenset({30, 50, 100}), gpm(30))
        stock = (self.tank(12001, self.lot(1201, CLASS_A), 10, 0.5),)
        duty = ClassADuty(1, "wildland", 5, to_si(300, "gal"), 30)
        return self.rig(12, "Brush 4", water=300, containers=stock, lines=(line,), duties=(duty,))

    def kit(self):
        line = self.eductor(131, 30, tests=self.tests(AR_AFFF, at3=300), offered=(100, 300, 600))
        line = line._replace(sources=(13001,), pails=False)
        parts = (Part(self.lot(1301, AR_AFFF), gal_ml(2.5)),)
        stock = (Container(13001, "K13001", "kit", parts, sample=Sample(self.days(-60), True)),)
        duties = (self.spill(1, "gasoline", GASOLINE, 50),)
        return self.rig(13, "Kit on Brush 4", water=300, containers=stock, lines=(line,), duties=duties)

    def ladder_2(self):
        decision = NoDuty("the chief", self.days(230))  # 31 January 2027
        return self.rig(14, "Ladder 2", water=0, no_duty=decision)

    def units(self):
        return (
            self.engine_1(),
            self.engine_2(),
            self.engine_3(),
            self.engine_4(),
            self.engine_5(),
            self.engine_6(),
            self.engine_7(),
            self.foam_tender_1(),
            self.hazmat_1(),
            self.crash_1(),
            self.foam_trailer_1(),
            self.brush_4(),
            self.kit(),
            self.ladder_2(),
        )
