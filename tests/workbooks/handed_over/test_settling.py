"""Answers put into rows: what comes in, container by container, worked out here by hand.

A US gallon is 3785.411784 ml: 5 gal are 18,927 ml, 2.5 gal 9,464, 60 gal 227,125, 440 gal 1,665,581, 500 gal 1,892,706.
"""

from datetime import date

import pytest
from openpyxl.styles import Font, PatternFill

from readiness.engineering.dates import GoodThrough
from readiness.workbooks.handed_over.layouts import guess_layout
from readiness.workbooks.handed_over.opening import open_sheets
from readiness.workbooks.handed_over.records import Fate, Part, Spot
from readiness.workbooks.handed_over.settling import settle, settle_again
from readiness.workbooks.handed_over.understanding import understand
from tests import handed_sheet
from tests.workbooks.handed_over.books import HEADINGS, TODAY, book_of, one, read, row, saved, settled, stock_of

PAIL = 18_927
SWOLLEN = [(8, PAIL, "", None, False), (2, PAIL, "quarantined", None, False)]


def after(understood, answer=None, *, take=False):
    """The one row after the answer to its first doubt."""
    answers = {understood.doubts[0].group: answer} if answer else {}
    return settled((understood,), answers, take=take)[0]


def portions(row_settled):
    """(how many, what each holds, condition, sealed, opened) of each portion."""
    return [(each.many, each.contents_ml, each.condition, each.sealed, each.opened) for each in row_settled.portions]


def test_a_plain_row_comes_in_as_it_stands():
    plain = after(one(Qty=14))
    assert plain.ready
    assert portions(plain) == [(14, PAIL, "", None, False)]
    assert (plain.containers, plain.volume_ml) == (14, 14 * PAIL)
    assert (plain.station, plain.product, plain.kind, plain.container) == ("Sta 1", "Larkite 3x6", "AR-AFFF", "pail")
    assert plain.portions[0].parts == (Part("LK-2219", PAIL),)
    assert plain.lots[0].good_through == GoodThrough(date(2032, 5, 9), "day")


def test_what_is_no_stock_stays_out_with_a_reason():
    understood = read(row(), ("TOTAL",), ("Sta 4", "Tanker 4", *[None] * 9, "no foam"), above=("Foam",))
    reasons = [(each.fate, bool(each.left_out), each.portions) for each in settled(understood)]
    assert reasons == [
        (Fate.TITLE, True, ()),
        (Fate.HEADER, True, ()),
        (Fate.STOCK, False, settled(understood)[2].portions),
        (Fate.TOTAL, True, ()),
        (Fate.NO_FOAM, True, ()),
    ]


def test_any_row_may_be_left_out():
    understood = read(row())
    assert settled(understood, {"2:row": "leave_out"})[1].left_out == "Left out, as answered."


@pytest.mark.parametrize(
    ("changed", "answer", "right"),
    [
        (
            {"Notes": "1 opened 2/14/26 about half", "Qty": 3},
            None,
            [(2, PAIL, "", None, False), (1, 9_464, "", False, True)],
        ),
        ({"Notes": "1 opened", "Qty": 3}, "2 gal", [(2, PAIL, "", None, False), (1, 7_571, "", False, True)]),
        ({"Notes": "opened", "Qty": 2}, "2||1", [(2, PAIL, "", False, True)]),
        (
            {"Notes": "two swollen", "Qty": 10},
            None,
            [(8, PAIL, "", None, False), (2, PAIL, "quarantined", None, False)],
        ),
        ({"Notes": "two swollen", "Qty": 10}, "good", [(10, PAIL, "", None, False)]),
        ({"Notes": "two swollen", "Qty": 10}, "2|leave_out", [(8, PAIL, "", None, False)]),
        ({"Notes": "sealed"}, None, [(4, PAIL, "", True, False)]),
        ({"Notes": "3 sealed"}, None, [(3, PAIL, "", True, False), (1, PAIL, "", False, True)]),
        ({"Notes": "3 sealed"}, "good", [(4, PAIL, "", True, False)]),
        ({"Notes": "half full", "Qty": 1}, None, [(1, 9_464, "", None, False)]),
        ({"Notes": "empty", "Qty": 2}, None, [(2, 0, "", None, False)]),
        ({"Notes": "do not use"}, None, [(4, PAIL, "quarantined", None, False)]),
        ({"Notes": "water in it"}, "diluted", [(4, PAIL, "diluted", None, False)]),
        ({"Notes": "do not use"}, "good", [(4, PAIL, "", None, False)]),
        ({"Lot": "??"}, None, [(4, PAIL, "", None, False)]),
        ({"Lot": "??"}, "set_aside", [(4, PAIL, "quarantined", None, False)]),
        ({"Good": "expired"}, None, [(4, PAIL, "quarantined", None, False)]),
        ({"Good": "expired"}, "unknown", [(4, PAIL, "", None, False)]),
        ({"Product": "?"}, None, [(4, PAIL, "quarantined", None, False)]),
        ({"Qty": 0}, None, []),
        ({"Qty": None}, None, [(1, PAIL, "", None, False)]),
        ({"Qty": "some"}, "7", [(7, PAIL, "", None, False)]),
        ({"Size": 20}, "together", [(4, PAIL, "", None, False)]),
        ({"Size": 20}, "each", [(4, 75_708, "", None, False)]),  # 20 × 3785.411784
        ({"Size": 20}, "5 gal", [(4, PAIL, "", None, False)]),
        ({"Size": None}, "19 L", [(4, 19_000, "", None, False)]),
        ({"Size": None, "Cont": "5 gal pail"}, None, [(4, PAIL, "", None, False)]),
        ({"Size": None, "Qty": "4 x 5 gal"}, None, [(4, PAIL, "", None, False)]),
    ],
)
def test_containers_of_a_row(changed, answer, right):
    answered = after(one(**changed), answer, take=True)
    assert answered.ready, answered.open
    assert portions(answered) == right


