"""Tests on record: as reported or worked from readings, and what they do to a status; foam tests beside them."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from readiness.models import Change, FoamTest, LineTest, Role
from tests.cast import D0, Cast
from tests.judged import Rigged
from tests.web.conftest import as_person
from tests.web.county_pages import words

pytestmark = pytest.mark.django_db

LATER = (D0 - timedelta(days=1)).isoformat()


class Desk:
    """Engine 1 with its line, and a browser of whoever tests it."""

    def __init__(self, cast: Cast, role: Role = Role.OFFICER) -> None:
        self.rig, self.cast = Rigged(cast), cast
        self.rig.judge()
        self.client: Client = as_person(cast.people[role])

    def form(self, **changed: Any) -> dict[str, Any]:
        """A passed test as a laboratory reports it."""
        return {
            "entry_id": str(uuid4()),
            "line": self.rig.line.pk,
            "concentrate": self.cast.ar.pk,
            "tested_on": LATER,
            "percent": "3",
            "way": "report",
            "measured": "3.4",
            "answer": "passed",
            "certificate": "C-77",
            **changed,
        }

    def post(self, path: str = "/line-tests/record/", **posted: Any) -> Any:
        return self.client.post(path, posted)


MIXES = {"way": "mixes", "instrument": "conductivity", "mixes": "2=2.0\n3=3.0\n4=4.0\n5=5.0", "sample": "3.4"}


@pytest.fixture
def desk(cast: Cast) -> Desk:
    return Desk(cast)


def newest() -> LineTest:
    return LineTest.objects.latest("pk")


def test_a_reported_test_is_previewed_and_posted_once(desk: Desk):
    """Measured 3.4 %: the line draws 95 × 3.4 % × 15 = 48.45 gal where nine pails hold 45: short, said before."""
    posted = desk.form()
    preview = words(desk.post(**posted).content)
    assert "Not entered yet" in preview
    assert "48.5 gal" in preview
    assert LineTest.objects.count() == 1
    for _ in range(2):
        assert desk.post(**posted, confirm="yes").status_code == 302
    test = newest()
    assert LineTest.objects.count() == 2
    assert (test.set_pct, test.measured_pct, test.passed, test.certificate) == (300, 340, True, "C-77")
    assert test.evidence == {}
    change = Change.objects.latest("pk")
    assert (change.action, change.new["measured_pct"]) == ("record line test", 340)
    assert desk.rig.status() != "ready"


def test_a_test_worked_from_known_mixes_is_kept_with_them(desk: Desk):
    """Mixes that read their own percentage, a sample of 3.4: 3.40 %, the meter's ±0.05 within 3.0 to 3.9."""
    assert desk.post(**desk.form(**MIXES), confirm="yes").status_code == 302
    test = newest()
    assert (test.measured_pct, test.passed, test.method) == (340, True, "known mixes")
    assert test.evidence["mixes"] == [[2.0, 2.0], [3.0, 3.0], [4.0, 4.0], [5.0, 5.0]]
    html = desk.client.get(f"/line-tests/{test.pk}/").content.decode()
    assert "The sample reads 3.4, which is 3.40 %" in html
    assert "Passed" in words(html)


def test_a_lean_test_from_readings_fails_the_line(desk: Desk):
    """A sample of 2.5: 2.5 % is below 3.0: failed, and the unit is not ready."""
    preview = words(desk.post(**desk.form(**{**MIXES, "sample": "2.5"})).content)
    assert "becomes" in preview
    desk.post(**desk.form(**{**MIXES, "sample": "2.5"}), confirm="yes")
    assert (newest().measured_pct, newest().passed) == (250, False)
    assert desk.rig.status() == "not_ready"


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"sample": "3.02"}, "Too near a limit to tell"),
        ({"sample": "5.5"}, "above the known mixes"),
        ({"mixes": "2=2\n3=3\n4=4\n5=4.4"}, "do not lie on a line"),
        ({"mixes": "2=2\n3=3"}, "a line needs 3 or more"),
        ({"sample": ""}, "No reading of the sample"),
        (
            {"instrument": "refractometer", "percent": "1", "mixes": "0.5=1\n1=2\n2=4", "sample": "2.3"},
            "cannot tell a pass",
        ),
        ({"way": "draw"}, "Concentrate drawn, Time it took, Solution flows of this test is needed"),
        ({"way": "report", "measured": ""}, "Measured is needed"),
        ({"way": "report", "answer": ""}, "Result is needed"),
        ({"tested_on": "2027-01-01"}, "today"),
        ({"line": ""}, "Foam line is needed"),
        ({"percent": "300"}, "at most 10 %"),
    ],
)
def test_what_proves_nothing_is_refused_with_a_sentence(desk: Desk, changed: dict[str, Any], said: str):
    answer = desk.post(**desk.form(**{**MIXES, **changed}), confirm="yes")
    assert answer.status_code == 200
    assert said in words(answer.content)
    assert LineTest.objects.count() == 1


def test_draw_test(desk: Desk):
    """95 gpm, a gallon in 20 s: 60 ÷ 20 ÷ 95 = 3.158 %, with ±0.5 s 3.08 to 3.24: passed."""
    draw = {
        "way": "draw", "drawn_number": "1", "drawn_unit": "gal", "seconds_number": "20", "seconds_unit": "s",
        "flow_number": "95", "flow_unit": "gpm",
    }  # fmt: skip
    assert desk.post(**desk.form(**draw), confirm="yes").status_code == 302
    assert (newest().measured_pct, newest().method) == (316, "draw test")
    assert "3.16 %" in words(desk.client.get(f"/line-tests/{newest().pk}/").content)


