"""Movements: the list, one of them, and a form for every entry that the ledger takes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Any, NamedTuple, cast
from uuid import UUID
from zoneinfo import ZoneInfo

import django_filters as filters
from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db.models import Q
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions import movements
from readiness.actions.ledger import Posted
from readiness.actions.movements import SPENT, Entry
from readiness.actions.places import place_at
from readiness.engineering.dates import FIRST_YEAR, LAST_YEAR
from readiness.models import Container, InventoryResult, Movement, Unit
from readiness.models.movements import Account, MovementKind
from readiness.reports.journal import Told, movements_of, told
from readiness.web import figures
from readiness.web.access import Here, get, may, signed_in
from readiness.web.crew import unit_named
from readiness.web.entries import (
    Ask,
    BookForm,
    CodeField,
    CodesField,
    OwnerField,
    Page,
    each_in_turn,
    entry_page,
    to_movement,
)
from readiness.web.forms import QuantityField
from readiness.web.tables import Column, MomentColumn, Table, list_page

View = Callable[..., HttpResponseBase]
_WITHIN = [MinValueValidator(date(FIRST_YEAR, 1, 1)), MaxValueValidator(date(LAST_YEAR, 12, 31))]


# -- the list and one movement -----------------------------------------------------------------------------------------


class MovementTable(Table):
    """Movements in words, the latest first."""

    caption = "Movements"
    happened = MomentColumn(accessor="happened_at", verbose_name="Happened", attrs={"td": {"class": "moment"}})
    kind = Column(verbose_name="Kind", linkify=("movement", {"pk": A("id")}), attrs={"td": {"class": "nobreak"}})
    what = Column(accessor="pk", verbose_name="What", orderable=False)
    incident = Column(verbose_name="Incident", default="")
    remark = Column(accessor="reason", verbose_name="Remark", orderable=False, default="")
    by = Column(accessor="recorded_by", verbose_name="By", orderable=False, empty_values=())
    recorded = MomentColumn(accessor="recorded_at", verbose_name="Recorded", visible=False)
    standing = Column(accessor="pk", verbose_name="Corrected", orderable=False, empty_values=())

    class Meta:
        order_by = "-happened"

    def told(self, record: Movement) -> Told:
        """The row in words, worked out once."""
        known: Told | None = getattr(record, "_told", None)
        if known is None:
            known = record._told = told(record)  # type: ignore[attr-defined] # kept for the row's other cells
        return known

    def render_kind(self, record: Movement) -> str:
        """The kind, which is also the way to its page."""
        return record.kind

    def render_what(self, record: Movement) -> SafeString:
        """A sentence a line."""
        return format_html_join("", "<span class='sentence'>{}</span>", ((words,) for words in self.told(record).words))

    def value_what(self, record: Movement) -> str:
        """The same sentences in one cell."""
        return "; ".join(self.told(record).words)

    def render_by(self, record: Movement) -> str:
        """Who recorded it."""
        return self.told(record).by

    def value_by(self, record: Movement) -> str:
        """Who recorded it."""
        return self.told(record).by

    def render_standing(self, record: Movement) -> str:
        """Whether it corrects another or was corrected itself."""
        found = self.told(record)
        late = "entered late" if found.late else ""
        return "corrected" if found.corrected_by else "a correction" if found.corrects else late

    def value_standing(self, record: Movement) -> str:
        """The same in the workbook."""
        return self.render_standing(record)


class MovementFilter(filters.FilterSet):
    """By kind, label code or lot, incident and days."""

    kind = filters.ChoiceFilter(choices=[(kind, kind) for kind in MovementKind.values], label="Kind", empty_label="all")
    of = filters.CharFilter(method="of_code", label="Label code or lot")
    incident = filters.CharFilter(lookup_expr="icontains", label="Incident")
    since = filters.DateFilter(
        method="from_day", label="From", widget=forms.DateInput({"type": "date"}), validators=_WITHIN
    )
    until = filters.DateFilter(
        method="to_day", label="To", widget=forms.DateInput({"type": "date"}), validators=_WITHIN
    )

    def __init__(self, data: Any, queryset: Any, *, zone: str) -> None:
        super().__init__(data, queryset)
        self.zone = ZoneInfo(zone)

    def from_day(self, queryset: Any, name: str, value: date) -> Any:
        """From midnight on, on the wall of the department."""
        return queryset.filter(happened_at__gte=datetime.combine(value, time.min, self.zone))

    def to_day(self, queryset: Any, name: str, value: date) -> Any:
        """Until midnight, on the wall of the department."""
        return queryset.filter(happened_at__lt=datetime.combine(value + timedelta(days=1), time.min, self.zone))

    def of_code(self, queryset: Any, name: str, value: str) -> Any:
        """Those that name a container or a lot."""
        code = value.strip()
        named = (
            Q(lines__container__code__iexact=code)
            | Q(lines__lot__batch__iexact=code)
            | Q(relocations__container__code__iexact=code)
            | Q(markings__container__code__iexact=code)
        )
        return queryset.filter(pk__in=Movement.objects.filter(named).values("pk"))


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    return list_page(
        request,
        here,
        MovementTable,
        movements_of(here.department),
        template="movements/list.html",
        filter_class=partial(MovementFilter, zone=here.department.time_zone),
        context={"doors": doors(here)},
    )


@require_GET
@signed_in
def movement(request: HttpRequest, here: Here, pk: UUID) -> HttpResponseBase:
    """One movement."""
    found = get(movements_of(here.department), here, pk=pk)
    lines = [(line, signed(line.ml, here)) for line in sorted(found.lines.all(), key=lambda line: line.n)]
    result = InventoryResult.objects.filter(movement=found).select_related("inventory").first()
    papers = {name: getattr(found, name, None) for name in ("delivery", "disposal")}
    context = {"here": here, "told": told(found), "lines": lines, "may_correct": here.may("correct"), **papers}
    context |= {"partner": found.partner, "result": result}
    return render(request, "movements/movement.html", context)


def signed(ml: int, here: Here) -> str:
    """A line of the book in the reader's units: +5.00 gal or −5.00 gal."""
    return f"{'+' if ml > 0 else '−'}{figures.figure(abs(ml), 'volume', here.units, 'nearest', places=2)}"


