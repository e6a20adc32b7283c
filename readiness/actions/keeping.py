"""How a reference record is kept: added, changed, retired and brought back, never deleted.

Every noun goes the same way: may this person, lock, whose are the records it names, what is wrong with it, write only
what differs, append old and new to the table of changes, and judge the units it touches once that is committed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from math import isclose
from typing import Any, ClassVar, Final, Generic, NamedTuple, TypeVar, cast

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import DecimalField, ForeignKey, JSONField, Model, QuerySet

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused, digest
from readiness.actions.judging import judge_all_soon, judge_soon
from readiness.actions.permissions import Acting, require
from readiness.models import Department

EDIT: Final = "edit policy and reference data"
EVERY_UNIT: Final = None
_AT_ONCE = "Somebody saved the same a moment ago, and nothing of yours was saved: open the list and look."

R = TypeVar("R", bound=Model)
F = TypeVar("F", bound=tuple[Any, ...])


class Fault(NamedTuple):
    """What is wrong with one fact, in a sentence; `fact` is empty where it concerns the whole."""

    fact: str
    sentence: str


class NotKept(Refused):
    """A record that cannot be kept as it was stated; every fault at once."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(" ".join(fault.sentence for fault in self.faults))


class TableNotKept(Refused):
    """Lines of a table that cannot be kept as stated, by where they stand in it, from 0; every fault at once."""

    def __init__(self, faults: Mapping[int, Sequence[Fault]]) -> None:
        self.faults = dict(faults)
        super().__init__(" ".join(fault.sentence for each in self.faults.values() for fault in each))


class Stated(NamedTuple):
    """A line of a table as somebody states it. row: the record it changes; gone: it is retired."""

    facts: Any
    row: Any = None
    seen: str = ""
    gone: bool = False


class Desk(NamedTuple):
    """Whose records are kept, who keeps them, and what time it is."""

    department: Department
    acting: Acting
    clock: Clock = SYSTEM_CLOCK

    @property
    def now(self) -> datetime:
        """The present moment."""
        return self.clock.now()

    @property
    def today(self) -> date:
        """The date on the department's wall calendar."""
        return calendar_day_of(self.department, self.clock.now())


def plain(value: Any) -> Any:
    """A fact as JSON: a record by its id, a day in figures, a list of facts as a list."""
    if isinstance(value, Model):
        return value.pk
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    return value


def same(old: Any, new: Any) -> bool:
    """Whether two facts as JSON are the same; numbers but for what the decimals of a form leave behind."""
    if isinstance(old, list) and isinstance(new, list):
        return len(old) == len(new) and all(map(same, old, new))
    if isinstance(old, float) and isinstance(new, float):
        return isclose(old, new, rel_tol=1e-6)
    return bool(old == new)


def one_line(text: str) -> str:
    """A name without doubled spaces: two names that read the same are the same."""
    return " ".join(text.split())


def others(rows: QuerySet[Any, Any], row: Model | None) -> QuerySet[Any, Any]:
    """All but the record itself."""
    return rows if row is None else rows.exclude(pk=row.pk)


def taken(rows: QuerySet[Any, Any], row: Model | None, fact: str, value: str, where: str = "") -> Iterator[Fault]:
    """A fault where another record has the name, whatever its case; retired ones keep their names too."""
    same = others(rows.filter(**{f"{fact}__iexact": value}), row).first()
    if same is not None:
        gone = getattr(same, "retired_on", None) or getattr(same, "closed_on", None)
        how = f"; it was retired on {gone}: bring it back, or choose another name" if gone else ": choose another"
        yield Fault(fact, f"“{value}” was read, and {where or 'the department'} has one of that name{how}.")


def several(names: Iterable[object], most: int = 3) -> str:
    """Names for a sentence: the first few, and how many more."""
    every = [str(name) for name in names]
    more = f" and {len(every) - most} more" if len(every) > most else ""
    return ", ".join(every[:most]) + more


