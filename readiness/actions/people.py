"""People of a department: invited, given a role, ended; their passwords; and how often a sign-in may fail.

A person's memberships are never deleted: history outlives the person.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from smtplib import SMTPException
from typing import Final, NamedTuple

from django.conf import settings
from django.core import signing
from django.core.mail import send_mail
from django.db import transaction
from django.utils.crypto import constant_time_compare, salted_hmac

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting, require
from readiness.models import Department, Membership, Role, SignInAttempt, Station, User
from readiness.models.movements import Identity

MANAGE: Final = "manage people"
INVITATION_DAYS: Final = 14
_SALT: Final = "readiness.invitation"
_EMAIL: Final = re.compile(r"[^@\s]+@[^@\s.]+(\.[^@\s.]+)+|[^@\s]+@localhost")

WINDOW: Final = timedelta(minutes=15)
MOST_OF_ONE: Final = 5  # failures of one name from one address
MOST_OF_ADDRESS: Final = 60  # failures from one address, whatever the names: a station shares one


class Newcomer(NamedTuple):
    """Who is invited, and as what."""

    email: str
    first_name: str
    last_name: str
    role: Role
    station: Station | None = None


class Invited(NamedTuple):
    """What became of an invitation. `link` is filled where the chief has to hand it over: no mail went out."""

    membership: Membership
    mailed: bool
    link: str


# Invitations and memberships


def invite(
    department: Department,
    acting: Acting,
    newcomer: Newcomer,
    *,
    link_of: Callable[[str], str],
    clock: Clock = SYSTEM_CLOCK,
) -> Invited:
    """Make a person a member and send a link, good once, by which they set their password.

    link_of makes an address of a token. Somebody who has a sign-in already is told by mail and uses the one they have.
    Raises Refused (a sentence) and NotAllowed.
    """
    require(acting, department, MANAGE)
    email = newcomer.email.strip().lower()
    if not _EMAIL.fullmatch(email):
        raise Refused(f"“{newcomer.email}” was read: an e-mail address looks like name@county.example.")
    if newcomer.station is not None and newcomer.station.department_id != department.pk:
        raise Refused(f"There is no such station in {department}: choose one of its own.")
    with transaction.atomic():
        user, is_new = _person(email, newcomer)
        membership = _make_member(department, user, newcomer, acting, clock)
    link = "" if user.has_usable_password() else link_of(invitation_token(user))
    mailed = _send(user, *_invitation_mail(department, link))
    return Invited(membership, mailed, link if is_new and not mailed else "")


def _person(email: str, newcomer: Newcomer) -> tuple[User, bool]:
    found = User.objects.filter(username=email).first()
    if found:
        return found, False
    user = User(username=email, email=email, first_name=newcomer.first_name, last_name=newcomer.last_name)
    user.initials = "".join(name[:1] for name in (newcomer.first_name, newcomer.last_name)).upper()
    user.set_unusable_password()
    user.save()
    return user, True


def _make_member(department: Department, user: User, newcomer: Newcomer, acting: Acting, clock: Clock) -> Membership:
    today = calendar_day_of(department, clock.now())
    row = Membership.objects.select_for_update().filter(user=user, department=department).first()
    if row and row.to_on is None:
        raise Refused(f"“{newcomer.email}” was read, who is a member already, as {row.get_role_display()}.")
    old = _facts(row) if row else None
    row = row or Membership(user=user, department=department)
    row.role, row.station, row.from_on, row.to_on = newcomer.role, newcomer.station, today, None
    row.save()
    record_changes(department, acting, clock.now(), [Changed("invite", row, old, _facts(row))])
    return row


def change_role(membership: Membership, acting: Acting, role: Role, *, clock: Clock = SYSTEM_CLOCK) -> Membership:
    """Give a member another role. Raises Refused where the department would be left without a chief."""
    with transaction.atomic():
        row = _of_today(membership, acting)
        if role != Role.CHIEF:
            _keep_a_chief(row)
        old = _facts(row)
        row.role = role
        row.save(update_fields=["role"])
        record_changes(row.department, acting, clock.now(), [Changed("change role", row, old, _facts(row))])
    return row


def end_membership(membership: Membership, acting: Acting, *, clock: Clock = SYSTEM_CLOCK) -> Membership:
    """End a membership as of today: the person's next step is refused. Raises Refused where no chief would be left."""
    with transaction.atomic():
        row = _of_today(membership, acting)
        _keep_a_chief(row)
        old = _facts(row)
        row.to_on = max(calendar_day_of(row.department, clock.now()), row.from_on)
        row.save(update_fields=["to_on"])
        record_changes(row.department, acting, clock.now(), [Changed("end membership", row, old, _facts(row))])
    return row


