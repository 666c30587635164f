"""The shop's own installs that are not registered with the maker yet."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.config import Warranty

MISSED_SHOWN_DAYS = 180
"""A window missed longer ago is no longer worth a line (engineering choice)."""
INSTALL_WITHIN_DAYS = 45
"""An install visit so near the install date is that install (engineering choice)."""


def to_register(
    units: pl.DataFrame, visits: pl.DataFrame, terms: pl.DataFrame, settings: Warranty, as_of: dt.date
) -> pl.DataFrame:
    """Return unit_id, installed_on, register_by of own installs not yet registered, sorted by register_by.

    Parameters
    ----------
    units : DataFrame
        unit_id, installed_by, registered, registered_on, retired_on.
    visits : DataFrame
        unit_id, visit_date, visit_type: an install visit near the install date makes it an own install.
    terms : DataFrame
        ``terms.TERMS_SCHEMA``.
    settings : Warranty
        What ``installed_by`` says of the shop itself.
    as_of : date
        Windows that closed more than 180 days before are left out.
    """
    own_names = [word.strip().lower() for word in settings.own_installers.split(",")]
    installs = visits.filter(pl.col("visit_type") == "install").group_by("unit_id").agg(install_visits="visit_date")
    near = (
        units.join(terms.select("unit_id", "starts_on", "register_by"), on="unit_id", how="left")
        .join(installs, on="unit_id", how="left")
        .explode("install_visits")
        .with_columns(apart=(pl.col("install_visits") - pl.col("starts_on")).dt.total_days().abs())
        .sort("unit_id", "apart", nulls_last=True)
        .unique("unit_id", keep="first", maintain_order=True)
    )
    own = pl.col("installed_by").str.strip_chars().str.to_lowercase().is_in(own_names)
    still = pl.col("retired_on").is_null() | (pl.col("retired_on") > as_of)
    open_yet = pl.col("register_by") >= dt.timedelta(days=-MISSED_SHOWN_DAYS) + pl.lit(as_of)
    return (
        near.filter(
            (own.fill_null(False) | (pl.col("apart") <= INSTALL_WITHIN_DAYS).fill_null(False))
            & (pl.col("registered") != "yes").fill_null(True)
            & pl.col("registered_on").is_null()
            & still
            & open_yet
        )
        .select("unit_id", pl.col("starts_on").alias("installed_on"), "register_by")
        .sort("register_by", "unit_id")
    )
