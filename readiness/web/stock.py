"""Stock by concentrate and station, what runs out when, and which units are short."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import path, reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from readiness.reports.expiries import Expiry, expiries
from readiness.reports.inventory import TRANSIT, load_inventory
from readiness.reports.shortages import Short, shortages
from readiness.reports.stock import StockRow, stock
from readiness.reports.store_matches import Match
from readiness.web.access import Here, signed_in
from readiness.web.marks import bar
from readiness.web.movements import doors
from readiness.web.tables import (
    Column,
    DayColumn,
    MomentColumn,
    NumberColumn,
    QuantityColumn,
    RecordFilter,
    StatusColumn,
    Table,
    list_page,
    workbook_response,
)

NOBREAK = {"td": {"class": "nobreak"}}
PFAS = {"yes": "with PFAS", "unknown": "not known", "no": "without"}


class StockTable(Table):
    """A row a concentrate and station."""

    caption = "Stock"
    concentrate = Column()
    kind = Column()
    alcohol_resistant = Column(verbose_name="Alcohol-resistant")
    pfas = Column(verbose_name="PFAS")
    station = Column()
    store_ml = QuantityColumn("volume", "down", containers="store_containers", verbose_name="In the store")
    units_ml = QuantityColumn("volume", "down", containers="units_containers", verbose_name="On units and vehicles")
    transit_ml = QuantityColumn("volume", "down", containers="transit_containers", verbose_name="In transit")
    total_ml = QuantityColumn("volume", "down", containers="containers", verbose_name="Together")
    out_ml = QuantityColumn("volume", "nearest", verbose_name="Of it out of the count")
    containers = NumberColumn()

    class Meta:
        order_by = ("concentrate", "station")

    def render_concentrate(self, record: StockRow) -> SafeString:
        """The way to its containers there."""
        at = "where" if record.station == TRANSIT else "station"
        query = urlencode({"concentrate": record.concentrate, at: record.station})
        return format_html('<a href="{}?{}">{}</a>', reverse("containers"), query, record.concentrate)

    def render_alcohol_resistant(self, value: bool) -> str:
        """In words."""
        return "yes" if value else "no"

    def render_pfas(self, value: str) -> str:
        """In words."""
        return PFAS[value]

    def value_pfas(self, value: str) -> str:
        """The same words in the workbook."""
        return PFAS[value]


class TotalsTable(Table):
    """The same stock by what it resists and what is in it."""

    caption = "Totals"
    name = Column(verbose_name="Of which", orderable=False)
    store_ml = QuantityColumn("volume", "down", containers="containers", verbose_name="In the stores", orderable=False)
    units_ml = QuantityColumn(
        "volume", "down", containers="containers", verbose_name="On units and vehicles", orderable=False
    )
    transit_ml = QuantityColumn("volume", "down", containers="containers", verbose_name="In transit", orderable=False)
    total_ml = QuantityColumn("volume", "down", containers="containers", verbose_name="Together", orderable=False)
    out_ml = QuantityColumn("volume", "nearest", verbose_name="Of it out of the count", orderable=False)
    containers = NumberColumn(orderable=False)


class StockFilter(RecordFilter):
    """By concentrate, kind, PFAS and station."""

    search = ("concentrate", "station")
    choices = {"kind": "Kind", "pfas": "PFAS", "station": "Station"}


@require_GET
@signed_in
def overview(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list with its totals."""
    found = stock(load_inventory(here.department, here.day))
    if request.GET.get("export") == "totals":
        return workbook_response(TotalsTable(found.totals, here=here))
    context = {"totals": TotalsTable(found.totals, here=here), "doors": doors(here), "aside": found.aside}
    return list_page(
        request,
        here,
        StockTable,
        found.rows,
        template="stock/stock.html",
        filter_class=StockFilter,
        context=context,
    )


