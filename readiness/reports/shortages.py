"""Units that are short of concentrate, by how much, and where matching stock lies.

Read from the assessments as they stand, so that this list says what the unit's page says.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from math import ceil
from typing import NamedTuple

from readiness import models as m
from readiness.engineering import records as r
from readiness.engineering.options import textbook_of
from readiness.engineering.suiting import fit
from readiness.engineering.tasks import spill_task, unanswerable
from readiness.engineering.units import ML_PER_L, pails_for, tolerance_ml
from readiness.reports.fleet import SPILL_COLUMNS, load_products, spill_of
from readiness.reports.inventory import Inventory
from readiness.reports.store_matches import Match, Stores, nearest_first
from readiness.reports.verdicts import Kept, read_kept

PAIL_ML = 18_927  # 5 US gal, the usual pail
_NOTHING_SUITS = frozenset({"wrong_foam", "not_listed", "no_listed_rate", "no_stock", "no_reach"})


class Tank(NamedTuple):
    """A tank or reservoir that feeds a line: its code, the name of what it is set aside for, and what still goes in."""

    code: str
    concentrate: str
    free_ml: int


class Short(NamedTuple):
    """One duty of a unit that is short. `short_ml` None: nothing aboard counts and no need could be worked out.

    `by_pails`: its lines draw from loose pails; `tanks`: what else feeds them. Pails beside a line that
    draws from a tank alone do not help: they are poured into it.
    """

    unit_id: int
    unit: str
    station: str
    duty: str
    fuel: str
    status: str
    concentrate: str
    aboard_suits: bool
    need_ml: int | None
    usable_ml: int
    usable_containers: int
    short_ml: int | None
    pails: int | None
    against: str
    as_of: datetime
    matches: tuple[Match, ...]
    by_pails: bool
    tanks: tuple[Tank, ...]


class _Line(NamedTuple):
    """What a foam line draws from."""

    pails: bool
    tanks: tuple[Tank, ...]


def shortages(department: m.Department, inventory: Inventory) -> tuple[Short, ...]:
    """Every duty that is short of concentrate, the worst unit first. Units whose answer cannot be read are left out."""
    rows = m.Assessment.objects.filter(department=department, superseded_at__isnull=True, unit__retired_on__isnull=True)
    rows = rows.select_related("unit__station").order_by("unit__designation")
    finder = _Finder(department, inventory)
    found = [short for row in rows for short in _of_unit(row, finder)]
    return tuple(sorted(found, key=lambda short: (-r.RANK.get(short.status, 0), short.unit, short.duty)))


def _of_unit(row: m.Assessment, finder: _Finder) -> Iterable[Short]:
    try:
        kept = read_kept(row.answers)
    except (KeyError, TypeError, ValueError):
        return  # another version's assessment: the night writes it anew, and the fleet page says that it is old
    for answer in kept.verdict.answers:
        short = _short(row, kept, answer, finder)
        if short is not None:
            yield short


def _short(row: m.Assessment, kept: Kept, answer: r.Answer, finder: _Finder) -> Short | None:
    nothing = not answer.need_l and any(each.code in _NOTHING_SUITS for each in answer.deficiencies)
    short_ml = ceil(answer.short_l * ML_PER_L)
    if not nothing and short_ml <= tolerance_ml(answer.containers):
        return None
    fuel = next((facts.fuel for facts in kept.duties if facts.id == answer.duty_id), "")
    lines = finder.lines_of(row.unit_id, answer.setup)
    said = Short(
        unit_id=row.unit_id,
        unit=row.unit.designation,
        station=row.unit.station.name,
        duty=answer.name,
        fuel=fuel,
        status=answer.status,
        concentrate=", ".join(finder.name(pk) for pk in answer.concentrate_ids),
        aboard_suits=not nothing,
        need_ml=ceil(answer.need_l * ML_PER_L),
        usable_ml=round(answer.usable_l * ML_PER_L),
        usable_containers=answer.containers,
        short_ml=short_ml,
        pails=pails_for(short_ml, PAIL_ML),
        against="line need" if answer.usable_l >= answer.textbook_l else "textbook need",
        as_of=row.at,
        matches=finder.matches(answer.concentrate_ids, row.unit.station.name, short_ml),
        by_pails=any(line.pails for line in lines),
        tanks=tuple(dict.fromkeys(tank for line in lines for tank in line.tanks)),
    )
    return finder.other(said, answer.duty_id) if nothing else said


class _Finder:
    """Stock in stores by concentrate, and which concentrates suit a duty."""

    def __init__(self, department: m.Department, inventory: Inventory) -> None:
        self.inventory = inventory
        self.stores = Stores(inventory)
        self.concentrates, fuels, self.policy = load_products(department.pk)
        self.duties = _spills(department, fuels)
        self.lines, self.of_unit = _lines(department)

    def lines_of(self, unit: int, setup: Iterable[int]) -> list[_Line]:
        """The lines of the option that was judged, else all that the unit has tonight."""
        chosen = [pk for pk in setup if pk in self.lines] or self.of_unit.get(unit, [])
        return [self.lines[pk] for pk in chosen]

    def name(self, concentrate: int) -> str:
        """A concentrate's name."""
        product = self.inventory.products.get(concentrate)
        return product.name if product else "?"

    def matches(self, concentrates: Iterable[int], station: str, short_ml: int | None) -> tuple[Match, ...]:
        """The stores that have any of these, the unit's own first."""
        return self.stores.matches(concentrates, station, short_ml)

    def other(self, short: Short, duty_id: int) -> Short:
        """Of a duty for which nothing aboard counts: what would, its textbook need, and where it lies."""
        duty = self.duties.get(duty_id)
        needs = {pk: self._textbook_ml(each, duty) for pk, each in self.concentrates.items()} if duty else {}
        suiting = {pk: need for pk, need in needs.items() if need is not None}
        least = min(suiting.values(), default=None)
        # each at its own need: five pails of one may do where another, at its percentage and rate, takes eight
        found = [each for pk, need in suiting.items() for each in self.matches([pk], short.station, need)]
        return short._replace(
            concentrate="",
            need_ml=least,
            short_ml=least,
            pails=None if least is None else pails_for(least, PAIL_ML),
            against="textbook need",
            matches=tuple(sorted(found, key=nearest_first)),
        )

    def _textbook_ml(self, concentrate: r.Concentrate, duty: r.Spill) -> int | None:
        """The textbook need with a concentrate [mL], None where it does not suit or no rate is known."""
        suits = fit(concentrate, duty.fuel, duty.use, self.policy)
        if suits.listing is None or unanswerable(duty, self.policy) is not None:
            return None
        task = spill_task(duty, concentrate, suits.listing, 0, self.policy)
        return None if task is None else ceil(textbook_of(duty, task) * ML_PER_L)


