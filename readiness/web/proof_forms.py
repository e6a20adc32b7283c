"""Worksheets of tests: what a proportioner made, finished foam, a laboratory's values; with their curves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar, Final

from django import forms
from django.utils.safestring import SafeString

from readiness.engineering.calibration import reading_at
from readiness.engineering.foam_tests import Drained, drained_at_min, quarter_ml
from readiness.engineering.proof_sheets import Calibration, foam_sheet, prove, sample_sheet, water_draw_sheet
from readiness.engineering.proportioning import WORD_OF_INSTRUMENT, Airport, band
from readiness.engineering.sample_limits import L1, L2, QUALITIES, WORDS
from readiness.engineering.sheets import Sheet
from readiness.engineering.units import ML_PER_L
from readiness.reports.line_tests import airport_of
from readiness.web import plots
from readiness.web.field_groups import Groups
from readiness.web.forms import PercentField, QuantityField
from readiness.web.sheet_forms import Choice, NumberField, PairsField, ReadingsField, SheetForm

WAYS: Final = [
    ("mixes", "known mixes and a refractometer or conductivity meter"),
    ("draw", "a draw test: so much concentrate in so many seconds"),
    ("meters", "two flow meters"),
]
_INSTRUMENTS: Final = [(key, word) for key, word in WORD_OF_INSTRUMENT.items()]


class ProportioningForm(SheetForm):
    """A proportioning test by one of three ways."""

    groups_of: ClassVar[Groups] = (
        ("By known mixes", ("instrument", "mixes", "sample")),
        ("By a draw test", ("drawn", "seconds", "flow")),
        ("By two flow meters", ("concentrate_flow", "water_flow")),
    )
    percent = PercentField(label="Set to", initial=300)
    vehicle = forms.BooleanField(label="An airport vehicle, judged by its own band", required=False)
    way = Choice(label="Tested by", choices=WAYS, initial="mixes")
    instrument = Choice(label="Instrument", choices=_INSTRUMENTS, initial="refractometer")
    mixes = PairsField(
        label="Known mixes",
        like="3 = 2.9",
        required=False,
        help_text="One a line: its percentage = what the instrument reads. Three at least, on either side of the "
        "setting, of the same concentrate and the same water.",
    )
    sample = ReadingsField(label="Readings of the sample", required=False, help_text="Several with semicolons between.")
    drawn = QuantityField("volume", label="Concentrate drawn", required=False, zero=False)
    seconds = QuantityField("time", label="Time it took", unit="s", required=False, zero=False)
    flow = QuantityField("flow", label="Solution flows", required=False, zero=False)
    concentrate_flow = QuantityField("flow", label="Concentrate flows", required=False, zero=False)
    water_flow = QuantityField("flow", label="Water flows", required=False, zero=False)
    found: Calibration | None = None

    def sheet(self) -> Sheet:
        """By the way that was chosen."""
        asked = self.cleaned_data
        proof = prove(self.evidence(), asked["percent"], vehicle=self.airport())
        self.found = proof.calibration
        return proof.sheet

    def airport(self) -> Airport:
        """By the department's bands for airport vehicles, or the standard's."""
        assert self.here is not None
        return airport_of(self.here.department, "vehicle" if self.cleaned_data["vehicle"] else "standard")

    def evidence(self) -> dict[str, Any]:
        """What was read, as `prove` takes it and a record keeps it. Raises ``ValueError`` where some is missing."""
        asked = self.cleaned_data
        way = asked["way"]
        if way == "mixes":
            mixes, sample = [list(each) for each in asked["mixes"]], list(asked["sample"])
            return {"way": way, "instrument": asked["instrument"], "mixes": mixes, "sample": sample}
        needed = ("drawn", "seconds", "flow") if way == "draw" else ("concentrate_flow", "water_flow")
        missing = [str(self[name].label) for name in needed if asked[name] is None]
        if missing:
            raise ValueError(f"Nothing was read: {', '.join(missing)} of this test is needed.")
        if way == "draw":
            drawn_l, seconds = asked["drawn"] / ML_PER_L, asked["seconds"] * 60.0
            return {"way": way, "drawn_l": drawn_l, "seconds": seconds, "flow_lpm": asked["flow"]}
        return {"way": way, "concentrate_lpm": asked["concentrate_flow"], "water_lpm": asked["water_flow"]}

    def plots(self, sheet: Sheet) -> Sequence[SafeString]:
        """The line through the mixes, with the sample and its interval."""
        if self.found is None:
            return ()
        return (calibration_plot(self.found, self.cleaned_data["percent"], vehicle=self.airport()),)


class ProportioningSheetForm(ProportioningForm):
    """The same on paper, where a draw of water may be held against the line's earlier one: that is no test."""

    groups_of: ClassVar[Groups] = (*ProportioningForm.groups_of, ("Where water was drawn", ("baseline",)))
    baseline = PercentField(
        label="Its earlier draw of water read",
        required=False,
        help_text="With a draw test of water in place of concentrate.",
    )

    def sheet(self) -> Sheet:
        """The test, or how far the draw of water moved."""
        baseline = self.cleaned_data["baseline"]
        if baseline is None:
            return super().sheet()
        if self.cleaned_data["way"] != "draw":
            raise ValueError("An earlier draw of water was read: it goes with a draw test, so choose that.")
        read = self.evidence()
        return water_draw_sheet(read["drawn_l"], read["seconds"], read["flow_lpm"], baseline)


