"""Last digits that one technician writes more often than a meter shows them."""

from __future__ import annotations

import polars as pl
from scipy import special

FIELDS = ("suction_psig", "liquid_psig", "suction_line_f", "liquid_line_f", "discharge_line_f", "outdoor_db_f")
"""Readings whose last digit is as good as even over many systems. Microfarads are not: they crowd below their ratings,
which end in 0 and 5; what is copied there ``copied_ratings`` tells."""

ENOUGH = 50
"""Readings of one field needed: five per digit, the usual least of a chi-square test."""

SPREAD_STEPS = 5.0
"""Standard deviation in steps from which last digits are even: a normal spread of 5 steps leaves at most
2 exp(-2 pi^2 5^2 / 10^2) = 1.4 % unevenness."""

WHOLE_SHARE = 0.95
"""Share of whole numbers from which a technician is taken to read whole numbers. Engineering guess."""


def digit_preference(visits: pl.DataFrame) -> pl.DataFrame:
    """Return, per technician, how unlikely the last digits of the readings are.

    Parameters
    ----------
    visits
        technician and any of ``FIELDS``.

    Returns
    -------
    polars.DataFrame
        technician, digit_readings, chi_square, degrees, digit_p_value, favourite_digit and favourite_share (of the
        field with the strongest preference); one row per technician with enough readings of a field, sorted. It
        says nothing of any one reading.

    Notes
    -----
    Pearson's chi-square against ten even digits, summed over the fields.
    """
    tested = [_field(visits, name) for name in FIELDS if name in visits.columns]
    every = pl.concat([_NOTHING, *tested])
    strongest = every.sort("field_chi", "field", descending=[True, False]).unique("technician", maintain_order=True)
    summed = every.group_by("technician").agg(
        pl.col("readings").sum().alias("digit_readings"),
        pl.col("field_chi").sum().alias("chi_square"),
        (9 * pl.len()).cast(pl.Int64).alias("degrees"),
    )
    both = summed.join(strongest.select("technician", "favourite_digit", "favourite_share"), on="technician").sort(
        "technician"
    )
    p_value = special.chdtrc(both["degrees"].to_numpy(), both["chi_square"].to_numpy())
    return both.select(
        "technician",
        "digit_readings",
        "chi_square",
        "degrees",
        pl.Series("digit_p_value", p_value, pl.Float64),
        "favourite_digit",
        "favourite_share",
    )


_NOTHING = pl.DataFrame(
    schema={
        "technician": pl.String,
        "field": pl.String,
        "readings": pl.Int64,
        "field_chi": pl.Float64,
        "favourite_digit": pl.Int64,
        "favourite_share": pl.Float64,
    }
)


def _field(visits: pl.DataFrame, name: str) -> pl.DataFrame:
    read = (
        visits.select("technician", pl.col(name).cast(pl.Float64).alias("value"))
        .drop_nulls()
        .filter(pl.col("value") > 0)
    )
    steps = read.group_by("technician").agg(
        pl.when((pl.col("value") == pl.col("value").round()).mean() >= WHOLE_SHARE)
        .then(1.0)
        .otherwise(0.1)
        .alias("step"),
        pl.col("value").std().alias("spread"),
        pl.len().alias("count"),
    )
    steps = steps.filter((pl.col("count") >= ENOUGH) & (pl.col("spread") >= SPREAD_STEPS * pl.col("step")))
    digits = read.join(steps, on="technician", how="inner").select(
        "technician", "count", ((pl.col("value") / pl.col("step")).round().cast(pl.Int64) % 10).alias("digit")
    )
    counts = digits.group_by("technician", "digit").agg(pl.len().alias("seen"), pl.col("count").first())
    even = pl.col("count") / 10
    # A digit never written adds its whole expectation: 10 digits minus those seen.
    chi = ((pl.col("seen") - even).pow(2) / even).sum() + (10 - pl.len()) * even.first()
    return (
        counts.sort("technician", "digit")
        .group_by("technician", maintain_order=True)
        .agg(
            pl.lit(name).alias("field"),
            pl.col("count").first().cast(pl.Int64).alias("readings"),
            chi.alias("field_chi"),
            pl.col("digit").get(pl.col("seen").arg_max()).alias("favourite_digit"),
            (pl.col("seen").max() / pl.col("count").first()).alias("favourite_share"),
        )
        .cast(_NOTHING.schema)
    )
