"""What must hold between the cells of a workbook, as far as it is certain without the database.

A rule looks only at cells that were read without a fault, so that one slip is named once.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Final

from readiness.engineering.kits import DIAL, on_dial
from readiness.engineering.percentages import percent_text
from readiness.engineering.units import L_PER_IMP_GAL, L_PER_US_GAL, from_ml, tolerance_ml
from readiness.workbooks.columns import Units
from readiness.workbooks.rows import Fault, Row, quoted
from readiness.workbooks.sheets import BY_KEY

Rows = Mapping[str, Sequence[Row]]
Rule = Callable[[Row], Iterator[Fault]]

_IMPERIAL_OVER_US: Final = L_PER_IMP_GAL / L_PER_US_GAL  # 1.20095
_AS_IMPERIAL: Final = 0.01  # how near to 1.20095 a ratio is taken for a mix-up of gallons


@lru_cache(maxsize=50_000)  # a name is asked for many times while a sheet of ten thousand rows is taken in
def folded(text: str) -> str:
    """Names that differ in case or spaces only are one name."""
    return " ".join(text.casefold().split())


def faults_between(rows: Rows, units: Units) -> Iterator[Fault]:
    """Every fault that shows only when cells and rows are looked at together."""
    for key, of_sheet in rows.items():
        for row in of_sheet:
            for rule in _RULES.get(key, ()):
                yield from rule(row)
        yield from _doubles(of_sheet, BY_KEY[key].unique)
    yield from _doubles(rows["units"], ("runs_on",))
    yield from _overfull(rows, units)
    yield from _foreign_lots(rows)
    yield from _settings_not_offered(rows)


def _off_the_dial(row: Row) -> Iterator[Fault]:
    """A setting of a portable kit that neither face of its dial reaches."""
    if row.sound("kind", "settings") and row["kind"] == "portable kit":
        for pct in row["settings"]:
            if not on_dial(pct):
                yield row.fault("settings", percent_text(pct), DIAL)


def _one_of(*keys: str) -> Rule:
    """Exactly one of these cells is filled."""

    def rule(row: Row) -> Iterator[Fault]:
        if not row.sound(*keys):
            return
        titles = [row.sheet.column(key).title for key in keys]
        choice = f"{', '.join(titles[:-1])} or {titles[-1]}"
        filled = [key for key in keys if row[key]]
        if not filled:
            yield row.fault(keys[0], "nothing", f"one of {choice} belongs in each row")
        elif len(filled) > 1:
            read = " and ".join(quoted(row[key]) for key in filled)
            yield row.fault(filled[1], read, f"only one of {choice} belongs in a row")

    return rule


def _needs(key: str, needed: str, why: str) -> Rule:
    """Where ``key`` is filled, ``needed`` is too."""

    def rule(row: Row) -> Iterator[Fault]:
        if row.sound(key, needed) and row[key] not in {"", None} and row[needed] in {"", None}:
            yield row.fault(needed, "nothing", why)

    return rule


def _not_before(key: str, earliest: str) -> Rule:
    """The day in ``key`` does not lie before the one in ``earliest``."""

    def rule(row: Row) -> Iterator[Fault]:
        late, early = row[key], row[earliest]
        if late is not None and early is not None and _day(late) < _day(early):
            title = row.sheet.column(earliest).title
            yield row.fault(key, quoted(late), f"this lies before {title} ({early}); check both dates")

    return rule


def _day(label: object) -> date:
    day = label if isinstance(label, date) else getattr(label, "day", None)
    if not isinstance(day, date):
        raise TypeError(f"{label!r} is no date")
    return day


def _not_less(high: str, low: str) -> Rule:
    """The number in ``high`` is not below the one in ``low``."""

    def rule(row: Row) -> Iterator[Fault]:
        if row[high] is not None and row[low] is not None and row[high] < row[low]:
            titles = row.sheet.column(low).title, row.sheet.column(high).title
            yield row.fault(high, "the lower of two numbers", f"{titles[1]} is not below {titles[0]}; change them over")

    return rule


def _not_both(key: str, filled: str, read: str, right: str, *words: object) -> Rule:
    """Where ``key`` says one of ``words``, ``filled`` stays empty."""

    def rule(row: Row) -> Iterator[Fault]:
        if row.sound(key, filled) and row[key] in words and row[filled] not in {"", None}:
            yield row.fault(filled, read, right)

    return rule


def _duty(kind: str, *needed: str) -> Rule:
    """A duty of this kind states these."""

    def rule(row: Row) -> Iterator[Fault]:
        if row["kind"] != kind:
            return
        for key in needed:
            if row.sound(key) and row[key] in {"", None}:
                yield row.fault(key, "nothing", f"a duty of the kind {kind} states it")

    return rule


def _tank_use(row: Row) -> Iterator[Fault]:
    """A storage tank by a national code is listed as it is put on: gently, or by a direct stream."""
    if row["rule"] != "storage tank" or not row.sound("application", "use") or not row["application"]:
        return
    right = "gentle" if row["application"] == "gentle" else "direct"
    if row["use"] not in {"", right}:
        yield row.fault("use", row["use"], f"a tank by {row['application']} means is listed as {right}")


def _rate_unless_class_a(row: Row) -> Iterator[Fault]:
    if row.sound("rate", "use") and row["use"] not in {"", "class a"} and row["rate"] is None:
        yield row.fault("rate", "nothing", f"a listing for {row['use']} states an application rate")


def _known_contents(row: Row) -> Iterator[Fault]:
    if not row.sound("contents", "concentrate", "lot", "condition"):
        return
    contents = row["contents"]
    if contents is None and (row["concentrate"] or row["lot"]):
        yield row.fault("contents", "nothing", "state what is in it now, 0 when it is empty")
    if contents and row["condition"] != "mixed":
        for key in ("concentrate", "lot"):
            if not row[key]:
                right = "contents need a concentrate and a lot; where nobody knows them, make a lot named unknown"
                yield row.fault(key, "nothing", right)


def _within_capacity(key: str) -> Rule:
    def rule(row: Row) -> Iterator[Fault]:
        if row[key] is not None and row["capacity"] is not None and row[key] > row["capacity"]:
            title = row.sheet.column(key).title
            yield row.fault(key, _litres(row[key]), f"{title} is at most the capacity, {_litres(row['capacity'])}")

    return rule


def _litres(ml: int) -> str:
    return f"{ml / 1000:,.2f} L"


def _sample_of_lot(row: Row) -> Iterator[Fault]:
    if row.sound("lot", "concentrate") and row["lot"] and not row["concentrate"]:
        yield row.fault("concentrate", "nothing", "a lot is named together with its concentrate")


_PLACE: Final = _one_of("unit", "vehicle")
_NO_DUTY: Final = "a unit without a foam duty has both: whose decision it is, and the day on which it is reviewed"
_UNSEALED: Final = "a sealed container has not been opened; empty this cell, or answer no under Sealed"
_TOWED: Final = "only what needs a tow has a tow vehicle; answer yes under Needs a tow, or empty this cell"
_RUNNING: Final = "what is in service has no such day; empty this cell, or put out of service under State"

_RULES: Final[Mapping[str, tuple[Rule, ...]]] = {
    "vehicles": (
        _not_both("needs_tow", "tow", "a tow vehicle", _TOWED, False),
        _not_both("state", "out_since", "a day out of service", _RUNNING, "in service"),
    ),
    "units": (_needs("no_duty_by", "no_duty_review_on", _NO_DUTY), _needs("no_duty_review_on", "no_duty_by", _NO_DUTY)),
    "concentrates": (_not_less("store_high", "store_low"),),
    "listings": (_one_of("fuel", "fuel_group"), _not_less("percent_high", "percent"), _rate_unless_class_a),
    "lots": (
        _not_before("makers_date", "made_on"),
        _needs("price", "currency", "a price needs its currency, such as USD"),
        _not_before("recalled_on", "made_on"),
    ),
    "containers": (
        _one_of("station", "unit", "vehicle"),
        _known_contents,
        _within_capacity("unreachable"),
        _within_capacity("gauge_resolution"),
        _not_both("sealed", "opened_on", "an opening day of a sealed container", _UNSEALED, True),
    ),
    "appliances": (_PLACE, _off_the_dial),
    "lines": (_PLACE,),
    "setups": (_PLACE,),
    "design_spills": (
        _duty("spill", "fuel", "area", "use"),
        _duty("class a", "tankfuls"),
        _duty("airport", "required_water"),
        _tank_use,
    ),
    "samples": (_one_of("container", "lot"), _sample_of_lot, _not_before("good_through", "taken_on")),
    "line_tests": (_PLACE, _not_before("good_through", "on")),
}


def _doubles(rows: Sequence[Row], unique: Sequence[str]) -> Iterator[Fault]:
    """Rows that say the same thing twice; the fault stands at the later one and names the earlier."""
    first: dict[tuple[object, ...], int] = {}
    for row in rows:
        name = tuple(folded(value) if isinstance(value := row[key], str) else value for key in unique)
        if not row.sound(*unique) or not any(name):
            continue
        number = first.setdefault(name, row.number)
        if number != row.number:
            read = " + ".join(quoted(row[key]) for key in unique if row[key] not in {"", None})
            where = next(key for key in reversed(unique) if row[key] not in {"", None})
            yield row.fault(where, read, f"row {number} says the same; each stands in one row only")


def _overfull(rows: Rows, units: Units) -> Iterator[Fault]:
    """More in a container than it holds, all its lots together."""
    more: dict[str, list[Row]] = {}
    for row in rows["other_lots"]:
        more.setdefault(folded(row["container"]), []).append(row)
    for row in rows["containers"]:
        others = more.get(folded(row["code"]), [])
        contents = [row["contents"] or 0, *(other["contents"] or 0 for other in others)]
        capacity = row["capacity"]
        if capacity is not None and sum(contents) > capacity + tolerance_ml(len(contents)):
            yield row.fault(
                "contents", f"{_both(sum(contents), units)} in all", _overfull_right(row, sum(contents), units)
            )


def _both(ml: int, units: Units) -> str:
    unit = "gal" if units == "us" else "L"
    return f"{Decimal(repr(round(from_ml(ml, unit), 2))).normalize():f} {unit}"


def _overfull_right(row: Row, contents_ml: int, units: Units) -> str:
    capacity_ml = row["capacity"]
    right = f"the container holds {_both(capacity_ml, units)} when full; correct the contents or the capacity"
    if abs(contents_ml / capacity_ml / _IMPERIAL_OVER_US - 1) > _AS_IMPERIAL:
        return right
    gallons = f"{from_ml(capacity_ml, 'gal'):.4g}"
    imperial = f"{from_ml(capacity_ml, 'gal') * _IMPERIAL_OVER_US:.2f}"
    return (
        f"{right}; {gallons} imperial gallons are {imperial} US gallons: if imperial is meant, write {gallons} imp gal"
    )


def _foreign_lots(rows: Rows) -> Iterator[Fault]:
    """A second concentrate in a container makes it mixed, and the container's row must say so."""
    containers = {folded(row["code"]): row for row in rows["containers"]}
    for row in rows["other_lots"]:
        container = containers.get(folded(row["container"]))
        if container is None or not row.sound("concentrate") or not container.sound("concentrate", "condition"):
            continue
        if container["condition"] == "mixed" or not row["concentrate"]:
            continue
        if folded(container["concentrate"]) != folded(row["concentrate"]):
            has = quoted(container["concentrate"]) if container["concentrate"] else "no concentrate"
            right = (
                f"{container['code']} holds {has} (row {container.number}); two concentrates in one container are mixed"
            )
            yield row.fault("concentrate", quoted(row["concentrate"]), right)


