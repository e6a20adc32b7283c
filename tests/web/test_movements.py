"""Every form of the ledger: what it shows, what the book says afterwards, what it refuses, and who may open it."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from readiness.models import (
    Assignment,
    Change,
    Container,
    Lot,
    Movement,
    Place,
    Policy,
    Role,
    Submission,
)
from tests.actions.small_department import every_row
from tests.cast import PAIL_ML, SIX, ConcentrateFactory, ContainerFactory, LotFactory, UnitFactory
from tests.web.conftest import as_person
from tests.web.entering import book, confirm, fields, gallons, send, stocked, words

pytestmark = pytest.mark.django_db

FIVE_GAL = gallons("5")


@pytest.fixture
def officer(as_role):
    """The logistics officer's browser."""
    return as_role(Role.LOGISTICS)


# -- receive -----------------------------------------------------------------------------------------------------------


def delivery(cast, **values):
    stated = {
        "codes": "N-01 to N-03",
        "kind": "pail",
        "sealed": "on",
        "lot": cast.lot.pk,
        "owner": f"station-{cast.station.pk}",
        "compartment": "store room",
        "reason": "order 7",
    }
    return fields(**{**stated, **gallons("5", "each"), **gallons("", "capacity"), **values})


def test_receiving_three_pails_at_once(cast, officer):
    form = delivery(cast)
    page = send(officer, "receive", form)
    assert "15.00 gal of Demo AR-AFFF 3x6, lot AR-1 from supplier to N-01, N-02 and N-03" in words(page)
    assert "Not entered yet" in words(page)
    assert "new to the book" in words(page)
    assert not Container.objects.exists()

    done = confirm(officer, "receive", form)
    rows = Container.objects.order_by("code")
    assert [(row.code, book(row), row.sealed) for row in rows] == [
        (code, {"AR-1": PAIL_ML}, True) for code in ("N-01", "N-02", "N-03")
    ]
    movement = Movement.objects.get()
    assert (movement.kind, movement.reason, str(movement.recorded_by)) == (
        "received",
        "order 7",
        str(cast.people["logistics"]),
    )
    assert done.redirect_chain == [(reverse("delivery", args=[movement.delivery.pk]), 302)]
    assert "3 containers, 15.0 gal, to Quayside store, store room" in words(done)


def test_a_new_lot_comes_with_its_delivery(cast, officer):
    new = {"lot": "", "concentrate": cast.ar.pk, "batch": "AR-7", "label_date": "Jul 2036"}
    confirm(officer, "receive", delivery(cast, **new))
    lot = Lot.objects.get(batch="AR-7")
    assert (str(lot.makers_date), lot.date_precision) == ("2036-07-31", "month")  # July has 31 days


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"lot": ""}, "choose a lot of the book, or say this of the new lot"),
        ({"batch": "Z"}, "only one of them belongs here"),
        (gallons("-5", "each"), "never below zero"),
        (gallons("abc", "each"), "does not begin with a number"),
        ({"each_number": "5", "each_unit": ""}, "came with no unit"),
        (gallons("4", "capacity"), "holds 4.00 gal when full"),
        ({"codes": "N-09 to N-01"}, "a run goes upwards"),
        ({"codes": "N-01 to M-09"}, "the letters alike"),
        ({"codes": "N" * 30}, "at most 24 characters"),
        ({"owner": "station-999"}, "choose a store, a unit or a vehicle from the list"),
        ({"label_date": "3/6", "lot": ""}, "was read"),
    ],
)
def test_what_a_delivery_is_refused_for_comes_back_with_what_was_typed(cast, officer, values, sentence):
    page = send(officer, "receive", delivery(cast, **values))
    assert page.status_code == 200
    assert sentence in words(page)
    assert "order 7" in page.content.decode()
    assert not Container.objects.exists()


# -- pour --------------------------------------------------------------------------------------------------------------


def test_pails_are_poured_into_a_tank(cast, officer):
    stocked(cast, "P1")
    stocked(cast, "P2", cast.other_lot)
    tank = cast.tank(code="T1")
    form = fields(source="P1, p2", target="t1", **gallons(""))
    page = words(send(officer, "pour", form))
    assert "5.00 gal of Demo AR-AFFF 3x6, lot AR-1 from P1 to T1" in page
    assert book(tank) == {}
    confirm(officer, "pour", form)
    assert book(tank) == {"AR-1": PAIL_ML, "AR-2": PAIL_ML}
    assert Movement.objects.filter(kind="poured").count() == 2


