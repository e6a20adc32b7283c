"""The department's workbook: every sheet, every column and one sentence of help for each.

The template, the reader and the demo all follow this one table. A column's ``key`` is what the rest of the product
uses; its heading is what people read, with the department's unit in square brackets where it is a quantity.
"""

from typing import Final

from readiness.engineering.quantities import MOST_RATE_LPM_M2
from readiness.workbooks.columns import (
    AREA,
    FLOW,
    LENGTH,
    MASS,
    PRESSURE,
    RATE,
    TEMPERATURE,
    VOLUME,
    Column,
    Kind,
    Sheet,
    choice,
    code,
    dated,
    day,
    number,
    percent,
    quantity,
    reference,
    text,
    yes_no,
)

MOST_ROWS: Final = 200_000  # filled rows that one sheet may hold
MOST_EMPTY_ROWS: Final = 200_000  # empty rows in succession
EXAMPLE_MARK: Final = "Example:"
INSTRUCTIONS_TITLE: Final = "Instructions"

# The most that is still believed, far above anything a department keeps: it catches slipped keys, not large rigs.
_MOST_TANK_L: Final = 200_000.0  # 53,000 gal
_MOST_FLOW_LPM: Final = 60_000.0  # 16,000 gpm
_MOST_PRESSURE_KPA: Final = 4_200.0  # 610 psi
_MOST_LENGTH_M: Final = 500.0
_MOST_MASS_KG: Final = 10_000.0
_MOST_AREA_M2: Final = 100_000.0  # ten hectares
_MOST_HOLD_MIN: Final = 10_000.0  # a week
_COLDEST_C: Final = -60.0
_HOTTEST_C: Final = 80.0

VEHICLE_KINDS: Final = (
    "engine",
    "ladder",
    "tender",
    "tanker",
    "trailer",
    "utility",
    "brush",
    "crash",
    "hazmat",
    "portable kit",
    "other",
)
VEHICLE_STATES: Final = ("in service", "out of service")
UNIT_STATES: Final = ("in service", "reserve", "out of service")
CONCENTRATE_KINDS: Final = (
    "AFFF",
    "AR-AFFF",
    "FFFP",
    "AR-FFFP",
    "FP",
    "P",
    "F3",
    "AR-F3",
    "Class A",
    "high-expansion",
    "wetting agent",
    "training",
)
PFAS: Final = ("yes", "no", "unknown")
FUEL_GROUPS: Final = ("hydrocarbon", "polar", "blend", "class a")  # class a: wood, brush and the like, no liquid
LISTING_USES: Final = ("spill", "in depth", "gentle", "direct", "class a")
SPILL_USES: Final = ("spill", "in depth", "gentle", "direct")
CONTAINER_KINDS: Final = ("pail", "drum", "tote", "fixed tank", "kit reservoir", "jug")
CONDITIONS: Final = ("mixed", "quarantined", "diluted")
APPLIANCE_KINDS: Final = (
    "in-line eductor",
    "by-pass eductor",
    "around-the-pump",
    "balanced pressure",
    "direct injection",
    "nozzle",
    "smooth-bore tip",
    "fog nozzle",
    "aspirating tube",
    "monitor",
    "portable kit",
    "self-educting nozzle",
    "batch mix",
    "pick-up tube",
    "transfer pump",
)
APPLIANCE_STATES: Final = ("in service", "out of service")
RATING_BASES: Final = ("solution at any setting", "solution at 6 %", "water")
DUTY_KINDS: Final = ("spill", "class a", "airport")
RULE_NAMES: Final = ("cargo deck", "storage tank")
APPLICATIONS: Final = ("gentle", "indirect", "direct")
PURPOSES: Final = ("fire", "vapor suppression")
SUPPLIES: Final = ("hydrant", "drafting", "tenders", "none")
BANDS: Final = ("standard", "vehicle")

_UNIT: Final = reference("unit", "Unit", "units", "The unit it belongs to. Give a unit or a vehicle, not both.")
_VEHICLE: Final = reference(
    "vehicle", "Vehicle", "vehicles", "The shop no. of the vehicle it belongs to. Give a unit or a vehicle, not both."
)

STATIONS: Final = Sheet(
    "stations",
    "Stations",
    "One row for each station: where units run from, and where spare foam is kept.",
    (code("name", "Station", "The name people use for the station.", "Station 1"),),
    ("name",),
)

