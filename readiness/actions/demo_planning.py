"""The demo's par lists, store limits, supply sheets and one order: invented, through the same doors as anybody's."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Final

from readiness.actions.keeping import Desk
from readiness.actions.par import PAR_LINES, STORE_LIMITS, LimitFacts, ParFacts
from readiness.actions.supply import SUPPLY_SHEETS, OrderFacts, SupplyFacts, place_order
from readiness.engineering.percentages import parse_percent
from readiness.engineering.quantities import parse_quantity
from readiness.models import Concentrate, Station, Unit
from readiness.workbooks.demo_rows import rows_of

COLUMNS: Final = {
    "par_lines": (
        *("unit", "compartment", "concentrate", "concentrate_kind", "container_kind", "containers", "volume"),
        *("gear", "appliance_kind", "pieces", "note"),
    ),
    "store_limits": ("station", "concentrate", "least", "most"),
    "supply_sheets": (
        *("concentrate", "per", "currency", "price", "price_on", "price_source", "disposal", "disposal_on"),
        *("disposal_source", "lead_time_d", "pack_kind", "pack", "order_cost", "holding", "service"),
    ),
    "orders": (
        *("reference", "concentrate", "station", "containers", "pack_kind", "pack", "placed_on", "expected_on"),
        *("price", "per", "currency", "note"),
    ),
}


def plan_everything(desk: Desk, folder: Path) -> None:
    """Whatever of it the folder has."""
    demo = _Demo(desk, folder)
    demo.par_lines()
    demo.store_limits()
    demo.supply_sheets()
    demo.orders()


class _Demo:
    """The files, and the records that they name."""

    def __init__(self, desk: Desk, folder: Path) -> None:
        self.desk, self.folder = desk, folder
        of = {"department": desk.department}
        self.units = {unit.designation: unit for unit in Unit.objects.filter(**of)}
        self.stations = {station.name: station for station in Station.objects.filter(**of)}
        self.concentrates = {row.name: row for row in Concentrate.objects.filter(**of)}

    def _rows(self, name: str) -> list[dict[str, str]]:
        path = self.folder / f"{name}.csv"
        d0 = self.desk.department.demo_d0 or self.desk.today
        return list(rows_of(path, set(COLUMNS[name]), d0)) if path.exists() else []

    def par_lines(self) -> None:
        """What each unit should carry."""
        for row in self._rows("par_lines"):
            facts = ParFacts(
                unit=self.units[row["unit"]],
                compartment=row["compartment"],
                concentrate=self.concentrates[row["concentrate"]] if row["concentrate"] else None,
                concentrate_kind=row["concentrate_kind"],
                container_kind=row["container_kind"],
                containers=_number(row["containers"]),
                volume_ml=_ml(row["volume"]),
                gear=row["gear"],
                appliance_kind=row["appliance_kind"],
                pieces=_number(row["pieces"]),
                note=row["note"],
            )
            PAR_LINES.save(self.desk, facts)

    def store_limits(self) -> None:
        """What each store should hold."""
        for row in self._rows("store_limits"):
            station, concentrate = self.stations[row["station"]], self.concentrates[row["concentrate"]]
            STORE_LIMITS.save(self.desk, LimitFacts(station, concentrate, _ml(row["least"]) or 0, _ml(row["most"])))

    def supply_sheets(self) -> None:
        """Prices and lead times."""
        for row in self._rows("supply_sheets"):
            facts = SupplyFacts(
                concentrate=self.concentrates[row["concentrate"]],
                per=row["per"],
                currency=row["currency"],
                price=_money(row["price"]),
                price_on=_day(row["price_on"]),
                price_source=row["price_source"],
                disposal=_money(row["disposal"]),
                disposal_on=_day(row["disposal_on"]),
                disposal_source=row["disposal_source"],
                lead_time_d=_number(row["lead_time_d"]),
                pack_kind=row["pack_kind"],
                pack_ml=_ml(row["pack"]) or 0,
                order_cost=_money(row["order_cost"]),
                holding_pct=_percent(row["holding"]),
                service_pct=_percent(row["service"]),
            )
            SUPPLY_SHEETS.save(self.desk, facts)

    def orders(self) -> None:
        """What is on its way."""
        for row in self._rows("orders"):
            facts = OrderFacts(
                reference=row["reference"],
                concentrate=self.concentrates[row["concentrate"]],
                station=self.stations[row["station"]],
                containers=_number(row["containers"]) or 0,
                pack_kind=row["pack_kind"],
                pack_ml=_ml(row["pack"]) or 0,
                placed_on=_day(row["placed_on"]) or self.desk.today,
                expected_on=_day(row["expected_on"]),
                price=_money(row["price"]),
                per=row["per"],
                currency=row["currency"],
                note=row["note"],
            )
            place_order(self.desk, facts)


def _number(text: str) -> int | None:
    return int(text) if text else None


def _ml(text: str) -> int | None:
    return parse_quantity(text, dimension="volume").ml if text else None


def _money(text: str) -> Decimal | None:
    return Decimal(text) if text else None


def _day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


def _percent(text: str) -> int | None:
    return parse_percent(text, least=0, greatest=10_000) if text else None
