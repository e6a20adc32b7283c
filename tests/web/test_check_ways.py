"""The check part by part, by stick and by lights, for hundreds of pails; and each way through what it found."""

from __future__ import annotations

from datetime import timedelta
from html import unescape
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.models import Check, Container, Movement, ParLine, RaisedDeficiency, Reading, Role
from readiness.models.movements import Account
from readiness.web import access
from readiness.web.checks import NOT_APART
from tests.cast import PAIL_ML, SIX, Cast
from tests.judged import Rigged
from tests.web.checking import HOUR, ID, NOW, faults, made, of_tank, post, whole
from tests.web.doors import PIXEL
from tests.web.entering import words

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _seven_o_clock(_six_o_clock: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(access, "CLOCK", StoppedClock(NOW))


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    rig = Rigged(cast)
    rig.judge()
    return rig


def reading(**of: Any) -> Reading:
    return made().readings.get(**of)


def codes(rig: Rigged) -> set[str]:
    rig.judge(NOW + HOUR)
    return rig.open_codes()


# -- part by part ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("part", "said", "answer", "complete", "found"),
    [
        ("0", "fault", "fault", True, {"fault_seen"}),  # the strainer
        ("1", "not carried", "not carried", True, {"not_carried", "line_out_of_service"}),  # without a tube it is none
        ("2", "not looked at", "not looked at", False, set()),
        ("2", "good", "good", True, set()),
    ],
)
def test_four_answers_are_four_things(rig, as_role, part, said, answer, complete, found):
    """Of a line's strainer, tube and nozzle one is as the parameter says, the others are good."""
    rig.judge()
    post(as_role(Role.CREW), rig, whole(rig, **{f"l{rig.line.pk}_part{part}": said}))
    row = reading(line=rig.line)
    every = dict.fromkeys(("strainer", "pick-up tube", "nozzle"), "good")
    assert row.parts == every | {list(every)[int(part)]: said}
    assert (row.answer, made().complete) == (answer, complete)
    assert codes(rig) == found


def test_a_line_without_its_tube_is_not_ready_until_it_is_seen_again(rig, as_role):
    post(as_role(Role.CREW), rig, whole(rig, **{f"l{rig.line.pk}_part1": "not carried"}))
    assert rig.status(NOW + HOUR) == "not_ready"
    rig.line.refresh_from_db()
    assert rig.line.missing == "pick-up tube"
    page = words(as_role(Role.CREW).get(reverse("crew_unit", args=[rig.unit.pk])))
    assert "Crosslay 1: pick-up tube not found aboard at the last check." in page
    other = {**whole(rig, **{f"l{rig.line.pk}_part1": "not looked at"}), "entry_id": ID.replace("a", "b")}
    post(as_role(Role.CREW), rig, other)
    rig.line.refresh_from_db()
    assert rig.line.missing == "pick-up tube", "not looked at makes nothing good"
    post(as_role(Role.CREW), rig, {**whole(rig), "entry_id": ID.replace("a", "c")})
    assert rig.status(NOW + HOUR) == "ready"


def test_a_missing_line_as_a_whole(rig, as_role):
    post(as_role(Role.CREW), rig, whole(rig, **{f"l{rig.line.pk}": "not carried"}))
    assert codes(rig) == {"not_carried", "line_out_of_service"}


def test_a_tubes_absence_takes_the_aspirating_away_and_not_the_line(rig, as_role):
    rig.line.nozzle.aspirating = True
    rig.line.nozzle.save()
    post(as_role(Role.CREW), rig, whole(rig, **{f"l{rig.line.pk}_part3": "not carried"}))
    assert codes(rig) == {"not_carried"}, "the listing of this concentrate asks for no aspirating nozzle"
    assert rig.current().status == "limited"


def test_the_parts_of_a_tank(rig, as_role):
    tank = rig.tank(ml=75_000)
    answers = whole(rig, **of_tank(tank, "19.5"), **{f"c{tank.pk}_part1": "fault"})
    post(as_role(Role.CREW), rig, answers)
    row = reading(container=tank)
    assert (row.answer, row.parts) == ("fault", {"lid and vent": "good", "label": "fault", "no leak": "good"})
    tank.refresh_from_db()
    assert tank.fault == "label at fault"
    assert "T1: fault, label at fault." in words(as_role(Role.CREW).get(reverse("crew_unit", args=[rig.unit.pk])))


