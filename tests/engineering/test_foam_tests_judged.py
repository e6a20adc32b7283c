"""Foam tests in a unit's status: what the listing states of finished foam, by hand.

Row F1: expansion and quarter drainage; row F2: low expansion to 20. The least values are invented listings.
"""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readiness.engineering.judging import judge
from readiness.engineering.records import RANK, FoamTest, Policy
from tests.engineering.county import AFFF, AR_AFFF, D0, GASOLINE_E10, County

COUNTY = County()
ASKED = Policy(foam_test_interval_d=365)
NOT_ASKED = Policy()
DAY = timedelta(days=1)
GOOD = FoamTest(AR_AFFF.id, D0 - 60 * DAY, 6.0, 4.5)


def rig(*tests, expansion=5.0, quarter_min=3.0):
    """The county's Engine 1, its foam listed to expand so much and to drain so slowly."""
    engine = COUNTY.engine_1()
    key = (GASOLINE_E10.id, "spill")
    row = AR_AFFF.listings[key]._replace(expansion=expansion, quarter_min=quarter_min)
    foam = AR_AFFF._replace(listings={**AR_AFFF.listings, key: row})
    stock = tuple(
        each._replace(parts=tuple(part._replace(lot=part.lot._replace(concentrate=foam)) for part in each.parts))
        for each in engine.containers
    )
    return engine._replace(containers=stock, lines=(engine.lines[0]._replace(foam_tests=tests),))


def judged(made, policy=NOT_ASKED, days=0):
    moment = COUNTY.moment(days)
    return judge(made._replace(checked_at=moment.at), policy, moment)


def codes(verdict):
    return {each.code for each in verdict.deficiencies if each.severity != "note"}


@pytest.mark.parametrize(
    ("test", "code"),
    [
        (GOOD, None),
        (GOOD._replace(expansion=5.0, quarter_min=3.0), None),  # exactly what is stated
        (GOOD._replace(expansion=4.9), "foam_thin"),
        (GOOD._replace(quarter_min=2.9), "foam_drains"),
        (GOOD._replace(declared_expansion=6.5), "foam_thin"),  # its own paper declared more than the listing
        (GOOD._replace(declared_quarter_min=5.0), "foam_drains"),
        (GOOD._replace(quarter_min=None, watched_min=3.0), None),  # not drained when last read: at least so long
    ],
)
@pytest.mark.parametrize("policy", [NOT_ASKED, ASKED])
def test_a_failed_test_is_not_ready_whoever_asked_for_it(test, code, policy):
    verdict = judged(rig(test), policy)
    assert codes(verdict) == ({code} if code else set())
    assert verdict.status == ("not_ready" if code else "ready")


def test_failed_stays_failed_when_it_grows_old():
    """Nothing gets better by waiting: three years on it is no mere overdue test."""
    old = GOOD._replace(expansion=4.0, on=D0 - 1100 * DAY)
    assert codes(judged(rig(old), ASKED)) == {"foam_thin"}
    assert judged(rig(old), ASKED).status == "not_ready"


DECLARED = {"declared_expansion", "declared_quarter_min"}
LATER = D0 - 30 * DAY


@pytest.mark.parametrize(
    ("later", "stands"),
    [
        ({"quarter_min": None, "watched_min": None}, True),  # expansion only: says nothing of drainage
        ({"quarter_min": None, "watched_min": 2.9}, True),  # read for less than the 3 min asked
        ({"quarter_min": None, "watched_min": 3.0}, False),  # not drained at 3 min: at least so long
        ({"quarter_min": 3.0}, False),
        ({"quarter_min": 2.5}, True),
    ],
)
@pytest.mark.parametrize("policy", [NOT_ASKED, ASKED])
@pytest.mark.parametrize("turned", [False, True])
def test_a_drainage_that_failed_is_answered_only_by_a_drainage(later, stands, policy, turned):
    """2 min measured where 3 are asked; then a test that expands well. The order in which they were read is nothing."""
    tests = (GOOD._replace(quarter_min=2.0), GOOD._replace(on=LATER, **later))
    verdict = judged(rig(*(tests[::-1] if turned else tests)), policy)
    assert codes(verdict) == ({"foam_drains"} if stands else set())
    assert verdict.status == ("not_ready" if stands else "ready")


def test_a_drainage_that_failed_by_its_own_paper_is_answered_by_as_long():
    """4.5 min where its paper declared 5; later watched for 4 min with nothing declared: not long enough to answer."""
    failed = GOOD._replace(declared_quarter_min=5.0)
    for watched, answered in ((4.0, False), (5.0, True)):
        later = GOOD._replace(on=LATER, quarter_min=None, watched_min=watched)
        assert codes(judged(rig(failed, later))) == (set() if answered else {"foam_drains"})


def test_foam_that_was_thin_is_answered_by_any_later_test():
    """Every test weighs its cylinder."""
    failed = GOOD._replace(expansion=4.0)
    assert judged(rig(failed, GOOD._replace(on=LATER, quarter_min=None, watched_min=None))).status == "ready"


