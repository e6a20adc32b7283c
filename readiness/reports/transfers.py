"""Transfers: what is on the way, since when and how long overdue; and of one, what became of each container."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import Count, Q, QuerySet, Sum

from readiness.models import Container, Department, Relocation, Transfer
from readiness.models.organisation import PLACE_NAMED_BY
from readiness.reports.journal import person_name

ON_THE_WAY, OVERDUE, DONE, UNDONE = "in transit", "overdue", "settled", "corrected"
RECEIVED, BACK, LOST = "received", "brought back", "lost"


class TransferRow(NamedTuple):
    """A transfer as a list shows it. `state`: in transit, overdue, settled, or corrected (it was never sent)."""

    id: int
    destination: str
    origin: str
    sent_at: datetime
    sent_by: str
    sent_by_id: int | None
    expected_on: date
    note: str
    sent: int
    on_the_way: int
    on_the_way_ml: int
    differences: int
    state: str
    days_over: int

    @property
    def is_open(self) -> bool:
        """Whether anything of it is in transit."""
        return self.on_the_way > 0


class Carried(NamedTuple):
    """A container of a transfer: where it came from, and what became of it. state: one of the words above."""

    container_id: int
    code: str
    kind: str
    concentrate: str
    contents_ml: int
    origin: str
    state: str
    place: str
    happened_at: datetime
    movement_id: UUID


class TransferTold(NamedTuple):
    """One transfer with its containers and the differences that were found."""

    row: TransferRow
    carried: tuple[Carried, ...]
    differences: tuple[tuple[str, str, str, datetime], ...]  # label code, words, by whom, when

    @property
    def on_the_way(self) -> tuple[Carried, ...]:
        """What has not come yet."""
        return tuple(each for each in self.carried if each.state == ON_THE_WAY)


def transfers(
    department: Department, today: date, only: Transfer | None = None, *, on_the_way: bool = False
) -> tuple[TransferRow, ...]:
    """Every transfer, what is overdue first; or one of them, or those with anything in transit. The number of queries
    does not grow."""
    rows = Transfer.objects.filter(department=department).select_related("station", "unit", "vehicle", "sent_by")
    rows = rows.annotate(n_differences=Count("differences"))
    rows = rows if only is None else rows.filter(pk=only.pk)
    there = _there(department)
    rows = rows.filter(pk__in=list(there)) if on_the_way else rows
    sent = _sent(rows)
    found = [_row(row, sent.get(row.pk, []), there.get(row.pk, (0, 0)), today) for row in rows]
    order = (OVERDUE, ON_THE_WAY, DONE, UNDONE)
    return tuple(sorted(found, key=lambda row: (order.index(row.state), -row.days_over)))


def _sent(rows: QuerySet[Transfer]) -> Mapping[int, list[Relocation]]:
    """The relocations that sent it, but for what was corrected."""
    moves = Relocation.objects.filter(to_place__transfer__in=rows.values("pk"), movement__corrects=None)
    moves = moves.filter(movement__corrected_by=None).order_by("id")
    found: dict[int, list[Relocation]] = defaultdict(list)
    names = ("to_place", "container__concentrate", "movement", *(f"from_place__{owner}" for owner in PLACE_NAMED_BY))
    for each in moves.select_related(*names):
        assert each.to_place is not None  # asked for above
        found[each.to_place.transfer_id or 0].append(each)
    return found


def _there(department: Department) -> dict[int, tuple[int, int]]:
    """Containers and volume in transit by transfer."""
    held = Container.objects.filter(department=department, place__transfer__isnull=False).order_by()
    sums = held.values("place__transfer").annotate(n=Count("pk"), ml=Sum("contents_ml"))
    return {row["place__transfer"]: (row["n"], row["ml"]) for row in sums}


def _row(row: Transfer, sent: Iterable[Relocation], there: tuple[int, int], today: date) -> TransferRow:
    sent = list(sent)
    late = max((today - row.expected_on).days, 0) if there[0] else 0
    state = (OVERDUE if late else ON_THE_WAY) if there[0] else DONE if sent else UNDONE
    return TransferRow(
        id=row.pk,
        destination=row.destination,
        origin=", ".join(dict.fromkeys(str(each.from_place or "outside the book") for each in sent)) or "nowhere",
        sent_at=row.sent_at,
        sent_by=person_name(row.sent_by) or "(command line)",
        sent_by_id=row.sent_by_id,
        expected_on=row.expected_on,
        note=row.note,
        sent=len(sent),
        on_the_way=there[0],
        on_the_way_ml=there[1],
        differences=getattr(row, "n_differences", 0),
        state=state,
        days_over=late,
    )


def transfer_told(transfer: Transfer, today: date) -> TransferTold:
    """One transfer in full."""
    row = transfers(transfer.department, today, transfer)[0]
    sent = _sent(Transfer.objects.filter(pk=transfer.pk)).get(transfer.pk, [])
    out = _out(transfer)
    notes = transfer.differences.select_related("container", "noted_by")
    return TransferTold(
        row,
        tuple(_carried(each, out.get(each.container_id)) for each in sent),
        tuple((str(each.container), each.what, person_name(each.noted_by), each.noted_at) for each in notes),
    )


def _out(transfer: Transfer) -> dict[int, Relocation]:
    """The last relocation of each container that left the transfer's place and was not corrected."""
    moves = Relocation.objects.filter(from_place__transfer=transfer).filter(
        Q(movement__corrects=None), movement__corrected_by=None
    )
    names = ("movement", *(f"to_place__{owner}" for owner in PLACE_NAMED_BY))
    return {each.container_id: each for each in moves.select_related(*names).order_by("id")}


def _carried(sent: Relocation, out: Relocation | None) -> Carried:
    last = out or sent
    return Carried(
        container_id=sent.container_id,
        code=sent.container.code,
        kind=sent.container.kind,
        concentrate=str(sent.container.concentrate or "empty, clean"),
        contents_ml=sent.container.contents_ml,
        origin=str(sent.from_place or "outside the book"),
        state=_state(sent, out),
        place="" if last.to_place is None else str(last.to_place),
        happened_at=last.movement.happened_at,
        movement_id=last.movement_id,
    )


def _state(sent: Relocation, out: Relocation | None) -> str:
    if out is None:
        return ON_THE_WAY
    if out.to_place_id is None:
        return LOST
    return BACK if out.to_place_id == sent.from_place_id else RECEIVED