def test_a_pails_fault_is_one_tap(rig, as_role):
    post(as_role(Role.CREW), rig, whole(rig, **{f"p{rig.pails[2].pk}": "fault:no leak"}))
    row = reading(container=rig.pails[2])
    assert (row.answer, row.sealed, row.parts) == ("fault", True, {"no leak": "fault"})
    rig.pails[2].refresh_from_db()
    assert rig.pails[2].fault == "leaks"
    assert reading(container=rig.pails[3]).parts == dict.fromkeys(("seal", "cap", "label", "no leak"), "good")


# -- gear --------------------------------------------------------------------------------------------------------------


def geared(rig: Rigged) -> tuple[ParLine, ParLine]:
    bucket, spanner = (
        ParLine.objects.create(department=rig.department, unit=rig.unit, gear=name, pieces=pieces)
        for name, pieces in (("flush bucket", 1), ("spanner", 2))
    )
    ParLine.objects.create(department=rig.department, unit=rig.unit, gear="pick-up tube", pieces=1)  # the line's
    return bucket, spanner


def test_gear_of_the_par_list_belongs_to_a_whole_check(rig, as_role):
    geared(rig)
    html = words(as_role(Role.CREW).get(f"/crew/{rig.unit.pk}/check/"))
    assert "flush bucket, 2 × spanner" in html
    assert "all 2 aboard, good" in html
    post(as_role(Role.CREW), rig, whole(rig))
    assert not made().complete
    post(as_role(Role.CREW), rig, {**whole(rig, gear="good"), "entry_id": ID.replace("a", "b")})
    assert Check.objects.get(pk=ID.replace("a", "b")).complete


def test_required_gear_that_is_not_carried_is_a_deficiency_and_other_answers_are_none(rig, as_role):
    bucket, spanner = geared(rig)
    client = as_role(Role.CREW)
    apart = {f"i{bucket.pk}": "not carried", f"i{spanner.pk}": "fault", f"i{spanner.pk}_words": "bent"}
    post(client, rig, whole(rig, gear="good", **apart))
    assert codes(rig) == {"not_carried", "fault_seen"}
    rig.unit.refresh_from_db()
    page = words(client.get(reverse("crew_unit", args=[rig.unit.pk])))
    assert "Engine 1: flush bucket not found aboard at the last check." in page
    assert "Engine 1: spanner (bent), seen at the last check" in page
    again = {f"i{bucket.pk}": "not looked at", f"i{spanner.pk}": "good"}
    post(client, rig, {**whole(rig, gear="good", **again), "entry_id": ID.replace("a", "b")})
    assert codes(rig) == {"not_carried"}, "not looked at is not good"
    post(client, rig, {**whole(rig, gear="good"), "entry_id": ID.replace("a", "c")})
    assert codes(rig) == set()


# -- gauge, stick, lights, dial ----------------------------------------------------------------------------------------


def stick(tank: Container, number: str) -> dict[str, str]:
    return {f"c{tank.pk}_stick_number": number, f"c{tank.pk}_stick_unit": "gal"}


def test_gauge_against_stick_asks_the_officer_and_the_lesser_counts(rig, as_role):
    """26 gal = 98,421 mL by the gauge, 24 gal = 90,850 mL by the stick; the gauge tells 2,000 mL apart."""
    tank = rig.tank(ml=100_000)
    page = post(as_role(Role.CREW), rig, whole(rig, **of_tank(tank, "26"), **stick(tank, "24")))
    said = words(as_role(Role.CREW).get(page["Location"]))
    assert "The gauge says 26.00 gal, the stick 24.00 gal. They disagree" in said
    assert "Look again at T1" in said
    assert "It evaporated" not in said, "nobody knows yet what to book"
    assert "Gauge and stick of T1 disagree: have both read once more" in press(as_role(Role.CREW), rig, tank, "leaked")
    tank.refresh_from_db()
    assert (tank.reading_ml, tank.contents_ml) == (90_850, 100_000)
    asked = words(as_role(Role.OFFICER).get(reverse("crew_unit", args=[rig.unit.pk])))
    assert "T1: the gauge said 26.00 gal and the stick 24.00 gal." in asked
    assert "A question, no accusation" in asked


