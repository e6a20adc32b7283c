"""The policy's pages: everybody of the department may read, a chief changes it after having seen what it does."""

from __future__ import annotations

import re

import pytest

from readiness.models import Change, Policy, Role, User
from readiness.models.policy import RULES
from readiness.web.policy import RULE_WORDS, PolicyForm
from tests.judged import Rigged
from tests.web.conftest import as_person

pytestmark = pytest.mark.django_db


def posted(client, **changes):
    """The form as it was drawn, with changes."""
    form = client.get("/policy/change/").context["form"]
    drawn = {}
    for name in form.fields:
        value = form[name].value()
        if name.endswith("_ml"):
            number, unit = form.fields[name].widget.decompress(value)
            drawn |= {f"{name}_number": number, f"{name}_unit": unit}
        elif value is not None and value is not False:  # 0 is an answer
            drawn[name] = form.fields[name].prepare_value(value)
    return {**drawn, **changes}


def test_every_rule_has_its_words_and_its_field():
    assert set(RULE_WORDS) == set(RULES)
    assert set(PolicyForm.base_fields) == {"seen", *RULES}


@pytest.mark.parametrize("role", Role)
def test_who_may_read_and_who_may_change(as_role, role):
    client = as_role(role)
    page = client.get("/policy/")
    assert page.status_code == 200
    text = page.content.decode()
    for rule in RULES.values():
        assert rule.source.split(":")[0].replace("'", "&#x27;") in text
    assert "65 % of inlet pressure" in text
    assert "<strong>Marine: off.</strong>" in text
    allowed = role == Role.CHIEF
    assert ("Change the policy" in text) == allowed
    assert client.get("/policy/change/").status_code == (200 if allowed else 403)
    assert client.post("/policy/change/", {"save": ""}).status_code == (200 if allowed else 403)
    assert not Change.objects.exists()


def test_another_department_has_its_own(cast):
    Policy.objects.create(department=cast.other_department, check_interval_h=77)
    text = as_person(cast.outsider).get("/policy/").content.decode()
    assert "77 h" in text


def test_first_the_preview_then_the_change(cast, as_role, django_capture_on_commit_callbacks):
    rigged = Rigged(cast)
    assert rigged.status() == "ready"
    client = as_role(Role.CHIEF)
    asked = posted(client, unit_hold_back="10", check_interval_h="30")
    preview = client.post("/policy/change/", {**asked, "preview": ""})
    text = preview.content.decode()
    assert "Nothing is saved yet." in text
    assert "Check interval: 24 h → <strong>30 h</strong>" in text
    assert "Hold-back foam of units: 0 % of need → <strong>10 % of need</strong>" in text
    assert "1 unit changes its status" in text
    assert not Change.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        saved = client.post("/policy/change/", {**dict(preview.context["carried"]), "save": ""})
    assert (saved.status_code, saved["Location"]) == (302, "/policy/")
    policy = Policy.objects.get(department=cast.department)
    assert (policy.unit_hold_back, policy.check_interval_h) == (1000, 30)
    assert Change.objects.get().new == {"unit_hold_back": 1000, "check_interval_h": 30}
    assert rigged.current().status == preview.context["effects"].changed[0].after == "limited"


def test_every_hidden_field_of_the_preview_is_posted_again(cast, as_role):
    """The preview's own form, taken from its HTML, saves what was seen."""
    client = as_role(Role.CHIEF)
    asked = posted(
        client, back_pressure_share="70", add_concentrates="on", dead_band_ml_number="2", dead_band_ml_unit="L"
    )
    text = client.post("/policy/change/", {**asked, "preview": ""}).content.decode()
    found = re.findall(r'<input type="hidden" name="([^"]+)"(?: value="([^"]*)")?', text)
    again = {name: value for name, value in found if name != "csrfmiddlewaretoken"}
    assert client.post("/policy/change/", {**again, "save": ""}).status_code == 302
    policy = Policy.objects.get(department=cast.department)
    assert (policy.back_pressure_share, policy.add_concentrates, policy.dead_band_ml) == (7000, True, 2000)


def test_back_to_the_form_keeps_what_was_typed(as_role):
    client = as_role(Role.CHIEF)
    text = client.post("/policy/change/", posted(client, check_interval_h="30", back="")).content.decode()
    assert 'name="check_interval_h" value="30"' in text
    assert not Change.objects.exists()


def test_nothing_that_differs_is_said(as_role):
    client = as_role(Role.CHIEF)
    assert "Nothing differs from the policy as it is" in client.post("/policy/change/", posted(client)).content.decode()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"check_interval_h": "0"}, "at least 1 h"),
        ({"check_interval_h": "daily"}, "a plain number belongs here"),
        ({"unit_hold_back": "120"}, "at most 100 %"),
        ({"rich_end": "rich"}, "rich"),
        ({"dead_band_ml_number": "-1"}, "never below zero"),
        ({"dead_band_ml_unit": ""}, "no unit"),
        ({"opened_limit_d": ""}, "Nothing was read"),
    ],
)
def test_a_bad_value_is_refused_with_a_sentence(as_role, changes, sentence):
    client = as_role(Role.CHIEF)
    answer = client.post("/policy/change/", posted(client, save="", **changes))
    assert answer.status_code == 200
    assert sentence in answer.content.decode()
    assert not Change.objects.exists()


def test_what_another_chief_changed_meanwhile_is_not_overwritten(cast, as_role):
    client = as_role(Role.CHIEF)
    asked = posted(client, check_interval_h="30", save="")
    Policy.objects.filter(department=cast.department).update(check_interval_h=48)
    assert "Somebody changed it since" in client.post("/policy/change/", asked).content.decode()
    assert Policy.objects.get(department=cast.department).check_interval_h == 48


def test_nobody_is_sent_to_sign_in(client):
    assert client.get("/policy/").status_code == 302
    assert User.objects.count() == 0
