"""One file from bytes to checked rows: read, recognise a returned reject list, map, parse, check; stores nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipeline.checks.check import Account, Checked, check
from pipeline.checks.rejects import malformed_findings, recognise, rejected_records, with_record_digest
from pipeline.config import Settings
from pipeline.errors import FileRefused
from pipeline.ingest.conventions import AmbiguousFile, Conventions
from pipeline.ingest.dates import order_of_format
from pipeline.ingest.discover import Found
from pipeline.ingest.headers import normalised
from pipeline.ingest.mapping import Mapped, map_table
from pipeline.ingest.mapping_file import ColumnEntry, Entry, MappingFile, entry_digest, literal_pattern
from pipeline.ingest.parse import Parsed, parse
from pipeline.ingest.read import RawTable, read_table

RETURNED = "rejected/"
"""Stands before the name of a file that came back from the reject list, so that it differs from its source's."""


@dataclass(frozen=True)
class Taken:
    """One file, or the part of a returned reject list that belongs to one source file, ready to be stored.

    Attributes
    ----------
    place
        Position in the natural order of the files, which decides which of two versions is the newer.
    file
        The imported file's name as shown; ``raw.name`` is the source file its rows name.
    entry
        The mapping entry that reads it again in the same way.
    records
        Refused records as read (``RECORD_SCHEMA`` and record_digest).
    findings
        All refusals, with record_digest.
    """

    place: int
    file: str
    raw: RawTable
    parsed: Parsed
    checked: Checked
    unmapped: tuple[str, ...]
    entry: Entry
    digest: str
    records: pl.DataFrame
    findings: pl.DataFrame

    def account(self, stored: int, unchanged: int) -> Account:
        """Return where every record went, once it is known how many rows were new or changed something."""
        values = self.findings.filter(pl.col("scope") == "value")
        return Account(
            rows_read=self.raw.rows_read,
            rows_stored=stored,
            rows_unchanged=unchanged + self.checked.repeated.height,
            rows_rejected=self.checked.rows_rejected + self.raw.malformed.height,
            rows_skipped=self.raw.skipped.height,
            values_rejected=values.height,
        )


@dataclass(frozen=True)
class Refused:
    """A file that could not be read or mapped, and the sentence that says why."""

    file: str
    sentence: str


@dataclass(frozen=True)
class _Waiting:
    place: int
    file: str
    raw: RawTable
    mapped: Mapped


StoredParts = Callable[[Sequence[str]], pl.DataFrame]


