"""What a picture is by its first bytes, whatever its name says; and the same without what a phone tells beside it."""

import struct
from typing import Final

MOST_BYTES: Final = 8_000_000  # a phone's picture is 2 to 6 MB; common practice, no source
TYPES: Final = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


def picture_type(data: bytes) -> str | None:
    """The media type by the signatures of JPEG (ITU T.81), PNG (ISO/IEC 15948) and WebP (RFC 9649); else None.

    >>> picture_type(b"%PDF-1.7") is None
    True
    """
    if data.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "image/webp"
    return None


class Damaged(ValueError):
    """A picture whose parts cannot be followed."""


def without_traces(data: bytes, media_type: str) -> bytes:
    """The same picture without what a phone writes beside it: place, time, device, remarks, thumbnails.

    The picture itself is not touched. Which way is up stays: a camera held upright says so beside the picture, and in
    a JPEG that one entry is written anew. Raises ``Damaged``.
    """
    cleaners = {"image/jpeg": _clean_jpeg, "image/png": _clean_png, "image/webp": _clean_webp}
    try:
        return cleaners[media_type](data)
    except (IndexError, struct.error) as wrong:
        raise Damaged("the picture ends in the middle") from wrong


_KEPT_SEGMENTS: Final = frozenset({0xE0, 0xE2, 0xEE})  # JFIF, color profile, Adobe's transform (ITU T.871, ICC.1)
_START_OF_SCAN: Final = 0xDA
_ORIENTATION: Final = 0x0112  # Exif 2.32, table 4: tag 274
_EXIF: Final = b"Exif\x00\x00"


def _clean_jpeg(data: bytes) -> bytes:
    """Of the segments before the scan those that draw (ITU T.81, annex B); of APPn those of _KEPT_SEGMENTS."""
    kept, at = [data[:2]], 2
    while True:
        if data[at] != 0xFF:
            raise Damaged("a segment of the JPEG does not begin where it should")
        marker = data[at + 1]
        (length,) = struct.unpack_from(">H", data, at + 2)
        segment = data[at : at + 2 + length]
        if length < 2 or len(segment) < 2 + length:
            raise Damaged("a segment of the JPEG is longer than the file")
        if marker == _START_OF_SCAN:
            return b"".join([*kept, data[at:]])
        if segment[4:10] == _EXIF:
            kept.append(_turned(segment[10:]))
        elif marker in _KEPT_SEGMENTS or not (0xE0 <= marker <= 0xEF or marker == 0xFE):
            kept.append(segment)
        at += 2 + length


def _turned(tiff: bytes) -> bytes:
    """An Exif segment with nothing but which way is up; nothing where it says nothing of that."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return b""
    (first,) = struct.unpack_from(f"{order}I", tiff, 4)
    (count,) = struct.unpack_from(f"{order}H", tiff, first)
    for n in range(count):
        tag, _, _, value = struct.unpack_from(f"{order}HHIH", tiff, first + 2 + 12 * n)
        if tag == _ORIENTATION and 1 <= value <= 8:
            entry = struct.pack(">HHIHH", _ORIENTATION, 3, 1, value, 0)
            body = _EXIF + b"MM\x00*" + struct.pack(">IH", 8, 1) + entry + struct.pack(">I", 0)
            return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body
    return b""


_TOLD_CHUNKS: Final = frozenset({b"eXIf", b"tEXt", b"zTXt", b"iTXt", b"tIME"})  # ISO/IEC 15948, 11.3


def _clean_png(data: bytes) -> bytes:
    kept, at = [data[:8]], 8
    while at < len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        chunk = data[at : at + 12 + length]
        if len(chunk) < 12 + length:
            raise Damaged("a chunk of the PNG is longer than the file")
        if kind not in _TOLD_CHUNKS:
            kept.append(chunk)
        at += len(chunk)
        if kind == b"IEND":
            break
    return b"".join(kept)


def _clean_webp(data: bytes) -> bytes:
    """Without the chunks EXIF and XMP, and without the flags that announce them (RFC 9649, 2.7)."""
    kept, at = [], 12
    while at < len(data):
        kind, length = struct.unpack_from("<4sI", data, at)
        chunk = data[at : at + 8 + length + length % 2]
        if len(chunk) < 8 + length:
            raise Damaged("a chunk of the WebP is longer than the file")
        if kind == b"VP8X":
            chunk = chunk[:8] + bytes([chunk[8] & ~0x0C]) + chunk[9:]
        if kind not in (b"EXIF", b"XMP "):
            kept.append(chunk)
        at += 8 + length + length % 2
    body = b"WEBP" + b"".join(kept)
    return b"RIFF" + struct.pack("<I", len(body)) + body
