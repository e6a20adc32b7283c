"""A handed-over sheet by its pages: sent, laid out, asked about, tried, taken in, reported, compared."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from readiness.actions.handed_over import progress_name
from readiness.actions.progress import telling
from readiness.models import Container, HandedOver, Movement, Policy, Role, SheetLayout, Station, Unit
from readiness.reports import handed_over as reports
from readiness.reports.sheet_questions import Bundle
from readiness.web import handed_over as pages
from readiness.web.sheet_questions import name_of
from tests.cast import D0, SIX, DepartmentFactory, UserFactory
from tests.handed_sheet import CONTAINERS, FILLED, NAME, ROWS, plain_rows, sheet_bytes
from tests.web.conftest import as_person
from tests.web.entering import words

pytestmark = pytest.mark.django_db


@pytest.fixture
def department(db):
    """A department with nothing in it."""
    made = DepartmentFactory(name="Mossgate Fire District")
    Policy.objects.create(department=made)
    return made


@pytest.fixture
def officer(department):
    """Its logistics officer's browser."""
    user = UserFactory()
    user.memberships.create(department=department, role=Role.LOGISTICS, from_on="2020-01-01")
    return as_person(user)


def send(client, data=None, name=NAME, **options):
    data = sheet_bytes() if data is None else data
    return client.post(reverse("sheets"), {"file": SimpleUploadedFile(name, data)}, **options)


def at(name, draft):
    return reverse(name, args=[draft.pk])


def drafted(client, data=None, name=NAME):
    """A draft whose columns are as they were proposed."""
    send(client, data, name)
    draft = HandedOver.objects.first()
    client.post(at("sheet_columns", draft), {})
    draft.refresh_from_db()
    return draft


def open_questions(draft):
    draft.refresh_from_db()
    return reports.worked(draft, draft.department, D0).open


def answer(client, draft, **said):
    """Everything as proposed, or as said for a sort of question."""
    for _ in range(6):
        asked = open_questions(draft)
        if not asked:
            return draft
        posted = {}
        for each in asked:
            posted[f"shown-{name_of(each.group)}"] = "1"
            first = each.choices[0].key if each.choices else ""
            posted[f"chosen-{name_of(each.group)}"] = said.get(each.group.split("|")[0]) or each.proposed or first
        client.post(at("sheet_questions", draft), posted)
    raise AssertionError(open_questions(draft))


def taken(client, data=None, name=NAME, **said):
    draft = answer(client, drafted(client, data, name), **said)
    client.post(at("sheet_take", draft))
    draft.refresh_from_db()
    return draft


# -- sending ----------------------------------------------------------------------------------------------------------


def test_a_sheet_is_sent_and_its_columns_are_guessed(officer):
    answer_ = send(officer, follow=True)
    page = words(answer_)
    assert "What each column tells" in page
    assert "13 filled rows on this one" in page  # the title, the remark, the headings, nine rows and the total
    assert answer_.context["layout"].header_row == 4
    assert not Container.objects.exists()


@pytest.mark.parametrize(
    ("data", "name", "sentence"),
    [
        (b"%PDF-1.7", "sheet.xlsx", "A PDF was read"),
        (b"", "sheet.xlsx", "An empty file was read"),
        (b"PK\x03\x04 nonsense", "sheet.xlsx", "A damaged file was read"),
    ],
)
def test_what_is_no_sheet_is_refused_with_a_sentence(officer, data, name, sentence):
    assert sentence in words(send(officer, data, name))
    assert not HandedOver.objects.exists()


def test_no_file_at_all(officer):
    assert "No file was read: choose the sheet." in words(officer.post(reverse("sheets"), {}))


def test_a_csv_file_is_taken_too(officer):
    lines = "Station;Where;Product;Type;Cont.;Qty;Size;Lot\nSta 1;store;Larkite 3x6;AR-AFFF;pail;2;5 gal;A-1\n"
    page = words(send(officer, lines.encode("cp1252"), "our stock.csv", follow=True))
    assert "2 filled rows" in page


def test_the_same_file_is_the_same_draft_and_after_that_its_report(officer):
    send(officer)
    send(officer)
    assert HandedOver.objects.count() == 1
    done = answer(officer, drafted(officer))
    officer.post(at("sheet_take", done))
    page = words(send(officer, follow=True))
    assert "nothing is posted again" in page
    assert Movement.objects.count() == CONTAINERS


