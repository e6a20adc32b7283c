"""Fleet tonight on the page. Expected figures: the county worked by hand, its units by number, rounded as shown:
need up, usable, area and minutes down."""
# ruff: noqa: F811 - fixtures are imported by name and asked for by the same name

from __future__ import annotations

import io
import re
from collections import Counter
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from readiness.actions.acceptances import accept
from readiness.actions.clock import StoppedClock
from readiness.actions.judging import judge_units
from readiness.actions.permissions import Acting
from readiness.models import Assessment, Deficiency, Fuel, Inputs, Night, Role, Station, Unit, User
from readiness.models.movements import Identity
from tests.cast import Cast
from tests.county import LOCAL_SIX
from tests.web.conftest import as_person
from tests.web.county_pages import (  # noqa: F401 - fixtures by name
    LATER,
    county,
    county_once,
    county_s_own_transaction,
    listed,
    look_at,
    row_of,
    sign_in,
    unit,
    words,
)

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


def page(address: str = "/fleet/", who: str = "chief") -> Any:
    answer = sign_in(who).get(address)
    assert answer.status_code == 200
    return answer


def tally(html: bytes) -> dict[str, int]:
    block = re.search(r'<ul class="tally".*?</ul>', html.decode(), flags=re.S)
    assert block
    pairs = re.findall(r"(\d+)\s+([a-z][a-z ]*[a-z])", words(block.group().replace("</li>", " | ")))
    return {word: int(n) for n, word in pairs if "accepted" not in word}


def test_the_county_s_totals(county):
    """County: ready 4, limited 2, unverified 1, not ready 6, no duty 1."""
    expected = {"not ready": 6, "unverified": 1, "limited": 2, "ready": 4, "no foam duty": 1, "units": 14}
    assert tally(page().content) == expected


@pytest.mark.parametrize(
    ("name", "said"),
    [
        # 1: need 44.175, textbook 40.50, usable 45; area by rate 950 of 900; 15.28 min; own water 8.147 min
        ("Engine 1", ["45.0 gal of 44.2 gal", "textbook 40.5 gal", "950 ft² of 900 ft², by rate", "15.2 min of 15 min",
                      "8.1 min then hydrant", "holds until 2026-09-30",
                      "checked 2026-06-15 06:00 (5 min ago) by Wren Tallow"]),
        # 2: diesel 27.00 of 29, 22.50, 16.1 min; E85 usable 0, wrong foam
        ("Engine 2", ["diesel spill ready", "29.0 gal of 27.0 gal", "textbook 22.5 gal", "16.1 min",
                      "E85 spill wrong foam", "0.0 gal counts for this"]),
        # 3: 88.35 of 90, textbook 72.00, 15.28 min; found at 3, turn to 6
        ("Engine 3", ["limited", "turn to 6 %", "90.0 gal of 88.4 gal", "textbook 72.0 gal", "15.2 min"]),
        # 4: 95 of 120 gpm, short 25; 950 ft² by rate
        ("Engine 4", ["Flow 95.0 gpm of 120.0 gpm", "short 25.0 gpm", "rate short", "950 ft² of 1,200 ft², by rate"]),
        # 6: gasoline 27.0 of 38.5, 21.39 min; ethanol 54.0, short 15.5, 10.69 min, 213 ft²
        ("Engine 6", ["gasoline spill ready", "38.5 gal of 27.0 gal", "21.3 min", "ethanol spill short 15.5 gal",
                      "38.5 gal of 54.0 gal", "213 ft² of 300 ft², by stock", "10.6 min"]),
        ("Engine 7", ["unverified", "check overdue", "last checked 11 days ago"]),
        ("Foam Trailer 1", ["not ready", "no tow unit"]),
        ("Kit on Brush 4", ["runs dry at minute 2.7 of 15", "2.5 gal of 13.5 gal"]),  # 13: 2.78 min
        ("Ladder 2", ["no foam duty"]),
    ],
)  # fmt: skip
def test_what_the_list_says_of_a_unit(county, name, said):
    found = row_of(page().content, name)
    assert [each for each in said if each not in found] == []


def test_the_bar_says_the_same_in_words_and_stands_where_it_should(county):
    """County 1: of 45 the greatest, textbook 40.50 stands at 90.0 % and the line need 44.175 at 98.2 %."""
    body = next(b for b in re.findall(r"<tbody.*?</tbody>", page().content.decode(), re.S) if ">Engine 1<" in b)
    assert 'aria-label="usable 45.0 gal, textbook need 40.5 gal, line need 44.2 gal"' in body
    assert re.findall(r'class="at-\w+" d="M([\d.]+) ', body) == ["90.0", "98.2"]
    assert 'class="bar-fill" x="0" y="3" width="100.0"' in body


def test_in_metric_units(county):
    """Nine pails of 18.927 L; 950 ft² = 88.26 m²."""
    chief = sign_in()
    chief.post("/account/units/", {"units": "metric"})
    found = row_of(chief.get("/fleet/").content, "Engine 1")
    assert "170.3 L of 167.3 L" in found  # 44.175 gal = 167.22 L, up
    assert "88 m²" in found


