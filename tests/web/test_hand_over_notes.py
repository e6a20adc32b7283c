"""The note to the next shift, first on the crew's page until it is done."""

from __future__ import annotations

import pytest

from readiness.actions.drafts import new_id
from readiness.models import HandOverNote, Role
from tests.cast import Cast
from tests.judged import Rigged

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    rig = Rigged(cast)
    rig.judge()
    return rig


def test_a_note_stands_first_until_it_is_done(rig, as_role):
    crew, officer = as_role(Role.CREW), as_role(Role.OFFICER)
    address = f"/crew/{rig.unit.pk}/"
    posted = {"entry_id": str(new_id()), "about": "unit", "words": "tank two reads low"}
    for _ in range(2):
        assert crew.post(f"{address}note/", posted)["Location"] == address
    note = HandOverNote.objects.get()
    page = officer.get(address).content.decode()
    assert page.index("tank two reads low") < page.index('aria-label="Status"')
    assert "nobody has said that they read it" in page
    officer.post(f"{address}notes/{note.pk}/read/")
    page = officer.get(address).content.decode()
    assert "read by" in page
    assert "I have read it" not in page
    assert "I have read it" in crew.get(address).content.decode()
    crew.post(f"{address}notes/{note.pk}/done/")
    assert "tank two reads low" not in crew.get(address).content.decode()
    assert "tank two reads low" in crew.get(f"{address}notes/").content.decode()
    assert crew.get(f"{address}notes/?export=xlsx").status_code == 200


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"words": " "}, "No words were read"),
        ({"about": "moon"}, "Choose from the list"),
        ({"words": "x" * 601}, "at most 600"),
    ],
)
def test_what_is_wrong_is_said(rig, as_role, change, sentence):
    posted = {"entry_id": str(new_id()), "about": "unit", "words": "x", **change}
    assert sentence in as_role(Role.CREW).post(f"/crew/{rig.unit.pk}/note/", posted).content.decode()
    assert not HandOverNote.objects.exists()


def test_an_observer_reads_notes_and_changes_none(rig, as_role):
    posted = {"entry_id": str(new_id()), "about": "unit", "words": "x"}
    as_role(Role.CREW).post(f"/crew/{rig.unit.pk}/note/", posted)
    page = as_role(Role.OBSERVER).get(f"/crew/{rig.unit.pk}/").content.decode()
    assert "From the shift before" in page
    assert "I have read it" not in page
