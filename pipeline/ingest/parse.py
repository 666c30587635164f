"""Mapped text to typed values: what cannot be read or lies outside its range becomes a finding, the rest of the
row stays."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.errors import UsageError
from pipeline.fields import Field, fields_for_file, registry
from pipeline.findings import empty_findings
from pipeline.ingest import dates
from pipeline.ingest.columns import (
    Cells,
    Column,
    date_column,
    meanings_of_dates,
    number_column,
    text_column,
    word_column,
    zero_filled,
)
from pipeline.ingest.conventions import (
    Conventions,
    NumberTexts,
    format_of,
    refuse_contradiction,
    settle_decimal,
    settle_order,
)
from pipeline.ingest.derive import add_derived_ids
from pipeline.ingest.duals import SECTION_OF, split_sections
from pipeline.ingest.long_readings import measure_column, value_column
from pipeline.ingest.mapping import Mapped
from pipeline.ingest.read import RawTable


@dataclass(frozen=True)
class Parsed:
    """Typed rows of one file.

    Attributes
    ----------
    table
        One of the six.
    frame
        One typed column per field in ``columns``, and ``source_file``, ``source_line``, ``rejected_fields``
        (List[String]); one row per record of the file in its order, rows without a required value too.
    columns
        Mapped and derived fields.
    headers
        The header of each mapped field as the shop typed it.
    findings
        Refused values; scope ``row`` where the value is required.
    notes
        What was decided for the file as a whole, a sentence each.
    zero_filled
        uF readings whose column has zeros and no blank: a 0 there may mean nothing was written.
    said_open
        ``source_line``, ``field``: zeros that were written as a word (open, OL, blown).
    conventions
        Decimal sign and date order, for the mapping file and for sibling files.
    """

    table: str
    frame: pl.DataFrame
    columns: tuple[str, ...]
    headers: Mapping[str, str]
    findings: pl.DataFrame
    notes: tuple[str, ...]
    zero_filled: frozenset[str]
    said_open: pl.DataFrame
    conventions: Conventions


def parse(
    raw: RawTable,
    mapped: Mapped,
    *,
    altitude_ft: float = 0.0,
    latest: dt.date | None = None,
    siblings: Sequence[Conventions] = (),
) -> Parsed:
    """Return the typed rows of a mapped file.

    Parameters
    ----------
    raw, mapped
        The file as text and what its columns are.
    altitude_ft : float
        The shop's altitude, for absolute pressures [ft].
    latest : date, optional
        The later of as-of and today: an order of day and month that leads beyond it is less plausible.
    siblings : sequence of Conventions
        Of earlier or sibling files with the same header line, nearest first.

    Raises
    ------
    AmbiguousFile
        If neither the file nor a sibling settles its decimal sign or date order.
    UsageError
        If the mapping's date_format is none.
    """
    cells = _cells(raw, mapped)
    decimal = mapped.decimal or settle_decimal(raw.name, _number_texts(cells, mapped.table), siblings)
    dated = _meanings(cells, mapped, latest)
    unclear = [column for column in dated.values() if isinstance(column, dates.DateTexts)]
    order, orders = _order(raw.name, unclear, mapped, siblings)
    columns: dict[str, Column] = {}
    for name, column in cells.items():
        if name in dated:
            columns[name] = date_column(column, dated[name], orders.get(name, order))
        elif column.field.is_numeric:
            columns[name] = number_column(column, decimal=decimal or ".", altitude_ft=altitude_ft)
        elif column.field.name == "measure":
            columns[name] = measure_column(column)
        elif column.field.kind in ("word", "words"):
            columns[name] = word_column(column)
        else:
            columns[name] = text_column(column)
    values = {name: column.values for name, column in columns.items()}
    if mapped.table == "readings":
        units = cells["unit"].texts if "unit" in cells else None
        columns["value"], values["unit"] = value_column(
            cells["value"],
            columns["measure"],
            cells["measure"].texts,
            units,
            decimal=decimal or ".",
            altitude_ft=altitude_ft,
        )
        values["value"] = columns["value"].values
    lines = raw.cells["source_line"]
    frame = pl.DataFrame([series.alias(name) for name, series in values.items()])
    frame = frame.with_columns(
        pl.lit(raw.name, pl.String).alias("source_file"), lines.alias("source_line"), _rejected(columns, lines)
    )
    frame, added, derived = add_derived_ids(frame, mapped.table)
    named = tuple(dict.fromkeys([*added, *values]))
    filled = frozenset(name for name, column in columns.items() if zero_filled(cells[name], column))
    date_format = mapped.date_format or (format_of(order, unclear) if order and not orders else None)
    return Parsed(
        table=mapped.table,
        frame=frame.select(*named, "source_file", "source_line", "rejected_fields"),
        columns=named,
        headers={name: use.header for name, use in mapped.columns.items()},
        findings=_findings(columns),
        notes=(*mapped.notes, *_coarse_notes(dated), *derived, *_zero_notes(filled, mapped)),
        zero_filled=filled,
        said_open=_said_open(columns, lines),
        conventions=Conventions(decimal, order, date_format, orders or None),
    )


def _cells(raw: RawTable, mapped: Mapped) -> dict[str, Cells]:
    fields = fields_for_file(mapped.table)
    needed = registry()[mapped.table].required
    lines = raw.cells["source_line"]
    return {
        name: Cells(
            source_file=raw.name,
            lines=lines,
            texts=_texts(raw, mapped, name),
            field=fields[name],
            header=use.header,
            unit=use.unit,
            own=mapped.values.get(name, {}),
            required=name in needed,
        )
        for name, use in mapped.columns.items()
    }


def _texts(raw: RawTable, mapped: Mapped, name: str) -> pl.Series:
    """Return the cells of a field; of a column that several fields share, just that field's part."""
    index = mapped.columns[name].index
    shared = [field for field, use in mapped.columns.items() if use.index == index]
    section = next((told for ending, told in SECTION_OF if name.endswith(ending)), None)
    if len(shared) == 1 or section is None:
        return raw.cells[f"c{index}"]
    return split_sections(raw.cells[f"c{index}"])[section]


