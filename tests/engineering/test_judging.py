"""The judge on single rules: the unit itself, setups and sharing, water, hold-back, dates, working. By hand."""

from datetime import timedelta

import pytest

from readiness.engineering.judging import judge, working
from readiness.engineering.records import (
    AirportDuty,
    Container,
    Listing,
    Lot,
    NoDuty,
    Part,
    Policy,
    Rate,
    Sample,
    Spill,
    Supply,
)
from readiness.engineering.units import from_si, to_ml, to_si
from tests.engineering.county import (
    AFFF,
    AR_AFFF,
    D0,
    DIESEL,
    ETHANOL,
    GASOLINE,
    GASOLINE_E10,
    HYDRANT,
    JET_A,
    County,
    ft2,
    gal_ml,
    gpm,
)

POLICY = Policy()
COUNTY = County()
NOW = COUNTY.moment()
SOON = timedelta(days=1)


def codes(verdict):
    return {fault.code for fault in verdict.deficiencies if fault.severity != "note"}


def verdict_of(rig, policy=POLICY, moment=NOW):
    return judge(rig, policy, moment)


# the unit itself


@pytest.mark.parametrize(
    ("change", "code", "status"),
    [
        ({"state": "out"}, "out_of_service", "not_ready"),
        ({"vehicle": None}, "no_vehicle", "not_ready"),
        ({"duties": ()}, "no_design_spill", "unverified"),
        ({"lines": ()}, "no_line", "not_ready"),
        ({"containers": ()}, "no_stock", "not_ready"),
        ({"checked_at": None}, "check_never", "unverified"),
    ],
)
def test_never_ready_without(change, code, status):
    """A unit with no design spill, no line, no stock or no check is never ready, nor one out of service."""
    assert verdict_of(COUNTY.engine_1()).status == "ready"
    verdict = verdict_of(COUNTY.engine_1()._replace(**change))
    assert code in codes(verdict)
    assert verdict.status == status


def test_containers_that_hold_nothing_are_no_stock():
    rig = COUNTY.engine_1()
    empty = rig._replace(containers=(Container(1, "P1", "pail", ()),))
    assert "no_stock" in codes(verdict_of(empty))


def test_a_vehicle_out_of_service():
    rig = COUNTY.engine_1()
    down = rig._replace(vehicle=rig.vehicle._replace(in_service=False))
    assert (verdict_of(down).status, codes(verdict_of(down))) == ("not_ready", {"vehicle_out_of_service"})


@pytest.mark.parametrize(
    ("tow", "driver", "code"),
    [(False, None, "no_tow"), (None, None, "no_tow"), (True, False, "no_driver"), (True, None, None)],
)
def test_a_trailer_needs_a_tow_unit_and_a_driver(tow, driver, code):
    rig = COUNTY.foam_trailer_1()
    verdict = verdict_of(rig._replace(vehicle=rig.vehicle._replace(tow_ready=tow, driver_ready=driver)))
    assert codes(verdict) == ({code} if code else set())


def test_a_check_is_good_for_its_interval_to_the_second():
    rig = COUNTY.engine_1()
    day_old = rig._replace(checked_at=NOW.at - timedelta(hours=24))
    assert verdict_of(day_old).status == "ready"
    assert codes(verdict_of(rig._replace(checked_at=NOW.at - timedelta(hours=24, seconds=1)))) == {"check_overdue"}


def test_a_reserve_is_checked_weekly():
    rig = COUNTY.engine_1()._replace(checked_at=NOW.at - timedelta(days=7), state="reserve")
    assert verdict_of(rig).status == "ready"
    assert verdict_of(rig._replace(checked_at=NOW.at - timedelta(days=7, seconds=1))).status == "unverified"


def test_the_checks_own_rhythm_is_shown_apart():
    """Left out of holds-until: it would always be tomorrow."""
    verdict = verdict_of(COUNTY.engine_1())
    assert verdict.check_good_until == NOW.at + timedelta(hours=24)
    assert verdict.holds_until == D0 + timedelta(days=107)


def test_no_duty_until_its_review_and_unverified_after():
    rig = COUNTY.ladder_2()
    last = rig.no_duty.review_on
    assert verdict_of(rig, moment=COUNTY.moment((last - D0).days)).status == "no_foam_duty"
    after = verdict_of(rig, moment=COUNTY.moment((last - D0).days + 1))
    assert (after.status, codes(after)) == ("unverified", {"no_duty_review"})
    assert verdict_of(rig._replace(no_duty=NoDuty("the chief", None))).status == "unverified"


