"""The frozen records a judgment is made from, and the ones it answers with.

Units: volumes in a container are whole millilitres (``_ml``), everything worked out is SI (L, L/min, m², kPa, m, min).
Percentages are whole hundredths of a point of the solution (3 % = 300), because 0.06 + 0.01 is not 0.07 in floats and
a line at 7.0 % would fail its test for it. Days are good **through** themselves. NamedTuples, because ten thousand
units are made into records every night and a frozen dataclass costs five times as much to make.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Final, Literal, NamedTuple

from readiness.engineering.fuels import Group

Kind = Literal[
    "afff", "ar_afff", "fffp", "ar_fffp", "fp", "p", "f3", "ar_f3", "class_a", "high_expansion", "wetting", "training"
]
Use = Literal["spill", "depth", "gentle", "direct", "class_a"]
RateUnit = Literal["gpm_ft2", "lpm_m2"]
RatingBasis = Literal["any", "six", "water"]
ProportionerKind = Literal["in_line", "by_pass", "around", "balanced", "injection", "self", "kit", "batch"]
SupplyKind = Literal["hydrant", "draft", "tenders", "none"]
ContainerKind = Literal["pail", "drum", "tote", "tank", "kit"]
Severity = Literal["not_ready", "unverified", "limited", "note"]
Status = Literal["ready", "limited", "unverified", "not_ready", "no_foam_duty"]

RANK: Final[dict[str, int]] = {"no_foam_duty": 0, "note": 0, "ready": 0, "limited": 1, "unverified": 2, "not_ready": 3}
STATUSES: Final[tuple[Status, ...]] = ("ready", "limited", "unverified", "not_ready")
LOOSE: Final = frozenset({"pail", "drum", "tote"})  # what a crew can stand beside an eductor's tube


class Moment(NamedTuple):
    """When a judgment is made. Made by whoever may read the clock, from the department's zone and shift change."""

    at: datetime  # the instant, with a zone
    day: date  # the department's day at that instant


class Policy(NamedTuple):
    """What a department has decided. Percentages in hundredths of a point."""

    back_pressure_share: int = 6500  # of inlet pressure, where the plate's limit is unknown (row H1)
    hazard_hold_back: int = 2000  # extra share of the attack need at target hazards
    unit_hold_back: int = 0  # extra share of a unit's line need
    check_interval_h: int = 24
    reserve_check_interval_h: int = 168
    sample_interval_d: int = 365  # a passed sample without its own date is good for so many days
    test_interval_d: int = 365  # the same for a proportioning test
    opened_limit_d: int | None = None  # days an opened pail counts; None = no limit
    expiry_warn_d: int = 365
    foam_test_interval_d: int = 0  # days a foam test is good for; 0 = the department asks for none
    rich_end: Literal["caution", "short"] = "caution"  # "short": without a test in date the rich end IS the need
    add_concentrates: bool = False  # different concentrates add as minutes, through separate lines
    plain_on_e10: Literal["no", "limited"] = "no"
    dead_band_ml: int = 0  # a difference between book and reading that nobody looks into
    vehicle_3_least: int = 280  # what an airport vehicle's proportioner passes with at 3 and 6 % (row P6)
    vehicle_3_most: int = 350
    vehicle_6_least: int = 550
    vehicle_6_most: int = 700
    region_packs: frozenset[str] = frozenset()  # rules of a region that the department turned on

    @property
    def vehicle_bands(self) -> dict[int, tuple[int, int]]:
        """What passes on an airport vehicle, by its setting [1/100 point]."""
        return {
            300: (self.vehicle_3_least, self.vehicle_3_most),
            600: (self.vehicle_6_least, self.vehicle_6_most),
        }


class Rate(NamedTuple):
    """An application rate in the unit it was published in, never converted there and back."""

    value: float
    unit: RateUnit


class Listing(NamedTuple):
    """What a concentrate is listed for on one fuel (or fuel group) and use."""

    pct: int
    rate: Rate | None  # None: the listing gives no rate, the standard's applies where there is one
    minutes: float | None  # None: the duty's own rule
    aspirating: bool  # a plain nozzle gets no credit
    by_group: bool  # found by the fuel's group only: counts, unverified
    source: str
    expansion: float | None = None  # least expansion of finished foam; None: not stated
    quarter_min: float | None = None  # least time in which a quarter of its liquid drains; None: not stated