class ExpiryTable(Table):
    """A row a month, concentrate and what happens."""

    caption = "What runs out when"
    month = Column(verbose_name="Month", orderable=False, attrs=NOBREAK)
    first_day = DayColumn(verbose_name="First to go: last good day", default="", attrs=NOBREAK)
    concentrate = Column()
    then = Column(verbose_name="After that")
    containers = NumberColumn()
    volume_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Volume")
    on_units_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Of it on units")
    units = Column(default="")
    codes = Column(verbose_name="Label codes", orderable=False)
    bar = Column(accessor="share", verbose_name="Beside the largest", orderable=False, exclude_from_export=True)

    def render_month(self, record: Expiry) -> str:
        """The month, or in words."""
        return MONTH_WORDS.get(record.month, record.month)

    def value_month(self, record: Expiry) -> str:
        """The same in the workbook."""
        return self.render_month(record)

    def render_codes(self, record: Expiry) -> SafeString:
        """The first few; no code is broken over two lines."""
        more = len(record.codes) - FEW
        first = format_html_join(" ", '<span class="nobreak">{}</span>', ((code,) for code in record.codes[:FEW]))
        return format_html("{} and {} more", first, more) if more > 0 else first

    def value_codes(self, record: Expiry) -> str:
        """All of them in the workbook."""
        return ", ".join(record.codes)

    def render_then(self, record: Expiry) -> str:
        """What becomes of it."""
        return AFTER_WORDS.get(record.then, f"out: {record.then}" if record.then else "stays")

    def value_then(self, record: Expiry) -> str:
        """The same in the workbook."""
        return self.render_then(record)

    def render_bar(self, record: Expiry) -> SafeString:
        """How much it is beside the largest row."""
        return bar(record.share, f"{round(record.share * 100)} % of the largest row")


FEW = 6  # label codes on the page; the workbook has all
MONTH_WORDS = {"already": "today already", "later": "after 24 months", "no date": "no date known"}
AFTER_WORDS = {
    "sample overdue": "in doubt: sample overdue",
    "date not known": "in doubt: date not known",
    "opening day not known": "in doubt: opening day not known",
}


class ExpiryFilter(RecordFilter):
    """By month and concentrate."""

    search = ("concentrate", "units")
    choices = {"month": "Month", "concentrate": "Concentrate"}


@require_GET
@signed_in
def expiry(request: HttpRequest, here: Here) -> HttpResponseBase:
    """What runs out in the next two years."""
    found = expiries(load_inventory(here.department, here.day))
    return list_page(request, here, ExpiryTable, found, template="stock/expiries.html", filter_class=ExpiryFilter)


class ShortTable(Table):
    """The short duties as a workbook has them."""

    caption = "Units short of concentrate"
    unit = Column()
    station = Column()
    duty = Column()
    fuel = Column()
    status = StatusColumn()
    concentrate = Column(default="nothing aboard counts")
    need_ml = QuantityColumn("volume", "up", containers=0, verbose_name="Need")
    against = Column(verbose_name="Need by")
    usable_ml = QuantityColumn("volume", "down", containers="usable_containers", verbose_name="Usable")
    short_ml = QuantityColumn("volume", "up", containers="usable_containers", verbose_name="Short")
    pails = NumberColumn(verbose_name="Pails of 5 gal")
    nearest = Column(accessor="matches", verbose_name="Nearest matching stock")
    as_of = MomentColumn(verbose_name="Judged")

    def value_nearest(self, record: Short) -> str:
        """The first store."""
        return f"{record.matches[0].station}, {record.matches[0].concentrate}" if record.matches else "none in a store"


@require_GET
@signed_in
def short(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Which units are short, by how much, and where matching stock lies."""
    found = shortages(here.department, load_inventory(here.department, here.day))
    if request.GET.get("export") == "xlsx":
        return workbook_response(ShortTable(found, here=here))
    may_load = {"move": here.may("move"), "pour": here.may("pour")}
    shown = [(each, each.status.replace("_", "-"), _stores(each, may_load)) for each in found]
    return render(request, "stock/short.html", {"here": here, "shown": shown})


class Store(NamedTuple):
    """A store with matching stock, and the form that would load it, filled in already (empty: none)."""

    match: Match
    word: str
    address: str


def _stores(each: Short, may_load: Mapping[str, bool]) -> list[Store]:
    return [Store(match, *_load(each, match, may_load)) for match in each.matches]


def _load(each: Short, match: Match, may_load: Mapping[str, bool]) -> tuple[str, str]:
    """Pails are moved to a line that draws from pails, and poured into the tank of one that does not."""
    count = len(match.codes)
    if each.by_pails and may_load["move"]:
        asked = [("code", code) for code in match.codes] + [("owner", f"unit-{each.unit_id}")]
        return f"Move {count} to {each.unit}", f"{reverse('move')}?{urlencode(asked)}"
    suiting = [tank.code for tank in each.tanks if tank.concentrate in ("", match.concentrate) and tank.free_ml > 1]
    if not each.by_pails and suiting and may_load["pour"]:
        asked = [("source", " ".join(match.codes)), ("target", suiting[0])]
        return f"Pour {count} into {suiting[0]}", f"{reverse('pour')}?{urlencode(asked)}"
    return "", ""


urlpatterns = [
    path("stock/", overview, name="stock"),
    path("stock/expiries/", expiry, name="expiries"),
    path("stock/short/", short, name="short"),
]
