"""The one table of what can be wrong: how bad, what cures it, how it is said, and who may accept it.

The status of a unit is the worst severity of its open deficiencies. An accepted one keeps its severity and is counted
apart. Sentences are made from the numbers when they are shown, in the reader's units; the records keep SI.
"""

from collections.abc import Iterable
from datetime import date
from typing import Final, Literal, NamedTuple

from readiness.engineering.records import RANK, STATUSES, Deficiency, Severity, Status
from readiness.engineering.units import Toward, from_si, shown

System = Literal["us", "metric"]
CHIEF: Final = "chief"
NOBODY: Final = ""


class Code(NamedTuple):
    """One row of the table. The sentence may name {words} {measured} {required} {short} {since}."""

    code: str
    severity: Severity
    sentence: str
    cure: str
    accepted_by: str = CHIEF  # the role that may accept it; empty: nobody


# A table is read by its columns: broken over five lines each, nobody would compare two rows.
# fmt: off
# ruff: noqa: E501 - the rows of this table
_ROWS: Final = (
    # The unit
    Code("out_of_service", "not_ready", "{words} is out of service.", "Return it to service.", NOBODY),
    Code("no_vehicle", "not_ready", "{words} has no vehicle.", "Assign a vehicle.", NOBODY),
    Code("vehicle_out_of_service", "not_ready", "Vehicle {words} is out of service.", "Change over to another vehicle.", NOBODY),
    Code("no_tow", "not_ready", "No tow unit is ready for {words}.", "Name a tow unit in service.", NOBODY),
    Code("no_driver", "not_ready", "No driver is named for {words}.", "Name a driver.", NOBODY),
    Code("no_duty_review", "unverified", "{words} has no foam duty by a decision that is due for review{since}.", "Review the decision or give the unit a duty.", NOBODY),
    Code("no_design_spill", "unverified", "{words} has no design spill: nobody has said what it must cover.", "Enter a design spill or decide that it has no foam duty.", NOBODY),
    Code("no_line", "not_ready", "{words} has no foam line.", "Enter a foam line.", NOBODY),
    Code("no_stock", "not_ready", "{words} carries no concentrate.", "Load concentrate.", NOBODY),
    Code("check_never", "unverified", "{words} has never been checked.", "Make the morning check."),
    Code("check_overdue", "unverified", "{words} was last checked {measured} ago; the limit is {required}.", "Make the morning check."),
    Code("fault_seen", "unverified", "{words}, seen at the last check: nobody has said what it does.", "Cure it and check again."),
    Code("not_carried", "limited", "{words} not found aboard at the last check.", "Bring it back aboard, or report where it went, and check again."),
    Code("inspection_overdue", "unverified", "{words} is overdue{since}.", "Make the inspection and log it."),
    Code("raised_not_ready", "not_ready", "{words}.", "Cure it, and close it with proof."),
    Code("raised_unverified", "unverified", "{words}: nobody has said what it does.", "Find out, cure it, and close it with proof."),
    Code("raised_limited", "limited", "{words}.", "Cure it, and close it with proof."),
    Code("raised_note", "note", "{words}.", "See to it, and close it with proof."),
    Code("not_judged", "unverified", "{words} could not be judged: its record cannot be read.", "Correct the record.", NOBODY),
    # Foam, fuel and listing
    Code("not_foam", "not_ready", "Foam is not the agent, or not alone: {words}", "Plan with another agent.", NOBODY),
    Code("wrong_foam", "not_ready", "Wrong foam: {words}.", "Carry a concentrate that is listed for this fuel.", NOBODY),
    Code("not_listed", "not_ready", "Not listed for this fuel: {words}.", "Enter the maker's listing, or carry another concentrate.", NOBODY),
    Code("no_listed_rate", "not_ready", "No listed rate: {words}.", "Cool, contain, and ask the maker.", NOBODY),
    Code("listing_by_group", "unverified", "{words} is listed for this fuel by its group only.", "Enter the maker's listing for the fuel."),
    Code("plain_on_e10", "limited", "{words} is not alcohol-resistant; it counts on gasoline with ethanol by policy only.", "Carry alcohol-resistant concentrate."),
    Code("no_area", "unverified", "{words} has no area: it asks for nothing and proves nothing.", "Enter the footprint.", NOBODY),
    Code("no_tankful", "unverified", "{words} counts tankfuls and no water tank is known: it asks for nothing and proves nothing.", "Enter the water tank of the vehicle.", NOBODY),
    Code("vapor_not_worked", "unverified", "Vapor cover is not worked for {words}; the figures are of the fire run alone.", "Enter how long and how the blanket is held."),
    Code("pack_off", "unverified", "{words} is planned by a rule of a region that the department has not turned on; the figures are by the general rules.", "Turn the region pack on, or plan it by the general rules.", NOBODY),
    Code("rule_not_stated", "unverified", "The region's rule is not worked for {words}; the figures are by the general rules.", "Enter what the rule asks for.", NOBODY),
    Code("no_rule_rate", "not_ready", "The region's rule states no rate for this: {words}.", "Ask the maker and those who hold to the rule.", NOBODY),
    Code("no_reach", "not_ready", "No line of {words} reaches a concentrate aboard.", "Carry pails for the eductor or fill the tank."),
    # The line
    Code("line_out_of_service", "not_ready", "{words} is out of service.", "Repair the line."),
    Code("setting_not_offered", "not_ready", "{words} does not offer {required}.", "Fit a proportioner that offers it."),
    Code("too_thick", "not_ready", "{words} is not made for a concentrate this thick.", "Fit a proportioner that is."),
    Code("feed_lean", "not_ready", "{words} makes {measured} where {required} is needed: lean.", "Flow less, or fit a larger proportioner."),
    Code("aspirating_missing", "not_ready", "The listing asks for an aspirating nozzle and {words} has none.", "Carry an aspirating tube."),
    Code("no_pick_up", "not_ready", "{words} does not pick up: back pressure {measured}, limit {required}.", "Shorten the lay or use a nozzle of less pressure."),
    Code("nozzle_below_eductor", "not_ready", "{words} does not pick up: nozzle {measured}, eductor {required}.", "Fit or set a nozzle of the eductor's flow."),
    Code("nozzle_above_eductor", "limited", "{words}: nozzle {measured} on an eductor of {required}: reach and proportioning suffer.", "Fit or set a nozzle of the eductor's flow."),
    Code("lift_too_high", "not_ready", "{words} lifts {measured}; the plate allows {required}.", "Set the pails higher."),
    Code("tube_not_original", "unverified", "The pick-up tube of {words} is not the original.", "Fit the original pick-up tube."),
    Code("inlet_low", "limited", "{words}: inlet {measured}, the plate asks {required}: it flows less and draws rich.", "Give it the plate's inlet pressure."),
    Code("inlet_high", "limited", "{words}: inlet {measured}, the plate asks {required}: it draws lean.", "Give it the plate's inlet pressure."),
    Code("pump_low", "limited", "{words}: at its pump pressure it flows {measured}, the nozzle asks {required}.", "Raise the pump pressure or shorten the lay."),
    Code("branch_low", "limited", "{words}: behind its wye a branch flows {measured}, its nozzle asks {required}.", "Lay like branches, or a smaller nozzle on the longer one."),
    Code("below_range", "unverified", "{words} flows {measured}; its proportioner works from {required} on.", "Flow more, or test the line at this flow."),
    Code("intake_pressurized", "not_ready", "{words} makes no foam against {measured} at the pump's intake; the limit is {required}.", "Take the supply through the tank."),
    Code("intake_not_stated", "unverified", "{words} on a hydrant: around the pump no foam is made against pressure at the intake, and none is stated.", "State the intake pressure, or take the supply through the tank."),
    Code("batch_ends", "not_ready", "{words}: a batch-mixed tankful lasts {measured} of {required}; mixing anew breaks the attack.", "Use a line that proportions while it flows."),
    Code("setting_not_parked", "limited", "{words} stands at {measured} and is parked at {required} by rule.", "Turn the knob."),
    Code("ring_to_turn", "limited", "The ring of {words} stands at {measured}; this needs {required}.", "Turn the ring."),
    Code("flush_not_logged", "limited", "{words} was used and its flush is not logged.", "Flush with clear water and log it."),
    Code("lines_not_staffed", "not_ready", "{words} takes {required} at once; the crew can run {measured}.", "Staff the lines or plan with fewer."),
    # Tests
    Code("test_lean", "not_ready", "{words} tested lean: {measured} where at least {required} is needed.", "Repair and retest."),
    Code("test_rich", "not_ready", "{words} tested too rich: {measured} where at most {required} is allowed.", "Repair and retest."),
    Code("test_failed", "not_ready", "{words} failed its proportioning test at {measured}.", "Repair and retest."),
    Code("test_overdue", "unverified", "The proportioning test of {words} ran out{since}.", "Test the line."),
    Code("test_never", "unverified", "{words} has no proportioning test at {required}.", "Test the line."),
    Code("converted_not_retested", "unverified", "{words} was changed to another concentrate and not tested since.", "Test the line."),
    Code("foam_thin", "not_ready", "Foam of {words} expanded {measured} times where at least {required} is stated.", "Find whether nozzle, percentage or foam is at fault; test again."),
    Code("foam_drains", "not_ready", "A quarter of the foam of {words} drained in {measured} where at least {required} is stated.", "Find whether nozzle, percentage or foam is at fault; test again."),
    Code("foam_test_overdue", "unverified", "The foam test of {words} ran out{since}.", "Test the foam."),
    Code("foam_test_never", "unverified", "{words} has no whole foam test, which the department asks for.", "Test expansion and quarter drainage."),
    # Enough
    Code("rate_short", "not_ready", "Flow {measured} of {required} for {words}: short {short}; concentrate does not cure it.", "Run a further line or plan a smaller area."),
    Code("short_of_textbook", "not_ready", "{words}: usable {measured} of {required} needed: short {short}.", "Load more concentrate."),
    Code("runs_dry", "limited", "{words}: enough for the area, but this line takes {required} and there is {measured}: it runs dry.", "Load more concentrate or use a smaller line."),
    Code("fire_cover_short", "limited", "{words}: enough for blanket and upkeep; with the fire run kept back in case it lights {required} is needed and there is {measured}: short {short}.", "Load more concentrate."),
    Code("monitor_small", "not_ready", "{words} flows {measured}; the code asks for a monitor of {required}.", "Fit a larger monitor."),
    Code("hold_back_short", "limited", "{words}: with hold-back foam {required} is needed and {measured} is usable: short {short}.", "Load more concentrate."),
    Code("date_unknown", "unverified", "{words} counts and its date is not known ({measured}).", "Find the date or take a sample."),
    Code("opened_unknown", "unverified", "{words} counts, is opened, and nobody knows since when ({measured}).", "Find out when it was opened or use it at a drill."),
    Code("sample_overdue", "unverified", "{words} counts and its sample ran out{since} ({measured}).", "Take a sample."),
    Code("no_named_water", "limited", "{words}: no water supply is named; own water lasts {measured} of {required}.", "Name a supply."),
    Code("water_short", "limited", "{words}: water runs dry at {measured} of {required}.", "Plan a larger supply."),
    # Airport
    Code("other_agent_short", "not_ready", "{words}: other agent {measured} of {required}.", "Load dry chemical.", NOBODY),
    Code("airport_water_short", "not_ready", "{words}: water aboard {measured} of {required}.", "Use a vehicle that carries the water.", NOBODY),
    # Volume aboard that does not count
    Code("expired", "note", "{words} is past its date{since}: {measured} out of the count.", "Take a sample or replace it."),
    Code("opened_too_long", "note", "{words} has been open too long{since}: {measured} out of the count.", "Use it at a drill."),
    Code("sample_failed", "note", "{words} failed its sample: {measured} out of the count.", "Replace it.", NOBODY),
    Code("recalled", "note", "{words} holds a recalled lot: {measured} out of the count.", "Follow the recall.", NOBODY),
    Code("quarantined", "note", "{words} is quarantined: {measured} out of the count.", "Settle it with the logistics officer."),
    Code("mixed", "note", "{words} is mixed: {measured} out of the count.", "Drain, flush, inspect, refill with one concentrate.", NOBODY),
    Code("diluted", "note", "{words} is diluted: {measured} out of the count.", "Drain and refill.", NOBODY),
    Code("unlike", "note", "{words} holds unlike concentrates: {measured} out of the count.", "Drain, flush, inspect, refill with one concentrate.", NOBODY),
    Code("reading_above_book", "note", "{words} reads above the book: water may have got in; {measured} out of the count until sampled.", "Read it again; if it still does, take a sample before you load more."),
    Code("reading_below_book", "note", "{words} reads {measured} below the book: only what was read counts.", "Find out where it went and correct the book."),
    Code("too_cold", "note", "{words} stands where it gets too cold to draw: {measured} out of the count.", "Move it to a warmer place."),
    Code("heel", "note", "{words}: the pick-up cannot reach {measured}.", "None: it is the tank's heel."),
    # Worth knowing
    Code("expires_soon", "note", "{words} is good through {since}.", "Take a sample or plan its replacement."),
    Code("doubtful_spare", "note", "{words} holds {measured} with a date in doubt; the duty does not need it.", "Find the date or take a sample."),
    Code("flush_of_spare", "note", "{words} was used and its flush is not logged; no duty counts on it tonight.", "Flush with clear water and log it."),
    Code("line_not_counted", "note", "{words}.", "See the line's own page."),
)
# fmt: on
TABLE: Final[dict[str, Code]] = {row.code: row for row in _ROWS}

