"""What is owed between this department and its partners, folded from the ledger: nothing of it is kept beside it.

Owed to us (+): what stands lent with a partner, and what went to their account more than came from it.
Owed by us (−): what came from their account more than went to it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import NamedTuple

from django.db.models import OuterRef, QuerySet, Subquery

from readiness.models import Concentrate, Container, Department, Holding, MovementLine, Partner, Relocation
from readiness.models.movements import Account

NOT_NAMED = "partner not named"


class LotOwed(NamedTuple):
    """So much of one lot: went to them less came from them, and what stands lent with them."""

    lot_id: int
    batch: str
    account_ml: int
    lent_ml: int

    @property
    def net_ml(self) -> int:
        """Owed to us (+) or by us (−)."""
        return self.account_ml + self.lent_ml

    @property
    def size_ml(self) -> int:
        """How much, whoever owes it."""
        return abs(self.net_ml)


class Owed(NamedTuple):
    """A partner's account for one concentrate. since: when what is open now began; None: it is settled."""

    partner_id: int | None
    partner: str
    concentrate_id: int
    concentrate: str
    kind: str
    pfas: str
    lots: tuple[LotOwed, ...]
    lent_containers: int
    since: datetime | None

    @property
    def lent_ml(self) -> int:
        """What stands lent with them in our own containers."""
        return sum(lot.lent_ml for lot in self.lots)

    @property
    def account_ml(self) -> int:
        """What went to them for good less what came from them."""
        return sum(lot.account_ml for lot in self.lots)

    @property
    def net_ml(self) -> int:
        """Owed to us (+) or by us (−)."""
        return self.account_ml + self.lent_ml

    @property
    def side(self) -> str:
        """Who owes whom."""
        if self.net_ml == 0:
            return "settled"
        return "owed to us" if self.net_ml > 0 else "owed by us"


class Stands(NamedTuple):
    """A container lent to a partner or borrowed from one."""

    container_id: int
    code: str
    kind: str
    concentrate: str
    lots: str
    pfas: str
    contents_ml: int
    place: str
    since: datetime | None


class Statement(NamedTuple):
    """All between us and one partner."""

    owed: tuple[Owed, ...]
    lent: tuple[Stands, ...]
    borrowed: tuple[Stands, ...]


class _Line(NamedTuple):
    partner: int | None
    lot: int
    batch: str
    concentrate: int
    ml: int
    at: datetime


def owed(department: Department, partner: Partner | None = None) -> tuple[Owed, ...]:
    """A row for each partner and concentrate that was ever lent or borrowed, open ones first, the oldest first."""
    lines = _lines(department, partner)
    lent, began = _lent(department, partner)
    names = dict(Partner.objects.filter(department=department).values_list("id", "name"))
    products = {row.pk: row for row in Concentrate.objects.filter(department=department)}
    keys = {(line.partner, line.concentrate) for line in lines} | set(lent)
    found = [
        _owed(
            of,
            names.get(of[0] or 0, NOT_NAMED),
            products[of[1]],
            [line for line in lines if (line.partner, line.concentrate) == of],
            lent.get(of, []),
            began.get(of),
        )
        for of in keys
    ]
    return tuple(sorted(found, key=lambda row: (row.since is None, str(row.since or ""), row.partner, row.concentrate)))


def _lines(department: Department, partner: Partner | None) -> list[_Line]:
    """Every line of the partners' account, as it happened."""
    rows = MovementLine.objects.filter(movement__department=department, account=Account.PARTNER)
    rows = rows if partner is None else rows.filter(movement__partner=partner)
    columns = ("movement__partner", "lot", "lot__batch", "lot__concentrate", "ml", "movement__happened_at")
    return [_Line(*row) for row in rows.order_by("movement__happened_at", "id").values_list(*columns)]


_Key = tuple[int | None, int]


