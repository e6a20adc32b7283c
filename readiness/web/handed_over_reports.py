"""What became of a handed-over sheet: the report row by row, how it differs from the book, and the labels to write."""

from __future__ import annotations

from typing import NamedTuple
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import path, reverse
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_POST

from readiness.actions.drafts import Refused
from readiness.actions.handed_over_counted import open_from_sheet, plan
from readiness.models import HandedOverRow
from readiness.models.handed_over import SheetState
from readiness.reports import handed_over as reports
from readiness.reports.code_runs import code_runs
from readiness.reports.handed_over import RowShown
from readiness.reports.sheet_differences import WORDS, Difference
from readiness.web import access
from readiness.web.access import Here, may
from readiness.web.handed_over import draft_of
from readiness.web.moments import moment_text
from readiness.web.tables import (
    Column,
    NumberColumn,
    QuantityColumn,
    RecordFilter,
    Table,
    list_page,
    workbook_response,
)

WHOLE = "whole"  # asks for all rows on one page, to be printed


class ReportTable(Table):
    """Every filled row of the sheet, and what became of it."""

    caption = "Report of a handed-over sheet"
    number = NumberColumn(verbose_name="Row")
    fate = Column(verbose_name="Taken for")
    said = Column(verbose_name="As it stood", orderable=False)
    became = Column(verbose_name="What became of it", orderable=False)
    left = Column(verbose_name="Kept here only", orderable=False, default="")
    codes = Column(verbose_name="Label codes", orderable=False)
    ml = QuantityColumn("volume", "nearest", verbose_name="Volume", empty_values=(None, 0), default="none")

    def render_codes(self, value: list[str]) -> str:
        """Runs of them by their ends."""
        return code_runs(value) or "none"

    def value_codes(self, value: list[str]) -> str:
        """All of them in the workbook."""
        return ", ".join(value)


class ReportFilter(RecordFilter):
    """By what it is taken for, and words."""

    search = ("said", "became", "left")
    choices = {"fate": "Taken for"}