_UNITS: Final[dict[System, dict[str, tuple[str, int]]]] = {
    "us": {
        "volume": ("gal", 1),
        "flow": ("gpm", 1),
        "area": ("ft2", 0),
        "pressure": ("psi", 1),
        "length": ("ft", 1),
        "mass": ("lb", 0),
        "time": ("min", 1),
        "temperature": ("F", 0),
    },
    "metric": {
        "volume": ("L", 1),
        "flow": ("L/min", 0),
        "area": ("m2", 1),
        "pressure": ("kPa", 0),
        "length": ("m", 1),
        "mass": ("kg", 0),
        "time": ("min", 1),
        "temperature": ("C", 0),
    },
}
_MOST_FINER: Final = 6  # decimals more than usual, until two numbers that differ read so
_COUNTED: Final = {"days": "day", "hours": "hour", "lines": "line"}


def found(
    code: str,
    subject: tuple[str, int],
    words: str,
    quantity: str = "",
    measured: float | None = None,
    required: float | None = None,
    since: date | None = None,
) -> Deficiency:
    """A deficiency of the table's severity. Raises ``KeyError`` for a code that is not in the table."""
    return Deficiency(code, subject, TABLE[code].severity, measured, required, quantity, since, words)


def worst(deficiencies: Iterable[Deficiency]) -> Status:
    """The status that a list of deficiencies gives: the worst severity, accepted or not; notes change nothing."""
    return STATUSES[max((RANK[each.severity] for each in deficiencies), default=0)]


