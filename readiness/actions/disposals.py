"""Disposal with its manifest: what a hauler took away, and later the certificate of destruction."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from django.db import transaction

from readiness.actions import leaving
from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Draw, Refused
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry, refuse_away
from readiness.actions.permissions import Acting, require
from readiness.models import Container, Department, Disposal, Pallet
from readiness.models.movements import Account, MovementKind


class Manifest(NamedTuple):
    """What the hauler's paper says."""

    number: str
    hauler: str
    taken_on: date
    weight_kg: float | None = None


class Load(NamedTuple):
    """What went: whole containers, which leave the book; and volumes out of containers that stay."""

    containers: tuple[Container, ...] = ()
    volumes: tuple[tuple[Container, int], ...] = ()


def dispose(entry: Entry, *, manifest: Manifest, load: Load, pallet: Pallet | None = None) -> Posted:
    """Hand over what is to be destroyed. The containers leave the book for good; nothing is disposed of twice."""
    require(entry.acting, entry.department, "dispose")
    if pallet is not None and pallet.department_id != entry.department.pk:
        raise Refused(f"There is no such pallet in {entry.department}.")
    with transaction.atomic():
        Department.objects.select_for_update(no_key=True).get(pk=entry.department.pk)  # two cannot take one number
        _refuse_paper(entry, manifest)
        _refuse_load(load)
        draft = entry.draft(MovementKind.LOST)
        draws = leaving.emptied_into(load.containers, Account.DISPOSAL)
        draws += tuple(Draw(container.pk, Account.DISPOSAL, ml) for container, ml in load.volumes)
        posted = entry.post(draft._replace(draws=draws, moves=leaving.out_of_the_book(load.containers)))
        if not posted.again:
            leaving.retire(entry, load.containers)
            _keep(entry, manifest, load, pallet, posted)
        return posted


def _refuse_paper(entry: Entry, manifest: Manifest) -> None:
    for name, said in (("manifest number", manifest.number), ("hauler", manifest.hauler)):
        if not said.strip():
            raise Refused(f"No {name} was read: what leaves for good is told by its paper.")
    today = calendar_day_of(entry.department, entry.clock.now())
    if manifest.taken_on > today:
        raise Refused(f"{manifest.taken_on} was read, which lies in the future: enter the day it was taken.")
    same = Disposal.objects.filter(department=entry.department, manifest__iexact=manifest.number.strip())
    known = same.filter(movement__corrected_by=None).exclude(movement=entry.id).first()
    if known is not None:
        raise Refused(
            f"Manifest {known.manifest} is in the book already, taken on {known.taken_on}: nothing is disposed of "
            "twice. Correct that entry if it is wrong."
        )


def _refuse_load(load: Load) -> None:
    if not load.containers and not load.volumes:
        raise Refused("Nothing was read that was taken: name containers, or a volume out of one.")
    for each in [*load.containers, *(container for container, _ in load.volumes)]:
        gone = Disposal.objects.filter(movement__lines__container=each, movement__corrected_by=None).last()
        if each.retired_on:
            how = f" with {gone} on {gone.taken_on}" if gone else f" on {each.retired_on}"
            raise Refused(f"{each} left the book{how} already: nothing is disposed of twice.")
    borrowed = [each for each in load.containers if each.partner_id is not None]
    if borrowed:
        raise Refused(f"{borrowed[0]} is borrowed: give it back; what is in it may be disposed of as a volume.")
    refuse_away(load.containers)


def _keep(entry: Entry, manifest: Manifest, load: Load, pallet: Pallet | None, posted: Posted) -> None:
    made = Disposal.objects.create(
        department=entry.department,
        movement_id=posted.movement_id,
        manifest=manifest.number.strip(),
        hauler=manifest.hauler.strip(),
        taken_on=manifest.taken_on,
        pallet=pallet,
        weight_kg=manifest.weight_kg,
    )
    new = {"manifest": made.manifest, "hauler": made.hauler, "containers": len(load.containers)}
    record_changes(entry.department, entry.acting, entry.clock.now(), [Changed("dispose", made, None, new)])


def certify(
    department: Department,
    *,
    disposal: Disposal,
    certificate: str,
    certified_on: date,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> None:
    """The certificate of destruction has come. Raises Refused for one that is there already, or lies ahead."""
    require(acting, department, "dispose")
    with transaction.atomic():
        row = Disposal.objects.select_for_update(of=("self",)).filter(department=department, pk=disposal.pk).first()
        if row is None:
            raise Refused(f"There is no such disposal in {department}.")
        if not certificate.strip():
            raise Refused("No certificate was read: write its number.")
        if not row.taken_on <= certified_on <= calendar_day_of(department, clock.now()):
            raise Refused(
                f"{certified_on} was read: a day from {row.taken_on}, when it was taken, to today belongs here."
            )
        old = {"certificate": row.certificate, "certified_on": row.certified_on and str(row.certified_on)}
        row.certificate, row.certified_on = certificate.strip(), certified_on
        row.save(update_fields=["certificate", "certified_on"])
        new = {"certificate": row.certificate, "certified_on": str(certified_on)}
        record_changes(department, acting, clock.now(), [Changed("certify disposal", row, old, new)])


def on_pallet(pallet: Pallet) -> Sequence[Container]:
    """What stands on a pallet now."""
    return list(Container.objects.filter(place__pallet=pallet, retired_on=None).order_by("code"))
