"""The audit workbook: what is in it, and the way to save it."""

from __future__ import annotations

from tempfile import TemporaryFile

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import path
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from readiness.engineering.records import Moment
from readiness.reports.audit import audit
from readiness.reports.journal import person_name
from readiness.web.access import Here, signed_in
from readiness.web.planning_tabs import tabs
from readiness.web.tables import WORKBOOK_TYPE
from readiness.workbooks.audit import write_audit


@require_GET
@signed_in
def page(request: HttpRequest, here: Here) -> HttpResponseBase:
    """What the workbook holds."""
    return render(request, "planning/audit.html", {"tabs": tabs(request), "here": here})


@require_GET
@signed_in
def workbook(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The workbook as of now, in the reader's units."""
    made_by = f"{person_name(here.user)}, {here.role.label}"
    found = audit(here.department, Moment(here.now, here.day), made_by, here.units)
    with TemporaryFile() as file:  # the packed workbook alone is held in memory, a few megabytes for many years
        write_audit(file, found.facts, found.sheets, found.charts)
        file.seek(0)
        response = HttpResponse(file.read(), content_type=WORKBOOK_TYPE)
    name = f"audit-{slugify(here.department.name) or 'department'}-{here.today}.xlsx"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


urlpatterns = [
    path("planning/audit/", page, name="audit"),
    path("planning/audit/workbook/", workbook, name="audit_workbook"),
]
