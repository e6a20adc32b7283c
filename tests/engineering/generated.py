"""A fleet made by chance from a seed, with the equalities that a judge gets wrong sown among it.

The same seed gives the same fleet on every machine. Every tenth rig is one of the sown ones: stock equal to the need to
the millilitre, a 6 % line that tests at exactly 7.0 %, nine pails against 45.00 gal.
"""

import random
from datetime import UTC, date, datetime, timedelta

from readiness.engineering.hydraulics import hose
from readiness.engineering.records import (
    AirportDuty,
    ClassADuty,
    Container,
    Lay,
    Line,
    LineTest,
    Lot,
    Moment,
    Part,
    Policy,
    Rig,
    Sample,
    Spill,
    Supply,
    Vehicle,
)
from readiness.engineering.units import to_ml, to_si
from tests.engineering.county import (
    ACETONE,
    AFFF,
    AR_AFFF,
    AR_F3,
    CLASS_A,
    DIESEL,
    ETHANOL,
    FP,
    GASOLINE,
    GASOLINE_E10,
    JET_A,
)

DAY = date(2026, 6, 15)
MOMENT = Moment(datetime(2026, 6, 15, 6, tzinfo=UTC), DAY)
CONCENTRATES = (AFFF, AR_AFFF, AR_AFFF, AR_AFFF, AR_AFFF, AR_F3, FP, CLASS_A)
FUELS = (GASOLINE, GASOLINE, GASOLINE_E10, DIESEL, ETHANOL, ACETONE)
POLICIES = (
    Policy(),
    Policy(rich_end="short", opened_limit_d=200),
    Policy(add_concentrates=True, plain_on_e10="limited", unit_hold_back=2000),
    Policy(dead_band_ml=500, opened_limit_d=90, sample_interval_d=180),
)


def _day(chance, low=-200, high=900):
    return DAY + timedelta(days=chance.randint(low, high))


def _sample(chance, share=0.3):
    if chance.random() > share:
        return None
    return Sample(_day(chance, -420, -1), chance.random() > 0.1)


def _lot(chance, number, concentrate):
    makers = None if chance.random() < 0.1 else _day(chance)
    return Lot(number, f"B{number}", concentrate, makers, _sample(chance), chance.random() < 0.02)


def _pail(chance, number, lot):
    ml = chance.choice((18_927, 18_927, 18_927, 9_464))
    opened = chance.random() < 0.15
    return Container(
        number,
        f"P{number}",
        "pail",
        (Part(lot, ml),),
        quarantined=chance.random() < 0.02,
        sealed=not opened,
        opened_on=_day(chance, -300, -1) if opened and chance.random() < 0.8 else None,
        place_low_c=chance.choice((None, None, 5.0)),
    )


def _tank(chance, number, lots):
    parts = tuple(Part(lot, chance.randint(10_000, 200_000)) for lot in lots)
    book = sum(part.ml for part in parts)
    reading = None if chance.random() < 0.6 else book + chance.randint(-9_000, 2_000)
    return Container(
        number,
        f"T{number}",
        "tank",
        parts,
        chance.choice((0, 3_785)),
        reading,
        _day(chance, -30, -1) if reading is not None else None,
        2_000,
        mixed=chance.random() < 0.04,
        diluted=chance.random() < 0.02,
        sample=_sample(chance, 0.6),
    )


def _tests(chance, concentrates):
    tests = []
    for concentrate in {each.id: each for each in concentrates}.values():
        for setting in (300, 600):
            if chance.random() < 0.85:
                measured = setting + chance.choice((0, 0, 0, 10, 20, 30, 60, 100, -10))
                tests.append(LineTest(concentrate.id, setting, measured, _day(chance, -420, -1)))
    return tuple(tests)


def _line(chance, number, tanks, pails, concentrates):
    flow = to_si(chance.choice((60, 95, 125)), "gpm")
    eductor = pails and chance.random() < 0.8
    lay = Lay(to_si(200, "psi"), to_si(100, "psi"), (hose("1.75", chance.choice((30.48, 45.72, 60.96))),))
    rings = () if eductor or chance.random() < 0.7 else (to_si(60, "gpm"), to_si(95, "gpm"))
    return Line(
        number,
        f"line {number}",
        tanks,
        pails,
        frozenset({30, 300, 600}) if chance.random() < 0.9 else frozenset({300}),
        flow,
        proportioner_id=0 if eductor else 1,
        max_feed_lpm=None if eductor else to_si(chance.choice((3.0, 5.0, 8.0)), "gpm"),
        aspirating=chance.random() < 0.6,
        parked=chance.choice((None, None, 300)),
        present=chance.choice((None, 300, 300, 600)),
        tests=_tests(chance, concentrates),
        rated_lpm=flow if eductor else None,
        rings_lpm=rings,
        lay=lay if eductor and chance.random() < 0.7 else None,
        flushed=chance.random() > 0.05,
    )


