"""What of a container counts, until when, and why the rest does not. All figures by hand."""

from datetime import date, timedelta

import pytest

from readiness.engineering.holding import excluded_on, hold
from readiness.engineering.records import Container, Lot, Part, Policy, Sample
from tests.engineering.county import AFFF, AR_AFFF, CLASS_A

DAY = date(2026, 6, 15)
POLICY = Policy()


def lot(makers=date(2030, 12, 31), sample=None, concentrate=AR_AFFF, number=1, recalled=False):
    return Lot(number, f"B{number}", concentrate, makers, sample, recalled)


def pail(*, ml=18_927, of=None, **more):
    return Container(1, "P1", "pail", (Part(of or lot(), ml),), **more)


def tank(*parts, **more):
    return Container(2, "T2", "tank", parts or (Part(lot(), 100_000),), **more)


def held(container, policy=POLICY):
    return hold(container, policy, {}).held


def out(container, policy=POLICY, day=DAY):
    return [(each.code, each.ml) for each in excluded_on([hold(container, policy, {})], day)]


@pytest.mark.parametrize(
    ("makers", "taken", "through"),
    [
        (date(2025, 3, 31), date(2026, 2, 10), date(2027, 2, 10)),  # county, Engine 7: by the sample
        (date(2030, 12, 31), date(2026, 2, 10), date(2030, 12, 31)),  # by the maker, whichever is later
        (None, date(2026, 2, 10), date(2027, 2, 10)),
    ],
)
def test_the_later_of_makers_date_and_passed_sample(makers, taken, through):
    assert held(pail(of=lot(makers, Sample(taken, True)))).firm_through == through


def test_a_failed_sample_ends_it_at_once_and_for_good():
    failed = pail(of=lot(date(2030, 12, 31), Sample(date(2024, 1, 1), False)))
    assert held(failed) is None
    assert out(failed) == [("sample_failed", 18_927)]
    assert out(failed, day=DAY + timedelta(days=3000)) == [("sample_failed", 18_927)]


def test_no_date_known_is_in_doubt_and_not_nothing():
    undated = held(pail(of=lot(None)))
    assert (undated.ml, undated.firm_through, undated.soft_through) == (18_927, date.min, date.max)


def test_good_through_its_last_day():
    dated = pail(of=lot(DAY))
    assert out(dated) == []
    assert out(dated, day=DAY + timedelta(days=1)) == [("expired", 18_927)]


def test_a_tank_lives_by_its_own_sample():
    sampled = held(tank(sample=Sample(DAY, True)))
    assert sampled.firm_through == DAY + timedelta(days=365)


def test_a_tanks_own_sample_outlives_its_lots():
    old = tank(Part(lot(date(2020, 1, 1)), 1000), sample=Sample(DAY, True))
    assert held(old).firm_through == DAY + timedelta(days=365)


def test_a_tanks_lapsed_sample_is_stale_evidence_while_its_lots_are_in_date():
    stale = held(tank(Part(lot(date(2030, 12, 31)), 1000), sample=Sample(date(2024, 1, 1), True)))
    assert (stale.firm_through, stale.soft_through) == (date(2024, 12, 31), date(2030, 12, 31))
    assert stale.doubt == "sample_overdue"


def test_a_tank_without_a_sample_lives_by_its_earliest_lot():
    two = tank(Part(lot(date(2030, 12, 31)), 1000), Part(lot(date(2027, 1, 31), number=2), 9000))
    assert held(two).firm_through == date(2027, 1, 31)


def test_a_tank_with_one_undated_lot_has_no_date():
    two = tank(Part(lot(date(2030, 12, 31)), 1000), Part(lot(None, number=2), 9000))
    assert held(two).firm_through == date.min


def test_a_lots_failed_sample_ends_the_tank_unless_its_own_passed_later():
    bad = Part(lot(sample=Sample(date(2026, 1, 1), False)), 5000)
    assert out(tank(bad)) == [("sample_failed", 5000)]
    assert held(tank(bad, sample=Sample(date(2026, 2, 1), True))).ml == 5000
    assert held(tank(bad, sample=Sample(date(2025, 12, 31), True))) is None


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"mixed": True}, "mixed"),
        ({"quarantined": True}, "quarantined"),
        ({"diluted": True}, "diluted"),
        ({"of": lot(recalled=True)}, "recalled"),
        ({"of": lot(concentrate=AR_AFFF._replace(lowest_use_c=-4.0)), "place_low_c": -5.0}, "too_cold"),
    ],
)
def test_set_aside_with_its_volume_and_reason(more, code):
    assert out(pail(**more)) == [(code, 18_927)]
    assert held(pail(**more)) is None


def test_as_cold_as_its_lowest_use_temperature_still_counts():
    cold = lot(concentrate=AR_AFFF._replace(lowest_use_c=-4.0))
    assert held(pail(of=cold, place_low_c=-4.0)) is not None
    assert held(pail(of=cold, place_low_c=None)) is not None


def test_one_recalled_lot_takes_the_whole_tank_out():
    parts = (Part(lot(), 9000), Part(lot(number=2, recalled=True), 1000))
    assert out(tank(*parts)) == [("recalled", 10_000)]


def test_unlike_concentrates_in_one_tank_do_not_count():
    assert out(tank(Part(lot(), 9000), Part(lot(concentrate=CLASS_A, number=2), 1000))) == [("unlike", 10_000)]


