"""The department's table of hose: sizes, what they cost in friction, and the length they are coupled from."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Final, NamedTuple

from django.db.models import QuerySet

from readiness.actions.keeping import EVERY_UNIT, Desk, Fault, Noun, one_line, others, several
from readiness.engineering.hydraulics import COEFFICIENTS
from readiness.models import Department, FoamLine, HoseSize
from readiness.models.hoses import SECTION_M

PUBLISHED_SOURCE: Final = "published fire academy coefficient, from a public calculator"
_MEASURED: Final = ("loss_kpa", "loss_flow_lpm", "loss_length_m")
_MOST_COEFFICIENT: Final = 1000.0  # psi in 100 ft at 100 gpm: garden hose


class HoseFacts(NamedTuple):
    """What is kept of a size of hose: C for psi, gpm and feet [-], a length [m], a measured loss [kPa, L/min, m]."""

    diameter_in: Decimal | float
    coefficient: float
    section_m: float = SECTION_M
    loss_kpa: float | None = None
    loss_flow_lpm: float | None = None
    loss_length_m: float | None = None
    measured_on: date | None = None
    source: str = ""


class Hoses(Noun[HoseSize, HoseFacts]):
    """Sizes of hose. A change is felt by every line that has some, so every unit is judged again."""

    name = "hose size"
    model, facts = HoseSize, HoseFacts

    def tidy(self, desk: Desk, facts: HoseFacts, row: HoseSize | None) -> HoseFacts:
        """Two decimals of an inch, one source."""
        size = Decimal(str(facts.diameter_in)).quantize(Decimal("0.01"))
        return facts._replace(diameter_in=size, source=one_line(facts.source))

    def faults(self, desk: Desk, facts: HoseFacts, row: HoseSize | None) -> Iterator[Fault]:
        """A size once, a coefficient and a length above nothing, a measurement whole and in the past."""
        size = Decimal(facts.diameter_in)
        if not size > 0:
            yield Fault("diameter_in", f"“{size:f}” was read: a hose is wider than 0.")
        yield from _once(self.of(desk.department), row, size)
        if row is not None and row.diameter_in != facts.diameter_in:
            yield from _carried(row, "diameter_in", "It is")
        if not 0 < facts.coefficient <= _MOST_COEFFICIENT:
            read = f"“{facts.coefficient:g}” was read"
            yield Fault("coefficient", f"{read}: psi lost in 100 ft at 100 gpm, above 0 and up to 1,000.")
        if not facts.section_m > 0:
            yield Fault("section_m", f"“{facts.section_m:g} m” was read: a coupled length is longer than 0.")
        yield from _measured(desk, facts)

    def in_the_way(self, row: HoseSize) -> Iterator[str]:
        """Lines that are laid of it."""
        yield from (fault.sentence for fault in _carried(row, "", "Hose of this size is"))

    def touched(self, row: HoseSize) -> None:
        """Every unit: any line may have such hose."""
        return EVERY_UNIT


def _once(sizes: QuerySet[HoseSize, HoseSize], row: HoseSize | None, diameter_in: Decimal) -> Iterator[Fault]:
    same = others(sizes.filter(diameter_in=diameter_in), row).first()
    if same is not None:
        gone = f"; it was retired on {same.retired_on}: bring it back" if same.retired_on else ": change that one"
        yield Fault("diameter_in", f"“{diameter_in.normalize():f} in” was read, and the table has that size{gone}.")


def _measured(desk: Desk, facts: HoseFacts) -> Iterator[Fault]:
    stated = [name for name in _MEASURED if getattr(facts, name) is not None]
    for name in _MEASURED:
        value = getattr(facts, name)
        if value is None and stated:
            yield Fault(name, "Nothing was read: a measured loss is a pressure, at a flow, over a length; or none.")
        elif value is not None and not value > 0:
            yield Fault(name, f"“{value:g}” was read: it is more than 0.")
    if facts.measured_on and facts.measured_on > desk.today:
        read = f"“{facts.measured_on}” was read"
        yield Fault("measured_on", f"{read}: today ({desk.today}) or a day before belongs here.")
    if facts.measured_on and not stated:
        yield Fault("measured_on", f"“{facts.measured_on}” was read, and no measured loss: state what was measured.")


def _carried(row: HoseSize, fact: str, what: str) -> Iterator[Fault]:
    lines = FoamLine.objects.filter(
        department=row.department_id, retired_on__isnull=True, legs__diameter_in=row.diameter_in
    )
    names = list(lines.distinct().select_related("unit", "vehicle").order_by("id"))
    if names:
        told = several(f"{line} of {line.unit or line.vehicle}" for line in names)
        yield Fault(fact, f"{what} part of {told}: enter those lines with another hose first.")


def copy_published(department: Department) -> None:
    """A new department begins with the published table."""
    HoseSize.objects.bulk_create(
        HoseSize(department=department, diameter_in=size, coefficient=coefficient, source=PUBLISHED_SOURCE)
        for size, coefficient in COEFFICIENTS.items()
    )


def sizes_of(department: Department) -> tuple[float, ...]:
    """The sizes that a line of the department may be laid of [in]: the published ones and its own in use."""
    own = HoseSize.objects.filter(department=department, retired_on__isnull=True).values_list("diameter_in", flat=True)
    return tuple(sorted({float(size) for size in COEFFICIENTS} | {float(size) for size in own}))


HOSES = Hoses()
