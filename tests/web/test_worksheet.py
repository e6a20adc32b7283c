"""Worksheets on pages: figures of the county and of published rows, fuels by placard, what is here, bad input."""
# ruff: noqa: F811 - fixtures are imported by name and asked for by the same name

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from readiness.models import Change, Concentrate, Duty, Fuel, HoseSize, Listing, Policy, Role, Station
from readiness.reports.published import fluorine_on
from tests.cast import Cast, ConcentrateFactory
from tests.commands.calling import answered
from tests.judged import GPM, Rigged
from tests.web.conftest import as_person
from tests.web.county_pages import (  # noqa: F401 - fixtures by name
    county,
    county_once,
    county_s_own_transaction,
    sign_in,
    unit,
    words,
)

pytestmark = pytest.mark.django_db

SPILL = {
    "fuel": "gasoline, E10",
    "use": "spill",
    "area_number": "30 x 40 ft",
    "area_unit": "ft2",
    "surface": "concrete",
}


def page(client: Client, name: str, **asked: Any) -> str:
    answer = client.get(f"/worksheet/{name}/", asked)
    assert answer.status_code == 200
    return answer.content.decode()


def figures(html: str) -> dict[str, str]:
    """The figures of an answer by their key."""
    found = re.findall(r'<div class="figure-(\w+)"><dt>.*?</dt><dd>(.*?)</dd>', html)
    return dict(found)


def faults(html: str) -> str:
    found = re.search(r'<div class="faults".*?</div>', html, flags=re.S)
    return words(found.group()) if found else ""


def product(name: str) -> Concentrate:
    return Concentrate.objects.get(name=name)


def test_engine_4_of_the_county(county):
    """1,200 ft² at 0.10: 120 gpm; 54.0 gal, 11 pails; 20 pails there are 100 gal: 2,222 ft² by stock."""
    here = {"concentrate": product("Demo AR-AFFF 3x6").pk, "at": f"unit-{unit('Engine 4').pk}"}
    found = figures(page(sign_in("crew"), "spill", **SPILL, **here))
    assert found["rate"] == "0.10 gpm/ft²"
    assert found["required_flow"] == "120 gpm"
    assert found["textbook_need"] == "54 gal"
    assert found["pails"] == "11"
    assert found["have"] == "100 gal"
    assert found["area_by_stock"] == "2,222 ft²"
    assert found["short"] == "0 gal"


def test_nine_pails_are_45_gallons(county):
    """Engine 1: nine pails are 170,343 ml and cover 1,000 ft²: not 44.99 gal and 999 ft²."""
    here = {"concentrate": product("Demo AR-AFFF 3x6").pk, "at": f"unit-{unit('Engine 1').pk}"}
    found = figures(page(sign_in("crew"), "spill", **SPILL, **here))
    assert (found["have"], found["area_by_stock"], found["minutes_by_stock"]) == ("45 gal", "1,000 ft²", "12.5 min")


def test_the_line_s_own_need(county):
    """Engine 1's 900 ft² at 95 gpm and 3.1 %: 44.175 gal."""
    asked = {"area_number": "900", "flow_number": "95", "flow_unit": "gpm", "measured": "3.1"}
    found = figures(page(sign_in(), "spill", **{**SPILL, **asked}, concentrate=product("Demo AR-AFFF 3x6").pk))
    assert found["textbook_need"] == "40.5 gal"
    assert found["line_need"] == "44.18 gal"


def row(html: str, name: str) -> str:
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", html, flags=re.S)
    return next(words(each) for each in rows if name in words(each))


def test_concentrate_by_concentrate(county):
    """Ethanol, 400 ft²: AR-AFFF 0.20 → 80 gpm × 6 % × 15 = 72 gal; AR-F3 0.24 → 96 × 3 % × 15 = 43.2; AFFF none."""
    html = page(sign_in(), "spill", **{**SPILL, "fuel": "ethanol", "area_number": "20 x 20 ft"})
    assert "0.20 gpm/ft² 6 % 72 gal 15" in row(html, "AR-AFFF 3x6")
    assert "0.24 gpm/ft² 3 % 43.2 gal 9" in row(html, "AR-F3")
    for name in ("Demo AFFF 3", "Demo FP 3"):
        assert "No:" in row(html, name)
    assert "No: the wrong foam for this fuel: none of it counts." in row(html, "Demo AFFF 3")
    assert "Footprint 20 x 20 ft" in words(html)
    assert "Demo Class A" not in re.sub(r"<option.*?</option>", "", html)


