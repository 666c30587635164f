"""One file in, a frame of text out: every record below the header is a row, skipped with a reason, or malformed."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.errors import FileRefused, UsageError, cut
from pipeline.ingest import structure
from pipeline.ingest.decode import (
    SURROGATE,
    Decoded,
    decode,
    digest,
    read_bytes,
    refuse_changed,
    refuse_what_is_not_text,
)
from pipeline.ingest.dialect import Detected, detect
from pipeline.ingest.records import OPEN, Dialect, Record, is_blank, records

SKIPPED_SCHEMA = {"source_line": pl.Int64, "reason": pl.String, "raw": pl.String}
MALFORMED_SCHEMA = {
    "source_line": pl.Int64,
    "rule": pl.String,
    "message": pl.String,
    "advice": pl.String,
    "raw": pl.String,
}

DELIMITER_WORDS = {
    "comma": ",",
    "semicolon": ";",
    "tab": "\t",
    "\\t": "\t",
    "pipe": "|",
    "space": " ",
}


@dataclass(frozen=True)
class RawTable:
    """A file as text.

    ``cells`` has the columns c0 to cN-1 (String; null = absent in a short row, "" = blank) and ``source_line``
    (the first physical line of the record), one row per data record in the file's order. ``skipped`` and
    ``malformed`` hold every other record below the header.
    """

    name: str
    sha256: str
    encoding: str
    encoding_confidence: float
    delimiter: str
    quote: str
    header: tuple[str, ...]
    header_line: int
    cells: pl.DataFrame
    skipped: pl.DataFrame
    malformed: pl.DataFrame

    @property
    def rows_read(self) -> int:
        """Records below the header."""
        return self.cells.height + self.skipped.height + self.malformed.height


@dataclass(frozen=True)
class Layout:
    """What a file was understood to be, before its records are sorted."""

    name: str
    sha256: str
    decoded: Decoded
    detected: Detected
    above: tuple[Record, ...]
    header: Record
    data: bytes

    @property
    def dialect(self) -> Dialect:
        """Delimiter, quote and escape."""
        return self.detected.dialect


def read_table(
    path: Path,
    name: str,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    header_row: int | None = None,
) -> RawTable:
    """Return the file at ``path`` with every cell as text and every record accounted for.

    Parameters
    ----------
    path : Path
        The file; never taken as a pattern.
    name : str
        Its name in messages and in ``source_file``.
    encoding, delimiter : str, optional
        What the mapping file states; detected otherwise.
    header_row : int, optional
        Physical line of the header, from 1.

    Raises
    ------
    FileRefused
        If the file is empty, is no text, has no record, or changes while it is read.
    UsageError
        If an override is wrong.
    """
    before = _stat(path, name)
    layout = understand(path, name, encoding=encoding, delimiter=delimiter, header_row=header_row)
    table = _sort(layout)
    refuse_changed(path, name, before)
    return table


def _stat(path: Path, name: str) -> os.stat_result:
    try:
        return path.stat()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise FileRefused(f"{name} cannot be opened ({reason}): check the name and its permissions") from error


def understand(
    path: Path,
    name: str,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    header_row: int | None = None,
) -> Layout:
    """Return encoding, dialect and header of a file; the errors are those of `read_table`."""
    data = read_bytes(path, name)
    refuse_what_is_not_text(data, name)
    decoded = decode(data, encoding=encoding)
    stated = _stated_delimiter(delimiter)
    detected = detect(decoded.text, delimiter=stated)
    above, header = _find_header(decoded.text, detected, name, header_row)
    return Layout(name, digest(data), decoded, detected, tuple(above), header, data)


def _stated_delimiter(delimiter: str | None) -> str | None:
    if delimiter is None:
        return None
    stated = DELIMITER_WORDS.get(delimiter.strip().lower(), delimiter)
    if not stated or any(c in stated for c in "\r\n\"'") or stated.isalnum():
        what = f'delimiter "{cut(delimiter)}" in mapping.toml cannot separate cells'
        raise UsageError(f'{what}: write ",", ";", "|" or "tab"')
    return stated


def _find_header(text: str, detected: Detected, name: str, header_row: int | None) -> tuple[list[Record], Record]:
    most = max(400, (header_row or 0) + 1)
    sample = list(records(text, detected.dialect, widths=detected.widths, most=most))
    if all(is_blank(record.cells) for record in sample):
        sample = list(records(text, detected.dialect, widths=detected.widths))
    if all(is_blank(record.cells) for record in sample):
        raise FileRefused(f"{name} has nothing but blank lines: export it again", slug="empty-file")
    if header_row is None:
        at = structure.find_header(sample)
        return sample[:at], sample[at]
    for at, record in enumerate(sample):
        if record.line == header_row:
            return sample[:at], record
    raise UsageError(f"{name}: header_row = {header_row} in mapping.toml is not the first line of a record: correct it")


def _sort(layout: Layout) -> RawTable:
    text, header = layout.decoded.text, layout.header
    names = tuple(plain(structure.clean(cell)) for cell in header.cells)
    width = len(names)
    titles = {tuple(structure.filled(r.cells)) for r in layout.above if not is_blank(r.cells)}
    lines: list[int] = []
    rows: list[list[str | None]] = []
    skipped: list[tuple[int, str, str]] = []
    malformed: list[tuple[int, str, str, str, str]] = []
    last_end = len(text)
    below_header = True
    for record in records_below(layout):
        raw = plain(text[record.start : record.end])
        reason = _skip_reason(record.cells, header.cells, titles, right_below_header=below_header)
        if reason is not None:
            skipped.append((record.line, reason, raw))
            below_header = reason == "repeated_header" or (below_header and reason == "blank")
            continue
        below_header = False
        fault = _fault(record, width, layout, is_last=record.end == last_end)
        if fault is not None:
            malformed.append((record.line, *fault, raw))
            continue
        lines.append(record.line)
        rows.append([*record.cells[:width], *[None] * (width - len(record.cells))])
    columns = list(zip(*rows, strict=True)) if rows else [()] * width
    cells = pl.DataFrame(
        [pl.Series(f"c{n}", column, dtype=pl.String) for n, column in enumerate(columns)]
        + [pl.Series("source_line", lines, dtype=pl.Int64)]
    )
    return RawTable(
        name=layout.name,
        sha256=layout.sha256,
        encoding=layout.decoded.encoding,
        encoding_confidence=layout.decoded.confidence,
        delimiter=layout.dialect.delimiter,
        quote=layout.dialect.quote,
        header=names,
        header_line=header.line,
        cells=cells,
        skipped=pl.DataFrame(skipped, schema=SKIPPED_SCHEMA, orient="row"),
        malformed=pl.DataFrame(malformed, schema=MALFORMED_SCHEMA, orient="row"),
    )


def records_below(layout: Layout) -> list[Record]:
    """Return every record below the header, read with the table's own width."""
    text, header = layout.decoded.text, layout.header
    start, line = _after(text, header)
    widths = tuple(dict.fromkeys([len(header.cells), *layout.detected.widths]))
    return list(records(text, layout.dialect, widths=widths, start=start, first_line=line))


