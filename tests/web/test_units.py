"""One unit's page and its deficiencies. Expected figures: the county worked by hand."""
# ruff: noqa: F811 - fixtures are imported by name and asked for by the same name

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.models import Appliance, Change, Deficiency, FoamLine, Role, User
from tests.cast import Cast
from tests.web.conftest import as_person
from tests.web.county_pages import (  # noqa: F401 - fixtures by name
    LATER,
    county,
    county_once,
    county_s_own_transaction,
    look_at,
    sign_in,
    unit,
    words,
)

pytestmark = pytest.mark.django_db

TODAY = LATER.date()
NEXT_WEEK = TODAY + timedelta(days=7)
EVERYBODY = ["crew", "officer", "logistics", "instructor", "chief", "observer"]


def said_of(name: str, who: str = "chief") -> str:
    answer = sign_in(who).get(f"/units/{unit(name).pk}/")
    assert answer.status_code == 200
    return words(answer.content)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("Engine 1", [
            "45.0 gal usable of 44.2 gal line need (101 %)", "textbook need 40.50 gal", "15.28 min of 15 min",
            "8.14 min, then hydrant; 1,380.9 gal for the whole run",  # 1,380.825 up
            "950 ft², limited by rate by rate 950 ft², by stock 1,000 ft²", "95 gpm of 90 gpm required",
            "required 90 gpm; line flow 95 gpm; draw 3.1 %; minutes 15 min 44.175 gal",  # the working
            "nozzle 100 psi; hose 20.983 psi", "9 containers, P-0101 to P-0109, each",
            "121 psi, limit 130 psi at 200 psi inlet: it draws", "2026-09-30, if nothing is done",
            "2026-10-01 gasoline E10 spill ready → not ready 9.2 gal",  # 1 Oct: short 9.175
        ]),
        ("Engine 2", [
            "diesel spill ready", "29.0 gal usable of 27.0 gal line need (107 %)", "16.11 min",
            "0.0 gal of what is aboard counts for E85 (200 ft² planned): wrong foam",
            "1.0 gal heel", "feeds at most 3.0 gpm",
        ]),
        ("Engine 3", [
            "denatured ethanol spill: turn to 6 %. Left at 3 % it draws 42.75 gal in 15 min: too lean to count on.",
            "90.0 gal usable of 88.4 gal line need", "textbook need 72.00 gal", "15.28 min",
            "parked 6 %, present 3 %", "As set: left at 3 % it draws 42.75 gal: turn to 6 %.", "18 containers",
        ]),
        ("Engine 6", [
            "gasoline spill ready", "38.5 gal usable of 27.0 gal line need (142 %)", "21.38 min",
            "38.5 gal usable of 54.0 gal line need (71 %)", "short 15.5 gal", "213 ft², limited by stock", "10.69 min",
            "ethanol spill: turn to 6 %", "T-206A fixed tank", "no duty",
        ]),
        ("Engine 5", ["137 psi, limit 130 psi", "it does not pick up", "longest stretch 123 ft"]),  # 136.33, 123.9
        ("Hazmat 1", ["20.0 gal mixed", "20.0 gal usable of 54.0 gal", "short 34.0 gal", "111 ft², limited by stock"]),
    ],
)  # fmt: skip
def test_what_the_page_says(county, name, said):
    found = said_of(name)
    assert [each for each in said if each not in found] == []


def test_a_check_that_ran_out_is_judged_anew_on_the_page(county, monkeypatch):
    look_at(LATER + timedelta(days=1), monkeypatch)
    assert "Engine 1 was last checked 24 hours ago; the limit is 24 hours." in said_of("Engine 1")


def test_history_and_checks(county):
    found = said_of("Engine 1")
    assert "2026-06-15 06:00 (5 min ago) by Wren Tallow, on vehicle 201 complete" in found
    assert "still so on 2026-06-15" in found


def test_a_unit_that_cannot_be_read_says_so_and_is_not_ready(county):
    Appliance.objects.filter(unit=unit("Engine 1"), name="95 eductor").update(settings_pct=["three"])
    found = said_of("Engine 1")
    assert "Engine 1 cannot be judged" in found
    assert "Nothing below says that it is ready" in found


def test_as_many_questions_to_the_database_for_nine_pails_as_for_twenty(county):
    browser = sign_in()

    def count(name: str) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(f"/units/{unit(name).pk}/").status_code == 200
        return len(captured)

    assert count("Engine 1") == count("Engine 4")  # county: nine and twenty pails, one line each


@pytest.mark.parametrize("who", EVERYBODY)
def test_everybody_may_look(county, who):
    assert "Engine 3" in said_of("Engine 3", who)


def deficiency(name: str = "Engine 3", code: str = "setting_not_parked") -> Deficiency:
    return Deficiency.objects.get(unit=unit(name), code=code, closed_on=None)


def address(row: Deficiency, verb: str = "") -> str:
    return f"/units/{row.unit_id}/deficiencies/{row.pk}/{verb}"


