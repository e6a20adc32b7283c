"""A unit on another vehicle and back: counted blind at each end, the tank and what is wrong with it stay behind."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from readiness.actions import movements
from readiness.actions.raised_deficiencies import raise_deficiency
from readiness.models import Assignment, Change, ChangeOverCount, Container, ParLine, RaisedDeficiency, Role
from readiness.models.raised_deficiencies import Effect
from tests.cast import PAIL_ML, SIX, Cast
from tests.judged import Rigged
from tests.web.entering import fields, words


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    """Engine 1: nine sealed pails, a tank on vehicle 201, a spanner by its par list."""
    made = Rigged(cast)
    made.tank("T1")
    ParLine.objects.create(department=cast.department, unit=cast.unit, gear="spanner", pieces=2)
    return made


def things(rig: Rigged) -> tuple[str, str]:
    """The keys of pails and spanner in the form."""
    pail = rig.pails[0]
    return f"pail_{pail.capacity_ml}_{pail.concentrate_id}_sealed", f"i{ParLine.objects.get().pk}"


def counted(rig: Rigged, pails: tuple[str, str], spanners: tuple[str, str] = ("2", "2"), **more: Any) -> dict[str, Any]:
    pail, spanner = things(rig)
    ends = {f"{pail}_off": pails[0], f"{pail}_aboard": pails[1]}
    ends |= {f"{spanner}_off": spanners[0], f"{spanner}_aboard": spanners[1]}
    return {"unit": rig.unit.pk, "vehicle": rig.cast.spare_vehicle.pk, **ends, **more}


def send(client: Any, rig: Rigged, posted: dict[str, Any], **more: str) -> Any:
    return client.post(f"{reverse('change_over')}?unit={rig.unit.pk}", {**posted, **more}, follow=True)


def test_the_form_is_blind_and_names_what_goes_along(rig, as_role):
    officer = as_role(Role.OFFICER)
    assert f"?unit={rig.unit.pk}" in officer.get(reverse("change_over")).content.decode()
    html = officer.get(f"{reverse('change_over')}?unit={rig.unit.pk}").content.decode()
    assert "sealed pail of 5.00 gal, Demo AR-AFFF 3x6" in html
    assert "spanner" in html
    assert "T1" not in html, "a tank is fixed to its vehicle"
    drawn = [part.split(">")[0] for part in html.split("<input")[1:] if "inputmode" in part]
    assert len(drawn) == 4
    assert not [part for part in drawn if "value=" in part]
    assert "of 9" not in html
    for name in things(rig):
        assert f'name="{name}_off"' in html
        assert f'name="{name}_aboard"' in html


def test_there_and_back_with_a_count_at_each_end(rig, as_role, django_capture_on_commit_callbacks):
    officer = as_role(Role.OFFICER)
    raise_deficiency(
        rig.department, subject=rig.vehicle, words="pump leaks", effect=Effect.NOT_READY, acting=rig.entry().acting
    )
    assert rig.status() == "not_ready"
    posted = fields(**counted(rig, ("9", "9")))
    assert "Not entered yet" in words(send(officer, rig, posted))
    with django_capture_on_commit_callbacks(execute=True):
        page = send(officer, rig, posted, confirm="yes")
    said = words(page)
    assert "Engine 1 on vehicle 209 from vehicle 201" in said
    assert "off the old vehicle 9 of 9 · aboard the new one 9 of 9" in said
    assert "differs" not in said
    assert RaisedDeficiency.objects.filter(unit=rig.unit).count() == 0
    rig.judge()
    assert rig.open_codes() == {"check_never"}, "what was wrong with the vehicle stays with it; it is to be checked"
    assert Container.objects.get(code="T1").place.vehicle == rig.vehicle
    assert {each.place.unit for each in Container.objects.filter(code__startswith="P")} == {rig.unit}
    told = Change.objects.get(action="change over").new
    assert told["counted"]["off the old vehicle: spanner"] == 2
    back = fields(**counted(rig, ("9", "9"))) | {"vehicle": rig.vehicle.pk}
    send(officer, rig, back, confirm="yes")
    assert Assignment.objects.get(to_at=None).vehicle == rig.vehicle
    assert ChangeOverCount.objects.count() == 2 * 2 * 2  # two things, two ends, there and back
    assert rig.status() == "not_ready", "and there it waits"


def test_what_was_left_behind_is_raised_and_shown_with_the_book(rig, as_role):
    officer = as_role(Role.OFFICER)
    posted = fields(**counted(rig, ("9", "8"), ("2", ""), besides="a pail of Class A"))
    said = words(send(officer, rig, posted, confirm="yes"))
    assert "off the old vehicle 9 of 9 · aboard the new one 8 of 9 · differs: raised as a deficiency" in said
    assert "off the old vehicle 2 of 2 · aboard the new one not counted" in said
    row = RaisedDeficiency.objects.get(unit=rig.unit)
    pails = "8 of 9 sealed pail of 5.00 gal, Demo AR-AFFF 3x6 aboard the new vehicle"
    assert row.words == f"change-over: {pails}; besides: a pail of Class A"
    assert row.effect == Effect.UNVERIFIED
    assert Container.objects.filter(place__unit=rig.unit).count() == 9, (
        "the book is changed by an entry, not by a count"
    )


def test_pails_of_the_new_vehicle_are_expected_there(rig, as_role):
    extra = rig.pail("X1")
    there = rig.department.places.create(vehicle=rig.cast.spare_vehicle)
    movements.move(rig.entry(happened_at=SIX), containers=[extra], place=there)
    said = words(send(as_role(Role.OFFICER), rig, fields(**counted(rig, ("9", "10"))), confirm="yes"))
    assert "off the old vehicle 9 of 9 · aboard the new one 10 of 10" in said
    assert not RaisedDeficiency.objects.exists()
    assert extra.contents_ml == PAIL_ML


def test_bad_counts_are_said(rig, as_role):
    said = words(send(as_role(Role.OFFICER), rig, fields(**counted(rig, ("-1", "many")))))
    assert said.count("A whole number from 0 to 999 belongs here: so many as you counted.") >= 2
    assert not ChangeOverCount.objects.exists()


def test_crew_may_read_it_and_not_make_it(rig, as_role):
    crew = as_role(Role.CREW)
    assert send(crew, rig, fields(**counted(rig, ("9", "9")))).status_code == 403
    assert crew.get(reverse("change_over_made", args=[rig.assignment.pk])).status_code == 200
