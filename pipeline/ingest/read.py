"""One file in, a frame of text out, with every record below the header accounted for."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.errors import FileRefused
from pipeline.ingest import structure
from pipeline.ingest.decode import refuse_changed
from pipeline.ingest.layout import understand
from pipeline.ingest.rows import MALFORMED_SCHEMA, SKIPPED_SCHEMA, plain, sort_records


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
    sorting = sort_records(layout)
    refuse_changed(path, name, before)
    return RawTable(
        name=name,
        sha256=layout.sha256,
        encoding=layout.decoded.encoding,
        encoding_confidence=layout.decoded.confidence,
        delimiter=layout.dialect.delimiter,
        quote=layout.dialect.quote,
        header=tuple(plain(structure.clean(cell)) for cell in layout.header.cells),
        header_line=layout.header.line,
        cells=sorting.cells(),
        skipped=pl.DataFrame(sorting.skipped, schema=SKIPPED_SCHEMA, orient="row"),
        malformed=pl.DataFrame(sorting.malformed, schema=MALFORMED_SCHEMA, orient="row"),
    )


def _stat(path: Path, name: str) -> os.stat_result:
    try:
        return path.stat()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or type(error).__name__
        raise FileRefused(f"{name} cannot be opened ({reason}): check the name and its permissions") from error
