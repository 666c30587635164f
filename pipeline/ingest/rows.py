"""Records in, rows out: each record below the header is a row, skipped with a reason, or malformed with a rule."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.ingest import scan, structure
from pipeline.ingest.decode import SURROGATE
from pipeline.ingest.layout import Layout, after
from pipeline.ingest.records import BLANK, OPEN, Record, is_blank, records

SKIPPED_SCHEMA = {"source_line": pl.Int64, "reason": pl.String, "raw": pl.String}
MALFORMED_SCHEMA = {
    "source_line": pl.Int64,
    "rule": pl.String,
    "message": pl.String,
    "advice": pl.String,
    "raw": pl.String,
}
CUT_ADVICE = "Export the file again; if the row is complete, add the missing cells and import it."
BEGINNING_LINES = 64
"""Physical lines in which the first data row is looked for before the fast reader takes over."""
MOST_ODD = 0.3
"""Share of records of another width above which the fast reader is not worth its while."""


@dataclass
class Sorting:
    """Where the records of one file go."""

    layout: Layout
    lines: list[int] = field(default_factory=list)
    rows: list[list[str | None]] = field(default_factory=list)
    skipped: list[tuple[int, str, str]] = field(default_factory=list)
    malformed: list[tuple[int, str, str, str, str]] = field(default_factory=list)
    clean: list[pl.DataFrame] = field(default_factory=list)
    other_table_line: int | None = None

    def __post_init__(self) -> None:
        self.header = self.layout.header.cells
        self.width = len(self.header)
        above = [structure.filled(r.cells) for r in self.layout.above]
        self.titles = {tuple(cells) for cells in above if cells}
        self.end = len(self.layout.decoded.text)
        words = {*structure.line_words("totals"), structure.clean(self.header[0]).casefold()}
        self.beginnings = words | {title[0].casefold() for title in self.titles}

    def reason(self, cells: Sequence[str], *, may_be_units: bool) -> str | None:
        """Return why a record is no data row, or None.

        Only a record that begins as such lines do is looked at: blank, with a known word, or with one cell.
        """
        begin = structure.clean(cells[0])
        known = begin.rstrip(" :").casefold() in self.beginnings
        if begin and not known and not may_be_units and any(cells[1:]):
            return None
        if is_blank(cells):
            return "blank"
        if structure.same_header(cells, self.header):
            return "repeated_header"
        if tuple(structure.filled(cells)) in self.titles:
            return "title"
        if may_be_units and structure.is_units_line(cells):
            return "units"
        if structure.is_totals_line(cells, self.width):
            return "totals"
        return None

    def take(self, record: Record, raw: str, *, may_be_units: bool, is_last: bool) -> str | None:
        """Put one record where it belongs and return why it was skipped, if it was."""
        reason = self.reason(record.cells, may_be_units=may_be_units)
        if reason == "repeated_header":
            self.other_table_line = None
        elif reason is None and self.begins_other_table(record):
            self.other_table_line = record.line
        if reason is not None:
            self.skipped.append((record.line, reason, plain(raw)))
            return reason
        if self.other_table_line is not None:
            message = f"{self.layout.name} line {record.line}: another table begins on line {self.other_table_line}"
            advice = "Save that table as a file of its own and import it."
            self.malformed.append((record.line, "other-table", f"{message}; the row was not read", advice, plain(raw)))
            return None
        fault = _fault(record, self.width, self.layout, is_last=is_last)
        if fault is not None:
            self.malformed.append((record.line, *fault, plain(raw)))
        else:
            self.lines.append(record.line)
            self.rows.append([*record.cells[: self.width], *[None] * (self.width - len(record.cells))])
        return None

    def begins_other_table(self, record: Record) -> bool:
        """Whether the record stands right below a blank line, with rows above, and names columns."""
        below_blank = bool(self.skipped) and self.skipped[-1][1] == "blank" and bool(self.lines)
        below_blank = below_blank and self.skipped[-1][0] > self.lines[-1]
        return below_blank and structure.begins_other_table(record.cells, self.width)

    def cells(self) -> pl.DataFrame:
        """Return the data rows in the file's order."""
        columns = list(zip(*self.rows, strict=True)) if self.rows else [()] * self.width
        series = [pl.Series(f"c{n}", column, dtype=pl.String) for n, column in enumerate(columns)]
        single = pl.DataFrame([*series, pl.Series("source_line", self.lines, dtype=pl.Int64)])
        if not self.clean:
            return single
        return pl.concat([single, *self.clean]).sort("source_line", maintain_order=True)


