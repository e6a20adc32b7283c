"""Refill on a phone: scan or type what it comes from and where it goes, and be told yes, or no and why."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods, require_POST

from readiness.actions import refills
from readiness.actions.once import Done
from readiness.actions.queue import was_entered
from readiness.models import Assignment, Concentrate, Container, Label, Unit
from readiness.reports.labels import Mistyped, label_named
from readiness.reports.refills import Guarded, guard_pour, guard_stow
from readiness.web import access
from readiness.web.access import Here, get, may, rows
from readiness.web.crew import unit_named
from readiness.web.entries import Ask, BookForm, CodeField, CodeInput, Page, carried_of, entry_page, known_containers
from readiness.web.forms import OfHere, QuantityField

PENDING: Final = "refill"  # the session's name for a refill that waits for a scan
_WAITS: Final = timedelta(minutes=15)


class TargetField(forms.CharField, OfHere):
    """A container, or a unit onto which pails are stowed, by any code that stands on a label; gives the record."""

    here: Here | None = None

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=CodeInput(), **kwargs)

    def settle(self, here: Here | None) -> None:
        """Whose."""
        self.here = here

    def clean(self, value: Any) -> Container | Unit | None:
        """The record, None where nothing was written, or a sentence."""
        code = super().clean(value)
        if not code or self.here is None:
            return None
        found = next(iter(known_containers(self.here, [code]).values()), None)
        return found or self._unit(code, self.here)

    def _unit(self, code: str, here: Here) -> Unit:
        label = label_named(here.department, code)
        units = rows(Unit, here).filter(retired_on__isnull=True).select_related("station", "department")
        if isinstance(label, Label) and not label.withdrawn_at and (label.unit_id or label.vehicle_id):
            run = rows(Assignment, here).filter(to_at__isnull=True, vehicle=label.vehicle_id or 0).first()
            found = units.filter(pk=label.unit_id or (run.unit_id if run else 0)).first()
        else:
            found = units.filter(designation__iexact=code).first()
        if found is None:
            said = f"“{code}” was read; no container and no unit has that code. Write it as on the label."
            raise ValidationError(label.sentence if isinstance(label, Mistyped) else said)
        return found


class RefillForm(BookForm):
    """From what, into what."""

    source = CodeField(label="From", help_text="Type the code on the pail or drum, or scan it with the phone’s camera.")
    into = forms.ChoiceField(
        label="Into",
        required=False,
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "Choose from the list."},
    )
    target = TargetField(label="Into another, by its code", required=False)
    volume = QuantityField(
        "volume", label="How much", zero=False, required=False, help_text="Empty: all that is in it and goes in."
    )
    override = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, here: Here, unit: Unit | None, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        into = self.fields["into"]
        assert isinstance(into, forms.ChoiceField)
        into.choices = offered(here, unit) if unit else []
        if not into.choices:
            del self.fields["into"]
            self.fields["target"].label = "Into"

    def clean(self) -> dict[str, Any]:
        """One place where it goes."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        chosen = asked.get("into") or ""
        if chosen and not asked.get("target"):
            asked["target"] = self._chosen(chosen)
        if not asked.get("target") and "target" not in self.errors:
            self.refuse("Nothing was read: say where it goes.", "into" if "into" in self.fields else "target")
        return asked

    def _chosen(self, key: str) -> Container | Unit:
        kind, _, pk = key.partition("-")
        assert self.here is not None
        if kind == "unit":
            return rows(Unit.objects.select_related("station", "department"), self.here).get(pk=pk)
        found = Container.objects.select_related("department", "concentrate", "place")
        return rows(found, self.here).get(pk=pk)


def offered(here: Here, unit: Unit) -> list[tuple[str, str]]:
    """Where a refill of this unit may go: its tanks, those of its vehicle, and its compartment for pails."""
    run = rows(Assignment, here).filter(unit=unit, to_at__isnull=True).first()
    tanks = rows(Container, here).filter(kind__in=["fixed tank", "kit reservoir"], retired_on__isnull=True)
    aboard = [*tanks.filter(place__vehicle=run.vehicle_id if run else 0), *tanks.filter(place__unit=unit)]
    found = [(f"container-{row.pk}", f"{row.kind} {row.code}, {row.concentrate or 'empty'}") for row in aboard]
    return [*found, (f"unit-{unit.pk}", f"stow it aboard {unit} as it is")]


def _guarded(form: RefillForm, here: Here) -> Guarded:
    asked = form.cleaned_data
    if isinstance(asked["target"], Unit):
        return guard_stow(asked["source"], asked["target"], here.today)
    return guard_pour(asked["source"], asked["target"], asked["volume"], here.today, here.units)


