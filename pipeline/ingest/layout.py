"""One file in, its layout out: encoding, dialect, header, and what stands above the header."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.errors import FileRefused, UsageError, cut
from pipeline.ingest import structure
from pipeline.ingest.decode import Decoded, decode, digest, read_bytes, refuse_what_is_not_text
from pipeline.ingest.dialect import Detected, detect
from pipeline.ingest.records import Dialect, Record, is_blank, records
from pipeline.ingest.unwrap import unwrap

DELIMITER_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "\\t": "\t", "pipe": "|", "space": " "}
"""Words that a mapping file may use for a delimiter."""

HEADER_SAMPLE_LINES = 200


@dataclass(frozen=True)
class Layout:
    """What a file was understood to be, before its records are sorted.

    ``data`` is the text as UTF-8 from its first character on (without a byte order mark); ``above`` are the
    records above the header, blank ones included; ``unwrapped`` says that each line stood in quotes as a whole.
    """

    name: str
    sha256: str
    decoded: Decoded
    detected: Detected
    above: tuple[Record, ...]
    header: Record
    data: bytes
    unwrapped: bool

    @property
    def dialect(self) -> Dialect:
        """Delimiter, quote and escape."""
        return self.detected.dialect

    @property
    def below(self) -> tuple[int, int]:
        """Offset in the text and physical line of what follows the header."""
        return after(self.decoded.text, self.header)

    @property
    def widths(self) -> tuple[int, ...]:
        """Usual numbers of cells, the header's first."""
        return tuple(dict.fromkeys([len(self.header.cells), *self.detected.widths]))


def understand(
    path: Path,
    name: str,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    header_row: int | None = None,
) -> Layout:
    """Return the layout of the file at ``path``; parameters and errors are those of ``read.read_table``."""
    data = read_bytes(path, name)
    refuse_what_is_not_text(data, name)
    decoded = decode(data, encoding=encoding)
    opened = unwrap(decoded.text)
    if opened is not None:
        decoded = replace(decoded, text=opened)
    detected = detect(decoded.text, delimiter=_stated(delimiter))
    above, header = _find_header(decoded.text, detected, name, header_row)
    sha256 = digest(data)
    if decoded.encoding != "utf-8" or decoded.damaged or opened is not None or data.startswith(b"\xef\xbb\xbf"):
        data = decoded.text.encode("utf-8", "surrogatepass")
    return Layout(name, sha256, decoded, detected, tuple(above), header, data, opened is not None)


def records_below(layout: Layout) -> Iterator[Record]:
    """Yield every record below the header, read with the table's own width."""
    start, line = layout.below
    return records(layout.decoded.text, layout.dialect, widths=layout.widths, start=start, first_line=line)


def after(text: str, record: Record) -> tuple[int, int]:
    """Return offset and physical line of what follows ``record``."""
    inside = text[record.start : record.end]
    breaks = inside.count("\n") + inside.count("\r") - inside.count("\r\n")
    length = 2 if text.startswith("\r\n", record.end) else 1
    return min(record.end + length, len(text)), record.line + breaks + 1


def _stated(delimiter: str | None) -> str | None:
    if delimiter is None:
        return None
    stated = DELIMITER_WORDS.get(delimiter.strip().lower(), delimiter)
    if not stated or any(c in stated for c in "\r\n\"'") or stated.isalnum():
        what = f'delimiter "{cut(delimiter)}" in mapping.toml cannot separate cells'
        raise UsageError(f'{what}: write ",", ";", "|" or "tab"')
    return stated


def _find_header(text: str, detected: Detected, name: str, header_row: int | None) -> tuple[list[Record], Record]:
    most = max(HEADER_SAMPLE_LINES, (header_row or 0) + 1)
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