def test_unlike_concentrates_are_refused_and_an_officers_override_marks_the_tank(cast, officer):
    tank = cast.tank(code="T1")
    stocked(cast, "P1")
    stocked(cast, "A1", cast.class_a_lot)
    confirm(officer, "pour", fields(source="P1", target="T1", **FIVE_GAL))
    wrong = fields(source="A1", target="T1", **gallons("2"))
    assert "different concentrates never meet in one container" in words(send(officer, "pour", wrong))
    assert "No reason was read" in words(send(officer, "pour", {**wrong, "override": "on"}))
    confirm(officer, "pour", {**wrong, "override": "on", "reason": "grabbed the wrong pail"})
    tank.refresh_from_db()
    assert tank.mixed


def test_crew_pours_and_is_not_offered_the_override(cast, as_role):
    page = as_role(Role.CREW).get(reverse("pour"))
    assert page.status_code == 200
    assert 'name="override"' not in page.content.decode()


# -- move --------------------------------------------------------------------------------------------------------------


def test_several_containers_move_and_the_unit_is_shown(cast, officer, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        pails = [stocked(cast, code) for code in ("P1", "P2")]
    form = fields(codes="P1 P2", owner=f"unit-{cast.unit.pk}", compartment="L3")
    page = words(send(officer, "move", form))
    assert "P1 and P2 moved from Quayside store to Engine 1, L3" in page
    assert "Engine 1" in page
    assert {row.place for row in Container.objects.all()} == {cast.store}
    confirm(officer, "move", form)
    assert {row.place for row in Container.objects.all()} == {cast.on_unit}
    assert Movement.objects.filter(kind="moved").count() == 1
    assert pails[0].relocations.count() == 2


def test_a_place_that_is_not_there_yet_is_made_with_the_move_and_not_by_the_look(cast, officer):
    stocked(cast)
    form = fields(codes="P1", owner=f"vehicle-{cast.spare_vehicle.pk}", compartment="rear")
    send(officer, "move", form)
    assert not Place.objects.filter(compartment="rear").exists()
    confirm(officer, "move", form)
    assert str(Container.objects.get(code="P1").place) == "vehicle 209, rear"


def test_a_move_to_where_it_is_already(cast, officer):
    stocked(cast)
    page = send(officer, "move", fields(codes="P1", owner=f"station-{cast.station.pk}"))
    assert "P1 is at Quayside store already" in words(page)


# -- use and empty -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("account", "kind"),
    [
        ("incident", "used"),
        ("drill", "used"),
        ("flow test", "used"),
        ("leak", "lost"),
        ("sample", "used"),
        ("disposal", "lost"),
    ],
)
def test_use_for_each_account(cast, officer, account, kind):
    pail = stocked(cast)
    form = fields(code="P1", account=account, incident="26-118", **gallons("2"))
    send(officer, "use", form)
    assert book(pail) == {"AR-1": PAIL_ML}
    confirm(officer, "use", form)
    # 2 gal = 7,570.82 mL; 18,927 − 7,571 = 11,356
    assert book(pail) == {"AR-1": 11_356}
    movement = Movement.objects.get(kind=kind)
    assert movement.incident == "26-118"


def test_a_drill_with_pfas_is_refused_until_an_officer_says_why(cast, officer, as_role):
    Policy.objects.update(drill_with_pfas=False)
    pail = stocked(cast)
    form = fields(code="P1", account="drill", **gallons("2"))
    assert "holds PFAS: by this department’s policy it is not used in drills" in words(send(officer, "use", form))
    confirm(officer, "use", form | {"override": "on", "reason": "the trainer ran out"})
    assert book(pail) == {"AR-1": 11_356}  # 18,927 − 7,571
    assert "keeps it out of drills" in words(officer.get("/movements/use/"))
    assert "keeps it out of drills" not in words(as_role(Role.INSTRUCTOR).get("/movements/use/"))


def test_a_volume_in_liters_is_read_in_liters(cast, officer):
    pail = stocked(cast)
    confirm(officer, "use", fields(code="P1", account="leak", volume_number="5", volume_unit="L"))
    assert book(pail) == {"AR-1": 13_927}  # 18,927 − 5,000


