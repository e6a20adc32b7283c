"""The first page of reference data: every kind with how many are in use."""

from __future__ import annotations

from typing import Final

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_GET

from readiness.actions.keeping import EDIT
from readiness.reports.reference import reference_counts
from readiness.web import concentrates, duties, fleet_records, hoses, inspections, label_sheets, lines, stations
from readiness.web.access import Here, signed_in
from readiness.web.changes import SEE_CHANGES
from readiness.web.editors import Editor

GROUPS: Final[tuple[tuple[str, tuple[tuple[str, Editor], ...]], ...]] = (
    (
        "Fleet",
        (
            ("stations", stations.EDITOR),
            ("units", fleet_records.UNIT_EDITOR),
            ("vehicles", fleet_records.VEHICLE_EDITOR),
        ),
    ),
    (
        "What foam goes through",
        (
            ("appliances", fleet_records.APPLIANCE_EDITOR),
            ("lines", lines.LINE_EDITOR),
            ("setups", lines.SETUP_EDITOR),
            ("hoses", hoses.EDITOR),
        ),
    ),
    ("What it is planned for", (("duties", duties.EDITOR),)),
    ("What falls due", (("inspection_rules", inspections.EDITOR),)),
    (
        "Concentrates and fuels",
        (
            ("concentrates", concentrates.CONCENTRATE_EDITOR),
            ("listings", concentrates.LISTING_EDITOR),
            ("fuels", concentrates.FUEL_EDITOR),
            ("groups", concentrates.GROUP_EDITOR),
        ),
    ),
    ("What is printed", (("label_sheets", label_sheets.EDITOR),)),
)


@require_GET
@signed_in
def reference(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Where to find what."""
    counts = reference_counts(here.department)
    groups = [(title, [(editor, counts[noun].in_use) for noun, editor in of]) for title, of in GROUPS]
    context = {"groups": groups, "may_edit": here.may(EDIT), "see_changes": here.may(SEE_CHANGES)}
    return render(request, "reference/reference.html", context)


urlpatterns = [path("reference/", reference, name="reference")]