class Fuel(NamedTuple):
    """The liquid a duty is planned for."""

    id: int
    name: str
    un: str
    group: Group
    oxygenate: int | None  # hundredths of a point by volume (E10 = 1000); None = not known
    flash_c: float | None
    not_foam: str = ""  # why foam is not the agent, or not alone; empty where it is


class Concentrate(NamedTuple):
    """A product as listed. ``listings`` by (fuel id, use) and, as the fallback, (fuel group, use)."""

    id: int
    name: str
    kind: Kind
    pfas: Literal["yes", "no", "unknown"]
    lowest_use_c: float | None
    shear_thinning: bool  # thick: only a proportioner that is made for it draws it
    listings: Mapping[tuple[int | str, Use], Listing]
    compatible: str = ""  # name of the department's compatibility group; empty: none


class Sample(NamedTuple):
    """The latest laboratory sample **with a result** of a lot or a container."""

    taken_on: date
    passed: bool
    good_through: date | None = None  # None: taken_on + policy.sample_interval_d


class Lot(NamedTuple):
    """One maker's batch."""

    id: int
    batch: str
    concentrate: Concentrate
    makers_date: date | None  # good through; None = not known. A month or year counts to its last day
    sample: Sample | None
    recalled: bool


class Part(NamedTuple):
    """So much of one lot in a container."""

    lot: Lot
    ml: int


class Container(NamedTuple):
    """A pail, drum, tote, fixed tank or kit reservoir on the unit or its vehicle."""

    id: int
    code: str
    kind: ContainerKind
    parts: tuple[Part, ...]
    unreachable_ml: int = 0  # the heel the pick-up cannot reach
    reading_ml: int | None = None  # last gauge or dip reading; None = never read
    reading_on: date | None = None
    resolution_ml: int = 0  # what the gauge can tell apart
    mixed: bool = False
    quarantined: bool = False
    diluted: bool = False
    sealed: bool = True  # of loose containers; a fixed tank lives by its sample
    opened_on: date | None = None
    place_low_c: float | None = None  # lowest temperature expected where it stands; None = not stated
    sample: Sample | None = None  # the container's own
    fault: str = ""  # what the last check that looked at it saw to be wrong
    fault_on: date | None = None
    moved_since_ml: int = 0  # drawn (below 0) and poured in since it was read, by the book
    found_since_ml: int = 0  # written off (below 0) or gained since it was read, by the book
    received_since_ml: int = 0  # received into it since it was read, by the book

    @property
    def book_ml(self) -> int:
        """What the ledger says is in it [ml]."""
        parts = self.parts
        return parts[0].ml if len(parts) == 1 else sum([part.ml for part in parts])


class LineTest(NamedTuple):
    """The latest proportioning test of a line with one concentrate at one setting."""

    concentrate_id: int
    setting: int
    measured: int
    on: date
    passed: bool = True  # as recorded; a lean or over-rich measurement fails whatever was recorded
    good_through: date | None = None  # None: on + policy.test_interval_d


class FoamTest(NamedTuple):
    """A cylinder of finished foam of a line with one concentrate, and what its paper declared, or one before it."""

    concentrate_id: int
    on: date
    expansion: float
    quarter_min: float | None = None  # None: a quarter had not drained when it was last read
    watched_min: float | None = None  # when it was last read; None: no drainage was read
    declared_expansion: float | None = None
    declared_quarter_min: float | None = None


class Hose(NamedTuple):
    """One leg of a lay. ``coefficient`` is C of the published row H2, for psi, gpm and feet."""

    coefficient: float
    length_m: float
    section_m: float = 15.24  # what one coupled length measures: 50 ft (common practice, no source)
    size_in: float = 0.0  # nominal, for words; 0 = not known


class Branch(NamedTuple):
    """One of several unlike lines behind a wye, with its nozzle."""

    hose: tuple[Hose, ...]
    nozzle_lpm: float  # what its nozzle is meant for
    nozzle_kpa: float  # at which it flows so much
    nozzle_k: float | None = None  # [L/min per √kPa]; None: it holds its pressure while the flow changes


