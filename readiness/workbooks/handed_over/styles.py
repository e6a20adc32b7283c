"""How cells are shown: their number format, whether they are struck through, whether a color lies behind them."""

from collections.abc import Mapping
from typing import Final, NamedTuple

from openpyxl.styles.numbers import BUILTIN_FORMATS

from readiness.workbooks.handed_over.xml_parts import Parts, damaged

_MOST_FORMATS: Final = 10_000
_MOST_STYLES: Final = 70_000  # spreadsheet programs stop at 64,000
_LONGEST_FORMAT: Final = 255
_NO: Final = frozenset({"0", "false", "off", "none"})
_GENERAL: Final = "General"


class Style(NamedTuple):
    """One way to show a cell."""

    number_format: str = _GENERAL
    struck: bool = False
    colored: bool = False


class _Reader:
    """The styles part, event by event; fonts, fills and formats stand before the styles that point at them."""

    def __init__(self, part: str) -> None:
        self._part = part
        self._formats: dict[int, str] = {}
        self._struck: list[bool] = []
        self._colored: list[bool] = []
        self._inside = ""
        self.styles: list[Style] = []

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """One opening tag."""
        if tag in {"fonts", "fills", "cellXfs", "dxfs", "cellStyleXfs"}:
            self._inside = tag
        elif tag == "numFmt":
            self._formats[int(attributes.get("numFmtId", "0"))] = attributes.get("formatCode", "")[:_LONGEST_FORMAT]
        elif self._inside == "fonts":
            self._font(tag, attributes)
        elif self._inside == "fills":
            self._fill(tag, attributes)
        elif self._inside == "cellXfs" and tag == "xf":
            self._style(attributes)
        if max(len(self._formats), len(self._struck), len(self._colored)) > _MOST_FORMATS:
            raise damaged(self._part)

    def end(self, tag: str) -> None:
        """One closing tag."""
        if tag == self._inside:
            self._inside = ""

    def _font(self, tag: str, attributes: Mapping[str, str]) -> None:
        if tag == "font":
            self._struck.append(False)
        elif tag == "strike" and self._struck:
            self._struck[-1] = attributes.get("val", "1") not in _NO

    def _fill(self, tag: str, attributes: Mapping[str, str]) -> None:
        if tag == "fill":
            self._colored.append(False)
        elif tag == "patternFill" and self._colored:
            self._colored[-1] = attributes.get("patternType", "none") not in _NO | {"gray125"}
        elif tag == "gradientFill" and self._colored:
            self._colored[-1] = True

    def _style(self, attributes: Mapping[str, str]) -> None:
        if len(self.styles) >= _MOST_STYLES:
            raise damaged(self._part)
        number = int(attributes.get("numFmtId", "0"))
        shown = self._formats.get(number) or BUILTIN_FORMATS.get(number, _GENERAL)
        struck = _of(self._struck, attributes.get("fontId", "0"))
        self.styles.append(Style(shown, struck, _of(self._colored, attributes.get("fillId", "0"))))


def _of(known: list[bool], number: str) -> bool:
    at = int(number)
    return 0 <= at < len(known) and known[at]


def read_styles(parts: Parts, part: str) -> list[Style]:
    """The styles by their numbers; none where the file has no such part. Raises ``NotAWorkbook``."""
    reader = _Reader(part)
    if part in parts:
        parts.stream(part, reader.start, reader.end, _nothing)
    return reader.styles


def _nothing(_: str) -> None:
    pass
