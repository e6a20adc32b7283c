"""The words of a handed-over sheet matched to what the department has: exact names are taken, all else is asked.

A spelling that is near is proposed, never taken; what the department does not have is made only after somebody said
so. Nothing is written here: the answer is a plan, row by row, that the intake carries out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, Literal, NamedTuple

from readiness.engineering.dates import GoodThrough
from readiness.reports.sheet_names import (
    STEMS,
    Names,
    codes_from,
    first_free_code,
    near,
    station_written_out,
)
from readiness.reports.sheet_questions import Asking, Question
from readiness.workbooks.handed_over.records import Choice, Fate, Portion, Settled, Spot
from readiness.workbooks.rules import folded
from readiness.workbooks.sheets import CONCENTRATE_KINDS, VEHICLE_KINDS

IS, NEW = "is:", "new:"
NOTE = "note"
UNKNOWN_LOT: Final = "unknown"
_LONGEST_SHOP_NO: Final = 20
SEALABLE: Final = frozenset({"pail", "drum", "tote", "jug"})
_VEHICLE_WORDS: Final[Mapping[str, str]] = {"truck": "ladder", "tower": "ladder", "quint": "engine", "hazmat": "hazmat"}

STATIONS, UNITS, PLACES = "Stations", "Units and vehicles", "Places"
PRODUCTS, CODES, SEALS = "Concentrates", "Label codes", "Seals"
ORDER = (STATIONS, UNITS, PLACES, PRODUCTS, SEALS, CODES)


class PlaceNamed(NamedTuple):
    """Where a container stands: whose place it is, by name, and the compartment."""

    side: Literal["station", "unit", "vehicle"]
    name: str
    compartment: str

    @property
    def words(self) -> str:
        """As people say it."""
        owner = f"{self.name} store" if self.side == "station" else self.name
        owner = f"vehicle {self.name}" if self.side == "vehicle" else owner
        return f"{owner}, {self.compartment}" if self.compartment else owner


class NewUnit(NamedTuple):
    """A unit to be made, where it is at home, and the vehicle it runs on (empty: none is named)."""

    name: str
    station: str
    reserve: bool
    row: int
    vehicle: str = ""


class NewVehicle(NamedTuple):
    """A vehicle to be made."""

    shop_no: str
    kind: str
    station: str
    row: int


class NewProduct(NamedTuple):
    """A concentrate to be made."""

    name: str
    kind: str
    pfas: str
    row: int


class NewLot(NamedTuple):
    """A lot to be made, with the dates that the sheet gives it."""

    product: str
    batch: str
    made: GoodThrough | None
    good_through: GoodThrough | None
    row: int


class Held(NamedTuple):
    """One container to be taken in."""

    code: str
    kind: str
    capacity_ml: int
    parts: tuple[tuple[str, int], ...]  # (batch, ml)
    sealed: bool | None
    portion: Portion


class MatchedRow(NamedTuple):
    """A row with stock, by the department's names. `place` or `product` is None while something is not answered."""

    settled: Settled
    place: PlaceNamed | None
    product: str
    held: tuple[Held, ...]
    steps: tuple[str, ...]


class Matched(NamedTuple):
    """The plan: what has to be answered, what is to be made, and each row with stock."""

    questions: tuple[Question, ...]
    stations: Mapping[str, int]  # to be made, each with the row that names it first
    vehicles: tuple[NewVehicle, ...]
    units: tuple[NewUnit, ...]
    products: tuple[NewProduct, ...]
    lots: tuple[NewLot, ...]
    rows: tuple[MatchedRow, ...]


def match(names: Names, settled: Sequence[Settled], answers: Mapping[str, str], *, new: bool = True) -> Matched:
    """Match every row that carries stock. A row that has a doubt of its own left is matched by its place only.

    new: its containers would come in, so they need label codes.
    """
    return _Matcher(names, answers, new).match(settled)