def test_more_than_is_there_is_refused_with_what_was_typed_kept(cast, officer):
    stocked(cast)
    page = send(officer, "use", fields(code="P1", account="incident", **gallons("50")))
    assert "50.00 gal was read, but P1 holds 5.00 gal by the book" in words(page)
    assert 'value="50"' in page.content.decode()
    assert Movement.objects.count() == 1


def test_crew_is_not_offered_drill_or_disposal_and_cannot_post_them(cast, as_role):
    stocked(cast)
    crew = as_role(Role.CREW)
    page = crew.get(reverse("use")).content.decode()
    assert 'value="incident"' in page
    assert 'value="disposal"' not in page
    assert 'value="drill"' not in page
    answer = send(crew, "use", fields(code="P1", account="disposal", **gallons("1")))
    assert "Select a valid choice" in words(answer)
    assert Movement.objects.count() == 1


def test_emptied_flushed_and_inspected_it_may_take_another_concentrate(cast, officer):
    pail = stocked(cast)
    confirm(officer, "empty", fields(code="P1", account="disposal"))
    assert book(pail) == {}
    assert "has not been flushed since it was emptied" in words(send(officer, "inspect", fields(codes="P1")))
    confirm(officer, "flush", fields(codes="P1"))
    pail.refresh_from_db()
    assert pail.flushed
    confirm(officer, "inspect", fields(codes="P1"))
    pail.refresh_from_db()
    assert (pail.flushed, pail.concentrate) == (False, None)


# -- marks -------------------------------------------------------------------------------------------------------------


def test_several_are_quarantined_and_released_at_once(cast, officer):
    for code in ("P1", "P2"):
        stocked(cast, code)
    form = fields(codes="P1 P2", reason="maker's notice N-7")
    assert "P1 quarantined" in words(send(officer, "quarantine", form))
    confirm(officer, "quarantine", form)
    assert set(Container.objects.values_list("quarantined", flat=True)) == {True}
    confirm(officer, "quarantine", form)
    assert Movement.objects.filter(kind="marked").count() == 2
    confirm(officer, "release", fields(codes="P1", reason="looked at"))
    assert list(Container.objects.order_by("code").values_list("quarantined", flat=True)) == [False, True]


def test_opening(cast, officer):
    pail = stocked(cast)
    Container.objects.filter(pk=pail.pk).update(sealed=True)
    confirm(officer, "open", fields(codes="P1"))
    pail.refresh_from_db()
    assert (pail.sealed, str(pail.opened_on)) == (False, "2026-06-15")


@pytest.mark.parametrize(("url", "mark"), [("mark_mixed", "mixed"), ("mark_diluted", "diluted")])
def test_marks_with_a_reason(cast, officer, url, mark):
    pail = stocked(cast)
    assert "this entry says why" in words(send(officer, url, fields(codes="P1")))
    confirm(officer, url, fields(codes="P1", reason="seen on the gauge"))
    pail.refresh_from_db()
    assert getattr(pail, mark)


def test_one_refusal_among_several_enters_none(cast, officer):
    first, second = stocked(cast, "P1"), stocked(cast, "P2")
    Container.objects.filter(pk=first.pk).update(sealed=True)
    page = confirm(officer, "open", fields(codes="P1 P2"))
    assert "P2 is open already" in words(page)
    first.refresh_from_db()
    assert first.sealed
    assert second.markings.filter(mark="sealed").count() == 0


# -- correct and change over -------------------------------------------------------------------------------------------


def test_a_correction_undoes_a_movement_and_both_stay(cast, officer):
    pail = stocked(cast)
    confirm(officer, "use", fields(code="P1", account="incident", **gallons("2")))
    wrong = Movement.objects.get(kind="used")
    assert "a correction says what was wrong" in words(send(officer, "correct", fields(), wrong.pk))
    form = fields(reason="it was P2")
    assert "2.00 gal of Demo AR-AFFF 3x6, lot AR-1 from incident to P1" in words(
        send(officer, "correct", form, wrong.pk)
    )
    confirm(officer, "correct", form, wrong.pk)
    assert book(pail) == {"AR-1": PAIL_ML}
    page = words(officer.get(reverse("movement", args=[wrong.pk])))
    assert "This was corrected" in page
    assert "corrected once" in words(send(officer, "correct", fields(reason="again"), wrong.pk))


