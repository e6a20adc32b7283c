"""Every address of the site with what each kind of person finds behind it, and two departments to try it on.

The table is written by hand from who may do what (the roles of the product's design), not from the code: a page that
opens for somebody else than it should, or that stands nowhere here, fails in test_who_may.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal
from html.parser import HTMLParser
from io import BytesIO
from typing import Any, NamedTuple
from urllib.parse import urlencode
from uuid import uuid4
from zipfile import ZipFile

from django.apps import apps
from django.db import transaction
from django.forms import BaseForm
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse

from readiness.actions import handed_over, movements
from readiness.actions.deliveries import Delivery, Paper, receive_delivery
from readiness.actions.disposals import Load, Manifest, dispose
from readiness.actions.evidence import record_sample
from readiness.actions.hoses import copy_published
from readiness.actions.inventories import Scope
from readiness.actions.labels import print_labels
from readiness.actions.loans import borrow, lend
from readiness.actions.pallets import set_aside
from readiness.actions.permissions import OWNER
from readiness.actions.photos import keep_photo
from readiness.actions.raised_deficiencies import close_deficiency, raise_deficiency
from readiness.actions.settlements import Pile, PileRow, settle_pile
from readiness.actions.transfers import send
from readiness.engineering.label_sheets import PRESETS
from readiness.models import (
    CompatibilityGroup,
    Container,
    Deficiency,
    Department,
    Device,
    Disposal,
    FoamTest,
    Fuel,
    HandedOver,
    HandOverNote,
    HoseSize,
    Inspection,
    InspectionRule,
    LabelSheet,
    Listing,
    Membership,
    Movement,
    Order,
    Pallet,
    ParLine,
    Partner,
    Place,
    RaisedDeficiency,
    Role,
    Settlement,
    Setup,
    SetupLine,
    SignInAttempt,
    StoreLimit,
    Submission,
    SupplySheet,
    Transfer,
    Unit,
    User,
    Vehicle,
)
from readiness.models import Delivery as Arrived
from readiness.models.inventories import Method
from readiness.models.movements import Account
from readiness.models.raised_deficiencies import Effect
from readiness.reports.handed_over import guessed
from readiness.reports.handed_over import worked as asked_of
from readiness.web.sheet_questions import name_of
from tests.cast import CLOCK, D0, PAIL_ML, SIX, Cast, ConcentrateFactory, LotFactory, VehicleFactory
from tests.judged import Rigged
from tests.taking import Taking, stand

# -- the table ---------------------------------------------------------------------------------------------------------

EVERYBODY = frozenset(Role)
HANDS = EVERYBODY - {Role.OBSERVER}
OFFICERS = frozenset({Role.OFFICER, Role.LOGISTICS, Role.CHIEF})
STOCK = frozenset({Role.LOGISTICS, Role.CHIEF})
CHIEF = frozenset({Role.CHIEF})
TESTERS = OFFICERS | {Role.INSTRUCTOR}


class Way(NamedTuple):
    """Who may, and the status that they get; every other member of the department gets 403."""

    roles: frozenset[Role]
    status: int = 200


class Door(NamedTuple):
    """A page: what GET and an empty POST answer. None: 405.

    of: the noun whose number stands in the address, a name of House.ids; public: open to strangers, alike for all.
    """

    get: Way | None
    post: Way | None = None
    of: str = ""
    public: bool = False


def seen(of: str = "") -> Door:
    """A page that everybody of the department reads."""
    return Door(Way(EVERYBODY), None, of)


def form(roles: frozenset[Role], of: str = "") -> Door:
    """A form: posted empty it comes back with its faults."""
    return Door(Way(roles), Way(roles), of)


def pressed(roles: frozenset[Role], status: int, of: str = "") -> Door:
    """A button: no page of its own."""
    return Door(None, Way(roles, status), of)


def reference(one: str, many: str, *, retire: int = 0, by: frozenset[Role] = CHIEF) -> dict[str, Door]:
    """The pages of a reference noun. retire: what retiring the house's own record answers; 409 where it is needed."""
    name = f"reference_{one}"
    found = {
        f"reference_{many}": seen(),
        f"{name}_add": form(by),
        name: seen(one),
        f"{name}_change": form(by, one),
    }
    if retire:
        found[f"{name}_retire"] = pressed(by, retire, one)
        found[f"{name}_back"] = pressed(by, 409, one)  # it is in use already
    return found


