"""Inventories: the list, one of them at each of its stages, and the steps from one to the next."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_filters import CharFilter, ChoiceFilter, FilterSet
from django_tables2 import A

from readiness.actions import inventories as acts
from readiness.actions.drafts import Refused
from readiness.actions.inventories import Scope
from readiness.models import Container, Count, Inventory, InventoryResult, Station
from readiness.models.inventories import Found, Stage
from readiness.reports.inventories import Going, Tally, last_counted, progress
from readiness.reports.journal import person_name
from readiness.reports.variances import Difference, Signed, Variance, is_corrected, late_since, signed_result, variance
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.entries import OwnerField
from readiness.web.figures import figure
from readiness.web.forms import Form
from readiness.web.marks import bar
from readiness.web.tables import (
    Column,
    MomentColumn,
    NumberColumn,
    QuantityColumn,
    RecordFilter,
    Table,
    list_page,
    workbook_response,
)

NOBREAK = {"td": {"class": "nobreak"}}
NUMBER = {"td": {"class": "number"}, "th": {"class": "number"}}


# -- the list ----------------------------------------------------------------------------------------------------------


class InventoryTable(Table):
    """The latest first."""

    caption = "Inventories"
    number = Column(accessor="pk", verbose_name="No.", linkify=("inventory", {"pk": A("pk")}), attrs=NOBREAK)
    scope = Column(verbose_name="What is counted", linkify=("inventory", {"pk": A("pk")}))
    stage = Column(verbose_name="Stage")
    opened_at = MomentColumn(verbose_name="Opened")
    by = Column(accessor="opened_by", verbose_name="By", orderable=False, empty_values=())
    confirmed = Column(accessor="confirmed_by", verbose_name="Confirmed by", orderable=False, empty_values=())
    closed_at = MomentColumn(verbose_name="Signed", default="")
    closed = Column(accessor="closed_by", verbose_name="Signed by", orderable=False, empty_values=())

    class Meta:
        order_by = "-opened_at"

    def render_by(self, record: Inventory) -> str:
        """Who opened it."""
        return person_name(record.opened_by)

    def render_confirmed(self, record: Inventory) -> str:
        """The second person."""
        return person_name(record.confirmed_by)

    def render_closed(self, record: Inventory) -> str:
        """Who signed it."""
        return person_name(record.closed_by)

    value_by, value_confirmed, value_closed = render_by, render_confirmed, render_closed


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    found = rows(Inventory, here).select_related("opened_by", "confirmed_by", "closed_by")
    late = [row for row in last_counted(here.department, here.today) if row.overdue]
    context = {"may_open": here.may("inventory"), "late": len(late)}
    return list_page(request, here, InventoryTable, found, template="inventories/list.html", context=context)


class LastCountedTable(Table):
    """A row a container."""

    caption = "When each container was counted last"
    code = Column(verbose_name="Label code", linkify=("container", {"pk": A("container_id")}), attrs=NOBREAK)
    kind = Column()
    concentrate = Column(default="")
    place = Column()
    compartment = Column(default="")
    counted_at = MomentColumn(verbose_name="Counted last", default="never")
    counted_by = Column(verbose_name="By", default="")
    confirmed_by = Column(verbose_name="Confirmed by", default="")
    standing = Column(verbose_name="Due")

    class Meta:
        order_by = "counted_at"


class LastCountedFilter(RecordFilter):
    """By label code, place or person; and what is due."""

    search = ("code", "place", "concentrate", "counted_by")
    choices = {"kind": "Kind", "place": "Place", "standing": "Due"}


@require_GET
@signed_in
def counted(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Who counted what last, the longest ago first."""
    found = last_counted(here.department, here.today)
    return list_page(
        request, here, LastCountedTable, found, template="inventories/counted.html", filter_class=LastCountedFilter
    )


# -- opening -----------------------------------------------------------------------------------------------------------


class ScopeField(OwnerField):
    """A store, a unit or a vehicle, a station with its rigs, or the whole department: gives a Scope."""

    everything: ClassVar = "all"
    first = (*OwnerField.first, (everything, "the whole department"))

    def settle(self, here: Here | None) -> None:
        """The department's own, and each station once more with its rigs."""
        super().settle(here)
        stations = {f"rigs-{key}": each for key, each in self.owners.items() if isinstance(each, Station)}
        whole = [(key, f"{each}: store, units and vehicles") for key, each in stations.items()]
        self.owners |= stations
        self.choices = [*self.first, ("Stations", whole), *list(self.choices)[len(self.first) :]]  # type: ignore[arg-type] # a list, by OwnerField

    def clean(self, value: Any) -> Any:
        """The scope, or a sentence."""
        if value == self.everything:
            return Scope()
        return Scope(super().clean(value), whole=str(value).startswith("rigs-"))


