"""Containers under lock, and what a draft does to them. Only actions/ledger.py uses this."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from functools import cached_property
from typing import Any, NamedTuple
from uuid import UUID

from django.db import connection
from django.db.models import Max, Model

from readiness.actions.away import away, refuse_draw, refuse_filling, refuse_move
from readiness.actions.clock import calendar_day_of
from readiness.actions.drafts import Draft, Draw, Line, MarkAs, Move, Refused
from readiness.actions.inserting import insert, insert_rows
from readiness.actions.progress import Told, nobody
from readiness.engineering.lots import draw_in_proportion
from readiness.engineering.units import tolerance_ml
from readiness.engineering.wording import volume_text, volumes_text
from readiness.models import (
    CompatibilityGroup,
    Container,
    Department,
    Holding,
    Lot,
    Marking,
    MovementLine,
    Place,
    Policy,
    Relocation,
)
from readiness.models.movements import Account, Mark
from readiness.models.organisation import PLACE_NAMED_BY
from readiness.reports.recounts import mark_of

BATCH = 500


class LotFacts(NamedTuple):
    """What the book must know of a lot to judge a pour."""

    concentrate: int
    concentrate_name: str
    name: str
    kind: str
    pfas: str


class State:
    """A locked container as it stands while drafts are applied to it."""

    __slots__ = ("before", "holdings", "moved_at", "row", "touched")

    def __init__(self, row: Container, holdings: dict[int, int], moved_at: datetime | None) -> None:
        self.row = row
        self.before = dict(holdings)
        self.holdings = holdings
        self.moved_at = moved_at
        self.touched = 0

    def mark(self, mark: Mark) -> str:
        """The mark as the ledger writes it."""
        return mark_of(self.row, mark)

    def set_mark(self, mark: Mark, new: str) -> None:
        """Give the mark the value that the ledger wrote."""
        if mark is Mark.CONCENTRATE:
            self.row.concentrate_id = int(new) if new else None
        elif mark is Mark.OPENED_ON:
            self.row.opened_on = datetime.fromisoformat(new).date() if new else None
        else:
            setattr(self.row, mark.value, new == "yes")


class Book:
    """The locked containers of some drafts, the lots and places they name, and the rows that will be written.

    unborn: containers with a number that nobody else has and that are in no table yet: they are written with what the
    drafts make of them, and there is nothing to lock or to look up.
    """

    def __init__(self, department: Department, drafts: Sequence[Draft], unborn: Sequence[Container] = ()) -> None:
        self.department = department
        self.unborn = unborn
        self.lines: list[tuple[Any, ...]] = []
        self.relocations: list[tuple[Any, ...]] = []
        self.markings: dict[tuple[UUID, int, Mark], list[Any]] = {}
        self.states = {row.pk: State(row, {}, None) for row in unborn}
        ids = sorted({container for draft in drafts for container in draft.containers} - self.states.keys())
        self.states |= _lock(department, ids, moving=any(draft.moves for draft in drafts))
        self.lots = _lots(department, drafts, self.states.values())
        self.places = _places(department, drafts, self.states)
        self.places_before = {state.row.place_id for state in self.states.values()}

    @cached_property
    def compatible(self) -> list[frozenset[int]]:
        """Which concentrates may meet; asked only when some would."""
        return _compatible(self.department)

    @cached_property
    def drills_with_pfas(self) -> bool:
        """Whether the department's policy lets stock with PFAS go to a drill; asked only when some would."""
        return Policy.objects.filter(department=self.department, drill_with_pfas=True).exists()

    # -- applying ---------------------------------------------------------------------------------------------------

    def apply(self, draft: Draft) -> None:
        """Do what the draft says to the states, or raise Refused."""
        touched = sorted(draft.containers)
        if draft.corrects is None:
            self._refuse_retired(touched)
        lines = list(draft.lines)
        for draw in draft.draws:
            self._open(draft, draw.source)
            lines += self._drawn(draft, draw)
        lines = self._fitted(lines)
        if draft.corrects is None:
            self._refuse_away(lines)
            self._refuse_drill(draft, lines)
        for line in lines:
            self._pour(draft, line)
        for n, line in enumerate(lines, 1):
            self._remember(draft, n, line)
        for move in draft.moves:
            self._move(draft, move)
        marked_before = len(self.markings)
        for mark in draft.marks:
            self._mark(draft, mark)
        if not (lines or draft.moves or len(self.markings) > marked_before):
            self._refuse_nothing(draft)
        for container in touched:
            state = self.state(container)
            self._one_concentrate(state)
            state.touched += 1

    def state(self, container: int) -> State:
        """The locked state of a container; raises Refused for one that is not the department's."""
        found = self.states.get(container)
        if found is None:
            raise Refused(f"There is no container number {container} in {self.department}.")
        return found

    def _place(self, container: int) -> Place | None:
        return self.places.get(self.state(container).row.place_id or 0)

    def _refuse_nothing(self, draft: Draft) -> None:
        """An entry that changes nothing is a mistake of whoever made it."""
        if not draft.marks:
            raise Refused("This entry says nothing: name a volume, a place or a mark.")
        marked = ", ".join(str(self.state(container).row) for container in sorted(draft.containers))
        raise Refused(f"{marked} is marked like that by the book already: nothing was changed.")

    def _refuse_retired(self, containers: Iterable[int]) -> None:
        """What left the book for good stays out of it, until the entry that took it out is corrected."""
        for container in containers:
            row = self.state(container).row
            if row.retired_on:
                raise Refused(f"{row} left the book on {row.retired_on}: correct the entry that took it out first.")

    def _refuse_away(self, lines: Sequence[Line]) -> None:
        """Nothing goes out of or into what is in transit, lent or on a take-back pallet, but what may."""
        for line in lines:
            if isinstance(line.where, Account) or line.lot not in self.lots:
                continue
            row, place = self.state(line.where).row, self._place(line.where)
            if not away(place):
                continue
            if line.ml > 0:
                refuse_filling(row, place, self.lots[line.lot])
                continue
            for other in lines:
                if other.lot == line.lot and other.ml > 0:
                    to = other.where if isinstance(other.where, Account) else self._place(other.where)
                    refuse_draw(row, place, to)

    def _refuse_drill(self, draft: Draft, lines: Sequence[Line]) -> None:
        """Stock not known to be without PFAS does not go to a drill, unless the policy or an officer says so."""
        drilled = [] if draft.override else [line for line in lines if line.where is Account.DRILL and line.ml > 0]
        for lot in (self.lots[line.lot] for line in drilled if line.lot in self.lots):
            if lot.pfas != "no" and not self.drills_with_pfas:
                why = "holds PFAS" if lot.pfas == "yes" else "is not known to be without PFAS"
                raise Refused(
                    f"{lot.concentrate_name} (lot {lot.name}) {why}: by this department’s policy it is not used in "
                    "drills. If it was used all the same, an officer enters that under “Use or lose”, with the reason."
                )

    def _shown(self, ml: int) -> str:
        return volume_text(ml, self.department.units)

    def _drawn(self, draft: Draft, draw: Draw) -> list[Line]:
        state = self.state(draw.source)
        if draw.ml <= 0:
            raise Refused(f"{draw.ml} mL was read: a volume taken from {state.row} is more than nothing.")
        held = sum(state.holdings.values())
        ml = held if held < draw.ml <= held + tolerance_ml(1) else draw.ml  # "5 gal" of a pail is all of it
        if ml > held:
            read, has = volumes_text(draw.ml, held, self.department.units)
            raise Refused(
                f"{read} was read, but {state.row} holds {has} by the book: "
                "enter what was really taken, or take inventory of it first."
            )
        if draw.source == draw.target:
            raise Refused(f"{state.row} cannot be poured into itself.")
        if not isinstance(draw.target, Account):
            self._check_source(draft, state)
        parts = draw_in_proportion(state.holdings, ml).items()
        return [line for lot, ml in parts for line in (Line(draw.source, lot, -ml), Line(draw.target, lot, ml))]

    def _check_source(self, draft: Draft, state: State) -> None:
        """What a container may not pass on to another, unless an officer overrides."""
        if draft.override:
            return
        row = state.row
        for wrong, words in ((row.mixed, "mixed"), (row.diluted, "diluted"), (row.quarantined, "quarantined")):
            if wrong:
                raise Refused(f"{row} is {words}: nothing from it goes into another container.")

    def _pour(self, draft: Draft, line: Line) -> None:
        if isinstance(line.where, Account):
            if line.lot not in self.lots:
                raise Refused(f"There is no lot number {line.lot} in {self.department}.")
            return
        state = self.state(line.where)
        if line.lot not in self.lots:
            raise Refused(f"There is no lot number {line.lot} in {self.department}.")
        if line.ml > 0 and draft.corrects is None:
            self._check_target(draft, state, line)
        self._add(state, line)

    def _check_target(self, draft: Draft, state: State, line: Line) -> None:
        row, lot = state.row, self.lots[line.lot]
        why = self._why_not(state, lot)
        if why and not draft.override:
            raise Refused(why)
        if why and not row.quarantined:
            self._set(draft, state, Mark.MIXED, "yes")
        if row.concentrate_id is None:
            self._set(draft, state, Mark.CONCENTRATE, str(lot.concentrate))
        if row.flushed:
            self._set(draft, state, Mark.FLUSHED, "no")

    def _why_not(self, state: State, lot: LotFacts) -> str:
        """Why this lot may not go into that container; empty when it may."""
        row = state.row
        if row.quarantined:
            return f"{row} is quarantined: nothing goes into it until it is released."
        if row.mixed:
            return f"{row} is mixed: empty, flush and inspect it before anything goes in."
        if row.concentrate_id is None or row.concentrate_id == lot.concentrate:
            return ""
        if any({row.concentrate_id, lot.concentrate} <= group for group in self.compatible):
            return ""
        held = "holds" if row.contents_ml else "held, and has not been flushed and inspected since,"
        return (
            f"{row} {held} {row.concentrate}; {lot.concentrate_name} (lot {lot.name}) must not go into it: "
            "different concentrates never meet in one container."
        )

    def _add(self, state: State, line: Line) -> None:
        row = state.row
        held = state.holdings.get(line.lot, 0) + line.ml
        if held < 0:
            lot = self.lots[line.lot]
            raise Refused(
                f"{row} holds {self._shown(held - line.ml)} of lot {lot.name} by the book: "
                f"{self._shown(-line.ml)} cannot come out of it."
            )
        if held:
            state.holdings[line.lot] = held
        else:
            state.holdings.pop(line.lot, None)
        row.contents_ml += line.ml

    def _one_concentrate(self, state: State) -> None:
        """Whatever the movement did, a container that is not mixed holds what it is set aside for."""
        row = state.row
        others = {self.lots[lot].concentrate for lot in state.holdings} - {row.concentrate_id}
        if row.mixed or not others:
            return
        if not others.issubset(set().union(*(group for group in self.compatible if row.concentrate_id in group))):
            raise Refused(f"{row} has been cleaned or filled with something else since: this cannot go back into it.")

    def _fitted(self, lines: list[Line]) -> list[Line]:
        """The lines, no container coming above its capacity by the whole of them.

        Volumes are rounded to millilitres each by itself, so 16 gal and 4 gal come to 1 mL more than a 20-gal tank:
        what is over by no more than the rounding is left out of the largest line and of the one against it.
        """
        net: dict[int, int] = defaultdict(int)
        for line in lines:
            if not isinstance(line.where, Account):
                net[line.where] += line.ml
        for container, ml in net.items():
            row = self.state(container).row
            over = row.contents_ml + ml - row.capacity_ml
            if ml <= 0 or over <= 0:
                continue
            into = sum(line.where == container and line.ml > 0 for line in lines)
            trimmed = _trimmed(lines, container, over) if over <= tolerance_ml(into) and over < ml else None
            if trimmed is None:
                most, would = volumes_text(row.capacity_ml, row.contents_ml + ml, self.department.units)
                raise Refused(f"{row} holds at most {most}: {self._shown(ml)} more would make it {would}.")
            lines = trimmed
        return lines

    def _open(self, draft: Draft, container: int) -> None:
        """A sealed container that something is drawn from is open from that day on."""
        state = self.state(container)
        if state.row.sealed and draft.corrects is None:
            day = calendar_day_of(self.department, draft.happened_at).isoformat()
            self._set(draft, state, Mark.SEALED, "no")
            self._set(draft, state, Mark.OPENED_ON, day)

    def _move(self, draft: Draft, move: Move) -> None:
        state = self.state(move.container)
        row = state.row
        if row.place_id != move.from_place:
            raise Refused(f"{row} is {self._where(row.place_id)} by the book, not {self._where(move.from_place)}.")
        if move.to_place == move.from_place:
            raise Refused(f"{row} is {self._where(row.place_id)} already.")
        if state.moved_at and draft.happened_at < state.moved_at:
            raise Refused(
                f"{row} was moved at {state.moved_at:%Y-%m-%d %H:%M} UTC; a move at "
                f"{draft.happened_at:%Y-%m-%d %H:%M} UTC lies before it. Correct that one first."
            )
        if move.to_place is not None and move.to_place not in self.places:
            raise Refused(f"There is no place number {move.to_place} in {self.department}.")
        if draft.corrects is None:
            held = [self.lots[lot] for lot in state.holdings]
            refuse_move(row, self.places.get(row.place_id or 0), self.places.get(move.to_place or 0), held)
        row.place_id = move.to_place
        state.moved_at = draft.happened_at
        self.relocations.append((draft.id, move.container, move.from_place, move.to_place))

    def _where(self, place: int | None) -> str:
        if place is None:
            return "outside the book"
        if place not in self.places:
            return "at another place"
        known = self.places[place]
        return str(known) if known.transfer_id or known.partner_id else f"at {known}"

    def _mark(self, draft: Draft, mark: MarkAs) -> None:
        state = self.state(mark.container)
        row = state.row
        if draft.corrects is None:
            if mark.mark is Mark.FLUSHED and mark.new == "yes" and row.contents_ml:
                raise Refused(f"{row} holds {self._shown(row.contents_ml)}: empty it before it is flushed.")
            if mark.mark is Mark.CONCENTRATE and not mark.new and not row.flushed:
                raise Refused(f"{row} has not been flushed since it was emptied: flush it before it is inspected.")
        self._set(draft, state, mark.mark, mark.new)

    def _set(self, draft: Draft, state: State, mark: Mark, new: str) -> None:
        old = state.mark(mark)
        if old == new:
            return
        state.set_mark(mark, new)
        key = (draft.id, state.row.pk, mark)
        made = self.markings.get(key)
        if made is None:
            self.markings[key] = [draft.id, state.row.pk, mark.value, old, new]
        else:
            made[-1] = new

    def _remember(self, draft: Draft, n: int, line: Line) -> None:
        where = (None, line.where.value) if isinstance(line.where, Account) else (line.where, "")
        self.lines.append((draft.id, n, *where, line.lot, line.ml))

    @property
    def places_touched(self) -> list[tuple[int | None, int | None]]:
        """(unit, vehicle) of every place where a touched container was or is."""
        touched = [state for state in self.states.values() if state.touched]
        if not touched:
            return []
        ids = {state.row.place_id for state in touched} | self.places_before
        known = [place for place in ids if place is not None]
        return list(Place.objects.filter(pk__in=known).order_by().values_list("unit", "vehicle").distinct())

    # -- writing ----------------------------------------------------------------------------------------------------

    def write(self, told: Told = nobody) -> None:
        """Write what the states have become, and the rows that the headers will seal."""
        touched = [state for state in self.states.values() if state.touched]
        unborn = {row.pk for row in self.unborn}
        for row in self.unborn:
            row.version = self.states[row.pk].touched
        insert(self.unborn)
        self._write_holdings(touched)
        _write_containers([state for state in touched if state.row.pk not in unborn])
        parts: list[tuple[type[Model], Sequence[str], Sequence[Sequence[Any]]]] = [
            (MovementLine, _LINE, self.lines),
            (Relocation, _RELOCATION, self.relocations),
            (Marking, _MARKING, list(self.markings.values())),
        ]
        whole, done = sum(len(rows) for *_, rows in parts), 0
        for model, names, rows in parts:
            told("lines written into the book", done, whole)
            insert_rows(model, names, rows)
            done += len(rows)

    def _write_holdings(self, touched: Iterable[State]) -> None:
        gone, kept, new = [], [], []
        for state in touched:
            gone += [(state.row.pk, lot) for lot in state.before.keys() - state.holdings.keys()]
            for lot, ml in state.holdings.items():
                if lot not in state.before:
                    new.append((state.row.pk, lot, ml))
                elif state.before[lot] != ml:
                    kept.append((ml, state.row.pk, lot))
        table = Holding._meta.db_table
        with connection.cursor() as cursor:
            if gone:
                cursor.executemany(f"DELETE FROM {table} WHERE container_id = %s AND lot_id = %s", gone)
            if kept:
                cursor.executemany(f"UPDATE {table} SET ml = %s WHERE container_id = %s AND lot_id = %s", kept)
        insert_rows(Holding, _HOLDING, new)


