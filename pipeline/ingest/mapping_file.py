"""``mapping.toml``: read it, find the entry for a file, write new entries without touching what the user wrote."""

from __future__ import annotations

import glob
import hashlib
import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path, PurePath
from typing import Any

from rapidfuzz import process

from pipeline.errors import UsageError, cut
from pipeline.fields import fields_for_file, registry
from pipeline.ingest.headers import normalised
from pipeline.units import UnknownUnit, line_to

SAME_HEADER_SHARE = 0.6
"""An entry that does not tell its header line fits a file that has all its columns if they are this share of the
file's."""

TEXT_KEYS = ("table", "encoding", "delimiter", "decimal", "date_format")
LINE_KEYS = frozenset({"item", "part", "quantity", "price", "cost", "part_number", "unit"})
"""What a file of visits with a row per invoice line also has: columns of the line, and words of items under values."""

LINE_TABLES = ("parts", "recommendations", "readings")
KEYS = (*TEXT_KEYS, "header_row", "header", "columns", "values")


@dataclass(frozen=True)
class ColumnEntry:
    """The file's header of one field and the unit of its values (None: the field's own)."""

    header: str
    unit: str | None = None


@dataclass(frozen=True)
class Entry:
    """What the mapping file says of the files that ``pattern`` fits."""

    pattern: str
    table: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    header_row: int | None = None
    date_format: str | None = None
    header: tuple[str, ...] = ()
    columns: Mapping[str, ColumnEntry] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class MappingFile:
    """All entries in the order of the file."""

    entries: tuple[Entry, ...] = ()

    def entry_for(self, name: str, header: tuple[str, ...] = ()) -> Entry | None:
        """Return the entry for a file: its name itself, then the first pattern that fits its name, then its
        header line."""
        base = PurePath(name.replace("\\", "/")).name
        for same in (True, False):
            for entry in self.entries:
                if entry.pattern in (base, name) if same else fnmatchcase(base, entry.pattern):
                    return entry
        fitting = [entry for entry in self.entries if header and _same_header(entry, header)]
        return max(fitting, key=lambda entry: len(entry.columns), default=None)


def _same_header(entry: Entry, header: tuple[str, ...]) -> bool:
    seen = [normalised(text) for text in header]
    if entry.header:
        return [normalised(text) for text in entry.header] == seen
    named = {normalised(column.header) for column in entry.columns.values()}
    return len(named) >= 2 and named <= set(seen) and len(named) >= SAME_HEADER_SHARE * len(seen)


def load(path: Path) -> MappingFile:
    """Return the mapping file at ``path``; one without entries where there is none.

    Raises
    ------
    UsageError
        If it is no TOML, or names an unknown key, field, unit or word; the sentence says the line.
    """
    try:
        return loads(path.read_text("utf-8-sig"), path.name)
    except (FileNotFoundError, NotADirectoryError):
        return MappingFile()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(
            f"{path.name} cannot be read ({type(error).__name__}): mend or remove it", slug="mapping"
        ) from error


