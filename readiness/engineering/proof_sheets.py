"""The sums of a test: what a proportioner made, what finished foam is worth, what a laboratory's values say."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from readiness.engineering.calibration import (
    CONFIDENCE,
    Line,
    Measured,
    Standard,
    fit_line,
    outside_standards,
    poor_fit,
    read_off,
)
from readiness.engineering.foam_tests import (
    Drained,
    below_declared,
    drained_at_min,
    expansion,
    expansion_class,
    quarter_ml,
)
from readiness.engineering.percentages import percent_text
from readiness.engineering.proportioning import (
    INSTRUMENT_TELLS,
    WORD_OF_INSTRUMENT,
    Airport,
    Instrument,
    Outcome,
    against_baseline,
    band,
    cannot_tell,
    draw_seconds,
    drawn_pct,
    metered_pct,
    outcome,
)
from readiness.engineering.sample_limits import L1, WORDS, Finding, Limits, Quality, passes, weigh
from readiness.engineering.sheets import Figure, Sheet
from readiness.engineering.steps import Numbers, Recorder

TITLE = "Proportioning test"
WATCH_S = 0.5  # a stop watch in a hand; common practice, no source


class Calibration(NamedTuple):
    """A test by known mixes: the line, the sample, and why it is refused, if it is."""

    standards: tuple[Standard, ...]
    line: Line
    measured: Measured
    low: float  # the wider of the interval and the instrument's ± [1/100 point]
    high: float
    refused: tuple[str, ...]


def calibrate(
    standards: Sequence[Standard],
    readings: Sequence[float],
    instrument: Instrument,
    pct: int,
    *,
    vehicle: Airport = False,
) -> Calibration:
    """A sample read off known mixes, with every reason to refuse it. Raises ``ValueError`` where there is no line."""
    line = fit_line(standards)
    measured = read_off(line, readings)
    tells = INSTRUMENT_TELLS[instrument]
    reasons = (poor_fit(line), outside_standards(standards, measured), cannot_tell(instrument, pct, vehicle=vehicle))
    low, high = min(measured.low, measured.pct - tells), max(measured.high, measured.pct + tells)
    return Calibration(tuple(standards), line, measured, low, high, tuple(each for each in reasons if each))


def calibration_sheet(found: Calibration, instrument: Instrument, pct: int, *, vehicle: Airport = False) -> Sheet:
    """The percentage with its interval against the band; refused where the test proves nothing."""
    say = Recorder()
    line, measured = found.line, found.measured
    mixes = (("mixes", float(line.mixes), ""), ("correlation", line.correlation, ""))
    say("Slope b of the line", "reading = a + b × percent", mixes, line.slope * 100, "a point", "least squares")
    read = (("a", line.intercept, ""), ("b", line.slope * 100, ""))
    say("Sample", "(reading − a) ÷ b", read, measured.pct / 100, "%", "inverse regression")
    half = (("low", measured.low / 100, "%"), ("high", measured.high / 100, "%"), ("t", measured.t, ""))
    say("95 % interval", "Fieller’s limits", half, (measured.high - measured.low) / 200, "± points", "Fieller 1954")
    told = (("±", INSTRUMENT_TELLS[instrument] / 100, "%"),)
    wide = (found.high - found.low) / 200
    say("With the instrument", "the wider of both", told, wide, "± points", WORD_OF_INSTRUMENT[instrument])
    least, greatest = band(pct, vehicle=vehicle)
    figures = (
        Figure("measured", "Measured", measured.pct, "percent", "nearest"),
        Figure("low", "At least", found.low, "percent", "down"),
        Figure("high", "At most", found.high, "percent"),
        Figure("least", "Passes from", least, "percent", "nearest"),
        Figure("greatest", "Passes to", greatest, "percent", "nearest"),
        Figure("correlation", "Correlation of the known mixes", line.correlation, "ratio", "down"),
    )
    notes = [_few(line)] if line.freedom < 2 else []
    if not found.refused:
        notes.insert(0, verdict(outcome(found.low, found.high, pct, vehicle=vehicle), pct, vehicle=vehicle))
    return Sheet(TITLE, figures, tuple(say.steps), tuple(notes), " ".join(found.refused))


def _few(line: Line) -> str:
    return (
        f"{line.mixes} known mixes leave {line.freedom} degree of freedom: the {CONFIDENCE:.0%} interval is wide. "
        "A fourth mix narrows it most."
    )


def verdict(said: str, pct: int, *, vehicle: Airport = False) -> str:
    """An outcome in a sentence, with the band."""
    least, greatest = band(pct, vehicle=vehicle)
    passes_from = f"{percent_text(pct)} passes from {percent_text(least)} to {percent_text(greatest)}."
    words = {
        "passed": "Passed: all of what was measured lies within the band.",
        "failed": "Failed: all of what was measured lies outside the band.",
        "too near to tell": "Too near a limit to tell: measure it again, or with a finer instrument.",
    }
    return f"{words[said]} {passes_from}"


def draw_sheet(
    volume_l: float,
    seconds: float,
    flow_lpm: float,
    pct: int,
    *,
    watch_s: float = WATCH_S,
    vehicle: Airport = False,
) -> Sheet:
    """A draw test: so much concentrate gone in so many seconds at a known flow, the stop watch good to ± watch_s."""
    if not 0 <= watch_s < seconds:
        raise ValueError(f"{seconds:g} s by a watch good to {watch_s:g} s was read: draw for longer than that.")
    say = Recorder()
    measured = drawn_pct(volume_l, seconds, flow_lpm)
    low, high = (drawn_pct(volume_l, seconds + off, flow_lpm) for off in (watch_s, -watch_s))
    numbers = (("volume", volume_l, "L"), ("seconds", seconds, "s"), ("flow", flow_lpm, "L/min"))
    say("Measured", "60 × volume ÷ seconds ÷ flow", numbers, measured / 100, "%", "percentage is of solution")
    say("With the watch", "the same", (("±", watch_s, "s"),), (high - low) / 200, "± points", "common practice")
    passing = tuple(_passing_draw(volume_l, flow_lpm, pct, vehicle, say))
    sheet = _plain_test(measured, low, high, pct, vehicle, say)
    return sheet._replace(figures=(*sheet.figures, *passing))


def _passing_draw(volume_l: float, flow_lpm: float, pct: int, vehicle: Airport, say: Recorder) -> Iterator[Figure]:
    """The seconds between which the same volume passes: what an officer watches the clock for."""
    least, greatest = band(pct, vehicle=vehicle)
    for key, bound in (("soonest", greatest), ("latest", least)):
        seconds = draw_seconds(volume_l, bound, flow_lpm)
        numbers = (("volume", volume_l, "L"), ("flow", flow_lpm, "L/min"), ("p", bound / 100, "%"))
        say(f"Passes, {key}", "60 × volume ÷ (flow × p)", numbers, seconds, "s", "trade notes")
        yield Figure(key, f"Passes, {key}", seconds, "seconds", "up" if key == "soonest" else "down")


def water_draw_sheet(volume_l: float, seconds: float, flow_lpm: float, baseline: int) -> Sheet:
    """A draw test with water in place of concentrate, against the line's own earlier draw of water [1/100 point]."""
    say = Recorder()
    drawn = drawn_pct(volume_l, seconds, flow_lpm)
    numbers: Numbers = (("volume", volume_l, "L"), ("seconds", seconds, "s"), ("flow", flow_lpm, "L/min"))
    say("Water drawn", "60 × volume ÷ seconds ÷ flow", numbers, drawn / 100, "%", "percentage is of solution")
    moved = against_baseline(drawn, baseline)
    numbers = (("now", drawn / 100, "%"), ("baseline", baseline / 100, "%"))
    say("Moved", "now ÷ baseline − 1", numbers, 100 * moved, "%", "arithmetic")
    figures = (
        Figure("drawn", "Water drawn", drawn, "percent", "nearest"),
        Figure("baseline", "Its baseline", baseline, "percent", "nearest"),
        Figure("moved", "Moved since", moved, "share", "nearest"),
    )
    notes = (
        "Water reads about 20 % higher than concentrate in a fixed proportioner: it is held against the same line’s "
        "earlier draw of water, never against the band.",
        "No proportioning test: it proves no pass and no fail.",
    )
    return Sheet("Draw test with water", figures, tuple(say.steps), notes)


