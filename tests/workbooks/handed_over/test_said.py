"""One cell at a time: what it says, by readings written here by hand."""

from datetime import date, datetime, time

import pytest

from readiness.engineering.dates import GoodThrough
from readiness.workbooks.handed_over.amounts_said import (
    VolumeReader,
    count_typed,
    gallons_as,
    read_count,
    shared,
    size_within,
)
from readiness.workbooks.handed_over.dates_said import DateReader, answered, in_words, orders
from readiness.workbooks.handed_over.names_said import (
    container_named,
    container_within,
    is_no_lot,
    kind_named,
    kind_within,
    lots_counted,
    lots_named,
)
from readiness.workbooks.handed_over.percents_said import from_key, read_percents, to_key
from readiness.workbooks.handed_over.percents_said import in_words as percents_in_words
from readiness.workbooks.handed_over.places_said import is_short, is_station, read_place, station_within
from readiness.workbooks.handed_over.records import Cell, Percents
from readiness.workbooks.handed_over.showing import cell_text

TODAY = date(2026, 6, 15)


def stored(year, month, day):
    """A date as a workbook stores it: with an hour, which is midnight."""
    return datetime.combine(date(year, month, day), time())


def cell(value, number_format="General"):
    """A cell as the opening makes it."""
    return Cell(value, cell_text(value, number_format), number_format)


def dated(value, number_format="General", day_first=False):
    return DateReader(day_first=day_first, today=TODAY).read(cell(value, number_format))


def through(year, month, day, precision="day"):
    return GoodThrough(date(year, month, day), precision)


@pytest.mark.parametrize(
    ("value", "number_format", "right"),
    [
        (stored(2022, 5, 9), "yyyy-mm-dd", through(2022, 5, 9)),
        (stored(2022, 5, 9), "m/d/yy h:mm", through(2022, 5, 9)),
        (stored(2028, 3, 1), "mmm-yy", through(2028, 3, 31, "month")),  # shown as Mar-28: a month
        (stored(2028, 3, 1), "yyyy", through(2028, 12, 31, "year")),
        (43311, "General", through(2018, 7, 30)),  # a spreadsheet's day number: 30 Jul 2018 in every spreadsheet
        (46964, "General", through(2028, 7, 30)),
        ("43311", "General", through(2018, 7, 30)),
        (1999, "General", through(1999, 12, 31, "year")),
        ("1999", "General", through(1999, 12, 31, "year")),
        ("5/9/2022", "General", through(2022, 5, 9)),
        ("5-9-22", "General", through(2022, 5, 9)),
        ("2022-05-09", "General", through(2022, 5, 9)),
        ("2022-05-09 00:00:00", "General", through(2022, 5, 9)),
        ("2022.5.9", "General", through(2022, 5, 9)),
        ("20220509", "General", through(2022, 5, 9)),
        ("30-Jul-18", "General", through(2018, 7, 30)),
        ("30 July 2018", "General", through(2018, 7, 30)),
        ("July 30, 2018", "General", through(2018, 7, 30)),
        ("Jul 30th 18", "General", through(2018, 7, 30)),
        ("3/2023", "General", through(2023, 3, 31, "month")),
        ("Mar 2023", "General", through(2023, 3, 31, "month")),
        ("Sept. 2023", "General", through(2023, 9, 30, "month")),
        ("Mar '28", "General", through(2028, 3, 31, "month")),
        ("Mar-99", "General", through(1999, 3, 31, "month")),  # 99 is no day
        ("exp 10/2033", "General", through(2033, 10, 31, "month")),
        ("EXP: 5/9/22", "General", through(2022, 5, 9)),
        ("06/2024 EXPIRED", "General", through(2024, 6, 30, "month")),
        ("2/29/24", "General", through(2024, 2, 29)),
    ],
)
def test_a_date_that_can_be_read_in_one_way(value, number_format, right):
    said = dated(value, number_format)
    assert (said.state, said.value) == ("known", right)


@pytest.mark.parametrize("value", ["unk", "?", "??", "n/a", "Unknown", "none", "-", "no date", "tbd", "#REF!"])
def test_a_date_that_nobody_knows(value):
    assert dated(value).state == "unknown"


