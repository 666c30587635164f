"""Whom to call before anybody drives there, why, and when a truck is near; and how far the agreement visits are."""

from __future__ import annotations

import polars as pl

CALL_LIST_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String(),
        "status": pl.String(),
        "why": pl.String(),
        "near": pl.String(),
        "date": pl.Date(),
        "technician": pl.String(),
        "value": pl.Float64(),
    }
)
"""One row per unit on a route or left out for want of a day, dearest first within its status.

``status`` is ``to_book``, ``no_answer``, ``booked`` or ``declined``; ``near`` are weeks in which a truck passes by.
"""

STATUSES = ("to_book", "no_answer", "booked", "declined")
NEAR_DEGREES = 0.04
"""Some three miles of latitude: near enough to add a stop without a new trip (engineering choice)."""
MOST_WEEKS = 3
"""Weeks named on a line of the list at most."""

WHY = {
    "run_capacitor": "The last readings suggest that a part that starts your outdoor unit is weakening",
    "refrigerant_leak": "The readings of the last visits suggest that your system may be losing refrigerant",
    "contactor": "The switch that turns your outdoor unit on showed wear on an earlier visit",
    "condenser_fan_motor": "The outdoor fan motor showed signs that we would like to look at",
    "compressor": "The compressor showed signs that we would like to look at",
    "blower_motor": "The indoor fan motor showed signs that we would like to look at",
    "condensate_drain": "The condensate drain has given trouble before",
    "dirty_coil": "A coil was dirty on an earlier visit and was not cleaned",
    "airflow": "The airflow through your system looked low on an earlier visit",
    "agreement": "The spring visit of your agreement is due",
    "warranty": "A part should be tested before its warranty ends",
    "measure": "We have too few readings of your system to say how it will do this summer",
    "found": "An earlier visit found something that was not put right",
    "other": "Your system is among those more likely to stop working this summer",
}
"""One honest sentence by why the unit is due: what is known, no alarm, no promise."""
_BY_WORDS = (
    ("agreement visit", "agreement"),
    ("weak ", "run_capacitor"),
    ("swollen capacitor", "run_capacitor"),
    ("pitted contactor", "contactor"),
    ("leak", "refrigerant_leak"),
    ("charge ", "refrigerant_leak"),
    ("topped up", "refrigerant_leak"),
    ("dirty coil", "dirty_coil"),
    ("airflow", "airflow"),
    ("compressor", "compressor"),
    ("warranty", "warranty"),
    ("measure again", "measure"),
    ("found on", "found"),
)


def call_list(stops: pl.DataFrame, left_out: pl.DataFrame, sites: pl.DataFrame, said: pl.DataFrame) -> pl.DataFrame:
    """Return whom to call (``CALL_LIST_SCHEMA``).

    Parameters
    ----------
    stops
        ``ROUTE_STOPS_SCHEMA``.
    left_out
        unit_id, why, value, and reasons of units due that did not fit.
    sites
        unit_id, lat, lon of every unit with a place.
    said
        unit_id and status (booked, declined, no_answer) as the shop's appointments have them.
    """
    routed = stops.select("unit_id", "reasons", "value", "technician", "date", planned=pl.col("status"))
    rest = left_out.join(routed, on="unit_id", how="anti").select(
        "unit_id",
        "reasons",
        "value",
        technician=pl.lit(None, pl.String),
        date=pl.lit(None, pl.Date),
        planned=pl.lit(None, pl.String),
    )
    # one call per unit: the first time it is on a route
    units = pl.concat([routed.sort("date", "technician").unique("unit_id", keep="first", maintain_order=True), rest])
    told = said.unique("unit_id", keep="last").select("unit_id", told="status")
    status = (
        pl.when(pl.col("planned") == "booked").then(pl.lit("booked")).otherwise(pl.coalesce("told", pl.lit("to_book")))
    )
    place = pl.Series("place", range(len(STATUSES)))
    order = pl.DataFrame({"status": STATUSES}).with_columns(place)
    return (
        units.join(told, on="unit_id", how="left")
        .with_columns(status=status, why=_why(pl.col("reasons")))
        .join(_weeks_near(units, sites), on="unit_id", how="left")
        .with_columns(
            near=pl.when(pl.col("status") == "booked")
            .then(pl.col("date").cast(pl.String))
            .otherwise(pl.col("near").fill_null(""))
        )
        .join(order, on="status", how="inner")
        .sort("place", "value", "unit_id", descending=[False, True, False], nulls_last=True)
        .select(CALL_LIST_SCHEMA.names())
    )


def _why(reasons: pl.Expr) -> pl.Expr:
    """Return the sentence for the first of the reasons: its cause word, else what it says."""
    first = reasons.fill_null("").str.split("; ").list.first().str.to_lowercase()
    cause = first.str.extract(r"^([a-z_]+):", 1)
    by_words = pl.lit("other")
    for words, key in reversed(_BY_WORDS):
        by_words = pl.when(first.str.contains(words, literal=True)).then(pl.lit(key)).otherwise(by_words)
    known = pl.when(cause.is_in(list(WHY))).then(cause).otherwise(by_words)
    return pl.format("{}.", known.replace_strict(WHY, default=WHY["other"], return_dtype=pl.String))


def _weeks_near(units: pl.DataFrame, sites: pl.DataFrame) -> pl.DataFrame:
    """Return unit_id and the first weeks in which some truck passes within a short drive, its own first."""
    week = pl.col("date").dt.truncate("1w")
    placed = units.join(sites, on="unit_id", how="left")
    cell = [(pl.col(name) / NEAR_DEGREES).floor().alias(f"cell_{name}") for name in ("lat", "lon")]
    passing = (
        placed.filter(pl.col("date").is_not_null() & pl.col("lat").is_not_null()).select(*cell, week=week).unique()
    )
    own = placed.filter(pl.col("date").is_not_null()).select("unit_id", week=week, place=pl.lit(0))
    around = [
        placed.filter(pl.col("lat").is_not_null())
        .select("unit_id", *cell)
        .with_columns(pl.col("cell_lat") + up, pl.col("cell_lon") + right)
        .join(passing, on=["cell_lat", "cell_lon"])
        .select("unit_id", "week", place=pl.lit(1))
        for up in (-1, 0, 1)
        for right in (-1, 0, 1)
    ]
    return (
        pl.concat([own, *around])
        .sort("unit_id", "place", "week")
        .unique(["unit_id", "week"], keep="first", maintain_order=True)
        .group_by("unit_id", maintain_order=True)
        .agg(pl.col("week").head(MOST_WEEKS))
        .with_columns(
            near=pl.col("week").list.eval(pl.format("week of {}", pl.element().cast(pl.String))).list.join(", ")
        )
        .select("unit_id", "near")
    )
