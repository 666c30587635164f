"""How an export is laid out: a row per record, columns for each of several units, or a row per invoice line."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.ingest.line_items import LINE_FIELDS, LineColumns, find_lines, without_lines
from pipeline.ingest.mapping_file import ColumnEntry, Entry, MappingFile, literal_pattern
from pipeline.ingest.read import RawTable
from pipeline.ingest.several_units import SeveralUnits, split_units


@dataclass(frozen=True)
class Form:
    """A file as it is mapped and parsed.

    Attributes
    ----------
    raw
        The file with a row per visit to one unit, or per line of one.
    mapping
        What the mapping file says, in the headers of ``raw``.
    several, lines
        What the columns for several units, or for invoice lines, are; None where the file has none.
    """

    raw: RawTable
    mapping: MappingFile
    several: SeveralUnits | None = None
    lines: LineColumns | None = None


def form_of(raw: RawTable, mapping: MappingFile) -> Form:
    """Return how a file is laid out, and the file as its rows are read."""
    entry = mapping.entry_for(raw.name, raw.header)
    several = split_units(raw)
    if several is not None:
        seen = several.entry_seen(entry)
        return Form(several.raw, _only(raw, seen), several=several)
    lines = find_lines(raw, entry)
    if lines is not None:
        told = replace(entry or Entry(""), table="visits")
        columns = {name: column for name, column in told.columns.items() if name not in LINE_FIELDS}
        return Form(without_lines(raw, lines), _only(raw, replace(told, columns=columns)), lines=lines)
    return Form(raw, mapping)


def _only(raw: RawTable, entry: Entry | None) -> MappingFile:
    return MappingFile((replace(entry, pattern=literal_pattern(raw.name)),)) if entry is not None else MappingFile()


def entry_in_file(entry: Entry, raw: RawTable, form: Form) -> Entry:
    """Return the entry of a file read in ``form`` in the headers of the file itself, its line columns among them."""
    if form.several is not None:
        return form.several.entry_typed(entry, raw.header)
    if form.lines is None:
        return entry
    told = {
        name: ColumnEntry(raw.header[form.lines.columns[role][0]])
        for name, role in LINE_FIELDS.items()
        if role in form.lines.columns
    }
    return replace(entry, columns={**entry.columns, **told}, header=raw.header)