@pytest.mark.parametrize(
    ("value", "number_format", "right"),
    [
        ("Mar-28", "General", {"year": through(2028, 3, 31, "month"), "unknown": None}),
        ("28-Mar", "General", {"year": through(2028, 3, 31, "month"), "unknown": None}),
        ("9/25", "General", {"year": through(2025, 9, 30, "month"), "unknown": None}),
        (
            stored(2026, 3, 28),  # typed as Mar-28 and taken for a day of the year in which it was typed
            "d-mmm",
            {"year": through(2028, 3, 31, "month"), "stored": through(2026, 3, 28), "unknown": None},
        ),
        ("2029-2031", "General", {"earlier": through(2029, 12, 31, "year"), "unknown": None}),
        ("~2019", "General", {"as_said": through(2019, 12, 31, "year"), "unknown": None}),
        ("2019?", "General", {"as_said": through(2019, 12, 31, "year"), "unknown": None}),
        ("expired", "General", {"expired": None, "unknown": None}),
        ("Q3 2024", "General", {"unknown": None}),
        ("see label", "General", {"unknown": None}),
        ("31/31/2022", "General", {"unknown": None}),
        (time(3, 4), "h:mm", {"unknown": None}),
        (7, "General", {"unknown": None}),
    ],
)
def test_a_date_that_could_mean_several_things(value, number_format, right):
    said = dated(value, number_format)
    assert said.state == "doubt"
    assert {choice.key: answered(choice.key, said.choices) for choice in said.choices} == right


def test_day_and_month_where_nothing_decides():
    said = dated("3/4/26", day_first=None)
    assert said.state == "doubt"
    assert said.proposed is None
    assert answered("month_first", said.choices) == through(2026, 3, 4)
    assert answered("day_first", said.choices) == through(2026, 4, 3)
    assert dated("3/4/26", day_first=True).value == through(2026, 4, 3)
    for one_way in ("5/5/22", "14/2/26", "2/14/26"):
        assert dated(one_way, day_first=None).state == "known"
    assert (orders("3/4/26"), orders("2/14/26"), orders("14/2/26")) == ({"day", "month"}, {"month"}, {"day"})
    assert orders("32/14/26") == orders("Mar 2023") == frozenset()


def test_a_date_that_the_order_of_the_sheet_forbids_is_not_turned_around():
    assert dated("14/2/26", day_first=False).state == "doubt"


@pytest.mark.parametrize(
    ("label", "words"),
    [
        (through(2028, 7, 30), "30 Jul 2028"),
        (through(2028, 7, 31, "month"), "Jul 2028"),
        (through(2028, 12, 31, "year"), "2028"),
    ],
)
def test_dates_in_words(label, words):
    assert in_words(label) == words


@pytest.mark.parametrize(
    ("value", "number_format", "right"),
    [
        (3, "General", Percents(300, 300, "one")),
        ("3%", "General", Percents(300, 300, "one")),
        ("6 %", "General", Percents(600, 600, "one")),
        (0.03, "0%", Percents(300, 300, "one")),  # shown as 3%
        (0.5, "General", Percents(50, 50, "one")),  # a Class A setting
        ("3/6", "General", Percents(300, 600, "pair")),
        ("6/3", "General", Percents(300, 600, "pair")),
        ("3x3", "General", Percents(300, 300, "pair")),
        ("3 & 6", "General", Percents(300, 600, "pair")),
        ("1%/3%", "General", Percents(100, 300, "pair")),
        (".5%", "General", Percents(50, 50, "one")),  # not 5 %
        (".5", "General", Percents(50, 50, "one")),
        ("1/3", "General", Percents(100, 300, "pair")),
        ("0.1-1", "General", Percents(10, 100, "range")),
        ("0.1 to 1 %", "General", Percents(10, 100, "range")),
    ],
)
def test_a_percentage_that_can_be_read_in_one_way(value, number_format, right):
    said = read_percents(cell(value, number_format))
    assert (said.state, said.value) == ("known", right)


@pytest.mark.parametrize(
    ("value", "number_format", "proposed"),
    [
        (0.03, "General", "300"),
        ("0.06", "General", "600"),
        (300, "General", "300"),
        (stored(2026, 3, 6), "m/d/yyyy", "300x600"),  # 3/6, taken for the sixth of March
        (stored(2026, 6, 3), "d-mmm", "300x600"),
        ("6-Mar", "General", "300x600"),
        ("Mar-06", "General", "300x600"),
        ("3-6", "General", "300x600"),
        ("1/2 %", "General", "50"),  # a half of one percent, or 1x2
        ("1/4", "General", "25"),
        ("lots", "General", None),
        (stored(2026, 3, 25), "m/d/yyyy", None),
        (-3, "General", None),
        (40, "General", None),
    ],
)
def test_a_percentage_in_doubt(value, number_format, proposed):
    said = read_percents(cell(value, number_format))
    assert (said.state, said.proposed) == ("doubt", proposed)
    if proposed:
        assert proposed in {choice.key for choice in said.choices}


