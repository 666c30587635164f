"""Coverage of each unit to the day: the register's terms, bent by registration and change of owner."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from pipeline.config import Warranty

MONTHS = 12

TERMS_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String,
        "starts_on": pl.Date,
        "start_basis": pl.String,
        "parts_until": pl.Date,
        "compressor_until": pl.Date,
        "labor_until": pl.Date,
        "is_registered": pl.Boolean,
        "register_by": pl.Date,
        "registered_late_days": pl.Int64,
        "owner_changed_on": pl.Date,
        "filing_days": pl.Int64,
        "term_note": pl.String,
    }
)
"""One row per unit. A term that is not known is null, never a guess; ``term_note`` says what bent it."""

_RULES = (
    "registered_parts_years",
    "unregistered_parts_years",
    "registered_compressor_years",
    "unregistered_compressor_years",
)


def add_years(day: pl.Expr, years: pl.Expr) -> pl.Expr:
    """Return the last day covered by a term of ``years`` [year] from ``day``: the anniversary, that day included.

    Parameters
    ----------
    day : Expr
        Date.
    years : Expr
        Float64 [year]; a part of a year counts in whole months.

    Notes
    -----
    29 February has its anniversary on 28 February of a common year (end of the month, the usual reading of a term in
    years; common practice, no source).

    Examples
    --------
    >>> import datetime as dt
    >>> frame = pl.DataFrame({"d": [dt.date(2016, 2, 29)], "y": [5.0]})
    >>> frame.select(add_years(pl.col("d"), pl.col("y"))).item()
    datetime.date(2021, 2, 28)
    """
    return day.dt.offset_by(pl.format("{}mo", (years * MONTHS).round().cast(pl.Int64)))


def unit_terms(units: pl.DataFrame, sites: pl.DataFrame, visits: pl.DataFrame, settings: Warranty) -> pl.DataFrame:
    """Return until when each unit's parts, compressor and labor are covered.

    Parameters
    ----------
    units : DataFrame
        Fields of units; unit_id, site_id, make, installed_on, registered, registered_on and the three terms are read.
    sites : DataFrame
        site_id, owner_since.
    visits : DataFrame
        unit_id, visit_date, visit_type: where the register has no install date, a unit whose first visit is its
        install starts there.
    settings : Warranty
        Terms by make where the register states none, the registration window, what a sale of the house does.

    Returns
    -------
    DataFrame
        ``TERMS_SCHEMA``, one row per unit, sorted by unit_id.

    Notes
    -----
    A term stated in the register counts. For a unit that is not registered, or registered after the window, a term set
    for unregistered units caps it. A unit of which the register does not say whether it is registered counts as not.
    """
    ruled = _with_rules(units, settings)
    started = (
        ruled.join(sites.select("site_id", "owner_since").unique("site_id"), on="site_id", how="left")
        .join(_install_visits(visits), on="unit_id", how="left")
        .with_columns(
            starts_on=pl.coalesce("installed_on", "install_visit_on"),
            start_basis=pl.when(pl.col("installed_on").is_not_null())
            .then(pl.lit("install date in the register"))
            .when(pl.col("install_visit_on").is_not_null())
            .then(pl.lit("first visit, an install")),
        )
    )
    late = (pl.col("registered_on") - pl.col("starts_on")).dt.total_days() - pl.col("registration_days")
    said = pl.coalesce(pl.col("registered") == "yes", pl.col("registered_on").is_not_null())
    known = started.with_columns(
        registered_late_days=pl.when(said & (late > 0)).then(late),
        is_registered=said & (late.fill_null(0) <= 0),
        register_by=pl.col("starts_on").dt.offset_by(pl.format("{}d", "registration_days")),
        owner_changed_on=pl.when(pl.col("owner_since") > pl.col("starts_on")).then("owner_since"),
    )
    ended = known.with_columns(
        parts_until=_until("parts", "parts_warranty_years"),
        compressor_until=_until("compressor", "compressor_warranty_years"),
        labor_until=add_years(pl.col("starts_on"), pl.col("labor_warranty_years")),
    ).with_columns(compressor_until=pl.coalesce("compressor_until", "parts_until"))
    return ended.with_columns(term_note=_note()).select(list(TERMS_SCHEMA)).cast(TERMS_SCHEMA).sort("unit_id")


def _with_rules(units: pl.DataFrame, settings: Warranty) -> pl.DataFrame:
    general: dict[str, Any] = {name: getattr(settings, name) or None for name in _RULES}
    general |= {
        "registration_days": settings.registration_days,
        "filing_days": settings.filing_days,
        "on_change_of_owner": settings.on_change_of_owner,
    }
    schema = pl.Schema(
        {
            "make_key": pl.String,
            **dict.fromkeys(_RULES, pl.Float64),
            "registration_days": pl.Int64,
            "filing_days": pl.Int64,
            "on_change_of_owner": pl.String,
        }
    )
    rows = [
        {"make_key": make_key(make), **_over(general, terms.model_dump())} for make, terms in settings.makes.items()
    ]
    by_make = pl.DataFrame(rows, schema=schema).unique("make_key", keep="last")
    keyed = units.with_columns(make_key=pl.col("make").str.strip_chars().str.to_lowercase())
    return keyed.join(by_make, on="make_key", how="left").with_columns(
        pl.when(pl.col("make_key").is_in(by_make["make_key"].implode()))
        .then(pl.col(name))
        .otherwise(pl.lit(general[name], schema[name]))
        .alias(name)
        for name in general
    )


def _over(general: Mapping[str, Any], special: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value if special[name] is None else special[name] for name, value in general.items()}


def make_key(make: str) -> str:
    """Return a make's name as it is compared: no outer spaces, lower case."""
    return make.strip().lower()