def _lent(
    department: Department, partner: Partner | None
) -> tuple[dict[_Key, list[tuple[int, str, int, int]]], dict[_Key, datetime]]:
    """What stands lent: (lot, batch, ml, container) by partner and concentrate, and since when the oldest does."""
    rows = Holding.objects.filter(container__department=department, container__place__partner__isnull=False)
    rows = rows if partner is None else rows.filter(container__place__partner=partner)
    rows = rows.annotate(since=Subquery(_arrived(OuterRef("container"))))
    lent: dict[_Key, list[tuple[int, str, int, int]]] = defaultdict(list)
    began: dict[_Key, datetime] = {}
    columns = ("container__place__partner", "lot__concentrate", "lot", "lot__batch", "ml", "container", "since")
    for who, concentrate, lot, batch, ml, container, since in rows.order_by("id").values_list(*columns):
        of = (who, concentrate)
        lent[of].append((lot, batch, ml, container))
        began[of] = min(began.get(of, since), since)
    return lent, began


def _arrived(container: OuterRef) -> QuerySet[Relocation, datetime]:
    """When a container came to where it is."""
    return Relocation.objects.filter(container=container).order_by("-id").values("movement__happened_at")[:1]  # type: ignore[return-value] # a column for a subquery


def _owed(
    of: _Key,
    partner: str,
    product: Concentrate,
    lines: Iterable[_Line],
    lent: Iterable[tuple[int, str, int, int]],
    began: datetime | None,
) -> Owed:
    account: dict[int, int] = defaultdict(int)
    standing: dict[int, int] = defaultdict(int)
    batches: dict[int, str] = {}
    for line in lines:
        account[line.lot] += line.ml
        batches[line.lot] = line.batch
    for lot, batch, ml, _ in lent:
        standing[lot] += ml
        batches[lot] = batch
    lots = [LotOwed(lot, batch, account[lot], standing[lot]) for lot, batch in batches.items()]
    opened = [at for at in (_open_since(lines), began) if at is not None]
    return Owed(
        partner_id=of[0],
        partner=partner,
        concentrate_id=product.pk,
        concentrate=product.name,
        kind=product.kind,
        pfas=product.pfas,
        lots=tuple(sorted((lot for lot in lots if lot.net_ml), key=lambda lot: lot.batch)),
        lent_containers=len({container for *_, container in lent}),
        since=min(opened, default=None),
    )


def _open_since(lines: Iterable[_Line]) -> datetime | None:
    """When the account last left zero or changed sides; None where it stands at zero."""
    total, since = 0, None
    for line in lines:
        before, total = total, total + line.ml
        if total == 0:
            since = None
        elif before == 0 or (before > 0) != (total > 0):
            since = line.at
    return since


def statement(partner: Partner) -> Statement:
    """All between us and a partner, for the page that prints."""
    department = partner.department
    every = Container.objects.filter(department=department, retired_on=None)
    return Statement(
        owed(department, partner),
        _standing(every.filter(place__partner=partner)),
        _standing(every.filter(partner=partner)),
    )


def _standing(rows: QuerySet[Container]) -> tuple[Stands, ...]:
    rows = rows.select_related(
        "concentrate", "place__station", "place__unit", "place__vehicle", "place__partner", "place__pallet"
    )
    rows = rows.annotate(since=Subquery(_arrived(OuterRef("pk")))).order_by("code")
    batches = _batches(rows)
    return tuple(
        Stands(
            row.pk,
            row.code,
            row.kind,
            row.concentrate.name if row.concentrate else "empty",
            ", ".join(batches.get(row.pk, [])),
            row.concentrate.pfas if row.concentrate else "",
            row.contents_ml,
            str(row.place or "outside the book"),
            getattr(row, "since", None),
        )
        for row in rows
    )


def _batches(rows: QuerySet[Container]) -> Mapping[int, list[str]]:
    found: dict[int, list[str]] = defaultdict(list)
    held = Holding.objects.filter(container__in=rows.order_by().values("pk")).order_by("id")
    for container, batch in held.values_list("container", "lot__batch"):
        found[container].append(batch)
    return found
