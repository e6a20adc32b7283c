"""What of a container counts, until when, and what does not count and why.

A container is read once without a date (``hold``): what it holds, what is out whatever the day, and the two days that
matter. Up to ``firm_through`` it counts; from there to ``soft_through`` it counts as unverified (no date known, or the
tank's sample overdue); after that it is out. So the night can ask for any day without reading the container again.
"""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Final, NamedTuple

from readiness.engineering.records import LOOSE, Concentrate, Container, Exclusion, Lot, Part, Policy, Sample

Ends = dict[int, date | None]  # lot id → its last good day
_ALWAYS: Final = date.max
_NEVER: Final = date.min


class Held(NamedTuple):
    """The volume of one container that counts on some day."""

    container: Container
    concentrate: Concentrate
    ml: int
    firm_through: date
    soft_through: date
    ends: str  # the exclusion's code after soft_through: expired, opened_too_long
    doubt: str  # between the two: date_unknown, sample_overdue, opened_unknown


class Holding(NamedTuple):
    """One container read: what counts (or None), the concentrate it holds, and what is out on any day."""

    held: Held | None
    concentrate: Concentrate | None
    excluded: tuple[Exclusion, ...]


_EMPTY: Final = Holding(None, None, ())


def concentrate_in(parts: tuple[Part, ...]) -> Concentrate | None:
    """The one concentrate in a container; None where there are several that no compatibility group allows.

    Inside a compatibility group the volume counts as the largest part's concentrate.
    """
    if not parts:
        return None
    first = parts[0].lot.concentrate
    if len(parts) == 1 or all(part.lot.concentrate.id == first.id for part in parts):
        return first
    if first.compatible and all(part.lot.concentrate.compatible == first.compatible for part in parts):
        return max(parts, key=lambda part: part.ml).lot.concentrate
    return None


def sample_through(sample: Sample, policy: Policy) -> date:
    """The last day for which a passed sample speaks: its own date, else the interval after it was taken."""
    return sample.good_through or sample.taken_on + timedelta(days=policy.sample_interval_d)


def lot_through(lot: Lot, policy: Policy) -> date | None:
    """Good through the maker's date or the last passed sample, whichever is later; None where neither is known."""
    if lot.sample is None or not lot.sample.passed:
        return lot.makers_date
    sampled = sample_through(lot.sample, policy)
    return sampled if lot.makers_date is None else max(lot.makers_date, sampled)


def _earliest(parts: tuple[Part, ...], policy: Policy, ends: Ends) -> date | None:
    """The earliest lot's date; None as soon as one of them is unknown, since they cannot be told apart any more."""
    earliest = date.max
    for part in parts:
        lot = part.lot
        if lot.id not in ends:
            ends[lot.id] = lot_through(lot, policy)
        through = ends[lot.id]
        if through is None:
            return None
        earliest = min(earliest, through)
    return earliest


def _fixed_dates(container: Container, policy: Policy, ends: Ends) -> tuple[date, date, str, str]:
    """A tank's days: its own last passed sample's, else its earliest lot's.

    A lapsed sample is stale evidence while the lots are still in date: unverified, not out.
    """
    lots = _earliest(container.parts, policy, ends)
    if container.sample is None:
        return lots or _NEVER, lots or _ALWAYS, "date_unknown", "expired"
    sampled = sample_through(container.sample, policy)
    return sampled, _ALWAYS if lots is None else max(sampled, lots), "sample_overdue", "expired"


def _loose_dates(container: Container, policy: Policy, ends: Ends) -> tuple[date, date, str, str]:
    """A pail's days: its lot's or its own passed sample's, whichever is later; opened, within the limit as well."""
    through = _earliest(container.parts, policy, ends)
    if container.sample is not None:
        sampled = sample_through(container.sample, policy)
        through = sampled if through is None else max(through, sampled)
    firm, soft, doubt = through or _NEVER, through or _ALWAYS, "date_unknown"
    if container.sealed or policy.opened_limit_d is None:
        return firm, soft, doubt, "expired"
    if container.opened_on is None:
        return _NEVER, soft, "opened_unknown", "expired"
    opened = container.opened_on + timedelta(days=policy.opened_limit_d)
    return min(firm, opened), min(soft, opened), doubt, "opened_too_long" if opened < soft else "expired"


def _failed(container: Container) -> bool:
    """Whether a failed sample ends it: its own, or a lot's that its own later passed sample does not answer."""
    own = container.sample
    if own is not None and not own.passed:
        return True
    for part in container.parts:
        sample = part.lot.sample
        if sample is not None and not sample.passed and (own is None or own.taken_on < sample.taken_on):
            return True
    return False