class OpenForm(Form):
    """What is counted."""

    owner = ScopeField(label="What is counted")
    reserve = forms.BooleanField(
        label="Reserve vehicles and what is out of service, too",
        required=False,
        initial=True,
        help_text="What nobody looks at is where foam goes missing.",
    )


@require_http_methods(["GET", "POST"])
@may("inventory")
def open_one(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Begin an inventory."""
    form = OpenForm(request.POST if request.method == "POST" else None, here=here)
    if request.method == "POST" and form.is_valid():
        scope = form.cleaned_data["owner"]._replace(reserve=form.cleaned_data["reserve"])
        try:
            made = acts.open_inventory(here.department, scope, acting=here.acting, clock=access.CLOCK)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"{made} is open. Count place by place; several phones may count at once.")
            return redirect("inventory", pk=made.pk)
    return render(request, "inventories/open.html", {"here": here, "form": form})


# -- one inventory, by its stage ---------------------------------------------------------------------------------------


def inventory_here(here: Here, pk: int) -> Inventory:
    """One of the department's inventories; raises Http404."""
    people = ("opened_by", "counted_by", "confirmed_by", "closed_by")
    return get(Inventory.objects.select_related("department", *people), here, pk=pk)


class ProgressTable(Table):
    """A row a place. It knows nothing of volumes."""

    caption = "Places"
    name = Column(
        verbose_name="Place", linkify=lambda record, table: _place_address(record, table), attrs={"td": {"class": "go"}}
    )
    share = Column(verbose_name="Done", exclude_from_export=True, orderable=False)
    of = Column(verbose_name="Looked at", order_by=("done", "things"), attrs=NOBREAK)
    again = NumberColumn(verbose_name="Look again")
    found = NumberColumn(verbose_name="Without label")
    by = Column(verbose_name="Last there", default="nobody yet")
    at = MomentColumn(verbose_name="When", default="")

    def render_share(self, record: Going) -> SafeString:
        """A bar, and the same in words."""
        return bar(record.share, f"{record.of} looked at")

    def render_again(self, value: int) -> str:
        """Nothing where there is none."""
        return str(value or "")

    render_found = render_again


def _place_address(record: Going, table: Table) -> str | None:
    """The place's sheet, for who may count."""
    if not table.here.may("count"):
        return None
    return reverse("inventory_place", args=[record.place.inventory_id, record.place.pk])


class DifferenceTable(Table):
    """What differs and is not explained yet, the largest first."""

    caption = "Differences"
    code = Column(verbose_name="Label code", linkify=("container", {"pk": A("container_id")}), attrs=NOBREAK)
    concentrate = Column()
    what = Column(verbose_name="Differs in")
    book_place = Column(verbose_name="Place")
    found_place = Column(verbose_name="Found at", default="not found", visible=False)
    book_ml = QuantityColumn("volume", "nearest", places=2, verbose_name="Book")
    counted_ml = QuantityColumn("volume", "nearest", places=2, verbose_name="Counted")
    difference_ml = Column(verbose_name="Difference", attrs=NUMBER)
    share = Column(verbose_name="Of the book", default="", attrs=NUMBER)
    value = Column(accessor="value_minor", verbose_name="Worth", default="", attrs=NUMBER)
    above_limit = Column(verbose_name="Limit")
    people = Column(verbose_name="Counted by", orderable=False, visible=False)
    remark = Column(default="", orderable=False, visible=False)
    explain = Column(accessor="container_id", verbose_name="Explain", orderable=False, exclude_from_export=True)

    def render_difference_ml(self, record: Difference) -> str:
        """With its sign."""
        return signed_volume(record.difference_ml, self.here)

    def value_difference_ml(self, record: Difference) -> float:
        """A number in the workbook, in the heading's unit of the volumes beside it."""
        return signed_number(record.difference_ml, self.here)

    def render_book_place(self, record: Difference) -> SafeString | str:
        """By the book, and where it was found instead."""
        if record.missing or record.found_place == record.book_place:
            return record.book_place
        return format_html('{}<span class="sentence">found: {}</span>', record.book_place, record.found_place)

    def render_what(self, record: Difference) -> str:
        """What, or that it was not found."""
        return "not found" if record.missing else record.what

    def render_share(self, value: int) -> str:
        """Percent with two decimals."""
        return percent_words(value)

    def value_share(self, value: int | None) -> float | None:
        """Percent as a number."""
        return None if value is None else value / 100

    def render_value(self, record: Difference) -> str:
        """At the lots' prices."""
        return money(record.value_minor, record.currency)

    def value_value(self, record: Difference) -> float | None:
        """The bare number."""
        return None if record.value_minor is None else record.value_minor / 100

    def render_above_limit(self, value: bool) -> SafeString | str:
        """In words."""
        return format_html("<strong>{}</strong>", "above: chief") if value else "within"

    def value_above_limit(self, value: bool) -> str:
        """The same in the workbook."""
        return "above" if value else "within"

    def render_people(self, value: tuple[str, ...]) -> str:
        """Everybody who looked."""
        return ", ".join(value)

    def value_people(self, value: tuple[str, ...]) -> str:
        """The same in the workbook."""
        return ", ".join(value)

    def render_explain(self, record: Difference) -> SafeString:
        """The way to its form."""
        address = reverse(f"inventory_{record.what}_difference", args=[self.pk, record.container_id])
        return format_html(
            '<a class="button" href="{}">Explain<span class="visually-hidden"> {}</span></a>', address, record.code
        )

    pk = 0  # of the inventory, for the addresses


class ResultTable(Table):
    """The result as it was signed, a row a line."""

    caption = "Inventory result"
    code = Column(verbose_name="Label code", linkify=("container", {"pk": A("container_id")}), attrs=NOBREAK)
    concentrate = Column(default="")
    what = Column(accessor="what", verbose_name="Differs in")
    book_place = Column(verbose_name="Place by the book", default="")
    found_place = Column(verbose_name="Found at", default="")
    book_ml = QuantityColumn("volume", "nearest", places=2, verbose_name="Book")
    counted_ml = QuantityColumn("volume", "nearest", places=2, verbose_name="Counted", default="")
    value = Column(accessor="value_minor", verbose_name="Worth", default="", attrs=NUMBER)
    currency = Column(default="")
    explanation = Column(default="")
    words = Column(default="")
    by = Column(accessor="by", verbose_name="Explained by", empty_values=(), orderable=False)
    movement = Column(accessor="movement_id", verbose_name="Movement", default="")
    standing = Column(accessor="pk", verbose_name="Corrected", orderable=False)

    def render_by(self, record: InventoryResult) -> str:
        """Who explained it."""
        return person_name(record.by)

    value_by = render_by

    def value_value(self, record: InventoryResult) -> float | None:
        """The bare number."""
        return None if record.value_minor is None else record.value_minor / 100

    def value_movement(self, record: InventoryResult) -> str:
        """Its number."""
        return str(record.movement_id or "")

    def value_standing(self, record: InventoryResult) -> str:
        """Whether its movement was undone since."""
        return "corrected since" if is_corrected(record) else ""


def signed_volume(ml: int, here: Here) -> str:
    """A difference with its sign and unit."""
    sign = "+" if ml > 0 else "−" if ml < 0 else ""
    return f"{sign}{figure(abs(ml), 'volume', here.units, 'nearest', places=2)}"


def signed_number(ml: int, here: Here) -> float:
    """The same as a number in the reader's unit."""
    number = float(figure(abs(ml), "volume", here.units, "nearest", places=2).split()[0].replace(",", ""))
    return -number if ml < 0 else number


def percent_words(share: int | None) -> str:
    """A signed share of the book [1/100 %]: −9.52 %."""
    if share is None:
        return "not in the book"
    return f"{'+' if share > 0 else '−' if share < 0 else ''}{abs(share) / 100:.2f} %"


def money(minor: int | None, currency: str) -> str:
    """An amount with its currency; empty where a price is not known."""
    if minor is None:
        return ""
    return f"{'−' if minor < 0 else ''}{abs(minor) / 100:,.2f} {currency}".rstrip()


@require_GET
@signed_in
def inventory(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """How far it is; once confirmed, what it differs by; once signed, the result."""
    row = inventory_here(here, pk)
    pages: dict[str, Callable[[HttpRequest, Here, Inventory], HttpResponseBase]] = {
        Stage.COUNTING: _going,
        Stage.CONFIRMING: _going,
        Stage.EXPLAINING: _explaining,
        Stage.CLOSED: _closed,
        Stage.ABANDONED: _going,
    }
    return pages[row.stage](request, here, row)


def _common(here: Here, row: Inventory) -> dict[str, Any]:
    actions = {name: here.may(action) for name, action in _MAY.items()}
    return {"inventory": row, "caption": str(row), **actions}


_MAY = {
    "may_count": "count",
    "may_lead": "inventory",
    "may_confirm": "confirm an inventory",
    "may_correct": "correct",
}


def _going(request: HttpRequest, here: Here, row: Inventory) -> HttpResponseBase:
    tally = Tally(row)
    places = progress(tally)
    context = {
        **_common(here, row),
        "done": sum(place.done for place in places),
        "left": sum(place.things - place.done for place in places),
        "things": sum(place.things for place in places),
        "unmatched": tally.unmatched if row.stage == Stage.CONFIRMING else [],
        "outstanding": len(tally.outstanding),
        "counts": len(tally.counts),
    }
    return list_page(request, here, ProgressTable, places, template="inventories/going.html", context=context)


def _explaining(request: HttpRequest, here: Here, row: Inventory) -> HttpResponseBase:
    tally = Tally(row)
    found = variance(row, tally)
    again = [(thing, tally.place_for(thing.id)) for thing in found.unconfirmed]
    context = {**_common(here, row), "found": found, "again": again, **_totals(found, here)}
    doors = {} if here.may("correct") else {"explain": None}
    own = type("OwnDifferences", (DifferenceTable,), {"pk": row.pk, **doors})
    return list_page(request, here, own, found.differences, template="inventories/explaining.html", context=context)


def _totals(found: Variance | Signed, here: Here) -> dict[str, Any]:
    """The totals as they are read."""
    shown = [
        (
            each,
            signed_volume(each.difference_ml, here),
            percent_words(each.share) if each.book_ml else "",
            money(each.value_minor, each.currency),
        )
        for each in (*found.totals, found.total)
    ]
    return {"totals": shown}


def _closed(request: HttpRequest, here: Here, row: Inventory) -> HttpResponseBase:
    result = signed_result(row)
    if request.GET.get("export") == "xlsx":
        return workbook_response(ResultTable(result.rows, here=here), [("Inventory", str(row)), *_signatures(row)])
    agreed = [each for each in result.rows if each.what == "nothing"]
    differences = [
        (
            each,
            signed_volume((each.counted_ml or 0) - each.book_ml, here) if each.counted_ml is not None else "",
            money(each.value_minor, each.currency),
            is_corrected(each),
        )
        for each in result.differences
    ]
    context = {
        **_common(here, row),
        "here": here,
        "result": result,
        "agreed": agreed,
        "late": late_since(row),
        "differences": differences,
        **_totals(result, here),
    }
    return render(request, "inventories/result.html", context)


def _signatures(row: Inventory) -> list[tuple[str, str]]:
    """Who signed what, for the workbook's sheet about itself."""
    signed = (("Opened by", row.opened_by), ("Confirmed by", row.confirmed_by), ("Signed by", row.closed_by))
    return [(name, person_name(user)) for name, user in signed]


class CountTable(Table):
    """Who saw what, in the order recorded; what was taken back by a later look stands here, too."""

    caption = "Counts"
    counted_at = MomentColumn(verbose_name="Counted")
    place = Column(orderable=False)
    code = Column(
        accessor="container", verbose_name="Label code", empty_values=(), order_by="container__code", attrs=NOBREAK
    )
    found = Column(verbose_name="Found")
    method = Column(verbose_name="How", default="")
    ml = QuantityColumn("volume", "nearest", places=2, verbose_name="In it", default="")
    who = Column(accessor="by", verbose_name="By", empty_values=(), order_by="by__username")
    stage = Column(verbose_name="While")
    remark = Column(accessor="words", verbose_name="Remark", default="", orderable=False)
    recorded_at = MomentColumn(verbose_name="Recorded", visible=False)

    def render_code(self, record: Count) -> str:
        """Its label code, or what could be read."""
        return record.container.code if record.container else record.code or "no readable label"

    value_code = render_code

    def value_place(self, record: Count) -> str:
        """Where."""
        return str(record.place)

    def render_who(self, record: Count) -> str:
        """Who counted."""
        return person_name(record.by) or "the owner"

    value_who = render_who


class CountFilter(FilterSet):
    """By label code, and by what was found."""

    code = CharFilter(field_name="container__code", lookup_expr="icontains", label="Label code")
    found = ChoiceFilter(choices=Found.choices, label="Found", empty_label="all")


@require_GET
@signed_in
def counts(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Every count of an inventory, once it is confirmed."""
    row = inventory_here(here, pk)
    if row.stage not in (Stage.EXPLAINING, Stage.CLOSED):
        messages.info(request, "What was counted is shown once a second person has confirmed it.")
        return redirect("inventory", pk=pk)
    found = row.counts.select_related("container", "by", "place__station", "place__unit", "place__vehicle")
    context = {"inventory": row, "caption": f"Counts of {row}"}
    return list_page(
        request, here, CountTable, found, template="inventories/counts.html", filter_class=CountFilter, context=context
    )


# -- from one stage to the next ----------------------------------------------------------------------------------------


def _step(action: str, do: Callable[[Here, Inventory], object], done: str) -> Callable[..., HttpResponseBase]:
    """A button: what it does, or the sentence why not, on the inventory's page."""

    @require_POST
    @may(action)
    def view(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
        row = inventory_here(here, pk)
        try:
            do(here, row)
        except Refused as refused:
            messages.error(request, str(refused))
        else:
            messages.success(request, done)
        return redirect("inventory", pk=pk)

    return view


def _kept(here: Here, row: Inventory) -> dict[str, Any]:
    return {"inventory": row, "acting": here.acting, "clock": access.CLOCK}


close_count = _step(
    "inventory",
    lambda here, row: acts.close_counting(here.department, **_kept(here, row)),
    "The count is closed. Another person looks at what is asked for now.",
)
more = _step(
    "confirm an inventory",
    lambda here, row: acts.ask_more(here.department, containers=None, **_kept(here, row)),
    "Everything that was counted is looked at by another person.",
)
confirm = _step(
    "confirm an inventory",
    lambda here, row: acts.confirm(here.department, **_kept(here, row)),
    "Confirmed. This is what differs from the book.",
)


class ReasonForm(Form):
    """Why."""

    reason = forms.CharField(label="Reason", max_length=400, widget=forms.Textarea({"rows": 2}))


class CloseForm(Form):
    """Signing; a reason only where the limit asks for one."""

    reason = forms.CharField(
        label="Why it is closed above the limit",
        required=False,
        max_length=400,
        widget=forms.Textarea({"rows": 2}),
        help_text="Needed only where the whole inventory is above the policy’s limit; a chief signs then.",
    )


# name: form, action, title, button, and what it means
_SIGNED: dict[str, tuple[type[Form], Callable[..., None], str, str, str]] = {
    "close": (
        CloseForm,
        acts.close,
        "Sign the result",
        "Sign and close",
        "The result is frozen with the names of who counted, confirmed and signed.",
    ),
    "abandon": (
        ReasonForm,
        acts.abandon,
        "Give the inventory up",
        "Abandon it",
        "What was counted is kept, and what was booked stands. Nothing more is booked.",
    ),
    "reopen": (
        ReasonForm,
        acts.reopen,
        "Open it again for a day",
        "Open it again",
        "For a count that was misread, or a difference that has another explanation: correct its movement first.",
    ),
}


def _signed(name: str) -> Callable[..., HttpResponseBase]:
    form_class, act, title, button, intro = _SIGNED[name]

    @require_http_methods(["GET", "POST"])
    @may("inventory")
    def view(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
        row = inventory_here(here, pk)
        form = form_class(request.POST if request.method == "POST" else None, here=here)
        if request.method == "POST" and form.is_valid():
            try:
                act(here.department, reason=form.cleaned_data["reason"], **_kept(here, row))
            except Refused as refused:
                form.refuse(refused)
            else:
                messages.success(request, f"{title}: done.")
                return redirect("inventory", pk=pk)
        context = {"inventory": row, "form": form, "title": title, "button": button, "intro": intro}
        return render(request, "inventories/sign.html", context)

    return view


@require_POST
@may("correct")
def misread(request: HttpRequest, here: Here, pk: int, container: int) -> HttpResponseBase:
    """It was misread: nothing is booked, and it is counted again."""
    row = inventory_here(here, pk)
    vessel = get(Container, here, pk=container)
    try:
        acts.misread(here.department, container=vessel.pk, **_kept(here, row))
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, "Its counts are left out. Two people look at it again.")
    return redirect("inventory", pk=pk)


urlpatterns = [
    path("inventories/", every, name="inventories"),
    path("inventories/counted/", counted, name="last_counted"),
    path("inventories/open/", open_one, name="inventory_open"),
    path("inventories/<int:pk>/", inventory, name="inventory"),
    path("inventories/<int:pk>/counts/", counts, name="inventory_counts"),
    path("inventories/<int:pk>/close-count/", close_count, name="inventory_close_count"),
    path("inventories/<int:pk>/look-at-all/", more, name="inventory_more"),
    path("inventories/<int:pk>/confirm/", confirm, name="inventory_confirm"),
    path("inventories/<int:pk>/misread/<int:container>/", misread, name="inventory_misread"),
    *(path(f"inventories/<int:pk>/{name}/", _signed(name), name=f"inventory_{name}") for name in _SIGNED),
]