@pytest.mark.parametrize(
    ("percents", "key", "words"),
    [
        (Percents(300, 300, "one"), "300", "3 %"),
        (Percents(300, 600, "pair"), "300x600", "3x6"),
        (Percents(10, 100, "range"), "10-100", "0.1 to 1 %"),
    ],
)
def test_percentages_in_keys_and_words(percents, key, words):
    assert (to_key(percents), from_key(key), percents_in_words(percents)) == (key, percents, words)


@pytest.mark.parametrize(
    ("value", "right"),
    [
        (14, 14),
        ("5", 5),
        ("14 pails", 14),
        ("two", 2),
        (3.0, 3),
        ("x 4", 4),
        ("4 x 5 gal", 4),
        (0, 0),
        ("2.0", 2),
        ("12 - 5 gal pails", 12),
        ("3 ea 5-gal", 3),
    ],
)
def test_a_number_of_containers(value, right):
    assert read_count(cell(value)).value == right


@pytest.mark.parametrize(
    "value", [2.5, "2.5", ".5", "20 gal", "1/2 pail", "?", "some", -1, 100_000, "2 + x", True, stored(2026, 3, 6)]
)
def test_a_number_of_containers_in_doubt(value):
    said = read_count(cell(value))
    assert said.state == "doubt"
    assert said.typed


def test_a_sum_is_proposed_and_asked():
    assert (read_count(cell("2 + 1")).state, read_count(cell("2 + 1")).proposed) == ("doubt", "3")
    assert (count_typed("4"), count_typed("pails")) == (4, None)


# A US gallon is 3785.411784 ml, an imperial gallon 4546.09 ml: the definitions of 231 in³ and of 1995.
@pytest.mark.parametrize(
    ("value", "unit", "ml"),
    [
        (5, "gal", 18_927),
        ("5", "gal", 18_927),
        ("25 gal", "L", 94_635),
        ("19 L", "gal", 19_000),
        ("19 ltr", "gal", 19_000),
        (2.5, "gal", 9_464),
        (".5 gal", "gal", 1_893),
        ("5 gal ea", "gal", 18_927),
        ("5gal.", "gal", 18_927),
        ("1,000", "L", 1_000_000),
        ("5 imp gal", "gal", 22_730),
        (5, "imp gal", 22_730),
        (0, "gal", 0),
    ],
)
def test_a_volume(value, unit, ml):
    assert VolumeReader(unit=unit, units="us").read(cell(value)).value == ml


@pytest.mark.parametrize("value", ["about 5", "?", "5 lb", "2,5", "full", -5, 9e9, True, stored(2026, 3, 6)])
def test_a_volume_in_doubt(value):
    assert VolumeReader(unit="gal", units="us").read(cell(value)).state == "doubt"


def test_a_comma_may_be_a_point():
    said = VolumeReader(unit="L", units="metric").read(cell("2,5"))
    assert (said.state, said.proposed) == ("doubt", "2500 ml")


def test_outside_the_united_states_a_gallon_is_asked_about():
    reader = VolumeReader(unit="gal", units="metric")
    said = reader.read(cell(5))
    assert (said.state, said.style) == ("doubt", "which gallon")
    assert [gallons_as("5 gal", choice.key) for choice in said.choices] == [18_927, 22_730, 5_000]
    assert reader.read(cell("5 US gal")).value == 18_927
    assert reader.read(cell("20 L")).value == 20_000


def test_a_size_said_by_a_count_or_a_kind():
    assert size_within("4 x 5 gal", "gal") == 18_927
    assert size_within("4x20", "L") == 20_000
    assert size_within("12 - 5 gal pails", "L") == size_within("3 ea 5-gal", "L") == 18_927
    assert read_count(cell("20 gal")).proposed == "1"  # a volume where a number belongs
    assert size_within("5 gal pail", "gal") == 18_927
    assert size_within("5-gallon buckets", "L") == 18_927
    assert size_within("pail", "gal") is None
    assert size_within("4", "gal") is None


