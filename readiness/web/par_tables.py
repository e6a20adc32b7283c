"""All lines of a unit's par list, or all limits of a store, on one page: typed in a table and saved at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from django import forms
from django.contrib import messages
from django.db.models import Model
from django.forms import BoundField
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from readiness.actions.drafts import Refused
from readiness.actions.keeping import Desk, Noun, Stated, TableNotKept
from readiness.actions.par import EDIT_PAR, PAR_LINES, STORE_LIMITS
from readiness.models import Concentrate, Station, Unit
from readiness.models.catalogue import ConcentrateKind
from readiness.models.containers import ContainerKind
from readiness.models.fleet import ApplianceKind
from readiness.models.par import ANY_RESISTANT
from readiness.web import access
from readiness.web.access import Here, get, may, rows
from readiness.web.column_fields import in_words
from readiness.web.editors import RecordForm
from readiness.web.forms import Form
from readiness.web.par import ParLineForm, StoreLimitForm

FEW, MOST = 3, 60  # empty lines below the list: at first, and at most
View = Any


class OfTable(RecordForm):
    """A line of a table. Concentrates are read once for all of its lines."""

    asked: ClassVar[tuple[str, ...]]  # the facts that are typed, a column each
    begun_by: ClassVar[tuple[str, ...]]  # those that say that a new line is meant
    gone = forms.BooleanField(label="Take it off", required=False)

    def __init__(self, *args: Any, concentrates: Mapping[str, Concentrate], **kwargs: Any) -> None:
        self.concentrates = concentrates
        super().__init__(*args, **kwargs)

    def after_fields(self, here: Here) -> None:
        """A column's heading is its label; which line it is of is said as well."""
        for name, field in self.fields.items():
            field.widget.attrs["aria-label"] = str(field.label or name)
            field.help_text = ""
        concentrate = forms.ChoiceField(label="Concentrate", required=False, choices=self.offered())
        concentrate.widget.attrs["aria-label"] = "Concentrate"
        self.fields["concentrate"] = concentrate
        stored = self._stored.get("concentrate")
        self.initial["concentrate"] = str(stored.pk) if isinstance(stored, Model) else stored or ""
        if self.row is None:
            del self.fields["gone"]

    def offered(self) -> list[Any]:
        """What the list of concentrates offers."""
        return [("", "–"), *((key, row.name) for key, row in self.concentrates.items())]

    def clean_concentrate(self) -> Concentrate | None:
        """The record."""
        return self.concentrates.get(self.cleaned_data["concentrate"])

    @property
    def begun(self) -> bool:
        """Whether somebody typed anything into a new line."""
        return self.row is not None or any(self.typed(name) for name in self.begun_by)

    def typed(self, name: str) -> bool:
        """Whether a field was filled in."""
        raw = self[name].data
        return bool(raw[0] if isinstance(raw, list) else raw)

    @property
    def cells(self) -> list[BoundField]:
        """The fields in the order of the columns."""
        return [self[name] for name in self.asked]

    def stated(self) -> Stated:
        """As the action takes it."""
        asked = self.cleaned_data
        return Stated(self.facts(), self.row, asked["seen"], bool(asked.get("gone")))


class ParRow(OfTable, ParLineForm):
    """A line of a par list: one list for concentrates and kinds of them."""

    asked = (
        *("compartment", "concentrate", "container_kind", "containers", "volume_ml"),
        *("gear", "pieces", "appliance_kind", "note"),
    )
    begun_by = ("compartment", "concentrate", "containers", "volume_ml", "gear", "pieces", "note")

    def after_fields(self, here: Here) -> None:
        """The kind of concentrate is chosen in the same list."""
        kind = self._stored.get("concentrate_kind")
        super().after_fields(here)
        del self.fields["concentrate_kind"]
        self.fields["container_kind"].choices = [("", "any"), *in_words(ContainerKind)]  # type: ignore[attr-defined]
        self.fields["appliance_kind"].choices = [("", "–"), *in_words(ApplianceKind)]  # type: ignore[attr-defined]
        self.fields["concentrate"].label = "Concentrate, or any of a kind"
        if kind:
            self.initial["concentrate"] = f"any-{kind}"

    def offered(self) -> list[Any]:
        """Concentrates by name, then kinds."""
        kinds = [(f"any-{ANY_RESISTANT}", "any alcohol-resistant")]
        kinds += [(f"any-{kind}", f"any {kind}") for kind in ConcentrateKind.values]
        return [*super().offered(), ("Any of a kind", kinds)]

    def facts(self) -> Any:
        """With the kind where one was chosen."""
        chosen = self.data.get(self.add_prefix("concentrate"), "")
        kind = chosen.removeprefix("any-") if chosen.startswith("any-") else ""
        return super().facts()._replace(concentrate_kind=kind)


