"""Inspections: what is due by person and station, logging one, and the rules."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.contrib import messages
from django.db.models import Model, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions.drafts import Refused
from readiness.actions.inspections import INSPECTION_RULES, log_inspection, raise_what_was_found
from readiness.actions.once import Asked, once
from readiness.models import Container, FoamLine, InspectionRule, Membership, Station, Unit, User, Vehicle
from readiness.models.inspections import Inspected, Rhythm
from readiness.reports.inspections import OVERDUE, TODAY, WEEK, Due, inspections_due, side_of
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.column_fields import Own
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, WordColumn, pages
from readiness.web.forms import EntryForm, MomentField
from readiness.web.tables import Column, DayColumn, MomentColumn, RecordFilter, Table, list_page

_LINK: Final = '<a class="button" href="{}" aria-label="{}">Log it</a>'
_KEPT_LINK: Final = '<a class="button" data-keep href="{}" aria-label="{}">Log it</a>'  # of what is due soon
_MODELS: Final[dict[str, type[Model]]] = {"unit": Unit, "vehicle": Vehicle, "line": FoamLine, "container": Container}
_NIGHTS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


# -- the rules ---------------------------------------------------------------------------------------------------------


def members(here: Here) -> QuerySet[User, User]:
    """The people of the department."""
    known = rows(Membership, here).filter(to_on__isnull=True).values("user")
    return User.objects.filter(pk__in=known).order_by("last_name", "username")


class RuleForm(RecordForm):
    """What falls due how often."""

    noun = INSPECTION_RULES
    name = forms.CharField(max_length=60, help_text="As: yearly tank inspection.")
    of = forms.ChoiceField(label="Of every", choices=[("", "choose"), *Inspected.choices])
    rhythm = forms.ChoiceField(label="How often", choices=[("", "choose"), *Rhythm.choices])
    station = Own(
        Station,
        Q(closed_on__isnull=True),
        label="At",
        required=False,
        empty_label="every station",
        help_text="One house.",
    )
    weekday = forms.TypedChoiceField(
        label="On drill night",
        required=False,
        coerce=int,
        empty_value=None,
        choices=[("", "any day"), *((str(n), name) for n, name in enumerate(_NIGHTS))],
        help_text="Of a weekly one: where a house checks on its drill night only.",
    )
    what = forms.CharField(label="What is looked at", max_length=200, required=False)
    clause = forms.CharField(
        max_length=120, required=False, help_text="The clause that your department says it comes from."
    )
    owner = Own(
        User,
        scope=members,
        label="Who sees to it",
        required=False,
        empty_label="nobody named",
    )


class RuleTable(ReferenceTable):
    """The rules."""

    caption = "Inspection rules"
    retired = "retired_on"
    name = Column(verbose_name="Rule", linkify=("reference_inspection_rule", {"pk": A("pk")}))
    of = WordColumn("of", verbose_name="Of every")
    rhythm = Column(verbose_name="How often")
    station = Column(accessor="station__name", verbose_name="At", default="every station")
    clause = Column(default="")
    retired_on = DayColumn(verbose_name="Retired on", default="")


class RuleFilter(ReferenceFilter):
    """By name, clause and station."""

    search = ("name", "clause", "what", "station__name")
    retired = "retired_on"


def rules(here: Here) -> QuerySet[Any, Any]:
    """With their stations."""
    return rows(InspectionRule, here).select_related("station", "owner")


EDITOR = Editor(
    INSPECTION_RULES,
    "inspection rule",
    "inspection rules",
    "What falls due every shift, week, month or year, after a use or on a change. Overdue makes a unit unverified.",
    RuleForm,
    RuleTable,
    RuleFilter,
    rules,
    retiring="Nothing falls due by it any more. What was inspected stays.",
)


# -- what is due -------------------------------------------------------------------------------------------------------


class DueTable(Table):
    """Every thing under every rule, the longest overdue first."""

    caption = "Inspections"
    due_on = DayColumn(verbose_name="Due", default="not due")
    state = Column(verbose_name="State")
    rule = Column(verbose_name="Inspection")
    thing = Column(verbose_name="Of")
    on = Column(verbose_name="On")
    station = Column(default="")
    who = Column(verbose_name="Who sees to it")
    last_at = MomentColumn(verbose_name="Last made", default="never")
    rhythm = Column(verbose_name="How often", visible=False)
    what = Column(verbose_name="What is looked at", default="", visible=False)
    clause = Column(default="", visible=False)
    log = Column(accessor="thing_id", verbose_name="Log it", orderable=False, exclude_from_export=True)

    def render_log(self, record: Due) -> SafeString | str:
        """The way to the form."""
        if not self.here.may("check"):
            return ""
        address = reverse("log_inspection", args=[record.rule_id, record.thing_id])
        said = f"log {record.rule} of {record.thing}"
        link = _KEPT_LINK if record.state in (OVERDUE, TODAY, WEEK) else _LINK
        return format_html(link, address, said)


class DueFilter(RecordFilter):
    """By words, state, station, person, unit and rule."""

    search = ("rule", "thing", "on", "clause", "who")
    choices = {"state": "State", "station": "Station", "who": "Who sees to it", "on": "On", "rule": "Inspection"}


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The due list; of one unit where the crew comes from it."""
    found = inspections_due(here.department, here.day)
    asked = request.GET.get("unit", "")
    if here.tablet:
        found = [each for each in found if each.station == here.tablet.station.name]
    if asked:
        found = [each for each in found if str(each.unit_id) == asked]
    return list_page(request, here, DueTable, found, template="inspections/list.html", filter_class=DueFilter)


