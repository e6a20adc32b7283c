"""Many differences of an inventory explained on one page: a cause a row, or one cause for all that are chosen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final, NamedTuple, cast

from django import forms
from django.contrib import messages
from django.forms import BoundField
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from readiness.actions.differences import DifferencesRefused, Reason, Which, explain_many
from readiness.models import Inventory
from readiness.models.inventories import Explanation, Stage
from readiness.reports.variances import Difference, variance
from readiness.web.access import Here, may
from readiness.web.differences import MEANS
from readiness.web.entries import Ask, BookForm, Page, entry_page
from readiness.web.inventories import inventory_here, percent_words, signed_volume

MOST_ROWS: Final = 500  # on one page, the largest first
TITLE: Final = "Explain many differences"


class Row(NamedTuple):
    """A difference as the page shows it; without fields where somebody else has to sign it."""

    found: Difference
    key: str
    off: str
    share: str
    cause: BoundField | None
    words: BoundField | None
    chosen: bool
    own_form: str  # its address


class ManyForm(BookForm):
    """A cause and words for each row. When each happened is when it was counted."""

    chosen = forms.MultipleChoiceField(required=False)
    all_cause = forms.ChoiceField(label="Cause", required=False)
    all_words = forms.CharField(label="In words", max_length=400, required=False)
    incident = forms.CharField(
        label="Incident number", max_length=60, required=False, help_text="Of what was used and not booked."
    )

    def __init__(
        self, *args: Any, here: Here, found: Iterable[Difference], inventory: Inventory, **kwargs: Any
    ) -> None:
        super().__init__(*args, here=here, **kwargs)
        del self.fields["happened_at"], self.fields["reason"]
        self.inventory = inventory
        self.differences = {key_of(each): each for each in found}
        signs = here.may("sign above the limit")
        self.offered = {
            key: [each for each in found.explanations if each is not Explanation.UNBOOKED_POUR]
            for key, found in self.differences.items()
            if signs or not found.above_limit
        }
        self.causes = [each for each in Explanation if any(each in offered for offered in self.offered.values())]
        self._offer("all_cause", [("", "choose"), *((each.value, each.label) for each in self.causes)])
        self._offer("chosen", [(key, key) for key in self.offered])
        for key, offered in self.offered.items():
            code = self.differences[key].code
            choices = [("", "open"), *((each.value, each.label) for each in offered)]
            self.fields[f"cause_{key}"] = forms.ChoiceField(label=f"Cause, {code}", choices=choices, required=False)
            self.fields[f"words_{key}"] = forms.CharField(label=f"Words, {code}", max_length=400, required=False)

    @property
    def named(self) -> set[str]:
        """The fields that came with a cause."""
        return {name for name, value in self.data.items() if name.startswith("cause_") and value}

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        cast(forms.ChoiceField, self.fields[name]).choices = choices

    @property
    def rows(self) -> Iterator[Row]:
        """A row a difference."""
        chosen = set(self["chosen"].value() or ())
        for key, found in self.differences.items():
            yield Row(
                found,
                key,
                signed_volume(found.difference_ml, self.here) if self.here and found.difference_ml else "",
                percent_words(found.share) if found.difference_ml else "",
                self[f"cause_{key}"] if key in self.offered else None,
                self[f"words_{key}"] if key in self.offered else None,
                key in chosen,
                reverse(f"inventory_{found.what}_difference", args=[self.inventory.pk, found.container_id]),
            )

    @property
    def meant(self) -> list[tuple[str, str]]:
        """What each cause does."""
        return [(each.label, MEANS[each]) for each in self.causes]

    def refuse(self, sentence: object, field: str | None = None) -> None:
        """A difference's refusal stands at its cause."""
        if not isinstance(sentence, DifferencesRefused):
            super().refuse(sentence, field)
            return
        keys = {(each.container_id, each.what): key for key, each in self.differences.items()}
        for which, said in sentence.sentences.items():
            self.add_error(f"cause_{keys[which]}", said)

    def clean(self) -> dict[str, Any]:
        """At least one row is explained. What is chosen for “all” is typing aid, and no part of the entry."""
        asked = self.cleaned_data
        if gone := len(self.named - {f"cause_{key}" for key in self.offered}):
            said = f"{gone} {'row' if gone == 1 else 'rows'} of those read cannot be booked any more: see what is left."
            self.add_error(None, said)
        if not self.errors and not any(asked[f"cause_{key}"] for key in self.offered):
            self.add_error(None, "No cause was read: choose one in a row, or set one for all that are chosen.")
        return {name: value for name, value in asked.items() if name not in ("chosen", "all_cause", "all_words")}

    def reasons(self) -> dict[Which, Reason]:
        """What is to be booked; rows left open are left out."""
        asked = self.cleaned_data
        return {
            (self.differences[key].container_id, self.differences[key].what): Reason(
                Explanation(asked[f"cause_{key}"]), asked[f"words_{key}"]
            )
            for key in self.offered
            if asked[f"cause_{key}"]
        }