def test_the_airport_band(desk: Desk):
    """Row P6: 2.9 % passes on an airport vehicle."""
    desk.post(**desk.form(**{**MIXES, "sample": "2.9"}, vehicle="on"), confirm="yes")
    assert (newest().measured_pct, newest().passed, newest().band) == (290, True, "vehicle")


def test_another_department_s_line_and_test_do_not_exist(cast: Cast, desk: Desk):
    outsider = as_person(cast.outsider)
    assert outsider.get(f"/line-tests/{desk.rig.test.pk}/").status_code == 404
    answer = outsider.post("/line-tests/record/", desk.form())
    assert "not in the list" in words(answer.content)


def test_the_list_says_how_each_stands(desk: Desk):
    """60 days old and newest of its kind: in date; converted since: retest. 3.1 % lies within 3.0 to 3.9."""
    html = words(desk.client.get("/line-tests/").content)
    assert "Crosslay 1" in html
    assert "3.1 %" in html
    assert "passed in date" in html
    desk.rig.line.converted_on = D0 - timedelta(days=1)
    desk.rig.line.save()
    assert "before a conversion: retest" in words(desk.client.get("/line-tests/").content)
    desk.post(**desk.form(tested_on=D0.isoformat()), confirm="yes")
    found = words(desk.client.get("/line-tests/").content)
    assert "an older one" in found
    assert "in date" in found
    workbook = desk.client.get("/line-tests/?export=xlsx")
    assert workbook.headers["Content-Type"].endswith("sheet")


def test_a_worksheet_is_carried_into_the_form(desk: Desk):
    asked = {"percent": "3", **MIXES}
    sheet = desk.client.get("/worksheet/proportioning/", asked).content.decode()
    address = re.search(r'href="([^"]+)">Record it as a test', sheet).group(1).replace("&amp;", "&")
    form = desk.client.get(address).content.decode()
    assert "2=2.0" in form
    assert re.search(r'<option value="mixes" selected', form)
    crew = as_person(desk.cast.people[Role.CREW])
    assert "Record it as a test" not in crew.get("/worksheet/proportioning/", asked).content.decode()


@pytest.mark.parametrize("value", ["x", "nan", "-1", "1e999", ""])
def test_a_spoilt_address_is_left_out(desk: Desk, value: str):
    address = f"/line-tests/record/?drawn_number={value}&drawn_unit=gal&drawn={value}&percent={value}&tested_on={value}"
    assert desk.client.get(address).status_code == 200


FOAM = {
    "cylinder_number": "1000", "cylinder_unit": "ml", "mass_number": "200", "mass_unit": "g",
    "series": "0=0\n1=8\n2=20\n3=33\n4=45\n5=55", "declared_expansion": "6", "report": "F-9",
}  # fmt: skip


def test_a_foam_test_is_kept_with_its_readings(desk: Desk):
    """Reference list, no. 19: expansion 5, a quarter at 4.5 min; below a declared 6."""
    posted = {**desk.form(), **FOAM}
    assert desk.post("/foam-tests/record/", **posted, confirm="yes").status_code == 302
    test = FoamTest.objects.get()
    assert (test.expansion, test.quarter_min) == (5.0, pytest.approx(4.5))
    assert test.drained[1] == [1.0, 8.0]
    page = desk.client.get(f"/foam-tests/{test.pk}/").content.decode()
    assert "had drained at 4.50 min" in page
    assert "Below the declared expansion of 6" in words(page)
    listed = words(desk.client.get("/foam-tests/").content)
    assert "5.0 low 4.5 below" in listed
    assert Change.objects.latest("pk").new["expansion"] == 5.0
    assert as_person(desk.cast.outsider).get(f"/foam-tests/{test.pk}/").status_code == 404


def test_the_form_says_what_an_empty_declaration_means(desk: Desk):
    page = words(desk.client.get("/foam-tests/record/").content)
    assert page.count("what was last declared of this line and concentrate stands") == 2


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"mass_number": "1200"}, "heavier than water"),
        ({"series": "1=8\n0=9"}, "readings go on in time"),
        ({"series": "one=8"}, "write two numbers with = between"),
        ({"mass_number": ""}, "is needed"),
    ],
)
def test_a_foam_test_that_cannot_be(desk: Desk, changed: dict[str, Any], said: str):
    answer = desk.post("/foam-tests/record/", **{**desk.form(), **FOAM, **changed}, confirm="yes")
    assert said in words(answer.content)
    assert not FoamTest.objects.exists()


def queries(client: Client, path: str) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(path).status_code == 200
    return len(caught)


def test_queries_do_not_grow_with_the_tests(desk: Desk):
    posted = {**desk.form(), **FOAM}
    desk.post("/foam-tests/record/", **posted, confirm="yes")
    for path in ("/line-tests/", "/foam-tests/"):
        queries(desk.client, path)
    few = [queries(desk.client, path) for path in ("/line-tests/", "/foam-tests/")]
    for _ in range(6):
        desk.post(**desk.form(), confirm="yes")
        desk.post("/foam-tests/record/", **{**desk.form(), **FOAM}, confirm="yes")
    assert [queries(desk.client, path) for path in ("/line-tests/", "/foam-tests/")] == few
