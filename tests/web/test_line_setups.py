"""The page of a line: the county's cures and alternatives as people read them, and what a point still lacks.

Expected figures: the county worked by hand; lengths and minutes rounded down, needs up.
"""
# ruff: noqa: F811 - fixtures are imported by name and asked for by the same name

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.models import Appliance, Assignment, FoamLine, Unit
from tests.web.county_pages import (  # noqa: F401 - fixtures by name
    county,
    county_once,
    county_s_own_transaction,
    sign_in,
    unit,
    words,
)

pytestmark = pytest.mark.django_db
PSI, GPM = 6.894757293168361, 3.785411784


def line_of(name: str) -> FoamLine:
    row = unit(name)
    own = FoamLine.objects.filter(unit=row).first()
    vehicle = Assignment.objects.get(unit=row, to_at=None).vehicle
    return own or FoamLine.objects.get(vehicle=vehicle, setups__isnull=False)  # no spare


def address(name: str) -> str:
    return f"/units/{unit(name).pk}/lines/{line_of(name).pk}/"


def page_of(name: str, who: str = "crew") -> str:
    answer = sign_in(who).get(address(name))
    assert answer.status_code == 200
    return words(answer.content)


SAID = [
    # 5: 136.33 psi = 68.2 %: no draw; 100 ft 124.22 = 62.1 %, 16.0 min; longest 123.9; 75-psi tip 111.33 = 55.7 %.
    # As a restriction it passes 121.2 gpm and its back pressure is 100 + 23.25 × 1.2122² = 134.2 psi.
    ("Engine 5", ["It does not pick up: no foam, 121 gpm of water.", "134.2 psi at the outlet, 67.1 % of inlet",
                  "limit 130.0 psi", "Longest stretch 123.8 ft; laid 150 ft", "at least 14.6 ft below the pump",
                  "back pressure 136.3 psi, limit 130.0 psi",
                  "drop 1 length of hose, 100 ft left in the last leg aboard ready 125 gpm of 125 gpm "
                  "56.3 gal of 60.0 gal 16.0 min, 79.9 s a pail 124.2 psi = 62.1 % of inlet, longest 123 ft",
                  "a tip of 125.0 gpm at 75.0 psi not aboard ready", "111.3 psi = 55.7 % of inlet"]),
    # 4: a second set: 190 gpm, 85.5 of 100, 17.5 min, 52.6 s a pail
    ("Engine 4", ["a second line like this one beside it not aboard ready 190 gpm of 120 gpm 85.5 gal of 100.0 gal "
                  "17.5 min, 52.6 s a pail"]),
    # 2: 3x6 at 6 %: 3.6 of 3.0 → 5 %; 3x3 at .24: required 48, 27.0 of 29.0; FP has no listing
    ("Engine 2", ["fill it with Demo AR-F3 3x3 not aboard unverified", "60 gpm of 48 gpm 27.0 gal of 29.0 gal",
                  "fill it with Demo AR-AFFF 3x6 not aboard not ready", "makes 5 %",
                  "Set to 6 %, 1 × 60 gpm: asks 3.60 gpm, makes 5 % lean"]),
    # 6: ring 95 at 6 %: 5.26 %; two 95s at 3 %: 2.63 %
    ("Engine 6", ["turn the ring to 95.0 gpm aboard not ready", "makes 5.26 %",
                  "Set to 6 %, 1 × 95 gpm: asks 5.70 gpm, makes 5.26 % lean",
                  "Set to 3 %, 2 × 95 gpm: asks 5.70 gpm, makes 2.63 % lean", "short of concentrate: 15.5 gal"]),
    # 3: turned to 6 %: 88.35 of 90
    ("Engine 3", ["turn the setting to 6 % aboard ready 95 gpm of 80 gpm 88.4 gal of 90.0 gal"]),
    # 1: 120.98 psi = 60.5 %, longest 214.4 ft
    ("Engine 1", ["It picks up.", "121.0 psi at the outlet, 60.5 % of inlet", "Longest stretch 214.4 ft",
                  "Nothing is wrong with it for this."]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "said"), SAID)
def test_what_the_county_says(county, name, said):
    found = page_of(name)
    assert [each for each in said if each not in found] == []


