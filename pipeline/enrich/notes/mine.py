"""What the notes of visits tell, unit by unit: each value with the exact words it was read from."""

from __future__ import annotations

import re
from typing import Any

import polars as pl

from pipeline.enrich.notes.chunks import NUMBER
from pipeline.enrich.notes.grammar import read_note
from pipeline.enrich.notes.items import items_of
from pipeline.enrich.notes.sections import CHECKED, OBSERVATION

NOTE_READINGS_SCHEMA: dict[str, type[pl.DataType]] = {
    "unit_id": pl.String,
    "visit_id": pl.String,
    "visit_date": pl.Date,
    "field": pl.String,
    "kind": pl.String,
    "value": pl.Float64,
    "value_text": pl.String,
    "snippet": pl.String,
    "mark": pl.String,
    "attributed": pl.Boolean,
    "why_not": pl.String,
}
"""Columns of ``core.note_readings``. kind: reading (a number field of visits), rating (a capacitor's label), part
(``part_cap_*``: the size of a part ``fitted`` or ``advised``), observation (a word of ``observations``), checked."""

LONGEST_SNIPPET = 120
SEVERAL = "the ticket covers several units and the note does not say which"
OTHER_UNIT = "the note says it of another unit than this row's"
SITE = "the note tells of several units and the export of one"
TWICE = "told twice with different values"

_TOLD: dict[str, type[pl.DataType]] = {
    "notes": pl.String,
    "refrigerant": pl.String,
    "n": pl.Int64,
    "field": pl.String,
    "kind": pl.String,
    "value": pl.Float64,
    "value_text": pl.String,
    "snippet": pl.String,
    "mark": pl.String,
}
_ROW = ["unit_id", "visit_id"]
_LAST_NUMBER = re.compile(r"(?:^|[^0-9])([1-9])$")


def mine(visits: pl.DataFrame) -> pl.DataFrame:
    """Return what the notes tell.

    Parameters
    ----------
    visits
        unit_id, visit_id, notes, every unit of a ticket among them; visit_date, refrigerant and unit_location of the
        unit where known. With the refrigerant a pair of pressures without a label is judged better; with the location
        ``up`` and ``down``, ``#1`` and ``#2`` find their unit.

    Returns
    -------
    pl.DataFrame
        ``NOTE_READINGS_SCHEMA``, sorted by unit, visit and place in the note. ``attributed`` is whether the value is
        the unit's beyond doubt; else ``why_not`` says why, and the value is shown but never used.

    Notes
    -----
    A fixed grammar, no model; each note is read once however many rows carry it, in time that grows with its length.
    Where a ticket covers several units, what is said of no unit in particular is no unit's reading. A field told twice
    with different values (before and after a repair) is neither.
    """
    rows = _rows(visits)
    told = _told(rows)
    if told.is_empty():
        return pl.DataFrame(schema=NOTE_READINGS_SCHEMA)
    placed = _attribute(rows.join(told, on=["notes", "refrigerant"], nulls_equal=True), rows)
    return (
        _once(placed)
        .select(pl.col(name).cast(kind) for name, kind in NOTE_READINGS_SCHEMA.items())
        .sort("unit_id", "visit_id", maintain_order=True)
    )


def _rows(visits: pl.DataFrame) -> pl.DataFrame:
    optional = {"visit_date": pl.Date, "refrigerant": pl.String, "unit_location": pl.String}
    given = [pl.col(n) if n in visits.columns else pl.lit(None, dtype=t).alias(n) for n, t in optional.items()]
    return (
        visits.select(*_ROW, pl.col("notes").cast(pl.String), *given)
        .filter(pl.col("notes").str.contains(r"[0-9A-Za-z]"))
        .unique(_ROW, maintain_order=True)
    )


def _told(rows: pl.DataFrame) -> pl.DataFrame:
    """Return what each different note tells, one row per thing told; the grammar reads a note at a time."""
    notes = rows.select("notes", "refrigerant").unique(maintain_order=True)
    columns: dict[str, list[Any]] = {name: [] for name in _TOLD if name not in notes.columns}
    n_s, fields, kinds, values, texts, snippets, marks = columns.values()
    tellers: list[int] = []
    for row, (note, refrigerant) in enumerate(notes.iter_rows()):
        for n, (said, mark, start, end) in enumerate(read_note(note, refrigerant)):
            tellers.append(row)
            n_s.append(n)
            fields.append(said.field)
            kinds.append(said.kind)
            values.append(said.value)
            texts.append(said.text)
            snippets.append(note[start:end][:LONGEST_SNIPPET])
            marks.append(None if mark is None else ":".join(mark))
    told = pl.DataFrame(columns, schema={name: _TOLD[name] for name in columns})
    return notes[tellers].hstack(told)


