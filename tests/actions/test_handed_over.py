"""A handed-over sheet taken in: every row accounted for, nothing guessed, nothing twice, nothing half saved.

Expected volumes are the sheet's own figures: a US gallon is 3,785.411784 mL (231 cubic inches of 16.387064 mL).
"""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions import handed_over as actions
from readiness.actions import ledger, movements
from readiness.actions.drafts import Refused
from readiness.actions.handed_over_counted import open_from_sheet, plan
from readiness.actions.handed_over_undone import undo_sheet
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.actions.progress import told
from readiness.models import (
    Assignment,
    Change,
    Concentrate,
    Container,
    HandedOver,
    Holding,
    Lot,
    Movement,
    Policy,
    SheetLayout,
    Station,
    Unit,
    Vehicle,
)
from readiness.models.movements import Account
from readiness.reports import handed_over as reports
from readiness.reports.inventories import Tally
from readiness.reports.recounts import recount
from tests.cast import CLOCK, D0, DepartmentFactory
from tests.handed_sheet import AR, CONTAINERS, FILLED, NAME, ROWS, plain_rows, sheet_bytes

pytestmark = pytest.mark.django_db
GAL_ML = 3_785.411784
DEMO = ("Demo AR-AFFF 3x6", "AR-AFFF", "3x6")
TWICE_ASKED = 6  # rounds of questions after which a test gives up


@pytest.fixture
def department(db: None) -> Any:
    """A department with nothing in it."""
    made = DepartmentFactory(name="Mossgate Fire District")
    Policy.objects.create(department=made, drill_with_pfas=True)
    return made


def send(department: Any, data: bytes = b"", name: str = NAME) -> HandedOver:
    """A draft with the layout that is guessed."""
    draft = actions.send_sheet(department, data or sheet_bytes(), name=name, acting=OWNER, clock=CLOCK)
    actions.choose_layout(department, draft, reports.guessed(draft, department).layout, acting=OWNER, clock=CLOCK)
    draft.refresh_from_db()
    return draft


def worked(draft: HandedOver) -> reports.Worked:
    draft.refresh_from_db()
    return reports.worked(draft, draft.department, D0)


def answer(draft: HandedOver, **said: str) -> reports.Worked:
    """Answer by what the question is about, else as proposed, else by the first choice, until nothing is open."""
    for _ in range(TWICE_ASKED):
        work = worked(draft)
        if work.ready:
            return work
        answers = {
            each.group: said.get(each.group.split("|")[0]) or each.proposed or _first(each) for each in work.open
        }
        actions.answer_questions(draft.department, draft, answers, acting=OWNER)
    raise AssertionError([each.words for each in worked(draft).open])


def _first(question: Any) -> str:
    assert question.choices, question
    return question.choices[0].key


def do(draft: HandedOver, what: str) -> HandedOver:
    actions.begin_work(draft.department, draft, what, acting=OWNER, clock=CLOCK)
    actions.do_work(draft.department, draft, acting=OWNER, clock=CLOCK)
    draft.refresh_from_db()
    return draft


def take(draft: HandedOver, **said: str) -> HandedOver:
    """Answered and taken in."""
    answer(draft, **said)
    return do(draft, actions.TAKING)


def gallons(container: Container) -> float:
    return round(container.contents_ml / GAL_ML, 2)


def at(row: int, done: HandedOver) -> list[Container]:
    """The containers of a row of the sheet."""
    codes = done.rows.get(number=row).codes
    return list(Container.objects.filter(code__in=codes).select_related("place", "concentrate").order_by("code"))


# -- the whole sheet --------------------------------------------------------------------------------------------------


