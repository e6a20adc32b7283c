"""Labels on the pages: sheets, what a scanned or typed code leads to, slips of the hand, and short codes in forms."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.urls import reverse

from readiness.actions import movements
from readiness.actions.labels import print_labels, withdraw_label
from readiness.actions.movements import Entry
from readiness.engineering.label_codes import ALPHABET, is_code, shown_code
from readiness.models import Department, Label, Role
from readiness.web.label_sheets import qr_code
from tests.cast import CLOCK, Cast, LotFactory
from tests.judged import Rigged
from tests.web.conftest import as_person
from tests.web.entering import book, confirm, fields, gallons, send, stocked, words


def label(cast: Cast, thing: Any) -> Label:
    return print_labels(cast.department, things=[thing], acting=cast.acting(Role.LOGISTICS), clock=CLOCK)[0]


def slip(code: str) -> str:
    """The code with its first character wrong."""
    return next(each for each in ALPHABET if each != code[0]) + code[1:]


def test_a_camera_leads_to_the_thing(cast, as_role):
    rig = Rigged(cast, pails=1)
    tank, client = rig.tank(), as_role(Role.CREW)
    for thing, page in (
        (rig.pails[0], reverse("container", args=[rig.pails[0].pk])),
        (tank, reverse("container", args=[tank.pk])),
        (rig.line, reverse("reference_foam_line", args=[rig.line.pk])),
        (cast.unit, reverse("crew_unit", args=[cast.unit.pk])),
        (cast.vehicle, reverse("crew_unit", args=[cast.unit.pk])),  # Engine 1 runs on it tonight
        (cast.spare_vehicle, reverse("reference_vehicle", args=[cast.spare_vehicle.pk])),
    ):
        code = label(cast, thing).code
        assert client.get(f"/Q/{code}").headers["Location"] == page
        assert client.get("/find/", {"code": shown_code(code).lower()}).headers["Location"] == page
        assert client.get(page).status_code == 200


def test_after_the_sign_in_it_goes_on_to_where_the_camera_led(cast, client):
    code = label(cast, cast.unit).code
    user = cast.people[Role.CREW]
    user.set_password("a long one for the test")
    user.save()
    answer = client.get(f"/Q/{code}")
    assert answer.headers["Location"] == f"/sign-in/?next=/Q/{code}"
    answer = client.post(answer.headers["Location"], {"name": user.username, "password": "a long one for the test"})
    assert answer.headers["Location"] == f"/Q/{code}"


def test_a_mistyped_code_is_said_with_those_near_it(cast, as_role):
    pail = stocked(cast)
    code, client = label(cast, pail).code, as_role(Role.CREW)
    wrong = slip(code)
    assert not is_code(wrong)
    for answer in (client.get("/find/", {"code": wrong}), client.get("/search/", {"q": wrong}, follow=True)):
        said = words(answer)
        assert f"“{shown_code(wrong)}” was read, and its check character does not fit: it was mistyped." in said
        assert f"Did you mean {shown_code(code)} P1" in said
    assert client.get(f"/Q/{wrong}").status_code == 404


def test_a_withdrawn_label_says_what_it_was_on(cast, as_role):
    pail = stocked(cast)
    row, client = label(cast, pail), as_role(Role.CREW)
    withdraw_label(cast.department, label=row, reason="on the wrong pail", acting=cast.acting(Role.CHIEF), clock=CLOCK)
    said = words(client.get(f"/Q/{row.code}", follow=True))
    assert "on the wrong pail It was on P1" in said
    again = client.post(reverse("use"), fields(code=row.code, account="incident", **gallons("1")))
    assert "no container has that label code" in words(again)


def test_another_departments_label_names_nothing_here(cast, as_role):
    code = label(cast, stocked(cast)).code
    stranger = as_person(cast.outsider)
    for answer in (stranger.get(f"/Q/{code}"), stranger.get("/find/", {"code": code})):
        assert "no label of Far County Fire Department has that code" in words(answer)
    near = words(stranger.get("/find/", {"code": slip(code)}))
    assert "Did you mean" not in near
    assert stranger.get(reverse("label", args=[Label.objects.get().pk])).status_code == 404


def test_a_containers_own_code_still_works_and_wins(cast, as_role):
    client = as_role(Role.CREW)
    code = label(cast, cast.unit).code
    pail = stocked(cast, code)  # somebody wrote just that on a pail
    answer = client.get("/find/", {"code": code.lower()}, follow=True)
    assert answer.redirect_chain[-1][0] == reverse("container", args=[pail.pk])


def test_the_short_code_is_understood_by_every_form(cast, as_role):
    first, second = stocked(cast, "P1"), stocked(cast, "P2")
    short, client = label(cast, first).code, as_role(Role.CREW)
    form = fields(code=f"http://testserver/Q/{short}", account="incident", **gallons("1"))
    confirm(client, "use", form)
    # 5 gal are 18,927 mL and 1 gal 3,785 mL by definition of the gallon
    assert book(first) == {"AR-1": 18_927 - 3_785}
    form = fields(source=f"{short.lower()} P2 p1", target=label(cast, cast.tank(code="T1")).code)
    assert "2 containers" not in words(send(client, "pour", form)), "P1 under two codes is one pail"
    confirm(client, "pour", form)
    assert book(first) == book(second) == {}
    said = words(client.post(reverse("use"), fields(code=slip(short), account="incident", **gallons("1"))))
    assert f"it was mistyped. Near it: {shown_code(short)} (P1)." in said


# -- sheets ------------------------------------------------------------------------------------------------------------


def sheet(client: Any, **asked: Any) -> Any:
    return client.post(reverse("label_sheet"), {"sheet": "letter-30", "start": "1", **asked})


def test_a_sheet_begins_where_it_was_left(cast, as_role):
    pails = [stocked(cast, f"P{n}") for n in range(1, 4)]
    answer = sheet(as_role(Role.OFFICER), thing=[f"container-{pail.pk}" for pail in pails], start="29")
    page = answer.content.decode()
    assert page.count('class="sheet"') == 2
    # by hand in tests/engineering/test_label_sheets.py, to the hundredth of a millimeter
    corners = re.findall(r'class="label" x="([\d.]+)" y="([\d.]+)" width="66.67" height="25.40"', page)
    assert corners == [("74.61", "241.30"), ("144.46", "241.30"), ("4.76", "12.70")]
    assert 'width="215.90mm" height="279.40mm" viewBox="0 0 215.90 279.40"' in page
    for code in Label.objects.values_list("code", flat=True):
        assert shown_code(code) in page


def test_all_that_the_list_shows_are_printed_whatever_page_of_it(cast, as_role):
    for n in range(60):
        cast.pail(code=f"P{n:02}")
    cast.tank(code="T1")
    client = as_role(Role.LOGISTICS)
    listed = words(client.get(reverse("labels"), {"kind": "pail"}))
    assert "60 rows" in listed
    sheet(client, every="on", kind="pail")
    assert Label.objects.count() == Label.objects.filter(container__kind="pail").count() == 60
    assert "60 rows" in words(client.get(reverse("labels"), {"state": "printed"}))


def test_a_place_that_the_sheet_does_not_have_is_refused(cast, as_role):
    client, thing = as_role(Role.LOGISTICS), f"container-{stocked(cast).pk}"
    assert "this sheet has 30 labels" in words(sheet(client, thing=thing, start="31"))
    assert "0 things were chosen" in words(sheet(client))
    assert "0 things were chosen" in words(sheet(client, thing="container-999999"))
    assert Label.objects.count() == 0


def test_sheets_of_ones_own_are_offered(cast, as_role):
    chief = as_role(Role.CHIEF)
    form = {"name": "our 4", "paper": "a4", "columns": "2", "rows": "2", "width_mm": "90", "height_mm": "120"}
    form |= {"left_mm": "10", "top_mm": "10", "pitch_x_mm": "95", "pitch_y_mm": "130"}
    wrong = words(chief.post(reverse("reference_label_sheet_add"), {**form, "pitch_x_mm": "80"}))
    assert "80 mm was read, and a label is 90 mm: the labels would overlap." in wrong
    chief.post(reverse("reference_label_sheet_add"), form)
    page = sheet(chief, thing=f"unit-{cast.unit.pk}", sheet=f"own-{cast.department.label_sheets.get().pk}", start="4")
    # the fourth of 2 × 2: 10 + 95, 10 + 130
    assert 'class="label" x="105.00" y="140.00" width="90.00" height="120.00"' in page.content.decode()
    metric = cast.department
    Department.objects.filter(pk=metric.pk).update(units="metric")
    offered = re.findall(r'<option value="([\w-]+)"', chief.get(reverse("labels")).content.decode())
    sheets = [each for each in offered if re.match(r"own|a4|letter", each)]
    assert [each.partition("-")[0] for each in sheets] == ["own"] + ["a4"] * 4 + ["letter"] * 4


def test_the_list_asks_the_database_as_often_for_many(cast, as_role, django_assert_max_num_queries):
    client = as_role(Role.LOGISTICS)
    rig = Rigged(cast, pails=1)
    label(cast, rig.pails[0])
    with django_assert_max_num_queries(20) as few:
        client.get(reverse("labels"))
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    for n in range(40):
        pail = cast.pail(code=f"X{n}")
        movements.receive(entry, container=pail, lot=LotFactory(concentrate=cast.ar), ml=100, place=cast.on_vehicle)
        label(cast, pail)
    with django_assert_max_num_queries(len(few.captured_queries)):
        client.get(reverse("labels"))


@pytest.mark.parametrize("side", [21.0, 40.0])
def test_the_qr_code_is_drawn_as_the_symbol_has_it(side):
    """Each dark module of the path, put back on a grid, is a dark module of an independent drawing of the symbol."""
    import segno

    text = "HTTPS://FOAM.EXAMPLE/Q/7KM4R44"
    drawn = str(qr_code(text, 1, 1, side))
    dark = set()
    for x, y, run in re.findall(r"M(\d+) (\d+)h(\d+)v1H\d+z", drawn):
        dark |= {(int(x) + n, int(y)) for n in range(int(run))}
    symbol = segno.make_qr(text, error="q")
    lines = list(symbol.matrix_iter(border=0))
    assert dark == {(x, y) for y, line in enumerate(lines) for x, module in enumerate(line) if module}
    # a camera needs four modules of white: side = (modules + 8) × the size of one
    assert f"scale({side / (len(lines) + 8):.5f})" in drawn