def test_an_accepted_deficiency_keeps_its_severity():
    rig = COUNTY.engine_3()
    accepted = verdict_of(rig._replace(accepted=frozenset({("setting_not_parked", "line", 31)})))
    assert accepted.status == "limited"
    assert [fault.code for fault in accepted.deficiencies if fault.accepted] == ["setting_not_parked"]


def test_the_worst_spill_decides_and_each_is_shown():
    verdict = verdict_of(COUNTY.engine_6())
    assert [answer.status for answer in verdict.answers] == ["ready", "not_ready"]
    assert verdict.status == "not_ready"


# foam and fuel


def spilled(rig, **change):
    return rig._replace(duties=(rig.duties[0]._replace(**change),))


def test_foam_is_not_the_agent():
    gas = GASOLINE._replace(not_foam="gas under pressure burns on above any blanket")
    verdict = verdict_of(spilled(COUNTY.engine_1(), fuel=gas))
    assert (verdict.status, codes(verdict)) == ("not_ready", {"not_foam"})
    assert verdict.answers[0].textbook_l == 0.0


def test_polar_in_depth_has_no_listed_rate():
    """County S5: spill rate would say 180 gpm, 240 gal, "covered": wrong."""
    verdict = verdict_of(spilled(COUNTY.engine_3(), use="depth"))
    assert (verdict.status, codes(verdict)) == ("not_ready", {"no_listed_rate"})


def test_a_dike_is_judged_by_its_own_rate_and_minutes():
    """County S6: 320 gpm × 30 min × 3 % = 288 gal; the monitor really flows 500: 450, short 135, dry at 21 min."""
    answer = verdict_of(spilled(COUNTY.foam_trailer_1(tow_ready=True), use="depth", area_m2=ft2(2000))).answers[0]
    assert (answer.status, answer.duration_min) == ("limited", 30)
    assert from_si(answer.required_lpm, "gpm") == pytest.approx(320)
    assert from_si(answer.textbook_l, "gal") == pytest.approx(288)
    assert from_si(answer.need_l, "gal") == pytest.approx(450)
    assert from_si(answer.short_l, "gal") == pytest.approx(135, abs=0.001)
    assert answer.minutes == pytest.approx(21, abs=0.001)


def test_a_350_gpm_tip_is_just_enough():
    """County S6: 350 × 30 × .03 = 315.0 of 315.0."""
    rig = COUNTY.foam_trailer_1(tow_ready=True)
    tip = rig._replace(lines=(rig.lines[0]._replace(flow_lpm=gpm(350)),))
    assert verdict_of(spilled(tip, use="depth", area_m2=ft2(2000))).status == "ready"


def with_stock(rig, concentrate, gallons):
    part = Part(Lot(1, "B1", concentrate, D0 + timedelta(days=900), None, False), gal_ml(gallons))
    return rig._replace(containers=(Container(1, "T1", "tote", (part,)),))


def test_a_listing_by_group_only_is_unverified():
    listing = Listing(300, Rate(0.1, "gpm_ft2"), 15, False, False, "invented")
    by_group = AR_AFFF._replace(listings={("hydrocarbon", "spill"): listing})
    verdict = verdict_of(with_stock(COUNTY.engine_1(), by_group, 60))
    assert (verdict.status, codes(verdict)) == ("unverified", {"listing_by_group"})


def test_plain_film_forming_on_e10_is_limited_by_policy():
    listing = AFFF.listings[GASOLINE.id, "spill"]
    plain = AFFF._replace(listings={(GASOLINE_E10.id, "spill"): listing})
    rig = with_stock(COUNTY.engine_1(), plain, 60)
    rig = rig._replace(lines=(rig.lines[0]._replace(tests=COUNTY.tests(AFFF, at3=310)),))
    assert codes(verdict_of(rig)) == {"wrong_foam"}
    by_policy = verdict_of(rig, Policy(plain_on_e10="limited"))
    assert (by_policy.status, codes(by_policy)) == ("limited", {"plain_on_e10"})


