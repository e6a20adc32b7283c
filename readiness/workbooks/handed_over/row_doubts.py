"""What is blank in a row of stock, does not fit together, or stands in its notes: each a doubt with its choices."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from fractions import Fraction
from typing import Final, NamedTuple

from readiness.engineering.dates import GoodThrough
from readiness.workbooks.columns import Units
from readiness.workbooks.handed_over.across import Across, LotDate, fold
from readiness.workbooks.handed_over.amounts_said import (
    TYPED_COUNT,
    count_and_size,
    share_of,
    shared,
    size_within,
    typed_volume,
    volume_words,
)
from readiness.workbooks.handed_over.dates_said import in_words
from readiness.workbooks.handed_over.fields import SET_ASIDE, STORE, container_doubt, kind_doubt, lot_choices
from readiness.workbooks.handed_over.names_said import codes_named, container_within, kind_within, lots_counted
from readiness.workbooks.handed_over.notes_said import Finding, NoteReader
from readiness.workbooks.handed_over.places_said import station_within
from readiness.workbooks.handed_over.records import (
    LEAVE_OUT,
    Choice,
    Doubt,
    Field,
    Layout,
    Meaning,
    SheetRow,
    Spot,
    alike,
)
from readiness.workbooks.handed_over.saying import UNKNOWN
from readiness.workbooks.rows import quoted

GOOD: Final = "good"
TOGETHER: Final = "together"
EACH: Final = "each"
SWAPPED: Final = "swapped"
EVEN: Final = "even"
HERE: Final = "here"
ABOVE: Final = "above"
NUMBERED: Final = "numbered"
NEW_CODES: Final = "new_codes"

# The most that one container of a kind holds [ml]; beyond it the figure is of several together, or slipped.
# Common practice, no source: a pail is 5 gal, a drum 55, a kit's reservoir 2.5 to 5, a jug 1 to 5, a tote 265 to 330.
_MOST: Final[Mapping[str, int]] = {
    "pail": 30_000, "jug": 25_000, "drum": 250_000, "kit reservoir": 60_000, "tote": 1_600_000,
}  # fmt: skip
_USUAL: Final = (  # (container, least [ml], most [ml]): what a container of this size usually is; no source
    ("jug", 900, 12_000),
    ("pail", 15_000, 26_000),
    ("drum", 110_000, 230_000),
    ("tote", 900_000, 1_300_000),
)
_AMOUNTS: Final = frozenset({Meaning.QUANTITY, Meaning.SIZE, Meaning.VOLUME})
_NEARLY: Final = 0.02  # volumes that differ by less are the same, rounded
_MOST_COUNTED: Final = 12  # ways to part containers between two lots that are listed; more are typed
_TYPED_DATE: Final = "a date, like 2028-07-30, Jul 2028 or 2028"


class Above(NamedTuple):
    """What the lines above a row say of it: its station, and a product that stands alone as a heading."""

    station: str = ""
    product: str = ""


class RowDoubts:
    """Looks at the fields of one row together."""

    def __init__(self, layout: Layout, across: Across, *, units: Units, today: date) -> None:
        self._layout, self._across, self._units, self._today = layout, across, units, today
        self._notes = NoteReader(volume_unit=layout.volume_unit, day_first=layout.day_first, today=today)
        self._findings: dict[str, tuple[Finding, ...]] = {}

    def of_row(
        self, row: SheetRow, fields: Sequence[Field], doubts: Sequence[Doubt], above: Above
    ) -> tuple[list[Field], list[Doubt]]:
        """Fields of what is blank, and every doubt that a single cell does not show."""
        at = {field.meaning: field for field in reversed(fields)}
        asked = {doubt.code for doubt in doubts}
        more = [Field(meaning, -1, "", "", None, "nothing stands here") for meaning in _NEEDED if meaning not in at]
        for within in (self._size_within(at), self._count_within(at), _station_within(at)):
            if within is not None:
                more = [field for field in more if field.meaning is not within.meaning] + [within]
                at[within.meaning] = within
        found = list(self._blanks(at, above))
        found += self._amounts(at, asked)
        found += self._lots(at)
        found += self._dates(at)
        found += _codes(at)
        if row.struck:
            found.append(_struck())
        note = "; ".join([*_remarks(fields), *[words for _, words in row.comments]])
        if note:
            found += self._from_notes(note, at)
        return more, [doubt._replace(row=row.number) for doubt in found]

    def _size_within(self, at: Mapping[Meaning, Field]) -> Field | None:
        """The size, where only the count or the kind of container says it: 4 x 5 gal, 5 gal pail."""
        if Meaning.SIZE in at or Meaning.VOLUME in at:
            return None
        for meaning in (Meaning.QUANTITY, Meaning.CONTAINER, Meaning.PRODUCT):
            field = at.get(meaning)
            ml = size_within(field.read, self._layout.volume_unit) if field else None
            if field is not None and ml:
                words = f"{volume_words(ml, self._units)} (from {quoted(field.read)})"
                return Field(Meaning.SIZE, field.column, field.heading, field.read, ml, words)
        return None

    def _count_within(self, at: Mapping[Meaning, Field]) -> Field | None:
        """The count, where only the volume says it: 4 x 5 gal."""
        volume = at.get(Meaning.VOLUME)
        both = count_and_size(volume.read, self._layout.volume_unit) if volume else None
        if Meaning.QUANTITY in at or volume is None or both is None:
            return None
        words = f"{both[0]} (from {quoted(volume.read)})"
        return Field(Meaning.QUANTITY, volume.column, volume.heading, volume.read, both[0], words)

    # What is blank.

    def _blanks(self, at: Mapping[Meaning, Field], above: Above) -> Iterator[Doubt]:
        if Meaning.STATION not in at or at[Meaning.STATION].value is None:
            yield _station_doubt(above.station)
        if Meaning.WHERE not in at:
            yield _where_doubt()
        if Meaning.PRODUCT not in at:
            yield self._product_doubt(at, above.product)
        kind = at.get(Meaning.KIND)
        if kind is None or (kind.value is None and kind.words == "not known"):
            yield self._kind_blank(at)
        elif isinstance(kind.value, str):
            yield from self._kind_elsewhere(at, kind.value)
        container = at.get(Meaning.CONTAINER)
        if container is None or (container.value is None and container.words == "not known"):
            yield _container_blank(at)
        if Meaning.QUANTITY not in at:
            yield _count_blank(at)
        if Meaning.LOT not in at:
            yield _lot_blank()

    def _product_doubt(self, at: Mapping[Meaning, Field], above: str) -> Doubt:
        kind = at[Meaning.KIND].read if Meaning.KIND in at else ""
        names = [name for name in self._across.products.values() if name != above][:20]
        under = (Choice(above, f"{above}, as the line above says"),) if above else ()
        named = (*under, *(Choice(name, name) for name in names))
        nobody = Choice(UNKNOWN, "nobody knows what it is: it comes in quarantined")
        if kind:
            named = (*named, Choice(kind, f"it is called {quoted(kind)}, as nothing else is written"))
        said = f"No product is named, only the kind {quoted(kind)}." if kind else "No product is named."
        return Doubt(
            0, "product", alike("product", "blank", kind, above), said, (*named, nobody),
            above or None, "the product's name",
        )  # fmt: skip

    def _kind_blank(self, at: Mapping[Meaning, Field]) -> Doubt:
        product = str(at[Meaning.PRODUCT].value or "") if Meaning.PRODUCT in at else ""
        elsewhere = self._across.kinds.get(fold(product))
        proposed = elsewhere.most_common(1)[0][0] if elsewhere else kind_within(product) or None
        named = quoted(product) if product else "this row"
        return kind_doubt(f"The kind of {named} is not written.", style=f"blank|{fold(product)}", proposed=proposed)

    def _kind_elsewhere(self, at: Mapping[Meaning, Field], kind: str) -> Iterator[Doubt]:
        """One product is of one kind."""
        product = str(at[Meaning.PRODUCT].value or "") if Meaning.PRODUCT in at else ""
        others = self._across.kinds.get(fold(product)) if product else None
        if others is not None and len(others) > 1:
            listed = ", ".join(f"{each} in {rows} rows" for each, rows in others.most_common())
            yield kind_doubt(
                f"{quoted(product)} is given several kinds: {listed}.",
                style=f"product|{fold(product)}",
                proposed=None,
            )

    # How much.

    def _amounts(self, at: Mapping[Meaning, Field], asked: set[str]) -> Iterator[Doubt]:
        count, size, total = (_whole(at, each) for each in (Meaning.QUANTITY, Meaning.SIZE, Meaning.VOLUME))
        if "size" in asked:
            return
        nothing = size == 0 or (size is None and total == 0)
        if nothing or not {Meaning.SIZE, Meaning.VOLUME} & set(at):
            yield self._size_blank(at)
        elif size is not None and total is not None:
            yield from self._total_check(count or 1, size, total)
        elif total is not None and (count or 1) > 1 and "volume" not in asked:
            yield from self._each_or_together(at)
        elif size is not None and "quantity" not in asked:
            yield from self._size_check(at, count or 1, size)

    def _size_blank(self, at: Mapping[Meaning, Field]) -> Doubt:
        container = at[Meaning.CONTAINER].read if Meaning.CONTAINER in at else ""
        of = f" of a {container.casefold()}" if container else ""
        return Doubt(
            0, "size", alike("size", "blank", container.casefold()),
            f"The size{of} is not written: type it.", (), None, typed_volume(self._units),
        )  # fmt: skip

    def _total_check(self, count: int, size: int, total: int) -> Iterator[Doubt]:
        if abs(count * size - total) <= max(_NEARLY * total, 100):
            return
        each, together = volume_words(size, self._units), volume_words(total, self._units)
        choices = [Choice("sizes", f"{count} full ones of {each}: {volume_words(count * size, self._units)}")]
        if total <= count * size:
            choices.append(Choice("total", f"{together} in {count} of {each}, which are not all full"))
        yield Doubt(
            0, "volume", alike("volume", count, size, total),
            f"{count} × {each} and together {together} were read, which do not agree.", tuple(choices), None,
        )  # fmt: skip

    def _each_or_together(self, at: Mapping[Meaning, Field]) -> Iterator[Doubt]:
        """“Litres 200” beside “Drums 4” is of all four or of each; a heading with “total” decides it."""
        volume = at[Meaning.VOLUME]
        if "total" in volume.heading.casefold() or count_and_size(volume.read, self._layout.volume_unit):
            return
        named = f"The column {quoted(volume.heading)}" if volume.heading else "The column of volumes"
        choices = (Choice(TOGETHER, "of all containers of the row together"), Choice(EACH, "of each container"))
        yield Doubt(
            0, "volume", alike("volume", "each or together", volume.heading),
            f"{named} stands beside a number of containers: of what are its volumes, such as {quoted(volume.read)}?",
            choices, None,
        )  # fmt: skip

    def _size_check(self, at: Mapping[Meaning, Field], count: int, size: int) -> Iterator[Doubt]:
        container = at[Meaning.CONTAINER].value if Meaning.CONTAINER in at else None
        most = _MOST.get(str(container))
        if most is None or size <= most:
            return
        words = volume_words(size, self._units)
        choices = [Choice(EACH, f"each holds {words}")]
        if count > 1:
            alone = volume_words(round(size / count), self._units)
            choices.insert(0, Choice(TOGETHER, f"{words} is all {count} together: {alone} each"))
        yield Doubt(
            0, "size", alike("size", "check", container, count, size),
            f"{words} was read for a {container}, which holds less as a rule.", tuple(choices), None,
            typed_volume(self._units),
        )  # fmt: skip

    # Lots and their dates.

    def _lots(self, at: Mapping[Meaning, Field]) -> Iterator[Doubt]:
        lots = at[Meaning.LOT].value if Meaning.LOT in at else None
        if isinstance(lots, tuple) and len(lots) > 1:
            yield self._shares(at, lots)

    def _shares(self, at: Mapping[Meaning, Field], lots: tuple[str, ...]) -> Doubt:
        count = _whole(at, Meaning.QUANTITY) or 1
        size = _whole(at, Meaning.SIZE) or _whole(at, Meaning.VOLUME) or 0
        named = " and ".join(lots)
        if count > 1:
            return _containers_of_lots(lots, named, count, lots_counted(at[Meaning.LOT].read))
        choices = [*self._topped_choices(at, lots, size)] if len(lots) == 2 and size else []
        choices.append(Choice(EVEN, "nobody knows: the same share of each is booked"))
        typed = f"how much is of {lots[0]}, like {volume_words(size // 2, self._units)}" if len(lots) == 2 else ""
        return Doubt(
            0, "lot_shares", alike("lot_shares", named, size),
            f"Two lots or more were read in one container ({named}): how much of each?", tuple(choices), None, typed,
        )  # fmt: skip

    def _topped_choices(self, at: Mapping[Meaning, Field], lots: Sequence[str], size: int) -> Iterator[Choice]:
        """A note such as “topped up 60 gal” says how much came later, not of which lot."""
        note = at[Meaning.NOTES].read if Meaning.NOTES in at else ""
        for finding in self._findings_of(note):
            if finding.what == "topped" and finding.ml and finding.ml < size:
                later, rest = volume_words(finding.ml, self._units), volume_words(size - finding.ml, self._units)
                yield Choice(f"{size - finding.ml},{finding.ml}", f"{rest} of {lots[0]}, {later} of {lots[1]}")
                yield Choice(f"{finding.ml},{size - finding.ml}", f"{later} of {lots[0]}, {rest} of {lots[1]}")

    def _dates(self, at: Mapping[Meaning, Field]) -> Iterator[Doubt]:
        made, good = (at[each].value if each in at else None for each in (Meaning.MADE, Meaning.GOOD_THROUGH))
        lots = at[Meaning.LOT].value if Meaning.LOT in at else None
        lot = lots[0] if isinstance(lots, tuple) and len(lots) == 1 else ""
        product = fold(str(at[Meaning.PRODUCT].value or "")) if Meaning.PRODUCT in at else ""
        yield from self._made_checks(made, good)
        for meaning in (Meaning.MADE, Meaning.GOOD_THROUGH):
            dates = self._across.lots.get((product, fold(lot), meaning), ()) if lot else ()
            if len(exactest(dates)) > 1:
                yield lot_dates_doubt(lot, product, meaning, dates)
        several = isinstance(lots, tuple) and len(lots) > 1
        if (Meaning.GOOD_THROUGH not in at or _is_unknown(at[Meaning.GOOD_THROUGH])) and not several:
            known = self._across.lots.get((product, fold(lot), Meaning.GOOD_THROUGH), ()) if lot else ()
            if not known:
                yield _no_date()

    def _made_checks(self, made: object, good: object) -> Iterator[Doubt]:
        if not isinstance(made, GoodThrough):
            return
        if _first_day(made) > self._today:
            yield Doubt(
                0, "made_future", alike("made_future", made),
                f"Made {in_words(made)} was read, which lies after today.",
                (Choice(UNKNOWN, "when it was made is not known"),), UNKNOWN, _TYPED_DATE,
            )  # fmt: skip
        elif isinstance(good, GoodThrough) and good.day < _first_day(made):
            yield Doubt(
                0, "dates_swapped", alike("dates_swapped", made, good),
                f"Made {in_words(made)} and good through {in_words(good)} were read, which is before it was made.",
                (
                    Choice(SWAPPED, f"the two are swapped: made {in_words(good)}, good through {in_words(made)}"),
                    Choice(UNKNOWN, "neither is certain: both are not known"),
                ), None,
            )  # fmt: skip

    # Notes and comments.

    def _findings_of(self, note: str) -> tuple[Finding, ...]:
        if note not in self._findings:
            self._findings[note] = self._notes.findings(note[:2_000])
        return self._findings[note]

    def _from_notes(self, note: str, at: Mapping[Meaning, Field]) -> Iterator[Doubt]:
        count = _whole(at, Meaning.QUANTITY) or 1
        size = _whole(at, Meaning.SIZE) or round((_whole(at, Meaning.VOLUME) or 0) / count)
        lots = at[Meaning.LOT].value if Meaning.LOT in at else None
        for finding in self._findings_of(note):
            if finding.what == "opened":
                yield self._opened(note, finding, count, size)
            elif finding.what == "hurt":
                yield _hurt(note, finding, count)
            elif finding.what == "state":
                yield _state(note, finding)
            elif finding.what == "gone":
                yield _gone(note)
            elif finding.what == "fill":
                yield self._fill(note, finding, count, size)
            elif finding.what == "some sealed":
                yield _some_sealed(note, finding, count)
            elif not (isinstance(lots, tuple) and len(lots) > 1):
                yield self._topped(note, finding)

    def _opened(self, note: str, finding: Finding, count: int, size: int) -> Doubt:
        many = min(finding.many or count, count)
        start = f"{many}|{finding.on or ''}|"
        ml = finding.ml if finding.ml is not None and finding.ml <= (size or finding.ml) else None
        shares = {Fraction(1), Fraction(1, 2), *([finding.share] if finding.share is not None else [])}
        exact = (
            [Choice(f"{start}{ml} ml", f"{many} opened, with {volume_words(ml, self._units)} in each")] if ml else []
        )
        choices = exact + [
            Choice(f"{start}{share}", f"{many} opened, {self._full(share, size)}") for share in sorted(shares)
        ]
        read = f"{start}{ml} ml" if ml else f"{start}{finding.share}" if finding.share is not None else None
        when = f" on {finding.on.day} {finding.on:%b %Y}" if finding.on else ", on what day is not known"
        return Doubt(
            0, "opened", alike("opened", note, count, size),
            f"{quoted(note)} was read: {many} of {count} opened{when}. How much is in it?", tuple(choices), read,
            f"what an opened one holds, like {volume_words(size // 2, self._units)}",
        )  # fmt: skip

    def _full(self, share: Fraction, size: int) -> str:
        words = {Fraction(1): "full", Fraction(1, 2): "half full", Fraction(0): "empty"}
        said = words.get(share, f"{float(share):.0%} full")
        return f"{said} ({volume_words(share_of(size, share), self._units)})" if size else said

    def _fill(self, note: str, finding: Finding, count: int, size: int) -> Doubt:
        share = finding.share if finding.share is not None else Fraction(1)
        many = min(finding.many or count, count)
        options = dict.fromkeys(((many, share), (count, share), (count, Fraction(1))))
        choices = tuple(
            Choice(f"{each}|{full}", f"{each} of {count} {'is' if each == 1 else 'are'} {self._full(full, size)}")
            for each, full in options
        )
        return Doubt(
            0, "fill", alike("fill", note, count, size), f"{quoted(note)} was read: how much is in it?", choices,
            choices[0].key, typed_volume(self._units),
        )  # fmt: skip

    def _topped(self, note: str, finding: Finding) -> Doubt:
        amount = f" {volume_words(finding.ml, self._units)}" if finding.ml else ""
        ml = finding.ml or 0
        choices = [Choice("same", "with the same lot")]
        if ml:
            choices.append(Choice(f"other|{ml}", f"with another lot: the{amount} come in under a lot not known"))
        choices.append(Choice(f"{SET_ASIDE}|{ml}", "nobody knows with what: it comes in quarantined"))
        return Doubt(
            0, "topped", alike("topped", note), f"{quoted(note)} was read: with what was it topped up?",
            tuple(choices), None,
        )  # fmt: skip


_NEEDED: Final = (
    Meaning.STATION, Meaning.WHERE, Meaning.PRODUCT, Meaning.KIND, Meaning.CONTAINER, Meaning.QUANTITY, Meaning.LOT,
    Meaning.GOOD_THROUGH,
)  # fmt: skip


def exactest(dates: Sequence[LotDate]) -> tuple[LotDate, ...]:
    """Dates that do not contain one another: 10/2033 and 1 Oct 2033 leave the exact one."""
    return tuple(each for each in dates if not any(_contains(each.label, other.label) for other in dates))


def _contains(wide: GoodThrough, exact: GoodThrough) -> bool:
    order = ("year", "month", "day")
    if order.index(wide.precision) >= order.index(exact.precision):
        return False
    same_month = wide.precision == "year" or wide.day.month == exact.day.month
    return wide.day.year == exact.day.year and same_month


def _whole(at: Mapping[Meaning, Field], meaning: Meaning) -> int | None:
    value = at[meaning].value if meaning in at else None
    return value if isinstance(value, int) else None


def _is_unknown(field: Field) -> bool:
    return field.value is None and field.words == "not known"


def _first_day(label: GoodThrough) -> date:
    if label.precision == "year":
        return label.day.replace(month=1, day=1)
    return label.day.replace(day=1) if label.precision == "month" else label.day


def _station_doubt(above: str) -> Doubt:
    if not above:
        return Doubt(0, "station", "station|blank", "The station is blank.", (), None, "the station's name")
    choices = (Choice(ABOVE, f"each is at the station of the row above it, such as {above}", above),)
    return Doubt(
        0, "station", "station|blank|above", "The station is blank.", choices, ABOVE, "the station's name", False
    )


def _where_doubt() -> Doubt:
    choices = (Choice(STORE, "it is in the station's store"),)
    return Doubt(
        0, "where", "where|blank", "Where it is kept is blank.", choices, STORE, "the unit's name, like Engine 1"
    )


def _container_blank(at: Mapping[Meaning, Field]) -> Doubt:
    spot = at[Meaning.WHERE].value if Meaning.WHERE in at else None
    size = _whole(at, Meaning.SIZE) or (_whole(at, Meaning.VOLUME) or 0) // (_whole(at, Meaning.QUANTITY) or 1)
    built_in = isinstance(spot, Spot) and spot.built_in
    named = next((kind for text in _beside(at) if (kind := container_within(text))), "")
    usual = next((kind for kind, least, most in _USUAL if least <= size <= most), None)
    proposed = "fixed tank" if built_in else named or usual
    style = f"blank|{'built in' if built_in else named or size or ''}"
    return container_doubt("What sort of container it is, is not written.", style=style, proposed=proposed)


def _remarks(fields: Sequence[Field]) -> Iterator[str]:
    """Notes, and amounts that are written as one: "10 gal, half full"."""
    for field in fields:
        unread = field.meaning in _AMOUNTS and field.value is None and any(map(str.isalpha, field.read))
        if field.meaning is Meaning.NOTES or unread:
            yield field.read


def _beside(at: Mapping[Meaning, Field]) -> Iterator[str]:
    """Where a kind of container may be said by the way: the heading of a count, the product, a note."""
    if Meaning.QUANTITY in at:
        yield at[Meaning.QUANTITY].heading
    for meaning in (Meaning.QUANTITY, Meaning.VOLUME, Meaning.PRODUCT, Meaning.NOTES):
        if meaning in at:
            yield at[meaning].read


def _station_within(at: Mapping[Meaning, Field]) -> Field | None:
    """The station, where only the place says it: Station 1 bay."""
    where = at.get(Meaning.WHERE)
    station = station_within(where.read) if where else ""
    if Meaning.STATION in at or where is None or not station:
        return None
    words = f"{station} (from {quoted(where.read)})"
    return Field(Meaning.STATION, where.column, where.heading, where.read, station, words)


def _count_blank(at: Mapping[Meaning, Field]) -> Doubt:
    container = str(at[Meaning.CONTAINER].value or "") if Meaning.CONTAINER in at else ""
    return Doubt(
        0, "quantity", alike("quantity", "blank", container), "How many there are is blank.",
        (Choice("1", "one"),), "1", TYPED_COUNT,
    )  # fmt: skip


def _lot_blank() -> Doubt:
    choices = lot_choices("")
    return Doubt(0, "lot", "lot|blank", "The lot number is blank.", choices, UNKNOWN, "the lot number", False)


def _no_date() -> Doubt:
    choices = (Choice(UNKNOWN, "it is not known: it comes in as unverified until a sample passes"),)
    return Doubt(
        0, "good_through", "good_through|blank", "Until when it is good is not written.", choices, UNKNOWN,
        _TYPED_DATE, False,
    )  # fmt: skip


def lot_dates_doubt(lot: str, product: str, meaning: Meaning, dates: Sequence[LotDate]) -> Doubt:
    """Asks for the one date of a lot that rows give several."""
    what = "made" if meaning is Meaning.MADE else "good through"
    listed = ", ".join(f"{in_words(each.label)} in row {each.row:,}" for each in dates)
    labels = [each.label for each in exactest(dates)]
    choices = tuple(Choice(str(label), f"{what} {in_words(label)}", str(label)) for label in labels)
    choices += (Choice(UNKNOWN, "its date is not known"),)
    return Doubt(
        0, f"lot_{meaning.value}", alike(f"lot_{meaning.value}", product, fold(lot)),
        f"Lot {lot} is given several dates ({what} {listed}); a lot has one.", choices, None, _TYPED_DATE,
    )  # fmt: skip


def _containers_of_lots(lots: Sequence[str], named: str, count: int, said: Sequence[int]) -> Doubt:
    choices: tuple[Choice, ...] = ()
    read = f"n:{','.join(map(str, said))}" if said and sum(said) == count else None
    if read is not None:
        listed = ", ".join(f"{many} of {lot}" for many, lot in zip(said, lots, strict=True))
        choices = (Choice(read, f"{listed}, as it is written"),)
    elif len(lots) == 2 and count <= _MOST_COUNTED:
        choices = tuple(
            Choice(f"n:{first},{count - first}", f"{first} of {lots[0]}, {count - first} of {lots[1]}")
            for first in range(1, count)
        )
    even = ",".join(str(each) for each in shared(count, len(lots)))
    choices += (Choice(f"n:{even}", f"nobody knows: as even as can be ({even.replace(',', ' and ')})"),)
    typed = f"how many are of {lots[0]}, like 1" if len(lots) == 2 else ""
    return Doubt(
        0, "lot_shares", alike("lot_shares", named, count),
        f"{count} containers of several lots were read ({named}): how many of each?", choices, read, typed,
    )  # fmt: skip


def _hurt(note: str, finding: Finding, count: int) -> Doubt:
    many = min(finding.many or count, count)
    choices = (
        Choice(f"{many}|quarantined", f"{many} of {count} {finding.word}: set aside, quarantined, not counted"),
        Choice(GOOD, "they are good: all count"),
        Choice(f"{many}|{LEAVE_OUT}", f"{many} of {count} are gone and stay out"),
    )
    return Doubt(
        0, "hurt", alike("hurt", note, count),
        f"{quoted(note)} was read: what becomes of {many} of {count}?", choices, choices[0].key,
    )  # fmt: skip


def _state(note: str, finding: Finding) -> Doubt:
    choices = tuple(
        Choice(condition, f"it comes in as {condition} and does not count")
        for condition in dict.fromkeys((finding.condition, "quarantined"))
    )
    return Doubt(
        0, "state", alike("state", note), f"{quoted(note)} was read: may it be counted on?",
        (*choices, Choice(GOOD, "it is good and counts")), finding.condition,
    )  # fmt: skip


def _gone(note: str) -> Doubt:
    choices = (Choice(HERE, "it is here and comes in"), Choice(LEAVE_OUT, "it is not here: it stays out"))
    return Doubt(0, "gone", alike("gone", note), f"{quoted(note)} was read: is it here?", choices, None)


def _codes(at: Mapping[Meaning, Field]) -> Iterator[Doubt]:
    """One label code for each container, or a question."""
    code, count = at.get(Meaning.CODE), _whole(at, Meaning.QUANTITY) or 1
    named = codes_named(code.read) if code else ()
    if code is None or len(named) in {0, count}:
        return
    choices = [Choice(NEW_CODES, "they get label codes of their own; this stays in the notes")]
    if len(named) == 1:
        choices.insert(0, Choice(NUMBERED, f"a figure is put behind it: {named[0]}-1 to {named[0]}-{count}"))
    yield Doubt(
        0, "code", alike("code", code.read, count),
        f"{quoted(code.read)} was read as the label codes of {count} containers.", tuple(choices), None,
        f"{count} label codes with commas between" if count > 1 else "its label code",
    )  # fmt: skip


def _struck() -> Doubt:
    choices = (Choice(LEAVE_OUT, "it is gone: it stays out"), Choice(HERE, "it is here and comes in"))
    return Doubt(0, "struck", "struck", "The row is struck through in the sheet.", choices, LEAVE_OUT)


def _some_sealed(note: str, finding: Finding, count: int) -> Doubt:
    many = min(finding.many or count, count)
    choices = (Choice(f"{many}", f"{many} of {count} sealed, the others opened"), Choice(GOOD, "all are sealed"))
    return Doubt(
        0, "some_sealed", alike("some_sealed", note, count),
        f"{quoted(note)} was read: how many are sealed?", choices, choices[0].key,
    )  # fmt: skip
