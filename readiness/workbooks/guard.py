"""Is this file a workbook, and is it safe to open? Asked before any of it is parsed.

A workbook of the .xlsx kind is a zip archive of XML. What it may not be: too large, packed so tightly that it can
only be a bomb, encrypted, full of macros, links to other files or embedded files, or something else altogether.
"""

import io
import re
import zipfile
import zlib
from typing import IO, Final

_MEGABYTE: Final = 1_000_000
MOST_BYTES: Final = 20 * _MEGABYTE
MOST_UNPACKED_BYTES: Final = 80 * _MEGABYTE
MOST_PARTS: Final = 1_000
MOST_RATIO: Final = 200  # sheets of the dullest rows pack about 1 to 40; a bomb of zeros 1 to 1,000
_RATIO_COUNTS_FROM: Final = 20 * _MEGABYTE  # below, even zeros do no harm
MOST_SHEET_ROWS: Final = 1_048_576  # what the format allows
_CHUNK: Final = 1 << 18
_OVERLAP: Final = 16  # longer than any mark looked for across two chunks

_ZIP: Final = b"PK\x03\x04"
_OLE: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_NESTED: Final = (_ZIP, _OLE, b"Rar!\x1a\x07", b"7z\xbc\xaf\x27\x1c", b"\x1f\x8b\x08")
_ENCRYPTED: Final = "EncryptedPackage".encode("utf-16-le")
_OLD_WORKBOOK: Final = "Workbook".encode("utf-16-le")
_SAVE_AS: Final = "open it in the spreadsheet program and save it as an Excel workbook (.xlsx)"
_XML: Final = (".xml", ".rels", ".vml")
_ROW: Final = re.compile(rb"<(?:[A-Za-z0-9]+:)?row[ />]")


