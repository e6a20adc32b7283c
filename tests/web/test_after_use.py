"""Back to service: one entry for what was used and flushed; a line stays limited until its flush is logged."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from readiness.models import Change, Container, FoamLine, Movement, RaisedDeficiency, Role
from tests.cast import PAIL_ML, SIX, Cast
from tests.judged import Rigged
from tests.web.entering import book, fields, gallons, stocked, words


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    """Engine 1: nine sealed pails, a tank of 100,000 mL, one line; ready."""
    made = Rigged(cast)
    made.tank("T1")
    made.checked(name="with the tank")
    made.judge()
    return made


def form(rig: Rigged, **more: Any) -> dict[str, Any]:
    return fields(account="incident", incident="2026-0417", **more)


def minutes(rig: Rigged, number: str) -> dict[str, str]:
    return {f"l{rig.line.pk}_min_number": number, f"l{rig.line.pk}_min_unit": "min"}


def send(client: Any, rig: Rigged, posted: dict[str, Any], **more: str) -> Any:
    return client.post(reverse("after_use", args=[rig.unit.pk]), {**posted, **more}, follow=True)


def test_one_entry_takes_the_unit_back_to_service(rig, as_role, django_capture_on_commit_callbacks):
    crew = as_role(Role.CREW)
    tank, line = Container.objects.get(code="T1"), f"l{rig.line.pk}"
    posted = form(rig, **gallons("5", f"c{tank.pk}"), **minutes(rig, "2"))
    posted |= {f"g{rig.pails[0].pk}": "4", line: "flushed", f"{line}_strainer": "clean"}
    page = words(send(crew, rig, posted))
    assert "Not entered yet" in page
    assert "26.4 gal → 21.4 gal" in page  # 100,000 mL are 26.42 gal, less 5
    assert not Movement.objects.filter(incident="2026-0417").exists()
    with django_capture_on_commit_callbacks(execute=True):
        done = send(crew, rig, posted, confirm="yes")
    assert done.redirect_chain[-1][0] == reverse("crew_unit", args=[rig.unit.pk])
    # 5 gal = 18,927 mL
    assert book(tank) == {"AR-1": 100_000 - 18_927}
    assert [book(pail) for pail in rig.pails] == [{}] * 4 + [{"AR-1": PAIL_ML}] * 5
    movement = Movement.objects.get(incident="2026-0417")
    assert movement.lines.filter(account="incident").count() == 5
    flushed = Change.objects.filter(action="flush line").get()
    assert flushed.new == {"unflushed_since": None, "flushed_min": 2.0, "strainer": "clean"}
    assert FoamLine.objects.get().unflushed_since is None
    assert send(crew, rig, posted, confirm="yes").status_code == 200
    assert Movement.objects.filter(incident="2026-0417").count() == 1


def test_until_the_flush_is_logged_the_line_is_limited(rig, as_role, django_capture_on_commit_callbacks):
    crew, line = as_role(Role.CREW), f"l{rig.line.pk}"
    assert rig.status() == "ready"
    with django_capture_on_commit_callbacks(execute=True):
        send(crew, rig, form(rig, **{line: "not flushed yet"}), confirm="yes")
    assert rig.current().status == "limited"
    assert rig.open_codes() == {"flush_not_logged"}
    assert FoamLine.objects.get().unflushed_since == SIX
    with django_capture_on_commit_callbacks(execute=True):
        send(crew, rig, form(rig, **{line: "flushed"}, **minutes(rig, "1")), confirm="yes")
    assert rig.current().status == "ready"


def test_foam_that_no_line_drew_is_asked_about(rig, as_role):
    crew, asks = as_role(Role.CREW), "No line is said to have drawn it."
    posted = form(rig, **{f"g{rig.pails[0].pk}": "4"})
    assert asks in words(send(crew, rig, posted))
    assert asks not in words(send(crew, rig, posted, **{f"l{rig.line.pk}": "not flushed yet"}))


def test_less_than_a_minute_is_no_flush(rig, as_role):
    crew, line = as_role(Role.CREW), f"l{rig.line.pk}"
    page = words(send(crew, rig, form(rig, **{line: "flushed"}, **minutes(rig, "0.5"))))
    assert "0.5 min was read. Clear water runs for at least 1 min" in page
    page = words(send(crew, rig, form(rig, **{line: "flushed"})))
    assert "say for how many minutes clear water ran" in page
    page = words(send(crew, rig, form(rig, **minutes(rig, "3"))))
    assert "mark used and flushed" in page
    assert not Change.objects.filter(action="flush line").exists()


def test_a_faulty_strainer_is_raised(rig, as_role):
    crew, line = as_role(Role.CREW), f"l{rig.line.pk}"
    posted = form(rig, **{line: "flushed", f"{line}_strainer": "fault"}, **minutes(rig, "2"))
    assert "say in a word or two what is wrong" in words(send(crew, rig, posted))
    send(crew, rig, {**posted, f"{line}_words": "mesh torn"}, confirm="yes")
    row = RaisedDeficiency.objects.get()
    assert (row.line, row.words, row.effect) == (rig.line, "strainer: mesh torn", "unverified")


def test_empties_of_the_common_pile_by_their_codes(cast, rig, as_role):
    other = stocked(cast, "X-77")
    crew = as_role(Role.CREW)
    # P0 named by its code as well as counted: three pails of Engine 1 in all, and the neighbor's
    posted = form(rig, empties="p0 X-77", **{f"g{rig.pails[0].pk}": "2"})
    send(crew, rig, posted, confirm="yes")
    assert [book(pail) for pail in rig.pails[:4]] == [{}, {}, {}, {"AR-1": PAIL_ML}]
    assert book(other) == {}


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "say what was used, or which line drew foam"),
        ({"incident": ""}, "the incident’s number is needed"),
        ({"group": "10"}, "A whole number from 0 to 9 belongs here"),
        ({"group": "four"}, "A whole number from 0 to 9 belongs here"),
        ({"account": "disposal"}, "choose one of the answers"),
        ({"empties": "Z-1"}, "no container has that label code"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_entered(rig, as_role, more, said):
    before = Movement.objects.count()
    if "group" in more:
        more = {f"g{rig.pails[0].pk}": more["group"]}
    if "incident" in more:
        more = {**more, f"g{rig.pails[0].pk}": "1"}
    assert said in words(send(as_role(Role.CREW), rig, {**form(rig), **more}, confirm="yes"))
    assert Movement.objects.count() == before


def test_the_crews_own_forms_know_their_unit(rig, as_role):
    crew = as_role(Role.CREW)
    page = crew.get(reverse("crew_unit", args=[rig.unit.pk])).content.decode()
    assert reverse("after_use", args=[rig.unit.pk]) in page
    stored = stocked(rig.cast, "FAR-1", place=None)
    for name in ("open", "flush"):
        address = reverse(name, query={"unit": rig.unit.pk})
        assert address.replace("&", "&amp;") in page
        drawn = crew.get(address).content.decode()
        assert ": Engine 1" in drawn
        assert '<option value="P3">' in drawn
    done = crew.post(reverse("open", query={"unit": rig.unit.pk}), fields(codes="P3", confirm="yes"))
    assert done.headers["Location"] == reverse("crew_unit", args=[rig.unit.pk])
    assert crew.get(reverse("open", query={"unit": "9" * 30})).status_code == 200
    assert stored.code == "FAR-1"
