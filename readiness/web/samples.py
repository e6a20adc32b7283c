"""Laboratory samples of a lot or of one container, and the answers that come later."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from readiness.actions.evidence import record_sample, record_sample_result
from readiness.models import Container, Holding, Lot, Sample
from readiness.web import access
from readiness.web.access import Here, get, may
from readiness.web.entries import Ask, Page, entry_page
from readiness.web.forms import DateField, EntryForm

ANSWERS = [("", "awaited"), ("yes", "passed"), ("no", "failed")]


class SampleForm(EntryForm):
    """When it was taken, and the laboratory's answer if there is one."""

    taken_on = DateField(past=True)
    answer = forms.ChoiceField(choices=ANSWERS, required=False, label="The laboratory's answer")
    good_through = DateField(
        required=False, label="Good through", help_text="As the report says. Empty: the department's interval counts."
    )
    report = forms.CharField(max_length=200, required=False, label="Report number")


class ResultForm(EntryForm):
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


urlpatterns = [path("samples/<int:pk>/result/", result, name="sample_result")]
