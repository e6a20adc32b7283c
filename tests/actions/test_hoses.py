"""The department's table of hose: a size once, a measurement whole, and every unit judged by it."""

from __future__ import annotations

from decimal import Decimal
from importlib import import_module

import pytest
from django.apps import apps

from readiness.actions.departments import make_department
from readiness.actions.hoses import HOSES, HoseFacts, copy_published, sizes_of
from readiness.actions.keeping import NotKept
from readiness.actions.lines import LINES
from readiness.models import HoseSize
from readiness.reports.fleet import load_rigs
from readiness.workbooks.rows import HoseLeg as Leg
from tests.cast import D0
from tests.judged import GPM, Rigged
from tests.keeping import all_judged, desk, due, faults, last_change

pytestmark = pytest.mark.django_db
FT, PSI = 0.3048, 6.894757293168361
PUBLISHED = {"1.5": 24.0, "1.75": 15.5, "2.5": 2.0, "3": 0.677, "4": 0.2, "5": 0.08}  # row H2 of the published values
OWN = HoseFacts(Decimal("2"), 8.0, source="the hose's data sheet")


@pytest.fixture
def rigged(cast):
    copy_published(cast.department)
    return Rigged(cast)


def table(department) -> dict[Decimal, float]:
    return dict(HoseSize.objects.filter(department=department).values_list("diameter_in", "coefficient"))


def size(cast, inches: str) -> HoseSize:
    return HoseSize.objects.get(department=cast.department, diameter_in=inches)


def test_a_new_department_begins_with_the_published_table():
    made = make_department("Upper Vale Fire Department", time_zone="UTC")
    assert table(made) == {Decimal(inches): c for inches, c in PUBLISHED.items()}


def test_a_department_that_was_there_is_given_it_by_the_migration(cast):
    migration = import_module("readiness.migrations.0013_hose_table_and_nozzles")
    migration.give_published_hose(apps, None)
    assert table(cast.department) == {Decimal(inches): c for inches, c in PUBLISHED.items()}


def test_a_size_is_added_and_every_unit_is_due(cast, rigged):
    all_judged()
    made = HOSES.save(desk(cast), OWN)
    assert (str(made), made.section_m) == ("2 in hose", 15.24)
    assert due() == {"Engine 1"}
    action, _, new = last_change()
    assert (action, new["coefficient"]) == ("add hose size", 8.0)
    assert 2.0 in sizes_of(cast.department)


def test_a_line_may_be_laid_of_it_then_and_of_no_other(cast, rigged):
    with_two = LINES.read(rigged.line)._replace(legs=(Leg(30.48, 2.0),))
    said = faults(LINES, cast, with_two, rigged.line)["legs"]
    assert said == (
        "“2 in” was read as a hose size: one of 1.5, 1.75, 2.5, 3, 4, 5 in is known; another is added to the table of "
        "hose."
    )
    HOSES.save(desk(cast), OWN)
    LINES.save(desk(cast), with_two, rigged.line)
    assert [float(leg.diameter_in) for leg in rigged.line.legs.all()] == [2.0]


def lay(cast, rigged):
    """Engine 1's line as the judge gets it: 200 psi, a 100-psi tip, 150 ft of 1¾ in."""
    facts = LINES.read(rigged.line)._replace(inlet_kpa=200 * PSI, nozzle_kpa=100 * PSI, legs=(Leg(150 * FT, 1.75),))
    LINES.save(desk(cast), facts, rigged.line)
    (rig,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    return rig.lines[0].lay


def test_a_measured_loss_counts_before_the_published_coefficient(cast, rigged):
    """13.2 psi over 100 ft at 95 gpm: C = 13.2 ÷ 0.95² = 14.626."""
    assert lay(cast, rigged).hose[0].coefficient == 15.5
    facts = HOSES.read(size(cast, "1.75"))
    measured = facts._replace(loss_kpa=13.2 * PSI, loss_flow_lpm=95 * GPM, loss_length_m=100 * FT, measured_on=D0)
    HOSES.save(desk(cast), measured, size(cast, "1.75"))
    hose = lay(cast, rigged).hose[0]
    assert hose.coefficient == pytest.approx(14.626, abs=5e-4)
    assert (hose.section_m, hose.size_in) == (15.24, 1.75)


def test_a_table_that_has_no_row_is_the_published_one(cast, rigged):
    HoseSize.objects.filter(department=cast.department).delete()
    assert lay(cast, rigged).hose[0].coefficient == 15.5


@pytest.mark.parametrize(
    ("changed", "fact", "said"),
    [
        (
            {"diameter_in": Decimal("1.75")},
            "diameter_in",
            "“1.75 in” was read, and the table has that size: change that",
        ),
        ({"diameter_in": Decimal("0")}, "diameter_in", "“0.00” was read: a hose is wider than 0."),
        ({"coefficient": 0.0}, "coefficient", "“0” was read: psi lost in 100 ft at 100 gpm, above 0"),
        ({"coefficient": 2400.0}, "coefficient", "“2400” was read"),
        ({"section_m": 0.0}, "section_m", "“0 m” was read: a coupled length is longer than 0."),
        (
            {"loss_kpa": 90.0, "loss_flow_lpm": 360.0},
            "loss_length_m",
            "Nothing was read: a measured loss is a pressure",
        ),
        ({"loss_kpa": 0.0, "loss_flow_lpm": 1.0, "loss_length_m": 1.0}, "loss_kpa", "“0” was read: it is more than 0."),
        ({"measured_on": D0}, "measured_on", "and no measured loss: state what was measured."),
        ({"source": " "}, "source", "cannot be blank"),
    ],
)
def test_what_is_no_hose_is_refused(cast, rigged, changed, fact, said):
    assert said in faults(HOSES, cast, OWN._replace(**changed))[fact]


def test_a_size_that_a_line_is_laid_of_stays(cast, rigged):
    lay(cast, rigged)
    with pytest.raises(NotKept, match="Hose of this size is part of Crosslay 1 of Engine 1"):
        HOSES.retire(desk(cast), size(cast, "1.75"))
    renamed = HOSES.read(size(cast, "1.75"))._replace(diameter_in=Decimal("1.88"))
    assert "It is part of Crosslay 1" in faults(HOSES, cast, renamed, size(cast, "1.75"))["diameter_in"]


def test_a_retired_size_is_offered_no_more_unless_it_is_published(cast, rigged):
    made = HOSES.save(desk(cast), OWN)
    HOSES.retire(desk(cast), made)
    HOSES.retire(desk(cast), size(cast, "5"))
    assert sizes_of(cast.department) == (1.5, 1.75, 2.5, 3.0, 4.0, 5.0)
    assert "it was retired on" in faults(HOSES, cast, OWN)["diameter_in"]
