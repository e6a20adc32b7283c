"""Notes that change what a row means, each read as a person would."""

from datetime import date
from fractions import Fraction

import pytest

from readiness.workbooks.handed_over.notes_said import NoteReader, says_no_foam, says_sealed

READER = NoteReader(volume_unit="gal", day_first=False, today=date(2026, 6, 15))


def only(note):
    """The one finding of a note."""
    findings = READER.findings(note)
    assert len(findings) == 1, findings
    return findings[0]


@pytest.mark.parametrize(
    ("note", "many", "share", "ml", "on"),
    [
        ("1 opened 2/14/26 about half", 1, Fraction(1, 2), None, date(2026, 2, 14)),
        ("two opened", 2, None, None, None),
        ("opened", None, None, None, None),
        ("one open, 1/4 left", 1, Fraction(1, 4), None, None),
        ("1 opened 14-Feb-26, 2 gal left", 1, None, 7_571, date(2026, 2, 14)),  # 2 × 3785.41 ml
        ("1 opened, 30 % left", 1, Fraction(3, 10), None, None),
        ("seal broken", None, None, None, None),
        ("1 opened, half a gallon left", 1, None, None, None),
        ("1 opened, .5 gal left", 1, None, 1_893, None),  # 0.5 × 3785.41 ml
        ("1 opened, 1/2 gal left", 1, None, None, None),
    ],
)
def test_opened(note, many, share, ml, on):
    found = only(note)
    assert (found.what, found.many, found.share, found.ml, found.on) == ("opened", many, share, ml, on)


@pytest.mark.parametrize(
    ("note", "many", "word"), [("two swollen", 2, "swollen"), ("leaking", None, "leaking"), ("3 dented?", 3, "dented")]
)
def test_damaged(note, many, word):
    found = only(note)
    assert (found.what, found.many, found.word) == ("hurt", many, word)


@pytest.mark.parametrize(
    ("note", "condition"),
    [
        ("nobody knows what is in it", "quarantined"),
        ("no label", "quarantined"),
        ("DO NOT USE", "quarantined"),
        ("for disposal", "quarantined"),
        ("contaminated", "mixed"),
        ("water in it", "diluted"),
    ],
)
def test_not_to_be_counted_on(note, condition):
    found = only(note)
    assert (found.what, found.condition) == ("state", condition)


def test_topped_up_gone_and_how_full():
    topped = only("topped up 60 gal at refit")
    assert (topped.what, topped.ml) == ("topped", 227_125)  # 60 × 3785.411784
    assert only("loaned to the airport").what == "gone"
    assert (only("about half").what, only("half full").share) == ("fill", Fraction(1, 2))
    assert only("empty").share == 0
    assert (only("1/2 pail").what, only("1/2 pail").share) == ("fill", Fraction(1, 2))
    assert (only("4 sealed").what, only("4 sealed").many) == ("some sealed", 4)


@pytest.mark.parametrize(
    "note",
    ["chief says keep", "converted Apr 2025", "portable kit", "outside, heated?", "for live burns", "sealed", ""],
)
def test_notes_that_change_nothing_are_left_alone(note):
    assert READER.findings(note) == ()


def test_sealed_of_all():
    sealed = {"sealed": True, "all sealed": True, "unopened": True, "not sealed": False, "4 sealed": False, "": False}
    assert {note: says_sealed(note) for note in sealed} == sealed


def test_no_foam():
    said = {"no foam": True, "No foam carried": True, "none": True, "foam": False, "no foamer": False}
    assert {text: says_no_foam(text) for text in said} == said
