"""Whatever stands in a sheet: each filled row is accounted for once, nothing raises, no container holds too much."""

from datetime import date, datetime, time, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from readiness.workbooks.handed_over.layouts import faults_of, guess_layout
from readiness.workbooks.handed_over.records import Cell, Layout, Meaning, SheetRow, SheetRows
from readiness.workbooks.handed_over.settling import settle, settle_again
from readiness.workbooks.handed_over.showing import cell_text
from readiness.workbooks.handed_over.understanding import understand

TODAY = date(2026, 6, 15)
FORMATS = st.sampled_from(["General", "0%", "d-mmm", "mmm-yy", "yyyy-mm-dd", "yyyy", "h:mm", "@"])
SAID = st.sampled_from(
    """? | ?? | unk | n/a | none | old | expired | no foam | TOTAL | ditto | " | Sta 1 | Station 2 | E1 |
    Engine 1 tank B | shed | Larkite 3x6 | Larkit 3x6 | AR-AFFF | Class B | 3/6 | 0.03 | 3 & 6 | 0.1-1 | 3-6 |
    pail | crate | cell | 4 x 5 gal | 19 L | 2,5 | 5 imp gal | 0 | -3 | 300 | 43311 | 5/9/2022 | 31/12/26 |
    Mar-28 | 9/25 | ~2019 | =1+1 | LK-1 + LK-2 | LK-1; LK-2; LK-3 | sealed | 1 opened 2/14/26 about half |
    two swollen | 9 swollen | nobody knows | topped up 60 gal | half full | empty | 3 sealed | loaned out |
    do not use | opened, 30 % left | ½ | #REF! | 1e9 | 99999999999999999999""".replace("\n    ", " ").split(" | ")
)
TEXT = st.text(max_size=40) | SAID
VALUES = (
    TEXT
    | st.integers()
    | st.floats()
    | st.booleans()
    | st.datetimes(datetime.combine(date(1900, 1, 1), time()), datetime.combine(date(9999, 1, 1), time()))
    | st.times()
    | st.timedeltas(timedelta(0), timedelta(days=900))
)


@st.composite
def cells(draw):
    value, number_format = draw(VALUES), draw(FORMATS)
    text = cell_text(value, number_format)
    formula = draw(st.sampled_from(["", "", "", "=SUM(A1:A9)"]))
    return Cell(value, text, number_format, formula) if text else None


@st.composite
def sheets(draw):
    width = draw(st.integers(1, 14))
    lines = draw(st.lists(st.lists(st.none() | cells(), min_size=width, max_size=width), min_size=1, max_size=8))
    rows = tuple(
        SheetRow(2 * number + 1, tuple(line), ((0, "look"),) if number % 3 == 2 else (), hidden=number % 4 == 3)
        for number, line in enumerate(lines)
        if any(cell is not None for cell in line)
    )
    return SheetRows("stock", rows, width)


def layouts(width):
    return st.builds(
        Layout,
        st.just("stock"),
        st.integers(0, 6),
        st.permutations([*Meaning, *[Meaning.NOTES] * 3]).map(lambda meanings: tuple(meanings[:width])),
        st.sampled_from(["gal", "L", "imp gal"]),
        st.sampled_from([True, False, None]),
    )


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_every_filled_row_is_accounted_for_once(data):
    sheet = data.draw(sheets())
    units = data.draw(st.sampled_from(["us", "metric"]))
    layout = data.draw(layouts(sheet.width))
    understood = understand(sheet, layout, units=units, today=TODAY)
    numbers = [row.number for row in sheet.rows]
    assert [row.number for row in understood] == numbers
    for row, said in zip(sheet.rows, understood, strict=True):
        assert [text for _, text in said.said] == [cell.text for cell in row.cells if cell is not None]
        assert said.why
        keys = [doubt.key for doubt in said.doubts]
        assert len(set(keys)) == len(keys)
    answers = {}
    for said in understood:
        for doubt in said.doubts:
            answer = st.sampled_from([choice.key for choice in doubt.choices] or [""]) | TEXT
            answers[data.draw(st.sampled_from([doubt.key, doubt.group]))] = data.draw(answer)
    for take in (True, False):
        settled = settle(understood, answers, units=units, today=TODAY, take_proposals=take)
        assert [row.number for row in settled] == numbers
        for row in settled:
            sound(row)


def sound(row):
    """A row is left out with a reason, waits for an answer, or brings in what can be held."""
    assert sum([bool(row.left_out), bool(row.open), bool(row.portions)]) == 1, row
    for portion in row.portions:
        assert portion.many >= 1
        assert 0 <= portion.contents_ml <= portion.capacity_ml
        assert portion.capacity_ml > 0
        assert all(part.ml > 0 for part in portion.parts)
        assert {part.lot for part in portion.parts} <= {lot.lot for lot in row.lots} | {""}


@settings(max_examples=80, deadline=None)
@given(sheets(), st.sampled_from(["us", "metric"]))
def test_a_layout_is_guessed_for_any_sheet(sheet, units):
    guess = guess_layout(sheet, units=units)
    assert len(guess.columns) == sheet.width
    assert all(column.why for column in guess.columns)
    assert not any("columns" in fault and "were given" in fault for fault in faults_of(guess.layout, sheet))
    understand(sheet, guess.layout, units=units, today=TODAY)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_settling_on_from_other_answers_is_settling_from_the_start(data):
    """Answers are given in rounds: what is kept from the round before changes nothing."""
    sheet = data.draw(sheets())
    how = {"units": data.draw(st.sampled_from(["us", "metric"])), "today": TODAY}
    understood = understand(sheet, data.draw(layouts(sheet.width)), **how)
    before = None
    for _ in range(3):
        answers = dict(data.draw(st.lists(an_answer(understood, before), max_size=4)))
        before = settle_again(understood, answers, before, **how)
        assert before.rows == settle(understood, answers, **how)


def an_answer(understood, before):
    """(key, answer): as proposed, one of the choices or anything, to a doubt or to a row."""
    doubts = [doubt for row in understood for doubt in row.doubts]
    doubts += [each.doubt for row in before.rows for each in row.open] if before else []
    asked = [st.tuples(st.just(f"{row.number}:row"), st.just("leave_out")) for row in understood]
    for doubt in doubts:
        words = [choice.key for choice in doubt.choices] + ["2028-07", "4", "40 gal"]
        asked.append(st.tuples(st.sampled_from([doubt.key, doubt.group]), st.sampled_from(words)))
    return st.one_of(asked) if asked else st.just(("nothing", "said"))