def meters_sheet(concentrate_lpm: float, water_lpm: float, pct: int, *, vehicle: Airport = False) -> Sheet:
    """A test by two flow meters."""
    say = Recorder()
    measured = metered_pct(concentrate_lpm, water_lpm)
    numbers = (("concentrate", concentrate_lpm, "L/min"), ("water", water_lpm, "L/min"))
    formula = "concentrate ÷ (concentrate + water)"
    say("Measured", formula, numbers, measured / 100, "%", "percentage is of solution")
    return _plain_test(measured, measured, measured, pct, vehicle, say)


class Proof(NamedTuple):
    """A proportioning test worked from what was read. ``said``: passed, failed, or too near to tell."""

    sheet: Sheet
    measured: float  # [1/100 point]
    said: Outcome
    calibration: Calibration | None = None


def prove(evidence: Mapping[str, Any], pct: int, *, vehicle: Airport = False) -> Proof:
    """A test from its evidence, as a form or a record holds it.

    way "mixes": mixes as [percent, reading], sample as readings, instrument; "draw": drawn_l [L], seconds [s], flow_lpm
    [L/min]; "meters": concentrate_lpm, water_lpm. Raises ``ValueError`` with a sentence, KeyError for spoilt evidence.
    """
    if evidence["way"] == "mixes":
        standards = [Standard(percent * 100.0, reading) for percent, reading in evidence["mixes"]]
        instrument = evidence["instrument"]
        found = calibrate(standards, evidence["sample"], instrument, pct, vehicle=vehicle)
        sheet = calibration_sheet(found, instrument, pct, vehicle=vehicle)
        return Proof(sheet, found.measured.pct, outcome(found.low, found.high, pct, vehicle=vehicle), found)
    if evidence["way"] == "draw":
        drawn = evidence["drawn_l"], evidence["seconds"], evidence["flow_lpm"]
        sheet = draw_sheet(*drawn, pct, vehicle=vehicle)
    else:
        sheet = meters_sheet(evidence["concentrate_lpm"], evidence["water_lpm"], pct, vehicle=vehicle)
    known = {each.key: each.value for each in sheet.figures}
    measured = known["measured"]
    low, high = known.get("low", measured), known.get("high", measured)
    return Proof(sheet, measured, outcome(low, high, pct, vehicle=vehicle))


