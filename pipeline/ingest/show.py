"""The body of ``preseason show FILE``: a file as it was understood, every record and cell, as plain CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import cut
from pipeline.ingest.layout import Layout, records_below, understand
from pipeline.ingest.records import BLANK, Record
from pipeline.ingest.rows import plain

CHUNK_CHARACTERS = 1 << 20
MOST_LISTED = 12
"""Line numbers named in one note; the rest are counted."""

DELIMITER_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe", " ": "space", ", ": "comma and space"}


@dataclass(frozen=True)
class Shown:
    """``notes`` are sentences for standard error; ``chunks()`` yields UTF-8 comma CSV for standard output."""

    notes: tuple[str, ...]
    records: tuple[Sequence[str], ...]

    def chunks(self) -> Iterator[bytes]:
        """Yield the header and every record below it, ragged ones as they are."""
        buffer = io.StringIO(newline="")
        writer = csv.writer(buffer, lineterminator="\n")
        for cells in self.records:
            writer.writerow([plain(cell) for cell in cells])
            if buffer.tell() > CHUNK_CHARACTERS:
                yield buffer.getvalue().encode("utf-8")
                buffer.seek(0)
                buffer.truncate()
        yield buffer.getvalue().encode("utf-8")


def show(path: Path, name: str | None = None) -> Shown:
    """Return the file at ``path`` as the reader understands it, without any mapping.

    Units, totals and repeated header lines are below the header and stay; only lines above the header and lines
    without any character are left out, and the notes say which.

    Raises
    ------
    FileRefused
        If the file is empty, is no text, or changes while it is read.
    """
    layout = understand(path, path.name if name is None else name)
    text = layout.decoded.text
    kept: list[Sequence[str]] = [layout.header.cells]
    blank: list[int] = []
    for record in records_below(layout):
        raw = text[record.start : record.end]
        if raw.strip(BLANK) or (len(record.cells) > 1 and layout.dialect.delimiter != " "):
            kept.append(record.cells)
        else:
            blank.append(record.line)
    return Shown(tuple(_notes(layout, blank, len(kept) - 1)), tuple(kept))


def _notes(layout: Layout, blank: list[int], below: int) -> Iterator[str]:
    decoded, dialect = layout.decoded, layout.dialect
    sure = "" if decoded.confidence >= 1 else f" (confidence {decoded.confidence:.2f})"
    escape = f", escape {dialect.escape}" if dialect.escape else ""
    delimiter = DELIMITER_NAMES.get(dialect.delimiter, repr(dialect.delimiter))
    yield (
        f"{layout.name}: encoding {decoded.encoding}{sure}, delimiter {delimiter}, quote {dialect.quote or 'none'}"
        f"{escape}, header on line {layout.header.line} with {len(layout.header.cells)} cells, {below} records below it"
    )
    if layout.unwrapped:
        yield "each line stood in quotes as a whole; the quotes were taken off"
    for record in layout.above[:MOST_LISTED]:
        yield f"left out above the header, line {record.line}: {_quoted(record, decoded.text)}"
    if len(layout.above) > MOST_LISTED:
        yield f"left out above the header: {len(layout.above) - MOST_LISTED} more records"
    if blank:
        listed = ", ".join(map(str, blank[:MOST_LISTED])) + (", …" if len(blank) > MOST_LISTED else "")
        yield f"left out {len(blank)} blank line{'s' if len(blank) > 1 else ''} below the header: {listed}"


def _quoted(record: Record, text: str) -> str:
    raw = text[record.start : record.end].strip(BLANK)
    return f'"{cut(plain(raw))}"' if raw else "blank"