def test_the_day_of_opening_comes_in():
    answered = after(one(Notes="1 opened 2/14/26 about half", Qty=3), take=True)
    assert [each.opened_on for each in answered.portions] == [None, date(2026, 2, 14)]


def test_two_lots_in_a_tank():
    understood = one(Where="Foam Tender 2", Cont="cell", Qty=1, Size=500, Lot="LK-1 + LK-2", Notes="topped up 60 gal")
    parts = {choice.key: after(understood, choice.key).portions[0].parts for choice in understood.doubts[0].choices}
    assert parts == {
        "1665581,227125": (Part("LK-1", 1_665_581), Part("LK-2", 227_125)),
        "227125,1665581": (Part("LK-1", 227_125), Part("LK-2", 1_665_581)),
        "even": (Part("LK-1", 946_353), Part("LK-2", 946_353)),
    }
    assert after(understood, "440 gal").portions[0].parts == (Part("LK-1", 1_665_581), Part("LK-2", 227_125))
    assert after(understood, "much").open[0].wrong == "“much” was read: a volume belongs here, like 5 gal."
    assert not after(understood, take=True).ready  # nobody may guess it
    assert after(understood, "even").spot == Spot("Foam Tender 2", "unit", "Foam Tender 2", built_in=True)


def test_two_lots_among_pails():
    understood = one(Lot="LK-1 & LK-2", Qty=5)
    for answer in ("n:2,3", "2"):
        answered = after(understood, answer)
        assert [(each.many, each.parts) for each in answered.portions] == [
            (2, (Part("LK-1", PAIL),)),
            (3, (Part("LK-2", PAIL),)),
        ]
    assert "from 0 to 5" in after(understood, "6").open[0].wrong


def test_topped_up_with_another_lot():
    understood = one(Where="Engine 7 tank", Cont="tank", Qty=1, Size=30, Notes="topped up 10 gal")
    keys = [choice.key for choice in understood.doubts[0].choices]
    assert keys == ["same", "other|37854", "set_aside|37854"]
    # 30 gal are 113,562 ml, 10 gal 37,854
    assert after(understood, "same").portions[0].parts == (Part("LK-2219", 113_562),)
    assert after(understood, keys[1]).portions[0].parts == (Part("LK-2219", 75_708), Part("", 37_854))
    assert after(understood, keys[2]).portions[0].condition == "quarantined"


def test_each_row_of_a_group_keeps_its_own_date():
    understood = stock_of(read(row(Lot="LK-1", Good="Mar-28"), row(Lot="LK-2", Good="Apr-29")))
    group = "good_through|month and two figures"
    answered = settled(understood, {group: "year"})
    assert [str(each.lots[0].good_through) for each in answered] == ["2028-03", "2029-04"]
    typed = settled(understood, {group: "2028-03-31"})
    assert [each.ready for each in typed] == [False, False]
    assert "type it at each row" in typed[0].open[0].wrong
    alone = settled(understood, {group: "year", understood[1].doubts[0].key: "2030"})
    assert [str(each.lots[0].good_through) for each in alone] == ["2028-03", "2030"]


