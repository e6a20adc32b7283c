"""Par lists, restocking and stores on pages."""

from __future__ import annotations

import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from readiness.models import Check, Container, ParLine, Role, StoreLimit
from tests.cast import UnitFactory
from tests.web.conftest import as_person
from tests.web.county_pages import words as words_of
from tests.web.entering import confirm, fields, stocked

pytestmark = pytest.mark.django_db


def words(answer):
    """What a page says."""
    return words_of(answer.content)


@pytest.fixture
def officer(as_role):
    return as_role(Role.LOGISTICS)


def line(cast, **values):
    return ParLine.objects.create(department=cast.department, **{"unit": cast.unit, **values})


def sheet(answer, title):
    return list(load_workbook(io.BytesIO(answer.content))[title].iter_rows(values_only=True))


@pytest.fixture
def short(cast):
    """Two of three pails aboard, one in the store of the unit's own station."""
    line(cast, concentrate=cast.ar, container_kind="pail", containers=3, compartment="L3")
    for code in ("P1", "P2"):
        stocked(cast, code, place=cast.on_unit)
    stocked(cast, "S1")
    Container.objects.update(sealed=True)
    return cast


def test_the_list_of_a_unit_by_compartment(short, officer):
    line(short, gear="flush bucket", pieces=1, compartment="R1")
    page = words(officer.get(reverse("par_unit", args=[short.unit.pk])))
    assert "L3 Demo AR-AFFF 3x6, pail 3 2 short P1, P2" in page
    assert "R1 flush bucket 1 nobody looked not looked at no check has named it" in page
    assert "Add a line" in page


def test_a_unit_s_page_leads_to_its_list(short, as_role):
    page = as_role(Role.CREW).get(reverse("unit", args=[short.unit.pk])).content.decode()
    assert f'href="{reverse("par_unit", args=[short.unit.pk])}"' in page


def test_who_may_not_edit_is_shown_no_form(short, as_role):
    page = words(as_role(Role.CREW).get(reverse("par_unit", args=[short.unit.pk])))
    assert "L3 Demo AR-AFFF 3x6, pail 3 2 short" in page
    assert "Add a line" not in page


def test_all_lists_and_their_workbook(short, officer):
    page = words(officer.get(reverse("par"), {"state": "short"}))
    assert "Engine 1 L3 Demo AR-AFFF 3x6, pail 3 2 short P1, P2" in page
    table = sheet(officer.get(reverse("par"), {"export": "xlsx"}), "Par lists")
    assert table[1][:6] == ("Engine 1", "L3", "Demo AR-AFFF 3x6, pail", "3", "2", "short")


def test_the_restock_list_offers_the_move_to_who_may(short, officer, as_role):
    page = officer.get(reverse("restock"))
    assert "Engine 1 Quayside L3 Demo AR-AFFF 3x6, pail 1 Quayside (own station), 5.0 gal" in words(page)
    assert f"{reverse('move')}?code=S1&amp;owner=unit-{short.unit.pk}&amp;compartment=L3" in page.content.decode()
    assert "Move 1 to Engine 1" not in words(as_role(Role.CREW).get(reverse("restock")))


def test_the_move_that_the_restock_list_fills_in_ends_the_shortage(short, officer):
    asked = {"code": "S1", "owner": f"unit-{short.unit.pk}", "compartment": "L3"}
    form = officer.get(reverse("move"), asked)
    assert "S1" in form.content.decode()
    confirm(officer, "move", fields(codes="S1", owner=asked["owner"], compartment="L3"))
    assert "Nothing to show here." in words(officer.get(reverse("restock")))
    assert "L3 Demo AR-AFFF 3x6, pail 3 3 as listed" in words(officer.get(reverse("par_unit", args=[short.unit.pk])))


def test_a_first_list_is_made_on_the_page(cast, officer):
    stocked(cast, "P1", place=cast.on_unit)
    address = reverse("par_unit", args=[cast.unit.pk])
    assert "Engine 1 has no par list." in words(officer.get(address))
    page = words(officer.post(reverse("par_begin", args=[cast.unit.pk]), {"like": ""}, follow=True))
    assert "The par list of Engine 1 has 1 lines now" in page
    assert "L3 Demo AR-AFFF 3x6, pail 1 1 as listed P1" in page
    other = UnitFactory(station=cast.station, designation="Engine 9")
    officer.post(reverse("par_begin", args=[other.pk]), {"like": cast.unit.pk})
    assert other.par_lines.get().containers == 1
    again = officer.post(reverse("par_begin", args=[other.pk]), {"like": cast.unit.pk})
    assert "Engine 9 has a par list already" in words(again)


