"""Par lists: each unit's own, all of them, what is to be restocked, and the stores beside their limits."""

from __future__ import annotations

from itertools import groupby
from typing import Any, ClassVar, Final
from urllib.parse import urlencode

import django_filters as filters
from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_tables2 import A

from readiness.actions.checks import CheckDraft, Read, record_check
from readiness.actions.drafts import Refused, SameIdOtherBody
from readiness.actions.keeping import Desk
from readiness.actions.par import (
    EDIT_PAR,
    MOST_CONTAINERS,
    MOST_PIECES,
    PAR_LINES,
    STORE_LIMITS,
    copy_par,
    take_par_from_aboard,
)
from readiness.models import Concentrate, ParLine, Station, Unit
from readiness.models.catalogue import ConcentrateKind
from readiness.models.checks import Answer
from readiness.models.containers import ContainerKind
from readiness.models.fleet import ApplianceKind
from readiness.models.par import ANY_RESISTANT
from readiness.models.store_limits import StoreLimit
from readiness.reports.code_runs import code_runs
from readiness.reports.inventory import load_inventory
from readiness.reports.ordering import ABOVE, BELOW, WITHIN, ordering
from readiness.reports.par import (
    AS_LISTED,
    FAULTY,
    FOAM,
    NOT_LOOKED,
    OVER,
    SHORT,
    ParRow,
    Restock,
    line_words,
    par_lists,
    restock,
    size_words,
)
from readiness.reports.store_matches import Match
from readiness.web import access, figures
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.column_fields import Own, in_words, whole
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, pages
from readiness.web.forms import EntryForm, Form, QuantityField
from readiness.web.marks import code_words, status_mark
from readiness.web.planning_tabs import tabs
from readiness.web.tables import (
    Column,
    DayColumn,
    NumberColumn,
    QuantityColumn,
    RecordFilter,
    Table,
    list_page,
)

IN_USE = Q(retired_on__isnull=True)
OPEN_STATIONS = Q(closed_on__isnull=True)
NUMBER: Final = {"td": {"class": "number"}, "th": {"class": "number"}}


class ParUnitForm(Form):
    """For which unit."""

    saves = False
    unit = Own(Unit, IN_USE, label="Unit", help_text="The unit that carries it.")


class ParLineForm(RecordForm):
    """A line of foam or of gear."""

    noun = PAR_LINES
    compartment = forms.CharField(max_length=60, required=False, help_text="Where on the unit: L3, rear, cab.")
    concentrate = Own(
        Concentrate,
        label="Concentrate",
        required=False,
        empty_label="none by name",
        help_text="One concentrate, or below a kind of it. Leave both empty for gear.",
    )
    concentrate_kind = forms.ChoiceField(
        label="Or any of a kind",
        required=False,
        choices=[
            ("", "none"),
            (ANY_RESISTANT, "any alcohol-resistant"),
            *((kind, f"any {kind}") for kind in ConcentrateKind.values),
        ],
        help_text="Whichever concentrate of that kind is at hand.",
    )
    container_kind = forms.ChoiceField(
        label="In",
        required=False,
        choices=[("", "any container"), *in_words(ContainerKind)],
        help_text="The kind of container.",
    )
    containers = whole("How many containers", MOST_CONTAINERS, required=False, help_text="Full ones: nine pails.")
    volume_ml = QuantityField(
        "volume", label="Or how much", required=False, zero=False, help_text="For a tank: what it is filled to."
    )
    gear = forms.CharField(
        max_length=60, required=False, help_text="Loose gear by its name: eductor, flush bucket, spanner."
    )
    appliance_kind = forms.ChoiceField(
        label="Counted as",
        required=False,
        choices=[("", "gear that the book does not list"), *in_words(ApplianceKind)],
        help_text="The kind of appliance, where the unit’s appliances in the book are counted for it.",
    )
    pieces = whole("How many pieces", MOST_PIECES, required=False, help_text="Of gear. Empty: one.")
    note = forms.CharField(max_length=160, required=False, help_text="What the list says beside it.")