def test_a_volume_in_even_parts_is_the_volume():
    assert shared(10, 4) == (3, 3, 2, 2)
    assert sum(shared(75_708, 7)) == 75_708


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("AR-AFFF", "AR-AFFF"),
        ("AR AFFF", "AR-AFFF"),
        ("afff/ar", "AR-AFFF"),
        ("AFFF 3%", "AFFF"),
        ("AR-SFFF (F3)", "AR-F3"),
        ("F3", "F3"),
        ("fluorine-free", "F3"),
        ("Protein", "P"),
        ("Fluoroprotein foam", "FP"),
        ("class a foam", "Class A"),
        ("Hi-Ex", "high-expansion"),
        ("training", "training"),
        ("Class B", ""),
        ("foam", ""),
    ],
)
def test_kinds_of_concentrate(text, kind):
    assert kind_named(text) == kind


def test_a_kind_within_a_name():
    assert kind_within("Larkite AR-AFFF 3x6") == "AR-AFFF"
    assert kind_within("Larkite AFFF 3") == "AFFF"
    assert kind_within("Larkite") == ""


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("pails", "pail"),
        ("Pail", "pail"),
        ("5 gal bucket", ""),  # more than a kind: container_within reads it
        ("barrel", "drum"),
        ("IBC", "tote"),
        ("cell", "fixed tank"),
        ("kit", "kit reservoir"),
        ("jerry can", "jug"),
        ("crate", ""),
    ],
)
def test_kinds_of_container(text, kind):
    assert container_named(text) == kind


def test_lots_in_one_cell():
    assert lots_named("LK-2310 + LK-2219") == ("LK-2310", "LK-2219")
    assert lots_named("LK-1 & LK-2; LK-3\nLK-1") == ("LK-1", "LK-2", "LK-3")
    assert lots_named("Lot # LK/22-1") == ("LK/22-1",)  # a slash stands in lot numbers
    assert lots_named("LK-1 (10) / LK-2 (2)") == ("LK-1", "LK-2")
    assert (lots_counted("LK-1 (10) / LK-2 (2)"), lots_counted("LK-1 (10) / LK-2")) == ((10, 2), ())
    assert [is_no_lot(each) for each in ("LK-1", "??", "old", "n/a", "7")] == [False, True, True, True, False]


@pytest.mark.parametrize(
    ("text", "what", "unit", "part", "reserve", "built_in"),
    [
        ("Engine 1 tank B", "unit", "Engine 1", "tank B", False, True),
        ("E1 L3 compartment", "unit", "Engine 1", "L3", False, False),
        ("Reserve Engine 9 tank", "unit", "Engine 9", "tank", True, True),
        ("Ladder 2", "unit", "Ladder 2", "", False, False),
        ("Foam Tender 2", "unit", "Foam Tender 2", "", False, False),
        ("foam tender 2 - cell 1", "unit", "Foam Tender 2", "cell 1", False, True),
        ("Brush 3 kit", "unit", "Brush 3", "kit", False, False),
        ("engine #4, L1", "unit", "Engine 4", "L1", False, False),
        ("Tanker 4A", "unit", "Tanker 4A", "", False, False),
        ("ARFF 1", "unit", "ARFF 1", "", False, False),
        ("HM-3", "unit", "Hazmat 3", "", False, False),
        ("store room", "store", "", "store room", False, False),
        ("Station 1 bay", "store", "", "bay", False, False),
        ("Sta. 2 - Truck 2 tank", "unit", "Truck 2", "tank", False, True),
        ("training shed", "store", "", "training shed", False, False),
        ("bay 2, top shelf", "store", "", "bay 2, top shelf", False, False),
        ("somewhere", "unknown", "", "somewhere", False, False),
    ],
)
def test_places(text, what, unit, part, reserve, built_in):
    spot = read_place(text)
    assert (spot.what, spot.unit, spot.part, spot.reserve, spot.built_in) == (what, unit, part, reserve, built_in)
    assert spot.text == text


def test_containers_and_stations_said_by_the_way():
    said = {"5 gallon pails": "pail", "55 gal drum Vernal": "drum", "pail or drum": "", "Larkite": ""}
    assert {text: container_within(text) for text in said} == said
    assert (station_within("Sta. 2 - T-2"), station_within("store room")) == ("Sta. 2", "")
    assert read_place("Sta. 2 - T-2").station == "Sta. 2"
    assert is_short("Sta. 2 - T-2")


def test_short_forms_and_stations():
    assert [is_short(each) for each in ("E1", "E-1 tank", "Engine 1", "shed")] == [True, True, False, False]
    assert [is_station(each) for each in ("Sta 1", "Station 12", "FS-3", "HQ", "2", "shed")] == [True] * 5 + [False]