DOORS: dict[str, Door] = {
    # accounts
    "home": Door(Way(EVERYBODY, 302)),
    "account": seen(),
    "choose_department": pressed(EVERYBODY, 302),
    "choose_units": pressed(EVERYBODY, 302),
    "password_change": form(EVERYBODY),
    "sign_in": Door(Way(EVERYBODY), Way(EVERYBODY), public=True),
    "sign_out": Door(None, Way(EVERYBODY, 302), public=True),
    "password_reset": Door(Way(EVERYBODY), Way(EVERYBODY), public=True),
    "password_reset_sent": Door(Way(EVERYBODY), public=True),
    "password_reset_confirm": Door(Way(EVERYBODY), Way(EVERYBODY), "dead_reset", public=True),
    "accept_invitation": Door(Way(EVERYBODY, 410), Way(EVERYBODY, 410), "dead_invitation", public=True),
    "healthz": Door(Way(EVERYBODY), public=True),
    "people": Door(Way(CHIEF)),
    "invite": form(CHIEF),
    "person": Door(Way(CHIEF), None, "membership"),
    "change_role": pressed(CHIEF, 200, "membership"),
    "end_membership": pressed(CHIEF, 302, "membership"),
    # no signal
    "queue": Door(Way(EVERYBODY), public=True),
    "queue_token": Door(Way(EVERYBODY), public=True),
    "queue_hold": pressed(HANDS, 400),  # takes nothing but what comes out of a device's queue
    "worker": Door(Way(EVERYBODY), public=True),
    "manifest": Door(Way(EVERYBODY), public=True),
    # a station's shared tablet; what it opens itself: tests/web/test_tablets.py
    "tablets": form(CHIEF),
    "renew_tablet": pressed(CHIEF, 200, "tablet"),
    "retire_tablet": pressed(CHIEF, 302, "tablet"),
    "clear_pin": pressed(CHIEF, 302, "membership"),
    "pin": form(HANDS),
    "sign_in_tablet": Door(Way(EVERYBODY, 410), Way(EVERYBODY, 410), "dead_tablet", public=True),
    # hand-over notes
    "write_note": form(HANDS, "unit"),
    "notes": seen("unit"),
    "read_note": pressed(HANDS, 302, "note"),
    "end_note": pressed(HANDS, 302, "note"),
    # crew
    "my_unit": Door(Way(EVERYBODY), Way(EVERYBODY, 302)),
    "crew_unit": seen("unit"),
    "after_use": form(HANDS, "unit"),
    "answer_question": pressed(OFFICERS, 302, "unit_check"),
    "check_unit": form(HANDS, "unit"),
    "checks": seen("unit"),
    "check": seen("unit_check"),
    "check_result": seen("unit_check"),
    "settle_difference": pressed(HANDS, 404, "unit_check"),  # of no container
    # fleet and units
    "fleet": seen(),
    "unit": seen("unit"),
    "unit_card": seen("unit"),
    "unit_deficiency": seen("unit_deficiency"),
    "assign_deficiency": pressed(OFFICERS, 302, "unit_deficiency"),  # empty: takes the name and the day away
    "accept_deficiency": pressed(CHIEF, 200, "unit_deficiency"),
    "withdraw_acceptance": pressed(CHIEF, 302, "unit_deficiency"),
    # stock
    "stock": seen(),
    "expiries": seen(),
    "short": seen(),
    "containers": seen(),
    "container": seen("container"),
    "container_sample": form(STOCK, "container"),
    "lots": seen(),
    "lot": seen("lot"),
    "recall": form(STOCK, "lot"),
    "withdraw_recall": form(STOCK, "recalled"),
    "recall_worklist": seen("lot"),
    "lot_sample": form(STOCK, "lot"),
    "sample": seen("sample"),
    "sample_result": form(STOCK, "sample"),
    "sample_limits": form(CHIEF),
    "search": seen(),
    # inspections
    "inspections": seen(),
    "log_inspection": form(HANDS, "inspected"),
    # refills
    "refill": form(HANDS),
    "refill_short": pressed(HANDS, 404),  # of nothing
    # deficiencies raised by hand
    "deficiencies": seen(),
    "deficiencies_closed": seen(),
    "raise_deficiency": form(HANDS),
    "deficiency": seen("raised"),
    "deficiency_work": pressed(HANDS, 200, "raised"),
    "deficiency_follow_up": pressed(OFFICERS, 200, "raised"),
    "deficiency_close": pressed(OFFICERS, 200, "raised"),
    "deficiency_reopen": pressed(OFFICERS, 200, "closed_one"),
    "photo": seen("photo"),
    # labels
    "labels": seen(),
    "label": seen("label"),
    "label_sheet": pressed(OFFICERS, 200),
    "withdraw_label": pressed(OFFICERS, 200, "label"),
    "find": seen(),
    "scanned": Door(Way(EVERYBODY, 404), None, "dead_label"),
    # movements
    "movements": seen(),
    "movement": seen("movement"),
    "correct": form(STOCK, "movement"),
    "change_over": form(OFFICERS),
    "change_over_made": seen("run"),
    "receive": form(STOCK),
    "pour": form(HANDS),
    "move": form(STOCK),
    "use": form(HANDS),
    "empty": form(HANDS),
    "open": form(HANDS),
    "mark_mixed": form(OFFICERS),
    "mark_diluted": form(OFFICERS),
    "flush": form(HANDS),
    "inspect": form(OFFICERS),
    "quarantine": form(OFFICERS),
    "release": form(OFFICERS),
    # receiving and moving
    "moving": seen(),
    "transfers": seen(),
    "transfer": seen("transfer"),
    "send_transfer": form(STOCK),
    "receive_transfer": form(HANDS, "transfer"),
    "recall_transfer": form(STOCK, "transfer"),
    "lose_transfer": form(STOCK, "transfer"),
    "deliveries": seen(),
    "delivery": seen("delivery"),
    "owed": seen(),
    "statement": seen("partner"),
    "lend": form(STOCK),
    "take_back": form(STOCK),
    "replaced": form(STOCK),
    "borrow": form(STOCK),
    "give_back": form(STOCK),
    "settlements": seen(),
    "settlement": seen("settlement"),
    "settle_pile": form(STOCK),
    "set_aside": form(STOCK),
    "disposals": seen(),
    "disposal": seen("disposal"),
    "dispose": form(STOCK),
    "certify_disposal": form(STOCK, "disposal"),
    "held": Door(Way(OFFICERS)),
    "held_entry": form(OFFICERS, "submission"),
    # inventories
    "inventories": seen(),
    "last_counted": seen(),
    "inventory_open": form(STOCK),
    "inventory": seen("inventory"),
    "inventory_place": form(HANDS, "inventory_place"),
    "inventory_count": form(HANDS, "inventory_vessel"),
    "inventory_found": form(HANDS, "inventory_place"),
    "inventory_counts": seen("inventory_closed"),
    "inventory_close_count": pressed(STOCK, 302, "inventory"),
    "inventory_more": pressed(OFFICERS, 302, "inventory_confirming"),
    "inventory_confirm": pressed(OFFICERS, 302, "inventory_confirming"),
    "inventory_volume_difference": form(STOCK, "volume_difference"),
    "inventory_place_difference": form(STOCK, "place_difference"),
    "inventory_seal_difference": form(STOCK, "seal_difference"),
    "inventory_explain": form(STOCK, "inventory_explaining"),
    "inventory_misread": pressed(STOCK, 302, "volume_difference"),
    "inventory_match": form(STOCK, "inventory_found"),
    "inventory_take_in": form(STOCK, "inventory_found"),
    "inventory_close": Door(Way(STOCK), Way(STOCK, 302), "inventory_settled"),  # no reason is needed within the limit
    "inventory_abandon": form(STOCK, "inventory"),
    "inventory_reopen": form(STOCK, "inventory_closed"),
    # planning
    "planning": seen(),
    "par": seen(),
    "par_unit": seen("unit"),
    "par_begin": pressed(STOCK, 200, "unit"),  # it has a list already
    "par_look": form(HANDS, "unit"),
    "par_table": Door(Way(STOCK), Way(STOCK, 302), "unit"),  # posted empty it changes nothing
    "store_table": Door(Way(STOCK), Way(STOCK, 302), "station"),
    "restock": seen(),
    "store_levels": seen(),
    "ageing": seen(),
    "rotation": seen(),
    "pick_list": seen(),
    "order_points": seen(),
    "order_point": seen("concentrate"),
    "purchase": seen(),
    "orders": seen(),
    "order": seen("order"),
    "order_place": form(STOCK),
    "order_arrival": pressed(STOCK, 200, "order"),
    "order_close": pressed(STOCK, 200, "order"),
    "audit": seen(),
    "audit_workbook": seen(),
    **reference("par_line", "par_lines", retire=302, by=STOCK),
    **reference("store_limit", "store_limits", retire=302, by=STOCK),
    **reference("supply_sheet", "supply_sheets", by=STOCK),
    # workbook
    "workbook": form(STOCK),
    "workbook_check": Door(Way(STOCK), None, "dead_ticket"),
    "workbook_confirm": pressed(STOCK, 200),
    "workbook_template": Door(Way(STOCK), None, "template"),
    # a handed-over sheet
    "sheets": form(STOCK),
    "sheet": Door(Way(STOCK), None, "sheet"),
    "sheet_columns": Door(Way(STOCK), Way(STOCK, 302), "sheet"),  # empty: as it was chosen before
    "sheet_rows": Door(Way(STOCK), None, "sheet"),
    "sheet_questions": Door(Way(STOCK), Way(STOCK, 302), "sheet"),
    "sheet_try": pressed(STOCK, 302, "sheet"),
    "sheet_take": pressed(STOCK, 302, "sheet"),
    "sheet_compare": pressed(STOCK, 302, "sheet"),
    "sheet_give_up": pressed(STOCK, 302, "sheet"),
    "sheet_discard": pressed(STOCK, 302, "sheet"),
    "sheet_report": Door(Way(STOCK), None, "sheet_done"),
    "sheet_labels": Door(Way(STOCK), None, "sheet_done"),
    "sheet_undo": form(STOCK, "sheet_done"),
    "sheet_inventory": pressed(STOCK, 302, "sheet_done"),
    # tests on record
    "line_tests": seen(),
    "line_test": seen("line_test"),
    "line_test_add": form(TESTERS),
    "foam_tests": seen(),
    "foam_test": seen("foam_test"),
    "foam_test_add": form(TESTERS),
    # worksheets
    "worksheets": seen(),
    "worksheet_published": seen(),
    **{
        f"worksheet_{each}": seen()
        for each in (
            "spill",
            "need",
            "vapor",
            "runoff",
            "line",
            "proportioning",
            "foam_test",
            "sample",
            "airport",
            "marine",
            "national",
            "preventive",
        )
    },
    # policy, reference data, changes
    "policy": seen(),
    "policy_change": form(CHIEF),
    "policy_pack": pressed(CHIEF, 302),
    "changes": Door(Way(STOCK)),
    "reference": seen(),
    **reference("concentrate", "concentrates"),
    **reference("listing", "listings", retire=302),
    **reference("fuel", "fuels", retire=409),  # a duty names it
    **reference("compatibility_group", "compatibility_groups"),
    **reference("duty", "duties", retire=302),
    **reference("unit", "units", retire=409),  # it carries containers
    **reference("vehicle", "vehicles", retire=409),  # a unit runs on it
    **reference("appliance", "appliances"),
    **reference("foam_line", "foam_lines", retire=302),
    **reference("setup", "setups"),
    **reference("hose_size", "hose_sizes", retire=302),
    "unit_line": seen("unit_line"),
    **reference("station", "stations", retire=409),  # a unit stands there
    **reference("partner", "partners", retire=409, by=STOCK),  # a pail is lent to it
    **reference("pallet", "pallets", retire=409, by=STOCK),  # a pail stands on it
    **reference("inspection_rule", "inspection_rules", retire=302),
    **reference("label_sheet", "label_sheets", retire=302),
}


