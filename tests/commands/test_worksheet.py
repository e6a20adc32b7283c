"""The worksheets at the command line: figures of published rows, JSON, and what is read wrong."""

from __future__ import annotations

from typing import Any

import pytest

from readiness.reports.worksheets import fuels_meant, number_on_placard, shipped_fuels
from tests.commands.calling import answered, refused, said


def figure(told: dict[str, Any], key: str) -> tuple[float, str]:
    found = told["figures"][key]
    return found["value"], found["unit"]


D1 = ["--area", "3000 ft2", "--rate", "0.20 gpm/ft2", "--minutes", "15", "--percent", "3"]


def test_d1_and_d2_in_json() -> None:
    """Class slides: 600 gpm, 18 gpm, 270 gal; water 8,730 gal where they print 26,190."""
    told = answered("need", *D1)
    assert figure(told, "required_flow") == (pytest.approx(600), "gpm")
    assert figure(told, "concentrate_flow") == (pytest.approx(18), "gpm")
    assert figure(told, "textbook_need") == (pytest.approx(270), "gal")
    assert figure(told, "water") == (pytest.approx(8730), "gal")
    assert told["refused"] is None


def test_d1_as_text() -> None:
    lines = said("worksheet", "need", *D1).splitlines()
    shown = {" ".join(line.split()) for line in lines}
    assert {"Required flow of solution 600 gpm", "Textbook need 270 gal", "Water 8,730 gal"} <= shown
    assert "26,190" not in "".join(lines)
    working = [line for line in lines if " = " in line]
    assert len(working) >= 5
    assert all(line.endswith(")") for line in working)
    assert lines[-1].startswith("This supports the officer's judgment")


def test_metric() -> None:
    """D4: 7850 m² at 12 L/min/m², 90 min, 1 %: 94,200 L/min and 84,780 L."""
    told = answered(
        "need", "--area", "7850 m2", "--rate", "12 L/min/m2", "--minutes", "90", "--percent", "1", "--units", "metric"
    )
    assert figure(told, "required_flow") == (pytest.approx(94_200), "L/min")
    assert figure(told, "textbook_need") == (pytest.approx(84_780), "L")


def test_line() -> None:
    """H4: 136.3 psi at 125 gpm through 150 ft of 1.75 in."""
    told = answered(
        "line", "--flow", "125 gpm", "--inlet", "200 psi", "--nozzle", "100 psi", "--hose", "150 ft of 1 3/4 in"
    )
    assert figure(told, "back_pressure") == (pytest.approx(136.33, abs=0.005), "psi")
    assert "does not pick up" in told["refused"]
    assert figure(told, "cure_length") == (pytest.approx(100), "ft")
    assert told["faults"][0]["sentence"] == "The line does not pick up: back pressure 136.3 psi, limit 130.0 psi."


def test_line_with_its_plate() -> None:
    """At 150 psi a 200-psi plate of 95 gpm flows 95 × √0.75 = 82.3 and draws rich; 7 ft of lift where 6 are allowed."""
    told = answered(
        "line", "--flow", "95 gpm", "--inlet", "150 psi", "--plate-inlet", "200 psi", "--nozzle", "75 psi",
        "--hose", "50 ft of 1.75 in", "--lift", "7 ft", "--plate-lift", "6 ft",
    )  # fmt: skip
    assert figure(told, "flow")[0] == pytest.approx(82.27, abs=0.01)
    assert {each["severity"] for each in told["faults"]} == {"not_ready", "limited"}
    said = " ".join(each["sentence"] for each in told["faults"])
    assert "lifts 7.0 ft; the plate allows 6.0 ft" in said
    assert "it flows less and draws rich" in said
    assert figure(told, "cure_inlet") == (pytest.approx(200), "psi")


def test_proportioning_three_ways() -> None:
    """P2's mixes that read their own percentage; trade notes: 95 gpm at 3 % draws a gallon in 21.1 s; row D7."""
    mixes = ["--mix", "2=2.0", "3=3.0", "4=4.0", "5=5.0", "--sample", "3.4", "--instrument", "conductivity"]
    told = answered("proportioning", "--percent", "3", *mixes)
    assert figure(told, "measured") == (pytest.approx(3.4), "%")
    drawn = answered("proportioning", "--percent", "3", "--drawn", "1 gal", "--time", "21.1 s", "--flow", "95 gpm")
    assert figure(drawn, "measured")[0] == pytest.approx(3.0, abs=0.01)
    metered = answered(
        "proportioning", "--percent", "3", "--concentrate-flow", "7.5 gpm", "--water-flow", "242.5 gpm", "--vehicle"
    )
    assert figure(metered, "measured")[0] == pytest.approx(3.0)
    assert figure(metered, "least")[0] == pytest.approx(2.8)  # P6: the airport's band
    assert refused("worksheet", "proportioning", "--percent", "3").startswith("No test was read")


