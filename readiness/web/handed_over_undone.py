"""A handed-over sheet that was taken in wrongly is taken back out of the book."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from readiness.actions.drafts import Refused
from readiness.actions.handed_over_undone import undo_sheet
from readiness.web import access
from readiness.web.access import Here, may
from readiness.web.forms import Form
from readiness.web.handed_over import draft_of


class UndoForm(Form):
    """Why a sheet is taken back out."""

    reason = forms.CharField(
        label="What was wrong",
        max_length=400,
        widget=forms.Textarea({"rows": 2}),
        error_messages={"required": "Nothing was read: say what was wrong."},
    )


@require_http_methods(["GET", "POST"])
@may("workbook")
def undo(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Take a sheet that was taken in wrongly back out of the book."""
    done = draft_of(here, pk)
    if not done.ended_at:
        return redirect("sheet", pk=pk)
    form = UndoForm(request.POST if request.method == "POST" else None, here=here)
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            many = undo_sheet(here.department, done, reason=reason, acting=here.acting, clock=access.CLOCK)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"The sheet is taken back out: {many} containers left the book.")
            return redirect("sheet_report", pk=pk)
    return render(request, "sheet/undo.html", {"here": here, "done": done, "form": form})


urlpatterns = [path("sheet/<int:pk>/undo/", undo, name="sheet_undo")]
