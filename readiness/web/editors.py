"""Lists and forms of reference data, the same for every noun: list, record, add, change, retire, bring back.

A noun's own file says its form, its table and its words in an `Editor`; `pages(editor)` makes the pages of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar, cast

import django_filters as filters
from django import forms
from django.contrib import messages
from django.db.models import Model, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import URLPattern, path
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions.drafts import Refused
from readiness.actions.keeping import Desk, NotKept, Noun
from readiness.actions.permissions import NotAllowed
from readiness.engineering.units import ML_PER_L
from readiness.reports.changes import changes_of_record
from readiness.web import access, figures
from readiness.web.access import Here, may, rows, signed_in
from readiness.web.changes import SEE_CHANGES, shown_changes
from readiness.web.column_fields import CellField, LitersField, Own, ReadField, RigField, Scope
from readiness.web.forms import Form, PercentField, QuantityField
from readiness.web.tables import Column, Table, list_page
from readiness.workbooks.columns import Kind
from readiness.workbooks.rows import Rate

View = Callable[..., HttpResponseBase]
_LONGEST_SUGGESTION = 200
_LARGEST_SUGGESTION = 1e7  # in SI; the form itself says what is too much

# -- forms -------------------------------------------------------------------------------------------------------------


class RecordForm(Form):
    """A form of the facts of a noun: its fields carry their names.

    given: facts that are fixed before the form is drawn (the unit of a duty, the rig of a line).
    """

    noun: ClassVar[Any]  # a Noun
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(
        self, *args: Any, here: Here, row: Model | None = None, given: Mapping[str, Any] | None = None, **kwargs: Any
    ) -> None:
        self.row, self.given = row, dict(given or {})
        if row is not None:
            kwargs["initial"] = {**self.noun.read(row)._asdict(), "seen": self.noun.seen(row)}
        self._stored = kwargs.get("initial") or {}
        super().__init__(*args, here=here, **kwargs)
        for name, field in self.fields.items():
            if isinstance(field, Own):
                field.stored = self._stored.get(name)
                field.settle(here)
        self.after_fields(here)

    def after_fields(self, here: Here) -> None:
        """For a form that drops or narrows fields."""

    def suggest(self, name: str, value: str) -> None:
        """Begin a field with what an address suggests; what is no value of it is left out."""
        field = self.fields.get(name)
        if isinstance(field, QuantityField):
            with suppress(ValueError):
                self.initial[name] = float(value) if 0 < float(value) < _LARGEST_SUGGESTION else None
        elif field is not None:
            self.initial[name] = value

    def facts(self) -> Any:
        """The facts as the action wants them. A field that stands for nothing typed gives the fact's own default."""
        made: Any = self.noun.facts
        read = {name: self.cleaned_data[name] for name in self.noun.names() if name in self.cleaned_data}
        defaults = made._field_defaults
        stated = {name: _fact(value, defaults.get(name)) for name, value in read.items()}
        return made(**{**stated, **self.given})

    def shown(self) -> Sequence[tuple[str, str]]:
        """Every fact as label and words: the record's page."""
        assert self.here is not None
        named = [name for name in self.fields if name != "seen"]
        return [(str(self[name].label), words(self.fields[name], self._stored.get(name), self.here)) for name in named]


def _fact(value: Any, default: Any) -> Any:
    if value is None:
        return default
    return float(value) if isinstance(value, Decimal) else value


def words(field: forms.Field, value: Any, here: Here) -> str:
    """A stored fact in words, with its unit in the reader's."""
    if value in (None, "", (), []):
        return "no" if isinstance(field, forms.BooleanField) else "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(field, ReadField) and field.column.kind in (Kind.NUMBER, Kind.WHOLE):
        return f"{value:g} {field.column.fixed_unit}".strip()
    if isinstance(value, float) and isinstance(field, forms.CharField):
        return f"{value:g}"
    if isinstance(field, PercentField | ReadField):
        return ", ".join(figures.percent(pct) for pct in (value if isinstance(value, tuple) else (value,)))
    if isinstance(value, Rate):
        return figures.rate(value.value, value.unit)
    if isinstance(field, QuantityField):
        return _quantity(field, value, here)
    if isinstance(value, tuple):
        return ", ".join(str(each) for each in value)
    if isinstance(field, forms.ChoiceField) and not isinstance(field, RigField):
        return str(dict(cast(Any, field.choices)).get(value, value))
    return str(value)


def _quantity(field: QuantityField, value: Any, here: Here) -> str:
    if isinstance(field, CellField) and isinstance(value, tuple):
        unit = figures.unit_of(field.dimension, here.units)
        text = field.widget.write(value, unit)
        return text if field.column.kind is Kind.HOSE else f"{text} {figures.written(unit)}"
    if isinstance(field, LitersField):
        value = round(value * ML_PER_L)
    return figures.figure(value, field.read_as, here.units, "nearest")


# -- lists -------------------------------------------------------------------------------------------------------------


