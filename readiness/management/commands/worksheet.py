"""The sums officers do on paper, at the command line: figures, working, and what has to be said beside them."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from collections.abc import Callable
from typing import Any, Final

from django.core.management.base import BaseCommand, CommandError

from readiness.engineering import attack_sheets, footprints, pack_sheets, proof_sheets
from readiness.engineering.demand import rate_lpm_m2
from readiness.engineering.footprints import SURFACES, circle_m2, planned_m2, spreads
from readiness.engineering.line_sheets import Asked, line_sheet
from readiness.engineering.nozzles import k_factor
from readiness.engineering.proportioning import INSTRUMENT_TELLS
from readiness.engineering.records import Concentrate, Fuel, Kind, Lay, Listing, Policy
from readiness.engineering.sample_limits import L1, L2, QUALITIES, WORDS
from readiness.engineering.sheets import Sheet
from readiness.management import quantities as q
from readiness.reports.explanations import SAFETY
from readiness.reports.fleet import KINDS
from readiness.reports.verdicts import word
from readiness.reports.worksheets import ShownSheet, fuels_meant, shown_sheet

Options = dict[str, Any]
USES: Final = ("spill", "depth", "gentle", "direct")


class Command(BaseCommand):
    """`worksheet need|line|spill|vapor|runoff|proportioning|foam-test|sample|airport|marine|national|preventive`."""

    help = "Do one of the sums officers do on paper and print its working. Quantities carry their units."
    requires_system_checks: list[str] = []  # arithmetic: no database is needed
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One name a worksheet, each with its own options."""
        names = parser.add_subparsers(dest="worksheet", required=True, metavar="WORKSHEET")
        for name, (help_text, options, _) in WORKSHEETS.items():
            sheet = names.add_parser(name, help=help_text, description=help_text)
            options(sheet)
            sheet.add_argument("--units", choices=("us", "metric"), default="us", help="in which the answer is read")
            sheet.add_argument("--json", action="store_true", help="print JSON in place of text")

    def handle(self, *_: Any, **options: Any) -> None:
        """Work it and print it; what cannot be worked is answered with a sentence."""
        try:
            sheet = WORKSHEETS[options["worksheet"]][2](options)
        except ValueError as wrong:
            raise CommandError(str(wrong)) from wrong
        told = shown_sheet(sheet, options["units"])
        if options["json"]:
            self.stdout.write(json.dumps(told.plain(), ensure_ascii=False, indent=2))
        else:
            self.stdout.write("\n".join(_lines(told)))


def _lines(told: ShownSheet) -> list[str]:
    wide = max((len(each.label) for each in told.figures), default=0)
    said = [told.title, ""]
    said += [f"  {each.label:<{wide}}  {each.text}" for each in told.figures]
    said += ["", f"NO: {told.refused}"] if told.refused else []
    said += [f"  {word(each.severity)}: {each.sentence} {each.cure}" for each in told.faults]
    said += [f"  {note}" for note in told.notes]
    if told.lines:
        said += ["", "Working"]
    for line in told.lines:
        numbers = f" [{line.numbers}]" if line.numbers else ""
        said.append(f"  {line.label} = {line.formula}{numbers} = {line.result}   ({line.source})")
    return [*said, "", SAFETY]


# -- footprints --------------------------------------------------------------------------------------------------------


def _footprint_options(parser: ArgumentParser, *, volumes: bool = False) -> None:
    group = parser.add_argument_group("footprint", "a shape that is known; else a volume and the surface it lies on")
    group.add_argument("--area", type=q.area, help="such as '3000 ft2' or '75 x 40 ft'")
    group.add_argument("--diameter", type=q.length, help="of a round pool or a tank, such as '60 ft'")
    if volumes:
        group.add_argument("--volume", type=q.volume, help="spilled, such as '1000 gal'")
        group.add_argument("--saddle-tanks", type=q.volume, metavar="EACH", help="two saddle tanks, the volume of one")
        group.add_argument("--compartment", type=q.volume, help="one compartment of a tank truck")
        group.add_argument("--surface", choices=sorted(SURFACES), default="concrete", help="what a volume lies on")


