"""What stands between pump, proportioner and tip of a line, from the columns that say so, as the judge wants it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final, NamedTuple

from readiness.engineering import records as r
from readiness.engineering.hydraulics import COEFFICIENTS, coefficient_of
from readiness.engineering.nozzles import k_factor, nozzle_flow_lpm, nozzle_pressure_kpa, smooth_bore_k
from readiness.engineering.operating import inlet_from_pump_kpa
from readiness.models.foam_lines import LegPart
from readiness.models.hoses import SECTION_M, HoseSize

KINDS: Final[Mapping[str, r.ProportionerKind]] = {
    "in-line eductor": "in_line",
    "by-pass eductor": "by_pass",
    "around-the-pump": "around",
    "balanced pressure": "balanced",
    "direct injection": "injection",
    "self-educting nozzle": "self",
    "portable kit": "kit",
    "batch mix": "batch",
}
EDUCTORS: Final = frozenset({"in_line", "by_pass", "kit"})
_DEAD_KPA: Final = 1.0  # an inlet to which hose leaves nothing: it cannot pick up, and 0 divides nothing

Table = Mapping[tuple[int, float], tuple[float, float]]  # (department, inches): C, length of a section [m]
PUBLISHED: Final = {float(size): (coefficient, SECTION_M) for size, coefficient in COEFFICIENTS.items()}


class LayRow(NamedTuple):
    """What a line says of its lay."""

    inlet_kpa: float | None
    nozzle_kpa: float | None
    appliance_loss_kpa: float
    height_m: float
    lift_m: float
    tube_original: bool
    pump_kpa: float | None
    intake_kpa: float | None
    wye_lines: int


class PartRow(NamedTuple):
    """What its proportioner's plate says."""

    id: int
    kind: str
    settings_pct: Any
    foam_feed_lpm: float | None
    accepts_thick: bool
    rated_flow_lpm: float | None
    rating_basis: str
    plate_back_pressure_kpa: float | None
    plate_lift_m: float | None
    state: str
    least_flow_lpm: float | None
    greatest_intake_kpa: float | None
    aspirating: bool
    rated_pressure_kpa: float | None
    bore_m: float | None
    discharge: float | None
    holds_pressure: bool


class TipRow(NamedTuple):
    """What its nozzle says; all empty where it has none."""

    aspirating: bool | None
    rated_flow_lpm: float | None
    rings_lpm: Any
    state: str | None
    rated_pressure_kpa: float | None
    bore_m: float | None
    discharge: float | None
    holds_pressure: bool | None


class LegRow(NamedTuple):
    """A stretch of hose."""

    n: int
    part: str
    diameter_in: Decimal
    length_m: float
    branch: int = 0  # from 1 on: of unlike branches behind a wye
    nozzle: TipRow | None = None  # of the branch; None: the line's


LEG_COLUMNS: Final = ("n", "part", "diameter_in", "length_m", "branch")


def leg_of(row: Sequence[Any]) -> LegRow:
    """A stretch of hose from its columns, those of its branch's nozzle last."""
    n, part, diameter_in, length_m, branch, *nozzle = row
    tip = TipRow(*nozzle)
    return LegRow(n, part, diameter_in, length_m, branch, None if tip.state is None else tip)


def kind_of(part: PartRow) -> r.ProportionerKind:
    """The kind of a proportioner; whatever else stands in a line's place lets the water pass, as injection does."""
    return KINDS.get(part.kind, "injection")


def tip_of(part: PartRow, tip: TipRow) -> TipRow:
    """The nozzle of a line: a nozzle that draws by itself is both parts in one."""
    if kind_of(part) != "self" or tip.state is not None:
        return tip
    return TipRow(part.aspirating, part.rated_flow_lpm, (), part.state, *part[-4:])


def bore_k(tip: TipRow, lines: int) -> float | None:
    """K of the smooth bores of all lines together; None where the nozzle is none."""
    return None if tip.bore_m is None else lines * smooth_bore_k(tip.bore_m, tip.discharge)


def flow_of(flow_lpm: float | None, row: LayRow, part: PartRow, tip: TipRow, legs: Iterable[LegRow] = ()) -> float:
    """The line's own flow, else its bore's at the nozzle pressure, else the nozzle's, else the proportioner's.

    Of unlike branches behind a wye the sum of their nozzles', whatever the line states.
    """
    branched = [_nozzle_flow(None, _alone(row, each), each) for each in _tips(legs, tip).values()]
    known = [each for each in branched if each is not None]
    if known and len(known) == len(branched):
        return sum(known)
    for each in (_nozzle_flow(flow_lpm, row, tip), part.rated_flow_lpm):
        if each is not None:
            return each
    raise ValueError("the line states no flow, nor does its nozzle or proportioner")


def _nozzle_flow(stated_lpm: float | None, row: LayRow, tip: TipRow) -> float | None:
    """The flow that is stated, else a bore's at the nozzle pressure, else the nozzle's own; None where neither is."""
    k = bore_k(tip, row.wye_lines)
    bored = nozzle_flow_lpm(k, row.nozzle_kpa) if k is not None and row.nozzle_kpa is not None else None
    return next((each for each in (stated_lpm, bored, tip.rated_flow_lpm) if each is not None), None)