def patterns() -> dict[str, URLPattern]:
    """Every address that the site answers, by its name. Raises for one that cannot be named."""
    found: dict[str, URLPattern] = {}
    for pattern in get_resolver().url_patterns:
        if not isinstance(pattern, URLPattern) or not pattern.name or pattern.name in found:
            raise AssertionError(f"{pattern} has no name of its own: the table could not name it")
        found[pattern.name] = pattern
    return found


# -- two departments ---------------------------------------------------------------------------------------------------

PIXEL = bytes.fromhex(  # a PNG of one pixel, put together by hand: signature, IHDR, IDAT, IEND
    "89504e470d0a1a0a0000000d4948445200000001000000010806000000"
    "1f15c4890000000d49444154789c6360606060000000050001a5f64540"
    "0000000049454e44ae426082"
)
FAR = "Farland"  # in every name of the other department: whoever reads it there has read what does not exist for them


class Inventories:
    """An inventory at each stage, each of a rig of its own."""

    def __init__(self, house: House, tag: str) -> None:
        self.house, self.tag = house, tag
        self.free = VehicleFactory(station=house.cast.station, shop_no="219")
        self.closed, _ = self._counted("213")
        self.closed.to_explaining()
        self.closed.close(minute=0)
        self.settled, _ = self._counted("214")
        self._confirmed(self.settled)
        self.confirming, _ = self._counted("215")
        self.confirming.end_counting(minute=0)
        self.confirming.same_again(Role.INSTRUCTOR, minute=0)
        self._explaining()
        self.counting = Taking(house.cast, Scope(house.unit))
        self.counting.see(house.rig.pails[0], minute=0)

    def _pail(self, code: str, place: Place) -> Container:
        """Of a lot of its own, so that what is done to the house's lot is not done to it."""
        made = self.house.cast.pail(code=f"{code}-{self.tag or 1}")
        return stand(self.house.cast, made, PAIL_ML, place, sealed=True)

    def _rig(self, shop_no: str) -> Place:
        vehicle = VehicleFactory(station=self.house.cast.station, shop_no=shop_no)
        return Place.objects.create(department=self.house.department, vehicle=vehicle)

    def _counted(self, shop_no: str) -> tuple[Taking, list[Container]]:
        """Two pails on a vehicle, counted by the crew as the book has them."""
        place = self._rig(shop_no)
        pails = [self._pail(f"S{shop_no}{letter}", place) for letter in "ab"]
        taking = Taking(self.house.cast, Scope(place.vehicle))
        for pail in pails:
            taking.see(pail, minute=0)
        return taking, pails

    def _confirmed(self, taking: Taking) -> None:
        taking.end_counting(minute=0)
        taking.same_again(minute=0)
        taking.confirm(minute=0)

    def _explaining(self) -> None:
        """One with less in it than the book has, one found elsewhere, one opened, one without a label."""
        place, store = self._rig("216"), self.house.cast.store
        self.less, self.opened = (self._pail(code, place) for code in ("S216a", "S216b"))
        self.moved, self.unseen = self._pail("S216c", store), self._pail("S216d", place)
        self.explaining = Taking(self.house.cast, Scope(place.vehicle))
        spot = self.explaining.inventory.places.get()
        self.explaining.see(self.less, PAIL_ML - 1_500, minute=0)
        self.explaining.see(self.opened, PAIL_ML, minute=0)
        self.explaining.see(self.moved, spot=spot, minute=0)
        self.unlabelled = self.explaining.find(str(spot), minute=0, method=Method.STICK, ml=1_000)
        self._confirmed(self.explaining)

    def pairs(self) -> dict[str, dict[str, int]]:
        """What stands in the addresses of their pages."""
        spot = self.counting.inventory.places.get().pk
        counting, explaining = self.counting.inventory.pk, self.explaining.inventory.pk
        return {
            "inventory": {"pk": counting},
            "inventory_confirming": {"pk": self.confirming.inventory.pk},
            "inventory_settled": {"pk": self.settled.inventory.pk},
            "inventory_closed": {"pk": self.closed.inventory.pk},
            "inventory_place": {"pk": counting, "place": spot},
            "inventory_vessel": {"pk": counting, "place": spot, "container": self.house.container.pk},
            "inventory_explaining": {"pk": explaining},
            "volume_difference": {"pk": explaining, "container": self.less.pk},
            "place_difference": {"pk": explaining, "container": self.moved.pk},
            "seal_difference": {"pk": explaining, "container": self.opened.pk},
            "inventory_found": {"pk": explaining, "count": self.unlabelled.pk},
        }


