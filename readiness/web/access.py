"""The one way to a record: who is here, in which department, and what of it they may see.

Another department's record does not exist (404). What may be seen and not changed is refused by the action
(`NotAllowed`), which becomes a 403.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from functools import wraps
from typing import Any, Concatenate, NamedTuple, ParamSpec, TypeVar, cast

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase

from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of, day_of
from readiness.actions.permissions import MAY, Acting, NotAllowed, require
from readiness.models import Department, Membership, Role, User
from readiness.models.movements import Identity
from readiness.web.preferences import Units, chosen_units

CHOSEN = "department"  # the session's name for the department chosen by who belongs to several
CLOCK: Clock = SYSTEM_CLOCK

P = ParamSpec("P")
M = TypeVar("M", bound=Model)
Page = Callable[Concatenate[HttpRequest, "Here", P], HttpResponseBase]
Routed = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


class NoDepartment(Exception):
    """Somebody is signed in who belongs to no department, or no longer."""


class Here(NamedTuple):
    """Who is signed in, where, as what, and when."""

    user: User
    membership: Membership
    memberships: tuple[Membership, ...]
    department: Department
    role: Role
    acting: Acting
    units: Units
    now: datetime
    day: date  # the department's day: begins at the shift change
    today: date  # the date on the wall calendar, as people write it on a pail

    def may(self, action: str) -> bool:
        """Whether the role may do `action` (a name in MAY)."""
        return self.role in MAY[action]


def here(request: HttpRequest) -> Here:
    """The signed-in person in their department, read once a request. Raises NotAllowed or NoDepartment."""
    known = getattr(request, "_here", None)
    if known is None:
        known = request._here = _read(request)  # type: ignore[attr-defined] # kept for the rest of the request
    return cast(Here, known)


def here_or_none(request: HttpRequest) -> Here | None:
    """The same, or None for a stranger."""
    try:
        return here(request)
    except (NotAllowed, NoDepartment):
        return None


def memberships_of(user: User) -> tuple[Membership, ...]:
    """The person's memberships of today, in departments that are not closed."""
    rows = Membership.objects.filter(user=user, to_on__isnull=True, department__closed_on__isnull=True)
    return tuple(rows.select_related("department", "station").order_by("department__name"))


def _read(request: HttpRequest) -> Here:
    user = request.user
    if not isinstance(user, User):
        raise NotAllowed("Nobody is signed in: sign in first.")
    found = memberships_of(user)
    if not found:
        raise NoDepartment
    chosen = request.session.get(CHOSEN)
    membership = next((each for each in found if each.department_id == chosen), found[0])
    department, now = membership.department, CLOCK.now()
    return Here(
        user=user,
        membership=membership,
        memberships=found,
        department=department,
        role=Role(membership.role),
        acting=Acting(user, Identity.PASSWORD),
        units=chosen_units(request, department),
        now=now,
        day=day_of(department, now),
        today=calendar_day_of(department, now),
    )


def rows(source: type[M] | QuerySet[M], here: Here, by: str = "department") -> QuerySet[M]:
    """The department's rows. by: the way to the department where the table has no column for it."""
    every = source if isinstance(source, QuerySet) else source._default_manager.all()
    return every.filter(**{by: here.department})


def get(source: type[M] | QuerySet[M], here: Here, by: str = "department", **lookup: Any) -> M:
    """One of the department's rows; raises Http404 where there is none, whoever else may have it."""
    try:
        return rows(source, here, by).get(**lookup)
    except (ObjectDoesNotExist, ValueError, ValidationError, OverflowError) as missing:  # some can be no id at all
        raise Http404 from missing


def signed_in(page: Page[P]) -> Routed[P]:
    """A view for anybody of the department; it is given `here` after the request."""

    @wraps(page)
    def view(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        return page(request, here(request), *args, **kwargs)

    return cast(Routed[P], view)


def may(action: str) -> Callable[[Page[P]], Routed[P]]:
    """A view for those whose role may do `action` (a name in MAY); others get a 403 before they fill in a form."""
    MAY[action]  # a name that is not there fails when the module is read, not on the bay floor

    def decorate(page: Page[P]) -> Routed[P]:
        @wraps(page)
        def view(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            present = here(request)
            require(present.acting, present.department, action)
            return page(request, present, *args, **kwargs)

        return cast(Routed[P], view)

    return decorate