class LogForm(EntryForm):
    """What was found."""

    passed = forms.ChoiceField(
        label="What was found",
        choices=[("yes", "in order"), ("no", "a fault")],
        widget=forms.RadioSelect,
        error_messages={
            "required": "Nothing was read: say whether it was in order.",
            "invalid_choice": "Choose one of the answers that are offered.",
        },
    )
    words = forms.CharField(
        label="What is wrong, or a remark", required=False, max_length=200, widget=forms.Textarea({"rows": 2})
    )
    done_at = MomentField(label="Made earlier than now", required=False, help_text="Empty: now.")


@require_http_methods(["GET", "POST"])
@may("check")
def log(request: HttpRequest, here: Here, pk: int, thing: int) -> HttpResponseBase:
    """The form; a fault is raised as a deficiency at once."""
    rule = get(InspectionRule.objects.filter(retired_on__isnull=True), here, pk=pk)
    record: Any = get(_MODELS[side_of(rule.of)], here, pk=thing)
    if isinstance(record, Container) and record.kind != rule.of:
        raise Http404
    form = LogForm(request.POST or None, here=here)
    if request.method == "POST" and form.is_valid():
        try:
            _logged(here, form, rule, record)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{rule} of {record}: logged.")
            return redirect("inspections")
    return render(request, "inspections/log.html", {"form": form, "rule": rule, "thing": record})


def _logged(here: Here, form: LogForm, rule: InspectionRule, record: Any) -> None:
    asked = form.cleaned_data
    by: dict[str, Any] = {"acting": here.acting, "clock": access.CLOCK}
    found = {"passed": asked["passed"] == "yes", "words": asked["words"], "done_at": asked["done_at"]}

    def act() -> list[Any]:
        made = log_inspection(here.department, rule=rule, thing=record, **found, **by)
        if not made.passed:
            raise_what_was_found(here.department, inspection=made, **by)
        return []

    body = {"rule": rule.pk, "thing": record.pk, **found, "done_at": str(asked["done_at"] or "")}
    once(here.department, Asked(asked["entry_id"], "inspection", body), act, **by)


urlpatterns = [
    path("inspections/", every, name="inspections"),
    path("inspections/<int:pk>/log/<int:thing>/", log, name="log_inspection"),
    *pages(EDITOR),
]
