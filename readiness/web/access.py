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
from django.db.models import Model, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase

from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of, day_of
from readiness.actions.permissions import AT_TABLET, MAY, Acting, NotAllowed, require
from readiness.models import (
    Assignment,
    Container,
    Department,
    Device,
    FoamLine,
    Membership,
    Role,
    Station,
    Unit,
    User,
    Vehicle,
)
from readiness.models.movements import Identity
from readiness.web.preferences import Units, chosen_units
from readiness.web.queued import Queued, queued_of

CHOSEN = "department"  # the session's name for the department chosen by who belongs to several
TABLET = "tablet"  # the session's name for the station's tablet that it is of
AT_HAND = "at_hand"  # the session's name for who gave their PIN for which entry
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
    queued: Queued | None = None  # the entry of a device's queue that is being answered
    tablet: Device | None = None  # the station's shared tablet that is signed in, in place of a person

    @property
    def whose(self) -> str:
        """The sign-in, as a device keeps it beside what it keeps: department and person."""
        who = f"tablet-{self.tablet.pk}" if self.tablet else self.user.pk
        return f"{self.department.pk}-{who}"

    @property
    def said_name(self) -> str:
        """Who is signed in, as people say it."""
        return str(self.tablet) if self.tablet else self.user.get_full_name() or self.user.username

    def may(self, action: str) -> bool:
        """Whether the role may do `action` (a name in MAY), here."""
        return self.role in MAY[action] and (self.tablet is None or action in AT_TABLET)


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


def tablet_of(request: HttpRequest) -> Device | None:
    """The station's shared tablet that this session is of, read once a request; None once it is out of use."""
    pk = request.session.get(TABLET) if hasattr(request, "session") else None
    if pk is None or request.user.is_authenticated:
        return None
    if not hasattr(request, "_tablet"):
        found = Device.objects.filter(pk=pk, retired_on__isnull=True, department__closed_on__isnull=True)
        request._tablet = found.select_related("department", "station").first()  # type: ignore[attr-defined]
    return cast("Device | None", request._tablet)  # type: ignore[attr-defined]


def act_as(request: HttpRequest, acting: Acting) -> None:
    """From here on the request is of the person who gave their PIN at the tablet."""
    request._at_tablet = acting  # type: ignore[attr-defined]
    if hasattr(request, "_here"):
        del request._here


def _at_tablet(request: HttpRequest, tablet: Device) -> Here:
    """A tablet with whoever makes the entry; with nobody while it only shows."""
    acting: Acting = getattr(request, "_at_tablet", None) or Acting(None, Identity.CLAIMED, tablet)
    department, now = tablet.department, CLOCK.now()
    user = acting.user or User(first_name=tablet.name)
    shown = Membership(user=user, department=department, role=Role.CREW, station=tablet.station)
    return Here(
        user=user,
        membership=shown,
        memberships=(shown,),
        department=department,
        role=Role.CREW,
        acting=acting,
        units=chosen_units(request, department),
        now=now,
        day=day_of(department, now),
        today=calendar_day_of(department, now),
        queued=queued_of(request),
        tablet=tablet,
    )


def _read(request: HttpRequest) -> Here:
    tablet = tablet_of(request)
    if tablet is not None:
        return _at_tablet(request, tablet)
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
        queued=queued_of(request),
    )


def rows(source: type[M] | QuerySet[M], here: Here, by: str = "department") -> QuerySet[M]:
    """The department's rows. by: the way to the department where the table has no column for it."""
    every = source if isinstance(source, QuerySet) else source._default_manager.all()
    found = every.filter(**{by: here.department})
    return found.filter(_of_station(found.model, here.tablet)) if here.tablet else found


def _of_station(model: type[Model], tablet: Device) -> Q:
    """What a station's shared tablet sees of a table: its own station's units and what they have aboard."""
    station = tablet.station_id
    runs = Assignment.objects.filter(to_at__isnull=True, unit__station=station).values("vehicle")
    vehicles = Vehicle.objects.filter(Q(station=station) | Q(pk__in=runs)).values("pk")
    aboard = Q(place__unit__station=station) | Q(place__vehicle__in=vehicles)
    known: dict[type[Model], Q] = {
        Station: Q(pk=station),
        Unit: Q(station=station),
        Vehicle: Q(pk__in=vehicles),
        FoamLine: Q(unit__station=station) | Q(vehicle__in=vehicles),
        Container: aboard | Q(place__station=station),
    }
    return known.get(model, Q())


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


def _show_only(present: Here, action: str) -> None:
    """A tablet draws a form before anybody says who they are; what is posted to it is somebody's."""
    if not present.may(action):
        raise NotAllowed("This is not done at a station’s shared tablet: sign in as yourself on another device.")


def may(action: str) -> Callable[[Page[P]], Routed[P]]:
    """A view for those whose role may do `action` (a name in MAY); others get a 403 before they fill in a form."""
    MAY[action]  # a name that is not there fails when the module is read, not on the bay floor

    def decorate(page: Page[P]) -> Routed[P]:
        @wraps(page)
        def view(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            present = here(request)
            if present.tablet and present.acting.user is None:
                _show_only(present, action)
            else:
                require(present.acting, present.department, action)
            return page(request, present, *args, **kwargs)

        return cast(Routed[P], view)

    return decorate