@pytest.mark.parametrize(
    ("failed", "later", "code"),
    [
        ({"quarter_min": 2.0, "declared_quarter_min": 3.0}, {"quarter_min": 2.5}, "foam_drains"),
        ({"quarter_min": 2.0, "declared_quarter_min": 3.0}, {"quarter_min": 3.0}, None),
        ({"quarter_min": 2.0, "declared_quarter_min": 3.0}, {"quarter_min": 2.5, "declared_quarter_min": 2.5}, None),
        ({"expansion": 4.0, "declared_expansion": 6.0}, {"expansion": 4.0}, "foam_thin"),
        ({"expansion": 4.0, "declared_expansion": 6.0}, {"expansion": 6.0}, None),
        ({"expansion": 4.0, "declared_expansion": 6.0}, {"expansion": 4.0, "declared_expansion": 4.0}, None),
        ({"declared_quarter_min": 3.0}, {"quarter_min": 2.5}, "foam_drains"),  # one that was good declared it too
    ],
)
@pytest.mark.parametrize("between", [False, True])
def test_what_was_declared_stands_until_another_paper_declares_something(failed, later, code, between):
    """2.0 min of a declared 3.0, then 2.5 with the field left empty: it is still below 3.0."""
    tests = [GOOD._replace(**failed), GOOD._replace(on=LATER, **later)]
    if between:
        tests.insert(1, GOOD._replace(on=LATER - DAY, **failed | dict.fromkeys(set(failed) & DECLARED)))
    verdict = judged(rig(*tests, expansion=None, quarter_min=None))
    assert codes(verdict) == ({code} if code else set())


def test_what_was_declared_later_or_of_another_concentrate_fails_nothing():
    later = GOOD._replace(on=LATER, quarter_min=4.0, declared_quarter_min=4.0)
    other = GOOD._replace(on=GOOD.on - DAY, concentrate_id=AFFF.id, declared_quarter_min=9.0)
    verdict = judged(rig(other, GOOD._replace(quarter_min=3.5), later, expansion=None, quarter_min=None))
    assert codes(verdict) == set()


def test_what_is_stated_nowhere_fails_nothing():
    assert (
        judged(rig(GOOD._replace(expansion=1.5, quarter_min=0.1), expansion=None, quarter_min=None)).status == "ready"
    )


def test_a_test_with_another_concentrate_says_nothing_of_this_one():
    other = GOOD._replace(concentrate_id=AFFF.id, expansion=1.1)
    assert judged(rig(other)).status == "ready"
    assert codes(judged(rig(other), ASKED)) == {"foam_test_never"}


def test_missing_tests_matter_only_where_the_department_asks():
    assert judged(rig()).status == "ready"
    verdict = judged(rig(), ASKED)
    assert (verdict.status, codes(verdict)) == ("unverified", {"foam_test_never"})


@pytest.mark.parametrize("watched", [None, 2.9])
def test_a_drainage_read_too_short_proves_nothing(watched):
    test = GOOD._replace(quarter_min=None, watched_min=watched)
    assert judged(rig(test)).status == "ready"
    assert codes(judged(rig(test), ASKED)) == {"foam_test_never"}


def test_overdue_by_the_department_s_rule():
    """Made 60 days before D0, good for 90: through D0 + 30."""
    quarterly = Policy(foam_test_interval_d=90)
    verdict = judged(rig(GOOD), quarterly)
    assert (verdict.status, verdict.holds_until) == ("ready", D0 + 30 * DAY)
    assert verdict.next_change_on == D0 + 31 * DAY
    assert judged(rig(GOOD), quarterly, 30).status == "ready"
    late = judged(rig(GOOD), quarterly, 31)
    assert (late.status, codes(late)) == ("unverified", {"foam_test_overdue"})
    assert late.answers[0].rich_need_l is None  # a foam test says nothing of the percentage
    assert judged(rig(GOOD), NOT_ASKED, 31).status == "ready"


def test_with_the_rich_end_as_the_need_a_late_foam_test_changes_no_need():
    strict = Policy(foam_test_interval_d=90, rich_end="short")
    before, after = judged(rig(GOOD), strict, 30), judged(rig(GOOD), strict, 31)
    assert before.answers[0].need_l == after.answers[0].need_l


def test_a_class_a_duty_asks_for_no_foam_test():
    assert judged(COUNTY.brush_4(), ASKED).status == "ready"


@settings(max_examples=25)
@given(st.integers(30, 900), st.integers(0, 400), st.floats(3.0, 8.0), st.sampled_from((None, 1.0, 4.0)))
def test_nothing_gets_better_by_waiting(interval, age, expansion, quarter):
    """Day by day over three years, checked each morning: the rank never falls, and the halving finds its first rise."""
    policy = Policy(foam_test_interval_d=interval)
    made = rig(GOOD._replace(on=D0 - age * DAY, expansion=expansion, quarter_min=quarter, watched_min=2.0))
    ranks = [RANK[judged(made, policy, days).status] for days in range(0, 1100, 37)]
    assert ranks == sorted(ranks)
    until = judged(made, policy).holds_until
    if until is not None:
        days = (until - D0).days
        assert RANK[judged(made, policy, days + 1).status] > ranks[0] == RANK[judged(made, policy, days).status]