def _lines(department: m.Department) -> tuple[dict[int, _Line], dict[int, list[int]]]:
    """Each line with what it draws from, and the lines of each unit: its own and those of its vehicle."""
    feeding: dict[int, list[Tank]] = {}
    sources = m.LineSource.objects.filter(line__department=department).order_by("id")
    columns = ("line", "container__code", "container__concentrate__name", "container__capacity_ml")
    for line, code, name, capacity, contents in sources.values_list(*columns, "container__contents_ml"):
        feeding.setdefault(line, []).append(Tank(code, name or "", capacity - contents))
    running = m.Assignment.objects.filter(department=department, to_at__isnull=True)
    units = dict(running.values_list("vehicle", "unit"))
    lines: dict[int, _Line] = {}
    of_unit: dict[int, list[int]] = {}
    rows = m.FoamLine.objects.filter(department=department, retired_on__isnull=True).order_by("id")
    for pk, unit, vehicle, pails in rows.values_list("id", "unit", "vehicle", "pails"):
        lines[pk] = _Line(pails, tuple(feeding.get(pk, ())))
        owner = unit or units.get(vehicle or 0)
        if owner is not None:
            of_unit.setdefault(owner, []).append(pk)
    return lines, of_unit


def _spills(department: m.Department, fuels: Mapping[int, r.Fuel]) -> dict[int, r.Spill]:
    rows = m.Duty.objects.filter(department=department, kind="spill", retired_on__isnull=True)
    return {row[0]: spill_of(row, fuels) for row in rows.values_list(*SPILL_COLUMNS)}