def test_foam_test_and_sample() -> None:
    told = answered(
        "foam-test",
        "--cylinder",
        "1000 ml",
        "--mass",
        "200 g",
        "--drained",
        "0=0",
        "1=8",
        "2=20",
        "3=33",
        "4=45",
        "5=55",
    )
    assert figure(told, "expansion") == (5.0, "")
    assert figure(told, "quarter_minutes") == (pytest.approx(4.5), "min")
    shipping = answered("sample", "--ph", "6.9", "--limits", "shipping")
    assert shipping["notes"][0].startswith("Not decided")  # L2 allows 6.0 to 9.5
    assert answered("sample", "--ph", "6.9")["notes"][0].startswith("Failed")  # L1 allows 7.0 to 8.5


def test_spill_by_placard_and_tanks() -> None:
    """Two saddle tanks of 150 gal on gravel: 300 gal at 1 cm: 1,222.4 ft² (pint); × 0.20 = 244.5 gpm."""
    given = ["--kind", "AR-AFFF", "--percent", "6", "--saddle-tanks", "150 gal", "--surface", "gravel"]
    told = answered("spill", "--fuel", "1170", *given, "--listed-rate", "0.20 gpm/ft2")
    assert figure(told, "area") == (pytest.approx(300 * 3.785411784 / 10 / 0.09290304), "ft2")
    assert figure(told, "required_flow")[0] == pytest.approx(244.475, abs=0.001)
    assert figure(told, "to_contain")[0] == pytest.approx(figure(told, "runoff")[0] + 300)


def test_spill_without_an_answer() -> None:
    some = ["--percent", "3", "--area", "20 x 50 ft"]
    f3 = answered("spill", "--fuel", "diesel fuel", "--kind", "AR-F3", *some)
    assert "no listed rate" in f3["refused"]
    propane = answered("spill", "--fuel", "UN1978", "--kind", "AR-AFFF", *some)
    assert propane["refused"].startswith("Foam is not the agent")


def test_vapor_and_runoff() -> None:
    """S7: 34.16 and 122.51 gal. S6: 26.03 in over a 24-in wall."""
    fire = ["--fire-flow", "95 gpm", "--fire-minutes", "15"]
    given = ["--area", "15 x 30 ft", "--percent", "6.2", "--hold", "2 h", "--wind-loss", "25", *fire]
    told = answered("vapor", *given)
    assert figure(told, "blanket")[0] == pytest.approx(34.16, abs=0.005)
    assert figure(told, "total")[0] == pytest.approx(122.51, abs=0.005)
    dike = [
        "--area",
        "40 x 50 ft",
        "--wall",
        "24 in",
        "--product-depth",
        "14 in",
        "--flow",
        "500 gpm",
        "--minutes",
        "30",
    ]
    assert figure(answered("runoff", *dike), "depth") == (pytest.approx(26.03, abs=0.005), "in")


