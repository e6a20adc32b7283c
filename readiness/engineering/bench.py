"""A rig laid out for judging: its containers read, what each line reaches, and the lines already run."""

from datetime import date
from typing import NamedTuple

from readiness.engineering.holding import Held, Holding, hold
from readiness.engineering.lines import Running, run_line
from readiness.engineering.records import LOOSE, Concentrate, Line, Policy, Rig
from readiness.engineering.steps import Say
from readiness.engineering.tasks import Task


class Stock(NamedTuple):
    """Usable volume on a day [L] and in how many containers, without and with what is in doubt."""

    firm_l: float
    firm_containers: int
    all_l: float
    all_containers: int


class Stockpile:
    """The containers that feed the same lines with one concentrate. Keeps the sums of each day it was asked for."""

    __slots__ = ("_known", "held", "in_doubt")

    def __init__(self, held: tuple[Held, ...]) -> None:
        self.held = held
        self.in_doubt = bool([each for each in held if each.firm_through != each.soft_through])
        self._known: dict[date, Stock] = {}

    def on(self, day: date) -> Stock:
        """What counts on a day."""
        known = self._known.get(day)
        if known is None:
            known = self._known[day] = self._summed(day)
        return known

    def _summed(self, day: date) -> Stock:
        firm = [held.ml for held in self.held if held.firm_through >= day]
        firm_l = sum(firm) / 1000
        if not self.in_doubt:
            return Stock(firm_l, len(firm), firm_l, len(firm))
        every = [held.ml for held in self.held if held.soft_through >= day]
        return Stock(firm_l, len(firm), sum(every) / 1000, len(every))


class Bench:
    """A rig laid out for judging: its containers read, what each line reaches, and the lines already run."""

    __slots__ = ("held", "holdings", "lines", "piles", "policy", "reach", "rig", "runs", "setups")

    def __init__(self, rig: Rig, policy: Policy) -> None:
        self.rig = rig
        self.policy = policy
        self.lines = {line.id: line for line in rig.lines}
        ends: dict[int, date | None] = {}
        self.holdings: dict[int, Holding] = {each.id: hold(each, policy, ends) for each in rig.containers}
        self.held = [each.held for each in self.holdings.values() if each.held is not None]
        loose = [each.id for each in rig.containers if each.kind in LOOSE]
        self.reach = {line.id: self._reached(line, loose) for line in rig.lines}
        self.setups = self._setups()
        self.runs: dict[tuple[object, ...], Running] = {}
        self.piles: dict[tuple[int, int], Stockpile] = {}

    def _reached(self, line: Line, loose: list[int]) -> dict[int, tuple[Holding, ...]]:
        """Holdings that feed a line, by concentrate: its own tanks, and pails only where it draws by tube."""
        ids = dict.fromkeys([*line.sources, *loose] if line.pails else line.sources)  # each counts once
        found: dict[int, list[Holding]] = {}
        for container_id in ids:
            holding = self.holdings.get(container_id)
            if holding is not None and holding.concentrate is not None:
                found.setdefault(holding.concentrate.id, []).append(holding)
        return {concentrate_id: tuple(holdings) for concentrate_id, holdings in found.items()}

    def pile(self, line_id: int, concentrate_id: int) -> Stockpile:
        """What counts, on some day, of the concentrate that a line reaches."""
        pile = self.piles.get((line_id, concentrate_id))
        if pile is None:
            holdings = self.reach[line_id].get(concentrate_id, ())
            pile = Stockpile(tuple([each.held for each in holdings if each.held is not None]))
            self.piles[line_id, concentrate_id] = pile
        return pile

    def _setups(self) -> list[tuple[list[Line], list[Concentrate]]]:
        """The lines and concentrates of each declared setup; without any declared, of each line by itself."""
        declared = self.rig.setups or [(line.id,) for line in self.rig.lines]
        return [([self.lines[line_id] for line_id in setup], self._shared(setup)) for setup in declared]

    def _shared(self, setup: tuple[int, ...]) -> list[Concentrate]:
        """The concentrates that every line of the setup reaches, in the order of the containers."""
        first = self.reach[setup[0]]
        others = [self.reach[line_id] for line_id in setup[1:]]
        shared = [key for key in first if not others or all(key in each for each in others)]
        return [concentrate for key in shared if (concentrate := first[key][0].concentrate) is not None]

    def run(self, line: Line, nozzle_lpm: float, concentrate: Concentrate, task: Task, say: Say) -> Running:
        """The line as it would run; worked once for all duties that ask the same of it."""
        key = (line.id, nozzle_lpm, concentrate.id, task.pct, task.aspirating, task.asks_test, task.foam)
        known = self.runs.get(key)
        if known is None or say is not None:
            known = self.runs[key] = run_line(
                line,
                nozzle_lpm,
                concentrate,
                task.pct,
                aspirating=task.aspirating,
                policy=self.policy,
                asks_test=task.asks_test,
                foam=task.foam,
                say=say,
            )
        return known