def test_the_greater_of_the_departments_and_the_listings_rate():
    rig = COUNTY.engine_1()
    more = verdict_of(spilled(rig, rate=Rate(0.105, "gpm_ft2"))).answers[0]
    less = verdict_of(spilled(rig, rate=Rate(0.05, "gpm_ft2"))).answers[0]
    assert from_si(more.required_lpm, "gpm") == pytest.approx(94.5)
    assert from_si(less.required_lpm, "gpm") == pytest.approx(90)


def test_minutes_are_never_less_than_the_listings():
    rig = COUNTY.engine_1()
    assert verdict_of(spilled(rig, minutes=10)).answers[0].duration_min == 15
    assert verdict_of(spilled(rig, minutes=20)).answers[0].duration_min == 20


def test_a_monitors_stated_loss_in_wind():
    """480 gpm and 10 % is 528 > 500: rate short."""
    rig = COUNTY.foam_tender_1()
    windy = rig._replace(lines=(rig.lines[0]._replace(wind_loss=1000),))
    verdict = verdict_of(windy)
    assert codes(verdict) == {"rate_short"}
    assert from_si(verdict.answers[0].required_lpm, "gpm") == pytest.approx(528)


def test_a_spill_without_an_area_proves_nothing():
    assert verdict_of(spilled(COUNTY.engine_1(), area_m2=0.0)).status == "unverified"


def test_a_line_without_a_flow_covers_nothing():
    rig = COUNTY.engine_2()
    dead = rig._replace(lines=(rig.lines[0]._replace(flow_lpm=0.0, present=600, parked=600),), duties=rig.duties[:1])
    assert verdict_of(dead).status == "not_ready"


# source, setups, sharing


def test_pails_do_not_feed_an_injection_system():
    rig = COUNTY.engine_2()
    pails = COUNTY.pails(1, 20, COUNTY.lot(1, AFFF))
    verdict = verdict_of(rig._replace(containers=pails, duties=rig.duties[:1]))
    assert (verdict.status, codes(verdict)) == ("not_ready", {"no_reach"})


def test_a_tank_feeds_an_eductor_only_through_a_draw_off():
    rig = COUNTY.engine_1()
    tank = COUNTY.tank(77, COUNTY.lot(1, AR_AFFF), 60)
    assert codes(verdict_of(rig._replace(containers=(tank,)))) == {"no_reach"}
    drawn = rig.lines[0]._replace(sources=(77,))
    assert verdict_of(rig._replace(containers=(tank,), lines=(drawn,))).status == "ready"


def two_lines(*, one_pails, other_sources, containers, area=1600):
    """Two 95-gpm lines run together on 1,600 ft² of gasoline: 160 gpm of 190; need 190 × .03 × 15 = 85.5 gal."""
    tests = COUNTY.tests(AR_AFFF, at3=300, at6=600)
    one = COUNTY.eductor(1, 95, tests=tests)._replace(pails=one_pails, sources=() if one_pails else other_sources)
    other = COUNTY.eductor(2, 95, tests=tests)._replace(pails=False, sources=other_sources)
    duties = (Spill(1, "gasoline", GASOLINE, ft2(area), HYDRANT),)
    return COUNTY.rig(
        20, "Engine 20", water=750, containers=containers, lines=(one, other), duties=duties, setups=((1, 2),)
    )


def test_two_lines_on_one_tank_share_it():
    tank = (COUNTY.tank(77, COUNTY.lot(1, AR_AFFF), 80),)
    answer = verdict_of(two_lines(one_pails=False, other_sources=(77,), containers=tank)).answers[0]
    assert from_si(answer.usable_l, "gal") == pytest.approx(80, abs=0.001)
    assert from_si(answer.need_l, "gal") == pytest.approx(85.5)
    assert answer.status == "limited"  # textbook 160 × .03 × 15 = 72 ≤ 80 < 85.5


def test_lines_run_together_last_as_long_as_the_one_that_dries_first():
    """Line 1 has 20 pails (100 gal), line 2 a tank of 20 gal at 2.85 gpm: dry at 7.02 min, worth 40 gal together."""
    stock = (COUNTY.tank(77, COUNTY.lot(1, AR_AFFF), 20), *COUNTY.pails(1, 20, COUNTY.lot(1, AR_AFFF)))
    answer = verdict_of(two_lines(one_pails=True, other_sources=(77,), containers=stock)).answers[0]
    assert from_si(answer.usable_l, "gal") == pytest.approx(40, abs=0.001)
    assert answer.minutes == pytest.approx(20 / 2.85, abs=0.001)
    assert answer.status == "not_ready"


