"""The first chief of a department comes by the command line, and sets a password by the link that it prints."""

from __future__ import annotations

import pytest
from django.conf import settings
from django.test import Client

from readiness.models import Change, Membership, Role, User
from tests.commands.calling import refused, said

pytestmark = pytest.mark.django_db


def test_the_first_chief_signs_in_by_the_printed_link(client: Client) -> None:
    said("department", "Quay County")
    told = said("invite", "Ines", "Marlow", "ines@quay.example", "--address", "https://foam.quay.example/")
    lines = told.splitlines()
    assert lines[0] == "Ines Marlow is a member of Quay County, chief."
    assert lines[1] == "Open this once within 14 days to set the password:"
    assert lines[2].startswith("https://foam.quay.example/invitation/")
    path = lines[2].removeprefix("https://foam.quay.example")
    client.post(path, {"new_password1": "a blanket of foam 7", "new_password2": "a blanket of foam 7"})
    assert client.login(username="ines@quay.example", password="a blanket of foam 7")
    assert client.get("/people/invite/").status_code == 200
    assert (Change.objects.get(action="invite").by, Membership.objects.get().role) == (None, Role.CHIEF)


def test_another_role_of_one_department_among_several(monkeypatch: pytest.MonkeyPatch) -> None:
    said("department", "Quay County")
    said("department", "Far County")
    monkeypatch.setattr(settings, "MAIL_IS_SENT", True)
    more = ["--role", "logistics", "--department", "far-county"]
    told = said("invite", "Odo", "Fenwick", "odo@far.example", *more)
    assert told == "Odo Fenwick is a member of Far County, logistics officer.\nA mail is on its way: odo@far.example.\n"
    assert "is a member already, as logistics officer" in refused("invite", "Odo", "Fenwick", "odo@far.example", *more)


def test_what_is_refused() -> None:
    assert refused("invite", "I", "M", "i@q.example").startswith("There is no department yet.")
    said("department", "Quay County")
    assert (
        refused("invite", "I", "M", "nobody") == "“nobody” was read: an e-mail address looks like name@county.example."
    )
    assert "invalid choice: 'boss'" in refused("invite", "I", "M", "i@q.example", "--role", "boss")
    assert User.objects.count() == 0
