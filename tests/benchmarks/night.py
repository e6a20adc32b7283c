"""How long the night takes beside a plain read of the same tables, and how that grows with the fleet.

    .venv/bin/python -m tests.benchmarks.night --units 1000 10000 50000

1. For each size a database of its own is made, on SQLite or on the server that DATABASE_URL names, filled with a fleet
   at a prototype's shape (fleet_rows.py) and removed afterwards.
2. All works of a size take turns, the order reversed each round; every one runs in a forked child (harness.py).
3. The floor is a values_list of the columns that the loader needs, table by table, each row looked at and let go.
4. Statements are counted in a run of their own, so that counting slows nothing that is timed.
5. Above 20,000 units the fleet is several departments of 10,000, and the night goes by department.

Run it alone, on an idle machine, and say where the folder lies.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import pickle
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import django

from tests.benchmarks.harness import Cost, Step, in_child, machine, measure, median

ONE_DEPARTMENT = 20_000  # units; above it departments of LARGEST
LARGEST = 10_000
FLOOR = "plain read"
TARGETS = {"load": 3.0, "judge, with holds-until": 4.0, "quiet night": 9.0, "first night": 15.0}
PEAK_MB = 250  # at 10,000 units


class Statements(NamedTuple):
    """How often the database was asked, how often told, and how many rows were new."""

    reads: int
    writes: int
    rows: int


class Row(NamedTuple):
    """One work at one size."""

    work: str
    units: int
    runs: list[Cost]
    statements: Statements

    @property
    def cost(self) -> Cost:
        """The median."""
        return median(self.runs)


def main(arguments: Sequence[str]) -> None:
    """Measure each size in a process of its own on a database of its own; print the tables."""
    options = _options(arguments)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "readiness.settings")
    django.setup()
    if options.answer:
        options.answer.write_bytes(pickle.dumps(measured(options.units[0], options.repeats)))
        return
    print(f"{machine()}; median of {options.repeats}, all works of a size in turn")
    rows: list[Row] = []
    for units in options.units:
        of_size = _in_own_database(units, options)
        rows += of_size
        print(f"\n{table(of_size)}", flush=True)  # the largest takes long: what is known is shown
    print(f"\n{growth(rows)}")
    if options.json:
        options.json.write_text(json.dumps([_plain(row, rows) for row in rows], indent=2) + "\n", encoding="utf-8")


def _options(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Measure the night beside a plain read of the same tables.")
    parser.add_argument("--units", type=int, nargs="+", default=[1_000, 10_000, 50_000], help="sizes of the fleet")
    parser.add_argument("--repeats", type=int, default=3, help="runs of each, of which the median is shown")
    parser.add_argument("--json", type=Path, help="write every run to this file")
    parser.add_argument("--folder", type=Path, help="where the database lies; on a real disk")
    parser.add_argument("--answer", type=Path, help=argparse.SUPPRESS)  # of the process that measures one size
    return parser.parse_args(arguments)


def _in_own_database(units: int, options: argparse.Namespace) -> list[Row]:
    from tests.actions.own_database import ROOT, environment, own_database  # needs Django set up

    with tempfile.TemporaryDirectory(dir=options.folder) as folder, own_database(Path(folder)) as url:
        answer = Path(folder) / "answer"
        sizes = ["--units", str(units), "--repeats", str(options.repeats), "--answer", str(answer)]
        command = [sys.executable, "-m", "tests.benchmarks.night", *sizes]
        subprocess.run(command, env=environment(url), cwd=ROOT, check=True)
        # pickled by the module's name, read by the one that runs
        rows: list[tuple[Any, ...]] = pickle.loads(answer.read_bytes())
    return [Row(work, units, [Cost(*run) for run in runs], Statements(*counts)) for work, units, runs, counts in rows]


# -- in the process that measures --------------------------------------------------------------------------------------


def measured(units: int, repeats: int) -> list[tuple[Any, ...]]:
    """Every work at one size, as plain tuples."""
    departments = in_child(partial(_fleet, units))
    works = _works(departments)
    counts = {name: in_child(partial(_counted, step, in_child(step.prepare))) for name, step in works.items()}
    runs: dict[str, list[Cost]] = {name: [] for name in works}
    order = list(works)
    for turn in range(repeats):
        print(f"{units:,} units, round {turn + 1} of {repeats} …", file=sys.stderr, flush=True)
        for name in order:
            done = 1 if name == BY_DAY else units
            runs[name].append(measure(works[name], done))
        order.reverse()
    return [(name, units, [tuple(run) for run in runs[name]], counts[name]) for name in works]


def _fleet(units: int) -> list[int]:
    from tests.benchmarks.fleet_rows import write_fleet

    sizes = [units]
    if units > ONE_DEPARTMENT:
        sizes = [min(LARGEST, units - start) for start in range(0, units, LARGEST)]
    return [write_fleet(size, name=f"Quay County {n}").pk for n, size in enumerate(sizes)]


BY_DAY = "one unit by day"


def _works(departments: list[int]) -> dict[str, Step]:
    from django.db import connection

    opened = connection.ensure_connection
    held: list[Any] = []
    return {
        FLOOR: Step(_read, partial(list, departments), opened),
        "load": Step(_load, partial(list, departments), opened),
        "judge, with holds-until": Step(partial(_judge, held), list, partial(_hold, held, departments)),
        "first night": Step(_night, partial(_before_the_first, departments), opened),
        "quiet night": Step(_night, partial(_before_a_quiet_one, departments), opened),
        BY_DAY: Step(_one_unit, partial(_something_changes, departments), opened),
    }


def _tables() -> list[tuple[Any, tuple[str, ...]]]:
    """The tables that the loader reads and the columns it needs of each."""
    from readiness import models as m

    owner = ("id", "unit", "vehicle")
    marks = ("mixed", "quarantined", "diluted", "sealed", "opened_on")
    lay = ("inlet_kpa", "nozzle_kpa", "appliance_loss_kpa", "height_m", "lift_m", "tube_original", "unflushed_since")
    settings = ("parked_pct", "present_pct", "wind_loss_pct", "pump_kpa", "intake_kpa", "wye_lines")
    nozzle = ("rated_pressure_kpa", "bore_m", "discharge", "holds_pressure", "least_flow_lpm", "greatest_intake_kpa")
    plate = ("plate_back_pressure_kpa", "plate_lift_m", "rings_lpm", "aspirating", "state", *nozzle)
    measured = ("coefficient", "section_m", "loss_kpa", "loss_flow_lpm", "loss_length_m")
    foam = ("line", "concentrate", "tested_on", "expansion", "quarter_min", "watched_min", "declared_expansion")
    spill = ("area_m2", "use", "purpose", "rate", "rate_unit", "minutes", "supply", "supply_lpm", "hold_min", "rule")
    blanket = ("interval_min", "blanket_depth_m", "blanket_expansion", "drained_pct", "blanket_wind_pct", "category")
    region = ("largest_tank_m2", "monitor_area_m2", "inert_gas", "application", "mobile_means")
    vehicle = ("id", "shop_no", "water_l", "pump_lpm", "foam_feed_lpm", "needs_tow", "state", "dry_chemical_kg")
    stated = ("aspirating", "expansion", "quarter_min")
    gauge = ("unreachable_ml", "reading_ml", "reading_at", "resolution_ml", "place")
    return [
        (m.Policy, ("department", *(field.name for field in m.Policy._meta.fields[2:]))),
        (m.Unit, ("id", "department", "designation", "state", "no_duty_by", "no_duty_review_on", "lines_staffed")),
        (m.Assignment, ("unit", "vehicle")),
        (m.Vehicle, vehicle),
        (m.Place, (*owner, "expected_low_c")),
        (m.Container, ("id", "code", "kind", *gauge, *marks)),
        (m.Holding, ("container", "lot", "ml")),
        (m.Lot, ("id", "batch", "concentrate", "makers_date", "date_precision", "recalled_on")),
        (m.Sample, ("lot", "container", "taken_on", "passed", "good_through")),
        (m.Concentrate, ("id", "name", "kind", "pfas", "lowest_use_c", "shear_thinning")),
        (m.Listing, ("concentrate", "fuel", "fuel_group", "use", "pct", "rate", "rate_unit", "minutes", *stated)),
        (m.Fuel, ("id", "name", "un", "group", "oxygenate_pct", "flash_c", "note")),
        (m.FoamLine, (*owner, "name", "proportioner", "nozzle", "pails", "flow_lpm", *settings, *lay)),
        (m.Appliance, ("id", "kind", "settings_pct", "foam_feed_lpm", "rated_flow_lpm", "rating_basis", *plate)),
        (m.HoseLeg, ("line", "n", "part", "diameter_in", "length_m", "branch", "nozzle")),
        (m.HoseSize, ("department", "diameter_in", *measured)),
        (m.LineSource, ("line", "container")),
        (m.LineTest, ("line", "concentrate", "set_pct", "measured_pct", "tested_on", "passed", "good_through", "band")),
        (m.FoamTest, foam),
        (m.SetupLine, ("setup", "line")),
        (m.Duty, ("unit", "id", "name", "kind", "fuel", *spill, *blanket, *region, "tankfuls", "setting_pct")),
        (m.Check, ("unit", "vehicle", "finished_at")),
    ]


def _read(departments: list[int]) -> int:
    """The floor: every row of every table, looked at and let go."""
    seen = {model.__name__: _count(model, columns) for model, columns in _tables()}
    return seen["Unit"]


def _count(model: Any, columns: tuple[str, ...]) -> int:
    return sum(1 for _ in model.objects.order_by().values_list(*columns).iterator(chunk_size=5_000))


def _load(departments: list[int]) -> int:
    from readiness.reports.fleet import load_rigs
    from tests.benchmarks.fleet_rows import DAY

    return sum(len(load_rigs(day=DAY, departments=[pk]).rigs) for pk in departments)


def _hold(held: list[Any], departments: list[int]) -> None:
    from readiness.reports.fleet import load_rigs
    from tests.benchmarks.fleet_rows import DAY

    held[:] = [load_rigs(day=DAY, departments=[pk]) for pk in departments]


def _judge(held: list[Any], _: list[int]) -> int:
    from readiness.actions.judging import judge_fleet
    from readiness.engineering.records import Moment
    from tests.benchmarks.fleet_rows import DAY, SIX

    return sum(len(judge_fleet(fleet, Moment(SIX, DAY))[0]) for fleet in held)


def _night(departments: list[int]) -> int:
    from readiness.actions.clock import StoppedClock
    from readiness.actions.nights import run_night
    from readiness.models import Department
    from tests.benchmarks.fleet_rows import SIX

    every = Department.objects.filter(pk__in=departments)
    nights = run_night(departments=every, clock=StoppedClock(SIX))
    if any(night.failed for night in nights):
        raise RuntimeError(f"units could not be judged: {nights[0].failed[:3]}")
    return sum(len(night.units) for night in nights)


def _before_the_first(departments: list[int]) -> list[int]:
    """Nothing was ever judged."""
    from readiness import models as m

    for model in (m.Assessment, m.Inputs, m.Deficiency, m.Night):
        model.objects.all()._raw_delete(model.objects.db)
    m.Unit.objects.update(judge_due=True)
    return departments


def _before_a_quiet_one(departments: list[int]) -> list[int]:
    """Everything was judged this night already, by the same facts."""
    _night(departments)
    return departments


def _something_changes(departments: list[int]) -> tuple[int, int]:
    """A night behind it, and then a pail of one unit is set aside, or counted again."""
    from readiness.models import Container, Unit

    _before_a_quiet_one(departments)
    unit = Unit.objects.filter(department=departments[0]).order_by("id").values_list("id", flat=True)[1]
    pail = Container.objects.filter(place__unit=unit).order_by("id").last()
    assert pail is not None
    Container.objects.filter(pk=pail.pk).update(quarantined=not pail.quarantined)
    return departments[0], unit


def _one_unit(state: tuple[int, int]) -> int:
    from readiness.actions.clock import StoppedClock
    from readiness.actions.judging import judge_units
    from readiness.models import Department
    from tests.benchmarks.fleet_rows import SIX

    department = Department.objects.get(pk=state[0])
    judged = judge_units(department, [state[1]], because="movement", clock=StoppedClock(SIX))
    if judged.changed != 1:
        raise RuntimeError("the answer of one unit should have changed")
    return len(judged.units)


def _counted(step: Step, state: Any) -> tuple[int, int, int]:
    """Reads, writes and new rows of one run."""
    from django.db import connection

    from readiness import models as m

    kept = (m.Assessment, m.Inputs, m.Deficiency, m.Night)
    step.ready()
    before = sum(model.objects.count() for model in kept)
    asked: list[str] = []

    def note(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        asked.extend([sql.split(None, 1)[0].upper()] * (len(params) if many else 1))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(note):
        step.run(state)
    writes = sum(word in ("INSERT", "UPDATE", "DELETE") for word in asked)
    rows = sum(model.objects.count() for model in kept) - before
    return asked.count("SELECT"), writes, rows


# -- what people read --------------------------------------------------------------------------------------------------

_COLUMNS = ("work", "units", "seconds", "ratio", "target", "peak MB", "reads", "writes", "new rows")


def table(rows: Sequence[Row]) -> str:
    """Medians, the ratio to the floor of the same size, statements."""
    cells = [_COLUMNS, *(_cells(row, rows) for row in rows)]
    widths = [max(len(line[column]) for line in cells) for column in range(len(_COLUMNS))]
    return "\n".join(
        "  ".join(
            text.ljust(width) if column == 0 else text.rjust(width)
            for column, (text, width) in enumerate(zip(line, widths, strict=True))
        )
        for line in cells
    )


def ratio(row: Row, rows: Sequence[Row]) -> float:
    """How many times the floor's seconds."""
    floor = next(each for each in rows if each.work == FLOOR and each.units == row.units)
    return row.cost.seconds / floor.cost.seconds


