"""What a phone sends is posted once, held with a reason, or refused with a sentence."""

from __future__ import annotations

import uuid

import pytest

from readiness.actions import movements
from readiness.actions.drafts import Refused
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER, NotAllowed
from readiness.actions.submissions import KINDS, BadBody, Sent, settle, submit
from readiness.models import Change, Container, Movement, Role, Submission
from readiness.reports.recounts import recount
from tests.cast import CLOCK, PAIL_ML, SIX, Cast

pytestmark = pytest.mark.django_db

USE = {"container": "P1", "volume": "1 L", "account": "incident"}


@pytest.fixture
def pail(cast: Cast) -> Container:
    made = cast.pail(code="P1")
    movements.receive(Entry(cast.department, OWNER, CLOCK), container=made, lot=cast.lot, ml=PAIL_ML, place=cast.store)
    return made


def send(cast: Cast, kind: str, body: dict, client_id: uuid.UUID | None = None, role: Role = Role.CHIEF) -> Submission:
    sent = Sent(client_id or uuid.uuid4(), kind, body, SIX)
    return submit(cast.department, sent, acting=cast.acting(role), clock=CLOCK)


def contents(code: str = "P1") -> int:
    assert recount().differences == ()
    return Container.objects.get(code=code).contents_ml


def test_a_second_tap_posts_once(cast: Cast, pail: Container) -> None:
    once = uuid.uuid4()
    first, second = send(cast, "use", USE, once), send(cast, "use", USE, once)
    assert first == second
    assert (first.outcome, first.movement_id) == ("posted", once)
    assert contents() == PAIL_ML - 1_000
    assert Submission.objects.count() == 1


def test_the_same_id_with_another_body_is_kept_and_shown(cast: Cast, pail: Container) -> None:
    once = uuid.uuid4()
    send(cast, "use", USE, once)
    other = send(cast, "use", {**USE, "volume": "2 L"}, once)
    assert (other.outcome, other.movement) == ("held", None)
    assert "came before with another content" in other.why
    assert contents() == PAIL_ML - 1_000
    assert send(cast, "use", {**USE, "volume": "2 L"}, once) == other


def test_what_does_not_fit_the_book_is_held_whole_and_settled(cast: Cast, pail: Container) -> None:
    held = send(cast, "use", {**USE, "volume": "6 gal"})
    assert held.outcome == "held"
    assert held.why.startswith("6.00 gal was read, but P1 holds 5.00 gal by the book")
    assert held.body["volume"] == "6 gal"
    assert contents() == PAIL_ML
    with pytest.raises(NotAllowed):
        settle(held, acting=cast.acting(Role.CREW), clock=CLOCK)
    assert settle(held, acting=cast.acting(Role.OFFICER), clock=CLOCK).outcome == "held"
    closed = settle(held, acting=cast.acting(Role.OFFICER), close_because="typed for P2, entered there", clock=CLOCK)
    assert (closed.outcome, closed.settled_by) == ("closed", cast.people[Role.OFFICER])
    assert Change.objects.filter(action="settle").count() == 2
    with pytest.raises(Refused, match="closed already"):
        settle(held, acting=cast.acting(Role.OFFICER), clock=CLOCK)


def test_a_held_entry_posts_once_the_book_is_put_right(cast: Cast, pail: Container) -> None:
    tank = cast.tank(code="T1")
    held = send(cast, "use", {**USE, "container": "T1"})
    assert held.outcome == "held"
    movements.receive(Entry(cast.department, OWNER, CLOCK), container=tank, lot=cast.lot, ml=5_000, place=cast.store)
    posted = settle(held, acting=cast.acting(Role.OFFICER), clock=CLOCK)
    assert (posted.outcome, posted.movement_id) == ("posted", held.client_id)
    assert contents("T1") == 4_000


@pytest.mark.parametrize(
    ("kind", "change", "sentence"),
    [
        ("use", {"container": "P7"}, r"container: 'P7' was read; no container has that label code"),
        ("use", {"volume": "1"}, r"volume: .*1"),
        ("use", {"volume": "-1 L"}, r"volume: .*-1"),
        ("use", {"volume": 5}, r"volume: 5 was read; a text is needed"),
        ("use", {"account": "holiday"}, r"account: 'holiday' was read; write one of incident, drill"),
        ("use", {"happened_at": "yesterday"}, r"happened_at: 'yesterday' was read; write a date and time"),
        ("use", {"happened_at": "2026-06-15T06:00"}, r"with its zone"),
        ("steal", {}, r"kind: 'steal' was read; write one of receive"),
        ("pour", {"source": "P1", "target": "P1", "override": "yes"}, r"override: 'yes' was read; true or false"),
        ("move", {"station": "Quayside", "unit": "Engine 1"}, r"name one of station, unit, vehicle"),
        ("move", {"station": "Nowhere"}, r"Nowhere  was read; there is no such place"),
        ("receive", {"lot": "AR-9"}, r"lot: 'AR-9' was read; no lot has that number"),
        ("correct", {"movement": "x"}, r"movement: 'x' was read; no movement has that id"),
    ],
)
def test_what_cannot_be_read_is_refused_and_not_kept(
    cast: Cast, pail: Container, kind: str, change: dict, sentence: str
) -> None:
    with pytest.raises(BadBody, match=sentence):
        send(cast, kind, {**USE, **change})
    assert Submission.objects.count() == 0
    assert contents() == PAIL_ML


def test_what_a_role_may_not_do_is_refused_and_not_kept(cast: Cast, pail: Container) -> None:
    with pytest.raises(NotAllowed):
        send(cast, "receive", {"container": "P1", "lot": "AR-1", "volume": "1 L"}, role=Role.CREW)
    assert Submission.objects.count() == 0


def test_every_kind_goes_through(cast: Cast, pail: Container) -> None:
    tank = cast.tank(code="T1")
    movements.receive(Entry(cast.department, OWNER, CLOCK), container=tank, lot=cast.lot, ml=10, place=cast.store)
    why = {"container": "T1", "reason": "a reason"}
    bodies = [
        ("receive", {"container": "T1", "lot": "AR-1", "concentrate": "demo ar-afff 3x6", "volume": "10 L"}),
        ("pour", {"source": "P1", "target": "T1", "volume": "1 gal"}),
        ("use", {"container": "T1", "volume": "1 L", "account": "incident", "incident": "26-7"}),
        ("move", {"container": "P1", "unit": "Engine 1", "compartment": "L3"}),
        ("quarantine", why),
        ("release", why),
        ("mark diluted", why),
        ("mark mixed", why),
        ("empty", {"container": "T1"}),
        ("flush", {"container": "T1"}),
        ("inspect", {"container": "T1"}),
    ]
    outcomes = [(kind, send(cast, kind, body).outcome) for kind, body in bodies]
    assert outcomes == [(kind, "posted") for kind, _ in bodies]
    used = Movement.objects.get(incident="26-7")
    assert send(cast, "correct", {"movement": str(used.pk), "reason": "twice"}).outcome == "held"  # emptied since
    assert send(cast, "open", {"container": "P1"}).why == "P1 is open already."
    assert {kind for kind, _ in bodies} | {"correct", "open"} == set(KINDS)
    assert contents("T1") == 0