@dataclass(frozen=True)
class Intake:
    """What the files are read with."""

    mapping: MappingFile
    settings: Settings
    as_of: dt.date | None
    today: dt.date
    stored_parts: StoredParts | None = None

    @property
    def latest(self) -> dt.date:
        """The last date a visit may carry."""
        return max(self.today, self.as_of or self.today)

    def take(self, found: Iterable[tuple[int, Found]]) -> Iterator[Taken | Refused]:
        """Yield each file checked, or refused with its reason; one whose conventions are ambiguous comes last.

        A date order or decimal sign that a file leaves open is settled by the nearest file with the same header line,
        wherever it stands among the files.
        """
        settled: dict[tuple[str, ...], list[Conventions]] = {}
        waiting: list[_Waiting] = []
        for place, item in found:
            try:
                pieces = self._pieces(item)
            except FileRefused as error:
                yield Refused(item.name, error.sentence())
                continue
            for file, raw in pieces:
                try:
                    mapped = map_table(raw, self.mapping)
                    taken = self._check(place, file, raw, mapped, settled.get(_header(raw), []))
                except AmbiguousFile:
                    waiting.append(_Waiting(place, file, raw, mapped))
                except FileRefused as error:
                    yield Refused(file, error.sentence())
                else:
                    settled.setdefault(_header(raw), []).insert(0, taken.parsed.conventions)
                    yield taken
        for late in waiting:
            try:
                yield self._check(late.place, late.file, late.raw, late.mapped, settled.get(_header(late.raw), []))
            except AmbiguousFile as error:
                yield Refused(late.file, error.sentence())

    def _pieces(self, found: Found) -> list[tuple[str, RawTable]]:
        told = self.mapping.entry_for(found.name)
        raw = read_table(
            found.path,
            found.name,
            encoding=told.encoding if told else None,
            delimiter=told.delimiter if told else None,
            header_row=told.header_row if told else None,
        )
        returned = recognise(raw)
        if returned is None:
            return [(found.name, raw)]
        # Lines skipped in the returned file are accounted for once, with its first part.
        first, *others = returned.pieces
        pieces = [replace(first, skipped=raw.skipped), *others]
        return [(RETURNED + found.name, piece) for piece in pieces]

    def _check(self, place: int, file: str, raw: RawTable, mapped: Mapped, siblings: Sequence[Conventions]) -> Taken:
        if file.startswith(RETURNED):
            # A spreadsheet may have written dates and decimals anew: what the source file used is only a hint now.
            order = order_of_format(mapped.date_format) if mapped.date_format else None
            siblings = [*siblings, Conventions(mapped.decimal, order)]
            mapped = replace(mapped, date_format=None, decimal=None)
        parsed = parse(raw, mapped, altitude_ft=self.settings.shop.altitude_ft, latest=self.latest, siblings=siblings)
        parsed = _blank_unsupported_zeros(parsed)
        came_back = file.startswith(RETURNED) and parsed.table == "parts" and self.stored_parts is not None
        known_parts = self.stored_parts([raw.name]) if came_back and self.stored_parts else None
        checked = check(parsed, as_of=self.as_of, today=self.today, raw=raw, stored_parts=known_parts)
        findings = pl.concat([checked.findings, malformed_findings(raw)])
        records = rejected_records(raw, findings)
        entry = self.mapping.entry_for(raw.name, raw.header) or entry_of(raw, mapped, parsed.conventions)
        return Taken(
            place=place,
            file=file,
            raw=raw,
            parsed=parsed,
            checked=checked,
            unmapped=mapped.unmapped,
            entry=entry,
            digest=entry_digest(entry),
            records=records,
            findings=with_record_digest(findings, records),
        )


def entry_of(raw: RawTable, mapped: Mapped, conventions: Conventions) -> Entry:
    """Return the mapping entry that reads this file again as it was read now."""
    return Entry(
        pattern=literal_pattern(raw.name),
        table=mapped.table,
        decimal=conventions.decimal,
        date_format=conventions.date_format,
        header=raw.header,
        columns={name: ColumnEntry(use.header, use.unit) for name, use in mapped.columns.items()},
        values=mapped.values,
    )


def _header(raw: RawTable) -> tuple[str, ...]:
    return tuple(normalised(text) for text in raw.header)


SUPPORTING_OBSERVATION = "swollen_capacitor"
SUPPORTING_CAUSE = "run_capacitor"


def _blank_unsupported_zeros(parsed: Parsed) -> Parsed:
    """Return the file with the zeros of zero-filled columns blank, but for those that the row itself supports."""
    columns = parsed.frame.columns
    names = [name for name in parsed.zero_filled if name in columns]
    if not names:
        return parsed
    supported = pl.lit(False)
    if "cause" in columns:
        supported = supported | (pl.col("cause") == SUPPORTING_CAUSE).fill_null(False)
    if "observations" in columns:
        supported = supported | pl.col("observations").str.contains(SUPPORTING_OBSERVATION, literal=True).fill_null(
            False
        )
    said = parsed.said_open.filter(pl.col("field").is_in(names))
    frame = parsed.frame
    for name in names:
        lines = said.filter(pl.col("field") == name).get_column("source_line").implode()
        open_here = supported | pl.col("source_line").is_in(lines)
        frame = frame.with_columns(pl.when((pl.col(name) != 0) | open_here).then(pl.col(name)).alias(name))
    return replace(parsed, frame=frame)
