"""The readings a charge test works from: what was written, what follows from it, and what was not believable."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.limits import Limits
from pipeline.enrich.psychrometrics import standard_atmosphere_psia, wet_bulb_f
from pipeline.enrich.refrigerants import (
    add_saturation,
    refrigerants,
    spelling_key,
)
from pipeline.fields import registry

UNIT_COLUMNS = (
    "equipment", "model", "indoor_model", "nominal_tons", "refrigerant", "metering", "factory_charge_oz",
    "target_subcooling_f",
)  # fmt: skip
VISIT_COLUMNS = (
    "technician", "visit_type", "observations", "mode", "minutes_running", "outdoor_db_f", "return_db_f", "return_wb_f",
    "return_rh_pct", "supply_db_f", "supply_wb_f", "suction_psig", "liquid_psig", "suction_line_f", "liquid_line_f",
    "discharge_line_f", "condenser_leaving_f", "recorded_superheat_f", "recorded_subcooling_f",
    "recorded_target_superheat_f", "recorded_split_f", "static_in_wc", "airflow_cfm", "altitude_ft",
)  # fmt: skip
A_READING = (
    "suction_psig", "liquid_psig", "suction_line_f", "liquid_line_f", "recorded_superheat_f", "recorded_subcooling_f",
    "recorded_split_f", "supply_db_f",
)  # fmt: skip
"""A visit with none of these has nothing to say about charge or airflow."""


def charge_inputs(visits: pl.DataFrame, units: pl.DataFrame, *, altitude_ft: float, limits: Limits) -> pl.DataFrame:
    """Return the visits with readings, joined to their unit, with effective inputs and derived quantities.

    Parameters
    ----------
    visits : pl.DataFrame
        unit_id, visit_id, visit_date and any of ``VISIT_COLUMNS``; a column that is absent is all null. ``from_notes``,
        if there, lists the fields that only the note told.
    units : pl.DataFrame
        unit_id and any of ``UNIT_COLUMNS``; a visit to a unit that is not there keeps its row.
    altitude_ft : float
        Altitude of the shop [ft], where the visit names none.
    limits : Limits
        For the mode rule.

    Returns
    -------
    pl.DataFrame
        One row per visit and unit with a reading, sorted by unit_id, visit_date, visit_id. Added: mode and its
        mode_source, return_wb_f and wet_bulb_source, air_psia, suction_psia, liquid_psia, suction_saturation_f,
        liquid_saturation_f, superheat_f, subcooling_f and their sources, temperature_split_f, refrigerant_known.
    """
    told = pl.lit([], pl.List(pl.String)) if "from_notes" not in visits.columns else visits["from_notes"]
    seen = (
        _with(visits, VISIT_COLUMNS, "visits")
        .with_columns(from_notes=told)
        .filter(pl.any_horizontal(pl.col(*A_READING).is_not_null()))
    )
    joined = seen.join(
        _with(units, UNIT_COLUMNS, "units").unique("unit_id", keep="first", maintain_order=True),
        on="unit_id",
        how="left",
    )
    raw = pl.col("suction_line_f") - pl.col("suction_saturation_f")
    raw_sc = pl.col("liquid_saturation_f") - pl.col("liquid_line_f")
    return (
        joined.sort("unit_id", "visit_date", "visit_id")
        .with_columns(pl.col("altitude_ft").fill_null(altitude_ft))
        .with_columns(air_psia=standard_atmosphere_psia(pl.col("altitude_ft")))
        .with_columns(
            *_mode(limits),
            *_wet_bulb(),
            refrigerant_known=_known(joined),
            temperature_split_f=pl.coalesce(pl.col("return_db_f") - pl.col("supply_db_f"), pl.col("recorded_split_f")),
        )
        .pipe(add_saturation)
        .with_columns(
            superheat_f=pl.coalesce(raw, pl.col("recorded_superheat_f")),
            superheat_source=_source(raw, "recorded_superheat_f"),
            subcooling_f=pl.coalesce(raw_sc, pl.col("recorded_subcooling_f")),
            subcooling_source=_source(raw_sc, "recorded_subcooling_f"),
        )
    )


def _with(frame: pl.DataFrame, wanted: tuple[str, ...], table: str) -> pl.DataFrame:
    """Return the key columns and ``wanted``, those that are absent as nulls of their registered type."""
    fields = registry()[table].fields
    keys = [name for name in ("unit_id", "visit_id", "visit_date") if name in frame.columns]
    columns = [
        pl.col(name)
        if name in frame.columns
        else pl.lit(None, pl.Float64 if fields[name].is_numeric else pl.String).alias(name)
        for name in wanted
    ]
    numbers = [name for name in wanted if fields[name].is_numeric]
    return frame.select(*keys, *columns).with_columns(pl.col(numbers).cast(pl.Float64).fill_nan(None))


def _known(frame: pl.DataFrame) -> pl.Expr:
    names = frame.get_column("refrigerant").unique().drop_nulls().to_list()
    known = [name for name in names if spelling_key(name) in refrigerants()]
    return pl.col("refrigerant").is_in(known).fill_null(False)


def _mode(limits: Limits) -> tuple[pl.Expr, pl.Expr]:
    """The mode as written; blank, from the air: supply against return, then what the outdoor temperature allows.

    Supply air warmer than return is heating, unless it is too warm outdoors for anyone to heat: then the two
    thermometers contradict each other and the mode stays unknown.
    """
    split = pl.col("return_db_f") - pl.col("supply_db_f")
    warm_outside = pl.col("outdoor_db_f") >= limits.cooling_outdoor_f
    heating = split <= -limits.heating_split_f
    from_air = (
        pl.when(split >= limits.heating_split_f)
        .then(pl.lit("cooling"))
        .when(heating & ~warm_outside.fill_null(False))
        .then(pl.lit("heating"))
        .when(warm_outside & ~heating.fill_null(False))
        .then(pl.lit("cooling"))
    )
    source = (
        pl.when(pl.col("mode").is_not_null())
        .then(pl.lit("written"))
        .when(from_air.is_not_null())
        .then(pl.lit("air_temperatures"))
        .otherwise(pl.lit("unknown"))
    )
    return pl.coalesce(pl.col("mode"), from_air).alias("mode"), source.alias("mode_source")


def _wet_bulb() -> tuple[pl.Expr, pl.Expr]:
    humidity = pl.when(pl.col("return_wb_f").is_null()).then(pl.col("return_rh_pct"))
    from_humidity = wet_bulb_f(pl.col("return_db_f"), humidity, pl.col("air_psia"))
    source = (
        pl.when(pl.col("return_wb_f").is_not_null())
        .then(pl.lit("read"))
        .when(pl.col("return_rh_pct").is_not_null() & pl.col("return_db_f").is_not_null())
        .then(pl.lit("humidity"))
    )
    return pl.coalesce(pl.col("return_wb_f"), from_humidity).alias("return_wb_f"), source.alias("wet_bulb_source")


def _source(computed: pl.Expr, recorded: str) -> pl.Expr:
    return (
        pl.when(computed.is_not_null())
        .then(pl.lit("readings"))
        .when(pl.col(recorded).is_not_null())
        .then(pl.lit("recorded"))
    )
