"""The same fleet three ways: the judge on what the loader reads, numpy on the records, and SQL on the tables.

The SQL below is one statement for SQLite and PostgreSQL and shares nothing with the product: no function, no constant,
no record. It counts whole millilitres and whole hundredths of a point. Outside it, on purpose: several lines run
together, the other positions of a gallonage ring, listings by fuel group, Class A and airport duties, stated rates,
vehicle test bands and compatibility groups. Those are left out of the comparison as well.
"""

from collections import defaultdict
from datetime import timedelta

from django.db import connection
from django.test import TestCase

from readiness.engineering.grading import grades
from readiness.engineering.judging import judge, make_plan
from readiness.engineering.records import Spill
from readiness.reports.fleet import load_rigs
from tests.cast import DepartmentFactory
from tests.engineering.generated import DAY, MOMENT, POLICIES, fleet
from tests.engineering.test_judging_oracle import oracle
from tests.reports.stored_fleet import storable, storable_policy, store

COUNT, SEED = 330, 11

STATEMENT = """
WITH
-- the day from which on a proof still counts, for each interval that some department uses: no date arithmetic in SQL
cutoff (days, since) AS (VALUES {cutoffs}),

-- a unit runs on the vehicle of its open assignment
running AS MATERIALIZED (
    SELECT u.id AS unit_id, u.department_id, a.vehicle_id, v.pump_lpm
    FROM readiness_unit u
    JOIN readiness_assignment a ON a.unit_id = u.id AND a.to_at IS NULL
    JOIN readiness_vehicle v ON v.id = a.vehicle_id
    WHERE u.retired_on IS NULL
),

-- laboratory samples with a result that no later one supersedes; dates as ISO text compare the same on both databases
sample AS MATERIALIZED (
    SELECT s.lot_id, s.container_id, CAST(s.taken_on AS text) AS taken_on,
           CASE WHEN s.passed THEN 1 ELSE 0 END AS passed,
           -- a passed sample speaks through its own date, else for the department's interval after it was taken
           CASE WHEN NOT s.passed THEN 0
                WHEN s.good_through IS NOT NULL AND CAST(s.good_through AS text) >= %(day)s THEN 1
                WHEN s.good_through IS NULL AND CAST(s.taken_on AS text) >= k.since THEN 1
                ELSE 0 END AS good
    FROM readiness_sample s
    JOIN readiness_policy y ON y.department_id = s.department_id
    JOIN cutoff k ON k.days = y.sample_interval_d
    WHERE s.passed IS NOT NULL
      AND NOT EXISTS (
          SELECT 1 FROM readiness_sample later
          WHERE (later.lot_id = s.lot_id OR later.container_id = s.container_id) AND later.passed IS NOT NULL
            AND (later.taken_on > s.taken_on OR (later.taken_on = s.taken_on AND later.id > s.id))
      )
),

-- a lot is good through its maker's date or its passed sample, whichever is later; unknown where it has neither
lot AS MATERIALIZED (
    SELECT l.id AS lot_id, l.concentrate_id,
           CASE WHEN CAST(l.recalled_on AS text) <= %(day)s THEN 1 ELSE 0 END AS recalled,
           CASE WHEN l.makers_date IS NULL AND COALESCE(s.passed, 0) = 0 THEN 1 ELSE 0 END AS unknown,
           CASE WHEN CAST(l.makers_date AS text) >= %(day)s OR COALESCE(s.good, 0) = 1 THEN 1 ELSE 0 END AS good,
           CASE WHEN s.passed = 0 THEN s.taken_on END AS failed_on
    FROM readiness_lot l
    LEFT JOIN sample s ON s.lot_id = l.id
),

-- what a container holds: a tank of several lots is as good as the worst of them, and unknown if one is
held AS MATERIALIZED (
    SELECT h.container_id, SUM(h.ml) AS book_ml, MIN(l.concentrate_id) AS concentrate_id,
           MAX(l.recalled) AS recalled, MAX(l.unknown) AS unknown, MIN(l.good) AS good, MAX(l.failed_on) AS failed_on
    FROM readiness_holding h
    JOIN lot l ON l.lot_id = h.lot_id
    GROUP BY h.container_id
    HAVING MIN(l.concentrate_id) = MAX(l.concentrate_id)
),

-- the millilitres of each container aboard that count today, surely or in doubt
stock AS MATERIALIZED (
    SELECT r.unit_id, c.id AS container_id, c.kind, h.concentrate_id,
           CASE
               -- set aside by people or recalled by the maker
               WHEN c.mixed OR c.quarantined OR c.diluted OR h.recalled = 1 THEN 0
               -- failed its own sample, or holds a failed lot that no later sample of its own answers
               WHEN own.passed = 0 OR (h.failed_on IS NOT NULL AND (own.passed IS NULL OR own.taken_on < h.failed_on))
               THEN 0
               -- read above the book by more than is overlooked, and no sample passed since the reading
               WHEN c.reading_ml > h.book_ml + CASE WHEN c.resolution_ml > y.dead_band_ml
                                                    THEN c.resolution_ml ELSE y.dead_band_ml END
                    AND (COALESCE(own.passed, 0) = 0
                         OR own.taken_on < SUBSTR(CAST(c.reading_at AS text), 1, 10))
               THEN 0
               -- stands where it gets too cold to draw
               WHEN p.expected_low_c < n.lowest_use_c THEN 0
               -- open for longer than the department allows
               WHEN c.kind IN ('pail', 'jug', 'drum', 'tote') AND NOT c.sealed
                    AND CAST(c.opened_on AS text) < opened.since THEN 0
               -- past its date: every lot known and one of them out, and no passed sample of its own in date
               WHEN h.unknown = 0 AND h.good = 0 AND COALESCE(own.good, 0) = 0 THEN 0
               -- a loose container of unknown date lives by its own sample once there is one
               WHEN h.unknown = 1 AND own.passed = 1 AND own.good = 0
                    AND c.kind IN ('pail', 'jug', 'drum', 'tote') THEN 0
               -- less than nothing is nothing
               WHEN CASE WHEN c.reading_ml < h.book_ml - CASE WHEN c.resolution_ml > y.dead_band_ml
                                                              THEN c.resolution_ml ELSE y.dead_band_ml END
                         THEN c.reading_ml ELSE h.book_ml END < c.unreachable_ml THEN 0
               -- the reading where it is lower by more than is overlooked, else the book; less the heel
               ELSE CASE WHEN c.reading_ml < h.book_ml - CASE WHEN c.resolution_ml > y.dead_band_ml
                                                              THEN c.resolution_ml ELSE y.dead_band_ml END
                         THEN c.reading_ml ELSE h.book_ml END - c.unreachable_ml
           END AS usable_ml
    FROM running r
    JOIN readiness_place p ON p.unit_id = r.unit_id OR p.vehicle_id = r.vehicle_id
    JOIN readiness_container c ON c.place_id = p.id AND c.retired_on IS NULL
    JOIN held h ON h.container_id = c.id
    JOIN readiness_concentrate n ON n.id = h.concentrate_id
    JOIN readiness_policy y ON y.department_id = r.department_id
    JOIN cutoff opened ON opened.days = y.opened_limit_d
    LEFT JOIN sample own ON own.container_id = c.id
),

-- what each line reaches of each concentrate: its own tanks, and loose containers only where it draws by tube
reached AS MATERIALIZED (
    SELECT r.unit_id, r.department_id, f.id AS line_id, k.concentrate_id, SUM(k.usable_ml) AS usable_ml,
           MAX(f.wind_loss_pct) AS wind_loss_pct,
           -- solution flows as the line stands, at most what the pump gives
           MAX(CASE WHEN r.pump_lpm < f.flow_lpm THEN r.pump_lpm ELSE f.flow_lpm END) AS flow_lpm
    FROM running r
    JOIN readiness_foamline f ON (f.unit_id = r.unit_id OR f.vehicle_id = r.vehicle_id) AND f.retired_on IS NULL
    JOIN stock k ON k.unit_id = r.unit_id
    WHERE (f.pails AND k.kind IN ('pail', 'jug', 'drum', 'tote'))
       OR EXISTS (SELECT 1 FROM readiness_linesource s WHERE s.line_id = f.id AND s.container_id = k.container_id)
    GROUP BY r.unit_id, r.department_id, f.id, k.concentrate_id
),

-- the last proportioning test of each line with each concentrate at each setting, since it was converted
test AS MATERIALIZED (
    SELECT t.line_id, t.concentrate_id, t.set_pct, t.measured_pct,
           CASE WHEN CAST(COALESCE(t.good_through, t.tested_on) AS text)
                     >= CASE WHEN t.good_through IS NULL THEN k.since ELSE %(day)s END THEN 1 ELSE 0 END AS in_date
    FROM readiness_linetest t
    JOIN readiness_foamline f ON f.id = t.line_id AND (f.converted_on IS NULL OR t.tested_on >= f.converted_on)
    JOIN readiness_policy y ON y.department_id = t.department_id
    JOIN cutoff k ON k.days = y.test_interval_d
    WHERE NOT EXISTS (
        SELECT 1 FROM readiness_linetest later
        WHERE later.line_id = t.line_id AND later.concentrate_id = t.concentrate_id AND later.set_pct = t.set_pct
          AND (later.tested_on > t.tested_on OR (later.tested_on = t.tested_on AND later.id > t.id))
    )
),

-- each spill with each line and concentrate that is listed for its fuel: flow asked for, percentage and draw
asked AS MATERIALIZED (
    SELECT r.unit_id, d.id AS duty_id, r.line_id, r.concentrate_id, r.usable_ml, r.flow_lpm, g.pct,
           COALESCE(g.minutes, 15) AS minutes,
           -- gpm a square foot of listed rate over the area in square metres, in litres a minute
           d.area_m2 / 0.09290304 * g.rate * 3.785411784 * (10000 + r.wind_loss_pct) / 10000 AS required_lpm,
           CASE
               -- no test in date, and the department asks for the rich end: p to 1.3 p and at most p + 1 point
               WHEN y.rich_end = 'short' AND COALESCE(t.in_date, 0) = 0 AND g.pct * 13 / 10 < g.pct + 100
                    AND COALESCE(t.measured_pct, 0) < g.pct * 13 / 10 THEN g.pct * 13 / 10
               WHEN y.rich_end = 'short' AND COALESCE(t.in_date, 0) = 0 AND g.pct * 13 / 10 >= g.pct + 100
                    AND COALESCE(t.measured_pct, 0) < g.pct + 100 THEN g.pct + 100
               -- else what was last measured, however old, and never less than p
               WHEN t.measured_pct > g.pct THEN t.measured_pct
               ELSE g.pct END AS draw_pct
    FROM reached r
    JOIN readiness_policy y ON y.department_id = r.department_id
    JOIN readiness_duty d ON d.unit_id = r.unit_id AND d.kind = 'spill' AND d.retired_on IS NULL
    JOIN readiness_listing g ON g.concentrate_id = r.concentrate_id AND g.fuel_id = d.fuel_id AND g.use = d.use
                            AND g.rate_unit = 'gpm_ft2'
    LEFT JOIN test t ON t.line_id = r.line_id AND t.concentrate_id = r.concentrate_id AND t.set_pct = g.pct
),

-- textbook need by what is asked; line need by what really flows where that is more; in millilitres
needed AS MATERIALIZED (
    SELECT unit_id, duty_id, line_id, concentrate_id, usable_ml,
           required_lpm * pct / 10000.0 * minutes * 1000 AS textbook_ml,
           CASE WHEN flow_lpm > required_lpm THEN flow_lpm ELSE required_lpm END
               * draw_pct / 10000.0 * minutes * 1000 AS need_ml
    FROM asked
)

-- whole millilitres, and the share of the line need in hundredths of a percent
SELECT unit_id, duty_id, line_id, concentrate_id, usable_ml, ROUND(textbook_ml), ROUND(need_ml),
       ROUND(10000.0 * usable_ml / need_ml)
FROM needed
"""