class House:
    """A department with one of each noun: the cast's engine, rigged and judged, and what belongs to it."""

    def __init__(self, tag: str = "") -> None:
        cast = Cast()
        User.objects.filter(pk=cast.outsider.pk).update(username=f"rex.marsh.{cast.department.slug}")
        self.cast, self.department = cast, cast.department
        rig = Rigged(cast, pails=2)
        self.rig, self.unit, self.vehicle, self.line, self.duty = rig, cast.unit, cast.vehicle, rig.line, rig.duty
        self.fuel = rig.fuel
        Fuel.objects.filter(pk=self.fuel.pk).update(department=self.department)
        self.tank = rig.tank(code=f"T-{tag or 1}")
        self.container = rig.pail(f"P-{tag or 1}")
        self.check = rig.checked(name=f"second check {cast.department.slug}").check
        self.listing = Listing.objects.get(concentrate=cast.ar)
        self.group = CompatibilityGroup.objects.create(department=self.department, name="old and new", evidence="-")
        self.group.concentrates.set([cast.ar, cast.class_a])
        copy_published(self.department)
        self.hose = HoseSize.objects.get(department=self.department, diameter_in=5)
        self.setup = Setup.objects.create(department=self.department, unit=self.unit, name="alone")
        SetupLine.objects.create(setup=self.setup, line=self.line)
        self.spare = [ConcentrateFactory(department=self.department) for _ in range(2)]
        movements.quarantine(rig.entry(reason="no label"), container=rig.pails[1])
        self.store_pail = self._stored(f"S-{tag or 1}")
        self.emptied, self.rinsed = self._emptied(f"E-{tag or 1}"), self._emptied(f"F-{tag or 1}")
        movements.flush(rig.entry(), container=self.rinsed)
        self.rinsed.refresh_from_db()
        self.carried, self.transfer = self._transfer(f"X-{tag or 1}")
        self._moving(tag or "1")
        self.sample = self._sample()
        self.foam_test = FoamTest.objects.create(
            department=self.department,
            line=self.line,
            concentrate=cast.ar,
            tested_on=D0 - timedelta(days=9),
            foam_ml=1000,
            foam_g=150,
            expansion=1000 / 150,
            report="F-1",
        )
        self.movement = self._movement()
        self.submission = self._submission()
        self.label = print_labels(self.department, things=[self.container], acting=OWNER, clock=CLOCK)[0]
        facts = {"name": "yearly tank inspection", "of": "fixed tank", "rhythm": "year", "since_on": D0}
        self.rule = InspectionRule.objects.create(department=self.department, clause="our rule 7", **facts)
        self.failed = Inspection.objects.create(
            department=self.department, rule=self.rule, container=self.tank, done_at=SIX, passed=False, words="sludge"
        )
        self.note = HandOverNote.objects.create(
            department=self.department,
            station=self.cast.station,
            unit=self.unit,
            words="tank two reads low",
            written_at=SIX,
            identity="password",
        )
        self.tablet = Device.objects.create(department=self.department, station=self.cast.station, name="bay tablet")
        self.photo = keep_photo(self.department, data=PIXEL, acting=OWNER, clock=CLOCK)
        self.raised = self._raised("hose reel leaks")
        self.closed_one = self._raised("lamp is dark")
        close_deficiency(self.department, deficiency=self.closed_one, proof="new lamp", acting=OWNER, clock=CLOCK)
        self.label_sheet = LabelSheet.objects.create(department=self.department, **PRESETS["a4-8"]._asdict())
        self.member = Membership.objects.get(department=self.department, role=Role.CREW)
        self.inventories = Inventories(self, tag)
        self.par_line, self.store_limit, self.supply_sheet, self.order = self._planned()
        if tag:
            self._name_after(tag)
        self.sheet, self.sheet_done = self._sheets(tag)
        rig.judge()
        self.deficiency = Deficiency.objects.filter(unit=self.unit, closed_on=None).first()
        assert self.deficiency is not None, "two pails are short of nine"

    def _emptied(self, code: str) -> Container:
        made = self.rig.pail(code)
        movements.empty(self.rig.entry(), container=made)
        made.refresh_from_db()
        return made

    def _transfer(self, code: str) -> tuple[Container, Transfer]:
        """A pail on its way to the store, sent by nobody who is here."""
        made = self.rig.pail(code)
        send(self.rig.entry(), containers=[made], owner=self.cast.station, expected_on=D0)
        return made, Transfer.objects.get(department=self.department)

    def _moving(self, tag: str) -> None:
        """A partner with a pail of ours and one of theirs, a pallet with a pail on it, and the papers of each deed."""
        entry, cast = self.rig.entry(), self.cast
        self.partner = Partner.objects.create(department=self.department, name="Harbor County")
        self.pallet = Pallet.objects.create(
            department=self.department, name="Pallet A", programme="state", station=cast.station
        )
        self.lent, self.doomed, self.poison = (self.rig.pail(f"{letter}-{tag}") for letter in ("L", "D", "M"))
        with_partner = entry._replace(partner=self.partner)
        lend(with_partner, containers=[self.lent])
        come = {"lot": cast.lot, "kind": "pail", "capacity_ml": 1000, "sealed": True, "owner": cast.station}
        borrow(with_partner, delivery=Delivery((f"B-{tag}",), 1000, **come))
        self.borrowed = Container.objects.get(department=self.department, code=f"B-{tag}")
        receive_delivery(entry, Delivery((f"R-{tag}",), 1000, **come), Paper("order 7", "maker", "certificate 7"))
        self.delivery = Arrived.objects.get(department=self.department)
        set_aside(entry, containers=[self.doomed], pallet=self.pallet)
        dispose(entry, manifest=Manifest("M-1", "hauler", D0), load=Load((self.poison,)))
        self.disposal = Disposal.objects.get(department=self.department)
        row = PileRow(cast.ar, "pail", PAIL_ML, 2, partner=self.partner)
        settle_pile(entry._replace(incident="2026-9"), Pile((row,)))
        self.settlement = Settlement.objects.get(department=self.department)
        for each in (self.lent, self.doomed, self.poison):
            each.refresh_from_db()
        self.recalled = LotFactory(concentrate=cast.ar, batch="AR-8", recalled_on=D0, recall_reference="notice 6")

    def _stored(self, code: str) -> Container:
        made = self.cast.pail(code=code)
        movements.receive(self.rig.entry(), container=made, lot=self.cast.lot, ml=10_000, place=self.cast.store)
        made.refresh_from_db()
        return made

    def _raised(self, words: str) -> RaisedDeficiency:
        by: dict[str, Any] = {"acting": OWNER, "clock": CLOCK, "photo": self.photo}
        return raise_deficiency(self.department, subject=self.line, words=words, effect=Effect.NOTE, **by)

    def _sample(self) -> Any:
        values = {"taken_on": D0 - timedelta(days=3), "passed": None, "report": "R-1"}
        return record_sample(self.department, lot=self.cast.lot, **values, acting=OWNER, clock=CLOCK)

    def _movement(self) -> Movement:
        entry = self.rig.entry(incident="2026-1", reason="small spill")
        posted = movements.use(entry, container=self.container, ml=1000, account=Account.INCIDENT)
        return Movement.objects.get(pk=posted.movement_id)

    def _planned(self) -> tuple[ParLine, StoreLimit, SupplySheet, Order]:
        """A line of the unit's list, the store's limits, and how the foam is bought."""
        cast, mine = self.cast, {"department": self.department}
        line = ParLine.objects.create(**mine, unit=cast.unit, concentrate=cast.ar, container_kind="pail", containers=9)
        ParLine.objects.create(**mine, unit=cast.unit, gear="flush bucket", pieces=1)
        limit = StoreLimit.objects.create(**mine, station=cast.station, concentrate=cast.ar, least_ml=90_000)
        sheet = SupplySheet.objects.create(
            **mine, concentrate=cast.ar, price=Decimal("31.00"), price_on=D0, price_source="invented quotation"
        )
        bought = {"concentrate": cast.ar, "station": cast.station, "pack_kind": "pail", "pack_ml": 18_927}
        order = Order.objects.create(**mine, **bought, reference="PO-1", containers=4, placed_on=D0, note="by truck")
        return line, limit, sheet, order

    def _submission(self) -> Submission:
        return Submission.objects.create(
            department=self.department,
            client_id=uuid4(),
            kind="use",
            body={"container": self.container.code, "volume": "500 gal", "account": "incident"},
            body_sha256="0" * 64,
            sent_by=self.cast.people[Role.CREW],
            identity="password",
            received_at=SIX,
            outcome="held",
            why="more than it holds",
        )

    def _sheets(self, tag: str) -> tuple[HandedOver, HandedOver]:
        """A handed-over sheet with nothing left to be answered, and one that was taken in."""
        cast = self.cast
        for record in (cast.station, cast.ar, cast.lot):
            record.refresh_from_db()
        fields = (cast.station.name, "store room", cast.ar.name, "AR-AFFF", "3x6", "pail", "1", "5 gal", cast.lot.batch)
        head = "Station,Where,Product,Type,%,Container,Qty,Size,Lot,Notes\n"
        both = []
        for number in (1, 2):
            text = f"{head}{','.join(fields)},sealed {'again' * (number - 1)}\n".encode()
            name = f"{tag} sheet {number}.csv"
            draft = handed_over.send_sheet(self.department, text, name=name, acting=OWNER, clock=CLOCK)
            layout = guessed(draft, self.department).layout
            handed_over.choose_layout(self.department, draft, layout, acting=OWNER, clock=CLOCK)
            for _ in range(2):  # label codes are asked about once the rows are whole
                draft.refresh_from_db()
                asked = asked_of(draft, self.department, D0).open
                answers = {each.group: each.proposed or "new" for each in asked}
                handed_over.answer_questions(self.department, draft, answers, acting=OWNER)
            both.append(draft)
            if number == 1:
                handed_over.begin_work(self.department, draft, handed_over.TAKING, acting=OWNER, clock=CLOCK)
                handed_over.do_work(self.department, draft, acting=OWNER, clock=CLOCK)
            draft.refresh_from_db()
        return both[1], both[0]

    def _name_after(self, tag: str) -> None:
        """Every name says whose it is."""
        Department.objects.filter(pk=self.department.pk).update(name=f"{tag} County")
        for rows, field in self.names():
            for row in rows:
                setattr(row, field, f"{tag} {getattr(row, field)}"[: row._meta.get_field(field).max_length])
                row.save(update_fields=[field])
        for each in (self.department, self.unit, self.vehicle, self.line, self.cast.lot, self.cast.ar, self.fuel):
            each.refresh_from_db()

    def names(self) -> Iterator[tuple[Any, str]]:
        """Every free text of the department that may be changed, by rows and column."""
        mine = {"department": self.department}
        yield self.department.stations.all(), "name"
        yield Unit.objects.filter(**mine), "designation"
        yield Vehicle.objects.filter(**mine), "shop_no"
        for rows in (self.department.concentrates, self.department.duties, self.department.foam_lines):
            yield rows.all(), "name"
        yield Fuel.objects.filter(**mine), "name"
        yield self.department.lots.all(), "batch"
        for rows in (self.department.setups, self.department.appliances):
            yield rows.all(), "name"
        yield self.department.places.exclude(compartment=""), "compartment"
        yield CompatibilityGroup.objects.filter(**mine), "name"
        yield CompatibilityGroup.objects.filter(**mine), "evidence"
        yield Listing.objects.filter(concentrate__department=self.department), "source"
        yield User.objects.filter(memberships__department=self.department), "last_name"
        yield self.department.samples.all(), "report"
        yield self.department.par_lines.all(), "note"
        yield self.department.supply_sheets.all(), "price_source"
        yield self.department.orders.all(), "reference"
        yield self.department.partners.all(), "name"
        yield self.department.pallets.all(), "name"
        yield self.department.pallets.all(), "programme"
        yield self.department.disposals.all(), "manifest"
        yield self.department.disposals.all(), "hauler"
        yield self.department.deliveries.all(), "order_reference"
        yield self.department.deliveries.all(), "supplier"
        yield self.department.settlements.all(), "incident"
        yield self.department.foam_tests.all(), "report"
        yield self.department.line_tests.all(), "certificate"
        yield self.department.hose_sizes.all(), "source"
        yield self.department.label_sheets.all(), "name"
        yield self.department.raised_deficiencies.all(), "words"
        yield self.department.hand_over_notes.all(), "words"
        yield self.department.devices.all(), "name"
        yield self.department.inspection_rules.all(), "name"
        yield self.department.inspection_rules.all(), "clause"

    def ids(self, of: str) -> dict[str, Any]:
        """What stands in the address of a page of this noun."""
        pairs = {
            "inspected": {"pk": self.rule.pk, "thing": self.tank.pk},
            "run": {"pk": self.rig.assignment.pk},
            "unit_check": {"pk": self.unit.pk, "check": self.check.pk},
            "unit_line": {"pk": self.unit.pk, "line": self.line.pk},
            "unit_deficiency": {"pk": self.unit.pk, "deficiency": self.deficiency.pk if self.deficiency else 0},
            "template": {"units": "us"},
            "note": {"pk": self.unit.pk, "note": self.note.pk},
            "dead_tablet": {"pk": 1, "key": "dead"},
            "dead_ticket": {"ticket": "dead"},
            "dead_label": {"code": "dead"},
            "dead_reset": {"uidb64": "MQ", "token": "dead"},
            "dead_invitation": {"token": "dead"},
            "": {},
            **self.inventories.pairs(),
        }
        return pairs[of] if of in pairs else {"pk": self.records()[of].pk}

    def records(self) -> dict[str, Any]:
        """One of each noun."""
        return {
            "unit": self.unit,
            "vehicle": self.vehicle,
            "appliance": self.line.proportioner,
            "foam_line": self.line,
            "setup": self.setup,
            "hose_size": self.hose,
            "duty": self.duty,
            "concentrate": self.cast.ar,
            "listing": self.listing,
            "fuel": self.fuel,
            "compatibility_group": self.group,
            "station": self.cast.station,
            "container": self.container,
            "lot": self.cast.lot,
            "recalled": self.recalled,
            "sample": self.sample,
            "movement": self.movement,
            "submission": self.submission,
            "membership": self.member,
            "tablet": self.tablet,
            "transfer": self.transfer,
            "par_line": self.par_line,
            "store_limit": self.store_limit,
            "supply_sheet": self.supply_sheet,
            "order": self.order,
            "sheet": self.sheet,
            "sheet_done": self.sheet_done,
            "partner": self.partner,
            "pallet": self.pallet,
            "delivery": self.delivery,
            "disposal": self.disposal,
            "settlement": self.settlement,
            "line_test": self.rig.test,
            "foam_test": self.foam_test,
            "label": self.label,
            "label_sheet": self.label_sheet,
            "raised": self.raised,
            "inspection_rule": self.rule,
            "closed_one": self.closed_one,
            "photo": self.photo,
        }

    def address(self, name: str) -> str:
        """Where the page of that name is, of this department's record."""
        return reverse(name, kwargs=self.ids(DOORS[name].of))

    def chief(self) -> User:
        """Who may do everything here."""
        return self.cast.people[Role.CHIEF]