def test_the_pump_bounds_lines_run_together():
    rig = COUNTY.engine_4(sets=2)
    weak = rig._replace(vehicle=rig.vehicle._replace(pump_lpm=gpm(110)))
    verdict = verdict_of(weak)
    assert codes(verdict) == {"rate_short"}
    assert from_si(verdict.answers[0].flow_lpm, "gpm") == pytest.approx(110)


def test_the_vehicles_concentrate_feed_bounds_injection_lines():
    """2 × 60 gpm × 3 % = 3.6 gpm of 3.0 for the vehicle: 2.5 %."""
    lines = tuple(COUNTY.injected(60 + i, 60, rings=())._replace(proportioner_id=0) for i in (1, 2))
    rig = COUNTY.engine_6(lines=lines, setups=((61, 62),))
    rig = rig._replace(vehicle=rig.vehicle._replace(max_foam_feed_lpm=gpm(3.0)), duties=rig.duties[:1])
    lean = next(fault for fault in verdict_of(rig).deficiencies if fault.code == "feed_lean")
    assert lean.measured == pytest.approx(250)


def test_a_setup_takes_the_crew_to_run_it():
    rig = COUNTY.engine_4(sets=2)._replace(lines_staffed=1)
    assert codes(verdict_of(rig)) == {"lines_not_staffed"}


def test_the_best_declared_setup_is_chosen():
    rig = COUNTY.engine_4(sets=2)
    both = rig._replace(setups=((41,), (42,), (41, 42)))
    assert verdict_of(both).answers[0].setup == (41, 42)


def test_another_line_that_does_not_count_is_shown():
    rig = COUNTY.engine_1()
    lean = COUNTY.eductor(12, 95, tests=COUNTY.tests(AR_AFFF, at3=250, at6=600))
    verdict = verdict_of(rig._replace(lines=(*rig.lines, lean)))
    assert verdict.status == "ready"
    assert ("line_not_counted", ("line", 12)) in {(fault.code, fault.subject) for fault in verdict.deficiencies}


def test_a_ring_that_does_not_suit_the_eductor_is_no_fault_of_its_line():
    """Ring 60/95 on a 95-gpm eductor, standing at 95: the 60 would not pick up, and nobody needs to hear of it."""
    rig = COUNTY.engine_1()
    ringed = rig.lines[0]._replace(rings_lpm=(gpm(60), gpm(95)))
    verdict = verdict_of(rig._replace(lines=(ringed,)))
    assert verdict.status == "ready"
    assert {fault.code for fault in verdict.deficiencies} == {"expires_soon"}


def test_a_failed_test_with_no_other_line_is_not_ready():
    rig = COUNTY.engine_1()
    lean = rig.lines[0]._replace(tests=COUNTY.tests(AR_AFFF, at3=290, at6=600))
    assert (verdict_of(rig._replace(lines=(lean,))).status, codes(verdict_of(rig._replace(lines=(lean,))))) == (
        "not_ready",
        {"test_lean"},
    )


def test_different_concentrates_add_as_minutes_only_by_policy():
    """500 ft² of diesel: 60 gpm of AFFF from a 15-gal tank (8.33 min) and 60 of AR-AFFF from 3 pails (8.33 min)."""
    tests = COUNTY.tests(AFFF, at3=300) + COUNTY.tests(AR_AFFF, at3=300, at6=600)
    fixed = COUNTY.eductor(1, 60, tests=tests)._replace(pails=False, sources=(77,))
    loose = COUNTY.eductor(2, 60, tests=tests)
    stock = (COUNTY.tank(77, COUNTY.lot(1, AFFF), 15), *COUNTY.pails(1, 3, COUNTY.lot(2, AR_AFFF)))
    duties = (Spill(1, "diesel", DIESEL, ft2(500), HYDRANT),)
    rig = COUNTY.rig(20, "Engine 20", water=750, containers=stock, lines=(fixed, loose), duties=duties)
    assert verdict_of(rig).status == "not_ready"
    added = verdict_of(rig, Policy(add_concentrates=True))
    assert added.status == "ready"
    assert added.answers[0].minutes == pytest.approx(16.67, abs=0.01)
    assert set(added.answers[0].concentrate_ids) == {AFFF.id, AR_AFFF.id}


