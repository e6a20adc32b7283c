"""Lend, borrow, return, send, lose, set aside and dispose in any order, beside a hand-kept book of pails (Hypothesis).

After every step, for every lot: what is in pails here, on the way, lent and on pallets, and what the accounts outside
have, sum to nothing; the pails are where the hand-kept book has them; and what is owed is lent less returned.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from hypothesis.stateful import run_state_machine_as_test as run_machine

from readiness.actions import loans, movements, transfers
from readiness.actions.deliveries import Delivery, receive_delivery
from readiness.actions.disposals import Load, Manifest, dispose
from readiness.actions.drafts import Refused
from readiness.actions.movements import Entry
from readiness.actions.pallets import set_aside
from readiness.actions.permissions import OWNER
from readiness.models import Container, Holding, MovementLine, Pallet, Transfer
from readiness.reports.loans import owed
from readiness.reports.recounts import recount
from tests.cast import CLOCK, D0, Cast, PartnerFactory

FULL = 10_000
PARTS = st.integers(min_value=1, max_value=9).map(lambda tenths: tenths * 1_000)
LOTS = ["AR-1", "AR-2"]


class Moving(RuleBasedStateMachine):
    """Pails of two lots of one concentrate; one partner, one pallet, one store."""

    def __init__(self) -> None:
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.cast = Cast()
        self.lots = {"AR-1": self.cast.lot, "AR-2": self.cast.other_lot}
        self.partner = PartnerFactory(department=self.cast.department)
        common = {"department": self.cast.department, "station": self.cast.station}
        self.pallet = Pallet.objects.create(name="A", programme="state", **common)
        self.where: dict[str, str] = {}  # code -> here, on the way, lent, pallet, gone
        self.holds: dict[str, tuple[str, int]] = {}  # code -> batch, mL
        self.theirs: set[str] = set()  # codes of borrowed pails
        self.outside: dict[str, int] = defaultdict(int)  # batch -> mL that went out less what came in
        self.owed_ml = 0  # to us (+) or by us (−)
        self.n = 0

    def teardown(self) -> None:
        assert recount(self.cast.department).differences == ()
        connection.check_constraints()
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    def entry(self, reason: str = "as entered") -> Entry:
        return Entry(self.cast.department, OWNER, CLOCK, partner=self.partner, reason=reason)

    def row(self, code: str) -> Container:
        return Container.objects.get(code=code)

    def pick(self, data: st.DataObject, *states: str) -> str:
        """A pail: mostly one with which it can be done, now and then any."""
        fitting = [code for code, where in self.where.items() if where in states]
        return data.draw(st.sampled_from(fitting * 4 + list(self.where)))

    def arrival(self, batch: str) -> tuple[str, Delivery]:
        self.n += 1
        code = f"P{self.n}"
        common = {"kind": "pail", "capacity_ml": FULL, "sealed": True, "owner": self.cast.station}
        return code, Delivery((code,), FULL, self.lots[batch], **common)

    def tried(self, possible: bool, act: Callable[[], object]) -> bool:
        """Done where it can be; refused with a sentence, and with nothing left behind, where it cannot."""
        if possible:
            act()
            return True
        before = MovementLine.objects.count(), Transfer.objects.count()
        with pytest.raises(Refused):
            act()
        assert (MovementLine.objects.count(), Transfer.objects.count()) == before
        return False

    @initialize(batch=st.sampled_from(LOTS))
    def first(self, batch: str) -> None:
        self.receive(batch)

    @rule(batch=st.sampled_from(LOTS))
    def receive(self, batch: str) -> None:
        code, delivery = self.arrival(batch)
        receive_delivery(self.entry(), delivery)
        self.where[code], self.holds[code] = "here", (batch, FULL)
        self.outside[batch] -= FULL

    @rule(batch=st.sampled_from(LOTS))
    def borrow(self, batch: str) -> None:
        code, delivery = self.arrival(batch)
        loans.borrow(self.entry(), delivery=delivery)
        self.where[code], self.holds[code] = "here", (batch, FULL)
        self.theirs.add(code)
        self.outside[batch] -= FULL
        self.owed_ml -= FULL

    @rule(data=st.data())
    def lend(self, data: st.DataObject) -> None:
        code = self.pick(data, "here")
        possible = self.where[code] == "here" and code not in self.theirs
        if self.tried(possible, lambda: loans.lend(self.entry(), containers=[self.row(code)])):
            self.where[code] = "lent"
            self.owed_ml += self.holds[code][1]

    @rule(data=st.data(), ml=PARTS)
    def take_back(self, data: st.DataObject, ml: int) -> None:
        code = self.pick(data, "lent")
        batch, held = self.holds[code]
        possible = self.where[code] == "lent" and ml <= held
        back = [loans.Back(self.row(code), ml)]
        if self.tried(possible, lambda: loans.take_back(self.entry(), back=back, owner=self.cast.station)):
            self.where[code], self.holds[code] = "here", (batch, ml)
            self.outside[batch] += held - ml  # which stays with the partner, and owed
            self.owed_ml -= ml

    @rule(data=st.data(), ml=PARTS)
    def give_volume(self, data: st.DataObject, ml: int) -> None:
        code = self.pick(data, "here")
        batch, held = self.holds[code]
        possible = self.where[code] == "here" and ml <= held
        if self.tried(possible, lambda: loans.give_volume(self.entry(), container=self.row(code), ml=ml)):
            self.holds[code] = (batch, held - ml)
            self.outside[batch] += ml
            self.owed_ml += ml

    @rule(data=st.data())
    def give_back(self, data: st.DataObject) -> None:
        code = self.pick(data, "here")
        held = self.holds[code][1]
        due = code in self.theirs or (held > 0 and self.owed_ml < 0)
        possible = self.where[code] == "here" and due
        if self.tried(possible, lambda: loans.give_back(self.entry(), containers=[self.row(code)])):
            self.gone(code)
            self.owed_ml += held

    @rule(data=st.data())
    def send(self, data: st.DataObject) -> None:
        code = self.pick(data, "here")
        day = D0 + timedelta(days=1)
        self.sent_if(
            self.where[code] == "here",
            code,
            lambda: transfers.send(self.entry(), containers=[self.row(code)], owner=self.cast.unit, expected_on=day),
        )

    def sent_if(self, possible: bool, code: str, act: Callable[[], object]) -> None:
        if possible and str(self.row(code).place) == "Engine 1":
            possible = False  # it is there already
        if self.tried(possible, act):
            self.where[code] = "on the way"

    @rule(data=st.data(), ml=PARTS)
    def arrive(self, data: st.DataObject, ml: int) -> None:
        code = self.pick(data, "on the way")
        batch, held = self.holds[code]
        transfer = Transfer.objects.filter(places__containers__code=code).first()
        if transfer is None:
            return
        receipt = transfers.Receipt((transfers.Came(self.row(code), ml),))
        act = lambda: transfers.receive(self.entry(), transfer=transfer, receipt=receipt)  # noqa: E731
        if self.tried(ml <= held, act):
            self.where[code], self.holds[code] = "here", (batch, ml)
            self.outside[batch] += held - ml  # leaked on the road

    @rule(data=st.data())
    def lose(self, data: st.DataObject) -> None:
        code = self.pick(data, "on the way")
        transfer = Transfer.objects.filter(places__containers__code=code).first()
        if transfer is not None:
            transfers.lose(self.entry(), transfer=transfer, containers=[self.row(code)])
            self.gone(code)

    @rule(data=st.data())
    def put_on_pallet(self, data: st.DataObject) -> None:
        code = self.pick(data, "here")
        possible = self.where[code] == "here" and code not in self.theirs
        if self.tried(possible, lambda: set_aside(self.entry(), containers=[self.row(code)], pallet=self.pallet)):
            self.where[code] = "pallet"

    @rule(data=st.data())
    def destroy(self, data: st.DataObject) -> None:
        code = self.pick(data, "here", "pallet")
        self.n += 1
        paper = Manifest(f"M-{self.n}", "a hauler", D0)
        possible = self.where[code] in ("here", "pallet") and code not in self.theirs
        if self.tried(possible, lambda: dispose(self.entry(), manifest=paper, load=Load((self.row(code),)))):
            self.gone(code)

    @rule(data=st.data())
    def move(self, data: st.DataObject) -> None:
        code = self.pick(data, "here")
        row = self.row(code)
        possible = self.where[code] == "here" and row.place_id != self.cast.on_vehicle.pk
        self.tried(possible, lambda: movements.move(self.entry(), containers=[row], place=self.cast.on_vehicle))

    def gone(self, code: str) -> None:
        batch, held = self.holds[code]
        self.outside[batch] += held
        self.where[code], self.holds[code] = "gone", (batch, 0)

    @invariant()
    def every_lot_sums_to_nothing(self) -> None:
        for batch, lot in self.lots.items():
            inside = Holding.objects.filter(lot=lot).aggregate(ml=Sum("ml"))["ml"] or 0
            accounts = MovementLine.objects.filter(lot=lot).exclude(account="").aggregate(ml=Sum("ml"))["ml"] or 0
            by_hand = sum(ml for of, ml in self.holds.values() if of == batch)
            assert (inside, accounts) == (by_hand, self.outside[batch])
            assert inside + accounts == 0

    @invariant()
    def every_pail_is_where_the_hand_kept_book_has_it(self) -> None:
        words = {"lent": "lent to", "on the way": "in transit to", "pallet": "take-back pallet"}
        for code, where in self.where.items():
            row = self.row(code)
            assert row.contents_ml == self.holds[code][1]
            assert (row.place_id is None, row.retired_on is not None) == (where == "gone", where == "gone")
            said = next((key for key, start in words.items() if str(row.place).startswith(start)), "here")
            assert where == "gone" or said == where

    @invariant()
    def what_is_owed_is_lent_less_returned(self) -> None:
        assert sum(row.net_ml for row in owed(self.cast.department)) == self.owed_ml


@pytest.mark.django_db
def test_nothing_turns_up_or_vanishes() -> None:
    run_machine(
        Moving,
        settings=settings(
            max_examples=10,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
        ),
    )