def test_another_sheet_of_the_same_file_is_read_and_the_same_one_is_not(officer):
    taken(officer)
    officer.post(reverse("sheets"), {"file": SimpleUploadedFile(NAME, sheet_bytes()), "another": "on"})
    again = HandedOver.objects.get(state="draft")
    page = words(officer.post(at("sheet_columns", again), {}))
    assert "The sheet “FOAM ON HAND” of this file was taken in before: choose another of its sheets." in page
    page = officer.get(at("sheet_columns", again), {"sheet": "Rigs & nozzles", "header": "1"})
    assert page.context["layout"].sheet == "Rigs & nozzles"


def test_the_other_sheets_of_a_file_are_named_in_the_report(officer):
    done = taken(officer)
    page = words(officer.get(at("sheet_report", done)))
    assert "The sheet “Rigs & nozzles” (2 filled rows) is not read: hand it over by itself if it is stock." in page
    assert "A1:K1" in page  # the merged title
    assert "=SUM(G5:G13)" in page


def test_too_many_drafts_are_refused(officer, monkeypatch):
    monkeypatch.setattr(pages.actions, "MOST_DRAFTS", 1)
    send(officer)
    page = words(send(officer, sheet_bytes(ROWS[:2]), "other.xlsx"))
    assert "1 sheets are begun and not finished" in page


# -- columns ----------------------------------------------------------------------------------------------------------


def test_another_sheet_and_row_of_headings_can_be_looked_at(officer):
    send(officer)
    draft = HandedOver.objects.get()
    page = officer.get(at("sheet_columns", draft), {"sheet": "Rigs & nozzles", "header": "1"})
    assert page.context["layout"].sheet == "Rigs & nozzles"
    assert page.context["layout"].header_row == 1


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"sheet": "No such sheet"}, "the file has no sheet of this title"),
        ({"sheet": "FOAM ON HAND", "header": "four"}, "a row number belongs here"),
    ],
)
def test_what_cannot_be_looked_at_is_refused_with_a_sentence(officer, asked, sentence):
    send(officer)
    assert sentence in words(officer.get(at("sheet_columns", HandedOver.objects.get()), asked))


def test_columns_that_cannot_be_used_are_refused_and_nothing_is_kept(officer):
    send(officer)
    draft = HandedOver.objects.get()
    page = words(officer.post(at("sheet_columns", draft), {"c0": "product"}))  # column C is the product already
    assert "The columns cannot be used so; nothing was saved" in page
    draft.refresh_from_db()
    assert draft.layout == {}
    assert not SheetLayout.objects.exists()


def test_the_next_sheet_with_these_headings_is_read_as_this_one_was(officer):
    draft = drafted(officer)
    officer.post(at("sheet_columns", draft), {"unit": "L", "days": "day", "c3": "ignored"})
    send(officer, sheet_bytes(ROWS[:3]), "later.xlsx")
    page = officer.get(at("sheet_columns", HandedOver.objects.get(name="later.xlsx")))
    assert "The department read a sheet with these headings before" in words(page)
    layout = page.context["layout"]
    assert (layout.volume_unit, layout.day_first, str(layout.meanings[3])) == ("L", True, "ignored")


# -- questions --------------------------------------------------------------------------------------------------------


def test_answers_are_kept_as_they_are_given(officer):
    draft = drafted(officer)
    asked = next(each for each in open_questions(draft) if each.group == "station|sta 1")
    name = name_of(asked.group)
    officer.post(at("sheet_questions", draft), {f"shown-{name}": "1", f"chosen-{name}": asked.choices[1].key})
    draft.refresh_from_db()
    assert draft.answers == {"station|sta 1": "new:Sta 1"}
    page = words(officer.get(at("sheet_questions", draft), {"show": "all"}))
    assert "a new station, named Sta 1" in page


def test_what_is_typed_goes_before_what_is_chosen(officer):
    draft = drafted(officer)
    asked = next(each for each in open_questions(draft) if each.group == "station|sta 1")
    name = name_of(asked.group)
    posted = {f"shown-{name}": "1", f"chosen-{name}": asked.choices[0].key, f"typed-{name}": " North   House "}
    officer.post(at("sheet_questions", draft), posted)
    draft.refresh_from_db()
    assert draft.answers["station|sta 1"] == "North House"


