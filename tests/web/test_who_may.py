"""Who may open and change what: every address, role and method, and every action, by hand-written tables."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from importlib import import_module
from inspect import isfunction, signature
from pkgutil import iter_modules
from typing import Any, NamedTuple
from unittest import mock
from urllib.parse import urlencode
from uuid import UUID, uuid4

import pytest
from django.core.exceptions import ObjectDoesNotExist
from django.forms import ModelChoiceField
from django.test import TestCase
from django.urls import reverse

from readiness import actions
from readiness.actions import (
    acceptances,
    disposals,
    evidence,
    hand_over_notes,
    handed_over,
    inventories,
    loans,
    movements,
    pallets,
    people,
    permissions,
    policies,
    refills,
    settlements,
    tablets,
    transfers,
)
from readiness.actions.after_use import Used, record_after_use
from readiness.actions.change_overs import change_over
from readiness.actions.check_differences import Cause, settle_difference
from readiness.actions.checks import CheckDraft, record_check
from readiness.actions.concentrates import CONCENTRATES, GROUPS
from readiness.actions.counts import Proposed, Seen, propose, record_counts
from readiness.actions.deficiencies import assign_deficiency
from readiness.actions.deliveries import Arrived, Delivery, receive_delivery, receive_lots
from readiness.actions.differences import Newcomer, Reason, explain, explain_many, match_count, take_into_book
from readiness.actions.drafts import Refused
from readiness.actions.duties import DUTIES
from readiness.actions.fleet_records import APPLIANCES, UNITS, VEHICLES
from readiness.actions.handed_over_counted import open_from_sheet
from readiness.actions.handed_over_undone import undo_sheet
from readiness.actions.hoses import HOSES
from readiness.actions.imports import import_workbook, take_reading
from readiness.actions.inspections import INSPECTION_RULES, log_inspection, raise_what_was_found
from readiness.actions.keeping import EDIT, Desk, NotKept, Noun
from readiness.actions.label_sheets import LABEL_SHEETS
from readiness.actions.labels import print_labels, withdraw_label
from readiness.actions.lines import LINES, SETUPS
from readiness.actions.listings import FUELS, LISTINGS
from readiness.actions.lots import recall, withdraw_recall
from readiness.actions.movements import Entry
from readiness.actions.pallets import PALLETS
from readiness.actions.par import PAR_LINES, STORE_LIMITS, copy_par, take_par_from_aboard
from readiness.actions.partners import PARTNERS
from readiness.actions.permissions import MAY, OWNER, Acting, NotAllowed
from readiness.actions.photos import keep_photo
from readiness.actions.policies import POLICIES, change_policy
from readiness.actions.questions import answer_question
from readiness.actions.raised_deficiencies import (
    FollowUp,
    close_deficiency,
    follow_up,
    log_work,
    raise_deficiency,
    reopen_deficiency,
)
from readiness.actions.stations import STATIONS
from readiness.actions.submissions import BadBody, Sent, settle, submit
from readiness.actions.supply import SUPPLY_SHEETS, OrderFacts, close_order, note_arrival, place_order
from readiness.actions.uploads import take_in
from readiness.engineering.sample_limits import L1
from readiness.models import HandedOver, Policy, Role, User
from readiness.models.inventories import Explanation, Found, Method
from readiness.models.movements import Account, Identity
from readiness.models.raised_deficiencies import Effect
from readiness.reports.handed_over import layout_of
from readiness.web.changes import SEE_CHANGES
from readiness.web.column_fields import RigField
from readiness.web.deficiencies import ThingField
from readiness.web.entries import CodeField, CodesField, OwnerField
from readiness.web.refills import TargetField
from readiness.workbooks.guard import NotAWorkbook
from readiness.workbooks.rows import Reading
from readiness.workbooks.sheets import SHEETS
from tests.cast import CLOCK, D0, PAIL_ML, SIX
from tests.web.doors import (
    CHIEF,
    DOORS,
    DRAWN_ON,
    FAR,
    FILLED,
    HANDS,
    OFFICERS,
    PIXEL,
    SHARED,
    STOCK,
    Door,
    House,
    Posted,
    Way,
    World,
    browser,
    everything,
    filled,
    forms_of,
    patterns,
    undone,
    words,
)

METHODS = ("GET", "POST")
SIGN_IN = "/sign-in/?next="


def test_every_address_stands_in_the_table_and_nothing_else_does():
    assert set(DOORS) == set(patterns())


def test_every_number_in_an_address_is_of_a_noun_that_the_table_names():
    numbered = {name for name, pattern in patterns().items() if pattern.pattern.converters}
    assert numbered == {name for name, door in DOORS.items() if door.of}


# -- role × address × method × department ------------------------------------------------------------------------------


class WhoMayOpenWhat(TestCase):
    """A test for each address: all roles, a stranger, and the chief of another department, by GET and an empty POST."""

    world: World

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once; every request is undone."""
        cls.world = World()

    def status(self, user: User | None, method: str, address: str) -> Any:
        """The status; for a redirect to the sign-in page "sign in". An exception in a view fails the test here."""
        with undone():
            answer = browser(user).generic(method, address, content_type="application/x-www-form-urlencoded")
        if answer.status_code == 302 and answer["Location"].startswith(SIGN_IN):
            return "sign in"
        return answer.status_code

    def found(self, name: str) -> dict[tuple[str, str], Any]:
        """What everybody gets."""
        near, far = self.world.near, self.world.far
        address = near.address(name)
        people: dict[str, User | None] = {role.value: near.cast.people[role] for role in Role}
        people |= {"stranger": None, "other department": far.chief()}
        return {(who, method): self.status(user, method, address) for who, user in people.items() for method in METHODS}


def wanted(door: Door) -> dict[tuple[str, str], Any]:
    """What everybody should get, by the table."""
    ways = {"GET": door.get, "POST": door.post}
    found: dict[tuple[str, str], Any] = {}
    for method, way in ways.items():
        for role in Role:
            found[role.value, method] = _of_role(way, role)
        found["stranger", method] = _of_role(way, Role.CHIEF) if door.public else "sign in"
        owned = door.of and door.of not in SHARED
        found["other department", method] = 404 if owned and way else _of_role(way, Role.CHIEF)
    return found


def _of_role(way: Way | None, role: Role) -> int:
    if way is None:
        return 405
    return way.status if role in way.roles else 403


def _case(name: str) -> Callable[[WhoMayOpenWhat], None]:
    def test(self: WhoMayOpenWhat) -> None:
        assert self.found(name) == wanted(DOORS[name])

    return test


for _name in DOORS:
    setattr(WhoMayOpenWhat, f"test_{_name}", _case(_name))


# -- forms that are filled in ------------------------------------------------------------------------------------------

ONLY_ONESELF = {
    "choose_department",
    "choose_units",
    "my_unit",
}  # kept in the session: nothing in the department changes


