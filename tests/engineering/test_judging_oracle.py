"""The judge against a second computation: numpy over the whole fleet at once, from the bare records.

The oracle shares nothing with the judge but the records: rates and percentages are typed in from the county's rules,
gallons are turned by pint's definition (3.785411784 L, 0.09290304 m²), dates are ordinals in arrays. It works usable,
need and share of every single line with every concentrate for every fire spill. An SQL computation is the third.
"""

import numpy as np
import pytest

from readiness.engineering.grading import grades
from readiness.engineering.judging import judge, make_plan
from readiness.engineering.records import Spill
from tests.engineering.county import AFFF, AR_AFFF, AR_F3, FP, GASOLINE_E10
from tests.engineering.generated import DAY, MOMENT, fleet

L_PER_GAL, M2_PER_FT2 = 3.785411784, 0.09290304
# (concentrate id, fuel name) → (gpm/ft², percent), from the worked county's listings; standards are never greater
TABLE = {
    (AR_AFFF.id, "gasoline"): (0.10, 3),
    (AR_AFFF.id, "gasoline E10"): (0.10, 3),
    (AR_AFFF.id, "diesel"): (0.10, 3),
    (AR_AFFF.id, "denatured ethanol"): (0.20, 6),
    (AR_AFFF.id, "acetone"): (0.20, 6),
    (AFFF.id, "gasoline"): (0.10, 3),
    (AFFF.id, "diesel"): (0.10, 3),
    (AR_F3.id, "gasoline"): (0.16, 3),
    (AR_F3.id, "gasoline E10"): (0.16, 3),
    (AR_F3.id, "diesel"): (0.16, 3),
    (AR_F3.id, "denatured ethanol"): (0.24, 3),
    (FP.id, "gasoline"): (0.16, 3),
    (FP.id, "diesel"): (0.16, 3),
}
LAST = 3_650_000  # later than every ordinal


def ordinal(day, missing):
    return missing if day is None else day.toordinal()


def container_rows(pairs):
    """One row a container, bare numbers only."""
    rows = []
    for number, (rig, policy) in enumerate(pairs):
        for each in rig.containers:
            lots = [part.lot for part in each.parts]
            bad = each.mixed or each.quarantined or each.diluted or any(lot.recalled for lot in lots)
            own = each.sample
            failed = own is not None and not own.passed
            ends = []
            for lot in lots:
                end = ordinal(lot.makers_date, 0)
                if lot.sample is not None and lot.sample.passed:
                    end = max(end, lot.sample.taken_on.toordinal() + policy.sample_interval_d)
                elif lot.sample is not None and (own is None or own.taken_on < lot.sample.taken_on):
                    failed = True
                ends.append(end or LAST)
            known = all(end < LAST for end in ends)
            end = min(ends) if known else LAST
            own_end = own.taken_on.toordinal() + policy.sample_interval_d if own is not None and own.passed else 0
            end = max(end, own_end) if known or each.kind == "tank" or not own_end else own_end
            opened = LAST
            if each.kind == "pail" and not each.sealed and policy.opened_limit_d and each.opened_on:
                opened = each.opened_on.toordinal() + policy.opened_limit_d
            reading = -1 if each.reading_ml is None else each.reading_ml
            gain_answered = own is not None and own.passed and each.reading_on and own.taken_on >= each.reading_on
            rows.append(
                (
                    number,
                    each.id,
                    lots[0].concentrate.id,
                    sum(part.ml for part in each.parts),
                    reading,
                    max(each.resolution_ml, policy.dead_band_ml),
                    each.unreachable_ml,
                    bad or failed,
                    bool(gain_answered),
                    min(end, opened),
                )
            )
    return np.array(rows, dtype=np.int64)


def usable_by_container(table, today):
    """Millilitres that count today, sure or in doubt, container by container."""
    book, reading, limit, heel = table[:, 3], table[:, 4], table[:, 5], table[:, 6]
    read = reading >= 0
    lower = read & (reading < book - limit)
    gained = read & (reading > book + limit) & (table[:, 8] == 0)
    counted = np.where(lower, reading, book)
    good = (table[:, 7] == 0) & ~gained & (table[:, 9] >= today)
    return np.where(good, np.maximum(counted - heel, 0), 0)


def option_rows(pairs):
    """One row for each (rig, spill, line, ring, concentrate) that the county's listings allow."""
    rows = []
    for number, (rig, policy) in enumerate(pairs):
        spills = [duty for duty in rig.duties if isinstance(duty, Spill)]
        for spill in spills:
            for line in rig.lines:
                for concentrate_id in {part.lot.concentrate.id for each in rig.containers for part in each.parts}:
                    listed = TABLE.get((concentrate_id, spill.fuel.name))
                    if listed is None:
                        continue
                    rate, percent = listed
                    tests = [t for t in line.tests if t.concentrate_id == concentrate_id and t.setting == percent * 100]
                    newest = max(tests, key=lambda test: test.on, default=None)
                    measured = newest.measured if newest else 0
                    interval = policy.test_interval_d
                    lapsed = newest is None or newest.on.toordinal() + interval < DAY.toordinal()
                    rich = policy.rich_end == "short" and lapsed
                    for flow in {line.flow_lpm, *line.rings_lpm}:
                        head = (number, spill.id, line.id, concentrate_id)
                        rows.append((*head, spill.area_m2, rate, percent, measured, flow, rich))
    return rows