def test_a_question_that_was_not_shown_is_not_answered(officer):
    draft = drafted(officer)
    officer.post(at("sheet_questions", draft), {"proposals": "1"})
    draft.refresh_from_db()
    assert draft.answers == {}


def test_proposals_are_taken_for_the_page_only(officer, monkeypatch):
    monkeypatch.setattr(pages, "QUESTIONS_A_PAGE", 5)
    draft = drafted(officer)
    page = officer.get(at("sheet_questions", draft))
    shown = page.context["asked"]
    assert len(shown) < len(open_questions(draft))
    officer.post(at("sheet_questions", draft), as_drawn(page) | {"proposals": "1"})
    draft.refresh_from_db()
    assert set(draft.answers) == {each.group for each in shown if each.proposed}


def test_an_answer_that_cannot_be_used_comes_back_with_its_sentence(officer):
    draft = drafted(officer)
    name = name_of("code|pail")
    officer.post(at("sheet_questions", draft), {f"shown-{name}": "1", f"typed-{name}": "no figures"})
    page = words(officer.get(at("sheet_questions", draft)))
    assert "a first label code ends in a number, such as P-0001" in page


def test_alike_rows_can_be_answered_one_by_one(officer):
    rows = tuple((*row[:8], "??", *row[9:]) for row in (ROWS[1], ROWS[3]))
    draft = drafted(officer, sheet_bytes(rows))
    group = next(each for each in open_questions(draft) if each.about == "lot")
    assert group.rows == (5, 6)
    page = officer.get(at("sheet_questions", draft), {"apart": group.group})
    apart = [each for each in page.context["asked"] if each.about == "lot"]
    assert [each.rows for each in apart] == [(5,), (6,)]
    name = name_of(apart[0].group)
    address = f"{at('sheet_questions', draft)}?apart={group.group.replace('?', '%3F').replace('|', '%7C')}"
    officer.post(address, {f"shown-{name}": "1", f"typed-{name}": "LK-77"})
    (left,) = [each for each in open_questions(draft) if each.about == "lot"]
    assert left.rows == (6,)


THREE_STORES = tuple((station, *ROWS[3][1:]) for station in ("Sta 1", "Sta 2", "Sta 2", "Sta 3"))  # rows 5 to 8


def together_of(page, about):
    """What is asked together of one sort."""
    return [each for each in page.context["page"].object_list if isinstance(each, Bundle) and each.about == about]


def as_drawn(page):
    """What a browser would post of the page as it stands."""
    posted = {}
    for tag in re.findall(r"<input[^>]*>", page.content.decode()):
        said = dict(re.findall(r'([a-z]+)="([^"]*)"', tag))
        if said["type"] != "radio" or " checked" in tag:
            posted[said["name"]] = unescape(said.get("value", ""))
    return posted


def posted_together(page, bundle, place):
    """The same with one answer for questions asked together."""
    return as_drawn(page) | {f"chosen-{name_of(bundle.shape)}": str(place)}


def test_questions_of_one_sort_with_the_same_choices_are_asked_together(officer):
    """Three stations that nobody knows, in four rows."""
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    page = officer.get(at("sheet_questions", draft))
    (bundle,) = together_of(page, "Stations")
    assert len(bundle.questions) == 3
    assert bundle.rows == (5, 6, 7, 8)
    said = words(page)
    assert "One answer for 3 questions alike: it answers 4 rows, rows 5, 6, 7 and 8" in said
    assert (
        "“Sta 2” is no station of the department yet. Which is it? Rows 6 and 7. proposed a new station, named" in said
    )
    assert "Each as proposed: a new station, named Station …" in said
    assert "Each: a new station, named Sta …" in said
    assert f"{len(open_questions(draft))} of" in said


def test_one_answer_for_several_is_kept_for_each_and_may_be_changed_for_one(officer):
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    page = officer.get(at("sheet_questions", draft))
    (bundle,) = together_of(page, "Stations")
    second = officer.post(at("sheet_questions", draft), posted_together(page, bundle, 1))
    assert second.status_code == 302
    draft.refresh_from_db()
    assert draft.answers == {f"station|sta {n}": f"new:Sta {n}" for n in (1, 2, 3)}
    page = words(officer.get(at("sheet_questions", draft), {"show": "all"}))
    assert page.count("is no station of the department yet") == 3, "each with its answer, to be changed alone"
    taken_in = answer(officer, draft)
    officer.post(at("sheet_take", taken_in))
    assert set(Station.objects.values_list("name", flat=True)) == {"Sta 1", "Sta 2", "Sta 3"}