def _after(text: str, record: Record) -> tuple[int, int]:
    """Return offset and physical line of what follows ``record``."""
    inside = text[record.start : record.end]
    breaks = inside.count("\n") + inside.count("\r") - inside.count("\r\n")
    length = 2 if text.startswith("\r\n", record.end) else 1
    return min(record.end + length, len(text)), record.line + breaks + 1


def _skip_reason(
    cells: list[str], header: list[str], titles: set[tuple[str, ...]], *, right_below_header: bool
) -> str | None:
    if is_blank(cells):
        return "blank"
    if structure.same_header(cells, header):
        return "repeated_header"
    if tuple(structure.filled(cells)) in titles:
        return "title"
    if right_below_header and structure.is_units_line(cells, header):
        return "units"
    if structure.is_totals_line(cells, len(header)):
        return "totals"
    return None


def _fault(record: Record, width: int, layout: Layout, *, is_last: bool) -> tuple[str, str, str] | None:
    """Return rule, message and advice of a record that is no row."""
    place = f"{layout.name} line {record.line}"
    count = _width(record.cells)
    if layout.decoded.damaged and any(SURROGATE.search(cell) for cell in record.cells):
        message = f"{place}: holds bytes that are not {layout.decoded.encoding}; the row was not read"
        return "bad-bytes", message, "Correct the damaged characters and import again."
    if is_last and layout.decoded.cut:
        return "cut-off", f"{place}: the file ends inside a character; the row was not read", CUT_ADVICE
    if record.flaw == OPEN and (is_last or count != width):
        message = f"{place}: a quote is opened and never closed; the row was not read"
        return "open-quote", message, "Close or remove the quote and import again."
    if count > width:
        message = f"{place}: {count} cells where the header has {width}; the row was not read"
        return "too-many-cells", message, "Quote the cell that holds the delimiter, or remove the extra cells."
    if is_last and len(record.cells) < width:
        message = f"{place}: the file ends inside this row, after {len(record.cells)} of {width} cells"
        return "cut-off", message, CUT_ADVICE
    return None


CUT_ADVICE = "Export the file again; if the row is complete, add the missing cells and import it."


def _width(cells: Sequence[str]) -> int:
    """Return the number of cells without the blank ones at the end."""
    count = len(cells)
    while count and not structure.clean(cells[count - 1]):
        count -= 1
    return count


def plain(text: str) -> str:
    """Return the text with unreadable bytes shown as U+FFFD."""
    return SURROGATE.sub("\ufffd", text) if not text.isascii() else text
