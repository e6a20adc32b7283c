"""Rows as they would be understood: what each is, what it says, and what has to be asked."""

from datetime import date

import pytest

from readiness.workbooks.handed_over.opening import open_sheets
from readiness.workbooks.handed_over.records import Meaning, groups
from readiness.workbooks.handed_over.understanding import understand
from tests import handed_sheet
from tests.workbooks.handed_over.books import (
    HEADINGS,
    TODAY,
    book_of,
    codes,
    csv_of,
    guess_layout,
    one,
    opened,
    read,
    row,
    saved,
    settled,
    stock_of,
    stored,
)


def fates(*rows, **how):
    return {each.number: each.fate.value for each in read(*rows, **how)}


def test_what_rows_are():
    blank = (None,) * 12
    assert (
        fates(
            row(),
            HEADINGS,  # repeated further down
            ("TOTAL", *blank[:5], "=SUM(G4:G5)"),
            (*blank[:6], "=SUM(G4:G5)"),
            ("Grand total", None, None, None, None, None, 12),
            ("Sta 4", "Tanker 4", *blank[2:11], "no foam"),
            ("Sta 4", "Tanker 5", "none"),
            ("Sta 4", "Engine 4"),
            ("Station 5",),
            ("remember to count the shed",),
            ("12 more pails of AFFF in the attic",),
            (None, None, "Larkite 3x6"),
            (None, None, None, None, None, "pail", 3, 5),
            above=("Foam on hand", "updated 3/11/26, gallons unless noted"),
        )
        == {
            1: "title",
            2: "title",
            3: "header",
            4: "stock",
            5: "header",
            6: "total",
            7: "total",
            8: "total",
            9: "no foam",
            10: "no foam",
            11: "not understood",
            12: "title",
            13: "title",
            14: "not understood",
            15: "not understood",
            16: "stock",
        }
    )


def test_a_row_stands_as_it_was():
    understood = one(Qty=14, Notes="sealed")
    assert understood.said[:3] == (("Station", "Sta 1"), ("Where", "store room"), ("Product", "Larkite 3x6"))
    assert dict(understood.said)["Notes"] == "sealed"
    no_heading = read((*row(), None, "beyond"))[-1]
    assert no_heading.said[-1] == ("column N", "beyond")
    assert no_heading.value(Meaning.NOTES) == "beyond"


def test_a_plain_row_is_understood_without_a_question():
    understood = one()
    assert understood.doubts == ()
    values = {field.meaning: field.value for field in understood.fields if field.value is not None}
    assert values[Meaning.STATION] == "Sta 1"
    assert values[Meaning.KIND] == "AR-AFFF"
    assert (values[Meaning.PERCENT].low, values[Meaning.PERCENT].high) == (300, 600)
    assert (values[Meaning.QUANTITY], values[Meaning.SIZE]) == (4, 18_927)  # 5 × 3785.411784
    assert values[Meaning.GOOD_THROUGH].day == date(2032, 5, 9)


@pytest.mark.parametrize(
    ("changed", "asked"),
    [
        ({"Percent": 0.03}, ["percent"]),
        ({"Percent": stored(2026, 3, 6)}, ["percent"]),
        ({"Type": "Class B"}, ["kind"]),
        ({"Cont": "crate"}, ["container"]),
        ({"Qty": "some"}, ["quantity"]),
        ({"Qty": None}, ["quantity"]),
        ({"Size": None}, ["size"]),
        ({"Size": 0}, ["size"]),
        ({"Size": "big"}, ["size"]),
        ({"Size": 20}, ["size"]),  # 20 gal in a pail: all four together, or a slip
        ({"Lot": "??"}, ["lot"]),
        ({"Lot": "old"}, ["lot"]),
        ({"Lot": None}, ["lot"]),
        ({"Lot": "LK-1 + LK-2"}, ["lot_shares"]),
        ({"Good": "Mar-28"}, ["good_through"]),
        ({"Good": "expired"}, ["good_through"]),
        ({"Good": None}, ["good_through"]),
        ({"Good": "unk"}, ["good_through"]),
        ({"Mfg": None}, []),  # when it was made is good to know and not needed
        ({"Mfg": "2027-01-01"}, ["made_future"]),
        ({"Good": "2021-01-01"}, ["dates_swapped"]),
        ({"Where": "somewhere"}, ["where"]),
        ({"Where": "E7"}, ["where"]),
        ({"Where": None}, ["where"]),
        ({"Station": None}, ["station"]),
        ({"Product": "?"}, ["product"]),
        ({"Product": None}, ["product"]),
        ({"Type": None}, ["kind"]),
        ({"Cont": None}, ["container"]),
        ({"Notes": "1 opened 2/14/26 about half"}, ["opened"]),
        ({"Notes": "two swollen"}, ["hurt"]),
        ({"Notes": "nobody knows what is in it"}, ["state"]),
        ({"Notes": "loaned to the airport"}, ["gone"]),
        ({"Notes": "half full"}, ["fill"]),
        ({"Notes": "topped up 60 gal"}, ["topped"]),
        ({"Notes": "3 sealed"}, ["some_sealed"]),
        ({"Notes": "chief says keep"}, []),
        ({"Notes": "sealed"}, []),
    ],
)
def test_what_is_asked(changed, asked):
    understood = one(**changed)
    assert codes(understood) == asked
    for doubt in understood.doubts:
        assert doubt.row == understood.number
        assert doubt.question.endswith((".", "?"))
        assert doubt.choices or doubt.typed
        assert doubt.proposed is None or doubt.proposed in {choice.key for choice in doubt.choices}