def test_different_concentrates_through_one_line_never_add():
    tests = COUNTY.tests(AFFF, at3=300) + COUNTY.tests(AR_AFFF, at3=300, at6=600)
    line = COUNTY.eductor(1, 60, tests=tests)._replace(sources=(77,))
    stock = (COUNTY.tank(77, COUNTY.lot(1, AFFF), 15), *COUNTY.pails(1, 3, COUNTY.lot(2, AR_AFFF)))
    duties = (Spill(1, "diesel", DIESEL, ft2(500), HYDRANT),)
    rig = COUNTY.rig(20, "Engine 20", water=750, containers=stock, lines=(line,), duties=duties)
    assert verdict_of(rig, Policy(add_concentrates=True)).status == "not_ready"


def test_one_concentrate_is_never_added_to_itself():
    """Two 60-gpm lines on one tank of 15 gal: laid one after the other it is still 15 of 27 gal."""
    tests = COUNTY.tests(AFFF, at3=300)
    lines = tuple(COUNTY.eductor(n, 60, tests=tests)._replace(pails=False, sources=(77,)) for n in (1, 2))
    stock = (COUNTY.tank(77, COUNTY.lot(1, AFFF), 15),)
    duties = (Spill(1, "diesel", DIESEL, ft2(500), HYDRANT),)
    rig = COUNTY.rig(20, "Engine 20", water=750, containers=stock, lines=lines, duties=duties)
    answer = verdict_of(rig, Policy(add_concentrates=True)).answers[0]
    assert (answer.status, from_si(answer.usable_l, "gal")) == ("not_ready", pytest.approx(15, abs=0.001))


# as set, rich end, hold-back, doubt


def test_left_at_six_for_gasoline_it_runs_dry():
    """95 × .06 × 15 = 85.5 gal of 45: dry at 45 ÷ 5.7 = 7.89 min; not a fault, since parked at 6."""
    rig = COUNTY.engine_1()
    parked = rig._replace(lines=(rig.lines[0]._replace(parked=600, present=600),))
    verdict = verdict_of(parked)
    as_set = verdict.answers[0].as_set
    assert verdict.status == "ready"
    assert (as_set.turn_to, as_set.lean, as_set.runs_dry) == (300, False, True)
    assert from_si(as_set.draw_l, "gal") == pytest.approx(85.5)
    assert as_set.minutes == pytest.approx(7.89, abs=0.01)


def test_without_a_test_in_date_the_rich_end_is_shown_or_counts():
    """95 × .039 × 15 = 55.575 gal."""
    rig = COUNTY.engine_1()
    never = rig._replace(lines=(rig.lines[0]._replace(tests=()),))
    shown = verdict_of(never).answers[0]
    assert (shown.status, from_si(shown.need_l, "gal")) == ("unverified", pytest.approx(42.75))
    assert from_si(shown.rich_need_l, "gal") == pytest.approx(55.575)
    short = verdict_of(never, Policy(rich_end="short")).answers[0]
    assert from_si(short.need_l, "gal") == pytest.approx(55.575)
    assert "runs_dry" in {fault.code for fault in short.deficiencies}


def test_a_test_runs_out_after_its_last_day():
    rig = COUNTY.engine_3()
    last = COUNTY.moment(305)  # tests 60 days old at D0, good for 365
    checked = rig._replace(check_good_until=last.at + timedelta(days=2))
    assert "test_overdue" not in codes(verdict_of(checked, moment=last))
    assert "test_overdue" in codes(verdict_of(checked, moment=COUNTY.moment(306)))


def test_hold_back_short_is_limited():
    """45 of 44.175 × 1.2 = 53.01."""
    verdict = verdict_of(COUNTY.engine_1(), Policy(unit_hold_back=2000))
    assert (verdict.status, codes(verdict)) == ("limited", {"hold_back_short"})
    fault = next(fault for fault in verdict.deficiencies if fault.code == "hold_back_short")
    assert from_si(fault.required, "gal") == pytest.approx(53.01)


def test_no_hold_back_on_top_of_the_airports_twice():
    """2 × 3,290 × .03 ÷ .97 = 203.51 of 205 gal: 20 % more would be 244.2."""
    rig = COUNTY.crash_1()
    water = to_si(3290, "gal")
    duty = AirportDuty(1, "large", JET_A, water, 0.0, 0.0)
    big = rig._replace(duties=(duty,), vehicle=rig.vehicle._replace(water_l=water))
    assert verdict_of(big, Policy(unit_hold_back=2000)).status == "ready"