def test_one_of_them_or_all_can_be_answered_apart(officer):
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    address = at("sheet_questions", draft)
    page = officer.get(address, {"single": "station|sta 2"})
    (bundle,) = together_of(page, "Stations")
    assert [each.group for each in bundle.questions] == ["station|sta 1", "station|sta 3"]
    officer.post(f"{address}?single=station%7Csta+2", posted_together(page, bundle, 0))
    draft.refresh_from_db()
    assert set(draft.answers) == {"station|sta 1", "station|sta 3"}, "what is asked apart has no answer yet"
    officer.post(address, {"forget": "1"})
    page = officer.get(address, {"single": "Stations"})
    assert together_of(page, "Stations") == []
    assert [each.group for each in page.context["asked"] if each.about == "Stations"] == [
        "station|sta 1",
        "station|sta 2",
        "station|sta 3",
    ]


@pytest.mark.parametrize("place", ["", "-1", "7", "x", "²", "999999"])
def test_no_answer_for_several_is_no_answer(officer, place):
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    page = officer.get(at("sheet_questions", draft))
    (bundle,) = together_of(page, "Stations")
    assert officer.post(at("sheet_questions", draft), posted_together(page, bundle, place)).status_code == 302
    draft.refresh_from_db()
    assert draft.answers == {}


def test_what_is_no_longer_like_the_others_stays_open(officer, department):
    """Meanwhile somebody made a station that sounds like Sta 2: its choices are others now."""
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    page = officer.get(at("sheet_questions", draft))
    (bundle,) = together_of(page, "Stations")
    Station.objects.create(department=department, name="Station 2")
    officer.post(at("sheet_questions", draft), posted_together(page, bundle, 0))
    draft.refresh_from_db()
    left = {each.group for each in open_questions(draft) if each.about == "Stations"}
    assert left == {"station|sta 2"}
    assert draft.answers == {"station|sta 1": "new:Station 1", "station|sta 3": "new:Station 3"}


def answered_alone(client, draft, group, key):
    """Somebody answers one question, whatever else is asked."""
    name = name_of(group)
    client.post(at("sheet_questions", draft), {f"shown-{name}": "1", f"chosen-{name}": key})


def kept(draft):
    draft.refresh_from_db()
    return draft.answers


def test_one_answer_for_several_sent_twice_is_kept(officer):
    """A double tap, or the page loaded again."""
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    page = officer.get(at("sheet_questions", draft))
    posted = posted_together(page, *together_of(page, "Stations"), 1)
    for _ in range(2):
        officer.post(at("sheet_questions", draft), posted)
        assert kept(draft) == {f"station|sta {n}": f"new:Sta {n}" for n in (1, 2, 3)}


@pytest.mark.parametrize("pressed", [{}, {"proposals": "1"}])
def test_what_somebody_answered_meanwhile_is_not_touched_by_an_answer_for_several(officer, pressed):
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    page = officer.get(at("sheet_questions", draft))
    answered_alone(officer, draft, "station|sta 2", "new:Sta 2")
    officer.post(at("sheet_questions", draft), posted_together(page, *together_of(page, "Stations"), 0) | pressed)
    stations = {group: said for group, said in kept(draft).items() if group.startswith("station|")}
    assert stations == {
        "station|sta 1": "new:Station 1",
        "station|sta 2": "new:Sta 2",
        "station|sta 3": "new:Station 3",
    }


@pytest.mark.parametrize("pressed", [{}, {"proposals": "1"}])
def test_what_somebody_answered_meanwhile_stays_where_the_page_says_nothing(officer, pressed):
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    page = officer.get(at("sheet_questions", draft), {"single": "Stations"})
    answered_alone(officer, draft, "station|sta 2", "new:Sta 2")
    officer.post(at("sheet_questions", draft), as_drawn(page) | pressed)
    assert kept(draft)["station|sta 2"] == "new:Sta 2"


