"""A record comes back from its plain values as it was, through JSON."""

import json
from datetime import UTC, date, datetime

import pytest
from county import County

from readiness.engineering.freezing import Scribe, plain, thawed
from readiness.engineering.judging import judge
from readiness.engineering.records import (
    AirportDuty,
    Branch,
    CoverPlan,
    DeckRule,
    FoamTest,
    Moment,
    Policy,
    Rig,
    TankRule,
    Verdict,
)

COUNTY = County()


def through_json(value):
    return json.loads(json.dumps(plain(value)))


@pytest.mark.parametrize("rig", COUNTY.units(), ids=lambda rig: rig.name)
def test_a_rig_comes_back_and_is_judged_the_same(rig):
    back = thawed(Rig, through_json(rig))
    assert through_json(back) == through_json(rig)
    moment = COUNTY.moment()
    assert judge(back, Policy(), moment).status == judge(rig, Policy(), moment).status


@pytest.mark.parametrize("rig", COUNTY.units(), ids=lambda rig: rig.name)
def test_a_verdict_comes_back(rig):
    verdict = judge(rig, Policy(), COUNTY.moment())
    back = thawed(Verdict, through_json(verdict))
    assert through_json(back) == through_json(verdict)
    assert back.holds_until == verdict.holds_until
    assert [answer.deficiencies for answer in back.answers] == [
        tuple(
            each._replace(
                measured=None if each.measured is None else round(each.measured, 9),
                required=None if each.required is None else round(each.required, 9),
            )
            for each in answer.deficiencies
        )
        for answer in verdict.answers
    ]


def test_moments_and_policies_come_back():
    moment = Moment(datetime(2026, 6, 15, 6, tzinfo=UTC), date(2026, 6, 15))
    assert thawed(Moment, through_json(moment)) == moment
    assert thawed(Policy, through_json(Policy(opened_limit_d=90))) == Policy(opened_limit_d=90)


def test_what_is_no_record_is_refused():
    with pytest.raises(TypeError, match="object is no part of a record"):
        plain(object())


@pytest.mark.parametrize("rig", COUNTY.units(), ids=lambda rig: rig.name)
def test_a_scribe_writes_the_json_of_the_plain_values(rig):
    """Python's own encoder is the check; twice, since what is shared is written from memory the second time."""
    scribe, moment = Scribe(), COUNTY.moment()
    for value in (rig, judge(rig, Policy(), moment), Policy(), moment, rig):
        assert scribe.text(value) == json.dumps(plain(value), separators=(",", ":"))


def test_a_scribe_writes_what_json_must_escape():
    odd = 'Engine "7" \\ é\n'
    for value in (odd, (odd, None, True, 1.23456789, 3), {("polar", "spill"): odd}, frozenset({3, 1}), ()):
        assert Scribe().text(value) == json.dumps(plain(value), separators=(",", ":"))
    with pytest.raises(TypeError, match="object is no part of a record"):
        Scribe().text(object())


def with_all_that_is_rare():
    """Engine 1 with a foam test, unlike branches, and a duty of each region's rule beside one that holds vapor down."""
    engine = COUNTY.engine_1()
    line, spill = engine.lines[0], engine.duties[0]
    branch = Branch(line.lay.hose, 100.0, 700.0, 3.0)
    test = FoamTest(2, COUNTY.d0, 5.0, None, 5.0, 6.0)
    lines = (
        line._replace(foam_tests=(test,), lay=line.lay._replace(branches=(branch, branch._replace(nozzle_k=None)))),
    )
    plan = CoverPlan(120.0, 15.0, 0.1016, 7.0, 2500, 0)
    duties = (
        spill._replace(duty="vapor", cover=plan),
        spill._replace(id=2, rule=DeckRule(480.0, 1000.0, True)),
        spill._replace(id=3, rule=TankRule("indirect", False)),
        AirportDuty(4, "category", spill.fuel, 2400.0, 0.0, 0.0, category=4),
    )
    return engine._replace(lines=lines, duties=duties)


def test_rare_records_come_back_and_are_judged_the_same():
    rig, policy = (
        with_all_that_is_rare(),
        Policy(region_packs=frozenset({"marine", "storage"}), foam_test_interval_d=90),
    )
    assert thawed(Rig, through_json(rig)).duties == rig.duties
    assert thawed(Rig, through_json(rig)).lines[0].foam_tests == rig.lines[0].foam_tests
    assert thawed(Policy, through_json(policy)) == policy
    verdict = judge(rig, policy, COUNTY.moment())
    back = judge(thawed(Rig, through_json(rig)), thawed(Policy, through_json(policy)), COUNTY.moment())
    assert through_json(back) == through_json(verdict)
    assert thawed(Verdict, through_json(verdict)).answers[0].cover is not None
    for value in (rig, policy, verdict):
        assert Scribe().text(value) == json.dumps(plain(value), separators=(",", ":"))