def loads(text: str, name: str = "mapping.toml") -> MappingFile:
    """Return the entries in ``text``; see ``load``."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{name} is not valid TOML ({error}): mend that line", slug="mapping") from error
    reader = _Reader(text, name)
    reader.only(raw, ("files",), "")
    files = reader.table(raw.get("files", {}), "files")
    return MappingFile(tuple(reader.entry(pattern, spec) for pattern, spec in files.items()))


@dataclass(frozen=True)
class _Reader:
    text: str
    name: str

    def entry(self, pattern: str, spec: Any) -> Entry:
        spec = self.table(spec, pattern)
        self.only(spec, KEYS, pattern)
        for key in TEXT_KEYS:
            if not isinstance(spec.get(key, ""), str):
                raise self.wrong(key, pattern, f"{key} must be text in quotes")
        table = spec.get("table")
        if table is not None and table not in registry():
            raise self.wrong("table", pattern, f"table {cut(table)!r} is not one of {', '.join(registry())}")
        if spec.get("decimal", ".") not in (".", ","):
            raise self.wrong("decimal", pattern, 'decimal is "." or ","')
        row = spec.get("header_row")
        if row is not None and (not isinstance(row, int) or isinstance(row, bool) or row < 1):
            raise self.wrong("header_row", pattern, "header_row is the line number of the header, from 1")
        header = spec.get("header", [])
        if not isinstance(header, list) or not all(isinstance(text, str) for text in header):
            raise self.wrong("header", pattern, "header is the list of the file's headers")
        columns = {
            key: self.column(key, value, pattern, table)
            for key, value in self.table(spec.get("columns", {}), "columns").items()
        }
        values = {
            key: self.words(key, value, pattern, table)
            for key, value in self.table(spec.get("values", {}), "values").items()
        }
        given = {key: spec.get(key) for key in TEXT_KEYS}
        return Entry(pattern, **given, header_row=row, header=tuple(header), columns=columns, values=values)

    def column(self, key: str, value: Any, pattern: str, table: str | None) -> ColumnEntry:
        self.known_field(key, pattern, table)
        if isinstance(value, str):
            return ColumnEntry(value)
        spec = self.table(value, key)
        self.only(spec, ("header", "unit"), key)
        if not isinstance(spec.get("header"), str) or not isinstance(spec.get("unit", ""), str):
            raise self.wrong(key, pattern, f'{key} is the header in quotes, or {{ header = "...", unit = "..." }}')
        unit = spec.get("unit")
        if unit is not None:
            try:
                line_to(self.field(key, table), unit)
            except UnknownUnit as error:
                raise self.wrong(key, pattern, str(error)) from error
        return ColumnEntry(spec["header"], unit)

    def words(self, key: str, value: Any, pattern: str, table: str | None) -> Mapping[str, str]:
        self.known_field(key, pattern, table)
        words = self.table(value, key)
        allowed = self.field("part" if key == "item" and table == "visits" else key, table).allowed
        for theirs, ours in words.items():
            if not isinstance(ours, str) or (allowed and ours not in allowed and ours != ""):
                near = _near(str(ours), allowed)
                raise self.wrong(theirs, pattern, f"{cut(str(ours))!r} is no word of {key}; near it: {near}")
        return words

    def field(self, key: str, table: str | None) -> Any:
        tables = [table, *LINE_TABLES] if table else list(registry())
        return next(fields_for_file(name)[key] for name in tables if key in fields_for_file(name))

    def known_field(self, key: str, pattern: str, table: str | None) -> None:
        known = {name for one in ([table] if table else registry()) for name in fields_for_file(one)}
        known |= LINE_KEYS if table == "visits" else frozenset()
        if key not in known:
            where = f"a {table} file" if table else "any table"
            raise self.wrong(key, pattern, f"{cut(key)!r} is no field of {where}; near it: {_near(key, sorted(known))}")

    def table(self, value: Any, key: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise self.wrong(key, key, f"{cut(key)!r} must be a table")
        return value

    def only(self, spec: Mapping[str, Any], keys: tuple[str, ...], pattern: str) -> None:
        for key in spec:
            if key not in keys:
                raise self.wrong(key, pattern, f"the key {cut(key)!r} is not known; near it: {_near(key, keys)}")

    def wrong(self, key: str, pattern: str, what: str) -> UsageError:
        """Return the error with the line of ``key``, looked for after the entry's pattern."""
        lines = self.text.splitlines()
        start = next((i for i, line in enumerate(lines) if pattern and pattern in line), 0)
        spelled = re.compile(rf"[\s\[.{{,\"']*{re.escape(key)}[\"']?\s*[=\].]")
        hit = next((i for i in range(start, len(lines)) if spelled.search(lines[i])), start)
        return UsageError(f"{self.name} line {hit + 1}: {what}: mend that line", slug="mapping")


def _near(text: str, known: Iterable[str]) -> str:
    return ", ".join(word for word, _, _ in process.extract(text, list(known), limit=3))


def dump_entry(entry: Entry, comments: Mapping[str, str] | None = None) -> str:
    """Return one entry as TOML; ``comments`` (by field) go behind the column's line."""
    notes = comments or {}
    head = f"[files.{_quoted(entry.pattern)}"
    lines = [f"{head}]"]
    lines += [f"{key} = {_quoted(getattr(entry, key))}" for key in TEXT_KEYS if getattr(entry, key) is not None]
    if entry.header_row is not None:
        lines.append(f"header_row = {entry.header_row}")
    if entry.header:
        lines.append(f"header = [{', '.join(_quoted(text) for text in entry.header)}]")
    if entry.columns:
        lines.append(f"{head}.columns]")
        for name, column in entry.columns.items():
            unit = f", unit = {_quoted(column.unit)}" if column.unit else ""
            value = f"{{ header = {_quoted(column.header)}{unit} }}" if unit else _quoted(column.header)
            lines.append(f"{name} = {value}" + (f"  # {_comment(notes[name])}" if name in notes else ""))
    for name, words in entry.values.items():
        lines.append(f"{head}.values.{name}]")
        lines += [f"{_quoted(theirs)} = {_quoted(ours)}" for theirs, ours in words.items()]
    return "\n".join(lines) + "\n"


def complete(text: str, new_entries: Iterable[Entry]) -> str:
    """Return ``text`` with the entries whose pattern it does not have yet added at its end; nothing else is touched."""
    known = {entry.pattern for entry in loads(text).entries} if text.strip() else set()
    blocks = [text if not text or text.endswith("\n") else text + "\n"]
    for entry in new_entries:
        if entry.pattern not in known:
            known.add(entry.pattern)
            blocks.append(("\n" if blocks[-1].strip() else "") + dump_entry(entry))
    return "".join(blocks)


def entry_digest(entry: Entry | None) -> str:
    """Return a digest of what an entry says, whatever its name pattern; part of "already imported"."""
    said = "" if entry is None else dump_entry(Entry(**{**entry.__dict__, "pattern": "", "header": ()}))
    return hashlib.sha256(said.encode()).hexdigest()


def literal_pattern(name: str) -> str:
    """Return the pattern that fits just the file's base name.

    >>> literal_pattern("2024/jobs [1].csv")
    'jobs [[]1].csv'
    """
    return glob.escape(PurePath(name.replace("\\", "/")).name)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)