def test_packs() -> None:
    """A6: 92.78 gal. A5: 1,800 L/min. A4: 14,624 L. M2: 2,073.6 L."""
    assert figure(answered("airport", "--index", "B", "--percent", "3"), "concentrate")[0] == pytest.approx(
        92.78, abs=0.005
    )
    assert figure(answered("airport", "--water", "6000 gal", "--percent", "6"), "concentrate")[0] == pytest.approx(
        765.96, abs=0.005
    )
    metric = ["--percent", "3", "--units", "metric"]
    assert figure(answered("airport", "--category", "4", *metric), "discharge")[0] == 1800
    aircraft = ["--length", "73.86 m", "--fuselage", "6.2 m", "--level", "A", "--category", "9"]
    assert figure(answered("airport", *aircraft, *metric), "first")[0] == pytest.approx(14_624, rel=5e-4)
    deck = ["--deck", "32 x 180 m", "--largest-tank", "480 m2", "--monitor-area", "1000 m2", "--inert-gas"]
    assert figure(answered("marine", *deck, *metric), "concentrate")[0] == pytest.approx(2073.6)
    tank = ["--diameter", "100 m", "--application", "gentle"]
    assert figure(answered("national", *tank, *metric), "rate") == (4.0, "L/min/m2")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["need", *D1[2:], "--area", "3000"], "“3000” was read: without a unit"),
        (["need", *D1[:-1], "300"], "300 was read: at most 10 % belongs here"),
        (["need", *D1[:-1], "0.03"], "0.03 was read: write 3 %"),
        (["need", *D1[:2], "--rate", "0.2", *D1[4:]], "“0.2” was read without a unit"),
        (["need", *D1[:2], "--rate", "0.2 gpm", *D1[4:]], "a rate belongs here"),
        (["need", *D1[2:]], "No footprint was read"),
        (["need", *D1, "--diameter", "20 ft"], "Both --area and --diameter"),
        (["need", *D1, "--diameter", "-20 ft"], "length is never below zero"),
        (["spill", "--fuel", "UN9999", "--kind", "AFFF", "--percent", "3", "--area", "9 ft2"], "no shipped fuel"),
        (["spill", "--fuel", "UN1203", "--kind", "AFFF", "--percent", "3", "--area", "9 ft2"], "several fuels"),
        (["spill", "--fuel", "ethanol", "--kind", "AFFF", "--percent", "3"], "No footprint was read"),
        (["line", "--flow", "9 gpm", "--inlet", "9 psi", "--nozzle", "9 psi", "--hose", "9 ft of 7 in"], "hose size"),
        (["foam-test", "--cylinder", "1000", "--mass", "1200"], "heavier than water"),
        (["foam-test", "--cylinder", "1000", "--mass", "200", "--drained", "1:8"], "with = between: 1.5=12"),
        (["proportioning", "--percent", "3", "--mix", "2=2", "--sample", "2"], "a line needs 3"),
        (["proportioning", "--percent", "3", "--mix", "200=2"], "between 0 and 100"),
        (["airport", "--percent", "3"], "No airport was read"),
        (["airport", "--percent", "3", "--category", "12"], "Category 12 was read"),
    ],
)  # fmt: skip
def test_bad_input_gets_a_sentence(arguments: list[str], words: str) -> None:
    spaced = [each.replace("-20 ft", " -20 ft") for each in arguments]
    assert words in refused("worksheet", *spaced)


@pytest.mark.parametrize(
    ("words", "number"), [("1203", "UN1203"), ("un 1203", "UN1203"), ("NA1993", "NA1993"), ("12", ""), ("E10", "")]
)
def test_numbers_on_placards(words: str, number: str) -> None:
    assert number_on_placard(words) == number


def test_fuels_by_name_and_number() -> None:
    assert [each.name for each in fuels_meant("Ethanol")] == ["ethanol"]
    assert "UN1203" in {each.un for each in fuels_meant("gasoline")}
    assert fuels_meant("") == ()
    assert {each.group for each in shipped_fuels()} == {"hydrocarbon", "polar", "blend", "unknown", "not_foam"}


def test_draw_of_water_and_preventive_blanket() -> None:
    """P5: 3.158 % of water where 3 % was read before has moved 5.26 %. D6: 100 m² take 20 L/min of upkeep."""
    drawn = ["--drawn", "1 gal", "--time", "20 s", "--flow", "95 gpm", "--water-baseline", "3"]
    assert figure(answered("proportioning", "--percent", "3", *drawn), "moved")[0] == pytest.approx(5.263, abs=0.001)
    told = answered("preventive", "--area", "100 m2", "--percent", "3", "--units", "metric")
    assert figure(told, "upkeep") == (pytest.approx(20), "L/min")


def test_hot_liquid_is_not_for_foam() -> None:
    """Water boils at 212 °F."""
    asked = ["--fuel", "diesel fuel", "--kind", "AFFF", "--percent", "3", "--area", "900 ft2"]
    assert answered("spill", *asked, "--liquid-temperature", "212 F")["refused"] is None
    assert "hotter than 212 °F" in answered("spill", *asked, "--liquid-temperature", "213 F")["refused"]
    assert "runs or falls" in answered("spill", *asked, "--running")["refused"]