_LINE = ("movement_id", "n", "container_id", "account", "lot_id", "ml")
_RELOCATION = ("movement_id", "container_id", "from_place_id", "to_place_id")
_MARKING = ("movement_id", "container_id", "mark", "old", "new")
_HOLDING = ("container_id", "lot_id", "ml")


def _trimmed(lines: list[Line], container: int, over: int) -> list[Line] | None:
    """The lines with `over` mL less going into the container, taken from one pair of lines; None if none can give."""
    largest = max(
        (n for n, line in enumerate(lines) if line.where == container and line.ml > over),
        key=lambda n: lines[n].ml,
        default=None,
    )
    if largest is None:
        return None
    against = [n for n, line in enumerate(lines) if line.lot == lines[largest].lot and line.ml < -over]
    if not against:
        return None
    changed = list(lines)
    changed[largest] = lines[largest]._replace(ml=lines[largest].ml - over)
    changed[against[0]] = lines[against[0]]._replace(ml=lines[against[0]].ml + over)
    return changed


_COLUMNS = (
    "contents_ml",
    "place_id",
    "concentrate_id",
    "sealed",
    "opened_on",
    "mixed",
    "diluted",
    "quarantined",
    "flushed",
)


def _write_containers(touched: Sequence[State]) -> None:
    """One prepared UPDATE for all rows: bulk_update builds a CASE a row, forty times slower over 10,000."""
    if not touched:
        return
    table = Container._meta.db_table
    columns = ", ".join(f"{column} = %s" for column in _COLUMNS)
    rows = [(*(getattr(state.row, column) for column in _COLUMNS), state.touched, state.row.pk) for state in touched]
    with connection.cursor() as cursor:
        cursor.executemany(f"UPDATE {table} SET {columns}, version = version + %s WHERE id = %s", rows)