class Lay(NamedTuple):
    """What stands between a proportioner and the tip, and an eductor's plate. None = not known.

    Behind a wye ``wye`` like lines run, each of ``wye_hose``; or unlike ``branches``, and then nozzle and wye hose are
    theirs. The flow is that of all of them.
    """

    inlet_kpa: float  # at the eductor, or at the pump where the line has none
    nozzle_kpa: float  # what the nozzle asks for at its own flow
    hose: tuple[Hose, ...]
    appliances_kpa: float = 0.0
    height_m: float = 0.0  # tip above the eductor
    plate_back_pressure_kpa: float | None = None  # greatest back pressure; None: policy's share of inlet
    lift_m: float = 0.0
    plate_lift_m: float | None = None
    tube_original: bool = True  # pick-up tube neither lengthened nor another's
    rated_inlet_kpa: float | None = None  # inlet pressure of the plate's flow; None: the inlet above is taken for it
    nozzle_k: float | None = None  # of all nozzles together [L/min per √kPa]; None: the nozzle holds nozzle_kpa
    wye: int = 1
    wye_hose: tuple[Hose, ...] = ()
    branches: tuple[Branch, ...] = ()


class Line(NamedTuple):
    """A foam line: what feeds it, proportioner, hose and nozzle that belong together."""

    id: int
    name: str
    sources: tuple[int, ...]  # ids of the fixed tanks and kit reservoirs that feed it
    pails: bool  # draws by tube from any loose pail, drum or tote of the unit
    offered: frozenset[int]  # settings of the proportioner
    flow_lpm: float  # nozzle, or sum of nozzles behind a wye, as it stands
    proportioner_id: int = 0  # lines on one proportioner share its feed; 0 = its own
    max_feed_lpm: float | None = None  # greatest concentrate flow of the proportioner
    thick_ok: bool = True
    aspirating: bool = False
    parked: int | None = None  # the department's rule
    present: int | None = None  # as last seen
    tests: tuple[LineTest, ...] = ()
    rated_lpm: float | None = None  # of an eductor's plate; None: not an eductor
    basis: RatingBasis = "any"  # what the plate's flow is: solution at any setting, solution at 6 %, or water
    rings_lpm: tuple[float, ...] = ()  # the gallonages a selectable nozzle offers
    lay: Lay | None = None  # None: not an eductor, or the lay was not entered
    wind_loss: int = 0  # stated loss of a monitor in wind, extra share of required flow
    flushed: bool = True  # False: used, and the flush is not logged
    vehicle_band: bool = False  # an airport vehicle's proportioner: tested by that standard's band
    in_service: bool = True
    fault: str = ""  # what the last check that looked at it saw to be wrong
    fault_on: date | None = None
    missing: str = ""  # parts that the last check did not find aboard
    missing_on: date | None = None
    kind: ProportionerKind = "injection"  # an eductor is one that has a plate's flow, whatever its kind
    least_lpm: float | None = None  # least flow at which it proportions
    intake_kpa: float | None = None  # pressure at the pump's intake while it runs; None = not stated
    intake_limit_kpa: float = 0.0  # greatest intake pressure against which an around-the-pump proportioner works
    foam_tests: tuple[FoamTest, ...] = ()  # the last of each concentrate, and those whose drainage may still stand


class Supply(NamedTuple):
    """Where the water comes from once the tank is dry. ``flow_lpm`` None: named, flow not stated."""

    kind: SupplyKind
    flow_lpm: float | None = None


class CoverPlan(NamedTuple):
    """How vapor is kept down over a spill that has not lit. None = nobody has said, and nothing is worked for it."""

    hold_min: float | None = None  # how long it is planned to be held
    interval_min: float | None = None  # between two upkeeps; at the scene the meter decides
    depth_m: float | None = None  # of the first blanket
    expansion: float | None = None  # of the foam as it lies
    drained: int | None = None  # what drains in an interval [1/100 point]
    wind_loss: int | None = None  # what the wind takes, extra share [1/100 point]


class DeckRule(NamedTuple):
    """A tanker's cargo deck by the code for ships; the spill's area is the deck's. None = not known."""

    largest_tank_m2: float | None = None
    monitor_area_m2: float | None = None  # deck that the largest monitor protects
    inert_gas: bool | None = None


