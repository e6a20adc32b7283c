"""Inventories in pages: blind until confirmed, several phones, and a result that everybody may read."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from itertools import product
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from readiness.actions import movements
from readiness.actions.counts import Seen
from readiness.actions.drafts import new_id
from readiness.actions.inventories import Scope, abandon
from readiness.actions.movements import Entry
from readiness.engineering.units import from_ml, symbols_of
from readiness.models import Container, Count, Inventory, InventoryResult, Movement, Role
from readiness.models.inventories import Explanation, Found, Stage
from readiness.models.movements import Account
from readiness.web import access
from tests.cast import PAIL_ML, Cast
from tests.taking import Taking, at, stand
from tests.web.entering import words

pytestmark = pytest.mark.django_db

GAL = 3_785.411784  # mL in a US gallon: 231 cubic inches of 16.387064 mL
TELLTALE = 76_543  # mL in the tank by the book: 20.2205 gal; these digits stand nowhere else
COUNTED = 64_321  # mL that are counted: 16.9918 gal


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """Set the pages' clock to so many minutes after the opening."""

    def set_to(minutes: float) -> None:
        monkeypatch.setattr(access, "CLOCK", at(minutes))

    return set_to


@pytest.fixture
def tank(cast: Cast) -> Container:
    """T1 on vehicle 201."""
    return stand(cast, cast.tank(code="T1", resolution_ml=500), TELLTALE, cast.on_vehicle)


