"""Lives of units and of their components, as spans of age with how each ended."""

from __future__ import annotations

import polars as pl

from pipeline.forecast.exposure import DAYS_PER_YEAR

COMPONENTS = (
    "run_capacitor",
    "contactor",
    "condenser_fan_motor",
    "compressor",
    "metering_device",
    "reversing_valve",
    "control_board",
    "transformer",
    "blower_motor",
    "evaporator_coil",
    "condenser_coil",
)
"""Parts that come with a unit and are replaced as a whole."""

CALLS = ("no_cooling", "repair", "callback")
"""Visits on which a part that is replaced had failed; on others it was replaced in time, by choice."""

REMOVED_FAILED = r"fail|leak|dead|burn|broke|seiz|beyond repair|not worth|locked|short|grounded|worn"
REMOVED_CHOICE = r"sold|moved|left|elsewhere|upgrade|choice|owner|remodel|demolish|efficien|rebate|new system|customer"
"""Words in retired_because that tell a failure from a removal by choice (common practice, no source)."""

SPAN_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "make": pl.String,
        "component": pl.String,
        "entry": pl.Float64,
        "leave": pl.Float64,
        "failed": pl.Boolean,
        "ended_by": pl.String,
        "ended_on": pl.Date,
    }
)
"""One row per life seen: ages in years at first sight and at the end. ``component`` is ``unit`` for whole units;
``ended_on`` is the day of the end or of the last sight, ``ended_by`` failed, replaced in time, removed by choice,
reason not known, or still there."""


def unit_spans(units: pl.DataFrame, exposed: pl.DataFrame) -> pl.DataFrame:
    """Return the lives of whole units: ``SPAN_SCHEMA``.

    Parameters
    ----------
    units : DataFrame
        unit_id, make, installed_on, manufactured_on, retired_on, retired_because.
    exposed : DataFrame
        ``exposure.exposure``.

    Notes
    -----
    A removal is not a failure: only a reason that names one ends a life, every other removal is censored (63 % of the
    heat pumps removed in a survey still ran: ASHRAE Transactions 108(2), 2002). Units of no known age are left out.
    """
    said = pl.col("retired_because").str.to_lowercase()
    gone = (pl.col("retired_on") <= pl.col("until_on")).fill_null(False)
    because = (
        pl.when(~gone)
        .then(pl.lit("still there"))
        .when(said.str.contains(REMOVED_FAILED).fill_null(False))
        .then(pl.lit("failed"))
        .when(said.str.contains(REMOVED_CHOICE).fill_null(False))
        .then(pl.lit("removed by choice"))
        .otherwise(pl.lit("reason not known"))
    )
    return _as_spans(_aged(units, exposed).with_columns(component=pl.lit("unit"), ended_by=because))


def component_spans(
    units: pl.DataFrame,
    exposed: pl.DataFrame,
    visits: pl.DataFrame,
    parts: pl.DataFrame,
    failed: pl.DataFrame,
    readings: pl.DataFrame,
) -> pl.DataFrame:
    """Return the lives of the components: ``SPAN_SCHEMA``, for every component of which one ended.

    Parameters
    ----------
    visits : DataFrame
        unit_id, visit_id, visit_type.
    parts : DataFrame
        unit_id, visit_id, visit_date, part.
    failed : DataFrame
        ``counted_failures``: a call whose cause is the component ends its life, with a row of parts or without.
    readings : DataFrame
        ``core.capacitor_readings``: a capacitor found out of tolerance when it was replaced had failed.

    Notes
    -----
    The first life of a component began with the unit and is seen from the first visit on; each later one from the day
    it was fitted. What was replaced on a maintenance visit without a failing reading was replaced in time: censored.
    """
    out = (
        readings.filter(pl.col("at_replacement") & pl.col("out_of_tolerance"))
        .select("unit_id", "visit_id", part=pl.lit("run_capacitor"), found_out=pl.lit(True))
        .unique()
    )
    kinds = visits.select("unit_id", "visit_id", "visit_type").unique(["unit_id", "visit_id"])
    fitted = (
        parts.filter(pl.col("part").is_in(COMPONENTS))
        .join(kinds, on=["unit_id", "visit_id"], how="left")
        .filter((pl.col("visit_type") != "install").fill_null(True))
        .join(out, on=["unit_id", "visit_id", "part"], how="left")
        .select(
            "unit_id",
            component="part",
            on="visit_date",
            failed=pl.col("visit_type").is_in(CALLS).fill_null(False) | pl.col("found_out").fill_null(False),
        )
    )
    called = failed.filter(pl.col("cause").is_in(COMPONENTS)).select(
        "unit_id", component="cause", on="visit_date", failed=pl.lit(True)
    )
    ends = pl.concat([fitted, called]).group_by("unit_id", "component", "on").agg(pl.col("failed").any())
    aged = _aged(units, exposed)
    seen = ends.filter(pl.col("failed"))["component"].unique().sort().to_list()
    found = [_one_component(aged, ends.filter(pl.col("component") == name), name) for name in seen]
    return pl.concat(found) if found else pl.DataFrame(schema=SPAN_SCHEMA)


def _one_component(aged: pl.DataFrame, ends: pl.DataFrame, name: str) -> pl.DataFrame:
    """Return the lives of one component: from each end to the next, and the last up to the end of exposure."""
    own = ["unit_id"]
    inside = (
        ends.join(aged, on="unit_id", how="inner")
        .filter((pl.col("on") > pl.col("from_on")) & (pl.col("on") <= pl.col("until_on")))
        .sort("unit_id", "on")
        .with_columns(began=pl.col("on").shift(1).over(own))
        .with_columns(
            ended_by=pl.when("failed").then(pl.lit("failed")).otherwise(pl.lit("replaced in time")),
            origin=pl.coalesce("began", "born"),
            sight=pl.coalesce("began", "from_on"),
        )
        .with_columns(until_on="on")
    )
    last = inside.group_by("unit_id").agg(renewed=pl.col("on").max())
    open_ends = aged.join(last, on="unit_id", how="left").with_columns(
        ended_by=pl.lit("still there"),
        origin=pl.coalesce("renewed", "born"),
        sight=pl.coalesce("renewed", "from_on"),
    )
    columns = ["unit_id", "make", "origin", "sight", "until_on", "ended_by"]
    rows = pl.concat([inside.select(columns), open_ends.select(columns)])
    return _as_spans(rows.rename({"origin": "born", "sight": "from_on"}).with_columns(component=pl.lit(name)))


def _aged(units: pl.DataFrame, exposed: pl.DataFrame) -> pl.DataFrame:
    """Return the units of known age with their exposure; a unit met before its install date has no known age."""
    register = units.select(
        "unit_id",
        "make",
        "retired_on",
        "retired_because",
        born=pl.coalesce("installed_on", "manufactured_on"),
    )
    return exposed.join(register, on="unit_id", how="inner").filter(pl.col("born") <= pl.col("from_on"))


def _as_spans(rows: pl.DataFrame) -> pl.DataFrame:
    age = {
        name: (pl.col(column) - pl.col("born")).dt.total_days() / DAYS_PER_YEAR
        for name, column in (("entry", "from_on"), ("leave", "until_on"))
    }
    return (
        rows.with_columns(**age, failed=pl.col("ended_by") == "failed", ended_on=pl.col("until_on"))
        .filter(pl.col("leave") > pl.col("entry"))
        .select(list(SPAN_SCHEMA))
        .cast(SPAN_SCHEMA)
    )