def test_water_short_of_the_airports_rule():
    rig = COUNTY.crash_1()
    verdict = verdict_of(rig._replace(vehicle=rig.vehicle._replace(water_l=to_si(1499, "gal"))))
    assert (verdict.status, codes(verdict)) == ("not_ready", {"airport_water_short"})


def undated_pails(count):
    return COUNTY.pails(5000, count, COUNTY.lot(50, AR_AFFF, None))


def test_stock_of_unknown_date_counts_unverified():
    rig = COUNTY.engine_1()._replace(containers=undated_pails(9))
    verdict = verdict_of(rig)
    assert (verdict.status, codes(verdict)) == ("unverified", {"date_unknown"})
    assert from_si(verdict.answers[0].usable_l, "gal") == pytest.approx(45, abs=0.001)


def test_stock_of_unknown_date_that_is_not_needed_changes_nothing():
    rig = COUNTY.engine_1()
    more = rig._replace(containers=(*rig.containers, *undated_pails(1)))
    verdict = verdict_of(more)
    assert verdict.status == "ready"
    assert "doubtful_spare" in {fault.code for fault in verdict.deficiencies}


# water


@pytest.mark.parametrize(
    ("supply", "status", "code"),
    [
        (Supply("hydrant"), "ready", set()),
        (Supply("hydrant", gpm(92.2)), "ready", set()),  # 92.055 gpm of water
        (Supply("tenders", gpm(50)), "ready", set()),  # 750 ÷ 42.055 = 17.8 min ≥ 15
        (Supply("tenders", gpm(40)), "limited", {"water_short"}),  # 750 ÷ 52.055 = 14.4 min
        (Supply("none"), "limited", {"no_named_water"}),
    ],
)
def test_water_supply(supply, status, code):
    verdict = verdict_of(spilled(COUNTY.engine_1(), supply=supply))
    assert (verdict.status, codes(verdict)) == (status, code)


def test_a_tank_that_lasts_the_time_needs_no_supply():
    rig = spilled(COUNTY.engine_1(), supply=Supply("none"))
    big = rig._replace(vehicle=rig.vehicle._replace(water_l=to_si(1381, "gal")))  # 1,380.825 gal needed
    assert verdict_of(big).status == "ready"
    unknown = rig._replace(vehicle=rig.vehicle._replace(water_l=None))
    assert codes(verdict_of(unknown)) == {"no_named_water"}


def test_runoff_is_solution_and_product_and_cooling():
    """95 gpm × 15 = 1,425 gal."""
    answer = verdict_of(spilled(COUNTY.engine_1(), product_l=1000.0, cooling_l=500.0)).answers[0]
    assert answer.runoff_l == pytest.approx(to_si(1425, "gal") + 1500)


def test_which_one_binds():
    assert verdict_of(COUNTY.engine_4()).answers[0].binds == "rate"
    assert verdict_of(COUNTY.hazmat_1()).answers[0].binds == "stock"


# working


def test_the_working_ends_in_the_answers_own_figures():
    rig = COUNTY.engine_1()
    answer = verdict_of(rig).answers[0]
    steps = {step.label: step for step in working(rig, POLICY, NOW, 1)}
    assert steps["Required flow"].result == answer.required_lpm
    assert steps["Textbook need"].result == answer.textbook_l
    assert steps["Line need"].result == answer.need_l
    assert steps["Usable"].result == answer.usable_l
    assert steps["Minutes of foam"].result == answer.minutes
    assert steps["Share of need"].result == pytest.approx(100 * answer.share)
    assert steps["Area by rate"].result == answer.area_by_rate_m2
    assert from_si(steps["Back pressure"].result, "psi") == pytest.approx(120.98, abs=0.005)
    assert steps["Required flow"].source == "listing of AR-AFFF 3x6: demo listing, invented"
    assert len([label for label in steps if label.startswith("Container")]) == 9


def test_the_working_of_an_airport_and_of_tankfuls():
    """2 × W × p ÷ (1 − p) and tankfuls × W × p ÷ (1 − p), as the county prints them."""
    crash = {step.label: step.result for step in working(COUNTY.crash_1(), POLICY, NOW, 1)}
    brush = {step.label: step.result for step in working(COUNTY.brush_4(), POLICY, NOW, 1)}
    assert from_si(crash["Concentrate aboard"], "gal") == pytest.approx(92.78, abs=0.01)
    assert from_si(brush["Concentrate for tankfuls"], "gal") == pytest.approx(4.51, abs=0.01)


