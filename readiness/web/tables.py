"""Tables: one class for the screen and for the workbook, every page of it.

`render_name` is for the eye, `value_name` for the number in the workbook. A cell that cannot be worked out fails
loudly: a workbook with holes would be read as stock that is not there.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, ClassVar, Protocol

import django_tables2 as tables2
from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.text import slugify
from django_tables2.utils import Accessor, call_with_appropriate
from openpyxl import Workbook
from openpyxl.cell import Cell, WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from readiness.engineering.dates import GoodThrough
from readiness.engineering.units import Toward
from readiness.web import figures
from readiness.web.access import Here
from readiness.web.marks import mark_of, status_mark
from readiness.web.moments import age_text, local_time, moment_text
from readiness.workbooks.template import put_text

PER_PAGE = 50
MOST_PER_PAGE = 200
WORKBOOK_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_FORBIDDEN_IN_TITLE = re.compile(r"[\[\]:*?/\\]")


class Column(tables2.Column):
    """A column of words, numbers or days. `heading_unit` stands in brackets in the workbook's heading."""

    heading_unit = ""

    def workbook_value(self, table: Table, value: Any, record: Any) -> Any:
        """What the workbook's cell holds: the bare value."""
        return value


class QuantityColumn(Column):
    """A quantity: millilitres for a volume, SI for all else; shown and exported in the reader's units.

    toward: "up" for need, "down" for usable, "nearest" for a reading; containers: in how many a volume is kept, a
    number or the name of the record's attribute that says it.
    """

    def __init__(
        self, dimension: str, toward: Toward, *, containers: int | str = 1, places: int | None = None, **kwargs: Any
    ) -> None:
        self.dimension, self.toward, self.containers, self.places = dimension, toward, containers, places
        kwargs.setdefault("attrs", {"td": {"class": "number"}, "th": {"class": "number"}})
        super().__init__(**kwargs)

    def _kept_in(self, record: Any) -> int:
        kept = self.containers if isinstance(self.containers, int) else Accessor(self.containers).resolve(record)
        return int(kept) if self.dimension == "volume" else 0

    def render(self, value: Any, record: Any, table: Table) -> str:
        """With its unit."""
        units = table.here.units
        kept = self._kept_in(record)
        return figures.figure(value, self.dimension, units, self.toward, containers=kept, places=self.places)

    def workbook_value(self, table: Table, value: Any, record: Any) -> Any:
        """The number that the screen shows, in the heading's unit."""
        if value is None:
            return None
        kept = self._kept_in(record)
        units = table.here.units
        return figures.rounded(value, self.dimension, units, self.toward, containers=kept, places=self.places)


class PercentColumn(Column):
    """Hundredths of a point: 300 is shown as "3 %" and exported as 3."""

    heading_unit = "%"

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("attrs", {"td": {"class": "number"}, "th": {"class": "number"}})
        super().__init__(**kwargs)

    def render(self, value: int) -> str:
        """With its sign."""
        return figures.percent(value)

    def workbook_value(self, table: Table, value: Any, record: Any) -> Any:
        """The plain number of percent."""
        return None if value is None else Decimal(value) / 100


class NumberColumn(Column):
    """A plain number, right-aligned."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("attrs", {"td": {"class": "number"}, "th": {"class": "number"}})
        super().__init__(**kwargs)


class StatusColumn(Column):
    """A state as shape and word; `rank` sorts the worst first where the column is ordered."""

    def render(self, value: str) -> SafeString:
        """Its mark."""
        return status_mark(value)

    def workbook_value(self, table: Table, value: Any, record: Any) -> Any:
        """Its word."""
        return None if value is None else mark_of(str(value)).word


class DayColumn(Column):
    """A day, or a label's date to the month or year."""

    def render(self, value: date | GoodThrough) -> str:
        """As it is written on a pail: 2028-07-30, 2028-07 or 2028."""
        return str(value)

    def workbook_value(self, table: Table, value: Any, record: Any) -> Any:
        """A date; words where the label says no day, so that nobody reads a day into it."""
        if not isinstance(value, GoodThrough):
            return value
        return value.day if value.precision == "day" else str(value)


class MomentColumn(Column):
    """A moment in the department's time zone, with its age beside it."""

    heading_unit = "department's time"

    def render(self, value: datetime, table: Table) -> SafeString:
        """The moment and its age."""
        here = table.here
        said, age = moment_text(here.department, value), age_text(value, here.now)
        return format_html('{} <span class="age">({})</span>', said, age)

    def workbook_value(self, table: Table, value: Any, record: Any) -> Any:
        """A date with its time; spreadsheets know no time zones."""
        return None if value is None else local_time(table.here.department, value).replace(tzinfo=None)


