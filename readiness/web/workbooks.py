"""A department's workbook: the template, the upload, its faults in place, and taking it in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import NamedTuple

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions.uploads import take_in
from readiness.web import access
from readiness.web.access import Here, may
from readiness.web.forms import Form
from readiness.web.kept_files import NotKept, drop, keep, kept
from readiness.web.tables import WORKBOOK_TYPE, Column, NumberColumn, RecordFilter, Table, list_page
from readiness.workbooks.guard import MOST_BYTES, NotAWorkbook, check_file
from readiness.workbooks.rows import Fault
from readiness.workbooks.sheets import BY_KEY
from readiness.workbooks.template import write_template


class UploadForm(Form):
    """One workbook."""

    file = forms.FileField(
        label="Workbook (.xlsx)",
        widget=forms.FileInput({"accept": ".xlsx"}),
        help_text=f"At most {MOST_BYTES // 1_000_000} MB. It goes in whole or not at all.",
        error_messages={
            "required": "No file was read: choose the workbook.",
            "empty": "An empty file was read: choose the workbook.",
        },
    )


@require_http_methods(["GET", "POST"])
@may("workbook")
def upload(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Choose a workbook; it is looked through before anything is saved."""
    form = UploadForm(request.POST, request.FILES, here=here) if request.method == "POST" else UploadForm(here=here)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data["file"].read()
        try:
            check_file(data)
        except NotAWorkbook as refused:
            form.refuse(refused, "file")
        else:
            return redirect("workbook_check", ticket=keep(here, data))
    return render(request, "workbooks/upload.html", {"here": here, "form": form})


class FaultTable(Table):
    """Faults as the workbook stands."""

    caption = "Faults in the workbook"
    sheet = Column(verbose_name="Sheet")
    row = NumberColumn(verbose_name="Row")
    column = Column(verbose_name="Column", default="")
    heading = Column(verbose_name="Heading", default="")
    read = Column(verbose_name="What was read")
    right = Column(verbose_name="What would be right")


class FaultFilter(RecordFilter):
    """By sheet, and words."""

    search = ("sheet", "column", "heading", "read", "right")
    choices = {"sheet": "Sheet", "heading": "Column"}


class Repeated(NamedTuple):
    """One kind of fault, and how often it stands in a column."""

    sheet: str
    heading: str
    right: str
    times: int


def repeated(faults: tuple[Fault, ...]) -> list[Repeated]:
    """The faults that stand in many rows alike, the commonest first."""
    counts = Counter((fault.sheet, fault.heading, fault.right) for fault in faults)
    return [Repeated(*key, count) for key, count in counts.most_common(12) if count > 1]


class Going(NamedTuple):
    """What would become of a sheet."""

    sheet: str
    said: str


def going(by_sheet: Mapping[str, Mapping[str, int]]) -> list[Going]:
    """What would go in, by sheet."""
    return [
        Going(BY_KEY[sheet].title, ", ".join(f"{number} {what}" for what, number in sorted(counts.items()) if number))
        for sheet, counts in by_sheet.items()
        if any(counts.values())
    ]


@require_GET
@may("workbook")
def check(request: HttpRequest, here: Here, ticket: str) -> HttpResponseBase:
    """The faults of a sent workbook in place, or what would go in."""
    try:
        data = kept(here, ticket)
        imported = take_in(here.department, data, acting=here.acting, dry_run=True, clock=access.CLOCK)
    except (NotKept, NotAWorkbook) as refused:
        return _again(request, here, str(refused))
    if imported.faults:
        return list_page(
            request,
            here,
            FaultTable,
            list(imported.faults),
            template="workbooks/faults.html",
            filter_class=FaultFilter,
            context={"count": len(imported.faults), "repeated": repeated(imported.faults)},
        )
    context = {"here": here, "imported": imported, "going": going(imported.counts), "ticket": ticket}
    return render(request, "workbooks/summary.html", context)


@require_POST
@may("workbook")
def confirm(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Take the workbook in."""
    try:
        data = kept(here, request.POST.get("file", ""))
        imported = take_in(here.department, data, acting=here.acting, dry_run=False, clock=access.CLOCK)
    except (NotKept, NotAWorkbook) as refused:
        return _again(request, here, str(refused))
    if imported.faults:  # something happened between the look and the confirmation
        return redirect("workbook_check", ticket=request.POST["file"])
    drop(here, data)
    if imported.again:
        messages.info(request, "This workbook was taken in before: nothing was posted again.")
    else:
        messages.success(request, f"The workbook is taken in: {imported.movements} containers came into the book.")
    return redirect("stock")


def _again(request: HttpRequest, here: Here, sentence: str) -> HttpResponseBase:
    form = UploadForm({}, {}, here=here)
    form.errors.clear()
    form.refuse(sentence, "file")
    return render(request, "workbooks/upload.html", {"here": here, "form": form})


@require_GET
@may("workbook")
def template(request: HttpRequest, here: Here, units: str) -> HttpResponseBase:
    """The empty workbook with instructions, in US or metric units."""
    if units == "us":
        data = write_template("us")
    elif units == "metric":
        data = write_template("metric")
    else:
        raise Http404
    response = HttpResponse(data, content_type=WORKBOOK_TYPE)
    response.headers["Content-Disposition"] = f'attachment; filename="foam-readiness-{units}.xlsx"'
    return response


urlpatterns = [
    path("workbook/", upload, name="workbook"),
    path("workbook/check/<str:ticket>/", check, name="workbook_check"),
    path("workbook/confirm/", confirm, name="workbook_confirm"),
    path("workbook/template/<str:units>/", template, name="workbook_template"),
]
