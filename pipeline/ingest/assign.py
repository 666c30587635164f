"""Columns to fields: which table explains a file best, and which column is which field of it."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath

import polars as pl
from rapidfuzz import fuzz, process

from pipeline.errors import FileRefused, cut
from pipeline.fields import Field, fields_for_file, registry
from pipeline.ingest.derive import required_without_help
from pipeline.ingest.duals import holds_both, holds_ratings, holds_volts
from pipeline.ingest.evidence import Column, capacitor_pairs, column_of, weighed
from pipeline.ingest.headers import fold, normalised, readings_of, vocabulary
from pipeline.ingest.mapping_file import Entry
from pipeline.ingest.match import CONFIDENT, Candidate, candidates
from pipeline.ingest.read import RawTable
from pipeline.ingest.unstated_units import units_by_values
from pipeline.units import fitting_unit, spelled_units

TIED = 0.02
"""Two headers whose confidence for one field differs by less are two headers for one field."""

LISTED = 0.3
"""A proposal below this confidence is not shown."""

SMALLEST_FAN_UF = 1.5
"""A smaller reading is amps sooner than a fan section; 2 to 15 uF are sold (common practice, no source)."""

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
class Assigned:
    """Columns of one file under one table: the uses, the proposals left to the user, and headers that claim one
    field."""

    table: str
    uses: Mapping[str, ColumnUse]
    proposals: tuple[ColumnUse, ...]
    ties: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...] = ()


def sampled(raw: RawTable) -> tuple[Column, ...]:
    """Return every column with a sample of its cells."""
    below = _units_line(raw)
    return tuple(
        column_of(header, index, raw.cells[f"c{index}"], below[index] if index < len(below) else "")
        for index, header in enumerate(raw.header)
    )


def _units_line(raw: RawTable) -> list[str]:
    """Return the units of a line below the header that holds nothing else, one for each column."""
    lines = raw.skipped.filter(pl.col("reason") == "units")["raw"].head(1).to_list()
    cells = next(csv.reader(lines, delimiter=raw.delimiter, quotechar=raw.quote or '"'), []) if lines else []
    return [cell.strip(" ()[]") if spelled_units(cell.strip(" ()[]")) else "" for cell in cells]


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
    uses = _told(name, columns, entry, fields)
    fixed = {use.index for use in uses.values()}
    shared = shared_prefix([column.header for column in columns])
    visits = visit_prefixes([column.header for column in columns])
    ranked: list[tuple[Candidate, Column]] = []
    for column in columns:
        if column.index not in fixed and column.header.strip():
            for candidate in _best_candidates(column.full_header, shared, visits, table):
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
    uses |= _duals(columns, uses, taken, table)
    taken |= {use.index for use in uses.values()}
    open_proposals = tuple(
        p for p in proposals if p.index not in taken and p.field not in uses and p.confidence >= LISTED
    )
    unsaid = {
        f: columns[use.index] for f, use in uses.items() if use.unit is None and use.how not in ("exact", "mapping")
    }
    written = {use.unit for name, use in uses.items() if use.unit and fields[name].unit == "psig"}
    told = units_by_values(table, unsaid, written)
    uses |= {field: replace(uses[field], unit=unit.unit, how="values") for field, unit in told.items()}
    notes = tuple(unit.note for unit in told.values())
    return Assigned(table, dict(sorted(uses.items(), key=lambda item: item[1].index)), open_proposals, ties, notes)


def _told(
    name: str, columns: Sequence[Column], entry: Entry | None, fields: Mapping[str, Field]
) -> dict[str, ColumnUse]:
    uses: dict[str, ColumnUse] = {}
    for field, told in (entry.columns if entry else {}).items():
        hit = next((c for c in columns if c.header.strip() == told.header.strip()), None) or next(
            (c for c in columns if normalised(c.header) == normalised(told.header)), None
        )
        if hit is not None and field in fields:
            below = fitting_unit(hit.unit_below, fields[field]) if hit.unit_below else None
            uses[field] = ColumnUse(field, hit.header, hit.index, told.unit or below, "mapping", 1.0)
        elif field in fields and entry is not None and entry.table and field in registry()[entry.table].required:
            near = near_headers(told.header, [column.header for column in columns])
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
    if candidate.field == "fan_uf" and candidate.how != "exact" and candidate.confidence < CONFIDENT:
        herm = any(c.field == "herm_uf" for other in columns for c in candidates(other.header, "visits")[:1])
        sized = column.numbers() and sum(v == 0 or v >= SMALLEST_FAN_UF for v in column.numbers())
        return replace(candidate, confidence=0.85) if herm and sized == len(column.sample) else candidate
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


def _duals(
    columns: Sequence[Column], uses: Mapping[str, ColumnUse], taken: set[int], table: str
) -> dict[str, ColumnUse]:
    """Return the columns that hold both sections of a dual capacitor as the uses of both fields, with the volts that
    stand behind a rating."""
    found: dict[str, ColumnUse] = {}
    known = fields_for_file(table)
    for column in columns:
        if column.index not in taken and _may_be_section(column.header) and holds_both(column):
            names = _dual_fields(column, table)
            open_names = not set(names) & (set(uses) | set(found))
            if set(names) <= set(known) and open_names:
                if names[0] == "cap_herm_uf" and "cap_volts" not in uses and holds_volts(column):
                    names = (*names, "cap_volts")
                found |= {n: ColumnUse(n, column.header, column.index, None, "values", 0.9) for n in names}
    return found


def _dual_fields(column: Column, table: str) -> tuple[str, ...]:
    """Return which pair of fields a column of pairs is: what its header says, else what its numbers look like."""
    if table in ("units", "parts"):
        return ("cap_herm_uf", "cap_fan_uf")
    said = frozenset[str]().union(*(reading.ideas for reading in readings_of(column.header)))
    if said & {"after", "new"}:
        return ("herm_uf_after", "fan_uf_after")
    if said & {"rated", "size"}:
        return ("cap_herm_uf", "cap_fan_uf")
    if said & {"reading", "measured", "found", "actual", "before"}:
        return ("herm_uf", "fan_uf")
    return ("cap_herm_uf", "cap_fan_uf") if holds_ratings(column) else ("herm_uf", "fan_uf")


def _may_be_section(header: str) -> bool:
    return bool(set(fold(header).split()) & SECTION_WORDS)


def shared_prefix(headers: Sequence[str]) -> str | None:
    """Return the first word that most headers share (``jobs_suction``, ``jobs_liquid``), None if there is none."""
    first = [words[0] for header in headers if len(words := fold(header).split()) > 1]
    if len(first) < 4:
        return None
    common = max(set(first), key=first.count)
    return common if first.count(common) >= 0.7 * len(headers) else None


def visit_prefixes(headers: Sequence[str]) -> tuple[str, ...]:
    """Return the words for a visit that begin several headers (``job_suction`` beside ``phone``): they say only whose
    readings these are."""
    first = [words[0] for header in headers if len(words := fold(header).split()) > 1]
    ideas = {word: {idea for one in readings_of(word) for idea in one.ideas} for word in set(first)}
    return tuple(w for w in sorted(ideas) if first.count(w) >= 3 and ideas[w] and ideas[w] <= {"visit", "ticket"})


def _best_candidates(header: str, prefix: str | None, visits: Sequence[str], table: str) -> tuple[Candidate, ...]:
    """Return the candidates of the header without the shared prefix, or with it where only so it says anything; a word
    for the visit is taken off where the header with it says nothing."""
    bare = candidates(_without(header, prefix), table)
    if bare and bare[0].confidence >= CONFIDENT:
        return bare
    found = candidates(header, table) or bare
    begins = next((word for word in visits if fold(header).split()[:1] == [word]), None)
    return found or candidates(_without(header, begins), table)


def _without(header: str, prefix: str | None) -> str:
    if prefix is None or not re.match(rf"\W*{re.escape(prefix)}", header, re.IGNORECASE):
        return header
    return re.sub(rf"^\W*{re.escape(prefix)}[\W_]*", "", header, count=1, flags=re.IGNORECASE) or header


def near_headers(wanted: str, headers: Sequence[str]) -> str:
    """Return up to three headers that look like ``wanted``, in quotes, for a message; ``none`` where there is none."""
    near = process.extract(
        wanted, [text for text in headers if text.strip()], scorer=fuzz.WRatio, processor=fold, limit=3
    )
    return ", ".join(f'"{cut(text)}"' for text, _, _ in near) or "none"
