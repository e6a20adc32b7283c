"""More than two hundred files that are no sheet, a damaged one, or one made to hurt; each made here, none copied.

``FILES`` is name → a function that makes the bytes. A name that begins with "ok:" is odd and yet to be understood.
"""

import gzip
import hashlib
import io
import pickle
import sqlite3
import struct
import zipfile
import zlib
from collections.abc import Callable
from functools import cache

from openpyxl import Workbook
from openpyxl.comments import Comment

from tests.workbooks.books import raw_parts, row_xml, saved, sheet_xml, zipped

HEADINGS = ("Station", "Where", "Product", "Type", "Cont.", "Qty", "Size (gal)", "Lot #")
STOCK = ("Station 1", "store room", "Larkite 3x6", "AR-AFFF", "pail", 4, 5, "LK-2219")
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504)
CSV = (",".join(HEADINGS) + "\n" + ",".join(map(str, STOCK)) + "\n").encode()
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"

FILES: dict[str, Callable[[], bytes]] = {}


def add(name, make):
    assert name not in FILES, name
    FILES[name] = make if callable(make) else lambda: make


@cache
def good_book():
    """A sound little workbook with a comment, a formula and a second sheet."""
    book = Workbook()
    sheet = book.active
    sheet.append(HEADINGS)
    for number in range(40):
        sheet.append([*STOCK[:7], f"LK-{number}"])
    sheet.append(["TOTAL", None, None, None, None, "=SUM(F2:F41)"])
    sheet["H2"].comment = Comment("check", "somebody")
    book.create_sheet("other").append(["a", "b"])
    return saved(book)


def two_rows(more=b"", dimension="A1:H2"):
    """The smallest stock list by hand, with more rows below."""
    return sheet_xml(row_xml(1, *HEADINGS) + row_xml(2, *STOCK) + more, dimension)


def book(sheet=None, **parts):
    """A workbook of hand-written parts; ``xl__styles.xml`` is written xl/styles.xml."""
    named = {name.replace("__", "/"): content for name, content in parts.items()}
    return zipped(raw_parts(sheet if sheet is not None else two_rows()) | named)


def with_cell(xml):
    """One hand-written cell in the third row."""
    return book(two_rows(b'<row r="3">' + xml + b"</row>"))


def with_shared(shared, cell=b'<c r="A3" t="s"><v>0</v></c>'):
    """A workbook with shared texts."""
    rels = (
        f'<Relationships xmlns="{_PACKAGE}"><Relationship Id="rId1" Type="{_OFFICE}/worksheet" '
        f'Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="{_OFFICE}/sharedStrings" '
        f'Target="sharedStrings.xml"/><Relationship Id="rId3" Type="{_OFFICE}/styles" Target="styles.xml"/>'
        "</Relationships>"
    ).encode()
    parts = raw_parts(two_rows(b'<row r="3">' + cell + b"</row>"))
    return zipped(parts | {"xl/_rels/workbook.xml.rels": rels, "xl/sharedStrings.xml": shared})


def with_styles(styles, cell):
    """A workbook with number formats."""
    data = with_shared(b"<sst><si><t>a</t></si></sst>", cell)
    return added(data, "xl/styles.xml", styles)


def added(data, name, content):
    """The file with one part more."""
    out = io.BytesIO(data)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, content)
    return out.getvalue()


def rels(kind, target, outside=False):
    """One relationship."""
    mode = ' TargetMode="External"' if outside else ""
    return (
        f'<Relationships xmlns="{_PACKAGE}"><Relationship Id="rId1" Type="{_OFFICE}/{kind}"{mode} Target="{target}"/>'
        "</Relationships>"
    ).encode()


def changed(name, content):
    """The smallest workbook with another part of this name."""
    return zipped(raw_parts(two_rows()) | {name: content})


def without(name):
    """The smallest workbook without one of its parts."""
    parts = raw_parts(two_rows())
    del parts[name]
    return zipped(parts)