def key_of(found: Difference) -> str:
    """A difference in the names of fields."""
    return f"{found.what}_{found.container_id}"


def _applied(typed: ManyForm, every: bool) -> tuple[dict[str, Any], str]:
    """What was typed, with the cause for all set in each row that it explains; and what that came to."""
    raw = {name: typed[name].data for name in typed.fields}
    cause, words = raw["all_cause"], raw["all_words"]
    if cause not in typed.causes:
        return raw, "No cause was read for all: choose one first."
    wanted = [key for key in typed.offered if every or key in (raw["chosen"] or ())]
    fits = [key for key in wanted if cause in typed.offered[key]]
    for key in fits:
        raw[f"cause_{key}"] = cause
        raw[f"words_{key}"] = words or raw[f"words_{key}"]
    label = Explanation(cause).label
    said = f"“{label}” set in {len(fits)} {'row' if len(fits) == 1 else 'rows'}; nothing is entered yet."
    left = [f"{typed.differences[key].code} ({typed.differences[key].what})" for key in wanted if key not in fits]
    if left and not every:
        said += f" It does not explain how these differ: {', '.join(left)}."
    return raw, said if wanted else "No row is chosen: tick those it is to be set in."


@require_http_methods(["GET", "POST"])
@may("correct")
def many(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The table; a cause set in many rows; then what booking does, and all of it booked."""
    row = inventory_here(here, pk)
    found = [each for each in variance(row).differences if each.confirmed] if row.stage == Stage.EXPLAINING else []
    back = reverse("inventory", args=[pk])
    known: dict[str, Any] = {"here": here, "found": found[:MOST_ROWS], "inventory": row}
    form, said = ManyForm(request.POST or None, **known), ""
    if not found or ("confirm" in request.POST and form.named.isdisjoint(form.fields)):  # none, or a second tap
        messages.info(request, "Nothing of it is left to be explained now.")
        return redirect(back)
    if "apply" in request.POST:
        raw, said = _applied(form, every=request.POST["apply"] == "every")
        form = ManyForm(initial=raw, **known)  # drawn again, nothing checked
    more = {"inventory": row, "said": said, "left": len(found) - len(form.differences), "most": MOST_ROWS}
    return entry_page(request, here, _page(back), form, **more)


def _page(back: str) -> Page:
    return Page(
        "explain many",
        TITLE,
        "Book all of them",
        _ask,
        lambda _: redirect(back),
        "A cause for each row that is to be booked now; each becomes a movement of its own, all of them or none.",
        back,
        form_template="inventories/explain_many.html",
    )


def _ask(form: ManyForm, here: Here) -> Ask:
    entry, row, reasons = form.entry(here), form.inventory, form.reasons()
    return Ask(lambda: [posted.movement_id for posted in explain_many(entry, inventory=row, reasons=reasons)])


urlpatterns = [path("inventories/<int:pk>/explain/", many, name="inventory_explain")]