def reading_now_ml(container: Container, book_ml: int) -> int | None:
    """What the last reading comes to by now [ml]; None where it was never read.

    reading + what was drawn, poured and received since. What was read while the book had nothing of it was read before
    the book began, and what the book began with is no delivery. What was written off or gained since may have happened
    before the reading or after it: so much of it counts as brings the reading nearest to the book. Arithmetic.
    """
    if container.reading_ml is None:
        return None
    moved, found, received = container.moved_since_ml, container.found_since_ml, container.received_since_ml
    began = book_ml - moved - found - received <= 0 < container.reading_ml
    stands = container.reading_ml + moved + (0 if began else received)
    low, high = sorted((stands, stands + found))
    return max(0, min(max(book_ml, low), high))


def _gained(container: Container, book_ml: int, limit_ml: int) -> bool:
    """Read above the book by more than the gauge resolves, and no sample passed since: water may have got in."""
    reading = reading_now_ml(container, book_ml)
    if reading is None or reading <= book_ml + limit_ml:
        return False
    own, read_on = container.sample, container.reading_on
    return own is None or not own.passed or read_on is None or own.taken_on < read_on


def _set_aside(container: Container) -> str:
    """What people have marked or the maker has recalled."""
    if container.mixed or container.quarantined or container.diluted:
        return "mixed" if container.mixed else "quarantined" if container.quarantined else "diluted"
    for part in container.parts:
        if part.lot.recalled:
            return "recalled"
    return ""


def _too_cold(container: Container, concentrate: Concentrate) -> bool:
    low, lowest = container.place_low_c, concentrate.lowest_use_c
    return low is not None and lowest is not None and low < lowest


def _out_code(container: Container, concentrate: Concentrate | None, book_ml: int, limit_ml: int) -> str:
    """Why nothing in the container counts on any day; empty where something may."""
    set_aside = _set_aside(container)
    if set_aside:
        return set_aside
    if concentrate is None:
        return "unlike"
    if _failed(container):
        return "sample_failed"
    if _gained(container, book_ml, limit_ml):
        return "reading_above_book"
    return "too_cold" if _too_cold(container, concentrate) else ""


def _losses(container: Container, book_ml: int, counted_ml: int, usable_ml: int) -> tuple[Exclusion, ...]:
    losses = []
    if counted_ml < book_ml:
        losses.append(Exclusion(container.id, container.code, book_ml - counted_ml, "reading_below_book"))
    if usable_ml < counted_ml:
        losses.append(Exclusion(container.id, container.code, counted_ml - usable_ml, "heel"))
    return tuple(losses)


def hold(container: Container, policy: Policy, ends: Ends) -> Holding:
    """Read one container without a date; ``ends`` keeps each lot's last good day for the next container.

    1. Nothing counts where it is mixed, quarantined, diluted, recalled, holds unlike concentrates, failed its sample,
       reads above the book, or stands where it is too cold.
    2. Else the lesser of book and reading, carried on to now, counts (where they differ by more than the gauge
       resolves), less what the pick-up cannot reach.
    3. With the days up to which it counts surely and counts at all.
    """
    if not container.parts:
        return _EMPTY
    concentrate, book = concentrate_in(container.parts), container.book_ml
    limit_ml = max(container.resolution_ml, policy.dead_band_ml)
    code = _out_code(container, concentrate, book, limit_ml)
    if code or concentrate is None:
        return Holding(None, concentrate, (Exclusion(container.id, container.code, book, code),))
    reading = reading_now_ml(container, book)
    counted = reading if reading is not None and reading < book - limit_ml else book
    usable = max(0, counted - container.unreachable_ml)
    dates = _loose_dates if container.kind in LOOSE else _fixed_dates
    firm, soft, doubt, end = dates(container, policy, ends)
    losses = _losses(container, book, counted, usable) if usable < book else ()
    return Holding(Held(container, concentrate, usable, firm, soft, end, doubt), concentrate, losses)


def excluded_on(holdings: Iterable[Holding], day: date) -> list[Exclusion]:
    """Every volume that does not count on ``day``, with its reason."""
    out: list[Exclusion] = []
    for holding in holdings:
        held = holding.held
        if held is not None and held.soft_through < day:
            first_day_out = held.soft_through + timedelta(days=1)
            out.append(Exclusion(held.container.id, held.container.code, held.ml, held.ends, first_day_out))
        out.extend(holding.excluded)
    return out
