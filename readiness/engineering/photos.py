"""What a picture is by its first bytes, whatever its name says."""

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
