"""Every address of the site with what each kind of person finds behind it, and two departments to try it on.

The table is written by hand from who may do what (the roles of the product's design), not from the code: a page that
opens for somebody else than it should, or that stands nowhere here, fails in test_who_may.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
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

from readiness.actions import movements
from readiness.actions.evidence import record_sample
from readiness.actions.permissions import OWNER
from readiness.models import (
    CompatibilityGroup,
    Container,
    Deficiency,
    Department,
    Fuel,
    Listing,
    Membership,
    Movement,
    Role,
    Setup,
    SetupLine,
    SignInAttempt,
    Submission,
    Unit,
    User,
    Vehicle,
)
from readiness.models.movements import Account
from tests.cast import CLOCK, D0, SIX, Cast, ConcentrateFactory
from tests.judged import Rigged

# -- the table ---------------------------------------------------------------------------------------------------------

EVERYBODY = frozenset(Role)
HANDS = EVERYBODY - {Role.OBSERVER}
OFFICERS = frozenset({Role.OFFICER, Role.LOGISTICS, Role.CHIEF})
STOCK = frozenset({Role.LOGISTICS, Role.CHIEF})
CHIEF = frozenset({Role.CHIEF})


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


def reference(one: str, many: str, *, retire: int = 0) -> dict[str, Door]:
    """The pages of a reference noun. retire: what retiring the house's own record answers; 409 where it is needed."""
    name = f"reference_{one}"
    found = {
        f"reference_{many}": seen(),
        f"{name}_add": form(CHIEF),
        name: seen(one),
        f"{name}_change": form(CHIEF, one),
    }
    if retire:
        found[f"{name}_retire"] = pressed(CHIEF, retire, one)
        found[f"{name}_back"] = pressed(CHIEF, 409, one)  # it is in use already
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
    # crew
    "my_unit": Door(Way(EVERYBODY), Way(EVERYBODY, 302)),
    "crew_unit": seen("unit"),
    "check_unit": form(HANDS, "unit"),
    "checks": seen("unit"),
    "check": seen("unit_check"),
    "check_result": seen("unit_check"),
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
    "lot_sample": form(STOCK, "lot"),
    "sample_result": form(STOCK, "sample"),
    "search": seen(),
    # movements
    "movements": seen(),
    "movement": seen("movement"),
    "correct": form(STOCK, "movement"),
    "change_over": form(OFFICERS),
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
    "held": Door(Way(OFFICERS)),
    "held_entry": form(OFFICERS, "submission"),
    # workbook
    "workbook": form(STOCK),
    "workbook_check": Door(Way(STOCK), None, "dead_ticket"),
    "workbook_confirm": pressed(STOCK, 200),
    "workbook_template": Door(Way(STOCK), None, "template"),
    # policy, reference data, changes
    "policy": seen(),
    "policy_change": form(CHIEF),
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
    **reference("station", "stations", retire=409),  # a unit stands there
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

FAR = "Farland"  # in every name of the other department: whoever reads it there has read what does not exist for them


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
        self.setup = Setup.objects.create(department=self.department, unit=self.unit, name="alone")
        SetupLine.objects.create(setup=self.setup, line=self.line)
        self.spare = [ConcentrateFactory(department=self.department) for _ in range(2)]
        movements.quarantine(rig.entry(reason="no label"), container=rig.pails[1])
        self.emptied, self.rinsed = self._emptied(f"E-{tag or 1}"), self._emptied(f"F-{tag or 1}")
        movements.flush(rig.entry(), container=self.rinsed)
        self.rinsed.refresh_from_db()
        self.sample = self._sample()
        self.movement = self._movement()
        self.submission = self._submission()
        self.member = Membership.objects.get(department=self.department, role=Role.CREW)
        if tag:
            self._name_after(tag)
        rig.judge()
        self.deficiency = Deficiency.objects.filter(unit=self.unit, closed_on=None).first()
        assert self.deficiency is not None, "two pails are short of nine"

    def _emptied(self, code: str) -> Container:
        made = self.rig.pail(code)
        movements.empty(self.rig.entry(), container=made)
        made.refresh_from_db()
        return made

    def _sample(self) -> Any:
        values = {"taken_on": D0 - timedelta(days=3), "passed": None, "report": "R-1"}
        return record_sample(self.department, lot=self.cast.lot, **values, acting=OWNER, clock=CLOCK)

    def _movement(self) -> Movement:
        entry = self.rig.entry(incident="2026-1", reason="small spill")
        posted = movements.use(entry, container=self.container, ml=1000, account=Account.INCIDENT)
        return Movement.objects.get(pk=posted.movement_id)

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

    def ids(self, of: str) -> dict[str, Any]:
        """What stands in the address of a page of this noun."""
        pairs = {
            "unit_check": {"pk": self.unit.pk, "check": self.check.pk},
            "unit_deficiency": {"pk": self.unit.pk, "deficiency": self.deficiency.pk if self.deficiency else 0},
            "template": {"units": "us"},
            "dead_ticket": {"ticket": "dead"},
            "dead_reset": {"uidb64": "MQ", "token": "dead"},
            "dead_invitation": {"token": "dead"},
            "": {},
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
            "duty": self.duty,
            "concentrate": self.cast.ar,
            "listing": self.listing,
            "fuel": self.fuel,
            "compatibility_group": self.group,
            "station": self.cast.station,
            "container": self.container,
            "lot": self.cast.lot,
            "sample": self.sample,
            "movement": self.movement,
            "submission": self.submission,
            "membership": self.member,
        }

    def address(self, name: str) -> str:
        """Where the page of that name is, of this department's record."""
        return reverse(name, kwargs=self.ids(DOORS[name].of))

    def chief(self) -> User:
        """Who may do everything here."""
        return self.cast.people[Role.CHIEF]


SHARED = ("template", "dead_ticket", "dead_reset", "dead_invitation")  # in addresses, and nobody's record


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
    "held_entry": lambda house: {"close": "1", "reason": "entered on paper"},
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
}

DRAWN_ON = {  # a button whose form stands on another page
    "assign_deficiency": "unit_deficiency",
    "accept_deficiency": "unit_deficiency",
    "change_role": "person",
    "end_membership": "person",
    "choose_units": "account",
    "choose_department": "account",
}


def chosen(house: House, name: str) -> str:
    """What stands behind the address where a choice goes before the form."""
    asked = {
        "reference_duty_add": {"unit": house.unit.pk, "kind": "spill"},
        "reference_foam_line_add": {"owner": f"unit-{house.unit.pk}"},
        "reference_setup_add": {"owner": f"unit-{house.unit.pk}"},
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
