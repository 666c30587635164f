"""What on file shows that a part had failed when it was taken out."""

from __future__ import annotations

import polars as pl

SECTION_NAMES = {"herm": "hermetic"}
"""Sections whose name in text differs from that in data."""
LEAKING = ("evaporator_coil", "condenser_coil", "line_set", "metering_device", "reversing_valve", "compressor")
"""Parts that may be taken out for a leak."""


def failed_readings(parts: pl.DataFrame, visits: pl.DataFrame, readings: pl.DataFrame) -> pl.DataFrame:
    """Return the best proof of each part taken out.

    Parameters
    ----------
    parts : DataFrame
        unit_id, visit_id, part.
    visits : DataFrame
        unit_id, visit_id, visit_date, visit_type, cause, leak_found.
    readings : DataFrame
        ``core.capacitor_readings``.

    Returns
    -------
    DataFrame
        unit_id, visit_id, part, reading_pct, tolerance_pct [%] and evidence, null where nothing shows the fault; one
        row per unit, visit and part.
    """
    place = ["unit_id", "visit_id"]
    wanted = parts.select(*place, "part").unique(maintain_order=True)
    on_visits = wanted.select(place).unique()
    found = (
        readings.join(on_visits, on=place, how="semi")
        .filter(~pl.col("is_new_part").fill_null(False) & pl.col("drift_pct").is_not_null())
        .sort(pl.col("drift_pct").abs())
        .group_by(place)
        .agg(pl.col(name).last() for name in ("section", "drift_pct", "tolerance_pct", "measured_uf", "rated_uf"))
        .with_columns(part=pl.lit("run_capacitor"))
    )
    read = pl.format(
        "{} section read {} of {} uF ({} %)",
        pl.col("section").replace(SECTION_NAMES),
        pl.col("measured_uf").round(2),
        pl.col("rated_uf").round(2),
        pl.col("drift_pct").round(1),
    )
    called = pl.when(pl.col("visit_type") == "no_cooling").then(pl.lit("no-cooling call")).otherwise(pl.lit("repair"))
    blamed = pl.when(pl.col("cause") == pl.col("part")).then(
        pl.format("{} on {}, cause {}", called, "visit_date", pl.col("cause").str.replace_all("_", " "))
    )
    leaked = pl.when(pl.col("part").is_in(LEAKING) & (pl.col("leak_found") == "yes")).then(
        pl.format("leak found on {}", "visit_date")
    )
    return (
        wanted.join(visits.join(on_visits, on=place, how="semi").unique(place), on=place, how="left")
        .join(found, on=[*place, "part"], how="left")
        .select(
            *place,
            "part",
            reading_pct="drift_pct",
            tolerance_pct="tolerance_pct",
            evidence=pl.concat_str(
                pl.when(pl.col("drift_pct").is_not_null()).then(read), blamed, leaked, separator="; ", ignore_nulls=True
            ).replace("", None),
        )
    )
