"""Keeping vapor down: the form of such a duty, and how unit page, card, explanation and workbook show it."""

from __future__ import annotations

import io
import re
from html import unescape
from urllib.parse import urlencode

import pytest
from openpyxl import load_workbook

from readiness.models import Duty, Policy, Role
from tests.cast import Cast
from tests.judged import FT2, Rigged
from tests.web.conftest import as_person
from tests.web.entering import words as plain_words

pytestmark = pytest.mark.django_db

# Site S7 of the county worked by hand on Engine 1's line: 450 ft², 4 in, expansion 7, wind 25 %, 2 h, at 3.1 %:
# 200.4 gal × 3.1 % = 6.21; 7 × 1.553 = 10.87; together 17.08. If it lights 95 × 3.1 % × 15 = 44.175. In all 61.26.
HELD = {"hold_min": 120, "interval_min": 15, "blanket_depth_m": 0.1016, "blanket_expansion": 7}
PLAN = {"purpose": "vapor suppression", "area_m2": 450 * FT2, "drained_pct": 2500, "blanket_wind_pct": 2500, **HELD}


@pytest.fixture
def rigged(cast: Cast) -> Rigged:
    made = Rigged(cast)
    made.judge()
    return made


def page(cast: Cast, address: str, role: Role = Role.CHIEF) -> str:
    answer = as_person(cast.people[role]).get(address)
    assert answer.status_code == 200
    return plain_words(answer)


def test_the_unit_s_page_shows_blanket_upkeep_and_the_fire_cover_that_is_short(cast: Cast, rigged: Rigged) -> None:
    """45 gal aboard of 61.26: enough for the blanket, short 16.26 gal, four pails."""
    Duty.objects.update(**PLAN)
    said = page(cast, f"/units/{rigged.unit.pk}/", Role.CREW)
    for words in (
        "45.0 gal usable of 61.3 gal need, the fire run with it",
        "blanket and upkeep 17.09 gal",
        "short 16.3 gal, 4 pails of 5 gal",
        "Vapor kept down 120 min: first blanket 6.22 gal, upkeep 10.87 gal in 7 times, every 15 min",
        "If it lights 44.18 gal kept back for 15 min of fire",
        "fire cover short 16.3 gal",
        "first × drained × times",
        "blanket and upkeep + fire run",
        "area × usable ÷ blanket, upkeep and the textbook fire run",
    ):
        assert words in said, words


def test_what_is_not_stated_is_said(cast: Cast, rigged: Rigged) -> None:
    Duty.objects.update(**{**PLAN, "blanket_wind_pct": None, "hold_min": None})
    said = page(cast, f"/units/{rigged.unit.pk}/")
    assert (
        "Vapor cover is not worked for gasoline spill without the time it is held, what the wind takes; "
        "the figures are of the fire run alone." in said
    )


def test_the_card_shows_what_each_part_takes(cast: Cast, rigged: Rigged) -> None:
    Duty.objects.update(**PLAN)
    said = page(cast, f"/units/{rigged.unit.pk}/card/", Role.CREW)
    for words in (
        "First blanket 6.3 gal",
        "Upkeep, 7 × 10.9 gal every 15 min, or by the meter",
        "Keep for fire 44.2 gal",
    ):
        assert words in said, words


def test_the_fleet_s_workbook_tells_the_fire_run_apart(cast: Cast, rigged: Rigged) -> None:
    Duty.objects.update(**PLAN)
    rigged.judge()
    answer = as_person(cast.people[Role.CHIEF]).get("/fleet/?export=xlsx")
    assert answer.status_code == 200
    head, row = list(load_workbook(io.BytesIO(answer.content)).worksheets[0].iter_rows(values_only=True))[:2]
    one = dict(zip(head, row, strict=True))
    assert one["Textbook need [gal]"] == pytest.approx(17.1)  # rounded up
    assert one["Line need [gal]"] == pytest.approx(61.3)
    assert one["Kept back in case it lights [gal]"] == pytest.approx(44.2)


# -- the form ----------------------------------------------------------------------------------------------------------


def form(rigged: Rigged, **changed: str) -> dict[str, str]:
    given = {
        "name": "dock",
        "fuel": str(rigged.fuel.pk),
        "area_m2_number": "450",
        "area_m2_unit": "ft2",
        "use": "spill",
        "purpose": "vapor suppression",
        "source": "pre-plan",
        "supply": "hydrant",
        "rate_unit": "gpm/ft2",
        "minutes": "15",
        "supply_lpm_unit": "gpm",
        "hold_min_number": "2",
        "hold_min_unit": "h",
        "interval_min_number": "15",
        "interval_min_unit": "min",
        "blanket_depth_m_number": "4",
        "blanket_depth_m_unit": "in",
        "blanket_expansion": "7",
        "drained_pct": "25",
        "blanket_wind_pct": "25",
    }
    return {**given, **changed}


ADD = "/reference/duties/add/?unit={}&kind=spill"


def post(cast: Cast, rigged: Rigged, **changed: str) -> tuple[int, str]:
    client = as_person(cast.people[Role.CHIEF])
    answer = client.post(ADD.format(rigged.unit.pk), form(rigged, **changed))
    return answer.status_code, "" if answer.status_code == 302 else plain_words(answer)