def test_an_answer_is_changed_and_taken_away_by_who_saw_it_and_not_by_an_older_page(officer):
    draft = drafted(officer, sheet_bytes(THREE_STORES))
    name = name_of("station|sta 2")
    officer.post(at("sheet_questions", draft), {f"shown-{name}": "1", f"typed-{name}": "North House"})
    page = officer.get(at("sheet_questions", draft), {"show": "all"})
    assert as_drawn(page)[f"typed-{name}"] == "North House"
    officer.post(at("sheet_questions", draft), as_drawn(page) | {f"typed-{name}": "South House"})
    assert kept(draft)["station|sta 2"] == "South House"
    for old in (as_drawn(page), as_drawn(page) | {f"typed-{name}": ""}):
        officer.post(at("sheet_questions", draft), old)
        assert kept(draft)["station|sta 2"] == "South House"
    page = officer.get(at("sheet_questions", draft), {"show": "all"})
    officer.post(at("sheet_questions", draft), as_drawn(page) | {f"typed-{name}": ""})
    assert "station|sta 2" not in kept(draft)


def test_a_unit_and_a_vehicle_are_not_asked_about_together(officer, department):
    """Engine 9 is no unit yet; Engine 8 is one, without a vehicle for its tank."""
    home = Station.objects.create(department=department, name="Station 1")
    Unit.objects.create(department=department, station=home, designation="Engine 8")
    tank = (*ROWS[0][:1], "Engine 8 tank B", *ROWS[0][2:])
    draft = drafted(officer, sheet_bytes(((*ROWS[1][:1], "Engine 9 L3 compartment", *ROWS[1][2:]), tank)))
    page = officer.get(at("sheet_questions", draft))
    asked = {each.group for each in page.context["asked"] if each.about == "Units and vehicles"}
    assert asked == {"unit|engine 9", "vehicle|engine 8"}
    assert together_of(page, "Units and vehicles") == []


@pytest.mark.parametrize("pressed", [{}, {"proposals": "1"}])
def test_as_proposed_means_the_record_that_was_shown(officer, department, pressed):
    """Three stations sound like others of the department; one of those is renamed while the page is looked at."""
    for name in ("Hilltop", "Quayside", "Riverside"):
        Station.objects.create(department=department, name=name)
    rows = tuple((name, *ROWS[3][1:]) for name in ("Hilltopp", "Quaysidde", "Riversidde"))
    draft = drafted(officer, sheet_bytes(rows))
    page = officer.get(at("sheet_questions", draft))
    (bundle,) = together_of(page, "Stations")
    assert "it is Quayside, which is there already" in words(page)
    Station.objects.filter(name="Quayside").update(name="Quayside 2")
    Station.objects.create(department=department, name="Quaysides")
    now = {each.group: each.proposed for each in open_questions(draft)}
    assert now["station|quaysidde"] == "is:Quaysides", "the same place in the list, and another record"
    officer.post(at("sheet_questions", draft), posted_together(page, bundle, bundle.proposed) | pressed)
    stations = {group: said for group, said in kept(draft).items() if group.startswith("station|")}
    assert stations == {"station|hilltopp": "is:Hilltop", "station|riversidde": "is:Riverside"}
    assert "station|quaysidde" in {each.group for each in open_questions(draft)}


def test_all_answers_can_be_taken_away(officer):
    draft = answer(officer, drafted(officer))
    officer.post(at("sheet_questions", draft), {"forget": "1"})
    draft.refresh_from_db()
    assert draft.answers == {}


# -- trying and taking in ---------------------------------------------------------------------------------------------


def test_where_it_stands_leads_on_step_by_step(officer):
    draft = drafted(officer)
    page = words(officer.get(at("sheet", draft)))
    assert "have to be answered before the sheet may be taken in" in page
    assert "All 13 filled rows of the sheet" in page
    answer(officer, draft)
    assert "Next: try it" in words(officer.get(at("sheet", draft)))
    page = words(officer.post(at("sheet_try", draft), follow=True))
    assert "Next: take it in" in page
    assert f"{CONTAINERS} containers come into the book" in page
    assert "Engine 1 has no foam line." in page
    assert not Container.objects.exists()
    page = words(officer.post(at("sheet_take", draft), follow=True))
    assert "13 filled rows, each accounted for below" in page
    assert Container.objects.count() == CONTAINERS


def test_faults_stand_at_the_rows_of_the_sheet_and_nothing_is_saved(officer):
    rows = (ROWS[0], (ROWS[3][0], "x" * 70, *ROWS[3][2:]))
    draft = answer(officer, drafted(officer, sheet_bytes(rows)), place="store")
    page = words(officer.post(at("sheet_try", draft), follow=True))
    assert "nothing was saved" in page
    assert "FOAM ON HAND 6 B Where" in page
    assert not Container.objects.exists()