def test_every_filled_row_is_in_the_report_and_nothing_else(department):
    done = take(send(department))
    assert done.state == "taken"
    assert tuple(done.rows.values_list("number", flat=True)) == FILLED
    fates = dict(done.rows.values_list("number", "fate"))
    assert [fates[number] for number in (1, 2, 4, 13, 14)] == ["title", "title", "header", "no foam", "total"]
    assert {fates[number] for number in range(5, 13)} == {"stock"}
    # what stands in a row stands in the report, also what goes into no record
    assert "FOAM" not in done.rows.get(number=5).said
    assert "Mossgate Fire District - foam on hand" in done.rows.get(number=1).said
    assert "topped up 60 gal at refit" in done.rows.get(number=10).left
    assert "check with shop" in done.rows.get(number=7).left


def test_every_container_stands_where_the_sheet_says_with_what_it_says(department):
    done = take(send(department))
    assert Container.objects.count() == CONTAINERS == done.containers
    (tank,) = at(5, done)
    assert (tank.kind, gallons(tank), tank.place.vehicle.shop_no) == ("fixed tank", 30.0, "Engine 1")
    assert tank.place.compartment == "tank B"
    assert [gallons(each) for each in at(6, done)] == [5.0, 5.0]
    assert {(str(each.place), each.sealed) for each in at(6, done)} == {("Engine 1, L3", True)}
    assert [gallons(each) for each in at(8, done)] == [5.0] * 14
    assert {str(each.place) for each in at(8, done)} == {"Station 1 store, store room"}
    # 19 L are 19,000 mL, whatever the column's heading says
    assert [each.contents_ml for each in at(11, done)] == [19_000] * 10
    assert {str(each.place) for each in at(12, done)} == {"Station 3 store, training shed"}


def test_what_makes_a_row_doubtful_is_kept_as_what_it_is(department):
    done = take(send(department))
    ladder = at(9, done)
    opened = [each for each in ladder if each.opened_on]
    assert len(opened) == 1
    assert (str(opened[0].opened_on), gallons(opened[0]), opened[0].sealed) == ("2026-02-14", 2.5, False)
    assert sum(each.quarantined for each in at(11, done)) == 2
    unknown = at(7, done)[0]
    assert unknown.holdings.get().lot.batch == f"unknown, {unknown.code}"
    assert unknown.holdings.get().lot.makers_date is None
    assert unknown.quarantined, "nobody knows what is in it"
    shares = {each.lot.batch: round(each.ml / GAL_ML) for each in at(10, done)[0].holdings.all()}
    assert shares == {"LK-2310": 440, "LK-2219": 60}
    assert all(each.quarantined for each in at(12, done)), "expired, and nobody knows since when"


def test_dates_are_read_in_every_style(department):
    take(send(department))
    lots = {lot.batch: lot for lot in Lot.objects.all()}
    assert (str(lots["LK-2219"].made_on), str(lots["LK-2219"].makers_date)) == ("2022-05-09", "2032-05-09")
    # 43311 and 46964 are the spreadsheet's numbers of 30 July 2018 and 2028: 43,311 days after 1899-12-30
    assert (str(lots["LK-1807"].made_on), str(lots["LK-1807"].makers_date)) == ("2018-07-30", "2028-07-30")


def test_stations_units_vehicles_and_concentrates_are_made_once(department):
    take(send(department))
    assert set(Station.objects.values_list("name", flat=True)) == {"Station 1", "Station 2", "Station 3"}
    units = dict(Unit.objects.values_list("designation", "state"))
    assert units == {"Engine 1": "in", "Engine 9": "reserve", "Ladder 2": "in", "Foam Tender 2": "in", "Hazmat 3": "in"}
    assert set(Vehicle.objects.values_list("shop_no", "kind")) == {
        ("Engine 1", "engine"),
        ("Engine 9", "engine"),
        ("Foam Tender 2", "tender"),
    }
    assert Assignment.objects.count() == 3
    found = set(Concentrate.objects.values_list("name", "kind", "pfas"))
    assert found == {("Larkite 3x6", "AR-AFFF", "unknown"), ("Larkite 3", "AFFF", "unknown")}


