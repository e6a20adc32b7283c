"""Verdicts as they are kept and printed: there and back, fingerprints, and what whole milliliters cost."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest

from readiness.engineering.freezing import plain
from readiness.engineering.records import Answer, Deficiency, Verdict
from readiness.reports.verdicts import DutyFacts, Kept, digest, kept, printed_duty, printed_unit, read_kept
from tests.county import loaded

D0 = date(2026, 6, 15)
OVERDUE = Deficiency("check_overdue", ("unit", 1), "unverified", 11, 1, "days", D0, "Engine 7")
SHORT = Deficiency("short_of_textbook", ("duty", 5), "not_ready", 151.4, 153.3, "volume", D0, "gasoline spill")
ANSWER = Answer(5, "gasoline spill", "not_ready", (SHORT,), usable_l=151.4, need_l=153.3, short_l=1.9, share=0.9876)
FACTS = DutyFacts(5, "gasoline spill", "spill", "gasoline", 83.6, "hydrant")


def verdict(*deficiencies: Deficiency, **values: object) -> Verdict:
    every = deficiencies or (SHORT, OVERDUE)
    found = Verdict(1, "not_ready", (ANSWER,), (), every, None, None, datetime(2026, 6, 16, 11, tzinfo=UTC))
    return found._replace(**values)


def test_there_and_back_through_json() -> None:
    one = Kept("Engine 7", "vehicle 209", datetime(2026, 6, 4, 11, tzinfo=UTC), (FACTS,), verdict())
    assert read_kept(json.loads(json.dumps(plain(one)))) == one


@pytest.mark.django_db
def test_every_verdict_of_the_county_comes_back() -> None:
    from readiness.engineering.judging import judge
    from readiness.engineering.records import Moment
    from readiness.reports.fleet import load_rigs
    from tests.county import LOCAL_SIX

    department = loaded()
    fleet = load_rigs(day=D0, departments=[department.pk])
    for rig in fleet.rigs:
        one = kept(rig, judge(rig, fleet.policies[department.pk], Moment(LOCAL_SIX, D0)))
        there = json.loads(json.dumps(plain(one)))
        assert plain(read_kept(there)) == there
        assert printed_unit(read_kept(there), {}) == printed_unit(one, {})


@pytest.mark.parametrize("answers", [None, {}, {"unit": "Engine 7"}, []])
def test_what_is_no_verdict_is_refused(answers: object) -> None:
    with pytest.raises((KeyError, TypeError, ValueError)):
        read_kept(answers)


def test_an_age_is_no_part_of_the_fingerprint_and_every_other_number_is() -> None:
    first = digest(verdict())
    assert digest(verdict(SHORT, OVERDUE._replace(measured=12))) == first
    assert digest(verdict(SHORT, OVERDUE._replace(required=7))) != first
    assert digest(verdict(SHORT._replace(measured=151.5), OVERDUE)) != first
    assert digest(verdict(SHORT._replace(accepted=True), OVERDUE)) != first
    assert digest(verdict(holds_until=D0)) != first
    assert digest(verdict(check_good_until=None)) != first
    assert digest(verdict(status="unverified")) != first
    assert digest(verdict(answers=(ANSWER._replace(minutes=1.0),))) != first


def test_nine_pails_against_45_gallons_are_not_short() -> None:
    """Nine pails are 170,343 mL; 45 gal are 170,343.53 mL. Within 9 + 1 mL nothing is short and all is covered."""
    need_l = 45 * 3.785411784
    nine = Answer(5, "", "ready", (), usable_l=170.343, need_l=need_l, short_l=need_l - 170.343, share=170.343 / need_l)
    told = printed_duty(FACTS, nine._replace(containers=9), {})
    assert (told["short_gal"], told["short_l"], told["covered_share"]) == (0.0, 0.0, 1.0)
    assert told["usable_l"] == 170.343
    eleven_short = nine._replace(containers=9, usable_l=170.332, short_l=need_l - 170.332, share=170.332 / need_l)
    told = printed_duty(FACTS, eleven_short, {})
    assert told["short_l"] == pytest.approx(0.0115, abs=1e-4)
    assert told["covered_share"] < 1


def test_a_duty_shows_what_is_accepted_on_the_units_list() -> None:
    one = Kept("Engine 7", None, None, (FACTS,), verdict(SHORT._replace(accepted=True), OVERDUE))
    told = printed_unit(one, {})
    assert [each["accepted"] for each in told["deficiencies"]] == [True, False]
    assert [each["accepted"] for each in told["duties"][0]["deficiencies"]] == [True]
    assert (told["status"], told["duties"][0]["status"]) == ("not ready", "not ready")  # no better for that


def test_since_when_comes_from_what_is_open() -> None:
    one = Kept("Engine 7", None, None, (FACTS,), verdict())
    told = printed_unit(one, {("check_overdue", "unit", 1): date(2026, 6, 5)})
    assert [each["since"] for each in told["deficiencies"]] == ["2026-06-15", "2026-06-05"]