class LimitRow(OfTable, StoreLimitForm):
    """The limits of one concentrate."""

    asked = ("concentrate", "least_ml", "most_ml")
    begun_by = ("concentrate", "least_ml", "most_ml")

    def after_fields(self, here: Here) -> None:
        """The store stands above the table."""
        super().after_fields(here)
        del self.fields["station"]

    def clean_concentrate(self) -> Concentrate | None:
        """Needed: limits are of one."""
        found = super().clean_concentrate()
        if found is None and not self.cleaned_data.get("gone"):
            self.add_error("concentrate", "Nothing was read: say of which concentrate the limits are.")
        return found


@dataclass(frozen=True)
class Sheet:
    """One of the two tables."""

    noun: Noun[Any, Any]
    form: type[OfTable]
    fact: str  # whose lines they are: unit, station
    owner: type[Model]
    ended: str  # the column that says that the owner is no more
    title: str
    intro: str
    order: tuple[str, ...]
    back: str  # the name of the page to go back to
    back_takes_it: bool

    def address_back(self, owner: Any) -> str:
        """Where the lines are shown."""
        return reverse(self.back, args=[owner.pk] if self.back_takes_it else [])


class TableForm(Form):
    """The lines that there are, the empty ones below them, and whose lines may be copied in."""

    like = forms.ChoiceField(label="Add the lines of", required=False)

    def __init__(self, data: Any, *, here: Here, sheet: Sheet, owner: Any, empty: int = FEW, **kwargs: Any) -> None:
        super().__init__(data, here=here, **kwargs)
        self.sheet, self.owner_row, self.empty = sheet, owner, empty
        concentrates = {str(row.pk): row for row in rows(Concentrate, here).order_by("name")}
        known = sheet.noun.of(here.department).filter(**{sheet.fact: owner, "retired_on": None})
        self.known = {
            f"r{row.pk}": row for row in known.select_related(sheet.fact, "concentrate").order_by(*sheet.order)
        }
        common: dict[str, Any] = {"here": here, "given": {sheet.fact: owner}, "concentrates": concentrates}
        self.lines: list[OfTable] = [
            sheet.form(self._of(key), row=row, prefix=key, **common) for key, row in self.known.items()
        ]
        begun: list[dict[str, Any]] = (self.initial or {}).get("lines", [])
        for n in range(empty):
            initial = begun[n] if n < len(begun) else None
            self.lines.append(sheet.form(self._of(f"n{n}"), prefix=f"n{n}", initial=initial, **common))
        owners = rows(sheet.owner, here).filter(**{sheet.ended: None}).exclude(pk=owner.pk)
        listed = owners.filter(pk__in=sheet.noun.of(here.department).filter(retired_on=None).values(sheet.fact))
        self.others = {str(row.pk): row for row in listed}
        self.fields["like"].choices = [  # type: ignore[attr-defined] # a ChoiceField
            ("", "choose"),
            *((key, str(row)) for key, row in self.others.items()),
        ]

    def _of(self, key: str) -> Any:
        """What was posted of a line; one that came into the list since the page was drawn was not on it."""
        return self.data if self.is_bound and f"{key}-seen" in self.data else None

    @property
    def faults(self) -> list[tuple[str, str, str]]:
        """Of the table, and of each line with where it stands."""
        found = super().faults
        for n, line in enumerate(self.lines, 1):
            if line.is_bound and line.begun:
                first = line.cells[0].id_for_label
                found += [
                    (id_ or first, f"Line {n}, {label}" if label else f"Line {n}", said)
                    for id_, label, said in line.faults
                ]
        return found

    @property
    def heads(self) -> list[BoundField]:
        """The columns."""
        made = self.sheet.form(here=self.here, given={self.sheet.fact: self.owner_row}, concentrates={}, prefix="head")
        return made.cells

    def posted(self) -> list[OfTable]:
        """The lines that are stated."""
        return [line for line in self.lines if line.is_bound and line.begun]

    def clean(self) -> dict[str, Any]:
        """Every line by itself; none that was on the page may have gone meanwhile."""
        keys = {key.removesuffix("-seen") for key in self.data if key.startswith("r") and key.endswith("-seen")}
        if gone := len(keys - self.known.keys()):
            self.add_error(None, f"{gone} of the lines read are off the list by now: look at it as it is.")
        return self.cleaned_data

    def save(self, desk: Desk) -> int | None:
        """Keep all of it; None where something is at fault."""
        lines = self.posted()
        if not all([self.is_valid(), *(line.is_valid() or _gone(line) for line in lines)]):
            return None
        stated = [_taken_off(line) if _gone(line) else line.stated() for line in lines]
        try:
            return self.sheet.noun.save_table(desk, stated)
        except TableNotKept as refused:
            for n, faults in refused.faults.items():
                for fact, sentence in faults:
                    lines[n].refuse(sentence, fact if fact in lines[n].fields else None)
        except Refused as refused:
            self.refuse(refused)
        return None


