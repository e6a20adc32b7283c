"""Reference data: every noun's list, record and form; who may what; another department's ids in every field."""

from __future__ import annotations

import io
import re
from datetime import date

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from readiness.actions.hoses import copy_published
from readiness.engineering.label_sheets import PRESETS
from readiness.models import (
    Appliance,
    Change,
    CompatibilityGroup,
    Concentrate,
    Duty,
    FoamLine,
    Fuel,
    InspectionRule,
    LabelSheet,
    Listing,
    Membership,
    Role,
    Setup,
    Station,
    Unit,
    Vehicle,
)
from readiness.web.editors import Editor
from readiness.web.reference import GROUPS
from tests.cast import D0, Cast, UnitFactory, VehicleFactory
from tests.judged import FT2, GPM, Rigged
from tests.keeping import all_judged, due, last_change
from tests.web.conftest import as_person

pytestmark = pytest.mark.django_db
EDITORS: dict[str, Editor] = {noun: editor for _, of in GROUPS for noun, editor in of}
NOT_CHIEF = [role for role in Role if role != Role.CHIEF]


@pytest.fixture
def rigged(cast):
    """One of everything."""
    made = Rigged(cast, pails=1)
    made.tank()
    Setup.objects.create(department=cast.department, unit=cast.unit, name="one line").members.create(line=made.line)
    group = CompatibilityGroup.objects.create(department=cast.department, name="twins", evidence="letter")
    group.concentrates.add(cast.ar, cast.class_a)
    copy_published(cast.department)
    Fuel.objects.create(department=cast.department, name="plant mix", group="polar", source="data sheet")
    facts = {"name": "yearly tank inspection", "of": "fixed tank", "rhythm": "year", "since_on": D0}
    InspectionRule.objects.create(department=cast.department, clause="our rule 7", **facts)
    LabelSheet.objects.create(department=cast.department, **PRESETS["a4-8"]._asdict())
    return made


@pytest.fixture
def chief(as_role) -> Client:
    return as_role(Role.CHIEF)


def row_of(noun: str, cast: Cast):
    """A record of the cast's department."""
    model = EDITORS[noun].noun.model
    by = EDITORS[noun].noun.by
    return model._default_manager.filter(**{by: cast.department}).order_by("id").first()


def address(noun: str, *rest: object) -> str:
    return "/".join(["/reference", EDITORS[noun].keys, *map(str, rest), ""])


def drawn(client: Client, url: str) -> dict[str, object]:
    """What a browser would post of a form as it was drawn."""
    form = client.get(url).context["form"]
    fields: dict[str, object] = {}
    for html in (str(form[name]) for name in form.fields):
        for tag in re.findall(r"<input[^>]*>", html):
            got = dict(re.findall(r'(\w+)="([^"]*)"', tag))
            if got.get("type") in ("checkbox", "radio"):
                if "checked" in tag:
                    fields.setdefault(got["name"], [])
                    fields[got["name"]].append(got.get("value", "on"))  # type: ignore[attr-defined]
            else:
                fields[got["name"]] = got.get("value", "")
        for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', html, re.DOTALL):
            chosen = re.findall(r'<option value="([^"]*)" selected>', options)
            fields[name] = chosen[0] if chosen else ""
        for name, text in re.findall(r'<textarea name="([^"]+)"[^>]*>\s*(.*?)</textarea>', html, re.DOTALL):
            fields[name] = text
    return fields


# Who may what


@pytest.mark.parametrize("role", Role)
def test_the_first_page_tells_what_there_is(rigged, as_role, role):
    text = as_role(role).get("/reference/").content.decode()
    assert 'Foam lines</a> <span class="age">1 in use' in text
    assert ("Add a foam line" in text) == (role == Role.CHIEF)
    assert ("/changes/" in text) == (role in (Role.CHIEF, Role.LOGISTICS))


@pytest.mark.parametrize("noun", EDITORS)
@pytest.mark.parametrize("role", NOT_CHIEF)
def test_others_look_and_do_not_touch(rigged, cast, as_role, role, noun):
    client, row = as_role(role), row_of(noun, cast)
    for seen in (address(noun), address(noun, row.pk)):
        page = client.get(seen)
        assert page.status_code == 200
        assert "/change/" not in page.content.decode()
        assert "/add/" not in page.content.decode()
    history = client.get(address(noun, row.pk)).context["history"]
    assert (history is not None) == (role == Role.LOGISTICS), "the table of changes is for chief and logistics officer"
    forms = [address(noun, "add"), address(noun, row.pk, "change")]
    if EDITORS[noun].noun.retired:
        forms += [address(noun, row.pk, "retire"), address(noun, row.pk, "back")]
    for form in forms:
        assert client.post(form, {}).status_code == 403
        assert client.get(form).status_code in (403, 405)
    assert not Change.objects.filter(subject_kind=row._meta.model_name, subject_id=str(row.pk)).exists()


