"""What the audit workbook says, against the book that it is made of."""

from __future__ import annotations

import io
from datetime import date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from readiness.actions import movements
from readiness.actions.drafts import new_id
from readiness.engineering.records import Moment
from readiness.models import Movement
from readiness.models.inventories import Explanation
from readiness.models.movements import Account
from readiness.reports.audit import audit
from readiness.reports.explanations import explain_rig
from readiness.workbooks.audit import write_audit
from tests.cast import D0, PAIL_ML, SIX, UnitFactory
from tests.judged import Rigged
from tests.taking import Taking, stand
from tests.web.entering import stocked

pytestmark = pytest.mark.django_db

GAL_ML = 3785.411784  # 231 cubic inches of 16.387064 mL
SHEETS = (
    *("About", "Stock", "Containers", "Lots", "Movements", "Inventories"),
    *("Deficiencies", "Statuses", "Working"),
    *("Budget", "Ageing", "Par lists", "Order points"),
)


def book_of(cast, system="us"):
    found = audit(cast.department, Moment(SIX, D0), "Mara Holt, chief", system)
    file = io.BytesIO()
    write_audit(file, found.facts, found.sheets, found.charts)
    file.seek(0)
    return load_workbook(file)


def rows(sheet):
    """The rows as dictionaries, without the totals."""
    head, *below = sheet.iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in below if row[0] != "Total of the rows shown"]


@pytest.fixture
def rigged(cast):
    made = Rigged(cast, pails=2)
    made.judge()
    return made


def test_every_sheet_is_there(cast, rigged):
    book = book_of(cast)
    assert tuple(book.sheetnames) == SHEETS
    about = dict(list(book["About"].iter_rows(values_only=True, max_col=2))[:4])
    assert about["Department"] == "Quay County Fire Department"
    assert about["As of"] == "2026-06-15 06:00 (UTC)"
    assert about["Made by"] == "Mara Holt, chief"
    assert len(book["About"]._charts) == 2, "stock, and cost by budget year"


def test_stock_and_containers(cast, rigged):
    stocked(cast, "S1")
    book = book_of(cast)
    (stock,) = rows(book["Stock"])
    assert stock["In the store [gal]"] == pytest.approx(PAIL_ML / GAL_ML)
    assert stock["On units and vehicles [gal]"] == pytest.approx(2 * PAIL_ML / GAL_ML)
    by_code = {row["Label code"]: row for row in rows(book["Containers"])}
    assert by_code["P0"]["Good through"].date() == date(2029, 3, 11)  # D0 + 1000 days
    assert (by_code["P0"]["Unit tonight"], by_code["P0"]["Seal"]) == ("Engine 1", "sealed")
    assert sum(row["Contents [gal]"] for row in by_code.values()) == pytest.approx(3 * PAIL_ML / GAL_ML)


def test_metric_readers_get_liters(cast):
    stocked(cast, "S1")
    (row,) = rows(book_of(cast, "metric")["Containers"])
    assert row["Contents [L]"] == pytest.approx(18.927)


def test_the_ledger_line_by_line_comes_to_nothing(cast, rigged):
    pail = rigged.pails[0]
    posted = movements.use(
        rigged.entry(incident="2026-7", reason="small spill"), container=pail, ml=1_000, account=Account.INCIDENT
    )
    every = rows(book_of(cast)["Movements"])
    assert sum(row["Volume [gal]"] or 0 for row in every) == pytest.approx(0, abs=1e-9)
    mine = [row for row in every if row["Movement"] == str(posted.movement_id)]
    volumes = {row["Container or account"]: row["Volume [gal]"] for row in mine if row["What"] == "volume"}
    assert volumes == {"P0": pytest.approx(-1000 / GAL_ML), "incident": pytest.approx(1000 / GAL_ML)}
    assert {(row["Incident"], row["Reason"]) for row in mine} == {("2026-7", "small spill")}
    assert {row["Movement"] for row in every} == {str(pk) for pk in Movement.objects.values_list("pk", flat=True)}
    placed = [row for row in every if row["What"] == "place" and row["Container or account"] == "P0"]
    assert [(row["From"], row["To"]) for row in placed] == [("outside the book", "Engine 1, L3")]
    sealed = [row for row in every if row["What"] == "mark" and row["To"] == "sealed: yes"]
    assert len(sealed) == 2


