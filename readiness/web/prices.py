"""Money and prices as people read them: with their currency, their source and their age."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Final

from django.utils.html import format_html
from django.utils.safestring import SafeString

from readiness.reports.prices import Money, Price
from readiness.web.access import Here
from readiness.web.tables import Column, Table

NUMBER: Final = {"td": {"class": "number"}, "th": {"class": "number"}}


class CostColumn(Column):
    """Money by currency."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"attrs": NUMBER, "orderable": False, **kwargs})

    def render(self, value: Money) -> str:
        """The amount; its currency stands in the column of that name."""
        return amount(value)

    def workbook_value(self, table: Table, value: Money, record: Any) -> Any:
        """A number where all of it is in one currency; words where it is not."""
        if len(value.cents) > 1 or value.unpriced_ml:
            return amount(value)
        return Decimal(sum(value.cents.values())) / 100


class CurrencyColumn(Column):
    """The currency of the amounts of a row."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"accessor": "cost", "verbose_name": "Currency", "orderable": False, **kwargs})

    def render(self, value: Money) -> str:
        """Three letters."""
        return ", ".join(sorted(value.cents))

    def workbook_value(self, table: Table, value: Money, record: Any) -> Any:
        """The same."""
        return self.render(value)


def amount(value: Money) -> str:
    """An amount without its currency, where there is one; “not priced” where there is volume and no price."""
    if not value.cents:
        return "not priced" if value.unpriced_ml else "0.00"
    said = value.words if len(value.cents) > 1 else f"{sum(value.cents.values()) / 100:,.2f}"
    return f"{said} + not priced" if value.unpriced_ml else said


def price_words(price: Price | None, here: Here) -> SafeString:
    """A price with its source and its age."""
    if price is None:
        return SafeString("<strong>no price known</strong>")
    if price.public:
        return format_html('{} <span class="age">({}; no quotation of yours)</span>', price.words, price.source)
    if price.known_on is None:
        return format_html('{} <span class="age">({}, of unknown age)</span>', price.words, price.source)
    days = (here.today - price.known_on).days
    aged = '{} <span class="age">({}, {}, {} days old)</span>'
    return format_html(aged, price.words, price.source, price.known_on, days)