class Table(tables2.Table):
    """The base of every table: a caption, the reader's units, and a workbook of all its rows.

    Subclasses set `caption` and their columns; `Meta.order_by` as in django-tables2.
    """

    caption: ClassVar[str] = ""

    def __init__(self, data: Any, *, here: Here, **kwargs: Any) -> None:
        self.here = here
        kwargs.setdefault("empty_text", "Nothing to show here.")
        super().__init__(data, **kwargs)
        for bound in self.columns.iterall():
            if bound.column.verbose_name is None:  # else the model's field would name it: "contents ml"
                bound.column.verbose_name = bound.name.replace("_", " ").capitalize()

    @tables2.Table.order_by.setter  # type: ignore[untyped-decorator] # django-tables2 ships no types
    def order_by(self, value: Any) -> None:
        """By columns of the table only, whatever the address says."""
        asked = value.split(",") if isinstance(value, str) else value or ()
        tables2.Table.order_by.fset(self, [each for each in asked if each.removeprefix("-") in self.columns])

    def paginate(self, *args: Any, per_page: int | None = None, **kwargs: Any) -> None:
        """As django-tables2 does, but nobody's address asks for everything on one page."""
        super().paginate(*args, per_page=min(max(per_page or PER_PAGE, 1), MOST_PER_PAGE), **kwargs)

    def workbook_headings(self) -> list[str]:
        """The headings, each with its unit in brackets."""
        return [_heading(self, bound) for bound in self.columns.iterall() if _exported(bound)]

    def workbook_rows(self) -> Iterator[list[Any]]:
        """The bare values of every row, whatever page is shown. Raises what a cell raises."""
        exported = [bound for bound in self.columns.iterall() if _exported(bound)]
        for row in self.rows:
            yield [_cell_value(self, bound, row.record) for bound in exported]


def _exported(bound: Any) -> bool:
    return not bound.column.exclude_from_export


def _heading(table: Table, bound: Any) -> str:
    column = bound.column
    if isinstance(column, QuantityColumn):
        unit = figures.written(figures.unit_of(column.dimension, table.here.units))
    else:
        unit = getattr(column, "heading_unit", "")
    return f"{bound.header} [{unit}]" if unit else str(bound.header)


def _cell_value(table: Table, bound: Any, record: Any) -> Any:
    own: Callable[..., Any] | None = getattr(table, f"value_{bound.name}", None)
    if own is not None:
        value = Accessor(bound.accessor).resolve(record, quiet=True)  # it may be worked out of the record alone
        return call_with_appropriate(own, {"value": value, "record": record, "table": table, "column": bound.column})
    value = Accessor(bound.accessor).resolve(record)  # raises for what is not there; an empty relation gives None
    word = getattr(record, f"get_{bound.accessor}_display", None)  # a choice, by the word that the screen shows
    if word is not None and not isinstance(bound.column, StatusColumn):
        value = word()
    return bound.column.workbook_value(table, value, record) if isinstance(bound.column, Column) else value


# The workbook


def workbook(table: Table, about: Sequence[tuple[str, str]] = ()) -> bytes:
    """The whole table as an .xlsx file: numbers and days as such, text harmless, and a sheet that says as of when."""
    rows = [[_fit(value) for value in row] for row in table.workbook_rows()]  # all or nothing: before a file is begun
    book = Workbook(write_only=True)
    sheet = book.create_sheet(_FORBIDDEN_IN_TITLE.sub(" ", table.caption)[:31] or "Table")
    headings = table.workbook_headings()
    sheet.freeze_panes = "A2"
    for number, heading in enumerate(headings, start=1):
        sheet.column_dimensions[get_column_letter(number)].width = min(max(len(heading) + 3, 12), 40)
    sheet.append([_text_cell(sheet, heading, bold=True) for heading in headings])
    for row in rows:
        sheet.append([_cell(sheet, value) for value in row])
    sheet.auto_filter.ref = f"A1:{get_column_letter(max(len(headings), 1))}{len(rows) + 1}"
    _about_sheet(book, table, [("Rows", str(len(rows))), *about])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _about_sheet(book: Workbook, table: Table, more: Iterable[tuple[str, str]]) -> None:
    here = table.here
    sheet = book.create_sheet("About")
    sheet.column_dimensions["A"].width = 20
    sheet.column_dimensions["B"].width = 60
    as_of = f"{moment_text(here.department, here.now)} ({here.department.time_zone})"
    lines = [("Table", table.caption), ("Department", here.department.name), ("As of", as_of), *more]
    for name, said in lines:
        sheet.append([_text_cell(sheet, name, bold=True), _text_cell(sheet, said)])


def _text_cell(sheet: Any, text: str, *, bold: bool = False) -> Cell:
    cell: Cell = WriteOnlyCell(sheet)
    put_text(cell, text)
    if bold:
        cell.font = Font(bold=True)
    return cell


