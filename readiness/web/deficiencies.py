"""Deficiencies: the list by age, raising one with a photo, its work log, and closing it with proof."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions import raised_deficiencies as actions
from readiness.actions.drafts import Refused
from readiness.actions.once import Asked, once
from readiness.actions.photos import keep_photo, photo_path
from readiness.actions.raised_deficiencies import FollowUp
from readiness.engineering.photos import MOST_BYTES
from readiness.models import Check, Container, FoamLine, Membership, Photo, RaisedDeficiency, Unit, User, Vehicle
from readiness.models.raised_deficiencies import Effect, RaisedKind
from readiness.reports.deficiencies import (
    Listed,
    judged_row,
    open_deficiencies,
    raised_of,
    things_of,
    unit_of,
    work_log,
)
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.crew import unit_named
from readiness.web.forms import DateField, EntryForm, Form, OfHere, PhotoField
from readiness.web.tables import (
    Column,
    DayColumn,
    MomentColumn,
    NumberColumn,
    RecordFilter,
    StatusColumn,
    Table,
    list_page,
)
from readiness.web.units import PersonField

_MODELS: Final[dict[str, Any]] = {"unit": Unit, "vehicle": Vehicle, "line": FoamLine, "container": Container}


# -- the list ----------------------------------------------------------------------------------------------------------


class DeficiencyTable(Table):
    """Everything open, the oldest first."""

    caption = "Deficiencies"
    age_d = NumberColumn(verbose_name="Open [days]")
    severity = StatusColumn(verbose_name="Does to the status")
    unit = Column(verbose_name="Unit or place")
    station = Column(default="", visible=False)
    sentence = Column(verbose_name="What")
    source = Column(verbose_name="How it is known")
    answers = Column(verbose_name="Who answers for it")
    owner = Column(default="nobody named", visible=False)
    due_on = DayColumn(verbose_name="Due", default="no day set")
    state = Column(verbose_name="State")
    shop_ticket = Column(default="", visible=False)
    loaner = Column(default="", visible=False)
    since_on = DayColumn(verbose_name="Since", visible=False)

    def render_severity(self, value: str) -> Any:
        """A note does nothing to a status."""
        return "none" if value == "note" else StatusColumn().render(value)

    def value_severity(self, value: str) -> str:
        """The same in the workbook."""
        return "none" if value == "note" else value.replace("_", " ")

    def render_sentence(self, record: Listed) -> SafeString:
        """What is wrong leads to its page."""
        return format_html('<a href="{}">{}</a>', _address(record), record.sentence)

    def render_state(self, record: Listed) -> str:
        """How long it is overdue."""
        days = record.overdue_d
        return f"{days} {'day' if days == 1 else 'days'} overdue" if days else record.state

    def value_state(self, record: Listed) -> str:
        """The same in the workbook."""
        return self.render_state(record)


def _address(each: Listed) -> str:
    if each.raised:
        return reverse("deficiency", args=[each.pk])
    return reverse("unit_deficiency", args=[each.unit_id, each.pk])


class DeficiencyFilter(RecordFilter):
    """By words, severity, station, who answers, how it is known, and whether it is overdue."""

    search = ("unit", "sentence", "owner", "shop_ticket", "loaner")
    choices = {
        "severity": "Does to the status",
        "station": "Station",
        "answers": "Who answers for it",
        "source": "How it is known",
        "state": "State",
    }


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    found = open_deficiencies(here.department, here.day, here.units)
    context = {"may_raise": here.may("raise a deficiency")}
    return list_page(
        request,
        here,
        DeficiencyTable,
        found,
        template="deficiencies/list.html",
        filter_class=DeficiencyFilter,
        context=context,
    )


class ClosedTable(Table):
    """Those raised by hand that were closed."""

    caption = "Closed deficiencies"
    words = Column(accessor="pk", verbose_name="What", orderable=False)
    raised_at = MomentColumn(verbose_name="Raised")
    closed_at = MomentColumn(verbose_name="Closed")

    class Meta:
        order_by = "-closed_at"

    def render_words(self, record: RaisedDeficiency) -> SafeString:
        """It leads to its page."""
        return format_html('<a href="{}">{}</a>', reverse("deficiency", args=[record.pk]), str(record))

    def value_words(self, record: RaisedDeficiency) -> str:
        """The same in the workbook."""
        return str(record)


@require_GET
@signed_in
def closed(request: HttpRequest, here: Here) -> HttpResponseBase:
    """What was closed, the latest first."""
    return list_page(request, here, ClosedTable, raised_of(here.department).filter(closed_at__isnull=False))


# -- raising -----------------------------------------------------------------------------------------------------------


class ThingField(forms.ChoiceField, OfHere):
    """Something that can have a deficiency, posted as line-3: gives the record."""

    here: Here | None = None

    def settle(self, here: Here | None) -> None:
        """Whose things."""
        self.here = here
        if here is not None:
            units = rows(Unit, here).filter(retired_on__isnull=True)
            self.choices = [("", "choose"), *((f"unit-{row.pk}", str(row)) for row in units)]

    def clean(self, value: Any) -> Any:
        """The department's record, or a sentence."""
        key = super().clean(value)
        kind, _, pk = key.partition("-")
        assert self.here is not None
        return rows(_MODELS[kind], self.here).get(pk=pk)