def test_alike_doubts_are_one_question():
    lines = [row(Lot="??", Good=f"Mar-{28 + n % 4}", Qty=n % 9 + 1) for n in range(200)]
    understood = read(*lines)
    assert sum(len(each.doubts) for each in understood) == 400
    assert {group: len(doubts) for group, doubts in groups(understood).items()} == {
        "lot|??": 200,
        "good_through|month and two figures": 200,
    }
    blank = read(*[row(Lot=None, Qty=1)] * 50)
    assert list(groups(blank)) == ["lot|blank"]


def test_a_blank_station_is_the_one_above_if_somebody_says_so():
    understood = stock_of(read(row(Station="Sta 3"), row(Station=None), row(Station=None)))
    asked = [doubt for each in understood for doubt in each.doubts]
    assert [(doubt.proposed, doubt.choices[0].value) for doubt in asked] == [("above", "Sta 3"), ("above", "Sta 3")]


def test_lines_that_are_headings_of_what_follows():
    understood = read(("Station 4",), row(Station=None), (None, None, "Larkite 3x6"), row(Station=None, Product=None))
    stations = [doubt for each in understood for doubt in each.doubts if doubt.code == "station"]
    products = [doubt for each in understood for doubt in each.doubts if doubt.code == "product"]
    assert [doubt.choices[0].value for doubt in stations] == ["Station 4", "Station 4"]
    assert [doubt.proposed for doubt in products] == ["Larkite 3x6"]


def test_ditto_is_the_cell_above():
    understood = stock_of(read(row(), row(Product='"', Type="ditto", Lot="same", Qty=2)))[1]
    assert understood.doubts == ()
    assert understood.value(Meaning.PRODUCT) == "Larkite 3x6"
    field = understood.field(Meaning.PRODUCT)
    assert (field.read, field.words) == ('"', "Larkite 3x6 (as in the row above)")


def test_spellings_of_one_product():
    lines = [row(), row(), row(Product="LARKITE 3 x 6"), row(Product="Larkite 3/6")]
    assert [each.value(Meaning.PRODUCT) for each in stock_of(read(*lines))] == ["Larkite 3x6"] * 4
    slipped = stock_of(read(row(), row(), row(Product="Larkit 3x6")))[2]
    assert [(doubt.code, doubt.proposed) for doubt in slipped.doubts] == [("product", "Larkite 3x6")]
    other = stock_of(read(row(), row(), row(Product="Larkite 3", Type="AFFF", Percent=3)))[2]
    assert other.doubts == ()  # another figure is another product


def test_one_product_of_two_kinds_is_asked_in_every_row_of_it():
    understood = stock_of(read(row(), row(), row(Type="AFFF")))
    assert [codes(each) for each in understood] == [["kind"]] * 3
    assert len(groups(tuple(understood))) == 1


def test_a_kind_that_other_rows_or_the_name_say():
    elsewhere = stock_of(read(row(), row(Type=None)))[1]
    assert [doubt.proposed for doubt in elsewhere.doubts] == ["AR-AFFF"]
    named = one(Product="Larkite AFFF 3", Type=None, Percent=3)
    assert [doubt.proposed for doubt in named.doubts] == ["AFFF"]


def test_stations_in_several_spellings():
    understood = stock_of(read(row(), row(), row(Station="Station 1"), row(Station="FS-1"), row(Station=1)))
    assert [each.value(Meaning.STATION) for each in understood] == ["Sta 1"] * 5
    assert "written “Station 1”" in understood[2].field(Meaning.STATION).words


def test_a_short_form_is_certain_where_the_sheet_writes_the_unit_out():
    understood = stock_of(read(row(Where="Engine 7 tank", Cont="tank", Qty=1, Size=30), row(Where="E7 L3")))
    assert understood[1].doubts == ()
    assert understood[1].value(Meaning.WHERE).unit == "Engine 7"


