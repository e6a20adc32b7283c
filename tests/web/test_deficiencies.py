"""Deficiencies on the pages: raised on a phone with a photo, listed by age, worked on, closed; photos for one's own."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from readiness.actions.drafts import new_id
from readiness.models import Photo, RaisedDeficiency, Role
from tests.cast import D0, SIX, Cast
from tests.judged import Rigged
from tests.web.conftest import as_person
from tests.web.doors import PIXEL
from tests.web.entering import words


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    made = Rigged(cast)
    made.judge()
    return made


def raising(client: Any, rig: Rigged, **more: Any) -> Any:
    form = {"entry_id": str(new_id()), "thing": f"line-{rig.line.pk}", "words": "ring is stiff", "effect": "limited"}
    address = f"{reverse('raise_deficiency')}?unit={rig.unit.pk}"
    return client.post(address, {**form, **more}, follow=True)


def test_raised_from_the_crews_page_with_a_photo(cast, rig, as_role, django_capture_on_commit_callbacks):
    crew = as_role(Role.CREW)
    assert reverse("raise_deficiency") in crew.get(reverse("crew_unit", args=[rig.unit.pk])).content.decode()
    form = words(crew.get(f"{reverse('raise_deficiency')}?unit={rig.unit.pk}"))
    for name in ("Engine 1 as a whole", "vehicle 201", "line Crosslay 1", "pail P0"):
        assert name in form
    with django_capture_on_commit_callbacks(execute=True):
        answer = raising(crew, rig, photo=SimpleUploadedFile("a.png", PIXEL))
    assert answer.redirect_chain[-1][0] == reverse("crew_unit", args=[rig.unit.pk])
    assert "Crosslay 1: ring is stiff" in words(answer)
    row = RaisedDeficiency.objects.get()
    assert (row.line, row.effect, row.raised_by) == (rig.line, "limited", cast.people[Role.CREW])
    assert rig.current().status == "limited"
    picture = crew.get(reverse("photo", args=[Photo.objects.get().pk]))
    assert (picture.content, picture["Content-Type"]) == (PIXEL, "image/png")
    assert picture["X-Content-Type-Options"] == "nosniff"
    assert as_person(cast.outsider).get(reverse("photo", args=[Photo.objects.get().pk])).status_code == 404


def test_a_second_tap_raises_nothing_more(cast, rig, as_role):
    crew, twice = as_role(Role.CREW), {"entry_id": str(new_id())}
    raising(crew, rig, **twice)
    assert "nothing was raised twice" in words(raising(crew, rig, **twice))
    other = words(raising(crew, rig, **twice, words="something else"))
    assert "confirmed before with another content" in other
    assert RaisedDeficiency.objects.count() == 1


def test_what_is_wrong_with_the_form_is_said_and_nothing_saved(cast, rig, as_role):
    crew = as_role(Role.CREW)
    for more, said in (
        ({"words": ""}, "Nothing was read: What is wrong is needed."),
        ({"effect": ""}, "say what it does to the status"),
        ({"thing": f"line-{rig.line.pk + 999}"}, "is not in the list"),
        ({"photo": SimpleUploadedFile("a.jpg", b"MZ no picture")}, "no JPEG, PNG or WebP picture"),
        ({"photo": SimpleUploadedFile("a.jpg", b"")}, "An empty file was read"),
    ):
        assert said in words(raising(crew, rig, **more))
    assert not RaisedDeficiency.objects.exists()
    assert not Photo.objects.exists()


def test_a_photo_of_a_refused_form_has_to_be_chosen_again_and_a_queued_one_waits_with_it(cast, rig, as_role):
    crew = as_role(Role.CREW)
    picture = SimpleUploadedFile("a.png", PIXEL)
    assert "Choose the photo again" in words(raising(crew, rig, words="", photo=picture))
    assert "Choose the photo again" not in words(raising(crew, rig, words=""))
    form = {"entry_id": str(new_id()), "photo": SimpleUploadedFile("a.png", PIXEL)}
    headers = {
        "Queued-Entry": form["entry_id"],
        "Queued-For": f"{rig.department.pk}-{cast.people[Role.CREW].pk}",
        "Queued-At": SIX.isoformat(),
        "Queued-Sent-At": SIX.isoformat(),
    }
    answer = crew.post(f"{reverse('raise_deficiency')}?unit={rig.unit.pk}", form, headers=headers)
    assert answer.status_code == 422
    assert "photo" not in answer.json()["said"]


def test_a_container_in_store_has_its_own_way(cast, rig, as_role):
    pail = cast.pail(code="S1")
    crew = as_role(Role.CREW)
    address = reverse("raise_deficiency", query={"container": pail.pk})
    assert address in crew.get(reverse("container", args=[pail.pk])).content.decode()
    form = {"entry_id": str(new_id()), "thing": f"container-{pail.pk}", "words": "label gone", "effect": "note"}
    crew.post(address, form)
    assert RaisedDeficiency.objects.get().container == pail


def test_the_list_says_who_answers_and_filters(cast, rig, as_role):
    crew, chief = as_role(Role.CREW), as_role(Role.CHIEF)
    raising(crew, rig)
    raising(crew, rig, words="lamp dark", effect="note")
    row = RaisedDeficiency.objects.get(words="ring is stiff")
    days = {"raised_at": SIX - timedelta(days=12), "due_on": D0 - timedelta(days=8), "owner": cast.people[Role.CREW]}
    RaisedDeficiency.objects.filter(pk=row.pk).update(**days)
    page = words(chief.get(reverse("deficiencies")))
    assert page.index("ring is stiff") < page.index("lamp dark"), "the oldest first"
    assert "8 days overdue" in page
    only = words(chief.get(reverse("deficiencies"), {"state": "overdue"}))
    assert "1 row" in only
    assert "chief" in only
    book = chief.get(reverse("deficiencies"), {"export": "xlsx"})
    assert book.status_code == 200


def test_worked_on_followed_up_and_closed(cast, rig, as_role):
    raising(as_role(Role.CREW), rig)
    row, officer = RaisedDeficiency.objects.get(), as_role(Role.OFFICER)
    officer.post(reverse("deficiency_work", args=[row.pk]), {"words": "oiled it"})
    follow = {"owner": cast.people[Role.CREW].pk, "due_on": "2026-06-20", "effect": "limited", "shop_ticket": "W-3"}
    officer.post(reverse("deficiency_follow_up", args=[row.pk]), follow)
    page = words(officer.get(reverse("deficiency", args=[row.pk])))
    for said in ("oiled it", "2026-06-20", "W-3", "Touches Engine 1"):
        assert said in page
    refused = words(officer.post(reverse("deficiency_close", args=[row.pk]), {"proof-words": ""}))
    assert "Proof is needed" in refused
    officer.post(reverse("deficiency_close", args=[row.pk]), {"proof-words": "turns freely, flowed 95 gpm"})
    row.refresh_from_db()
    assert row.closed_at == SIX
    assert "ring is stiff" in words(officer.get(reverse("deficiencies_closed")))
    officer.post(reverse("deficiency_reopen", args=[row.pk]), {"words": "stiff again"})
    row.refresh_from_db()
    assert row.closed_at is None


def test_the_units_page_shows_who_sees_to_it(cast, rig, as_role, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        raising(as_role(Role.CREW), rig)
    person = cast.people[Role.LOGISTICS]
    RaisedDeficiency.objects.update(owner=person, due_on=D0 - timedelta(days=1))
    page = words(as_role(Role.CHIEF).get(reverse("unit", args=[rig.unit.pk])))
    assert f"Crosslay 1: ring is stiff. Cure it, and close it with proof. 2026-06-15 {person.username}" in page
    assert "overdue" in page
