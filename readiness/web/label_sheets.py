"""Sheets of labels: the department's own, and how a sheet is drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

import segno
from django import forms
from django.db.models import QuerySet
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2 import A

from readiness.actions.label_sheets import LABEL_SHEETS
from readiness.engineering.label_sheets import SheetLayout, spots
from readiness.models import LabelSheet
from readiness.reports.labels import Tag
from readiness.web.access import Here, rows
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, pages
from readiness.web.tables import Column, NumberColumn

QUIET: Final = 4  # modules of white around a QR code that a camera needs: ISO/IEC 18004
_PAPERS: Final = [("letter", "US letter"), ("a4", "A4")]
_MOST_MM: Final = 400.0


def _mm(label: str, help_text: str = "", least: float = 0.0) -> forms.FloatField:
    wrong = f"Write a number of millimeters from {least:g} to {_MOST_MM:g}."
    return forms.FloatField(
        label=f"{label} [mm]",
        min_value=least,
        max_value=_MOST_MM,
        help_text=help_text,
        error_messages={"invalid": wrong, "min_value": wrong, "max_value": wrong},
    )


def _count(label: str) -> forms.IntegerField:
    wrong = "Write a whole number from 1 to 50."
    return forms.IntegerField(
        label=label,
        min_value=1,
        max_value=50,
        error_messages={"invalid": wrong, "min_value": wrong, "max_value": wrong},
    )


class LabelSheetForm(RecordForm):
    """A sheet as measured with a ruler."""

    noun = LABEL_SHEETS
    name = forms.CharField(max_length=60, help_text="As you call it, with its number of labels.")
    paper = forms.ChoiceField(choices=_PAPERS)
    columns, rows = _count("Labels beside each other"), _count("Labels below each other")
    width_mm, height_mm = _mm("Width of a label", least=10), _mm("Height of a label", least=10)
    left_mm = _mm("From the left edge of the paper to the first label")
    top_mm = _mm("From the upper edge of the paper to the first label")
    pitch_x_mm = _mm("From the left edge of a label to that of the next")
    pitch_y_mm = _mm("From the upper edge of a label to that of the next")


class LabelSheetTable(ReferenceTable):
    """The department's own sheets."""

    caption = "Label sheets"
    retired = "retired_on"
    name = Column(verbose_name="Sheet", linkify=("reference_label_sheet", {"pk": A("pk")}))
    paper = Column()
    columns_ = NumberColumn(accessor="columns", verbose_name="Columns")
    rows_ = NumberColumn(accessor="rows", verbose_name="Rows")
    width_mm = NumberColumn(verbose_name="Width [mm]")
    height_mm = NumberColumn(verbose_name="Height [mm]")
    retired_on = Column(verbose_name="Retired on", default="")


class LabelSheetFilter(ReferenceFilter):
    """By name."""

    search = ("name",)
    retired = "retired_on"


def own_sheets(here: Here) -> QuerySet[Any, Any]:
    """The department's own."""
    return rows(LabelSheet, here)


EDITOR = Editor(
    LABEL_SHEETS,
    "label sheet",
    "label sheets",
    "Paper with labels that your department buys, where the common sheets do not fit it.",
    LabelSheetForm,
    LabelSheetTable,
    LabelSheetFilter,
    own_sheets,
    retiring="It is offered no longer.",
)


# -- drawing -----------------------------------------------------------------------------------------------------------


class Drawn(NamedTuple):
    """A label as the template draws it: its corner and size, where the QR code and the words go [mm]."""

    tag: Tag
    x: str
    y: str
    width: str
    height: str
    qr: SafeString
    text_x: str
    code_y: str
    code_mm: str
    name_y: str
    what_y: str
    small_mm: str


class SheetDrawn(NamedTuple):
    """One sheet of paper."""

    width: str
    height: str
    labels: tuple[Drawn, ...]


def draw_sheets(layout: SheetLayout, tags: Sequence[Tag], start: int, address: str) -> list[SheetDrawn]:
    """The sheets of paper with the labels on them, exact to the millimeter. address: before the code in the QR code."""
    wide, high = layout.paper_mm
    found: dict[int, list[Drawn]] = {}
    for tag, spot in zip(tags, spots(layout, len(tags), start), strict=True):
        found.setdefault(spot.sheet, []).append(_draw(layout, tag, spot.x_mm, spot.y_mm, address))
    return [SheetDrawn(_n(wide), _n(high), tuple(labels)) for labels in found.values()]


def _draw(layout: SheetLayout, tag: Tag, x: float, y: float, address: str) -> Drawn:
    """The QR code at the left, at most half of the label; the code in large letters, what it is on below."""
    side = min(layout.height_mm - 2, layout.width_mm * 0.42)
    left = side + 2
    room = layout.width_mm - left - 2
    code_mm = min(room / 5.0, layout.height_mm * 0.28)  # eight characters of 0.6 of their height each, and a little
    small_mm = max(2.2, min(code_mm * 0.62, room / 9))
    middle = layout.height_mm / 2
    return Drawn(
        tag=tag,
        x=_n(x),
        y=_n(y),
        width=_n(layout.width_mm),
        height=_n(layout.height_mm),
        qr=qr_code(address + tag.code, 1, (layout.height_mm - side) / 2, side),
        text_x=_n(left),
        code_y=_n(middle - small_mm * 0.9),
        code_mm=_n(code_mm),
        name_y=_n(middle + small_mm * 0.6),
        what_y=_n(middle + small_mm * 1.8),
        small_mm=_n(small_mm),
    )


def qr_code(text: str, x_mm: float, y_mm: float, side_mm: float) -> SafeString:
    """A QR code as one path in a square, its white border among that; error correction Q mends a quarter of it."""
    grid = [list(row) for row in segno.make_qr(text, error="q").matrix]
    module = side_mm / (len(grid) + 2 * QUIET)
    place = f"translate({_n(x_mm + QUIET * module)} {_n(y_mm + QUIET * module)}) scale({module:.5f})"
    path = "".join(_runs(grid))
    return format_html('<path class="qr" transform="{}" d="{}"/>', place, path)


def _runs(grid: Sequence[Sequence[int]]) -> Iterator[str]:
    """Dark modules that lie beside each other, as one rectangle: seams between modules would show in print."""
    for y, row in enumerate(grid):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and row[end]:
                end += 1
            if end > x:
                yield f"M{x} {y}h{end - x}v1H{x}z"
            x = max(end, x + 1)


def _n(value: float) -> str:
    """Millimeters to the hundredth."""
    return f"{value:.2f}"


urlpatterns = pages(EDITOR)