def test_in_depth_a_polar_fuel_has_no_listed_rate(county):
    """Site S5: 60 % spirit in a dike: no listed rate for anything, never the spill's number."""
    html = page(sign_in(), "spill", **{**SPILL, "fuel": "ethanol", "use": "depth"})
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", html, flags=re.S)
    assert rows
    assert all("No:" in words(each) for each in rows)
    assert "no listed rate" in words(html)


def test_foam_is_not_the_agent(county):
    chosen = product("Demo AR-AFFF 3x6").pk
    html = page(sign_in(), "spill", **{**SPILL, "fuel": "1978"}, concentrate=chosen)
    assert "Foam is not the agent" in words(html)
    assert list(figures(html)) == ["area"]


def test_a_placard_that_is_several_fuels_offers_them(county):
    html = page(sign_in(), "spill", **{**SPILL, "fuel": "1203"})
    assert "“1203” was read, which is" in faults(html)
    again = re.findall(r'href="(\?[^"]*fuel=gasoline%2C\+E10[^"]*)#answer"', html)
    assert len(again) == 1
    answer = sign_in().get("/worksheet/spill/" + again[0].replace("&amp;", "&"))
    assert "concentrate by concentrate" in words(answer.content)


def test_a_volume_on_the_ground(county):
    """Two saddle tanks of 150 gal on gravel: 300 gal at 1 cm: 1,223 ft² up; 300 gal of product run off too."""
    volume = {"spilled": "saddle", "volume_number": "150", "volume_unit": "gal", "surface": "gravel", "area_number": ""}
    asked = {**SPILL, **volume, "concentrate": product("Demo AR-AFFF 3x6").pk}
    html = page(sign_in(), "spill", **asked)
    found = figures(html)
    assert found["area"] == "1,223 ft²"
    assert "the greater area is taken" in words(html)
    assert "US EPA on 40 CFR 68.25" in words(html)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"area_number": ""}, "a footprint is needed, or a diameter, or a spilled volume"),
        ({"area_number": "lots"}, "“lots” was read"),
        ({"area_number": "900", "area_unit": ""}, "came without its unit"),
        ({"diameter_number": "20", "diameter_unit": "ft"}, "one of them belongs here"),
        ({"spilled": "volume"}, "what was spilled, and its volume"),
        ({"volume_number": "9", "volume_unit": "gal"}, "what was spilled, and its volume"),
        ({"fuel": "unobtainium"}, "no fuel of the list has this name or number"),
        ({"fuel": ""}, "Fuel is needed"),
        ({"use": "plunge"}, "Select a valid choice"),
        ({"concentrate": "999999999999999999999"}, "choose from the list"),
        ({"at": "unit-0"}, "choose a unit or a store"),
        ({"measured": "300"}, "at most 10 %"),
        ({"flow_number": "-5", "flow_unit": "gpm"}, "never below zero"),
    ],
)
def test_bad_input_gets_a_sentence(county, changed, said):
    html = page(sign_in(), "spill", **{**SPILL, **changed})
    assert said in faults(html)
    assert figures(html) == {}


def test_another_department_s_stock_is_not_counted(cast: Cast):
    rig = Rigged(cast)
    other = ConcentrateFactory(department=cast.other_department, name="Foreign foam")
    store = Station.objects.create(department=cast.other_department, name="Foreign store")
    Fuel.objects.create(department=cast.other_department, name="foreign fuel", group="hydrocarbon", source="-")
    client = as_person(cast.people[Role.CREW])
    asked = {**SPILL, "fuel": rig.fuel.name}
    for foreign in ({"concentrate": other.pk}, {"at": f"station-{store.pk}"}, {"fuel": "foreign fuel"}):
        html = page(client, "spill", **{**asked, **foreign})
        assert faults(html)
        assert "Foreign" not in re.sub(r'value="[^"]*"', "", html)