def _cells(row: Row, rows: Sequence[Row]) -> tuple[str, ...]:
    told = row.statements
    target = f"{TARGETS[row.work]:g}" if row.work in TARGETS else ""
    counts = (f"{told.reads:,}", f"{told.writes:,}", f"{told.rows:,}")
    cost = row.cost
    return (
        row.work,
        f"{row.units:,}",
        f"{cost.seconds:.3f}",
        f"{ratio(row, rows):.1f}",
        target,
        f"{cost.peak_mb:.0f}",
        *counts,
    )


def growth(rows: Sequence[Row]) -> str:
    """The exponent of each work over the sizes: 1 is linear. Least squares over the logarithms."""
    lines = []
    for work in dict.fromkeys(row.work for row in rows):
        points = [(math.log(row.units), math.log(row.cost.seconds)) for row in rows if row.work == work]
        if len(points) > 1:
            lines.append(f"growth of {work}: units to the power of {_slope(points):.2f}")
    return "\n".join(lines)


def _slope(points: Sequence[tuple[float, float]]) -> float:
    mean_x, mean_y = (sum(values) / len(points) for values in zip(*points, strict=True))
    rise: float = sum((x - mean_x) * (y - mean_y) for x, y in points)
    spread: float = sum((x - mean_x) ** 2 for x, _ in points)
    return rise / spread


def _plain(row: Row, rows: Sequence[Row]) -> dict[str, Any]:
    runs = [run._asdict() for run in row.runs]
    figures = {**row.cost._asdict(), "ratio": ratio(row, rows), **row.statements._asdict()}
    return {"work": row.work, "units": row.units, **figures, "runs": runs}


if __name__ == "__main__":
    main(sys.argv[1:])
