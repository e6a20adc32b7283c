"""Laboratory samples of a lot or of one container, and the answers that come later."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_http_methods

from readiness.actions.drafts import Refused
from readiness.actions.evidence import record_sample, record_sample_result
from readiness.actions.keeping import EDIT, Desk
from readiness.actions.policies import set_sample_limits
from readiness.engineering.sample_limits import DECLARED, L1, L2, QUALITIES, Limits
from readiness.models import Container, Holding, Lot, Sample
from readiness.reports.samples import findings, limits_of
from readiness.web import access
from readiness.web.access import Here, get, may, signed_in
from readiness.web.entries import Ask, Page, entry_page
from readiness.web.forms import DateField, EntryForm, Form, PercentField
from readiness.web.proof_forms import value_field
from readiness.web.sheet_forms import NumberField, SheetForm

ANSWERS = [("", "awaited"), ("yes", "passed"), ("no", "failed")]


_VALUES: Final = (*QUALITIES, *DECLARED)


class ValuesForm(SheetForm, EntryForm):
    """The values of a laboratory's report, folded below what it says."""

    saves = True
    template_name = "worksheet/fields.html"
    groups_of = (("Values of the report", _VALUES),)

    def measured(self) -> dict[str, float]:
        """Those that were written, as a record keeps them."""
        return {name: self.cleaned_data[name] for name in _VALUES if self.cleaned_data[name] is not None}


class SampleForm(ValuesForm):
    """When it was taken, and the laboratory's answer if there is one."""

    taken_on = DateField(past=True)
    answer = forms.ChoiceField(choices=ANSWERS, required=False, label="The laboratory's answer")
    good_through = DateField(
        required=False, label="Good through", help_text="As the report says. Empty: the department's interval counts."
    )
    report = forms.CharField(max_length=200, required=False, label="Report number")


class ResultForm(ValuesForm):
    """The answer to a sample that waits for it."""

    answer = forms.ChoiceField(choices=ANSWERS[1:], label="The laboratory's answer")
    report = forms.CharField(max_length=200, required=False, label="Report number")


def sample_ask(*, lot: Lot | None = None, container: Container | None = None) -> Callable[[Any, Here], Ask]:
    """A sample of this lot or container, as the form says."""

    def ask(form: SampleForm, here: Here) -> Ask:
        asked = form.cleaned_data

        def act() -> Sequence[UUID]:
            record_sample(
                here.department,
                lot=lot,
                container=container,
                taken_on=asked["taken_on"],
                passed={"yes": True, "no": False}.get(asked["answer"]),
                good_through=asked["good_through"],
                report=asked["report"],
                measured=form.measured(),
                acting=here.acting,
                clock=access.CLOCK,
            )
            return []

        return Ask(act, concerned(lot, container))

    return ask


def concerned(lot: Lot | None, container: Container | None) -> list[int]:
    """The containers that a sample speaks for."""
    if container is not None:
        return [container.pk]
    return list(Holding.objects.filter(lot=lot).order_by("container").values_list("container", flat=True))


@require_http_methods(["GET", "POST"])
@may("sample")
def result(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The answer to a sample."""
    sample = get(Sample.objects.select_related("lot__concentrate", "container__place"), here, pk=pk)
    where = ("lot", sample.lot_id) if sample.lot_id else ("container", sample.container_id)

    def ask(form: ResultForm, here: Here) -> Ask:
        asked = form.cleaned_data

        def act() -> Sequence[UUID]:
            record_sample_result(
                here.department,
                sample=sample,
                passed=asked["answer"] == "yes",
                report=asked["report"],
                measured=form.measured(),
                acting=here.acting,
                clock=access.CLOCK,
            )
            return []

        return Ask(act, concerned(sample.lot, sample.container))

    page = Page(
        "sample result",
        f"Answer to the {sample}",
        "Record the answer",
        ask,
        lambda _: redirect(where[0], pk=where[1]),
        back=reverse(where[0], args=[where[1]]),
    )
    return entry_page(request, here, page, ResultForm(request.POST or None, here=here))


@require_GET
@signed_in
def one(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One sample: the laboratory's answer, and each value against its limits."""
    row = get(Sample.objects.select_related("lot__concentrate", "container__place"), here, pk=pk)
    limits = limits_of(here.department)
    where = reverse("lot", args=[row.lot_id]) if row.lot_id else reverse("container", args=[row.container_id])
    context = {"row": row, "findings": findings(row, limits), "limits": limits, "where": where}
    return render(request, "tests/sample.html", {**context, "may_sample": here.may("sample")})


class LimitsForm(Form):
    """What passes where a laboratory gives values; each empty field keeps the shipped limit."""

    density_within = PercentField(label="Density, within ± of declared", greatest=10_000)
    viscosity_within = PercentField(label="Viscosity, within ± of declared", greatest=10_000)
    density_aged_within = PercentField(label="Density after ageing, within ±", greatest=10_000)
    ph_low = NumberField(label="pH, at least", most=14)
    ph_high = NumberField(label="pH, at most", most=14)
    sediment_most = NumberField(label="Sediment, % by volume", most=100)
    sediment_included = forms.BooleanField(label="The limit of sediment itself passes", required=False)

    @classmethod
    def of(cls, limits: Limits) -> dict[str, Any]:
        """Limits as the form shows them: shares as percentages."""
        values = limits._asdict()
        return {name: round(value * 10_000) if name in _SHARES else _shown(value) for name, value in values.items()}

    def limits(self) -> Limits:
        """The limits that were written."""
        asked = self.cleaned_data
        values = {name: asked[name] / 10_000 if name in _SHARES else asked[name] for name in self.fields}
        return Limits(**values, source=L1.source)


_SHARES: Final = ("density_within", "viscosity_within", "density_aged_within")


def _shown(value: Any) -> Any:
    return f"{value:g}" if isinstance(value, float) else value


@require_http_methods(["GET", "POST"])
@may(EDIT)
def limits(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The department's limits for a laboratory's values."""
    form = LimitsForm(request.POST or None, here=here, initial=LimitsForm.of(limits_of(here.department)))
    if request.method == "POST" and form.is_valid():
        try:
            set_sample_limits(Desk(here.department, here.acting, access.CLOCK), form.limits())
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "The limits are changed; samples from now on are weighed by them.")
            return redirect("policy")
    return render(request, "tests/limits.html", {"form": form, "shipped": L1, "shipping": L2})


urlpatterns = [
    path("samples/<int:pk>/", one, name="sample"),
    path("samples/<int:pk>/result/", result, name="sample_result"),
    path("policy/sample-limits/", limits, name="sample_limits"),
]


for _form in (SampleForm, ResultForm):  # one field a value: the table of the room of numbers is the form
    for _quality in QUALITIES:
        _form.base_fields[_quality] = value_field(_quality)
    for _name, _of in DECLARED.items():
        _form.base_fields[_name] = value_field(_of, "Declared ")