class ParLineTable(ReferenceTable):
    """The lines of all lists."""

    caption = "Par lines"
    retired = "retired_on"
    unit = Column(accessor="unit__designation", linkify=("reference_par_line", {"pk": A("pk")}))
    compartment = Column(default="")
    what = Column(accessor="pk", verbose_name="What", orderable=False)
    size = Column(accessor="pk", verbose_name="How many or how much", orderable=False)
    note = Column(default="")
    retired_on = DayColumn(verbose_name="Retired on", default="")

    def render_what(self, record: ParLine) -> str:
        """Foam or gear."""
        return line_words(record)

    def value_what(self, record: ParLine) -> str:
        """The same in the workbook."""
        return line_words(record)

    def render_size(self, record: ParLine) -> str:
        """With its unit."""
        return size_words(record, self.here.units)

    def value_size(self, record: ParLine) -> str:
        """The same in the workbook."""
        return size_words(record, self.here.units)


class ParLineFilter(ReferenceFilter):
    """By unit and words."""

    search = ("unit__designation", "compartment", "concentrate__name", "concentrate_kind", "gear", "note")
    retired = "retired_on"
    unit = filters.ModelChoiceFilter(label="Unit", queryset=Unit.objects.all(), empty_label="all")


def par_lines(here: Here) -> QuerySet[Any, Any]:
    """With unit and concentrate."""
    known = rows(ParLine, here).select_related("unit", "concentrate")
    return known.order_by("unit__designation", "compartment", "id")


class StoreLimitForm(RecordForm):
    """Minimum and maximum."""

    noun = STORE_LIMITS
    station = Own(Station, OPEN_STATIONS, label="Store of", help_text="The station whose store it is.")
    concentrate = Own(Concentrate, label="Concentrate")
    least_ml = QuantityField("volume", label="Store minimum", help_text="Below it the store is short.")
    most_ml = QuantityField(
        "volume", label="Store maximum", required=False, help_text="What there is room for. Empty: no maximum."
    )


class StoreLimitTable(ReferenceTable):
    """Limits by store."""

    caption = "Store limits"
    retired = "retired_on"
    station = Column(accessor="station__name", linkify=("reference_store_limit", {"pk": A("pk")}))
    concentrate = Column(accessor="concentrate__name")
    least_ml = QuantityColumn("volume", "up", containers=0, verbose_name="Minimum")
    most_ml = QuantityColumn("volume", "down", verbose_name="Maximum", default="none")
    retired_on = DayColumn(verbose_name="Retired on", default="")


class StoreLimitFilter(ReferenceFilter):
    """By store and concentrate."""

    search = ("station__name", "concentrate__name")
    retired = "retired_on"
    station = filters.ModelChoiceFilter(label="Station", queryset=Station.objects.all(), empty_label="all")


def store_limits(here: Here) -> QuerySet[Any, Any]:
    """With store and concentrate."""
    return rows(StoreLimit, here).select_related("station", "concentrate").order_by("station__name", "concentrate")


PAR_EDITOR = Editor(
    PAR_LINES,
    "par line",
    "par lines",
    "What each unit should carry: nine pails, eductor, tube, nozzle, flush bucket, spanner.",
    ParLineForm,
    ParLineTable,
    ParLineFilter,
    par_lines,
    chooser=ParUnitForm,
    given=lambda row: {"unit": row.unit},
    retiring="The unit is asked for it no longer. Its history stays.",
)
LIMIT_EDITOR = Editor(
    STORE_LIMITS,
    "store limit",
    "store limits",
    "How much of a concentrate a store should hold: at least, and at most.",
    StoreLimitForm,
    StoreLimitTable,
    StoreLimitFilter,
    store_limits,
    retiring="The store is judged by it no longer. Its history stays.",
)


# -- pages -------------------------------------------------------------------------------------------------------------

STATES: Final = {  # each state of a line as a mark: word, shape and color
    AS_LISTED: "ready",
    SHORT: "not_ready",
    FAULTY: "not_ready",
    OVER: "limited",
    NOT_LOOKED: "not_judged",
    WITHIN: "ready",
    BELOW: "not_ready",
    ABOVE: "limited",
}


def state_mark(state: str) -> SafeString:
    """A line's state as a word and a shape."""
    return status_mark(STATES[state], state)


class StateColumn(Column):
    """The state of a line or of a store."""

    def render(self, value: str) -> SafeString:
        """Its mark."""
        return state_mark(value)