class RaiseForm(EntryForm):
    """What is wrong, with what, and what it does."""

    thing = ThingField(
        label="What it is about",
        error_messages={"invalid_choice": "What was read is not in the list: choose from the list."},
    )
    words = forms.CharField(label="What is wrong", max_length=140, widget=forms.Textarea({"rows": 2}))
    effect = forms.ChoiceField(
        label="What it does",
        choices=Effect.choices,
        widget=forms.RadioSelect,
        error_messages={
            "required": "Nothing was read: say what it does to the status.",
            "invalid_choice": "Choose one of the answers that are offered.",
        },
    )
    photo = PhotoField(label="Photo")

    def __init__(self, *args: Any, here: Here, offered: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        thing = self.fields["thing"]
        assert isinstance(thing, ThingField)
        if offered:
            thing.choices = offered if len(offered) == 1 else [("", "choose"), *offered]


def _offered(request: HttpRequest, here: Here) -> tuple[Unit | None, list[tuple[str, str]]]:
    """What the page before has chosen: a unit with all that it carries, or one container."""
    if "container" in request.GET:
        row = get(Container, here, pk=request.GET["container"])
        return None, [(f"container-{row.pk}", f"{row.kind} {row.code}")]
    unit = unit_named(request, here)
    if unit is not None:
        return unit, [(each.key, each.name) for each in things_of(unit)]
    return None, []


@require_http_methods(["GET", "POST"])
@may("raise a deficiency")
def raise_one(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The form; sent twice it raises once."""
    unit, offered = _offered(request, here)
    check = rows(Check, here).filter(unit=unit, pk=request.GET["check"]).first() if _uuid(request) and unit else None
    initial = {"thing": request.GET.get("thing", ""), "words": request.GET.get("words", "")[:140]}
    form = RaiseForm(request.POST or None, request.FILES or None, here=here, offered=offered, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            row = _raised(here, form, check)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Raised: {row}." if row else "This was raised before; nothing was raised twice.")
            return redirect("crew_unit", unit.pk) if unit else redirect("deficiencies")
    form.lose_photo(request.FILES)
    return render(request, "deficiencies/raise.html", {"form": form, "unit": unit, "most_mb": MOST_BYTES // 1_000_000})


def _uuid(request: HttpRequest) -> bool:
    try:
        Check._meta.pk.to_python(request.GET.get("check", "-"))
    except forms.ValidationError:
        return False
    return True


def _raised(here: Here, form: RaiseForm, check: Check | None) -> RaisedDeficiency | None:
    asked, made = form.cleaned_data, list[RaisedDeficiency]()
    by: dict[str, Any] = {"acting": here.acting, "clock": access.CLOCK}

    def act() -> list[Any]:
        photo = keep_photo(here.department, data=asked["photo"], **by) if asked["photo"] else None
        made.append(
            actions.raise_deficiency(
                here.department,
                subject=asked["thing"],
                words=asked["words"],
                effect=Effect(asked["effect"]),
                kind=RaisedKind.FAULT,
                photo=photo,
                check=check,
                **by,
            )
        )
        return []

    body = {"thing": f"{asked['thing']._meta.model_name} {asked['thing'].pk}", "words": asked["words"]}
    once(here.department, Asked(asked["entry_id"], "deficiency", {**body, "effect": asked["effect"]}), act, **by)
    return made[0] if made else None


# -- one of them -------------------------------------------------------------------------------------------------------


class WorkForm(Form):
    """What was seen or done."""

    words = forms.CharField(label="What was seen or done", max_length=500, widget=forms.Textarea({"rows": 2}))
    photo = PhotoField(label="Photo")


class ProofForm(Form):
    """How one knows that it is cured."""

    words = forms.CharField(
        label="Proof",
        max_length=500,
        widget=forms.Textarea({"rows": 2}),
        help_text="What was done, and how you know that it works.",
    )
    photo = PhotoField(label="Photo")


class ReopenForm(Form):
    """Why it is open again."""

    words = forms.CharField(label="Why it is open again", max_length=500, widget=forms.Textarea({"rows": 2}))


class FollowUpForm(Form):
    """Owner, day, shop and effect."""

    owner = PersonField(User.objects.none(), label="Who sees to it", required=False, empty_label="nobody named")
    due_on = DateField(label="Due", required=False)
    shop_ticket = forms.CharField(label="Shop ticket", max_length=60, required=False)
    loaner = forms.CharField(label="Loaner: what stands in for it", max_length=120, required=False)
    effect = forms.ChoiceField(label="What it does", choices=Effect.choices)
    why = forms.CharField(
        label="Why it does something else now", max_length=300, required=False, help_text="Only with another effect."
    )

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        owner = self.fields["owner"]
        assert isinstance(owner, PersonField)
        members = rows(Membership, here).filter(to_on__isnull=True).values("user")
        owner.queryset = User.objects.filter(pk__in=members).order_by("last_name", "first_name", "username")


def _row(here: Here, pk: int) -> RaisedDeficiency:
    return get(raised_of(here.department), here, pk=pk)


@require_GET
@signed_in
def one(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Its page."""
    return _page(request, here, _row(here, pk))


def _page(
    request: HttpRequest, here: Here, row: RaisedDeficiency, wrong: tuple[str, Form] | None = None
) -> HttpResponseBase:
    facts = ("owner", "due_on", "shop_ticket", "loaner", "effect")
    made: dict[str, Form] = {
        "work_form": WorkForm(here=here),
        "follow_form": FollowUpForm(here=here, initial={name: getattr(row, name) for name in facts}),
        "proof_form": ProofForm(here=here, prefix="proof"),
        "reopen_form": ReopenForm(here=here),
    }
    context = {
        "row": row,
        "unit": unit_of(row),
        "log": work_log(row),
        "judged": judged_row(row),
        "day": here.day,
        "may_work": here.may("raise a deficiency"),
        "may_close": here.may("close a deficiency"),
        "may_accept": here.may("accept"),
        **made,
        **dict([wrong] if wrong else []),
    }
    return render(request, "deficiencies/one.html", context)


def _done(
    request: HttpRequest, here: Here, row: RaisedDeficiency, name: str, form: Form, deed: Any, said: str
) -> HttpResponseBase:
    """Do it, or draw the page with the form that was refused."""
    if form.is_valid():
        try:
            deed(form.cleaned_data, {"deficiency": row, "acting": here.acting, "clock": access.CLOCK})
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, said)
            return redirect("deficiency", row.pk)
    return _page(request, here, row, (name, form))


def _photo(here: Here, data: bytes | None) -> Photo | None:
    return keep_photo(here.department, data=data, acting=here.acting, clock=access.CLOCK) if data else None


@require_POST
@may("raise a deficiency")
def work(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A line of the work log."""

    def deed(asked: Any, by: Any) -> None:
        actions.log_work(here.department, words=asked["words"], photo=_photo(here, asked["photo"]), **by)

    form = WorkForm(request.POST, request.FILES, here=here)
    return _done(request, here, _row(here, pk), "work_form", form, deed, "Noted in the work log.")


@require_POST
@may("close a deficiency")
def follow(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Owner, day, shop, loaner, effect."""

    def deed(asked: Any, by: Any) -> None:
        why = asked.pop("why")
        actions.follow_up(here.department, facts=FollowUp(**asked), why=why, **by)

    form = FollowUpForm(request.POST, here=here)
    return _done(request, here, _row(here, pk), "follow_form", form, deed, "Saved.")


@require_POST
@may("close a deficiency")
def close(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Closed with proof."""

    def deed(asked: Any, by: Any) -> None:
        photo = _photo(here, asked["photo"])
        actions.close_deficiency(here.department, proof=asked["words"], photo=photo, **by)

    form = ProofForm(request.POST, request.FILES, here=here, prefix="proof")
    return _done(request, here, _row(here, pk), "proof_form", form, deed, "Closed.")


@require_POST
@may("close a deficiency")
def reopen(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Open again."""

    def deed(asked: Any, by: Any) -> None:
        actions.reopen_deficiency(here.department, why=asked["words"], **by)

    form = ReopenForm(request.POST, here=here)
    return _done(request, here, _row(here, pk), "reopen_form", form, deed, "It is open again.")


@require_GET
@signed_in
def photo(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A picture, for its department alone."""
    row = get(Photo, here, pk=pk)
    file: Path = photo_path(row.department_id, row.sha256, row.media_type)
    if not file.exists():
        raise Http404
    answer = HttpResponse(file.read_bytes(), content_type=row.media_type)
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


urlpatterns = [
    path("deficiencies/", every, name="deficiencies"),
    path("deficiencies/closed/", closed, name="deficiencies_closed"),
    path("deficiencies/raise/", raise_one, name="raise_deficiency"),
    path("deficiencies/<int:pk>/", one, name="deficiency"),
    path("deficiencies/<int:pk>/work/", work, name="deficiency_work"),
    path("deficiencies/<int:pk>/follow-up/", follow, name="deficiency_follow_up"),
    path("deficiencies/<int:pk>/close/", close, name="deficiency_close"),
    path("deficiencies/<int:pk>/reopen/", reopen, name="deficiency_reopen"),
    path("photos/<int:pk>/", photo, name="photo"),
]