@pytest.mark.parametrize("noun", EDITORS)
def test_another_department_sees_nothing_of_it(rigged, cast, noun):
    client, row = as_person(cast.outsider), row_of(noun, cast)
    assert client.get(address(noun)).status_code == 200
    assert row.pk not in {each.record.pk for each in client.get(address(noun)).context["table"].rows}
    for page in (address(noun, row.pk), address(noun, row.pk, "change")):
        assert client.get(page).status_code == 404
        if "change" in page:
            assert client.post(page, {}).status_code == 404
    if EDITORS[noun].noun.retired:
        for verb in ("retire", "back"):
            assert client.post(address(noun, row.pk, verb)).status_code == 404


def test_a_shipped_fuel_may_be_seen_and_not_changed(rigged, chief):
    shipped = rigged.fuel
    page = chief.get(address("fuels", shipped.pk))
    assert page.status_code == 200
    assert "Retire this fuel" not in page.content.decode()
    for verb in ("change", "retire", "back"):
        answer = chief.post(address("fuels", shipped.pk, verb), {})
        assert answer.status_code == 403
        assert "is shipped with the product and read only" in answer.content.decode()


# A form as it was drawn changes nothing; a changed one is kept


@pytest.mark.parametrize("noun", EDITORS)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_form_posted_as_it_was_drawn_changes_nothing(rigged, cast, chief, noun, units):
    rigged.line.height_m, rigged.line.inlet_kpa = -3.048, 1378.9514586
    rigged.line.save()
    rigged.line.legs.create(n=1, length_m=45.72, diameter_in=1.75)
    Vehicle.objects.update(water_l=2839.059, pump_lpm=1500 * GPM)
    chief.post("/account/units/", {"units": units})
    row = row_of(noun, cast)
    url = address(noun, row.pk, "change")
    answer = chief.post(url, drawn(chief, url))
    assert answer.status_code == 302, answer.context and answer.context["form"].errors
    assert not Change.objects.filter(action__startswith="change ").exists(), last_change()


def test_each_quantity_is_read_in_the_unit_it_was_drawn_in(rigged, cast, chief):
    url = address("vehicles", cast.vehicle.pk, "change")
    asked = drawn(chief, url) | {"water_l_number": "500", "pump_lpm_number": "1000 L/min"}
    chief.post("/account/units/", {"units": "metric"})
    all_judged()
    assert chief.post(url, asked).status_code == 302
    cast.vehicle.refresh_from_db()
    assert cast.vehicle.water_l == 1892.706  # 500 US gal of 3.785411784 L, to the millilitre
    assert cast.vehicle.pump_lpm == 1000
    assert due() == {"Engine 1"}


def test_a_unit_a_line_and_a_duty_are_added(rigged, cast, chief):
    spare = cast.spare_vehicle
    unit = {"designation": "Engine 2", "station": cast.station.pk, "state": "in", "runs_on": spare.pk}
    made = chief.post(address("units", "add"), unit)
    new = Unit.objects.get(designation="Engine 2")
    assert made["Location"] == address("units", new.pk)
    assert new.assignments.get().vehicle == spare

    assert "name" not in chief.get(address("lines", "add")).context["form"].fields, "first the rig"
    eductor = rigged.line.proportioner
    line = {
        "name": "Crosslay 2",
        "proportioner": eductor.pk,
        "flow_lpm_number": "95",
        "flow_lpm_unit": "gpm",
        "parked_pct": "6",
        "pails": "on",
        "legs_number": "45 m of 45 mm; 15 m of 65 mm",
        "legs_unit": "ft",
        "tube_original": "on",
    }
    answer = chief.post(f"{address('lines', 'add')}?owner=unit-{cast.unit.pk}", line)
    assert answer.status_code == 302, answer.context["form"].errors
    second = FoamLine.objects.get(name="Crosslay 2")
    assert (second.unit, second.parked_pct, second.flow_lpm) == (cast.unit, 600, 95 * GPM)
    assert [(leg.length_m, float(leg.diameter_in)) for leg in second.legs.all()] == [(45.0, 1.75), (15.0, 2.5)]

    spill = {
        "name": "rail yard",
        "fuel": rigged.fuel.pk,
        "area_m2_number": "30 x 40 ft",
        "area_m2_unit": "ft2",
        "use": "spill",
        "purpose": "fire",
        "rate_number": "4.1",
        "rate_unit": "L/min/m2",
        "source": "pre-plan",
    }
    answer = chief.post(f"{address('duties', 'add')}?unit={cast.unit.pk}&kind=spill", spill)
    assert answer.status_code == 302, answer.context["form"].errors
    duty = Duty.objects.get(name="rail yard")
    assert duty.area_m2 == pytest.approx(1200 * FT2)
    assert (str(duty.rate), duty.rate_unit, duty.minutes) == ("4.1000", "lpm_m2", None)


