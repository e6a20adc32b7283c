"""The table of hose: sizes with their friction, as published or as the department measured it."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.db.models import QuerySet
from django_tables2 import A

from readiness.actions.hoses import HOSES
from readiness.models import HoseSize
from readiness.reports.lays import coefficient
from readiness.web.access import Here, rows
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, pages
from readiness.web.forms import DateField, QuantityField
from readiness.web.tables import Column, DayColumn, NumberColumn, QuantityColumn

_NUMBER: Final = {"inputmode": "decimal", "autocomplete": "off", "size": 10}


class SizeField(forms.DecimalField):
    """A nominal size in inches, which is how hose is named: 1.75."""

    def prepare_value(self, value: Any) -> Any:
        """Without zeros that nobody writes."""
        return f"{value.normalize():f}" if hasattr(value, "normalize") else value


class HoseForm(RecordForm):
    """A size of hose and what it costs."""

    noun = HOSES
    diameter_in = SizeField(
        label="Nominal size [in]",
        min_value=0,
        max_value=12,
        decimal_places=2,
        widget=forms.TextInput(_NUMBER),
        help_text="As hose is named: 1.75 for 1¾ in. 45 mm is 1.75, 65 mm is 2.5.",
    )
    coefficient = forms.FloatField(
        label="Coefficient C",
        widget=forms.TextInput(_NUMBER),
        help_text="psi lost in 100 ft at 100 gpm: 15.5 for 1¾ in as published. A measured loss counts before it.",
    )
    section_m = QuantityField(
        "length", label="One length", required=False, help_text="What one coupled length measures: 50 ft."
    )
    loss_kpa = QuantityField(
        "pressure",
        label="Measured loss",
        required=False,
        help_text="What your own hose lost. Leave empty if unmeasured.",
    )
    loss_flow_lpm = QuantityField("flow", label="Measured at", required=False, help_text="The flow while it was read.")
    loss_length_m = QuantityField(
        "length", label="Measured over", required=False, help_text="The length between gauges."
    )
    measured_on = DateField(label="Measured on", required=False, past=True, help_text="The day it was read.")
    source = forms.CharField(
        label="Source", max_length=200, help_text="Where the coefficient, or the reading, is from."
    )


class HoseTable(ReferenceTable):
    """Sizes, smallest first."""

    caption = "Hose"
    retired = "retired_on"
    size = Column(accessor="diameter_in", verbose_name="Size", linkify=("reference_hose_size", {"pk": A("pk")}))
    counted = NumberColumn(accessor="pk", verbose_name="C that counts", orderable=False)
    coefficient = NumberColumn(verbose_name="C published")
    loss = QuantityColumn(
        "pressure", "nearest", accessor="loss_kpa", verbose_name="Measured loss", default="not measured"
    )
    at = QuantityColumn("flow", "nearest", accessor="loss_flow_lpm", verbose_name="at", default="")
    over = QuantityColumn("length", "nearest", accessor="loss_length_m", verbose_name="over", default="")
    measured_on = DayColumn(verbose_name="on", default="")
    section = QuantityColumn("length", "nearest", accessor="section_m", verbose_name="One length")
    source = Column(verbose_name="Source")
    retired_on = DayColumn(verbose_name="Retired on", default="")

    def render_size(self, value: Any) -> str:
        """As hose is named."""
        return f"{value.normalize():f} in"

    def value_size(self, value: Any) -> Any:
        """The number of inches."""
        return value

    def render_counted(self, record: HoseSize) -> str:
        """C by the department's own measurement where there is one."""
        return f"{self.value_counted(record):g}"

    def value_counted(self, record: HoseSize) -> float:
        """The same as a number."""
        loss = (record.loss_kpa, record.loss_flow_lpm, record.loss_length_m)
        return round(coefficient(record.coefficient, *loss), 3)


class HoseFilter(ReferenceFilter):
    """By size and source."""

    search = ("diameter_in", "source")
    retired = "retired_on"


def hoses(here: Here) -> QuerySet[Any, Any]:
    """The department's own."""
    return rows(HoseSize, here)


EDITOR = Editor(
    HOSES,
    "hose size",
    "hose sizes",
    "What hose costs in pressure. A loss that you measured on your own hose counts before the published coefficient.",
    HoseForm,
    HoseTable,
    HoseFilter,
    hoses,
    retiring="No line may be laid of it. The published coefficient counts again for a published size.",
)
urlpatterns = pages(EDITOR)