def test_a_chief_makes_a_design_spill_of_it(cast: Cast):
    """Fuel, area, use and source stand in the form; what is chosen is the unit and the name."""
    rig = Rigged(cast)
    chief, crew = (as_person(cast.people[each]) for each in (Role.CHIEF, Role.CREW))
    asked = {**SPILL, "fuel": rig.fuel.name, "at": f"unit-{cast.unit.pk}"}
    assert "Use as a design spill" not in page(crew, "spill", **asked)
    html = page(chief, "spill", **asked)
    address = re.search(r'href="([^"]+)">Use as a design spill', html).group(1).replace("&amp;", "&")
    form = chief.get(address).content.decode()
    assert re.search(r'name="area_m2_number" value="1200"', form)
    assert re.search(rf'<option value="{rig.fuel.pk}" selected', form)
    posted = {
        "name": "rack", "fuel": rig.fuel.pk, "area_m2_number": "1200", "area_m2_unit": "ft2", "use": "spill",
        "purpose": "fire", "source": "worksheet, 2026-06-15", "rate_unit": "gpm/ft2", "minutes_unit": "min",
        "supply_lpm_unit": "gpm",
    }  # fmt: skip
    assert chief.post(address, posted).status_code == 302
    duty = Duty.objects.get(name="rack")
    assert (duty.unit, duty.fuel) == (cast.unit, rig.fuel)
    assert duty.area_m2 == pytest.approx(1200 * 0.09290304)


def test_a_suggestion_survives_the_choice_of_a_unit(cast: Cast):
    rig = Rigged(cast)
    chief = as_person(cast.people[Role.CHIEF])
    html = page(chief, "spill", **{**SPILL, "fuel": rig.fuel.name})
    address = re.search(r'href="([^"]+)">Use as a design spill', html).group(1).replace("&amp;", "&")
    chooser = chief.get(address).content.decode()
    assert "Go on" in chooser
    assert re.search(rf'type="hidden" name="fuel" value="{rig.fuel.pk}"', chooser)


@pytest.mark.parametrize("value", ["nan", "inf", "words", "-1"])
def test_a_spoilt_suggestion_is_left_out(cast: Cast, value: str):
    Rigged(cast)
    chief = as_person(cast.people[Role.CHIEF])
    answer = chief.get(f"/reference/duties/add/?unit={cast.unit.pk}&kind=spill&area_m2={value}&fuel=x")
    assert answer.status_code == 200


NEED = {
    "area_number": "3000", "area_unit": "ft2", "rate_number": "0.20", "rate_unit": "gpm/ft2",
    "minutes_number": "15", "minutes_unit": "min", "percent": "3",
}  # fmt: skip


def test_d1_and_d2_on_a_page(cast: Cast):
    """D1: 600 gpm, 18 gpm, 270 gal. D2: 8,730 gal and never 26,190. For anybody signed in."""
    for role in Role:
        html = page(as_person(cast.people[role]), "need", **NEED)
        found = figures(html)
        assert found["required_flow"] == "600 gpm"
        assert found["concentrate_flow"] == "18 gpm"
        assert found["textbook_need"] == "270 gal"
        assert found["water"] == "8,730 gal"
        assert "26,190" not in html


def test_metric_reader(cast: Cast):
    """D4: 7850 m² at 12 L/min/m², 90 min, 1 %: 94,200 L/min, 84,780 L."""
    client = as_person(cast.people[Role.CREW])
    client.post("/account/units/", {"units": "metric"})
    asked = {
        "area_number": "7850", "area_unit": "m2", "rate_number": "12", "rate_unit": "L/min/m2",
        "minutes_number": "90", "minutes_unit": "min", "percent": "1",
    }  # fmt: skip
    found = figures(page(client, "need", **asked))
    assert (found["required_flow"], found["textbook_need"]) == ("94,200 L/min", "84,780 L")


