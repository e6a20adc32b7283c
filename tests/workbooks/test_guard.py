"""Files that are no workbook, or none that is opened: each has its sentence."""

import io
import tracemalloc
import zipfile
from datetime import date

import pytest

from readiness.workbooks import guard
from readiness.workbooks.guard import NotAWorkbook, check_file
from readiness.workbooks.reading import read_workbook
from readiness.workbooks.template import write_template
from tests.workbooks.books import book_of, raw_parts, row_xml, sheet_xml, zipped

PLAIN = raw_parts(sheet_xml(row_xml(1, "Container", "Kind", "Capacity [gal]")))
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504)


def sentence_about(data):
    with pytest.raises(NotAWorkbook) as caught:
        read_workbook(data, units="us", today=date(2026, 6, 15))
    assert caught.value.sentence.endswith(".")
    return caught.value.sentence


@pytest.mark.parametrize("data", [write_template("us"), book_of({"stations": [{"name": "Quayside"}]}), zipped(PLAIN)])
def test_workbooks_pass(data):
    check_file(data)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "An empty file"),
        (b"  \n", "An empty file"),
        (b"code,kind,capacity\nP-1,pail,5\n", "CSV"),
        ("code;kind\nSchaum;Eimer ü\n".encode(), "CSV"),
        (b"<html><table><tr><td>P-1</td></tr></table></html>", "web page"),
        (b"%PDF-1.7\n...", "PDF"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00", "no workbook"),
        (OLE + "Workbook".encode("utf-16-le"), ".xls"),
        (OLE + "EncryptedPackage".encode("utf-16-le"), "password"),
        (OLE + "WordDocument".encode("utf-16-le"), "old office file"),
        (zipped({"word/document.xml": b"<w/>", "[Content_Types].xml": b"<t/>"}), "text document"),
        (zipped({"mimetype": b"application/vnd.oasis", "content.xml": b"<o/>"}), ".ods"),
        (zipped({"xl/workbook.bin": b"\x01", "[Content_Types].xml": b"<t/>"}), ".xlsb"),
        (zipped({"stock.csv": b"code\n"}), "zip archive"),
        (zipped({"stock.xlsx": zipped(PLAIN)}), "zip archive"),
    ],
)
def test_what_is_no_workbook_is_named(data, words):
    assert words in sentence_about(data)


@pytest.mark.parametrize(
    ("part", "content", "words"),
    [
        ("xl/vbaProject.bin", b"\x01", "macros"),
        ("xl/macrosheets/sheet1.xml", b"<m/>", "macros"),
        ("xl/activeX/activeX1.xml", b"<a/>", "macros"),
        ("xl/externalLinks/externalLink1.xml", b"<e/>", "links to other workbooks"),
        ("xl/embeddings/oleObject1.bin", b"\x01", "embedded"),
        ("xl/media/picture1.png", zipped(PLAIN), "another file packed in it"),
        ("docProps/thumbnail.bin", b"\x1f\x8b\x08\x00", "another file packed in it"),
        ("xl/bomb.xml", b'<!DOCTYPE l [<!ENTITY a "ha">]><l>&a;</l>', "entities"),
        ("xl/media/zeros.bin", bytes(30_000_000), "unpacks to 30,000,000"),
    ],
)
def test_what_a_workbook_may_not_hold(part, content, words):
    assert words in sentence_about(zipped(PLAIN | {part: content}))


def test_an_entity_across_two_reads_is_still_seen():
    filler = b"<!--" + b"x" * (guard._CHUNK - 9) + b"-->"
    assert "entities" in sentence_about(zipped(PLAIN | {"xl/late.xml": filler + b"<!DOCTYPE l []><l/>"}))


def test_a_bomb_is_refused_without_being_unpacked():
    bomb = zipped(PLAIN | {"xl/worksheets/sheet2.xml": bytes(400_000_000)})
    tracemalloc.start()
    try:
        assert "unpacks to 400,000,000" in sentence_about(bomb)
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()


def test_many_middling_parts_are_a_bomb_too():
    noise = bytes(range(256)) * 40
    parts = {f"xl/media/{number}.bin": noise * 100 for number in range(90)}  # 90 parts of 1 MB, ratio below the limit
    sentence = sentence_about(zipped(PLAIN | parts))
    assert "unpacks to 92 MB was read: at most 80 MB" in sentence


def test_too_many_parts():
    parts = {f"xl/media/{number}.txt": b"x" for number in range(guard.MOST_PARTS + 1)}
    assert "parts was read" in sentence_about(zipped(PLAIN | parts))


def test_a_part_that_stands_twice():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in PLAIN.items():
            archive.writestr(name, content)
        archive.writestr("XL/workbook.xml", b"<w/>")
    assert "one part twice" in sentence_about(out.getvalue())


def test_a_file_larger_than_the_limit(monkeypatch):
    monkeypatch.setattr(guard, "MOST_BYTES", 1_000)
    assert "at most 0 MB" in sentence_about(write_template("us"))


def test_a_password_on_the_archive():
    data = bytearray(zipped(PLAIN))
    at = data.index(b"PK\x01\x02")
    while at != -1:  # the flag that says encrypted, in each entry of the directory
        data[at + 8] |= 1
        at = data.find(b"PK\x01\x02", at + 1)
    assert "password" in sentence_about(bytes(data))


@pytest.mark.parametrize("cut", [0.3, 0.9])
def test_a_file_cut_short(cut):
    data = write_template("us")
    assert "damaged" in sentence_about(data[: int(len(data) * cut)])


def test_a_workbook_broken_inside():
    assert "damaged inside" in sentence_about(zipped(PLAIN | {"xl/workbook.xml": b"<workbook"}))


def test_a_broken_sheet_is_no_traceback():
    assert "damaged inside" in sentence_about(zipped(raw_parts(sheet_xml(b"<row><c></row>"))))