def test_the_book_says_where_each_container_came_from_and_recounts(department):
    take(send(department))
    reasons = set(Movement.objects.values_list("reason", flat=True))
    assert any(reason.startswith(f"taken in from {NAME}, row 7") and "nobody knows" in reason for reason in reasons)
    assert recount(department).differences == ()
    assert Change.objects.filter(action="take in a sheet").count() == 1


def test_label_codes_go_on_where_the_department_is(department):
    from tests.cast import ContainerFactory

    ContainerFactory(department=department, code="PL-017")
    done = take(send(department))
    assert [each.code for each in at(6, done)] == ["PL-018", "PL-019"]


# -- nothing without an answer, nothing twice -------------------------------------------------------------------------


def test_nothing_comes_in_while_a_question_is_open(department):
    draft = send(department)
    many = len(worked(draft).open)
    assert many > 10
    with pytest.raises(Refused, match=f"{many} questions have to be answered first"):
        actions.begin_work(department, draft, actions.TAKING, acting=OWNER, clock=CLOCK)
    assert not Container.objects.exists()


def test_an_answer_is_kept_and_can_be_taken_away(department):
    draft = send(department)
    group = "product|larkite 3x6"
    actions.answer_questions(department, draft, {group: "new:no|AR-AFFF"}, acting=OWNER)
    assert next(each for each in worked(draft).questions if each.group == group).settled
    actions.answer_questions(department, draft, {group: ""}, acting=OWNER)
    assert not next(each for each in worked(draft).questions if each.group == group).settled


def test_what_is_no_answer_is_asked_again_with_a_sentence(department):
    draft = send(department)
    actions.answer_questions(department, draft, {"code|pail": "no figures"}, acting=OWNER)
    asked = next(each for each in worked(draft).open if each.group == "code|pail")
    assert asked.wrong == "“no figures” was read: a first label code ends in a number, such as P-0001."


def test_the_same_file_again_posts_nothing(department):
    done = take(send(department))
    movements = Movement.objects.count()
    with pytest.raises(actions.KnownAlready) as known:
        actions.send_sheet(department, sheet_bytes(), name="copy.xlsx", acting=OWNER, clock=CLOCK)
    assert known.value.handed_over == done
    assert Movement.objects.count() == movements


def test_the_same_rows_saved_anew_can_only_be_compared(department):
    take(send(department))
    again = send(department, resaved())
    asked = next(each for each in worked(again).questions if each.group == "purpose")
    assert [choice.key for choice in asked.choices] == ["compare"]
    assert "the same rows, cell for cell" in asked.words


def resaved() -> bytes:
    """The same cells in other bytes, as another program would write them."""
    import io

    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(sheet_bytes()))
    book.properties.creator = "another program"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_how_far_it_is_can_be_read_while_the_book_is_being_written(department, monkeypatch):
    """The transaction is open then, and what is told lies beside the database."""
    draft, seen = send(department), []
    answer(draft)
    written = ledger.insert_rows

    def looked(*rows: Any, **how: Any) -> list[int]:
        seen.append(told(actions.progress_name(draft)))
        return written(*rows, **how)

    monkeypatch.setattr(ledger, "insert_rows", looked)
    do(draft, actions.TAKING)
    assert [each.words for each in seen] == [f"0 of {CONTAINERS} entries closed"]
    assert told(actions.progress_name(draft)) is None


def test_a_second_tap_finds_it_at_work(department):
    draft = send(department)
    answer(draft)
    actions.begin_work(department, draft, actions.TAKING, acting=OWNER, clock=CLOCK)
    with pytest.raises(Refused, match="at work already"):
        actions.begin_work(department, draft, actions.TAKING, acting=OWNER, clock=CLOCK)


