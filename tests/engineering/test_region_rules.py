"""Duties planned by a region's rule: rows M1, M2, R4, R5, A5 and A6 of the published values, in a unit's status."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.judging import judge, working
from readiness.engineering.records import AirportDuty, DeckRule, Listing, Policy, Rate, Spill, TankRule
from readiness.engineering.units import from_si
from tests.engineering.county import AFFF, AR_F3, ETHANOL, GASOLINE, HYDRANT, JET_A, County

COUNTY = County()
ON = Policy(region_packs=frozenset({"airport", "marine", "storage"}))
OFF = Policy()
M2 = DeckRule(480.0, 1000.0, True)


def deck(rule=M2, fuel=GASOLINE, area=32.0 * 180.0, **more):
    return Spill(1, "deck", fuel, area, HYDRANT, rule=rule, **more)


def monitor(concentrate, flow_lpm, litres, **line):
    """The county's foam tender with another flow and so many litres of a concentrate tested at 3 %."""
    rig = COUNTY.foam_tender_1()
    tests = COUNTY.tests(concentrate, at3=300)
    one = rig.lines[0]._replace(flow_lpm=flow_lpm, tests=tests, **line)
    stock = (COUNTY.tank(8001, COUNTY.lot(801, concentrate), litres / 3.785411784),)
    return rig._replace(lines=(one,), containers=stock)


def judged(duty, rig, policy=ON):
    return judge(rig._replace(duties=(duty,)), policy, COUNTY.moment()).answers[0]


def codes(found):
    return {each.code for each in found.deficiencies if each.severity != "note"}


# -- a tanker's deck ---------------------------------------------------------------------------------------------------


def test_m2_in_a_status():
    """Row M2: 3,456 L/min governs (0.6 × 32 × 180); 20 min with inert gas; 3 %: 2,073.6 L."""
    found = judged(deck(), monitor(AFFF, 3456.0, 2100.0))
    assert (found.status, codes(found)) == ("ready", set())
    assert (found.required_lpm, found.duration_min) == (pytest.approx(3456.0), 20.0)
    assert found.textbook_l == pytest.approx(2073.6)
    assert found.need_l == pytest.approx(2073.6)
    assert (found.area_m2, found.binds) == (0.0, "")  # what is asked does not grow with the deck alone


def test_m1_without_inert_gas_it_is_thirty_minutes():
    found = judged(deck(M2._replace(inert_gas=False)), monitor(AFFF, 3456.0, 2100.0))
    assert (found.duration_min, found.status) == (30.0, "not_ready")
    assert found.textbook_l == pytest.approx(3456 * 30 * 0.03)


def test_m1_the_largest_tank_governs_a_narrow_deck():
    """6 × 480 = 2,880 against 0.6 × 1,000 = 600 and 3 × 100 = 300."""
    rule = M2._replace(monitor_area_m2=100.0)
    assert judged(deck(rule, area=1000.0), monitor(AFFF, 3456.0, 2100.0)).required_lpm == pytest.approx(2880.0)


def test_a_listing_that_asks_more_on_the_largest_tank_governs():
    """AR-F3 at 0.16 gpm/ft² is 6.519 L/min/m²: on 480 m² 3,129 L/min, more than 6 × 480."""
    rule = M2._replace(monitor_area_m2=100.0)
    found = judged(deck(rule, area=1000.0), monitor(AR_F3, 3456.0, 3000.0, aspirating=True))
    assert found.required_lpm == pytest.approx(0.16 * 40.745833333 * 480, rel=1e-6)


def test_a_monitor_below_the_code_s_least_is_not_ready():
    """Row M1: a monitor of at least 1,250 L/min."""
    rule, small = DeckRule(50.0, 50.0, True), monitor(AFFF, 1200.0, 2100.0)
    found = judged(deck(rule, area=500.0), small)
    assert (found.status, codes(found)) == ("not_ready", {"monitor_small"})
    assert codes(judged(deck(rule, area=500.0), monitor(AFFF, 1250.0, 2100.0))) == set()


def test_other_liquids_on_a_deck_have_no_rate():
    found = judged(deck(fuel=ETHANOL), monitor(AR_F3, 3456.0, 9000.0, aspirating=True))
    assert (found.status, codes(found)) == ("not_ready", {"no_rule_rate"})


# -- a storage tank ----------------------------------------------------------------------------------------------------


def tank(rule, fuel=GASOLINE, use="direct", area=1000.0, **more):
    return Spill(1, "tank", fuel, area, HYDRANT, use=use, rule=rule, **more)


