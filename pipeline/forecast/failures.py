"""Failures, and what ended a unit's exposure to one, from visits and parts."""

from __future__ import annotations

import datetime as dt

import polars as pl

SAME_CALL_DAYS = 14
CAPACITOR_CAUSES = ("run_capacitor",)
CHARGE_CAUSES = ("refrigerant_leak",)
MINOR_PARTS = ("filter_drier", "thermostat", "condensate_drain", "dirty_coil", "no_fault_found")
"""Parts that leave the state which the forecast looks at as it was."""


def failures(visits: pl.DataFrame) -> pl.DataFrame:
    """Return one row per failure: unit_id, visit_date, visit_id, cause; sorted by unit and date.

    A failure is a visit of type no_cooling, whatever the cause; a second one within 14 days of the last
    counted one on the same unit with the same or a blank cause is the same failure.
    """
    calls = (
        visits.filter(pl.col("visit_type") == "no_cooling")
        .select("unit_id", "visit_date", "visit_id", "cause")
        .unique(["unit_id", "visit_id"], keep="first", maintain_order=True)
        .sort("unit_id", "visit_date", "visit_id")
    )
    counted = calls
    while True:
        own = pl.col("unit_id") == pl.col("unit_id").shift(1)
        gap = (pl.col("visit_date") - pl.col("visit_date").shift(1)).dt.total_days()
        before = pl.col("cause").shift(1)
        same = pl.col("cause").is_null() | before.is_null() | (pl.col("cause") == before)
        repeat = (own & (gap <= SAME_CALL_DAYS) & same).fill_null(False)
        marked = counted.with_columns(repeat=repeat)
        # only the first repeat in a row goes at a time: a later one is measured from the last counted call
        first = pl.col("repeat") & ~(own & pl.col("repeat").shift(1)).fill_null(False)
        kept = marked.filter(~first).drop("repeat")
        if kept.height == counted.height:
            return kept
        counted = kept


def outcomes(
    visits: pl.DataFrame, parts: pl.DataFrame, units: pl.DataFrame, after: dt.date, until: dt.date
) -> pl.DataFrame:
    """Return for each unit what happened after ``after`` through ``until``.

    Returns
    -------
    pl.DataFrame
        unit_id, failed_on (first failure), failed_cause, changed_on (a part was replaced or charge added
        on a visit that was no failure, or the unit was retired: from then on "if nothing is done" no longer
        holds).
    """
    window = (pl.col("visit_date") > after) & (pl.col("visit_date") <= until)
    calls = visits.filter(window)
    failed = calls.filter(pl.col("visit_type") == "no_cooling").sort("unit_id", "visit_date", "visit_id")
    first = failed.group_by("unit_id", maintain_order=True).agg(
        failed_on=pl.col("visit_date").first(), failed_cause=pl.col("cause").first()
    )
    quiet = calls.filter((pl.col("visit_type") != "no_cooling").fill_null(True))
    charged = quiet.filter(pl.col("refrigerant_added_oz") > 0).select("unit_id", "visit_date")
    fitted = (
        parts.filter(window & ~pl.col("part").is_in(MINOR_PARTS))
        .join(quiet.select("unit_id", "visit_id"), on=["unit_id", "visit_id"], how="semi")
        .select("unit_id", "visit_date")
    )
    retired = units.filter(pl.col("retired_on").is_between(after, until, closed="right")).select(
        "unit_id", visit_date="retired_on"
    )
    changed = pl.concat([charged, fitted, retired]).group_by("unit_id").agg(changed_on=pl.col("visit_date").min())
    return (
        units.select("unit_id")
        .join(first, on="unit_id", how="left")
        .join(changed, on="unit_id", how="left")
        .sort("unit_id")
    )