class NotAWorkbook(ValueError):
    """A file that is no workbook, or none that is opened here. ``sentence`` says what was read and what is right."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


def check_file(data: bytes) -> None:
    """Refuses whatever is not a safe .xlsx workbook. Raises ``NotAWorkbook``."""
    if len(data) > MOST_BYTES:
        raise NotAWorkbook(
            f"A file of {len(data) / _MEGABYTE:,.0f} MB was read: a workbook here is at most "
            f"{MOST_BYTES // _MEGABYTE} MB; delete pictures and the empty rows below the last entry."
        )
    if not data.startswith(_ZIP):
        raise NotAWorkbook(_what_else(data))
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_names(archive)
            _check_sizes(archive)
            _check_contents(archive)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, ValueError) as error:
        if isinstance(error, NotAWorkbook):
            raise
        raise NotAWorkbook(
            f"A damaged file was read (it cannot be unpacked): send the workbook again, or {_SAVE_AS}."
        ) from None


def _what_else(data: bytes) -> str:
    """The sentence for a file that is no zip archive."""
    if not data.strip():
        return f"An empty file was read: {_SAVE_AS} and send that."
    if data.startswith(_OLE):
        return _what_ole(data)
    if data.startswith(b"%PDF"):
        return f"A PDF was read, which holds no cells: send the workbook itself ({_SAVE_AS})."
    start = data[:2_000].lstrip(b"\xef\xbb\xbf \r\n\t")
    if start[:1] == b"<":
        return f"A web page or XML text was read, not a workbook: {_SAVE_AS}."
    if _looks_like_text(data[:2_000]):
        return f"A text or CSV file was read, which has one sheet and no types: {_SAVE_AS}, on the template."
    return f"A file that is no workbook was read: {_SAVE_AS}."


def _what_ole(data: bytes) -> str:
    if _ENCRYPTED in data:
        return "A workbook protected with a password was read: take the password off and send it again."
    if _OLD_WORKBOOK in data:
        return f"A workbook of the old kind (.xls) was read: {_SAVE_AS}."
    return f"An old office file that is no workbook was read: {_SAVE_AS}."


def _looks_like_text(start: bytes) -> bool:
    return b"\x00" not in start and sum(byte < 9 or 13 < byte < 32 for byte in start) == 0


def _check_names(archive: zipfile.ZipFile) -> None:
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    if len(names) > MOST_PARTS:
        raise NotAWorkbook(
            f"A file with {len(names):,} parts was read: a workbook here has at most {MOST_PARTS:,}; "
            "copy the sheets into the template and send that."
        )
    if any(entry.flag_bits & 0x1 for entry in entries):
        raise NotAWorkbook("A file packed with a password was read: take the password off and send it again.")
    lowered = {name.casefold() for name in names}
    if len(lowered) != len(names):
        raise NotAWorkbook(f"A file with one part twice was read, as no spreadsheet program writes it: {_SAVE_AS}.")
    _check_unwanted(lowered)
    if "[content_types].xml" not in lowered or "xl/workbook.xml" not in lowered:
        raise NotAWorkbook(_what_archive(lowered))


def _check_unwanted(names: set[str]) -> None:
    if any(name.endswith("vbaproject.bin") or name.startswith(("xl/macrosheets/", "xl/activex/")) for name in names):
        raise NotAWorkbook("A workbook with macros was read: save it as an Excel workbook (.xlsx) without macros.")
    if any(name.startswith("xl/externallinks/") for name in names):
        raise NotAWorkbook(
            "A workbook with links to other workbooks was read: break the links (paste the values) and send it again."
        )
    if any(name.startswith(("xl/embeddings/", "xl/oleobjects/")) for name in names):
        raise NotAWorkbook("A workbook with another file embedded in it was read: delete the embedded file.")


def _what_archive(names: set[str]) -> str:
    """The sentence for a zip archive that is no .xlsx."""
    if "xl/workbook.bin" in names:
        return f"A binary workbook (.xlsb) was read: {_SAVE_AS}."
    if "word/document.xml" in names or "ppt/presentation.xml" in names:
        return f"A text document or presentation was read, not a workbook: {_SAVE_AS}."
    if "content.xml" in names and "mimetype" in names:
        return f"An OpenDocument file (.ods) was read: {_SAVE_AS}."
    return "A zip archive that holds no workbook was read: unpack it and send the workbook (.xlsx) that is in it."


def _check_sizes(archive: zipfile.ZipFile) -> None:
    """By the sizes the archive states; unpacking never goes beyond them."""
    unpacked = 0
    for entry in archive.infolist():
        unpacked += entry.file_size
        if entry.file_size > _RATIO_COUNTS_FROM and entry.file_size > MOST_RATIO * max(entry.compress_size, 1):
            raise NotAWorkbook(
                f"A part of {entry.compress_size:,} bytes that unpacks to {entry.file_size:,} was read "
                f"({entry.filename}), as no workbook of entries does: delete the empty rows below the last entry, or "
                "copy the rows into the template."
            )
    if unpacked > MOST_UNPACKED_BYTES:
        raise NotAWorkbook(
            f"A workbook that unpacks to {unpacked / _MEGABYTE:,.0f} MB was read: at most "
            f"{MOST_UNPACKED_BYTES // _MEGABYTE} MB is opened here; delete the empty rows below the last entry and "
            "pictures, or divide the workbook."
        )


def _check_contents(archive: zipfile.ZipFile) -> None:
    for entry in archive.infolist():
        if entry.is_dir():
            continue
        with archive.open(entry) as part:
            first = part.read(_CHUNK)
            if first.startswith(_NESTED):
                raise NotAWorkbook("A workbook with another file packed in it was read: delete that file from it.")
            if entry.filename.casefold().endswith(_XML):
                _check_xml(part, first, entry.filename)


def _check_xml(part: IO[bytes], first: bytes, name: str) -> None:
    """No document type (entities are how a small XML file becomes a large one) and no endless rows."""
    rows, tail, chunk = 0, b"", first
    while chunk:
        window = tail + chunk
        if b"<!DOCTYPE" in window or b"<!ENTITY" in window:
            raise NotAWorkbook(f"A workbook with XML entities was read ({name}), as none is written: {_SAVE_AS}.")
        rows += len(_ROW.findall(window)) - len(_ROW.findall(tail))
        if rows > MOST_SHEET_ROWS:
            raise NotAWorkbook(
                f"A sheet of more than {MOST_SHEET_ROWS:,} rows was read ({name}): delete the empty rows below the "
                "last entry."
            )
        tail, chunk = window[-_OVERLAP:], part.read(_CHUNK)
