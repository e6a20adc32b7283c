"""In which budget years to order what falls due: together with the next years, or each year anew."""

from __future__ import annotations

from typing import NamedTuple

from readiness.engineering.stocking import order_plan
from readiness.engineering.units import from_ml, to_ml
from readiness.models import Department, Policy
from readiness.reports.ageing import REPLACE, YEARS, Ageing, budget_year
from readiness.reports.ordering import OrderPoint


class PlannedYear(NamedTuple):
    """What falls due in a budget year, and how much to order in it [mL]."""

    year: str
    due_ml: int
    order_ml: int


class OrderPlan(NamedTuple):
    """The cheapest plan, and what ordering every year anew would cost [money in `currency`]."""

    years: tuple[PlannedYear, ...]
    cost: float
    cost_each_year: float
    currency: str


def order_plan_of(department: Department, found: Ageing, point: OrderPoint) -> OrderPlan | None:
    """For one concentrate; None where nothing falls due, or the supply sheet states no cost of ordering or keeping."""
    order_cost, holding, per = point.supply.order_cost, point.economic.holding_cost, point.economic.per
    policy = Policy.objects.filter(department=department).first() or Policy(department=department)
    due = _due_by_year(found, point.concentrate_id, policy.budget_month)
    if order_cost is None or holding is None or not any(due.values()):
        return None
    demands = [from_ml(ml, per) for ml in due.values()]
    plan = order_plan(demands, float(order_cost), holding)
    years = zip(due, due.values(), plan.quantities, strict=True)
    return OrderPlan(
        tuple(PlannedYear(str(year), ml, to_ml(quantity, per)) for year, ml, quantity in years),
        plan.cost,
        float(order_cost) * sum(1 for demand in demands if demand),
        point.economic.currency,
    )


def _due_by_year(found: Ageing, concentrate: int, month: int) -> dict[int, int]:
    """Volume to replace by budget year; what is due already belongs to this one [mL]."""
    this = budget_year(found.day, month)[0]
    due = dict.fromkeys(range(this, this + YEARS), 0)
    for each in found.due:
        if each.what == REPLACE and each.item.concentrate_id == concentrate:
            year = max(this, budget_year(each.due_on, month)[0]) if each.due_on else this
            if year in due:
                due[year] += each.item.contents_ml
    return due