VEHICLES: Final = Sheet(
    "vehicles",
    "Vehicles",
    "One row for each vehicle. Tanks, pump and proportioner belong to it, whatever unit it runs as.",
    (
        code("shop_no", "Shop no.", "The number that stays with the vehicle for life.", "212", longest=20),
        choice("kind", "Kind", VEHICLE_KINDS, "What sort of vehicle it is.", "engine", required=True),
        reference("station", "Station", "stations", "Where the vehicle stands.", "Station 1", required=True),
        quantity("water", "Water tank", VOLUME, "What its water tank holds.", "750", "2800", most=_MOST_TANK_L),
        quantity("pump", "Pump", FLOW, "What its pump is rated to deliver.", "1500", "5700", most=_MOST_FLOW_LPM),
        quantity(
            "foam_feed", "Foam feed", FLOW, "The most concentrate its foam system feeds.", "5", "19", most=20_000.0
        ),
        quantity("dry_chemical", "Dry chemical", MASS, "Dry chemical aboard.", most=_MOST_MASS_KG),
        yes_no("needs_tow", "Needs a tow", "yes for a trailer.", "no"),
        reference("tow", "Tow vehicle", "vehicles", "The shop no. of the vehicle that tows it."),
        choice("state", "State", VEHICLE_STATES, "Whether it can run tonight.", "in service", required=True),
        day("out_since", "Out since", "The day it went out of service.", future=False),
    ),
    ("shop_no",),
)

UNITS: Final = Sheet(
    "units",
    "Units",
    "One row for each unit: it has the duty and the crew, and runs on a vehicle.",
    (
        code("designation", "Unit", "The unit's name on the radio.", "Engine 1"),
        reference("station", "Station", "stations", "The station it runs from.", "Station 1", required=True),
        choice("state", "State", UNIT_STATES, "Whether it runs tonight.", "in service", required=True),
        reference("runs_on", "Runs on", "vehicles", "The shop no. of the vehicle it runs on tonight.", "212"),
        number(
            "lines_staffed",
            "Lines staffed",
            "The most foam lines its crew can run at once.",
            whole=True,
            least=1,
            most=20,
        ),
        text("no_duty_by", "No foam duty by", "Only for a unit with no foam duty: whose decision that is, by role."),
        day("no_duty_review_on", "No foam duty until", "The day on which that decision is reviewed.", future=True),
    ),
    ("designation",),
)

CONCENTRATES: Final = Sheet(
    "concentrates",
    "Concentrates",
    "One row for each product.",
    (
        code("name", "Concentrate", "The product's name, with its percentages as 3x6.", "AR-AFFF 3x6"),
        choice("kind", "Kind", CONCENTRATE_KINDS, "The kind on its data sheet.", "AR-AFFF", required=True),
        choice("pfas", "PFAS", PFAS, "Whether it holds fluorinated substances.", "yes", required=True),
        text("pfas_evidence", "PFAS evidence", "What that answer rests on.", "data sheet", longest=500),
        quantity(
            "lowest_use",
            "Lowest use temperature",
            TEMPERATURE,
            "From the data sheet; not the freezing point.",
            "35",
            "2",
            least=_COLDEST_C,
            most=_HOTTEST_C,
        ),
        quantity(
            "store_low",
            "Store above",
            TEMPERATURE,
            "The low end of its storage range.",
            "35",
            "2",
            least=_COLDEST_C,
            most=_HOTTEST_C,
        ),
        quantity(
            "store_high",
            "Store below",
            TEMPERATURE,
            "The high end of its storage range.",
            "120",
            "49",
            least=_COLDEST_C,
            most=_HOTTEST_C,
        ),
        yes_no(
            "shear_thinning", "Shear-thinning", "yes for a thick concentrate, as most alcohol-resistant ones.", "yes"
        ),
        number("density", "Density", "From the data sheet.", "1.03", unit="kg/L", least=0.7, most=1.6),
        number("life_months", "Life in months", "The life its maker gives.", "120", whole=True, least=1, most=600),
    ),
    ("name",),
)