def test_another_department_s_unit_cannot_be_copied(cast, officer):
    far = UnitFactory(station__department=cast.other_department)
    ParLine.objects.create(department=cast.other_department, unit=far, gear="spanner", pieces=1)
    answer = officer.post(reverse("par_begin", args=[cast.unit.pk]), {"like": far.pk})
    assert "is not in the list" in words(answer)
    assert not cast.unit.par_lines.exists()
    assert as_person(cast.outsider).get(reverse("par_unit", args=[cast.unit.pk])).status_code == 404


def test_a_line_is_added_by_its_form(cast, officer):
    address = f"{reverse('reference_par_line_add')}?unit={cast.unit.pk}"
    wrong = officer.post(address, {"gear": "eductor", "containers": "3"})
    assert "“eductor” was read beside concentrate: a line is for one of them." in words(wrong)
    officer.post(address, {"concentrate_kind": "any AR", "container_kind": "pail", "containers": "12"})
    made = ParLine.objects.get()
    assert (made.unit, made.concentrate_kind, made.containers) == (cast.unit, "any AR", 12)


def test_gear_is_looked_at_and_the_morning_check_stays_due(cast, as_role):
    stocked(cast, "P1", place=cast.on_unit)
    line(cast, gear="flush bucket", pieces=1)
    line(cast, gear="spanner", pieces=2)
    line(cast, gear="eductor", appliance_kind="in-line eductor", pieces=1)
    crew, address = as_role(Role.CREW), reverse("par_look", args=[cast.unit.pk])
    page = crew.get(address)
    assert "Look at the loose gear" in words(crew.get(reverse("par_unit", args=[cast.unit.pk])))
    assert "eductor" not in words(page), "the book knows it"
    entry = page.context["form"]["entry_id"].value()
    none = {"entry_id": entry, "g0": "not looked at", "g1": "not looked at"}
    assert "say of one piece at least what was seen" in words(crew.post(address, none))
    seen = {**none, "g0": "good", "g1": "not carried"}
    assert "2 kinds of gear" in words(crew.post(address, seen, follow=True))
    crew.post(address, seen)  # a second tap
    check = Check.objects.get()
    assert (check.complete, check.readings.count()) == (False, 2)
    page = words(crew.get(reverse("par_unit", args=[cast.unit.pk])))
    assert "flush bucket 1 1 as listed" in page
    assert "spanner 2 0 short the last check says: not carried 2026-06-15 06:00 (just now)" in page


def test_stores_beside_their_limits(cast, officer):
    StoreLimit.objects.create(
        department=cast.department, station=cast.station, concentrate=cast.ar, least_ml=37_854, most_ml=75_708
    )
    stocked(cast, "S1")
    Container.objects.update(sealed=True)
    page = words(officer.get(reverse("store_levels")))
    # minimum 10 gal, maximum 20 gal, 5 gal there: below by 5
    assert "Quayside Demo AR-AFFF 3x6 below minimum 5.0 gal 1 10.0 gal 20.0 gal 5.0 gal" in page


@pytest.mark.parametrize("url", ["par", "restock", "store_levels"])
def test_the_queries_do_not_grow(short, officer, url):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            officer.get(reverse(url))
        return len(caught)

    line(short, gear="spanner", pieces=1)
    few = queries()
    for number in range(4):
        unit = UnitFactory(station=short.station, designation=f"Engine {number + 20}")
        line(short, unit=unit, concentrate=short.ar, container_kind="pail", containers=2)
        line(short, unit=unit, gear="spanner", pieces=1)
        stocked(short, f"Q{number}")
    assert queries() == few


# -- typed as a table --------------------------------------------------------------------------------------------------


def par_table(cast):
    return reverse("par_table", args=[cast.unit.pk])


def as_drawn(page):
    """What a browser would post of the page as it stands."""
    form = page.context["form"]
    posted = {"new": str(form.empty)}
    for row in form.lines:
        for bound in [row["seen"], *row.cells]:
            value = bound.value()
            for part in bound.subwidgets[0].data.get("subwidgets", ()):
                posted[part["name"]] = part["value"] or ""
            posted.setdefault(bound.html_name, "" if value is None else str(value))
    return posted