def test_a_layout_is_remembered_for_the_next_sheet_with_these_headings(department):
    first = send(department)
    layout = reports.layout_of(first)
    assert layout is not None
    chosen = layout._replace(volume_unit="L")
    actions.choose_layout(department, first, chosen, acting=OWNER, clock=CLOCK)
    assert SheetLayout.objects.count() == 1
    other = actions.send_sheet(department, sheet_bytes(ROWS[:3]), name="later.xlsx", acting=OWNER, clock=CLOCK)
    sheet = reports.opened(other).sheet(chosen.sheet)
    known = actions.remembered_layout(department, sheet, chosen.header_row)
    assert known == chosen


# -- whole or not at all ----------------------------------------------------------------------------------------------


def test_a_trial_leaves_nothing_and_says_what_it_would_do(department):
    draft = send(department)
    answer(draft)
    do(draft, actions.TRYING)
    assert not Container.objects.exists()
    assert not Unit.objects.exists()
    tried = actions.tried_now(draft)
    assert tried["movements"] == CONTAINERS
    assert tried["faults"] == []
    assert tried["counts"]["containers"]["new"] == CONTAINERS
    assert {unit["unit"] for unit in tried["units"]} == {
        "Engine 1",
        "Engine 9",
        "Ladder 2",
        "Foam Tender 2",
        "Hazmat 3",
    }
    actions.answer_questions(department, draft, {"seal|pail": "sealed"}, acting=OWNER)
    draft.refresh_from_db()
    assert actions.tried_now(draft) == {}, "an answer has changed since"


def test_a_fault_of_the_book_points_into_their_sheet_and_nothing_is_saved(department):
    rows = [list(ROWS[0]), list(ROWS[3])]
    rows[1][1] = "x" * 70
    draft = send(department, sheet_bytes(tuple(map(tuple, rows))))
    answer(draft, place="store")
    do(draft, actions.TAKING)
    assert draft.state == "draft"
    (fault, *_) = actions.faults_kept(actions.tried_now(draft))
    assert (fault.sheet, fault.row, fault.column, fault.heading) == ("FOAM ON HAND", 6, "B", "Where")
    assert "at most 60 characters" in fault.right
    assert not Container.objects.exists()
    assert not Station.objects.exists()


def test_work_that_breaks_off_is_told_and_leaves_a_draft(department, monkeypatch):
    draft = send(department)
    answer(draft)

    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(actions, "take_reading", broken)
    actions.begin_work(department, draft, actions.TAKING, acting=OWNER, clock=CLOCK)
    with pytest.raises(RuntimeError):
        actions.do_work(department, draft, acting=OWNER, clock=CLOCK)
    draft.refresh_from_db()
    assert draft.state == "draft"
    assert "nothing of it was kept" in draft.working["failed"]


def test_a_discarded_draft_is_gone_and_a_finished_sheet_stays(department):
    draft = send(department)
    actions.discard_sheet(department, draft, acting=OWNER)
    assert not HandedOver.objects.exists()
    done = take(send(department))
    with pytest.raises(Refused, match="finished before"):
        actions.discard_sheet(department, done, acting=OWNER)


def test_a_sheet_taken_in_wrongly_is_taken_back_out_and_may_come_again(department):
    done = take(send(department))
    assert undo_sheet(department, done, reason="last year's sheet", acting=OWNER, clock=CLOCK) == CONTAINERS
    done.refresh_from_db()
    assert done.state == "undone"
    assert not Holding.objects.exists()
    assert not Container.objects.filter(retired_on__isnull=True).exists()
    assert set(Container.objects.values_list("place", "contents_ml", "sealed", "quarantined")) == {
        (None, 0, False, False)
    }
    corrections = Movement.objects.filter(corrects__isnull=False)
    assert corrections.count() == CONTAINERS
    assert set(corrections.values_list("reason", flat=True)) == {"last year's sheet"}
    assert recount(department).differences == ()
    again = take(send(department))
    assert again.state == "taken"
    assert Container.objects.filter(retired_on__isnull=True).count() == CONTAINERS
    assert Station.objects.count() == 3, "what was made the first time is used"