LISTINGS: Final = Sheet(
    "listings",
    "Listings",
    "One row for each concentrate, fuel and use, as the product listing says.",
    (
        reference("concentrate", "Concentrate", "concentrates", "The product.", "AR-AFFF 3x6", required=True),
        text(
            "fuel",
            "Fuel",
            "The fuel by name or UN number. Give a fuel or a fuel group, not both.",
            "ethanol",
            longest=120,
        ),
        choice("fuel_group", "Fuel group", FUEL_GROUPS, "Only where the listing names no fuel: counts as unverified."),
        choice("use", "Use", LISTING_USES, "How the foam is put on.", "spill", required=True),
        percent("percent", "Percent", "The percentage of solution: 3 for 3 %.", "6", required=True),
        percent("percent_high", "Percent up to", "The high end, where the listing gives a range."),
        quantity(
            "rate",
            "Application rate",
            RATE,
            "Solution on each unit of area; kept in the unit you give.",
            "0.20",
            "8.2",
            most=MOST_RATE_LPM_M2,
            zero=False,
        ),
        number("minutes", "Minutes", "How long the foam is put on.", "15", most=1_000, zero=False),
        yes_no("aspirating", "Aspirating nozzle needed", "yes where the listing asks for an aspirating nozzle.", "no"),
        number(
            "expansion", "Least expansion", "Of finished foam, where it is stated.", least=1, most=1_000, zero=False
        ),
        number("quarter", "Least quarter drainage", "Where it is stated.", unit="min", most=_MOST_HOLD_MIN, zero=False),
        text(
            "source", "Source", "Where the listing can be read.", "product listing, sheet 2", required=True, longest=500
        ),
        text("edition", "Edition", "Its edition or date.", "2024"),
    ),
    ("concentrate", "fuel", "fuel_group", "use"),
)

LOTS: Final = Sheet(
    "lots",
    "Lots",
    "One row for each maker's batch.",
    (
        reference("concentrate", "Concentrate", "concentrates", "The product.", "AR-AFFF 3x6", required=True),
        code("batch", "Lot no.", "The batch number on the label.", "A-2219"),
        dated("made_on", "Made", "When it was made: 2024-03-02, 2024-03 or 2024.", "2024-03", future=False),
        dated(
            "makers_date",
            "Good through",
            "The maker's date: good through that day, month or year.",
            "2034",
            future=True,
        ),
        Column(
            key="price",
            title="Price",
            kind=Kind.PRICE,
            help="What one gallon or litre cost.",
            example="28.50",
            metric_example="7.50",
            most=100_000,
        ),
        text("currency", "Currency", "Three letters, such as USD.", "USD", longest=3),
        day("recalled_on", "Recalled on", "The day of the recall, if there was one.", future=False),
        text("recall_reference", "Recall reference", "The number of the maker's notice.", longest=120),
    ),
    ("concentrate", "batch"),
)

CONTAINERS: Final = Sheet(
    "containers",
    "Containers",
    "One row for each pail, drum, tote, fixed tank, kit reservoir and jug.",
    (
        code("code", "Container", "The code on its label. Every container has its own.", "P-0101", longest=24),
        choice("kind", "Kind", CONTAINER_KINDS, "What sort of container it is.", "pail", required=True),
        quantity(
            "capacity",
            "Capacity",
            VOLUME,
            "What it holds when full.",
            "5",
            "19",
            required=True,
            most=_MOST_TANK_L,
            zero=False,
        ),
        quantity("unreachable", "Unreachable", VOLUME, "What the pick-up cannot reach.", "0", "0", most=_MOST_TANK_L),
        quantity("gauge_resolution", "Gauge reads to", VOLUME, "The smallest step its gauge shows.", most=_MOST_TANK_L),
        reference(
            "station", "Store", "stations", "For one in a store: the station. Give a store, a unit or a vehicle."
        ),
        reference(
            "unit", "Unit", "units", "For one carried loose: the unit. Give a store, a unit or a vehicle.", "Engine 1"
        ),
        reference(
            "vehicle", "Vehicle", "vehicles", "For one built in: the shop no. Give a store, a unit or a vehicle."
        ),
        text("compartment", "Compartment", "Where on the unit or in the store.", "L3"),
        reference("concentrate", "Concentrate", "concentrates", "What is in it.", "AR-AFFF 3x6"),
        reference("lot", "Lot no.", "lots", "The batch number on the label.", "A-2219"),
        quantity("contents", "Contents", VOLUME, "What is in it now; 0 when empty.", "5", "19", most=_MOST_TANK_L),
        yes_no("sealed", "Sealed", "yes while the maker's seal is whole.", "yes"),
        day("opened_on", "Opened on", "The day its seal was broken.", future=False),
        choice("condition", "Condition", CONDITIONS, "Only when something is wrong with what is in it."),
        quantity(
            "place_low",
            "Coldest there",
            TEMPERATURE,
            "The lowest temperature expected where it is kept.",
            "40",
            "4",
            least=_COLDEST_C,
            most=_HOTTEST_C,
        ),
    ),
    ("code",),
)

