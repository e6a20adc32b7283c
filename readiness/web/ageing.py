"""Ageing: what falls due by month and budget year, what it costs, and what a passed sample would save."""

from __future__ import annotations

from typing import Final

from django.http import HttpRequest, HttpResponseBase
from django.urls import path
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from readiness.reports.ageing import REPLACE, SAMPLE, SETTLE, Ageing, Saving, YearSum, ageing
from readiness.reports.inventory import load_inventory
from readiness.web import figures
from readiness.web.access import Here, signed_in
from readiness.web.charts import Bar, bars
from readiness.web.marks import code_words
from readiness.web.planning_tabs import tabs
from readiness.web.prices import CostColumn, CurrencyColumn, price_words
from readiness.web.tables import (
    Column,
    DayColumn,
    NumberColumn,
    QuantityColumn,
    RecordFilter,
    Table,
    list_page,
    workbook_response,
)

NOBREAK: Final = {"td": {"class": "nobreak"}}
NUMBER: Final = {"td": {"class": "number"}, "th": {"class": "number"}}
TO_DO: Final = {
    REPLACE: "replace",
    SAMPLE: "sample it",
    SETTLE: "settle what is wrong",
    "later": "stays",
}


class AgeTable(Table):
    """A row a month, concentrate and what is to be done."""

    caption = "Ageing"
    period = Column(verbose_name="Month", orderable=False, attrs=NOBREAK)
    first_day = DayColumn(verbose_name="From", default="", attrs=NOBREAK)
    concentrate = Column()
    what = Column(verbose_name="To do")
    why = Column(verbose_name="Because")
    containers = NumberColumn()
    volume_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Volume")
    on_units_ml = QuantityColumn("volume", "nearest", verbose_name="Of it on units")
    replacement = CostColumn()
    disposal = CostColumn()
    cost = CostColumn(verbose_name="Together")
    currency = CurrencyColumn()
    codes = Column(verbose_name="Label codes", orderable=False, attrs={"td": {"class": "codes"}})

    def before_render(self, request: HttpRequest) -> None:
        """No wider than a desk: the parts of the cost stand in the budget by year, and all of it in the workbook."""
        for name in ("first_day", "replacement", "disposal"):
            self.columns.hide(name)

    def render_what(self, value: str) -> str:
        """In words."""
        return TO_DO[value]

    def value_what(self, value: str) -> str:
        """The same in the workbook."""
        return TO_DO[value]

    def render_codes(self, value: tuple[str, ...]) -> SafeString:
        """Runs as first to last."""
        return code_words(value)

    def value_codes(self, value: tuple[str, ...]) -> str:
        """All of them."""
        return ", ".join(value)


class AgeFilter(RecordFilter):
    """By month, concentrate and what is to be done."""

    search = ("concentrate", "why", "period")
    choices = {"period": "Month", "concentrate": "Concentrate", "what": "To do"}


class YearTable(Table):
    """A row a budget year."""

    caption = "Budget by year"
    year = Column(verbose_name="Budget year", orderable=False)
    replace_containers = NumberColumn(verbose_name="To replace", orderable=False)
    replace_ml = QuantityColumn(
        "volume", "nearest", containers="replace_containers", verbose_name="Volume", orderable=False
    )
    replacement = CostColumn()
    disposal = CostColumn()
    cost = CostColumn(verbose_name="Together")
    currency = CurrencyColumn()
    sample_containers = NumberColumn(verbose_name="To sample", orderable=False)


class SavingTable(Table):
    """A row a lot or tank that a sample would carry on."""

    caption = "What a passed sample would save"
    subject = Column(verbose_name="Sample of", orderable=False)
    concentrate = Column(orderable=False)
    take_by = DayColumn(verbose_name="Take it by", orderable=False, attrs=NOBREAK)
    until = DayColumn(verbose_name="Carries it to", orderable=False, attrs=NOBREAK)
    containers = NumberColumn(orderable=False)
    volume_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Volume", orderable=False)
    on_units_ml = QuantityColumn("volume", "nearest", verbose_name="Of it on units", orderable=False)
    saved = CostColumn(verbose_name="Puts off")
    currency = CurrencyColumn(accessor="saved")

    def render_take_by(self, record: Saving) -> str:
        """Now, where it is late already."""
        return "now: it is out of the count" if record.overdue else str(record.take_by)


EXPORTS: Final = {"years": (YearTable, "years"), "savings": (SavingTable, "savings")}


@require_GET
@signed_in
def page(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The chart, the years, the samples and the months."""
    found = ageing(here.department, load_inventory(here.department, here.day))
    if request.GET.get("export") in EXPORTS:
        table, rows = EXPORTS[request.GET["export"]]
        return workbook_response(table(getattr(found, rows), here=here))
    context = {
        "tabs": tabs(request),
        "chart": year_chart(found.years),
        "years": YearTable([year for year in found.years if year.replace_ml or year.sample_ml], here=here),
        "savings": SavingTable(found.savings, here=here),
        "prices": [
            (used.concentrate, price_words(used.price, here), price_words(used.disposal, here)) for used in found.prices
        ],
        "unpriced": unpriced(found, here),
        "may_purchase": here.may("purchase"),
    }
    return list_page(
        request,
        here,
        AgeTable,
        found.months,
        template="planning/ageing.html",
        filter_class=AgeFilter,
        context=context,
    )


def unpriced(found: Ageing, here: Here) -> str:
    """How much falls due that has no price; empty where all has one."""
    volume = sum(year.cost.unpriced_ml for year in found.years)
    return figures.figure(volume, "volume", here.units, "up") if volume else ""


def year_chart(years: tuple[YearSum, ...]) -> SafeString | None:
    """Bars of replacement and disposal by budget year in the currency most of it is in; None where nothing costs."""
    every = [code for year in years for code in year.cost.cents]
    if not every:
        return None
    currency = max(sorted(set(every)), key=lambda code: sum(year.cost.cents.get(code, 0) for year in years))
    rows = [
        Bar(
            year.year,
            year.replacement.cents.get(currency, 0) / 100,
            year.disposal.cents.get(currency, 0) / 100,
            f"{year.cost.cents.get(currency, 0) / 100:,.0f}",
        )
        for year in years
    ]
    said = "; ".join(f"{row.label}: {row.first:,.0f} and {row.second:,.0f}" for row in rows if row.first or row.second)
    title = f"Cost by budget year, in {currency}"
    return bars(title, f"Replacement and disposal. {said}.", "replacement", "disposal", rows)


urlpatterns = [path("planning/ageing/", page, name="ageing")]
