"""A station's shared tablet: made by a chief, signed in once by a link, and its entries made by people with their PIN.

A PIN opens nothing but an entry at a tablet of the person's own station. It is tried a few times only: per person at
each tablet, per tablet, and in all; ten wrong ones in a row lock it until the person or the chief sets it anew.
"""

from __future__ import annotations

import re
import secrets
from datetime import datetime, timedelta
from math import ceil
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.db.models import F, QuerySet

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused
from readiness.actions.people import MANAGE, forget_attempts, note_attempt
from readiness.actions.permissions import AT_TABLET, MAY, Acting, NotAllowed, require
from readiness.models import Department, Device, Membership, Station
from readiness.models.movements import Identity

LOCKED_AFTER: Final = 10  # wrong PINs in a row; common practice, no source
_PIN: Final = re.compile(r"[0-9]{4,6}")
_RUNS: Final = ("0123456789", "9876543210")
WHO_MAY: Final = frozenset.intersection(*(MAY[action] for action in AT_TABLET))
WAY_OUT: Final = (
    "At once: on another device sign in with your password and enter it there, or set a new PIN under My account, "
    "which counts here right away. Whoever has no password either asks the chief."
)
NO_TABLET: Final = "This tablet was taken out of use: ask the chief."


class WrongPin(Refused):
    """The PIN that was read is not the person's, or may not be tried now; the text is a sentence for the tablet."""


class Made(NamedTuple):
    """A tablet with the key of the link that signs it in, which is not kept."""

    device: Device
    key: str


# -- tablets -----------------------------------------------------------------------------------------------------------