OTHER_LOTS: Final = Sheet(
    "other_lots",
    "Other lots",
    "For a container that holds more than one lot: one row for each lot beyond the one on the Containers sheet.",
    (
        reference("container", "Container", "containers", "The code on the label.", "T-212", required=True),
        reference(
            "concentrate", "Concentrate", "concentrates", "The product of this lot.", "AR-AFFF 3x6", required=True
        ),
        reference("lot", "Lot no.", "lots", "The batch number of this lot.", "A-2219", required=True),
        quantity(
            "contents",
            "Contents",
            VOLUME,
            "How much of this lot is in it.",
            "10",
            "38",
            required=True,
            most=_MOST_TANK_L,
            zero=False,
        ),
    ),
    ("container", "concentrate", "lot"),
)

APPLIANCES: Final = Sheet(
    "appliances",
    "Appliances",
    "One row for each proportioner, eductor, nozzle, monitor, tube and kit.",
    (
        code("name", "Appliance", "A name that no other appliance of this unit or vehicle has.", "95 eductor"),
        choice("kind", "Kind", APPLIANCE_KINDS, "What sort of appliance it is.", "in-line eductor", required=True),
        reference("unit", "Unit", "units", _UNIT.help, "Engine 1"),
        _VEHICLE,
        quantity(
            "rated_flow", "Rated flow", FLOW, "The flow on its plate.", "95", "360", most=_MOST_FLOW_LPM, zero=False
        ),
        choice("rating_basis", "Rating basis", RATING_BASES, "What its rated flow counts.", "solution at any setting"),
        Column(
            key="rings",
            title="Ring flows",
            kind=Kind.FLOWS,
            help="For a nozzle with a gallonage ring: each flow it offers, with semicolons between.",
            example="60; 95; 125",
            metric_example="230; 360; 475",
            dimension=FLOW,
            most=_MOST_FLOW_LPM,
            zero=False,
        ),
        percent("settings", "Settings", "Every percentage it offers, as 3x6 or 3, 6.", "3x6", many=True),
        quantity("foam_feed", "Foam feed", FLOW, "The most concentrate it feeds.", most=20_000.0),
        quantity(
            "plate_back_pressure",
            "Greatest back pressure",
            PRESSURE,
            "The limit on its plate, if there is one.",
            "130",
            "900",
            most=_MOST_PRESSURE_KPA,
        ),
        quantity(
            "plate_lift", "Greatest lift", LENGTH, "The limit on its plate, if there is one.", "6", "1.8", most=30.0
        ),
        quantity(
            "rated_pressure",
            "Rated pressure",
            PRESSURE,
            "At the rated flow: an eductor's inlet, a nozzle's tip. From a K-factor: 10 K gpm at 100 psi.",
            "200",
            "1400",
            most=_MOST_PRESSURE_KPA,
            zero=False,
        ),
        quantity("bore", "Bore", LENGTH, "Of a smooth-bore tip, with its unit: 1 in.", least=0.003, most=0.2),
        number("discharge", "Discharge coefficient", "Of a smooth bore; empty: that of a tip.", most=1.0, zero=False),
        yes_no("holds_pressure", "Holds its pressure", "yes for an automatic nozzle.", "no"),
        quantity("least_flow", "Least flow", FLOW, "From which on it proportions.", most=_MOST_FLOW_LPM),
        quantity(
            "greatest_intake",
            "Greatest intake pressure",
            PRESSURE,
            "Around the pump: what its plate allows at the pump's intake.",
            most=_MOST_PRESSURE_KPA,
        ),
        yes_no("accepts_thick", "Takes thick concentrate", "yes if it draws a shear-thinning concentrate.", "yes"),
        yes_no("aspirating", "Aspirating", "yes for a nozzle or tube that draws air.", "no"),
        choice("state", "State", APPLIANCE_STATES, "Whether it can be used.", "in service", required=True),
    ),
    ("unit", "vehicle", "name"),
)