def test_every_working_has_its_source(cast: Cast):
    html = page(as_person(cast.people[Role.CREW]), "need", **NEED)
    steps = re.findall(r"<li><strong>.*?</li>", html, flags=re.S)
    assert len(steps) >= 5
    assert all('<span class="age">' in each for each in steps)


def test_vapor_and_runoff(cast: Cast):
    """S7: 34.17 (34.163 up) and 122.52 (122.513 up) gal. S6: 26.04 (26.031 up) in over 24 in."""
    client = as_person(cast.people[Role.CREW])
    vapor = {
        "area_number": "15 x 30 ft", "area_unit": "ft2", "percent": "6.2", "hold_number": "2", "hold_unit": "h",
        "wind_loss": "25", "fire_flow_number": "95", "fire_flow_unit": "gpm", "fire_minutes_number": "15",
        "fire_minutes_unit": "min",
    }  # fmt: skip
    found = figures(page(client, "vapor", **vapor))
    assert (found["blanket"], found["total"]) == ("34.17 gal", "122.52 gal")
    dike = {
        "area_number": "40 x 50 ft", "area_unit": "ft2", "wall_number": "24", "wall_unit": "in", "flow_number": "500",
        "flow_unit": "gpm", "minutes_number": "30", "minutes_unit": "min", "product_depth_number": "14",
        "product_depth_unit": "in",
    }  # fmt: skip
    html = page(client, "runoff", **dike)
    assert figures(html)["depth"] == "26.04 in"
    assert "runs over the wall" in words(html)


def test_line(cast: Cast):
    """H4: 136.33 psi up 136.33; does not pick up."""
    asked = {
        "flow_number": "125", "flow_unit": "gpm", "inlet_number": "200", "inlet_unit": "psi", "nozzle_number": "100",
        "nozzle_unit": "psi", "legs_number": "150 ft of 1.75 in", "legs_unit": "ft",
    }  # fmt: skip
    html = page(as_person(cast.people[Role.CREW]), "line", **asked)
    assert figures(html)["back_pressure"] == "136.33 psi"
    said = words(html)
    assert "It does not pick up" in said
    assert "The line does not pick up: back pressure 136.3 psi, limit 130.0 psi." in said
    assert (figures(html)["cure_length"], figures(html)["cure_tip"]) == ("100 ft", "75 psi")
    told = answered(
        "line", "--flow", "125 gpm", "--inlet", "200 psi", "--nozzle", "100 psi", "--hose", "150 ft of 1.75 in"
    )
    plain = {key: f"{each['value']:.6g}" for key, each in told["figures"].items()}
    assert set(plain) == set(figures(html))
    for key, text in figures(html).items():  # each rounded to the safe side, by a hundredth at most
        assert float(text.split()[0]) == pytest.approx(float(plain[key]), abs=0.01), key


def test_line_by_the_department_s_own_table_of_hose(cast: Cast):
    """Measured: 10 psi in 100 ft at 125 gpm where the table has 24.2: 150 ft lose 15 and it picks up at 115 psi."""
    HoseSize.objects.create(
        department=cast.department, diameter_in="1.75", coefficient=15.5, source="measured",
        loss_kpa=68.94757293168361, loss_flow_lpm=125 * GPM, loss_length_m=30.48,
    )  # fmt: skip
    asked = {
        "flow_number": "125", "flow_unit": "gpm", "inlet_number": "200", "inlet_unit": "psi", "nozzle_number": "100",
        "nozzle_unit": "psi", "legs_number": "45.72 m of 45 mm", "legs_unit": "ft",
    }  # fmt: skip
    html = page(as_person(cast.people[Role.CREW]), "line", **asked)
    assert figures(html)["back_pressure"] == "115 psi"
    assert "It picks up." in words(html)