def _fit(value: Any) -> Any:
    """A number, a day or words. Raises TypeError for anything else: nothing is guessed."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is not None and not isinstance(value, str | int | float | Decimal | date):
        raise TypeError(f"{value!r} of {type(value).__name__} is no number, day or text for a workbook")
    return value


def _cell(sheet: Any, value: Any) -> Cell | None:
    if value is None:
        return None
    if isinstance(value, str):
        return _text_cell(sheet, value)
    cell: Cell = WriteOnlyCell(sheet)
    cell.value = value
    if isinstance(value, datetime):
        cell.number_format = "yyyy-mm-dd hh:mm"
    elif isinstance(value, date):
        cell.number_format = "yyyy-mm-dd"
    return cell


# Lists: filter, search, sort, pages, workbook


class Filter(Protocol):
    """What a list needs of a filter: django-filter's FilterSet has it, and RecordFilter below."""

    @property
    def form(self) -> forms.Form:
        """Its fields."""

    @property
    def qs(self) -> Any:
        """The rows that are left."""


class RecordFilter:
    """A filter over frozen records, where there is no queryset. Subclasses name the attributes.

    search: those in which the words of the search field are looked for; choices: attribute → label, each a list of
    the values that occur.
    """

    search: ClassVar[tuple[str, ...]] = ()
    choices: ClassVar[dict[str, str]] = {}

    def __init__(self, data: Any, rows: Iterable[Any]) -> None:
        self._rows = list(rows)
        fields: dict[str, forms.Field] = {}
        if self.search:
            fields["q"] = forms.CharField(label="Search", required=False, widget=forms.TextInput({"type": "search"}))
        for name, label in self.choices.items():
            occur = sorted({self._text(row, name) for row in self._rows} - {""})
            listed = [("", "all"), *((each, each.replace("_", " ")) for each in occur)]
            fields[name] = forms.ChoiceField(label=label, choices=listed, required=False)
        self.form: forms.Form = type("FilterForm", (forms.Form,), fields)(data)

    @staticmethod
    def _text(row: Any, name: str) -> str:
        value = Accessor(name).resolve(row) if "__" in name else getattr(row, name)
        return "" if value is None else str(value)

    @property
    def qs(self) -> list[Any]:
        """The records that match every field."""
        if not self.form.is_valid():
            return []
        asked = self.form.cleaned_data
        words = asked.get("q", "").casefold().split()
        chosen = {name: asked[name] for name in self.choices if asked[name]}
        if not words and not chosen:
            return self._rows
        return [row for row in self._rows if self._matches(row, words, chosen)]

    def _matches(self, row: Any, words: list[str], chosen: dict[str, str]) -> bool:
        if any(self._text(row, name) != wanted for name, wanted in chosen.items()):
            return False
        text = " ".join(self._text(row, name) for name in self.search).casefold() if words else ""
        return all(word in text for word in words)


def list_page(
    request: HttpRequest,
    here: Here,
    table_class: type[Table],
    rows: Any,
    *,
    template: str = "tables/list.html",
    filter_class: Callable[..., Filter] | None = None,
    context: dict[str, Any] | None = None,
    whole: bool = False,
) -> HttpResponseBase:
    """A list with filter, search, sorting, pages, and with ?export=xlsx the same table as a workbook.

    rows: a queryset, or a list of frozen records; filter_class: a FilterSet or a RecordFilter, called with
    (request.GET, rows); template: extends "tables/list.html", which gets `table`, `filter`, `caption`; whole: all rows
    on one page, for paper.
    """
    chosen = filter_class(request.GET, rows) if filter_class else None
    table = table_class(chosen.qs if chosen else rows, here=here)
    if request.GET.get("export") == "xlsx":
        tables2.RequestConfig(request, paginate=False).configure(table)
        return workbook_response(table, _asked(chosen))
    tables2.RequestConfig(request, paginate=False if whole else {"per_page": PER_PAGE}).configure(table)
    shown_rows = {"table": table, "filter": chosen, "caption": table.caption, "here": here}
    return render(request, template, {**shown_rows, **(context or {})})


def workbook_response(table: Table, about: Sequence[tuple[str, str]] = ()) -> HttpResponse:
    """The workbook to be saved under the table's name and day."""
    response = HttpResponse(workbook(table, about), content_type=WORKBOOK_TYPE)
    name = f"{slugify(table.caption) or 'table'}-{table.here.today}.xlsx"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _asked(chosen: Filter | None) -> list[tuple[str, str]]:
    """What the list was narrowed to, for the workbook's sheet about itself."""
    if chosen is None or not chosen.form.is_valid():
        return []
    fields = chosen.form.fields
    asked = chosen.form.cleaned_data.items()
    return [(str(fields[name].label or name), str(value)) for name, value in asked if value]