def _footprint_m2(options: Options) -> float | None:
    given = [name for name in ("area", "diameter") if options[name] is not None]
    if len(given) > 1:
        raise CommandError("Both --area and --diameter were read: one of them belongs here.")
    if not given:
        return None
    return float(options["area"]) if given == ["area"] else circle_m2(options["diameter"])


def _known_footprint_m2(options: Options) -> float:
    found = _footprint_m2(options)
    if found is None:
        raise CommandError("No footprint was read: add --area, such as '75 x 40 ft', or --diameter.")
    return found


def _spilled_l(options: Options) -> float | None:
    """What is on the ground, where it was stated."""
    given = {name: options[name] for name in ("volume", "saddle_tanks", "compartment") if options[name] is not None}
    if len(given) > 1:
        raise CommandError("Several spilled volumes were read: one of --volume, --saddle-tanks and --compartment.")
    if "saddle_tanks" in given:
        return float(given["saddle_tanks"]) * footprints.SADDLE_TANKS
    return next(iter(given.values()), None)


# -- attack ------------------------------------------------------------------------------------------------------------


def _attack_options(parser: ArgumentParser) -> None:
    parser.add_argument("--flow", type=q.flow, help="what the line really flows, such as '95 gpm'")
    parser.add_argument("--measured", type=q.percent, help="by its last proportioning test")
    parser.add_argument("--have", type=q.volume, help="concentrate at hand, such as '45 gal'")
    parser.add_argument("--pail", type=q.volume, default=attack_sheets.PAIL_L, help="default: 5 gal")


def _need_options(parser: ArgumentParser) -> None:
    _footprint_options(parser)
    parser.add_argument("--rate", type=q.rate, required=True, help="such as '0.10 gpm/ft2'")
    parser.add_argument("--minutes", type=q.minutes, required=True)
    parser.add_argument("--percent", type=q.percent, required=True, help="of concentrate in solution")
    parser.add_argument("--wind-loss", type=q.share, default=0, help="of a monitor, in percent")
    _attack_options(parser)


def _need(options: Options) -> Sheet:
    asked = attack_sheets.Attack(
        area_m2=_known_footprint_m2(options),
        rate=options["rate"],
        minutes=options["minutes"],
        pct=options["percent"],
        flow_lpm=options["flow"],
        measured=options["measured"],
        wind_loss=options["wind_loss"],
        pail_l=options["pail"],
        have_l=options["have"],
    )
    return attack_sheets.need_sheet(asked)


def _spill_options(parser: ArgumentParser) -> None:
    parser.add_argument("--fuel", required=True, help="its name, or the number on the placard: UN1203")
    parser.add_argument("--kind", required=True, choices=sorted(KINDS), help="kind of concentrate")
    parser.add_argument("--percent", type=q.percent, required=True, help="as it is listed for this fuel")
    parser.add_argument("--use", choices=USES, default="spill", help="how foam is put on; depth: over about 1 in")
    parser.add_argument("--listed-rate", type=q.rate, help="by its listing; needed for polar and fluorine-free")
    parser.add_argument("--listed-minutes", type=q.minutes, help="by its listing")
    parser.add_argument("--tank-height", type=q.length, help="of a tank attacked by portable streams")
    parser.add_argument("--liquid-temperature", type=q.temperature, help="where it is heated, such as '300 F'")
    parser.add_argument("--running", action="store_true", help="it burns as it flows or falls")
    _footprint_options(parser, volumes=True)
    _attack_options(parser)


def _fuel(words: str) -> Fuel:
    found = fuels_meant(words)
    if not found:
        raise CommandError(f"“{words}” was read: no shipped fuel has this name or number.")
    answers = {(each.group, each.oxygenate, bool(each.not_foam)) for each in found}
    if len(answers) > 1:
        names = "; ".join(each.name for each in found[:12])
        raise CommandError(f"“{words}” was read, which is several fuels that ask for different foam: {names}.")
    return found[0]


