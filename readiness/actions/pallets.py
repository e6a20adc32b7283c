"""Take-back pallets as records, and setting containers aside on one. The book refuses that anything comes back."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import NamedTuple

from django.db import transaction

from readiness.actions.drafts import Move, Refused
from readiness.actions.keeping import Desk, Fault, Noun, one_line, several, taken
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry, refuse_away
from readiness.actions.permissions import require
from readiness.models import Container, Pallet, Place, Station
from readiness.models.catalogue import ConcentrateKind
from readiness.models.movements import MovementKind
from readiness.models.pallets import PalletTakes


class PalletFacts(NamedTuple):
    """What is kept of a pallet; refused_kinds: kinds of concentrate that its programme does not take."""

    name: str
    programme: str
    station: Station
    takes: str = PalletTakes.ANY.value
    refused_kinds: tuple[str, ...] = ()


class Pallets(Noun[Pallet, PalletFacts]):
    """Pallets of take-back programmes."""

    name = "pallet"
    retired = "closed_on"
    asks = "dispose"
    model, facts = Pallet, PalletFacts

    def tidy(self, desk: Desk, facts: PalletFacts, row: Pallet | None) -> PalletFacts:
        """Names on one line."""
        return facts._replace(name=one_line(facts.name), programme=one_line(facts.programme))

    def faults(self, desk: Desk, facts: PalletFacts, row: Pallet | None) -> Iterator[Fault]:
        """A name once, and kinds that there are."""
        yield from taken(self.of(desk.department), row, "name", facts.name)
        strange = set(facts.refused_kinds) - set(ConcentrateKind.values)
        if strange:
            yield Fault("refused_kinds", f"“{', '.join(sorted(strange))}” was read: tick kinds from the list.")

    def read(self, row: Pallet) -> PalletFacts:
        """The list of kinds as a tuple."""
        return PalletFacts(row.name, row.programme, row.station, row.takes, tuple(row.refused_kinds))

    def columns(self, facts: PalletFacts) -> dict[str, object]:
        """The kinds as a list, as JSON has it."""
        return {**facts._asdict(), "refused_kinds": list(facts.refused_kinds)}

    def in_the_way(self, row: Pallet) -> Iterator[str]:
        """What stands on it."""
        codes = Container.objects.filter(place__pallet=row, retired_on=None).values_list("code", flat=True)
        if codes:
            yield f"Containers on {row}: {several(codes)}. Hand them over first."

    def touched(self, row: Pallet) -> Collection[int]:
        """No unit rests on a pallet."""
        return ()


PALLETS = Pallets()


def set_aside(entry: Entry, *, containers: Sequence[Container], pallet: Pallet) -> Posted:
    """Put containers on a pallet, from which nothing returns to a rig. Raises Refused for what it does not take."""
    require(entry.acting, entry.department, "dispose")
    if pallet.department_id != entry.department.pk:
        raise Refused(f"There is no such pallet in {entry.department}.")
    refuse_away(containers)
    with transaction.atomic():
        place, _ = Place.objects.get_or_create(department=entry.department, pallet=pallet, compartment="")
        draft = entry.draft(MovementKind.MOVED)
        return entry.post(draft._replace(moves=tuple(Move(each.pk, each.place_id, place.pk) for each in containers)))