def _lock(department: Department, ids: Sequence[int], *, moving: bool) -> dict[int, State]:
    rows: dict[int, Container] = {}
    holdings: dict[int, dict[int, int]] = defaultdict(dict)
    moved: dict[int, datetime] = {}
    for start in range(0, len(ids), BATCH):
        part = ids[start : start + BATCH]
        for row in Container.objects.select_for_update().filter(department=department, id__in=part).order_by("id"):
            rows[row.pk] = row
        held = Holding.objects.filter(container__in=part).order_by()
        for container, lot, ml in held.values_list("container", "lot", "ml"):
            holdings[container][lot] = ml
        if moving:
            last = Relocation.objects.filter(container__in=part).values("container")
            moved.update(last.annotate(at=Max("movement__happened_at")).values_list("container", "at"))
    return {pk: State(row, holdings[pk], moved.get(pk)) for pk, row in rows.items()}


def _lots(department: Department, drafts: Sequence[Draft], states: Collection[State]) -> dict[int, LotFacts]:
    ids = sorted({line.lot for draft in drafts for line in draft.lines} | {lot for s in states for lot in s.holdings})
    found: dict[int, LotFacts] = {}
    for start in range(0, len(ids), BATCH):
        rows = Lot.objects.filter(department=department, id__in=ids[start : start + BATCH])
        columns = ("id", "concentrate", "concentrate__name", "batch", "concentrate__kind", "concentrate__pfas")
        found.update((pk, LotFacts(*facts)) for pk, *facts in rows.values_list(*columns))
    return found


def _places(department: Department, drafts: Sequence[Draft], states: Mapping[int, State]) -> dict[int, Place]:
    """Every place that a move names, and where the containers stand now."""
    moves = [move for draft in drafts for move in draft.moves]
    here = [state.row.place_id for state in states.values()]
    ids = sorted({place for place in [*here, *(move.to_place for move in moves)] if place is not None})
    found: dict[int, Place] = {}
    for start in range(0, len(ids), BATCH):
        rows = Place.objects.filter(department=department, id__in=ids[start : start + BATCH])
        found.update((place.pk, place) for place in rows.select_related(*PLACE_NAMED_BY))
    return found


def _compatible(department: Department) -> list[frozenset[int]]:
    members: dict[int, set[int]] = defaultdict(set)
    rows = CompatibilityGroup.objects.filter(department=department).values_list("id", "concentrates")
    for group, concentrate in rows:
        members[group].add(concentrate)
    return [frozenset(group) for group in members.values()]