def test_what_was_entered_on_since_is_not_taken_back_out(department):
    done = take(send(department))
    pail = at(6, done)[0]
    movements.use(Entry(department, OWNER, CLOCK), container=pail, ml=1_000, account=Account.DRILL)
    before = Movement.objects.count()
    with pytest.raises(Refused, match=f"{pail.code}: entered on since the sheet was taken in"):
        undo_sheet(department, done, reason="last year's sheet", acting=OWNER, clock=CLOCK)
    with pytest.raises(Refused, match="No reason was read"):
        undo_sheet(department, done, reason=" ", acting=OWNER, clock=CLOCK)
    assert Movement.objects.count() == before
    done.refresh_from_db()
    assert done.state == "taken"


# -- beside what the department has -----------------------------------------------------------------------------------


def test_known_names_are_used_and_their_records_left_as_they_are(cast):
    rows = (
        ("Quayside", "Engine 1 L3", *DEMO, "pail", 2, 5, "AR-1", None, "2030-01-01", "sealed"),
        ("Quayside", "store room", *DEMO, "pail", 1, 5, "AR-9", None, "2030-01-01", "sealed"),
    )
    makers_date = Lot.objects.get(pk=cast.lot.pk).makers_date
    draft = send(cast.department, sheet_bytes(rows))
    asked = {each.group.split("|")[0] for each in worked(draft).open}
    assert asked <= {"code", "good_through"}, "names that are known are not asked about"
    done = take(draft)
    assert {each.place_id for each in at(5, done)} == {cast.on_unit.pk}
    assert {each.holdings.get().lot_id for each in at(5, done)} == {cast.lot.pk}
    assert Lot.objects.get(pk=cast.lot.pk).makers_date == makers_date, "the book's date of a known lot stays"
    assert Lot.objects.get(batch="AR-9").concentrate_id == cast.ar.pk
    assert Unit.objects.filter(department=cast.department).count() == 1


def test_a_name_that_the_department_got_meanwhile_is_known_at_once(department):
    """What was worked out before is kept in memory; what the department has is looked up each time."""
    draft = send(department)
    assert "station|sta 1" in {each.group for each in worked(draft).questions}
    Station.objects.create(department=department, name="Sta 1")
    assert "station|sta 1" not in {each.group for each in worked(draft).questions}


def test_a_near_spelling_is_proposed_and_never_taken(cast):
    near = ("Demo AR-AFF 3x6", "AR-AFFF", "3x6")
    rows = (("Quaysyde", "store room", *near, "pail", 1, 5, "AR-1", None, "2030-01-01", "sealed"),)
    draft = send(cast.department, sheet_bytes(rows))
    open_ = {each.group.split("|")[0]: each for each in worked(draft).open}
    assert open_["station"].proposed == "is:Quayside"
    assert open_["product"].proposed == "is:Demo AR-AFFF 3x6"
    take(draft)
    assert Station.objects.filter(department=cast.department).count() == 1
    assert Concentrate.objects.filter(department=cast.department).count() == 2


# -- a newer sheet ----------------------------------------------------------------------------------------------------


def compared(department: Any, rows: tuple[tuple[Any, ...], ...]) -> dict[str, list[Any]]:
    draft = send(department, sheet_bytes(rows), name="newer.xlsx")
    answer(draft, purpose="compare")
    before = Movement.objects.count()
    done = do(draft, actions.COMPARING)
    assert done.state == "compared"
    assert Movement.objects.count() == before, "nothing is posted by it"
    found: dict[str, list[Any]] = {}
    for each in done.tried["differences"]:
        found.setdefault(each[0], []).append(each)
    return found


def test_a_newer_sheet_shows_its_differences_and_posts_nothing(department):
    take(send(department))
    rows = [list(row) for row in ROWS]
    rows[0][7] = 25  # the tank's size: another tank, so the book's is missing and this one is new
    rows[3][6] = 12  # two pails fewer in the store room
    rows[1][6] = 4  # and two more of them on the engine
    found = compared(department, tuple(map(tuple, rows)))
    (moved,) = found["moved"]
    assert moved[1:4] == [2, "Engine 1, L3", "Station 1 store, store room"]
    assert [line[1] for line in found["more"]] == [1]
    assert [line[1] for line in found["fewer"]] == [1]
    # all else agrees: 40 less the tank, less the two that moved
    assert sum(line[1] for line in found["same"]) == CONTAINERS - 1 - 2