def test_line_without_an_eductor(cast: Cast):
    """Row B2: 190 gpm on a feed of 5.0 makes 2.63 %; a nozzle of 166.6 gpm would do."""
    asked = {
        "kind": "other", "flow_number": "190", "flow_unit": "gpm", "inlet_number": "104", "inlet_unit": "psi",
        "nozzle_number": "100", "nozzle_unit": "psi", "legs_number": "50 ft of 2.5 in", "legs_unit": "ft",
        "feed_number": "5", "feed_unit": "gpm", "percent": "3",
    }  # fmt: skip
    html = page(as_person(cast.people[Role.CREW]), "line", **asked)
    assert figures(html)["makes"] == "2.63 %"
    assert figures(html)["cure_flow"] == "166.66 gpm"
    assert "The line makes 2.63 % where 3 % is needed: lean." in words(html)
    driven = page(as_person(cast.people[Role.CREW]), "line", **{**asked, "inlet_number": "200"})
    assert figures(driven)["makes"] == "1.89 %"  # its own 190 take 103.61 psi: 190 √(200 ÷ 103.61) = 264 gpm
    assert "flows more than its nozzle is meant for" in words(driven)


MIXES = {
    "percent": "3",
    "way": "mixes",
    "instrument": "conductivity",
    "mixes": "2=2\n3=3\n4 % = 4;5=5",
    "sample": "3.4",
}


def test_calibration_line_with_its_text_alternative(cast: Cast):
    client = as_person(cast.people[Role.CREW])
    html = page(client, "proportioning", **MIXES)
    assert figures(html)["measured"] == "3.4 %"
    assert "Passed" in words(html)
    assert "The sample reads 3.4, which is 3.40 %, between 3.35 and 3.45 %. 3 to 3.9 % passes." in html
    refused = page(client, "proportioning", **{**MIXES, "instrument": "refractometer", "percent": "1"})
    assert "cannot tell a pass from a fail" in words(refused)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"mixes": "2:2"}, "write two numbers with = between: 3 = 2.9"),
        ({"mixes": "2=2\n3=3"}, "a line needs 3 or more"),
        ({"sample": "high"}, "write a number such as 7 or 2.5"),
        ({"sample": ""}, "No reading of the sample"),
        ({"way": "draw"}, "Concentrate drawn, Time it took, Solution flows of this test is needed"),
        ({"way": "meters"}, "Concentrate flows, Water flows of this test is needed"),
        ({"mixes": "1=1\n" * 41}, "41 entries were read"),
    ],
)
def test_a_test_that_cannot_be_worked(cast: Cast, changed: dict[str, str], said: str):
    html = page(as_person(cast.people[Role.CREW]), "proportioning", **{**MIXES, **changed})
    assert said in faults(html)


def test_draw_and_meters(cast: Cast):
    """95 gpm, a gallon in 20 s: 3.158 %. Row D7: 7.5 in 242.5 gpm is 3 %."""
    client = as_person(cast.people[Role.CREW])
    draw = {
        "way": "draw", "drawn_number": "1", "drawn_unit": "gal", "seconds_number": "20", "seconds_unit": "s",
        "flow_number": "95", "flow_unit": "gpm",
    }  # fmt: skip
    assert figures(page(client, "proportioning", **{**MIXES, **draw}))["measured"] == "3.16 %"
    water = figures(page(client, "proportioning", **{**MIXES, **draw, "baseline": "3"}))
    assert (water["drawn"], water["baseline"], water["moved"]) == (
        "3.16 %",
        "3 %",
        "5.25 %",
    )  # 60 × 3.785 ÷ 20 ÷ 359.614 = 3.1575
    said = faults(page(client, "proportioning", **{**MIXES, "baseline": "3"}))
    assert "it goes with a draw test" in said
    meters = {
        "way": "meters", "concentrate_flow_number": "7.5", "concentrate_flow_unit": "gpm",
        "water_flow_number": "242.5", "water_flow_unit": "gpm",
    }  # fmt: skip
    assert figures(page(client, "proportioning", **{**MIXES, **meters}))["measured"] == "3 %"


