"""A proposal for ``mapping.toml``: what is sure as entries, what is not as comments for the user to decide."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import PurePath

from pipeline.errors import FileRefused, cut
from pipeline.fields import Field, fields_for_file
from pipeline.ingest.assign import Assigned, ColumnUse, choose_table, sampled
from pipeline.ingest.conventions import Conventions
from pipeline.ingest.derive import required_without_help
from pipeline.ingest.evidence import Column
from pipeline.ingest.forms import Form, entry_in_file, form_of
from pipeline.ingest.line_items import LINE_FIELDS
from pipeline.ingest.mapping import Mapped, map_table
from pipeline.ingest.mapping_file import ColumnEntry, Entry, MappingFile, dump_entry, literal_pattern
from pipeline.ingest.match import CONFIDENT
from pipeline.ingest.parse import parse
from pipeline.ingest.read import RawTable

SHOWN = 4
"""Sample values in a comment."""

INTRO = f"""# Proposed by preseason map. Each line says how sure it is (0 to 1), why, and which values support it.
# Below {CONFIDENT:.2f} a line is a comment: take the # away where it is right.
"""


def propose(raws: Sequence[RawTable]) -> str:
    """Return the text of a mapping file for the files; files with one header line and alike names share an entry."""
    blocks = [INTRO]
    done: set[str] = set()
    for raw in raws:
        pattern = pattern_for(raw, raws)
        if pattern not in done:
            done.add(pattern)
            blocks.append(_block(raw, pattern))
    return "\n".join(blocks)


def pattern_for(raw: RawTable, raws: Sequence[RawTable]) -> str:
    """Return a name pattern with ``*`` for numbers where only files of this header line fit it, else the name."""
    shape = _shape(raw.name)
    alike = [other for other in raws if _shape(other.name) == shape]
    if len(alike) > 1 and "*" in shape and all(other.header == raw.header for other in alike):
        return shape
    return literal_pattern(raw.name)


def entry_of(
    raw: RawTable, mapped: Mapped, conventions: Conventions | None = None, pattern: str | None = None
) -> Entry:
    """Return the mapping that was used, as the entry to write back; with it the same file reads the same again."""
    settled = conventions or Conventions()
    return Entry(
        pattern=pattern or literal_pattern(raw.name),
        table=mapped.table,
        decimal=mapped.decimal or settled.decimal,
        date_format=mapped.date_format or settled.date_format,
        header=raw.header,
        columns={name: ColumnEntry(use.header, use.unit) for name, use in mapped.columns.items()},
        values=mapped.values,
    )


def _shape(name: str) -> str:
    base = PurePath(name.replace("\\", "/")).name
    return re.sub(r"\d+(?:[-_]\d+)*", "*", base) if not re.search(r"[*?\[\]]", base) else base


def _block(raw: RawTable, pattern: str) -> str:
    form = form_of(raw, MappingFile())
    columns = sampled(form.raw)
    assigned = choose_table(raw.name, columns, Entry("", table="visits") if form.lines else None)
    fields = fields_for_file(assigned.table)
    notes = {name: _why(use, columns[use.index], fields[name]) for name, use in assigned.uses.items()}
    settled, doubt = _settled(form)
    used = Mapped(assigned.table, assigned.uses, ())
    entry = entry_in_file(entry_of(form.raw, used, settled, pattern), raw, form)
    of_line = _line_columns(form)
    if of_line:
        named = {name: ColumnEntry(raw.header[place]) for name, place in of_line.items()}
        entry = replace(entry, columns={**entry.columns, **named})
        typed = sampled(raw)
        notes |= {
            name: "of the invoice line: " + ", ".join(cut(text) for text in typed[place].sample[:SHOWN])
            for name, place in of_line.items()
        }
    lines = [
        f"# {cut(raw.name)}: {raw.cells.height} rows",
        dump_entry(entry, notes).rstrip(),
    ]
    lines += _line_hints(raw, form, pattern)
    lines += _open_lines(assigned, columns, fields)
    lines += _left_over(assigned, columns)
    if doubt:
        lines.append(f"# {doubt}")
    return "\n".join(lines) + "\n"


def _line_columns(form: Form) -> dict[str, int]:
    """Return the columns of invoice lines by the field that names them; the item is told by its name or its text."""
    if form.lines is None:
        return {}
    roles = form.lines.columns
    found = {name: roles.get(role, ()) for name, role in LINE_FIELDS.items()}
    found["item"] = found["item"] or roles.get("text", ())
    return {name: places[0] for name, places in found.items() if places}


def _line_hints(raw: RawTable, form: Form, pattern: str) -> list[str]:
    """Return what is read beside the item, and where a user's own words for parts would stand."""
    if form.lines is None:
        return []
    beside = [place for place in form.lines.columns.get("text", ()) if "item" in form.lines.columns]
    return [
        "# the rows of a ticket are one visit; rows whose item names a part are parts",
        *(f"# description, read beside the item: {cut(raw.header[place])!r}" for place in beside),
        "# your own words for parts, in a table of their own:",
        f"# [files.{json.dumps(pattern)}.values.item]",
        '# "our word" = "run_capacitor"',
    ]


def _why(use: ColumnUse, column: Column, field: Field) -> str:
    hidden = field.private or field.name == "notes"
    values = "" if hidden or not column.sample else ": " + ", ".join(cut(text) for text in column.sample[:SHOWN])
    return f"{use.confidence:.2f} {use.how}{values}"


def _open_lines(assigned: Assigned, columns: Sequence[Column], fields: Mapping[str, Field]) -> list[str]:
    """Return the proposals below the confidence, each field's best first, as commented lines of the columns table."""
    lines = []
    for use in sorted(assigned.proposals, key=lambda use: -use.confidence):
        entry = Entry("", columns={use.field: ColumnEntry(use.header, use.unit)})
        line = dump_entry(entry, {use.field: _why(use, columns[use.index], fields[use.field])}).splitlines()[-1]
        lines.append(f"# {line}")
    for field, headers in assigned.ties.items():
        named = " and ".join(f'"{cut(header)}"' for header in headers)
        lines.append(f"# {field}: the columns {named} both look like it; keep the right one above")
    return lines


def _left_over(assigned: Assigned, columns: Sequence[Column]) -> list[str]:
    used = {use.index for use in assigned.uses.values()}
    proposed = {use.index for use in assigned.proposals}
    left = [column.header for column in columns if column.header.strip() and column.index not in used | proposed]
    lines = [f"# not used: {', '.join(f'{cut(header)!r}' for header in left)}"] if left else []
    for field in required_without_help(assigned.table, frozenset(assigned.uses)):
        lines.append(f'# needed, and no column found for it: {field} = "..."')
    return lines


def _settled(form: Form) -> tuple[Conventions | None, str | None]:
    """Return the decimal sign and date order of the file, or the sentence that says why they are open."""
    try:
        return parse(form.raw, map_table(form.raw, form.mapping)).conventions, None
    except FileRefused as error:
        return None, error.message