def test_without_an_answer_a_doubt_stands_and_nothing_is_guessed():
    understood = one(Good="Mar-28")
    assert [each.doubt.code for each in after(understood).open] == ["good_through"]
    assert after(understood).portions == ()
    assert after(understood, take=True).ready


@pytest.mark.parametrize(
    ("changed", "answer", "wrong"),
    [
        ({"Qty": "some"}, "several", "a whole number belongs here"),
        ({"Size": None}, "big", "a volume belongs here"),
        ({"Good": "unk"}, "soon", "not a date"),
        ({"Type": "Class B"}, "B", "choose one of the kinds"),
        ({"Percent": "lots"}, "many", "percentages belong here"),
        ({"Mfg": "2027-01-01"}, "2028", "lies after today"),
        ({"Good": "2021-01-01"}, "perhaps", "choose one"),
        ({"Station": None}, "x" * 80, "at most 60 characters"),
    ],
)
def test_an_answer_that_is_none(changed, answer, wrong):
    understood = one(**changed)
    answered = settled((understood,), {understood.doubts[0].key: answer})[0]
    assert wrong in answered.open[0].wrong


def test_dates_of_a_lot_are_the_same_on_every_row():
    understood = stock_of(read(row(Good="5/2032"), row(Good="2032-05-09"), row(Good=None)))
    rows = settled(understood)
    assert [str(each.lots[0].good_through) for each in rows] == ["2032-05-09"] * 3
    assert any("as row 3 says (here May 2032)" in step for step in rows[0].steps)


def test_dates_of_a_lot_that_differ_are_answered_once():
    understood = stock_of(read(row(Good="2032-05-09"), row(Good="2033-05-09")))
    assert not any(each.ready for each in settled(understood))
    group = understood[0].doubts[0].group
    answered = settled(understood, {group: "2032-05-09"})
    assert [str(each.lots[0].good_through) for each in answered] == ["2032-05-09"] * 2
    assert [each.lots[0].good_through for each in settled(understood, {group: "unknown"})] == [None, None]


def test_dates_that_differ_only_once_they_are_answered():
    understood = stock_of(read(row(Good="Mar-28"), row(Good="2029-01-01")))
    by_style = {"good_through|month and two figures": "year"}
    rows = settled(understood, by_style)
    assert [[each.doubt.code for each in one_row.open] for one_row in rows] == [["lot_good_through"]] * 2
    group = rows[0].open[0].doubt.group
    answered = settled(understood, by_style | {group: "2028-03"})
    assert [(each.ready, str(each.lots[0].good_through)) for each in answered] == [(True, "2028-03")] * 2


def test_swapped_dates():
    understood = one(Mfg="2032-05-09", Good="2022-05-09")
    assert [doubt.code for doubt in understood.doubts] == ["made_future"]
    late = one(Mfg="2025-05-09", Good="2022-05-09")
    lot = after(late, "swapped").lots[0]
    assert (str(lot.made), str(lot.good_through)) == ("2022-05-09", "2025-05-09")


def test_imperial_gallons_once_they_are_said():
    understood = read(row(), units="metric")[-1]
    volumes = {
        key: settled((understood,), {"size|which gallon": key}, units="metric")[0].portions[0].capacity_ml
        for key in ("gal", "imp gal", "L")
    }
    assert volumes == {"gal": 18_927, "imp gal": 22_730, "L": 5_000}  # 5 × 4546.09 ml = 22,730


def test_places_as_answered():
    understood = one(Where="somewhere")
    assert after(understood, "store").spot == Spot("somewhere", "store", part="somewhere")
    assert after(understood, "unit:somewhere").spot.unit == "somewhere"
    assert after(understood, "Engine 7").spot.unit == "Engine 7"
    assert after(one(Where="E7 L3"), take=True).spot == Spot("E7 L3", "unit", "Engine 7", part="L3")


def test_a_total_that_is_less_than_the_sizes():
    headings = (*HEADINGS[:8], "Total gal", *HEADINGS[8:])
    understood = read((*row()[:8], 17, *row()[8:]), headings=headings)[-1]
    # 17 gal are 64,352 ml: three full pails and 7,571 ml
    assert portions(after(understood, "total")) == [(3, PAIL, "", None, False), (1, 7_571, "", None, False)]
    assert portions(after(understood, "sizes")) == [(4, PAIL, "", None, False)]