def test_a_duty_begins_with_defaults_and_their_sources(cast: Cast, rigged: Rigged) -> None:
    said = page(cast, ADD.format(rigged.unit.pk))
    for words in ("4 in is a default without a source", "at the scene the meter decides", "A quarter is a default"):
        assert words in said, words
    assert "Planned by" not in said  # no region pack is on
    Policy.objects.update(region_packs=["marine"])
    assert "Planned by" in page(cast, ADD.format(rigged.unit.pk))


def test_a_vapor_duty_is_kept_and_shown(cast: Cast, rigged: Rigged) -> None:
    assert post(cast, rigged) == (302, "")
    made = Duty.objects.get(name="dock")
    assert (made.hold_min, made.interval_min, made.blanket_expansion) == (120, 15, 7)
    assert made.blanket_depth_m == pytest.approx(0.1016)
    assert (made.drained_pct, made.blanket_wind_pct) == (2500, 2500)
    said = page(cast, f"/reference/duties/{made.pk}/")
    for words in ("Expansion as it lies 7", "Drains in an interval 25 %", "Minutes 15"):
        assert words in said, words
    assert "450 ft², vapor suppression, held 2 h" in page(cast, "/reference/duties/")


def test_a_fire_duty_keeps_no_blanket_though_its_form_begins_with_one(cast: Cast, rigged: Rigged) -> None:
    assert post(cast, rigged, purpose="fire", hold_min_number="") == (302, "")
    made = Duty.objects.get(name="dock")
    assert (made.blanket_depth_m, made.drained_pct, made.blanket_wind_pct) == (None, None, None)
    assert "Drains in an interval" not in page(cast, f"/reference/duties/{made.pk}/")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"hold_min_number": ""}, "Nothing was read: keeping vapor down states how long it is held."),
        ({"blanket_expansion": "0.5"}, "“0.5” was read: low-expansion foam has 1 to 20."),
        ({"blanket_expansion": "40"}, "“40” was read: at most 20 belongs here."),
        ({"drained_pct": "250"}, "250 was read: at most 100 % belongs here"),
        ({"blanket_depth_m_number": "deep"}, "“deep” was read"),
        ({"rule": "deck"}, ""),  # its pack is off: the field is not there, and what was sent is not kept
    ],
)
def test_a_vapor_duty_is_refused_in_a_sentence(cast: Cast, rigged: Rigged, changed: dict[str, str], said: str) -> None:
    status, words = post(cast, rigged, **changed)
    if said:
        assert (status, Duty.objects.filter(name="dock").exists()) == (200, False)
        assert said in words
    else:
        assert (status, Duty.objects.get(name="dock").rule) == (302, "")


def test_a_worksheet_s_plan_begins_a_duty(cast: Cast, rigged: Rigged) -> None:
    asked = {
        "area_number": "450", "area_unit": "ft2", "percent": "6", "hold_number": "2", "hold_unit": "h",
        "depth_number": "4", "depth_unit": "in", "expansion": "8", "wind_loss": "25",
    }  # fmt: skip
    client = as_person(cast.people[Role.CHIEF])
    html = client.get("/worksheet/vapor/", asked).content.decode()
    (found,) = re.findall(r'href="(/reference/duties/add/[^"]*)"', html)
    address = f"{unescape(found)}&unit={rigged.unit.pk}"
    form = client.get(address).context["form"]
    begun = {name: form[name].value() for name in ("purpose", "area_m2", "hold_min", "blanket_depth_m")}
    assert begun["purpose"] == "vapor suppression"
    assert float(form.initial["area_m2"]) == pytest.approx(450 * FT2)
    assert (form.initial["hold_min"], form.initial["blanket_depth_m"]) == (120, pytest.approx(0.1016))
    assert (form.initial["blanket_expansion"], form.initial["blanket_wind_pct"]) == ("8", "25")
    assert "Use as a design spill" in html
    assert "Use as a design spill" not in page(cast, "/worksheet/vapor/?" + urlencode(asked), Role.CREW)


def test_the_list_s_workbook_has_the_blanket(cast: Cast, rigged: Rigged) -> None:
    Duty.objects.update(**PLAN)
    answer = as_person(cast.people[Role.CHIEF]).get("/reference/duties/?export=xlsx")
    head, row = list(load_workbook(io.BytesIO(answer.content)).worksheets[0].iter_rows(values_only=True))[:2]
    one = dict(zip(head, row, strict=True))
    assert one["Vapor held for [min]"] == 120
    assert one["Depth of blanket [in]"] == pytest.approx(4)
    assert (one["Expansion of blanket"], one["Interval of upkeep [min]"]) == (7, 15)


def test_a_deck_is_planned_by_its_rule_where_the_pack_is_on(cast: Cast, rigged: Rigged) -> None:
    Policy.objects.update(region_packs=["marine"])
    deck = {"purpose": "fire", "rule": "deck", "largest_tank_m2_number": "480", "largest_tank_m2_unit": "m2"}
    status, words = post(cast, rigged, **deck)
    assert status == 200
    assert "the rule asks for the deck that the largest monitor protects" in words
    more = {"monitor_area_m2_number": "1000", "monitor_area_m2_unit": "m2", "inert_gas": "yes"}
    assert post(cast, rigged, **deck, **more) == (302, "")
    made = Duty.objects.get(name="dock")
    assert (made.rule, made.largest_tank_m2, made.inert_gas) == ("deck", 480, True)
    assert "Inert gas yes" in page(cast, f"/reference/duties/{made.pk}/")
