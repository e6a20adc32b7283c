"""What would cure a line for a duty: each change tried by judging the rig again with it, the result beside it.

Nothing here is an opinion: a trial is the same judge on the same rig with one thing changed, so a trial that cures
nothing is shown as such. What is tried follows from what is wrong:

- does not pick up: one coupled length after another off the last leg; a tip of the same flow rated at 75 psi;
- inlet off the plate: the plate's inlet;
- the pump drives too little or too much through the line: the pressure that its nozzle's own flow takes;
- stands at another setting than the duty needs: that setting;
- rate short: each other line of the rig run with it, and a second line like this one;
- lean for want of feed: a tip as large as the feed allows;
- dry before the time: a tip as small as the duty allows;
- wrong or unlisted foam: each of the department's concentrates, in the same volume;
- always: every other gallonage of the ring, and every nozzle and proportioner aboard that is not on this line.
"""

from collections.abc import Iterator
from datetime import date
from math import isclose, sqrt
from typing import Final, Literal, NamedTuple

from readiness.engineering.judging import judge
from readiness.engineering.lines import driven_lpm, with_nozzle
from readiness.engineering.nozzles import LOW_PRESSURE_KPA, k_factor, nozzle_pressure_kpa
from readiness.engineering.operating import pump_for_kpa
from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import (
    LOOSE,
    RANK,
    Answer,
    Concentrate,
    Container,
    Hose,
    Line,
    Lot,
    Moment,
    Part,
    Policy,
    Rig,
)

TrialKind = Literal[
    "length",
    "inlet",
    "pump",
    "setting",
    "ring",
    "tip",
    "nozzle",
    "proportioner",
    "together",
    "second_line",
    "concentrate",
]
_NEARLY: Final = 1e-6
_PLACES: Final = 9  # of a share; beyond them is noise
_NEW: Final = -1  # id of what is not aboard
_WRONG_FOAM: Final = frozenset({"wrong_foam", "not_listed", "no_listed_rate", "listing_by_group"})
_DRY: Final = frozenset({"runs_dry", "short_of_textbook", "hold_back_short"})
_BY_PUMP: Final = frozenset({"pump_low", "branch_low", "feed_lean", *_DRY})


class Nozzle(NamedTuple):
    """A nozzle aboard. pressure_kpa: what it is rated at; None = not known."""

    id: int
    name: str
    flow_lpm: float
    pressure_kpa: float | None = None
    aspirating: bool = False
    rings_lpm: tuple[float, ...] = ()


class Proportioner(NamedTuple):
    """A proportioner aboard, as the columns of a line that it would give."""

    id: int
    name: str
    offered: frozenset[int]
    thick_ok: bool
    rated_lpm: float | None
    max_feed_lpm: float | None


class Gear(NamedTuple):
    """What is aboard and not on the line, and what the department could fill in."""

    nozzles: tuple[Nozzle, ...] = ()
    proportioners: tuple[Proportioner, ...] = ()
    concentrates: tuple[Concentrate, ...] = ()


class Trial(NamedTuple):
    """One change and what the judge says to it. Only what was changed is set: m, L/min, kPa, names."""

    kind: TrialKind
    aboard: bool  # whether it takes nothing that is not on the rig
    answer: Answer
    cures: bool  # whether the duty is better off than before
    length_m: float | None = None  # of the leg that was cut
    dropped: int = 0  # lengths
    flow_lpm: float | None = None
    pressure_kpa: float | None = None
    pct: int = 0
    name: str = ""