def test_a_stick_alone_will_do_and_is_asked_for_once_a_week(rig, as_role, monkeypatch):
    tank, client = rig.tank(ml=75_000), as_role(Role.CREW)
    assert "due: once a week, and after a change" in words(client.get(f"/crew/{rig.unit.pk}/check/"))
    post(client, rig, whole(rig, **{f"c{tank.pk}": "good"}, **stick(tank, "19.8")))
    row = reading(container=tank)
    assert (row.ml, row.stick_ml, made().complete) == (74_951, 74_951, True)  # 19.8 × 3,785.411784
    assert "due: once a week" not in words(client.get(f"/crew/{rig.unit.pk}/check/"))
    Check.objects.filter(pk=ID).update(finished_at=NOW - timedelta(days=8))
    assert "due: once a week" in words(client.get(f"/crew/{rig.unit.pk}/check/"))


def test_a_gauge_of_four_lights_is_read_by_its_lights(rig, as_role):
    """Four lights on 113,562 mL tell 28,390 mL apart: three quarters are 85,171 mL."""
    tank = rig.tank(ml=90_000, resolution_ml=28_390)
    html = as_role(Role.CREW).get(f"/crew/{rig.unit.pk}/check/").content.decode()
    assert "¾" in html
    assert f'name="c{tank.pk}_ml_number"' not in html
    post(as_role(Role.CREW), rig, whole(rig, **{f"c{tank.pk}": "good", f"c{tank.pk}_ml": "85171"}))
    assert reading(container=tank).ml == 85_171
    assert "Nothing that was read differs" in words(as_role(Role.CREW).get(f"/crew/{rig.unit.pk}/checks/{ID}/result/"))


def test_the_face_of_a_kits_dial(rig, as_role):
    rig.line.proportioner.kind = "portable kit"
    rig.line.proportioner.save()
    page = post(as_role(Role.CREW), rig, whole(rig, **{f"l{rig.line.pk}_face": "Class A"}))
    said = words(as_role(Role.CREW).get(page["Location"]))
    assert "The dial shows its Class A face; Class B is what its reservoir holds." in said
    assert codes(rig) == {"fault_seen"}


def test_the_last_value_is_shown_once_the_new_one_is_typed(rig, as_role):
    """17.6113 gal was read before; 19.5 gal now."""
    tank, client = rig.tank(ml=75_000), as_role(Role.CREW)
    post(client, rig, whole(rig, **of_tank(tank, "17.6")))
    other = {**whole(rig, **of_tank(tank, "19.5")), "entry_id": ID.replace("a", "b"), "made_at": "2026-06-15T07:01"}
    Check.objects.filter(pk=ID).update(finished_at=NOW - HOUR)
    other.pop("made_at")
    assert "17.6" not in client.get(f"/crew/{rig.unit.pk}/check/").content.decode()
    page = post(client, rig, other)
    assert "19.50 gal book 19.81 gal, last time 17.60 gal" in words(client.get(page["Location"]))


# -- many pails, and a form that is sent later -------------------------------------------------------------------------