def listed_for_tanks(concentrate, rate):
    """The concentrate with a listing for tanks, gentle and direct, at so many L/min/m²."""
    row = Listing(300, None if rate is None else Rate(rate, "lpm_m2"), None, False, False, "demo listing, invented")
    more = {(fuel.id, use): row for fuel in (GASOLINE, ETHANOL) for use in ("gentle", "direct")}
    return concentrate._replace(listings={**concentrate.listings, **more})


@pytest.mark.parametrize(
    ("application", "fuel", "use", "rate"),
    [
        ("gentle", GASOLINE, "gentle", 4.0),
        ("indirect", GASOLINE, "direct", 5.0),
        ("direct", GASOLINE, "direct", 7.0),
        ("gentle", ETHANOL, "gentle", 4.0),
        ("indirect", ETHANOL, "direct", 8.0),
        ("direct", ETHANOL, "direct", 15.0),
    ],
)
def test_r5_rates_and_minutes_in_a_status(application, fuel, use, rate):
    """Row R5: not miscible 4, 5, 7 and miscible 4, 8, 15 L/min/m²; 20 min."""
    foam = listed_for_tanks(AR_F3, 1.0)
    found = judged(tank(TankRule(application, False), fuel, use), monitor(foam, 15_000.0, 9000.0))
    assert (found.required_lpm, found.duration_min) == (pytest.approx(1000 * rate), 20.0)
    assert found.textbook_l == pytest.approx(1000 * rate * 20 * 0.03)
    assert found.need_l == pytest.approx(15_000 * 20 * 0.03)


def test_r5_mobile_means_take_longer_on_a_large_tank():
    """Row R5: 10 min more for each 1,000 m² above 2,000 m²: 3,500 m² take 40 min."""
    foam = listed_for_tanks(AFFF, None)
    assert judged(tank(TankRule("direct", True), area=3500.0), monitor(foam, 30_000.0, 9000.0)).duration_min == 40.0


def test_the_listing_goes_first_where_it_asks_more():
    foam = listed_for_tanks(AR_F3, 9.0)
    assert judged(tank(TankRule("direct", False)), monitor(foam, 15_000.0, 9000.0)).required_lpm == pytest.approx(9000)


def test_a_department_s_own_rate_goes_first_where_it_asks_more():
    """12 L/min/m² on 1,000 m² where row R5 asks 7 and the listing 9; a stated 4 does not undercut the code's 7."""
    foam = listed_for_tanks(AR_F3, 9.0)
    duty = tank(TankRule("direct", False), rate=Rate(12.0, "lpm_m2"))
    assert judged(duty, monitor(foam, 15_000.0, 9000.0)).required_lpm == pytest.approx(12_000)
    less = tank(TankRule("direct", False), rate=Rate(4.0, "lpm_m2"))
    rig = monitor(listed_for_tanks(AFFF, None), 15_000.0, 9000.0)
    assert judged(less, rig).required_lpm == pytest.approx(7000)


def test_a_department_s_own_rate_on_the_largest_tank_of_a_deck():
    """8 L/min/m² on 480 m² are 3,840 L/min, more than the 3,456 of row M2."""
    found = judged(deck(rate=Rate(8.0, "lpm_m2")), monitor(AFFF, 4000.0, 9000.0))
    assert found.required_lpm == pytest.approx(3840.0)


def test_r4_fluorine_free_foam_inherits_no_rate_of_a_code():
    """Row R4: never carry a rate over; without a rate of its own it has none."""
    found = judged(tank(TankRule("direct", False)), monitor(listed_for_tanks(AR_F3, None), 15_000.0, 9000.0))
    assert (found.status, codes(found)) == ("not_ready", {"no_listed_rate"})
    film = judged(tank(TankRule("direct", False)), monitor(listed_for_tanks(AFFF, None), 15_000.0, 9000.0))
    assert film.required_lpm == pytest.approx(7000.0)


# -- an airport's category ---------------------------------------------------------------------------------------------


def crash(category=4, water_l=2400.0, flow_lpm=1800.0, **given_):
    rig = COUNTY.crash_1()
    line = rig.lines[0]._replace(flow_lpm=flow_lpm)
    vehicle = rig.vehicle._replace(water_l=given_.pop("aboard_l", 5700.0))
    duty = AirportDuty(1, "category", JET_A, water_l, 0.0, 0.0, category=category)
    return duty, rig._replace(lines=(line,), vehicle=vehicle)