def trials(rig: Rig, line: Line, duty_id: int, policy: Policy, moment: Moment, gear: Gear) -> tuple[Trial, ...]:
    """Every change that what is wrong with this line for this duty suggests, those that cure first.

    The line is judged by itself, as on its card. Raises ``KeyError`` for a duty the rig does not have.
    """
    alone = rig._replace(
        lines=(line,),
        setups=((line.id,),),
        duties=tuple(each for each in rig.duties if each.id == duty_id),
    )
    if not alone.duties:
        raise KeyError(duty_id)
    before = _answer(alone, policy, moment)
    bench = _Bench(alone, line, before, policy, moment, gear)
    tried = [*bench.shorter(), *bench.at_plate(), *bench.pumped(), *bench.turned(), *bench.rings(), *bench.tips()]
    tried += [*bench.nozzles(), *bench.proportioners(), *bench.together(rig.lines), *bench.second(), *bench.refills()]
    return tuple(sorted(tried, key=lambda each: (not each.cures, not each.aboard)))


def _answer(rig: Rig, policy: Policy, moment: Moment) -> Answer:
    return judge(rig, policy, moment).answers[0]


def score(answer: Answer) -> tuple[int, int, float]:
    """What two answers are compared by: status, then how much is wrong, then the covered share; less is better."""
    wrong = sum(each.severity != "note" for each in answer.deficiencies)
    return RANK[answer.status], wrong, -round(min(1.0, answer.share), _PLACES)