class WhoMayDoWhat(TestCase):
    """A test for each form, filled in so that it is done: by whom it may be, and by nobody else."""

    world: World

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once; whatever is done is undone."""
        cls.world = World()

    def check(self, name: str) -> None:
        """Those who may change something; others are refused with 403, outsiders with 404, and nothing is changed."""
        near = self.world.near
        address, posted = filled(browser(near.chief()), near, name)
        before, way = everything(), DOORS[name].post
        assert way is not None
        for role in Role:
            with undone():
                answer = browser(near.cast.people[role]).post(address, posted)
                changed = everything() != before
            done = role in way.roles
            assert (answer.status_code in (200, 302)) == done, f"{role}: {answer.status_code}"
            assert changed == (done and name not in ONLY_ONESELF), f"{role}: {_said(answer)}"
        self.refused_outside(name, address, posted, before)

    def refused_outside(self, name: str, address: str, posted: Posted, before: Any) -> None:
        """A stranger has to sign in first; for the chief of another department the record does not exist."""
        with undone():
            answer = browser(None).post(address, posted)
            assert everything() == before
        assert answer.status_code == 302
        assert answer["Location"].startswith(SIGN_IN)
        if DOORS[name].of:
            with undone():
                answer = browser(self.world.far.chief()).post(address, posted)
                assert everything() == before
            assert answer.status_code == 404


def _said(answer: Any) -> str:
    """The sentences of a form that came back."""
    forms = forms_of(answer) if answer.context else {}
    return f"{answer.status_code} {[dict(form.errors) for form in forms.values()]}"


def _done_case(name: str) -> Callable[[WhoMayDoWhat], None]:
    def test(self: WhoMayDoWhat) -> None:
        self.check(name)

    return test


for _name in sorted(FILLED):
    setattr(WhoMayDoWhat, f"test_{_name}", _done_case(_name))


def test_every_form_is_filled_in_somewhere():
    unfilled = {name for name, door in DOORS.items() if door.post and not door.public} - set(FILLED)
    assert unfilled == {
        "password_change",  # tests/web/test_accounts.py
        "withdraw_acceptance",  # has no field
        "workbook",  # takes a file: below, and tests/web/test_workbooks.py
        "workbook_confirm",
        "sheets",  # the same: tests/web/test_handed_over.py
        "sheet_compare",  # asks for a sheet that is a newer one
        "sheet_inventory",  # asks for a sheet that was compared: tests/web/test_handed_over.py
        "sheet_give_up",  # asks for work that has said nothing for ten minutes
        "settle_difference",  # a button of a check's result: tests/web/test_check_ways.py
        "queue_hold",  # comes out of a device's queue: tests/web/test_queue.py
        "refill_short",  # a button of the guard's no: tests/web/test_refills.py
        *(f"reference_{one}_{verb}" for one in RETIRABLE for verb in ("retire", "back")),  # have no field
        "par_begin",  # for a unit without a list: tests/web/test_par.py
    }


VERBS = ("add", "change")
RETIRABLE = (
    *("listing", "fuel", "duty", "unit", "vehicle", "foam_line", "station"),
    *("par_line", "store_limit", "partner", "pallet", "hose_size", "label_sheet", "inspection_rule"),
)


# -- another department's numbers and names ----------------------------------------------------------------------------


def foreign(form: Any, far: House) -> dict[str, str]:
    """The fields that name a record, each with what would name the other department's."""
    found: dict[str, str] = {}
    for name, field in form.fields.items():
        if field.disabled:
            continue
        value = _foreign(field, far)
        if value:
            found[form.add_prefix(name)] = value
    return found


def _foreign(field: Any, far: House) -> str:
    if isinstance(field, ModelChoiceField):  # several, and the product's own kinds, derive from it
        model = field.queryset.model
        if model is User:
            return str(far.cast.people[Role.CREW].pk)
        return str(next(each.pk for each in far.records().values() if type(each) is model))
    if isinstance(field, OwnerField | RigField | ThingField):
        return f"unit-{far.unit.pk}"
    if isinstance(field, CodeField | CodesField | TargetField) and not getattr(field, "new", False):
        return far.container.code
    return ""