SHARED = (
    "template",
    "dead_ticket",
    "dead_label",
    "dead_reset",
    "dead_invitation",
    "dead_tablet",
)  # in addresses, and nobody's record


class World:
    """A department, and another one that does not exist for it."""

    def __init__(self) -> None:
        self.near, self.far = House(), House(FAR)


# -- a page as a browser has it ----------------------------------------------------------------------------------------

Posted = dict[str, list[str]]


class PageForm(NamedTuple):
    """A form of a page: where it goes, how, and what a browser would send if nobody typed anything."""

    method: str
    action: str
    fields: Posted


class Page(HTMLParser):
    """The forms of a page, and every tag and attribute that a browser would see."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[PageForm] = []
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.addresses: list[str] = []
        self._select = self._area = ""
        self._options: list[tuple[str, bool]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the tag; read what belongs to a form."""
        had = {name: value or "" for name, value in attrs}
        self.tags.add(tag)
        self.attributes.update(had)
        self.addresses += [had[name] for name in ("href", "src", "action") if name in had]
        if tag == "form":
            self.forms.append(PageForm(had.get("method", "get").lower(), had.get("action", ""), {}))
        elif self.forms and "disabled" not in had:
            self._field(tag, had)

    def _field(self, tag: str, had: dict[str, str]) -> None:
        name, kind = had.get("name", ""), had.get("type", "text")
        if tag == "option":
            self._options.append((had.get("value", ""), "selected" in had))
        elif tag == "select" and name:
            self._select, self._options = name, []
        elif tag == "textarea" and name:
            self._area = name
            self._say(name, "")
        elif tag == "input" and name and kind not in ("submit", "button", "image"):
            self._tick(name, kind, had)

    def _tick(self, name: str, kind: str, had: dict[str, str]) -> None:
        if kind not in ("checkbox", "radio") or "checked" in had:
            self._say(name, had.get("value", "on" if kind == "checkbox" else ""))

    def handle_data(self, data: str) -> None:
        """The text of a textarea; browsers leave out its first line break."""
        if self._area:
            self.forms[-1].fields[self._area][-1] += data.removeprefix("\r\n").removeprefix("\n")

    def handle_endtag(self, tag: str) -> None:
        """A list says what was chosen, or its first entry."""
        if tag == "textarea":
            self._area = ""
        elif tag == "select" and self._select:
            chosen = [value for value, selected in self._options if selected]
            for value in chosen or [value for value, _ in self._options[:1]]:
                self._say(self._select, value)
            self._select = ""

    def _say(self, name: str, value: str) -> None:
        self.forms[-1].fields.setdefault(name, []).append(value)

    def posted(self, address: str) -> Posted | None:
        """What the page would post to an address; None where it has no such form."""
        for form in self.forms:
            if form.method == "post" and (form.action or address).split("?")[0] == address.split("?")[0]:
                return {name: values for name, values in form.fields.items() if name != "csrfmiddlewaretoken"}
        return None