@require_GET
@may("workbook")
def report(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """What became of every row; prints, and can be checked against the paper."""
    done = draft_of(here, pk)
    if not done.ended_at:
        return redirect("sheet", pk=pk)
    found = list(done.rows.all())
    kept = [Difference.read(each) for each in done.tried.get("differences", [])]
    if request.GET.get("export") == "differences":
        return workbook_response(DifferenceTable([Shown(each, here) for each in kept], here=here))
    context = {
        "done": done,
        "ended": moment_text(here.department, done.ended_at),
        "tally": reports.tally(_as_shown(row) for row in found),
        "rows": len(found),
        "compared": done.state == SheetState.COMPARED,
        "taken": done.state == SheetState.TAKEN,
        "differences": DifferenceTable([Shown(each, here) for each in kept if each.what != "same"], here=here),
        "agree": sum(each.many for each in kept if each.what == "same"),
        "inventory": done.tried.get("inventory"),
        "plan": plan(here.department, done) if done.state == SheetState.COMPARED and kept else None,
    }
    return list_page(
        request,
        here,
        ReportTable,
        found,
        template="sheet/report.html",
        filter_class=ReportFilter,
        context=context,
        whole=WHOLE in request.GET,
    )


@require_POST
@may("inventory")
def inventory(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Open an inventory whose first count is the sheet."""
    done = draft_of(here, pk)
    try:
        made = open_from_sheet(here.department, done, acting=here.acting, clock=access.CLOCK)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("sheet_report", pk=pk)
    messages.success(request, "The inventory is open, and the sheet is its first count. Another person looks now.")
    return redirect("inventory", pk=made.pk)


def _as_shown(row: HandedOverRow) -> RowShown:
    """A kept row as the rows of a draft are counted."""
    state = reports.COMES_IN if row.codes or row.ml else reports.STAYS_OUT
    codes = tuple(row.codes)
    return RowShown(row.number, row.fate, row.said, row.became, row.left, state, codes, len(codes), row.ml)


class Shown(NamedTuple):
    """A difference as the table draws it."""

    difference: Difference
    here: Here

    @property
    def what(self) -> str:
        """What sort of difference it is."""
        return WORDS[self.difference.what]

    @property
    def words(self) -> str:
        """What differs."""
        return self.difference.words(self.here.units)

    @property
    def doors(self) -> list[tuple[str, str]]:
        """The forms of the book that settle it, filled in as far as the sheet says."""
        each = self.difference
        codes = [("code", code) for code in each.codes]
        if each.what == "moved" and each.owner:
            to = [("owner", each.owner), ("compartment", each.compartment)]
            return [("Move them", f"{reverse('move')}?{urlencode(codes + to)}")]
        if each.what == "more" and each.owner:
            to = [("owner", each.owner), ("compartment", each.compartment)]
            return [("Receive them", f"{reverse('receive')}?{urlencode(to)}")]
        if each.what == "amount" and each.sheet_ml < each.book_ml and len(codes) == 1:
            account = [("account", "inventory difference")]
            return [("Enter what is missing", f"{reverse('use')}?{urlencode(codes + account)}")]
        return []


class DifferenceTable(Table):
    """Where sheet and book differ."""

    caption = "Sheet and book"
    what = Column(verbose_name="Difference", orderable=False)
    words = Column(verbose_name="In words", orderable=False)
    product = Column(accessor="difference__product", verbose_name="Concentrate", orderable=False, default="")
    lots = Column(accessor="difference__lots", verbose_name="Lots", orderable=False, default="")
    their_rows = Column(accessor="difference__rows", verbose_name="Rows of the sheet", orderable=False)
    codes = Column(accessor="difference__codes", verbose_name="Label codes in the book", orderable=False)
    doors = Column(verbose_name="To do", orderable=False, exclude_from_export=True)

    def render_their_rows(self, value: tuple[int, ...]) -> str:
        """The rows, none where the sheet has nothing."""
        return ", ".join(map(str, value)) or "none"

    def value_their_rows(self, value: tuple[int, ...]) -> str:
        """The same in the workbook."""
        return ", ".join(map(str, value))

    def render_codes(self, value: tuple[str, ...]) -> str:
        """Runs of them by their ends."""
        return code_runs(value) or "none"

    def value_codes(self, value: tuple[str, ...]) -> str:
        """All of them in the workbook."""
        return ", ".join(value)

    def render_doors(self, value: list[tuple[str, str]]) -> SafeString | str:
        """The forms; where there is none, somebody has to look."""
        links = format_html_join(" ", '<a class="button" href="{}">{}</a>', ((to, words) for words, to in value))
        return links or "Count them there first"


class LabelTable(Table):
    """What to write on which container."""

    caption = "Labels to write"
    code = Column(verbose_name="Label code", orderable=False)
    kind = Column(orderable=False)
    capacity_ml = QuantityColumn("volume", "nearest", verbose_name="Holds", orderable=False)
    place = Column(orderable=False)
    contents = Column(orderable=False)
    row = NumberColumn(verbose_name="Row of the sheet", orderable=False)


@require_GET
@may("workbook")
def labels(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A line a container, in the order of the places, to go round with and label by."""
    done = draft_of(here, pk)
    if not done.ended_at:
        return redirect("sheet", pk=pk)
    found = reports.labels(done)
    return list_page(
        request,
        here,
        LabelTable,
        found,
        template="sheet/labels.html",
        context={"done": done},
        whole=WHOLE in request.GET,
    )


urlpatterns = [
    path("sheet/<int:pk>/report/", report, name="sheet_report"),
    path("sheet/<int:pk>/inventory/", inventory, name="sheet_inventory"),
    path("sheet/<int:pk>/labels/", labels, name="sheet_labels"),
]
