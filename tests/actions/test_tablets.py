"""A station's shared tablet and the PINs of its people: what they open, and everything that they do not."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import AT_TABLET, MAY, Acting, NotAllowed, require
from readiness.actions.tablets import (
    LOCKED_AFTER,
    WrongPin,
    acting_by_pin,
    clear_pin,
    make_tablet,
    people_at,
    renew_key,
    retire_tablet,
    set_pin,
    tablet_by_link,
    use_link,
)
from readiness.models import Change, Device, Membership, Role
from readiness.models.movements import Identity
from tests.cast import CLOCK, SIX, Cast, StationFactory

pytestmark = pytest.mark.django_db
PIN = "2580"


@pytest.fixture
def tablet(cast: Cast) -> Device:
    Membership.objects.filter(department=cast.department).update(station=cast.station)
    for role in (Role.CREW, Role.CHIEF):
        set_pin(member(cast, role), PIN, acting=cast.acting(role), clock=CLOCK)
    made = make_tablet(cast.department, station=cast.station, name="bay", acting=cast.acting(Role.CHIEF), clock=CLOCK)
    assert use_link(made.device.pk, made.key, clock=CLOCK) == made.device
    return made.device


def member(cast: Cast, role: Role) -> Membership:
    return Membership.objects.select_related("department").get(department=cast.department, user=cast.people[role])


def give(cast: Cast, tablet: Device, pin: str = PIN, role: Role = Role.CREW, after_min: float = 0) -> Acting:
    clock = StoppedClock(SIX + timedelta(minutes=after_min))
    return acting_by_pin(tablet, member(cast, role).pk, pin, clock=clock)


def test_a_link_signs_one_tablet_in_once(cast: Cast, tablet: Device) -> None:
    chief = cast.acting(Role.CHIEF)
    made = renew_key(tablet, acting=chief, clock=CLOCK)
    assert tablet_by_link(tablet.pk, made.key) == tablet
    assert use_link(tablet.pk, "another", clock=CLOCK) is None
    assert use_link(tablet.pk, made.key, clock=CLOCK) == tablet
    assert use_link(tablet.pk, made.key, clock=CLOCK) is None
    assert made.key not in Device.objects.get().key_hash
    last = renew_key(tablet, acting=chief, clock=CLOCK)
    retire_tablet(tablet, acting=chief, clock=CLOCK)
    assert use_link(tablet.pk, last.key, clock=CLOCK) is None
    with pytest.raises(Refused, match="out of use"):
        renew_key(tablet, acting=chief, clock=CLOCK)


def test_a_name_is_given_once(cast: Cast, tablet: Device) -> None:
    with pytest.raises(Refused, match="has that name already"):
        make_tablet(cast.department, station=cast.station, name="BAY", acting=cast.acting(Role.CHIEF), clock=CLOCK)


def test_a_pin_gives_the_person_and_a_crews_rights_only(cast: Cast, tablet: Device) -> None:
    acting = give(cast, tablet, role=Role.CHIEF)
    assert acting == Acting(cast.people[Role.CHIEF], Identity.PIN, tablet)
    granted = set()
    for action in MAY:
        try:
            require(acting, cast.department, action)
        except NotAllowed:
            continue
        granted.add(action)
    assert granted == AT_TABLET == {"check", "use", "pour", "open", "flush", "raise a deficiency", "hand over"}


def test_only_the_stations_people_with_a_pin_are_offered(cast: Cast, tablet: Device) -> None:
    assert {row.user for row in people_at(tablet)} == {cast.people[Role.CREW], cast.people[Role.CHIEF]}
    Membership.objects.filter(user=cast.people[Role.CREW]).update(station=StationFactory(department=cast.department))
    with pytest.raises(WrongPin, match="Choose who you are"):
        give(cast, tablet)
    Membership.objects.filter(user=cast.people[Role.CREW]).update(station=cast.station, to_on=SIX.date())
    with pytest.raises(WrongPin, match="Choose who you are"):
        give(cast, tablet)


def test_wrong_ones_are_throttled_and_ten_in_a_row_lock(cast: Cast, tablet: Device) -> None:
    for _ in range(5):
        with pytest.raises(WrongPin, match="That is not the PIN of"):
            give(cast, tablet, "9999")
    # The clock of the tests stands at 06:00 (tests/cast.py), and 15 minutes later it is 06:15.
    with pytest.raises(WrongPin, match=r"Too many wrong PINs: .+ can try again in 15 minutes, at 06:15\. At once:"):
        give(cast, tablet)
    other = make_tablet(cast.department, station=cast.station, name="2", acting=cast.acting(Role.CHIEF), clock=CLOCK)
    with pytest.raises(WrongPin, match="Too many wrong PINs"):
        give(cast, other.device)
    assert give(cast, tablet, role=Role.CHIEF).user == cast.people[Role.CHIEF], "another person is not kept waiting"
    for n in range(5):
        with pytest.raises(WrongPin, match="That is not the PIN of"):
            give(cast, tablet, "9999", after_min=16 + n)
    with pytest.raises(WrongPin, match=f"locked after {LOCKED_AFTER} wrong ones in a row. At once: on another device"):
        give(cast, tablet, after_min=60)
    set_pin(member(cast, Role.CREW), "1739", acting=cast.acting(Role.CREW), clock=CLOCK)
    assert give(cast, tablet, "1739", after_min=61).user == cast.people[Role.CREW]


def test_a_new_pin_counts_right_away(cast: Cast, tablet: Device) -> None:
    for _ in range(5):
        with pytest.raises(WrongPin, match="That is not the PIN of"):
            give(cast, tablet, "9999")
    with pytest.raises(WrongPin, match="Too many wrong PINs"):
        give(cast, tablet)
    set_pin(member(cast, Role.CREW), "1739", acting=cast.acting(Role.CREW), clock=CLOCK)
    assert give(cast, tablet, "1739").user == cast.people[Role.CREW]


def test_a_right_one_wipes_the_wrong_ones(cast: Cast, tablet: Device) -> None:
    for _ in range(4):
        for _ in range(4):
            with pytest.raises(WrongPin):
                give(cast, tablet, "9999")
        give(cast, tablet)
    assert member(cast, Role.CREW).pin_failures == 0


@pytest.mark.parametrize("pin", ["", "123", "1234567", "12a4", "٢٥٨٠", "0000", "1234", "87654", " 2580"])
def test_a_pin_that_is_none_or_is_guessed_first(cast: Cast, pin: str) -> None:
    with pytest.raises(Refused, match=r"4 to 6 digits|guessed first"):
        set_pin(member(cast, Role.CREW), pin, acting=cast.acting(Role.CREW), clock=CLOCK)
    assert member(cast, Role.CREW).pin_hash == ""


def test_a_pin_is_ones_own_and_needs_the_password(cast: Cast, tablet: Device) -> None:
    mine = member(cast, Role.CREW)
    for acting in (cast.acting(Role.CHIEF), cast.acting(Role.CREW)._replace(identity=Identity.PIN)):
        with pytest.raises(NotAllowed):
            set_pin(mine, "1739", acting=acting, clock=CLOCK)
    with pytest.raises(NotAllowed):
        set_pin(member(cast, Role.OBSERVER), "1739", acting=cast.acting(Role.OBSERVER), clock=CLOCK)
    give(cast, tablet)
    clear_pin(mine, acting=cast.acting(Role.CHIEF), clock=CLOCK)
    with pytest.raises(WrongPin):
        give(cast, tablet)


def test_no_pin_stands_anywhere_in_clear(cast: Cast, tablet: Device) -> None:
    assert PIN not in member(cast, Role.CREW).pin_hash
    kept = Change.objects.filter(action__contains="PIN").values_list("old", "new")
    assert set(kept) == {(None, None)}