class ParTable(Table):
    """A row a line of a par list."""

    caption = "Par lists"
    unit = Column(linkify=("par_unit", {"pk": A("unit_id")}))
    compartment = Column(default="")
    what = Column()
    par = Column(accessor="id", verbose_name="Should be", orderable=False, attrs=NUMBER)
    aboard = Column(accessor="id", verbose_name="Aboard", orderable=False, attrs=NUMBER)
    state = StateColumn()
    codes = Column(verbose_name="Which", orderable=False)
    remarks = Column(verbose_name="Remarks", orderable=False)

    def render_par(self, record: ParRow) -> str:
        """Containers, volume or pieces."""
        return should_be(record, self.here)

    def value_par(self, record: ParRow) -> str:
        """The same in the workbook."""
        return should_be(record, self.here)

    def render_aboard(self, record: ParRow) -> str:
        """Beside it."""
        return is_aboard(record, self.here)

    def value_aboard(self, record: ParRow) -> str:
        """The same in the workbook."""
        return is_aboard(record, self.here)

    def render_codes(self, record: ParRow) -> SafeString | str:
        """Label codes or names; a run as first to last."""
        return code_words(record.codes) if record.sort == FOAM else ", ".join(record.codes)

    def value_codes(self, record: ParRow) -> str:
        """All of them."""
        return ", ".join(record.codes)

    def render_remarks(self, record: ParRow) -> str:
        """What was found, and what the list says."""
        return "; ".join([*record.remarks, *filter(None, [record.note])])

    def value_remarks(self, record: ParRow) -> str:
        """The same in the workbook."""
        return self.render_remarks(record)


def should_be(row: ParRow, here: Here) -> str:
    """What the list asks for."""
    if row.wanted_ml is not None:
        return figures.figure(row.wanted_ml, "volume", here.units, "up")
    return str(row.wanted)


def is_aboard(row: ParRow, here: Here) -> str:
    """What answers it."""
    if row.wanted_ml is not None:
        return figures.figure(row.aboard_ml, "volume", here.units, "down", containers=row.kept_in)
    return "nobody looked" if row.aboard is None else str(row.aboard)


class ParFilter(RecordFilter):
    """By unit, station, foam or gear, and state."""

    search = ("unit", "station", "compartment", "what", "note")
    choices = {"state": "State", "unit": "Unit", "station": "Station", "sort": "Foam or gear"}


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The lines of all units."""
    lists = par_lists(here.department, load_inventory(here.department, here.day))
    found = [row for each in lists for row in each.rows]
    context = {
        "tabs": tabs(request),
        "without": [each for each in lists if not each.rows],
        "may_edit": here.may(EDIT_PAR),
    }
    return list_page(
        request, here, ParTable, found, template="planning/par.html", filter_class=ParFilter, context=context
    )


@require_GET
@signed_in
def one(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A unit's list by compartment, to be printed and hung there."""
    return _unit_page(request, here, get(Unit.objects.select_related("station"), here, pk=pk), None)


def _unit_page(request: HttpRequest, here: Here, row: Unit, form: LikeForm | None) -> HttpResponseBase:
    if row.retired_on:
        raise Http404
    (found,) = par_lists(here.department, load_inventory(here.department, here.day), row)
    groups = groupby(found.rows, key=lambda each: each.compartment)
    by_compartment = [(name, [_line_shown(each, here) for each in group]) for name, group in groups]
    context = {
        "tabs": tabs(request),
        "here": here,
        "unit": row,
        "list": found,
        "compartments": by_compartment,
        "may_edit": here.may(EDIT_PAR),
        "may_look": here.may("check") and any(each.looked for each in found.rows),
        "form": form or LikeForm(here=here),
    }
    return render(request, "planning/par_unit.html", context)


def _line_shown(row: ParRow, here: Here) -> tuple[ParRow, SafeString, str, str, SafeString | str]:
    """A line with its mark and its figures."""
    which = code_words(row.codes) if row.sort == FOAM else ", ".join(row.codes)
    return row, state_mark(row.state), should_be(row, here), is_aboard(row, here), which


class LikeForm(Form):
    """A first list: of what is aboard, or like another unit's."""

    like = Own(
        Unit,
        IN_USE & Q(par_lines__isnull=False),
        label="Like the list of",
        required=False,
        empty_label="no other: what it carries now",
        help_text="Leave it empty to make the list of what the book has aboard today.",
    )


