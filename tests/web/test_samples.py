"""Samples with a laboratory's values: what they do, what is shown, and a department's own limits. Row L1."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest

from readiness.models import Policy, Role, Sample
from tests.cast import D0, Cast
from tests.judged import Rigged
from tests.web.conftest import as_person
from tests.web.county_pages import words

pytestmark = pytest.mark.django_db


def form(**changed):
    taken = (D0 - timedelta(days=2)).isoformat()
    return {"entry_id": str(uuid4()), "taken_on": taken, "answer": "", "report": "LAB-5", **changed}


def test_a_value_outside_fails_the_lot_where_no_answer_is_given(cast: Cast):
    """pH 6.9 is below 7.0: the preview says what it does to Engine 1, and the sample's page why."""
    rig = Rigged(cast)
    rig.judge()
    client = as_person(cast.people[Role.LOGISTICS])
    path = f"/lots/{cast.lot.pk}/sample/"
    posted = form(ph="6.9", density="1.0", declared_density="1.02")
    assert "ready becomes not ready" in words(client.post(path, posted).content)
    assert client.post(path, {**posted, "confirm": "yes"}).status_code == 302
    made = Sample.objects.get()
    assert made.passed is False
    page = words(client.get(f"/samples/{made.pk}/").content)
    assert "pH 6.9: OUTSIDE 7 to 8.5." in page
    assert "Density 1 kg/L: within 0.969 to 1.071." in page
    assert "failed" in page
    assert rig.status() == "not_ready"
    assert as_person(cast.outsider).get(f"/samples/{made.pk}/").status_code == 404


@pytest.mark.parametrize(("changed", "said"), [({"ph": "acid"}, "write a number"), ({"ph": "15"}, "cannot be")])
def test_values_that_cannot_be(cast: Cast, changed, said):
    Rigged(cast)
    client = as_person(cast.people[Role.LOGISTICS])
    answer = client.post(f"/lots/{cast.lot.pk}/sample/", {**form(**changed), "confirm": "yes"})
    assert said in words(answer.content)
    assert not Sample.objects.exists()


LIMITS = {
    "density_within": "5", "viscosity_within": "5", "density_aged_within": "10", "ph_low": "6", "ph_high": "9.5",
    "sediment_most": "0.25", "sediment_included": "on",
}  # fmt: skip


def test_a_chief_changes_the_limits(cast: Cast):
    """Row L2 in place of L1: pH 6.0 to 9.5, sediment at most 0.25 %. What is as shipped is not kept."""
    chief = as_person(cast.people[Role.CHIEF])
    shown = chief.get("/policy/sample-limits/").content.decode()
    assert 'name="ph_low" value="7"' in shown
    assert 'name="density_within" value="5"' in shown
    assert chief.post("/policy/sample-limits/", LIMITS).status_code == 302
    kept = Policy.objects.get(department=cast.department).sample_limits
    assert kept == {"ph_low": 6.0, "ph_high": 9.5, "sediment_most": 0.25, "sediment_included": True}
    wrong = chief.post("/policy/sample-limits/", {**LIMITS, "ph_low": "9.9"})
    assert "the lower comes first" in words(wrong.content)
    for role in (Role.LOGISTICS, Role.CREW):
        assert as_person(cast.people[role]).post("/policy/sample-limits/", LIMITS).status_code == 403
