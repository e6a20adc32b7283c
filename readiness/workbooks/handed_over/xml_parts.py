"""Parts of a workbook file as a stream of XML events, within bounds: depth, one token, one text, everything together.

The library that writes workbooks reads cells only: not their comments, not what is merged or hidden, and a formula or
its value but not both. A handed-over sheet says things in all of these, so its parts are read here.
"""

import zipfile
from collections.abc import Callable, Mapping
from typing import Any, Final
from xml.parsers import expat

from readiness.workbooks.guard import NotAWorkbook

_CHUNK: Final = 1 << 17
_DEEPEST: Final = 60  # elements inside one another; a worksheet has about eight
_LONGEST_TOKEN: Final = 1 << 20  # bytes of one tag or comment: the parser starts over on each piece of a longer one

Start = Callable[[str, Mapping[str, str]], Any]
End = Callable[[str], Any]
Text = Callable[[str], Any]


def damaged(part: str) -> NotAWorkbook:
    """The sentence for a part that no spreadsheet program writes so."""
    return NotAWorkbook(
        f"A workbook that is damaged inside was read ({part}): open it in the spreadsheet program and save it again as "
        "an Excel workbook (.xlsx)."
    )


def local(tag: str) -> str:
    """A tag or attribute without its prefix: some programs write <x:row>."""
    return tag.rpartition(":")[2]


class Parts:
    """The parts of one file, found whatever the case of their names."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        self._names = {name.casefold().lstrip("/"): name for name in archive.namelist()}

    def __contains__(self, name: str) -> bool:
        return name.casefold() in self._names

    def stream(self, name: str, start: Start, end: End, text: Text) -> None:
        """Hand each event of the part to the three functions. Raises ``NotAWorkbook``."""
        if name not in self:
            raise damaged(name)
        parser = _parser(name, start, end, text)
        try:
            with self._archive.open(self._names[name.casefold()]) as part:
                fed = 0
                while chunk := part.read(_CHUNK):
                    parser.Parse(chunk, False)
                    fed += len(chunk)
                    if fed - max(parser.CurrentByteIndex, 0) > _LONGEST_TOKEN:
                        raise damaged(name)
                parser.Parse(b"", True)
        except (expat.ExpatError, zipfile.BadZipFile, EOFError, OSError, ValueError) as error:
            if isinstance(error, NotAWorkbook):
                raise
            raise damaged(name) from None


def _parser(name: str, start: Start, end: End, text: Text) -> Any:
    depth = 0

    def opened(tag: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        depth += 1
        if depth > _DEEPEST:
            raise damaged(name)
        start(tag if ":" not in tag else local(tag), attributes)

    def closed(tag: str) -> None:
        nonlocal depth
        depth -= 1
        end(tag if ":" not in tag else local(tag))

    def refused(*_: object) -> None:
        raise damaged(name)

    parser: Any = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = opened
    parser.EndElementHandler = closed
    parser.CharacterDataHandler = text
    parser.StartDoctypeDeclHandler = refused  # entities are how a small file becomes a large one
    return parser