def test_a_compatibility_group_counts_as_its_largest_part():
    one, two = AFFF._replace(compatible="mil-spec"), AFFF._replace(id=77, compatible="mil-spec")
    mixed = tank(Part(lot(concentrate=one), 1000), Part(lot(concentrate=two, number=2), 9000))
    assert held(mixed).concentrate.id == 77
    assert held(mixed).ml == 10_000


def test_the_heel_is_out_of_reach_and_listed():
    low = tank(unreachable_ml=3785)
    assert held(low).ml == 96_215
    assert out(low) == [("heel", 3785)]


@pytest.mark.parametrize(
    ("reading", "counted", "excluded"),
    [
        (98_000, 100_000, []),  # within what the gauge resolves (2 L): no difference
        (97_999, 97_999, [("reading_below_book", 2001)]),
        (102_000, 100_000, []),
        (None, 100_000, []),
    ],
)
def test_the_lesser_of_book_and_reading(reading, counted, excluded):
    read = tank(reading_ml=reading, reading_on=DAY, resolution_ml=2000)
    assert held(read).ml == counted
    assert out(read) == excluded


def test_read_above_the_book_is_out_until_sampled():
    gained = {"reading_ml": 102_001, "reading_on": DAY, "resolution_ml": 2000}
    assert out(tank(**gained)) == [("reading_above_book", 100_000)]
    assert out(tank(**gained, sample=Sample(DAY - timedelta(days=1), True))) == [("reading_above_book", 100_000)]
    assert held(tank(**gained, sample=Sample(DAY, True))).ml == 100_000


@pytest.mark.parametrize(
    ("read", "moved", "found", "book", "counted", "excluded"),
    [
        (100_000, -30_000, 0, 70_000, 70_000, []),  # read full, 30 L drawn since: 70 L by reading and by book
        (70_000, 30_000, 0, 100_000, 100_000, []),  # filled again since
        (90_000, -30_000, 0, 70_000, 60_000, [("reading_below_book", 10_000)]),  # 10 L were short, and still are
        (110_000, -30_000, 0, 70_000, 0, [("reading_above_book", 70_000)]),  # 10 L too many, and still are
        (90_000, 0, -10_000, 90_000, 90_000, []),  # the 10 L that were short are written off: both say 90 L
        (100_000, 0, -10_000, 90_000, 90_000, []),  # or leaked after the reading: 90 L too
        (80_000, 0, -10_000, 90_000, 80_000, [("reading_below_book", 10_000)]),  # half of what is short is explained
        (10_000, -20_000, 0, 5_000, 0, [("reading_below_book", 5_000)]),  # never less than nothing
        (100_000, -20_000, 5_000, 85_000, 85_000, []),
    ],
)
def test_a_reading_counts_on_as_foam_is_drawn_and_poured(read, moved, found, book, counted, excluded):
    """Arithmetic: reading + what was drawn and poured since, held against the book of now. The gauge tells 2 L."""
    stock = tank(Part(lot(), book), reading_ml=read, reading_on=DAY, resolution_ml=2000)
    since = stock._replace(moved_since_ml=moved, found_since_ml=found)
    kept = held(since)
    assert (0 if kept is None else kept.ml, out(since)) == (counted, excluded)


@pytest.mark.parametrize(
    ("read", "moved", "received", "book", "counted"),
    [
        (100_000, 0, 100_000, 100_000, 100_000),  # read before it came into the book, with 100 L
        (90_000, 0, 100_000, 100_000, 90_000),  # with 10 L more than was read: the lesser
        (100_000, -30_000, 100_000, 70_000, 70_000),  # and 30 L drawn after
        (40_000, 0, 60_000, 100_000, 100_000),  # a delivery of 60 L into 40 L
        (30_000, 0, 60_000, 100_000, 90_000),  # into 40 L by the book, of which 30 were there
        (0, 0, 100_000, 100_000, 100_000),  # into a tank that was read empty
    ],
)
def test_what_the_book_began_with_is_no_delivery(read, moved, received, book, counted):
    stock = tank(Part(lot(), book), reading_ml=read, reading_on=DAY, resolution_ml=2000)
    assert held(stock._replace(moved_since_ml=moved, received_since_ml=received)).ml == counted


def test_the_dead_band_is_the_departments():
    assert held(tank(reading_ml=95_000), Policy(dead_band_ml=5000)).ml == 100_000
    assert held(tank(reading_ml=95_000), Policy(dead_band_ml=4999)).ml == 95_000


def test_an_opened_pail_counts_within_the_limit():
    policy = Policy(opened_limit_d=90)
    opened = pail(sealed=False, opened_on=DAY - timedelta(days=90))
    assert out(opened, policy) == []
    assert out(opened, policy, DAY + timedelta(days=1)) == [("opened_too_long", 18_927)]
    assert out(opened, Policy(), DAY + timedelta(days=1)) == []  # no limit by default


def test_an_opened_pail_nobody_knows_since_when_is_in_doubt():
    opened = held(pail(sealed=False), Policy(opened_limit_d=90))
    assert (opened.firm_through, opened.doubt) == (date.min, "opened_unknown")


def test_an_empty_container_is_nothing_at_all():
    assert hold(Container(1, "P1", "pail", ()), POLICY, {}) == (None, None, ())