def _nozzle(flow_lpm: float, row: LayRow, tip: TipRow) -> tuple[float | None, float | None]:
    """(pressure that the nozzle asks for [kPa], K of all nozzles); no K where it holds its pressure or K is unknown."""
    kpa, k = row.nozzle_kpa, bore_k(tip, row.wye_lines)
    if k is not None:
        return (kpa if kpa is not None else nozzle_pressure_kpa(k, flow_lpm)), k
    kpa = kpa if kpa is not None else tip.rated_pressure_kpa
    if tip.holds_pressure or tip.rated_pressure_kpa is None:
        return kpa, None
    return kpa, k_factor(flow_lpm, tip.rated_pressure_kpa)


def hose_of(department: int, legs: Iterable[LegRow], table: Table) -> dict[str, tuple[r.Hose, ...]]:
    """The hose of a line by where it lies, with the department's coefficients. Raises ``ValueError``: unknown size.

    Under "wye 1", "wye 2" and so on what each of unlike branches has.
    """
    found: dict[str, list[r.Hose]] = {}
    for leg in sorted(legs, key=lambda each: each.n):
        size = float(leg.diameter_in)
        known = table.get((department, size)) or PUBLISHED.get(size)
        if known is None:
            raise ValueError(f"hose of {size:g} in was read, which the table of hose does not have")
        part = f"{leg.part} {leg.branch}" if leg.branch else leg.part
        found.setdefault(part, []).append(r.Hose(known[0], leg.length_m, known[1], size))
    return {part: tuple(hose) for part, hose in found.items()}


def branches_of(
    row: LayRow, tip: TipRow, legs: Iterable[LegRow], hose: Mapping[str, tuple[r.Hose, ...]]
) -> tuple[r.Branch, ...] | None:
    """Unlike branches behind a wye, each with its nozzle or the line's; None where a nozzle's pressure is not known."""
    found = []
    for n, own in _tips(legs, tip).items():
        alone = _alone(row, own)
        flow = _nozzle_flow(None, alone, own)
        if flow is None or alone.nozzle_kpa is None:
            return None
        found.append(r.Branch(hose[f"{LegPart.WYE} {n}"], flow, alone.nozzle_kpa, _nozzle(flow, alone, own)[1]))
    return tuple(found)


def _tips(legs: Iterable[LegRow], tip: TipRow) -> dict[int, TipRow]:
    """The nozzle of each of unlike branches."""
    return {leg.branch: leg.nozzle or tip for leg in sorted(legs, key=lambda each: each.branch) if leg.branch}


def _alone(row: LayRow, tip: TipRow) -> LayRow:
    """The lay of one branch: at the pressure its nozzle is rated at, else at the line's."""
    return row._replace(
        wye_lines=1, nozzle_kpa=row.nozzle_kpa if tip.rated_pressure_kpa is None else tip.rated_pressure_kpa
    )


def lay_of(
    flow_lpm: float,
    row: LayRow,
    part: PartRow,
    tip: TipRow,
    hose: Mapping[str, tuple[r.Hose, ...]],
    branches: tuple[r.Branch, ...] | None = (),
) -> r.Lay | None:
    """The lay of a line; None while pressure, nozzle or hose is not entered."""
    if branches is None:
        return None
    main, before = hose.get(LegPart.LINE, ()), hose.get(LegPart.BEFORE, ())
    nozzle_kpa, k = _nozzle(flow_lpm, row, tip)
    given_kpa = row.inlet_kpa if row.inlet_kpa is not None else row.pump_kpa
    if branches:
        nozzle_kpa, k = max(each.nozzle_kpa for each in branches), None
    if not given_kpa or nozzle_kpa is None or not main:
        return None
    eductor = kind_of(part) in EDUCTORS
    rated_inlet = part.rated_pressure_kpa if eductor else None
    if eductor and row.inlet_kpa is None:
        rated = part.rated_flow_lpm if part.rated_flow_lpm is not None else flow_lpm
        given_kpa = max(_DEAD_KPA, inlet_from_pump_kpa(given_kpa, before, rated, rated_inlet))
    return r.Lay(
        inlet_kpa=given_kpa,
        nozzle_kpa=nozzle_kpa,
        hose=main if eductor or row.inlet_kpa is not None else (*before, *main),
        appliances_kpa=row.appliance_loss_kpa,
        height_m=row.height_m,
        plate_back_pressure_kpa=part.plate_back_pressure_kpa,
        lift_m=row.lift_m,
        plate_lift_m=part.plate_lift_m,
        tube_original=row.tube_original,
        rated_inlet_kpa=rated_inlet,
        nozzle_k=k,
        wye=row.wye_lines,
        wye_hose=hose.get(LegPart.WYE, ()),
        branches=branches,
    )


def hose_by_table(department: int, legs: Iterable[tuple[float, float]]) -> tuple[r.Hose, ...]:
    """Hose of no line, as (length [m], size [in]), by the department's coefficients, else as published."""
    sizes = HoseSize.objects.filter(department=department, retired_on__isnull=True)
    friction = ("coefficient", "loss_kpa", "loss_flow_lpm", "loss_length_m")
    table = {
        (department, float(size)): (coefficient(*loss), section_m)
        for size, section_m, *loss in sizes.values_list("diameter_in", "section_m", *friction)
    }
    rows = [LegRow(n, LegPart.LINE, Decimal(f"{size:g}"), length_m) for n, (length_m, size) in enumerate(legs)]
    return hose_of(department, rows, table).get(LegPart.LINE, ())


def coefficient(published: float, loss_kpa: float | None, flow_lpm: float | None, length_m: float | None) -> float:
    """C of a size of hose: by the department's own measurement where there is one, else as published."""
    if loss_kpa is None or flow_lpm is None or length_m is None:
        return published
    return coefficient_of(loss_kpa, flow_lpm, length_m)