@cache
def noise():
    """Four megabytes of letters and figures that cannot be packed."""
    return b"".join(hashlib.sha256(b"%d" % n).hexdigest().encode() for n in range(62_500))


def flipped(share):
    """One byte changed, so far into the file."""
    data = bytearray(good_book())
    data[int(share * (len(data) - 1))] ^= 0xFF
    return bytes(data)


def _entities(body):
    return b'<?xml version="1.0"?><!DOCTYPE x [' + body + b"]>"


LAUGHS = _entities(
    b'<!ENTITY a0 "ha">' + b"".join(b'<!ENTITY a%d "%s">' % (n, b"&a%d;" % (n - 1) * 10) for n in range(1, 10))
)
QUADRATIC = _entities(b'<!ENTITY a "' + b"x" * 50_000 + b'">')
OUTSIDE = _entities(b'<!ENTITY a SYSTEM "file:///etc/passwd">')
PARAMETER = _entities(b'<!ENTITY % p SYSTEM "http://127.0.0.1:9/x"> %p;')


# Cut short, and single bytes changed.
for place in range(1, 41):
    add(f"cut after {place} of 41 parts", lambda place=place: good_book()[: len(good_book()) * place // 41])
for place in range(30):
    add(f"ok: a byte changed at {place} of 30", lambda place=place: flipped(place / 30))
for cut in (1, 3, 51):
    add(f"UTF-16 text less {cut} bytes", lambda cut=cut: CSV.decode().encode("utf-16")[:-cut])
for cut in (2, 30):
    add(f"ok: UTF-16 text less {cut} bytes", lambda cut=cut: CSV.decode().encode("utf-16")[:-cut])

# Another kind of file under the name of a workbook.
add("png", b"\x89PNG\r\n\x1a\n" + zlib.compress(bytes(5_000)))
add("jpg", b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 20)
add("gif", b"GIF89a\x01\x00\x01\x00" + bytes(range(256)) * 20)
add("bmp", b"BM" + struct.pack("<I", 5_000) + bytes(5_000))
add("tiff", b"II*\x00" + bytes(range(256)) * 20)
add("pdf", b"%PDF-1.7\n1 0 obj << /Type /Catalog >> endobj\n%%EOF\n")
add("docx", lambda: zipped({"[Content_Types].xml": b"<t/>", "word/document.xml": b"<w/>"}))
add("pptx", lambda: zipped({"[Content_Types].xml": b"<t/>", "ppt/presentation.xml": b"<p/>"}))
add("exe", b"MZ\x90\x00" + bytes(range(256)) * 20)
add("elf", b"\x7fELF\x02\x01\x01" + bytes(range(256)) * 20)
add("rtf", b"{\\rtf1\\ansi Foam, pails, 5 gal, store room\\par}")
add("gzip", lambda: gzip.compress(CSV * 100))
add("rar", b"Rar!\x1a\x07\x01\x00" + bytes(range(256)) * 20)
add("7z", b"7z\xbc\xaf\x27\x1c\x00\x04" + bytes(range(256)) * 20)
add("wav", b"RIFF\x24\x00\x00\x00WAVEfmt " + bytes(range(256)) * 20)
add("mp4", b"\x00\x00\x00\x18ftypmp42" + bytes(range(256)) * 20)
add("pickle", lambda: pickle.dumps({"pails": list(range(2_000))}))
add("random bytes", lambda: b"".join(zlib.crc32(struct.pack("<I", n)).to_bytes(4, "big") for n in range(5_000)))
add("zip of a csv", lambda: zipped({"stock.csv": CSV}))
add("zip of a workbook", lambda: zipped({"stock.xlsx": good_book()}))
add("xlsb", lambda: zipped({"[Content_Types].xml": b"<t/>", "xl/workbook.bin": b"\x01"}))
add("ods", lambda: zipped({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet", "content.xml": b"<o/>"}))
add("numbers", lambda: zipped({"Index/Document.iwa": b"\x00" * 100, "Metadata/Properties.plist": b"x"}))
add("xls", OLE + "Workbook".encode("utf-16-le") + bytes(5_000))
add("doc", OLE + "WordDocument".encode("utf-16-le") + bytes(5_000))
add("encrypted workbook", OLE + "EncryptedPackage".encode("utf-16-le") + bytes(5_000))
add("html saved as xls", b"<html><body><table><tr><td>Station</td><td>Qty</td></tr></table></body></html>")
add("html with spaces before", b"\r\n\r\n  <!DOCTYPE html><html><table><tr><td>1,2</td></tr></table>")
add("a table without html", b"\xef\xbb\xbf<table><tr><td>Station, 1</td></tr></table>")
add("xml of 2003", b'<?xml version="1.0"?><Workbook xmlns="urn:schemas-microsoft-com:office:spreadsheet"/>')
add("json", b'{"station": "1", "pails": [1, 2, 3],\n"lot": "LK-1", "where": "shed"}\n')
add("ok: a letter", b"Dear colleague,\nthe foam is in the shed, as always, and nobody counted it.\n")
add("ok: an email", b"From: somebody\nSubject: foam, pails\nDate: Mon, 1 Jun 2026\n\nThe list, as asked, is below.\n")


def _sqlite():
    base = sqlite3.connect(":memory:")
    base.execute("CREATE TABLE pails (lot TEXT)")
    data = base.serialize()
    base.close()
    return data


add("sqlite", _sqlite)

# Macros, links, files inside.
add("macros", lambda: book(**{"xl__vbaProject.bin": b"\x01"}))
add("old macros", lambda: book(**{"xl__macrosheets__sheet1.xml": b"<m/>"}))
add("controls", lambda: book(**{"xl__activeX__activeX1.xml": b"<a/>"}))
add("links outside", lambda: book(**{"xl__externalLinks__externalLink1.xml": b"<e/>"}))
add("embedded", lambda: book(**{"xl__embeddings__oleObject1.bin": b"\x01"}))
add("nested zip", lambda: book(**{"xl__media__picture1.png": zipped({"a": b"a"})}))
add("nested workbook", lambda: book(**{"xl__media__book.bin": good_book()}))
add("nested gzip", lambda: book(**{"docProps__thumbnail.bin": gzip.compress(b"a")}))
add("nested five deep", lambda: book(**{"xl__media__a.bin": zipped({"a": zipped({"b": zipped({"c": b"c"})})})}))
BOOK_RELS = "xl/_rels/workbook.xml.rels"
SHEET_RELS = "xl/worksheets/_rels/sheet1.xml.rels"
add("sheet elsewhere", lambda: changed(BOOK_RELS, rels("worksheet", "file:///etc/passwd", outside=True)))
add("sheet above the archive", lambda: changed(BOOK_RELS, rels("worksheet", "../../../../etc/passwd")))


# Entities, in every part and in an encoding in which a search for bytes does not see them.
for words, head in {"laughs": LAUGHS, "quadratic": QUADRATIC, "outside": OUTSIDE, "parameter": PARAMETER}.items():
    add(f"{words} in the sheet", lambda head=head: book(head + two_rows()))
    add(f"{words} in the workbook", lambda head=head: book(**{"xl__workbook.xml": head + b"<workbook>&a;</workbook>"}))
    add(f"{words} in shared texts", lambda head=head: with_shared(head + b"<sst><si><t>&a;</t></si></sst>"))
add(
    "laughs in UTF-16",
    lambda: book((LAUGHS.replace(b"?>", b' encoding="UTF-16"?>') + two_rows()).decode().encode("utf-16")),
)
add(
    "outside in UTF-16",
    lambda: book((OUTSIDE.replace(b"?>", b' encoding="UTF-16"?>') + two_rows()).decode().encode("utf-16")),
)
add("an unknown entity", lambda: with_cell(b'<c r="A3" t="inlineStr"><is><t>&nobody;</t></is></c>'))

# Sizes that are claimed, and sizes that are there.
add("ok: dimension of everything", lambda: book(two_rows(dimension="A1:XFD1048576")))
add("ok: dimension of nothing", lambda: book(two_rows(dimension="")))
add("ok: dimension of nonsense", lambda: book(two_rows(dimension="ZZZZ99:??")))
add("ok: a row at the very end", lambda: book(two_rows(row_xml(1_048_576, *STOCK))))
add("one cell at the far corner", lambda: book(two_rows(b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')))
add("a cell in column 257", lambda: with_cell(b'<c r="IW3"><v>1</v></c>'))
add("a row beyond the last", lambda: book(two_rows(row_xml(1_048_577, *STOCK))))
add("a row of 10^12", lambda: book(two_rows(row_xml(10**12, *STOCK))))
add("row 0", lambda: book(two_rows(row_xml(0, *STOCK))))
add("row -5", lambda: book(two_rows(row_xml(-5, *STOCK))))
add("a row without a number", lambda: book(two_rows(b'<row r="x"><c><v>1</v></c></row>')))
add("rows backwards", lambda: book(two_rows(row_xml(9, *STOCK) + row_xml(8, *STOCK))))
add("a row twice", lambda: book(two_rows(row_xml(3, *STOCK) + row_xml(3, *STOCK))))
add("a cell twice", lambda: with_cell(b'<c r="A3"><v>1</v></c><c r="A3"><v>2</v></c>'))
add("cells backwards", lambda: with_cell(b'<c r="C3"><v>1</v></c><c r="A3"><v>2</v></c>'))
add("a cell of no column", lambda: with_cell(b'<c r="33"><v>1</v></c>'))
add("a cell of nonsense", lambda: with_cell(b'<c r="A-3!"><v>1</v></c>'))
add("a column beyond XFD", lambda: with_cell(b'<c r="ZZZ3"><v>1</v></c>'))
add("ten million empty rows", lambda: book(two_rows(b"<row/>" * 10_000_000)))
add(
    "ok: a million empty rows",
    lambda: book(two_rows(b"".join(b'<row r="%d" ht="15"/>' % n for n in range(3, 1_000_000)))),
)
add(
    "ok: a million empty cells",
    lambda: book(two_rows(b'<row r="3">' + b'<c r="A3"/>' + b"</row>" + b"<row>" + b"<c/>" * 16_000 + b"</row>")),
)
add("sixty thousand rows", lambda: book(two_rows(b"".join(row_xml(n, "pail", n) for n in range(3, 60_003)))))
add("too many cells", lambda: book(two_rows(b"".join(row_xml(n, *([7] * 250)) for n in range(3, 3_000)))))
add("sixteen thousand columns", lambda: book(two_rows(row_xml(3, *range(16_384)))))
add("elements in one another", lambda: book(two_rows(b"<a>" * 400_000 + b"</a>" * 400_000)))
add("an endless tag", lambda: book(two_rows(b'<row r="3" x="' + noise() + b'"/>')))
add("an endless comment", lambda: book(two_rows(b"<!--" + noise() + b"-->")))
add("a tag of marks", lambda: book(two_rows(b'<row r="3" x="' + b">" * 8_000_000 + b'"/>')))
add(
    "a cell of forty thousand letters",
    lambda: with_cell(b'<c r="A3" t="inlineStr"><is><t>' + b"x" * 40_000 + b"</t></is></c>"),
)
add("a cell of sixty million letters", lambda: with_cell(b'<c r="A3" t="str"><v>' + b"xy" * 3_000_000 + b"</v></c>"))
add(
    "shared texts of a book",
    lambda: with_shared(b"<sst>" + (b"<si><t>" + bytes(range(65, 91)) * 1_200 + b"</t></si>") * 900 + b"</sst>"),
)
add("one shared text too long", lambda: with_shared(b"<sst><si><t>" + b"x" * 40_000 + b"</t></si></sst>"))


def _sheets(many):
    named = "".join(f'<sheet name="s{n}" sheetId="{n}" r:id="rId1"/>' for n in range(many))
    return f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{named}</sheets></workbook>'.encode()


add("two hundred sheets", lambda: changed("xl/workbook.xml", _sheets(200)))
add(
    "ok: fifty thousand merged",
    lambda: book(
        two_rows().replace(
            b"</sheetData>", b"</sheetData><mergeCells>" + b'<mergeCell ref="A1:B1"/>' * 50_000 + b"</mergeCells>"
        )
    ),
)
add(
    "ok: every column hidden",
    lambda: book(two_rows().replace(b"<sheetData>", b'<cols><col min="1" max="99999" hidden="1"/></cols><sheetData>')),
)
add(
    "a hidden column of nonsense",
    lambda: book(two_rows().replace(b"<sheetData>", b'<cols><col min="x" hidden="1"/></cols><sheetData>')),
)

# Cells that say what cannot be.
for words, xml in {
    "shared text that is not there": b'<c r="A3" t="s"><v>7</v></c>',
    "shared text -1": b'<c r="A3" t="s"><v>-1</v></c>',
    "shared text of words": b'<c r="A3" t="s"><v>pail</v></c>',
    "a style of words": b'<c r="A3" s="bold"><v>7</v></c>',
    "a number of words": b'<c r="A3"><v>pail</v></c>',
    "a day that is none": b'<c r="A3" t="d"><v>2026-13-45</v></c>',
}.items():
    add(words, lambda xml=xml: with_cell(xml))
for words, xml in {
    "a style that is not there": b'<c r="A3" s="999"><v>7</v></c>',
    "a style below none": b'<c r="A3" s="-1"><v>7</v></c>',
    "infinity": b'<c r="A3"><v>1e400</v></c>',
    "not a number": b'<c r="A3"><v>nan</v></c>',
    "a type of its own": b'<c r="A3" t="zz"><v>7</v></c>',
    "an error": b'<c r="F3" t="e"><v>#REF!</v></c>',
    "a truth": b'<c r="F3" t="b"><v>1</v></c>',
    "a very large number": b'<c r="F3"><v>9e307</v></c>',
    "a very small number": b'<c r="F3"><v>-9e307</v></c>',
    "a formula without a value": b'<c r="F3"><f>SUM(F2:F2)</f></c>',
    "a formula with a value": b'<c r="F3"><f>SUM(F2:F2)</f><v>4</v></c>',
    "a formula that calls a program": b'<c r="A3" t="str"><f>cmd|"/c calc"!A1</f><v>0</v></c>',
    "a shared formula": b'<c r="F3"><f t="shared" si="0" ref="F3:F9">F2</f><v>4</v></c>',
    "a shared formula without its first": b'<c r="F3"><f t="shared" si="4"/><v>4</v></c>',
    "text that looks like a formula": b'<c r="A3" t="str"><v>=1+1</v></c>',
    "phonetic words": b'<c r="A3" t="inlineStr"><is><t>shed</t><rPh><t>other</t></rPh></is></c>',
}.items():
    add(f"ok: {words}", lambda xml=xml: with_cell(xml))
STYLES = (
    b'<styleSheet><numFmts><numFmt numFmtId="164" formatCode="yyyy-mm-dd"/></numFmts>'
    b'<cellXfs><xf numFmtId="164"/></cellXfs></styleSheet>'
)
for words, value in {"below none": b"-5", "far ahead": b"99999999", "of 1900": b"0", "with hours": b"45000.5"}.items():
    add(
        f"ok: a day number {words}",
        lambda value=value: with_styles(STYLES, b'<c r="A3" s="0"><v>' + value + b"</v></c>"),
    )
add(
    "styles of nonsense",
    lambda: with_styles(STYLES.replace(b'"164"/></cellXfs>', b'"x"/></cellXfs>'), b'<c r="A3" s="0"><v>1</v></c>'),
)
add(
    "two million styles",
    lambda: with_styles(
        b"<styleSheet><cellXfs>" + b"<xf/>" * 2_000_000 + b"</cellXfs></styleSheet>", b'<c r="A3"><v>1</v></c>'
    ),
)

# Archives.
add("bomb of zeros", lambda: book(**{"xl__worksheets__sheet2.xml": bytes(200_000_000)}))
add("bomb of zeros beside", lambda: book(**{"xl__media__zeros.bin": bytes(30_000_000)}))
add("many middling parts", lambda: book(**{f"xl__media__{n}.bin": bytes(range(256)) * 4_000 for n in range(90)}))
add("a thousand parts", lambda: book(**{f"xl__media__{n}.txt": b"x" for n in range(1_001)}))
add("a file of twenty-five megabytes", lambda: b"PK\x03\x04" + bytes(25_000_000))
add("a signature and nothing", b"PK\x03\x04")
add("an archive without parts", lambda: zipped({}))
for name in ("[Content_Types].xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/worksheets/sheet1.xml"):
    add(f"without {name}", lambda name=name: without(name))
for name in ("xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/_rels/workbook.xml.rels"):
    add(f"{name} is empty", lambda name=name: zipped(raw_parts(two_rows()) | {name: b""}))
    add(f"{name} is no XML", lambda name=name: zipped(raw_parts(two_rows()) | {name: b"pails, mostly"}))
    add(
        f"{name} breaks off", lambda name=name: zipped(raw_parts(two_rows()) | {name: raw_parts(two_rows())[name][:-9]})
    )
add("shared texts are missing", lambda: with_cell(b'<c r="A3" t="s"><v>0</v></c>'))


def _one_part_twice():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in raw_parts(two_rows()).items():
            archive.writestr(name, content)
        archive.writestr("XL/workbook.xml", b"<w/>")
    return out.getvalue()


def _with_password():
    data = bytearray(zipped(raw_parts(two_rows())))
    at = data.index(b"PK\x01\x02")
    while at != -1:
        data[at + 8] |= 1
        at = data.find(b"PK\x01\x02", at + 1)
    return bytes(data)


add("one part twice", _one_part_twice)
add("an archive with a password", _with_password)

# Text.
add("nothing", b"")
add("spaces", b" \n \t \r\n")
add("a mark alone", b"\xef\xbb\xbf")
add("a UTF-16 mark alone", b"\xff\xfe")
add("delimiters alone", b",,,,\n,,,,\n" * 50)
add("one column", b"Station\nStation 1\nStation 2\n")
add("zero bytes", CSV.replace(b"pail", b"pa\x00il"))
add("zero bytes at the end", CSV + bytes(4_000))
add("control characters", CSV.replace(b"pail", b"pa\x07il"))
add("a quotation mark never closed", CSV + b'Station 2,"store room,Larkite,AFFF,pail,1,5,LK-1\n' * 1 + CSV * 30)
add("a quotation mark closed by another", b'a,b\n1,"two\n' + b"3,4\n" * 60 + b'5,six"\n')
add("text after a quotation mark", CSV + b'Station 2,"store" room,Larkite,AFFF,pail,1,5,LK-1\n')
add("a line of nineteen megabytes", lambda: CSV + b"x" * 19_000_000 + b"\n")
add("a line of fifty megabytes", lambda: CSV + b"x," * 25_000_000 + b"\n")
add("a cell of nineteen megabytes", lambda: CSV + b'Station 2,"' + b"x" * 19_000_000 + b'"\n')
add("twenty thousand columns", lambda: b",".join(b"%d" % n for n in range(20_000)) + b"\n")
add("two hundred thousand rows", lambda: CSV + b"Station 1,shed,Larkite,AFFF,pail,1,5,LK-1\n" * 200_000)
add("ok: ten million empty lines", lambda: CSV + b"\n" * 10_000_000 + CSV)
add("ok: two million lines of delimiters", lambda: CSV + b",,,,,,,\n" * 2_000_000)
add("ok: mixed delimiters", b"Station,Where;Product\nStation 1,shed;Larkite\nStation 2;shed,Larkite\n")
add("ok: semicolons", CSV.replace(b",", b";"))
add("ok: tabs", CSV.replace(b",", b"\t"))
add("ok: bars", CSV.replace(b",", b"|"))
add("ok: says its delimiter", b"sep=;\r\n" + CSV.replace(b",", b";"))
add("ok: carriage returns alone", CSV.replace(b"\n", b"\r"))
add("ok: Windows-1252", CSV.replace(b"store room", "réserve – no. 1".encode("cp1252")))
add("ok: UTF-16", CSV.decode().encode("utf-16"))
add("ok: UTF-16, other end first", b"\xfe\xff" + CSV.decode().encode("utf-16-be"))
add("ok: UTF-16 without its mark", CSV.decode().encode("utf-16-le"))
add("UTF-32", CSV.decode().encode("utf-32"))
add("no encoding at all", CSV.replace(b"store room", b"store \x81\x8d room"))
add("EBCDIC", CSV.decode().encode("cp500"))
add("ok: Japanese", CSV.replace(b"store room", "倉庫".encode()))
add("ok: letters of four bytes", lambda: CSV + ("Station 1,\U0001f9ef,Larkite,AFFF,pail,1,5,LK\n" * 20_000).encode())
add("ok: formulas as text", CSV + b"=1+1,@SUM(A1),+1,-1,pail,1,5,\"=cmd|' /c calc'!A1\"\n")
add("ok: rows of different length", CSV + b"a,b\nc\nd,e,f,g,h,i,j,k,l,m,n\n")
add("ok: a quoted line break", CSV + b'Station 2,"store\nroom",Larkite,AFFF,pail,1,5,LK-1\n')
add("ok: headings alone", CSV.split(b"\n")[0] + b"\n")

# Workbooks in which nothing stands, or nearly.
add("a sheet without rows", lambda: book(sheet_xml(b"")))
add("a sheet of empty rows", lambda: book(sheet_xml(b"<row/>" * 1_000)))
add("ok: a workbook of headings", lambda: book(sheet_xml(row_xml(1, *HEADINGS))))
add("ok: a workbook of a title", lambda: book(sheet_xml(row_xml(1, "Foam on hand"))))
add("ok: a workbook of one figure", lambda: book(sheet_xml(row_xml(1, 7))))
add(
    "a workbook without sheets",
    lambda: book(**{"xl__workbook.xml": f'<workbook xmlns="{_MAIN}"><sheets/></workbook>'.encode()}),
)
add("a chart and no sheet", lambda: changed(BOOK_RELS, rels("chartsheet", "worksheets/sheet1.xml")))


def with_comments(sheet, comments, target="../comments1.xml"):
    """A workbook with comments pinned to its cells."""
    named = {SHEET_RELS: rels("comments", target), "xl/comments1.xml": comments}
    return zipped(raw_parts(sheet) | named)


def _comment(where):
    return (
        f'<comments><commentList><comment ref="{where}"><text><t>look</t></text></comment></commentList></comments>'
    ).encode()


_WITHIN = two_rows().replace(b"<sheetData>", b"<comment><t>look</t></comment><sheetData>")
add("a sheet that is its own comments", lambda: with_comments(_WITHIN, b"", "sheet1.xml"))
add("comments on no cell", lambda: with_comments(two_rows(), _comment("??")))
add("ok: comments alone", lambda: with_comments(sheet_xml(b""), _comment("B7")))