# -- forms -------------------------------------------------------------------------------------------------------------


def department_rows(field: forms.Field, found: Any) -> None:
    """Offer some of the department's rows in a list."""
    cast("forms.ModelChoiceField[Any]", field).queryset = found


class OverrideForm(BookForm):
    """What is refused otherwise; only who may override is asked."""

    override = forms.BooleanField(required=False)
    override_label = override_help = ""
    last = ("override", "happened_at", "reason")

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        if here.may("override"):
            self.fields["override"].label = self.override_label
            self.fields["override"].help_text = self.override_help
        else:
            del self.fields["override"]

    def clean(self) -> dict[str, Any]:
        """Who is not asked overrides nothing: the same entry by somebody who is asked says the same."""
        return {"override": False, **(super().clean() or {})}


class PourForm(OverrideForm):
    """From one container into another."""

    override_label = "It happened although the two do not belong together"
    override_help = "An officer records it with a remark; what it went into is marked mixed and out of the count."

    source = CodesField(label="From (label codes)")
    target = CodeField(label="Into (label code)")
    volume = QuantityField(
        "volume", label="From each", zero=False, required=False, help_text="Empty: all that is in it by the book."
    )


class MoveForm(BookForm):
    """Containers change place."""

    codes = CodesField(label="Label codes")
    owner = OwnerField(label="Where they go")
    compartment = forms.CharField(max_length=60, required=False, help_text="As store room, L3 or tank A.")


def _accounts(here: Here, *, everything: bool) -> list[tuple[str, str]]:
    """Where concentrate may go by this person's role. To a partner it goes by a loan, which names the partner."""
    left_out = {Account.PARTNER} if everything else {Account.PARTNER, Account.INVENTORY_DIFFERENCE}
    found = [each for each in SPENT if here.may(movements.permission_for(each)) and each not in left_out]
    return [(each.value, each.value) for each in found]


class UseForm(OverrideForm):
    """Concentrate leaves a container for good."""

    override_label = "It was used in a drill although the policy keeps it out of drills"
    override_help = "Stock with PFAS, or not known to be without. An officer records it with a remark that says why."

    code = CodeField(label="From (label code)")
    volume = QuantityField("volume", zero=False)
    account = forms.ChoiceField(label="What for")
    incident = forms.CharField(label="Incident number", max_length=60, required=False)

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        cast(forms.ChoiceField, self.fields["account"]).choices = _accounts(here, everything=True)