def sort_records(layout: Layout) -> Sorting:
    """Return the records below the header of a file, each in exactly one place."""
    sorting = Sorting(layout)
    start, line = layout.below
    may_be_units = True
    text = layout.decoded.text
    beginning = records(text, layout.dialect, widths=layout.widths, start=start, first_line=line, most=BEGINNING_LINES)
    for record in beginning:
        raw = text[record.start : record.end]
        reason = sorting.take(record, raw, may_be_units=may_be_units, is_last=record.end == sorting.end)
        start, line = after(text, record)
        if reason is None:
            break
        may_be_units = reason == "repeated_header" or (may_be_units and reason == "blank")
    if start < sorting.end and not _sort_fast(sorting, start, line):
        rest = records(text, layout.dialect, widths=layout.widths, start=start, first_line=line)
        _sort_one_by_one(sorting, rest)
    return sorting


def _sort_one_by_one(sorting: Sorting, rest: Iterable[Record]) -> None:
    text, may_be_units = sorting.layout.decoded.text, False
    for record in rest:
        raw = text[record.start : record.end]
        reason = sorting.take(record, raw, may_be_units=may_be_units, is_last=record.end == sorting.end)
        may_be_units = reason == "repeated_header" or (may_be_units and reason == "blank")


def _sort_fast(sorting: Sorting, start: int, line: int) -> bool:
    """Sort the rest of a regular file with the fast reader; False where only the tokenizer will do."""
    layout, dialect, width = sorting.layout, sorting.layout.dialect, sorting.width
    if layout.decoded.damaged or layout.decoded.cut or dialect.escape:
        return False
    text = layout.decoded.text
    skip = start if layout.data[:start].isascii() else len(text[:start].encode("utf-8", "surrogatepass"))
    body = layout.data[skip:]
    found = scan.outline(body, dialect.delimiter, dialect.quote)
    if found is None:
        return False
    usual = np.ones(len(found.starts), dtype=bool)
    frame = scan.read_all(body, found, width, dialect.delimiter, dialect.quote)
    if frame is None:
        usual = scan.widths(body, found, dialect.delimiter, dialect.quote) == width
        if usual.mean() < 1 - MOST_ODD:
            return False
        frame = scan.read_some(body, found, usual, width, dialect.delimiter, dialect.quote)
        if frame is None:
            return False
    frame = frame.with_columns(pl.Series("source_line", found.lines[usual] + line, dtype=pl.Int64))
    by_line = {int(found.lines[n]) + line: n for n in np.flatnonzero(~usual).tolist()}
    odd = {at: _record_at(body, found, n, at, layout) for at, n in by_line.items()}
    doubtful = frame.filter(_may_be_skipped(sorting, width))
    if _has_other_table(sorting, frame, odd, doubtful, found.lines + line):
        return False
    headers = {row[-1] for row in doubtful.iter_rows() if structure.same_header(row[:-1], sorting.header)}
    headers |= {at for at, record in odd.items() if structure.same_header(record.cells, sorting.header)}
    if headers:
        # A units line may follow each repeated header, beyond blank lines.
        ordered = found.lines + line
        behind = ordered[np.minimum(np.searchsorted(ordered, sorted(headers)) + 1, len(ordered) - 1)]
        units = set(behind.tolist())
        doubtful = frame.filter(_may_be_skipped(sorting, width) | pl.col("source_line").is_in(list(units)))
    else:
        units = set()
    gone = []
    for *cells, at in doubtful.iter_rows():
        reason = sorting.reason(cells, may_be_units=at in units)
        if reason is not None:
            index = int(np.searchsorted(found.lines, at - line))
            raw = body[found.starts[index] : found.ends[index]].decode("utf-8", "surrogatepass")
            sorting.skipped.append((at, reason, raw))
            gone.append(at)
    last = len(found.starts) - 1 if not body.endswith(b"\n") else -1
    for at, record in odd.items():
        n = by_line[at]
        raw = body[found.starts[n] : found.ends[n]].decode("utf-8", "surrogatepass")
        sorting.take(record, raw, may_be_units=at in units, is_last=n == last)
    sorting.clean.append(frame.filter(~pl.col("source_line").is_in(gone)) if gone else frame)
    sorting.skipped.sort()
    sorting.malformed.sort()
    return True


