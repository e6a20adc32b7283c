"""The county worked by hand, figure by figure, as printed. Arithmetic and notes stand in the two tables it reads."""

import csv
from collections import Counter
from datetime import date, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from pathlib import Path

import pytest

from readiness.engineering import showing
from readiness.engineering.judging import judge
from readiness.engineering.records import Policy
from readiness.engineering.units import from_si, to_si
from tests.engineering.county import D0, HYDRANT, County, gal_ml

EXAMPLES = Path(__file__).parents[2] / "fixtures" / "worked_examples"
POLICY = Policy()
PAIL_L = gal_ml(5) / 1000
ROUNDINGS = {"nearest": ROUND_HALF_EVEN, "down": ROUND_FLOOR, "up": ROUND_CEILING}
SHIFTS = (0, 400)


def rows(name):
    with (EXAMPLES / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


FIGURES = rows("county_units.csv")
STATUSES = rows("county_statuses.csv")

# figure → (value in SI from the answer, unit it is converted to from SI)
EXACT = {
    "required": lambda a: a.required_lpm,
    "textbook": lambda a: a.textbook_l,
    "need": lambda a: a.need_l,
    "usable": lambda a: a.usable_l,
    "short": lambda a: a.short_l,
    "share": lambda a: 100 * a.share,
    "minutes": lambda a: a.minutes,
    "own_water": lambda a: a.own_water_min,
    "water_total": lambda a: a.water_l,
    "area_by_rate": lambda a: a.area_by_rate_m2,
    "area_by_stock": lambda a: a.area_by_stock_m2,
    "rate_short": lambda a: a.rate_short_lpm,
    "rate_share": lambda a: 100 * a.flow_lpm / a.required_lpm,
    "back_pressure_share": lambda a: 100 * a.back_pressure_share,
    "longest": lambda a: a.longest_m,
    "concentrate_flow": lambda a: a.draw_lpm,
    "seconds_a_pail": lambda a: showing.pail_seconds(a, PAIL_L),
    "hands": lambda a: showing.hands(a, PAIL_L),
    "as_set_draw": lambda a: a.as_set.draw_l,
    "tankfuls": lambda a: a.tankfuls,
    "need_in_pails": lambda a: a.need_l / PAIL_L,
    "fills": lambda a: a.need_l / (gal_ml(2.5) / 1000),
}
WITH_TOLERANCE = {
    "usable": lambda a: showing.from_stock(a.usable_l, a),
    "share": lambda a: 100 * showing.share(a),
    "minutes": showing.minutes,
    "area_by_stock": showing.area_by_stock_m2,
}


def printed(row, answer):
    """The figure rounded to as many digits as the county prints."""
    read = EXACT[row["figure"]]
    if row["rounding"] == "down":
        read = WITH_TOLERANCE.get(row["figure"], read)
    value = read(answer)
    if row["shown_in"] not in ("", "%", "s"):
        value = from_si(value, row["shown_in"])
    # ten significant digits: what floats leave behind is no digit anybody printed
    exact = Decimal(f"{value:.10g}")
    return exact.quantize(Decimal(row["expected"]), rounding=ROUNDINGS[row["rounding"]])


@pytest.fixture(scope="module", params=SHIFTS, ids=["at D0", "D0 moved by 400 days"])
def judged(request):
    county = County(D0 + timedelta(days=request.param))
    return {rig.unit_id: judge(rig, POLICY, county.moment()) for rig in county.units()}


@pytest.mark.parametrize("row", FIGURES, ids=lambda row: f"{row['unit']}-{row['duty']}-{row['figure']}")
def test_each_printed_figure(row, judged):
    answer = next(each for each in judged[int(row["unit"])].answers if each.duty_id == int(row["duty"]))
    assert printed(row, answer) == Decimal(row["expected"]), row["arithmetic"]


@pytest.mark.parametrize("row", STATUSES, ids=lambda row: row["name"])
def test_each_status(row, judged):
    assert judged[int(row["unit"])].status == row["status_at_d0"]


def test_the_split(judged):
    """Worked county: ready 4, limited 2, unverified 1, not ready 6, no duty 1."""
    split = Counter(verdict.status for verdict in judged.values())
    assert split == {"ready": 4, "limited": 2, "unverified": 1, "not_ready": 6, "no_foam_duty": 1}


@pytest.mark.parametrize("shift", SHIFTS)
@pytest.mark.parametrize("row", STATUSES, ids=lambda row: row["name"])
def test_thirtieth_of_september_and_the_day_after(row, shift):
    """D0 + 107 days and the next, every unit checked that morning: only Engine 1 falls, Engine 7 is checked again."""
    d0 = D0 + timedelta(days=shift)
    for days, column in ((107, "status_30_sep"), (108, "status_1_oct")):
        day = d0 + timedelta(days=days)
        county = County(d0, checked_on=day, reserve_checked_on=day)
        rig = county.units()[int(row["unit"]) - 1]
        assert judge(rig, POLICY, county.moment(days)).status == row[column], column


def test_without_new_checks_nothing_is_ready_on_the_thirtieth_of_september():
    """The morning check's limit is a day: 107 days later ready and limited alike are unverified."""
    county = County()
    split = Counter(judge(rig, POLICY, county.moment(107)).status for rig in county.units())
    assert split == {"unverified": 7, "not_ready": 6, "no_foam_duty": 1}


@pytest.mark.parametrize("row", [row for row in STATUSES if row["holds_until"]], ids=lambda row: row["name"])
def test_holds_until(row):
    county = County()
    verdict = judge(county.units()[int(row["unit"]) - 1], POLICY, county.moment())
    assert verdict.holds_until == date.fromisoformat(row["holds_until"])


def one(rig, duty=1):
    county = County()
    return next(a for a in judge(rig, POLICY, county.moment()).answers if a.duty_id == duty)


def codes(answer):
    return {fault.code for fault in answer.deficiencies}


def test_engine_1_on_the_first_of_october_is_short_by_9_175_gal():
    """County: usable 35, short 9.175 (44.175 − 35)."""
    county = County(checked_on=D0 + timedelta(days=108))
    answer = judge(county.engine_1(), POLICY, county.moment(108)).answers[0]
    assert from_si(answer.usable_l, "gal") == pytest.approx(35, abs=0.001)
    assert from_si(answer.short_l, "gal") == pytest.approx(9.175, abs=0.001)


def test_engine_2_carries_the_wrong_foam_for_e85():
    assert codes(one(County().engine_2(), 2)) == {"wrong_foam"}


def test_engine_2_refilled_with_3x6_would_not_cure():
    """60 gpm × 6 % = 3.6 gpm > 3.0: the pump makes 5.0 %."""
    county = County()
    rig = county.engine_2()
    refilled = rig._replace(
        containers=(county.tank(2001, county.lot(299, county_ar_afff()), 30, 1),),
        lines=(rig.lines[0]._replace(tests=county.tests(county_ar_afff(), at3=300, at6=600)),),
    )
    lean = next(fault for fault in one(refilled, 2).deficiencies if fault.code == "feed_lean")
    assert lean.measured == pytest.approx(500)


def county_ar_afff():
    from tests.engineering.county import AR_AFFF

    return AR_AFFF


def test_engine_3_is_to_be_turned_to_6_and_would_be_lean():
    as_set = one(County().engine_3()).as_set
    assert (as_set.setting, as_set.turn_to, as_set.lean) == (300, 600, True)


def test_engine_4_with_a_second_set_covers():
    """190 × .03 × 15 = 85.5 ≤ 100: 17.5 min, 52.6 s a pail."""
    answer = one(County().engine_4(sets=2))
    assert answer.status == "ready"
    assert from_si(answer.need_l, "gal") == pytest.approx(85.5)
    assert answer.minutes == pytest.approx(17.54, abs=0.01)
    assert showing.pail_seconds(answer, PAIL_L) == pytest.approx(52.63, abs=0.01)


@pytest.mark.parametrize(("feet", "tip_psi", "share"), [(100, 100, 62.1), (150, 75, 55.7)])
def test_engine_5_cured_by_dropping_a_length_or_by_a_softer_tip(feet, tip_psi, share):
    answer = one(County().engine_5(feet, tip_psi))
    assert answer.status == "ready"
    assert answer.minutes == pytest.approx(16.0, abs=0.001)
    assert round(100 * answer.back_pressure_share, 1) == share


def test_engine_6_at_ring_95_is_lean_at_6_percent():
    """95 gpm × 6 % = 5.7 > 5.0: 5.26 %."""
    county = County()
    answer = one(county.engine_6(lines=(county.injected(61, 95, rings=()),)), 2)
    lean = next(fault for fault in answer.deficiencies if fault.code == "feed_lean")
    assert lean.measured == pytest.approx(526, abs=0.5)


def test_engine_6_with_two_lines_at_95_is_lean_on_both():
    """Two 95s at 3 % on one 5.0 gpm pump: 2.63 % (row B2)."""
    county = County()
    lines = (county.injected(61, 95, rings=()), county.injected(62, 95, rings=()))
    answer = one(county.engine_6(lines=lines, setups=((61, 62),)), 1)
    lean = next(fault for fault in answer.deficiencies if fault.code == "feed_lean")
    assert lean.measured == pytest.approx(263, abs=0.5)
    assert answer.status == "not_ready"


def test_hazmat_1_with_a_clean_tank_is_still_short():
    """Clean tank 15 (county: 35 usable), still short 19."""
    answer = one(County().hazmat_1(clean=True))
    assert from_si(answer.usable_l, "gal") == pytest.approx(35, abs=0.001)
    assert from_si(answer.short_l, "gal") == pytest.approx(19, abs=0.001)


def test_removing_the_mixed_tank_improves_the_list_of_findings():
    county = County()
    rig = county.hazmat_1()
    without = rig._replace(containers=rig.containers[1:])
    before, after = (judge(each, POLICY, county.moment()) for each in (rig, without))
    assert "mixed" in {each.code for each in before.deficiencies}
    assert len(after.deficiencies) < len(before.deficiencies)
    assert after.answers[0].usable_l == before.answers[0].usable_l


def test_crash_1_fails_by_the_engine_band_and_passes_by_the_vehicle_band():
    """2.9 % passes 2.8 to 3.5 and fails 3.0 to 3.9."""
    assert codes(one(County().crash_1(vehicle_band=False))) == {"test_lean"}
    assert one(County().crash_1()).status == "ready"


def test_crash_1_a_pound_of_dry_chemical_short():
    county = County()
    rig = county.crash_1()
    duty = rig.duties[0]._replace(other_agent_kg=to_si(499, "lb"))
    assert codes(one(rig._replace(duties=(duty,)))) == {"other_agent_short"}


def test_foam_trailer_with_a_tow_is_ready():
    county = County()
    assert judge(county.foam_trailer_1(tow_ready=True), POLICY, county.moment()).status == "ready"


def test_engine_1_without_a_hydrant_is_limited():
    """Own water lasts 8.15 of 15 minutes."""
    county = County()
    rig = county.engine_1()
    spill = rig.duties[0]._replace(supply=HYDRANT._replace(kind="none"))
    answer = one(rig._replace(duties=(spill,)))
    assert (answer.status, codes(answer)) == ("limited", {"no_named_water"})