def _plain_test(measured: float, low: float, high: float, pct: int, vehicle: Airport, say: Recorder) -> Sheet:
    least, greatest = band(pct, vehicle=vehicle)
    figures = (
        Figure("measured", "Measured", measured, "percent", "nearest"),
        *((Figure("low", "At least", low, "percent", "down"),) if low < measured else ()),
        *((Figure("high", "At most", high, "percent"),) if high > measured else ()),
        Figure("least", "Passes from", least, "percent", "nearest"),
        Figure("greatest", "Passes to", greatest, "percent", "nearest"),
    )
    said = outcome(low, high, pct, vehicle=vehicle)
    notes = [
        verdict(said, pct, vehicle=vehicle),
        "The flow meters’ own error is not counted here.",
    ]
    if high < least:
        notes.append("Lean: this line does not count for its fuel until it passes.")
    return Sheet(TITLE, figures, tuple(say.steps), tuple(notes))


def foam_sheet(
    foam_ml: float,
    foam_g: float,
    series: Sequence[Drained] = (),
    declared_expansion: float | None = None,
    declared_quarter_min: float | None = None,
) -> Sheet:
    """A foam test: expansion, its class, and the minute at which a quarter had drained, against what is declared."""
    say = Recorder()
    expanded = expansion(foam_ml, foam_g)
    numbers = (("foam", foam_ml, "mL"), ("mass", foam_g, "g"))
    say("Expansion", "foam ÷ mass", numbers, expanded, "", "1 g of solution is 1 mL")
    quarter = quarter_ml(foam_g)
    say("A quarter of its liquid", "mass ÷ 4", (("mass", foam_g, "g"),), quarter, "mL", "course based on NFPA 412")
    figures = [
        Figure("expansion", "Expansion", expanded, "ratio", "nearest"),
        Figure("quarter", "A quarter of its liquid", quarter, "drained", "nearest"),
    ]
    notes = [f"Class: {expansion_class(expanded)} expansion."]
    if below_declared(expanded, declared_expansion):
        notes.append(f"Below the declared expansion of {declared_expansion:g}: nozzle, percentage or foam is at fault.")
    if series:
        minute = drained_at_min(series, quarter)
        if minute is None:
            notes.append("A quarter had not drained by the last reading: go on reading.")
        else:
            say("Quarter drained at", "between two readings", (("mL", quarter, "mL"),), minute, "min", "interpolated")
            figures.append(Figure("quarter_minutes", "Quarter-drainage time", minute, "time", "down"))
            if below_declared(minute, declared_quarter_min):
                notes.append(f"Sooner than the declared {declared_quarter_min:g} min.")
    return Sheet("Foam test", tuple(figures), tuple(say.steps), tuple(notes))


def finding_words(each: Finding) -> str:
    """One laboratory value with its limits, in a sentence."""
    name, unit = WORDS[each.quality]
    value = f"{name} {each.measured:g} {unit}".strip()
    if each.within is None:
        return f"{value}: nothing declared to compare it with."
    bounds = [f"{each.low:.4g}" if each.low is not None else "", f"{each.high:.4g}" if each.high is not None else ""]
    asked = " to ".join(bound for bound in bounds if bound)
    return f"{value}: {'within' if each.within else 'OUTSIDE'} {'at most ' if each.low is None else ''}{asked}."


def sample_sheet(
    measured: Mapping[Quality, float],
    declared: Mapping[Quality, float],
    laboratory: bool | None = None,
    limits: Limits = L1,
) -> Sheet:
    """A laboratory's values against limits; its own pass or fail goes first."""
    found = weigh(measured, declared, limits)
    answer = passes(laboratory, found)
    said = {True: "Passed, as the laboratory says.", False: "Failed.", None: "Not decided: the values prove no pass."}
    by_values = laboratory is None and answer is False
    notes = [f"{said[answer]}{' A value lies outside its limits.' if by_values else ''}"]
    notes += [finding_words(each) for each in found]
    return Sheet("Concentrate sample", (), (), (*notes, f"Limits: {limits.source}."))
