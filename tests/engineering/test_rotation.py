"""First expiry, first out, with the twist: who goes to a drill, who to the front line. The order is common practice."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.rotation import Stock, drill_order, front_line_order, no_drill, pick, swaps

D0 = date(2026, 6, 15)
PAIL_ML = 18_927


def stock(code, **values):
    """A sealed pail of fluorine-free foam that lasts 1,000 days, unless told otherwise."""
    days = values.pop("days", 1000)
    plain = {
        "kind": "F3",
        "pfas": "no",
        "ml": PAIL_ML,
        "sealed": True,
        "through": None if days is None else D0 + timedelta(days=days),
        "state": "counts",
        "counts": True,
    }
    return Stock(id=sum(map(ord, code)), code=code, **{**plain, **values})


def codes(stocks):
    return [each.code for each in stocks]


def test_training_foam_then_what_is_spent_then_opened_then_the_soonest():
    every = [
        stock("new", days=3000),
        stock("old", days=30),
        stock("opened", days=2000, sealed=False),
        stock("expired", days=-10, state="expired", counts=False),
        stock("trainer", kind="training", days=3000),
    ]
    assert codes(drill_order(every, with_pfas=False)) == ["trainer", "expired", "opened", "old", "new"]


def test_fluorinated_foam_and_what_is_not_known_go_to_no_drill_unless_the_policy_lets_them():
    every = [stock("with", pfas="yes"), stock("unknown", pfas="unknown"), stock("without")]
    assert codes(drill_order(every, with_pfas=False)) == ["without"]
    assert no_drill(every[0], with_pfas=False) == "holds PFAS"
    assert no_drill(every[1], with_pfas=False) == "PFAS not known: treated as with PFAS"
    assert codes(drill_order(every, with_pfas=True)) == ["unknown", "with", "without"]


def test_what_is_set_aside_goes_to_no_drill():
    for state in ("mixed", "quarantined", "recalled", "sample failed", "reads above the book", "stands too cold"):
        assert no_drill(stock("P", state=state, counts=False), with_pfas=True) == state


def test_the_newest_sealed_goes_to_the_front_line():
    every = [
        stock("soon", days=30),
        stock("opened", days=3000, sealed=False),
        stock("late", days=3000),
        stock("expired", counts=False, state="expired"),
        stock("undated", days=None),
    ]
    assert codes(front_line_order(every)) == ["late", "soon", "undated", "opened"]


def test_a_pick_ends_once_it_is_enough():
    pails = [stock(f"P{n}") for n in range(12)]
    chosen, short = pick(pails, 170_344)  # 45 gal = 170,343.53 mL: nine pails hold 170,343 and are enough
    assert (len(chosen), short) == (9, 0)
    chosen, short = pick(pails[:2], 50_000)
    assert (len(chosen), short) == (2, 50_000 - 2 * PAIL_ML)


def test_the_soonest_aboard_is_swapped_for_the_longest_in_the_store():
    aboard = [stock("A1", days=100), stock("A2", days=50), stock("A3", days=900)]
    stores = [stock("S1", days=2000), stock("S2", days=3000), stock("S3", days=40)]
    found = swaps(aboard, stores, D0 + timedelta(days=365), set())
    # A2 expires first and takes S2, the longest; A1 takes S1; A3 lasts beyond the year
    assert [(each.out.code, each.back.code, each.days) for each in found] == [("A2", "S2", 2950), ("A1", "S1", 1900)]


def test_nothing_is_promised_twice_and_nothing_smaller_or_opened_is_put_on():
    aboard = [stock("A1", days=50)]
    small, opened = stock("S1", days=3000, ml=9_000), stock("S2", days=3000, sealed=False)
    assert swaps(aboard, [small, opened], D0 + timedelta(days=365), set()) == []
    good = stock("S3", days=3000)
    assert swaps(aboard, [good], D0 + timedelta(days=365), {good.id}) == []


DAYS = st.integers(-400, 4000) | st.none()


@given(st.lists(DAYS, max_size=8), st.lists(DAYS, max_size=8))
def test_a_swap_always_lasts_longer_and_uses_each_container_once(aboard, stores):
    taken: set[int] = set()
    found = swaps(
        [stock(f"A{n}", days=days) for n, days in enumerate(aboard)],
        [stock(f"S{n}", days=days) for n, days in enumerate(stores)],
        D0 + timedelta(days=365),
        taken,
    )
    assert all(each.back.through > each.out.through for each in found)
    used = [each.back.id for each in found]
    assert len(set(used)) == len(used) == len(taken)