def make_tablet(
    department: Department, *, station: Station, name: str, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> Made:
    """A tablet for one station. Raises Refused for a name that is taken."""
    require(acting, department, MANAGE)
    said = " ".join(name.split())[:60]
    if not said:
        raise Refused("No name was read: say where the tablet is, as “bay tablet Quayside”.")
    if station.department_id != department.pk or station.closed_on is not None:
        raise Refused(f"There is no such station in {department}: choose one of its own.")
    with transaction.atomic():
        if Device.objects.select_for_update().filter(department=department, name__iexact=said).exists():
            raise Refused(f"“{said}” was read: a tablet has that name already. Give it another.")
        key = _new_key()
        facts: dict[str, Any] = {"station": station, "name": said, "key_hash": make_password(key)}
        device = Device.objects.create(department=department, **facts)
        _record(device, acting, clock, "make a tablet", None, {"name": said, "station": station.pk})
    return Made(device, key)


def _new_key() -> str:
    return secrets.token_urlsafe(24)


def _record(device: Device, acting: Acting, clock: Clock, action: str, old: Any, new: Any) -> None:
    record_changes(device.department, acting, clock.now(), [Changed(action, device, old, new)])


def renew_key(device: Device, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> Made:
    """A further link, good once: for a tablet that was signed out, or another one in its stead."""
    require(acting, device.department, MANAGE)
    with transaction.atomic():
        row = Device.objects.select_for_update().select_related("department").get(pk=device.pk)
        if row.retired_on is not None:
            raise Refused(NO_TABLET)
        key = _new_key()
        row.key_hash = make_password(key)
        row.save(update_fields=["key_hash"])
        _record(row, acting, clock, "give a tablet a new link", None, {"name": row.name})
    return Made(row, key)


def retire_tablet(device: Device, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> Device:
    """From its next step on nothing opens on it. What was entered there stays."""
    require(acting, device.department, MANAGE)
    with transaction.atomic():
        row = Device.objects.select_for_update().select_related("department").get(pk=device.pk)
        if row.retired_on is None:
            row.retired_on, row.key_hash = calendar_day_of(row.department, clock.now()), ""
            row.save(update_fields=["retired_on", "key_hash"])
            _record(row, acting, clock, "take a tablet out of use", {}, {"retired_on": row.retired_on.isoformat()})
    return row


def tablet_by_link(pk: int, key: str) -> Device | None:
    """The tablet that a link signs in; None for a link that is spoilt, old or used."""
    row = Device.objects.filter(pk=pk, retired_on__isnull=True).exclude(key_hash="").first()
    return row if row is not None and check_password(key, row.key_hash) else None


def use_link(pk: int, key: str, *, clock: Clock = SYSTEM_CLOCK) -> Device | None:
    """Sign a tablet in: the link is good once."""
    with transaction.atomic():
        Device.objects.select_for_update().filter(pk=pk).first()
        row = tablet_by_link(pk, key)
        if row is not None:
            row.key_hash = ""
            row.save(update_fields=["key_hash"])
            acting = Acting(None, Identity.CLAIMED, row)
            _record(row, acting, clock, "sign a tablet in", None, {"name": row.name})
    return row


# -- PINs --------------------------------------------------------------------------------------------------------------


def set_pin(membership: Membership, pin: str, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> None:
    """One's own PIN, set by who is signed in with a password. Raises Refused for one that is too easily guessed."""
    if acting.user is None or acting.user.pk != membership.user_id or acting.identity != Identity.PASSWORD:
        raise NotAllowed("A PIN is set by the person alone, signed in with the password.")
    if membership.role not in WHO_MAY:
        raise NotAllowed(f"A PIN is for those who enter something; as {membership.get_role_display()} you do not.")
    if not _PIN.fullmatch(pin):
        raise Refused("A PIN has 4 to 6 digits and nothing else.")
    if len(set(pin)) == 1 or any(pin in run for run in _RUNS):
        raise Refused("Digits all alike, or one after the other, are guessed first: choose others.")
    _keep_pin(membership, make_password(pin), acting, clock, "set a PIN")


def clear_pin(membership: Membership, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> None:
    """A chief takes somebody's PIN away; the person sets a new one."""
    require(acting, membership.department, MANAGE)
    _keep_pin(membership, "", acting, clock, "clear a PIN")


def _keep_pin(membership: Membership, pin_hash: str, acting: Acting, clock: Clock, action: str) -> None:
    with transaction.atomic():
        Membership.objects.filter(pk=membership.pk).update(pin_hash=pin_hash, pin_failures=0)
        forget_attempts(f"PIN {membership.pk}")  # they were tries at another PIN
        record_changes(membership.department, acting, clock.now(), [Changed(action, membership, None, None)])


def people_at(device: Device) -> QuerySet[Membership, Membership]:
    """Those who may make an entry at a tablet: the station's people with a PIN."""
    rows = Membership.objects.filter(department=device.department_id, station=device.station_id, to_on__isnull=True)
    with_pin = rows.filter(role__in=WHO_MAY, user__is_active=True).exclude(pin_hash="")
    return with_pin.select_related("user").order_by("user__initials", "user__last_name", "id")


def acting_by_pin(device: Device, membership: int, pin: str, *, clock: Clock = SYSTEM_CLOCK) -> Acting:
    """Who acts, once the PIN is theirs. Raises WrongPin, with how to go on.

    The try is counted before the PIN is looked at, so that many at once cannot slip past the count.
    """
    row = people_at(device).filter(pk=membership).first()
    if row is None:
        raise WrongPin("Choose who you are from the list; who is not on it sets a PIN in their own account first.")
    if row.pin_failures >= LOCKED_AFTER:
        raise WrongPin(f"The PIN of {_name(row)} is locked after {LOCKED_AFTER} wrong ones in a row. {WAY_OUT}")
    who, places = f"PIN {row.pk}", (f"tablet {device.pk}", f"PIN {row.pk} anywhere")
    waits = [until for place in places if (until := note_attempt(who, place, clock=clock))]
    if waits:
        raise WrongPin(_wait(_name(row), max(waits), clock.now(), device.department))
    Membership.objects.filter(pk=row.pk).update(pin_failures=F("pin_failures") + 1)
    if not check_password(pin, row.pin_hash):
        raise WrongPin(f"That is not the PIN of {_name(row)}. Type it again.")
    Membership.objects.filter(pk=row.pk).update(pin_failures=0)
    for place in places:
        forget_attempts(who, place)
    return Acting(row.user, Identity.PIN, device)


def _name(row: Membership) -> str:
    return row.user.get_full_name() or row.user.username


def _wait(name: str, until: datetime, now: datetime, department: Department) -> str:
    minutes = max(1, ceil((until - now) / timedelta(minutes=1)))
    at = (now + timedelta(minutes=minutes)).astimezone(ZoneInfo(department.time_zone))
    said = f"{minutes} {'minute' if minutes == 1 else 'minutes'}, at {at:%H:%M}"
    return f"Too many wrong PINs: {name} can try again in {said}. {WAY_OUT}"