def _number_texts(cells: Mapping[str, Cells], table: str) -> list[NumberTexts]:
    found = [NumberTexts(c.field, c.texts, c.unit) for c in cells.values() if c.field.is_numeric]
    if table == "readings":
        any_reading = Field("visits", "value", "number", "value", "any reading")
        found.append(NumberTexts(any_reading, cells["value"].texts, None))
    return found


def _meanings(
    cells: Mapping[str, Cells], mapped: Mapped, latest: dt.date | None
) -> dict[str, dates.DateTexts | pl.Series]:
    try:
        return {
            name: meanings_of_dates(column, date_format=mapped.date_format, latest=latest)
            for name, column in cells.items()
            if column.field.kind == "date"
        }
    except ValueError as error:
        raise UsageError(f"mapping.toml: {error}: mend that line", slug="mapping") from error


def _order(
    name: str, columns: Sequence[dates.DateTexts], mapped: Mapped, siblings: Sequence[Conventions]
) -> tuple[str | None, dict[str, str]]:
    if mapped.date_format is None:
        return settle_order(name, columns, siblings)
    told = dates.order_of_format(mapped.date_format)
    refuse_contradiction(name, columns, told, mapped.date_format)
    return told, {}


def _rejected(columns: Mapping[str, Column], lines: pl.Series) -> pl.Expr:
    masks = {name: column.rejected for name, column in columns.items() if column.rejected is not None}
    if not masks:
        return pl.repeat([], lines.len(), dtype=pl.List(pl.String)).alias("rejected_fields")
    named = [pl.when(pl.lit(mask)).then(pl.lit(name)) for name, mask in masks.items()]
    return pl.concat_list(named).list.drop_nulls().alias("rejected_fields")


def _findings(columns: Mapping[str, Column]) -> pl.DataFrame:
    found = [column.findings for column in columns.values() if column.findings.height]
    return pl.concat(found).sort("source_line", maintain_order=True) if found else empty_findings()


def _said_open(columns: Mapping[str, Column], lines: pl.Series) -> pl.DataFrame:
    schema = {"source_line": pl.Int64, "field": pl.String}
    parts = [
        pl.DataFrame({"source_line": lines.filter(column.said_open)}).with_columns(pl.lit(name).alias("field"))
        for name, column in columns.items()
        if column.said_open is not None
    ]
    return pl.concat(parts) if parts else pl.DataFrame(schema=schema)


def _coarse_notes(dated: Mapping[str, dates.DateTexts | pl.Series]) -> list[str]:
    notes = []
    for name, column in dated.items():
        if (
            isinstance(column, dates.DateTexts)
            and name in dates.COARSE_FIELDS
            and (count := dates.coarse_cells(column))
        ):
            notes.append(
                f'column "{column.header}": {count} cells give only a year or a month; its first day was taken'
            )
    return notes


def _zero_notes(filled: frozenset[str], mapped: Mapped) -> list[str]:
    return [
        f'column "{mapped.columns[name].header}" has zeros and not one blank: a 0 may mean that nothing was read, '
        "and counts only with a cause, part or observation that supports it"
        for name in sorted(filled)
    ]
