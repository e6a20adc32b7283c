"""Partner departments as records: kept by who moves stock, since they are who lends and borrows."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import NamedTuple

from readiness.actions.keeping import Desk, Fault, Noun, one_line, several, taken
from readiness.models import Container, Partner


class PartnerFacts(NamedTuple):
    """What is kept of a partner."""

    name: str
    contact: str = ""


class Partners(Noun[Partner, PartnerFacts]):
    """Other departments, terminals and airports."""

    name = "partner"
    asks = "move"
    model, facts = Partner, PartnerFacts

    def tidy(self, desk: Desk, facts: PartnerFacts, row: Partner | None) -> PartnerFacts:
        """The name on one line."""
        return facts._replace(name=one_line(facts.name), contact=one_line(facts.contact))

    def faults(self, desk: Desk, facts: PartnerFacts, row: Partner | None) -> Iterator[Fault]:
        """A name once."""
        yield from taken(self.of(desk.department), row, "name", facts.name)

    def in_the_way(self, row: Partner) -> Iterator[str]:
        """Containers that are lent to it, or borrowed from it."""
        lent = Container.objects.filter(place__partner=row, retired_on=None).values_list("code", flat=True)
        if lent:
            yield f"Containers lent to {row}: {several(lent)}. Enter their return first."
        borrowed = row.containers.filter(retired_on=None).values_list("code", flat=True)
        if borrowed:
            yield f"Containers borrowed from {row}: {several(borrowed)}. Give them back first."

    def touched(self, row: Partner) -> Collection[int]:
        """No unit rests on a partner's record."""
        return ()


PARTNERS = Partners()