@require_POST
@may(EDIT_PAR)
def begin(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Make a unit's first list."""
    row = get(Unit.objects.select_related("station"), here, pk=pk)
    form = LikeForm(request.POST, here=here)
    if form.is_valid():
        desk = Desk(here.department, here.acting, access.CLOCK)
        like = form.cleaned_data["like"]
        try:
            made = copy_par(desk, row, like) if like else take_par_from_aboard(desk, row)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(
                request, f"The par list of {row} has {made} lines now: read them, and change what is wrong."
            )
            return redirect("par_unit", pk=row.pk)
    return _unit_page(request, here, row, form)


# -- loose gear looked at ----------------------------------------------------------------------------------------------


class LookForm(EntryForm):
    """An answer for each piece of gear that the book does not list; `look_form` makes the class of one unit."""

    gear: ClassVar[tuple[str, ...]] = ()

    def clean(self) -> dict[str, Any]:
        """Somebody looked at something."""
        if not self.errors and not self.reads():
            self.refuse("Everything was left at not looked at: say of one piece at least what was seen.")
        return self.cleaned_data

    def reads(self) -> tuple[Read, ...]:
        """What was looked at."""
        answers = ((name, self.cleaned_data[f"g{number}"]) for number, name in enumerate(self.gear))
        return tuple(Read(Answer(answer), item=name) for name, answer in answers if answer != Answer.NOT_LOOKED)


def look_form(unit: Unit) -> type[LookForm]:
    """The form of the unit's list."""
    lines = unit.par_lines.filter(retired_on__isnull=True, appliance_kind="").exclude(gear="")
    gear = tuple(dict.fromkeys(lines.order_by("compartment", "id").values_list("gear", flat=True)))
    answers = [(Answer.GOOD, "there and good"), (Answer.FAULT, "there, with a fault")]
    answers += [(Answer.NOT_CARRIED, "not carried"), (Answer.NOT_LOOKED, "not looked at")]
    fields = {
        f"g{number}": forms.ChoiceField(
            label=name, choices=answers, initial=Answer.NOT_LOOKED, widget=forms.RadioSelect
        )
        for number, name in enumerate(gear)
    }
    return type("LookForm", (LookForm,), {**fields, "gear": gear})


@require_http_methods(["GET", "POST"])
@may("check")
def look(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Record what was seen of loose gear, as a check of it alone: the morning check stays due."""
    unit = get(Unit.objects.select_related("station"), here, pk=pk)
    form = look_form(unit)(request.POST or None, here=here)
    if request.method == "POST" and form.is_valid():
        draft = CheckDraft(form.cleaned_data["entry_id"], unit.pk, form.reads(), here.now)
        try:
            record_check(here.department, draft, acting=here.acting, clock=access.CLOCK)
        except (Refused, SameIdOtherBody) as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Noted what {unit} carries of {len(draft.readings)} kinds of gear.")
            return redirect("par_unit", pk=pk)
    return render(request, "planning/look.html", {"tabs": tabs(request), "here": here, "unit": unit, "form": form})


class RestockTable(Table):
    """What units lack of their lists, and where it lies."""

    caption = "Restock list"
    unit = Column(accessor="row__unit", linkify=("par_unit", {"pk": A("row__unit_id")}))
    station = Column(accessor="row__station")
    compartment = Column(accessor="row__compartment", default="")
    what = Column(accessor="row__what")
    missing = Column(accessor="row__id", verbose_name="Missing", orderable=False, attrs=NUMBER)
    nearest = Column(accessor="matches", verbose_name="Nearest matching stock", orderable=False)
    others = Column(accessor="matches", verbose_name="Other stores", orderable=False)
    remarks = Column(accessor="row__remarks", verbose_name="Aboard, but", orderable=False)

    def render_missing(self, record: Restock) -> str:
        """Containers, volume or pieces."""
        if record.row.missing_ml:
            return figures.figure(record.row.missing_ml, "volume", self.here.units, "up")
        return str(record.row.missing)

    def value_missing(self, record: Restock) -> str:
        """The same in the workbook."""
        return self.render_missing(record)

    def render_nearest(self, record: Restock) -> SafeString | str:
        """The first store, with the form that moves it, filled in, for who may."""
        if not record.matches:
            return "none in a store: buy it, or ask a partner department" if record.row.sort == FOAM else ""
        match, row = record.matches[0], record.row
        words = _match_words(match, self.here)
        if not (row.missing and match.codes and self.here.may("move")):
            return words
        asked = [("code", code) for code in match.codes]
        asked += [("owner", f"unit-{row.unit_id}"), ("compartment", row.compartment)]
        return format_html(
            '{} <a class="button small" href="{}?{}">Move {} to {}</a>',
            words,
            reverse("move"),
            urlencode(asked),
            len(match.codes),
            row.unit,
        )

    def value_nearest(self, record: Restock) -> str:
        """In words."""
        return _match_words(record.matches[0], self.here) if record.matches else ""

    def render_others(self, record: Restock) -> str:
        """The other stores."""
        return "; ".join(_match_words(match, self.here) for match in record.matches[1:])

    def value_others(self, record: Restock) -> str:
        """The same in the workbook."""
        return self.render_others(record)

    def render_remarks(self, value: tuple[str, ...]) -> str:
        """What is aboard and does not answer the line."""
        return "; ".join(value)

    def value_remarks(self, value: tuple[str, ...]) -> str:
        """The same in the workbook."""
        return "; ".join(value)


def _match_words(match: Match, here: Here) -> str:
    own = " (own station)" if match.own_station else ""
    volume = figures.figure(match.ml, "volume", here.units, "down", containers=match.containers)
    take = f": {code_runs(match.codes)}" if match.codes else ""
    return f"{match.station}{own}, {volume} of {match.concentrate}{take}"


class RestockFilter(RecordFilter):
    """By unit, station and what."""

    search = ("row__unit", "row__what", "row__compartment")
    choices = {"row__station": "Station", "row__sort": "Foam or gear"}


@require_GET
@signed_in
def restock_list(request: HttpRequest, here: Here) -> HttpResponseBase:
    """What is missing on all units."""
    inventory = load_inventory(here.department, here.day)
    found = restock(here.department, inventory, par_lists(here.department, inventory))
    context = {"tabs": tabs(request)}
    return list_page(
        request,
        here,
        RestockTable,
        found,
        template="planning/restock.html",
        filter_class=RestockFilter,
        context=context,
    )


class StoreTable(Table):
    """Stores beside their limits."""

    caption = "Stores beside their limits"
    station = Column(verbose_name="Store of", linkify=("reference_store_limit", {"pk": A("limit_id")}))
    concentrate = Column()
    state = StateColumn()
    usable_ml = QuantityColumn("volume", "down", containers="containers", verbose_name="Usable there")
    containers = NumberColumn()
    least_ml = QuantityColumn("volume", "up", containers=0, verbose_name="Minimum")
    most_ml = QuantityColumn("volume", "down", verbose_name="Maximum", default="none")
    short_ml = QuantityColumn("volume", "up", containers="containers", verbose_name="Below by")
    over_ml = QuantityColumn("volume", "nearest", verbose_name="Above by")
    on_order_ml = QuantityColumn("volume", "nearest", verbose_name="On order")
    out_ml = QuantityColumn("volume", "nearest", verbose_name="There, and does not count")

    class Meta:
        order_by = ("station", "concentrate")


class StoreFilter(RecordFilter):
    """By state, station and concentrate."""

    search = ("station", "concentrate")
    choices = {"state": "State", "station": "Station", "concentrate": "Concentrate"}


@require_GET
@signed_in
def stores(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Below minimum, above maximum."""
    found = ordering(here.department, load_inventory(here.department, here.day)).stores
    may_edit = here.may(EDIT_PAR)
    open_stores = rows(Station, here).filter(OPEN_STATIONS) if may_edit else ()
    context = {"tabs": tabs(request), "may_edit": may_edit, "open_stores": open_stores}
    return list_page(
        request, here, StoreTable, found, template="planning/stores.html", filter_class=StoreFilter, context=context
    )


urlpatterns = [
    *pages(PAR_EDITOR),
    *pages(LIMIT_EDITOR),
    path("planning/par/", every, name="par"),
    path("planning/par/<int:pk>/", one, name="par_unit"),
    path("planning/par/<int:pk>/begin/", begin, name="par_begin"),
    path("planning/par/<int:pk>/look/", look, name="par_look"),
    path("planning/restock/", restock_list, name="restock"),
    path("planning/stores/", stores, name="store_levels"),
]