def test_a_unit_changes_over(cast, officer):
    Assignment.objects.create(
        department=cast.department, unit=cast.unit, vehicle=cast.vehicle, from_at=SIX.replace(hour=1)
    )
    form = fields(unit=cast.unit.pk, vehicle=cast.spare_vehicle.pk)
    page = words(send(officer, "change_over", form))
    assert "Engine 1" in page
    assert Assignment.objects.count() == 1
    confirm(officer, "change_over", form)
    again = confirm(officer, "change_over", form)
    assert "Nothing was entered a second time" in words(again)
    assert Assignment.objects.get(to_at=None).vehicle == cast.spare_vehicle
    assert Change.objects.filter(action="change over").count() == 1


# -- once, and what another department has -----------------------------------------------------------------------------


def test_a_second_tap_enters_once_and_says_so(cast, officer):
    pail = stocked(cast)
    form = fields(code="P1", account="incident", **gallons("2"))
    first, second = (confirm(officer, "use", form) for _ in range(2))
    assert "Use or lose: entered." in words(first)
    assert "this was entered before. Nothing was entered a second time" in words(second)
    assert first.redirect_chain == second.redirect_chain
    assert book(pail) == {"AR-1": 11_356}
    assert Submission.objects.count() == 1


def test_the_same_form_with_another_content_is_refused(cast, officer):
    pail = stocked(cast)
    form = fields(code="P1", account="incident", **gallons("2"))
    confirm(officer, "use", form)
    page = confirm(officer, "use", {**form, **gallons("3")})
    assert "confirmed before with another content" in words(page)
    assert book(pail) == {"AR-1": 11_356}


def test_looking_writes_nothing_at_all(cast, officer):
    stocked(cast)
    before = every_row()
    for url, form in (
        ("receive", delivery(cast)),
        ("use", fields(code="P1", account="drill", **gallons("1"))),
        ("move", fields(codes="P1", owner=f"unit-{cast.unit.pk}", compartment="new one")),
        ("mark_mixed", fields(codes="P1", reason="seen")),
        ("change_over", fields(unit=cast.unit.pk, vehicle=cast.vehicle.pk)),
    ):
        assert "Not entered yet" in words(send(officer, url, form)), url
    assert every_row() == before


def test_change_what_was_typed_keeps_it(cast, officer):
    stocked(cast)
    form = fields(code="P1", account="drill", **gallons("1.5"))
    page = officer.post(reverse("use"), {**form, "change": "yes"}).content.decode()
    assert 'value="1.5"' in page
    assert form["entry_id"] in page


def test_containers_lots_places_and_units_of_another_department_do_not_exist(cast, officer):
    ContainerFactory(department=cast.other_department, code="X1")
    far = cast.other_department.stations.create(name="Far")
    lot = LotFactory(concentrate=ConcentrateFactory(department=cast.other_department))
    stocked(cast)
    before = Movement.objects.count()
    for url, form, sentence in (
        ("use", fields(code="X1", account="leak", **gallons("1")), "no container has that label code"),
        ("move", fields(codes="P1 X1", owner=f"unit-{cast.unit.pk}"), "no container has that label code"),
        ("move", fields(codes="P1", owner=f"station-{far.pk}"), "choose a store, a unit or a vehicle"),
        ("pour", fields(source="P1", target="X1", **gallons("1")), "no container has that label code"),
        ("receive", delivery(cast, lot=lot.pk), "Select a valid choice"),
        ("change_over", fields(unit=UnitFactory(station=far).pk, vehicle=cast.vehicle.pk), "Select a valid choice"),
    ):
        page = confirm(officer, url, form)
        assert sentence in words(page), url
    assert Movement.objects.count() == before


def test_a_movement_of_another_department_is_not_found(cast):
    stocked(cast)
    pk = Movement.objects.get().pk
    stranger = as_person(cast.outsider)
    for url in ("movement", "correct"):
        assert stranger.get(reverse(url, args=[pk])).status_code == 404
    assert stranger.post(reverse("correct", args=[pk]), fields(reason="x", confirm="yes")).status_code == 404


# -- who may open what -------------------------------------------------------------------------------------------------

ALL_HANDS = {Role.CREW, Role.OFFICER, Role.LOGISTICS, Role.INSTRUCTOR, Role.CHIEF}
OFFICERS = {Role.OFFICER, Role.LOGISTICS, Role.CHIEF}
STOCK = {Role.LOGISTICS, Role.CHIEF}
FORMS = {
    "receive": STOCK,
    "move": STOCK,
    "pour": ALL_HANDS,
    "use": ALL_HANDS,
    "empty": ALL_HANDS,
    "open": ALL_HANDS,
    "flush": ALL_HANDS,
    "inspect": OFFICERS,
    "mark_mixed": OFFICERS,
    "mark_diluted": OFFICERS,
    "quarantine": OFFICERS,
    "release": OFFICERS,
    "change_over": OFFICERS,
}