def test_the_plot_says_in_words_what_it_draws(county):
    html = sign_in("crew").get(address("Engine 5")).content.decode()
    told = (
        "With 150 ft of hose it does not pick up; the limit of back pressure is 130 psi. The longest stretch is 123 ft."
    )
    assert f">{told}</desc>" in html
    assert 'class="mark bad"' in html
    assert 'class="mark good"' in sign_in("crew").get(address("Engine 1")).content.decode()
    FoamLine.objects.filter(pk=line_of("Engine 6").pk).update(pump_kpa=None)
    assert '<svg class="plot"' not in sign_in("crew").get(address("Engine 6")).content.decode()


def test_what_keeps_a_line_from_being_worked_is_named(county):
    line = line_of("Engine 6")
    FoamLine.objects.filter(pk=line.pk).update(pump_kpa=None)
    line.legs.all().delete()
    Appliance.objects.filter(pk=line.nozzle_id).update(rated_pressure_kpa=None)
    assert "Missing: inlet or pump pressure, hose, nozzle pressure." in page_of("Engine 6")


def test_every_line_of_the_county_is_worked(county):
    """Nothing is left unsolved for want of a fact, and every line gives its nozzle its own flow."""
    for row in Unit.objects.filter(department=county, no_duty_by=""):
        found = page_of(row.designation)
        assert "Missing:" not in found, row
        assert "at its pump pressure it flows" not in found, row


def test_rich_and_lean_are_told_as_a_direction_without_a_figure(county):
    """95 × √(200 ÷ 160) = 106.2 gpm: the plate's inlet is 160."""
    line = line_of("Engine 1")
    Appliance.objects.filter(pk=line.proportioner_id).update(rated_pressure_kpa=160 * PSI)
    found = page_of("Engine 1")
    assert "Inlet above the plate’s: lean." in found
    assert "Flow 106.2 gpm" in found
    assert "3 % at the plate’s inlet; here lean no source gives by how much" in found
    assert "pump it to the plate’s inlet pressure, 160.0 psi aboard" in found


def test_a_pumped_line_is_solved_for_its_flow(county):
    """Engine 6 with 150 psi, 200 ft of 1¾ in and its 60-gpm ring rated at 100 psi: Q² (0.0031 + 100 ÷ 3600) = 150."""
    line = line_of("Engine 6")
    FoamLine.objects.filter(pk=line.pk).update(pump_kpa=150 * PSI)
    Appliance.objects.filter(pk=line.nozzle_id).update(rated_pressure_kpa=100 * PSI)
    line.legs.update(length_m=200 * 0.3048)
    found = page_of("Engine 6")
    by_hand = (150 / (0.0031 + 100 / 3600)) ** 0.5
    assert f"It flows {int(by_hand)} gpm." in found
    assert by_hand == pytest.approx(69.7, abs=0.05)
    assert "3 % as set, as far as its feed reaches" in found
    # 100 + 15.5 × 0.36 × 2 = 111.16 psi for its own 60 gpm
    assert "For 60 gpm pump at 112 psi" in found
    assert "Pump pressure 150 psi" in words(sign_in("crew").get(f"/units/{unit('Engine 6').pk}/card/").content)


def test_the_feed_is_told_for_what_the_pump_drives_as_the_status_is(county):
    """150 psi on 50 ft of 1¾ in and a 60-gpm tip of 100 psi: Q² (15.5 × .5 ÷ 10⁴ + 100 ÷ 3600) = 150, Q = 72.48 gpm.

    At 3 % they ask 2.175 gpm of concentrate: 2.0 gpm of feed make 2.759 %, where the tip’s own 60 would ask 1.80.
    Those 60 take 100 + 15.5 × .36 × .5 = 102.79 psi.
    """
    line = line_of("Engine 6")
    FoamLine.objects.filter(pk=line.pk).update(pump_kpa=150 * PSI)
    Appliance.objects.filter(pk=line.nozzle_id).update(rated_pressure_kpa=100 * PSI)
    Appliance.objects.filter(pk=line.proportioner_id).update(foam_feed_lpm=2.0 * GPM)
    line.legs.update(length_m=50 * 0.3048)
    found = page_of("Engine 6")
    assert "Crosslay 1 makes 2.75 % where 3 % is needed: lean." in found
    assert "pump it at 102.8 psi, what its nozzle’s own flow takes aboard ready 60 gpm of 60 gpm" in found
    assert "turn the ring to 95.0 gpm aboard not ready proportioned lean 112 gpm of 60 gpm" in found
    assert found.count("makes 1.77 %") == 4  # 95 × √(150 ÷ 106.994) = 112.48 gpm: 1.778 %; twice tried, twice set
    assert "Set to 3 %, 1 × 72 gpm from a nozzle of 60 gpm: asks 2.18 gpm, makes 2.75 % lean" in found