LINES: Final = Sheet(
    "lines",
    "Foam lines",
    "One row for each foam line: sources, proportioner, hose and nozzle that belong together.",
    (
        code("name", "Line", "A name that no other line of this unit or vehicle has.", "Crosslay 1"),
        reference("unit", "Unit", "units", _UNIT.help, "Engine 1"),
        _VEHICLE,
        reference(
            "proportioner", "Proportioner", "appliances", "An appliance of the same rig.", "95 eductor", required=True
        ),
        reference("nozzle", "Nozzle", "appliances", "An appliance of the same rig.", "95 fog nozzle"),
        quantity(
            "flow", "Flow", FLOW, "What the line flows with this nozzle.", "95", "360", most=_MOST_FLOW_LPM, zero=False
        ),
        quantity(
            "nozzle_pressure",
            "Nozzle pressure",
            PRESSURE,
            "What the nozzle needs.",
            "100",
            "700",
            most=_MOST_PRESSURE_KPA,
        ),
        quantity(
            "inlet_pressure",
            "Inlet pressure",
            PRESSURE,
            "What the pump gives the proportioner.",
            "200",
            "1400",
            most=_MOST_PRESSURE_KPA,
        ),
        Column(
            key="hose",
            title="Hose",
            kind=Kind.HOSE,
            help="Each leg in order, with semicolons between.",
            example="150 ft of 1.75 in",
            metric_example="45 m of 45 mm",
        ),
        quantity(
            "appliance_loss",
            "Appliance loss",
            PRESSURE,
            "What wyes and the like cost.",
            "0",
            "0",
            most=_MOST_PRESSURE_KPA,
        ),
        quantity("height", "Nozzle above pump", LENGTH, "Below is negative.", "0", "0", least=-100.0, most=200.0),
        quantity("lift", "Lift", LENGTH, "How far the concentrate is lifted.", "3", "1", most=30.0),
        percent(
            "wind_loss", "Loss in wind", "For a monitor: the share of its flow that wind takes, such as 10.", most=90.0
        ),
        yes_no("tube_original", "Original tube", "no if the pick-up tube was lengthened or is another's.", "yes"),
        percent("parked", "Parked setting", "What the department's rule says it is left at.", "3"),
        percent("present", "Present setting", "What it was last seen at.", "3"),
        yes_no("pails", "From pails", "yes if it draws from pails by a tube.", "yes"),
        reference("sources", "Sources", "containers", "Containers that feed it, with semicolons between.", many=True),
        quantity(
            "pump_pressure",
            "Pump pressure",
            PRESSURE,
            "Instead of the inlet pressure: what the pump gives, with the supply hose between.",
            most=_MOST_PRESSURE_KPA,
        ),
        quantity(
            "intake_pressure",
            "Intake pressure",
            PRESSURE,
            "Around the pump: the pressure at the pump's intake while it runs.",
            most=_MOST_PRESSURE_KPA,
        ),
        Column(
            key="supply_hose", title="Supply hose", kind=Kind.HOSE, help="From the pump to a proportioner away from it."
        ),
        number(
            "wye_lines", "Lines behind wye", "How many like lines a wye splits it into.", whole=True, most=6, zero=False
        ),
        Column(
            key="wye_hose",
            title="Hose behind wye",
            kind=Kind.HOSE,
            help="Of each line behind the wye, where they are alike.",
        ),
        *(
            each
            for n in (1, 2, 3)
            for each in (
                Column(
                    key=f"branch_{n}_hose",
                    title=f"Branch {n} hose",
                    kind=Kind.HOSE,
                    help="Where the lines behind a wye differ: of this one.",
                ),
                reference(
                    f"branch_{n}_nozzle", f"Branch {n} nozzle", "appliances", "Of this branch; empty: the line's."
                ),
            )
        ),
    ),
    ("unit", "vehicle", "name"),
)

SETUPS: Final = Sheet(
    "setups",
    "Setups",
    "One row for each set of lines that the rig runs together.",
    (
        code("name", "Setup", "A name that no other setup of this unit or vehicle has.", "one line"),
        reference("unit", "Unit", "units", _UNIT.help, "Engine 1"),
        _VEHICLE,
        reference(
            "lines", "Lines", "lines", "Its lines, with semicolons between.", "Crosslay 1", required=True, many=True
        ),
    ),
    ("unit", "vehicle", "name"),
)