def _ask(form: RefillForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data
    override = bool(asked["override"])

    def act() -> list[UUID]:
        if isinstance(asked["target"], Unit):
            done = refills.stow(entry, containers=[asked["source"]], unit=asked["target"], override=override)
        else:
            done = refills.refill(
                entry, source=asked["source"], target=asked["target"], ml=asked["volume"], override=override
            )
        return [done.movement_id]

    return Ask(act)


@require_http_methods(["GET", "POST"])
@may("pour")
def refill(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The question, and the answer: yes with what it will do, or no with why and where the right stock is."""
    unit = unit_named(request, here)
    initial = {name: request.GET.get(name, "") for name in ("source", "target")}
    form = RefillForm(request.POST or None, here=here, unit=unit, initial=initial)
    if request.method == "GET" and "Keep-Copy" not in request.headers:  # a copy for a time without signal asks nothing
        _wait(request, here, unit)
    elif "change" not in request.POST and form.is_valid() and not form.cleaned_data["override"]:
        guarded = _guarded(form, here)
        if not guarded.yes and not _stands(request, here, form):
            if here.queued:
                here.queued.sentences += [f"No: {each.sentence}" for each in guarded.reasons]
            return _no(request, here, unit, form, guarded)
    back = reverse("crew_unit", args=[unit.pk]) if unit else ""
    page = Page("refill", "Refill", "Enter it as poured", _ask, _after(request, unit), back=back)
    templates = page._replace(form_template="refills/ask.html", preview_template="refills/yes.html")
    return entry_page(
        request,
        here,
        templates,
        form,
        unit=unit,
        overriding=bool(request.POST.get("override")),
        may_raise=here.may("raise a deficiency"),
    )


def _stands(request: HttpRequest, here: Here, form: RefillForm) -> bool:
    """Whether it comes a second time: it is compared with what stands in the book, not asked about again."""
    return "confirm" in request.POST and was_entered(here.department, form.cleaned_data["entry_id"])


def _after(request: HttpRequest, unit: Unit | None) -> Callable[[Done], HttpResponseBase]:
    """Back to the unit, which shows how it stands now; or to the movement."""

    def go(done: Done) -> HttpResponseBase:
        request.session.pop(PENDING, None)
        if unit is not None:
            return redirect("crew_unit", unit.pk)
        return redirect("movement", pk=done.movement_id) if done.movement_id else redirect("movements")

    return go


def _no(request: HttpRequest, here: Here, unit: Unit | None, form: RefillForm, guarded: Guarded) -> HttpResponseBase:
    context = {
        "unit": unit,
        "guarded": guarded,
        "asked": form.cleaned_data,
        "carried": [each for each in carried_of(request, form) if each[0] not in ("reason", "override")],
        "may_override": here.may("override") and guarded.overridable,
        "subject": _subject(form.cleaned_data["target"], unit),
        "may_raise": here.may("raise a deficiency"),
    }
    return render(request, "refills/no.html", context)


def _subject(target: Container | Unit, unit: Unit | None) -> str:
    """What is in service short: the unit where it is known."""
    if unit is not None:
        return f"unit-{unit.pk}"
    return f"unit-{target.pk}" if isinstance(target, Unit) else f"container-{target.pk}"


# -- scanning ----------------------------------------------------------------------------------------------------------


def _wait(request: HttpRequest, here: Here, unit: Unit | None) -> None:
    """The next label that the phone's camera reads belongs to this refill."""
    kept = {"unit": unit.pk if unit else None, "source": request.GET.get("source", ""), "at": here.now.isoformat()}
    request.session[PENDING] = kept


def scanned_for_refill(request: HttpRequest, here: Here, label: Label) -> str | None:
    """Where a scan leads while a refill waits: the form with the code in its place. None: no refill waits."""
    waiting = request.session.get(PENDING)
    if not waiting or here.now - datetime.fromisoformat(waiting["at"]) > _WAITS or label.line_id:
        return None
    query = {"unit": waiting["unit"]} if waiting["unit"] else {}
    if not waiting["source"] and not label.container_id:
        return None
    sides = {"source": waiting["source"] or label.code} | ({"target": label.code} if waiting["source"] else {})
    return reverse("refill", query={**query, **sides})


# -- nothing at hand ---------------------------------------------------------------------------------------------------


@require_POST
@may("raise a deficiency")
def short(request: HttpRequest, here: Here) -> HttpResponseBase:
    """In service short: a note for the logistics officer to order."""
    kind, _, pk = request.POST.get("subject", "").partition("-")
    subject = get({"unit": Unit, "container": Container}.get(kind, Unit), here, pk=pk or 0)
    wanted = request.POST.get("concentrate")
    concentrate = get(Concentrate, here, pk=wanted) if wanted else None
    assert isinstance(subject, Unit | Container)
    row, again = refills.in_service_short(
        here.department, subject=subject, concentrate=concentrate, acting=here.acting, clock=access.CLOCK
    )
    said = "The order was raised before; it is still open." if again else f"The order is raised: {row}."
    messages.success(request, said)
    return redirect("crew_unit", subject.pk) if isinstance(subject, Unit) else redirect("deficiency", row.pk)


urlpatterns = [
    path("refill/", refill, name="refill"),
    path("refill/short/", short, name="refill_short"),
]
