"""Rules that hold for every rig: nothing better by waiting, by less, nor worse by more; halving = day by day."""

import random
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readiness.engineering.grading import best_on, key
from readiness.engineering.judging import judge, make_plan
from readiness.engineering.records import RANK, Container, Lot, Moment, Part
from tests.engineering.county import AR_AFFF
from tests.engineering.generated import DAY, MOMENT, POLICIES, fleet, generated_rig

EXAMPLES = settings(max_examples=300, deadline=None, database=None, derandomize=True)
SEEDS = st.integers(0, 2**32)
NOT_READY = RANK["not_ready"]
HORIZON_D = 1400  # beyond the last date of the generated fleet: 900 days, or a sample and its interval


def rig_and_policy(seed):
    chance = random.Random(seed)
    return generated_rig(chance, 1), chance.choice(POLICIES), chance


def duty_keys(rig, policy, day):
    """(rank, −covered, −share) of each duty; a duty without an option is as bad as can be."""
    keys = []
    for options in make_plan(rig, policy).duties:
        best = best_on(options, day, policy)
        rank, uncovered, unmet = key(best) if best is not None else (NOT_READY, 0.0, 0.0)
        keys.append((max(rank, options.rank), uncovered, unmet))
    return keys


def not_better(one, other):
    """Whether every duty's answer in ``other`` is as bad as in ``one`` or worse, but for what floats leave behind."""
    slack = 1e-9
    return all(
        a[0] < b[0] or (a[0] == b[0] and (a[1], a[2]) <= (b[1] + slack, b[2] + slack))
        for a, b in zip(one, other, strict=True)
    )


@EXAMPLES
@given(SEEDS, st.lists(st.integers(0, 900), min_size=2, max_size=8))
def test_nothing_gets_better_by_waiting(seed, days):
    rig, policy, _ = rig_and_policy(seed)
    answers = [duty_keys(rig, policy, DAY + timedelta(days=day)) for day in sorted(days)]
    for one, later in pairwise(answers):
        assert not_better(one, later)


@EXAMPLES
@given(SEEDS, st.integers(0, 400))
def test_nothing_gets_better_by_less(seed, day):
    """A container gone, or the book of one that was never read halved."""
    rig, policy, chance = rig_and_policy(seed)
    if not rig.containers:
        return
    now = DAY + timedelta(days=day)
    gone = chance.choice(rig.containers)
    less = [each for each in rig.containers if each is not gone]
    assert not_better(duty_keys(rig, policy, now), duty_keys(rig._replace(containers=tuple(less)), policy, now))
    if gone.reading_ml is None:
        halved = gone._replace(parts=tuple(part._replace(ml=max(1, part.ml // 2)) for part in gone.parts))
        with_half = tuple(halved if each is gone else each for each in rig.containers)
        assert not_better(duty_keys(rig, policy, now), duty_keys(rig._replace(containers=with_half), policy, now))


@EXAMPLES
@given(SEEDS, st.integers(0, 400), st.sampled_from((None, -100, 50, 2000)))
def test_nothing_gets_worse_by_more(seed, day, makers_in_days):
    """One more pail: of unknown date, expired, about to, or good."""
    rig, policy, _ = rig_and_policy(seed)
    now = DAY + timedelta(days=day)
    makers = None if makers_in_days is None else DAY + timedelta(days=makers_in_days)
    pail = Container(99_999, "more", "pail", (Part(Lot(9, "B9", AR_AFFF, makers, None, False), 18_927),))
    more = rig._replace(containers=(*rig.containers, pail))
    assert not_better(duty_keys(more, policy, now), duty_keys(rig, policy, now))


def ranks(plan, day):
    bests = [(options, best_on(options, day, plan.bench.policy)) for options in plan.duties]
    return [max(options.rank, NOT_READY if best is None else best.rank) for options, best in bests]


def scanned(rig, policy):
    """The last day not yet worse, asked day by day; None where no day within the horizon is worse."""
    plan = make_plan(rig, policy)
    now = ranks(plan, DAY)
    if all(rank == NOT_READY for rank in now):
        return None
    for ahead in range(1, HORIZON_D):
        day = DAY + timedelta(days=ahead)
        if any(after > before for before, after in zip(now, ranks(plan, day), strict=True)):
            return day - timedelta(days=1)
    return None


def test_halving_is_day_by_day_over_two_thousand_rigs():
    found = 0
    for rig, policy in fleet(2000, seed=11):
        until = judge(rig, policy, MOMENT).holds_until
        assert until == scanned(rig, policy), rig.unit_id
        found += until is not None
    assert found > 500  # the fleet is no fleet of rigs that never change


@pytest.mark.parametrize("seed", range(12))
def test_holds_until_is_what_the_judge_says_that_day_and_the_next(seed):
    """The whole judge, asked on the last good day and on the next: the same statuses, then a worse one."""
    for rig, policy in fleet(25, seed=100 + seed):
        checked = rig._replace(check_good_until=MOMENT.at + timedelta(days=HORIZON_D))
        now = judge(checked, policy, MOMENT)
        if now.holds_until is None:
            continue
        last, after = (judge(checked, policy, at(now.holds_until + timedelta(days=more))) for more in (0, 1))
        assert [answer.status for answer in last.answers] == [answer.status for answer in now.answers]
        worse = [RANK[b.status] > RANK[a.status] for a, b in zip(last.answers, after.answers, strict=True)]
        assert any(worse)


def at(day):
    return Moment(MOMENT.at + (day - DAY), day)


@pytest.mark.parametrize("seed", range(6))
def test_nothing_changes_before_the_next_change(seed):
    """Between now and the day before ``next_change_on`` the verdict is the same in everything but its own day."""
    for rig, policy in fleet(25, seed=200 + seed):
        checked = rig._replace(check_good_until=MOMENT.at + timedelta(days=HORIZON_D))
        now = judge(checked, policy, MOMENT)
        quiet_until = (now.next_change_on or DAY + timedelta(days=700)) - timedelta(days=1)
        later = judge(checked, policy, at(quiet_until))
        assert (later.status, later.answers, later.excluded, later.deficiencies) == (
            now.status,
            now.answers,
            now.excluded,
            now.deficiencies,
        )
