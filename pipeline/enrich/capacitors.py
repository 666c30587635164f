"""Capacitor drift per section: from visits, parts and the register to series and readings."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.capacitor_events import replacement_events
from pipeline.enrich.capacitor_facts import CapacitorFacts
from pipeline.enrich.capacitor_ratings import rate_parts, registered_ratings
from pipeline.enrich.capacitor_series import SECTION, cut_at_replacements, infer_replacements, mark_maybe_new
from pipeline.enrich.capacitor_values import AFTER, EVENT, section_values

CAPACITOR_SERIES_SCHEMA: dict[str, type[pl.DataType]] = {
    "unit_id": pl.String,
    "section": pl.String,
    "series": pl.Int64,
    "rated_uf": pl.Float64,
    "rated_source": pl.String,
    "tolerance_pct": pl.Float64,
    "volts": pl.Float64,
    "part_make": pl.String,
    "started_on": pl.Date,
    "start_kind": pl.String,
    "start_known_on": pl.Date,
    "ended_on": pl.Date,
    "end_kind": pl.String,
    "ended_visit_id": pl.String,
}
"""Columns of ``core.capacitor_series``; ``start_known_on`` is when the records first tell of the new part, so that a
look back at an earlier day sees the series as they were known then."""

CAPACITOR_READINGS_SCHEMA: dict[str, type[pl.DataType]] = {
    "unit_id": pl.String,
    "visit_id": pl.String,
    "visit_date": pl.Date,
    "section": pl.String,
    "series": pl.Int64,
    "rated_uf": pl.Float64,
    "rated_source": pl.String,
    "tolerance_pct": pl.Float64,
    "measured_uf": pl.Float64,
    "method": pl.String,
    "drift_pct": pl.Float64,
    "out_of_tolerance": pl.Boolean,
    "suspect": pl.String,
    "technician": pl.String,
    "started_on": pl.Date,
    "start_kind": pl.String,
    "start_known_on": pl.Date,
    "at_replacement": pl.Boolean,
    "is_new_part": pl.Boolean,
    "scheduled": pl.Boolean,
}
"""Columns of ``core.capacitor_readings``."""

SCHEDULED_TYPES = ("maintenance", "inspection", "install")


def drift_pct(measured_uf: pl.Expr, rated_uf: pl.Expr) -> pl.Expr:
    """Return 100 * (measured / rated - 1) [percent of the rating]; no rating or a rating of 0 gives null.

    Examples
    --------
    >>> pl.DataFrame({"m": [34.6], "r": [40.0]}).select(drift_pct(pl.col("m"), pl.col("r")).round(2)).item()
    -13.5
    """
    return pl.when(rated_uf > 0).then(100 * (measured_uf / rated_uf - 1))


def is_out_of_tolerance(drift: pl.Expr, tolerance_pct: pl.Expr) -> pl.Expr:
    """Return whether drift lies outside the label tolerance; a reading on the line is inside."""
    return drift.round(2).abs() > tolerance_pct


def capacitor_history(
    visits: pl.DataFrame,
    parts: pl.DataFrame,
    units: pl.DataFrame,
    models: pl.DataFrame,
    suspects: pl.DataFrame,
    facts: CapacitorFacts,
    *,
    frequency_hz: float,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the series and the readings of every section of whole units.

    Parameters
    ----------
    visits, parts, units
        Whole history of the units; parts with their unit and visit date resolved.
    models
        ``model_ratings`` of the whole shop.
    suspects
        unit_id, visit_id, field, reason: readings already held suspect by the checks.
    facts
        Tolerance, noise and sizes.
    frequency_hz
        Line frequency [Hz] for readings under load.

    Returns
    -------
    tuple of pl.DataFrame
        ``CAPACITOR_SERIES_SCHEMA`` (one row per series, read or not) and ``CAPACITOR_READINGS_SCHEMA``
        (one row per reading), both sorted by unit, section and time.
    """
    values = section_values(visits, frequency_hz)
    events = replacement_events(parts, values)
    rows = rate_parts(cut_at_replacements(values, events), units, models, facts)
    readings = (
        rows.filter(pl.col("step") != EVENT)
        .with_columns(drift_pct=drift_pct(pl.col("measured_uf"), pl.col("rated_uf")))
        .join(_held(suspects), on=["unit_id", "visit_id", "section"], how="left", maintain_order="left")
    )
    readings = mark_maybe_new(readings, events)
    # A visit with part rows says itself which sections were replaced; it explains no other rise.
    repairs = (
        visits.filter(pl.col("cause") == "run_capacitor")
        .join(events, on=["unit_id", "visit_id"], how="anti")
        .select("unit_id", "visit_date")
        .unique()
    )
    readings = infer_replacements(readings, repairs, facts)
    series = _series(rows, readings, units, visits, facts)
    return series, _readings(readings, series)


def _held(suspects: pl.DataFrame) -> pl.DataFrame:
    """Return the reason a section's reading is already held suspect, one per visit, unit and section."""
    section = pl.col("field").str.extract(r"^(herm|fan|blower)_(?:uf|volts|amps)$")
    return (
        suspects.with_columns(section=section)
        .filter(pl.col("section").is_not_null())
        .group_by("unit_id", "visit_id", "section")
        .agg(suspect=pl.col("reason").sort().first())
    )