def calibration_plot(found: Calibration, pct: int, *, vehicle: Airport = False) -> SafeString:
    """Known mixes, their line, the sample with its interval, and the band that passes."""
    line, measured = found.line, found.measured
    xs = [each.pct for each in found.standards]
    least, greatest = min([*xs, found.low, pct]), max([*xs, found.high])
    ys = [each.reading for each in found.standards] + [reading_at(line, each) for each in (least, greatest)]
    bottom, top = min(ys), max(ys)
    span = top - bottom  # the band is drawn from edge to edge of the axes
    low, high = band(pct, vehicle=vehicle)
    sample = reading_at(line, measured.pct)
    told = (
        f"{line.mixes} known mixes on a line with correlation {line.correlation:.4f}. The sample reads {sample:.4g}, "
        f"which is {measured.pct / 100:.2f} %, between {found.low / 100:.2f} and {found.high / 100:.2f} %. "
        f"{low / 100:g} to {high / 100:g} % passes."
    )
    ends = [(each / 100, reading_at(line, each)) for each in (least, greatest)]
    within: plots.Shape = "good" if low <= measured.pct <= high else "bad"
    return plots.draw(
        plots.Plot(
            key="calibration",
            title="Calibration line",
            told=told,
            x=plots.Axis("percentage of concentrate", least / 100, greatest / 100),
            y=plots.Axis("reading", bottom, top),
            series=[
                plots.Series(ends, "", "fit"),
                plots.Series([(found.low / 100, sample), (found.high / 100, sample)], "interval", "main"),
            ],
            bands=[plots.Band([(each / 100, bottom - span, top + span) for each in (low, high)], "passes")],
            marks=[
                *(plots.Mark(each.pct / 100, each.reading) for each in found.standards),
                plots.Mark(measured.pct / 100, sample, f"sample {measured.pct / 100:.2f} %", within),
            ],
        )
    )


class FoamTestForm(SheetForm):
    """Finished foam in a cylinder."""

    cylinder = QuantityField("volume", label="The cylinder holds", unit="ml", zero=False)
    mass = QuantityField("mass", label="The foam in it weighs", unit="g", zero=False, help_text="Without the cylinder.")
    series = PairsField(
        label="Drained",
        like="1.5 = 12",
        required=False,
        help_text="One a line: minutes = mL below the foam, each half minute.",
    )
    declared_expansion = NumberField(label="Declared expansion", required=False, most=1000)
    declared_quarter = QuantityField("time", label="Declared quarter-drainage time", required=False, zero=False)

    def _series(self) -> list[Drained]:
        return [Drained(*each) for each in self.cleaned_data["series"]]

    def sheet(self) -> Sheet:
        """Expansion, class, and the minute at which a quarter had drained."""
        asked = self.cleaned_data
        return foam_sheet(
            asked["cylinder"],
            asked["mass"] * 1000.0,
            self._series(),
            asked["declared_expansion"],
            asked["declared_quarter"],
        )

    def plots(self, sheet: Sheet) -> Sequence[SafeString]:
        """The drainage curve."""
        series = self._series()
        return (drainage_plot(series, quarter_ml(self.cleaned_data["mass"] * 1000.0)),) if series else ()


def drainage_plot(series: Sequence[Drained], quarter: float) -> SafeString:
    """What drained over time, and where a quarter had."""
    minute = drained_at_min(series, quarter)
    points = [(each.minutes, each.ml) for each in series]
    last = series[-1]
    reached = "had not drained by then" if minute is None else f"had drained at {minute:.2f} min"
    told = f"{last.ml:g} mL had drained at {last.minutes:g} min; a quarter, {quarter:g} mL, {reached}."
    marks = [] if minute is None else [plots.Mark(minute, quarter, f"a quarter at {minute:.2f} min", "good")]
    return plots.draw(
        plots.Plot(
            key="drainage",
            title="Drainage",
            told=told,
            x=plots.Axis("minutes", 0.0, last.minutes),
            y=plots.Axis("drained, mL", 0.0, max(last.ml, quarter)),
            series=[
                plots.Series([(0.0, quarter), (last.minutes, quarter)], "", "limit"),
                plots.Series(points if series[0].minutes == 0 else [(0.0, 0.0), *points]),
            ],
            marks=marks,
        )
    )


class SampleSheetForm(SheetForm):
    """A laboratory's values."""

    laboratory = forms.ChoiceField(
        label="The laboratory says",
        choices=[("", "nothing yet"), ("passed", "passed"), ("failed", "failed")],
        required=False,
        help_text="Its own answer goes first, whatever the values.",
    )
    limits = forms.ChoiceField(label="Limits", choices=[("", L1.source), ("shipping", L2.source)], required=False)

    def sheet(self) -> Sheet:
        """The laboratory's answer, and each value against its limits."""
        asked = self.cleaned_data
        measured: dict[Any, float] = {each: asked[each] for each in QUALITIES if asked[each] is not None}
        declared: dict[Any, float] = {
            each: asked[f"declared_{each}"] for each in QUALITIES[:2] if asked[f"declared_{each}"] is not None
        }
        said = {"passed": True, "failed": False}.get(asked["laboratory"])
        return sample_sheet(measured, declared, said, L2 if asked["limits"] == "shipping" else L1)


def value_field(quality: Any, word: str = "") -> NumberField:
    """The field for one of a laboratory's values."""
    name, unit = WORDS[quality]
    label = f"{word}{name.lower() if word and name != 'pH' else name}"
    return NumberField(label=f"{label} [{unit}]" if unit else label, required=False)


for _quality in QUALITIES:  # one field a value: the table of the room of numbers is the form
    SampleSheetForm.base_fields[_quality] = value_field(_quality)
for _quality in QUALITIES[:2]:
    SampleSheetForm.base_fields[f"declared_{_quality}"] = value_field(_quality, "Declared ")