class _Bench:
    """A line alone with a duty, and the changes that are tried on it."""

    def __init__(self, rig: Rig, line: Line, before: Answer, policy: Policy, moment: Moment, gear: Gear) -> None:
        self.rig, self.line, self.before = rig, line, before
        self.policy, self.moment, self.gear = policy, moment, gear
        self.codes = {each.code for each in before.deficiencies}

    def tried(self, kind: TrialKind, aboard: bool, line: Line, *more: Line, rig: Rig | None = None) -> Trial:
        """Judge the rig with the line changed, alone or together with more."""
        lines = (line, *more)
        changed = (rig or self.rig)._replace(lines=lines, setups=(tuple(each.id for each in lines),))
        answer = _answer(changed, self.policy, self.moment)
        return Trial(kind, aboard, answer, score(answer) < score(self.before))

    def shorter(self) -> Iterator[Trial]:
        """The fewest lengths that must come off the last leg; nothing where even one length left is too long."""
        lay = self.line.lay
        if lay is None or not lay.hose or "no_pick_up" not in self.codes:
            return
        last = lay.hose[-1]
        for dropped, length_m in enumerate(shorter_lengths_m(last), 1):
            cut = lay._replace(hose=(*lay.hose[:-1], last._replace(length_m=length_m)))
            trial = self.tried("length", True, self.line._replace(lay=cut))
            if all(each.code != "no_pick_up" for each in trial.answer.deficiencies):
                yield trial._replace(length_m=length_m, dropped=dropped)
                return

    def at_plate(self) -> Iterator[Trial]:
        """The inlet pressure that the plate asks for."""
        lay = self.line.lay
        if lay is not None and lay.rated_inlet_kpa is not None and self.codes & {"inlet_low", "inlet_high"}:
            line = self.line._replace(lay=lay._replace(inlet_kpa=lay.rated_inlet_kpa))
            yield self.tried("inlet", True, line)._replace(pressure_kpa=lay.rated_inlet_kpa)

    def pumped(self) -> Iterator[Trial]:
        """The pump pressure that the nozzle's own flow takes, where what is wrong comes of another."""
        lay, own_lpm = self.line.lay, self.line.flow_lpm
        if lay is None or self.line.rated_lpm is not None or not self.codes & _BY_PUMP:
            return
        kpa = pump_for_kpa(lay, own_lpm)
        if kpa > 0 and not isclose(driven_lpm(lay, own_lpm), driven_lpm(lay._replace(inlet_kpa=kpa), own_lpm)):
            line = self.line._replace(lay=lay._replace(inlet_kpa=kpa))
            yield self.tried("pump", True, line)._replace(pressure_kpa=kpa)

    def turned(self) -> Iterator[Trial]:
        """The setting that the duty needs, where the line stands at another and offers it."""
        pct = self.before.pct
        if "setting_not_parked" in self.codes and pct in self.line.offered and pct != self.line.present:
            yield self.tried("setting", True, self.line._replace(present=pct))._replace(pct=pct)

    def rings(self) -> Iterator[Trial]:
        """Every other gallonage of the ring, held there."""
        for ring in self.line.rings_lpm:
            if not isclose(ring, self.line.flow_lpm, rel_tol=_NEARLY):
                yield self.tried("ring", True, at_flow(self.line, ring))._replace(flow_lpm=ring)

    def tips(self) -> Iterator[Trial]:
        """A tip that is not aboard: 75 psi, as large as the feed allows, as small as the duty allows.

        Unlike branches behind a wye have nozzles of their own: which of them to change is left to the officer.
        """
        lay = self.line.lay
        if lay is not None and lay.branches:
            return
        if lay is not None and "no_pick_up" in self.codes and lay.nozzle_kpa > LOW_PRESSURE_KPA:
            line = at_flow(self.line, self.line.flow_lpm, LOW_PRESSURE_KPA)
            trial = self.tried("tip", self._carried(line.flow_lpm, LOW_PRESSURE_KPA), line)
            yield trial._replace(flow_lpm=line.flow_lpm, pressure_kpa=LOW_PRESSURE_KPA)
        for flow in self._tips_of():
            yield self.tried("tip", self._carried(flow, None), at_flow(self.line, flow))._replace(flow_lpm=flow)

    def _carried(self, flow_lpm: float, pressure_kpa: float | None) -> bool:
        """Whether such a tip lies aboard."""
        alike = [each for each in self.gear.nozzles if isclose(each.flow_lpm, flow_lpm, rel_tol=_NEARLY)]
        return any(
            pressure_kpa is None or isclose(each.pressure_kpa or 0, pressure_kpa, rel_tol=_NEARLY) for each in alike
        )

    def _tips_of(self) -> Iterator[float]:
        """The tips that flow so much, by their own flow; an eductor's nozzle has to match it."""
        line, answer = self.line, self.before
        if line.rated_lpm is not None or not answer.setup:
            return
        if "feed_lean" in self.codes and line.max_feed_lpm is not None:
            yield tip_for_lpm(line, line.max_feed_lpm * WHOLE / answer.pct)
        if self.codes & _DRY and answer.duration_min and answer.draw_lpm:
            draw = answer.draw_lpm / answer.flow_lpm
            flow = tip_for_lpm(line, answer.usable_l / (draw * answer.duration_min))
            if answer.required_lpm * (1 - _NEARLY) <= flow < line.flow_lpm:
                yield flow

    def nozzles(self) -> Iterator[Trial]:
        """Every nozzle aboard that is not on the line; none where unlike branches have nozzles of their own."""
        branched = self.line.lay is not None and self.line.lay.branches
        for nozzle in () if branched else self.gear.nozzles:
            for flow in nozzle.rings_lpm or (nozzle.flow_lpm,):
                line = at_flow(self.line, flow, nozzle.pressure_kpa)._replace(aspirating=nozzle.aspirating)
                yield self.tried("nozzle", True, line)._replace(
                    flow_lpm=flow, name=nozzle.name, pressure_kpa=nozzle.pressure_kpa
                )

    def proportioners(self) -> Iterator[Trial]:
        """Every proportioner aboard that is not on the line; what was tested with the other proves nothing of it."""
        for each in self.gear.proportioners:
            line = self.line._replace(
                proportioner_id=each.id,
                offered=each.offered,
                thick_ok=each.thick_ok,
                rated_lpm=each.rated_lpm,
                max_feed_lpm=each.max_feed_lpm,
                parked=None,
                present=None,
                tests=(),
            )
            yield self.tried("proportioner", True, line)._replace(name=each.name, flow_lpm=each.rated_lpm)

    def together(self, lines: tuple[Line, ...]) -> Iterator[Trial]:
        """Every other line of the rig, run with this one."""
        for other in lines if "rate_short" in self.codes else ():
            if other.id != self.line.id:
                yield self.tried("together", True, self.line, other)._replace(name=other.name)

    def second(self) -> Iterator[Trial]:
        """A second line like this one: an eductor of its own, or the same feed shared."""
        if "rate_short" in self.codes:
            yield self.tried("second_line", False, self.line, second_line(self.line))._replace(
                flow_lpm=self.line.flow_lpm
            )

    def refills(self) -> Iterator[Trial]:
        """Each of the department's concentrates in place of what feeds the line, in the same volume."""
        if not self.codes & _WRONG_FOAM:
            return
        for concentrate in self.gear.concentrates:
            yield self.tried("concentrate", False, self.line, rig=refilled(self.rig, self.line, concentrate))._replace(
                name=concentrate.name
            )