def _install_visits(visits: pl.DataFrame) -> pl.DataFrame:
    """Return the first visit of units that were met at their install."""
    installs = visits.filter(pl.col("visit_type") == "install").select("unit_id", "visit_date").unique()
    first = visits.join(installs, on="unit_id", how="semi").group_by("unit_id").agg(pl.col("visit_date").min())
    return first.join(installs, on=["unit_id", "visit_date"], how="semi").rename({"visit_date": "install_visit_on"})


def _until(kind: str, stated: str) -> pl.Expr:
    registered, unregistered = f"registered_{kind}_years", f"unregistered_{kind}_years"
    base = pl.min_horizontal(stated, unregistered)
    years = pl.when("is_registered").then(pl.coalesce(stated, registered)).otherwise(base)
    changed = pl.col("owner_changed_on").is_not_null()
    falls = changed & (pl.col("on_change_of_owner") == "unregistered")
    until = add_years(pl.col("starts_on"), pl.when(falls).then(pl.min_horizontal(years, unregistered)).otherwise(years))
    ends = changed & (pl.col("on_change_of_owner") == "ends")
    return pl.when(ends).then(pl.min_horizontal(until, pl.col("owner_changed_on").dt.offset_by("-1d"))).otherwise(until)


def _note() -> pl.Expr:
    changed = pl.format("owner changed on {}: see that the warranty was transferred", "owner_changed_on")
    late = pl.format("registered {} days after the window closed", "registered_late_days")
    unstated = pl.col("parts_warranty_years").is_null() & pl.col("parts_until").is_not_null()
    return pl.concat_str(
        pl.when(pl.col("starts_on").is_null()).then(pl.lit("no install date")),
        pl.when(pl.col("owner_changed_on").is_not_null()).then(changed),
        pl.when(pl.col("registered_late_days").is_not_null()).then(late),
        pl.when(unstated).then(pl.lit("term from the settings, the register states none")),
        separator="; ",
        ignore_nulls=True,
    ).replace("", None)
