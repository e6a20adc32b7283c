"""Ten thousand entries in random order and duplication: each is entered once, by one phone and by many at a time."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from readiness.models import Check, Container, Movement, QueuedEntry, Role, Submission
from readiness.reports.recounts import recount
from tests.actions.own_database import own_database, run
from tests.actions.replaying import TANK_ML, Sender, number, prepare, shuffled
from tests.cast import Cast

ENTRIES, SENDS = 400, 10_000
PHONES, OF_EACH, KILLS = 6, 60, 4


@pytest.mark.django_db
def test_ten_thousand_replays_enter_each_once(cast: Cast) -> None:
    prepare(cast)
    dice = random.Random(20_260_615)
    tank = Container.objects.select_related("department").get(code="T0")
    sender = Sender(cast.department, cast.people[Role.CREW], cast.unit, tank, dice)
    order = shuffled(ENTRIES, SENDS, dice)
    assert len(order) == SENDS
    assert set(order) == set(range(ENTRIES))
    for n in order:
        sender.send(n)
    checks = ENTRIES // 4  # by hand: every fourth is a check, the others take 1 mL each
    uses = ENTRIES - checks
    posted = {number(n) for n in range(ENTRIES) if n % 4 != 3}
    assert set(Movement.objects.filter(kind="used").values_list("pk", flat=True)) == posted
    assert Submission.objects.count() == uses
    assert QueuedEntry.objects.count() == ENTRIES // 4
    assert {made.pk for made in Check.objects.all()} == {number(n) for n in range(ENTRIES) if n % 4 == 3}
    assert Container.objects.get(code="T0").contents_ml == TANK_ML - uses
    assert recount().differences == ()
    sent = dict.fromkeys(range(2, ENTRIES, 4), 0)
    for n in order:
        if n in sent:
            sent[n] += 1
    assert {row.client_id: row.times for row in QueuedEntry.objects.all()} == {number(n): t for n, t in sent.items()}


@pytest.mark.django_db
def test_many_phones_at_a_time_some_killed(tmp_path: Path) -> None:
    with own_database(tmp_path) as url:
        words = [str(each) for each in (PHONES, OF_EACH, 2 * OF_EACH, KILLS)]
        found = json.loads(run(url, "-m", "tests.actions.replayers", *words))
    uses = OF_EACH - OF_EACH // 4
    assert found == {
        "killed": KILLS,
        "tank_ml": TANK_ML - uses,
        "used": uses,
        "checks": OF_EACH // 4,
        "submissions": uses,
        "rows": uses,
        "differences": [],
    }
