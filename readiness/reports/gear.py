"""What is aboard a rig and not on a line, and what its department could fill in: what a cure may be tried with."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Q

from readiness.engineering import cures
from readiness.engineering import records as r
from readiness.models import Appliance, FoamLine
from readiness.models.fleet import ApplianceKind, ServiceState
from readiness.reports.fleet import Scope, concentrates_in
from readiness.reports.lays import EDUCTORS, KINDS

NOZZLES = (
    ApplianceKind.NOZZLE,
    ApplianceKind.SMOOTH_BORE_TIP,
    ApplianceKind.FOG_NOZZLE,
    ApplianceKind.ASPIRATING_TUBE,
    ApplianceKind.MONITOR,
)


class Aboard:
    """The appliances of a rig and the concentrates of its department, read once."""

    def __init__(self, rig: r.Rig, department: int) -> None:
        owned = Q(unit=rig.unit_id)
        if rig.vehicle is not None:
            owned |= Q(vehicle=rig.vehicle.id)
        rows = Appliance.objects.filter(owned).exclude(state=ServiceState.OUT).order_by("id")
        self.appliances = list(rows)
        lines = FoamLine.objects.filter(pk__in=[line.id for line in rig.lines])
        self.nozzle_of: dict[int, int | None] = dict(lines.values_list("pk", "nozzle"))
        self.concentrates = tuple(concentrates_in(Scope([department], None)).values())

    def beside(self, line: r.Line) -> cures.Gear:
        """What a line could be given: every nozzle but its own, and another eductor where it has one."""
        return cures.Gear(
            nozzles=tuple(self._nozzles(self.nozzle_of.get(line.id))),
            proportioners=tuple(self._eductors(line)) if line.rated_lpm is not None else (),
            concentrates=self.concentrates,
        )

    def _nozzles(self, own: int | None) -> Iterable[cures.Nozzle]:
        for each in self.appliances:
            if each.kind in NOZZLES and each.pk != own and each.rated_flow_lpm:
                rings = tuple(float(ring) for ring in each.rings_lpm or ())
                yield cures.Nozzle(
                    each.pk, each.name, each.rated_flow_lpm, each.rated_pressure_kpa, each.aspirating, rings
                )

    def _eductors(self, line: r.Line) -> Iterable[cures.Proportioner]:
        for each in self.appliances:
            if KINDS.get(each.kind) in EDUCTORS and each.pk != line.proportioner_id and each.rated_flow_lpm:
                yield cures.Proportioner(
                    each.pk,
                    each.name,
                    frozenset(each.settings_pct),
                    each.accepts_thick,
                    each.rated_flow_lpm,
                    each.foam_feed_lpm,
                )