class WordColumn(Column):
    """One of a few words as it is stored, not with capitals in the middle of a sentence."""

    def __init__(self, name: str, **kwargs: Any) -> None:
        self.of = name
        super().__init__(accessor=name, **kwargs)

    def render(self, record: Any) -> str:
        """The word."""
        return str(getattr(record, self.of)) or "–"

    def workbook_value(self, table: Table, value: Any, record: Any) -> Any:
        """The same."""
        return str(getattr(record, self.of))


class ReferenceTable(Table):
    """A list that shows since when something is retired only where retired ones are shown."""

    retired: ClassVar[str] = ""
    in_workbook_only: ClassVar[tuple[str, ...]] = ()

    def before_render(self, request: HttpRequest) -> None:
        """Neither an empty column, nor more columns than a desk is wide; the workbook has them all."""
        for name in self.in_workbook_only:
            self.columns.hide(name)
        if self.retired and request.GET.get("which") not in ("retired", "all"):
            self.columns.hide(self.retired)


class ReferenceFilter(filters.FilterSet):
    """Search, and in use or retired. A noun may add filters of its own."""

    search: ClassVar[tuple[str, ...]] = ()
    retired: ClassVar[str] = ""

    q = filters.CharFilter(label="Search", method="by_words", widget=forms.TextInput({"type": "search"}))
    which = filters.ChoiceFilter(
        label="Show",
        choices=[("retired", "retired"), ("all", "all")],
        empty_label="in use",
        method="by_use",
    )

    def __init__(self, data: Any, queryset: QuerySet[Any, Any], here: Here) -> None:
        super().__init__(data, queryset)
        if not self.retired:
            del self.filters["which"]
        for each in self.filters.values():
            if isinstance(each, filters.ModelChoiceFilter):
                each.queryset = rows(each.queryset.model, here)  # not `extra`, which is made of it

    def by_words(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """Every word somewhere."""
        for word in value.split():
            found = Q()
            for name in self.search:
                found |= Q(**{f"{name}__icontains": word})
            queryset = queryset.filter(found)
        return queryset

    def by_use(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """Retired ones, or all."""
        return queryset.filter(**{f"{self.retired}__isnull": False}) if value == "retired" else queryset

    def filter_queryset(self, queryset: QuerySet[Any, Any]) -> QuerySet[Any, Any]:
        """Those in use, where nothing else was asked for."""
        left: QuerySet[Any, Any] = super().filter_queryset(queryset)
        if self.retired and not self.form.cleaned_data.get("which"):
            left = left.filter(**{f"{self.retired}__isnull": True})
        return left


# -- pages -------------------------------------------------------------------------------------------------------------


def _nothing(row: Any) -> dict[str, Any]:
    return {}


def _always(row: Any) -> bool:
    return True


@dataclass(frozen=True)
class Editor:
    """The pages of one noun. one and many are its words on pages and, in addresses, its name."""

    noun: Noun[Any, Any]
    one: str
    many: str
    lead: str  # a sentence above the list
    form: type[RecordForm]
    table: type[Table]
    filter: type[ReferenceFilter]
    scope: Scope  # what the list shows, with what its columns need
    chooser: type[Form] | None = None  # asked before the form is drawn; its answers are given to the form
    given: Callable[[Any], dict[str, Any]] = _nothing
    retiring: str = ""  # what retiring means, in a sentence
    retire_word: str = "Retire"
    own: Callable[[Any], bool] = _always  # False: shipped, read only
    suggested: tuple[str, ...] = ()  # fields that an address may begin: plain words, numbers in SI, records by number

    @property
    def key(self) -> str:
        """In the names of its pages."""
        return self.one.replace(" ", "_")

    @property
    def keys(self) -> str:
        """In the address, and in the name of its list."""
        return self.many.replace(" ", "_")

    @property
    def list_name(self) -> str:
        """The name of the list's page."""
        return f"reference_{self.keys}"

    @property
    def name(self) -> str:
        """The name of a record's page; add _add, _change, _retire, _back."""
        return f"reference_{self.key}"


def _desk(here: Here) -> Desk:
    return Desk(here.department, here.acting, access.CLOCK)


def _refused(form: RecordForm, refused: Refused) -> None:
    for fact, sentence in refused.faults if isinstance(refused, NotKept) else [("", str(refused))]:
        form.refuse(sentence, fact if fact in form.fields else None)


def _one(editor: Editor, here: Here, pk: int) -> Any:
    """A record of the list, shipped ones among them; another department's does not exist."""
    found = editor.scope(here).filter(pk=pk).first()
    if found is None:
        raise Http404
    return found


def _own(editor: Editor, here: Here, pk: int) -> Any:
    """A record that the department may change. Raises NotAllowed for a shipped one."""
    row = _one(editor, here, pk)
    if not editor.own(row):
        raise NotAllowed(f"{row} is shipped with the product and read only: add a {editor.one} of your own beside it.")
    return row


def pages(editor: Editor) -> list[URLPattern]:
    """The addresses of a noun."""
    root, name = f"reference/{editor.keys}/", editor.name
    made = [
        path(root, _list(editor), name=editor.list_name),
        path(f"{root}add/", _add(editor), name=f"{name}_add"),
        path(f"{root}<int:pk>/", _record(editor), name=name),
        path(f"{root}<int:pk>/change/", _change(editor), name=f"{name}_change"),
    ]
    if editor.noun.retired:
        made.append(path(f"{root}<int:pk>/retire/", _turn(editor, "retire"), name=f"{name}_retire"))
        made.append(path(f"{root}<int:pk>/back/", _turn(editor, "bring_back"), name=f"{name}_back"))
    return made


def _list(editor: Editor) -> View:
    @require_GET
    @signed_in
    def view(request: HttpRequest, here: Here) -> HttpResponseBase:
        context = {"editor": editor, "may_edit": here.may(editor.noun.asks)}

        def chosen(data: Any, found: QuerySet[Any, Any]) -> ReferenceFilter:
            return editor.filter(data, found, here)

        return list_page(
            request,
            here,
            editor.table,
            editor.scope(here),
            template="reference/list.html",
            filter_class=chosen,
            context=context,
        )

    return view


def _record(editor: Editor) -> View:
    @require_GET
    @signed_in
    def view(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
        return _record_page(request, here, editor, _one(editor, here, pk))

    return view


def _record_page(request: HttpRequest, here: Here, editor: Editor, row: Any, refused: str = "") -> HttpResponseBase:
    form = editor.form(here=here, row=row, given=editor.given(row))
    since = getattr(row, editor.noun.retired) if editor.noun.retired else None
    history = changes_of_record(row) if here.may(SEE_CHANGES) else None
    context = {
        "editor": editor,
        "row": row,
        "facts": form.shown(),
        "retired_on": since,
        "may_edit": here.may(editor.noun.asks) and editor.own(row),
        "history": history and shown_changes(history, here),
        "refused": refused,
    }
    return render(request, "reference/record.html", context, status=409 if refused else 200)


def _given(editor: Editor, request: HttpRequest, here: Here) -> tuple[Form | None, dict[str, Any]]:
    """What the chooser gives, or the chooser itself where it has not been answered."""
    if editor.chooser is None:
        return None, {}
    asked = any(name in request.GET for name in editor.chooser.base_fields)
    chooser = editor.chooser(request.GET if asked else None, here=here)
    if asked and chooser.is_valid():
        return None, chooser.cleaned_data
    return chooser, {}


def _suggested(editor: Editor, request: HttpRequest) -> dict[str, str]:
    """What the address suggests for a new record's fields, as a worksheet's answer does; quantities in SI."""
    asked = {name: request.GET.get(name, "") for name in editor.suggested}
    return {name: value for name, value in asked.items() if 0 < len(value) <= _LONGEST_SUGGESTION}


def _add(editor: Editor) -> View:
    @require_http_methods(["GET", "POST"])
    @may(editor.noun.asks)
    def view(request: HttpRequest, here: Here) -> HttpResponseBase:
        chooser, given = _given(editor, request, here)
        suggested = _suggested(editor, request)
        if chooser is not None:
            context = {"editor": editor, "form": chooser, "suggested": suggested}
            return render(request, "reference/choose.html", context)
        return _edit(request, here, editor, None, given, suggested)

    return view


def _change(editor: Editor) -> View:
    @require_http_methods(["GET", "POST"])
    @may(editor.noun.asks)
    def view(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
        row = _own(editor, here, pk)
        return _edit(request, here, editor, row, editor.given(row))

    return view


def _edit(
    request: HttpRequest,
    here: Here,
    editor: Editor,
    row: Any | None,
    given: Mapping[str, Any],
    suggested: Mapping[str, str] | None = None,
) -> HttpResponseBase:
    form = editor.form(request.POST if request.method == "POST" else None, here=here, row=row, given=given)
    for name, value in (suggested or {}).items():
        form.suggest(name, value)
    if request.method == "POST" and form.is_valid():
        try:
            kept = editor.noun.save(_desk(here), form.facts(), row, seen=form.cleaned_data["seen"])
        except Refused as refused:
            _refused(form, refused)
        else:
            messages.success(request, f"{str(kept)[:1].upper()}{str(kept)[1:]} is saved.")
            return redirect(editor.name, kept.pk)
    context = {"editor": editor, "form": form, "row": row, "given": given}
    return render(request, "reference/form.html", context)


def _turn(editor: Editor, verb: str) -> View:
    @require_POST
    @may(editor.noun.asks)
    def view(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
        row = _own(editor, here, pk)
        try:
            getattr(editor.noun, verb)(_desk(here), row)
        except Refused as refused:
            return _record_page(request, here, editor, row, str(refused))
        said = "is out of use from today on; its history stays" if verb == "retire" else "is in use again"
        messages.success(request, f"{str(row)[:1].upper()}{str(row)[1:]} {said}.")
        return redirect(editor.name, pk)

    return view