_COVER_COLUMNS: Final = (
    number("hold", "Held for", "Vapor suppression: for so long.", unit="min", most=_MOST_HOLD_MIN, zero=False),
    number(
        "interval",
        "Interval of upkeep",
        "Vapor suppression: 15 is a default; at the scene the meter decides.",
        unit="min",
        most=_MOST_HOLD_MIN,
        zero=False,
    ),
    quantity(
        "blanket_depth",
        "Depth of blanket",
        LENGTH,
        "Vapor suppression: with its unit, 4 in or 100 mm; 4 in is a default without a source.",
        least=0.005,
        most=2.0,
    ),
    number(
        "blanket_expansion",
        "Expansion of blanket",
        "Vapor suppression: of the foam as it lies; 7 is a default without a source.",
        least=1,
        most=20,
    ),
    percent("drained", "Drains in an interval", "Vapor suppression: a quarter, 25, is a default.", most=100.0),
    percent("wind", "Lost to wind", "Vapor suppression: extra share; 0 for none.", zero=True, most=100.0),
)
_RULE_COLUMNS: Final = (
    choice("rule", "Region’s rule", RULE_NAMES, "Empty: the general rules. Else its region pack has to be on."),
    quantity("largest_tank", "Largest cargo tank", AREA, "Cargo deck: its section.", most=_MOST_AREA_M2, zero=False),
    quantity(
        "monitor_area",
        "Deck of the largest monitor",
        AREA,
        "Cargo deck: what the largest monitor protects.",
        most=_MOST_AREA_M2,
        zero=False,
    ),
    yes_no("inert_gas", "Inert gas", "Cargo deck: yes where the ship has inert gas."),
    choice("application", "Put on the tank", APPLICATIONS, "Storage tank: as the code divides it."),
    yes_no("mobile", "Mobile means", "Storage tank: yes where the means are mobile."),
    number(
        "category",
        "Airport category",
        "For an airport: where this vehicle alone meets it; its table has 3 to 9.",
        whole=True,
        least=3,
        most=9,
    ),
)

HOSES: Final = Sheet(
    "hoses",
    "Hose sizes",
    "One row for each size of hose: what it costs in friction, as published or as you measured it.",
    (
        Column(
            key="size",
            title="Size",
            kind=Kind.NUMBER,
            help="Nominal, in inches.",
            example="1.75",
            fixed_unit="in",
            required=True,
            most=12,
            zero=False,
        ),
        Column(
            key="coefficient",
            title="Coefficient",
            kind=Kind.NUMBER,
            help="C for psi, gpm and feet: psi lost in 100 ft at 100 gpm.",
            example="15.5",
            required=True,
            most=1_000,
            zero=False,
        ),
        quantity("section", "Coupled length", LENGTH, "Empty: 50 ft.", "50", "15.24", most=_MOST_LENGTH_M, zero=False),
        quantity(
            "loss",
            "Measured loss",
            PRESSURE,
            "What you measured goes before the coefficient; with its flow and length.",
            most=_MOST_PRESSURE_KPA,
            zero=False,
        ),
        quantity("loss_flow", "At a flow of", FLOW, "Of the measured loss.", most=_MOST_FLOW_LPM, zero=False),
        quantity("loss_length", "Over a length of", LENGTH, "Of the measured loss.", most=_MOST_LENGTH_M, zero=False),
        day("measured_on", "Measured on", "The day of the measurement.", future=False),
        text("source", "Source", "Where it can be read, or who measured it.", "hose table", required=True, longest=200),
    ),
    ("size",),
)

