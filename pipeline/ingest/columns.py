"""One column of text to one column of typed values, with a finding for every cell that is refused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

import polars as pl

from pipeline.fields import Field
from pipeline.findings import empty_findings
from pipeline.ingest import dates, refusals
from pipeline.ingest.numbers import parse_numbers
from pipeline.ingest.words import LONGEST, blanks, fold_words, is_blank, own_words, word_for, words_for


@dataclass(frozen=True)
class Cells:
    """One column as read: where it comes from, what field it is, and how the shop writes it."""

    source_file: str
    lines: pl.Series
    texts: pl.Series
    field: Field
    header: str
    unit: str | None
    own: Mapping[str, str]
    required: bool

    def refused(self, states: pl.DataFrame) -> pl.DataFrame:
        """Return a finding for every cell whose text is in ``states`` (``text``, ``state``, ``said``, ``advice``)."""
        if states.is_empty():
            return empty_findings()
        return refusals.refused_values(
            self.source_file, self.field, self.header, self.lines, self.texts, states, whole_row=self.required
        )


@dataclass(frozen=True)
class Column:
    """Typed values, null where blank or refused; ``rejected`` marks the refused, ``said_open`` zeros written as a
    word."""

    values: pl.Series
    findings: pl.DataFrame
    rejected: pl.Series | None = None
    said_open: pl.Series | None = None


def text_column(cells: Cells) -> Column:
    """Return text without outer spaces; ``n/a``, ``-`` and the like are null. Refrigerants get their one spelling."""
    frame = cells.texts.alias("t").to_frame()
    plain = pl.col("t").str.strip_chars()
    empty = plain.str.len_chars() <= 4
    values = frame.select(
        pl.when(plain == "")
        .then(None)
        .when(empty & plain.str.to_lowercase().is_in(sorted(blanks("text"))))
        .then(None)
        .otherwise(plain)
    ).to_series()
    spelled = cells.field.name in ("refrigerant", "item")
    if cells.own or spelled:
        own = own_words(cells.own)
        distinct = [text for text in values.unique() if text is not None]
        said = [
            own.get(fold_words(text)) or (word_for(text, cells.field) if spelled else None) or text for text in distinct
        ]
        values = values.replace_strict(distinct, said, default=None, return_dtype=pl.String)
    return Column(values, empty_findings())


def word_column(cells: Cells) -> Column:
    """Return the contract's words for what the shop wrote; an unknown word is refused with the near ones."""
    own = own_words(cells.own)
    rows: list[tuple[str, str | None, str | None]] = []
    for text in cells.texts.unique().drop_nulls():
        if cells.field.kind == "words":
            known, strange = words_for(text, cells.field, own)
            rows.append((text, known, strange[0] if strange else None))
        else:
            folded = fold_words(text[:LONGEST])
            word = own.get(folded) or word_for(text, cells.field)
            rows.append((text, word or None, None if word or is_blank(text) or folded in own else text))
    return translated(cells, rows)


def translated(cells: Cells, rows: list[tuple[str, str | None, str | None]]) -> Column:
    """Return the column by a list of ``(text, word, unknown part)`` of its distinct cells."""
    table = pl.DataFrame(rows, schema={"text": pl.String, "word": pl.String, "strange": pl.String}, orient="row")
    values = cells.texts.replace_strict(table["text"], table["word"], default=None, return_dtype=pl.String)
    unknown = table.filter(pl.col("strange").is_not_null())
    if unknown.is_empty():
        return Column(values, empty_findings())
    found = cells.refused(refusals.said_of_words(unknown, cells.field))
    return Column(values, found, cells.texts.is_in(unknown["text"].implode()))


def date_column(cells: Cells, meanings: dates.DateTexts | pl.Series, order: str | None) -> Column:
    """Return dates once the file's order of day and month is known."""
    if isinstance(meanings, pl.Series):
        return _inside_range(cells, Column(meanings, empty_findings()))
    coarse = cells.field.name in dates.COARSE_FIELDS
    values, problems = dates.dates_from(cells.texts, meanings, order, coarse=coarse)
    found = cells.refused(refusals.said_of_dates(problems, order))
    return _inside_range(cells, Column(values, found, _among(cells.texts, problems)))


def number_column(cells: Cells, *, decimal: str, altitude_ft: float | pl.Series) -> Column:
    """Return numbers in the field's canonical unit and range."""
    column = parse_numbers(
        cells.texts, cells.field, unit=cells.unit, decimal=decimal, own=cells.own, altitude_ft=altitude_ft
    )
    if column.problems.is_empty():
        return _inside_range(cells, Column(column.values, empty_findings(), None, column.said_open))
    found = cells.refused(refusals.said_of_numbers(column.problems, cells.field, cells.unit, decimal))
    return _inside_range(cells, Column(column.values, found, _among(cells.texts, column.problems), column.said_open))


def _among(texts: pl.Series, problems: pl.DataFrame) -> pl.Series | None:
    return texts.is_in(problems["text"].implode()) if problems.height else None


def _inside_range(cells: Cells, column: Column) -> Column:
    """Return the column with values outside the field's range taken out and found."""
    low, high = cells.field.low, cells.field.high
    outside = pl.Series([False])
    if low is not None:
        outside = column.values < low
    if high is not None:
        outside = outside | (column.values > high)
    if not outside.any():
        return column
    outside = outside.fill_null(False)
    states = pl.DataFrame({"text": cells.texts.filter(outside).unique()}).with_columns(
        pl.lit("out-of-range").alias("state"),
        pl.lit(refusals.said_of_range(cells.field, cells.unit)).alias("said"),
        pl.lit(refusals.CORRECT).alias("advice"),
    )
    rejected = outside if column.rejected is None else column.rejected.fill_null(False) | outside
    found = pl.concat(
        [
            column.findings,
            replace(cells, lines=cells.lines.filter(outside), texts=cells.texts.filter(outside)).refused(states),
        ]
    )
    return replace(column, values=column.values.set(outside, None), findings=found, rejected=rejected)


def zero_filled(cells: Cells, column: Column) -> bool:
    """Return whether a column of readings has zeros but not one blank, so that 0 may mean nothing was written."""
    if cells.field.unit != "uF" or cells.field.kind != "number":
        return False
    zeros = (column.values == 0) if column.said_open is None else (column.values == 0) & ~column.said_open
    blank = cells.texts.is_null() | (cells.texts.str.strip_chars() == "")
    return bool(zeros.any()) and not bool(
        (blank | (column.values.is_null() & ~(column.rejected if column.rejected is not None else blank))).any()
    )


def meanings_of_dates(cells: Cells, *, date_format: str | None, latest: dt.date | None) -> dates.DateTexts | pl.Series:
    """Return the column as dates if it is plainly year-month-day, else what its distinct cells may mean.

    Raises
    ------
    ValueError
        If ``date_format`` is no format of a date.
    """
    iso = dates.iso_dates(cells.texts)
    if iso is not None and date_format is None:
        return iso
    low = cells.field.low if isinstance(cells.field.low, dt.date) else None
    high = cells.field.high if isinstance(cells.field.high, dt.date) else latest
    if cells.field.name in dates.AHEAD_FIELDS:
        high = None
    found = dates.date_texts(cells.texts, cells.field.name, cells.header, low, high)
    return found if date_format is None else dates.by_format(found, date_format)