def test_a_total_without_a_size_is_shared_evenly():
    headings = (*HEADINGS[:7], "Total gal", *HEADINGS[8:])
    answered = after(read(row(Size=20.5), headings=headings)[-1])
    # 20.5 gal are 77,601 ml: one part of 19,401 and three of 19,400
    assert [(each.many, each.contents_ml) for each in answered.portions] == [(1, 19_401), (3, 19_400)]
    assert "counts as full" in answered.steps[0]


def test_notes_and_comments_come_in_whole():
    understood = one(Notes="chief says keep")._replace(comments=("check with shop",))
    assert after(understood).notes == "chief says keep; check with shop"


def test_every_step_is_told():
    answered = after(one(Good="Mar-28"), "year")
    assert answered.steps == (
        "“Mar-28” was read: 28 can be the year or the day. Answer: the figures are the year: “Mar-28” is Mar 2028.",
    )


def test_the_whole_sheet_comes_to_the_containers_that_stand_in_it():
    sheet = open_sheets(handed_sheet.sheet_bytes(), name=handed_sheet.NAME).sheet(handed_sheet.SHEET)
    understood = understand(sheet, guess_layout(sheet, units="us").layout, units="us", today=TODAY)
    assert [each.number for each in understood] == list(handed_sheet.FILLED)
    waiting = [each for each in settled(understood, take=True) if not each.ready]
    assert [[each.doubt.code for each in one_row.open] for one_row in waiting] == [["lot_shares"]]
    rows = settled(understood, {waiting[0].open[0].doubt.group: "even"}, take=True)
    assert sum(each.containers for each in rows) == handed_sheet.CONTAINERS


CODED = (*HEADINGS, "Tag no.")


def coded(code, qty, answer=None, **changed):
    understood = read((*row(Qty=qty, **changed), code), headings=CODED)[-1]
    return after(understood, answer) if answer or not understood.doubts else understood


def test_label_codes_of_the_sheet():
    assert coded("P-101", 1).codes == ("P-101",)
    assert coded("P-101, P-102 & P-103", 3).codes == ("P-101", "P-102", "P-103")
    assert coded("P-098 to P-101", 4).codes == ("P-098", "P-099", "P-100", "P-101")
    assert coded("7 - 9", 3).codes == ("7", "8", "9")


def test_label_codes_that_are_fewer_than_the_containers_are_asked_about():
    asked = coded("P-101", 3)
    assert [(doubt.code, doubt.proposed) for doubt in asked.doubts] == [("code", None)]
    assert coded("P-101", 3, "numbered").codes == ("P-101-1", "P-101-2", "P-101-3")
    own = coded("P-101", 3, "new_codes")
    assert (own.code, own.codes, own.notes) == ("", (), "label code P-101")
    assert coded("P-101", 3, "P-1, P-2, P-3").codes == ("P-1", "P-2", "P-3")
    assert "3 label codes belong here" in coded("P-101", 3, "P-1, P-2").open[0].wrong


def test_label_codes_of_containers_that_stay_out_are_kept_in_the_notes():
    understood = read((*row(Qty=2, Notes="1 leaking"), "P-1, P-2"), headings=CODED)[-1]
    left = after(understood, "1|leave_out")
    assert (left.containers, left.codes, "P-1, P-2" in left.notes) == (1, (), True)


def test_a_row_that_is_struck_through():
    book = book_of(row(), row(Qty=9))
    for cell in book.active[3]:
        cell.font = Font(strike=True)
    book.active["C2"].font = Font(strike=True)  # one cell alone says nothing of its row
    book.active["C2"].fill = PatternFill("solid", "FFFF00")
    sheet = open_sheets(saved(book), name="x").sheets[0]
    assert any("Struck through in the sheet: row 3." in note for note in sheet.notes)
    assert any("A color lies behind cells of row 2." in note for note in sheet.notes)
    understood = understand(sheet, guess_layout(sheet, units="us").layout, units="us", today=TODAY)
    assert [[doubt.code for doubt in each.doubts] for each in understood] == [[], [], ["struck"]]
    assert after(understood[2], take=True).left_out == "Left out, as answered."
    assert after(understood[2], "here").containers == 9