def test_all_lines_of_a_unit_are_typed_and_saved_at_once(cast, officer):
    pails = line(cast, concentrate=cast.ar, container_kind="pail", containers=3, compartment="L3")
    tank = line(cast, concentrate_kind="any AR", volume_ml=113_562)
    gone = line(cast, gear="spanner", pieces=2)
    form = as_drawn(officer.get(par_table(cast)))
    assert form[f"r{pails.pk}-containers"] == "3"
    assert form[f"r{tank.pk}-concentrate"] == "any-any AR"
    form |= {f"r{pails.pk}-containers": "4", f"r{gone.pk}-gone": "on", f"r{gone.pk}-gear": ""}
    form |= {"n0-gear": "flush bucket", "n0-compartment": "R1"}
    form |= {"n1-concentrate": str(cast.ar.pk), "n1-container_kind": "drum", "n1-containers": "1"}
    assert "4 lines are saved." in words(officer.post(par_table(cast), form, follow=True))
    found = ParLine.objects.filter(retired_on=None).order_by("id")
    assert [(row.containers, row.volume_ml, row.gear, row.pieces, row.container_kind) for row in found] == [
        (4, None, "", None, "pail"),
        (None, 113_562, "", None, ""),  # as it was: 30 gal
        (None, None, "flush bucket", 1, ""),
        (1, None, "", None, "drum"),
    ]
    gone.refresh_from_db()
    assert gone.retired_on
    assert "Nothing was changed." in words(
        officer.post(par_table(cast), as_drawn(officer.get(par_table(cast))), follow=True)
    )


def test_every_line_at_fault_is_told_and_nothing_is_saved(cast, officer):
    pails = line(cast, concentrate=cast.ar, container_kind="pail", containers=3)
    form = as_drawn(officer.get(par_table(cast))) | {f"r{pails.pk}-containers": "many", "n0-gear": "spanner"}
    form |= {"n1-gear": "eductor", "n1-containers": "2"}
    page = words(officer.post(par_table(cast), form))
    assert "Line 1, How many containers: “many” was read" in page
    form |= {
        f"r{pails.pk}-containers": "5",
        "n2-concentrate": str(cast.ar.pk),
        "n2-container_kind": "pail",
        "n2-containers": "2",
    }
    page = words(officer.post(par_table(cast), form))
    assert "Line 3, Gear: “eductor” was read beside concentrate" in page
    assert "Line 4: The list has such a line in that compartment already" in page
    assert ParLine.objects.get().containers == 3


def test_a_line_of_which_only_a_compartment_was_typed_is_not_dropped_in_silence(cast, officer):
    form = as_drawn(officer.get(par_table(cast))) | {"n0-compartment": "R9"}
    page = words(officer.post(par_table(cast), form, follow=True))
    assert "One thing has to be put right; nothing was saved" in page
    assert "Nothing was changed" not in page


def test_what_somebody_else_changed_meanwhile_is_not_overwritten(cast, officer):
    pails = line(cast, concentrate=cast.ar, container_kind="pail", containers=3)
    form = as_drawn(officer.get(par_table(cast)))
    ParLine.objects.update(containers=7)
    added = line(cast, gear="spanner", pieces=1)
    page = words(officer.post(par_table(cast), form | {f"r{pails.pk}-containers": "4"}))
    assert "Somebody changed it since you opened the form" in page
    ParLine.objects.filter(pk=pails.pk).update(containers=3)
    officer.post(par_table(cast), form | {f"r{pails.pk}-containers": "4"})
    added.refresh_from_db()
    assert (added.gear, added.retired_on) == ("spanner", None), "it was not on the page"
    ParLine.objects.filter(pk=pails.pk).update(retired_on="2026-06-15")
    assert "1 of the lines read are off the list by now" in words(officer.post(par_table(cast), form))


def test_a_line_that_somebody_else_changed_meanwhile_is_not_taken_off(cast, officer):
    """Drawn with 3 pails; another makes it 12; the tick of the older page leaves the 12 in the list."""
    pails = line(cast, concentrate=cast.ar, container_kind="pail", containers=3)
    tick = as_drawn(officer.get(par_table(cast))) | {f"r{pails.pk}-gone": "on"}
    ParLine.objects.update(containers=12)
    assert "Somebody changed it since you opened the form" in words(officer.post(par_table(cast), tick, follow=True))
    pails.refresh_from_db()
    assert (pails.containers, pails.retired_on) == (12, None)
    tick = as_drawn(officer.get(par_table(cast))) | {f"r{pails.pk}-gone": "on"}
    assert "1 line is saved." in words(officer.post(par_table(cast), tick, follow=True))
    pails.refresh_from_db()
    assert pails.retired_on


