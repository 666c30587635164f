"""Weak parts whose coverage ends before or soon after the season: to be tested before it lapses."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.config import Warranty
from pipeline.warranty.claims import CLAIMS_SCHEMA
from pipeline.warranty.proof import SECTION_NAMES

BODY = {"herm": "dual", "fan": "dual", "blower": "blower"}
"""Sections that sit in one can, as a rule."""


def to_test(
    sections: pl.DataFrame,
    in_place: pl.DataFrame,
    terms: pl.DataFrame,
    units: pl.DataFrame,
    parts: pl.DataFrame,
    settings: Warranty,
    as_of: dt.date,
) -> pl.DataFrame:
    """Return one claim row per weak capacitor in coverage that ends by the season's end and the days set after it.

    Parameters
    ----------
    sections : DataFrame
        ``core.section_forecast``: active units only.
    in_place : DataFrame
        ``fitted.Chains.in_place``.
    terms : DataFrame
        ``terms.TERMS_SCHEMA``: the coverage of parts that were never replaced.
    units : DataFrame
        unit_id, make, serial.
    parts : DataFrame
        part, cost: what such a part costs the shop, as the median of those fitted.
    settings : Warranty
        What is weak, how long after the season, allowances, least amount.
    as_of : date
        Coverage that ended before is not listed.

    Notes
    -----
    Makers credit failed parts, not predicted ones: the row asks for a test, it is no claim.
    """
    weak = sections.filter(
        pl.col("last_reading_on").is_not_null()
        & (pl.col("already_out") | (pl.col("p_out_by_season_end") >= settings.weak_chance))
    ).with_columns(
        part=pl.lit("run_capacitor"), slot="section", body=pl.col("section").replace_strict(BODY, default=None)
    )
    cost = parts.filter((pl.col("part") == "run_capacitor") & (pl.col("cost") > 0))["cost"].median()
    until = pl.when(pl.col("replaced")).then("failed_until").otherwise("parts_until")
    covered = (
        weak.join(in_place.with_columns(replaced=True), on=["unit_id", "part", "slot"], how="left")
        .join(terms.select("unit_id", "parts_until", "labor_until", "term_note"), on="unit_id", how="left")
        .join(units.select("unit_id", unit_make="make", unit_serial="serial"), on="unit_id", how="left")
        .with_columns(replaced=pl.col("replaced").fill_null(False))
        .with_columns(covered_until=until)
        .filter(
            (pl.col("covered_until") >= as_of)
            & (pl.col("covered_until") <= pl.col("season_end").dt.offset_by(f"{settings.days_after_season}d"))
        )
    )
    worst = covered.sort(
        "p_out_by_season_end", "drift_pct", "section", descending=[True, False, False], nulls_last=True
    ).unique(["unit_id", "body"], keep="first", maintain_order=True)
    labor = pl.when((pl.col("covered_until") <= pl.col("labor_until")).fill_null(False)).then(settings.labor_allowance)
    allowances = labor.fill_null(0.0) + settings.handling_allowance
    rows = worst.with_columns(
        claim_id=pl.format("{}|test|{}|{}", "unit_id", "part", "section"),
        covered=pl.lit(True),
        cover_basis=pl.when("replaced").then("failed_basis").otherwise(pl.lit("unit's parts term")),
        state=pl.lit("test_before_lapse"),
        amount=pl.lit(cost, pl.Float64) + allowances,
        deadline="covered_until",
        claim_to=pl.coalesce("failed_make", "unit_make"),
        cost=pl.lit(cost, pl.Float64),
        part_make=pl.col("failed_make"),
        reading_pct="drift_pct",
        evidence=pl.format(
            "{} section estimated {} % off its label, last read on {}; {}",
            pl.col("section").replace(SECTION_NAMES),
            pl.col("drift_pct").round(1),
            "last_reading_on",
            pl.when("already_out")
            .then(pl.lit("out of its tolerance already"))
            .otherwise(
                pl.format(
                    "{} in 100 to be out of it by {}",
                    (100 * pl.col("p_out_by_season_end")).round(0).cast(pl.Int64),
                    "season_end",
                )
            ),
        ),
        missing=pl.when(pl.col("unit_serial").is_null()).then(pl.lit("unit serial")),
        note="term_note",
    ).filter((pl.col("amount") >= settings.minimum_claim).fill_null(True))
    lacking = [pl.lit(None, kind).alias(name) for name, kind in CLAIMS_SCHEMA.items() if name not in rows.columns]
    return rows.with_columns(lacking).select(list(CLAIMS_SCHEMA)).cast(CLAIMS_SCHEMA).sort("unit_id", "claim_id")