class NamesOfOthers(TestCase):
    """Whatever names another department's record is refused with a sentence, and changes nothing."""

    world: World

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once; whatever is done is undone."""
        cls.world = World()

    def test_every_field_of_every_form_refuses_them(self):
        near, far = self.world.near, self.world.far
        client, before = browser(near.chief()), everything()
        tried: set[tuple[str, str]] = set()
        for name in sorted(FILLED):
            address, posted = filled(client, near, name)
            forms = forms_of(client.get(near.address(DRAWN_ON[name]) if name in DRAWN_ON else address))
            for field, value in {
                each: at for form in forms.values() for each, at in foreign(form, far).items()
            }.items():
                if name in DRAWN_ON and field not in posted:
                    continue  # of another form of that page
                with undone():
                    answer = client.post(address, {**posted, field: [value]})
                    assert everything() == before, (name, field, value)
                said = [sentence for form in forms_of(answer).values() for sentence in form.errors.get(field, [])]
                assert answer.status_code == 200, (name, field)
                assert said, (name, field)
                assert all(len(sentence) > 20 for sentence in said)
                assert FAR not in "".join(said).replace(value, "")
                tried.add((name, field))
        assert {name for name, _ in tried} == NAMING, "a form began or ceased to name records: see that it is tried"
        assert len(tried) >= 45

    def test_the_choice_before_a_form_refuses_them(self):
        near, far = self.world.near, self.world.far
        asked = {
            "reference_duty_add": {"unit": far.unit.pk, "kind": "spill"},
            "reference_foam_line_add": {"owner": f"unit-{far.unit.pk}"},
            "reference_setup_add": {"owner": f"vehicle-{far.vehicle.pk}"},
            "reference_par_line_add": {"unit": far.unit.pk},
        }
        client, before = browser(near.chief()), everything()
        for name, query in asked.items():
            address, posted = filled(client, near, name)
            answer = client.post(f"{address.split('?')[0]}?{urlencode(query)}", posted)
            assert answer.status_code == 200
            assert any(form.errors for form in forms_of(answer).values()), name
            assert FAR not in answer.content.decode()
        assert everything() == before

    def test_a_check_with_things_of_another_department_is_refused(self):
        near, far = self.world.near, self.world.far
        client = browser(near.chief())
        address, posted = filled(client, near, "check_unit")
        before = everything()
        for key, value in ((f"c{far.tank.pk}", "good"), (f"l{far.line.pk}", "good"), (f"g{far.container.pk}", "good")):
            answer = client.post(address, {**posted, key: value})
            assert answer.status_code == 200
            assert "was changed in the book while you looked" in answer.content.decode()
        assert everything() == before

    def test_the_other_departments_crew_cannot_be_chosen_as_ones_own(self):
        client = browser(self.world.near.chief())
        assert client.post(reverse("my_unit"), {"unit": self.world.far.unit.pk}).status_code == 404
        assert client.post(reverse("my_unit"), {"unit": "9" * 30}).status_code == 404
        assert client.get(reverse("my_unit")).status_code == 200, "nothing is chosen"

    def test_two_numbers_in_an_address_belong_together(self):
        near, far = self.world.near, self.world.far
        client, before = browser(near.chief()), everything()
        doubled = [name for name in DOORS if len(near.ids(DOORS[name].of)) > 1 and DOORS[name].of not in SHARED]
        assert len(doubled) == 10 + 9 + 2  # those of inventories
        for name in doubled:
            own, other = near.ids(DOORS[name].of), far.ids(DOORS[name].of)
            for key in own:
                address = reverse(name, kwargs={**own, key: other[key]})
                for method, way in (("get", DOORS[name].get), ("post", DOORS[name].post)):
                    assert getattr(client, method)(address).status_code == (404 if way else 405)
        assert everything() == before

    def test_a_record_of_others_looks_like_one_that_never_was(self):
        near, far = self.world.near, self.world.far
        client = browser(near.chief())
        for name, door in DOORS.items():
            if not door.of or door.of in SHARED or not door.get:
                continue
            other = far.ids(door.of)
            never = {key: uuid4() if isinstance(value, UUID) else 987_654_321 for key, value in other.items()}
            addresses = [reverse(name, kwargs=ids) for ids in (other, never)]
            pages = [_without_token(client.get(each).content).replace(each, "") for each in addresses]
            assert pages[0] == pages[1], name

    def test_no_page_and_no_workbook_names_another_department(self):
        near, far = self.world.near, self.world.far
        client, other = browser(near.chief()), browser(far.chief())
        named = 0
        for name, door in DOORS.items():
            if not door.get:
                continue
            queries = ("", "?export=xlsx", f"?q={FAR[:4]}", f"?station={far.cast.station.pk}&unit={far.unit.pk}")
            for query in queries:
                said = words(client.get(near.address(name) + query))
                assert FAR not in said, (name, query)
            named += FAR in words(other.get(far.address(name)))
        assert named > 50, "the far department reads its own name"

    def test_a_session_that_names_the_other_department_gets_ones_own(self):
        client = browser(self.world.near.chief())
        session = client.session
        session["department"] = self.world.far.department.pk
        session["unit"] = self.world.far.unit.pk
        session.save()
        assert client.get(reverse("account")).context["here"].department == self.world.near.department
        assert client.get(self.world.far.address("unit")).status_code == 404
        assert client.get(reverse("my_unit")).status_code == 200


def _without_token(body: bytes) -> str:
    return re.sub(r'name="csrfmiddlewaretoken" value="[^"]*"', "", body.decode())


NAMING = {  # forms with fields that name records
    *("assign_deficiency", "deficiency_follow_up", "invite", "change_over", "raise_deficiency"),
    *("order_place", "reference_supply_sheet_add", "tablets"),
    *("foam_test_add", "line_test_add"),
    *("receive", "pour", "move", "use", "empty", "open", "flush", "inspect"),
    *("after_use", "refill"),
    *("mark_mixed", "mark_diluted", "quarantine", "release"),
    *("send_transfer", "receive_transfer", "lose_transfer"),
    *("lend", "take_back", "borrow", "replaced", "give_back", "set_aside", "dispose", "settle_pile"),
    *("reference_pallet_add", "reference_pallet_change"),
    *("inventory_open", "inventory_found", "inventory_match", "inventory_take_in", "inventory_volume_difference"),
    *(
        f"reference_{one}_{verb}"
        for one in (
            "listing",
            "duty",
            "unit",
            "vehicle",
            "appliance",
            "setup",
            "par_line",
            "store_limit",
            "inspection_rule",
        )
        for verb in VERBS
    ),
    *(f"reference_{one}_{verb}" for one in ("foam_line", "compatibility_group") for verb in VERBS),
}


# -- every action by every role ----------------------------------------------------------------------------------------

DRILLERS = frozenset({Role.INSTRUCTOR, Role.LOGISTICS, Role.CHIEF})
TESTERS = OFFICERS | {Role.INSTRUCTOR}


class Act(NamedTuple):
    """An action: the key of MAY that it asks, who may by the product's design, and how it is called.

    call gets the house that acts, who acts, and the house whose records are named: another one's must be refused.
    raises: what the action answers whoever may: here a file that is none. names: whether it names any record.
    ready: what must be so beforehand, in the house whose records are named.
    """

    key: str
    roles: frozenset[Role]
    call: Callable[[House, Acting, House], object]
    raises: type[Exception] | None = None
    names: bool = True
    ready: Callable[[House], object] = repr


def entry(here: House, acting: Acting) -> Entry:
    return Entry(here.department, acting, CLOCK, reason="as the test says")


def _dept(here: House, acting: Acting) -> dict[str, Any]:
    return {"department": here.department, "acting": acting, "clock": CLOCK}


def _verb(verb: Callable[..., Any], noun: str = "container", **more: Any) -> Callable[[House, Acting, House], object]:
    """A verb of the ledger with one container."""
    return lambda here, acting, of: verb(entry(here, acting), container=getattr(of, noun), **more)


KEPT_BY = {  # records of who moves stock
    "partner": ("move", STOCK),
    "pallet": ("dispose", STOCK),
    "par line": ("edit par lists and store limits", STOCK),
    "store limit": ("edit par lists and store limits", STOCK),
    "supply sheet": ("purchase", STOCK),
}


def _keeps(noun: Any, record: str) -> dict[str, Act]:
    """Saving, retiring and bringing back a reference record."""

    def row(of: House) -> Any:
        return of.records()[record]

    def desk(here: House, acting: Acting) -> Desk:
        return Desk(here.department, acting, CLOCK)

    def retire(here: House, acting: Acting, of: House) -> object:
        try:
            return noun.retire(desk(here, acting), row(of))
        except NotKept:
            return "it is still needed, which only those who may are told"

    def gone(of: House) -> object:
        return type(row(of)).objects.filter(pk=row(of).pk).update(**{noun.retired: D0})

    def back(here: House, acting: Acting, of: House) -> object:
        return noun.bring_back(desk(here, acting), row(of))

    key, who = KEPT_BY.get(noun.name, (EDIT, CHIEF))
    found = {
        f"{noun.name}.save": Act(
            key, who, lambda here, acting, of: noun.save(desk(here, acting), noun.read(row(of)), row(of))
        )
    }
    if noun.retired:
        found[f"{noun.name}.retire"] = Act(key, who, retire)
        found[f"{noun.name}.bring_back"] = Act(key, who, back, ready=gone)
    return found


NOUNS = {
    "concentrate": CONCENTRATES,
    "compatibility_group": GROUPS,
    "duty": DUTIES,
    "unit": UNITS,
    "vehicle": VEHICLES,
    "appliance": APPLIANCES,
    "foam_line": LINES,
    "setup": SETUPS,
    "hose_size": HOSES,
    "listing": LISTINGS,
    "fuel": FUELS,
    "station": STATIONS,
    "partner": PARTNERS,
    "pallet": PALLETS,
    "par_line": PAR_LINES,
    "store_limit": STORE_LIMITS,
    "supply_sheet": SUPPLY_SHEETS,
    "inspection_rule": INSPECTION_RULES,
    "label_sheet": LABEL_SHEETS,
}


def _delivery(of: House) -> Delivery:
    return Delivery(("N-1",), 1000, of.cast.lot, "pail", 1000, sealed=True, owner=of.cast.station)


def _policy(here: House, acting: Acting, of: House) -> object:
    facts = POLICIES.read(Policy.objects.get(department=here.department))
    return change_policy(Desk(here.department, acting, CLOCK), facts._replace(check_interval_h=48))


def _between(verb: Callable[[Entry, House], object]) -> Callable[[House, Acting, House], object]:
    """An entry with the acting house's own partner, naming containers of a house."""
    return lambda here, acting, of: verb(entry(here, acting)._replace(partner=here.partner), of)