def test_a_signed_inventory_stands_in_it_and_an_open_one_does_not(cast):
    """Two pails of 5 gal; one was read as 4 L less and explained as a leak."""
    pails = [
        stand(cast, cast.pail(code="A1"), PAIL_ML),
        stand(cast, cast.pail(code="A2"), PAIL_ML, sealed=True),
    ]
    taking = Taking(cast)
    taking.see(pails[0], PAIL_ML - 4_000)
    taking.see(pails[1])
    taking.end_counting()
    taking.same_again()
    taking.confirm()
    taking.explain(pails[0], Explanation.LEAK)
    assert rows(book_of(cast)["Inventories"]) == []
    taking.close("a valve leaked")
    told = {row["Label code"]: row for row in rows(book_of(cast)["Inventories"])}
    leaked, same = (told[pail.code] for pail in pails)
    assert leaked["Counted less book [gal]"] == pytest.approx(-4_000 / GAL_ML)
    assert (leaked["Differs in"], leaked["Explanation"]) == ("volume", "leak")
    assert leaked["Booked as movement"] == str(Movement.objects.get(kind="lost").pk)
    assert (same["Counted less book [gal]"], same["Differs in"]) == (0, "nothing")


def test_statuses_and_their_working(cast, rigged):
    book = book_of(cast)
    (status,) = rows(book["Statuses"])
    # nine pails are planned for: textbook 900 × 0.10 × 3 % × 15 = 40.50 gal, line 95 × 3.1 % × 15 = 44.175, two aboard
    assert (status["Unit"], status["Duty"], status["Duty’s status"]) == ("Engine 1", "gasoline spill", "not ready")
    assert status["Textbook need [gal]"] == pytest.approx(40.50)
    assert status["Line need [gal]"] == pytest.approx(44.175)
    assert status["Usable [gal]"] == pytest.approx(10, abs=1e-3)
    working = rows(book["Working"])
    assert any("40.5 gal" in str(row["Result"]) for row in working)
    assert {row["Unit"] for row in working} == {"Engine 1"}


def test_deficiencies_with_since_and_cure(cast, rigged):
    first = rows(book_of(cast)["Deficiencies"])
    assert {row["Unit"] for row in first} == {"Engine 1"}
    assert all(isinstance(row["Found"], datetime) and row["Cured"] is None for row in first)
    for number in range(2, 9):
        rigged.pail(f"P{number}")
    rigged.checked(name="after loading")
    rigged.judge()
    cured = [row for row in rows(book_of(cast)["Deficiencies"]) if row["Cured"]]
    assert {row["Cured"].date() for row in cured} == {date(2026, 6, 15)}


def test_a_unit_without_a_duty_and_a_department_without_anything(cast):
    (status,) = rows(book_of(cast)["Statuses"])
    assert status["Duty"] == "no duty"
    assert rows(book_of(cast)["Movements"]) == []


def test_the_queries_do_not_grow(cast, rigged):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            book_of(cast)
        return len(caught)

    few = queries()
    UnitFactory(station=cast.station, designation="Engine 9")
    for number in range(5):
        movements.use(rigged.entry(id=new_id()), container=rigged.pails[1], ml=100 + number, account=Account.INCIDENT)
    assert queries() == few


def test_each_unit_is_worked_once_for_both_of_its_sheets(cast, rigged, monkeypatch):
    worked = []

    def counted(rig, *rest):
        worked.append(rig.name)
        return explain_rig(rig, *rest)

    monkeypatch.setattr("readiness.reports.audit.explain_rig", counted)
    book = book_of(cast)
    assert sorted(worked) == sorted(set(worked))
    assert book["Statuses"].max_row > 1
    assert book["Working"].max_row > 1