def _concentrate(options: Options, fuel: Fuel) -> Concentrate:
    kind: Kind = KINDS[options["kind"]]
    listing = Listing(options["percent"], options["listed_rate"], options["listed_minutes"], False, False, "as entered")
    name = f"{options['kind']} at {options['percent'] / 100:g} %"
    return Concentrate(0, name, kind, "unknown", None, False, {(fuel.id, options["use"]): listing})


def _spill(options: Options) -> Sheet:
    fuel, product = _fuel(options["fuel"]), _spilled_l(options)
    area = _footprint_m2(options)
    found: tuple[footprints.Spread, ...] = ()
    if area is None:
        if product is None:
            raise CommandError("No footprint was read: add --area or --diameter; else --volume with --surface.")
        found = spreads(product, options["surface"])
        area = planned_m2(found)
    plan = attack_sheets.Planned(
        fuel,
        area,
        options["use"],
        _concentrate(options, fuel),
        flow_lpm=options["flow"],
        measured=options["measured"],
        pail_l=options["pail"],
        have_l=options["have"],
        tank_height_m=options["tank_height"],
        spread=found,
        product_l=product,
        liquid_c=options["liquid_temperature"],
        running=options["running"],
    )
    return attack_sheets.spill_sheet(plan, Policy())


def _vapor_options(parser: ArgumentParser) -> None:
    _footprint_options(parser)
    defaults = attack_sheets.Hold._field_defaults
    parser.add_argument("--percent", type=q.percent, required=True, help="that the line really draws, such as 6.2")
    parser.add_argument("--hold", type=q.minutes, required=True, help="how long, such as '2 h'")
    parser.add_argument("--depth", type=q.length, default=defaults["depth_m"], help="of the blanket, default 4 in")
    parser.add_argument("--expansion", type=float, default=defaults["expansion"], help="default 7")
    parser.add_argument("--wind-loss", type=q.share, default=0, help="in percent")
    parser.add_argument("--drained", type=q.share, default=defaults["drained"], help="an interval: 25 (percent)")
    parser.add_argument("--interval", type=q.minutes, default=defaults["interval_min"], help="of upkeep: 15 min")
    parser.add_argument("--fire-flow", type=q.flow, help="of the line in case it lights")
    parser.add_argument("--fire-minutes", type=q.minutes, help="for how long")
    parser.add_argument("--have", type=q.volume, help="concentrate at hand")


def _vapor(options: Options) -> Sheet:
    plan = attack_sheets.Hold(
        _known_footprint_m2(options),
        options["percent"],
        options["hold"],
        depth_m=options["depth"],
        expansion=options["expansion"],
        wind_loss=options["wind_loss"],
        drained=options["drained"],
        interval_min=options["interval"],
        fire_flow_lpm=options["fire_flow"],
        fire_minutes=options["fire_minutes"],
        have_l=options["have"],
    )
    return attack_sheets.vapor_sheet(plan)


def _runoff_options(parser: ArgumentParser) -> None:
    _footprint_options(parser)
    parser.add_argument("--wall", type=q.length, required=True, help="height of the dike's wall, such as '24 in'")
    parser.add_argument("--flow", type=q.flow, required=True, help="of solution, such as '500 gpm'")
    parser.add_argument("--minutes", type=q.minutes, required=True)
    parser.add_argument("--product", type=q.volume, default=0.0, help="volume of product in the dike")
    parser.add_argument("--product-depth", type=q.length, help="or the depth at which it stands")
    parser.add_argument("--cooling", type=q.flow, default=0.0, help="flow of cooling water that runs into the dike")


def _runoff(options: Options) -> Sheet:
    dike = attack_sheets.Dike(
        _known_footprint_m2(options),
        options["wall"],
        options["flow"],
        options["minutes"],
        product_l=options["product"],
        product_depth_m=options["product_depth"],
        cooling_lpm=options["cooling"],
    )
    return attack_sheets.runoff_sheet(dike)