def by_sql():
    """{(unit, duty, line, concentrate): (usable ml, textbook ml, need ml, share in hundredths of a percent)}."""
    days = sorted({getattr(p, name) for p in POLICIES for name in ("sample_interval_d", "test_interval_d")})
    days = sorted({*days, *(storable_policy(policy).opened_limit_d for policy in POLICIES)})
    rows = ", ".join(f"(CAST(%(days{n})s AS integer), CAST(%(since{n})s AS text))" for n in range(len(days)))
    given = {"day": DAY.isoformat()}
    for n, interval in enumerate(days):
        given |= {f"days{n}": interval, f"since{n}": (DAY - timedelta(days=interval)).isoformat()}
    with connection.cursor() as cursor:
        cursor.execute(STATEMENT.format(cutoffs=rows), given)
        return {row[:4]: tuple(int(figure) for figure in row[4:]) for row in cursor.fetchall()}


def whole(usable_l, textbook_l, need_l):
    """Litres as the SQL has them."""
    return round(usable_l * 1000), round(textbook_l * 1000), round(need_l * 1000), round(10_000 * usable_l / need_l)


def ids_of(one, other):
    """From ids of a stored rig to those of the generated one: both list the same things in the same order."""
    pairs = {"unit": [(one.unit_id, other.unit_id)], "vehicle": [(one.vehicle.id, other.vehicle.id)]}
    for kind, field in (("container", "containers"), ("line", "lines"), ("duty", "duties")):
        every = zip(getattr(one, field), getattr(other, field), strict=True)
        pairs[kind] = [(mine.id, theirs.id) for mine, theirs in every]
    pairs["concentrate"] = [
        (mine.lot.concentrate.id, theirs.lot.concentrate.id)
        for held, same in zip(one.containers, other.containers, strict=True)
        for mine, theirs in zip(held.parts, same.parts, strict=True)
    ]
    return {(kind, mine): theirs for kind, of in pairs.items() for mine, theirs in of}


