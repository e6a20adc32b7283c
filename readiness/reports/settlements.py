"""The common pile: which of a unit's containers were emptied, proposed; and what was settled, with what is open."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import Q

from readiness.engineering.units import tolerance_ml
from readiness.models import Concentrate, Container, Department, MovementLine, Partner, Settlement, SettlementRow, Unit
from readiness.models.movements import Account
from readiness.reports.inventory import Inventory, Item
from readiness.reports.journal import person_name


class Counted(NamedTuple):
    """A row of the count: whose empties, of what, how many."""

    unit: Unit | None
    partner: Partner | None
    kind: str
    size_ml: int
    concentrate: Concentrate
    n: int

    @property
    def owner(self) -> str:
        """Whose they are, in words."""
        return str(self.unit or self.partner or "owner not known")


class Count(NamedTuple):
    """A pile as it was counted. drawn_by: the partner whose engine drew it; None: ours did."""

    incident: str
    drawn_by: Partner | None
    rows: tuple[Counted, ...]


class Proposal(NamedTuple):
    """Of one unit's containers of a size and concentrate: those that are likely the empties, and what is not answered.

    had: how many it has with foam in them by the book; already: emptied at this incident by the book;
    unexplained: empties counted beyond both.
    """

    codes: tuple[str, ...]
    had: int
    already: int
    unexplained: int


def propose(inventory: Inventory, row: Counted, incident: str) -> Proposal:
    """Of what stands on the row's unit tonight: the opened first, then the first to expire."""
    assert row.unit is not None  # asked for rows of ours only
    suiting = [item for item in inventory.items if item.unit_id == row.unit.pk and _is(item, row)]
    empty = {item.id for item in suiting if not item.contents_ml}
    already = min(_emptied_there(row.unit.department, incident, empty), row.n)
    full = sorted((item for item in suiting if item.contents_ml), key=_first_out)
    chosen = full[: row.n - already]
    return Proposal(tuple(item.code for item in chosen), len(full), already, row.n - already - len(chosen))


def _is(item: Item, row: Counted) -> bool:
    same = abs(item.capacity_ml - row.size_ml) <= tolerance_ml(1)
    return same and item.kind == row.kind and item.concentrate_id == row.concentrate.pk


def _first_out(item: Item) -> tuple[bool, date, str]:
    return item.sealed, item.through or date.max, item.code


def _emptied_there(department: Department, incident: str, empty: Iterable[int]) -> int:
    """How many of these containers gave foam at this incident by the book."""
    gave = MovementLine.objects.filter(container__in=list(empty), ml__lt=0, movement__incident__iexact=incident)
    gave = gave.filter(movement__department=department, movement__corrected_by=None)
    went = Q(movement__lines__account=Account.INCIDENT) | Q(movement__lines__account=Account.PARTNER)
    return gave.filter(went).values("container").distinct().count()


class Settled(NamedTuple):
    """A row of a settled pile: whose, how many, for how many the book has an answer."""

    owner: str
    partner_id: int | None
    kind: str
    size_ml: int
    concentrate: str
    pfas: str
    counted: int
    booked: int
    movement_id: UUID | None
    corrected: bool
    what: str

    @property
    def unexplained(self) -> int:
        """Empties that nobody has explained."""
        return self.counted - self.booked


class SettlementTold(NamedTuple):
    """A settled pile."""

    id: int
    incident: str
    drawn_by: str
    happened_at: datetime
    settled_at: datetime
    settled_by: str
    note: str
    rows: tuple[Settled, ...]

    @property
    def counted(self) -> int:
        """Empties in all."""
        return sum(row.counted for row in self.rows)

    @property
    def unexplained(self) -> int:
        """Empties that nobody has explained."""
        return sum(row.unexplained for row in self.rows)


def settlements(department: Department, only: Settlement | None = None) -> tuple[SettlementTold, ...]:
    """Every settled pile, the latest first; or one of them."""
    rows = Settlement.objects.filter(department=department).select_related("drawn_by", "settled_by")
    rows = rows if only is None else rows.filter(pk=only.pk)
    rows = rows.prefetch_related("rows__unit", "rows__partner", "rows__concentrate", "rows__movement__corrected_by")
    return tuple(
        SettlementTold(
            row.pk,
            row.incident,
            str(row.drawn_by or ""),
            row.happened_at,
            row.settled_at,
            person_name(row.settled_by) or "(command line)",
            row.note,
            tuple(_settled(row, each) for each in row.rows.all()),
        )
        for row in rows
    )


def _settled(pile: Settlement, row: SettlementRow) -> Settled:
    owner = row.unit or row.partner
    return Settled(
        owner=str(owner or "owner not known"),
        partner_id=row.partner_id,
        kind=row.kind,
        size_ml=row.size_ml,
        concentrate=row.concentrate.name,
        pfas=row.concentrate.pfas,
        counted=row.counted,
        booked=row.booked,
        movement_id=row.movement_id,
        corrected=row.movement is not None and hasattr(row.movement, "corrected_by"),
        what=_what(pile, row),
    )


def _what(pile: Settlement, row: SettlementRow) -> str:
    """What became of it, in words."""
    if row.partner_id:
        if pile.drawn_by_id is None:
            return "owed back to them"
        return "theirs, at their own incident" if row.partner_id == pile.drawn_by_id else "between the two of them"
    if row.unit_id is None:
        return "an open question"
    return f"owed to us by {pile.drawn_by}" if pile.drawn_by else "used at the incident"


def sizes(department: Department) -> tuple[tuple[str, int], ...]:
    """The kinds and sizes of loose containers that the department has: those in which empties are counted."""
    rows = Container.objects.filter(department=department, kind__in=("pail", "jug", "drum", "tote"))
    return tuple(rows.order_by("kind", "capacity_ml").values_list("kind", "capacity_ml").distinct())
