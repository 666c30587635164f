"""Headers to fields: which table a file is, and which column is which field, decided by the mapping file or by itself.

Only what is at least ``CONFIDENT`` is used; the rest is listed for the user.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field
from pathlib import PurePath

from rapidfuzz import fuzz, process

from pipeline.errors import FileRefused, cut
from pipeline.fields import fields_for_file, registry
from pipeline.ingest.derive import required_without_help
from pipeline.ingest.evidence import Column, capacitor_pairs, column_of, weighed
from pipeline.ingest.headers import fold, normalised, vocabulary
from pipeline.ingest.mapping_file import Entry, MappingFile
from pipeline.ingest.match import CONFIDENT, Candidate, candidates
from pipeline.ingest.read import RawTable
from pipeline.ingest.unstated_units import units_by_values

TIED = 0.02
"""Two headers whose confidence for one field differs by less are two headers for one field."""

LISTED = 0.3
"""A proposal below this confidence is not shown."""


SECTION_WORDS = frozenset(
    ("cap", "caps", "capacitor", "herm", "fan", "mfd", "uf", "c", "h", "f", "run", "dual", "kondensator", "condensador")
)
"""Words without one of which a header is no section of a capacitor, whatever its values."""


@dataclass(frozen=True)
class ColumnUse:
    """What one column of a file is used as; ``unit`` None is the field's own, ``how`` says what decided."""

    field: str
    header: str
    index: int
    unit: str | None
    how: str
    confidence: float


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


@dataclass(frozen=True)
class Assigned:
    """Columns of one file under one table: the uses, the proposals left to the user, and headers that claim one
    field."""

    table: str
    uses: Mapping[str, ColumnUse]
    proposals: tuple[ColumnUse, ...]
    ties: Mapping[str, tuple[str, ...]]
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
    unmapped = tuple(text for index, text in enumerate(raw.header) if index not in used and text.strip())
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


def sampled(raw: RawTable) -> tuple[Column, ...]:
    """Return every column with a sample of its cells."""
    return tuple(column_of(header, index, raw.cells[f"c{index}"]) for index, header in enumerate(raw.header))


def choose_table(name: str, columns: Sequence[Column], entry: Entry | None) -> Assigned:
    """Return the columns under the table that explains most of the file; the mapping file's word counts first."""
    if entry is not None and entry.table:
        return assign(name, columns, entry.table, entry)
    able = [table for table in registry() if entry is None or set(entry.columns) <= set(fields_for_file(table))]
    tried = [assign(name, columns, table, entry) for table in able or list(registry())]
    return max(tried, key=lambda assigned: score(name, columns, assigned))


def score(name: str, columns: Sequence[Column], assigned: Assigned) -> float:
    """Return how well a table explains a file: fields found, required ones missing, columns left over, words of
    the file name."""
    table = registry()[assigned.table]
    own = [use for use in assigned.uses.values() if use.field in table.fields]
    found = sum(use.confidence for use in own) + 0.4 * (len(assigned.uses) - len(own))
    missing = len(required_without_help(assigned.table, frozenset(assigned.uses)))
    lent = sum(field in assigned.uses for field in ("visit_id", "unit_id", "site_id") if field not in table.required)
    left = sum(1 for column in columns if column.header.strip()) - len(assigned.uses)
    named = set(fold(PurePath(name).stem).split()) & set(vocabulary()["file_words"][assigned.table].split())
    return found - 3 * missing - 0.3 * left - 0.2 * lent + (2.5 if named else 0.0)


def assign(name: str, columns: Sequence[Column], table: str, entry: Entry | None) -> Assigned:
    """Return the uses of the columns in a file of ``table``: told ones first, then the surest, each field and
    column once."""
    fields = fields_for_file(table)
    uses = _told(name, columns, entry, set(fields))
    fixed = {use.index for use in uses.values()}
    shared = shared_prefix([column.header for column in columns])
    ranked: list[tuple[Candidate, Column]] = []
    for column in columns:
        if column.index not in fixed and column.header.strip():
            for candidate in _best_candidates(column.header, shared, table):
                ranked.append(
                    (_in_company(weighed(column, candidate, fields[candidate.field]), column, columns), column)
                )
    order = {field: place for place, field in enumerate(fields)}
    ranked.sort(key=lambda pair: (-pair[0].confidence, order[pair[0].field], pair[1].index))
    taken = set(fixed)
    ties: dict[str, tuple[str, ...]] = {}
    proposals: list[ColumnUse] = []
    for candidate, column in ranked:
        use = ColumnUse(
            candidate.field, column.header, column.index, candidate.unit, candidate.how, candidate.confidence
        )
        if column.index in taken:
            continue
        if candidate.confidence < CONFIDENT:
            proposals.append(use)
        elif candidate.field not in uses:
            uses[candidate.field] = use
            taken.add(column.index)
        elif _claims(uses[candidate.field], use, columns, table):
            ties[candidate.field] = (*ties.get(candidate.field, (uses[candidate.field].header,)), column.header)
            taken.add(column.index)
    uses |= _pair(columns, uses, taken, table)
    open_proposals = tuple(
        p for p in proposals if p.index not in taken and p.field not in uses and p.confidence >= LISTED
    )
    unsaid = {
        f: columns[use.index] for f, use in uses.items() if use.unit is None and use.how not in ("exact", "mapping")
    }
    told = units_by_values(table, unsaid)
    uses |= {field: replace(uses[field], unit=unit.unit, how="values") for field, unit in told.items()}
    notes = tuple(unit.note for unit in told.values())
    return Assigned(table, dict(sorted(uses.items(), key=lambda item: item[1].index)), open_proposals, ties, notes)