def _duty(chance, number):
    kind = chance.random()
    if kind < 0.08:
        return AirportDuty(number, f"index {number}", JET_A, to_si(chance.choice((300, 1500)), "gal"), 226.8, 226.8)
    if kind < 0.16:
        return ClassADuty(number, f"tankfuls {number}", chance.randint(1, 8), to_si(300, "gal"), 30)
    fuel = chance.choice(FUELS)
    area = to_si(chance.choice((100, 100, 200, 200, 400, 400, 600, 900, 950, 1250)), "ft2")
    supply = chance.choice((*[Supply("hydrant")] * 6, Supply("hydrant", to_si(60, "gpm")), Supply("none")))
    return Spill(number, f"spill {number}", fuel, area, supply)


def generated_rig(chance, number):
    """One rig by chance: one or two tanks, a few pails, one to three lines, one to three duties."""
    kinds = [chance.choice(CONCENTRATES) for _ in range(2)]
    lots = [_lot(chance, number * 100 + i, chance.choice(kinds)) for i in range(4)]
    tanks = []
    for i in range(chance.randint(0, 2)):
        alike = [lot for lot in lots if lot.concentrate.id == lots[i].concentrate.id]
        tanks.append(_tank(chance, number * 1000 + i, alike[: chance.randint(1, 2)]))
    pails = [_pail(chance, number * 1000 + 10 + i, chance.choice(lots)) for i in range(chance.randint(0, 10))]
    tank_ids = tuple(tank.id for tank in tanks)
    lines = tuple(
        _line(chance, i + 1, tank_ids if chance.random() < 0.7 else tank_ids[:1], chance.random() < 0.7, kinds)
        for i in range(chance.randint(1, 3))
    )
    together = (*((line.id,) for line in lines), tuple(line.id for line in lines[:2]))
    return Rig(
        number,
        f"Engine {number}",
        Vehicle(
            number, f"Shop {number}", chance.choice((None, 1_892.7, 2_839.1, 5_678.1)), chance.choice((None, 3_785.0))
        ),
        tuple(tanks + pails),
        lines,
        tuple(_duty(chance, i + 1) for i in range(chance.randint(1, 3))),
        together if len(lines) > 1 and chance.random() < 0.4 else (),
        chance.choice((None, None, 1)),
        MOMENT.at,
    )


def _plain_rig(number, containers, test, area_ft2, fuel):
    """A rig with one untroubled 95-gpm line, for the sown equalities."""
    flow = to_si(95, "gpm")
    line = Line(1, "line 1", (number * 1000,), True, frozenset({300, 600}), flow, rated_lpm=flow, tests=(test,))
    spill = Spill(1, "spill 1", fuel, to_si(area_ft2, "ft2"), Supply("hydrant"))
    return Rig(
        number,
        f"Engine {number}",
        Vehicle(number, f"Shop {number}", 2_839.1),
        containers,
        (line,),
        (spill,),
        checked_at=MOMENT.at,
    )


def equal_to_the_millilitre(number):
    """95 gpm × 3 % × 15 min = 42.75 gal = 161,826.35 ml, in a tank of 161,826 ml: enough."""
    lot = Lot(number, "B", AR_AFFF, DAY + timedelta(days=300), None, False)
    tank = Container(number * 1000, "T", "tank", (Part(lot, to_ml(42.75, "gal")),))
    return _plain_rig(number, (tank,), LineTest(AR_AFFF.id, 300, 300, DAY), 900, GASOLINE)


def seven_percent_at_six(number):
    """A 6 % line that tests at 7.0 % passes (row P1), and draws 95 × .07 × 15 = 99.75 gal."""
    lot = Lot(number, "B", AR_AFFF, DAY + timedelta(days=300), None, False)
    tank = Container(number * 1000, "T", "tank", (Part(lot, to_ml(99.75, "gal")),))
    return _plain_rig(number, (tank,), LineTest(AR_AFFF.id, 600, 700, DAY), 400, ETHANOL)


def nine_pails_for_45_gal(number):
    """1,000 ft² at 0.10 gpm/ft² × 3 % × 15 min = 45.00 gal, in nine pails.

    1,000 ft² asks for 100 gpm, so the line is a 100-gpm one: 100 × .03 × 15 = 45.00 gal = 170,343.53 ml; nine pails are
    170,343 ml.
    """
    lot = Lot(number, "B", AR_AFFF, DAY + timedelta(days=300), None, False)
    pails = tuple(Container(number * 1000 + i, f"P{i}", "pail", (Part(lot, 18_927),)) for i in range(9))
    rig = _plain_rig(number, pails, LineTest(AR_AFFF.id, 300, 300, DAY), 1000, GASOLINE)
    hundred = to_si(100, "gpm")
    return rig._replace(lines=(rig.lines[0]._replace(flow_lpm=hundred, rated_lpm=hundred),))


SOWN = (equal_to_the_millilitre, seven_percent_at_six, nine_pails_for_45_gal)


def fleet(count, seed):
    """``count`` rigs with their policies: (rig, policy) pairs."""
    chance = random.Random(seed)
    made = []
    for number in range(1, count + 1):
        sow = number % 10 == 0
        rig = SOWN[number // 10 % len(SOWN)](number) if sow else generated_rig(chance, number)
        made.append((rig, POLICIES[0] if sow else chance.choice(POLICIES)))
    return made