def _line_options(parser: ArgumentParser) -> None:
    parser.add_argument("--flow", type=q.flow, required=True, help="of the eductor, else of the nozzle: '95 gpm'")
    parser.add_argument("--inlet", type=q.pressure, required=True, help="at the eductor, else at the pump: '200 psi'")
    parser.add_argument("--nozzle", type=q.pressure, required=True, help="pressure that the nozzle is rated at")
    parser.add_argument("--no-eductor", action="store_true", help="its proportioner lets the water pass")
    parser.add_argument("--nozzle-flow", type=q.flow, help="where it is another than the eductor's")
    parser.add_argument("--holds", action="store_true", help="an automatic nozzle, which keeps its pressure")
    parser.add_argument("--plate-inlet", type=q.pressure, help="at which the plate states its flow")
    parser.add_argument("--lift", type=q.length, default=0.0, help="from the pails to the eductor")
    parser.add_argument("--plate-lift", type=q.length, help="the greatest by the plate")
    parser.add_argument("--percent", type=q.percent, default=300, help="that it is set to")
    parser.add_argument("--feed", type=q.flow, help="greatest concentrate flow of the proportioner")
    parser.add_argument("--hose", type=q.legs, default=(), help="'150 ft of 1.75 in; 50 ft of 2.5 in'")
    parser.add_argument("--appliances", type=q.pressure, default=0.0, help="loss in wyes and the like")
    parser.add_argument("--height", type=q.length, default=0.0, help="of the nozzle above the eductor")
    parser.add_argument("--limit", type=q.pressure, help="greatest back pressure by the plate")
    default = Policy().back_pressure_share
    parser.add_argument("--share", type=q.share, default=default, help="of inlet, where no plate states it: 65")


def _line(options: Options) -> Sheet:
    own = options["nozzle_flow"] or options["flow"]
    lay = Lay(
        options["inlet"],
        options["nozzle"],
        options["hose"],
        appliances_kpa=options["appliances"],
        height_m=options["height"],
        plate_back_pressure_kpa=options["limit"],
        lift_m=options["lift"],
        plate_lift_m=options["plate_lift"],
        rated_inlet_kpa=options["plate_inlet"],
        nozzle_k=None if options["holds"] else k_factor(own, options["nozzle"]),
    )
    asked = Asked(
        lay, options["flow"], not options["no_eductor"], options["nozzle_flow"], options["percent"], options["feed"]
    )
    return line_sheet(asked, Policy(back_pressure_share=options["share"]))


# -- proof -------------------------------------------------------------------------------------------------------------


def _proportioning_options(parser: ArgumentParser) -> None:
    parser.add_argument("--percent", type=q.percent, required=True, help="that the proportioner is set to")
    parser.add_argument("--vehicle", action="store_true", help="judge by the band of airport vehicles")
    mixes = parser.add_argument_group("by known mixes")
    mixes.add_argument("--mix", type=q.mix, nargs="+", default=[], help="percent=reading, such as 2=2.1 3=3.0 4=4.1")
    mixes.add_argument("--sample", type=float, nargs="+", default=[], help="readings of the sample")
    mixes.add_argument("--instrument", choices=sorted(INSTRUMENT_TELLS), default="refractometer")
    draw = parser.add_argument_group("by a draw test")
    draw.add_argument("--drawn", type=q.volume, help="concentrate, such as '1 gal'")
    draw.add_argument("--time", type=q.seconds, help="in which it was drawn, such as '21 s'")
    draw.add_argument("--flow", type=q.flow, help="of solution")
    draw.add_argument("--water-baseline", type=q.percent, help="where water was drawn: what it read before")
    meters = parser.add_argument_group("by two flow meters")
    meters.add_argument("--concentrate-flow", type=q.flow)
    meters.add_argument("--water-flow", type=q.flow)