def test_a5_the_table_governs_a_category_s_discharge():
    """Row A5: category 4 takes 2,400 L and 1,800 L/min; by the formula 1,519 L/min would do, and do not."""
    found = judged(*crash())
    assert (found.status, found.required_lpm) == ("ready", pytest.approx(1800.0))
    assert found.need_l == pytest.approx(2 * 2400 * 3 / 97)  # row A6
    short = judged(*crash(flow_lpm=1600.0))
    assert (short.status, codes(short)) == ("not_ready", {"rate_short"})


def test_a5_the_category_s_water_is_the_least():
    """A duty that states 1,000 L for category 5 is held to the table's 5,400."""
    duty, rig = crash(5, water_l=1000.0, flow_lpm=3000.0, aboard_l=5000.0)
    found = judged(duty, rig)
    assert codes(found) == {"airport_water_short"}
    assert found.need_l == pytest.approx(2 * 5400 * 3 / 97)


def test_a_category_that_the_table_does_not_have():
    found = judged(*crash(2))
    assert (found.status, codes(found)) == ("unverified", {"rule_not_stated"})


# -- off, and not stated -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("duty", [deck(), tank(TankRule("direct", False)), crash()[0]])
def test_a_pack_that_is_off_judges_nothing(duty):
    """Unverified, and by the general rules: 0.10 gpm/ft² on a deck, an amount alone at an airport."""
    rig = monitor(listed_for_tanks(AFFF, None), 60_000.0, 60_000.0, vehicle_band=False)
    found = judged(duty, rig._replace(vehicle=rig.vehicle._replace(water_l=6000.0)), OFF)
    assert "pack_off" in codes(found)
    assert found.status in ("unverified", "not_ready")
    assert found.required_lpm != judged(duty, rig).required_lpm


@pytest.mark.parametrize("name", DeckRule._fields)
def test_a_deck_that_is_not_stated_in_full(name):
    found = judged(deck(M2._replace(**{name: None})), monitor(AFFF, 60_000.0, 60_000.0))
    assert (found.status, codes(found)) == ("unverified", {"rule_not_stated"})


@pytest.mark.parametrize("rule", [TankRule("", True), TankRule("direct", None)])
def test_a_tank_that_is_not_stated_in_full(rule):
    found = judged(tank(rule), monitor(listed_for_tanks(AFFF, None), 60_000.0, 60_000.0))
    assert "rule_not_stated" in codes(found)


@pytest.mark.parametrize("duty", [deck(), tank(TankRule("direct", False)), crash()[0]])
def test_its_working_names_the_rule(duty):
    rig = monitor(listed_for_tanks(AFFF, None), 60_000.0, 60_000.0)._replace(duties=(duty,))
    sources = " ".join(step.source for step in working(rig, ON, COUNTY.moment(), 1))
    assert "FSS Code" in sources or "Arrêté" in sources


@given(st.floats(10, 20_000), st.floats(1, 5000), st.floats(1, 5000), st.booleans())
def test_a_deck_never_asks_less_than_each_of_its_three(area, tank_m2, monitor_m2, inert):
    found = judged(deck(DeckRule(tank_m2, monitor_m2, inert), area=area), monitor(AFFF, 5000.0, 2100.0))
    for least in (0.6 * area, 6 * tank_m2, 3 * monitor_m2):
        assert found.required_lpm >= least * (1 - 1e-9)
    assert from_si(found.textbook_l, "L") == pytest.approx(found.required_lpm * (20 if inert else 30) * 0.03)


@pytest.mark.parametrize(
    ("own", "minutes", "whose"), [(None, 20, "FSS Code"), (15.0, 20, "FSS Code"), (45.0, 45, "the duty’s own time")]
)
def test_the_working_shows_the_minutes_that_count_and_whose_they_are(own, minutes, whose):
    """Row M1: 20 min with inert gas; a duty planned for longer is worked for longer."""
    duty = deck(minutes=own)
    rig = monitor(AFFF, 3456.0, 5000.0)
    (step,) = [
        each for each in working(rig._replace(duties=(duty,)), ON, COUNTY.moment(), duty.id) if each.label == "Minutes"
    ]
    assert step.result == minutes == judged(duty, rig).duration_min
    assert whose in step.source
    assert step.numbers[0] == ("code", 20.0, "min")


def test_the_working_of_a_tank_shows_its_minutes_too():
    """Row R5: 20 min by fixed means; planned for 60."""
    duty, foam = tank(TankRule("direct", False))._replace(minutes=60.0), listed_for_tanks(AFFF, None)
    steps = working(monitor(foam, 15_000.0, 40_000.0)._replace(duties=(duty,)), ON, COUNTY.moment(), duty.id)
    assert [(each.result, each.source) for each in steps if each.label == "Minutes"] == [(60.0, "the duty’s own time")]