class Noun(Generic[R, F]):
    """One kind of reference record. A subclass says its facts, what can be wrong with them, and whom they touch."""

    name: ClassVar[str]  # "station": what the table of changes calls it
    retired: ClassVar[str] = "retired_on"  # the column that says since when it is no longer used; "": it has none
    by: ClassVar[str] = "department"  # the way to the department
    asks: ClassVar[str] = EDIT  # what is asked of who keeps them, a name in MAY
    signed: ClassVar[frozenset[str]] = frozenset()  # numbers that may lie below zero
    model: type[R]
    facts: type[F]

    # what a noun says for itself

    def tidy(self, desk: Desk, facts: F, row: R | None) -> F:
        """The facts as they are kept: names on one line, what follows from other facts filled in."""
        return facts

    def faults(self, desk: Desk, facts: F, row: R | None) -> Iterator[Fault]:
        """What is wrong with the facts, beyond what their columns admit."""
        yield from ()

    def in_the_way(self, row: R) -> Iterator[str]:
        """Why the record cannot be retired yet, in sentences."""
        yield from ()

    def missing(self, row: R) -> Iterator[str]:
        """Why a retired record cannot be brought back yet, in sentences."""
        yield from ()

    def touched(self, row: R) -> Collection[int] | None:
        """The units that may be judged otherwise after a change of the record; EVERY_UNIT for all."""
        return ()

    def read(self, row: R) -> F:
        """The facts of a stored record."""
        return cast(F, cast(Any, self.facts)(**{name: getattr(row, name) for name in self.names()}))

    def columns(self, facts: F) -> dict[str, Any]:
        """The facts by column."""
        return dict(cast(Any, facts)._asdict())

    def members(self, facts: F) -> dict[str, Any]:
        """The facts that are kept in tables of their own, each stated as a whole."""
        return {}

    def put_members(self, desk: Desk, row: R, old: F | None, facts: F) -> None:
        """Write what `members` names."""

    def before_retiring(self, desk: Desk, row: R) -> None:
        """What ends together with the record."""

    # the same for every noun

    def names(self) -> tuple[str, ...]:
        """The names of the facts."""
        return tuple(cast(Any, self.facts)._fields)

    def of(self, department: Department) -> QuerySet[R, R]:
        """The department's records of this kind."""
        return self.model._default_manager.filter(**{self.by: department})

    def seen(self, row: R) -> str:
        """A fingerprint of the facts, so that nobody overwrites what somebody else changed meanwhile."""
        return digest(self._told(self.read(row)))

    def save(self, desk: Desk, facts: F, row: R | None = None, *, seen: str = "") -> R:
        """Add a record, or change `row`. Raises NotAllowed, and NotKept with every fault.

        seen: what `seen()` gave when the person looked; empty: not compared.
        """
        require(desk.acting, desk.department, self.asks)
        try:
            with transaction.atomic():
                locked = self._locked(desk, row)
                if locked is not None:
                    self._refuse_stale(locked, seen)
                facts = self.tidy(desk, facts, locked)
                _refuse([*self._foreign(desk, facts), *self._unsound(facts)])
                _refuse(self.faults(desk, facts, locked))
                return self._write(desk, facts, locked)
        except IntegrityError as clash:
            raise Refused(_AT_ONCE) from clash

    def save_table(self, desk: Desk, lines: Sequence[Stated]) -> int:
        """Keep the lines of a table, all or none; what is retired goes first. Gives how many changed.

        Raises TableNotKept with every fault of every line.
        """
        require(desk.acting, desk.department, self.asks)
        faults: dict[int, tuple[Fault, ...]] = {}
        changed = 0
        with transaction.atomic():
            for n, line in sorted(enumerate(lines), key=lambda each: not each[1].gone):
                try:
                    with transaction.atomic():
                        changed += self._keep_line(desk, line)
                except Refused as refused:
                    faults[n] = refused.faults if isinstance(refused, NotKept) else (Fault("", str(refused)),)
            if faults:
                raise TableNotKept(faults)
        return changed

    def _keep_line(self, desk: Desk, line: Stated) -> bool:
        """Whether it changed anything."""
        if line.gone:
            self.retire(desk, line.row, seen=line.seen)
        elif line.row is None or self.tidy(desk, line.facts, line.row) != self.read(line.row):
            self.save(desk, line.facts, line.row, seen=line.seen)
        else:
            return False
        return True

    def retire(self, desk: Desk, row: R, *, seen: str = "") -> R:
        """Take the record out of use as of today; it stays in the book. Raises NotKept while something needs it.

        seen: as for `save`.
        """
        require(desk.acting, desk.department, self.asks)
        with transaction.atomic():
            locked = cast(R, self._locked(desk, row))
            since = getattr(locked, self.retired)
            if since:
                raise Refused(f"{locked} was retired on {since} already.")
            self._refuse_stale(locked, seen)
            _refuse(Fault("", sentence) for sentence in self.in_the_way(locked))
            self.before_retiring(desk, locked)
            return self._set_retired(desk, locked, desk.today)

    def bring_back(self, desk: Desk, row: R) -> R:
        """Take a retired record into use again."""
        require(desk.acting, desk.department, self.asks)
        with transaction.atomic():
            locked = cast(R, self._locked(desk, row))
            if not getattr(locked, self.retired):
                raise Refused(f"{locked} is in use already.")
            _refuse(Fault("", sentence) for sentence in self.missing(locked))
            return self._set_retired(desk, locked, None)

    # inside

    def _refuse_stale(self, locked: R, seen: str) -> None:
        if seen and seen != self.seen(locked):
            raise Refused("Somebody changed it since you opened the form: look at it as it is now.")

    def _locked(self, desk: Desk, row: R | None) -> R | None:
        """The record under lock. The department is locked first: two people cannot take one name at once."""
        Department.objects.select_for_update(no_key=True).get(pk=desk.department.pk)
        if row is None:
            return None
        try:
            return self.of(desk.department).select_for_update(of=("self",)).get(pk=row.pk)
        except ObjectDoesNotExist as missing:
            raise Refused(f"There is no such {self.name} in {desk.department}.") from missing

    def _foreign(self, desk: Desk, facts: F) -> Iterator[Fault]:
        """Records of another department, wherever they are named. Shipped ones belong to nobody and to all."""
        for name, value in zip(self.names(), facts, strict=True):
            for each in value if isinstance(value, tuple) else (value,):
                if isinstance(each, Model) and getattr(each, "department_id", None) not in (None, desk.department.pk):
                    kind = each._meta.verbose_name
                    yield Fault(name, f"A {kind} was read that is not {desk.department}’s: choose one from the list.")

    def _unsound(self, facts: F) -> Iterator[Fault]:
        """What a column itself refuses: too long, not among its words, below zero, out of range."""
        for name, value in self.columns(facts).items():
            field = self.model._meta.get_field(name)
            if isinstance(field, ForeignKey | JSONField | DecimalField):
                continue
            if isinstance(value, int | float) and name not in self.signed and not 0 <= value < float("inf"):
                yield Fault(name, f"“{value}” was read: it is 0 or more.")
                continue
            try:
                cast(Any, field).clean(value, None)
            except ValidationError as error:
                yield Fault(name, f"“{plain(value)}” was read: {' '.join(error.messages)}")

    def _told(self, facts: F) -> dict[str, Any]:
        return {name: plain(value) for name, value in {**self.columns(facts), **self.members(facts)}.items()}

    def _write(self, desk: Desk, facts: F, row: R | None) -> R:
        if row is None:
            return self._add(desk, facts)
        old = self.read(row)
        before, after = self._told(old), self._told(facts)
        differing = [name for name in after if not same(before[name], after[name])]
        if not differing:
            return row
        touched = self._units(row)
        columns = self.columns(facts)
        for name in differing:
            if name in columns:
                setattr(row, name, columns[name])
        row.save(update_fields=[name for name in differing if name in columns])
        self.put_members(desk, row, old, facts)
        told = ({name: of[name] for name in differing} for of in (before, after))
        self._record(desk, f"change {self.name}", row, *told)
        self._judge(desk, f"change of {self.name}", touched, self._units(row))
        return row

    def _add(self, desk: Desk, facts: F) -> R:
        owner = {"department": desk.department} if self.by == "department" else {}
        row = self.model(**owner, **self.columns(facts))
        row.save(force_insert=True)
        self.put_members(desk, row, None, facts)
        stated = {name: value for name, value in self._told(facts).items() if value not in (None, "", [])}
        self._record(desk, f"add {self.name}", row, None, stated)
        self._judge(desk, f"new {self.name}", self._units(row))
        return row

    def _set_retired(self, desk: Desk, row: R, day: date | None) -> R:
        old = {self.retired: plain(getattr(row, self.retired))}
        setattr(row, self.retired, day)
        row.save(update_fields=[self.retired])
        verb = "retire" if day else "bring back"
        self._record(desk, f"{verb} {self.name}", row, old, {self.retired: plain(day)})
        self._judge(desk, f"{verb} {self.name}", self._units(row))
        return row

    def _record(
        self, desk: Desk, action: str, row: Model, old: dict[str, Any] | None, new: dict[str, Any] | None
    ) -> None:
        record_changes(desk.department, desk.acting, desk.now, [Changed(action, row, old, new)])

    def _units(self, row: R) -> set[int] | None:
        found = self.touched(row)
        return None if found is None else set(found)

    def _judge(self, desk: Desk, because: str, *touched: set[int] | None) -> None:
        if any(each is None for each in touched):
            judge_all_soon(desk.department, because=because, clock=desk.clock)
        else:
            units = set[int]().union(*(each for each in touched if each is not None))
            judge_soon(desk.department, units, because=because, clock=desk.clock)


def _refuse(faults: Iterable[Fault]) -> None:
    found = list(faults)
    if found:
        raise NotKept(found)