def test_a_check_that_ran_out_since_makes_a_unit_unverified_here_and_in_every_count(county, monkeypatch):
    """Checked at 06:00 for 24 hours: a day and a minute later the four ready and two limited are unverified."""
    look_at(LOCAL_SIX + DAY + timedelta(minutes=1), monkeypatch)
    html = page().content
    assert tally(html) == {"not ready": 6, "unverified": 7, "no foam duty": 1, "units": 14}
    assert "unverified" in row_of(html, "Engine 1")
    assert "Its check ran out 2026-06-16 06:00 (1 min ago); it was ready until then." in row_of(html, "Engine 1")
    assert "Engine 1" in listed(page("/fleet/?status=unverified").content)
    assert listed(page("/fleet/?status=ready").content) == []


def test_at_the_very_moment_at_which_the_check_runs_out_it_still_counts(county, monkeypatch):
    look_at(LOCAL_SIX + DAY, monkeypatch)
    assert tally(page().content)["ready"] == 4


def test_units_that_were_not_judged_say_so(county):
    Unit.objects.create(department=county, designation="Engine 99", station=unit("Engine 1").station)
    Unit.objects.filter(pk=unit("Engine 1").pk).update(judge_due=True)
    html = page().content
    assert "not judged yet" in row_of(html, "Engine 99")
    assert "Nobody has judged it" in row_of(html, "Engine 99")
    assert "Something changed and it is not judged yet; it was ready before." in row_of(html, "Engine 1")
    found = tally(html)
    assert (found["not judged yet"], found["ready"], found["unverified"]) == (1, 3, 2)


def test_accepted_ones_are_counted_apart(county):
    row, chief = (
        Deficiency.objects.get(unit=unit("Engine 3"), code="setting_not_parked"),
        User.objects.get(username="chief"),
    )
    until, clock = (LATER + DAY).date(), StoppedClock(LATER)
    accept(
        county, deficiency=row, until=until, note="knob ordered", acting=Acting(chief, Identity.PASSWORD), clock=clock
    )
    judge_units(county, [row.unit_id], because="accept deficiency", clock=clock)  # as after the commit
    html = page().content
    assert tally(html)["limited"] == 2
    assert "1 of them accepted by a chief" in words(html)
    assert "accepted" in row_of(html, "Engine 3")
    assert "accepted" not in row_of(html, "Kit on Brush 4")


def test_what_changed_since_the_night(county):
    before = words(page().content)
    assert "No unit’s status has changed." in before
    Unit.objects.filter(pk=unit("Engine 1").pk).update(state="out")
    judge_units(
        county, [unit("Engine 1").pk], because="out of service", clock=StoppedClock(LATER - timedelta(minutes=2))
    )
    found = words(page().content)
    assert "Changed since the night of 2026-06-15" in found
    assert "Engine 1: ready → not ready 2026-06-15 06:03 (2 min ago), out of service" in found
    assert "1 unit has been judged anew with another answer" in found


def test_a_night_that_did_not_finish_does_not_count(county):
    Night.objects.filter(department=county).update(finished_at=None)
    assert "No night has been completed yet" in words(page().content)


def test_the_days_on_which_units_fall_short(county):
    """County 1: two of nine pails are good through 30 Sep 2026, so it falls on 1 October."""
    found = words(page().content)
    assert "2026-10-01 Engine 1" in found


def test_filters_and_order(county):
    quayside = Station.objects.get(department=county, name="Quayside")
    at_quayside = listed(page(f"/fleet/?station={quayside.pk}").content)
    assert sorted(at_quayside) == ["Engine 1", "Engine 5", "Foam Tender 1", "Hazmat 1"]  # county: Quayside
    ethanol = Fuel.objects.get(name="ethanol", department=None)
    assert sorted(listed(page(f"/fleet/?fuel={ethanol.pk}").content)) == ["Engine 6", "Foam Tender 1"]
    assert listed(page("/fleet/?q=kit").content) == ["Kit on Brush 4"]
    assert listed(page("/fleet/?q=211").content) == ["Foam Tender 1"]  # by its vehicle
    assert listed(page("/fleet/?q=nowhere").content) == []
    assert listed(page("/fleet/?status=limited").content) == ["Engine 3", "Kit on Brush 4"]
    assert listed(page("/fleet/?sort=unit").content)[:2] == ["Brush 4", "Crash 1"]
    assert listed(page("/fleet/?sort=holds").content)[0] == "Engine 1"
    worst = [
        name for name in listed(page().content) if name in ("Engine 2", "Engine 7", "Engine 3", "Engine 1", "Ladder 2")
    ]
    assert worst == ["Engine 2", "Engine 7", "Engine 3", "Engine 1", "Ladder 2"]


def test_one_click_to_each_unit(county):
    html = page().content.decode()
    assert all(f'href="/units/{each.pk}/"' in html for each in Unit.objects.filter(department=county))