def oracle(pairs):
    """{(rig, spill, line, concentrate, flow): (usable, textbook, need)} in litres, by numpy."""
    table = container_rows(pairs)
    usable = usable_by_container(table, DAY.toordinal())
    rows = option_rows(pairs)
    area, rate, percent, measured, flow, rich = (np.array([row[i] for row in rows], dtype=float) for i in range(4, 10))
    pump = np.array([(pairs[row[0]][0].vehicle.pump_lpm or np.inf) for row in rows])
    flows = np.minimum(flow, pump)
    required = area / M2_PER_FT2 * rate * L_PER_GAL
    textbook = required * percent / 100 * 15
    draw = np.maximum(percent, measured / 100)
    draw = np.where(rich == 1, np.maximum(draw, np.minimum(1.3 * percent, percent + 1)), draw)
    need = np.maximum(required, flows) * draw / 100 * 15
    reached = [reach_mask(pairs, table, row) for row in rows]
    have = np.array([usable[mask].sum() for mask in reached]) / 1000
    keys = [(*row[:4], round(row[8], 6)) for row in rows]
    any_reached = [bool(mask.any()) for mask in reached]
    return {k: v for k, v, r in zip(keys, zip(have, textbook, need, strict=True), any_reached, strict=True) if r}


def reach_mask(pairs, table, row):
    """Rows of the containers that feed this line with this concentrate."""
    number, _, line_id, concentrate_id = row[:4]
    rig = pairs[number][0]
    line = next(each for each in rig.lines if each.id == line_id)
    loose = {each.id for each in rig.containers if each.kind == "pail"} if line.pails else set()
    fixed = set(line.sources)
    mine = np.flatnonzero((table[:, 0] == number) & (table[:, 2] == concentrate_id))
    return mine[np.isin(table[mine, 1], list(loose | fixed))]


def judged(pairs):
    """The same figures from the judge's own options that run one line by itself."""
    figures = {}
    for number, (rig, policy) in enumerate(pairs):
        for options in make_plan(rig, policy).duties:
            if not isinstance(options.duty, Spill):
                continue
            for option in options.options:
                if len(option.runs) > 1:
                    continue
                best = grades(option, DAY, policy)[-1]  # all stock, in doubt or not
                run = option.runs[0]
                k = (number, options.duty.id, run.line.id, option.concentrate.id, round(run.nozzle_lpm, 6))
                figures[k] = (best.usable_l, option.textbook_l, best.need_l)
    return figures


@pytest.fixture(scope="module")
def pairs():
    return fleet(1500, seed=5)


def test_judge_and_numpy_agree(pairs):
    """Usable to the millilitre, textbook and need to nine figures, for every option of the fleet."""
    one, other = judged(pairs), oracle(pairs)
    only_policy = {k for k in one if (k[3], fuel_of(pairs, k)) not in TABLE}
    assert all(fuel_of(pairs, k) == GASOLINE_E10.name for k in only_policy)  # plain foam on E10 by policy
    assert set(one) - only_policy == set(other)
    assert len(other) > 2000
    for k, figures in other.items():
        assert one[k][0] == pytest.approx(figures[0], abs=0.0005), k
        assert one[k][1:] == pytest.approx(figures[1:], rel=1e-9), k


def fuel_of(pairs, k):
    return next(duty.fuel.name for duty in pairs[k[0]][0].duties if duty.id == k[1])


def test_the_answer_is_one_of_the_oracles_options(pairs):
    """Need, usable and share of each answer on a single line are those of one option of the oracle."""
    few = pairs[:300]
    other, seen = oracle(few), 0
    for number, (rig, policy) in enumerate(few):
        for answer in judge(rig, policy, MOMENT).answers:
            if len(answer.setup) != 1 or len(answer.concentrate_ids) != 1:
                continue
            head = (number, answer.duty_id, answer.setup[0], answer.concentrate_ids[0])
            mine = [figures for k, figures in other.items() if k[:4] == head]
            if not mine or "doubtful_spare" in {fault.code for fault in answer.deficiencies}:
                continue
            have, _, need = min(mine, key=lambda figures: abs(figures[2] - answer.need_l))
            assert (answer.usable_l, answer.need_l) == pytest.approx((have, need), abs=0.0005, rel=1e-9)
            assert answer.share == pytest.approx(have / need, abs=1e-5)
            seen += 1
    assert seen > 100


def test_the_sown_equalities_are_enough():
    """Need = stock to the millilitre; 7.0 % at 6 %; nine pails for 45 gal: all ready, none by a hair short."""
    sown = [pair for pair in fleet(30, seed=5) if pair[0].unit_id % 10 == 0]
    assert len(sown) == 3
    for rig, policy in sown:
        assert judge(rig, policy, MOMENT).status == "ready", rig


def test_the_sown_equalities_fail_four_spoonfuls_short():
    """The same three with 20 ml less in each container are no longer enough."""
    for rig, policy in [pair for pair in fleet(30, seed=5) if pair[0].unit_id % 10 == 0]:
        less = tuple(
            each._replace(parts=tuple(part._replace(ml=part.ml - 20) for part in each.parts)) for each in rig.containers
        )
        answer = judge(rig._replace(containers=less), policy, MOMENT).answers[0]
        assert answer.status in ("limited", "not_ready")
