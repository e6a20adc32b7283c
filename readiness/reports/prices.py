"""What concentrate costs to replace and to get rid of: by the lot, by the supply sheet, else by public figures.

Each price says where it is from and from when: a public figure of 2019 is no quotation. Sums are kept by currency and
never added across them; what has no price is counted and named, never taken for nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Final, NamedTuple

from readiness.engineering.costs import cost_cents
from readiness.models import Department, Lot, SupplySheet
from readiness.reports.inventory import Inventory, Share, class_b

PUBLIC_CURRENCY, PUBLIC_PER = "USD", "gal"
PUBLIC_PRICE: Final = Decimal(28)
PUBLIC_PRICE_SOURCE: Final = "public purchases of Class B foam, 2013 to 2019: 25 to 31 a gallon, the middle of it"
PUBLIC_DISPOSAL: Final = Decimal(56)
PUBLIC_DISPOSAL_SOURCE: Final = "public take-back programs: 6 to 166 a gallon, mean about 56 in one set of them"


class Price(NamedTuple):
    """Money for one `per`, where it is from, and from when (None: the source says)."""

    amount: Decimal
    per: str
    currency: str
    source: str
    known_on: date | None = None
    public: bool = False  # no quotation of the department's own

    def cents(self, volume_ml: int) -> int:
        """What a volume costs at it."""
        return cost_cents(volume_ml, self.amount, self.per)

    @property
    def words(self) -> str:
        """27.50 USD/gal."""
        return f"{self.amount:,.2f} {self.currency}/{self.per}"


class Money(NamedTuple):
    """Whole cents by currency, and the volume that has no price."""

    cents: Mapping[str, int]
    unpriced_ml: int = 0

    @property
    def words(self) -> str:
        """1,260.00 USD; empty sums are 0."""
        return ", ".join(f"{cents / 100:,.2f} {currency}" for currency, cents in sorted(self.cents.items())) or "0"


NOTHING: Final = Money({})


def total(parts: Iterable[Money]) -> Money:
    """The sum, by currency."""
    cents: Counter[str] = Counter()
    unpriced = 0
    for part in parts:
        cents.update(part.cents)
        unpriced += part.unpriced_ml
    return Money(dict(cents), unpriced)


def cost(volume_ml: int, price: Price | None) -> Money:
    """What a volume costs at a price; without one it is counted as unpriced."""
    if price is None:
        return Money({}, volume_ml)
    return Money({price.currency: price.cents(volume_ml)})


def cost_of_packs(containers: int, pack_ml: int, price: Price | None) -> Money:
    """What so many containers cost, each priced by itself: twenty pails of 155.00 are 3,100.00, not a cent less."""
    one = cost(pack_ml, price)
    cents = {currency: containers * each for currency, each in one.cents.items()} if containers else {}
    return Money(cents, containers * one.unpriced_ml)


class Prices:
    """A department's prices, each read once."""

    def __init__(self, department: Department, inventory: Inventory) -> None:
        rows = SupplySheet.objects.filter(department=department)
        self.sheets: dict[int, SupplySheet] = {row.concentrate_id: row for row in rows}
        self._kinds = {pk: product.kind for pk, product in inventory.products.items()}
        lots = Lot.objects.filter(department=department, price_minor_per_l__isnull=False).order_by()
        self._lots = {
            pk: Price(Decimal(cents or 0) / 100, "L", currency, f"what lot {batch} cost", made)
            for pk, batch, cents, currency, made in lots.values_list(
                "pk", "batch", "price_minor_per_l", "currency", "made_on"
            )
        }

    def replacement(self, concentrate: int, lot: int | None = None) -> Price | None:
        """To buy it again: by the supply sheet, else by what the lot cost, else by public figures for Class B."""
        sheet = self.sheets.get(concentrate)
        if sheet is not None and sheet.price is not None:
            return Price(sheet.price, sheet.per, sheet.currency, sheet.price_source, sheet.price_on)
        if lot in self._lots:
            return self._lots[lot]
        if class_b(self._kinds.get(concentrate, "")):
            return Price(PUBLIC_PRICE, PUBLIC_PER, PUBLIC_CURRENCY, PUBLIC_PRICE_SOURCE, public=True)
        return None

    def disposal(self, concentrate: int) -> Price | None:
        """To get rid of it: by the supply sheet, else by public figures for Class B."""
        sheet = self.sheets.get(concentrate)
        if sheet is not None and sheet.disposal is not None:
            return Price(sheet.disposal, sheet.per, sheet.currency, sheet.disposal_source, sheet.disposal_on)
        if class_b(self._kinds.get(concentrate, "")):
            return Price(PUBLIC_DISPOSAL, PUBLIC_PER, PUBLIC_CURRENCY, PUBLIC_DISPOSAL_SOURCE, public=True)
        return None

    def replacement_of(self, shares: Iterable[Share]) -> Money:
        """To replace what is in a container, lot by lot."""
        return total(cost(share.ml, self.replacement(share.concentrate_id, share.lot_id)) for share in shares)

    def disposal_of(self, shares: Iterable[Share]) -> Money:
        """To get rid of what is in a container."""
        return total(cost(share.ml, self.disposal(share.concentrate_id)) for share in shares)
