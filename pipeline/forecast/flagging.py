"""Whom to stop at: expected cost of a stop against what it saves, and a first-in-line share besides."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.config import Settings


def add_flags(units: pl.DataFrame, settings: Settings, as_of: dt.date) -> pl.DataFrame:
    """Return ``units`` with net_saving, worth_a_stop, first_in_line and flagged; same rows and order.

    Parameters
    ----------
    units
        unit_id, p_failure, prevention_share, last_visit_on.

    Notes
    -----
    Net saving of a stop = p e C_emergency - C_stop; worth a stop by itself where that is positive. The first
    in line are the settings' share of units by p_failure (at least one unit), ties by unit_id. A unit not
    seen for the settings' months is never flagged. Costs and shares are guesses until the owner sets them.
    """
    costs, flagging = settings.costs, settings.flagging
    seen = pl.col("last_visit_on").dt.offset_by(f"{settings.units.unseen_months}mo") >= as_of
    place = pl.col("p_failure").rank("ordinal", descending=True).over("in_care")
    first = (
        max(1, round(units.height * flagging.first_in_line_share_pct / 100))
        if (flagging.first_in_line_share_pct > 0)
        else 0
    )
    return (
        units.with_row_index("order")
        .with_columns(in_care=seen.fill_null(False))
        .with_columns(net_saving=pl.col("p_failure") * pl.col("prevention_share") * costs.emergency_call - costs.stop)
        .sort("unit_id")
        .with_columns(
            worth_a_stop=(pl.col("net_saving") > 0) & pl.col("in_care"),
            first_in_line=(place <= first) & pl.col("in_care"),
        )
        .with_columns(flagged=pl.col("worth_a_stop") | pl.col("first_in_line"))
        .sort("order")
        .drop("order", "in_care")
    )