def _has_other_table(
    sorting: Sorting, frame: pl.DataFrame, odd: dict[int, Record], doubtful: pl.DataFrame, lines: NDArray[np.int64]
) -> bool:
    """Whether a header of another table stands below a blank record; the tokenizer sorts such a file."""
    blank = {at for at, record in odd.items() if is_blank(record.cells)}
    blank |= {at for *cells, at in doubtful.iter_rows() if is_blank(cells)}
    if not blank:
        return False
    behind = np.searchsorted(lines, sorted(blank)) + 1
    places = set(lines[behind[behind < len(lines)]].tolist())
    below = [record.cells for at, record in odd.items() if at in places]
    below += [list(cells) for *cells, _ in frame.filter(pl.col("source_line").is_in(list(places))).iter_rows()]
    return any(structure.begins_other_table(cells, sorting.width) for cells in below)


def _record_at(body: bytes, found: scan.Outline, n: int, line: int, layout: Layout) -> Record:
    text = body[found.starts[n] : found.ends[n]].decode("utf-8", "surrogatepass")
    cells = next(records(text, layout.dialect)).cells if text else [""]
    return Record(line, cells, 0, len(text), 0)


def _may_be_skipped(sorting: Sorting, width: int) -> pl.Expr:
    """Return the rows that ``Sorting.reason`` looks at, as an expression."""
    begin = pl.col("c0").str.strip_chars(BLANK)
    known = begin.str.strip_chars_end(" :").str.to_lowercase().is_in(list(sorting.beginnings))
    alone = pl.all_horizontal([pl.col(f"c{n}") == "" for n in range(1, width)]) if width > 1 else pl.lit(True)
    return known | (begin == "") | alone


def _fault(record: Record, width: int, layout: Layout, *, is_last: bool) -> tuple[str, str, str] | None:
    """Return rule, message and advice of a record that is no row."""
    place = f"{layout.name} line {record.line}"
    count = len(record.cells) if len(record.cells) <= width else _width(record.cells)
    if layout.decoded.damaged and any(SURROGATE.search(cell) for cell in record.cells):
        message = f"{place}: holds bytes that are not {layout.decoded.encoding}; the row was not read"
        return "bad-bytes", message, "Correct the damaged characters and import again."
    if is_last and layout.decoded.cut:
        return "cut-off", f"{place}: the file ends inside a character; the row was not read", CUT_ADVICE
    rest = layout.decoded.text[record.end : record.end + 200] if record.flaw == OPEN else ""
    if record.flaw == OPEN and (count != width or not rest.strip(BLANK)):
        message = f"{place}: a quote is opened and never closed; the row was not read"
        return "open-quote", message, "Close or remove the quote and import again."
    if count > width:
        message = f"{place}: {count} cells where the header has {width}; the row was not read"
        return "too-many-cells", message, "Quote the cell that holds the delimiter, or remove the extra cells."
    if is_last and len(record.cells) < width:
        message = f"{place}: the file ends inside this row, after {len(record.cells)} of {width} cells"
        return "cut-off", message, CUT_ADVICE
    return None


def _width(cells: Sequence[str]) -> int:
    """Return the number of cells without the blank ones at the end."""
    count = len(cells)
    while count and not structure.clean(cells[count - 1]):
        count -= 1
    return count


def plain(text: str) -> str:
    """Return the text with unreadable bytes shown as U+FFFD."""
    return text if text.isascii() else SURROGATE.sub("\ufffd", text)