def _newcomer(of: House) -> people.Newcomer:
    return people.Newcomer("ada@quay.example", "Ada", "Finch", Role.CREW, of.cast.station)


def _seen(of: House, container: Any) -> list[Seen]:
    spot = of.inventories.counting.inventory.places.get()
    return [Seen(uuid4(), spot.pk, Found.SEEN, container.pk, method=Method.SEALED)]


def _explained(here: House, acting: Acting, of: House, words: str = "") -> object:
    reason = Reason(Explanation.LEAK, words)
    values = {"inventory": of.inventories.explaining.inventory, "container": of.inventories.less}
    return explain(entry(here, acting), what="volume", reason=reason, **values)


def _explained_many(here: House, acting: Acting, of: House) -> object:
    reasons = {(of.inventories.less.pk, "volume"): Reason(Explanation.LEAK, "")}
    return explain_many(entry(here, acting), inventory=of.inventories.explaining.inventory, reasons=reasons)


def _newcomer_pail(of: House) -> Newcomer:
    return Newcomer("N-9", "pail", PAIL_ML, of.cast.ar, of.cast.lot, "as the test says")


def _of(of: House, stage: str) -> dict[str, Any]:
    return {"inventory": getattr(of.inventories, stage).inventory}


INVENTORY_ACTS: dict[str, Act] = {
    "inventories.open_inventory": Act(
        "inventory",
        STOCK,
        lambda here, acting, of: inventories.open_inventory(
            scope=inventories.Scope(of.inventories.free), **_dept(here, acting)
        ),
    ),
    "inventories.close_counting": Act(
        "inventory",
        STOCK,
        lambda here, acting, of: inventories.close_counting(**_of(of, "counting"), **_dept(here, acting)),
    ),
    "inventories.ask_more": Act(
        "confirm an inventory",
        OFFICERS,
        lambda here, acting, of: inventories.ask_more(containers=None, **_of(of, "confirming"), **_dept(here, acting)),
    ),
    "inventories.confirm": Act(
        "confirm an inventory",
        OFFICERS,
        lambda here, acting, of: inventories.confirm(**_of(of, "confirming"), **_dept(here, acting)),
    ),
    "inventories.close": Act(
        "inventory", STOCK, lambda here, acting, of: inventories.close(**_of(of, "settled"), **_dept(here, acting))
    ),
    "inventories.abandon": Act(
        "inventory",
        STOCK,
        lambda here, acting, of: inventories.abandon(reason="alarm", **_of(of, "counting"), **_dept(here, acting)),
    ),
    "inventories.reopen": Act(
        "inventory",
        STOCK,
        lambda here, acting, of: inventories.reopen(reason="misread", **_of(of, "closed"), **_dept(here, acting)),
    ),
    "inventories.misread": Act(
        "correct",
        STOCK,
        lambda here, acting, of: inventories.misread(
            container=of.inventories.less.pk, **_of(of, "explaining"), **_dept(here, acting)
        ),
    ),
    "counts.record_counts": Act(
        "count",
        HANDS,
        lambda here, acting, of: record_counts(
            seen=_seen(of, of.rig.pails[1]), **_of(of, "counting"), **_dept(here, acting)
        ),
    ),
    "counts.record_counts, of a container": Act(
        "count",
        HANDS,
        lambda here, acting, of: record_counts(
            seen=_seen(here, of.rig.pails[1]), **_of(here, "counting"), **_dept(here, acting)
        ),
    ),
    "counts.propose": Act(
        "inventory",
        STOCK,
        lambda here, acting, of: propose(
            scope=inventories.Scope(here.cast.station, whole=False),
            proposed=[Proposed(of.inventories.moved, PAIL_ML)],
            words="sheet of June",
            **_dept(here, acting),
        ),
    ),
    "differences.explain": Act("correct", STOCK, _explained),
    "differences.explain_many": Act("correct", STOCK, _explained_many),
    "differences.match_count": Act(
        "correct",
        STOCK,
        lambda here, acting, of: match_count(
            count=here.inventories.unlabelled,
            container=of.inventories.unseen,
            **_of(here, "explaining"),
            **_dept(here, acting),
        ),
    ),
    "differences.take_into_book": Act(
        "correct",
        STOCK,
        lambda here, acting, of: take_into_book(
            entry(here, acting),
            count=here.inventories.unlabelled,
            newcomer=_newcomer_pail(of),
            **_of(here, "explaining"),
        ),
    ),
}


def _at_work(what: str) -> Callable[[House], object]:
    working = {"what": what, "since": SIX.isoformat()}
    return lambda of: HandedOver.objects.filter(pk=of.sheet.pk).update(state="working", working=working)


def _sheet(verb: Callable[..., Any], **more: Any) -> Callable[[House, Acting, House], object]:
    """A verb with the house's handed-over sheet."""
    return lambda here, acting, of: verb(here.department, of.sheet, acting=acting, **more)