# What a person types and chooses, beside what the form says as it is drawn, so that it is done.
FILLED: dict[str, Callable[[House], dict[str, Any]]] = {
    "invite": lambda house: {
        "first_name": "Ada",
        "last_name": "Finch",
        "email": "ada@quay.example",
        "role": "crew",
        "station": house.cast.station.pk,
    },
    "change_role": lambda house: {"role": "officer"},
    "end_membership": lambda house: {},
    "tablets": lambda house: {"name": "pump bay tablet", "station": house.cast.station.pk},
    "renew_tablet": lambda house: {},
    "retire_tablet": lambda house: {},
    "clear_pin": lambda house: {},
    "pin": lambda house: {"pin": "2580", "again": "2580"},
    "write_note": lambda house: {"about": "station", "words": "tank two reads low"},
    "read_note": lambda house: {},
    "end_note": lambda house: {},
    "my_unit": lambda house: {"unit": house.unit.pk},
    "choose_department": lambda house: {"department": house.department.pk},
    "choose_units": lambda house: {"units": "metric", "next": "/stock/"},
    "check_unit": lambda house: {f"l{house.line.pk}": "good", f"l{house.line.pk}_set": "300", "notes": "all well"},
    "assign_deficiency": lambda house: {"owner": house.cast.people[Role.CREW].pk, "due_on": D0.isoformat()},
    "accept_deficiency": lambda house: {"until": (D0 + timedelta(days=9)).isoformat(), "note": "a pail comes"},
    "container_sample": lambda house: {"taken_on": D0.isoformat(), "answer": "yes", "report": "R-2"},
    "lot_sample": lambda house: {"taken_on": D0.isoformat(), "answer": "no", "report": "R-3"},
    "sample_result": lambda house: {"answer": "yes", "report": "R-4"},
    "recall": lambda house: {"reference": "notice 7", "recalled_on": D0.isoformat()},
    "withdraw_recall": lambda house: {"reason": "another lot was meant"},
    "correct": lambda house: {"reason": "it was another pail"},
    "change_over": lambda house: {"unit": house.unit.pk, "vehicle": house.cast.spare_vehicle.pk},
    "receive": lambda house: {
        "codes": "N-1 N-2",
        "each_number": "5",
        "kind": "pail",
        "lot": house.cast.lot.pk,
        "owner": f"station-{house.cast.station.pk}",
        "compartment": "store room",
    },
    "pour": lambda house: {"source": house.container.code, "target": house.tank.code, "volume_number": "1"},
    "move": lambda house: {
        "codes": house.container.code,
        "owner": f"station-{house.cast.station.pk}",
        "compartment": "store room",
    },
    "use": lambda house: {
        "code": house.container.code,
        "volume_number": "1",
        "account": "incident",
        "incident": "2026-2",
    },
    "empty": lambda house: {"code": house.container.code, "account": "incident"},
    "flush": lambda house: {"codes": house.emptied.code},
    "inspect": lambda house: {"codes": house.rinsed.code},
    "open": lambda house: {"codes": house.rig.pails[0].code},
    "mark_mixed": lambda house: {"codes": house.container.code, "reason": "rain got in"},
    "mark_diluted": lambda house: {"codes": house.container.code, "reason": "more than the book has"},
    "quarantine": lambda house: {"codes": house.container.code, "reason": "label lost"},
    "release": lambda house: {"codes": house.rig.pails[1].code, "reason": "label found"},
    "inventory_open": lambda house: {"owner": f"vehicle-{house.inventories.free.pk}"},
    "inventory_place": lambda house: {f"s{house.rig.pails[1].pk}": "on"},
    "inventory_count": lambda house: {"answer": "gauge", "volume_number": "4"},
    "inventory_found": lambda house: {"kind": "pail", "size_number": "5", "answer": "sealed"},
    "inventory_close_count": lambda house: {},
    "inventory_more": lambda house: {},
    "inventory_confirm": lambda house: {},
    "inventory_volume_difference": lambda house: {"explanation": "leak"},
    "inventory_place_difference": lambda house: {"explanation": "unbooked move"},
    "inventory_seal_difference": lambda house: {"explanation": "opened and not booked"},
    "inventory_explain": lambda house: {f"cause_volume_{house.inventories.less.pk}": "leak"},
    "inventory_misread": lambda house: {},
    "inventory_match": lambda house: {"container": house.inventories.unseen.pk},
    "inventory_take_in": lambda house: {"code": "N-9", "concentrate": house.cast.ar.pk, "lot": house.cast.lot.pk},
    "inventory_close": lambda house: {"reason": ""},
    "inventory_abandon": lambda house: {"reason": "alarm"},
    "inventory_reopen": lambda house: {"reason": "misread"},
    "send_transfer": lambda house: {
        "codes": house.container.code,
        "owner": f"station-{house.cast.station.pk}",
    },
    "receive_transfer": lambda house: {f"came_{house.carried.pk}": "on"},
    "lend": lambda house: {"codes": house.container.code, "partner": house.partner.pk},
    "take_back": lambda house: {
        "codes": house.lent.code,
        "partner": house.partner.pk,
        "owner": f"station-{house.cast.station.pk}",
    },
    "borrow": lambda house: {
        "partner": house.partner.pk,
        "codes": "N-1 N-2",
        "each_number": "5",
        "kind": "pail",
        "lot": house.cast.lot.pk,
        "owner": f"station-{house.cast.station.pk}",
    },
    "replaced": lambda house: {
        "partner": house.partner.pk,
        "codes": "N-1",
        "each_number": "5",
        "kind": "pail",
        "lot": house.cast.lot.pk,
        "owner": f"station-{house.cast.station.pk}",
        "kept": house.lent.code,
    },
    "give_back": lambda house: {"codes": house.borrowed.code, "partner": house.partner.pk},
    "settle_pile": lambda house: {"codes_0": house.container.code},
    "set_aside": lambda house: {"codes": house.container.code, "pallet": house.pallet.pk},
    "dispose": lambda house: {
        "manifest": "M-2",
        "hauler": "hauler",
        "taken_on": D0.isoformat(),
        "codes": house.doomed.code,
    },
    "certify_disposal": lambda house: {"certificate": "C-1", "certified_on": D0.isoformat()},
    "reference_partner_add": lambda house: {"name": "Mill County"},
    "reference_partner_change": lambda house: {"name": "Renamed"},
    "reference_pallet_add": lambda house: {
        "name": "Pallet B",
        "programme": "state",
        "station": house.cast.station.pk,
        "takes": "any",
    },
    "reference_pallet_change": lambda house: {"name": "Renamed"},
    "recall_transfer": lambda house: {"reason": "the road is closed"},
    "lose_transfer": lambda house: {"codes": house.carried.code, "reason": "it fell off"},
    "label_sheet": lambda house: {"thing": f"unit-{house.unit.pk}", "sheet": "letter-30", "start": "1"},
    "withdraw_label": lambda house: {"reason": "stuck on another pail"},
    "answer_question": lambda house: {"words": "the crew of two shared it"},
    "after_use": lambda house: {f"c{house.tank.pk}_number": "1", "incident": "2026-3"},
    "refill": lambda house: {"source": house.store_pail.code, "target": house.tank.code, "volume_number": "1"},
    "log_inspection": lambda house: {"passed": "no", "words": "sludge"},
    "raise_deficiency": lambda house: {
        "thing": f"unit-{house.unit.pk}",
        "words": "ladder rail bent",
        "effect": "limited",
    },
    "deficiency_work": lambda house: {"words": "ordered a part"},
    "deficiency_follow_up": lambda house: {
        "owner": house.cast.people[Role.CREW].pk,
        "due_on": D0.isoformat(),
        "effect": "note",
    },
    "deficiency_close": lambda house: {"proof-words": "new seal, held for an hour"},
    "deficiency_reopen": lambda house: {"words": "it is dark again"},
    "held_entry": lambda house: {"close": "1", "reason": "entered on paper"},
    "sheet_columns": lambda house: {"days": "day"},
    "sheet_questions": lambda house: {
        f"shown-{name_of('code|pail')}": "1",
        f"typed-{name_of('code|pail')}": "Z-0001",
    },
    "sheet_try": lambda house: {},
    "sheet_take": lambda house: {},
    "sheet_discard": lambda house: {},
    "sheet_undo": lambda house: {"reason": "it was last year's"},
    "policy_change": lambda house: {"check_interval_h": "48"},
    "reference_concentrate_change": lambda house: {"name": "Renamed"},
    "reference_listing_change": lambda house: {"source": "another sheet"},
    "reference_fuel_change": lambda house: {"note": "also winter grade"},
    "reference_compatibility_group_change": lambda house: {
        "evidence": "letter 10",
        "concentrates": [house.cast.ar.pk, house.cast.class_a.pk],
    },
    "reference_duty_change": lambda house: {"name": "Renamed"},
    "reference_unit_change": lambda house: {"designation": "Renamed"},
    "reference_vehicle_change": lambda house: {"shop_no": "888"},
    "reference_appliance_change": lambda house: {"name": "Renamed"},
    "reference_foam_line_change": lambda house: {"name": "Renamed"},
    "reference_setup_change": lambda house: {"name": "Renamed"},
    "reference_hose_size_change": lambda house: {"coefficient": "14.5"},
    "reference_hose_size_add": lambda house: {"diameter_in": "2", "coefficient": "8", "source": "invented"},
    "reference_station_change": lambda house: {"name": "Renamed"},
    "reference_concentrate_add": lambda house: {"name": "Demo F3", "kind": "F3", "pfas": "unknown"},
    "reference_listing_add": lambda house: {
        "concentrate": house.cast.class_a.pk,
        "fuel": house.fuel.pk,
        "use": "spill",
        "pct": "3",
        "rate_number": "0.1",
        "rate_unit": "gpm/ft2",
        "source": "invented",
    },
    "reference_fuel_add": lambda house: {"name": "aviation fuel", "group": "hydrocarbon", "source": "invented"},
    "reference_compatibility_group_add": lambda house: {
        "name": "both",
        "concentrates": [each.pk for each in house.spare],
        "evidence": "letter 9",
    },
    "reference_duty_add": lambda house: {
        "name": "second spill",
        "fuel": house.fuel.pk,
        "area_m2_number": "900",
        "use": "spill",
        "purpose": "fire",
        "source": "invented",
    },
    "reference_unit_add": lambda house: {
        "designation": "Engine 99",
        "station": house.cast.station.pk,
        "runs_on": house.cast.spare_vehicle.pk,
        "state": "in",
    },
    "reference_vehicle_add": lambda house: {
        "shop_no": "999",
        "kind": "engine",
        "station": house.cast.station.pk,
        "water_l_number": "500",
        "state": "in",
    },
    "reference_appliance_add": lambda house: {
        "owner": f"unit-{house.unit.pk}",
        "name": "second nozzle",
        "kind": "fog nozzle",
        "rated_flow_lpm_number": "95",
    },
    "reference_foam_line_add": lambda house: {
        "name": "Crosslay 2",
        "proportioner": house.line.proportioner.pk,
        "nozzle": house.line.nozzle.pk,
        "parked_pct": "3",
        "pails": "on",
    },
    "reference_setup_add": lambda house: {"name": "one", "lines": [house.line.pk]},
    "reference_station_add": lambda house: {"name": "Hilltop", "check_interval_h": "24"},
    "order_place": lambda house: {
        "reference": "PO-2",
        "concentrate": house.cast.ar.pk,
        "station": house.cast.station.pk,
        "containers": "4",
    },
    "order_arrival": lambda house: {"came": "2"},
    "par_look": lambda house: {"g0": "good"},
    "par_table": lambda house: {"new": "1", "n0-seen": "", "n0-gear": "hydrant key", "n0-pieces": "1"},
    "store_table": lambda house: {
        "new": "1",
        "n0-seen": "",
        "n0-concentrate": house.cast.class_a.pk,
        "n0-least_ml_number": "5",
    },
    "order_close": lambda house: {"because": "the maker stopped making it"},
    "reference_par_line_add": lambda house: {"gear": "flush bucket", "compartment": "R1"},
    "reference_par_line_change": lambda house: {"containers": "12"},
    "reference_store_limit_add": lambda house: {
        "station": house.cast.station.pk,
        "concentrate": house.cast.class_a.pk,
        "least_ml_number": "10",
    },
    "reference_store_limit_change": lambda house: {"most_ml_number": "60"},
    "reference_supply_sheet_add": lambda house: {
        "concentrate": house.cast.class_a.pk,
        "price": "16.00",
        "price_on": D0.isoformat(),
        "price_source": "invented",
    },
    "reference_supply_sheet_change": lambda house: {"lead_time_d": "60"},
    "policy_pack": lambda house: {"pack": "marine", "turn": "on"},
    "sample_limits": lambda house: {"ph_low": "6.5"},
    "line_test_add": lambda house: {
        "line": house.line.pk,
        "concentrate": house.cast.ar.pk,
        "tested_on": D0.isoformat(),
        "percent": "3",
        "way": "report",
        "measured": "3.2",
        "answer": "passed",
    },
    "foam_test_add": lambda house: {
        "line": house.line.pk,
        "concentrate": house.cast.ar.pk,
        "tested_on": D0.isoformat(),
        "cylinder_number": "1000",
        "mass_number": "150",
        "series": "0=0;1=9",
    },
    "reference_inspection_rule_change": lambda house: {"name": "Renamed"},
    "reference_inspection_rule_add": lambda house: {
        "name": "lines after use",
        "of": "line",
        "rhythm": "after use",
        "station": house.cast.station.pk,
        "owner": house.cast.people[Role.OFFICER].pk,
    },
    "reference_label_sheet_change": lambda house: {"name": "Renamed"},
    "reference_label_sheet_add": lambda house: {**PRESETS["a4-24"]._asdict(), "name": "our own"},
}