def _attribute(told: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """Add attributed and why_not: of which of the ticket's units each value is told."""
    places = _places(rows)
    same_note = ["visit_id", "notes"]
    units = rows.group_by(same_note).agg(units=pl.col("unit_id").n_unique())
    marks = told.group_by(same_note).agg(marks=pl.col("mark").drop_nulls().n_unique())
    joined = (
        told.join(units, on=same_note, how="left", maintain_order="left")
        .join(marks, on=same_note, how="left", maintain_order="left")
        .join(places, on=_ROW, how="left", maintain_order="left")
        .with_columns(
            family=pl.col("mark").str.split(":").list.first(),
            here=pl.col("places").list.contains(pl.col("mark")).fill_null(False),
        )
        .with_columns(
            elsewhere=~pl.col("here") & pl.col("families").list.contains(pl.col("family")).fill_null(False),
            answering=pl.col("here").sum().over("visit_id", "notes", "n"),
            site_level=((pl.col("units") == 1) & (pl.col("marks") > 1)).any().over("unit_id"),
        )
    )
    alone, unmarked = pl.col("units") == 1, pl.col("mark").is_null()
    ours = pl.col("here") & (pl.col("answering") == 1)
    why_not = (
        pl.when(ours)
        .then(None)
        .when(~alone & unmarked)
        .then(pl.lit(SEVERAL))
        .when(~alone)
        .then(pl.when(pl.col("answering") == 1).then(pl.lit(OTHER_UNIT)).otherwise(pl.lit(SEVERAL)))
        .when(pl.col("elsewhere"))
        .then(pl.lit(OTHER_UNIT))
        .when((pl.col("marks") > 1) | (pl.col("site_level") & ~unmarked))
        .then(pl.lit(SITE))
    )
    decided = joined.with_columns(why_not=why_not)
    # What another row of the ticket carries as its own is not listed again here; what is nobody's is listed once.
    first = pl.col("unit_id") == pl.col("unit_id").min().over("visit_id", "notes", "n")
    listed = pl.col("why_not").is_null() | alone | ((pl.col("answering") != 1) & first)
    return decided.filter(listed).with_columns(attributed=pl.col("why_not").is_null())


def _places(rows: pl.DataFrame) -> pl.DataFrame:
    """Return the marks that a unit's location answers to, and a number at the end of its id where it has none."""
    located = rows.select(*_ROW, "unit_location")
    texts = located.get_column("unit_location").unique().drop_nulls().to_list()
    by_text = {text: " ".join(_marks_of(text)) for text in texts}
    ends = {unit: _LAST_NUMBER.search(unit) for unit in rows.get_column("unit_id").unique().drop_nulls().to_list()}
    found = [
        by_text[text] if text is not None else f"index:{end.group(1)}" if (end := ends.get(unit)) else ""
        for unit, _, text in located.iter_rows()
    ]
    return (
        located.select(_ROW)
        .with_columns(places=pl.Series(found, dtype=pl.String).str.split(" "))
        .with_columns(families=pl.col("places").list.eval(pl.element().str.split(":").list.first()))
    )


def _marks_of(location: str) -> list[str]:
    """Return the marks in a unit's location: ``Upstairs unit``, ``#2``, ``rear yard``."""
    items = items_of(location)
    places = {":".join(item.meaning.mark) for item in items if item.meaning.mark and item.meaning.mark[0] != "all"}
    numbers = [item.text for item in items if item.kind == NUMBER and item.text in set("123456789")]
    return sorted(places | ({f"index:{numbers[0]}"} if len(numbers) == 1 else set()))


def _once(told: pl.DataFrame) -> pl.DataFrame:
    """Keep each thing once per unit and visit; of a field told with different values none is attributed."""
    key = [*_ROW, "field", "kind"]
    ours = pl.col("attributed")
    differs = pl.when(ours).then(pl.struct("value", "value_text")).n_unique().over([*key, "attributed"]) > 1
    numbers = pl.col("kind").is_in([OBSERVATION, CHECKED]).not_()
    return (
        told.sort(*_ROW, "n")
        .with_columns(twice=ours & numbers & differs)
        .with_columns(
            attributed=ours & ~pl.col("twice"),
            why_not=pl.when("twice").then(pl.lit(TWICE)).otherwise("why_not"),
        )
        .unique([*key, "value", "value_text", "mark", "attributed"], keep="first", maintain_order=True)
    )