class EmptyForm(BookForm):
    """All that is in a container leaves it."""

    code = CodeField(label="Label code")
    account = forms.ChoiceField(label="Where it went")

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        account = cast(forms.ChoiceField, self.fields["account"])
        account.choices = _accounts(here, everything=False)
        if here.may("dispose"):
            account.initial = Account.DISPOSAL.value


class MarkForm(BookForm):
    """One or several containers by their label codes."""

    codes = CodesField(label="Label codes")


class MarkWithReasonForm(MarkForm):
    """The same, and why."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].required = True
        self.fields["reason"].label = "Reason"
        self.fields["reason"].error_messages["required"] = "Nothing was read: this entry says why."


class CorrectForm(BookForm):
    """Why a movement is undone."""

    reason = forms.CharField(
        label="What was wrong",
        max_length=400,
        widget=forms.Textarea({"rows": 2}),
        error_messages={"required": "Nothing was read: a correction says what was wrong."},
    )


# -- what they ask for -------------------------------------------------------------------------------------------------


def _pour(form: PourForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data

    def pour(own: Entry, container: Container) -> Posted:
        ml = asked["volume"] or container.contents_ml
        return movements.pour(own, source=container, target=asked["target"], ml=ml, override=asked["override"])

    return Ask(lambda: each_in_turn(entry, asked["source"], pour))


def _move(form: MoveForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data

    def act() -> list[UUID]:
        place = place_at(entry, asked["owner"], asked["compartment"])
        return [movements.move(entry, containers=asked["codes"], place=place).movement_id]

    return Ask(act)


def _use(form: UseForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data
    account, override = Account(asked["account"]), asked["override"]

    def act() -> list[UUID]:
        posted = movements.use(entry, container=asked["code"], ml=asked["volume"], account=account, override=override)
        return [posted.movement_id]

    return Ask(act)


def _empty(form: EmptyForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data
    account = Account(asked["account"])
    return Ask(lambda: [movements.empty(entry, container=asked["code"], account=account).movement_id])


def _each(verb: Callable[..., Any]) -> Callable[[MarkForm, Here], Ask]:
    def ask(form: MarkForm, here: Here) -> Ask:
        entry, containers = form.entry(here), form.cleaned_data["codes"]
        return Ask(lambda: each_in_turn(entry, containers, verb))

    return ask


# -- one page each -----------------------------------------------------------------------------------------------------

# name of the url: (permission, form, page)
VERBS: dict[str, tuple[str, type[BookForm], Page]] = {
    "pour": (
        "pour",
        PourForm,
        Page(
            "pour",
            "Load or pour",
            "Enter it as poured",
            _pour,
            to_movement,
            "From pails into a tank, from a drum into a pail. Different concentrates never meet in one container.",
        ),
    ),
    "move": (
        "move",
        MoveForm,
        Page(
            "move",
            "Move containers",
            "Enter the move",
            _move,
            to_movement,
            "What is in them stays in them. What stands on a unit goes along when the unit changes over; what stands "
            "on a vehicle stays with the vehicle.",
        ),
    ),
    "use": ("use", UseForm, Page("use", "Use or lose", "Enter the use", _use, to_movement)),
    "empty": (
        "use",
        EmptyForm,
        Page("empty", "Empty a container", "Enter it as emptied", _empty, to_movement, "Empty is not clean yet."),
    ),
    "open": (
        "open",
        MarkForm,
        Page("open", "Open containers", "Enter as opened", _each(movements.open_container), to_movement),
    ),
    "mark_mixed": (
        "mark mixed",
        MarkWithReasonForm,
        Page(
            "mark mixed",
            "Mark as mixed",
            "Mark as mixed",
            _each(movements.mark_mixed),
            to_movement,
            "Something got into it that does not belong there. It is out of the count until emptied, flushed and "
            "inspected.",
        ),
    ),
    "mark_diluted": (
        "mark mixed",
        MarkWithReasonForm,
        Page(
            "mark diluted",
            "Mark as diluted",
            "Mark as diluted",
            _each(movements.mark_diluted),
            to_movement,
            "More was measured than the book has: water may be getting in. It is out of the count.",
        ),
    ),
    "flush": (
        "flush",
        MarkForm,
        Page(
            "flush",
            "Flushed with clear water",
            "Enter as flushed",
            _each(movements.flush),
            to_movement,
            "Tank, foam pump, manifold, strainer and pick-up, the container being empty.",
        ),
    ),
    "inspect": (
        "inspect",
        MarkForm,
        Page(
            "inspect",
            "Inspected after the flush",
            "Enter as inspected and clean",
            _each(movements.inspect),
            to_movement,
            "Found clean, it may take any concentrate again.",
        ),
    ),
    "quarantine": (
        "quarantine",
        MarkWithReasonForm,
        Page(
            "quarantine",
            "Quarantine containers",
            "Quarantine",
            _each(movements.quarantine),
            to_movement,
            "Set aside: out of the count, nothing in or out, until released.",
        ),
    ),
    "release": (
        "quarantine",
        MarkWithReasonForm,
        Page("release", "Release from quarantine", "Release", _each(movements.release), to_movement),
    ),
}


_DAILY = frozenset({"pour", "move", "use"})


class Door(NamedTuple):
    """A form: its word, its address, and whether it is needed often."""

    word: str
    address: str
    often: bool


def doors(here: Here) -> list[Door]:
    """The forms that the role may open, in the order of the page."""
    found = [
        Door(page.title, reverse(name), name in _DAILY) for name, (action, _, page) in VERBS.items() if here.may(action)
    ]
    receive = [Door("Receive a delivery", reverse("receive"), often=True)] if here.may("receive") else []
    return (
        receive
        + found
        + ([Door("Change a unit over", reverse("change_over"), often=True)] if here.may("change over") else [])
    )


def _entry_view(name: str) -> View:
    action, form_class, page = VERBS[name]

    @require_http_methods(["GET", "POST"])
    @may(action)
    def view(request: HttpRequest, here: Here) -> HttpResponseBase:
        form = form_class(request.POST or None, here=here, initial=asked_before(request, form_class))
        unit = unit_named(request, here)
        return entry_page(request, here, for_unit(page, unit), form, unit=unit)

    return view


def for_unit(page: Page, unit: Unit | None) -> Page:
    """The form of a crew: it offers what is aboard, and leads back to their unit."""
    if unit is None:
        return page
    pk = unit.pk
    title = f"{page.title}: {unit}"
    back = reverse("crew_unit", args=[pk])
    return page._replace(title=title, after=lambda _: redirect("crew_unit", pk), back=back, queued=True)


def asked_before(request: HttpRequest, form_class: type[BookForm]) -> dict[str, Any]:
    """What the page before has chosen already: label codes, where to, from what, into what."""
    codes = " ".join(request.GET.getlist("code"))
    found = {name: codes for name in ("codes", "code") if codes}
    return found | {
        name: " ".join(request.GET.getlist(name))
        for name in ("owner", "compartment", "source", "target", "unit", "account", "lot", "incident")
        if name in request.GET and name in form_class.base_fields
    }


@require_http_methods(["GET", "POST"])
@may("correct")
def correct(request: HttpRequest, here: Here, pk: UUID) -> HttpResponseBase:
    """Undo a movement by a further one."""
    wrong = get(movements_of(here.department), here, pk=pk)
    page = Page(
        "correct",
        "Correct a movement",
        "Undo it by a correction",
        partial(_correct, wrong),
        to_movement,
        "What was entered stays in the history. A further movement undoes it; enter what is right afterwards.",
        reverse("movement", args=[pk]),
    )
    form = CorrectForm(request.POST or None, here=here)
    return entry_page(request, here, page, form, about=told(wrong).words)


def _correct(wrong: Movement, form: CorrectForm, here: Here) -> Ask:
    entry: Entry = form.entry(here)
    return Ask(lambda: [movements.correct(entry, movement=wrong).movement_id])


urlpatterns = [
    path("movements/", every, name="movements"),
    path("movements/<uuid:pk>/", movement, name="movement"),
    path("movements/<uuid:pk>/correct/", correct, name="correct"),
    *(path(f"movements/{name.replace('_', '-')}/", _entry_view(name), name=name) for name in VERBS),
]
