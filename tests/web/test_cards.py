"""The pump-panel card. Expected figures: the county worked by hand, minutes and stretches rounded down."""
# ruff: noqa: F811 - fixtures are imported by name and asked for by the same name

from __future__ import annotations

import pytest

from readiness.models import Appliance, Role
from tests.cast import Cast
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


def card_of(name: str, who: str = "crew") -> str:
    answer = sign_in(who).get(f"/units/{unit(name).pk}/card/")
    assert answer.status_code == 200
    return words(answer.content)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        # 1: 101.87 s a pail, 3600 ÷ 101.87 = 35.3 an hour; 15.28 min; own water 8.147 min
        # longest (130 − 100) ÷ 13.989 × 100 = 214.4 ft
        ("Engine 1", ["Set gasoline, E10 3 %", "Inlet pressure 200 psi", "Longest stretch 214 ft", "Flow 95 gpm",
                      "A pail lasts 101 s 35 an hour, 1 person on pails",
                      "Foam 15.2 min", "Own water 8.1 min", "as of 2026-06-15 06:05"]),
        # 2: 3 % for diesel, 16.1 min; nothing aboard for E85
        ("Engine 2", ["Set diesel fuel 3 %", "Foam 16.1 min", "No foam for E85 on this line: wrong foam."]),
        # 3: 6 %, 50.93 s a pail, 70.7 an hour, more than one a minute
        ("Engine 3", ["Set denatured ethanol 6 %", "A pail lasts 50.9 s 71 an hour, 2 people on pails",
                      "Foam 15.2 min"]),
        # 5: longest 123.9 ft, laid 150
        ("Engine 5", ["Longest stretch 123 ft laid: 150 ft, does not pick up: drop 1 length of hose"]),
        # 6: gasoline 3, ethanol 6, ring 60; 21.39 and 10.69 min
        ("Engine 6", ["gasoline without oxygenate 3 % · ethanol 6 %", "Ring 60 gpm", "Foam 21.3 min", "Foam 10.6 min"]),
        ("Ladder 2", ["has no foam line, so there is no card"]),
    ],
)  # fmt: skip
def test_what_the_card_says(county, name, said):
    found = card_of(name)
    assert [each for each in said if each not in found] == []


def test_the_card_gives_way_to_the_product_listing(county):
    assert "The product listing, local codes and the officer’s judgment go before this card." in card_of("Engine 1")


@pytest.mark.parametrize("who", ["crew", "officer", "logistics", "instructor", "chief", "observer"])
def test_everybody_may_print_it(county, who):
    assert "Engine 1" in card_of("Engine 1", who)


def test_another_department_s_card_does_not_exist(county):
    outsider = as_person(Cast().people[Role.CHIEF])
    assert outsider.get(f"/units/{unit('Engine 1').pk}/card/").status_code == 404


def test_a_unit_that_cannot_be_read_has_no_card(county):
    Appliance.objects.filter(unit=unit("Engine 1"), name="95 eductor").update(settings_pct=["three"])
    found = card_of("Engine 1")
    assert "No card: Engine 1 cannot be judged" in found
    assert "Foam 15" not in found
