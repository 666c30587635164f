"""What was found and never put right, with the customer's decision, and whether a repair was verified by a reading."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import polars as pl

from pipeline.enrich.finding_kinds import History, kinds
from pipeline.enrich.finding_sources import READABLE, add_advice, found_rows, good_readings, put_right_rows

OPEN_FINDINGS_SCHEMA: Mapping[str, pl.DataType] = {
    "unit_id": pl.String(),
    "finding": pl.String(),
    "found_on": pl.Date(),
    "visit_id": pl.String(),
    "evidence": pl.String(),
    "decision": pl.String(),
    "decided_on": pl.Date(),
    "days_open": pl.Int64(),
    "resolved_on": pl.Date(),
    "resolved_by": pl.String(),
    "verified": pl.Boolean(),
}
"""One row per finding, open where resolved_on is null; verified says whether a later reading was in order."""


def open_findings(history: History, *, as_of: dt.date) -> pl.DataFrame:
    """Return every finding that was not put right on the visit itself.

    Parameters
    ----------
    history : History
        Whole history of the units.
    as_of : date
        Later rows are left out; days_open of what is still open ends here.

    Returns
    -------
    pl.DataFrame
        ``OPEN_FINDINGS_SCHEMA``, sorted by unit_id, found_on, finding. A finding noted again while it is open is the
        same finding; after it was put right, a new one. decision is the customer's latest on a recommendation that
        speaks of it: declined is not neglect.
    """
    known = history.until(as_of)
    found = found_rows(known, kinds())
    put_right = put_right_rows(known, kinds())
    on_the_spot = put_right.select("unit_id", "finding", found_on="resolved_on").unique()
    left_open = found.join(on_the_spot, on=["unit_id", "finding", "found_on"], how="anti")
    episodes = (
        _first_after(left_open, put_right.rename({"resolved_on": "on"}), "found_on")
        .rename({"on": "resolved_on"})
        .sort("unit_id", "finding", "found_on", "visit_id")
        .unique(["unit_id", "finding", "resolved_on"], keep="first", maintain_order=True)
    )
    verified = _verified(episodes, good_readings(known))
    advised = add_advice(verified, known.recommendations, kinds())
    end = pl.coalesce("resolved_on", pl.lit(as_of))
    return (
        advised.with_columns(days_open=(end - pl.col("found_on")).dt.total_days())
        .select(*(pl.col(name).cast(kind) for name, kind in OPEN_FINDINGS_SCHEMA.items()))
        .sort("unit_id", "found_on", "finding")
    )


def _first_after(rows: pl.DataFrame, events: pl.DataFrame, since: str) -> pl.DataFrame:
    """Join the first event of the same unit and finding strictly after ``since`` (column ``on``)."""
    day_after = (pl.col(since) + pl.duration(days=1)).cast(pl.Date).alias("_after")
    return (
        rows.with_columns(day_after)
        .sort("_after")
        .join_asof(
            events.sort("on"),
            left_on="_after",
            right_on="on",
            by=["unit_id", "finding"],
            strategy="forward",
            check_sortedness=False,
            coalesce=False,
        )
        .drop("_after")
    )


def _verified(episodes: pl.DataFrame, good: pl.DataFrame) -> pl.DataFrame:
    """Add whether the unit's next reading after a repair was in order; null where nothing of the kind is read."""
    closed, still_open = (
        episodes.filter(c) for c in (pl.col("resolved_on").is_not_null(), pl.col("resolved_on").is_null())
    )
    day_before = closed.with_columns(_since=(pl.col("resolved_on") - pl.duration(days=1)).cast(pl.Date))
    joined = _first_after(day_before, good, "_since").drop("_since")
    seen = pl.when(pl.col("finding").is_in(READABLE)).then(pl.col("on").is_not_null())
    told = joined.with_columns(verified=seen).drop("on")
    return pl.concat([told, still_open.with_columns(verified=pl.lit(None, dtype=pl.Boolean))])