def test_three_hundred_pails_fit_one_form(rig, as_role):
    for n in range(291):
        rig.pail(f"Q{n:03}")
    client = as_role(Role.CREW)
    answer = client.get(f"/crew/{rig.unit.pk}/check/")
    html = answer.content.decode()
    assert html.count("name=") < 60
    assert "300 sealed pails of 5.0 gal" in html
    assert f'value="yes" data-needs-signal="{NOT_APART}"' in html, "no entry: a device does not queue it"
    assert '"of":"p' not in unescape(html), "rules of fields that are drawn"
    answers = {**whole(rig), "apart": "Q007 Q009 to Q010", "apart_now": "yes"}
    named = post(client, rig, answers)
    assert not Check.objects.filter(pk=ID).exists(), "asking for fields records nothing"
    assert named.content.decode().count("sealed, with another fault") == 3
    leaking = Container.objects.get(code="Q009")
    del answers["apart_now"]
    strange = faults(post(client, rig, {**answers, "apart": "X1"}))
    assert strange == {"apart": ["“X1” was read, which is no sealed pail of Engine 1 by the book."]}
    post(client, rig, {**answers, f"p{leaking.pk}": "fault:no leak"})
    assert made().readings.filter(answer="good", sealed=True).count() == 299
    assert made().complete


