"""Replacements: which visit closed which section's series and what was fitted."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.capacitor_facts import SECTIONS
from pipeline.enrich.capacitor_values import AFTER, EVENT

UNNAMED_CLOSES = ("herm", "fan")
"""What a run_capacitor part without any rating closes (contract, section 2)."""


def replacement_events(parts: pl.DataFrame, values: pl.DataFrame) -> pl.DataFrame:
    """Return one row per unit, section and visit on which that section's part was replaced.

    Parameters
    ----------
    parts
        Parts with their unit resolved: unit_id, visit_id, visit_date, row_n, part, cap_herm_uf, cap_fan_uf,
        cap_blower_uf (0 = names no such section), cap_volts, cap_tolerance_pct, part_make.
    values
        Output of ``section_values``; a reading of a new part without a part row also tells of a replacement.

    Returns
    -------
    pl.DataFrame
        unit_id, visit_id, visit_date, section, step, fitted_uf (null = rating kept), fitted_tolerance_pct,
        fitted_volts, fitted_make. A part row of any kind that names a rating counts; a run_capacitor row
        naming none closes the hermetic and the fan section and keeps the ratings.
    """
    named = pl.any_horizontal(pl.col(f"cap_{s}_uf") > 0 for s in SECTIONS).fill_null(False)
    frames = []
    for section in SECTIONS:
        rating = pl.col(f"cap_{section}_uf")
        closes = (rating > 0).fill_null(False)
        if section in UNNAMED_CLOSES:
            closes = closes | (~named & (pl.col("part") == "run_capacitor"))
        frames.append(
            parts.filter(closes & pl.col("unit_id").is_not_null() & pl.col("visit_date").is_not_null()).select(
                "unit_id",
                "visit_id",
                "visit_date",
                "row_n",
                section=pl.lit(section),
                fitted_uf=pl.when(rating > 0).then(rating),
                fitted_tolerance_pct=pl.col("cap_tolerance_pct"),
                fitted_volts=pl.col("cap_volts"),
                fitted_make=pl.col("part_make"),
            )
        )
    told = values.filter(pl.col("step") == AFTER).select(
        "unit_id",
        "visit_id",
        "visit_date",
        pl.lit(-1, dtype=pl.Int64).alias("row_n"),
        "section",
        *(pl.lit(None, dtype=pl.Float64).alias(n) for n in ("fitted_uf", "fitted_tolerance_pct", "fitted_volts")),
        pl.lit(None, dtype=pl.String).alias("fitted_make"),
    )
    columns = told.columns
    return (
        pl.concat([*(f.select(pl.col(c).cast(told.schema[c]) for c in columns) for f in frames), told])
        .sort("unit_id", "visit_id", "section", "row_n")
        .group_by("unit_id", "visit_id", "section", maintain_order=True)
        .agg(pl.col("visit_date").first(), pl.col("^fitted_.*$").drop_nulls().last())
        .with_columns(step=pl.lit(EVENT, dtype=pl.Int8))
    )