class _Matcher:
    def __init__(self, names: Names, answers: Mapping[str, str], new: bool) -> None:
        self.names = names
        self.new = new
        self.asking = Asking(answers)
        self.stations: dict[str, tuple[str, int]] = {}
        self.units: dict[str, NewUnit] = {}
        self.vehicles: dict[str, NewVehicle] = {}
        self.products: dict[str, NewProduct] = {}
        self.lots: dict[tuple[str, str], NewLot] = {}
        self.kinds: dict[str, set[str]] = {}
        self.series: dict[str, list[str]] = {}

    # -- all of it ----------------------------------------------------------------------------------------------------

    def match(self, settled: Sequence[Settled]) -> Matched:
        """Every row; questions come up in the order of the rows."""
        stock = [row for row in settled if row.fate is Fate.STOCK and not row.left_out]
        for row in (each for each in stock if each.ready):
            self.kinds.setdefault(folded(row.product), set()).add(row.kind)
        if self.new:
            self._codes([row for row in stock if row.ready])
        rows = tuple(self._row(row) for row in stock)
        for row in settled:
            if row.fate is Fate.NO_FOAM:
                self._no_foam(row)
        return Matched(
            tuple(sorted(self.asking.questions, key=lambda each: ORDER.index(each.about))),
            dict(self.stations.values()),
            tuple(self.vehicles.values()),
            tuple(self.units.values()),
            tuple(self.products.values()),
            tuple(self.lots.values()),
            rows,
        )

    def _row(self, row: Settled) -> MatchedRow:
        steps: list[str] = []
        place = self._place(row, steps)
        product = self._product(row) if row.ready else ""
        held = self._held(row, product) if row.ready else ()
        return MatchedRow(row, place, product, held, tuple(steps))

    # -- stations -----------------------------------------------------------------------------------------------------

    def _station(self, settled: Settled) -> str:
        text, row, key = settled.station, settled.number, folded(settled.station)
        if key in self.names.stations:
            return self.names.stations[key]
        if not text and not settled.ready:  # the sheet's own doubt about it comes first
            return ""
        group = f"station|{key}"
        if self.asking.asked(group):
            return self._named_station(self.asking.again(group, row), row)
        written = station_written_out(text)
        known = self.names.stations
        alike = [known[folded(written)]] if folded(written) in known else [known[each] for each in near(text, known)]
        choices = [Choice(f"{IS}{name}", f"it is {name}, which is there already") for name in alike]
        if text:
            choices += [
                Choice(f"{NEW}{name}", f"a new station, named {name}")
                for name in dict.fromkeys((written, " ".join(text.split())))
                if folded(name) not in known
            ]
            words = f"“{text}” is no station of the department yet. Which is it?"
        else:
            choices += [Choice(f"{IS}{name}", f"it is {name}") for name in known.values()]
            words = "These rows name no station. Which is it?"
        proposed = choices[0].key if text and choices else None
        answer = self.asking.ask(
            group,
            row,
            about=STATIONS,
            words=words,
            choices=choices,
            proposed=proposed,
            typed="the name of a station, known or new",
        )
        return self._named_station(answer, row)

    def _named_station(self, answer: str, row: int) -> str:
        name = " ".join(answer.removeprefix(IS).removeprefix(NEW).split())
        if not name:
            return ""
        known = self.names.stations.get(folded(name))
        return known or self.stations.setdefault(folded(name), (name, row))[0]

    # -- places -------------------------------------------------------------------------------------------------------

    def _place(self, row: Settled, steps: list[str]) -> PlaceNamed | None:
        spot = row.spot or Spot("", "store")
        built_in = spot.built_in or row.container == "fixed tank"
        if spot.what == "unit":
            return self._on_unit(row, self._unit(spot.unit, spot.reserve, row), spot.part, built_in, steps)
        if spot.what == "store":
            return self._in_store(row, spot.part)
        answer = self._unclear(row, spot)
        if answer == "store":
            return self._in_store(row, spot.text)
        if not answer:
            return None
        return self._on_unit(row, self._named_unit(answer, False, row), "", built_in, steps)

    def _in_store(self, row: Settled, part: str) -> PlaceNamed | None:
        station = self._station(row)
        return PlaceNamed("station", station, part) if station else None

    def _unclear(self, row: Settled, spot: Spot) -> str:
        group = f"place|{folded(row.station)}|{folded(spot.text)}"
        if self.asking.asked(group):
            return self.asking.again(group, row.number)
        alike = [self.names.units[each].name for each in near(spot.text, self.names.units)]
        choices = [Choice("store", f"a place in the store of the station: “{spot.text}”")]
        choices += [Choice(f"{IS}{name}", f"on {name}") for name in alike]
        choices.append(Choice(f"{NEW}{spot.text}", f"on a new unit, named {spot.text}"))
        return self.asking.ask(
            group,
            row.number,
            about=PLACES,
            words=f"“{spot.text}” at {row.station or 'no station'}: is that a place in the store, or a unit?",
            choices=choices,
            typed="the name of the unit",
        )

    # -- units and vehicles -------------------------------------------------------------------------------------------

    def _unit(self, name: str, reserve: bool, row: Settled) -> str:
        key = folded(name)
        if key in self.names.units:
            return self.names.units[key].name
        group = f"unit|{key}"
        if self.asking.asked(group):
            return self._named_unit(self.asking.again(group, row.number), reserve, row)
        alike = [self.names.units[each].name for each in near(name, self.names.units)]
        choices = [Choice(f"{IS}{each}", f"it is {each}, which is there already") for each in alike]
        state = "a new reserve unit" if reserve else "a new unit"
        choices.append(Choice(f"{NEW}{name}", f"{state}, named {name}, at home at {row.station or 'a station'}"))
        answer = self.asking.ask(
            group,
            row.number,
            about=UNITS,
            words=f"“{row.spot.text if row.spot else name}” speaks of {name}, which is no unit of the department yet.",
            choices=choices,
            proposed=choices[0].key,
            typed="the name of a unit, known or new",
        )
        return self._named_unit(answer, reserve, row)

    def _named_unit(self, answer: str, reserve: bool, row: Settled) -> str:
        name = " ".join(answer.removeprefix(IS).removeprefix(NEW).split())
        if not name:
            return ""
        known = self.names.units.get(folded(name))
        if known:
            return known.name
        made = self.units.get(folded(name))
        if made is None:
            station = self._station(row)
            if not station:
                return ""
            made = self.units[folded(name)] = NewUnit(name, station, reserve, row.number)
        return made.name

    def _on_unit(self, row: Settled, unit: str, part: str, built_in: bool, steps: list[str]) -> PlaceNamed | None:
        if not unit:
            return None
        known = self.names.units.get(folded(unit))
        if known and row.station and folded(station_written_out(row.station)) != folded(known.station):
            steps.append(f"{unit} is at home at {known.station} by the book, and “{row.station}” stands here.")
        if not built_in:
            return PlaceNamed("unit", unit, part)
        vehicle = known.vehicle if known and known.vehicle else self._vehicle(unit, row)
        return PlaceNamed("vehicle", vehicle, part) if vehicle else None

    def _vehicle(self, unit: str, row: Settled) -> str:
        """The shop number of the vehicle that a tank is built into."""
        group = f"vehicle|{folded(unit)}"
        if self.asking.asked(group):
            return self._named_vehicle(self.asking.again(group, row.number), unit, row)
        running = {folded(each.vehicle) for each in self.names.units.values()}
        free = [shop_no for key, shop_no in self.names.vehicles.items() if key not in running]
        named = unit[:_LONGEST_SHOP_NO]
        choices = []
        if folded(named) not in self.names.vehicles:
            choices.append(Choice(f"{NEW}{named}", f"not known yet: call its vehicle “{named}” until somebody looks"))
        choices += [Choice(f"{IS}{each}", f"vehicle {each}, which is there already") for each in free[:20]]
        answer = self.asking.ask(
            group,
            row.number,
            about=UNITS,
            words=f"A tank is built into a vehicle and stays with it. Which shop no. has the vehicle of {unit}?",
            choices=choices,
            proposed=choices[0].key if choices else None,
            typed="its shop no.",
        )
        return self._named_vehicle(answer, unit, row)

    def _named_vehicle(self, answer: str, unit: str, row: Settled) -> str:
        shop_no = " ".join(answer.removeprefix(IS).removeprefix(NEW).split())
        if not shop_no:
            return ""
        made = self.units.get(folded(unit))
        known = self.names.vehicles.get(folded(shop_no))
        if known is None and folded(shop_no) not in self.vehicles:
            home = made.station if made else self.names.units[folded(unit)].station
            self.vehicles[folded(shop_no)] = NewVehicle(shop_no, vehicle_kind(unit), home, row.number)
        shop_no = known or self.vehicles[folded(shop_no)].shop_no
        if made and not made.vehicle:
            self.units[folded(unit)] = made._replace(vehicle=shop_no)
        return shop_no

    def _no_foam(self, row: Settled) -> None:
        """A unit that is said to carry no foam: noted in the report, or made without stock."""
        spot = row.spot
        if spot is None or spot.what != "unit" or folded(spot.unit) in self.names.units:
            return
        answer = self.asking.ask(
            f"no foam|{folded(spot.unit)}",
            row.number,
            about=UNITS,
            words=f"“{spot.text}” is said to carry no foam, and {spot.unit} is no unit of the department yet.",
            choices=(
                Choice(NOTE, "say so in the report; nothing is made"),
                Choice(f"{NEW}{spot.unit}", f"make the unit {spot.unit}, with nothing aboard"),
            ),
            proposed=NOTE,
        )
        if answer and answer != NOTE:
            self._named_unit(answer, spot.reserve, row)

    # -- concentrates -------------------------------------------------------------------------------------------------

    def _product(self, row: Settled) -> str:
        if not any(portion.parts for portion in row.portions):
            return ""
        name, kind = self._kind(row)
        known = self.names.products.get(folded(name))
        if name and known and (known.kind == kind or not kind):
            return known.name
        if folded(name) in self.products:
            return self.products[folded(name)].name
        return self._asked_product(row, name, kind)

    def _kind(self, row: Settled) -> tuple[str, str]:
        """The product's name and kind; one name for two kinds is asked about."""
        key = folded(row.product)
        kinds = sorted(self.kinds[key] - {""})
        if len(kinds) < 2:
            return row.product, row.kind or (kinds[0] if kinds else "")
        choices = [Choice(kind, f"all of it is {kind}") for kind in kinds]
        choices.append(Choice("apart", "they are different concentrates: the kind becomes part of the name"))
        answer = self.asking.ask(
            f"kinds|{key}",
            row.number,
            about=PRODUCTS,
            words=f"“{row.product}” stands in the sheet as {' and as '.join(kinds)}. Which is right?",
            choices=choices,
        )
        if answer == "apart":
            return f"{row.product} ({row.kind})", row.kind
        return (row.product, answer) if answer else ("", "")

    def _asked_product(self, row: Settled, name: str, kind: str) -> str:
        if len(self.kinds[folded(row.product)] - {""}) > 1 and not name:
            return ""
        group = f"product|{folded(name)}"
        if self.asking.asked(group):
            return self._named_product(self.asking.again(group, row.number), name, kind, row)
        known = self.names.products.get(folded(name))
        alike = [self.names.products[each] for each in near(name, self.names.products)] if name else []
        choices = [
            Choice(f"{IS}{each.name}", f"it is {each.name} ({each.kind}), which is there already")
            for each in dict.fromkeys([*([known] if known else []), *alike])
        ]
        if known:
            words = f"“{name}” is {known.kind} in the department and {kind} in the sheet. Which is right?"
        elif name:
            choices += self._new_product_choices(name, kind)
            words = f"“{name}” ({kind or 'kind not known'}) is no concentrate of the department yet."
        else:
            words = "These rows name no concentrate, and there is something in their containers. What is it?"
        answer = self.asking.ask(
            group,
            row.number,
            about=PRODUCTS,
            words=words,
            choices=choices,
            proposed=choices[0].key if choices and name and not known else None,
            typed="" if name and not known else "the name of a concentrate of the department",
        )
        return self._named_product(answer, name, kind, row)

    @staticmethod
    def _new_product_choices(name: str, kind: str) -> list[Choice]:
        said = {"unknown": "PFAS not known (counts as with PFAS)", "yes": "with PFAS", "no": "without PFAS"}
        kinds = [kind] if kind else list(CONCENTRATE_KINDS)
        return [
            Choice(f"{NEW}{pfas}|{each}", f"a new concentrate, named {name}, {each}, {words}")
            for each in kinds
            for pfas, words in said.items()
            if kind or pfas == "unknown"
        ]

    def _named_product(self, answer: str, name: str, kind: str, row: Settled) -> str:
        if not answer:
            return ""
        if answer.startswith(NEW):
            pfas, _, kind = answer.removeprefix(NEW).partition("|")
            return self.products.setdefault(folded(name), NewProduct(name, kind, pfas, row.number)).name
        known = self.names.products.get(folded(answer.removeprefix(IS)))
        if known is None:
            self.asking.wrong(
                f"product|{folded(name)}", f"“{answer}” was read: no concentrate of the department has this name."
            )
            return ""
        return known.name

    # -- containers, lots, label codes --------------------------------------------------------------------------------

    def _codes(self, stock: Sequence[Settled]) -> None:
        """Which label codes the containers of each kind get."""
        taken = set(self.names.codes)
        taken |= {folded(code) for row in stock for code in own_codes(row)}
        for kind in STEMS:
            rows = [row for row in stock if row.container == kind and not row.codes and row.containers]
            if not rows:
                continue
            first = self._first_code(kind, rows)
            self.series[kind] = made = self._series(kind, first, sum(row.containers for row in rows), taken)
            taken.update(folded(code) for code in made)
            made.reverse()

    def _first_code(self, kind: str, rows: Sequence[Settled]) -> str:
        first = first_free_code(kind, self.names.codes)
        many = sum(row.containers for row in rows)
        group = f"code|{kind}"
        answer = self.asking.ask(
            group,
            rows[0].number,
            about=CODES,
            words=f"{counted(many, kind)}, new to the book: with which label code do they begin?",
            choices=(Choice(f"{NEW}{first}", f"with {first}"),),
            proposed=f"{NEW}{first}",
            typed="the first label code, such as " + first,
        )
        for row in rows[1:]:
            self.asking.again(group, row.number)
        return answer.removeprefix(NEW)

    def _series(self, kind: str, first: str, many: int, taken: Iterable[str]) -> list[str]:
        if not first:
            return []
        try:
            return codes_from(first, many, taken)
        except ValueError as wrong:
            self.asking.wrong(f"code|{kind}", str(wrong))
            return []

    def _held(self, row: Settled, product: str) -> tuple[Held, ...]:
        codes = own_codes(row) or [self._next(row.container) for _ in range(row.containers)]
        every = [portion for portion in row.portions for _ in range(portion.many)]
        unknown = f"{UNKNOWN_LOT}, {codes[0]}" if codes and codes[0] else ""
        held = []
        for portion, code in zip(every, codes, strict=True):
            parts = tuple((part.lot or unknown, part.ml) for part in portion.parts if part.ml)
            sealed = portion.sealed if portion.sealed is not None or portion.opened else self._sealed(row)
            held.append(Held(code, row.container, portion.capacity_ml, parts, sealed, portion))
        if product:
            self._note_lots(row, product, held, unknown)
        return tuple(held)

    def _next(self, kind: str) -> str:
        series = self.series.get(kind)
        return series.pop() if series else ""

    def _sealed(self, row: Settled) -> bool | None:
        """Whether the seals are whole, where the sheet does not say."""
        if row.container not in SEALABLE or not row.volume_ml or not self.new:
            return None
        group = f"seal|{row.container}"
        if self.asking.asked(group):
            answer = self.asking.again(group, row.number)
        else:
            answer = self.asking.ask(
                group,
                row.number,
                about=SEALS,
                words=f"The sheet does not say of these {row.container}s whether the maker’s seal is whole.",
                choices=(
                    Choice("unknown", "nobody knows: they count as opened on a day not known until somebody looks"),
                    Choice("sealed", "all of them are sealed"),
                ),
                proposed="unknown",
            )
        return True if answer == "sealed" else None

    def _note_lots(self, row: Settled, product: str, held: Iterable[Held], unknown: str) -> None:
        """The lots that the book does not have, each with the dates that the sheet gives it."""
        used = {folded(batch) for each in held for batch, _ in each.parts}
        for said in row.lots:
            batch = said.lot or unknown
            key = folded(product), folded(batch)
            if folded(batch) in used and key not in self.names.lots:
                self.lots.setdefault(key, NewLot(product, batch, said.made, said.good_through, row.number))


def counted(many: int, kind: str) -> str:
    """So many containers of a kind: "1 pail", "2,300 pails"."""
    return f"{many:,} {kind}{'' if many == 1 else 's'}"


def own_codes(row: Settled) -> list[str]:
    """The label codes that the sheet gives, one for each container; none where new ones are given."""
    return list(row.codes)


def vehicle_kind(unit: str) -> str:
    """What sort of vehicle a unit's name speaks of; "other" where it says nothing."""
    words = folded(unit).split()
    named = [word for word in reversed(words) if word in VEHICLE_KINDS]
    return named[0] if named else next((_VEHICLE_WORDS[word] for word in words if word in _VEHICLE_WORDS), "other")