@pytest.mark.parametrize(("many", "said"), [(60, None), (61, "1 more line was not put below"), (63, "3 more lines")])
def test_lines_that_find_no_room_are_told(cast, officer, many, said):
    other = UnitFactory(station=cast.station, designation="Engine 9")
    for n in range(many):
        line(cast, unit=other, gear=f"wrench {n:02}", pieces=1)
    copy = as_drawn(officer.get(par_table(cast))) | {"like": str(other.pk), "copy": "yes"}
    drawn = officer.post(par_table(cast), copy)
    assert [row["gear"].value() for row in drawn.context["form"].lines] == [f"wrench {n:02}" for n in range(60)]
    assert ("put below:" in words(drawn)) == bool(said)
    assert (said or "") in words(drawn)
    officer.post(par_table(cast), as_drawn(drawn))
    rest = officer.post(
        par_table(cast), as_drawn(officer.get(par_table(cast))) | {"like": str(other.pk), "copy": "yes"}
    )
    assert "put below:" not in words(rest)
    officer.post(par_table(cast), as_drawn(rest))
    assert ParLine.objects.filter(unit=cast.unit).count() == many


def test_lines_of_another_unit_are_put_below_those_that_differ(cast, officer):
    other = UnitFactory(station=cast.station, designation="Engine 9")
    line(cast, concentrate=cast.ar, container_kind="pail", containers=3)
    line(cast, unit=other, concentrate=cast.ar, container_kind="pail", containers=9)
    line(cast, unit=other, concentrate_kind="any AR", volume_ml=113_562, compartment="L1")
    line(cast, unit=other, gear="spanner", pieces=2)
    form = as_drawn(officer.get(par_table(cast))) | {"n0-gear": "flush bucket", "like": str(other.pk), "copy": "yes"}
    drawn = officer.post(par_table(cast), form)
    assert ParLine.objects.filter(unit=cast.unit).count() == 1
    again = as_drawn(drawn)
    assert [again[name] for name in ("n0-gear", "n1-gear", "n2-concentrate")] == [
        "flush bucket",
        "spanner",
        "any-any AR",
    ]
    officer.post(par_table(cast), again)
    assert ParLine.objects.filter(unit=cast.unit).count() == 4
    assert ParLine.objects.get(unit=cast.unit, compartment="L1").volume_ml == 113_562
    more = officer.post(par_table(cast), as_drawn(officer.get(par_table(cast))) | {"more": "yes"})
    assert more.context["form"].empty == 5


def test_limits_of_a_store_as_a_table(cast, officer):
    address = reverse("store_table", args=[cast.station.pk])
    form = as_drawn(officer.get(address))
    form |= {"n0-concentrate": str(cast.ar.pk), "n0-least_ml_number": "20", "n0-most_ml_number": "10"}
    assert "Line 1, Store maximum: “10.00 gal” was read, which is below the minimum" in words(
        officer.post(address, form)
    )
    assert "1 line is saved." in words(officer.post(address, form | {"n0-most_ml_number": "30"}, follow=True))
    limit = StoreLimit.objects.get()
    # 20 × 3,785.411784 = 75,708.2; 30 × 3,785.411784 = 113,562.4
    assert (limit.station, limit.least_ml, limit.most_ml) == (cast.station, 75_708, 113_562)
    form = as_drawn(officer.get(address)) | {"n0-least_ml_number": "5"}
    assert "say of which concentrate the limits are" in words(officer.post(address, form))
    form = as_drawn(officer.get(address)) | {f"r{limit.pk}-gone": "on"}
    officer.post(address, form)
    limit.refresh_from_db()
    assert limit.retired_on


@pytest.mark.parametrize("new", ["-1", "x", "99999", "9" * 40])
def test_a_spoilt_number_of_lines_is_no_error_of_the_server(cast, officer, new):
    assert officer.post(par_table(cast), {"new": new}).status_code == 302


def test_the_queries_of_a_table_do_not_grow(cast, officer):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            assert officer.get(par_table(cast)).status_code == 200
        return len(caught)

    line(cast, concentrate=cast.ar, container_kind="pail", containers=3)
    few = queries()
    for number in range(5):
        line(cast, concentrate=cast.ar, container_kind="pail", containers=3, compartment=f"L{number}")
        line(cast, gear=f"spanner {number}", pieces=1)
    assert queries() == few