ACTIONS: dict[str, Act] = {
    "handed_over.send_sheet": Act(
        "workbook",
        STOCK,
        lambda here, acting, of: handed_over.send_sheet(data=b"", name="none.xlsx", **_dept(here, acting)),
        NotAWorkbook,
        names=False,
    ),
    "handed_over.choose_layout": Act(
        "workbook",
        STOCK,
        lambda here, acting, of: handed_over.choose_layout(
            handed_over=of.sheet, layout=layout_of(of.sheet), **_dept(here, acting)
        ),
    ),
    "handed_over.answer_questions": Act(
        "workbook", STOCK, _sheet(handed_over.answer_questions, answers={"code|pail": "Z-0001"})
    ),
    "handed_over.discard_sheet": Act("workbook", STOCK, _sheet(handed_over.discard_sheet)),
    "handed_over.begin_work": Act(
        "workbook", STOCK, _sheet(handed_over.begin_work, what=handed_over.TRYING, clock=CLOCK)
    ),
    "handed_over.do_work": Act(
        "workbook", STOCK, _sheet(handed_over.do_work, clock=CLOCK), ready=_at_work(handed_over.TRYING)
    ),
    "handed_over.give_up_work": Act(
        "workbook", STOCK, _sheet(handed_over.give_up_work), ready=_at_work(handed_over.TRYING)
    ),
    "handed_over.try_sheet": Act(
        "workbook", STOCK, _sheet(handed_over.try_sheet, clock=CLOCK), ready=_at_work(handed_over.TRYING)
    ),
    "handed_over.take_sheet": Act(
        "workbook", STOCK, _sheet(handed_over.take_sheet, clock=CLOCK), ready=_at_work(handed_over.TAKING)
    ),
    "handed_over.compare_sheet": Act(
        "workbook",
        STOCK,
        _sheet(handed_over.compare_sheet, clock=CLOCK),
        Refused,  # it tells of other stock
        ready=_at_work(handed_over.COMPARING),
    ),
    "handed_over_undone.undo_sheet": Act(
        "workbook",
        STOCK,
        lambda here, acting, of: undo_sheet(
            handed_over=of.sheet_done, reason="it was last year's", **_dept(here, acting)
        ),
    ),
    "handed_over_counted.open_from_sheet": Act(
        "workbook",
        STOCK,
        lambda here, acting, of: open_from_sheet(handed_over=of.sheet_done, **_dept(here, acting)),
        Refused,  # it was taken in, not compared
    ),
    "imports.take_reading": Act(
        "workbook",
        STOCK,
        lambda here, acting, of: take_reading(
            reading=Reading({sheet.key: [] for sheet in SHEETS}, [], 0), **_dept(here, acting)
        ),
        names=False,
    ),
    "acceptances.accept": Act(
        "accept",
        CHIEF,
        lambda here, acting, of: acceptances.accept(
            **_dept(here, acting), deficiency=of.deficiency, until=D0 + timedelta(days=9), note="a pail comes"
        ),
    ),
    "acceptances.withdraw": Act(
        "accept", CHIEF, lambda here, acting, of: acceptances.withdraw(**_dept(here, acting), deficiency=of.deficiency)
    ),
    "after_use.record_after_use": Act(
        "use",
        HANDS,
        lambda here, acting, of: record_after_use(
            entry(here, acting), unit=of.unit, account=Account.INCIDENT, used=(Used(of.container, 10),), lines=()
        ),
    ),
    "change_overs.change_over": Act(
        "change over",
        OFFICERS,
        lambda here, acting, of: change_over(**_dept(here, acting), unit=here.unit, vehicle=of.cast.spare_vehicle),
    ),
    "check_differences.settle_difference": Act(
        "use",
        HANDS,
        lambda here, acting, of: settle_difference(
            **_dept(here, acting), check=of.check, container=of.tank, cause=Cause.EVAPORATED
        ),
        raises=Refused,  # it reads as the book says
    ),
    "checks.record_check": Act(
        "check",
        HANDS,
        lambda here, acting, of: record_check(
            draft=CheckDraft(uuid4(), of.unit.pk, of.rig.good(), SIX), **_dept(here, acting)
        ),
    ),
    "deficiencies.assign_deficiency": Act(
        "assign",
        OFFICERS,
        lambda here, acting, of: assign_deficiency(
            **_dept(here, acting), deficiency=of.deficiency, owner=here.chief(), due_on=None
        ),
    ),
    "deficiencies.assign_deficiency, to whom": Act(
        "assign",
        OFFICERS,
        lambda here, acting, of: assign_deficiency(
            **_dept(here, acting), deficiency=here.deficiency, owner=of.chief(), due_on=None
        ),
    ),
    "deliveries.receive_lots": Act(
        "receive", STOCK, lambda here, acting, of: receive_lots(entry(here, acting), [Arrived(_delivery(of))])
    ),
    "deliveries.receive_delivery": Act(
        "receive", STOCK, lambda here, acting, of: receive_delivery(entry(here, acting), _delivery(of))
    ),
    "evidence.record_sample": Act(
        "sample",
        STOCK,
        lambda here, acting, of: evidence.record_sample(
            **_dept(here, acting), lot=of.cast.lot, taken_on=D0, passed=True
        ),
    ),
    "evidence.record_sample_result": Act(
        "sample",
        STOCK,
        lambda here, acting, of: evidence.record_sample_result(
            **_dept(here, acting), sample=of.sample, passed=True, report="R-9"
        ),
    ),
    "evidence.record_worked_test": Act(
        "line test",
        TESTERS,
        lambda here, acting, of: evidence.record_worked_test(
            **_dept(here, acting),
            line=of.line,
            concentrate=here.cast.ar,
            tested_on=D0,
            set_pct=300,
            evidence={"way": "meters", "concentrate_lpm": 3.2, "water_lpm": 96.8},
        ),
    ),
    "evidence.record_foam_test": Act(
        "line test",
        TESTERS,
        lambda here, acting, of: evidence.record_foam_test(
            **_dept(here, acting),
            line=of.line,
            concentrate=here.cast.ar,
            tested_on=D0,
            foam_ml=1000.0,
            foam_g=150.0,
            drained=[],
        ),
    ),
    "evidence.record_line_test": Act(
        "line test",
        TESTERS,
        lambda here, acting, of: evidence.record_line_test(
            **_dept(here, acting),
            line=of.line,
            concentrate=here.cast.ar,
            tested_on=D0,
            set_pct=300,
            measured_pct=310,
            passed=True,
        ),
    ),
    "evidence.record_use_of_line": Act(
        "flush",
        HANDS,
        lambda here, acting, of: evidence.record_use_of_line(**_dept(here, acting), line=of.line, at=SIX),
    ),
    "evidence.record_flush_of_line": Act(
        "flush", HANDS, lambda here, acting, of: evidence.record_flush_of_line(**_dept(here, acting), line=of.line)
    ),
    "imports.import_workbook": Act(
        "workbook",
        STOCK,
        lambda here, acting, of: import_workbook(data=b"no workbook", **_dept(here, acting)),
        NotAWorkbook,
        names=False,
    ),
    "uploads.take_in": Act(
        "workbook",
        STOCK,
        lambda here, acting, of: take_in(data=b"no workbook", dry_run=True, **_dept(here, acting)),
        NotAWorkbook,
        names=False,
    ),
    **INVENTORY_ACTS,
    "inspections.log_inspection": Act(
        "check",
        HANDS,
        lambda here, acting, of: log_inspection(
            **_dept(here, acting), rule=here.rule, thing=of.tank, passed=True, words=""
        ),
    ),
    "inspections.log_inspection, by a rule": Act(
        "check",
        HANDS,
        lambda here, acting, of: log_inspection(
            **_dept(here, acting), rule=of.rule, thing=here.tank, passed=True, words=""
        ),
    ),
    "inspections.raise_what_was_found": Act(
        "raise a deficiency",
        HANDS,
        lambda here, acting, of: raise_what_was_found(**_dept(here, acting), inspection=of.failed),
    ),
    "labels.print_labels": Act(
        "label", OFFICERS, lambda here, acting, of: print_labels(**_dept(here, acting), things=[of.line, of.container])
    ),
    "labels.withdraw_label": Act(
        "label",
        OFFICERS,
        lambda here, acting, of: withdraw_label(**_dept(here, acting), label=of.label, reason="on another pail"),
    ),
    "photos.keep_photo": Act(
        "raise a deficiency",
        HANDS,
        lambda here, acting, of: keep_photo(data=PIXEL + b"further", **_dept(here, acting)),
        names=False,
    ),
    "refills.refill": Act(
        "pour",
        HANDS,
        lambda here, acting, of: refills.refill(entry(here, acting), source=here.store_pail, target=of.tank, ml=10),
    ),
    "refills.stow": Act(
        "pour",
        HANDS,
        lambda here, acting, of: refills.stow(entry(here, acting), containers=[of.store_pail], unit=here.unit),
    ),
    "refills.stow, on a unit": Act(
        "pour",
        HANDS,
        lambda here, acting, of: refills.stow(entry(here, acting), containers=[here.store_pail], unit=of.unit),
    ),
    "refills.in_service_short": Act(
        "raise a deficiency",
        HANDS,
        lambda here, acting, of: refills.in_service_short(
            **_dept(here, acting), subject=of.unit, concentrate=here.cast.ar
        ),
    ),
    "questions.answer_question": Act(
        "close a deficiency",
        OFFICERS,
        lambda here, acting, of: answer_question(**_dept(here, acting), check=of.check, words="two of them shared it"),
    ),
    "raised_deficiencies.raise_deficiency": Act(
        "raise a deficiency",
        HANDS,
        lambda here, acting, of: raise_deficiency(
            **_dept(here, acting), subject=of.line, words="leaks", effect=Effect.LIMITED
        ),
    ),
    "raised_deficiencies.raise_deficiency, with a photo": Act(
        "raise a deficiency",
        HANDS,
        lambda here, acting, of: raise_deficiency(
            **_dept(here, acting), subject=here.line, words="leaks", effect=Effect.LIMITED, photo=of.photo
        ),
    ),
    "raised_deficiencies.log_work": Act(
        "raise a deficiency",
        HANDS,
        lambda here, acting, of: log_work(**_dept(here, acting), deficiency=of.raised, words="part ordered"),
    ),
    "raised_deficiencies.follow_up": Act(
        "close a deficiency",
        OFFICERS,
        lambda here, acting, of: follow_up(
            **_dept(here, acting), deficiency=of.raised, facts=FollowUp(here.chief(), None, "note")
        ),
    ),
    "raised_deficiencies.follow_up, by whom": Act(
        "close a deficiency",
        OFFICERS,
        lambda here, acting, of: follow_up(
            **_dept(here, acting), deficiency=here.raised, facts=FollowUp(of.chief(), None, "note")
        ),
    ),
    "raised_deficiencies.close_deficiency": Act(
        "close a deficiency",
        OFFICERS,
        lambda here, acting, of: close_deficiency(**_dept(here, acting), deficiency=of.raised, proof="new seal"),
    ),
    "raised_deficiencies.reopen_deficiency": Act(
        "close a deficiency",
        OFFICERS,
        lambda here, acting, of: reopen_deficiency(**_dept(here, acting), deficiency=of.closed_one, why="again"),
    ),
    "lots.recall": Act(
        "recall",
        STOCK,
        lambda here, acting, of: recall(**_dept(here, acting), lot=of.cast.lot, recalled_on=D0, reference="notice 7"),
    ),
    "movements.receive": Act(
        "receive",
        STOCK,
        lambda here, acting, of: movements.receive(
            entry(here, acting), container=here.emptied, lot=of.cast.lot, ml=10, place=here.cast.store
        ),
    ),
    "movements.receive, at a place": Act(
        "receive",
        STOCK,
        lambda here, acting, of: movements.receive(
            entry(here, acting), container=here.emptied, lot=here.cast.lot, ml=10, place=of.cast.store
        ),
    ),
    "movements.pour": Act(
        "pour",
        HANDS,
        lambda here, acting, of: movements.pour(entry(here, acting), source=here.container, target=of.tank, ml=10),
    ),
    "movements.pour, from": Act(
        "pour",
        HANDS,
        lambda here, acting, of: movements.pour(entry(here, acting), source=of.container, target=here.tank, ml=10),
    ),
    "movements.pour, overriding": Act(
        "override",
        OFFICERS,
        lambda here, acting, of: movements.pour(
            entry(here, acting), source=here.container, target=of.tank, ml=10, override=True
        ),
    ),
    "movements.use": Act("use", HANDS, _verb(movements.use, ml=10, account=Account.INCIDENT)),
    "movements.use, in a drill": Act("drill", DRILLERS, _verb(movements.use, ml=10, account=Account.DRILL)),
    "movements.use, disposing": Act("dispose", STOCK, _verb(movements.use, ml=10, account=Account.DISPOSAL)),
    "movements.use, as a difference": Act(
        "correct", STOCK, _verb(movements.use, ml=10, account=Account.INVENTORY_DIFFERENCE)
    ),
    "movements.use, for a partner": Act("use", HANDS, _verb(movements.use, ml=10, account=Account.PARTNER)),
    "movements.move": Act(
        "move",
        STOCK,
        lambda here, acting, of: movements.move(entry(here, acting), containers=[of.container], place=here.cast.store),
    ),
    "movements.move, to a place": Act(
        "move",
        STOCK,
        lambda here, acting, of: movements.move(entry(here, acting), containers=[here.container], place=of.cast.store),
    ),
    "movements.correct": Act(
        "correct", STOCK, lambda here, acting, of: movements.correct(entry(here, acting), movement=of.movement)
    ),
    "movements.open_container": Act(
        "open",
        HANDS,
        lambda here, acting, of: movements.open_container(entry(here, acting), container=of.rig.pails[0]),
    ),
    "movements.mark_mixed": Act("mark mixed", OFFICERS, _verb(movements.mark_mixed)),
    "movements.mark_diluted": Act("mark mixed", OFFICERS, _verb(movements.mark_diluted)),
    "movements.empty": Act("dispose", STOCK, _verb(movements.empty)),
    "movements.empty, in a drill": Act("drill", DRILLERS, _verb(movements.empty, account=Account.DRILL)),
    "movements.flush": Act("flush", HANDS, _verb(movements.flush, "emptied")),
    "movements.inspect": Act("inspect", OFFICERS, _verb(movements.inspect, "rinsed")),
    "movements.quarantine": Act("quarantine", OFFICERS, _verb(movements.quarantine)),
    "movements.release": Act(
        "quarantine",
        OFFICERS,
        lambda here, acting, of: movements.release(entry(here, acting), container=of.rig.pails[1]),
    ),
    "people.invite": Act(
        "manage people",
        CHIEF,
        lambda here, acting, of: people.invite(
            here.department, acting, _newcomer(of), link_of=lambda token: token, clock=CLOCK
        ),
    ),
    "people.change_role": Act(
        "manage people",
        CHIEF,
        lambda here, acting, of: people.change_role(of.member, acting, Role.OFFICER, clock=CLOCK),
    ),
    "people.end_membership": Act(
        "manage people", CHIEF, lambda here, acting, of: people.end_membership(of.member, acting, clock=CLOCK)
    ),
    "policies.change_policy": Act(EDIT, CHIEF, _policy, names=False),
    "policies.turn_pack": Act(
        EDIT,
        CHIEF,
        lambda here, acting, of: policies.turn_pack(Desk(here.department, acting, CLOCK), "marine", on=True),
        names=False,
    ),
    "policies.set_sample_limits": Act(
        EDIT,
        CHIEF,
        lambda here, acting, of: policies.set_sample_limits(
            Desk(here.department, acting, CLOCK), L1._replace(ph_low=6.0)
        ),
        names=False,
    ),
    "submissions.settle": Act(
        "settle",
        OFFICERS,
        lambda here, acting, of: settle(of.submission, acting=acting, close_because="on paper", clock=CLOCK),
    ),
    "submissions.submit": Act(
        "use",
        HANDS,
        lambda here, acting, of: submit(
            here.department,
            Sent(uuid4(), "use", {"container": of.container.code, "volume": "1 L", "account": "incident"}),
            acting=acting,
            clock=CLOCK,
        ),
    ),
    "transfers.send": Act(
        "move",
        STOCK,
        lambda here, acting, of: transfers.send(
            entry(here, acting), containers=[of.container], owner=here.cast.station, expected_on=D0
        ),
    ),
    "transfers.send, to a place": Act(
        "move",
        STOCK,
        lambda here, acting, of: transfers.send(
            entry(here, acting), containers=[here.container], owner=of.cast.station, expected_on=D0
        ),
    ),
    "transfers.receive": Act(
        "receive transfer",
        HANDS,
        lambda here, acting, of: transfers.receive(
            entry(here, acting), transfer=of.transfer, receipt=transfers.Receipt((transfers.Came(of.carried),))
        ),
    ),
    "transfers.recall": Act(
        "move", STOCK, lambda here, acting, of: transfers.recall(entry(here, acting), transfer=of.transfer)
    ),
    "transfers.lose": Act(
        "correct",
        STOCK,
        lambda here, acting, of: transfers.lose(entry(here, acting), transfer=of.transfer, containers=[of.carried]),
    ),
    "par.take_par_from_aboard": Act(
        "edit par lists and store limits",
        STOCK,
        lambda here, acting, of: take_par_from_aboard(Desk(here.department, acting, CLOCK), of.unit),
        ready=lambda of: of.unit.par_lines.all().delete(),
    ),
    "par.copy_par": Act(
        "edit par lists and store limits",
        STOCK,
        lambda here, acting, of: copy_par(Desk(here.department, acting, CLOCK), of.unit, of.unit),
        Refused,  # it has a list already
    ),
    "supply.place_order": Act(
        "purchase",
        STOCK,
        lambda here, acting, of: place_order(
            Desk(here.department, acting, CLOCK),
            OrderFacts("PO-2", of.cast.ar, here.cast.station, 4, "pail", 18_927, D0),
        ),
    ),
    "supply.note_arrival": Act(
        "purchase",
        STOCK,
        lambda here, acting, of: note_arrival(Desk(here.department, acting, CLOCK), of.order, 1),
    ),
    "supply.close_order": Act(
        "purchase",
        STOCK,
        lambda here, acting, of: close_order(Desk(here.department, acting, CLOCK), of.order, "it comes no more"),
    ),
    "loans.lend": Act("move", STOCK, _between(lambda own, of: loans.lend(own, containers=[of.container]))),
    "loans.give_volume": Act(
        "move", STOCK, _between(lambda own, of: loans.give_volume(own, container=of.container, ml=10))
    ),
    "loans.take_back": Act(
        "move",
        STOCK,
        _between(lambda own, of: loans.take_back(own, back=[loans.Back(of.lent)], owner=of.cast.station)),
    ),
    "loans.give_back": Act("move", STOCK, _between(lambda own, of: loans.give_back(own, containers=[of.borrowed]))),
    "loans.borrow": Act("receive", STOCK, _between(lambda own, of: loans.borrow(own, delivery=_delivery(of)))),
    "loans.replaced": Act(
        "receive", STOCK, _between(lambda own, of: loans.replaced(own, delivery=_delivery(of), kept=[of.lent]))
    ),
    "loans.lend, to whom": Act(
        "move",
        STOCK,
        lambda here, acting, of: loans.lend(
            entry(here, acting)._replace(partner=of.partner), containers=[here.container]
        ),
    ),
    "pallets.set_aside": Act(
        "dispose",
        STOCK,
        lambda here, acting, of: pallets.set_aside(entry(here, acting), containers=[of.container], pallet=here.pallet),
    ),
    "pallets.set_aside, where": Act(
        "dispose",
        STOCK,
        lambda here, acting, of: pallets.set_aside(entry(here, acting), containers=[here.container], pallet=of.pallet),
    ),
    "disposals.dispose": Act(
        "dispose",
        STOCK,
        lambda here, acting, of: disposals.dispose(
            entry(here, acting), manifest=disposals.Manifest("M-9", "hauler", D0), load=disposals.Load((of.doomed,))
        ),
    ),
    "disposals.certify": Act(
        "dispose",
        STOCK,
        lambda here, acting, of: disposals.certify(
            **_dept(here, acting), disposal=of.disposal, certificate="C-1", certified_on=D0
        ),
    ),
    "settlements.settle_pile": Act(
        "correct",
        STOCK,
        lambda here, acting, of: settlements.settle_pile(
            entry(here, acting)._replace(incident="2026-7"),
            settlements.Pile(
                (settlements.PileRow(of.cast.ar, "pail", 18_927, 1, unit=of.unit, containers=(of.container,)),)
            ),
        ),
    ),
    "lots.withdraw_recall": Act(
        "recall",
        STOCK,
        lambda here, acting, of: withdraw_recall(**_dept(here, acting), lot=of.recalled, reason="another lot"),
    ),
    "tablets.make_tablet": Act(
        "manage people",
        CHIEF,
        lambda here, acting, of: tablets.make_tablet(
            here.department, station=of.cast.station, name="bay two", acting=acting, clock=CLOCK
        ),
    ),
    "tablets.renew_key": Act(
        "manage people", CHIEF, lambda here, acting, of: tablets.renew_key(of.tablet, acting=acting, clock=CLOCK)
    ),
    "tablets.retire_tablet": Act(
        "manage people", CHIEF, lambda here, acting, of: tablets.retire_tablet(of.tablet, acting=acting, clock=CLOCK)
    ),
    "tablets.clear_pin": Act(
        "manage people", CHIEF, lambda here, acting, of: tablets.clear_pin(of.member, acting=acting, clock=CLOCK)
    ),
    "hand_over_notes.write_note": Act(
        "hand over",
        HANDS,
        lambda here, acting, of: hand_over_notes.write_note(
            **_dept(here, acting), unit=of.unit, of_station=False, words="tank two reads low"
        ),
    ),
    "hand_over_notes.read_note": Act(
        "hand over",
        HANDS,
        lambda here, acting, of: hand_over_notes.read_note(of.note, acting=acting, clock=CLOCK),
        raises=Refused,  # at the command line nobody reads
    ),
    "hand_over_notes.end_note": Act(
        "hand over", HANDS, lambda here, acting, of: hand_over_notes.end_note(of.note, acting=acting, clock=CLOCK)
    ),
    **{name: act for record, noun in NOUNS.items() for name, act in _keeps(noun, record).items()},
}