def _proportioning(options: Options) -> Sheet:
    pct, vehicle = options["percent"], options["vehicle"]
    if options["mix"] or options["sample"]:
        mixes = [(each / 100.0, reading) for each, reading in options["mix"]]
        read = {"way": "mixes", "mixes": mixes, "sample": options["sample"], "instrument": options["instrument"]}
        return proof_sheets.prove(read, pct, vehicle=vehicle).sheet
    if None not in (options["drawn"], options["time"], options["flow"]):
        seconds = options["time"] * 60.0
        if options["water_baseline"] is not None:
            drawn = options["drawn"], seconds, options["flow"]
            return proof_sheets.water_draw_sheet(*drawn, options["water_baseline"])
        return proof_sheets.draw_sheet(options["drawn"], seconds, options["flow"], pct, vehicle=vehicle)
    if None not in (options["concentrate_flow"], options["water_flow"]):
        return proof_sheets.meters_sheet(options["concentrate_flow"], options["water_flow"], pct, vehicle=vehicle)
    raise CommandError(
        "No test was read: add --mix and --sample; or --drawn, --time and --flow; or --concentrate-flow and "
        "--water-flow."
    )


def _foam_test_options(parser: ArgumentParser) -> None:
    parser.add_argument("--cylinder", type=q.millilitres, required=True, help="its volume, such as '1000 ml'")
    parser.add_argument("--mass", type=q.grams, required=True, help="of the foam alone, such as '200 g'")
    parser.add_argument("--drained", type=q.drained, nargs="+", default=[], help="minutes=mL, such as 1=8 2=20")
    parser.add_argument("--declared-expansion", type=float)
    parser.add_argument("--declared-quarter", type=q.minutes, help="quarter-drainage time")


def _foam_test(options: Options) -> Sheet:
    return proof_sheets.foam_sheet(
        options["cylinder"],
        options["mass"],
        options["drained"],
        options["declared_expansion"],
        options["declared_quarter"],
    )


def _sample_options(parser: ArgumentParser) -> None:
    parser.add_argument("--laboratory", choices=("passed", "failed"), help="its own answer, which goes first")
    parser.add_argument("--limits", choices=("editable", "shipping"), default="editable", help="which set of limits")
    for quality in QUALITIES:
        name, unit = WORDS[quality]
        option = quality.replace("_", "-")
        percent_doubled = f"{name} {unit}".strip().replace("%", "%%")
        parser.add_argument(f"--{option}", type=float, help=percent_doubled)
    for quality in QUALITIES[:2]:
        parser.add_argument(f"--declared-{quality}", type=float, help="as the maker declares")


def _sample(options: Options) -> Sheet:
    measured = {each: options[each] for each in QUALITIES if options[each] is not None}
    declared = {each: value for each in QUALITIES[:2] if (value := options[f"declared_{each}"]) is not None}
    laboratory = {"passed": True, "failed": False}.get(options["laboratory"])
    limits = L2 if options["limits"] == "shipping" else L1
    return proof_sheets.sample_sheet(measured, declared, laboratory, limits)


# -- region packs ------------------------------------------------------------------------------------------------------


def _airport_options(parser: ArgumentParser) -> None:
    parser.add_argument("--percent", type=q.percent, required=True, help="as listed")
    parser.add_argument("--index", help="A to E")
    parser.add_argument("--water", type=q.volume, help="required of the vehicle")
    parser.add_argument("--category", type=int, help="of the airport; alone: by the table")
    parser.add_argument("--length", type=q.length, help="of an aircraft, with --fuselage, --level and --category")
    parser.add_argument("--fuselage", type=q.length, help="its width")
    parser.add_argument("--level", choices=("A", "B", "C"), default="B", help="performance level of the foam")


def _airport(options: Options) -> Sheet:
    pct = options["percent"]
    if options["index"] is not None:
        return pack_sheets.index_sheet(options["index"], pct)
    if options["water"] is not None:
        return pack_sheets.water_sheet(options["water"], pct)
    if options["category"] is None:
        raise CommandError("No airport was read: add --index, --water, or --category.")
    if None in (options["length"], options["fuselage"]):
        return pack_sheets.category_sheet(options["category"], pct)
    size = options["length"], options["fuselage"]
    return pack_sheets.aircraft_sheet(*size, options["level"], options["category"], pct)