DRAWN_ON = {  # a button whose form stands on another page
    "policy_pack": "policy",
    "assign_deficiency": "unit_deficiency",
    "accept_deficiency": "unit_deficiency",
    "change_role": "person",
    "label_sheet": "labels",
    "withdraw_label": "label",
    "deficiency_work": "deficiency",
    "deficiency_follow_up": "deficiency",
    "deficiency_close": "deficiency",
    "end_membership": "person",
    "inventory_close_count": "inventory",
    "choose_units": "account",
    "choose_department": "account",
    "order_arrival": "order",
    "order_close": "order",
}


def chosen(house: House, name: str) -> str:
    """What stands behind the address where a choice goes before the form."""
    asked = {
        "reference_duty_add": {"unit": house.unit.pk, "kind": "spill"},
        "reference_foam_line_add": {"owner": f"unit-{house.unit.pk}"},
        "reference_setup_add": {"owner": f"unit-{house.unit.pk}"},
        "reference_par_line_add": {"unit": house.unit.pk},
        "settle_pile": {
            "incident": "2026-3",
            "owner_0": f"unit-{house.unit.pk}",
            "size_0": f"pail-{house.container.capacity_ml}",
            "what_0": house.cast.ar.pk,
            "n_0": "1",
        },
    }.get(name)
    return f"?{urlencode(asked)}" if asked else ""


