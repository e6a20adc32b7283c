"""The morning check as a form: numbers, not ticks; blind; kept whole; and its result shown back."""

from __future__ import annotations

import io
import json
import re
from datetime import timedelta
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from readiness.actions import movements
from readiness.actions.checks import Read
from readiness.actions.clock import StoppedClock
from readiness.models import Check, Reading, Role, User
from readiness.models.checks import Answer
from readiness.web import access
from tests.cast import SIX, Cast
from tests.judged import GPM, Rigged
from tests.web.checking import HOUR, ID, NOW, faults, made, of_tank, post, whole
from tests.web.conftest import as_person

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _seven_o_clock(_six_o_clock: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(access, "CLOCK", StoppedClock(NOW))


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    rig = Rigged(cast)
    rig.judge()
    return rig


# -- the form is blind -------------------------------------------------------------------------------------------------


def test_the_form_holds_neither_the_book_nor_the_last_reading(rig, as_role):
    """Book 77,777 mL = 20.5465 gal; last read 66,666 mL = 17.6113 gal (3785.411784 mL each): in no spelling."""
    tank = rig.tank(ml=77_777, resolution_ml=1_893)
    tank.reading_ml, tank.reading_at = 66_666, SIX
    tank.save()
    rig.line.present_pct = 600
    rig.line.save()
    for units in ("us", "metric"):
        client = as_role(Role.CREW)
        session = client.session
        session["units"] = units
        session.save()
        html = client.get(f"/crew/{rig.unit.pk}/check/").content.decode()
        assert "T1" in html
        for volume in ("77777", "77,777", "77.7", "77.8", "20.5", "66666", "66.6", "66.7", "17.6"):
            assert volume not in re.sub(r'value="[0-9a-f-]{36}"', "", html), f"{volume} in {units}"
        chosen = [tag for tag in re.findall(r"<input[^>]*>", html) if "checked" in tag]
        assert chosen, "something is chosen at first"
        assert all('value="not looked at"' in tag or 'value=""' in tag for tag in chosen), "and that is: not looked at"


def test_the_form_holds_no_script_and_loads_nothing_from_elsewhere(rig, as_role):
    html = as_role(Role.CREW).get(f"/crew/{rig.unit.pk}/check/").content.decode()
    scripts = re.findall(r"<script([^>]*)>(.*?)</script>", html, re.DOTALL)
    assert [(re.sub(r"\.[0-9a-f]{12}", "", where), within) for where, within in scripts] == [
        (' src="/static/readiness/look_over.js" defer', ""),  # looks a form over before it is kept
        (' src="/static/readiness/half_typed.js" defer', ""),  # brings back what was typed and not sent
        (' src="/static/readiness/queue.js" defer', ""),  # keeps entries without signal
    ]
    assert not re.findall(r"\son\w+=", html)
    assert "style=" not in html
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', html)


def test_the_page_tells_a_device_what_it_would_refuse(rig, as_role):
    """The rules of its form, and what a tank holds when full (3,785.411784 mL a gallon); nothing of what is in it."""
    tank = rig.tank(ml=77_777, resolution_ml=1_893)
    html = as_role(Role.CREW).get(f"/crew/{rig.unit.pk}/check/").content.decode()
    form = unescape(html.partition("data-rules=")[2].partition('" data-')[0][1:])
    says = {rule["at"]: rule["sentence"] for rule in json.loads(form) if rule["of"] == f"c{tank.pk}"}
    assert says[f"c{tank.pk}_ml"].startswith("Good was marked and no volume: read the gauge or dip it")
    number = next(tag for tag in re.findall(r"<input[^>]*>", html) if f'name="c{tank.pk}_ml_number"' in tag)
    full = float(re.search(r'data-full="([\d.]+)"', number)[1])
    most = float(re.search(r'data-most="([\d.]+)"', number)[1])
    assert full == pytest.approx(tank.capacity_ml / 3785.411784, abs=1e-3)
    assert most == pytest.approx((tank.capacity_ml + 1_893 + 2) / 3785.411784, abs=1e-3)
    assert "77777" not in form


def test_nine_pails_alike_take_one_answer(rig, as_role):
    html = as_role(Role.CREW).get(f"/crew/{rig.unit.pk}/check/").content.decode()
    assert "all 9 sealed, good" in html
    assert "9 sealed pails of 5.0 gal" in html


def test_queries_do_not_grow_with_pails(rig, as_role):
    client = as_role(Role.CREW)

    def count() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert client.get(f"/crew/{rig.unit.pk}/check/").status_code == 200
        return len(seen)

    def posted(id_: str) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert post(client, rig, {**whole(rig), "entry_id": id_}).status_code == 302
        return len(seen)

    few, few_posted = count(), posted(ID)
    for n in range(20):
        rig.pail(f"Q{n}")
    assert count() == few
    assert posted(ID.replace("a", "b")) == few_posted
    assert Reading.objects.filter(check_of=ID.replace("a", "b"), sealed=True).count() == 29


# -- recorded ----------------------------------------------------------------------------------------------------------


def test_a_whole_check_is_recorded_as_measured(rig, as_role):
    """19.5 gal × 3785.411784 mL = 73,815.5 mL, halves to the even millilitre: 73,816 (not exact half: .53)."""
    tank = rig.tank(ml=75_000, resolution_ml=2_000)
    answer = post(as_role(Role.CREW), rig, whole(rig, **of_tank(tank, "19.5")))
    assert answer["Location"] == f"/crew/{rig.unit.pk}/checks/{ID}/result/"
    check = made()
    assert (check.complete, check.by, check.unit, check.vehicle) == (
        True,
        rig.cast.people[Role.CREW],
        rig.unit,
        rig.vehicle,
    )
    assert (check.started_at, check.finished_at, check.recorded_at) == (NOW - timedelta(seconds=90), NOW, NOW)
    columns = ("container__code", "line__name", "answer", "ml", "sealed", "setting_pct", "flushed")
    rows = list(check.readings.values_list(*columns))
    assert rows[0] == ("T1", None, "good", 73_816, False, None, None)
    assert rows[1:10] == [(f"P{n}", None, "good", None, True, None, None) for n in range(9)]
    assert rows[10:] == [(None, "Crosslay 1", "good", None, None, 300, True)]


def test_the_unit_as_rendered_counts_whatever_the_reader_prefers_by_now(rig, as_role):
    """10 L is 10,000 mL; 10 gal would be 37,854."""
    tank = rig.tank(ml=10_000)
    post(as_role(Role.CREW), rig, whole(rig, **of_tank(tank, "10", unit="L")))
    assert made().readings.get(container=tank).ml == 10_000


def test_one_pail_is_singled_out(rig, as_role):
    """3.5 gal × 3785.411784 = 13,248.9 mL."""
    opened, gone, dented = (f"p{rig.pails[n].pk}" for n in (1, 4, 6))
    answers = whole(rig) | {
        opened: "opened",
        f"{opened}_ml_number": "3.5",
        f"{opened}_ml_unit": "gal",
        gone: "not carried",
        dented: "fault",
        f"{dented}_words": "dented",
    }
    post(as_role(Role.CREW), rig, answers)
    columns = ("container__code", "answer", "ml", "sealed", "words")
    rows = {code: rest for code, *rest in made().readings.values_list(*columns)}
    assert rows["P0"] == ["good", None, True, ""]
    assert rows["P1"] == ["good", 13_249, False, ""]
    assert rows["P4"] == ["not carried", None, None, ""]
    assert rows["P6"] == ["fault", None, True, "dented"]
    assert made().complete


def test_a_part_is_kept_and_says_what_it_covered(rig, as_role):
    client = as_role(Role.CREW)
    answer = client.post(f"/crew/{rig.unit.pk}/check/", {"entry_id": ID, f"g{rig.pails[0].pk}": "good"}, follow=True)
    assert not made().complete
    said = answer.content.decode()
    assert "a part of the check is recorded" in said
    assert "9 of 10 were looked at. Not covered: Crosslay 1." in said
    assert made().readings.get(line=rig.line).answer == Answer.NOT_LOOKED


def test_only_the_knob_was_read(rig, as_role):
    post(as_role(Role.CREW), rig, {"entry_id": ID, f"l{rig.line.pk}_set": "600"})
    row = made().readings.get(line=rig.line)
    assert (row.answer, row.setting_pct, made().complete) == ("not looked at", 600, False)


def test_a_ring_is_kept_in_its_own_measure(rig, as_role):
    rig.line.nozzle.rings_lpm = [60 * GPM, 95 * GPM]
    rig.line.nozzle.save()
    html = as_role(Role.CREW).get(f"/crew/{rig.unit.pk}/check/").content.decode()
    assert "60 gpm" in html
    post(as_role(Role.CREW), rig, whole(rig, **{f"l{rig.line.pk}_ring": str(60 * GPM)}))
    assert made().readings.get(line=rig.line).ring_lpm == 60 * GPM


def test_a_second_tap_records_once(rig, as_role, monkeypatch):
    client = as_role(Role.CREW)
    first = post(client, rig, whole(rig))
    monkeypatch.setattr(access, "CLOCK", StoppedClock(NOW + timedelta(seconds=3)))
    second = client.post(f"/crew/{rig.unit.pk}/check/", whole(rig), follow=True)
    assert second.redirect_chain[0][0] == first["Location"]
    assert "recorded already" in second.content.decode()
    assert (Check.objects.filter(pk=ID).count(), made().finished_at) == (1, NOW)


def test_the_same_form_with_other_answers_is_no_way_to_alter_a_check(rig, as_role):
    client = as_role(Role.CREW)
    post(client, rig, whole(rig))
    before = list(Reading.objects.values())
    answer = post(client, rig, whole(rig, **{f"l{rig.line.pk}_set": "600"}))
    assert "a check is never altered: open a new check" in answer.content.decode()
    assert list(Reading.objects.values()) == before


def test_another_persons_id_is_not_theirs_to_repeat(rig, as_role):
    post(as_role(Role.CREW), rig, whole(rig))
    answer = post(as_role(Role.OFFICER), rig, whole(rig, notes="mine"))
    assert "is recorded already, with another content" in answer.content.decode()
    assert made().by == rig.cast.people[Role.CREW]


def test_a_late_entry_is_taken_and_marked(rig, as_role, monkeypatch):
    monkeypatch.setattr(access, "CLOCK", StoppedClock(NOW + 5 * HOUR))
    client = as_role(Role.CREW)
    post(client, rig, whole(rig, made_at="2026-06-15T07:10"))
    check = made()
    assert (check.finished_at, check.recorded_at) == (NOW + timedelta(minutes=10), NOW + 5 * HOUR)
    assert check.started_at is None, "when the form was opened says nothing of a check made before"
    assert "late entry" in client.get(f"/crew/{rig.unit.pk}/checks/{ID}/").content.decode()


# -- refused, and kept as typed ----------------------------------------------------------------------------------------


def test_good_without_a_number_is_a_tick(rig, as_role):
    tank = rig.tank()
    found = faults(post(as_role(Role.CREW), rig, whole(rig, **of_tank(tank, ""))))
    said = "Good was marked and no volume: read the gauge or dip it, or leave T1 at not looked at."
    assert found == {f"c{tank.pk}_ml": [said]}


def test_a_number_and_not_looked_at_contradict(rig, as_role):
    tank = rig.tank()
    answer = post(as_role(Role.CREW), rig, whole(rig, **of_tank(tank, "12.5", answer="not looked at")))
    said = "12.50 gal was read in T1 and “not looked at” is marked: mark good or fault beside a volume."
    assert faults(answer) == {f"c{tank.pk}": [said]}
    assert 'value="12.5"' in answer.content.decode(), "what was typed is kept"


def test_what_is_no_number_is_said_and_kept(rig, as_role):
    tank = rig.tank()
    answer = post(as_role(Role.CREW), rig, whole(rig, **of_tank(tank, "about half")))
    (said,) = faults(answer)[f"c{tank.pk}_ml"]
    assert "“about half” was read" in said
    assert 'value="about half"' in answer.content.decode()
    assert answer.content.decode().count("checked") >= 4, "the answers are kept too"


def test_more_than_a_tank_holds(rig, as_role):
    tank = rig.tank()
    answer = post(as_role(Role.CREW), rig, whole(rig, **of_tank(tank, "31.7")))
    said = "31.70 gal was read in T1, which holds 30.00 gal when full: read the gauge again."
    assert faults(answer) == {"__all__": [said]}


def test_a_line_is_not_good_without_its_setting(rig, as_role):
    answers = whole(rig)
    del answers[f"l{rig.line.pk}_set"]
    found = faults(post(as_role(Role.CREW), rig, answers))
    assert found == {f"l{rig.line.pk}_set": ["Good was marked on Crosslay 1: say what the knob stands at as well."]}


def test_a_fault_says_what_is_wrong(rig, as_role):
    found = faults(post(as_role(Role.CREW), rig, whole(rig, **{f"l{rig.line.pk}": "fault"})))
    assert found == {f"l{rig.line.pk}_words": ["A fault was marked: say in a word or two what is wrong."]}


def test_an_opened_pail_needs_its_volume_and_a_sealed_one_has_none(rig, as_role):
    first, second = (f"p{pail.pk}" for pail in rig.pails[:2])
    answers = whole(rig) | {first: "opened", f"{second}_ml_number": "4", f"{second}_ml_unit": "gal"}
    answer = post(as_role(Role.CREW), rig, answers)
    found = faults(answer)
    assert found[f"{first}_ml"] == ["P0 was marked opened and no volume was read: say what is in it."]
    assert found[second] == ["4.00 gal was read in P1, which is not marked opened: mark it opened or clear it."]
    assert '<details class="single-out" open>' in answer.content.decode(), "where the error is, is open"


def test_nothing_looked_at_is_no_check(rig, as_role):
    found = faults(post(as_role(Role.CREW), rig, {"entry_id": ID, f"g{rig.pails[0].pk}": "not looked at"}))
    said = "Everything was left at not looked at: a check says of one thing at least what was seen."
    assert found == {"__all__": [said]}


def test_an_answer_that_is_not_offered(rig, as_role):
    found = faults(post(as_role(Role.CREW), rig, whole(rig, **{f"l{rig.line.pk}_set": "450"})))
    assert found[f"l{rig.line.pk}_set"] == ["“450” was read: choose one of the answers that are offered."]


def test_a_moment_to_come(rig, as_role):
    (said,) = faults(post(as_role(Role.CREW), rig, whole(rig, made_at="2026-06-15T09:00")))["made_at"]
    assert "which lies after now (2026-06-15 07:00)" in said


def test_what_was_taken_off_meanwhile_is_not_dropped_in_silence(rig, as_role):
    answers = whole(rig)
    movements.move(rig.entry(), containers=[rig.pails[0]], place=rig.cast.store)
    found = faults(post(as_role(Role.CREW), rig, answers))
    said = "What Engine 1 carries was changed in the book while you looked: look it over again."
    assert found == {"__all__": [said]}


# -- what came of it ---------------------------------------------------------------------------------------------------


def test_a_difference_is_shown_back_with_both_numbers_and_what_it_may_mean(rig, as_role):
    """Book 100,000 mL = 26.42 gal, read 25 gal = 94,635 mL: 5,365 mL = 1.42 gal less; the gauge tells 2,000 mL."""
    tank = rig.tank(ml=100_000)
    answer = as_role(Role.CREW).post(f"/crew/{rig.unit.pk}/check/", whole(rig, **of_tank(tank, "25")), follow=True)
    said = answer.content.decode()
    assert "25.00 gal was read; the book says 26.42 gal." in said
    assert "1.42 gal less than the book; a leak, evaporation or an unbooked use: look again." in said
    tank.refresh_from_db()
    assert tank.contents_ml == 100_000, "the book is not altered by a reading"


def test_a_turned_knob_the_new_status_and_what_changed(rig, as_role, django_capture_on_commit_callbacks):
    client = as_role(Role.CREW)
    with django_capture_on_commit_callbacks(execute=True):
        answer = post(client, rig, whole(rig, **{f"l{rig.line.pk}_set": "600"}))
    said = client.get(answer["Location"]).content.decode()
    assert "Stands at 6 %; parked at 3 % by rule." in said
    assert re.search(r"Before the check: .*mark-ready", said)
    assert re.search(r'class="stands">.*mark-limited', said)
    assert '<strong class="new">new</strong> Crosslay 1 stands at 6 % and is parked at 3 % by rule.' in said


def test_all_as_in_the_book(rig, as_role):
    said = as_role(Role.CREW).post(f"/crew/{rig.unit.pk}/check/", whole(rig), follow=True).content.decode()
    assert "the whole check is recorded" in said
    assert "Nothing that was read differs from the book by more than its gauge tells apart." in said


# -- history -----------------------------------------------------------------------------------------------------------


def test_the_history_and_its_workbook(rig, as_role):
    User.objects.filter(pk=rig.cast.people[Role.CREW].pk).update(first_name="Ada", last_name="Finch")
    client = as_role(Role.CREW)
    post(client, rig, whole(rig, notes="=1+1"))
    said = client.get(f"/crew/{rig.unit.pk}/checks/").content.decode()
    assert "Ada Finch" in said
    assert "whole: 10 of 10" in said
    assert "1:30" in said, "ninety seconds"
    assert f"/crew/{rig.unit.pk}/checks/{ID}/" in said
    book = load_workbook(io.BytesIO(client.get(f"/crew/{rig.unit.pk}/checks/?export=xlsx").content))
    heading, *rows = book["Checks"].iter_rows(values_only=True)
    first = dict(zip(heading, rows[0], strict=True))
    assert (len(rows), first["Unit"], first["By"], first["Vehicle"], first["Took [min]"], first["Late"]) == (
        2,
        "Engine 1",
        "Ada Finch",
        "201",
        1.5,
        "no",
    )
    assert first["Made [department's time]"] == NOW.replace(tzinfo=None)
    assert str(first["Notes"]).lstrip("'") == "=1+1"
    assert all(cell.data_type != "f" for row in book["Checks"].iter_rows() for cell in row)


def test_the_history_can_be_narrowed(rig, as_role):
    client = as_role(Role.CREW)
    post(client, rig, {"entry_id": ID, f"g{rig.pails[0].pk}": "good", "notes": "drill"})
    for question, count in (("complete=False", 1), ("complete=True", 1), ("q=drill", 1), ("q=nobody", 0), ("", 2)):
        assert len(client.get(f"/crew/{rig.unit.pk}/checks/?{question}").context["table"].rows) == count, question


def test_the_pages_of_one_check(rig, as_role):
    post(as_role(Role.CREW), rig, whole(rig))
    said = as_role(Role.OBSERVER).get(f"/crew/{rig.unit.pk}/checks/{ID}/").content.decode()
    for words in ("vehicle 201", "the whole unit: all 10", "P0 to P8", "sealed, good", "at 3 %", "flushed or not used"):
        assert words in said, words


def test_queries_of_the_history_do_not_grow(rig, as_role):
    client = as_role(Role.CREW)

    def count(address: str) -> int:
        client.get(address)
        with CaptureQueriesContext(connection) as seen:
            assert client.get(address).status_code == 200
        return len(seen)

    few = count(f"/crew/{rig.unit.pk}/checks/")
    for n in range(1, 12):
        rig.checked((Read(Answer.GOOD, line=rig.line.pk, setting_pct=300),), at=SIX + n * timedelta(minutes=1))
    assert count(f"/crew/{rig.unit.pk}/checks/") == few


# -- who may -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", Role)
def test_all_hands_check_and_an_observer_looks_only(rig, as_role, role):
    client = as_role(role)
    expected = 403 if role == Role.OBSERVER else 200
    assert client.get(f"/crew/{rig.unit.pk}/check/").status_code == expected
    assert post(client, rig, whole(rig)).status_code == (403 if role == Role.OBSERVER else 302)
    assert Check.objects.filter(pk=ID).exists() == (role != Role.OBSERVER)
    assert client.get(f"/crew/{rig.unit.pk}/checks/").status_code == 200


def test_another_departments_unit_and_check_do_not_exist(rig, as_role):
    post(as_role(Role.CREW), rig, whole(rig))
    stranger = as_person(rig.cast.outsider)
    for page in ("check/", "checks/", f"checks/{ID}/", f"checks/{ID}/result/", "checks/?export=xlsx"):
        assert stranger.get(f"/crew/{rig.unit.pk}/{page}").status_code == 404, page
    before = Check.objects.count()
    assert post(stranger, rig, {**whole(rig), "entry_id": ID.replace("a", "b")}).status_code == 404
    assert Check.objects.count() == before


def test_a_check_of_another_unit_is_not_under_this_one(rig, as_role):
    from tests.cast import UnitFactory

    other = UnitFactory(station=rig.cast.station, designation="Engine 2")
    post(as_role(Role.CREW), rig, whole(rig))
    assert as_role(Role.CREW).get(f"/crew/{other.pk}/checks/{ID}/").status_code == 404
