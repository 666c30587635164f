"""Findings of the parser: values of a column that are refused by themselves, and the sentence that says why."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.errors import VALUE_SHOWN
from pipeline.fields import Field
from pipeline.findings import FINDING_SCHEMA
from pipeline.ingest.words import near_words

LOOKED_UP = 300
"""Unknown words of one column for which the near ones are looked up; a column of free text has no near ones."""

CORRECT = "Correct it in rejected/ and run again."
EMPTIED = "; the value was left empty"
ROW_LOST = "; the row was not stored"


def refused_values(
    source_file: str,
    field: Field,
    header: str,
    lines: pl.Series,
    texts: pl.Series,
    states: pl.DataFrame,
    *,
    whole_row: bool,
) -> pl.DataFrame:
    """Return one finding per cell whose text is in ``states`` (``text``, ``state``, ``said``: what is wrong,
    ``advice``)."""
    cells = pl.DataFrame({"source_line": lines, "text": texts}).join(
        states, on="text", how="inner", maintain_order="left"
    )
    shown = pl.lit("the value") if field.private else pl.concat_str(pl.lit('"'), short(pl.col("text")), pl.lit('"'))
    message = pl.concat_str(
        pl.lit(f'column "{header}": '), shown, pl.lit(" "), pl.col("said"), pl.lit(ROW_LOST if whole_row else EMPTIED)
    )
    return cells.select(
        pl.lit(source_file).alias("source_file"),
        "source_line",
        pl.lit("row" if whole_row else "value").alias("scope"),
        pl.lit(field.name).alias("field"),
        pl.lit(header).alias("header"),
        pl.col("text").alias("value"),
        pl.col("state").alias("rule"),
        message.alias("message"),
        pl.col("advice").alias("advice"),
    ).cast(FINDING_SCHEMA)  # type: ignore[arg-type]


def short(text: pl.Expr) -> pl.Expr:
    """Return text cut to what a message shows, on one line."""
    flat = text.str.replace_all(r"[\p{C}\s]", " ")
    return pl.when(flat.str.len_chars() > VALUE_SHOWN).then(flat.str.slice(0, VALUE_SHOWN - 1) + "…").otherwise(flat)


def said_of_numbers(problems: pl.DataFrame, field: Field, unit: str | None, decimal: str) -> pl.DataFrame:
    """Return the problems of a number column with what is wrong and what to do."""
    home = unit or field.unit or ""
    said = {
        "not-a-number": "is not a number",
        "wrong-unit": f"is not in {home} nor in a unit of the same kind",
        "not-finite": "is no finite number",
    }
    other = "," if decimal == "." else "."
    wrong_sign = (pl.col("state") == "not-a-number") & pl.col("text").str.contains(rf"^\s*[-+]?\d*\{other}\d+\s*$")
    says = pl.col("state").replace_strict(said, return_dtype=pl.String)
    return problems.with_columns(
        pl.when(wrong_sign)
        .then(pl.lit(f'is not a number: the decimal sign of this file is "{decimal}"'))
        .otherwise(says)
        .alias("said"),
        pl.lit(CORRECT).alias("advice"),
    )


SAID = {
    "degree": "degrees",
    "ton_of_refrigeration": "tons",
    "percent": "%",
    "inH2O": "inches of water",
    "year": "years",
}
"""Units whose name in the registry is not what a sentence calls them."""


def said_of_range(field: Field, unit: str | None) -> str:
    """Return what is wrong with a number outside the field's range, in the field's own unit."""
    unit_said = SAID.get(field.unit or "", field.unit)
    home = f" {unit_said}" if unit_said and unit_said not in ("currency", "count") else ""
    converted = "" if unit in (None, field.unit) else f" (given in {unit})"
    if field.high is None:
        return f"lies before {_limit(field.low)}{home}{converted}"
    return f"is outside {_limit(field.low)} to {_limit(field.high)}{home}{converted}"


def said_of_dates(problems: pl.DataFrame, order: str | None) -> pl.DataFrame:
    """Return the problems of a date column with what is wrong and what to do."""
    names = {"mdy": "month/day/year", "dmy": "day/month/year", "ymd": "year/month/day"}
    how = f" (this file's dates are {names[order]})" if order else ""
    return problems.with_columns(pl.lit(f"is not a date{how}").alias("said"), pl.lit(CORRECT).alias("advice"))


def said_of_words(problems: pl.DataFrame, field: Field) -> pl.DataFrame:
    """Return unknown words of a field with the near ones and the line to write for the shop's own word."""
    said, advice = [], []
    for number, (text, strange) in enumerate(problems.select("text", "strange").iter_rows()):
        near = near_words(strange, field) if number < LOOKED_UP else ()
        listed = ", ".join(near) if near else ", ".join(field.allowed[:6]) + (" ..." if len(field.allowed) > 6 else "")
        said.append(
            f"is no known word of {field.label}"
            if strange == text
            else f"has the unknown word {strange[:VALUE_SHOWN]!r}"
        )
        word = near[0] if near else field.allowed[0]
        advice.append(
            f"{'Near it' if near else 'Known'}: {listed}. Correct it, or add to values.{field.name} in mapping.toml "
            f'a line like "{strange[:VALUE_SHOWN]}" = "{word}".'
        )
    return problems.select("text", pl.lit("unknown-word").alias("state")).with_columns(
        pl.Series("said", said, pl.String), pl.Series("advice", advice, pl.String)
    )


def _limit(value: float | dt.date | None) -> str:
    if value is None:
        return "any"
    return f"{value:g}" if isinstance(value, float | int) else value.isoformat()