def test_drainage_curve(cast: Cast):
    """Reference list, no. 19: expansion 5, a quarter at 4.5 min."""
    series = "0=0\n1=8\n2=20\n3=33\n4=45\n5=55"
    asked = {"cylinder_number": "1000", "cylinder_unit": "ml", "mass_number": "200", "mass_unit": "g", "series": series}
    client = as_person(cast.people[Role.CREW])
    html = page(client, "foam-test", **asked)
    found = figures(html)
    assert (found["expansion"], found["quarter"], found["quarter_minutes"]) == ("5", "50 mL", "4.5 min")
    assert "a quarter, 50 mL, had drained at 4.50 min." in html
    assert "The cylinder holds 1000 ml The foam in it weighs 200 g" in words(html)
    heavy = page(client, "foam-test", **{**asked, "mass_number": "1200"})
    assert "heavier than water" in faults(heavy)


def test_sample(cast: Cast):
    html = page(as_person(cast.people[Role.CREW]), "sample", ph="6.9", density="1.02", declared_density="1.0")
    assert "pH 6.9: OUTSIDE 7 to 8.5." in words(html)
    assert "Failed." in words(html)


def test_packs_are_off_until_a_chief_turns_them_on(cast: Cast):
    crew, chief = (as_person(cast.people[each]) for each in (Role.CREW, Role.CHIEF))
    assert "Marine deck foam" not in crew.get("/worksheet/").content.decode()
    asked = {"percent": "3", "index": "B"}
    html = page(crew, "airport", **asked)
    assert "This region pack is off" in words(html)
    assert figures(html)["concentrate"] == "92.79 gal"  # 92.784 up
    assert crew.post("/policy/pack/", {"pack": "marine", "turn": "on"}).status_code == 403
    assert chief.post("/policy/pack/", {"pack": "marine", "turn": "on"}).status_code == 302
    assert Policy.objects.get(department=cast.department).region_packs == ["marine"]
    assert "Marine deck foam" in crew.get("/worksheet/").content.decode()
    change = Change.objects.get(department=cast.department, action="change policy")
    assert (change.old, change.new) == ({"region_packs": []}, {"region_packs": ["marine"]})
    chief.post("/policy/pack/", {"pack": "marine", "turn": "off"})
    assert Policy.objects.get(department=cast.department).region_packs == []
    chief.post("/policy/pack/", {"pack": "lunar", "turn": "on"})
    assert Policy.objects.get(department=cast.department).region_packs == []


def test_published_figures_name_source_and_memory(cast: Cast):
    client = as_person(cast.people[Role.OBSERVER])
    html = words(client.get("/worksheet/published/").content)
    assert "Spill, hydrocarbon, film-forming 0.10 gpm/ft², 15 min NFPA 11 as taught: IFSTA numbers sheet" in html
    assert "at least 0.997 NFPA 11 Annex D (from memory, unconfirmed)" in html
    assert "2030-10-23" not in html
    Policy.objects.filter(department=cast.department).update(region_packs=["fluorine"])
    html = words(client.get("/worksheet/published/").content)
    assert "until 2030-10-23" in html
    figures_of = {each.what: each.figure for each in fluorine_on(date(2028, 1, 1)).figures}
    assert figures_of["Canada: AFFF with PFOA or LC-PFCA in ordinary systems"] == "over since 2027-12-31"


def queries(client: Client, **asked: Any) -> int:
    with CaptureQueriesContext(connection) as caught:
        page(client, "spill", **asked)
    return len(caught)


def test_queries_do_not_grow_with_stock_or_concentrates(cast: Cast):
    rig = Rigged(cast, pails=2)
    client = as_person(cast.people[Role.LOGISTICS])
    asked = {**SPILL, "fuel": rig.fuel.name, "at": f"unit-{cast.unit.pk}"}
    queries(client, **asked)
    few = queries(client, **asked)
    for n in range(12):
        rig.pail(f"M{n}")
        more = ConcentrateFactory(department=cast.department)
        listing = Listing.objects.get(concentrate=cast.ar)
        listing.pk, listing.concentrate = None, more
        listing.save()
    assert queries(client, **asked) == few
