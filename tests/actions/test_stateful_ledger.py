"""The ledger beside a dictionary of lists that knows nothing of it (Hypothesis, on whichever database is set).

After every step: what the ledger keeps is what the dictionary has, every lot's volume in the world is conserved, and a
refused step has left nothing behind.
"""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction

import pytest
from django.db import connection, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from readiness.actions import movements
from readiness.actions.drafts import Refused
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.models import Container, Holding, Movement, MovementLine
from readiness.models.movements import Account
from readiness.reports.recounts import recount
from tests.cast import CLOCK, Cast

# Tens, so that no container comes within the tolerance of rounding, which has tests of its own.
VOLUMES = st.integers(min_value=-1, max_value=1_200).map(lambda tens: tens * 10)
CAPACITIES = [1_000, 10_000, 50_000]


class Ledger(RuleBasedStateMachine):
    """Two lots of one concentrate and one lot of another; three containers at the start, more on the way."""

    containers = Bundle("containers")
    moved = Bundle("moved")

    def __init__(self) -> None:
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.cast = Cast()
        self.lots = {"AR-1": self.cast.lot, "AR-2": self.cast.other_lot, "A-1": self.cast.class_a_lot}
        self.held: dict[int, list[tuple[str, int]]] = defaultdict(list)  # container -> (batch, ml) in turn
        self.outside: dict[str, int] = defaultdict(int)
        self.capacity: dict[int, int] = {}
        self.made = 0

    def teardown(self) -> None:
        connection.check_constraints()
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    def entry(self, **values: object) -> Entry:
        return Entry(self.cast.department, OWNER, CLOCK, **values)

    def kinds(self, container: int) -> set[str]:
        """Concentrates that have been in a container at all: it was never flushed in this test."""
        return {batch.split("-")[0] for batch, _ in self.held[container]}

    def lot_ml(self, container: int) -> dict[str, int]:
        sums: dict[str, int] = defaultdict(int)
        for batch, ml in self.held[container]:
            sums[batch] += ml
        return sums

    def total(self, container: int) -> int:
        return sum(ml for _, ml in self.held[container])

    @initialize(target=containers)
    def first(self) -> int:
        return self.add(CAPACITIES[2])

    @rule(target=containers, capacity=st.sampled_from(CAPACITIES))
    def add(self, capacity: int) -> int:
        made = self.cast.tank(capacity_ml=capacity)
        self.capacity[made.pk] = capacity
        return made.pk

    @rule(target=moved, container=containers, batch=st.sampled_from(["AR-1", "AR-2", "A-1"]), ml=VOLUMES)
    def receive(self, container: int, batch: str, ml: int) -> object:
        fits = ml > 0 and self.total(container) + ml <= self.capacity[container]
        suits = self.kinds(container) <= {batch.split("-")[0]}
        row = Container.objects.get(pk=container)
        return self.expect(
            fits and suits,
            lambda: movements.receive(self.entry(), container=row, lot=self.lots[batch], ml=ml),
            lambda: (self.held[container].append((batch, ml)), self.out(batch, -ml)),
        )

    @rule(target=moved, container=containers, ml=VOLUMES, account=st.sampled_from([Account.DRILL, Account.LEAK]))
    def use(self, container: int, ml: int, account: Account) -> object:
        row = Container.objects.get(pk=container)
        before = dict(self.lot_ml(container))
        return self.expect(
            0 < ml <= self.total(container),
            lambda: movements.use(self.entry(), container=row, ml=ml, account=account),
            lambda: self.drawn(container, before, ml, None),
        )

    @rule(target=moved, source=containers, into=containers, ml=VOLUMES)
    def pour(self, source: int, into: int, ml: int) -> object:
        fits = 0 < ml <= self.total(source) and self.total(into) + ml <= self.capacity[into]
        suits = not self.kinds(into) or self.kinds(source) == self.kinds(into)
        before = dict(self.lot_ml(source))
        one, other = Container.objects.get(pk=source), Container.objects.get(pk=into)
        return self.expect(
            fits and suits and source != into,
            lambda: movements.pour(self.entry(), source=one, target=other, ml=ml),
            lambda: self.drawn(source, before, ml, into),
        )

    def drawn(self, source: int, before: dict[str, int], ml: int, target: int | None) -> None:
        """Take over what the ledger drew of each lot after checking it: exact in sum, within 1 mL of its share."""
        last = Movement.objects.order_by("-id").first()
        parts = dict(
            MovementLine.objects.filter(movement=last, container=source)
            .values_list("lot__batch")
            .annotate(ml=Sum("ml"))
        )
        assert sum(parts.values()) == -ml
        for batch, held in before.items():
            share = Fraction(ml * held, sum(before.values()))
            assert abs(-parts.get(batch, 0) - share) < 1
        for batch, part in parts.items():
            self.held[source].append((batch, part))
            if target is None:
                self.out(batch, -part)
            else:
                self.held[target].append((batch, -part))

    @rule(movement=moved)
    def correct(self, movement: object) -> None:
        if movement is None:
            return
        row = Movement.objects.get(pk=movement)
        lines = list(row.lines.values_list("container", "account", "lot__batch", "ml"))
        after: dict[tuple[int, str], int] = defaultdict(int)
        for container, _, batch, ml in lines:
            if container:
                after[container, batch] -= ml
        possible = not Movement.objects.filter(corrects=row).exists()
        possible &= all(self.lot_ml(c)[batch] + ml >= 0 for (c, batch), ml in after.items())
        containers = {container for container, _ in after}
        possible &= all(
            self.total(c) + sum(ml for (each, _), ml in after.items() if each == c) <= self.capacity[c]
            for c in containers
        )
        if possible and row.markings.filter(mark="concentrate").exists():
            return  # a correction that also takes the name off a container has a test of its own
        self.expect(
            possible,
            lambda: movements.correct(self.entry(reason="typed wrongly"), movement=row),
            lambda: self.reversed(lines),
        )

    def reversed(self, lines: list[tuple[int | None, str, str, int]]) -> None:
        for container, _, batch, ml in lines:
            if container:
                self.held[container].append((batch, -ml))
            else:
                self.out(batch, -ml)

    def out(self, batch: str, ml: int) -> None:
        self.outside[batch] += ml

    def expect(self, possible: bool, act: object, then: object) -> object:
        before = Movement.objects.count(), MovementLine.objects.count()
        if not possible:
            with pytest.raises(Refused):
                act()
            assert (Movement.objects.count(), MovementLine.objects.count()) == before
            return None
        posted = act()
        then()
        return posted.movement_id

    @invariant()
    def fold_is_what_is_kept(self) -> None:
        for container in self.capacity:
            holdings = dict(Holding.objects.filter(container=container).values_list("lot__batch", "ml"))
            assert holdings == {batch: ml for batch, ml in self.lot_ml(container).items() if ml}
            assert Container.objects.get(pk=container).contents_ml == self.total(container)
        assert recount(self.cast.department).differences == ()

    @invariant()
    def every_lot_is_conserved(self) -> None:
        for batch in self.lots:
            inside = sum(self.lot_ml(container)[batch] for container in self.capacity)
            assert inside + self.outside[batch] == 0


@pytest.mark.django_db
def test_the_ledger_beside_a_dictionary() -> None:
    run_state_machine_as_test(
        Ledger,
        settings=settings(
            max_examples=25,
            stateful_step_count=20,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
        ),
    )