def _settings_not_offered(rows: Rows) -> Iterator[Fault]:
    """A parked or present setting that the line's proportioner does not have."""
    offered = _offered(rows)
    runs_on = {folded(row["designation"]): folded(row["runs_on"]) for row in rows["units"] if row["runs_on"]}
    unit_on = {vehicle: unit for unit, vehicle in runs_on.items()}
    for row in rows["lines"]:
        unit, vehicle = folded(row["unit"]), folded(row["vehicle"])
        owners = ((unit or unit_on.get(vehicle, ""), ""), ("", vehicle or runs_on.get(unit, "")))
        found = [offered[place] for owner in owners if (place := (*owner, folded(row["proportioner"]))) in offered]
        if len(found) == 1 and found[0]:
            yield from _setting_faults(row, found[0])


def _offered(rows: Rows) -> dict[tuple[str, str, str], tuple[int, ...]]:
    return {
        (folded(row["unit"]), folded(row["vehicle"]), folded(row["name"])): row["settings"]
        for row in rows["appliances"]
        if row.sound("unit", "vehicle", "name", "settings")
    }


def _setting_faults(row: Row, settings: tuple[int, ...]) -> Iterator[Fault]:
    for key in ("parked", "present"):
        if row[key] is not None and row[key] not in settings:
            offers = ", ".join(percent_text(setting) for setting in settings)
            yield row.fault(key, percent_text(row[key]), f"its proportioner offers {offers}")
