"""The refill guard: yes, no and why, where the right stock is, an override, and an order when there is none."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from readiness.actions import movements
from readiness.actions.drafts import MarkAs
from readiness.actions.labels import print_labels
from readiness.actions.lots import recall
from readiness.actions.permissions import OWNER
from readiness.models import Container, Deficiency, Movement, Place, RaisedDeficiency, Role, Unit
from readiness.models.movements import Mark, MovementKind
from tests.cast import CLOCK, D0, PAIL_ML, Cast, LotFactory, StationFactory
from tests.judged import Rigged
from tests.web.entering import book, fields, gallons, words

TANK_ML = 100_000


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    """Engine 1 with two pails and a tank of 113,562 mL (30 gal) in which there are 100,000 mL."""
    made = Rigged(cast, pails=2)
    made.tank("T1", ml=TANK_ML)
    return made


def in_store(rig: Rigged, code: str, lot: Any = None, place: Any = None) -> Container:
    made = rig.cast.pail(code=code)
    movements.receive(rig.entry(), container=made, lot=lot or rig.cast.lot, ml=PAIL_ML, place=place or rig.cast.store)
    draft = rig.entry().draft(MovementKind.MARKED)
    rig.entry().post(draft._replace(marks=(MarkAs(made.pk, Mark.SEALED, "yes"),)))
    made.refresh_from_db()
    return made


def at(rig: Rigged) -> str:
    return reverse("refill", query={"unit": rig.unit.pk})


def ask(client: Any, rig: Rigged, source: str, into: str = "", **more: Any) -> Any:
    tank = Container.objects.get(code="T1")
    form = fields(source=source, into=into or f"container-{tank.pk}", **more)
    return client.post(at(rig), form), form


def sure(client: Any, rig: Rigged, form: dict[str, Any]) -> Any:
    return client.post(at(rig), {**form, "confirm": "yes"}, follow=True)


def test_yes_says_what_it_does_and_pours_it(rig, as_role):
    in_store(rig, "S1")
    crew = as_role(Role.CREW)
    answer, form = ask(crew, rig, "s1", **gallons("2"))
    page = words(answer)
    assert "Refill: yes" in page
    # 100,000 mL are 26.4 gal and 2 gal more 28.4 (26.417 + 2)
    assert "26.4 gal → 28.4 gal" in page
    done = sure(crew, rig, form)
    assert done.redirect_chain[-1][0] == reverse("crew_unit", args=[rig.unit.pk])
    assert book(Container.objects.get(code="T1")) == {"AR-1": TANK_ML + 7_571}  # 2 gal = 7,570.8 mL
    assert sure(crew, rig, form).status_code == 200
    assert Movement.objects.filter(kind=MovementKind.POURED).count() == 1, "a second tap pours nothing"


def test_left_empty_it_pours_what_goes_in(rig, as_role):
    in_store(rig, "S1")
    crew = as_role(Role.CREW)
    _, form = ask(crew, rig, "S1")
    sure(crew, rig, form)
    # 113,562 − 100,000 = 13,562 mL go in; 18,927 − 13,562 = 5,365 stay in the pail
    assert book(Container.objects.get(code="T1")) == {"AR-1": 113_562}
    assert book(Container.objects.get(code="S1")) == {"AR-1": 5_365}


def wrong_foam(rig: Rigged) -> None:
    in_store(rig, "S1", rig.cast.class_a_lot)


def recalled(rig: Rigged) -> None:
    in_store(rig, "S1", rig.cast.other_lot)
    recall(rig.department, lot=rig.cast.other_lot, recalled_on=D0, reference="notice 7", acting=OWNER, clock=CLOCK)


def expired(rig: Rigged) -> None:
    old = LotFactory(concentrate=rig.cast.ar, batch="OLD", makers_date=D0 - timedelta(days=1))
    in_store(rig, "S1", old)


def mixed_tank(rig: Rigged) -> None:
    in_store(rig, "S1")
    movements.mark_mixed(rig.entry(reason="rain"), container=Container.objects.get(code="T1"))


def unflushed_tank(rig: Rigged) -> None:
    in_store(rig, "S1", rig.cast.class_a_lot)
    movements.empty(rig.entry(), container=Container.objects.get(code="T1"))


def quarantined(rig: Rigged) -> None:
    movements.quarantine(rig.entry(reason="no label"), container=in_store(rig, "S1"))


def empty_pail(rig: Rigged) -> None:
    movements.empty(rig.entry(), container=in_store(rig, "S1"))


def full_tank(rig: Rigged) -> None:
    in_store(rig, "S1")
    tank = Container.objects.get(code="T1")
    movements.receive(rig.entry(), container=tank, lot=rig.cast.lot, ml=13_562)


@pytest.mark.parametrize(
    ("ready", "why", "overridable"),
    [
        (wrong_foam, "Wrong concentrate: T1 holds Demo AR-AFFF 3x6 (3 %); S1 holds Demo Class A. Another class", True),
        (recalled, "S1 holds a recalled lot", True),
        (expired, "S1 is past its date (2026-06-14)", True),
        (mixed_tank, "T1 is mixed: empty, flush and inspect it", True),
        (unflushed_tank, "T1 held, and has not been flushed and inspected since, Demo AR-AFFF 3x6", True),
        (quarantined, "S1 is quarantined: an officer releases it first", False),
        (empty_pail, "S1 is empty by the book", False),
        (full_tank, "T1 is full by the book: 30.00 gal", False),
    ],
)
def test_no_says_why_and_nothing_is_poured(rig, as_role, ready, why, overridable):
    ready(rig)
    before = Movement.objects.count()
    for role in (Role.CREW, Role.OFFICER):
        client = as_role(role)
        answer, form = ask(client, rig, "S1")
        page = words(answer)
        assert "No: do not pour it" in page
        assert 'name="q" id="search" value=""' in answer.content.decode(), "nothing was searched for"
        assert why in page
        assert ("Override it as an officer" in page) == (overridable and role is Role.OFFICER)
        assert "Refill: yes" not in words(sure(client, rig, form)), "confirming at once is refused as well"
    assert Movement.objects.count() == before


@pytest.mark.parametrize("volume", ["4", "40"])
def test_more_than_goes_in_or_is_there_is_refused(rig, as_role, volume):
    in_store(rig, "S1")
    page = words(ask(as_role(Role.CREW), rig, "S1", **gallons(volume))[0])
    # 113,562 − 100,000 = 13,562 mL = 3.58 gal
    assert f"{volume}.00 gal does not go into T1: 3.58 gal more is all it takes." in page


def test_where_the_right_stock_is_ones_own_station_first(rig, as_role):
    wrong_foam(rig)
    other = StationFactory(department=rig.department, name="Hilltop")
    far = Place.objects.create(department=rig.department, station=other)
    for n in range(3):
        in_store(rig, f"H{n}", place=far)
    in_store(rig, "Q1")
    expired_lot = LotFactory(concentrate=rig.cast.ar, batch="OLD", makers_date=D0 - timedelta(days=1))
    in_store(rig, "Q2", expired_lot)
    page = words(ask(as_role(Role.CREW), rig, "S1")[0])
    near = page[page.index("Where the right stock is") :]
    assert near.index("Quayside store own station") < near.index("Hilltop store")
    assert "take Q1 first" in near
    assert "take H0, H1, H2 first" in near
    assert "Q2" not in near, "what is past its date does not help"


def test_an_officer_overrides_with_a_reason_and_the_tank_is_mixed_until_it_is_clean(rig, as_role):
    wrong_foam(rig)
    officer = as_role(Role.OFFICER)
    answer, form = ask(officer, rig, "S1", override="yes", reason="")
    assert "says why" in words(answer)
    answer, form = ask(officer, rig, "S1", override="yes", reason="people trapped")
    page = words(answer)
    assert "Refill: yes" not in page
    assert "T1 , mixed" in page
    sure(officer, rig, form)
    tank = Container.objects.get(code="T1")
    assert tank.mixed
    rig.judge()
    assert "mixed" in set(Deficiency.objects.filter(closed_on=None).values_list("code", flat=True))
    # its own logged steps: emptied, flushed, inspected
    for verb in (movements.empty, movements.flush, movements.inspect):
        verb(rig.entry(), container=tank)
        tank.refresh_from_db()
    assert (tank.mixed, tank.concentrate) == (False, None)
    in_store(rig, "S2")
    assert "Refill: yes" in words(ask(as_role(Role.CREW), rig, "S2")[0])


def test_a_crew_cannot_override(rig, as_role):
    wrong_foam(rig)
    before = Movement.objects.count()
    answer, form = ask(as_role(Role.CREW), rig, "S1", override="yes", reason="people trapped")
    assert answer.status_code == 403
    assert sure(as_role(Role.CREW), rig, form).status_code == 403
    assert Movement.objects.count() == before


def test_pails_are_stowed_from_the_store(rig, as_role):
    pail = in_store(rig, "S1")
    crew = as_role(Role.CREW)
    answer, form = ask(crew, rig, "S1", into=f"unit-{rig.unit.pk}")
    assert "Refill: yes" in words(answer)
    sure(crew, rig, form)
    pail.refresh_from_db()
    assert pail.place == rig.cast.on_unit, "where the unit's other pails stand"
    again = words(ask(crew, rig, "S1", into=f"unit-{rig.unit.pk}")[0])
    assert "is at Engine 1, L3 by the book, not in a store" in again
    in_store(rig, "A1", rig.cast.class_a_lot)
    unlike = words(ask(crew, rig, "A1", into=f"unit-{rig.unit.pk}")[0])
    assert "Engine 1 carries Demo AR-AFFF 3x6 in pails; A1 holds Demo Class A" in unlike


def test_what_was_scanned_comes_back_to_the_form(rig, as_role):
    pail, tank = in_store(rig, "S1"), Container.objects.get(code="T1")
    first, second = (
        label.code for label in print_labels(rig.department, things=[pail, tank], acting=OWNER, clock=CLOCK)
    )
    crew = as_role(Role.CREW)
    crew.get(at(rig))
    led = crew.get(f"/Q/{first}").headers["Location"]
    assert led == reverse("refill", query={"unit": rig.unit.pk, "source": first})
    assert f'value="{first}"' in crew.get(led).content.decode()
    led = crew.get(f"/Q/{second}").headers["Location"]
    page = crew.get(led).content.decode()
    assert f'value="{first}"' in page
    assert f'value="{second}"' in page
    posted = fields(source=first, target=second, into="")
    assert "Refill: yes" in words(crew.post(led, posted))
    crew.post(led, {**posted, "confirm": "yes"})
    assert crew.get(f"/Q/{first}").headers["Location"] == reverse("container", args=[pail.pk]), "nothing waits any more"


def test_a_unit_by_its_label_or_name(rig, as_role):
    in_store(rig, "S1")
    (label,) = print_labels(rig.department, things=[rig.vehicle], acting=OWNER, clock=CLOCK)
    crew = as_role(Role.CREW)
    for typed in (label.code, "engine 1"):
        assert "Refill: yes" in words(crew.post(reverse("refill"), fields(source="S1", target=typed)))
    missing = words(crew.post(reverse("refill"), fields(source="S1", target="engine 99")))
    assert "no container and no unit has that code" in missing


def test_nothing_at_hand_raises_one_order(rig, as_role, django_capture_on_commit_callbacks):
    wrong_foam(rig)
    crew = as_role(Role.CREW)
    page = ask(crew, rig, "S1")[0].content.decode()
    posted = dict(re.findall(r'name="(subject|concentrate)" value="([^"]+)"', page))
    assert posted == {"subject": f"unit-{rig.unit.pk}", "concentrate": str(rig.cast.ar.pk)}
    with django_capture_on_commit_callbacks(execute=True):
        crew.post(reverse("refill_short"), posted)
    crew.post(reverse("refill_short"), posted)
    row = RaisedDeficiency.objects.get()
    assert (row.kind, row.words) == ("order", "in service short of Demo AR-AFFF 3x6, order raised")
    listed = words(as_role(Role.LOGISTICS).get(reverse("deficiencies"), {"source": "to be ordered"}))
    assert "Engine 1: in service short of Demo AR-AFFF 3x6, order raised" in listed
    assert Unit.objects.get(pk=rig.unit.pk).judge_due is False
    assert "raised_limited" in rig.open_codes()


def test_each_step_of_cleaning_stands_on_the_crews_page(rig, as_role):
    """Emptied and flushed by the crew, inspected by an officer; one button at a time, each leading to its own entry."""
    movements.mark_mixed(rig.entry(reason="Class A went in"), container=Container.objects.get(code="T1"))
    crew, officer, page = as_role(Role.CREW), as_role(Role.OFFICER), reverse("crew_unit", args=[rig.unit.pk])
    for step, button, account in (
        ("empty", "Log T1 as emptied", {"account": "incident", "code": "T1"}),
        ("flush", "Log T1 as flushed", {"codes": "T1"}),
    ):
        said = crew.get(page)
        assert "T1 is mixed: out of the count" in words(said)
        assert button in words(said)
        address = reverse(step, query={"unit": rig.unit.pk, "code": "T1"})
        assert address in said.content.decode().replace("&amp;", "&")
        assert (
            'value="T1"' in crew.get(address).content.decode() or "T1</textarea>" in crew.get(address).content.decode()
        )
        done = crew.post(address, fields(**account, confirm="yes"), follow=True)
        assert done.redirect_chain[-1][0] == page
    said = words(crew.get(page))
    assert "emptied: logged" in said
    assert "flushed: logged" in said
    assert "inspected: next" in said
    assert "An officer logs this step." in said
    address = reverse("inspect", query={"unit": rig.unit.pk, "code": "T1"})
    assert "Log T1 as inspected and clean" in words(officer.get(page))
    officer.post(address, fields(codes="T1", confirm="yes"))
    assert "out of the count" not in words(crew.get(page))


def test_nothing_at_hand_is_one_tap_from_the_question_too(rig, as_role):
    crew = as_role(Role.CREW)
    page = crew.get(at(rig)).content.decode()
    assert "Nothing right at hand: in service short, raise an order" in page
    posted = dict(re.findall(r'name="(subject)" value="([^"]+)"', page))
    crew.post(reverse("refill_short"), posted)
    assert RaisedDeficiency.objects.get().words == "in service short of foam concentrate, order raised"
