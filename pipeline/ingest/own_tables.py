"""The small tables that a shop keeps beside its exports, as a spreadsheet saves them: fixed columns, a row per line."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.errors import UsageError, cut

DELIMITERS = ",;\t"


@dataclass(frozen=True)
class OwnRow:
    """One row with something in it.

    Attributes
    ----------
    place
        File and line, for messages.
    cells
        Column to text without outer blanks; ``""`` where the cell is blank or absent.
    slug
        Of the errors about the file.
    decimal_comma
        Whether numbers may have one: in a file with semicolons, as spreadsheets of such countries save it.
    """

    place: str
    cells: dict[str, str]
    slug: str
    decimal_comma: bool

    def text(self, column: str) -> str | None:
        """Return a cell; None where it is blank."""
        return self.cells[column] or None

    def number(self, column: str, *, advice: str, low: float = -math.inf, blank: bool = False) -> float | None:
        """Return a cell as a finite number of ``low`` or more; None where it is blank and ``blank`` allows that.

        Raises
        ------
        UsageError
            If it is none, with ``advice`` on what to do.
        """
        text = self.cells[column]
        if not text and blank:
            return None
        try:
            value = float(text.replace(",", ".") if self.decimal_comma else text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or value < low:
            bound = f" of {low:g} or more" if math.isfinite(low) else ""
            raise self.wrong(f"{cut(text)!r} is not a number{bound}: {advice}", column)
        return value

    def wrong(self, what: str, column: str | None = None) -> UsageError:
        """Return the error that says ``what`` of the row, or of one of its columns."""
        return UsageError(f"{self.place}{'' if column is None else f', {column}'}: {what}", slug=self.slug)


def own_rows(text: str, columns: Sequence[str], *, name: str, slug: str) -> Iterator[OwnRow]:
    """Yield the rows of a table with ``columns``, in any order and case, comma, semicolon or tab between them.

    Parameters
    ----------
    text
        The file's text; a byte order mark, blank lines and further columns do no harm.
    name, slug
        File name and slug for messages.

    Raises
    ------
    UsageError
        If a column is missing.
    """
    plain = text.removeprefix("\ufeff")
    head = plain.split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=head.count)
    reader = csv.reader(io.StringIO(plain), delimiter=delimiter)
    header = [cell.strip().lower() for cell in next(reader, [])]
    missing = [column for column in columns if column not in header]
    if missing:
        raise UsageError(f"{name}, line 1: the column {missing[0]!r} is missing: add it", slug=slug)
    for cells in reader:
        found = dict(zip(header, (cell.strip() for cell in cells), strict=False))
        if any(found.values()):
            row = {column: found.get(column, "") for column in columns}
            yield OwnRow(f"{name}, line {reader.line_num}", row, slug, delimiter == ";")