def _marine_options(parser: ArgumentParser) -> None:
    parser.add_argument("--deck", type=q.area, required=True, help="beam x cargo length, such as '32 x 180 m'")
    parser.add_argument("--largest-tank", type=q.area, required=True, help="its horizontal section")
    parser.add_argument("--monitor-area", type=q.area, required=True, help="that the largest monitor protects")
    parser.add_argument("--monitor", type=q.flow, help="what the largest monitor flows")
    parser.add_argument("--inert-gas", action="store_true", help="the cargo tanks are inerted")
    parser.add_argument("--percent", type=q.percent, required=True)


def _marine(options: Options) -> Sheet:
    return pack_sheets.marine_sheet(
        options["deck"],
        options["largest_tank"],
        options["monitor_area"],
        options["percent"],
        inert_gas=options["inert_gas"],
        monitor_lpm=options["monitor"],
    )


def _national_options(parser: ArgumentParser) -> None:
    _footprint_options(parser)
    parser.add_argument("--application", choices=("gentle", "indirect", "direct"), required=True)
    parser.add_argument("--percent", type=q.percent, required=True)
    parser.add_argument("--miscible", action="store_true", help="the liquid mixes with water")
    parser.add_argument("--mobile", action="store_true", help="by mobile means")
    parser.add_argument("--tested-rate", type=q.rate, help="Texp of the performance method")
    worse = ("side_blocked", "several_tanks", "reach_category_ii", "wind_zone_ii", "delay_missed")
    parser.add_argument("--worse", choices=worse, nargs="*", default=[], help="what makes the place worse")


def _national(options: Options) -> Sheet:
    tested = options["tested_rate"]
    return pack_sheets.national_tank_sheet(
        _known_footprint_m2(options),
        options["application"],
        options["percent"],
        miscible=options["miscible"],
        mobile=options["mobile"],
        tested_rate_lpm_m2=None if tested is None else rate_lpm_m2(tested),
        worsening=options["worse"],
    )


def _preventive_options(parser: ArgumentParser) -> None:
    _footprint_options(parser)
    parser.add_argument("--percent", type=q.percent, required=True)
    parser.add_argument("--expansion", type=float, default=attack_sheets.Hold._field_defaults["expansion"])


def _preventive(options: Options) -> Sheet:
    return pack_sheets.preventive_sheet(_known_footprint_m2(options), options["percent"], options["expansion"])


Worksheet = tuple[str, Callable[[ArgumentParser], None], Callable[[Options], Sheet]]
WORKSHEETS: Final[dict[str, Worksheet]] = {
    "need": ("Concentrate, water and pails for a footprint, a rate and a time.", _need_options, _need),
    "line": ("Where a foam line settles, what is wrong with it, and what cures it.", _line_options, _line),
    "proportioning": ("What a proportioner made, and whether it passes.", _proportioning_options, _proportioning),
    "foam-test": ("Expansion and quarter-drainage of finished foam.", _foam_test_options, _foam_test),
    "sample": ("A laboratory's values of a concentrate against limits.", _sample_options, _sample),
    "spill": ("Size a spill by fuel, footprint and concentrate.", _spill_options, _spill),
    "vapor": ("Hold vapor down: first blanket, upkeep, and the fire kept back for.", _vapor_options, _vapor),
    "runoff": ("What a dike must hold and how deep it stands.", _runoff_options, _runoff),
    "airport": ("Region pack: concentrate aboard for twice the water.", _airport_options, _airport),
    "marine": ("Region pack: deck foam of a tanker.", _marine_options, _marine),
    "national": ("Region pack: a storage tank by one national code.", _national_options, _national),
    "preventive": ("Region pack: a preventive blanket by one national code.", _preventive_options, _preventive),
}