@pytest.fixture
def pails(cast: Cast) -> list[Container]:
    """Three sealed pails in the store; the third has less in it than its size, by the book."""
    return [
        stand(cast, cast.pail(code=f"P{n}"), ml, sealed=True) for n, ml in enumerate([PAIL_ML, PAIL_ML, TELLTALE // 5])
    ]


def place_of(taking: Taking, name: str) -> str:
    return reverse("inventory_place", args=[taking.inventory.pk, taking.spot(name).pk])


def page_of(taking: Taking) -> str:
    return reverse("inventory", args=[taking.inventory.pk])


# -- blind -------------------------------------------------------------------------------------------------------------


def figures_of(ml: int) -> set[str]:
    """How a volume could be written: in every unit of volume, with none to three decimals, with commas or without."""
    found = {str(ml)}
    for unit, places in product(symbols_of("volume"), range(4)):
        number = from_ml(ml, unit)
        text = f"{number:.{places}f}"
        if len(re.sub(r"\D", "", text)) >= 3 and number:  # fewer digits would be met by chance
            found |= {text, f"{number:,.{places}f}"}
    return found


def everything_of(taking: Taking) -> Iterator[str]:
    """Every address of the inventory that a counter or anybody else could open before it is confirmed."""
    pk = taking.inventory.pk
    counts = reverse("inventory_counts", args=[pk])
    for name in (reverse("inventories"), reverse("last_counted"), page_of(taking), counts):
        yield from (name, f"{name}?export=xlsx")
    yield from (reverse(f"inventory_{name}", args=[pk]) for name in ("abandon", "close", "explain", "reopen"))
    for spot in taking.inventory.places.all():
        here = reverse("inventory_place", args=[pk, spot.pk])
        yield from (here, f"{here}found/")
    yield from (f"{here}?q=T1", f"{here}?q=P2", f"{here}?q=nothing")
    for container, what in product(Container.objects.filter(department=taking.department), ("volume", "place", "seal")):
        yield reverse(f"inventory_{what}_difference", args=[pk, container.pk])
    for count in Count.objects.filter(container=None):
        yield reverse("inventory_match", args=[pk, count.pk])
        yield reverse("inventory_take_in", args=[pk, count.pk])


def said(client: Client, address: str) -> str:
    """All that an answer holds, with everything that it leads to; a workbook by its cells."""
    answer = client.get(address, follow=True)
    if answer.get("Content-Type", "").startswith("application/vnd"):
        sheets = load_workbook(io.BytesIO(answer.getvalue())).worksheets
        return " ".join(str(cell.value) for sheet in sheets for row in sheet for cell in row)
    return re.sub(
        r'name="csrfmiddlewaretoken" value="\w+"|[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}', "", answer.content.decode()
    )


CURIOUS = ((Role.CREW, "us"), (Role.CHIEF, "metric"))  # who may do least and most; everybody is tried once
EVERYBODY = tuple(product(Role, ("us", "metric")))


def leaks(taking: Taking, as_role: Any, volumes: set[int], roles: Any = CURIOUS) -> list[tuple[str, str, str]]:
    """Where one of the volumes can be read, by whom."""
    forbidden = {text for ml in volumes for text in figures_of(ml)}
    pattern = re.compile(r"(?<![\d.,])(" + "|".join(map(re.escape, forbidden)) + r")(?![\d]|[.,]\d)")
    found = []
    for role, units in roles:
        client = as_role(role)
        client.post(reverse("choose_units"), {"units": units, "next": "/"})
        for address in everything_of(taking):
            text = said(client, address)
            found += [(role.value, address, match[1]) for match in pattern.finditer(text)]
    return found


def test_nothing_of_an_open_inventory_tells_what_the_book_has(
    cast: Cast, as_role: Any, tank: Container, pails: list[Container], clock: Callable[[float], None]
) -> None:
    taking = Taking(cast)
    book = {TELLTALE, TELLTALE // 5, TELLTALE - COUNTED}
    assert leaks(taking, as_role, book) == []
    taking.see(tank, COUNTED)
    taking.see(pails[2])
    taking.see(pails[0])
    taking.find("Quayside store", method="stick", ml=7_654)
    clock(20)
    assert leaks(taking, as_role, {*book, COUNTED, 7_654}, EVERYBODY) == [], "nor what others counted"
    taking.end_counting()
    clock(65)
    assert leaks(taking, as_role, {*book, COUNTED, 7_654}) == []
    taking.same_again()
    clock(80)
    assert leaks(taking, as_role, {*book, COUNTED, 7_654}) == []
    taking.confirm()
    clock(130)
    shown = {match for _, address, match in leaks(taking, as_role, book) if address == page_of(taking)}
    assert {"20.22", "76.54"} <= shown, "76,543 mL in gallons and in liters: the look itself is not blind"


def test_an_inventory_that_was_given_up_shows_nothing_either(cast: Cast, as_role: Any, tank: Container) -> None:
    taking = Taking(cast)
    taking.see(tank, COUNTED, minute=0)
    as_role(Role.CHIEF).post(reverse("inventory_abandon", args=[taking.inventory.pk]), {"reason": "alarm"})
    assert taking.stage == Stage.ABANDONED
    assert leaks(taking, as_role, {TELLTALE, COUNTED}) == []


# -- counting ----------------------------------------------------------------------------------------------------------


def posted(client: Client, address: str, **values: str) -> Any:
    """The place's form as it was drawn, with answers."""
    entry = client.get(address).context["form"]["entry_id"].value()
    return client.post(address, {"entry_id": str(entry), **values})


def test_ticks_and_a_gauge_are_recorded_at_once(
    cast: Cast, as_role: Any, tank: Container, pails: list[Container]
) -> None:
    taking = Taking(cast)
    client, store = as_role(Role.CREW), place_of(taking, "Quayside store")
    page = words(client.get(store))
    assert "P0 pail of 5.0 gal · Demo AR-AFFF 3x6" in page
    assert "0 of 3 looked at" in page
    answer = posted(client, store, **{f"s{pails[0].pk}": "on", f"s{pails[1].pk}": "on"})
    assert (answer.status_code, answer["Location"]) == (302, store)
    assert "2 counted." in words(client.get(store))
    assert set(Count.objects.values_list("container__code", "ml", "method")) == {
        ("P0", PAIL_ML, "sealed"),
        ("P1", PAIL_ML, "sealed"),
    }
    rig = place_of(taking, "vehicle 201")
    assert "the gauge tells 0.13 gal apart" in words(client.get(rig))  # 500 ÷ 3,785.41
    posted(client, rig, **{f"v{tank.pk}_number": "17", f"v{tank.pk}_unit": "gal"})
    assert Count.objects.get(container=tank).ml == round(17 * GAL)


def test_a_second_tap_counts_once(cast: Cast, as_role: Any, pails: list[Container]) -> None:
    taking = Taking(cast)
    client, store = as_role(Role.CREW), place_of(taking, "Quayside store")
    form = {"entry_id": str(new_id()), f"s{pails[0].pk}": "on"}
    client.post(store, form)
    client.post(store, form)
    assert Count.objects.count() == 1


def test_what_left_the_list_meanwhile_is_not_dropped(cast: Cast, as_role: Any, pails: list[Container]) -> None:
    """Another phone counted P0, and P1 was moved by the book, while this form was open."""
    taking = Taking(cast)
    client, store = as_role(Role.CREW), place_of(taking, "Quayside store")
    taking.see(pails[0], role=Role.OFFICER, minute=0)
    movements.move(Entry(cast.department, cast.acting("chief"), at(0)), containers=[pails[1]], place=cast.on_unit)
    posted(client, store, **{f"s{pails[0].pk}": "on", f"s{pails[1].pk}": "on"})
    assert Count.objects.filter(by=cast.people[Role.CREW]).count() == 2


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({}, "Nothing was ticked and no volume was read"),
        ({"v_number": "31", "v_unit": "gal"}, "31.00 gal was read in T1, which holds 30.00 gal when full"),
        ({"v_number": "12", "v_unit": ""}, "“12” came with no unit"),
        ({"v_number": "a lot", "v_unit": "gal"}, "a lot"),
    ],
)
def test_a_bad_answer_gets_a_sentence(cast: Cast, as_role: Any, tank: Container, values: dict, sentence: str) -> None:
    taking = Taking(cast)
    named = {name.replace("v_", f"v{tank.pk}_"): value for name, value in values.items()}
    answer = posted(as_role(Role.CREW), place_of(taking, "vehicle 201"), **named)
    assert answer.status_code == 200
    assert sentence in words(answer)
    assert not Count.objects.exists()


def test_a_typed_code_leads_to_the_container_or_to_its_description(
    cast: Cast, as_role: Any, pails: list[Container]
) -> None:
    taking = Taking(cast)
    client, rig = as_role(Role.CREW), place_of(taking, "Engine 1")
    spot = taking.spot("Engine 1").pk
    assert client.get(f"{rig}?q= p0 ")["Location"] == reverse(
        "inventory_count", args=[taking.inventory.pk, spot, pails[0].pk]
    )
    unknown = client.get(f"{rig}?q=Z9")["Location"]
    assert unknown == reverse("inventory_found", args=[taking.inventory.pk, spot]) + "?code=Z9"
    assert "“Z9” was read; no container of the book has that label code" in words(client.get(unknown))


def count_form(answer: str, **values: str) -> dict[str, str]:
    return {"entry_id": str(new_id()), "answer": answer, "volume_unit": "gal", **values}


@pytest.mark.parametrize(
    ("form", "kept"),
    [
        (count_form("stick", volume_number="3"), ("seen", "stick", round(3 * GAL))),
        (count_form("empty"), ("seen", "empty", 0)),
        (count_form("not here"), ("not here", "", None)),
        (count_form("sealed"), ("seen", "sealed", PAIL_ML)),
    ],
)
def test_one_container(cast: Cast, as_role: Any, pails: list[Container], form: dict, kept: tuple) -> None:
    taking = Taking(cast)
    address = reverse("inventory_count", args=[taking.inventory.pk, taking.spot("Quayside store").pk, pails[0].pk])
    assert as_role(Role.CREW).post(address, form).status_code == 302
    row = Count.objects.get()
    assert (row.found, row.method, row.ml) == kept


@pytest.mark.parametrize(
    ("form", "sentence"),
    [
        (count_form(""), "No answer was read"),
        (count_form("stick"), "no volume was read"),
        (count_form("sealed", volume_number="3"), "a volume was read beside an answer that needs none"),
        (count_form("half full"), "“half full” was read"),
    ],
)
def test_an_answer_that_says_two_things(
    cast: Cast, as_role: Any, pails: list[Container], form: dict, sentence: str
) -> None:
    taking = Taking(cast)
    address = reverse("inventory_count", args=[taking.inventory.pk, taking.spot("Quayside store").pk, pails[0].pk])
    answer = as_role(Role.CREW).post(address, form)
    assert answer.status_code == 200
    assert sentence.lower() in words(answer).lower()
    assert not Count.objects.exists()


def test_what_can_be_said_suits_the_kind(cast: Cast, as_role: Any, tank: Container, pails: list[Container]) -> None:
    taking = Taking(cast)
    client, spot = as_role(Role.CREW), taking.spot("vehicle 201").pk
    page = words(client.get(reverse("inventory_count", args=[taking.inventory.pk, spot, tank.pk])))
    assert "sealed and full" not in page
    assert "not here" not in page
    assert "sealed and full" in words(
        client.get(reverse("inventory_count", args=[taking.inventory.pk, spot, pails[0].pk]))
    )


def test_found_without_a_label(cast: Cast, as_role: Any, pails: list[Container]) -> None:
    taking = Taking(cast)
    client = as_role(Role.CREW)
    address = reverse("inventory_found", args=[taking.inventory.pk, taking.spot("Quayside store").pk])
    form = count_form("sealed", kind="pail", size_number="5", size_unit="gal", lot_words="AR-0?", compartment="back")
    assert client.post(address, form).status_code == 302
    row = Count.objects.get()
    assert (row.found, row.container, row.ml, row.lot_words) == ("label unreadable", None, PAIL_ML, "AR-0?")
    page = words(client.get(place_of(taking, "Quayside store")))
    assert "no readable label pail of 5.0 gal found, not in the book" in page
    known = client.post(address, {**form, "entry_id": str(new_id()), "code": "P0"})
    assert "which the book knows: count it under its label code" in words(known)


# -- progress ----------------------------------------------------------------------------------------------------------


def test_progress_says_who_is_where(cast: Cast, as_role: Any, tank: Container, pails: list[Container]) -> None:
    taking = Taking(cast)
    taking.see(pails[0], minute=0)
    taking.see(pails[1], minute=0)
    page = words(as_role(Role.LOGISTICS).get(page_of(taking)))
    assert "2 of 4 looked at." in page
    assert f"Quayside store 2 of 3 {cast.people[Role.CREW].username}" in page
    assert "vehicle 201 0 of 1 nobody yet" in page


@pytest.mark.parametrize("stage", [Stage.COUNTING, Stage.CONFIRMING, Stage.EXPLAINING, Stage.CLOSED])
def test_the_number_of_queries_does_not_grow(
    cast: Cast, as_role: Any, tank: Container, stage: Stage, clock: Callable[[float], None]
) -> None:
    """The same pages with three containers and with thirty ask the database the same number of questions."""
    asked = []
    for size in (3, 30):
        taking = _at_stage(cast, stage, size)
        clock(300)
        client = as_role(Role.CHIEF)
        client.get(page_of(taking))
        for address in (page_of(taking), place_of(taking, "Quayside store"), reverse("last_counted")):
            with CaptureQueriesContext(connection) as captured:
                assert client.get(address).status_code == 200
            asked.append(len(captured))
    assert asked[:3] == asked[3:]
    assert max(asked) < 60


def _at_stage(cast: Cast, stage: Stage, size: int) -> Taking:
    pails = [stand(cast, cast.pail(code=f"Q{size}-{n}"), PAIL_ML, sealed=True) for n in range(size)]
    Inventory.objects.exclude(stage=Stage.CLOSED).update(stage=Stage.ABANDONED)
    taking = Taking(cast)
    for pail in pails:
        taking.see(pail, PAIL_ML - 1_000)
    taking.miss(pails[-1], Role.INSTRUCTOR)
    taking.see(pails[-1], PAIL_ML - 1_000, Role.INSTRUCTOR)
    if stage == Stage.COUNTING:
        return taking
    taking.end_counting()
    if stage == Stage.CONFIRMING:
        return taking
    taking.same_again()
    taking.confirm()
    if stage == Stage.EXPLAINING:
        return taking
    for pail in pails:
        taking.explain(pail, Explanation.LEAK)
        if any(each.what == "seal" for each in taking.variance().differences if each.container_id == pail.pk):
            taking.explain(pail, Explanation.OPENED, "seal")
    taking.close(reason="test")
    return taking


# -- from the first count to the signature, by pages -------------------------------------------------------------------


def test_by_pages_alone(cast: Cast, as_role: Any, pails: list[Container], clock: Callable[[float], None]) -> None:
    logistics, crew, officer, chief = map(as_role, (Role.LOGISTICS, Role.CREW, Role.OFFICER, Role.CHIEF))
    opened = logistics.post(reverse("inventory_open"), {"owner": f"station-{cast.station.pk}", "reserve": "on"})
    row = Inventory.objects.get()
    assert opened["Location"] == reverse("inventory", args=[row.pk])
    store = reverse("inventory_place", args=[row.pk, row.places.get().pk])
    one = reverse("inventory_count", args=[row.pk, row.places.get().pk, pails[1].pk])
    clock(5)
    posted(crew, store, **{f"s{pails[0].pk}": "on"})
    crew.post(one, count_form("stick", volume_number="2"))
    clock(10)
    assert "End the count" not in words(crew.get(opened["Location"]))
    assert crew.post(reverse("inventory_close_count", args=[row.pk])).status_code == 403
    logistics.post(reverse("inventory_close_count", args=[row.pk]))
    assert "to be looked at by another person" in words(officer.get(opened["Location"]))
    refused = words(crew.post(one, count_form("stick", volume_number="2")))
    assert "You counted P1: another person looks at it now." in refused
    assert "you counted it: another person looks" in words(crew.get(store))
    clock(15)
    officer.post(one, count_form("stick", volume_number="2"))
    posted(officer, store, **{f"s{pails[0].pk}": "on"})
    officer.post(reverse("inventory_confirm", args=[row.pk]))
    page = words(chief.get(opened["Location"]))
    # 5 gal in the book and 2 counted: 3 of 5 are 60 %
    assert "P1 Demo AR-AFFF 3x6 volume Quayside store 5.00 gal 2.00 gal −3.00 gal −60.00 %" in page
    assert "above: chief" in page
    assert "Not counted 1 that the book has there, and nobody looked at: P2" in page
    _explain(chief, row, pails[1])
    assert "Everything is explained." in words(logistics.get(opened["Location"]))
    done = chief.post(reverse("inventory_close", args=[row.pk]), {"reason": "one leak"}, follow=True)
    result = words(done)
    assert f"Signed 2026-06-15 06:15 (just now) by {cast.people[Role.CHIEF].username}: one leak" in result
    assert "leak: a split seam above the limit" in result
    _both_ways(chief, row)


def _explain(chief: Client, row: Inventory, pail: Container) -> None:
    address = reverse("inventory_volume_difference", args=[row.pk, pail.pk])
    form = {"entry_id": str(new_id()), "explanation": "leak", "reason": "a split seam"}
    preview = words(chief.post(address, form))
    assert "Not entered yet." in preview
    assert "3.00 gal of Demo AR-AFFF 3x6, lot AR-1 from P1 to leak" in preview
    assert not Movement.objects.filter(kind="lost").exists()
    chief.post(address, {**form, "confirm": "yes"})
    chief.post(address, {**form, "confirm": "yes"})
    assert Movement.objects.filter(kind="lost").count() == 1, "a second tap books nothing"


def _both_ways(chief: Client, row: Inventory) -> None:
    """The result leads to the movement, and the movement to the inventory."""
    movement = InventoryResult.objects.exclude(movement=None).get().movement_id
    address = reverse("movement", args=[movement])
    assert f'href="{address}"' in chief.get(reverse("inventory", args=[row.pk])).content.decode()
    assert f'href="{reverse("inventory", args=[row.pk])}"' in chief.get(address).content.decode()


def test_the_workbook_of_the_result_has_numbers(cast: Cast, as_role: Any, tank: Container, clock: Any) -> None:
    taking = Taking(cast, Scope(cast.vehicle))
    taking.see(tank, COUNTED)
    taking.to_explaining()
    taking.explain(tank, Explanation.LEAK)
    taking.close(reason="a leak")
    clock(300)
    answer = as_role(Role.OBSERVER).get(page_of(taking) + "?export=xlsx")
    book = load_workbook(io.BytesIO(answer.getvalue()))
    headings, row = (list(each) for each in book.worksheets[0].iter_rows(values_only=True))
    told = dict(zip(headings, row, strict=True))
    assert told["Label code"] == "T1"
    assert told["Book [gal]"] == pytest.approx(TELLTALE / GAL, abs=0.005)
    assert told["Counted [gal]"] == pytest.approx(COUNTED / GAL, abs=0.005)
    assert told["Explanation"] == "leak"
    about = dict(book["About"].iter_rows(values_only=True, max_col=2))
    assert about["Signed by"] == cast.people[Role.CHIEF].username


def test_every_count_is_shown_once_confirmed(cast: Cast, as_role: Any, tank: Container, clock: Any) -> None:
    taking = Taking(cast, Scope(cast.vehicle))
    taking.see(tank, COUNTED, Role.CREW)
    address = reverse("inventory_counts", args=[taking.inventory.pk])
    client = as_role(Role.CHIEF)
    assert client.get(address)["Location"] == page_of(taking)
    taking.to_explaining()
    clock(130)
    page = words(client.get(address))
    assert f"T1 seen measured with a stick 16.99 gal {cast.people[Role.CREW].username} counting" in page  # 64,321 mL
    assert f"16.99 gal {cast.people[Role.OFFICER].username} second person confirms" in page


def test_what_is_entered_late_is_said_on_the_signed_result(
    cast: Cast, as_role: Any, tank: Container, clock: Any
) -> None:
    taking = Taking(cast, Scope(cast.vehicle))
    taking.see(tank, COUNTED)
    taking.to_explaining()
    taking.explain(tank, Explanation.LEAK)
    taking.close(reason="a leak")
    clock(300)
    client = as_role(Role.LOGISTICS)
    assert "Entered since" not in words(client.get(page_of(taking)))
    after = Entry(cast.department, cast.acting("crew"), at(250), happened_at=at(245).at)
    movements.use(after, container=tank, ml=100, account=Account.INCIDENT)
    assert "Entered since" not in words(client.get(page_of(taking))), "it happened after the count"
    late = Entry(cast.department, cast.acting("crew"), at(260), happened_at=at(5).at)
    movements.use(late, container=tank, ml=100, account=Account.INCIDENT)
    assert "Entered since, and it had happened before the count" in words(client.get(page_of(taking)))


def test_what_was_poured_over_is_booked_by_the_other_containers_code(
    cast: Cast, as_role: Any, tank: Container, pails: list[Container], clock: Any
) -> None:
    taking = Taking(cast)
    taking.see(tank, TELLTALE + PAIL_ML)
    taking.see(pails[0], 0)
    taking.to_explaining()
    clock(130)
    address = reverse("inventory_volume_difference", args=[taking.inventory.pk, pails[0].pk])
    form = {"entry_id": str(new_id()), "explanation": "unbooked pour", "into": "t1", "reason": "topped up"}
    client = as_role(Role.CHIEF)
    assert "5.00 gal of Demo AR-AFFF 3x6, lot AR-1 from P0 to T1" in words(client.post(address, form))
    client.post(address, {**form, "confirm": "yes"})
    tank.refresh_from_db()
    assert tank.contents_ml == TELLTALE + PAIL_ML
    assert {row.code for row in InventoryResult.objects.all()} == {"P0", "T1"}
    page = words(client.get(page_of(taking)))
    assert "P0 : poured over and not booked, topped up" in page
    again = words(client.post(address, {**form, "entry_id": str(new_id())}, follow=True))
    assert "P0 has no difference of its volume to explain now." in again


def test_misread_is_a_button_of_the_difference(cast: Cast, as_role: Any, tank: Container, clock: Any) -> None:
    taking = Taking(cast, Scope(cast.vehicle))
    taking.see(tank, COUNTED)
    taking.to_explaining()
    clock(130)
    client = as_role(Role.LOGISTICS)
    page = client.get(reverse("inventory_volume_difference", args=[taking.inventory.pk, tank.pk])).content.decode()
    button = reverse("inventory_misread", args=[taking.inventory.pk, tank.pk])
    assert f'action="{button}"' in page
    after = words(client.post(button, follow=True))
    assert "Two people look at it again." in after
    assert "Count it at vehicle 201" in after


def test_an_unreadable_one_is_matched_or_taken_in(
    cast: Cast, as_role: Any, pails: list[Container], clock: Callable[[float], None]
) -> None:
    taking = Taking(cast, Scope(cast.station, whole=False))
    taking.see(pails[0])
    count = taking.find("Quayside store")
    taking.end_counting()
    taking.same_again()
    taking.confirm()
    clock(130)
    client = as_role(Role.CHIEF)
    match = reverse("inventory_match", args=[taking.inventory.pk, count.pk])
    page = words(client.get(match))
    assert "P1 Demo AR-AFFF 3x6" in page
    assert "P0 Demo" not in page, "it was seen with its own label"
    wrong = client.post(match, {"container": pails[0].pk})
    assert "is none of those offered" in words(wrong)
    take_in = reverse("inventory_take_in", args=[taking.inventory.pk, count.pk])
    form = {
        "entry_id": str(new_id()),
        "code": "N-1",
        "kind": "pail",
        "size_number": "5",
        "size_unit": "gal",
        "concentrate": cast.ar.pk,
        "lot": "",
        "reason": "left by a neighbor",
    }
    preview = words(client.post(take_in, form))
    assert "N-1 put at Quayside store" in preview
    assert "N-1 quarantined" in preview
    client.post(take_in, {**form, "confirm": "yes"})
    assert Container.objects.get(code="N-1").quarantined
    assert "Found without a label" not in words(client.get(page_of(taking)))
    assert "N-1" not in words(client.get(page_of(taking))).split("Not counted")[-1], "it was counted"


def test_what_is_due_is_said_on_the_list(cast: Cast, as_role: Any, pails: list[Container]) -> None:
    client = as_role(Role.LOGISTICS)
    assert "3 containers were not counted within the policy’s interval" in words(client.get(reverse("inventories")))
    Taking(cast).see(pails[0], minute=0)
    page = words(client.get(reverse("last_counted") + "?standing=due"))
    assert "P1" in page
    assert "P0" not in page


def test_the_crew_finds_its_sheet_and_the_container_its_last_count(
    cast: Cast, as_role: Any, pails: list[Container]
) -> None:
    client, unit = as_role(Role.CREW), reverse("crew_unit", args=[cast.unit.pk])
    vessel = reverse("container", args=[pails[0].pk])
    assert "Count for the inventory" not in words(client.get(unit))
    assert "Counted last in no inventory" in words(client.get(vessel))
    taking = Taking(cast)
    taking.see(pails[0], minute=0)
    assert f'href="{place_of(taking, "Engine 1")}"' in client.get(unit).content.decode()
    assert "Count for the inventory" not in words(as_role(Role.OBSERVER).get(unit))
    said = f"Counted last 2026-06-15 06:00 (just now) by {cast.people[Role.CREW].username}, inventory"
    assert said in words(client.get(vessel))


def test_an_empty_department_says_so(cast: Cast, as_role: Any) -> None:
    page = words(as_role(Role.CREW).get(reverse("inventories")))
    assert "Nothing to show here." in page
    assert "Open an inventory" not in page


def test_a_count_late_in_the_form_is_a_count_of_its_moment(
    cast: Cast, as_role: Any, tank: Container, clock: Any
) -> None:
    taking = Taking(cast)
    clock(30)
    spot = taking.spot("vehicle 201")
    address = reverse("inventory_count", args=[taking.inventory.pk, spot.pk, tank.pk])
    form = count_form("gauge", volume_number="20", counted_at="2026-06-15T06:10")
    assert as_role(Role.CREW).post(address, form).status_code == 302
    row = Count.objects.get()
    assert (row.counted_at, row.recorded_at) == (at(10).at, at(30).at)
    assert Seen(row.entry, spot.pk, Found.SEEN).counted_at is None


# -- many differences on one page --------------------------------------------------------------------------------------


@pytest.fixture
def leaking(cast: Cast, tank: Container, pails: list[Container], clock: Any) -> Taking:
    """A tank and a pail with less in them than the book has, and a pail that was not found."""
    taking = Taking(cast)
    taking.see(tank, COUNTED)
    taking.see(pails[0], PAIL_ML - 1_000)
    taking.miss(pails[1])
    taking.to_explaining()
    clock(130)
    return taking


def explaining(taking: Taking) -> str:
    return reverse("inventory_explain", args=[taking.inventory.pk])


def test_one_cause_is_set_in_every_row_that_it_explains(
    as_role: Any, leaking: Taking, tank: Container, pails: list[Container]
) -> None:
    client, entry = as_role(Role.CHIEF), str(new_id())
    assert explaining(leaking) in client.get(page_of(leaking)).content.decode()
    kept = {"entry_id": entry, f"words_place_{pails[1].pk}": "looked twice", "incident": "26-9"}
    page = client.post(explaining(leaking), {**kept, "all_cause": "leak", "all_words": "lids", "apply": "every"})
    assert "“leak” set in 2 rows; nothing is entered yet." in words(page)
    seal = re.search(rf'value="seal_{pails[0].pk}".*?</tr>', page.content.decode(), re.DOTALL)
    assert seal
    assert re.findall(r'class="number"><span>(.*?)</span>', seal[0]) == ["sealed", "opened", ""], "no volume there"
    drawn = page.content.decode()
    for row in (f"volume_{tank.pk}", f"volume_{pails[0].pk}"):
        assert re.search(rf'name="cause_{row}".*?value="leak" selected', drawn, re.DOTALL)
        assert re.search(rf'name="words_{row}" value="lids"', drawn)
    assert 'value="looked twice"' in drawn
    assert entry in drawn
    page = words(client.post(explaining(leaking), {"all_cause": "leak", "apply": "chosen"}))
    assert "No row is chosen" in page
    chosen = {"chosen": [f"place_{pails[1].pk}", f"volume_{tank.pk}"], "all_cause": "leak", "apply": "chosen"}
    page = words(client.post(explaining(leaking), chosen))
    assert "“leak” set in 1 row; nothing is entered yet. It does not explain how these differ: P1 (place)." in page
    assert "choose one first" in words(client.post(explaining(leaking), {"apply": "every"}))
    assert not InventoryResult.objects.exists()


def test_many_are_seen_and_booked_at_once(
    as_role: Any, leaking: Taking, tank: Container, pails: list[Container]
) -> None:
    client = as_role(Role.CHIEF)
    form = {
        "entry_id": str(new_id()),
        f"cause_volume_{tank.pk}": "leak",
        f"words_volume_{tank.pk}": "a weeping valve",
        f"cause_place_{pails[1].pk}": "not found",
        f"words_place_{pails[1].pk}": "",
    }
    said = words(client.post(explaining(leaking), form))
    assert "No words were read: the difference is above the policy’s limit, so say what happened." in said
    form[f"words_place_{pails[1].pk}"] = "looked twice"
    seen = words(client.post(explaining(leaking), form))
    assert "from T1 to leak" in seen
    assert "from P1 to inventory difference" in seen
    assert not InventoryResult.objects.exists()
    after = words(client.post(explaining(leaking), {**form, "confirm": "yes"}, follow=True))
    assert "T1 : leak, a weeping valve" in after
    assert InventoryResult.objects.count() == 2
    again = words(client.post(explaining(leaking), {**form, "confirm": "yes"}, follow=True))
    assert "Nothing of it is left to be explained now." in again
    late = {**form, f"cause_volume_{pails[0].pk}": "leak", "confirm": "yes"}
    assert "2 rows of those read cannot be booked any more" in words(client.post(explaining(leaking), late))
    assert InventoryResult.objects.count() == 2


def test_who_may_not_sign_is_offered_only_what_is_within_the_limit(
    as_role: Any, leaking: Taking, pails: list[Container]
) -> None:
    client = as_role(Role.LOGISTICS)
    page = client.get(explaining(leaking)).content.decode()
    assert f"cause_volume_{pails[0].pk}" in page  # 1 L
    assert f"cause_place_{pails[1].pk}" not in page
    assert "A chief signs what is above the limit." in page


def test_the_page_of_many_differences_asks_no_more_for_more_rows(cast: Cast, as_role: Any, clock: Any) -> None:
    counts = []
    client = as_role(Role.CHIEF)
    for few in (2, 6):
        clock(0)
        made = [stand(cast, cast.pail(code=f"Q{few}{n}"), PAIL_ML, sealed=True) for n in range(few)]
        taking = Taking(cast, Scope(cast.station, whole=False))
        for each in made:
            taking.see(each, PAIL_ML - 1_000)
        taking.to_explaining()
        clock(130)
        client.get(explaining(taking))
        with CaptureQueriesContext(connection) as caught:
            page = client.get(explaining(taking)).content.decode()
        assert page.count('name="chosen"') == 2 * few  # its volume and its seal
        counts.append(len(caught))
        abandon(
            cast.department, inventory=taking.inventory, reason="over", acting=cast.acting(Role.CHIEF), clock=at(140)
        )
    assert counts[0] == counts[1]