def _of_today(membership: Membership, acting: Acting) -> Membership:
    """The membership under lock, with all of its department's: two chiefs may not demote each other at once."""
    require(acting, membership.department, MANAGE)
    rows = Membership.objects.select_for_update().filter(department=membership.department_id).order_by("id")
    row = next((each for each in rows if each.pk == membership.pk), None)
    if row is None or row.to_on is not None:
        raise Refused(f"{membership.user} was a member and is none any more.")
    return row


def _keep_a_chief(row: Membership) -> None:
    others = Membership.objects.filter(department=row.department_id, role=Role.CHIEF, to_on__isnull=True)
    if row.role == Role.CHIEF and not others.exclude(pk=row.pk).exists():
        raise Refused(f"{row.user} is the only chief of {row.department}: make somebody else chief first.")


def _facts(row: Membership) -> dict[str, object]:
    return {
        "user": row.user_id,
        "role": str(row.role),
        "station": row.station_id,
        "from_on": row.from_on.isoformat(),
        "to_on": row.to_on.isoformat() if row.to_on else None,
    }


# The link in the invitation


def invitation_token(user: User) -> str:
    """A token that is good once and for two weeks: it dies with the password that it was made under."""
    return signing.dumps({"user": user.pk, "seal": _seal(user)}, salt=_SALT)


def invited_by(token: str) -> User | None:
    """Whom the token lets set a password; None when it is spoilt, old or used, or the membership has ended."""
    try:
        read = signing.loads(token, salt=_SALT, max_age=timedelta(days=INVITATION_DAYS))
        user = User.objects.filter(pk=read["user"], is_active=True).first()
    except (signing.BadSignature, KeyError, TypeError):
        return None
    if user is None or not constant_time_compare(read["seal"], _seal(user)):
        return None
    return user if user.memberships.filter(to_on__isnull=True).exists() else None


def _seal(user: User) -> str:
    """Changes with the password, and with the memberships: a link that one chief holds opens no second department."""
    memberships = sorted(user.memberships.filter(to_on__isnull=True).values_list("pk", flat=True))
    return salted_hmac(_SALT, f"{user.password} {memberships}", algorithm="sha256").hexdigest()


def _invitation_mail(department: Department, link: str) -> tuple[str, str]:
    then = (
        f"Set your password here, once, within {INVITATION_DAYS} days:\n{link}"
        if link
        else "You have a sign-in already: use the one you have."
    )
    body = (
        f"{department} has made you a member in Foam Readiness.\n\n{then}\n\n"
        "If you do not know this department, leave this mail alone."
    )
    return f"{department}: your sign-in", body


def _send(user: User, subject: str, body: str) -> bool:
    """Mail after what happened is saved; a mail that fails undoes nothing. Says whether it went out."""
    try:
        send_mail(" ".join(subject.split()), body, None, [user.email])
    except (OSError, SMTPException):
        return False
    return bool(settings.MAIL_IS_SENT)


# Passwords


def set_password(user: User, password: str, *, because: str, clock: Clock = SYSTEM_CLOCK) -> None:
    """Set a person's password and keep that it was set: not the password, not the old one."""
    with transaction.atomic():
        user.set_password(password)
        user.save(update_fields=["password"])
        acting = Acting(user, Identity.PASSWORD)
        record_changes(None, acting, clock.now(), [Changed(because, user, None, None)])


# How often a sign-in may fail


def note_attempt(name: str, address: str, *, clock: Clock = SYSTEM_CLOCK) -> datetime | None:
    """Count a try before the password is looked at; the moment when the next is let through, or None to go on.

    Counted first and looked at afterwards, so that many tries at once cannot slip past the count. A try that is
    refused is not counted: who waits is let in.
    """
    now = clock.now()
    since = now - WINDOW
    SignInAttempt.objects.filter(at__lt=since).delete()
    mine = SignInAttempt.objects.create(who=_who(name), address=address[:45], at=now)
    earlier = SignInAttempt.objects.filter(address=mine.address, at__gte=since, pk__lt=mine.pk)
    for rows, most in ((earlier.filter(who=mine.who), MOST_OF_ONE), (earlier, MOST_OF_ADDRESS)):
        first_that_counts = rows.order_by("-pk")[most - 1 : most].first()
        if first_that_counts:
            mine.delete()
            return first_that_counts.at + WINDOW
    return None


def forget_attempts(name: str, address: str | None = None) -> None:
    """A sign-in that succeeded wipes the failures of that name from that address; a new secret those from anywhere."""
    of = {} if address is None else {"address": address[:45]}
    SignInAttempt.objects.filter(who=_who(name), **of).delete()


def _who(name: str) -> str:
    return salted_hmac("readiness.attempt", name.strip().lower(), algorithm="sha256").hexdigest()