def _told(name: str, columns: Sequence[Column], entry: Entry | None, fields: set[str]) -> dict[str, ColumnUse]:
    uses: dict[str, ColumnUse] = {}
    for field, told in (entry.columns if entry else {}).items():
        hit = next((c for c in columns if c.header.strip() == told.header.strip()), None) or next(
            (c for c in columns if normalised(c.header) == normalised(told.header)), None
        )
        if hit is not None and field in fields:
            uses[field] = ColumnUse(field, hit.header, hit.index, told.unit, "mapping", 1.0)
        elif field in fields and entry is not None and entry.table and field in registry()[entry.table].required:
            near = _near_headers(told.header, [column.header for column in columns])
            raise FileRefused(
                f'{name}: mapping.toml says that {field} is the column "{cut(told.header)}", '
                f"which the file does not have; near it: {near}",
                slug="header-missing",
            )
    return uses


def _in_company(candidate: Candidate, column: Column, columns: Sequence[Column]) -> Candidate:
    """Return the candidate judged by the other headers: what they say can make a plain word clear, or doubtful."""
    keys = {normalised(other.header) for other in columns}
    if candidate.field == "fan_amps" and candidate.how == "exact" and column.header != "fan_amps":
        under_load = any(
            ("volts" in key and ("fan" in key or "herm" in key)) or "hermamp" in key or "condenserfanamp" in key
            for key in keys
        )
        return candidate if under_load else replace(candidate, confidence=0.6)
    if candidate.field == "lat" and column.header.strip().upper() == "LAT":
        return candidate if keys & {"lon", "lng", "long", "longitude"} else replace(candidate, confidence=0.4)
    if candidate.field == "visit_date" and candidate.how != "exact" and 0.7 <= candidate.confidence < CONFIDENT:
        others = [
            c
            for c in columns
            if c is not column and any(x.field == "visit_date" for x in candidates(c.header, "visits"))
        ]
        return candidate if others else replace(candidate, confidence=0.82)
    return candidate


def _claims(first: ColumnUse, second: ColumnUse, columns: Sequence[Column], table: str) -> bool:
    """Return whether a second header is as good for a field as the first: one of them is wrong, and only the user
    knows which."""
    if first.how == "mapping" or first.confidence - second.confidence >= TIED:
        return False
    own = fields_for_file(table)[first.field].unit
    if (first.unit or own) != (second.unit or own):
        return False
    return columns[first.index].sample != columns[second.index].sample or not columns[first.index].sample


def _pair(
    columns: Sequence[Column], uses: Mapping[str, ColumnUse], taken: set[int], table: str
) -> dict[str, ColumnUse]:
    """Return a pair of columns that only their values show to be the sections of a dual capacitor."""
    names = {"herm": "herm_uf", "fan": "fan_uf"} if table == "visits" else {}
    if not names or names["herm"] in uses or names["fan"] in uses:
        return {}
    open_ones = [column for column in columns if _may_be_section(column.header)]
    found = capacitor_pairs(open_ones, dict.fromkeys(taken, ""))
    return {
        names[section]: ColumnUse(names[section], columns[index].header, index, None, "values", 0.85)
        for index, section in found.items()
        if len(found) == 2
    }


def _may_be_section(header: str) -> bool:
    return bool(set(fold(header).split()) & SECTION_WORDS)


def shared_prefix(headers: Sequence[str]) -> str | None:
    """Return the first word that most headers share (``jobs_suction``, ``jobs_liquid``), None if there is none."""
    first = [words[0] for header in headers if len(words := fold(header).split()) > 1]
    if len(first) < 4:
        return None
    common = max(set(first), key=first.count)
    return common if first.count(common) >= 0.7 * len(headers) else None


def _best_candidates(header: str, prefix: str | None, table: str) -> tuple[Candidate, ...]:
    """Return the candidates of the header without the shared prefix, or with it where only so it says anything."""
    bare = candidates(_without(header, prefix), table)
    return bare if bare and bare[0].confidence >= CONFIDENT else candidates(header, table) or bare


def _without(header: str, prefix: str | None) -> str:
    if prefix is None or not re.match(rf"\W*{re.escape(prefix)}", header, re.IGNORECASE):
        return header
    return re.sub(rf"^\W*{re.escape(prefix)}[\W_]*", "", header, count=1, flags=re.IGNORECASE) or header


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
    near = ", ".join(f'"{cut(text)}"' for text in dict.fromkeys(offered)) or _near_headers(
        field.replace("_", " "), free
    )
    also = f" (and none for {', '.join(missing[1:])})" if len(missing) > 1 else ""
    raise FileRefused(
        f"{raw.name} line {raw.header_line}: read as {assigned.table}, the file has no column for {field}{also}; "
        f"near it: {near}: "
        f'name it in mapping.toml, {field} = "..." under the columns of this file',
        slug="header-missing",
    )


def _near_headers(wanted: str, headers: Sequence[str]) -> str:
    near = process.extract(
        wanted, [text for text in headers if text.strip()], scorer=fuzz.WRatio, processor=fold, limit=3
    )
    return ", ".join(f'"{cut(text)}"' for text, _, _ in near) or "none"


def _notes(assigned: Assigned) -> tuple[str, ...]:
    return assigned.notes + tuple(
        f'column "{cut(use.header)}" was taken for {use.field} because of its values'
        for use in assigned.uses.values()
        if use.how == "values" and use.unit is None and use.field in ("herm_uf", "fan_uf")
    )
