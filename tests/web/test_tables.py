"""Lists: filter, search, sort, pages; and the same table whole as a workbook, with numbers as numbers."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import NamedTuple

import django_filters
import pytest
from django.db import connection
from django.test import override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import path
from openpyxl import load_workbook

from readiness.engineering.dates import GoodThrough
from readiness.models import Container, Role
from readiness.web import access, accounts
from readiness.web.tables import (
    Column,
    DayColumn,
    MomentColumn,
    NumberColumn,
    PercentColumn,
    QuantityColumn,
    RecordFilter,
    StatusColumn,
    Table,
    list_page,
    workbook,
)
from tests.cast import D0, PAIL_ML, SIX, ContainerFactory

pytestmark = pytest.mark.django_db


class Row(NamedTuple):
    code: object
    status: str
    volume_ml: int | None
    kept_in: int
    need_ml: int
    setting: int | None
    pails: int
    day: object
    at: datetime | None
    sealed: bool = True


class RowTable(Table):
    caption = "Foam: on hand"
    code = Column(verbose_name="Label code")
    status = StatusColumn()
    volume = QuantityColumn("volume", "down", accessor="volume_ml", containers="kept_in", verbose_name="Usable")
    need = QuantityColumn("volume", "up", accessor="need_ml", containers=0)
    setting = PercentColumn()
    pails = NumberColumn()
    day = DayColumn(verbose_name="Good through")
    at = MomentColumn(verbose_name="Counted")
    sealed = Column()

    def render_sealed(self, value):
        return "sealed" if value else "opened"


class RowFilter(RecordFilter):
    search = ("code",)
    choices = {"status": "State"}


class ContainerTable(Table):
    caption = "Containers"
    code = Column()
    kind = Column()
    where = Column(accessor="place__station__name")
    holds = QuantityColumn("volume", "down", accessor="contents_ml")


class ContainerFilter(django_filters.FilterSet):
    q = django_filters.CharFilter("code", "icontains", label="Search")

    class Meta:
        model = Container
        fields = ["kind"]


ROWS: list[Row] = []


@access.signed_in
def records(request, here):
    return list_page(request, here, RowTable, ROWS, filter_class=RowFilter)


@access.signed_in
def containers(request, here):
    own = access.rows(Container, here).select_related("place__station").order_by("code")
    return list_page(request, here, ContainerTable, own, filter_class=ContainerFilter)


urlpatterns = [*accounts.urlpatterns, path("records/", records), path("containers/", containers)]


@pytest.fixture(autouse=True)
def _our_pages():
    with override_settings(ROOT_URLCONF=__name__):
        yield


def row(code: object = "P1", **changes: object) -> Row:
    # Nine 5-gal pails hold 9 × 18,927 = 170,343 ml and are 45 gal; a need of 45.00 gal is 170,344 ml.
    plain = Row(code, "not_ready", 170_343, 9, 170_344, 300, 9, date(2028, 7, 30), SIX)
    return plain._replace(**changes)


def sheet_of(content: bytes, name: str = "Foam  on hand"):
    return load_workbook(io.BytesIO(content))[name]


def values(sheet) -> list[tuple]:
    return [tuple(cell.value for cell in line) for line in sheet.iter_rows()]


@pytest.fixture
def here(cast):
    return access.Here(cast.people[Role.CHIEF], None, (), cast.department, Role.CHIEF, None, "us", SIX, D0, D0)


# The workbook


def test_the_workbook_holds_numbers_days_and_units(here):
    sheet = sheet_of(
        workbook(RowTable([row(), row("P2", volume_ml=None, setting=None, at=None, sealed=False)], here=here))
    )
    assert values(sheet) == [
        (
            "Label code",
            "Status",
            "Usable [gal]",
            "Need [gal]",
            "Setting [%]",
            "Pails",
            "Good through",
            "Counted [department's time]",
            "Sealed",
        ),
        (
            "P1",
            "not ready",
            45,
            45,
            3,
            9,
            datetime.fromisoformat("2028-07-30"),
            datetime.fromisoformat("2026-06-15 06:00"),
            "yes",
        ),
        ("P2", "not ready", None, 45, None, 9, datetime.fromisoformat("2028-07-30"), None, "no"),
    ]
    assert [cell.data_type for cell in sheet[2]] == ["s", "s", "n", "n", "n", "n", "d", "d", "s"]
    assert (sheet.freeze_panes, sheet.auto_filter.ref) == ("A2", "A1:I3")
    assert sheet["G2"].number_format == "yyyy-mm-dd"


def test_the_workbook_follows_the_readers_units_and_the_departments_clock(here, cast):
    cast.department.time_zone = "America/Chicago"  # UTC-5 in June
    sheet = sheet_of(workbook(RowTable([row()], here=here._replace(units="metric", department=cast.department))))
    # 170,343 ml is 170.3 L rounded down; a need of 170,344 ml is 170.4 L rounded up.
    assert [cell.value for cell in sheet[1]][2] == "Usable [L]"
    assert (sheet["C2"].value, sheet["D2"].value) == (170.3, 170.4)
    assert sheet["H2"].value == datetime.fromisoformat("2026-06-15 01:00")


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("http://x.example")', "\t=1", "a\x00b"])
def test_text_that_looks_like_a_formula_stays_text(here, text):
    cell = sheet_of(workbook(RowTable([row(text)], here=here)))["A2"]
    assert (cell.data_type, cell.value) == ("s", text.replace("\x00", ""))
    assert cell.quotePrefix is (text[0] in "=+-@\t")


def test_a_month_on_a_label_does_not_become_a_day(here):
    table = RowTable([row(day=GoodThrough(date(2028, 7, 31), "month"))], here=here)
    assert sheet_of(workbook(table))["G2"].value == "2028-07"


def test_the_workbook_says_whose_it_is_and_as_of_when(here):
    about = dict(values(sheet_of(workbook(RowTable([row()], here=here), [("Search", "P")]), "About")))
    assert about["Department"] == "Quay County Fire Department"
    assert about["As of"] == "2026-06-15 06:00 (UTC)"
    assert (about["Rows"], about["Search"], about["Table"]) == ("1", "P", "Foam: on hand")


def test_an_empty_table_is_a_workbook_with_headings(here):
    sheet = sheet_of(workbook(RowTable([], here=here)))
    assert (sheet.max_row, sheet.auto_filter.ref) == (1, "A1:I1")


def test_a_cell_that_cannot_be_worked_out_fails_loudly(here):
    class Broken(Table):
        caption = "Broken"
        code = Column()

        def value_code(self, record):
            return 1 // record.number

    with pytest.raises(ZeroDivisionError):
        workbook(Broken([SimpleNamespace(code="x", number=0)], here=here))
    with pytest.raises(ValueError, match="missing"):
        workbook(type("Missing", (Table,), {"caption": "x", "missing": Column()})([row()], here=here))
    with pytest.raises(TypeError, match="no number, day or text"):
        workbook(RowTable([row(code=["a", "list"])], here=here))


# Lists


@pytest.fixture
def many(monkeypatch):
    """130 rows: three pages of fifty."""
    made = [
        row(f"=P{number:03}", status="ready" if number % 2 else "not_ready", volume_ml=number * 1000, kept_in=1)
        for number in range(130)
    ]
    monkeypatch.setattr(f"{__name__}.ROWS", made)
    return made


def test_a_list_has_pages_and_the_workbook_has_all_of_them(cast, as_role, many):
    client = as_role(Role.OBSERVER)
    first = client.get("/records/").content.decode()
    assert "page 1 of 3" in first
    assert "130 rows, as of 2026-06-15 06:00" in first
    assert ("=P049" in first, "=P050" in first) == (True, False)
    assert "page 3 of 3" in client.get("/records/?page=9").content.decode(), "a page too far is the last"
    answer = client.get("/records/?page=2&export=xlsx")
    assert answer["Content-Disposition"] == 'attachment; filename="foam-on-hand-2026-06-15.xlsx"'
    assert [line[0] for line in values(sheet_of(answer.content))[1:]] == [each.code for each in many]


def test_nobody_asks_for_everything_on_one_page(cast, as_role, monkeypatch):
    monkeypatch.setattr(f"{__name__}.ROWS", [row(f"C{number:04}") for number in range(300)])
    page = as_role(Role.CREW).get("/records/?per_page=100000").content.decode()
    assert page.count('data-label="Label code"') == 200
    assert as_role(Role.CREW).get("/records/?per_page=-1").status_code == 200


def test_search_filter_and_sort_hold_for_screen_and_workbook(cast, as_role, many):
    client = as_role(Role.CREW)
    asked = "/records/?q=p01&status=ready&sort=-volume"
    page = client.get(asked).content.decode()
    wanted = ["=P019", "=P017", "=P015", "=P013", "=P011"]
    assert [page.index(code) for code in wanted] == sorted(page.index(code) for code in wanted)
    assert "5 rows" in page
    assert 'aria-sort="descending"' in page
    book = client.get(f"{asked}&export=xlsx").content
    assert [line[0] for line in values(sheet_of(book))[1:]] == wanted
    about = dict(values(sheet_of(book, "About")))
    assert (about["Search"], about["State"], about["Rows"]) == ("p01", "ready", "5")


def test_an_unknown_choice_narrows_to_nothing_and_says_so(cast, as_role, many):
    page = as_role(Role.CREW).get("/records/?status=splendid").content.decode()
    assert "Nothing to show here." in page
    assert "splendid is not one of the available choices" in page


def test_a_screen_row_has_units_marks_and_ages(cast, as_role, monkeypatch):
    monkeypatch.setattr(f"{__name__}.ROWS", [row(at=datetime(2026, 6, 15, 3, 0, tzinfo=UTC))])
    client = as_role(Role.CREW)
    page = client.get("/records/").content.decode()
    for said in ("45.0 gal", "3 %", "2028-07-30", "2026-06-15 03:00", "(3 h ago)", "<span>not ready</span>", "sealed"):
        assert said in page
    client.post("/account/units/", {"units": "metric"})
    assert "170.3 L" in client.get("/records/").content.decode()


def test_a_list_of_a_departments_rows(cast, as_role):
    cast.pail(code="P1", place=cast.store, concentrate=cast.ar, contents_ml=PAIL_ML)
    cast.tank(code="T1")
    ContainerFactory(department=cast.other_department, code="P-FAR")
    client = as_role(Role.CHIEF)
    page = client.get("/containers/").content.decode()
    assert "5.0 gal" in page
    assert "P-FAR" not in page
    book = values(sheet_of(client.get("/containers/?q=P&export=xlsx").content, "Containers"))
    assert book == [("Code", "Kind", "Where", "Holds [gal]"), ("P1", "Pail", "Quayside", 5)]


def test_queries_do_not_grow_with_the_rows(cast, as_role):
    client = as_role(Role.CHIEF)

    def counted() -> list[int]:
        found = []
        for address in ("/containers/", "/containers/?export=xlsx"):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(address).status_code == 200
            found.append(len(queries))
        return found

    cast.pail(place=cast.store)
    few = counted()
    for _ in range(60):
        cast.pail(place=cast.store)
    assert counted() == few


def test_what_a_record_says_is_never_markup(cast, as_role, monkeypatch):
    monkeypatch.setattr(f"{__name__}.ROWS", [row("<script>alert(1)</script>")])
    assert "<script>" not in as_role(Role.CREW).get("/records/").content.decode()