DESIGN_SPILLS: Final = Sheet(
    "design_spills",
    "Design spills and other duties",
    "One row for each thing a unit is planned for.",
    (
        code("name", "Duty", "A name that no other duty of this unit has.", "gasoline spill"),
        reference("unit", "Unit", "units", "The unit that has the duty.", "Engine 1", required=True),
        choice(
            "kind",
            "Kind",
            DUTY_KINDS,
            "A flammable-liquid spill, Class A tankfuls, or an airport's rule.",
            "spill",
            required=True,
        ),
        text("fuel", "Fuel", "For a spill: the fuel by name or UN number.", "gasoline, E10", longest=120),
        quantity(
            "area",
            "Area",
            AREA,
            "For a spill: its area, or its sides as 30 x 40 ft.",
            "900",
            "84",
            most=_MOST_AREA_M2,
            zero=False,
        ),
        choice("use", "Use", SPILL_USES, "How the foam is put on.", "spill"),
        choice("purpose", "Purpose", PURPOSES, "Fire, or keeping vapor down.", "fire"),
        quantity(
            "rate",
            "Application rate",
            RATE,
            "Only where a standard asks for more than the listing.",
            most=MOST_RATE_LPM_M2,
            zero=False,
        ),
        number("minutes", "Minutes", "How long the foam is put on.", "15", most=1_000, zero=False),
        choice(
            "supply",
            "Water supply",
            SUPPLIES,
            "Where the water comes from after the tank. Empty: not named.",
            "hydrant",
        ),
        quantity("supply_flow", "Supply flow", FLOW, "What that supply gives.", "1000", "3800", most=_MOST_FLOW_LPM),
        number("tankfuls", "Tankfuls", "For Class A: how many tankfuls of water to treat.", most=1_000, zero=False),
        percent("setting", "Class A setting", "For Class A: the setting. Empty: as the concentrate is listed.", "0.3"),
        quantity(
            "required_water",
            "Required water",
            VOLUME,
            "For an airport: the water its rule asks for.",
            most=_MOST_TANK_L,
        ),
        quantity(
            "other_agent",
            "Other agent",
            MASS,
            "For an airport: the dry chemical its rule asks for.",
            most=_MOST_MASS_KG,
        ),
        *_COVER_COLUMNS,
        *_RULE_COLUMNS,
        text("source", "Source", "What the plan rests on.", "pre-plan, 2025", required=True, longest=500),
    ),
    ("unit", "name"),
)

SAMPLES: Final = Sheet(
    "samples",
    "Samples",
    "One row for each laboratory sample, of a lot or of one container.",
    (
        reference("container", "Container", "containers", "For a sample of one container. Give a container or a lot."),
        reference("concentrate", "Concentrate", "concentrates", "The product of the lot.", "AR-AFFF 3x6"),
        reference("lot", "Lot no.", "lots", "For a sample of a lot, with its concentrate.", "A-2219"),
        day("taken_on", "Taken on", "The day the sample was drawn.", "2026-02-10", required=True, future=False),
        yes_no("passed", "Passed", "Empty while the laboratory's answer is awaited.", "yes"),
        day("good_through", "Good through", "Only where the report gives a day.", future=True),
        text("report", "Report", "The number of the report.", "R-118", longest=200),
    ),
    ("container", "concentrate", "lot", "taken_on"),
)

LINE_TESTS: Final = Sheet(
    "line_tests",
    "Line tests",
    "One row for each proportioning test of a line with a concentrate.",
    (
        reference("line", "Line", "lines", "The line that was tested.", "Crosslay 1", required=True),
        reference("unit", "Unit", "units", _UNIT.help, "Engine 1"),
        _VEHICLE,
        reference("concentrate", "Concentrate", "concentrates", "What it drew.", "AR-AFFF 3x6", required=True),
        day("on", "Tested on", "The day of the test.", "2026-03-01", required=True, future=False),
        percent("set", "Set at", "The setting it was tested at.", "3", required=True),
        percent("measured", "Measured", "The percentage that was measured.", "3.1", zero=True, most=50.0),
        yes_no("passed", "Passed", "The tester's answer.", "yes"),
        day("good_through", "Good through", "Only where the report gives a day.", future=True),
        text("method", "Method", "How it was measured.", "conductivity", longest=80),
        choice("band", "Band", BANDS, "The standard's band, or the airport vehicle's.", "standard"),
    ),
    ("unit", "vehicle", "line", "concentrate", "on", "set"),
)

SHEETS: Final = (
    STATIONS,
    VEHICLES,
    UNITS,
    CONCENTRATES,
    LISTINGS,
    LOTS,
    CONTAINERS,
    OTHER_LOTS,
    APPLIANCES,
    HOSES,
    LINES,
    SETUPS,
    DESIGN_SPILLS,
    SAMPLES,
    LINE_TESTS,
)
BY_KEY: Final = {sheet.key: sheet for sheet in SHEETS}