def test_no_working_where_nothing_counts():
    assert working(COUNTY.engine_2(), POLICY, NOW, 2) == ()


def test_a_duty_the_rig_does_not_have():
    with pytest.raises(KeyError):
        working(COUNTY.engine_2(), POLICY, NOW, 99)


def test_the_same_question_has_the_same_answer():
    assert verdict_of(COUNTY.engine_6()) == verdict_of(COUNTY.engine_6())


def test_a_tanks_overdue_sample_is_unverified():
    rig = COUNTY.engine_2()
    tank = rig.containers[0]._replace(sample=Sample(D0 - timedelta(days=366), True))
    verdict = verdict_of(rig._replace(containers=(tank,), duties=rig.duties[:1]))
    assert (verdict.status, codes(verdict)) == ("unverified", {"sample_overdue"})


def test_ethanol_left_at_three_is_lean_with_its_strength():
    as_set = verdict_of(COUNTY.engine_3()).answers[0].as_set
    assert as_set.setting / as_set.turn_to == 0.5  # county: half-strength
    assert to_ml(42.75, "gal") == pytest.approx(as_set.draw_l * 1000, abs=1)
    assert ETHANOL.group == "polar"


# -- tankfuls ----------------------------------------------------------------------------------------------------------


def brush(**duty):
    """Brush 4 of the county: 9.5 gal of Class A, five tankfuls of 300 gal at 0.3 %."""
    rig = COUNTY.brush_4()
    return rig._replace(duties=tuple(each._replace(**duty) for each in rig.duties))


def test_tankfuls_of_a_tank_that_nobody_stated_prove_nothing():
    """Five times nothing is nothing: 9.5 gal are no answer to it. Design: missing evidence is unverified."""
    verdict = judge(brush(water_l=0.0), POLICY, NOW)
    assert verdict.status == "unverified"
    assert [each.code for each in verdict.deficiencies if each.severity != "note"] == ["no_tankful"]
    assert judge(brush(), POLICY, NOW).status == "ready"


def test_tankfuls_at_a_setting_that_nobody_stated_are_refused_and_the_rest_is_judged():
    verdict = judge(brush(setting=0), POLICY, NOW)
    assert (verdict.status, verdict.answers[0].deficiencies[0].code) == ("not_ready", "not_listed")


# what leads


def led(rig):
    """Codes that count, in the order in which they are told."""
    return [(each.code, each.severity) for each in verdict_of(rig).deficiencies if each.severity != "note"]


def test_to_find_out_about_a_tank_goes_before_loading_more():
    """Engine 2's only tank reads 3 gal above its 30: nothing counts until somebody knows what is in it."""
    engine = COUNTY.engine_2()
    tank = engine.containers[0]
    diesel = engine._replace(duties=engine.duties[:1])
    above = tank._replace(reading_ml=tank.book_ml + gal_ml(3), reading_on=D0)
    assert led(diesel) == []
    assert led(diesel._replace(containers=(above,))) == [
        ("reading_above_book", "not_ready"),
        ("short_of_textbook", "not_ready"),
    ]


def test_a_tank_above_its_book_that_would_not_help_is_worth_knowing_only():
    """Engine 6 is short of alcohol-resistant foam for ethanol, and it is the tank of Class A that reads 3 gal above."""
    engine = COUNTY.engine_6()
    class_a, other = engine.containers
    above = class_a._replace(reading_ml=class_a.book_ml + gal_ml(3), reading_on=D0)
    made = engine._replace(containers=(above, other))
    assert "short_of_textbook" in dict(led(made))
    assert "reading_above_book" not in dict(led(made))


def test_a_tank_above_its_book_that_nothing_is_short_of_is_worth_knowing_only():
    """Another tank that feeds no line reads 3 gal above its book."""
    engine = COUNTY.engine_2()
    tank = engine.containers[0]
    spare = tank._replace(id=999, code="T-9", reading_ml=tank.book_ml + gal_ml(3), reading_on=D0)  # feeds no line
    diesel = engine._replace(duties=engine.duties[:1], containers=(tank, spare))
    assert led(diesel) == []
    assert "reading_above_book" in {each.code for each in verdict_of(diesel).deficiencies}