def _series(
    rows: pl.DataFrame, readings: pl.DataFrame, units: pl.DataFrame, visits: pl.DataFrame, facts: CapacitorFacts
) -> pl.DataFrame:
    fitted = rows.filter(pl.col("step") == EVENT).select(
        *SECTION,
        "visit_date",
        "visit_id",
        "step",
        start_kind=pl.lit("fitted"),
        start_known_on="visit_date",
        rated_uf="rated_uf",
        rated_source="rated_source",
        tolerance_pct="tolerance_pct",
        volts="volts",
        part_make="part_make",
    )
    inferred = readings.filter(pl.col("inferred_on").is_not_null()).select(
        *SECTION,
        visit_date="inferred_on",
        visit_id="visit_id",
        step=pl.lit(EVENT, dtype=pl.Int8),
        start_kind=pl.lit("inferred"),
        start_known_on="known_on",
        rated_uf="rated_uf",
        rated_source="rated_source",
        tolerance_pct="tolerance_pct",
        volts="volts",
        part_make=pl.lit(None, dtype=pl.String),
    )
    starts = pl.concat([_originals(rows, units, visits, facts), fitted, inferred], how="diagonal").sort(
        *SECTION,
        pl.col("is_original").fill_null(False),
        "visit_date",
        "visit_id",
        descending=[False, False, True, False, False],
    )
    following = {"ended_on": "visit_date", "end_kind": "start_kind", "ended_visit_id": "visit_id"}
    retired = units.select("unit_id", "retired_on")
    return (
        starts.with_columns(
            series=pl.int_range(1, pl.len() + 1).over(SECTION).cast(pl.Int64),
            **{new: pl.col(old).shift(-1).over(SECTION) for new, old in following.items()},
        )
        .join(retired, on="unit_id", how="left", maintain_order="left")
        .with_columns(
            started_on="visit_date",
            end_kind=pl.when(pl.col("ended_on").is_null() & pl.col("retired_on").is_not_null())
            .then(pl.lit("retired"))
            .otherwise("end_kind"),
            ended_on=pl.coalesce("ended_on", "retired_on"),
        )
        .select(pl.col(n).cast(t) for n, t in CAPACITOR_SERIES_SCHEMA.items())
        .sort("unit_id", "section", "series")
    )


def _originals(rows: pl.DataFrame, units: pl.DataFrame, visits: pl.DataFrame, facts: CapacitorFacts) -> pl.DataFrame:
    """Return the first part of every section: rated on the register, or seen in a reading or a replacement."""
    seen = rows.select(SECTION).unique()
    first_rows = rows.sort("visit_date", "visit_id", "step").group_by(SECTION, maintain_order=True)
    first = first_rows.agg(pl.col(c).first() for c in ("rated_uf", "rated_source", "tolerance_pct", "volts", "step"))
    # A section whose first row is the replacement itself: its own rating was the register's, if anything's.
    rated = (
        registered_ratings(units)
        .join(seen.with_columns(seen=pl.lit(True)), on=SECTION, how="left")
        .filter((pl.col("registered_uf") > 0) | pl.col("seen"))
        .join(first, on=SECTION, how="left")
    )
    on_register = pl.col("registered_uf") > 0
    by_readings = pl.col("step").is_not_null()
    installs = (
        visits.filter(pl.col("visit_type") == "install")
        .group_by("unit_id")
        .agg(install_visit=pl.col("visit_date").min())
    )
    first_visit = visits.group_by("unit_id").agg(first_visit=pl.col("visit_date").min())
    dated = (
        units.select("unit_id", "installed_on")
        .join(installs, on="unit_id", how="left")
        .join(first_visit, on="unit_id", how="left")
        .with_columns(start=pl.coalesce("installed_on", "install_visit"))
        # An installation after the first visit cannot be this part's start.
        .with_columns(start=pl.when(pl.col("start") <= pl.coalesce("first_visit", "start")).then("start"))
        .select("unit_id", "start")
    )
    return (
        rated.join(dated, on="unit_id", how="left")
        .with_columns(
            rated_uf=pl.when(on_register).then("registered_uf").when(by_readings).then("rated_uf"),
            rated_source=pl.when(on_register).then(pl.lit("register")).when(by_readings).then("rated_source"),
            tolerance_pct=pl.coalesce("registered_tolerance_pct", pl.lit(facts.default_tolerance_pct)),
            volts=pl.col("registered_volts"),
        )
        .select(
            *SECTION,
            "rated_uf",
            "rated_source",
            "tolerance_pct",
            "volts",
            visit_date="start",
            visit_id=pl.lit(None, dtype=pl.String),
            start_kind=pl.when(pl.col("start").is_not_null()).then(pl.lit("installed")).otherwise(pl.lit("unknown")),
            start_known_on=pl.lit(None, dtype=pl.Date),
            part_make=pl.lit(None, dtype=pl.String),
            is_original=pl.lit(True),
        )
    )


def _readings(readings: pl.DataFrame, series: pl.DataFrame) -> pl.DataFrame:
    """Number each reading's series as ``_series`` does and take over the series' start."""
    order = ["visit_date", "visit_id", "step"]
    new_inferred = pl.col("inferred_on").is_not_null().cast(pl.Int64).cum_sum().over(SECTION, order_by=order)
    return (
        readings.with_columns(series=pl.col("part_n").cast(pl.Int64) + new_inferred)
        .join(
            series.select(*SECTION, "series", "started_on", "start_kind", "start_known_on"),
            on=[*SECTION, "series"],
            how="left",
            maintain_order="left",
        )
        .with_columns(
            out_of_tolerance=is_out_of_tolerance(pl.col("drift_pct"), pl.col("tolerance_pct")),
            is_new_part=pl.col("step") == AFTER,
            scheduled=pl.col("visit_type").is_in(SCHEDULED_TYPES).fill_null(False),
        )
        .select(pl.col(n).cast(t) for n, t in CAPACITOR_READINGS_SCHEMA.items())
        .sort("unit_id", "section", "visit_date", "visit_id", "is_new_part")
    )