def test_who_may_open_and_send_each_form(cast, as_role):
    for role in Role:
        client = as_role(role)
        for url, allowed in FORMS.items():
            expected = 200 if role in allowed else 403
            assert client.get(reverse(url)).status_code == expected, (role, url)
            assert client.post(reverse(url), fields()).status_code == expected, (role, url)


def test_who_may_correct_and_who_may_look(cast, as_role):
    stocked(cast)
    pk = Movement.objects.get().pk
    for role in Role:
        client = as_role(role)
        assert client.get(reverse("movements")).status_code == 200
        assert client.get(reverse("movement", args=[pk])).status_code == 200
        assert client.get(reverse("correct", args=[pk])).status_code == (200 if role in STOCK else 403), role


def test_a_stranger_is_sent_to_sign_in(cast, client):
    for url in ("movements", *FORMS):
        assert client.get(reverse(url)).headers["Location"].startswith(reverse("sign_in"))


# -- the list ----------------------------------------------------------------------------------------------------------


def test_the_list_says_what_happened_and_is_filtered_by_day_in_the_departments_zone(cast, officer):
    cast.department.time_zone = "America/Chicago"
    cast.department.save(update_fields=["time_zone"])
    stocked(cast)
    # 04:30 UTC on 15 June is 23:30 on 14 June in Chicago, five hours behind in June
    late = datetime(2026, 6, 15, 4, 30, tzinfo=UTC)
    confirm(officer, "use", fields(code="P1", account="leak", happened_at="2026-06-14T23:30", **gallons("1")))
    assert Movement.objects.get(kind="lost").happened_at == late
    page = words(officer.get(reverse("movements"), {"since": "2026-06-14", "until": "2026-06-14"}))
    assert "1.00 gal of Demo AR-AFFF 3x6, lot AR-1 from P1 to leak" in page
    assert "from supplier" not in page
    assert "entered late" in page


def test_the_list_is_filtered_by_label_code_lot_kind_and_incident(cast, officer):
    stocked(cast, "P1")
    stocked(cast, "P2", cast.other_lot)
    confirm(officer, "use", fields(code="P2", account="incident", incident="26-118", **gallons("1")))
    for query, yes, no in (
        ({"of": "p1"}, "to P1", "to P2"),
        ({"of": "AR-2"}, "to P2", "to P1"),
        ({"kind": "used"}, "from P2 to incident", "from supplier"),
        ({"incident": "118"}, "from P2 to incident", "from supplier"),
    ):
        page = words(officer.get(reverse("movements"), query))
        assert yes in page, query
        assert no not in page, query


def test_the_workbook_of_movements_is_harmless_and_whole(cast, officer):
    stocked(cast)
    confirm(officer, "use", fields(code="P1", account="leak", reason="=1+1", **gallons("1")))
    answer = officer.get(reverse("movements"), {"export": "xlsx"})
    sheet = load_workbook(io.BytesIO(answer.content))["Movements"]
    table = list(sheet.iter_rows(values_only=True))
    assert len(table) == 3  # the headings, the receipt and the leak
    assert table[0][:3] == ("Happened [department's time]", "Kind", "What")
    cell = next(cell for row in sheet.iter_rows() for cell in row if cell.value == "=1+1")
    assert (cell.data_type, cell.quotePrefix) == ("s", True)


def test_the_queries_of_the_list_do_not_grow(cast, officer):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            officer.get(reverse("movements"))
        return len(caught)

    for code, place in (("P1", cast.store), ("P2", cast.on_unit)):
        stocked(cast, code, cast.other_lot, place)
    few = queries()
    for number in range(6):
        stocked(cast, f"Q{number}", cast.other_lot, cast.on_unit)
    assert queries() == few


def test_what_the_page_before_has_chosen_stands_in_the_form(cast, officer):
    page = officer.get(reverse("move"), {"code": ["P1", "P2"], "owner": f"unit-{cast.unit.pk}"}).content.decode()
    assert "P1 P2</textarea>" in page
    assert f'value="unit-{cast.unit.pk}" selected' in page