def test_a_line_that_flows_nothing_makes_nothing(county):
    """A nozzle that holds 100 psi, pumped at 60; 50 ft of 1¾ in at 60 gpm take 2.79 psi more."""
    line = line_of("Engine 6")
    FoamLine.objects.filter(pk=line.pk).update(pump_kpa=60 * PSI)
    Appliance.objects.filter(pk=line.nozzle_id).update(rated_pressure_kpa=100 * PSI, holds_pressure=True)
    line.legs.update(length_m=50 * 0.3048)
    found = page_of("Engine 6")
    assert "Nothing flows." in found
    assert "Makes nothing" in found
    assert "What its feed makes" not in found
    assert "Crosslay 1: at its pump pressure it flows 0.0 gpm, the nozzle asks 60.0 gpm." in found
    assert "pump it at 102.8 psi, what its nozzle’s own flow takes aboard ready" in found


def test_hose_of_a_wye_and_lift_are_shown(county):
    """150 ft of 1¾ in before a wye, and behind it two lines of 100 ft: 13.99 × 1.5 + 15.5 × 0.475² × 1 = 24.48 psi."""
    line = line_of("Engine 1")
    FoamLine.objects.filter(pk=line.pk).update(wye_lines=2, lift_m=1.2192)
    Appliance.objects.filter(pk=line.proportioner_id).update(plate_lift_m=1.8288)
    line.legs.create(n=2, part="wye", length_m=30.48, diameter_in="1.75")
    found = page_of("Engine 1")
    assert "124.5 psi at the outlet" in found
    assert "4.0 ft of at most 6.0 ft by the plate" in found
    engine = words(sign_in("crew").get(f"/units/{unit('Engine 1').pk}/").content)
    assert "150 ft of 1.75 in + 100 ft of 1.75 in (2 × behind the wye)" in engine
    listed = words(sign_in("crew").get("/reference/foam_lines/").content)
    assert "150 ft of 1.75 in; 2 × 100 ft of 1.75 in" in listed


def test_water_outside_the_compared_speeds_is_said(county):
    """95 gpm in 5-in hose: 0.47 m/s."""
    line_of("Engine 1").legs.update(diameter_in="5")
    assert "Outside the range in which friction was compared" in page_of("Engine 1")


def test_a_line_of_another_rig_is_not_here(county):
    client = sign_in("chief")
    assert client.get(f"/units/{unit('Engine 1').pk}/lines/{line_of('Engine 5').pk}/").status_code == 404


def test_metric_readers_read_metric(county):
    client = sign_in("crew")
    client.post("/account/units/", {"units": "metric", "next": "/"})
    found = words(client.get(address("Engine 5")).content)
    assert "drop 1 length of hose, 30.5 m left in the last leg" in found


def test_the_unit_page_and_the_card_say_the_cure(county):
    assert "With gear aboard: drop 1 length of hose, 100 ft left in the last leg." in words(
        sign_in("crew").get(f"/units/{unit('Engine 5').pk}/").content
    )
    card = words(sign_in("crew").get(f"/units/{unit('Engine 5').pk}/card/").content)
    assert "does not pick up: drop 1 length of hose, 100 ft left in the last leg" in card
    assert "With gear aboard" not in words(sign_in("crew").get(f"/units/{unit('Engine 6').pk}/").content)


def test_queries_do_not_grow_with_what_is_aboard(county):
    client = sign_in("crew")
    client.get(address("Engine 5"))
    with CaptureQueriesContext(connection) as few:
        client.get(address("Engine 5"))
    for n in range(8):
        Appliance.objects.create(
            department=county,
            unit=unit("Engine 5"),
            name=f"spare {n}",
            kind="fog nozzle",
            rated_flow_lpm=(60 + n) * GPM,
        )
    with CaptureQueriesContext(connection) as many:
        found = words(client.get(address("Engine 5")).content)
    assert "spare 7, 67.0 gpm aboard" in found
    assert len(many) == len(few)