ASKED_BY_THEIR_CALLERS = {  # what writes for actions that have asked already
    "ledger.post",
    "ledger.post_many",
    "changes.record_changes",
    "once.once",
    "queue.take_from_queue",
    "queue.note_outcome",
    "queue.hold_form",
    "tablets.set_pin",  # by the person alone: tests/actions/test_tablets.py
    "places.place_at",
    "leaving.retire",
    "leaving.bring_back",
    "deliveries.come_in",
    "supply.came_by_delivery",
    "deliveries.find_lot",
    "permissions.require",
    "demo_planning.plan_everything",
    "demo_traps.set_traps",
}


def _actions_there_are() -> Iterator[str]:
    """Every public function of the actions that takes who acts, alone, in an entry or at a desk."""
    for module in iter_modules(actions.__path__):
        for name, function in vars(import_module(f"readiness.actions.{module.name}")).items():
            own = isfunction(function) and function.__module__ == f"readiness.actions.{module.name}"
            if own and not name.startswith("_") and {"acting", "entry", "desk"} & set(signature(function).parameters):
                yield f"{module.name}.{name}"


def test_every_action_stands_in_the_table():
    tried = {name.split(",")[0] for name in ACTIONS if name.split(".")[1] not in ("save", "retire", "bring_back")}
    assert tried == set(_actions_there_are()) - ASKED_BY_THEIR_CALLERS
    kept = {subclass for subclass in Noun.__subclasses__() if subclass.__module__.startswith("readiness.")}
    assert kept == {type(noun) for noun in (*NOUNS.values(), POLICIES)}