def _amount(value: float | None, quantity: str, units: System, *, up: bool, containers: int = 0, finer: int = 0) -> str:
    """A number in the reader's units; ``finer``: so many decimals more than usual."""
    if value is None:
        return "unknown"
    if quantity == "pct":
        hundredths = shown(value, unit=None, places=finer, toward="up" if up else "down")
        return f"{(hundredths / 100).normalize():f} %"
    if quantity in _COUNTED:
        return f"{value:g} {_COUNTED[quantity]}{'' if value == 1 else 's'}"
    unit, places = _UNITS[units].get(quantity, ("", 1))
    inside = from_si(value, unit) if unit else value
    toward: Toward = "up" if up else "down"
    text = f"{shown(inside, unit=unit or None, places=places + finer, toward=toward, containers=containers):,}"
    return f"{text} {unit}".strip()


def _measured_and_required(deficiency: Deficiency, units: System) -> tuple[str, str]:
    """What is there rounded down; a need rounded up, and a limit that is exceeded down.

    Where both then read the same, though they are not, they are given decimals until they differ.
    """
    measured, required, quantity = deficiency.measured, deficiency.required, deficiency.quantity
    need = measured is None or required is None or measured <= required
    for finer in range(_MOST_FINER + 1):
        there = _amount(measured, quantity, units, up=False, containers=deficiency.containers, finer=finer)
        asked = _amount(required, quantity, units, up=need, finer=finer)
        if there != asked or measured == required:
            break
    return there, asked


def _since(deficiency: Deficiency) -> str:
    if deficiency.since is None:
        return ""
    day = deficiency.since.isoformat()
    return day if "good through" in TABLE[deficiency.code].sentence else f" ({day})"


def sentence(deficiency: Deficiency, units: System) -> str:
    """The deficiency in words and numbers, in the reader's units: needs up, what is there and limits down."""
    measured, required, quantity = deficiency.measured, deficiency.required, deficiency.quantity
    short = None if measured is None or required is None else max(0.0, required - measured)
    there, asked = _measured_and_required(deficiency, units)
    return TABLE[deficiency.code].sentence.format(
        words=deficiency.words,
        measured=there,
        required=asked,
        short=_amount(short, quantity, units, up=True, containers=deficiency.containers),
        since=_since(deficiency),
    )


def cure(deficiency: Deficiency) -> str:
    """What cures it."""
    return TABLE[deficiency.code].cure


def may_accept(code: str) -> str:
    """The role that may accept a deficiency of this code until a date; empty: nobody."""
    return TABLE[code].accepted_by
