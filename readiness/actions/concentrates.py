"""Concentrates as the department keeps them, and which of them may meet in one container."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import Any, NamedTuple

from readiness.actions.judging import units_at
from readiness.actions.keeping import Desk, Fault, Noun, one_line, others, several, taken
from readiness.models import CompatibilityGroup, Concentrate, Holding


class ConcentrateFacts(NamedTuple):
    """What is kept of a concentrate [°C, kg/L]."""

    name: str
    kind: str
    pfas: str
    pfas_evidence: str = ""
    lowest_use_c: float | None = None
    store_low_c: float | None = None
    store_high_c: float | None = None
    shear_thinning: bool = False
    density_kg_l: float | None = None
    life_months: int | None = None


def units_with(concentrates: Iterable[int]) -> set[int]:
    """The units that carry any of these concentrates."""
    held = Holding.objects.filter(lot__concentrate__in=list(concentrates), container__place__isnull=False)
    return units_at(held.values_list("container__place__unit", "container__place__vehicle"))


class Concentrates(Noun[Concentrate, ConcentrateFacts]):
    """The products. One that is no longer bought stays: its lots and listings name it."""

    name = "concentrate"
    retired = ""
    model, facts = Concentrate, ConcentrateFacts
    signed = frozenset({"lowest_use_c", "store_low_c", "store_high_c"})

    def tidy(self, desk: Desk, facts: ConcentrateFacts, row: Concentrate | None) -> ConcentrateFacts:
        """The name on one line."""
        return facts._replace(name=one_line(facts.name), pfas_evidence=facts.pfas_evidence.strip())

    def faults(self, desk: Desk, facts: ConcentrateFacts, row: Concentrate | None) -> Iterator[Fault]:
        """A name once, "no PFAS" with its evidence, a storage range the right way round."""
        yield from taken(self.of(desk.department), row, "name", facts.name)
        if facts.pfas == "no" and not facts.pfas_evidence:
            right = "name the data sheet or the laboratory report, or answer unknown, which counts as yes"
            yield Fault("pfas_evidence", f"Nothing was read, and PFAS says no: {right}.")
        low, high = facts.store_low_c, facts.store_high_c
        if low is not None and high is not None and high < low:
            yield Fault("store_high_c", "The high end of the storage range lies below its low end: change them over.")

    def touched(self, row: Concentrate) -> Collection[int]:
        """The units that carry it."""
        return units_with([row.pk])


class GroupFacts(NamedTuple):
    """Concentrates that may meet in one container, and what that rests on."""

    name: str
    evidence: str
    concentrates: tuple[Concentrate, ...] = ()


class Groups(Noun[CompatibilityGroup, GroupFacts]):
    """Compatibility groups; one without concentrates is withdrawn."""

    name = "compatibility group"
    retired = ""
    model, facts = CompatibilityGroup, GroupFacts

    def tidy(self, desk: Desk, facts: GroupFacts, row: CompatibilityGroup | None) -> GroupFacts:
        """Concentrates in one order."""
        members = tuple(sorted(set(facts.concentrates), key=lambda each: each.pk))
        return GroupFacts(one_line(facts.name), facts.evidence.strip(), members)

    def faults(self, desk: Desk, facts: GroupFacts, row: CompatibilityGroup | None) -> Iterator[Fault]:
        """A name once, evidence, at least two concentrates, each in one group."""
        yield from taken(self.of(desk.department), row, "name", facts.name)
        if len(facts.concentrates) == 1 or (row is None and not facts.concentrates):
            read = f"“{facts.concentrates[0]}”" if facts.concentrates else "Nothing"
            yield Fault("concentrates", f"{read} was read: a group has at least two concentrates.")
        other = others(CompatibilityGroup.objects.filter(concentrates__in=facts.concentrates), row).first()
        if other is not None:
            both = several(each for each in facts.concentrates if other.concentrates.filter(pk=each.pk).exists())
            yield Fault(
                "concentrates", f"“{both}” was read, which is in the group {other} already: one group for each."
            )

    def touched(self, row: CompatibilityGroup) -> Collection[int]:
        """The units that carry any of them."""
        return units_with(row.concentrates.values_list("id", flat=True))

    def read(self, row: CompatibilityGroup) -> GroupFacts:
        """With its concentrates."""
        return GroupFacts(row.name, row.evidence, tuple(row.concentrates.order_by("id")))

    def columns(self, facts: GroupFacts) -> dict[str, Any]:
        """Without its concentrates."""
        return {"name": facts.name, "evidence": facts.evidence}

    def members(self, facts: GroupFacts) -> dict[str, Any]:
        """The concentrates, as a whole."""
        return {"concentrates": facts.concentrates}

    def put_members(self, desk: Desk, row: CompatibilityGroup, old: GroupFacts | None, facts: GroupFacts) -> None:
        """Exactly those that are stated."""
        row.concentrates.set(facts.concentrates)


CONCENTRATES = Concentrates()
GROUPS = Groups()