def test_dates_of_one_lot():
    agreeing = stock_of(read(row(Good="2032-05-09"), row(Good="5/2032"), row(Good=None)))
    assert [each.doubts for each in agreeing] == [(), (), ()]  # the month contains the day; the blank one has its lot's
    differing = stock_of(read(row(Good="2032-05-09"), row(Good="2033-05-09")))
    assert [codes(each) for each in differing] == [["lot_good_through"]] * 2
    assert len(groups(tuple(differing))) == 1


def test_size_and_total_that_do_not_agree():
    headings = ("Product", "Type", "Cont", "Qty", "Size (gal)", "Total gal", "Lot", "Exp", "Station", "Where")
    tail = ("LK-1", "2032-05-09", "Sta 1", "store room")
    agreeing = read(("Larkite", "AFFF", "pail", 4, 5, 20, *tail), headings=headings)[-1]
    assert agreeing.doubts == ()
    less = read(("Larkite", "AFFF", "pail", 4, 5, 17, *tail), headings=headings)[-1]
    assert [[choice.key for choice in doubt.choices] for doubt in less.doubts] == [["sizes", "total"]]
    more = read(("Larkite", "AFFF", "pail", 4, 5, 30, *tail), headings=headings)[-1]
    assert [[choice.key for choice in doubt.choices] for doubt in more.doubts] == [["sizes"]]


def test_gallons_of_a_metric_department():
    understood = read(row(), row(Size="20 L"), units="metric")
    assert [codes(each) for each in stock_of(understood)] == [["size"], []]
    assert stock_of(understood)[0].doubts[0].proposed is None


def test_a_csv_says_the_same_as_the_workbook():
    lines = [",".join("" if cell is None else str(cell) for cell in line) for line in (HEADINGS, row(), row(Qty=7))]
    sheet = csv_of("\n".join(lines)).sheets[0]
    from_text = understand(sheet, guess_layout(sheet, units="us").layout, units="us", today=TODAY)
    assert [(each.fate, each.said, each.doubts) for each in from_text] == [
        (each.fate, each.said, each.doubts) for each in read(row(), row(Qty=7))
    ]


def test_comments_are_looked_through_like_notes():
    file = open_sheets(handed_sheet.sheet_bytes(), name=handed_sheet.NAME)
    sheet = file.sheet(handed_sheet.SHEET)
    understood = understand(sheet, guess_layout(sheet, units="us").layout, units="us", today=TODAY)
    commented = [each for each in understood if each.comments]
    assert [(each.number, each.comments) for each in commented] == [(7, ("check with shop",))]


def test_a_hidden_row_is_read_and_said_to_be_hidden():
    sheet = opened(row())
    hidden = sheet._replace(rows=(*sheet.rows[:-1], sheet.rows[-1]._replace(hidden=True)))
    understood = understand(hidden, guess_layout(hidden, units="us").layout, units="us", today=TODAY)
    assert "hidden" in understood[-1].why


def test_a_name_that_begins_like_a_total_is_no_total():
    assert fates(row(Station="Total Care House"))[2] == "stock"


def test_names_that_differ_in_a_figure_are_different_products():
    understood = stock_of(read(row(), row(), row(Product="Larkite 3x3", Percent="3x3")))
    assert understood[2].doubts == ()


def test_a_date_beside_two_lots_is_no_date_of_either():
    understood = stock_of(read(row(Lot="LK-1 + LK-2", Qty=1), row(Lot="LK-1", Good=None)))
    assert codes(understood[1]) == ["good_through"]


def test_volumes_beside_a_count_are_asked_about_once_for_the_column():
    headings = ("Station", "Where", "Product", "Type", "Drums", "Litres", "Lot", "Expiry")
    lines = [("Hill", "store room", "Larkite", "FFFP", n, 200.5, f"LK-{n}", "2032-05-09") for n in range(1, 9)]
    understood = stock_of(read(*lines, headings=headings, units="metric"))
    assert [codes(each) for each in understood] == [["container"], *[["container", "volume"]] * 7]
    assert len(groups(tuple(understood))) == 2
    assert {doubt.proposed for each in understood for doubt in each.doubts} == {"drum", None}
    total = stock_of(read(*lines, headings=(*headings[:5], "Total litres", *headings[6:]), units="metric"))
    assert [codes(each) for each in total] == [["container"]] * 8


def test_a_count_a_size_a_container_and_a_station_said_by_the_way():
    headings = ("Where", "Product", "Type", "Gallons", "Lot", "Expiry")
    line = ("Station 1 bay", "5 gal pail Larkite", "AFFF", "4 x 5 gal", "LK-1", "2032-05-09")
    understood = read(line, headings=headings)[-1]
    values = {field.meaning: field.value for field in understood.fields}
    assert (values[Meaning.QUANTITY], values[Meaning.VOLUME]) == (4, 4 * 18_927)
    assert (values[Meaning.STATION], values[Meaning.WHERE].part) == ("Station 1", "bay")
    assert [(doubt.code, doubt.proposed) for doubt in understood.doubts] == [("container", "pail")]


