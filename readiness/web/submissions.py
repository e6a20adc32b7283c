"""Entries that could not be posted: held whole with the reason, until an officer settles them."""

from __future__ import annotations

import json
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions.drafts import Refused
from readiness.actions.permissions import NotAllowed
from readiness.actions.queue import HELD_FORM
from readiness.actions.submissions import BadBody, settle
from readiness.models import Submission
from readiness.models.submissions import Outcome
from readiness.reports.journal import person_name
from readiness.web import access
from readiness.web.access import Here, get, may, rows
from readiness.web.forms import Form
from readiness.web.tables import Column, MomentColumn, Table, list_page


class HeldTable(Table):
    """Held entries, the oldest first."""

    caption = "Held entries"
    received_at = MomentColumn(verbose_name="Received", linkify=("held_entry", {"pk": A("id")}))
    kind = Column()
    said = Column(accessor="body", verbose_name="What it says", orderable=False)
    why = Column(verbose_name="Why it is held", orderable=False)
    sent_by = Column(verbose_name="From", orderable=False, empty_values=())
    device_at = MomentColumn(verbose_name="On their clock", default="")

    class Meta:
        order_by = "received_at"

    def render_said(self, record: Submission) -> str:
        """The body in words."""
        return "; ".join(f"{name} {value}" for name, value in said(record.body))

    def value_said(self, record: Submission) -> str:
        """The same in the workbook."""
        return self.render_said(record)

    def render_sent_by(self, record: Submission) -> str:
        """Who sent it."""
        return person_name(record.sent_by) or f"({record.identity})"

    def value_sent_by(self, record: Submission) -> str:
        """Who sent it."""
        return self.render_sent_by(record)


SAID_FIRST = ("container", "source", "target", "volume", "account", "lot", "concentrate", "station", "unit", "vehicle")


def said(body: Any) -> list[tuple[str, str]]:
    """A body by its fields, in words."""
    if not isinstance(body, dict):
        return [("body", json.dumps(body))]
    filled = {str(name): value for name, value in body.items() if value not in ("", None, [])}
    return [(name.replace("_", " "), _value(filled[name])) for name in sorted(filled, key=_as_people_say_it)]


def _as_people_say_it(name: str) -> tuple[int, str]:
    """What it is about first; the database may keep the fields of a body in any order."""
    return (SAID_FIRST.index(name) if name in SAID_FIRST else len(SAID_FIRST)), name


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_value(each) for each in value)
    return str(value)


@require_GET
@may("settle")
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    held = rows(Submission, here).filter(outcome=Outcome.HELD).select_related("sent_by")
    return list_page(request, here, HeldTable, held, template="submissions/list.html")


class CloseForm(Form):
    """Why an entry is not posted."""

    reason = forms.CharField(
        label="Why it is closed",
        max_length=400,
        widget=forms.Textarea({"rows": 2}),
        error_messages={"required": "Nothing was read: an entry is closed with a reason."},
    )


@require_http_methods(["GET", "POST"])
@may("settle")
def entry(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One entry: read it, try it again, or close it with a reason."""
    row = get(Submission.objects.select_related("sent_by", "settled_by", "movement"), here, pk=pk)
    closing = request.method == "POST" and "close" in request.POST
    form = CloseForm(request.POST if closing else None, here=here)
    trouble = ""
    if request.method == "POST" and (not closing or form.is_valid()):
        try:
            done = settle(row, acting=here.acting, close_because=_reason(form, closing), clock=access.CLOCK)
        except (Refused, BadBody, NotAllowed) as refused:
            trouble = str(refused)
        else:
            if done.outcome != Outcome.HELD:
                messages.success(request, f"The entry is {done.outcome}.")
                return redirect("held")
            trouble, row = f"It still cannot be posted: {done.why}", done
    address = str(row.body.get("form", "")) if row.kind == HELD_FORM else ""
    ours = url_has_allowed_host_and_scheme(address, None) and address.startswith("/")
    link = {"form_address": address if ours else ""}
    context = {**link, "here": here, "row": row, "said": said(row.body), "by": person_name(row.sent_by), "form": form}
    return render(
        request, "submissions/entry.html", {**context, "trouble": trouble, "held": row.outcome == Outcome.HELD}
    )


def _reason(form: CloseForm, closing: bool) -> str:
    return str(form.cleaned_data["reason"]) if closing else ""


urlpatterns = [
    path("held/", every, name="held"),
    path("held/<int:pk>/", entry, name="held_entry"),
]