def test_taking_in_with_questions_left_is_refused_with_a_sentence(officer):
    draft = drafted(officer)
    many = len(open_questions(draft))
    page = words(officer.post(at("sheet_take", draft), follow=True))
    assert f"{many} questions have to be answered first." in page
    assert not Container.objects.exists()


def at_work(draft, minutes):
    since = (SIX - timedelta(minutes=minutes)).isoformat()
    working = {"what": "taking in", "since": since, "step": "Entering 40 containers into the book"}
    HandedOver.objects.filter(pk=draft.pk).update(state="working", working=working)


def test_work_shows_how_far_it_is_and_asks_again_by_itself(officer):
    draft = drafted(officer)
    at_work(draft, 1)
    answer_ = officer.get(at("sheet", draft))
    page = words(answer_)
    assert "Entering 40 containers into the book" in page
    assert "60 seconds ago" in page
    assert b'http-equiv="refresh"' in answer_.content
    officer.post(at("sheet_give_up", draft))
    draft.refresh_from_db()
    assert draft.state == "working", "a minute is no reason to give it up"
    for name in ("sheet_columns", "sheet_questions", "sheet_rows"):
        assert officer.get(at(name, draft)).status_code == 302


def test_work_shows_how_many_rows_are_done(officer):
    draft = drafted(officer)
    at_work(draft, 1)
    with telling(progress_name(draft)) as tell:
        tell("rows checked against the book", 4_500, 10_000)
        answer_ = officer.get(at("sheet", draft))
    assert "4,500 of 10,000 rows checked against the book" in words(answer_)
    assert b'<progress max="10000" value="4500"' in answer_.content
    still = officer.get(at("sheet", draft), {"still": "yes"})
    assert b'http-equiv="refresh"' not in still.content
    assert "stands still until you look again" in words(still)
    assert "of 10,000 rows" not in words(officer.get(at("sheet", draft))), "it is over"


def test_work_that_has_said_nothing_for_ten_minutes_can_be_given_up(officer):
    draft = drafted(officer)
    at_work(draft, 11)
    answer_ = officer.get(at("sheet", draft))
    assert b'http-equiv="refresh"' not in answer_.content
    page = words(officer.post(at("sheet_give_up", draft), follow=True))
    assert "nothing was kept" in page
    draft.refresh_from_db()
    assert draft.state == "draft"


def test_a_draft_is_discarded(officer):
    draft = drafted(officer)
    page = words(officer.post(at("sheet_discard", draft), follow=True))
    assert "The sheet is discarded" in page
    assert not HandedOver.objects.exists()


# -- the report -------------------------------------------------------------------------------------------------------


def test_the_report_is_kept_found_again_and_saved_as_a_workbook(officer):
    done = taken(officer)
    assert NAME in words(officer.get(reverse("sheets")))
    found = officer.get(at("sheet_report", done), {"export": "xlsx"})
    sheet = load_workbook(io.BytesIO(found.content)).worksheets[0]
    table = list(sheet.iter_rows(values_only=True))
    assert table[0][:2] == ("Row", "Taken for")
    assert tuple(row[0] for row in table[1:]) == FILLED
    assert words(officer.get(at("sheet_report", done), {"q": "swollen"})).count("two swollen") >= 1


def test_the_report_and_the_labels_print_on_one_page(officer):
    done = taken(officer, sheet_bytes(plain_rows(60)))
    assert len(officer.get(at("sheet_labels", done)).context["table"].paginated_rows) == 50
    assert len(officer.get(at("sheet_labels", done), {"whole": "yes"}).context["table"].paginated_rows) == 60
    assert len(officer.get(at("sheet_report", done), {"whole": "yes"}).context["table"].paginated_rows) == 63


def test_a_label_says_what_to_write_on_what(officer):
    done = taken(officer)
    page = words(officer.get(at("sheet_labels", done)))
    assert "P-0001 pail 5.0 gal Engine 1, L3 Larkite 3x6, lot LK-2219 6" in page


def test_a_draft_has_no_report_and_a_finished_sheet_no_questions(officer):
    draft = drafted(officer)
    for name in ("sheet_report", "sheet_labels"):
        assert officer.get(at(name, draft)).headers["Location"] == at("sheet", draft)
    done = taken(officer)
    assert officer.get(at("sheet", done)).headers["Location"] == at("sheet_report", done)