def test_a_photo_is_kept_with_the_check(rig, as_role, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    client = as_role(Role.CREW)
    picture = SimpleUploadedFile("lid.png", PIXEL, "image/png")
    page = post(client, rig, {**whole(rig), "photo": picture})
    assert made().photo is not None
    assert client.get(reverse("photo", args=[made().photo_id])).content == PIXEL
    assert reverse("photo", args=[made().photo_id]) in client.get(page["Location"]).content.decode()
    held = SimpleUploadedFile("lid.png", PIXEL, "image/png")
    answer = post(client, rig, {**whole(rig), "entry_id": ID.replace("a", "c"), "made_at": "soon", "photo": held})
    assert "Choose the photo again" in words(answer), "another fault, and the picture is gone from the page"
    bad = SimpleUploadedFile("lid.txt", b"no picture", "text/plain")
    answer = post(client, rig, {**whole(rig), "entry_id": ID.replace("a", "b"), "photo": bad})
    assert "no JPEG, PNG or WebP picture" in words(answer)


# -- ways through ------------------------------------------------------------------------------------------------------


def differing(rig: Rigged, as_role: Any, number: str) -> tuple[Container, str]:
    """A tank of 100,000 mL by the book, read at a number of gallons; and the page of what came of it."""
    tank = rig.tank(ml=100_000)
    return tank, post(as_role(Role.CREW), rig, whole(rig, **of_tank(tank, number)))["Location"]


def press(client: Any, rig: Rigged, tank: Container, cause: str) -> str:
    posted = {"container": tank.pk, "cause": cause}
    return words(client.post(reverse("settle_difference", args=[rig.unit.pk, ID]), posted, follow=True))


@pytest.mark.parametrize(("cause", "account"), [("evaporated", "evaporation"), ("leaked", "leak")])
def test_what_is_missing_is_booked_by_its_cause(rig, as_role, cause, account):
    """25 gal = 94,635 mL of 100,000: 5,365 mL."""
    crew = as_role(Role.CREW)
    tank, page = differing(rig, as_role, "25")
    shown = words(crew.get(page))
    for said in (
        "It evaporated: book 1.42 gal less",
        "It leaked: book 1.42 gal less",
        "Look again at T1",
        "It was used",
    ):
        assert said in shown
    said = press(crew, rig, tank, cause)
    assert f"T1 is settled: {cause}." in said
    assert "Settled: the book says 25.00 gal by now." in said
    tank.refresh_from_db()
    assert tank.contents_ml == 94_635
    movement = Movement.objects.get(lines__account=account)
    assert movement.lines.get(account=account).ml == 5_365
    assert (movement.happened_at, movement.reason) == (NOW, f"{cause}, measured at the check of Engine 1")
    raised = RaisedDeficiency.objects.filter(container=tank)
    assert [row.words for row in raised] == (["leaks: 1.42 gal gone by the check"] if cause == "leaked" else [])
    count = Movement.objects.count()
    assert "was settled before; nothing was entered twice" in press(crew, rig, tank, cause)
    other = "leaked" if cause == "evaporated" else "evaporated"
    assert "was settled already" in press(crew, rig, tank, other)
    assert (Movement.objects.count(), raised.count()) == (count, 1 if cause == "leaked" else 0)


def test_water_that_got_in_is_an_officers_to_book(rig, as_role):
    """28 gal = 105,992 mL: 5,992 mL more than the book; the tank takes 113,562 mL."""
    tank, page = differing(rig, as_role, "28")
    assert "Water got in" not in words(as_role(Role.CREW).get(page))
    answer = as_role(Role.CREW).post(
        reverse("settle_difference", args=[rig.unit.pk, ID]), {"container": tank.pk, "cause": "gained"}
    )
    assert answer.status_code == 403
    assert "Water got in: book 1.58 gal more" in words(as_role(Role.OFFICER).get(page))
    press(as_role(Role.OFFICER), rig, tank, "gained")
    tank.refresh_from_db()
    assert (tank.contents_ml, tank.diluted) == (105_992, True)


def test_the_wrong_cause_a_changed_book_and_nothing_to_settle(rig, as_role):
    tank, _ = differing(rig, as_role, "25")
    officer = as_role(Role.OFFICER)
    assert "T1 holds less than the book says: choose another cause" in press(officer, rig, tank, "gained")
    assert "No cause was read" in press(officer, rig, tank, "magic")
    assert "P0 was not measured in that check" in press(officer, rig, rig.pails[0], "leaked")
    movements.use(rig.entry(), container=tank, ml=1_000, account=Account.INCIDENT)
    assert "The book of T1 was changed since the check" in press(officer, rig, tank, "leaked")
    tank.refresh_from_db()
    assert tank.contents_ml == 99_000


def test_only_what_agrees_with_the_reading_is_settled(rig, as_role):
    """25 gal read of 26.42 by the book; 0.26 gal used since leaves 26.15: the rest is as unexplained as before."""
    crew = as_role(Role.CREW)
    tank, page = differing(rig, as_role, "25")
    movements.use(rig.entry(), container=tank, ml=1_000, account=Account.INCIDENT)
    shown = words(crew.get(page))
    assert "Settled" not in shown
    assert "The book was changed since: the book says 26.15 gal by now. Look again." in shown
    assert f"/crew/{rig.unit.pk}/check/?only={tank.pk}" in crew.get(page).content.decode()


def test_what_a_check_found_used_was_used_before_the_check(rig, as_role):
    """The form comes with the moment of the check: a use after it would be another 1.42 gal."""
    crew = as_role(Role.CREW)
    _, page = differing(rig, as_role, "25")
    address = f"/crew/{rig.unit.pk}/after-use/?check={ID}"
    assert address in crew.get(page).content.decode()
    local = NOW.astimezone(ZoneInfo(rig.department.time_zone))
    assert crew.get(address).context["form"]["happened_at"].value() == f"{local:%Y-%m-%dT%H:%M}"
    for other in ("x", ID.replace("a", "c")):
        assert not crew.get(f"/crew/{rig.unit.pk}/after-use/?check={other}").context["form"]["happened_at"].value()


def test_looking_again_looks_at_one_thing(rig, as_role):
    tank, page = differing(rig, as_role, "25")
    client = as_role(Role.CREW)
    address = f"/crew/{rig.unit.pk}/check/?only={tank.pk}"
    assert address in client.get(page).content.decode()
    html = words(client.get(address))
    assert "Look again: Engine 1" in html
    assert "Crosslay 1" not in html
    again = ID.replace("a", "b")
    client.post(address, {"entry_id": again, **of_tank(tank, "26.4")})
    check = Check.objects.get(pk=again)
    assert (check.complete, check.readings.count()) == (False, 1)
    tank.refresh_from_db()
    assert tank.reading_ml == 99_935  # 26.4 × 3,785.411784
    assert rig.status(NOW + HOUR) == "ready", "the whole check of this morning stands"


def test_a_full_sealed_rig_of_the_same_reading_raises_nothing(cast: Cast, as_role):
    rig = Rigged(cast)
    for day in range(1, 60):
        rig.checked(at=SIX - timedelta(days=day), name=f"day {day}")
    assert rig.status() == "ready"
    assert "A question" not in words(as_role(Role.OFFICER).get(reverse("crew_unit", args=[rig.unit.pk])))
    assert not RaisedDeficiency.objects.exists()
    assert PAIL_ML == 18_927
