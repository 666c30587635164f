"""One file from bytes to checked rows: read, recognise a returned reject list, map, parse, check; stores nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipeline.checks.check import Account, Checked, check
from pipeline.checks.rejects import malformed_findings, recognise, rejected_records, with_record_digest
from pipeline.checks.visit_sheet import as_planned
from pipeline.config import Settings
from pipeline.errors import FileRefused
from pipeline.findings import FINDING_SCHEMA
from pipeline.ingest.conventions import AmbiguousFile, Conventions
from pipeline.ingest.dates import order_of_format
from pipeline.ingest.discover import Found
from pipeline.ingest.forms import Form, entry_in_file, form_of
from pipeline.ingest.headers import normalised
from pipeline.ingest.line_folding import fold_lines
from pipeline.ingest.mapping import Mapped, map_table
from pipeline.ingest.mapping_file import Entry, MappingFile, entry_digest
from pipeline.ingest.parse import Parsed, parse
from pipeline.ingest.propose import entry_of
from pipeline.ingest.read import RawTable, read_table
from pipeline.ingest.zero_filled import blank_filled_readings
from pipeline.shaped import Shaped, check_lines, check_plain, check_several
from pipeline.workmate import Each, alone

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
        All refusals, with record_digest, the table and, where ``form`` is several units, the unit of a refused value.
    form
        How the file was read, where not a row per record.
    parts
        The parts that invoice lines tell of, checked.
    shared
        Where records and rows are not one to one: ``source_line`` of every record and ``row_line`` of the row it is in.
    blanked
        Zeros of filled capacitor columns taken for blanks (``BLANKED_SCHEMA``).
    notes
        What was decided for the file as a whole, a sentence each.
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

    form: Form
    parts: Checked | None
    shared: pl.DataFrame | None
    blanked: pl.DataFrame
    notes: tuple[str, ...]

    def account(self, stored: int, unchanged: int) -> Account:
        """Return where every record went, once it is known how many rows were new or changed something."""
        return self._account(stored, unchanged + self.checked.repeated.height, self.checked.rows_rejected)

    @property
    def staged_checks(self) -> tuple[Checked, ...]:
        """What is to be stored, a table each."""
        return (self.checked, self.parts) if self.parts is not None else (self.checked,)

    def account_of_lines(self, moved: Mapping[str, pl.Series]) -> Account:
        """Return where every record went, of a file whose records are not rows of one table.

        A record counts as rejected where any of its rows was refused whole, else as stored where any of its rows was
        new or changed something, else as unchanged.

        Parameters
        ----------
        moved
            Lines of the rows that were new or changed something, by table.
        """
        assert self.shared is not None
        refused = self.findings.filter(pl.col("scope") == "row").get_column("source_line").unique()
        none = pl.Series([], dtype=pl.Int64)
        own = self.shared.filter(~pl.col("source_line").is_in(refused.implode()))
        rows, parts = (moved.get(table, none).implode() for table in (self.checked.table, "parts"))
        stored = own.filter(pl.col("row_line").is_in(rows) | pl.col("source_line").is_in(parts)).height
        return self._account(stored, own.height - stored, self.shared.height - own.height)

    def account_if_new(self) -> Account:
        """Return where every record would go if nothing of the file were stored yet."""
        if self.shared is None:
            return self.account(self.checked.frame.height, 0)
        frames = {self.checked.table: self.checked.frame} | ({"parts": self.parts.frame} if self.parts else {})
        return self.account_of_lines({table: frame["source_line"] for table, frame in frames.items()})

    def _account(self, stored: int, unchanged: int, rejected: int) -> Account:
        values = self.findings.filter(pl.col("scope") == "value")
        return Account(
            rows_read=self.raw.rows_read,
            rows_stored=stored,
            rows_unchanged=unchanged,
            rows_rejected=rejected + self.raw.malformed.height,
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
    """One file read and mapped, its conventions still to be settled."""

    place: int
    file: str
    raw: RawTable
    form: Form
    mapped: Mapped


Looked = Taken | Refused | _Waiting
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

    def take(self, found: Sequence[tuple[int, Found]], each: Each = alone) -> Iterator[Taken | Refused]:
        """Yield each file checked, or refused with its reason; one whose conventions are ambiguous comes last.

        A date order or decimal sign that a file leaves open is settled by the nearest file with the same header line,
        wherever it stands among the files. ``each`` has the files looked at, one by one.
        """
        settled: dict[tuple[str, ...], list[tuple[int, Conventions]]] = {}
        waiting: list[_Waiting] = []
        looked = each(replace(self, stored_parts=None).look_apart, found)
        for item, pieces in zip(found, looked, strict=True):
            for piece in self.look(item) if pieces is None else pieces:
                if isinstance(piece, _Waiting):
                    waiting.append(piece)
                    continue
                if isinstance(piece, Taken):
                    settled.setdefault(_header(piece.raw), []).append((piece.place, piece.parsed.conventions))
                yield piece
        for late in waiting:
            siblings = sorted(settled.get(_header(late.raw), []), key=lambda one: abs(one[0] - late.place))
            yield self._again(late, [conventions for _, conventions in siblings])

    def look_apart(self, found: tuple[int, Found]) -> list[Looked] | None:
        """Return what one file holds, away from the store; None for a reject list, which needs what is stored."""
        place, item = found
        pieces = self._pieces(item)
        if isinstance(pieces, list) and any(file.startswith(RETURNED) for file, _ in pieces):
            return None
        return self._looked(place, pieces)

    def look(self, found: tuple[int, Found]) -> list[Looked]:
        """Return what one file holds, judged by itself."""
        return self._looked(found[0], self._pieces(found[1]))

    def _looked(self, place: int, pieces: list[tuple[str, RawTable]] | Refused) -> list[Looked]:
        if isinstance(pieces, Refused):
            return [pieces]
        looked: list[Looked] = []
        for file, raw in pieces:
            try:
                form = form_of(raw, self.mapping)
                one = _Waiting(place, file, raw, form, map_table(form.raw, form.mapping))
            except FileRefused as error:
                looked.append(Refused(file, error.sentence()))
                continue
            try:
                looked.append(self._check(one, []))
            except AmbiguousFile:
                looked.append(one)
            except FileRefused as error:
                looked.append(Refused(file, error.sentence()))
        return looked

    def _again(self, late: _Waiting, siblings: Sequence[Conventions]) -> Taken | Refused:
        try:
            return self._check(late, siblings)
        except FileRefused as error:
            return Refused(late.file, error.sentence())

    def _pieces(self, found: Found) -> list[tuple[str, RawTable]] | Refused:
        told = self.mapping.entry_for(found.name)
        try:
            raw = read_table(
                found.path,
                found.name,
                encoding=told.encoding if told else None,
                delimiter=told.delimiter if told else None,
                header_row=told.header_row if told else None,
            )
        except FileRefused as error:
            return Refused(found.name, error.sentence())
        returned = recognise(raw)
        if returned is None:
            return [(found.name, as_planned(raw))]
        # Lines skipped in the returned file are accounted for once, with its first part.
        first, *others = returned.pieces
        pieces = [replace(first, skipped=raw.skipped), *others]
        return [(RETURNED + found.name, piece) for piece in pieces]

    def _check(self, one: _Waiting, siblings: Sequence[Conventions]) -> Taken:
        raw, form, mapped = one.raw, one.form, one.mapped
        returned = one.file.startswith(RETURNED)
        if returned:
            # A spreadsheet may have written dates and decimals anew: what the source file used is only a hint now.
            order = order_of_format(mapped.date_format) if mapped.date_format else None
            siblings = [*siblings, Conventions(mapped.decimal, order)]
            mapped = replace(mapped, date_format=None, decimal=None)
        seen, filled = blank_filled_readings(form.raw, mapped)
        parsed = parse(seen, mapped, altitude_ft=self.settings.shop.altitude_ft, latest=self.latest, siblings=siblings)
        shaped = self._shaped(raw, form, mapped, parsed, siblings, returned=returned)
        findings = pl.concat([shaped.findings, malformed_findings(raw)], how="diagonal").with_columns(
            pl.col("table").fill_null(parsed.table)
        )
        records = rejected_records(raw, findings.select(list(FINDING_SCHEMA)))
        conventions = shaped.parsed.conventions
        entry = self.mapping.entry_for(raw.name, raw.header)
        if entry is None:
            entry = entry_in_file(entry_of(raw, mapped, conventions), raw, form)
        return Taken(
            place=one.place,
            file=one.file,
            raw=raw,
            parsed=shaped.parsed,
            checked=shaped.checked,
            unmapped=mapped.unmapped,
            entry=entry,
            digest=entry_digest(entry),
            records=records,
            findings=with_record_digest(findings, records),
            form=form,
            parts=shaped.parts,
            shared=shaped.shared,
            blanked=shaped.blanked,
            notes=(*shaped.parsed.notes, *filled),
        )

    def _shaped(
        self,
        raw: RawTable,
        form: Form,
        mapped: Mapped,
        parsed: Parsed,
        siblings: Sequence[Conventions],
        *,
        returned: bool,
    ) -> Shaped:
        known = None
        if returned and self.stored_parts is not None and (parsed.table == "parts" or form.lines is not None):
            known = self.stored_parts([raw.name])

        def checked(one: Parsed, cells: RawTable | None) -> Checked:
            return check(one, as_of=self.as_of, today=self.today, raw=cells, stored_parts=known)

        if form.several is not None:
            return check_several(raw, form.several, parsed, checked)
        if form.lines is not None and parsed.table == "visits":
            ticket_told = "visit_id" in mapped.columns
            folded = fold_lines(raw, parsed, form.lines, ticket_told=ticket_told, siblings=siblings, came_back=returned)
            return check_lines(raw, form.raw, folded, checked)
        return check_plain(raw, parsed, checked)


def _header(raw: RawTable) -> tuple[str, ...]:
    return tuple(normalised(text) for text in raw.header)
