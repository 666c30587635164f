"""Whom to stop at: expected cost of a stop against what it saves, and a first-in-line share besides."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import polars as pl

from pipeline.config import Settings


@dataclass(frozen=True)
class Savings:
    """Expected net saving [shop's currency] of stopping at the flagged, at all and at none of the units."""

    stops: int
    worth_a_stop: int
    flagged: float
    all_units: float
    no_unit: float = 0.0


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


def savings(units: pl.DataFrame) -> Savings:
    """Return what stopping at the flagged units is expected to save, beside stopping at all and at none."""
    return Savings(
        stops=int(units["flagged"].sum()),
        worth_a_stop=int(units["worth_a_stop"].sum()),
        flagged=float(units.filter("flagged")["net_saving"].sum()),
        all_units=float(units["net_saving"].sum()),
    )