def shorter_lengths_m(leg: Hose) -> tuple[float, ...]:
    """What is left of a leg as its coupled lengths come off one by one [m]; at least one length stays.

    >>> shorter_lengths_m(Hose(15.5, 45.72, 15.24))
    (30.48, 15.24)
    """
    lengths = round(leg.length_m / leg.section_m)
    left = [leg.length_m - leg.section_m * dropped for dropped in range(1, lengths)]
    return tuple([round(each, 6) for each in left if each > _NEARLY])


def at_flow(line: Line, flow_lpm: float, pressure_kpa: float | None = None) -> Line:
    """A line with a nozzle of another flow, held there, rated as its own is or at a pressure [L/min, kPa].

    Where the nozzle was known by its K it still is.
    """
    lay = with_nozzle(line, flow_lpm)
    if lay is not None and pressure_kpa:
        k = None if lay.nozzle_k is None else k_factor(flow_lpm, pressure_kpa)
        lay = lay._replace(nozzle_kpa=pressure_kpa, nozzle_k=k)
    return line._replace(flow_lpm=flow_lpm, rings_lpm=(), lay=lay)


def tip_for_lpm(line: Line, flow_lpm: float) -> float:
    """Own flow of the tip, rated as the line's is, through which the pump drives so much [L/min].

    Less than that where the pump leaves it more than the pressure of its own flow: flow × √(own pressure ÷ what is
    left). flow_lpm [L/min].
    """
    lay = with_nozzle(line, flow_lpm)
    if lay is None or lay.nozzle_k is None or driven_lpm(lay, flow_lpm) <= flow_lpm:
        return flow_lpm
    own_kpa = nozzle_pressure_kpa(lay.nozzle_k, flow_lpm)
    left_kpa = own_kpa + lay.inlet_kpa - pump_for_kpa(lay, flow_lpm)
    return flow_lpm * sqrt(own_kpa / left_kpa)


def second_line(line: Line) -> Line:
    """A line like another: an eductor with a feed of its own beside the first, or one more on the same feed."""
    shared = line.proportioner_id or -line.id
    own = -line.id - 1
    return line._replace(
        id=own, name=f"second {line.name}", proportioner_id=own if line.rated_lpm is not None else shared
    )


def refilled(rig: Rig, line: Line, concentrate: Concentrate) -> Rig:
    """The rig with what feeds a line replaced, in the same volume, by a fresh lot of a concentrate."""
    lot, feeds = Lot(_NEW, "", concentrate, date.max, None, False), set(line.sources)
    return rig._replace(
        containers=tuple(
            _filled(each, lot) if each.id in feeds or (line.pails and each.kind in LOOSE) else each
            for each in rig.containers
        )
    )


def _filled(container: Container, lot: Lot) -> Container:
    """Drained, flushed, inspected and filled: the sample and the marks were of what it held before."""
    return container._replace(parts=(Part(lot, container.book_ml),), sample=None, mixed=False, diluted=False)