def _gone(line: OfTable) -> bool:
    """Whether a line that there is was ticked to be taken off: what stands in it does not matter then."""
    return "gone" in line.fields and bool(line["gone"].data)


def _taken_off(line: OfTable) -> Stated:
    return Stated(None, line.row, str(line["seen"].data or ""), gone=True)


def _table(sheet: Sheet) -> View:
    @require_http_methods(["GET", "POST"])
    @may(EDIT_PAR)
    def view(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
        owner = get(sheet.owner, here, pk=pk)
        if getattr(owner, sheet.ended):
            raise Http404
        posted = request.POST if request.method == "POST" else None
        form = TableForm(posted, here=here, sheet=sheet, owner=owner, empty=_empty_of(request))
        if "more" in request.POST or "copy" in request.POST:
            form = _redrawn(request, here, form)
        elif request.method == "POST":
            changed = form.save(Desk(here.department, here.acting, access.CLOCK))
            if changed is not None:
                messages.success(request, _saved(changed))
                return redirect(sheet.address_back(owner))
        context = {"here": here, "sheet": sheet, "owner": owner, "form": form, "back": sheet.address_back(owner)}
        return render(request, "planning/table.html", context)

    return view


def _saved(changed: int) -> str:
    if not changed:
        return "Nothing was changed."
    return f"{changed} {'line is' if changed == 1 else 'lines are'} saved."


def _empty_of(request: HttpRequest) -> int:
    said = request.POST.get("new", "")
    return min(int(said), MOST) if said.isdecimal() and said.isascii() and len(said) < 4 else FEW


def _redrawn(request: HttpRequest, here: Here, typed: TableForm) -> TableForm:
    """The table as it was typed, nothing checked, with more lines: empty, or those of another unit or store."""
    begun = [line for line in typed.lines if line.row is None and line.is_bound and line.begun]
    lines = [{name: line[name].data for name in line.fields} for line in begun]
    if "copy" in request.POST:
        lines += list(_copied(typed, here, request.POST.get("like", "")))
    else:
        lines += [{} for _ in range(5)]
    if left := len([line for line in lines[MOST:] if line]):
        messages.warning(request, _no_room(left))
    known = {"sheet": typed.sheet, "owner": typed.owner_row, "here": here}
    made = TableForm(None, initial={"lines": lines}, empty=min(max(len(lines), FEW), MOST), **known)
    for line in made.lines:
        if line.row is not None and f"{line.prefix}-seen" in request.POST:
            before = next(each for each in typed.lines if each.prefix == line.prefix)
            line.initial.update({name: before[name].data for name in line.fields})
    return made


def _no_room(left: int) -> str:
    lines = "1 more line was" if left == 1 else f"{left} more lines were"
    return f"{lines} not put below: at most {MOST} new lines are typed at once. Save these, then copy again."


def _copied(typed: TableForm, here: Here, like: str) -> Iterator[dict[str, Any]]:
    """The lines of another one that are not in this list already, as a new line begins with them."""
    sheet, other = typed.sheet, typed.others.get(like)
    if other is None:
        return
    already = {_same(sheet.noun.read(row), sheet.fact) for row in typed.known.values()}
    found = sheet.noun.of(here.department).filter(**{sheet.fact: other, "retired_on": None})
    for row in found.select_related(sheet.fact, "concentrate").order_by(*sheet.order):
        facts = sheet.noun.read(row)
        if _same(facts, sheet.fact) not in already:
            yield {**facts._asdict(), sheet.fact: None}


_NUMBERS: Final = frozenset({"containers", "volume_ml", "pieces", "note", "least_ml", "most_ml"})


def _same(facts: Any, owner: str) -> tuple[Any, ...]:
    """What a line is of, without whose it is and how much."""
    return tuple(value for name, value in facts._asdict().items() if name != owner and name not in _NUMBERS)


PAR: Final = Sheet(
    PAR_LINES,
    ParRow,
    "unit",
    Unit,
    "retired_on",
    "par list as a table",
    "A line is foam (a concentrate or a kind of it, how many containers or how much) or gear (its name, how many "
    "pieces). All lines are saved together or none.",
    ("compartment", "id"),
    "par_unit",
    True,
)
LIMITS: Final = Sheet(
    STORE_LIMITS,
    LimitRow,
    "station",
    Station,
    "closed_on",
    "store limits as a table",
    "At least, and at most, of each concentrate. All lines are saved together or none.",
    ("concentrate__name", "id"),
    "store_levels",
    False,
)

urlpatterns = [
    path("planning/par/<int:pk>/table/", _table(PAR), name="par_table"),
    path("planning/stores/<int:pk>/table/", _table(LIMITS), name="store_table"),
]