class TankRule(NamedTuple):
    """A storage tank by one national code. None = not known."""

    application: Literal["gentle", "indirect", "direct", ""] = ""
    mobile: bool | None = None


class Spill(NamedTuple):
    """A design spill."""

    id: int
    name: str
    fuel: Fuel
    area_m2: float
    supply: Supply
    use: Use = "spill"
    duty: Literal["fire", "vapor"] = "fire"
    rate: Rate | None = None  # stated by the department with a source; None: the standard's
    minutes: float | None = None  # stated by the department; None: the rule of the use
    product_l: float = 0.0  # spilled product, for the run-off to contain
    cooling_l: float = 0.0  # cooling water, for the same
    cover: CoverPlan | None = None  # of a vapor duty
    rule: DeckRule | TankRule | None = None  # of a region's pack; None: the general rules


class ClassADuty(NamedTuple):
    """So many tankfuls of water with Class A foam."""

    id: int
    name: str
    tankfuls: float
    water_l: float  # one tankful
    setting: int


class AirportDuty(NamedTuple):
    """Concentrate for so many times the required water, and the other agent, by an airport's rule."""

    id: int
    name: str
    fuel: Fuel
    water_l: float  # required of this vehicle
    other_agent_needed_kg: float
    other_agent_kg: float
    times: float = 2.0  # row A6: twice
    category: int | None = None  # of the region's table, where one vehicle meets it alone; it asks for a discharge too


Duty = Spill | ClassADuty | AirportDuty


class Vehicle(NamedTuple):
    """What carries the tanks. None = not known."""

    id: int
    name: str
    water_l: float | None = None
    pump_lpm: float | None = None
    max_foam_feed_lpm: float | None = None  # of all its lines together
    needs_tow: bool = False
    tow_ready: bool | None = None  # a tow unit in service tonight
    driver_ready: bool | None = None  # None: not asked apart from the tow unit
    in_service: bool = True


class NoDuty(NamedTuple):
    """A named decision that a unit has no foam duty."""

    by: str
    review_on: date | None  # None: no review date was set: unverified


class Raised(NamedTuple):
    """A deficiency that somebody raised by hand and nobody has closed; `words` begin with the thing's name."""

    id: int
    words: str
    severity: Severity
    since: date


class Inspection(NamedTuple):
    """A rule of the department and a thing of the rig: when it is due. `subject`: the rule's own, and the thing."""

    subject: tuple[str, int]
    words: str
    due_on: date
    every_shift: bool = False  # like the morning check it is left out of until when an answer holds


class Gear(NamedTuple):
    """Loose gear of the par list that a check did not find aboard, or found at fault."""

    name: str
    missing: bool
    words: str
    since: date | None


class Rig(NamedTuple):
    """A unit on its vehicle, with all that the judge looks at."""

    unit_id: int
    name: str
    vehicle: Vehicle | None
    containers: tuple[Container, ...] = ()
    lines: tuple[Line, ...] = ()
    duties: tuple[Duty, ...] = ()
    setups: tuple[tuple[int, ...], ...] = ()  # ids of lines run together; empty: each line by itself
    lines_staffed: int | None = None  # most lines the crew can run at once; None = not stated
    checked_at: datetime | None = None  # last complete morning check; None = never
    check_good_until: datetime | None = None  # None: checked_at + policy's interval for the state
    state: Literal["in", "reserve", "out"] = "in"
    no_duty: NoDuty | None = None
    accepted: frozenset[tuple[str, str, int]] = frozenset()  # (code, subject kind, subject id) accepted today
    inspections: tuple[Inspection, ...] = ()
    gear: tuple[Gear, ...] = ()  # loose gear that the last check did not find, or found at fault
    raised: tuple[Raised, ...] = ()  # open ones of the unit, its vehicle, and what stands on either


