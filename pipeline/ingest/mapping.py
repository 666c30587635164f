"""Headers to fields: which table a file is, and which column is which field, decided by the mapping file or by itself.

Only what is at least ``CONFIDENT`` is used; the rest is listed for the user.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field

from pipeline.errors import FileRefused, cut
from pipeline.ingest.assign import Assigned, ColumnUse, choose_table, near_headers, sampled
from pipeline.ingest.derive import required_without_help
from pipeline.ingest.mapping_file import Entry, MappingFile
from pipeline.ingest.read import RawTable


@dataclass(frozen=True)
class Mapped:
    """A file's table and columns, what is left over, and what the mapping file says of the file as a whole."""

    table: str
    columns: Mapping[str, ColumnUse]
    unmapped: tuple[str, ...]
    decimal: str | None = None
    date_format: str | None = None
    values: Mapping[str, Mapping[str, str]] = dataclass_field(default_factory=dict)
    pattern: str | None = None
    notes: tuple[str, ...] = ()


def map_table(raw: RawTable, mapping_file: MappingFile | None = None) -> Mapped:
    """Return what each column of the file is.

    Raises
    ------
    FileRefused
        If two headers claim one field, a required field has none, or a header that the mapping names is not there.
    """
    entry = (mapping_file or MappingFile()).entry_for(raw.name, raw.header)
    columns = sampled(raw)
    assigned = choose_table(raw.name, columns, entry)
    _refuse_ties(raw.name, assigned)
    _refuse_missing(raw, assigned)
    used = {use.index for use in assigned.uses.values()}
    left = [column for column in columns if column.index not in used]
    unmapped = tuple(
        column.header if column.header.strip() else f"column {column.index + 1} (without a header)"
        for column in left
        if column.header.strip() or column.sample
    )
    told = entry or Entry("")
    return Mapped(
        table=assigned.table,
        columns=assigned.uses,
        unmapped=unmapped,
        decimal=told.decimal,
        date_format=told.date_format,
        values=told.values,
        pattern=entry.pattern if entry else None,
        notes=_notes(assigned),
    )


def _refuse_ties(name: str, assigned: Assigned) -> None:
    for field, headers in assigned.ties.items():
        named = " and ".join(f'"{cut(header)}"' for header in headers)
        raise FileRefused(
            f"{name}: the columns {named} both look like {field}: say which it is in mapping.toml, "
            f'{field} = "{cut(headers[0])}" under the columns of this file',
            slug="two-headers",
        )


def _refuse_missing(raw: RawTable, assigned: Assigned) -> None:
    missing = required_without_help(assigned.table, frozenset(assigned.uses))
    if not missing:
        return
    field = missing[0]
    free = [
        text
        for index, text in enumerate(raw.header)
        if text.strip() and index not in {u.index for u in assigned.uses.values()}
    ]
    offered = [use.header for use in assigned.proposals if use.field == field]
    near = ", ".join(f'"{cut(text)}"' for text in dict.fromkeys(offered)) or near_headers(field.replace("_", " "), free)
    also = f" (and none for {', '.join(missing[1:])})" if len(missing) > 1 else ""
    raise FileRefused(
        f"{raw.name} line {raw.header_line}: read as {assigned.table}, the file has no column for {field}{also}; "
        f"near it: {near}: "
        f'name it in mapping.toml, {field} = "..." under the columns of this file',
        slug="header-missing",
    )


def _notes(assigned: Assigned) -> tuple[str, ...]:
    return assigned.notes + tuple(
        f'column "{cut(use.header)}" was taken for {use.field} because of its values'
        for use in assigned.uses.values()
        if use.how == "values" and use.unit is None and use.field.endswith(("herm_uf", "fan_uf"))
    )
