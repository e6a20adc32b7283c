"""Pictures put together by hand, byte by byte, as the standards say: ITU T.81, Exif 2.32, ISO/IEC 15948, RFC 9649."""

from __future__ import annotations

import struct
import zlib

import pytest

from readiness.engineering.photos import Damaged, without_traces

PLACE = b"N 41 deg 52' 12\""  # what must not be left, whatever the picture


def segment(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


def exif(order: str, up: int | None) -> bytes:
    """An Exif segment with a maker's remark of the place and, where told, which way is up."""
    entries = [struct.pack(f"{order}HHII", 0x010E, 2, len(PLACE), 8 + 2 + 12 * (2 if up else 1) + 4)]
    if up:
        entries.append(struct.pack(f"{order}HHIHH", 0x0112, 3, 1, up, 0))
    mark = b"II*\x00" if order == "<" else b"MM\x00*"
    table = struct.pack(f"{order}H", len(entries)) + b"".join(entries) + struct.pack(f"{order}I", 0)
    return segment(0xE1, b"Exif\x00\x00" + mark + struct.pack(f"{order}I", 8) + table + PLACE)


JFIF = segment(0xE0, b"JFIF\x00\x01\x02\x00\x00\x01\x00\x01\x00\x00")
COLOR, TABLE = segment(0xE2, b"ICC_PROFILE\x00colors"), segment(0xDB, bytes(65))
SCAN = segment(0xDA, b"\x01\x01\x00\x00\x3f\x00") + b"\x12\x34\xff\x00\x56\xff\xd9"
UP_6 = segment(
    0xE1, b"Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00" + bytes(4)
)


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_jpeg_keeps_what_draws_and_which_way_is_up(order: str) -> None:
    told = [exif(order, 6), segment(0xE1, b"http://ns.adobe.com/xap/1.0/\x00" + PLACE), segment(0xED, PLACE)]
    data = b"\xff\xd8" + JFIF + b"".join(told) + COLOR + segment(0xFE, PLACE) + TABLE + SCAN
    cleaned = without_traces(data, "image/jpeg")
    assert cleaned == b"\xff\xd8" + JFIF + UP_6 + COLOR + TABLE + SCAN
    assert without_traces(cleaned, "image/jpeg") == cleaned


def test_a_jpeg_that_says_nothing_of_up_has_no_exif_left() -> None:
    assert without_traces(b"\xff\xd8" + exif(">", None) + TABLE + SCAN, "image/jpeg") == b"\xff\xd8" + TABLE + SCAN
    odd = segment(0xE1, b"Exif\x00\x00what is this")
    assert without_traces(b"\xff\xd8" + odd + TABLE + SCAN, "image/jpeg") == b"\xff\xd8" + TABLE + SCAN


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def test_a_png_keeps_what_draws() -> None:
    start, end = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", bytes(13)), chunk(b"IDAT", b"pixels") + chunk(b"IEND", b"")
    told = b"".join(chunk(kind, PLACE) for kind in (b"tEXt", b"zTXt", b"iTXt", b"eXIf", b"tIME"))
    assert without_traces(start + told + end + PLACE, "image/png") == start + end


def test_a_webp_keeps_what_draws_and_announces_no_more() -> None:
    def part(kind: bytes, body: bytes) -> bytes:
        return kind + struct.pack("<I", len(body)) + body + bytes(len(body) % 2)

    def file(*parts: bytes) -> bytes:
        body = b"WEBP" + b"".join(parts)
        return b"RIFF" + struct.pack("<I", len(body)) + body

    flags = (0x3C, 0x30)  # color profile, transparency, EXIF, XMP; then the first two alone
    before, after = (part(b"VP8X", bytes([each]) + bytes(9)) for each in flags)
    pixels = part(b"VP8 ", b"odd")
    data = file(before, pixels, part(b"EXIF", PLACE), part(b"XMP ", PLACE + b"."))
    assert without_traces(data, "image/webp") == file(after, pixels)


@pytest.mark.parametrize(
    ("data", "media_type"),
    [
        (b"\xff\xd8" + JFIF[:-3], "image/jpeg"),
        (b"\xff\xd8\x00\x00\x00\x00", "image/jpeg"),
        (b"\xff\xd8\xff\xe1\x00\x00", "image/jpeg"),
        (b"\xff\xd8", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", bytes(13))[:-2], "image/png"),
        (b"RIFF\x00\x00\x00\x00WEBPVP8 \xff\x00\x00\x00", "image/webp"),
    ],
)
def test_a_picture_that_ends_in_the_middle_is_said_to(data: bytes, media_type: str) -> None:
    with pytest.raises(Damaged):
        without_traces(data, media_type)