def test_volumes_of_each_or_of_all():
    headings = (*HEADINGS[:7], "Gallons", *HEADINGS[8:])
    understood = read(row(Size=12.5), headings=headings)[-1]
    assert [doubt.code for doubt in understood.doubts] == ["volume"]
    # 12.5 gal are 47,318 ml: two parts of 11,830 and two of 11,829, or four times the whole
    assert [(each.many, each.contents_ml) for each in after(understood, "together").portions] == [
        (2, 11_830),
        (2, 11_829),
    ]
    assert [(each.many, each.contents_ml) for each in after(understood, "each").portions] == [(4, 47_318)]


def test_some_of_them_are_not_full():
    understood = one(Notes="one pail half full", Qty=3)
    assert portions(after(understood, take=True)) == [(2, PAIL, "", None, False), (1, 9_464, "", None, False)]
    assert portions(after(understood, "3|1/2")) == [(3, 9_464, "", None, False)]
    assert portions(after(understood, "1 gal"))[1] == (1, 3_785, "", None, False)


def test_what_is_typed_is_a_volume_and_never_a_share():
    understood = one(Notes="1 opened", Qty=3)
    assert portions(after(understood, "1"))[1] == (1, 3_785, "", False, True)  # 1 gal, not one whole pail


def test_a_lot_that_nobody_knows_has_no_name():
    unknown = after(one(Lot="old"), "unknown")
    assert unknown.portions[0].parts == (Part("", PAIL),)
    assert [lot.lot for lot in unknown.lots] == [""]
    assert after(one(Lot="old"), "as_written").portions[0].parts == (Part("old", PAIL),)
    assert after(one(Lot="old"), "LK-7").portions[0].parts == (Part("LK-7", PAIL),)


def test_opened_ones_are_not_the_damaged_ones_while_there_are_enough():
    both = after(one(Notes="1 opened half, two swollen", Qty=10), take=True)
    assert portions(both) == [
        (7, PAIL, "", None, False),
        (2, PAIL, "quarantined", None, False),
        (1, 9_464, "", False, True),
    ]


def test_a_container_of_two_lots_that_is_not_full_holds_both_in_proportion():
    understood = one(Where="Engine 7 tank", Cont="tank", Qty=1, Size=10, Lot="LK-1 + LK-2", Notes="about half")
    shares, fill = (doubt.group for doubt in understood.doubts)
    # 10 gal are 37,854 ml; 3 gal of them 11,356 and the rest 26,498; half is 18,927, of which 5,678 and 13,249
    answered = settled((understood,), {shares: "3 gal", fill: "1|1/2"})[0]
    assert answered.portions[0].parts == (Part("LK-1", 5_678), Part("LK-2", 13_249))
    # a quarter is 9,463.5 ml, so 9,464: shares of 2,839.1 and 6,624.9, of which the larger remainder is rounded up
    quarter = one(Where="Engine 7 tank", Cont="tank", Qty=1, Size=10, Lot="LK-1 + LK-2", Notes="1/4 left")
    answered = settled((quarter,), {quarter.doubts[0].group: "3 gal", quarter.doubts[1].group: "1|1/4"})[0]
    assert answered.portions[0].parts == (Part("LK-1", 2_839), Part("LK-2", 6_625))


def test_three_lots_among_pails():
    understood = one(Lot="LK-1, LK-2, LK-3", Qty=7)
    answered = after(understood, "n:3,2,2")
    assert [(each.many, each.parts[0].lot) for each in answered.portions] == [(3, "LK-1"), (2, "LK-2"), (2, "LK-3")]


def test_an_answer_about_a_lot_that_only_answers_brought_together_settles_its_rows_again():
    """A product without a name gets that of another row, whose lot has another date: no row alone asks about it."""
    rows = read(row(), row(Product="?", Good="2033-01-31"))
    how = {"units": "us", "today": TODAY}
    named = {doubt.group: "Larkite 3x6" for doubt in rows[2].doubts if doubt.code == "product"}
    before = settle_again(rows, named, settle_again(rows, {}, None, **how), **how)
    (group,) = before.asked_of_lots
    assert not [doubt for each in rows for doubt in each.doubts if doubt.group == group]
    answers = named | {group: "2033-01-31"}
    again = settle_again(rows, answers, before, **how)
    assert again.rows == settle(rows, answers, **how) != before.rows
    assert {lot.good_through for each in again.rows for lot in each.lots} == {GoodThrough(date(2033, 1, 31), "day")}