def test_a_newer_sheet_becomes_the_first_count_of_an_inventory(department):
    """What it says without a doubt is counted; what differs is looked at by another person; nothing is booked."""
    done = take(send(department))
    rows = [list(row) for row in ROWS]
    rows[3][6] = 12  # 12 pails of the 14 in the store room, none of them elsewhere
    rows[0][11] = "half full"  # and half of the tank's 30 gal
    draft = send(department, sheet_bytes(tuple(map(tuple, rows))), name="newer.xlsx")
    answer(draft, purpose="compare")
    newer = do(draft, actions.COMPARING)
    before = Movement.objects.count()
    found = plan(department, newer)
    assert (found.missing, found.differ, found.gone) == (2, 1, 0)
    assert len(found.proposed) + found.left == CONTAINERS
    made = open_from_sheet(department, newer, acting=OWNER, clock=CLOCK)
    tally = Tally(made)
    assert made.stage == "confirming"
    assert Movement.objects.count() == before
    assert {count.words for count in tally.counts} == {"newer.xlsx, compared on 2026-06-15"}
    (tank,) = at(5, done)
    said = {count.container_id: count.ml for count in tally.counts}
    assert said[tank.pk] == round(15 * GAL_ML)
    gone = [count for count in tally.counts if count.found == "not here"]
    assert len(gone) == 2
    assert {count.container_id for count in gone} | {tank.pk} <= tally.outstanding
    newer.refresh_from_db()
    with pytest.raises(Refused, match="opened from this sheet before"):
        open_from_sheet(department, newer, acting=OWNER, clock=CLOCK)
    with pytest.raises(Refused, match="Only a sheet that was compared"):
        open_from_sheet(department, done, acting=OWNER, clock=CLOCK)


def test_what_left_the_book_since_the_sheet_was_compared_is_not_counted(department):
    done = take(send(department))
    draft = send(department, sheet_bytes(ROWS[:8]), name="newer.xlsx")
    answer(draft, purpose="compare")
    newer = do(draft, actions.COMPARING)
    whole = plan(department, newer)
    (tank,) = at(5, done)
    Container.objects.filter(pk=tank.pk).update(retired_on=D0)
    now = plan(department, newer)
    assert (len(now.proposed), now.gone) == (len(whole.proposed) - 1, whole.gone + 1)


def test_the_same_headings_may_tell_of_other_stock(department):
    take(send(department))
    other = (("Sta 7", "store room", *AR, "pail", 2, 5, "LK-2219", "5/9/2022", "5/9/2032", "sealed"),)
    draft = send(department, sheet_bytes(other), name="station 7.xlsx")
    done = take(draft, purpose="new")
    assert done.state == "taken"
    assert Container.objects.count() == CONTAINERS + 2
    assert Lot.objects.filter(batch="LK-2219").count() == 1


# -- large sheets -----------------------------------------------------------------------------------------------------


def queries(department: Any, many: int) -> int:
    """How often something is asked while so many rows are taken in."""
    draft = send(department, sheet_bytes(plain_rows(many)), name=f"{many}.xlsx")
    answer(draft, purpose="new")
    with CaptureQueriesContext(
        connection,
    ) as caught:
        do(draft, actions.TAKING)
    assert draft.state == "taken"
    return sum(query["sql"].startswith("SELECT") for query in caught.captured_queries)


def test_the_number_of_queries_does_not_grow_with_the_rows(department):
    other = DepartmentFactory()
    Policy.objects.create(department=other)
    assert queries(department, 20) == queries(other, 120)