def test_a_station_above_the_headings_is_of_the_rows_below():
    headings = ("Where", "Product", "Type", "Qty", "Size", "Lot", "Expiry", "Cont")
    line = ("store room", "Larkite", "AFFF", 4, 5, "LK-1", "2032-05-09", "pail")
    understood = read(line, headings=headings, above=("STATION 4",))[-1]
    assert [(doubt.code, doubt.choices[0].value) for doubt in understood.doubts] == [("station", "STATION 4")]


def test_blank_stations_of_several_stations_are_one_question():
    understood = read(row(Station="Sta 1"), row(Station=None), row(Station="Sta 2"), row(Station=None))
    assert list(groups(understood)) == ["station|blank|above"]
    answered = settled(understood, {"station|blank|above": "above"})
    assert [each.station for each in answered[1:]] == ["Sta 1", "Sta 1", "Sta 2", "Sta 2"]


def test_cells_merged_downwards():
    book = book_of(row(Station="Sta 1", Qty=4), row(Station=None, Qty=None), row(Station=None, Qty=3))
    book.active.merge_cells("A2:A3")
    book.active.merge_cells("G2:G3")
    sheet = open_sheets(saved(book), name="x").sheets[0]
    understood = understand(sheet, guess_layout(sheet, units="us").layout, units="us", today=TODAY)
    assert [codes(each) for each in understood] == [[], [], ["quantity"], ["station"]]  # a merged count is of both
    assert understood[2].field(Meaning.STATION).words == "Sta 1 (merged with the row above)"


def test_a_unit_without_foam_is_named():
    understood = read(
        ("Sta 4", "Tanker 4", *[None] * 9, "no foam"), ("Tanker 5 – no foam",), ("Sta 6", "Brush 6 (no foam)"), row()
    )
    rows = [each for each in settled(understood) if each.fate == "no foam"]
    assert [(each.station, each.spot.unit) for each in rows] == [
        ("Sta 4", "Tanker 4"),
        ("", "Tanker 5"),
        ("Sta 6", "Brush 6"),
    ]


def test_a_product_that_is_called_total_is_stock():
    assert fates(row(Product="Total Foam 3", Lot=None))[2] == "stock"


def test_a_total_is_compared_with_what_stands_above_it():
    def why(*figures):
        lines = [row(Qty=4), row(Qty=5), *[("Total", *[None] * 5, figure) for figure in figures[:1]], row(Qty=2)]
        lines += [("Grand total", *[None] * 5, figure) for figure in figures[1:]]
        return [each.why for each in read(*lines) if each.fate == "total"]

    assert why(9, 11) == [
        "It adds up the rows above; it is no stock of its own. It says 9. The rows above come to 9 containers.",
        "It adds up the rows above; it is no stock of its own. It says 11. The rows above come to 11 containers, and 2 "
        "since the last total.",
    ]
    assert why(8)[0].endswith("It says 8. The rows above come to 9 containers: look at it.")
    assert why("=SUM(G2:G3)")[0].endswith("own. The rows above come to 9 containers.")  # nothing is stored with it


def test_not_available_is_not_none():
    assert fates(("Sta 4", "Tanker 4", *[None] * 9, "n/a"))[2] == "not understood"


def test_lots_with_their_numbers_behind_them():
    understood = one(Lot="LK-1 (3) / LK-2 (1)")
    assert [(doubt.code, doubt.proposed) for doubt in understood.doubts] == [("lot_shares", "n:3,1")]
    assert one(Lot="LK-1 (3) / LK-2 (2)").doubts[0].proposed is None  # five of four


def test_an_amount_in_words_is_looked_through_like_a_note():
    understood = one(Qty="10 gal, half full", Cont="tank", Size=None)
    assert [(doubt.code, doubt.proposed) for doubt in understood.doubts] == [("quantity", "1"), ("fill", "1|1/2")]


def test_a_product_may_be_called_by_its_kind_if_somebody_says_so():
    understood = one(Product=None, Type="Class A", Percent="0.5")
    assert understood.doubts[0].proposed is None
    assert "Class A" in [choice.key for choice in understood.doubts[0].choices]


def test_a_station_said_by_a_place_in_doubt():
    understood = read(
        ("Sta. 2 - T-2", "Larkite", "AFFF", 4, 5), headings=("Loc", "Brand/Type", "Kind", "Qty & size", "Size")
    )
    assert understood[-1].value(Meaning.STATION) == "Sta. 2"
    assert understood[-1].doubts[0].proposed == "unit:Truck 2"