def test_another_department_s_unit_does_not_exist(county):
    outsider, row = as_person(Cast().people[Role.CHIEF]), deficiency()
    assert outsider.get(f"/units/{row.unit_id}/").status_code == 404
    assert outsider.get(address(row)).status_code == 404
    for verb in ("assign/", "accept/", "withdraw/"):
        assert outsider.post(address(row, verb), {"until": NEXT_WEEK, "note": "x"}).status_code == 404
    assert deficiency().accepted_until is None


def test_a_deficiency_belongs_to_its_own_unit(county):
    row = deficiency()
    assert sign_in().get(f"/units/{unit('Engine 1').pk}/deficiencies/{row.pk}/").status_code == 404
    assert sign_in().get("/units/999999999999999999999/").status_code == 404


@pytest.mark.parametrize(
    ("who", "assigns", "accepts"),
    [
        ("crew", 403, 403),
        ("officer", 302, 403),
        ("logistics", 302, 403),
        ("instructor", 403, 403),
        ("chief", 302, 302),
        ("observer", 403, 403),
    ],
)
def test_who_may_name_an_owner_and_who_may_accept(county, who, assigns, accepts):
    row, browser = deficiency(), sign_in(who)
    owner = User.objects.get(username="officer")
    assert browser.get(address(row)).status_code == 200
    assert browser.post(address(row, "assign/"), {"owner": owner.pk, "due_on": NEXT_WEEK}).status_code == assigns
    assert browser.post(address(row, "accept/"), {"until": NEXT_WEEK, "note": "knob ordered"}).status_code == accepts
    row = deficiency()
    assert (row.owner, row.due_on) == ((owner, NEXT_WEEK) if assigns == 302 else (None, None))
    assert row.accepted_until == (NEXT_WEEK if accepts == 302 else None)
    assert browser.post(address(row, "withdraw/")).status_code == accepts
    assert deficiency().accepted_until is None


def forms_in(answer: Any) -> list[str]:
    return re.findall(r'action="/units/\d+/deficiencies/\d+/(\w+)/"', answer.content.decode())


def test_the_forms_stand_only_where_they_work(county):
    row = deficiency()
    assert forms_in(sign_in("chief").get(address(row))) == ["assign", "accept"]
    assert forms_in(sign_in("officer").get(address(row))) == ["assign"]
    assert forms_in(sign_in("crew").get(address(row))) == []
    wrong_foam = deficiency("Engine 2", "wrong_foam")  # a code that nobody may accept
    assert forms_in(sign_in("chief").get(address(wrong_foam))) == ["assign"]


def test_owner_due_day_and_acceptance_stand_on_the_page_and_in_the_changes(county):
    row, chief = deficiency(), sign_in()
    chief.post(address(row, "assign/"), {"owner": User.objects.get(username="officer").pk, "due_on": NEXT_WEEK})
    chief.post(address(row, "accept/"), {"until": NEXT_WEEK, "note": "knob ordered"})
    found = said_of("Engine 3")
    assert f"Jory Pellam {NEXT_WEEK} until {NEXT_WEEK} by Tamsin Orrell" in found
    actions = [each.action for each in Change.objects.filter(subject_kind="deficiency", subject_id=str(row.pk))]
    assert actions == ["assign deficiency", "accept deficiency"]
    one = words(chief.get(address(row)).content)
    assert "“knob ordered”" in one
    assert f"accept deficiency until {NEXT_WEEK} Tamsin Orrell," in one


@pytest.mark.parametrize(
    ("verb", "posted", "said"),
    [
        ("assign/", {"due_on": TODAY - timedelta(days=1)}, "which is past"),
        ("assign/", {"owner": "0"}, "Select a valid choice"),
        ("accept/", {"until": TODAY - timedelta(days=1), "note": "x"}, "or a day after belongs here"),
        ("accept/", {"until": NEXT_WEEK, "note": " "}, "Why it can be accepted is needed"),
        ("accept/", {"until": "", "note": "x"}, "Accept until is needed"),
    ],
)
def test_what_is_refused_says_why_and_saves_nothing(county, verb, posted, said):
    row = deficiency()
    answer = sign_in().post(address(row, verb), posted)
    assert answer.status_code == 200
    assert said in words(answer.content)
    again = deficiency()
    assert (again.owner, again.due_on, again.accepted_until) == (None, None, None)


def test_nobody_accepts_the_wrong_foam(county):
    row = deficiency("Engine 2", "wrong_foam")
    answer = sign_in().post(address(row, "accept/"), {"until": NEXT_WEEK, "note": "x"})
    assert "nobody may accept this" in words(answer.content)
    assert Deficiency.objects.get(pk=row.pk).accepted_until is None


def test_a_person_of_another_department_cannot_be_named(county):
    stranger = Cast().people[Role.OFFICER]
    answer = sign_in().post(address(deficiency(), "assign/"), {"owner": stranger.pk})
    assert answer.status_code == 200
    assert deficiency().owner is None


def test_a_flush_that_is_missing_is_said_at_the_line(county):
    FoamLine.objects.filter(unit=unit("Engine 1")).update(unflushed_since=LATER)
    assert "used, and no flush is logged" in said_of("Engine 1")
