"""What a forecast is made from: frames of the whole past, and the same as it was known on an earlier day."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import polars as pl

SERIES_COLUMNS = pl.Schema(
    {
        "unit_id": pl.String,
        "section": pl.String,
        "series": pl.Int64,
        "rated_uf": pl.Float64,
        "rated_source": pl.String,
        "tolerance_pct": pl.Float64,
        "started_on": pl.Date,
        "start_kind": pl.String,
        "start_known_on": pl.Date,
        "ended_on": pl.Date,
    }
)
READING_COLUMNS = pl.Schema(
    {
        "unit_id": pl.String,
        "visit_id": pl.String,
        "visit_date": pl.Date,
        "section": pl.String,
        "series": pl.Int64,
        "rated_uf": pl.Float64,
        "rated_source": pl.String,
        "measured_uf": pl.Float64,
        "method": pl.String,
        "drift_pct": pl.Float64,
        "suspect": pl.String,
        "technician": pl.String,
        "at_replacement": pl.Boolean,
        "scheduled": pl.Boolean,
    }
)
CHARGE_COLUMNS = pl.Schema(
    {
        "unit_id": pl.String,
        "visit_id": pl.String,
        "visit_date": pl.Date,
        "leak_loss_f": pl.Float64,
        "superheat_deviation_f": pl.Float64,
        "subcooling_deviation_f": pl.Float64,
        "charge_verdict": pl.String,
    }
)
VISIT_COLUMNS = pl.Schema(
    {
        "unit_id": pl.String,
        "visit_id": pl.String,
        "visit_date": pl.Date,
        "visit_type": pl.String,
        "cause": pl.String,
        "observations": pl.String,
        "refrigerant_added_oz": pl.Float64,
        "compressor_amps": pl.Float64,
        "line_volts": pl.Float64,
        "outdoor_db_f": pl.Float64,
    }
)
PART_COLUMNS = pl.Schema(
    {
        "unit_id": pl.String,
        "visit_id": pl.String,
        "visit_date": pl.Date,
        "part": pl.String,
    }
)
UNIT_COLUMNS = pl.Schema(
    {
        "unit_id": pl.String,
        "make": pl.String,
        "nominal_tons": pl.Float64,
        "factory_charge_oz": pl.Float64,
        "compressor_rla_amps": pl.Float64,
        "manufactured_on": pl.Date,
        "installed_on": pl.Date,
        "cap_herm_uf": pl.Float64,
        "cap_fan_uf": pl.Float64,
        "retired_on": pl.Date,
        "first_visit_on": pl.Date,
        "last_visit_on": pl.Date,
    }
)


@dataclass(frozen=True)
class History:
    """Everything recorded, one frame per kind of row; see DEVELOPERS.md for the columns.

    A frame may carry more columns than the ones used here; a missing one is read as blank.
    """

    series: pl.DataFrame
    cap_readings: pl.DataFrame
    charge: pl.DataFrame
    visits: pl.DataFrame
    parts: pl.DataFrame
    units: pl.DataFrame

    def tidy(self) -> History:
        """Return the same with exactly the columns used, their types, and an order that is no accident of import."""
        return History(
            series=_conform(self.series, SERIES_COLUMNS)
            .unique(["unit_id", "section", "series"], keep="first")
            .sort("unit_id", "section", "series"),
            cap_readings=_conform(self.cap_readings, READING_COLUMNS).sort(
                "unit_id", "section", "series", "visit_date", "visit_id", "method", "drift_pct", nulls_last=True
            ),
            charge=_conform(self.charge, CHARGE_COLUMNS).sort("unit_id", "visit_date", "visit_id", "leak_loss_f"),
            visits=_conform(self.visits, VISIT_COLUMNS).sort("unit_id", "visit_date", "visit_id", "visit_type"),
            parts=_conform(self.parts, PART_COLUMNS).sort("unit_id", "visit_date", "visit_id", "part"),
            units=_conform(self.units, UNIT_COLUMNS).unique("unit_id", keep="first").sort("unit_id"),
        )

    def through(self, day: dt.date) -> History:
        """Return what was known at the end of ``day``.

        No later row, no later end of a series, no later visit; a part that later readings alone told of is
        not there yet, its readings wait, and the part before it is still in service.
        """
        dated = pl.col("visit_date") <= day
        told = pl.coalesce("start_known_on", "started_on")
        series = (
            self.series.sort("unit_id", "section", "series")
            .with_columns(end_known_on=pl.coalesce(told.shift(-1).over("unit_id", "section"), "ended_on"))
            .filter((told <= day).fill_null(True))
            .with_columns(
                ended_on=pl.when((pl.col("ended_on") <= day) & (pl.col("end_known_on") <= day)).then("ended_on")
            )
            .drop("end_known_on")
        )
        unknown = self.series.filter(told > day).select("unit_id", "section", "series")
        visits = self.visits.filter(dated)
        seen = visits.group_by("unit_id").agg(
            first_visit_on=pl.col("visit_date").min(), last_visit_on=pl.col("visit_date").max()
        )
        return dataclasses.replace(
            self,
            series=series,
            cap_readings=self.cap_readings.filter(dated).join(
                unknown, on=["unit_id", "section", "series"], how="anti", maintain_order="left"
            ),
            charge=self.charge.filter(dated),
            visits=visits,
            parts=self.parts.filter(dated),
            units=self.units.drop("first_visit_on", "last_visit_on")
            .join(seen, on="unit_id", how="inner")
            .with_columns(retired_on=pl.when(pl.col("retired_on") <= day).then(pl.col("retired_on")))
            .sort("unit_id"),
        )


def _conform(frame: pl.DataFrame, columns: pl.Schema) -> pl.DataFrame:
    return frame.select(
        (pl.col(name) if name in frame.columns else pl.lit(None)).cast(kind).alias(name)
        for name, kind in columns.items()
    )