@pytest.mark.parametrize("kind", ["class-a", "airport"])
def test_each_kind_of_duty_has_its_own_form(rigged, cast, chief, kind):
    form = chief.get(f"{address('duties', 'add')}?unit={cast.unit.pk}&kind={kind}").context["form"]
    assert (
        set(form.fields)
        == {
            "class-a": {"seen", "name", "tankfuls", "setting_pct", "source"},
            "airport": {"seen", "name", "fuel", "required_water_l", "other_agent_kg", "source"},
        }[kind]
    )


def test_a_refusal_stands_at_its_field_and_saves_nothing(rigged, cast, chief):
    url = address("lines", rigged.line.pk, "change")
    answer = chief.post(url, drawn(chief, url) | {"parked_pct": "1"})
    assert answer.status_code == 200
    assert answer.context["form"].errors["parked_pct"] == ["“1 %” was read: eductor offers 3 %, 6 %."]
    assert "nothing was saved" in answer.content.decode()
    assert not Change.objects.filter(action="change foam line").exists()


@pytest.mark.parametrize(
    ("noun", "changes", "field", "sentence"),
    [
        ("vehicles", {"water_l_number": "-1"}, "water_l", "never below zero"),
        ("vehicles", {"water_l_number": "300000"}, "water_l", "at most"),
        ("vehicles", {"pump_lpm_number": "5", "pump_lpm_unit": ""}, "pump_lpm", "no unit"),
        ("units", {"lines_staffed": "two"}, "lines_staffed", "a plain number belongs here"),
        ("units", {"no_duty_review_on": "06/15/26"}, "no_duty_review_on", "was read"),
        ("appliances", {"settings_pct": "300"}, "settings_pct", "at most 10 %"),
        ("appliances", {"settings_pct": "3-6"}, "settings_pct", "was read"),
        ("appliances", {"rings_lpm_number": "60 psi"}, "rings_lpm", "a flow belongs here"),
        ("lines", {"legs_number": "1.75 in of 150 ft"}, "legs", "write the length first"),
        ("lines", {"legs_number": "150 of 1.75"}, "legs", "without a unit"),
        ("duties", {"area_m2_number": "30 x 40"}, "area_m2", "without a unit"),
        ("duties", {"minutes": "0"}, "minutes", "more than 0"),
        ("listings", {"pct": "0.03"}, "pct", "write 3 % if the fraction"),
        ("listings", {"source": ""}, "source", "Nothing was read"),
        ("concentrates", {"pfas": "no"}, "pfas_evidence", "Nothing was read, and PFAS says no"),
        ("groups", {"evidence": " "}, "evidence", "Nothing was read"),
        ("stations", {"check_interval_h": "0"}, "check_interval_h", "at least 1 h"),
        ("fuels", {"un": "12"}, "un", "four figures"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(rigged, cast, chief, noun, changes, field, sentence):
    url = address(noun, row_of(noun, cast).pk, "change")
    answer = chief.post(url, drawn(chief, url) | changes)
    assert answer.status_code == 200
    assert sentence in " ".join(answer.context["form"].errors[field])
    assert not Change.objects.filter(action__startswith="change ").exists()


def test_what_somebody_changed_meanwhile_is_not_overwritten(rigged, cast, chief):
    url = address("stations", cast.station.pk, "change")
    asked = drawn(chief, url)
    Station.objects.filter(pk=cast.station.pk).update(check_interval_h=12)
    answer = chief.post(url, asked | {"check_interval_h": "48"})
    assert "Somebody changed it since you opened the form" in answer.content.decode()


# Ids of another department


@pytest.fixture
def foreign(cast):
    """One of everything that a field can name, of the other department."""
    department = cast.other_department
    station = Station.objects.create(department=department, name="Far House")
    unit = UnitFactory(station=station, designation="Far Engine")
    concentrates = [
        Concentrate.objects.create(department=department, name=name, kind="P", pfas="no")
        for name in ("Far P 3", "Far P 6")
    ]
    eductor = Appliance.objects.create(
        department=department, unit=unit, name="far eductor", kind="in-line eductor", settings_pct=[300]
    )
    line = FoamLine.objects.create(department=department, unit=unit, name="far line", proportioner=eductor)
    tank = cast.tank(code="FAR")
    tank.department = department
    tank.save()
    return {
        "station": station,
        "person": cast.outsider,
        "vehicle": VehicleFactory(station=station, shop_no="900"),
        "unit": unit,
        "concentrate": concentrates[0],
        "appliance": eductor,
        "line": line,
        "container": tank,
        "fuel": Fuel.objects.create(department=department, name="far mix", group="polar", source="x"),
    }


@pytest.mark.parametrize(
    ("noun", "field", "named"),
    [
        ("units", "station", "station"),
        ("units", "runs_on", "vehicle"),
        ("vehicles", "station", "station"),
        ("vehicles", "tow", "vehicle"),
        ("appliances", "owner", "unit"),
        ("appliances", "owner", "vehicle"),
        ("lines", "proportioner", "appliance"),
        ("lines", "nozzle", "appliance"),
        *(("lines", f"branch_{n}_nozzle", "appliance") for n in (1, 2, 3)),
        ("lines", "sources", "container"),
        ("setups", "lines", "line"),
        ("duties", "fuel", "fuel"),
        ("listings", "concentrate", "concentrate"),
        ("listings", "fuel", "fuel"),
        ("groups", "concentrates", "concentrate"),
        ("inspection_rules", "station", "station"),
        ("inspection_rules", "owner", "person"),
    ],
)
def test_another_departments_ids_are_refused_in_every_field(rigged, cast, chief, foreign, noun, field, named):
    if (noun, field) == ("units", "runs_on"):
        rigged.assignment.delete()  # else the field is fixed: by change-over only
    row, record = row_of(noun, cast), foreign[named]
    url = address(noun, row.pk, "change")
    value = f"{named}-{record.pk}" if field == "owner" else record.pk
    answer = chief.post(url, drawn(chief, url) | {field: value})
    assert answer.status_code == 200
    assert "choose" in " ".join(answer.context["form"].errors[field])
    assert str(record) not in answer.content.decode(), "not even its name is told"
    assert not Change.objects.filter(action__startswith="change ").exists()


def test_every_field_that_names_a_record_is_tried():
    from django import forms

    from readiness.web.column_fields import RigField

    naming = {
        (noun, name)
        for noun, editor in EDITORS.items()
        for name, field in editor.form.base_fields.items()
        if isinstance(field, forms.ModelChoiceField | RigField)
    }
    marks = [
        each
        for each in test_another_departments_ids_are_refused_in_every_field.pytestmark
        if each.name == "parametrize"
    ]
    assert naming == {(noun, field) for noun, field, _ in marks[0].args[1]}


def test_a_rig_or_unit_of_another_department_cannot_be_chosen(cast, chief, foreign):
    for url in (
        f"{address('lines', 'add')}?owner=unit-{foreign['unit'].pk}",
        f"{address('setups', 'add')}?owner=vehicle-{foreign['vehicle'].pk}",
        f"{address('duties', 'add')}?unit={foreign['unit'].pk}&kind=spill",
        f"{address('duties', 'add')}?unit={cast.unit.pk}&kind=flood",
    ):
        page = chief.post(url, {"name": "x"})
        assert page.status_code == 200
        assert "choose" in page.content.decode()
        assert "name" not in page.context["form"].fields, "the choice is asked again"


# Retiring


def test_retire_and_bring_back(rigged, cast, chief):
    assert "Retire this foam line" in chief.get(address("lines", rigged.line.pk)).content.decode()
    chief.post(address("lines", rigged.line.pk, "retire"))
    rigged.line.refresh_from_db()
    assert rigged.line.retired_on == D0
    page = chief.get(address("lines", rigged.line.pk)).content.decode()
    assert "Not in use since 2026-06-15" in page
    assert "retire foam line" in page
    assert not chief.get(address("lines")).context["table"].rows
    assert len(chief.get(address("lines") + "?which=retired").context["table"].rows) == 1
    chief.post(address("lines", rigged.line.pk, "back"))
    rigged.line.refresh_from_db()
    assert rigged.line.retired_on is None


def test_what_is_in_the_way_is_said(rigged, cast, chief):
    answer = chief.post(address("units", cast.unit.pk, "retire"))
    assert answer.status_code == 409
    assert "Containers on Engine 1: P0. Move them first." in answer.content.decode()


# Lists


@pytest.mark.parametrize("noun", EDITORS)
def test_a_list_sorts_searches_and_is_saved_as_a_workbook(rigged, cast, chief, noun):
    url = address(noun)
    table = chief.get(url).context["table"]
    for column in table.columns:
        if column.orderable:
            assert chief.get(f"{url}?sort=-{column.name}").status_code == 200
    assert not chief.get(f"{url}?q=zzzz").context["table"].rows
    answer = chief.get(f"{url}?export=xlsx")
    book = load_workbook(io.BytesIO(answer.content))
    assert book.worksheets[0].max_row == 1 + len(table.rows)
    if EDITORS[noun].noun.retired:
        assert any("on" in str(cell.value) for cell in book.worksheets[0][1]), "the workbook tells since when"


def test_numbers_leave_as_numbers(rigged, cast, chief):
    Vehicle.objects.filter(shop_no="201").update(water_l=2839.059)  # 750 US gal of 3.785411784 L
    book = load_workbook(io.BytesIO(chief.get(address("vehicles") + "?export=xlsx&q=201").content))
    heading, row = ([cell.value for cell in line] for line in book.worksheets[0].iter_rows())
    assert row[heading.index("Water [gal]")] == 750
    book = load_workbook(io.BytesIO(chief.get(address("duties") + "?export=xlsx").content))
    heading, row = ([cell.value for cell in line] for line in book.worksheets[0].iter_rows())
    assert row[heading.index("Footprint [ft²]")] == 900
    assert "What is asked" not in heading, "words for the screen only"


def test_filters(rigged, cast, chief):
    other = Station.objects.create(department=cast.department, name="Millrace")
    VehicleFactory(station=other, shop_no="300", state="out")
    names = lambda query: {each.record.shop_no for each in chief.get(address("vehicles") + query).context["table"].rows}  # noqa: E731 - read in the lines below only
    assert names("") == {"201", "209", "300"}
    assert names(f"?station={other.pk}") == {"300"}
    assert names("?state=out") == {"300"}
    assert names("?q=engine+1") == {"201"}, "by the unit that runs on it"
    far = Station.objects.create(department=cast.other_department, name="Far House")
    page = chief.get(f"{address('vehicles')}?station={far.pk}")
    assert page.status_code == 200
    assert "Far House" not in page.content.decode(), "nobody chooses from another department's records"


@pytest.mark.parametrize("noun", EDITORS)
def test_queries_do_not_grow_with_rows(rigged, cast, chief, noun):
    counted = []
    for size in (1, 12):
        for n in range(size):
            one_more(cast, rigged, f"{size}-{n}")
        with CaptureQueriesContext(connection) as queries:
            chief.get(address(noun))
        counted.append(len(queries))
    assert counted[0] == counted[1]


def one_more(cast: Cast, rigged: Rigged, name: str) -> None:
    """One more of everything."""
    department = cast.department
    station = Station.objects.create(department=department, name=name)
    unit = UnitFactory(station=station, designation=name)
    vehicle = VehicleFactory(station=station, shop_no=name, tow=cast.spare_vehicle, needs_tow=True)
    unit.assignments.create(department=department, vehicle=vehicle, from_at=rigged.assignment.from_at)
    eductor = Appliance.objects.create(
        department=department, unit=unit, name=name, kind="in-line eductor", settings_pct=[300]
    )
    line = FoamLine.objects.create(department=department, unit=unit, name=name, proportioner=eductor)
    line.legs.create(n=1, length_m=30, diameter_in=1.75)
    line.sources.create(container=cast.tank(code=name))
    Setup.objects.create(department=department, unit=unit, name=name).members.create(line=line)
    fuel = Fuel.objects.create(department=department, name=name, group="polar", source="x")
    concentrate = Concentrate.objects.create(department=department, name=name, kind="AFFF", pfas="yes")
    Listing.objects.create(concentrate=concentrate, fuel=fuel, use="spill", pct=300, source="x")
    CompatibilityGroup.objects.create(department=department, name=name, evidence="x").concentrates.add(concentrate)
    Duty.objects.create(
        department=department, unit=unit, name=name, kind="spill", fuel=fuel, area_m2=5, use="spill", source="x"
    )


def test_every_page_of_reference_is_behind_the_sign_in(rigged, cast):
    Membership.objects.filter(user=cast.people[Role.CREW]).update(to_on=date(2026, 6, 1))
    for noun in EDITORS:
        assert Client().get(address(noun)).status_code == 302
        assert as_person(cast.people[Role.CREW]).get(address(noun)).status_code == 403