def told(verdict, ids):
    """A verdict in the generated ids and without names, which the database has made distinct."""

    def fault(each):
        kind, pk = each.subject
        numbers = (each.severity, each.measured, each.required, each.quantity, each.since, each.containers)
        return each.code, kind, ids[kind, pk], *numbers

    def answer(each):
        as_set = each.as_set and each.as_set._replace(line_id=ids["line", each.as_set.line_id])
        return each._replace(
            duty_id=ids["duty", each.duty_id],
            setup=tuple(ids["line", line] for line in each.setup),
            concentrate_ids=tuple(ids["concentrate", pk] for pk in each.concentrate_ids),
            deficiencies=tuple(fault(one) for one in each.deficiencies),
            as_set=as_set,
        )

    return verdict._replace(
        unit_id=ids["unit", verdict.unit_id],
        answers=tuple(answer(each) for each in verdict.answers),
        excluded=tuple(
            (ids["container", each.container_id], each.ml, each.code, each.since) for each in verdict.excluded
        ),
        deficiencies=tuple(fault(each) for each in verdict.deficiencies),
    )


class Itself(dict):
    """The generated ids are what they are."""

    def __missing__(self, key):
        return key[1]


class ThreeWays(TestCase):
    """One fleet, written once: a department for each policy."""

    @classmethod
    def setUpTestData(cls):
        cls.pairs = [(storable(rig), storable_policy(policy)) for rig, policy in fleet(COUNT, SEED)]
        by_policy = defaultdict(list)
        for rig, policy in cls.pairs:
            by_policy[policy].append(rig)
        unit_of = {}
        for policy, rigs in by_policy.items():
            unit_of |= store(rigs, policy, department=DepartmentFactory())
        loaded = load_rigs(day=DAY)
        assert loaded.broken == ()
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")  # rows that nobody has counted yet are planned for as if there were none
        rig_of = {rig.unit_id: rig for rig in loaded.rigs}
        cls.loaded = [rig_of[unit_of[rig.unit_id]] for rig, _ in cls.pairs]
        cls.policies = [loaded.policies[loaded.department_of[rig.unit_id]] for rig in cls.loaded]
        cls.ids = [ids_of(one, rig) for one, (rig, _) in zip(cls.loaded, cls.pairs, strict=True)]

    def judged(self):
        """The judge's figures for every option of one line as it stands, in the stored ids."""
        figures = {}
        for rig, policy in zip(self.loaded, self.policies, strict=True):
            for options in make_plan(rig, policy).duties:
                for option in options.options if isinstance(options.duty, Spill) else ():
                    run = option.runs[0]
                    if len(option.runs) > 1 or run.nozzle_lpm != run.line.flow_lpm:
                        continue
                    best = grades(option, DAY, policy)[-1]  # all stock, in doubt or not
                    key = (rig.unit_id, options.duty.id, run.line.id, option.concentrate.id)
                    figures[key] = whole(best.usable_l, option.textbook_l, best.need_l)
        return figures

    def by_numpy(self):
        """The oracle's figures from the generated records, for lines as they stand, in the stored ids."""
        figures = {}
        stored = [{(kind, theirs): mine for (kind, mine), theirs in ids.items()} for ids in self.ids]
        for (number, duty, line, concentrate, flow), litres in oracle(self.pairs).items():
            rig, of = self.pairs[number][0], stored[number]
            own = next(each.flow_lpm for each in rig.lines if each.id == line)
            if round(own, 6) == flow:
                key = ("unit", rig.unit_id), ("duty", duty), ("line", line), ("concentrate", concentrate)
                figures[tuple(of[each] for each in key)] = whole(*litres)
        return figures

    def test_a_stored_rig_is_judged_as_the_generated_one(self):
        """The outside check of the loader: every figure, code, day and subject of every verdict."""
        seen = set()
        for one, read, (rig, policy), ids in zip(self.loaded, self.policies, self.pairs, self.ids, strict=True):
            verdict = told(judge(one, read, MOMENT), ids)
            assert verdict == told(judge(rig, policy, MOMENT), Itself()), rig.name
            assert (one.lines_staffed, one.checked_at) == (rig.lines_staffed, rig.checked_at)
            seen |= {verdict.status, *(each[0] for each in verdict.deficiencies)}
        assert len(self.loaded) == COUNT
        # what a fleet without them would not prove
        wanted = {"ready", "limited", "unverified", "not_ready", "expired", "opened_too_long", "sample_failed"}
        wanted |= {"recalled", "quarantined", "mixed", "diluted", "reading_below_book", "no_pick_up", "test_lean"}
        wanted |= {"feed_lean", "flush_not_logged", "no_named_water", "water_short", "wrong_foam"}
        assert wanted - seen == set()

    def test_judge_and_sql_agree(self):
        """Usable, textbook need, line need and share of every single line with every concentrate on every spill."""
        judged, sql = self.judged(), by_sql()
        assert len(sql) > 600
        # with setups declared the judge asks of each line only what the officer said; the SQL asks of every line
        declared = {rig.unit_id for rig in self.loaded if rig.setups}
        alone = {(rig.unit_id, *setup) for rig in self.loaded for setup in rig.setups if len(setup) == 1}
        asked = {key for key in sql if key[0] not in declared or (key[0], key[2]) in alone}
        assert set(judged) == asked
        assert len(asked) > 600
        for key in asked:
            assert judged[key] == sql[key], key

    def test_numpy_and_sql_agree(self):
        """The two that know nothing of the product, from records and from tables."""
        numpy, sql = self.by_numpy(), by_sql()
        assert len(numpy) > 600
        assert numpy == sql

    def test_an_answer_is_one_of_the_rows(self):
        """What the judge tells of a duty on one line is what the SQL has for that line and concentrate."""
        sql, seen = by_sql(), 0
        for rig, policy in zip(self.loaded, self.policies, strict=True):
            for answer in judge(rig, policy, MOMENT).answers:
                codes = {fault.code for fault in answer.deficiencies}
                if len(answer.setup) != 1 or len(answer.concentrate_ids) != 1:
                    continue
                if codes & {"ring_to_turn", "doubtful_spare"}:  # another nozzle flow; only the sure stock
                    continue
                row = sql.get((rig.unit_id, answer.duty_id, answer.setup[0], answer.concentrate_ids[0]))
                if row is not None:
                    mine = whole(answer.usable_l, answer.textbook_l, answer.need_l)
                    assert (*mine[:3], round(10000 * answer.share)) == row
                    seen += 1
        assert seen > 200

    def test_the_sown_equalities_are_equal_in_sql(self):
        """By hand, of 3,785.411784 mL a gallon; a share of 10,000 is the whole need, and the judge calls it ready.

        95 gpm × 3 % × 15 min = 42.75 gal = 161,826.35 mL, and 161,826 mL stand in the tank; its textbook need is
        900 ft² × .10 × 3 % × 15 = 40.50 gal = 153,309.18 mL.
        95 gpm × 7.0 % × 15 min = 99.75 gal = 377,594.83 mL, and 377,595 mL stand in the tank; its textbook need is
        400 ft² × .20 × 6 % × 15 = 72.00 gal = 272,549.65 mL.
        100 gpm × 3 % × 15 min = 45.00 gal = 170,343.53 mL, and nine pails of 18,927 mL are 170,343 mL.
        """
        by_hand = {
            0: (161_826, 153_309, 161_826, 10_000),
            1: (377_595, 272_550, 377_595, 10_000),
            2: (170_343, 170_344, 170_344, 10_000),
        }
        sql = by_sql()
        for rig, policy, (generated, _) in zip(self.loaded, self.policies, self.pairs, strict=True):
            number, rest = divmod(generated.unit_id, 10)
            if rest == 0:
                rows = [figures for key, figures in sql.items() if key[0] == rig.unit_id]
                assert rows == [by_hand[number % 3]], generated.name
                assert judge(rig, policy, MOMENT).status == "ready"
