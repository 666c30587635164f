"""Weak parts whose coverage ends before or soon after the season: to be tested before it lapses."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.config import Warranty
from pipeline.warranty.claims import CLAIMS_SCHEMA
from pipeline.warranty.weak import LEAK


def to_test(
    weak: pl.DataFrame,
    in_place: pl.DataFrame,
    terms: pl.DataFrame,
    units: pl.DataFrame,
    parts: pl.DataFrame,
    settings: Warranty,
    as_of: dt.date,
    season_end: dt.date,
) -> pl.DataFrame:
    """Return one claim row per weak part in coverage that ends by the season's end and the days set after it.

    Parameters
    ----------
    weak : DataFrame
        ``weak.WEAK_SCHEMA``.
    in_place : DataFrame
        ``fitted.Chains.in_place``.
    terms : DataFrame
        ``terms.TERMS_SCHEMA``: the coverage of parts that were never replaced.
    units : DataFrame
        unit_id, make, serial, retired_on: a unit that is gone has nothing to test.
    parts : DataFrame
        part, cost: what such a part costs the shop, as the median of those fitted.
    settings : Warranty
        How long after the season, allowances, least amount.
    as_of : date
        Coverage that ended before is not listed.
    season_end : date
        End of the season in question.

    Notes
    -----
    Makers credit failed parts, not predicted ones: the row asks for a test, it is no claim. A sign older than the part
    in place is of the part before. A leak that nobody has located has the unit's parts term and no amount: whether it
    is in a covered part is what the test is to show.
    """
    costs = parts.filter(pl.col("cost") > 0).group_by("part").agg(cost=pl.col("cost").median())
    compressor = pl.col("part") == "compressor"
    own = pl.when(compressor).then("compressor_until").otherwise("parts_until")
    last_day = season_end + dt.timedelta(days=settings.days_after_season)
    gone = (pl.col("retired_on") <= as_of).fill_null(False)
    covered = (
        weak.join(in_place.with_columns(replaced=True), on=["unit_id", "part", "slot"], how="left")
        .join(
            terms.select("unit_id", "parts_until", "compressor_until", "labor_until", "term_note"),
            on="unit_id",
            how="left",
        )
        .join(units.select("unit_id", "retired_on", unit_make="make", unit_serial="serial"), on="unit_id", how="left")
        .join(costs, on="part", how="left")
        .with_columns(replaced=pl.col("replaced").fill_null(False))
        .with_columns(covered_until=pl.when("replaced").then("failed_until").otherwise(own))
        .filter(
            pl.col("covered_until").is_between(as_of, last_day)
            & ~gone
            & ~_excluded(settings)
            & ~(pl.col("replaced") & (pl.col("shown_on") <= pl.col("failed_fitted_on"))).fill_null(False)
        )
    )
    worst = covered.sort(
        "weight", "reading_pct", "shown_on", "section", descending=[True, False, True, False], nulls_last=True
    ).unique(["unit_id", "body"], keep="first", maintain_order=True)
    labor = pl.when((pl.col("covered_until") <= pl.col("labor_until")).fill_null(False)).then(settings.labor_allowance)
    allowances = labor.fill_null(0.0) + settings.handling_allowance
    term = pl.when(compressor).then(pl.lit("unit's compressor term")).otherwise(pl.lit("unit's parts term"))
    rows = worst.with_columns(
        claim_id=pl.format("{}|test|{}|{}", "unit_id", "part", pl.coalesce("section", "slot")),
        covered=pl.lit(True),
        cover_basis=pl.when("replaced").then("failed_basis").otherwise(term),
        state=pl.lit("test_before_lapse"),
        amount=pl.col("cost") + allowances,
        deadline="covered_until",
        claim_to=pl.coalesce("failed_make", "unit_make"),
        part_make=pl.col("failed_make"),
        evidence=pl.format("{}; file only with {}", "evidence", "tests"),
        missing=pl.concat_str(
            pl.when(pl.col("unit_serial").is_null()).then(pl.lit("unit serial")),
            "missing",
            separator="; ",
            ignore_nulls=True,
        ).replace("", None),
        note="term_note",
    ).filter((pl.col("amount") >= settings.minimum_claim).fill_null(True))
    lacking = [pl.lit(None, kind).alias(name) for name, kind in CLAIMS_SCHEMA.items() if name not in rows.columns]
    return rows.with_columns(lacking).select(list(CLAIMS_SCHEMA)).cast(CLAIMS_SCHEMA).sort("unit_id", "claim_id")


def _excluded(settings: Warranty) -> pl.Expr:
    """Parts that no unit's term covers; a leak not located yet may be in one that it does."""
    names = [word.strip() for word in settings.not_covered.split(",")]
    return pl.col("part").is_in([word for word in names if word != LEAK])
