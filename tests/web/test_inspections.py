"""Inspections on the pages: the due list, logging one, and a fault raised with it."""

from __future__ import annotations

from django.urls import reverse

from readiness.models import Inspection, InspectionRule, RaisedDeficiency, Role
from tests.cast import D0, SIX
from tests.judged import Rigged
from tests.web.entering import fields, words


def test_logged_from_the_due_list(cast, as_role):
    rig = Rigged(cast, pails=1)
    tank = rig.tank("T1")
    facts = {"name": "yearly tank inspection", "of": "fixed tank", "rhythm": "year", "clause": "our rule 7"}
    rule = InspectionRule.objects.create(department=cast.department, since_on=D0.replace(year=2025), **facts)
    crew = as_role(Role.CREW)
    # since 2025-06-15, so due on 2026-06-15, which is today
    page = words(crew.get(reverse("inspections"), {"unit": rig.unit.pk}))
    assert "2026-06-15 due today yearly tank inspection T1 Engine 1 Quayside nobody named never" in page
    assert "0 rows" in words(crew.get(reverse("inspections"), {"unit": "no number"}))
    address = reverse("log_inspection", args=[rule.pk, tank.pk])
    assert "our rule 7" in words(crew.get(address))
    assert "say whether it was in order" in words(crew.post(address, fields()))
    assert "no words were read" in words(crew.post(address, fields(passed="no")))
    assert not Inspection.objects.exists()
    posted = fields(passed="no", words="sludge on the floor")
    for _ in range(2):
        assert crew.post(address, posted).status_code == 302
    made = Inspection.objects.get()
    assert (made.container, made.done_at, made.by) == (tank, SIX, cast.people[Role.CREW])
    assert RaisedDeficiency.objects.get().words == "yearly tank inspection: sludge on the floor"
    assert "2027-06-15 due later" in words(crew.get(reverse("inspections")))
    pail = reverse("log_inspection", args=[rule.pk, rig.pails[0].pk])
    assert crew.get(pail).status_code == 404, "a pail is no fixed tank"
