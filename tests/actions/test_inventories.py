"""An inventory from its opening to its signature: blind, by two people, each difference a movement of its own."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.counts import Proposed, Seen, propose, record_counts
from readiness.actions.differences import (
    DifferencesRefused,
    Newcomer,
    Reason,
    explain_many,
    match_count,
    take_into_book,
)
from readiness.actions.drafts import Refused, SameIdOtherBody, new_id
from readiness.actions.inventories import Scope, abandon, ask_more, misread, open_inventory, reopen
from readiness.actions.movements import Entry
from readiness.actions.permissions import NotAllowed
from readiness.models import Change, Container, Count, InventoryResult, Movement, Role, Unit
from readiness.models.inventories import Explanation, Found, Method, Stage
from readiness.models.movements import Account
from readiness.reports.inventories import Tally, last_counted
from readiness.reports.recounts import recount
from readiness.reports.variances import signed_result
from tests.cast import D0, PAIL_ML, SIX, Cast
from tests.taking import Taking, at, stand

pytestmark = pytest.mark.django_db

GAL = 3_785.411784  # mL in a US gallon: 231 cubic inches of 16.387064 mL


def held(container: Container) -> int:
    """What the book has in it now; and the book must be true whenever a test looks at it."""
    assert recount().differences == ()
    container.refresh_from_db()
    return container.contents_ml


@pytest.fixture
def pails(cast: Cast) -> list[Container]:
    """Three sealed pails of 5 gal in the store."""
    return [stand(cast, cast.pail(code=f"P{n}"), PAIL_ML, sealed=True) for n in range(3)]


@pytest.fixture
def tank(cast: Cast) -> Container:
    """A tank of 30 gal on vehicle 201 with 100,000 mL in it, its gauge good to 2,000 mL."""
    return stand(cast, cast.tank(code="T1", resolution_ml=2_000), 100_000, cast.on_vehicle)


# -- opening -----------------------------------------------------------------------------------------------------------


def names(taking: Taking) -> list[str]:
    return [str(place) for place in taking.inventory.places.all()]


def test_the_whole_department_with_the_reserve_vehicles(cast: Cast) -> None:
    cast.spare_vehicle.state = "reserve"
    cast.spare_vehicle.save()
    taking = Taking(cast)
    assert names(taking) == ["Quayside store", "Engine 1", "vehicle 201", "vehicle 209"]
    assert (taking.inventory.scope, taking.stage) == ("whole department", Stage.COUNTING)
    assert Change.objects.latest("id").action == "open inventory"


def test_reserve_vehicles_are_left_out_only_when_asked(cast: Cast) -> None:
    cast.spare_vehicle.state = "reserve"
    cast.spare_vehicle.save()
    Unit.objects.filter(pk=cast.unit.pk).update(state="out")
    taking = Taking(cast, Scope(reserve=False))
    assert names(taking) == ["Quayside store", "vehicle 201"]
    assert taking.inventory.scope == "whole department, without reserve"


@pytest.mark.parametrize(
    ("owner", "whole", "found", "words"),
    [
        ("station", False, ["Quayside store"], "Quayside store"),
        ("station", True, ["Quayside store", "Engine 1 on vehicle 201", "vehicle 209"], "Quayside: store and rigs"),
        ("unit", True, ["Engine 1 on vehicle 201"], "Engine 1"),
        ("vehicle", True, ["Engine 1 on vehicle 201"], "vehicle 201"),
        ("spare_vehicle", True, ["vehicle 209"], "vehicle 209"),
    ],
)
def test_a_store_a_station_a_rig(cast: Cast, owner: str, whole: bool, found: list[str], words: str) -> None:
    cast.unit.assignments.create(department=cast.department, vehicle=cast.vehicle, from_at=SIX)
    taking = Taking(cast, Scope(getattr(cast, owner), whole=whole))
    assert (names(taking), taking.inventory.scope) == (found, words)


def test_a_place_is_counted_in_one_open_inventory(cast: Cast) -> None:
    Taking(cast, Scope(cast.station, whole=False))
    with pytest.raises(Refused, match="Quayside store is being counted already, in Inventory"):
        Taking(cast)
    Taking(cast, Scope(cast.unit))  # another place


# -- counting ----------------------------------------------------------------------------------------------------------


def test_a_whole_seal_answers_for_the_size_on_the_label(cast: Cast, pails: list[Container]) -> None:
    count = Taking(cast).see(pails[0])
    assert (count.ml, count.method, count.by) == (PAIL_ML, "sealed", cast.people[Role.CREW])
    assert (count.counted_at, count.recorded_at) == (at(10).at, at(10).at)


def test_a_count_is_kept_once_and_never_with_another_body(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    seen = Seen(new_id(), taking.spot("Quayside store").pk, Found.SEEN, pails[0].pk, Method.SEALED)
    first = taking.record(seen)
    assert taking.record(seen, minute=20) == first
    with pytest.raises(SameIdOtherBody):
        taking.record(seen._replace(method=Method.EMPTY))
    assert Count.objects.get().method == "sealed"


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"method": Method.STICK}, "No volume was read"),
        ({"method": None}, "say whether it is sealed"),
        ({"method": Method.STICK, "ml": PAIL_ML + 3}, "which holds 5.000 gal when full"),
        ({"method": Method.STICK, "ml": -1}, "read it again"),
        ({"container": None}, "one of them"),
        ({"container": 987_654}, "no container number 987654"),
        ({"place": 987_654}, "no such place"),
        ({"counted_at": at(-1).at}, "counted after the inventory was opened"),
        ({"counted_at": at(60).at}, "not in the future"),
        ({"found": Found.UNREADABLE, "container": None, "kind": ""}, "needs its kind and its size"),
        ({"found": Found.UNKNOWN, "container": None, "kind": "pail", "size_ml": 1, "code": "p1"}, "the book knows"),
    ],
)
def test_a_count_that_cannot_be_is_refused(cast: Cast, pails: list[Container], values: dict, sentence: str) -> None:
    taking = Taking(cast)
    seen = Seen(new_id(), taking.spot("Quayside store").pk, Found.SEEN, pails[0].pk, Method.SEALED)
    with pytest.raises(Refused, match=sentence):
        taking.record(seen._replace(**values), seen._replace(entry=new_id()))
    assert not Count.objects.exists()


def test_a_tank_is_read_where_its_vehicle_is(cast: Cast, tank: Container) -> None:
    taking = Taking(cast)
    count = taking.see(tank, 99_000, spot=taking.spot("Quayside store"))
    assert str(count.place) == "vehicle 201"
    with pytest.raises(Refused, match="fixed to its vehicle"):
        taking.miss(tank)
    with pytest.raises(Refused, match="no seal"):
        taking.see(tank)


def test_the_two_who_may_not_count(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    with pytest.raises(NotAllowed):
        taking.see(pails[0], role=Role.OBSERVER)


def test_two_phones_that_differ_ask_for_a_third_look(cast: Cast, tank: Container) -> None:
    """The gauge tells 2,000 mL apart, and whole millilitres may cost one: 2,001 is alike and 2,002 is not."""
    taking = Taking(cast)

    def disputed() -> bool:
        return Tally(taking.inventory).standing(tank.pk).disputed

    taking.see(tank, 95_000, Role.CREW)
    taking.see(tank, 97_001, Role.OFFICER)
    assert not disputed()
    taking.see(tank, 97_002, Role.INSTRUCTOR)  # one of three says so now, besides the officer's: 2 of 3
    assert not disputed()
    taking.see(tank, 90_000, Role.LOGISTICS)
    assert disputed()
    assert Tally(taking.inventory).outstanding == {tank.pk}
    taking.see(tank, 97_000, Role.LOGISTICS, minute=12)  # who looks again takes back what they said
    assert not disputed()


def test_what_is_booked_between_two_looks_makes_no_dispute(cast: Cast, tank: Container) -> None:
    taking = Taking(cast)
    taking.see(tank, 100_000, Role.CREW, minute=10)
    movements.use(
        Entry(cast.department, cast.acting("crew"), at(15)), container=tank, ml=30_000, account=Account.INCIDENT
    )
    taking.see(tank, 70_000, Role.OFFICER, minute=20)
    assert not Tally(taking.inventory).standing(tank.pk).disputed


# -- the second person -------------------------------------------------------------------------------------------------


def test_everything_that_differs_and_one_in_ten_is_looked_at_again(cast: Cast) -> None:
    pails = [stand(cast, cast.pail(code=f"P{n:02}"), PAIL_ML, sealed=True) for n in range(23)]
    taking = Taking(cast)
    for pail in pails[:21]:
        taking.see(pail)
    taking.see(pails[21], 10_000)
    taking.miss(pails[22])
    assert taking.end_counting() == 2 + 3  # 10 % of the 21 that agree is 2.1, rounded up
    assert {pails[21].pk, pails[22].pk} <= Tally(taking.inventory).outstanding


def test_who_counted_does_not_confirm(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    for pail in pails:
        taking.see(pail, 10_000, Role.OFFICER)
    assert taking.end_counting() == 3
    with pytest.raises(Refused, match="P0, P1, P2 still has to be looked at by another person"):
        taking.confirm(Role.CHIEF)
    taking.inventory.refresh_from_db()
    with pytest.raises(Refused, match="You counted P0: another person looks at it now"):
        taking.see(pails[0], 10_000, Role.OFFICER, minute=70)
    taking.same_again(Role.CREW)
    with pytest.raises(Refused, match="You counted all of it"):
        taking.confirm(Role.OFFICER)
    with pytest.raises(NotAllowed):
        taking.confirm(Role.CREW)
    taking.confirm(Role.LOGISTICS)
    assert taking.stage == Stage.EXPLAINING
    assert taking.inventory.confirmed_by == cast.people[Role.LOGISTICS]


def test_two_people_who_agreed_at_once_need_no_third(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0], 10_000, Role.CREW)
    taking.see(pails[0], 10_000, Role.INSTRUCTOR)
    assert taking.end_counting() == 0
    taking.confirm(Role.OFFICER)
    assert taking.difference(pails[0]).people == (
        cast.people[Role.CREW].username,
        cast.people[Role.INSTRUCTOR].username,
    )


def test_what_is_first_seen_while_confirming_needs_two_people_too(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0])
    taking.end_counting()
    taking.same_again()
    taking.see(pails[1], 10_000, Role.OFFICER, minute=75)
    with pytest.raises(Refused, match="P1 still has to be looked at by another person"):
        taking.confirm()
    taking.see(pails[1], 10_000, Role.INSTRUCTOR, minute=80)
    taking.confirm()
    assert taking.difference(pails[1]).confirmed


def test_a_second_person_asks_for_more(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    for pail in pails:
        taking.see(pail)
    assert taking.end_counting() == 1  # of three that agree, a tenth rounded up
    values = {"inventory": taking.inventory, "acting": cast.acting(Role.OFFICER), "clock": at(65)}
    assert ask_more(cast.department, containers=None, **values) == 2
    assert ask_more(cast.department, containers=None, **values) == 0
    assert Tally(taking.inventory).outstanding == {pail.pk for pail in pails}
    other = stand(cast, cast.pail(code="P9"), PAIL_ML)
    with pytest.raises(Refused, match="nobody counted"):
        ask_more(cast.department, containers=[other.pk], **values)


def test_a_sheet_that_was_handed_over_is_a_first_count(cast: Cast, pails: list[Container], tank: Container) -> None:
    """The sheet has P0 as the book, P1 with 10,000 mL and P2 not at all; a person looks before anything is booked."""
    proposed = [Proposed(pails[0], PAIL_ML), Proposed(pails[1], 10_000), Proposed(pails[2], None)]
    scope = Scope(cast.station, whole=False)
    values = {"words": "sheet of June", "clock": at(0)}
    with pytest.raises(NotAllowed):
        propose(cast.department, scope, proposed=proposed, acting=cast.acting(Role.OFFICER), **values)
    acting = cast.acting(Role.LOGISTICS)
    with pytest.raises(Refused, match="T1 is at no place of"):
        propose(cast.department, scope, proposed=[Proposed(tank, 1)], acting=acting, **values)
    assert not Count.objects.exists()
    made = propose(cast.department, scope, proposed=proposed, acting=acting, **values)
    assert made.stage == Stage.CONFIRMING
    tally = Tally(made)
    assert {pails[1].pk, pails[2].pk} <= tally.outstanding
    assert {count.method for count in tally.counts} == {"sheet", ""}
    assert all(count.words == "sheet of June" for count in tally.counts)
    assert not Movement.objects.filter(recorded_by=cast.people[Role.LOGISTICS]).exists()


# -- what differs ------------------------------------------------------------------------------------------------------


def test_the_public_audit(cast: Cast) -> None:
    """A city's fire stores: 6,300 gal in the book, 5,700 on field check; −600 ÷ 6,300 = −9.52 %.

    126 drums of 50 gal are 6,300 gal; 12 of them are not found. A drum is 189,270.6 mL, so 12 are 2,271,252 mL.
    """
    drum_ml = round(50 * GAL)
    drums = [
        stand(cast, cast.pail(code=f"D{n:03}", kind="drum", capacity_ml=drum_ml), drum_ml, sealed=True)
        for n in range(126)
    ]
    taking = Taking(cast, Scope(cast.station, whole=False))
    spot = taking.spot("Quayside store").pk
    seen = [Seen(new_id(), spot, Found.SEEN, drum.pk, Method.SEALED) for drum in drums[:114]]
    gone = [Seen(new_id(), spot, Found.NOT_HERE, drum.pk) for drum in drums[114:]]
    taking.record(*seen, *gone)
    found = taking.to_explaining()
    total = found.total
    assert round(total.book_ml / GAL) == 6_300
    assert round(total.counted_ml / GAL) == 5_700
    assert (total.share, total.containers) == (-952, 126)
    assert found.above_total, "above 2 % of the book"
    assert {each.what for each in found.differences} == {"place"}
    assert all(each.missing and each.above_limit for each in found.differences)
    assert total.difference_ml == -12 * drum_ml


def test_inside_the_gauge_is_no_difference(cast: Cast, tank: Container) -> None:
    taking = Taking(cast)
    taking.see(tank, 100_000 - 2_001)
    assert taking.end_counting() == 1  # the one in ten
    taking.same_again()
    taking.confirm()
    assert taking.variance().differences == ()
    assert taking.variance().total.difference_ml == 0
    taking.close()
    assert held(tank) == 100_000
    row = InventoryResult.objects.get()
    assert (row.what, row.book_ml, row.counted_ml, row.explanation) == ("nothing", 100_000, 97_999, "")


@pytest.mark.parametrize(
    ("explanation", "counted", "account", "kind"),
    [
        (Explanation.LEAK, 95_000, "leak", "lost"),
        (Explanation.EVAPORATION, 95_000, "evaporation", "lost"),
        (Explanation.UNBOOKED_USE, 95_000, "incident", "used"),
        (Explanation.OTHER, 95_000, "inventory difference", "lost"),
        (Explanation.GAIN, 105_000, "gain", "gained"),
        (Explanation.OTHER, 105_000, "inventory difference", "gained"),
    ],
)
def test_a_difference_becomes_a_movement(
    cast: Cast, tank: Container, explanation: Explanation, counted: int, account: str, kind: str
) -> None:
    taking = Taking(cast)
    taking.see(tank, counted)
    taking.to_explaining()
    posted = taking.explain(tank, explanation, words="seen at the drain")
    assert held(tank) == counted
    movement = Movement.objects.get(pk=posted.movement_id)
    assert (movement.kind, movement.happened_at) == (kind, at(10).at)
    assert movement.reason.startswith(f"Inventory {taking.inventory.pk}: whole department")
    assert movement.reason.endswith("seen at the drain")
    assert {line.account for line in movement.lines.all() if line.account} == {account}
    assert tank.diluted == (explanation == Explanation.GAIN)
    assert taking.variance().differences == ()
    row = movement.inventory_results.get()
    assert (row.inventory_id, row.book_ml, row.counted_ml) == (taking.inventory.pk, 100_000, counted)
    taking.close(reason="pump seal")
    assert signed_result(taking.inventory).total.difference_ml == counted - 100_000


def test_what_is_used_after_the_count_stays_used(cast: Cast, tank: Container) -> None:
    """Counted 95,000 where the book has 100,000; 20,000 are used before it is booked: 100,000 − 20,000 − 5,000."""
    taking = Taking(cast)
    taking.see(tank, 95_000)
    taking.to_explaining()
    entry = Entry(cast.department, cast.acting("crew"), at(150))
    movements.use(entry, container=tank, ml=20_000, account=Account.INCIDENT)
    found = taking.difference(tank)
    assert (found.difference_ml, found.share, found.above_limit) == (-5_000, -500, False)
    taking.explain(tank, Explanation.LEAK)
    assert held(tank) == 75_000


def test_an_entry_that_comes_in_late_finds_its_place(cast: Cast, tank: Container) -> None:
    """5,000 mL were used before the count and told after it: no difference, and nothing to book."""
    taking = Taking(cast)
    taking.see(tank, 95_000)
    taking.to_explaining()
    assert taking.difference(tank).difference_ml == -5_000
    late = Entry(cast.department, cast.acting("crew"), at(150), happened_at=at(-30).at)
    posted = movements.use(late, container=tank, ml=5_000, account=Account.INCIDENT)
    assert taking.variance().differences == ()
    with pytest.raises(Refused, match="does not differ in its volume any more"):
        taking.explain(tank, Explanation.LEAK)
    undo = Entry(cast.department, cast.acting("chief"), at(160), reason="another tank")
    movements.correct(undo, movement=Movement.objects.get(pk=posted.movement_id))
    assert taking.difference(tank).difference_ml == -5_000, "what was corrected had never left it"


def test_above_the_limit_a_chief_says_why(cast: Cast, tank: Container) -> None:
    """The default limit of a container is 5 % of its book: 5,000 of 100,000 is not above it, 5,001 is."""
    taking = Taking(cast)
    taking.see(tank, 94_999)
    taking.to_explaining()
    assert taking.difference(tank).above_limit
    with pytest.raises(NotAllowed, match="sign above the limit"):
        taking.explain(tank, Explanation.LEAK, role=Role.LOGISTICS)
    with pytest.raises(Refused, match="above the policy’s limit"):
        taking.explain(tank, Explanation.LEAK, words=" ")
    taking.explain(tank, Explanation.LEAK, words="drain cock dripping")
    with pytest.raises(NotAllowed):  # 5.001 % of all is above 2 %
        taking.close(role=Role.LOGISTICS)
    with pytest.raises(Refused, match="a chief says why"):
        taking.close()
    taking.close(reason="one leak, repaired")
    assert (taking.stage, taking.inventory.reason) == (Stage.CLOSED, "one leak, repaired")


def test_at_the_limit_the_logistics_officer_books_it(cast: Cast, tank: Container) -> None:
    taking = Taking(cast)
    taking.see(tank, 95_000)
    taking.to_explaining()
    assert not taking.difference(tank).above_limit
    taking.explain(tank, Explanation.LEAK, role=Role.LOGISTICS, words="")
    assert held(tank) == 95_000


def test_only_what_can_explain_it_is_taken(cast: Cast, tank: Container) -> None:
    taking = Taking(cast)
    taking.see(tank, 95_000)
    taking.to_explaining()
    with pytest.raises(Refused, match="what explains this difference of T1 is poured over and not booked"):
        taking.explain(tank, Explanation.GAIN)
    with pytest.raises(Refused, match="say what happened"):
        taking.explain(tank, Explanation.OTHER, words="")
    with pytest.raises(NotAllowed):
        taking.explain(tank, Explanation.LEAK, role=Role.OFFICER)
    assert held(tank) == 100_000


def test_an_unbooked_pour_takes_its_lot_along(cast: Cast, tank: Container) -> None:
    """A tank was topped up from a pail of another lot: 18,927 mL less there; 10,000 more here, the gauge is coarse."""
    pail = cast.pail(code="P9")
    entry = Entry(cast.department, cast.acting("chief"), StoppedClock(SIX), happened_at=SIX - timedelta(hours=3))
    movements.receive(entry, container=pail, lot=cast.other_lot, ml=PAIL_ML, place=cast.store)
    taking = Taking(cast)
    taking.see(tank, 110_000)
    taking.see(pail, 0)
    taking.to_explaining()
    with pytest.raises(Refused, match="into which container"):
        taking.explain(pail, Explanation.UNBOOKED_POUR)
    with pytest.raises(Refused, match="does not differ"):
        taking.explain(pail, Explanation.UNBOOKED_POUR, into=cast.pail(code="P8"))
    posted = taking.explain(pail, Explanation.UNBOOKED_POUR, into=tank)
    assert held(tank) == 110_000
    assert dict(tank.holdings.values_list("lot__batch", "ml")) == {"AR-1": 100_000, "AR-2": 10_000}
    assert Movement.objects.get(pk=posted.movement_id).kind == "poured"
    assert not tank.diluted
    (rest,) = taking.variance().differences
    assert (rest.code, rest.book_ml, rest.difference_ml) == ("P9", 8_927, -8_927), "what is left is explained by itself"
    taking.explain(pail, Explanation.EVAPORATION)
    taking.close(reason="topped up")
    result = signed_result(taking.inventory)
    # 100,000 + 18,927 in the book; 110,000 + 0 counted
    assert (result.total.book_ml, result.total.counted_ml) == (118_927, 110_000)
    assert {row.movement_id for row in result.rows if row.code == "T1"} == {posted.movement_id}


def test_found_elsewhere_is_an_unbooked_move(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0], spot=taking.spot("Engine 1"), compartment="L3")
    found = taking.to_explaining()
    (only,) = found.differences
    assert (only.what, only.book_place, only.found_place) == ("place", "Quayside store", "Engine 1, L3")
    assert found.total.difference_ml == 0
    taking.explain(pails[0], Explanation.UNBOOKED_MOVE, "place", words="", role=Role.LOGISTICS)
    pails[0].refresh_from_db()
    assert pails[0].place == cast.on_unit
    assert held(pails[0]) == PAIL_ML
    assert taking.variance().differences == ()


def test_what_the_book_moved_meanwhile_is_no_difference(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0])
    entry = Entry(cast.department, cast.acting("chief"), at(30))
    movements.move(entry, containers=[pails[0]], place=cast.on_unit)
    pails[1].refresh_from_db()
    movements.move(Entry(cast.department, cast.acting("chief"), at(5)), containers=[pails[1]], place=cast.on_unit)
    taking.see(pails[1], minute=40)
    assert taking.end_counting() == 1
    for pail in pails[:2]:
        taking.see(pail, role=Role.OFFICER, minute=70)  # both are on Engine 1 by now, and the book says so
    taking.confirm()
    assert taking.variance().differences == ()


def test_an_opened_pail_is_marked_opened(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0], PAIL_ML)  # measured: full, and its seal is gone
    (only,) = taking.to_explaining().differences
    assert only.what == "seal"
    taking.explain(pails[0], Explanation.OPENED, "seal", role=Role.LOGISTICS)
    pails[0].refresh_from_db()
    assert (pails[0].sealed, pails[0].opened_on) == (False, D0)
    assert taking.variance().differences == ()


def test_not_found_leaves_the_book_and_comes_back_by_a_correction(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.miss(pails[0])
    (only,) = taking.to_explaining().differences
    assert (only.missing, only.difference_ml) == (True, -PAIL_ML)
    posted = taking.explain(pails[0], Explanation.NOT_FOUND, "place", words="searched twice")
    assert held(pails[0]) == 0
    assert pails[0].place is None
    assert taking.variance().differences == ()
    taking.close(reason="one pail gone")
    undo = Entry(cast.department, cast.acting("chief"), at(300), reason="found behind the shelf")
    movements.correct(undo, movement=Movement.objects.get(pk=posted.movement_id))
    assert held(pails[0]) == PAIL_ML
    assert pails[0].place == cast.store
    assert signed_result(taking.inventory).total.difference_ml == -PAIL_ML, "what was signed stays as it was signed"


def test_a_code_that_the_book_has_outside_comes_back_in(cast: Cast, pails: list[Container]) -> None:
    entry = Entry(cast.department, cast.acting("chief"), StoppedClock(SIX))
    movements.empty(entry, container=pails[0], account=Account.INVENTORY_DIFFERENCE)
    pails[0].refresh_from_db()
    movements.move(entry, containers=[pails[0]], place=cast.on_unit)
    taking = Taking(cast)
    taking.see(pails[0], spot=taking.spot("Quayside store"))
    found = {each.what: each for each in taking.to_explaining().differences}
    assert (found["volume"].book_ml, found["volume"].counted_ml) == (0, PAIL_ML)
    with pytest.raises(Refused, match="empty by the book: say of which lot"):
        taking.explain(pails[0], Explanation.OTHER)
    taking.explain(pails[0], Explanation.OTHER, lot=cast.lot)
    taking.explain(pails[0], Explanation.UNBOOKED_MOVE, "place")
    assert held(pails[0]) == PAIL_ML
    assert pails[0].place == cast.store


# -- without a label that the book knows -------------------------------------------------------------------------------


def test_an_unreadable_label_is_matched_by_elimination(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0])
    taking.miss(pails[1])
    count = taking.find("Quayside store")
    taking.end_counting()
    values = {"inventory": taking.inventory, "count": count, "clock": at(80)}
    match = {"acting": cast.acting(Role.CREW), **values}
    with pytest.raises(NotAllowed):
        match_count(cast.department, container=pails[1], **match)
    match["acting"] = cast.acting(Role.LOGISTICS)
    with pytest.raises(Refused, match="P0 was seen with its own label"):
        match_count(cast.department, container=pails[0], **match)
    match_count(cast.department, container=pails[1], **match)
    with pytest.raises(Refused, match="settled already"):
        match_count(cast.department, container=pails[2], **match)
    taking.same_again()
    taking.confirm()
    assert taking.variance().differences == ()
    assert [thing.code for thing in taking.variance().not_counted] == ["P2"]


def test_who_found_it_does_not_say_which_it_is(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    count = taking.find("Quayside store", Role.LOGISTICS)
    taking.end_counting()
    values = {"inventory": taking.inventory, "acting": cast.acting(Role.LOGISTICS), "clock": at(80)}
    with pytest.raises(Refused, match="You counted it"):
        match_count(cast.department, container=pails[1], count=count, **values)


def newcomer(cast: Cast, **values: object) -> Newcomer:
    return Newcomer("N-1", "pail", PAIL_ML, cast.ar, None, "left by a neighbor")._replace(**values)


def test_what_is_not_in_the_book_comes_in_and_waits_for_its_lot(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0])
    count = taking.find("Quayside store", found=Found.UNKNOWN, code="N1", concentrate=cast.ar.pk, compartment="back")
    found = taking.to_explaining()
    assert [each.pk for each in found.unmatched] == [count.pk]
    assert (found.total.difference_ml, found.settled) == (PAIL_ML, False)
    with pytest.raises(Refused, match="1 found without a label"):
        taking.close()
    entry = Entry(cast.department, cast.acting(Role.CHIEF), at(200))
    take_into_book(entry, inventory=taking.inventory, count=count, newcomer=newcomer(cast))
    made = Container.objects.get(code="N-1")
    assert held(made) == PAIL_ML
    assert (str(made.place), made.sealed, made.quarantined) == ("Quayside store, back", True, True)
    assert [holding.lot.batch for holding in made.holdings.all()] == ["lot not known"]
    taking.close(reason="a pail too many")
    assert signed_result(taking.inventory).total.difference_ml == PAIL_ML


def test_with_its_lot_known_it_is_not_set_aside(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    count = taking.find("Quayside store")
    taking.see(pails[0])
    taking.to_explaining()
    entry = Entry(cast.department, cast.acting(Role.CHIEF), at(200))
    for wrong, sentence in (
        (newcomer(cast, code="p0"), "another container"),
        (newcomer(cast, code=""), "1 to 24 characters"),
        (newcomer(cast, lot=cast.class_a_lot), "is not of Demo AR-AFFF"),
        (newcomer(cast, size_ml=5), "do not fit"),
        (newcomer(cast, words=""), "say where it may have come from"),
    ):
        with pytest.raises(Refused, match=sentence):
            take_into_book(entry, inventory=taking.inventory, count=count, newcomer=wrong)
    officer = Entry(cast.department, cast.acting(Role.LOGISTICS), at(200))
    with pytest.raises(NotAllowed):
        take_into_book(officer, inventory=taking.inventory, count=count, newcomer=newcomer(cast))
    take_into_book(entry, inventory=taking.inventory, count=count, newcomer=newcomer(cast, lot=cast.lot))
    made = Container.objects.get(code="N-1")
    assert (made.quarantined, held(made)) == (False, PAIL_ML)


def test_two_people_who_found_the_same_take_it_in_once(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0])
    one, other = (taking.find("Quayside store", role) for role in (Role.CREW, Role.INSTRUCTOR))
    taking.to_explaining()
    entry = Entry(cast.department, cast.acting(Role.CHIEF), at(200))
    take_into_book(entry, inventory=taking.inventory, count=one, newcomer=newcomer(cast))
    made = Container.objects.get(code="N-1")
    values = {"inventory": taking.inventory, "acting": cast.acting(Role.CHIEF), "clock": at(210)}
    match_count(cast.department, container=made, count=other, **values)
    found = taking.variance()
    assert (found.settled, found.total.difference_ml) == (True, PAIL_ML), "one pail, not two"
    assert held(made) == PAIL_ML


# -- misread, abandoned, reopened --------------------------------------------------------------------------------------


def test_a_misread_count_is_made_again_by_two(cast: Cast, tank: Container) -> None:
    taking = Taking(cast)
    taking.see(tank, 90_000)
    taking.to_explaining()
    values = {"inventory": taking.inventory, "container": tank.pk, "clock": at(130)}
    with pytest.raises(NotAllowed):
        misread(cast.department, acting=cast.acting(Role.OFFICER), **values)
    misread(cast.department, acting=cast.acting(Role.LOGISTICS), **values)
    assert taking.variance().differences == ()
    with pytest.raises(Refused, match="T1 still has to be looked at"):
        taking.close()
    taking.see(tank, 99_500, Role.CREW, minute=140)
    with pytest.raises(Refused, match="You counted T1"):
        taking.see(tank, 99_500, Role.CREW, minute=145)
    taking.see(tank, 99_500, Role.OFFICER, minute=150)
    taking.close(role=Role.LOGISTICS)
    assert held(tank) == 100_000
    assert Count.objects.count() == 4, "what was misread is kept"


def test_after_the_confirmation_only_what_is_asked_for_is_counted(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0])
    taking.to_explaining()
    with pytest.raises(Refused, match="was not asked for"):
        taking.see(pails[1], role=Role.OFFICER, minute=130)


def test_an_abandoned_inventory_says_why_and_is_over(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0])
    values = {"inventory": taking.inventory, "acting": cast.acting(Role.LOGISTICS), "clock": at(20)}
    with pytest.raises(Refused, match="No reason"):
        abandon(cast.department, reason=" ", **values)
    abandon(cast.department, reason="alarm", **values)
    assert taking.stage == Stage.ABANDONED
    with pytest.raises(Refused, match="abandoned already"):
        abandon(cast.department, reason="alarm", **values)
    with pytest.raises(Refused, match="is at “abandoned”"):
        taking.see(pails[1])
    Taking(cast)  # its places are free again


def test_reopened_for_a_day(cast: Cast, tank: Container) -> None:
    taking = Taking(cast)
    taking.see(tank, 95_000)
    taking.to_explaining()
    posted = taking.explain(tank, Explanation.LEAK)
    taking.close(reason="leak")
    chief = cast.acting(Role.CHIEF)
    with pytest.raises(Refused, match="No reason"):
        reopen(cast.department, inventory=taking.inventory, reason="", acting=chief, clock=at(300))
    reopen(cast.department, inventory=taking.inventory, reason="it was evaporation", acting=chief, clock=at(300))
    undo = Entry(cast.department, chief, at(310), reason="no leak was found")
    movements.correct(undo, movement=Movement.objects.get(pk=posted.movement_id))
    assert taking.difference(tank).difference_ml == -5_000
    entry = Entry(cast.department, chief, at(320))
    from readiness.actions.differences import Reason, explain

    late = entry._replace(clock=StoppedClock(at(300).at + timedelta(days=1, seconds=1)))
    reason = Reason(Explanation.EVAPORATION, "the lid was open")
    with pytest.raises(Refused, match="was open again until"):
        explain(late, inventory=taking.inventory, container=tank, what="volume", reason=reason)
    explain(entry, inventory=taking.inventory, container=tank, what="volume", reason=reason)
    taking.close(reason="evaporation", minute=330)
    assert held(tank) == 95_000
    result = signed_result(taking.inventory)
    assert result.total.difference_ml == -5_000, "the last word counts, once"
    assert [row.explanation for row in result.differences] == ["leak", "evaporation"]


def test_no_step_is_skipped(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    with pytest.raises(Refused, match="Nobody has counted anything yet"):
        taking.end_counting()
    taking.see(pails[0])
    with pytest.raises(Refused, match="done while it is at “second person confirms”"):
        taking.confirm()
    with pytest.raises(Refused, match="closed once its differences are explained"):
        taking.close()
    with pytest.raises(Refused, match="differences are explained"):
        taking.explain(pails[0], Explanation.LEAK)


def test_another_department_does_not_know_it(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    with pytest.raises(Refused, match="no such inventory"):
        record_counts(
            cast.other_department,
            inventory=taking.inventory,
            seen=[],
            acting=taking.cast.acting(Role.CREW)._replace(user=cast.outsider),
            clock=at(1),
        )
    with pytest.raises(Refused, match="no such station"):
        open_inventory(
            cast.other_department,
            Scope(cast.station),
            acting=cast.acting(Role.CHIEF)._replace(user=cast.outsider),
            clock=at(1),
        )


# -- when it was counted last ------------------------------------------------------------------------------------------


def test_what_was_counted_last_and_by_whom(cast: Cast, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0], role=Role.CREW)
    taking.miss(pails[1])
    rows = {row.code: row for row in last_counted(cast.department, D0)}
    assert (rows["P0"].counted_at, rows["P0"].counted_by) == (at(10).at, cast.people[Role.CREW].username)
    assert (rows["P1"].counted_at, rows["P1"].overdue) == (None, True), "looked for and not seen is not counted"
    assert not rows["P0"].overdue
    # monthly: 31 days after the 15th of June is the 16th of July
    assert not {row.code: row for row in last_counted(cast.department, D0 + timedelta(days=31))}["P0"].overdue
    assert {row.code: row for row in last_counted(cast.department, D0 + timedelta(days=32))}["P0"].overdue


# -- many differences at once ------------------------------------------------------------------------------------------


@pytest.fixture
def three_ways(cast: Cast, pails: list[Container], tank: Container) -> Taking:
    """A pail of 5 gal with 4 L less in it and its seal gone, one not found, one found on the engine; a tank leaked."""
    taking = Taking(cast)
    taking.see(pails[0], PAIL_ML - 4_000)
    taking.miss(pails[1])
    taking.see(pails[2], spot=taking.spot("Engine 1"))
    taking.see(tank, 90_000)
    taking.to_explaining()
    return taking


def explain_all(taking: Taking, reasons: dict, role: Role = Role.CHIEF, **values: object) -> list:
    entry = Entry(taking.department, taking.cast.acting(role), at(180), **values)
    return explain_many(entry, inventory=taking.inventory, reasons=reasons)


def test_many_differences_are_booked_at_once_a_movement_each(
    cast: Cast, three_ways: Taking, pails: list[Container], tank: Container
) -> None:
    reasons = {
        (pails[0].pk, "volume"): Reason(Explanation.UNBOOKED_USE, "a drill went wrong"),
        (pails[0].pk, "seal"): Reason(Explanation.OPENED),
        (pails[1].pk, "place"): Reason(Explanation.NOT_FOUND, "looked twice"),
        (pails[2].pk, "place"): Reason(Explanation.UNBOOKED_MOVE),
        (tank.pk, "volume"): Reason(Explanation.LEAK, "a weeping valve"),
    }
    posted = explain_all(three_ways, reasons, incident="26-9")
    booked = InventoryResult.objects.filter(inventory=three_ways.inventory).order_by("id")
    assert [(row.code, row.what, row.explanation) for row in booked] == [
        ("P0", "seal", "opened and not booked"),
        ("P0", "volume", "used and not booked"),
        ("P1", "place", "not found"),
        ("P2", "place", "unbooked move"),
        ("T1", "volume", "leak"),
    ]
    assert [row.movement_id for row in booked] == [each.movement_id for each in posted]
    assert [Movement.objects.get(pk=each.movement_id).incident for each in posted] == ["", "26-9", "", "", ""]
    assert [held(each) for each in (*pails, tank)] == [PAIL_ML - 4_000, 0, PAIL_ML, 90_000]
    pails[2].refresh_from_db()
    assert str(pails[2].place) == "Engine 1"
    assert three_ways.variance().settled
    assert Change.objects.filter(action="explain a difference").count() == 5


def test_of_many_differences_all_or_none_is_booked(three_ways: Taking, pails: list[Container], tank: Container) -> None:
    reasons = {
        (pails[0].pk, "volume"): Reason(Explanation.LEAK, ""),  # 4 L of 18.9 L is above the limit: words are needed
        (pails[1].pk, "place"): Reason(Explanation.NOT_FOUND, "looked twice"),
        (pails[2].pk, "volume"): Reason(Explanation.LEAK, "as full as in the book"),
        (tank.pk, "volume"): Reason(Explanation.UNBOOKED_POUR, "into which?"),
    }
    with pytest.raises(DifferencesRefused) as refused:
        explain_all(three_ways, reasons)
    assert {which: said.split(":")[0] for which, said in refused.value.sentences.items()} == {
        (pails[0].pk, "volume"): "No words were read",
        (pails[2].pk, "volume"): "It does not differ in this any more",
        (tank.pk, "volume"): "T1 was poured over",
    }
    assert not InventoryResult.objects.exists()
    assert held(pails[1]) == PAIL_ML
    with pytest.raises(Refused, match="No explanation was read"):
        explain_all(three_ways, {})


def test_many_above_the_limit_need_a_chief_and_none_is_booked_by_crew(
    three_ways: Taking, pails: list[Container]
) -> None:
    reasons = {(pails[1].pk, "place"): Reason(Explanation.NOT_FOUND, "looked twice")}
    for role in (Role.LOGISTICS, Role.CREW):
        with pytest.raises(NotAllowed):
            explain_all(three_ways, reasons, role)
    assert not InventoryResult.objects.exists()


def test_the_queries_of_booking_do_not_grow_with_the_differences(
    cast: Cast,
) -> None:
    """The same for two pails and for six."""
    counts = []
    for few in (2, 6):
        made = [stand(cast, cast.pail(code=f"Q{few}{n}"), PAIL_ML, sealed=True) for n in range(few)]
        taking = Taking(cast, Scope(cast.station, whole=False))
        for each in made:
            taking.see(each, PAIL_ML - 1_000)
        taking.to_explaining()
        reasons = {(each.pk, "volume"): Reason(Explanation.LEAK, "a bad batch of lids") for each in made}
        reasons |= {(each.pk, "seal"): Reason(Explanation.OPENED) for each in made}
        with CaptureQueriesContext(connection) as caught:
            explain_all(taking, reasons)
        counts.append(len(caught))
        taking.close(reason="a bad batch")
    assert counts[0] == counts[1]
