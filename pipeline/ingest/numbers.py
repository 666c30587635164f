"""Text cells to numbers in the field's canonical unit: whole columns at once, oddities by their distinct spellings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.fields import Field
from pipeline.ingest.words import blanks, fold_words, number_words, own_words
from pipeline.units import UNITS, Line, UnknownUnit, atmosphere_psia, dimension_of, line_to, moved, spelled_units

ROUNDED = 6
"""Decimals kept after a conversion, so that 60 degC is 140 degF and not a hair more."""

SPACES = "[\\s\u00a0\u202f\u2009\u2007\ufeff]+"
MINUS = "[\u2212\u2013\u2012\ufe63\uff0d]"

MONEY = r"(?:US\$|[$€£]|usd|eur|mxn|cad|gbp|chf|aud)"
SHAPE = (
    rf"^(?P<sign>[-+]?) ?(?P<money>{MONEY})? ?(?P<sign2>[-+]?) ?"
    r"(?P<digits>\d[\d.,]*(?:[ '’]\d{3}(?:[ '’.,]?\d+)*)?|[.,]\d+)(?P<power>e[-+]?\d{1,4})? ?(?P<unit>\D.*)?$"
)
"""Sign, digits with whatever stands between them, power of ten, and what follows (a unit, or nothing that is a
number)."""

POUNDS_AND_OUNCES = (
    r"^(?P<lb>\d+(?:[.,]\d+)?) ?(?:lbs?\.?|#|pounds?)[, ]*(?:and )?(?P<oz>\d+(?:[.,]\d+)?) ?(?:oz\.?|ounces?)$"
)

GROUPED = {
    ".": r"^(?:\d{1,3}(?:(?:,\d{3})+|(?: \d{3})+|(?:['’]\d{3})+)|\d*)(?:\.\d*)?$",
    ",": r"^(?:\d{1,3}(?:(?:\.\d{3})+|(?: \d{3})+|(?:['’]\d{3})+)|\d*)(?:,\d*)?$",
}
"""What digits may look like under each decimal sign: thousands in groups of three, all with the same sign."""


@dataclass(frozen=True)
class NumberColumn:
    """One column of numbers.

    ``values`` Float64 in the canonical unit, null where blank or unreadable; ``problems`` one row per distinct
    text that is no usable number (``text``, ``state``); ``said_open`` marks zeros that were written as a word.
    """

    values: pl.Series
    problems: pl.DataFrame
    said_open: pl.Series | None


def parse_numbers(
    texts: pl.Series,
    field: Field,
    *,
    unit: str | None = None,
    decimal: str = ".",
    own: Mapping[str, str] | None = None,
    altitude_ft: float | pl.Series = 0.0,
) -> NumberColumn:
    """Return a column of text as numbers.

    Parameters
    ----------
    texts : pl.Series
        String; null and blank cells stay null.
    field : Field
        A number or rating; decides the canonical unit, and whether ``open`` (uF readings) or ``none`` (ratings) count.
    unit : str, optional
        Unit of the column; the field's own if not said. A cell that names its own unit converts by that.
    decimal : str
        Decimal sign of the file, ``.`` or ``,``; the other sign may only stand between groups of three digits.
    own : mapping, optional
        The shop's own words for values of this field.
    altitude_ft : float or pl.Series
        Altitude of the gauge, for absolute pressures [ft].

    Returns
    -------
    NumberColumn
        Values before any check of their range; states ``not-a-number``, ``wrong-unit``, ``not-finite``.

    Raises
    ------
    UnknownUnit
        If ``unit`` is none that fits the field.
    """
    line = line_to(field, unit) if unit else Line(1.0, 0.0)
    plain = texts if decimal == "." else _commas_to_points(texts)
    values = plain.cast(pl.Float64, strict=False)
    odd = values.is_null() & texts.is_not_null() & (texts != "")
    odd = odd | ~values.is_finite().fill_null(True)
    if line != Line(1.0, 0.0):
        values = moved(values, line, altitude_ft).round(ROUNDED)
    if not odd.any():
        return NumberColumn(values, _no_problems(), None)
    flat = altitude_ft if isinstance(altitude_ft, float) else float(altitude_ft.drop_nulls().mean() or 0.0)  # type: ignore[arg-type]
    known = odd_texts(texts.filter(odd).unique(), field, line=line, decimal=decimal, own=own or {}, altitude_ft=flat)
    at = odd.arg_true()
    found = texts.gather(at).alias("text").to_frame().join(known, on="text", how="left", maintain_order="left")
    values = values.scatter(at, found["value"])
    opened = found["state"] == "open"
    said_open = pl.zeros(texts.len(), pl.Boolean, eager=True).scatter(at, opened) if opened.any() else None
    return NumberColumn(values, known.filter(pl.col("state").is_in(PROBLEMS)).select("text", "state"), said_open)


PROBLEMS = ("not-a-number", "wrong-unit", "not-finite")


def odd_texts(
    texts: pl.Series, field: Field, *, line: Line, decimal: str, own: Mapping[str, str], altitude_ft: float
) -> pl.DataFrame:
    """Return ``text``, ``value`` (canonical unit) and ``state`` for distinct cells that are not plainly a number."""
    cleaned = clean(texts, own)
    known = cleaned.with_columns(_state_of_words(field).alias("word"))
    known = known.with_columns(pl.col("plain").str.extract_groups(SHAPE).alias("shape")).unnest("shape")
    grouped = pl.col("digits").str.contains(GROUPED[decimal]) & pl.col("digits").str.contains(r"\d")
    digits = pl.col("digits").str.replace_all(r"[ '’]|" + (r"," if decimal == "." else r"\."), "")
    digits = digits.str.replace(",", ".", literal=True)
    number = (digits + pl.col("power").fill_null("")).cast(pl.Float64, strict=False)
    minus = (pl.col("sign") == "-") | (pl.col("sign2") == "-") | pl.col("bracketed")
    known = known.with_columns(
        pl.when(grouped).then(pl.when(minus).then(-number).otherwise(number)).alias("number"),
        pl.col("unit").fill_null("").str.strip_chars(" ").alias("unit"),
    )
    known = known.join(_units_in(known["unit"], field, line, altitude_ft), on="unit", how="left", maintain_order="left")
    money_elsewhere = pl.col("money").is_not_null() & pl.lit(field.unit != "currency")
    fits = pl.col("fits") & ~money_elsewhere
    value = (pl.col("number") * pl.col("slope") + pl.col("intercept")).round(ROUNDED)
    value = pl.when(pl.col("slope") == 1.0, pl.col("intercept") == 0.0).then(pl.col("number")).otherwise(value)
    state = (
        pl.when(pl.col("word").is_not_null())
        .then("word")
        .when(pl.col("number").is_null())
        .then(pl.lit("not-a-number"))
        .when(~fits)
        .then(pl.when(pl.col("spelled")).then(pl.lit("wrong-unit")).otherwise(pl.lit("not-a-number")))
        .when(~pl.col("number").is_finite())
        .then(pl.lit("not-finite"))
        .otherwise(pl.lit("number"))
    )
    known = known.with_columns(state.alias("state")).with_columns(
        pl.when(pl.col("state") == "number")
        .then(value)
        .when(pl.col("state").is_in(["open", "none"]))
        .then(pl.lit(0.0))
        .alias("value")
    )
    return _pounds_and_ounces(known, field).select("text", "value", "state")


def clean(texts: pl.Series, own: Mapping[str, str]) -> pl.DataFrame:
    """Return ``text`` and its ``plain`` form (one kind of space and minus, lower case), brackets taken as a minus
    sign."""
    frame = texts.alias("text").to_frame()
    said = own_words(own)
    if said:
        replaced = [said.get(fold_words(text), text) for text in texts]
        frame = frame.with_columns(pl.Series("source", replaced, pl.String))
    source = pl.col("source") if said else pl.col("text")
    plain = source.str.replace_all(SPACES, " ").str.strip_chars(" ").str.replace_all(MINUS, "-").str.to_lowercase()
    bracketed = plain.str.contains(r"^\(.*\d.*\)$")
    frame = frame.with_columns(plain.alias("plain"), bracketed.alias("bracketed"))
    return frame.with_columns(
        pl.when("bracketed")
        .then(pl.col("plain").str.strip_chars("()").str.strip_chars(" "))
        .otherwise("plain")
        .alias("plain")
    ).select("text", "plain", "bracketed")


def _state_of_words(field: Field) -> pl.Expr:
    none = number_words("none") if field.kind == "rating" else frozenset()
    opened = number_words("open") if field.kind == "number" and field.unit == "uF" else frozenset()
    return (
        pl.when(pl.col("plain").is_in(sorted(none)))
        .then(pl.lit("none"))
        .when(pl.col("plain").is_in(sorted(opened)))
        .then(pl.lit("open"))
        .when(pl.col("plain").is_in(sorted(blanks("number"))))
        .then(pl.lit("blank"))
    )


def _units_in(units: pl.Series, field: Field, line: Line, altitude_ft: float) -> pl.DataFrame:
    """Return for each distinct text behind the digits whether it is a unit of the field, and its conversion."""
    rows = []
    for text in units.unique():
        own: Line | None = line if text in ("", *_bare_marks(field)) else None
        spelled = spelled_units(text) or spelled_units(text.rstrip("."))
        fitting = [name for name in spelled if UNITS[name].dimension == dimension_of(field)]
        if own is None and fitting:
            try:
                own = line_to(field, fitting[0])
            except UnknownUnit:
                own = None
        shift = atmosphere_psia(altitude_ft) if own is not None and own.absolute else 0.0
        rows.append(
            (text, own is not None, bool(spelled), own.slope if own else 1.0, (own.intercept if own else 0.0) - shift)
        )
    schema = {
        "unit": pl.String,
        "fits": pl.Boolean,
        "spelled": pl.Boolean,
        "slope": pl.Float64,
        "intercept": pl.Float64,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def _bare_marks(field: Field) -> tuple[str, ...]:
    """Marks that say no more than the column does: ``75°`` is in the column's own degrees."""
    return ("°", "º", "deg", "deg.", "degrees", "grad", "grados") if dimension_of(field) == "temperature" else ()


def _pounds_and_ounces(known: pl.DataFrame, field: Field) -> pl.DataFrame:
    if field.unit != "oz":
        return known
    both = known.with_columns(pl.col("plain").str.extract_groups(POUNDS_AND_OUNCES).alias("both")).unnest("both")
    ounces = [pl.col(name).str.replace(",", ".", literal=True).cast(pl.Float64, strict=False) for name in ("lb", "oz")]
    total = ounces[0] * 16 + ounces[1]
    return both.with_columns(
        pl.when(total.is_not_null()).then(total).otherwise("value").alias("value"),
        pl.when(total.is_not_null()).then(pl.lit("number")).otherwise("state").alias("state"),
    )


def _commas_to_points(texts: pl.Series) -> pl.Series:
    """Return the texts with the decimal comma as a point, null where a point stands already (a thousands sign,
    perhaps)."""
    frame = texts.alias("t").to_frame()
    column = pl.col("t")
    swapped = pl.when(~column.str.contains(".", literal=True)).then(column.str.replace(",", ".", literal=True))
    return frame.select(swapped.alias("t")).to_series()


def _no_problems() -> pl.DataFrame:
    return pl.DataFrame(schema={"text": pl.String, "state": pl.String})
