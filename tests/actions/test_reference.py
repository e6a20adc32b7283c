"""The shipped fuels: loaded as often as one likes, altered where the file was, retired where they are gone from it."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from readiness.actions.reference import load_fuels
from readiness.models import Fuel, ReferenceVersion
from tests.cast import SIX, DepartmentFactory

pytestmark = pytest.mark.django_db

HEADING = "un,name,group,oxygenate_pct,flash_c,formula,source,note\n"
ACETONE = "UN1090,acetone,polar,,-20,,from memory,\n"
ETHANOL = "UN1170,ethanol,polar,,13,,from memory,\n"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    made = tmp_path / "fuels.csv"
    made.write_text(HEADING + ACETONE + ETHANOL, encoding="utf-8")
    return made


def test_sixty_fuels_and_more_are_shipped() -> None:
    changed = load_fuels(SIX)
    assert changed == Fuel.objects.count() >= 60
    # UN 49 CFR 172.101 (2019): 1090 acetone, 1170 ethanol, 1202 diesel fuel, 1203 gasoline, 1987 alcohols, n.o.s.
    for un in ("UN1090", "UN1170", "UN1202", "UN1203", "UN1987"):
        assert Fuel.objects.filter(un=un, department=None, retired_on=None).exists()
    e10 = Fuel.objects.get(name="gasoline, E10")
    assert (e10.un, e10.group, e10.oxygenate_pct) == ("UN1203", "blend", 1000)  # 10 % in hundredths of a point
    assert not Fuel.objects.filter(source="").exists()


def test_again_changes_nothing() -> None:
    load_fuels(SIX)
    before = list(Fuel.objects.order_by("pk").values())
    assert load_fuels(SIX + timedelta(days=1)) == 0
    assert list(Fuel.objects.order_by("pk").values()) == before
    assert ReferenceVersion.objects.get().loaded_at == SIX


def test_a_changed_file_alters_adds_and_retires(file: Path) -> None:
    assert load_fuels(SIX, file) == 2
    acetone, ethanol = Fuel.objects.order_by("name")
    file.write_text(HEADING + ACETONE.replace("-20", "-18") + "UN1230,methanol,polar,,11,,x,\n", encoding="utf-8")
    assert load_fuels(SIX + timedelta(days=1), file) == 3
    acetone.refresh_from_db()
    ethanol.refresh_from_db()
    assert (acetone.flash_c, acetone.retired_on) == (-18.0, None)
    assert ethanol.retired_on == date(2026, 6, 16)
    assert Fuel.objects.get(name="methanol").un == "UN1230"
    assert ReferenceVersion.objects.get().loaded_at == SIX + timedelta(days=1)


def test_a_fuel_that_comes_back_is_the_same_fuel(file: Path) -> None:
    load_fuels(SIX, file)
    ethanol = Fuel.objects.get(name="ethanol")
    file.write_text(HEADING + ACETONE, encoding="utf-8")
    load_fuels(SIX, file)
    file.write_text(HEADING + ACETONE + ETHANOL.replace("ethanol", "Ethanol"), encoding="utf-8")
    load_fuels(SIX, file)
    ethanol.refresh_from_db()
    assert (ethanol.name, ethanol.retired_on, Fuel.objects.count()) == ("Ethanol", None, 2)


def test_a_fuel_that_is_spelled_anew_is_altered(file: Path) -> None:
    load_fuels(SIX, file)
    file.write_text(HEADING + ACETONE + ETHANOL.replace("ethanol", "Ethanol"), encoding="utf-8")
    assert load_fuels(SIX, file) == 1
    assert sorted(Fuel.objects.values_list("name", flat=True)) == ["Ethanol", "acetone"]


def test_a_department_s_own_fuel_is_left_alone(file: Path) -> None:
    own = Fuel.objects.create(department=DepartmentFactory(), name="plant slop", group="unknown", source="own")
    load_fuels(SIX, file)
    own.refresh_from_db()
    assert own.retired_on is None