class Deficiency(NamedTuple):
    """One thing wrong. Numbers in SI; ``quantity`` names what they measure; ``words`` is the name in the sentence."""

    code: str
    subject: tuple[str, int]  # unit, vehicle, line, container, duty, concentrate
    severity: Severity
    measured: float | None = None
    required: float | None = None
    quantity: str = ""  # volume, flow, area, pressure, mass, minutes, pct (hundredths), days, temperature, hours
    since: date | None = None
    words: str = ""
    accepted: bool = False
    containers: int = 0  # a measured volume is kept in, for the tolerance in show


class Exclusion(NamedTuple):
    """Volume aboard that does not count, and why. ``code`` is a deficiency code."""

    container_id: int
    container: str
    ml: int
    code: str
    since: date | None = None  # first day out of the count, where a date did it


class AsSet(NamedTuple):
    """The same attack if nobody turns the knob."""

    line_id: int
    setting: int
    turn_to: int
    lean: bool
    draw_l: float  # concentrate it would take for the whole run
    minutes: float  # until dry at that setting
    runs_dry: bool


class CoverNeed(NamedTuple):
    """What keeping vapor down takes of the line's need [L, min]; the fire run is kept back in case it lights."""

    hold_min: float
    interval_min: float
    first_l: float  # concentrate of the first blanket
    top_ups: int
    upkeep_l: float  # concentrate of all upkeeps
    fire_l: float


class Answer(NamedTuple):
    """What one duty gets from the best option. SI; ``share`` 1.0 = the whole line need."""

    duty_id: int
    name: str
    status: Status
    deficiencies: tuple[Deficiency, ...]
    setup: tuple[int, ...] = ()
    concentrate_ids: tuple[int, ...] = ()
    pct: int = 0
    required_lpm: float = 0.0
    flow_lpm: float = 0.0
    duration_min: float = 0.0
    textbook_l: float = 0.0
    need_l: float = 0.0
    rich_need_l: float | None = None  # at the rich end of the band, where no test is in date
    hold_back_l: float = 0.0
    usable_l: float = 0.0
    containers: int = 0  # counted, for the tolerance in show
    short_l: float = 0.0  # against the line need
    textbook_share: float = 0.0
    share: float = 0.0
    minutes: float = 0.0  # until the line, as it flows, is dry
    area_m2: float = 0.0  # the lesser of the two below
    area_by_rate_m2: float = 0.0
    area_by_stock_m2: float = 0.0
    binds: Literal["rate", "stock", ""] = ""
    rate_short_lpm: float = 0.0
    own_water_min: float | None = None  # None: no water aboard is known
    water_l: float = 0.0  # for the whole run
    runoff_l: float = 0.0
    draw_lpm: float = 0.0  # concentrate flow
    back_pressure_share: float | None = None  # of inlet, at the worst line with a lay
    back_pressure_kpa: float | None = None  # the same, as pressure at the eductor's outlet
    longest_m: float | None = None  # longest stretch of that line
    as_set: AsSet | None = None
    good_through: date | None = None  # earliest date among what it counts on; None = none known
    tankfuls: float | None = None  # Class A duty
    cover: CoverNeed | None = None  # of a vapor duty: need_l is all of it, textbook_l blanket and upkeep


class Verdict(NamedTuple):
    """The status of a unit, with everything that led to it."""

    unit_id: int
    status: Status
    answers: tuple[Answer, ...]
    excluded: tuple[Exclusion, ...]
    deficiencies: tuple[Deficiency, ...]
    holds_until: date | None  # last day on which the answer is not yet worse; None: no known date makes it worse
    next_change_on: date | None  # first day on which stock or a test runs out or a warning begins
    check_good_until: datetime | None = None  # shown apart: it would always be tomorrow


class Step(NamedTuple):
    """One line of the working."""

    label: str
    formula: str
    numbers: tuple[tuple[str, float, str], ...]  # (symbol, value, SI unit or "%")
    result: float
    unit: str
    source: str


class Turn(NamedTuple):
    """A day in the coming years on which a duty's answer gets worse, and what would prevent it."""

    day: date  # first day of the worse answer
    duty_id: int
    was: Status
    becomes: Status
    short_l: float  # against the line need, from that day
    prevents: tuple["Remedy", ...]


class Remedy(NamedTuple):
    """What runs out the day before, and what keeps the answer."""

    kind: Literal["container", "test", "review"]
    subject_id: int
    words: str
    good_through: date
    cure: str