class ByEveryRole(TestCase):
    """A test for each action: called by each role, by a stranger, and with another department's records."""

    world: World

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once; whatever is done is undone."""
        cls.world = World()

    def check(self, act: Act) -> None:
        """Those who may do it; who may not leaves nothing behind."""
        near, far = self.world.near, self.world.far
        people = {role: near.cast.acting(role) for role in Role}
        allowed = {role for role, acting in people.items() if self.allowed(act, acting)}
        assert allowed == act.roles == MAY[act.key]
        assert not self.allowed(act, far.cast.acting(Role.CHIEF)), "a chief of elsewhere"
        assert not self.allowed(act, Acting(None, Identity.PASSWORD)), "nobody"
        if act.key != "accept":  # who accepts has a name
            assert self.allowed(act, OWNER), "the owner at the command line"
        if act.names:
            self.refuses_records_of_others(act)

    def allowed(self, act: Act, acting: Acting) -> bool:
        """Whether it was done. It asks for its own key only; refused, it leaves nothing behind."""
        near, asked = self.world.near, list[str]()
        with undone(), mock.patch.object(permissions, "MAY", Asked(MAY, asked)):
            act.ready(near)
            before = everything()
            outcome = _outcome(lambda: act.call(near, acting, near))
            if isinstance(outcome, NotAllowed):
                assert str(outcome).endswith(("may not.", "sign in first."))
                assert everything() == before
        assert set(asked) <= {act.key}
        assert isinstance(outcome, NotAllowed | (act.raises or NotAllowed)) or not isinstance(outcome, Exception), (
            outcome
        )
        return not isinstance(outcome, NotAllowed)

    def refuses_records_of_others(self, act: Act) -> None:
        """Another department's records: nothing in either is changed."""
        near, far = self.world.near, self.world.far
        with undone():
            act.ready(far)
            before = everything()
            with pytest.raises((Refused, NotAllowed, ObjectDoesNotExist, BadBody)):
                act.call(near, near.cast.acting(Role.CHIEF), far)
            assert everything() == before


def _outcome(call: Callable[[], object]) -> object:
    """What a call gives, or the exception that it raises."""
    try:
        return call()
    except Exception as raised:
        return raised


class Asked(dict[str, frozenset[Role]]):
    """The table of permissions, noting what is looked up."""

    def __init__(self, table: dict[str, frozenset[Role]], asked: list[str]) -> None:
        super().__init__(table)
        self.asked = asked

    def __getitem__(self, key: str) -> frozenset[Role]:
        self.asked.append(key)
        return super().__getitem__(key)


def _action_case(act: Act) -> Callable[[ByEveryRole], None]:
    def test(self: ByEveryRole) -> None:
        self.check(act)

    return test


for _name, _act in ACTIONS.items():
    setattr(ByEveryRole, f"test_{_name.replace(' ', '_').replace('.', '_').replace(',', '')}", _action_case(_act))


def test_every_permission_is_asked_by_an_action_or_guards_a_page():
    above = (
        "sign above the limit"  # asked beside another, where the figures call for it: tests/actions/test_inventories
    )
    assert {act.key for act in ACTIONS.values()} | {SEE_CHANGES, above} == set(MAY)


def test_an_observer_may_do_nothing():
    assert not [key for key, roles in MAY.items() if Role.OBSERVER in roles]