def test_a_newer_sheet_lists_what_differs_with_the_forms_that_settle_it(officer):
    taken(officer)
    rows = [list(row) for row in ROWS]
    rows[3][6] = 12
    rows[1][6] = 4
    draft = answer(officer, drafted(officer, sheet_bytes(tuple(map(tuple, rows))), "newer.xlsx"), purpose="compare")
    before = Movement.objects.count()
    answer_ = officer.post(at("sheet_compare", draft), follow=True)
    page = words(answer_)
    assert "Nothing was posted." in page
    assert "The sheet has 2 pails at Engine 1, L3, which the book has at Station 1 store, store room." in page
    assert Movement.objects.count() == before
    address = next(
        part.split('"')[0] for part in answer_.content.decode().split('href="') if part.startswith("/movements/move/")
    ).replace("&amp;", "&")
    form = officer.get(address).context["form"]
    assert len(form["codes"].value().split()) == 2
    assert form["compartment"].value() == "L3"
    saved = officer.get(at("sheet_report", draft), {"export": "differences"})
    table = list(load_workbook(io.BytesIO(saved.content)).worksheets[0].iter_rows(values_only=True))
    assert {row[0] for row in table[1:]} == {"elsewhere", "as the book has it"}


def test_a_button_makes_an_inventory_of_a_newer_sheet(officer):
    """It says first what it will do; it is there once, and then leads to the inventory."""
    taken(officer)
    rows = [list(row) for row in ROWS]
    rows[3][6] = 12
    draft = answer(officer, drafted(officer, sheet_bytes(tuple(map(tuple, rows))), "newer.xlsx"), purpose="compare")
    page = words(officer.post(at("sheet_compare", draft), follow=True))
    assert "of which 0 hold another amount by the sheet and 2 are not in it." in page
    assert "Nothing is booked by it." in page
    opened = officer.post(at("sheet_inventory", draft), follow=True)
    assert "the sheet is its first count" in words(opened)
    page = words(officer.get(at("sheet_report", draft)))
    assert "The inventory that was opened from this sheet" in page
    assert "Open an inventory from this sheet" not in page
    assert "opened from this sheet before" in words(officer.post(at("sheet_inventory", draft), follow=True))


# -- as many as you like ----------------------------------------------------------------------------------------------


def asked_of_the_database(client, address):
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


def test_pages_ask_the_database_no_more_often_for_more_rows(department, officer):
    few, many = (drafted(officer, sheet_bytes(plain_rows(rows)), f"{rows}.xlsx") for rows in (10, 60))
    for name in ("sheet", "sheet_columns", "sheet_rows", "sheet_questions"):
        assert asked_of_the_database(officer, at(name, few)) == asked_of_the_database(officer, at(name, many)), name
    for draft in (few, many):
        officer.post(at("sheet_take", answer(officer, draft, purpose="new")))
    for name in ("sheet_report", "sheet_labels"):
        assert asked_of_the_database(officer, at(name, few)) == asked_of_the_database(officer, at(name, many)), name


@pytest.mark.django_db(transaction=True)
def test_a_large_sheet_is_worked_on_beside_the_browser(department, officer, monkeypatch):
    monkeypatch.setattr(pages, "MOST_AT_ONCE", 5)
    threads: list[Any] = []

    class Noted(pages.Thread):
        def __init__(self, **options: Any) -> None:
            super().__init__(**options)
            threads.append(self)

    monkeypatch.setattr(pages, "Thread", Noted)
    draft = answer(officer, drafted(officer, sheet_bytes(plain_rows(8))))
    officer.post(at("sheet_take", draft))
    (thread,) = threads
    thread.join(timeout=60)
    draft.refresh_from_db()
    assert draft.state == "taken"
    assert Container.objects.count() == 8


def test_a_sheet_is_taken_back_out_by_its_page(officer):
    done = taken(officer)
    assert "Nothing was read: say what was wrong." in words(officer.post(at("sheet_undo", done), {}))
    page = words(officer.post(at("sheet_undo", done), {"reason": "last year's sheet"}, follow=True))
    assert f"The sheet is taken back out: {CONTAINERS} containers left the book." in page
    assert "It was taken back out since." in page
    page = words(officer.post(at("sheet_undo", done), {"reason": "again"}))
    assert "and was not taken back out since, can be taken back out" in page
