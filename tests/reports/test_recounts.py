"""The recount notices whatever does not follow from the ledger, and says so in a sentence."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from readiness.actions import movements
from readiness.actions.movements import Entry
from readiness.models import Container, Holding, triggers
from readiness.models.movements import Account
from readiness.reports.recounts import Recount, recount
from tests.cast import CLOCK, D0, PAIL_ML, Cast, ContainerFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def pail(cast: Cast) -> Container:
    """P1: received full into the store, opened and 1,000 mL used; and a second pail that nobody touches."""
    entry = Entry(cast.department, cast.acting("chief"), CLOCK)
    made = cast.pail(code="P1")
    movements.receive(entry, container=made, lot=cast.lot, ml=PAIL_ML, place=cast.store)
    made.refresh_from_db()
    movements.use(entry, container=made, ml=1_000, account=Account.DRILL)
    made.refresh_from_db()
    movements.receive(entry, container=cast.pail(code="P2"), lot=cast.lot, ml=PAIL_ML, place=cast.store)
    return made


def test_a_true_book_has_no_differences(cast: Cast, pail: Container) -> None:
    # lines: two containers received and one draw, in each movement one line on the container
    assert recount() == Recount(movements=3, lines=3, containers=2, differences=())


Tamper = Callable[[Cast, Container], object]


def kept(**values: object) -> Tamper:
    return lambda cast, pail: Container.objects.filter(pk=pail.pk).update(**values)


# what is done behind the ledger's back, and the sentences that follow
TAMPERED: dict[str, tuple[Tamper, list[str]]] = {
    "holding": (
        lambda cast, pail: Holding.objects.filter(container=pail).update(ml=17_926),
        ["P1 keeps 17926 mL of lot AR-1; its lines come to 17927 mL."],
    ),
    "holding gone": (
        lambda cast, pail: Holding.objects.filter(container=pail).delete(),
        ["P1 keeps 0 mL of lot AR-1; its lines come to 17927 mL."],
    ),
    "holding of a lot that never was in it": (
        lambda cast, pail: Holding.objects.create(container=pail, lot=cast.class_a_lot, ml=5),
        ["P1 keeps 5 mL of lot A-1; its lines come to 0 mL."],
    ),
    "contents": (kept(contents_ml=PAIL_ML), [f"P1 keeps {PAIL_ML} mL; its lines come to 17927 mL."]),
    "place": (
        lambda cast, pail: Container.objects.filter(pk=pail.pk).update(place=cast.on_unit),
        ["P1 is kept at another place than its last relocation."],
    ),
    "place gone": (kept(place=None), ["P1 is kept at another place than its last relocation."]),
    "sealed": (kept(sealed=True), ["P1 is kept as sealed 'yes'; its markings say 'no'."]),
    "opened": (kept(opened_on=D0), ["P1 is kept as opened_on '2026-06-15'; its markings say ''."]),
    "mixed": (kept(mixed=True), ["P1 is kept as mixed 'yes'; its markings say 'no'."]),
    "diluted": (kept(diluted=True), ["P1 is kept as diluted 'yes'; its markings say 'no'."]),
    "quarantined": (kept(quarantined=True), ["P1 is kept as quarantined 'yes'; its markings say 'no'."]),
    "flushed": (kept(flushed=True), ["P1 is kept as flushed 'yes'; its markings say 'no'."]),
    "concentrate": (
        lambda cast, pail: Container.objects.filter(pk=pail.pk).update(concentrate=cast.class_a),
        ["P1 is kept as concentrate '{class_a}'; its markings say '{ar}'."],
    ),
    "a container with contents from nowhere": (
        lambda cast, pail: ContainerFactory(
            department=cast.department, code="P3", contents_ml=7, concentrate=cast.ar, place=cast.store
        ),
        [
            "P3 keeps 7 mL; its lines come to 0 mL.",
            "P3 is kept at another place than its last relocation.",
            "P3 is kept as concentrate '{ar}'; its markings say ''.",
        ],
    ),
    "a capacity below what was in it": (
        kept(capacity_ml=18_000),
        ["P1 came to 18927 mL with movement {first}."],
    ),
}


@pytest.mark.parametrize("name", TAMPERED)
def test_tampering_is_noticed(cast: Cast, pail: Container, name: str) -> None:
    tamper, sentences = TAMPERED[name]
    first = pail.lines.order_by("id").values_list("movement", flat=True)[0]
    tamper(cast, pail)
    expected = [each.format(class_a=cast.class_a.pk, ar=cast.ar.pk, first=first) for each in sentences]
    assert list(recount().differences) == expected


def test_a_mark_that_was_taken_off_behind_the_ledger(cast: Cast, pail: Container) -> None:
    movements.quarantine(Entry(cast.department, cast.acting("chief"), CLOCK, reason="smells"), container=pail)
    assert recount().differences == ()
    Container.objects.filter(pk=pail.pk).update(quarantined=False)
    assert recount().differences == ("P1 is kept as quarantined 'no'; its markings say 'yes'.",)


def test_guards_that_were_taken_off_are_noticed_and_so_is_what_was_done_meanwhile(cast: Cast, pail: Container) -> None:
    triggers.remove()
    try:
        pail.lines.filter(ml__lt=0).update(ml=-900)
        found = recount().differences
    finally:
        triggers.install()
    movement = pail.lines.get(ml=-900).movement_id
    assert any(sentence.startswith("guard readiness_guard_") for sentence in found)
    assert "P1 keeps 17927 mL of lot AR-1; its lines come to 18027 mL." in found
    assert "P1 keeps 17927 mL; its lines come to 18027 mL." in found
    assert f"Movement {movement} does not sum to zero for lot {cast.lot.batch}: 100 mL." in found


def test_one_department_s_recount_leaves_the_others_out(cast: Cast, pail: Container) -> None:
    stray = ContainerFactory(department=cast.other_department, code="X1")
    Container.objects.filter(pk=stray.pk).update(sealed=True)
    assert recount(cast.department) == Recount(movements=3, lines=3, containers=2, differences=())
    assert recount(cast.other_department).differences == ("X1 is kept as sealed 'yes'; its markings say 'no'.",)
    assert len(recount().differences) == 1


def test_a_late_entry_does_not_disturb_the_fold(cast: Cast, pail: Container) -> None:
    """Folding goes by the order recorded, so that a use entered a day late is no difference."""
    late = Entry(cast.department, cast.acting("chief"), CLOCK, happened_at=CLOCK.at - timedelta(days=1))
    movements.use(late, container=pail, ml=17_927, account=Account.INCIDENT)
    assert recount().differences == ()