def filled(client: Client, house: House, name: str) -> tuple[str, Posted]:
    """Where a form goes and what it posts once a person has filled it in, every field of it among that."""
    address = house.address(name) + chosen(house, name)
    drawn_on = house.address(DRAWN_ON[name]) if name in DRAWN_ON else address
    page = Page(client.get(drawn_on).content.decode())
    posted = page.posted(address) or {}
    typed = {key: value if isinstance(value, list) else [value] for key, value in FILLED[name](house).items()}
    confirmed = {"confirm": ["1"], "save": ["1"]}  # the page of what it will do has been read
    return address, {**posted, **{key: [str(each) for each in value] for key, value in typed.items()}, **confirmed}


# -- browsers and what they get ----------------------------------------------------------------------------------------


def browser(user: User | None, **values: Any) -> Client:
    """A browser of somebody, or of nobody."""
    client = Client(**values)
    if user is not None:
        client.force_login(user)
    return client


@contextmanager
def undone() -> Iterator[None]:
    """Whatever was done is taken back, so that the next person finds everything as it was."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def forms_of(answer: Any) -> dict[str, Any]:
    """The forms that a page was drawn with, filters among them, by their names."""
    found: dict[str, Any] = {}
    for context in answer.context or ():
        for layer in context.dicts:
            for name, value in layer.items():
                form = value if isinstance(value, BaseForm) else getattr(value, "form", None)
                if isinstance(form, BaseForm):
                    found[name] = form
    return found


def words(answer: Any) -> str:
    """What an answer says: a page, or every part of a workbook."""
    body = answer.getvalue()
    if answer.get("Content-Type", "").startswith("image/"):
        return ""
    if answer.get("Content-Type", "").startswith("application/vnd"):
        with ZipFile(BytesIO(body)) as book:
            return "".join(book.read(part).decode() for part in book.namelist())
    return str(body.decode())


# -- whether anything was changed --------------------------------------------------------------------------------------


def everything() -> dict[str, list[Any]]:
    """Every row of every table of the product, of all departments; but not that somebody signed in."""
    found: dict[str, list[Any]] = {}
    for model in apps.get_app_config("readiness").get_models():
        columns = [field.attname for field in model._meta.concrete_fields if field.name != "last_login"]
        if model is not SignInAttempt:
            found[model.__name__] = list(model._default_manager.order_by("pk").values_list(*columns))
    return found
