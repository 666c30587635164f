"""The long form of readings: each value is read as the field that its ``measure`` names."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import polars as pl

from pipeline.fields import registry
from pipeline.findings import empty_findings
from pipeline.ingest.columns import Cells, Column, number_column, translated
from pipeline.ingest.match import CONFIDENT, candidates
from pipeline.ingest.words import fold_words, is_blank, own_words
from pipeline.units import UnknownUnit, line_to


@cache
def measure_for(text: str) -> str | None:
    """Return the reading field of visits that a measure's name means, None if none surely."""
    allowed = registry()["readings"].fields["measure"].allowed
    sure = [found for found in candidates(text, "visits") if found.field in allowed and found.confidence >= CONFIDENT]
    return sure[0].field if sure and (len(sure) == 1 or sure[0].confidence > sure[1].confidence) else None


def measure_column(cells: Cells) -> Column:
    """Return the reading fields that the cells name, by the same words as headers."""
    own = own_words(cells.own)
    rows: list[tuple[str, str | None, str | None]] = []
    for text in cells.texts.unique().drop_nulls():
        word = own.get(fold_words(text)) or measure_for(text)
        rows.append((text, word, None if word or is_blank(text) else text))
    return translated(cells, rows)


def unit_of_measure(text: str) -> str | None:
    """Return the unit that a measure's name carries (``OD temp (°C)``)."""
    name = measure_for(text)
    return next((found.unit for found in candidates(text, "visits") if found.field == name), None) if name else None


def value_column(
    values: Cells, measures: Column, names: pl.Series, units: pl.Series | None, *, decimal: str, altitude_ft: float
) -> tuple[Column, pl.Series]:
    """Return the values as text in canonical units, and the unit of each.

    Parameters
    ----------
    values : Cells
        The column of values.
    measures : Column
        The reading field of each row.
    names, units : pl.Series
        The cells of the measure and unit columns as written.
    """
    fields = registry()["visits"].fields
    rows = pl.DataFrame(
        {"row": pl.arange(0, names.len(), eager=True), "measure": measures.values, "text": values.texts}
    )
    said = units.str.strip_chars() if units is not None else pl.repeat("", names.len(), dtype=pl.String, eager=True)
    from_name = names.replace_strict(
        {n: unit_of_measure(n) for n in names.unique().drop_nulls()}, default=None, return_dtype=pl.String
    )
    rows = rows.with_columns(
        pl.when(said != "").then(said).otherwise(from_name).alias("unit"), values.lines.alias("line")
    )
    found, parts = [empty_findings()], []
    for (measure, unit), group in rows.filter(pl.col("measure").is_not_null()).group_by(
        "measure", "unit", maintain_order=True
    ):
        field = fields[str(measure)]
        cells = replace(
            values, lines=group["line"], texts=group["text"], field=field, unit=None if unit is None else str(unit)
        )
        column = _in_its_unit(cells, decimal, altitude_ft)
        home = pl.when(column.values.is_not_null()).then(pl.lit(field.unit))
        parts.append(
            pl.DataFrame({"row": group["row"], "v": column.values, "rejected": _mask(column)}).with_columns(
                home.alias("home")
            )
        )
        found.append(column.findings.with_columns(pl.lit("value").alias("field")))
    schema = {"row": pl.Int64, "v": pl.Float64, "rejected": pl.Boolean, "home": pl.String}
    done = rows.select("row").join(
        pl.concat([pl.DataFrame(schema=schema), *parts]), on="row", how="left", maintain_order="left"
    )
    text = done["v"].cast(pl.String).str.strip_suffix(".0")
    return Column(text, pl.concat(found), done["rejected"].fill_null(False)), done["home"]


def _in_its_unit(cells: Cells, decimal: str, altitude_ft: float) -> Column:
    """Return numbers in the field's unit; where the unit given is none of the field's, every value is refused."""
    try:
        if cells.unit is not None:
            line_to(cells.field, cells.unit)
        return number_column(cells, decimal=decimal, altitude_ft=altitude_ft)
    except UnknownUnit:
        states = pl.DataFrame({"text": cells.texts.unique()}).with_columns(
            pl.lit("wrong-unit").alias("state"),
            pl.lit(f"has a unit that {cells.field.label} is not measured in").alias("said"),
            pl.lit("Correct the unit in rejected/ and run again.").alias("advice"),
        )
        nothing = pl.repeat(None, cells.texts.len(), dtype=pl.Float64, eager=True)
        return Column(nothing, cells.refused(states), pl.repeat(True, cells.texts.len(), dtype=pl.Boolean, eager=True))


def _mask(column: Column) -> pl.Series:
    none = pl.repeat(False, column.values.len(), dtype=pl.Boolean, eager=True)
    return none if column.rejected is None else column.rejected
