"""How large a handed-over sheet may be, and the sentences for larger ones: far above any stock list."""

from typing import Final

from readiness.workbooks.guard import NotAWorkbook

MOST_ROWS: Final = 50_000  # filled rows of all sheets together
MOST_COLUMNS: Final = 256
MOST_CELLS: Final = 600_000  # of all sheets together, from the first column to the last filled one of each row
MOST_SHEETS: Final = 100
MOST_CHARACTERS: Final = 20_000_000  # of all texts together
LONGEST_CELL: Final = 32_767  # characters; what the spreadsheet format allows
LAST_ROW: Final = 1_048_576
LAST_COLUMN: Final = 16_384


def too_many(what: str, most: int) -> NotAWorkbook:
    """More rows, cells, sheets or characters than are read."""
    return NotAWorkbook(
        f"More than {most:,} {what} were read: no stock list is as long; delete what is not stock, or divide the file."
    )


def too_wide(where: str) -> NotAWorkbook:
    """A cell far to the right."""
    return NotAWorkbook(
        f"Something in column {MOST_COLUMNS + 1} or beyond was read ({where}): at most {MOST_COLUMNS} columns are "
        "read; delete what stands there."
    )


def too_long(where: str) -> NotAWorkbook:
    """A cell with a book in it."""
    return NotAWorkbook(
        f"A cell of more than {LONGEST_CELL:,} characters was read ({where}): check for a quotation mark that is not "
        "closed, or shorten it."
    )


class Tally:
    """Counts what has been read of a whole file, and ends the reading at the bounds."""

    def __init__(self) -> None:
        self.rows = self.cells = self.characters = 0

    def row(self, width: int) -> None:
        """One filled row. Raises ``NotAWorkbook``."""
        self.rows += 1
        self.cells += width
        if self.rows > MOST_ROWS:
            raise too_many("filled rows", MOST_ROWS)
        if self.cells > MOST_CELLS:
            raise too_many("cells", MOST_CELLS)

    def text(self, text: str, where: str) -> None:
        """One text. Raises ``NotAWorkbook``."""
        self.characters += len(text)
        if len(text) > LONGEST_CELL:
            raise too_long(where)
        if self.characters > MOST_CHARACTERS:
            raise too_many("characters", MOST_CHARACTERS)