def many(department: Any, count: int) -> None:
    """More units like Engine 1, each with an assessment of facts of its own."""
    like = Assessment.objects.get(unit=unit("Engine 1"), superseded_at=None)
    station = unit("Engine 1").station
    names = (f"Unit {uuid4().hex[:12]}" for _ in range(count))
    made = Unit.objects.bulk_create(
        Unit(department=department, designation=name, station=station, judge_due=False) for name in names
    )
    keys = [uuid4().hex for _ in made]
    Inputs.objects.bulk_create(Inputs(digest=key, body=b"") for key in keys)
    copied = {
        f.attname: getattr(like, f.attname)
        for f in Assessment._meta.fields
        if f.attname not in ("id", "unit_id", "inputs_id")
    }
    Assessment.objects.bulk_create(
        Assessment(**copied, unit=each, inputs_id=key) for each, key in zip(made, keys, strict=True)
    )


def queries(browser: Client, address: str = "/fleet/") -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        assert browser.get(address).status_code == 200
    return len(captured)


def test_as_many_questions_to_the_database_for_ten_units_as_for_two_hundred(county):
    browser = sign_in()
    at_14 = queries(browser)
    many(county, 186)
    assert Unit.objects.filter(department=county).count() == 200
    assert queries(browser) == at_14
    assert queries(browser, "/fleet/?page=3") == at_14


def test_fifty_a_page(county):
    many(county, 60)
    first, second = page("/fleet/?sort=unit"), page("/fleet/?sort=unit&page=2")
    assert (len(listed(first.content)), len(listed(second.content))) == (50, 24)
    assert "page 1 of 2" in words(first.content)
    assert not set(listed(first.content)) & set(listed(second.content))
    assert len(listed(page("/fleet/?page=rubbish").content)) == 50


def book(address: str = "/fleet/?export=xlsx") -> list[dict[str, Any]]:
    sheet = load_workbook(io.BytesIO(page(address).content)).worksheets[0]
    head, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows]


def test_the_workbook_holds_the_whole_fleet_as_numbers(county):
    many(county, 60)
    rows = book()
    assert Counter(row["Unit"] for row in rows)["Engine 2"] == 2  # a row a duty
    assert len({row["Unit"] for row in rows}) == 74
    one = next(row for row in rows if row["Unit"] == "Engine 1")
    assert one["Line need [gal]"] == pytest.approx(44.2)  # 44.175 up, as on the page
    assert one["Textbook need [gal]"] == pytest.approx(40.5)
    assert one["Usable [gal]"] == pytest.approx(45)
    assert one["Short by [gal]"] == 0
    assert (one["Area covered [ft²]"], one["Area planned [ft²]"], one["Area limited by"]) == (950, 900, "rate")
    assert one["Foam [min]"] == pytest.approx(15.28, abs=0.005)
    assert one["Own water [min]"] == pytest.approx(8.147, abs=0.0005)
    assert f"{one['Holds until']:%Y-%m-%d}" == "2026-09-30"
    assert (one["Unit status"], one["Percentage [%]"]) == ("ready", 3)
    e85 = next(row for row in rows if row["Duty"] == "E85 spill")
    assert (e85["Duty status"], e85["Reason"], e85["Short by [gal]"]) == ("not ready", "wrong foam", None)


def test_a_unit_that_is_named_like_a_formula_is_harmless_in_the_workbook(county):
    Unit.objects.create(department=county, designation="=1+1", station=unit("Engine 1").station)
    sheet = load_workbook(io.BytesIO(page("/fleet/?export=xlsx").content)).worksheets[0]
    cells = [cell for (cell, *_) in sheet.iter_rows() if str(cell.value).lstrip("'").startswith("=1")]
    assert [cell.data_type for cell in cells] == ["s"]


@pytest.mark.parametrize("who", ["crew", "officer", "logistics", "instructor", "chief", "observer"])
def test_everybody_of_the_department_may_look(county, who):
    assert len(listed(page(who=who).content)) == 14


def test_another_department_sees_nothing_of_it(county):
    cast = Cast()
    html = as_person(cast.people[Role.CHIEF]).get("/fleet/").content
    assert listed(html) == ["Engine 1"]  # its own, which nobody has judged
    assert "not judged yet" in row_of(html, "Engine 1")
    said = words(as_person(cast.outsider).get("/fleet/").content)
    assert "No units yet" in said
    assert "Take in the workbook Take in a sheet you already have Type it in" in said
    cast.outsider.memberships.update(role=Role.CREW)
    said = words(as_person(cast.outsider).get("/fleet/").content)
    assert "A logistics officer or a chief takes it in." in said
    assert "Take in the workbook" not in said


def test_a_stranger_is_sent_to_the_door(county):
    assert Client().get("/fleet/").status_code == 302


def test_the_safety_sentence_stands_on_the_page(county):
    found = words(page().content)
    assert "the incident commander’s call" in found
    assert "it does not replace them" in found
